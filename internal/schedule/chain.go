package schedule

import (
	"cmp"
	"math/rand/v2"
	"slices"

	"groundwork/internal/project"
)

// tails is, for every task, the shortest time from its end to the end of the
// job by what waits for it, working hours left aside, s.
func (n *net) tails() []int64 {
	tails := make([]int64, len(n.tasks))
	for i := len(n.tasks) - 1; i >= 0; i-- { // tasks wait for earlier ones only
		for _, w := range n.tasks[i].after {
			tails[w.on] = max(tails[w.on], w.lag+n.tasks[i].long+tails[i])
		}
	}
	return tails
}

// looks is how many orders of loads are looked at by line.
const looks = 600

// line looks for an order of loads in which printers wait little for hands at
// night and what takes long afterwards is off them early. Orders are tried on
// the printers alone, as if hands were free whenever the shop is open: that is
// quick, and the scheduler then does the rest. A single load is moved in the
// order at a time, and stays where it is no worse.
func (n *net) line(seed uint64) []int {
	tails := n.tails()
	order := make([]int, len(n.loads))
	for i := range order {
		order[i] = i
	}
	free := order[n.first:] // coupons come first in any case
	slices.SortStableFunc(free, func(a, b int) int {
		x, y := n.loads[a], n.loads[b]
		return cmp.Or(cmp.Compare(tails[y.off], tails[x.off]), cmp.Compare(n.tasks[y.print].long, n.tasks[x.print].long))
	})
	if len(free) < 2 || len(n.hours.persons.Working) == 0 {
		return order
	}
	judge := func(order []int) (end, sum int64) {
		for i, off := range n.run(order) {
			end = max(end, off+tails[n.loads[i].off])
			sum += off
		}
		return end, sum
	}
	random := rand.New(rand.NewPCG(seed, 0x6c6f616473))
	end, sum := judge(order)
	for range looks {
		next := slices.Clone(order)
		from, to := n.first+random.IntN(len(free)), n.first+random.IntN(len(free))
		l := next[from]
		next = slices.Insert(slices.Delete(next, from, from+1), to, l)
		if e, s := judge(next); e < end || e == end && s <= sum {
			order, end, sum = next, e, s
		}
	}
	return order
}

// run is when each load is off its printer if they are printed in an order.
func (n *net) run(order []int) []int64 {
	off := make([]int64, len(n.loads))
	free := map[int][]int64{} // by printer and which of the kind
	for _, i := range order {
		l := n.loads[i]
		if free[l.resource] == nil {
			free[l.resource] = make([]int64, n.resources[l.resource].Capacity)
		}
		units := free[l.resource]
		k := 0
		for u := range units {
			if units[u] < units[k] {
				k = u
			}
		}
		print := n.tasks[l.print]
		start := openFor(n.hours.persons, max(units[k], n.hours.from), print.hand)
		if room := n.resources[l.resource].Calendar; room != nil && print.long <= n.hours.longestRoom {
			start = max(start, openFor(room, start, print.long))
		}
		off[i] = openFor(n.hours.persons, start+print.long, n.tasks[l.off].hand) + n.tasks[l.off].hand
		units[k] = off[i]
	}
	return off
}

// openFor is the first time from s on at which a calendar works for so long on
// end.
func openFor(c *project.Calendar, s, long int64) int64 {
	turn := s / c.Repeat * c.Repeat
	for range 2 {
		i, _ := slices.BinarySearchFunc(c.Working, s-turn, func(w project.Interval, s int64) int { return cmp.Compare(w.To, s+1) })
		for ; i < len(c.Working); i++ {
			if at := max(s, turn+c.Working[i].From); at+long <= turn+c.Working[i].To {
				return at
			}
		}
		turn += c.Repeat
		s = max(s, turn)
	}
	return s
}
