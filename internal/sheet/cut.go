package sheet

import (
	"context"
	"fmt"
	"math"
	"strconv"

	"groundwork/internal/geom"
	"groundwork/internal/guillotine"
	"groundwork/internal/nest"
	"groundwork/internal/shop"
	"groundwork/internal/veneer"
)

// cutting is blanks and how they are cut from sheets.
type cutting struct {
	*guillotine.Layout
	plans []*blankPlan
	stock map[string]numbered
	last  int // how many of the marked sheets it takes, and one more for others; 0 if none is marked
}

// worth is the share of its area as new that an offcut is worth (common
// practice, no source).
const worth = 0.8

// little is the share of its worth as new that veneer counts for which is in the
// shop, so that less of it is better, but any of it before new veneer.
const little = 0.01

// micron is one micrometre in mm.
const micron = 1e-3

// bought is the stock of sheets still to be bought.
const bought = "bought"

// cutSheets chooses what is cut into which blanks, so that the price of what is
// cut up less the worth of its offcuts is little. It is counted in mm² of new
// sheet, since a shop file need not say prices. Blanks lie with their grain along
// the sheet's: they are not turned.
//
// Sheets that the maker has marked are there: they are taken in their order, and
// one more only when those before do not hold all. Then the marked ones cost
// nothing, and their offcuts are worth little, so that they carry what they can.
func (l *lot) cutSheets(ctx context.Context, plans []*blankPlan, from []numbered) (*cutting, error) {
	c := &cutting{plans: plans, stock: map[string]numbered{}}
	var items []guillotine.Item
	least := 1
	for i, b := range plans {
		it := guillotine.Item{ID: strconv.Itoa(i), Size: guillotine.Size{X: up(b.size.Y), Y: up(b.size.X)}}
		if b.fixed != nil {
			it.Held = &guillotine.Held{Stock: b.fixed.stock, At: b.fixed.at}
		}
		items = append(items, it)
	}
	marked := 0
	for _, s := range from {
		c.stock[s.ID] = s
		if !s.known || s.kept != "" {
			continue
		}
		marked = max(marked, s.first)
		for _, b := range plans {
			if b.fixed != nil && b.fixed.stock == s.ID {
				least = max(least, s.first)
			}
		}
	}
	own := guillotine.Options{Kerf: up(l.v.BlankKerf), Least: guillotine.Size{X: up(l.v.MinOffcut.X), Y: up(l.v.MinOffcut.Y)}, Iterations: cutIterations, Seed: l.o.Seed}
	for n := least; ; n++ {
		var stock []guillotine.Stock
		for _, s := range from {
			if s.kept != "" || s.known && s.first <= n || !s.known && n > marked || marked == 0 {
				one := s.Stock
				if s.known && s.kept == "" && n > marked {
					one.Cost, one.Rate = 0, little*one.Rate
				}
				stock = append(stock, one)
			}
		}
		out, err := guillotine.Pack(ctx, items, stock, own)
		if err != nil {
			return nil, err
		}
		if len(out.Unplaced) > 0 && marked > 0 && n <= marked {
			continue
		}
		if err := guillotine.VerifyLayout(out, items, stock, own); err != nil {
			return nil, fmt.Errorf("cuts of sheets do not hold: %w", err)
		}
		c.Layout = out
		if marked > 0 {
			c.last = n
		}
		return c, nil
	}
}

// cutIterations is the budget for cutting up sheets: thirty blanks take some 20 ms.
const cutIterations = 2000

// up and down are a length in whole micrometres that is no shorter, or no
// longer. A nanometre is rounding.
func up(mm float64) int64   { return int64(math.Ceil(mm/micron - 1e-3)) }
func down(mm float64) int64 { return int64(math.Floor(mm/micron + 1e-3)) }

// stockOf is what blanks of a veneer can be cut from: the shop's offcuts, and as
// many sheets as it takes.
func stockOf(v shop.Veneer) []guillotine.Stock {
	// An offcut that is there is paid for, but small ones go before large ones:
	// each is charged a little of what it would cost as new.
	area := v.Sheet.X * v.Sheet.Y
	scale := 1 / (micron * micron) // µm² in a mm²
	var out []guillotine.Stock
	for _, q := range v.Offcuts {
		own := q.Size.X * q.Size.Y
		cost := little * own
		if v.Price > 0 {
			cost = max(cost, q.Price/v.Price*area)
		}
		s := guillotine.Stock{
			ID: "kept " + q.ID, Size: guillotine.Size{X: down(q.Size.X), Y: down(q.Size.Y)}, Quantity: q.Count,
			Cost: cost, Rate: worth * cost / own / scale,
		}
		for _, k := range q.Reserved {
			lo := [2]int64{down(k.At.X), down(k.At.Y)}
			s.Reserved = append(s.Reserved, guillotine.Rect{At: lo, Size: guillotine.Size{X: max(1, up(k.At.X+k.Size.X)-lo[0]), Y: max(1, up(k.At.Y+k.Size.Y)-lo[1])}})
		}
		out = append(out, s)
	}
	return append(out, guillotine.Stock{
		ID: bought, Size: guillotine.Size{X: down(v.Sheet.X - 2*v.EdgeMargin), Y: down(v.Sheet.Y - 2*v.EdgeMargin)}, Quantity: guillotine.Unlimited,
		Cost: area, Rate: worth / scale,
	})
}

// left are the patterns on blanks that no sheet holds.
func (c *cutting) left(patterns []veneer.Pattern) []nest.Unplaced {
	var out []nest.Unplaced
	for _, u := range c.Unplaced {
		i, _ := strconv.Atoi(u.Item)
		b := c.plans[i]
		for _, it := range b.items {
			out = append(out, nest.Unplaced{Item: patterns[it.pattern].ID, Count: 1, Reason: nest.TooLarge,
				Detail: fmt.Sprintf("no sheet holds a blank of %.0f x %.0f mm", b.size.X, b.size.Y)})
		}
	}
	return out
}

// emit adds the sheets and the blanks on them to the result: blanks in the order
// of the plans.
func (c *cutting) emit(patterns []veneer.Pattern, v shop.Veneer, o Options, res *Result, places []Placement) {
	first := len(res.Sheets)
	numbers := map[string]int{}
	for _, l := range c.Sheets {
		s := Sheet{Veneer: v.ID}
		of := c.stock[l.Stock]
		n := of.first + numbers[l.Stock]
		numbers[l.Stock]++
		if of.kept != "" {
			for _, q := range v.Offcuts {
				if q.ID == of.kept {
					s.ID, s.Kept, s.Size, s.Price = fmt.Sprintf("%s-%s-%d", v.ID, of.kept, n), of.kept, q.Size, q.Price
				}
			}
		} else {
			s.ID, s.Size, s.Margin, s.Price = fmt.Sprintf("%s-%d", v.ID, n), v.Sheet, v.EdgeMargin, v.Price
		}
		s.Reserved = reservedOn(v, o, s.ID)
		for _, q := range l.Offcuts {
			s.Offcuts = append(s.Offcuts, s.box(q))
		}
		res.Sheets = append(res.Sheets, s)
	}
	blank := map[string]string{} // its ID by that of the item
	for _, p := range c.Placements {
		i, _ := strconv.Atoi(p.Item)
		b := c.plans[i]
		at := first + p.Sheet
		b.emit(patterns, v, at, res.Sheets[at].box(p.Rect).Min, res, places)
		blank[p.Item] = res.Blanks[len(res.Blanks)-1].ID
	}
	for _, q := range c.Cuts() {
		s := &res.Sheets[first+q.Sheet]
		is := func(y guillotine.Yield) Yield {
			out := Yield{Name: y.Name}
			switch {
			case y.Item != "":
				out.Is = blank[y.Item]
			case y.Offcut:
				out.Is = "offcut"
			case y.Waste:
				out.Is = "waste"
			case y.Nothing:
				out.Is = "nothing"
			}
			return out
		}
		s.Cuts = append(s.Cuts, Cut{
			N: q.N, Of: q.Of, On: s.box(q.On), Along: q.Direction == guillotine.Upright, Where: float64(q.Where) * micron,
			Before: is(q.Before), Beyond: is(q.Beyond),
		})
	}
}

// box is a rectangle of what is within the sheet's margin, on the sheet in mm.
func (s Sheet) box(r guillotine.Rect) geom.Box2 {
	lo := geom.V2(float64(r.At[0])*micron+s.Margin, float64(r.At[1])*micron+s.Margin)
	return geom.Box2{Min: lo, Max: lo.Add(geom.V2(float64(r.X)*micron, float64(r.Y)*micron))}
}

// figures are what a layout comes to: the area of its patterns, that of its
// blanks and that of its sheets less the offcuts worth keeping, mm².
func (c *cutting) figures(patterns []veneer.Pattern, v shop.Veneer) (used, blanks, consumed float64) {
	for _, p := range c.Placements {
		i, _ := strconv.Atoi(p.Item)
		b := c.plans[i]
		blanks += b.size.X * b.size.Y
		for _, it := range b.items {
			used += patterns[it.pattern].GrossArea
		}
	}
	for _, l := range c.Sheets {
		size, _ := ground(v, c.stock[l.Stock].kept)
		consumed += size.X * size.Y
		for _, q := range l.Offcuts {
			consumed -= float64(q.X) * micron * float64(q.Y) * micron
		}
	}
	return used, blanks, consumed
}
