package line

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"groundwork/internal/finding"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// ErrProgram is for a task that another build of the program has set: its result
// would be kept under that build's name.
var ErrProgram = errors.New("the task is for another build of the program")

// Worker does tasks. Its cache keeps stages that variants have in common, such as
// cores that only differ in the species laid on them.
type Worker struct {
	Kernel *solid.Kernel
	Cache  plan.Cache // may be nil
}

// Do works out one variant: from a task's Args to the JSON of its Row, which
// depends on nothing else. A variant that cannot be made as it is, is a row like
// others. The error is for what may come out otherwise another time or elsewhere,
// and so is no result to keep: ctx, planning that broke off, a task that is not
// of this program.
func (w Worker) Do(ctx context.Context, data []byte) ([]byte, error) {
	var a args
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&a); err != nil {
		return nil, fmt.Errorf("line: reading a task: %w", err)
	}
	if err := Ours(a.Program); err != nil {
		return nil, fmt.Errorf("line: %w", err)
	}
	r, err := w.row(ctx, a)
	if err != nil {
		return nil, err
	}
	out, err := json.Marshal(r)
	if err != nil {
		return nil, fmt.Errorf("line: %w", err)
	}
	return out, nil
}

func (w Worker) row(ctx context.Context, a args) (*Row, error) {
	doc, err := piece.Parse(a.Piece.Name, a.Piece.Data)
	if err != nil {
		return nil, fmt.Errorf("line: %w", err)
	}
	s, err := shop.Parse(a.Shop.Name, a.Shop.Data)
	if err != nil {
		return nil, fmt.Errorf("line: %w", err)
	}
	doc.Open = Carried(a.Solids)
	p, found, err := doc.Resolve(a.Set)
	if err != nil {
		r := &Row{State: Alter, Error: "the piece file does not allow these values"}
		r.tell(append(found, faults(err)...))
		return r, nil
	}
	if a.Veneer != "" {
		p.Veneer.Veneer = a.Veneer
	}
	if a.Filament != "" {
		p.Filament = a.Filament
	}
	o := plan.Options{Cache: w.Cache}
	o.Fixture.NoCoupons = true   // they are the shop's, once for all variants
	o.Schedule.NoRemedies = true // what more machines would bring is asked of one piece
	if a.Options.Strength {
		o.Strength = &plan.StrengthOptions{}
	}
	pl, err := plan.Make(ctx, w.Kernel, p, s, o)
	if err == nil {
		err = ctx.Err() // some stages end early with what they have
	}
	if err != nil {
		return nil, fmt.Errorf("line: %w", err)
	}
	return rowOf(pl, append(pl.Findings, found...)), nil
}

// faults are the faults of a file as findings that stop a variant.
func faults(err error) (out []finding.Finding) {
	var all piece.Errors
	if !errors.As(err, &all) {
		return []finding.Finding{{Severity: finding.Stop, Stage: "piece", Code: "fault", Subject: "piece", Message: err.Error()}}
	}
	for _, e := range all {
		// The place in the file is the parameter's or that of what it made wrong.
		out = append(out, finding.Finding{
			Severity: finding.Stop, Stage: "piece", Code: "fault", Subject: "piece", Message: e.What,
			Remedy: e.Remedy, File: e.File, Line: e.Line,
		})
	}
	return out
}
