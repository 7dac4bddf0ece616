package nest

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// lightest is the bin with the least on it, and what share of it is used along its
// longer side: the rest is offcut.
func lightest(l *Layout, bins []Bin) (least BinUse, reach float64) {
	least = l.Bins[0]
	for _, u := range l.Bins {
		if u.Area < least.Area {
			least = u
		}
	}
	for _, b := range bins {
		if b.ID == least.ID {
			reach = least.Extent.Max.X / b.Size.X
			if b.Size.Y > b.Size.X {
				reach = least.Extent.Max.Y / b.Size.Y
			}
		}
	}
	return least, reach
}

// Published outlines on square bins: separation needs fewer bins than the search
// over orders, or at least less of the last one, and two runs are the same.
func TestGatherClassic(t *testing.T) {
	for _, c := range []struct {
		name  string
		side  float64
		fewer bool
	}{
		{"shirts", 20, true}, {"albano", 5000, true}, {"trousers", 79, true}, {"swim", 3000, false},
	} {
		_, items := readInstance(t, c.name)
		bins := []Bin{{ID: "bin", Size: v2(c.side, c.side), Quantity: Unlimited}}
		plain := mustPack(t, items, bins, Options{})
		l := mustPack(t, items, bins, Options{Lines: 200_000})
		was, wasReach := lightest(plain, bins)
		is, reach := lightest(l, bins)
		t.Logf("%-8s %d bins, least filled %.1f %% along %.1f %%; without separation %d, %.1f %% along %.1f %%",
			c.name, len(l.Bins), 100*is.Density, 100*reach, len(plain.Bins), 100*was.Density, 100*wasReach)
		if c.fewer && len(l.Bins) >= len(plain.Bins) {
			t.Errorf("%s: %d bins, without separation %d", c.name, len(l.Bins), len(plain.Bins))
		}
		if !c.fewer && (len(l.Bins) > len(plain.Bins) || is.Density > was.Density-0.05) {
			t.Errorf("%s: %d bins, %.3f of one, without separation %d, %.3f of one", c.name, len(l.Bins), is.Density, len(plain.Bins), was.Density)
		}
		again := mustPack(t, items, bins, Options{Lines: 200_000})
		if fmt.Sprint(l.Placements) != fmt.Sprint(again.Placements) {
			t.Errorf("%s: two runs differ", c.name)
		}
	}
}

// A square cut into four alike pieces by two crooked cuts through its middle
// fits its bin in one way only, and two such squares two bins.
func TestGatherDissected(t *testing.T) {
	// The quarter between the middle of the lower side, moved by 7, and that of the
	// right side: the others are its turns.
	quarter := geom4(0, 0, 57, 0, 50, 50, 0, 43)
	turns := []float64{0, math.Pi / 2, math.Pi, 3 * math.Pi / 2}
	items := []Item{{ID: "quarter", Shape: quarter, Turns: turns, Quantity: 8}}
	bins := []Bin{{ID: "bin", Size: v2(100, 100), Quantity: Unlimited}}
	l := mustPack(t, items, bins, Options{Lines: 200_000})
	if len(l.Bins) != 2 {
		t.Errorf("%d bins, want 2", len(l.Bins))
	}
}

// Two small bins or one large one hold the same: what is cheaper is taken.
func TestGatherExchangesBins(t *testing.T) {
	items := []Item{{ID: "a", Shape: rect(50, 40), Quantity: 4}, {ID: "b", Shape: rect(100, 20), Quantity: 2}}
	small := Bin{ID: "small", Size: v2(100, 60), Quantity: Unlimited, Cost: 10}
	for _, c := range []struct {
		name  string
		large float64
		want  float64
	}{
		{"the large one is dear", 25, 20},
		{"the large one is cheap", 15, 15},
	} {
		large := Bin{ID: "large", Size: v2(100, 120), Quantity: Unlimited, Cost: c.large}
		for _, bins := range [][]Bin{{small, large}, {large, small}} {
			if l := mustPack(t, items, bins, Options{Lines: 100_000}); l.Cost != c.want {
				t.Errorf("%s: bins for %g, want %g", c.name, l.Cost, c.want)
			}
		}
	}
}

// What the search over orders leaves out is squeezed in where there is room, the
// highest priority first.
func TestGatherAdmits(t *testing.T) {
	_, items := readInstance(t, "shirts")
	for i := range items {
		items[i].Priority = i % 3
	}
	bins := []Bin{{ID: "bin", Size: v2(20, 20), Quantity: 6}}
	plain := mustPack(t, items, bins, Options{Iterations: -1})
	l := mustPack(t, items, bins, Options{Iterations: -1, Lines: 200_000})
	left := func(l *Layout) (n int) {
		for _, u := range l.Unplaced {
			n += u.Count
		}
		return n
	}
	t.Logf("left out: %d, without separation %d", left(l), left(plain))
	if left(l) >= left(plain) {
		t.Errorf("%d left out, without separation %d", left(l), left(plain))
	}
}

// Whatever is asked for, separation leaves out no more, costs no more, and what
// it makes can be verified.
func TestGatherNeverWorse(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var items []Item
		n := rapid.IntRange(1, 5).Draw(rt, "items")
		for i := range n {
			w, h := rapid.IntRange(5, 60).Draw(rt, "w"), rapid.IntRange(5, 60).Draw(rt, "h")
			d := rapid.IntRange(0, 4).Draw(rt, "d")
			it := Item{ID: fmt.Sprint(i), Shape: geom4(0, 0, float64(w), 0, float64(w)-float64(w*d)/8, float64(h), 0, float64(h)), Quantity: rapid.IntRange(1, 4).Draw(rt, "n"), Priority: rapid.IntRange(0, 1).Draw(rt, "priority")}
			if rapid.Bool().Draw(rt, "turns") {
				it.Turns = []float64{0, math.Pi / 2, 0.3}
			}
			items = append(items, it)
		}
		var bins []Bin
		for i := range rapid.IntRange(1, 3).Draw(rt, "bins") {
			b := Bin{ID: fmt.Sprint(i), Size: v2(float64(rapid.IntRange(40, 120).Draw(rt, "x")), float64(rapid.IntRange(40, 120).Draw(rt, "y"))), Quantity: rapid.SampledFrom([]int{1, 2, Unlimited}).Draw(rt, "quantity"), Margin: float64(rapid.IntRange(0, 3).Draw(rt, "margin"))}
			if rapid.Bool().Draw(rt, "reserved") {
				b.Reserved = append(b.Reserved, rect(10, 7))
			}
			bins = append(bins, b)
		}
		gap := rapid.SampledFrom([]float64{0, 1.5}).Draw(rt, "gap")
		plain := mustPack(t, items, bins, Options{Gap: gap, Iterations: 20})
		l := mustPack(t, items, bins, Options{Gap: gap, Iterations: 20, Lines: 3000})
		area := func(l *Layout, class int) (sum float64) {
			for _, p := range l.Placements {
				for _, it := range items {
					if it.ID == p.Item && it.Priority == class {
						sum += it.Shape.Area()
					}
				}
			}
			return sum
		}
		for class := range 2 {
			if area(l, class) < area(plain, class)-1e-6 {
				rt.Fatalf("priority %d: %g mm² laid, without separation %g", class, area(l, class), area(plain, class))
			}
		}
		if len(l.Unplaced) == len(plain.Unplaced) && len(l.Placements) == len(plain.Placements) && l.Cost > plain.Cost+1e-9 {
			rt.Fatalf("cost %g, without separation %g", l.Cost, plain.Cost)
		}
	})
}
