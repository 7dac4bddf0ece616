package strength

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
)

const (
	level   = 0.966 // cosine of 15 degrees: a surface that slopes no more carries things
	chord   = 0.1   // mm that flattened borders may stray
	flush   = 3.0   // mm by which the boards of one top may differ in height
	worth   = 0.25  // share of the largest level surface below which one is no top
	exposed = 0.5   // share of a surface that may not be covered for it to carry anything
	shelved = 0.1   // share of the top, and
	narrow  = 60.0  // mm of width, below which a level board is a rail and no shelf
)

// ground is a level surface that things can stand on.
type ground struct {
	member  int
	surface int
	frame   geom.Frame // world; Z up out of the member
	region  geom.Polygons
	area    float64
	height  float64 // of the middle, world
}

// grounds are the broad surfaces of members that face up and lie open, whatever
// the members are called. A surface mostly covered by other members is none.
func grounds(cores []piece.Member, joints *joint.Result) []ground {
	covered := map[[2]int]float64{}
	if joints != nil {
		for _, c := range joints.Contacts {
			for _, s := range []joint.Side{c.A, c.B} {
				covered[[2]int{s.Member, s.Surface}] += s.Covered
			}
		}
	}
	var out []ground
	for i, m := range cores {
		for j, s := range m.Surfaces(chord) {
			if s.Kind != piece.Plane || s.Role != piece.Face && s.Role != piece.EndOf || s.Inside || len(s.Region) == 0 {
				continue
			}
			f := s.Frame.In(m.Place)
			if f.Z.Z < level || covered[[2]int{i, j}] > 1-exposed {
				continue
			}
			// The end of a post or of an upright board is no ground, however level.
			if s.Role == piece.EndOf && (m.Turning == nil || tall(m)) {
				continue
			}
			out = append(out, ground{i, j, f, s.Region, s.Area, f.Point(flat(middle(s.Region))).Z})
		}
	}
	return out
}

// tall reports whether a turning is longer than it is wide.
func tall(m piece.Member) bool {
	b := m.Turning.Profile.Bounds()
	return b.Size().Y > 2*b.Max.X
}

func flat(p geom.Vec2) geom.Vec3 { return geom.V3(p.X, p.Y, 0) }

// middle is the centroid of a region; of one without area the middle of its box.
func middle(region geom.Polygons) geom.Vec2 {
	var sum geom.Vec2
	var area float64
	o := region.Bounds().Center()
	for _, p := range region {
		for i, a := range p {
			a, b := a.Sub(o), p[(i+1)%len(p)].Sub(o)
			w := a.Cross(b) / 2
			sum = sum.Add(a.Add(b).Scale(w / 3))
			area += w
		}
	}
	if area <= 0 {
		return o
	}
	return o.Add(sum.Scale(1 / area))
}

// slab is a top, or a shelf: level surfaces at one height.
type slab []ground

// split tells the top from the shelves below it: the top is the highest of the
// surfaces that are not small beside the largest, together with what lies flush
// with it; shelves are level boards below, but narrow ones.
func split(gs []ground) (top slab, shelves []slab) {
	largest := 0.0
	for _, g := range gs {
		largest = max(largest, g.area)
	}
	high := math.Inf(-1)
	for _, g := range gs {
		if g.area >= worth*largest {
			high = max(high, g.height)
		}
	}
	var below []ground
	for _, g := range gs {
		switch {
		case math.Abs(g.height-high) <= flush:
			top = append(top, g)
		case g.height < high && g.area >= shelved*largest && g.width() >= narrow:
			below = append(below, g)
		}
	}
	slices.SortStableFunc(below, func(a, b ground) int { return -cmp.Compare(a.height, b.height) })
	for _, g := range below {
		shelves = append(shelves, slab{g})
	}
	return top, shelves
}

// width is the smaller side of the region's box.
func (g ground) width() float64 {
	s := g.region.Bounds().Size()
	return min(s.X, s.Y)
}

func (s slab) area() (a float64) {
	for _, g := range s {
		a += g.area
	}
	return a
}

// plan is the slab seen from above: its regions in world X and Y.
func (s slab) plan() geom.Polygons {
	var out geom.Polygons
	for _, g := range s {
		out = append(out, g.region.Map(func(p geom.Vec2) geom.Vec2 { return g.frame.Point(flat(p)).XY() })...)
	}
	return out
}

// members in order.
func (s slab) members() []int {
	var out []int
	for _, g := range s {
		if !slices.Contains(out, g.member) {
			out = append(out, g.member)
		}
	}
	return out
}

// axes are the slab's own directions in plan, along its length and its width:
// of the turns of its box by whole degrees, that of least area.
func (s slab) axes() (along, across geom.Vec2, box geom.Box2) {
	plan := s.plan()
	best := math.Inf(1)
	for turn := range 90 {
		u := geom.V2(1, 0).Rotate(float64(turn) * math.Pi / 180)
		b := geom.EmptyBox2()
		for _, p := range plan {
			for _, q := range p {
				b = b.Add(geom.V2(q.Dot(u), u.Cross(q)))
			}
		}
		size := b.Size()
		if a := size.X * size.Y; a < best*(1-1e-3) { // flattened curves are not quite alike all round
			best, along, across, box = a, u, u.Left(), b
		}
	}
	if size := box.Size(); size.X < size.Y*(1-1e-6) {
		along, across = across, along.Scale(-1)
		box = geom.Box2{Min: geom.V2(box.Min.Y, -box.Max.X), Max: geom.V2(box.Max.Y, -box.Min.X)}
	}
	return along, across, box
}
