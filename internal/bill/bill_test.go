package bill

import (
	"maps"
	"math"
	"reflect"
	"slices"
	"testing"

	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/printing"
	"groundwork/internal/seam"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/veneer"
)

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9*max(1, math.Abs(want)) {
		t.Errorf("%s: %.9g, want %.9g", what, got, want)
	}
}

func line(t *testing.T, b *Bill, item string) Line {
	t.Helper()
	for _, l := range b.Lines {
		if l.Item == item {
			return l
		}
	}
	t.Fatalf("no line %q in %+v", item, b.Lines)
	return Line{}
}

// small is a job that can be counted by hand.
func small() Inputs {
	leaf := geom.Polygons{{{X: 0, Y: 0}, {X: 500, Y: 0}, {X: 500, Y: 200}, {X: 0, Y: 200}}}
	return Inputs{
		Shop: &shop.Shop{
			Currency: "EUR", Labour: 36, Electricity: 0.5,
			Printers:  []shop.Printer{{ID: "p", Price: 0.2, Power: 200}},
			Filaments: []shop.Filament{{ID: "abs", SpoolMass: 1000, SpoolPrice: 20}},
			Lasers:    []shop.Laser{{ID: "l", Bed: geom.V2(300, 400), CutSpeed: 10, Move: 50, SetUp: 100, Price: 3.6}},
			Veneers: []shop.Veneer{{ID: "oak", Face: 0.5, Backing: 0.2, Adhesive: 0.1, Sheet: geom.V2(610, 2440), Price: 70,
				Offcuts: []shop.Offcut{{ID: "a", Size: geom.V2(300, 400), Price: 4}, {ID: "b", Size: geom.V2(200, 400), Price: 3}}}},
			Screws:  []shop.Screw{{Size: "M6", Price: 0.15}},
			Inserts: []shop.Insert{{Size: "M6", Outer: 8.3, Length: 10, Price: 0.3}},
			Dowels:  []shop.Dowel{{Diameter: 8, Length: 40, Price: 0.05}},
			Consumables: []shop.Consumable{
				{ID: "glue", Per: "seam-area", Amount: 200, Unit: "ml", Price: 0.1},
				{ID: "oil", Per: "veneer-area", Amount: 100, Unit: "ml", Price: 0.04},
				{ID: "rag", Per: "piece", Amount: 1, Unit: "piece", Price: 2},
			},
		},
		Members: 2,
		Joints: &joint.Result{Joints: []joint.Joint{{ID: "j", Screws: []joint.Screw{
			{Size: "M6", Length: 40, Insert: "M6", Washer: true}, {Size: "M6", Length: 40, Insert: "M6", Washer: true}}}}},
		Seams:    &seam.Result{Bodies: []seam.Body{{ID: "top", Members: []int{0, 1}}}, Seams: []seam.Seam{{ID: "top/seam-1", Area: 5000, Dowels: []joint.Dowel{{Diameter: 8, Length: 40}, {Diameter: 8, Length: 40}}}}},
		Layout:   &veneer.Layout{},
		Patterns: []veneer.Pattern{{ID: "a", Release: "when measured", Veneer: "oak", NetArea: 90000, Gross: leaf}},
		Sheets: &sheet.Result{Laser: "l", Sheets: []sheet.Sheet{{Veneer: "oak", Kept: "a"}, {Veneer: "oak", Kept: "a"}, {Veneer: "oak"}}, Blanks: []sheet.Blank{{ID: "blank-01"}},
			Placements: []sheet.Placement{{Pattern: 0, Blank: 0}}},
		Printing: &printing.Result{
			Prints: []printing.Print{{Grams: 100}, {Grams: 50}},
			Loads:  []printing.Load{{ID: "load-01", Printer: "p", Filament: "abs", Grams: 157.5, Seconds: 7200, Low: 5400, High: 9000}},
		},
	}
}

// A small job counted by hand.
func TestMake(t *testing.T) {
	in := small()
	b := Make(in)
	near(t, "filament", line(t, b, "abs").Cost, 157.5*0.02)
	near(t, "sheets", line(t, b, "oak").Cost, 70)
	near(t, "offcuts", line(t, b, "oak, offcut a").Cost, 8)
	near(t, "screws", line(t, b, "M6 x 40 cap screw").Cost, 0.3)
	near(t, "inserts", line(t, b, "M6 heat-set insert").Cost, 0.6)
	near(t, "washers", line(t, b, "M6 washer").Quantity, 2)
	near(t, "dowels", line(t, b, "dowel 8 x 40").Cost, 0.1)
	near(t, "glue: 0.005 m2 of seam", line(t, b, "glue").Quantity, 1)
	near(t, "oil: 0.09 m2 of veneer", line(t, b, "oil").Quantity, 9)
	near(t, "printer: 2 h at 0.20, and 0.4 kWh", line(t, b, "p").Cost, 0.4+0.2)
	// Laser: set-up, 1400 mm at 10 mm/s, and a move of a quarter of the diagonal 500 at 50 mm/s.
	near(t, "laser seconds", b.LaserSeconds, 100+140+2.5)
	near(t, "printed grams", b.Grams, 150)
	near(t, "low", b.PrintLow, 5400)
	near(t, "veneer mass: 0.09 m2 of 0.8 mm", b.VeneerMass, 90000*0.8*0.0007)
	var sum, sections float64
	for _, l := range b.Lines {
		near(t, l.Item, l.Cost, l.Quantity*l.Price)
		sum += l.Cost
	}
	for _, s := range b.CostBySection {
		sections += s.Cost
	}
	near(t, "total", b.Cost, sum)
	near(t, "sections", sections, sum)
	near(t, "labour line by line", b.LabourSeconds/3600*36, func() (c float64) {
		for _, l := range b.Lines {
			if l.Section == Labour {
				c += l.Cost
			}
		}
		return c
	}())
	// Hand work, s, by the times of one each in hands.go: 1400 mm of edge, 0.09 m2 of veneer.
	for item, want := range map[string]int64{
		"loading and clearing printers": 300, "setting inserts": 2 * 60, "dry fitting": 300 + 60, "gluing seams": 420 + 2*45,
		"sanding and sealing cores": 324, "cutting blanks and tending the laser": 600 + 240, "watching the laser": 3, // 242.5 of 240, begun seconds
		"laying veneer": 300, "trimming": 168, "sanding veneer": 2 * 54, "finishing": 4 * 81, "finish sample": 600 + 180 + 4*120, "assembly": 2 * 60,
		"tightening again": 2 * 20, "looking over and handing over": 900, "measuring and entering measures": 300 + 600,
	} {
		if l := line(t, b, item); l.Seconds != want || l.Section != Labour || l.Note == "" {
			t.Errorf("%s: %d s in %s (%s), want %d", item, l.Seconds, l.Section, l.Note, want)
		}
	}
	for _, l := range b.Lines {
		var things int64
		for _, h := range b.Hands {
			if h.Section == l.Section && h.Line == l.Item {
				things += h.Seconds
			}
		}
		if things != l.Seconds || (l.Section == Labour) != (l.Seconds > 0) {
			t.Errorf("%s: %d s, its things %d", l.Item, l.Seconds, things)
		}
	}
	// Catalogues give an M6 x 40 cap screw as about 11 g; inserts and dowels weigh a few grams (from memory).
	if g := b.HardwareMass; g < 20 || g > 45 {
		t.Errorf("two M6 x 40 screws with inserts and two dowels weigh %.1f g", g)
	}
}

// equipped is the small job with a caul, printed though it could be sawn, a fence
// of board, and a coupon.
func equipped() Inputs {
	in := small()
	board := func(thick float64) []fixture.Template {
		return []fixture.Template{{Material: "scrap board", Thickness: thick, Quantity: 1}}
	}
	in.Fixtures = &fixture.Result{Fixtures: []fixture.Fixture{
		{ID: "caul/1", Kind: fixture.Caul, Parts: []fixture.Part{{ID: "caul/1", Filament: "abs", Quantity: 2}}, Templates: board(30)},
		{ID: "caul/2", Kind: fixture.Caul, Parts: []fixture.Part{{ID: "caul/2", Material: "scrap board", Quantity: 1}}, Templates: board(30)},
		{ID: "batten", Kind: fixture.Caul, Parts: []fixture.Part{{ID: "batten", Material: "scrap board", Quantity: 3}}},
		{ID: "fence", Kind: fixture.Fence, Parts: []fixture.Part{{ID: "fence", Filament: "abs", Quantity: 1}}, Templates: board(18)},
		{ID: "coupon", Kind: fixture.Coupon, Parts: []fixture.Part{{ID: "coupon", Filament: "abs", Quantity: 1}}},
	}}
	in.FixturePrinting = &printing.Result{Loads: []printing.Load{
		{ID: "load-01", Printer: "p", Filament: "abs", Grams: 200, Seconds: 3600}, {ID: "load-02", Printer: "p", Filament: "abs", Grams: 300, Seconds: 7200},
	}}
	return in
}

// Fixtures are made once: they are a section of their own, and the piece costs
// what it costs without them.
func TestFixturesAreNoPartOfThePiece(t *testing.T) {
	without, with := Make(small()), Make(equipped())
	// 0.5 kg at 20 a kg; 3 h at 0.20 and 0.1 for 0.2 kWh; two loads of 5 min and an hour of measuring at 36.
	want := 10 + 3*0.3 + (2*300+3600)/3600.0*36
	near(t, "fixtures", with.CostOf(Fixtures), want)
	near(t, "with fixtures", with.WithFixtures(), without.Cost+want)
	near(t, "hands", with.FixtureLabourSeconds, 2*300+3600)
	near(t, "printing", with.FixturePrintSeconds, 10800)
	near(t, "filament", with.FixtureGrams, 500)
	boards := map[string]float64{}
	for _, l := range with.Lines {
		if l.Section == Fixtures && l.Unit == "piece" {
			boards[l.Item] = l.Quantity
		}
	}
	if want := map[string]float64{"scrap board": 3, "scrap board, 30 mm": 1, "scrap board, 18 mm": 1}; !maps.Equal(boards, want) {
		t.Errorf("%v, want %v", boards, want)
	}
	// All else is as without, but for the note that boards have no price.
	with.Findings, without.Findings = nil, nil
	with.Lines = slices.DeleteFunc(with.Lines, func(l Line) bool { return l.Section == Fixtures })
	with.Hands = slices.DeleteFunc(with.Hands, func(h Hand) bool { return h.Section == Fixtures })
	with.CostBySection[len(with.CostBySection)-1].Cost = 0
	with.FixtureGrams, with.FixtureLabourSeconds, with.FixturePrintSeconds = 0, 0, 0
	if !reflect.DeepEqual(with, without) {
		t.Errorf("%+v, without fixtures %+v", with, without)
	}
}
