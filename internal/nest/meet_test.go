package nest

import (
	"context"
	"math"
	"testing"

	"groundwork/internal/geom"

	"pgregory.net/rapid"
)

func lay(t testing.TB, ps geom.Polygons, x, y float64) Laid {
	t.Helper()
	l, err := Lay(ps, 0, geom.V2(x, y))
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func box(w, h float64) geom.Polygons {
	return geom.Polygons{{{X: 0, Y: 0}, {X: w, Y: 0}, {X: w, Y: h}, {X: 0, Y: h}}}
}

// Two squares at every corner of what counts, to the micrometre.
func TestMeets(t *testing.T) {
	a := lay(t, box(10, 10), 0, 0)
	for _, c := range []struct {
		x, y, gap float64
		want      Meeting
	}{
		{10, 0, 0, Apart}, {9.999, 0, 0, Overlap}, {12, 0, 2, Apart}, {11.999, 0, 2, Near}, {10, 10, 0, Apart},
		{11, 11, 1.415, Near}, {11, 11, 1.414, Apart}, // the diagonal of a square of 1 is 1.41421
		{0, 0, 0, Overlap}, {100, 100, 5, Apart},
	} {
		b := lay(t, box(10, 10), c.x, c.y)
		if got := a.Meets(b, c.gap); got != c.want || b.Meets(a, c.gap) != got {
			t.Errorf("at (%g, %g), gap %g: %d, want %d", c.x, c.y, c.gap, got, c.want)
		}
	}
	if _, err := Lay(nil, 0, geom.Vec2{}); err == nil {
		t.Error("nothing is laid")
	}
	for _, at := range []geom.Vec2{{X: math.NaN()}, {Y: math.Inf(1)}, {X: 1e9}} {
		if _, err := Lay(box(1, 1), 0, at); err == nil {
			t.Errorf("laid at %v", at)
		}
	}
	if _, err := Lay(box(1, 1), math.NaN(), geom.Vec2{}); err == nil {
		t.Error("laid at no turn")
	}
}

// The way clear is the shortest of the four for boxes, where it has a closed
// form, and stays in the box round them if one of the ways does.
func TestClear(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.IntRange(1, 40)
		w, h, v, u := float64(side.Draw(t, "w")), float64(side.Draw(t, "h")), float64(side.Draw(t, "v")), float64(side.Draw(t, "u"))
		x, y, gap := float64(side.Draw(t, "x"))-20, float64(side.Draw(t, "y"))-20, float64(rapid.IntRange(0, 3).Draw(t, "gap"))
		a, err := Lay(box(w, h), 0, geom.V2(x, y))
		if err != nil {
			t.Fatal(err)
		}
		b, err := Lay(box(v, u), 0, geom.Vec2{})
		if err != nil {
			t.Fatal(err)
		}
		in := geom.Box2{Min: geom.V2(-25.5, -25.5), Max: geom.V2(60.5, 60.5)}
		way := a.Clear(b, gap, in)
		if a.Meets(b, gap) == Apart {
			if way != (geom.Vec2{}) {
				t.Fatalf("way %v from what is clear", way)
			}
			return
		}
		best, kept := math.Inf(1), math.Inf(1)
		for _, d := range []geom.Vec2{{X: -(x + w + gap)}, {X: v + gap - x}, {Y: -(y + h + gap)}, {Y: u + gap - y}} {
			best = min(best, d.Len())
			if p := geom.V2(x, y).Add(d); p.X >= -25.5 && p.Y >= -25.5 && p.X+w <= 60.5 && p.Y+h <= 60.5 {
				kept = min(kept, d.Len())
			}
		}
		if math.IsInf(kept, 1) {
			kept = best
		}
		// Where corners meet, a way a little shorter than the box's will do for the gap.
		if l := way.Len(); l > kept+0.0101 || l < kept-gap-0.01 {
			t.Fatalf("way %v, want one of %g", way, kept)
		}
		moved, err := Lay(box(w, h), 0, geom.V2(x, y).Add(way))
		if err != nil || moved.Meets(b, gap) != Apart {
			t.Fatalf("not clear after %v", way)
		}
	})
}

// An open bin is used before others, and is there even if nothing is laid on it.
func TestOpenBins(t *testing.T) {
	bins := []Bin{
		{ID: "cheap", Size: geom.V2(100, 100), Quantity: Unlimited, Cost: 1},
		{ID: "open", Size: geom.V2(100, 100), Cost: 1000, Open: true, Reserved: []geom.Polygons{box(50, 100)}},
		{ID: "other kind", Size: geom.V2(100, 100), Cost: 1000, Open: true, Kind: "other"},
	}
	for _, c := range []struct {
		items []Item
		on    string // bin of each item
	}{
		{[]Item{{ID: "a", Shape: box(40, 90)}}, "open"},
		{[]Item{{ID: "a", Shape: box(60, 90)}}, "cheap"},
	} {
		for _, lines := range []int{0, 3000} {
			o := Options{Iterations: 5, Gap: 1, Lines: lines}
			told := 0
			o.Better = func(l *Layout) {
				told++
				if vs := Verify(c.items, bins, l, o.Gap); len(vs) > 0 {
					t.Error(vs)
				}
			}
			l, err := Pack(context.Background(), c.items, bins, o)
			if err != nil {
				t.Fatal(err)
			}
			if vs := Verify(c.items, bins, l, o.Gap); len(vs) > 0 {
				t.Error(vs)
			}
			if p := l.Placements[0]; l.Bins[p.Bin].ID != c.on || l.Bins[0].ID != "open" || l.Bins[0].Copy != 0 {
				t.Errorf("%+v in %+v", p, l.Bins)
			}
		}
	}
}

// Layouts told on the way hold and get better, and telling changes nothing.
func TestBetterIsTold(t *testing.T) {
	var items []Item
	for i := range 14 {
		items = append(items, Item{ID: string(rune('a' + i)), Shape: geom.Polygons{{{X: 0, Y: 0}, {X: float64(20 + 3*i), Y: 0}, {X: 10, Y: float64(50 - 2*i)}}}, Turns: []float64{0, math.Pi}})
	}
	bins := []Bin{{ID: "b", Size: geom.V2(100, 90), Quantity: Unlimited, Margin: 2}}
	o := Options{Gap: 1, Iterations: 3, Lines: 20000}
	quiet, err := Pack(context.Background(), items, bins, o)
	if err != nil {
		t.Fatal(err)
	}
	told := 0
	o.Better = func(l *Layout) {
		told++
		if vs := Verify(items, bins, l, o.Gap); len(vs) > 0 {
			t.Error(vs)
		}
	}
	loud, err := Pack(context.Background(), items, bins, o)
	if err != nil {
		t.Fatal(err)
	}
	if told == 0 {
		t.Error("nothing is told")
	}
	if len(quiet.Placements) != len(loud.Placements) {
		t.Fatal("telling changes the layout")
	}
	for i := range quiet.Placements {
		if quiet.Placements[i] != loud.Placements[i] {
			t.Fatal("telling changes the layout")
		}
	}
}
