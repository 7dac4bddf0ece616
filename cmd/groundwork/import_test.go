package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A job's piece.3mf comes back as a piece file that plans, from another folder;
// a file that is there is left alone; a changed solid is told of.
func TestImport(t *testing.T) {
	dir := t.TempDir()
	pieceFile, shopFile := write(t, dir, "test-trestle.yaml", trestle), write(t, dir, "shop.yaml", shopText(t))
	jobDir := filepath.Join(dir, "job")
	if status, _, stderr := invoke(t, "plan", pieceFile, "--shop", shopFile, "--out", jobDir); status != planned {
		t.Fatal(stderr)
	}
	solids := filepath.Join(jobDir, "piece.3mf")
	again := filepath.Join(dir, "pieces", "again.yaml")
	status, stdout, stderr := invoke(t, "import", solids, "--out", again, "--use", "stand")
	if status != planned {
		t.Fatalf("status %d: %s%s", status, stdout, stderr)
	}
	text, err := os.ReadFile(again)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`file: "../job/piece.3mf"`, "top:", "side:", "places:", "between: [side, top], kind: knock-down", "# a board 22 mm thick, 240 by 120 mm"} {
		if !strings.Contains(string(text), want) {
			t.Errorf("the piece file lacks %q:\n%s", want, text)
		}
	}
	if status, _, stderr := invoke(t, "plan", again, "--shop", shopFile, "--out", filepath.Join(dir, "job-again")); status != planned {
		t.Errorf("it does not plan: %s", stderr)
	}
	if status, _, stderr := invoke(t, "import", solids, "--out", again); status != badInput || !strings.Contains(stderr, "--replace") {
		t.Errorf("status %d, %q: a piece file that is there must be left alone", status, stderr)
	}
	// The same solids saved with another title are another file.
	changed := strings.Replace(trestle, "title: Test trestle", "title: Other trestle", 1)
	if status, _, stderr := invoke(t, "plan", write(t, dir, "other.yaml", changed), "--shop", shopFile, "--out", jobDir, "--replace"); status != planned {
		t.Fatal(stderr)
	}
	status, stdout, stderr = invoke(t, "check", again, "--shop", shopFile)
	if status != planned || !strings.Contains(stdout, "is not the file that the piece was made with") {
		t.Errorf("status %d: nothing tells that the file changed: %s%s", status, stdout, stderr)
	}
}

func TestImportOfBadFiles(t *testing.T) {
	dir := t.TempDir()
	open := "solid tray\n"
	for _, f := range []string{"0 0 0 100 0 0 100 100 0", "0 0 0 100 100 0 0 100 0", "0 0 0 0 0 50 100 0 50"} {
		v := strings.Fields(f)
		open += "facet normal 0 0 0\nouter loop\n"
		for i := 0; i < 9; i += 3 {
			open += "vertex " + strings.Join(v[i:i+3], " ") + "\n"
		}
		open += "endloop\nendfacet\n"
	}
	open += "endsolid tray\n"
	for _, c := range []struct {
		name   string
		args   []string
		status int
		say    string
	}{
		{"no file", []string{filepath.Join(dir, "none.stl")}, badInput, "there is no file"},
		{"no mesh", []string{write(t, dir, "notes.stl", "hello")}, badInput, "notes.stl"},
		{"open", []string{write(t, dir, "tray.stl", open), "--unit", "mm"}, badInput, "nothing was written"},
		{"no unit of that name", []string{write(t, dir, "tray2.stl", open), "--unit", "ell"}, badInput, "ell"},
	} {
		t.Run(c.name, func(t *testing.T) {
			out := filepath.Join(dir, "out-"+strings.ReplaceAll(c.name, " ", "-")+".yaml")
			status, stdout, stderr := invoke(t, append([]string{"import", "--out", out}, c.args...)...)
			if status != c.status || !strings.Contains(stdout+stderr, c.say) {
				t.Errorf("status %d, want %d with %q: %s%s", status, c.status, c.say, stdout, stderr)
			}
			if _, err := os.Stat(out); err == nil {
				t.Error("a file was left behind")
			}
		})
	}
	if status, _, stderr := invoke(t, "import", "x.stl", "--out", filepath.Join(dir, "My Piece.yaml")); status != badInput || !strings.Contains(stderr, "my-stool.yaml") {
		t.Errorf("status %d: %s", status, stderr)
	}
}
