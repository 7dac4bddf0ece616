package nest

import (
	"cmp"
	"context"
	"math"
	"math/rand/v2"
	"slices"
)

// This file improves a layout on bins by separation. In the order of what
// counts: what was left out is squeezed in; bins are given up, or exchanged for
// cheaper ones, and their parts spread over the rest; and the bin with the least
// on it is narrowed, so that what is left of it is large. Each is tried from a
// layout with overlap, and is taken only once that has come clear.

// gathering is a layout on bins without overlap, while it is improved.
type gathering struct {
	all    *problem
	laid   []int  // parts of all
	left   []int  // the others
	stocks []int  // of the trays
	at     []spot // by laid
	area   float64

	meter *meter
	rng   *rand.Rand
	seed  uint64
	tries uint64
	found func(g *gathering)
}

// Shares of the meter at which squeezing in and giving up bins end, if they
// have not succeeded.
const (
	admitUntil = 0.4
	thinUntil  = 0.8
)

// gather improves a build on bins. It leaves alone what it would have to weigh
// against the figure.
func (p *problem) gather(ctx context.Context, b *build, o Options) {
	if p.figured {
		return
	}
	g := &gathering{
		all: p, meter: &meter{budget: o.Lines, clock: o.Spent},
		rng: rand.New(rand.NewPCG(uint64(o.Seed), 2<<32)), seed: uint64(o.Seed),
	}
	g.found = func(g *gathering) {
		if o.Progress != nil {
			const whole = 1000
			o.Progress(int(min(1, g.meter.share())*whole), whole, g.density())
		}
	}
	g.take(b)
	g.admit(ctx)
	g.thin(ctx)
	g.narrow(ctx)
	g.give(b)
}

// take takes up a build.
func (g *gathering) take(b *build) {
	for s := range g.all.pinned {
		g.stocks = append(g.stocks, s)
	}
	for i, c := range b.choices {
		if c.tray < 0 {
			g.left = append(g.left, b.order[i])
			continue
		}
		for c.tray >= len(g.stocks) {
			g.stocks = append(g.stocks, c.stock)
		}
		g.stocks[c.tray] = c.stock
		g.laid = append(g.laid, b.order[i])
		g.at = append(g.at, spot{c.tray, c.form, c.x, c.y})
		g.area += g.size(b.order[i])
	}
}

// give hands the layout back to the build. Trays are numbered as the build
// meets them, after those that are open from the start; those that were emptied
// are gone.
func (g *gathering) give(b *build) {
	name := make([]int, len(g.stocks)) // one more than the new number
	n := g.all.pinned
	for t := range n {
		name[t] = t + 1
	}
	where := make(map[int]spot, len(g.laid))
	for i, part := range g.laid {
		where[part] = g.at[i]
	}
	for i, part := range b.order {
		s, ok := where[part]
		if !ok {
			b.choices[i] = choice{tray: -1}
			continue
		}
		if name[s.tray] == 0 {
			n++
			name[s.tray] = n
		}
		b.choices[i] = choice{tray: name[s.tray] - 1, stock: g.stocks[s.tray], form: s.form, x: s.x, y: s.y}
	}
	b.bounds = nil // of the build as it was
}

// size is the area of a part, mm².
func (g *gathering) size(part int) float64 { return g.all.shapes[g.all.parts[part].shape].area }

func (g *gathering) density() float64 {
	var whole float64
	for _, s := range g.stocks {
		whole += g.all.stocks[s].area
	}
	return g.area / whole
}

// room is the area of a bin that parts can have, mm².
func (p *problem) room(stock int) float64 {
	s := &p.stocks[stock]
	free := s.w * s.h / (micron * micron)
	for _, r := range s.reserved {
		free -= r.area
	}
	return free
}

func (p *problem) pens(stocks []int) []pen {
	out := make([]pen, len(stocks))
	for i, s := range stocks {
		st := &p.stocks[s]
		out[i] = pen{w: st.w, h: st.h, swap: st.swap, fixed: st.reserved}
	}
	return out
}

// among is the problem of some of the parts.
func (p *problem) among(parts []int) *problem {
	q := *p
	q.parts = make([]part, len(parts))
	for i, k := range parts {
		q.parts[i] = p.parts[k]
	}
	return &q
}

// drop lays a part anywhere in one of the trays that can hold it; false if
// none can.
func (p *problem) drop(part int, trays []int, pens []pen, rng *rand.Rand) (spot, bool) {
	sh := &p.shapes[p.parts[part].shape]
	var can []spot
	for _, t := range trays {
		for k, f := range sh.forms[pens[t].swap] {
			if f.w <= pens[t].w && f.h <= pens[t].h {
				can = append(can, spot{tray: t, form: k})
			}
		}
	}
	if len(can) == 0 {
		return spot{}, false
	}
	s := can[rng.IntN(len(can))]
	f := p.formAt(part, s, pens)
	s.x, s.y = rng.Float64()*(pens[s.tray].w-f.w), rng.Float64()*(pens[s.tray].h-f.h)
	return within(s, f, pens[s.tray]), true
}

// solve separates layouts of some parts until one comes clear or the share
// until of the meter is reached: the given ones first, then failures with large
// parts exchanged.
func (g *gathering) solve(ctx context.Context, p *problem, pens []pen, from [lanes][]spot, until float64) ([]spot, bool) {
	g.tries++
	w := newCrew(p, pens, from[0], g.seed+g.tries<<32, g.meter)
	var failures pool
	for ctx.Err() == nil && g.meter.share() < until {
		won, failed := w.race(ctx, pens, from, 3, 50, until)
		if won != nil {
			return won.at, true
		}
		failures = failures.with(failed)
		for k := range from {
			from[k] = failures.draw(g.rng)
			p.exchange(from[k], pens, g.rng)
		}
	}
	return nil, false
}

// admit squeezes in what was left out, one part after another, those of the
// highest priority first, then the largest.
func (g *gathering) admit(ctx context.Context) {
	if len(g.stocks) == 0 {
		return
	}
	waiting := slices.Clone(g.left)
	slices.SortStableFunc(waiting, func(a, b int) int {
		return cmp.Or(cmp.Compare(g.all.parts[a].class, g.all.parts[b].class), -cmp.Compare(g.size(a), g.size(b)))
	})
	var room float64
	trays := make([]int, len(g.stocks))
	for t, s := range g.stocks {
		room += g.all.room(s)
		trays[t] = t
	}
	pens := g.all.pens(g.stocks)
	for i, part := range waiting {
		share := g.meter.share()
		if ctx.Err() != nil || share >= admitUntil {
			return
		}
		if g.area+g.size(part) > room {
			continue
		}
		laid := append(slices.Clone(g.laid), part)
		var from [lanes][]spot
		ok := true
		for k := range from {
			var s spot
			if s, ok = g.all.drop(part, trays, pens, g.rng); !ok {
				break
			}
			from[k] = append(slices.Clone(g.at), s)
		}
		if !ok {
			continue
		}
		at, ok := g.solve(ctx, g.all.among(laid), pens, from, share+(admitUntil-share)/float64(len(waiting)-i))
		if !ok {
			continue
		}
		g.laid, g.at = laid, at
		g.area += g.size(part)
		g.left = slices.DeleteFunc(g.left, func(q int) bool { return q == part })
		g.found(g)
	}
}

// change is a set of bins that costs less than the present ones.
type change struct {
	gone  []int // trays given up
	extra []int // stocks opened in their place
	fill  float64
	saves float64
}

// changes are those worth trying, the likeliest first: one tray given up, or
// exchanged for a cheaper bin or for two, or two exchanged for one.
func (g *gathering) changes() []change {
	p := g.all
	used := make([]int, len(p.stocks))
	carries := make([]float64, len(g.stocks))
	var room float64
	for _, s := range g.stocks {
		used[s]++
		room += p.room(s)
	}
	for i, s := range g.at {
		carries[s.tray] += g.size(g.laid[i])
	}
	// Of trays of one stock, the least filled stands for all.
	var give []int
	for t := p.pinned; t < len(g.stocks); t++ {
		k := slices.IndexFunc(give, func(u int) bool { return g.stocks[u] == g.stocks[t] })
		if k < 0 {
			give = append(give, t)
		} else if carries[t] < carries[give[k]] {
			give[k] = t
		}
	}
	var open []int
	for s := p.pinned; s < len(p.stocks); s++ {
		if st := &p.stocks[s]; st.quantity == Unlimited || used[s] < st.quantity {
			open = append(open, s)
		}
	}
	var out []change
	offer := func(gone, extra []int) {
		c := change{gone: gone, extra: extra}
		left := room
		for _, t := range gone {
			left -= p.room(g.stocks[t])
			c.saves += p.stocks[g.stocks[t]].cost
		}
		for _, s := range extra {
			left += p.room(s)
			c.saves -= p.stocks[s].cost
		}
		const most = 0.98 // fuller than this nothing but a jigsaw comes out
		if c.fill = g.area / left; left <= 0 || c.fill > 1 || c.fill > most && len(g.laid) > 60 || c.saves <= 0 {
			return
		}
		out = append(out, c)
	}
	for i, t := range give {
		offer([]int{t}, nil)
		for j, s := range open {
			offer([]int{t}, []int{s})
			for _, r := range open[j:] {
				if r == s && p.stocks[s].quantity != Unlimited && used[s]+2 > p.stocks[s].quantity {
					continue
				}
				offer([]int{t}, []int{s, r})
			}
			for _, u := range give[i+1:] {
				offer([]int{t, u}, []int{s})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b change) int {
		return cmp.Or(cmp.Compare(a.fill, b.fill), -cmp.Compare(a.saves, b.saves))
	})
	const tried = 8
	return out[:min(len(out), tried)]
}

// thin gives up bins, or exchanges them for cheaper ones, as long as it can.
func (g *gathering) thin(ctx context.Context) {
	for again := true; again; {
		again = false
		list := g.changes()
		for i, c := range list {
			share := g.meter.share()
			if ctx.Err() != nil || share >= thinUntil {
				return
			}
			if g.try(ctx, c, share+(thinUntil-share)/float64(len(list)-i)) {
				again = true
				break
			}
		}
	}
}

// try changes the bins, and reports whether the parts can be laid on them.
func (g *gathering) try(ctx context.Context, c change, until float64) bool {
	p := g.all
	name := make([]int, len(g.stocks))
	var stocks []int
	for t, s := range g.stocks {
		name[t] = -1
		if !slices.Contains(c.gone, t) {
			name[t] = len(stocks)
			stocks = append(stocks, s)
		}
	}
	// What was on the trays that are given up goes to those opened in their
	// place, or anywhere.
	var fresh, trays []int
	for _, s := range c.extra {
		fresh = append(fresh, len(stocks))
		stocks = append(stocks, s)
	}
	for t := range stocks {
		trays = append(trays, t)
	}
	if len(stocks) == 0 {
		return false
	}
	pens := p.pens(stocks)
	var from [lanes][]spot
	for k := range from {
		for i, s := range g.at {
			if name[s.tray] >= 0 {
				s.tray = name[s.tray]
			} else {
				var ok bool
				if s, ok = p.drop(g.laid[i], fresh, pens, g.rng); !ok {
					if s, ok = p.drop(g.laid[i], trays, pens, g.rng); !ok {
						return false
					}
				}
			}
			from[k] = append(from[k], s)
		}
	}
	at, ok := g.solve(ctx, p.among(g.laid), pens, from, until)
	if !ok {
		return false
	}
	g.stocks, g.at = stocks, at
	g.found(g)
	return true
}

// narrow makes what is left of the bins larger, beginning with the one that is
// used least. A bin that has been narrowed stays so while the next are.
func (g *gathering) narrow(ctx context.Context) {
	p := g.all
	if len(g.laid) == 0 {
		return
	}
	pens := p.pens(g.stocks)
	reach := g.reach(pens)
	order := make([]int, len(reach))
	for t := range order {
		order[t] = t
		pens[t].w = reach[t]
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(reach[a]*pens[a].h, reach[b]*pens[b].h), cmp.Compare(a, b))
	})
	// Only the least used bin is dear enough to push others' parts about for it:
	// while it is narrowed they may use all of their bins.
	for t := range pens {
		if t != order[0] {
			pens[t].w = p.stocks[g.stocks[t]].w
		}
	}
	sub := p.among(g.laid)
	g.tries++
	w := newCrew(sub, pens, g.at, g.seed+g.tries<<32, g.meter)
	for k, t := range order {
		share := g.meter.share()
		if ctx.Err() != nil || share >= 1 {
			return
		}
		g.narrowOne(ctx, sub, w, t, pens, share+(1-share)/float64(len(order)-k))
		if k == 0 {
			reach = g.reach(pens)
			for t := range pens {
				pens[t].w = reach[t]
			}
		}
	}
}

// reach is how far the parts on each tray reach, µm.
func (g *gathering) reach(pens []pen) []float64 {
	reach := make([]float64, len(g.stocks))
	for t, s := range g.stocks {
		reach[t] = g.all.stocks[s].reach
	}
	for i, s := range g.at {
		reach[s.tray] = max(reach[s.tray], s.x+g.all.formAt(g.laid[i], s, pens).w)
	}
	return reach
}

// narrowOne narrows one tray by steps that become smaller as they fail, until
// the share until of the meter is reached. pens has its width afterwards.
func (g *gathering) narrowOne(ctx context.Context, sub *problem, w *crew, tray int, pens []pen, until float64) {
	const first, last = 0.06, 0.002
	now := g.reach(pens)[tray]
	least := g.all.stocks[g.stocks[tray]].reach
	for cut := first; ctx.Err() == nil && g.meter.share() < until && cut >= last && now > max(least, 1); {
		pens[tray].w = max(least, math.Floor(now*(1-cut)))
		var from [lanes][]spot
		fits := true
		for k := range from {
			from[k] = sub.squeezed(g.at, tray, now, pens, g.rng)
			if fits = g.refit(sub, from[k], tray, pens); !fits {
				break
			}
		}
		var won *attempt
		if fits {
			won, _ = w.race(ctx, pens, from, 2, 25, until)
		}
		if won == nil {
			cut /= 2
			continue
		}
		g.at = won.at
		now = g.reach(pens)[tray]
		g.found(g)
	}
	pens[tray].w = now
}

// refit moves or turns the parts that a narrowed tray cannot hold any more;
// false if there is nowhere to move one to.
func (g *gathering) refit(p *problem, at []spot, tray int, pens []pen) bool {
	var trays []int
	for t := range pens {
		trays = append(trays, t)
	}
	for i, s := range at {
		if s.tray != tray || p.formAt(i, s, pens).w <= pens[tray].w {
			continue
		}
		var ok bool
		if at[i], ok = p.drop(i, trays, pens, g.rng); !ok {
			return false
		}
	}
	return true
}
