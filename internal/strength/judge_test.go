package strength

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/stress"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

var _ Solved = (*stress.State)(nil)

// fake is a state whose every answer is set.
type fake struct {
	move   func(body int, p geom.Vec3) geom.Vec3
	bodies []stress.BodyState
	seams  []stress.Section
	screws []stress.Pull
	dowels []stress.Pull
	films  []stress.Film
}

func (f fake) Displacement(body int, p geom.Vec3) (geom.Vec3, bool) {
	if f.move == nil {
		return geom.Vec3{}, true
	}
	return f.move(body, p), true
}
func (f fake) Body(i int) stress.BodyState {
	if i < len(f.bodies) {
		return f.bodies[i]
	}
	return stress.BodyState{}
}
func (f fake) Seam(i int) (stress.Section, bool) {
	if i < len(f.seams) {
		return f.seams[i], true
	}
	return stress.Section{}, false
}
func (f fake) Screws() []stress.Pull { return f.screws }
func (f fake) Dowels() []stress.Pull { return f.dowels }
func (f fake) Films() []stress.Film  { return f.films }

// scaled is the state under k times the loads, nothing preloaded.
func (f fake) scaled(k float64) fake {
	out := fake{move: func(b int, p geom.Vec3) geom.Vec3 {
		u, _ := f.Displacement(b, p)
		return u.Scale(k)
	}}
	peak := func(p stress.Peak) stress.Peak { return stress.Peak{Value: k * p.Value, At: p.At} }
	for _, b := range f.bodies {
		out.bodies = append(out.bodies, stress.BodyState{Mises: peak(b.Mises), Layers: peak(b.Layers), Core: peak(b.Core), Moved: peak(b.Moved)})
	}
	for _, s := range f.seams {
		out.seams = append(out.seams, stress.Section{Force: s.Force.Scale(k), Moment: s.Moment.Scale(k), Tension: peak(s.Tension), Shear: peak(s.Shear)})
	}
	for _, ps := range []struct{ from, to *[]stress.Pull }{{&f.screws, &out.screws}, {&f.dowels, &out.dowels}} {
		for _, p := range *ps.from {
			p.Tension, p.Shear = k*p.Tension, k*p.Shear
			*ps.to = append(*ps.to, p)
		}
	}
	for _, g := range f.films {
		out.films = append(out.films, stress.Film{Joint: g.Joint, Tension: peak(g.Tension), Shear: peak(g.Shear)})
	}
	return out
}

// benchPiece is a board of 600 × 200 × 20 mm on two upright ends 20 mm thick,
// whose contacts are 20 × 200 mm at its own ends: its clear span is 560 mm.
// joint-1 has a screw M5 and two printed dowels, joint-2 is glued. The board has
// a seam in the middle with two dowels.
func benchPiece(t testing.TB) stress.Inputs {
	p := readPiece(t, `groundwork: 1
name: test
use: table
sizes: core
members:
  plank:
    board: {rectangle: {length: 600, width: 200}, thickness: 20}
    at: [0, 0, 380]
  end:
    board: {rectangle: {length: 200, width: 380}, thickness: 20}
    at: [280, 0, 190]
    axes: {x: +y, y: +z}
    mirror: x
`)
	contact := func(id string, member int, x float64) joint.Contact {
		f := geom.World()
		f.Origin = geom.V3(x, 0, 380)
		return joint.Contact{ID: id, A: joint.Side{Member: 0, Surface: 0}, B: joint.Side{Member: member, Surface: 2}, Frame: f,
			Region: geom.Polygons{{geom.V2(-10, -100), geom.V2(10, -100), geom.V2(10, 100), geom.V2(-10, 100)}}, Area: 4000}
	}
	down := geom.V3(0, 0, -1)
	abs := shop.Filament{ID: "abs", Material: "ABS", Modulus: 1950, Strength: 36, ZFactor: 0.45}
	x := geom.Frame{Origin: geom.V3(0, 0, 390), X: geom.V3(0, 1, 0), Y: geom.V3(0, 0, 1), Z: geom.V3(1, 0, 0)}
	return stress.Inputs{
		Piece: p, Cores: p.Members,
		Bodies:   []seam.Body{{ID: "plank", Members: []int{0}}, {ID: "end-1", Members: []int{1}}, {ID: "end-2", Members: []int{2}}},
		Filament: func(int) shop.Filament { return abs },
		Shop:     &shop.Shop{Inserts: []shop.Insert{{Size: "M5", Hole: 6.4, Outer: 6.7, Length: 9.5}}, Filaments: []shop.Filament{abs}},
		Joints: &joint.Result{
			Contacts: []joint.Contact{contact("plank:end-1", 1, 290), contact("plank:end-2", 2, -290)},
			Joints: []joint.Joint{
				{ID: "joint-1", Contact: "plank:end-1", Kind: piece.KnockDown,
					Screws: []joint.Screw{{Size: "M5", Insert: "M5", Through: 0, Into: 1, Head: geom.V3(290, 0, 390), Axis: down, Grip: 10, Washer: true}},
					Dowels: []joint.Dowel{{Diameter: 6, Length: 20, Printed: true, Center: geom.V3(290, 60, 380)}, {Diameter: 8, Length: 40, Center: geom.V3(290, -60, 380)}}},
				{ID: "joint-2", Contact: "plank:end-2", Kind: piece.Glued},
			},
		},
		// Laid so that the layers of the ends lie square to the screw.
		Laid: []stress.Laid{{Segment: "end-1", Body: 1, Up: geom.V3(0, 0, 1)}, {Segment: "end-2", Body: 2, Up: geom.V3(0, 0, 1)}},
		Seams: []seam.Seam{{ID: "plank/seam-1", Body: 0, Plane: geom.PlaneAt(geom.Vec3{}, geom.V3(1, 0, 0)), Frame: x,
			Section: geom.Polygons{{geom.V2(-100, -10), geom.V2(100, -10), geom.V2(100, 10), geom.V2(-100, 10)}},
			Dowels: []joint.Dowel{
				{Diameter: 8, Length: 40, Printed: true, Center: geom.V3(0, -60, 390), Axis: geom.V3(1, 0, 0)},
				{Diameter: 8, Length: 40, Printed: true, Center: geom.V3(0, 60, 390), Axis: geom.V3(1, 0, 0)},
			}}},
	}
}

func short(id string) Case {
	return Case{Case: stress.Case{ID: id}, Kind: Static, What: "It is tried.", Source: "a test", Judged: true, Agreed: 1, Share: 1}
}

func forMonths(id string) Case {
	c := short(id)
	c.Sustained, c.Kind = true, Sag
	return c
}

func peak(v float64) stress.Peak { return stress.Peak{Value: v} }

// The limits by hand, for ABS of 36 MPa and z factor 0.45:
//
//	layers         36 · 0.45                              = 16.2 MPa
//	months         0.2 · 36                               = 7.2 MPa
//	peel, shear    0.3 / 3, 1 / 3                         = 0.1, 0.3333 MPa
//	pull-out       0.5·0.5·0.577·16.2·π·6.7·9.5           = 467.27 N, the insert across the layers,
//	               against 100 + 3·(120 - 100)            = 160 N
//	insert-bearing 36 · 6.7 · 9.5 / 3                     = 763.8 N
//	proof          √(120² + 3·50²)                        = 147.99 of 8230 N
//	head           120 / (π/4 (10² - 5.5²)) = 120 / 54.782 = 2.1905 MPa of 36, for months of 9
//	dowel-shear    0.577·36·π/4·36 / 3                    = 195.77 N printed, 8.2·π/4·64/3 = 137.39 N bought
//	dowel-bearing  36·6·10/3 = 720 N, 36·8·20/3 = 1920 N
func TestLimitsByHand(t *testing.T) {
	in := benchPiece(t)
	st := fake{
		bodies: []stress.BodyState{{Mises: peak(9), Layers: peak(1.62), Core: peak(12)}},
		seams:  []stress.Section{{Tension: peak(0.4), Shear: peak(0.1)}},
		screws: []stress.Pull{{Joint: 0, Tension: 120, Shear: 50, Preload: 100}},
		dowels: []stress.Pull{{Joint: 0, Number: 0, Shear: 80}, {Joint: 0, Number: 1, Shear: 80}},
		films:  []stress.Film{{Joint: 1, Tension: peak(0.05), Shear: peak(0.5)}},
	}
	r := Judge(in, []Case{short("press"), forMonths("stay")}, []Solved{st, st}, nil)
	for _, tc := range []struct {
		id           string
		value, limit float64
		judged       bool
	}{
		{"press/plank/shell", 9, 36, true},
		{"press/plank/layers", 1.62, 16.2, true},
		{"press/plank/fill", 12, 36, true},
		{"stay/plank/months", 9, 7.2, false},
		{"press/plank/seam-1/peel", 0.4, 0.3, true},
		{"press/plank/seam-1/glue-shear", 0.1, 1, true},
		{"press/plank/seam-1/seam-shell", 0.4, 36, true}, // the plank lies on its face, so the seam is along its layers
		{"press/joint-1/screw-1/pull-out", 160, 467.27, true},
		{"press/joint-1/screw-1/insert-bearing", 50, 763.8, true},
		{"press/joint-1/screw-1/proof", 147.99, 8230, false},
		{"press/joint-1/screw-1/head", 2.1905, 36, true},
		{"stay/joint-1/screw-1/head", 2.1905, 9, true},
		{"press/joint-1/dowel-1/dowel-shear", 80, 195.77, true},
		{"press/joint-1/dowel-2/dowel-shear", 80, 137.39, true},
		{"press/joint-1/dowel-1/dowel-bearing", 80, 720, true},
		{"press/joint-1/dowel-2/dowel-bearing", 80, 1920, true},
		{"press/joint-2/film-peel", 0.05, 0.3, true},
		{"press/joint-2/film-shear", 0.5, 1, true},
	} {
		v, ok := r.Verdict(tc.id)
		if !ok {
			t.Errorf("no verdict %s", tc.id)
			continue
		}
		if math.Abs(v.Value-tc.value) > 1e-4*tc.value || math.Abs(v.Limit-tc.limit) > 1e-4*tc.limit || math.Abs(v.Margin-tc.limit/tc.value) > 1e-3*v.Margin || v.Judged != tc.judged {
			t.Errorf("%s: %g of %g, margin %g, judged %v; want %g of %g, %v", tc.id, v.Value, v.Limit, v.Margin, v.Judged, tc.value, tc.limit, tc.judged)
		}
		if v.Source == "" || v.What == "" || v.Unit == "" {
			t.Errorf("incomplete: %+v", v)
		}
	}
	for _, tc := range []struct{ tension, preload, want float64 }{{90, 100, 90}, {100, 100, 100}, {50, 0, 150}, {150, 100, 250}} {
		if got := pulled(stress.Pull{Tension: tc.tension, Preload: tc.preload}); got != tc.want {
			t.Errorf("%+v: %g", tc, got)
		}
	}
	if _, ok := r.Verdict("press/plank/months"); ok {
		t.Error("a short load is judged as if it stayed")
	}
	if r.Lowest != "press/plank/seam-1/peel" || math.Abs(r.Margin-0.75) > 1e-9 {
		t.Errorf("least margin %g of %s", r.Margin, r.Lowest)
	}
	if c := r.Cases[0]; c.Lowest != r.Lowest || c.Margin != r.Margin || !c.Solved {
		t.Errorf("case: %+v", c)
	}
	// Laid with its layers along the screw, the insert holds by the full strength: 467.27 / 0.45.
	in.Laid[0].Up = geom.V3(1, 0, 0)
	r = Judge(in, []Case{short("press")}, []Solved{st}, nil)
	if v, _ := r.Verdict("press/joint-1/screw-1/pull-out"); math.Abs(v.Limit-1038.4) > 0.1 {
		t.Errorf("pull-out along the layers: %g", v.Limit)
	}
	// Glue on a plastic that the figures are not meant for is reported only.
	pla := shop.Filament{Material: "PLA", Strength: 52, ZFactor: 0.55}
	in.Filament = func(int) shop.Filament { return pla }
	r = Judge(in, []Case{short("press")}, []Solved{st}, nil)
	if v, _ := r.Verdict("press/plank/seam-1/peel"); v.Judged {
		t.Error("glue on PLA is judged by figures for ABS")
	}
}

// A plank of clear span 560 mm sags by a parabola of 2.5 mm, all of it sinks by
// 3 mm and leans by 1 in 100, which is no sag. Allowed are 560/384 = 1.4583 mm
// after months, 560/600 = 0.9333 mm at first, when ABS sags half as much, and
// 560/200 = 2.8 mm. A rougher state sags by 2.3 mm: an error of 0.2 mm.
func TestSagByHand(t *testing.T) {
	in := benchPiece(t)
	in.Piece.Use = piece.Shelf // so that the plank is a shelf
	sags := func(mm float64) fake {
		return fake{move: func(body int, p geom.Vec3) geom.Vec3 {
			w := 0.0
			if x := p.X / 280; math.Abs(x) < 1 {
				w = mm * (1 - x*x)
			}
			return geom.V3(0, 0, -3-0.01*p.X+0.005*p.Y-w)
		}}
	}
	r := Judge(in, []Case{forMonths("stay"), short("press")}, []Solved{sags(2.5), sags(2.5)}, []Solved{sags(2.3), nil})
	for _, tc := range []struct {
		id                  string
		value, limit, error float64
		judged              bool
	}{
		{"stay/plank/sag-months", 2.5, 1.4583, 0.2, true},
		{"stay/plank/sag-first", 1.25, 0.9333, 0.1, true},
		{"press/plank/sag-use", 2.5, 2.8, 0, false},
	} {
		v, ok := r.Verdict(tc.id)
		if !ok || math.Abs(v.Value-tc.value) > 1e-9 || math.Abs(v.Limit-tc.limit) > 1e-4 || math.Abs(v.Error-tc.error) > 1e-9 || v.Judged != tc.judged || math.Abs(v.Span-560) > 1e-9 {
			t.Errorf("%s: %+v", tc.id, v)
		}
	}
	if _, ok := r.Verdict("press/plank/sag-months"); ok {
		t.Error("a short load is judged as if it stayed")
	}
	// A plank that is borne in one place knows no slope but that of its root.
	in.Joints.Contacts = in.Joints.Contacts[:1]
	bracketed := fake{move: func(_ int, p geom.Vec3) geom.Vec3 {
		x := max(0, 280-p.X) // from the face of the end
		return geom.V3(0, 0, -2-x*x/580/580)
	}}
	r = Judge(in, []Case{forMonths("stay")}, []Solved{bracketed}, nil)
	// At its free end 580 mm out it has sunk by 1 mm; its span counts twice: 1160/384 = 3.0208.
	if v, _ := r.Verdict("stay/plank/sag-months"); math.Abs(v.Value-1) > 1e-9 || math.Abs(v.Limit-3.0208) > 1e-4 {
		t.Errorf("bracketed: %+v", v)
	}
}

// Seam faces of 200 × 20 mm, dowels at ±60 mm of the width and half the height:
//
//	moment M about the width lifts one long side; the other presses, 10 mm from
//	both dowels: 2·k·10² = M, T = 10 k = M/20: 4000 N mm pull each with 200 N
//	moment M about the height: arms 40 and 160 mm from the edge that presses:
//	T = 160·M/(40² + 160²): 27,200 N mm pull with 160 N
//	a pull N of 100 N alone is shared: 50 N; with a moment of 1000 N mm about the
//	width: (1000 + 100·10)/20 = 100 N
//	pressed with 500 N, the same moment opens nothing
//	a force across of 300 N is shared: 150 N; twisted by 12,000 N mm at a radius of
//	60 mm each bears 100 N more, across the width
func TestDowelsOfASeamByHand(t *testing.T) {
	dowels := []geom.Vec2{{X: -60}, {X: 60}}
	face := geom.Polygons{{geom.V2(-100, -10), geom.V2(100, -10), geom.V2(100, 10), geom.V2(-100, 10)}}
	for _, tc := range []struct {
		name           string
		force, moment  geom.Vec3
		tension, shear float64
	}{
		{"about the width", geom.Vec3{}, geom.V3(4000, 0, 0), 200, 0},
		{"about the width, turned round", geom.Vec3{}, geom.V3(-4000, 0, 0), 200, 0},
		{"about the height", geom.Vec3{}, geom.V3(0, 27200, 0), 160, 0},
		{"pulled", geom.V3(0, 0, 100), geom.Vec3{}, 50, 0},
		{"pulled and bent", geom.V3(0, 0, 100), geom.V3(1000, 0, 0), 100, 0},
		{"pressed and bent", geom.V3(0, 0, -500), geom.V3(1000, 0, 0), 0, 0},
		{"pressed", geom.V3(0, 0, -500), geom.Vec3{}, 0, 0},
		{"across", geom.V3(0, 300, 0), geom.Vec3{}, 0, 150},
		{"twisted", geom.Vec3{}, geom.V3(0, 0, 12000), 0, 100},
		{"across and twisted", geom.V3(0, 300, 0), geom.V3(0, 0, 12000), 0, 250},
	} {
		tension, shear := pulls(dowels, face, tc.force, tc.moment)
		if math.Abs(tension-tc.tension) > 1e-9 || math.Abs(shear-tc.shear) > 1e-9 {
			t.Errorf("%s: %g N pull, %g N across; want %g, %g", tc.name, tension, shear, tc.tension, tc.shear)
		}
	}
	if a, b := pulls(nil, face, geom.V3(1, 2, 3), geom.V3(1, 2, 3)); a != 0 || b != 0 {
		t.Error("no dowels bear something")
	}
	// A single dowel off the middle: 300 N across at 30 mm from it is a twist that it cannot bear.
	if _, b := pulls([]geom.Vec2{{X: 30}}, face, geom.V3(0, 300, 0), geom.Vec3{}); b != 300 {
		t.Errorf("one dowel bears %g N", b)
	}

	// Through Judge: the moment 4000 N mm in the seam's frame is along the world's y.
	in := benchPiece(t)
	r := Judge(in, []Case{short("press")}, []Solved{fake{seams: []stress.Section{{Moment: geom.V3(0, 4000, 0), Force: geom.V3(0, 0, 300), Tension: peak(1)}}}}, nil)
	for _, tc := range []struct {
		kind         string
		value, limit float64
	}{
		{"seam-dowel-pull", 200, math.Pi * 8 * 20},                   // 1 MPa on half of a dowel of 8 × 40
		{"seam-dowel-shear", 150, 0.577 * 36 * math.Pi / 4 * 64 / 3}, // 348.0 N
		{"seam-dowel-bearing", 150, 36 * 8 * 20 / 3},                 // 1920 N
	} {
		v, ok := r.Verdict("press/plank/seam-1/" + tc.kind)
		if !ok || math.Abs(v.Value-tc.value) > 1e-9 || math.Abs(v.Limit-tc.limit) > 1e-9 {
			t.Errorf("%s: %+v", tc.kind, v)
		}
	}
	// The glue fails, and the finding says what the dowels do: 348.0/150 = 2.32.
	f := coded(r.Findings, "peel-fails")
	if len(f) != 1 || f[0].Severity != finding.Warning || !strings.Contains(f[0].Message, "its dowels bear the load with a margin of 2.32") {
		t.Errorf("findings %v", r.Findings)
	}
}

func coded(fs []finding.Finding, code string) (out []finding.Finding) {
	for _, f := range fs {
		if f.Code == code {
			out = append(out, f)
		}
	}
	return out
}

// Pushed to and fro with 400 N and 300 N the top goes 4.5 mm and -2.5 mm, of
// which 0.5 mm are the ballast's: 350 N move it by 3.5 mm, 100 N/mm, at 400 mm
// that is 0.00875 rad. One push alone is taken as it is: 400/4.5.
func TestRackingByHand(t *testing.T) {
	in := benchPiece(t)
	push := func(id string, n, y float64) Case {
		c := short(id)
		c.Kind, c.Push, c.Watched, c.On = Horizontal, geom.V3(n, y, 0), geom.V3(0, 0, 400), 0
		return c
	}
	moves := func(x, y float64) Solved {
		return fake{move: func(int, geom.Vec3) geom.Vec3 { return geom.V3(x, y, -1) }}
	}
	cases := []Case{push("push+x", 400, 0), push("push-x", -300, 0), push("push+y", 0, 400)}
	r := Judge(in, cases, []Solved{moves(4.5, 9), moves(-2.5, 9), moves(0, 4)}, []Solved{moves(4.0, 0), moves(-2.1, 0), nil})
	want := []Racking{
		{Axis: "x", Stiffness: 100, Force: 350, Moved: 3.5, Error: 0.45, Height: 400, Angle: 0.00875},
		{Axis: "y", Stiffness: 100, Force: 400, Moved: 4, Height: 400, Angle: 0.01},
	}
	near := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-9 })
	if diff := cmp.Diff(want, r.Racking, near); diff != "" {
		t.Error(diff)
	}
	if n := coded(r.Findings, "racking"); len(n) != 2 {
		t.Errorf("findings %v", r.Findings)
	}
	r = Judge(in, cases[:1], []Solved{moves(4.5, 9)}, nil)
	if len(r.Racking) != 1 || math.Abs(r.Racking[0].Stiffness-400/4.5) > 1e-9 {
		t.Errorf("%+v", r.Racking)
	}
}

// What is agreed on: a margin of 0.8 under 400 N fails where 400 N are agreed on,
// and holds where only 300 N are; what is not judged never fails.
func TestFailingIsAgreedOn(t *testing.T) {
	in := benchPiece(t)
	st := fake{bodies: []stress.BodyState{{Mises: peak(45)}}} // 36/45 = 0.8
	for _, tc := range []struct {
		agreed float64
		judged bool
		code   string
		grave  finding.Severity
	}{{1, true, "shell-fails", finding.Warning}, {0.75, true, "shell-unsure", finding.Note}, {0.9, true, "shell-fails", finding.Warning}, {1, false, "shell-reported", finding.Note}} {
		c := short("press")
		c.Agreed, c.Judged = tc.agreed, tc.judged
		r := Judge(in, []Case{c}, []Solved{st}, nil)
		f := coded(r.Findings, tc.code)
		if len(f) != 1 || f[0].Severity != tc.grave || f[0].Subject != "plank" {
			t.Errorf("%+v: %v", tc, r.Findings)
		}
		want := 0
		if tc.grave == finding.Warning {
			want = 1
		}
		if n, cases := r.Failing(); n != want || cases != want {
			t.Errorf("%+v: %d fail in %d cases", tc, n, cases)
		}
		if !tc.judged && r.Lowest != "" {
			t.Errorf("what is not judged is the least margin: %s", r.Lowest)
		}
	}
}

// Findings sum up: one for a kind, however many fail.
func TestFindingsSumUp(t *testing.T) {
	in := benchPiece(t)
	bad := stress.BodyState{Mises: peak(72), Layers: peak(40)}
	var cases []Case
	var solved []Solved
	for i := range 5 {
		cases, solved = append(cases, short(fmt.Sprintf("press-%d", i))), append(solved, fake{bodies: []stress.BodyState{bad, bad, {Mises: peak(90)}}})
	}
	r := Judge(in, cases, solved, nil)
	// Three shells and two bonds between layers in each of five cases.
	if n, in := r.Failing(); n != 25 || in != 5 {
		t.Errorf("%d fail in %d cases", n, in)
	}
	shell, layers := coded(r.Findings, "shell-fails"), coded(r.Findings, "layers-fails")
	if len(shell) != 1 || len(layers) != 1 || shell[0].Subject != "end-2" ||
		!strings.Contains(shell[0].Message, "90.0 MPa against 36.0 MPa") || !strings.Contains(shell[0].Message, "margin 0.40") || !strings.Contains(shell[0].Message, "2 more") {
		t.Errorf("%v", r.Findings)
	}
	for _, f := range r.Findings {
		promises(t, f.Message+" "+f.Remedy+" "+f.Source)
		if f.Source == "" || f.Stage != "strength" {
			t.Errorf("incomplete: %+v", f)
		}
	}
	if w := r.Worst(); len(w) != 5 || w[0].Kind != "shell" || w[0].Subject != "end-1" || w[3].Kind != "layers" {
		t.Errorf("worst: %+v", w)
	}
}

func TestUnsolvedIsTold(t *testing.T) {
	in := benchPiece(t)
	r := Judge(in, []Case{short("press"), short("push")}, []Solved{nil}, nil)
	if f := coded(r.Findings, "unsolved"); len(f) != 1 || f[0].Severity != finding.Warning || !strings.Contains(f[0].Message, "press, push") {
		t.Errorf("%v", r.Findings)
	}
	if len(r.Cases) != 2 || r.Cases[0].Solved || len(r.Verdicts) != 0 {
		t.Errorf("%+v", r)
	}
	// One member, no joints, nothing known.
	p := readPiece(t, fmt.Sprintf(boards, "table")+board("a", 500, 300, 20, 0, 0, 0))
	in = stress.Inputs{Piece: p, Cores: p.Members, Bodies: []seam.Body{{ID: "a", Members: []int{0}}}, Filament: in.Filament}
	cs, _ := Cases(p, p.Members, nil, nil)
	r = Judge(in, cs[:1], []Solved{fake{bodies: []stress.BodyState{{Mises: peak(1)}}, screws: []stress.Pull{{Joint: 3, Tension: 9}}, films: []stress.Film{{Joint: -1}}}}, nil)
	if len(r.Verdicts) != 2 { // shell, and shell for months
		t.Errorf("%+v", r.Verdicts)
	}
}

// Twice the load, half the margin; each verdict has an ID of its own.
func TestMarginsGoWithTheLoad(t *testing.T) {
	in := benchPiece(t)
	in.Piece.Use = piece.Shelf
	rapid.Check(t, func(t *rapid.T) {
		v := func(name string) float64 { return rapid.Float64Range(0.5, 100).Draw(t, name) }
		vec := func(name string) geom.Vec3 { return geom.V3(v(name+"x")-50, v(name+"y")-50, v(name+"z")-50) }
		sag := v("sag") / 20
		st := fake{
			move:   func(_ int, p geom.Vec3) geom.Vec3 { return geom.V3(0, 0, -sag*math.Cos(p.X/200)) },
			bodies: []stress.BodyState{{Mises: peak(v("mises")), Layers: peak(v("layers")), Core: peak(v("core")), Moved: peak(v("moved"))}},
			seams:  []stress.Section{{Force: vec("force"), Moment: vec("moment").Scale(1000), Tension: peak(v("tension")), Shear: peak(v("shear"))}},
			screws: []stress.Pull{{Tension: v("pull"), Shear: v("across")}},
			dowels: []stress.Pull{{Shear: v("dowel")}},
			films:  []stress.Film{{Joint: 1, Tension: peak(v("peel")), Shear: peak(v("slide"))}},
		}
		const k = 2
		cases := []Case{short("press"), forMonths("stay")}
		one := Judge(in, cases, []Solved{st, st}, nil)
		two := Judge(in, cases, []Solved{st.scaled(k), st.scaled(k)}, nil)
		if len(one.Verdicts) != len(two.Verdicts) || len(one.Verdicts) < 20 {
			t.Fatalf("%d verdicts, then %d", len(one.Verdicts), len(two.Verdicts))
		}
		seen := map[string]bool{}
		for i, a := range one.Verdicts {
			b := two.Verdicts[i]
			if a.ID != b.ID || seen[a.ID] {
				t.Fatalf("%s and %s", a.ID, b.ID)
			}
			seen[a.ID] = true
			if a.Margin < Ample && math.Abs(a.Margin/b.Margin-k) > 1e-6*k {
				t.Fatalf("%s: margin %g, then %g", a.ID, a.Margin, b.Margin)
			}
		}
		for _, r := range []*Result{one, two} {
			for _, v := range r.Verdicts {
				if v.Judged && v.Margin < r.Margin {
					t.Fatalf("%s is below the least margin %g", v.ID, r.Margin)
				}
			}
		}
	})
}

func TestCreep(t *testing.T) {
	for material, want := range map[string]float64{"PLA": 0.5, "PETG": 0.45, "ABS": 0.5, "ASA": 0.5, "ABS-GF": 0.6, "PA-CF": 0.4, "PC": 0.65, "": 0.4, "wood": 0.4} {
		if got := Creep(shop.Filament{Material: material}); got != want {
			t.Errorf("%s: %g, want %g", material, got, want)
		}
	}
}

func TestFigures(t *testing.T) {
	for v, want := range map[float64]string{0: "0.00", 0.2512: "0.25", 12.34: "12.3", 123.4: "123", 1234.5: "1234", 0.01234: "0.0123", -0.5: "-0.50"} {
		if got := figure(v); got != want {
			t.Errorf("%g: %s, want %s", v, got, want)
		}
	}
}

// Through the elastic model: what a shelf sags beyond its own weight doubles with
// the load on it, and a rougher mesh gives each sag an estimated error.
func TestShelfThroughTheModel(t *testing.T) {
	in := example(t, "tern-wall-shelf")
	for _, h := range in.Piece.Held {
		for i, m := range in.Cores {
			if k := slices.Index(m.SurfaceNames(), h.Surface); m.Name == h.Member && k >= 0 {
				in.Held = append(in.Held, stress.Held{Member: i, Surface: k})
			}
		}
	}
	cs, _ := Cases(in.Piece, in.Cores, in.Joints, in.Shop)
	i := slices.IndexFunc(cs, func(c Case) bool { return c.ID == "shelves" })
	if i < 0 || cs[0].ID != "dead" {
		t.Fatalf("cases %v", ids(cs))
	}
	double := cs[i]
	double.ID, double.Loads = "double", slices.Clone(double.Loads)
	for k := range double.Loads {
		double.Loads[k].Force = double.Loads[k].Force.Scale(2)
	}
	cases := []Case{cs[0], cs[i], double}
	states := func(o stress.Options) (out []Solved) {
		o.Creep = Creep
		s, err := stress.Assemble(context.Background(), kernel, in, o)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range cases {
			st, err := s.Solve(context.Background(), c.Case)
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, st)
		}
		return out
	}
	r := Judge(in, cases, states(stress.Options{Rough: true}), states(stress.Options{Rough: true, Cell: 40}))
	var sag []float64
	for _, c := range cases {
		v, ok := r.Verdict(c.ID + "/board/sag-months")
		if !ok || v.Error <= 0 || v.Error > v.Value {
			t.Fatalf("%s: %+v", c.ID, v)
		}
		sag = append(sag, v.Value)
	}
	// Contacts at the wall may open a little more; the place of the greatest sag may move.
	if a, b := sag[1]-sag[0], sag[2]-sag[1]; a <= 0 || math.Abs(b-a) > 0.02*a {
		t.Errorf("sags %v", sag)
	}
	for _, c := range r.Cases {
		if !c.Solved || c.Moved.Value <= 0 || c.Moved.Error <= 0 || c.Moved.Body == "" || c.Lowest == "" {
			t.Errorf("%+v", c)
		}
	}
	for _, f := range r.Findings {
		promises(t, f.String()+f.Source)
	}
}
