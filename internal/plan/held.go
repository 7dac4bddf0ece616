package plan

import (
	"context"
	"errors"
	"fmt"

	"groundwork/internal/bill"
	"groundwork/internal/digest"
	"groundwork/internal/finding"
	"groundwork/internal/printing"
	"groundwork/internal/solid"
	"groundwork/internal/strength"
	"groundwork/internal/stress"
)

// Held is what the strength stage comes to, as it may be had from elsewhere: all
// but Strained, which is large, and which Strain works out again by the case.
// As JSON it comes through unchanged.
type Held struct {
	Of       digest.Sum        `json:"of"` // tells the structure apart that it is of
	Strength *strength.Result  `json:"strength"`
	Remedies Remedies          `json:"remedies"`
	Findings []finding.Finding `json:"findings"`
	Strained []Strained        `json:"-"` // if it was worked out in this process and is at hand
}

// Asker knows somebody who works out how the piece bears its loads, or who has
// done so before. The plan asks at most once, with its own context.
type Asker func(ctx context.Context) (*Held, error)

// Hash tells only whether somebody is asked: what comes back is the same. Who
// works it out here, for one who asks, must not wait for the other.
func (a Asker) Hash() (sum [32]byte) {
	if a != nil {
		sum[0] = 1
	}
	return sum
}

// Held is what the strength stage came to, nil unless it was asked for.
func (pl *Plan) Held() *Held { return pl.outcome }

func (h *Held) findings() []finding.Finding {
	if h == nil {
		return nil
	}
	return h.Findings
}

// ask takes what the asker has. It is not believed of another structure than the
// plan's own: then false is returned.
func (pl *Plan) ask(ctx context.Context, a Asker, of digest.Sum) (bool, error) {
	h, err := a(ctx)
	if err != nil || h == nil || h.Of != of {
		return false, err
	}
	pl.Strength, pl.Strained, pl.Remedies, pl.outcome = h.Strength, h.Strained, h.Remedies, h
	return true, nil
}

// bearing tells apart all that the strength stage goes by. It is less than what
// the stage sees, which is what is quickly told.
func (pl *Plan) bearing(o StrengthOptions) (digest.Sum, error) {
	o.Ask = nil
	s := unpriced(pl.Shop)
	s.File = "" // the same shop wherever it lies
	prints := make([]printing.Print, len(pl.Printing.Prints))
	for i, p := range pl.Printing.Prints {
		prints[i] = printing.Print{Segment: p.Segment, Printer: p.Printer, Pose: p.Pose, Grams: p.Grams}
	}
	return digest.Of(Plan{
		Piece: untold(pl.Piece), Shop: s, Joints: settled(pl.Joints), Layout: laidOut(pl.Layout), Seams: divided(pl.Seams),
		Printing: &printing.Result{Prints: prints},
		Bill:     &bill.Bill{VeneerMass: pl.Bill.VeneerMass, HardwareMass: pl.Bill.HardwareMass},
		cases:    pl.cases, fieldOf: pl.fieldOf,
		options: Options{Strength: &o},
	})
}

// Strain is how the piece stands under one of its cases: what Strained holds, if
// that was worked out here, else worked out now. It is nil where the case could
// not be solved, and an error where strength was not asked for.
func (pl *Plan) Strain(ctx context.Context, k *solid.Kernel, load int) (Strained, error) {
	switch {
	case pl.Strength == nil || load < 0 || load >= len(pl.Strength.Cases):
		return nil, fmt.Errorf("plan: there is no load case %d", load)
	case !pl.Strength.Cases[load].Solved:
		return nil, nil
	case load < len(pl.Strained):
		return pl.Strained[load], nil
	}
	s, err := solve(ctx, k, pl.structure(), pl.cases[load:load+1], stress.Options{Cell: pl.options.Strength.Cell, Creep: strength.Creep}, nil)
	if err == nil {
		if out := s.strained()[0]; out != nil {
			return out, nil
		}
		err = errors.New("it was solved before, and now it is not")
	}
	return nil, fmt.Errorf("plan: case %s: %w", pl.Strength.Cases[load].ID, err)
}
