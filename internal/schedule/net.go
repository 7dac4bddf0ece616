package schedule

import (
	"fmt"
	"math"
	"slices"

	"groundwork/internal/bill"
	"groundwork/internal/finding"
	"groundwork/internal/project"
	"groundwork/internal/shop"
)

// task is an activity before its time is known.
type task struct {
	id    string
	kind  Kind
	of    string
	long  int64 // s
	hand  int64 // s of one person, from its start
	bill  int64 // of hand, s that the bill counts
	uses  []use
	after []wait
	note  string
}

type use struct {
	resource int
	amount   int64
	from, to int64 // to 0: to its end
	hours    project.Hours
}

type wait struct {
	on  int
	lag int64 // after its end
	why string
}

// net is the job as activities that wait for one another.
type net struct {
	in        Inputs
	hours     hours
	chunk     int64 // s; hand work that takes longer is done in parts
	tasks     []task
	resources []project.Resource
	loads     []load
	first     int                // how many of them are coupons, and come first
	rates     map[string]float64 // s of one unit of the bill's labour, by its line
	findings  []finding.Finding

	// Last activities so far, that others wait for.
	coupons  []int
	printed  [][]int  // by body
	firm     [][]wait // by body: glued, and its glue cured
	cure     int64
	measured []int
	fitted   [][]int        // by body, its dry fit or what was before it
	cut      []int          // by blank
	made     map[int][]int  // loads taken off with parts of a fixture, by its index
	dry      map[int][]wait // by body or plugs: what putting it together waits for
	last     []int          // nothing waits for them yet but the end
}

// load is a print load with its two activities.
type load struct {
	resource int // printer
	print    int
	off      int
	high     int64 // s that it prints at most
}

const (
	person = 0 // resources that every shop has
	clamps = 1
	laser  = 2
)

// plugs stands for the plugs where a body is asked for: their leaves are no
// member's.
const plugs = -1

// Hand times that the bill does not count, s. Common practice, no source.
const (
	fitOnce     = 300 // putting a body together dry
	fitSeam     = 60  // more for each seam
	measureBody = 300 // taping a perimeter, pricking bore centres
	enter       = 600 // entering what was measured, and looking at the new cut sheets
	unpack      = 600
	sandVeneer  = 600 // for a m² and a grit
	fitPlug     = 60
	turnScrew   = 20
	check       = 900
	guessPrint  = 2 * 3600 // coupons
	guessTests  = 3600
)

// loadHalf is the share of the hand time of a load that goes into starting it; the rest is
// taking it off (common practice, no source).
const loadHalf = 0.5

// longestPart is how long one goes at a thing without a break, s (common practice, no
// source).
const longestPart = 2 * 3600

func build(in Inputs, o Options) *net {
	n := &net{in: in, made: map[int][]int{}, dry: map[int][]wait{}}
	w := in.Shop.Work
	n.hours = hoursOf(w, o.Start, 1)
	if !o.Start.IsZero() && len(w.Holidays) > 0 {
		n.hours = hoursOf(w, o.Start, holidayWeeks)
	}
	n.chunk = max(60, min(longestPart, n.hours.longestWork))
	n.cure = int64(max(0, w.GlueCure-w.GlueHold))
	n.resources = []project.Resource{
		{Name: "person", Capacity: int64(w.Persons), Calendar: n.hours.persons},
		{Name: "clamps", Capacity: int64(w.Clamps)},
		{Name: in.Sheets.Laser, Capacity: 1},
	}
	if in.Sheets.Laser == "" {
		n.resources[laser].Name = "laser"
	}
	for _, p := range in.Shop.Printers {
		r := project.Resource{Name: p.ID, Capacity: int64(p.Count)}
		if !w.NightPrinting {
			r.Calendar = n.hours.rooms
		}
		n.resources = append(n.resources, r)
	}
	// A core is in one place at a time: in clamps, or in somebody's hands.
	for _, b := range in.Seams.Bodies {
		n.resources = append(n.resources, project.Resource{Name: "core " + b.ID, Capacity: 1})
	}
	n.reckon()
	n.print(o)
	n.bodies()
	n.veneer()
	n.together()
	return n
}

// holidayWeeks is how far ahead holidays are counted.
const holidayWeeks = 104

// add adds a task and gives its index.
func (n *net) add(t task) int {
	t.long = max(t.long, t.hand)
	n.tasks = append(n.tasks, t)
	return len(n.tasks) - 1
}

// work adds hand work, in parts where it is long: each part holds and takes
// beyond the hand work what t does. It gives the last part.
func (n *net) work(t task) int {
	beyond := t.long - t.hand
	if t.long == 0 {
		beyond = 0
	}
	k := max(1, (t.hand+n.chunk-1)/n.chunk)
	id, last, before := t.id, -1, t.after
	hand, billed := int64(0), int64(0)
	for i := range k {
		p := t
		p.after = before
		p.hand = t.hand*(i+1)/k - hand
		p.bill = t.bill*(i+1)/k - billed
		p.long = p.hand + beyond
		hand, billed = hand+p.hand, billed+p.bill
		if p.hand > 0 {
			p.uses = append(slices.Clone(t.uses), use{resource: person, amount: 1, to: p.hand, hours: project.Attended})
		}
		if k > 1 {
			p.id = fmt.Sprintf("%s (%d of %d)", id, i+1, k)
		}
		last = n.add(p)
		before = []wait{{on: last}}
	}
	return last
}

// after waits for the ends of others.
func after(on ...int) []wait {
	var ws []wait
	for _, i := range on {
		if i >= 0 {
			ws = append(ws, wait{on: i})
		}
	}
	return ws
}

// lagged waits for some time after the ends of others.
func lagged(lag float64, why string, on ...int) []wait {
	ws := after(on...)
	for i := range ws {
		ws[i].lag, ws[i].why = int64(math.Ceil(lag)), why
	}
	return ws
}

// The bill's lines of labour.
const (
	lineLoads    = "loading and clearing printers"
	lineSeams    = "gluing seams"
	lineInserts  = "setting inserts"
	lineBlanks   = "cutting blanks and tending the laser"
	lineGround   = "sanding and sealing cores"
	lineLaying   = "laying veneer"
	lineTrimming = "trimming"
	lineFinish   = "finishing"
	lineAssembly = "assembly"
)

// Weights by which the bill's lines are divided where they count unlike things:
// those of the bill's own hand times.
const (
	weighSeam, weighDowel = 420, 45
	weighLeaf, weighLap   = 300, 600
)

// reckon finds what a unit of every line of labour takes, so that the
// activities together take what the bill counts.
func (n *net) reckon() {
	in := n.in
	units := map[string]float64{lineLoads: float64(len(in.Printing.Loads)), lineBlanks: float64(len(in.Sheets.Blanks))}
	for _, s := range in.Seams.Seams {
		units[lineSeams] += weighSeam + weighDowel*float64(len(s.Dowels))
	}
	for _, j := range in.Joints.Joints {
		units[lineSeams] += weighDowel * float64(len(j.Dowels))
		units[lineInserts] += float64(len(j.Screws))
		units[lineAssembly] += float64(len(j.Screws))
	}
	for _, p := range in.Patterns {
		units[lineGround] += p.NetArea
		units[lineFinish] += p.NetArea
		units[lineLaying] += weighLeaf
		for _, l := range p.Gross {
			units[lineTrimming] += l.Perimeter()
		}
	}
	units[lineLaying] += weighLap * float64(len(in.Layout.Laps))
	n.rates = map[string]float64{}
	for _, l := range in.Bill.Lines {
		if l.Section == bill.Labour && units[l.Item] > 0 {
			n.rates[l.Item] = l.Quantity * 3600 / units[l.Item]
		}
	}
}

// counted is the time that so many units of a line of the bill take, s.
func (n *net) counted(line string, units float64) int64 {
	return int64(math.Round(n.rates[line] * units))
}

// printer is the index of the resource that a printer is, -1 if there is none.
func (n *net) printer(id string) int {
	i := slices.IndexFunc(n.in.Shop.Printers, func(p shop.Printer) bool { return p.ID == id })
	if i < 0 {
		return -1
	}
	return laser + 1 + i
}

// at holds bodies for all of an activity; the plugs are many, and held by none.
func (n *net) at(bodies ...int) []use {
	var us []use
	for _, b := range bodies {
		if b != plugs {
			us = append(us, use{resource: laser + 1 + len(n.in.Shop.Printers) + b, amount: 1})
		}
	}
	return us
}

func (n *net) found(f finding.Finding) {
	f.Stage = stageName
	n.findings = append(n.findings, f)
}
