package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What stands in the marks file is followed as if it were given, and what is
// given takes its place.
func TestPlanFollowsChoices(t *testing.T) {
	dir := t.TempDir()
	read := func(name string) []byte {
		t.Helper()
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	put := func(name, text string) string {
		t.Helper()
		name = filepath.Join(dir, name)
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return name
	}
	piece := put("trestle.yaml", trestle)
	shopFile := put("shop.yaml", string(read("../../examples/shop.yaml")))
	notes := put("notes.txt", "Keep it dry.")
	say := func(args ...string) (string, int) {
		t.Helper()
		code, stdout, stderr := invoke(t, args...)
		return stdout + stderr, code
	}
	job := func(name string, more ...string) string {
		t.Helper()
		out := filepath.Join(dir, name)
		if text, code := say(append([]string{"plan", piece, "--shop", shopFile, "--out", out}, more...)...); code != 0 {
			t.Fatalf("%v: %d, %s", more, code, text)
		}
		return out
	}
	given := job("given", "--start", "2027-01-11", "--no-coupons", "--send", "cores", "--batch", "2,12", "--paper", "letter", "--maker", "Wren", "--licence", "own use", "--notes", notes, "--no-templates", "--inch")
	usual := job("usual")
	put("trestle.marks.yaml", `groundwork: 1
making: {start: 2027-01-11, coupons: measured, send: cores, batches: [2, 12]}
book: {paper: letter, maker: Wren, licence: own use, notes: Keep it dry., templates: without, inch: true}
`)
	marked := job("marked")
	other := job("other", "--maker", "Owl", "--send", "leaves")
	unmarked := job("unmarked", "--no-marks")
	same := func(a, b string) (differ []string) {
		t.Helper()
		for _, f := range []string{"book.pdf", "labels.pdf", "plan.json", "bill.csv", "calendar/calendar.csv", "kit/insert.txt"} {
			if !bytes.Equal(read(filepath.Join(a, f)), read(filepath.Join(b, f))) {
				differ = append(differ, f)
			}
		}
		return differ
	}
	if d := same(given, marked); d != nil {
		t.Errorf("given and marked are two things in %v", d)
	}
	if d := same(usual, unmarked); d != nil {
		t.Errorf("with --no-marks %v are not as usual", d)
	}
	if d := same(usual, marked); len(d) < 5 {
		t.Errorf("only %v are other than usual", d)
	}
	if b := read(filepath.Join(other, "plan.json")); !bytes.Contains(b, []byte(`"split": "leaves"`)) && !bytes.Contains(b, []byte(`"split":"leaves"`)) {
		t.Error("--send is not followed")
	}
	if b := read(filepath.Join(other, "book.pdf")); !bytes.Contains(b, []byte("Owl")) || bytes.Contains(b, []byte("(Wren)")) {
		t.Error("--maker is not followed")
	}
	for _, c := range []struct{ flag, value, want string }{
		{"--start", "2027-02-29", "--start"}, {"--start", "0001-01-01", "--start"}, {"--batch", "0", "--batch"}, {"--batch", "5,5", "--batch"},
		{"--maker", strings.Repeat("a", 201), "--maker"}, {"--send", "all", "--send"}, {"--paper", "a3", "--paper"},
	} {
		if text, code := say("plan", piece, "--shop", shopFile, "--out", filepath.Join(dir, "no"), c.flag, c.value); code == 0 || !strings.Contains(text, c.want) {
			t.Errorf("%s %.20s: %d, %s", c.flag, c.value, code, text)
		}
	}
}
