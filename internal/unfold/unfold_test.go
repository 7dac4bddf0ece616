package unfold_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/unfold"
)

func flatten(t testing.TB, v []geom.Vec3, tri [][3]int32, o unfold.Options) (*unfold.Patch, unfold.Distortion) {
	t.Helper()
	p, d, err := unfold.Flatten(v, tri, o)
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Triangles) != len(tri) {
		t.Fatalf("%d triangles became %d", len(tri), len(p.Triangles))
	}
	for i, o := range p.Origin {
		if p.Vertices[i] != v[o] {
			t.Fatalf("vertex %d is not the one it comes from", i)
		}
	}
	for i, c := range p.Triangles {
		for k := range c {
			if p.Origin[c[k]] != tri[i][k] {
				t.Fatalf("triangle %d has other corners than it was given", i)
			}
		}
	}
	return p, d
}

func size(p *unfold.Patch) geom.Vec2 {
	b := geom.EmptyBox2()
	for _, q := range p.Flat {
		b = b.Add(q)
	}
	return b.Size()
}

// bowl is an outline without symmetry, for extrusion.
var bowl = geom.CubicTo(geom.V2(0, 0), geom.V2(140, -60), geom.V2(60, 180), geom.V2(220, 120))

func extruded(n, k int) ([]geom.Vec3, [][3]int32) {
	return grid(n, k, false, func(x, y float64) geom.Vec3 {
		q := bowl.At(1 - x) // so that the outside is to the right
		return geom.V3(q.X, q.Y, 90*y)
	})
}

// obliqueCone joins a circle of radius 80 about the origin to the point (60, 0, 150).
func obliqueCone(n int, r2 float64) ([]geom.Vec3, [][3]int32) {
	return grid(n, 1, true, func(x, y float64) geom.Vec3 {
		s, c := math.Sincos(2 * math.Pi * x)
		return geom.V3(80*c, 80*s, 0).Lerp(geom.V3(60, 0, 150), r2*y)
	})
}

// Meshes that unroll without strain keep every length: strips between rulings
// have no inner vertex, and inner vertices on the rulings of cylinders and
// circular cones have no defect.
func TestDevelopablesAreExact(t *testing.T) {
	type mesh struct {
		v []geom.Vec3
		t [][3]int32
	}
	of := func(v []geom.Vec3, t [][3]int32) mesh { return mesh{v, t} }
	for name, m := range map[string]mesh{
		"one triangle":         {[]geom.Vec3{{}, {X: 3}, {Y: 4, Z: 1}}, [][3]int32{{0, 1, 2}}},
		"plane":                of(grid(7, 5, false, func(x, y float64) geom.Vec3 { return geom.V3(40*x, 30*y*y, 20*x) })),
		"cylinder strip":       of(cylinder(100, 300, 1, 10, 1)),
		"cylinder part":        of(cylinder(100, 300, 5, 40, 9)),
		"tube":                 of(cylinder(100, 300, 2*math.Pi, 40, 9)),
		"tube strip":           of(cylinder(100, 300, 2*math.Pi, 3, 1)),
		"cone part":            of(frustum(100, 20, 70, 4, 40, 9)),
		"frustum":              of(frustum(100, 50, 300, 2*math.Pi, 40, 9)),
		"frustum, wide above":  of(frustum(50, 100, 30, 2*math.Pi, 40, 9)),
		"cone with its apex":   of(cone(100, 300, 40, 5)),
		"flat flat cone":       of(cone(100, 10, 40, 5)),
		"ring":                 of(frustum(50, 100, 0, 2*math.Pi, 50, 3)),
		"nearly a ring":        of(frustum(50, 100, 4, 2*math.Pi, 50, 3)),
		"tangents of a helix":  of(tangents(60, 20, 10, 60, 2, 40)),
		"oblique cone":         of(obliqueCone(60, 0.7)),
		"extruded spline":      of(extruded(50, 6)),
		"20000 triangles":      of(cylinder(100, 300, 1, 100, 100)),
		"long and thin strip":  of(cylinder(1000, 1, 6, 500, 1)),
		"needles along a tube": of(cylinder(5, 2000, 2*math.Pi, 100, 1)),
	} {
		t.Run(name, func(t *testing.T) {
			p, d := flatten(t, m.v, m.t, unfold.Options{})
			if d.Edge > 1e-9 || d.Stretch > 1e-9 || math.Abs(d.Area) > 1e-9 {
				t.Errorf("strained: %+v", d)
			}
			if d.Overlap {
				t.Error("it is said to lie on itself")
			}
			if r := p.Border().Area()/p.Area() - 1; math.Abs(r) > 1e-9 {
				t.Errorf("the border encloses %g of the area too much", r)
			}
		})
	}
}

// order is the order of convergence that three errors at halved steps show.
func order(e [3]float64) float64 { return math.Log2(e[0]/e[2]) / 2 }

// Against the formulas of the smooth surfaces the error is that of the chords:
// second order in the length of a facet.
func TestSmoothFormulas(t *testing.T) {
	end := func(p *unfold.Patch, n, k, i, j int) geom.Vec2 { return p.Flat[i*(k+1)+j] }
	cases := []struct {
		name  string
		error func(n int) (err, chord float64)
	}{
		{"cylinder: arc length", func(n int) (float64, float64) {
			v, tri := cylinder(100, 300, 2, n, 1)
			p, _ := flatten(t, v, tri, unfold.Options{})
			return end(p, n, 1, 0, 0).Dist(end(p, n, 1, n, 0)) - 200, 200 * math.Pow(2/float64(n), 2) / 24
		}},
		// Sector of the angle θ sin β at the slant radius r/sin β.
		{"frustum: sector", func(n int) (float64, float64) {
			v, tri := frustum(100, 60, 90, 3, n, 4)
			p, _ := flatten(t, v, tri, unfold.Options{})
			sin := 40 / math.Hypot(40, 90)
			want := 2 * 100 / sin * math.Sin(3*sin/2)
			return end(p, n, 4, 0, 0).Dist(end(p, n, 4, n, 0)) - want, 300 * math.Pow(3/float64(n), 2) / 24
		}},
		// The edge of regression becomes a circle of radius ρ = (a² + b²)/a, points t
		// along its tangents lie on one of radius √(ρ² + t²).
		{"tangents of a helix", func(n int) (float64, float64) {
			const a, b, t1, span = 60, 20, 10, 2
			v, tri := tangents(a, b, t1, 60, span, n)
			p, _ := flatten(t, v, tri, unfold.Options{})
			rho := (a*a + b*b) / float64(a)
			turn := span * math.Hypot(a, b) / rho
			want := 2 * math.Hypot(rho, t1) * math.Sin(turn/2)
			return end(p, n, 1, 0, 0).Dist(end(p, n, 1, n, 0)) - want, rho * turn * math.Pow(turn/float64(n), 2) / 8
		}},
		// The sector angle of any cone is the length of its directions on the unit
		// sphere; here by Simpson's rule.
		{"oblique cone: sector angle", func(n int) (float64, float64) {
			apex := geom.V3(60, 0, 150)
			dir := func(x float64) geom.Vec3 {
				s, c := math.Sincos(2 * math.Pi * x)
				return geom.V3(80*c, 80*s, 0).Sub(apex).Unit()
			}
			const steps, h = 2000, 1e-5
			want := 0.0
			for i := range steps + 1 {
				x := float64(i) / steps
				w := 2 + 2*float64(i%2)
				if i == 0 || i == steps {
					w = 1
				}
				want += w / 3 / steps * dir(x+h).Sub(dir(x-h)).Len() / (2 * h)
			}
			v, tri := obliqueCone(n, 0.7)
			p, d := flatten(t, v, tri, unfold.Options{})
			// Rim points lie in the chart at their distance from the apex, which
			// three of them place; then the angles between neighbours add up.
			if d.Edge > 1e-9 {
				t.Fatal(d.Edge)
			}
			sum := 0.0
			for i := range n {
				a, b := v[2*i].Sub(apex), v[2*((i+1)%n)].Sub(apex)
				sum += math.Atan2(a.Cross(b).Len(), a.Dot(b))
			}
			at := meet(p, v, apex)
			turned := 0.0
			rim := rimOf(p, v, func(q geom.Vec3) bool { return q.Z == 0 })
			for i := 1; i < len(rim); i++ {
				a, b := rim[i-1].Sub(at), rim[i].Sub(at)
				turned += math.Abs(math.Atan2(a.Cross(b), a.Dot(b)))
			}
			if math.Abs(turned-sum) > 1e-8 {
				t.Errorf("the flat sector spans %g, the facets %g", turned, sum)
			}
			return turned - want, want * math.Pow(2*math.Pi/float64(n), 2)
		}},
		{"extruded spline: arc length", func(n int) (float64, float64) {
			v, tri := extruded(n, 3)
			p, _ := flatten(t, v, tri, unfold.Options{Along: geom.V3(0, 0, 1)})
			want := geom.Path{Segs: []geom.Seg{bowl}}.Length()
			return size(p).Y - want, want * math.Pow(4/float64(n), 2) / 24
		}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			var e [3]float64
			for i, n := range [3]int{24, 48, 96} {
				err, chord := c.error(n)
				if e[i] = math.Abs(err); e[i] > chord {
					t.Errorf("%d facets: off by %g, chords by %g", n, e[i], chord)
				}
			}
			o := order(e)
			if o < 1.8 || o > 2.3 {
				t.Errorf("errors %.3g fall with order %.2f, not 2", e, o)
			}
			t.Logf("errors %.3g, order %.3f", e, o)
		})
	}
}

// meet is the flat point that has the distances of apex from three vertices.
func meet(p *unfold.Patch, v []geom.Vec3, apex geom.Vec3) geom.Vec2 {
	// Circles about a, b, c: differences are lines.
	i, j, k := 0, len(p.Flat)/3, 2*len(p.Flat)/3
	a, b, c := p.Flat[i], p.Flat[j], p.Flat[k]
	r := func(i int) float64 { return p.Vertices[i].Dist(apex) }
	u, w := b.Sub(a).Scale(2), c.Sub(a).Scale(2)
	x := r(i)*r(i) - r(j)*r(j) + b.Dot(b) - a.Dot(a)
	y := r(i)*r(i) - r(k)*r(k) + c.Dot(c) - a.Dot(a)
	det := u.Cross(w)
	return geom.V2((x*w.Y-y*u.Y)/det, (u.X*y-w.X*x)/det)
}

// rimOf lists the border points in order that come from the picked vertices.
func rimOf(p *unfold.Patch, v []geom.Vec3, pick func(geom.Vec3) bool) []geom.Vec2 {
	var first int32 = -1
	follow := map[int32]int32{}
	into := map[int32]bool{}
	count := map[[2]int32]int{}
	for _, c := range p.Triangles {
		for k := range 3 {
			count[[2]int32{min(c[k], c[(k+1)%3]), max(c[k], c[(k+1)%3])}]++
		}
	}
	for _, c := range p.Triangles {
		for k := range 3 {
			a, b := c[k], c[(k+1)%3]
			if count[[2]int32{min(a, b), max(a, b)}] == 1 && pick(p.Vertices[a]) && pick(p.Vertices[b]) {
				follow[a] = b
				into[b] = true
			}
		}
	}
	for i := range int32(len(p.Flat)) {
		if _, ok := follow[i]; ok && !into[i] {
			first = i
		}
	}
	var out []geom.Vec2
	for i, ok := first, first >= 0; ok; i, ok = follow[i] {
		out = append(out, p.Flat[i])
		if _, more := follow[i]; !more {
			break
		}
	}
	return out
}

// A crumpled sheet whose vertices are all flat within 2.1e-5 rad; its own
// stored flat layout keeps lengths within 4.0e-5.
func TestCrumpled(t *testing.T) {
	v, tri, err := readOBJ("../mesh/testdata/crumpled_developable.obj")
	if err != nil {
		t.Fatal(err)
	}
	if len(tri) != 512 {
		t.Fatalf("%d triangles", len(tri))
	}
	p, d := flatten(t, v, tri, unfold.Options{})
	if d.Edge > 1e-4 || d.Stretch > 1e-4 || d.Overlap || d.Defect > 2.2e-5 {
		t.Errorf("%+v", d)
	}
	if b := p.Border(); len(b) != 1 || len(b[0]) != 64 {
		t.Errorf("%d borders", len(b))
	}
	t.Logf("%+v", d)
}

// A cap of geodesic radius ρ on a sphere of radius R, laid flat with the least
// ∫ (εr² + εθ²) dA, which is elastic energy without lateral contraction. A
// circle at the distance r is 2π (r - r³/6R²) long to this order, so with the
// radial shift u
//
//	εr = u′,  εθ = u/r + r²/6R²
//	(r u′)′ = u/r + r²/6R²,  u′(ρ) = 0
//	u = r³/48R² - ρ² r/16R²
//	εr = (r² - ρ²)/16R²,  εθ = (3r² - ρ²)/16R²
//
// so the rim is stretched by ρ²/8R², the middle shrunk by ρ²/16R², and the area
// is kept. The next terms are ρ²/R² of these.
func TestCapAgainstElasticity(t *testing.T) {
	const R = 100.0
	for _, rho := range []float64{10, 20} {
		want := rho * rho / (8 * R * R)
		for _, rings := range []int{12, 24} {
			v, tri := dome(R, rho, rings)
			p, d := flatten(t, v, tri, unfold.Options{})
			if d.Overlap {
				t.Fatal("overlaps")
			}
			tol := rho*rho/(R*R) + 1/float64(rings) // the next term; half a ring's width at the rim, twice the slope there
			if r := d.Stretch/want - 1; math.Abs(r) > tol {
				t.Errorf("ρ %g, %d rings: rim stretched %g, want %g", rho, rings, d.Stretch, want)
			}
			// Vertex 0 is the middle, 1 to 6 the first ring.
			h := v[1].Dist(v[0])
			if e, want := p.Flat[0].Dist(p.Flat[1])/h-1, -want/2; math.Abs(e/want-1) > tol {
				t.Errorf("ρ %g, %d rings: middle strained %g, want %g", rho, rings, e, want)
			}
			if math.Abs(d.Area) > 0.05*want {
				t.Errorf("ρ %g, %d rings: area changed by %g", rho, rings, d.Area)
			}
			t.Logf("ρ %g, %d rings: rim %.5g of %.5g", rho, rings, d.Stretch, want)
		}
	}
}

// Strongly curved patches come out whole, if strained, whatever their shape.
func TestStrained(t *testing.T) {
	for name, f := range map[string]func() ([]geom.Vec3, [][3]int32){
		"hemisphere":     func() ([]geom.Vec3, [][3]int32) { return dome(100, 50*math.Pi, 16) },
		"most of a ball": func() ([]geom.Vec3, [][3]int32) { return dome(100, 85*math.Pi, 24) },
		"saddle": func() ([]geom.Vec3, [][3]int32) {
			return grid(20, 20, false, func(x, y float64) geom.Vec3 {
				return geom.V3(200*x-100, 200*y-100, 150*(x-.5)*(x-.5)-150*(y-.5)*(y-.5))
			})
		},
		"bumps": func() ([]geom.Vec3, [][3]int32) {
			return grid(40, 40, false, func(x, y float64) geom.Vec3 {
				return geom.V3(300*x, 300*y, 30*math.Sin(9*x)*math.Sin(9*y))
			})
		},
		"bowl with a hole": func() ([]geom.Vec3, [][3]int32) {
			v, tri := dome(100, 120, 16)
			return v, without(tri, v, func(q geom.Vec3) bool { return q.Z > 90 })
		},
		"barrel": func() ([]geom.Vec3, [][3]int32) {
			return grid(40, 10, true, func(x, y float64) geom.Vec3 {
				s, c := math.Sincos(2 * math.Pi * x)
				r := 100 - 120*(y-.5)*(y-.5)
				return geom.V3(r*c, r*s, 200*y)
			})
		},
	} {
		t.Run(name, func(t *testing.T) {
			v, tri := f()
			p, d := flatten(t, v, tri, unfold.Options{})
			if math.IsInf(d.Stretch, 0) || d.Stretch < 1e-3 {
				t.Errorf("%+v", d)
			}
			for i, c := range p.Triangles {
				if p.Flat[c[1]].Sub(p.Flat[c[0]]).Cross(p.Flat[c[2]].Sub(p.Flat[c[0]])) <= 0 {
					t.Fatalf("triangle %d is turned over", i)
				}
			}
			t.Logf("%+v", d)
		})
	}
}

func TestHoles(t *testing.T) {
	plate, tri := grid(20, 20, false, func(x, y float64) geom.Vec3 { return geom.V3(200*x, 200*y, 5) })
	tri = without(tri, plate, func(q geom.Vec3) bool { return q.Dist(geom.V3(60, 100, 5)) < 25 || q.Dist(geom.V3(150, 100, 5)) < 30 })
	p, d := flatten(t, plate, tri, unfold.Options{})
	b := p.Border()
	if d.Edge > 1e-12 || len(b) != 3 || b[0].Area() < 0 || b[1].Area() > 0 || b[2].Area() > 0 {
		t.Errorf("plate: %d borders, %+v", len(b), d)
	}
	middle := geom.Vec2{}
	for _, q := range b[1] {
		middle = middle.Add(q.Scale(1 / float64(len(b[1]))))
	}
	if p.Contains(middle) || !p.Contains(b[0][0]) {
		t.Error("Contains does not know the hole or the border")
	}

	window := func(q geom.Vec3) bool { return q.X > 80 && q.Z > 100 && q.Z < 200 }
	v, tri := cylinder(100, 300, 2*math.Pi, 48, 12)
	tri = without(tri, v, window)
	p, d = flatten(t, v, tri, unfold.Options{SeamToward: geom.V3(-1, 0, 0)})
	if b := p.Border(); d.Edge > 1e-9 || len(b) != 2 || d.Overlap {
		t.Errorf("tube with a window: %d borders, %+v", len(b), d)
	}

	v, tri = cylinder(100, 300, 3, 48, 12)
	tri = without(tri, v, func(q geom.Vec3) bool { return q.Dist(geom.V3(0, 100, 150)) < 40 })
	p, d = flatten(t, v, tri, unfold.Options{})
	if b := p.Border(); d.Edge > 1e-9 || len(b) != 2 {
		t.Errorf("shell with a window: %d borders, %+v", len(b), d)
	}
}

func TestSeam(t *testing.T) {
	v, tri := cylinder(100, 300, 2*math.Pi, 48, 12)
	for i := range 48 {
		a := 2 * math.Pi * float64(i) / 48
		dir := geom.V3(math.Cos(a), math.Sin(a), 0.7)
		at := geom.V3(100*math.Cos(a), 100*math.Sin(a), 70)
		for _, o := range []unfold.Options{{SeamToward: dir}, {SeamAt: &at}} {
			p, d := flatten(t, v, tri, o)
			if d.Edge > 1e-9 {
				t.Fatal(d)
			}
			twice := map[int32]int{}
			for _, o := range p.Origin {
				twice[o]++
			}
			for o, n := range twice {
				if on := math.Hypot(v[o].X-at.X, v[o].Y-at.Y) < 1e-9; on != (n == 2) {
					t.Fatalf("seam towards %v: vertex at %v occurs %d times", dir, v[o], n)
				}
			}
			if len(p.Charts(at)) != 2 {
				t.Fatalf("a point of the seam has the chart points %v", p.Charts(at))
			}
		}
	}
}

// A patch longer than a turn of its flat ring lies on itself: where its borders
// cross, and where whole turns coincide so that none does.
func TestOverlap(t *testing.T) {
	const a, b = 60.0, 20.0
	rho := (a*a + b*b) / a
	turn := 2 * math.Pi * rho / math.Hypot(a, b) // of the helix, for one turn of the flat circle
	for _, c := range []struct {
		name  string
		turns float64
		n     int
		want  bool
	}{{"most of a turn", 0.9, 60, false}, {"more than a turn", 1.2, 60, true}, {"nearly two turns", 1.97, 120, true}} {
		v, tri := tangents(a, b, 30, 60, c.turns*turn, c.n)
		_, d := flatten(t, v, tri, unfold.Options{})
		if d.Overlap != c.want || d.Edge > 1e-9 {
			t.Errorf("%s: %+v", c.name, d)
		}
	}
	// A spiral stair of 24 plane sectors of 30 degrees: each lies exactly on
	// another one when flat.
	var v []geom.Vec3
	var tri [][3]int32
	for i := range 25 {
		s, c := math.Sincos(math.Pi / 6 * float64(i))
		v = append(v, geom.V3(100*c, 100*s, 0), geom.V3(50*c, 50*s, 0))
		if i > 0 {
			k := int32(2 * i)
			tri = append(tri, [3]int32{k - 2, k, k - 1}, [3]int32{k, k + 1, k - 1})
		}
	}
	_, d := flatten(t, v, tri, unfold.Options{})
	if !d.Overlap {
		t.Error("two sheets that coincide are not found")
	}
}

func TestRefused(t *testing.T) {
	ball, ballT := dome(100, 50*math.Pi, 4)
	n := int32(len(ball))
	for _, p := range ball[:n-24] {
		ball = append(ball, geom.V3(p.X, p.Y, -p.Z))
	}
	low := func(i int32) int32 {
		if i >= n-24 {
			return i
		}
		return i + n
	}
	for _, c := range ballT[:len(ballT):len(ballT)] {
		ballT = append(ballT, [3]int32{low(c[1]), low(c[0]), low(c[2])})
	}
	torus, torusT := grid(24, 12, true, func(x, y float64) geom.Vec3 {
		s, c := math.Sincos(2 * math.Pi * x)
		sn, cs := math.Sincos(2 * math.Pi * y)
		return geom.V3((100+30*cs)*c, (100+30*cs)*s, 30*sn)
	})
	for i, c := range torusT { // close the other way round, too
		for k, v := range c {
			if v%13 == 12 {
				torusT[i][k] = v - 12
			}
		}
	}
	flat := []geom.Vec3{{}, {X: 1}, {X: 1, Y: 1}, {Y: 1}, {X: 5}, {X: 6}, {X: 6, Y: 1}, {X: math.NaN()}}
	for _, c := range []struct {
		name string
		v    []geom.Vec3
		t    [][3]int32
		want error
	}{
		{"nothing", nil, nil, unfold.ErrNoMesh},
		{"no area", flat, [][3]int32{{0, 1, 4}}, unfold.ErrNoMesh},
		{"ball", ball, ballT, unfold.ErrClosed},
		{"torus", torus, torusT, unfold.ErrClosed},
		{"torus with a hole", torus, torusT[2:], unfold.ErrHandle},
		{"two parts", flat, [][3]int32{{0, 1, 2}, {4, 5, 6}}, unfold.ErrApart},
		{"no such corner", flat, [][3]int32{{0, 1, 9}}, unfold.ErrTriangles},
		{"a corner twice", flat, [][3]int32{{0, 1, 1}}, unfold.ErrTriangles},
		{"not a number", flat, [][3]int32{{0, 1, 7}}, unfold.ErrTriangles},
		{"wound against each other", flat, [][3]int32{{0, 1, 2}, {0, 3, 2}, {0, 2, 3}}, unfold.ErrTriangles},
	} {
		if _, _, err := unfold.Flatten(c.v, c.t, unfold.Options{}); !errors.Is(err, c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	// Two triangles that touch at a point only are two parts.
	if _, _, err := unfold.Flatten(flat, [][3]int32{{0, 1, 2}, {2, 5, 6}}, unfold.Options{}); !errors.Is(err, unfold.ErrApart) {
		t.Errorf("touching parts: %v", err)
	}
}

func TestAlong(t *testing.T) {
	v, tri := cylinder(100, 50, 2, 20, 4)
	p, _ := flatten(t, v, tri, unfold.Options{})
	if s := size(p); s.X < s.Y {
		t.Errorf("u does not run the long way: %v", s)
	}
	for _, along := range []geom.Vec3{{Z: 1}, {Z: -2}, {X: -1, Y: 0.6, Z: 0.4}} {
		p, _ := flatten(t, v, tri, unfold.Options{Along: along})
		mid := p.Chart(geom.V3(100*math.Cos(1), 100*math.Sin(1), 25))
		u := p.Point(mid.Add(geom.V2(0.1, 0))).Sub(p.Point(mid)).Unit()
		n := p.Normal(mid)
		want := along.Sub(n.Scale(along.Dot(n))).Unit()
		if u.Dist(want) > 0.06 { // a facet turns by 0.1
			t.Errorf("along %v: u runs %v at the middle", along, u)
		}
	}
}

func TestOffset(t *testing.T) {
	plate, tri := grid(5, 4, false, func(x, y float64) geom.Vec3 { return geom.V3(100*x, 80*y, 0) })
	p, _ := flatten(t, plate, tri, unfold.Options{})
	q, err := p.Offset(7)
	if err != nil {
		t.Fatal(err)
	}
	for i := range p.Flat {
		if p.Flat[i].Dist(q.Flat[i]) > 1e-10 || q.Vertices[i].Dist(p.Vertices[i].Add(geom.V3(0, 0, 7))) > 1e-10 {
			t.Fatalf("a plane moved: %v to %v", p.Flat[i], q.Flat[i])
		}
	}

	// Round a cylinder the neutral surface at k has the radius R + k.
	const R, k = 100, 0.4
	for _, n := range []int{6, 12, 24} {
		chord := 3 * k * math.Pow(3/float64(n), 2) // relative error of chords, three times over, of what the offset adds
		for _, rows := range []int{1, 5} {
			v, tri := cylinder(R, 300, 3, n, rows)
			p, _ := flatten(t, v, tri, unfold.Options{Along: geom.V3(0, 0, 1)})
			for _, k := range []float64{k, -k} {
				q, err := p.Offset(k)
				if err != nil {
					t.Fatal(err)
				}
				want := 2 * (R + k) * math.Sin(1.5/float64(n)) * float64(n) // the chords of R + k
				if got := size(q).Y; math.Abs(got-want) > chord || math.Abs(size(q).X-300) > chord {
					t.Errorf("%d facets, %d rows, k %g: %v long, want %g", n, rows, k, size(q), want)
				}
			}
		}
		v, tri := cylinder(R, 300, 2*math.Pi, 2*n, 3)
		p, _ := flatten(t, v, tri, unfold.Options{Along: geom.V3(0, 0, 1)})
		q, err := p.Offset(k)
		if err != nil {
			t.Fatal(err)
		}
		if want := 4 * (R + k) * float64(n) * math.Sin(math.Pi/2/float64(n)); math.Abs(size(q).Y-want) > 1e-9 {
			t.Errorf("tube of %d facets: %g long, want %g", 2*n, size(q).Y, want)
		}
	}

	// A cone keeps its sector's angle, its radii grow by k cot β.
	v, tri := frustum(100, 60, 90, 2*math.Pi, 96, 3)
	p, _ = flatten(t, v, tri, unfold.Options{})
	q, err = p.Offset(k)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(q.Area()/p.Area()-(80+k*90/math.Hypot(40, 90))/80) > 1e-4*k {
		t.Errorf("cone: area grows by %g", q.Area()/p.Area())
	}

	v, tri = cone(100, 60, 96, 4)
	p, _ = flatten(t, v, tri, unfold.Options{})
	if q, err = p.Offset(k); err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(q.Origin, func(o int32) bool { return v[o].Z == 60 })
	if want := 60 + k*math.Hypot(100, 60)/100; math.Abs(q.Vertices[i].Z-want) > 1e-3*k {
		t.Errorf("the apex moves to %g, not %g", q.Vertices[i].Z, want)
	}

	v, tri = cylinder(20, 100, 3, 24, 2)
	p, _ = flatten(t, v, tri, unfold.Options{})
	if _, err := p.Offset(-25); !errors.Is(err, unfold.ErrFold) {
		t.Errorf("moved through its axis: %v", err)
	}
}

func TestCurvature(t *testing.T) {
	v, tri := cylinder(50, 200, 2, 24, 6)
	p, _ := flatten(t, v, tri, unfold.Options{Along: geom.V3(0, 0, 1)})
	mid := size(p).Scale(0.5)
	for a := 0.0; a < math.Pi; a += 0.1 {
		s, c := math.Sincos(a)
		want := s * s / 50 // Euler's formula
		if got := p.Curvature(mid, geom.V2(c, s)); math.Abs(got-want) > 1e-3/50 {
			t.Errorf("at %.1f rad to the axis: %g, want %g", a, got, want)
		}
	}
	r, hollow, _, bends := p.Tightest()
	if math.Abs(r/50-1) > 2e-3 || hollow || math.Abs(bends.X) > 1e-3 {
		t.Errorf("radius %g, hollow %v, bends along %v", r, hollow, bends)
	}
	for i, c := range tri { // from inside
		tri[i] = [3]int32{c[1], c[0], c[2]}
	}
	p, _ = flatten(t, v, tri, unfold.Options{})
	if r, hollow, _, _ := p.Tightest(); math.Abs(r/50-1) > 2e-3 || !hollow {
		t.Errorf("bore: radius %g, hollow %v", r, hollow)
	}
	v, tri = grid(4, 4, false, func(x, y float64) geom.Vec3 { return geom.V3(90*x+30*y, 70*y, 33*x) })
	p, _ = flatten(t, v, tri, unfold.Options{})
	if r, _, _, _ := p.Tightest(); !math.IsInf(r, 1) {
		t.Errorf("plane: radius %g", r)
	}
	// A cone bends most at its small end, where its radius of curvature is r/cos β.
	v, tri = frustum(100, 40, 200, 2, 40, 20)
	p, _ = flatten(t, v, tri, unfold.Options{})
	r, _, at, _ := p.Tightest()
	if want := 40 * math.Hypot(60, 200) / 200; math.Abs(r/want-1) > 0.03 {
		t.Errorf("cone: radius %g, want %g", r, want)
	}
	if z := p.Point(at).Z; z < 199 {
		t.Errorf("cone: tightest at height %g", z)
	}
	v, tri = dome(80, 40, 12)
	p, _ = flatten(t, v, tri, unfold.Options{})
	if k := p.Curvature(p.Chart(geom.V3(0, 0, 80)), geom.V2(0.6, 0.8)); math.Abs(k*80-1) > 0.01 {
		t.Errorf("sphere: %g", k)
	}
}

func ExampleFlatten() {
	// Half a tube of radius 100 and height 50 in 90 facets.
	v, t := cylinder(100, 50, math.Pi, 90, 1)
	p, d, err := unfold.Flatten(v, t, unfold.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	b := p.Border().Bounds().Size()
	fmt.Printf("%.2f x %.2f mm, strained less than 1e-9: %v\n", b.X, b.Y, d.Stretch < 1e-9)
	// Output: 314.14 x 50.00 mm, strained less than 1e-9: true
}
