package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// Contents is what a store or a backup was found to hold.
type Contents struct {
	Version   int64 // of its schema
	Entries   int64
	Movements int64
	Lots      int64
	Jobs      int64
	Photos    int64
	Last      time.Time // of the last entry; zero if there is none
}

// Backup writes all of the store, as it is at one moment, to a new file: others
// may go on writing meanwhile. The file is checked before it gets its name, and
// is on the disk when Backup returns. A file of that name is not replaced.
func (s *Store) Backup(ctx context.Context, to string) (Contents, error) {
	c, err := s.backup(ctx, to)
	if err != nil {
		return Contents{}, fmt.Errorf("backing up to %s: %w", to, err)
	}
	return c, nil
}

func (s *Store) backup(ctx context.Context, to string) (c Contents, err error) {
	if _, err := os.Lstat(to); !errors.Is(err, fs.ErrNotExist) {
		if err == nil {
			err = fs.ErrExist
		}
		return c, err
	}
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return c, err
	}
	dir, err := os.MkdirTemp(filepath.Dir(to), ".backup-") // of its own: SQLite makes files beside
	if err != nil {
		return c, err
	}
	defer os.RemoveAll(dir)
	part := filepath.Join(dir, "part")
	var before int64
	if err := s.read(ctx, func(tx *sql.Tx) error {
		return tx.QueryRowContext(ctx, "SELECT coalesce(max(n), 0) FROM entry").Scan(&before)
	}); err != nil {
		return c, err
	}
	// On a connection of its own: readers may not write, and writers need not wait.
	db, err := sql.Open("sqlite", dsn(s.path))
	if err != nil {
		return c, err
	}
	err = patient(ctx, "copying", func() error {
		if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		_, err := db.ExecContext(ctx, "VACUUM INTO ?", part)
		return err
	})
	if err := errors.Join(err, db.Close()); err != nil {
		return c, err
	}
	if c, err = Verify(ctx, part); err != nil {
		return c, err
	}
	if c.Entries < before {
		return c, fmt.Errorf("%w: it has %d entries of %d", ErrDamaged, c.Entries, before)
	}
	if err := syncFile(part); err != nil {
		return c, err
	}
	if err := os.Link(part, to); err != nil { // unlike a rename, it replaces nothing
		if errors.Is(err, fs.ErrExist) {
			return c, err
		}
		if err := os.Rename(part, to); err != nil {
			return c, err
		}
	}
	return c, syncFolder(filepath.Dir(to))
}

func syncFile(name string) error {
	f, err := os.OpenFile(name, os.O_RDWR, 0o600)
	if err != nil {
		return err
	}
	return errors.Join(f.Chmod(0o600), f.Sync(), f.Close())
}

// Verify checks a backup through and through: that it is a store of this
// version or an earlier one, that SQLite finds no fault in the file, and that
// the ledger adds up. It changes nothing. ErrForeign, ErrNewer and ErrDamaged
// say what it is that is wrong.
//
// It is for backups, not for a store that is in use: that has Check.
func Verify(ctx context.Context, path string) (c Contents, err error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return c, err
	case !info.Mode().IsRegular() || info.Size() == 0:
		return c, fmt.Errorf("%s: %w: it is empty or no file", path, ErrForeign)
	}
	if log, err := os.Stat(path + "-wal"); err == nil && log.Size() > 0 {
		return c, fmt.Errorf("%s: it is a store in use, with a log beside it: back it up first", path)
	}
	path, err = filepath.Abs(path)
	if err != nil {
		return c, err
	}
	// immutable: SQLite neither locks it nor looks for a log beside it.
	name, _, _ := strings.Cut(dsn(path), "?")
	db, err := sql.Open("sqlite", name+"?immutable=1&mode=ro")
	if err != nil {
		return c, err
	}
	defer db.Close()
	err = inTx(ctx, db, &sql.TxOptions{ReadOnly: true}, func(tx *sql.Tx) (err error) {
		if c.Version, err = version(ctx, tx); err != nil {
			return err
		}
		want, err := Version()
		switch {
		case err != nil:
			return err
		case c.Version > want:
			return fmt.Errorf("%w: its schema is %d, this program knows %d", ErrNewer, c.Version, want)
		case c.Version == 0:
			return fmt.Errorf("%w: it holds nothing", ErrForeign)
		}
		wrong, err := check(ctx, tx)
		if err != nil {
			return fmt.Errorf("%w: %w", ErrDamaged, err)
		}
		if len(wrong) > 0 {
			return fmt.Errorf("%w: %s", ErrDamaged, strings.Join(wrong, "; "))
		}
		var last sql.NullString
		if err := tx.QueryRowContext(ctx, `SELECT (SELECT count(*) FROM entry), (SELECT count(*) FROM movement), (SELECT count(*) FROM lot),
			(SELECT count(*) FROM job), (SELECT count(*) FROM photo), (SELECT at FROM entry ORDER BY n DESC LIMIT 1)`).
			Scan(&c.Entries, &c.Movements, &c.Lots, &c.Jobs, &c.Photos, &last); err != nil {
			return err
		}
		if last.Valid {
			c.Last, err = parseStamp(last.String)
		}
		return err
	})
	if err != nil {
		return Contents{}, fmt.Errorf("%s: %w", path, ofFile(err))
	}
	return c, nil
}

// Restored tells what Restore did.
type Restored struct {
	Contents Contents
	Kept     string // where the store that was there is now; "" if there was none
}

// Restore puts a backup in the place of the store at path, which nobody may
// have open. The backup is copied and checked first; the copy then takes the
// store's name in one step, so that whatever happens meanwhile, there is the one
// or the other. The store that was there is kept beside, named after the time.
func Restore(ctx context.Context, path, backup string, now func() time.Time) (Restored, error) {
	r, err := restore(ctx, path, backup, now)
	if err != nil {
		return Restored{}, fmt.Errorf("restoring %s from %s: %w", path, backup, err)
	}
	return r, nil
}

func restore(ctx context.Context, path, backup string, now func() time.Time) (r Restored, err error) {
	if path, err = filepath.Abs(path); err != nil {
		return r, err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return r, err
	}
	lock, err := takeLock(ctx, path, true, 0)
	if err != nil {
		return r, err
	}
	defer lock.Close()
	dir, err := os.MkdirTemp(filepath.Dir(path), ".restore-")
	if err != nil {
		return r, err
	}
	defer os.RemoveAll(dir)
	if log, err := os.Stat(backup + "-wal"); err == nil && log.Size() > 0 {
		return r, errors.New("it is a store in use, with a log beside it: back it up first")
	}
	part := filepath.Join(dir, "part")
	if err := copyFile(part, backup); err != nil {
		return r, err
	}
	if r.Contents, err = Verify(ctx, part); err != nil {
		return r, err
	}
	if err := syncFile(part); err != nil {
		return r, err
	}
	if r.Kept, err = setAside(ctx, path, filepath.Join(dir, "probe"), now); err != nil {
		return r, fmt.Errorf("keeping the store that is there: %w", err)
	}
	if err := os.Rename(part, path); err != nil {
		return r, err
	}
	return r, syncFolder(filepath.Dir(path))
}

// setAside gives what is at path a second name. SQLite's log beside it is put
// into it first, for the log would else be taken for the new store's.
func setAside(ctx context.Context, path, probe string, now func() time.Time) (string, error) {
	if _, err := os.Lstat(path); errors.Is(err, fs.ErrNotExist) {
		return "", removeLog(path, "")
	} else if err != nil {
		return "", err
	}
	base := path + ".before-" + now().UTC().Format("20060102T150405Z")
	kept := base
	for n := 2; ; n++ {
		if _, err := os.Lstat(kept); errors.Is(err, fs.ErrNotExist) {
			break
		} else if err != nil {
			return "", err
		}
		kept = fmt.Sprintf("%s-%d", base, n)
	}
	// A store that is damaged is what a backup is restored for: SQLite, which would
	// put its log into it for good, is not let near it, and both are kept as they are.
	if readable(ctx, path, probe) {
		db, err := sql.Open("sqlite", dsn(path))
		if err != nil {
			return "", err
		}
		_, err = db.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)")
		if err := errors.Join(err, db.Close()); err != nil {
			return "", err
		}
	}
	if err := os.Link(path, kept); err != nil {
		if err := copyFile(kept, path); err != nil { // no such names on this file system
			return "", err
		}
	}
	if err := removeLog(path, kept); err != nil {
		return "", err
	}
	return kept, syncFolder(filepath.Dir(path))
}

// readable reports whether SQLite finds no fault in the store at path with its
// log, by a copy of both that it makes at probe.
func readable(ctx context.Context, path, probe string) bool {
	if copyFile(probe, path) != nil {
		return false
	}
	if err := copyFile(probe+"-wal", path+"-wal"); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return false
	}
	db, err := sql.Open("sqlite", dsn(probe))
	if err != nil {
		return false
	}
	defer db.Close()
	var found string
	return db.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&found) == nil && found == "ok"
}

// removeLog moves SQLite's log beside kept, if it has anything in it. Without
// kept it is of no store, and goes.
func removeLog(path, kept string) error {
	if err := os.Remove(path + "-shm"); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	info, err := os.Stat(path + "-wal")
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return err
	case info.Size() == 0 || kept == "":
		return os.Remove(path + "-wal")
	}
	return os.Rename(path+"-wal", kept+"-wal")
}

func copyFile(to, from string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	if _, err := io.Copy(out, in); err != nil {
		return errors.Join(err, out.Close())
	}
	return errors.Join(out.Sync(), out.Close())
}
