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
