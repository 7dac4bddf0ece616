package book

import (
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/fixture"
)

// fixturesToMake is the list of fixtures, with the files that they are made from
// and what they take besides.
func (w *writer) fixturesToMake(f *flow) {
	f.section("fixtures", "Fixtures to make first")
	f.para(para{}, "Files are those of the job's folder; templates, with their files, are at the end of this book. Print alike parts from the one file, as often as the list says.")
	f.gap(1)
	var rows []row
	all := w.pl.Fixtures.Fixtures
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
				sheets++
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
		rows = append(rows, row{cells: []string{strings.Join(ids, ", "), strings.Join(files, ", "), strings.Join(made, ", "), x.Words}, tells: ids, box: true})
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
	for _, key := range items {
		n := needs[key]
		rows = append(rows, row{cells: []string{n.Item, fmt.Sprintf("%g %s", n.Quantity, strings.Replace(n.Unit, "piece", plural(int(n.Quantity), "piece", "pieces"), 1))}, box: true})
	}
	if rows != nil {
		f.section("", "What the fixtures take besides")
		f.table([]column{{title: "What", wide: 6}, {title: "How much", wide: 2, right: true}, {title: "", wide: 4}}, rows)
	}
}
