package whole

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

var letters = Folder{Marker: "list.txt", Holds: "letters"}

// tree is every file below a folder, with what is in it.
func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(name)
		rel, _ := filepath.Rel(dir, name)
		out[filepath.ToSlash(rel)] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestWholeOrAsItWas(t *testing.T) {
	first := []File{{"list.txt", []byte("1")}, {"a/b.txt", []byte("2")}}
	second := []File{{"list.txt", []byte("3")}}
	parent := t.TempDir()
	dir := filepath.Join(parent, "deep", "box")
	if err := letters.Write(dir, false, first); err != nil {
		t.Fatal(err)
	}
	if err := letters.Write(dir, false, second); !errors.Is(err, fs.ErrExist) {
		t.Errorf("over what is there: %v", err)
	}
	if err := letters.Write(dir, true, []File{{"list.txt", nil}, {"../out.txt", nil}}); err == nil {
		t.Error("a name outside the folder was written")
	}
	if err := letters.Write(dir, true, []File{{"list.txt", nil}, {"list.txt/no.txt", nil}}); err == nil {
		t.Error("a file that is a folder was written")
	}
	if got := tree(t, parent); len(got) != 2 || got["deep/box/list.txt"] != "1" || got["deep/box/a/b.txt"] != "2" {
		t.Errorf("after what was refused: %v", got)
	}
	if err := letters.Write(dir, true, second); err != nil {
		t.Fatal(err)
	}
	if got := tree(t, parent); len(got) != 1 || got["deep/box/list.txt"] != "3" {
		t.Errorf("after it was replaced: %v", got)
	}
}

func TestOtherThingsAreLeftAlone(t *testing.T) {
	dir := t.TempDir()
	if err := letters.Ready(dir, false); err != nil {
		t.Errorf("an empty folder: %v", err)
	}
	if err := os.WriteFile(filepath.Join(dir, "mine.txt"), []byte("x"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := letters.Write(dir, true, []File{{"list.txt", nil}}); err == nil || errors.Is(err, fs.ErrExist) {
		t.Errorf("over other things: %v", err)
	}
	if err := letters.Write(filepath.Join(dir, "mine.txt", "box"), true, nil); err == nil {
		t.Error("below a file")
	}
	var names []string
	entries, _ := os.ReadDir(dir)
	for _, e := range entries {
		names = append(names, e.Name())
	}
	if !slices.Equal(names, []string{"mine.txt"}) {
		t.Errorf("left over: %v", names)
	}
}
