package nest

import (
	"cmp"
	"math"
	"slices"
)

// This file says which layouts on bins are worth an attempt: with a part that was
// left out, on cheaper bins, or with less on the bin that has the least.

// aim is a layout to be attempted.
type aim struct {
	stowage          // of all parts; those that take part begin there, or anywhere if that is nowhere
	parts    []int   // that take part; the others stay where they are
	trays    []int   // that they may lie on
	width    float64 // of the first of these, if it is to be used no farther than that, µm
	fill     float64 // share of the room that it needs
	tried    int
	hopeless bool // some part has no place even by itself
	failed   pool
}

// enough reports whether the parts of an aim may have room: each has a tray
// that can hold it, and they would fit if they could be poured, the large ones
// whole. It works out what share of the room they need.
func (g *gathering) enough(a *aim) bool {
	p := g.p
	var room, widest float64
	for _, t := range a.trays {
		r := p.room(a.stocks[t])
		room += r
		widest = max(widest, r)
	}
	sizes := make([]float64, 0, len(a.parts))
	var sum float64
	for _, i := range a.parts {
		sizes = append(sizes, p.size(i))
		sum += p.size(i)
		if len(g.holders(i, a.stocks, a.trays)) == 0 {
			return false
		}
	}
	const tiny = 1e-9
	if a.fill = sum / room; room <= 0 || a.fill > 1+tiny {
		return false
	}
	// Fuller than this nothing comes clear but a jigsaw of few pieces.
	if a.fill > 0.98 && len(a.parts) > 60 {
		return false
	}
	return needed(sizes, widest*(1+tiny)) <= len(a.trays)
}

// needed is a number of equal bins below which parts of these areas cannot be
// put: bound L2 of S. Martello and P. Toth, Knapsack Problems, Wiley 1990,
// section 8.3, for one dimension, which holds for areas. For a limit k, parts
// larger than room - k have a bin each in which no part of k or more has a
// place; those larger than half have a bin each.
func needed(sizes []float64, room float64) int {
	most := 0
	for _, k := range append(slices.Clone(sizes), 0) {
		if k > room/2 {
			continue
		}
		alone, half := 0, 0
		var rest, halves float64
		for _, s := range sizes {
			switch {
			case s > room-k:
				alone++
			case s > room/2:
				half++
				halves += s
			case s >= k:
				rest += s
			}
		}
		more := math.Ceil((rest-(float64(half)*room-halves))/room - 1e-9)
		most = max(most, alone+half+max(0, int(more)))
	}
	return most
}

// holders are the trays, with the forms, that can hold a part if they are empty.
func (g *gathering) holders(part int, stocks, trays []int) (can []spot) {
	sh := &g.p.shapes[g.p.parts[part].shape]
	for _, t := range trays {
		st := &g.p.stocks[stocks[t]]
		for k, f := range sh.forms[st.swap] {
			if f.w <= st.w && f.h <= st.h {
				can = append(can, spot{tray: t, form: k})
			}
		}
	}
	return can
}

// alike are the parts without those of the same shape and class as one before
// them: the first few.
func (g *gathering) alike(parts []int, few int) (out []int) {
	type sort struct{ shape, class int }
	seen := map[sort]bool{}
	for _, i := range parts {
		q := g.p.parts[i]
		if k := (sort{q.shape, q.class}); !seen[k] && len(out) < few {
			seen[k] = true
			out = append(out, i)
		}
	}
	return out
}

// shortlist are the aims that are worth trying, those first that need the
// smallest share of their room.
func shortlist(list []*aim) []*aim {
	slices.SortStableFunc(list, func(a, b *aim) int { return cmp.Compare(a.fill, b.fill) })
	const few = 12
	return list[:min(len(list), few)]
}

// admissions are aims at laying a part that was left out: beside the others,
// or on a bin that is still free, or in place of one that counts for less.
func (g *gathering) admissions() []*aim {
	p, s := g.p, g.best
	waiting := g.waiting(s)
	if len(waiting) == 0 {
		return nil
	}
	laid := s.laid(nil)
	bySize := slices.Clone(laid)
	slices.SortStableFunc(bySize, func(i, j int) int {
		return cmp.Or(-cmp.Compare(p.parts[i].class, p.parts[j].class), -cmp.Compare(p.size(i), p.size(j)))
	})
	used := make([]int, len(p.stocks))
	for _, k := range s.stocks {
		used[k]++
	}
	const few = 6
	var out []*aim
	class := p.parts[waiting[0]].class
	for _, i := range g.alike(waiting, few) {
		// Those of one class at a time: what is gained of it outweighs all of the next.
		if p.parts[i].class != class && len(out) > 0 {
			break
		}
		class = p.parts[i].class
		offer := func(stocks []int, gone ...int) bool {
			a := &aim{stowage: stowage{stocks: stocks, at: slices.Clone(s.at)}, trays: numbers(len(stocks))}
			for _, j := range gone {
				a.at[j] = spot{tray: -1}
			}
			for _, j := range laid {
				if !slices.Contains(gone, j) {
					a.parts = append(a.parts, j)
				}
			}
			a.parts = append(a.parts, i)
			if !g.enough(a) {
				return false
			}
			out = append(out, a)
			return true
		}
		offer(s.stocks)
		for k := p.pinned; k < len(p.stocks); k++ {
			if st := &p.stocks[k]; st.quantity == Unlimited || used[k] < st.quantity {
				offer(append(slices.Clone(s.stocks), k))
			}
		}
		for _, j := range g.alike(bySize, len(bySize)) {
			if p.parts[j].class > class || p.parts[j].class == class && p.size(j) < p.size(i) {
				offer(s.stocks, j)
			}
		}
		// All that counts for less makes way if it must; what still fits returns.
		var lower []int
		for _, j := range laid {
			if p.parts[j].class > class {
				lower = append(lower, j)
			}
		}
		if len(lower) > 1 {
			offer(s.stocks, lower...)
		}
	}
	return shortlist(out)
}

// changes are aims at cheaper bins: some given up, and perhaps others opened in
// their place.
func (g *gathering) changes() []*aim {
	p, s := g.p, g.best
	loads := p.loads(s)
	used := make([]int, len(p.stocks))
	for _, k := range s.stocks {
		used[k]++
	}
	// Trays that may be given up, by stock, the least filled first.
	trays := make(map[int][]int)
	var give, open []int
	for t := p.pinned; t < len(s.stocks); t++ {
		if k := s.stocks[t]; trays[k] == nil {
			give = append(give, k)
		}
		trays[s.stocks[t]] = append(trays[s.stocks[t]], t)
	}
	for _, k := range give {
		slices.SortStableFunc(trays[k], func(a, b int) int { return cmp.Compare(loads[a], loads[b]) })
	}
	for k := p.pinned; k < len(p.stocks); k++ {
		open = append(open, k)
	}
	// Three of six sorts make 83 choices each way; of more sorts, fewer are taken.
	goneMost, extraMost := 3, 3
	switch {
	case len(open) > 20:
		goneMost, extraMost = 1, 1
	case len(open) > 6:
		goneMost, extraMost = 2, 2
	}
	parts := s.laid(nil)
	var room, area float64
	for _, k := range s.stocks {
		room += p.room(k)
	}
	for _, i := range parts {
		area += p.size(i)
	}
	type change struct {
		gone, extra []int // stocks
		fill, saves float64
	}
	var list []change
	for _, gone := range choices(give, goneMost, func(k, n int) bool { return n <= len(trays[k]) }) {
		if len(gone) == 0 {
			continue
		}
		for _, extra := range choices(open, extraMost, func(k, n int) bool {
			return !slices.Contains(gone, k) && (p.stocks[k].quantity == Unlimited || used[k]+n <= p.stocks[k].quantity)
		}) {
			c := change{gone: gone, extra: extra}
			left := room
			for _, k := range gone {
				c.saves += p.stocks[k].cost
				left -= p.room(k)
			}
			for _, k := range extra {
				c.saves -= p.stocks[k].cost
				left += p.room(k)
			}
			if c.fill = area / left; left > 0 && c.fill <= 1+1e-9 && c.saves > 1e-9*math.Abs(g.best.merit.cost) {
				list = append(list, c)
			}
		}
	}
	slices.SortStableFunc(list, func(a, b change) int {
		return cmp.Or(cmp.Compare(a.fill, b.fill), -cmp.Compare(a.saves, b.saves))
	})
	var out []*aim
	const few = 12
	for _, c := range list {
		a := &aim{stowage: stowage{at: slices.Clone(s.at)}, parts: parts}
		dropped := map[int]bool{}
		next := map[int]int{}
		for _, k := range c.gone {
			dropped[trays[k][next[k]]] = true
			next[k]++
		}
		name := make([]int, len(s.stocks))
		for t, k := range s.stocks {
			if name[t] = -1; !dropped[t] {
				name[t] = len(a.stocks)
				a.stocks = append(a.stocks, k)
			}
		}
		a.stocks = append(a.stocks, c.extra...)
		for i := range a.at {
			if q := &a.at[i]; q.tray >= 0 {
				q.tray = name[q.tray]
			}
		}
		a.trays = numbers(len(a.stocks))
		if len(a.stocks) > 0 && g.enough(a) {
			out = append(out, a)
		}
		if len(out) == few {
			break
		}
	}
	return out
}

// choices are all choices of up to most of the sorts, with repetition, as far
// as may allows n of a sort.
func choices(sorts []int, most int, may func(sort, n int) bool) [][]int {
	out := [][]int{nil}
	for from := 0; most > 0; most-- {
		last := out[from:]
		from = len(out)
		for _, c := range last {
			for _, k := range sorts {
				if len(c) > 0 && k < c[len(c)-1] {
					continue
				}
				n := 1
				for _, o := range c {
					if o == k {
						n++
					}
				}
				if may(k, n) {
					out = append(out, append(slices.Clone(c), k))
				}
			}
		}
	}
	return out
}

// roomy are up to n of the other trays, those with the most room left.
func (g *gathering) roomy(t, n int) []int {
	loads := g.p.loads(g.best)
	others := slices.DeleteFunc(numbers(len(g.best.stocks)), func(k int) bool { return k == t })
	free := func(k int) float64 {
		return g.p.room(g.best.stocks[k]) + g.p.stocks[g.best.stocks[k]].weight - loads[k]
	}
	slices.SortStableFunc(others, func(a, b int) int { return -cmp.Compare(free(a), free(b)) })
	return others[:min(len(others), n)]
}

// shifts are aims at moving a part from the tray with the least on it to
// others, or at exchanging it for a smaller one.
func (g *gathering) shifts() []*aim {
	p, s := g.p, g.best
	if len(s.stocks) < 2 {
		return nil
	}
	t := g.tail()
	const near, few = 3, 8 // trays and parts
	others := g.roomy(t, near)
	stay := s.laid(others)
	bySize := func(parts []int) []int {
		slices.SortStableFunc(parts, func(i, j int) int { return -cmp.Compare(p.size(i), p.size(j)) })
		return parts
	}
	var out []*aim
	for _, i := range g.alike(bySize(s.laid([]int{t})), few) {
		offer := func(back int, to spot) {
			a := &aim{stowage: stowage{stocks: s.stocks, at: slices.Clone(s.at)}, trays: others}
			for _, j := range stay {
				if j != back {
					a.parts = append(a.parts, j)
				}
			}
			a.parts = append(a.parts, i)
			a.at[i] = spot{tray: -1}
			if back >= 0 {
				a.at[back] = to
			}
			if g.enough(a) {
				out = append(out, a)
			}
		}
		offer(-1, spot{})
		for _, j := range g.alike(bySize(slices.Clone(stay)), few) {
			if p.size(j) >= p.size(i) {
				continue
			}
			if q, ok := g.place(s, j, t, i); ok {
				offer(j, q)
			}
		}
	}
	return shortlist(out)
}
