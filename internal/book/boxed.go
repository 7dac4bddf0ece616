package book

import (
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/kit"
	"groundwork/internal/unit"
)

// sellers are the phases that whoever sells the kit has done when it is sent.
var sellers = map[kit.Split][]Phase{
	kit.Ready:  {Ready, Print, Inserts, Glue, Ground, Measure, Cut, Lay, Join, Finish},
	kit.Cores:  {Print, Cut},
	kit.Leaves: {Cut},
}

// Who does a step, where a kit is sent.
const (
	seller = "seller"
	buyer  = "buyer"
)

// split is who does what, "" where no kit is sent.
func (p *planner) split() kit.Split {
	if p.pl.Kit == nil {
		return ""
	}
	return p.pl.Kit.Split
}

// whose is who does a step: seller or buyer, or "" where no kit is sent. Whoever
// prints tests the coupons and makes the fixtures; whoever has the cores in hand
// before leaves are cut measures.
func (p *planner) whose(s Step) string {
	k := p.split()
	switch {
	case k == "":
		return ""
	case s.ID == "ready/check" && k != kit.Ready:
		return buyer
	case s.Phase == Ready && k == kit.Cores:
		return seller
	case s.ID == "measure/all":
		return k.Measurer()
	case slices.Contains(sellers[k], s.Phase):
		return seller
	}
	return buyer
}

// sold is whether the seller has done every step of a phase.
func (p *planner) sold(ph Phase) bool {
	if p.split() == kit.Cores && ph == Ready {
		return false // the check of the box is the buyer's
	}
	return slices.Contains(sellers[p.split()], ph)
}

// order is that of the chapters: whoever unpacks a piece that is ready begins with
// putting it together, and how it was made stands behind.
func (w *writer) order() []Phase {
	if w.split() != kit.Ready {
		return Phases
	}
	out := []Phase{Assemble, Use}
	for _, ph := range Phases {
		if !slices.Contains(out, ph) {
			out = append(out, ph)
		}
	}
	return out
}

// whoDoes says which chapters are the seller's and which the buyer's.
func (w *writer) whoDoes(f *flow) {
	k := w.pl.Kit
	if k == nil {
		return
	}
	f.section("who", "Who does what")
	waits := slices.ContainsFunc(k.Parcels, func(p kit.Parcel) bool { return p.Follows != "" })
	var what []string
	switch k.Split {
	case kit.Ready:
		what = []string{"This kit is sent with all done but the last screws. Whoever gets the box needs the first pages of this book: what is in the box, how it is put together, how it is used. The chapters behind them are the seller's; they tell how it was made, so that any part can be made again."}
	case kit.Cores:
		what = []string{
			"The seller tests the printer with the coupons, prints the cores and the fixtures, and cuts the veneer. Before the box is packed the seller pushes the segments together on their dowels, dry, measures what leaves wait for, and cuts every leaf to that. So all leaves lie in the box cut.",
			"Whoever gets the box sets the inserts, glues, veneers and finishes. Nothing is left to print, and no measure to send back.",
		}
	case kit.Leaves:
		what = []string{"Whoever gets the box prints, glues, veneers and finishes. The coupons of holes, dowels, inserts, plugs and shrinkage come first of all: write what you measure into the form fixtures/coupons.yaml and send it to the seller, who sends back files made for your printer. Coupons of veneer and of the laser are the seller's."}
		if waits {
			what = append(what, "*The veneer follows in a box of its own.* Leaves that wait for your cores are cut when the segments are glued and ground: measure what the chapter \"fit and measure\" asks for, write it into its table, and send the seller a picture of that page with the kit revision on it.")
		}
	}
	for _, s := range what {
		f.para(para{}, s)
		f.gap(1)
	}
	var rows []row
	for _, by := range []string{seller, buyer} {
		if does := w.doneBy(by); does != nil {
			rows = append(rows, row{cells: []string{by, strings.Join(does, "; ")}})
		}
	}
	f.table([]column{{title: "Who", wide: 1}, {title: "Does what the chapters tell", wide: 9}}, rows)
}

// doneBy are the chapters of somebody's work, with the steps where a chapter is
// shared.
func (w *writer) doneBy(by string) (out []string) {
	for _, ph := range w.order() {
		var mine []string
		shared := false
		for _, s := range w.steps {
			switch {
			case s.Phase != ph || strings.Contains(s.ID, "/fixtures/"):
			case w.whose(s) == by:
				mine = append(mine, lower(s.Title))
			default:
				shared = true
			}
		}
		switch {
		case mine == nil:
		case shared:
			out = append(out, fmt.Sprintf("%s (%s)", ph, strings.Join(mine, ", ")))
		default:
			out = append(out, string(ph))
		}
	}
	return out
}

// box is what is sent, parcel by parcel, with the spares.
func (w *writer) box(f *flow) {
	k := w.pl.Kit
	if k == nil || len(k.Parcels) == 0 {
		return
	}
	f.section("box", "In the box")
	for _, p := range k.Parcels {
		after := ""
		if p.Follows != "" {
			after = " It follows later, and waits for " + p.Follows + "."
		}
		f.para(para{keep: true}, fmt.Sprintf("*%s*: %s, %s.%s", p.ID, w.size(p.Outside.X, p.Outside.Y, p.Outside.Z), unit.FormatMass(p.Mass), after))
		f.gap(0.8)
		var rows []row
		for _, i := range p.Numbered() {
			t := k.Things[i]
			rows = append(rows, row{cells: []string{fmt.Sprint(t.N), t.ID, unit.FormatMass(t.Mass), t.Note}, box: true})
		}
		rows = append(rows, row{cells: []string{"", "box, wrapping and filling", unit.FormatMass(p.Packing)}})
		f.table([]column{{title: "Label", wide: 1.4}, {title: "What", wide: 4}, {title: "Mass", wide: 1.6, right: true}, {title: "", wide: 5}}, rows)
		f.gap(1.5)
	}
	var rows []row
	why := func(item string) (out string) {
		for _, s := range k.Spares {
			if s.Item == item {
				out = s.Why
			}
		}
		return out
	}
	for _, c := range k.Hardware {
		spare := ""
		if n := k.SparesOf(c.Item); n > 0 {
			spare = fmt.Sprintf("and %d spare", n)
			if s := why(c.Item); strings.Contains(s, "melted") { // more than what may get lost
				spare += ":" + s[strings.LastIndex(s, ";")+1:]
			}
		}
		rows = append(rows, row{cells: []string{c.Item, fmt.Sprintf("%d %s", c.Quantity, plural(c.Quantity, "piece", "pieces")), spare}, box: true})
	}
	for _, s := range k.Spares {
		if !slices.ContainsFunc(k.Hardware, func(c kit.Count) bool { return c.Item == s.Item }) {
			rows = append(rows, row{cells: []string{s.Item, fmt.Sprintf("%d %s", s.Quantity, plural(s.Quantity, "piece", "pieces")), s.Why}, box: true})
		}
	}
	if rows != nil {
		f.section("", "In the box of hardware, with spares")
		f.table([]column{{title: "What", wide: 5}, {title: "How many", wide: 2, right: true}, {title: "", wide: 5}}, rows)
	}
}

// boxed is whether an item of the bill lies in the box of hardware.
func (p *planner) boxed(item string) bool {
	return p.pl.Kit != nil && slices.ContainsFunc(p.pl.Kit.Hardware, func(c kit.Count) bool { return c.Item == item })
}
