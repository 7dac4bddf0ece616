package sheet

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/guillotine"
	"groundwork/internal/nest"
)

// An offcut that lies in the shop is mostly smaller than the laser bed, so that
// blanks of the bed's size do not fit it, and trimmed ones only by luck. So
// some layouts are made with the offcuts themselves as blanks, or as many parts
// of them as the bed asks for: patterns are laid round their knots, and what
// they do not take goes on new sheets like anything else.

// cell is an offcut, or the part of one that goes on the laser bed.
type cell struct {
	kind
	stock    string          // ID: it is one piece of veneer
	rect     guillotine.Rect // on that
	reserved []geom.Polygons // on it, grain along X
}

// mostCells is how many parts of offcuts a layout may use, the largest. Each is a
// bin more in which places are looked for.
const mostCells = 24

// onOffcuts is the lot with the pieces in the shop told apart, as many as can be
// cells, and ways to part them: with the grain along the bed's X as far as that
// goes, and with it along the bed's Y. There are none if the shop has no offcut
// that holds a pattern.
func (l *lot) onOffcuts() (*lot, [][]cell) {
	if len(l.v.Offcuts) == 0 || l.settled() {
		return l, nil
	}
	apart := *l
	apart.stock = nil
	var pieces []numbered
	for _, s := range l.stock {
		lies := s.kept != "" && s.Cost < l.v.Sheet.X*l.v.Sheet.Y // not as dear as a sheet
		if s.known || !lies {
			apart.stock = append(apart.stock, s)
			if lies {
				pieces = append(pieces, s)
			}
			continue
		}
		n := 0
		for ; n < s.Quantity && n < mostCells; n++ {
			one := s
			one.ID, one.Quantity, one.first, one.known = stockID(s.kept, s.first+n), 1, s.first+n, true
			apart.stock, pieces = append(apart.stock, one), append(pieces, one)
		}
		if s.Quantity > n {
			s.Quantity, s.first = s.Quantity-n, s.first+n
			apart.stock = append(apart.stock, s)
		}
	}
	var ways [][]cell
	for _, turned := range []bool{false, true} {
		var cells []cell
		for _, s := range pieces {
			for _, c := range l.parts(s, turned) {
				if l.useful(c) {
					cells = append(cells, c)
				}
			}
		}
		slices.SortStableFunc(cells, func(a, b cell) int { return -cmp.Compare(a.size.X*a.size.Y, b.size.X*b.size.Y) })
		if cells = cells[:min(len(cells), mostCells)]; len(cells) > 0 {
			ways = append(ways, cells)
		}
	}
	return &apart, ways
}

// useful reports whether some pattern fits a cell, if not for its knots.
func (l *lot) useful(c cell) bool {
	room := c.size.Sub(geom.V2(2*l.laser.Margin, 2*l.laser.Margin))
	for i, p := range l.patterns {
		if p.Veneer != l.v.ID || l.pinned[i] || p.KnifeCut {
			continue
		}
		if size := aligned(p).Bounds().Size(); size.X <= room.X && size.Y <= room.Y {
			return true
		}
	}
	return false
}

// withoutOffcuts is the lot with no more of the offcuts than what the marks cut
// from them.
func (l *lot) withoutOffcuts() *lot {
	bare := *l
	bare.stock = slices.DeleteFunc(slices.Clone(l.stock), func(s numbered) bool {
		return s.kept != "" && !slices.ContainsFunc(l.keeps, func(k *kept) bool { return k.fixed != nil && k.fixed.stock == s.ID })
	})
	return &bare
}

// parts cuts a piece up into cells that the bed holds, or what the marks leave of
// it: from edge to edge across it, then along what that leaves, into as few as it
// takes.
func (l *lot) parts(s numbered, turned bool) (out []cell) {
	kerf := up(l.v.BlankKerf)
	var held []guillotine.Rect
	for _, k := range l.keeps {
		if k.fixed != nil && k.fixed.stock == s.ID {
			held = append(held, guillotine.Rect{At: k.fixed.at, Size: guillotine.Size{X: up(k.size.Y), Y: up(k.size.X)}})
		}
	}
	first := guillotine.Level
	if turned {
		first = guillotine.Upright
	}
	for _, whole := range guillotine.Beside(s.Size, held, kerf, first) {
		turned := turned
		bed := guillotine.Size{X: down(l.laser.Bed.Y), Y: down(l.laser.Bed.X)} // on the sheet, grain along the bed's X
		other := guillotine.Size{X: bed.Y, Y: bed.X}
		holds := func(bed guillotine.Size) bool { return whole.X <= bed.X && whole.Y <= bed.Y }
		if turned {
			bed, other = other, bed
		}
		if !holds(bed) && holds(other) {
			bed, turned = other, !turned
		}
		for y := int64(0); y < whole.Y; y += bed.Y + kerf {
			for x := int64(0); x < whole.X; x += bed.X + kerf {
				r := guillotine.Rect{At: [2]int64{whole.At[0] + x, whole.At[1] + y}, Size: guillotine.Size{X: min(bed.X, whole.X-x), Y: min(bed.Y, whole.Y-y)}}
				out = append(out, cellOf(s, r, turned))
			}
		}
	}
	return out
}

// cellOf is a part of a piece.
func cellOf(s numbered, r guillotine.Rect, turned bool) cell {
	c := cell{stock: s.ID, rect: r, kind: kind{name: "offcut", turned: turned, size: geom.V2(float64(r.Y)*micron, float64(r.X)*micron)}}
	c.cost = little * c.size.X * c.size.Y // whatever its price: how much of that is worth it is judged at the end
	for _, k := range s.Reserved {
		if box, ok := lying(k, r); ok {
			c.reserved = append(c.reserved, geom.Polygons{rectangle(box)})
		}
	}
	return c
}

// lying is a reserved area as far as it lies on a blank that is cut from a
// rectangle of its sheet, grain along X; false if it does not.
func lying(k, at guillotine.Rect) (geom.Box2, bool) {
	size := geom.V2(float64(at.Y)*micron, float64(at.X)*micron)
	box := onBlank(geom.Box2{Min: corner(k), Max: far(k)}, corner(at), size)
	box.Min, box.Max = geom.V2(max(0, box.Min.X), max(0, box.Min.Y)), geom.V2(min(size.X, box.Max.X), min(size.Y, box.Max.Y))
	// Of less than two micrometres only the rounding of their edges meets.
	return box, box.Max.X-box.Min.X >= 2*micron && box.Max.Y-box.Min.Y >= 2*micron
}

// bin is the cell as a bin for patterns.
func (c cell) bin(id string, margin float64) nest.Bin {
	return nest.Bin{ID: id, Size: c.size, Margin: margin, Cost: c.cost, Reserved: c.reserved}
}

// trimOn cuts a blank that is laid on a cell down to what it carries and holds it
// there. What would be left beside it and is not worth keeping stays on it, since
// it lies at the offcut's edge or at the next cell's.
func (b *blankPlan) trimOn(c *cell, l *lot) {
	box := geom.EmptyBox2()
	for _, it := range b.items {
		box = box.Union(b.outline(l.patterns, it).Bounds())
	}
	box = box.Grow(l.laser.Margin)
	kerf := l.v.BlankKerf
	// Along the blank's X and Y, in whole micrometres from its lower left corner.
	side := func(lo, hi, all, least float64) (from, to int64) {
		whole := down(all)
		if from = down(lo); float64(from)*micron < least+kerf {
			from = 0
		}
		to = from + up(math.Ceil((hi-float64(from)*micron)/l.o.RoundUp-1e-9)*l.o.RoundUp)
		if whole-to <= up(kerf) { // no cut comes between
			to = whole
		}
		return from, to
	}
	x0, x1 := side(box.Min.X, box.Max.X, c.size.X, l.v.MinOffcut.Y)
	y0, y1 := side(box.Min.Y, box.Max.Y, c.size.Y, l.v.MinOffcut.X)
	shift := geom.V2(-float64(x0)*micron, -float64(y0)*micron)
	for i := range b.items {
		b.items[i].at = b.items[i].at.Add(shift)
	}
	b.size = geom.V2(float64(x1-x0)*micron, float64(y1-y0)*micron)
	// The blank's X is the sheet's Y, and its Y runs against the sheet's X.
	at := [2]int64{c.rect.At[0] + c.rect.X - y1, c.rect.At[1] + x0}
	b.fixed = &place{c.stock, at}
}

// loosened are the plans with those on cells held only where there is a reserved
// area under them: where the others are best cut from is open. It returns nil if
// that frees none.
func (l *lot) loosened(plans []*blankPlan) []*blankPlan {
	out, free := slices.Clone(plans), false
	for i, b := range plans {
		if b.cell == nil {
			continue
		}
		s := l.stock[slices.IndexFunc(l.stock, func(s numbered) bool { return s.ID == b.fixed.stock })]
		at := guillotine.Rect{At: b.fixed.at, Size: guillotine.Size{X: up(b.size.Y), Y: up(b.size.X)}}
		if !slices.ContainsFunc(s.Reserved, func(k guillotine.Rect) bool { _, ok := lying(k, at); return ok }) {
			loose := *b
			loose.fixed, free = nil, true
			out[i] = &loose
		}
	}
	if !free {
		return nil
	}
	return out
}

// outlay is what has to be laid out for a cutting, in sheets: those to be bought,
// and offcuts that have a price together as far as they come to one.
func (c *cutting) outlay(l *lot) int {
	if len(l.v.Offcuts) == 0 {
		return 0
	}
	sum := 0.0
	for _, s := range c.Sheets {
		kept := c.stock[s.Stock].kept
		if kept == "" {
			sum++
			continue
		}
		for _, q := range l.v.Offcuts {
			if q.ID == kept && l.v.Price > 0 {
				sum += q.Price / l.v.Price
			}
		}
	}
	return int(math.Floor(sum + 1e-9))
}
