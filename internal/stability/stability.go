// Package stability says whether a piece stands on its floor, what tips it, and
// how much farther out its feet would have to be.
//
// It is plain statics of a rigid body on a level floor that only presses: the
// piece stands as long as weight and loads together act through a point inside
// the convex hull of what touches the floor. With that hull's side i through a_i,
// its outward normal n_i, the weight W at c, a load F pressing down at p, and H
// pushing at the height h along u, it stands while for every side
//
//	F (p - a_i)·n_i + H h u·n_i <= W (a_i - c)·n_i    [N, mm]
//
// What pushes may push any way; u = n_i is the worst of all for side i, so the
// sides together answer for every direction. Sliding is not asked about: tests
// put stops against the feet.
//
// Millimetres, grams, newtons; Z is the height above the floor. Nothing here
// certifies anything.
package stability

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// Gravity is the standard acceleration, m/s² (CGPM 1901).
const Gravity = 9.80665

// Body is a rigid piece on a level floor.
type Body struct {
	Support geom.Polygon // Hull of what touches the floor, seen from above
	Mass    float64      // g
	Center  geom.Vec3    // centre of mass
}

// Weight in N.
func (b Body) Weight() float64 { return b.Mass / 1000 * Gravity }

// Rim is a surface that faces up, on whose edge something may press.
type Rim struct {
	Name   string
	Region geom.Polygons // seen from above; outlines counter-clockwise, holes clockwise
	Height float64
	Grown  float64 // how far the finished edge stands out beyond Region, as veneer does
}

// Test is a load on the edge of a rim, and a push at its height.
type Test struct {
	ID     string
	Down   float64 // N, >= 0, pressing down
	Inset  float64 // from the edge to the middle of the load, > 0
	Out    float64 // N, >= 0, pushing whichever way tips most
	Judged bool    // false where the load is too doubtful for a verdict: its margin is told
	What   string  // "600 N pressed down 60 mm in from the edge"
	Source string
}

// Stance is how a body rests on its floor.
type Stance string

const (
	Nowhere Stance = "nothing of it reaches the floor"
	OnPoint Stance = "it rests on a single point"
	OnLine  Stance = "all that reaches the floor lies in one line"
	Topples Stance = "its centre of mass lies outside its feet"
	Stands  Stance = "it stands"
)

// thin is the width, mm, below which a hull is taken for a line: it is that of
// no foot.
const thin = 0.1

// Stance of the unloaded body.
func (b Body) Stance() Stance {
	switch len(b.Support) {
	case 0:
		return Nowhere
	case 1:
		return OnPoint
	}
	if width(b.Support) < thin {
		if b.Support.Bounds().Size().Len() < thin {
			return OnPoint
		}
		return OnLine
	}
	for _, s := range b.sides() {
		if s.arm <= 0 {
			return Topples
		}
	}
	return Stands
}

// Hull is the convex hull of points, counter-clockwise, without points on its
// sides (Andrew's monotone chain, 1979). Of points in one line it is the two
// ends, of one point that point, of none nil.
func Hull(points []geom.Vec2) geom.Polygon {
	pts := slices.Clone(points)
	slices.SortFunc(pts, func(a, b geom.Vec2) int { return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y)) })
	pts = slices.Compact(pts)
	if len(pts) < 3 {
		return geom.Polygon(pts)
	}
	half := func(pts []geom.Vec2) geom.Polygon {
		var h geom.Polygon
		for _, p := range pts {
			for len(h) >= 2 && h[len(h)-1].Sub(h[len(h)-2]).Cross(p.Sub(h[len(h)-1])) <= 1e-9 {
				h = h[:len(h)-1]
			}
			h = append(h, p)
		}
		return h[:len(h)-1]
	}
	lower := half(pts)
	slices.Reverse(pts)
	return append(lower, half(pts)...)
}

// width is the least distance between parallel lines that hold a convex
// polygon between them: one of them lies along a side.
func width(p geom.Polygon) float64 {
	least := math.Inf(1)
	for i, a := range p {
		n := p[(i+1)%len(p)].Sub(a).Unit().Left()
		far := 0.0
		for _, q := range p {
			far = max(far, q.Sub(a).Dot(n))
		}
		least = min(least, far)
	}
	return least
}

// side is one side of the support.
type side struct {
	edge [2]geom.Vec2
	out  geom.Vec2 // unit normal, outward
	arm  float64   // how far the centre of mass lies inside it
}

func (b Body) sides() []side {
	if len(b.Support) < 3 {
		return nil
	}
	out := make([]side, len(b.Support))
	for i, a := range b.Support {
		e := [2]geom.Vec2{a, b.Support[(i+1)%len(b.Support)]}
		n := e[1].Sub(a).Unit().Right()
		out[i] = side{e, n, a.Sub(b.Center.XY()).Dot(n)}
	}
	return out
}

// Tip is how a body tips about one side of its support.
type Tip struct {
	Edge     [2]geom.Vec2 // of Support
	Rim      int          // index of the rim that tips it most
	Load     geom.Vec3    // where the load presses
	Overhang float64      // how far it stands outside the edge; <= 0: pressing alone cannot tip the body
	Force    float64      // N pressing there, Test.Out pushing too, that just tips it; +Inf when none does, 0 when the push alone does
	Margin   float64      // as many times the whole test just tips it; +Inf when it holds the body down, 0 when it falls by itself
}

// Tips has one entry for each side of the support: the worst place on any rim.
// It is empty where the body has no support polygon, or nothing can be pressed on.
func (b Body) Tips(rims []Rim, t Test) []Tip {
	points := make([][]geom.Vec2, len(rims))
	for i, r := range rims {
		points[i] = r.Places(t.Inset)
	}
	return b.tips(rims, points, t)
}

func (b Body) tips(rims []Rim, points [][]geom.Vec2, t Test) []Tip {
	var out []Tip
	for _, s := range b.sides() {
		worst, found, most := Tip{Edge: s.edge, Rim: -1}, false, math.Inf(-1)
		for i, r := range rims {
			for _, p := range points[i] {
				e := p.Sub(s.edge[0]).Dot(s.out)
				over := t.Down*e + t.Out*r.Height
				if found && over <= most {
					continue
				}
				found, most = true, over
				worst.Rim, worst.Load, worst.Overhang = i, geom.V3(p.X, p.Y, r.Height), e
			}
		}
		if !found {
			return nil
		}
		hold := b.Weight()*s.arm - t.Out*worst.Load.Z
		switch {
		case worst.Overhang > 0:
			worst.Force = max(0, hold/worst.Overhang)
		case hold < t.Down*worst.Overhang: // the load does not hold it against the push
			worst.Force = 0
		default:
			worst.Force = math.Inf(1)
		}
		worst.Margin = b.margin(s, most)
		out = append(out, worst)
	}
	return out
}

// margin is how many times what overturns it a body bears about a side.
func (b Body) margin(s side, overturning float64) float64 {
	switch hold := b.Weight() * s.arm; {
	case hold <= 0:
		return 0
	case overturning <= 0:
		return math.Inf(1)
	default:
		return hold / overturning
	}
}

// Worst is the tip with the least margin, and false where there is none.
func Worst(tips []Tip) (Tip, bool) {
	if len(tips) == 0 {
		return Tip{}, false
	}
	return slices.MinFunc(tips, func(a, b Tip) int { return cmp.Or(cmp.Compare(a.Margin, b.Margin), cmp.Compare(a.Force, b.Force)) }), true
}

// Force is any force on the body.
type Force struct {
	ID string
	At geom.Vec3
	N  geom.Vec3
}

// Margin is how many times the forces together just tip the body: 0 where it
// does not stand by itself, +Inf where they hold it down.
//
// A force lifting straight up counts against the weight at its place; the
// margin is then still exact, all forces growing alike.
func (b Body) Margin(forces ...Force) float64 {
	if b.Stance() != Stands {
		return 0
	}
	least := math.Inf(1)
	for _, s := range b.sides() {
		var over float64
		for _, f := range forces {
			over += f.N.XY().Dot(s.out)*f.At.Z - f.N.Z*f.At.XY().Sub(s.edge[0]).Dot(s.out)
		}
		least = min(least, b.margin(s, over))
	}
	return least
}

// Push is the least force, N, that tips the unloaded body when it pushes level
// at a height > 0: the way given, which need not be square to a side. 0 where
// the body does not stand.
func (b Body) Push(way geom.Vec2, height float64) float64 {
	if b.Stance() != Stands {
		return 0
	}
	least := math.Inf(1)
	for _, s := range b.sides() {
		if c := way.Unit().Dot(s.out); c > 0 {
			least = min(least, b.Weight()*s.arm/(height*c))
		}
	}
	return least
}

// Lean is the slope, radians, on which the unloaded body tips when it falls off
// the way given: tan of it is how far the hull reaches that way from the centre
// of mass, over the centre's height. 0 where the body does not stand.
func (b Body) Lean(way geom.Vec2) float64 {
	if b.Stance() != Stands {
		return 0
	}
	least := math.Inf(1)
	for _, s := range b.sides() {
		if c := way.Unit().Dot(s.out); c > 0 {
			least = min(least, s.arm/c)
		}
	}
	return math.Atan2(least, b.Center.Z)
}

// Weakest is the way in which the unloaded body tips most easily, whether pushed
// or on a slope: square to the side nearest to its centre of mass.
func (b Body) Weakest() geom.Vec2 {
	ss := b.sides()
	if len(ss) == 0 {
		return geom.Vec2{}
	}
	return slices.MinFunc(ss, func(a, b side) int { return cmp.Compare(a.arm, b.arm) }).out
}
