package book

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/fixture"
	"groundwork/internal/joint"
	"groundwork/internal/plan"
	"groundwork/internal/printing"
	"groundwork/internal/schedule"
	"groundwork/internal/shop"
	"groundwork/internal/unit"
)

func (p *planner) ready() {
	p.add(Step{
		ID: "ready/check", Phase: Ready, Title: "See that all is there",
		Does: []string{
			"Tick off the lists on the pages before this one.",
			fmt.Sprintf("Compare the kit revision on every label and file with the one at the head of this page: *%s*. Parts of different revisions do not go together; do not mix them.", p.Revision),
			fmt.Sprintf("Unpack the veneer and lay it flat, in the room where it will be laid, for %s; the printed cores beside it once they are done.", unit.FormatDuration(p.pl.Shop.Work.Acclimatise)),
		},
		Wait: p.pl.Shop.Work.Acclimatise,
	})
	f := p.pl.Shop.Fits
	does := []string{
		"Print the coupons in the filament, and on the printer, that the cores are printed with, and before any core: fits differ from machine to machine.",
	}
	var coupons []string
	tell := func(head string, these func(id string) bool) {
		for _, x := range p.fixtures(fixture.Coupon) {
			if these(x.ID) {
				coupons = append(coupons, x.ID)
				does = append(does, head+fmt.Sprintf("*%s*: %s", x.ID, x.Words))
				head = ""
			}
		}
	}
	shrinks := func(id string) bool { return strings.HasPrefix(id, "coupon/shrink") }
	plugs := func(id string) bool { return id == "coupon/plug" || strings.HasPrefix(id, "coupon/plug-") }
	tell("Shrinkage first. ", shrinks)
	if coupons != nil {
		does = append(does, "Enter the shrinkage and have the files made again before you print the other coupons: they carry it, or it counts twice.")
	}
	tell("Then the others. ", func(id string) bool { return !shrinks(id) && !plugs(id) })
	tell("", plugs)
	if slices.ContainsFunc(coupons, plugs) {
		does = append(does, "Print the plugs of the piece only after their coupon has been read.")
	}
	if coupons != nil {
		does[0] += p.whereCoupons()
		does = append(does, "Write what you measure into the form fixtures/coupons.yaml, or onto a copy of it on paper, and keep it for whoever makes the files.")
	}
	if coupons == nil {
		does = append(does,
			"Print a bar of 200 mm along the bed's x, another along y, and a tower of 100 mm. Let them cool and measure them with a caliper: shrinkage is (drawn - measured) / drawn.",
			"Print a bore for every size of dowel and insert in the lists, and try the hardware in them.")
	}
	does = append(does, "Compare with the table. If what you measure differs by more than it says, have the files made again with your figures before a core is printed.")
	// Fits are smaller than the lengths that are rounded to a tenth elsewhere.
	fine := func(x float64) string { return fmt.Sprintf("%.2f mm", x) }
	rows := [][]string{
		{"A printed hole comes out smaller by", fine(f.Hole), "0.1 mm", ""},
		{"Gap round a glued dowel, on the diameter", fine(f.GluedDowel), "0.1 mm", ""},
		{"Gap round a loose dowel, on the diameter", fine(f.LooseDowel), "0.1 mm", ""},
	}
	for _, id := range printed(p.pl) {
		fl, _ := p.pl.Shop.Filament(id)
		rows = append(rows, []string{"Shrinkage of " + id + " along x, y, z", fmt.Sprintf("%.2f %%, %.2f %%, %.2f %%", fl.Shrink.X*100, fl.Shrink.Y*100, fl.Shrink.Z*100), "0.1 %", ""})
	}
	p.add(Step{
		ID: "ready/coupons", Phase: Ready, Title: "Print and measure the coupons", Needs: []string{"ready/check"}, Does: does, Parts: coupons,
		Tables: []Table{{Head: []string{"What", "The files reckon with", "May differ by", "Measured"}, Rows: rows, Wide: []float64{5, 4, 2, 2}}},
	})
}

// jigs prints the fixtures.
func (p *planner) jigs() {
	if p.pl.Fixtures == nil || p.pl.FixturePrinting == nil || len(p.pl.FixturePrinting.Loads) == 0 {
		return
	}
	s := Step{ID: "ready/fixtures", Phase: Ready, Title: "Make the fixtures", Needs: []string{"ready/coupons"},
		Does: []string{
			"Print the loads below by their cards, in the order of the table of the chapter on printing the cores, or single parts from the files of the list of what you need. They may be printed while cores are being glued, but each before the step that takes it.",
			"Take every part as it lies in its file: fences and risers are printed on their sides, so that the nozzle draws their measure.",
			"Saw battens and boards for templates from scrap. Write its number on every fixture.",
		}}
	var sawn []string
	for _, f := range p.pl.Fixtures.Fixtures {
		s.Parts = append(s.Parts, f.ID)
		for _, x := range f.Parts {
			if x.Filament == "" {
				sawn = append(sawn, fmt.Sprintf("%d x %s", x.Quantity, x.ID))
			}
		}
	}
	if sawn != nil {
		s.Does = append(s.Does, "To be sawn: "+and(sawn)+".")
	}
	p.add(s)
	for _, n := range p.loads(p.pl.FixturePrinting, schedule.FixtureLoad) {
		l := p.pl.FixturePrinting.Loads[n.load]
		s := Step{ID: "ready/fixtures/" + l.ID, Phase: Ready, Title: "Fixtures, " + l.ID, Needs: []string{"ready/fixtures"}, Drawings: []string{"fixtures/" + l.ID}}
		for _, x := range p.together(p.pl.FixturePrinting, l) {
			s.Parts = append(s.Parts, x.id)
		}
		if n := slices.IndexFunc(s.Parts, p.isPlug); n >= 0 {
			s.Does = append(s.Does, fmt.Sprintf("Leave %s out of the load until the coupon of plugs has been read.", s.Parts[n]))
		}
		s.Does = append(s.Does, p.supports(p.pl.FixturePrinting, l)...)
		s.Does = append(s.Does, "Printed, taken off and numbered.")
		p.add(s)
	}
}

// alike are copies of a part on one load.
type alike struct {
	id string // of the part
	n  int
	at int // index into the load's items, of the first
}

// together are the parts of fixtures on a load, with how many of each.
func (p *planner) together(r *printing.Result, l printing.Load) (out []alike) {
	for i, it := range l.Items {
		id := r.Prints[it.Print].Segment
		if cut := strings.LastIndex(id, "."); cut > 0 && p.isPart(id[:cut]) {
			id = id[:cut]
		}
		if n := slices.IndexFunc(out, func(a alike) bool { return a.id == id }); n >= 0 {
			out[n].n++
			continue
		}
		out = append(out, alike{id, 1, i})
	}
	return out
}

// isPart is whether there is a part of a fixture of this ID.
func (p *planner) isPart(id string) bool {
	return slices.ContainsFunc(p.pl.Fixtures.Fixtures, func(f fixture.Fixture) bool {
		return slices.ContainsFunc(f.Parts, func(x fixture.Part) bool { return x.ID == id })
	})
}

// isPlug is whether a part of this ID is of a plug.
func (p *planner) isPlug(id string) bool {
	return slices.ContainsFunc(p.fixtures(fixture.PlugPart), func(f fixture.Fixture) bool {
		return slices.ContainsFunc(f.Parts, func(x fixture.Part) bool { return x.ID == id })
	})
}

// supports says what on a load needs them.
func (p *planner) supports(r *printing.Result, l printing.Load) []string {
	var props []string
	for _, it := range l.Items {
		if x := r.Prints[it.Print]; x.Overhang >= propped {
			props = append(props, x.Segment)
		}
	}
	if props == nil {
		return nil
	}
	return []string{"Switch supports on for " + and(props) + "."}
}

// whereCoupons says from what the coupons are printed.
func (p *planner) whereCoupons() string {
	s := " Every one has a file of its own, fixtures/coupon-….stl."
	if p.pl.FixturePrinting == nil {
		return s
	}
	var on []string
	for _, l := range p.pl.FixturePrinting.Loads {
		if slices.ContainsFunc(l.Items, func(it printing.Placed) bool {
			return strings.HasPrefix(p.pl.FixturePrinting.Prints[it.Print].Segment, "coupon/")
		}) {
			on = append(on, l.ID)
		}
	}
	if on == nil {
		return s
	}
	return s + fmt.Sprintf(" Print them from these, in the order of the sentences below; what is done is then left out of %s of the fixtures, on which coupons lie with other parts.", and(on))
}

// fixtures are those of a kind.
func (p *planner) fixtures(k fixture.Kind) (out []fixture.Fixture) {
	if p.pl.Fixtures == nil {
		return nil
	}
	for _, f := range p.pl.Fixtures.Fixtures {
		if f.Kind == k {
			out = append(out, f)
		}
	}
	return out
}

// serving are the fixtures of a step of the work that serve one of the parts.
func (p *planner) serving(step fixture.Step, parts ...string) (out []fixture.Fixture) {
	if p.pl.Fixtures == nil {
		return nil
	}
	for _, f := range p.pl.Fixtures.Fixtures {
		if f.Step == step && slices.ContainsFunc(f.Serves, func(s string) bool { return slices.Contains(parts, s) }) {
			out = append(out, f)
		}
	}
	return out
}

// printed are the filaments that cores are printed in.
func printed(pl *plan.Plan) (ids []string) {
	for _, l := range pl.Printing.Loads {
		ids = append(ids, l.Filament)
	}
	slices.Sort(ids)
	return slices.Compact(ids)
}

func printer(s *shop.Shop, id string) shop.Printer {
	if i := slices.IndexFunc(s.Printers, func(p shop.Printer) bool { return p.ID == id }); i >= 0 {
		return s.Printers[i]
	}
	return shop.Printer{}
}

// propped is the overhang in mm² from which a print gets supports, as settings
// cards have it.
const propped = 25

func (p *planner) print() {
	pr := p.pl.Printing
	p.add(Step{
		ID: "print/how", Phase: Print, Title: "How every load is printed", Needs: []string{"ready/coupons"},
		Does: []string{
			"Set the printer by the load's card. Print files carry no settings of their own: what the card does not name stays as your printer is used to.",
			"Take the file as it is. Parts lie as they must, and what the filament shrinks is in it already: do not turn, scale or mirror it. See that what lies on the bed is what the drawing shows.",
			"Print. Let the bed cool before you take the parts off, or they bend. Write its number on every part that has none engraved.",
			"Print the loads in the order of the table, each on the printer that stands beside it as soon as that is free, and tick them off. " + p.orderOf(),
		},
		Tables: []Table{p.inOrder()},
	})
	for _, n := range p.loads(pr, "") {
		l := pr.Loads[n.load]
		s := Step{ID: "print/" + l.ID, Phase: Print, Title: "Print " + l.ID, Needs: []string{"print/how"}, Drawings: []string{"load/" + l.ID}}
		var edges []string
		var chamfer float64
		for _, it := range l.Items {
			x := pr.Prints[it.Print]
			s.Parts = append(s.Parts, x.Segment)
			if x.Chamfer > 0 {
				edges, chamfer = append(edges, x.Segment), x.Chamfer
			}
		}
		s.Does = append(s.Does, p.supports(pr, l)...)
		if edges != nil {
			s.Does = append(s.Does, fmt.Sprintf("Break the edges that lay on the bed by %s on %s: a foot of spread plastic keeps faces from meeting.", p.mm(chamfer), and(edges)))
		}
		s.Does = append(s.Does, "Printed, taken off and numbered.")
		p.add(s)
	}
	var rows [][]string
	var parts []string
	for i, sg := range p.pl.Cores.Segments {
		x := pr.Prints[i]
		parts = append(parts, sg.ID)
		// As it lies in the printer, core sizes: what a caliper finds when shrinkage is right.
		rows = append(rows, []string{sg.ID, p.size(unscaled(x.Size.X, x.Scale.X), unscaled(x.Size.Y, x.Scale.Y), unscaled(x.Size.Z, x.Scale.Z)), unit.FormatMass(x.Grams), p.dowelBores(sg.ID), "", ""})
	}
	p.add(Step{
		ID: "print/check", Phase: Print, Title: "Check the segments", Needs: p.of(Print), Parts: parts,
		Does: []string{
			"Measure every segment, as it lay on the bed. What is off by more than 0.3 mm, or 0.3 % where that is more, is printed again or told to whoever made the files.",
			"Lay it on a flat plate. Where it rocks by more than 0.3 mm, warm it and let it cool under a weight, or sand the face flat on P120 on a flat board.",
			"Push a dowel into every bore of the column \"dowel bores\", and into no other; ream those that are tight. Never ream the bore of an insert, a screw or a plug: an insert holds in the plastic that the reamer would take away.",
		},
		Tables: []Table{{Head: []string{"Segment", "Size as it lay in the printer", "Mass", "Dowel bores", "Measured", "Flat"}, Rows: rows, Wide: []float64{4, 5, 1.9, 3.2, 3, 1.3}, Tick: true}},
	})
}

// queued is a load in the order in which loads are printed.
type queued struct {
	load    int // index into Printing.Loads, or FixturePrinting.Loads
	printer string
	start   float64 // s, by the calendar
}

// loads are a printing's loads in the calendar's order; in their own where there is
// no calendar. prefix is what the calendar calls them by, before their IDs.
func (p *planner) loads(r *printing.Result, prefix string) []queued {
	out := make([]queued, len(r.Loads))
	for i, l := range r.Loads {
		out[i] = queued{load: i, printer: l.Printer}
		if p.pl.Schedule == nil {
			continue
		}
		for _, a := range p.pl.Schedule.Activities {
			if a.Kind == schedule.Print && a.Of == prefix+l.ID {
				out[i].start = a.Start
				if a.Machine != "" {
					out[i].printer = a.Machine
				}
			}
		}
	}
	slices.SortStableFunc(out, func(a, b queued) int { return cmp.Compare(a.start, b.start) })
	return out
}

// orderOf says where the order of loads comes from.
func (p *planner) orderOf() string {
	if p.pl.Schedule == nil {
		return "Any order will do; this one is that of the files."
	}
	return "The order is the calendar's: what takes long afterwards comes off early."
}

// inOrder is the table of all loads, those of fixtures too.
func (p *planner) inOrder() Table {
	type line struct {
		queued
		row []string
	}
	var all []line
	add := func(r *printing.Result, prefix string, on func(l printing.Load) []string) {
		for _, q := range p.loads(r, prefix) {
			l := r.Loads[q.load]
			all = append(all, line{q, []string{"", prefix + l.ID, q.printer, l.Filament, strings.Join(on(l), ", "), unit.FormatDuration(l.Seconds), ""}})
		}
	}
	if r := p.pl.FixturePrinting; r != nil && p.pl.Fixtures != nil {
		add(r, schedule.FixtureLoad, func(l printing.Load) (ids []string) {
			for _, x := range p.together(r, l) {
				if x.n > 1 {
					x.id = fmt.Sprintf("%d x %s", x.n, x.id)
				}
				ids = append(ids, x.id)
			}
			return ids
		})
	}
	add(p.pl.Printing, "", func(l printing.Load) (ids []string) {
		for _, it := range l.Items {
			ids = append(ids, p.pl.Printing.Prints[it.Print].Segment)
		}
		return ids
	})
	slices.SortStableFunc(all, func(a, b line) int { return cmp.Compare(a.start, b.start) })
	t := Table{Head: []string{"", "Load", "Printer", "Filament", "What is on it", "Takes about", "Begun, off"}, Wide: []float64{1.3, 2.5, 2.2, 1.5, 6, 1.9, 2}, Tick: true}
	for i, x := range all {
		x.row[0] = fmt.Sprint(i + 1)
		t.Rows = append(t.Rows, x.row)
	}
	return t
}

func unscaled(size, scale float64) float64 {
	if scale == 0 {
		return size
	}
	return size / scale
}

func (p *planner) inserts() {
	type seat struct {
		segment, size string
		hole, depth   float64
		mind          string
	}
	count := map[seat]int{}
	joints := map[seat][]string{}
	var order []seat
	for _, j := range p.pl.Joints.Joints {
		n := 0
		for _, b := range j.Bores {
			if b.Purpose != joint.InsertBore {
				continue
			}
			size := ""
			if n < len(j.Screws) {
				size = j.Screws[n].Insert
			}
			n++
			s := seat{segmentAt(p.pl, b.Member, b.Mouth.Add(b.Axis)), size, b.Diameter, b.Depth, p.otherBore(b)}
			if count[s] == 0 {
				order = append(order, s)
			}
			count[s]++
			if !slices.Contains(joints[s], j.ID) {
				joints[s] = append(joints[s], j.ID)
			}
		}
	}
	if order == nil {
		return
	}
	slices.SortStableFunc(order, func(a, b seat) int { return cmp.Compare(a.segment, b.segment) })
	var rows [][]string
	var parts []string
	total := 0
	for _, s := range order {
		parts = append(parts, s.segment)
		total += count[s]
		rows = append(rows, []string{s.segment, fmt.Sprintf("%d x %s", count[s], s.size), p.mm(s.hole), p.mm(s.depth), strings.Join(joints[s], ", "), s.mind})
	}
	does := []string{}
	does = append(does,
		"Set them now, before anything is glued or veneered: the part lies on the bench and a slip spoils only a print.",
		"Lay or prop each segment so that the bore stands upright and the face round it level, and so that it cannot tip: in a vice with soft jaws, or between bags of sand. Look along a small square that stands on the face.")
	if guides := p.fixtures(fixture.InsertGuide); guides != nil {
		for _, g := range guides {
			does = append(does, p.guideDepth(g))
		}
		does = append(does, "Drop the insert into the guide, its small end first. Rest the hot tip in it, upright, and let its weight sink it; do not push. When the insert is level with the face (the tape meets the guide) lift the tip off straight at once, then the guide, before its plastic grows soft.")
	} else {
		does = append(does, "Put the insert on the hole, its small end in. Rest the hot tip in it, upright, and let its weight sink it; do not push. Stop when it is level with the face, and lift the tip off straight.")
	}
	does = append(does,
		"Press a flat piece of cold metal on it at once for ten seconds, so that it cools square and a hair below the face. It must never stand proud: shave off plastic that has risen.",
		"When it is cold, drive a screw in by hand. It must run true: what leans more than one degree is set again.")
	p.add(Step{
		ID: "inserts/set", Phase: Inserts, Title: fmt.Sprintf("Set %d inserts", total), Needs: []string{"print/check"}, Does: does, Parts: parts, Drawings: []string{"joints"},
		Tables: []Table{{Head: []string{"Segment", "Inserts", "Bore", "Deep", "Of", "Mind"}, Rows: rows, Wide: []float64{2.6, 2.2, 1.9, 1.9, 2.4, 5}, Tick: true}},
	})
}
