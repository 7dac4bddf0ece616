package nest

import (
	"context"
	"math"
	"slices"
)

// shape is what items of equal outline and equal allowed turns share.
type shape struct {
	forms [2][]*form // distinct ones: as given, and with x and y exchanged
	area  float64    // mm²
	long  float64    // longest side of its bounding box, µm
	short float64    // shortest side
	base  int        // index of its first form in a tray's floors
	main  int        // number of forms at turns given, not beside them; these come first
	bare  [2][]*form // the forms without the gap; only if some part of it is favoured
}

// part is one copy of a piece, in the terms of the search.
type part struct {
	piece, copy, shape int
	class              int  // 0 has the highest priority
	favoured           bool // should lie where the figure is best, and could in some bin
}

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
	empty    int   // how many of reserved are the bin's own; the others are pinned
	best     *best // where the figure is best; nil if nowhere

	open   bool    // from the start
	copy   int     // of the bin, if it is
	held   []held  // pinned copies
	weight float64 // area of those, mm²
	reach  float64 // how far they reach, µm
}

// problem is the part of a request that concerns one kind of bin.
type problem struct {
	pieces  []piece
	parts   []part
	shapes  []shape
	stocks  []stock // in the order in which they are opened
	pinned  int     // as many of the first are open from the start, as trays of the same numbers
	forms   int     // of all shapes
	classes int
	grow    float64      // half the gap, µm
	figured bool         // some part is favoured
	found   func(*build) // if not nil, told what separation on bins comes upon
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
	prime tray      // the same, all barred but where the figure is best; unused if that is nowhere
	floor []float64 // first for tray, then for prime
}

// builder lays parts in a given order, each at the first place that find
// offers in the first tray that has one. It remembers how, so that a change
// late in the order costs only what comes after it.
type builder struct {
	p     *problem
	find  finder
	trays []openTray
	used  []int // by stock

	order   []int // of parts
	only    []int // by part: the form it must take, or -1
	keen    keenness
	lean    float64 // 0: the leftmost left edge decides between forms, 1: the leftmost right edge
	choices []choice
	bounds  []bound
}

// keenness is what is done to lay favoured parts where the figure is best.
type keenness int

const (
	careless keenness = iota
	keen              // they go there rather than elsewhere, as long as it needs no other tray
	eager             // they go there even if that opens a tray
)

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
		t.floor = make([]float64, 2*b.p.forms)
	}
	clear(t.floor)
	t.prime.w, t.prime.h, t.prime.widest, t.prime.items = st.w, st.h, 0, t.prime.items[:0]
	for _, r := range st.reserved {
		t.put(r)
		if st.best != nil {
			t.prime.put(r)
		}
	}
	if st.best != nil {
		t.prime.put(st.best.off)
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
	for s := range b.p.pinned {
		b.open(s)
	}
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
	if b.p.stocks[t.stock].best != nil {
		t.prime.put(placed{f, c.x, c.y})
	}
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

// step lays the next part. What else there is within the band beside the turns
// it may take is tried only where it would be left out, and where the search
// ties it to that: to try all of it always took six times as long and made no
// layout better.
func (b *builder) step(i int) choice {
	part := b.order[i]
	sh := &b.p.shapes[b.p.parts[part].shape]
	if only := b.only[part]; only >= 0 {
		return b.place(i, only, only+1)
	}
	c := b.place(i, 0, sh.main)
	if n := len(sh.forms[0]); c.tray < 0 && sh.main < n {
		c = b.place(i, sh.main, n)
	}
	return c
}

// place lays the part of step i in one of its forms from first to before last.
func (b *builder) place(i, first, last int) choice {
	keen := b.keen
	if !b.p.parts[b.order[i]].favoured {
		keen = careless
	}
	if keen != careless {
		if c, ok := b.among(i, first, last, true); ok {
			return c
		}
	}
	if keen == eager {
		if c, ok := b.fresh(i, first, last, true); ok {
			return c
		}
	}
	if c, ok := b.among(i, first, last, false); ok {
		return c
	}
	prime := []bool{true, false}
	if keen == careless {
		prime = prime[1:]
	}
	if c, ok := b.fresh(i, first, last, prime...); ok {
		return c
	}
	return choice{tray: -1}
}

// among lays the part of step i in the first open tray that has a place; if
// prime is set, only where the figure is best.
func (b *builder) among(i, first, last int, prime bool) (choice, bool) {
	for k := range b.trays {
		if c, ok := b.seek(i, k, first, last, prime); ok {
			b.lay(b.order[i], c)
			return c, true
		}
	}
	return choice{}, false
}

// fresh opens the first tray that has a place for the part of step i, looking
// in each only where the figure is best, or anywhere, or for one before the other.
func (b *builder) fresh(i, first, last int, prime ...bool) (choice, bool) {
	part := b.order[i]
	area := b.p.shapes[b.p.parts[part].shape].area
	for s := range b.p.stocks {
		st := &b.p.stocks[s]
		if st.quantity != Unlimited && b.used[s] >= st.quantity || st.area*1.000001 < area {
			continue
		}
		b.open(s)
		for _, only := range prime {
			if c, ok := b.seek(i, len(b.trays)-1, first, last, only); ok {
				b.lay(part, c)
				return c, true
			}
		}
		b.trays = b.trays[:len(b.trays)-1]
		b.used[s]--
		for len(b.bounds) > 0 && b.bounds[len(b.bounds)-1].tray == len(b.trays) {
			b.bounds = b.bounds[:len(b.bounds)-1]
		}
	}
	return choice{}, false
}

// straighten lays parts that were turned beside the turns given as these say,
// where the same tray has a place for that which reaches no further.
func (p *problem) straighten(best *build) {
	askew := func(i int) bool {
		c := best.choices[i]
		return c.tray >= 0 && c.form >= p.shapes[p.parts[best.order[i]].shape].main
	}
	var b *builder
	for i, c := range best.choices {
		if !askew(i) {
			continue
		}
		if b == nil {
			b = &builder{p: p}
			b.load(best, len(best.order))
		}
		part := p.parts[b.order[i]]
		sh := &p.shapes[part.shape]
		t := &b.trays[c.tray]
		space := &t.tray
		if part.favoured && p.prime(part, c) {
			space = &t.prime
		}
		forms := sh.forms[p.stocks[t.stock].swap]
		old := placed{forms[c.form], c.x, c.y}
		both := []*tray{&t.tray, &t.prime}
		for _, s := range both {
			s.items = slices.DeleteFunc(s.items, func(q placed) bool { return q == old })
		}
		for j, f := range forms[:sh.main] {
			if x, y, ok := b.find.find(space, f, 0, c.x+old.w-f.w, math.Ceil(t.h/gridLines)); ok {
				best.choices[i].form, best.choices[i].x, best.choices[i].y = j, x, y
				break
			}
		}
		b.lay(b.order[i], best.choices[i])
	}
	best.bounds = nil
}

// seek looks for the best place of the part of step i in tray k, in its forms
// from first to before last.
func (b *builder) seek(i, k, first, last int, prime bool) (choice, bool) {
	sh := &b.p.shapes[b.p.parts[b.order[i]].shape]
	t := &b.trays[k]
	space, base := &t.tray, sh.base
	if prime {
		space, base = &t.prime, b.p.forms+sh.base
		if b.p.stocks[t.stock].best == nil {
			return choice{}, false
		}
	}
	best, score, ok := choice{tray: k, stock: t.stock}, math.Inf(1), false
	forms := sh.forms[b.p.stocks[t.stock].swap]
	for j := first; j < last; j++ {
		f := forms[j]
		from := t.floor[base+j]
		if math.IsInf(from, 1) {
			continue
		}
		limit := score - float64(b.lean*f.w) - 1
		if limit < from {
			continue
		}
		x, y, found := b.find.find(space, f, from, limit, math.Ceil(t.h/gridLines))
		if found {
			best.form, best.x, best.y = j, x, y
			score, ok = x+float64(b.lean*f.w), true
		} else if x >= t.w-f.w || f.h > t.h {
			x = math.Inf(1)
		}
		if x > from {
			t.floor[base+j] = x
			b.bounds = append(b.bounds, bound{i, k, base + j, x})
		}
	}
	return best, ok
}

// gridLines is how many steps of the placement grid make the height of a bin.
// Finer grids cost time in proportion and gained nothing on the classic
// instances: what fits tightly is found by the stops.
const gridLines = 50
