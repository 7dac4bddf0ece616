package nest

import (
	"cmp"
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"sync/atomic"
)

// This file shortens a strip: it takes a little off the length of the best
// layout, removes the overlap that comes of it, and begins again; where that
// fails, from another layout with overlap, two of its large parts exchanged
// (Gardeyn, Vanden Berghe and Wauters 2025, arXiv 2509.13329, whose shares and
// patience these are unless said otherwise).

// attempt is what came of one separation.
type attempt struct {
	at    []spot
	total float64
	clear bool
	work  int
}

// shorten searches for shorter layouts of a strip, beginning from one without
// overlap, until about budget lines have been looked along, or clock says that
// the time is over, or ctx ends. found is told of every shorter layout and of
// the share of the budget that is spent.
//
// Attempts are made in pairs, each with half of what is left of the budget and
// its own stream of random numbers, and their results are taken in order: the
// answer does not depend on the number of cores.
func (p *problem) shorten(ctx context.Context, at []spot, seed uint64, budget int, clock func() float64, found func(length, share float64)) []spot {
	const lanes = 2
	best := slices.Clone(at)
	length := p.reach(best)
	strip := p.stocks[0]
	lowest := p.shortest()
	rng := rand.New(rand.NewPCG(seed, 1<<32))
	lane := make([]*crowd, lanes)
	for k := range lane {
		lane[k] = newCrowd(p, []pen{{w: length, h: strip.h, fixed: strip.reserved}}, best, seed, uint64(k))
	}
	var pool []attempt // failures at the present length
	spent := 0
	sofar := func() float64 {
		if clock != nil {
			return clock()
		}
		return float64(spent) / float64(max(budget, 1))
	}
	for ctx.Err() == nil && length > lowest {
		share := sofar()
		if share >= 1 {
			break
		}
		// Four fifths of the time great steps, with other layouts when stuck; then
		// small ones from the best. Patience is a quarter of the paper's, whose runs
		// are twenty times as long as ours.
		tighten := share > 0.8
		cut, strikes, patience := 0.001, 3, 50
		if tighten {
			cut, strikes, patience = 0.00001*math.Pow(50, (1-share)/0.2), 5, 25 // 0.05 % falling to 0.001 %
		}
		target := max(lowest, math.Floor(length*(1-cut)))
		each := (budget - spent + lanes - 1) / lanes
		over := func(work int) bool { return work >= each }
		if clock != nil {
			over = func(int) bool { return clock() >= 1 }
		}
		out := make([]attempt, lanes)
		// The first lane to come clear ends the round. First is by lines, not by the
		// clock: another that has looked along more of them stops as soon as it hears
		// of it, and what it had is forgotten.
		var lead atomic.Int64
		lead.Store(math.MaxInt64)
		var work sync.WaitGroup
		for k, c := range lane {
			var from []spot
			if !tighten && len(pool) > 0 {
				from = slices.Clone(pool[draw(rng, len(pool))].at)
				p.exchange(from, rng, target)
			} else {
				from = p.squeezed(best, length, target, rng)
			}
			work.Go(func() {
				c.pens[0].w = target
				copy(c.at, from)
				c.start()
				before := c.work
				clear := c.separate(strikes, patience, func() bool {
					return over(c.work-before) || ctx.Err() != nil || int64(c.work-before) > lead.Load()
				})
				out[k] = attempt{slices.Clone(c.at), c.total, clear, c.work - before}
				for was := lead.Load(); clear && int64(out[k].work) < was && !lead.CompareAndSwap(was, int64(out[k].work)); {
					was = lead.Load()
				}
			})
		}
		work.Wait()
		var won *attempt
		for k := range out {
			if a := &out[k]; a.clear && (won == nil || a.work < won.work) {
				won = a
			}
		}
		for k := range out {
			if won != nil {
				spent += max(1, won.work)
				continue
			}
			spent += max(1, out[k].work)
			pool = append(pool, out[k])
		}
		if won != nil {
			length, best = p.reach(won.at), won.at
			pool = pool[:0]
			found(length, min(1, sofar()))
			continue
		}
		slices.SortStableFunc(pool, func(a, b attempt) int { return cmp.Compare(a.total, b.total) })
		const kept = 20
		pool = pool[:min(len(pool), kept)]
	}
	return best
}

// shortest is a length below which no strip can be: that of the part which is
// longest when it lies its shortest way, or that at which nothing is wasted.
func (p *problem) shortest() float64 {
	var l, area float64
	for _, q := range p.parts {
		area += p.shapes[q.shape].area * micron * micron
		narrow := math.Inf(1)
		for _, f := range p.shapes[q.shape].forms[p.stocks[0].swap] {
			if f.h <= p.stocks[0].h {
				narrow = min(narrow, f.w)
			}
		}
		l = max(l, narrow)
	}
	return max(l, math.Ceil(area/p.stocks[0].h*(1-1e-12)))
}

// separate goes on from a build of a strip.
func (p *problem) separate(ctx context.Context, b *build, o Options) {
	at := make([]spot, len(p.parts))
	area := 0.0
	for i, c := range b.choices {
		if c.tray != 0 {
			return // something could not be placed: there is nothing to shorten
		}
		at[b.order[i]] = spot{form: c.form, x: c.x, y: c.y}
		area += p.shapes[p.parts[i].shape].area
	}
	height := p.stocks[0].h / micron
	best := p.shorten(ctx, at, uint64(o.Seed), o.Lines, o.Spent, func(length, share float64) {
		if o.Progress != nil {
			const whole = 1000
			o.Progress(int(share*whole), whole, area/(length/micron*height))
		}
	})
	for i := range b.choices {
		s := best[b.order[i]]
		c := &b.choices[i]
		c.form, c.x, c.y = s.form, s.x, s.y
	}
}

// draw picks a place in a sorted pool, the first ones most likely: the
// magnitude of a normal deviate of a quarter of the pool.
func draw(rng *rand.Rand, n int) int {
	return min(n-1, int(math.Abs(rng.NormFloat64())*float64(n)/4))
}

// reach is how far a layout extends along the strip.
func (p *problem) reach(at []spot) float64 {
	var l float64
	for i, s := range at {
		l = max(l, s.x+p.shapes[p.parts[i].shape].forms[p.stocks[0].swap][s.form].w)
	}
	return l
}

// squeezed is a layout of the given length brought within a shorter one: what
// lies beyond a random cut moves up by the difference.
func (p *problem) squeezed(at []spot, length, target float64, rng *rand.Rand) []spot {
	out := slices.Clone(at)
	cut := rng.Float64() * target
	for i := range out {
		s := &out[i]
		f := p.shapes[p.parts[i].shape].forms[p.stocks[0].swap][s.form]
		if s.x+f.w/2 > cut {
			s.x -= length - target
		}
		s.x = math.Round(max(0, min(target-f.w, s.x)))
	}
	return out
}

// exchange swaps the places of two large parts of different shape, middle for
// middle.
func (p *problem) exchange(at []spot, rng *rand.Rand, target float64) {
	var large []int
	var areas []float64
	for i := range at {
		areas = append(areas, p.shapes[p.parts[i].shape].area)
	}
	sorted := slices.Clone(areas)
	slices.Sort(sorted)
	// Large: among those that make up three quarters of the area.
	sum, total := 0.0, 0.0
	for _, a := range sorted {
		total += a
	}
	limit := 0.0
	for _, a := range sorted {
		if sum += a; sum >= total/4 {
			limit = a
			break
		}
	}
	for i, a := range areas {
		if a >= limit {
			large = append(large, i)
		}
	}
	for range 50 {
		a, b := large[rng.IntN(len(large))], large[rng.IntN(len(large))]
		if p.parts[a].shape == p.parts[b].shape {
			continue
		}
		swap := p.stocks[0].swap
		fa, fb := p.shapes[p.parts[a].shape].forms[swap][at[a].form], p.shapes[p.parts[b].shape].forms[swap][at[b].form]
		ma := [2]float64{at[a].x + fa.w/2, at[a].y + fa.h/2}
		mb := [2]float64{at[b].x + fb.w/2, at[b].y + fb.h/2}
		h := p.stocks[0].h
		set := func(s *spot, f *form, m [2]float64) {
			s.x = math.Round(max(0, min(target-f.w, m[0]-f.w/2)))
			s.y = math.Round(max(0, min(h-f.h, m[1]-f.h/2)))
		}
		set(&at[a], fa, mb)
		set(&at[b], fb, ma)
		break
	}
	for i := range at {
		f := p.shapes[p.parts[i].shape].forms[p.stocks[0].swap][at[i].form]
		at[i].x = math.Round(max(0, min(target-f.w, at[i].x)))
	}
}
