package sheet

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/nest"
	"groundwork/internal/veneer"
)

// matched makes the patterns of a matched set lie side by side in its order, as
// one piece, so that their figure runs on from one to the next. What does not
// fit a blank so is cut into rows that do; see parted.
func matched(items []nest.Item, patterns []veneer.Pattern, index map[string]int, bins []nest.Bin, gap float64) []nest.Item {
	of := func(it nest.Item) veneer.Pattern { return patterns[index[it.ID]] }
	sets := map[string][]int{} // indices of items
	var names []string
	for i, it := range items {
		if s := of(it).Set; s != "" {
			if len(sets[s]) == 0 {
				names = append(names, s)
			}
			sets[s] = append(sets[s], i)
		}
	}
	out := slices.Clone(items)
	for _, name := range names {
		order := sets[name]
		slices.SortStableFunc(order, func(a, b int) int {
			return cmp.Compare(of(items[a]).SetOrder, of(items[b]).SetOrder)
		})
		first := of(items[order[0]])
		one := !slices.ContainsFunc(order, func(i int) bool {
			p := of(items[i])
			return p.Member != first.Member || p.Surface != first.Surface || p.Turn-p.Grain != first.Turn-first.Grain
		})
		for n := 0; len(order) > 0; n++ {
			row, k := items[order[0]:order[0]+1:order[0]+1], 1
			for ; k < len(order); k++ {
				more := slices.Clone(row[:1])
				for _, i := range order[1 : k+1] {
					more = append(more, items[i])
				}
				for j := range more {
					more[j].Offset = geom.V2(station(of(more[j]), one)-station(of(more[0]), one), 0)
				}
				if more = nest.Row(gap, more...); !holds(bins, more) {
					break
				}
				row = more
			}
			if len(row) > 1 {
				for j, it := range row {
					it.Set = fmt.Sprintf("%s, row %d", name, n+1)
					out[order[j]] = it
				}
			}
			order = order[k:]
		}
	}
	return out
}

// station is where the origin of a pattern's aligned outline lies along the
// grain: as on the surface, if the set is leaves of one; else so that all of the
// set begin at the same place.
func station(p veneer.Pattern, one bool) float64 {
	if one {
		return p.Chart.Rotate(p.Turn - p.Grain).X
	}
	return -aligned(p).Bounds().Min.X
}

// holds reports whether a row fits some bin.
func holds(bins []nest.Bin, row []nest.Item) bool {
	box := geom.EmptyBox2()
	for _, it := range row {
		box = box.Union(it.Shape.Map(func(q geom.Vec2) geom.Vec2 { return q.Add(it.Offset) }).Bounds())
	}
	const rounding = 5e-3 // of outlines to whole micrometres
	size := box.Size()
	return slices.ContainsFunc(bins, func(b nest.Bin) bool {
		return math.Max(size.X-b.Size.X, size.Y-b.Size.Y) <= -2*b.Margin-rounding
	})
}

// rows is on how many blanks the patterns of all sets lie, set by set.
func rows(plans []*blankPlan, patterns []veneer.Pattern) (n int) {
	for _, b := range plans {
		seen := map[string]bool{}
		for _, it := range b.items {
			if s := patterns[it.pattern].Set; s != "" && !seen[s] {
				seen[s] = true
				n++
			}
		}
	}
	return n
}

// parted tells of matched sets that lie on more than one blank.
func parted(patterns []veneer.Pattern, r *Result) []finding.Finding {
	blanks := map[string][]string{}
	var names []string
	for i, p := range patterns {
		b := r.Placements[i].Blank
		if p.Set == "" || b < 0 {
			continue
		}
		if len(blanks[p.Set]) == 0 {
			names = append(names, p.Set)
		}
		if id := r.Blanks[b].ID; !slices.Contains(blanks[p.Set], id) {
			blanks[p.Set] = append(blanks[p.Set], id)
		}
	}
	var out []finding.Finding
	for _, name := range names {
		if ids := blanks[name]; len(ids) > 1 {
			slices.Sort(ids)
			out = append(out, finding.Finding{
				Severity: finding.Note, Stage: "sheet", Code: "set-on-several-blanks", Subject: name,
				Message: fmt.Sprintf("The matched set %s does not fit one blank: it lies on %s.", name, strings.Join(ids, ", ")),
				Remedy:  "Cut these blanks from consecutive sheets of one flitch, at the same place of each, if the figure is to run on; or use a larger laser bed.",
				Source:  "common practice, no source",
			})
		}
	}
	return out
}
