package guillotine

import (
	"context"
	"fmt"
)

// ExactStrips is Exact with two stages: the sheet is cut into strips in the
// given direction, Upright or Level, the strips into pieces, and those are only
// trimmed. For every strip as wide as some piece it finds the best row, and then
// the best strips: knapsacks of one dimension (Gilmore, Gomory 1965, Oper. Res.
// 13, 94-120).
func ExactStrips(ctx context.Context, whole Size, pieces []Piece, kerf int64, first Direction) (int64, *Cutting, error) {
	if first != Upright && first != Level {
		return 0, nil, fmt.Errorf("guillotine: strips in direction %d", first)
	}
	if whole.X <= 0 || whole.Y <= 0 || whole.X > mostLength || whole.Y > mostLength || kerf < 0 || kerf > mostLength {
		return 0, nil, fmt.Errorf("guillotine: a sheet of %d x %d with a kerf of %d", whole.X, whole.Y, kerf)
	}
	// A side is along a strip, or across it: the way of the first cuts.
	type side struct {
		along, across, value int64
		piece                int
		size                 Size
	}
	var sides []side
	for i, p := range pieces {
		if p.X <= 0 || p.Y <= 0 || p.Value < 0 {
			return 0, nil, fmt.Errorf("guillotine: piece %d is %d x %d, worth %d", i, p.X, p.Y, p.Value)
		}
		for _, s := range []Size{p.Size, {p.Y, p.X}} {
			if fits(s, whole) && (s == p.Size || p.Turn) {
				sides = append(sides, side{along(s, other(first)), along(s, first), p.value(), i, s})
			}
		}
	}
	long, wide := along(whole, other(first)), along(whole, first)
	var rows []article
	contents := map[int][]int{}
	for i, s := range sides {
		if ctx.Err() != nil {
			return 0, nil, fmt.Errorf("guillotine: %w", ctx.Err())
		}
		var in []article
		for j, q := range sides {
			if q.across <= s.across {
				in = append(in, article{q.along + kerf, q.value, j})
			}
		}
		value, of, err := knapsack(in, long+kerf)
		if err != nil {
			return 0, nil, err
		}
		rows = append(rows, article{s.across + kerf, value, i})
		contents[i] = of
	}
	value, strips, err := knapsack(rows, wide+kerf)
	if err != nil {
		return 0, nil, err
	}
	root := &node{Size: whole, cut: first}
	for _, i := range strips {
		strip := &node{Size: sized(whole, first, sides[i].across), cut: other(first)}
		for _, j := range contents[i] {
			item := &node{Size: sides[j].size, kind: sides[j].piece}
			if slot := sized(strip.Size, other(first), sides[j].along); slot != item.Size {
				item = &node{Size: slot, cut: first, kids: []*node{item}}
			}
			strip.kids = append(strip.kids, item)
		}
		root.kids = append(root.kids, strip)
	}
	return value, cutUp(root, [2]int64{}, kerf, func(c *Cutting, kind int) { c.Piece = kind }), nil
}

// article is something of a length that has a value.
type article struct {
	length, value int64
	id            int
}

// knapsack fills a length with articles, each as often as it likes, and says
// with which.
func knapsack(in []article, length int64) (value int64, of []int, err error) {
	var sides []int64
	for _, a := range in {
		sides = append(sides, a.length)
	}
	const most = 1 << 20 // about a tenth of a second for a hundred articles
	at, err := sums(sides, length, most)
	if err != nil {
		return 0, nil, fmt.Errorf("guillotine: %w", err)
	}
	best := make([]int64, len(at))
	last := make([]int, len(at)) // 1 more than the index of the article put in last
	from := make([]int, len(at))
	next := make([]int, len(in)) // where to look for what is left beside an article
	for i, l := range at {
		if i > 0 {
			best[i], last[i], from[i] = best[i-1], 0, i-1
		}
		for k, a := range in {
			for at[next[k]] < l-a.length {
				next[k]++
			}
			if j := next[k]; at[j] == l-a.length && best[j]+a.value > best[i] {
				best[i], last[i], from[i] = best[j]+a.value, k+1, j
			}
		}
	}
	for i := len(at) - 1; i > 0; i = from[i] {
		if last[i] > 0 {
			of = append(of, in[last[i]-1].id)
		}
	}
	return best[len(at)-1], of, nil
}
