package sheet

import (
	"context"
	"flag"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/draw"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/nest"
	"groundwork/internal/shop"
	"groundwork/internal/veneer"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// verified holds a result against the verifier of nest, blank by blank, with the
// knots of the sheet on it, and blanks that are not fixed against the knots.
func verified(t testing.TB, r *Result, patterns []veneer.Pattern, s *shop.Shop) {
	t.Helper()
	for i, b := range r.Blanks {
		bin := nest.Bin{ID: b.ID, Size: b.Size, Margin: r.Border - slack}
		on := geom.EmptyBox2().Add(r.OnSheet(i, geom.Vec2{})).Add(r.OnSheet(i, b.Size))
		if on.Min.Sub(b.At).Len() > 1e-9 {
			t.Errorf("%s lies at %v, its corners at %v", b.ID, b.At, on)
		}
		for _, k := range r.Sheets[b.Sheet].Reserved {
			box := geom.Box2{Min: k.At, Max: k.At.Add(k.Size)}
			if !box.Overlaps(on.Grow(-2e-3)) {
				continue
			}
			if !b.Fixed {
				t.Errorf("%s at %v is cut over the %s %v of %s", b.ID, on, k.What, box, k.Sheet)
			}
			p, q := r.OnBlank(i, box.Min), r.OnBlank(i, box.Max)
			bin.Reserved = append(bin.Reserved, geom.Polygons{rectangle(geom.EmptyBox2().Add(p).Add(q))})
		}
		var items []nest.Item
		l := &nest.Layout{Bins: []nest.BinUse{{ID: b.ID}}}
		for _, p := range r.Placements {
			if p.Blank == i {
				id := patterns[p.Pattern].ID
				items = append(items, nest.Item{ID: id, Shape: patterns[p.Pattern].Gross, Turns: []float64{p.Turn}})
				at := geom.V2(math.Round(p.At.X/micron)*micron, math.Round(p.At.Y/micron)*micron)
				l.Placements = append(l.Placements, nest.Placement{Item: id, Turn: p.Turn, At: at})
			}
		}
		if len(items) == 0 {
			t.Errorf("%s carries nothing", b.ID)
		}
		for _, f := range nest.Verify(items, []nest.Bin{bin}, l, r.Gap-slack) {
			t.Errorf("%s: %v", b.ID, f)
		}
	}
	for i, p := range r.Placements {
		if p.Blank >= 0 && r.Blanks[p.Blank].Veneer != patterns[i].Veneer {
			t.Errorf("%s lies on another veneer", patterns[i].ID)
		}
	}
	for _, v := range s.Veneers {
		one := *r
		one.Sheets = nil
		told(t, r, v) // all veneers of a test have one kerf
	}
	if cs := r.Clashes(patterns); len(cs) > 0 {
		t.Errorf("clashes of a layout that holds: %v", cs)
	}
}

func planIn(t testing.TB, s *shop.Shop, patterns []veneer.Pattern, o Options) *Result {
	t.Helper()
	if o.Lines == 0 {
		o.Lines = -1
	}
	r, err := Plan(context.Background(), nil, patterns, s, o)
	if err != nil {
		t.Fatal(err)
	}
	verified(t, r, patterns, s)
	return r
}

func codes(fs []finding.Finding) string {
	var out []string
	for _, f := range fs {
		out = append(out, f.Code)
		if f.Remedy == "" || f.Message == "" || f.Subject == "" {
			out = append(out, "INCOMPLETE")
		}
	}
	slices.Sort(out)
	return strings.Join(out, " ")
}

// an offcut whose right hand side has a knot
func withOffcut(s *shop.Shop) *shop.Shop {
	s.Veneers[0].Offcuts = []shop.Offcut{{ID: "a", Size: geom.V2(400, 500), Count: 2}}
	return s
}

func TestReserved(t *testing.T) {
	some := []veneer.Pattern{leaf("a", 300, 200, 0), leaf("b", 500, 150, 0), leaf("c", 250, 300, math.Pi/2)}
	many := slices.Clone(some)
	for i := range 16 {
		many = append(many, leaf(fmt.Sprint("m", i), 560, 180, 0))
	}
	knot := func(sheet string, x, y, w, h float64) Reserved {
		return Reserved{Sheet: sheet, At: geom.V2(x, y), Size: geom.V2(w, h), What: "knot", Line: 7}
	}
	var measles []Reserved
	for i := range 40 {
		measles = append(measles, knot("walnut-1", float64(i*97%600), float64(i*311%2400), 8, 8))
	}
	for _, c := range []struct {
		name     string
		shop     *shop.Shop
		patterns []veneer.Pattern
		reserved []Reserved
		sheets   string
		codes    string
	}{
		{"none", testShop(), some, nil, "walnut-1", ""},
		{"a knot in the corner", testShop(), some, []Reserved{knot("walnut-1", 0, 0, 30, 30)}, "walnut-1", ""},
		{"a split all along", testShop(), some, []Reserved{knot("walnut-1", 300, -10, 5, 2500)}, "walnut-1", ""},
		{"the whole first sheet", testShop(), some, []Reserved{knot("walnut-1", -5, -5, 700, 2600)}, "walnut-2", "reserved-sheet-not-used"},
		{"the second sheet, not needed", testShop(), some, []Reserved{knot("walnut-2", 0, 0, 700, 2600)}, "walnut-1", "reserved-sheet-not-used"},
		{"the second sheet, needed", testShop(), many, []Reserved{knot("walnut-2", 200, 300, 20, 20)}, "walnut-1 walnut-2", ""},
		{"forty of them, and room for the least between", testShop(), some, measles, "walnut-1 walnut-2", ""},
		{"another piece's sheet", testShop(), some, []Reserved{knot("oak-1", 0, 0, 10, 10)}, "walnut-1", "reserved-on-unknown-sheet"},
		{"an odd number", testShop(), some, []Reserved{knot("walnut-01", 0, 0, 10, 10), knot("walnut-0", 0, 0, 10, 10), knot("walnut-99999999999999999999", 0, 0, 10, 10)}, "walnut-1",
			"reserved-on-unknown-sheet reserved-on-unknown-sheet reserved-on-unknown-sheet"},
		{"beside the sheet", testShop(), some, []Reserved{knot("walnut-1", 610, 0, 10, 10)}, "walnut-1", "reserved-beside-the-sheet"},
		{"in the margin", testShop(), some, []Reserved{knot("walnut-1", 0, 0, 2.9, 2440)}, "walnut-1", ""},
		{"offcuts first", withOffcut(testShop()), some[:1], nil, "walnut-a-1", ""},
		{"a knot on the first offcut", withOffcut(testShop()), some[:1], []Reserved{knot("walnut-a-1", 200, 200, 20, 20)}, "walnut-a-2", "reserved-sheet-not-used"},
		{"knots on both", withOffcut(testShop()), some[:1], []Reserved{knot("walnut-a-1", 200, 250, 20, 20), knot("walnut-a-2", 200, 250, 20, 20)}, "walnut-1", "reserved-sheet-not-used reserved-sheet-not-used"},
		{"an offcut too many", withOffcut(testShop()), some[:1], []Reserved{knot("walnut-a-3", 0, 0, 20, 20)}, "walnut-a-1", "reserved-on-unknown-sheet"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := planIn(t, c.shop, c.patterns, Options{Reserved: c.reserved, Marks: "a.marks.yaml"})
			var ids []string
			for _, s := range r.Sheets {
				ids = append(ids, s.ID)
			}
			if got := strings.Join(ids, " "); got != c.sheets {
				t.Errorf("cut from %s, want %s", got, c.sheets)
			}
			if got := codes(r.Findings); got != c.codes {
				t.Errorf("findings %s: %v", got, r.Findings)
			}
			for _, f := range r.Findings {
				if f.File != "a.marks.yaml" || f.Line != 7 || f.Severity == finding.Stop {
					t.Errorf("%+v", f)
				}
			}
			for i, p := range r.Placements {
				if p.Blank < 0 {
					t.Errorf("%s is left out", c.patterns[i].ID)
				}
			}
		})
	}
}

func TestKeep(t *testing.T) {
	ab := []veneer.Pattern{leaf("a", 300, 200, 0), leaf("b", 200, 100, 0), leaf("c", 100, 80, 0), leaf("d", 60, 300, math.Pi/2)}
	ash := slices.Clone(ab)
	ash[1].Veneer = "ash"
	set := slices.Clone(ab)
	for i := range 3 {
		set[i].Set, set[i].SetOrder = "door", i+1
	}
	long := append(slices.Clone(ab), leaf("long", 700, 26, 0))
	knife := append(slices.Clone(ab), leaf("band", 1300, 30, 0))
	knife[4].KnifeCut = true
	blank := func(w, h float64, rest bool, pins ...Pin) Keep {
		return Keep{Veneer: "walnut", Size: geom.V2(w, h), Pins: pins, Rest: rest, Line: 3}
	}
	pin := func(id string, x, y, degrees float64) Pin {
		return Pin{Pattern: id, At: geom.V2(x, y), Turn: degrees * math.Pi / 180, Line: 4}
	}
	at := func(k Keep, sheet string, x, y float64) Keep {
		k.Sheet, k.At = sheet, geom.V2(x, y)
		return k
	}
	up := func(k Keep) Keep { k.GrainUp = true; return k }
	of := func(k Keep, veneer string) Keep { k.Veneer = veneer; return k }
	knot := []Reserved{{Sheet: "walnut-1", At: geom.V2(100, 300), Size: geom.V2(20, 20)}}
	for _, c := range []struct {
		name     string
		patterns []veneer.Pattern
		keep     []Keep
		reserved []Reserved
		kept     string // patterns that lie where they are pinned
		on       int    // patterns on the first pinned one's blank
		codes    string
		shop     func(*shop.Shop)
	}{
		{name: "one and nothing else", patterns: ab, keep: []Keep{blank(400, 300, false, pin("a", 10, 20, 0))}, kept: "a", on: 1},
		{name: "one and the rest", patterns: ab, keep: []Keep{blank(600, 400, true, pin("a", 10, 20, 0))}, kept: "a", on: 4},
		{name: "in the middle and the rest", patterns: ab, keep: []Keep{blank(600, 400, true, pin("a", 150, 100, 0))}, kept: "a", on: 3},
		{name: "end for end", patterns: ab, keep: []Keep{blank(400, 300, false, pin("a", 310, 220, 180))}, kept: "a", on: 1},
		{name: "end for end the other way round", patterns: ab, keep: []Keep{blank(400, 300, false, pin("a", 310, 220, -180))}, kept: "a", on: 1},
		{name: "nearly straight is straight", patterns: ab, keep: []Keep{blank(400, 300, false, pin("a", 10, 20, 0.4))}, kept: "a", on: 1},
		{name: "with the grain up the bed", patterns: ab, keep: []Keep{up(blank(300, 390, true, pin("a", 210, 20, 90)))}, kept: "a", on: 2},
		{name: "a grain of its own", patterns: ab, keep: []Keep{blank(400, 300, false, pin("d", 20, 220, -90))}, kept: "d", on: 1},
		{name: "across the grain", patterns: ab, keep: []Keep{blank(400, 400, false, pin("a", 210, 20, 90))}, codes: "kept-blank-empty pinned-against-the-grain"},
		{name: "off the blank", patterns: ab, keep: []Keep{blank(400, 300, true, pin("a", 96, 20, 0), pin("b", 5, 5, 0))}, kept: "b", on: -1, codes: "pin-without-room"},
		{name: "flush with the border", patterns: ab, keep: []Keep{blank(310, 210, false, pin("a", 5, 5, 0))}, kept: "a", on: 1},
		{name: "larger than the blank", patterns: ab, keep: []Keep{blank(250, 150, true, pin("a", 5, 5, 0), pin("b", 5, 5, 0))}, kept: "b", on: -1, codes: "pin-without-room"},
		{name: "two that clash", patterns: ab, keep: []Keep{blank(600, 400, true, pin("a", 5, 5, 0), pin("b", 300, 5, 0))}, kept: "a", on: -1, codes: "pin-without-room"},
		{name: "two that are too near", patterns: ab, keep: []Keep{blank(600, 400, true, pin("a", 5, 5, 0), pin("b", 307, 5, 0))}, kept: "a", on: -1, codes: "pin-without-room"},
		{name: "two a gap apart", patterns: ab, keep: []Keep{blank(600, 400, false, pin("a", 5, 5, 0), pin("b", 307.2, 5, 0))}, kept: "a b", on: 2},
		{name: "no such pattern", patterns: ab, keep: []Keep{blank(400, 300, false, pin("a", 10, 20, 0), pin("z", 10, 20, 0))}, kept: "a", on: 1, codes: "pin-of-no-pattern"},
		{name: "of another veneer", patterns: ash, keep: []Keep{blank(600, 300, false, pin("a", 10, 20, 0), pin("b", 330, 20, 0))}, kept: "a", on: 1, codes: "pin-of-another-veneer"},
		{name: "one way round", patterns: ash, keep: []Keep{of(blank(400, 300, true, pin("b", 210, 120, 180)), "ash")}, codes: "pinned-against-the-grain"},
		{name: "pinned twice", patterns: ab, keep: []Keep{blank(400, 300, false, pin("a", 10, 20, 0)), blank(400, 300, false, pin("a", 50, 20, 0))}, kept: "a", on: 1, codes: "kept-blank-empty pinned-twice"},
		{name: "no such veneer", patterns: ab, keep: []Keep{of(blank(400, 300, true), "oak")}, codes: "kept-blank-of-another-veneer"},
		{name: "a size for all that comes", patterns: ab, keep: []Keep{blank(600, 390, true)}},
		{name: "too large for the bed", patterns: ab, keep: []Keep{blank(700, 410, true, pin("a", 10, 20, 0))}, codes: "kept-blank-too-large"},
		{name: "too large for the sheet", patterns: ab, keep: []Keep{blank(2500, 40, true, pin("a", 10, 20, 0))}, codes: "kept-blank-too-large"},
		{name: "a leaf of a matched set", patterns: set, keep: []Keep{blank(600, 390, true, pin("b", 50, 50, 0))}, kept: "b", on: -1, codes: "matched-set-pinned-in-part"},
		{name: "a matched set", patterns: set, keep: []Keep{blank(600, 400, false, pin("a", 5, 5, 0), pin("b", 5, 207.2, 0), pin("c", 5, 309.4, 0))}, kept: "a b c", on: 3},
		{name: "a matched set on two blanks", patterns: set, keep: []Keep{blank(600, 400, false, pin("a", 5, 5, 0), pin("b", 5, 207.2, 0)), blank(200, 100, false, pin("c", 5, 5, 0))}, kept: "a b c", on: 2, codes: "set-on-several-blanks"},
		{name: "longer than the bed", patterns: long, keep: []Keep{blank(710, 36, false, pin("long", 5, 5, 0))}, kept: "long", on: 1, codes: "longer-than-bed"},
		{name: "by knife", patterns: knife, keep: []Keep{blank(1310, 40, false, pin("band", 5, 5, 0))}, kept: "band", on: 1},
		{name: "on an offcut", patterns: ab, keep: []Keep{blank(400, 300, false, pin("a", 10, 20, 0))}, kept: "a", on: 1, shop: func(s *shop.Shop) { withOffcut(s) }},
		{name: "fixed on an offcut", patterns: ab, keep: []Keep{at(blank(400, 300, false, pin("a", 10, 20, 0)), "walnut-a-2", 50, 50)}, kept: "a", on: 1, shop: func(s *shop.Shop) { withOffcut(s) }},
		{name: "fixed on a sheet", patterns: ab, keep: []Keep{at(blank(400, 300, true, pin("a", 10, 20, 0)), "walnut-1", 150, 1000)}, kept: "a", on: -1},
		{name: "fixed, with the grain up", patterns: ab, keep: []Keep{at(up(blank(300, 390, true, pin("a", 210, 20, 90))), "walnut-1", 150, 1000)}, kept: "a", on: -1},
		{name: "two fixed side by side", patterns: ab, keep: []Keep{at(blank(400, 300, false, pin("a", 10, 20, 0)), "walnut-1", 3, 3), at(blank(210, 110, false, pin("b", 5, 5, 0)), "walnut-1", 303, 3)}, kept: "a b", on: 1},
		{name: "two fixed over one another", patterns: ab, keep: []Keep{at(blank(400, 300, false, pin("a", 10, 20, 0)), "walnut-1", 3, 3), at(blank(210, 110, false, pin("b", 5, 5, 0)), "walnut-1", 302, 3)}, kept: "a b", on: 1, codes: "kept-blanks-not-cuttable"},
		{name: "fixed off the sheet", patterns: ab, keep: []Keep{at(blank(400, 300, false, pin("a", 10, 20, 0)), "walnut-1", 308, 3)}, kept: "a", on: 1, codes: "kept-blank-off-the-sheet"},
		{name: "fixed on no sheet", patterns: ab, keep: []Keep{at(blank(400, 300, false, pin("a", 10, 20, 0)), "ash-1", 3, 3)}, kept: "a", on: 1, codes: "kept-blank-on-unknown-sheet"},
		// The blank lies at (50, 200) to (350, 600) of the sheet, turned a quarter on it: the
		// knot at (100, 300) to (120, 320) is at (100, 230) to (120, 250) of the blank.
		{name: "over a knot, clear of it", patterns: ab, keep: []Keep{at(blank(400, 300, true, pin("a", 50, 20, 0)), "walnut-1", 50, 200)}, reserved: knot, kept: "a", on: -1},
		{name: "over a knot, on it", patterns: ab, keep: []Keep{at(blank(400, 300, true, pin("a", 50, 60, 0)), "walnut-1", 50, 200)}, reserved: knot, codes: "pin-on-a-reserved-area"},
		{name: "over a knot, too near", patterns: ab, keep: []Keep{at(blank(400, 300, true, pin("a", 50, 28, 0)), "walnut-1", 50, 200)}, reserved: knot, codes: "pin-on-a-reserved-area"},
		{name: "over a knot, the rest round it", patterns: ab, keep: []Keep{at(blank(600, 400, true), "walnut-1", 50, 100)}, reserved: knot},
		{name: "free of place, never over a knot", patterns: ab, keep: []Keep{blank(600, 400, true, pin("a", 5, 5, 0))}, reserved: []Reserved{{Sheet: "walnut-1", At: geom.V2(300, 300), Size: geom.V2(20, 20)}}, kept: "a", on: 4},
		{name: "cut by a saw", patterns: ab, keep: []Keep{at(blank(400, 300, false, pin("a", 10, 20, 0)), "walnut-1", 60, 70)}, kept: "a", on: 1, shop: func(s *shop.Shop) { s.Veneers[0].BlankKerf, s.Veneers[1].BlankKerf = 3, 3 }},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := testShop()
			if c.shop != nil {
				c.shop(s)
			}
			r := planIn(t, s, c.patterns, Options{Keep: c.keep, Reserved: c.reserved, Marks: "a.marks.yaml"})
			if got := codes(r.Findings); got != c.codes {
				t.Errorf("findings %s, want %s: %v", got, c.codes, r.Findings)
			}
			var kept []string
			for i, p := range r.Placements {
				if p.Blank < 0 {
					t.Errorf("%s is left out", c.patterns[i].ID)
					continue
				}
				for _, k := range c.keep {
					for _, q := range k.Pins {
						b := r.Blanks[p.Blank]
						turn := math.Remainder(p.Turn-q.Turn, 2*math.Pi)
						if q.Pattern == c.patterns[i].ID && p.At == q.At && math.Abs(turn) < 0.01 && b.Size == k.Size && !slices.Contains(kept, q.Pattern) {
							kept = append(kept, q.Pattern)
							want := k.Sheet != "" && !strings.Contains(c.codes, "kept-blank")
							if b.Fixed != want && !(c.name == "two fixed over one another" && q.Pattern == "a") {
								t.Errorf("%s: fixed %v", b.ID, b.Fixed)
							}
							if b.Fixed && (b.At.Sub(k.At).Len() > 1e-9 || r.Sheets[b.Sheet].ID != k.Sheet) {
								t.Errorf("%s lies at %v of %s", b.ID, b.At, r.Sheets[b.Sheet].ID)
							}
						}
					}
				}
			}
			if got := strings.Join(kept, " "); got != c.kept {
				t.Errorf("kept %q, want %q", got, c.kept)
			}
			if c.on > 0 && len(kept) > 0 {
				n := 0
				first := slices.IndexFunc(c.patterns, func(p veneer.Pattern) bool { return p.ID == kept[0] })
				for _, p := range r.Placements {
					if p.Blank == r.Placements[first].Blank {
						n++
					}
				}
				if n != c.on {
					t.Errorf("%d patterns on the blank of %s, want %d", n, kept[0], c.on)
				}
			}
		})
	}
}

// What is marked without effect, and what observes, changes nothing.
func TestMarksWithoutEffect(t *testing.T) {
	ps := []veneer.Pattern{leaf("a", 300, 200, 0), leaf("b", 500, 150, 0), leaf("c", 250, 300, math.Pi/2), leaf("d", 90, 300, 0)}
	plain := plan(t, ps, Options{})
	calls := 0
	for name, o := range map[string]Options{
		"empty":       {Reserved: []Reserved{}, Keep: []Keep{}, Marks: "x"},
		"watched":     {Watch: Watch{Better: func(Better) { calls++ }}},
		"in no sheet": {Reserved: []Reserved{{Sheet: "elm-1", Size: geom.V2(5, 5)}}},
		"second":      {Reserved: []Reserved{{Sheet: "walnut-2", Size: geom.V2(5, 5)}}},
	} {
		r := plan(t, ps, o)
		if d := cmp.Diff(plain, r, cmp.AllowUnexported(Result{}), cmpopts.IgnoreFields(Result{}, "Reserved", "Findings"), cmpopts.IgnoreFields(Sheet{}, "Reserved")); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
	if calls != 1 {
		t.Errorf("told %d times of one layout", calls)
	}
}

// Cut face down, a job has the same layout, in the same coordinates: only its
// drawings are mirrored, and the knots on them.
func TestMarksAreSeenFromTheShowFace(t *testing.T) {
	ps := []veneer.Pattern{leaf("a", 300, 200, 0)}
	// The knot is at (30, 140) to (40, 170) of the blank.
	o := Options{
		Reserved: []Reserved{{Sheet: "walnut-1", At: geom.V2(180, 230), Size: geom.V2(30, 10), What: "knot"}},
		Keep:     []Keep{{Veneer: "walnut", Size: geom.V2(400, 300), Sheet: "walnut-1", At: geom.V2(50, 200), Pins: []Pin{{Pattern: "a", At: geom.V2(60, 20)}}}},
	}
	up := planIn(t, testShop(), ps, o)
	o.FaceDown = true
	down := planIn(t, testShop(), ps, o)
	if d := cmp.Diff(up, down, cmp.AllowUnexported(Result{})); d != "" {
		t.Error(d)
	}
	if len(up.Findings) > 0 || up.Placements[0].At != geom.V2(60, 20) {
		t.Fatalf("%v, %v", up.Placements, up.Findings)
	}
	for _, c := range []struct {
		faceDown      bool
		knot, outline float64 // least x
	}{{false, 30, 60}, {true, 400 - 40, 400 - 360}} {
		d, err := up.Drawing(context.Background(), nil, 0, ps, testShop(), Options{FaceDown: c.faceDown})
		if err != nil {
			t.Fatal(err)
		}
		least := map[string]float64{"note": math.Inf(1), "cut outer": math.Inf(1)}
		for _, l := range d.Layers {
			for _, it := range l.Items {
				if p, ok := it.(draw.Path); ok && p.Closed {
					least[l.Name] = min(least[l.Name], p.Bounds().Min.X)
				}
			}
		}
		if math.Abs(least["note"]-c.knot) > 1e-6 || math.Abs(least["cut outer"]-c.outline) > 1e-6 {
			t.Errorf("face down %v: the knot begins at %g, the pattern at %g", c.faceDown, least["note"], least["cut outer"])
		}
	}
}

// Layouts with random marks verify.
func TestRandomMarks(t *testing.T) {
	few(t, 25)
	rapid.Check(t, func(rt *rapid.T) {
		s := testShop()
		kerf := rapid.SampledFrom([]float64{0, 0, 2}).Draw(rt, "kerf")
		s.Veneers[0].BlankKerf, s.Veneers[1].BlankKerf = kerf, kerf
		if rapid.Bool().Draw(rt, "offcut") {
			withOffcut(s)
		}
		var ps []veneer.Pattern
		for i := range rapid.IntRange(1, 8).Draw(rt, "n") {
			p := leaf(fmt.Sprintf("p%d", i), rapid.Float64Range(10, 380).Draw(rt, "w"), rapid.Float64Range(10, 380).Draw(rt, "h"), rapid.SampledFrom([]float64{0, math.Pi / 2, 1}).Draw(rt, "grain"))
			if p.Grain == 1 { // a blank is not large enough for all that lies askew
				p = leaf(p.ID, p.Length/2, p.Width/2, 1)
			}
			ps = append(ps, p)
		}
		o := Options{Iterations: 2, Lines: rapid.SampledFrom([]int{-1, -1, 400}).Draw(rt, "lines")}
		ids := []string{"walnut-1", "walnut-2", "walnut-a-1"}
		for range rapid.IntRange(0, 5).Draw(rt, "knots") {
			o.Reserved = append(o.Reserved, Reserved{Sheet: rapid.SampledFrom(ids).Draw(rt, "sheet"), At: geom.V2(rapid.Float64Range(-5, 600).Draw(rt, "x"), rapid.Float64Range(-5, 1500).Draw(rt, "y")),
				Size: geom.V2(rapid.Float64Range(1, 80).Draw(rt, "w"), rapid.Float64Range(1, 80).Draw(rt, "h"))})
		}
		for range rapid.IntRange(0, 3).Draw(rt, "blanks") {
			k := Keep{Veneer: "walnut", Size: geom.V2(rapid.Float64Range(50, 600).Draw(rt, "w"), rapid.Float64Range(50, 400).Draw(rt, "h")), Rest: rapid.Bool().Draw(rt, "rest"), GrainUp: rapid.Bool().Draw(rt, "up")}
			if rapid.Bool().Draw(rt, "fixed") {
				k.Sheet, k.At = rapid.SampledFrom(ids).Draw(rt, "sheet"), geom.V2(rapid.Float64Range(0, 400).Draw(rt, "x"), rapid.Float64Range(0, 1200).Draw(rt, "y"))
			}
			for range rapid.IntRange(0, 3).Draw(rt, "pins") {
				p := rapid.SampledFrom(ps).Draw(rt, "pattern")
				turn := rapid.SampledFrom([]float64{0, math.Pi}).Draw(rt, "turn") - p.Grain
				if k.GrainUp {
					turn += math.Pi / 2
				}
				// so that its box begins somewhere on the blank
				box := p.Gross.Map(func(q geom.Vec2) geom.Vec2 { return q.Rotate(turn) }).Bounds()
				at := geom.V2(rapid.Float64Range(5, 300).Draw(rt, "x"), rapid.Float64Range(5, 300).Draw(rt, "y")).Sub(box.Min)
				k.Pins = append(k.Pins, Pin{Pattern: p.ID, At: at, Turn: turn})
			}
			o.Keep = append(o.Keep, k)
		}
		r := planIn(t, s, ps, o)
		pinned, dropped := 0, 0
		for _, f := range r.Findings {
			if strings.HasPrefix(f.Code, "pin") {
				dropped++
			}
		}
		for _, k := range o.Keep {
			pinned += len(k.Pins)
		}
		for i, p := range r.Placements {
			if p.Blank < 0 {
				rt.Fatalf("%s is left out: %v", ps[i].ID, r.Findings)
			}
		}
		if dropped > pinned {
			rt.Fatalf("%d of %d pins dropped", dropped, pinned)
		}
		if t.Failed() {
			rt.Fatalf("failed with %+v", o)
		}
	})
}

// few lets a test that lays out whole sheets make do with fewer random cases
// than rapid's own 100, unless another number is asked for.
func few(t *testing.T, n int) {
	f := flag.Lookup("rapid.checks")
	if old := f.Value.String(); old == f.DefValue {
		if err := f.Value.Set(fmt.Sprint(n)); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { f.Value.Set(old) })
	}
}

// A layout to begin with is taken if it is better than what is found, fixed
// places and all, and otherwise given up.
func TestFrom(t *testing.T) {
	ps := []veneer.Pattern{leaf("a", 300, 200, 0), leaf("b", 200, 100, 0), leaf("c", 100, 80, 0)}
	consumed := func(r *Result) float64 { bought, _, returned := r.Areas(); return bought - returned }
	plain := planIn(t, testShop(), ps, Options{})
	good := []Keep{{Veneer: "walnut", Sheet: "walnut-1", At: geom.V2(3, 3)}}
	bad := []Keep{{Veneer: "walnut", Sheet: "walnut-1", At: geom.V2(150, 1100), Size: geom.V2(600, 390)}}
	if len(plain.Blanks) != 1 {
		t.Fatalf("%d blanks: the cases below are made for one", len(plain.Blanks))
	}
	b := plain.Blanks[0]
	good[0].Size, good[0].GrainUp = b.Size, b.Grain != 0
	for _, p := range plain.Placements {
		good[0].Pins = append(good[0].Pins, Pin{Pattern: ps[p.Pattern].ID, At: p.At, Turn: p.Turn})
	}
	bad[0].Pins = []Pin{{Pattern: "a", At: geom.V2(20, 20)}, {Pattern: "b", At: geom.V2(350, 20)}, {Pattern: "c", At: geom.V2(20, 250)}, {Pattern: "gone"}}
	for name, from := range map[string][]Keep{"good": good, "bad": bad} {
		r := planIn(t, testShop(), ps, Options{From: from})
		if len(r.Findings) > 0 || consumed(r) > consumed(plain)+1e-6 || name == "bad" && r.Blanks[0].Size == bad[0].Size {
			t.Errorf("%s: consumed %.0f, %.0f without; %v; %v", name, consumed(r), consumed(plain), r.Blanks, r.Findings)
		}
	}
	// With a kept blank in its way only the layout to begin with keeps its place.
	must := []Keep{{Veneer: "walnut", Size: geom.V2(320, 220), Pins: []Pin{{Pattern: "a", At: geom.V2(10, 10)}}}}
	r := planIn(t, testShop(), ps, Options{Keep: must, From: good})
	if p := r.Placements[0]; p.At != geom.V2(10, 10) || len(r.Findings) > 0 {
		t.Errorf("what is kept gives way to what is begun with: %v, %v", p, r.Findings)
	}
}
