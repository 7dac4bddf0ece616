package printing

import (
	"math"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/shop"
)

// Arithmetic on the bead formula (w-h)h + πh²/4. The second is a published
// worked example of a flow ceiling: a 0.6 x 0.3 mm bead at 100 mm/s is
// 16.07 mm³/s.
func TestBead(t *testing.T) {
	within(t, "0.45 x 0.20", bead{0.45, 0.20}.area(), 0.08142, 1e-4)
	within(t, "0.6 x 0.3 at 100 mm/s", 100*bead{0.6, 0.3}.area(), 16.07, 1e-3)
	for _, b := range []bead{{0.45, 0.2}, {0.6, 0.3}, {0.4, 0.4}} {
		within(t, "spacing x height", b.spacing()*b.height, b.area(), 1e-12)
	}
	// 1.75 mm filament: 0.03385 mm of it for each mm of the first bead.
	within(t, "filament per mm", bead{0.45, 0.20}.area()/(math.Pi*1.75*1.75/4), 0.03385, 1e-3)
}

// Motion with constant acceleration, from mechanics.
func TestMoveTime(t *testing.T) {
	for _, c := range []struct{ l, v, a, want float64 }{
		{0, 100, 1000, 0},
		{10, 100, 1000, 0.2},            // just reaches 100 mm/s: v²/a = 10 mm
		{100, 100, 1000, 1.1},           // 1 s + 0.1 s
		{2.5, 100, 1000, 0.1},           // triangle: 2 √(2.5/1000)
		{50, 100, 0, 0.5},               // no acceleration given
		{1e-6, 200, 5000, 2.828427e-05}, // tiny
	} {
		within(t, "move", moveTime(c.l, c.v, c.a), c.want, 1e-6)
	}
}

func TestLoopTime(t *testing.T) {
	square := geom.Polygon{{}, {X: 50}, {X: 50, Y: 50}, {Y: 50}}
	within(t, "square, four stops", loopTime(square, 100, 1000), 4*(0.5+0.1), 1e-12)
	split := geom.Polygon{{}, {X: 20}, {X: 50}, {X: 50, Y: 50}, {X: 25, Y: 50}, {Y: 50}}
	within(t, "points in straight sides change nothing", loopTime(split, 100, 1000), loopTime(square, 100, 1000), 1e-12)
	circle := func(r float64, n int) (p geom.Polygon) {
		for i := range n {
			p = append(p, geom.V2(r, 0).Rotate(float64(i)/float64(n)*2*math.Pi))
		}
		return p
	}
	// A large circle is one move; on a small one v²/r = a limits the speed.
	within(t, "large circle", loopTime(circle(50, 200), 100, 2000), 2*math.Pi*50/100+100./2000, 1e-3)
	v := math.Sqrt(2000 * 2.)
	within(t, "small circle", loopTime(circle(2, 64), 100, 2000), 2*math.Pi*2/v+v/2000, 1e-2)
}

func TestFlowCeiling(t *testing.T) {
	p, f := fast(), abs()
	b := bead{0.45, 0.28}
	m := newMachine(p, f)
	within(t, "printer's limit", m.speed(300, b, false), 20/b.area(), 1e-12)
	f.MaxFlow = 10
	within(t, "filament's limit", newMachine(p, f).speed(300, b, false), 10/b.area(), 1e-12)
	within(t, "below the limit", newMachine(p, f).speed(60, b, false), 60, 1e-12)
	within(t, "first layer", newMachine(p, f).speed(60, b, true), 50, 1e-12)
	f.MaxFlow = 30
	within(t, "the lesser counts", newMachine(p, f).speed(300, b, false), 20/b.area(), 1e-12)
}

func TestLayerCount(t *testing.T) {
	m := machine{Profile: shop.Profile{FirstLayer: 0.3, Layer: 0.2}}
	for _, c := range []struct {
		height float64
		want   int
	}{{0.1, 1}, {0.3, 1}, {0.39, 1}, {0.41, 2}, {0.5, 2}, {0.7, 3}, {20.3, 101}} {
		if got := m.layers(c.height); got != c.want {
			t.Errorf("%g mm: %d layers, want %d", c.height, got, c.want)
		}
		if k := c.want - 1; k > 0 && (m.middle(k) >= c.height || m.middle(k+1) < c.height-1e-9) {
			t.Errorf("%g mm: middles %g, %g", c.height, m.middle(k), m.middle(k+1))
		}
	}
}
