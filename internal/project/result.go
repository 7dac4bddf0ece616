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

// users are the holds of each resource, those first that others wait for.
func (n *net) users() [][]user {
	out := make([][]user, len(n.capacity))
	for _, i := range n.topo {
		for _, h := range n.holds[i] {
			out[h.res] = append(out[h.res], user{i, h})
		}
	}
	return out
}

// handovers says who gets what each hold takes from whom: of those who left
// enough before, who left it first.
func (n *net) handovers(start []int64) []handover {
	type share struct {
		by     user
		until  int64
		amount int64
	}
	var out []handover
	for r, us := range n.users() {
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
func (n *net) chain(start []int64, makespan int64, hand []handover) []Step {
	c := &causes{n: n, start: start, hand: hand, seen: make([]bool, len(start)), users: n.users()}
	for _, i := range n.topo {
		if start[i]+n.dur[i] == makespan && c.explain(i) {
			break
		}
	}
	return c.chain
}

// causes looks for a chain of causes without a circle. There is one in every
// schedule that a scheme made: the activities that stood when another was placed
// kept it from starting earlier. But others came later that seem to do so too.
type causes struct {
	n     *net
	start []int64
	hand  []handover
	users [][]user
	seen  []bool
	chain []Step
}

// explain adds the causes of an activity's start and the activity itself, and
// returns whether there is a way to a beginning.
func (c *causes) explain(i int) bool {
	if c.seen[i] {
		return false
	}
	c.seen[i] = true
	n, at := c.n, c.start[i]
	step := Step{Activity: i, Resource: -1}
	end := func() bool {
		if step.Wait = at - n.release[i]; n.release[i] > 0 {
			step.Why = Release
		}
		c.chain = append(c.chain, step)
		return true
	}
	if at == n.release[i] {
		return end()
	}
	for _, a := range n.pred[i] {
		if c.start[a.to]+a.dist == at && c.explain(a.to) {
			step.Why = Before
			c.chain = append(c.chain, step)
			return true
		}
	}
	for _, h := range n.holds[i] {
		// What is held at the last moment before it takes its own.
		taken, moment := h.amount, at+h.from-1
		for _, u := range c.users[h.res] {
			if f, t := c.start[u.i]+u.h.from, c.start[u.i]+u.h.to; u.i != i && f <= moment && moment < t {
				taken += u.h.amount
			}
		}
		if taken <= n.capacity[h.res] {
			continue
		}
		for _, u := range c.users[h.res] {
			if u.i != i && c.start[u.i]+u.h.to == at+h.from && c.explain(u.i) {
				step.Why, step.Resource = Share, h.res
				c.chain = append(c.chain, step)
				return true
			}
		}
	}
	if n.windows[i].last(at-1) == at-1 {
		return false
	}
	// Hours keep it: what it waited for before they began came last of all others.
	before, since := -1, n.release[i]
	for _, h := range c.hand {
		if t := c.start[h.from] + h.dist; h.to == i && t > since {
			step.Why, step.Resource, before, since = Share, h.res, h.from, t
		}
	}
	for _, a := range n.pred[i] {
		if t := c.start[a.to] + a.dist; t > since || t == since && before >= 0 {
			step.Why, step.Resource, before, since = Before, -1, a.to, t
		}
	}
	if before < 0 || !c.explain(before) {
		step.Why, step.Resource = Nothing, -1
		return end()
	}
	step.Wait = at - since
	c.chain = append(c.chain, step)
	return true
}
