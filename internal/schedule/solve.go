package schedule

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"groundwork/internal/project"
)

// solution is a schedule of a net.
type solution struct {
	project project.Project // as solved: with the order of loads on each printer
	*project.Schedule
	bound   int64
	tries   int
	machine []string    // by task, the printer that it is on
	chained map[int]int // by print, the taking off that frees its printer
}

// solve looks for a short schedule. The scheduler does not know that a printer
// is blocked until somebody has taken off what it printed, so it goes in two
// steps: first as if it were not, which gives a lower bound; then with every load
// tied to the taking off of the one before it on the same printer. Two orders of
// loads are tried, that of the first step and that of line, and the shorter
// schedule is taken.
func (n *net) solve(ctx context.Context, o Options) (*solution, error) {
	opts := project.Options{Schedules: max(1, o.Schedules/3), Seed: o.Seed}
	first, err := project.Solve(ctx, n.project(nil), opts)
	if err != nil {
		return nil, err
	}
	tries := first.Evaluated
	inOrder := make([]int, len(n.loads))
	for i := range inOrder {
		inOrder[i] = i
	}
	slices.SortStableFunc(inOrder, func(a, b int) int { return cmp.Compare(first.Start[n.loads[a].print], first.Start[n.loads[b].print]) })
	freed := make([]int64, len(n.loads))
	for i, l := range n.loads {
		freed[i] = first.Start[l.off] + n.tasks[l.off].long
	}
	line := n.line(o.Seed)
	// The bound without such ties holds with them. Theirs would be nearer, and end a
	// long search earlier; a short one is over before it is worked out.
	const short = 300
	if opts.Schedules <= short {
		opts.Bound = first.LowerBound
	}
	var best *solution
	for _, chained := range []map[int]int{n.deal(line, n.run(line)), n.deal(inOrder, freed)} {
		s := &solution{project: n.project(chained), bound: first.LowerBound, machine: make([]string, len(n.tasks)), chained: chained}
		if s.Schedule, err = project.Solve(ctx, s.project, opts); err != nil {
			return nil, err
		}
		tries += s.Evaluated
		if best == nil || s.Makespan < best.Makespan {
			best = s
		}
		if best.Makespan == best.bound {
			break
		}
	}
	if vs := project.Verify(best.project, best.Schedule); len(vs) > 0 {
		return nil, fmt.Errorf("the schedule does not hold: %v", vs[0])
	}
	best.tries = tries
	n.nameMachines(best)
	if !n.hours.covers(best.Makespan) {
		return nil, &project.Error{Reason: project.NoRoom, Activity: -1, Resource: person, Detail: fmt.Sprintf("it takes longer than the %d weeks ahead for which holidays are counted", holidayWeeks)}
	}
	return best, nil
}

// deal gives every load of an order the printer of its kind that is free first,
// and tells what frees that printer for it. freed is when each load is off.
func (n *net) deal(order []int, freed []int64) map[int]int {
	chained := map[int]int{}
	units := map[int][]int{} // by printer, the last load of each of its kind, -1 before the first
	for _, i := range order {
		l := n.loads[i]
		last, ok := units[l.resource]
		if !ok {
			last = make([]int, n.resources[l.resource].Capacity)
			for u := range last {
				last[u] = -1
			}
			units[l.resource] = last
		}
		free := func(u int) int64 {
			if last[u] < 0 {
				return -1
			}
			return freed[last[u]]
		}
		k := 0
		for u := range last {
			if free(u) < free(k) {
				k = u
			}
		}
		if last[k] >= 0 {
			chained[l.print] = n.loads[last[k]].off
		}
		last[k] = i
	}
	return chained
}

// nameMachines tells which of several like printers each load is on.
func (n *net) nameMachines(s *solution) {
	off := map[int]int{} // print by its taking off
	for _, l := range n.loads {
		off[l.off] = l.print
	}
	count := map[int]int{}
	number := map[int]int{} // by print
	// A load without one before it is the first of its printer.
	for _, l := range n.loads {
		if _, ok := s.chained[l.print]; !ok {
			count[l.resource]++
			number[l.print] = count[l.resource]
		}
	}
	var of func(print int) int
	of = func(print int) int {
		if k, ok := number[print]; ok {
			return k
		}
		k := of(off[s.chained[print]])
		number[print] = k
		return k
	}
	for _, l := range n.loads {
		name := n.resources[l.resource].Name
		if n.resources[l.resource].Capacity > 1 {
			name = fmt.Sprintf("%s %d", name, of(l.print))
		}
		s.machine[l.print], s.machine[l.off] = name, name
	}
}

// project is the net as the scheduler knows it; chained are further waits of
// prints.
func (n *net) project(chained map[int]int) project.Project {
	p := project.Project{Resources: n.resources}
	for i, t := range n.tasks {
		a := project.Activity{Name: t.id, Duration: t.long, Release: n.hours.from}
		for _, w := range t.after {
			a.After = append(a.After, project.Link{Activity: w.on, From: project.Finish, Lag: w.lag})
		}
		if off, ok := chained[i]; ok {
			a.After = append(a.After, project.Link{Activity: off, From: project.Finish})
		}
		for _, u := range t.uses {
			to := u.to
			if to == 0 {
				to = t.long
			}
			if u.amount > 0 && to > u.from {
				a.Demands = append(a.Demands, project.Demand{Resource: u.resource, Amount: u.amount, From: u.from, To: to, Hours: u.hours})
			}
		}
		p.Activities = append(p.Activities, a)
	}
	return p
}

// freeAgain ends why a step waits for a resource.
const freeAgain = " is free again"

// why tells what keeps step i of the critical chain from beginning earlier.
func (n *net) why(s *solution, i int) string {
	c := s.Critical[i]
	switch c.Why {
	case project.Share:
		if c.Resource == clamps {
			return "clamps are free again"
		}
		return n.resources[c.Resource].Name + freeAgain
	case project.Before:
		before := s.Critical[i-1].Activity
		if off, ok := s.chained[c.Activity]; ok && off == before {
			return s.machine[c.Activity] + freeAgain
		}
		most := wait{lag: -1}
		for _, w := range n.tasks[c.Activity].after {
			if w.on == before && w.lag > most.lag {
				most = w
			}
		}
		if most.lag > 0 {
			return most.why
		}
		return "what is before it is done"
	}
	return "the job begins"
}

// result tells a schedule in the words of the job.
func (n *net) result(s *solution) *Result {
	r := &Result{End: float64(s.Makespan), LowerBound: float64(s.bound), Start: n.hours.start, Rests: rests(n.in), Evaluated: s.tries}
	r.Finish = r.At(r.End)
	r.open = stretches(n.hours.persons, s.Makespan+7*day)
	busy := make([]float64, len(n.resources))
	critical := map[int]bool{}
	for i, c := range s.Critical {
		critical[c.Activity] = true
		r.Critical = append(r.Critical, Step{Activity: n.tasks[c.Activity].id, Why: n.why(s, i), Wait: float64(c.Wait)})
	}
	r.Begin = r.End
	for i, t := range n.tasks {
		a := Activity{
			ID: t.id, Kind: t.kind, Of: t.of, Start: float64(s.Start[i]), End: float64(s.Start[i] + t.long),
			Hand: float64(t.hand), Billed: float64(t.bill), Slack: float64(s.Slack[i]), Critical: critical[i], Machine: s.machine[i], Note: t.note,
		}
		a.Begin, a.Finish = r.At(a.Start), r.At(a.End)
		for _, u := range t.uses {
			to := u.to
			if to == 0 {
				to = t.long
			}
			if u.amount > 0 && to > u.from {
				a.Uses = append(a.Uses, Use{Resource: n.resources[u.resource].Name, Amount: int(u.amount), From: float64(u.from), To: float64(to)})
				busy[u.resource] += float64(u.amount) * float64(to-u.from)
			}
		}
		for _, w := range t.after {
			a.After = append(a.After, Wait{On: n.tasks[w.on].id, Lag: float64(w.lag), Why: w.why})
		}
		if off, ok := s.chained[i]; ok {
			a.After = append(a.After, Wait{On: n.tasks[off].id, Why: "its printer is free"})
		}
		r.HandsOn += a.Hand
		r.Billed += a.Billed
		r.Begin = min(r.Begin, a.Start)
		r.Activities = append(r.Activities, a)
	}
	slices.SortStableFunc(r.Activities, func(a, b Activity) int { return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(a.End, b.End)) })
	for i, it := range n.resources[:laser+1+len(n.in.Shop.Printers)] {
		r.Resources = append(r.Resources, Resource{Name: it.Name, Count: int(it.Capacity), Busy: busy[i], Attended: i == person})
	}
	return r
}
