package stress

import (
	"fmt"
	"math"
	"testing"

	"groundwork/internal/elastic"
	"groundwork/internal/geom"
	"groundwork/internal/shop"
)

// pulled is how much longer the bar of cantilever gets under a pull at its end, mm
// between two sections, and the stress in its shell between them.
func pulled(t *testing.T, in Inputs, force, cell float64) (float64, *State) {
	t.Helper()
	s := assembled(t, in, Options{Cell: cell})
	end := Load{Member: 0, Frame: geom.FrameFromXZ(geom.V3(200, 0, 10), geom.V3(0, 1, 0), geom.V3(1, 0, 0)), Force: geom.V3(force, 0, 0),
		Region: geom.Polygons{{geom.V2(-20, -10), geom.V2(20, -10), geom.V2(20, 10), geom.V2(-20, 10)}}}
	st := solved(t, s, Case{ID: "pull", Loads: []Load{end}})
	rest := solved(t, s, Case{ID: "rest"})
	u := func(st *State, x float64) float64 { v, _ := st.Displacement(0, geom.V3(x, 0, 10)); return v.X }
	return u(st, 100) - u(st, -100) - u(rest, 100) + u(rest, -100), st
}

// A rod of steel bears its share: F L / (E A + E_s A_s), whatever the cells.
func TestRod(t *testing.T) {
	in := cantilever(t)
	in.Rods = []Rod{{Body: 0, From: geom.V3(-200, 0, 10), To: geom.V3(200, 0, 10), Diameter: 6}}
	pl, _ := newPlastic(in.Filament(0), in.Profile(0), 1)
	for _, cell := range []float64{12, 7} {
		got, st := pulled(t, in, 1000, cell)
		EA := pl.e*40*20 + steel*math.Pi*9
		near(t, fmt.Sprintf("stretch, cells %g", cell), got, 1000*200/EA, 0.05)
		for _, y := range []float64{0, 3} { // in the rod's cells the plastic bears what its strain says
			p := geom.V3(10, y, 10)
			b := st.s.bodies[0]
			c, q, _ := st.at(0, p)
			raw, _ := st.raw(0, c, q)
			near(t, "stress in the plastic", b.shell(c, raw)[0], 1000/EA*pl.e, 0.15)
		}
	}
}

// The print's pose decides: pulled across its layers a bar is softer by E Z over
// E XY, and the stress across layers is told.
func TestPose(t *testing.T) {
	in := cantilever(t)
	pl, _ := newPlastic(in.Filament(0), in.Profile(0), 1)
	lying, st := pulled(t, in, 500, 10)
	near(t, "lying", lying, 500*200/(pl.e*800), 0.01)
	if v := st.Body(0).Layers.Value; v > 0.25*500/800 {
		t.Errorf("lying, %g MPa across the layers", v)
	}
	in.Laid = []Laid{{Segment: "bar", Body: 0, Up: geom.V3(1, 0, 0)}}
	standing, st := pulled(t, in, 500, 10)
	near(t, "standing", standing, 500*200/(pl.ez*800), 0.01)
	rest := solved(t, st.s, Case{ID: "rest"}) // what its weight bends comes on top, and the end held stiffly
	near(t, "across the layers", st.Body(0).Layers.Value-rest.Body(0).Layers.Value, 500.0/800, 0.25)
	// Half of it lies, half stands.
	in.Laid = []Laid{
		{Segment: "a", Body: 0, Planes: []geom.Plane{geom.PlaneAt(geom.V3(0, 0, 0), geom.V3(1, 0, 0))}, Up: geom.V3(0, 0, 1)},
		{Segment: "b", Body: 0, Planes: []geom.Plane{geom.PlaneAt(geom.V3(0, 0, 0), geom.V3(-1, 0, 0))}, Up: geom.V3(1, 0, 0)},
	}
	both, _ := pulled(t, in, 500, 10)
	near(t, "half and half", both, (lying+standing)/2, 0.01)
}

// Homogenised core fill has the moduli of the formulas it is made by, is stable at
// every density and for every pattern, and ends as the plastic itself.
func TestCoreFill(t *testing.T) {
	in := cantilever(t)
	f, p := in.Filament(0), in.Profile(0)
	for _, pattern := range []string{"triangles", "grid", "hexagons"} {
		last := 0.0
		for _, fill := range []float64{0, 0.05, 0.15, 0.25, 0.4, 0.7, 0.99, 1} {
			p.Fill, p.FillPattern = fill, pattern
			pl, err := newPlastic(f, p, 1)
			if err != nil {
				t.Fatalf("%s %g: %v", pattern, fill, err)
			}
			yield, err := inverse(pl.core)
			if err != nil {
				t.Fatal(err)
			}
			e1, e3, g13 := 1/yield[0][0], 1/yield[2][2], 1/yield[3][3]
			if e1 < last {
				t.Errorf("%s %g: E %g falls", pattern, fill, e1)
			}
			last = e1
			if fill > 0.02 && fill <= 0.4 {
				want := fill * pl.e / 3
				if pattern == "hexagons" {
					want = 1.5 * fill * fill * fill * pl.e / (1 + 1.5*fill*fill) // bending with the stretch of K
				}
				near(t, fmt.Sprintf("%s %g: E", pattern, fill), e1, want, 1e-6)
				near(t, fmt.Sprintf("%s %g: E across", pattern, fill), e3, fill*pl.ez, 1e-6)
				near(t, fmt.Sprintf("%s %g: G across", pattern, fill), g13, fill/2*pl.gz, 1e-6)
			}
			if fill == 1 {
				near(t, pattern+" solid", e1, pl.e, 1e-9)
			}
		}
	}
	p.Fill, p.FillPattern = 0.2, "waves"
	if _, err := newPlastic(f, p, 1); err == nil {
		t.Error("a pattern without a formula is taken")
	}
	if _, err := newPlastic(shop.Filament{ID: "x"}, p, 1); err == nil {
		t.Error("a filament without a modulus is taken")
	}
}

// Turning a tensor there and back changes nothing, and shell and walls under a
// plain pull bear what they must.
func TestTensors(t *testing.T) {
	f := geom.FrameFromXZ(geom.Vec3{}, geom.V3(1, 2, 3), geom.V3(-2, 0.4, 1))
	a := elastic.Tensor{1, -2, 3, 0.5, -0.7, 0.2}
	b := inWorld(turned(a, f), f)
	for i := range a {
		if math.Abs(a[i]-b[i]) > 1e-12 {
			t.Fatalf("%v, then %v", a, b)
		}
	}
	if math.Abs(turned(a, f)[2]-a.Along(f.Z)) > 1e-12 {
		t.Error("turned wrongly")
	}
	in := cantilever(t)
	p := in.Profile(0)
	p.Fill = 0.2
	pl, _ := newPlastic(in.Filament(0), p, 1)
	// Strained by 1e-3 across the layers alone, walls and shell bear E_z times it, held sideways.
	strain := elastic.Tensor{0, 0, 1e-3}
	near(t, "walls across", pl.inWalls(strain), pl.ez*1e-3, 1e-9)
	// The mean stress of a cell of core fill, pulled along 1, is a third of the share of what a wall along 1 bears.
	u := pl.strain(0, elastic.Tensor{1, 0, 0})
	near(t, "walls along", pl.inWalls(u), 3/p.Fill, 0.15)
}
