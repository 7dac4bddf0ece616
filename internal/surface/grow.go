package surface

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// A facet is a connected run of triangles in one plane: a whole plane face, or
// one strip of a tessellated curve. All recognition works on facets, because a
// strip has one normal however it was cut into triangles.
type facet struct {
	triangles []int32
	normal    geom.Vec3 // out of the material
	offset    float64   // normal·p of its vertices, their mean
	area      float64
}

// grower is the state of one recognition.
type grower struct {
	*Solid
	tol   float64
	facet []facet
	of    []int32 // facet of each triangle
	found []Face
}

func newGrower(s *Solid, tol float64) *grower { return &grower{Solid: s, tol: tol} }

// facets groups the triangles by planes. The largest triangle that is left
// begins the next facet, so that a plane is known from its widest part.
func (g *grower) facets() {
	n := len(g.Triangles)
	cross := make([]geom.Vec3, n)
	size := make([]float64, n)
	order := make([]int32, n)
	for t := range n {
		cross[t] = g.cross(int32(t))
		size[t] = cross[t].Len()
		order[t] = int32(t)
	}
	slices.SortStableFunc(order, func(a, b int32) int { return cmp.Compare(size[b], size[a]) })
	g.of = make([]int32, n)
	for t := range g.of {
		g.of[t] = -1
	}
	var queue []int32
	for _, seed := range order {
		if g.of[seed] >= 0 {
			continue
		}
		id := int32(len(g.facet))
		normal := cross[seed].Unit()
		at := g.Vertices[g.Triangles[seed][0]]
		f := facet{normal: normal}
		sum := cross[seed]
		grown := 2 * size[seed]
		queue = append(queue[:0], seed)
		g.of[seed] = id
		for len(queue) > 0 {
			t := queue[0]
			queue = queue[1:]
			f.triangles = append(f.triangles, t)
			for i := range int32(3) {
				u := g.twin[3*t+i] / 3
				if g.of[u] >= 0 {
					continue
				}
				far := 0.0
				for _, v := range g.Triangles[u] {
					far = max(far, math.Abs(normal.Dot(g.Vertices[v].Sub(at))))
				}
				if far > g.tol || cross[u].Dot(normal) < 0.9*size[u]-g.tol*g.tol {
					continue
				}
				g.of[u] = id
				queue = append(queue, u)
				sum = sum.Add(cross[u])
				// A plane known from a small triangle tilts far out; it is
				// steadied by all that has come to it.
				if l := sum.Len(); l > grown {
					normal, grown = sum.Unit(), 2*l
				}
			}
		}
		f.normal = sum.Unit()
		corners := 0
		for _, t := range f.triangles {
			f.area += size[t] / 2
			for _, v := range g.Triangles[t] {
				f.offset += f.normal.Dot(g.Vertices[v].Sub(at))
				corners++
			}
		}
		f.offset = f.offset/float64(corners) + f.normal.Dot(at)
		g.facet = append(g.facet, f)
	}
}

// plane makes a face of one facet.
func (g *grower) plane(i int32) {
	f := &g.facet[i]
	origin := g.Vertices[g.Triangles[slices.Min(f.triangles)][0]]
	origin = origin.Sub(f.normal.Scale(f.normal.Dot(origin) - f.offset))
	face := Face{Kind: Plane, Frame: geom.FrameFromZ(origin, f.normal), Triangles: slices.Clone(f.triangles)}
	for _, t := range f.triangles {
		for _, v := range g.Triangles[t] {
			face.Residual = max(face.Residual, math.Abs(face.Distance(g.Vertices[v])))
		}
	}
	g.found = append(g.found, face)
}
