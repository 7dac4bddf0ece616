package joint

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/solid"
	"groundwork/internal/surface"
)

// bored is a block with a round hole of radius r through its middle, along z.
func bored(id string, w, d, h, r float64, at geom.Vec3) piece.Member {
	m := block(id, w, d, h, at)
	hole := geom.Path{Segs: []geom.Seg{geom.ArcOf(geom.Vec2{}, r, r, 0, 0, -2*math.Pi)}, Closed: true}
	m.Board.Cutouts = []piece.Outline{piece.NewOutline(hole, piece.BreakAngle)}
	return m
}

// post is a plain round bar from z0 to z1.
func post(id string, r, z0, z1 float64, at geom.Vec3) piece.Member {
	return turning(id, frame(at.Add(geom.V3(0, 0, z0)), geom.V3(1, 0, 0), geom.V3(0, 0, 1)), geom.V2(r, 0), geom.V2(r, z1-z0))
}

// shouldered is a turned leg, radius 20, with a tenon from z = 0 up.
func shouldered(id string, r, long float64, at geom.Vec3) piece.Member {
	return turning(id, frame(at.Add(geom.V3(0, 0, -300)), geom.V3(1, 0, 0), geom.V3(0, 0, 1)), geom.V2(20, 0), geom.V2(20, 300), geom.V2(r, 300), geom.V2(r, 300+long))
}

func socketed(rule piece.JointRule, host, peg piece.Member) *piece.Piece {
	rule.Between = [2]string{host.Name, peg.Name}
	return &piece.Piece{Name: "socket", Sizes: piece.CoreSize, Members: []piece.Member{host, peg}, Joints: []piece.JointRule{rule}}
}

func TestRoundContacts(t *testing.T) {
	for _, tc := range []struct {
		name     string
		hole, r  float64 // radii
		off      float64 // of the axis
		lean     float64 // radians
		z0, z1   float64 // of the post; the host reaches from -20 to 20
		contact  bool
		area, at float64 // mm², height of its middle
		code     string
	}{
		{"exact", 12.5, 12.5, 0, 0, -20, 20, true, 2 * math.Pi * 12.5 * 40, 0, ""},
		{"loose by 0.2", 12.7, 12.5, 0, 0, -20, 20, true, 2 * math.Pi * 12.5 * 40, 0, ""},
		{"loose by the most", 13, 12.5, 0, 0, -20, 20, true, 2 * math.Pi * 12.5 * 40, 0, ""},
		{"too loose", 13.1, 12.5, 0, 0, -20, 20, false, 0, 0, "faces-nearly-touch"},
		{"another hole", 13.6, 12.5, 0, 0, -20, 20, false, 0, 0, ""},
		{"a press fit", 12.46, 12.5, 0, 0, -20, 20, true, 2 * math.Pi * 12.5 * 40, 0, ""},
		{"tight", 12.3, 12.5, 0, 0, -20, 20, false, 0, 0, "faces-nearly-touch"},
		{"far too tight", 10, 12.5, 0, 0, -20, 20, false, 0, 0, "members-overlap"},
		{"off axis by 0.04", 12.7, 12.5, 0.04, 0, -20, 20, true, 2 * math.Pi * 12.5 * 40, 0, ""},
		{"off axis by 0.1", 12.7, 12.5, 0.1, 0, -20, 20, false, 0, 0, "faces-nearly-touch"},
		{"leaning", 12.7, 12.5, 0, 0.01, -20, 20, false, 0, 0, "faces-nearly-touch"},
		{"through and beyond", 12.5, 12.5, 0, 0, -200, 60, true, 2 * math.Pi * 12.5 * 40, 0, ""},
		{"blind side", 12.5, 12.5, 0, 0, -5, 300, true, 2 * math.Pi * 12.5 * 25, 7.5, ""},
		{"too short", 12.5, 12.5, 0, 0, 19, 300, false, 0, 0, "small-contact"},
		{"not in it", 12.5, 12.5, 0, 0, 20.5, 300, false, 0, 0, ""},
	} {
		peg := post("leg", tc.r, tc.z0, tc.z1, geom.V3(tc.off, 0, 0))
		sn, cs := math.Sincos(tc.lean)
		if tc.lean != 0 {
			z := geom.V3(sn, 0, cs)
			peg.Place = frame(z.Scale(tc.z0), geom.V3(0, 1, 0), z)
		}
		p := socketed(piece.JointRule{Kind: piece.Rests}, bored("seat", 100, 80, 40, tc.hole, geom.V3(0, 0, 0)), peg)
		r := place(t, p, bench())
		if got := len(r.Rounds); got != map[bool]int{true: 1}[tc.contact] || len(r.Contacts) > 0 {
			t.Errorf("%s: %d round contacts, %d flat: %v", tc.name, got, len(r.Contacts), r.Findings)
			continue
		}
		if tc.code == "" && len(r.Findings) > 0 || tc.code != "" && (len(coded(r, tc.code)) != 1 || len(r.Findings) != 1) {
			t.Errorf("%s: findings %v, want %q", tc.name, r.Findings, tc.code)
		}
		if loose := Loose(p, r.Contacts, r.Rounds...); (len(loose) == 0) != tc.contact {
			t.Errorf("%s: loose: %v", tc.name, loose)
		}
		if !tc.contact {
			continue
		}
		c := r.Rounds[0]
		if c.ID != "seat:leg" || c.A.Member != 0 || c.B.Member != 1 || !c.Closed || !near(c.Area, tc.area, 1e-6*tc.area) || !near(c.Gap, tc.hole-tc.r, 1e-9) || c.Radius != tc.r {
			t.Errorf("%s: %+v", tc.name, c)
		}
		if c.Axis.Origin.Dist(geom.V3(tc.off, 0, tc.at)) > 1e-9 || math.Abs(c.Axis.Z.Z) < 1-1e-12 {
			t.Errorf("%s: axis %v", tc.name, c.Axis)
		}
		if !near(c.A.Covered, tc.area/(2*math.Pi*tc.r*40), 1e-9) || !near(c.B.Covered, tc.area/(2*math.Pi*tc.r*(tc.z1-tc.z0)), 1e-9) {
			t.Errorf("%s: covered %v, %v", tc.name, c.A.Covered, c.B.Covered)
		}
		if r.Joints[0].Contact != c.ID || r.Joints[0].Kind != piece.Rests || len(r.Joints[0].Bores) > 0 {
			t.Errorf("%s: joint %+v", tc.name, r.Joints[0])
		}
	}
}

// TestCopedContact: a rail whose end is hollowed to fit a round leg. The
// contact is as wide as the rail: the angle is twice asin of half its width
// over the radius.
func TestCopedContact(t *testing.T) {
	const radius, half, high = 22.0, 15.0, 50.0
	for _, gap := range []float64{0, 0.3} {
		p := coped(radius, gap, half, high, knock("leg", "rail"))
		r := place(t, p, bench())
		if len(r.Rounds) != 1 || len(r.Contacts) != 0 {
			t.Fatalf("%d round contacts, %d flat: %v", len(r.Rounds), len(r.Contacts), r.Findings)
		}
		c := r.Rounds[0]
		// The rail's hollow spans ±asin(15/(22+gap)), the leg goes on.
		want := 2 * math.Asin(half/(radius+gap)) * radius * high
		if c.A.Member != 1 || c.B.Member != 0 || c.Closed || !near(c.Area, want, 1e-6*want) || c.ID != "leg:rail" {
			t.Errorf("contact %+v, want area %v", c, want)
		}
		if c.Axis.X.Dist(geom.V3(1, 0, 0)) > 1e-9 || c.Axis.Origin.Dist(geom.V3(0, 0, 200)) > 1e-9 {
			t.Errorf("axis %v", c.Axis)
		}
		j := r.Joints[0]
		if len(j.Screws) != 1 || len(stops(r)) > 0 {
			t.Fatalf("joint %+v: %v", j, r.Findings)
		}
		if s := j.Screws[0]; s.Through != 0 || s.Axis.Dist(geom.V3(1, 0, 0)) > 1e-9 || !near(s.Head.Y, 0, 1e-9) {
			t.Errorf("the screw goes through the leg into the rail: %+v", s)
		}
	}
}

// coped is a leg round its axis and a rail along x whose end fits it.
func coped(radius, gap, half, high float64, rule piece.JointRule) *piece.Piece {
	h := radius + gap
	a := math.Asin(half / h)
	x := h * math.Cos(a)
	path := geom.Path{Closed: true, Segs: []geom.Seg{
		geom.LineTo(geom.V2(x, -half), geom.V2(300, -half)), geom.LineTo(geom.V2(300, -half), geom.V2(300, half)), geom.LineTo(geom.V2(300, half), geom.V2(x, half)),
		geom.ArcOf(geom.Vec2{}, h, h, 0, a, -2*a),
	}}
	rail := block("rail", 1, 1, high, geom.V3(0, 0, 200))
	rail.Board.Outline = piece.NewOutline(path, piece.BreakAngle)
	rule.Between = [2]string{"leg", "rail"}
	return &piece.Piece{Name: "coped", Sizes: piece.CoreSize, Members: []piece.Member{post("leg", radius, 0, 400, geom.Vec3{}), rail}, Joints: []piece.JointRule{rule}}
}

// TestCopedWays: the screw may go through either member, if the key reaches.
func TestCopedWays(t *testing.T) {
	for _, tc := range []struct {
		long    float64 // where the rail ends
		through string
		member  int // that the screw goes through, -1 for none
		code    string
	}{{300, "leg", 0, ""}, {300, "rail", -1, noPath}, {70, "rail", 1, ""}} {
		rule := knock("leg", "rail")
		rule.Through = tc.through
		p := coped(22, 0.3, 17, 60, rule)
		b := p.Members[1].Board
		for i, s := range b.Outline.Path.Segs {
			if s.Kind == geom.Line {
				cut := func(q geom.Vec2) geom.Vec2 { return geom.V2(min(q.X, tc.long), q.Y) }
				b.Outline.Path.Segs[i] = geom.LineTo(cut(s.From()), cut(s.To()))
			}
		}
		r := place(t, p, bench())
		switch fs := stops(r); {
		case tc.member < 0:
			if len(fs) != 1 || fs[0].Code != tc.code || !strings.Contains(fs[0].Remedy, "the other member") {
				t.Errorf("%+v: %v", tc, fs)
			}
			continue
		case len(fs) > 0 || len(r.Joints[0].Screws) != 1:
			t.Errorf("%+v: %v", tc, r.Findings)
			continue
		}
		s := r.Joints[0].Screws[0]
		want := 0.3 // from the leg's surface to the hollow's, where the insert lies flush
		if tc.member == 1 {
			for _, h := range supplies(bench()) {
				if h.Size == s.Size {
					want = 22.3 - math.Sqrt(22*22-h.width()*h.width()/4)
				}
			}
		}
		if s.Through != tc.member || !near(s.Sunk, want, 1e-9) {
			t.Errorf("%+v: %+v, sunk want %v", tc, s, want)
		}
		boresOpen(t, tc.through, p, r)
	}
}

// TestSockets: what is made of round contacts.
func TestSockets(t *testing.T) {
	size := func(s string) piece.JointRule { return piece.JointRule{Kind: piece.KnockDown, Screw: s, Dowels: -1} }
	two := size("M4")
	two.Screws = 2
	const deep = 44.0
	for _, tc := range []struct {
		name   string
		rule   piece.JointRule
		hole   float64
		peg    piece.Member
		wide   float64 // of the host
		screws int
		code   string // of the one stop
	}{
		{"through", size(""), 14.2, post("leg", 14, -200, 22, geom.Vec3{}), 90, 1, ""},
		{"M6 by name", size("M6"), 14.2, post("leg", 14, -200, 22, geom.Vec3{}), 90, 1, ""},
		{"two", two, 14.2, post("leg", 14, -200, 22, geom.Vec3{}), 90, 2, ""},
		{"exact", size(""), 12.5, post("leg", 12.5, -200, 40, geom.Vec3{}), 90, 1, ""},
		{"tenon too thin", size(""), 6, post("leg", 6, -200, 22, geom.Vec3{}), 90, 0, tooThin},
		{"tenon too thin for M8", size("M8"), 10.5, post("leg", 10.5, -200, 22, geom.Vec3{}), 90, 0, tooThin},
		{"host wall too thin", size(""), 14.2, post("leg", 14, -200, 22, geom.Vec3{}), 40, 0, tooThin},
		{"too short to hold", size(""), 14.2, post("leg", 14, 17, 222, geom.Vec3{}), 90, 0, tooSmall},
	} {
		p := socketed(tc.rule, bored("seat", tc.wide, tc.wide, deep, tc.hole, geom.Vec3{}), tc.peg)
		r := place(t, p, bench())
		if len(r.Rounds) != 1 || len(r.Joints) != 1 {
			t.Errorf("%s: %d round contacts: %v", tc.name, len(r.Rounds), r.Findings)
			continue
		}
		j := r.Joints[0]
		if len(j.Screws) != tc.screws || len(j.Dowels) > 0 {
			t.Errorf("%s: %d screws: %v", tc.name, len(j.Screws), r.Findings)
		}
		fs := stops(r)
		if tc.code == "" && len(fs) > 0 || tc.code != "" && (len(fs) != 1 || fs[0].Code != tc.code || fs[0].Remedy == "") {
			t.Errorf("%s: %v, want %q", tc.name, fs, tc.code)
		}
		for _, s := range j.Screws {
			if s.Through != 0 || s.Into != 1 || math.Abs(s.Axis.Z) > 1e-9 {
				t.Errorf("%s: %+v", tc.name, s)
			}
			// What the insert needs of a round bar: sunk until the chord is as
			// wide as the insert and its walls: s = r - sqrt(r² - (w/2)²).
			for _, h := range supplies(bench()) {
				if w := h.width() / 2; h.Size == s.Size {
					want := tc.hole - math.Sqrt(math.Pow(p.Members[1].Turning.Profile.Segs[0].From().X, 2)-w*w)
					if !near(s.Sunk, want, 1e-9) || s.Engagement < h.insert.Length-1e-9 {
						t.Errorf("%s: %s sunk by %v, want %v; engagement %v", tc.name, s.Size, s.Sunk, want, s.Engagement)
					}
				}
			}
		}
	}
}

// TestGluedSocket: the tenon is its own dowel.
func TestGluedSocket(t *testing.T) {
	p := socketed(piece.JointRule{Kind: piece.Glued, Dowels: -1}, bored("seat", 100, 100, 40, 12.5, geom.V3(0, 0, 20)), shouldered("leg", 12.5, 35, geom.Vec3{}))
	r := place(t, p, bench())
	if len(r.Rounds) != 1 || len(r.Contacts) != 1 || len(stops(r)) > 0 {
		t.Fatalf("%+v", r)
	}
	round, ring := 2*math.Pi*12.5*35, math.Pi*(20*20-12.5*12.5)
	if j := r.Joints[0]; !near(j.GlueArea, ring, 0.01*ring) || len(j.Dowels) > 0 || j.Contact != "seat:leg" {
		t.Errorf("shoulder: %+v", j)
	}
	if j := r.Joints[1]; !near(j.GlueArea, round, 1e-6*round) || len(j.Bores) > 0 || j.Contact != "seat:leg.2" {
		t.Errorf("tenon: %+v", j)
	}
	if len(coded(r, "blind-socket")) > 0 {
		t.Errorf("air gets out of a hole right through: %v", r.Findings)
	}
}

// TestShoulderAndTenon: a shoulder too narrow for a screw is no fault where a
// screw across holds the tenon; where the shoulder carries one, none goes across.
func TestShoulderAndTenon(t *testing.T) {
	for _, tc := range []struct {
		name     string
		shoulder float64
		first    int // screws in the shoulder
		second   int
	}{{"narrow shoulder", 20, 0, 1}, {"wide shoulder", 45, 2, 0}} {
		leg := shouldered("leg", 12.5, 44, geom.V3(0, 0, -22))
		leg.Turning.Profile.Segs[0] = geom.LineTo(geom.V2(tc.shoulder, 0), geom.V2(tc.shoulder, 300))
		leg.Turning.Profile.Segs[1] = geom.LineTo(geom.V2(tc.shoulder, 300), geom.V2(12.5, 300))
		r := place(t, socketed(knock("", ""), bored("seat", 140, 140, 44, 12.5, geom.Vec3{}), leg), bench())
		if len(r.Joints) != 2 || len(stops(r)) > 0 {
			t.Errorf("%s: %v", tc.name, r.Findings)
			continue
		}
		if len(r.Joints[0].Screws) != tc.first || len(r.Joints[1].Screws) != tc.second || len(coded(r, "held-already")) != 1 {
			t.Errorf("%s: %d and %d screws: %v", tc.name, len(r.Joints[0].Screws), len(r.Joints[1].Screws), r.Findings)
		}
	}
}

// TestTwoSocketsInOneLeg: two posts stand side by side through one block, and
// their screws and bores keep clear of each other.
func TestTwoSocketsInOneLeg(t *testing.T) {
	host := bored("beam", 200, 70, 60, 12.5, geom.Vec3{})
	hole := func(x float64) piece.Outline {
		return piece.NewOutline(geom.Path{Segs: []geom.Seg{geom.ArcOf(geom.V2(x, 0), 12.5, 12.5, 0, 0, -2*math.Pi)}, Closed: true}, piece.BreakAngle)
	}
	for _, x := range []float64{20, 40} {
		host.Board.Cutouts = []piece.Outline{hole(-x), hole(x)}
		p := &piece.Piece{Name: "beam", Sizes: piece.CoreSize, Joints: []piece.JointRule{knock("beam", "leg")},
			Members: []piece.Member{host, post("leg-1", 12.5, -200, 30, geom.V3(-x, 0, 0)), post("leg-2", 12.5, -200, 30, geom.V3(x, 0, 0))}}
		r := place(t, p, bench())
		if len(r.Rounds) != 2 || len(stops(r)) > 0 || len(r.Joints[0].Screws) != 1 || len(r.Joints[1].Screws) != 1 {
			t.Errorf("%v: %d round contacts: %v", x, len(r.Rounds), r.Findings)
		}
	}
}

// TestRoundContactsMoveWithThePiece: a rigid motion, and the order of the
// members, change nothing else.
func TestRoundContactsMoveWithThePiece(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := float64(rapid.IntRange(18, 32).Draw(t, "r")) / 2
		gap := float64(rapid.IntRange(0, 5).Draw(t, "gap")) / 10
		wide := float64(rapid.IntRange(60, 120).Draw(t, "wide"))
		var p *piece.Piece
		if rapid.Bool().Draw(t, "coped") {
			p = coped(r+6, gap, r, wide, knock("", ""))
		} else {
			p = socketed(knock("", ""), bored("seat", wide, wide-7, 44, r+gap, geom.V3(3, 5, 20)), post("leg", r, -200, 40, geom.V3(3, 5, 0)))
		}
		if rapid.Bool().Draw(t, "finished") {
			p.Sizes = piece.Finished
		}
		still, err := Place(context.Background(), kernel, p, bench(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		f := motion(t)
		q := moved(p, f)
		swapped := rapid.Bool().Draw(t, "swapped")
		if swapped {
			q.Members[0], q.Members[1] = q.Members[1], q.Members[0]
		}
		res, err := Place(context.Background(), kernel, q, bench(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range []struct {
			p *piece.Piece
			r *Result
		}{{p, still}, {q, res}} {
			for _, f := range Verify(x.p, x.r, bench()) {
				t.Errorf("verify: %v", f)
			}
			for _, j := range x.r.Joints {
				stopped := false
				for _, f := range x.r.Findings {
					stopped = stopped || f.Severity == finding.Stop
				}
				if len(j.Screws) == 0 && !stopped {
					t.Errorf("%s has no screw, and nothing says why", j.ID)
				}
			}
		}
		if len(still.Rounds) != 1 || len(res.Rounds) != 1 {
			t.Fatalf("%d and %d round contacts", len(still.Rounds), len(res.Rounds))
		}
		a, b := still.Rounds[0], res.Rounds[0]
		want := a.Axis.In(f)
		if !near(a.Area, b.Area, 1e-6*a.Area) || a.Closed != b.Closed || !near(a.Gap, b.Gap, 1e-9) || want.Origin.Dist(b.Axis.Origin) > 1e-6 || want.Z.Dist(b.Axis.Z) > 1e-9 || want.X.Dist(b.Axis.X) > 1e-6 {
			t.Errorf("%+v, want %+v turned to %v", b, a, want)
		}
	})
}

// TestRoundRegions: regions that wrap, and holes in them.
func TestRoundRegions(t *testing.T) {
	for _, tc := range []struct {
		ps   geom.Polygons
		want float64
		ok   bool
	}{
		{geom.Polygons{{{X: 10, Y: 0}, {X: 30, Y: 0}, {X: 30, Y: 5}}}, 70, true},  // 100 round: free from 30 on to 110
		{geom.Polygons{{{X: -20, Y: 0}, {X: 20, Y: 0}, {X: 20, Y: 5}}}, 50, true}, // across the seam
		{geom.Polygons{{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 5}, {X: 0, Y: 5}}}, 0, false},
		{geom.Polygons{{{X: 0, Y: 0}, {X: 40, Y: 0}, {X: 40, Y: 5}}, {{X: 50, Y: 0}, {X: 99, Y: 0}, {X: 99, Y: 5}}}, 45, true},
	} {
		if at, ok := free(tc.ps, 100); ok != tc.ok || ok && math.Abs(math.Remainder(at-tc.want, 100)) > 1e-9 {
			t.Errorf("%v: %v %v, want %v", tc.ps, at, ok, tc.want)
		}
	}
	c := RoundContact{Axis: geom.World(), Radius: 10, Closed: true, Region: geom.Polygons{{{X: -10 * math.Pi, Y: -20}, {X: 10 * math.Pi, Y: -20}, {X: 10 * math.Pi, Y: 20}, {X: -10 * math.Pi, Y: 20}}}}
	for _, tc := range []struct{ angle, z, want float64 }{{0, 0, 20}, {math.Pi, 12, 8}, {-math.Pi, -21, -1}, {9, 19, 1}} {
		if got := c.inside(tc.angle, tc.z); !near(got, tc.want, 1e-9) {
			t.Errorf("closed at %v, %v: %v, want %v", tc.angle, tc.z, got, tc.want)
		}
	}
	c.Closed, c.Region = false, geom.Polygons{{{X: -8, Y: -20}, {X: 8, Y: -20}, {X: 8, Y: 20}, {X: -8, Y: 20}}}
	for _, tc := range []struct{ angle, z, want float64 }{{0, 0, 10 * math.Sin(0.8)}, {0.3, 0, 10 * math.Sin(0.5)}, {0, 19, 1}} {
		if got := c.inside(tc.angle, tc.z); !near(got, tc.want, 1e-9) {
			t.Errorf("open at %v, %v: %v, want %v", tc.angle, tc.z, got, tc.want)
		}
	}
}

// TestVerifySeesRoundFaults: what Verify passes, and what it does not.
func TestVerifySeesRoundFaults(t *testing.T) {
	for i, p := range RoundPieces() {
		for name, spoil := range map[string]func(r *Result, j *Joint){
			"nothing": nil,
			"insert flush with the surface": func(r *Result, j *Joint) {
				for k := range j.Bores {
					if b := &j.Bores[k]; b.Purpose == InsertBore {
						b.Depth -= 3
					}
				}
			},
			"beside the radius": func(r *Result, j *Joint) {
				side := r.Rounds[0].Axis.Z.Cross(j.Screws[0].Axis).Scale(0.5)
				j.Screws[0].Head = j.Screws[0].Head.Add(side)
				for k := range j.Bores {
					j.Bores[k].Mouth = j.Bores[k].Mouth.Add(side)
				}
			},
			"out of the contact": func(r *Result, j *Joint) {
				up := r.Rounds[0].Axis.Z.Scale(r.Rounds[0].Region.Bounds().Size().Y/2 - 1)
				j.Screws[0].Head = j.Screws[0].Head.Add(up)
				for k := range j.Bores {
					j.Bores[k].Mouth = j.Bores[k].Mouth.Add(up)
				}
			},
			"a contact that is not there": func(r *Result, j *Joint) { j.Contact = "no:where" },
			"no screw, and nothing said":  func(r *Result, j *Joint) { j.Screws, j.Bores = nil, nil },
			"a shorter screw":             func(r *Result, j *Joint) { j.Screws[0].Length -= 5 },
		} {
			r := place(t, p, bench())
			j := &r.Joints[len(r.Joints)-1]
			if len(j.Screws) == 0 {
				t.Fatalf("piece %d has no screw: %v", i, r.Findings)
			}
			if spoil != nil {
				spoil(r, j)
			}
			if faults := Verify(p, r, bench()); (len(faults) > 0) != (spoil != nil) {
				t.Errorf("piece %d: %s: %v", i, name, faults)
			}
		}
	}
}

// TestBoresAreOpen: cut out by the kernel, every bore at a round contact is
// free of material from beyond its mouth, where a hollow's sides stand out, to
// its floor.
func TestBoresAreOpen(t *testing.T) {
	for i, p := range RoundPieces() {
		boresOpen(t, fmt.Sprintf("piece %d", i), p, place(t, p, bench()))
	}
}

func boresOpen(t *testing.T, name string, p *piece.Piece, r *Result) {
	t.Helper()
	for m := range p.Members {
		var cuts []solid.Shape
		for _, b := range r.Bores() {
			if b.Member == m {
				cuts = append(cuts, b.Cut().Shape)
			}
		}
		body, err := p.Members[m].Body(0.01)
		if err != nil {
			t.Fatal(err)
		}
		mesh, err := kernel.Mesh(context.Background(), solid.Difference(body.At(p.Members[m].Place), cuts...))
		if err != nil {
			t.Fatal(err)
		}
		f := newMeshForm(&surface.Solid{Vertices: mesh.Vertices, Triangles: mesh.Triangles, Of: make([]int32, len(mesh.Triangles))})
		for _, b := range r.Bores() {
			if b.Member != m {
				continue
			}
			fr := geom.FrameFromZ(b.Mouth, b.Axis)
			from := 0.0
			if b.Surface >= 0 {
				from = -max(b.Over, 2) // beyond its mouth there is none, but what the sides of a hollow leave
			}
			for k := range 50 {
				h := from + (b.Depth-from)*(float64(k)+0.5)/50
				for a := range 24 {
					sn, cs := math.Sincos(2 * math.Pi * float64(a) / 24)
					for _, q := range []float64{0, 0.5, 0.99} {
						if x := fr.Point(geom.V3(q*cs*b.Diameter/2, q*sn*b.Diameter/2, h)); f.holds(x) {
							t.Fatalf("%s: material in %s at %v", name, b.ID, x)
						}
					}
				}
			}
		}
	}
}

// TestRoundJointsAreSoundOrStopped draws posts, shouldered tenons and coped
// rails of any size with any rule. What comes out passes Verify or says stop.
func TestRoundJointsAreSoundOrStopped(t *testing.T) {
	s := bench()
	made := 0
	rapid.Check(t, func(t *rapid.T) {
		dim := func(name string, lo, hi int) float64 { return float64(rapid.IntRange(2*lo, 2*hi).Draw(t, name)) / 2 }
		rule := piece.JointRule{Kind: rapid.SampledFrom([]piece.JointKind{piece.KnockDown, piece.KnockDown, piece.Glued}).Draw(t, "kind"),
			Dowels: rapid.IntRange(-1, 2).Draw(t, "dowels"), Screws: rapid.SampledFrom([]int{0, 0, 1, 2, 3}).Draw(t, "screws"),
			Screw: rapid.SampledFrom([]string{"", "", "M4", "M5", "M6", "M8"}).Draw(t, "size")}
		r, gap := dim("radius", 7, 26), dim("gap", 0, 1)/2
		var p *piece.Piece
		switch rapid.SampledFrom([]string{"post", "tenon", "coped"}).Draw(t, "what") {
		case "post":
			h := dim("host", 15, 80)
			p = socketed(rule, bored("seat", 2*r+dim("wall", 5, 90), 2*r+dim("other wall", 5, 90), h, r+gap, geom.V3(1, 2, 0)), post("leg", r, -dim("below", 1, 200), dim("above", 0, 50), geom.V3(1, 2, 0)))
		case "tenon":
			h := dim("host", 15, 80)
			p = socketed(rule, bored("seat", 2*r+dim("wall", 5, 90), 2*r+dim("other wall", 5, 90), h, r+gap, geom.V3(0, 0, h/2)), shouldered("leg", r, dim("tenon", 5, 80), geom.Vec3{}))
			if r > 19 { // no shoulder
				p.Members[1] = post("leg", r, -100, h, geom.Vec3{})
			}
		default:
			p = coped(r+2, gap, r*dim("share", 3, 9)/10, dim("high", 15, 150), rule)
			p.Joints[0].Through = rapid.SampledFrom([]string{"", "leg", "rail"}).Draw(t, "through")
		}
		if rapid.Bool().Draw(t, "finished") {
			p.Sizes = piece.Finished
		}
		if rapid.Bool().Draw(t, "wall in the way") {
			p.Members = append(p.Members, block("wall", 600, 10, 600, geom.V3(0, r+dim("clear", 55, 150), 0)))
		}
		p = moved(p, motion(t))
		res, err := Place(context.Background(), kernel, p, s, Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range Verify(p, res, s) {
			t.Errorf("verify: %v", f)
		}
		for i, j := range res.Joints {
			if i >= len(res.Contacts) && len(j.Bores) > 0 {
				made++
			}
		}
	})
	t.Logf("%d made", made)
	if made < 8 {
		t.Errorf("only %d joints were made: the draws test nothing", made)
	}
}
