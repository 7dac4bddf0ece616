package schedule

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/parallel"
	"groundwork/internal/project"
)

// judge finds what the maker should know of a calendar.
func (n *net) judge(r *Result) {
	n.judgeLoads(r)
	var late []string
	ends := map[string]float64{}
	for _, a := range r.Activities {
		ends[a.ID] = a.End
	}
	for i := range r.Activities {
		a := &r.Activities[i]
		if a.Kind != Finish || strings.HasPrefix(a.ID, "coat 1 ") {
			continue
		}
		for _, w := range a.After {
			on, _, _ := strings.Cut(w.On, " (")
			if b, ok := ends[w.On]; ok && strings.HasPrefix(on, "coat ") && strings.HasSuffix(on, " "+a.Of) && a.Start-b > day {
				late = append(late, a.ID)
				a.Note = "more than a day after the coat before: sand first, P320"
			}
		}
	}
	if len(late) > 0 {
		n.found(finding.Finding{
			Severity: finding.Note, Code: "late-coat", Subject: "piece",
			Message: fmt.Sprintf("%s more than a day after the coat before, %s first", begin(len(late), "coat goes on", "coats go on"), late[0]),
			Remedy:  "sand with P320 before such a coat", Source: "finishing guides, which vary: after 24 h sand first",
		})
	}
}

func begin(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// judgeLoads looks for loads that print while nobody is there, and for printers
// that wait for somebody.
func (n *net) judgeLoads(r *Result) {
	off := map[string]float64{}
	for _, a := range r.Activities {
		if a.Kind == TakeOff {
			off[a.Of] = a.Start
		}
	}
	alone, loads := 0, 0
	longestAlone, of := 0.0, ""
	for _, a := range r.Activities {
		if a.Kind != Print {
			continue
		}
		loads++
		var most float64
		for t := a.Start; t < a.End; {
			// From one working hour to the next.
			i, _ := slices.BinarySearchFunc(r.open, int64(t), func(w project.Interval, s int64) int {
				if w.To <= s {
					return -1
				}
				return 1
			})
			if i >= len(r.open) {
				break
			}
			opens := float64(r.open[i].From)
			most = max(most, min(opens, a.End)-t)
			t = max(t, float64(r.open[i].To))
		}
		if most > 0 {
			alone++
		}
		if most > longestAlone {
			longestAlone, of = most, a.Of
		}
		if waits := off[a.Of] - a.End; waits > day {
			n.found(finding.Finding{
				Severity: finding.Note, Code: "load-waits", Subject: a.Of,
				Message: fmt.Sprintf("%s is done %s, and nobody takes it off for %s: %s stands still", a.Of, r.when(a.End), span(waits), a.Machine),
				Remedy:  "take it off in passing, or start a shorter load before the free days", Source: "the shop's hours",
			})
		}
		if gap := longestClosed(r.open); a.End-a.Start > gap && gap >= 2*day {
			n.found(finding.Finding{
				Severity: finding.Note, Code: "long-load", Subject: a.Of,
				Message: fmt.Sprintf("%s prints for %s, longer than a weekend", a.Of, span(a.End-a.Start)),
				Remedy:  "a load that fails late costs as much time again: see whether fewer parts lie on it", Source: "the shop's hours",
			})
		}
	}
	if alone > 0 && longestAlone >= 2*3600 { // not a lunch
		n.found(finding.Finding{
			Severity: finding.Note, Code: "prints-alone", Subject: "piece",
			Message: fmt.Sprintf("%d of %d loads go on while nobody is there, %s for %s", alone, loads, of, span(longestAlone)),
			Remedy:  "see the first layers lie well before leaving; or set night_printing: false in the shop's section work", Source: "common practice, no source",
		})
	}
}

// longestClosed is the longest time between working hours, s.
func longestClosed(open []project.Interval) float64 {
	var most int64
	for i := 1; i < len(open); i++ {
		most = max(most, open[i].From-open[i-1].To)
	}
	return float64(most)
}

// alternatives makes the calendar again with one more of what it waits for, and
// with prints as slow as they may be, and tells what that makes of the end.
func (n *net) alternatives(ctx context.Context, r *Result, o Options) error {
	type try struct {
		what, code, remedy string
		changes            []finding.Change
		change             func(*net)
	}
	waits := func(name string) bool {
		return slices.ContainsFunc(r.Critical, func(s Step) bool { return strings.HasPrefix(s.Why, name) && strings.HasSuffix(s.Why, freeAgain) })
	}
	var tries []try
	for i, p := range n.in.Shop.Printers {
		if k := n.printer(p.ID); waits(p.ID) {
			tries = append(tries, try{"one more " + p.ID, "more-printers", fmt.Sprintf("see whether that is worth it to you: count: %d in the shop file", p.Count+1),
				[]finding.Change{{Document: finding.ShopFile, Pointer: fmt.Sprintf("/printers/%d/count", i), Value: strconv.Itoa(p.Count + 1)}},
				func(m *net) { m.resources[k].Capacity++ }})
		}
	}
	if waits("person") {
		tries = append(tries, try{"one more person", "more-persons", fmt.Sprintf("see who could help: persons: %d in the shop's section work", n.in.Shop.Work.Persons+1), nil,
			func(m *net) { m.resources[person].Capacity++ }})
	}
	if !n.in.Shop.Work.NightPrinting {
		tries = append(tries, try{"printing at night", "night-printing", "see whether it is safe where the printers stand: night_printing: true in the shop's section work", nil, func(m *net) {
			for i := range n.in.Shop.Printers {
				m.resources[laser+1+i].Calendar = nil
			}
		}})
	}
	tries = append(tries, try{what: slowPrints, code: "slow-prints", remedy: "promise the later day, or log your prints and lower the printer's spread", change: func(m *net) {
		m.tasks = slices.Clone(m.tasks)
		for _, l := range m.loads {
			m.tasks[l.print].long = m.tasks[l.print].hand + l.high
		}
	}})
	ends := make([]int64, len(tries))
	errs := make([]error, len(tries))
	parallel.Each(len(tries), 0, func(i int) {
		m := *n
		m.resources = slices.Clone(n.resources)
		tries[i].change(&m)
		var again *solution
		if again, errs[i] = m.solve(ctx, o); errs[i] == nil {
			ends[i] = again.Makespan
		}
	})
	for i, t := range tries {
		var refused *project.Error
		if errors.As(errs[i], &refused) { // a slow print that no day is long enough for
			continue
		}
		if errs[i] != nil {
			return errs[i]
		}
		end := float64(ends[i])
		r.Alternatives = append(r.Alternatives, Alternative{What: t.what, End: end, Finish: r.At(end)})
		// A part of a day is less than the search may miss.
		f := finding.Finding{Severity: finding.Note, Code: t.code, Subject: "piece", Remedy: t.remedy, Source: "the calendar made again", Changes: t.changes}
		switch {
		case t.what == slowPrints && end-r.End >= day:
			f.Message = fmt.Sprintf("with %s it ends %s, %s later than %s", t.what, r.when(end), span(end-r.End), r.when(r.End))
		case t.what != slowPrints && r.End-end >= day:
			f.Message = fmt.Sprintf("%s would bring the end forward from %s to %s, by %s", t.what, r.when(r.End), r.when(end), span(r.End-end))
		default:
			continue
		}
		n.found(f)
	}
	return nil
}

const slowPrints = "prints as slow as they may be"

// when is a time in words: "Mon 30 Nov 2026, 8:00", or "day 3, 8:00".
func (r *Result) when(s float64) string {
	if t := r.At(s); !t.IsZero() {
		return t.Format("Mon 2 Jan 2006, 15:04")
	}
	return fmt.Sprintf("day %d, %s", int(s)/day+1, clock(s))
}

// span is a length of time in words.
func span(s float64) string {
	switch h := s / 3600; {
	case h < 1:
		return fmt.Sprintf("%.0f min", math.Ceil(s/60))
	case h < 48:
		return fmt.Sprintf("%.1f h", h)
	default:
		return fmt.Sprintf("%.1f days", h/24)
	}
}
