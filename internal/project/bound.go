package project

import (
	"cmp"
	"slices"
)

// What the reasoning about time windows may cost: its work grows with the second
// and third power of these.
const (
	mostPaired    = 400 // activities, to compare all pairs
	mostEnergetic = 60  // holds of a resource, to weigh all intervals
	mostRounds    = 100 // of narrowing
)

// bounder refutes makespans: it narrows the times between which activities can
// start until they contradict each other.
type bounder struct {
	n        *net
	est, lst []int64 // earliest and latest starts
	heads    []int64
	pairs    []pair
	users    [][]user // of each resource
	lines    []timeline
	changed  bool
}

// pair is two activities that cannot hold a resource together: either b starts
// at least ab after a, or a at least ba after b.
type pair struct {
	a, b   int
	ab, ba int64
}

// user is one hold of a resource.
type user struct {
	i int
	h hold
}

func newBounder(n *net) *bounder {
	b := &bounder{n: n, heads: n.heads(nil), users: n.users(), lines: newMaker(n).lines,
		est: make([]int64, len(n.dur)), lst: make([]int64, len(n.dur))}
	if len(n.dur) > mostPaired {
		return b
	}
	for r, us := range b.users {
		for k, u := range us {
			for _, v := range us[:k] {
				if u.i != v.i && u.h.amount+v.h.amount > n.capacity[r] {
					b.pairs = append(b.pairs, pair{v.i, u.i, v.h.to - u.h.from, u.h.to - v.h.from})
				}
			}
		}
	}
	return b
}

// bound is the least makespan that is not refuted, looked for between the longest
// path and known, the makespan of a schedule.
func (b *bounder) bound(known int64) int64 {
	low := int64(0)
	for i, t := range b.heads {
		low = max(low, t+b.n.dur[i])
	}
	// Often the first schedule is one of the shortest: one look then instead of some
	// twenty.
	if low < known && b.refuted(known-1) {
		return known
	}
	for high := known; low < high; {
		if mid := low + (high-low)/2; b.refuted(mid) {
			low = mid + 1
		} else {
			high = mid
		}
	}
	return low
}

// refuted tells whether no schedule ends by a time. Where it says no, there may
// still be none.
func (b *bounder) refuted(end int64) bool {
	copy(b.est, b.heads)
	for i, d := range b.n.dur {
		b.lst[i] = end - d
	}
	b.changed = true
	for round := 0; b.changed && round < mostRounds; round++ {
		b.changed = false
		if b.links() || b.disjoint() || b.compulsory() {
			return true
		}
	}
	return b.overfull()
}

func (b *bounder) later(i int, t int64) {
	if t > b.est[i] {
		b.est[i], b.changed = t, true
	}
}

func (b *bounder) sooner(i int, t int64) {
	if t < b.lst[i] {
		b.lst[i], b.changed = t, true
	}
}

// links narrows by links and calendars.
func (b *bounder) links() bool {
	n := b.n
	for _, i := range n.topo {
		for _, a := range n.pred[i] {
			b.later(i, b.est[a.to]+a.dist)
		}
		b.later(i, n.windows[i].next(b.est[i]))
	}
	for _, i := range slices.Backward(n.topo) {
		for _, a := range n.succ[i] {
			b.sooner(i, b.lst[a.to]-a.dist)
		}
		b.sooner(i, n.windows[i].last(b.lst[i]))
		if b.est[i] > b.lst[i] {
			return true
		}
	}
	return false
}

// disjoint narrows by pairs that only one order is left to.
func (b *bounder) disjoint() bool {
	for _, p := range b.pairs {
		ab := b.est[p.a]+p.ab <= b.lst[p.b]
		ba := b.est[p.b]+p.ba <= b.lst[p.a]
		switch {
		case !ab && !ba:
			return true
		case !ba:
			b.later(p.b, b.est[p.a]+p.ab)
			b.sooner(p.a, b.lst[p.b]-p.ab)
		case !ab:
			b.later(p.a, b.est[p.b]+p.ba)
			b.sooner(p.b, b.lst[p.a]-p.ba)
		}
	}
	return false
}

// compulsory narrows by the times at which a resource is held wherever between
// its earliest and its latest start an activity lies.
func (b *bounder) compulsory() bool {
	for r, us := range b.users {
		l := &b.lines[r]
		l.clear()
		for _, u := range us {
			b.part(l, u, u.h.amount)
		}
		for _, f := range l.free {
			if f < 0 {
				return true
			}
		}
		for _, u := range us {
			b.part(l, u, -u.h.amount)
			long := u.h.to - u.h.from
			b.later(u.i, l.earliest(b.est[u.i]+u.h.from, long, u.h.amount)-u.h.from)
			b.sooner(u.i, l.latest(b.lst[u.i]+u.h.from, long, u.h.amount)-u.h.from)
			if b.est[u.i] > b.lst[u.i] {
				return true
			}
			b.part(l, u, u.h.amount)
		}
		for _, f := range l.free {
			if f < 0 {
				return true
			}
		}
	}
	return false
}

func (b *bounder) part(l *timeline, u user, amount int64) {
	if from, to := b.lst[u.i]+u.h.from, b.est[u.i]+u.h.to; from < to {
		l.take(from, to, amount)
	}
}

// overfull tells whether what must be held of a resource within some interval is
// more than there is (energetic reasoning, Erschler and Lopez 1990). An activity
// counts with the least that it holds there, wherever it lies. The intervals
// from an earliest beginning of a hold to a latest end are looked at.
func (b *bounder) overfull() bool {
	for r, us := range b.users {
		if len(us) > mostEnergetic {
			if b.crammed(r) {
				return true
			}
			continue
		}
		for _, x := range us {
			from := b.est[x.i] + x.h.from
			for _, y := range us {
				to := b.lst[y.i] + y.h.to
				need := int64(0)
				for _, u := range us {
					long := u.h.to - u.h.from
					soon := min(to, b.est[u.i]+u.h.to) - from // of it, if as early as can be
					late := to - max(from, b.lst[u.i]+u.h.from)
					need += u.h.amount * max(0, min(long, soon, late, to-from))
				}
				if to > from && b.short(r, need, from, to) {
					return true
				}
			}
		}
	}
	return false
}

// crammed is the same, but counts only holds that lie within the interval wholly.
func (b *bounder) crammed(r int) bool {
	us := b.users[r]
	slices.SortFunc(us, func(x, y user) int { return -cmp.Compare(b.est[x.i]+x.h.from, b.est[y.i]+y.h.from) })
	for _, y := range us {
		to := b.lst[y.i] + y.h.to
		need := int64(0)
		for _, u := range us {
			if b.lst[u.i]+u.h.to > to {
				continue
			}
			need += u.h.amount * (u.h.to - u.h.from)
			if from := b.est[u.i] + u.h.from; to > from && b.short(r, need, from, to) {
				return true
			}
		}
	}
	return false
}

// short tells whether a resource gives less than a need, amount times seconds,
// between two times.
func (b *bounder) short(r int, need, from, to int64) bool {
	c := b.n.capacity[r]
	return (need+c-1)/c > b.n.hours[r].between(from, to)
}
