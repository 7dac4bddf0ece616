package shop

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/given"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

// small is the least that a shop file can say.
const small = `groundwork: 1
currency: EUR
printers:
  - {id: a, build: [220, 220, 250]}
filaments:
  - {id: abs, material: ABS}
lasers:
  - {id: laser, bed: [600, 400]}
veneers:
  - {id: walnut, face: 0.5, backing: 0.25, adhesive: 0.05, sheet: [610, 2440]}
screws:
  - {size: M5}
inserts:
  - {size: M5}
dowels:
  - {diameter: 8, length: 40}
`

// near compares numbers that were written as decimals and scaled.
var near = cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) <= 1e-12*max(1, math.Abs(a)) })

// TestDefaults holds what a small shop gets against the profile of
// docs/printing.md, with four contours, and the sources in the documents.
func TestDefaults(t *testing.T) {
	got, err := Parse("small.yaml", []byte(small))
	if err != nil {
		t.Fatal(err)
	}
	want := &Shop{
		Currency: "EUR", File: "small.yaml", LiftLimit: 23000,
		Printers: []Printer{{
			ID: "a", Count: 1, Build: geom.V3(220, 220, 250), Brim: 5, Top: 2, Nozzle: 0.4, Power: 120,
			Profile: Profile{
				Layer: 0.28, FirstLayer: 0.28, Line: 0.45, Contours: 4, CoverLayers: 5, Fill: 0.25, FillPattern: "triangles",
				OuterSpeed: 120, InnerSpeed: 200, FillSpeed: 200, CoverSpeed: 200, FirstSpeed: 50, TravelSpeed: 300,
				Acceleration: 5000, Flow: 20, LayerChange: 1, Retract: 0.3, MinLayer: 8, HeatUp: 420, Waste: 0.05, Spread: 0.25,
			},
		}},
		Filaments: []Filament{{
			ID: "abs", Material: "ABS", Density: 1.04, Diameter: 1.75, HDT: 92, Modulus: 1950, Strength: 36, ZFactor: 0.45, Expansion: 90,
			SpoolMass: 1000, Source: "generic values of ABS, from memory: read the data sheet",
		}},
		Lasers: []Laser{{ID: "laser", Bed: geom.V2(600, 400), Margin: 5, Kerf: 0.15, CutSpeed: 20, MarkSpeed: 100, Move: 200, SetUp: 240}},
		Veneers: []Veneer{{
			ID: "walnut", Species: "walnut", Face: 0.5, Backing: 0.25, Adhesive: 0.05, Figure: "plain", Sheet: geom.V2(610, 2440),
			EdgeMargin: 10, BendAlong: 60, BendAcross: 30, MinOffcut: geom.V2(50, 300),
		}},
		Screws:  []Screw{{Size: "M5", Lengths: []float64{8, 10, 12, 16, 20, 25, 30, 35, 40, 45, 50}, Washer: true}},
		Inserts: []Insert{{Size: "M5", Hole: 6.4, Outer: 6.7, Length: 9.5, Melt: 1, MinWall: 2.6}},
		Dowels:  []Dowel{{Diameter: 8, Length: 40}},
		Fits:    Fits{Hole: 0.15, GluedDowel: 0.25, LooseDowel: 0.3, Plug: 0.2, BedChamfer: 0.4},
		Bench:   Bench{Hole: 20, Pitch: 96, Size: geom.V2(1150, 750), ClampReach: 160, ClampOpening: 600, ClampForce: 500},
		Work:    usualWork,
		Parcels: usualParcels,
	}
	if diff := cmp.Diff(want, got, near); diff != "" {
		t.Error(diff)
	}
}

// TestEveryKey reads a file that sets every key to something that is no
// default, in whatever units there are.
func TestEveryKey(t *testing.T) {
	got, err := ParseFile("testdata/every-key.yaml")
	if err != nil {
		t.Fatal(err)
	}
	want := &Shop{
		Name: "Every key", Currency: "USD", File: "testdata/every-key.yaml", Labour: 40.5, Electricity: 0.2, LiftLimit: 20000,
		Printers: []Printer{{
			ID: "large", Count: 3, Build: geom.V3(304.8, 300, 400), Brim: 8, Top: 10, Nozzle: 0.6, Price: 1.25, Power: 350,
			Profile: Profile{
				Layer: 0.3, FirstLayer: 0.35, Line: 0.7, Contours: 3, CoverLayers: 4, Fill: 0.15, FillPattern: "hexagons",
				OuterSpeed: 60, InnerSpeed: 90, FillSpeed: 110, CoverSpeed: 80, FirstSpeed: 25, TravelSpeed: 180,
				Acceleration: 1500, Flow: 24, LayerChange: 2, Retract: 0.5, MinLayer: 12, HeatUp: 600, Waste: 0.08, Spread: 0.1,
			},
			Log: []Logged{{
				Filament: "asa-9", Time: Correction{Times: 1.08, Plus: 240, Spread: 0.075, From: 3600, To: 34200, Runs: 9},
				Grams: Correction{Times: 1.03, Plus: -3, From: 100, Runs: 8},
			}},
		}},
		Filaments: []Filament{{
			ID: "asa-9", Material: "ASA", Density: 1.08, Diameter: 2.85, HDT: 99, Modulus: 2100, Strength: 41, ZFactor: 0.5, Expansion: 88,
			Shrink: geom.V3(0.006, 0.0055, 0.003), MaxFlat: 180, MaxFlow: 11, SpoolMass: 750, SpoolPrice: 30, Source: "our own bars",
		}},
		Lasers: []Laser{{ID: "bed", Bed: geom.V2(1000, 600), Margin: 8, Kerf: 0.2, CutSpeed: 35, MarkSpeed: 300, Move: 500, SetUp: 90, Price: 12}},
		Veneers: []Veneer{{
			ID: "elm", Species: "wych elm", Face: 0.6, Backing: 0.508, Adhesive: 0.13, Neutral: 0.7, Figure: "directional", Sheet: geom.V2(600, 2500), Price: 88,
			EdgeMargin: 15, BendAlong: 70, BendAcross: 25, ServiceTemperature: 80, MinOffcut: geom.V2(80, 400), Source: "measured", BlankKerf: 3,
			Offcuts: []Offcut{{ID: "from-the-desk", Size: geom.V2(300, 900), Count: 2, Price: 5, Reserved: []Reserved{{At: geom.V2(0, 25.4), Size: geom.V2(20, 30)}}}},
		}},
		Screws:      []Screw{{Size: "M6", Lengths: []float64{20, 30, 50.8}, Price: 0.2, WasherPrice: 0.02}},
		Inserts:     []Insert{{Size: "M6", Hole: 8.1, Outer: 8.5, Length: 10, Melt: 0.7, MinWall: 3, Price: 0.4}},
		Dowels:      []Dowel{{Diameter: 6.35, Length: 38.1, Printed: true, Price: 0.05}},
		Pins:        []Pin{{Diameter: 1.190625, Price: 0.01}},
		Fits:        Fits{Hole: 0.2, GluedDowel: 0.2, LooseDowel: 0.4, Plug: 0.1, BedChamfer: 0.5},
		Consumables: []Consumable{{ID: "glue", Per: "joint-area", Amount: 210, Unit: "g", Price: 0.08, Note: "thin"}},
		Bench:       Bench{Hole: 19, Pitch: 101.6, Size: geom.V2(1800, 762), ClampReach: 200, ClampOpening: 1000, ClampForce: 444.82216152605},
		Work:        everyWork,
		Parcels:     everyParcels,
	}
	if diff := cmp.Diff(want, got, near); diff != "" {
		t.Error(diff)
	}
}

func TestExampleShop(t *testing.T) {
	s, err := ParseFile("../../examples/shop.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range []string{"walnut", "ash", "oak", "oak-thin"} {
		if v, ok := s.Veneer(id); !ok || v.ID != id || v.Stack() <= 0 {
			t.Errorf("veneer %s: %+v", id, v)
		}
	}
	for _, id := range []string{"abs", "pla", "petg", "asa"} {
		if f, ok := s.Filament(id); !ok || f.ID != id || f.Density <= 0 {
			t.Errorf("filament %s: %+v", id, f)
		}
	}
	for _, size := range []string{"M4", "M5", "M6", "M8"} {
		w, ok := s.Screw(size)
		if !ok || w.Size != size {
			t.Errorf("screw %s: %+v", size, w)
		}
		for _, l := range w.Lengths {
			if !slices.Contains(nominalLengths, l) {
				t.Errorf("%s x %g is no nominal length of ISO 4762", size, l)
			}
		}
		if n, ok := s.Insert(size); !ok || n.Size != size {
			t.Errorf("insert %s: %+v", size, n)
		}
	}
	if _, ok := s.Veneer("elm"); ok {
		t.Error("a veneer that is not there was found")
	}
	if _, ok := s.Filament(""); ok {
		t.Error("a filament without id was found")
	}
	if _, ok := s.Screw("M3"); ok {
		t.Error("a screw that is not there was found")
	}
	if _, ok := s.Insert("M3"); ok {
		t.Error("an insert that is not there was found")
	}
}

// mark shows where in a test's file the fault has to be reported.
const mark = "‸"

func TestFaultsStandWhereTheyAre(t *testing.T) {
	for _, tc := range []struct{ from, to, what, remedy string }{
		{"printers:", "‸pritners:", `the key "pritners" is not known`, `did you mean "printers"?`},
		{"currency: EUR", "currency: ‸euro", "is no ISO 4217 currency code", "as in EUR"},
		{"groundwork: 1", "groundwork: ‸3", `the format version "3" is not known`, "write groundwork: 1"},
		{"printers:\n  - {id: a, build: [220, 220, 250]}", "printers: ‸[]", "this list has 0 entries; at least 1", "count them again"},
		{"{id: a, build: [220, 220, 250]}", "‸{build: [220, 220, 250]}", `the key "id" is missing`, "add id"},
		{"id: a,", "id: ‸Big One,", `the id "Big One" of a printer cannot be used`, "lower-case letters"},
		{"250]}\n", "250]}\n  - {id: ‸a, build: [300, 300, 300]}\n", `there is a printer "a" already`, "the other stands in line 4"},
		{"[220, 220, 250]", "[220, ‸0, 250]", "the build volume of printer a in y is 0 mm", "make it more than 0"},
		{"[220, 220, 250]", "‸[220, 220]", "this list has 2 entries; at least 3", "count them again"},
		{"[220, 220, 250]", "[‸22 m, 220, 250]", "is 22000 mm", "keep it between 30 and 3000 mm"},
		{"[220, 220, 250]", "[‸22 kg, 220, 250]", "is given as a mass", "write it as 19 mm or 3/4 in"},
		{"[220, 220, 250]", "[‸wide, 220, 250]", "is no number", "write it as 19 mm"},
		{"[220, 220, 250]", "[‸= 2 * 110, 220, 250]", "an expression cannot stand in a shop file", "write the number"},
		{"[220, 220, 250]", "[60, 60, 250], brim: ‸30", "the brim leaves nothing of the bed", "make the brim narrower"},
		{"[220, 220, 250]", "[220, 220, 150], top: ‸150", "the free top leaves nothing", "make it lower"},
		{"250]}", "250], count: ‸1.5}", "the count of printer a is 1.5", "make it whole"},
		{"250]}", "250], price: ‸-1}", "the price of printer a is -1", "give 0 or more"},
		{"250]}", "250], price: ‸1 USD}", "is in USD, but the shop reckons in EUR", "give every price in EUR"},
		{"250]}", "250], price: ‸1 kg}", "is no amount of money", "write the amount alone"},
		{"250]}", "250], profile: {layer: ‸0.32}}", "the layer height of printer a is 0.32 mm with a nozzle of 0.4 mm", "keep it between 0.1 mm and 0.3 mm, 25 % to 75 % of the nozzle"},
		{"250]}", "250], profile: {layer: ‸0.09}}", "the layer height of printer a is 0.09 mm", "25 % to 75 %"},
		{"250]}", "250], profile: {first_layer: ‸0.5}}", "the first layer of printer a is 0.5 mm", "25 % to 100 %"},
		{"250]}", "250], profile: {line: ‸1}}", "the bead width of printer a is 1 mm", "60 % to 200 %"},
		{"250]}", "250], profile: {line: ‸0.25}}", "no more than a layer is high", "make the bead wider"},
		{"250]}", "250], profile: {fill: ‸25}}", "the core fill of printer a is 25", "keep it between 0 and 1"},
		{"250]}", "250], profile: {fill: ‸120 %}}", "the core fill of printer a is 1.2", "keep it between 0 and 1"},
		{"250]}", "250], log: {‸abc: {}}}", `the log of printer a has a filament "abc"`, `did you mean "abs"?`},
		{"250]}", "250], log: {‸A B: {}}}", `"A B" of printer a is no id of a filament`, "as in abs"},
		{"250]}", "250], log: {abs: {time: {times: 1.1}, ‸mass: 3}}}", `the key "mass" is not known`, "grams"},
		{"250]}", "250], log: {abs: {time: ‸{plus: 4}}}}", `the key "times" is missing`, "add times"},
		{"250]}", "250], log: {abs: {time: {times: ‸0}}}}", "the factor for the time of a load of printer a with abs is 0", "make it more than 0"},
		{"250]}", "250], log: {abs: {time: {times: 1.1, plus: ‸4 g}}}}", "is given as a mass", "90 s or 4 min"},
		{"250]}", "250], log: {abs: {time: {times: 1.1, plus: ‸-4 min, from: 200 s}}}}", "would be nothing or less for a small load", "leave plus out"},
		{"250]}", "250], log: {abs: {time: {times: 1.1, from: 2 h, to: ‸1 h}}}}", "is less than the least", "exchange them"},
		{"250]}", "250], profile: {fill_pattern: ‸triangle}}", `"triangle" is not a word`, `did you mean "triangles"?`},
		{"250]}", "250], profile: {outer_speed: ‸0}}", "the outer speed of printer a is 0 mm/s", "make it more than 0"},
		{"250]}", "250], profile: {outer_speed: ‸12 m/s}}", "the outer speed of printer a is no number", "write it as 120 or 120 mm/s"},
		{"250]}", "250], profile: {contours: ‸0}}", "the number of contours of printer a is 0", "make it more than 0"},
		{"250]}", "250], profile: {heat_up: ‸7 mm}}", "the heat-up of printer a is given as a length", "write it as 90 s or 4 min"},

		{"material: ABS", "material: ‸abs", `the material "abs" of filament abs is not written in capitals`, `did you mean "ABS"?`},
		{"{id: abs, material: ABS}", "‸{id: abs, material: PVB, density: 1.1, hdt: 60, modulus: 1700, strength: 40, z_factor: 0.5}", "the expansion of filament abs is missing", "add expansion: from its data sheet"},
		{"material: ABS", "material: ABS, density: ‸1040", "the density of filament abs is 1040 g/cm3", "keep it between 0.5 and 4 g/cm3"},
		{"material: ABS", "material: ABS, z_factor: ‸1.2", "the z factor of filament abs is 1.2", "keep it between 0.05 and 1"},
		{"material: ABS", "material: ABS, shrink: [0.5 %, ‸0.5, 0]", "the shrinkage of filament abs in y is 0.5", "keep it between -0.02 and 0.05"},
		{"material: ABS", "material: ABS, hdt: ‸-3 °C", "is -3 °C", "make it more than 0"},

		{"bed: [600, 400]", "bed: [600, 400], kerf: ‸1 mm", "the kerf of laser bed laser is 1 mm", "keep it between 0 and 0.999 mm"},
		{"bed: [600, 400]", "bed: [60, 60], margin: ‸30", "the margin leaves nothing of the bed", "make the margin narrower"},
		{"face: 0.5", "face: ‸0", "the face of veneer walnut is 0 mm", "make it more than 0"},
		{"{id: walnut, face: 0.5,", "‸{id: walnut,", `the key "face" is missing`, "add face"},
		{"adhesive: 0.05", "adhesive: 0.05, neutral: ‸0.9", "lies outside its stack of 0.8 mm", "measure it from the core"},
		{"sheet: [610, 2440]", "sheet: [60, 2440], edge_margin: ‸30", "leaves nothing of a sheet", "make the margin narrower"},
		{"2440]}", "2440], blank_kerf: ‸20}", "the kerf of blanks of veneer walnut is 20 mm", "keep it between 0 and 10 mm"},
		{"2440]}", "2440], offcuts: [{id: a, size: [300, 500]}, {id: ‸a, size: [300, 500]}]}", `there is a kept offcut of veneer walnut "a" already`, "the other stands in line 10"},
		{"2440]}", "2440], offcuts: [{id: a, size: [300, ‸0]}]}", "the second size of the offcut a of veneer walnut is 0 mm", "make it more than 0"},
		{"2440]}", "2440], offcuts: [{id: a, size: [300, 500], count: ‸0.5}]}", "the count of offcut a of veneer walnut is 0.5", "keep it between 1 and 1000"},
		{"2440]}", "2440], offcuts: [{id: a, size: [300, 500], reserved: [‸{at: [10, 600], size: [5, 5]}]}]}", "a reserved area of offcut a of veneer walnut lies beside it", "across the grain first"},
		{"2440]}", "2440]}\n  - {id: ‸walnut, face: 0.3, backing: 0, adhesive: 0, sheet: [100, 100]}", `there is a veneer "walnut" already`, "the other stands in line 10"},

		{"{size: M5}\nins", "{size: ‸M7}\nins", `"M7" is not a word`, `did you mean "M4"?`},
		{"{size: M5}\nins", "{size: M5}\n  - {size: ‸M5}\nins", `there is a screw "M5" already`, "the other stands in line 12"},
		{"{size: M5}\nins", "{size: M5, lengths: [20, ‸20 mm]}\nins", "has the length 20 mm twice", "take one of them out"},
		{"{size: M5}\nins", "{size: ‸M5, lengths: []}\nins", "the screw M5 has no lengths", "list its lengths"},
		{"{size: M5}\nins", "{size: M5, washer: ‸maybe}\nins", "true or false is wanted", "write true or false"},
		{"{size: M5}\ndow", "{size: M5, hole: 7, outer: ‸6.7}\ndow", "would fall through its bore of 7 mm", "0.1 mm to 0.3 mm smaller"},
		{"{size: M5}\ndow", "{size: M5, hole: ‸4.8}\ndow", "is no larger than its thread", "measure the insert again"},
		{"{diameter: 8, length: 40}", "{diameter: 40, length: ‸8}", "a dowel of 40 mm is only 8 mm long", "look at the order"},
		{"{diameter: 8, length: 40}", "{diameter: 8, length: 40}\n  - {diameter: 8, length: 40, printed: true}\n  - ‸{diameter: 8 mm, length: 4 cm}", `there is a bought dowel "8 x 40" already`, "the other stands in line 16"},
		{"dowels:", "fits: {hole: ‸-0.1}\ndowels:", "the hole fit is -0.1 mm", "keep it between 0 and 2 mm"},
		{"dowels:", "consumables:\n  - {id: glue, per: ‸area, amount: 3, unit: ml}\ndowels:", `"area" is not a word`, "use one of: seam-area"},
		{"dowels:", "bench: {hole: ‸20 N}\ndowels:", "the diameter of the bench's holes is given as a force", "write it as 19 mm"},
		{"dowels:", "bench: {pitch: ‸19, hole: 20}\ndowels:", "the bench's holes of 20 mm lie 19 mm apart", "from the middle of one hole"},
		{"dowels:", "bench: {clamp_force: ‸0 N}\ndowels:", "the force of a clamp is 0 N", "keep it between 1 and 20000 N"},
		{"dowels:", "lift_limit: ‸23\ndowels:", "the lift limit is 23 g", "keep it between 1000 and 100000 g"},
	} {
		file := strings.Replace(small, tc.from, tc.to, 1)
		before, after, ok := strings.Cut(file, mark)
		if !ok {
			t.Errorf("%q: no mark", tc.to)
			continue
		}
		place := fmt.Sprintf("shop.yaml:%d:%d: ", 1+strings.Count(before, "\n"), len(before)-strings.LastIndex(before, "\n"))
		_, err := Parse("shop.yaml", []byte(before+after))
		var all Errors
		if !errors.As(err, &all) || len(all) != 1 {
			t.Errorf("%q: one error is wanted, not: %v", tc.to, err)
			continue
		}
		if e := all[0]; !strings.HasPrefix(e.Error(), place) || !strings.Contains(e.What, tc.what) || !strings.Contains(e.Remedy, tc.remedy) {
			t.Errorf("%q at %s: %s", tc.to, place, e)
		}
	}
}

func TestFaultsOfWholeFile(t *testing.T) {
	for _, tc := range []struct{ file, want string }{
		{"", "f:1:1: the file is empty"},
		{"- a\n", "f:1:1: a shop file is a mapping of keys, not a list"},
		{"name: x\n", "f:1:1: the format version is missing; start with the line groundwork: 1"},
		{"groundwork: 1\n", `f:1:1: the key "currency" is missing here; add currency`},
		{strings.Repeat("#\n", given.MaxBytes), "f:1:1: the file is larger than"},
	} {
		_, err := Parse("f", []byte(tc.file))
		if err == nil || !strings.HasPrefix(err.Error(), tc.want) {
			t.Errorf("got %v, want %s", err, tc.want)
		}
	}
	if _, err := ParseFile("testdata/none.yaml"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v", err)
	}
}

// keysOf collects the keys of a document's type, of all structs under it.
func keysOf(t reflect.Type, into map[string]bool) {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct {
		return
	}
	if free, ok := t.FieldByName("Values"); ok && t.PkgPath() == reflect.TypeFor[given.Node]().PkgPath() { // a given.Map
		keysOf(free.Type, into)
		return
	}
	for _, k := range given.Keys(t) {
		into[k] = true
	}
	for _, f := range reflect.VisibleFields(t) {
		if f.Tag.Get("json") != "" && f.Tag.Get("json") != "-" {
			keysOf(f.Type, into)
		}
	}
}

func sorted(m map[string]bool) []string { return slices.Sorted(maps.Keys(m)) }

func node(t *testing.T, data []byte) *given.Node {
	t.Helper()
	faults := &given.Faults{}
	n := given.Read(data, faults)
	if faults.Any() {
		t.Fatal(faults.Err())
	}
	return n
}

// TestKeysAgree: the documents, the schema, testdata/every-key.yaml and the
// fields of Shop know the same keys.
func TestKeysAgree(t *testing.T) {
	known := map[string]bool{}
	keysOf(reflect.TypeFor[Document](), known)

	data, err := os.ReadFile("testdata/every-key.yaml")
	if err != nil {
		t.Fatal(err)
	}
	used := map[string]bool{}
	var walk func(n *given.Node)
	walk = func(n *given.Node) {
		for i, k := range n.Keys {
			used[k.Value] = true
			if k.Value == "log" { // its keys are filaments
				for _, x := range n.Items[i].Items {
					walk(x)
				}
			}
		}
		for i, x := range n.Items {
			if len(n.Keys) == 0 || n.Keys[i].Value != "log" {
				walk(x)
			}
		}
	}
	walk(node(t, data))
	if diff := cmp.Diff(sorted(known), sorted(used)); diff != "" {
		t.Errorf("in every-key.yaml: %s", diff)
	}

	_, doc := compiled(t)
	inSchema := map[string]bool{}
	var look func(v any)
	look = func(v any) {
		switch v := v.(type) {
		case map[string]any:
			if props, ok := v["properties"].(map[string]any); ok {
				for name := range props {
					inSchema[name] = true
				}
			}
			for _, x := range v {
				look(x)
			}
		case []any:
			for _, x := range v {
				look(x)
			}
		}
	}
	look(doc)
	if diff := cmp.Diff(sorted(known), sorted(inSchema)); diff != "" {
		t.Errorf("in the schema: %s", diff)
	}

	fields := map[string]bool{"groundwork": true}
	fieldsOf(reflect.TypeFor[Shop](), fields)
	delete(fields, "file")
	delete(fields, "filament") // a key itself
	if diff := cmp.Diff(sorted(known), sorted(fields)); diff != "" {
		t.Errorf("in Shop: %s", diff)
	}
}

// fieldsOf spells the fields of t as keys: FirstLayer is first_layer.
func fieldsOf(t reflect.Type, into map[string]bool) {
	for t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct || t.PkgPath() != reflect.TypeFor[Shop]().PkgPath() {
		return
	}
	for _, f := range reflect.VisibleFields(t) {
		key := ""
		for i, c := range f.Name {
			if i > 0 && c >= 'A' && c <= 'Z' && f.Name[i-1] >= 'a' {
				key += "_"
			}
			key += strings.ToLower(string(c))
		}
		if key == "zfactor" {
			key = "z_factor"
		}
		into[key] = true
		fieldsOf(f.Type, into)
	}
}

func compiled(t *testing.T) (*jsonschema.Schema, any) {
	t.Helper()
	text, err := Schema()
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("shop.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("shop.json")
	if err != nil {
		t.Fatal(err)
	}
	return s, doc
}

func TestSchema(t *testing.T) {
	s, _ := compiled(t)
	for _, name := range []string{"../../examples/shop.yaml", "testdata/every-key.yaml"} {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(node(t, data).Value()); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := s.Validate(node(t, []byte(small)).Value()); err != nil {
		t.Error(err)
	}
	// Faults of form, not of value: the schema refuses what Parse refuses.
	for _, tc := range []struct{ from, to string }{
		{"currency: EUR\n", ""},
		{"printers:", "pritners:"},
		{"printers:\n  - {id: a, build: [220, 220, 250]}", "printers: []"},
		{"printers:\n  - {id: a, build: [220, 220, 250]}", "printers: {a: 1}"},
		{"id: a, ", ""},
		{"[220, 220, 250]", "[220, 220]"},
		{"[220, 220, 250]", "220"},
		{"220, 250]", "wide, 250]"},
		{"face: 0.5, ", ""},
		{"face: 0.5", "face: [0.5]"},
		{"face: 0.5", "figure: wavy, face: 0.5"},
		{"size: M5", "size: M7"},
		{"size: M5", "size: M5, washer: 3"},
		{"material: ABS", "material: ABS, shrink: [0, 0]"},
	} {
		bad := strings.Replace(small, tc.from, tc.to, 1)
		if bad == small {
			t.Fatalf("%q is not there", tc.from)
		}
		if s.Validate(node(t, []byte(bad)).Value()) == nil {
			t.Errorf("the schema takes %q for %q", tc.to, tc.from)
		}
		if _, err := Parse("bad.yaml", []byte(bad)); err == nil {
			t.Errorf("Parse takes %q for %q", tc.to, tc.from)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, name := range []string{"../../examples/shop.yaml", "testdata/every-key.yaml"} {
		data, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte(small))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := Parse("fuzz.yaml", data)
		if err != nil {
			var all Errors
			if !errors.As(err, &all) || len(all) == 0 || s != nil {
				t.Fatalf("not Errors: %v", err)
			}
			for _, e := range all {
				if e.What == "" || e.Remedy == "" || e.Line < 1 || e.Column < 1 {
					t.Fatalf("incomplete: %+v", e)
				}
			}
			return
		}
		// What later stages divide by or loop over has to be sound.
		for _, p := range s.Printers {
			if u := min(p.Build.X, p.Build.Y) - 2*p.Brim; !(u > 0) || !(p.Build.Z > p.Top) || !(p.Profile.Line > p.Profile.Layer) || !(p.Profile.Layer > 0) || !(p.Profile.Flow > 0) || !(p.Profile.Acceleration > 0) {
				t.Fatalf("unsound printer: %+v", p)
			}
		}
		for _, v := range s.Veneers {
			if !(v.Stack() > 0) || v.NeutralDepth() > v.Stack() {
				t.Fatalf("unsound veneer: %+v", v)
			}
		}
		for _, l := range s.Filaments {
			if !(l.Density > 0) || !(l.Diameter > 0) || !(l.SpoolMass > 0) {
				t.Fatalf("unsound filament: %+v", l)
			}
		}
		if len(s.Printers)*len(s.Filaments)*len(s.Lasers)*len(s.Veneers) == 0 {
			t.Fatal("an empty shop")
		}
	})
}
