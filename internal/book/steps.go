package book

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/bill"
	"groundwork/internal/check"
	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/kit"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/printing"
	"groundwork/internal/scene"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/unit"
	"groundwork/internal/veneer"
)

// Phase is a part of the work; the book has a chapter for each.
type Phase string

// In the order of the work.
const (
	Ready    Phase = "make ready"
	Print    Phase = "print the cores"
	Inserts  Phase = "set the inserts"
	Glue     Phase = "glue the segments"
	Ground   Phase = "prepare the ground"
	Measure  Phase = "fit and measure"
	Cut      Phase = "cut the veneer"
	Lay      Phase = "lay the veneer"
	Join     Phase = "glue the members"
	Finish   Phase = "sand and finish"
	Assemble Phase = "put it together"
	Use      Phase = "use and care"
)

// Phases are all of them.
var Phases = []Phase{Ready, Print, Inserts, Glue, Ground, Measure, Cut, Lay, Join, Finish, Assemble, Use}

// operations are the cautions that a phase's steps take along.
var operations = map[Phase][]string{
	Ready: {"print"}, Print: {"print"}, Inserts: {"insert"}, Glue: {"glue"}, Ground: {"sand"}, Cut: {"laser"}, Lay: {"trim"},
	Join: {"glue"}, Finish: {"sand", "finish"}, Assemble: {"assemble"}, Use: {"use"},
}

// Step is one step of the work: what somebody does before the next tick.
type Step struct {
	ID       string   // unique: "print/load-03"
	Phase    Phase    //
	Title    string   // of a few words
	Needs    []string // IDs of steps that must have ended
	Does     []string // what to do, a sentence or two each, in order; *bold* where it matters
	Parts    []string // IDs of segments, patterns, members, joints, blanks that it is about
	Tables   []Table
	Cautions []check.Caution // that belong to this step
	Drawings []string        // names of the pictures that go with it
	Wait     float64         // s that must pass before what needs it begins
}

// Table is figures that go with a step.
type Table struct {
	Head []string
	Rows [][]string
	Wide []float64 // shares of the width
	Tick bool      // every row gets a check box
}

// planner writes down the steps of a plan.
type planner struct {
	Inputs
	pl    *plan.Plan
	sys   unit.System
	apart *scene.Apart
	moves []move // of taking apart, in the order of putting together
	kinds []kind
	steps []Step
}

// Steps is the order of work. apart says in what order the piece goes together.
func Steps(in Inputs, apart *scene.Apart, sys unit.System) []Step {
	p := newPlanner(in, apart, sys)
	p.ready()
	p.jigs()
	p.print()
	p.inserts()
	p.glue()
	p.ground()
	p.measure()
	p.cut()
	p.lay()
	p.join()
	p.finish()
	p.assemble()
	p.use()
	for i, s := range p.steps {
		if s.ID == "ready/check" { // nothing is printed yet
			continue
		}
		for _, c := range p.pl.Checks.Cautions {
			if slices.Contains(operations[s.Phase], c.Operation) {
				p.steps[i].Cautions = append(p.steps[i].Cautions, c)
			}
		}
		p.steps[i].Cautions = append(p.steps[i].Cautions, bench[s.Phase]...)
		if s.Phase == Lay && len(p.pl.Layout.Laps) > 0 {
			p.steps[i].Cautions = append(p.steps[i].Cautions, drilling)
		}
	}
	return p.steps
}

// bench are cautions of the work at the bench that a plan's checks, which know of
// the piece, do not bring.
var bench = map[Phase][]check.Caution{
	Ground: {
		{Operation: "sand", Text: "What is sanded here is plastic and filler: wear the mask and eye cover for their dust too, and sand with a vacuum at the block.", Source: "common practice, no source; the makers' data sheets come first"},
		{Operation: "sand", Text: "Filler and sealer give off fumes: open windows, no flame, gloves, until they are dry.", Source: "common practice, no source; the makers' data sheets come first"},
	},
	Finish: {
		{Operation: "finish", Text: "Finish gives off vapour until it is dry: open windows on two sides, no flame and no stove in the room, gloves.", Source: "common practice, no source; the maker's data sheet comes first"},
	},
}

var drilling = check.Caution{Operation: "trim", Text: "Wear eye cover when you drill for pins and drive them: thin bits break.", Source: "common practice, no source"}

func newPlanner(in Inputs, apart *scene.Apart, sys unit.System) *planner {
	p := &planner{Inputs: in, pl: in.Plan, sys: sys, apart: apart}
	p.kinds = kinds(p.pl)
	p.moves = moves(apart)
	return p
}

func (p *planner) add(s Step) { p.steps = append(p.steps, s) }

func (p *planner) mm(x float64) string { return unit.FormatLength(x, p.sys) }

func (p *planner) size(x ...float64) string {
	var out []string
	for _, v := range x {
		out = append(out, strings.TrimSuffix(strings.TrimSuffix(p.mm(v), " mm"), " in"))
	}
	return strings.Join(out, " x ") + p.unit()
}

func (p *planner) unit() string {
	if p.sys == unit.Metric {
		return " mm"
	}
	return " in"
}

// of are the IDs of the steps of a phase.
func (p *planner) of(ph Phase) (ids []string) {
	for _, s := range p.steps {
		if s.Phase == ph {
			ids = append(ids, s.ID)
		}
	}
	return ids
}

// about are the IDs of the steps of a phase that are about a part.
func (p *planner) about(ph Phase, parts ...string) (ids []string) {
	for _, s := range p.steps {
		if s.Phase == ph && slices.ContainsFunc(parts, func(q string) bool { return slices.Contains(s.Parts, q) }) {
			ids = append(ids, s.ID)
		}
	}
	return ids
}

// kind is bodies that are made alike: of the same members, of which some may be
// mirrored.
type kind struct {
	name   string // "leg"
	bodies []int  // indices into Seams.Bodies
}

// kinds are the bodies by the names of their members.
func kinds(pl *plan.Plan) []kind {
	var out []kind
	for i, b := range pl.Seams.Bodies {
		var names []string
		for _, m := range b.Members {
			if n := pl.Piece.Members[m].Name; !slices.Contains(names, n) {
				names = append(names, n)
			}
		}
		name := strings.Join(names, " with ")
		if n := slices.IndexFunc(out, func(k kind) bool { return k.name == name }); n >= 0 {
			out[n].bodies = append(out[n].bodies, i)
			continue
		}
		out = append(out, kind{name, []int{i}})
	}
	return out
}

// title is "Leg 1 to 4" or "Top".
func (k kind) title() string {
	s := strings.ToUpper(k.name[:1]) + strings.ReplaceAll(k.name[1:], "-", " ")
	if len(k.bodies) > 1 {
		s = fmt.Sprintf("%s (%d)", strings.ToUpper(k.name[:1])+strings.ReplaceAll(many(k.name)[1:], "-", " "), len(k.bodies))
	}
	return s
}

// idsOf are the IDs of a kind's bodies.
func idsOf(pl *plan.Plan, k kind) (ids []string) {
	for _, b := range k.bodies {
		ids = append(ids, pl.Seams.Bodies[b].ID)
	}
	return ids
}

// segments are those of a body.
func segments(pl *plan.Plan, body int) (ids []string) {
	for _, s := range pl.Seams.Segments {
		if s.Body == body {
			ids = append(ids, s.ID)
		}
	}
	return ids
}

// segmentAt is the segment of a member's core that holds a point.
func segmentAt(pl *plan.Plan, member int, at geom.Vec3) string {
	const tol = 1e-6
	for _, s := range pl.Seams.Segments {
		if slices.Contains(pl.Seams.Bodies[s.Body].Members, member) &&
			!slices.ContainsFunc(s.Planes, func(q geom.Plane) bool { return q.Distance(at) > tol }) {
			return s.ID
		}
	}
	return ""
}

// bodyOf is the body that a member is printed in.
func bodyOf(pl *plan.Plan, member int) int {
	return slices.IndexFunc(pl.Seams.Bodies, func(b seam.Body) bool { return slices.Contains(b.Members, member) })
}

const (
	hour = 3600.0
	day  = 24 * hour
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
			"Print the loads below by their cards, or single parts from the files of the list of what you need. They may be printed while cores are being glued, but each before the step that takes it.",
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
	for _, l := range p.pl.FixturePrinting.Loads {
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
		},
	})
	for _, l := range pr.Loads {
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

// glueUp is one glue-up: two sides that are together already, or a segment each.
type glueUp struct {
	a, b  []string
	seams []int
	as    string // ID of the clamping plan; then all that is put together is in a
}

// glueUps are the glue-ups of a body, in an order in which every one presses two
// sides together along one plane: a plane that parts what is together is found,
// and either side is glued first.
func glueUps(pl *plan.Plan, body int) []glueUp {
	center := map[string]geom.Vec3{}
	for _, s := range pl.Cores.Segments {
		center[s.ID] = s.Bounds.Center()
	}
	var part func(ids []string) []glueUp
	part = func(ids []string) []glueUp {
		if len(ids) < 2 {
			return nil
		}
		var best *glueUp
		for _, s := range pl.Seams.Seams {
			if s.Body != body || !slices.Contains(ids, s.Segments[0]) || !slices.Contains(ids, s.Segments[1]) {
				continue
			}
			g := glueUp{}
			for _, id := range ids {
				if s.Plane.Distance(center[id]) < 0 {
					g.a = append(g.a, id)
				} else {
					g.b = append(g.b, id)
				}
			}
			whole := true // nothing reaches through the plane
			for n, o := range pl.Seams.Seams {
				if o.Body != body || !slices.Contains(ids, o.Segments[0]) || !slices.Contains(ids, o.Segments[1]) {
					continue
				}
				if slices.Contains(g.a, o.Segments[0]) != slices.Contains(g.a, o.Segments[1]) {
					g.seams = append(g.seams, n)
					along := math.Abs(o.Plane.Normal.Dot(s.Plane.Normal))
					whole = whole && along > 1-1e-9 && math.Abs(o.Plane.D-math.Copysign(s.Plane.D, s.Plane.D*o.Plane.Normal.Dot(s.Plane.Normal))) < 1e-3
				}
			}
			if len(g.a) == 0 || len(g.b) == 0 || !whole {
				continue
			}
			if best == nil || min(len(g.a), len(g.b)) > min(len(best.a), len(best.b)) {
				best = &g
			}
		}
		if best == nil { // no plane parts them: one after another
			var all []int
			for n, o := range pl.Seams.Seams {
				if slices.Contains(ids, o.Segments[0]) && slices.Contains(ids, o.Segments[1]) {
					all = append(all, n)
				}
			}
			return []glueUp{{a: ids[:1], b: ids[1:], seams: all}}
		}
		return append(append(part(best.a), part(best.b)...), *best)
	}
	return part(segments(pl, body))
}

func (p *planner) glue() {
	work := p.pl.Shop.Work
	if len(p.pl.Seams.Seams) > 0 {
		p.add(Step{
			ID: "glue/how", Phase: Glue, Title: "How every seam is glued", Needs: append([]string{"print/check"}, p.of(Inserts)...),
			Does: []string{
				"Try the glue, and the dowels, on scrap of the same filament first: two offcuts must break beside the seam.",
				"Roughen the faces with P120 to P240, wipe them with alcohol, never acetone, and touch them no more.",
				p.pairWords(),
				"Put the parts together dry, with their dowels, on a flat board under film. The faces must close all round under the pressure of two hands, and outlines run on across the seam.",
				fmt.Sprintf("Spread a thin film of glue on both faces and in the bores, set the dowels, close and press lightly: glue must just show all round. Leave it in its clamps for %s; work and load it after %s. The glue's own data sheet comes first.", unit.FormatDuration(work.GlueHold), unit.FormatDuration(work.GlueCure)),
				"Wipe off what was squeezed out while it is soft. See with a straightedge, both ways, that the faces are flush.",
				"Do the lines of a table in order. What stands in one line is pressed in one go.",
			},
		})
		how := &p.steps[len(p.steps)-1]
		const dry = 4 // sentences, the last of them on putting parts together dry
		for _, k := range p.kinds {
			if w := p.parallel(k); w != "" {
				how.Does = slices.Insert(how.Does, dry, w)
			}
		}
		if p.clamped() {
			how.Does = append(how.Does, p.clampingWords()...)
		}
	}
	for _, k := range p.kinds {
		head := []string{"", "This", "to this", "with", "closes"}
		var rows [][]string
		var parts, ids []string
		s := Step{Phase: Glue, ID: "glue/" + k.name, Title: "Glue the segments of " + p.the(idsOf(p.pl, k)), Wait: work.GlueCure}
		for _, b := range k.bodies {
			body := p.pl.Seams.Bodies[b]
			for _, g := range p.glueUpsOf(b) {
				var dowels []string
				count := map[string]int{}
				var seams []string
				for _, i := range g.seams {
					sm := p.pl.Seams.Seams[i]
					seams = append(seams, sm.ID)
					for _, d := range sm.Dowels {
						name := dowelName(d)
						if count[name] == 0 {
							dowels = append(dowels, name)
						}
						count[name]++
					}
				}
				for i, d := range dowels {
					dowels[i] = fmt.Sprintf("%d x %s", count[d], d)
				}
				to := strings.Join(g.b, " + ")
				if g.as != "" {
					to, head = g.as, []string{"", "Put together", "clamped as", "with", "closes"}
				}
				rows = append(rows, []string{fmt.Sprint(len(rows) + 1), strings.Join(g.a, " + "), to, strings.Join(dowels, ", "), strings.Join(seams, ", ")})
				ids = append(ids, seams...)
			}
			if len(segments(p.pl, b)) > 1 {
				parts = append(parts, segments(p.pl, b)...)
				parts = append(parts, body.ID)
			}
		}
		if rows == nil {
			continue
		}
		s.Parts = slices.Concat(parts, ids)
		s.Needs = append([]string{"glue/how", "print/check"}, p.about(Inserts, parts...)...)
		s.Drawings = []string{"body/" + p.pl.Seams.Bodies[k.bodies[0]].ID}
		if p.pl.Fixtures != nil {
			s.Drawings = append(s.Drawings, p.clampings(fixture.GlueSegments, ids)...)
			s.Does = append(s.Does, p.likewise(fixture.GlueSegments, ids)...)
			for _, f := range p.serving(fixture.GlueSegments, ids...) {
				s.Parts = append(s.Parts, f.ID)
			}
		}
		s.Tables = []Table{{Head: head, Rows: rows, Wide: []float64{1, 4, 4, 4, 4}, Tick: true}}
		p.add(s)
	}
}

// glueUpsOf are the glue-ups of a body, by the clamping plans if there are any.
func (p *planner) glueUpsOf(body int) []glueUp {
	ups := glueUps(p.pl, body)
	if p.pl.Fixtures == nil {
		return ups
	}
	var out []glueUp
	closed := 0
	for _, c := range p.pl.Fixtures.Clamping {
		if c.Step != fixture.GlueSegments {
			continue
		}
		g := glueUp{a: c.Parts, as: c.ID}
		for n, s := range p.pl.Seams.Seams {
			if s.Body == body && slices.Contains(c.Serves, s.ID) {
				g.seams = append(g.seams, n)
			}
		}
		if g.seams != nil {
			out, closed = append(out, g), closed+len(g.seams)
		}
	}
	all := 0
	for _, s := range p.pl.Seams.Seams {
		if s.Body == body {
			all++
		}
	}
	if closed != all { // some could not be clamped on this bench
		return ups
	}
	return out
}

func dowelName(d joint.Dowel) string {
	s := fmt.Sprintf("dowel %g x %g", d.Diameter, d.Length)
	if d.Printed {
		s = "printed " + s
	}
	return s
}

func (p *planner) ground() {
	if len(p.pl.Patterns) == 0 {
		return
	}
	var ids []string
	for _, b := range p.pl.Seams.Bodies {
		ids = append(ids, b.ID)
	}
	wide := 0.0
	for _, pt := range p.pl.Patterns {
		v, _ := p.pl.Shop.Veneer(pt.Veneer)
		wide = max(wide, v.Stack())
	}
	p.add(Step{
		ID: "ground/all", Phase: Ground, Title: "Fill, sand and seal", Needs: append([]string{"print/check"}, p.of(Glue)...), Parts: ids, Wait: p.pl.Shop.Work.SealerDry,
		Does: []string{
			"Mask every face that another member stands on, every bore and every insert. What is raised by the thickness of the veneer (" + p.mm(wide) + ") is a pad for another member and stays bare.",
			"Fill seams, pits and rows of layers, and let the filler harden for " + unit.FormatDuration(p.pl.Shop.Work.FillerDry) + ". Sand flush with P120, then P180, on a hard block. Do not round the edges: veneer meets on them. No more than 0.2 mm may come off.",
			"Draw a pencil line across every seam and sand once more: where the line stays, there is a hollow.",
			"Seal all that will be veneered, thinly, and go over it again, as soon as the sealer's data sheet lets you, where it sank in. Leave it for " + unit.FormatDuration(p.pl.Shop.Work.SealerDry) + " before veneer is laid.",
			"Before you lay, smooth the sealer with P220 and wipe with a cloth that is damp with alcohol, not wet. The adhesive grips a closed, dry ground; it does not grip dust.",
		},
	})
}

// surfaceName is what a member's surface is called.
func surfaceName(pl *plan.Plan, member, surface int) string {
	if names := pl.Layout.Cores[member].SurfaceNames(); surface >= 0 && surface < len(names) {
		return names[surface]
	}
	return ""
}

func (p *planner) measure() {
	var rims, bores [][]string
	var parts []string
	banded := map[[2]int]bool{}
	for _, b := range p.pl.Layout.Bands {
		banded[[2]int{b.Member, b.Surface}] = true
		held := false
		for _, pt := range p.pl.Patterns {
			if pt.Member == b.Member && pt.Surface == b.Surface && strings.Contains(pt.Release, "true perimeter") {
				held = true
				parts = append(parts, pt.ID)
			}
		}
		if held {
			rims = append(rims, []string{b.ID, p.mm(b.To - b.From), ""})
		}
	}
	round := false
	plugs := 0
	for _, pt := range p.pl.Patterns {
		if strings.Contains(pt.Release, "true perimeter") && pt.Member >= 0 && !banded[[2]int{pt.Member, pt.Surface}] {
			parts = append(parts, pt.ID)
			for _, g := range p.girths(pt) {
				round = true
				rims = append(rims, []string{pt.ID + ", " + g.where, p.mm(g.length), ""})
			}
		}
		if !strings.Contains(pt.Release, "bore centres") {
			continue
		}
		parts = append(parts, pt.ID)
		switch n := len(pt.Net) - 1; {
		case pt.Member < 0:
			plugs++
			bores = append(bores, []string{pt.ID, p.size(pt.Length, pt.Width), "the plug, in its bore", ""})
		case n == 0:
			bores = append(bores, []string{pt.ID, p.size(pt.Length, pt.Width), "its outline", ""})
		default:
			bores = append(bores, []string{pt.ID, p.size(pt.Length, pt.Width), fmt.Sprintf("its outline, %d %s", n, plural(n, "opening", "openings")), ""})
		}
	}
	const dry = "Put the whole piece together dry, screws finger-tight, dowels in and no glue. Every contact must close, and it must stand without rocking. Take it apart again."
	does := []string{dry}
	cores := p.split() == kit.Cores // who prints measures, before anything is glued
	if cores {
		does[0] = "Before the box is packed, push the segments of every part together on their dowels, dry and without glue, until the seams close all round; hold them so with tape beside what is measured."
	}
	var tables []Table
	if rims != nil {
		does = append(does, "Lay a strip of paper round each run of the table, mark where it meets itself, and measure it flat. Write the length down. A tape of steel reads wrong round a curve.")
		if round {
			does = append(does, fmt.Sprintf("Round a leg or another turned part lay the strip square to its axis, %s from the end, measured along the side that lies opposite to where the leaf closes.", p.mm(girthIn)))
		}
		tables = append(tables, Table{Head: []string{"Run on the core", "Drawn", "Measured"}, Rows: rims, Wide: []float64{4, 3, 3}, Tick: true})
	}
	if bores != nil {
		does = append(does, "Print the cut sheets of the blanks that hold the leaves of the table on paper, at full size. Lay each leaf over its core: openings must fall on bores and pads, and outlines on edges with their allowance all round, within 0.5 mm.")
		if plugs > 0 {
			does = append(does, "Push each plug into its bore and lay its leaf on it, of paper: it covers the plug, with its allowance to trim. Take the plug out again.")
		}
		tables = append(tables, Table{Head: []string{"Leaf", "Net size", "Look at", "Fits the core"}, Rows: bores, Wide: []float64{4, 3, 3, 2.4}, Tick: true})
	}
	if parts != nil {
		does = append(does, "*Hold.* Patterns that wait for these figures are not cut before the figures agree, to 0.1 %, or the files have been made again with them. Every blank says what on it waits.")
		if p.split() == kit.Leaves {
			does = append(does, fmt.Sprintf("*Send the figures.* Send a picture of the tables below, with the kit revision %s on it, to whoever made the kit. What waits is cut to them, and follows in a box of its own.", p.Revision))
		}
	}
	made := slices.Concat(p.of(Print), p.of(Inserts), p.of(Glue), p.of(Ground))
	s := Step{ID: "measure/all", Phase: Measure, Title: "Dry fit, and the figures that patterns wait for", Needs: made, Does: does, Parts: parts, Tables: tables}
	if cores {
		s.Title, s.Needs = "The figures that patterns wait for", p.of(Print)
		s.Does = append(s.Does, "Take the segments apart again for the box.")
		p.add(s)
		s = Step{ID: "measure/fit", Phase: Measure, Title: "Dry fit", Needs: append(made, "measure/all"), Does: []string{dry,
			"Cut every leaf out of its blank, its liner and label on it, and lay it against its core: it was cut to these cores, and its openings fall on bores and pads. What does not, is told to whoever made the kit before anything is laid."}}
	}
	p.add(s)
}

// onBlank are the patterns of a blank, as indices.
func onBlank(pl *plan.Plan, blank int) (out []int) {
	for _, x := range pl.Sheets.Placements {
		if x.Blank == blank {
			out = append(out, x.Pattern)
		}
	}
	return out
}

func (p *planner) cut() {
	sh := p.pl.Sheets
	for i, s := range sh.Sheets {
		st := Step{ID: "cut/" + s.ID, Phase: Cut, Title: fmt.Sprintf("Cut %s into blanks", s.ID), Needs: []string{"ready/check"}, Drawings: []string{"sheet/" + s.ID}, Parts: []string{s.ID}}
		for _, b := range sh.Blanks {
			if b.Sheet == i {
				st.Parts = append(st.Parts, b.ID)
			}
		}
		st.Does = []string{fmt.Sprintf("Lay the sheet face up, its grain to the right, %s across the grain and %s along it.", p.mm(s.Size.X), p.mm(s.Size.Y))}
		if s.Kept != "" {
			st.Does[0] = fmt.Sprintf("Take the offcut %s from your stock. ", s.Kept) + st.Does[0]
		}
		if s.Margin > 0 {
			st.Does = append(st.Does, fmt.Sprintf("Cut %s off all round: edges of sheets are dirty and split.", p.mm(s.Margin)))
		}
		st.Does = append(st.Does,
			"Cut with a sharp knife along a straightedge that is clamped down, in several light strokes, in the order of the table. Every cut goes from edge to edge of what it cuts, and names what it leaves: 2a is what lies left of or above cut 2, 2b what lies beyond it.",
			"Write the number of each blank on its liner, and an arrow along the grain, before you put it down. Keep the offcuts flat.")
		rows := [][]string{}
		for _, c := range s.Cuts {
			what, way, from := "the sheet", "across the grain", "left end"
			if c.Of != "" {
				what = c.Of
			}
			if c.Along {
				way, from = "along the grain", "upper edge"
			}
			name := func(is, name string) string {
				if is == "" {
					return name
				}
				return is
			}
			rows = append(rows, []string{fmt.Sprint(c.N), what, way, p.mm(c.Where) + " from the " + from, name(c.Before.Is, c.Before.Name), name(c.Beyond.Is, c.Beyond.Name)})
		}
		if len(rows) > 0 {
			st.Tables = []Table{{Head: []string{"Cut", "of", "runs", "at", "before it", "beyond it"}, Rows: rows, Wide: []float64{1.4, 1.8, 3, 4, 2.2, 2.2}, Tick: true}}
		}
		p.add(st)
	}
	if len(sh.Blanks) > 0 {
		p.add(Step{
			ID: "cut/how", Phase: Cut, Title: "How every blank is cut", Needs: p.of(Cut),
			Does: []string{
				"*Hold.* What is marked *waits* is not cut before chapter \"fit and measure\" is ticked off.",
				"Cut a straight datum edge by hand, 3 mm in, and lay it against the bed's fence. Mask the face with low-tack tape, and rub it down.",
				"Cut one coupon in the waste first: face, backing and adhesive must part, and the bed not be scorched.",
				"Cut in the order of the file: marks, half-cuts, inner cuts, outer cuts. One fast pass with air; the exhaust runs on for a minute after it.",
				"Leave every pattern on its liner. Peel the mask off, stick the label on the liner, and draw its arrow there before you take the next blank.",
			},
		})
	}
	for i, b := range sh.Blanks {
		var held []string
		st := Step{ID: "cut/" + b.ID, Phase: Cut, Title: "Cut " + b.ID, Needs: []string{"cut/how"}, Parts: []string{b.ID}, Drawings: []string{"blank/" + b.ID}}
		if b.Sheet >= 0 && b.Sheet < len(sh.Sheets) {
			st.Needs = append(st.Needs, "cut/"+sh.Sheets[b.Sheet].ID)
		}
		for _, n := range onBlank(p.pl, i) {
			st.Parts = append(st.Parts, p.pl.Patterns[n].ID)
			if p.pl.Patterns[n].Release != "" {
				held = append(held, p.pl.Patterns[n].ID)
			}
		}
		if held != nil {
			st.Needs = append(st.Needs, "measure/all")
		}
		if b.ByKnife {
			st.Does = append(st.Does, "Longer than the bed: cut it by knife after the templates at the end of this book; only its fingered end goes under the laser.")
		}
		st.Does = append(st.Does, "Cut, labelled and laid flat.")
		p.add(st)
	}
}

// leafRow is a pattern in the order of laying.
type leafRow struct {
	pattern int
	number  int
}

// laying is the order in which a body is covered.
func laying(pl *plan.Plan, body int) []leafRow {
	var out []leafRow
	for _, m := range pl.Seams.Bodies[body].Members {
		for _, sf := range pl.Layout.Order[m] {
			for i, pt := range pl.Patterns {
				if pt.Member == m && pt.Surface == sf {
					out = append(out, leafRow{i, len(out) + 1})
				}
			}
		}
	}
	return out
}

// variants are the bodies of a kind that are laid alike: those that are not
// mirrored, and those that are.
func variants(pl *plan.Plan, k kind) [][]int {
	var plain, turned []int
	for _, b := range k.bodies {
		if pl.Piece.Members[pl.Seams.Bodies[b].Members[0]].Mirrored {
			turned = append(turned, b)
		} else {
			plain = append(plain, b)
		}
	}
	var out [][]int
	for _, v := range [][]int{plain, turned} {
		if v == nil {
			continue
		}
		// Alike only if surface for surface the same is laid.
		var groups [][]int
	next:
		for _, b := range v {
			for g := range groups {
				if sameLaying(pl, groups[g][0], b) {
					groups[g] = append(groups[g], b)
					continue next
				}
			}
			groups = append(groups, []int{b})
		}
		out = append(out, groups...)
	}
	return out
}

func sameLaying(pl *plan.Plan, a, b int) bool {
	x, y := laying(pl, a), laying(pl, b)
	if len(x) != len(y) {
		return false
	}
	for i := range x {
		p, q := pl.Patterns[x[i].pattern], pl.Patterns[y[i].pattern]
		if surfaceName(pl, p.Member, p.Surface) != surfaceName(pl, q.Member, q.Surface) || math.Abs(p.Length-q.Length) > 0.01 || math.Abs(p.Width-q.Width) > 0.01 || p.Veneer != q.Veneer {
			return false
		}
	}
	return true
}

func (p *planner) lay() {
	work := p.pl.Shop.Work
	if len(p.pl.Patterns) == 0 {
		return
	}
	p.add(Step{
		ID: "lay/how", Phase: Lay, Title: "How every leaf is laid", Needs: p.of(Ground),
		Does: []string{
			"Work at 21 to 30 °C on a clean bench, with clean hands. The adhesive has one chance: what touches, holds.",
			"Try the leaf dry. Its number says where; its *arrow* lies as on the drawing, head to head; its face is the side without liner. It reaches beyond the edge by its allowance on every free side.",
			"Peel off 50 to 100 mm of liner at one end and fold it back. Set that end against its fence or its pencil line, and touch it down.",
			"Draw the liner out underneath while you press the leaf down behind it, from the middle outward, so that no air is shut in.",
			"Rub it down with a veneer hammer or a scraper with rounded corners, hard, along the grain, three times over all of it; the edges last. A small soft roller does not press hard enough.",
			"Trim what stands over before the next leaf meets that edge, from " + unit.FormatDuration(work.BondFirst) + " after laying on: cut from the face toward the core with a sharp knife, or a flush cutter with a bearing, along the grain and never against it; then two strokes of P220 on a hard block.",
			"A hole is cut small: open it from the face with a knife and a round file once the leaf has been rubbed down.",
		},
	})
	how := &p.steps[len(p.steps)-1]
	if p.pl.Fixtures != nil {
		for _, f := range p.pl.Fixtures.Fixtures {
			if f.Step == fixture.LayLeaves || f.Step == fixture.TrimLeaves {
				how.Does = append(how.Does, fmt.Sprintf("*%s*: %s", f.ID, p.useWords(f)))
				how.Parts = append(how.Parts, f.ID)
			}
		}
	}
	for _, k := range p.kinds {
		vs := variants(p.pl, k)
		for n, v := range vs {
			rowsOf := make([][]leafRow, len(v))
			for i, b := range v {
				rowsOf[i] = laying(p.pl, b)
			}
			if len(rowsOf[0]) == 0 {
				continue
			}
			var names []string
			for _, b := range v {
				names = append(names, p.pl.Seams.Bodies[b].ID)
			}
			s := Step{ID: fmt.Sprintf("lay/%s/%d", k.name, n+1), Phase: Lay, Title: "Lay " + and(names), Parts: slices.Clone(names), Wait: work.BondWork}
			s.Needs = append([]string{"lay/how", "ground/all"}, p.of(Measure)...)
			s.Drawings = []string{"laying/" + names[0]}
			var rows [][]string
			var rings []int
			for i, r := range rowsOf[0] {
				pt := p.pl.Patterns[r.pattern]
				var ids []string
				blank := []string{}
				for j := range v {
					q := rowsOf[j][i].pattern
					id := p.pl.Patterns[q].ID
					ids = append(ids, id)
					s.Parts = append(s.Parts, id)
					s.Needs = append(s.Needs, p.about(Cut, id)...)
					if b := p.pl.Sheets.Placements[q].Blank; b >= 0 {
						blank = append(blank, p.pl.Sheets.Blanks[b].ID)
					}
				}
				slices.Sort(blank)
				rows = append(rows, []string{fmt.Sprint(r.number), strings.Join(ids, ", "), p.size(pt.Length, pt.Width), p.grain(pt), strings.Join(slices.Compact(blank), ", "), p.leafNote(pt)})
				if pt.CutInPlace {
					rings = append(rings, i)
				}
			}
			slices.Sort(s.Needs)
			s.Needs = slices.Compact(s.Needs)
			s.Tables = []Table{{Head: []string{"", "Leaf", "Net size", "Grain", "From", "Mind"}, Rows: rows, Wide: []float64{1.1, 4.4, 3, 2, 2, 4.2}, Tick: true}}
			if laps := p.lapsOf(v); laps != nil {
				s.Does = append(s.Does, p.lapWords(laps, s.Parts)...)
				s.Drawings = append(s.Drawings, "lap/"+laps[0].ID)
			}
			for _, i := range rings {
				var alike []int
				for j := range v {
					alike = append(alike, rowsOf[j][i].pattern)
				}
				s.Does = append(s.Does, p.ringWords(alike)...)
			}
			var use []string
			for _, f := range p.serving(fixture.LayLeaves, s.Parts...) {
				use = append(use, f.ID)
			}
			if use != nil {
				s.Does = append(s.Does, "Set up "+and(use)+".")
				s.Parts = append(s.Parts, use...)
			}
			p.add(s)
		}
	}
	var plugs []string
	for _, pt := range p.pl.Patterns {
		if pt.Member < 0 {
			plugs = append(plugs, pt.ID)
		}
	}
	if plugs != nil {
		p.add(Step{
			ID: "lay/plugs", Phase: Lay, Title: fmt.Sprintf("Cover %d plugs", len(plugs)), Needs: append([]string{"lay/how"}, p.about(Cut, plugs...)...), Parts: plugs,
			Does: []string{
				"Lay each leaf on its plug, rub it down, and trim it flush.",
				"Mark the grain's direction on the plug's underside: it is pressed in so that the grain runs on across it. Do not press it in yet: the screw behind it is tightened again after " + unit.FormatDuration(work.Retighten) + ".",
			},
		})
	}
}

func (p *planner) leafNote(pt veneer.Pattern) string {
	var out []string
	if pt.Lap != "" {
		out = append(out, "its fingers lie over the plain end of "+p.under(pt.Lap))
	}
	if pt.Set != "" {
		out = append(out, fmt.Sprintf("leaf %d of the matched set %s", pt.SetOrder, pt.Set))
	}
	if pt.CutInPlace {
		out = append(out, "closes on itself: cut to fit in place")
	}
	if n := len(pt.Net) - 1; n > 0 {
		out = append(out, fmt.Sprintf("%d %s", n, plural(n, "opening", "openings")))
	}
	if pt.Allowance > 0 {
		out = append(out, "trim "+p.mm(pt.Allowance))
	}
	for _, also := range pt.Also {
		out = append(out, "covers "+p.pl.Piece.Members[also[0]].ID+" too")
	}
	return strings.Join(out, "; ")
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// lapsOf are the laps of bodies.
func (p *planner) lapsOf(bodies []int) (laps []veneer.Lap) {
	for _, l := range p.pl.Layout.Laps {
		if slices.Contains(bodies, bodyOf(p.pl, l.Member)) {
			laps = append(laps, l)
		}
	}
	return laps
}

func (p *planner) join() {
	// Bodies that are glued to one another, by the moves of taking apart.
	var all []joint.Joint
	for _, j := range p.pl.Joints.Joints {
		if j.Kind == piece.Glued && j.Contact != "" && p.across(j) {
			all = append(all, j)
		}
	}
	if len(all) == 0 {
		return
	}
	for n, m := range p.moves {
		if m.phase != "glued" {
			continue
		}
		s := Step{ID: fmt.Sprintf("join/%d", n+1), Phase: Join, Wait: p.pl.Shop.Work.GlueCure, Drawings: []string{fmt.Sprintf("move/%d", n)}, Needs: p.of(Lay)}
		if len(s.Needs) == 0 {
			s.Needs = slices.Concat(p.of(Glue), p.of(Inserts), p.of(Measure))
		}
		var rows [][]string
		var names, joints []string
		for _, j := range all {
			a, b := p.bodiesOf(j)
			if slices.Contains(m.moving, a) == slices.Contains(m.moving, b) {
				continue
			}
			joints = append(joints, j.ID)
			for _, x := range []string{a, b} {
				if !slices.Contains(names, x) {
					names = append(names, x)
				}
			}
			rows = append(rows, []string{j.ID, a, b, p.hardware(j), fmt.Sprintf("%.1f cm²", j.GlueArea/100)})
		}
		if rows == nil {
			continue
		}
		slices.SortFunc(names, func(a, b string) int { return cmp.Compare(p.bodyIndex(a), p.bodyIndex(b)) })
		s.Title = "Glue " + p.the(names)
		s.Parts = slices.Concat(names, joints)
		s.Tables = []Table{{Head: []string{"Joint", "This", "to this", "with", "Glue face"}, Rows: rows, Wide: []float64{2, 3, 3, 3.5, 2}, Tick: true}}
		ready := Step{ID: s.ID + "/ready", Phase: Join, Title: "Make ready " + p.the(names), Needs: s.Needs, Drawings: s.Drawings, Does: []string{
			"Uncover the contacts: bare plastic to bare plastic. Cut away veneer that reaches onto a pad.",
			"Roughen with P120, wipe with alcohol. Dry fit with the dowels, and mark each pair of parts.",
		}}
		p.add(ready)
		s.Needs, s.Drawings = append(slices.Clone(s.Needs), ready.ID), nil
		hold := "cauls of another plastic, or under tape"
		if p.pl.Fixtures != nil {
			s.Drawings = p.clampings(fixture.GlueMembers, joints)
			s.Does = append(s.Does, p.likewise(fixture.GlueMembers, joints)...)
			if s.Drawings != nil {
				hold = "with the clamps as drawn"
			}
		}
		s.Does = append(s.Does, "Glue the dowels into one side, then spread a thin film on both faces and close the joint square. Press lightly, "+hold+".")
		for _, frame := range p.frames(names, joints) {
			if w := p.square(frame); !slices.Contains(s.Does, w) {
				s.Does = append(s.Does, w)
			}
		}
		s.Does = append(s.Does, fmt.Sprintf("Leave it in its clamps for %s, and load it after %s.", unit.FormatDuration(p.pl.Shop.Work.GlueHold), unit.FormatDuration(p.pl.Shop.Work.GlueCure)))
		p.add(s)
	}
}

// across is whether a joint's members are printed in different bodies.
func (p *planner) across(j joint.Joint) bool {
	a, b := p.bodiesOf(j)
	return a != b && a != "" && b != ""
}

// sides are the members of a joint's contact.
func sides(pl *plan.Plan, j joint.Joint) (a, b int, ok bool) {
	for _, c := range pl.Joints.Contacts {
		if c.ID == j.Contact {
			return c.A.Member, c.B.Member, true
		}
	}
	for _, c := range pl.Joints.Rounds {
		if c.ID == j.Contact {
			return c.A.Member, c.B.Member, true
		}
	}
	return 0, 0, false
}

func (p *planner) bodiesOf(j joint.Joint) (a, b string) {
	x, y, ok := sides(p.pl, j)
	if !ok {
		return "", ""
	}
	return p.pl.Seams.Bodies[bodyOf(p.pl, x)].ID, p.pl.Seams.Bodies[bodyOf(p.pl, y)].ID
}

func (p *planner) bodyIndex(id string) int {
	return slices.IndexFunc(p.pl.Seams.Bodies, func(b seam.Body) bool { return b.ID == id })
}

// hardware is what a joint takes: "1 x M5 x 20 with washer, 1 x dowel 8 x 40".
func (p *planner) hardware(j joint.Joint) string {
	count := map[string]int{}
	var order []string
	add := func(s string) {
		if count[s] == 0 {
			order = append(order, s)
		}
		count[s]++
	}
	for _, s := range j.Screws {
		add(screwName(s))
	}
	for _, d := range j.Dowels {
		add(dowelName(d))
	}
	var out []string
	for _, s := range order {
		out = append(out, fmt.Sprintf("%d x %s", count[s], s))
	}
	return strings.Join(out, ", ")
}

func screwName(s joint.Screw) string {
	n := fmt.Sprintf("%s x %g screw", s.Size, s.Length)
	if s.Washer {
		n += " with washer"
	}
	return n
}

// Torque is what a screw is tightened with, N m: its preload is a quarter of the
// filament's strength on what its head or washer presses on, at most half of what
// would pull the insert out, and T = K F d with K = 0.2 for dry steel in brass
// (nut factor of handbooks, from memory; the rest common practice, no source).
func Torque(sc joint.Screw, in shop.Insert, strength float64) float64 {
	// Heads ISO 4762, washers ISO 7089, clearance holes ISO 273 medium.
	t, ok := map[string]struct{ d, head, washer, hole float64 }{
		"M4": {4, 7, 9, 4.5}, "M5": {5, 8.5, 10, 5.5}, "M6": {6, 10, 12, 6.6}, "M8": {8, 13, 16, 9},
	}[sc.Size]
	if !ok {
		return 0
	}
	bears := t.head
	if sc.Washer {
		bears = t.washer
	}
	force := 0.25 * strength * math.Pi / 4 * (bears*bears - t.hole*t.hole)
	out := 0.5 * 0.5 * 0.577 * strength * math.Pi * in.Outer * in.Length
	return 0.2 * min(force, out/2) * t.d / 1000
}

// torque is Torque for a screw of the piece, to a twentieth of a N m, never more.
func (p *planner) torque(s joint.Screw) float64 {
	strength := math.Inf(1)
	for _, m := range []int{s.Through, s.Into} {
		if f, ok := p.pl.Shop.Filament(p.filament(m)); ok {
			strength = min(strength, f.Strength)
		}
	}
	in, ok := p.pl.Shop.Insert(s.Insert)
	if !ok || math.IsInf(strength, 1) {
		return 0
	}
	return math.Floor(Torque(s, in, strength)*20) / 20
}

// filament is what a member's core is printed in.
func (p *planner) filament(member int) string {
	for _, id := range segments(p.pl, bodyOf(p.pl, member)) {
		for _, pr := range p.pl.Printing.Prints {
			if pr.Segment == id {
				return pr.Filament
			}
		}
	}
	return ""
}

// keys are the hexagon keys of cap screws, mm (ISO 4762).
var keys = map[string]string{"M4": "3", "M5": "4", "M6": "5", "M8": "6"}

func (p *planner) finish() {
	work := p.pl.Shop.Work
	told := unit.FormatDuration
	need := slices.Concat(p.of(Lay), p.of(Join))
	if len(p.pl.Patterns) == 0 {
		return
	}
	p.add(Step{
		ID: "finish/sample", Phase: Finish, Title: "Make a finish sample", Needs: p.of(Lay),
		Does: []string{
			fmt.Sprintf("Make it while the adhesive on the piece bonds: a coupon of the same sheet, laid on a coupon or another spare print, sanded and coated as the piece will be. Its %d coats take the same %s from one to the next. Look at it in daylight before you coat the piece, and keep it with the kit's papers.", bill.Coats, told(work.Recoat)),
			"See that the finish's solvent does not lift the edge: spirits can soften the adhesive at seams. No lacquer thinner, no ketones, no acetone.",
			"On oak and other woods with tannin use no steel wool and no iron tools with water: the wood stains blue-black.",
		},
	})
	grits := bill.Grits()
	p.add(Step{
		ID: "finish/sand", Phase: Finish, Title: "Sand", Needs: need,
		Does: []string{
			fmt.Sprintf("Wait until the last leaf has lain for %s.", told(work.BondWork)),
			fmt.Sprintf("Sand by hand, along the grain, with a hard block: %s all over. Never a machine on an edge: %s of wood is all there is, and a third of it is yours to sand.", strings.Join(grits, ", then "), p.faces()),
			fmt.Sprintf("Take the sharpness off every edge with one stroke of %s. Dust off with a vacuum and a barely damp cloth.", grits[len(grits)-1]),
		},
	})
	rows := [][]string{}
	for i := range bill.Coats {
		before, next := "dust off", told(work.Recoat)
		if i == 1 {
			before = "nothing"
		}
		if i > 1 {
			before = "P320, lightly; dust off"
		}
		if i == bill.Coats-1 {
			next = "-"
		}
		rows = append(rows, []string{fmt.Sprint(i+1) + map[bool]string{true: ", thin: seals"}[i == 0], before, next, ""})
	}
	rows = append(rows,
		[]string{"Put parts together", "", told(work.Handle) + " after the last", ""},
		[]string{"Use it, pack it", "", told(work.Cure) + " after the last", ""},
		[]string{"Hard use, hot cups, cleaning", "", "as the finish's data sheet says", ""})
	p.add(Step{
		ID: "finish/coats", Phase: Finish, Title: fmt.Sprintf("Wipe on %d coats", bill.Coats), Needs: []string{"finish/sample", "finish/sand"}, Wait: work.Handle,
		Does: []string{
			fmt.Sprintf("The first coat goes on when the last leaf has lain for %s: the bond is whole then.", told(work.BondFull)),
			"Keep screw seats, inserts, pads and feet free of finish. Work at 21 to 27 °C; below 13 °C it stays tacky.",
			"Wipe on thin coats along the grain, the edges sparingly, on every face alike. Each coat has its line in the table; where the finish's data sheet asks for longer, it is right.",
			"Lay rags flat outdoors, one by one, at once.",
		},
		Tables: []Table{{Head: []string{"Coat", "Before it", "Next coat after", "Date and hour"}, Rows: rows, Wide: []float64{4, 4, 4, 3}, Tick: true}},
	})
}

// faces is the thinnest face of wood on the piece.
func (p *planner) faces() string {
	thin := math.Inf(1)
	for _, pt := range p.pl.Patterns {
		if v, ok := p.pl.Shop.Veneer(pt.Veneer); ok {
			thin = min(thin, v.Face)
		}
	}
	return p.mm(thin)
}

// move is one move of putting together: the parts of an interval of taking apart.
type move struct {
	phase    string // members or glued
	from, to float64
	moving   []string // bodies
	rest     []string // what stands already, if it has to do with them
}

// rounded is by how much stages are told less exactly than ways.
const rounded = 2e-3

// moves are those of putting together, in order: the last to come off goes on
// first, and glued parts before those that are screwed.
func moves(a *scene.Apart) []move {
	var out []move
	for _, st := range a.Stages {
		if st.What != "members" && st.What != "glued" {
			continue
		}
		for _, s := range a.Solids {
			if s.Kind != "body" {
				continue
			}
			for _, w := range s.Ways {
				if w.From < st.From-rounded || w.To > st.To+rounded {
					continue
				}
				n := slices.IndexFunc(out, func(m move) bool { return m.from == w.From && m.to == w.To })
				if n < 0 {
					n = len(out)
					out = append(out, move{phase: st.What, from: w.From, to: w.To})
				}
				out[n].moving = append(out[n].moving, s.ID)
			}
		}
	}
	slices.SortStableFunc(out, func(x, y move) int { return cmp.Compare(y.from, x.from) })
	// What has left before is not there yet.
	for i := range out {
		m := &out[i]
		for _, s := range a.Solids {
			if s.Kind != "body" || slices.Contains(m.moving, s.ID) {
				continue
			}
			gone := false
			for _, o := range out {
				gone = gone || o.from < m.from && o.phase == m.phase && slices.Contains(o.moving, s.ID) && !slices.Contains(m.moving, s.ID)
			}
			if !gone {
				m.rest = append(m.rest, s.ID)
			}
		}
	}
	return out
}

func (p *planner) assemble() {
	before := slices.Concat(p.of(Finish), p.of(Join))
	if len(before) == 0 {
		before = slices.Concat(p.of(Glue), p.of(Inserts), p.of(Measure))
	}
	// What holds together already: glued bodies, and what earlier steps have screwed.
	linked := map[string][2]string{}
	var links [][2]string
	for _, j := range p.pl.Joints.Joints {
		a, b := p.bodiesOf(j)
		linked[j.ID] = [2]string{a, b}
		if j.Kind == piece.Glued && a != "" && b != "" {
			links = append(links, linked[j.ID])
		}
	}
	nth := 0
	for n, m := range p.moves {
		if m.phase != "members" {
			continue
		}
		nth++
		s := Step{ID: fmt.Sprintf("assemble/%d", nth), Phase: Assemble, Needs: before, Drawings: []string{fmt.Sprintf("move/%d", n)}}
		var joints, onto []string
		var rows [][]string
		torques := map[string]float64{}
		for _, j := range p.pl.Joints.Joints {
			a, b := p.bodiesOf(j)
			inA, inB := slices.Contains(m.moving, a), slices.Contains(m.moving, b)
			if inA == inB && !(inA && p.apartIn(m, a, b)) || a == b || j.Kind == piece.Glued {
				continue
			}
			if !inA && !slices.Contains(m.rest, a) || !inB && !slices.Contains(m.rest, b) {
				continue
			}
			for i, x := range []string{a, b} {
				if in := []bool{inA, inB}[i]; !in && !slices.Contains(onto, x) {
					onto = append(onto, x)
				}
			}
			if len(j.Screws)+len(j.Dowels) == 0 {
				continue
			}
			joints = append(joints, j.ID)
			how := ""
			if len(j.Screws) > 0 {
				t := p.torque(j.Screws[0])
				torques[j.Screws[0].Size] = t
				how = fmt.Sprintf("%.2f N m, key %s mm", t, keys[j.Screws[0].Size])
			}
			rows = append(rows, []string{j.ID, a, b, p.hardware(j), how})
		}
		s.Title = "Set " + p.the(m.moving)
		if onto != nil {
			s.Title += " on " + p.the(onto)
		}
		s.Parts = slices.Concat(m.moving, onto, joints)
		s.Does = append(p.steady(m.moving, onto, links), "Put the loose dowels in one side, dry. Bring the parts together by hand along the thin lines of the drawing; if they jam, one of them leans: take them off and begin again.")
		if len(rows) > 0 {
			s.Tables = []Table{{Head: []string{"Joint", "This", "to this", "with", "Torque"}, Rows: rows, Wide: []float64{2, 3, 3, 5, 3.4}, Tick: true}}
		}
		if len(torques) > 0 {
			s.Does = append(s.Does, "Start every screw of this step by hand, three turns, before you tighten any. Tighten crosswise, with the torque of the table or, without a torque key, with two fingers at the short end of the hexagon key: when the washer no longer turns, a quarter of a turn more at most.")
		}
		p.add(s)
		for _, id := range joints {
			links = append(links, linked[id])
		}
		before = []string{s.ID}
	}
	if nth == 0 {
		return
	}
	s := Step{ID: "assemble/again", Phase: Assemble, Title: "Tighten again after " + unit.FormatDuration(p.pl.Shop.Work.Retighten), Needs: before,
		Does: []string{fmt.Sprintf("Plastic gives under a screw at first. Tighten every screw once more, with the same torque, %s later, and look again after a month.", unit.FormatDuration(p.pl.Shop.Work.Retighten))}}
	if len(p.pl.Joints.Plugs) > 0 {
		s.Does = append(s.Does, fmt.Sprintf("Press the %d plugs in, their grain with the grain round them. A drop of wax holds one that is loose, and lets it be taken out again when the piece is packed flat.", len(p.pl.Joints.Plugs)))
		for _, g := range p.pl.Joints.Plugs {
			s.Parts = append(s.Parts, g.ID)
		}
	}
	s.Does = append(s.Does, "Set it on a flat floor. If it rocks, loosen the screws, press it down, and tighten them again.")
	p.steps[len(p.steps)-1].Wait = p.pl.Shop.Work.Retighten
	p.add(s)
}

// the is bodies by their kinds: "the legs and the top".
func (p *planner) the(bodies []string) string {
	var out []string
	for _, k := range p.kinds {
		n := 0
		for _, b := range k.bodies {
			if slices.Contains(bodies, p.pl.Seams.Bodies[b].ID) {
				n++
			}
		}
		name := strings.ReplaceAll(k.name, "-", " ")
		switch {
		case n == 0:
		case n == 1 && len(k.bodies) > 1:
			out = append(out, "one "+name)
		case n == 1:
			out = append(out, "the "+name)
		case n < len(k.bodies):
			out = append(out, fmt.Sprintf("%d %s", n, many(name)))
		default:
			out = append(out, "the "+many(name))
		}
	}
	return and(out)
}

// many is the plural of a member's name.
func many(s string) string {
	if first, rest, ok := strings.Cut(s, " with "); ok {
		return many(first) + " with " + rest
	}
	switch {
	case strings.HasSuffix(s, "f") && !strings.HasSuffix(s, "ff"):
		return strings.TrimSuffix(s, "f") + "ves"
	case strings.HasSuffix(s, "s"), strings.HasSuffix(s, "x"), strings.HasSuffix(s, "ch"), strings.HasSuffix(s, "sh"):
		return s + "es"
	}
	return s + "s"
}

// apartIn is whether two bodies go different ways in a move.
func (p *planner) apartIn(m move, a, b string) bool {
	var w [2]geom.Vec3
	for i, id := range []string{a, b} {
		for _, s := range p.apart.Solids {
			if s.ID == id && s.Kind == "body" {
				w[i] = s.Moved(m.to).Sub(s.Moved(m.from))
			}
		}
	}
	return w[0].Dist(w[1]) > 1e-6
}

func (p *planner) use() {
	c := p.pl.Checks
	does := []string{fmt.Sprintf("The piece weighs %s.", unit.FormatMass(c.Mass))}
	if limit := p.pl.Shop.LiftLimit; limit > 0 {
		if c.Mass > limit {
			does[0] += fmt.Sprintf(" That is more than one person should lift (%s): carry it by two.", unit.FormatMass(limit))
		} else {
			does[0] += " Lift it by what carries it, never by the edge of the veneer."
		}
	}
	for _, f := range p.pl.Findings {
		if f.Stage == "stability" {
			does = append(does, "*Tip-over.* "+f.Message)
		}
	}
	if p.pl.Strength == nil {
		does = append(does, "*Load.* How it bears its loads has not been worked out for this kit. Load it by steps, and look for cracks at the screws.")
	}
	does = append(does,
		"*Care.* Dust with a dry cloth; wipe spills at once. No steam, no solvents, no silicone polish. Let nothing heat it beyond what the hand bears.",
		"*Feet.* Where they are bare print, stick felt or a pad of rubber under each: print marks a floor, and slides on it.",
		"*Sun and dry air.* Keep it out of a parked car and away from radiators and stoves. Wood shrinks across the grain in heated rooms: 40 to 60 % humidity suits it.",
		"*Spare veneer.* Keep adhesive veneer flat, in its bag, dark, at 15 to 25 °C, and use it within the time that its maker gives, or a year. Keep offcuts of the same sheet for repairs, with the kit revision on them.",
		"*Files.* "+p.licence(),
		"*Repairs.* One segment or one leaf can be made again by its number, from files of the same kit revision and wood of the same flitch.")
	p.add(Step{ID: "use/all", Phase: Use, Title: "Before you use it", Needs: p.of(Assemble), Does: does})
}

func (p *planner) licence() string {
	if p.Licence != "" {
		return p.Licence
	}
	return "Nothing is written here of the licence of the files: ask whoever made the kit before you pass them on or sell pieces made from them."
}

// and joins names: "a, b and c".
func and(names []string) string {
	switch n := len(names); n {
	case 0:
		return ""
	case 1:
		return names[0]
	default:
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
}
