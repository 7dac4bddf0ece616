package store

import (
	"bytes"
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// execute writes to a database file as another program would.
func execute(t *testing.T, path, q string) {
	t.Helper()
	db, err := sql.Open("sqlite", path) // not in WAL, as ours are
	ok(t, err)
	_, err = db.ExecContext(t.Context(), q)
	ok(t, errors.Join(err, db.Close()))
}

// Every earlier version is brought up to this one, with what is in it. The
// versions are read from the migrations, so that the next one is tested too;
// version 0 is a store that was killed before its schema was there.
func TestMigrations(t *testing.T) {
	last := must[int64](t)(Version())
	if last < 1 {
		t.Fatal("no migrations found")
	}
	for v := range last + 1 {
		path := filepath.Join(t.TempDir(), FileName)
		ok(t, migrateTo(t.Context(), path, v))
		if v > 0 {
			execute(t, path, "INSERT INTO item (kind, id, unit) VALUES ('filament', 'abs', 'g')")
		}
		s := opened(t, path)
		st := must[*Stock](t)(s.Stock(t.Context(), StockOptions{}))
		if want := min(v, 1); int64(len(st.Items)) != want {
			t.Errorf("from version %d: %d items, not %d", v, len(st.Items), want)
		}
		add(t, s, abs, Of(1))
		sound(t, s)
	}
}

// What is not a store of this version or an earlier one is refused with words,
// and stays as it is to the byte.
func TestOpenRefuses(t *testing.T) {
	schema := must[[]byte](t)(fs.ReadFile(migrationFiles, "migrations/00001_store.sql"))
	half, _, _ := strings.Cut(string(schema), "CREATE TABLE printer")
	for _, c := range []struct {
		name string
		make func(path string)
		want error
	}{
		{"a newer version", func(p string) {
			s := opened(t, p)
			add(t, s, abs, Of(5))
			ok(t, s.Close())
			execute(t, p, "INSERT INTO "+versions+" (version_id, is_applied) VALUES (99, 1)")
		}, ErrNewer},
		{"another program's database", func(p string) { execute(t, p, "CREATE TABLE notes (text)") }, ErrForeign},
		{"one with a name of its own", func(p string) { execute(t, p, "PRAGMA application_id = 7") }, ErrForeign},
		{"text", func(p string) { ok(t, os.WriteFile(p, bytes.Repeat([]byte("groundwork: 1\n"), 100), 0o600)) }, ErrForeign},
		{"a folder", func(p string) { ok(t, os.Mkdir(p, 0o700)) }, ErrForeign},
		{"half a schema, which no version of ours left", func(p string) { execute(t, p, half) }, ErrDamaged},
		{"a broken file", func(p string) {
			s := opened(t, p)
			add(t, s, abs, Of(5))
			ok(t, s.Close())
			data := must[[]byte](t)(os.ReadFile(p))
			copy(data[100:], bytes.Repeat([]byte{0xff}, 4000)) // the root of the schema
			ok(t, os.WriteFile(p, data, 0o600))
		}, ErrDamaged},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), FileName)
			c.make(path)
			before, _ := os.ReadFile(path)
			s, err := Open(t.Context(), path, noon)
			if !errors.Is(err, c.want) {
				t.Errorf("%v", err)
			}
			if err == nil {
				s.Close()
			} else if testing.Verbose() {
				t.Log(err)
			}
			after, _ := os.ReadFile(path)
			if !bytes.Equal(before, after) {
				t.Error("the file was changed")
			}
		})
	}
}

// An empty file is where a store is made.
func TestOpenEmptyFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), FileName)
	ok(t, os.WriteFile(path, nil, 0o600))
	s := opened(t, path)
	add(t, s, abs, Of(1))
	sound(t, s)
}
