package solid

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// Mesh is a body as a closed triangle mesh. It must not be changed: a Kernel
// hands the same Mesh to everybody who asks for the same Shape.
//
// Vertices and triangles are in a canonical order: vertices by X, Y, Z; every
// triangle begins with its lowest vertex; triangles by their vertices.
type Mesh struct {
	Vertices     []geom.Vec3
	Triangles    [][3]int32 // counter-clockwise seen from outside
	Tags         []Tag      // one per triangle
	Volume, Area float64    // mm³, mm²
	Bounds       geom.Box3
}

// newMesh orders and measures a mesh. It takes over its arguments.
func newMesh(vertices []geom.Vec3, triangles [][3]int32, tags []Tag) *Mesh {
	order := make([]int32, len(vertices))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortFunc(order, func(a, b int32) int {
		return cmp.Or(compareVec3(vertices[a], vertices[b]), cmp.Compare(a, b))
	})
	place := make([]int32, len(vertices))
	m := &Mesh{Vertices: make([]geom.Vec3, len(vertices)), Bounds: geom.EmptyBox3()}
	for i, o := range order {
		place[o] = int32(i)
		v := vertices[o]
		v = geom.V3(v.X+0, v.Y+0, v.Z+0) // -0 is 0
		m.Vertices[i] = v
		m.Bounds = m.Bounds.Add(v)
	}
	type facet struct {
		corners [3]int32
		tag     Tag
	}
	facets := make([]facet, len(triangles))
	for i, t := range triangles {
		a, b, c := place[t[0]], place[t[1]], place[t[2]]
		for b < a || c < a {
			a, b, c = b, c, a
		}
		facets[i] = facet{[3]int32{a, b, c}, tags[i]}
	}
	slices.SortFunc(facets, func(a, b facet) int {
		return cmp.Or(slices.Compare(a.corners[:], b.corners[:]), cmp.Compare(a.tag, b.tag))
	})
	m.Triangles = make([][3]int32, len(facets))
	m.Tags = make([]Tag, len(facets))
	for i, f := range facets {
		m.Triangles[i], m.Tags[i] = f.corners, f.tag
	}
	m.Volume = meshVolume(m.Vertices, m.Triangles)
	for _, t := range m.Triangles {
		a, b, c := m.Vertices[t[0]], m.Vertices[t[1]], m.Vertices[t[2]]
		m.Area += b.Sub(a).Cross(c.Sub(a)).Len() / 2
	}
	return m
}

func compareVec3(a, b geom.Vec3) int {
	return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y), cmp.Compare(a.Z, b.Z))
}

// meshVolume sums the tetrahedra between the facets and the middle of the
// body; the middle keeps the digits of a small body far from the origin.
func meshVolume(vertices []geom.Vec3, triangles [][3]int32) float64 {
	b := geom.EmptyBox3()
	for _, v := range vertices {
		b = b.Add(v)
	}
	if b.Empty() {
		return 0
	}
	o := b.Center()
	var six float64
	for _, t := range triangles {
		six += vertices[t[0]].Sub(o).Dot(vertices[t[1]].Sub(o).Cross(vertices[t[2]].Sub(o)))
	}
	return six / 6
}

// Check reports the first fault that would keep the mesh from bounding a body:
// a coordinate that is not finite, an edge that is not used exactly once in
// each direction, a triangle without size, or a volume that is not positive.
//
// A triangle has no size when its height over its longest side is less than
// 1e-12 of that side, the digits a float64 has left after an intersection.
func (m *Mesh) Check() error {
	if len(m.Tags) != len(m.Triangles) {
		return fmt.Errorf("%d triangles but %d tags", len(m.Triangles), len(m.Tags))
	}
	for i, v := range m.Vertices {
		if !finite(v.X, v.Y, v.Z) {
			return fmt.Errorf("vertex %d is not finite", i)
		}
	}
	if err := checkClosed(len(m.Vertices), m.Triangles); err != nil {
		return err
	}
	for i, t := range m.Triangles {
		a, b, c := m.Vertices[t[0]], m.Vertices[t[1]], m.Vertices[t[2]]
		longest := max(a.Dist(b), b.Dist(c), c.Dist(a))
		if b.Sub(a).Cross(c.Sub(a)).Len() <= 1e-12*longest*longest {
			return fmt.Errorf("triangle %d between %v, %v and %v has no size", i, a, b, c)
		}
	}
	if !(m.Volume > 0) || math.IsInf(m.Volume, 0) {
		return fmt.Errorf("the volume of %g mm³ is not positive", m.Volume)
	}
	return nil
}

// checkClosed reports whether every edge is used exactly once in each direction.
func checkClosed(vertices int, triangles [][3]int32) error {
	if len(triangles) == 0 {
		return errors.New("the mesh has no triangles")
	}
	edges := make([]uint64, 0, 3*len(triangles))
	for i, t := range triangles {
		for j, a := range t {
			b := t[(j+1)%3]
			if a < 0 || int(a) >= vertices {
				return fmt.Errorf("triangle %d has a corner numbered %d of %d vertices", i, a, vertices)
			}
			if a == b {
				return fmt.Errorf("triangle %d has the corner %d twice", i, a)
			}
			edges = append(edges, uint64(a)<<32|uint64(b))
		}
	}
	slices.Sort(edges)
	for i, e := range edges {
		if i > 0 && e == edges[i-1] {
			return fmt.Errorf("the edge from vertex %d to %d is used twice in one direction", e>>32, e&math.MaxUint32)
		}
		if _, ok := slices.BinarySearch(edges, e<<32|e>>32); !ok {
			return fmt.Errorf("the mesh is open at the edge from vertex %d to %d", e>>32, e&math.MaxUint32)
		}
	}
	return nil
}
