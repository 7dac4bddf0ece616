package remake

import (
	"cmp"
	"slices"

	"groundwork/internal/bill"
	"groundwork/internal/joint"
	"groundwork/internal/plan"
	"groundwork/internal/seam"
	"groundwork/internal/veneer"
)

// count bills what is made again by the rules of the whole bill: its material,
// machines, and the hand work that is done for it once more. Glue, finish and
// hardware are not counted: a part takes what is left in the tin.
func (r *Result) count(pl *plan.Plan) {
	p := r.Part
	in := bill.Inputs{
		Joints: &joint.Result{}, Seams: &seam.Result{}, Layout: &veneer.Layout{}, Patterns: p.Patterns, Sheets: p.Sheets,
		Printing: p.Printing, Shop: stocked(p.Shop, r.Job.Offcuts()), Fixtures: p.Fixtures, FixturePrinting: p.FixturePrinting,
	}
	b := bill.Make(in)
	for _, l := range b.Lines {
		switch l.Section {
		case bill.Filament, bill.Veneer, bill.Machine:
			r.Lines = append(r.Lines, l)
		case bill.Fixtures:
			if l.Seconds == 0 {
				r.Lines = append(r.Lines, l)
			}
		}
	}
	// Work at a thing: at loads, blanks and leaves of the new bill, and at seams of
	// the old one, which are glued again.
	own := map[string]bool{}
	for _, l := range slices.Concat(p.Printing.Loads, p.FixturePrinting.Loads) {
		own[l.ID] = true
	}
	for _, k := range p.Sheets.Blanks {
		own[k.ID] = true
	}
	for _, q := range p.Patterns {
		own[q.ID] = true
	}
	var items []string
	seconds := map[string]int64{}
	add := func(line string, s int64) {
		if _, ok := seconds[line]; !ok {
			items = append(items, line)
		}
		seconds[line] += s
	}
	for _, h := range b.Hands {
		if own[h.Of] {
			add(h.Line, h.Seconds)
		}
	}
	glued := r.Seams(pl)
	for _, h := range pl.Bill.Hands {
		if h.Line == bill.Gluing && slices.Contains(glued, h.Of) {
			add(h.Line, h.Seconds)
		}
	}
	order := func(item string) int {
		return slices.IndexFunc(pl.Bill.Lines, func(l bill.Line) bool { return l.Item == item })
	}
	slices.SortStableFunc(items, func(a, b string) int { return cmp.Compare(order(a), order(b)) })
	for _, item := range items {
		hours := float64(seconds[item]) / 3600
		r.Lines = append(r.Lines, bill.Line{Section: bill.Labour, Item: item, Quantity: hours, Unit: "h", Price: p.Shop.Labour, Cost: hours * p.Shop.Labour, Seconds: seconds[item]})
	}
	for _, l := range r.Lines {
		r.Cost += l.Cost
	}
}

// Seams are those of the plan that close on a segment that is made again, by ID.
func (r *Result) Seams(pl *plan.Plan) []string {
	again := map[string]bool{}
	for _, i := range r.Segments {
		again[pl.Cores.Segments[i].ID] = true
	}
	var out []string
	for _, s := range pl.Seams.Seams {
		if again[s.Segments[0]] || again[s.Segments[1]] {
			out = append(out, s.ID)
		}
	}
	return out
}

// Hands is the time of hand work, s.
func (r *Result) Hands() (sum float64) {
	for _, l := range r.Lines {
		sum += float64(l.Seconds)
	}
	return sum
}
