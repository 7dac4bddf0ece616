package folder

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// clock is a clock that a test winds: it goes on by a second whenever it is
// looked at.
func clock() func() time.Time {
	t := time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)
	return func() time.Time { t = t.Add(time.Second); return t }
}

func open(t *testing.T, dir string) *Folder {
	t.Helper()
	f, err := Open(dir, clock())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

// outside writes a file as another program does.
func outside(t *testing.T, f *Folder, name, text string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(f.Path(), name), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func write(t *testing.T, f *Folder, name, text, what string) State {
	t.Helper()
	base := Version("")
	if s, err := f.Read(name); err == nil {
		base = s.Version
	}
	s, err := f.Write(name, []byte(text), base, Why{What: what, Who: "me"})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// holds fails the test if a file is not as it should be; "" is no file.
func holds(t *testing.T, f *Folder, name, want string) {
	t.Helper()
	s, err := f.Read(name)
	if want == "" && errors.Is(err, fs.ErrNotExist) {
		return
	}
	if err != nil || string(s.Data) != want {
		t.Fatalf("%s holds %q (%v), want %q", name, s.Data, err, want)
	}
}

func whats(steps []Step) string {
	var out []string
	for _, s := range steps {
		out = append(out, s.What)
	}
	return strings.Join(out, ", ")
}

func history(t *testing.T, f *Folder, files []string, undo, redo string) {
	t.Helper()
	h, err := f.History(files)
	if err != nil {
		t.Fatal(err)
	}
	if whats(h.Undo) != undo || whats(h.Redo) != redo {
		t.Fatalf("undo %q redo %q, want %q and %q", whats(h.Undo), whats(h.Redo), undo, redo)
	}
}

func TestWriteUndoRedo(t *testing.T) {
	f := open(t, t.TempDir())
	set := []string{"a.yaml", "a.marks.yaml", "shop.yaml"}
	if _, err := f.Create("a.yaml", []byte("1"), "me"); err != nil {
		t.Fatal(err)
	}
	history(t, f, set, "", "")
	write(t, f, "a.yaml", "2", "two")
	write(t, f, "a.marks.yaml", "m", "marked")
	write(t, f, "a.yaml", "3", "three")
	history(t, f, set, "three, marked, two", "")
	undo := func(want string) {
		t.Helper()
		if s, _, err := f.Undo(set, ""); err != nil || s.What != want {
			t.Fatalf("undid %q (%v), want %q", s.What, err, want)
		}
	}
	undo("three")
	undo("marked")
	holds(t, f, "a.yaml", "2")
	holds(t, f, "a.marks.yaml", "")
	history(t, f, set, "two", "marked, three")
	if s, _, err := f.Redo(set, ""); err != nil || s.What != "marked" {
		t.Fatal(s, err)
	}
	holds(t, f, "a.marks.yaml", "m")
	outside(t, f, "a.yaml", "x")
	history(t, f, set, "changed outside, marked, two", "")
	undo("changed outside")
	holds(t, f, "a.yaml", "2")
	if _, _, err := f.Redo(set, ""); err != nil {
		t.Fatal(err)
	}
	holds(t, f, "a.yaml", "x")
	undo("changed outside")
	undo("marked")
	undo("two")
	holds(t, f, "a.yaml", "1")
	if _, _, err := f.Undo(set, ""); !errors.Is(err, ErrNothing) {
		t.Fatal(err)
	}
	g := open(t, f.Path()) // the history outlives the program
	history(t, g, set, "", "two, marked, changed outside")
}
