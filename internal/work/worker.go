package work

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/riverqueue/river"
)

// saving is for how long a worker tries to save a result when the database does
// not answer: what took minutes is not thrown away for a restart.
const saving = time.Hour

// working is a Work under way.
type working struct {
	*Queue
	name     string // of the worker: no two share one, even on one machine
	handlers map[string]Handler
	kinds    []string

	mu     sync.Mutex
	active map[int64]bool // the jobs that handlers have at this moment
}

// Work is a worker: it takes tasks of the kinds that it has a handler for, up to
// n at a time, until ctx ends. Then it takes no more, waits for Options.Finish,
// ends the context of the handlers that still run, gives their tasks back and
// returns nil. A handler that does not heed its context is waited for no longer
// than that once more, and is an error.
func (q *Queue) Work(ctx context.Context, handlers map[string]Handler, n int) error {
	if err := q.work(ctx, handlers, n); err != nil {
		return fmt.Errorf("working from the queue %s: %w", q.name, err)
	}
	return nil
}

func (q *Queue) work(ctx context.Context, handlers map[string]Handler, n int) error {
	if n < 1 || len(handlers) == 0 {
		return errors.New("a worker needs something to do and must do at least one at a time")
	}
	host, _ := os.Hostname() // only for show
	w := &working{Queue: q, handlers: handlers, kinds: slices.Sorted(maps.Keys(handlers)), active: map[int64]bool{},
		name: fmt.Sprintf("%.60s-%d-%s", strings.Map(plain, host), os.Getpid(), strings.ToLower(rand.Text()[:8]))}
	if err := q.again(ctx, patience, w.beat); err != nil {
		return err
	}
	c, err := q.engine.start(ctx, plant{name: w.name, queue: q.queue, kinds: w.kinds, n: n, fetch: q.pace.fetch, log: q.quiet, what: w.do})
	if err != nil {
		return err
	}
	beating, stop := context.WithCancel(context.WithoutCancel(ctx))
	beaten := make(chan struct{})
	go func() {
		defer close(beaten)
		w.keep(beating)
	}()
	<-ctx.Done()
	err = halt(ctx, q.Finish, c.Stop)
	if err != nil {
		err = halt(ctx, max(q.Finish, 5*time.Second), c.StopAndCancel)
	}
	stop()
	<-beaten
	if err != nil {
		return fmt.Errorf("stopping, with %d tasks that did not heed it; they can be had again when the lease has run out: %w", w.count(), err)
	}
	return halt(ctx, 5*time.Second, w.leave)
}

func halt(ctx context.Context, limit time.Duration, f func(context.Context) error) error {
	ctx, stop := context.WithTimeout(context.WithoutCancel(ctx), limit)
	defer stop()
	return f(ctx)
}

// plain leaves of a host's name what reads well everywhere.
func plain(r rune) rune {
	if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '.' {
		return r
	}
	return '.'
}

func (w *working) count() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.active)
}

func (w *working) have(job int64, have bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if have {
		w.active[job] = true
	} else {
		delete(w.active, job)
	}
}

// do does a job of River's. ctx ends when the worker stops and will not wait any
// longer.
func (w *working) do(ctx context.Context, job *river.Job[jobArgs]) error {
	w.have(job.ID, true)
	defer w.have(job.ID, false)
	start := time.Now()
	e := Event{Worker: w.name, Kind: job.Args.Task}
	var args []byte
	var lost int
	var found, done bool
	err := w.again(ctx, saving, func(ctx context.Context) error {
		found = false
		return w.rows(ctx, w.reading, func(scan func(...any) error) error {
			found = true
			return scan(&e.Key, &args, &lost, &done)
		}, "SELECT key, args, lost, EXISTS (SELECT 1 FROM result WHERE result.id = task.id) FROM task WHERE id = $1", job.Args.ID)
	})
	e.Args = args
	switch {
	case err != nil && ctx.Err() != nil:
		return river.JobSnooze(0)
	case err != nil:
		return err
	case done: // asked for while another was about to finish it
		return w.complete(ctx, job, "DELETE FROM failure WHERE id = $1", job.Args.ID)
	case !found: // kept long enough; who still waits for it asks again
		return w.complete(ctx, job, "DELETE FROM failure WHERE id = $1", job.Args.ID)
	case lost >= MaxLost:
		return w.fail(ctx, job, e, start, fmt.Errorf("%d workers were gone while they had it", lost))
	}
	w.tell(e, Taken, start, nil, false)
	result, err := w.call(ctx, job.Args.Task, args)
	if err == nil && len(result) > MaxResult {
		err = fmt.Errorf("the result has %d bytes, %d are the most", len(result), MaxResult)
	}
	switch {
	case err != nil && ctx.Err() != nil:
		w.tell(e, GivenBack, start, nil, false)
		return river.JobSnooze(0) // which does not count as a try
	case err != nil && job.Attempt < Tries:
		w.tell(e, Failed, start, err, true)
		return errors.New(storable(err))
	case err != nil:
		return w.fail(ctx, job, e, start, fmt.Errorf("tried %d times, at last: %w", job.Attempt, err))
	}
	if err := w.save(ctx, job, e, result); err != nil {
		return err
	}
	w.tell(e, Finished, start, nil, false)
	w.wake()
	return nil
}

func (w *working) tell(e Event, what What, start time.Time, err error, again bool) {
	e.What, e.Elapsed, e.Err, e.Again = what, time.Since(start), err, again
	w.Told(e)
}

// call calls the handler; its panic is an error.
func (w *working) call(ctx context.Context, kind string, args []byte) (result []byte, err error) {
	defer func() {
		if p := recover(); p != nil {
			w.Log.Error("a handler panicked", slog.String("kind", kind), slog.Any("panic", p), slog.String("stack", string(debug.Stack())))
			result, err = nil, fmt.Errorf("panic: %v", p)
		}
	}()
	h := w.handlers[kind]
	if h == nil {
		return nil, fmt.Errorf("no handler for %q", kind)
	}
	return h(ctx, args)
}

// save writes the result and completes the job, at once.
func (w *working) save(ctx context.Context, job *river.Job[jobArgs], e Event, result []byte) error {
	if result == nil {
		result = []byte{} // which is not NULL
	}
	var n int64
	err := w.finish(ctx, job, &n, `INSERT INTO result (id, kind, result, made_at, worker) VALUES ($1, $2, $3, {now}, $4) ON CONFLICT (id) DO NOTHING`,
		job.Args.ID, e.Kind, result, w.name)
	if err != nil || n > 0 {
		return err
	}
	// It was there already. It is either this worker's own, if only the answer to
	// it was lost, or another's, and then it must say the same.
	return w.again(ctx, patience, func(ctx context.Context) error {
		return w.rows(ctx, w.reading, func(scan func(...any) error) error {
			var other []byte
			var by string
			if err := scan(&other, &by); err != nil {
				return err
			}
			if !bytes.Equal(other, result) {
				w.Log.Error("two workers made different results of one task; the first is kept",
					slog.String("kind", e.Kind), slog.String("key", e.Key), slog.String("first", by), slog.String("second", w.name))
			}
			return nil
		}, "SELECT result, worker FROM result WHERE id = $1", job.Args.ID)
	})
}

// fail gives a task up, if this worker still has it, and completes the job.
func (w *working) fail(ctx context.Context, job *river.Job[jobArgs], e Event, start time.Time, why error) error {
	if err := w.complete(ctx, job, `INSERT INTO failure (id, why, failed_at) SELECT $1, $2, {now} FROM river_job
		WHERE river_job.id = $3 AND river_job.state = 'running' AND {holder} = $4
		ON CONFLICT (id) DO UPDATE SET why = excluded.why, failed_at = excluded.failed_at`,
		job.Args.ID, storable(why), job.ID, w.name); err != nil {
		return err
	}
	w.tell(e, Failed, start, why, false)
	w.wake()
	return nil
}

// storable is an error's text as both databases take it, River's JSON included:
// PostgreSQL takes no zero bytes and only UTF-8.
func storable(err error) string {
	return strings.ReplaceAll(strings.ToValidUTF8(fmt.Sprintf("%.4000s", err.Error()), "?"), "\x00", "?")
}

func (w *working) complete(ctx context.Context, job *river.Job[jobArgs], statement string, args ...any) error {
	return w.finish(ctx, job, new(int64), statement, args...)
}

// finish tries until the database answers, and once at least although the worker
// is to stop.
func (w *working) finish(ctx context.Context, job *river.Job[jobArgs], n *int64, statement string, args ...any) error {
	return w.again(ctx, saving, func(ctx context.Context) error {
		return halt(ctx, 30*time.Second, func(ctx context.Context) (err error) {
			*n, err = w.engine.finish(ctx, job, statement, args...)
			return err
		})
	})
}
