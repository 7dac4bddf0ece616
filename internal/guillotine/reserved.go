package guillotine

import "slices"

// mostReserved is how many reserved areas a sheet may have. All orders of cutting
// out as many as exhaustive (10 ms) are gone through, rectangle by rectangle; of
// more, the first cuts are chosen one by one until no part has more than few.
const (
	mostReserved = 100
	exhaustive   = 8
	few          = 6
)

// parts is a way to cut the reserved areas out of a sheet: what is clear of them.
type parts struct {
	rects []Rect
	cuts  *Cutting // its waste is the rects, in order, and what is spoilt
}

// waysAround are ways to cut the reserved areas of a sheet out: the one with first an
// upright and the one with first a level cut that leave most in few rectangles
// (the sum of the second powers of their areas). A sheet without has one way.
func waysAround(s Stock, kerf int64) []parts {
	whole := Rect{Size: s.Size}
	outs := slices.DeleteFunc(slices.Clone(s.Reserved), func(k Rect) bool { return !k.overlaps(whole) })
	if len(outs) == 0 {
		return []parts{{[]Rect{whole}, &Cutting{Size: s.Size, Piece: -1}}}
	}
	known := map[Rect]*choice{}
	var ways []parts
	for _, d := range []Direction{Upright, Level} {
		w := parts{}
		if len(outs) > exhaustive {
			w.cuts = oneByOne(whole, outs, kerf, d)
		} else {
			w.cuts = around(whole, outs, kerf, d, known).cutting(whole, kerf, known)
		}
		w.cuts.waste(func(q *Cutting) {
			if r := (Rect{q.At, q.Size}); !r.spoilt(outs) {
				w.rects = append(w.rects, r)
			}
		})
		ways = append(ways, w)
	}
	return ways
}

// choice is the best cut of a rectangle with reserved areas.
type choice struct {
	cut   Direction
	where int64
	merit float64
}

func around(r Rect, outs []Rect, kerf int64, only Direction, known map[Rect]*choice) *choice {
	if r.X <= 0 || r.Y <= 0 {
		return &choice{}
	}
	if only == Whole {
		if c, ok := known[r]; ok {
			return c
		}
	}
	c := &choice{}
	if !r.spoilt(outs) {
		a := float64(r.X) * float64(r.Y)
		c.merit = a * a
	} else {
		try := func(d Direction, where int64) {
			if where <= 0 || where >= along(r.Size, d) || only != Whole && d != only {
				return
			}
			a, b := halves(r, d, where, kerf)
			if m := around(a, outs, kerf, Whole, known).merit + around(b, outs, kerf, Whole, known).merit; m > c.merit {
				*c = choice{d, where, m}
			}
		}
		for _, k := range outs {
			if r.overlaps(k) {
				try(Upright, k.At[0]-r.At[0])
				try(Upright, max(1, k.At[0]+k.X-r.At[0]-kerf))
				try(Level, k.At[1]-r.At[1])
				try(Level, max(1, k.At[1]+k.Y-r.At[1]-kerf))
			}
		}
	}
	if only == Whole {
		known[r] = c
	}
	return c
}

// oneByOne cuts a rectangle with many reserved areas: each time where it leaves
// most in large parts with few of them.
func oneByOne(r Rect, outs []Rect, kerf int64, only Direction) *Cutting {
	in := func(q Rect) (n int) {
		for _, k := range outs {
			if k.overlaps(q) {
				n++
			}
		}
		return n
	}
	c := &Cutting{At: r.At, Size: r.Size, Piece: -1}
	if r.X <= 0 || r.Y <= 0 {
		return c
	}
	if only == Whole && in(r) <= few {
		known := map[Rect]*choice{}
		outs = slices.DeleteFunc(slices.Clone(outs), func(k Rect) bool { return !k.overlaps(r) })
		return around(r, outs, kerf, Whole, known).cutting(r, kerf, known)
	}
	most := 0.0
	try := func(d Direction, where int64) {
		if where <= 0 || where >= along(r.Size, d) || only != Whole && d != only {
			return
		}
		merit := 0.0
		a, b := halves(r, d, where, kerf)
		for _, q := range []Rect{a, b} {
			area := float64(q.X) * float64(q.Y)
			merit += area * area / float64(1+in(q))
		}
		if merit > most {
			most, c.Cut, c.Where = merit, d, where
		}
	}
	for _, k := range outs {
		if r.overlaps(k) {
			try(Upright, k.At[0]-r.At[0])
			try(Upright, max(1, k.At[0]+k.X-r.At[0]-kerf))
			try(Level, k.At[1]-r.At[1])
			try(Level, max(1, k.At[1]+k.Y-r.At[1]-kerf))
		}
	}
	if c.Cut == Whole {
		return c
	}
	a, b := halves(r, c.Cut, c.Where, kerf)
	c.Parts = [2]*Cutting{oneByOne(a, outs, kerf, Whole), oneByOne(b, outs, kerf, Whole)}
	return c
}

// halves are what a cut leaves of a rectangle.
func halves(r Rect, d Direction, where, kerf int64) (a, b Rect) {
	a, b = r, r
	if d == Upright {
		a.X, b.X, b.At[0] = where, max(0, r.X-where-kerf), r.At[0]+where+kerf
	} else {
		a.Y, b.Y, b.At[1] = where, max(0, r.Y-where-kerf), r.At[1]+where+kerf
	}
	return a, b
}

func (c *choice) cutting(r Rect, kerf int64, known map[Rect]*choice) *Cutting {
	out := &Cutting{At: r.At, Size: r.Size, Piece: -1}
	if c == nil || c.cut == Whole {
		return out
	}
	out.Cut, out.Where = c.cut, c.where
	a, b := halves(r, c.cut, c.where, kerf)
	out.Parts = [2]*Cutting{known[a].cutting(a, kerf, known), known[b].cutting(b, kerf, known)}
	return out
}

// join puts the cuttings of the clear parts in their places.
func (w parts) join(of []*Cutting) *Cutting {
	var join func(c *Cutting) *Cutting
	join = func(c *Cutting) *Cutting {
		if c.Cut == Whole {
			for i, r := range w.rects {
				if r.At == c.At && r.Size == c.Size {
					return of[i]
				}
			}
			return c
		}
		q := *c
		q.Parts = [2]*Cutting{join(c.Parts[0]), join(c.Parts[1])}
		return &q
	}
	return join(w.cuts)
}
