package job

import (
	"bytes"
	"context"
	"fmt"

	"groundwork/internal/draw"
	"groundwork/internal/mesh"
	"groundwork/internal/plan"
	"groundwork/internal/solid"
)

// One makes the file of a name alone, with the bytes that Files gives it; false
// if the job has none of that name.
func One(ctx context.Context, k *solid.Kernel, p *plan.Plan, o Options, name string) (f File, ok bool, err error) {
	names := Names{FaceDown: o.Sheet.FaceDown}
	make := func() (File, error) { return File{}, nil }
	of := func(is string, work func() (File, error)) {
		if is == name && !ok {
			ok, make = true, work
		}
	}
	for i, l := range p.Printing.Loads {
		of(names.Load(l.ID), func() (File, error) { return loadFile(ctx, k, p, i, names) })
	}
	for i, pr := range p.Printing.Prints {
		of(names.Segment(pr.Segment), func() (File, error) { return segmentFile(ctx, k, p, i, names) })
	}
	of(names.Piece(), func() (File, error) { return pieceFile(ctx, k, p.Piece, names) })
	for i, b := range p.Sheets.Blanks {
		for _, ext := range blankEndings {
			of(names.Blank(b.ID, ext), func() (File, error) { return blankFile(ctx, k, p, i, ext, o) })
		}
	}
	of("core/cards.txt", func() (File, error) { return File{name, cards(p)}, nil })
	of("plan.json", func() (File, error) {
		data, err := Encode(p, names)
		return File{name, data}, err
	})
	tables := []struct {
		name string
		of   func(*plan.Plan) ([]byte, error)
	}{{"veneer/patterns.csv", patternsCSV}, {"veneer/sheet-cuts.csv", cutsCSV}, {"bill.csv", billCSV}, {"strength.csv", strengthCSV}}
	for _, t := range tables {
		if t.name == "strength.csv" && p.Strength == nil {
			continue
		}
		of(t.name, func() (File, error) {
			data, err := t.of(p)
			return File{name, data}, err
		})
	}
	if !ok {
		return File{}, false, nil
	}
	if f, err = make(); err != nil {
		return File{}, false, fmt.Errorf("job: %w", err)
	}
	return f, true, nil
}

// blankEndings are the formats of cut sheets.
var blankEndings = []string{"svg", "dxf"}

// blankFile is the cut sheet of a blank.
func blankFile(ctx context.Context, k *solid.Kernel, p *plan.Plan, blank int, ext string, o Options) (File, error) {
	name := Names{FaceDown: o.Sheet.FaceDown}.Blank(p.Sheets.Blanks[blank].ID, ext)
	d, err := p.Sheets.Drawing(ctx, k, blank, p.Patterns, p.Shop, o.Sheet)
	if err != nil {
		return File{}, err
	}
	var b bytes.Buffer
	if ext == "dxf" {
		err = draw.WriteDXF(&b, d)
	} else {
		err = draw.WriteSVG(&b, d)
	}
	if err != nil {
		return File{}, fmt.Errorf("%s: %w", name, err)
	}
	return File{name, b.Bytes()}, nil
}

// loadFile is the 3MF of a print load.
func loadFile(ctx context.Context, k *solid.Kernel, p *plan.Plan, load int, names Names) (File, error) {
	l := p.Printing.Loads[load]
	d, err := p.Printing.LoadBodies(ctx, k, p.Cores.Segments, load)
	if err != nil {
		return File{}, err
	}
	d.Metadata = []mesh.Metadata{
		{Name: "Title", Value: p.Piece.Title + ", " + l.ID},
		{Name: "Application", Value: "Groundwork"},
	}
	var b bytes.Buffer
	if _, err := d.WriteTo(&b); err != nil {
		return File{}, fmt.Errorf("%s: %w", l.ID, err)
	}
	return File{names.Load(l.ID), b.Bytes()}, nil
}

// segmentFile is the STL of a segment as it lies in the printer.
func segmentFile(ctx context.Context, k *solid.Kernel, p *plan.Plan, print int, names Names) (File, error) {
	id := p.Printing.Prints[print].Segment
	body, err := p.Printing.SegmentBody(ctx, k, p.Cores.Segments, print)
	if err != nil {
		return File{}, err
	}
	var b bytes.Buffer
	if err := mesh.WriteSTL(&b, body); err != nil {
		return File{}, fmt.Errorf("%s: %w", id, err)
	}
	return File{names.Segment(id), b.Bytes()}, nil
}
