package surface

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/mend"
	"groundwork/internal/mesh"
	"groundwork/internal/solid"
)

// kindCount counts the faces by kind: "6 plane, 1 cylinder".
func kindCount(s *Solid) string {
	n := map[Kind]int{}
	for _, f := range s.Faces {
		n[f.Kind]++
	}
	var parts []string
	for _, k := range []Kind{Plane, Cylinder, Cone, Sphere, Developable, Free} {
		if n[k] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n[k], k))
		}
	}
	return strings.Join(parts, ", ")
}

func facesOf(t testing.TB, vertices []geom.Vec3, triangles [][3]int32) *Solid {
	t.Helper()
	s, err := Recognise(vertices, triangles, Options{})
	if err != nil {
		t.Fatal(err)
	}
	total := 0
	for i, f := range s.Faces {
		total += len(f.Triangles)
		for _, k := range f.Triangles {
			if s.Of[k] != int32(i) {
				t.Fatalf("triangle %d: face %d, but Of says %d", k, i, s.Of[k])
			}
		}
	}
	if total != len(triangles) {
		t.Fatalf("%d triangles in faces, of %d", total, len(triangles))
	}
	return s
}

// loftRings is the closed mesh through rings of points, bottom up, each
// counter-clockwise seen from above, with flat ends. crossed halves the four-sided
// figures the other way in every second row.
func loftRings(rings [][]geom.Vec3, crossed bool) (vertices []geom.Vec3, triangles [][3]int32) {
	n := int32(len(rings[0]))
	for _, r := range rings {
		vertices = append(vertices, r...)
	}
	for k := range int32(len(rings) - 1) {
		for i := range n {
			a, b := k*n+i, k*n+(i+1)%n
			c, d := a+n, b+n
			if crossed && k%2 == 1 {
				triangles = append(triangles, [3]int32{a, b, c}, [3]int32{b, d, c})
			} else {
				triangles = append(triangles, [3]int32{a, b, d}, [3]int32{a, d, c})
			}
		}
	}
	top := n * int32(len(rings)-1)
	for i := int32(1); i+1 < n; i++ {
		triangles = append(triangles, [3]int32{0, i + 1, i}, [3]int32{top, top + i, top + i + 1})
	}
	return vertices, triangles
}

// hoop is a circle of n points; start in steps.
func hoop(c geom.Vec3, r float64, n int, start float64) []geom.Vec3 {
	var out []geom.Vec3
	for i := range n {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + start) / float64(n))
		out = append(out, c.Add(geom.V3(r*cos, r*sin, 0)))
	}
	return out
}

// TestKinds holds the cases where the line between two answers runs.
func TestKinds(t *testing.T) {
	z := func(h float64) geom.Vec3 { return geom.V3(0, 0, h) }
	rings := func(n int, start float64, rz ...geom.Vec2) [][]geom.Vec3 {
		var out [][]geom.Vec3
		for i, p := range rz {
			out = append(out, hoop(z(p.Y), p.X, n, start*float64(i)))
		}
		return out
	}
	profile := func(n int, r func(h float64) float64, from, to float64) []geom.Vec2 {
		var out []geom.Vec2
		for i := range n + 1 {
			h := from + (to-from)*float64(i)/float64(n)
			out = append(out, geom.V2(r(h), h))
		}
		return out
	}
	v2 := geom.V2
	for _, c := range []struct {
		name  string
		rings [][]geom.Vec3
		want  string
	}{
		{"six sides are meant", rings(6, 0, v2(10, 0), v2(10, 50)), "8 plane"},
		{"eight sides are meant", rings(8, 0, v2(10, 0), v2(10, 50)), "10 plane"},
		{"so are nine", rings(9, 0, v2(10, 0), v2(10, 50)), "11 plane"},
		{"ten are a cylinder", rings(10, 0, v2(10, 0), v2(10, 50)), "2 plane, 1 cylinder"},
		{"twelve are a cylinder", rings(12, 0, v2(10, 0), v2(10, 50)), "2 plane, 1 cylinder"},
		{"eight sides that taper", rings(8, 0, v2(10, 0), v2(7, 50)), "10 plane"},
		{"twelve that taper are a cone", rings(12, 0, v2(10, 0), v2(7, 50)), "2 plane, 1 cone"},
		{"slender cone", rings(48, 0, v2(10, 0), v2(9.9, 500)), "2 plane, 1 cone"},
		{"cylinder and cone at a shallow angle", rings(48, 0, v2(10, 0), v2(10, 100), v2(8, 200)), "2 plane, 1 cylinder, 1 cone"},
		{"waist of two cones", rings(48, 0, v2(20, 0), v2(12, 40), v2(20, 80)), "2 plane, 2 cone"},
		{"cylinder of crooked triangles", rings(36, 0.5, v2(10, 0), v2(10, 1), v2(10, 2), v2(10, 3), v2(10, 4)), "2 plane, 1 cylinder"},
		{"twisted strips on a cylinder", rings(36, 0.5, v2(10, 0), v2(10, 20)), "2 plane, 1 cylinder"},
		{"vase", rings(48, 0, profile(24, func(h float64) float64 { return 40 + 15*math.Sin(h/40) }, 0, 200)...), "2 plane, 1 free"},
		{"barrel", rings(48, 0, profile(12, func(h float64) float64 { return math.Sqrt(400*400-h*h) - 340 }, -60, 60)...), "2 plane, 1 free"},
		{"ball without its poles", rings(48, 0, profile(24, func(h float64) float64 { return math.Sqrt(2500 - h*h) }, -40, 40)...), "2 plane, 1 sphere"},
		{"oblique cone", [][]geom.Vec3{hoop(z(0), 20, 60, 0), hoop(geom.V3(25, 0, 60), 10, 60, 0)}, "2 plane, 1 developable"},
	} {
		t.Run(c.name, func(t *testing.T) {
			vertices, triangles := loftRings(c.rings, true)
			s := facesOf(t, vertices, triangles)
			if got := kindCount(s); got != c.want {
				t.Errorf("got %s, want %s", got, c.want)
				for _, r := range s.Report() {
					t.Log(r.Text, r.Residual)
				}
			}
		})
	}
}

// TestDrawnKinds are solids that the kernel makes.
func TestDrawnKinds(t *testing.T) {
	k := kernelForTest(t)
	v2 := geom.V2
	for _, c := range []struct {
		name  string
		shape func(d *drawing) solid.Shape
		want  string
	}{
		{"flat cut along a shaft", func(d *drawing) solid.Shape {
			return d.bar(geom.V3(0, 0, 0), ez, 10, 60, 0).Below(geom.PlaneAt(geom.V3(9.5, 0, 0), ex), 1)
		}, "3 plane, 1 cylinder"},
		{"half round", func(d *drawing) solid.Shape {
			return d.bar(geom.V3(0, 0, 0), ez, 10, 60, 0).Below(geom.PlaneAt(geom.V3(0.123, 0, 0), ex), 1)
		}, "3 plane, 1 cylinder"},
		{"fillets of two facets", func(d *drawing) solid.Shape {
			d.chord = 8 * (1 - math.Cos(math.Pi/8)) * 1.001
			return solid.Extrude([]solid.Loop{d.outline(rounded([]geom.Vec2{v2(0, 0), v2(60, 0), v2(60, 40), v2(0, 40)}, []float64{8, 8, 8, 8}))}, 0, 20, 0, 0)
		}, "6 plane, 4 cylinder"},
		{"chamfers are not fillets", func(d *drawing) solid.Shape {
			return solid.Extrude([]solid.Loop{d.outline(corner(v2(8, 0), v2(52, 0), v2(60, 8), v2(60, 32), v2(52, 40), v2(8, 40), v2(0, 32), v2(0, 8)))}, 0, 20, 0, 0)
		}, "10 plane"},
		{"slow bend of three flats", func(d *drawing) solid.Shape {
			return solid.Extrude([]solid.Loop{d.outline(corner(v2(0, 0), v2(100, 10), v2(200, 10), v2(300, 0), v2(300, 60), v2(0, 60)))}, 0, 20, 0, 0)
		}, "8 plane"},
		{"bow of four facets", func(d *drawing) solid.Shape {
			arc := geom.ArcOf(v2(150, -500), 560, 560, 0, math.Pi/2-0.25, 0.5)
			d.chord = 560 * (1 - math.Cos(0.25/4)) * 1.001
			p := corner(v2(arc.P[3].X, 0), v2(arc.P[0].X, 0), arc.P[0], arc.P[3])
			p.Segs[2] = arc
			return solid.Extrude([]solid.Loop{d.outline(p)}, 0, 20, 0, 0)
		}, "5 plane, 1 cylinder"},
		{"box rounded all over", func(d *drawing) solid.Shape {
			var balls []solid.Shape
			var half []geom.Vec2
			for i := range 17 {
				a := -math.Pi/2 + math.Pi*float64(i)/16
				half = append(half, v2(5*math.Cos(a), 5*math.Sin(a)))
			}
			half[0].X, half[16].X = 0, 0
			ball := solid.Revolve(half, make([]solid.Tag, 17), 32)
			for _, x := range []float64{0, 50} {
				for _, y := range []float64{0, 30} {
					for _, z := range []float64{0, 20} {
						balls = append(balls, ball.At(geom.Frame{Origin: geom.V3(x, y, z), X: ex, Y: ey, Z: ez}))
					}
				}
			}
			return solid.Hull(balls...)
		}, "6 plane, 12 cylinder, 8 sphere"},
		{"ring", func(d *drawing) solid.Shape {
			var p []geom.Vec2
			for i := range 24 {
				a := 2 * math.Pi * float64(i) / 24
				p = append(p, v2(30+8*math.Cos(a), 8*math.Sin(a)))
			}
			return solid.Revolve(p, make([]solid.Tag, 24), 64)
		}, "1 free"},
		{"seat with a hollow of revolution", func(d *drawing) solid.Shape {
			p := []geom.Vec2{v2(0, 0), v2(170, 0), v2(170, 38), v2(150, 38)}
			for i := range 15 {
				r := 150 * float64(14-i) / 15
				p = append(p, v2(r, 26+12*r*r/22500))
			}
			return solid.Revolve(p, make([]solid.Tag, len(p)), 96)
		}, "2 plane, 1 cylinder, 1 free"},
		{"two bores that cross", func(d *drawing) solid.Shape {
			return solid.Difference(solid.Box(geom.Box3{Min: geom.V3(-20, -20, -20), Max: geom.V3(20, 20, 20)}, 0),
				d.bar(geom.V3(-30, 0, 0), ex, 6, 60, 1), d.bar(geom.V3(0, -30, 0.7), ey, 4, 60, 2))
		}, "6 plane, 3 cylinder"},
	} {
		t.Run(c.name, func(t *testing.T) {
			m, err := k.Mesh(context.Background(), c.shape(&drawing{chord: 0.05}))
			if err != nil {
				t.Fatal(err)
			}
			s := facesOf(t, m.Vertices, m.Triangles)
			if got := kindCount(s); got != c.want {
				t.Errorf("got %s, want %s", got, c.want)
				for _, r := range s.Report() {
					t.Log(r.Text, r.Area, r.Residual)
				}
			}
		})
	}
}

// readModel reads a test file, mends it and scales it.
func readModel(t testing.TB, name string, scale float64) mesh.Body {
	t.Helper()
	path := filepath.Join("..", "mesh", "testdata", name)
	if name == "spot.obj" {
		path = filepath.Join("testdata", name)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	scene, err := mesh.Read(name, data, mesh.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	b := scene.Bodies[0]
	for i := range b.Vertices {
		b.Vertices[i] = b.Vertices[i].Scale(scale)
	}
	r, err := mend.Mend(b, mend.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Shells) != 1 || !r.Shells[0].Solid() {
		t.Fatalf("%s: not one solid: %+v", name, r.Shells)
	}
	return r.Shells[0].Body
}

// TestFiles recognises parts that others drew (MIT licence, see
// ../mesh/testdata/LICENCES.md). What is looked for was read off their
// drawings' round figures in inches, which the files do not hold.
func TestFiles(t *testing.T) {
	for _, c := range []struct {
		file  string
		scale float64 // to mm
		want  string
		radii []float64 // inches; each must be the radius of some cylinder
	}{
		{"plate_holes.STL", 1, "7 plane, 14 cylinder, 4 cone, 4 free", []float64{0.25, 1, 0.21875, 0.133}},
		{"plate_holes.STL", 0.001, "7 plane, 14 cylinder, 4 cone, 4 free", nil},
		{"angle_block.STL", 25.4, "19 plane, 7 cylinder", []float64{0.25, 0.125, 0.133, 0.078125}},
		{"octagonal_pocket.stl", 1000, "107 plane, 82 cylinder", []float64{0.75, 1, 0.125}},
	} {
		b := readModel(t, c.file, c.scale)
		s := facesOf(t, b.Vertices, b.Triangles)
		if got := kindCount(s); got != c.want {
			t.Errorf("%s: got %s, want %s", c.file, got, c.want)
		}
		for _, r := range c.radii {
			off := math.Inf(1)
			for _, f := range s.Faces {
				if f.Kind == Cylinder {
					off = min(off, math.Abs(f.Radius/(25.4*r)-1))
				}
			}
			if off > 1e-5 {
				t.Errorf("%s: no cylinder of %g in; the nearest is off by %g", c.file, r, off)
			}
		}
	}
	// Five holes through the plate: Euler's number of its surface is 2 - 2·5.
	b := readModel(t, "plate_holes.STL", 1)
	s := facesOf(t, b.Vertices, b.Triangles)
	euler, through := len(s.Vertices)-len(s.Triangles)/2, 0
	for _, f := range s.Faces {
		if f.Kind == Cylinder && f.Hollow && f.Full && f.Radius < 4 {
			through++
		}
	}
	if euler != 2-2*through {
		t.Errorf("%d holes, but Euler's number is %d", through, euler)
	}
}

func TestFreeForm(t *testing.T) {
	b := readModel(t, "spot.obj", 500)
	if s := facesOf(t, b.Vertices, b.Triangles); kindCount(s) != "1 free" {
		t.Errorf("got %s", kindCount(s))
	}
}

// shuffled is the same mesh with its vertices and triangles in another order.
func shuffled(vertices []geom.Vec3, triangles [][3]int32, seed uint64) ([]geom.Vec3, [][3]int32) {
	r := rand.New(rand.NewPCG(seed, 1))
	to := r.Perm(len(vertices))
	vs := make([]geom.Vec3, len(vertices))
	for i, v := range vertices {
		vs[to[i]] = v
	}
	ts := make([][3]int32, len(triangles))
	for i, k := range r.Perm(len(triangles)) {
		turn := r.IntN(3)
		for j := range 3 {
			ts[k][j] = int32(to[triangles[i][(j+turn)%3]])
		}
	}
	return vs, ts
}

// TestAnyPlaceAndOrder: faces do not depend on where a solid stands, on its
// unit or on the order in which it is given.
func TestAnyPlaceAndOrder(t *testing.T) {
	k := kernelForTest(t)
	ms := models(0.1)
	meshes := make([]*solid.Mesh, len(ms))
	for i, m := range ms {
		var err error
		if meshes[i], err = k.Mesh(context.Background(), m.shape); err != nil {
			t.Fatal(err)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		i := rapid.IntRange(0, len(ms)-1).Draw(t, "model")
		m := meshes[i]
		axis := geom.V3(rapid.Float64Range(-1, 1).Draw(t, "x"), rapid.Float64Range(-1, 1).Draw(t, "y"), rapid.Float64Range(0.1, 1).Draw(t, "z"))
		scale := math.Exp(rapid.Float64Range(-7, 7).Draw(t, "scale"))
		f := geom.FrameFromZ(axis.Scale(rapid.Float64Range(0, 300).Draw(t, "away")), axis.Unit())
		vs := make([]geom.Vec3, len(m.Vertices))
		for j, v := range m.Vertices {
			vs[j] = f.Point(v).Scale(scale)
		}
		vs, ts := shuffled(vs, m.Triangles, rapid.Uint64().Draw(t, "order"))
		a, err := Recognise(m.Vertices, m.Triangles, Options{})
		if err != nil {
			t.Fatal(err)
		}
		b, err := Recognise(vs, ts, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if kindCount(a) != kindCount(b) {
			t.Fatalf("%s: %s, but moved, scaled by %g and shuffled: %s", ms[i].name, kindCount(a), scale, kindCount(b))
		}
		var ra, rb []float64
		for j := range a.Faces {
			ra, rb = append(ra, a.Faces[j].Radius), append(rb, b.Faces[j].Radius/scale)
		}
		slices.Sort(ra)
		slices.Sort(rb)
		for j := range ra {
			if math.Abs(ra[j]-rb[j]) > 1e-4*(1+ra[j]) {
				t.Fatalf("%s: radius %g became %g", ms[i].name, ra[j], rb[j])
			}
		}
	})
}

// TestFewDigits: files in text hold six or seven digits of every number.
func TestFewDigits(t *testing.T) {
	k := kernelForTest(t)
	for _, m := range models(0.1) {
		drawn, err := k.Mesh(context.Background(), m.shape)
		if err != nil {
			t.Fatal(err)
		}
		want := kindCount(facesOf(t, drawn.Vertices, drawn.Triangles))
		for _, c := range []struct {
			digits int
			unit   float64 // mm
		}{{7, 1}, {6, 1}, {6, 25.4}, {6, 1000}} {
			round := func(x float64) float64 {
				y, err := strconv.ParseFloat(strconv.FormatFloat(x/c.unit, 'g', c.digits, 64), 64)
				if err != nil {
					t.Fatal(err)
				}
				return y * c.unit
			}
			vs := make([]geom.Vec3, len(drawn.Vertices))
			for i, v := range drawn.Vertices {
				vs[i] = geom.V3(round(v.X), round(v.Y), round(v.Z))
			}
			if got := kindCount(facesOf(t, vs, drawn.Triangles)); got != want {
				t.Errorf("%s, %d digits, in units of %g mm: %s, want %s", m.name, c.digits, c.unit, got, want)
			}
		}
	}
}

// TestSameBytes: the same input gives the same result to the last bit.
func TestSameBytes(t *testing.T) {
	b := readModel(t, "plate_holes.STL", 1)
	first := facesOf(t, b.Vertices, b.Triangles)
	for range 5 {
		if again := facesOf(t, b.Vertices, b.Triangles); !reflect.DeepEqual(first, again) {
			t.Fatal("a second run differs")
		}
	}
}

func TestSnaps(t *testing.T) {
	b := readModel(t, "plate_holes.STL", 1)
	s := facesOf(t, b.Vertices, b.Triangles)
	raw, err := Recognise(b.Vertices, b.Triangles, Options{KeepUnsnapped: true})
	if err != nil {
		t.Fatal(err)
	}
	radii := func(s *Solid) map[float64]int {
		n := map[float64]int{}
		for _, f := range s.Faces {
			if f.Kind == Cylinder {
				n[f.Radius]++
			}
		}
		return n
	}
	if len(raw.Snaps) != 0 || len(radii(raw)) < 10 {
		t.Errorf("left alone, %d snaps and %d radii", len(raw.Snaps), len(radii(raw)))
	}
	if got := radii(s); len(got) != 4 {
		t.Errorf("want 4 radii, got %v", got)
	}
	if len(s.Snaps) == 0 {
		t.Error("no snap is told of")
	}
	tol, _ := Options{}.tolerance(b.Vertices)
	for _, n := range s.Snaps {
		if n.By <= 0 || n.Face == n.With {
			t.Errorf("%+v", n)
		}
	}
	for i, f := range s.Faces {
		if f.Kind != Free && f.Residual > tol {
			t.Errorf("face %d: residual %g is more than %g", i, f.Residual, tol)
		}
		if z := f.Frame.Z; f.Exact() && math.Abs(z.X)+math.Abs(z.Y)+math.Abs(z.Z) != 1 {
			t.Errorf("face %d: axis %v is not that of a coordinate", i, z)
		}
	}
}

// TestSnapKeepsWhatWasDrawn: a draft of a twentieth of a degree and a
// radius of a hundredth more are no rounding.
func TestSnapKeepsWhatWasDrawn(t *testing.T) {
	k := kernelForTest(t)
	d := &drawing{chord: 0.02}
	tilt := geom.V3(math.Sin(0.0009), 0, math.Cos(0.0009))
	m, err := k.Mesh(context.Background(), solid.Difference(d.box(0, 0, 0, 100, 50, 20),
		d.bore(geom.V3(20, 20, -5), ez, 5, 40), d.bore(geom.V3(50, 20, -5), ez, 5.01, 40), d.bore(geom.V3(80, 20, -5), tilt, 5, 40)))
	if err != nil {
		t.Fatal(err)
	}
	s := facesOf(t, m.Vertices, m.Triangles)
	var got []string
	for _, f := range s.Faces {
		if f.Kind == Cylinder {
			got = append(got, fmt.Sprintf("%.4f at %.5f", f.Radius, f.Frame.Z.X))
		}
	}
	slices.Sort(got)
	if want := []string{"5.0000 at 0.00000", "5.0000 at 0.00090", "5.0100 at 0.00000"}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestFaults(t *testing.T) {
	v, tri := loftRings([][]geom.Vec3{hoop(geom.Vec3{}, 1, 4, 0), hoop(geom.V3(0, 0, 1), 1, 4, 0)}, false)
	nan := slices.Clone(v)
	nan[2].Y = math.NaN()
	turned := slices.Clone(tri)
	turned[3][0], turned[3][1] = turned[3][1], turned[3][0]
	beyond := slices.Clone(tri)
	beyond[0][1] = 99
	twice := slices.Clone(tri)
	twice[0][1] = twice[0][0]
	for name, c := range map[string]struct {
		v []geom.Vec3
		t [][3]int32
	}{
		"nothing": {nil, nil}, "open": {v, tri[1:]}, "not a number": {nan, tri}, "turned": {v, turned},
		"beyond": {v, beyond}, "twice": {v, twice}, "doubled": {v, append(slices.Clone(tri), tri...)},
	} {
		if _, err := Recognise(c.v, c.t, Options{}); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestLoops(t *testing.T) {
	k := kernelForTest(t)
	d := &drawing{chord: 0.1}
	m, err := k.Mesh(context.Background(), solid.Difference(d.box(0, 0, 0, 60, 40, 20), d.bore(geom.V3(20, 20, -1), ez, 6, 30), d.bore(geom.V3(45, 20, 10), ez, 5, 30)))
	if err != nil {
		t.Fatal(err)
	}
	s := facesOf(t, m.Vertices, m.Triangles)
	for i, f := range s.Faces {
		loops := s.Loops(i)
		want := 1
		switch {
		case f.Kind == Cylinder:
			want = 2
		case f.Frame.Z.Z == 1 && f.Frame.Origin.Z == 20:
			want = 3
		case f.Frame.Z.Z == -1:
			want = 2
		}
		if len(loops) != want {
			t.Errorf("face %d, %s: %d loops, want %d", i, f.Kind, len(loops), want)
		}
		// The area that the loops of a plane enclose is the face's own, with the
		// face on the left: the shoelace formula.
		area := 0.0
		for _, l := range loops {
			var p geom.Polygon
			for j, v := range l.Vertices {
				p = append(p, f.Frame.Local(s.Vertices[v]).XY())
				if l.Across[j] == int32(i) {
					t.Errorf("face %d borders on itself", i)
				}
			}
			area += p.Area()
		}
		if f.Kind == Plane && math.Abs(area-f.Area) > 1e-6 {
			t.Errorf("face %d: loops enclose %g of %g mm²", i, area, f.Area)
		}
	}
}

func TestMeasures(t *testing.T) {
	const r, h, n = 10.0, 30.0, 64
	v, tri := loftRings([][]geom.Vec3{hoop(geom.V3(100, 0, 5), r, n, 0), hoop(geom.V3(100, 0, 5+h), r, n, 0)}, false)
	s := facesOf(t, v, tri)
	// A regular polygon of n sides has the area ½nr² sin(2π/n) and sides of 2r sin(π/n).
	base := 0.5 * n * r * r * math.Sin(2*math.Pi/n)
	nearTo(t, "volume", s.Volume(), base*h, 1e-9)
	nearTo(t, "area", s.Area(), 2*base+n*2*r*math.Sin(math.Pi/n)*h, 1e-9)
	nearTo(t, "height", s.Bounds().Size().Z, h, 1e-12)
	f := s.Faces[2]
	nearTo(t, "radius", f.Radius, r, 1e-9)
	nearTo(t, "length", f.To-f.From, h, 1e-9)
	nearTo(t, "sag", f.Sag, r*(1-math.Cos(math.Pi/n)), 1e-9)
	nearTo(t, "distance", f.Distance(geom.V3(100, 13, 7)), 3, 1e-9)
	nearTo(t, "distance inside", f.Distance(geom.V3(104, 0, 7)), -6, 1e-9)
	nearTo(t, "normal", f.Normal(geom.V3(100, 13, 7)).Y, 1, 1e-9)
	if !f.Full || f.Hollow {
		t.Errorf("%+v", f)
	}
	moved := s.In(geom.FrameFromZ(geom.V3(1, 2, 3), geom.V3(1, 1, 1).Unit()))
	nearTo(t, "volume moved", moved.Volume(), s.Volume(), 1e-9)
	for i := range moved.Faces {
		for _, k := range moved.Faces[i].Triangles {
			for _, p := range moved.Triangles[k] {
				nearTo(t, "distance of a vertex", moved.Faces[i].Distance(moved.Vertices[p]), 0, 1e-9)
			}
		}
	}

	cone := Face{Kind: Cone, Frame: geom.World(), Radius: 5, Slope: 0.75, Hollow: true}
	nearTo(t, "on the cone", cone.Distance(geom.V3(8, 0, 4)), 0, 1e-12)
	nearTo(t, "within a hollow cone", cone.Distance(geom.V3(3, 0, 4)), 4, 1e-12) // 5 mm level, at a slope of 3 in 4
	nearTo(t, "normal of a hollow cone", cone.Normal(geom.V3(8, 0, 4)).Z, 0.6, 1e-12)
	ball := Face{Kind: Sphere, Frame: geom.World(), Radius: 2}
	nearTo(t, "outside the ball", ball.Distance(geom.V3(0, 3, 4)), 3, 1e-12)
	if free := (&Face{Kind: Free}); !math.IsNaN(free.Distance(geom.Vec3{})) || free.Normal(geom.Vec3{}) != (geom.Vec3{}) {
		t.Error("a free face has a distance")
	}
}

func nearTo(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.Abs(got-want) > tol*max(1, math.Abs(want)) {
		t.Errorf("%s: got %.12g, want %.12g", what, got, want)
	}
}

func TestReport(t *testing.T) {
	k := kernelForTest(t)
	d := &drawing{chord: 0.01}
	top := 6.0
	m, err := k.Mesh(context.Background(), solid.Difference(d.box(0, 0, 0, 60, 40, 20), d.bore(geom.V3(20, 20, -1), ez, 12.5, 30),
		solid.Cylinder(geom.V3(45, 20, 12), ez, 4, 10, 9, solid.CylinderOptions{TopRadius: &top, Chord: 0.01})))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, r := range facesOf(t, m.Vertices, m.Triangles).Report() {
		got = append(got, r.Text)
	}
	want := []string{
		"plane, 60 x 40 mm", "plane, 60 x 40 mm", "plane, 60 x 20 mm", "plane, 60 x 20 mm", "plane, 40 x 20 mm", "plane, 40 x 20 mm", "plane, 7.99 x 7.99 mm",
		"cylinder, radius 12.5 mm, 20 mm long, hollow", "cone, radius 4 to 5.6 mm, 8 mm long, hollow",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// BenchmarkRecognise works on 100,000 triangles: a board with 150 bores of 160
// facets, and a turned foot.
func BenchmarkRecognise(b *testing.B) {
	for _, c := range []struct {
		name string
		mesh func() ([]geom.Vec3, [][3]int32)
	}{
		{"bored board", func() ([]geom.Vec3, [][3]int32) {
			k := kernelForTest(b)
			var bores []solid.Shape
			for i := range 15 {
				for j := range 10 {
					bores = append(bores, solid.Cylinder(geom.V3(20+40*float64(i), 20+40*float64(j), -1), ez, 10, 20, 1, solid.CylinderOptions{Facets: 168}))
				}
			}
			m, err := k.Mesh(context.Background(), solid.Difference(solid.Box(geom.Box3{Max: geom.V3(600, 400, 18)}, 0), bores...))
			if err != nil {
				b.Fatal(err)
			}
			return m.Vertices, m.Triangles
		}},
		{"vase", func() ([]geom.Vec3, [][3]int32) {
			var rings [][]geom.Vec3
			for i := range 251 {
				h := float64(i)
				rings = append(rings, hoop(geom.V3(0, 0, h), 40+15*math.Sin(h/40), 200, 0))
			}
			return loftRings(rings, true)
		}},
		{"spot", func() ([]geom.Vec3, [][3]int32) {
			m := readModel(b, "spot.obj", 500)
			return m.Vertices, m.Triangles
		}},
	} {
		b.Run(c.name, func(b *testing.B) {
			v, t := c.mesh()
			b.ReportMetric(float64(len(t)), "triangles")
			for b.Loop() {
				if _, err := Recognise(v, t, Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
