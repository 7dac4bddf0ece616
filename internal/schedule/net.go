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
	first     int                 // how many of them are coupons, and come first
	left      map[bill.Hand]int64 // s of the bill's hand work that no task has taken, by all but its seconds
	findings  []finding.Finding

	// Last activities so far, that others wait for.
	coupons []int
	printed [][]int  // by body
	firm    [][]wait // by body: glued, and its glue cured
	cure    int64
	fitted  []int           // the dry fit of the piece, and the entering of what was measured at it
	cut     []int           // by blank
	made    map[int][]int   // loads taken off with parts of a fixture, by its index
	covers  map[int]*covers // by body or plugs, what is done to its surfaces
	joined  [][]int         // bodies that are one thing when all is glued, with all that are alone
	dry     map[int][]wait  // by body or plugs: what putting it together waits for
	last    []int           // nothing waits for them yet but the end
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

// Hand times where no bill counts them: of loads, and coupons, that are guessed, s.
// Common practice, no source.
const (
	guessLoad  = 300
	guessPrint = 2 * 3600 // coupons
	guessTests = 3600
)

// loadHalf is the share of the hand time of a load that goes into starting it; the rest is
// taking it off (common practice, no source).
const loadHalf = 0.5

// longestPart is how long one goes at a thing without a break, s (common practice, no
// source).
const longestPart = 2 * 3600

func build(in Inputs, o Options) *net {
	n := &net{in: in, made: map[int][]int{}, covers: map[int]*covers{}, dry: map[int][]wait{}, left: map[bill.Hand]int64{}}
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
	for _, h := range in.Bill.Hands {
		n.left[bill.Hand{Section: h.Section, Line: h.Line, Of: h.Of}] += h.Seconds
	}
	n.print(o)
	n.bodies()
	n.ground()
	n.fit()
	n.cutBlanks()
	n.veneer()
	n.glueMembers()
	n.finish()
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

// hand takes the bill's hand work at things: a time that one activity has taken
// is not there for another.
func (n *net) hand(line string, of ...string) int64 { return n.handIn(bill.Labour, line, of...) }

func (n *net) handIn(section bill.Section, line string, of ...string) int64 {
	var s int64
	for _, o := range of {
		k := bill.Hand{Section: section, Line: line, Of: o}
		s += n.left[k]
		delete(n.left, k)
	}
	return s
}

// others adds what the bill counts and no activity above has taken, before the
// end, so that calendar and bill count the same.
func (n *net) others() []wait {
	var ws []wait
	counted := map[string]bool{}
	for _, h := range n.in.Bill.Hands {
		counted[string(h.Section)+h.Line] = true
	}
	for _, l := range n.in.Bill.Lines {
		if l.Section != bill.Labour && l.Section != bill.Fixtures {
			continue
		}
		var t int64
		for _, h := range n.in.Bill.Hands {
			if h.Section == l.Section && h.Line == l.Item {
				t += n.handIn(h.Section, h.Line, h.Of)
			}
		}
		if l.Section == bill.Labour && !counted[string(l.Section)+l.Item] { // a line that somebody added
			t = int64(l.Quantity*3600 + 0.5)
		}
		if t > 0 {
			ws = append(ws, after(n.work(task{id: "other work: " + l.Item, kind: HandOver, of: "piece", hand: t, bill: t}))...)
		}
	}
	return ws
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
