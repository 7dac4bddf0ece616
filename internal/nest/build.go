package nest

import (
	"context"
	"math"
)

// shape is what items of equal outline and equal allowed turns share.
type shape struct {
	forms [2][]*form // distinct ones: as given, and with x and y exchanged
	area  float64    // mm²
	long  float64    // longest side of its bounding box, µm
	short float64    // shortest side
	base  int        // index of its first form in a tray's floors
}

// part is one copy of an item, in the terms of the search.
type part struct{ item, copy, shape, class int } // class 0 has the highest priority

// stock is a bin as offered, with x along its longer side.
type stock struct {
	bin      int // index into the request
	quantity int // Unlimited or a number
	swap     int // 1 when x and y are exchanged
	margin   float64
	w, h     float64 // usable, µm
	area     float64 // of the whole bin, mm²
	cost     float64
	reserved []placed
}

// problem is the part of a request that concerns one kind of bin.
type problem struct {
	parts   []part
	shapes  []shape
	stocks  []stock // in the order in which they are opened
	forms   int     // of all shapes
	classes int
}

// choice is where a part went: tray -1 is nowhere.
type choice struct {
	tray, stock, form int
	x, y              float64
}

// bound says that, from a step of the build on, a form has no place in a tray
// left of x. It stays true, since trays only fill.
type bound struct {
	step, tray, form int
	x                float64
}

// openTray is a tray, the stock it is made of, and for every form its bound.
type openTray struct {
	tray
	stock int
	floor []float64
}

// builder lays parts in a given order, each at the first place that find
// offers in the first tray that has one. It remembers how, so that a change
// late in the order costs only what comes after it.
type builder struct {
	p     *problem
	find  finder
	trays []openTray
	used  []int // by stock

	order   []int   // of parts
	only    []int   // by part: the form it must take, or -1
	lean    float64 // 0: the leftmost left edge decides between forms, 1: the leftmost right edge
	choices []choice
	bounds  []bound
}

// open adds an empty tray of the stock. Trays closed by reset are reused.
func (b *builder) open(s int) {
	st := &b.p.stocks[s]
	n := len(b.trays)
	if n < cap(b.trays) {
		b.trays = b.trays[:n+1]
	} else {
		b.trays = append(b.trays, openTray{})
	}
	t := &b.trays[n]
	t.stock, t.w, t.h, t.widest = s, st.w, st.h, 0
	t.items = t.items[:0]
	if t.floor == nil {
		t.floor = make([]float64, b.p.forms)
	}
	clear(t.floor)
	for _, r := range st.reserved {
		t.put(r)
	}
	b.used[s]++
}

// reset takes up all parts but the first n of the last build.
func (b *builder) reset(n int) {
	if b.used == nil {
		b.used = make([]int, len(b.p.stocks))
	}
	clear(b.used)
	b.trays = b.trays[:0]
	k := 0
	for i, c := range b.choices[:n] {
		if c.tray >= 0 {
			if c.tray == len(b.trays) {
				b.open(c.stock)
			}
			b.lay(b.order[i], c)
		}
		for ; k < len(b.bounds) && b.bounds[k].step == i; k++ {
			o := b.bounds[k]
			b.trays[o.tray].floor[o.form] = o.x
		}
	}
	b.choices, b.bounds = b.choices[:n], b.bounds[:k]
}

func (b *builder) lay(p int, c choice) {
	t := &b.trays[c.tray]
	f := b.form(p, t.stock, c.form)
	t.put(placed{f, c.x, c.y})
}

func (b *builder) form(p, stock, form int) *form {
	return b.p.shapes[b.p.parts[p].shape].forms[b.p.stocks[stock].swap][form]
}

// run lays the parts from the first one that is not laid. It stops between
// two parts when the context ends, and then returns false.
func (b *builder) run(ctx context.Context) bool {
	for i := len(b.choices); i < len(b.order); i++ {
		if ctx.Err() != nil {
			return false
		}
		b.choices = append(b.choices, b.step(i))
	}
	return true
}

func (b *builder) step(i int) choice {
	part := b.order[i]
	sh := &b.p.shapes[b.p.parts[part].shape]
	for k := range b.trays {
		if c, ok := b.seek(i, k, sh, b.only[part]); ok {
			b.lay(part, c)
			return c
		}
	}
	for s := range b.p.stocks {
		st := &b.p.stocks[s]
		if st.quantity != Unlimited && b.used[s] >= st.quantity || st.area*1.000001 < sh.area {
			continue
		}
		b.open(s)
		if c, ok := b.seek(i, len(b.trays)-1, sh, b.only[part]); ok {
			b.lay(part, c)
			return c
		}
		b.trays = b.trays[:len(b.trays)-1]
		b.used[s]--
		for len(b.bounds) > 0 && b.bounds[len(b.bounds)-1].tray == len(b.trays) {
			b.bounds = b.bounds[:len(b.bounds)-1]
		}
	}
	return choice{tray: -1}
}

// seek looks for the best place of a shape in tray k, in all its forms or in
// only one.
func (b *builder) seek(i, k int, sh *shape, only int) (choice, bool) {
	t := &b.trays[k]
	best, score, ok := choice{tray: k, stock: t.stock}, math.Inf(1), false
	for j, f := range sh.forms[b.p.stocks[t.stock].swap] {
		from := t.floor[sh.base+j]
		if math.IsInf(from, 1) || only >= 0 && only != j {
			continue
		}
		limit := score - float64(b.lean*f.w) - 1
		if limit < from {
			continue
		}
		x, y, found := b.find.find(&t.tray, f, from, limit, math.Ceil(t.h/gridLines))
		if found {
			best.form, best.x, best.y = j, x, y
			score, ok = x+float64(b.lean*f.w), true
		} else if x >= t.w-f.w || f.h > t.h {
			x = math.Inf(1)
		}
		if x > from {
			t.floor[sh.base+j] = x
			b.bounds = append(b.bounds, bound{i, k, sh.base + j, x})
		}
	}
	return best, ok
}

// gridLines is how many steps of the placement grid make the height of a bin.
// Finer grids cost time in proportion and gained nothing on the classic
// instances: what fits tightly is found by the stops.
const gridLines = 50
