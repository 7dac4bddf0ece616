package check_test

import (
	"context"
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"

	"groundwork/examples"
	"groundwork/internal/check"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/stability"
)

// planned is a piece file taken through every stage with the example shop, changed
// by change.
func planned(t *testing.T, k *solid.Kernel, name, text string, change func(*shop.Shop)) *plan.Plan {
	t.Helper()
	doc, err := piece.Parse(name, []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	p, _, err := doc.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := examples.Shop()
	if err != nil {
		t.Fatal(err)
	}
	if change != nil {
		change(s)
	}
	pl, err := plan.Make(context.Background(), k, p, s, plan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return pl
}

func kernel(t *testing.T) *solid.Kernel {
	t.Helper()
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { k.Close() })
	return k
}

func example(t *testing.T, k *solid.Kernel, name string) *plan.Plan {
	t.Helper()
	text, err := examples.Files.ReadFile(name + ".yaml")
	if err != nil {
		t.Fatal(err)
	}
	return planned(t, k, name+".yaml", string(text), nil)
}

// promises are words that an estimate must not use.
var promises = regexp.MustCompile(`(?i)\b(safe|safely|safety|compl(y|ies|iant|iance)|certified|guarantee[sd]?|approved|passes|passed)\b`)

func sound(t *testing.T, r *check.Result) {
	t.Helper()
	for _, f := range r.Findings {
		if w := promises.FindString(f.Message + " " + f.Remedy); w != "" {
			t.Errorf("%q is said in: %s", w, f)
		}
		if f.Source == "" || f.Message == "" || f.Code == "" || f.Subject == "" || !strings.HasSuffix(f.Message, ".") && !strings.HasSuffix(f.Message, ").") {
			t.Errorf("unfinished: %+v", f)
		}
		if f.Severity > finding.Note && f.Remedy == "" {
			t.Errorf("no remedy: %s", f)
		}
		if strings.Contains(f.Message+f.Remedy, "NaN") || strings.Contains(f.Message+f.Remedy, "Inf") {
			t.Errorf("not a number: %s", f)
		}
		t.Log(f, "|", f.Source)
	}
}

func codes(r *check.Result) map[string]finding.Finding {
	out := map[string]finding.Finding{}
	for _, f := range r.Findings {
		out[f.Code] = f
	}
	return out
}

func TestExamples(t *testing.T) {
	k := kernel(t)
	for _, tt := range []struct {
		name  string
		sides int // of the support, at least
		want  []string
	}{
		{"heron-side-table", 4, []string{"edge-200", "edge-600", "lean", "heat", "estimate"}},
		{"otter-stool", 8, []string{"edge-of-seat", "lean", "heat"}},
		{"badger-bench", 4, []string{"edge-of-seat", "lean", "heat"}},
		{"tern-wall-shelf", 0, []string{"held", "heat", "lasting-heat"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			pl := example(t, k, tt.name)
			r := pl.Checks
			sound(t, r)
			has := codes(r)
			for _, c := range tt.want {
				if _, ok := has[c]; !ok {
					t.Errorf("no finding %q", c)
				}
			}
			if len(r.Support) < tt.sides || tt.sides == 0 && r.Support != nil {
				t.Errorf("support %v", r.Support)
			}
			box := geom.EmptyBox3()
			var printed float64
			for i, s := range pl.Cores.Segments {
				box, printed = box.Union(s.Bounds), printed+pl.Printing.Prints[i].Grams
			}
			if c := r.Center; !(c.X > box.Min.X && c.X < box.Max.X && c.Y > box.Min.Y && c.Y < box.Max.Y && c.Z > box.Min.Z && c.Z < box.Max.Z) {
				t.Errorf("centre of mass %v outside %v", c, box)
			}
			if want := printed + pl.Bill.VeneerMass + pl.Bill.HardwareMass; math.Abs(r.Mass-want) > 1e-6*want {
				t.Errorf("mass %.1f g, want %.1f", r.Mass, want)
			}
			for _, b := range r.Bows {
				if math.Abs(b.Length[1])+math.Abs(b.Width[1]) > 1e-6 {
					t.Logf("bow of %s: %.2f mm long, %.2f mm across", b.Board, b.Length[1], b.Width[1])
				}
			}
			t.Logf("mass %.0f g, centre %.1f, support %d sides, lean %.1f deg, push %.1f N", r.Mass, r.Center, len(r.Support), r.Standing.Lean*180/math.Pi, r.Standing.Push)
			for i, w := range r.Standing.Worst {
				t.Logf("%s: over %.0f, %.1f N, overhang %.1f mm, margin %.3f", r.Standing.Tests[i].ID, w.Edge, w.Force, w.Overhang, w.Margin)
			}
			if tt.sides == 0 {
				return
			}
			// By hand: F e + H h = W d about each side.
			w := r.Mass / 1000 * 9.80665
			test := r.Standing.Tests[len(r.Standing.Tests)-1]
			for _, tip := range r.Tips {
				n := tip.Edge[1].Sub(tip.Edge[0]).Right().Unit()
				d, e := tip.Edge[0].Sub(r.Center.XY()).Dot(n), tip.Load.XY().Sub(tip.Edge[0]).Dot(n)
				if e > 0 && tip.Force > 0 && math.Abs(tip.Force*e+test.Out*tip.Load.Z-w*d) > 1e-6*w*d {
					t.Errorf("about %v it tips at %.2f N, by hand %.2f", tip.Edge, tip.Force, (w*d-test.Out*tip.Load.Z)/e)
				}
			}
		})
	}
}

// A block of 150 by 80 mm with a smaller one on it, both printed alike: its
// support is the lower one, and its centre of mass lies on the axis that they
// share.
const box = `groundwork: 1
name: box
use: other
sizes: core
filament: abs
members:
  a:
    board: {rectangle: {length: 150 mm, width: 80 mm}, thickness: 20 mm}
  b:
    board: {rectangle: {length: 60 mm, width: 80 mm}, thickness: 20 mm}
    at: [0, 0, 20]
surfaces:
  - {on: "*", surface: "*", show: bare}
`

func TestSupportAndCentreOfABlock(t *testing.T) {
	r := planned(t, kernel(t), "box.yaml", box, nil).Checks
	sound(t, r)
	if math.Abs(r.Support.Area()-150*80) > 30 {
		t.Errorf("support %v", r.Support)
	}
	if math.Abs(r.Center.X) > 1 || math.Abs(r.Center.Y) > 1 || r.Center.Z < 10 || r.Center.Z > 20 {
		t.Errorf("centre %v", r.Center)
	}
	if want := math.Atan(40 / r.Center.Z); math.Abs(r.Standing.Lean-want) > 0.03 {
		t.Errorf("slope %.3f rad, want %.3f", r.Standing.Lean, want)
	}
	if r.Standing.Stance != stability.Stands || len(r.Tips) != 0 {
		t.Errorf("%s, %d tips", r.Standing.Stance, len(r.Tips))
	}
}

// Raised off the floor nothing stands; hung by a surface that is not asked.
func TestNothingReachesTheFloor(t *testing.T) {
	k := kernel(t)
	raised := strings.Replace(strings.Replace(box, "thickness: 20 mm}\n  b:", "thickness: 20 mm}\n    at: [0, 0, 100]\n  b:", 1), "at: [0, 0, 20]", "at: [0, 0, 120]", 1)
	r := planned(t, k, "raised.yaml", raised, nil).Checks
	if f := codes(r)["no-support"]; f.Severity != finding.Warning || !strings.Contains(f.Message, "100.0 mm") {
		t.Errorf("%v", f)
	}
	r = planned(t, k, "raised.yaml", strings.Replace(raised, "use: other", "use: table", 1), nil).Checks
	if f := codes(r)["no-support"]; f.Severity != finding.Stop {
		t.Errorf("%v", f)
	}
	r = planned(t, k, "hung.yaml", raised+"held:\n  - {on: a, surface: back}\n", nil).Checks
	if _, ok := codes(r)["held"]; !ok || r.Support != nil || r.Standing.Stance != "" {
		t.Errorf("%v", r.Findings)
	}
}

// A post under the end of a plank: the plank's centre lies beside its foot.
func TestFallsOver(t *testing.T) {
	const text = `groundwork: 1
name: gallows
use: table
sizes: core
filament: abs
members:
  post:
    board: {rectangle: {length: 100 mm, width: 100 mm}, thickness: 100 mm}
  arm:
    board: {rectangle: {length: 600 mm, width: 100 mm}, thickness: 24 mm}
    at: [250, 0, 100]
surfaces:
  - {on: "*", surface: "*", show: bare}
`
	r := planned(t, kernel(t), "gallows.yaml", text, nil).Checks
	sound(t, r)
	if f := codes(r)["falls-over"]; f.Severity != finding.Stop || !strings.Contains(f.Message, "to the right") || !strings.Contains(f.Remedy, "mm farther") {
		t.Errorf("%v", f)
	}
}

// A board with veneer on one face only bows; the same with veneer on both does
// not.
func TestOneSidedBoardBows(t *testing.T) {
	k := kernel(t)
	const text = `groundwork: 1
name: panel
use: other
sizes: core
filament: abs
veneer: {use: walnut}
members:
  panel:
    board: {rectangle: {length: 400 mm, width: 300 mm}, thickness: 10 mm}
surfaces:
  - {on: panel, surface: back, show: bare}
`
	pl := planned(t, k, "panel.yaml", text, nil)
	sound(t, pl.Checks)
	f := codes(pl.Checks)["bow"]
	if f.Severity != finding.Warning || len(pl.Checks.Bows) != 1 {
		t.Fatalf("%v, %v", f, pl.Checks.Bows)
	}
	b := pl.Checks.Bows[0]
	if b.Width[0] >= 0 || math.Abs(b.Width[0]) < math.Abs(b.Length[1]) {
		t.Errorf("grain along 400 mm: bow %+v", b)
	}
	both := strings.Replace(text, "show: bare", "show: show", 1)
	pl = planned(t, k, "panel.yaml", both, nil)
	if _, ok := codes(pl.Checks)["bow"]; ok || len(pl.Checks.Bows) != 1 || math.Abs(pl.Checks.Bows[0].Width[1]) > 1e-6 {
		t.Errorf("both faces veneered: %v", pl.Checks.Bows)
	}
}

func TestHeatOfWhatIsPrinted(t *testing.T) {
	k := kernel(t)
	pl := planned(t, k, "box.yaml", strings.Replace(box, "filament: abs", "filament: pla", 1), nil)
	if f := codes(pl.Checks)["heat"]; f.Severity != finding.Warning || f.Subject != "pla" || !strings.Contains(f.Remedy, "asa") {
		t.Errorf("%v", f)
	}
	pl = planned(t, k, "box.yaml", strings.Replace(box, "filament: abs", "filament: pla", 1), func(s *shop.Shop) { s.Filaments = s.Filaments[1:2] })
	if f := codes(pl.Checks)["heat"]; !strings.Contains(f.Remedy, "data sheet") {
		t.Errorf("%v", f)
	}
}

// Loads of the piece file tip too: 40 kg at the end of a plank on two feet.
func TestOwnLoadTips(t *testing.T) {
	k := kernel(t)
	text := strings.Replace(box, "  b:\n    board: {rectangle: {length: 60 mm, width: 80 mm}", "  b:\n    board: {rectangle: {length: 400 mm, width: 80 mm}", 1) + `loads:
  - {name: a vase, on: b, surface: face, at: [180 mm, 0], across: 20 mm, mass: 4 kg}
`
	r := planned(t, k, "box.yaml", text, nil).Checks
	f := codes(r)["own-load"]
	if f.Severity != finding.Warning || !strings.Contains(f.Message, "a vase") {
		t.Fatalf("%v", f)
	}
	// 4 kg x 105 mm overturn, the piece's mass x 75 mm holds.
	if m := r.Mass * (75 - r.Center.X) / (4000 * 105); m >= 1 || !strings.Contains(f.Message, fmt.Sprintf("margin of %.2f.", math.Floor(m*100)/100)) {
		t.Errorf("margin by hand %.3f: %s", m, f.Message)
	}
}
