package nest

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// Pack places the items on the bins. It places as much as it can, highest
// priority first, on bins that cost least together, and then leaves the
// largest offcut on the least filled one: items gather at one end of a bin,
// along its longer side.
//
// What cannot be placed is in Layout.Unplaced, with the reason. The error is
// for requests that make no sense: repeated IDs, or sizes that are not sizes.
// When ctx ends, Pack returns the best layout it has, marked Interrupted.
func Pack(ctx context.Context, items []Item, bins []Bin, o Options) (*Layout, error) {
	if err := checkRequest(items, bins, o.Gap); err != nil {
		return nil, err
	}
	l, _, err := pack(ctx, items, bins, o)
	return l, err
}

// Strip places all items in a band of the given height (along y) and of the
// least length (along x). The bin it returns has that length; with it, the
// layout can be verified. Items that do not fit the height are left out. Pins
// name the bin "strip"; the strip is at least as long as they reach.
func Strip(ctx context.Context, items []Item, height float64, o Options) (*Layout, Bin, error) {
	bin := Bin{ID: "strip", Size: geom.V2(1, height), Cost: 1}
	bin.Size.X = maxSpan / micron
	if err := checkRequest(items, []Bin{bin}, o.Gap); err != nil {
		return nil, bin, err
	}
	bin.Size.X = math.Inf(1)
	l, length, err := pack(ctx, items, []Bin{bin}, o)
	if err != nil {
		return nil, bin, err
	}
	bin.Size.X = max(length, 1.0/micron) // still a rectangle when nothing is placed
	for i := range l.Bins {
		u := &l.Bins[i]
		u.Density = u.Area / (bin.Size.X * height)
		l.Density = u.Density
	}
	return l, bin, nil
}

// pack is Pack on a checked request. The length returned is how far along x
// the items reach.
func pack(ctx context.Context, items []Item, bins []Bin, o Options) (*Layout, float64, error) {
	grow := 0.0
	if o.Gap > 0 {
		grow = o.Gap*micron/2 + 1 // a micrometre to spare, for the rounding of what is grown
	}
	total := o.Iterations
	switch {
	case total == 0:
		total = DefaultIterations
	case total < 0:
		total = 0
	}

	var kinds []string
	byKind := map[string][]int{}
	copies := 0
	for i, it := range items {
		if byKind[it.Kind] == nil {
			kinds = append(kinds, it.Kind)
		}
		byKind[it.Kind] = append(byKind[it.Kind], i)
		copies += it.copies()
	}

	l := &Layout{}
	var placedArea, binArea, length float64
	done, before := 0, 0
	for k, kind := range kinds {
		p := &problem{}
		if err := p.take(items, byKind[kind], bins, kind, grow, l); err != nil {
			return nil, 0, err
		}
		if len(p.parts) == 0 && p.pinned == 0 {
			continue
		}
		share := total * len(p.parts) / max(copies, 1)
		end := done + share
		if k == len(kinds)-1 {
			end = total
		}
		own := o.share(before, len(p.parts), copies)
		before += len(p.parts)
		tick := func(work int, m merit) bool {
			done = min(done+work, end)
			if o.Progress != nil {
				o.Progress(done, total, m.density)
			}
			return done < end && (own.Spent == nil || own.Spent() < laying)
		}
		var best build
		whole := true
		if len(p.parts) > 0 {
			best, whole = p.search(ctx, o, uint64(k), tick)
		}
		if !whole {
			l.Interrupted = true
		}
		if (own.Lines > 0 || own.Spent != nil) && whole && len(p.parts) > 0 && len(p.parts) <= mostApart {
			if math.IsInf(p.stocks[0].area, 1) {
				l.Lines += p.separate(ctx, &best, own)
			} else {
				if o.Better != nil {
					p.found = func(b *build) {
						better := &Layout{Unplaced: slices.Clone(l.Unplaced)}
						p.report(items, bins, b, better)
						better.sort(items)
						o.Better(better)
					}
				}
				p.thrift(ctx, &best) // what is moved about afterwards may not be exchanged as easily
				l.Lines += p.gather(ctx, &best, own)
			}
			l.Interrupted = l.Interrupted || ctx.Err() != nil
		}
		p.thrift(ctx, &best)
		if p.figured {
			p.promote(&best)
			p.claim(ctx, &best)
		}
		if ctx.Err() == nil {
			p.straighten(&best)
		}
		pa, ba, ln := p.report(items, bins, &best, l)
		placedArea += pa
		binArea += ba
		length = max(length, ln)
	}
	if binArea > 0 {
		l.Density = placedArea / binArea
	}
	l.sort(items)
	return l, length, nil
}

// sort puts placements and what is left out in the order of the items.
func (l *Layout) sort(items []Item) {
	rank := map[string]int{}
	for i, it := range items {
		rank[it.ID] = i
	}
	slices.SortStableFunc(l.Placements, func(a, b Placement) int {
		return cmp.Or(cmp.Compare(a.Bin, b.Bin), cmp.Compare(rank[a.Item], rank[b.Item]), cmp.Compare(a.Copy, b.Copy))
	})
	slices.SortStableFunc(l.Unplaced, func(a, b Unplaced) int { return cmp.Compare(rank[a.Item], rank[b.Item]) })
}

// share are the options for n of all parts, when those before have had theirs:
// budgets are divided by the number of parts.
func (o Options) share(before, n, all int) Options {
	o.Lines = o.Lines * n / all
	o.Spent = Within(o.Spent, float64(before)/float64(all), float64(before+n)/float64(all))
	return o
}

// laying is the share of a time given by Options.Spent that the search over
// orders may take, however many iterations are left: what follows gains more.
const laying = 0.1

// mostApart is how many parts are worked on by separation. It keeps two square
// matrices of numbers for each of two lanes, 32 bytes a pair: 128 MB at 2,000
// parts, 3.2 GB at 10,000.
const mostApart = 2000

// take prepares the items and bins of one kind. Items that cannot be placed
// at all go straight to the layout's list.
func (p *problem) take(items []Item, which []int, bins []Bin, kind string, grow float64, l *Layout) error {
	p.grow = grow
	leave := func(pc piece, r Reason, format string, a ...any) {
		for _, i := range pc.items {
			if n := items[i].copies() - pc.pins; n > 0 {
				l.Unplaced = append(l.Unplaced, Unplaced{Item: items[i].ID, Copy: pc.pins, Count: n, Reason: r, Detail: fmt.Sprintf(format, a...)})
			}
		}
	}
	open, err := pinned(items, which, bins, kind, p.grow)
	if err != nil {
		return err
	}
	for i, b := range bins {
		if b.Kind != kind {
			continue
		}
		s, err := newStock(i, b, p.grow)
		if err != nil {
			return err
		}
		for _, o := range open {
			if o.bin == i && s.quantity != Unlimited {
				s.quantity--
			}
		}
		p.figured = p.figured || s.best != nil
		if s.quantity != 0 {
			p.stocks = append(p.stocks, s)
		}
	}
	slices.SortStableFunc(p.stocks, func(a, b stock) int {
		return cmp.Or(cmp.Compare(a.cost/a.area, b.cost/b.area), -cmp.Compare(a.area, b.area))
	})
	p.pinned = len(open)
	p.stocks = slices.Concat(open, p.stocks)

	var priorities []int
	byKey := map[string]int{}
	try := builder{p: p, used: make([]int, len(p.stocks))}
	p.pieces = pieces(items, which)
	for k, pc := range p.pieces {
		it := items[pc.items[0]]
		if len(p.stocks) == 0 {
			leave(pc, NoBin, "there is no bin of kind %q", kind)
			continue
		}
		sh, key, err := newShape(items, pc, p.grow)
		if err != nil {
			leave(pc, BadShape, "%v", err)
			continue
		}
		at, known := byKey[key]
		if !known {
			at = len(p.shapes)
			byKey[key] = at
			sh.base = p.forms
			p.forms += len(sh.forms[0])
			p.shapes = append(p.shapes, sh)
		}
		if !try.fitsEmpty(at, false) {
			f, what := p.shapes[at].forms[0][0], ""
			if len(pc.items) > 1 {
				what = fmt.Sprintf("set %q of ", it.Set)
			}
			leave(pc, TooLarge, "%s%.1f x %.1f mm fits no empty bin at any allowed turn", what, f.w/micron, f.h/micron)
			continue
		}
		favoured := p.figured && pc.priority > 0 && try.fitsEmpty(at, true)
		if sh := &p.shapes[at]; favoured && sh.bare[0] == nil {
			if err := p.bare(items, pc, sh); err != nil {
				return fmt.Errorf("nest: item %q: %w", it.ID, err)
			}
		}
		for c := pc.pins; c < it.copies(); c++ {
			p.parts = append(p.parts, part{piece: k, copy: c, shape: at, class: pc.priority, favoured: favoured})
			priorities = append(priorities, pc.priority)
		}
	}
	slices.Sort(priorities)
	priorities = slices.Compact(priorities)
	slices.Reverse(priorities)
	p.classes = len(priorities)
	for i := range p.parts {
		p.parts[i].class = slices.Index(priorities, p.parts[i].class)
	}
	p.figured = slices.ContainsFunc(p.parts, func(q part) bool { return q.favoured })
	return nil
}

// fitsEmpty reports whether the shape has a place in some empty bin, or where
// the figure of one is best; pinned copies do not count.
func (b *builder) fitsEmpty(shape int, prime bool) bool {
	sh := &b.p.shapes[shape]
	for s := range b.p.stocks {
		b.trays = b.trays[:0]
		st := &b.p.stocks[s]
		t := tray{w: st.w, h: st.h}
		for _, r := range st.reserved[:st.empty] {
			t.put(r)
		}
		if prime {
			if st.best == nil {
				continue
			}
			t.put(st.best.off)
		}
		for _, f := range sh.forms[st.swap] {
			if _, _, ok := b.find.find(&t, f, 0, math.Inf(1), math.Ceil(t.h/gridLines)); ok {
				return true
			}
		}
	}
	return false
}

// newStock prepares a bin. Reserved areas of no area reserve nothing; an
// outline that crosses itself is an error.
func newStock(i int, b Bin, grow float64) (stock, error) {
	m := math.Ceil(b.Margin*micron - 1e-6)
	s := stock{
		bin: i, quantity: b.copies(), margin: m, cost: b.cost(), area: b.Size.X * b.Size.Y,
		w: math.Floor(b.Size.X*micron+1e-6) - 2*m,
		h: math.Floor(b.Size.Y*micron+1e-6) - 2*m,
	}
	if math.IsInf(b.Size.X, 1) { // an open strip
		s.w, s.area = maxSpan, math.Inf(1)
	} else if s.h > s.w {
		s.swap, s.w, s.h = 1, s.h, s.w
	}
	for _, r := range b.Reserved {
		o, err := outlineOf(r, 0)
		if err == errNoArea {
			continue
		}
		if err == nil && s.swap == 1 {
			o = o.transposed()
		}
		var f *form
		if err == nil {
			f, err = newForm(o, 0, grow)
		}
		if err != nil {
			return s, fmt.Errorf("nest: bin %q: reserved area: %w", b.ID, err)
		}
		s.reserved = append(s.reserved, placed{f, float64(f.corner.x) - m, float64(f.corner.y) - m})
	}
	s.empty = len(s.reserved)
	if len(b.Best) > 0 {
		o, err := outlineOf(b.Best, 0)
		switch {
		case err == errNoArea:
		case err != nil:
			return s, fmt.Errorf("nest: bin %q: where the figure is best: %w", b.ID, err)
		default:
			for _, l := range o {
				for k := range l {
					l[k] = l[k].sub(point{int64(m), int64(m)})
				}
			}
			if s.swap == 1 {
				o = o.transposed()
			}
			s.best = newBest(o, s.w, s.h, grow)
		}
	}
	return s, nil
}

// thrift exchanges bins for cheaper ones that hold the same parts, last
// opened first.
func (p *problem) thrift(ctx context.Context, best *build) {
	used := make([]int, len(p.stocks))
	trays := p.pinned
	for _, c := range best.choices {
		trays = max(trays, c.tray+1)
	}
	of := make([]int, trays)
	for s := range p.pinned {
		of[s] = s
	}
	for _, c := range best.choices {
		if c.tray >= 0 {
			of[c.tray] = c.stock
		}
	}
	for _, s := range of {
		used[s]++
	}
	cheap := make([]int, len(p.stocks))
	for i := range cheap {
		cheap[i] = i
	}
	slices.SortStableFunc(cheap, func(a, b int) int { return cmp.Compare(p.stocks[a].cost, p.stocks[b].cost) })
	for k := trays - 1; k >= p.pinned; k-- { // bins with pins stay
		for _, s := range cheap {
			st := p.stocks[s]
			if st.cost >= p.stocks[of[k]].cost {
				break
			}
			if st.quantity != Unlimited && used[s] >= st.quantity {
				continue
			}
			st.quantity = 1
			small := *p
			small.stocks, small.pinned = []stock{st}, 0
			b := builder{p: &small, only: best.only, lean: best.lean, keen: best.keen}
			for i, c := range best.choices {
				if c.tray == k {
					b.order = append(b.order, best.order[i])
				}
			}
			b.reset(0)
			if !b.run(ctx) {
				return
			}
			if slices.ContainsFunc(b.choices, func(c choice) bool { return c.tray < 0 }) {
				continue
			}
			j := 0
			for i, c := range best.choices {
				if c.tray == k {
					best.choices[i] = b.choices[j]
					best.choices[i].tray, best.choices[i].stock = k, s
					j++
				}
			}
			used[of[k]]--
			used[s]++
			of[k] = s
			break
		}
	}
}

// report adds a build to the layout.
func (p *problem) report(items []Item, bins []Bin, b *build, l *Layout) (placedArea, binArea, length float64) {
	first := len(l.Bins)
	next := map[int]int{} // by bin: the next copy that may be opened
	open := func(st *stock) *BinUse {
		bin := bins[st.bin]
		u := BinUse{ID: bin.ID, Copy: st.copy, Cost: bin.cost(), Extent: geom.EmptyBox2()}
		if !st.open {
			for slices.ContainsFunc(p.stocks[:p.pinned], func(o stock) bool { return o.bin == st.bin && o.copy == next[st.bin] }) {
				next[st.bin]++
			}
			u.Copy = next[st.bin]
			next[st.bin]++
		}
		l.Cost += u.Cost
		binArea += st.area
		l.Bins = append(l.Bins, u)
		return &l.Bins[len(l.Bins)-1]
	}
	fill := func(u *BinUse, st *stock, items int, area float64, box geom.Box2) {
		u.Items += items
		u.Area += area
		u.Extent = u.Extent.Union(box)
		u.Density = u.Area / st.area
		placedArea += area
		length = max(length, box.Max.X)
	}
	for s := range p.pinned {
		st := &p.stocks[s]
		u := open(st)
		for _, h := range st.held {
			l.Placements = append(l.Placements, Placement{
				Item: items[h.item].ID, Copy: h.copy, Bin: first + s, Turn: h.turn,
				At: geom.V2(float64(h.at.x)/micron, float64(h.at.y)/micron),
			})
			fill(u, st, 1, h.area, h.box)
			if h.figured {
				l.BestArea += h.area
			}
		}
	}
	missing := map[int]int{}
	for i, c := range b.choices {
		pt := p.parts[b.order[i]]
		members := p.pieces[pt.piece].items
		if c.tray < 0 {
			for _, i := range members {
				missing[i]++
			}
			continue
		}
		st := &p.stocks[c.stock]
		if first+c.tray == len(l.Bins) {
			open(st)
		}
		f := p.shapes[pt.shape].forms[st.swap][c.form]
		x, y, w, h, corner := c.x, c.y, f.w, f.h, f.corner
		if st.swap == 1 {
			x, y, w, h, corner = y, x, h, w, point{corner.y, corner.x}
		}
		x, y = x+st.margin, y+st.margin
		origin := point{int64(x), int64(y)}.sub(corner)
		for _, i := range members {
			at := origin.add(items[i].shift(f.turn))
			l.Placements = append(l.Placements, Placement{
				Item: items[i].ID, Copy: pt.copy, Bin: first + c.tray, Turn: f.turn,
				At: geom.V2(float64(at.x)/micron, float64(at.y)/micron),
			})
		}
		fill(&l.Bins[first+c.tray], st, len(members), f.area, geom.EmptyBox2().Add(geom.V2(x/micron, y/micron)).Add(geom.V2((x+w)/micron, (y+h)/micron)))
		if pt.favoured && p.prime(pt, c) {
			l.BestArea += f.area
		}
	}
	// Copies are alike: number those placed, after the pinned ones, so that the
	// last are missing.
	renumber(items, l.Placements)
	for i, it := range items {
		if n := missing[i]; n > 0 {
			u := Unplaced{Item: it.ID, Copy: it.copies() - n, Count: n, Reason: NoRoom, Detail: fmt.Sprintf("no room for %d of %d", n, it.copies())}
			if l.Interrupted {
				u.Reason = Interrupted
				u.Detail = fmt.Sprintf("interrupted before %d of %d were placed", n, it.copies())
			}
			l.Unplaced = append(l.Unplaced, u)
		}
	}
	return placedArea, binArea, length
}

// renumber gives the placements of each item that are not pinned the copies
// after those that are, by bin.
func renumber(items []Item, ps []Placement) {
	slices.SortStableFunc(ps, func(a, b Placement) int { return cmp.Or(cmp.Compare(a.Bin, b.Bin), cmp.Compare(a.Copy, b.Copy)) })
	pins, next := map[string]int{}, map[string]int{}
	for _, it := range items {
		pins[it.ID], next[it.ID] = len(it.Pins), len(it.Pins)
	}
	for i := range ps {
		if p := &ps[i]; p.Copy >= pins[p.Item] {
			p.Copy = next[p.Item]
			next[p.Item]++
		}
	}
}
