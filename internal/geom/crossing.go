package geom

import (
	"cmp"
	"math"
	"math/big"
	"slices"
)

// Orient is +1 if c lies to the left of the line from a to b, −1 if to the
// right and 0 if on it. It is exact: where the rounding error could decide, it
// computes with rational numbers. The bound is Shewchuk's, (3 + 16ε)ε of the
// magnitudes with ε = 2⁻⁵³ (Adaptive Precision Floating-Point Arithmetic and
// Fast Robust Geometric Predicates, 1997).
func Orient(a, b, c Vec2) int {
	l := float64((b.X - a.X) * (c.Y - a.Y))
	r := float64((b.Y - a.Y) * (c.X - a.X))
	const eps = 0x1p-53
	if d := l - r; math.Abs(d) > (3+16*eps)*eps*(math.Abs(l)+math.Abs(r)) {
		return cmp.Compare(d, 0)
	}
	sub := func(x, y float64) *big.Rat {
		return new(big.Rat).Sub(new(big.Rat).SetFloat64(x), new(big.Rat).SetFloat64(y))
	}
	left := new(big.Rat).Mul(sub(b.X, a.X), sub(c.Y, a.Y))
	return left.Cmp(new(big.Rat).Mul(sub(b.Y, a.Y), sub(c.X, a.X)))
}

// SelfCrossing is a point where the loop crosses, touches or doubles back on
// itself, if there is one. The test is exact; the point is rounded.
func (p Polygon) SelfCrossing() (Vec2, bool) { return Polygons{p}.Crossing() }

// Crossing is a point where the loops of the region cross or touch themselves
// or one another, if there is one. The test is exact; the point is rounded.
func (ps Polygons) Crossing() (Vec2, bool) {
	type edge struct {
		a, b    Vec2 // a.X <= b.X
		loop, i int
	}
	var edges []edge
	for l, p := range ps {
		for i, a := range p {
			b := p[(i+1)%len(p)]
			if b.X < a.X {
				a, b = b, a
			}
			edges = append(edges, edge{a, b, l, i})
		}
	}
	slices.SortStableFunc(edges, func(e, f edge) int { return cmp.Compare(e.a.X, f.a.X) })
	var active []edge
	for _, e := range edges {
		kept := active[:0]
		for _, f := range active {
			if f.b.X < e.a.X {
				continue
			}
			kept = append(kept, f)
			if min(f.a.Y, f.b.Y) > max(e.a.Y, e.b.Y) || min(e.a.Y, e.b.Y) > max(f.a.Y, f.b.Y) {
				continue
			}
			p := ps[e.loop]
			n := len(p)
			if e.loop == f.loop && ((e.i+1)%n == f.i || (f.i+1)%n == e.i) {
				// Neighbours share a corner; only doubling back is a fault.
				i := e.i
				if (e.i+1)%n != f.i {
					i = f.i
				}
				a, b, c := p[i], p[(i+1)%n], p[(i+2)%n]
				if n == 2 || Orient(a, b, c) == 0 && a.Sub(b).Dot(c.Sub(b)) >= 0 {
					return b, true
				}
				continue
			}
			if SegmentsMeet(e.a, e.b, f.a, f.b) {
				return crossingPoint(e.a, e.b, f.a, f.b), true
			}
		}
		active = append(kept, e)
	}
	return Vec2{}, false
}

// SegmentsMeet reports, exactly, whether the closed straight segments a-b and
// c-d have a point in common.
func SegmentsMeet(a, b, c, d Vec2) bool {
	s1, s2 := Orient(a, b, c), Orient(a, b, d)
	s3, s4 := Orient(c, d, a), Orient(c, d, b)
	if s1 == 0 && s2 == 0 && s3 == 0 && s4 == 0 { // in one line
		return min(a.X, b.X) <= max(c.X, d.X) && min(c.X, d.X) <= max(a.X, b.X) &&
			min(a.Y, b.Y) <= max(c.Y, d.Y) && min(c.Y, d.Y) <= max(a.Y, b.Y)
	}
	return s1*s2 <= 0 && s3*s4 <= 0
}

func crossingPoint(a, b, c, d Vec2) Vec2 {
	u, v := b.Sub(a), d.Sub(c)
	det := u.Cross(v)
	if det == 0 {
		for _, p := range [...]Vec2{a, b} {
			if SegmentDistance(p, c, d) == 0 {
				return p
			}
		}
		return c
	}
	t := c.Sub(a).Cross(v) / det
	return a.Add(u.Scale(max(0, min(1, t))))
}
