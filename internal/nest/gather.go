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
// cheaper ones, and their parts spread over the rest; parts of the bin with the
// least on it are moved to the others; and what remains on it is pushed
// together, so that the offcut is large. Each is tried from a layout with
// overlap, and what comes clear of it is taken if its merit is better: no
// layout is ever worse than the one that was begun with.

// stowage is a layout on bins without overlap.
type stowage struct {
	stocks []int  // of the trays, those first that are open from the start
	at     []spot // by part; tray -1 is nowhere
	merit  merit
}

// gathering is the search for better ones.
type gathering struct {
	p     *problem
	best  stowage
	meter *meter
	rng   *rand.Rand
	seed  uint64
	tries uint64
	found func()
}

// Shares of the meter up to which each thing is tried, if it does not run out
// of hope before.
const (
	admitUntil = 0.4
	thinUntil  = 0.7
	drainUntil = 0.8
	shiftUntil = 0.88
	tailUntil  = 0.95
)

// gather improves a build on bins. It returns the lines that it spent.
func (p *problem) gather(ctx context.Context, b *build, o Options) int {
	g := &gathering{
		p: p, meter: &meter{budget: o.Lines, clock: o.Spent},
		rng: rand.New(rand.NewPCG(uint64(o.Seed), 2<<32)), seed: uint64(o.Seed),
	}
	g.found = func() {
		if o.Progress != nil {
			const whole = 1000
			o.Progress(int(min(1, g.meter.share())*whole), whole, g.best.merit.density)
		}
		if p.found != nil {
			var better build
			p.restow(g.best, &better)
			p.found(&better)
		}
	}
	g.best = p.stowed(b)
	if len(g.best.stocks) == 0 || len(p.parts) == 0 {
		return 0
	}
	g.pursue(ctx, g.admissions, math.MaxInt, admitUntil)
	g.pursue(ctx, g.changes, math.MaxInt, thinUntil)
	g.drain(ctx, drainUntil)
	g.pursue(ctx, g.shifts, 12, shiftUntil)
	g.narrow(ctx, o)
	p.restow(g.best, b)
	return g.meter.spent
}

// stowed is what a build says of where parts lie.
func (p *problem) stowed(b *build) stowage {
	s := stowage{at: make([]spot, len(p.parts))}
	for k := range p.pinned {
		s.stocks = append(s.stocks, k)
	}
	for i, c := range b.choices {
		for c.tray >= len(s.stocks) {
			s.stocks = append(s.stocks, c.stock)
		}
		s.at[b.order[i]] = spot{c.tray, c.form, c.x, c.y}
	}
	return p.judged(s)
}

// judged is a stowage without the trays that were emptied, and with its merit.
func (p *problem) judged(s stowage) stowage {
	carries := make([]bool, len(s.stocks))
	for _, q := range s.at {
		if q.tray >= 0 {
			carries[q.tray] = true
		}
	}
	name := make([]int, len(s.stocks))
	var stocks []int
	for t, k := range s.stocks {
		if name[t] = len(stocks); carries[t] || t < p.pinned {
			stocks = append(stocks, k)
		}
	}
	s.stocks, s.at = stocks, slices.Clone(s.at)
	for i := range s.at {
		if q := &s.at[i]; q.tray >= 0 {
			q.tray = name[q.tray]
		}
	}
	var k build
	p.restow(s, &k)
	b := &builder{p: p}
	b.load(&k, len(k.order))
	s.merit = b.merit()
	return s
}

// restow makes a build of it, tray after tray, since builds open a tray when
// they first meet it.
func (p *problem) restow(s stowage, b *build) {
	b.order, b.choices, b.bounds = b.order[:0], b.choices[:0], b.bounds[:0]
	for i := range s.at {
		b.order = append(b.order, i)
	}
	rank := func(i int) int { return (s.at[i].tray + len(s.stocks) + 1) % (len(s.stocks) + 1) } // nowhere comes last
	slices.SortStableFunc(b.order, func(i, j int) int { return cmp.Compare(rank(i), rank(j)) })
	for _, i := range b.order {
		q := s.at[i]
		c := choice{tray: -1}
		if q.tray >= 0 {
			c = choice{q.tray, s.stocks[q.tray], q.form, q.x, q.y}
		}
		b.choices = append(b.choices, c)
	}
	b.merit = s.merit
}

// size is the area of a part, mm².
func (p *problem) size(part int) float64 { return p.shapes[p.parts[part].shape].area }

// room is the area of a bin that parts can have, mm².
func (p *problem) room(stock int) float64 {
	s := &p.stocks[stock]
	free := s.w * s.h / (micron * micron)
	for _, r := range s.reserved {
		free -= r.area // all of it lies on the bin or costs a little hope
	}
	return free
}

// loads are the areas of the parts on each tray, mm², and of what is pinned
// there.
func (p *problem) loads(s stowage) []float64 {
	out := make([]float64, len(s.stocks))
	for t, k := range s.stocks {
		out[t] = p.stocks[k].weight
	}
	for i, q := range s.at {
		if q.tray >= 0 {
			out[q.tray] += p.size(i)
		}
	}
	return out
}

// pursue tries aims, each at most so many times, until the share until of the
// meter is spent. The first ones are tried most; once one is reached they are
// made anew.
func (g *gathering) pursue(ctx context.Context, aims func() []*aim, most int, until float64) {
	list := aims()
	for len(list) > 0 && ctx.Err() == nil && g.meter.share() < until {
		k := 0
		for i, a := range list {
			if a.tried+i < list[k].tried+k {
				k = i
			}
		}
		a := list[k]
		if g.attempt(ctx, a, 50, until) {
			list = aims()
			continue
		}
		if a.tried++; a.hopeless || a.tried >= most {
			list = slices.Delete(list, k, k+1)
		}
	}
}

// attempt separates an aim, and reports whether what comes of it is better than
// the best.
func (g *gathering) attempt(ctx context.Context, a *aim, patience int, until float64) bool {
	next, ok := g.separated(ctx, a, patience, until)
	return ok && g.accept(next)
}

// separated is an aim without overlap, if it comes clear in one of the lanes.
func (g *gathering) separated(ctx context.Context, a *aim, patience int, until float64) (next stowage, ok bool) {
	p := *g.p
	p.parts = make([]part, len(a.parts))
	for k, i := range a.parts {
		p.parts[k] = g.p.parts[i]
	}
	pens := make([]pen, len(a.trays))
	local := make(map[int]int, len(a.trays))
	for k, t := range a.trays {
		st := &p.stocks[a.stocks[t]]
		pens[k] = pen{w: st.w, h: st.h, swap: st.swap, fixed: st.reserved}
		local[t] = k
	}
	if a.width > 0 {
		pens[0].w = a.width
	}
	const fresh = 4 // one in so many begins anew although others have failed
	var from [lanes][]spot
	for k := range from {
		if len(a.failed) > 0 && g.rng.IntN(fresh) > 0 {
			from[k] = a.failed.draw(g.rng)
			p.exchange(from[k], pens, g.rng)
			continue
		}
		at := make([]spot, len(a.parts))
		for j, i := range a.parts {
			at[j] = a.at[i]
			if at[j].tray >= 0 {
				at[j].tray = local[at[j].tray]
			}
		}
		if a.width > 0 {
			at = p.squeezed(at, 0, g.reach(a.stowage, a.trays[0]), pens, g.rng)
		}
		if !p.settle(at, pens, g.rng) {
			a.hopeless = true
			return next, false
		}
		from[k] = at
	}
	g.tries++
	won, failed := newCrew(&p, pens, from[0], g.seed+g.tries<<32, g.meter).race(ctx, pens, from, 3, patience, until)
	if won == nil {
		a.failed = a.failed.with(failed)
		return next, false
	}
	next = stowage{stocks: a.stocks, at: slices.Clone(a.at)}
	for k, i := range a.parts {
		s := won.at[k]
		s.tray = a.trays[s.tray]
		next.at[i] = s
	}
	return next, true
}

// accept takes a stowage if it is better than the best, and then lays what is
// left out of it but has a place after all.
func (g *gathering) accept(next stowage) bool {
	next = g.p.judged(next)
	if next.merit.compare(g.best.merit) >= 0 {
		return false
	}
	if g.refill(&next) {
		next = g.p.judged(next)
	}
	g.best = next
	g.found()
	return true
}

// agree takes a stowage that is no worse than the best in all that counts but
// the moment.
func (g *gathering) agree(next stowage) bool {
	next = g.p.judged(next)
	m := next.merit
	m.moment = g.best.merit.moment
	if m.compare(g.best.merit) > 0 {
		return false
	}
	g.best = next
	g.found()
	return true
}

// settle lays the parts that lie nowhere, or on a pen that is too narrow for
// them, the largest first: of several spots at random each takes the one where
// the boxes round it and the others overlap least. It returns false if a part
// fits no pen.
func (p *problem) settle(at []spot, pens []pen, rng *rand.Rand) bool {
	var homeless []int
	for i, s := range at {
		if s.tray >= 0 {
			if f := p.formAt(i, s, pens); f.w <= pens[s.tray].w && f.h <= pens[s.tray].h {
				continue
			}
		}
		at[i].tray = -1
		homeless = append(homeless, i)
	}
	rng.Shuffle(len(homeless), func(a, b int) { homeless[a], homeless[b] = homeless[b], homeless[a] })
	slices.SortStableFunc(homeless, func(a, b int) int { return -cmp.Compare(p.size(a), p.size(b)) })
	for _, i := range homeless {
		sh := &p.shapes[p.parts[i].shape]
		var can []spot
		for t, q := range pens {
			for k, f := range sh.forms[q.swap] {
				if f.w <= q.w && f.h <= q.h {
					can = append(can, spot{tray: t, form: k})
				}
			}
		}
		if len(can) == 0 {
			return false
		}
		least := math.Inf(1)
		const samples = 24
		for range samples {
			s := can[rng.IntN(len(can))]
			q := pens[s.tray]
			f := sh.forms[q.swap][s.form]
			s.x, s.y = rng.Float64()*(q.w-f.w), rng.Float64()*(q.h-f.h)
			s = within(s, f, q)
			var over float64
			shared := func(g *form, x, y float64) {
				w := min(s.x+f.w, x+g.w) - max(s.x, x)
				h := min(s.y+f.h, y+g.h) - max(s.y, y)
				if w > 0 && h > 0 {
					over += w * h
				}
			}
			for j, o := range at {
				if j != i && o.tray == s.tray {
					shared(p.formAt(j, o, pens), o.x, o.y)
				}
			}
			for _, r := range q.fixed {
				shared(r.form, r.x, r.y)
			}
			if over < least {
				least, at[i] = over, s
			}
			if over == 0 {
				break
			}
		}
	}
	return true
}

// refill lays what is left out where there is room for it, the highest priority
// first, then the largest, and reports whether there was any.
func (g *gathering) refill(s *stowage) (any bool) {
	const columns = gridLines // that a place is sought along
	full := map[int]bool{}    // shapes without a place
	for _, i := range g.waiting(*s) {
		shape := g.p.parts[i].shape
		if full[shape] {
			continue
		}
		full[shape] = true
		for t := range s.stocks {
			g.meter.spent += columns
			if q, ok := g.place(*s, i, t, -1); ok {
				s.at[i], any, full[shape] = q, true, false
				break
			}
		}
	}
	return any
}

// waiting are the parts left out, the highest priority first, then the largest.
func (g *gathering) waiting(s stowage) (out []int) {
	for i, q := range s.at {
		if q.tray < 0 {
			out = append(out, i)
		}
	}
	slices.SortStableFunc(out, func(i, j int) int {
		return cmp.Or(cmp.Compare(g.p.parts[i].class, g.p.parts[j].class), -cmp.Compare(g.p.size(i), g.p.size(j)))
	})
	return out
}

// place is where a part can lie on a tray, with the part gone taken away.
func (g *gathering) place(s stowage, part, t, gone int) (spot, bool) {
	st := &g.p.stocks[s.stocks[t]]
	tr := tray{w: st.w, h: st.h}
	for _, r := range st.reserved {
		tr.put(r)
	}
	for j, q := range s.at {
		if q.tray == t && j != gone && j != part {
			tr.put(placed{g.p.shapes[g.p.parts[j].shape].forms[st.swap][q.form], q.x, q.y})
		}
	}
	var fd finder
	best, right := spot{tray: -1}, math.Inf(1)
	for k, f := range g.p.shapes[g.p.parts[part].shape].forms[st.swap] {
		if x, y, ok := fd.find(&tr, f, 0, math.Inf(1), math.Ceil(st.h/gridLines)); ok && x+f.w < right {
			best, right = spot{t, k, x, y}, x+f.w
		}
	}
	return best, best.tray >= 0
}

// laid are the parts on the given trays, or on any.
func (s stowage) laid(trays []int) (out []int) {
	for i, q := range s.at {
		if q.tray >= 0 && (trays == nil || slices.Contains(trays, q.tray)) {
			out = append(out, i)
		}
	}
	return out
}

// numbers are those below n.
func numbers(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// tail is the tray with the least on it, as merit has it.
func (g *gathering) tail() int {
	loads := g.p.loads(g.best)
	t := -1
	for k, a := range loads {
		if k < g.p.pinned && len(loads) > g.p.pinned {
			continue // it cannot be emptied
		}
		if t < 0 || a < loads[t] {
			t = k
		}
	}
	return t
}

// drain narrows the tray with the least on it step by step, its parts moving to
// others as they must, and takes every layout on the way that is better than
// the best: of those between, some have more on that tray than before.
func (g *gathering) drain(ctx context.Context, until float64) {
	const (
		near        = 6 // trays
		first, last = 0.05, 0.005
		most        = 4 // failures at the least step
	)
	for again := true; again && len(g.best.stocks) > 1; {
		again = false
		t := g.tail()
		trays := append([]int{t}, g.roomy(t, near)...)
		at := g.best
		parts := at.laid(trays)
		var a *aim
		for cut, misses := first, 0; misses < most; {
			if ctx.Err() != nil || g.meter.share() >= until {
				return
			}
			st := &g.p.stocks[at.stocks[t]]
			reach := g.reach(at, t)
			if reach <= st.reach {
				break
			}
			width := max(st.reach, 1, math.Floor(reach-cut*st.w))
			if a == nil || a.width != width {
				a = &aim{stowage: at, trays: trays, parts: parts, width: width}
			}
			next, ok := g.separated(ctx, a, 30, until)
			switch {
			case ok:
				a, at, misses = nil, next, 0
				if g.accept(next) {
					again = true
				}
			case cut > last:
				cut /= 2
			default:
				misses++
			}
		}
	}
}

// reach is how far the parts on a tray extend, µm.
func (g *gathering) reach(s stowage, t int) float64 {
	st := &g.p.stocks[s.stocks[t]]
	l := st.reach
	for i, q := range s.at {
		if q.tray == t {
			l = max(l, q.x+g.p.shapes[g.p.parts[i].shape].forms[st.swap][q.form].w)
		}
	}
	return l
}

// narrow makes what is left of the bins larger: first of the one with the least
// on it, then of the others, those first that reach least far.
func (g *gathering) narrow(ctx context.Context, o Options) {
	if len(g.best.stocks) == 1 {
		g.push(ctx, 0, 1, true, o)
		return
	}
	g.push(ctx, g.tail(), tailUntil, true, o)
	t := g.tail()
	others := g.roomy(t, len(g.best.stocks))
	reach := make([]float64, len(g.best.stocks))
	for _, k := range others {
		reach[k] = g.reach(g.best, k) * g.p.stocks[g.best.stocks[k]].h
	}
	slices.SortStableFunc(others, func(a, b int) int { return cmp.Compare(reach[a], reach[b]) })
	for n, k := range others {
		share := g.meter.share()
		if ctx.Err() != nil || share >= 1 {
			return
		}
		g.push(ctx, k, share+(1-share)/float64(len(others)-n), false, o)
	}
}

// push lays the parts on a tray anew one by one, then pushes them together until
// the share until of the meter is spent or there is no hope left; those on the
// tray with the least on it by turns among themselves and with those of others.
func (g *gathering) push(ctx context.Context, t int, until float64, tail bool, o Options) {
	p := g.p
	take := g.agree
	if tail {
		take = g.accept
	}
	g.relay(ctx, t, take, o)
	const first, last = 0.05, 0.001
	var a *aim
	for cut, misses := first, 0; ctx.Err() == nil && g.meter.share() < until; {
		if tail {
			t = g.tail()
		}
		st := &p.stocks[g.best.stocks[t]]
		parts := g.best.laid([]int{t})
		reach := g.reach(g.best, t)
		var area, long float64
		for _, i := range parts {
			area += p.size(i)
			long = max(long, p.narrowest(p.parts[i].shape, st))
		}
		lowest := max(st.reach, long, math.Ceil(area*micron*micron/st.h*(1-1e-12)))
		if most := 4*len(parts) + 8; reach <= lowest || misses > most {
			return
		}
		width := max(lowest, math.Floor(reach*(1-cut)))
		if a == nil || a.width != width {
			a = &aim{stowage: g.best, trays: []int{t}, parts: parts, width: width}
		}
		next, ok := g.separated(ctx, a, 30, until)
		if !ok && tail && misses%2 == 1 && len(g.best.stocks) > 1 {
			b := &aim{stowage: g.best, trays: append([]int{t}, g.roomy(t, 2)...), width: width}
			b.parts = g.best.laid(b.trays)
			next, ok = g.separated(ctx, b, 30, until)
		}
		switch {
		case ok && take(next):
			a, misses = nil, 0
		case cut > last:
			cut = max(last, cut/2)
		default:
			misses++
		}
	}
}

// relay searches for another way to lay what is on a tray, part by part, since
// separation leaves the parts lying about.
func (g *gathering) relay(ctx context.Context, t int, take func(stowage) bool, o Options) {
	p := *g.p
	parts := g.best.laid([]int{t})
	if len(parts) == 0 || t < p.pinned || g.meter.share() >= 1 {
		return
	}
	st := p.stocks[g.best.stocks[t]]
	st.quantity = 1
	p.stocks = []stock{st}
	p.pinned = 0
	p.parts = make([]part, len(parts))
	for k, i := range parts {
		p.parts[k] = g.p.parts[i]
	}
	const most = 24
	n := 0
	b, whole := p.search(ctx, o, 0, func(work int, _ merit) bool {
		n += work
		return n < most && g.meter.share() < 1
	})
	if !whole {
		return
	}
	next := stowage{stocks: g.best.stocks, at: slices.Clone(g.best.at)}
	for k, c := range b.choices {
		if c.tray != 0 {
			return
		}
		next.at[parts[b.order[k]]] = spot{t, c.form, c.x, c.y}
	}
	if g.reach(next, t) < g.reach(g.best, t) {
		take(next)
	}
}
