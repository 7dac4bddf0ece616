package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"github.com/pressly/goose/v3"
	sqlite3 "modernc.org/sqlite/lib"
)

//go:embed migrations/*.sql
var migrationFiles embed.FS

// applicationID stands in the header of every store: "Gwrd".
const applicationID = 0x47777264

const versions = "schema_version" // table that goose keeps

// Version is the schema that this program writes.
func Version() (int64, error) {
	names, err := fs.Glob(migrationFiles, "migrations/*.sql")
	if err != nil {
		return 0, err
	}
	var last int64
	for _, n := range names {
		v, err := goose.NumericComponent(n)
		if err != nil {
			return 0, err
		}
		last = max(last, v)
	}
	return last, nil
}

func migrations(db *sql.DB) (*goose.Provider, error) {
	files, err := fs.Sub(migrationFiles, "migrations")
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(goose.DialectSQLite3, db, files, goose.WithTableName(versions), goose.WithDisableGlobalRegistry(true))
}

// isCurrent reports whether the file at path is a store of this version. It
// changes nothing. A file that is neither a store nor empty is an error.
func isCurrent(ctx context.Context, path string) (bool, error) {
	if info, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) || err == nil && info.Size() == 0 {
		return false, nil
	} else if err != nil {
		return false, err
	} else if info.IsDir() {
		return false, fmt.Errorf("%w: it is a folder", ErrForeign)
	}
	// Without the pragma that makes a log: another program's file is left as it is.
	name, _, _ := strings.Cut(dsn(path), "?")
	db, err := sql.Open("sqlite", name+fmt.Sprintf("?mode=rw&_pragma=busy_timeout(%d)&_pragma=query_only(1)", busyWait))
	if err != nil {
		return false, err
	}
	defer db.Close()
	var at int64
	err = patient(ctx, "reading its version", func() error {
		return inTx(ctx, db, &sql.TxOptions{ReadOnly: true}, func(tx *sql.Tx) (err error) {
			at, err = version(ctx, tx)
			return err
		})
	})
	if err != nil {
		return false, ofFile(err)
	}
	want, err := Version()
	if at > want {
		return false, fmt.Errorf("%w: its schema is %d, this program knows %d; nothing was changed. Use the newer program, or restore a backup of before", ErrNewer, at, want)
	}
	return at == want, err
}

// version is the schema version of a database, 0 for one that is to become a
// store. It is ErrForeign if it is neither.
func version(ctx context.Context, tx *sql.Tx) (int64, error) {
	var app, tables, ours int64
	err := tx.QueryRowContext(ctx, `SELECT (SELECT application_id FROM pragma_application_id),
		(SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' AND name <> ?1),
		(SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = ?1)`, versions).Scan(&app, &tables, &ours)
	switch {
	case err != nil:
		return 0, err
	case app != applicationID && (app != 0 || tables > 0):
		return 0, fmt.Errorf("%w: it is another program's database", ErrForeign)
	case app == applicationID && ours == 0:
		return 0, fmt.Errorf("%w: the table %s is missing; restore a backup", ErrDamaged, versions)
	case ours == 0:
		return 0, nil
	}
	var at sql.NullInt64
	err = tx.QueryRowContext(ctx, "SELECT max(version_id) FROM "+versions+" WHERE is_applied = 1").Scan(&at)
	return at.Int64, err
}

// ofFile says in our words what SQLite found wrong with a file.
func ofFile(err error) error {
	switch code(err) & 0xff {
	case sqlite3.SQLITE_NOTADB:
		return fmt.Errorf("%w: it is no SQLite database (%w)", ErrForeign, err)
	case sqlite3.SQLITE_CORRUPT:
		return fmt.Errorf("%w: %w; restore a backup", ErrDamaged, err)
	}
	return err
}

// migrate brings the store at path up to this version; a migration happens as a
// whole or not at all. The caller has the lock alone.
func migrate(ctx context.Context, path string) error { return migrateTo(ctx, path, -1) }

// migrateTo stops at a version; -1 is the last.
func migrateTo(ctx context.Context, path string, to int64) error {
	if current, err := isCurrent(ctx, path); err != nil || current {
		return err // another process was first
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600) // or SQLite would let all read it
	if err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	db, err := sql.Open("sqlite", dsn(path, "_txlock=immediate"))
	if err != nil {
		return err
	}
	defer db.Close()
	p, err := migrations(db)
	if err != nil {
		return err
	}
	switch {
	case to < 0:
		_, err = p.Up(ctx)
	case to == 0:
		_, err = p.GetDBVersion(ctx) // makes goose's own table
	default:
		_, err = p.UpTo(ctx, to)
	}
	if err != nil {
		return fmt.Errorf("bringing the store up to date (it is as it was): %w", err)
	}
	return db.Close()
}
