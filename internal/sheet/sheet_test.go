package sheet

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"groundwork/internal/draw"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/veneer"

	"pgregory.net/rapid"
)

func testShop() *shop.Shop {
	return &shop.Shop{
		Lasers: []shop.Laser{{ID: "laser", Bed: geom.V2(600, 400), Margin: 5, Kerf: 0.2, CutSpeed: 20}},
		Veneers: []shop.Veneer{
			{ID: "walnut", Sheet: geom.V2(610, 2440), EdgeMargin: 3, MinOffcut: geom.V2(100, 100), Figure: "plain"},
			{ID: "ash", Sheet: geom.V2(610, 2440), EdgeMargin: 3, MinOffcut: geom.V2(100, 100), Figure: "directional"},
		},
	}
}

// leaf is a rectangular pattern whose grain runs at an angle to its X axis.
func leaf(id string, w, h, grain float64) veneer.Pattern {
	p := geom.Polygon{{X: 0, Y: 0}, {X: w, Y: 0}, {X: w, Y: h}, {X: 0, Y: h}}
	return veneer.Pattern{ID: id, Kind: veneer.Leaf, Veneer: "walnut", Net: geom.Polygons{p}, Gross: geom.Polygons{p}, NetArea: w * h, GrossArea: w * h, Length: w, Width: h, Grain: grain}
}

func plan(t testing.TB, patterns []veneer.Pattern, o Options) *Result {
	t.Helper()
	r, err := Plan(context.Background(), nil, patterns, testShop(), o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// hold checks what every result must hold: patterns on their blanks with the
// grain along the blank's, clear of one another, blanks within their sheets and
// clear of one another, offcuts clear of blanks.
func hold(t testing.TB, r *Result, patterns []veneer.Pattern) {
	t.Helper()
	boxes := make([][]geom.Box2, len(r.Blanks))
	for _, p := range r.Placements {
		if p.Blank < 0 {
			continue
		}
		b := r.Blanks[p.Blank]
		box := r.Outline(patterns, p).Bounds()
		if in := box.Grow(5 - 2e-3); in.Min.X < 0 || in.Min.Y < 0 || in.Max.X > b.Size.X || in.Max.Y > b.Size.Y {
			t.Errorf("%s lies at %v on a blank of %v", patterns[p.Pattern].ID, box, b.Size)
		}
		if turn := math.Remainder(patterns[p.Pattern].Grain+p.Turn-b.Grain, math.Pi); math.Abs(turn) > 1e-9 {
			t.Errorf("%s lies %.3f rad off the grain", patterns[p.Pattern].ID, turn)
		}
		for _, o := range boxes[p.Blank] {
			apart := geom.V2(max(0, o.Min.X-box.Max.X, box.Min.X-o.Max.X), max(0, o.Min.Y-box.Max.Y, box.Min.Y-o.Max.Y))
			if apart.Len() < r.Gap-3e-3 {
				t.Errorf("%s lies within the gap of another pattern", patterns[p.Pattern].ID)
			}
		}
		boxes[p.Blank] = append(boxes[p.Blank], box)
	}
	on := make([][]geom.Box2, len(r.Sheets))
	for _, b := range r.Blanks {
		size := b.Size
		if b.Grain == 0 { // the sheet's grain runs along its Y
			size = geom.V2(size.Y, size.X)
		}
		box := geom.Box2{Min: b.At, Max: b.At.Add(size)}
		s := r.Sheets[b.Sheet]
		if box.Min.X < 3-1e-9 || box.Min.Y < 3-1e-9 || box.Max.X > s.Size.X-3+1e-9 || box.Max.Y > s.Size.Y-3+1e-9 {
			t.Errorf("%s lies at %v on a sheet of %v", b.ID, box, s.Size)
		}
		for _, o := range on[b.Sheet] {
			if o.Grow(-1e-6).Overlaps(box) {
				t.Errorf("%s overlaps another blank", b.ID)
			}
		}
		on[b.Sheet] = append(on[b.Sheet], box)
	}
	for i, s := range r.Sheets {
		for _, c := range s.Offcuts {
			for _, o := range on[i] {
				if o.Grow(-1e-6).Overlaps(c) {
					t.Errorf("an offcut of %s overlaps a blank", s.ID)
				}
			}
		}
	}
}

func TestPlan(t *testing.T) {
	for _, tt := range []struct {
		name     string
		patterns []veneer.Pattern
		blanks   int
	}{
		{"one leaf", []veneer.Pattern{leaf("a", 300, 200, 0)}, 1},
		{"a band along the bed", []veneer.Pattern{leaf("a", 585, 22, 0)}, 1},
		{"grain across the leaf", []veneer.Pattern{leaf("a", 300, 200, math.Pi/2)}, 1},
		{"as long across the grain as the bed", []veneer.Pattern{leaf("a", 380, 585, 0)}, 1},
		{"two that share a blank", []veneer.Pattern{leaf("a", 300, 280, 0), leaf("b", 300, 280, 0)}, 1},
		{"two that do not", []veneer.Pattern{leaf("a", 580, 300, 0), leaf("b", 580, 300, 0)}, 2},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := plan(t, tt.patterns, Options{})
			hold(t, r, tt.patterns)
			if len(r.Blanks) != tt.blanks || len(r.Findings) > 0 {
				t.Errorf("%d blanks, want %d; findings %v", len(r.Blanks), tt.blanks, r.Findings)
			}
		})
	}
}

// A strip longer than the bed is cut in two set-ups; what is too wide as well
// cannot be cut at all.
func TestPatternLongerThanTheBed(t *testing.T) {
	ps := []veneer.Pattern{leaf("leg-1/edge-1", 700, 26, 0), leaf("b", 100, 100, 0)}
	r := plan(t, ps, Options{})
	hold(t, r, ps)
	if len(r.Findings) != 1 || r.Findings[0].Severity != finding.Warning || r.Findings[0].Subject != "leg-1/edge-1" || !strings.Contains(r.Findings[0].Remedy, "2 set-ups") {
		t.Errorf("findings %v", r.Findings)
	}
	if b := r.Blanks[r.Placements[0].Blank]; !b.ByKnife || b.Size != geom.V2(710, 36) {
		t.Errorf("blank %+v", b)
	}
}

func TestLeafLargerThanTheBed(t *testing.T) {
	r := plan(t, []veneer.Pattern{leaf("top/face", 620, 420, 0), leaf("b", 100, 100, 0)}, Options{})
	if len(r.Findings) != 1 || r.Findings[0].Severity != finding.Stop || r.Findings[0].Subject != "top/face" || r.Findings[0].Remedy == "" {
		t.Errorf("findings %v", r.Findings)
	}
	if r.Placements[0].Blank >= 0 || r.Placements[1].Blank < 0 {
		t.Errorf("placements %v", r.Placements)
	}
}

func TestKnifeCutBandGetsItsOwnStrip(t *testing.T) {
	p := leaf("top/edge-1", 1300, 30, 0)
	p.KnifeCut = true
	r := plan(t, []veneer.Pattern{p}, Options{})
	hold(t, r, []veneer.Pattern{p})
	if len(r.Blanks) != 1 || !r.Blanks[0].ByKnife || r.Blanks[0].Size != geom.V2(1310, 40) {
		t.Errorf("blanks %+v", r.Blanks)
	}
}

func TestRandomPatterns(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(rt, "n")
		var ps []veneer.Pattern
		for i := range n {
			p := leaf(fmt.Sprintf("p%d", i), rapid.Float64Range(10, 380).Draw(rt, "w"), rapid.Float64Range(10, 380).Draw(rt, "h"), rapid.SampledFrom([]float64{0, math.Pi / 2}).Draw(rt, "grain"))
			if rapid.Bool().Draw(rt, "ash") {
				p.Veneer = "ash"
			}
			ps = append(ps, p)
		}
		r := plan(t, ps, Options{Iterations: 4})
		hold(t, r, ps)
		bought, used, returned := r.Areas()
		if used > bought || used+returned > bought+1e-6 || len(r.Findings) > 0 {
			rt.Fatalf("bought %.0f, used %.0f, returned %.0f, findings %v", bought, used, returned, r.Findings)
		}
		for _, p := range r.Placements {
			if b := r.Blanks[p.Blank]; b.Veneer != ps[p.Pattern].Veneer {
				rt.Fatalf("%s of %s lies on a blank of %s", ps[p.Pattern].ID, ps[p.Pattern].Veneer, b.Veneer)
			}
			if ps[p.Pattern].Veneer == "ash" && math.Abs(math.Remainder(ps[p.Pattern].Grain+p.Turn-r.Blanks[p.Blank].Grain, 2*math.Pi)) > 1e-9 {
				rt.Fatalf("a directional figure was turned end for end")
			}
		}
	})
}

// The drawing carries every loop once, holes before outlines, grown by half a
// kerf on request, and a bar of 100 mm.
func TestDrawing(t *testing.T) {
	k, err := solid.New(solid.Options{Instances: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	p := leaf("leg-1/face", 300, 60, 0)
	p.Gross = append(p.Gross, geom.Polygon{{X: 20, Y: 20}, {X: 20, Y: 40}, {X: 40, Y: 40}, {X: 40, Y: 20}})
	p.GrossArea -= 400
	p.Pins, p.Pin = []geom.Vec2{{X: 280, Y: 30}}, 1.6
	p.Marks = []veneer.Mark{{Purpose: "half-cut", Line: []geom.Vec2{{X: 100, Y: 0}, {X: 100, Y: 60}}}}
	ps := []veneer.Pattern{p, leaf("b", 200, 100, 0)}
	for _, o := range []Options{{}, {Compensate: true}, {FaceDown: true}} {
		r := plan(t, ps, o)
		d, err := r.Drawing(context.Background(), k, 0, ps, testShop(), o)
		if err != nil {
			t.Fatal(err)
		}
		var names []string
		area := map[string]float64{}
		bar := false
		for _, l := range d.Layers {
			names = append(names, l.Name)
			for _, it := range l.Items {
				if path, ok := it.(draw.Path); ok {
					if path.Closed {
						area[l.Name] += math.Abs(path.Area())
					}
					bar = bar || l.Name == "mark" && math.Abs(path.Length()-100) < 1e-9
				}
			}
		}
		if got := strings.Join(names, ","); got != "mark,half-cut,cut pins,cut inner,cut outer,note" {
			t.Errorf("layers %s", got)
		}
		outer, inner := 300.0*60+200*100, 400.0
		if o.Compensate { // kerf 0.2: each side moves out by 0.1
			outer, inner = 300.2*60.2+200.2*100.2, 19.8*19.8
		}
		if math.Abs(area["cut outer"]-outer) > 1e-3 || math.Abs(area["cut inner"]-inner) > 1e-3 {
			t.Errorf("%+v: cut areas %v, want %.3f and %.3f", o, area, outer, inner)
		}
		if !bar {
			t.Errorf("no line of 100 mm to measure")
		}
		var a, b bytes.Buffer
		if err := draw.WriteSVG(&a, d); err != nil {
			t.Fatal(err)
		}
		if err := draw.WriteDXF(&b, d); err != nil {
			t.Fatal(err)
		}
	}
}
