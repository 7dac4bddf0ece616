package work

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
)

// schema is where River's tables and ours are in a PostgreSQL database, beside
// whatever else it holds. makingReady is the number of the advisory lock under
// which they are made.
const (
	schema            = "groundwork"
	makingReady int64 = 0x47777264
)

func (q *Queue) openPostgres(ctx context.Context, database string) (err error) {
	q.dialect = dialect{
		postgres: true,
		now:      "extract(epoch from clock_timestamp())::double precision",
		among:    "id = ANY($1)",
		holder:   "river_job.attempted_by[array_upper(river_job.attempted_by, 1)]",
		taskID:   "river_job.args->>'id'",
	}
	q.name = "on PostgreSQL"
	config, err := pgxpool.ParseConfig(database)
	if err != nil {
		// What is wrong is not told: the text has the address in it, and where in
		// an address that cannot be read the password begins and ends is a guess.
		return errors.New("the address cannot be read; it should be like postgres://user@host:5432/name, where signs other than letters and digits in a user or password are written as %40 and so on")
	}
	q.name = shown(database)
	password := config.ConnConfig.Password
	defer func() { err = without(err, password) }()
	config.ConnConfig.RuntimeParams["search_path"] = schema
	if config.ConnConfig.RuntimeParams["application_name"] == "" {
		config.ConnConfig.RuntimeParams["application_name"] = "groundwork"
	}
	if config.ConnConfig.ConnectTimeout == 0 {
		config.ConnConfig.ConnectTimeout = 10 * time.Second
	}
	if !strings.Contains(database, "pool_max_conns") {
		config.MaxConns = 8 // of a process; PostgreSQL's own limit is 100 for all
	}
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return err
	}
	q.writing = stdlib.OpenDBFromPool(pool)
	q.reading = q.writing
	e := &on[pgx.Tx]{
		driver: riverpgxv5.New(pool),
		begin:  pool.Begin,
		exec: func(ctx context.Context, tx pgx.Tx, s string, args ...any) (int64, error) {
			t, err := tx.Exec(ctx, q.sql(s), args...)
			return t.RowsAffected(), err
		},
		commit: func(ctx context.Context, tx pgx.Tx) error { return tx.Commit(ctx) },
		rollback: func(tx pgx.Tx) error {
			ctx, stop := context.WithTimeout(context.Background(), 5*time.Second)
			defer stop()
			if err := tx.Rollback(ctx); !errors.Is(err, pgx.ErrTxClosed) {
				return err
			}
			return nil
		},
		shut: func() error {
			err := q.writing.Close()
			pool.Close()
			return err
		},
	}
	q.engine = e
	err = q.makeReady(ctx, pool, e)
	if err == nil {
		err = e.prepare(q.quiet)
	}
	if err != nil {
		return errors.Join(err, q.Close())
	}
	return nil
}

// makeReady brings the schema up to date, while no other process does.
func (q *Queue) makeReady(ctx context.Context, pool *pgxpool.Pool, e engine) error {
	c, err := pool.Acquire(ctx)
	if err != nil {
		return err
	}
	defer c.Release()
	if _, err := c.Exec(ctx, "SELECT pg_advisory_lock($1)", makingReady); err != nil {
		return fmt.Errorf("waiting for another process to make the queue ready: %w", err)
	}
	defer func() {
		ctx, stop := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
		defer stop()
		if _, err := c.Exec(ctx, "SELECT pg_advisory_unlock($1)", makingReady); err != nil {
			c.Conn().Close(ctx) // which lets the lock go
		}
	}()
	var there bool
	if err := c.QueryRow(ctx, "SELECT EXISTS (SELECT 1 FROM pg_namespace WHERE nspname = $1)", schema).Scan(&there); err != nil {
		return err
	}
	if !there { // asked first: who may not make schemas can use one that is there
		if _, err := c.Exec(ctx, "CREATE SCHEMA "+schema); err != nil {
			return fmt.Errorf("making the schema %s: %w", schema, err)
		}
	}
	return q.migrate(ctx, e, goose.DialectPostgres, "migrations/postgres")
}

// shown is the address of a database as it may be shown: user, host and name.
func shown(database string) string {
	u, err := url.Parse(database)
	if err != nil {
		return "on PostgreSQL"
	}
	out := url.URL{Scheme: "postgres", Host: u.Host, Path: u.Path}
	if u.User != nil {
		out.User = url.User(u.User.Username())
	}
	return out.String()
}

// secretFree is an error whose text has the password taken out.
type secretFree struct {
	error
	text string
}

func (e secretFree) Error() string { return e.text }
func (e secretFree) Unwrap() error { return e.error }

// without takes the password out of an error's text, as it is and as it stands
// in an address. pgx leaves it out itself; this is for what a server or a
// resolver may repeat.
func without(err error, password string) error {
	if err == nil || password == "" {
		return err
	}
	text := err.Error()
	_, escaped, _ := strings.Cut(url.UserPassword("", password).String(), ":")
	for _, s := range []string{password, escaped, url.QueryEscape(password)} {
		text = strings.ReplaceAll(text, s, "…")
	}
	if text == err.Error() {
		return err
	}
	return secretFree{err, text}
}
