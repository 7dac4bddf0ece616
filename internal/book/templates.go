package book

import (
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
)

// template is a drawing to be printed at full size.
type template struct {
	title string
	words string
	sheet draw.Sheet
	file  string
	of    []string
	bare  map[[2]int]bool // pages, by column and row, with nothing on them
}

// template lays a sheet on paper the way that takes fewer pages.
func (w *writer) template(title, words string, s draw.Sheet, file, of string) template {
	f := w.flow()
	c, r, _ := tiles(s, f.paper, f.left, f.right, f.top, f.foot)
	q := turned(s)
	if a, b, _ := tiles(q, f.paper, f.left, f.right, f.top, f.foot); a*b < c*r {
		s, c, r = q, a, b
	}
	out := template{title, words, s, file, []string{of}, map[[2]int]bool{}}
	for x := range c {
		for y := range r {
			out.bare[[2]int{x, y}] = f.bare(s, x, y)
		}
	}
	return out
}

// templates are the patterns that are cut by knife, and those of fixtures.
func (w *writer) templates() (out []template) {
	for i, pt := range w.pl.Patterns {
		b := w.pl.Sheets.Placements[i].Blank
		if !pt.KnifeCut && (b < 0 || !w.pl.Sheets.Blanks[b].ByKnife) {
			continue
		}
		box := pt.Gross.Bounds()
		turn := func(q geom.Vec2) geom.Vec2 { return q.Sub(box.Min) }
		size := box.Size()
		s := draw.Sheet{Title: pt.ID, Width: size.X, Height: size.Y}
		s.Layers = append(s.Layers, draw.Layer{Name: "gross", Operation: draw.Note, Pen: pen(0.35, 0), Items: draw.Outlines(pt.Gross.Map(turn))},
			draw.Layer{Name: "net", Operation: draw.Note, Pen: &draw.Style{Width: 0.18, Dash: []float64{3, 1.5}}, Items: draw.Outlines(pt.Net.Map(turn))})
		var pins []draw.Item
		for _, q := range pt.Pins {
			pins = append(pins, draw.Circle{Center: turn(q), Radius: pt.Pin / 2})
		}
		s.Layers = append(s.Layers, draw.Layer{Name: "pins", Operation: draw.Note, Pen: pen(0.18, 0), Items: pins})
		out = append(out, w.template(pt.ID, "Whole line: cut. Dashed: what shows. Circles: pins.", s, "", pt.ID))
	}
	if w.pl.Fixtures == nil {
		return out
	}
	for _, x := range w.pl.Fixtures.Fixtures {
		for _, t := range x.Templates {
			if w.sent(x) && alternative(x, t) {
				continue // it lies in the box, printed
			}
			s := t.Sheet
			for i, l := range s.Layers {
				if i == 0 {
					s.Layers = slices.Clone(s.Layers)
				}
				s.Layers[i] = readable(l)
			}
			title, words := t.ID, t.Words
			if n := needed(x, t); n > 1 {
				title = fmt.Sprintf("%s (make %d)", t.ID, n)
			}
			if alternative(x, t) {
				words = "Only if it is sawn instead of printed. " + words
			}
			out = append(out, w.template(title, words, s, t.File(), x.ID))
		}
	}
	return out
}

// fullSize are the templates, page by page.
func (w *writer) fullSize(f *flow, ts []template) {
	if len(ts) == 0 {
		return
	}
	f.chapter("templates", "Templates at full size")
	f.para(para{}, "Print these pages without fitting to the page, and measure the bar at the foot of each. Pages of one template overlap by 10 mm: lay the crosses over one another on a light window, and tape.")
	f.gap(2)
	var rows []row
	for _, t := range ts {
		c, r, _ := tiles(t.sheet, f.paper, f.left, f.right, f.top, f.foot)
		words := t.words
		if t.file != "" {
			words = strings.TrimSpace(words + " *File:* " + t.file)
		}
		rows = append(rows, row{cells: []string{t.title, w.size(t.sheet.Width, t.sheet.Height), fmt.Sprintf("%d x %d", c, r), words}, tells: t.of})
	}
	f.table([]column{{title: "Template", wide: 4.4}, {title: "Size", wide: 2.6}, {title: "Pages", wide: 1.3}, {title: "", wide: 8}}, rows)
	for _, t := range ts {
		cols, rows, _ := tiles(t.sheet, f.paper, f.left, f.right, f.top, f.foot)
		for r := range rows {
			for c := range cols {
				if t.bare[[2]int{c, r}] {
					continue
				}
				s := f.tile(t.sheet, t.title, c, r)
				s.tells = t.of
				f.add(s)
			}
		}
	}
}

// index says on which pages every part is told of.
func (w *writer) index(f *flow, before laid) {
	f.chapter("index", "Index of parts")
	var ids []string
	for _, b := range w.pl.Seams.Bodies {
		ids = append(ids, b.ID)
	}
	for _, s := range w.pl.Cores.Segments {
		ids = append(ids, s.ID)
	}
	for _, p := range w.pl.Patterns {
		ids = append(ids, p.ID)
	}
	for _, b := range w.pl.Sheets.Blanks {
		ids = append(ids, b.ID)
	}
	for _, j := range w.pl.Joints.Joints {
		if len(j.Screws)+len(j.Dowels) > 0 {
			ids = append(ids, j.ID)
		}
	}
	for _, s := range w.pl.Seams.Seams {
		ids = append(ids, s.ID)
	}
	if w.pl.Fixtures != nil {
		for _, x := range w.pl.Fixtures.Fixtures {
			ids = append(ids, x.ID)
		}
	}
	slices.Sort(ids)
	ids = slices.Compact(ids)
	// Two columns, read down.
	half := (len(ids) + 1) / 2
	var rows []row
	for i := range half {
		r := row{cells: []string{ids[i], pagesOf(before.parts[ids[i]])}}
		if j := i + half; j < len(ids) {
			r.cells = append(r.cells, ids[j], pagesOf(before.parts[ids[j]]))
		}
		rows = append(rows, r)
	}
	f.table([]column{{title: "Part", wide: 3}, {title: "Pages", wide: 3}, {title: "Part", wide: 3}, {title: "Pages", wide: 3}}, rows)
}
