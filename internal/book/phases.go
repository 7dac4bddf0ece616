package book

import (
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/printing"
	"groundwork/internal/sheet"
	"groundwork/internal/unit"
)

// theParts are the exploded view, the list of members and the segment maps.
func (w *writer) theParts(f *flow, before laid) {
	f.chapter("parts", "The parts")
	f.figure(w.pictures["exploded"][0])
	var rows []row
	for i, b := range w.pl.Seams.Bodies {
		core := ""
		for _, m := range b.Members {
			if c := w.pl.Layout.Cores[m]; c.Board != nil {
				core = w.mm(c.Board.Thickness) + " core"
			}
		}
		n := len(segments(w.pl, i))
		how := fmt.Sprintf("%d %s", n, plural(n, "segment", "segments"))
		first := w.pl.Piece.Members[b.Members[0]]
		note := core
		if first.Mirrored {
			note = strings.TrimPrefix(note+", mirrored", ", ")
		}
		rows = append(rows, row{cells: []string{fmt.Sprint(i + 1), b.ID, how, note, pagesOf(before.parts[b.ID])}, tells: []string{b.ID}})
	}
	f.table([]column{{title: "", wide: 1}, {title: "Part", wide: 4}, {title: "Printed in", wide: 3}, {title: "", wide: 3}, {title: "On pages", wide: 3}}, rows)
	f.section("maps", "Where the segments are")
	f.para(para{}, "Segments are named from their member, with a letter: the letter is engraved on a face that will not be seen, where there was room. Drawn apart; short cylinders are the dowels of the seams.")
	for _, k := range w.kinds {
		id := w.pl.Seams.Bodies[k.bodies[0]].ID
		f.gap(2)
		f.add(strip{high: minorhead * point * 1.6, keep: true, anchor: []string{"map/" + k.name}, tells: w.named(k), draw: func(p *page, at geom.Vec2) {
			p.texts = append(p.texts, text{at: geom.V2(at.X, at.Y-minorhead*point*1.1), size: minorhead, face: bold, s: k.title()})
		}})
		if len(k.bodies) > 1 {
			var like []string
			for _, b := range k.bodies[1:] {
				like = append(like, w.pl.Seams.Bodies[b].ID)
			}
			f.para(para{keep: true}, fmt.Sprintf("Drawn: %s. %s %s cut alike%s; but halves of different ones are never swapped.", id, and(like), plural(len(like), "is", "are"), w.mirrored(k)))
		}
		for _, p := range w.pictures["body/"+id] {
			f.figure(p)
		}
	}
}

// mirrored tells which bodies of a kind are mirrored.
func (w *writer) mirrored(k kind) string {
	var out []string
	for _, b := range k.bodies {
		if w.pl.Piece.Members[w.pl.Seams.Bodies[b].Members[0]].Mirrored {
			out = append(out, w.pl.Seams.Bodies[b].ID)
		}
	}
	if out == nil {
		return ""
	}
	return "; " + and(out) + " mirrored"
}

// named are the IDs of a kind's bodies, and of the segments of the one that is
// drawn.
func (w *writer) named(k kind) []string {
	return append(idsOf(w.pl, k), segments(w.pl, k.bodies[0])...)
}

func kindOf(ks []kind, body int) string {
	for _, k := range ks {
		if slices.Contains(k.bodies, body) {
			return k.name
		}
	}
	return ""
}

// phase is the chapter of a phase.
func (w *writer) phase(f *flow, ph Phase, c chapterOf, ref func(string) string) {
	f.follows(c.id, c.title)
	if w.split() != "" && w.sold(ph) {
		f.para(para{size: small, grey: 50, keep: true}, "The seller has done this.")
	}
	var told []string // cautions stand in full once in a chapter
	first := true
	for _, s := range w.steps {
		if s.Phase != ph {
			continue
		}
		var fresh []int
		for i, x := range s.Cautions {
			if !slices.Contains(told, x.Text) {
				fresh, told = append(fresh, i), append(told, x.Text)
			}
		}
		cautions := func() {
			for _, i := range fresh {
				f.caution("CAUTION", s.Cautions[i].Text+w.cite(s.Cautions[i].Source), "")
			}
		}
		switch {
		case strings.HasPrefix(s.ID, "print/load"):
			cautions()
			w.loadStep(f, s)
		case strings.HasPrefix(s.ID, "ready/fixtures/"):
			cautions()
			w.fixtureLoad(f, s)
		case strings.HasPrefix(s.ID, "cut/blank"):
			cautions()
			w.blankStep(f, s)
		default:
			f.section(s.ID, s.Title)
			if w.whose(s) == seller && !w.sold(ph) {
				f.para(para{size: small, grey: 50, keep: true}, "The seller does this.")
			}
			if first {
				w.needed(f, s, ref)
			}
			cautions()
			if ph == Glue || ph == Join { // what goes to what, then how it is clamped
				w.tables(f, s)
				w.pictured(f, s, ref)
				w.does(f, s.Does)
			} else {
				w.pictured(f, s, ref)
				w.does(f, s.Does)
				w.tables(f, s)
			}
			if s.ID == "inserts/set" {
				w.joints(f)
			}
		}
		if s.Wait >= hour && !w.waitsLikeNext(s) {
			f.gap(1)
			f.para(para{indent: 5, hang: "»"}, "*Wait "+unit.FormatDuration(s.Wait)+"* before what builds on it.")
		}
		first = false
	}
}

// waitsLikeNext is whether the next step of the chapter has the same wait, which
// then is told there.
func (w *writer) waitsLikeNext(s Step) bool {
	for i, o := range w.steps[:len(w.steps)-1] {
		if o.ID == s.ID {
			next := w.steps[i+1]
			return next.Phase == s.Phase && next.Wait == s.Wait
		}
	}
	return false
}

// needed says which steps must have been done, with their pages, where that is
// not plain.
func (w *writer) needed(f *flow, s Step, ref func(string) string) {
	var out []string
	for _, id := range s.Needs {
		for _, o := range w.steps {
			before := w.whose(o) != w.whose(s) // of somebody else, and over when the box comes
			if o.ID == id && o.Phase != s.Phase && o.Wait > 0 && !before {
				out = append(out, fmt.Sprintf("%s (page %s)", lower(shortened(o.Title, 60)), ref(o.ID)))
			}
		}
	}
	if most := 4; len(out) > most {
		out = append(out[:most-1], fmt.Sprintf("%d more", len(out)-most+1))
	}
	if out != nil {
		f.para(para{size: small, grey: 50, keep: true}, "After: "+strings.Join(out, "; ")+", and the wait that stands there.")
		f.gap(0.8)
	}
}

func lower(s string) string { return strings.ToLower(s[:1]) + s[1:] }

func (w *writer) does(f *flow, does []string) {
	for i, s := range does {
		f.para(para{indent: 11, box: true, hang: fmt.Sprint(i + 1)}, s)
		f.gap(0.8)
	}
}

func (w *writer) tables(f *flow, s Step) {
	for _, t := range s.Tables {
		var cols []column
		for i, h := range t.Head {
			wide := 1.0
			if i < len(t.Wide) {
				wide = t.Wide[i]
			}
			cols = append(cols, column{title: h, wide: wide})
		}
		var rows []row
		for _, r := range t.Rows {
			rows = append(rows, row{cells: r, box: t.Tick, tells: w.among(r, s.Parts)})
		}
		f.gap(1.2)
		f.table(cols, rows)
		f.gap(1)
	}
	// Parts that no table has.
	if len(f.strips) > 0 {
		last := &f.strips[len(f.strips)-1]
		last.tells = append(slices.Clone(last.tells), s.Parts...)
	}
}

// among are the parts that stand in a table's row.
func (w *writer) among(cells, parts []string) (out []string) {
	for _, c := range cells {
		for _, x := range strings.FieldsFunc(c, func(r rune) bool { return r == ',' || r == ' ' || r == '+' }) {
			if slices.Contains(parts, x) {
				out = append(out, x)
			}
		}
	}
	return out
}

// pictured puts a step's drawings, those for laying side by side.
func (w *writer) pictured(f *flow, s Step, ref func(string) string) {
	for _, name := range s.Drawings {
		ps := w.pictures[name]
		if strings.HasPrefix(name, "laying/") {
			for i := 0; i < len(ps); i += 2 {
				left, right := f.columns(0.5)
				var b []strip
				if i+1 < len(ps) {
					b = ps[i+1].strips(right)
				}
				f.stays = true
				f.beside(0.5, ps[i].strips(left), b)
				f.stays = false
			}
			continue
		}
		if strings.HasPrefix(name, "body/") {
			n := w.bodyIndex(strings.TrimPrefix(name, "body/"))
			f.para(para{size: small, grey: 50, keep: true}, "Drawing on page "+ref("map/"+kindOf(w.kinds, n))+".")
			f.gap(0.8)
			continue
		}
		from := len(f.strips)
		for _, p := range ps {
			f.figure(p)
		}
		if strings.HasPrefix(name, "clamping/") { // its words stand below it
			for i := from; i < len(f.strips); i++ {
				f.strips[i].keep = true
			}
		}
		if id, ok := strings.CutPrefix(name, "clamping/"); ok && len(ps) > 0 {
			for _, c := range w.pl.Fixtures.Clamping {
				if c.ID == id {
					f.para(para{}, w.clampWords(c))
					f.gap(2)
				}
			}
		}
	}
}

// massSpread is how far a print's mass may be from what was worked out, as a
// share: beads are laid wider or narrower than set (common practice, no source).
const massSpread = 0.05

// loadStep is a print load: its bed beside its card.
func (w *writer) loadStep(f *flow, s Step) {
	n := slices.IndexFunc(w.pl.Printing.Loads, func(l printing.Load) bool { return "print/"+l.ID == s.ID })
	l := w.pl.Printing.Loads[n]
	var rows []row
	for i, it := range l.Items {
		id := w.pl.Printing.Prints[it.Print].Segment
		rows = append(rows, row{cells: []string{"*" + fmt.Sprint(i+1) + "*", id}, tells: []string{id}})
	}
	w.carded(f, s, l, "core/"+l.ID+".3mf", w.pictures["load/"+l.ID], rows)
}

// fixtureLoad is a print load of fixtures.
func (w *writer) fixtureLoad(f *flow, s Step) {
	r := w.pl.FixturePrinting
	n := slices.IndexFunc(r.Loads, func(l printing.Load) bool { return "ready/fixtures/"+l.ID == s.ID })
	l := r.Loads[n]
	var rows []row
	for i, x := range w.together(r, l) {
		what := x.id
		if x.n > 1 {
			what = fmt.Sprintf("%d x %s", x.n, x.id)
		}
		rows = append(rows, row{cells: []string{"*" + fmt.Sprint(i+1) + "*", what}, tells: []string{x.id}})
	}
	w.carded(f, s, l, "fixtures/"+l.ID+".3mf", w.pictures["fixtures/"+l.ID], rows)
}

// carded is a print load with its settings card.
func (w *writer) carded(f *flow, s Step, l printing.Load, file string, bed []*picture, rows []row) {
	pr := printer(w.pl.Shop, l.Printer).Profile
	left, right := f.columns(0.5)
	card := [][2]string{
		{"File", file},
		{"On", l.Printer + ", in " + l.Filament},
		{"Layers", fmt.Sprintf("%g mm, first %g mm; beads %g mm", pr.Layer, pr.FirstLayer, pr.Line)},
		{"Shell", fmt.Sprintf("%d contours, %d cover layers", pr.Contours, pr.CoverLayers)},
		{"Core fill", fmt.Sprintf("%.0f %% %s", pr.Fill*100, pr.FillPattern)},
		{"Time", fmt.Sprintf("%s (%s to %s)", unit.FormatDuration(l.Seconds), unit.FormatDuration(l.Low), unit.FormatDuration(l.High))},
		{"Filament", fmt.Sprintf("%s (%s to %s)", unit.FormatMass(l.Grams), unit.FormatMass(l.Grams*(1-massSpread)), unit.FormatMass(l.Grams*(1+massSpread)))},
		{"Height", w.mm(l.Height)},
		{"Began, ended", ""},
	}
	for _, c := range card {
		rows = append(rows, row{cells: []string{"*" + c[0] + "*", c[1]}})
	}
	var a, b []strip
	for _, p := range bed {
		a = append(a, p.strips(left)...)
	}
	b = append(b, table(right, []column{{wide: 1}, {wide: 2.3}}, rows)...)
	f.section(s.ID, s.Title)
	f.stays = true
	f.beside(0.5, a, b)
	f.stays = false
	w.does(f, s.Does)
}

// blankStep is a blank: what lies on it beside the list.
func (w *writer) blankStep(f *flow, s Step) {
	n := slices.IndexFunc(w.pl.Sheets.Blanks, func(b sheet.Blank) bool { return "cut/"+b.ID == s.ID })
	b := w.pl.Sheets.Blanks[n]
	share := w.blankShare(n)
	left, right := f.columns(share)
	title := fmt.Sprintf("%s, %s", s.Title, w.size(b.Size.X, b.Size.Y))
	f.section(s.ID, title)
	f.para(para{size: small, grey: 50, keep: true}, fmt.Sprintf("Files veneer/%s.svg and .dxf, of %s.", b.ID, b.Veneer))
	var a []strip
	for _, p := range w.pictures["blank/"+b.ID] {
		a = append(a, p.strips(left)...)
	}
	for i := range a {
		a[i].tells = s.Parts
	}
	f.stays = true
	f.beside(share, a, table(right, []column{{wide: 1.7}, {title: "Leaf", wide: 6}, {title: "", wide: 2}}, w.blanks[b.ID]))
	f.stays = false
	w.does(f, s.Does)
}

// joints are the sections of all kinds of joints.
func (w *writer) joints(f *flow) {
	f.section("joints", "The joints, cut open")
	f.para(para{keep: true}, "One of each kind. Look at them now, to see which way inserts and dowels go.")
	f.gap(1)
	for _, k := range w.jointKinds() {
		j := k.of
		left, right := f.columns(0.5)
		x, y := w.bodiesOf(j)
		var rows []row
		for i, s := range w.jointKeys[j.ID] {
			rows = append(rows, row{cells: []string{"*" + fmt.Sprint(i+1) + "*", s}})
		}
		rows = append(rows, []row{
			{cells: []string{"*Kind*", string(j.Kind) + ", " + x + " and " + y}, tells: append(slices.Clone(k.like), x, y)},
			{cells: []string{"*Takes*", w.hardware(j)}},
		}...)
		if len(j.Screws) > 0 {
			s := j.Screws[0]
			rows = append(rows,
				row{cells: []string{"*Grip*", w.mm(s.Grip) + " from head to contact"}},
				row{cells: []string{"*In the insert*", w.mm(s.Engagement) + " of thread"}},
				row{cells: []string{"*Torque*", fmt.Sprintf("%.2f N m; key %s mm", w.torque(s), keys[s.Size])}})
		}
		rows = append(rows, w.bores(j)...)
		if len(k.like) > 1 {
			rows = append(rows, row{cells: []string{"*Likewise*", strings.Join(k.like[1:], ", ")}})
		}
		var a []strip
		for _, p := range w.pictures["joint/"+j.ID] {
			a = append(a, p.strips(left)...)
		}
		f.beside(0.5, a, table(right, []column{{wide: 1.3}, {wide: 2.4}}, rows))
	}
}

// bores are the bores of a joint, alike ones once.
func (w *writer) bores(j joint.Joint) (rows []row) {
	count := map[string]int{}
	var order []string
	what := map[string]string{}
	for _, b := range j.Bores {
		if b.Depth < 1 { // a rim that lets a screw pass into its insert
			continue
		}
		s := fmt.Sprintf("%s wide, %s, in %s", w.fit(b.Diameter), w.deep(b), w.pl.Piece.Members[b.Member].ID)
		key := string(b.Purpose) + s
		if count[key] == 0 {
			order, what[key] = append(order, key), s
		}
		count[key]++
	}
	for _, key := range order {
		n := ""
		if count[key] > 1 {
			n = fmt.Sprintf("%d x ", count[key])
		}
		rows = append(rows, row{cells: []string{"*Bore, " + strings.TrimSuffix(key, what[key]) + "*", n + what[key]}})
	}
	return rows
}

// fit is a width that fits rest on, to the hundredth of a millimetre.
func (w *writer) fit(x float64) string {
	if w.sys != unit.Metric {
		return w.mm(x)
	}
	return fmt.Sprintf("%.2f mm", x)
}
