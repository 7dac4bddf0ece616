package stability

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

func one(t *testing.T, r *Result, code string) finding.Finding {
	t.Helper()
	var got []finding.Finding
	for _, f := range r.Findings {
		if w := regexp.MustCompile(`(?i)\b(safe|safely|compl(y|ies|iant)|certified|passes|passed)\b|NaN|Inf`).FindString(f.Message + f.Remedy); w != "" {
			t.Errorf("%q is said in: %s", w, f)
		}
		if f.Code == code {
			got = append(got, f)
		}
	}
	if len(got) != 1 {
		t.Fatalf("%d findings %q in %v", len(got), code, r.Findings)
	}
	return got[0]
}

// Three legs at 250 mm under a top of 500 mm, 60 N heavy, axis at 125 mm, tip at
// 100 N. To bear 200 N (by hand): feet at 307.7 mm, 57.7 farther; ballast of
// (200 x 75 - 60 x 125)/125 = 60 N, 6.12 kg; or the load at 125 + 60 x 125/200 =
// 162.5 mm, 37.5 mm less of a top.
func TestRemediesAreTold(t *testing.T) {
	in := Inputs{Use: piece.Table, Height: 600, Body: newtons(ring(3, 250), 60, geom.V3(0, 0, 400)), Rims: []Rim{disc(500, 600)}}
	r := Judge(in)
	f := one(t, r, "edge-200")
	if f.Severity != finding.Warning || !strings.Contains(f.Message, "100 N pressed down") || !strings.Contains(f.Message, "Margin 0.50 against 200 N") {
		t.Errorf("%v", f)
	}
	for _, want := range []string{"Set every foot 58 mm farther", "6.2 kg of ballast", "make top 38 mm smaller"} {
		if !strings.Contains(f.Remedy, want) {
			t.Errorf("no %q in %q", want, f.Remedy)
		}
	}
	// 600 N: 363.6 mm, told without a verdict.
	if f := one(t, r, "edge-600"); f.Severity != finding.Note || !strings.Contains(f.Message, "Margin 0.16") || !strings.Contains(f.Message, "114 mm farther") || !strings.Contains(f.Message, "without a verdict") {
		t.Errorf("%v", f)
	}
	if len(r.Worst) != 2 || len(r.Tips) != 3 || math.Abs(r.Worst[1].Force-100) > 0.01 {
		t.Errorf("%+v", r.Worst)
	}
}

func TestJudgesStance(t *testing.T) {
	for _, tt := range []struct {
		name     string
		use      piece.Use
		feet     geom.Polygon
		held     string
		code     string
		severity finding.Severity
	}{
		{"a table in the air", piece.Table, nil, "", "no-support", finding.Stop},
		{"a shelf in the air", piece.Shelf, nil, "", "no-support", finding.Warning},
		{"a seat on one point", piece.Seat, geom.Polygon{{X: 1, Y: 1}}, "", "no-support", finding.Stop},
		{"a stand on two", piece.Stand, geom.Polygon{{X: -90, Y: 0}, {X: 90, Y: 0}}, "", "no-support", finding.Stop},
		{"beside its feet", piece.Other, ring(4, 100).Map(func(p geom.Vec2) geom.Vec2 { return p.Add(geom.V2(150, 0)) }), "", "falls-over", finding.Stop},
		{"hung", piece.Shelf, nil, "back of back", "held", finding.Note},
		{"a table without a top", piece.Table, ring(4, 100), "", "no-rim", finding.Warning},
		{"on its feet", piece.Other, ring(4, 100), "", "lean", finding.Note},
	} {
		r := Judge(Inputs{Use: tt.use, Height: 500, Held: tt.held, Floor: 12, Body: newtons(tt.feet, 50, geom.V3(0, 0, 200))})
		f := one(t, r, tt.code)
		if f.Severity != tt.severity || (f.Severity > finding.Note && f.Remedy == "") {
			t.Errorf("%s: %v", tt.name, f)
		}
	}
}

// Tall units: when the rules speak of them, and only then.
func TestTallUnits(t *testing.T) {
	box := geom.Polygon{{X: -400, Y: -150}, {X: 400, Y: -150}, {X: 400, Y: 150}, {X: -400, Y: 150}}
	for _, tt := range []struct {
		use            piece.Use
		height, kg     float64
		tall, clothing bool
	}{
		{piece.Shelf, 1200, 12, true, false},
		{piece.Shelf, 1200, 14, true, true},
		{piece.Shelf, 900, 20, false, true},
		{piece.Stand, 400, 36, true, false},
		{piece.Shelf, 680, 20, false, false},
		{piece.Table, 1200, 40, false, false},
	} {
		r := Judge(Inputs{Use: tt.use, Height: tt.height, Body: Body{Hull(box), tt.kg * 1000, geom.V3(0, 0, tt.height/2)}, Rims: []Rim{{"top", geom.Polygons{box}, tt.height, 0}}})
		var tall, clothing bool
		for _, f := range r.Findings {
			tall, clothing = tall || f.Code == "tall", clothing || f.Code == "clothing"
			if f.Code == "clothing" {
				// W d/h, pushed no higher than 1422 mm (statics).
				t.Log(f)
				if f.Severity != finding.Note {
					t.Errorf("a rule that is out of scope is a verdict: %v", f)
				}
			}
		}
		if tall != tt.tall || clothing != tt.clothing {
			t.Errorf("%s %.0f mm, %.0f kg: tall %v, clothing %v", tt.use, tt.height, tt.kg, tall, clothing)
		}
	}
}

func TestOwnLoads(t *testing.T) {
	box := geom.Polygon{{X: -100, Y: -100}, {X: 100, Y: -100}, {X: 100, Y: 100}, {X: -100, Y: 100}}
	in := Inputs{Use: piece.Other, Height: 500, Body: newtons(box, 50, geom.V3(0, 0, 200)), Own: []Force{
		{"inside", geom.V3(50, 0, 500), geom.V3(0, 0, -400)},
		{"lamp", geom.V3(150, 0, 500), geom.V3(0, 0, -80)},  // 50 x 100 over 80 x 50: 1.25
		{"coat", geom.V3(0, 200, 450), geom.V3(0, 0, -100)}, // 50 x 100 over 100 x 100: 0.5
		{"rope", geom.V3(0, 0, 500), geom.V3(-20, 0, 0)},    // 50 x 100 over 20 x 500: 0.5
	}}
	r := Judge(in)
	var got []string
	for _, f := range r.Findings {
		if f.Code == "own-load" {
			got = append(got, f.Severity.String()+" "+f.Message+" "+f.Remedy)
		}
	}
	want := []string{`note The load "lamp" (80 N) tips the piece with a margin of 1.25.`, `warning The load "coat" (100 N) tips the piece with a margin of 0.50.`, `warning The load "rope" (20 N) tips the piece with a margin of 0.50.`}
	if len(got) != len(want) {
		t.Fatalf("%v", got)
	}
	for i, w := range want {
		if !strings.HasPrefix(got[i], w) {
			t.Errorf("%s, want %s", got[i], w)
		}
	}
	// Coat: 50 (100 + s) = 100 (100 - s) with s the side's own way out: 33.3 mm, at
	// the corners √2 times that.
	if !strings.Contains(got[1], "48 mm farther") {
		t.Errorf("%s", got[1])
	}
}
