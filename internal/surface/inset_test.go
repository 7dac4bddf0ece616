package surface

import (
	"context"
	"math"
	"testing"

	"groundwork/internal/geom"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// weave gathers triangles of a test solid, points at one place being one
// vertex.
type weave struct {
	index     map[geom.Vec3]int32
	vertices  []geom.Vec3
	triangles [][3]int32
}

func (w *weave) at(p geom.Vec3) int32 {
	if w.index == nil {
		w.index = map[geom.Vec3]int32{}
	}
	p = p.Add(geom.Vec3{})
	i, ok := w.index[p]
	if !ok {
		i = int32(len(w.vertices))
		w.index[p] = i
		w.vertices = append(w.vertices, p)
	}
	return i
}

func (w *weave) tri(a, b, c geom.Vec3) {
	i, j, k := w.at(a), w.at(b), w.at(c)
	if i != j && j != k && k != i {
		w.triangles = append(w.triangles, [3]int32{i, j, k})
	}
}

func (w *weave) quad(a, b, c, d geom.Vec3) { w.tri(a, b, c); w.tri(a, c, d) }

// level fills loops at a height, facing up or down.
func (w *weave) level(t testing.TB, loops []geom.Polygon, z float64, up bool) {
	t.Helper()
	var points []geom.Vec2
	var rings [][]int32
	for _, l := range loops {
		var ring []int32
		for _, p := range l {
			ring = append(ring, int32(len(points)))
			points = append(points, p)
		}
		rings = append(rings, ring)
	}
	made, ok := fill(rings, func(i int32) geom.Vec2 { return points[i] })
	if !ok {
		t.Fatal("the test's own outline cannot be filled")
	}
	lift := func(i int32) geom.Vec3 { return geom.V3(points[i].X, points[i].Y, z) }
	for _, m := range made {
		if up {
			w.tri(lift(m[0]), lift(m[1]), lift(m[2]))
		} else {
			w.tri(lift(m[0]), lift(m[2]), lift(m[1]))
		}
	}
}

// walls stand on a loop between two heights, the material to its left.
func (w *weave) walls(l geom.Polygon, z0, z1 float64) {
	for i, p := range l {
		q := l[(i+1)%len(l)]
		w.quad(geom.V3(p.X, p.Y, z0), geom.V3(q.X, q.Y, z0), geom.V3(q.X, q.Y, z1), geom.V3(p.X, p.Y, z1))
	}
}

func rectangle(x0, y0, x1, y1 float64) geom.Polygon {
	return geom.Polygon{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
}

func ngon(x, y, r float64, n int) geom.Polygon {
	var p geom.Polygon
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		p = append(p, geom.V2(x+r*c, y+r*s))
	}
	return p
}

// polygonArea is that of a regular polygon in a circle.
func polygonArea(r float64, n int) float64 {
	return float64(n) / 2 * r * r * math.Sin(2*math.Pi/float64(n))
}

func prism(t testing.TB, z0, z1 float64, loops ...geom.Polygon) *weave {
	w := &weave{}
	w.level(t, loops, z0, false)
	w.level(t, loops, z1, true)
	for _, l := range loops {
		w.walls(l, z0, z1)
	}
	return w
}

// turnedSolid revolves a profile (radius, z) that begins and ends on the axis.
func turnedSolid(profile []geom.Vec2, n int) *weave {
	w := &weave{}
	at := func(p geom.Vec2, k int) geom.Vec3 {
		if p.X == 0 {
			return geom.V3(0, 0, p.Y)
		}
		s, c := math.Sincos(2 * math.Pi * float64(k%n) / float64(n))
		return geom.V3(p.X*c, p.X*s, p.Y)
	}
	for i := 1; i < len(profile); i++ {
		for k := range n {
			a, b := profile[i-1], profile[i]
			w.quad(at(a, k), at(a, k+1), at(b, k+1), at(b, k))
		}
	}
	return w
}

func recognised(t testing.TB, w *weave) *Solid {
	t.Helper()
	s, err := Recognise(w.vertices, w.triangles, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func even(s *Solid, d float64) []float64 {
	out := make([]float64, len(s.Faces))
	for i := range out {
		out[i] = d
	}
	return out
}

func TestInsetAgainstClosedForms(t *testing.T) {
	const d = 0.6
	const n = 96
	pocket := func(t testing.TB) *weave {
		w := &weave{}
		out, in := rectangle(0, 0, 120, 80), rectangle(30, 20, 90, 60)
		w.level(t, []geom.Polygon{out}, 0, false)
		w.level(t, []geom.Polygon{out, in.Reversed()}, 20, true)
		w.level(t, []geom.Polygon{in}, 12, true)
		w.walls(out, 0, 20)
		w.walls(in.Reversed(), 12, 20)
		return w
	}
	frustum := func(r0, r1, h float64) float64 { // the pyramid on regular polygons
		a, b := polygonArea(r0, n), polygonArea(r1, n)
		return h / 3 * (a + b + math.Sqrt(a*b))
	}
	// A cone of slope 1/10 moved in by d loses d √(1+0.01) of radius at every
	// height, and its ends move as well.
	lean := math.Hypot(1, 0.1) * d
	for _, tc := range []struct {
		name   string
		mesh   func(t testing.TB) *weave
		faces  int
		volume float64
	}{
		{"box", func(t testing.TB) *weave { return prism(t, 0, 20, rectangle(0, 0, 100, 50)) }, 6, (100 - 2*d) * (50 - 2*d) * (20 - 2*d)},
		{"box with a bore", func(t testing.TB) *weave {
			return prism(t, 0, 20, rectangle(0, 0, 100, 50), ngon(40, 25, 8, n).Reversed())
		}, 7, ((100-2*d)*(50-2*d) - polygonArea(8+d, n)) * (20 - 2*d)},
		{"box with a bore near its side", func(t testing.TB) *weave {
			return prism(t, 0, 20, rectangle(0, 0, 100, 50), ngon(40, 10.9, 8, n).Reversed(), ngon(70, 25, 8, n).Reversed())
		}, 8, ((100-2*d)*(50-2*d) - 2*polygonArea(8+d, n)) * (20 - 2*d)},
		{"cylinder", func(t testing.TB) *weave { return prism(t, 0, 60, ngon(3, 4, 15, n)) }, 3, polygonArea(15-d, n) * (60 - 2*d)},
		{"tube", func(t testing.TB) *weave { return prism(t, 0, 60, ngon(0, 0, 15, n), ngon(0, 0, 9, n).Reversed()) }, 4, (polygonArea(15-d, n) - polygonArea(9+d, n)) * (60 - 2*d)},
		{"cone frustum", func(testing.TB) *weave {
			return turnedSolid([]geom.Vec2{{X: 0, Y: 0}, {X: 20, Y: 0}, {X: 12, Y: 80}, {X: 0, Y: 80}}, n)
		}, 3, frustum(20-0.1*d-lean, 12+0.1*d-lean, 80-2*d)},
		{"L-bracket", func(t testing.TB) *weave {
			return prism(t, 0, 40, geom.Polygon{{X: 0, Y: 0}, {X: 90, Y: 0}, {X: 90, Y: 12}, {X: 12, Y: 12}, {X: 12, Y: 70}, {X: 0, Y: 70}})
		}, 8, ((90-2*d)*(12-2*d) + (70-12)*(12-2*d)) * (40 - 2*d)},
		{"plate with a pocket", pocket, 11, (120-2*d)*(80-2*d)*(20-2*d) - (60+2*d)*(40+2*d)*8},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := recognised(t, tc.mesh(t))
			if len(s.Faces) != tc.faces {
				t.Fatalf("%d faces, want %d", len(s.Faces), tc.faces)
			}
			in, err := s.Inset(even(s, d))
			if err != nil {
				t.Fatal(err)
			}
			checkMoved(t, s, in, d, 1e-6)
			if got := in.Volume(); tc.volume > 0 && math.Abs(got-tc.volume) > 1e-6*tc.volume {
				t.Errorf("volume %.9g, want %.9g", got, tc.volume)
			}
			back, err := in.Inset(even(s, -d))
			if err != nil {
				t.Fatal(err)
			}
			if a, b := back.Volume(), s.Volume(); math.Abs(a-b) > 1e-8*b {
				t.Errorf("there and back again the volume is %.12g, not %.12g", a, b)
			}
		})
	}
}

// checkMoved sees that the solid is closed and that every vertex lies d inside
// all the exact surfaces that it lay on.
func checkMoved(t *testing.T, s, in *Solid, d, tol float64) {
	t.Helper()
	if _, err := twins(len(in.Vertices), in.Triangles); err != nil {
		t.Fatalf("not closed: %v", err)
	}
	for f := range in.Faces {
		if !s.Faces[f].Exact() {
			continue
		}
		for _, k := range in.Faces[f].Triangles {
			for _, v := range in.Triangles[k] {
				if got := s.Faces[f].Distance(in.Vertices[v]); math.Abs(got+d) > tol {
					t.Fatalf("a vertex of %s %d lies %.9g inside the old face, want %g", in.Faces[f].Kind, f, -got, d)
				}
			}
		}
	}
}

// Between a bore and a side there may be triangles thinner than the distance:
// they turn over though the face does not.
func TestInsetLaysThinTrianglesAnew(t *testing.T) {
	const d = 0.6
	w := &weave{}
	// The notch comes within 0.9 of the lower side.
	out := geom.Polygon{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 30}, {X: 62, Y: 30}, {X: 50, Y: 0.9}, {X: 38, Y: 30}, {X: 0, Y: 30}}
	w.level(t, []geom.Polygon{out}, 0, false)
	w.level(t, []geom.Polygon{out}, 10, true)
	w.walls(out, 0, 10)
	s := recognised(t, w)
	if _, err := s.Inset(even(s, d)); err == nil {
		t.Error("a neck of 0.9 mm cannot lose 0.6 mm at both sides")
	}
	in, err := s.Inset(even(s, 0.2))
	if err != nil {
		t.Fatal(err)
	}
	checkMoved(t, s, in, 0.2, 1e-6)

	// The notch's corner is 0.09 mm above the diagonal of the triangulation.
	w = &weave{}
	out = geom.Polygon{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 50}, {X: 60, Y: 50}, {X: 60, Y: 30.1}, {X: 0, Y: 50}}
	lift := func(i int, z float64) geom.Vec3 { return geom.V3(out[i].X, out[i].Y, z) }
	for _, m := range [][3]int{{0, 1, 2}, {0, 2, 4}, {2, 3, 4}, {0, 4, 5}} {
		w.tri(lift(m[0], 10), lift(m[1], 10), lift(m[2], 10))
		w.tri(lift(m[0], 0), lift(m[2], 0), lift(m[1], 0))
	}
	w.walls(out, 0, 10)
	s = recognised(t, w)
	in, err = s.Inset(even(s, 0.2))
	if err != nil {
		t.Fatal(err)
	}
	checkMoved(t, s, in, 0.2, 1e-6)
	if cmp.Equal(s.Triangles, in.Triangles) {
		t.Error("no triangle was laid anew: the test proves nothing")
	}
}

func TestInsetOfASphere(t *testing.T) {
	// A dish: the vertices of the sphere keep to it, its rim to both.
	const d, r = 0.5, 200.0
	var profile []geom.Vec2
	profile = append(profile, geom.V2(0, 0), geom.V2(80, 0), geom.V2(80, 30))
	for i := 24; i >= 0; i-- {
		a := math.Acos(0.97) * float64(i) / 24 // 6 mm deep
		profile = append(profile, geom.V2(r*math.Sin(a), 24+r-r*math.Cos(a)))
	}
	profile[len(profile)-1].X = 0
	s := recognised(t, turnedSolid(profile, 96))
	in, err := s.Inset(even(s, d))
	if err != nil {
		t.Fatal(err)
	}
	checkMoved(t, s, in, d, 1e-6)
	// The closed form of the moved solid: a disc less the cap of the sphere of
	// radius r + d whose centre stays, down from the moved top.
	h := 24 + r - (r + d) // lowest point of the moved dish
	top := 30 - d
	cap := math.Pi * (top - h) * (top - h) * (3*(r+d) - (top - h)) / 3
	want := math.Pi*(80-d)*(80-d)*(30-2*d) - cap
	if got := in.Volume(); math.Abs(got-want) > 2e-3*want { // facets
		t.Errorf("volume %.6g, want about %.6g", got, want)
	}
}

// TestInsetByFace moves every face of prisms on random outlines, some bored, by
// a distance of its own.
func TestInsetByFace(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(3, 9).Draw(rt, "corners")
		var p geom.Polygon
		for i := range n {
			// A sector each, so that the outline goes round once; corners stay
			// sharper than what counts as smooth.
			a := 2 * math.Pi * (float64(i) + rapid.Float64Range(0.1, 0.9).Draw(rt, "angle")) / float64(n)
			r := rapid.Float64Range(40, 90).Draw(rt, "radius")
			p = append(p, geom.V2(r*math.Cos(a), r*math.Sin(a)))
		}
		for i := range p {
			u, v := p[(i+1)%n].Sub(p[i]).Unit(), p[(i+2)%n].Sub(p[(i+1)%n]).Unit()
			if math.Abs(u.Cross(v)) < 0.3 || p[i].Dist(p[(i+1)%n]) < 15 {
				rt.Skip("too flat or too sharp a corner")
			}
		}
		if geom.SegmentDistance(geom.Vec2{}, p[n-1], p[0]) < 12 || p.Area() < 800 || p.Distance(geom.Vec2{}) < 12 || !p.Contains(geom.Vec2{}) {
			rt.Skip("no room for the bore")
		}
		loops := []geom.Polygon{p}
		round := 0
		if rapid.Bool().Draw(rt, "bored") {
			loops = append(loops, ngon(0, 0, 6, 48).Reversed())
			round = 1
		}
		s := recognised(t, prism(t, 0, 30, loops...))
		for _, f := range s.Faces {
			if f.Kind != Plane {
				round--
			}
		}
		if round < 0 {
			rt.Skip("blunt corners in a row, which may as well be facets of a fillet")
		}
		d := make([]float64, len(s.Faces))
		for i := range d {
			d[i] = rapid.Float64Range(-0.8, 0.8).Draw(rt, "d")
		}
		in, err := s.Inset(d)
		if err != nil {
			rt.Fatal(err)
		}
		if _, err := twins(len(in.Vertices), in.Triangles); err != nil {
			rt.Fatal(err)
		}
		for f := range in.Faces {
			for _, k := range in.Faces[f].Triangles {
				for _, v := range in.Triangles[k] {
					if got := s.Faces[f].Distance(in.Vertices[v]); math.Abs(got+d[f]) > 1e-6 {
						rt.Fatalf("a vertex of %s %d lies %.9g inside the old face, want %g", in.Faces[f].Kind, f, -got, d[f])
					}
				}
			}
		}
		back := make([]float64, len(d))
		for i := range d {
			back[i] = -d[i]
		}
		again, err := in.Inset(back)
		if err != nil {
			rt.Fatal(err)
		}
		if a, b := again.Volume(), s.Volume(); math.Abs(a-b) > 1e-7*b {
			rt.Fatalf("there and back again the volume is %.12g, not %.12g", a, b)
		}
	})
}

func TestInsetOfEveryModel(t *testing.T) {
	k := kernelForTest(t)
	defer k.Close()
	for _, m := range models(0.05) {
		t.Run(m.name, func(t *testing.T) {
			mesh, err := k.Mesh(context.Background(), m.shape)
			if err != nil {
				t.Fatal(err)
			}
			s, err := Recognise(mesh.Vertices, mesh.Triangles, Options{})
			if err != nil {
				t.Fatal(err)
			}
			for _, d := range []float64{0, 0.4, -0.4} {
				in, err := s.Inset(even(s, d))
				if err != nil {
					t.Errorf("by %g: %v", d, err)
					continue
				}
				checkMoved(t, s, in, d, 2e-3)
			}
		})
	}
}

func TestInsetNamesTheFaceThatCannotMove(t *testing.T) {
	box := recognised(t, prism(t, 0, 20, rectangle(0, 0, 100, 50)))
	if _, err := box.Inset(even(box, 10.1)); err == nil {
		t.Error("a box 20 thick lost 10.1 from both sides")
	}
	if _, err := box.Inset(nil); err == nil {
		t.Error("no distances")
	}
	// A stadium whose ends are to move otherwise than its sides, which they touch.
	var p geom.Polygon
	for i := range 25 {
		s, c := math.Sincos(-math.Pi/2 + math.Pi*float64(i)/24)
		p = append(p, geom.V2(50+10*c, 10*s))
	}
	for i := range 25 {
		s, c := math.Sincos(math.Pi/2 + math.Pi*float64(i)/24)
		p = append(p, geom.V2(10*c, 10*s))
	}
	s := recognised(t, prism(t, 0, 20, p))
	d := even(s, 0)
	for i, f := range s.Faces {
		if f.Kind == Cylinder {
			d[i] = 0.5
		}
	}
	if _, err := s.Inset(d); err == nil {
		t.Error("round ends moved away from the flat sides that they touch")
	}
	if _, err := s.Inset(even(s, 0.5)); err != nil {
		t.Error(err)
	}
	if _, err := s.Inset(even(s, 10.5)); err == nil {
		t.Error("round ends of radius 10 lost 10.5")
	}
}

func TestBorderLiesOnBothFaces(t *testing.T) {
	const chord = 0.01
	// Coarse on purpose: 24 facets of radius 15 stray by 0.13 mm.
	w := prism(t, 0, 20, rectangle(0, 0, 100, 50), ngon(40, 25, 15, 24).Reversed())
	s := recognised(t, w)
	for f := range s.Faces {
		for i, loop := range s.Border(f, chord) {
			for _, p := range loop {
				if got := s.Faces[f].Distance(p); math.Abs(got) > 1e-9 {
					t.Fatalf("face %d, loop %d: a point lies %g off", f, i, got)
				}
			}
		}
	}
	for f, face := range s.Faces {
		if face.Kind != Cylinder {
			continue
		}
		for _, loop := range s.Border(f, chord) {
			length := 0.0
			for i, p := range loop {
				length += p.Dist(loop[(i+1)%len(loop)])
			}
			if want := 2 * math.Pi * 15; want-length > 8.0/3*chord*chord*float64(len(loop)*len(loop))/want || length > want {
				t.Errorf("the rim of the bore measures %.6f, want %.6f", length, want)
			}
		}
	}
}

func TestBothSidesOfABorderAreTheSame(t *testing.T) {
	k := kernelForTest(t)
	defer k.Close()
	for _, m := range models(0.1)[:8] {
		mesh, err := k.Mesh(context.Background(), m.shape)
		if err != nil {
			t.Fatal(err)
		}
		s, err := Recognise(mesh.Vertices, mesh.Triangles, Options{})
		if err != nil {
			t.Fatal(err)
		}
		sides := map[[2]geom.Vec3]int{}
		for _, rims := range s.Rims(0.02, nil) {
			for _, r := range rims {
				for i, p := range r.Points {
					sides[[2]geom.Vec3{p, r.Points[(i+1)%len(r.Points)]}]++
				}
			}
		}
		odd := 0
		for side := range sides {
			if sides[[2]geom.Vec3{side[1], side[0]}] != 1 {
				odd++
			}
		}
		if odd > 0 {
			t.Errorf("%s: %d of %d sides have no counterpart", m.name, odd, len(sides))
		}
	}
}
