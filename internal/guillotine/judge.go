package guillotine

import (
	"errors"
	"fmt"
	"slices"
)

// VerifyLayout says what is wrong with a layout, or nil. It knows nothing of how
// it was made: every sheet is of stock that there is, cut from edge to edge with
// the kerf between, in as many stages as allowed; every copy of every item is
// cut once or told to be left out, lies where it is said to, clear of reserved areas;
// offcuts are whole pieces that are left, clear of reserved areas, and worth what the
// layout says.
func VerifyLayout(l *Layout, items []Item, stock []Stock, o Options) error {
	var errs []error
	bad := func(format string, a ...any) { errs = append(errs, fmt.Errorf("guillotine: "+format, a...)) }
	pieces := make([]Piece, len(items))
	index := map[string]int{}
	for i, it := range items {
		pieces[i] = Piece{Size: it.Size, Value: 1, Turn: it.Turn}
		index[it.ID] = i
	}
	p := problem{o: o}
	if p.o.Power == 0 {
		p.o.Power = 1
	}
	type place struct {
		item, sheet int
		Rect
	}
	cut := map[place]int{}
	seen := map[[2]string]bool{}
	var cost, value float64
	for i, s := range l.Sheets {
		k := slices.IndexFunc(stock, func(t Stock) bool { return t.ID == s.Stock })
		if k < 0 {
			bad("there is no stock %q", s.Stock)
			continue
		}
		st := stock[k]
		name := [2]string{s.Stock, fmt.Sprint(s.Copy)}
		if seen[name] || s.Copy < 0 || st.Quantity != Unlimited && s.Copy >= max(1, st.Quantity) {
			bad("copy %d of stock %q is not to be had", s.Copy, s.Stock)
		}
		seen[name] = true
		if s.Cost != st.Cost {
			bad("stock %q costs %g, not %g", s.Stock, st.Cost, s.Cost)
		}
		cost += st.Cost
		if _, err := Verify(s.Cutting, st.Size, pieces, o.Kerf); err != nil {
			errs = append(errs, fmt.Errorf("sheet %d: %w", i, err))
			continue
		}
		left := map[Rect]bool{}
		leaves(s.Cutting, func(c *Cutting) {
			r := Rect{c.At, c.Size}
			if c.Piece < 0 {
				left[r] = true
				return
			}
			if r.spoilt(st.Reserved) && (items[c.Piece].Held == nil) {
				bad("item %q lies on a reserved area of sheet %d", items[c.Piece].ID, i)
			}
			cut[place{c.Piece, i, r}]++
		})
		for _, r := range s.Offcuts {
			switch {
			case !left[r]:
				bad("an offcut of %d x %d at %d, %d is not left of sheet %d", r.X, r.Y, r.At[0], r.At[1], i)
			case r.spoilt(st.Reserved):
				bad("an offcut of sheet %d lies on a reserved area", i)
			case !p.useful(r.Size):
				bad("an offcut of sheet %d is %d x %d", i, r.X, r.Y)
			}
			delete(left, r)
			value += p.worth(st, r.Size)
		}
		if o.Stages > 0 {
			if err := inStages(s.Cutting, st.Reserved, o); err != nil {
				bad("sheet %d: %v", i, err)
			}
		}
	}
	copies := make([]map[int]bool, len(items))
	for _, q := range l.Placements {
		i, ok := index[q.Item]
		if !ok || q.Copy < 0 || q.Copy >= max(1, items[i].Quantity) || copies[i][q.Copy] {
			bad("copy %d of %q is not asked for", q.Copy, q.Item)
			continue
		}
		if copies[i] == nil {
			copies[i] = map[int]bool{}
		}
		copies[i][q.Copy] = true
		if h := items[i].Held; h != nil && (q.At != h.At || q.Turned || q.Sheet < 0 || q.Sheet >= len(l.Sheets) || l.Sheets[q.Sheet].Stock != h.Stock) {
			bad("%q is not cut where it is held", q.Item)
		}
		if q.Turned != (q.Size != items[i].Size) {
			bad("copy %d of %q is told to be turned: %v", q.Copy, q.Item, q.Turned)
		}
		at := place{i, q.Sheet, q.Rect}
		if cut[at]--; cut[at] < 0 {
			bad("copy %d of %q is not cut where it is said to lie", q.Copy, q.Item)
		}
	}
	silent := make([]int, len(items))
	for at, n := range cut {
		silent[at.item] += max(0, n)
	}
	for i, n := range silent {
		if n > 0 {
			bad("%d of item %q are cut but not told of", n, items[i].ID)
		}
	}
	out := make([]int, len(items))
	for _, u := range l.Unplaced {
		if i, ok := index[u.Item]; ok && u.Count > 0 {
			out[i] += u.Count
		} else {
			bad("%d of %q are told to be left out", u.Count, u.Item)
		}
	}
	for i, it := range items {
		if n := len(copies[i]) + out[i]; n != max(1, it.Quantity) {
			bad("of %q there are %d, not %d", it.ID, n, max(1, it.Quantity))
		}
	}
	near := func(a, b float64) bool { return a-b <= 1e-9*(1+b) && b-a <= 1e-9*(1+b) }
	if !near(cost, l.Cost) || !near(value, l.Value) {
		bad("the sheets cost %g and their offcuts are worth %g, not %g and %g", cost, value, l.Cost, l.Value)
	}
	return errors.Join(errs...)
}

func leaves(c *Cutting, f func(*Cutting)) {
	if c.Cut == Whole {
		f(c)
		return
	}
	leaves(c.Parts[0], f)
	leaves(c.Parts[1], f)
}

// inStages says where there are more stages than asked, or others. What is cut
// to get rid of reserved areas does not count.
func inStages(c *Cutting, outs []Rect, o Options) error {
	if c.Cut == Whole {
		return nil
	}
	if (Rect{c.At, c.Size}).spoilt(outs) {
		return errors.Join(inStages(c.Parts[0], outs, o), inStages(c.Parts[1], outs, o))
	}
	for _, first := range []Direction{Upright, Level} {
		if o.First != other(first) && stages(c, first) <= o.Stages {
			return nil
		}
	}
	return fmt.Errorf("more than %d stages, or others than asked for", o.Stages)
}

// stages counts the stages of a cutting if the first of them is in a direction;
// trimming single pieces is none.
func stages(c *Cutting, d Direction) int {
	switch {
	case c.Cut == Whole || trimming(c):
		return 1
	case c.Cut != d:
		return 1 + stages(c, other(d))
	}
	return max(stages(c.Parts[0], d), stages(c.Parts[1], d))
}

// trimming reports whether no more than one piece comes out.
func trimming(c *Cutting) bool {
	n := 0
	leaves(c, func(c *Cutting) {
		if c.Piece >= 0 {
			n++
		}
	})
	return n <= 1
}
