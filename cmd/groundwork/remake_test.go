package main

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"groundwork/internal/remake"

	"github.com/alecthomas/kong"
)

// askRemake runs the command by itself, and returns what it says and its error.
func askRemake(t *testing.T, args ...string) (string, error) {
	t.Helper()
	var c struct {
		Remake remakeCommand `cmd:""`
	}
	said, err := os.Create(filepath.Join(t.TempDir(), "said"))
	if err != nil {
		t.Fatal(err)
	}
	defer said.Close()
	parser, err := kong.New(&c, kong.BindTo(context.Background(), (*context.Context)(nil)), kong.Bind(&output{said, said}))
	if err != nil {
		t.Fatal(err)
	}
	k, err := parser.Parse(append([]string{"remake"}, args...))
	if err == nil {
		err = k.Run()
	}
	text, readErr := os.ReadFile(said.Name())
	if readErr != nil {
		t.Fatal(readErr)
	}
	return string(text), err
}

func TestRemake(t *testing.T) {
	dir := t.TempDir()
	piece, shop := write(t, dir, "piece.yaml", trestle), write(t, dir, "shop.yaml", shopText(t))
	job := filepath.Join(dir, "job")
	// A parameter other than that of the file, which the job remembers.
	if status, stdout, stderr := invoke(t, "plan", piece, "--shop", shop, "--out", job, "--set", "wide=9 1/4 in"); status != planned {
		t.Fatalf("status %d\n%s\n%s", status, stdout, stderr)
	}
	before := files(t, job)
	out := filepath.Join(dir, "again")
	with := []string{"--piece", piece, "--shop", shop, "--out", out}
	said, err := askRemake(t, append([]string{job, "side-1", "top/face"}, with...)...)
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	for _, want := range []string{"Print    1 part(s) on 1 load(s)", "Veneer   top/face on remake-blank-01, cut from walnut-1/offcut-", "remake.txt"} {
		if !strings.Contains(said, want) {
			t.Errorf("it does not say %q:\n%s", want, said)
		}
	}
	made := files(t, out)
	if made["core/segments/side-1.stl"] == "" || made["core/segments/side-1.stl"] != before["core/segments/side-1.stl"] {
		t.Error("the segment is not that of the job")
	}
	if after := files(t, job); len(after) != len(before) || after["plan.json"] != before["plan.json"] {
		t.Error("the job was touched")
	}
	if _, err := askRemake(t, append([]string{job, "side-1"}, with...)...); !errors.Is(err, fs.ErrExist) || !strings.Contains(err.Error(), "--replace") {
		t.Errorf("over what is there: %v", err)
	}
	if said, err := askRemake(t, append([]string{job, "side-1", "--replace"}, with...)...); err != nil {
		t.Errorf("%v\n%s", err, said)
	} else if files(t, out)["veneer/remake-blank-01.svg"] != "" {
		t.Error("what was made before lies among what is made now")
	}

	fresh := filepath.Join(dir, "fresh")
	with[len(with)-1] = fresh
	if _, err := askRemake(t, append([]string{job, "side-9"}, with...)...); err == nil || !strings.Contains(err.Error(), "side-1") {
		t.Errorf("an ID of nothing: %v", err)
	}
	if _, err := askRemake(t, append([]string{dir, "side-1"}, with...)...); err == nil || !strings.Contains(err.Error(), "no job folder") {
		t.Errorf("no job: %v", err)
	}
	write(t, dir, "piece.yaml", strings.Replace(trestle, "thickness: 22 mm", "thickness: 21 mm", 1))
	var other *remake.RevisionError
	if _, err := askRemake(t, append([]string{job, "side-1"}, with...)...); !errors.As(err, &other) || !strings.Contains(err.Error(), "top") {
		t.Errorf("a piece that was changed: %v", err)
	}
	write(t, dir, "piece.yaml", strings.ReplaceAll(strings.Replace(trestle, "  wide: {", "  broad: {", 1), "= wide", "= broad"))
	if _, err := askRemake(t, append([]string{job, "side-1"}, with...)...); !errors.As(err, &other) || !strings.Contains(err.Error(), "the parameter wide is gone") {
		t.Errorf("a parameter that is gone: %v", err)
	}
	if _, err := os.Stat(fresh); !errors.Is(err, fs.ErrNotExist) {
		t.Error("something was written though nothing was made")
	}
}

// files are all files below a folder, by name.
func files(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := fs.WalkDir(os.DirFS(dir), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(filepath.Join(dir, name))
		out[name] = string(b)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}
