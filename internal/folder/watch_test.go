package folder

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// next is the next change told, or a failure once far more time is over than
// anything should take.
func next(t *testing.T, from <-chan Change) Change {
	t.Helper()
	select {
	case c, ok := <-from:
		if !ok {
			t.Fatal("the channel is closed")
		}
		return c
	case <-time.After(20 * time.Second):
		t.Fatal("no change was told")
	}
	return Change{}
}

func TestWatch(t *testing.T) {
	dir := t.TempDir()
	f, other := open(t, dir), open(t, dir)
	for name, text := range map[string]string{"a.yaml": "1", "gone.yaml": "g", "oak.jpg": "p"} {
		outside(t, f, name, text)
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	told := f.Watch(ctx)
	is := func(name, text, who string) {
		t.Helper()
		want := Change{name, VersionOf([]byte(text)), who}
		if text == "" {
			want.Version = ""
		}
		if got := next(t, told); got != want {
			t.Fatalf("%+v was told, want %+v", got, want)
		}
	}
	write(t, f, "a.yaml", "2", "two")
	is("a.yaml", "2", "me")
	write(t, other, "a.yaml", "3", "three") // another program of ours: who is in the journal
	is("a.yaml", "3", "me")
	outside(t, f, "a.yaml", "4") // same size, perhaps the same time
	is("a.yaml", "4", "")
	outside(t, f, "a.yaml", "5")
	is("a.yaml", "5", "")
	// Each was taken in as it was noticed, so each can be had again.
	history(t, f, []string{"a.yaml"}, "changed outside, changed outside, three, two", "")
	if _, _, err := f.Undo([]string{"a.yaml"}, "window"); err != nil {
		t.Fatal(err)
	}
	is("a.yaml", "4", "window")
	if err := os.Remove(filepath.Join(dir, "gone.yaml")); err != nil {
		t.Fatal(err)
	}
	is("gone.yaml", "", "")
	if _, _, err := f.Undo([]string{"gone.yaml"}, "window"); err != nil { // seen when watching began
		t.Fatal(err)
	}
	is("gone.yaml", "g", "window")
	if _, err := f.WriteFrom("ash.jpg", strings.NewReader("ash"), 9, "", "window"); err != nil {
		t.Fatal(err)
	}
	is("ash.jpg", "ash", "window")
	outside(t, f, "oak.jpg", "q")
	is("oak.jpg", "q", "")
	// An editor that saves by renaming, as most do.
	outside(t, f, "a.tmp", "6")
	if err := os.Rename(filepath.Join(dir, "a.tmp"), filepath.Join(dir, "a.yaml")); err != nil {
		t.Fatal(err)
	}
	is("a.yaml", "6", "")
	outside(t, f, ".hidden.yaml", "x")
	outside(t, f, "notes.txt", "x")
	outside(t, f, "new.yaml", "n")
	is("new.yaml", "n", "")
	// A big file is told too, though it was not read before.
	cancel()
	for range told { // closed at the end
	}
	big := strings.Repeat("x", watchSmall+1)
	outside(t, f, "leg.stl", big)
	ctx2, cancel2 := context.WithCancel(context.Background())
	defer cancel2()
	told = f.Watch(ctx2)
	outside(t, f, "leg.stl", big+"y")
	is("leg.stl", big+"y", "")
}

// What a program empties before it writes it anew is not told as empty; what
// stays empty is.
func TestWatchEmptied(t *testing.T) {
	f := open(t, t.TempDir())
	outside(t, f, "a.yaml", "1")
	outside(t, f, "stays.yaml", "s")
	was := f.scan(nil)
	f.notice(names(was))
	look := func(what string, want ...Change) {
		t.Helper()
		now := f.scan(was)
		if got := f.differences(was, now); !slices.Equal(got, want) {
			t.Errorf("%s: %+v, want %+v", what, got, want)
		}
		was = now
	}
	none := VersionOf(nil)
	for _, name := range []string{"a.yaml", "new.yaml", "stays.yaml"} {
		outside(t, f, name, "")
	}
	look("just emptied")
	outside(t, f, "a.yaml", "2")
	outside(t, f, "new.yaml", "n")
	look("written", Change{Name: "a.yaml", Version: VersionOf([]byte("2"))}, Change{Name: "new.yaml", Version: VersionOf([]byte("n"))}, Change{Name: "stays.yaml", Version: none})
	look("nothing since")
	outside(t, f, "stays.yaml", "")
	look("as empty as before")
	outside(t, f, "born.yaml", "")
	look("a new one")
	if err := os.Remove(filepath.Join(f.Path(), "born.yaml")); err != nil {
		t.Fatal(err)
	}
	look("gone before it was anything")
	outside(t, f, "a.yaml", "")
	look("emptied again")
	outside(t, f, "a.yaml", "2")
	look("the same text again")
	history(t, f, []string{"a.yaml"}, "changed outside", "")
}

// Whoever is slow is told the last state, and nobody waits for him.
func TestSlowWatcher(t *testing.T) {
	f := open(t, t.TempDir())
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	told := f.Watch(ctx)
	const n = 50
	for i := range n {
		write(t, f, "a.yaml", fmt.Sprint(i), "")
	}
	last := VersionOf([]byte(fmt.Sprint(n - 1)))
	for next(t, told).Version != last {
	}
}
