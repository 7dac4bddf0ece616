package veneer

import (
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// Ground carries q, a point of a pattern as in its Net, back to where it comes
// to lie on the core's surface, in the world. It is false where the pattern
// covers nothing of a member, as a plug's does not, and where q lies farther
// beyond the surface than veneer reaches at a corner; points at corners are
// carried to the nearest of the surface. For many points of one pattern use
// Grounds.
func Ground(l *Layout, p Pattern, q geom.Vec2) (geom.Vec3, bool) { return Grounds(l, p)(q) }

// Grounds is Ground for one pattern.
func Grounds(l *Layout, p Pattern) func(q geom.Vec2) (geom.Vec3, bool) {
	if p.Member < 0 || p.Member >= len(l.Cores) {
		return func(geom.Vec2) (geom.Vec3, bool) { return geom.Vec3{}, false }
	}
	surfaces := l.Cores[p.Member].Surfaces(0)
	lead := &surfaces[p.Surface]
	n := newNeutral(lead, l.Coverings[p.Member][p.Surface].Neutral)
	type target struct {
		of    *piece.Surface
		place geom.Frame
	}
	on := []target{{lead, l.Cores[p.Member].Place}}
	reach := 0.0
	for _, cov := range l.Coverings[p.Member] {
		reach = max(reach, 4*cov.Stack) // the longest mitre
	}
	for _, a := range p.Also {
		other := l.Cores[a[0]].Surfaces(0)
		on = append(on, target{&other[a[1]], l.Cores[a[0]].Place})
	}
	return func(q geom.Vec2) (geom.Vec3, bool) {
		chart := n.unflat(q.Rotate(-p.Turn).Add(p.Chart))
		best := math.Inf(1)
		var at geom.Vec3
		for i, t := range on {
			own := chart
			if i > 0 { // all flat
				own = t.of.Chart(t.place.Local(on[0].place.Point(lead.Point(chart))))
			}
			on, d := within(t.of.Region, own)
			if d < best {
				best, at = d, t.place.Point(t.of.Point(on))
			}
		}
		return at, best <= reach
	}
}

// unflat is the inverse of flat, in the chart's first turn.
func (n *neutral) unflat(q geom.Vec2) geom.Vec2 {
	switch {
	case n.s.Patch != nil:
		if n.offset == nil {
			return q
		}
		return n.offset.Carry(q, n.s.Patch)
	case n.s.Kind == piece.Extruded, n.s.Kind == piece.Cylinder:
		u := n.back(q.X)
		if n.s.Closed {
			u -= math.Floor(u/n.s.Length) * n.s.Length
		}
		return geom.V2(u, q.Y)
	case n.s.Kind == piece.Cone:
		a, b := coneEnds(n.s)
		r := q.Len()
		if r < 1e-9 {
			return q
		}
		q = q.Scale(max(0, r-n.k*(b.Y-a.Y)/math.Abs(b.X-a.X)) / r)
		full := 2 * math.Pi * sine(n.s)
		back := full * math.Floor(sectorAngle(n.s, q)/full+1e-9)
		if b.X < a.X { // the angle runs counter-clockwise
			back = -back
		}
		return q.Rotate(back)
	}
	return q
}

// within is the point of a region nearest to q, and how far that is.
func within(region geom.Polygons, q geom.Vec2) (geom.Vec2, float64) {
	if region.Contains(q) {
		return q, 0
	}
	best, at := math.Inf(1), q
	for _, loop := range region {
		for i, a := range loop {
			ab := loop[(i+1)%len(loop)].Sub(a)
			t := 0.0
			if l := ab.Dot(ab); l > 0 {
				t = max(0, min(1, q.Sub(a).Dot(ab)/l))
			}
			if p := a.Add(ab.Scale(t)); p.Dist(q) < best {
				best, at = p.Dist(q), p
			}
		}
	}
	return at, best
}
