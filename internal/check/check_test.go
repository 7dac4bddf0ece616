package check

import (
	"math"
	"testing"

	"groundwork/internal/geom"

	"pgregory.net/rapid"
)

func ring(n int, r float64) geom.Polygon {
	var p geom.Polygon
	for i := range n {
		p = append(p, geom.V2(r, 0).Rotate(2*math.Pi*float64(i)/float64(n)))
	}
	return p
}

// A top of 500 mm on three legs whose feet stand on a circle of the radius
// given, weight 60 N, load 50 mm in from the edge midway between two legs:
// F = W r_in / (x - r_in) with r_in = R cos 60° (statics, by hand).
func TestTipsOfThreeLegs(t *testing.T) {
	rim := ring(720, 250)
	for _, tt := range []struct{ feet, force float64 }{{200, 60}, {250, 100}, {300, 180}, {308, 200.9}} {
		worst := math.Inf(1)
		for _, tip := range tips(ring(3, tt.feet), geom.Vec2{}, 60, rim, 600, load{inset: 50}) {
			worst = min(worst, tip.Force)
		}
		if math.Abs(worst-tt.force) > 0.06 {
			t.Errorf("feet at %.0f mm: tips at %.2f N, want %.1f", tt.feet, worst, tt.force)
		}
	}
}

// Nearest tipping axis of n legs at radius R: R cos(180°/n).
func TestSupportOfLegs(t *testing.T) {
	for n, want := range map[int]float64{3: 0.5, 4: 0.7071, 5: 0.8090, 6: 0.8660} {
		h := hull(ring(n, 1))
		if len(h) != n {
			t.Fatalf("hull of %d legs has %d corners", n, len(h))
		}
		for i, a := range h {
			if got := inside([2]geom.Vec2{a, h[(i+1)%n]}, geom.Vec2{}); math.Abs(got-want) > 5e-5 {
				t.Errorf("%d legs: axis at %.4f, want %.4f", n, got, want)
			}
		}
	}
}

// A horizontal force takes away F = H h / e.
func TestSidewaysForce(t *testing.T) {
	rim := ring(720, 250)
	a := tips(ring(4, 200), geom.Vec2{}, 60, rim, 450, load{inset: 60})[0]
	b := tips(ring(4, 200), geom.Vec2{}, 60, rim, 450, load{inset: 60, sideways: 10})[0]
	if want := a.Force - 10*450/a.Overhang; math.Abs(b.Force-max(0, want)) > 1e-9 {
		t.Errorf("force %.3f, want %.3f", b.Force, want)
	}
}

// Moving the feet out by what wider says makes the load just balance.
func TestWiderIsEnough(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := load{newtons: rapid.Float64Range(100, 900).Draw(t, "load"), inset: 50}
		w := rapid.Float64Range(20, 300).Draw(t, "weight")
		d := rapid.Float64Range(20, 150).Draw(t, "feet")
		top := d + rapid.Float64Range(60, 200).Draw(t, "overhang")
		square := func(r float64) geom.Polygon {
			return geom.Polygon{{X: -r, Y: -r}, {X: r, Y: -r}, {X: r, Y: r}, {X: -r, Y: r}}
		}
		tip := tips(square(d), geom.Vec2{}, w, square(top), 500, l)[0]
		x := wider(tip, w, geom.Vec2{}, l)
		if x == 0 {
			if tip.Force < l.newtons-1e-9 {
				t.Fatalf("tips at %.1f N of %.1f and no remedy", tip.Force, l.newtons)
			}
			return
		}
		again := tips(square(d+x), geom.Vec2{}, w, square(top), 500, l)[0]
		if again.Overhang > 1e-9 && math.Abs(again.Force-l.newtons) > 1e-6*l.newtons {
			t.Fatalf("after %.1f mm it tips at %.3f N, want %.3f", x, again.Force, l.newtons)
		}
	})
}

func TestHullDropsPointsOnItsSides(t *testing.T) {
	pts := []geom.Vec2{{X: 0, Y: 0}, {X: 1, Y: 0}, {X: 2, Y: 0}, {X: 2, Y: 2}, {X: 1, Y: 1}, {X: 0, Y: 2}, {X: 0, Y: 2}}
	if h := hull(pts); len(h) != 4 || math.Abs(h.Area()-4) > 1e-12 {
		t.Errorf("hull %v", h)
	}
}
