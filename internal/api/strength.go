package api

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/http"
	"sync/atomic"

	"groundwork/internal/line"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/scene"
	"groundwork/internal/solid"
	checks "groundwork/internal/task"
)

// Long has a long task done, by do where it is done by this program, and finds
// what was done before.
type Long func(ctx context.Context, kind string, t line.Task, do func(ctx context.Context, args []byte) ([]byte, error)) ([]byte, error)

// here does a task at once.
func here(ctx context.Context, _ string, t line.Task, do func(context.Context, []byte) ([]byte, error)) ([]byte, error) {
	return do(ctx, t.Args)
}

// bears is how the strength of a plan is had: as the check of the same files that
// the command line asks for. tell is told how far it is, if it is done here.
func (p *plans) bears(f papers, doc *piece.Document, name string, asked PlanOrder, tell func(done, total int, what string)) plan.Asker {
	return func(ctx context.Context) (*plan.Held, error) {
		a := checks.Check{Name: name, Piece: f.piece.Data, Shop: f.shop.Data, Set: asked.Set, Bare: !asked.Remedies}
		if f.marks.Version != "" {
			a.Marks = f.marks.Data
		}
		var err error
		if a.Program, err = line.Program(); err != nil {
			return nil, err
		}
		if a.Solids, err = line.Carry(doc, doc.Open); err != nil {
			return nil, err
		}
		t, err := a.Task()
		if err != nil {
			return nil, err
		}
		var here atomic.Pointer[[]plan.Strained] // of a check that this program did itself
		result, err := p.long(ctx, checks.CheckKind, t, func(ctx context.Context, args []byte) ([]byte, error) {
			c := checks.Checker{Kernel: func() (*solid.Kernel, error) { return p.kernel, nil }, Cache: p.cache}
			if bytes.Equal(args, t.Args) { // it may be another's that was asked for before
				c.Parts, c.Strained = tell, func(states []plan.Strained) { here.Store(&states) }
			}
			result, err := c.Do(ctx, args)
			if fault := (*plan.Fault)(nil); errors.As(err, &fault) { // of which the queue keeps the words only
				p.bench.o.Log("a check broke off: %v\n%s", err, fault.Stack())
			}
			return result, err
		})
		if err != nil {
			return nil, err
		}
		r, err := checks.ReadCheck(result, nil)
		if states := here.Load(); states != nil && r.Held != nil {
			r.Held.Strained = *states
		}
		return r.Held, err
	}
}

// strained is the picture of a plan under a load case. Where the strength was
// worked out by others, or by an earlier run of the program, the case is solved
// again.
func (p *plans) strained(ctx context.Context, pl *plan.Plan, load int, b *bytes.Buffer) error {
	switch {
	case pl.Strength == nil:
		return problem(http.StatusConflict, "strength was not asked for with this plan", "order the plan with strength")
	case load >= len(pl.Strength.Cases):
		return problem(http.StatusNotFound, fmt.Sprintf("the plan has %d load cases, numbered from 0", len(pl.Strength.Cases)), "look at the cases under strength in plan.json")
	case !pl.Strength.Cases[load].Solved:
		return problem(http.StatusConflict, fmt.Sprintf("load case %d could not be solved", load), "look at the findings of the plan: they say why")
	}
	state, err := pl.Strain(ctx, p.kernel, load)
	if err != nil {
		return err
	}
	q := *pl
	q.Strained = make([]plan.Strained, load+1)
	q.Strained[load] = state
	return scene.Strength(ctx, p.kernel, &q, load, b)
}

// asProblem is an error as what the page is told.
func asProblem(err error) error {
	if told := (*Problem)(nil); errors.As(err, &told) {
		return told
	}
	return broken(err)
}
