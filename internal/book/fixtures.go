package book

import (
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/fixture"
	"groundwork/internal/kit"
)

// sent is whether a fixture lies in the box, ready made.
func (p *planner) sent(x fixture.Fixture) bool {
	return p.split() == kit.Cores && (x.Kind != fixture.Coupon || strings.HasPrefix(x.ID, "coupon/insert-")) &&
		slices.ContainsFunc(x.Parts, func(q fixture.Part) bool { return q.Filament != "" })
}

// sellers is whether a coupon stays with the seller while the buyer makes or gets
// the other fixtures: those of what the buyer does not do.
func (p *planner) sellers(x fixture.Fixture) bool {
	if x.Kind != fixture.Coupon {
		return false
	}
	switch p.split() {
	case kit.Cores:
		return !p.sent(x)
	case kit.Leaves: // veneer and laser
		return slices.ContainsFunc([]string{"bend-", "neutral-", "kerf-"}, func(s string) bool { return strings.HasPrefix(x.ID, "coupon/"+s) })
	}
	return false
}

// fixturesToMake is the list of fixtures, with the files that they are made from
// and what they take besides; parted in those that are sent and those that are not.
func (w *writer) fixturesToMake(f *flow) {
	var sent, made, others []fixture.Fixture
	for _, x := range w.pl.Fixtures.Fixtures {
		switch {
		case w.sent(x):
			sent = append(sent, x)
		case w.sellers(x):
			others = append(others, x)
		default:
			made = append(made, x)
		}
	}
	if sent != nil {
		f.section("fixtures", "Fixtures in the box, and what each is for")
		f.para(para{}, "They are made already. Files are those of the job's folder, should one be lost.")
		f.gap(1)
		w.fixturesOf(f, sent)
	}
	if others != nil {
		f.section("", "The seller's coupons")
		w.fixturesOf(f, others)
	}
	if made == nil {
		return
	}
	f.section("fixtures", "Fixtures to make first")
	f.para(para{}, "Files are those of the job's folder; templates, with their files, are at the end of this book. Print alike parts from the one file, as often as the list says. Where a part may be printed *or* sawn by its template, one of both is enough.")
	f.gap(1)
	w.fixturesOf(f, made)
}

// alternative is whether a template saws what may be printed as well.
func alternative(x fixture.Fixture, t fixture.Template) bool {
	return slices.ContainsFunc(x.Parts, func(p fixture.Part) bool { return p.ID == t.ID && p.Filament != "" })
}

// needed is how many of what a template is for the work takes.
func needed(x fixture.Fixture, t fixture.Template) int {
	for _, p := range x.Parts {
		if p.ID == t.ID {
			return max(p.Quantity, t.Quantity)
		}
	}
	return t.Quantity
}

// fixturesOf is a table of fixtures.
func (w *writer) fixturesOf(f *flow, all []fixture.Fixture) {
	var rows []row
	for i := 0; i < len(all); i++ {
		x := all[i]
		ids, files, made, sheets := []string{}, []string{}, []string{}, 0
		count := func(x fixture.Fixture) {
			ids = append(ids, x.ID)
			add := func(m string) {
				if m != "" && !slices.Contains(made, m) {
					made = append(made, m)
				}
			}
			for _, p := range x.Parts {
				what := p.File()
				if what == "" {
					what = p.ID + ", sawn"
				}
				if p.Quantity > 1 {
					what = fmt.Sprintf("%d x %s", p.Quantity, what)
				}
				files = append(files, strings.TrimPrefix(what, "fixtures/"))
				add(p.Filament)
				add(p.Material)
			}
			for _, t := range x.Templates {
				if w.sent(x) && alternative(x, t) {
					continue
				}
				if alternative(x, t) {
					files[len(files)-1] += " or sawn"
				} else {
					sheets++
				}
				add(t.Material)
			}
		}
		count(x)
		// What is used alike is told once.
		for i+1 < len(all) && all[i+1].Words == x.Words {
			i++
			count(all[i])
		}
		if sheets > 0 {
			files = append(files, fmt.Sprintf("%d %s", sheets, plural(sheets, "template", "templates")))
		}
		for k, s := range files {
			files[k] = strings.Replace(s, "x fixtures/", "x ", 1)
		}
		rows = append(rows, row{cells: []string{strings.Join(ids, ", "), strings.Join(files, ", "), strings.Join(made, ", "), w.fixtureWords(x)}, tells: ids, box: true})
	}
	f.table([]column{{title: "What", wide: 4.2}, {title: "Files in fixtures/", wide: 4.8}, {title: "Of", wide: 1.6}, {title: "Use", wide: 7}}, rows)
	var items []string
	needs := map[string]fixture.Need{}
	for _, x := range all {
		for _, n := range x.Needs {
			key := n.Item + n.Unit
			if !slices.Contains(items, key) {
				items = append(items, key)
			}
			old := needs[key]
			n.Quantity += old.Quantity
			needs[key] = n
		}
	}
	rows = nil
	for _, b := range boards(w, all) {
		rows = append(rows, row{cells: b, box: true})
	}
	for _, key := range items {
		n := needs[key]
		rows = append(rows, row{cells: []string{n.Item, fmt.Sprintf("%g %s", n.Quantity, strings.Replace(n.Unit, "piece", plural(int(n.Quantity), "piece", "pieces"), 1))}, box: true})
	}
	if rows != nil {
		f.section("", "What these fixtures take besides")
		f.table([]column{{title: "What", wide: 5}, {title: "How much", wide: 2.4, right: true}, {title: "", wide: 5}}, rows)
	}
}

// boards are the boards that templates are sawn of, by what they are and how
// thick: how many, and for what.
func boards(w *writer, all []fixture.Fixture) (out [][]string) {
	type pile struct {
		what   string
		n      int
		of     []string
		either bool
	}
	var piles []pile
	for _, x := range all {
		for _, t := range x.Templates {
			either := alternative(x, t)
			if t.Material == "" || either && w.sent(x) {
				continue
			}
			what := t.Material
			if t.Thickness > 0 {
				what += ", " + w.mm(t.Thickness) + " thick"
			}
			k := slices.IndexFunc(piles, func(p pile) bool { return p.what == what && p.either == either })
			if k < 0 {
				k, piles = len(piles), append(piles, pile{what: what, either: either})
			}
			piles[k].n += needed(x, t)
			s := alone(t.Sheet)
			piles[k].of = append(piles[k].of, fmt.Sprintf("%s (%s)", t.ID, w.size(s.Width, s.Height)))
		}
	}
	for _, p := range piles {
		use := and(p.of)
		if p.either {
			use = "only if they are sawn instead of printed: " + use
		}
		out = append(out, []string{p.what, fmt.Sprintf("%d %s", p.n, plural(p.n, "piece", "pieces")), use})
	}
	return out
}
