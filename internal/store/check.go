package store

import (
	"context"
	"database/sql"
	"fmt"
)

// rules are what must hold of every store, each with a query for what breaks it.
var rules = []struct{ rule, breaks string }{
	// Sums are taken once for all, not once for each lot: a bin has thousands of movements.
	{"what a lot holds is the sum of its movements",
		`SELECT i.kind || ' ' || i.id || ' ' || l.id FROM lot l JOIN item i ON i.n = l.item
			LEFT JOIN (SELECT lot, sum(amount) AS s FROM movement GROUP BY lot) m ON m.lot = l.n WHERE l.on_hand <> coalesce(m.s, 0)`},
	{"what is reserved of a lot is the sum of its movements",
		`SELECT i.kind || ' ' || i.id || ' ' || l.id FROM lot l JOIN item i ON i.n = l.item
			LEFT JOIN (SELECT lot, sum(held) AS s FROM movement GROUP BY lot) m ON m.lot = l.n WHERE l.held <> coalesce(m.s, 0)`},
	{"what a job has reserved is the sum of its movements",
		`WITH m AS (SELECT e.job, v.lot, sum(v.held) AS s FROM movement v JOIN entry e ON e.n = v.entry GROUP BY e.job, v.lot HAVING s <> 0),
			h AS (SELECT job, lot, held AS s FROM hold WHERE held <> 0)
			SELECT coalesce(job, '?') || ' lot ' || lot FROM (SELECT * FROM m EXCEPT SELECT * FROM h UNION SELECT * FROM (SELECT * FROM h EXCEPT SELECT * FROM m))`},
	{"what is reserved of a lot is what jobs have of it",
		`SELECT 'lot ' || l.n FROM lot l LEFT JOIN (SELECT lot, sum(held) AS s FROM hold GROUP BY lot) h ON h.lot = l.n WHERE l.held <> coalesce(h.s, 0)`},
	{"an entry has all of its movements",
		`SELECT 'entry ' || e.n FROM entry e LEFT JOIN (SELECT entry, count(*) AS c FROM movement GROUP BY entry) m ON m.entry = e.n WHERE e.moves <> coalesce(m.c, 0)`},
	{"only a job that is reserved has anything reserved",
		`SELECT j.id FROM job j WHERE state <> 'reserved' AND EXISTS (SELECT 1 FROM hold WHERE job = j.id AND held > 0)`},
	{"a job's state is that of its last entry",
		`SELECT j.id FROM job j LEFT JOIN (SELECT job, max(n) AS n FROM entry WHERE kind IN ('reserve', 'release', 'finish', 'abandon') GROUP BY job) x ON x.job = j.id
			LEFT JOIN entry e ON e.n = x.n WHERE j.state <> CASE e.kind WHEN 'reserve' THEN 'reserved' WHEN 'finish' THEN 'finished' WHEN 'abandon' THEN 'abandoned' ELSE 'planned' END`},
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
