// Package store keeps what the shop has and what it has learned, in one SQLite
// file in the user's data folder: spools and grams left on each, veneer by sheet
// and by piece, hardware, consumables, prices, jobs with what is reserved for
// them, and how long loads really took.
//
// Nothing that is counted is overwritten. A Store writes entries with movements
// into a ledger that is only added to; stock is their sum, which constraints in
// the database keep from going below nothing. Every method is one transaction:
// what it returned from without an error is on the disk, what was interrupted
// has not happened. docs/store.md says what that rests on.
//
// Any number of goroutines and processes may use one store. A Note's Key makes a
// call that is made again, after a crash say, do nothing the second time.
package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// Errors that callers tell apart with errors.Is.
var (
	ErrUnknown = errors.New("not in the store")
	ErrState   = errors.New("the job is not in a state for it")
	ErrKey     = errors.New("the key was used for something else")
	ErrNewer   = errors.New("written by a newer version of this program")
	ErrInUse   = errors.New("in use by another process")
	ErrForeign = errors.New("not a store of this program")
	ErrDamaged = errors.New("damaged")
)

// Lack is the error of a call that would take more from a lot than it holds.
type Lack struct {
	Lot           Ref
	OnHand, Taken Amount
}

func (e *Lack) Error() string {
	return fmt.Sprintf("%s holds %s, from which %s cannot be taken", e.Lot, e.OnHand, e.Taken)
}

// Store is an open store. Its methods may be called by several goroutines.
type Store struct {
	path    string
	now     func() time.Time
	lock    *os.File
	writing *sql.DB // one connection: writers of a process queue before it, fairly
	reading *sql.DB
}

// busyWait is how long SQLite itself waits for another process's write, in ms;
// patience is how many such waits a call makes before it gives up.
const (
	busyWait = 10_000
	patience = 12
)

// Open opens the store at path, and makes it, with its folder, if it is not
// there. A store of an older version is brought up to this one; one of a newer
// version is refused with ErrNewer, another program's database with ErrForeign.
// now is the clock that entries are dated by.
func Open(ctx context.Context, path string, now func() time.Time) (*Store, error) {
	s, err := open(ctx, path, now)
	if err != nil {
		return nil, fmt.Errorf("opening the store %s: %w", path, err)
	}
	return s, nil
}

func open(ctx context.Context, path string, now func() time.Time) (_ *Store, err error) {
	path, err = filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, err
	}
	// The lock beside the file is shared by all who have the store open, and had
	// alone by who makes it, brings it up to date or puts a backup in its place.
	lock, err := takeLock(ctx, path, false, patience*busyWait*time.Millisecond)
	if err != nil {
		return nil, err
	}
	s := &Store{path: path, now: now, lock: lock}
	defer func() {
		if err != nil {
			s.Close()
		}
	}()
	current, err := isCurrent(ctx, path)
	if err != nil {
		return nil, err
	}
	if !current {
		if err := unlock(lock); err != nil {
			return nil, err
		}
		if err := waitLock(ctx, lock, true, patience*busyWait*time.Millisecond); err != nil {
			return nil, err
		}
		if err := migrate(ctx, path); err != nil {
			return nil, err
		}
		if err := unlock(lock); err != nil {
			return nil, err
		}
		if err := waitLock(ctx, lock, false, patience*busyWait*time.Millisecond); err != nil {
			return nil, err
		}
	}
	if s.writing, err = sql.Open("sqlite", dsn(path, "_txlock=immediate")); err != nil {
		return nil, err
	}
	s.writing.SetMaxOpenConns(1)
	if s.reading, err = sql.Open("sqlite", dsn(path, "_pragma=query_only(1)")); err != nil {
		return nil, err
	}
	s.reading.SetMaxOpenConns(4)
	return s, s.read(ctx, func(tx *sql.Tx) error { return tx.QueryRowContext(ctx, "SELECT count(*) FROM item").Scan(new(int)) })
}

// dsn names a database to the driver. Pragmas stand in the name, so that every
// connection of the pool has them.
//
// synchronous(FULL) syncs the log at every commit. With NORMAL, kill -9 would
// lose nothing either, for what was written is in the system's memory; but a
// power cut would take back the last commits, though they were acknowledged.
// The shop writes some hundred times a day: a few milliseconds each are no price.
func dsn(path string, more ...string) string {
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(path)}
	if !strings.HasPrefix(u.Path, "/") {
		u.Path = "/" + u.Path // C:/...
	}
	return u.String() + "?" + strings.Join(append([]string{
		fmt.Sprintf("_pragma=busy_timeout(%d)", busyWait), "_pragma=journal_mode(WAL)", "_pragma=synchronous(FULL)", "_pragma=foreign_keys(1)",
		"_pragma=trusted_schema(0)",
	}, more...), "&")
}

// takeLock opens the lock file of the store at path and takes it.
func takeLock(ctx context.Context, path string, alone bool, wait time.Duration) (*os.File, error) {
	f, err := os.OpenFile(path+".lock", os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if err := waitLock(ctx, f, alone, wait); err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

func waitLock(ctx context.Context, f *os.File, alone bool, wait time.Duration) error {
	const step = 5 * time.Millisecond
	for waited := time.Duration(0); ; waited += step {
		ok, err := tryLock(f, alone)
		switch {
		case err != nil:
			return fmt.Errorf("locking %s: %w", f.Name(), err)
		case ok:
			return nil
		case waited >= wait:
			return ErrInUse
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(step):
		}
	}
}

// Close lets the store go.
func (s *Store) Close() error {
	var errs []error
	if s.reading != nil {
		errs = append(errs, s.reading.Close())
	}
	if s.writing != nil {
		errs = append(errs, s.writing.Close())
	}
	return errors.Join(append(errs, s.lock.Close())...)
}

// Path is the file that the store is in.
func (s *Store) Path() string { return s.path }

// write carries out f in a transaction that has the store's pen from its start,
// so that nothing it read can have changed when it writes.
func (s *Store) write(ctx context.Context, doing string, f func(tx *sql.Tx) error) error {
	return patient(ctx, doing, func() error { return inTx(ctx, s.writing, nil, f) })
}

// read carries out f on one state of the store, whatever is written meanwhile.
func (s *Store) read(ctx context.Context, f func(tx *sql.Tx) error) error {
	return patient(ctx, "reading the store", func() error { return inTx(ctx, s.reading, &sql.TxOptions{ReadOnly: true}, f) })
}

func inTx(ctx context.Context, db *sql.DB, o *sql.TxOptions, f func(tx *sql.Tx) error) error {
	tx, err := db.BeginTx(ctx, o)
	if err != nil {
		return err
	}
	if err := f(tx); err != nil {
		return errors.Join(err, ignoreDone(tx.Rollback()))
	}
	return tx.Commit()
}

func ignoreDone(err error) error {
	if errors.Is(err, sql.ErrTxDone) {
		return nil
	}
	return err
}

// patient calls f again as long as another process has the store: SQLite's own
// wait is not fair, and one of many writers may wait it out.
func patient(ctx context.Context, doing string, f func() error) error {
	for try := 1; ; try++ {
		err := f()
		switch {
		case err == nil:
			return nil
		case !isBusy(err):
			return fmt.Errorf("%s: %w", doing, err)
		case ctx.Err() != nil:
			return fmt.Errorf("%s: %w", doing, ctx.Err())
		case try >= patience:
			return fmt.Errorf("%s: %w for %d s", doing, ErrInUse, patience*busyWait/1000)
		}
	}
}

// code is SQLite's result code, 0 if err is not one of its errors.
func code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code()
	}
	return 0
}

func isBusy(err error) bool {
	c := code(err) & 0xff
	return c == sqlite3.SQLITE_BUSY || c == sqlite3.SQLITE_LOCKED
}

const stamp = "2006-01-02T15:04:05.000Z"

func (s *Store) stamp() string { return s.now().UTC().Format(stamp) }

func parseStamp(text string) (time.Time, error) { return time.ParseInLocation(stamp, text, time.UTC) }
