package work

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/pressly/goose/v3"
	"github.com/riverqueue/river/riverdriver/riversqlite"
	_ "modernc.org/sqlite"
)

//go:embed migrations
var migrationFiles embed.FS

// busyWait is how long SQLite itself waits for another process's write, in ms.
const busyWait = 30_000

func (q *Queue) openSQLite(ctx context.Context, path string) (err error) {
	q.dialect = dialect{
		now:   "unixepoch('subsec')",
		among: "id IN (SELECT value FROM json_each($1))",
		// A path into JSON: the last of the workers that tried.
		holder: "json_extract(river_job.attempted_by, '$[#-1]')",
		taskID: "json_extract(river_job.args, '$.id')",
	}
	q.name = path
	remove := func() error { return nil }
	if path == "" {
		q.name = "of this process"
		dir, err := os.MkdirTemp("", "groundwork-work-")
		if err != nil {
			return err
		}
		remove = func() error { return os.RemoveAll(dir) }
		path = filepath.Join(dir, "work.db")
	}
	if path, err = filepath.Abs(path); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600) // or SQLite would let all read it
	if err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	// River asks for one connection, so that the goroutines of a process queue
	// before it and not before SQLite's lock, where some would starve. Transactions
	// take the lock from their start: one that began by reading could not wait.
	if q.writing, err = sql.Open("sqlite", dsn(path, "_txlock=immediate")); err != nil {
		return err
	}
	q.writing.SetMaxOpenConns(1)
	if q.reading, err = sql.Open("sqlite", dsn(path, "_pragma=query_only(1)")); err != nil {
		return err
	}
	q.reading.SetMaxOpenConns(4)
	e := &on[*sql.Tx]{
		driver:   riversqlite.New(q.writing),
		pollOnly: true, // its stand-in for NOTIFY is a poll 20 times a second
		begin:    func(ctx context.Context) (*sql.Tx, error) { return q.writing.BeginTx(ctx, nil) },
		exec: func(ctx context.Context, tx *sql.Tx, s string, args ...any) (int64, error) {
			r, err := tx.ExecContext(ctx, q.sql(s), args...)
			if err != nil {
				return 0, err
			}
			return r.RowsAffected()
		},
		commit: func(_ context.Context, tx *sql.Tx) error { return tx.Commit() },
		rollback: func(tx *sql.Tx) error {
			if err := tx.Rollback(); !errors.Is(err, sql.ErrTxDone) {
				return err
			}
			return nil
		},
		shut: func() error { return errors.Join(q.reading.Close(), q.writing.Close(), remove()) },
	}
	q.engine = e
	err = alone(ctx, path, func() error {
		return q.migrate(ctx, e, goose.DialectSQLite3, "migrations/sqlite")
	})
	if err == nil {
		err = e.prepare(q.quiet)
	}
	if err != nil {
		return errors.Join(err, q.Close())
	}
	return nil
}

// dsn names a database to the driver. Pragmas stand in the name, so that every
// connection of the pool has them.
//
// With synchronous(NORMAL) nothing is lost when a process is killed, since what
// it wrote is with the system. A power cut may take back the last results, which
// are then made again; that is cheaper than to wait for the disk at every one.
func dsn(path string, more ...string) string {
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(path)}
	if !strings.HasPrefix(u.Path, "/") {
		u.Path = "/" + u.Path // C:/...
	}
	return u.String() + "?" + strings.Join(append([]string{
		fmt.Sprintf("_pragma=busy_timeout(%d)", busyWait), "_pragma=journal_mode(WAL)", "_pragma=synchronous(NORMAL)", "_pragma=foreign_keys(1)",
		"_pragma=trusted_schema(0)",
	}, more...), "&")
}

// alone carries out f while no other process does so for the same path: two that
// brought the schema up to date at once would trip over each other's tables. The
// lock is that of a database without anything in it, which all systems know how
// to take and which ends with the process.
func alone(ctx context.Context, path string, f func() error) error {
	lock, err := sql.Open("sqlite", dsn(path+".lock"))
	if err != nil {
		return err
	}
	defer lock.Close()
	c, err := lock.Conn(ctx)
	if err != nil {
		return err
	}
	defer c.Close()
	if _, err := c.ExecContext(ctx, "BEGIN IMMEDIATE"); err != nil {
		return fmt.Errorf("waiting for another process to make the queue ready: %w", err)
	}
	defer func() {
		ctx, stop := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
		defer stop()
		c.ExecContext(ctx, "ROLLBACK") // or else Close does it
	}()
	return f()
}

// migrate makes River's tables and ours, or brings them up to date.
func (q *Queue) migrate(ctx context.Context, e engine, d goose.Dialect, folder string) error {
	if err := e.migrate(ctx); err != nil {
		return fmt.Errorf("making River's tables: %w", err)
	}
	files, err := fs.Sub(migrationFiles, folder)
	if err != nil {
		return err
	}
	p, err := goose.NewProvider(d, q.writing, files, goose.WithTableName("schema_version"), goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return err
	}
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("making the tables of tasks and results: %w", err)
	}
	return nil
}
