package plan

import (
	"context"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/solid"
)

func coded(fs []finding.Finding, code string) []finding.Finding {
	return slices.DeleteFunc(slices.Clone(fs), func(f finding.Finding) bool { return f.Code != code })
}

// What cannot stand, or falls apart, is told of by name. It is no error, and
// the rest of the job is planned.
func TestWhatDoesNotHoldIsFound(t *testing.T) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	const head = "groundwork: 1\nname: box\nuse: other\nsizes: core\nfilament: abs\nmembers:\n"
	board := func(name, size, at string) string {
		return "  " + name + ":\n    board: {rectangle: {" + size + "}, thickness: 20 mm}\n    at: " + at + "\n"
	}
	for _, tt := range []struct{ name, text, want string }{
		{"a member that touches nothing", head + board("a", "length: 150 mm, width: 80 mm", "[0, 0, 0]") + board("b", "length: 60 mm, width: 80 mm", "[0, 0, 90]"), "b"},
		{"a member that only rests, off its support", head + board("a", "length: 60 mm, width: 80 mm", "[0, 0, 0]") + board("b", "length: 150 mm, width: 80 mm", "[60, 0, 20]") + "joints:\n  - {between: [a, b], kind: rests}\n", "b"},
		{"nothing reaches the floor", head + board("a", "length: 150 mm, width: 80 mm", "[0, 0, 50]"), "a"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p, s := given(t, tt.text)
			pl, err := Make(context.Background(), k, p, s, Options{Strength: &StrengthOptions{Remedies: true}})
			if err != nil {
				t.Fatal(err)
			}
			found := coded(pl.Findings, "not-held")
			if len(found) == 0 || found[0].Severity == finding.Note || !strings.Contains(found[0].Message, tt.want) || found[0].Remedy == "" {
				t.Errorf("findings %v", pl.Findings)
			}
			if pl.Strength != nil || len(pl.Cores.Segments) == 0 {
				t.Errorf("strength %v, %d segments", pl.Strength, len(pl.Cores.Segments))
			}
		})
	}
}

// A shelf held at both ends sags too far under books. What is told to help is
// planned, and helps.
func TestRemediesHelpWhenTaken(t *testing.T) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	text := func(thickness string) string {
		return `groundwork: 1
name: box
use: other
sizes: core
filament: abs
members:
  shelf:
    board: {rectangle: {length: 500 mm, width: 120 mm}, thickness: ` + thickness + `}
    at: [0, 0, 300]
  side:
    board: {rectangle: {length: 120 mm, width: 60 mm}, thickness: 16 mm}
    at: [234, 0, 270]
    axes: {x: +y, y: +z}
    mirror: x
joints:
  - {between: [shelf, side], kind: glued, dowels: 2}
held:
  - {on: side, surface: face}
loads:
  - {name: books, on: shelf, surface: face, mass: 6 kg, sustained: true}
`
	}
	p, s := given(t, text("14 mm"))
	pl, err := Make(context.Background(), k, p, s, Options{Strength: &StrengthOptions{Remedies: true}})
	if err != nil {
		t.Fatal(err)
	}
	id := "own-1/shelf/sag-months"
	v, ok := pl.Strength.Verdict(id)
	if !ok || !v.Fails() {
		t.Fatalf("%+v does not fail: the test needs a weaker shelf", v)
	}
	var found []string
	for _, r := range pl.Remedies {
		if r.Verdict != id {
			continue
		}
		for _, x := range r.Found {
			found = append(found, x.Text)
			if x.Margin < 1 {
				t.Errorf("%s is told with a margin of %.2f", x.Text, x.Margin)
			}
		}
	}
	t.Logf("margin %.2f; %q", v.Margin, found)
	f := coded(pl.Findings, "sag-months-fails")
	if len(f) != 1 || len(found) == 0 || !strings.Contains(f[0].Remedy, found[0]) {
		t.Fatalf("findings %v, found %q", f, found)
	}
	at := slices.IndexFunc(found, func(s string) bool { return strings.Contains(s, "mm thick instead of 14.0 mm") })
	if at < 0 {
		t.Fatalf("no thickness among %q", found)
	}
	thicker := strings.Fields(found[at])[2] + " mm" // "make shelf 18.0 mm thick …"
	p, s = given(t, text(thicker))
	if pl, err = Make(context.Background(), k, p, s, Options{Strength: &StrengthOptions{}}); err != nil {
		t.Fatal(err)
	}
	if v, ok := pl.Strength.Verdict(id); ok && v.Fails() {
		t.Errorf("taken, it still fails: %.3g of %.3g %s", v.Value, v.Limit, v.Unit)
	}
	if pl.Remedies != nil {
		t.Error("remedies that were not asked for")
	}
}
