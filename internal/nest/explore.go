package nest

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
)

// This file shortens a strip: it takes a little off the length of the best
// layout, removes the overlap that comes of it, and begins again; where that
// fails, from another layout with overlap, two of its large parts exchanged
// (Gardeyn, Vanden Berghe and Wauters 2025, arXiv 2509.13329, whose shares and
// patience these are unless said otherwise).

// shorten searches for shorter layouts of a strip, beginning from one without
// overlap, until the meter is spent or ctx ends. found is told of every shorter
// layout.
func (p *problem) shorten(ctx context.Context, at []spot, seed uint64, m *meter, found func(length float64)) []spot {
	best := slices.Clone(at)
	length := p.reach(best)
	strip := p.stocks[0]
	lowest := p.shortest()
	rng := rand.New(rand.NewPCG(seed, 1<<32))
	pens := []pen{{w: length, h: strip.h, fixed: strip.reserved}}
	w := newCrew(p, pens, best, seed, m)
	var failures pool // at the present length
	for ctx.Err() == nil && length > lowest {
		share := m.share()
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
		pens[0].w = max(lowest, math.Floor(length*(1-cut)))
		var from [lanes][]spot
		for k := range from {
			if !tighten && len(failures) > 0 {
				from[k] = failures.draw(rng)
				p.exchange(from[k], pens, rng)
			} else {
				from[k] = p.squeezed(best, 0, length, pens, rng)
			}
		}
		won, failed := w.race(ctx, pens, from, strikes, patience, 1)
		if won != nil {
			length, best = p.reach(won.at), won.at
			failures = failures[:0]
			found(length)
			continue
		}
		failures = failures.with(failed)
	}
	return best
}

// shortest is a length below which no strip can be: that of the part which is
// longest when it lies its shortest way, what pinned parts reach, or that at
// which nothing is wasted.
func (p *problem) shortest() float64 {
	var l, area float64
	for _, q := range p.parts {
		area += p.shapes[q.shape].area * micron * micron
		l = max(l, p.narrowest(q.shape, &p.stocks[0]))
	}
	return max(l, p.stocks[0].reach, math.Ceil(area/p.stocks[0].h*(1-1e-12)))
}

// narrowest is the least width that a shape has on a bin.
func (p *problem) narrowest(shape int, s *stock) float64 {
	narrow := math.Inf(1)
	for _, f := range p.shapes[shape].forms[s.swap] {
		if f.h <= s.h {
			narrow = min(narrow, f.w)
		}
	}
	return narrow
}

// separate goes on from a build of a strip. It returns the lines that it spent.
func (p *problem) separate(ctx context.Context, b *build, o Options) int {
	at := make([]spot, len(p.parts))
	area := 0.0
	for i, c := range b.choices {
		if c.tray != 0 {
			return 0 // something could not be placed: there is nothing to shorten
		}
		at[b.order[i]] = spot{form: c.form, x: c.x, y: c.y}
		area += p.shapes[p.parts[i].shape].area
	}
	height := p.stocks[0].h / micron
	m := &meter{budget: o.Lines, clock: o.Spent}
	best := p.shorten(ctx, at, uint64(o.Seed), m, func(length float64) {
		if o.Progress != nil {
			const whole = 1000
			o.Progress(int(min(1, m.share())*whole), whole, area/(length/micron*height))
		}
	})
	for i := range b.choices {
		s := best[b.order[i]]
		c := &b.choices[i]
		c.form, c.x, c.y = s.form, s.x, s.y
	}
	return m.spent
}

// reach is how far a layout extends along the strip.
func (p *problem) reach(at []spot) float64 {
	var l float64
	for i, s := range at {
		l = max(l, s.x+p.shapes[p.parts[i].shape].forms[p.stocks[0].swap][s.form].w)
	}
	return l
}

// squeezed is a layout whose tray of the given length is brought within a
// shorter one: what lies beyond a random cut moves up by the difference.
func (p *problem) squeezed(at []spot, tray int, length float64, pens []pen, rng *rand.Rand) []spot {
	out := slices.Clone(at)
	target := pens[tray].w
	cut := rng.Float64() * target
	for i := range out {
		s := &out[i]
		if s.tray != tray {
			continue
		}
		f := p.formAt(i, *s, pens)
		if s.x+f.w/2 > cut {
			s.x -= length - target
		}
		*s = within(*s, f, pens[tray])
	}
	return out
}
