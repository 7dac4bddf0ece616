package folder

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// body is a file of many lines that all say n, so that a half-written one or a
// mixture of two shows.
func body(n int) []byte { return bytes.Repeat(fmt.Appendf(nil, "n: %08d\n", n), 2000) }

// number reads a body, and is an error if it is not whole.
func number(data []byte) (int, error) {
	line, _, _ := bytes.Cut(data, []byte("\n"))
	n, err := strconv.Atoi(strings.TrimPrefix(string(line), "n: "))
	if err != nil || !bytes.Equal(data, body(n)) {
		return 0, fmt.Errorf("%d bytes beginning %q are not whole", len(data), line)
	}
	return n, nil
}

// TestMain runs the child of TestKilled if the test binary is called as one.
func TestMain(m *testing.M) {
	if dir := os.Getenv("FOLDER_TEST_CHILD"); dir != "" {
		child(dir)
	}
	os.Exit(m.Run())
}

// child writes two files as one step again and again, undoing and doing again
// some, and tells each number once it is acknowledged. It never ends by itself
// but when nobody listens.
func child(dir string) {
	die := func(err error) {
		if err != nil {
			fmt.Println("failed:", err)
			os.Exit(1)
		}
	}
	f, err := Open(dir, time.Now)
	die(err)
	set := []string{"a.yaml", "shop.yaml"}
	if _, _, err := f.Undo([]string{"none.yaml"}, ""); !errors.Is(err, ErrNothing) { // finish what was broken off
		die(err)
	}
	a, err := f.Read(set[0])
	die(err)
	s, err := f.Read(set[1])
	die(err)
	n, err := number(a.Data)
	die(err)
	for {
		n++
		states, err := f.Save([]Edit{{set[0], body(n), a.Version}, {set[1], body(n), s.Version}}, Why{What: strconv.Itoa(n)})
		die(err)
		a, s = states[0], states[1]
		if n%3 == 0 {
			_, _, err = f.Undo(set, "")
			die(err)
			_, _, err = f.Redo(set, "")
			die(err)
		}
		if _, err := fmt.Println(n); err != nil {
			os.Exit(1)
		}
	}
}

// A program that is killed (SIGKILL) at any moment leaves whole files, and
// what it acknowledged is there.
func TestKilled(t *testing.T) {
	dir := t.TempDir()
	f := open(t, dir)
	set := []string{"a.yaml", "shop.yaml"}
	for _, name := range set {
		if _, err := f.Create(name, body(0), ""); err != nil {
			t.Fatal(err)
		}
	}
	f.Close()
	chance := rand.New(rand.NewPCG(1, 2))
	acked, split := 0, 0
	for kill := range 40 {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), "FOLDER_TEST_CHILD="+dir)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		// From its first acknowledgement on, so that it is killed while at work.
		lines := bufio.NewScanner(out)
		var timer *time.Timer
		for lines.Scan() {
			n, err := strconv.Atoi(lines.Text())
			if err != nil {
				t.Fatalf("kill %d: the child says %q", kill, lines.Text())
			}
			acked = n
			if timer == nil {
				timer = time.AfterFunc(time.Duration(chance.IntN(30_000))*time.Microsecond, func() { cmd.Process.Kill() })
			}
		}
		cmd.Wait()
		// As it stands on the disk, each file is whole.
		var raw []int
		for _, name := range set {
			data, err := os.ReadFile(filepath.Join(dir, name))
			if err != nil {
				t.Fatal(err)
			}
			n, err := number(data)
			if err != nil {
				t.Fatalf("kill %d: %s: %v", kill, name, err)
			}
			raw = append(raw, n)
		}
		if raw[0] != raw[1] {
			split++
		}
		// The next to write finds both files alike and nothing acknowledged lost.
		g, err := Open(dir, time.Now)
		if err != nil {
			t.Fatal(err)
		}
		if _, _, err := g.Undo([]string{"none.yaml"}, ""); !errors.Is(err, ErrNothing) {
			t.Fatal(err)
		}
		var both []int
		for _, name := range set {
			s, err := g.Read(name)
			if err != nil {
				t.Fatal(err)
			}
			n, err := number(s.Data)
			if err != nil {
				t.Fatal(err)
			}
			both = append(both, n)
		}
		// Undoing was not acknowledged by itself: a kill within undo and redo
		// may leave the number before.
		if both[0] != both[1] || both[0] < acked || both[0] > acked+1 {
			t.Fatalf("kill %d: files say %v, acknowledged was %d", kill, both, acked)
		}
		h, err := g.History(set)
		if err != nil || len(h.Undo) == 0 || h.Undo[0].What != strconv.Itoa(both[0]) {
			t.Fatalf("kill %d: the history does not lead to %v: %v %v", kill, both, h.Undo[:min(1, len(h.Undo))], err)
		}
		g.Close()
	}
	t.Logf("%d changes acknowledged, files differed after %d of 40 kills before they were looked at", acked, split)
}

// errDied is a death at a chosen place.
var errDied = errors.New("died")

// A program that dies before any single flush of the disk, one after another,
// leaves each change made or not made, in both files.
func TestDeathAtEveryFlush(t *testing.T) {
	set := []string{"a.yaml", "a.marks.yaml"}
	for _, what := range []string{"save", "undo", "redo"} {
		for at := 1; ; at++ {
			f := open(t, t.TempDir())
			f.bounds = bounds{steps: 1, slack: 0, lines: 1, bytes: 1 << 20} // shorten the journal too
			write(t, f, "a.yaml", "1", "one")
			before := map[string]string{"a.yaml": "1", "a.marks.yaml": ""}
			after := map[string]string{"a.yaml": "2", "a.marks.yaml": "m"}
			save := func() error {
				_, err := f.Save([]Edit{{"a.yaml", []byte("2"), VersionOf([]byte("1"))}, {"a.marks.yaml", []byte("m"), ""}}, Why{What: "two"})
				return err
			}
			undo := func() error { _, _, err := f.Undo(set, ""); return err }
			redo := func() error { _, _, err := f.Redo(set, ""); return err }
			var ready, do []func() error
			switch what {
			case "save":
				do = []func() error{save}
			case "undo":
				ready, do, before, after = []func() error{save}, []func() error{undo}, after, before
			case "redo":
				ready, do = []func() error{save, undo}, []func() error{redo}
			}
			f.bounds.steps = 10
			for _, r := range ready {
				if err := r(); err != nil {
					t.Fatal(err)
				}
			}
			flushes, died := 0, false
			f.sync = func(*os.File) error {
				if flushes++; flushes == at {
					panic(errDied)
				}
				return nil
			}
			func() {
				defer func() {
					if r := recover(); r != nil && r != errDied {
						panic(r)
					} else {
						died = r != nil
					}
				}()
				for _, d := range do {
					if err := d(); err != nil {
						t.Fatal(err)
					}
				}
			}()
			g := open(t, f.Path())
			if _, _, err := g.Undo([]string{"none.yaml"}, ""); !errors.Is(err, ErrNothing) {
				t.Fatal(err)
			}
			is := map[string]string{}
			for _, name := range set {
				s, _ := g.Read(name)
				is[name] = string(s.Data)
			}
			now := fmt.Sprint(is)
			if now != fmt.Sprint(after) && (!died || now != fmt.Sprint(before)) {
				t.Fatalf("%s, death at flush %d: %v", what, at, is)
			}
			h, err := g.History(set)
			if err != nil || strings.Contains(whats(h.Undo), outsideWhat) {
				t.Fatalf("%s, death at flush %d: %v %v", what, at, h, err)
			}
			if !died {
				if at < 6 {
					t.Fatalf("%s: only %d flushes", what, at-1)
				}
				break
			}
		}
	}
}

// If the disk refuses, the change is told as failed and nothing has changed,
// or it is made; never half of it.
func TestDiskRefuses(t *testing.T) {
	for at := 1; ; at++ {
		f := open(t, t.TempDir())
		write(t, f, "a.yaml", "1", "one")
		n := 0
		f.sync = func(*os.File) error {
			if n++; n == at {
				return errors.New("no space left")
			}
			return nil
		}
		_, err := f.Save([]Edit{{"a.yaml", []byte("2"), VersionOf([]byte("1"))}, {"b.yaml", []byte("b"), ""}}, Why{What: "two"})
		g := open(t, f.Path())
		if _, _, err := g.Undo([]string{"none.yaml"}, ""); !errors.Is(err, ErrNothing) {
			t.Fatal(err)
		}
		a, _ := g.Read("a.yaml")
		b, _ := g.Read("b.yaml")
		whole := string(a.Data) == "2" && string(b.Data) == "b"
		none := string(a.Data) == "1" && b.Version == ""
		if err == nil && !whole || !whole && !none {
			t.Fatalf("refused at flush %d: %v, but %q and %q", at, err, a.Data, b.Data)
		}
		for _, e := range mustList(t, f.Path()) {
			if strings.HasSuffix(e, partEnd) {
				t.Errorf("refused at flush %d: %s is left", at, e)
			}
		}
		if n < at {
			break
		}
	}
}

func mustList(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, e := range entries {
		out = append(out, e.Name())
	}
	return out
}

// Two programs count in one file, each adding one to what it finds. No count
// is lost, and readers see whole files all the time.
func TestTwoPrograms(t *testing.T) {
	dir := t.TempDir()
	first := open(t, dir)
	if _, err := first.Create("a.yaml", body(0), ""); err != nil {
		t.Fatal(err)
	}
	const each = 30
	var work, read sync.WaitGroup
	stop := make(chan struct{})
	read.Go(func() {
		for {
			select {
			case <-stop:
				return
			default:
			}
			s, err := first.Read("a.yaml")
			if err == nil {
				_, err = number(s.Data)
			}
			if err == nil {
				_, err = first.History([]string{"a.yaml"})
			}
			if err != nil {
				t.Error(err)
				return
			}
		}
	})
	for range 3 { // each with its own lock, as programs have
		f := open(t, dir)
		work.Go(func() {
			for range each {
				for {
					s, err := f.Read("a.yaml")
					if err != nil {
						t.Error(err)
						return
					}
					n, err := number(s.Data)
					if err != nil {
						t.Error(err)
						return
					}
					_, err = f.Write("a.yaml", body(n+1), s.Version, Why{What: "one more"})
					if err == nil {
						break
					}
					if !errors.Is(err, ErrStale) {
						t.Error(err)
						return
					}
				}
			}
		})
	}
	work.Wait()
	close(stop)
	read.Wait()
	s, err := first.Read("a.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if n, err := number(s.Data); n != 3*each || err != nil {
		t.Errorf("%d counted, want %d (%v)", n, 3*each, err)
	}
	h, err := first.History([]string{"a.yaml"})
	if err != nil || len(h.Undo) != 3*each {
		t.Errorf("%d steps, %v", len(h.Undo), err)
	}
}
