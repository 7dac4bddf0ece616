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
)

// found lists the contacts of members, with no joints placed.
func found(t testing.TB, members ...piece.Member) *Result {
	t.Helper()
	return place(t, &piece.Piece{Name: "test", Sizes: piece.CoreSize, Members: members}, bench())
}

// splayed is a three-legged stool: a round seat on tapered round legs that
// lean outwards by lean, cut level at both ends.
func splayed(lean float64) *piece.Piece {
	const h, thick = 440.0, 24.0
	p := &piece.Piece{Name: "stool", Sizes: piece.CoreSize, Use: piece.Seat}
	seat := piece.Member{ID: "seat", Name: "seat", Place: geom.World(), Board: &piece.Board{Thickness: thick,
		Outline: piece.NewOutline(geom.Path{Segs: []geom.Seg{geom.ArcOf(geom.Vec2{}, 160, 160, 0, 0, 2*math.Pi)}, Closed: true}, piece.BreakAngle)}}
	seat.Place.Origin.Z = h
	p.Members = append(p.Members, seat)
	for i := range 3 {
		s, c := math.Sincos(2 * math.Pi * float64(i) / 3)
		out := geom.V3(c, s, 0)
		up := geom.V3(0, 0, math.Cos(lean)).Sub(out.Scale(math.Sin(lean)))
		long := h/math.Cos(lean) + 40
		foot := out.Scale(100).Add(geom.V3(0, 0, h)).Sub(up.Scale(h/math.Cos(lean) + 20))
		leg := turning(fmt.Sprintf("leg-%d", i+1), frame(foot, out, up), geom.V2(12, 0), geom.V2(20, long))
		top := geom.Plane{Normal: geom.V3(0, 0, 1), D: h}
		floor := geom.Plane{Normal: geom.V3(0, 0, -1), D: 0}
		leg.EndCuts = []piece.EndCut{{Plane: top.Local(leg.Place)}, {Plane: floor.Local(leg.Place)}}
		p.Members = append(p.Members, leg)
	}
	p.Joints = []piece.JointRule{knock("seat", "leg")}
	return p
}

func TestContactSides(t *testing.T) {
	top, leg := block("top", 300, 200, 20, geom.V3(0, 0, 10)), block("leg", 40, 30, 100, geom.V3(50, 0, -50))
	for _, tc := range []struct {
		name    string
		members []piece.Member
		a       string // goes on beyond the contact
		z       float64
	}{
		{"the top goes on", []piece.Member{top, leg}, "top", -1},
		{"whatever the order", []piece.Member{leg, top}, "top", -1},
		{"both end: the earlier", []piece.Member{block("one", 40, 30, 10, geom.V3(0, 0, 5)), block("two", 40, 30, 10, geom.V3(0, 0, -5))}, "one", -1},
		{"both go on: the earlier", []piece.Member{block("one", 90, 30, 10, geom.V3(0, 0, -5)), block("two", 30, 90, 10, geom.V3(0, 0, 5))}, "one", 1},
	} {
		r := found(t, tc.members...)
		if len(r.Contacts) != 1 {
			t.Errorf("%s: %d contacts", tc.name, len(r.Contacts))
			continue
		}
		c := r.Contacts[0]
		if got := tc.members[c.A.Member].ID; got != tc.a || !near(c.Frame.Z.Z, tc.z, 1e-12) {
			t.Errorf("%s: A is %s, Z %v", tc.name, got, c.Frame.Z)
		}
		if want := tc.members[0].ID + ":" + tc.members[1].ID; c.ID != want {
			t.Errorf("%s: ID %s, want %s", tc.name, c.ID, want)
		}
		if len(coded(r, "touches-with-no-joint")) != 1 || r.Joints[0].Kind != piece.Rests || r.Joints[0].Rule != -1 {
			t.Errorf("%s: a contact without a rule must rest, with a note: %v", tc.name, r.Findings)
		}
	}
}

// TestContactRegions compares regions with areas and centres worked out by hand.
func TestContactRegions(t *testing.T) {
	half := block("b", 100, 60, 20, geom.V3(50+20, 30, -10)) // reaches 20 mm under a, 30 of its width
	ring := block("a", 100, 100, 20, geom.V3(0, 0, 10))
	ring.Board.Cutouts = []piece.Outline{piece.NewOutline(polyline(true, geom.V2(-30, -30), geom.V2(-30, 30), geom.V2(30, 30), geom.V2(30, -30)), piece.BreakAngle)}
	// A bridge standing on two feet.
	bridge := board("bridge", 30, frame(geom.V3(0, 15, 0), geom.V3(1, 0, 0), geom.V3(0, -1, 0)),
		geom.V2(-60, 0), geom.V2(-30, 0), geom.V2(-30, 40), geom.V2(40, 40), geom.V2(40, 0), geom.V2(60, 0), geom.V2(60, 70), geom.V2(-60, 70))
	floor := block("floor", 300, 300, 20, geom.V3(0, 0, -10))
	for _, tc := range []struct {
		name    string
		members []piece.Member
		area    []float64
		at      []geom.Vec3
		long    []float64 // extents along Frame.X
	}{
		{"overhanging corner", []piece.Member{block("a", 100, 100, 20, geom.V3(0, 0, 10)), half}, []float64{30 * 50}, []geom.Vec3{{X: 35, Y: 25}}, []float64{50}},
		{"round a hole", []piece.Member{ring, floor}, []float64{100*100 - 60*60}, []geom.Vec3{{}}, []float64{100}},
		{"two feet", []piece.Member{floor, bridge}, []float64{900, 600}, []geom.Vec3{{X: -45}, {X: 50}}, []float64{30, 30}},
	} {
		r := found(t, tc.members...)
		if len(r.Contacts) != len(tc.area) {
			t.Errorf("%s: %d contacts, want %d", tc.name, len(r.Contacts), len(tc.area))
			continue
		}
		for i, c := range r.Contacts {
			// Either foot may come first.
			k := i
			if len(tc.at) == 2 && c.Frame.Origin.Dist(tc.at[i]) > 1 {
				k = 1 - i
			}
			if !near(c.Area, tc.area[k], 1e-3) || !near(c.Region.Area(), c.Area, 1e-3) || c.Frame.Origin.Dist(tc.at[k]) > 1e-5 || !near(c.Region.Bounds().Size().X, tc.long[k], 1e-5) {
				t.Errorf("%s: area %v at %v, %v long", tc.name, c.Area, c.Frame.Origin, c.Region.Bounds().Size())
			}
			if i == 1 && !strings.HasSuffix(c.ID, ".2") {
				t.Errorf("%s: the second contact's ID is %s", tc.name, c.ID)
			}
			if p := centroid(c.Region); p.Len() > 1e-6 {
				t.Errorf("%s: the region's centroid lies at %v of its frame", tc.name, p)
			}
		}
	}
	// The ring's edge is the only surface it has underneath: 6400 of 6400 covered, so the floor goes on.
	if r := found(t, ring, floor); !near(r.Contacts[0].B.Covered, 1, 1e-6) || r.Contacts[0].A.Member != 1 {
		t.Errorf("sides %+v", r.Contacts[0])
	}
}

// TestSplayedContact: a level cut through a cone of revolution whose axis
// leans is an ellipse with known area (conic sections; half-axes from the
// extreme radii along the slope).
func TestSplayedContact(t *testing.T) {
	for _, lean := range []float64{0, 0.05, 0.15, 0.3} {
		p := splayed(lean)
		r := place(t, p, bench())
		if len(r.Contacts) != 3 || len(stops(r)) != 0 {
			t.Fatalf("lean %v: %d contacts, %v", lean, len(r.Contacts), r.Findings)
		}
		for i, c := range r.Contacts {
			// In the cutting plane, u down the slope and v across it:
			// u² cos² + v² = (r0 + k u sin)², r0 the radius where the plane
			// meets the axis; completing the square gives an ellipse of area
			// π r0² cos² / D^(3/2), D = cos² - k² sin².
			long := 440/math.Cos(lean) + 40
			k := 8 / long
			r0 := 12 + k*(long-20)
			s, cs := math.Sincos(lean)
			want := math.Pi * r0 * r0 * cs * cs / math.Pow(cs*cs-k*k*s*s, 1.5)
			if !near(c.Area, want, 2e-3*want) {
				t.Errorf("lean %v: area %v, want %v", lean, c.Area, want)
			}
			if c.A.Member != 0 || c.B.Member != i+1 || !near(c.Frame.Z.Z, -1, 1e-9) {
				t.Errorf("lean %v: contact %+v", lean, c)
			}
			for _, sc := range r.Joints[i].Screws {
				if math.Abs(sc.Axis.Z) < 1-1e-9 {
					t.Errorf("lean %v: the screw's axis is %v, not square to the seat", lean, sc.Axis)
				}
			}
			if len(r.Joints[i].Screws) == 0 {
				t.Errorf("lean %v: no screw", lean)
			}
		}
	}
}

// TestContactsMoveWithThePiece: a rigid motion of the whole piece moves its
// contacts and changes nothing else.
func TestContactsMoveWithThePiece(t *testing.T) {
	pieces := []*piece.Piece{table(), splayed(0.15)}
	for i := range pieces {
		pieces[i].Joints = nil // contacts only
	}
	still := make([]*Result, len(pieces))
	for i, p := range pieces {
		still[i] = place(t, p, bench())
	}
	rapid.Check(t, func(t *rapid.T) {
		i := rapid.IntRange(0, len(pieces)-1).Draw(t, "piece")
		f := motion(t)
		r, err := Place(context.Background(), kernel, moved(pieces[i], f), bench(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Contacts) != len(still[i].Contacts) {
			t.Fatalf("%d contacts, still %d", len(r.Contacts), len(still[i].Contacts))
		}
		for k, c := range r.Contacts {
			o := still[i].Contacts[k]
			want := o.Frame.In(f)
			if c.ID != o.ID || c.A.Member != o.A.Member || c.A.Surface != o.A.Surface || c.B.Surface != o.B.Surface {
				t.Errorf("contact %d is %s %v %v, still %s %v %v", k, c.ID, c.A, c.B, o.ID, o.A, o.B)
			}
			if !near(c.Area, o.Area, 1e-4*o.Area) || c.Frame.Origin.Dist(want.Origin) > 1e-3 || c.Frame.Z.Dist(want.Z) > 1e-9 || c.Frame.X.Dist(want.X) > 1e-3 {
				t.Errorf("%s: area %v frame %v, want %v %v", c.ID, c.Area, c.Frame, o.Area, want)
			}
		}
	})
}

// TestMirroredMembers: a member made by mirroring touches where its twin does.
func TestMirroredMembers(t *testing.T) {
	// A bracket whose outline is not symmetric, and its mirror image in X = 0.
	pts := []geom.Vec2{{X: 0, Y: 0}, {X: 70, Y: 0}, {X: 50, Y: 40}, {X: 0, Y: 60}}
	one := board("bracket-1", 25, frame(geom.V3(40, 12.5, 0), geom.V3(1, 0, 0), geom.V3(0, -1, 0)), pts...)
	var back []geom.Vec2
	for i := len(pts) - 1; i >= 0; i-- {
		back = append(back, geom.V2(-pts[i].X, pts[i].Y))
	}
	two := board("bracket-2", 25, frame(geom.V3(-40, 12.5, 0), geom.V3(1, 0, 0), geom.V3(0, -1, 0)), back...)
	two.Mirrored = true
	p := &piece.Piece{Name: "brackets", Sizes: piece.CoreSize, Joints: []piece.JointRule{knock("base", "bracket")},
		Members: []piece.Member{block("base", 300, 80, 20, geom.V3(0, 0, -10)), one, two}}
	r := place(t, p, bench())
	if len(r.Contacts) != 2 || len(stops(r)) > 0 {
		t.Fatalf("%d contacts, %v", len(r.Contacts), r.Findings)
	}
	a, b := r.Contacts[0], r.Contacts[1]
	if !near(a.Area, 70*25, 1e-3) || !near(b.Area, a.Area, 1e-3) || a.Frame.Origin.Dist(geom.V3(75, 0, 0)) > 1e-6 || b.Frame.Origin.Dist(geom.V3(-75, 0, 0)) > 1e-6 {
		t.Errorf("contacts %+v, %+v", a, b)
	}
	if len(r.Joints[0].Screws) != len(r.Joints[1].Screws) {
		t.Errorf("twins are held by %d and %d screws", len(r.Joints[0].Screws), len(r.Joints[1].Screws))
	}
}

func TestTolerances(t *testing.T) {
	top := block("top", 200, 200, 20, geom.V3(0, 0, 10))
	at := func(gap float64) []piece.Member {
		return []piece.Member{top, block("leg", 40, 40, 100, geom.V3(0, 0, -50-gap))}
	}
	tilted := func(angle float64) []piece.Member {
		leg := block("leg", 40, 40, 100, geom.V3(0, 0, -50))
		s, c := math.Sincos(angle)
		// Turned about the edge that keeps touching.
		f := frame(geom.V3(-20, 0, 0), geom.V3(c, 0, -s), geom.V3(s, 0, c))
		leg.Place.Origin = leg.Place.Origin.Add(geom.V3(20, 0, 0))
		leg.Place = leg.Place.In(f)
		return []piece.Member{top, leg}
	}
	for _, tc := range []struct {
		name     string
		members  []piece.Member
		contacts int
		code     string
		says     string
	}{
		{"touching", at(0), 1, "touches-with-no-joint", ""},
		{"gap 0.04", at(0.04), 1, "touches-with-no-joint", ""},
		{"gap 0.3", at(0.3), 0, "faces-nearly-touch", "lie 0.3 mm apart"},
		{"gap 0.95", at(0.95), 0, "faces-nearly-touch", "lie 0.95 mm apart"},
		{"gap 1.5", at(1.5), 0, "", ""},
		{"overlap 0.04", at(-0.04), 1, "touches-with-no-joint", ""},
		{"overlap 0.4", at(-0.4), 0, "faces-nearly-touch", "overlap by 0.4 mm"},
		{"overlap 3", at(-3), 0, "members-overlap", "reach into each other: they share 4.8 cm³"},
		{"tilted by rounding", tilted(0.0005), 1, "touches-with-no-joint", ""},
		{"tilted 0.02", tilted(0.02), 0, "faces-nearly-touch", "open to 0.8 mm"},
		{"tilted 0.1", tilted(0.1), 0, "", ""},
		{"a small contact", []piece.Member{top, block("pin", 8, 8, 30, geom.V3(0, 0, -15))}, 0, "small-contact", "64 mm²"},
		{"edge on edge", []piece.Member{top, block("leg", 40, 40, 100, geom.V3(120, 0, -50))}, 0, "", ""},
		{"beside each other", []piece.Member{top, block("leg", 40, 40, 100, geom.V3(120, 0, -30))}, 1, "touches-with-no-joint", ""},
	} {
		r := found(t, tc.members...)
		if len(r.Contacts) != tc.contacts {
			t.Errorf("%s: %d contacts, want %d", tc.name, len(r.Contacts), tc.contacts)
		}
		if tc.code == "" {
			if len(r.Findings) > 0 {
				t.Errorf("%s: %v", tc.name, r.Findings)
			}
			continue
		}
		fs := coded(r, tc.code)
		if len(fs) != 1 || len(r.Findings) != 1 || !strings.Contains(fs[0].Message, tc.says) || fs[0].Remedy == "" {
			t.Errorf("%s: %v", tc.name, r.Findings)
			continue
		}
		if tc.code != "touches-with-no-joint" && !(strings.Contains(fs[0].Message, "top") && strings.Contains(fs[0].Message, tc.members[1].ID)) {
			t.Errorf("%s: it does not name both: %v", tc.name, fs[0])
		}
		if tc.code == "members-overlap" && fs[0].Severity != finding.Stop {
			t.Errorf("%s: %v", tc.name, fs[0])
		}
	}
}

func TestPrintedAsOne(t *testing.T) {
	p := &piece.Piece{Name: "one", Sizes: piece.CoreSize, PrintAsOne: [][]int{{0, 1}}, Joints: []piece.JointRule{knock("a", "b")},
		Members: []piece.Member{block("a", 100, 100, 20, geom.V3(0, 0, 10)), block("b", 40, 40, 50, geom.V3(0, 0, -15)), block("c", 40, 40, 50, geom.V3(0, 0, -65))}}
	r := place(t, p, bench())
	if len(r.Contacts) != 1 || r.Contacts[0].ID != "b:c" || len(stops(r)) > 0 {
		t.Errorf("contacts %v, findings %v: members printed as one neither touch nor overlap", r.Contacts, r.Findings)
	}
}

func TestOverlaps(t *testing.T) {
	// Two 20 mm bars crossing at right angles share a cube of 8000 mm³; twice
	// its volume over its surface is 20/3.
	p := &piece.Piece{Members: []piece.Member{block("a", 100, 20, 20, geom.V3(0, 0, 0)), block("b", 20, 100, 20, geom.V3(0, 0, 0)), block("c", 20, 20, 20, geom.V3(300, 0, 0))}}
	forms, err := formsOf(p, measureChord)
	if err != nil {
		t.Fatal(err)
	}
	boxes := boxesOf(forms)
	o, err := overlaps(context.Background(), kernel, p, boxes, newBoxTree(boxes).pairs(boxes, 0))
	if err != nil || len(o) != 1 || o[0].Members != [2]int{0, 1} || !near(o[0].Volume, 8000, 1e-3) || !near(o[0].Depth, 20.0/3, 1e-4) {
		t.Errorf("%+v, %v", o, err)
	}
}
