package store

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"encoding/csv"
)

// tree is what is in a folder, by name.
func tree(t testing.TB, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	ok(t, filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(name)
		rel, _ := filepath.Rel(dir, name)
		out[filepath.ToSlash(rel)] = string(data)
		return err
	}))
	return out
}

// What is exported, imported and exported again is the same to the byte.
func TestExportAndImport(t *testing.T) {
	s := filled(t)
	ctx := t.Context()
	dir := t.TempDir()
	a, b, c := filepath.Join(dir, "a"), filepath.Join(dir, "b"), filepath.Join(dir, "c")
	ok(t, s.Export(ctx, a))
	ok(t, s.Export(ctx, b))
	same(t, "exported twice", tree(t, a), tree(t, b))
	if err := s.Export(ctx, a); !errors.Is(err, fs.ErrExist) {
		t.Errorf("over another: %v", err)
	}
	path := filepath.Join(dir, "new", FileName)
	n := must[Contents](t)(Import(ctx, path, a, noon))
	r := opened(t, path)
	same(t, "imported", all(t, s), all(t, r))
	sound(t, r)
	ok(t, r.Export(ctx, c))
	same(t, "exported again", tree(t, a), tree(t, c))
	if backup := must[Contents](t)(s.Backup(ctx, filepath.Join(dir, "backup"))); backup != n {
		t.Errorf("%+v, not %+v", n, backup)
	}
	// The store goes on where it was.
	ref := add(t, r, abs, Of(1))
	if ref.Lot == "1" || ref.Lot == "stock" {
		t.Errorf("%s", ref)
	}
	if _, err := Import(ctx, path, a, noon); !errors.Is(err, fs.ErrExist) {
		t.Errorf("over a store: %v", err)
	}
	files := tree(t, a)
	for name, text := range files {
		if strings.HasSuffix(name, ".csv") {
			rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
			if err != nil || len(rows) < 1 {
				t.Errorf("%s: %v", name, err)
			}
			if lines, ok := files[strings.TrimSuffix(name, ".csv")+".jsonl"]; ok && len(rows)-1 != strings.Count(lines, "\n") {
				t.Errorf("%s: %d rows", name, len(rows)-1)
			}
		}
	}
	const want = "consumable,seam-glue,,ml,250.5,0,250.5\n"
	if !strings.Contains(files["stock.csv"], want) {
		t.Errorf("stock.csv lacks %q:\n%s", want, files["stock.csv"])
	}
}

// What a program wrote that knew fewer tables is taken as it is.
func TestImportOlder(t *testing.T) {
	s := fresh(t)
	ctx := t.Context()
	add(t, s, abs, Of(100))
	dir := filepath.Join(t.TempDir(), "old")
	ok(t, s.Export(ctx, dir))
	for _, name := range []string{"need", "leaving"} {
		ok(t, errors.Join(os.Remove(filepath.Join(dir, name+".jsonl")), os.Remove(filepath.Join(dir, name+".csv"))))
	}
	name := filepath.Join(dir, "about.json")
	data := must[[]byte](t)(os.ReadFile(name))
	ok(t, os.WriteFile(name, bytes.Replace(data, []byte(`"schema": 2`), []byte(`"schema": 1`), 1), 0o600))
	path := filepath.Join(t.TempDir(), FileName)
	must[Contents](t)(Import(ctx, path, dir, noon))
	same(t, "imported", all(t, s), all(t, opened(t, path)))
}

// An export that is not as it was written is refused, and makes no store.
func TestImportRefuses(t *testing.T) {
	s := filled(t)
	ctx := t.Context()
	for _, c := range []struct {
		name, file, from, to string
	}{
		{"a changed amount", "movement.jsonl", `"amount":1000`, `"amount":2000`},
		{"a changed photograph", "photos", "", ""},
		{"another format", "about.json", exportFormat, "wine list"},
		{"a newer schema", "about.json", `"schema": 2`, `"schema": 99`},
		{"no schema", "about.json", `"schema": 2`, `"schema": 0`},
		{"no JSON", "about.json", "{", ""},
		{"a file missing", "lot.jsonl", "", ""},
	} {
		dir := filepath.Join(t.TempDir(), "a")
		ok(t, s.Export(ctx, dir))
		name := filepath.Join(dir, c.file)
		switch {
		case c.file == "photos":
			for f, text := range tree(t, dir) {
				if strings.HasPrefix(f, "photos/") {
					ok(t, os.WriteFile(filepath.Join(dir, f), []byte(text+"x"), 0o600))
				}
			}
		case c.from == "":
			ok(t, os.Remove(name))
		default:
			data := must[[]byte](t)(os.ReadFile(name))
			changed := bytes.Replace(data, []byte(c.from), []byte(c.to), 1)
			if bytes.Equal(data, changed) {
				t.Fatalf("%s: %s is not in %s", c.name, c.from, c.file)
			}
			ok(t, os.WriteFile(name, changed, 0o600))
		}
		path := filepath.Join(t.TempDir(), FileName)
		_, err := Import(ctx, path, dir, noon)
		if err == nil {
			t.Errorf("%s: taken", c.name)
		} else if testing.Verbose() {
			t.Log(err)
		}
		if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: there is a store: %v", c.name, err)
		}
	}
}

// A line of an export is a row or an error, and a row comes out as it went in.
func FuzzRow(f *testing.F) {
	f.Add(`{"entry":1,"line":1,"lot":1,"amount":1000,"held":0}`)
	f.Add(`{"entry":1e3,"line":null,"lot":"x","amount":-0.5,"held":9223372036854775808}`)
	f.Add(`{"entry":1,"line":1,"lot":1,"amount":1000,"held":[]} {}`)
	t := tables[8]
	f.Fuzz(func(tt *testing.T, line string) {
		values, err := row(t, []byte(line))
		if err != nil {
			return
		}
		if len(values) != len(t.columns) {
			tt.Fatalf("%d values", len(values))
		}
		for _, v := range values {
			switch v.(type) {
			case nil, string, int64, float64:
			default:
				tt.Fatalf("a %T", v)
			}
		}
	})
}

// Whatever a table's lines say, the store takes it and is sound, or refuses it
// as a whole.
func FuzzLoad(f *testing.F) {
	s := filled(f)
	dir := filepath.Join(f.TempDir(), "a")
	ok(f, s.Export(f.Context(), dir))
	for i, t := range tables {
		f.Add(i, string(must[[]byte](f)(os.ReadFile(filepath.Join(dir, t.name+".jsonl")))))
	}
	f.Fuzz(func(tt *testing.T, i int, text string) {
		if i < 0 || i >= len(tables) {
			return
		}
		to := fresh(tt)
		tx, err := to.writing.BeginTx(tt.Context(), nil)
		ok(tt, err)
		photo := func(name string) ([]byte, error) { return os.ReadFile(filepath.Join(dir, "photos", name)) }
		var failed error
		for k, t := range tables {
			data := []byte(text)
			if k != i {
				data, err = os.ReadFile(filepath.Join(dir, t.name+".jsonl"))
				ok(tt, err)
			}
			if failed = load(tt.Context(), tx, t, data, photo); failed != nil {
				break
			}
		}
		if failed != nil {
			ok(tt, tx.Rollback())
		} else if err := tx.Commit(); err == nil {
			// It can still be unsound, as by a movement that is missing: Import then refuses
			// it by the same check. What must not be is that the check cannot run.
			must[[]string](tt)(to.Check(tt.Context()))
			all(tt, to)
			return
		}
		sound(tt, to)
		if n := len(must[[]Entry](tt)(to.Ledger(tt.Context(), nil, 0, 10))); n != 0 {
			tt.Fatalf("%d entries of what was refused", n)
		}
	})
}
