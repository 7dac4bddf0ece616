package work

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"regexp"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/rivermigrate"
	"github.com/riverqueue/river/rivertype"
)

// jobArgs is what River's job says: which task. The task's arguments stand in
// our own table, for they may be long and River reads jobs often.
type jobArgs struct {
	ID   string `json:"id"`
	Task string `json:"task"`
}

// Kind makes the kind of the task the kind of River's job, so that a worker
// fetches what it has a handler for. River allows no spaces in it.
func (a jobArgs) Kind() string {
	plain := unfit.ReplaceAllString(a.Task, "-")
	if plain == a.Task && len(plain) > 1 && len(plain) < 100 {
		return plain
	}
	return fmt.Sprintf("%.60s-%s", plain, digest(a.Task)[:16])
}

var unfit = regexp.MustCompile(`[^a-zA-Z0-9.]+`)

// engine is River on one of its databases.
type engine interface {
	migrate(ctx context.Context) error
	// insert queues tasks; one that is queued already stays as it is. It returns
	// the numbers of the jobs.
	insert(ctx context.Context, queue string, args []jobArgs) ([]int64, error)
	// remove takes back a job that nobody has begun.
	remove(ctx context.Context, job int64) error
	// start starts a worker. what is called for each job.
	start(ctx context.Context, p plant) (client, error)
	// finish carries out a statement and completes the job that ctx is of, in one
	// transaction, and returns how many rows the statement changed. A job that
	// somebody else has completed is no error.
	finish(ctx context.Context, job *river.Job[jobArgs], statement string, args ...any) (int64, error)
	close() error
}

// plant is what a worker is set up with.
type plant struct {
	name, queue string
	kinds       []string
	n           int
	fetch       time.Duration
	log         *slog.Logger
	what        func(ctx context.Context, job *river.Job[jobArgs]) error
}

// client is a started worker.
type client interface {
	Stop(ctx context.Context) error          // after what is begun
	StopAndCancel(ctx context.Context) error // what is begun is told to stop
}

// never is for River's own rescue of jobs by their age, which cannot tell a long
// job from a lost one; leases do that here, see lease.go.
const never = 100 * 365 * 24 * time.Hour

// unfinished are the states in which there may be one job for a task.
var unfinished = []rivertype.JobState{
	rivertype.JobStateAvailable, rivertype.JobStatePending, rivertype.JobStateRetryable, rivertype.JobStateRunning, rivertype.JobStateScheduled,
}

// on is River on the database of one of its drivers.
type on[TTx any] struct {
	driver   riverdriver.Driver[TTx]
	pollOnly bool
	begin    func(ctx context.Context) (TTx, error)
	exec     func(ctx context.Context, tx TTx, statement string, args ...any) (int64, error)
	commit   func(ctx context.Context, tx TTx) error
	rollback func(tx TTx) error
	shut     func() error
	inserter *river.Client[TTx]
}

func (e *on[TTx]) close() error { return e.shut() }

func (e *on[TTx]) migrate(ctx context.Context) error {
	m, err := rivermigrate.New(e.driver, &rivermigrate.Config{Logger: slog.New(slog.DiscardHandler)})
	if err != nil {
		return err
	}
	_, err = m.Migrate(ctx, rivermigrate.DirectionUp, nil)
	return err
}

func (e *on[TTx]) prepare(log *slog.Logger) (err error) {
	e.inserter, err = river.NewClient(e.driver, &river.Config{Logger: log, MaxAttempts: Tries})
	return err
}

func (e *on[TTx]) insert(ctx context.Context, queue string, args []jobArgs) ([]int64, error) {
	many := make([]river.InsertManyParams, len(args))
	for i, a := range args {
		many[i] = river.InsertManyParams{Args: a, InsertOpts: &river.InsertOpts{
			Queue: queue, MaxAttempts: Tries, UniqueOpts: river.UniqueOpts{ByArgs: true, ByQueue: true, ByState: unfinished},
		}}
	}
	in, err := e.inserter.InsertMany(ctx, many)
	if err != nil {
		return nil, err
	}
	out := make([]int64, len(in))
	for i, r := range in {
		out[i] = r.Job.ID
	}
	return out, nil
}

func (e *on[TTx]) remove(ctx context.Context, job int64) error {
	_, err := e.inserter.JobDelete(ctx, job)
	if errors.Is(err, rivertype.ErrJobRunning) || errors.Is(err, rivertype.ErrNotFound) {
		return nil
	}
	return err
}

func (e *on[TTx]) start(ctx context.Context, p plant) (client, error) {
	handlers := river.NewWorkers()
	for _, k := range p.kinds {
		// AddWorker takes the kind of the type's zero value. This takes the one that
		// is given; it is there for tests, but is exported and has no other catch.
		river.AddWorkerArgs(handlers, jobArgs{Task: k}, &rivers{what: p.what})
	}
	c, err := river.NewClient(e.driver, &river.Config{
		ID:     p.name,
		Queues: map[string]river.QueueConfig{p.queue: {MaxWorkers: p.n}}, Workers: handlers, FetchOnlyKnownKinds: true,
		// Ten times faster than River would: work that takes some milliseconds is
		// else mostly waiting.
		FetchCooldown: 10 * time.Millisecond, FetchPollInterval: p.fetch, PollOnly: e.pollOnly,
		JobTimeout: -1, RescueStuckJobsAfter: never, MaxAttempts: Tries,
		Logger: p.log,
	})
	if err != nil {
		return nil, err
	}
	// The client is stopped by its methods, not by the end of a context.
	return c, c.Start(context.WithoutCancel(ctx))
}

func (e *on[TTx]) finish(ctx context.Context, job *river.Job[jobArgs], statement string, args ...any) (int64, error) {
	tx, err := e.begin(ctx)
	if err != nil {
		return 0, err
	}
	n, err := e.exec(ctx, tx, statement, args...)
	if err == nil {
		_, err = river.JobCompleteTx[riverdriver.Driver[TTx]](ctx, tx, job)
		if errors.Is(err, river.ErrNotFound) {
			err = nil // this worker's lease had run out, and another was faster
		}
	}
	if err != nil {
		return 0, errors.Join(err, e.rollback(tx))
	}
	return n, e.commit(ctx, tx)
}

// rivers is a worker in River's sense: it does jobs of one kind.
type rivers struct {
	river.WorkerDefaults[jobArgs]
	what func(ctx context.Context, job *river.Job[jobArgs]) error
}

func (w *rivers) Work(ctx context.Context, job *river.Job[jobArgs]) error { return w.what(ctx, job) }

// NextRetry is soon, for a fault either goes away soon or never. River makes a
// job available at once when the time is within 5 s, and needs nobody to wake it.
func (w *rivers) NextRetry(job *river.Job[jobArgs]) time.Time {
	return time.Now().Add(time.Duration(job.Attempt) * time.Second)
}
