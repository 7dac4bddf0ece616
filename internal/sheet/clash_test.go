package sheet

import (
	"math"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/nest"
	"groundwork/internal/veneer"

	"pgregory.net/rapid"
)

func TestClashes(t *testing.T) {
	// Blank 0: 300 x 200 on sheet (10, 20), grain along the bed's Y, so that it lies
	// on the sheet as on the bed; blank 1 of ash, 1 has the grain along X.
	ring := leaf("ring", 100, 100, math.Pi/2)
	ring.Gross = append(ring.Gross, geom.Polygon{{X: 20, Y: 20}, {X: 20, Y: 80}, {X: 80, Y: 80}, {X: 80, Y: 20}})
	ps := []veneer.Pattern{leaf("a", 100, 50, math.Pi/2), leaf("b", 50, 50, math.Pi/2), leaf("ash", 50, 50, 0), ring, leaf("giant", 400, 50, math.Pi/2)}
	ps[2].Veneer = "ash"
	r := &Result{
		Gap: 2.2, Border: 5, figure: map[string]string{"walnut": "plain", "ash": "directional"},
		Sheets: []Sheet{
			{ID: "walnut-1", Size: geom.V2(610, 2440), Reserved: []Reserved{{At: geom.V2(290, 100), Size: geom.V2(40, 10), What: "split"}}},
			{ID: "ash-1", Size: geom.V2(610, 2440), Reserved: []Reserved{{At: geom.V2(120, 60), Size: geom.V2(5, 8), What: "knot"}}},
		},
		Blanks: []Blank{
			{ID: "blank-01", Veneer: "walnut", Size: geom.V2(300, 200), Grain: math.Pi / 2, At: geom.V2(10, 20)},
			{ID: "blank-02", Veneer: "ash", Size: geom.V2(300, 200), Sheet: 1, At: geom.V2(0, 0)},
		},
		Placements: []Placement{{0, 0, geom.V2(5, 5), 0}, {1, 0, geom.V2(200, 5), 0}, {2, 1, geom.V2(5, 5), 0}, {3, 0, geom.V2(5, 95), 0}, {4, -1, geom.Vec2{}, 0}},
	}
	move := func(p, blank int, x, y, turn float64) Placement {
		return Placement{p, blank, geom.V2(x, y), turn * math.Pi / 180}
	}
	for _, c := range []struct {
		name  string
		moves []Placement
		want  string // kind and patterns
		way   geom.Vec2
	}{
		{"as it is", nil, "", geom.Vec2{}},
		{"clear", []Placement{move(0, 0, 20, 20, 0)}, "", geom.Vec2{}},
		{"end for end", []Placement{move(0, 0, 120, 70, 180)}, "", geom.Vec2{}},
		{"the gap exactly", []Placement{move(1, 0, 107.2, 5, 0)}, "", geom.Vec2{}},
		{"a hair more", []Placement{move(1, 0, 107.196, 5, 0)}, "", geom.Vec2{}},
		{"too near", []Placement{move(1, 0, 106, 5, 0)}, "gap b a", geom.V2(1.2, 0)},
		{"touching", []Placement{move(1, 0, 105, 5, 0)}, "gap b a", geom.V2(2.2, 0)},
		{"on it", []Placement{move(1, 0, 80, 5, 0)}, "overlap b a", geom.V2(27.2, 0)},
		{"the same place", []Placement{move(1, 0, 5, 5, 0)}, "overlap b a", geom.V2(0, 52.2)},
		{"in the other's hole, too tight", []Placement{move(1, 0, 30, 120, 0)}, "", geom.Vec2{}},
		{"in the border", []Placement{move(0, 0, 4, 5, 0)}, "border a", geom.V2(1, 0)},
		{"in a corner", []Placement{move(1, 0, 246, 147, 0)}, "border b", geom.V2(-1, -2)},
		{"far off", []Placement{move(1, 0, 900, 5, 0)}, "border b", geom.V2(-655, 0)},
		{"farther than anything", []Placement{move(1, 0, 1e12, 5, 0)}, "border b", geom.Vec2{}},
		{"too large", []Placement{move(4, 0, 5, 60, 0)}, "border giant; overlap giant ring; reserved giant", geom.Vec2{}},
		{"against the grain", []Placement{move(1, 0, 290, 5, 90)}, "turn b", geom.Vec2{}},
		{"nearly along it", []Placement{move(1, 0, 201, 5, 0.3)}, "", geom.Vec2{}},
		// The split at (290, 100) to (330, 110) of the sheet is at (280, 80) to (320, 90) of
		// the blank, of which 300 remain.
		{"on the split", []Placement{move(1, 0, 240, 60, 0)}, "reserved b", geom.V2(-12.2, 0)},
		{"near the split", []Placement{move(1, 0, 229, 60, 0)}, "reserved b", geom.V2(-1.2, 0)},
		{"of another veneer", []Placement{move(1, 1, 200, 140, 90)}, "blank b", geom.Vec2{}},
		{"on no blank", []Placement{move(1, 7, 200, 140, 90)}, "blank b", geom.Vec2{}},
		{"no pattern", []Placement{move(9, 0, 200, 140, 90)}, "blank", geom.Vec2{}},
		{"taken off", []Placement{move(1, -1, 0, 0, 0)}, "", geom.Vec2{}},
		{"two at once, told once", []Placement{move(0, 0, 50, 5, 0), move(1, 0, 140, 5, 0)}, "overlap a b", geom.V2(-12.2, 0)},
		{"exchanged", []Placement{move(0, 0, 190, 5, 0), move(1, 0, 5, 5, 0)}, "", geom.Vec2{}},
		// The knot at (120, 60) to (125, 68) of the sheet: the blank's grain is along X, so
		// that it is at x 60 to 68, y 200 - 125 to 200 - 120.
		{"on the knot of the turned blank", []Placement{move(2, 1, 20, 50, 0)}, "reserved ash", geom.V2(-12.2, 0)},
		{"against its figure", []Placement{move(2, 1, 295, 195, 180)}, "turn ash", geom.Vec2{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var got []string
			cs := r.Clashes(ps, c.moves...)
			for _, k := range cs {
				got = append(got, strings.TrimSpace(string(k.Kind)+" "+strings.Join(k.Patterns, " ")))
				if k.Message == "" {
					t.Errorf("no message: %+v", k)
				}
			}
			slices.Sort(got)
			if s := strings.Join(got, "; "); s != c.want {
				t.Fatalf("got %q, want %q: %+v", s, c.want, cs)
			}
			if len(cs) == 1 && (cs[0].Clear.Sub(c.way).Len() > 0.012 || cs[0].Kind != TurnClash && math.Abs(cs[0].By-c.way.Len()) > 0.012) {
				t.Errorf("clear by %v (%.3f), want %v", cs[0].Clear, cs[0].By, c.way)
			}
		})
	}
}

// The way told does get a pattern clear of the one it meets, and there is no
// clash that nest.Verify does not see, nor the other way round.
func TestClashesAgainstVerify(t *testing.T) {
	few(t, 60)
	rapid.Check(t, func(t *rapid.T) {
		r := &Result{Gap: rapid.SampledFrom([]float64{0, 2}).Draw(t, "gap"), Border: 5, Sheets: []Sheet{{}}, Blanks: []Blank{{ID: "b", Veneer: "walnut", Size: geom.V2(300, 200)}}}
		var ps []veneer.Pattern
		var items []nest.Item
		l := &nest.Layout{Bins: []nest.BinUse{{ID: "b"}}}
		for i := range rapid.IntRange(2, 4).Draw(t, "n") {
			p := leaf(string(rune('a'+i)), 1, 1, 0)
			// a star: concave, no two alike
			n := rapid.IntRange(3, 8).Draw(t, "corners")
			var star geom.Polygon
			for k := range 2 * n {
				d := rapid.Float64Range(10, 60).Draw(t, "radius")
				a := math.Pi * float64(k) / float64(n)
				star = append(star, geom.V2(d*math.Cos(a), d*math.Sin(a)))
			}
			p.Gross = geom.Polygons{star}
			at := geom.V2(math.Round(rapid.Float64Range(50, 250).Draw(t, "x")), math.Round(rapid.Float64Range(50, 150).Draw(t, "y")))
			ps = append(ps, p)
			r.Placements = append(r.Placements, Placement{i, 0, at, 0})
			items = append(items, nest.Item{ID: p.ID, Shape: p.Gross})
			l.Placements = append(l.Placements, nest.Placement{Item: p.ID, At: at})
		}
		var want, got []string
		for _, f := range nest.Verify(items, []nest.Bin{{ID: "b", Size: geom.V2(300, 200), Margin: 5 - slack}}, l, max(0, r.Gap-slack)) {
			id := strings.TrimSuffix(f.Subject, "/0")
			switch f.Code {
			case "outside":
				want = append(want, "border "+id)
			case "overlap", "gap":
				other := strings.TrimSuffix(f.Message[strings.LastIndex(f.Message, " ")+1:], "/0")
				want = append(want, f.Code+" "+min(id, other)+" "+max(id, other))
			default:
				t.Fatal(f)
			}
		}
		for _, c := range r.Clashes(ps) {
			slices.Sort(c.Patterns[1:])
			got = append(got, string(c.Kind)+" "+strings.Join(c.Patterns, " "))
			if c.Kind == OverlapClash || c.Kind == GapClash {
				i := int(c.Patterns[0][0] - 'a')
				moved := r.Placements[i]
				moved.At = moved.At.Add(c.Clear)
				for _, d := range r.Clashes(ps, moved) {
					if len(d.Patterns) == 2 && d.Patterns[1] == c.Patterns[1] {
						t.Fatalf("%+v still meets: %+v", c, d)
					}
				}
			}
		}
		slices.Sort(want)
		slices.Sort(got)
		if !slices.Equal(want, got) {
			t.Fatalf("clashes %v, the verifier finds %v", got, want)
		}
	})
}

// BenchmarkClashes moves one of forty leaves with 200 corners each on one blank,
// in the thick of the others; the page asks 30 times a second.
func BenchmarkClashes(b *testing.B) {
	r := &Result{Gap: 2.2, Border: 5, Sheets: []Sheet{{}}, Blanks: []Blank{{ID: "b", Veneer: "walnut", Size: geom.V2(600, 400)}}}
	var ps []veneer.Pattern
	for i := range 40 {
		p := leaf(string(rune('a'+i)), 60, 60, 0)
		var round geom.Polygon
		for k := range 200 {
			a := 2 * math.Pi * float64(k) / 200
			d := 32 + 6*math.Sin(5*a)
			round = append(round, geom.V2(d*math.Cos(a), d*math.Sin(a)))
		}
		p.Gross = geom.Polygons{round}
		ps = append(ps, p)
		r.Placements = append(r.Placements, Placement{i, 0, geom.V2(45+float64(i%8)*72, 45+float64(i/8)*77), 0})
	}
	for _, c := range []struct {
		name string
		at   geom.Vec2
	}{{"clear", r.Placements[19].At}, {"meets four", geom.V2(45+3.5*72, 45+2.5*77)}} {
		b.Run(c.name, func(b *testing.B) {
			n := 0
			for b.Loop() {
				n = len(r.Clashes(ps, Placement{19, 0, c.at, 0}))
			}
			b.ReportMetric(float64(n), "clashes")
		})
	}
}
