package book

import (
	"fmt"
	"slices"
	"strings"

	qr "github.com/piglig/go-qr"

	"groundwork/internal/draw"
	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/kit"
)

// Grid is a sheet of labels. Lengths are mm.
type Grid struct {
	Paper       Paper
	Columns     int
	Rows        int
	Size        geom.Vec2 // of one label
	Pitch       geom.Vec2 // from one label to the next; the zero value means Size
	Left, Top   float64   // margins
	Skip        int       // labels of the first sheet that are used up
	Unprintable float64   // mm of a label's rim that stays empty, 0 for 2
}

// Common label sheets.
var (
	A4Grid3x8      = Grid{Paper: A4, Columns: 3, Rows: 8, Size: geom.V2(70, 36), Pitch: geom.V2(70, 36), Top: 4.5}
	A4Grid3x7      = Grid{Paper: A4, Columns: 3, Rows: 7, Size: geom.V2(63.5, 38.1), Pitch: geom.V2(66, 38.1), Left: 7.25, Top: 15.15}
	LetterGrid3x10 = Grid{Paper: Letter, Columns: 3, Rows: 10, Size: geom.V2(66.675, 25.4), Pitch: geom.V2(69.85, 25.4), Left: 4.7625, Top: 12.7}
)

// check refuses a grid that does not lie on its paper.
func (g Grid) check() error {
	paper := g.Paper.size()
	right := g.Left + float64(g.Columns-1)*g.Pitch.X + g.Size.X
	low := g.Top + float64(g.Rows-1)*g.Pitch.Y + g.Size.Y
	switch {
	case g.Columns < 1 || g.Rows < 1 || g.Size.X < 40 || g.Size.Y < 20:
		return fmt.Errorf("book: labels of %g x %g mm in %d columns and %d rows: at least 40 x 20 mm is needed", g.Size.X, g.Size.Y, g.Columns, g.Rows)
	case right > paper.X+1e-6 || low > paper.Y+1e-6 || g.Left < 0 || g.Top < 0 || g.Pitch.X < g.Size.X || g.Pitch.Y < g.Size.Y:
		return fmt.Errorf("book: a grid of labels that reaches to %g x %g mm does not lie on paper of %g x %g mm, or its labels overlap", right, low, paper.X, paper.Y)
	case g.Skip < 0 || g.Skip >= g.Columns*g.Rows:
		return fmt.Errorf("book: %d labels used up of a sheet of %d", g.Skip, g.Columns*g.Rows)
	}
	return nil
}

// tag is what stands on one label.
type tag struct {
	n      int // number in the list of what is in the box, 0 for none
	id     string
	member string
	lies   string // print load, or blank
	code   string // of the square code: piece/revision/ID
}

// tags are one for each thing of the box that has a number, by their numbers; then
// one for each segment, leaf, blank and printed fixture that has none yet.
func tags(in Inputs) []tag {
	all := tagged(in)
	var out []tag
	if k := in.Plan.Kit; k != nil {
		for _, x := range k.Things {
			t := tag{id: x.ID, member: strings.Join(x.Members, " + "), lies: boxOf(k, x.N), code: in.Plan.Piece.Name + "/" + in.Revision + "/" + x.ID}
			if i := slices.IndexFunc(all, func(t tag) bool { return t.id == x.ID }); i >= 0 {
				t = all[i]
				all = slices.Delete(all, i, i+1)
			}
			if t.member == "" || x.Kind == kit.Hardware || x.Kind == kit.VeneerPack {
				t.member = string(x.Kind)
			}
			if t.member == t.id {
				t.member = ""
			}
			t.n = x.N
			out = append(out, t)
		}
	}
	return append(out, all...)
}

// boxOf is the parcel that holds a thing.
func boxOf(k *kit.Result, n int) string {
	for _, p := range k.Parcels {
		if slices.ContainsFunc(p.Things, func(i int) bool { return k.Things[i].N == n }) {
			return p.ID
		}
	}
	return ""
}

// tagged are the parts of the piece, blanks and fixtures, without their numbers.
func tagged(in Inputs) (out []tag) {
	pl := in.Plan
	code := func(id string) string { return pl.Piece.Name + "/" + in.Revision + "/" + id }
	load := map[string]string{}
	for _, l := range pl.Printing.Loads {
		for _, it := range l.Items {
			load[pl.Printing.Prints[it.Print].Segment] = l.ID
		}
	}
	for _, s := range pl.Cores.Segments {
		var names []string
		for _, m := range pl.Seams.Bodies[s.Body].Members {
			names = append(names, pl.Piece.Members[m].ID)
		}
		out = append(out, tag{id: s.ID, member: strings.Join(names, " + "), lies: load[s.ID], code: code(s.ID)})
	}
	for i, p := range pl.Patterns {
		t := tag{id: p.ID, member: "plug", code: code(p.ID)}
		if p.Member >= 0 {
			t.member = pl.Piece.Members[p.Member].ID
		}
		if b := pl.Sheets.Placements[i].Blank; b >= 0 {
			t.lies = pl.Sheets.Blanks[b].ID
		}
		if p.Release != "" && (pl.Kit == nil || pl.Kit.Split != kit.Cores) { // those of Cores are cut when the box is packed
			t.lies += ", waits"
		}
		out = append(out, t)
	}
	for _, b := range pl.Sheets.Blanks {
		t := tag{id: b.ID, member: "blank of " + b.Veneer, code: code(b.ID)}
		if b.Sheet >= 0 && b.Sheet < len(pl.Sheets.Sheets) {
			t.lies = "from " + pl.Sheets.Sheets[b.Sheet].ID
		}
		out = append(out, t)
	}
	if pl.Fixtures == nil {
		return out
	}
	for _, x := range pl.Fixtures.Fixtures {
		for _, q := range x.Parts {
			if q.Filament == "" || x.Kind == fixture.PlugPart || x.Kind == fixture.DowelPart {
				continue // sawn, or hardware in a bag
			}
			for n := range q.Quantity {
				id := q.ID
				if n > 0 {
					id = fmt.Sprintf("%s.%d", id, n+1)
				}
				out = append(out, tag{id: id, member: string(x.Kind), lies: "fixture", code: code(id)})
			}
		}
	}
	return out
}

// Labels is a PDF file of labels, one for each thing of the box by its number, and
// for each segment, leaf, blank and printed fixture: its number and ID, the piece, the member, the print load or blank, the kit revision, and a QR code
// (ISO/IEC 18004) of the plain text "piece/revision/ID". The grid's zero value is
// A4Grid3x8.
func Labels(in Inputs, g Grid) ([]byte, error) {
	b, err := labelSheets(in, g)
	if err != nil {
		return nil, err
	}
	return b.bytes()
}

func labelSheets(in Inputs, g Grid) (*booklet, error) {
	if _, err := rulers(); err != nil {
		return nil, err
	}
	in, err := in.revised()
	if err != nil {
		return nil, err
	}
	if g == (Grid{}) {
		g = A4Grid3x8
	}
	if g.Pitch == (geom.Vec2{}) {
		g.Pitch = g.Size
	}
	if err := g.check(); err != nil {
		return nil, err
	}
	rim := g.Unprintable
	if rim == 0 {
		rim = 2
	}
	b := &booklet{title: in.Plan.Piece.Title + ": labels", subject: "Kit revision " + in.Revision, author: in.Maker, size: g.Paper.size()}
	per := g.Columns * g.Rows
	for i, t := range tags(in) {
		n := i + g.Skip
		if n/per >= len(b.pages) {
			b.pages = append(b.pages, page{})
		}
		at := geom.V2(g.Left+float64(n%g.Columns)*g.Pitch.X, b.size.Y-g.Top-float64(n%per/g.Columns)*g.Pitch.Y-g.Size.Y)
		box := geom.Box2{Min: at.Add(geom.V2(rim, rim)), Max: at.Add(g.Size).Sub(geom.V2(rim, rim))}
		if err := t.put(&b.pages[len(b.pages)-1], box, in); err != nil {
			return nil, err
		}
	}
	return b, nil
}

// title is the ID, with the number in the box.
func (t tag) title() string {
	if t.n == 0 {
		return t.id
	}
	return fmt.Sprintf("%d  %s", t.n, t.id)
}

// put draws a label within a box: the code at the left, words beside it.
func (t tag) put(p *page, box geom.Box2, in Inputs) error {
	code, err := qr.EncodeText(t.code, qr.Medium)
	if err != nil {
		return fmt.Errorf("book: code of %s: %w", t.id, err)
	}
	// Four modules all round stay white (ISO/IEC 18004, quiet zone); the label's own
	// rim is white, too.
	const quiet = 4
	side := min(box.Size().Y, 0.42*box.Size().X)
	module := side / float64(code.Size()+quiet)
	low := geom.V2(box.Min.X+module*quiet/2, box.Center().Y-module*float64(code.Size())/2)
	var area geom.Polygons
	for y := range code.Size() {
		for x := 0; x < code.Size(); x++ {
			from := x
			for x < code.Size() && code.Module(x, y) {
				x++
			}
			if x > from {
				at := low.Add(geom.V2(float64(from)*module, float64(code.Size()-1-y)*module))
				area = append(area, rectangle(geom.Box2{Min: at, Max: at.Add(geom.V2(float64(x-from)*module, module))}))
			}
		}
	}
	p.layers = append(p.layers, lines(0, 0, draw.Region{Area: area}))
	left := low.X + module*float64(code.Size()+quiet)
	room := box.Max.X - left
	words := []struct {
		s    string
		face face
		size float64
	}{
		{t.title(), bold, 13}, {in.Plan.Piece.Title, regular, 9}, {t.member, regular, 9}, {t.lies, regular, 9}, {"Kit " + in.Revision, regular, 8},
	}
	var out []text
	high := 0.0
	for _, w := range words {
		if w.s == "" {
			continue
		}
		for w.size > least && width(w.face, w.size, w.s) > room {
			w.size = max(least, w.size-0.5)
		}
		for _, l := range broken(w.size, room, []span{{w.face, w.s}}) {
			for _, sp := range l {
				out = append(out, text{size: w.size, face: sp.face, s: sp.s})
				high += w.size * point * 1.15
			}
		}
	}
	for high > box.Size().Y && len(out) > 2 { // a long ID takes the place of what is told last
		last := out[len(out)-2]
		high -= last.size * point * 1.15
		out = slices.Delete(out, len(out)-2, len(out)-1)
	}
	y := box.Center().Y + high/2
	for _, x := range out {
		y -= x.size * point * 1.15
		x.at = geom.V2(left, y+0.25*x.size*point)
		p.texts = append(p.texts, x)
	}
	return nil
}
