package sheet

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"

	"groundwork/internal/geom"
	"groundwork/internal/guillotine"
	"groundwork/internal/nest"
)

// over cuts blanks over the reserved areas of marked sheets where their patterns
// keep clear of them: as they lie, or laid anew on the same blank. What does not
// is cut clear of the areas in its way, and all is tried again. Blanks of marked
// sheets are then held where they are, and what is left is cut round the areas.
// It returns nil if there is nothing to be gained, or no way: a layout that is
// kept whole stays as it is.
func (l *lot) over(ctx context.Context, plans []*blankPlan) (*cutting, error) {
	if l.settled() || !l.marked {
		return nil, nil
	}
	avoid := map[string][]guillotine.Rect{}
	const most = 8 // times that what is in the way grows
	for range most {
		from := slices.Clone(l.stock)
		for i := range from {
			if from[i].known {
				from[i].Reserved = avoid[from[i].ID]
			}
		}
		c, err := l.cutSheets(ctx, plans, from)
		if err != nil {
			return nil, err
		}
		var held []*blankPlan
		var blocked map[string][]guillotine.Rect
		for m := range mirrors {
			next, under, err := l.clear(ctx, plans, c, m)
			if err != nil {
				return nil, err
			}
			if len(under) == 0 {
				held = next
				break
			}
			if m == 0 {
				blocked = under
			}
		}
		if held != nil {
			if !l.cuttable(held) {
				return nil, nil
			}
			return l.cutSheets(ctx, held, l.stock)
		}
		for id, under := range blocked {
			for _, k := range under {
				if !slices.Contains(avoid[id], k) {
					avoid[id] = append(avoid[id], k)
				}
			}
		}
	}
	return nil, nil
}

// mirrors are the ways round in which the cuts of a sheet can be made: as they
// are, from its other edge, from its other end, or both. Each brings other blanks
// over a reserved area.
const mirrors = 4

// clear holds the blanks of marked sheets where a cutting has them, one way
// round, with their patterns clear of the reserved areas. It also returns areas,
// by stock, that patterns cannot keep clear of: all of them for the first way.
func (l *lot) clear(ctx context.Context, plans []*blankPlan, c *cutting, way int) (next []*blankPlan, blocked map[string][]guillotine.Rect, err error) {
	next, blocked = slices.Clone(plans), map[string][]guillotine.Rect{}
	for _, p := range c.Placements {
		i, _ := strconv.Atoi(p.Item)
		id := c.Sheets[p.Sheet].Stock
		s := l.stock[slices.IndexFunc(l.stock, func(s numbered) bool { return s.ID == id })]
		if !s.known || plans[i].fixed != nil {
			continue
		}
		at := p.Rect
		if !slices.ContainsFunc(plans, func(b *blankPlan) bool { return b.fixed != nil && b.fixed.stock == id }) {
			if way&1 != 0 {
				at.At[0] = s.Size.X - at.At[0] - at.X
			}
			if way&2 != 0 {
				at.At[1] = s.Size.Y - at.At[1] - at.Y
			}
		}
		var under []guillotine.Rect
		for _, k := range s.Reserved {
			if (geom.Box2{Min: corner(k), Max: far(k)}).Overlaps(geom.Box2{Min: corner(at), Max: far(at)}) {
				under = append(under, k)
			}
		}
		b, err := l.around(ctx, plans[i], at, under)
		if err != nil {
			return nil, nil, err
		}
		if b == nil {
			blocked[id] = append(blocked[id], under...)
			if way > 0 {
				return next, blocked, nil // it is given up
			}
			continue
		}
		held := *b
		held.fixed = &place{id, at.At}
		next[i] = &held
	}
	return next, blocked, nil
}

// cuttable reports whether what is held can be cut out where it lies. It lay so
// on a sheet that was cut, so that it always should.
func (l *lot) cuttable(plans []*blankPlan) bool {
	for _, s := range l.stock {
		var rects []guillotine.Rect
		for _, b := range plans {
			if b.fixed != nil && b.fixed.stock == s.ID {
				rects = append(rects, guillotine.Rect{At: b.fixed.at, Size: guillotine.Size{X: up(b.size.Y), Y: up(b.size.X)}})
			}
		}
		if !guillotine.Cuttable(s.Size, rects, up(l.v.BlankKerf)) {
			return false
		}
	}
	return true
}

// corner and far are a rectangle's lower left and upper right corners, mm.
func corner(r guillotine.Rect) geom.Vec2 {
	return geom.V2(float64(r.At[0])*micron, float64(r.At[1])*micron)
}
func far(r guillotine.Rect) geom.Vec2 {
	return geom.V2(float64(r.At[0]+r.X)*micron, float64(r.At[1]+r.Y)*micron)
}

// endForEnd is a blank turned by half a turn with all that lies on it.
func (b *blankPlan) endForEnd() *blankPlan {
	out := *b
	out.items = slices.Clone(b.items)
	for i, it := range out.items {
		turn := math.Pi
		if it.turn != 0 {
			turn = 0
		}
		out.items[i].at, out.items[i].turn = b.size.Sub(it.at), turn
	}
	return &out
}

// around is a blank that lies at a place of a sheet with its patterns clear of
// the reserved areas under it: as it is, turned end for end, or laid anew; nil if
// there is no room.
func (l *lot) around(ctx context.Context, b *blankPlan, at guillotine.Rect, under []guillotine.Rect) (*blankPlan, error) {
	var areas []nest.Laid
	var reserved []geom.Polygons
	for _, k := range under {
		box, ok := lying(k, at)
		if !ok {
			continue
		}
		ps := geom.Polygons{rectangle(box)}
		a, err := nest.Lay(ps, 0, geom.Vec2{})
		if err != nil {
			return nil, fmt.Errorf("a reserved area under a blank: %w", err)
		}
		areas, reserved = append(areas, a), append(reserved, ps)
	}
	for _, q := range []*blankPlan{b, b.endForEnd()} {
		if q != b && (b.given || len(turns(l.v)) < 2) {
			continue
		}
		clear := true
		for _, it := range q.items {
			p, err := nest.Lay(aligned(l.patterns[it.pattern]), it.turn, it.at)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", l.patterns[it.pattern].ID, err)
			}
			clear = clear && !slices.ContainsFunc(areas, func(a nest.Laid) bool { return p.Meets(a, l.gap) != nest.Apart })
		}
		if clear {
			return q, nil
		}
	}
	if b.given || b.knife {
		return nil, nil
	}
	bins := []nest.Bin{{ID: "blank", Size: b.size, Margin: l.laser.Margin, Reserved: reserved}}
	var items []nest.Item
	index := map[string]int{}
	for _, it := range b.items {
		p := l.patterns[it.pattern]
		items = append(items, nest.Item{ID: p.ID, Shape: aligned(p), Turns: turns(l.v)})
		index[p.ID] = it.pattern
	}
	items = matched(items, l.patterns, index, bins, l.gap)
	const rounds, lines = 20, 2000 // some 10 ms
	made, err := nest.Pack(ctx, items, bins, nest.Options{Gap: l.gap, Iterations: rounds, Lines: lines, Seed: l.o.Seed})
	if err != nil {
		return nil, fmt.Errorf("laying a blank round reserved areas: %w", err)
	}
	if len(made.Unplaced) > 0 {
		return nil, nil
	}
	if vs := nest.Verify(items, bins, made, l.gap); len(vs) > 0 {
		return nil, fmt.Errorf("a blank laid round reserved areas does not hold: %v", vs[0])
	}
	out := *b
	out.items = nil
	for _, p := range made.Placements {
		out.items = append(out.items, placed{pattern: index[p.Item], at: p.At, turn: p.Turn})
	}
	slices.SortFunc(out.items, func(p, q placed) int { return p.pattern - q.pattern })
	return &out, nil
}
