package solid

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"math/big"
	"slices"

	"groundwork/internal/geom"
)

// CheckOutline reports the first fault in a region given by loops: fewer than
// three points, a coordinate that is not finite, a point repeated, loops that
// touch or cross themselves or one another, an outer loop that runs clockwise
// or a hole that runs counter-clockwise.
func CheckOutline(loops []geom.Polygon) error {
	if len(loops) == 0 {
		return errors.New("there is no outline")
	}
	for i, l := range loops {
		if len(l) < 3 {
			return fmt.Errorf("loop %d has only %d points", i, len(l))
		}
		for j, p := range l {
			if !finite(p.X, p.Y) {
				return fmt.Errorf("point %d of loop %d is not finite", j, i)
			}
			if p == l[(j+1)%len(l)] {
				return fmt.Errorf("point %d of loop %d, (%g, %g), comes twice in a row", j, i, p.X, p.Y)
			}
		}
	}
	if err := checkCrossings(loops); err != nil {
		return err
	}
	bounds := make([]geom.Box2, len(loops))
	for i, l := range loops {
		bounds[i] = l.Bounds()
	}
	for i, l := range loops {
		depth := 0
		for j, m := range loops {
			if i != j && bounds[j].Add(l[0]) == bounds[j] && m.Contains(l[0]) {
				depth++
			}
		}
		area := l.Area()
		if depth%2 == 0 && area < 0 {
			return fmt.Errorf("the outer loop %d runs clockwise", i)
		}
		if depth%2 == 1 && area > 0 {
			return fmt.Errorf("the hole in loop %d runs counter-clockwise", i)
		}
	}
	return nil
}

// edge is a side of a loop, its ends ordered by x.
type edge struct {
	a, b       geom.Vec2
	loop, side int
}

// checkCrossings walks the edges from left to right and compares each with
// those that still overlap it in x and y.
func checkCrossings(loops []geom.Polygon) error {
	var edges []edge
	for i, l := range loops {
		for j, p := range l {
			q := l[(j+1)%len(l)]
			if q.X < p.X {
				p, q = q, p
			}
			edges = append(edges, edge{p, q, i, j})
		}
	}
	slices.SortFunc(edges, func(e, f edge) int {
		return cmp.Or(cmp.Compare(e.a.X, f.a.X), cmp.Compare(e.loop, f.loop), cmp.Compare(e.side, f.side))
	})
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
			n := len(loops[e.loop])
			follows := e.loop == f.loop && ((e.side+1)%n == f.side || (f.side+1)%n == e.side)
			if meet(e, f, follows) {
				if e.loop == f.loop {
					return fmt.Errorf("loop %d crosses or touches itself: sides %d and %d near (%g, %g)",
						e.loop, min(e.side, f.side), max(e.side, f.side), e.a.X, e.a.Y)
				}
				return fmt.Errorf("loops %d and %d cross or touch near (%g, %g)",
					min(e.loop, f.loop), max(e.loop, f.loop), e.a.X, e.a.Y)
			}
		}
		active = append(kept, e)
	}
	return nil
}

// meet reports whether two edges share a point, apart from the corner that
// neighbours share.
func meet(e, f edge, neighbours bool) bool {
	if neighbours {
		// Only a fold back along the same line is a fault.
		shared, p, q := e.a, e.b, f.a
		switch {
		case e.a == f.a:
			p, q = e.b, f.b
		case e.a == f.b:
			p, q = e.b, f.a
		case e.b == f.a:
			shared, p, q = e.b, e.a, f.b
		default:
			shared, p, q = e.b, e.a, f.a
		}
		return side(shared, p, q) == 0 && p.Sub(shared).Dot(q.Sub(shared)) > 0
	}
	s1, s2 := side(e.a, e.b, f.a), side(e.a, e.b, f.b)
	s3, s4 := side(f.a, f.b, e.a), side(f.a, f.b, e.b)
	if s1 == 0 && s2 == 0 { // in one line: their boxes overlap already in y
		return e.a.X <= f.b.X && f.a.X <= e.b.X
	}
	return s1*s2 <= 0 && s3*s4 <= 0
}

// side is +1 when c lies to the left of the line from a to b, -1 to the right
// and 0 on it, exactly: where rounding could decide, it computes without.
//
// The bound is Shewchuk's for two products of differences,
// (3 + 16ε) ε with ε = 2^-53, applied to the sum of their magnitudes
// (Adaptive Precision Floating-Point Arithmetic, 1997, section 4.2).
func side(a, b, c geom.Vec2) int {
	l := float64((b.X - a.X) * (c.Y - a.Y))
	r := float64((b.Y - a.Y) * (c.X - a.X))
	const eps = 0x1p-53
	if d := l - r; math.Abs(d) > (3+16*eps)*eps*(math.Abs(l)+math.Abs(r)) {
		return cmp.Compare(d, 0)
	}
	rat := func(x float64) *big.Rat { return new(big.Rat).SetFloat64(x) }
	sub := func(x, y float64) *big.Rat { return new(big.Rat).Sub(rat(x), rat(y)) }
	left := new(big.Rat).Mul(sub(b.X, a.X), sub(c.Y, a.Y))
	return left.Cmp(new(big.Rat).Mul(sub(b.Y, a.Y), sub(c.X, a.X)))
}
