package check_test

import (
	"fmt"
	"strings"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/given"
	"groundwork/internal/plan"
	"groundwork/internal/shop"
)

// standText is a small stand: a top on two upright boards.
const standText = `groundwork: 1
name: small-stand
use: stand
sizes: finished
veneer: {use: walnut, order: faces first}
filament: abs
members:
  top:
    board: {rectangle: {length: 200 mm, width: 150 mm}, thickness: 20 mm}
    at: [0, 0, 120]
  side-board:
    board: {rectangle: {length: 120 mm, width: 120 mm}, thickness: 20 mm}
    at: [60, 0, 60]
    axes: {x: +y, y: +z}
    mirror: x
joints:
  - {between: [top, side-board], kind: knock-down, screw: M4, through: top, screws: 2}
`

// one is the first finding of a code that is as grave as least, and false if
// there is none.
func one(pl *plan.Plan, code string, least finding.Severity) (finding.Finding, bool) {
	for _, f := range pl.Findings {
		if f.Code == code && f.Severity >= least {
			return f, true
		}
	}
	return finding.Finding{}, false
}

// A remedy that is told as changes of the files clears its finding when they are
// made and the piece is planned again, and no stop comes in its place.
func TestChangesClear(t *testing.T) {
	k := kernel(t)
	example := func(swaps ...string) string {
		text := standText
		for i := 0; i < len(swaps); i += 2 {
			if strings.Count(text, swaps[i]) != 1 {
				t.Fatalf("%q stands there %d times", swaps[i], strings.Count(text, swaps[i]))
			}
			text = strings.Replace(text, swaps[i], swaps[i+1], 1)
		}
		return text
	}
	const screwed, two = "kind: knock-down,", "  side-board:\n"
	oak, _, _ := strings.Cut(example("use: walnut", "use: oak"), "joints:")
	for _, tt := range []struct {
		name, text, code string
		least            finding.Severity
		changes          int
	}{
		{"filament of the piece", example("filament: abs", "filament: pla"), "heat", finding.Warning, 1},
		{"filament of the piece and of a member", example("filament: abs", "filament: pla", "  top:\n", "  top:\n    filament: pla\n"), "heat", finding.Warning, 2},
		{"filament of a member with copies", example(two, two+"    filament: petg\n"), "heat", finding.Warning, 1},
		{"balance", example("order: faces first", "order: faces first, balance: false") + "surfaces:\n  - {on: top, surface: back, show: hidden}\n", "unbalanced", finding.Warning, 1},
		{"veneer under a screw", example(screwed, screwed+" contact: through,"), "veneer-under-screw", finding.Stop, 1},
		{"veneer under a screw, core sizes", example(screwed, screwed+" contact: through,", "sizes: finished", "sizes: core"), "veneer-under-screw", finding.Stop, 1},
		{"a veneer too thick for a post", oak + "  post:\n    turning: {cylinder: {diameter: 40 mm, length: 100 mm}}\n    at: [0, 0, 20]\n", "bend-radius", finding.Stop, 1},
		{"a veneer too thick by a rule", oak + "  post:\n    turning: {cylinder: {diameter: 40 mm, length: 100 mm}}\n    at: [0, 0, 20]\nsurfaces:\n  - {on: post, surface: ends, show: bare}\n  - {on: post, surface: edges, veneer: oak}\n", "bend-radius", finding.Stop, 1},
		{"a veneer near too thick", oak + "  post:\n    turning: {cylinder: {diameter: 56 mm, length: 100 mm}}\n    at: [0, 0, 20]\n    veneer: oak\n", "bend-radius-near", finding.Warning, 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			before := planned(t, k, "piece.yaml", tt.text, nil)
			f, ok := one(before, tt.code, tt.least)
			if !ok || len(f.Changes) != tt.changes {
				t.Fatalf("%v with %v, want %d changes", f, f.Changes, tt.changes)
			}
			text := []byte(tt.text)
			var err error
			for _, c := range f.Changes {
				if c.Document != finding.PieceFile {
					t.Fatalf("a change of %s", c.Document)
				}
				if text, err = given.Edit(text, c.Pointer, c.Value); err != nil {
					t.Fatal(err)
				}
			}
			after := planned(t, k, "piece.yaml", string(text), nil)
			if still, ok := one(after, tt.code, tt.least); ok {
				t.Errorf("%v is still there after %v", still, f.Changes)
			}
			stops := func(pl *plan.Plan) string {
				var out []string
				for _, f := range pl.Findings {
					if f.Severity == finding.Stop && f.Code != tt.code {
						out = append(out, fmt.Sprint(f))
					}
				}
				return strings.Join(out, "\n")
			}
			if b, a := stops(before), stops(after); a != b {
				t.Errorf("stops before:\n%s\nafter %v:\n%s", b, f.Changes, a)
			}
		})
	}
}

// Where the shop has nothing that stands the heat, or a value must be measured
// first, there is nothing to click.
func TestNoChanges(t *testing.T) {
	k := kernel(t)
	pl := planned(t, k, "piece.yaml", standText, func(s *shop.Shop) {
		for i := range s.Filaments {
			s.Filaments[i].HDT = 60 + float64(i)
		}
	})
	f, ok := one(pl, "heat", finding.Warning)
	if !ok || f.Changes != nil {
		t.Errorf("%v with %v", f, f.Changes)
	}
	for _, f := range pl.Findings {
		if f.Changes != nil {
			t.Errorf("%v with %v", f, f.Changes)
		}
	}
}
