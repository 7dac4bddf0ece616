package pack

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"groundwork/internal/geom"
)

// filled fills a box and judges it.
func filled(t testing.TB, items []Item, b Box, o Options) Layout {
	t.Helper()
	l, err := Fill(items, b, o)
	if err != nil {
		t.Fatal(err)
	}
	if err := Verify(l, items, o); err != nil {
		t.Fatal(err)
	}
	return l
}

func box(x, y, z float64) Box { return Box{Size: geom.V3(x, y, z)} }

func TestFill(t *testing.T) {
	for _, tc := range []struct {
		name  string
		items []Item
		box   Box
		o     Options
		in    int // how many boxes go in, by thinking
	}{
		{"exactly one", []Item{{Size: geom.V3(3, 2, 1)}}, box(1, 2, 3), Options{}, 1},
		{"one that must stand", []Item{{Size: geom.V3(3, 2, 1), Turns: UpX}}, box(3, 2, 1), Options{}, 0},
		{"one a micrometre too long", []Item{{Size: geom.V3(3.001, 2, 1)}}, box(3, 3, 3), Options{}, 0},
		{"a hair too long", []Item{{Size: geom.V3(3.0001, 2, 1)}}, box(3, 3, 3), Options{}, 0},
		{"inches", []Item{{Size: geom.V3(25.4, 25.4, 25.4), Count: 27}}, box(76.2, 76.2, 76.2), Options{Support: 1}, 27},
		{"sevens", []Item{{Size: geom.V3(1.0/7, 1, 1), Count: 8}}, box(1, 1, 1), Options{}, 6}, // rounded up to 0.143
		{"a cube of dominoes", []Item{{Size: geom.V3(2, 1, 1), Count: 32}}, box(4, 4, 4), Options{}, 32},
		{"fragile ones side by side", []Item{{Size: geom.V3(1, 1, 1), Count: 8, Fragile: true}}, box(2, 2, 2), Options{Support: 1}, 4},
		{"two high", []Item{{Size: geom.V3(1, 1, 1), Count: 9, Mass: 10, Bears: 10}}, box(1, 1, 9), Options{Support: 1}, 2},
		{"a light one under", []Item{{Size: geom.V3(2, 2, 1), Mass: 100}, {Size: geom.V3(2, 2, 1), Mass: 1, Bears: 1}}, box(2, 2, 2), Options{Support: 1}, 2},
		{"too heavy", []Item{{Size: geom.V3(1, 1, 1), Count: 8, Mass: 10}}, Box{Size: geom.V3(2, 2, 2), MaxMass: 55}, Options{}, 5},
		// A board on two posts has 2 of 10 supported, and nothing may stand on it.
		{"a bridge", []Item{{Size: geom.V3(1, 10, 9), Count: 2, Turns: UpZ}, {Size: geom.V3(10, 10, 1), Turns: UpZ, Fragile: true}}, box(10, 10, 10), Options{Support: 1}, 2},
		{"a board laid on posts", []Item{{Size: geom.V3(5, 10, 9), Count: 2, Turns: UpZ}, {Size: geom.V3(10, 10, 1), Turns: UpZ, Fragile: true}}, box(10, 10, 10), Options{Support: 1}, 3},
	} {
		l := filled(t, tc.items, tc.box, tc.o)
		if len(l.Placed) != tc.in {
			t.Errorf("%s: %d boxes are in, want %d, after %d steps", tc.name, len(l.Placed), tc.in, l.Steps)
		}
	}
}

// Many boxes: thousands alike, and many kinds.
func TestMany(t *testing.T) {
	l := filled(t, []Item{{Size: geom.V3(1, 1, 1), Count: 8000}}, box(20, 20, 20), Options{Support: 1, Steps: 100})
	if !l.All() {
		t.Errorf("%v are left of a full box", l.Left)
	}
	var items []Item
	for i := range 150 {
		items = append(items, Item{Size: geom.V3(float64(10+i%13), float64(8+i%7), float64(5+i%5)), Count: 1 + i%9})
	}
	if l := filled(t, items, box(100, 90, 90), Options{Steps: 400}); l.Use < 0.85 {
		t.Errorf("%.3f of the box is filled", l.Use)
	}
}

func TestFillRefuses(t *testing.T) {
	nan := math.NaN()
	for _, tc := range []struct {
		items []Item
		box   Box
		o     Options
		want  string
	}{
		{[]Item{{Size: geom.V3(1, 1, 0)}}, box(1, 1, 1), Options{}, "size of item 0"},
		{[]Item{{Size: geom.V3(1, nan, 1)}}, box(1, 1, 1), Options{}, "size of item 0"},
		{[]Item{{Size: geom.V3(1, 1e9, 1)}}, box(1, 1, 1), Options{}, "size of item 0"},
		{[]Item{{Size: geom.V3(1, 1, 1), Count: -1}}, box(1, 1, 1), Options{}, "there are -1"},
		{[]Item{{Size: geom.V3(1, 1, 1), Mass: nan}}, box(1, 1, 1), Options{}, "mass of item 0"},
		{[]Item{{Size: geom.V3(1, 1, 1), Fragile: true}}, box(1, 1, 1), Options{}, "must be supported"},
		{[]Item{{Size: geom.V3(1, 1, 1)}}, box(1, 1, 1), Options{Support: 1.1}, "a support of"},
		{[]Item{{Size: geom.V3(1, 1, 1)}}, box(1, 0, 1), Options{}, "the box"},
		{[]Item{{Size: geom.V3(1, 1, 1), Count: 1e6}}, box(1, 1, 1), Options{}, "more than"},
		{[]Item{{Size: geom.V3(1, 1, 1), Count: 1001}}, box(1, 1, 1), Options{Support: 0.5}, "more than"},
	} {
		if _, err := Fill(tc.items, tc.box, tc.o); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%v: %v, want %q", tc.items, err, tc.want)
		}
	}
}

// Verify must find what is wrong: a sound layout is spoilt in every way.
func TestVerifyFinds(t *testing.T) {
	items := []Item{
		{ID: "a", Size: geom.V3(2, 2, 1), Mass: 10, Turns: UpZ, Bears: 15},
		{ID: "b", Size: geom.V3(2, 2, 1), Mass: 10, Turns: UpZ},
	}
	sound := func() Layout {
		return Layout{Box: Box{Size: geom.V3(4, 2, 3), MaxMass: 25}, Left: []int{0, 0}, Placed: []Placed{
			{Item: 0, Size: geom.V3(2, 2, 1)},
			{Item: 1, Size: geom.V3(2, 2, 1), At: geom.V3(1, 0, 1)},
		}}
	}
	o := Options{Support: 0.5}
	if err := Verify(sound(), items, o); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		want  string
		spoil func(l *Layout, items []Item, o *Options)
	}{
		{"in one another", func(l *Layout, _ []Item, _ *Options) { l.Placed[1].At = geom.V3(1.999, 0, 0) }},
		{"reaches from", func(l *Layout, _ []Item, _ *Options) { l.Placed[1].At = geom.V3(2.001, 0, 0) }},
		{"reaches from", func(l *Layout, _ []Item, _ *Options) { l.Placed[0].At = geom.V3(-0.001, 0, 0) }},
		{"must not be turned", func(l *Layout, _ []Item, _ *Options) { l.Placed[0].Turn = 2 }},
		{"µm long", func(l *Layout, _ []Item, _ *Options) { l.Placed[0].Size.X = 1.999 }},
		{"whole number", func(l *Layout, _ []Item, _ *Options) { l.Placed[1].At.X = 1.00049 }},
		{"of its base", func(_ *Layout, _ []Item, o *Options) { o.Support = 0.51 }},
		{"of its base", func(l *Layout, _ []Item, _ *Options) { l.Placed[1].At.Z = 1.5 }},
		{"bears 9 g", func(_ *Layout, it []Item, _ *Options) { it[0].Bears = 9 }},
		{"bears nothing", func(_ *Layout, it []Item, _ *Options) { it[0].Fragile = true; it[1].Mass = 0 }},
		{"a box for 19 g", func(l *Layout, _ []Item, _ *Options) { l.Box.MaxMass = 19 }},
		{"packed and", func(l *Layout, _ []Item, _ *Options) { l.Placed = l.Placed[:1] }},
		{"packed and", func(l *Layout, _ []Item, _ *Options) { l.Left[0] = 1 }},
		{"which there is not", func(l *Layout, _ []Item, _ *Options) { l.Placed[0].Item = 2 }},
		{"is told of", func(l *Layout, _ []Item, _ *Options) { l.Left = nil }},
	} {
		l, it, p := sound(), append([]Item(nil), items...), o
		tc.spoil(&l, it, &p)
		if err := Verify(l, it, p); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%v, want %q", err, tc.want)
		}
	}
}

// anyItems are up to seven kinds of boxes.
func anyItems(t *rapid.T, loads bool) []Item {
	var items []Item
	for i := range rapid.IntRange(1, 7).Draw(t, "kinds") {
		side := rapid.OneOf(rapid.Float64Range(0.5, 60), rapid.Map(rapid.IntRange(1, 60), func(n int) float64 { return float64(n) }))
		it := Item{
			ID: fmt.Sprint(i), Size: geom.V3(side.Draw(t, "x"), side.Draw(t, "y"), side.Draw(t, "z")),
			Count: rapid.IntRange(0, 12).Draw(t, "count"), Mass: rapid.Float64Range(0, 500).Draw(t, "mass"),
			Turns: rapid.SampledFrom([]Turns{0, UpZ, UpX, UpY, UpX | UpZ}).Draw(t, "turns"),
		}
		if loads {
			it.Fragile = rapid.Bool().Draw(t, "fragile")
			it.Bears = rapid.SampledFrom([]float64{0, 100, 1000}).Draw(t, "bears")
		}
		items = append(items, it)
	}
	return items
}

func TestFillIsSound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := Options{Support: rapid.SampledFrom([]float64{0, 0.4, 0.75, 1}).Draw(t, "support"), Steps: 150}
		items := anyItems(t, o.Support > 0 && rapid.Bool().Draw(t, "loads"))
		side := rapid.Float64Range(20, 150)
		b := box(side.Draw(t, "X"), side.Draw(t, "Y"), side.Draw(t, "Z"))
		b.MaxMass = rapid.SampledFrom([]float64{0, 2000}).Draw(t, "most")
		l, err := Fill(items, b, o)
		if err != nil {
			t.Fatal(err)
		}
		if err := Verify(l, items, o); err != nil {
			t.Fatal(err)
		}
		again, _ := Fill(items, b, o)
		if d := cmp.Diff(l, again); d != "" {
			t.Fatalf("another layout the second time: %s", d)
		}
	})
}

func TestSmallestIsSound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := Options{Support: rapid.SampledFrom([]float64{0.5, 1}).Draw(t, "support"), Steps: 400}
		items := anyItems(t, rapid.Bool().Draw(t, "loads"))
		lim := Limits{Wall: rapid.SampledFrom([]float64{0, 4}).Draw(t, "wall"), Size: geom.V3(300, 300, 300), Girthed: rapid.SampledFrom([]float64{0, 900}).Draw(t, "girth")}
		l, ok, err := Smallest(items, lim, o)
		if err != nil {
			t.Fatal(err)
		}
		if !ok {
			return
		}
		if err := Verify(l, items, o); err != nil {
			t.Fatal(err)
		}
		if !l.All() || !lim.Within(lim.outside(l.Box.Size)) {
			t.Fatalf("%v is left of %v, and the box is %v", l.Left, items, l.Box.Size)
		}
	})
}

func TestSmallest(t *testing.T) {
	for _, tc := range []struct {
		name  string
		items []Item
		lim   Limits
		want  float64 // volume inside, by thinking; 0 if there is none
	}{
		{"one", []Item{{Size: geom.V3(30, 20, 10)}}, Limits{}, 6000},
		{"eight cubes", []Item{{Size: geom.V3(10, 10, 10), Count: 8}}, Limits{}, 8000},
		{"eight cubes in a row no longer than 25", []Item{{Size: geom.V3(10, 10, 10), Count: 8}}, Limits{Size: geom.V3(25, 0, 0)}, 8000},
		{"as flat as can be", []Item{{Size: geom.V3(10, 10, 10), Count: 8}}, Limits{Height: 19}, 8000},
		{"too long", []Item{{Size: geom.V3(100, 10, 10)}}, Limits{Size: geom.V3(99, 0, 0)}, 0},
		{"too much round it", []Item{{Size: geom.V3(100, 10, 10)}}, Limits{Girthed: 139}, 0},
		{"just", []Item{{Size: geom.V3(100, 10, 10)}}, Limits{Girthed: 140}, 10000},
		{"not for its wall", []Item{{Size: geom.V3(100, 10, 10)}}, Limits{Girthed: 140, Wall: 1}, 0},
		{"too heavy", []Item{{Size: geom.V3(100, 10, 10), Mass: 2}}, Limits{MaxMass: 1}, 0},
		// A cube has the least wall round it.
		{"a thick wall", []Item{{Size: geom.V3(10, 10, 10), Count: 8}}, Limits{Wall: 5}, 8000},
	} {
		o := Options{Support: 1}
		l, ok, err := Smallest(tc.items, tc.lim, o)
		if err != nil {
			t.Fatal(err)
		}
		if ok != (tc.want > 0) {
			t.Errorf("%s: found %v", tc.name, ok)
			continue
		}
		if !ok {
			continue
		}
		if err := Verify(l, tc.items, o); err != nil {
			t.Error(err)
		}
		s := l.Box.Size
		if v := s.X * s.Y * s.Z; math.Abs(v-tc.want) > 1e-6*tc.want {
			t.Errorf("%s: %v is %v, want %v", tc.name, s, v, tc.want)
		}
		if tc.name == "a thick wall" && s != geom.V3(20, 20, 20) {
			t.Errorf("%v is no cube", s)
		}
	}
}

func TestChoose(t *testing.T) {
	items := []Item{{Size: geom.V3(10, 10, 10), Count: 8}}
	boxes := []Box{box(100, 100, 100), box(20, 20, 19), box(20, 20, 21), box(41, 20, 10)}
	l, ok, err := Choose(items, boxes, Options{Support: 1})
	if err != nil || !ok || l.Box != boxes[3] {
		t.Errorf("%v %v %v, want %v", l.Box, ok, err, boxes[3])
	}
	if _, ok, err := Choose(items, boxes[1:2], Options{}); ok || err != nil {
		t.Errorf("%v %v: eight are in a box for four", ok, err)
	}
}
