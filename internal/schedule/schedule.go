// Package schedule makes the calendar of a job: what is done when, by whom and
// on what, from the first print to the day on which the piece may be used.
//
// The results of the earlier stages become activities with waits between them
// (net.go and the files named after what is done), which package project puts
// in order (solve.go) by the shop's hours (hours.go). Hand times are those that the bill
// counts, thing by thing; what is guessed where it counts none is marked.
// Read Make.
package schedule

import (
	"context"
	"errors"
	"fmt"
	"time"

	"groundwork/internal/bill"
	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/fixture"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/printing"
	"groundwork/internal/project"
	"groundwork/internal/seam"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/veneer"
)

// Inputs are the earlier results that a calendar is made from.
type Inputs struct {
	Piece    *piece.Piece
	Shop     *shop.Shop
	Joints   *joint.Result
	Layout   *veneer.Layout
	Seams    *seam.Result
	Cores    *core.Result
	Patterns []veneer.Pattern
	Sheets   *sheet.Result
	Printing *printing.Result
	Bill     *bill.Bill

	Fixtures        *fixture.Result  // nil: glue-ups are guessed, and nothing waits for fixtures
	FixturePrinting *printing.Result // of Fixtures.Segments; nil: their prints are not in the calendar
}

// Options steer Make. The zero value works.
type Options struct {
	// Start is the moment from which on there is work, in the shop's own time.
	// Zero: days are counted, and the first is a Monday.
	Start time.Time
	// Schedules is how many schedules are tried, 0 for 600. Every remedy that is
	// worked out takes as many again.
	Schedules int
	Seed      uint64
	// Coupons puts printing and measuring the shop's fit coupons before all else,
	// as is done once for a shop and a filament.
	Coupons bool
	// NoRemedies leaves out what more printers, persons or nights would bring.
	NoRemedies bool
}

// Kind is what sort of work an activity is. The order is that of the job.
type Kind string

const (
	Coupons  Kind = "coupons"
	Print    Kind = "print"
	TakeOff  Kind = "take off"
	Inserts  Kind = "inserts"
	DryFit   Kind = "dry fit"
	Glue     Kind = "glue"    // segments to bodies
	Ground   Kind = "ground"  // fill, sand and seal cores
	Measure  Kind = "measure" // the dry fit of the piece, and what is measured at it
	Cut      Kind = "cut"     // veneer
	Lay      Kind = "lay"
	Trim     Kind = "trim"
	Join     Kind = "join" // members glued to one another
	Sand     Kind = "sand" // veneer
	Finish   Kind = "finish"
	Assemble Kind = "assemble"
	HandOver Kind = "hand over"
)

// FixtureLoad begins what a load of fixtures is called by: "fixtures load-01".
const FixtureLoad = "fixtures "

// Sample is what the activities at the finish sample are of.
const Sample = "sample"

// Kinds is every kind in the order of the job.
var Kinds = []Kind{Coupons, Print, TakeOff, Inserts, DryFit, Glue, Ground, Measure, Cut, Lay, Trim, Join, Sand, Finish, Assemble, HandOver}

// Activity is one piece of work, done without interruption.
type Activity struct {
	ID       string // "print load-01", "glue body top", "lay top/face"; " (2 of 3)" behind it where it is done in parts
	Kind     Kind
	Of       string    // ID of the load ("fixtures load-01" of fixtures), body, blank, pattern, surface or joints ("joint-1+joint-2"); "piece"
	Start    float64   // s from the midnight before the first day
	End      float64   // s
	Begin    time.Time // the same in the calendar; zero without Options.Start
	Finish   time.Time
	Hand     float64 // s that one person is at it, from its start
	Billed   float64 // of them, s that the bill counts as labour
	Uses     []Use
	After    []Wait
	Slack    float64 // s that it may start later, if nothing else moves by more than its own slack, and the end stays
	Critical bool    // on the chain that makes the job as long as it is; it may have slack where the chain waits for working hours
	Machine  string  // printer that it is on: "small-bed 2" is the second of its kind
	Note     string
}

// Use is what an activity holds of a resource.
type Use struct {
	Resource string // "person", "clamps", the ID of a printer or laser, or "core top": the body itself
	Amount   int
	From, To float64 // s after its start
}

// Wait is what an activity waits for.
type Wait struct {
	On  string  // ID of the activity
	Lag float64 // s after its end
	Why string  // of the lag, or of what is not plain
}

// Step is an activity of the critical chain, and why it does not begin earlier.
type Step struct {
	Activity string
	Why      string
	Wait     float64 // s for working hours
}

// Resource is what activities share.
type Resource struct {
	Name     string
	Count    int
	Busy     float64 // s that it is held, over all of them
	Attended bool    // works in working hours only
}

// Alternative is the job made again with something else.
type Alternative struct {
	What string  // "one more small-bed", "prints as slow as they may be"
	End  float64 // s, as of Result.End
	// Finish is the day of it in the calendar; zero without Options.Start.
	Finish time.Time
}

// Result is the calendar of a job. Times are wall-clock seconds from the
// midnight before the first day; a day has 86,400 of them whatever clocks do.
type Result struct {
	Activities   []Activity // by start
	Resources    []Resource
	Critical     []Step  // earliest first
	Begin        float64 // s, of the first activity
	End          float64 // s, of the last
	LowerBound   float64 // s; no calendar of these activities ends before
	HandsOn      float64 // s that persons are at it
	Billed       float64 // s of them that the bill counts
	Finish       time.Time
	Start        time.Time // midnight of the first day; zero: day 1 is a Monday
	Alternatives []Alternative
	Rests        []string // what the calendar rests on
	Findings     []finding.Finding
	Evaluated    int // schedules tried

	open []project.Interval // working hours up to the end
}

// Elapsed is the time from the first activity to the end of the last, s.
func (r *Result) Elapsed() float64 { return r.End - r.Begin }

// At is a time of the result in the calendar; zero if it has no dates.
func (r *Result) At(s float64) time.Time {
	if r.Start.IsZero() {
		return time.Time{}
	}
	return at(r.Start, int64(s))
}

// Make makes the calendar of a job. A shop in which it can never be done is a
// finding, and the calendar then empty; the error is for results that do not
// belong together, and for ctx.
func Make(ctx context.Context, in Inputs, o Options) (*Result, error) {
	if in.Piece == nil || in.Shop == nil || in.Joints == nil || in.Layout == nil || in.Seams == nil || in.Sheets == nil || in.Printing == nil || in.Bill == nil {
		return nil, errors.New("making the calendar: a result of an earlier stage is missing")
	}
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("making the calendar: %w", err)
	}
	if o.Schedules == 0 {
		o.Schedules = 600
	}
	n := build(in, o)
	s, err := n.solve(ctx, o)
	var refused *project.Error
	switch {
	case errors.As(err, &refused):
		return &Result{Rests: rests(in), Findings: append(n.findings, finding.Finding{
			Severity: finding.Stop, Stage: stageName, Code: "no-calendar", Subject: "piece",
			Message: fmt.Sprintf("the job finds no place in the shop's hours: %v", refused),
			Remedy:  "give longer hours, or fewer holidays, in the shop's section work", Source: "arithmetic",
		})}, nil
	case err != nil:
		return nil, fmt.Errorf("making the calendar: %w", err)
	}
	r := n.result(s)
	n.judge(r)
	if !o.NoRemedies {
		if err := n.alternatives(ctx, r, o); err != nil {
			return nil, fmt.Errorf("making the calendar with more: %w", err)
		}
	}
	r.Findings = finding.Sorted(append(r.Findings, n.findings...))
	return r, nil
}

const stageName = "schedule"

// rests is what every calendar rests on.
func rests(in Inputs) []string {
	return []string{
		"hand times are the bill's: common practice, no source; replace them by what your own bench takes",
		"print times are " + in.Printing.Basis,
		"what is waited for, hours, persons and clamps stand in the shop's section work",
		"nobody is ill, nothing is spoilt, and what is bought is there",
	}
}
