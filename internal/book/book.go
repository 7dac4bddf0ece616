// Package book lays out the bench book: everything that somebody who has never
// seen the program needs to build a piece from its kit, as a PDF file to print
// and tick off; and the labels of its parts.
//
// The work is data first: Steps lists what is done, in order, with what each step
// needs, the parts that it is about, its cautions and the names of its drawings.
// Make lays the steps out in chapters between lists and templates. Drawings are
// computed as lines by package view, or drawn flat here; nothing is a picture of a
// screen. Layout is two-fold: pages are made of strips (flow.go) and written by
// pdf.go, so that whatever stands on a page can be looked at in tests before it is
// a file.
package book

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/geom"
	"groundwork/internal/plan"
	"groundwork/internal/scene"
	"groundwork/internal/solid"
	"groundwork/internal/strength"
	"groundwork/internal/unit"
)

// Inputs are what the book is about.
type Inputs struct {
	Plan     *plan.Plan // its Fixtures, Schedule, Kit and Strength may be nil: then the book says nothing of them
	Maker    string     // who made the kit, "" to leave it out
	Notes    string     // the maker's own words; paragraphs parted by line breaks
	Licence  string     // under which the files may be used, "" for one that asks to be written in
	Revision string     // of the kit; "" for that of the plan's kit, or one made of the parts themselves
}

// Paper is a size of pages.
type Paper int

const (
	A4     Paper = iota // 210 x 297 mm (ISO 216)
	Letter              // 8 1/2 x 11 in (ANSI/ASME Y14.1)
)

func (p Paper) size() geom.Vec2 {
	if p == Letter {
		return geom.V2(8.5*25.4, 11*25.4)
	}
	return geom.V2(210, 297)
}

// Options are how the book looks.
type Options struct {
	Inch  bool // lengths in inches and fractions to 1/32
	Paper Paper

	// NoTemplates leaves out the pages at full size, which may be many.
	NoTemplates bool
}

func (o Options) system() unit.System {
	if o.Inch {
		return unit.Inches32
	}
	return unit.Metric
}

// Make is the bench book as a PDF file. The same inputs give the same bytes.
func Make(ctx context.Context, k *solid.Kernel, in Inputs, o Options) ([]byte, error) {
	b, err := laidOut(ctx, k, in, o)
	if err != nil {
		return nil, err
	}
	return b.bytes()
}

// laidOut is the book before it is a file.
func laidOut(ctx context.Context, k *solid.Kernel, in Inputs, o Options) (*booklet, error) {
	if _, err := rulers(); err != nil {
		return nil, err
	}
	in, err := in.revised()
	if err != nil {
		return nil, err
	}
	apart, err := scene.TakeApart(ctx, k, in.Plan, false, 0)
	if err != nil {
		return nil, fmt.Errorf("book: %w", err)
	}
	w := &writer{paper: o.Paper.size(), steps: Steps(in, apart, o.system())}
	w.artist = &artist{ctx: ctx, kernel: k, planner: newPlanner(in, apart, o.system())}
	if in.Plan.Strength == nil {
		cases, _ := strength.Cases(in.Plan.Piece, in.Plan.Layout.Cores, in.Plan.Joints, in.Plan.Shop)
		w.asked = loads(cases)
	}
	if err := w.segmentsToSee(); err != nil {
		return nil, err
	}
	if err := w.draw(); err != nil {
		return nil, err
	}
	if !o.NoTemplates {
		w.fullSized = w.templates()
	}
	// Pages are known when the book is laid out; numbers of pages stand in the book.
	// Laid out with them, pages may shift: again, until they stay.
	var now laid
	for range 5 {
		before := now
		now = w.compose(before, true)
		if same(before, now) {
			break
		}
	}
	now = w.compose(now, false)
	b := &booklet{
		title: in.Plan.Piece.Title + ": bench book", subject: "Kit revision " + in.Revision, author: in.Maker,
		size: w.paper, pages: now.pages, marks: now.marks,
	}
	w.heads(b)
	return b, nil
}

func same(a, b laid) bool {
	if len(a.pages) != len(b.pages) || len(a.at) != len(b.at) {
		return false
	}
	for k, v := range b.at {
		if a.at[k] != v {
			return false
		}
	}
	for k, v := range b.parts {
		if !slices.Equal(a.parts[k], v) {
			return false
		}
	}
	return true
}

// revised is the inputs with their kit revision.
func (in Inputs) revised() (Inputs, error) {
	if in.Plan == nil || in.Plan.Bill == nil || in.Plan.Checks == nil {
		return in, fmt.Errorf("book: the plan is not finished")
	}
	if in.Revision != "" {
		return in, nil
	}
	if in.Plan.Kit != nil {
		in.Revision = in.Plan.Kit.Revision
		return in, nil
	}
	in.Revision = revision(in.Plan)
	return in, nil
}

// revision tells kits apart whose parts do not go together: it is made of what
// segments, leaves and hardware are, to the thousandth of a millimetre, whatever
// else changed.
func revision(pl *plan.Plan) string {
	h := sha256.New()
	fmt.Fprintln(h, pl.Piece.Name)
	for _, s := range pl.Cores.Segments {
		b := s.Bounds
		fmt.Fprintf(h, "%s %.1f %.3f %.3f %.3f %.3f %.3f %.3f\n", s.ID, s.Volume, b.Min.X, b.Min.Y, b.Min.Z, b.Max.X, b.Max.Y, b.Max.Z)
	}
	for _, p := range pl.Patterns {
		fmt.Fprintf(h, "%s %s %.3f\n", p.ID, p.Veneer, p.Grain)
		for _, loop := range p.Gross {
			for _, q := range loop {
				fmt.Fprintf(h, "%.3f %.3f\n", q.X, q.Y)
			}
		}
	}
	for _, j := range pl.Joints.Joints {
		fmt.Fprintln(h, j.ID, j.Kind, len(j.Screws), len(j.Dowels))
		for _, b := range j.Bores {
			fmt.Fprintf(h, "%.3f %.3f %.3f %.3f %.3f\n", b.Mouth.X, b.Mouth.Y, b.Mouth.Z, b.Diameter, b.Depth)
		}
	}
	return strings.ToUpper(hex.EncodeToString(h.Sum(nil)[:4]))
}

// heads writes the running heads.
func (w *writer) heads(b *booklet) {
	const size = 8
	left, right := w.margins()
	for i := range b.pages {
		p := &b.pages[i]
		n := fmt.Sprintf("Page %d of %d", i+1, len(b.pages))
		p.texts = append(p.texts, text{at: geom.V2(b.size.X-right-width(regular, size, n), 9), size: size, grey: 60, s: n})
		if i == 0 {
			continue
		}
		y := b.size.Y - 11
		p.texts = append(p.texts, text{at: geom.V2(left, y), size: size, grey: 60, s: w.pl.Piece.Title})
		rev := "Kit revision " + w.Revision
		p.texts = append(p.texts, text{at: geom.V2(b.size.X-right-width(regular, size, rev), y), size: size, grey: 60, s: rev})
		if w.Maker != "" {
			p.texts = append(p.texts, text{at: geom.V2(left, 9), size: size, grey: 60, s: w.Maker})
		}
	}
}
