package mesh

import (
	"math"
	"slices"
	"testing"

	"groundwork/internal/geom"

	"pgregory.net/rapid"
)

// box is a block with one corner at the origin; volume x·y·z.
func box(x, y, z float64) Body {
	b := Body{Name: "box"}
	for i := range 8 {
		b.Vertices = append(b.Vertices, geom.V3(x*float64(i&1), y*float64(i>>1&1), z*float64(i>>2)))
	}
	b.Triangles = [][3]int32{
		{0, 2, 1}, {1, 2, 3}, {4, 5, 6}, {5, 7, 6}, // bottom, top
		{0, 1, 4}, {1, 5, 4}, {2, 6, 3}, {3, 6, 7}, // front, back
		{0, 4, 2}, {2, 4, 6}, {1, 3, 5}, {3, 7, 5}, // left, right
	}
	return b
}

// tetrahedron has its right corner at the origin and legs a, b, c; its volume is
// abc/6.
func tetrahedron(a, b, c float64) Body {
	return Body{
		Name:      "tetrahedron",
		Vertices:  []geom.Vec3{{}, {X: a}, {Y: b}, {Z: c}},
		Triangles: [][3]int32{{0, 2, 1}, {0, 1, 3}, {0, 3, 2}, {1, 2, 3}},
	}
}

// ring is a torus of square grid: genus 1, so that edges and vertices are joined
// in a way no sphere has. Its volume is that of the polygon with m corners swept
// over n chords, by Pappus' theorem for prisms mitred at their joints.
func ring(n, m int, big, small float64) (Body, float64) {
	b := Body{Name: "ring"}
	for i := range n {
		for j := range m {
			u, v := 2*math.Pi*float64(i)/float64(n), 2*math.Pi*float64(j)/float64(m)
			r := big + small*math.Cos(v)
			b.Vertices = append(b.Vertices, geom.V3(r*math.Cos(u), r*math.Sin(u), small*math.Sin(v)))
		}
	}
	at := func(i, j int) int32 { return int32(i%n*m + j%m) }
	for i := range n {
		for j := range m {
			b.Triangles = append(b.Triangles,
				[3]int32{at(i, j), at(i+1, j), at(i+1, j+1)}, [3]int32{at(i, j), at(i+1, j+1), at(i, j+1)})
		}
	}
	// A mitred prism's volume is its cross-section square to the sweep times the
	// way of that section's centroid. The section at a corner has the polygon's
	// area; square to the chord it is cos(π/n) of it, and the centroid's way is
	// n chords 2 R sin(π/n).
	area := float64(m) / 2 * small * small * math.Sin(2*math.Pi/float64(m))
	return b, area * math.Cos(math.Pi/float64(n)) * float64(n) * 2 * big * math.Sin(math.Pi/float64(n))
}

func TestCheck(t *testing.T) {
	solidRing, ringVolume := ring(24, 9, 40, 7)
	far := box(3, 4, 5)
	for i := range far.Vertices {
		far.Vertices[i] = far.Vertices[i].Add(geom.V3(1e6, -1e6, 1e6))
	}
	open := box(3, 4, 5)
	open.Triangles = open.Triangles[1:]
	flipped := box(3, 4, 5)
	flipped.Triangles[0] = [3]int32{0, 1, 2}
	inside := box(3, 4, 5)
	for i, f := range inside.Triangles {
		inside.Triangles[i] = [3]int32{f[1], f[0], f[2]}
	}
	twice := box(3, 4, 5)
	twice.Triangles = append(twice.Triangles, twice.Triangles...)
	flat := box(3, 4, 0)
	needle := tetrahedron(1, 1, 1)
	needle.Vertices[3] = geom.V3(0.5, 0.5, 0) // on the edge from 1 to 2

	for _, c := range []struct {
		name string
		b    Body
		want Report // Area and Bounds are compared only if set
	}{
		{"box", box(3, 4, 5), Report{Closed: true, Oriented: true, Volume: 60, Area: 94}},
		{"box far away", far, Report{Closed: true, Oriented: true, Volume: 60, Area: 94}},
		{"tetrahedron", tetrahedron(3, 4, 5), Report{Closed: true, Oriented: true, Volume: 10}},
		{"ring", solidRing, Report{Closed: true, Oriented: true, Volume: ringVolume}},
		{"a triangle short", open, Report{Oriented: true, Open: 3}},
		{"a triangle turned over", flipped, Report{Closed: true, Flipped: 3}},
		{"inside out", inside, Report{Closed: true, Oriented: true, Volume: -60, Area: 94}},
		{"every triangle twice", twice, Report{Crowded: 18}},
		{"flat", flat, Report{Closed: true, Oriented: true, Degenerate: 8}},
		{"needle", needle, Report{Closed: true, Oriented: true, Degenerate: 1}},
		{"nothing", Body{}, Report{Oriented: true}},
	} {
		got, err := Check(c.b.Vertices, c.b.Triangles)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if math.Abs(got.Volume-c.want.Volume) > 1e-9*math.Abs(c.want.Volume) && c.want.Closed && c.want.Oriented {
			t.Errorf("%s: volume %v, want %v", c.name, got.Volume, c.want.Volume)
		}
		if c.want.Area != 0 && math.Abs(got.Area-c.want.Area) > 1e-9*c.want.Area {
			t.Errorf("%s: area %v, want %v", c.name, got.Area, c.want.Area)
		}
		if got.Printable() != (c.want.Closed && c.want.Oriented && c.want.Degenerate == 0 && c.want.Volume > 0) {
			t.Errorf("%s: printable %v", c.name, got.Printable())
		}
		got.Volume, got.Area, got.Bounds = c.want.Volume, c.want.Area, c.want.Bounds
		if got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}

func TestCheckRefuses(t *testing.T) {
	for name, b := range map[string]Body{
		"an index too high": {Vertices: []geom.Vec3{{}}, Triangles: [][3]int32{{0, 0, 1}}},
		"a negative index":  {Vertices: []geom.Vec3{{}}, Triangles: [][3]int32{{0, 0, -1}}},
		"not a number":      {Vertices: []geom.Vec3{{X: math.NaN()}}},
		"infinity":          {Vertices: []geom.Vec3{{Y: math.Inf(-1)}}},
	} {
		if _, err := Check(b.Vertices, b.Triangles); err == nil {
			t.Errorf("%s was accepted", name)
		}
	}
}

func TestWeld(t *testing.T) {
	// A soup, every triangle with corners of its own, becomes the box again.
	whole := box(3, 4, 5)
	var soup Body
	for _, f := range whole.Triangles {
		n := int32(len(soup.Vertices))
		for _, k := range f {
			soup.Vertices = append(soup.Vertices, whole.Vertices[k])
		}
		soup.Triangles = append(soup.Triangles, [3]int32{n, n + 1, n + 2})
	}
	v, f := Weld(soup.Vertices, soup.Triangles)
	if r, err := Check(v, f); err != nil || !r.Printable() || len(v) != 8 || len(f) != 12 || r.Volume != 60 {
		t.Errorf("soup: %+v, %v", r, err)
	}

	// An edge shorter than the float32 step vanishes with its two triangles.
	// Here a fine ring is pinched to less than a step in places.
	b, _ := ring(64, 12, 1000, 1e-4)
	for i := range b.Vertices {
		b.Vertices[i].Z += 1000
	}
	v, f = Weld(b.Vertices, b.Triangles)
	r, err := Check(v, f)
	if err != nil || r.Open != 0 || r.Flipped != 0 {
		t.Errorf("pinched ring: %+v, %v", r, err)
	}
	if len(f) >= len(b.Triangles) {
		t.Error("the pinched ring lost no triangle, so the test shows nothing")
	}

	// A plate thinner than a step is nothing at all.
	v, f = Weld(box(30, 40, 1e-50).Vertices, box(30, 40, 1e-50).Triangles)
	if len(v) != 0 || len(f) != 0 {
		t.Errorf("thin plate: %v %v", v, f)
	}
}

// TestWeldKeepsBalance rounds random small shapes on a grid so coarse that much
// collapses, and expects every edge to be run as often one way as the other.
func TestWeldKeepsBalance(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n, m := rapid.IntRange(3, 12).Draw(rt, "n"), rapid.IntRange(3, 8).Draw(rt, "m")
		b, _ := ring(n, m, 10, 3)
		step := rapid.SampledFrom([]float64{1e-3, 1, 2, 4, 8}).Draw(rt, "step")
		for i, v := range b.Vertices {
			b.Vertices[i] = geom.V3(math.Round(v.X/step)*step, math.Round(v.Y/step)*step, math.Round(v.Z/step)*step)
		}
		before, err := Check(b.Vertices, b.Triangles)
		if err != nil {
			rt.Fatal(err)
		}
		v, f := Weld(b.Vertices, b.Triangles)
		after, err := Check(v, f)
		if err != nil {
			rt.Fatal(err)
		}
		if after.Open != 0 || after.Flipped != 0 {
			rt.Errorf("%+v", after)
		}
		if math.Abs(after.Volume-before.Volume) > 1e-3*(1+math.Abs(before.Volume)) {
			rt.Errorf("volume %v became %v", before.Volume, after.Volume)
		}
		v2, f2 := Weld(v, f)
		if !slices.Equal(v, v2) || !slices.Equal(f, f2) {
			rt.Error("welding twice differs from welding once")
		}
	})
}

// drawBody is a random closed body on the float32 grid.
func drawBody(rt *rapid.T) Body {
	b, _ := ring(rapid.IntRange(3, 9).Draw(rt, "n"), rapid.IntRange(3, 9).Draw(rt, "m"),
		rapid.Float64Range(20, 300).Draw(rt, "big"), rapid.Float64Range(0.5, 15).Draw(rt, "small"))
	b.Vertices, b.Triangles = Weld(b.Vertices, b.Triangles)
	return b
}

// lift is the frame that brings a body into the positive octant.
func lift(b Body, f geom.Frame) geom.Frame {
	low := geom.EmptyBox3()
	for _, v := range b.Vertices {
		low = low.Add(f.Point(v))
	}
	f.Origin = f.Origin.Sub(low.Min)
	return f
}
