package book

import (
	"fmt"
	"slices"

	"groundwork/internal/kit"
	"groundwork/internal/unit"
)

// sellers are the phases that whoever sells the kit has done when it is sent.
var sellers = map[kit.Split][]Phase{
	kit.Ready:  {Ready, Print, Inserts, Glue, Ground, Measure, Cut, Lay, Join, Finish},
	kit.Cores:  {Print, Cut},
	kit.Leaves: {Cut},
}

// whoDoes says which chapters are the seller's and which the buyer's.
func (w *writer) whoDoes(f *flow) {
	k := w.pl.Kit
	if k == nil {
		return
	}
	f.section("who", "Who does what")
	what := map[kit.Split]string{
		kit.Ready:  "This kit is sent with all done but the last screws. The chapters of the seller tell how, so that any part can be made again; whoever gets the box begins with putting it together.",
		kit.Cores:  "The seller prints the cores and cuts the veneer; whoever gets the box glues, veneers and finishes. Of print files the buyer needs those of the coupons alone.",
		kit.Leaves: "The seller cuts the veneer; whoever gets the box prints the cores from the kit's files. The coupons come first of all: what they measure goes back to the seller, who sends files made for the buyer's printer before anything else is printed.",
	}[k.Split]
	f.para(para{}, what)
	f.gap(1)
	var rows []row
	for _, ph := range Phases {
		if !slices.ContainsFunc(w.steps, func(s Step) bool { return s.Phase == ph }) {
			continue
		}
		who := "buyer"
		if slices.Contains(sellers[k.Split], ph) {
			who = "seller"
		}
		rows = append(rows, row{cells: []string{string(ph), who}})
	}
	f.table([]column{{title: "Chapter", wide: 4}, {title: "By whom", wide: 2}, {title: "", wide: 4}}, rows)
}

// box is what is sent, parcel by parcel, with the spares.
func (w *writer) box(f *flow) {
	k := w.pl.Kit
	if k == nil || len(k.Parcels) == 0 {
		return
	}
	f.section("box", "What is in the box")
	for _, p := range k.Parcels {
		f.para(para{keep: true}, fmt.Sprintf("*%s*: %s, %s.", p.ID, w.size(p.Outside.X, p.Outside.Y, p.Outside.Z), unit.FormatMass(p.Mass)))
		f.gap(0.8)
		var rows []row
		for _, i := range p.Things {
			t := k.Things[i]
			rows = append(rows, row{cells: []string{fmt.Sprint(t.N), t.ID, unit.FormatMass(t.Mass), t.Note}, box: true})
		}
		f.table([]column{{title: "Label", wide: 1.4}, {title: "What", wide: 4}, {title: "Mass", wide: 1.6, right: true}, {title: "", wide: 5}}, rows)
		f.gap(1.5)
	}
	var rows []row
	spare := func(item string) (out string) {
		for _, s := range k.Spares {
			if s.Item == item {
				out = fmt.Sprintf("and %d spare", s.Quantity)
			}
		}
		return out
	}
	for _, c := range k.Hardware {
		rows = append(rows, row{cells: []string{c.Item, fmt.Sprint(c.Quantity), spare(c.Item)}, box: true})
	}
	for _, s := range k.Spares {
		if !slices.ContainsFunc(k.Hardware, func(c kit.Count) bool { return c.Item == s.Item }) {
			rows = append(rows, row{cells: []string{s.Item, "", fmt.Sprintf("%d spare: %s", s.Quantity, s.Why)}, box: true})
		}
	}
	if rows != nil {
		f.section("", "In the box of hardware, with spares")
		f.table([]column{{title: "What", wide: 5}, {title: "How many", wide: 2, right: true}, {title: "", wide: 5}}, rows)
	}
}
