package nest

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"sync/atomic"
	"testing"

	"groundwork/internal/geom"
)

// This file gives Pack and Strip, with separation, what nobody means to give
// them: whatever it is, the answer verifies or says why a copy is left out, and
// it comes within the budget.

// answered fails unless the layout verifies and says why of every copy that it
// leaves out. Verify itself counts the copies.
func answered(t testing.TB, what string, items []Item, bins []Bin, l *Layout, gap float64) {
	t.Helper()
	for _, f := range Verify(items, bins, l, gap) {
		t.Errorf("%s: %s of %s: %s", what, f.Code, f.Subject, f.Message)
	}
	for _, u := range l.Unplaced {
		if u.Reason == "" || u.Detail == "" || u.Count < 1 {
			t.Errorf("%s: left out without a reason: %+v", what, u)
		}
	}
	if math.IsNaN(l.Density) || l.Density < 0 || l.Density > 1+1e-9 {
		t.Errorf("%s: density %g", what, l.Density)
	}
	for _, p := range l.Placements {
		if math.IsNaN(p.At.X) || math.IsNaN(p.At.Y) {
			t.Errorf("%s: placed nowhere: %+v", what, p)
		}
	}
}

// all lays the items on a strip and on bins, with and without a gap, and fails
// unless exactly the named items are left out.
func all(t *testing.T, items []Item, height float64, gaps []float64, want string) {
	t.Helper()
	bins := []Bin{{ID: "b", Size: v2(height, height), Quantity: 2}, {ID: "c", Size: v2(2*height, height), Margin: height / 50, Quantity: Unlimited}}
	for _, gap := range gaps {
		o := Options{Gap: gap, Iterations: 8, Lines: 1500}
		l, bin, err := Strip(context.Background(), items, height, o)
		if err != nil {
			t.Fatal(err)
		}
		what := fmt.Sprintf("strip, gap %g", gap)
		answered(t, what, items, []Bin{bin}, l, gap)
		if got := unplaced(l); got != want {
			t.Errorf("%s: unplaced %q, want %q", what, got, want)
		}
		l, err = Pack(context.Background(), items, bins, o)
		if err != nil {
			t.Fatal(err)
		}
		what = fmt.Sprintf("bins, gap %g", gap)
		answered(t, what, items, bins, l, gap)
		if got := unplaced(l); got != want {
			t.Errorf("%s: unplaced %q, want %q", what, got, want)
		}
	}
}

// gear is a wheel with teeth: n vertices, every other one reflex.
func gear(r float64, n int) geom.Polygons {
	p := make(geom.Polygon, n)
	for i := range p {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		k := r
		if i%2 == 1 {
			k *= 0.93
		}
		p[i] = geom.V2(k*c, k*s)
	}
	return geom.Polygons{p}
}

// comb has so many narrow teeth that upright lines cut it into n trapezoids and
// level lines hardly at all.
func comb(w, h float64, teeth int) geom.Polygons {
	p := geom.Polygon{v2(w, 0), v2(w, h)}
	step := w / float64(teeth)
	for i := teeth - 1; i >= 0; i-- {
		x := float64(i) * step
		p = append(p, v2(x+step/2, h), v2(x+step/2, h/10), v2(x, h/10), v2(x, h))
	}
	p[len(p)-1].X, p[len(p)-2].X = 0, 0
	return geom.Polygons{append(p, v2(0, 0))}
}

func TestDegenerateShapes(t *testing.T) {
	bad := "x:2:bad-shape "
	at := func(ps geom.Polygons, d vec) geom.Polygons {
		return ps.Map(func(p vec) vec { return p.Add(d) })
	}
	for _, c := range []struct {
		name  string
		shape geom.Polygons
		want  string
	}{
		{"nothing", nil, bad},
		{"empty loops", geom.Polygons{{}, nil}, bad},
		{"a point", geom4(3, 3), bad},
		{"a segment there and back", geom4(0, 0, 9, 3, 0, 0, 9, 3), bad},
		{"collinear", geom4(0, 0, 5, 5, 9, 9, 3, 3, 1, 1), bad},
		{"no area after rounding", geom4(0, 0, 40, 0, 40, 0.0004, 0, 0.0004), bad},
		{"not a number", geom4(0, 0, 20, math.NaN(), 5, 5), bad},
		{"not a number in a hole", append(rect(20, 20), geom4(1, 1, math.NaN(), 1, 2, 2)...), bad},
		{"infinite", geom4(0, 0, math.Inf(-1), 0, 5, 5), bad},
		{"beyond any bin", at(rect(5, 5), v2(2e5, 0)), bad},
		{"figure of eight", geom4(0, 0, 20, 20, 20, 0, 0, 20), bad},
		{"pentagram", geom4(10, 0, 16, 19, 0, 7, 20, 7, 4, 19), bad},
		{"loop run through twice", geom.Polygons{append(rect(20, 20)[0], rect(20, 20)[0]...)}, bad},
		{"the same loop twice", append(rect(20, 20), rect(20, 20)...), bad},
		{"loops that cross", append(rect(20, 20), at(rect(20, 20), v2(7, 7))...), bad},

		{"clockwise", geom.Polygons{rect(20, 10)[0].Reversed()}, ""},
		{"clockwise with a hole turned the same way", append(geom.Polygons{rect(20, 20)[0].Reversed()}, at(rect(5, 5), v2(5, 5))[0].Reversed()), ""},
		{"repeated vertices", geom4(0, 0, 0, 0, 0, 0, 20, 0, 20, 0, 20, 20, 0, 20, 0, 20), ""},
		{"vertices closer than a micrometre", geom4(0, 0, 0.0001, 0, 20, 0, 20.0001, 0.0001, 20, 20, 0, 20), ""},
		{"spikes in and out", geom4(0, 0, 20, 0, 20, 5, 400, 5, 20, 5, 20, 10, 3, 10, 20, 10, 20, 20, 0, 20), ""},
		{"a spike that does not come back the same way", geom4(0, 0, 20, 0, 20, 5, 45, 5.001, 20, 5.002, 20, 20, 0, 20), ""},
		{"vertices along straight sides", geom4(0, 0, 1, 0, 2, 0, 19, 0, 20, 0, 20, 20, 10, 20, 0, 20, 0, 10), ""},
		{"loop of no area beside it", append(rect(20, 20), geom4(30, 30, 45, 45)...), ""},
		{"hole touching a side", append(rect(20, 20), geom4(0, 5, 8, 9, 8, 1)...), ""},
		{"two holes touching at a point", append(rect(20, 20), append(geom4(5, 10, 10, 8, 10, 12), geom4(10, 10, 15, 8, 15, 12)...)...), ""},
		{"islands touching at a point", append(rect(10, 10), at(rect(10, 10), v2(10, 10))...), ""},
		{"an island in a hole", append(frame(30, 20), at(rect(5, 5), v2(12, 12))...), ""},
		{"sliver", geom4(0, 0, 45, 0.001, 22, 0.002), ""},
		{"comb", comb(40, 20, 100), ""},
		{"far from its origin", at(rect(20, 10), v2(-1e5, 1.2e5)), ""},
		{"one square micrometre", rect(0.001, 0.001), ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			items := []Item{{ID: "x", Shape: c.shape, Quantity: 2}, {ID: "y", Shape: rect(20, 20), Quantity: 3}}
			all(t, items, 50, []float64{0, 1}, c.want)
			for i := range items {
				items[i].Turns = []float64{0.1, math.Pi, 4}
			}
			all(t, items, 50, []float64{0.3}, c.want)
		})
	}
}

func TestDegenerateRequests(t *testing.T) {
	square := Item{ID: "s", Shape: rect(10, 10)}
	many := make([]float64, 720)
	for i := range many {
		many[i] = float64(i) * math.Pi / 360
	}
	for _, c := range []struct {
		name   string
		items  []Item
		height float64
		gaps   []float64
		want   string
	}{
		{"no items", nil, 50, []float64{0, 2}, ""},
		{"one item", []Item{square}, 50, []float64{0, 2}, ""},
		{"one item as high as the strip", []Item{{ID: "s", Shape: rect(50, 50)}}, 50, []float64{0}, ""},
		{"quantity 0 is one", []Item{{ID: "s", Shape: rect(10, 10), Quantity: 0}}, 50, []float64{0}, ""},
		{"nothing fits", []Item{{ID: "s", Shape: rect(300, 300), Quantity: 7}}, 50, []float64{0, 2}, "s:7:too-large "},
		{"one of them does not fit", []Item{{ID: "l", Shape: rect(300, 300)}, square}, 50, []float64{0}, "l:1:too-large "},
		{"none is good", []Item{{ID: "s", Shape: geom4(0, 0, 1, 1)}, {ID: "t"}}, 50, []float64{0}, "s:1:bad-shape t:1:bad-shape "},
		{"full to the last micrometre", []Item{{ID: "s", Shape: rect(25, 25), Quantity: 8}}, 50, []float64{0}, ""},
		{"gap larger than the bin", []Item{{ID: "s", Shape: rect(10, 10), Quantity: 3}}, 50, []float64{60, 1e4}, ""},
		{"every half degree", []Item{{ID: "s", Shape: geom4(0, 0, 30, 0, 30, 4, 11, 9), Quantity: 4, Turns: many}}, 50, []float64{0}, ""},
		{"the same turn again and again", []Item{{ID: "s", Shape: rect(20, 10), Quantity: 4, Turns: []float64{0, 0, 2 * math.Pi, math.Pi, -math.Pi}}}, 50, []float64{0, 1}, ""},
		{"turns of many revolutions", []Item{{ID: "s", Shape: rect(20, 10), Quantity: 4, Turns: []float64{1e9, -1e12}}}, 50, []float64{0}, ""},
		{"a thousand vertices", []Item{{ID: "s", Shape: gear(12, 1000), Quantity: 4, Turns: quarters}}, 50, []float64{0, 0.5}, ""},
		{"as large as can be", []Item{{ID: "s", Shape: rect(60_000, 70_000), Quantity: 3}, {ID: "t", Shape: rect(0.01, 0.01), Quantity: 3}}, 130_000, []float64{0, 1}, ""},
		{"as small as can be", []Item{{ID: "s", Shape: rect(0.003, 0.002), Quantity: 5}, {ID: "t", Shape: geom4(0, 0, 0.004, 0, 0, 0.004), Quantity: 3}}, 0.02, []float64{0, 0.001}, ""},
		{"a strip lower than a micrometre", []Item{{ID: "s", Shape: rect(0.001, 0.001), Quantity: 5}}, 0.0004, []float64{0}, "s:5:too-large "},
		{"hair beside beams", []Item{{ID: "s", Shape: rect(49, 0.002), Quantity: 20}, {ID: "t", Shape: rect(45, 30), Quantity: 3}}, 50, []float64{0, 0.001}, ""},
	} {
		t.Run(c.name, func(t *testing.T) { all(t, c.items, c.height, c.gaps, c.want) })
	}
}

// What is long beside the height of its strip must not be looked for a place
// in steps of that height.
func TestDegenerateRibbons(t *testing.T) {
	items := []Item{{ID: "r", Shape: geom4(0, 0, 500, 0, 500, 0.01, 250, 0.003), Quantity: 6, Turns: []float64{0, math.Pi}}}
	o := Options{Iterations: 8, Lines: 1500}
	l, bin, err := Strip(context.Background(), items, 0.01, o)
	if err != nil {
		t.Fatal(err)
	}
	answered(t, "ribbons", items, []Bin{bin}, l, 0)
	if len(l.Unplaced) > 0 {
		t.Errorf("unplaced %s", unplaced(l))
	}
}

// Ten thousand slivers, with separation asked for: no more memory than
// separation of as many parts as it takes on needs.
func TestDegenerateTenThousand(t *testing.T) {
	items := []Item{{ID: "sliver", Shape: geom4(0, 0, 20, 0, 10, 0.5), Turns: []float64{0, math.Pi}, Quantity: 10_000}}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	l, bin, err := Strip(context.Background(), items, 200, Options{Iterations: -1, Lines: 20_000})
	if err != nil {
		t.Fatal(err)
	}
	runtime.ReadMemStats(&after)
	answered(t, "slivers", items, []Bin{bin}, l, 0)
	if len(l.Unplaced) > 0 {
		t.Errorf("unplaced %s", unplaced(l))
	}
	taken := (after.TotalAlloc - before.TotalAlloc) >> 20
	t.Logf("density %.1f %%, %d MiB allocated", 100*l.Density, taken)
	if taken > 600 {
		t.Errorf("%d MiB allocated for 10,000 parts", taken)
	}
}

// Where time is given, it is asked for often enough, and all ends when it is over,
// however many iterations are left.
func TestStripEndsInTime(t *testing.T) {
	in, items := readInstance(t, "jakobs2")
	for _, c := range []struct {
		name  string
		items []Item
		h     float64
	}{
		{"jakobs2", items, in.Height},
		{"cannot be shortened", []Item{{ID: "s", Shape: rect(25, 25), Quantity: 9}}, 75},
		{"hardly ever clear", []Item{{ID: "s", Shape: gear(20, 200), Quantity: 9, Turns: quarters}}, 75},
	} {
		const enough = 40
		var asked atomic.Int64
		l, bin, err := Strip(context.Background(), c.items, c.h, Options{Iterations: 1 << 40, Spent: func() float64 {
			return float64(asked.Add(1)) / enough
		}})
		if err != nil {
			t.Fatal(err)
		}
		answered(t, c.name, c.items, []Bin{bin}, l, 0)
		// Each of two lanes may ask once more, and so may the loop around them.
		if n := asked.Load(); n > enough+8 {
			t.Errorf("%s: asked %d times, though the time was over at %d", c.name, n, enough)
		}
	}
}

// A context that ends leaves the best layout until then, and says so.
func TestSeparationInterrupted(t *testing.T) {
	in, items := readInstance(t, "albano")
	for _, after := range []int{1, 5, 20} {
		ctx, cancel := context.WithCancel(context.Background())
		best, calls := 0.0, 0
		l, bin, err := Strip(ctx, items, in.Height, Options{Iterations: -1, Lines: 1 << 40, Progress: func(_, total int, density float64) {
			best = max(best, density)
			if calls++; calls == after {
				cancel()
			}
		}})
		cancel()
		if err != nil {
			t.Fatal(err)
		}
		answered(t, "interrupted", items, []Bin{bin}, l, 0)
		if !l.Interrupted || len(l.Unplaced) > 0 {
			t.Errorf("after %d: interrupted %v, unplaced %s", after, l.Interrupted, unplaced(l))
		}
		if l.Density < best-1e-9 {
			t.Errorf("after %d: density %g, but %g was reached", after, l.Density, best)
		}
	}
	// Before it began there is nothing, and that is said.
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	l, bin, err := Strip(ctx, items, in.Height, Options{Lines: 1 << 40})
	if err != nil {
		t.Fatal(err)
	}
	answered(t, "interrupted at once", items, []Bin{bin}, l, 0)
	if !l.Interrupted || len(l.Unplaced) == 0 || l.Unplaced[0].Reason != Interrupted {
		t.Errorf("interrupted %v, unplaced %s", l.Interrupted, unplaced(l))
	}
}

// coordinates that fuzzing draws from, beside whole numbers.
var oddities = []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1e300, 1e-300, 134_217.7, -134_217.8, 0.0005, 0.0004999, 0.001, -0.001, 49.9995, 50, 50.0005, 1e5, math.SmallestNonzeroFloat64, math.Copysign(0, -1)}

// oddItems reads items from bytes: 255 ends one, 254 a loop, 253 makes the next
// byte the number of copies, above 200 stands for an oddity; what is less is a
// coordinate in steps of a quarter.
func oddItems(data []byte, turns uint8) []Item {
	var items []Item
	var shape geom.Polygons
	var loop geom.Polygon
	var x float64
	half, quantity := false, 0
	endLoop := func() {
		if len(loop) > 0 {
			shape = append(shape, loop)
		}
		loop, half = nil, false
	}
	endItem := func() {
		endLoop()
		it := Item{ID: fmt.Sprint(len(items)), Shape: shape, Quantity: quantity}
		switch turns % 4 {
		case 1:
			it.Turns = []float64{0, math.Pi}
		case 2:
			it.Turns = []float64{0.1, 1.234, 4}
		case 3:
			it.Turns = quarters
		}
		items = append(items, it)
		shape, quantity = nil, 0
	}
	for i := 0; i < len(data); i++ {
		c := data[i]
		v := float64(c) / 4
		switch {
		case c == 255:
			endItem()
			continue
		case c == 254:
			endLoop()
			continue
		case c == 253:
			if i++; i < len(data) {
				quantity = int(data[i] % 6)
			}
			continue
		case c > 200:
			v = oddities[int(c-201)%len(oddities)]
		}
		if half {
			loop = append(loop, v2(x, v))
		}
		x, half = v, !half
	}
	endItem()
	return items
}

func addOddities(f *testing.F) {
	f.Add([]byte{0, 0, 40, 0, 40, 40, 0, 40, 253, 3, 255, 12, 12, 36, 12, 24, 36}, uint16(0), uint8(0))
	f.Add([]byte{0, 0, 0, 0, 1, 0, 255, 0, 0, 200, 1, 100, 2, 253, 5, 255, 7, 7, 40, 7, 7, 40, 7, 8}, uint16(50), uint8(1))
	f.Add([]byte{0, 0, 60, 0, 60, 60, 0, 60, 254, 20, 20, 20, 40, 40, 40, 40, 20, 253, 2}, uint16(1), uint8(2))
	f.Add([]byte{0, 0, 201, 0, 40, 202, 255, 0, 0, 209, 0, 209, 209, 253, 4, 255, 212, 212, 40, 207, 208, 40}, uint16(9000), uint8(3))
}

// FuzzDegenerateStrip shortens strips of arbitrary outlines.
func FuzzDegenerateStrip(f *testing.F) {
	addOddities(f)
	f.Fuzz(func(t *testing.T, data []byte, gap uint16, turns uint8) {
		if len(data) > 200 {
			return
		}
		items := oddItems(data, turns)
		g := float64(gap) / 100
		l, bin, err := Strip(context.Background(), items, 50, Options{Gap: g, Iterations: 3, Lines: 400, Seed: int64(turns)})
		if err != nil {
			t.Fatal(err)
		}
		answered(t, "strip", items, []Bin{bin}, l, g)
	})
}

// FuzzDegenerateBins lays arbitrary outlines on bins, the first of them, if it
// can be, as a reserved area too.
func FuzzDegenerateBins(f *testing.F) {
	addOddities(f)
	f.Fuzz(func(t *testing.T, data []byte, gap uint16, turns uint8) {
		if len(data) > 200 {
			return
		}
		items := oddItems(data, turns)
		bins := []Bin{{ID: "a", Size: v2(50, 70), Margin: float64(turns) / 8, Quantity: 2}, {ID: "b", Size: v2(50, 50), Quantity: Unlimited}}
		if _, err := outlineOf(items[0].Shape, 0); err == nil {
			bins[0].Reserved = []geom.Polygons{items[0].Shape}
		}
		g := float64(gap) / 100
		l, err := Pack(context.Background(), items, bins, Options{Gap: g, Iterations: 3, Lines: 400, Seed: int64(turns)})
		if err != nil {
			if len(bins[0].Reserved) > 0 { // it may cross itself at a vertex
				return
			}
			t.Fatal(err)
		}
		answered(t, "bins", items, bins, l, g)
	})
}
