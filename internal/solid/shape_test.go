package solid

import (
	"errors"
	"io/fs"
	"math"
	"strings"
	"testing"
	"testing/fstest"

	"groundwork/internal/geom"
)

func relative(got, want float64) float64 { return math.Abs(got-want) / math.Abs(want) }

func mesh(t testing.TB, s Shape) *Mesh {
	t.Helper()
	m, err := testKernel(t).Mesh(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	if err := m.Check(); err != nil {
		t.Fatal(err)
	}
	return m
}

// Volumes and areas of polyhedra, worked out from their corners by hand. A
// regular n-gon inscribed in a circle of radius r has the area
// n/2 r² sin 2π/n, one drawn round it n r² tan π/n.
func TestClosedForms(t *testing.T) {
	gon := func(n int, r float64) float64 { return float64(n) / 2 * r * r * math.Sin(2*math.Pi/float64(n)) }
	side := func(n int, r float64) float64 { return 2 * r * math.Sin(math.Pi/float64(n)) }
	top := 10.0
	point := 0.0
	tilted := geom.FrameFromZ(geom.V3(123.4, -56.7, 8.9), geom.V3(1, -2, 3))
	square := v2(0, 0, 10, 0, 10, 10, 0, 10)
	hole := func(x, y float64) []geom.Vec2 { return v2(x, y, x, y+2, x+2, y+2, x+2, y) }
	tests := []struct {
		name         string
		shape        Shape
		volume, area float64 // area 0: not checked
	}{
		{"box", Box(geom.Box3{Min: geom.V3(-1, 2, 3), Max: geom.V3(1, 5, 7)}, 1), 24, 2 * (6 + 8 + 12)},
		{"box tilted", Box(geom.Box3{Min: geom.V3(-1, 2, 3), Max: geom.V3(1, 5, 7)}, 1).At(tilted), 24, 52},
		{"triangle extruded", Extrude([]Loop{loop(1, v2(0, 0, 3, 0, 0, 4))}, -2, 3, 8, 9), 30, 12 + 5*12},
		{"square with two holes", Extrude([]Loop{loop(1, square), loop(5, hole(1, 1)), loop(9, hole(6, 6))}, 0, 5, 20, 21), 5 * (100 - 8), 2*92 + 5*(40+16)},
		{"two islands", Extrude([]Loop{loop(1, square), loop(5, v2(20, 0, 21, 0, 21, 1))}, 0, 2, 20, 21), 2 * 100.5, 0},
		{"island in a hole", Extrude([]Loop{loop(1, square), loop(5, v2(1, 1, 1, 9, 9, 9, 9, 1)), loop(9, v2(4, 4, 6, 4, 6, 6, 4, 6))}, 0, 2, 20, 21), 2 * (100 - 64 + 4), 0},
		{"points in line", Extrude([]Loop{loop(1, v2(0, 0, 5, 0, 7, 0, 10, 0, 10, 5, 10, 10, 0, 10, 0, 1))}, 0, 5, 20, 21), 500, 400},
		{"cylinder inscribed", Cylinder(geom.V3(5, 6, 7), geom.V3(0, 0, 2), 4, 21, 1, CylinderOptions{Facets: 32}), 21 * gon(32, 4), 2*gon(32, 4) + 21*32*side(32, 4)},
		{"cylinder circumscribed", Cylinder(geom.V3(5, 6, 7), geom.V3(1, 1, 1), 4, 21, 1, CylinderOptions{Facets: 12, Circumscribed: true}), 21 * 12 * 16 * math.Tan(math.Pi/12), 0},
		// Frustum of a pyramid: h/3 (A + √(A B) + B).
		{"cone cut off", Cylinder(geom.V3(0, 0, 0), geom.V3(0, 0, 1), 20, 30, 1, CylinderOptions{Facets: 16, TopRadius: &top}), 30. / 3 * gon(16, 1) * (400 + 200 + 100), 0},
		{"cone", Cylinder(geom.V3(0, 0, 0), geom.V3(0, 1, 0), 20, 30, 1, CylinderOptions{Facets: 16, TopRadius: &point}), 10 * gon(16, 20), 0},
		{"frustum revolved", Revolve(v2(0, 0, 20, 0, 10, 30, 0, 30), []Tag{1, 2, 3, 4}, 48), 10 * gon(48, 1) * 700, 0},
		{"ring revolved", Revolve(v2(10, 0, 12, 0, 12, 5, 10, 5), []Tag{1, 2, 3, 4}, 24), 5 * (gon(24, 12) - gon(24, 10)), 0},
		{"spindle with points on the axis", Revolve(v2(0, 0, 3, 4, 0, 8, 0, 5, 0, 2), []Tag{1, 2, 3, 4, 5}, 20), 8. / 3 * gon(20, 3), 0},
		{"board with 40 bores", boredBoard(), boredBoardVolume, 0},
		{"union of boxes face to face", Union(Box(unitBox, 1), Box(geom.Box3{Min: geom.V3(1, 0, 0), Max: geom.V3(2, 1, 1)}, 2)), 2, 10},
		{"intersection", Intersection(Box(unitBox, 1), Box(geom.Box3{Min: geom.V3(0.5, 0.5, 0.5), Max: geom.V3(3, 3, 3)}, 2)), 0.125, 1.5},
		// Hull of a unit cube and the point cap of a pyramid on it.
		{"hull", Hull(Box(unitBox, 1), Box(geom.Box3{Min: geom.V3(2, 0, 0), Max: geom.V3(3, 1, 1)}, 1)), 3, 14},
		{"corner cut off", Box(unitBox, 1).Below(geom.PlaneAt(geom.V3(1, 1, 0.5), geom.V3(1, 1, 1)), 2), 1 - 0.125/6, 0},
		{"corner alone", Box(unitBox, 1).Above(geom.PlaneAt(geom.V3(1, 1, 0.5), geom.V3(1, 1, 1)), 2), 0.125 / 6, 0},
		{"slab", Box(unitBox, 1).Within(Cut{geom.PlaneAt(geom.V3(0.75, 0, 0), geom.V3(1, 0, 0)), 2}, Cut{geom.PlaneAt(geom.V3(0.25, 0, 0), geom.V3(-1, 0, 0)), 3}), 0.5, 4},
		{"foreign tetrahedron", Foreign([]geom.Vec3{{}, geom.V3(1, 0, 0), geom.V3(0, 1, 0), geom.V3(0, 0, 1)}, [][3]int32{{0, 2, 1}, {0, 1, 3}, {0, 3, 2}, {1, 2, 3}}, nil), 1. / 6, 1.5 + math.Sqrt(3)/2},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			m := mesh(t, tt.shape)
			// Everything is float64 from end to end: far inside the 1e-6 that boards must hold.
			if r := relative(m.Volume, tt.volume); r > 1e-12 {
				t.Errorf("volume %.15g, want %.15g: off by %.2g", m.Volume, tt.volume, r)
			}
			if r := relative(m.Area, tt.area); tt.area != 0 && r > 1e-12 {
				t.Errorf("area %.15g, want %.15g: off by %.2g", m.Area, tt.area, r)
			}
			if b := tt.shape.Bounds(); b.Union(m.Bounds) != b && !closeBoxes(b.Union(m.Bounds), b) {
				t.Errorf("the body %v exceeds its bounds %v", m.Bounds, b)
			}
		})
	}
}

func closeBoxes(a, b geom.Box3) bool { return a.Min.Dist(b.Min)+a.Max.Dist(b.Max) < 1e-9 }

// The number of facets keeps the sagitta r (1 - cos π/n) within the chord.
func TestFacets(t *testing.T) {
	for _, r := range []float64{0.01, 0.5, 2, 4, 30, 201.2, 2000} {
		for _, chord := range []float64{0.002, 0.02, 0.5} {
			for _, around := range []bool{false, true} {
				n := Facets(r, chord, around)
				stray := r * (1 - math.Cos(math.Pi/float64(n)))
				if around {
					stray = r * (1/math.Cos(math.Pi/float64(n)) - 1)
				}
				if n < 12 || n%4 != 0 || stray > chord {
					t.Errorf("Facets(%g, %g, %v) = %d strays %g", r, chord, around, n, stray)
				}
			}
		}
	}
	// Decimal example: r = 4, chord 0.02 needs π / acos(1 - 0.005) = 31.4 facets.
	if n := Facets(4, 0, false); n != 32 {
		t.Errorf("Facets(4) = %d, want 32", n)
	}
}

// A bore's polygon contains its circle: no vertex of the bore's wall and no
// point of its facets lies nearer to the axis than the radius.
func TestBoreIsCircumscribed(t *testing.T) {
	axis := geom.V3(1, 2, -0.5).Unit()
	m := mesh(t, Cylinder(geom.V3(3, 1, 4), axis, 4, 10, 1, CylinderOptions{Circumscribed: true}))
	nearest := math.Inf(1)
	for _, tri := range m.Triangles {
		a, b, c := m.Vertices[tri[0]], m.Vertices[tri[1]], m.Vertices[tri[2]]
		n := b.Sub(a).Cross(c.Sub(a)).Unit()
		if math.Abs(n.Dot(axis)) > 0.5 {
			continue // an end
		}
		nearest = min(nearest, n.Dot(a.Sub(geom.V3(3, 1, 4))))
	}
	if math.Abs(nearest-4) > 1e-12 {
		t.Errorf("the walls come within %.15g of the axis, want 4", nearest)
	}
}

func TestFaults(t *testing.T) {
	nan := math.NaN()
	tags := func(n int) []Tag { return make([]Tag, n) }
	ext := func(loops ...Loop) Shape { return Extrude(loops, 0, 1, 1, 2) }
	square := loop(0, v2(0, 0, 4, 0, 4, 4, 0, 4))
	tests := []struct {
		name  string
		shape Shape
		want  string
	}{
		{"no outline", ext(), "no outline"},
		{"two points", ext(loop(0, v2(0, 0, 1, 1))), "only 2 points"},
		{"not finite", ext(loop(0, v2(0, 0, 1, 0, nan, 1))), "not finite"},
		{"clockwise", ext(loop(0, v2(0, 0, 0, 1, 1, 1, 1, 0))), "clockwise"},
		{"hole counter-clockwise", ext(square, loop(4, v2(1, 1, 2, 1, 2, 2))), "counter-clockwise"},
		{"hole outside", ext(square, loop(4, v2(10, 1, 10, 2, 11, 2))), "clockwise"},
		{"crossed", ext(loop(0, v2(0, 0, 1, 1, 1, 0, 0, 1))), "cross or touch"},
		{"crossed with area", ext(loop(0, v2(0, 0, 4, 0, 4, 4, 5, 4, 3, 1, 0, 4))), "cross or touch"},
		{"fold back", ext(loop(0, v2(0, 0, 4, 0, 2, 0, 2, 3))), "cross or touch"},
		{"touches itself in a point", ext(loop(0, v2(0, 0, 2, 2, 4, 0, 4, 4, 2, 2, 0, 4))), "cross or touch"},
		{"touches itself on a side", ext(loop(0, v2(0, 0, 4, 0, 4, 4, 2, 0, 0, 4))), "cross or touch"},
		{"point twice", ext(loop(0, v2(0, 0, 4, 0, 4, 0, 2, 3))), "twice in a row"},
		{"loops cross", ext(square, loop(4, v2(3, 1, 3, 2, 5, 2))), "cross or touch"},
		{"loops touch", ext(square, loop(4, v2(2, 2, 3, 4, 3, 2))), "cross or touch"},
		{"loops along one line", ext(square, loop(4, v2(4, 1, 6, 1, 6, 2, 4, 2))), "cross or touch"},
		{"no height", Extrude([]Loop{square}, 1, 1, 1, 2), "height"},
		{"height not finite", Extrude([]Loop{square}, 0, math.Inf(1), 1, 2), "height"},
		{"tags missing", Extrude([]Loop{{square.Points, tags(3)}}, 0, 1, 1, 2), "3 tags"},
		{"tag too low", Extrude([]Loop{square}, 0, 1, -2, 2), "tag -2"},
		{"profile left of the axis", Revolve(v2(-1, 0, 2, 0, 2, 2), tags(3), 12), "negative radius"},
		{"profile touches the axis", Revolve(v2(0, 0, 2, -1, 2, 1), tags(3), 12), "touches the axis alone"},
		{"profile meets the axis twice", Revolve(v2(0, 0, 4, 0, 4, 9, 0, 9, 0, 8, 2, 8, 2, 1, 0, 1), tags(8), 12), "more than one place"},
		{"profile clockwise", Revolve(v2(0, 0, 0, 3, 2, 3), tags(3), 12), "clockwise"},
		{"two facets", Revolve(v2(1, 0, 2, 0, 2, 2), tags(3), 2), "facets"},
		{"box without size", Box(geom.Box3{}, 1), "not positive"},
		{"cylinder without radius", Cylinder(geom.Vec3{}, geom.V3(0, 0, 1), 0, 1, 1, CylinderOptions{}), "leave no body"},
		{"cylinder without axis", Cylinder(geom.Vec3{}, geom.Vec3{}, 1, 1, 1, CylinderOptions{}), "direction"},
		{"open mesh", Foreign([]geom.Vec3{{}, geom.V3(1, 0, 0), geom.V3(0, 1, 0), geom.V3(0, 0, 1)}, [][3]int32{{0, 2, 1}, {0, 1, 3}, {0, 3, 2}}, nil), "open"},
		{"mesh inside out", Foreign([]geom.Vec3{{}, geom.V3(1, 0, 0), geom.V3(0, 1, 0), geom.V3(0, 0, 1)}, [][3]int32{{0, 1, 2}, {0, 3, 1}, {0, 2, 3}, {1, 3, 2}}, nil), "inside out"},
		{"mesh with a stray corner", Foreign([]geom.Vec3{{}}, [][3]int32{{0, 1, 2}}, nil), "numbered 1"},
		{"left-handed frame", Box(unitBox, 1).At(geom.Frame{X: geom.V3(1, 0, 0), Y: geom.V3(0, 1, 0), Z: geom.V3(0, 0, -1)}), "right-handed"},
		{"plane without direction", Box(unitBox, 1).Below(geom.Plane{}, 2), "unit vector"},
		{"fault deep inside", Difference(Box(unitBox, 1), Union(Box(unitBox, 1), ext())), "no outline"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := testKernel(t).Mesh(t.Context(), tt.shape)
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want one that says %q", err, tt.want)
			}
			if tt.shape.Err() == nil {
				t.Error("Err() does not know the fault")
			}
		})
	}
}

func TestEmpty(t *testing.T) {
	far := Box(geom.Box3{Min: geom.V3(5, 5, 5), Max: geom.V3(6, 6, 6)}, 2)
	box := Box(unitBox, 1)
	for name, s := range map[string]Shape{
		"zero":         {},
		"union":        Union(),
		"difference":   Difference(box, box.At(geom.World()), far),
		"swallowed":    Difference(box, Box(unitBox.Grow(1), 1)),
		"intersection": Intersection(box, far),
		"below":        box.Below(geom.PlaneAt(geom.V3(0, 0, -1), geom.V3(0, 0, 1)), 3),
		"below touch":  box.Below(geom.PlaneAt(geom.V3(0, 0, 0), geom.V3(0, 0, 1)), 3),
		"above touch":  box.Above(geom.PlaneAt(geom.V3(0, 0, 1), geom.V3(0, 0, 1)), 3),
		"below empty":  Intersection(box, far).Below(geom.PlaneAt(geom.V3(0, 0, 0.5), geom.V3(0, 0, 1)), 3),
	} {
		if _, err := testKernel(t).Mesh(t.Context(), s); !errors.Is(err, ErrEmpty) {
			t.Errorf("%s: error %v, want ErrEmpty", name, err)
		}
	}
	// A part that is empty does not spoil the whole.
	if m := mesh(t, Union(box, Intersection(box, far)).Below(geom.PlaneAt(geom.V3(0, 0, 0.5), geom.V3(0, 0, 1)), 3)); m.Volume != 0.5 {
		t.Errorf("volume %g, want 0.5", m.Volume)
	}
	// A cut that misses leaves the body as it is.
	if m := mesh(t, box.Below(geom.PlaneAt(geom.V3(0, 0, 2), geom.V3(0, 0, 1)), 3)); m.Volume != 1 || len(m.Triangles) != 12 {
		t.Errorf("volume %g with %d triangles, want 1 with 12", m.Volume, len(m.Triangles))
	}
}

func TestHash(t *testing.T) {
	shapes := []Shape{
		{}, Box(unitBox, 1), Box(unitBox, 2), Box(unitBox.Grow(1), 1),
		Box(unitBox, 1).At(geom.FrameFromZ(geom.Vec3{}, geom.V3(0, 1, 0))),
		Union(Box(unitBox, 1), Box(unitBox, 2)), Difference(Box(unitBox, 1), Box(unitBox, 2)), Union(Box(unitBox, 2), Box(unitBox, 1)),
		Hull(Box(unitBox, 1)),
		Extrude([]Loop{loop(1, v2(0, 0, 1, 0, 1, 1))}, 0, 1, 1, 2), Extrude([]Loop{loop(1, v2(0, 0, 1, 0, 1, 1))}, 0, 1, 2, 1),
		Extrude([]Loop{loop(2, v2(0, 0, 1, 0, 1, 1))}, 0, 1, 1, 2), Extrude([]Loop{loop(1, v2(0, 0, 1, 0, 1, 1))}, 0, 2, 1, 2),
	}
	for i, a := range shapes {
		for j, b := range shapes {
			if (a.Hash() == b.Hash()) != (i == j) {
				t.Errorf("shapes %d and %d: hashes equal is %v", i, j, a.Hash() == b.Hash())
			}
		}
	}
	// Made twice, the same; and what was given may be changed afterwards.
	points := v2(0, 0, 1, 0, 1, 1)
	a := Extrude([]Loop{loop(1, points)}, 0, 1, 1, 2)
	points[1].X = 7
	if a.Hash() != shapes[9].Hash() || mesh(t, a).Volume != 0.5 {
		t.Error("the Shape changed with the points that it was made from")
	}
	if !(Shape{}).IsZero() || a.IsZero() {
		t.Error("IsZero is wrong")
	}
}

// However the parts of a difference are put together, it is one difference.
func TestDifferencesAreJoined(t *testing.T) {
	at := func(x float64) Shape {
		return Box(geom.Box3{Min: geom.V3(x, -1, -1), Max: geom.V3(x+0.1, 2, 2)}, 2)
	}
	a, b, c, d := Box(unitBox, 1), at(0.2), at(0.5), at(0.6)
	want := Difference(a, b, c, d)
	for i, s := range []Shape{
		Difference(Difference(a, b), c, Shape{}, d),
		Difference(Difference(Difference(a, b), c), d),
		Difference(a, Union(b, c, d)),
		Difference(Difference(a, Union(b, c)), d),
	} {
		if s.Hash() != want.Hash() {
			t.Errorf("way %d makes another Shape", i)
		}
	}
	if m := mesh(t, want); relative(m.Volume, 0.7) > 1e-12 {
		t.Errorf("volume %g, want 0.7", m.Volume)
	}
	m, err := testKernel(t).Measure(t.Context(), want)
	if err != nil || relative(m.Volume, 0.7) > 1e-12 || m.Bounds != unitBox || relative(m.Area, 3*2+4*0.7) > 1e-12 { // three slabs, together 0.7 thick
		t.Errorf("measure %v, %v", m, err)
	}
}

func TestNotBuilt(t *testing.T) {
	for name, files := range map[string]fs.FS{
		"placeholder only": fstest.MapFS{"kernel/.gitkeep": {}},
		"link.json alone":  fstest.MapFS{"kernel/link.json": {Data: []byte("{}")}},
		"another wasm":     fstest.MapFS{"kernel/link.json": {Data: []byte(`{"wasm":"00"}`)}, "kernel/manifold.wasm": {}},
	} {
		_, _, err := loadKernel(files)
		if !errors.Is(err, ErrNotBuilt) || !strings.Contains(err.Error(), "the solid kernel is not built: run make kernel") {
			t.Errorf("%s: error %v, want ErrNotBuilt", name, err)
		}
	}
}

func TestCheck(t *testing.T) {
	good := mesh(t, Box(unitBox, 1))
	spoil := func(f func(*Mesh)) *Mesh {
		m := newMesh(append([]geom.Vec3{}, good.Vertices...), append([][3]int32{}, good.Triangles...), append([]Tag{}, good.Tags...))
		f(m)
		return m
	}
	for want, m := range map[string]*Mesh{
		"open":      spoil(func(m *Mesh) { m.Triangles, m.Tags = m.Triangles[1:], m.Tags[1:] }),
		"twice":     spoil(func(m *Mesh) { m.Triangles, m.Tags = append(m.Triangles, m.Triangles[3]), append(m.Tags, 1) }),
		"finite":    spoil(func(m *Mesh) { m.Vertices[2].Y = math.NaN() }),
		"no size":   spoil(func(m *Mesh) { m.Vertices[0] = m.Vertices[1] }),
		"positive":  spoil(func(m *Mesh) { m.Volume = -m.Volume }),
		"tags":      spoil(func(m *Mesh) { m.Tags = m.Tags[1:] }),
		"numbered":  spoil(func(m *Mesh) { m.Triangles[0][1] = 8 }),
		"no triang": {},
	} {
		if err := m.Check(); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want one that says %q", err, want)
		}
	}
}
