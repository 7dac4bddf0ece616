package work

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// Run has tasks of a kind done and calls done once for each, with its place in
// tasks, in the order in which they are finished. What has a result already is
// not done again; what another maker has asked for is done for both. done is not
// called by two goroutines at once. Its error, if not nil, is ErrFailed or
// ErrKey and is of that task alone.
//
// Run does no work itself: somebody must be in Work. When ctx ends, Run returns
// its error and what was asked for is done all the same, unless Options.Withdraw
// is set. A database that does not answer for two minutes is an error, too.
func (q *Queue) Run(ctx context.Context, kind string, tasks []Task, done func(i int, result []byte, err error)) error {
	if err := q.run(ctx, kind, tasks, done); err != nil {
		return fmt.Errorf("having %d tasks of kind %s done: %w", len(tasks), kind, err)
	}
	return nil
}

// waiting is a Run under way.
type waiting struct {
	*Queue
	kind  string
	tasks []Task
	done  func(i int, result []byte, err error)
	at    map[string][]int // of what is not done: by id, the places in tasks
	order []string         // the ids, as they were asked for
	jobs  map[string]int64
}

func (q *Queue) run(ctx context.Context, kind string, tasks []Task, done func(i int, result []byte, err error)) error {
	w := &waiting{Queue: q, kind: kind, tasks: tasks, done: done, at: map[string][]int{}, jobs: map[string]int64{}}
	for i, t := range tasks {
		if t.Key == "" || len(t.Key) > MaxKey || !utf8.ValidString(t.Key) || strings.Contains(t.Key, "\x00") {
			return fmt.Errorf("%.40q is no key: it must be a text of 1 to %d bytes", t.Key, MaxKey)
		}
		if len(t.Args) > MaxArgs {
			return fmt.Errorf("%s: its arguments have %d bytes, %d are the most", t.Key, len(t.Args), MaxArgs)
		}
		id := q.id(kind, t.Key)
		if first, ok := w.at[id]; !ok {
			w.order = append(w.order, id)
		} else if string(tasks[first[0]].Args) != string(t.Args) {
			return fmt.Errorf("%s: %w", t.Key, ErrKey)
		}
		w.at[id] = append(w.at[id], i)
	}
	if err := w.again(ctx, patience, w.forgive); err != nil {
		return err
	}
	asked, alone := time.Time{}, time.Time{}
	for {
		finished, looked := q.next(), time.Now()
		if err := w.again(ctx, patience, w.collect); err != nil {
			return w.withdraw(ctx, err)
		}
		took := time.Since(looked)
		if len(w.at) == 0 {
			return nil
		}
		if asked.IsZero() || time.Since(asked) >= q.pace.ask {
			if err := w.again(ctx, patience, w.ask); err != nil {
				return w.withdraw(ctx, err)
			}
			asked = time.Now()
			// Nobody is told in the first moments: the workers may be about to join.
			if alone.IsZero() {
				alone = asked.Add(q.pace.lease)
			}
		}
		if asked.After(alone) {
			if n, err := q.workers(ctx, kind); err == nil && n == 0 {
				q.Told(Event{What: Alone, Kind: kind, Waiting: len(w.at)})
			}
			alone = asked.Add(4 * q.pace.lease)
		}
		select {
		case <-ctx.Done():
			return w.withdraw(ctx, ctx.Err())
		case <-finished:
		case <-time.After(max(q.pace.poll, 4*took)): // many makers are not to keep the database from the workers
		}
	}
}

// next is closed when this process finishes the next task.
func (q *Queue) next() <-chan struct{} {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.finished
}

func (q *Queue) wake() {
	q.mu.Lock()
	defer q.mu.Unlock()
	close(q.finished)
	q.finished = make(chan struct{})
}

// again calls f until it succeeds, the context ends or the limit is reached:
// databases are restarted.
func (q *Queue) again(ctx context.Context, limit time.Duration, f func(context.Context) error) error {
	start, wait := time.Now(), 50*time.Millisecond
	for {
		err := f(ctx)
		switch {
		case err == nil || errors.Is(err, ErrKey):
			return err
		case ctx.Err() != nil:
			return ctx.Err()
		case time.Since(start) > limit:
			return err
		}
		q.quiet.Warn("the database does not answer; trying again", slog.Any("error", err))
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(wait):
			wait = min(2*wait, 2*time.Second)
		}
	}
}

const batch = 500 // statements that list tasks list so many

// outstanding calls f for what is not done yet, some at a time.
func (w *waiting) outstanding(f func(ids []string) error) error {
	for ids := range slices.Chunk(slices.DeleteFunc(slices.Clone(w.order), func(id string) bool { return w.at[id] == nil }), batch) {
		if err := f(ids); err != nil {
			return err
		}
	}
	return nil
}

// list is an argument for {among}.
func list[T any](q *Queue, ids []T) any {
	if q.dialect.postgres {
		return ids
	}
	b, _ := json.Marshal(ids) // texts and numbers always can
	return string(b)
}

// forgive lets what was given up before be tried once more.
func (w *waiting) forgive(ctx context.Context) error {
	return w.outstanding(func(ids []string) error {
		_, err := w.exec(ctx, "DELETE FROM failure WHERE {among}", list(w.Queue, ids))
		return err
	})
}

// collect hands over what has been done.
func (w *waiting) collect(ctx context.Context) error {
	type outcome struct {
		id     string
		result []byte
		why    sql.NullString
	}
	return w.outstanding(func(ids []string) error {
		var all []outcome // done may take its time, which should not be the connection's
		if err := w.rows(ctx, w.reading, func(scan func(...any) error) error {
			var o outcome
			if err := scan(&o.id, &o.result, &o.why); err != nil {
				return err
			}
			all = append(all, o)
			return nil
		}, `SELECT id, result, why FROM (SELECT id, result, NULL AS why, made_at AS at FROM result WHERE {among}
			UNION ALL SELECT id, NULL, why, failed_at FROM failure WHERE {among} AND id NOT IN (SELECT id FROM result WHERE {among})) AS outcome ORDER BY at, id`, list(w.Queue, ids)); err != nil {
			return err
		}
		for _, o := range all {
			var err error
			if o.why.Valid {
				err = fmt.Errorf("%s: %w: %s", w.tasks[w.at[o.id][0]].Key, ErrFailed, o.why.String)
			}
			w.give(o.id, o.result, err)
		}
		return nil
	})
}

func (w *waiting) give(id string, result []byte, err error) {
	for _, i := range w.at[id] {
		w.done(i, result, err)
	}
	delete(w.at, id)
}

// ask queues what is neither done nor queued. It is looked after from time to
// time: a job may have been withdrawn by another maker, or removed by hand. That
// it is there still is only read, for asking takes the pen from the workers.
func (w *waiting) ask(ctx context.Context) error {
	return w.outstanding(func(ids []string) error {
		there, err := w.queued(ctx, ids)
		if err != nil {
			return fmt.Errorf("looking whether tasks are queued still: %w", err)
		}
		if ids = slices.DeleteFunc(slices.Clone(ids), func(id string) bool { return there[id] }); len(ids) == 0 {
			return nil
		}
		var wrong []string
		if err := w.inTx(ctx, func(tx *sql.Tx) error {
			wrong = nil
			for _, id := range ids {
				t := w.tasks[w.at[id][0]]
				args := t.Args
				if args == nil {
					args = []byte{} // which is not NULL
				}
				// A task that is there is touched only if its arguments are the same.
				r, err := tx.ExecContext(ctx, w.sql(`INSERT INTO task (id, program, kind, key, args, asked_at) VALUES ($1, $2, $3, $4, $5, {now})
					ON CONFLICT (id) DO UPDATE SET asked_at = excluded.asked_at WHERE task.args = excluded.args`), id, w.Program, w.kind, t.Key, args)
				if err != nil {
					return err
				}
				if n, err := r.RowsAffected(); err != nil {
					return err
				} else if n == 0 {
					wrong = append(wrong, id)
				}
			}
			return nil
		}); err != nil {
			return fmt.Errorf("asking for tasks: %w", err)
		}
		for _, id := range wrong {
			w.give(id, nil, fmt.Errorf("%s: %w", w.tasks[w.at[id][0]].Key, ErrKey))
		}
		var jobs []jobArgs
		for _, id := range ids {
			if w.at[id] != nil {
				jobs = append(jobs, jobArgs{ID: id, Task: w.kind})
			}
		}
		if len(jobs) == 0 {
			return nil
		}
		numbers, err := w.engine.insert(ctx, w.queue, jobs)
		if err != nil {
			return fmt.Errorf("queueing tasks: %w", err)
		}
		for i, n := range numbers {
			w.jobs[jobs[i].ID] = n
		}
		return nil
	})
}

// queued are those of ids whose jobs are known and not over.
func (w *waiting) queued(ctx context.Context, ids []string) (map[string]bool, error) {
	var jobs []int64
	for _, id := range ids {
		if job, ok := w.jobs[id]; ok {
			jobs = append(jobs, job)
		}
	}
	there := map[string]bool{}
	if len(jobs) == 0 {
		return there, nil
	}
	return there, w.rows(ctx, w.reading, func(scan func(...any) error) error {
		var id string // by which it is seen, too, that SQLite has not used the number again
		err := scan(&id)
		there[id] = true
		return err
	}, "SELECT {task} FROM river_job WHERE {among} AND state NOT IN ('completed', 'cancelled', 'discarded')", list(w.Queue, jobs))
}

func (q *Queue) inTx(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := q.writing.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		tx.Rollback()
		return err
	}
	return tx.Commit()
}

// withdraw takes back what nobody has begun, if the queue is so used and it was
// the maker who stopped. Another who waits for the same asks for it again.
func (w *waiting) withdraw(ctx context.Context, why error) error {
	if !w.Withdraw || ctx.Err() == nil {
		return why
	}
	ctx, stop := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer stop()
	for _, id := range w.order {
		if job, ok := w.jobs[id]; ok && w.at[id] != nil {
			if err := w.engine.remove(ctx, job); err != nil {
				return errors.Join(why, fmt.Errorf("withdrawing what was asked for: %w", err))
			}
		}
	}
	return why
}

// workers is how many workers live that would take tasks of the kind.
func (q *Queue) workers(ctx context.Context, kind string) (n int, err error) {
	err = q.rows(ctx, q.reading, func(scan func(...any) error) error { return scan(&n) },
		"SELECT count(*) FROM worker WHERE queue = $1 AND kinds LIKE $2 AND until > {now}", q.queue, "%,"+kind+",%")
	return n, err
}

// Waiting is how many tasks wait in the database for a worker: of this queue's
// program, and of others, which its workers do not take.
func (q *Queue) Waiting(ctx context.Context) (ours, others int, err error) {
	err = q.rows(ctx, q.reading, func(scan func(...any) error) error { return scan(&ours, &others) },
		`SELECT coalesce(sum(CASE WHEN queue = $1 THEN 1 ELSE 0 END), 0), coalesce(sum(CASE WHEN queue <> $1 THEN 1 ELSE 0 END), 0)
			FROM river_job WHERE state IN ('available', 'retryable')`, q.queue)
	if err != nil {
		return 0, 0, fmt.Errorf("looking for waiting tasks: %w", err)
	}
	return ours, others, nil
}
