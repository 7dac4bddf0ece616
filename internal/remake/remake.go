// Package remake makes one segment or leaf again, alone, so that it fits a job
// that is under way: a print that failed, a leaf that was spoilt. Parts of two
// revisions of a kit do not fit one another, so nothing is made unless the piece
// and the shop still give the job's revision. docs/remake.md tells how it is used.
package remake

import (
	"context"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"groundwork/internal/bill"
	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/fixture"
	"groundwork/internal/given"
	"groundwork/internal/job"
	"groundwork/internal/kit"
	"groundwork/internal/plan"
	"groundwork/internal/printing"
	"groundwork/internal/schedule"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/veneer"
)

// Options steer Make. The zero value works.
type Options struct {
	Gone  []string      // offcuts of the job that are not there any more, by Offcut.ID
	Sheet sheet.Options // how cut sheets are laid out and drawn; FaceDown is the job's. Keep, From and Reserved are not looked at.
}

// Result is what is made again.
type Result struct {
	Job *Job

	// Part is the plan with nothing in it but what is made again: of
	// Cores.Segments, Printing, Patterns, Sheets, Fixtures and FixturePrinting. Its
	// kit has a revision alone, its calendar is empty; all else is the job's.
	Part *plan.Plan

	Segments []int // of the whole plan's Cores.Segments, in its order
	Patterns []int // of the whole plan's Patterns, in its order
	Laid     []Laid
	Lines    []bill.Line
	Cost     float64
	Findings []finding.Finding // gravest first

	options Options
}

// Laid says what a leaf or band is cut from.
type Laid struct {
	Pattern string
	Blank   string
	From    string  // ID of an Offcut, or of a new sheet
	Offcut  *Offcut // nil for a new sheet
	Own     string  // sheet that the job cut it from, "" if that is not known
}

// Same reports whether it comes from the sheet that it came from in the job.
func (l Laid) Same() bool { return l.Offcut != nil && l.Offcut.Sheet == l.Own }

// Make makes some parts of a plan again that was worked out anew for a job: by
// IDs of segments, leaves and bands, parts of fixtures or whole fixtures, or what
// the code on a label says. A part of a fixture is made once for each time that
// it is named, all else once. The error is a *RevisionError if the plan is not
// that of the job, and names what it cannot make.
func Make(ctx context.Context, k *solid.Kernel, j *Job, pl *plan.Plan, ids []string, o Options) (*Result, error) {
	if pl.Kit.Revision != j.Revision() {
		now := job.Describe(pl, job.Names{FaceDown: j.FaceDown()})
		return nil, &RevisionError{j.Revision(), pl.Kit.Revision, differences(&j.Document, &now)}
	}
	c, err := choose(j, pl, ids)
	if err != nil {
		return nil, err
	}
	o.Sheet.FaceDown = j.FaceDown()
	part := *pl
	part.Findings, part.Schedule, part.Kit = nil, &schedule.Result{}, &kit.Result{Revision: pl.Kit.Revision}
	r := &Result{Job: j, Part: &part, Segments: c.segments, Patterns: c.patterns, options: o}
	if err := r.print(ctx, k, pl, c); err != nil {
		return nil, err
	}
	if err := r.lay(ctx, k, pl); err != nil {
		return nil, err
	}
	r.count(pl)
	r.Findings = finding.Sorted(append(r.Findings, r.watch(pl)...))
	return r, nil
}

// chosen is what is to be made, by indices into the plan.
type chosen struct {
	segments []int
	patterns []int
	fixtures []fixture.Fixture // with the parts and numbers that are wanted
}

// revised is a revision as kits bear them.
var revised = regexp.MustCompile(`^[0-9A-F]{4}-[0-9A-F]{4}$`)

// choose finds what IDs name.
func choose(j *Job, pl *plan.Plan, ids []string) (*chosen, error) {
	if len(ids) == 0 {
		return nil, fmt.Errorf("nothing is named that is to be made again")
	}
	c := &chosen{}
	wanted := map[[2]int]int{} // copies of a fixture's part, by fixture and part
	for _, id := range ids {
		name := id
		if rest, ok := strings.CutPrefix(id, pl.Piece.Name+"/"); ok { // as the code on a label says
			if rev, own, ok := strings.Cut(rest, "/"); ok && revised.MatchString(rev) {
				if rev != j.Revision() {
					return nil, fmt.Errorf("the label %s is of kit %s, and the job %s is kit %s; look for the job that the label belongs to", id, rev, j.Name, j.Revision())
				}
				name = own
			}
		}
		found := false
		if i := slices.IndexFunc(pl.Cores.Segments, func(s core.Segment) bool { return s.ID == name }); i >= 0 {
			found = true
			c.segments = append(c.segments, i)
		}
		if i := slices.IndexFunc(pl.Patterns, func(p veneer.Pattern) bool { return p.ID == name }); i >= 0 {
			found = true
			c.patterns = append(c.patterns, i)
		}
		for f, fx := range pl.Fixtures.Fixtures {
			one := slices.IndexFunc(fx.Parts, func(p fixture.Part) bool { return names(p, name) })
			if fx.Kind == fixture.PlugPart && slices.Contains(fx.Serves, name) { // the cover of a leaf that has its name
				one = 0
			}
			for p := range fx.Parts {
				if p != one && (one >= 0 || fx.ID != name) {
					continue
				}
				if fx.Parts[p].Filament == "" {
					return nil, fmt.Errorf("%s is not printed: it is made of %s, as the bench book and fixtures/ in the job tell", id, fx.Parts[p].Material)
				}
				found = true
				wanted[[2]int{f, p}]++
			}
		}
		if !found {
			return nil, unknown(id, name, pl)
		}
	}
	slices.Sort(c.segments)
	slices.Sort(c.patterns)
	c.segments, c.patterns = slices.Compact(c.segments), slices.Compact(c.patterns)
	for f, fx := range pl.Fixtures.Fixtures {
		var parts []fixture.Part
		for p, part := range fx.Parts {
			if n := wanted[[2]int{f, p}]; n > 0 {
				part.Quantity = n
				parts = append(parts, part)
			}
		}
		if len(parts) > 0 {
			fx.Parts, fx.Templates, fx.Needs = parts, nil, nil
			c.fixtures = append(c.fixtures, fx)
		}
	}
	return c, nil
}

// names reports whether a name is that of a fixture's part, or of a copy of it:
// "plug/1.3" is the third of plug/1.
func names(p fixture.Part, name string) bool {
	if p.ID == name {
		return true
	}
	rest, ok := strings.CutPrefix(name, p.ID+".")
	if !ok {
		return false
	}
	for n := 2; n <= p.Quantity; n++ {
		if rest == fmt.Sprint(n) {
			return true
		}
	}
	return false
}

// unknown is the error for a name of nothing, with what it may have meant.
func unknown(id, name string, pl *plan.Plan) error {
	var all, of []string
	for _, s := range pl.Cores.Segments {
		all = append(all, s.ID)
	}
	for _, p := range pl.Patterns {
		all = append(all, p.ID)
	}
	for _, f := range pl.Fixtures.Fixtures {
		for _, p := range f.Parts {
			if p.Filament != "" {
				all = append(all, p.ID)
			}
		}
	}
	for _, x := range all {
		if rest, ok := strings.CutPrefix(x, name); ok && rest != "" && strings.ContainsRune("./", rune(rest[0])) {
			of = append(of, x)
		}
	}
	if len(of) > 0 {
		return fmt.Errorf("%s is made of several parts; name those that are to be made again, of %s", id, few(of))
	}
	var likely []string
	rest := slices.Clone(all)
	for range 3 {
		n := given.Nearest(name, rest)
		if n == "" {
			break
		}
		likely = append(likely, n)
		rest = slices.DeleteFunc(rest, func(x string) bool { return x == n })
	}
	if member, _, ok := strings.Cut(strings.ReplaceAll(name, ".", "/"), "/"); ok { // of a member that there is
		for _, x := range all {
			if len(likely) < 6 && !slices.Contains(likely, x) && (strings.HasPrefix(x, member+".") || strings.HasPrefix(x, member+"/")) {
				likely = append(likely, x)
			}
		}
	}
	if len(likely) > 0 {
		return fmt.Errorf("the job has no part %s; did you mean %s?", id, strings.Join(likely, ", "))
	}
	return fmt.Errorf("the job has no part %s; IDs stand on the labels and in plan.json, as in %s", id, few(all))
}

// print plans the printing of what is printed.
func (r *Result) print(ctx context.Context, k *solid.Kernel, pl *plan.Plan, c *chosen) (err error) {
	cores := *pl.Cores
	cores.Segments, cores.Findings = nil, nil
	for _, i := range c.segments {
		cores.Segments = append(cores.Segments, pl.Cores.Segments[i])
	}
	r.Part.Cores = &cores
	r.Part.Printing, r.Part.FixturePrinting = &printing.Result{}, &printing.Result{}
	r.Part.Fixtures = &fixture.Result{Fixtures: c.fixtures}
	if len(c.segments) > 0 {
		if r.Part.Printing, err = pl.PrintSegments(ctx, k, c.segments, r.Job.printers(pl.Shop, cores.Segments)); err != nil {
			return fmt.Errorf("remake: %w", err)
		}
	}
	if len(c.fixtures) > 0 {
		if r.Part.FixturePrinting, err = pl.PrintFixtures(ctx, k, r.Part.Fixtures, pl.Shop); err != nil {
			return fmt.Errorf("remake: %w", err)
		}
	}
	for _, p := range []*printing.Result{r.Part.Printing, r.Part.FixturePrinting} {
		for i := range p.Loads {
			p.Loads[i].ID = fmt.Sprintf("remake-%s", p.Loads[i].ID)
		}
		r.Findings = append(r.Findings, p.Findings...)
	}
	return nil
}

// printers is the shop with those printers alone on which the job prints
// segments, as long as it has them: a segment that lies otherwise on another
// printer has its layers otherwise, too.
func (j *Job) printers(s *shop.Shop, segments []core.Segment) *shop.Shop {
	out := *s
	out.Printers = slices.DeleteFunc(slices.Clone(s.Printers), func(p shop.Printer) bool {
		return !slices.ContainsFunc(segments, func(seg core.Segment) bool { return j.printerOf(seg.ID) == p.ID })
	})
	for _, seg := range segments {
		if !slices.ContainsFunc(out.Printers, func(p shop.Printer) bool { return p.ID == j.printerOf(seg.ID) }) {
			return s
		}
	}
	return &out
}
