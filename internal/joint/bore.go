package joint

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/solid"
)

func (b Bore) cut() piece.Cut {
	over := b.Over
	if over <= 0 {
		over = 1
	}
	base := b.Mouth.Sub(b.Axis.Scale(over))
	r := (b.Diameter + b.Fit) / 2
	return piece.Cut{
		ID: b.ID, Member: b.Member, Purpose: string(b.Purpose),
		Shape: solid.Cylinder(base, b.Axis, r, over+b.Depth+b.Under, solid.NoTag, solid.CylinderOptions{Circumscribed: true}),
	}
}

// floor is the centre of the bore's far end.
func (b Bore) floor() geom.Vec3 { return b.Mouth.Add(b.Axis.Scale(b.Depth)) }

func (b Bore) box() geom.Box3 {
	out := geom.EmptyBox3()
	r := b.Diameter / 2
	// A disc with the normal n reaches r √(1 - n²) along each world axis.
	e := geom.V3(
		r*math.Sqrt(max(0, 1-b.Axis.X*b.Axis.X)),
		r*math.Sqrt(max(0, 1-b.Axis.Y*b.Axis.Y)),
		r*math.Sqrt(max(0, 1-b.Axis.Z*b.Axis.Z)))
	for _, c := range []geom.Vec3{b.Mouth, b.floor()} {
		out = out.Add(c.Sub(e)).Add(c.Add(e))
	}
	return out
}

// nearest is the point of the bore, taken as a solid cylinder, nearest to p.
func (b Bore) nearest(p geom.Vec3) geom.Vec3 {
	d := p.Sub(b.Mouth)
	h := d.Dot(b.Axis)
	out := d.Sub(b.Axis.Scale(h))
	if l := out.Len(); l > b.Diameter/2 {
		out = out.Scale(b.Diameter / 2 / l)
	}
	return b.Mouth.Add(b.Axis.Scale(max(0, min(b.Depth, h)))).Add(out)
}

// reach is how far the bore reaches in the direction n: the greatest n·p of its points.
func (b Bore) reach(n geom.Vec3) float64 {
	c := n.Dot(b.Axis)
	return n.Dot(b.Mouth) + max(0, b.Depth*c) + b.Diameter/2*math.Sqrt(max(0, 1-c*c))
}

// between is the distance between two bores to 0.001 mm, 0 when they meet. It
// is found by projecting to and fro between the two convex bodies (von
// Neumann's alternating projections), which comes down to the distance from
// above, while the gap between the planes square to the line from one point
// to the other bounds it from below. Should the two not close in time, the
// lower bound counts.
func between(a, b Bore) float64 {
	const exact, rounds = 1e-3, 400
	p := a.Mouth.Lerp(a.floor(), 0.5)
	lower := 0.0
	for range rounds {
		q := b.nearest(p)
		p = a.nearest(q)
		d := p.Dist(q)
		if d < exact {
			return 0
		}
		n := q.Sub(p).Scale(1 / d)
		lower = max(lower, -b.reach(n.Neg())-a.reach(n))
		if d-lower < exact {
			return d
		}
	}
	return lower
}

// boreSet holds the bores of one core, to be found by place.
type boreSet struct {
	bores []Bore
	cells map[[3]int][]int // looked up only, never ranged over
}

const cellSize = 40.0 // mm, about the length of a bore

func cellsOf(b geom.Box3, visit func([3]int)) {
	at := func(x float64) int { return int(math.Floor(x / cellSize)) }
	for x := at(b.Min.X); x <= at(b.Max.X); x++ {
		for y := at(b.Min.Y); y <= at(b.Max.Y); y++ {
			for z := at(b.Min.Z); z <= at(b.Max.Z); z++ {
				visit([3]int{x, y, z})
			}
		}
	}
}

func (s *boreSet) add(b Bore) {
	if s.cells == nil {
		s.cells = map[[3]int][]int{}
	}
	i := len(s.bores)
	s.bores = append(s.bores, b)
	cellsOf(b.box(), func(c [3]int) { s.cells[c] = append(s.cells[c], i) })
}

// around lists the bores whose boxes come within gap of b's.
func (s *boreSet) around(b Bore, gap float64) []Bore {
	var hits []int
	box := b.box().Grow(gap)
	cellsOf(box, func(c [3]int) { hits = append(hits, s.cells[c]...) })
	slices.SortFunc(hits, func(a, b int) int { return cmp.Compare(a, b) })
	var out []Bore
	for _, i := range slices.Compact(hits) {
		if s.bores[i].box().Overlaps(box) {
			out = append(out, s.bores[i])
		}
	}
	return out
}
