package book

import (
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/bill"
	"groundwork/internal/kit"
	"groundwork/internal/printing"
	"groundwork/internal/unit"
)

var sectionTitles = map[bill.Section]string{
	bill.Filament: "Filament", bill.Veneer: "Veneer", bill.Hardware: "Hardware", bill.Consumable: "Consumables",
}

// needs are the lists of what must be at hand: where a kit is sent, what is in the
// box, what to have ready, and what only the seller needs.
func (w *writer) needs(f *flow, c chapterOf) {
	f.follows(c.id, c.title)
	if w.split() == kit.Ready {
		w.warnings(f)
	}
	if w.split() == "" {
		w.supplies(f, "")
		f.table([]column{{title: "Tools and small things", wide: 6}, {title: "For", wide: 5}}, w.listed(""))
	} else {
		if w.split() != kit.Ready {
			w.box(f)
			f.section("ready", "Have ready")
			f.para(para{keep: true}, "It is not in the box.")
			f.gap(1)
			w.supplies(f, buyer)
			f.table([]column{{title: "Tools and small things", wide: 6}, {title: "For", wide: 5}}, w.listed(buyer))
		}
		if w.split() == kit.Ready {
			f.section("seller", "Materials and tools")
		} else {
			f.section("seller", "The seller's own")
			f.para(para{keep: true}, "Not needed by whoever gets the box.")
			f.gap(1)
		}
		w.supplies(f, seller)
		f.table([]column{{title: "Tools and small things", wide: 6}, {title: "For", wide: 5}}, w.listed(seller))
	}
	if w.pl.Fixtures != nil && len(w.pl.Fixtures.Fixtures) > 0 {
		w.fixturesToMake(f)
	}
}

// user is who needs what a line of the bill tells of, by the phase in which it is
// used up; "" where no kit is sent.
func (w *writer) user(l bill.Line) string {
	if w.split() == "" {
		return ""
	}
	ph := map[bill.Section]Phase{bill.Filament: Print, bill.Fixtures: Print, bill.Veneer: Cut, bill.Consumable: Finish}[l.Section]
	switch {
	case l.Section == bill.Hardware && w.split() == kit.Ready: // set already
	case l.Section == bill.Hardware || !w.sold(ph):
		return buyer
	}
	return seller
}

// supplies are the materials of the bill that somebody needs.
func (w *writer) supplies(f *flow, by string) {
	for _, sec := range []bill.Section{bill.Filament, bill.Veneer, bill.Hardware, bill.Consumable} {
		var rows []row
		for _, l := range w.pl.Bill.Lines {
			own := l.Section == sec
			spools := sec == bill.Filament && l.Section == bill.Fixtures && l.Unit == "g"
			if !own && !spools || w.user(l) != by || sec == bill.Hardware && by == buyer && w.boxed(l.Item) {
				continue
			}
			note := l.Note
			if spools {
				note = "for fixtures and coupons"
			}
			if w.sys != unit.Metric && sec == bill.Veneer {
				if v, ok := w.pl.Shop.Veneer(l.Item); ok {
					note = w.size(v.Sheet.X, v.Sheet.Y)
				}
			}
			if strings.HasPrefix(l.Item, "printed ") && by == buyer {
				note = "printed from the fixtures' files"
			}
			item := l.Item
			if sec == bill.Consumable {
				item = strings.ReplaceAll(item, "-", " ")
			}
			rows = append(rows, row{cells: []string{item, amount(l), note}, box: true})
		}
		if rows == nil {
			continue
		}
		f.table([]column{{title: sectionTitles[sec], wide: 4}, {title: "How much", wide: 2, right: true}, {title: "", wide: 6}}, rows)
		f.gap(2)
	}
}

func amount(l bill.Line) string {
	switch l.Unit {
	case "g":
		return unit.FormatMass(l.Quantity)
	case "piece", "sheet":
		return fmt.Sprintf("%g %s", l.Quantity, plural(int(l.Quantity), l.Unit, l.Unit+"s"))
	}
	return fmt.Sprintf("%.3g %s", l.Quantity, l.Unit)
}

// tool is something that the work takes and does not use up.
type tool struct {
	what, use string
	in        []Phase // that take it
}

// listed are the tools and small things that somebody needs.
func (w *writer) listed(by string) (rows []row) {
	add := func(what, use string) { rows = append(rows, row{cells: []string{what, use}, box: true}) }
	for _, t := range w.tools() {
		if slices.ContainsFunc(w.steps, func(s Step) bool { return w.whose(s) == by && slices.Contains(t.in, s.Phase) }) {
			add(t.what, t.use)
		}
	}
	for _, t := range smallThings {
		if slices.ContainsFunc(w.steps, func(s Step) bool {
			return w.whose(s) == by && s.names(t[0])
		}) {
			add(t[1], t[2])
		}
	}
	if by == buyer && w.split() == kit.Ready {
		add("A blanket", "laying the parts on")
	}
	return rows
}

// names is whether a step's words or tables name something.
func (s Step) names(what string) bool {
	has := func(x string) bool { return strings.Contains(strings.ToLower(x), what) }
	return slices.ContainsFunc(s.Does, has) || slices.ContainsFunc(s.Tables, func(t Table) bool {
		return slices.ContainsFunc(t.Rows, func(r []string) bool { return slices.ContainsFunc(r, has) })
	})
}

// smallThings are listed where a step's words name them, and counted by no bill: the
// word, the thing, and what it is for.
var smallThings = [][3]string{
	{"alcohol", "Cleaning alcohol (isopropanol or ethanol), lint-free cloths", "wiping cores and joints"},
	{"low-tack", "Low-tack masking tape", "masking veneer"},
	{"waxed paper", "Waxed paper", "keeping glue off what it must not hold"},
	{"drop of wax", "Wax, as of a candle", "plugs that are loose"},
	{"film", "Plastic film", "under what is glued"},
	{"strip of paper", "Strips of paper, a sharp pencil", "measuring round edges"},
	{"p240", "Abrasive paper P240", "roughening"},
	{"p320", "Abrasive paper P320", "between coats"},
	{"vacuum", "Vacuum with a brush", "dust"},
	{"saw ", "A fine saw", "battens, boards"},
	{"felt", "Felt pads", "feet"},
}

// tools are what the work takes.
func (w *writer) tools() (out []tool) {
	add := func(what, use string, in ...Phase) { out = append(out, tool{what, use, in}) }
	for _, p := range w.pl.Shop.Printers {
		if slices.ContainsFunc(w.pl.Printing.Loads, func(l printing.Load) bool { return l.Printer == p.ID }) {
			add("A printer (here: "+p.ID+")", fmt.Sprintf("build volume %s, nozzle %s", w.size(p.Build.X, p.Build.Y, p.Build.Z), w.mm(p.Nozzle)), Print)
		}
	}
	for _, l := range w.pl.Shop.Lasers {
		if l.ID == w.pl.Sheets.Laser && len(w.pl.Sheets.Blanks) > 0 {
			add("A laser cutter", fmt.Sprintf("bed %s, with exhaust outdoors", w.size(l.Bed.X, l.Bed.Y)), Cut)
		}
	}
	add("Caliper, steel rule 600 mm, tape, square", "measuring", Print, Glue, Measure, Cut, Lay, Join)
	add("A flat board or plate", "gluing and checking", Glue, Join)
	add("Dust mask, eye cover, gloves", "sanding, glue", Glue, Ground, Join, Finish)
	if w.step("inserts/set") {
		add("Iron with a tip for inserts, 210 to 250 °C", "setting inserts", Inserts)
	}
	var sizes []string
	for _, j := range w.pl.Joints.Joints {
		for _, s := range j.Screws {
			if k := keys[s.Size] + " mm"; k != " mm" && !slices.Contains(sizes, k) {
				sizes = append(sizes, k)
			}
		}
	}
	slices.Sort(sizes)
	if sizes != nil {
		what := plural(len(sizes), "Hexagon key ", "Hexagon keys ") + and(sizes)
		if w.pl.Kit != nil {
			what += " (in the box)"
		}
		add(what+"; a torque key 0.2 to 2 N m if you have one", "screws", Assemble)
	}
	if len(w.pl.Seams.Seams) > 0 {
		add("Clamps and tape, brush for glue", "gluing segments", Glue)
	}
	if len(w.pl.Patterns) > 0 {
		add("Knife with fresh blades, straightedge, cutting mat", "blanks, trimming", Cut, Lay)
		add("Veneer hammer, or a scraper with rounded corners", "rubbing down", Lay)
		add("Flush cutter with a bearing, or a sharp block plane", "trimming", Lay)
		add("Hard sanding block, round file", "edges and holes", Lay, Finish)
	}
	if len(w.pl.Layout.Laps) > 0 {
		var bits []string
		for _, l := range w.pl.Layout.Laps {
			if s := w.mm(l.Pin); l.Pin > 0 && !slices.Contains(bits, s) {
				bits = append(bits, s)
			}
		}
		add("Hand drill with a bit of "+and(bits)+", light hammer", "pins of the laps", Lay)
	}
	return out
}

func (w *writer) step(id string) bool {
	return slices.ContainsFunc(w.steps, func(s Step) bool { return s.ID == id })
}
