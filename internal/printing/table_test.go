package printing

import (
	"context"
	"fmt"
	"testing"

	"groundwork/internal/core"
	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// table is the round table of docs/printing.md, plain solids cut by planes.
func table(t testing.TB) []core.Segment {
	var out []core.Segment
	x, y := geom.PlaneAt(geom.Vec3{}, geom.V3(1, 0, 0)), geom.PlaneAt(geom.Vec3{}, geom.V3(0, 1, 0))
	quarters := func(name string, s solid.Shape) {
		for i, q := range []solid.Shape{s.Below(x, 0).Below(y, 0), s.Above(x, 0).Below(y, 0), s.Above(x, 0).Above(y, 0), s.Below(x, 0).Above(y, 0)} {
			out = append(out, segment(t, fmt.Sprintf("%s.%c", name, 'a'+i), q))
		}
	}
	up := geom.V3(0, 0, 1)
	quarters("top", hole(0, 0, 585, up, 190, 25))
	quarters("ring", solid.Difference(hole(0, 0, 545, up, 150, 40), hole(0, 0, 540, up, 131, 50)))
	for leg := range 3 {
		for part := range 3 {
			b := boxAt(120, -25, float64(part)*195, 19, 50, 195)
			a := geom.V2(1, 0).Rotate(float64(leg) * 2 * 3.14159265358979 / 3)
			f := geom.Frame{X: geom.V3(a.X, a.Y, 0), Y: geom.V3(-a.Y, a.X, 0), Z: up}
			out = append(out, segment(t, fmt.Sprintf("leg-%d.%c", leg+1, 'a'+part), b.At(f)))
		}
	}
	return out
}

// Common practice, no source: such a table takes about 40 hours and a little
// under 2 kg. The printer was fixed before the first run (docs/printing.md).
func TestRoundTableTakesAboutFortyHours(t *testing.T) {
	r := plan(t, testShop(), table(t)...)
	seconds, grams, solidGrams := 0.0, 0.0, 0.0
	for _, l := range r.Loads {
		seconds += l.Seconds
		grams += l.Grams
	}
	alone := 0.0
	for _, p := range r.Prints {
		alone += p.Seconds
		solidGrams += p.Volume * 1.04 / 1000
		t.Logf("%-8s %5.1f g %6.0f s %4d layers, size %.0f, repeats %q", p.Segment, p.Grams, p.Seconds, p.Layers, p.Size, p.Repeats)
	}
	for _, l := range r.Loads {
		t.Logf("%s: %d prints, %.1f h, %.0f g", l.ID, len(l.Items), l.Seconds/3600, l.Grams)
	}
	t.Logf("%d loads, %.1f h (prints one by one %.1f h), %.0f g with waste, solid it would be %.0f g", len(r.Loads), seconds/3600, alone/3600, grams, solidGrams)
	within(t, "hours", seconds/3600, 40, 0.25)
	within(t, "grams", grams, 1950, 0.25)
}

func BenchmarkTable(b *testing.B) {
	segs := table(b)
	s := testShop()
	for b.Loop() {
		if _, err := Plan(context.Background(), kernel, segs, s, func(int) string { return "abs" }, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
