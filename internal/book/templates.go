package book

import (
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/draw"
	"groundwork/internal/fixture"
	"groundwork/internal/geom"
)

// template is a drawing to be printed at full size.
type template struct {
	title  string
	words  string
	sheet  draw.Sheet
	keys   []fixture.Key
	file   string
	of     []string
	tiling tiling
	bare   map[[2]int]bool // pages, by column and row, that no line crosses
}

// template lays a sheet on paper the way that takes fewer pages.
func (w *writer) template(title, words string, s draw.Sheet, keys []fixture.Key, file, of string) template {
	f := w.flow()
	lay := func(s draw.Sheet) template {
		t := template{title, words, s, keys, file, []string{of}, f.tiling(s, len(legendLines(keys, f.wide()))), map[[2]int]bool{}}
		for x := range t.tiling.cols {
			for y := range t.tiling.rows {
				t.bare[[2]int{x, y}] = t.tiling.bare(s, x, y)
			}
		}
		return t
	}
	out, other := lay(s), lay(turned(s))
	if len(other.shown()) < len(out.shown()) {
		return other
	}
	return out
}

// shown are the pages that are in the book, by column and row.
func (t template) shown() (out [][2]int) {
	for r := range t.tiling.rows {
		for c := range t.tiling.cols {
			if !t.bare[[2]int{c, r}] {
				out = append(out, [2]int{c, r})
			}
		}
	}
	return out
}

// parting is how many pages a template has, and which are left out.
func (t template) parting() string {
	s := fmt.Sprintf("%d x %d", t.tiling.cols, t.tiling.rows)
	var out []string
	for r := range t.tiling.rows {
		for c := range t.tiling.cols {
			if t.bare[[2]int{c, r}] {
				out = append(out, fmt.Sprintf("column %d, row %d", c+1, r+1))
			}
		}
	}
	if out != nil {
		s += fmt.Sprintf("; left out, as no line crosses %s: %s", plural(len(out), "it", "them"), strings.Join(out, "; "))
	}
	return s
}

// alone is a sheet without its legend, cut to what is drawn: on pages the legend
// stands below.
func alone(s draw.Sheet) draw.Sheet {
	if !slices.ContainsFunc(s.Layers, fixture.InLegend) {
		return s
	}
	const margin = 6.0 // mm, as boards are larger than what is drawn
	box := geom.EmptyBox2()
	out := draw.Sheet{Title: s.Title}
	for _, l := range s.Layers {
		if fixture.InLegend(l) {
			continue
		}
		for _, it := range l.Items {
			box = box.Union(it.Bounds())
		}
		out.Layers = append(out.Layers, l)
	}
	if box.Empty() {
		return s
	}
	for i, l := range out.Layers {
		out.Layers[i] = moved(l, geom.V2(margin, margin).Sub(box.Min))
	}
	out.Width, out.Height = box.Size().X+2*margin, box.Size().Y+2*margin
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
		keys := []fixture.Key{{Layers: []string{"gross"}, Words: "cut on it"}, {Layers: []string{"net"}, Words: "edge of what shows"}, {Layers: []string{"pins"}, Words: "pin"}}
		out = append(out, w.template(pt.ID, "Cut with a knife.", s, keys, "", pt.ID))
	}
	if w.pl.Fixtures == nil {
		return out
	}
	for _, x := range w.pl.Fixtures.Fixtures {
		for _, t := range x.Templates {
			if w.sent(x) && alternative(x, t) {
				continue // it lies in the box, printed
			}
			s := alone(t.Sheet)
			s.Layers = slices.Clone(s.Layers)
			for i, l := range s.Layers {
				s.Layers[i] = readable(l)
			}
			title, words := t.ID, t.Words
			if n := needed(x, t); n > 1 {
				title = fmt.Sprintf("%s (make %d)", t.ID, n)
			}
			if alternative(x, t) {
				words = "Only if it is sawn instead of printed. " + words
			}
			out = append(out, w.template(title, words, s, t.Keys, t.File(), x.ID))
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
	f.para(para{}, "Print these pages without fitting to the page, and measure the bar at the foot of each. Pages of one template overlap by 10 mm: lay the crosses over one another on a light window, and tape. What the lines are is told below every page. A page that no line crosses is left out; the table says which.")
	f.gap(2)
	var rows []row
	for _, t := range ts {
		words := t.words
		if t.file != "" {
			words = strings.TrimSpace(words + " *File:* " + t.file)
		}
		rows = append(rows, row{cells: []string{t.title, w.size(t.sheet.Width, t.sheet.Height), t.parting(), words}, tells: t.of})
	}
	f.table([]column{{title: "Template", wide: 4.4}, {title: "Size", wide: 2.6}, {title: "Columns x rows", wide: 2.6}, {title: "", wide: 8}}, rows)
	for _, t := range ts {
		for _, at := range t.shown() {
			s := f.tile(t, at[0], at[1])
			s.tells = t.of
			f.add(s)
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
