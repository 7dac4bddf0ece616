package folder

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"
	"time"
)

// clock is a clock that a test winds: it goes on by a second whenever it is
// looked at.
func clock() func() time.Time {
	t := time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)
	return func() time.Time { t = t.Add(time.Second); return t }
}

// unflushed is for tests that no loss of power can reach.
func unflushed(*os.File) error { return nil }

func open(t *testing.T, dir string) *Folder {
	t.Helper()
	f, err := Open(dir, clock())
	if err != nil {
		t.Fatal(err)
	}
	f.sync = unflushed
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

func TestNames(t *testing.T) {
	good := []string{"stool.yaml", "My table 2.yml", "a.marks.yaml", "Nußbaum.jpg", "x.PNG", "console.yaml", "com10.yaml", "lpt.stl", "com.yaml", "a..b.obj", "-.3mf"}
	for _, name := range good {
		if err := CheckName(name); err != nil {
			t.Error(err)
		}
	}
	bad := map[string]string{
		"":                                 "empty",
		"a/b.yaml":                         "another folder",
		"../a.yaml":                        "another folder",
		`a\b.yaml`:                         "another folder",
		"..":                               "hides",
		".groundwork":                      "hides",
		".a.yaml":                          "hides",
		" a.yaml":                          "space",
		"a.yaml ":                          "space",
		"a.yaml.":                          "full stop",
		"c:a.yaml":                         "not every system",
		"a?.yaml":                          "not every system",
		"a\x00.yaml":                       "cannot be seen",
		"a\n.yaml":                         "cannot be seen",
		"a\u202elmay.yaml":                 "cannot be seen", // turns the reading order round
		"a\xff.yaml":                       "UTF-8",
		"con.yaml":                         "Windows",
		"NUL.marks.yaml":                   "Windows",
		"Com1.yaml":                        "Windows",
		"lpt².stl":                         "Windows",
		"conin$.yaml":                      "Windows",
		"aux .yaml":                        "Windows",
		"a":                                "ending",
		"a.exe":                            "ending",
		"yaml":                             "ending",
		strings.Repeat("a", 196) + ".yaml": "longer",
	}
	for name, want := range bad {
		err := CheckName(name)
		if !errors.Is(err, ErrName) || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", name, err, want)
		}
	}
	// Nothing that takes a name takes a bad one.
	f := open(t, t.TempDir())
	for name := range bad {
		_, err1 := f.Read(name)
		_, err2 := f.Write(name, nil, "", Why{})
		_, err3 := f.Create(name, nil, "")
		_, err4 := f.WriteFrom(name, strings.NewReader(""), 1, "", "")
		_, err5 := f.OpenFile(name)
		_, err6 := f.History([]string{name})
		_, _, err7 := f.Undo([]string{name}, "")
		for i, err := range []error{err1, err2, err3, err4, err5, err6, err7} {
			if !errors.Is(err, ErrName) {
				t.Errorf("%q, call %d: %v", name, i+1, err)
			}
		}
	}
	if entries, _ := os.ReadDir(f.Path()); len(entries) != 0 {
		t.Errorf("%v was written", entries)
	}
}

func TestList(t *testing.T) {
	dir, far := t.TempDir(), t.TempDir()
	f := open(t, dir)
	for name, text := range map[string]string{
		"b.yaml":       "groundwork: 1\nmembers:\n  top: {}\n",
		"broken.yaml":  "members: [\nparameters: }\n", // still known for what it is
		"braces.yaml":  "{groundwork: 1, members: {}}",
		"shop.yaml":    "# printers\n\"printers\": []\n",
		"note.yaml":    "a: {members: 1}\nb:\n  members: 2\n",
		"empty.yaml":   "\n",
		"b.marks.yaml": "groundwork: 1\n",
		"big.yaml":     strings.Repeat("#", 1<<20+1),
		"oak.JPG":      "x",
		"leg.stl":      "x",
		"read.me":      "x",
		".hid.yaml":    "members:",
		"Leg.stl":      "x",
		"con.yaml":     "members:",
	} {
		outside(t, f, name, text)
	}
	if err := os.Mkdir(filepath.Join(dir, "d.yaml"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(far, "secret.yaml"), []byte("members:"), 0o644); err != nil {
		t.Fatal(err)
	}
	for name, to := range map[string]string{"out.yaml": filepath.Join(far, "secret.yaml"), "up.yaml": "../" + filepath.Base(far) + "/secret.yaml", "in.yaml": "b.yaml", "gone.yaml": "nothing.yaml"} {
		if err := os.Symlink(to, filepath.Join(dir, name)); err != nil {
			t.Fatal(err)
		}
	}
	got, err := f.List()
	if err != nil {
		t.Fatal(err)
	}
	want := []struct {
		name  string
		kind  Kind
		fault string
	}{
		{"Leg.stl", Solid, ""},
		{"b.marks.yaml", Marks, ""},
		{"b.yaml", Piece, ""},
		{"big.yaml", Other, "larger than"},
		{"braces.yaml", Piece, ""},
		{"broken.yaml", Piece, ""},
		{"con.yaml", Other, "Windows"},
		{"empty.yaml", Other, "empty"},
		{"gone.yaml", Other, "cannot be reached"},
		{"in.yaml", Piece, ""},
		{"leg.stl", Solid, "capitals"},
		{"note.yaml", Other, "neither"},
		{"oak.JPG", Photograph, ""},
		{"out.yaml", Other, "leads out"},
		{"shop.yaml", Shop, ""},
		{"up.yaml", Other, "leads out"},
	}
	if len(got) != len(want) {
		t.Fatalf("%v", got)
	}
	for i, w := range want {
		g := got[i]
		if g.Name != w.name || g.Kind != w.kind || (g.Fault == "") != (w.fault == "") || !strings.Contains(g.Fault, w.fault) {
			t.Errorf("%+v, want %v", g, w)
		}
	}
	for _, name := range []string{"out.yaml", "up.yaml"} {
		if s, err := f.Read(name); err == nil {
			t.Errorf("%s was read: %q", name, s.Data)
		}
	}
	if s, err := f.Write("up.yaml", []byte("x"), "", Why{}); err == nil {
		t.Errorf("wrote over a link out of the folder: %v", s)
	}
	if data, _ := os.ReadFile(filepath.Join(far, "secret.yaml")); string(data) != "members:" {
		t.Errorf("the file outside holds %q", data)
	}
}

func TestStale(t *testing.T) {
	f := open(t, t.TempDir())
	one := write(t, f, "a.yaml", "1", "one")
	outside(t, f, "a.yaml", "2")
	_, err := f.Write("a.yaml", []byte("3"), one.Version, Why{What: "three"})
	var stale *StaleError
	if !errors.As(err, &stale) || len(stale.Current) != 1 || string(stale.Current[0].Data) != "2" || stale.Current[0].Version != VersionOf([]byte("2")) {
		t.Fatalf("%v", err)
	}
	// Of two files of one change one is stale: neither is written.
	_, err = f.Save([]Edit{{"b.yaml", []byte("b"), ""}, {"a.yaml", []byte("3"), one.Version}}, Why{})
	if !errors.Is(err, ErrStale) {
		t.Fatal(err)
	}
	holds(t, f, "a.yaml", "2")
	holds(t, f, "b.yaml", "")
	// A file that must not be there, but is.
	if _, err := f.Write("a.yaml", []byte("3"), "", Why{}); !errors.Is(err, ErrStale) {
		t.Fatal(err)
	}
	if _, err := f.Create("a.yaml", []byte("3"), ""); !errors.Is(err, ErrExists) {
		t.Fatal(err)
	}
	if _, err := f.Create("A.yaml", []byte("3"), ""); !errors.Is(err, ErrName) {
		t.Fatal(err)
	}
	// Writing what is there is no step.
	write(t, f, "a.yaml", "2", "nothing new")
	history(t, f, []string{"a.yaml"}, "changed outside, one", "")
	if _, err := f.Write("a.yaml", make([]byte, 1<<20+1), stale.Current[0].Version, Why{}); !errors.Is(err, ErrTooLarge) {
		t.Fatal(err)
	}
}

// An edit by another program is never lost, not even one made before we ever
// wrote the file, and neither is a file that was taken away.
func TestOutsideIsKept(t *testing.T) {
	f := open(t, t.TempDir())
	set := []string{"a.yaml"}
	outside(t, f, "a.yaml", "theirs")
	write(t, f, "a.yaml", "ours", "ours")
	if err := os.Remove(filepath.Join(f.Path(), "a.yaml")); err != nil {
		t.Fatal(err)
	}
	history(t, f, set, "changed outside, ours", "")
	for _, want := range []string{"ours", "theirs"} {
		if _, _, err := f.Undo(set, ""); err != nil {
			t.Fatal(err)
		}
		holds(t, f, "a.yaml", want)
	}
	history(t, f, set, "", "ours, changed outside")
	for _, want := range []string{"ours", ""} {
		if _, _, err := f.Redo(set, ""); err != nil {
			t.Fatal(err)
		}
		holds(t, f, "a.yaml", want)
	}
	// Somebody makes it anew: that is where it begins now, but what it was
	// before is still there to be had.
	outside(t, f, "a.yaml", "new")
	if _, _, err := f.Undo(set, ""); err == nil {
		t.Fatal("undid past a file that is new")
	}
	holds(t, f, "a.yaml", "new")
}

func TestGather(t *testing.T) {
	f := open(t, t.TempDir())
	set := []string{"a.yaml", "b.yaml"}
	drag := func(name, text, key, what string) {
		t.Helper()
		base := Version("")
		if s, err := f.Read(name); err == nil {
			base = s.Version
		}
		if _, err := f.Write(name, []byte(text), base, Why{What: what, Gather: key}); err != nil {
			t.Fatal(err)
		}
	}
	write(t, f, "a.yaml", "0", "made")
	for _, h := range []string{"1", "2", "3"} {
		drag("a.yaml", h, "height", "height 0 to "+h)
	}
	history(t, f, set, "height 0 to 3, made", "")
	drag("a.yaml", "0", "height", "height 0 to 0") // back where it began: nothing to undo
	history(t, f, set, "made", "")
	drag("a.yaml", "3", "height", "height 0 to 3")
	history(t, f, set, "height 0 to 3, made", "")
	write(t, f, "b.yaml", "b", "other file")
	drag("a.yaml", "4", "height", "height 0 to 4") // nothing was done to a.yaml in between
	drag("a.yaml", "5", "depth", "depth")
	drag("a.yaml", "6", "height", "height again")
	history(t, f, set, "height again, depth, other file, height 0 to 4, made", "")
	if _, _, err := f.Undo(set, ""); err != nil {
		t.Fatal(err)
	}
	drag("a.yaml", "7", "height", "after undo") // not gathered into what was undone
	history(t, f, set, "after undo, depth, other file, height 0 to 4, made", "")
	g := open(t, f.Path())
	f = g
	drag("a.yaml", "8", "height", "next run")
	history(t, f, set, "next run, after undo, depth, other file, height 0 to 4, made", "")
	for _, want := range []string{"7", "5", "4", "4", "0", ""} {
		if _, _, err := f.Undo(set, ""); err != nil {
			t.Fatal(err)
		}
		holds(t, f, "a.yaml", want)
	}
}

// Two pieces share a shop. A step from one piece's page that changed the shop
// too is undone from the other's, and each file comes back once.
func TestSharedShop(t *testing.T) {
	f := open(t, t.TempDir())
	save := func(what string, to ...string) {
		t.Helper()
		var edits []Edit
		for i := 0; i < len(to); i += 2 {
			s, _ := f.Read(to[i])
			edits = append(edits, Edit{to[i], []byte(to[i+1]), s.Version})
		}
		if _, err := f.Save(edits, Why{What: what}); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"a.yaml", "b.yaml", "shop.yaml"} {
		if _, err := f.Create(name, []byte("0"), ""); err != nil {
			t.Fatal(err)
		}
	}
	a, b := []string{"a.yaml", "shop.yaml"}, []string{"b.yaml", "shop.yaml"}
	save("both", "b.yaml", "1", "shop.yaml", "1")
	history(t, f, a, "both", "")
	save("b alone", "b.yaml", "2")
	// From a: the shop comes back, b.yaml has gone on and stays.
	if _, states, err := f.Undo(a, ""); err != nil || len(states) != 1 || states[0].Name != "shop.yaml" {
		t.Fatal(states, err)
	}
	holds(t, f, "b.yaml", "2")
	holds(t, f, "shop.yaml", "0")
	history(t, f, a, "", "both")
	history(t, f, b, "b alone, both", "both")
	for _, want := range []string{"1", "0"} {
		if _, _, err := f.Undo(b, ""); err != nil {
			t.Fatal(err)
		}
		holds(t, f, "b.yaml", want)
		holds(t, f, "shop.yaml", "0")
	}
	if _, _, err := f.Redo(b, ""); err != nil {
		t.Fatal(err)
	}
	holds(t, f, "b.yaml", "1")
	history(t, f, a, "", "both")
	if _, _, err := f.Redo(a, ""); err != nil {
		t.Fatal(err)
	}
	holds(t, f, "shop.yaml", "1")
	history(t, f, b, "both", "b alone")
}

func TestWriteFrom(t *testing.T) {
	f := open(t, t.TempDir())
	v, err := f.WriteFrom("oak.jpg", strings.NewReader("picture"), 7, "", "me")
	if err != nil || v != VersionOf([]byte("picture")) {
		t.Fatal(v, err)
	}
	if _, err := f.WriteFrom("oak.jpg", strings.NewReader("picture"), 7, "", "me"); err != nil {
		t.Errorf("the same again: %v", err)
	}
	if _, err := f.WriteFrom("oak.jpg", strings.NewReader("another"), 7, "", "me"); !errors.Is(err, ErrExists) {
		t.Errorf("another over it: %v", err)
	}
	if _, err := f.WriteFrom("oak.jpg", strings.NewReader("another"), 7, VersionOf(nil), "me"); !errors.Is(err, ErrStale) {
		t.Errorf("another over what it is not: %v", err)
	}
	if _, err := f.WriteFrom("oak.jpg", strings.NewReader("pictures"), 7, v, "me"); !errors.Is(err, ErrTooLarge) {
		t.Errorf("one byte too many: %v", err)
	}
	if _, err := f.WriteFrom("a.yaml", strings.NewReader("a: 1"), 7, "", "me"); !errors.Is(err, ErrName) {
		t.Errorf("a text: %v", err)
	}
	if _, err := f.WriteFrom("OAK.jpg", strings.NewReader("x"), 7, "", "me"); !errors.Is(err, ErrName) {
		t.Errorf("a clash: %v", err)
	}
	broken := iotest.ErrReader(errors.New("cable pulled"))
	if _, err := f.WriteFrom("ash.jpg", io.MultiReader(strings.NewReader("x"), broken), 7, "", "me"); err == nil || !strings.Contains(err.Error(), "cable") {
		t.Errorf("a broken stream: %v", err)
	}
	if _, err := f.WriteFrom("oak.jpg", strings.NewReader("another"), 7, v, "me"); err != nil {
		t.Error(err)
	}
	file, err := f.OpenFile("oak.jpg")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	if data, _ := io.ReadAll(file); string(data) != "another" {
		t.Errorf("%q", data)
	}
	var names []string
	entries, _ := os.ReadDir(f.Path())
	for _, e := range entries {
		names = append(names, e.Name())
	}
	if got := strings.Join(names, " "); got != ".groundwork oak.jpg" {
		t.Errorf("left behind: %s", got)
	}
}

// A file keeps its permissions, and what a dead program left is swept once it
// is a day old.
func TestModeAndSweep(t *testing.T) {
	f := open(t, t.TempDir())
	outside(t, f, "a.yaml", "1")
	if err := os.Chmod(filepath.Join(f.Path(), "a.yaml"), 0o600); err != nil {
		t.Fatal(err)
	}
	write(t, f, "a.yaml", "2", "")
	if info, _ := os.Stat(filepath.Join(f.Path(), "a.yaml")); info.Mode().Perm() != 0o600 {
		t.Errorf("permissions became %v", info.Mode())
	}
	now := clock()()
	for name, age := range map[string]time.Duration{".a.yaml.1-1.part": 25 * time.Hour, ".a.yaml.1-2.part": time.Hour, ".mine": 25 * time.Hour} {
		outside(t, f, name, "x")
		if err := os.Chtimes(filepath.Join(f.Path(), name), now.Add(-age), now.Add(-age)); err != nil {
			t.Fatal(err)
		}
	}
	open(t, f.Path())
	for name, want := range map[string]bool{".a.yaml.1-1.part": false, ".a.yaml.1-2.part": true, ".mine": true} {
		if _, err := os.Stat(filepath.Join(f.Path(), name)); (err == nil) != want {
			t.Errorf("%s is there: %v", name, err == nil)
		}
	}
}

// A folder from elsewhere may have a link in the place of our hidden folder or
// of what is in it: nothing is written where it leads.
func TestHiddenFolderIsALink(t *testing.T) {
	for _, link := range []string{hidden, lockName, journalName, versionsName} {
		dir, far := t.TempDir(), t.TempDir()
		if link != hidden {
			if err := os.Mkdir(filepath.Join(dir, hidden), 0o755); err != nil {
				t.Fatal(err)
			}
		}
		to := far
		if link == lockName || link == journalName {
			to = filepath.Join(far, "file")
		}
		if err := os.Symlink(to, filepath.Join(dir, link)); err != nil {
			t.Fatal(err)
		}
		f := open(t, dir)
		outside(t, f, "a.yaml", "1")
		if _, err := f.Write("a.yaml", []byte("2"), VersionOf([]byte("1")), Why{}); err == nil {
			t.Errorf("%s leads out of the folder, and a file was written", link)
		}
		holds(t, f, "a.yaml", "1")
		if entries, _ := os.ReadDir(far); len(entries) != 0 {
			t.Errorf("%s: %v was written outside", link, entries)
		}
	}
}
