package project

import (
	"cmp"
	"slices"
)

// handover is a share of a resource that goes from one activity to the next:
// the second starts at least dist after the first.
type handover struct {
	from, to int
	dist     int64
	res      int
}

// handovers says who gets what each hold takes from whom: of those who left
// enough before, who left it first.
func (n *net) handovers(start []int64) []handover {
	users := make([][]user, len(n.capacity))
	for _, i := range n.topo {
		for _, h := range n.holds[i] {
			users[h.res] = append(users[h.res], user{i, h})
		}
	}
	type share struct {
		by     user
		until  int64
		amount int64
	}
	var out []handover
	for r, us := range users {
		slices.SortStableFunc(us, func(a, b user) int { return cmp.Compare(start[a.i]+a.h.from, start[b.i]+b.h.from) })
		untouched := n.capacity[r]
		var shares []share // in order of until
		for _, u := range us {
			need := u.h.amount - min(u.h.amount, untouched)
			untouched -= u.h.amount - need
			k := 0
			for ; need > 0; k++ {
				s := &shares[k]
				got := min(need, s.amount)
				need -= got
				s.amount -= got
				if s.by.i != u.i {
					out = append(out, handover{s.by.i, u.i, s.by.h.to - u.h.from, r})
				}
				if s.amount > 0 {
					break
				}
			}
			shares = shares[k:]
			s := share{u, start[u.i] + u.h.to, u.h.amount}
			at, _ := slices.BinarySearchFunc(shares, s.until, func(s share, t int64) int { return cmp.Compare(s.until, t) })
			shares = slices.Insert(shares, at, s)
		}
	}
	return out
}

// result is the best schedule found with what can be told about it.
func (n *net) result(start []int64, makespan, bound int64, made int) *Schedule {
	s := &Schedule{Start: slices.Clone(start), Makespan: makespan, LowerBound: bound, Evaluated: made}
	hand := n.handovers(start)
	s.Slack = n.slack(start, makespan, hand)
	s.Critical = n.chain(start, makespan, hand)
	return s
}

// slack is how far each latest start, all handovers kept, is from the start.
func (n *net) slack(start []int64, makespan int64, hand []handover) []int64 {
	lst := make([]int64, len(start))
	for i, d := range n.dur {
		lst[i] = makespan - d
	}
	// Handovers of parts of activities may go against the order of starts, so that
	// one pass may not do. The schedule itself bounds what they come to.
	slices.SortFunc(hand, func(a, b handover) int { return -cmp.Compare(start[a.from], start[b.from]) })
	for changed := true; changed; {
		changed = false
		sooner := func(i int, t int64) {
			if t < lst[i] {
				lst[i], changed = t, true
			}
		}
		for _, i := range slices.Backward(n.topo) {
			for _, a := range n.succ[i] {
				sooner(i, lst[a.to]-a.dist)
			}
			sooner(i, n.windows[i].last(lst[i]))
		}
		for _, h := range hand {
			sooner(h.from, lst[h.to]-h.dist)
		}
	}
	for i := range lst {
		lst[i] -= start[i]
	}
	return lst
}

// chain goes back from the activity that finishes last to what each waited for.
// An activity of the schedule could not start earlier, all others staying, so
// that there is something: a link, a handover, its release or its hours.
func (n *net) chain(start []int64, makespan int64, hand []handover) []Step {
	if len(start) == 0 {
		return nil
	}
	at := slices.IndexFunc(n.topo, func(i int) bool { return start[i]+n.dur[i] == makespan })
	i := n.topo[at]
	var out []Step
	seen := make([]bool, len(start))
	for i >= 0 && !seen[i] {
		seen[i] = true
		step := Step{Activity: i, Resource: -1}
		before, since := -1, int64(0)
		if n.release[i] > 0 {
			step.Why, since = Release, n.release[i]
		}
		for _, h := range hand {
			if t := start[h.from] + h.dist; h.to == i && t >= since {
				step.Why, step.Resource, before, since = Share, h.res, h.from, t
			}
		}
		for _, a := range n.pred[i] {
			if t := start[a.to] + a.dist; t >= since {
				step.Why, step.Resource, before, since = Before, -1, a.to, t
			}
		}
		step.Wait = start[i] - since
		out = append(out, step)
		i = before
	}
	slices.Reverse(out)
	return out
}
