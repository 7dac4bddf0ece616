package nest

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"groundwork/internal/geom"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// placementOf is where a copy lies.
func placementOf(t failer, l *Layout, item string, copy int) Placement {
	for _, p := range l.Placements {
		if p.Item == item && p.Copy == copy {
			return p
		}
	}
	t.Fatalf("%s/%d is not placed", item, copy)
	return Placement{}
}

func TestPackBand(t *testing.T) {
	// A bar of 100 x 10 turned by 0.1 rad is 100 cos 0.1 + 10 sin 0.1 = 100.50 mm
	// long and 10 cos 0.1 + 100 sin 0.1 = 19.93 mm high: it does not fit level
	// between areas that leave a slanting lane.
	bar := rect(100, 10)
	lane := Bin{ID: "b", Size: v2(110, 24), Reserved: []geom.Polygons{geom4(0, 0, 110, 0, 110, 10), geom4(0, 24, 0, 14, 110, 24)}}
	for _, c := range []struct {
		name string
		band float64
		want string
	}{
		{"level", 0, "bar:1:too-large "},
		{"a little", 0.02, "bar:1:too-large "},
		{"half the band", 0.18, ""},
		{"the whole band", 0.09, ""},
	} {
		items := []Item{{ID: "bar", Shape: bar, Band: c.band}}
		l := mustPack(t, items, []Bin{lane}, Options{})
		if got := unplaced(l); got != c.want {
			t.Errorf("%s: unplaced %q, want %q", c.name, got, c.want)
		}
		if c.want == "" && math.Abs(l.Placements[0].Turn-0.09) > 1e-12 {
			t.Errorf("%s: turned by %g", c.name, l.Placements[0].Turn)
		}
	}
	// Where it fits as given, it is not turned.
	l := mustPack(t, []Item{{ID: "bar", Shape: bar, Band: 0.18}}, []Bin{{ID: "b", Size: v2(110, 24)}}, Options{})
	if l.Placements[0].Turn != 0 {
		t.Errorf("turned by %g", l.Placements[0].Turn)
	}
}

// slip is a set of four leaves side by side, each shifted along the grain.
func slip(quantity int) []Item {
	leaf := func(k int) Item {
		return Item{ID: fmt.Sprint("leaf", k), Shape: rect(60, 20), Set: "slip", Offset: v2(5*float64(k), 0), Quantity: quantity, Turns: []float64{0, math.Pi}}
	}
	return Row(2, leaf(0), leaf(1), leaf(2), leaf(3))
}

func TestPackSets(t *testing.T) {
	items := slip(3)
	if y := items[3].Offset.Y; y != 66 {
		t.Errorf("fourth leaf at %g, want 3 x (20 + 2)", y)
	}
	// 75 x 86 each: two fit on a blank, in whichever direction it lies
	for _, size := range []vec{v2(160, 100), v2(80, 180)} {
		bins := []Bin{{ID: "b", Size: size, Quantity: Unlimited}}
		l := mustPack(t, items, bins, Options{Gap: 2, Iterations: 20})
		if len(l.Unplaced) > 0 || len(l.Bins) != 2 || l.Bins[0].Items != 8 {
			t.Errorf("%v: bins %v, %v", size, l.Bins, l.Findings())
		}
		for c := range 3 {
			a := placementOf(t, l, "leaf0", c)
			for k := 1; k < 4; k++ {
				b := placementOf(t, l, fmt.Sprint("leaf", k), c)
				if d := b.At.Sub(a.At).Rotate(-a.Turn).Sub(v2(5*float64(k), 22*float64(k))); d.Len() > 1e-9 || a.Bin != b.Bin {
					t.Errorf("leaf %d of copy %d is off by %v", k, c, d)
				}
			}
		}
		if l.BestArea != 0 {
			t.Errorf("best area %g with no best", l.BestArea)
		}
	}
	// a set that fits no bin, and one with a leaf that is none
	l := mustPack(t, items, []Bin{{ID: "b", Size: v2(74, 200)}}, Options{Gap: 2})
	if got := unplaced(l); got != "leaf0:3:too-large leaf1:3:too-large leaf2:3:too-large leaf3:3:too-large " {
		t.Errorf("unplaced %q", got)
	}
	if d := l.Unplaced[0].Detail; !strings.Contains(d, `set "slip"`) {
		t.Errorf("detail %q", d)
	}
	items[2].Shape = geom4(0, 0, 10, 10, 10, 0, 0, 10)
	l, err := Pack(context.Background(), items, []Bin{{ID: "b", Size: v2(200, 200)}}, Options{Gap: 2})
	if err != nil {
		t.Fatal(err)
	}
	if got := unplaced(l); got != "leaf0:3:bad-shape leaf1:3:bad-shape leaf2:3:bad-shape leaf3:3:bad-shape " || !strings.Contains(l.Unplaced[0].Detail, "leaf2") {
		t.Errorf("unplaced %q: %q", got, l.Unplaced[0].Detail)
	}
	if fs := Verify(items, []Bin{{ID: "b", Size: v2(200, 200)}}, l, 2); len(fs) > 0 {
		t.Error(fs)
	}
}

// Something may lie between the items of a set, and in its hollows.
func TestPackSetIsOpen(t *testing.T) {
	items := []Item{
		{ID: "left", Shape: rect(10, 30), Set: "s"},
		{ID: "right", Shape: rect(10, 30), Set: "s", Offset: v2(30, 0)},
		{ID: "between", Shape: rect(20, 30)},
		{ID: "frame", Shape: frame(40, 20), Set: "f"},
		{ID: "core", Shape: rect(5, 5), Set: "f", Offset: v2(17.5, 10)},
		{ID: "beside", Shape: rect(20, 5)},
	}
	l := mustPack(t, items, []Bin{{ID: "b", Size: v2(80, 40)}}, Options{})
	if len(l.Unplaced) > 0 {
		t.Errorf("unplaced %s", unplaced(l))
	}
}

// The priority of a set is the highest of its items'.
func TestPackSetPriority(t *testing.T) {
	items := []Item{
		{ID: "big", Shape: rect(50, 50), Priority: 1},
		{ID: "a", Shape: rect(20, 20), Set: "s"},
		{ID: "b", Shape: rect(20, 20), Set: "s", Offset: v2(0, 20), Priority: 2},
	}
	l := mustPack(t, items, []Bin{{ID: "b", Size: v2(60, 60)}}, Options{})
	if got := unplaced(l); got != "big:1:no-room " {
		t.Errorf("unplaced %q", got)
	}
}

func TestRow(t *testing.T) {
	tri := geom4(0, 0, 40, 0, 20, 20) // sides at 45 degrees
	at := func(x, y float64) vec { return v2(x, y) }
	for _, c := range []struct {
		name string
		gap  float64
		a, b geom.Polygons
		x    float64
		want float64 // of b's offset across
	}{
		{"rectangles touch", 0, rect(10, 7), rect(10, 7), 0, 7},
		{"rectangles at the gap", 3, rect(10, 7), rect(10, 7), 4, 10},
		{"a gap of a micrometre", 0.001, rect(10, 7), rect(10, 7), 4, 7.001},
		{"corner to corner, 3, 4, 5", 5, rect(10, 10), rect(10, 10), 13, 14},
		{"corner to corner, out of the way", 5, rect(10, 10), rect(10, 10), 16, 0},
		// the second triangle is as the first: its level base meets the apex
		{"base on apex", 2, tri, tri, 0, 22},
		// slid by 20, its left corner sinks along the right side, at 2 mm from it:
		// the corner is over abscissa 20, the apex, and the way there is upright
		{"corner over the apex", 2, tri, tri, 20, 22},
		// slid by 30, the side falls at 45 degrees: 10 + 2 √2, rounded up
		{"corner on the slope", 2, tri, tri, 30, 12.829},
		{"a hollow is filled", 1, geom4(0, 0, 30, 0, 30, 20, 20, 20, 20, 5, 10, 5, 10, 20, 0, 20), rect(8, 10), 11, 6},
		{"too wide for the hollow", 1, geom4(0, 0, 30, 0, 30, 20, 20, 20, 20, 5, 10, 5, 10, 20, 0, 20), rect(8.002, 10), 11, 20.064}, // 20 + sqrt(1 - 0.998²), rounded up
	} {
		out := Row(c.gap, Item{ID: "a", Shape: c.a, Set: "s"}, Item{ID: "b", Shape: c.b, Set: "s", Offset: at(c.x, 0)})
		if got := out[1].Offset.Y; math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %g, want %g", c.name, got, c.want)
		}
		if errs := checkSets(out, c.gap); len(errs) > 0 {
			t.Errorf("%s: %v", c.name, errs)
		}
		if out[1].Offset.Y == c.want && c.want > 0 { // and a micrometre less is too near
			out[1].Offset.Y -= 0.001
			if len(checkSets(out, c.gap)) == 0 {
				t.Errorf("%s: a micrometre nearer passes", c.name)
			}
		}
	}
	// an outline that is none stays, and bars nobody
	out := Row(1, Item{Shape: rect(5, 5)}, Item{Shape: geom4(0, 0, 1, 1), Offset: v2(0, 77)}, Item{Shape: rect(5, 5)})
	if out[1].Offset.Y != 77 || out[2].Offset.Y != 6 {
		t.Errorf("offsets %v %v", out[1].Offset, out[2].Offset)
	}
}

// A row of any outlines keeps the gap, and none can move nearer.
func TestRowProperty(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		gap := rapid.SampledFrom([]float64{0, 0.001, 0.1, 0.777, 3}).Draw(rt, "gap")
		var items []Item
		for k := range rapid.IntRange(2, 4).Draw(rt, "items") {
			s := latticePolygon(rt, fmt.Sprint("shape", k))
			if s == nil {
				return
			}
			items = append(items, Item{ID: fmt.Sprint(k), Shape: s, Set: "s", Offset: v2(rapid.Float64Range(-5, 5).Draw(rt, "x"), 0)})
		}
		row := Row(gap, items...)
		if errs := checkSets(row, gap); len(errs) > 0 {
			rt.Fatal(errs)
		}
		for k := 1; k < len(row); k++ {
			if row[k].Offset.Y == 0 {
				continue // nothing below it
			}
			nearer := slices.Clone(row[:k+1])
			nearer[k].Offset.Y -= 0.001
			if len(checkSets(nearer, gap)) == 0 {
				rt.Fatalf("item %d can move nearer than %v", k, row[k].Offset)
			}
		}
	})
}

func TestPackPins(t *testing.T) {
	half := []float64{0, math.Pi}
	items := []Item{
		{ID: "p", Shape: rect(30, 20), Turns: half, Quantity: 3, Pins: []Pin{{Bin: "b", Copy: 2, At: v2(40, 10)}, {Bin: "b", Copy: 0, Turn: math.Pi, At: v2(100, 50)}}},
		{ID: "free", Shape: rect(38, 48), Quantity: 4},
	}
	for _, size := range []vec{v2(102, 52), v2(102, 152)} { // as it lies and, longer upright, exchanged
		bins := []Bin{{ID: "dear", Size: size, Cost: 9e9}, {ID: "b", Size: size, Quantity: 4, Margin: 1}}
		for _, iterations := range []int{-1, 30} {
			l := mustPack(t, items, bins, Options{Gap: 1, Iterations: iterations})
			if len(l.Unplaced) > 0 {
				t.Errorf("unplaced %s", unplaced(l))
			}
			if len(l.Bins) < 2 || l.Bins[0].Copy != 0 || l.Bins[1].Copy != 2 || len(l.Bins) > 2 && l.Bins[2].Copy != 1 {
				t.Errorf("bins %v", l.Bins)
			}
			a, b := placementOf(t, l, "p", 0), placementOf(t, l, "p", 1)
			if a.At != v2(40, 10) || a.Bin != 1 || b.At != v2(100, 50) || b.Turn != math.Pi || b.Bin != 0 {
				t.Errorf("pinned at %v and %v", a, b)
			}
		}
	}
	// Pins alone: the bin is opened and paid for.
	only := []Item{{ID: "p", Shape: rect(30, 20), Pins: []Pin{{Bin: "b", Copy: 3, At: v2(1, 1)}}}}
	l := mustPack(t, only, []Bin{{ID: "b", Size: v2(50, 50), Quantity: Unlimited, Cost: 7}}, Options{})
	if len(l.Bins) != 1 || l.Bins[0].Copy != 3 || l.Cost != 7 || l.Bins[0].Area != 600 || l.Density != 600.0/2500 {
		t.Errorf("bins %v, cost %g", l.Bins, l.Cost)
	}
	// The only copy is taken by pins; what else there is finds no room beside them.
	more := append(only, Item{ID: "q", Shape: rect(50, 30)}, Item{ID: "huge", Shape: rect(60, 30)})
	more[0].Pins[0].Copy = 0
	l = mustPack(t, more, []Bin{{ID: "b", Size: v2(50, 50)}}, Options{})
	if got := unplaced(l); got != "q:1:no-room huge:1:too-large " {
		t.Errorf("unplaced %q", got)
	}
	// An exchange for a cheaper bin leaves the pinned one.
	l = mustPack(t, only, []Bin{{ID: "b", Size: v2(500, 500)}, {ID: "cheap", Size: v2(50, 50), Cost: 1}}, Options{})
	if len(l.Bins) != 1 || l.Bins[0].ID != "b" {
		t.Errorf("bins %v", l.Bins)
	}
}

func TestPackPinnedSet(t *testing.T) {
	items := slip(2)
	for k := range items {
		d := items[k].Offset.Rotate(math.Pi)
		items[k].Pins = []Pin{{Bin: "b", Turn: math.Pi, At: v2(100, 100).Add(d)}}
	}
	l := mustPack(t, items, []Bin{{ID: "b", Size: v2(160, 200)}}, Options{Gap: 2})
	if len(l.Unplaced) > 0 || placementOf(t, l, "leaf1", 0).Turn != math.Pi {
		t.Errorf("unplaced %s", unplaced(l))
	}
	items[1].Pins[0].At.X += 0.001
	if _, err := Pack(context.Background(), items, []Bin{{ID: "b", Size: v2(160, 200)}}, Options{Gap: 2}); err == nil {
		t.Error("pins that tear the set pass")
	}
}

func TestStripPinsAndSets(t *testing.T) {
	items := append(slip(2),
		Item{ID: "p", Shape: rect(10, 10), Pins: []Pin{{Bin: "strip", At: v2(40, 5)}}},
		Item{ID: "far", Shape: rect(10, 10), Pins: []Pin{{Bin: "strip", At: v2(290, 5)}}})
	for _, lines := range []int{0, 2000} {
		l, bin, err := Strip(context.Background(), items, 90, Options{Gap: 2, Iterations: 10, Lines: lines})
		if err != nil {
			t.Fatal(err)
		}
		mustVerify(t, items, []Bin{bin}, l, 2)
		if len(l.Unplaced) > 0 || bin.Size.X != 300 {
			t.Errorf("length %g, unplaced %s", bin.Size.X, unplaced(l))
		}
	}
	l, bin, err := Strip(context.Background(), items[5:], 90, Options{Gap: 2})
	if err != nil {
		t.Fatal(err)
	}
	mustVerify(t, items[5:], []Bin{bin}, l, 2)
	if bin.Size.X != 300 {
		t.Errorf("length %g of a strip with nothing but a pin", bin.Size.X)
	}
}

func TestPackConstraintErrors(t *testing.T) {
	type items = []Item
	sq := rect(10, 10)
	pin := func(p ...Pin) items { return items{{ID: "i", Shape: sq, Pins: p}} }
	set := func(change func(b *Item)) items {
		s := items{{ID: "i", Shape: sq, Set: "s"}, {ID: "j", Shape: sq, Set: "s", Offset: v2(12, 0)}}
		change(&s[1])
		return s
	}
	bins := []Bin{{ID: "b", Size: v2(100, 50), Margin: 5, Quantity: 2, Reserved: []geom.Polygons{geom4(40, 0, 60, 0, 60, 50, 40, 50)}}, {ID: "oak", Kind: "oak", Size: v2(50, 50)}}
	for _, c := range []struct {
		name  string
		items items
		want  []string // in the message
	}{
		{"good pin", pin(Pin{Bin: "b", Copy: 1, At: v2(5, 5)}), nil},
		{"good set", set(func(*Item) {}), nil},
		{"no such bin", pin(Pin{Bin: "x"}), []string{"i/0", `"x"`}},
		{"no such copy", pin(Pin{Bin: "b", Copy: 2}), []string{"i/0", "copy 2"}},
		{"copy below none", pin(Pin{Bin: "b", Copy: -1}), []string{"copy -1"}},
		{"another kind", pin(Pin{Bin: "oak"}), []string{`"oak"`}},
		{"a turn", pin(Pin{Bin: "b", Turn: 1, At: v2(20, 20)}), []string{"turn"}},
		{"in the margin", pin(Pin{Bin: "b", At: v2(4.999, 5)}), []string{"i/0", "reaches"}},
		{"reserved", pin(Pin{Bin: "b", At: v2(28.001, 5)}), []string{"i/0", "reserved"}},
		{"reserved, at the gap", pin(Pin{Bin: "b", At: v2(28, 5)}), nil},
		{"nowhere", pin(Pin{Bin: "b", At: v2(math.NaN(), 5)}), []string{"i/0"}},
		{"more pins than copies", pin(Pin{Bin: "b", At: v2(5, 5)}, Pin{Bin: "b", At: v2(70, 5)}), []string{"2 pins"}},
		{"pins overlap", append(pin(Pin{Bin: "b", At: v2(5, 5)}), Item{ID: "k", Shape: sq, Pins: []Pin{{Bin: "b", At: v2(14, 5)}}}), []string{"i/0", "k/0"}},
		{"pins too close", append(pin(Pin{Bin: "b", At: v2(5, 5)}), Item{ID: "k", Shape: sq, Pins: []Pin{{Bin: "b", At: v2(16.999, 5)}}}), []string{"i/0", "k/0"}},
		{"pins at the gap", append(pin(Pin{Bin: "b", At: v2(5, 5)}), Item{ID: "k", Shape: sq, Pins: []Pin{{Bin: "b", At: v2(17, 5)}}}), nil},
		{"pins on different copies", append(pin(Pin{Bin: "b", At: v2(5, 5)}), Item{ID: "k", Shape: sq, Pins: []Pin{{Bin: "b", Copy: 1, At: v2(5, 5)}}}), nil},
		{"no outline is pinned", items{{ID: "i", Shape: geom4(0, 0, 1, 1), Pins: []Pin{{Bin: "b"}}}}, []string{"i/0", "area"}},
		{"outline crosses at a vertex", items{{ID: "i", Shape: geom4(0, 0, 5, 5, 10, 10, 10, 0, 5, 5, 0, 10), Pins: []Pin{{Bin: "b", At: v2(5, 5)}}}}, []string{"i/0", "crosses"}},
		{"set: turns", set(func(b *Item) { b.Turns = quarters }), []string{`"i" and "j"`, "turns"}},
		{"set: no turns is none", set(func(b *Item) { b.Turns = []float64{0} }), nil},
		{"set: band", set(func(b *Item) { b.Band = 0.1 }), []string{`"i" and "j"`, "band"}},
		{"set: quantity", set(func(b *Item) { b.Quantity = 2 }), []string{`"i" and "j"`, "quantity"}},
		{"set: kind", set(func(b *Item) { b.Kind = "oak" }), []string{`"i" and "j"`, "kind"}},
		{"set: pins", set(func(b *Item) { b.Pins = []Pin{{Bin: "b", At: v2(5, 5)}} }), []string{`"i" and "j"`, "pins"}},
		{"set: overlap", set(func(b *Item) { b.Offset.X = 9 }), []string{`"i"`, "shares area with j"}},
		{"set: too close", set(func(b *Item) { b.Offset.X = 11.999 }), []string{`"i"`, "closer", "j"}},
		{"set: the same place", set(func(b *Item) { b.Offset.X = 0 }), []string{`"i"`, "shares area with j"}},
		{"set: offset", set(func(b *Item) { b.Offset.X = math.Inf(1) }), []string{`"j"`, "offset"}},
		{"band negative", items{{ID: "i", Shape: sq, Band: -1}}, []string{`"i"`, "band"}},
		{"band not a number", items{{ID: "i", Shape: sq, Band: math.NaN()}}, []string{`"i"`, "band"}},
	} {
		l, err := Pack(context.Background(), c.items, bins, Options{Gap: 2})
		if c.want == nil {
			if err != nil {
				t.Errorf("%s: %v", c.name, err)
			} else {
				mustVerify(t, c.items, bins, l, 2)
			}
			continue
		}
		if err == nil {
			t.Errorf("%s: no error", c.name)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %q says nothing of %q", c.name, err, w)
			}
		}
	}
	bad := []Bin{{ID: "b", Size: v2(100, 50), Best: geom4(0, 0, 10, 10, 10, 0, 0, 10)}}
	if _, err := Pack(context.Background(), pin(), bad, Options{}); err == nil || !strings.Contains(err.Error(), "best") {
		t.Errorf("a best region that crosses itself: %v", err)
	}
}

func TestPackBest(t *testing.T) {
	half := func(w, h float64) geom.Polygons { return geom4(w/2, 0, w, 0, w, h, w/2, h) }
	show := Item{ID: "show", Shape: rect(30, 40), Quantity: 2, Priority: 1}
	plain := Item{ID: "plain", Shape: rect(30, 40), Quantity: 2}
	for _, c := range []struct {
		name  string
		items []Item
		bins  []Bin
		gap   float64
		area  float64 // in Best
		open  int
	}{
		{"none named", []Item{show, plain}, []Bin{{ID: "b", Size: v2(120, 40)}}, 0, 0, 1},
		{"the far half", []Item{show, plain}, []Bin{{ID: "b", Size: v2(120, 40), Best: half(120, 40)}}, 0, 2400, 1},
		{"the far half, at the gap", []Item{show, plain}, []Bin{{ID: "b", Size: v2(126, 40), Best: geom4(64, 0, 126, 0, 126, 40, 64, 40)}}, 1.99, 2400, 1},
		{"in the margin, upright", []Item{{ID: "show", Shape: rect(40, 30), Quantity: 2, Priority: 1}, {ID: "plain", Shape: rect(40, 30), Quantity: 2}},
			[]Bin{{ID: "b", Size: v2(50, 136), Margin: 5, Best: geom4(0, 69, 50, 69, 50, 131, 0, 131)}}, 1.99, 2400, 1},
		{"room for one", []Item{show, plain}, []Bin{{ID: "b", Size: v2(120, 40), Best: geom4(61, 0, 120, 0, 120, 40, 61, 40)}}, 0, 1200, 1},
		{"too narrow by 1 µm", []Item{show, plain}, []Bin{{ID: "b", Size: v2(120, 40), Best: geom4(90.001, 0, 120, 0, 120, 40, 90.001, 40)}}, 0, 0, 1},
		{"not at the cost of a bin", []Item{show, plain}, []Bin{{ID: "b", Size: v2(120, 40), Quantity: Unlimited, Best: geom4(45, 0, 75, 0, 75, 40, 45, 40)}}, 0, 0, 1},
		{"every bin its own", []Item{show, {ID: "plain", Shape: rect(30, 40), Quantity: 4}},
			[]Bin{{ID: "b", Size: v2(90, 40), Quantity: Unlimited, Best: geom4(30, 0, 60, 0, 60, 40, 30, 40)}}, 0, 2400, 2},
		{"an island", []Item{{ID: "show", Shape: rect(10, 10), Priority: 3}, plain},
			[]Bin{{ID: "b", Size: v2(120, 40), Best: append(geom4(1, 1, 9, 1, 9, 9, 1, 9), geom4(100, 20, 112, 20, 112, 32, 100, 32)...)}}, 0, 100, 1},
		{"more than the bin", []Item{show, plain}, []Bin{{ID: "b", Size: v2(120, 40), Best: geom4(-50, -50, 500, -50, 500, 500, -50, 500)}}, 0, 2400, 1},
		{"a set", []Item{{ID: "a", Shape: rect(20, 20), Set: "s", Priority: 1}, {ID: "b", Shape: rect(20, 20), Set: "s", Offset: v2(0, 20)}, plain},
			[]Bin{{ID: "b", Size: v2(100, 40), Best: geom4(75, 0, 100, 0, 100, 40, 75, 40)}}, 0, 800, 1},
		{"pinned there", []Item{{ID: "show", Shape: rect(20, 20), Priority: 1, Pins: []Pin{{Bin: "b", At: v2(80, 0)}}}},
			[]Bin{{ID: "b", Size: v2(100, 40), Best: geom4(75, 0, 100, 0, 100, 40, 75, 40)}}, 0, 400, 1},
		{"pinned elsewhere", []Item{{ID: "show", Shape: rect(20, 20), Priority: 1, Pins: []Pin{{Bin: "b", At: v2(74, 0)}}}},
			[]Bin{{ID: "b", Size: v2(100, 40), Best: geom4(75, 0, 100, 0, 100, 40, 75, 40)}}, 0, 0, 1},
	} {
		l := mustPack(t, c.items, c.bins, Options{Gap: c.gap})
		if math.Abs(l.BestArea-c.area) > 1e-9 || len(l.Bins) != c.open || len(l.Unplaced) > 0 {
			t.Errorf("%s: best area %g on %d bins, want %g on %d; %s", c.name, l.BestArea, len(l.Bins), c.area, c.open, unplaced(l))
		}
		if got := bestArea(t, c.items, c.bins, l, 1e-6); math.Abs(got-l.BestArea) > 1e-6 {
			t.Errorf("%s: best area %g by simplefeatures, %g reported", c.name, got, l.BestArea)
		}
	}
}

// bestArea is what Layout.BestArea should be, by simplefeatures: a piece lies
// in Best when no area of it is outside, or no more than slack, mm².
func bestArea(t failer, items []Item, bins []Bin, l *Layout, slack float64) float64 {
	type key struct {
		set  string
		copy int
	}
	areas, out := map[key]float64{}, map[key]bool{}
	high := map[string]int{}
	name := func(it Item) string {
		if it.Set != "" {
			return "set " + it.Set
		}
		return "item " + it.ID
	}
	for _, it := range items {
		high[name(it)] = max(high[name(it)], it.Priority)
	}
	for _, p := range l.Placements {
		it := items[slices.IndexFunc(items, func(it Item) bool { return it.ID == p.Item })]
		b := bins[slices.IndexFunc(bins, func(b Bin) bool { return b.ID == l.Bins[p.Bin].ID })]
		if p.Copy < len(it.Pins) { // pinned ones count each for itself
			if it.Priority > 0 && b.Best != nil && math.Abs(sharedArea(t, p.Place(it.Shape), b.Best)-it.Shape.Area()) < slack {
				areas[key{"pin " + it.ID, p.Copy}] = it.Shape.Area()
			}
			continue
		}
		k := key{name(it), p.Copy}
		areas[k] += it.Shape.Area()
		if high[k.set] < 1 || b.Best == nil || math.Abs(sharedArea(t, p.Place(it.Shape), b.Best)-it.Shape.Area()) > slack {
			out[k] = true
		}
	}
	var sum float64
	for k, a := range areas {
		if !out[k] {
			sum += a
		}
	}
	return sum
}

func TestVerifyConstraints(t *testing.T) {
	items := []Item{
		{ID: "a", Shape: rect(10, 10), Turns: []float64{0, 1}, Band: 0.1, Set: "s", Quantity: 2},
		{ID: "b", Shape: rect(10, 10), Turns: []float64{0, 1}, Band: 0.1, Set: "s", Quantity: 2, Offset: v2(0, 12.3456)},
		{ID: "p", Shape: rect(10, 10), Quantity: 2, Pins: []Pin{{Bin: "bin", Copy: 1, At: v2(70.0004, 30)}}},
	}
	bins := []Bin{{ID: "bin", Size: v2(100, 50), Quantity: 3}}
	turn := 1.05
	round := func(v vec) vec { return v2(math.Round(v.X*1000)/1000, math.Round(v.Y*1000)/1000) }
	good := func() *Layout {
		return &Layout{
			Bins: []BinUse{{ID: "bin", Copy: 1}, {ID: "bin"}},
			Placements: []Placement{
				{Item: "a", At: v2(20, 5)}, {Item: "b", At: v2(20, 17.346)},
				{Item: "a", Copy: 1, At: v2(60, 5), Turn: turn}, {Item: "b", Copy: 1, Turn: turn, At: v2(60, 5).Add(round(items[1].Offset.Rotate(turn)))},
				{Item: "p", At: v2(70, 30)}, {Item: "p", Copy: 1, At: v2(85, 30)},
			},
		}
	}
	for _, c := range []struct {
		name   string
		change func(l *Layout)
		want   string
	}{
		{"good", func(l *Layout) {}, ""},
		{"at the edge of the band", func(l *Layout) {
			l.Placements[0].Turn, l.Placements[1].Turn = 0.1, 0.1
			l.Placements[1].At = v2(20, 5).Add(round(items[1].Offset.Rotate(0.1)))
		}, ""},
		{"beyond the band", func(l *Layout) {
			l.Placements[0].Turn, l.Placements[1].Turn = 0.101, 0.101
			l.Placements[1].At = v2(20, 5).Add(round(items[1].Offset.Rotate(0.101)))
		}, "turn turn"},
		{"torn by 1 µm", func(l *Layout) { l.Placements[1].At.Y += 0.001 }, "set"},
		{"torn by 1 µm when turned", func(l *Layout) { l.Placements[3].At.X += 0.001 }, "set"},
		{"turned otherwise", func(l *Layout) { l.Placements[1].Turn = 0.05 }, "set"},
		{"on another bin", func(l *Layout) { l.Placements[1].Bin = 1 }, "set"},
		{"one missing", func(l *Layout) {
			l.Placements = slices.Delete(l.Placements, 3, 4)
			l.Unplaced = []Unplaced{{Item: "b", Copy: 1, Count: 1}}
		}, "set"},
		{"both missing", func(l *Layout) {
			l.Placements = slices.Delete(l.Placements, 2, 4)
			l.Unplaced = []Unplaced{{Item: "a", Copy: 1, Count: 1}, {Item: "b", Copy: 1, Count: 1}}
		}, ""},
		{"pin moved by 1 µm", func(l *Layout) { l.Placements[4].At.X += 0.001 }, "pin"},
		{"pin on another copy", func(l *Layout) { l.Placements[4].Bin = 1 }, "pin"},
		{"pins exchanged", func(l *Layout) { l.Placements[4].Copy, l.Placements[5].Copy = 1, 0 }, "pin"},
		{"bins exchanged", func(l *Layout) { l.Bins[0].Copy, l.Bins[1].Copy = 0, 1 }, "pin"},
		{"pin missing", func(l *Layout) {
			l.Placements = slices.Delete(l.Placements, 4, 5)
			l.Unplaced = []Unplaced{{Item: "p", Count: 1}}
		}, "pin"},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := good()
			c.change(l)
			if got := strings.TrimSpace(codes(Verify(items, bins, l, 2))); got != c.want {
				t.Errorf("got %q, want %q: %v", got, c.want, Verify(items, bins, l, 2))
			}
		})
	}
	// Items of one copy that are torn are held to the gap again, and so are
	// those of different copies.
	l := good()
	l.Placements[1].At.Y = 15
	if got := codes(Verify(items, bins, l, 2)); got != "gap set " {
		t.Errorf("torn and near: %q", got)
	}
	l = good()
	for k := range 2 {
		l.Placements[2+k].At, l.Placements[2+k].Turn = l.Placements[k].At.Add(v2(11, 0)), 0
	}
	if got := codes(Verify(items, bins, l, 2)); got != "gap gap " {
		t.Errorf("copies near: %q", got)
	}
}

// constrained draws a request with every constraint in it, whose pins are
// taken from a layout of it without pins.
func constrained(rt *rapid.T) (items []Item, bins []Bin, o Options) {
	o = Options{Gap: rapid.SampledFrom([]float64{0, 0.1, 0.777, 3}).Draw(rt, "gap"), Iterations: 10, Seed: 1, Lines: rapid.SampledFrom([]int{0, 0, 300}).Draw(rt, "lines")}
	for g := range rapid.IntRange(1, 4).Draw(rt, "groups") {
		form := Item{
			Quantity: rapid.IntRange(0, 3).Draw(rt, "quantity"),
			Turns:    rapid.SampledFrom([][]float64{nil, {0, math.Pi}, quarters, {0.3}}).Draw(rt, "turns"),
			Band:     rapid.SampledFrom([]float64{0, 0, 0.05, 0.4}).Draw(rt, "band"),
			Kind:     rapid.SampledFrom([]string{"", "", "oak"}).Draw(rt, "kind"),
		}
		n := rapid.IntRange(1, 3).Draw(rt, "members")
		if n > 1 {
			form.Set = fmt.Sprint("set", g)
		}
		var group []Item
		for k := range n {
			it := form
			it.ID = fmt.Sprintf("%d.%d", g, k)
			it.Shape = latticePolygon(rt, it.ID)
			it.Priority = rapid.IntRange(0, 2).Draw(rt, "priority")
			it.Offset = v2(rapid.Float64Range(-4, 4).Draw(rt, "x"), 0)
			if it.Shape != nil {
				group = append(group, it)
			}
		}
		items = append(items, Row(o.Gap, group...)...)
	}
	for k, kind := range []string{"", "oak", ""} {
		b := Bin{
			ID:       fmt.Sprint("bin", k),
			Size:     v2(rapid.Float64Range(8, 30).Draw(rt, "w"), rapid.Float64Range(8, 30).Draw(rt, "h")),
			Margin:   rapid.SampledFrom([]float64{0, 0.5}).Draw(rt, "margin"),
			Quantity: rapid.SampledFrom([]int{1, 2, Unlimited}).Draw(rt, "bins"),
			Kind:     kind,
		}
		if r := latticePolygon(rt, "reserved"); r != nil && rapid.Bool().Draw(rt, "reserve") {
			b.Reserved = []geom.Polygons{r}
		}
		if rapid.Bool().Draw(rt, "figure") {
			if b.Best = latticePolygon(rt, "best"); rapid.Bool().Draw(rt, "simple") {
				b.Best = rect(b.Size.X/2, b.Size.Y)
			}
		}
		bins = append(bins, b)
	}
	free, err := Pack(context.Background(), items, bins, Options{Gap: o.Gap, Iterations: -1})
	if err != nil {
		rt.Fatal(err)
	}
	pinned := map[string]bool{} // sets and items
	for i := range items {
		it := &items[i]
		name := it.ID
		if it.Set != "" {
			name = it.Set
		}
		if _, known := pinned[name]; !known {
			pinned[name] = rapid.IntRange(0, 3).Draw(rt, "pin") == 0
		}
		if !pinned[name] {
			continue
		}
		for c := range it.copies() - 1 + it.copies()%2 {
			for _, p := range free.Placements {
				if p.Item == it.ID && p.Copy == c {
					it.Pins = append(it.Pins, Pin{Bin: free.Bins[p.Bin].ID, Copy: free.Bins[p.Bin].Copy, Turn: p.Turn, At: p.At})
				}
			}
		}
	}
	return items, bins, o
}

// Any request with all constraints mixed gives a layout that verifies, the same
// one when repeated, and one that verifies when it is interrupted anywhere.
func TestConstraintsProperty(t *testing.T) {
	pins, sets, banded, figured := 0, 0, 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		items, bins, o := constrained(rt)
		l, err := Pack(context.Background(), items, bins, o)
		if err != nil {
			rt.Fatal(err)
		}
		if fs := Verify(items, bins, l, o.Gap); len(fs) > 0 {
			rt.Fatalf("%v", fs)
		}
		again, _ := Pack(context.Background(), items, bins, o)
		if d := cmp.Diff(l, again); d != "" {
			rt.Fatal(d)
		}
		for _, p := range l.Placements {
			it := items[slices.IndexFunc(items, func(it Item) bool { return it.ID == p.Item })]
			pins += min(1, max(0, len(it.Pins)-p.Copy))
			sets += min(1, len(it.Set))
			if !slices.Contains(it.turns(), p.Turn) {
				banded++
			}
		}
		figured += min(1, int(l.BestArea))
		// 1.42 µm of relative rounding along at most 60 mm of boundary
		if most := bestArea(rt, items, bins, l, 0.09); l.BestArea > most+0.09*float64(len(l.Placements)) {
			rt.Fatalf("best area %g, %g by simplefeatures", l.BestArea, most)
		}
		for _, after := range []int{0, rapid.IntRange(1, 60).Draw(rt, "after")} {
			ctx := &mortal{Context: context.Background()}
			ctx.left.Store(int64(after))
			l, err := Pack(ctx, items, bins, o)
			if err != nil {
				rt.Fatal(err)
			}
			if fs := Verify(items, bins, l, o.Gap); len(fs) > 0 {
				rt.Fatalf("interrupted after %d: %v", after, fs)
			}
			free := false
			for _, it := range items {
				free = free || it.copies() > len(it.Pins)
			}
			if after == 0 && free && !l.Interrupted && !slices.ContainsFunc(l.Unplaced, func(u Unplaced) bool { return u.Reason != Interrupted }) {
				rt.Fatal("not marked as interrupted")
			}
		}
	})
	t.Logf("%d pinned, %d in sets, %d within the band, %d layouts with something in the best region", pins, sets, banded, figured)
	if pins == 0 || sets == 0 || banded == 0 || figured == 0 {
		t.Error("a constraint was never met")
	}
}

// mortal is a context that ends when it has been asked so many times.
type mortal struct {
	context.Context
	left atomic.Int64
}

func (m *mortal) Err() error {
	if m.left.Add(-1) < 0 {
		return context.Canceled
	}
	return nil
}

// The same in a strip, with separation.
func TestStripConstraintsProperty(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		items, _, o := constrained(rt)
		at := 0.0
		for i := range items {
			items[i].Kind = ""
			items[i].Pins = nil
			if items[i].Set == "" && rapid.Bool().Draw(rt, "pin") {
				turn := items[i].turns()[0]
				box := Placement{Turn: turn}.Place(items[i].Shape).Bounds()
				if box.Size().Y < 29 {
					items[i].Pins = []Pin{{Bin: "strip", Turn: turn, At: v2(at-box.Min.X+0.01, -box.Min.Y+0.01)}}
					at += box.Size().X + o.Gap + rapid.Float64Range(0.02, 9).Draw(rt, "between")
				}
			}
		}
		o.Lines = 300
		l, bin, err := Strip(context.Background(), items, 30, o)
		if err != nil {
			rt.Fatal(err)
		}
		if fs := Verify(items, []Bin{bin}, l, o.Gap); len(fs) > 0 {
			rt.Fatalf("%v", fs)
		}
	})
}

// Parts turned within the band for nothing are turned back; those that need it
// stay, and none reaches further along its bin.
func TestStraighten(t *testing.T) {
	items := []Item{{ID: "bar", Shape: rect(60, 10), Band: 0.1, Quantity: 3}, {ID: "disc", Shape: ellipse(9, 9, 40), Quantity: 4}}
	slant := []geom.Polygons{geom4(0, 0, 110, 0, 110, 10), geom4(0, 24, 0, 14, 110, 24)} // as in TestPackBand
	for _, c := range []struct {
		name  string
		bin   Bin
		want  int // bars left askew
		count int
	}{
		{"room", Bin{ID: "b", Size: v2(150, 90)}, 0, 3},
		{"a slanting lane", Bin{ID: "b", Size: v2(110, 24), Reserved: slant}, 1, 1},
	} {
		items[0].Quantity = c.count
		p, l := &problem{}, &Layout{}
		if err := p.take(items, []int{0, 1}, []Bin{c.bin}, "", 0, l); err != nil {
			t.Fatal(err)
		}
		b := &builder{p: p, only: slices.Repeat([]int{-1}, len(p.parts))}
		for i, pt := range p.parts {
			b.order = append(b.order, i)
			if pt.piece == 0 {
				sh := &p.shapes[pt.shape]
				b.only[i] = slices.IndexFunc(sh.forms[0], func(f *form) bool { return math.Abs(f.turn-0.1) < 1e-12 })
			}
		}
		b.reset(0)
		b.run(context.Background())
		var made build
		b.save(&made)
		askew := func() (n int, reach float64) {
			for i, c := range made.choices {
				if c.tray < 0 {
					continue
				}
				sh := &p.shapes[p.parts[made.order[i]].shape]
				reach = max(reach, c.x+sh.forms[p.stocks[c.stock].swap][c.form].w)
				if c.form >= sh.main {
					n++
				}
			}
			return n, reach
		}
		n, before := askew()
		if n != c.count {
			t.Fatalf("%s: %d bars askew to begin with, want %d", c.name, n, c.count)
		}
		p.straighten(&made)
		n, after := askew()
		if n != c.want || after > before {
			t.Errorf("%s: %d bars askew, want %d; reach %g, was %g", c.name, n, c.want, after, before)
		}
		p.report(items, []Bin{c.bin}, &made, l)
		mustVerify(t, items, []Bin{c.bin}, l, 0)
	}
}

// Separation is used where it saves a bin, and what it moves from the best
// region for that is not reported as lying there.
func TestGatherWithBest(t *testing.T) {
	_, items := readInstance(t, "albano")
	for i := range items {
		items[i].Priority = i % 2
	}
	best := geom4(1500, 0, 3500, 0, 3500, 5000, 1500, 5000)
	bins := []Bin{{ID: "bin", Size: v2(5000, 5000), Quantity: Unlimited, Best: best}}
	plain := mustPack(t, items, bins, Options{})
	l := mustPack(t, items, bins, Options{Lines: 400_000})
	t.Logf("%d bins, best area %.3g m²; without separation %d, %.3g m²", len(l.Bins), l.BestArea/1e6, len(plain.Bins), plain.BestArea/1e6)
	if len(l.Bins) >= len(plain.Bins) {
		t.Errorf("%d bins, without separation %d", len(l.Bins), len(plain.Bins))
	}
	for _, l := range []*Layout{plain, l} {
		if got := bestArea(t, items, bins, l, 1e-3); math.Abs(got-l.BestArea) > 1 {
			t.Errorf("best area %g by simplefeatures, %g reported", got, l.BestArea)
		}
	}
	if plain.BestArea == 0 {
		t.Error("nothing in the best region")
	}
}

// Favoured parts laid carelessly claim places where the figure is best, from
// others where they must, and nothing is lost by it.
func TestClaim(t *testing.T) {
	items, bins := veneer()
	for i := range items {
		items[i].Priority = map[string]int{"cheek": 1, "edge": 2}[items[i].ID]
	}
	bins[0].Best = geom4(200, 0, 530, 0, 530, 400, 200, 400)
	const gap = 2
	p, l := &problem{}, &Layout{}
	which := make([]int, len(items))
	for i := range which {
		which[i] = i
	}
	if err := p.take(items, which, bins, "", gap*micron/2+1, l); err != nil {
		t.Fatal(err)
	}
	b := &builder{p: p, only: slices.Repeat([]int{-1}, len(p.parts)), lean: 1}
	for i := range p.parts {
		b.order = append(b.order, len(p.parts)-1-i)
	}
	b.reset(0)
	b.run(context.Background())
	var made build
	b.save(&made)
	before := made.merit
	p.claim(context.Background(), &made)
	b.load(&made, len(made.order))
	after := b.merit()
	t.Logf("best region refused to %.0f mm², before %.0f mm²", after.plain, before.plain)
	if after.plain >= before.plain/2 || after.cost > before.cost || slices.Max(after.left) > 0 {
		t.Errorf("before %+v, after %+v", before, after)
	}
	p.report(items, bins, &made, l)
	mustVerify(t, items, bins, l, gap)
}

// A turn so small that no vertex moves by half a micrometre is none: the rounded
// outline is the same, and with it every judgement. One that moves a vertex is
// another outline, and is judged as that.
func TestTinyTurns(t *testing.T) {
	const none, some = 4e-6, 6e-6 // rad; the far corner is 100 mm away: 0.4 and 0.6 µm
	if sh, _, err := newShape([]Item{{Shape: rect(100, 50), Band: none}}, piece{items: []int{0}}, 0); err != nil || len(sh.forms[0]) != 1 {
		t.Errorf("%d forms, %v", len(sh.forms[0]), err)
	}
	if sh, _, err := newShape([]Item{{Shape: rect(100, 50), Band: some}}, piece{items: []int{0}}, 0); err != nil || len(sh.forms[0]) != 3 {
		t.Errorf("%d forms, %v", len(sh.forms[0]), err)
	}
	items := []Item{{ID: "a", Shape: rect(100, 50), Band: some}, {ID: "b", Shape: rect(100, 50), Band: some}}
	bins := []Bin{{ID: "b", Size: v2(100, 100)}}
	for _, c := range []struct {
		turn float64
		want string
	}{{0, ""}, {none, ""}, {some, "overlap "}} {
		l := &Layout{Bins: []BinUse{{ID: "b"}}, Placements: []Placement{{Item: "a", Turn: c.turn}, {Item: "b", At: v2(0, 50)}}}
		if got := codes(Verify(items, bins, l, 0)); got != c.want {
			t.Errorf("turned by %g: %q, want %q", c.turn, got, c.want)
		}
	}
}
