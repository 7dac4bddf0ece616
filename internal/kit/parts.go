package kit

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/pack"
	"groundwork/internal/piece"
	"groundwork/internal/stability"
)

// slab is how many times wider than thick a part is that lies on its face: on
// edge it would fall over and take knocks where veneer ends (common practice, no
// source).
const slab = 3

// pressure that finished faces bear through their padding, in g/mm²: 2 kPa, a
// fifth of what flattens thin foam sheet (common practice, no source).
const pressure = 2e-3 / 9.80665 * 1000

// together is the members that stay together when a piece comes apart: printed
// as one, or glued. The groups, and the members in them, are in order.
func together(p *piece.Piece, bodies [][]int, j *joint.Result) [][]int {
	of := make([]int, len(p.Members))
	for i := range of {
		of[i] = i
	}
	var root func(i int) int
	root = func(i int) int {
		if of[i] != i {
			of[i] = root(of[i])
		}
		return of[i]
	}
	unite := func(a, b int) {
		a, b = root(a), root(b)
		of[max(a, b)] = min(a, b)
	}
	for _, b := range bodies {
		for _, m := range b {
			unite(b[0], m)
		}
	}
	ends := map[string][2]int{}
	for _, c := range j.Contacts {
		ends[c.ID] = [2]int{c.A.Member, c.B.Member}
	}
	for _, c := range j.Rounds {
		ends[c.ID] = [2]int{c.A.Member, c.B.Member}
	}
	for _, x := range j.Joints {
		if x.Kind == piece.Glued {
			e := ends[x.Contact]
			unite(e[0], e[1])
		}
	}
	var out [][]int
	at := map[int]int{}
	for i := range of {
		r := root(i)
		if _, ok := at[r]; !ok {
			at[r] = len(out)
			out = append(out, nil)
		}
		out[at[r]] = append(out[at[r]], i)
	}
	return out
}

func (m *making) bodies() [][]int {
	var out [][]int
	for _, b := range m.Seams.Bodies {
		out = append(out, b.Members)
	}
	return out
}

// assemblies lists finished sub-assemblies.
func (m *making) assemblies() {
	for _, group := range together(m.Piece, m.bodies(), m.Joints) {
		t := Thing{Kind: SubAssembly}
		var points []geom.Vec3
		var frames []geom.Frame
		for _, i := range group {
			t.Members = append(t.Members, m.Piece.Members[i].ID)
			frames = append(frames, m.Layout.Cores[i].Place)
		}
		var stack float64 // thickest veneer on it
		for _, i := range group {
			for _, c := range m.Layout.Coverings[i] {
				stack = max(stack, c.Stack)
			}
		}
		for i, s := range m.Cores.Segments {
			if !slices.Contains(group, m.Seams.Bodies[s.Body].Members[0]) {
				continue
			}
			points = append(points, s.Mesh.Vertices...)
			t.Segments = append(t.Segments, s.ID)
			t.Mass += m.grams(i)
		}
		if len(points) == 0 {
			continue // its core came to nothing, which an earlier stage has told of
		}
		for _, p := range m.Patterns {
			v, ok := m.Shop.Veneer(p.Veneer)
			if ok && slices.Contains(group, p.Member) {
				t.Mass += p.NetArea * v.Stack() * veneerDensity
			}
		}
		t.Mass += m.setMass(group)
		t.ID = strings.Join(t.Members, "+")
		m.rest(&t, points, frames, stack)
		m.r.Things = append(m.r.Things, t)
	}
}

// veneerDensity in g/mm³, as the bill takes it: hardwoods at 12 % moisture lie
// between 0.56 and 0.76 g/cm³ (USDA Wood Handbook table 5-3b).
const veneerDensity = 0.0007

// setMass is what is set in members for good: inserts, and dowels of glued joints
// and seams.
func (m *making) setMass(group []int) float64 {
	var g float64
	for _, j := range m.Joints.Joints {
		for _, s := range j.Screws {
			if ins, ok := m.Shop.Insert(s.Insert); ok && slices.Contains(group, s.Into) {
				g += insertMass(ins.Outer, threadOf(s.Size), ins.Length)
			}
		}
		if j.Kind != piece.Glued || len(j.Bores) == 0 || !slices.Contains(group, j.Bores[0].Member) {
			continue
		}
		for _, d := range j.Dowels {
			g += dowelMass(d)
		}
	}
	for _, s := range m.Seams.Seams {
		if slices.Contains(group, m.Seams.Bodies[s.Body].Members[0]) {
			for _, d := range s.Dowels {
				g += dowelMass(d)
			}
		}
	}
	return g
}

// grams is the plastic of a segment, by its print.
func (m *making) grams(segment int) float64 {
	id := m.Cores.Segments[segment].ID
	for _, p := range m.Printing.Prints {
		if p.Segment == id {
			return p.Grams
		}
	}
	return 0
}

// segments lists printed segments, as they come off the printer.
func (m *making) segments() {
	for i, s := range m.Cores.Segments {
		if s.Mesh == nil || len(s.Mesh.Vertices) == 0 {
			continue
		}
		b := m.Seams.Bodies[s.Body]
		t := Thing{ID: s.ID, Kind: Segment, Segments: []string{s.ID}, Mass: m.grams(i)}
		var frames []geom.Frame
		for _, k := range b.Members {
			t.Members = append(t.Members, m.Piece.Members[k].ID)
			frames = append(frames, m.Layout.Cores[k].Place)
		}
		m.rest(&t, s.Mesh.Vertices, frames, 0)
		m.r.Things = append(m.r.Things, t)
	}
}

// rest puts the smallest box found round points and lays it on its largest
// side. grow is added all round.
func (m *making) rest(t *Thing, points []geom.Vec3, frames []geom.Frame, grow float64) {
	f, size := smallestBox(points, frames)
	f.Origin = f.Origin.Sub(f.Dir(geom.V3(grow, grow, grow)))
	t.Frame = f
	t.Net = size.Add(geom.V3(2*grow, 2*grow, 2*grow))
	m.pad(t)
}

// pad gives a thing its padding, the ways it may lie, and what it bears.
func (m *making) pad(t *Thing) {
	p := 2 * m.Shop.Parcels.Padding
	t.Size = t.Net.Add(geom.V3(p, p, p))
	t.Bears = pressure * t.Net.X * t.Net.Y
	t.Turns = pack.UpZ
	switch {
	case t.Kind == Hardware || t.ID == smallFixtures: // a stiff box lies and stands
		t.Turns = pack.Anyhow
		t.Bears = pressure * t.Net.Y * t.Net.Z
	case t.Net.Y <= slab*t.Net.Z && t.Kind != VeneerPack:
		t.Turns |= pack.UpY // slender things lie on any long side, and never stand
	}
}

// smallestBox is the smallest box found round points, by its least corner and its
// axes, longest edge along X, least along Z. Its axes are sought upright on the
// axes of the frames, turned about each of these to where the outline seen along
// it has a straight side, for a least rectangle round a convex outline lies along
// one of its sides (Freeman and Shapira 1975).
func smallestBox(points []geom.Vec3, frames []geom.Frame) (geom.Frame, geom.Vec3) {
	best := math.Inf(1)
	var at geom.Frame
	var size geom.Vec3
	for _, f := range frames {
		for _, up := range []geom.Vec3{f.Z, f.Y, f.X} {
			g := geom.FrameFromZ(geom.Vec3{}, up)
			flat := make([]geom.Vec2, len(points))
			low, high := math.Inf(1), math.Inf(-1)
			for i, p := range points {
				q := g.Local(p)
				flat[i] = q.XY()
				low, high = min(low, q.Z), max(high, q.Z)
			}
			for _, x := range directions(stability.Hull(flat)) {
				lo, hi := geom.V2(math.Inf(1), math.Inf(1)), geom.V2(math.Inf(-1), math.Inf(-1))
				y := x.Left()
				for _, q := range flat {
					u, v := q.Dot(x), q.Dot(y)
					lo, hi = geom.V2(min(lo.X, u), min(lo.Y, v)), geom.V2(max(hi.X, u), max(hi.Y, v))
				}
				e := geom.V3(hi.X-lo.X, hi.Y-lo.Y, high-low)
				if v := e.X * e.Y * e.Z; v < best*(1-1e-9) {
					best, size = v, e
					at = geom.Frame{X: g.Dir(geom.V3(x.X, x.Y, 0)), Y: g.Dir(geom.V3(y.X, y.Y, 0)), Z: g.Z}
					at.Origin = at.Dir(geom.V3(lo.X, lo.Y, low))
				}
			}
		}
	}
	return lying(at, size)
}

// lying turns a box so that its edges fall from X to Z, right-handed.
func lying(f geom.Frame, size geom.Vec3) (geom.Frame, geom.Vec3) {
	type edge struct {
		axis geom.Vec3
		long float64
	}
	e := []edge{{f.X, size.X}, {f.Y, size.Y}, {f.Z, size.Z}}
	slices.SortStableFunc(e, func(a, b edge) int { return cmp.Compare(b.long, a.long) })
	out := geom.Frame{Origin: f.Origin, X: e[0].axis, Y: e[1].axis, Z: e[2].axis}
	if out.X.Cross(out.Y).Dot(out.Z) < 0 {
		// The other way round about, from the opposite corner.
		out.Origin = out.Origin.Add(out.Z.Scale(e[2].long))
		out.Z = out.Z.Neg()
	}
	return out, geom.V3(e[0].long, e[1].long, e[2].long)
}

// mostSides is how many sides of an outline are tried; the longest of a round one.
const mostSides = 24

// directions are unit vectors along the longest sides of an outline.
func directions(hull geom.Polygon) []geom.Vec2 {
	type side struct {
		dir  geom.Vec2
		long float64
	}
	var sides []side
	for i, p := range hull {
		if d := hull[(i+1)%len(hull)].Sub(p); d.Len() > 0 {
			sides = append(sides, side{d.Unit(), d.Len()})
		}
	}
	slices.SortStableFunc(sides, func(a, b side) int { return cmp.Compare(b.long, a.long) })
	out := []geom.Vec2{{X: 1}}
	for _, s := range sides[:min(len(sides), mostSides)] {
		out = append(out, s.dir)
	}
	return out
}
