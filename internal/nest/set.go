package nest

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// piece is what is placed as one: an item, or all items of a set.
type piece struct {
	items    []int // indices into the request, in its order
	priority int   // the highest among them
	pins     int   // how many copies are pinned
}

// pieces joins those of the items that are of one set, at the place of the
// first of them.
func pieces(items []Item, which []int) []piece {
	var out []piece
	of := map[string]int{}
	for _, i := range which {
		it := items[i]
		k, ok := of[it.Set]
		if it.Set == "" || !ok {
			k = len(out)
			of[it.Set] = k
			out = append(out, piece{priority: it.Priority, pins: len(it.Pins)})
		}
		out[k].items = append(out[k].items, i)
		out[k].priority = max(out[k].priority, it.Priority)
	}
	return out
}

// shift is where an item's origin lies from that of its set, in whole
// micrometres, when both are turned. All that is rigid about a set is this: for
// every item of a copy, At less its shift is the same point, and so is Turn.
func (it Item) shift(turn float64) point {
	if it.Set == "" {
		return point{}
	}
	v := it.Offset.Rotate(turn).Scale(micron)
	return point{int64(math.Round(v.X)), int64(math.Round(v.Y))}
}

// allowed reports whether the item may be turned so: by one of its turns, or
// within the band round one. A turn and the same plus a whole one differ.
func (it Item) allowed(turn float64) bool {
	const rounding = 1e-12 // rad: of a sum of angles below some turns
	for _, t := range it.turns() {
		if turn == t || it.Band > 0 && math.Abs(turn-t) <= it.Band+rounding {
			return true
		}
	}
	return false
}

// tried are the turns at which an item is placed: first those given, then half
// the band and the whole of it to both sides of each. main is the number of
// those given.
func (it Item) tried() (turns []float64, main int) {
	turns = slices.Clone(it.turns())
	main = len(turns)
	if it.Band > 0 {
		for _, share := range []float64{0.5, 1} {
			for _, t := range turns[:main] {
				turns = append(turns, t-share*it.Band, t+share*it.Band)
			}
		}
	}
	return turns, main
}

// newShape prepares a piece at its turns. The key names what matters of it.
// The error names the item at fault if there are several.
func newShape(items []Item, pc piece, grow float64) (sh shape, key string, err error) {
	fault := func(i int, e error) error {
		if len(pc.items) > 1 {
			return fmt.Errorf("item %q of the set: %w", items[i].ID, e)
		}
		return e
	}
	for _, i := range pc.items {
		// What has no area as given may seem to have some once it is turned and rounded.
		if _, e := outlineOf(items[i].Shape, 0); e == errNoArea {
			return sh, "", fault(i, e)
		}
	}
	seen := map[string]bool{}
	turns, main := items[pc.items[0]].tried()
next:
	for n, turn := range turns {
		var k string
		var first point
		for n, i := range pc.items {
			o, e := outlineOf(items[i].Shape, turn)
			if e != nil {
				err = cmp.Or(err, fault(i, e))
				continue next
			}
			k += o.key()
			if len(pc.items) > 1 {
				lo, _ := o.bounds()
				lo = lo.add(items[i].shift(turn))
				if n == 0 {
					first = lo
				}
				lo = lo.sub(first)
				k += fmt.Sprintf("+%d,%d ", lo.x, lo.y)
			}
		}
		if seen[k] {
			continue
		}
		var forms [2][]*form
		for _, i := range pc.items {
			f, g, e := newForms(items[i], turn, grow)
			if e != nil {
				err = cmp.Or(err, fault(i, e))
				continue next
			}
			forms[0], forms[1] = append(forms[0], f), append(forms[1], g)
		}
		f, g := fused(forms[0]), fused(forms[1])
		if max(f.corner.x, -f.corner.x, f.corner.y, -f.corner.y) > maxSpan/2 || max(f.w, f.h) > maxSpan/2 {
			err = cmp.Or(err, errFinite)
			continue
		}
		seen[k] = true
		sh.forms[0], sh.forms[1] = append(sh.forms[0], f), append(sh.forms[1], g)
		if n < main {
			sh.main = len(sh.forms[0])
		}
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
	return sh, fmt.Sprint(sh.main, key), nil
}

// newForms are the forms of an item at a turn, as given and with x and y
// exchanged, their corners counted from the origin of its set.
func newForms(it Item, turn, grow float64) (f, g *form, err error) {
	o, err := outlineOf(it.Shape, turn)
	if err != nil {
		return nil, nil, err
	}
	if f, err = newForm(o, turn, grow); err != nil {
		return nil, nil, err
	}
	g = f.transposed(o.transposed())
	d := it.shift(turn)
	f.corner = f.corner.add(d)
	g.corner = g.corner.add(point{d.y, d.x})
	return f, g, nil
}

// fused is one form of several, each in its place. Its trapezoids are theirs:
// where these overlap, by no more than rounding once they are turned, nothing is lost.
func fused(forms []*form) *form {
	if len(forms) == 1 {
		return forms[0]
	}
	lo, hi := forms[0].corner, forms[0].corner
	for _, f := range forms {
		lo = point{min(lo.x, f.corner.x), min(lo.y, f.corner.y)}
		hi = point{max(hi.x, f.corner.x+int64(f.w)), max(hi.y, f.corner.y+int64(f.h))}
	}
	u := &form{turn: forms[0].turn, corner: lo, w: float64(hi.x - lo.x), h: float64(hi.y - lo.y), grow: forms[0].grow}
	for _, f := range forms {
		dx, dy := float64(f.corner.x-lo.x), float64(f.corner.y-lo.y)
		u.area += f.area
		u.cols, u.rows = moved(u.cols, f.cols, dx, dy), moved(u.rows, f.rows, dy, dx)
		for _, s := range f.stops {
			u.stops = append(u.stops, s+dx)
		}
	}
	u.heft = math.Sqrt(math.Sqrt(u.area))
	byLeft := func(a, b trap) int { return cmp.Compare(a.x0, b.x0) }
	slices.SortStableFunc(u.cols, byLeft)
	slices.SortStableFunc(u.rows, byLeft)
	u.heart = hearts(u.cols)
	slices.Sort(u.stops)
	u.stops = slices.Compact(u.stops)
	return u
}

// moved appends the trapezoids, moved, to the others.
func moved(to, ts []trap, dx, dy float64) []trap {
	for _, t := range ts {
		t.x0, t.x1, t.b, t.t = t.x0+dx, t.x1+dx, t.b+dy, t.t+dy
		to = append(to, t)
	}
	return to
}

// checkSets returns what is wrong with the sets of a request: items that do
// not agree, or that lie too close to one another before the set is turned.
// Outlines that are no outlines are left to Pack.
func checkSets(items []Item, gap float64) (errs []error) {
	bad := func(format string, a ...any) { errs = append(errs, fmt.Errorf("nest: "+format, a...)) }
	first := map[string]int{}
	bodies := map[string][]body{}
	for i, it := range items {
		if it.Set == "" {
			continue
		}
		if !(math.Abs(it.Offset.X)*micron <= maxSpan/2 && math.Abs(it.Offset.Y)*micron <= maxSpan/2) {
			bad("item %q: offset (%g, %g) mm", it.ID, it.Offset.X, it.Offset.Y)
			continue
		}
		j, ok := first[it.Set]
		if !ok {
			j, first[it.Set] = i, i
		}
		o := items[j]
		differ := func(what string) { bad("items %q and %q of set %q differ in %s", o.ID, it.ID, it.Set, what) }
		if !slices.Equal(it.turns(), o.turns()) {
			differ("their turns")
		}
		if it.Band != o.Band {
			differ("the band they may be turned in")
		}
		if it.copies() != o.copies() {
			differ("quantity")
		}
		if it.Kind != o.Kind {
			differ("kind")
		}
		if len(it.Pins) != len(o.Pins) {
			differ("the number of pins")
		} else {
			for k, p := range it.Pins {
				q := o.Pins[k]
				if p.Bin != q.Bin || p.Copy != q.Copy || p.Turn != q.Turn || p.at().sub(it.shift(p.Turn)) != q.at().sub(o.shift(q.Turn)) {
					bad("items %q and %q of set %q: copy %d is pinned otherwise than the offsets say", o.ID, it.ID, it.Set, k)
				}
			}
		}
		b, err := newBody(it.ID, it.Shape, 0, it.shift(0))
		if err != nil {
			continue
		}
		for _, c := range bodies[it.Set] {
			v := verifier{gap: int64(math.Round(gap * micron))}
			if v.apart(c, b, "overlap", "gap"); len(v.found) > 0 {
				bad("set %q: item %q: %s", it.Set, c.name, v.found[0].Message)
			}
		}
		bodies[it.Set] = append(bodies[it.Set], b)
	}
	return errs
}

// Row sets the Offset of items so that they lie side by side across the grain,
// each beyond those before it in y and as near to them as the gap, mm, allows:
// to the micrometre. Offset.X stays: it is how far each is shifted along the
// grain. Offset.Y stays of the first item, of items that pass by all before
// them, and of those without a proper outline, which Pack will refuse. The
// caller gives them a Set.
func Row(gap float64, items ...Item) []Item {
	out := slices.Clone(items)
	v := verifier{gap: int64(math.Round(gap * micron))}
	var row []body
	for i := range out {
		it := &out[i]
		b, err := newBody(it.ID, it.Shape, 0, point{int64(math.Round(it.Offset.X * micron)), int64(math.Round(it.Offset.Y * micron))})
		if err != nil {
			continue
		}
		// From above, it sinks until one of those before it bars the way. The last
		// micrometre is found by trial.
		top := math.Inf(-1)
		for _, r := range row {
			top = max(top, sunk(r.loops, b.loops, float64(v.gap)))
		}
		if !math.IsInf(top, -1) {
			clear := func() bool {
				v.found = v.found[:0]
				for _, r := range row {
					v.apart(r, b, "overlap", "gap")
				}
				return len(v.found) == 0
			}
			b.lift(int64(math.Ceil(top)) - 2)
			for !clear() {
				b.lift(1)
			}
		}
		was, _ := outlineOf(it.Shape, 0)
		lo, _ := was.bounds()
		it.Offset.Y = float64(b.lo.y-lo.y) / micron
		row = append(row, b)
	}
	return out
}

func (b *body) lift(dy int64) {
	for _, l := range b.loops {
		for i := range l {
			l[i].y += dy
		}
	}
	b.lo.y += dy
	b.hi.y += dy
}

// sunk is how far b must be lifted, at least, to be no nearer to a than g
// there and everywhere above; minus infinity if it never is.
func sunk(a, b outline, g float64) float64 {
	top := math.Inf(-1)
	if g == 0 {
		la, _ := a.bounds()
		lb, _ := b.bounds()
		for _, s := range blocked(slabs(b.segs(lb), false), slabs(a.segs(la), false), float64(lb.x-la.x), nil) {
			top = max(top, s.hi+float64(la.y-lb.y))
		}
		return top
	}
	// Two regions at the distance g have a vertex and an edge there. The vertex
	// then lies on the upper side of the edge's band of width 2 g, which ends in
	// half circles, or the edge of b on the upper side of a vertex of a.
	band := func(p, r, s point, up float64) { // up is -1 when the edge is b's
		for _, e := range []point{r, s} {
			if dx := float64(p.x - e.x); math.Abs(dx) < g {
				top = max(top, up*float64(e.y-p.y)+math.Sqrt(g*g-dx*dx))
			}
		}
		if r.x == s.x {
			return
		}
		if r.x > s.x {
			r, s = s, r
		}
		dx, dy := float64(s.x-r.x), float64(s.y-r.y)
		l := math.Hypot(dx, dy)
		// the side of the band towards b, from r to s
		if x := float64(p.x-r.x) + up*g*dy/l; x > 0 && x < dx {
			top = max(top, up*(float64(r.y-p.y)+float64(p.x-r.x)*dy/dx)+g*l/dx)
		}
	}
	for _, la := range a {
		for i, r := range la {
			for _, lb := range b {
				for j, p := range lb {
					band(p, r, la[(i+1)%len(la)], 1)
					band(r, p, lb[(j+1)%len(lb)], -1)
				}
			}
		}
	}
	return top
}
