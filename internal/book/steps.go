package book

import (
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/check"
	"groundwork/internal/geom"
	"groundwork/internal/plan"
	"groundwork/internal/scene"
	"groundwork/internal/seam"
	"groundwork/internal/unit"
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
