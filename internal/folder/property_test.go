package folder

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"testing"

	"pgregory.net/rapid"
)

// model is a folder as one would keep it on paper: what the files hold, what
// was seen of them, and two stacks of steps.
type model struct {
	disk, seen map[string]string // "" is no file
	past, back []map[string][2]string
}

// notice puts an outside edit of the file on the stack.
func (m *model) notice(name string) {
	if was, is := m.seen[name], m.disk[name]; was != is {
		if was != "" {
			m.past, m.back = append(m.past, map[string][2]string{name: {was, is}}), nil
		}
		m.seen[name] = is
	}
}

func (m *model) set(name, to string) { m.disk[name], m.seen[name] = to, to }

// Random writes of one and several files, undos, redos, outside edits and
// reopenings do to the folder what they do to the model.
func TestFolderIsItsModel(t *testing.T) {
	files := []string{"a.yaml", "a.marks.yaml", "shop.yaml"}
	rapid.Check(t, func(t *rapid.T) {
		dir, err := os.MkdirTemp("", "folder")
		if err != nil {
			t.Fatal(err)
		}
		defer os.RemoveAll(dir)
		tell := clock()
		f, err := Open(dir, tell)
		if err != nil {
			t.Fatal(err)
		}
		f.sync = unflushed
		defer func() { f.Close() }()
		m := model{disk: map[string]string{}, seen: map[string]string{}}
		content := rapid.SampledFrom([]string{"1", "2", "3", "4", "5"})
		t.Repeat(map[string]func(*rapid.T){
			"save": func(t *rapid.T) {
				names := rapid.Permutation(files).Draw(t, "files")[:rapid.IntRange(1, 3).Draw(t, "n")]
				var edits []Edit
				step := map[string][2]string{}
				for _, name := range names {
					m.notice(name)
					to, base := content.Draw(t, "content"), Version("")
					if was := m.disk[name]; was != "" {
						base = VersionOf([]byte(was))
					}
					edits = append(edits, Edit{name, []byte(to), base})
					if was := m.disk[name]; was != to {
						step[name] = [2]string{was, to}
					}
				}
				if _, err := f.Save(edits, Why{What: "saved"}); err != nil {
					t.Fatal(err)
				}
				for name, c := range step {
					m.set(name, c[1])
				}
				if len(step) > 0 {
					m.past, m.back = append(m.past, step), nil
				}
			},
			"stale": func(t *rapid.T) {
				name := rapid.SampledFrom(files).Draw(t, "file")
				if _, err := f.Write(name, []byte("9"), VersionOf([]byte("never")), Why{}); !errors.Is(err, ErrStale) {
					t.Fatal(err)
				}
				m.notice(name)
			},
			"outside": func(t *rapid.T) {
				name, to := rapid.SampledFrom(files).Draw(t, "file"), content.Draw(t, "content")
				if m.seen[name] == "" && m.disk[name] == "" {
					t.Skip("not there")
				}
				if err := os.WriteFile(filepath.Join(dir, name), []byte(to), 0o644); err != nil {
					t.Fatal(err)
				}
				m.disk[name] = to
			},
			"undo": func(t *rapid.T) {
				for _, name := range files {
					m.notice(name)
				}
				_, _, err := f.Undo(files, "")
				if len(m.past) == 0 {
					if !errors.Is(err, ErrNothing) {
						t.Fatal(err)
					}
					return
				}
				if err != nil {
					t.Fatal(err)
				}
				step := m.past[len(m.past)-1]
				m.past, m.back = m.past[:len(m.past)-1], append(m.back, step)
				for name, c := range step {
					m.set(name, c[0])
				}
			},
			"redo": func(t *rapid.T) {
				for _, name := range files {
					m.notice(name)
				}
				_, _, err := f.Redo(files, "")
				if len(m.back) == 0 {
					if !errors.Is(err, ErrNothing) {
						t.Fatal(err)
					}
					return
				}
				if err != nil {
					t.Fatal(err)
				}
				step := m.back[len(m.back)-1]
				m.back, m.past = m.back[:len(m.back)-1], append(m.past, step)
				for name, c := range step {
					m.set(name, c[1])
				}
			},
			"reopen": func(t *rapid.T) {
				f.Close()
				if f, err = Open(dir, tell); err != nil {
					t.Fatal(err)
				}
				f.sync = unflushed
			},
			"": func(t *rapid.T) {
				for _, name := range files {
					s, err := f.Read(name)
					if want := m.disk[name]; string(s.Data) != want || (err == nil) != (want != "") {
						t.Fatalf("%s holds %q (%v), want %q", name, s.Data, err, want)
					}
				}
				h, err := f.History(files)
				if err != nil {
					t.Fatal(err)
				}
				// History tells outside edits that are not in yet.
				told := model{maps.Clone(m.disk), maps.Clone(m.seen), m.past[:len(m.past):len(m.past)], m.back}
				for _, name := range files {
					told.notice(name)
				}
				if len(h.Undo) != len(told.past) || len(h.Redo) != len(told.back) {
					t.Fatalf("%d steps to undo and %d to redo, want %d and %d", len(h.Undo), len(h.Redo), len(told.past), len(told.back))
				}
				for i, s := range h.Undo {
					if want := told.past[len(told.past)-1-i]; len(s.Files) != len(want) {
						t.Fatalf("step %d changed %v, want %v", i, s.Files, want)
					}
				}
			},
		})
	})
}

// What was never seen and changed outside cannot be brought back; the model
// starts a file where it is first seen, and so must the folder.
func TestFirstSeen(t *testing.T) {
	f := open(t, t.TempDir())
	for i := range 3 {
		outside(t, f, "a.yaml", fmt.Sprint(i))
	}
	if _, _, err := f.Undo([]string{"a.yaml"}, ""); !errors.Is(err, ErrNothing) {
		t.Fatal(err)
	}
	holds(t, f, "a.yaml", "2")
}
