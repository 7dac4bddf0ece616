package elastic

import (
	"context"
	"math"
	"testing"

	"groundwork/internal/geom"
)

// board is a full block with planes no further apart than h, which may be given
// per axis.
func board(name string, size [3]float64, h [3]float64, m Material) Body {
	var l Lattice
	n := 1
	for a := range 3 {
		l.Planes[a] = Planes(h[a], 0, size[a])
		n *= len(l.Planes[a]) - 1
	}
	l.Fill = make([]float64, n)
	for i := range l.Fill {
		l.Fill[i] = 1
	}
	return Body{Name: name, Frame: geom.World(), Lattice: l, Materials: []Material{m}}
}

func plane(axis int, at float64) geom.Box3 {
	lo, hi := [3]float64{-1e9, -1e9, -1e9}, [3]float64{1e9, 1e9, 1e9}
	lo[axis], hi[axis] = at, at
	return geom.Box3{Min: vec(lo), Max: vec(hi)}
}

var all = [3]bool{true, true, true}

func solve(t tester, m Model, c Case) *Result {
	t.Helper()
	s, err := Assemble(context.Background(), m, Options{})
	if err != nil {
		t.Fatal(err)
	}
	r, err := s.Solve(context.Background(), c)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func moved(t tester, r *Result, body int, p geom.Vec3) geom.Vec3 {
	t.Helper()
	u, ok := r.Displacement(body, p)
	if !ok {
		t.Fatalf("body %d is not at %v", body, p)
	}
	return u
}

func near(t tester, what string, got, want, part float64) {
	t.Helper()
	if !(math.Abs(got-want) <= part*math.Abs(want)) {
		t.Errorf("%s: %.6g, want %.6g within %.2g %%: %.2f %% off", what, got, want, 100*part, 100*(got/want-1))
	}
}

// Cantilever with a load at its end, δ = FL³/3EI + 1.2 FL/AG (Timoshenko,
// Strength of Materials, part I; Roark, table 8.1 case 1a): a cell thick, and
// more.
func TestCantilever(t *testing.T) {
	const F, L, b, h, E, nu = 50.0, 300.0, 30.0, 20.0, 2000.0, 0.35
	I := b * h * h * h / 12
	want := F*L*L*L/(3*E*I) + 1.2*F*L/(b*h*E/(2*(1+nu)))
	for _, step := range [][3]float64{{10, 30, 20}, {10, 10, 20}, {10, 10, 10}, {5, 5, 5}, {20, 15, 20}} {
		m := Model{
			Bodies: []Body{board("beam", [3]float64{L, b, h}, step, Material{Stiffness: Isotropic(E, nu)})},
			Fixed:  []Fixed{{Name: "wall", Where: plane(0, 0), Axes: all}},
		}
		r := solve(t, m, Case{Faces: []FaceLoad{{
			Face:  Face{Frame: geom.Frame{Origin: geom.V3(L, 0, 0), X: geom.V3(0, 1, 0), Y: geom.V3(0, 0, 1), Z: geom.V3(1, 0, 0)}, U: b, V: h},
			Force: geom.V3(0, 0, -F),
		}}})
		u := moved(t, r, 0, geom.V3(L, b/2, h/2))
		s, _ := r.Stress(0, geom.V3(L/2, b/2, h))
		t.Logf("%v: deflection %.4f of %.4f, stress %.3f of 3.75, %v", step, -u.Z, want, s[0], r)
		near(t, "deflection", -u.Z, want, 0.03)
		near(t, "stress", s[0], F*L/2*h/2/I, 0.03)
		near(t, "energy", r.Energy, F*want/2, 0.03)
		re := r.Reaction(0)
		near(t, "reaction", re.Force.Z, F, 1e-5)
		near(t, "moment", re.Moment.Y, -F*L, 1e-5)
	}
}

// tester is what *testing.T and *rapid.T have in common.
type tester interface {
	Helper()
	Fatal(...any)
	Fatalf(string, ...any)
	Errorf(string, ...any)
}

// Cells that should not lock do not: slender, flat, nearly incompressible,
// soft-cored, skewed. References as in TestCantilever; a moment at the end of a
// beam with Poisson's ratio nought bends it exactly, whatever the cells.
func TestNoLocking(t *testing.T) {
	for _, c := range []struct {
		name    string
		L, b, h float64
		step    [3]float64
		nu      float64
		part    float64
	}{
		{"slender, one cell thick", 1000, 20, 4, [3]float64{10, 20, 4}, 0.35, 0.01},
		{"cells 20 times longer than thick", 400, 20, 2, [3]float64{40, 20, 2}, 0.3, 0.05},
		{"cells 20 times thicker than long", 200, 20, 20, [3]float64{1, 20, 20}, 0, 0.01},
		{"nearly incompressible", 300, 10, 20, [3]float64{10, 10, 10}, 0.495, 0.05},
		{"four cells in all", 200, 10, 10, [3]float64{50, 10, 10}, 0, 0.03},
	} {
		const F, E = 1.0, 2000.0
		m := Model{Bodies: []Body{board("beam", [3]float64{c.L, c.b, c.h}, c.step, Material{Stiffness: Isotropic(E, c.nu)})},
			Fixed: []Fixed{{Where: plane(0, 0), Axes: all}}}
		r := solve(t, m, Case{Faces: []FaceLoad{{Face: upright(c.L, c.b, c.h), Force: geom.V3(0, 0, -F)}}})
		want := F*c.L*c.L*c.L/(3*E*c.b*c.h*c.h*c.h/12) + 1.2*F*c.L/(c.b*c.h*E/(2*(1+c.nu)))
		u := moved(t, r, 0, geom.V3(c.L, c.b/2, c.h/2))
		t.Logf("%s: %.5g of %.5g, %v", c.name, -u.Z, want, r)
		near(t, c.name, -u.Z, want, c.part)
	}

	const L, b, h, E, M = 100.0, 10.0, 8.0, 2000.0, 500.0
	m := Model{Bodies: []Body{board("beam", [3]float64{L, b, h}, [3]float64{25, 10, 8}, Material{Stiffness: Isotropic(E, 0)})},
		Fixed: []Fixed{{Where: plane(0, 0), Axes: all}}}
	r := solve(t, m, Case{Points: []PointLoad{
		{At: geom.V3(L, b/2, h), Force: geom.V3(M/h, 0, 0)}, {At: geom.V3(L, b/2, 0), Force: geom.V3(-M/h, 0, 0)}}})
	near(t, "pure bending", -moved(t, r, 0, geom.V3(L, b/2, h/2)).Z, M*L*L/(2*E*b*h*h*h/12), 1e-6)
	s, _ := r.Stress(0, geom.V3(30, 3, h))
	near(t, "its stress", s[0], 6*M/(b*h*h), 1e-6)
	top, at := r.Greatest(0, func(s Tensor) float64 { return s[0] })
	near(t, "its greatest", top, 6*M/(b*h*h), 1e-6)
	if at.Z != h {
		t.Errorf("the greatest is at %v, not on the upper face", at)
	}
}

// The two blocks of a brick, and the small ones of an orthotropic material, are
// all there is: multiplying by layers is multiplying by the corners' matrix.
func TestLayerIsTheMatrix(t *testing.T) {
	for _, s := range []Stiffness{fir(t), Isotropic(2000, 0.35)} {
		body := board("one", [3]float64{3, 4, 5}, [3]float64{9, 9, 9}, Material{Stiffness: s})
		body.Lattice.Fill[0] = 0.7
		l, err := newLattice(body)
		if err != nil {
			t.Fatal(err)
		}
		x, y := make([]float64, 24), make([]float64, 24)
		for i := range x {
			x[i] = math.Sin(float64(3 * i * i))
		}
		l.layer(0, x, y)
		scale := 0.0
		for i := range y {
			scale = max(scale, math.Abs(y[i]))
		}
		for i := range y {
			want := 0.0
			for j := range x {
				want += 0.7 * l.bricks[0].node[i][j] * x[j]
			}
			if math.Abs(y[i]-want) > 1e-12*scale {
				t.Errorf("row %d: %g, want %g", i, y[i], want)
			}
		}
	}
}
