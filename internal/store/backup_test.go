package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	gocmp "github.com/google/go-cmp/cmp/cmpopts"

	"groundwork/internal/geom"
	"groundwork/internal/shop"
)

// filled is a store in which something of everything has happened.
func filled(t testing.TB) *Store {
	t.Helper()
	s := fresh(t)
	ctx := t.Context()
	for n := range 17 {
		ok(t, deed{0, n}.do(ctx, s))
	}
	must[Ref](t)(s.Add(ctx, Receipt{Item: glue, Unit: "ml", Amount: Of(250.5), Price: &Price{Money{1250, "EUR"}, Of(500)}, Note: Note{Reason: "bottle; \"old\", étiquette\n2"}}))
	runs := must[[]Run](t)(s.Runs(ctx))
	ok(t, s.SetAside(ctx, runs[0].N, Note{Reason: "a draught"}))
	ok(t, s.SetPrinter(ctx, "small-bed", "the left one", true))
	ok(t, s.Plan(ctx, Job{
		ID: "kept", Piece: "stool", Revision: "r1", Needs: []Need{{Item: abs, Amount: 1500, OneLot: true, For: "load-01"}, {Item: pieces, Lot: "2", Amount: Pieces(1)}},
		Left: []Left{{Veneer: "walnut", Piece: Piece{Form: Leftover, Outline: Rectangle(geom.V2(100, 200)), Reserved: []shop.Reserved{{At: geom.V2(1, 2), Size: geom.V2(3, 4)}}, CutFrom: &Ref{walnut, ""}}}},
	}, Note{}))
	ok(t, s.Count(ctx, Ref{screws, ""}, Pieces(50), Note{Reason: "counted"}))
	return s
}

// all is all that a store tells.
func all(t testing.TB, s *Store) any {
	t.Helper()
	ctx := context.Background()
	st := must[*Stock](t)(s.Stock(ctx, StockOptions{Empty: true}))
	return []any{st, must[[]Entry](t)(s.Ledger(ctx, nil, 0, 1_000_000)), must[[]Job](t)(s.Jobs(ctx)), must[[]Run](t)(s.Runs(ctx))}
}

func same(t testing.TB, what string, want, got any) {
	t.Helper()
	if d := cmp.Diff(want, got, gocmp.EquateEmpty()); d != "" {
		t.Errorf("%s:\n%s", what, d)
	}
}

func TestBackupAndRestore(t *testing.T) {
	s := filled(t)
	ctx := t.Context()
	dir := t.TempDir()
	was := all(t, s)
	backup := filepath.Join(dir, "backups", "a.db")
	c := must[Contents](t)(s.Backup(ctx, backup))
	if entries := must[[]Entry](t)(s.Ledger(ctx, nil, 0, 1000)); c.Entries != int64(len(entries)) || c.Photos != 3 || c.Jobs != 4 || !c.Last.Equal(noon()) {
		t.Errorf("%+v", c)
	}
	if _, err := s.Backup(ctx, backup); !errors.Is(err, fs.ErrExist) {
		t.Errorf("an earlier backup: %v", err)
	}
	names := must[[]string](t)(filepath.Glob(filepath.Join(dir, "backups", "*")))
	hidden := must[[]string](t)(filepath.Glob(filepath.Join(dir, "backups", ".*")))
	if len(names) != 1 || len(hidden) != 0 {
		t.Errorf("left behind: %v %v", names, hidden)
	}
	if info := must[os.FileInfo](t)(os.Stat(backup)); info.Mode().Perm() != 0o600 {
		t.Errorf("%v", info.Mode())
	}

	add(t, s, screws, Pieces(1000)) // after the backup
	later := all(t, s)
	if _, err := Restore(ctx, s.Path(), backup, noon); !errors.Is(err, ErrInUse) {
		t.Errorf("restored under an open store: %v", err)
	}
	ok(t, s.Close())
	r := must[Restored](t)(Restore(ctx, s.Path(), backup, noon))
	if r.Contents != c || r.Kept != s.Path()+".before-20260301T120000Z" {
		t.Errorf("%+v", r)
	}
	same(t, "restored", was, all(t, s.reopen(t)))
	kept := opened(t, r.Kept)
	same(t, "kept", later, all(t, kept))
	sound(t, kept)

	// Twice in a second: the second store that is put aside gets a name of its own.
	s = opened(t, s.Path())
	t.Run("again", func(t *testing.T) {
		p := filepath.Join(dir, FileName)
		first := must[Restored](t)(Restore(ctx, p, backup, noon))
		second := must[Restored](t)(Restore(ctx, p, backup, noon))
		third := must[Restored](t)(Restore(ctx, p, backup, noon))
		if first.Kept != "" || second.Kept == "" || third.Kept == second.Kept {
			t.Errorf("%q, %q, %q", first.Kept, second.Kept, third.Kept)
		}
		same(t, "restored to where nothing was", was, all(t, opened(t, p)))
	})
}

// A backup that is not whole is refused, and the store stays as it is.
func TestRestoreRefuses(t *testing.T) {
	s := filled(t)
	ctx := t.Context()
	dir := t.TempDir()
	good := filepath.Join(dir, "good")
	must[Contents](t)(s.Backup(ctx, good))
	data := must[[]byte](t)(os.ReadFile(good))
	was := all(t, s)
	ok(t, s.Close())
	before := must[[]byte](t)(os.ReadFile(s.Path()))
	other := func(change func(p string)) func(p string) {
		return func(p string) {
			ok(t, os.WriteFile(p, data, 0o600))
			change(p)
		}
	}
	for _, c := range []struct {
		name string
		make func(path string)
		want error
	}{
		{"nothing", func(string) {}, fs.ErrNotExist},
		{"an empty file", func(p string) { ok(t, os.WriteFile(p, nil, 0o600)) }, ErrForeign},
		{"text", func(p string) { ok(t, os.WriteFile(p, bytes.Repeat([]byte("no "), 1000), 0o600)) }, ErrForeign},
		{"half of it", func(p string) { ok(t, os.WriteFile(p, data[:len(data)/2], 0o600)) }, ErrDamaged},
		{"a page of it zeroed", func(p string) {
			d := bytes.Clone(data)
			clear(d[len(d)/4096/2*4096:][:4096])
			ok(t, os.WriteFile(p, d, 0o600))
		}, ErrDamaged},
		{"a ledger that does not add up", other(func(p string) { execute(t, p, "UPDATE lot SET on_hand = on_hand + 1000") }), ErrDamaged},
		{"a movement missing", other(func(p string) {
			execute(t, p, "DROP TRIGGER movement_left; DELETE FROM movement WHERE entry = 1; UPDATE lot SET on_hand = (SELECT coalesce(sum(amount), 0) FROM movement WHERE lot = n), held = (SELECT coalesce(sum(held), 0) FROM movement WHERE lot = n)")
		}), ErrDamaged},
		{"a newer version", other(func(p string) { execute(t, p, "INSERT INTO "+versions+" (version_id, is_applied) VALUES (99, 1)") }), ErrNewer},
		{"another program's", func(p string) { execute(t, p, "CREATE TABLE notes (text)") }, ErrForeign},
	} {
		p := filepath.Join(dir, strings.ReplaceAll(c.name, " ", "-"))
		c.make(p)
		if _, err := Restore(ctx, s.Path(), p, noon); !errors.Is(err, c.want) {
			t.Errorf("%s: %v", c.name, err)
		} else if testing.Verbose() {
			t.Log(err)
		}
		if after := must[[]byte](t)(os.ReadFile(s.Path())); !bytes.Equal(before, after) {
			t.Fatalf("%s: the store was changed", c.name)
		}
	}
	// The file of a store that is open, copied without its log, lacks what is in the log.
	live := filled(t)
	if _, err := Restore(ctx, s.Path(), live.Path(), noon); err == nil {
		t.Error("the file of an open store was taken for a backup")
	}
	names := must[[]string](t)(filepath.Glob(filepath.Join(filepath.Dir(s.Path()), ".restore-*")))
	if len(names) > 0 {
		t.Errorf("left behind: %v", names)
	}
	same(t, "the store", was, all(t, s.reopen(t)))
}

// A store that cannot be opened any more is put aside with its log, and the
// backup does not see that log.
func TestRestoreOverDamaged(t *testing.T) {
	s := filled(t)
	ctx := t.Context()
	backup := filepath.Join(t.TempDir(), "a")
	must[Contents](t)(s.Backup(ctx, backup))
	was := all(t, s)
	path := filepath.Join(t.TempDir(), FileName)
	garbage := bytes.Repeat([]byte("garbage "), 2000)
	log := bytes.Repeat([]byte("rubbish "), 900)
	ok(t, errors.Join(os.WriteFile(path, garbage, 0o600), os.WriteFile(path+"-wal", log, 0o600)))
	r := must[Restored](t)(Restore(ctx, path, backup, noon))
	same(t, "restored", was, all(t, opened(t, path)))
	if got := must[[]byte](t)(os.ReadFile(r.Kept)); !bytes.Equal(got, garbage) {
		t.Error("what was there is not kept as it was")
	}
	if got := must[[]byte](t)(os.ReadFile(r.Kept + "-wal")); !bytes.Equal(got, log) {
		t.Error("its log is not kept as it was")
	}
	// One that was killed has what was last written in its log alone: it is kept whole.
	path = filepath.Join(t.TempDir(), FileName)
	db, wal := must[[]byte](t)(os.ReadFile(s.Path())), must[[]byte](t)(os.ReadFile(s.Path()+"-wal"))
	if len(wal) == 0 {
		t.Fatal("the store has no log")
	}
	ok(t, errors.Join(os.WriteFile(path, db, 0o600), os.WriteFile(path+"-wal", wal, 0o600)))
	r = must[Restored](t)(Restore(ctx, path, backup, noon))
	same(t, "kept", was, all(t, opened(t, r.Kept)))
}

// Backups that are made while others write are each whole, and of one moment.
func TestBackupWhileWriting(t *testing.T) {
	s := fresh(t)
	ctx := t.Context()
	stop := make(chan struct{})
	var wait sync.WaitGroup
	for c := range 3 {
		wait.Go(func() {
			for n := 0; ; n++ {
				select {
				case <-stop:
					return
				default:
				}
				if err := (deed{c, n}).do(ctx, s); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	dir := t.TempDir()
	grown := int64(-1)
	for n := range 8 {
		p := filepath.Join(dir, fmt.Sprint(n))
		c, err := s.Backup(ctx, p)
		if err != nil {
			t.Error(err)
			break
		}
		if c.Entries < grown {
			t.Errorf("%d entries after %d", c.Entries, grown)
		}
		grown = c.Entries
		b := opened(t, p)
		for _, e := range must[[]Entry](t)(b.Ledger(ctx, nil, 0, 100_000)) {
			if d, err := deedOf(e.Key); err == nil {
				if err := d.holds(e); err != nil {
					t.Error(err)
				}
			}
		}
		ok(t, b.Close())
		time.Sleep(10 * time.Millisecond)
	}
	close(stop)
	wait.Wait()
	if grown < 10 {
		t.Errorf("only %d entries were written meanwhile", grown)
	}
}
