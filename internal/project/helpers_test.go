package project

import (
	"cmp"
	"context"
	"math/rand/v2"
	"slices"

	"pgregory.net/rapid"
)

// solve makes a schedule that must hold, and says what is wrong with it if not.
func solve(t rapid.TB, p Project, o Options) *Schedule {
	t.Helper()
	s, err := Solve(context.Background(), p, o)
	if err != nil {
		t.Fatal(err)
	}
	judge(t, p, s)
	return s
}

// judge checks what must be true of every schedule that Solve returns.
func judge(t rapid.TB, p Project, s *Schedule) {
	t.Helper()
	for _, v := range Verify(p, s) {
		t.Error(v)
	}
	if len(s.Slack) != len(s.Start) {
		t.Fatalf("%d slacks of %d activities", len(s.Slack), len(s.Start))
	}
	// Everything as late as its slack lets it: still a schedule, and no longer.
	late := &Schedule{Start: slices.Clone(s.Start), Makespan: s.Makespan, LowerBound: s.LowerBound}
	for i, d := range s.Slack {
		if d < 0 {
			t.Errorf("slack %d of activity %d", d, i)
		}
		late.Start[i] += d
	}
	for _, v := range Verify(p, late) {
		t.Errorf("as late as the slack allows: %v", v)
	}
	if len(p.Activities) == 0 {
		return
	}
	if len(s.Critical) == 0 {
		t.Fatal("no critical chain")
	}
	for k, c := range s.Critical {
		checkStep(t, p, s, k, c)
	}
	last := s.Critical[len(s.Critical)-1].Activity
	if s.Start[last]+p.Activities[last].Duration != s.Makespan {
		t.Errorf("the chain ends with activity %d, which does not finish last", last)
	}
}

// checkStep checks that a step of the chain is what keeps its activity from
// starting earlier, in terms of the project.
func checkStep(t rapid.TB, p Project, s *Schedule, k int, c Step) {
	t.Helper()
	a := p.Activities[c.Activity]
	since := s.Start[c.Activity] - c.Wait
	if c.Wait < 0 || (c.Why == Nothing || c.Why == Release) != (k == 0) {
		t.Errorf("step %d of the chain: %+v", k, c)
		return
	}
	ok := false
	switch c.Why {
	case Nothing:
		ok = since == 0
	case Release:
		ok = since == a.Release
	case Before:
		for _, l := range a.After {
			if b := s.Critical[k-1].Activity; l.Activity == b {
				e := s.Start[b] + l.Lag
				if l.From == Finish {
					e += p.Activities[b].Duration
				}
				ok = ok || e == since
			}
		}
	case Share:
		b := s.Critical[k-1].Activity
		for _, d := range a.Demands {
			for _, e := range p.Activities[b].Demands {
				_, left := held(p.Activities[b], s.Start[b], e)
				ok = ok || d.Resource == c.Resource && e.Resource == c.Resource && since+d.From == left
			}
		}
	}
	if !ok {
		t.Errorf("step %d of the chain: %+v does not explain the start at %d", k, c, s.Start[c.Activity])
	}
	// Earlier, or in the time it waits, something must be in its way.
	if s.Start[c.Activity] > 0 {
		e := &Schedule{Start: slices.Clone(s.Start), Makespan: s.Makespan}
		e.Start[c.Activity]--
		e.Makespan = 0
		for i, b := range p.Activities {
			e.Makespan = max(e.Makespan, e.Start[i]+b.Duration)
		}
		if len(Verify(p, e)) == 0 {
			t.Errorf("step %d of the chain: activity %d could start a second earlier", k, c.Activity)
		}
	}
}

// shortest tries, for a few activities of few seconds each, every start that
// could matter, and returns the least makespan, or -1 if none is below limit.
// It asks Verify only, and so shares nothing with the search.
func shortest(p Project, limit int64) int64 {
	n := len(p.Activities)
	start := make([]int64, n)
	best := limit
	var try func(i int)
	try = func(i int) {
		// The first i activities alone: links to later ones are left out until those stand.
		part := Project{Activities: slices.Clone(p.Activities[:i]), Resources: p.Resources}
		s := &Schedule{Start: start[:i]}
		for k := range part.Activities {
			a := &part.Activities[k]
			a.After = slices.DeleteFunc(slices.Clone(a.After), func(l Link) bool { return l.Activity >= i })
			s.Makespan = max(s.Makespan, start[k]+a.Duration)
		}
		if s.Makespan >= best || len(Verify(part, s)) > 0 {
			return
		}
		if i == n {
			best = s.Makespan
			return
		}
		for start[i] = 0; start[i]+p.Activities[i].Duration < best; start[i]++ {
			try(i + 1)
		}
	}
	try(0)
	if best == limit {
		return -1
	}
	return best
}

// tiny draws a project of a few short activities with everything a project can
// have: lags from starts and finishes, holds of part of the time, calendars that
// repeat and that do not, hours that do not matter.
func tiny(t *rapid.T, most int) Project {
	var p Project
	for range rapid.IntRange(1, 3).Draw(t, "resources") {
		r := Resource{Capacity: rapid.Int64Range(1, 3).Draw(t, "capacity")}
		if rapid.IntRange(0, 2).Draw(t, "calendar") == 0 {
			c := &Calendar{Repeat: rapid.Int64Range(3, 8).Draw(t, "repeat")}
			for range rapid.IntRange(1, 2).Draw(t, "intervals") {
				from := rapid.Int64Range(0, c.Repeat-1).Draw(t, "from")
				c.Working = append(c.Working, Interval{from, rapid.Int64Range(from+1, c.Repeat).Draw(t, "to")})
			}
			if rapid.IntRange(0, 3).Draw(t, "once") == 0 {
				c.Repeat = 0
			}
			r.Calendar = c
		}
		p.Resources = append(p.Resources, r)
	}
	for i := range rapid.IntRange(1, most).Draw(t, "activities") {
		a := Activity{Duration: rapid.Int64Range(0, 4).Draw(t, "duration")}
		if rapid.IntRange(0, 3).Draw(t, "released") == 0 {
			a.Release = rapid.Int64Range(0, 5).Draw(t, "release")
		}
		for j := range i {
			if rapid.IntRange(0, 2).Draw(t, "linked") == 0 {
				a.After = append(a.After, Link{j, Event(rapid.IntRange(0, 1).Draw(t, "event")), rapid.Int64Range(0, 2).Draw(t, "lag")})
			}
		}
		for r, res := range p.Resources {
			if a.Duration == 0 || rapid.Bool().Draw(t, "free") {
				continue
			}
			d := Demand{Resource: r, Amount: rapid.Int64Range(1, res.Capacity).Draw(t, "amount"), Hours: Hours(rapid.IntRange(0, 2).Draw(t, "hours"))}
			if rapid.Bool().Draw(t, "part") {
				d.From = rapid.Int64Range(0, a.Duration-1).Draw(t, "held from")
				d.To = rapid.Int64Range(d.From+1, a.Duration).Draw(t, "held to")
			}
			a.Demands = append(a.Demands, d)
		}
		p.Activities = append(p.Activities, a)
	}
	return p
}

// shuffled is the project with its activities and resources in another order.
func shuffled(p Project, seed uint64) Project {
	rng := rand.New(rand.NewPCG(seed, 1))
	act, res := rng.Perm(len(p.Activities)), rng.Perm(len(p.Resources)) // new places
	out := Project{make([]Activity, len(act)), make([]Resource, len(res))}
	for r, to := range res {
		out.Resources[to] = p.Resources[r]
	}
	for i, to := range act {
		a := p.Activities[i]
		a.After, a.Demands = slices.Clone(a.After), slices.Clone(a.Demands)
		for k := range a.After {
			a.After[k].Activity = act[a.After[k].Activity]
		}
		for k := range a.Demands {
			a.Demands[k].Resource = res[a.Demands[k].Resource]
		}
		slices.SortStableFunc(a.Demands, func(x, y Demand) int { return cmp.Compare(x.Resource, y.Resource) })
		out.Activities[to] = a
	}
	return out
}
