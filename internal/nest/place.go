package nest

import (
	"cmp"
	"math"
	"slices"
)

// hair is how far, in µm, a bound may miss a whole micrometre and still be
// taken for it. With no gap, bounds arise where a vertex (whole µm) meets an
// edge, so a bound that is not whole is at least 1/(edge length) away from
// whole: 1.6e-6 for a 600 mm edge. Rounding errors are below 1e-8.
const hair = 3e-8

// span is an open interval.
type span struct{ lo, hi float64 }

// blocked appends to out the offsets dy at which region a, moved by (dx, dy),
// shares area with region b, as open intervals; intervals that overlap their
// predecessor are joined to it. Both are ordered by x0.
func blocked(a, b []trap, dx float64, out []span) []span {
	first := 0
	base := len(out)
	for i := range b {
		q := &b[i]
		for first < len(a) && a[first].x1+dx <= q.x0 {
			first++
		}
		for j := first; j < len(a); j++ {
			p := &a[j]
			if p.x0+dx >= q.x1 {
				break
			}
			xa, xb := p.x0+dx, p.x1+dx // plain comparisons: min and max mind NaN and cost a tenth of the search
			if xa < q.x0 {
				xa = q.x0
			}
			if xb > q.x1 {
				xb = q.x1
			}
			if xb-xa <= hair {
				continue
			}
			// q's bottom above p's top, or q's top below p's bottom, at both ends
			up, uq, d := xa-dx-p.x0, xa-q.x0, xb-xa
			lo := q.b + float64(q.sb*uq) - p.t - float64(p.st*up)
			if s := float64((q.sb - p.st) * d); s < 0 {
				lo += s
			}
			hi := q.t + float64(q.st*uq) - p.b - float64(p.sb*up)
			if s := float64((q.st - p.sb) * d); s > 0 {
				hi += s
			}
			if n := len(out); n > base && lo < out[n-1].hi-hair && hi > out[n-1].lo+hair {
				if lo < out[n-1].lo {
					out[n-1].lo = lo
				}
				if hi > out[n-1].hi {
					out[n-1].hi = hi
				}
			} else {
				out = append(out, span{lo, hi})
			}
		}
	}
	return out
}

// lowest is the least whole offset, at least from and at most to, outside all
// the open intervals. It sorts them.
func lowest(spans []span, from, to float64) (float64, bool) {
	if len(spans) <= 12 {
		for i := 1; i < len(spans); i++ {
			for j := i; j > 0 && spans[j-1].lo > spans[j].lo; j-- {
				spans[j-1], spans[j] = spans[j], spans[j-1]
			}
		}
	} else {
		slices.SortFunc(spans, func(a, b span) int { return cmp.Compare(a.lo, b.lo) })
	}
	y := from
	for _, s := range spans {
		if y <= s.lo+hair {
			break
		}
		if y < s.hi-hair {
			y = math.Ceil(s.hi - hair)
		}
	}
	return y, y <= to
}

// placed is a form with its lower left corner at (x, y).
type placed struct {
	*form
	x, y float64
}

// tray is a bin being filled. Its usable area is w x h µm with the origin in
// the lower left corner; items gather at low x.
type tray struct {
	w, h   float64
	items  []placed // by x, reserved areas included
	widest float64  // widest form among items, grown
}

// put adds a placed form.
func (t *tray) put(p placed) {
	i, _ := slices.BinarySearchFunc(t.items, p.x, func(q placed, x float64) int { return cmp.Compare(q.x, x) })
	t.items = slices.Insert(t.items, i, p)
	t.widest = max(t.widest, p.w+2*p.grow)
}

// manyStops is the number above which stops close to one another are skipped.
const manyStops = 256

// finder looks for places. It holds nothing but scratch memory.
type finder struct {
	spans []span
	near  []*placed
	xs    []float64
	work  int // trapezoid lists compared: the measure of effort
}

// column is the lowest place for the form's corner at abscissa x.
func (fd *finder) column(t *tray, f *form, x float64) (y float64, ok bool) {
	lo, hi := x-f.grow, x+f.w+f.grow
	top := t.h - f.h
	if top < 0 {
		return 0, false
	}
	first, _ := slices.BinarySearchFunc(t.items, lo-t.widest, func(q placed, x float64) int { return cmp.Compare(q.x, x) })
	fd.near, fd.spans = fd.near[:0], fd.spans[:0]
	for i := first; i < len(t.items); i++ {
		q := &t.items[i]
		if q.x-q.grow >= hi {
			break
		}
		if q.x+q.w+q.grow <= lo {
			continue
		}
		fd.near = append(fd.near, q)
		fd.block(f.heart, q.heart, x-q.x, q.y)
	}
	fd.work += len(fd.near)
	if _, ok := lowest(fd.spans, 0, top); !ok {
		return 0, false
	}
	fd.spans = fd.spans[:0]
	for _, q := range fd.near {
		fd.block(f.cols, q.cols, x-q.x, q.y)
	}
	return lowest(fd.spans, 0, top)
}

// block adds the offsets that region b, moved by along across the columns, keeps
// region a, moved by dx, from.
func (fd *finder) block(a, b []trap, dx, along float64) {
	n := len(fd.spans)
	fd.spans = blocked(a, b, dx, fd.spans)
	for k := n; k < len(fd.spans); k++ {
		fd.spans[k].lo += along
		fd.spans[k].hi += along
	}
}

// row is the leftmost place, not left of from, with the form's corner at
// ordinate y.
func (fd *finder) row(t *tray, f *form, y, from float64) (x float64, ok bool) {
	fd.spans = fd.spans[:0]
	lo, hi := y-f.grow, y+f.h+f.grow
	for i := range t.items {
		q := &t.items[i]
		if q.x+q.w+q.grow <= from-f.grow || q.y-q.grow >= hi || q.y+q.h+q.grow <= lo {
			continue
		}
		fd.work++
		fd.block(f.rows, q.rows, y-q.y, q.x)
	}
	return lowest(fd.spans, from, t.w-f.w)
}

// find looks for the leftmost place for the form, then the lowest, with its
// corner between from and limit. Abscissae are tried in ascending order: those
// at which the form's sides line up with the sides, notches and holes of what
// is there or the other way round (stops), and a grid between them; the first that works is then pushed left and down.
// The returned abscissa, when nothing is found, is where the search ended.
func (fd *finder) find(t *tray, f *form, from, limit, step float64) (x, y float64, ok bool) {
	limit = math.Floor(min(limit, t.w-f.w)) // a limit from a score may not be whole
	if from > limit || f.h > t.h {
		return limit, 0, false
	}
	if y, ok := fd.column(t, f, from); ok {
		return from, y, true
	}
	xs := fd.xs[:0]
	add := func(x float64) {
		if x > from && x <= limit {
			xs = append(xs, x)
		}
	}
	add(limit)
	right := from
	for i := range t.items {
		q := &t.items[i]
		g := math.Ceil(f.grow + q.grow)
		add(q.x)
		add(q.x + q.w - f.w)
		for _, s := range q.stops {
			add(q.x + s + g)
			add(q.x + s - g - f.w)
		}
		for _, s := range f.stops {
			add(q.x + q.w + g - s)
			add(q.x - g - s)
		}
		right = max(right, q.x+q.w+g)
	}
	const steps = 5000 // enough for the longest bins that are seen
	step = max(step, math.Ceil((right-from)/steps))
	slices.Sort(xs)
	fd.xs = xs
	// Wavy outlines have so many stops that most are skipped; tight fits, for
	// which stops matter, are then rare.
	near := 0.0
	if len(xs) > manyStops {
		near = step / 16
	}
	last := from
	for i := 0; i < len(xs); {
		x := xs[i]
		if last < right && x > last+step+near {
			x = last + step // no stop for a while: a grid line
		} else {
			i++
			if x <= last+near && x < limit || x == last {
				continue
			}
		}
		if y, ok := fd.column(t, f, x); ok {
			x, y = fd.settle(t, f, last, x, y)
			return x, y, true
		}
		last = x
	}
	return limit, 0, false
}

// settle takes a place at (x, y), with none found at abscissa none < x, and
// pushes it left and down.
func (fd *finder) settle(t *tray, f *form, none, x, y float64) (float64, float64) {
	for range 4 {
		x0, y0 := x, y
		if nx, ok := fd.row(t, f, y, none); ok && nx < x {
			x = nx
		}
		if ny, ok := fd.column(t, f, x); ok && ny < y {
			y = ny
		}
		for lo := none; x-lo > 20; { // closing in on the edge of the free region
			m := math.Floor((lo + x) / 2)
			if ny, ok := fd.column(t, f, m); ok {
				x, y = m, ny
			} else {
				lo = m
			}
		}
		if x == x0 && y == y0 {
			break
		}
	}
	return x, y
}
