package strength

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/stress"
)

// How a piece is kept from tipping while its strength is asked for; whether it
// would tip in use is another question, and another package's.
const (
	onFloor    = 1.0   // mm above the floor within which a point stands on it
	footIn     = 15.0  // mm: common practice, no source
	most       = 100e3 // g of ballast at most (Smardzewski, Furniture Design, Springer 2015, ch. 6)
	inHand     = 0.9   // of the force that would tip it is applied at most; ours, so that contacts at the floor are not on the verge
	step       = 5e3   // g, to which ballast is rounded up
	gravity    = stress.Gravity / 1000
	hardlyLeft = 0.05 // share of the force below which the case says nothing
)

// feet is the convex outline of what stands on the floor, world X and Y,
// counter-clockwise; nil where nothing does. A foot cannot press on its very
// edge: each point is taken as much as footIn towards the middle of its foot, but
// no more than half of the way.
func feet(cores []piece.Member) geom.Polygon {
	var pts []geom.Vec2
	for _, m := range cores {
		var foot []geom.Vec2
		for _, s := range m.Surfaces(chord) {
			for _, loop := range s.Region {
				for _, q := range loop {
					if p := m.Place.Point(s.Point(q)); math.Abs(p.Z) < onFloor {
						foot = append(foot, p.XY())
					}
				}
			}
		}
		box := geom.EmptyBox2()
		for _, p := range foot {
			box = box.Add(p)
		}
		for _, p := range foot {
			in := box.Center().Sub(p)
			pts = append(pts, p.Add(in.Scale(min(0.5, footIn/max(footIn, in.Len())))))
		}
	}
	return hull(pts)
}

// hull is the convex hull, counter-clockwise, by Andrew's monotone chain; nil
// where the points lie in one line.
func hull(pts []geom.Vec2) geom.Polygon {
	slices.SortFunc(pts, func(a, b geom.Vec2) int { return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y)) })
	var out geom.Polygon
	half := func(each func(yield func(int, geom.Vec2) bool)) {
		from := len(out)
		for _, p := range each {
			for len(out)-from >= 2 && out[len(out)-1].Sub(out[len(out)-2]).Cross(p.Sub(out[len(out)-1])) <= 1e-9 {
				out = out[:len(out)-1]
			}
			out = append(out, p)
		}
		out = out[:max(0, len(out)-1)]
	}
	half(slices.All(pts))
	half(slices.Backward(pts))
	if len(out) < 3 || out.Area() < speck {
		return nil
	}
	return out
}

// overturns is the moment, N mm, by which loads overturn a piece about the side
// of its support from a, whose outward normal is n: a force F at p gives
//
//	F·n z - F_z (p - a)·n
//
// Below nought they hold it down (statics about the side at Z = 0).
func overturns(loads []stress.Load, a, n geom.Vec2) (m float64) {
	for _, l := range loads {
		// The patch may lie to one side of its frame's origin.
		p := l.Frame.Point(flat(middle(l.Region)))
		m += l.Force.XY().Dot(n)*p.Z - l.Force.Z*p.XY().Sub(a).Dot(n)
	}
	return m
}

// keptWithout is the share of others under which a piece stands with nothing on
// it but the fixed loads, at most 1.
func keptWithout(support geom.Polygon, fixed, others []stress.Load) float64 {
	share := 1.0
	for i, a := range support {
		n := support[(i+1)%len(support)].Sub(a).Unit().Right()
		if over := overturns(others, a, n); over > 0 {
			share = min(share, -inHand*overturns(fixed, a, n)/over)
		}
	}
	return max(0, share)
}

// kept says how much ballast, g, laid evenly on a slab, keeps a piece standing
// under fixed loads and others, and which share of the others it stands where
// the most ballast does not suffice. The piece's own weight is not counted on.
func kept(support geom.Polygon, fixed, others []stress.Load, on slab) (ballast, share float64) {
	c := middle(on.plan())
	sides := func(f func(held, over, arm float64)) {
		for i, a := range support {
			n := support[(i+1)%len(support)].Sub(a).Unit().Right()
			if over := overturns(others, a, n); over > 0 {
				f(-overturns(fixed, a, n), over, a.Sub(c).Dot(n))
			}
		}
	}
	share = 1
	sides(func(held, over, arm float64) {
		if need := over/inHand - held; need > 0 {
			g := most
			if arm > 0 {
				g = need / arm / gravity * 1000
			}
			ballast = max(ballast, min(most, math.Ceil(g/step)*step))
		}
	})
	sides(func(held, over, arm float64) {
		share = min(share, inHand*(held+ballast/1000*gravity*arm)/over)
	})
	return ballast, max(0, share)
}
