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
// layout can be verified. Items that do not fit the height are left out.
func Strip(ctx context.Context, items []Item, height float64, o Options) (*Layout, Bin, error) {
	bin := Bin{ID: "strip", Size: geom.V2(1, height), Cost: 1}
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
	done := 0
	for k, kind := range kinds {
		p := &problem{}
		if err := p.take(items, byKind[kind], bins, kind, grow, l); err != nil {
			return nil, 0, err
		}
		if len(p.parts) == 0 {
			continue
		}
		share := total * len(p.parts) / max(copies, 1)
		end := done + share
		if k == len(kinds)-1 {
			end = total
		}
		tick := func(work int, m merit) bool {
			done = min(done+work, end)
			if o.Progress != nil {
				o.Progress(done, total, m.density)
			}
			return done < end && (o.Spent == nil || o.Spent() < laying)
		}
		best, whole := p.search(ctx, o, uint64(k), tick)
		if !whole {
			l.Interrupted = true
		}
		if (o.Lines > 0 || o.Spent != nil) && whole && math.IsInf(p.stocks[0].area, 1) && len(p.parts) <= mostApart {
			p.separate(ctx, &best, o)
			l.Interrupted = l.Interrupted || ctx.Err() != nil
		}
		p.thrift(ctx, &best)
		pa, ba, ln := p.report(items, bins, &best, l)
		placedArea += pa
		binArea += ba
		length = max(length, ln)
	}
	if binArea > 0 {
		l.Density = placedArea / binArea
	}
	rank := map[string]int{}
	for i, it := range items {
		rank[it.ID] = i
	}
	slices.SortStableFunc(l.Placements, func(a, b Placement) int {
		return cmp.Or(cmp.Compare(a.Bin, b.Bin), cmp.Compare(rank[a.Item], rank[b.Item]), cmp.Compare(a.Copy, b.Copy))
	})
	slices.SortStableFunc(l.Unplaced, func(a, b Unplaced) int { return cmp.Compare(rank[a.Item], rank[b.Item]) })
	return l, length, nil
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
	leave := func(it Item, r Reason, format string, a ...any) {
		l.Unplaced = append(l.Unplaced, Unplaced{Item: it.ID, Count: it.copies(), Reason: r, Detail: fmt.Sprintf(format, a...)})
	}
	for i, b := range bins {
		if b.Kind != kind {
			continue
		}
		s, err := newStock(i, b, grow)
		if err != nil {
			return err
		}
		p.stocks = append(p.stocks, s)
	}
	slices.SortStableFunc(p.stocks, func(a, b stock) int {
		return cmp.Or(cmp.Compare(a.cost/a.area, b.cost/b.area), -cmp.Compare(a.area, b.area))
	})

	var priorities []int
	byKey := map[string]int{}
	try := builder{p: p, used: make([]int, len(p.stocks))}
	for _, i := range which {
		it := items[i]
		if len(p.stocks) == 0 {
			leave(it, NoBin, "there is no bin of kind %q", kind)
			continue
		}
		sh, key, err := newShape(it, grow)
		if err != nil {
			leave(it, BadShape, "%v", err)
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
		if !try.fitsEmpty(at) {
			f := p.shapes[at].forms[0][0]
			leave(it, TooLarge, "%.1f x %.1f mm fits no empty bin at any allowed turn", f.w/micron, f.h/micron)
			continue
		}
		for c := range it.copies() {
			p.parts = append(p.parts, part{item: i, copy: c, shape: at, class: it.Priority})
		}
		priorities = append(priorities, it.Priority)
	}
	slices.Sort(priorities)
	priorities = slices.Compact(priorities)
	slices.Reverse(priorities)
	p.classes = len(priorities)
	for i := range p.parts {
		p.parts[i].class = slices.Index(priorities, p.parts[i].class)
	}
	return nil
}

// fitsEmpty reports whether the shape has a place in some empty bin.
func (b *builder) fitsEmpty(shape int) bool {
	sh := &b.p.shapes[shape]
	for s := range b.p.stocks {
		b.trays = b.trays[:0]
		st := &b.p.stocks[s]
		t := tray{w: st.w, h: st.h}
		for _, r := range st.reserved {
			t.put(r)
		}
		for _, f := range sh.forms[st.swap] {
			if _, _, ok := b.find.find(&t, f, 0, math.Inf(1), math.Ceil(t.h/gridLines)); ok {
				return true
			}
		}
	}
	return false
}

// newShape prepares an item at its turns. The key names what matters of it.
func newShape(it Item, grow float64) (sh shape, key string, err error) {
	// What has no area as given may seem to have some once it is turned and rounded.
	if _, e := outlineOf(it.Shape, 0); e == errNoArea {
		return sh, "", e
	}
	seen := map[string]bool{}
	for _, turn := range it.turns() {
		o, e := outlineOf(it.Shape, turn)
		if e != nil {
			err = cmp.Or(err, e)
			continue
		}
		k := o.key()
		if seen[k] {
			continue
		}
		f, e := newForm(o, turn, grow)
		if e != nil {
			err = cmp.Or(err, e)
			continue
		}
		g := f.transposed(o.transposed())
		seen[k] = true
		sh.forms[0], sh.forms[1] = append(sh.forms[0], f), append(sh.forms[1], g)
		key += k + fmt.Sprintf("@%d,%d,%g|", f.corner.x, f.corner.y, turn)
		sh.area = f.area
		sh.long = max(sh.long, f.w, f.h)
		if s := min(f.w, f.h); sh.short == 0 || s < sh.short {
			sh.short = s
		}
	}
	if len(sh.forms[0]) == 0 {
		return sh, "", err
	}
	return sh, key, nil
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
	return s, nil
}

// thrift exchanges bins for cheaper ones that hold the same parts, last
// opened first.
func (p *problem) thrift(ctx context.Context, best *build) {
	used := make([]int, len(p.stocks))
	trays := 0
	for _, c := range best.choices {
		trays = max(trays, c.tray+1)
	}
	of := make([]int, trays)
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
	for k := trays - 1; k >= 0; k-- {
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
			small.stocks = []stock{st}
			b := builder{p: &small, only: best.only, lean: best.lean}
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
	copies := map[int]int{}
	missing := map[int]int{}
	for i, c := range b.choices {
		pt := p.parts[b.order[i]]
		if c.tray < 0 {
			missing[pt.item]++
			continue
		}
		for first+c.tray >= len(l.Bins) {
			l.Bins = append(l.Bins, BinUse{Extent: geom.EmptyBox2()})
		}
		u := &l.Bins[first+c.tray]
		st := &p.stocks[c.stock]
		if u.Items == 0 {
			bin := bins[st.bin]
			u.ID, u.Copy, u.Cost = bin.ID, copies[st.bin], bin.cost()
			copies[st.bin]++
			l.Cost += u.Cost
			binArea += st.area
		}
		f := p.shapes[pt.shape].forms[st.swap][c.form]
		x, y, w, h, corner := c.x, c.y, f.w, f.h, f.corner
		if st.swap == 1 {
			x, y, w, h, corner = y, x, h, w, point{corner.y, corner.x}
		}
		x, y = x+st.margin, y+st.margin
		l.Placements = append(l.Placements, Placement{
			Item: items[pt.item].ID, Copy: pt.copy, Bin: first + c.tray, Turn: f.turn,
			At: geom.V2((x-float64(corner.x))/micron, (y-float64(corner.y))/micron),
		})
		u.Items++
		u.Area += f.area
		u.Extent = u.Extent.Add(geom.V2(x/micron, y/micron)).Add(geom.V2((x+w)/micron, (y+h)/micron))
		u.Density = u.Area / st.area
		placedArea += f.area
		length = max(length, (x+w)/micron)
	}
	// Copies are alike: number those placed from 0 so that the last are missing.
	renumber(l.Placements)
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

// renumber gives the placements of each item the copies 0, 1, 2 … by bin.
func renumber(ps []Placement) {
	slices.SortStableFunc(ps, func(a, b Placement) int { return cmp.Or(cmp.Compare(a.Bin, b.Bin), cmp.Compare(a.Copy, b.Copy)) })
	next := map[string]int{}
	for i := range ps {
		ps[i].Copy = next[ps[i].Item]
		next[ps[i].Item]++
	}
}
