package store

import (
	"context"
	"database/sql"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"groundwork/internal/geom"
	"groundwork/internal/shop"
)

// TestMain runs a child of a test if the binary is called as one.
func TestMain(m *testing.M) {
	if what := os.Getenv("STORE_TEST_CHILD"); what != "" {
		children[what]()
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// noon is a clock that stands still.
func noon() time.Time { return time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC) }

func opened(t testing.TB, path string) *Store {
	t.Helper()
	s, err := Open(t.Context(), path, noon)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func fresh(t testing.TB) *Store {
	t.Helper()
	return opened(t, filepath.Join(t.TempDir(), FileName))
}

// sound fails the test if the store's own check finds anything.
func sound(t testing.TB, s *Store) {
	t.Helper()
	wrong, err := s.Check(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range wrong {
		t.Error(w)
	}
}

var (
	abs    = Item{Filament, "abs"}
	walnut = Item{Sheet, "walnut"}
	pieces = Item{Offcut, "walnut"}
	screws = Item{Hardware, "M6 x 40 cap screw"}
	glue   = Item{Consumable, "seam-glue"}
)

func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func ok(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func add(t testing.TB, s *Store, i Item, a Amount) Ref {
	t.Helper()
	r := Receipt{Item: i, Amount: a}
	if i.Kind == Consumable {
		r.Unit = "ml"
	}
	return must[Ref](t)(s.Add(t.Context(), r))
}

func onHand(t testing.TB, s *Store, r Ref) Amount {
	t.Helper()
	st := must[*Stock](t)(s.Stock(t.Context(), StockOptions{Empty: true}))
	it, _ := st.Of(r.Item)
	for _, l := range it.Lots {
		if l.Lot == r.Lot {
			return l.OnHand
		}
	}
	t.Fatalf("%s is not there", r)
	return 0
}

func TestOpenTwice(t *testing.T) {
	s := fresh(t)
	spool := add(t, s, abs, Of(1000))
	ok(t, s.Close())
	s = opened(t, s.Path())
	if got := onHand(t, s, spool); got != Of(1000) {
		t.Errorf("%s g, not 1000", got)
	}
	sound(t, s)
	for _, pragma := range []struct{ name, want string }{{"journal_mode", "wal"}, {"synchronous", "2"}, {"foreign_keys", "1"}, {"busy_timeout", "10000"}} {
		var got string
		ok(t, s.writing.QueryRowContext(t.Context(), "PRAGMA "+pragma.name).Scan(&got))
		if got != pragma.want {
			t.Errorf("%s is %s, not %s", pragma.name, got, pragma.want)
		}
	}
	info, err := os.Stat(s.Path())
	ok(t, err)
	if info.Mode().Perm()&0o077 != 0 {
		t.Errorf("others may read the store: %v", info.Mode())
	}
}

// Names that mean something in a URL or to SQLite are only names.
func TestOddNames(t *testing.T) {
	for _, name := range []string{"a b.db", "50%.db", "what?.db", "no#1.db", "é.db", "a&mode=memory.db", ":memory:"} {
		path := filepath.Join(t.TempDir(), "new folder", name)
		s := opened(t, path)
		add(t, s, abs, Of(1))
		ok(t, s.Close())
		if _, err := os.Stat(path); err != nil {
			t.Error(err)
		}
		if c, err := s.reopen(t).Stock(t.Context(), StockOptions{}); err != nil || len(c.Items) != 1 {
			t.Errorf("%s: %v, %v", name, c, err)
		}
	}
}

func (s *Store) reopen(t testing.TB) *Store { return opened(t, s.path) }

func jpeg(more string) []byte { return append([]byte("\xff\xd8\xff\xe0"), more...) }

// What is refused changes nothing, and says why.
func TestRefused(t *testing.T) {
	s := fresh(t)
	ctx := t.Context()
	spool := add(t, s, abs, Of(1000))
	bin := add(t, s, screws, Pieces(8))
	board := Rectangle(geom.V2(200, 600))
	left := must[Ref](t)(s.Add(ctx, Receipt{Item: pieces, Amount: Pieces(1), Piece: &Piece{Form: Leftover, Outline: board}}))
	ok(t, s.Plan(ctx, Job{ID: "a", Loads: []Load{{"load-01", "small-bed", "abs", 3600, 100}}}, Note{}))
	before := must[[]Entry](t)(s.Ledger(ctx, nil, 0, 100))
	why := Note{Reason: "a test"}
	add := func(r Receipt) error { _, err := s.Add(ctx, r); return err }
	reserve := func(job string, n ...Need) error { _, err := s.Reserve(ctx, job, n, why); return err }
	finish := func(job string, a Actuals) error { _, err := s.Finish(ctx, job, a, why); return err }
	shape := func(form Form, p geom.Polygon, r ...shop.Reserved) error {
		return add(Receipt{Item: pieces, Amount: Pieces(1), Piece: &Piece{Form: form, Outline: p, Reserved: r}})
	}
	nan := math.NaN()
	for name, err := range map[string]error{
		"a lot that is not there":      s.Adjust(ctx, Ref{abs, "7"}, Of(1), why),
		"no reason":                    s.Adjust(ctx, spool, Of(1), Note{}),
		"no reason to count":           s.Count(ctx, spool, Of(1), Note{}),
		"more than there is":           s.Adjust(ctx, spool, -Of(1000.001), why),
		"a count under nothing":        s.Count(ctx, spool, -1, why),
		"half a screw":                 s.Adjust(ctx, bin, -500, why),
		"nothing":                      s.Adjust(ctx, bin, 0, why),
		"too much":                     s.Adjust(ctx, bin, MaxAmount, why),
		"not a number":                 s.Adjust(ctx, spool, Of(nan), why),
		"a second of one piece":        s.Adjust(ctx, left, Pieces(1), why),
		"adding nothing":               add(Receipt{Item: abs}),
		"no such kind":                 add(Receipt{Item: Item{"wine", "red"}, Amount: 1000}),
		"no name":                      add(Receipt{Item: Item{Filament, ""}, Amount: 1000}),
		"a name of two lines":          add(Receipt{Item: Item{Filament, "a\nb"}, Amount: 1000}),
		"a consumable without a unit":  add(Receipt{Item: glue, Amount: 1000}),
		"screws by weight":             add(Receipt{Item: screws, Amount: 1000, Unit: "g"}),
		"a lot of screws":              add(Receipt{Item: screws, Amount: 1000, Lot: "2"}),
		"a bad name of a lot":          add(Receipt{Item: abs, Amount: 1000, Lot: "No 1"}),
		"an outline of a spool":        add(Receipt{Item: abs, Amount: 1000, Piece: &Piece{}}),
		"a piece without outline":      add(Receipt{Item: pieces, Amount: 1000}),
		"a piece that is there":        add(Receipt{Item: pieces, Amount: 1000, Lot: left.Lot, Piece: &Piece{Form: Leftover, Outline: board}}),
		"two of one piece":             add(Receipt{Item: pieces, Amount: 2000, Piece: &Piece{Form: Leftover, Outline: board}}),
		"a price in no currency":       add(Receipt{Item: abs, Amount: 1000, Price: &Price{Money{1, "euro"}, 1000}}),
		"a price for nothing":          s.SetPrice(ctx, abs, Price{Money{1, "EUR"}, 0}, why),
		"a price of what is not there": s.SetPrice(ctx, Item{Filament, "pla"}, Price{Money{1, "EUR"}, 1000}, why),
		"a bow tie":                    shape(Leftover, geom.Polygon{{X: 0, Y: 0}, {X: 10, Y: 10}, {X: 10, Y: 0}, {X: 0, Y: 10}}),
		"a line":                       shape(Leftover, geom.Polygon{{X: 0, Y: 0}, {X: 10, Y: 0}, {X: 20, Y: 0}}),
		"not a point":                  shape(Leftover, geom.Polygon{{X: 0, Y: 0}, {X: nan, Y: 0}, {X: 20, Y: 10}}),
		"no such form":                 shape("plank", board),
		"a knot of no size":            shape(Leftover, board, shop.Reserved{At: geom.V2(1, 1)}),
		"a photograph that is none":    add(Receipt{Item: pieces, Amount: 1000, Piece: &Piece{Form: Leftover, Outline: board, Photo: []byte("hello")}}),
		"a job that is not planned":    reserve("b", Need{Item: abs, Amount: 1000}),
		"reserving nothing":            reserve("a"),
		"reserving less":               reserve("a", Need{Item: abs, Amount: -1000}),
		"reserving any piece":          reserve("a", Need{Item: pieces, Amount: 1000}),
		"releasing nothing":            s.Release(ctx, "a", why),
		"finishing what is planned":    finish("a", Actuals{}),
		"a load of nothing":            s.Plan(ctx, Job{ID: "b", Loads: []Load{{"load-01", "small-bed", "abs", 0, 100}}}, why),
		"a job without a name":         s.Plan(ctx, Job{}, why),
		"a load twice":                 s.Plan(ctx, Job{ID: "b", Loads: []Load{{"l", "p", "abs", 1, 1}, {"l", "p", "abs", 1, 1}}}, why),
		"a run of no load":             s.Actual(ctx, Actual{Job: "a", Load: "load-02", Seconds: 1, Grams: 1}, why),
		"a run of no time":             s.Actual(ctx, Actual{Job: "a", Load: "load-01", Grams: 1}, why),
		"a run on no printer":          s.Actual(ctx, Actual{Job: "a", Load: "load-01", Grams: 1, Seconds: 1, Printer: "none"}, why),
		"a run off no spool":           s.Actual(ctx, Actual{Job: "a", Load: "load-01", Grams: 1, Seconds: 1, Spool: "9"}, why),
		"a run that takes too much":    s.Actual(ctx, Actual{Job: "a", Load: "load-01", Grams: 1001, Seconds: 1, Spool: spool.Lot}, why),
		"no run set aside":             s.SetAside(ctx, 1, why),
	} {
		if err == nil {
			t.Errorf("%s: taken", name)
		} else if testing.Verbose() {
			t.Logf("%s: %v", name, err)
		}
	}
	after := must[[]Entry](t)(s.Ledger(ctx, nil, 0, 100))
	if d := cmp.Diff(before, after); d != "" {
		t.Errorf("what was refused was written:\n%s", d)
	}
	var lack *Lack
	if err := s.Adjust(ctx, spool, -Of(1001), why); !errors.As(err, &lack) || lack.OnHand != Of(1000) || lack.Taken != Of(1001) {
		t.Errorf("%v", err)
	}
	sound(t, s)
}

// The database itself refuses what the program might get wrong.
func TestConstraints(t *testing.T) {
	s := fresh(t)
	ctx := t.Context()
	add(t, s, abs, Of(1000))
	add(t, s, screws, Pieces(8))
	for _, q := range []string{
		"UPDATE movement SET amount = 1",
		"DELETE FROM movement",
		"UPDATE entry SET reason = 'other'",
		"DELETE FROM entry",
		"INSERT INTO movement VALUES (1, 9, 1, -1000001, 0)", // under nothing
		"INSERT INTO movement VALUES (1, 9, 1, 0, -1)",       // reserved under nothing
		"INSERT INTO movement VALUES (1, 9, 2, 500, 0)",      // half a screw
		"INSERT INTO movement VALUES (99, 1, 1, 1, 0)",       // no entry
		"INSERT INTO movement VALUES (1, 9, 99, 1, 0)",       // no lot
		"INSERT INTO movement VALUES (1, 9, 1, 'some', 0)",   // no number
		"INSERT INTO lot (item, id, on_hand) VALUES (1, '9', 5)",
		"UPDATE lot SET on_hand = -1",
		"INSERT INTO job VALUES ('a', '', '', 'lost')",
	} {
		if err := s.write(ctx, q, func(tx *sql.Tx) error { _, err := tx.ExecContext(ctx, q); return err }); err == nil {
			t.Errorf("%s: taken", q)
		}
	}
	if err := s.read(ctx, func(tx *sql.Tx) error { _, err := tx.ExecContext(ctx, "DELETE FROM lot"); return err }); err == nil {
		t.Error("a reader wrote")
	}
	sound(t, s)
	// And the check finds what got in some other way.
	for _, c := range []struct{ q, rule string }{
		{"UPDATE lot SET on_hand = on_hand + 1 WHERE n = 1", "what a lot holds"},
		{"UPDATE lot SET held = held + 1 WHERE n = 1", "what is reserved of a lot is the sum"},
		{"INSERT INTO entry (at, kind, reason, moves) VALUES ('2026-01-01T00:00:00.000Z', 'adjust', '', 2)", "an entry has all"},
		{"INSERT INTO job VALUES ('a', '', '', 'reserved')", "a job's state"},
		{"INSERT INTO lot (item, id) SELECT n, 'x' FROM item WHERE kind = 'filament'; INSERT INTO item (kind, id, unit) VALUES ('offcut', 'ash', 'piece'); INSERT INTO lot (item, id) VALUES (last_insert_rowid(), '1')", "has a shape"},
	} {
		d := fresh(t)
		add(t, d, abs, Of(1000))
		ok(t, d.write(ctx, c.q, func(tx *sql.Tx) error { _, err := tx.ExecContext(ctx, c.q); return err }))
		wrong := must[[]string](t)(d.Check(ctx))
		if !strings.Contains(strings.Join(wrong, "\n"), c.rule) {
			t.Errorf("%s: found %q", c.q, wrong)
		}
	}
}

// A call made again with its key does nothing and tells the same.
func TestKeys(t *testing.T) {
	s := fresh(t)
	ctx := t.Context()
	for range 3 {
		ref := must[Ref](t)(s.Add(ctx, Receipt{Item: abs, Amount: Of(1000), Note: Note{Key: "1"}}))
		if ref.Lot != "1" {
			t.Fatal(ref)
		}
		ok(t, s.Adjust(ctx, ref, -Of(10), Note{Reason: "a", Key: "2"}))
		ok(t, s.Plan(ctx, Job{ID: "a"}, Note{Key: "3"}))
		r := must[Reservation](t)(s.Reserve(ctx, "a", []Need{{Item: abs, Amount: Of(50)}}, Note{Key: "4"}))
		if len(r.Taken) != 1 || r.Taken[0] != (Taken{ref, Of(50)}) {
			t.Fatalf("%+v", r)
		}
		refs := must[[]Ref](t)(s.Finish(ctx, "a", Actuals{Left: []Left{{Veneer: "walnut", Piece: Piece{Form: Leftover, Outline: Rectangle(geom.V2(50, 300))}}}}, Note{Key: "5"}))
		if len(refs) != 1 || refs[0] != (Ref{pieces, "1"}) {
			t.Fatalf("%v", refs)
		}
		if onHand(t, s, ref) != Of(940) {
			t.Fatalf("%s g", onHand(t, s, ref))
		}
	}
	if err := s.Adjust(ctx, Ref{abs, "1"}, 1, Note{Reason: "a", Key: "1"}); !errors.Is(err, ErrKey) {
		t.Errorf("%v", err)
	}
	sound(t, s)
}

var children = map[string]func(){}
