package nest

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
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
		var forms [2][]*form
		var k string
		for _, i := range pc.items {
			f, g, name, e := newForms(items[i], turn, grow)
			if e != nil {
				err = cmp.Or(err, fault(i, e))
				continue next
			}
			forms[0], forms[1] = append(forms[0], f), append(forms[1], g)
			k += name
			if len(pc.items) > 1 {
				at := f.corner.sub(forms[0][0].corner)
				k += fmt.Sprintf("+%d,%d ", at.x, at.y)
			}
		}
		if seen[k] {
			continue
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
func newForms(it Item, turn, grow float64) (f, g *form, key string, err error) {
	o, err := outlineOf(it.Shape, turn)
	if err != nil {
		return nil, nil, "", err
	}
	if f, err = newForm(o, turn, grow); err != nil {
		return nil, nil, "", err
	}
	g = f.transposed(o.transposed())
	d := it.shift(turn)
	f.corner = f.corner.add(d)
	g.corner = g.corner.add(point{d.y, d.x})
	return f, g, o.key(), nil
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
// grain. So does the first item's Offset.Y. The caller gives them a Set.
//
// An item without a proper outline stays where it is; Pack will refuse it.
func Row(gap float64, items ...Item) []Item {
	out := slices.Clone(items)
	grow := 0.0
	if gap > 0 {
		grow = gap*micron/2 + 1
	}
	// Outlines grown by tangents are this much too wide at most (see grown): what
	// is grown by less in the same measure is nowhere too wide.
	inner := math.Max(0, gap*micron/2-1) * math.Cos(math.Pi/8)
	type laid struct {
		body
		wide, slim *form
	}
	var row []laid
	for i := range out {
		it := &out[i]
		o, err := outlineOf(it.Shape, 0)
		if err != nil {
			continue
		}
		slim, err := newForm(o, 0, inner)
		if err != nil {
			continue
		}
		wide, err := newForm(o, 0, grow)
		if err != nil {
			continue
		}
		at := point{int64(math.Round(it.Offset.X * micron)), int64(math.Round(it.Offset.Y * micron))}
		place := func(y int64) body {
			b := body{loops: make(outline, len(o))}
			for k, l := range o {
				for _, p := range l {
					b.loops[k] = append(b.loops[k], p.add(point{at.x, y}))
				}
			}
			b.lo, b.hi = b.loops.bounds()
			return b
		}
		// From above, the item sinks until one of those before it bars the way:
		// no lower than enough, no higher than needed. Between the two the exact
		// test decides.
		low, high, met := math.Inf(-1), math.Inf(-1), false
		for _, r := range row {
			top := func(f, g *form) float64 {
				y := math.Inf(-1)
				dx := float64(o.left()+at.x) - float64(r.lo.x)
				for _, s := range blocked(f.cols, g.cols, dx, nil) {
					y = max(y, math.Ceil(s.hi-hair)+float64(r.lo.y)-float64(o.bottom()))
				}
				return y
			}
			high = max(high, top(wide, r.wide))
			low = max(low, top(slim, r.slim))
			met = met || !math.IsInf(high, -1)
		}
		if met {
			clear := func(y int64) bool {
				b := place(y)
				v := verifier{gap: int64(math.Round(gap * micron))}
				for _, r := range row {
					v.apart(r.body, b, "overlap", "gap")
				}
				return len(v.found) == 0
			}
			y := int64(high)
			below := y - int64(gap*micron) - 4
			if !math.IsInf(low, -1) {
				below = int64(low) - 1
			}
			for y-below > 1 {
				m := below + (y-below)/2
				if clear(m) {
					y = m
				} else {
					below = m
				}
			}
			at.y = y
		}
		it.Offset = geom.V2(it.Offset.X, float64(at.y)/micron)
		row = append(row, laid{place(at.y), wide, slim})
	}
	return out
}

func (o outline) left() int64   { lo, _ := o.bounds(); return lo.x }
func (o outline) bottom() int64 { lo, _ := o.bounds(); return lo.y }
