package guillotine

import (
	"fmt"
	"slices"
)

// Held is where an item is cut from whatever else happens.
type Held struct {
	Stock string // ID; there is one of it
	At    [2]int64
}

// Cuttable reports whether rectangles can be cut out of a sheet where they lie,
// by cuts from edge to edge with the kerf between.
func Cuttable(sheet Size, rects []Rect, kerf int64) bool {
	whole := Rect{Size: sheet}
	for i, r := range rects {
		if r.At[0] < 0 || r.At[1] < 0 || r.X <= 0 || r.Y <= 0 || r.At[0]+r.X > sheet.X || r.At[1]+r.Y > sheet.Y || r.spoilt(rects[:i]) {
			return false
		}
	}
	_, ok := cutOut(whole, indexed(rects), nil, kerf, Whole, nil)
	return ok
}

// heldRect is an item in its place.
type heldRect struct {
	Rect
	item int
}

func indexed(rects []Rect) []heldRect {
	out := make([]heldRect, len(rects))
	for i, r := range rects {
		out[i] = heldRect{r, i}
	}
	return out
}

// cutOut cuts a rectangle so that every held item is a piece of it, and what is
// left is clear of reserved areas as far as it can be; clear is called with what
// is. It takes the cut that parts most off in one. No cut can spoil what comes
// after: cuts that would part what lies in a rectangle, cut off at the edges of a
// part of it, still part what lies there. The first is in the direction asked for,
// if there is one. It returns false if there is none.
func cutOut(r Rect, held []heldRect, outs []Rect, kerf int64, first Direction, clear func(Rect)) (*Cutting, bool) {
	c := &Cutting{At: r.At, Size: r.Size, Piece: -1}
	held = slices.DeleteFunc(slices.Clone(held), func(h heldRect) bool { return !h.overlaps(r) })
	switch {
	case r.X <= 0 || r.Y <= 0:
		return c, true
	case len(held) == 0:
		c = oneByOne(r, outs, kerf, Whole)
		c.waste(func(q *Cutting) {
			if rest := (Rect{q.At, q.Size}); clear != nil && !rest.spoilt(outs) {
				clear(rest)
			}
		})
		return c, true
	case len(held) == 1 && held[0].Rect == r:
		c.Piece = held[0].item
		return c, true
	}
	best := -1.0
	for _, d := range []Direction{Upright, Level} {
		if first == other(d) {
			continue
		}
		axis := 0
		if d == Level {
			axis = 1
		}
		free := func(where int64) bool { // it runs over no held item
			return !slices.ContainsFunc(held, func(h heldRect) bool {
				lo := h.At[axis] - r.At[axis]
				return lo < where+kerf && where < lo+along(h.Size, d)
			})
		}
		for _, h := range held {
			lo := h.At[axis] - r.At[axis]
			for _, where := range []int64{lo - kerf, lo + along(h.Size, d)} {
				if where <= 0 || where >= along(r.Size, d) || !free(where) {
					continue
				}
				merit := 0.0
				a, b := halves(r, d, where, kerf)
				for _, q := range []Rect{a, b} {
					if !slices.ContainsFunc(held, func(h heldRect) bool { return h.overlaps(q) }) {
						area := float64(q.X) * float64(q.Y)
						merit += area * area
					}
				}
				if merit > best {
					best, c.Cut, c.Where = merit, d, where
				}
			}
		}
	}
	switch {
	case best < 0 && first != Whole:
		return cutOut(r, held, outs, kerf, Whole, clear)
	case best < 0:
		return nil, false
	}
	a, b := halves(r, c.Cut, c.Where, kerf)
	for i, q := range []Rect{a, b} {
		part, ok := cutOut(q, held, outs, kerf, Whole, clear)
		if !ok {
			return nil, false
		}
		c.Parts[i] = part
	}
	return c, true
}

// holding are the held items of a stock.
func holding(items []Item, stock string) (out []heldRect) {
	for i, it := range items {
		if it.Held != nil && it.Held.Stock == stock {
			out = append(out, heldRect{Rect{it.Held.At, it.Size}, i})
		}
	}
	return out
}

// checkHeld returns what is wrong with the held items of a request that is else
// in order.
func checkHeld(items []Item, stock []Stock, o Options) (errs []error) {
	bad := func(format string, a ...any) { errs = append(errs, fmt.Errorf("guillotine: "+format, a...)) }
	any := false
	for _, it := range items {
		if it.Held == nil {
			continue
		}
		any = true
		k := slices.IndexFunc(stock, func(s Stock) bool { return s.ID == it.Held.Stock })
		switch {
		case k < 0:
			bad("item %q is held on stock %q: there is none", it.ID, it.Held.Stock)
		case stock[k].Quantity != 0 && stock[k].Quantity != 1:
			bad("item %q is held on stock %q, of which there are several", it.ID, it.Held.Stock)
		case it.Quantity > 1:
			bad("%d of item %q are held in one place", it.Quantity, it.ID)
		}
	}
	if any && o.Stages != 0 {
		bad("items are held, and cuts are to be in %d stages", o.Stages)
	}
	if len(errs) > 0 || !any {
		return errs
	}
	for _, s := range stock {
		var rects []Rect
		for _, h := range holding(items, s.ID) {
			rects = append(rects, h.Rect)
		}
		if len(rects) > 0 && !Cuttable(s.Size, rects, o.Kerf) {
			bad("what is held on stock %q cannot be cut out of it from edge to edge", s.ID)
		}
	}
	return errs
}

// waysHolding is the way in which held items are cut out of a stock.
func waysHolding(s Stock, held []heldRect, kerf int64) []parts {
	var w parts
	w.cuts, _ = cutOut(Rect{Size: s.Size}, held, s.Reserved, kerf, Whole, func(r Rect) { w.rects = append(w.rects, r) })
	return []parts{w}
}
