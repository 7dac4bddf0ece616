package piece

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"groundwork/internal/geom"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// Weights by hand: mass in kg times 9.80665 m/s² (CGPM 1901); 1 lb is
// 0.45359237 kg, so that 25 lbf are 111.2055403815125 N.
func TestLoads(t *testing.T) {
	p, err := read(members+`parameters:
  guest: {value: 90 kg, min: 50 kg, max: 150 kg}
  share: {value: 0.5}
loads:
  - {name: one, on: seat, person: 110 kg}
  - {name: two, on: seat, person: = guest * share, across: 200 mm}
  - {name: three, on: leg, surface: face, at: [10 mm, = -2 * 3 mm], force: 25 lbf}
  - {name: four, on: leg-2, surface: edge-2, at: [1 in, 0], across: 20, force: = 1 kN + 50 N, towards: -x}
  - {name: five, on: post, force: 2 kgf, towards: [0, 3, 4]}
  - {name: six, on: seat, mass: "= max(2 kg, 500 g) + 1 lb", sustained: true}
`, nil)
	if err != nil {
		t.Fatal(err)
	}
	down := func(n float64) geom.Vec3 { return geom.V3(0, 0, -n) }
	want := []LoadRule{
		{Name: "one", Member: "seat", Across: 250, Force: down(1078.7315)},
		{Name: "two", Member: "seat", Across: 200, Force: down(441.29925)},
		{Name: "three", Member: "leg", Surface: "face", At: &geom.Vec2{X: 10, Y: -6}, Across: 50, Force: down(111.2055403815125)},
		{Name: "four", Member: "leg-2", Surface: "edge-2", At: &geom.Vec2{X: 25.4}, Across: 20, Force: geom.V3(-1050, 0, 0)},
		{Name: "five", Member: "post", Force: geom.V3(0, 0.6, 0.8).Scale(19.6133)},
		{Name: "six", Member: "seat", Force: down(24.06152161511045), Sustained: true},
	}
	near := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(1, math.Abs(b)) })
	if diff := cmp.Diff(want, p.Loads, near, cmpopts.IgnoreFields(LoadRule{}, "Line")); diff != "" {
		t.Error(diff)
	}
	for i, l := range p.Loads {
		if l.Line != 18+i {
			t.Errorf("%s stands in line %d", l.Name, l.Line)
		}
	}
	if g := p.Parameters[0]; g.Kind != Mass || g.Value != 90e3 || g.Max != 150e3 {
		t.Errorf("a mass as a parameter: %+v", g)
	}
}

func TestHeldAndSeams(t *testing.T) {
	p, err := read(members+`held:
  - {on: leg, surface: back}
seams:
  - {on: leg, across: x, at: = 1 in}
  - {on: seat, across: z, clear: [-5, 10 mm]}
  - {on: post, whole: true}
`, nil)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]HeldRule{{"leg", "back", 15}}, p.Held); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]SeamRule{
		{Member: "leg", Kind: SeamAt, Axis: 0, At: 25.4, Line: 17},
		{Member: "seat", Kind: NoSeam, Axis: 2, Clear: [2]float64{-5, 10}, Line: 18},
		{Member: "post", Kind: Whole, Line: 19},
	}, p.Seams); diff != "" {
		t.Error(diff)
	}
}

// TestUnitsAreNoNames: the units of mass and force take no name from the maker.
func TestUnitsAreNoNames(t *testing.T) {
	p, err := read(head+`parameters:
  g: {value: 40 mm}
  kg: {value: 2}
  lb: {value: = g * kg}
members:
  n:
    board: {rectangle: {length: = lb + g, width: 50}, thickness: 10}
`, nil)
	if err != nil {
		t.Fatal(err)
	}
	if got := p.Members[0].Board.Outline.Path.Bounds().Size().X; !same(got, 120) {
		t.Errorf("length %g", got)
	}
}

// TestSeamsInsideAreTaken: a seam is taken exactly if it crosses the member.
func TestSeamsInsideAreTaken(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := rapid.Float64Range(-200, 200).Draw(t, "at")
		_, err := read(members+"seams: [{on: leg, across: x, at: "+strconv.FormatFloat(at, 'f', 4, 64)+"}]\n", nil)
		if inside := math.Abs(at) < 49.999; inside && err != nil {
			t.Fatalf("refused at %g: %v", at, err)
		}
		if outside := math.Abs(at) > 50.001; outside && (err == nil || !strings.Contains(err.Error(), "there is nothing of leg-1")) {
			t.Fatalf("taken at %g: %v", at, err)
		}
	})
}

// TestDocumentedRulesResolve reads the block of docs/piece-file.md on loads,
// held surfaces and seams.
func TestDocumentedRulesResolve(t *testing.T) {
	data, err := os.ReadFile("../../docs/piece-file.md")
	if err != nil {
		t.Fatal(err)
	}
	_, after, _ := strings.Cut(string(data), "### What it carries")
	_, block, ok := strings.Cut(after, "```\n")
	block, _, _ = strings.Cut(block, "```")
	if !ok {
		t.Fatal("the block is not there")
	}
	const board = "    board: {rectangle: {length: 400, width: 300}, thickness: 20}\n"
	p, err := read(head+"members:\n  top:\n"+board+"  shelf:\n"+board+"  wall-rail:\n"+board+"  leg:\n"+board+"    mirror: x\n"+block, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Loads) != 3 || len(p.Held) != 1 || len(p.Seams) != 3 {
		t.Errorf("%d loads, %d held, %d seams", len(p.Loads), len(p.Held), len(p.Seams))
	}
}
