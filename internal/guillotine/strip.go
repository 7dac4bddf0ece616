package guillotine

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
)

// Strip cuts all items from a strip of the given width, along x, so that as
// little of its length, along y, is used as it can find; Stock, Least and Power
// play no part. It looks for a layout of a length, and when it has one takes up
// what is beyond a shorter length. Iterations count as for Pack.
func Strip(ctx context.Context, items []Item, width int64, o Options) (length int64, l *Layout, err error) {
	o.Least, o.Power = Size{}, 1
	if slices.ContainsFunc(items, func(it Item) bool { return it.Held != nil }) {
		return 0, nil, fmt.Errorf("guillotine: an item is held on a strip")
	}
	var area, most, sum int64
	for _, it := range items {
		n := int64(max(1, it.Quantity))
		area += n * it.X * it.Y
		long := max(it.X, it.Y)
		sum += n * (long + o.Kerf)
		if it.Turn && max(it.X, it.Y) <= width {
			long = min(it.X, it.Y)
		} else if it.Turn {
			long = max(it.X, it.Y)
		} else {
			long = it.Y
		}
		most = max(most, long)
	}
	if width <= 0 || sum <= 0 || sum > mostLength {
		return 0, nil, fmt.Errorf("guillotine: a strip %d wide for items %d long together", width, sum)
	}
	least := max(most, (area+width-1)/width)
	stock := []Stock{{ID: "strip", Size: Size{width, sum}}}
	if err := check(items, stock, o); err != nil {
		return 0, nil, err
	}
	p := newProblem(items, stock, o)
	for i, k := range p.of {
		if k < 0 {
			return 0, nil, fmt.Errorf("guillotine: item %q does not fit a strip %d wide", items[i].ID, width)
		}
	}
	p.rand = rand.New(rand.NewPCG(uint64(o.Seed), 0x6715)).IntN
	empty := &state{missing: make([]int, len(p.kinds)), used: []int{0}}
	pieces := 0
	for k, kd := range p.kinds {
		empty.missing[k] = kd.copies
		pieces += kd.copies
	}
	setLength := func(l int64) {
		p.stock[0].Y = l
		p.ways[0] = waysAround(p.stock[0], o.Kerf)
	}
	var best *state
	length = sum
	// A first layout: the shortest length of a row that one of the orders fills.
	for l := least; best == nil; l = min(sum, l+max(1, l/50)) {
		setLength(l)
		for by := range orders {
			t := p.copyOf(empty)
			t.lay(p.order(t.missing, by), 0)
			if s := t.done(); s.left == 0 {
				best, length = s, l
				break
			}
		}
		if l == sum && best == nil {
			return 0, nil, fmt.Errorf("guillotine: the items do not fit a strip %d wide", width)
		}
	}
	n := o.Iterations
	if n == 0 {
		n = DefaultIterations
	}
	n = n * 64 / max(64, pieces)
	cur := best
	past := make([]float64, history)
	interrupted := false
	for i := 0; i < n; i++ {
		if i%16 == 0 && ctx.Err() != nil {
			interrupted = true
			break
		}
		if cur.left == 0 {
			best = cur
			length = best.sheets[0].roots[0].need(Level, o.Kerf)
			if length <= least {
				break
			}
			cur = p.shortened(best, length-1, setLength)
			for k := range past {
				past[k] = cur.score
			}
		}
		s := p.step(cur)
		if h := past[i%history]; s.score <= cur.score || s.score <= h {
			cur = s
		}
		past[i%history] = min(past[i%history], cur.score)
	}
	if cur.left == 0 {
		best = cur
		length = best.sheets[0].roots[0].need(Level, o.Kerf)
	}
	best = p.shortened(best, length, setLength)
	l = p.layout(best)
	l.Interrupted = interrupted
	return length, l, nil
}

// shortened is a layout on a shorter strip, without what does not fit.
func (p *problem) shortened(s *state, length int64, setLength func(int64)) *state {
	setLength(length)
	t := p.copyOf(s)
	sh := t.mine(0)
	before := make([]int, len(p.kinds))
	after := make([]int, len(p.kinds))
	sh.roots[0].items(before)
	sh.roots[0].resize(Level, length, p.o.Kerf)
	sh.roots[0].tidy()
	sh.roots[0].items(after)
	for k := range before {
		t.missing[k] += before[k] - after[k]
	}
	return t.done()
}
