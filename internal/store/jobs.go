package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"
)

// Job is a piece that is made.
type Job struct {
	ID       string
	Piece    string // name of the piece
	Revision string // of the plan that it is made by
	State    string // planned, reserved, finished, abandoned; "" in what Plan is given
	Since    time.Time
	Loads    []Load
	Runs     []Run
	Holds    []Taken // reserved for it
	Needs    []Need  // what it takes from stock, for Reserve
	Left     []Left  // pieces of veneer that it leaves, for Finish; photographs are not kept
}

// Unlogged is what Finish should take from the spools that are still reserved for
// the job: as much as was planned for loads of which no run that came out is
// logged with its spool, and no more, for a load may have been printed from
// another spool than was reserved. It tells every such spool, and is nil for a job
// whose needs are not kept.
func (j Job) Unlogged() []Taken {
	logged := map[string]bool{}
	for _, r := range j.Runs {
		logged[r.Load] = logged[r.Load] || !r.Failed && r.Spool != ""
	}
	rest := map[Item]Amount{}
	for _, n := range j.Needs {
		if n.Kind == Filament && !logged[n.For] {
			rest[n.Item] += n.Amount
		}
	}
	if len(j.Needs) == 0 {
		return nil
	}
	var out []Taken
	for _, h := range j.Holds {
		if h.Lot.Kind == Filament {
			a := min(h.Amount, rest[h.Lot.Item])
			rest[h.Lot.Item] -= a
			out = append(out, Taken{h.Lot, a})
		}
	}
	return out
}

// Load is a print load as it was planned.
type Load struct {
	ID       string
	Printer  string
	Filament string
	Seconds  float64 // as worked out, before any correction by the log; heat-up included
	Grams    float64 // as worked out, waste included
}

// Plan enters a job, or what has changed of one that has not ended: its loads,
// with what they were estimated at, take the place of those before. Printers
// that were not known are from now on.
func (s *Store) Plan(ctx context.Context, j Job, why Note) error {
	return s.write(ctx, "planning "+j.ID, func(tx *sql.Tx) error {
		if done, err := s.repeated(ctx, tx, "plan", why); err != nil || done != 0 {
			return err
		}
		if !isText(j.ID, 100) {
			return fmt.Errorf("%q does not name a job", j.ID)
		}
		err := state(ctx, tx, j.ID, "planned", "reserved")
		switch {
		case errors.Is(err, ErrUnknown):
			_, err = tx.ExecContext(ctx, "INSERT INTO job (id, piece, revision, state) VALUES (?, ?, ?, 'planned')", j.ID, j.Piece, j.Revision)
		case err == nil:
			_, err = tx.ExecContext(ctx, "UPDATE job SET piece = ?, revision = ? WHERE id = ?", j.Piece, j.Revision, j.ID)
		}
		if err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, "DELETE FROM load WHERE job = ?", j.ID); err != nil {
			return err
		}
		seen := map[string]bool{}
		for _, l := range j.Loads {
			switch {
			case seen[l.ID]:
				return fmt.Errorf("the load %s is told twice", l.ID)
			case !isText(l.ID, 100) || !isText(l.Printer, 60) || !isText(l.Filament, 200):
				return fmt.Errorf("the load %q wants a name, a printer and a filament", l.ID)
			case !positive(l.Seconds) || !positive(l.Grams):
				return fmt.Errorf("the load %s: %g s and %g g are no estimates", l.ID, l.Seconds, l.Grams)
			}
			seen[l.ID] = true
			if _, err := tx.ExecContext(ctx, "INSERT INTO printer (id) VALUES (?) ON CONFLICT DO NOTHING", l.Printer); err != nil {
				return err
			}
			if _, err := tx.ExecContext(ctx, "INSERT INTO load (job, id, printer, filament, seconds, grams) VALUES (?, ?, ?, ?, ?, ?)", j.ID, l.ID, l.Printer, l.Filament, l.Seconds, l.Grams); err != nil {
				return fmt.Errorf("the load %s: %w", l.ID, err)
			}
		}
		if err := keepNeeds(ctx, tx, j); err != nil {
			return err
		}
		if err := keepLeft(ctx, tx, j); err != nil {
			return err
		}
		_, err = s.post(ctx, tx, "plan", j.ID, why, nil)
		return err
	})
}

func keepNeeds(ctx context.Context, tx *sql.Tx, j Job) error {
	if _, err := tx.ExecContext(ctx, "DELETE FROM need WHERE job = ?", j.ID); err != nil {
		return err
	}
	for i, n := range j.Needs {
		if err := n.check(); err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, "INSERT INTO need (job, line, kind, item, lot, amount, unit, one_lot, purpose) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
			j.ID, i+1, n.Kind, n.ID, n.Lot, n.Amount, n.Unit, n.OneLot, n.For); err != nil {
			return fmt.Errorf("%s: %w", n.Item, err)
		}
	}
	return nil
}

func keepLeft(ctx context.Context, tx *sql.Tx, j Job) error {
	if _, err := tx.ExecContext(ctx, "DELETE FROM leaving WHERE job = ?", j.ID); err != nil {
		return err
	}
	for i, l := range j.Left {
		p, err := l.Piece.checked()
		if err != nil {
			return fmt.Errorf("a piece of %s that is left: %w", l.Veneer, err)
		}
		outline, reserved, err := p.shape()
		if err != nil {
			return err
		}
		var from Ref
		if p.CutFrom != nil {
			from = *p.CutFrom
		}
		if _, err := tx.ExecContext(ctx, "INSERT INTO leaving (job, line, veneer, form, outline, reserved, from_kind, from_item, from_lot) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
			j.ID, i+1, l.Veneer, p.Form, outline, reserved, from.Kind, from.ID, from.Lot); err != nil {
			return fmt.Errorf("a piece of %s that is left: %w", l.Veneer, err)
		}
	}
	return nil
}

// positive reports whether v is a finite number over nothing and of a size that
// a load can have.
func positive(v float64) bool { return v > 0 && v < 1e9 }

// SetPrinter names a printer or retires it.
func (s *Store) SetPrinter(ctx context.Context, id, name string, retired bool) error {
	return s.write(ctx, "setting printer "+id, func(tx *sql.Tx) error {
		if !isText(id, 60) || len(name) > 200 {
			return fmt.Errorf("%q does not name a printer", id)
		}
		_, err := tx.ExecContext(ctx, "INSERT INTO printer (id, name, retired) VALUES (?1, ?2, ?3) ON CONFLICT (id) DO UPDATE SET name = ?2, retired = ?3", id, name, retired)
		return err
	})
}

// Actual is what a load really took.
type Actual struct {
	Job, Load string
	Seconds   float64 // on the printer, from heating up to the last layer
	Grams     float64 // of the spool, weighed before and after: parts and waste
	Printer   string  // if it was another one than planned
	// Spool, if not empty, is the lot of the load's filament that fed it: the grams
	// are taken from it at once, and from what the job has reserved of it.
	Spool string
	// Failed runs take filament and hours and tell nothing about estimates.
	Failed bool
}

// Run is an Actual in the log, beside what was estimated then.
type Run struct {
	N int64 // names it for SetAside
	Actual
	Filament         string
	At               time.Time
	EstimatedSeconds float64
	EstimatedGrams   float64
	Aside            string // why it was set aside; "" if it was not
}

// Actual logs what a load took. A load may have several runs, as after a failure.
func (s *Store) Actual(ctx context.Context, a Actual, why Note) error {
	return s.write(ctx, "logging load "+a.Load+" of "+a.Job, func(tx *sql.Tx) error {
		if done, err := s.repeated(ctx, tx, "print", why); err != nil || done != 0 {
			return err
		}
		if !positive(a.Seconds) || a.Grams < 0 || !positive(a.Grams) && (a.Grams != 0 || !a.Failed) {
			return fmt.Errorf("%g s and %g g are not what a load takes", a.Seconds, a.Grams)
		}
		if err := state(ctx, tx, a.Job, "planned", "reserved", "finished"); err != nil {
			return err
		}
		var l Load
		err := tx.QueryRowContext(ctx, "SELECT printer, filament, seconds, grams FROM load WHERE job = ? AND id = ?", a.Job, a.Load).Scan(&l.Printer, &l.Filament, &l.Seconds, &l.Grams)
		if errors.Is(err, sql.ErrNoRows) {
			return fmt.Errorf("load %s of %s: %w", a.Load, a.Job, ErrUnknown)
		} else if err != nil {
			return err
		}
		if a.Printer == "" {
			a.Printer = l.Printer
		}
		var known bool
		if err := tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM printer WHERE id = ?)", a.Printer).Scan(&known); err != nil {
			return err
		}
		if !known {
			return fmt.Errorf("printer %s: %w", a.Printer, ErrUnknown)
		}
		var moves []move
		var spool any
		if a.Spool != "" {
			n, err := lotOf(ctx, tx, Ref{Item{Filament, l.Filament}, a.Spool})
			if err != nil {
				return err
			}
			spool = n
			var held Amount
			if err := tx.QueryRowContext(ctx, "SELECT coalesce(max(held), 0) FROM hold WHERE job = ? AND lot = ?", a.Job, n).Scan(&held); err != nil {
				return err
			}
			if g := Of(a.Grams); g > 0 {
				moves = append(moves, move{lot: n, amount: -g, held: -min(g, held)})
			}
		}
		e, err := s.post(ctx, tx, "print", a.Job, why, moves)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO run (entry, load, printer, filament, spool, est_seconds, est_grams, seconds, grams, failed)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, e, a.Load, a.Printer, l.Filament, spool, l.Seconds, l.Grams, a.Seconds, a.Grams, a.Failed)
		return err
	})
}

// SetAside leaves a run out of calibrations from now on; the log keeps it, with
// the reason.
func (s *Store) SetAside(ctx context.Context, run int64, why Note) error {
	return s.write(ctx, fmt.Sprintf("setting run %d aside", run), func(tx *sql.Tx) error {
		if done, err := s.repeated(ctx, tx, "set-aside", why); err != nil || done != 0 {
			return err
		}
		if why.Reason == "" {
			return errors.New("a reason is wanted")
		}
		var known, already bool
		if err := tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM run WHERE entry = ?1), EXISTS (SELECT 1 FROM aside WHERE run = ?1)", run).Scan(&known, &already); err != nil {
			return err
		}
		switch {
		case !known:
			return fmt.Errorf("run %d: %w", run, ErrUnknown)
		case already:
			return errors.New("it is set aside already")
		}
		e, err := s.post(ctx, tx, "set-aside", "", why, nil)
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, "INSERT INTO aside (entry, run) VALUES (?, ?)", e, run)
		return err
	})
}

// Runs are all runs in the log, oldest first.
func (s *Store) Runs(ctx context.Context) ([]Run, error) {
	var out []Run
	err := s.read(ctx, func(tx *sql.Tx) (err error) {
		out, err = runsOf(ctx, tx, "")
		return err
	})
	return out, err
}

func runsOf(ctx context.Context, tx *sql.Tx, job string) ([]Run, error) {
	rows, err := tx.QueryContext(ctx, `SELECT r.entry, e.at, e.job, r.load, r.printer, r.filament, coalesce(l.id, ''), r.est_seconds, r.est_grams, r.seconds, r.grams, r.failed, coalesce(x.reason, '')
		FROM run r JOIN entry e ON e.n = r.entry LEFT JOIN lot l ON l.n = r.spool LEFT JOIN aside a ON a.run = r.entry LEFT JOIN entry x ON x.n = a.entry
		WHERE ?1 = '' OR e.job = ?1 ORDER BY r.entry`, job)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []Run
	for rows.Next() {
		var r Run
		var at string
		if err := rows.Scan(&r.N, &at, &r.Job, &r.Load, &r.Printer, &r.Filament, &r.Spool, &r.EstimatedSeconds, &r.EstimatedGrams, &r.Seconds, &r.Grams, &r.Failed, &r.Aside); err != nil {
			return nil, err
		}
		if r.At, err = parseStamp(at); err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, rows.Err()
}

// Jobs are all jobs, in the order in which they were planned.
func (s *Store) Jobs(ctx context.Context) ([]Job, error) {
	var out []Job
	err := s.read(ctx, func(tx *sql.Tx) error {
		out = nil
		rows, err := tx.QueryContext(ctx, `SELECT j.id, j.piece, j.revision, j.state, max(e.at) FROM job j JOIN entry e ON e.job = j.id
			WHERE e.kind IN ('plan', 'reserve', 'release', 'finish', 'abandon') GROUP BY j.id ORDER BY min(e.n)`)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var j Job
			var at string
			if err := rows.Scan(&j.ID, &j.Piece, &j.Revision, &j.State, &at); err != nil {
				return err
			}
			if j.Since, err = parseStamp(at); err != nil {
				return err
			}
			out = append(out, j)
		}
		if err := rows.Err(); err != nil {
			return err
		}
		for i := range out {
			if err := fillJob(ctx, tx, &out[i]); err != nil {
				return err
			}
		}
		return nil
	})
	return out, err
}

// Job is one job; ErrUnknown if there is none of that name.
func (s *Store) Job(ctx context.Context, id string) (Job, error) {
	all, err := s.Jobs(ctx)
	if err != nil {
		return Job{}, err
	}
	k := slices.IndexFunc(all, func(j Job) bool { return j.ID == id })
	if k < 0 {
		return Job{}, fmt.Errorf("job %s: %w", id, ErrUnknown)
	}
	return all[k], nil
}

func fillJob(ctx context.Context, tx *sql.Tx, j *Job) error {
	rows, err := tx.QueryContext(ctx, "SELECT id, printer, filament, seconds, grams FROM load WHERE job = ? ORDER BY id", j.ID)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var l Load
		if err := rows.Scan(&l.ID, &l.Printer, &l.Filament, &l.Seconds, &l.Grams); err != nil {
			return err
		}
		j.Loads = append(j.Loads, l)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	holds, err := tx.QueryContext(ctx, `SELECT i.kind, i.id, l.id, h.held FROM hold h JOIN lot l ON l.n = h.lot JOIN item i ON i.n = l.item
		WHERE h.job = ? AND h.held > 0 ORDER BY l.n`, j.ID)
	if err != nil {
		return err
	}
	defer holds.Close()
	for holds.Next() {
		var t Taken
		if err := holds.Scan(&t.Lot.Kind, &t.Lot.ID, &t.Lot.Lot, &t.Amount); err != nil {
			return err
		}
		j.Holds = append(j.Holds, t)
	}
	if err := holds.Err(); err != nil {
		return err
	}
	if err := fillNeeds(ctx, tx, j); err != nil {
		return err
	}
	j.Runs, err = runsOf(ctx, tx, j.ID)
	return err
}

func fillNeeds(ctx context.Context, tx *sql.Tx, j *Job) error {
	rows, err := tx.QueryContext(ctx, "SELECT kind, item, lot, amount, unit, one_lot, purpose FROM need WHERE job = ? ORDER BY line", j.ID)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var n Need
		if err := rows.Scan(&n.Kind, &n.ID, &n.Lot, &n.Amount, &n.Unit, &n.OneLot, &n.For); err != nil {
			return err
		}
		j.Needs = append(j.Needs, n)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	left, err := tx.QueryContext(ctx, "SELECT veneer, form, outline, reserved, from_kind, from_item, from_lot FROM leaving WHERE job = ? ORDER BY line", j.ID)
	if err != nil {
		return err
	}
	defer left.Close()
	for left.Next() {
		var l Left
		var from Ref
		var form, outline, reserved string
		if err := left.Scan(&l.Veneer, &form, &outline, &reserved, &from.Kind, &from.ID, &from.Lot); err != nil {
			return err
		}
		p, err := readPiece(form, outline, reserved, sql.NullString{})
		if err != nil {
			return err
		}
		if l.Piece = *p; from.Kind != "" {
			l.Piece.CutFrom = &from
		}
		j.Left = append(j.Left, l)
	}
	return left.Err()
}

// ceilTo is v rounded up to a whole number of steps, but for rounding errors of v.
func ceilTo(v, step float64) float64 { return math.Ceil(v/step-1e-9) * step }
