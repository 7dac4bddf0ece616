package book

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/bill"
	"groundwork/internal/check"
	"groundwork/internal/draw"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/kit"
	"groundwork/internal/parallel"
	"groundwork/internal/piece"
	"groundwork/internal/printing"
	"groundwork/internal/sheet"
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

var sectionTitles = map[bill.Section]string{
	bill.Filament: "Filament", bill.Veneer: "Veneer", bill.Hardware: "Hardware", bill.Consumable: "Consumables",
}

// needs are the lists of what must be at hand: where a kit is sent, what is in the
// box, what to have ready, and what only the seller needs.
func (w *writer) needs(f *flow, c chapterOf) {
	f.follows(c.id, c.title)
	if w.split() == kit.Ready {
		w.warnings(f)
	}
	if w.split() == "" {
		w.supplies(f, "")
		f.table([]column{{title: "Tools and small things", wide: 6}, {title: "For", wide: 5}}, w.listed(""))
	} else {
		if w.split() != kit.Ready {
			w.box(f)
			f.section("ready", "Have ready")
			f.para(para{keep: true}, "It is not in the box.")
			f.gap(1)
			w.supplies(f, buyer)
			f.table([]column{{title: "Tools and small things", wide: 6}, {title: "For", wide: 5}}, w.listed(buyer))
		}
		if w.split() == kit.Ready {
			f.section("seller", "Materials and tools")
		} else {
			f.section("seller", "The seller's own")
			f.para(para{keep: true}, "Not needed by whoever gets the box.")
			f.gap(1)
		}
		w.supplies(f, seller)
		f.table([]column{{title: "Tools and small things", wide: 6}, {title: "For", wide: 5}}, w.listed(seller))
	}
	if w.pl.Fixtures != nil && len(w.pl.Fixtures.Fixtures) > 0 {
		w.fixturesToMake(f)
	}
}

// user is who needs what a line of the bill tells of, by the phase in which it is
// used up; "" where no kit is sent.
func (w *writer) user(l bill.Line) string {
	if w.split() == "" {
		return ""
	}
	ph := map[bill.Section]Phase{bill.Filament: Print, bill.Fixtures: Print, bill.Veneer: Cut, bill.Consumable: Finish}[l.Section]
	switch {
	case l.Section == bill.Hardware && w.split() == kit.Ready: // set already
	case l.Section == bill.Hardware || !w.sold(ph):
		return buyer
	}
	return seller
}

// supplies are the materials of the bill that somebody needs.
func (w *writer) supplies(f *flow, by string) {
	for _, sec := range []bill.Section{bill.Filament, bill.Veneer, bill.Hardware, bill.Consumable} {
		var rows []row
		for _, l := range w.pl.Bill.Lines {
			own := l.Section == sec
			spools := sec == bill.Filament && l.Section == bill.Fixtures && l.Unit == "g"
			if !own && !spools || w.user(l) != by || sec == bill.Hardware && by == buyer && w.boxed(l.Item) {
				continue
			}
			note := l.Note
			if spools {
				note = "for fixtures and coupons"
			}
			if w.sys != unit.Metric && sec == bill.Veneer {
				if v, ok := w.pl.Shop.Veneer(l.Item); ok {
					note = w.size(v.Sheet.X, v.Sheet.Y)
				}
			}
			if strings.HasPrefix(l.Item, "printed ") && by == buyer {
				note = "printed from the fixtures' files"
			}
			item := l.Item
			if sec == bill.Consumable {
				item = strings.ReplaceAll(item, "-", " ")
			}
			rows = append(rows, row{cells: []string{item, amount(l), note}, box: true})
		}
		if rows == nil {
			continue
		}
		f.table([]column{{title: sectionTitles[sec], wide: 4}, {title: "How much", wide: 2, right: true}, {title: "", wide: 6}}, rows)
		f.gap(2)
	}
}

func amount(l bill.Line) string {
	switch l.Unit {
	case "g":
		return unit.FormatMass(l.Quantity)
	case "piece", "sheet":
		return fmt.Sprintf("%g %s", l.Quantity, plural(int(l.Quantity), l.Unit, l.Unit+"s"))
	}
	return fmt.Sprintf("%.3g %s", l.Quantity, l.Unit)
}

// tool is something that the work takes and does not use up.
type tool struct {
	what, use string
	in        []Phase // that take it
}

// listed are the tools and small things that somebody needs.
func (w *writer) listed(by string) (rows []row) {
	add := func(what, use string) { rows = append(rows, row{cells: []string{what, use}, box: true}) }
	for _, t := range w.tools() {
		if slices.ContainsFunc(w.steps, func(s Step) bool { return w.whose(s) == by && slices.Contains(t.in, s.Phase) }) {
			add(t.what, t.use)
		}
	}
	for _, t := range smallThings {
		if slices.ContainsFunc(w.steps, func(s Step) bool {
			return w.whose(s) == by && s.names(t[0])
		}) {
			add(t[1], t[2])
		}
	}
	if by == buyer && w.split() == kit.Ready {
		add("A blanket", "laying the parts on")
	}
	return rows
}

// names is whether a step's words or tables name something.
func (s Step) names(what string) bool {
	has := func(x string) bool { return strings.Contains(strings.ToLower(x), what) }
	return slices.ContainsFunc(s.Does, has) || slices.ContainsFunc(s.Tables, func(t Table) bool {
		return slices.ContainsFunc(t.Rows, func(r []string) bool { return slices.ContainsFunc(r, has) })
	})
}

// smallThings are listed where a step's words name them, and counted by no bill: the
// word, the thing, and what it is for.
var smallThings = [][3]string{
	{"alcohol", "Cleaning alcohol (isopropanol or ethanol), lint-free cloths", "wiping cores and joints"},
	{"low-tack", "Low-tack masking tape", "masking veneer"},
	{"waxed paper", "Waxed paper", "keeping glue off what it must not hold"},
	{"drop of wax", "Wax, as of a candle", "plugs that are loose"},
	{"film", "Plastic film", "under what is glued"},
	{"strip of paper", "Strips of paper, a sharp pencil", "measuring round edges"},
	{"p240", "Abrasive paper P240", "roughening"},
	{"p320", "Abrasive paper P320", "between coats"},
	{"vacuum", "Vacuum with a brush", "dust"},
	{"saw ", "A fine saw", "battens, boards"},
	{"felt", "Felt pads", "feet"},
}

// tools are what the work takes.
func (w *writer) tools() (out []tool) {
	add := func(what, use string, in ...Phase) { out = append(out, tool{what, use, in}) }
	for _, p := range w.pl.Shop.Printers {
		if slices.ContainsFunc(w.pl.Printing.Loads, func(l printing.Load) bool { return l.Printer == p.ID }) {
			add("A printer (here: "+p.ID+")", fmt.Sprintf("build volume %s, nozzle %s", w.size(p.Build.X, p.Build.Y, p.Build.Z), w.mm(p.Nozzle)), Print)
		}
	}
	for _, l := range w.pl.Shop.Lasers {
		if l.ID == w.pl.Sheets.Laser && len(w.pl.Sheets.Blanks) > 0 {
			add("A laser cutter", fmt.Sprintf("bed %s, with exhaust outdoors", w.size(l.Bed.X, l.Bed.Y)), Cut)
		}
	}
	add("Caliper, steel rule 600 mm, tape, square", "measuring", Print, Glue, Measure, Cut, Lay, Join)
	add("A flat board or plate", "gluing and checking", Glue, Join)
	add("Dust mask, eye cover, gloves", "sanding, glue", Glue, Ground, Join, Finish)
	if w.step("inserts/set") {
		add("Iron with a tip for inserts, 210 to 250 °C", "setting inserts", Inserts)
	}
	var sizes []string
	for _, j := range w.pl.Joints.Joints {
		for _, s := range j.Screws {
			if k := keys[s.Size] + " mm"; k != " mm" && !slices.Contains(sizes, k) {
				sizes = append(sizes, k)
			}
		}
	}
	slices.Sort(sizes)
	if sizes != nil {
		what := plural(len(sizes), "Hexagon key ", "Hexagon keys ") + and(sizes)
		if w.pl.Kit != nil {
			what += " (in the box)"
		}
		add(what+"; a torque key 0.2 to 2 N m if you have one", "screws", Assemble)
	}
	if len(w.pl.Seams.Seams) > 0 {
		add("Clamps and tape, brush for glue", "gluing segments", Glue)
	}
	if len(w.pl.Patterns) > 0 {
		add("Knife with fresh blades, straightedge, cutting mat", "blanks, trimming", Cut, Lay)
		add("Veneer hammer, or a scraper with rounded corners", "rubbing down", Lay)
		add("Flush cutter with a bearing, or a sharp block plane", "trimming", Lay)
		add("Hard sanding block, round file", "edges and holes", Lay, Finish)
	}
	if len(w.pl.Layout.Laps) > 0 {
		var bits []string
		for _, l := range w.pl.Layout.Laps {
			if s := w.mm(l.Pin); l.Pin > 0 && !slices.Contains(bits, s) {
				bits = append(bits, s)
			}
		}
		add("Hand drill with a bit of "+and(bits)+", light hammer", "pins of the laps", Lay)
	}
	return out
}

func (w *writer) step(id string) bool {
	return slices.ContainsFunc(w.steps, func(s Step) bool { return s.ID == id })
}

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
