// Package work shares long work among workers, in one process or on many
// machines: who wants results asks a Queue for them by key, who has time takes
// tasks from it, and a result lands once, whoever is killed meanwhile. It does
// not know what the work is: a Handler makes bytes of bytes.
//
// The queue is River's (github.com/riverqueue/river), on an SQLite file for the
// processes of one machine or on PostgreSQL for as many machines as there are.
// Beside River's jobs stand four tables of ours: tasks with their arguments,
// results, failures, and the leases of workers. A worker writes a result and
// completes its job in one transaction. docs/work.md says what is guaranteed
// and by what.
//
// A handler must be a function of its arguments: the same bytes in, the same
// bytes out, wherever and however often it runs. Of that the package makes sure
// as far as it can by keeping the tasks of different programs apart, see
// Options.Program, and by telling when a second result differs from the first.
package work

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"
)

// Handler does one task. A fault in the arguments is best told in the result:
// an error is tried again, see Tries. It should give up soon after ctx ends.
type Handler func(ctx context.Context, args []byte) ([]byte, error)

// Task is something to be done. Tasks of a kind that have the same Key are the
// same task: done once, for all who ask.
type Task struct {
	Key  string
	Args []byte
}

// Tries is how often a handler may fail, or panic, before the task is given up.
// MaxLost is how many workers may be gone in the middle of a task before it is
// given up as what brings them down.
const (
	Tries   = 3
	MaxLost = 5
)

// MaxKey, MaxArgs and MaxResult bound, in bytes, what a task is called, given
// and gives.
const (
	MaxKey    = 512
	MaxArgs   = 16 << 20
	MaxResult = 64 << 20
)

// Errors that callers tell apart with errors.Is.
var (
	// ErrKey is when a key stands for two things.
	ErrKey = errors.New("the key was used for other arguments")
	// ErrFailed is when a task was given up.
	ErrFailed = errors.New("given up")
)

// Options are how a queue is used. The zero value is a good one.
type Options struct {
	// Program says which program asks or works, with its version. Only workers
	// of the same Program take a maker's tasks, and results are not shared
	// between programs, for the same arguments may give other results there.
	Program string

	// Keep is how long results are kept after they were made; 0 is 30 days.
	Keep time.Duration

	// Finish is how long Work, when told to stop, waits for what is begun before
	// it gives it back; 0 is 10 s.
	Finish time.Duration

	// Lease is how long a worker is given since it was last heard of before its
	// tasks are given to others; 0 is 15 s. Workers of a database have the same:
	// who has a shorter one than the others' beat, a fifth of theirs, takes what
	// they still have.
	Lease time.Duration

	// Withdraw is whether a Run that is told to stop takes back those of its
	// tasks that nobody has begun.
	Withdraw bool

	// Told, if not nil, is called when a worker of this queue takes, finishes or
	// loses something, and when a maker has nobody to wait for; by several
	// goroutines.
	Told func(Event)

	// Log gets warnings and faults, with the stacks of panics; nil is nobody.
	Log *slog.Logger
}

// Event is something that a maker at the screen may want to see.
type Event struct {
	What    What
	Worker  string
	Kind    string
	Key     string
	Args    []byte        // of the task, not to be changed; of all but Alone
	Elapsed time.Duration // of Finished, Failed and GivenBack
	Err     error         // of Failed
	Again   bool          // of Failed: it will be tried again
	Waiting int           // of Alone: how many tasks wait
}

// What happened.
type What int

// Taken, Finished, GivenBack and Failed are of a worker's task. Freed is a task
// whose worker was gone and that is to be had again. Alone is when tasks wait
// and no worker lives who could take them.
const (
	Taken What = iota
	Finished
	GivenBack
	Failed
	Freed
	Alone
)

// pace is how often things are looked at.
type pace struct {
	beat  time.Duration // a worker puts off the end of its lease this often
	lease time.Duration // by this much
	poll  time.Duration // a Run asks for results this often
	ask   time.Duration // and sees to it that its tasks are queued this often
	fetch time.Duration // a worker looks for tasks this often, if nothing wakes it
}

// A killed worker's task is freed at the first beat of another after the lease
// has run out, 12 to 18 s after the kill, and taken up within a fetch.
var usual = pace{beat: 3 * time.Second, lease: 15 * time.Second, poll: 100 * time.Millisecond, ask: 10 * time.Second, fetch: 250 * time.Millisecond}

// patience is for how long a Run goes on asking a database that does not answer.
const patience = 2 * time.Minute

// Queue is an open queue. Its methods may be called by several goroutines.
type Queue struct {
	Options
	name     string
	queue    string  // of River: the tasks of one program
	writing  *sql.DB // one connection on SQLite
	reading  *sql.DB
	dialect  dialect
	engine   engine
	pace     pace
	quiet    *slog.Logger // for what is said over and over
	mu       sync.Mutex
	finished chan struct{} // closed and made anew when this process has finished something
}

// dialect is what differs between the two databases in our own statements.
type dialect struct {
	postgres bool
	now      string // seconds since 1970
	among    string // the condition that id is in a list, the first argument
	holder   string // of a running river_job: the worker that has it
	taskID   string // of a river_job
}

// Open opens the queue in a database, making in it what is not there yet: of a
// path, an SQLite file for the processes of one machine; of
// postgres://user@host/name, the schema "groundwork" of a PostgreSQL database.
// "" is a queue that only this process has, in a temporary file that goes when
// it is closed.
//
// No error or log entry has the password in it. A password is better left out
// of the name: PGPASSWORD and the user's .pgpass are looked at as usual.
func Open(ctx context.Context, database string, o Options) (*Queue, error) {
	p := usual
	if o.Lease > 0 {
		p.lease, p.beat = o.Lease, o.Lease/5
	}
	return open(ctx, database, o, p)
}

func open(ctx context.Context, database string, o Options, p pace) (*Queue, error) {
	if o.Keep <= 0 {
		o.Keep = 30 * 24 * time.Hour
	}
	if o.Finish <= 0 {
		o.Finish = 10 * time.Second
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Told == nil {
		o.Told = func(Event) {}
	}
	q := &Queue{Options: o, pace: p, queue: "work-" + digest(o.Program)[:16], finished: make(chan struct{}), quiet: spare(o.Log)}
	connect := q.openSQLite
	if IsPostgres(database) {
		connect = q.openPostgres
	}
	if err := connect(ctx, database); err != nil {
		return nil, fmt.Errorf("opening the work queue %s: %w", q.name, err)
	}
	if err := q.clean(ctx); err != nil {
		q.Close()
		return nil, fmt.Errorf("opening the work queue %s: %w", q.name, err)
	}
	return q, nil
}

// IsPostgres reports whether a database's name is a PostgreSQL address.
func IsPostgres(database string) bool {
	return strings.HasPrefix(database, "postgres://") || strings.HasPrefix(database, "postgresql://")
}

// Name is what the database may be called at the screen: without the password.
func (q *Queue) Name() string { return q.name }

// Close lets the queue go. Nobody may be in Run or Work.
func (q *Queue) Close() error { return q.engine.close() }

// digest is of texts, so that no two lists of texts share one.
func digest(texts ...string) string {
	h := sha256.New()
	for _, t := range texts {
		fmt.Fprintf(h, "%d:%s", len(t), t)
	}
	return hex.EncodeToString(h.Sum(nil))
}

func (q *Queue) id(kind, key string) string { return digest(q.Program, kind, key) }

// sql is a statement in the words of the database.
func (q *Queue) sql(s string) string {
	s = strings.NewReplacer("{now}", q.dialect.now, "{among}", q.dialect.among, "{holder}", q.dialect.holder, "{task}", q.dialect.taskID).Replace(s)
	if !q.dialect.postgres {
		s = strings.ReplaceAll(s, "$", "?")
		s = strings.ReplaceAll(s, "'?", "'$") // paths into JSON
	}
	return s
}

func (q *Queue) exec(ctx context.Context, s string, args ...any) (int64, error) {
	r, err := q.writing.ExecContext(ctx, q.sql(s), args...)
	if err != nil {
		return 0, err
	}
	return r.RowsAffected()
}

// rows calls f for each row, which it scans.
func (q *Queue) rows(ctx context.Context, db *sql.DB, f func(scan func(...any) error) error, s string, args ...any) error {
	r, err := db.QueryContext(ctx, q.sql(s), args...)
	if err != nil {
		return err
	}
	defer r.Close()
	for r.Next() {
		if err := f(r.Scan); err != nil {
			return err
		}
	}
	return r.Err()
}

// clean removes what has been kept long enough. River cleans up its own jobs.
func (q *Queue) clean(ctx context.Context) error {
	keep := q.Keep.Seconds()
	for _, s := range []string{
		"DELETE FROM result WHERE made_at < {now} - $1",
		"DELETE FROM failure WHERE failed_at < {now} - $1",
		// A Run that still waits asks again.
		"DELETE FROM task WHERE asked_at < {now} - $1 AND NOT EXISTS (SELECT 1 FROM result WHERE result.id = task.id)",
		"DELETE FROM worker WHERE until < {now} - $1 - 86400",
	} {
		if _, err := q.exec(ctx, s, keep); err != nil {
			return fmt.Errorf("removing old results: %w", err)
		}
	}
	return nil
}
