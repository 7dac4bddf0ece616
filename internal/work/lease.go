package work

import (
	"context"
	"database/sql"
	"log/slog"
	"strings"
	"time"
)

// River rescues jobs by their age, an hour by default, and so cannot tell a long
// job from one whose worker was killed. Here every worker has a lease, a row with
// a moment by the database's clock that it puts off while it lives. A running job
// whose worker's lease has run out is made available again by whoever sees it
// first. A long job is safe as long as its worker lives.
//
// Nobody takes jobs from others in the first lease after it could not put off
// its own: the others could not either, since the database was away or the
// machine slept, and must have the chance to before they are taken for dead.

// beat puts the end of the worker's lease off.
func (w *working) beat(ctx context.Context) error {
	_, err := w.exec(ctx, `INSERT INTO worker (name, queue, kinds, joined_at, until) VALUES ($1, $2, $3, {now}, {now} + $4)
		ON CONFLICT (name) DO UPDATE SET until = excluded.until`, w.name, w.queue, ","+strings.Join(w.kinds, ",")+",", w.pace.lease.Seconds())
	return err
}

// leave ends the lease: the worker has stopped and holds nothing.
func (w *working) leave(ctx context.Context) error {
	_, err := w.exec(ctx, "DELETE FROM worker WHERE name = $1", w.name)
	return err
}

// keep beats until ctx ends, and frees what others and this worker have lost.
func (w *working) keep(ctx context.Context) {
	// The wall clock, which goes on while a machine sleeps.
	now := func() time.Time { return time.Now().Round(0) }
	last, steady := now(), now()
	if !w.dialect.postgres {
		// An SQLite file is not away. Whoever has a lease on it is on this machine,
		// and whoever starts after a crash need not wait.
		steady = steady.Add(-w.pace.lease)
	}
	astray := map[int64]time.Time{}
	cleaned := now()
	tick := time.NewTicker(w.pace.beat)
	defer tick.Stop()
	for {
		err := halt(ctx, w.pace.lease, w.beat)
		t := now()
		if err != nil || t.Sub(last) > w.pace.lease/2 {
			steady = t
		}
		switch {
		case err != nil:
			w.quiet.Warn("the lease could not be put off", slog.String("worker", w.name), slog.Any("error", err))
		default:
			last = t
			if err := w.sweep(ctx, t.Sub(steady) >= w.pace.lease, astray, t); err != nil && ctx.Err() == nil {
				w.quiet.Warn("looking for tasks whose worker is gone", slog.Any("error", err))
			}
			if t.Sub(cleaned) > time.Hour {
				cleaned = t
				if err := w.clean(ctx); err != nil && ctx.Err() == nil {
					w.quiet.Warn("cleaning up", slog.Any("error", err))
				}
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// gone is the condition that a running job's worker has no lease.
const gone = "NOT EXISTS (SELECT 1 FROM worker WHERE worker.name = {holder} AND worker.until > {now})"

// sweep frees running jobs that nobody has: those of workers that are gone, if
// others is set, and those that this worker should have but does not know of.
// Such go astray when the connection breaks just as they are handed over, or as
// they are handed back; they are in astray since they were first missed.
func (w *working) sweep(ctx context.Context, others bool, astray map[int64]time.Time, t time.Time) error {
	type orphan struct {
		job          int64
		task, holder string
	}
	var found []orphan
	if err := w.rows(ctx, w.reading, func(scan func(...any) error) error {
		var o orphan
		if err := scan(&o.job, &o.task, &o.holder); err != nil {
			return err
		}
		found = append(found, o)
		return nil
	}, "SELECT id, {task}, {holder} FROM river_job WHERE state = 'running' AND ({holder} = $1 OR "+gone+") ORDER BY id", w.name); err != nil {
		return err
	}
	missed := map[int64]bool{}
	for _, o := range found {
		mine := o.holder == w.name
		if mine {
			w.mu.Lock()
			active := w.active[o.job]
			w.mu.Unlock()
			if active {
				continue
			}
			missed[o.job] = true
			if since, ok := astray[o.job]; !ok {
				astray[o.job] = t
				continue
			} else if t.Sub(since) < w.pace.lease {
				continue
			}
		} else if !others {
			continue
		}
		freed := false
		if err := w.inTx(ctx, func(tx *sql.Tx) error {
			condition := "id = $1 AND state = 'running' AND {holder} = $2"
			if !mine {
				condition += " AND " + gone // it may have beaten meanwhile
			}
			// Like River's own giving back: it does not count as a try.
			r, err := tx.ExecContext(ctx, w.sql("UPDATE river_job SET state = 'available', attempt = CASE WHEN attempt > 0 THEN attempt - 1 ELSE 0 END WHERE "+condition), o.job, o.holder)
			if err != nil {
				return err
			}
			n, err := r.RowsAffected()
			freed = n > 0
			if err != nil || !freed {
				return err
			}
			_, err = tx.ExecContext(ctx, w.sql("UPDATE task SET lost = lost + 1 WHERE id = $1"), o.task)
			return err
		}); err != nil {
			return err
		}
		if freed {
			e := Event{What: Freed, Worker: o.holder}
			if err := w.rows(ctx, w.reading, func(scan func(...any) error) error { return scan(&e.Kind, &e.Key, &e.Args) },
				"SELECT kind, key, args FROM task WHERE id = $1", o.task); err != nil {
				return err
			}
			w.Told(e)
		}
	}
	for job := range astray {
		if !missed[job] {
			delete(astray, job)
		}
	}
	return nil
}
