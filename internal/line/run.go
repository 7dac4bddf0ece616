package line

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync"

	"groundwork/internal/parallel"
)

// Runner does tasks, in this process or in others. done is told the result or
// the error of every task that ended, in any order, one call after another; i is
// its index in tasks. The error is for what keeps the rest from being done, ctx
// among them.
type Runner interface {
	Run(ctx context.Context, kind string, tasks []Task, done func(i int, result []byte, err error)) error
}

// Local does tasks in this process, in their order.
type Local struct {
	Worker Worker
	// Beside is how many variants are in the making at a time; 0 means two. Stages
	// of one plan run side by side and most use all processors themselves, so more
	// only cost memory (docs/line.md has figures).
	Beside int
}

// Run is a Runner's.
func (l Local) Run(ctx context.Context, kind string, tasks []Task, done func(i int, result []byte, err error)) error {
	if kind != TaskKind {
		return fmt.Errorf("line: there is no work of kind %q here", kind)
	}
	beside := l.Beside
	if beside == 0 {
		beside = 2
	}
	var (
		all  sync.WaitGroup
		mu   sync.Mutex // of next, and held while done is told
		next int
	)
	for range min(beside, len(tasks)) {
		all.Go(func() {
			for {
				mu.Lock()
				i := next
				next++
				mu.Unlock()
				if i >= len(tasks) || ctx.Err() != nil {
					return
				}
				result, err := l.do(ctx, tasks[i].Args)
				mu.Lock()
				if ctx.Err() == nil || err == nil {
					done(i, result, err)
				}
				mu.Unlock()
			}
		})
	}
	all.Wait()
	return ctx.Err()
}

// do is the worker's Do, with a panic as an error: one variant is not to end the
// others.
func (l Local) do(ctx context.Context, args []byte) (result []byte, err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("the program itself failed: %w", parallel.Caught(v))
		}
	}()
	return l.Worker.Do(ctx, args)
}

// Progress is how far a line is.
type Progress struct {
	Ended, Total int
	Reused       int // of Ended: kept from earlier
}

// UnfinishedError is for a line that was ended before all its rows were there.
type UnfinishedError struct {
	Progress
	Kept bool  // finished rows are kept, and the next time only the others are worked out
	Err  error // why
}

func (e *UnfinishedError) Error() string {
	s := fmt.Sprintf("%d of %d variants were worked out", e.Ended, e.Total)
	if e.Kept {
		s += " and are kept"
	}
	return s + ": " + e.Err.Error()
}

// Unwrap is why.
func (e *UnfinishedError) Unwrap() error { return e.Err }

// Run works the line out: rows that are kept are taken from there, the others are
// done by r and kept. kept and told may be nil. The error is an *UnfinishedError;
// a variant that fails is a row that says so.
func (l *Line) Run(ctx context.Context, r Runner, kept *Kept, told func(Progress)) (*Table, error) {
	t := &Table{Line: l, Rows: make([]*Row, len(l.Variants))}
	p := Progress{Total: len(l.Variants)}
	tell := func() {
		if told != nil {
			told(p)
		}
	}
	var (
		tasks []Task
		which []int
	)
	for i, v := range l.Variants {
		if data, ok := kept.get(v.Task.Key); ok {
			if row, err := readRow(data); err == nil {
				t.Rows[i] = row
				p.Ended++
				p.Reused++
				continue
			}
		}
		tasks, which = append(tasks, v.Task), append(which, i)
	}
	tell()
	err := r.Run(ctx, TaskKind, tasks, func(i int, result []byte, err error) {
		var row *Row
		if err == nil {
			row, err = readRow(result)
		}
		if err != nil {
			row = &Row{State: Failed, Error: err.Error()}
		} else if err := kept.put(tasks[i].Key, result); err != nil && t.NotKept == nil {
			t.NotKept = err
		}
		t.Rows[which[i]] = row
		p.Ended++
		tell()
	})
	if err == nil && p.Ended < p.Total {
		err = errors.New("the runner left tasks undone")
	}
	if err != nil {
		return nil, &UnfinishedError{p, kept != nil && t.NotKept == nil, err}
	}
	t.Reused = p.Reused
	return t, nil
}

func readRow(data []byte) (*Row, error) {
	r := &Row{}
	if err := json.Unmarshal(data, r); err != nil {
		return nil, fmt.Errorf("line: reading a row: %w", err)
	}
	switch {
	case r.State == Made && r.Figures != nil, r.State == Alter:
		return r, nil
	}
	return nil, fmt.Errorf("line: reading a row: it is not whole, and its state is %q", r.State)
}
