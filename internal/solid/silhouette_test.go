package solid

import (
	"testing"

	"groundwork/internal/geom"

	"pgregory.net/rapid"
)

// Seen from anywhere, the outline of a body is what all its facets cover.
func TestOutlineIsWhatFacetsCover(t *testing.T) {
	k := testKernel(t)
	box := Box(geom.Box3{Max: geom.V3(30, 20, 8)}, 1)
	bodies := []Shape{
		Difference(box,
			Cylinder(geom.V3(8, 10, -1), geom.V3(0, 0, 1), 4, 4, 10, CylinderOptions{Facets: 16}),
			Cylinder(geom.V3(-1, 10, 4), geom.V3(1, 0.2, 0), 2, 2, 40, CylinderOptions{Facets: 12})),
		Union(box, Box(geom.Box3{Min: geom.V3(0, 0, 20), Max: geom.V3(30, 5, 24)}, 2), Box(geom.Box3{Min: geom.V3(0, 0, 8), Max: geom.V3(4, 4, 20)}, 3)),
		Union(box, Box(geom.Box3{Min: geom.V3(40, 5, -6), Max: geom.V3(50, 30, 12)}, 2)), // two bodies, one behind the other from some sides
	}
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(bodies).Draw(t, "body")
		f := drawFrame(t)
		outline, err := k.Project(t.Context(), s, f)
		if err != nil {
			t.Fatal(err)
		}
		m, err := k.Mesh(t.Context(), s)
		if err != nil {
			t.Fatal(err)
		}
		var facets []geom.Polygons
		for _, tri := range m.Triangles {
			p := geom.Polygon{f.Local(m.Vertices[tri[0]]).XY(), f.Local(m.Vertices[tri[1]]).XY(), f.Local(m.Vertices[tri[2]]).XY()}
			if p.Area() < 0 {
				p[0], p[1] = p[1], p[0]
			}
			if p.Area() > 1e-7 {
				facets = append(facets, geom.Polygons{p})
			}
		}
		want, err := k.Union2(t.Context(), facets...)
		if err != nil {
			t.Fatal(err)
		}
		if d := k.differ(outline, want); !(d < 1e-4) {
			t.Fatalf("the outline differs from its facets by %g mm²", d)
		}
	})
}
