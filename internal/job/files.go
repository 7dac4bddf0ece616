package job

import (
	"bytes"
	"context"
	"fmt"
	"runtime"
	"strings"

	"groundwork/internal/book"
	"groundwork/internal/draw"
	"groundwork/internal/fixture"
	"groundwork/internal/mesh"
	"groundwork/internal/parallel"
	"groundwork/internal/plan"
	"groundwork/internal/solid"
)

// entry is a file of the job that has not been made yet.
type entry struct {
	name string
	make func() ([]byte, error)
}

// Files makes every file of the job, in a fixed order.
func Files(ctx context.Context, k *solid.Kernel, p *plan.Plan, o Options) ([]File, error) {
	todo := entries(ctx, k, p, o)
	out, errs := make([]File, len(todo)), make([]error, len(todo))
	parallel.Each(len(todo), runtime.GOMAXPROCS(0), func(i int) {
		if errs[i] = ctx.Err(); errs[i] == nil {
			out[i], errs[i] = todo[i].file()
		}
	})
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// One makes the file of a name alone, with the bytes that Files gives it; false
// if the job has none of that name.
func One(ctx context.Context, k *solid.Kernel, p *plan.Plan, o Options, name string) (f File, ok bool, err error) {
	for _, e := range entries(ctx, k, p, o) {
		if e.name == name {
			f, err = e.file()
			return f, err == nil, err
		}
	}
	return File{}, false, nil
}

func (e entry) file() (File, error) {
	data, err := e.make()
	if err != nil {
		return File{}, fmt.Errorf("job: %s: %w", e.name, err)
	}
	return File{Name: e.name, Data: data}, nil
}

// entries are all files of the job: what takes longest to make stands first.
func entries(ctx context.Context, k *solid.Kernel, p *plan.Plan, o Options) []entry {
	names := Names{FaceDown: o.Sheet.FaceDown}
	var out []entry
	add := func(name string, make func() ([]byte, error)) { out = append(out, entry{name, make}) }
	text := func(name string, make func() []byte) { add(name, func() ([]byte, error) { return make(), nil }) }
	table := func(name string, rows func(*plan.Plan) [][]string) {
		add(name, func() ([]byte, error) { return encodeCSV(rows(p)) })
	}
	svg := func(name string, sheet func() draw.Sheet) {
		add(name, func() ([]byte, error) { return drawing(sheet(), "svg") })
	}

	in := book.Inputs{Plan: p, Maker: o.Maker, Notes: o.Notes, Licence: o.Licence}
	if in.Maker == "" {
		in.Maker = p.Shop.Name
	}
	add("book.pdf", func() ([]byte, error) { return book.Make(ctx, k, in, o.Book) })
	add("labels.pdf", func() ([]byte, error) { return book.Labels(in, labels(o.Book.Paper)) })

	for i, l := range p.Printing.Loads {
		add(names.Load(l.ID), func() ([]byte, error) {
			d, err := p.Printing.LoadBodies(ctx, k, p.Cores.Segments, i)
			return loadFile(d, err, p.Piece.Title+", "+l.ID)
		})
	}
	for i, pr := range p.Printing.Prints {
		add(names.Segment(pr.Segment), func() ([]byte, error) {
			return solidFile(p.Printing.SegmentBody(ctx, k, p.Cores.Segments, i))
		})
	}
	text("core/cards.txt", func() []byte { return cards(p.Shop, p.Printing, func(id string) string { return id }) })
	add(names.Piece(), func() ([]byte, error) { return pieceFile(ctx, k, p.Piece) })

	fixtureEntries(ctx, k, p, names, add, text, svg)

	for i, b := range p.Sheets.Blanks {
		for _, ext := range blankEndings {
			add(names.Blank(b.ID, ext), func() ([]byte, error) {
				d, err := p.Sheets.Drawing(ctx, k, i, p.Patterns, p.Shop, o.Sheet)
				if err != nil {
					return nil, err
				}
				return drawing(d, ext)
			})
		}
	}
	table("veneer/patterns.csv", patternRows)
	table("veneer/sheet-cuts.csv", cutRows)

	table("calendar/calendar.csv", func(p *plan.Plan) [][]string { return p.Schedule.Rows() })
	for i, c := range p.Schedule.Charts(p.Piece.Title) {
		svg(names.Chart(i), func() draw.Sheet { return c })
	}
	text("kit/insert.txt", func() []byte { return []byte(strings.Join(p.Kit.Insert, "\n") + "\n") })
	for _, q := range p.Kit.Parcels {
		svg(names.Parcel(q.ID), func() draw.Sheet { return q.Sheet })
	}

	table("bill.csv", billRows)
	add("bill.xlsx", func() ([]byte, error) {
		var b bytes.Buffer
		err := p.Workbook(&b)
		return b.Bytes(), err
	})
	if p.Strength != nil {
		table("strength.csv", strengthRows)
	}
	add("plan.json", func() ([]byte, error) { return Encode(p, names) })
	return out
}

// fixtureEntries are the files of what is made to make the piece with.
func fixtureEntries(ctx context.Context, k *solid.Kernel, p *plan.Plan, names Names,
	add func(string, func() ([]byte, error)), text func(string, func() []byte), svg func(string, func() draw.Sheet)) {
	parts, _ := p.Fixtures.Segments()
	for i, l := range p.FixturePrinting.Loads {
		add(names.FixtureLoad(l.ID), func() ([]byte, error) {
			d, err := p.FixturePrinting.LoadBodies(ctx, k, parts, i)
			return loadFile(d, err, p.Piece.Title+", "+fixtureLoad(l.ID))
		})
	}
	first := map[string]int{} // print of the first copy of a part
	for i, pr := range p.FixturePrinting.Prints {
		if _, ok := first[pr.Segment]; !ok {
			first[pr.Segment] = i
		}
	}
	coupons := false
	for _, f := range p.Fixtures.Fixtures {
		coupons = coupons || f.Kind == fixture.Coupon
		for _, pt := range f.Parts {
			if i, ok := first[pt.ID]; ok && pt.File() != "" {
				add(pt.File(), func() ([]byte, error) { return solidFile(p.FixturePrinting.SegmentBody(ctx, k, parts, i)) })
			}
		}
		for _, t := range f.Templates {
			svg(t.File(), func() draw.Sheet { return t.Sheet })
		}
	}
	for _, c := range p.Fixtures.Clamping {
		if c.Like == "" {
			svg(c.File(), func() draw.Sheet { return c.Sheet })
		}
	}
	if len(p.FixturePrinting.Loads) > 0 {
		text("fixtures/cards.txt", func() []byte { return cards(p.Shop, p.FixturePrinting, fixtureLoad) })
	}
	if coupons {
		text("fixtures/coupons.yaml", func() []byte { return p.CouponForm().Form() })
	}
}

// labels are sheets of labels as they are sold with a paper's size.
func labels(p book.Paper) book.Grid {
	if p == book.Letter {
		return book.LetterGrid3x10
	}
	return book.A4Grid3x8
}

// fixtureLoad is what a load of fixtures is called, beside those of the piece.
func fixtureLoad(id string) string { return "fixtures " + id }

// blankEndings are the formats of cut sheets.
var blankEndings = []string{"svg", "dxf"}

func drawing(s draw.Sheet, ext string) ([]byte, error) {
	var b bytes.Buffer
	write := draw.WriteSVG
	if ext == "dxf" {
		write = draw.WriteDXF
	}
	err := write(&b, s)
	return b.Bytes(), err
}

// loadFile is the 3MF of a print load.
func loadFile(d mesh.Document, err error, title string) ([]byte, error) {
	if err != nil {
		return nil, err
	}
	d.Metadata = []mesh.Metadata{{Name: "Title", Value: title}, {Name: "Application", Value: "Groundwork"}}
	var b bytes.Buffer
	_, err = d.WriteTo(&b)
	return b.Bytes(), err
}

// solidFile is the STL of a part as it lies in the printer.
func solidFile(body mesh.Body, err error) ([]byte, error) {
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = mesh.WriteSTL(&b, body)
	return b.Bytes(), err
}
