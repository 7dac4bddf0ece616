package guillotine

import (
	"context"
	"fmt"
	"testing"

	"pgregory.net/rapid"
)

func at(x, y, w, h int64) Rect { return Rect{[2]int64{x, y}, Size{w, h}} }

func TestCuttable(t *testing.T) {
	for _, c := range []struct {
		name  string
		rects []Rect
		kerf  int64
		want  bool
	}{
		{"none", nil, 0, true},
		{"in the middle", []Rect{at(3, 3, 4, 4)}, 1, true},
		{"the whole sheet", []Rect{at(0, 0, 10, 10)}, 2, true},
		{"beyond it", []Rect{at(5, 5, 6, 2)}, 0, false},
		{"side by side", []Rect{at(0, 0, 5, 10), at(5, 0, 5, 10)}, 0, true},
		{"side by side without the kerf", []Rect{at(0, 0, 5, 10), at(5, 0, 5, 10)}, 1, false},
		{"over one another", []Rect{at(0, 0, 5, 10), at(4, 0, 5, 10)}, 0, false},
		{"the kerf runs off the edge", []Rect{at(0, 0, 9, 10)}, 3, true},
		{"no room for the kerf before it", []Rect{at(1, 0, 9, 10)}, 3, false},
		{"a whirl of four", []Rect{at(0, 0, 6, 4), at(6, 0, 4, 6), at(4, 6, 6, 4), at(0, 4, 4, 6)}, 0, false},
		{"three of the whirl", []Rect{at(0, 0, 6, 4), at(6, 0, 4, 6), at(4, 6, 6, 4)}, 0, true},
	} {
		if got := Cuttable(Size{10, 10}, c.rects, c.kerf); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// Held items lie where they are held, on reserved areas too; the others are cut
// round them and clear of those.
func TestPackHeld(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const w, h = 100, 80
		o := Options{Kerf: rapid.Int64Range(0, 3).Draw(t, "kerf"), Iterations: 40, Least: Size{5, 5}}
		var rects []Rect
		for range rapid.IntRange(0, 6).Draw(t, "held") {
			r := at(rapid.Int64Range(0, 60).Draw(t, "x"), rapid.Int64Range(0, 60).Draw(t, "y"), rapid.Int64Range(1, 40).Draw(t, "w"), rapid.Int64Range(1, 40).Draw(t, "h"))
			if Cuttable(Size{w, h}, append(rects[:len(rects):len(rects)], r), o.Kerf) {
				rects = append(rects, r)
			}
		}
		var items []Item
		for i, r := range rects {
			items = append(items, Item{ID: fmt.Sprint("held ", i), Size: r.Size, Held: &Held{"s", r.At}})
		}
		side := rapid.Int64Range(1, 40)
		for i := range rapid.IntRange(0, 8).Draw(t, "items") {
			items = append(items, Item{ID: fmt.Sprint(i), Size: Size{side.Draw(t, "w"), side.Draw(t, "h")}})
		}
		stock := []Stock{
			{ID: "s", Size: Size{w, h}, Cost: w * h, Rate: 0.8},
			{ID: "t", Size: Size{w, h}, Cost: w * h, Rate: 0.8, Quantity: Unlimited},
		}
		for range rapid.IntRange(0, 3).Draw(t, "knots") {
			stock[0].Reserved = append(stock[0].Reserved, at(rapid.Int64Range(-5, 99).Draw(t, "x"), rapid.Int64Range(-5, 79).Draw(t, "y"), side.Draw(t, "w"), side.Draw(t, "h")))
		}
		l, err := Pack(context.Background(), items, stock, o)
		if err != nil {
			t.Fatal(err)
		}
		if err := VerifyLayout(l, items, stock, o); err != nil {
			t.Fatal(err)
		}
		if len(l.Unplaced) > 0 {
			t.Fatalf("left out: %v", l.Unplaced)
		}
		l.Cuts()
		for i := range rects { // and the judge sees when they do not
			was := *items[i].Held
			items[i].Held = &Held{"s", [2]int64{was.At[0] + 1, was.At[1]}}
			if VerifyLayout(l, items, stock, o) == nil {
				t.Fatal("a held item elsewhere is not found")
			}
			items[i].Held = &was
		}
	})
}

func TestPackHeldRefuses(t *testing.T) {
	one := []Stock{{ID: "s", Size: Size{10, 10}}}
	many := []Stock{{ID: "s", Size: Size{10, 10}, Quantity: Unlimited}}
	a := Item{ID: "a", Size: Size{4, 4}, Held: &Held{"s", [2]int64{1, 1}}}
	b := a
	b.ID = "b"
	twice := a
	twice.Quantity = 2
	for name, c := range map[string]struct {
		items []Item
		stock []Stock
		o     Options
	}{
		"no such stock":    {[]Item{a}, []Stock{{ID: "t", Size: Size{10, 10}}}, Options{}},
		"many of it":       {[]Item{a}, many, Options{}},
		"twice":            {[]Item{twice}, one, Options{}},
		"in one place":     {[]Item{a, b}, one, Options{}},
		"with two stages":  {[]Item{a}, one, Options{Stages: 2}},
		"too near an edge": {[]Item{a}, one, Options{Kerf: 2}},
	} {
		if _, err := Pack(context.Background(), c.items, c.stock, c.o); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
	if _, _, err := Strip(context.Background(), []Item{a}, 10, Options{}); err == nil {
		t.Error("held on a strip")
	}
}
