package nest

import (
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// at is where the pin holds the item's origin.
func (p Pin) at() point {
	return point{int64(math.Round(p.At.X * micron)), int64(math.Round(p.At.Y * micron))}
}

// checkPins returns what is wrong with the pins of a request: they must name a
// bin that there is, hold the item there at an allowed turn, and leave it and
// the others their room.
func checkPins(items []Item, bins []Bin, gap float64) (errs []error) {
	bad := func(format string, a ...any) { errs = append(errs, fmt.Errorf("nest: "+format, a...)) }
	type tray struct{ bin, copy int }
	type pinned struct {
		body
		set  string
		copy int
	}
	on := map[tray][]pinned{}
	for _, it := range items {
		if len(it.Pins) > it.copies() {
			bad("item %q: %d pins for %d copies", it.ID, len(it.Pins), it.copies())
			continue
		}
		for k, p := range it.Pins {
			name := fmt.Sprintf("%s/%d", it.ID, k)
			j := slices.IndexFunc(bins, func(b Bin) bool { return b.ID == p.Bin })
			switch {
			case j < 0:
				bad("%s is pinned to bin %q: there is none", name, p.Bin)
				continue
			case p.Copy < 0 || bins[j].Quantity != Unlimited && p.Copy >= bins[j].copies():
				bad("%s is pinned to copy %d of bin %q: there is none", name, p.Copy, p.Bin)
				continue
			case bins[j].Kind != it.Kind:
				bad("%s of kind %q is pinned to bin %q of kind %q", name, it.Kind, p.Bin, bins[j].Kind)
				continue
			case !it.allowed(p.Turn):
				bad("%s is pinned at a turn of %g rad, which is not allowed", name, p.Turn)
				continue
			case !(math.Abs(p.At.X)*micron <= maxSpan && math.Abs(p.At.Y)*micron <= maxSpan):
				bad("%s is pinned at (%g, %g) mm", name, p.At.X, p.At.Y)
				continue
			}
			b, err := newBody(name, it.Shape, p.Turn, p.at())
			if err != nil {
				bad("%s is pinned: %w", name, err)
				continue
			}
			v := verifier{gap: int64(math.Round(gap * micron))}
			v.within(b, bins[j])
			v.reserved(b, v.areas(bins[j]))
			for _, q := range on[tray{j, p.Copy}] {
				if it.Set == "" || q.set != it.Set || q.copy != k { // those are judged unturned
					v.apart(b, q.body, "overlap", "gap")
				}
			}
			for _, f := range v.found {
				bad("%s is pinned where it %s", name, f.Message)
			}
			on[tray{j, p.Copy}] = append(on[tray{j, p.Copy}], pinned{b, it.Set, k})
		}
	}
	return errs
}

// held is a pinned copy on its bin.
type held struct {
	item, copy int
	turn       float64
	at         point
	area       float64   // mm²
	box        geom.Box2 // mm
	figured    bool      // lies wholly where the figure is best, and should
}

// pinned makes a stock of one of every bin of a kind that has pins, with these as
// obstacles, or is open. They are to be opened first, in the order of bins and
// copies.
func pinned(items []Item, which []int, bins []Bin, kind string, grow float64) ([]stock, error) {
	type tray struct{ bin, copy int }
	on := map[tray][]held{}
	var trays []tray
	for _, i := range which {
		for k, p := range items[i].Pins {
			t := tray{slices.IndexFunc(bins, func(b Bin) bool { return b.ID == p.Bin }), p.Copy}
			if on[t] == nil {
				trays = append(trays, t)
			}
			on[t] = append(on[t], held{item: i, copy: k, turn: p.Turn, at: p.at()})
		}
	}
	for i, b := range bins {
		if t := (tray{i, 0}); b.Open && b.Kind == kind && on[t] == nil {
			trays = append(trays, t)
		}
	}
	slices.SortFunc(trays, func(a, b tray) int {
		if a.bin != b.bin {
			return a.bin - b.bin
		}
		return a.copy - b.copy
	})
	var out []stock
	for _, t := range trays {
		s, err := newStock(t.bin, bins[t.bin], grow)
		if err != nil {
			return nil, err
		}
		s.quantity, s.copy, s.open = 1, t.copy, true
		for _, h := range on[t] {
			it := items[h.item]
			it.Set = "" // the place is the item's own
			f, g, err := newForms(it, h.turn, grow)
			if err != nil {
				return nil, fmt.Errorf("nest: %s/%d is pinned: %w", it.ID, h.copy, err)
			}
			lo := h.at.add(f.corner)
			h.area = f.area
			h.box = geom.EmptyBox2().Add(geom.V2(float64(lo.x)/micron, float64(lo.y)/micron)).
				Add(geom.V2((float64(lo.x)+f.w)/micron, (float64(lo.y)+f.h)/micron))
			x, y := float64(lo.x)-s.margin, float64(lo.y)-s.margin
			if s.swap == 1 {
				f, x, y = g, y, x
			}
			if it.Priority > 0 && s.best != nil {
				bare, bareT, err := newForms(it, h.turn, 0)
				if err != nil {
					return nil, fmt.Errorf("nest: %s/%d is pinned: %w", it.ID, h.copy, err)
				}
				if s.swap == 1 {
					bare = bareT
				}
				h.figured = s.best.holds(bare, x, y)
			}
			s.weight += h.area
			s.reach = max(s.reach, x+f.w)
			s.reserved = append(s.reserved, placed{f, x, y})
			s.held = append(s.held, h)
		}
		out = append(out, s)
	}
	return out, nil
}
