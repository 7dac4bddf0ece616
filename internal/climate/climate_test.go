package climate

import (
	"math"
	"strings"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/shop"

	"pgregory.net/rapid"
)

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol }

// At 21.1 °C (70 °F) wood comes to these moistures: the row of USDA Wood Handbook
// table 4-2 for 70 °F as far as it was seen (30 to 65 %), worked from the formula
// by hand beyond.
func TestEMC(t *testing.T) {
	for _, tt := range []struct{ rh, want float64 }{
		{20, 4.5}, {30, 6.2}, {40, 7.7}, {50, 9.2}, {60, 11.0}, {65, 12.0}, {70, 13.1}, {80, 16.0},
	} {
		if got := EMC(21.1, tt.rh/100); !near(got, tt.want, 0.05+1e-9) {
			t.Errorf("%.0f %%: %.3f, want %.1f", tt.rh, got, tt.want)
		}
	}
	if EMC(21, 0) != 0 {
		t.Error("dry air leaves moisture")
	}
}

func TestHumidityUndoesEMC(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, h := rapid.Float64Range(0, 50).Draw(t, "c"), rapid.Float64Range(0.02, 0.95).Draw(t, "h")
		if got := Humidity(c, EMC(c, h)); !near(got, h, 1e-9) {
			t.Fatalf("%.12f, want %.12f", got, h)
		}
	})
}

// ΔD = D C ΔM over 300 mm for 4 % of flat-cut stock, as worked by hand from
// Wood Handbook table 13-5.
func TestMovement(t *testing.T) {
	for name, want := range map[string]float64{
		"black walnut": 3.3, "white oak": 4.4, "red oak": 4.4, "black cherry": 3.0, "sugar maple": 4.2,
		"red maple": 3.5, "white ash": 3.3, "yellow-poplar": 3.5, "american beech": 5.2,
	} {
		w, told := Species(name)
		if got := 300 * w.Tangential * 4; !near(got, want, 0.05) || told != "" {
			t.Errorf("%s: %.2f mm, want %.1f; %s", name, got, want, told)
		}
		if w.Radial >= w.Tangential {
			t.Errorf("%s moves more radially", name)
		}
	}
}

func TestSpecies(t *testing.T) {
	for _, tt := range []struct {
		name       string
		tangential float64
		told       string
	}{
		{"Black Walnut", 0.00274, ""},
		{"yellow_poplar", 0.00289, ""},
		{"walnut", 0.00274, "taken for black walnut"},
		{"oak", 0.00369, "white oak or red oak: the widest"},
		{"European oak", 0.00369, "nearest there"},
		{"wenge", 0.00431, "the widest movement"},
		{"", 0.00431, "the widest movement"},
	} {
		w, told := Species(tt.name)
		if w.Tangential != tt.tangential || tt.told == "" != (told == "") || !strings.Contains(told, tt.told) {
			t.Errorf("%q: %.5f, %q", tt.name, w.Tangential, told)
		}
	}
	if w, _ := Species("wenge"); !near(w.Across, 540*0.006894757, 1e-9) {
		t.Errorf("an unknown wood bears %.2f MPa", w.Across)
	}
}

// timoshenko is the curvature of a bimetal strip,
//
//	κ = 6 Δε (1+m)² / (h [3 (1+m)² + (1 + m n)(m² + 1/(m n))])
//
// m = t1/t2, n = E1/E2, h the total thickness, Δε how much longer 2 wants to be
// (S. Timoshenko, J. Opt. Soc. Am. 11, 1925, p. 233, eq. 4).
func timoshenko(t1, t2, e1, e2, strain float64) float64 {
	m, n := t1/t2, e1/e2
	return 6 * strain * (1 + m) * (1 + m) / ((t1 + t2) * (3*(1+m)*(1+m) + (1+m*n)*(m*m+1/(m*n))))
}

func TestBendIsTimoshenkosBimetal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		num := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		t1, t2 := num("t1", 0.1, 20), num("t2", 0.1, 20)
		e1, e2, strain := num("e1", 10, 2e5), num("e2", 10, 2e5), num("strain", -0.02, 0.02)
		strip := func(t, e, free float64) Layer { return Layer{Thickness: t, E1: e, Free: [2]float64{free, free}} }
		b, err := Bend([]Layer{strip(t1, e1, 0), strip(t2, e2, strain)})
		if err != nil {
			t.Fatal(err)
		}
		want := timoshenko(t1, t2, e1, e2, strain) // the upper, 2, wants to be longer: crowned
		if !near(b.Curvature[0], want, 1e-9*math.Abs(want)+1e-15) || !near(b.Curvature[1], want, 1e-9*math.Abs(want)+1e-15) {
			t.Fatalf("curvature %g, want %g", b.Curvature[0], want)
		}
	})
}

// As a plate both layers with the same ν keep their ratio of stiffness, and the
// strip's formula holds for it too.
func TestBendOfAPlate(t *testing.T) {
	b, err := Bend([]Layer{{Thickness: 12, E1: 2000, Nu: 0.35}, {Thickness: 0.6, E1: 900, Nu: 0.35, Free: [2]float64{-0.011, -0.011}}})
	if err != nil {
		t.Fatal(err)
	}
	if want := timoshenko(12, 0.6, 2000, 900, -0.011); !near(b.Curvature[0], want, 1e-12) || !near(b.Curvature[1], want, 1e-12) {
		t.Errorf("curvature %v, want %g", b.Curvature, want)
	}
}

// A pull of 5 MPa in 0.6 mm, 3 N on each mm of edge, at the surface of a ground of
// 12 mm bows it over 600 mm by 2.8 mm with E 2 GPa and by 8.7 mm with 0.65 GPa:
// κ = 6 σ t/(E h²) (Stoney, Proc. R. Soc. A 82, 1909, p. 172), worked by hand.
func TestBowOfAPulledGround(t *testing.T) {
	for _, tt := range []struct{ e, want float64 }{{2000, 2.8}, {650, 8.7}} {
		pulled := func(thickness float64) float64 {
			soft := 1e-3 // MPa: adds no stiffness, and pulls with 3 N/mm
			b, err := Bend([]Layer{{Thickness: 12, E1: tt.e}, {Thickness: thickness, E1: soft, Free: [2]float64{-3 / thickness / soft, 0}}})
			if err != nil {
				t.Fatal(err)
			}
			return -Rise(b.Curvature[0], 600)
		}
		if got := pulled(1e-3); !near(got, tt.want, 0.05) {
			t.Errorf("E %.0f: %.3f mm at the surface, want %.1f", tt.e, got, tt.want)
		}
		// In the middle of its 0.6 mm it pulls 5 % farther out.
		if got := pulled(0.6); !near(got/pulled(1e-3), 1.05, 1e-3) {
			t.Errorf("E %.0f: %.3f mm in its own middle", tt.e, got)
		}
	}
}

// EI of a printed bar, 60 mm wide and 25 mm high, cover layers and contours of
// 1.2 mm, E 2000, core fill 15 % triangles: 5.098e7 N mm² by the sandwich formula
// (Allen, Analysis and Design of Structural Sandwich Panels, 1969), worked by hand.
// Bent by known moments the laminate must have it: here by the reaction to a thin
// pulling layer.
func TestStiffnessOfAPrintedBar(t *testing.T) {
	c := Core{Thickness: 25, Modulus: 2000, Shell: 1.2, Rim: 1.2, Fill: 0.15, Pattern: "triangles"}
	layers := c.layers(1e9, 60)
	for i := range layers {
		layers[i].Nu = 0
	}
	const thin, soft, pull = 1e-6, 1e-3, 2.0
	b, err := Bend(append(layers, Layer{Thickness: thin, E1: soft, Free: [2]float64{-pull / thin / soft, 0}}))
	if err != nil {
		t.Fatal(err)
	}
	moment := pull * 25 / 2 // N mm for each mm of width
	if ei := -moment / b.Curvature[0] * 60; !near(ei, 5.098e7, 0.001e7) {
		t.Errorf("EI %.4g, want 5.098e7", ei)
	}
}

var core = Core{Thickness: 18, Modulus: 1950, Poisson: 0.35, Shell: 1.4, Rim: 1.8, Fill: 0.25, Pattern: "triangles"}

func clad(grain float64) Clad { return Clad{"walnut", "walnut", 0.5, 0.3, grain} }

func TestBalancedBoardsStayFlat(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := clad(rapid.Float64Range(0, math.Pi).Draw(t, "grain"))
		c.Wood = rapid.Float64Range(0.2, 2).Draw(t, "wood")
		b := Board{ID: "shelf", Length: 800, Width: 250, Core: core, Face: c, Back: c}
		w, err := b.Bow(rapid.Float64Range(-6, 6).Draw(t, "drying"))
		if err != nil {
			t.Fatal(err)
		}
		for i := range 2 {
			if math.Abs(w.Length[i])+math.Abs(w.Width[i])+math.Abs(w.Twist[i]) > 1e-6 {
				t.Fatalf("bow %v", w)
			}
		}
		if !b.Balanced() {
			t.Fatal("not balanced")
		}
	})
}

func TestBowOfAVeneeredBoard(t *testing.T) {
	bow := func(b Board, drying float64) Bow {
		w, err := b.Bow(drying)
		if err != nil {
			t.Fatal(err)
		}
		return w
	}
	along := Board{ID: "a", Length: 600, Width: 600, Core: core, Face: clad(0), Back: Clad{}}
	w := bow(along, 4)
	// Its face shrinks: hollow, across the grain far more than along it.
	if w.Width[0] >= 0 || w.Width[1] >= w.Width[0] || math.Abs(w.Length[1]) > 0.25*math.Abs(w.Width[1]) {
		t.Errorf("bow %+v", w)
	}
	t.Logf("walnut 0.5 mm on one face of 18 mm, 600 mm square, 4 %%: across %.2f to %.2f mm, along %.2f to %.2f, tension %.1f to %.1f MPa", w.Width[0], w.Width[1], w.Length[0], w.Length[1], w.Tension[0], w.Tension[1])
	// Turned a quarter, the bows change places.
	turned := along
	turned.Face.Grain = math.Pi / 2
	if v := bow(turned, 4); !near(v.Length[1], w.Width[1], 1e-9) || !near(v.Width[1], w.Length[1], 1e-9) || v.Twist[1] > 1e-9 {
		t.Errorf("turned: %+v, was %+v", v, w)
	}
	// Laid on the back it goes the other way; taking up moisture too.
	back := Board{ID: "a", Length: 600, Width: 600, Core: core, Face: Clad{}, Back: clad(0)}
	if v := bow(back, 4); !near(v.Width[1], -w.Width[1], 1e-9) {
		t.Errorf("on the back: %+v", v)
	}
	if v := bow(along, -4); !near(v.Width[1], -w.Width[1], 1e-9) {
		t.Errorf("moist: %+v", v)
	}
	// At 45° it winds.
	askew := along
	askew.Face.Grain = math.Pi / 4
	if v := bow(askew, 4); v.Twist[1] < 0.5 || !near(v.Length[1], v.Width[1], 1e-9) {
		t.Errorf("askew: %+v", v)
	}
	// A thinner leaf behind than in front leaves some of the bow.
	unlike := along
	unlike.Back = clad(0)
	unlike.Back.Wood = 0.3
	if v := bow(unlike, 4); v.Width[1] >= 0 || v.Width[1] <= w.Width[1] || unlike.Balanced() {
		t.Errorf("unlike: %+v", v)
	}
	// Grain of face and back crossed: saddle.
	crossed := along
	crossed.Back = clad(math.Pi / 2)
	if v := bow(crossed, 4); v.Width[1]*v.Length[1] >= 0 || crossed.Balanced() {
		t.Errorf("crossed: %+v", v)
	}
}

// Fully restrained walnut dried by 4 % is pulled with 7 to 13 MPa at most: C_T 4 %
// times 0.65 to 1.2 GPa; on a core that gives a little it is less.
func TestTensionOfRestrainedVeneer(t *testing.T) {
	stiff := core
	stiff.Modulus, stiff.Fill, stiff.Thickness = 1e7, 1, 100
	w, err := Board{ID: "a", Length: 600, Width: 600, Core: stiff, Face: clad(0), Back: clad(0)}.Bow(4)
	if err != nil {
		t.Fatal(err)
	}
	e := 1.68 * 6894.757 * 1.1
	for i, across := range []float64{0.06, 0.10} {
		// Strain 0.01096 across with 0.0002 along, both held: σ = E_T (ε_T + ν ε_L)/(1 - ν² E_T/E_L).
		want := across * e * (0.00274*4 + 0.4*0.0015/28*4) / (1 - 0.16*across)
		if !near(w.Tension[i], want, 0.01) {
			t.Errorf("tension %.3f MPa, want %.3f", w.Tension[i], want)
		}
	}
	if w.Tension[0] < 7 || w.Tension[1] > 15 {
		t.Errorf("tension %v", w.Tension)
	}
	soft, _ := Board{ID: "a", Length: 600, Width: 600, Core: core, Face: clad(0), Back: Clad{}}.Bow(4)
	if soft.Tension[1] >= w.Tension[1] {
		t.Errorf("on a core that gives: %v", soft.Tension)
	}
}

// Warmed, the core outgrows veneer on one face: hollow there, and most along the
// grain, where wood is stiff and hardly grows. Along the grain alone, without
// contraction across, it is Timoshenko's strip.
func TestWarmBoard(t *testing.T) {
	hot := core
	hot.Expansion = 90
	b := Board{ID: "a", Length: 600, Width: 600, Core: hot, Face: clad(0), Back: Clad{}}
	w, err := b.Warm(40)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("warmed by 40 K: along %.2f, across %.2f mm", w.Length, w.Width)
	if w.Length[0] >= 0 || math.Abs(w.Length[0]) < 2*math.Abs(w.Width[1]) {
		t.Errorf("bow %+v", w)
	}
	solid := hot
	solid.Fill = 1
	c := clad(0)
	c.Under = 0
	got, err := Board{ID: "a", Length: 600, Width: 600, Core: solid, Face: c, Back: Clad{}}.Warm(40)
	if err != nil {
		t.Fatal(err)
	}
	strip := timoshenko(18, 0.5, 1950, 1.68*6894.757*1.1, 40*(4-90)*1e-6) * 600 * 600 / 8
	// Contraction and what is pulled across change it by some per cent.
	if math.Abs(got.Length[0]/strip-1) > 0.12 {
		t.Errorf("%.3f mm along, a strip %.3f mm", got.Length[0], strip)
	}
	both := Board{ID: "a", Length: 600, Width: 600, Core: hot, Face: clad(0), Back: clad(0)}
	if w, _ := both.Warm(40); math.Abs(w.Length[1])+math.Abs(w.Width[1]) > 1e-9 {
		t.Errorf("balanced: %+v", w)
	}
}

func TestBendRefusesWhatIsNoLayer(t *testing.T) {
	for _, l := range [][]Layer{nil, {{Thickness: 0, E1: 1}}, {{Thickness: math.NaN(), E1: 1}}, {{Thickness: 1, E1: -1}}, {{Thickness: 1}}} {
		if _, err := Bend(l); err == nil {
			t.Errorf("%v bends", l)
		}
	}
}

func TestBoardsFindings(t *testing.T) {
	one := Board{ID: "top", Length: 600, Width: 400, Core: core, Face: clad(0), Back: Clad{}}
	both := Board{ID: "shelf", Length: 600, Width: 400, Core: core, Face: clad(0), Back: clad(0)}
	thin := Board{ID: "door", Length: 600, Width: 400, Core: core, Face: clad(0), Back: Clad{}}
	thin.Core.Thickness = 6
	bare := Board{ID: "back", Length: 600, Width: 400, Core: core, Face: Clad{}, Back: Clad{}}
	bows, fs, err := Boards([]Board{one, both, thin, bare}, Drying)
	if err != nil {
		t.Fatal(err)
	}
	if len(bows) != 3 {
		t.Fatalf("%d bows", len(bows))
	}
	at := map[string]finding.Finding{}
	for _, f := range fs {
		at[f.Subject+" "+f.Code] = f
		t.Log(f)
	}
	if _, ok := at["shelf bow"]; ok {
		t.Error("a balanced board is told of")
	}
	if f := at["door bow"]; f.Severity != finding.Warning || !strings.Contains(f.Remedy, "Veneer both faces alike") || strings.Contains(f.Remedy, "mm thick") {
		t.Errorf("door: %v", f)
	}
	if f := at["top bow"]; f.Severity != finding.Warning || !strings.Contains(f.Remedy, "core 33.0 mm thick") {
		t.Errorf("top: %v", f)
	}
	wall := thin
	wall.Held = true
	if _, fs, err := Boards([]Board{wall}, Drying); err != nil || fs[0].Code != "bow" || fs[0].Severity != finding.Note || !strings.Contains(fs[0].Message, "held by one of its faces") {
		t.Errorf("held: %v, %v", fs, err)
	}
	thick := one
	for _, mm := range []float64{32, 33} {
		thick.Core.Thickness = mm
		w, err := thick.Bow(Drying)
		if err != nil {
			t.Fatal(err)
		}
		if bows := math.Abs(w.Width[1]) > 400.0/384; bows != (mm == 32) {
			t.Errorf("%.0f mm thick it bows by %.2f mm", mm, w.Width[1])
		}
	}
	if _, ok := at["shelf veneer-tension"]; !ok {
		t.Error("nothing about the pull in the veneer")
	}
}

func TestHeat(t *testing.T) {
	fil := func(id string, hdt float64) shop.Filament { return shop.Filament{ID: id, HDT: hdt} }
	has := []shop.Filament{fil("pla", 54), fil("petg", 69), fil("abs", 92), fil("asa", 96)}
	for _, tt := range []struct {
		f        shop.Filament
		severity finding.Severity
		remedy   string
	}{
		{fil("pla", 54), finding.Warning, "Print in asa (96 °C) or abs (92 °C)"},
		{fil("petg", 69), finding.Warning, "Print in asa"},
		{fil("x", 83), finding.Warning, "Print in asa"},
		{fil("abs", 92), finding.Note, ""},
	} {
		fs := Heat([]Part{{Filament: tt.f}}, has)
		if len(fs) != 1 || fs[0].Severity != tt.severity || !strings.Contains(fs[0].Remedy, tt.remedy) {
			t.Errorf("%s: %v", tt.f.ID, fs)
		}
	}
	if got := Instead("pla", has[:2]); !strings.Contains(got, "ABS, ASA, ABS-GF, PC, PA-CF") || !strings.Contains(got, "data sheet") {
		t.Errorf("without any: %s", got)
	}
	fs := Heat([]Part{{fil("petg", 69), true, 1.2}, {fil("none", 0), false, 0}}, has)
	if len(fs) != 3 || fs[1].Code != "lasting-heat" || fs[1].Severity != finding.Warning || !strings.Contains(fs[1].Message, "54 °C") || fs[2].Code != "heat-unknown" {
		t.Errorf("%v", fs)
	}
}

// A rim of 1264 mm of ABS, 90e-6/K, grows 4.3 mm more than wood by 40 K, worked by
// hand: 1264 x 40 x 86e-6.
func TestGrowth(t *testing.T) {
	r := Run{"rim", 1264, shop.Filament{Expansion: 90}}
	if got := r.Outgrows(40); !near(got, 4.35, 0.005) {
		t.Errorf("%.3f mm", got)
	}
	if fs := Growth([]Run{r, {"short", 300, r.Filament}}); len(fs) != 1 || fs[0].Subject != "rim" {
		t.Errorf("%v", fs)
	}
}

func TestAdhesives(t *testing.T) {
	fs := Adhesives([]shop.Veneer{{ID: "a", ServiceTemperature: 60}, {ID: "b", ServiceTemperature: 90}, {ID: "c"}})
	if len(fs) != 3 || fs[0].Severity != finding.Warning || fs[1].Severity != finding.Note || fs[2].Code != "adhesive-unknown" {
		t.Errorf("%v", fs)
	}
}
