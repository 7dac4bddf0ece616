package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"groundwork/examples"
	"groundwork/internal/job"
	"groundwork/internal/specimen"
)

// invoke runs the program in a fresh folder and returns its status and what it
// wrote to its two streams.
func invoke(t *testing.T, args ...string) (status int, stdout, stderr string) {
	t.Helper()
	dir := t.TempDir()
	open := func(name string) *os.File {
		f, err := os.Create(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	out, errs := open("out"), open("err")
	status = run(args, out, errs)
	read := func(f *os.File) string {
		name := f.Name()
		f.Close()
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	return status, read(out), read(errs)
}

// trestle is a small piece that can be made, for tests to spoil.
const trestle = specimen.Trestle

func write(t *testing.T, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func shopText(t *testing.T) string {
	t.Helper()
	b, err := examples.Files.ReadFile("shop.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestPlanWritesTheJob(t *testing.T) {
	dir := t.TempDir()
	piece, shop := write(t, dir, "piece.yaml", trestle), write(t, dir, "shop.yaml", shopText(t))
	out := filepath.Join(dir, "job")
	status, stdout, stderr := invoke(t, "plan", piece, "--shop", shop, "--out", out)
	if status != planned {
		t.Fatalf("status %d\n%s\n%s", status, stdout, stderr)
	}
	b, err := os.ReadFile(filepath.Join(out, "plan.json"))
	if err != nil {
		t.Fatal(err)
	}
	var d job.Document
	if err := json.Unmarshal(b, &d); err != nil {
		t.Fatal(err)
	}
	if d.Piece.Name != "test-trestle" || len(d.Members) != 3 {
		t.Errorf("piece %q with %d members", d.Piece.Name, len(d.Members))
	}
	if !strings.Contains(stdout, "The job is in "+out) {
		t.Errorf("it does not say where the job is:\n%s", stdout)
	}
	if status, _, stderr := invoke(t, "plan", piece, "--shop", shop, "--out", out); status != badInput || !strings.Contains(stderr, "--replace") {
		t.Errorf("over an old job: status %d, %s", status, stderr)
	}
	if status, _, stderr := invoke(t, "plan", piece, "--shop", shop, "--out", out, "--replace", "--set", "wide=300mm"); status != planned {
		t.Errorf("with another width: status %d, %s", status, stderr)
	}
	c, _ := os.ReadFile(filepath.Join(out, "plan.json"))
	if string(c) == string(b) {
		t.Error("another width gave the same plan")
	}
	if status, _, stderr := invoke(t, "plan", piece, "--shop", shop, "--out", filepath.Join(dir, "waited"), "--nest-time", "500ms"); status != planned {
		t.Errorf("with time for nesting: status %d, %s", status, stderr)
	}
	if status, _, stderr := invoke(t, "plan", piece, "--shop", shop, "--out", filepath.Join(dir, "never"), "--nest-time=-1s"); status != badInput || !strings.Contains(stderr, "negative") {
		t.Errorf("with less than no time: status %d, %s", status, stderr)
	}
	for _, set := range []string{"wide=3 furlongs", "width=300mm", "wide=900mm"} {
		if status, _, stderr := invoke(t, "plan", piece, "--shop", shop, "--out", out, "--replace", "--set", set); status != badInput || !strings.Contains(stderr, strings.Split(set, "=")[0]) {
			t.Errorf("--set %s: status %d, %s", set, status, stderr)
		}
	}
	if again, _ := os.ReadFile(filepath.Join(out, "plan.json")); string(again) != string(c) {
		t.Error("a plan that failed touched the job")
	}
}

// Every way in which a maker goes wrong names the place and the remedy, and
// leaves nothing behind.
func TestBadInput(t *testing.T) {
	line := func(text, mark string) string { // file:line of the line that holds mark
		i := strings.Index(text, mark)
		if i < 0 {
			t.Fatalf("no %q", mark)
		}
		return ":" + strings.TrimSpace(strings.Join([]string{itoa(strings.Count(text[:i], "\n") + 1)}, ""))
	}
	for _, tt := range []struct {
		name             string
		piece, shop      [2]string // what is replaced by what
		status           int
		where, says, fix string // the place (a line's text, or a name), a word of the fault, a word of the remedy
	}{
		{name: "unknown key", piece: [2]string{"thickness: 22 mm}\n    at: [0, 0, 150 mm]", "thicknes: 22 mm}\n    at: [0, 0, 150 mm]"}, status: badInput, where: "thicknes: 22", says: "thicknes", fix: "thickness"},
		{name: "wrong unit", piece: [2]string{"width: 120 mm", "width: 120 stone"}, status: badInput, where: "120 stone", says: "stone", fix: "mm"},
		{name: "cyclic expression", piece: [2]string{"value: 240 mm, min: 200 mm, max: 400 mm", "value: = top.length"}, status: badInput, where: "value: = top.length", says: "wide", fix: ""},
		{name: "zero thickness", piece: [2]string{"width: 150 mm}, thickness: 22 mm", "width: 150 mm}, thickness: 0 mm"}, status: badInput, where: "thickness: 0 mm", says: "thickness", fix: ""},
		{name: "self-crossing outline", piece: [2]string{"rectangle: {length: = wide, width: 120 mm}", `path: "M0 0 L100 100 L100 0 L0 100 Z"`}, status: badInput, where: "M0 0 L100", says: "cross", fix: ""},
		{name: "no such file", status: badInput, piece: [2]string{"*", "missing"}, where: "no-such-piece.yaml", says: "no such file", fix: ""},
		{name: "printer too small in every pose", shop: [2]string{"build: [220 mm, 220 mm, 250 mm]", "build: [30 mm, 30 mm, 30 mm]"}, status: mustAlter, where: "side-1", says: "printer", fix: "printer"},
		{name: "contact too small for its screw", piece: [2]string{"width: 150 mm}, thickness: 22 mm", "width: 150 mm}, thickness: 12 mm"}, status: mustAlter, where: "piece.yaml", says: "M5", fix: "Remedy"},
		{name: "band radius below the limit", piece: [2]string{"width: 120 mm}", "width: 120 mm, corner: 10 mm}"}, status: mustAlter, where: "top/edge-1", says: "radius", fix: "grain"},
		{name: "bed smaller than a leaf", shop: [2]string{"bed: [600 mm, 400 mm]", "bed: [90 mm, 60 mm]"}, status: mustAlter, where: "top", says: "larger", fix: "Remedy"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			piece, shop := trestle, shopText(t)
			if tt.piece[0] != "" && tt.piece[0] != "*" {
				if !strings.Contains(piece, tt.piece[0]) {
					t.Fatalf("the piece has no %q", tt.piece[0])
				}
				piece = strings.Replace(piece, tt.piece[0], tt.piece[1], 1)
			}
			if tt.shop[0] != "" {
				if !strings.Contains(shop, tt.shop[0]) {
					t.Fatalf("the shop has no %q", tt.shop[0])
				}
				shop = strings.ReplaceAll(shop, tt.shop[0], tt.shop[1])
			}
			file := write(t, dir, "piece.yaml", piece)
			if tt.piece[0] == "*" {
				file = filepath.Join(dir, "no-such-piece.yaml")
			}
			out := filepath.Join(dir, "deep", "job")
			status, stdout, stderr := invoke(t, "plan", file, "--shop", write(t, dir, "shop.yaml", shop), "--out", out)
			said := stdout + stderr
			if status != tt.status {
				t.Errorf("status %d, want %d\n%s", status, tt.status, said)
			}
			where := tt.where
			if tt.status == badInput && tt.piece[0] != "*" {
				where = "piece.yaml" + line(piece, tt.where)
			}
			for _, word := range []string{where, tt.says, tt.fix} {
				if !strings.Contains(said, word) {
					t.Errorf("it does not say %q:\n%s", word, said)
				}
			}
			if _, err := os.Stat(filepath.Join(dir, "deep")); !os.IsNotExist(err) {
				t.Error("something was left behind")
			}
		})
	}
}

func itoa(n int) string {
	b, _ := json.Marshal(n)
	return string(b)
}

func TestNew(t *testing.T) {
	dir := t.TempDir()
	status, stdout, stderr := invoke(t, "new", "otter-stool", "--dir", dir)
	if status != planned || !strings.Contains(stdout, "groundwork plan") {
		t.Fatalf("status %d\n%s%s", status, stdout, stderr)
	}
	if status, stdout, stderr = invoke(t, "check", filepath.Join(dir, "otter-stool.yaml"), "--shop", filepath.Join(dir, "shop.yaml")); status != planned {
		t.Errorf("what new wrote does not check: status %d\n%s%s", status, stdout, stderr)
	}
	if status, _, stderr = invoke(t, "new", "otter-stool", "--dir", dir); status != badInput || !strings.Contains(stderr, "is there already") {
		t.Errorf("over the old one: status %d, %s", status, stderr)
	}
	if status, _, stderr = invoke(t, "new", "my-stool", "--from", "otter-stool", "--dir", dir); status != planned {
		t.Errorf("under a name of one's own: status %d, %s", status, stderr)
	}
	if b, _ := os.ReadFile(filepath.Join(dir, "my-stool.yaml")); !strings.Contains(string(b), "\nname: my-stool\n") {
		t.Error("the copy keeps the old name")
	}
	for _, name := range []string{"nothing-like-it", "shop", "../escape"} {
		if status, _, stderr = invoke(t, "new", name, "--dir", dir); status != badInput || !strings.Contains(stderr, "otter-stool") {
			t.Errorf("new %s: status %d, %s", name, status, stderr)
		}
	}
	if status, _, stderr = invoke(t, "new", "../escape", "--from", "otter-stool", "--dir", dir); status != badInput {
		t.Errorf("a name that leaves the folder: status %d, %s", status, stderr)
	}
}

func TestSchemasHelpAndVersion(t *testing.T) {
	for _, which := range []string{"piece", "shop", "marks", "plan"} {
		status, stdout, _ := invoke(t, "schema", which)
		var v map[string]any
		if status != planned || json.Unmarshal([]byte(stdout), &v) != nil || v["$schema"] == nil {
			t.Errorf("schema %s: status %d", which, status)
		}
	}
	if status, stdout, _ := invoke(t, "--help"); status != planned || !strings.Contains(stdout, "groundwork new heron-side-table") {
		t.Errorf("help: status %d\n%s", status, stdout)
	}
	if status, stdout, _ := invoke(t, "version"); status != planned || !strings.HasPrefix(stdout, "groundwork ") {
		t.Errorf("version: status %d, %s", status, stdout)
	}
	for _, args := range [][]string{{"plan"}, {"fly"}, {"plan", "x.yaml", "--out", "y", "--shop"}, {"schema", "door"}} {
		if status, _, stderr := invoke(t, args...); status != badInput || stderr == "" {
			t.Errorf("%v: status %d, %q", args, status, stderr)
		}
	}
}
