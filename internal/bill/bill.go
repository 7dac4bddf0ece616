// Package bill counts what a piece takes: filament, veneer, hardware,
// consumables, minutes and money.
package bill

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/joint"
	"groundwork/internal/printing"
	"groundwork/internal/seam"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/unit"
	"groundwork/internal/veneer"
)

// Section groups the lines of a bill.
type Section string

const (
	Filament   Section = "filament"
	Veneer     Section = "veneer"
	Hardware   Section = "hardware"
	Consumable Section = "consumable"
	Machine    Section = "machine"
	Labour     Section = "labour"
)

var sections = []Section{Filament, Veneer, Hardware, Consumable, Machine, Labour}

// Line is one line of the bill.
type Line struct {
	Section  Section
	Item     string  // shop ID or trade name: "M6 x 40 cap screw"
	Quantity float64 // in Unit
	Unit     string  // g, sheet, piece, ml, h
	Price    float64 // per unit, in the shop's currency; 0 when the shop gives none
	Cost     float64
	Note     string
}

// Bill is everything the piece takes.
type Bill struct {
	Currency      string
	Lines         []Line  // by section, then by item
	Grams         float64 // printed parts
	FilamentGrams float64 // with waste
	PrintSeconds  float64 // on printers, heat-up included
	PrintLow      float64
	PrintHigh     float64
	LaserSeconds  float64
	LabourSeconds float64
	VeneerArea    float64 // mm² laid
	Cost          float64
	CostBySection []SectionCost
	VeneerMass    float64 // g, estimated
	HardwareMass  float64 // g, estimated
}

// SectionCost is what one section costs.
type SectionCost struct {
	Section Section
	Cost    float64
}

// Inputs are the results that are counted.
type Inputs struct {
	Joints   *joint.Result
	Seams    *seam.Result
	Layout   *veneer.Layout
	Patterns []veneer.Pattern
	Sheets   *sheet.Result
	Printing *printing.Result
	Members  int
	Shop     *shop.Shop
}

// Hand times in seconds for one of each, with everything ready at hand.
// Common practice, no source: replace them by what your own bench takes.
var handTimes = struct {
	loadPrint, seam, dowel, insert, screw, leaf, trimPerMetre, sandPerSquareMetre, coatPerSquareMetre, lap, blank float64
}{
	loadPrint: 300, seam: 420, dowel: 45, insert: 60, screw: 60, leaf: 300, trimPerMetre: 120,
	sandPerSquareMetre: 3600, coatPerSquareMetre: 900, lap: 600, blank: 240,
}

// coats of finish that the labour time counts: the upper end of three to six
// wipe-on coats (finishing guides vary).
const coats = 4

// veneerDensity in g/mm³: face, paper and adhesive together. Hardwoods at 12 %
// moisture lie between 0.56 and 0.76 g/cm³ (USDA Wood Handbook table 5-3b).
const veneerDensity = 0.0007

// Make counts everything.
func Make(in Inputs) *Bill {
	b := &Bill{Currency: in.Shop.Currency}
	b.filament(in)
	b.veneer(in)
	b.hardware(in)
	b.consumables(in)
	b.machines(in)
	b.labour(in)
	slices.SortStableFunc(b.Lines, func(x, y Line) int {
		return cmp.Compare(slices.Index(sections, x.Section), slices.Index(sections, y.Section))
	})
	for _, s := range sections {
		var sum float64
		for _, l := range b.Lines {
			if l.Section == s {
				sum += l.Cost
			}
		}
		b.CostBySection = append(b.CostBySection, SectionCost{s, sum})
		b.Cost += sum
	}
	return b
}

func (b *Bill) add(s Section, item string, quantity float64, unit string, price float64, note string) {
	b.Lines = append(b.Lines, Line{Section: s, Item: item, Quantity: quantity, Unit: unit, Price: price, Cost: quantity * price, Note: note})
}

func (b *Bill) filament(in Inputs) {
	grams := map[string]float64{}
	var ids []string
	for _, l := range in.Printing.Loads {
		if _, ok := grams[l.Filament]; !ok {
			ids = append(ids, l.Filament)
		}
		grams[l.Filament] += l.Grams
		b.FilamentGrams += l.Grams
		b.PrintSeconds += l.Seconds
		b.PrintLow += l.Low
		b.PrintHigh += l.High
	}
	for _, p := range in.Printing.Prints {
		b.Grams += p.Grams
	}
	slices.Sort(ids)
	for _, id := range ids {
		f, _ := in.Shop.Filament(id)
		price := 0.0
		note := ""
		if f.SpoolMass > 0 {
			price = f.SpoolPrice / f.SpoolMass
			note = fmt.Sprintf("%d spools of %s to have in hand", int(math.Ceil(grams[id]/f.SpoolMass)), unit.FormatMass(f.SpoolMass))
		}
		b.add(Filament, id, grams[id], "g", price, note)
	}
}

func (b *Bill) veneer(in Inputs) {
	for _, p := range in.Patterns {
		b.VeneerArea += p.NetArea
		if v, ok := in.Shop.Veneer(p.Veneer); ok {
			b.VeneerMass += p.NetArea * v.Stack() * veneerDensity
		}
	}
	count := map[string]int{}
	var ids []string
	kept := map[string]float64{}
	for _, s := range in.Sheets.Sheets {
		if s.Kept != "" {
			kept[s.Veneer+"/"+s.Kept]++
			continue
		}
		if count[s.Veneer] == 0 {
			ids = append(ids, s.Veneer)
		}
		count[s.Veneer]++
	}
	slices.Sort(ids)
	for _, id := range ids {
		v, _ := in.Shop.Veneer(id)
		b.add(Veneer, id, float64(count[id]), "sheet", v.Price, fmt.Sprintf("%.0f x %.0f mm", v.Sheet.X, v.Sheet.Y))
	}
	for _, v := range in.Shop.Veneers {
		for _, o := range v.Offcuts {
			if n := kept[v.ID+"/"+o.ID]; n > 0 {
				b.add(Veneer, v.ID+", offcut "+o.ID, n, "piece", o.Price, fmt.Sprintf("%.0f x %.0f mm", o.Size.X, o.Size.Y))
			}
		}
	}
}

func (b *Bill) hardware(in Inputs) {
	type key struct {
		order int
		item  string
	}
	n := map[key]int{}
	price := map[key]float64{}
	add := func(order int, item string, each float64) {
		k := key{order, item}
		n[k]++
		price[k] = each
	}
	dowel := func(d joint.Dowel) {
		kind, each := "dowel", 0.0
		if d.Printed {
			kind = "printed dowel"
		}
		for _, s := range in.Shop.Dowels {
			if s.Diameter == d.Diameter && s.Length == d.Length && s.Printed == d.Printed {
				each = s.Price
			}
		}
		add(3, fmt.Sprintf("%s %g x %g", kind, d.Diameter, d.Length), each)
		b.HardwareMass += math.Pi / 4 * d.Diameter * d.Diameter * d.Length * veneerDensity // wood or plastic: much the same
	}
	for _, j := range in.Joints.Joints {
		for _, s := range j.Screws {
			sc, _ := in.Shop.Screw(s.Size)
			add(0, fmt.Sprintf("%s x %g cap screw", s.Size, s.Length), sc.Price)
			if s.Washer {
				add(1, s.Size+" washer", 0)
			}
			ins, _ := in.Shop.Insert(s.Insert)
			add(2, s.Insert+" heat-set insert", ins.Price)
			b.HardwareMass += steelMass(s, ins)
		}
		for _, d := range j.Dowels {
			dowel(d)
		}
	}
	for _, s := range in.Seams.Seams {
		for _, d := range s.Dowels {
			dowel(d)
		}
	}
	for _, p := range in.Joints.Plugs {
		add(4, fmt.Sprintf("printed plug %g mm", math.Round(p.Diameter*10)/10), 0)
	}
	if k := len(in.Layout.Laps); k > 0 {
		for _, l := range in.Layout.Laps {
			for range l.Pins {
				add(5, fmt.Sprintf("pin %g mm", l.Pin), 0)
			}
		}
	}
	var keys []key
	for k := range n {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b key) int { return cmp.Or(cmp.Compare(a.order, b.order), cmp.Compare(a.item, b.item)) })
	for _, k := range keys {
		b.add(Hardware, k.item, float64(n[k]), "piece", price[k], "")
	}
}

// steelMass is the mass in g of a screw and its brass insert: shank and head
// as full cylinders (head diameter 1.5 d and height d, near ISO 4762).
func steelMass(s joint.Screw, ins shop.Insert) float64 {
	const steel, brass = 0.00785, 0.0085 // g/mm³
	var d float64
	fmt.Sscanf(s.Size, "M%g", &d)
	screw := math.Pi / 4 * (d*d*s.Length + 2.25*d*d*d) * steel
	insert := math.Pi / 4 * (ins.Outer*ins.Outer - d*d) * ins.Length * brass
	return screw + max(0, insert)
}

func (b *Bill) consumables(in Inputs) {
	var seamArea, jointArea float64
	for _, s := range in.Seams.Seams {
		seamArea += s.Area
	}
	for _, j := range in.Joints.Joints {
		jointArea += j.GlueArea
	}
	const perSquareMetre = 1e-6
	for _, c := range in.Shop.Consumables {
		var q float64
		switch c.Per {
		case "seam-area":
			q = seamArea * perSquareMetre * c.Amount
		case "joint-area":
			q = jointArea * perSquareMetre * c.Amount
		case "glue-area":
			q = (seamArea + jointArea) * perSquareMetre * c.Amount
		case "veneer-area":
			q = b.VeneerArea * perSquareMetre * c.Amount
		case "member":
			q = float64(in.Members) * c.Amount
		default:
			q = c.Amount
		}
		if q > 0 {
			b.add(Consumable, c.ID, q, c.Unit, c.Price, c.Note)
		}
	}
}

func (b *Bill) machines(in Inputs) {
	hours := map[string]float64{}
	for _, l := range in.Printing.Loads {
		hours[l.Printer] += l.Seconds / 3600
	}
	for _, p := range in.Shop.Printers {
		if h := hours[p.ID]; h > 0 {
			each := p.Price + p.Power/1000*in.Shop.Electricity
			b.add(Machine, p.ID, h, "h", each, fmt.Sprintf("use and %.1f kWh of electricity", h*p.Power/1000))
		}
	}
	for _, l := range in.Shop.Lasers {
		if l.ID != in.Sheets.Laser {
			continue
		}
		b.LaserSeconds = laserTime(in, l)
		if b.LaserSeconds > 0 {
			b.add(Machine, l.ID, b.LaserSeconds/3600, "h", l.Price, "cutting veneer")
		}
	}
}

// laserTime is set-up for each blank, cutting at speed along every outline,
// and a move to each cut of a quarter of the bed's diagonal on average.
func laserTime(in Inputs, l shop.Laser) float64 {
	var t float64
	for _, b := range in.Sheets.Blanks {
		if !b.ByKnife {
			t += l.SetUp
		}
	}
	for _, p := range in.Sheets.Placements {
		if p.Blank < 0 {
			continue
		}
		for _, loop := range in.Patterns[p.Pattern].Gross {
			t += loop.Perimeter() / l.CutSpeed
			if l.Move > 0 {
				t += l.Bed.Len() / 4 / l.Move
			}
		}
	}
	return t
}

func (b *Bill) labour(in Inputs) {
	h := handTimes
	var dowels, inserts, laps int
	for _, j := range in.Joints.Joints {
		dowels += len(j.Dowels)
		inserts += len(j.Screws)
	}
	for _, s := range in.Seams.Seams {
		dowels += len(s.Dowels)
	}
	laps = len(in.Layout.Laps)
	var edge float64
	for _, p := range in.Patterns {
		for _, loop := range p.Gross {
			edge += loop.Perimeter()
		}
	}
	m2 := b.VeneerArea * 1e-6
	add := func(what string, s float64) {
		if s > 0 {
			b.LabourSeconds += s
			b.add(Labour, what, s/3600, "h", in.Shop.Labour, "")
		}
	}
	add("loading and clearing printers", h.loadPrint*float64(len(in.Printing.Loads)))
	add("gluing seams", h.seam*float64(len(in.Seams.Seams))+h.dowel*float64(dowels))
	add("setting inserts", h.insert*float64(inserts))
	add("cutting blanks and tending the laser", h.blank*float64(len(in.Sheets.Blanks)))
	add("sanding and sealing cores", h.sandPerSquareMetre*m2)
	add("laying veneer", h.leaf*float64(len(in.Patterns))+h.lap*float64(laps))
	add("trimming", h.trimPerMetre*edge/1000)
	add("finishing", coats*h.coatPerSquareMetre*m2)
	add("assembly", h.screw*float64(inserts))
}
