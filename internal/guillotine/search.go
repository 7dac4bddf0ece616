package guillotine

import (
	"cmp"
	"context"
	"math/rand/v2"
	"slices"
)

// history is how many layouts ago one must not have been better, and one place
// in passedOver is. Gardeyn and Wauters take 500 and 100; these are better in
// the few thousand steps that somebody waits for.
const (
	history    = 100
	passedOver = 20
)

// pull is the share of the price of area that the second power of what is free
// counts for: it leads the search to few large offcuts.
const pull = 0.02

// search makes a first layout and betters it.
func (p *problem) search(ctx context.Context) (best *state, interrupted bool) {
	rng := rand.New(rand.NewPCG(uint64(p.o.Seed), 0x6715))
	p.rand = rng.IntN
	cur := &state{missing: make([]int, len(p.kinds)), used: make([]int, len(p.stock))}
	pieces := 0
	for k, n := range p.kinds {
		cur.missing[k] = n.copies
		pieces += n.copies
	}
	for i, holds := range p.holds {
		if holds {
			cur.sheets = append(cur.sheets, p.fresh(i, 0))
			cur.used[i]++
		}
	}
	p.sum(cur)
	best = cur
	for by := range orders {
		t := p.copyOf(cur)
		t.lay(p.order(t.missing, by), 0)
		if s := t.done(); s.before(best) {
			best = s
		}
		if ctx.Err() != nil {
			return best, true
		}
	}
	n := p.o.Iterations
	if n == 0 {
		n = DefaultIterations
	}
	n = n * 64 / max(64, pieces)
	if pieces == 0 || len(p.stock) == 0 {
		return best, false
	}
	cur = best
	past := make([]float64, history)
	for i := range past {
		past[i] = cur.score
	}
	for i := 0; i < n; i++ {
		if i%16 == 0 && ctx.Err() != nil {
			return best, true
		}
		if best.left == 0 {
			p.limit = best.cost
		}
		s := p.step(cur)
		if h := &past[i%history]; s.score <= cur.score || s.score <= *h {
			cur = s
		}
		past[i%history] = min(past[i%history], cur.score)
		if cur.before(best) {
			best = cur
		}
	}
	return best, false
}

// step is a layout with some pieces taken up and laid again.
func (p *problem) step(cur *state) *state {
	t := p.copyOf(cur)
	if len(t.sheets) > 0 {
		if len(t.sheets) > 1 && p.rand(20) == 0 {
			t.drop(p.rand(len(t.sheets)))
		}
		for range 1 + p.rand(11) { // about six (Gardeyn and Wauters)
			t.ruin()
		}
	}
	by := p.rand(orders + 1)
	t.lay(p.order(t.missing, by), passedOver)
	return t.done()
}

// orders is in how many ways kinds are put in order; beyond them is chance.
const orders = 4

// order lists the kinds that are missing in the order in which they are laid.
func (p *problem) order(missing []int, by int) []int {
	var out []int
	for k, n := range missing {
		if n > 0 {
			out = append(out, k)
		}
	}
	if by >= orders {
		for i := len(out) - 1; i > 0; i-- {
			j := p.rand(i + 1)
			out[i], out[j] = out[j], out[i]
		}
		return out
	}
	key := func(k int) int64 {
		s := p.kinds[k].Size
		switch by {
		case 0:
			return s.X * s.Y
		case 1:
			return max(s.X, s.Y)
		case 2:
			return s.X
		}
		return s.Y
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(key(b), key(a)) })
	return out
}

// trial is a layout while it is changed. Sheets are copied before they are.
type trial struct {
	state
	p   *problem
	own []bool
}

func (p *problem) copyOf(s *state) *trial {
	return &trial{
		state: state{sheets: slices.Clone(s.sheets), missing: slices.Clone(s.missing), used: slices.Clone(s.used), cost: s.cost},
		p:     p, own: make([]bool, len(s.sheets)),
	}
}

// mine lets a sheet be changed.
func (t *trial) mine(i int) *sheet {
	if !t.own[i] {
		s := *t.sheets[i]
		s.roots = make([]*node, len(s.roots))
		for k, r := range t.sheets[i].roots {
			s.roots[k] = r.clone()
		}
		s.spots = nil
		t.p.measure(&s)
		t.sheets[i], t.own[i] = &s, true
	}
	return t.sheets[i]
}

// drop puts a whole sheet back, or only what lies on it if items are held there.
func (t *trial) drop(i int) {
	s := t.sheets[i]
	for _, r := range s.roots {
		r.items(t.missing)
	}
	if t.p.holds[s.stock] {
		t.sheets[i], t.own[i] = t.p.fresh(s.stock, s.parts), true
		return
	}
	t.used[s.stock]--
	t.cost -= t.p.stock[s.stock].Cost
	t.sheets = slices.Delete(t.sheets, i, i+1)
	t.own = slices.Delete(t.own, i, i+1)
}

// ruin takes one node of one sheet out.
func (t *trial) ruin() {
	if len(t.sheets) == 0 {
		return
	}
	i := t.p.rand(len(t.sheets))
	s := t.mine(i)
	total := -len(s.roots)
	for _, r := range s.roots {
		r.walk(1, func(*node, int) { total++ })
	}
	if total <= 0 {
		return
	}
	want := t.p.rand(total)
	var take func(n *node) bool
	take = func(n *node) bool {
		for j, k := range n.kids {
			if want == 0 {
				k.items(t.missing)
				n.kids = slices.Delete(n.kids, j, j+1)
				return true
			}
			want--
			if take(k) {
				return true
			}
		}
		return false
	}
	for _, r := range s.roots {
		if take(r) {
			r.tidy()
			if len(r.kids) == 1 && r.kids[0].cut != Whole && r.kids[0].Size == r.Size && t.p.o.First == Whole {
				*r = *r.kids[0] // nothing is cut before its cuts
			}
			break
		}
	}
	t.p.measure(s)
}

// lay lays what is missing, kind by kind. One place in so many is passed over,
// if skip is not 0.
func (t *trial) lay(order []int, skip int) {
	for _, k := range order {
		for t.missing[k] > 0 && (t.place(k, skip) || t.open(k, skip > 0)) {
			t.missing[k]--
		}
	}
}

// way is how an item is put into a spot.
type way struct {
	size   Size
	across bool      // the free rectangle is cut the other way first
	first  Direction // of an empty part of a sheet
}

// place puts an item where it spoils least: where the second powers of what is
// free fall least.
func (t *trial) place(k, skip int) bool {
	kd := t.p.kinds[k]
	turns := []Size{kd.Size, {kd.Y, kd.X}}
	if !kd.turn {
		turns = turns[:1]
	}
	least, sheet, at := 0.0, -1, 0
	var best way
	for i, s := range t.sheets {
		for j, sp := range s.spots {
			f := sp.n.free(t.p.o.Kerf)
			for _, q := range turns {
				if !fits(q, f) {
					continue
				}
				t.p.waysInto(sp, f, q, func(w way, loss float64) {
					if skip > 0 && t.p.rand(skip) == 0 {
						return
					}
					if sheet < 0 || loss < least {
						least, sheet, at, best = loss, i, j, w
					}
				})
			}
		}
	}
	if sheet < 0 {
		return false
	}
	s := t.mine(sheet)
	t.p.put(s, at, k, best)
	return true
}

// waysInto calls f for every way to put an item into a spot, and what that
// spoils.
func (p *problem) waysInto(sp spot, f, q Size, call func(way, float64)) {
	kerf := p.o.Kerf
	sq := func(x, y int64) float64 {
		a := float64(max(0, x)) * float64(max(0, y))
		return a * a
	}
	whole := sq(f.X, f.Y)
	upright := sq(f.X-q.X-kerf, f.Y) + sq(q.X, f.Y-q.Y-kerf)
	level := sq(f.X, f.Y-q.Y-kerf) + sq(f.X-q.X-kerf, q.Y)
	if sp.empty && sp.depth == 1 {
		if p.o.First != Level {
			call(way{q, false, Upright}, whole-upright)
		}
		if p.o.First != Upright {
			call(way{q, false, Level}, whole-level)
		}
		return
	}
	same, cross := upright, level
	if sp.n.cut == Level {
		same, cross = level, upright
	}
	if p.o.Stages == 0 {
		call(way{size: q}, whole-same)
		if q.X != f.X && q.Y != f.Y { // or it comes to the same
			call(way{size: q, across: true}, whole-cross)
		}
		return
	}
	// Depth 1 holds strips, depth 2 pieces, depth 3 pieces to be trimmed.
	if sp.depth <= p.o.Stages {
		call(way{size: q}, whole-same)
	}
}

// put puts an item into a spot of a sheet.
func (p *problem) put(s *sheet, at, k int, w way) {
	sp := s.spots[at]
	n := sp.n
	f := n.free(p.o.Kerf)
	if sp.empty && sp.depth == 1 {
		n.cut = w.first
	}
	item := &node{Size: w.size, kind: k}
	var fresh []spot
	// within is a node of a size that holds a node at its beginning.
	within := func(size Size, d Direction, kid *node, depth int) *node {
		if kid.Size == size {
			return kid
		}
		out := &node{Size: size, cut: d, kids: []*node{kid}}
		fresh = append(fresh, spot{out, depth, false})
		return out
	}
	d := n.cut
	if w.across {
		row := within(sized(f, other(d), along(w.size, other(d))), d, item, sp.depth+2)
		n.kids = append(n.kids, within(f, other(d), row, sp.depth+1))
	} else {
		n.kids = append(n.kids, within(sized(f, d, along(w.size, d)), other(d), item, sp.depth+1))
	}
	s.spots[at].empty = false
	room := func(sp spot) bool {
		f := sp.n.free(p.o.Kerf)
		return f.X >= p.short.X && f.Y >= p.short.Y
	}
	if !room(s.spots[at]) {
		s.spots = slices.Delete(s.spots, at, at+1)
	}
	for _, sp := range fresh {
		if room(sp) {
			s.spots = append(s.spots, sp)
		}
	}
}

// open takes another sheet for an item: the one that costs least for its area
// and can hold it, or by chance another.
func (t *trial) open(k int, chance bool) bool {
	kd := t.p.kinds[k]
	holds := func(s Size) bool { return fits(kd.Size, s) || kd.turn && fits(Size{kd.Y, kd.X}, s) }
	type choice struct {
		stock, parts int
		rate         float64
	}
	var all []choice
	free := !chance || t.p.rand(10) == 0
	for i, st := range t.p.stock {
		if q := max(1, st.Quantity); st.Quantity != Unlimited && t.used[i] >= q {
			continue
		}
		if !free && t.cost+st.Cost > t.p.limit*(1+1e-12) {
			continue
		}
		for j, w := range t.p.ways[i] {
			if slices.ContainsFunc(w.rects, func(r Rect) bool { return holds(r.Size) }) {
				all = append(all, choice{i, j, st.Cost / float64(st.X*st.Y)})
			}
		}
	}
	if len(all) == 0 {
		return false
	}
	slices.SortStableFunc(all, func(a, b choice) int { return cmp.Compare(a.rate, b.rate) })
	c := all[0]
	if chance && t.p.rand(3) == 0 {
		c = all[t.p.rand(len(all))]
	}
	t.sheets, t.own = append(t.sheets, t.p.fresh(c.stock, c.parts)), append(t.own, true)
	t.used[c.stock]++
	t.cost += t.p.stock[c.stock].Cost
	return t.place(k, 0)
}

// fresh is a sheet of a stock that nothing lies on yet but what is held.
func (p *problem) fresh(stock, way int) *sheet {
	s := &sheet{stock: stock, parts: way}
	for _, r := range p.ways[stock][way].rects {
		s.roots = append(s.roots, &node{Size: r.Size, cut: Upright})
	}
	p.measure(s)
	return s
}

// done closes sheets that nothing is cut from, pulls pieces together where that
// leaves more, and works out the figures.
func (t *trial) done() *state {
	for i := len(t.sheets) - 1; i >= 0; i-- {
		if !t.own[i] {
			continue
		}
		s := t.sheets[i]
		t.p.measure(s)
		if s.pieces == 0 && !t.p.holds[s.stock] {
			t.drop(i)
			continue
		}
		for _, r := range s.roots {
			t.p.tighten(t.p.stock[s.stock], r)
		}
		t.p.measure(s)
	}
	t.p.sum(&t.state)
	return &t.state
}

// tighten makes pieces of a node no longer than what they hold needs, where what
// becomes free is better in one.
func (p *problem) tighten(st Stock, n *node) {
	for i, k := range n.kids {
		if k.cut == Whole {
			continue
		}
		p.tighten(st, k)
		l, need := along(k.Size, n.cut), k.need(n.cut, p.o.Kerf)
		if need >= l {
			continue
		}
		c := k.clone()
		c.resize(n.cut, need, p.o.Kerf)
		before := p.merit(st, k) + p.meritOf(st, n.free(p.o.Kerf))
		n.kids[i] = c
		if p.merit(st, c)+p.meritOf(st, n.free(p.o.Kerf)) <= before*(1+1e-12) {
			n.kids[i] = k
			continue
		}
		c.tidy()
		if len(c.kids) == 1 && c.kids[0].Size == c.Size {
			n.kids[i] = c.kids[0]
		}
	}
}

func (p *problem) meritOf(st Stock, f Size) float64 {
	a := float64(f.X * f.Y)
	return p.worth(st, f) + pull*p.price*a*a/float64(st.X*st.Y)
}

func (p *problem) merit(st Stock, n *node) (sum float64) {
	n.walk(1, func(n *node, _ int) {
		if n.cut != Whole {
			sum += p.meritOf(st, n.free(p.o.Kerf))
		}
	})
	return sum
}
