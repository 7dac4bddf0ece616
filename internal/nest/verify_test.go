package nest

import (
	"math"
	"strings"
	"testing"

	"groundwork/internal/geom"

	"pgregory.net/rapid"
)

// frame is a square ring: outer side a, hole of side b in its middle.
func frame(a, b float64) geom.Polygons {
	m := (a - b) / 2
	return append(rect(a, a), rect(b, b)[0].Reversed().Map(func(p vec) vec { return p.Add(v2(m, m)) }))
}

// two lays two items on one big bin.
func two(a, b geom.Polygons, at, bt vec) ([]Item, []Bin, *Layout) {
	items := []Item{{ID: "a", Shape: a}, {ID: "b", Shape: b}}
	bins := []Bin{{ID: "bin", Size: v2(1000, 1000)}}
	return items, bins, &Layout{
		Bins:       []BinUse{{ID: "bin"}},
		Placements: []Placement{{Item: "a", At: at}, {Item: "b", At: bt}},
	}
}

func TestVerifyPairs(t *testing.T) {
	// The shape of the classic instance SHAPES0, item 0: a table with two legs.
	// Two of them pushed into one another along collinear edges share area
	// without any two edges crossing.
	bridge := geom4(0, 0, 2, 0, 2, 3, 12, 3, 12, 0, 14, 0, 14, 5, 0, 5)
	plus := geom4(10, 0, 20, 0, 20, 10, 30, 10, 30, 20, 20, 20, 20, 30, 10, 30, 10, 20, 0, 20, 0, 10, 10, 10)
	for _, c := range []struct {
		name   string
		a, b   geom.Polygons
		at, bt vec
		gap    float64
		want   string
	}{
		{"apart", rect(10, 10), rect(10, 10), v2(0, 0), v2(20, 0), 0, ""},
		{"touching along an edge", rect(10, 10), rect(10, 10), v2(0, 0), v2(10, 0), 0, ""},
		{"touching along part of an edge", rect(10, 10), rect(10, 10), v2(0, 0), v2(10, 3), 0, ""},
		{"touching at a corner", rect(10, 10), rect(10, 10), v2(0, 0), v2(10, 10), 0, ""},
		{"corner on an edge", rect(10, 10), geom4(0, 0, 5, -5, 10, 0, 5, 5), v2(0, 0), v2(10, 5), 0, ""},
		{"corner 1 µm into an edge", rect(10, 10), geom4(0, 0, 5, -5, 10, 0, 5, 5), v2(0, 0), v2(9.999, 5), 0, "overlap"},
		{"crossing", rect(10, 10), rect(10, 10), v2(0, 0), v2(5, 5), 0, "overlap"},
		{"overlap of 1 µm, sides collinear", rect(10, 10), rect(10, 10), v2(0, 0), v2(9.999, 0), 0, "overlap"},
		{"slid along collinear edges", rect(10, 10), rect(10, 10), v2(0, 0), v2(4, 0), 0, "overlap"},
		{"slid along collinear edges, shorter", rect(10, 10), rect(4, 10), v2(0, 0), v2(3, 0), 0, "overlap"},
		{"bridges interlocked on collinear edges", bridge, bridge, v2(0, 0), v2(0, 2), 0, "overlap"},
		{"bridges interlocked sideways", bridge, bridge, v2(0, 0), v2(2, 0), 0, "overlap"},
		{"bridge on the feet of another", bridge, bridge, v2(0, 0), v2(0, 5), 0, ""},
		{"bar under a bridge, filling it", bridge, rect(10, 3), v2(0, 0), v2(2, 0), 0, ""},
		{"bar under a bridge, through a leg", bridge, rect(10, 3), v2(0, 0), v2(1, 0), 0, "overlap"},
		{"cross of two bars, corners on edges", rect(30, 10), rect(10, 30), v2(0, 10), v2(10, 0), 0, "overlap"},
		{"plus on a bar of its own width, no proper crossing", plus, rect(10, 10), v2(0, 0), v2(10, 10), 0, "overlap"},
		{"identical", plus, plus, v2(3, 3), v2(3, 3), 0, "overlap"},
		{"identical square", rect(7, 7), rect(7, 7), v2(3, 3), v2(3, 3), 0, "overlap"},
		{"one inside the other", rect(50, 50), rect(5, 5), v2(0, 0), v2(20, 20), 0, "overlap"},
		{"the other inside the one", rect(5, 5), rect(50, 50), v2(20, 20), v2(0, 0), 0, "overlap"},
		{"inside, sharing an edge", rect(50, 50), rect(5, 5), v2(0, 0), v2(0, 20), 0, "overlap"},
		{"inside, corner to corner with diagonal", rect(10, 10), geom4(0, 0, 10, 0, 10, 10), v2(0, 0), v2(0, 0), 0, "overlap"},
		{"halves along a diagonal", geom4(0, 0, 10, 10, 0, 10), geom4(0, 0, 10, 0, 10, 10), v2(0, 0), v2(0, 0), 0, ""},
		{"in the hole", frame(50, 30), rect(10, 10), v2(0, 0), v2(20, 20), 0, ""},
		{"in the hole, filling it", frame(50, 30), rect(30, 30), v2(0, 0), v2(10, 10), 0, ""},
		{"through the hole's edge", frame(50, 30), rect(10, 10), v2(0, 0), v2(5, 20), 0, "overlap"},
		{"over the hole and beyond", frame(50, 30), rect(40, 40), v2(0, 0), v2(5, 5), 0, "overlap"},
		{"covering frame and hole", frame(50, 30), rect(50, 50), v2(0, 0), v2(0, 0), 0, "overlap"},
		{"frame in frame, in the hole", frame(50, 30), frame(30, 10), v2(0, 0), v2(10, 10), 0, ""},
		{"frame on frame, holes equal", frame(50, 30), frame(40, 30), v2(0, 0), v2(5, 5), 0, "overlap"},
		{"in the material of a frame", frame(50, 30), rect(5, 5), v2(0, 0), v2(2, 2), 0, "overlap"},

		{"exactly at the gap", rect(10, 10), rect(10, 10), v2(0, 0), v2(12, 0), 2, ""},
		{"1 µm short of the gap", rect(10, 10), rect(10, 10), v2(0, 0), v2(11.999, 0), 2, "gap"},
		{"diagonal neighbours exactly at the gap: 3, 4, 5", rect(10, 10), rect(10, 10), v2(0, 0), v2(13, 14), 5, ""},
		{"diagonal neighbours 1 µm short", rect(10, 10), rect(10, 10), v2(0, 0), v2(12.999, 14), 5, "gap"},
		{"corner to slanted edge, exact", rect(10, 10), geom4(0, 0, 40, -30, 40, 0), v2(0, 0), v2(10, 15), 4, ""},
		{"corner to slanted edge, 1 µm short", rect(10, 10), geom4(0, 0, 40, -30, 40, 0), v2(0, 0), v2(10, 14.999), 4.0, "gap"},
		{"in the hole at the gap", frame(50, 30), rect(26, 26), v2(0, 0), v2(12, 12), 2, ""},
		{"in the hole, too close", frame(50, 30), rect(27, 26), v2(0, 0), v2(12, 12), 2, "gap"},
		{"touching when a gap is asked", rect(10, 10), rect(10, 10), v2(0, 0), v2(10, 0), 2, "gap"},
	} {
		t.Run(c.name, func(t *testing.T) {
			items, bins, l := two(c.a, c.b, c.at.Add(v2(100, 100)), c.bt.Add(v2(100, 100)))
			if got := strings.TrimSpace(codes(Verify(items, bins, l, c.gap))); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
			l.Placements[0], l.Placements[1] = l.Placements[1], l.Placements[0]
			if got := strings.TrimSpace(codes(Verify(items, bins, l, c.gap))); got != c.want {
				t.Errorf("exchanged: got %q, want %q", got, c.want)
			}
		})
	}
}

func TestVerifyRules(t *testing.T) {
	items := []Item{
		{ID: "a", Shape: rect(10, 10), Turns: []float64{0, math.Pi}, Quantity: 2},
		{ID: "k", Shape: rect(5, 5), Kind: "oak"},
	}
	bins := []Bin{
		{ID: "bin", Size: v2(100, 50), Margin: 5, Reserved: []geom.Polygons{geom4(40, 0, 60, 0, 60, 50, 40, 50)}},
		{ID: "oak", Size: v2(20, 20), Kind: "oak", Quantity: 2},
	}
	good := func() *Layout {
		return &Layout{
			Bins: []BinUse{{ID: "bin"}, {ID: "oak", Copy: 1}},
			Placements: []Placement{
				{Item: "a", Copy: 0, At: v2(5, 5)}, {Item: "a", Copy: 1, Turn: math.Pi, At: v2(95, 45)},
				{Item: "k", Bin: 1, At: v2(15, 15)},
			},
		}
	}
	for _, c := range []struct {
		name   string
		gap    float64
		change func(l *Layout)
		want   string
	}{
		{"good", 0, func(l *Layout) {}, ""},
		{"good with the gap to the reserved area", 25, func(l *Layout) {}, ""},
		{"gap to the reserved area", 25.001, func(l *Layout) {}, "reserved reserved"},
		{"in the margin", 0, func(l *Layout) { l.Placements[0].At.X = 4.999 }, "outside"},
		{"beyond the bin", 0, func(l *Layout) { l.Placements[1].At.Y = 45.001 }, "outside"},
		{"in the reserved area", 0, func(l *Layout) { l.Placements[0].At.X = 45 }, "reserved"},
		{"touching the reserved area", 0, func(l *Layout) { l.Placements[0].At.X = 30 }, ""},
		{"a turn not allowed", 0, func(l *Layout) { l.Placements[1].Turn = 3 * math.Pi }, "turn"},
		{"copy missing", 0, func(l *Layout) { l.Placements = l.Placements[1:] }, "count"},
		{"copy missing but listed", 0, func(l *Layout) {
			l.Placements = l.Placements[1:]
			l.Unplaced = []Unplaced{{Item: "a", Count: 1}}
		}, ""},
		{"copy twice", 0, func(l *Layout) { l.Placements[1].Copy = 0 }, "count"},
		{"copy not asked for", 0, func(l *Layout) { l.Placements[1].Copy = 2 }, "count"},
		{"item unknown", 0, func(l *Layout) { l.Placements[2].Item = "z" }, "count unknown"},
		{"bin index", 0, func(l *Layout) { l.Placements[2].Bin = 2 }, "count unknown"},
		{"bin unknown", 0, func(l *Layout) { l.Bins[1].ID = "ash" }, "unknown"},
		{"bin copy", 0, func(l *Layout) { l.Bins[1].Copy = 2 }, "count"},
		{"bin opened twice", 0, func(l *Layout) { l.Bins = append(l.Bins, BinUse{ID: "bin"}) }, "count"},
		{"kind", 0, func(l *Layout) { l.Placements[2].Bin = 0 }, "kind"},
		{"off the micrometre grid", 0, func(l *Layout) { l.Placements[0].At.X = 5.0005 }, "off-grid"},
		{"not a number", 0, func(l *Layout) { l.Placements[0].At.X = math.NaN() }, "off-grid"},
		{"far away", 0, func(l *Layout) { l.Placements[0].At.X = 1e15 }, "off-grid"},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := good()
			c.change(l)
			if got := strings.TrimSpace(codes(Verify(items, bins, l, c.gap))); got != c.want {
				t.Errorf("got %q, want %q: %v", got, c.want, Verify(items, bins, l, c.gap))
			}
		})
	}
}

// Random lattice polygons meet in every degenerate way. The judgement must
// agree with the area of intersection that simplefeatures finds, which is 0
// or at least some 1e-3 of a unit on so coarse a lattice.
func TestVerifyAgainstAreas(t *testing.T) {
	hits := 0
	rapid.Check(t, func(t *rapid.T) {
		a, b := latticePolygon(t, "a"), latticePolygon(t, "b")
		if a == nil || b == nil {
			return
		}
		items, bins, l := two(a, b, v2(0, 0), v2(float64(rapid.IntRange(-3, 3).Draw(t, "dx")), float64(rapid.IntRange(-3, 3).Draw(t, "dy"))))
		for i := range l.Placements {
			l.Placements[i].At = l.Placements[i].At.Add(v2(100, 100))
		}
		got := strings.TrimSpace(codes(Verify(items, bins, l, 0)))
		var gs [2]geom.Polygons
		for i, p := range l.Placements {
			gs[i] = p.Place(items[i].Shape)
		}
		area := sharedArea(t, gs[0], gs[1])
		want := ""
		if area > 1e-6 {
			want = "overlap"
			hits++
		}
		if got != want {
			t.Fatalf("got %q, but simplefeatures finds %g shared by %v and %v", got, area, gs[0], gs[1])
		}
	})
	if hits == 0 {
		t.Error("no overlap among the samples")
	}
}

// The gap that Verify allows is the distance by floating point, to a micrometre.
func TestVerifyGapAgainstDistance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := latticePolygon(t, "a"), latticePolygon(t, "b")
		if a == nil || b == nil {
			return
		}
		items, bins, l := two(a, b, v2(100, 100), v2(100+float64(rapid.IntRange(-9, 9).Draw(t, "dx")), 100+float64(rapid.IntRange(-9, 9).Draw(t, "dy"))))
		if len(Verify(items, bins, l, 0)) > 0 {
			return
		}
		pa, pb := l.Placements[0].Place(a), l.Placements[1].Place(b)
		d := math.Inf(1)
		for _, p := range pa[0] {
			d = min(d, pb.Distance(p))
		}
		for _, p := range pb[0] {
			d = min(d, pa.Distance(p))
		}
		if d < 0.01 {
			return
		}
		if fs := Verify(items, bins, l, d-0.001); len(fs) > 0 {
			t.Fatalf("distance %g, gap %g refused: %v", d, d-0.001, fs)
		}
		if fs := Verify(items, bins, l, d+0.001); codes(fs) != "gap " {
			t.Fatalf("distance %g, gap %g accepted", d, d+0.001)
		}
	})
}
