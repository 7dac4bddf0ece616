package unfold_test

import (
	"errors"
	"math"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/unfold"
)

// checkGores holds gores to the limits and to the surface's area.
func checkGores(t *testing.T, gs []unfold.Gore, l unfold.Limits, whole float64) {
	t.Helper()
	area := 0.0
	for i, g := range gs {
		along, across := g.Patch.Strain(geom.V2(1, 0))
		if along != g.Along || across != g.Across || along > l.Along || across > l.Across || g.Distortion.Overlap {
			t.Errorf("gore %d: %g along, %g across, %+v", i, g.Along, g.Across, g.Distortion)
		}
		area += g.Patch.Area()
	}
	if r := area/whole - 1; math.Abs(r) > 4e-3 { // facets
		t.Errorf("gores cover %g of the area too much", r)
	}
}

// capArea is the area of a dome.
func capArea(R, rho float64) float64 { return 2 * math.Pi * R * R * (1 - math.Cos(rho/R)) }

func TestGores(t *testing.T) {
	l := unfold.DefaultLimits
	// A hemisphere of radius R in parallel strips of the width 2w: a strip's length
	// falls as cos(y/R) across it, so that flat and of the mean length it is
	// strained by w²/3R² at its edges, and 2w = 2R √(3·0.005) = 24.5 mm fits.
	// From the rim to the pole that is 157/24.5 = 6.4 strips. The last, around the
	// pole, is a cap, strained by ρ²/8R² at its rim, so 20 mm at most: 8 at equal
	// widths, give or take the facets.
	v, tri := dome(100, 50*math.Pi, 12)
	gs, err := unfold.Gores(v, tri, l, unfold.GoreOptions{})
	if err != nil {
		t.Fatal(err)
	}
	checkGores(t, gs, l, capArea(100, 50*math.Pi))
	if len(gs) < 6 || len(gs) > 9 {
		t.Errorf("a hemisphere in %d gores", len(gs))
	}
	t.Logf("hemisphere: %d gores, the first %.4f along, %.4f across, %.0f x %.0f mm", len(gs), gs[0].Along, gs[0].Across, gs[0].Length, gs[0].Width)

	// A shallow dish stays whole while its rim's strain, ρ²/8R², is in the limits.
	v, tri = dome(600, 100, 12)
	if gs, err = unfold.Gores(v, tri, l, unfold.GoreOptions{}); err != nil || len(gs) != 1 {
		t.Errorf("a shallow dish: %d gores, %v", len(gs), err)
	}
	checkGores(t, gs, l, capArea(600, 100))

	// What unrolls is one gore however long.
	v, tri = cylinder(40, 900, 2*math.Pi, 60, 2)
	if gs, err = unfold.Gores(v, tri, l, unfold.GoreOptions{}); err != nil || len(gs) != 1 {
		t.Errorf("a tube: %d gores, %v", len(gs), err)
	}

	// The outside of a bent arm: strips along it.
	v, tri = grid(40, 10, false, func(x, y float64) geom.Vec3 {
		a, b := 2*x, 1.5*(y-.5)
		return geom.V3((200+50*math.Cos(b))*math.Cos(a), (200+50*math.Cos(b))*math.Sin(a), 50*math.Sin(b))
	})
	if gs, err = unfold.Gores(v, tri, l, unfold.GoreOptions{Grain: geom.V3(0, 1, 0)}); err != nil {
		t.Fatal(err)
	}
	checkGores(t, gs, l, 2*50*(200*1.5+50*2*math.Sin(0.75)))
	t.Logf("bent arm: %d gores", len(gs))
	if len(gs) < 2 || len(gs) > 6 {
		t.Errorf("a bent arm in %d gores", len(gs))
	}

	v, tri = dome(100, 50*math.Pi, 10)
	gs, err = unfold.Gores(v, tri, l, unfold.GoreOptions{Most: 2})
	if !errors.Is(err, unfold.ErrStrained) || len(gs) == 0 {
		t.Errorf("two cuts at most: %d gores, %v", len(gs), err)
	}
	if _, err = unfold.Gores(v, tri, unfold.Limits{}, unfold.GoreOptions{}); err == nil {
		t.Error("no limits, no error")
	}
}

// A whole ball has no border; cut it all the same.
func TestGoresOfABall(t *testing.T) {
	v, tri := dome(100, 95*math.Pi, 12)
	l := unfold.Limits{Along: 0.03, Across: 0.03}
	gs, err := unfold.Gores(v, tri, l, unfold.GoreOptions{})
	if err != nil {
		t.Fatal(err)
	}
	checkGores(t, gs, l, capArea(100, 95*math.Pi))
	t.Logf("%d gores", len(gs))
}
