package store

import (
	"context"
	"database/sql"
	"fmt"
)

// rules are what must hold of every store, each with a query for what breaks it.
var rules = []struct{ rule, breaks string }{
	{"what a lot holds is the sum of its movements",
		`SELECT i.kind || ' ' || i.id || ' ' || l.id FROM lot l JOIN item i ON i.n = l.item WHERE on_hand <> (SELECT coalesce(sum(amount), 0) FROM movement WHERE lot = l.n)`},
	{"what is reserved of a lot is the sum of its movements",
		`SELECT i.kind || ' ' || i.id || ' ' || l.id FROM lot l JOIN item i ON i.n = l.item WHERE held <> (SELECT coalesce(sum(held), 0) FROM movement WHERE lot = l.n)`},
	{"what a job has reserved is the sum of its movements",
		`SELECT h.job || ' lot ' || h.lot FROM hold h WHERE held <> (SELECT coalesce(sum(m.held), 0) FROM movement m JOIN entry e ON e.n = m.entry WHERE m.lot = h.lot AND e.job = h.job)`},
	{"what is reserved of a lot is what jobs have of it",
		`SELECT 'lot ' || l.n FROM lot l WHERE held <> (SELECT coalesce(sum(held), 0) FROM hold WHERE lot = l.n)`},
	{"an entry has all of its movements",
		`SELECT 'entry ' || e.n FROM entry e WHERE moves <> (SELECT count(*) FROM movement WHERE entry = e.n)`},
	{"only a job that is reserved has anything reserved",
		`SELECT j.id FROM job j WHERE state <> 'reserved' AND EXISTS (SELECT 1 FROM hold WHERE job = j.id AND held > 0)`},
	{"a job's state is that of its last entry",
		`SELECT j.id FROM job j WHERE state <> coalesce((SELECT CASE kind WHEN 'reserve' THEN 'reserved' WHEN 'finish' THEN 'finished' WHEN 'abandon' THEN 'abandoned' ELSE 'planned' END
			FROM entry WHERE job = j.id AND kind IN ('reserve', 'release', 'finish', 'abandon') ORDER BY n DESC LIMIT 1), 'planned')`},
	{"a piece of veneer has a shape", `SELECT i.id || ' ' || l.id FROM lot l JOIN item i ON i.n = l.item WHERE (i.kind = 'offcut') <> EXISTS (SELECT 1 FROM piece WHERE lot = l.n)`},
	{"a run has its entry", `SELECT 'entry ' || e.n FROM entry e WHERE (e.kind = 'print') <> EXISTS (SELECT 1 FROM run WHERE entry = e.n)`},
	{"the log of prices has its entries", `SELECT 'entry ' || e.n FROM entry e WHERE e.kind = 'price' AND NOT EXISTS (SELECT 1 FROM price WHERE entry = e.n)`},
}

// Check looks whether the store is sound: the file by SQLite's own check, the
// ledger by adding it up again. It returns what is wrong, nothing if all is well.
func (s *Store) Check(ctx context.Context) ([]string, error) {
	var out []string
	err := s.read(ctx, func(tx *sql.Tx) (err error) {
		out, err = check(ctx, tx)
		return err
	})
	return out, err
}

func check(ctx context.Context, tx *sql.Tx) ([]string, error) {
	var out []string
	list := func(query, say string) error {
		rows, err := tx.QueryContext(ctx, query)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var what string
			if err := rows.Scan(&what); err != nil {
				return err
			}
			if what != "ok" {
				out = append(out, say+": "+what)
			}
		}
		return rows.Err()
	}
	if err := list("PRAGMA integrity_check(20)", "the file"); err != nil {
		return nil, err
	}
	if err := list(`SELECT "table" || ' row ' || coalesce(rowid, '?') FROM pragma_foreign_key_check`, "points at nothing"); err != nil {
		return nil, err
	}
	for _, r := range rules {
		if err := list(r.breaks+" LIMIT 20", fmt.Sprintf("not so that %s", r.rule)); err != nil {
			return nil, err
		}
	}
	return out, nil
}
