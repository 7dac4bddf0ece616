package sheet

import (
	"context"
	"fmt"
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
	if l.settled() || !slices.ContainsFunc(l.stock, func(s numbered) bool { return s.known && len(s.Reserved) > 0 }) {
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
		next := slices.Clone(plans)
		again := false
		for _, p := range c.Placements {
			i, _ := strconv.Atoi(p.Item)
			id := c.Sheets[p.Sheet].Stock
			s := l.stock[slices.IndexFunc(l.stock, func(s numbered) bool { return s.ID == id })]
			if !s.known || next[i].fixed != nil {
				continue
			}
			var under []guillotine.Rect
			for _, k := range s.Reserved {
				if (geom.Box2{Min: corner(k), Max: far(k)}).Overlaps(geom.Box2{Min: corner(p.Rect), Max: far(p.Rect)}) {
					under = append(under, k)
				}
			}
			b, err := l.around(ctx, next[i], p.Rect, under)
			switch {
			case err != nil:
				return nil, err
			case b != nil:
				held := *b
				held.fixed = &place{id, p.At}
				next[i] = &held
			default:
				again = true
				for _, k := range under {
					if !slices.Contains(avoid[id], k) {
						avoid[id] = append(avoid[id], k)
					}
				}
			}
		}
		if !again {
			if !l.cuttable(next) {
				return nil, nil
			}
			return l.cutSheets(ctx, next, l.stock)
		}
	}
	return nil, nil
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

// around is a blank that lies at a place of a sheet with its patterns clear of
// the reserved areas under it: as it is, or laid anew; nil if there is no room.
func (l *lot) around(ctx context.Context, b *blankPlan, at guillotine.Rect, under []guillotine.Rect) (*blankPlan, error) {
	var areas []nest.Laid
	var reserved []geom.Polygons
	for _, k := range under {
		box := onBlank(geom.Box2{Min: corner(k), Max: far(k)}, corner(at), b.size)
		box.Min, box.Max = geom.V2(max(0, box.Min.X), max(0, box.Min.Y)), geom.V2(min(b.size.X, box.Max.X), min(b.size.Y, box.Max.Y))
		if box.Max.X-box.Min.X < 2*micron || box.Max.Y-box.Min.Y < 2*micron {
			continue // only the rounding of their edges meets
		}
		ps := geom.Polygons{rectangle(box)}
		a, err := nest.Lay(ps, 0, geom.Vec2{})
		if err != nil {
			return nil, fmt.Errorf("a reserved area under a blank: %w", err)
		}
		areas, reserved = append(areas, a), append(reserved, ps)
	}
	clear := true
	for _, it := range b.items {
		p, err := nest.Lay(aligned(l.patterns[it.pattern]), it.turn, it.at)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", l.patterns[it.pattern].ID, err)
		}
		clear = clear && !slices.ContainsFunc(areas, func(a nest.Laid) bool { return p.Meets(a, l.gap) != nest.Apart })
	}
	if clear {
		return b, nil
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
