package nest

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// best is the region of a bin where the figure is best, as what lies beside it.
type best struct {
	off  placed // its complement, less half the gap round the region: to keep grown forms out of
	bare placed // the complement itself
}

// newBest prepares a region (x along the longer side of the bin, corner at the
// usable area's) of a bin of w x h µm.
func newBest(o outline, w, h, grow float64) *best {
	return &best{off: o.beside(w, h, grow), bare: o.beside(w, h, 0)}
}

// beside is the usable area, widened by grow, less the outline grown by as
// much. What lies within the outline then keeps clear of it when it is grown too.
func (o outline) beside(w, h, grow float64) placed {
	ot := o.transposed()
	m := math.Ceil(grow) // places are whole micrometres
	f := &form{w: w + 2*m, h: h + 2*m}
	f.cols, f.rows = slabs(o.complement(f.w, f.h, m, grow), true), slabs(ot.complement(f.h, f.w, m, grow), true)
	f.heart = hearts(f.cols)
	for _, s := range o.stops(0) {
		f.stops = append(f.stops, s, s+2*m) // as find takes half the gap off, or adds it
	}
	return placed{f, -m, -m}
}

// complement are the edges of the rectangle, run through against the clock,
// and of the outline, grown and moved by m both ways, with the clock: their
// winding number is positive within the one and outside the other. The
// rectangle's corner is the origin.
func (o outline) complement(w, h, m, grow float64) []seg {
	segs := o.segs(point{})
	if grow > 0 {
		segs = o.grown(point{}, grow)
	}
	for i := range segs {
		s := &segs[i]
		s.x0, s.x1, s.y0, s.y1 = s.x0+m, s.x1+m, s.y0+m, s.y1+m
		s.rising = -s.rising
	}
	return append(segs, seg{0, 0, w, 0, 1}, seg{0, h, w, h, -1})
}

// holds reports whether a form that is not grown lies within the region with
// its lower left corner at (x, y).
func (b *best) holds(f *form, x, y float64) bool {
	for _, s := range blocked(f.cols, b.bare.cols, x-b.bare.x, nil) {
		if d := y - b.bare.y; s.lo+hair < d && d < s.hi-hair {
			return false
		}
	}
	return true
}

// prime reports whether a favoured part lies where the figure is best.
func (p *problem) prime(pt part, c choice) bool {
	st := &p.stocks[c.stock]
	return st.best != nil && st.best.holds(p.shapes[pt.shape].bare[st.swap][c.form], c.x, c.y)
}

// bare are the forms of a shape without the gap round them. They are wanted
// only of parts that should lie where the figure is best.
func (p *problem) bare(items []Item, pc piece, sh *shape) error {
	if p.grow == 0 {
		sh.bare = sh.forms
		return nil
	}
	for _, f := range sh.forms[0] {
		var fs [2][]*form
		for _, i := range pc.items {
			a, b, err := newForms(items[i], f.turn, 0)
			if err != nil {
				return err
			}
			fs[0], fs[1] = append(fs[0], a), append(fs[1], b)
		}
		for k := range fs {
			sh.bare[k] = append(sh.bare[k], fused(fs[k]))
		}
	}
	return nil
}

// promote lets favoured parts change places with their equals where these lie
// where the figure is best and they do not. It costs nothing.
func (p *problem) promote(b *build) {
	lies := func(i int) bool { return b.choices[i].tray >= 0 && p.prime(p.parts[b.order[i]], b.choices[i]) }
	for i, c := range b.choices {
		part := p.parts[b.order[i]]
		if !part.favoured || c.tray >= 0 && lies(i) {
			continue
		}
		for j := range b.choices {
			if o := p.parts[b.order[j]]; o.shape == part.shape && !o.favoured && o.class >= part.class && lies(j) {
				b.order[i], b.order[j] = b.order[j], b.order[i]
				break
			}
		}
	}
}

// mostClaims is how many pairs of a favoured part and another claim looks at:
// some hundred times what one build costs.
const mostClaims = 20_000

// claim moves favoured parts to where the figure is best: to free places, or to
// those of others that find one elsewhere. No tray is opened for it.
func (p *problem) claim(ctx context.Context, best *build) {
	b := &builder{p: p}
	b.load(best, len(best.order))
	lift := func(i int) {
		c := best.choices[i]
		t := &b.trays[c.tray]
		gone := placed{b.form(b.order[i], t.stock, c.form), c.x, c.y}
		for _, s := range []*tray{&t.tray, &t.prime} {
			s.items = slices.DeleteFunc(s.items, func(q placed) bool { return q == gone })
		}
	}
	seek := func(i, k int, prime bool) (choice, bool) {
		t := &b.trays[k]
		space := &t.tray
		if prime {
			if p.stocks[t.stock].best == nil {
				return choice{}, false
			}
			space = &t.prime
		}
		sh := &p.shapes[p.parts[b.order[i]].shape]
		for j, f := range sh.forms[p.stocks[t.stock].swap][:sh.main] {
			if x, y, ok := b.find.find(space, f, 0, math.Inf(1), math.Ceil(t.h/gridLines)); ok {
				return choice{tray: k, stock: t.stock, form: j, x: x, y: y}, true
			}
		}
		return choice{}, false
	}
	anywhere := func(i int, prime bool) (choice, bool) {
		for k := range b.trays {
			if c, ok := seek(i, k, prime); ok {
				return c, true
			}
		}
		return choice{}, false
	}
	lay := func(i int, c choice) {
		best.choices[i] = c
		b.lay(b.order[i], c)
	}
	// change lifts j as well, so that i has its place or one near it.
	change := func(i, j int) bool {
		was := best.choices[j]
		lift(j)
		c, ok := seek(i, was.tray, true)
		if !ok {
			b.lay(b.order[j], was)
			return false
		}
		from := best.choices[i]
		lay(i, c)
		if d, ok := anywhere(j, false); ok {
			lay(j, d)
			return true
		}
		lift(i)
		best.choices[i] = from
		b.lay(b.order[j], was)
		return false
	}
	plain := func(i int) bool {
		part := p.parts[b.order[i]]
		return best.choices[i].tray >= 0 && !(part.favoured && p.prime(part, best.choices[i]))
	}
	var waiting []int
	for i := range best.choices {
		if plain(i) && p.parts[b.order[i]].favoured {
			waiting = append(waiting, i)
		}
	}
	size := func(i int) float64 { return p.shapes[p.parts[b.order[i]].shape].area }
	slices.SortStableFunc(waiting, func(i, j int) int { return -cmp.Compare(size(i), size(j)) })
	left := mostClaims
next:
	for _, i := range waiting {
		if ctx.Err() != nil {
			break
		}
		was := best.choices[i]
		lift(i)
		if c, ok := anywhere(i, true); ok {
			lay(i, c)
			continue
		}
		for j := range best.choices {
			if j == i || !plain(j) {
				continue
			}
			if left--; left < 0 {
				break
			}
			if change(i, j) {
				continue next
			}
		}
		b.lay(b.order[i], was)
	}
	best.renumber(p.pinned)
}

// renumber numbers the trays in the order in which the build meets them, after
// those open from the start, as reset needs it.
func (b *build) renumber(pinned int) {
	name := map[int]int{}
	for k := range pinned {
		name[k] = k
	}
	for i, c := range b.choices {
		if c.tray < 0 {
			continue
		}
		k, ok := name[c.tray]
		if !ok {
			k = len(name)
			name[c.tray] = k
		}
		b.choices[i].tray = k
	}
	b.bounds = nil
}
