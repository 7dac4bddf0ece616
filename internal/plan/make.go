package plan

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"groundwork/internal/digest"
	"groundwork/internal/finding"
	"groundwork/internal/parallel"
	"groundwork/internal/solid"
)

// Cache keeps results of stages. It may be used by several goroutines.
type Cache interface {
	// Get is what is kept under a key. If nothing is, it is what work returns,
	// which may be kept from then on; an error is not. Work may be shared by
	// those who ask for the same meanwhile, but not its error where that is of
	// another's context.
	Get(ctx context.Context, key digest.Sum, work func() (any, error)) (any, error)
}

// making is a plan that is being made, by a goroutine for each stage.
type making struct {
	options Options

	mu    sync.Mutex // of what follows, and held while callers are told
	plan  Plan
	found [][]finding.Finding // by stage
	ended map[string]bool     // stages that have given their results
}

// result is what a stage has worked out, as it is kept.
type result struct {
	stage string
	plan  Plan
	found []finding.Finding
}

// Fault is an error of the program itself: a stage, or who was told of it,
// panicked. The piece and the
// shop are not to blame, and who asked for the plan goes on.
type Fault struct{ panicked *parallel.Panic }

func (f *Fault) Error() string {
	return fmt.Sprintf("the program itself failed (%v); please report it with the piece and the shop", f.panicked.Value)
}

// Stack is where it happened.
func (f *Fault) Stack() string { return string(f.panicked.Stack) }

// errEarlier is for a stage that cannot run since one before it did not.
var errEarlier = errors.New("an earlier stage failed")

// step runs a stage when all that it needs has ended, well or not.
func (m *making) step(ctx context.Context, k *solid.Kernel, i int) (err error) {
	st := stages[i]
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("plan: %s: %w", st.name, &Fault{parallel.Caught(v)})
		}
	}()
	seen, err := m.begin(ctx, st)
	if err != nil {
		return err
	}
	r, err := st.do(ctx, k, seen, m.options.Cache)
	if err != nil {
		return fmt.Errorf("plan: %s: %w", st.name, err)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	st.gives(&r.plan, &m.plan)
	m.found[i], m.ended[st.name] = r.found, true
	if m.options.Ready != nil {
		m.options.Ready(st.name, m.sofar())
	}
	return nil
}

// begin is what a stage sees.
func (m *making) begin(ctx context.Context, st stage) (Plan, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, earlier := range st.after {
		if !m.ended[earlier] {
			return Plan{}, errEarlier
		}
	}
	if err := ctx.Err(); err != nil {
		return Plan{}, fmt.Errorf("plan: before %s: %w", st.name, err)
	}
	if m.options.Progress != nil {
		m.options.Progress(st.name, len(m.ended), len(stages))
	}
	if st.sees == nil {
		return m.plan, nil
	}
	return st.sees(&m.plan), nil
}

// do works out a stage's results from what it sees, or finds them.
func (st stage) do(ctx context.Context, k *solid.Kernel, seen Plan, c Cache) (*result, error) {
	work := func() (*result, error) {
		pl := seen
		found, err := st.run(ctx, k, &pl)
		if err == nil {
			err = ctx.Err() // some end early with what they have, and that is not to be kept
		}
		if err != nil {
			return nil, err
		}
		r := &result{stage: st.name, found: found}
		st.gives(&pl, &r.plan)
		return r, nil
	}
	if c == nil || st.sees == nil {
		return work()
	}
	key, err := digest.Of(struct {
		Stage string
		Sees  Plan
	}{st.name, seen})
	if errors.Is(err, digest.ErrNoContent) { // options may hold functions of the caller's
		return work()
	}
	if err != nil {
		return nil, err
	}
	r, err := c.Get(ctx, key, func() (any, error) { return work() })
	if err != nil {
		return nil, err
	}
	return r.(*result), nil
}

// sofar is the plan as far as it is known, for callers to keep.
func (m *making) sofar() *Plan {
	pl := m.plan
	var all []finding.Finding
	for _, f := range m.found {
		all = append(all, f...)
	}
	pl.Findings = finding.Sorted(all)
	return &pl
}
