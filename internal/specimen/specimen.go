// Package specimen is what tests are made on: a small piece that is quickly
// planned, and the library's pieces with one that was drawn elsewhere.
package specimen

import (
	"context"
	"sync"
	"testing"

	"groundwork/examples"
	"groundwork/internal/drawn"
	"groundwork/internal/intake"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// Trestle is a piece file that is small and quickly planned. It has a leaf that is
// laid on a bought sheet, a plug, and a parameter.
const Trestle = `groundwork: 1
name: test-trestle
title: Test trestle
use: stand
sizes: finished
veneer: {use: walnut}
filament: abs
parameters:
  wide: {value: 240 mm, min: 200 mm, max: 400 mm}
members:
  top:
    board: {rectangle: {length: = wide, width: 120 mm}, thickness: 22 mm}
    at: [0, 0, 150 mm]
  side:
    board: {rectangle: {length: 100 mm, width: 150 mm}, thickness: 22 mm}
    at: [= wide / 2 - 40, 0, 75 mm]
    axes: {x: +y, y: +z}
    mirror: x
joints:
  - {between: [top, side], kind: knock-down, screw: M5, through: top, screws: 1, dowels: 1}
`

// Brought is the name of a stool that was drawn elsewhere and brought in.
const Brought = "brought-stool"

// Names are the library's pieces and the stool that was brought in.
var Names = []string{"heron-side-table", "otter-stool", "badger-bench", "tern-wall-shelf", Brought}

// Kernel is the one kernel of a test program.
var Kernel = sync.OnceValues(func() (*solid.Kernel, error) { return solid.New(solid.Options{}) })

// Plans plans the pieces of Names in the library's shop, each once.
type Plans struct {
	Options plan.Options
	// Until is the stage after which a plan is left as it stands; empty for the
	// whole plan.
	Until string

	mu   sync.Mutex
	made map[string]*plan.Plan
}

// Of is the plan of a piece by its name. All tests of a program share it.
func (p *Plans) Of(t testing.TB, name string) *plan.Plan {
	t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	pl, ok := p.made[name]
	if !ok {
		pl = p.plan(t, name)
		if p.made == nil {
			p.made = map[string]*plan.Plan{}
		}
		p.made[name] = pl
	}
	return pl
}

func (p *Plans) plan(t testing.TB, name string) *plan.Plan {
	t.Helper()
	k, err := Kernel()
	if err != nil {
		t.Fatal(err)
	}
	s, err := examples.Shop()
	if err != nil {
		t.Fatal(err)
	}
	pc := read(t, k, s, name)
	ctx, enough := context.WithCancel(context.Background())
	defer enough()
	o := p.Options
	var sofar *plan.Plan
	if p.Until != "" {
		o.Ready = func(stage string, pl *plan.Plan) {
			if stage == p.Until {
				sofar = pl
				enough()
			}
		}
	}
	whole, err := plan.Make(ctx, k, pc, s, o)
	if sofar != nil {
		return sofar
	}
	if err != nil {
		t.Fatal(err)
	}
	return whole
}

// read is a piece of the library, or the stool as it is brought into the shop.
func read(t testing.TB, k *solid.Kernel, s *shop.Shop, name string) *piece.Piece {
	t.Helper()
	if name != Brought {
		pc, err := examples.Piece(name, nil)
		if err != nil {
			t.Fatal(err)
		}
		return pc
	}
	file := intake.File(drawn.ThreeMF(t, drawn.Bodies(t, k, drawn.Stool(0.2))))
	r, err := intake.Make(context.Background(), k, []intake.File{file}, s, intake.Options{Name: Brought, Use: piece.Seat})
	if err != nil {
		t.Fatal(err)
	}
	return r.Piece
}
