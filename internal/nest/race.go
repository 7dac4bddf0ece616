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

// meter says how much of what may be spent on separation is spent: of a number
// of lines, or of a time.
type meter struct {
	budget, spent int            // lines
	clock         func() float64 // share of the time; nil if lines count
}

// Within is a clock for part of the time of another, see Options.Spent: from one
// share of it to a later one. Of no clock it is none.
func Within(spent func() float64, from, to float64) func() float64 {
	if spent == nil {
		return nil
	}
	return func() float64 { return (spent() - from) / (to - from) }
}

func (m *meter) share() float64 {
	if m.clock != nil {
		return m.clock()
	}
	return float64(m.spent) / float64(max(m.budget, 1))
}

// lanes is how many layouts are worked on at a time. It is not the number of
// cores, on which no answer may depend.
const lanes = 2

// crew are the lanes that separate layouts of the same parts.
type crew struct {
	lane  [lanes]*crowd
	meter *meter
	seed  uint64
	races uint64
}

// newCrew takes the layouts that it works on from a first one only in the
// number of its parts.
func newCrew(p *problem, pens []pen, at []spot, seed uint64, m *meter) *crew {
	w := &crew{meter: m, seed: seed}
	for k := range w.lane {
		w.lane[k] = newCrowd(p, pens, at)
	}
	return w
}

// attempt is what came of one separation.
type attempt struct {
	at    []spot
	total float64
	clear bool
	work  int
}

// race lets every lane separate a layout of its own, until one has come clear
// or the share until of the meter is reached. Whoever has looked along the
// fewest lines is first, whatever the clock says: another that has looked along
// more stops as soon as it hears of it, and what it had is forgotten. won is
// nil if none came clear, and failed are then all of them.
func (w *crew) race(ctx context.Context, pens []pen, from [lanes][]spot, strikes, patience int, until float64) (won *attempt, failed []attempt) {
	m := w.meter
	each := (int(until*float64(m.budget)) - m.spent + lanes - 1) / lanes
	over := func(work int) bool { return work >= each }
	if m.clock != nil {
		over = func(int) bool { return m.clock() >= until }
	}
	var lead atomic.Int64
	lead.Store(math.MaxInt64)
	var out [lanes]attempt
	var work sync.WaitGroup
	for k, c := range w.lane {
		// A lane that was stopped has drawn who knows how many random numbers.
		stream := w.races*lanes + uint64(k)
		work.Go(func() {
			c.rng = rand.New(rand.NewPCG(w.seed, stream))
			c.pens = append(c.pens[:0], pens...)
			copy(c.at, from[k])
			c.start()
			before := c.work
			clear := c.separate(strikes, patience, func() bool {
				done := c.work - before
				return over(done) || ctx.Err() != nil || int64(done) > lead.Load()
			})
			out[k] = attempt{slices.Clone(c.at), c.total, clear, c.work - before}
			for was := lead.Load(); clear && int64(out[k].work) < was && !lead.CompareAndSwap(was, int64(out[k].work)); {
				was = lead.Load()
			}
		})
	}
	work.Wait()
	w.races++
	for k := range out {
		if a := &out[k]; a.clear && (won == nil || a.work < won.work) {
			won = a
		}
	}
	if won != nil {
		m.spent += lanes * max(1, won.work)
		return won, nil
	}
	for _, a := range out {
		m.spent += max(1, a.work)
	}
	return nil, out[:]
}

// pool keeps failed attempts, those with the least overlap first.
type pool []attempt

func (l pool) with(failed []attempt) pool {
	const kept = 20
	l = append(l, failed...)
	slices.SortStableFunc(l, func(a, b attempt) int { return cmp.Compare(a.total, b.total) })
	return l[:min(len(l), kept)]
}

// draw picks one, the first ones most likely: the magnitude of a normal deviate
// of a quarter of the pool.
func (l pool) draw(rng *rand.Rand) []spot {
	k := min(len(l)-1, int(math.Abs(rng.NormFloat64())*float64(len(l))/4))
	return slices.Clone(l[k].at)
}

// formAt is the form of a part at a spot of some pens.
func (p *problem) formAt(part int, s spot, pens []pen) *form {
	return p.shapes[p.parts[part].shape].forms[pens[s.tray].swap][s.form]
}

// within brings a spot's corner to a whole micrometre within its pen.
func within(s spot, f *form, p pen) spot {
	s.x = math.Round(max(0, min(p.w-f.w, s.x)))
	s.y = math.Round(max(0, min(p.h-f.h, s.y)))
	return s
}

// exchange swaps the places of two large parts of different shape, middle for
// middle, and brings all parts within the pens. Large are those that make up
// three quarters of the area.
func (p *problem) exchange(at []spot, pens []pen, rng *rand.Rand) {
	areas := make([]float64, len(at))
	total := 0.0
	for i := range at {
		areas[i] = p.shapes[p.parts[i].shape].area
		total += areas[i]
	}
	sorted := slices.Clone(areas)
	slices.Sort(sorted)
	sum, limit := 0.0, 0.0
	for _, a := range sorted {
		if sum += a; sum >= total/4 {
			limit = a
			break
		}
	}
	var large []int
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
		sa, sb := at[a], at[b]
		fa, fb := p.formAt(a, sa, pens), p.formAt(b, sb, pens)
		middle := func(s spot, f *form) (x, y float64) { return s.x + f.w/2, s.y + f.h/2 }
		ax, ay := middle(sa, fa)
		bx, by := middle(sb, fb)
		sa.tray, sb.tray = sb.tray, sa.tray
		fa, fb = p.formAt(a, sa, pens), p.formAt(b, sb, pens) // a pen may have x and y exchanged
		sa.x, sa.y, sb.x, sb.y = bx-fa.w/2, by-fa.h/2, ax-fb.w/2, ay-fb.h/2
		if fits := func(f *form, q pen) bool { return f.w <= q.w && f.h <= q.h }; !fits(fa, pens[sa.tray]) || !fits(fb, pens[sb.tray]) {
			continue
		}
		at[a], at[b] = sa, sb
		break
	}
	for i := range at {
		at[i] = within(at[i], p.formAt(i, at[i], pens), pens[at[i].tray])
	}
}
