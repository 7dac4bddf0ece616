package scene

import (
	"context"
	"math"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

func ring(cx, cy, r float64, n int, hole bool) geom.Polygon {
	var p geom.Polygon
	for i := range n {
		sn, cs := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		p = append(p, geom.V2(cx+r*cs, cy+r*sn))
	}
	if hole {
		return p.Reversed()
	}
	return p
}

// filled checks that triangles run counter-clockwise and have the region's area
// together; overlaps would add to it.
func filled(t interface{ Fatalf(string, ...any) }, what string, region geom.Polygons) {
	points, tris := fill(region)
	var sum float64
	for _, k := range tris {
		a, b, c := points[k[0]], points[k[1]], points[k[2]]
		area := b.Sub(a).Cross(c.Sub(a)) / 2
		if area < 0 {
			t.Fatalf("%s: a triangle runs clockwise", what)
		}
		sum += area
		m := a.Add(b).Add(c).Scale(1.0 / 3)
		if area > 1e-6 && !region.Contains(m) && region.Distance(m) > 1e-9 {
			t.Fatalf("%s: a triangle about %v lies outside", what, m)
		}
	}
	if math.Abs(sum-region.Area()) > 1e-9*math.Abs(region.Area()) {
		t.Fatalf("%s: triangles have %.9g mm², the region %.9g", what, sum, region.Area())
	}
}

func TestFill(t *testing.T) {
	square := geom.Polygon{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 100}, {X: 0, Y: 100}}
	comb := geom.Polygon{{X: 0, Y: 0}}
	for i := range 20 {
		x := float64(i) * 5
		comb = append(comb, geom.V2(x, 0), geom.V2(x+2, 0), geom.V2(x+2, 40), geom.V2(x+5, 40))
	}
	comb = append(comb[1:], geom.V2(100, 50), geom.V2(0, 50))
	for name, region := range map[string]geom.Polygons{
		"square":            {square},
		"points in line":    {{{X: 0, Y: 0}, {X: 50, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 100}, {X: 50, Y: 100}, {X: 0, Y: 100}, {X: 0, Y: 50}}},
		"hole":              {square, ring(50, 50, 20, 24, true)},
		"holes in a row":    {square, ring(20, 50, 8, 12, true), ring(50, 50, 8, 12, true), ring(80, 50, 8, 12, true)},
		"holes in a column": {square, ring(50, 20, 8, 12, true), ring(50, 50, 8, 12, true), ring(50, 80, 8, 12, true)},
		"two parts":         {square, ring(200, 50, 30, 30, false), ring(200, 50, 10, 9, true), ring(50, 50, 10, 9, true)},
		"island":            {square, ring(50, 50, 40, 30, true), ring(50, 50, 20, 20, false), ring(50, 50, 5, 7, true)},
		"comb":              {comb},
		"ring":              {ring(0, 0, 50, 200, false), ring(0, 0, 49, 200, true)},
		"nothing":           nil,
	} {
		filled(t, name, region)
	}
}

// Stars with holes.
func TestFillStars(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 60).Draw(t, "corners")
		var star geom.Polygon
		for i := range n {
			sn, cs := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			r := rapid.Float64Range(30, 100).Draw(t, "r")
			star = append(star, geom.V2(r*cs, r*sn))
		}
		region := geom.Polygons{star}
		for i := range rapid.IntRange(0, 4).Draw(t, "holes") {
			h := ring(float64(i%2)*8-4, float64(i/2)*8-4, rapid.Float64Range(0.5, 3).Draw(t, "hole"), rapid.IntRange(3, 20).Draw(t, "facets"), true)
			if n >= 5 { // fewer corners may leave no room for it
				region = append(region, h)
			}
		}
		filled(t, "star", region)
	})
}

// Thinned outlines stay within what was asked.
func TestThinned(t *testing.T) {
	round := geom.Polygons{ring(0, 0, 100, 2000, false), ring(0, 0, 60, 1500, true)}
	thin := thinned(round, 0.05)
	if len(thin) != 2 || len(thin[0]) > 130 {
		t.Fatalf("%d loops, %d points", len(thin), len(thin[0]))
	}
	for i, loop := range round {
		for _, q := range loop {
			if d := thin[i].Distance(q); d > 0.05+1e-9 {
				t.Fatalf("a point is %.3f mm off", d)
			}
		}
	}
}

// Round is smooth, edges are sharp: normals of a cylinder are radial on its side
// and along its axis on its ends.
func TestShading(t *testing.T) {
	k, err := kernel()
	if err != nil {
		t.Fatal(err)
	}
	for _, tag := range []solid.Tag{solid.NoTag, 3} {
		m, err := k.Mesh(context.Background(), solid.Cylinder(geom.Vec3{}, geom.V3(0, 0, 1), 20, 50, tag, solid.CylinderOptions{Chord: 0.2}))
		if err != nil {
			t.Fatal(err)
		}
		s := shaded(m)
		if len(s.Points) != 2*len(m.Vertices) {
			t.Errorf("%d points of %d corners, want each on the side and on an end", len(s.Points), len(m.Vertices))
		}
		for i, n := range s.Normals {
			p := s.Points[i]
			radial, axial := n.Dot(geom.V3(p.X, p.Y, 0).Unit()), math.Abs(n.Z)
			if radial < 0.999 && axial < 0.999 {
				t.Errorf("at %v the normal is %v", p, n)
			}
		}
	}
	box, err := k.Mesh(context.Background(), solid.Box(geom.Box3{Max: geom.V3(1, 2, 3)}, 0))
	if err != nil {
		t.Fatal(err)
	}
	if s := shaded(box); len(s.Points) != 24 {
		t.Errorf("a box has %d points, want 24", len(s.Points))
	}
}
