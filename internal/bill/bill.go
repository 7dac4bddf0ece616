// Package bill counts what a piece takes: filament, veneer, hardware,
// consumables, minutes and money.
package bill

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/fixture"
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
	Fixtures   Section = "fixtures" // made once and used for many pieces, and no part of the piece's cost
)

var sections = []Section{Filament, Veneer, Hardware, Consumable, Machine, Labour, Fixtures}

// Line is one line of the bill.
type Line struct {
	Section  Section
	Item     string  // shop ID or trade name: "M6 x 40 cap screw"
	Quantity float64 // in Unit
	Unit     string  // g, sheet, piece, ml, h
	Price    float64 // per unit, in the shop's currency
	Cost     float64
	Note     string
	Seconds  int64 // of hand work; 0 unless it is of that
	Unpriced bool  // the shop gives no price: sums are without it
}

// NoPrice is what is told of a line that has no price.
const NoPrice = "no price in the shop file"

// Remark is the line's note, and that it has no price if that is so.
func (l Line) Remark() string {
	switch {
	case !l.Unpriced:
		return l.Note
	case l.Note == "":
		return NoPrice
	}
	return NoPrice + "; " + l.Note
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
	LabourSeconds float64 // of hand work on the piece, all of it
	VeneerArea    float64 // mm² laid
	Cost          float64 // of the piece, without Fixtures
	CostBySection []SectionCost
	VeneerMass    float64 // g, estimated
	HardwareMass  float64 // g, estimated
	Hands         []Hand  // hand work thing by thing; a line of hours is the sum of its things
	Findings      []finding.Finding

	// What is made once: fixtures, with coupons. None of it is counted above.
	FixtureGrams         float64 // filament with waste
	FixturePrintSeconds  float64
	FixtureLabourSeconds float64
}

// CostOf is what one section costs.
func (b *Bill) CostOf(s Section) float64 {
	for _, c := range b.CostBySection {
		if c.Section == s {
			return c.Cost
		}
	}
	return 0
}

// WithFixtures is what the first piece costs, for which fixtures are made.
func (b *Bill) WithFixtures() float64 { return b.Cost + b.CostOf(Fixtures) }

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

	Fixtures        *fixture.Result  // nil: none are counted
	FixturePrinting *printing.Result // of Fixtures.Segments; nil: their prints are not counted
}

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
	b.fixtures(in)
	b.labour(in)
	b.sum()
	b.unpriced(in.Shop)
	return b
}

// sum puts the lines in the order of their sections, and adds them up.
func (b *Bill) sum() {
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
		if s != Fixtures {
			b.Cost += sum
		}
	}
}

func (b *Bill) add(s Section, item string, quantity float64, unit string, price float64, note string) {
	b.Lines = append(b.Lines, Line{Section: s, Item: item, Quantity: quantity, Unit: unit, Price: price, Cost: quantity * price, Note: note, Unpriced: price == 0})
}

func (b *Bill) filament(in Inputs) {
	for _, l := range in.Printing.Loads {
		b.FilamentGrams += l.Grams
		b.PrintSeconds += l.Seconds
		b.PrintLow += l.Low
		b.PrintHigh += l.High
	}
	for _, p := range in.Printing.Prints {
		b.Grams += p.Grams
	}
	b.spools(Filament, in.Printing, in.Shop)
}

// spools adds the filament of loads.
func (b *Bill) spools(to Section, p *printing.Result, s *shop.Shop) {
	grams := map[string]float64{}
	var ids []string
	for _, l := range p.Loads {
		if _, ok := grams[l.Filament]; !ok {
			ids = append(ids, l.Filament)
		}
		grams[l.Filament] += l.Grams
	}
	slices.Sort(ids)
	for _, id := range ids {
		f, _ := s.Filament(id)
		price := 0.0
		note := ""
		if f.SpoolMass > 0 {
			price = f.SpoolPrice / f.SpoolMass
			note = fmt.Sprintf("%d spools of %s to have in hand", int(math.Ceil(grams[id]/f.SpoolMass)), unit.FormatMass(f.SpoolMass))
		}
		b.add(to, id, grams[id], "g", price, note)
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
				b.add(Veneer, offcut(v.ID, o.ID), n, "piece", o.Price, fmt.Sprintf("%.0f x %.0f mm", o.Size.X, o.Size.Y))
			}
		}
	}
}

// offcut is the item of a piece of veneer that the shop had.
func offcut(veneer, id string) string { return veneer + ", offcut " + id }

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
				add(1, s.Size+" washer", sc.WasherPrice)
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
				pin, _ := in.Shop.Pin(l.Pin)
				add(5, fmt.Sprintf("pin %g mm", l.Pin), pin.Price)
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
		// What is printed in the shop is filament and hours, which are counted there.
		if l := &b.Lines[len(b.Lines)-1]; l.Unpriced && in.FixturePrinting != nil && strings.HasPrefix(l.Item, "printed ") {
			l.Unpriced, l.Note = false, "its filament and printing are among the fixtures"
		}
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
	b.printers(Machine, in.Printing, in.Shop)
	for _, s := range LaserTimes(in.Sheets, in.Patterns, in.Shop) {
		b.LaserSeconds += s
	}
	for _, l := range in.Shop.Lasers {
		if l.ID == in.Sheets.Laser && b.LaserSeconds > 0 {
			b.add(Machine, l.ID, b.LaserSeconds/3600, "h", l.Price, "cutting veneer")
		}
	}
}

// printers adds the hours of printers at loads.
func (b *Bill) printers(to Section, p *printing.Result, s *shop.Shop) {
	hours := map[string]float64{}
	for _, l := range p.Loads {
		hours[l.Printer] += l.Seconds / 3600
	}
	for _, p := range s.Printers {
		if h := hours[p.ID]; h > 0 {
			each := p.Price + p.Power/1000*s.Electricity
			b.add(to, p.ID, h, "h", each, fmt.Sprintf("use and %.1f kWh of electricity", h*p.Power/1000))
		}
	}
}

// fixtures counts what fixtures are made of: filament and hours of printers, and
// boards to be sawn by their templates.
func (b *Bill) fixtures(in Inputs) {
	if in.Fixtures == nil {
		return
	}
	if p := in.FixturePrinting; p != nil {
		for _, l := range p.Loads {
			b.FixtureGrams += l.Grams
			b.FixturePrintSeconds += l.Seconds
		}
		b.spools(Fixtures, p, in.Shop)
		b.printers(Fixtures, p, in.Shop)
	}
	n := map[string]int{}
	var items []string
	add := func(material string, thickness float64, k int) {
		item := material
		if thickness > 0 {
			item = fmt.Sprintf("%s, %.4g mm", material, thickness)
		}
		if n[item] == 0 {
			items = append(items, item)
		}
		n[item] += k
	}
	for _, f := range in.Fixtures.Fixtures {
		printed := slices.ContainsFunc(f.Parts, func(p fixture.Part) bool { return p.Filament != "" })
		for _, p := range f.Parts {
			if p.Filament == "" && len(f.Templates) == 0 {
				add(p.Material, 0, p.Quantity)
			}
		}
		if f.Kind == fixture.Caul && printed { // the template is for those who would rather saw it
			continue
		}
		for _, t := range f.Templates {
			if t.Material != "" {
				add(t.Material, t.Thickness, t.Quantity)
			}
		}
	}
	slices.Sort(items)
	for _, it := range items {
		b.add(Fixtures, it, float64(n[it]), "piece", 0, "cut by a template of the fixtures, or as their words tell")
		id, _, _ := strings.Cut(it, ",")
		if _, ok := in.Shop.Veneer(id); ok { // sheets are counted whole, with what is left of them
			l := &b.Lines[len(b.Lines)-1]
			l.Unpriced, l.Note = false, "of what is left of a sheet"
		}
	}
}
