package book

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/check"
	"groundwork/internal/draw"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/kit"
	"groundwork/internal/parallel"
	"groundwork/internal/piece"
	"groundwork/internal/printing"
	"groundwork/internal/unit"
)

// writer puts the book together.
type writer struct {
	*artist
	paper     geom.Vec2
	fullSized []template // what is printed at full size
	steps     []Step
	pictures  map[string][]*picture // by the names that steps have for them
	blanks    map[string][]row
	jointKeys map[string][]string // what the numbers on a joint's section mean
	asked     []string            // of furniture of its kind to bear, where nobody worked out what it bears
	sources   []string            // of the cautions, in the order in which they are cited
}

func (w *writer) margins() (left, right float64) { return 20, 16 }

func (w *writer) flow() *flow {
	left, right := w.margins()
	return &flow{paper: w.paper, left: left, right: right, top: 18, foot: 16}
}

// drawing is a picture to be made, or several, under the name that steps have
// for them.
type drawing struct {
	name string
	make func() ([]*picture, error)
}

// draw makes all pictures, side by side.
func (w *writer) draw() error {
	f := w.flow()
	wide := f.wide()
	half, rest := f.columns(0.5)
	var all []drawing
	add := func(name string, make func() (*picture, error)) {
		all = append(all, drawing{name, func() ([]*picture, error) {
			p, err := make()
			if err != nil || p == nil {
				return nil, err
			}
			return []*picture{p}, nil
		}})
	}
	add("exploded", func() (*picture, error) { return w.exploded(geom.V2(wide, 168)) }) // takes longest
	for i := range w.moves {
		add(fmt.Sprintf("move/%d", i), func() (*picture, error) { return w.move(i, geom.V2(wide, 120)) })
	}
	add("cover", func() (*picture, error) { return w.cover(geom.V2(wide, 150)) })
	for _, k := range w.kinds {
		id := w.pl.Seams.Bodies[k.bodies[0]].ID
		add("body/"+id, func() (*picture, error) { return w.body(id, geom.V2(wide, 100)) })
		for _, v := range variants(w.pl, k) {
			id := w.pl.Seams.Bodies[v[0]].ID
			if len(laying(w.pl, v[0])) > 0 {
				all = append(all, drawing{"laying/" + id, func() ([]*picture, error) { return w.laying(id, geom.V2(half, 112)) }})
			}
		}
	}
	for _, l := range w.pl.Layout.Laps {
		add("lap/"+l.ID, func() (*picture, error) { return w.lap(l.ID, geom.V2(wide, 70)) })
	}
	kinds := w.jointKinds()
	keys := make([][]string, len(kinds))
	for i, k := range kinds {
		add("joint/"+k.of.ID, func() (p *picture, err error) {
			p, keys[i], err = w.section(k.of, geom.V2(rest, 80))
			return p, err
		})
	}
	for _, l := range w.pl.Printing.Loads {
		var marked []int
		for i := range l.Items {
			marked = append(marked, i)
		}
		add("load/"+l.ID, func() (*picture, error) { return w.load(w.pl.Printing, l, marked, geom.V2(half, 62)) })
	}
	if w.pl.Fixtures != nil && w.pl.FixturePrinting != nil {
		for _, l := range w.pl.FixturePrinting.Loads {
			var firsts []int // of alike ones
			for _, x := range w.together(w.pl.FixturePrinting, l) {
				firsts = append(firsts, x.at)
			}
			add("fixtures/"+l.ID, func() (*picture, error) { return w.load(w.pl.FixturePrinting, l, firsts, geom.V2(half, 75)) })
		}
	}
	for i, s := range w.pl.Sheets.Sheets {
		add("sheet/"+s.ID, func() (*picture, error) { return w.sheet(i, geom.V2(wide, 120)) })
	}
	rows := make([][]row, len(w.pl.Sheets.Blanks))
	for i, b := range w.pl.Sheets.Blanks {
		left, _ := f.columns(w.blankShare(i))
		add("blank/"+b.ID, func() (p *picture, err error) {
			p, rows[i], err = w.blank(i, geom.V2(left, 105))
			return p, err
		})
	}
	if w.pl.Fixtures != nil {
		for _, c := range w.pl.Fixtures.Clamping {
			if c.Like == "" {
				add("clamping/"+c.ID, func() (*picture, error) { return w.clamping(c, geom.V2(124, 100)) })
			}
		}
	}
	made, errs := make([][]*picture, len(all)), make([]error, len(all))
	parallel.Each(len(all), 0, func(i int) { made[i], errs[i] = all[i].make() })
	if err := cmp.Or(errs...); err != nil {
		return err
	}
	w.pictures, w.blanks, w.jointKeys = map[string][]*picture{}, map[string][]row{}, map[string][]string{}
	for i, d := range all {
		w.pictures[d.name] = made[i]
	}
	for i, k := range kinds {
		w.jointKeys[k.of.ID] = keys[i]
	}
	for i, b := range w.pl.Sheets.Blanks {
		w.blanks[b.ID] = rows[i]
	}
	return nil
}

// blankShare is the drawing's share of the page's width.
func (w *writer) blankShare(n int) float64 {
	b := w.pl.Sheets.Blanks[n]
	if b.Size.X > 1.2*b.Size.Y {
		return 0.62
	}
	return 0.5
}

// chapters are the book's, with the anchors of their headings.
type chapterOf struct{ id, title string }

// compose writes the book with the page numbers of an earlier round; dry, only to
// find the page numbers.
func (w *writer) compose(before laid, dry bool) laid {
	f := w.flow()
	ref := func(id string) string {
		if n, ok := before.at[id]; ok {
			return fmt.Sprint(n)
		}
		return "00"
	}
	w.sources = nil
	w.front(f)
	chapters := []chapterOf{{"before", "Before you begin"}}
	ready := w.split() == kit.Ready
	if ready {
		chapters = append(chapters, chapterOf{"unpack", "For who unpacks the box"})
	}
	n := 0
	phase := func(ph Phase) {
		if slices.ContainsFunc(w.steps, func(s Step) bool { return s.Phase == ph }) {
			n++
			chapters = append(chapters, chapterOf{"phase/" + string(ph), fmt.Sprintf("%d  %s", n, strings.ToUpper(string(ph[:1]))+string(ph[1:]))})
		}
	}
	order := w.order()
	for ready && len(order) > 0 && !w.sold(order[0]) {
		phase(order[0])
		order = order[1:]
	}
	needs := "What you need"
	if ready {
		needs = "How it was made: what it took"
	}
	chapters = append(chapters, chapterOf{"needs", needs}, chapterOf{"parts", "The parts"})
	if w.dated() {
		chapters = append(chapters, chapterOf{"calendar", "The calendar"})
	}
	for _, ph := range order {
		phase(ph)
	}
	if w.pl.Strength != nil {
		chapters = append(chapters, chapterOf{"strength", "How it bears its loads"})
	}
	ts := w.fullSized
	if len(ts) > 0 {
		chapters = append(chapters, chapterOf{"templates", "Templates at full size"})
	}
	if slices.ContainsFunc(w.steps, func(s Step) bool {
		return slices.ContainsFunc(s.Cautions, func(c check.Caution) bool { return c.Source != "" })
	}) {
		chapters = append(chapters, chapterOf{"sources", "Where the cautions come from"})
	}
	chapters = append(chapters, chapterOf{"index", "Index of parts"})
	w.contents(f, chapters, before)
	for _, c := range chapters {
		ph, ok := strings.CutPrefix(c.id, "phase/")
		switch {
		case ok:
			w.phase(f, Phase(ph), c, ref)
		case c.id == "before":
			w.before(f)
		case c.id == "unpack":
			w.unpack(f, c)
		case c.id == "needs":
			w.needs(f, c)
		case c.id == "parts":
			w.theParts(f, before)
		case c.id == "calendar":
			w.calendar(f)
		}
	}
	w.bears(f)
	w.fullSize(f, ts)
	w.cited(f)
	w.index(f, before)
	return f.lay(dry)
}

// front is the cover.
func (w *writer) front(f *flow) {
	pc := w.pl.Piece
	f.add(strip{high: 30, keep: true, fresh: true, draw: func(p *page, at geom.Vec2) {
		p.texts = append(p.texts, text{at: geom.V2(at.X, at.Y-14), size: 30, face: bold, s: pc.Title},
			text{at: geom.V2(at.X, at.Y-24), size: 14, s: "Bench book"})
	}})
	if pc.Note != "" {
		f.para(para{size: 11, keep: true}, strings.TrimSpace(pc.Note))
	}
	f.gap(6)
	f.figure(w.pictures["cover"][0])
	f.gap(4)
	s := w.extent()
	t := w.pl.Bill
	over := "Size over the veneer"
	if pc.Sizes == piece.CoreSize {
		over = "Size over the cores"
	}
	bears := "not worked out: read \"What it bears\" before anybody sits, stands or leans on it"
	if w.pl.Strength != nil {
		bears = w.bearing()
	}
	facts := [][2]string{
		{over, fmt.Sprintf("%s wide, %s deep, %s high", w.mm(s.X), w.mm(s.Y), w.mm(s.Z))},
		{"Weight", unit.FormatMass(w.pl.Checks.Mass)},
		{"Printing", fmt.Sprintf("%d segments on %d print loads, %s of filament, %s (%s to %s) of one printer's time", len(w.pl.Cores.Segments), len(w.pl.Printing.Loads),
			unit.FormatMass(t.FilamentGrams), unit.FormatDuration(t.PrintSeconds), unit.FormatDuration(t.PrintLow), unit.FormatDuration(t.PrintHigh))},
		{"Veneer", fmt.Sprintf("%d leaves and bands on %d blanks", len(w.pl.Patterns), len(w.pl.Sheets.Blanks))},
		{"Time by hand", w.byHand()},
		{"What it bears", bears},
		{"Kit revision", w.Revision},
	}
	if w.Maker != "" {
		facts = append(facts, [2]string{"Kit made by", w.Maker})
	}
	var rows []row
	for _, x := range facts {
		rows = append(rows, row{cells: []string{"*" + x[0] + "*", x[1]}})
	}
	f.table([]column{{wide: 1}, {wide: 3}}, rows)
}

// byHand is the bill's time by hand, in words.
func (w *writer) byHand() string {
	s := "about " + unit.FormatDuration(w.pl.Bill.LabourSeconds) + ", without waiting"
	if x := w.pl.Bill.FixtureLabourSeconds; x > 0 {
		s += "; and " + unit.FormatDuration(x) + " for coupons and fixtures, once"
	}
	return s
}

// extent is the size of the piece as its file gives it: of the points of all
// surfaces, for the box round a turned body's box is larger than what lies in it.
func (w *writer) extent() geom.Vec3 {
	b := geom.EmptyBox3()
	const chord = 0.1 // mm
	for _, m := range w.pl.Piece.Members {
		for _, s := range m.Surfaces(chord) {
			for _, loop := range s.Region {
				for _, q := range loop {
					b = b.Add(m.Place.Point(s.Point(q)))
				}
			}
		}
	}
	return b.Size()
}

// contents is the table of contents.
func (w *writer) contents(f *flow, chapters []chapterOf, before laid) {
	f.chapter("contents", "Contents")
	inContents := func(s Step) bool {
		return !strings.HasPrefix(s.ID, "cut/blank") && !strings.HasPrefix(s.ID, "print/load") && !strings.HasPrefix(s.ID, "ready/fixtures/")
	}
	entries := len(chapters)
	for _, s := range w.steps {
		if inContents(s) {
			entries++
		}
	}
	size := 9.5 // smaller if that makes it one page
	for size > 8.5 && float64(entries)*high(size)+float64(len(chapters))*0.8 > f.high()-16 {
		size -= 0.25
	}
	line := func(title, id string, indent float64, fc face) {
		n := before.at[id]
		num := "00"
		if n > 0 {
			num = fmt.Sprint(n)
		}
		f.add(strip{high: high(size), draw: func(p *page, at geom.Vec2) {
			y := at.Y - base(size)
			p.texts = append(p.texts, text{at: geom.V2(at.X+indent, y), size: size, face: fc, s: title})
			x := at.X + f.wide() - width(regular, size, num)
			p.texts = append(p.texts, text{at: geom.V2(x, y), size: size, s: num})
			from := at.X + indent + width(fc, size, title) + 2
			if from < x-2 {
				p.layers = append(p.layers, draw.Layer{Name: "lines", Operation: draw.Note, Pen: &draw.Style{Red: 150, Green: 150, Blue: 150, Width: 0.18, Dash: []float64{0.2, 1.2}},
					Items: []draw.Item{draw.Line(geom.V2(from, y), geom.V2(x-2, y))}})
			}
			if n > 0 {
				p.links = append(p.links, link{geom.Box2{Min: geom.V2(at.X, at.Y-high(size)), Max: geom.V2(at.X+f.wide(), at.Y)}, n - 1})
			}
		}})
	}
	for _, c := range chapters {
		f.gap(0.8)
		line(c.title, c.id, 0, bold)
		ph, ok := strings.CutPrefix(c.id, "phase/")
		if !ok {
			continue
		}
		for _, s := range w.steps {
			if s.Phase == Phase(ph) && inContents(s) {
				line(shortened(s.Title, 90), s.ID, 8, regular)
			}
		}
	}
}

func shortened(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n-1]) + "…"
}

// before says how to use the book, and what the plan warns of.
func (w *writer) before(f *flow) {
	f.chapter("before", "Before you begin")
	takes := map[kit.Split]string{
		"":         "This book takes you from a box of files, filament and veneer to the finished piece. You need no program but the ones that drive your printer and your laser. Work through it in order: every step stands after those that it needs.",
		kit.Ready:  "This book comes with a piece that is made and wants to be put together. The chapters up to \"use and care\" are for whoever unpacks it. Those behind them tell, step by step, how it was made.",
		kit.Cores:  "This book takes you from a box of printed segments and cut veneer to the finished piece. You need no program, no printer and no laser. Work through it in order: every step stands after those that it needs. What the seller has done stands in it, too, and says so.",
		kit.Leaves: "This book takes you from filament, files and cut veneer to the finished piece. You need no program but the one that drives your printer. Work through it in order: every step stands after those that it needs. What the seller does stands in it, too, and says so.",
	}[w.split()]
	for _, s := range []string{
		takes + " Read a chapter to its end before you begin with it.",
		"Tick the box of every sentence and every line of a table when it is done. Where a number is asked for, write it in.",
		"*Names.* A *member* is a part as a joiner names it: top, leg, rail. Its *core* is printed, whole or in *segments* that are glued at *seams*. *Leaves* of veneer cover faces, *bands* cover edges. A *blank* is a piece of veneer cut from the sheet for the laser. Every segment and every leaf has a number such as " + w.example() + ", which stands on its label, in the tables and in the index at the end.",
		"*Drawings* are to scale; the scale stands below. Lengths are in " + map[bool]string{true: "inches", false: "millimetres"}[w.sys != unit.Metric] + " unless another unit is given. Sizes of screws, inserts and dowels are in millimetres.",
		"*Grey fields* are cautions. They stand at the step that they belong to. A number in brackets leads to where a caution comes from, at the end of the book.",
		"*Directions.* Front, right and above are those of the finished piece. The front is the side nearer to you on the cover, at the lower left.",
	} {
		f.para(para{}, s)
		f.gap(1.6)
	}
	w.stands(f)
	if w.Notes != "" {
		f.section("", "From the maker")
		for _, s := range strings.Split(strings.TrimSpace(w.Notes), "\n") {
			if s = strings.TrimSpace(s); s != "" {
				f.para(para{}, s)
				f.gap(1)
			}
		}
	}
	var stops []finding.Finding
	for _, x := range w.pl.Findings {
		if x.Severity == finding.Stop {
			stops = append(stops, x)
		}
	}
	if stops != nil {
		f.section("", "This kit cannot be built as it is")
		for _, x := range stops {
			f.caution("STOP", x.Subject+": "+x.Message+w.remedy(x), x.Source)
		}
	}
	if w.split() != kit.Ready { // there they are of the making, and stand with it
		w.warnings(f)
	}
	w.whoDoes(f)
}

// warnings are what the plan warns of.
func (w *writer) warnings(f *flow) {
	var warns []finding.Finding
	for _, x := range w.pl.Findings {
		switch x.Severity {
		case finding.Warning:
			if x.Stage == "printing" && (w.ofFixture(x) || w.sold(Print)) {
				continue // of how it prints: told at its load
			}
			warns = append(warns, x)
		case finding.Note:
			if x.Code == "veneer-tension" { // tells of what may open in the veneer
				warns = append(warns, x)
			}
		}
	}
	if warns != nil {
		f.section("warnings", "What the plan warns of")
		f.para(para{size: small, grey: 50}, "Engineering estimates by analogy with published standards; nothing here is a certificate. Local codes and licensed practice come first.")
		f.gap(1)
		// Those that say the same of several subjects are told once.
		var order []string
		subjects := map[string][]string{}
		first := map[string]finding.Finding{}
		for _, x := range warns {
			key := x.Code + x.Remedy
			if subjects[key] == nil {
				order, first[key] = append(order, key), x
			}
			subjects[key] = append(subjects[key], x.Subject)
		}
		for _, key := range order {
			x := first[key]
			s := "*" + x.Subject + ".* " + sentence(plain(x.Message))
			if n := len(subjects[key]); n > 1 {
				s = strings.TrimSuffix(s, ".") + ". Likewise: " + and(subjects[key][1:]) + "."
			}
			f.para(para{size: body, indent: 5, hang: "!"}, s+w.remedy(x))
			f.gap(1)
		}
	}
}

// ofFixture is whether a finding is about how a part of a fixture prints.
func (w *writer) ofFixture(x finding.Finding) bool {
	return x.Stage == "printing" && w.pl.FixturePrinting != nil &&
		slices.ContainsFunc(w.pl.FixturePrinting.Prints, func(p printing.Print) bool { return p.Segment == x.Subject })
}

// sentence begins with a capital and ends with a full stop.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + strings.TrimRight(s[1:], ".") + "."
}

// remedy is what may be done about a finding by whoever has the book in hand: what
// only another plan mends is left out.
func (w *writer) remedy(x finding.Finding) string {
	if x.Remedy == "" || x.Stage == "printing" {
		return ""
	}
	s := " *Remedy:* " + sentence(plain(x.Remedy))
	if x.Code == "shrinkage-unmeasured" && w.sold(Print) {
		s += " The seller has done so before the box was packed."
	}
	return s
}

// plain is a text in the words of the bench, without those of the program.
func plain(s string) string { return plainly.Replace(s) }

var plainly = strings.NewReplacer(
	"The shop file gives", "The maker's settings give", "the shop file", "the maker's settings", "The shop file", "The maker's settings",
	"the shop's section work", "the maker's settings",
	"secondary source", "read as others quote it",
	// Bands are laid in one go and pinned; and what it is printed in is settled.
	"; or print in a filled filament that expands less", "",
)

// cite is the number of a caution's source, in brackets.
func (w *writer) cite(source string) string {
	if source == "" {
		return ""
	}
	n := slices.Index(w.sources, source)
	if n < 0 {
		n, w.sources = len(w.sources), append(w.sources, source)
	}
	return fmt.Sprintf(" [%d]", n+1)
}

// cited lists where cautions come from.
func (w *writer) cited(f *flow) {
	if len(w.sources) == 0 {
		return
	}
	f.follows("sources", "Where the cautions come from")
	for i, s := range w.sources {
		f.para(para{size: small, indent: 8, hang: fmt.Sprint(i + 1)}, sentence(plain(s)))
	}
}

// unpack is what whoever gets a piece that is ready begins with.
func (w *writer) unpack(f *flow, c chapterOf) {
	f.chapter(c.id, c.title)
	f.para(para{}, "Lay the parts on a blanket. Count what is in the box and tick it off. Then put the piece together by the next chapter, tighten it again after a day, and read how it is used and cared for. That is all that is left to do.")
	w.box(f)
	f.section("", "Have ready")
	f.table([]column{{title: "What", wide: 5}, {title: "For", wide: 6}}, w.listed(buyer))
}

func (w *writer) example() string {
	if len(w.pl.Cores.Segments) > 0 {
		s := w.pl.Cores.Segments[0].ID
		if len(w.pl.Patterns) > 0 {
			s += " or " + w.pl.Patterns[0].ID
		}
		return s
	}
	return "top.a"
}
