package nest

import "math"

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
