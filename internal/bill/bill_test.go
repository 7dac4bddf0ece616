package bill

import (
	"math"
	"testing"

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

// A small job counted by hand.
func TestMake(t *testing.T) {
	leaf := geom.Polygons{{{X: 0, Y: 0}, {X: 500, Y: 0}, {X: 500, Y: 200}, {X: 0, Y: 200}}}
	in := Inputs{
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
		Seams:    &seam.Result{Seams: []seam.Seam{{Area: 5000, Dowels: []joint.Dowel{{Diameter: 8, Length: 40}, {Diameter: 8, Length: 40}}}}},
		Layout:   &veneer.Layout{},
		Patterns: []veneer.Pattern{{ID: "a", Veneer: "oak", NetArea: 90000, Gross: leaf}},
		Sheets: &sheet.Result{Laser: "l", Sheets: []sheet.Sheet{{Veneer: "oak", Kept: "a"}, {Veneer: "oak", Kept: "a"}, {Veneer: "oak"}}, Blanks: []sheet.Blank{{}},
			Placements: []sheet.Placement{{Pattern: 0, Blank: 0}}},
		Printing: &printing.Result{
			Prints: []printing.Print{{Grams: 100}, {Grams: 50}},
			Loads:  []printing.Load{{Printer: "p", Filament: "abs", Grams: 157.5, Seconds: 7200, Low: 5400, High: 9000}},
		},
	}
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
	// Catalogues give an M6 x 40 cap screw as about 11 g; inserts and dowels weigh a few grams (from memory).
	if g := b.HardwareMass; g < 20 || g > 45 {
		t.Errorf("two M6 x 40 screws with inserts and two dowels weigh %.1f g", g)
	}
}
