package project

import (
	"fmt"
	"slices"
)

// longest is the largest time a project may name, s, and the largest sum of its
// durations, lags and releases: some 34,000 years. It keeps sums from overflowing.
const longest = int64(1) << 40

// mostCapacity is the largest capacity. Times longest it does not overflow.
const mostCapacity = int64(1) << 20

// mostActivities is how many activities a project may have.
const mostActivities = 8192

// never is the start of what has no room. It is later than mostActivities times
// longest, which is what they may take with waiting for their calendars.
const never = int64(1) << 54

// Reason is why a project cannot be scheduled.
type Reason int

const (
	Invalid    Reason = iota // a number or an index out of its range
	Cycle                    // activities wait for each other
	OverDemand               // an activity asks for more than there is
	NoHours                  // no stretch of working hours is long enough
	NoRoom                   // calendars that do not repeat are too full
)

func (r Reason) String() string {
	return [...]string{"invalid", "cycle", "demand above capacity", "not enough working hours", "no room"}[r]
}

// Error says why a project cannot be scheduled.
type Error struct {
	Reason   Reason
	Activity int    // index, -1 if it is a resource
	Name     string // of the activity or resource
	Resource int    // index, -1 if none is concerned
	Detail   string
}

func (e *Error) Error() string {
	what := fmt.Sprintf("activity %d %q", e.Activity, e.Name)
	if e.Activity < 0 {
		what = fmt.Sprintf("resource %d %q", e.Resource, e.Name)
	}
	return fmt.Sprintf("project: %s: %s: %s", what, e.Reason, e.Detail)
}

// arc is the other end of a link: start of the later >= start of the earlier + dist.
type arc struct {
	to   int
	dist int64 // from 0
}

// hold is a demand with its times resolved.
type hold struct {
	res      int
	amount   int64
	from, to int64
}

// net is a project made ready to be scheduled.
type net struct {
	dur, release []int64
	pred, succ   [][]arc
	holds        [][]hold
	windows      []*windows // of starts; nil: any time
	capacity     []int64
	topo         []int // each activity after those it waits for
	rank         []int // place in topo
	// hours are the working hours of each resource of which all demands are
	// attended; nil: any time.
	hours []*worked
}

func compile(p Project) (*net, error) {
	n := &net{}
	for i, r := range p.Resources {
		bad := func(format string, a ...any) (*net, error) {
			return nil, &Error{Invalid, -1, r.Name, i, fmt.Sprintf(format, a...)}
		}
		if r.Capacity < 0 || r.Capacity > mostCapacity {
			return bad("capacity %d", r.Capacity)
		}
		if c := r.Calendar; c != nil {
			if c.Repeat < 0 || c.Repeat > longest {
				return bad("calendar repeats after %d s", c.Repeat)
			}
			for _, w := range c.Working {
				if w.From < 0 || w.To <= w.From || w.To > longest || c.Repeat > 0 && w.To > c.Repeat {
					return bad("working from %d to %d s", w.From, w.To)
				}
			}
		}
		n.capacity = append(n.capacity, r.Capacity)
		n.hours = append(n.hours, nil)
		if r.Calendar != nil {
			n.hours[i] = r.Calendar.worked()
		}
	}
	if k := mostActivities; len(p.Activities) > k {
		return nil, &Error{Invalid, k, p.Activities[k].Name, -1, fmt.Sprintf("there are more than %d", k)}
	}
	total := int64(0) // kept below twice longest
	for i, a := range p.Activities {
		fault := func(why Reason, res int, format string, v ...any) (*net, error) {
			return nil, &Error{why, i, a.Name, res, fmt.Sprintf(format, v...)}
		}
		if a.Duration < 0 || a.Duration > longest {
			return fault(Invalid, -1, "duration %d s", a.Duration)
		}
		if a.Release < 0 || a.Release > longest {
			return fault(Invalid, -1, "release %d s", a.Release)
		}
		if total += a.Duration; total > longest {
			return fault(Invalid, -1, "all together take more than %d s", longest)
		}
		n.dur = append(n.dur, a.Duration)
		n.release = append(n.release, a.Release)
		var holds []hold
		for _, d := range a.Demands {
			if d.Resource < 0 || d.Resource >= len(p.Resources) {
				return fault(Invalid, -1, "resource %d of %d", d.Resource, len(p.Resources))
			}
			r := p.Resources[d.Resource]
			to := d.To
			if to == 0 {
				to = a.Duration
			}
			switch {
			case d.Amount < 1:
				return fault(Invalid, d.Resource, "amount %d of %q", d.Amount, r.Name)
			case d.Amount > r.Capacity:
				return fault(OverDemand, d.Resource, "amount %d of %q, of which there is %d", d.Amount, r.Name, r.Capacity)
			case d.From < 0 || to <= d.From || to > a.Duration:
				return fault(Invalid, d.Resource, "holds %q from %d to %d of its %d s", r.Name, d.From, to, a.Duration)
			case d.Hours < Attended || d.Hours > Always:
				return fault(Invalid, d.Resource, "hours %d of %q", d.Hours, r.Name)
			}
			for _, h := range holds {
				if h.res == d.Resource && h.from < to && d.From < h.to {
					return fault(Invalid, d.Resource, "holds %q twice from %d s", r.Name, max(h.from, d.From))
				}
			}
			holds = append(holds, hold{d.Resource, d.Amount, d.From, to})
		}
		n.holds = append(n.holds, holds)
	}
	n.pred, n.succ = make([][]arc, len(n.dur)), make([][]arc, len(n.dur))
	for i, a := range p.Activities {
		for _, l := range a.After {
			fault := func(format string, v ...any) (*net, error) {
				return nil, &Error{Invalid, i, a.Name, -1, fmt.Sprintf(format, v...)}
			}
			switch {
			case l.Activity < 0 || l.Activity >= len(n.dur):
				return fault("waits for activity %d of %d", l.Activity, len(n.dur))
			case l.Lag < 0 || l.Lag > longest:
				return fault("lag %d s", l.Lag)
			case l.From != Finish && l.From != Start:
				return fault("waits for event %d", l.From)
			}
			if total += l.Lag; total > 2*longest {
				return fault("all lags together are more than %d s", longest)
			}
			d := l.Lag
			if l.From == Finish {
				d += n.dur[l.Activity]
			}
			n.pred[i] = append(n.pred[i], arc{l.Activity, d})
			n.succ[l.Activity] = append(n.succ[l.Activity], arc{i, d})
		}
	}
	if i := n.sort(); i >= 0 {
		return nil, &Error{Cycle, i, p.Activities[i].Name, -1, "waits for itself by way of its links"}
	}
	n.windows = make([]*windows, len(n.dur))
	for i, a := range p.Activities {
		for k, d := range a.Demands {
			c := p.Resources[d.Resource].Calendar
			if d.Hours != Attended {
				n.hours[d.Resource] = nil
			}
			if c == nil || d.Hours == Always {
				continue
			}
			h := n.holds[i][k]
			to := h.to
			if d.Hours == Unattended {
				to = h.from + 1
			}
			w, err := n.windows[i].meet(c.starts(h.from, to))
			if err != nil {
				return nil, &Error{Invalid, i, a.Name, d.Resource, err.Error()}
			}
			if w.none() {
				return nil, &Error{NoHours, i, a.Name, d.Resource,
					fmt.Sprintf("%q and what it needs besides do not work for %d s together", p.Resources[d.Resource].Name, to-h.from)}
			}
			n.windows[i] = w
		}
	}
	// Heads tell whether one that must wait is too late for a calendar that ends.
	heads := n.heads(nil)
	for _, i := range n.topo {
		if heads[i] >= never {
			return nil, &Error{NoHours, i, p.Activities[i].Name, -1, "the working hours are over before it can start"}
		}
	}
	return n, nil
}

// sort fills topo and rank. It returns an activity of a cycle, or -1.
func (n *net) sort() int {
	waits := make([]int, len(n.dur))
	for i := range n.dur {
		if waits[i] = len(n.pred[i]); waits[i] == 0 {
			n.topo = append(n.topo, i)
		}
	}
	for k := 0; k < len(n.topo); k++ {
		for _, a := range n.succ[n.topo[k]] {
			if waits[a.to]--; waits[a.to] == 0 {
				n.topo = append(n.topo, a.to)
			}
		}
	}
	n.rank = make([]int, len(n.dur))
	for k, i := range n.topo {
		n.rank[i] = k
	}
	if len(n.topo) == len(n.dur) {
		return -1
	}
	// From any that still waits, go back along what it waits for until one comes again.
	i := slices.IndexFunc(waits, func(w int) bool { return w > 0 })
	seen := make([]bool, len(n.dur))
	for !seen[i] {
		seen[i] = true
		k := slices.IndexFunc(n.pred[i], func(a arc) bool { return waits[a.to] > 0 })
		i = n.pred[i][k].to
	}
	return i
}

// heads are the earliest starts as links, releases and calendars allow, and no
// earlier than given in from.
func (n *net) heads(from []int64) []int64 {
	h := make([]int64, len(n.dur))
	for _, i := range n.topo {
		t := n.release[i]
		if from != nil {
			t = max(t, from[i])
		}
		for _, a := range n.pred[i] {
			t = max(t, h[a.to]+a.dist)
		}
		h[i] = n.windows[i].next(t)
	}
	return h
}
