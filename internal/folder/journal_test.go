package folder

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

// made is a folder with a history of every kind of record, and its journal.
func madeJournal(t testing.TB) (dir string, text []byte) {
	t.Helper()
	dir = t.TempDir()
	f, err := Open(dir, clock())
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	base := Version("")
	for i := range 4 {
		s, err := f.Write("a.yaml", fmt.Append(nil, i), base, Why{What: fmt.Sprint("to ", i), Gather: fmt.Sprint(i / 2)})
		if err != nil {
			t.Fatal(err)
		}
		base = s.Version
	}
	if _, _, err := f.Undo([]string{"a.yaml"}, "v"); err != nil {
		t.Fatal(err)
	}
	if _, _, err := f.Redo([]string{"a.yaml"}, "v"); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "a.yaml"), []byte("theirs"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Save([]Edit{{"a.yaml", []byte("ours"), VersionOf([]byte("theirs"))}, {"shop.yaml", []byte("s"), ""}}, Why{What: "both"}); err != nil {
		t.Fatal(err)
	}
	text, err = os.ReadFile(filepath.Join(dir, journalName))
	if err != nil {
		t.Fatal(err)
	}
	return dir, text
}

// A journal cut anywhere tells what its whole lines tell, and goes on from
// there: what is added behind a torn line is read again.
func TestTornJournal(t *testing.T) {
	dir, text := madeJournal(t)
	for cut := range len(text) + 1 {
		whole := text[:bytes.LastIndexByte(text[:cut], '\n')+1]
		got, want := parse(text[:cut]), parse(whole)
		if !reflect.DeepEqual(got.finished(), want.finished()) || got.last != want.last {
			t.Fatalf("cut at %d: %v, want %v", cut, got.finished(), want.finished())
		}
		if cut%7 != 0 && cut != len(text) { // the rest writes to the disk
			continue
		}
		if err := os.WriteFile(filepath.Join(dir, journalName), text[:cut], 0o644); err != nil {
			t.Fatal(err)
		}
		for name, data := range map[string]string{"a.yaml": "ours", "shop.yaml": "s"} {
			if err := os.WriteFile(filepath.Join(dir, name), []byte(data), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		f := open(t, dir)
		before, err := f.Read("a.yaml")
		if err != nil {
			t.Fatal(err)
		}
		write(t, f, "a.yaml", "new", "new")
		g := open(t, dir)
		h, err := g.History([]string{"a.yaml"})
		if err != nil || len(h.Undo) == 0 || h.Undo[0].What != "new" {
			t.Fatalf("cut at %d: %+v, %v", cut, h, err)
		}
		if _, _, err := g.Undo([]string{"a.yaml"}, ""); err != nil {
			t.Fatal(err)
		}
		holds(t, g, "a.yaml", string(before.Data))
		f.Close()
		g.Close()
	}
}

// One spoiled byte costs one line at most.
func TestSpoiledJournal(t *testing.T) {
	_, text := madeJournal(t)
	lines := bytes.SplitAfter(text, []byte("\n"))
	for at := range text {
		bad := bytes.Clone(text)
		bad[at] ^= 1
		n := 0
		for line := range bytes.Lines(bad) {
			if _, ok := parseLine(bytes.TrimSuffix(line, []byte("\n"))); ok {
				n++
			}
		}
		// A line end that is spoiled joins two lines.
		if want := len(lines) - 1; n < want-2 || n >= want {
			t.Fatalf("byte %d: %d of %d lines are read", at, n, want)
		}
	}
}

// A change that was broken off is finished by whoever comes next, for each
// file that is still as it was; a file that another program took further stays.
func TestBrokenOff(t *testing.T) {
	v := func(s string) Version {
		if s == "" {
			return ""
		}
		return VersionOf([]byte(s))
	}
	for _, tc := range []struct{ a, b, wantA, wantB, undo string }{
		{"old", "", "new", "b", "step, made"},
		{"new", "", "new", "b", "step, made"},
		{"new", "b", "new", "b", "step, made"},
		{"theirs", "", "theirs", "b", "changed outside, step, made"},
		{"old", "theirs", "new", "theirs", "changed outside, step, made"},
		{"", "", "", "b", "changed outside, step, made"},
	} {
		f := open(t, t.TempDir())
		write(t, f, "a.yaml", "old", "made")
		if err := f.keep(State{"a.yaml", []byte("new"), v("new")}); err != nil {
			t.Fatal(err)
		}
		if err := f.keep(State{"b.yaml", []byte("b"), v("b")}); err != nil {
			t.Fatal(err)
		}
		j, err := f.journal()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.write(j, record{ID: j.last + 1, Did: didStep, What: "step", Files: []change{{"a.yaml", v("old"), v("new")}, {"b.yaml", "", v("b")}}}); err != nil {
			t.Fatal(err)
		}
		for name, data := range map[string]string{"a.yaml": tc.a, "b.yaml": tc.b} {
			if data != "" {
				outside(t, f, name, data)
			} else {
				os.Remove(filepath.Join(f.Path(), name))
			}
		}
		g := open(t, f.Path())
		set := []string{"a.yaml", "b.yaml"}
		if err := g.locked(func(j *journal) error {
			for _, name := range set {
				if _, j, err = g.reconcile(j, name); err != nil {
					return err
				}
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		holds(t, g, "a.yaml", tc.wantA)
		holds(t, g, "b.yaml", tc.wantB)
		history(t, g, set, tc.undo, "")
	}
}

// The history is bounded by steps and by bytes, and what is left works.
func TestBounds(t *testing.T) {
	few := bounds{steps: 20, slack: 5, lines: 100, bytes: 20_000}
	t.Run("steps", func(t *testing.T) {
		f := open(t, t.TempDir())
		f.bounds = few
		write(t, f, "still.yaml", "still", "still")
		n := 3*few.steps + 1
		for i := range n {
			write(t, f, "a.yaml", fmt.Sprint(i), fmt.Sprint("to ", i))
		}
		h, err := f.History([]string{"a.yaml"})
		if err != nil || len(h.Undo) < few.steps || len(h.Undo) > few.steps+few.slack {
			t.Fatal(len(h.Undo), err)
		}
		sizes, _, err := f.versions()
		if err != nil || len(sizes) > few.steps+few.slack+2 {
			t.Fatalf("%d contents kept, %v", len(sizes), err)
		}
		g := open(t, f.Path())
		for range len(h.Undo) {
			if _, _, err := g.Undo([]string{"a.yaml"}, ""); err != nil {
				t.Fatal(err)
			}
		}
		s, err := g.Read("a.yaml")
		if err != nil || string(s.Data) != fmt.Sprint(n-1-len(h.Undo)) {
			t.Fatalf("%q, %v", s.Data, err)
		}
		g.bounds = few
		// The file that was left alone is still known: an outside edit of it
		// is a step and can be undone.
		outside(t, g, "still.yaml", "theirs")
		if _, _, err := g.Undo([]string{"still.yaml"}, ""); err != nil {
			t.Fatal(err)
		}
		holds(t, g, "still.yaml", "still")
	})
	t.Run("bytes", func(t *testing.T) {
		f := open(t, t.TempDir())
		f.bounds = few
		big := strings.Repeat("#", 1000)
		for i := range 70 {
			write(t, f, "a.yaml", fmt.Sprintf("%04d%s", i, big), "")
		}
		_, total, err := f.versions()
		if err != nil || total > few.bytes || total < few.bytes-2004 {
			t.Fatal(total, err)
		}
		h, err := f.History([]string{"a.yaml"})
		if err != nil || len(h.Undo) != int(few.bytes/1004)-1 {
			t.Fatal(len(h.Undo), err)
		}
	})
	t.Run("a long drag", func(t *testing.T) {
		f := open(t, t.TempDir())
		f.bounds = few
		s := write(t, f, "a.yaml", "first", "first")
		var err error
		for i := range 2 * few.lines {
			if s, err = f.Write("a.yaml", fmt.Append(nil, i), s.Version, Why{What: "drag", Gather: "height"}); err != nil {
				t.Fatal(err)
			}
		}
		history(t, f, []string{"a.yaml"}, "drag, first", "")
		text, err := os.ReadFile(filepath.Join(f.Path(), journalName))
		if err != nil || bytes.Count(text, []byte("\n")) > few.lines {
			t.Fatalf("%d lines", bytes.Count(text, []byte("\n")))
		}
		if _, _, err := f.Undo([]string{"a.yaml"}, ""); err != nil {
			t.Fatal(err)
		}
		holds(t, f, "a.yaml", "first")
	})
}

// A copy of an earlier version that was spoiled is not given out.
func TestSpoiledVersion(t *testing.T) {
	f := open(t, t.TempDir())
	one := write(t, f, "a.yaml", "1", "one")
	write(t, f, "a.yaml", "2", "two")
	outside(t, f, versionsName+"/"+string(one.Version), "spoiled")
	if _, _, err := f.Undo([]string{"a.yaml"}, ""); err == nil || !strings.Contains(err.Error(), "spoiled") {
		t.Fatal(err)
	}
	holds(t, f, "a.yaml", "2")
}

// The maker may take the hidden folder away at any time: the history begins anew.
func TestHiddenFolderTakenAway(t *testing.T) {
	f := open(t, t.TempDir())
	write(t, f, "a.yaml", "1", "one")
	if err := os.RemoveAll(filepath.Join(f.Path(), hidden)); err != nil {
		t.Fatal(err)
	}
	history(t, f, []string{"a.yaml"}, "", "")
	write(t, f, "a.yaml", "2", "two")
	history(t, f, []string{"a.yaml"}, "two", "")
	if _, _, err := f.Undo([]string{"a.yaml"}, ""); err != nil {
		t.Fatal(err)
	}
	holds(t, f, "a.yaml", "1")
}

func FuzzJournal(f *testing.F) {
	_, text := madeJournal(f)
	f.Add(text)
	f.Add(text[:len(text)/2])
	f.Add([]byte("00000000 {}\n"))
	for _, body := range []string{
		`{"id":1,"did":"step","files":[{"name":"../a.yaml","after":"00112233445566778899aabbccddeeff"}]}`,
		`{"id":1,"did":"step","files":[{"name":"a.yaml","after":"../../x"}]}`,
		`{"id":9,"did":"step","gathers":9,"files":[{"name":"a.yaml","after":"00112233445566778899aabbccddeeff"}]}`,
		`{"id":2,"did":"undo","of":2,"files":[{"name":"a.yaml","before":"00112233445566778899aabbccddeeff"}]}`,
	} {
		f.Add([]byte(body))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		check := func(j *journal) {
			for _, r := range j.finished() {
				if !r.valid() {
					t.Fatalf("%+v was taken in", r)
				}
			}
			undo, redo := replay(j.finished(), []string{"a.yaml", "shop.yaml"})
			for _, e := range append(undo, redo...) {
				if len(e.turn) == 0 {
					t.Fatalf("an empty step: %+v", e)
				}
			}
		}
		check(parse(data))
		// The same as the body of a line with its checksum right, which chance
		// would not find.
		var lines []byte
		for body := range bytes.SplitSeq(data, []byte("\n")) {
			_, rest, ok := bytes.Cut(body, []byte(" "))
			if ok && len(rest) > 0 && rest[0] == '{' {
				body = rest
			}
			lines = append(lines, sealed(body)...)
		}
		j := parse(lines)
		check(j)
		// What is read and written again is read the same.
		for _, r := range j.finished() {
			line, err := r.line()
			if err != nil {
				t.Fatal(err)
			}
			if back, ok := parseLine(bytes.TrimSuffix(line, []byte("\n"))); len(line) <= maxLine && (!ok || !reflect.DeepEqual(back.Files, r.Files) || back.What != r.What) {
				t.Fatalf("%+v became %+v", r, back)
			}
		}
	})
}
