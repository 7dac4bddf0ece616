package view

import (
	"cmp"
	"errors"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// Facets that meet at less than these angles are taken as one smooth surface:
// those with one tag, those that belong to no surface (bores), and those of two
// surfaces. A bore has twelve facets at least, 30 degrees each; a surface that
// goes over smoothly into the next turns by at most one facet there.
const (
	smoothWithin  = 60 * math.Pi / 180
	smoothBore    = 40 * math.Pi / 180
	smoothBetween = 25 * math.Pi / 180
)

// edgeOn is the sine of the angle below which a facet counts as seen from its
// edge: it neither faces the eye nor hides anything.
const edgeOn = 1e-7

// sliver is the height of a triangle, mm, below which its own normal means
// nothing. Cutting solids leaves such.
const sliver = 1e-4

// body is a part in the coordinates of the image, Z to the eye.
type body struct {
	part   Part
	at     []geom.Vec3
	normal []geom.Vec3 // by triangle
	thin   []bool      // by triangle: a sliver, with its neighbour's normal
	open   bool
	sides  []side // by corners
}

// side is an edge of the mesh with the triangles on either side; of an open
// mesh, one of them may be -1.
type side struct {
	a, b int32    // a < b
	tri  [2]int32 // first the one that runs from a to b
}

func newBody(p Part, f geom.Frame) (*body, error) {
	if p.Mesh == nil {
		return nil, errors.New("it has no mesh")
	}
	m := p.Mesh
	b := &body{part: p, at: make([]geom.Vec3, len(m.Vertices)), normal: make([]geom.Vec3, len(m.Triangles)), thin: make([]bool, len(m.Triangles))}
	for i, v := range m.Vertices {
		b.at[i] = f.Local(v.Add(p.Motion))
		if !finite(b.at[i]) {
			return nil, errors.New("a corner is not finite")
		}
	}
	if len(m.Tags) != len(m.Triangles) {
		return nil, errors.New("its tags are not as many as its triangles")
	}
	type half struct{ a, b, tri int32 } // a < b; tri is ^tri if it runs from b to a
	halves := make([]half, 0, 3*len(m.Triangles))
	for i, t := range m.Triangles {
		for k := range t {
			u, v := t[k], t[(k+1)%3]
			if u < 0 || int(u) >= len(b.at) || u == v {
				return nil, errors.New("a triangle has corners that are not")
			}
			if u < v {
				halves = append(halves, half{u, v, int32(i)})
			} else {
				halves = append(halves, half{v, u, ^int32(i)})
			}
		}
	}
	slices.SortFunc(halves, func(x, y half) int {
		return cmp.Or(cmp.Compare(x.a, y.a), cmp.Compare(x.b, y.b), cmp.Compare(y.tri, x.tri))
	})
	b.sides = make([]side, 0, len(halves)/2)
	for i := 0; i < len(halves); {
		j := i
		for j < len(halves) && halves[j].a == halves[i].a && halves[j].b == halves[i].b {
			j++
		}
		if h := halves[i:j]; len(h) == 2 && h[0].tri >= 0 && h[1].tri < 0 {
			b.sides = append(b.sides, side{h[0].a, h[0].b, [2]int32{h[0].tri, ^h[1].tri}})
		} else { // the mesh ends here, or more than two triangles meet
			ways := 0
			for _, x := range h {
				s := side{x.a, x.b, [2]int32{x.tri, -1}}
				if x.tri < 0 {
					s.tri = [2]int32{-1, ^x.tri}
					ways--
				} else {
					ways++
				}
				b.sides = append(b.sides, s)
			}
			if ways != 0 {
				b.open = true
			}
		}
		i = j
	}
	b.setNormals()
	return b, nil
}

// setNormals works out the facets' normals. A sliver takes over that of its
// neighbour across its longest side, as if that side were not there.
func (b *body) setNormals() {
	m := b.part.Mesh
	across := map[int32][2]int32{} // a sliver's longest side
	for i, t := range m.Triangles {
		p, q, r := b.at[t[0]], b.at[t[1]], b.at[t[2]]
		n := q.Sub(p).Cross(r.Sub(p))
		long, at := 0.0, 0
		for k := range 3 {
			if l := b.at[t[k]].Dist(b.at[t[(k+1)%3]]); l > long {
				long, at = l, k
			}
		}
		if long > 0 && n.Len() > sliver*long {
			b.normal[i] = n.Unit()
			continue
		}
		b.thin[i] = true
		u, v := t[at], t[(at+1)%3]
		across[int32(i)] = [2]int32{min(u, v), max(u, v)}
	}
	if len(across) == 0 {
		return
	}
	left := make([]int32, 0, len(across))
	for i := range m.Triangles {
		if b.thin[i] {
			left = append(left, int32(i))
		}
	}
	for len(left) > 0 {
		var still []int32
		for _, i := range left {
			key := across[i]
			at, ok := slices.BinarySearchFunc(b.sides, key, func(s side, k [2]int32) int { return cmp.Or(cmp.Compare(s.a, k[0]), cmp.Compare(s.b, k[1])) })
			if !ok {
				continue
			}
			s := b.sides[at]
			o := s.tri[0]
			if o == i {
				o = s.tri[1]
			}
			if o < 0 {
				continue
			}
			if n := b.normal[o]; n != (geom.Vec3{}) {
				b.normal[i] = n
			} else {
				still = append(still, i)
			}
		}
		if len(still) == len(left) { // slivers that lean on one another
			break
		}
		left = still
	}
}

// faces reports whether a triangle faces the eye.
func (b *body) faces(tri int32) bool { return b.normal[tri].Z > edgeOn }

// toward is +1 if the triangle is seen from outside, -1 if from inside, which
// happens to open meshes alone, and 0 if it is not seen.
func (b *body) toward(tri int32) int {
	switch z := b.normal[tri].Z; {
	case z > edgeOn:
		return 1
	case z < -edgeOn && b.open:
		return -1
	}
	return 0
}

// smooth reports whether two triangles are of one surface.
func (b *body) smooth(i, j int32) bool {
	m := b.part.Mesh
	limit := smoothWithin
	switch {
	case m.Tags[i] != m.Tags[j]:
		limit = smoothBetween
	case m.Tags[i] == solid.NoTag:
		limit = smoothBore
	}
	return b.normal[i].Dot(b.normal[j]) >= math.Cos(limit)
}

// edge is a straight line to draw, in the coordinates of the image.
type edge struct {
	part  int // -1 if of none
	name  string
	class Class
	a, b  geom.Vec3
	group int // curves are joined to themselves only

	contour bool      // the class follows from what lies beside it
	smooth  bool      // a contour in the midst of a curved surface
	within  bool      // hidden by its own part, whatever else
	out     geom.Vec2 // of a contour, unit, away from the part
}

// edges are the body's lines, seen or not; without hidden, those that its own
// back side holds are left out.
func (b *body) edges(part int, hidden bool) []edge {
	var out []edge
	for _, s := range b.sides {
		e := edge{part: part, name: b.part.ID, class: Crease, a: b.at[s.a], b: b.at[s.b], group: -1}
		if e.a.XY() == e.b.XY() {
			continue
		}
		i, j := s.tri[0], s.tri[1]
		switch {
		case i < 0 || j < 0: // where an open mesh ends
			e.contour = true
			e.out = b.outward(s, max(i, j))
		case b.open && b.toward(i) != b.toward(j) || !b.open && b.faces(i) != b.faces(j):
			e.contour, e.smooth = true, b.smooth(i, j)
			t := i
			if !b.faces(i) {
				t = j
			}
			e.out = b.outward(s, t)
		case b.smooth(i, j):
			continue
		case !b.open && !b.faces(i):
			e.within = true
			if !hidden {
				continue
			}
		}
		out = append(out, e)
	}
	return out
}

// outward is the unit vector in the image square to a side, away from a triangle
// on it: one seen from outside lies to the left of its sides.
func (b *body) outward(s side, tri int32) geom.Vec2 {
	n := b.at[s.b].XY().Sub(b.at[s.a].XY()).Right().Unit()
	if (tri == s.tri[0]) != (b.normal[tri].Z > 0) {
		return n.Scale(-1)
	}
	return n
}
