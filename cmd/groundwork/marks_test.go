package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestMarksBesideThePieceAreFollowed: a knot marked on a sheet moves what is
// laid there, a faulty file ends the command, and both can be waived.
func TestMarksBesideThePieceAreFollowed(t *testing.T) {
	dir := t.TempDir()
	p, s := write(t, dir, "trestle.yaml", trestle), write(t, dir, "shop.yaml", shopText(t))
	planned := func(name string, flags ...string) string {
		t.Helper()
		to := filepath.Join(dir, name)
		status, _, stderr := invoke(t, append([]string{"plan", p, "--shop", s, "--out", to}, flags...)...)
		if status != 0 {
			t.Fatalf("%s: status %d: %s", name, status, stderr)
		}
		b, err := os.ReadFile(filepath.Join(to, "plan.json"))
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	plain := planned("plain")
	knot := write(t, dir, "trestle.marks.yaml", "groundwork: 1\nreserved:\n  - {sheet: walnut-1, at: [0, 0], size: [300 mm, 300 mm], what: knot}\n")
	if planned("knot") == plain {
		t.Error("a knot where veneer lay changes nothing")
	}
	if planned("waived", "--no-marks") != plain {
		t.Error("--no-marks gives another job than no marks")
	}
	other := write(t, dir, "other.yaml", "groundwork: 1\n")
	if planned("named", "--marks", other) != plain {
		t.Error("a marks file that is named does not take the place of the one beside the piece")
	}
	if err := os.WriteFile(knot, []byte("groundwork: 1\nreserved: here\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		flags []string
		says  string
	}{
		{nil, "trestle.marks.yaml:2"},
		{[]string{"--marks", filepath.Join(dir, "none.yaml")}, "none.yaml"},
		{[]string{"--marks", other, "--no-marks"}, "do not go together"},
	} {
		to := filepath.Join(dir, "bad")
		status, _, stderr := invoke(t, append([]string{"plan", p, "--shop", s, "--out", to}, tt.flags...)...)
		if status != badInput || !strings.Contains(stderr, tt.says) {
			t.Errorf("%v: status %d, want %d, and stderr with %q: %s", tt.flags, status, badInput, tt.says, stderr)
		}
		if _, err := os.Stat(to); err == nil {
			t.Errorf("%v: it left a folder", tt.flags)
		}
	}
}
