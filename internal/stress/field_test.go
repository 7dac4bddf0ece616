package stress

import (
	"context"
	"math"
	"testing"

	"groundwork/internal/geom"
)

// Of a cantilever under a load at its tip, the rough field knows the bending
// stress at every section, which way it pulls, and that nothing much pulls
// across the board.
func TestFieldOfCantilever(t *testing.T) {
	in := cantilever(t)
	const F = 20.0
	load := []Load{pressing(0, geom.V3(190, 0, 20), geom.V3(0, 0, 1), geom.V3(0, 0, -F), 10)}
	f, err := Rough(context.Background(), theKernel(t), in, []Case{{ID: "rest"}, {ID: "tip", Loads: load}})
	if err != nil {
		t.Fatal(err)
	}
	along := geom.V3(1, 0, 0)
	last := math.Inf(1)
	for x := -100.0; x <= 150; x += 50 {
		got := f.Pull(0, geom.V3(x, 0, 10), along)
		q := weight(f.s) / 400
		M := F*(190-x) + q*(200-x)*(200-x)/2
		// In the middle of the cover layers, and as the cell's own length has it.
		want := M / (40 * 20 * 20 * 20 / 12) * (10 - 0.7)
		if math.Abs(got-want) > 0.15*want+0.1 {
			t.Errorf("at %g: %g, the beam's %g", x, got, want)
		}
		if got > last+1e-9 {
			t.Errorf("at %g: %g, nearer to the wall %g", x, got, last)
		}
		last = got
	}
	if d := f.Main(0, nil); math.Abs(d.Dot(along)) < 0.99 {
		t.Errorf("pulled along %v", d)
	}
	outer := []geom.Plane{geom.PlaneAt(geom.V3(50, 0, 0), geom.V3(-1, 0, 0))}
	inner := []geom.Plane{geom.PlaneAt(geom.V3(-50, 0, 0), geom.V3(1, 0, 0))}
	if a, b := f.Across(0, outer, along), f.Across(0, inner, along); !(a > 0 && a < b) {
		t.Errorf("outer part %g, inner %g", a, b)
	}
	if a, b := f.Across(0, outer, geom.V3(0, 0, 1)), f.Across(0, outer, along); a > 0.2*b {
		t.Errorf("across the board %g, along it %g", a, b)
	}
	if v := f.Pull(0, geom.V3(5000, 0, 0), along); v != 0 {
		t.Errorf("far from the body: %g", v)
	}
}

// The rough field is as the fine one, for choosing by: on the table's top and
// legs it is right within a third where stress matters, alike on mirrored legs.
func TestFieldOfTable(t *testing.T) {
	in := example(t, "heron-side-table")
	cs := tableCases(t, in)[:1]
	f, err := Rough(context.Background(), theKernel(t), in, cs)
	if err != nil {
		t.Fatal(err)
	}
	fine := assembled(t, in, Options{Cell: 16})
	st := solved(t, fine, cs[0])
	top := in.Bodies[0]
	if top.ID != "top" {
		t.Fatal(top.ID)
	}
	for _, p := range []geom.Vec3{geom.V3(0, 0, 519), geom.V3(60, 0, 519), geom.V3(0, 60, 519), geom.V3(-60, 40, 519)} {
		for _, n := range []geom.Vec3{geom.V3(1, 0, 0), geom.V3(0, 1, 0)} {
			tens, _ := st.Shell(0, p)
			t.Logf("at %v along %v: rough %.3f, fine %.3f MPa", p, n, f.Pull(0, p, n), math.Abs(tens.Along(n)))
		}
	}
	rough, exact := f.s, fine
	rs := solved(t, rough, cs[0])
	a, _ := rs.Displacement(0, geom.V3(0, 0, 530))
	b, _ := st.Displacement(0, geom.V3(0, 0, 530))
	if r := a.Z / b.Z; r < 0.6 || r > 1.2 {
		t.Errorf("middle of the top: rough %g, fine %g of %d cells", a.Z, b.Z, exact.Cells())
	}
	var pulls []float64
	for i, b := range in.Bodies {
		if in.Cores[b.Members[0]].Name != "leg" {
			continue
		}
		at := in.Cores[b.Members[0]].Place.Point(f.s.bodies[i].bounds.Center())
		pulls = append(pulls, f.Pull(i, at, geom.V3(0, 0, 1)))
	}
	if len(pulls) != 4 {
		t.Fatalf("%d legs", len(pulls))
	}
	for _, p := range pulls[1:] {
		if math.Abs(p-pulls[0]) > 0.05*pulls[0] {
			t.Errorf("legs are pulled by %v", pulls)
		}
	}
}

func TestEigen(t *testing.T) {
	val, vec := eigen(tensor3{2, 3, 5, 0.7, -1.1, 0.4})
	sum := tensor3{}
	for i, d := range vec {
		for k, m := range [6]float64{d.X * d.X, d.Y * d.Y, d.Z * d.Z, d.Y * d.Z, d.Z * d.X, d.X * d.Y} {
			sum[k] += val[i] * m
		}
	}
	for k, want := range (tensor3{2, 3, 5, 0.7, -1.1, 0.4}) {
		if math.Abs(sum[k]-want) > 1e-12 {
			t.Errorf("component %d: %g, want %g", k, sum[k], want)
		}
	}
}
