package remake

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/job"
	"groundwork/internal/plan"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/veneer"
)

// Offcut is what a job leaves of a sheet.
type Offcut struct {
	ID     string // "walnut-1/offcut-2"
	Veneer string
	Sheet  string    // that it is left of
	Box    geom.Box2 // on the sheet, Y along the grain, mm

	reserved []shop.Reserved
}

// Offcuts are what the job leaves of its sheets, in the order of plan.json.
func (j *Job) Offcuts() []Offcut {
	var out []Offcut
	for _, s := range j.Document.Sheets {
		for i, b := range s.Offcuts {
			o := Offcut{ID: fmt.Sprintf("%s/offcut-%d", s.ID, i+1), Veneer: s.Veneer, Sheet: s.ID, Box: box(b)}
			for _, k := range s.Reserved {
				area := box(k)
				area.Min = geom.V2(max(area.Min.X, o.Box.Min.X), max(area.Min.Y, o.Box.Min.Y))
				area.Max = geom.V2(min(area.Max.X, o.Box.Max.X), min(area.Max.Y, o.Box.Max.Y))
				if area.Min.X < area.Max.X && area.Min.Y < area.Max.Y {
					o.reserved = append(o.reserved, shop.Reserved{At: area.Min.Sub(o.Box.Min), Size: area.Size()})
				}
			}
			out = append(out, o)
		}
	}
	return out
}

func box(b job.BoxDoc) geom.Box2 {
	return geom.Box2{Min: geom.V2(b.Min[0], b.Min[1]), Max: geom.V2(b.Max[0], b.Max[1])}
}

// stocked is the shop with offcuts of the job in the place of its own.
func stocked(s *shop.Shop, offcuts []Offcut) *shop.Shop {
	out := *s
	out.Veneers = slices.Clone(s.Veneers)
	for i := range out.Veneers {
		v := &out.Veneers[i]
		v.Offcuts = nil
		for _, o := range offcuts {
			if o.Veneer == v.ID {
				v.Offcuts = append(v.Offcuts, shop.Offcut{ID: o.ID, Size: o.Box.Size(), Count: 1, Reserved: o.reserved})
			}
		}
	}
	return &out
}

// lay lays the leaves out: each on what is left of its own sheet, if there is
// room; else on what is left of another; else on a new one.
func (r *Result) lay(ctx context.Context, k *solid.Kernel, pl *plan.Plan) error {
	r.Part.Patterns, r.Part.Sheets = nil, &sheet.Result{}
	for _, i := range r.Patterns {
		r.Part.Patterns = append(r.Part.Patterns, pl.Patterns[i])
	}
	all := r.Job.Offcuts()
	for _, id := range r.options.Gone {
		n := slices.IndexFunc(all, func(o Offcut) bool { return o.ID == id })
		if n < 0 {
			return fmt.Errorf("the job leaves no offcut %s; it leaves %s", id, few(idsOf(r.Job.Offcuts())))
		}
		all = slices.Delete(all, n, n+1)
	}
	patterns := r.Part.Patterns
	if len(patterns) == 0 {
		return nil
	}
	l := &layer{ctx: ctx, kernel: k, shop: pl.Shop, options: r.options.Sheet, patterns: patterns}
	l.options.Keep, l.options.From, l.options.Reserved, l.options.Marks, l.options.Spent = nil, nil, nil, "", nil
	own := make([]string, len(patterns))
	for i, p := range patterns {
		own[i] = r.Job.sheetOf(p.ID)
	}
	var keeps []sheet.Keep
	settled := map[int]bool{}
	for _, s := range r.Job.Document.Sheets {
		var mine []int
		for i := range patterns {
			if own[i] == s.ID {
				mine = append(mine, i)
			}
		}
		more, err := l.fill(mine, offcutsOf(all, func(o Offcut) bool { return o.Sheet == s.ID }), nil, settled)
		if err != nil {
			return err
		}
		keeps = append(keeps, more...)
	}
	var rest []int
	for i := range patterns {
		if !settled[i] {
			rest = append(rest, i)
		}
	}
	more, err := l.fill(rest, all, keeps, settled)
	if err != nil {
		return err
	}
	if more != nil {
		keeps = more
	}
	every := make([]int, len(patterns))
	for i := range every {
		every[i] = i
	}
	res, err := l.plan(every, all, keeps, l.options.Iterations, l.options.Lines)
	if err != nil {
		return err
	}
	for i, p := range res.Placements {
		if settled[i] && (p.Blank < 0 || res.Sheets[res.Blanks[p.Blank].Sheet].Kept == "") {
			return fmt.Errorf("remake: %s lay on an offcut, and lies there no more", patterns[i].ID) // a fault of the program
		}
	}
	r.named(res)
	r.Part.Sheets = res
	for _, f := range res.Findings {
		if f.Source != "the marks" { // there are none but our own
			r.Findings = append(r.Findings, f)
		}
	}
	for i, p := range res.Placements {
		if p.Blank < 0 {
			continue
		}
		b := res.Blanks[p.Blank]
		at := Laid{Pattern: patterns[i].ID, Blank: b.ID, From: res.Sheets[b.Sheet].ID, Own: own[i]}
		if n := slices.IndexFunc(all, func(o Offcut) bool { return o.ID == at.From }); n >= 0 {
			at.Offcut = &all[n]
		}
		r.Laid = append(r.Laid, at)
	}
	return nil
}

// named gives what is cut anew names that are none of the job's: offcuts keep
// theirs.
func (r *Result) named(res *sheet.Result) {
	fresh := map[string]int{}
	for i := range res.Sheets {
		s := &res.Sheets[i]
		if s.Kept != "" {
			s.ID = s.Kept
		} else {
			fresh[s.Veneer]++
			s.ID = fmt.Sprintf("%s-new-%d", s.Veneer, fresh[s.Veneer])
		}
		for k := range s.Reserved {
			s.Reserved[k].Sheet = s.ID
		}
	}
	name := map[string]string{}
	for i := range res.Blanks {
		b := &res.Blanks[i]
		name[b.ID] = "remake-" + b.ID
		b.ID = name[b.ID]
	}
	for i := range res.Sheets {
		for c := range res.Sheets[i].Cuts {
			cut := &res.Sheets[i].Cuts[c]
			for _, y := range []*sheet.Yield{&cut.Before, &cut.Beyond} {
				if to, ok := name[y.Is]; ok {
					y.Is = to
				}
			}
		}
	}
}

func idsOf(offcuts []Offcut) (ids []string) {
	for _, o := range offcuts {
		ids = append(ids, o.ID)
	}
	return ids
}

func offcutsOf(all []Offcut, which func(Offcut) bool) (out []Offcut) {
	for _, o := range all {
		if which(o) {
			out = append(out, o)
		}
	}
	return out
}

// layer lays some of the patterns on some offcuts.
type layer struct {
	ctx      context.Context
	kernel   *solid.Kernel
	shop     *shop.Shop
	options  sheet.Options
	patterns []veneer.Pattern
}

// plan lays out some patterns; the placements are in their order.
func (l *layer) plan(some []int, offcuts []Offcut, keeps []sheet.Keep, iterations, lines int) (*sheet.Result, error) {
	o := l.options
	o.Keep, o.Iterations, o.Lines = keeps, iterations, lines
	patterns := make([]veneer.Pattern, len(some))
	for i, n := range some {
		patterns[i] = l.patterns[n]
	}
	res, err := sheet.Plan(l.ctx, l.kernel, patterns, stocked(l.shop, offcuts), o)
	if err != nil {
		return nil, fmt.Errorf("remake: laying out leaves: %w", err)
	}
	return res, nil
}

// fill lays as many of some patterns on offcuts as it can, the largest first,
// and keeps what is kept. It marks as settled what found room, and returns all
// blanks, each to be kept where it is; nil if nothing found room.
func (l *layer) fill(some []int, offcuts []Offcut, keeps []sheet.Keep, settled map[int]bool) ([]sheet.Keep, error) {
	if len(offcuts) == 0 {
		return nil, nil
	}
	some = slices.Clone(some)
	slices.SortStableFunc(some, func(a, b int) int { return -cmp.Compare(l.patterns[a].GrossArea, l.patterns[b].GrossArea) })
	var on []int // what lies there
	if keeps != nil {
		for i := range l.patterns {
			if settled[i] {
				on = append(on, i)
			}
		}
	}
	var out []sheet.Keep
	for _, i := range some {
		with := slices.Sorted(slices.Values(append(slices.Clone(on), i)))
		const rounds, none = 10, -1 // few patterns on little ground
		res, err := l.plan(with, offcuts, keeps, rounds, none)
		if err != nil {
			return nil, err
		}
		if slices.ContainsFunc(res.Placements, func(p sheet.Placement) bool { return p.Blank < 0 }) ||
			slices.ContainsFunc(res.Sheets, func(s sheet.Sheet) bool { return s.Kept == "" }) {
			continue
		}
		on, out = with, keep(res, with, l.patterns)
		settled[i] = true
	}
	return out, nil
}

// keep is the blanks of a layout as they are to stay.
func keep(res *sheet.Result, some []int, patterns []veneer.Pattern) []sheet.Keep {
	var out []sheet.Keep
	for b, it := range res.Blanks {
		k := sheet.Keep{Veneer: it.Veneer, Size: it.Size, GrainUp: math.Abs(it.Grain) > 1, Sheet: res.Sheets[it.Sheet].ID, At: it.At}
		for n, p := range res.Placements {
			if p.Blank == b {
				k.Pins = append(k.Pins, sheet.Pin{Pattern: patterns[some[n]].ID, At: p.At, Turn: p.Turn})
			}
		}
		out = append(out, k)
	}
	return out
}

// watch tells of what to look out for.
func (r *Result) watch(pl *plan.Plan) []finding.Finding {
	var out []finding.Finding
	say := func(s finding.Severity, code, subject, message, remedy string) {
		out = append(out, finding.Finding{Severity: s, Stage: "remake", Code: code, Subject: subject, Message: message, Remedy: remedy, Source: "common practice, no source"})
	}
	for _, l := range r.Laid {
		switch {
		case l.Offcut == nil:
			say(finding.Warning, "new-sheet", l.Pattern,
				fmt.Sprintf("No offcut of the job has room for %s with the border that the laser keeps, so it is cut from a new sheet: its colour and figure may differ from its neighbours'.", l.Pattern),
				"Hold new sheets against the piece before you cut, and take one of the same flitch if there is one; or make all leaves that are seen together from the new sheet.")
		case !l.Same() && l.Own != "":
			say(finding.Warning, "other-sheet", l.Pattern,
				fmt.Sprintf("Nothing that is left of %s has room for %s, so it is cut from an offcut of %s: its figure may differ.", l.Own, l.Pattern, l.Offcut.Sheet),
				"Hold it against the piece before you cut.")
		}
	}
	told := map[string]bool{}
	for _, p := range r.Part.Patterns {
		if p.Set != "" && !told[p.Set] {
			told[p.Set] = true
			var set []string
			for _, q := range pl.Patterns {
				if q.Set == p.Set {
					set = append(set, q.ID)
				}
			}
			var again []string
			for _, q := range r.Part.Patterns {
				if q.Set == p.Set {
					again = append(again, q.ID)
				}
			}
			if len(again) < len(set) {
				say(finding.Warning, "matched-set", p.Set,
					fmt.Sprintf("Of the matched set %s, which is %s, only %s is made again: the figure will not run on from it to its neighbours.", p.Set, few(set), few(again)),
					"Lay it where the eye rests least; or make the whole set again by naming all of it.")
			}
		}
		if p.Release != "" {
			say(finding.Note, "measure-first", p.ID,
				fmt.Sprintf("%s waits for the %s, as it did in the job: it is drawn from the plan, not from your core.", p.ID, p.Release),
				"Measure the core that it goes on, and hold the outline against it, before you cut.")
		}
	}
	for i, pr := range r.Part.Printing.Prints {
		n := slices.IndexFunc(r.Job.Document.Segments, func(s job.SegmentDoc) bool { return s.ID == pr.Segment })
		if n < 0 {
			continue
		}
		was := r.Job.Document.Segments[n]
		if pr.Filament != was.Filament {
			say(finding.Warning, "other-filament", pr.Segment, fmt.Sprintf("%s was printed in %s in the job, and is in %s now.", pr.Segment, was.Filament, pr.Filament),
				"Give the member the job's filament again; or see to it that the two take glue alike and shrink alike.")
		}
		if pr.Printer != "" && pr.Printer != was.Printer {
			say(finding.Note, "other-printer", pr.Segment, fmt.Sprintf("%s was printed on %s in the job, and is on %s now.", pr.Segment, was.Printer, pr.Printer),
				"Measure it against its neighbours before you glue.")
		}
		for a, is := range []float64{pr.Scale.X, pr.Scale.Y, pr.Scale.Z} {
			if a < len(was.Scale) && !near(is, was.Scale[a]) {
				long := r.Part.Cores.Segments[i].Bounds.Size().Len() * math.Abs(is-was.Scale[a])
				say(finding.Warning, "other-shrinkage", pr.Segment,
					fmt.Sprintf("The shop reckons with another shrinkage of %s than when the job was planned: %s is drawn otherwise than before, by up to %.2f mm over its diagonal.", pr.Filament, pr.Segment, long),
					"Go on if the first parts came out untrue and that was why; else give the filament its old shrinkage for this part, so that it meets its neighbours.")
				break
			}
		}
	}
	return out
}
