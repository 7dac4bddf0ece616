package veneer

import (
	"context"
	"math"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/solid"
)

// post is a round leg in a round hole of a seat: the leg is 200 mm long and
// goes 15 mm into the seat's 25, from below.
func post(sizes piece.Sizes, region geom.Polygons, closed bool) (*piece.Piece, []joint.RoundContact) {
	const r = 25
	seat := board("seat", rectangle(300, 300), 25, lifted(185))
	hole := geom.Path{Closed: true, Segs: []geom.Seg{geom.ArcOf(geom.V2(150, 150), r, r, 0, 0, -2*math.Pi)}}
	seat.Board.Cutouts = []piece.Outline{piece.NewOutline(hole, piece.BreakAngle)}
	at := geom.World()
	at.Origin = geom.V3(150, 150, 0)
	leg := turning("leg", path(false, geom.V2(r, 0), geom.V2(r, 200)), at)
	axis := geom.World()
	axis.Origin = geom.V3(150, 150, 192.5)
	if region == nil {
		region = geom.Polygons{{geom.V2(0, -7.5), geom.V2(2*math.Pi*r, -7.5), geom.V2(2*math.Pi*r, 7.5), geom.V2(0, 7.5)}}
	}
	area := region.Area()
	p := pieceOf(sizes, seat, leg)
	p.Surfaces = []piece.SurfaceRule{{Member: "leg", Surface: "ends", Show: "bare"}}
	return p, []joint.RoundContact{{
		ID: "leg:seat", A: joint.Side{Member: 0, Surface: 6, Covered: area / (2 * math.Pi * r * 25)}, B: joint.Side{Member: 1, Surface: 0, Covered: area / (2 * math.Pi * r * 200)},
		Axis: axis, Radius: r, Region: region, Closed: closed, Area: area,
	}}
}

func padVolume(t *testing.T, l *Layout, id string) float64 {
	t.Helper()
	for _, c := range l.Cuts {
		if c.ID == id {
			if !c.Add || c.Purpose != "pad" {
				t.Errorf("%+v", c)
			}
			m, err := testKernel(t).Measure(context.Background(), c.Shape)
			if err != nil {
				t.Fatal(err)
			}
			return m.Volume
		}
	}
	t.Fatalf("no pad %s", id)
	return 0
}

// TestRoundPad checks a ring pad, finished sizes: the core is brought back to
// the hole's radius but for 1.3 mm where the leg shows.
func TestRoundPad(t *testing.T) {
	p, rs := post(piece.Finished, nil, true)
	r := run(t, p, nil, &joint.Result{Rounds: rs}, testShop(600, 400), Options{})
	if c := r.l.Coverings[0][6]; c.State != Bare || c.Stack != 0 || c.Inset != 0 {
		t.Errorf("hole: %+v", c)
	}
	if c := r.l.Coverings[1][0]; c.State != Show || math.Abs(c.Inset-0.8) > 1e-9 {
		t.Errorf("leg: %+v", c)
	}
	if len(r.l.Windows) != 1 || r.l.Windows[0].Treatment != Pad {
		t.Fatalf("%+v", r.l.Windows)
	}
	// The leaf runs 1 mm under the seat.
	b := r.by["leg/side-1"]
	near(t, "leaf's height", b.Width, 185+1, 1e-6)
	near(t, "leaf's length", b.Length, math.Pi*(50-0.8), 1e-6)
	w := r.l.Windows[0].Region.Bounds()
	near(t, "window from", w.Min.Y, 186, 1e-6)
	near(t, "window to", w.Max.Y, 200, 1e-6)
	// The pad: from 1.3 mm within to the end, from 0.2 mm inside the core to the radius.
	want := math.Pi * (25*25 - 24.0*24.0) * (15 - 1.3)
	near(t, "pad", padVolume(t, r.l, "leg:seat/pad-2"), want, 0.02*want)
	checkWithin(t, r.l.Cuts[0].Shape, rs[0].Axis, 25)
}

// checkWithin checks that a pad does not stand proud of its radius, and reaches it.
func checkWithin(t *testing.T, s solid.Shape, axis geom.Frame, radius float64) {
	t.Helper()
	m, err := testKernel(t).Mesh(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	if err := m.Check(); err != nil {
		t.Error(err)
	}
	most := 0.0
	for _, v := range m.Vertices {
		most = max(most, axis.Local(v).XY().Len())
	}
	near(t, "pad's radius", most, radius, 1e-6)
}

// TestRoundPartPad checks a contact over a third of the turn that crosses the
// place where the leg's chart is cut open.
func TestRoundPartPad(t *testing.T) {
	const r = 25
	u := 2 * math.Pi * r / 3
	region := geom.Polygons{{geom.V2(-u/2, -7.5), geom.V2(u/2, -7.5), geom.V2(u/2, 7.5), geom.V2(-u/2, 7.5)}}
	p, rs := post(piece.Finished, region, false)
	res := run(t, p, nil, &joint.Result{Rounds: rs}, testShop(600, 400), Options{})
	win := res.l.Windows[0].Region
	core := u * (r - 0.8) / r
	near(t, "window", win.Area(), (core-2)*14, 0.01)
	box := win.Bounds()
	near(t, "window on both sides of the opening", box.Size().X, 2*math.Pi*(r-0.8), 0.01)
	want := (core - 2.6) / (2 * math.Pi * (r - 0.8)) * math.Pi * (25*25 - 24.0*24.0) * (15 - 1.3)
	near(t, "pad", padVolume(t, res.l, "leg:seat/pad-2"), want, 0.02*want)
	// The ring's butt joint is at the back; the band has a hole round the pad, as large.
	b := res.by["leg/side-1"]
	near(t, "leaf", b.NetArea, math.Pi*(50-0.8)*200-(core-2)*14*(50-0.8)/(50-1.6), 1)
}

// TestRoundWindow checks core sizes: the leaf stops at the seat's own veneer.
func TestRoundWindow(t *testing.T) {
	p, rs := post(piece.CoreSize, nil, true)
	r := run(t, p, nil, &joint.Result{Rounds: rs}, testShop(600, 400), Options{})
	if len(r.l.Windows) != 1 || r.l.Windows[0].Treatment != Open || len(r.l.Cuts) != 0 {
		t.Fatalf("%+v", r.l.Windows)
	}
	// The seat's underside is veneered: 0.8 mm of stack and 0.3 mm of clearance.
	near(t, "leaf's height", r.by["leg/side-1"].Width, 185-1.1, 1e-6)
}

// TestRoundFull leaves a peg bare that is in its hole altogether.
func TestRoundFull(t *testing.T) {
	p, rs := post(piece.Finished, nil, true)
	rs[0].B.Covered = 1
	r := run(t, p, nil, &joint.Result{Rounds: rs}, testShop(600, 400), Options{})
	if c := r.l.Coverings[1][0]; c.State != Bare || c.Why != "full contact with seat" {
		t.Errorf("%+v", c)
	}
}

// TestSolidsInTheRound joins a post with a coped rail and a socketed seat, all
// brought in as meshes, as the program does.
func TestSolidsInTheRound(t *testing.T) {
	round := func(x, y, z, r, length float64) solid.Shape {
		return solid.Cylinder(geom.V3(x, y, z), geom.V3(0, 0, 1), r, length, solid.NoTag, solid.CylinderOptions{Chord: 0.01})
	}
	const r = 40
	post := imported(t, "leg", round(0, 0, 0, r, 400), geom.World())
	rail := imported(t, "rail", solid.Difference(box(0, -30, 200, 300, 30, 225), round(0, 0, 190, r, 50)), geom.World())
	seat := imported(t, "seat", solid.Difference(box(-100, -100, 380, 300, 100, 410), round(0, 0, 370, r, 30)), geom.World())
	for _, sizes := range []piece.Sizes{piece.CoreSize, piece.Finished} {
		p := pieceOf(sizes, post, rail, seat)
		j, err := joint.Place(context.Background(), testKernel(t), p, exampleShop(), joint.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(j.Rounds) != 2 {
			t.Fatalf("%d round contacts", len(j.Rounds))
		}
		res := run(t, p, j.Contacts, j, exampleShop(), Options{})
		grounded(t, p, res)
		for _, c := range j.Rounds {
			if cov := res.l.Coverings[c.A.Member][c.A.Surface]; cov.Why != "full contact with leg" || cov.Inset != 0 {
				t.Errorf("%s: %+v", c.ID, cov)
			}
		}
		if len(res.l.Windows) != 2 {
			t.Fatalf("%+v", res.l.Windows)
		}
		arc := 2 * math.Asin(30.0/r)
		if sizes == piece.CoreSize {
			// Round the rail over the veneer of its four sides, and below the seat.
			size := res.l.Windows[0].Region.Bounds().Size()
			near(t, "window's height", size.Y, 25+2*1.1, 0.01)
			near(t, "seat's window", res.l.Windows[1].Region.Bounds().Size().Y, 20+1.1, 0.01)
			continue
		}
		// Pads less 1.3 mm all round: at the seat's only below.
		ring := math.Pi * (r*r - (r-1.0)*(r-1.0))
		near(t, "rail's pad", padVolume(t, res.l, j.Rounds[0].ID+"/pad-2"), ring*(25-2.6)*(arc*(r-0.8)-2.6)/(2*math.Pi*(r-0.8)), 10)
		near(t, "seat's pad", padVolume(t, res.l, j.Rounds[1].ID+"/pad-2"), ring*(20-1.3), 30)
	}
}
