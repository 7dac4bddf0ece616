package book

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/bill"
	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/scene"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/unit"
)

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
		ID: "finish/sample", Phase: Finish, Title: "Make a finish sample", Needs: p.of(Cut), Wait: work.Handle,
		Does: []string{
			fmt.Sprintf("Make it as soon as the veneer is cut, so that it is hard before the piece gets its first coat: of every kind of veneer a piece as large as a hand, left over from the same sheet, laid on a coupon or another spare print whose ground is made as the piece's.%s", p.sampled()),
			fmt.Sprintf("Sand it as the piece will be when it has lain for %s, and give it the same %d coats, %s from one to the next. When the last has hardened for %s look at it in daylight; only then coat the piece. Keep it with the kit's papers.", told(work.BondWork), bill.Coats, told(work.Recoat), told(work.Handle)),
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

// sampled is how long one is at the finish sample, as the bill counts it.
func (p *planner) sampled() string {
	var s float64
	for _, h := range p.pl.Bill.Hands {
		if h.Line == bill.Sample {
			s += float64(h.Seconds)
		}
	}
	if s == 0 {
		return ""
	}
	return fmt.Sprintf(" It takes %s of work in all.", unit.FormatDuration(s))
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
