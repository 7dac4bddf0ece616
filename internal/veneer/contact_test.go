package veneer

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/solid"
)

func at(x, y, z float64) geom.Frame {
	f := geom.World()
	f.Origin = geom.V3(x, y, z)
	return f
}

// table is a top of 400 by 300 by 20 on four square legs of 40 that stand in
// from its corners by in.
func table(sizes piece.Sizes, in float64) *piece.Piece {
	ms := []piece.Member{board("top", rectangle(400, 300), 20, at(0, 0, 380))}
	for i, xy := range []geom.Vec2{{X: in, Y: in}, {X: 360 - in, Y: in}, {X: 360 - in, Y: 260 - in}, {X: in, Y: 260 - in}} {
		m := board(fmt.Sprintf("leg-%d", i+1), rectangle(40, 40), 380, at(xy.X, xy.Y, 0))
		m.Name = "leg"
		ms = append(ms, m)
	}
	return pieceOf(sizes, ms...)
}

func windowOf(t *testing.T, l *Layout, member int, contact string) Window {
	t.Helper()
	for _, w := range l.Windows {
		if w.Member == member && strings.HasPrefix(w.Contact, contact) {
			return w
		}
	}
	t.Fatalf("no window on member %d for %s", member, contact)
	return Window{}
}

func size(ps geom.Polygons) geom.Vec2 { return ps.Bounds().Size() }

func TestPad(t *testing.T) {
	p := table(piece.Finished, 30)
	cs := contactsOf(t, p)
	if len(cs) != 4 {
		t.Fatalf("%d contacts", len(cs))
	}
	r := run(t, p, cs, nil, testShop(600, 400), Options{})
	w := windowOf(t, r.l, 0, cs[0].ID)
	if w.Treatment != Pad {
		t.Fatalf("treatment %s", w.Treatment)
	}
	// The leaf reaches 1 mm under the leg all round; the pad leaves 0.3 mm more.
	near(t, "window", size(w.Region).X, 38, 1e-6)
	near(t, "window area", w.Region.Area(), 38*38, 1e-4)
	k := testKernel(t)
	var pads []piece.Cut
	for _, c := range r.l.Cuts {
		if c.Purpose == "pad" {
			pads = append(pads, c)
		}
	}
	if len(pads) != 4 {
		t.Fatalf("%d pads", len(pads))
	}
	m, err := k.Measure(context.Background(), pads[0].Shape)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "underside of the pad lies on the contact", m.Bounds.Min.Z, 380, 1e-5)
	near(t, "pad is as wide as the contact less the leaf and the gap", m.Bounds.Size().X, 40-2*1.3, 1e-5)
	// Core and pad together: the pad adds one stack, and closes the joint.
	body, err := r.l.Cores[0].Body(0)
	if err != nil {
		t.Fatal(err)
	}
	core := body.At(r.l.Cores[0].Place)
	plain, err := k.Measure(context.Background(), core)
	if err != nil {
		t.Fatal(err)
	}
	both, err := k.Measure(context.Background(), solid.Union(core, pads[0].Shape))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "what the pad adds", both.Volume-plain.Volume, 37.4*37.4*0.8, 0.5)
	near(t, "thickness of the top's core", r.l.Cores[0].Board.Thickness, 20-1.6, 1e-9)
	near(t, "core ends of the leg stay", r.l.Cores[1].Board.Thickness, 380, 1e-9)
	near(t, "core of the leg is thinner by two stacks", size(r.l.Cores[1].Surfaces(0)[0].Region).X, 38.4, 1e-6)
	// The underside is veneered for balance, with four holes; pads are not
	// trimmed to, so cut and net holes agree.
	under := r.by["top/back"]
	if len(under.Net) != 5 || under.Release != "bore centres" {
		t.Errorf("underside has %d loops, release %q", len(under.Net), under.Release)
	}
	near(t, "underside net", under.NetArea, 398.4*298.4-4*38*38, 1e-3)
	near(t, "underside cut", under.GrossArea, 402.4*302.4-4*38*38, 1e-3)
	c := r.l.Coverings
	for what, got := range map[string][2]string{
		"underside": {string(c[0][0].State) + " " + c[0][0].Why, "hidden underside; balances face"},
		"top":       {string(c[0][1].State) + " " + c[0][1].Why, "show shows"},
		"foot":      {string(c[1][0].State) + " " + c[1][0].Why, "bare foot"},
		"head":      {string(c[1][1].State) + " " + c[1][1].Why, "bare full contact with top"},
	} {
		if got[0] != got[1] {
			t.Errorf("%s: %q, want %q", what, got[0], got[1])
		}
	}
	near(t, "grain of the back lies as the face's, seen through the board", math.Abs(math.Cos(c[0][0].Grain)), 1, 1e-12)
}

func TestWindows(t *testing.T) {
	for _, c := range []struct {
		name   string
		sizes  piece.Sizes
		rule   string
		hole   float64 // side of the hole in the leaf
		leg    float64 // length of the leg's core
		top    float64 // thickness of the top's core
		gross  float64 // how much smaller the cut hole is on a side
		lifted float64 // how far the leg's core is moved
	}{
		// Core sizes: the leaf is cut to the leg over its veneer, + 0.3 mm.
		{"core", piece.CoreSize, "", 40 + 2*0.8 + 2*0.3, 380, 20, 1, 0},
		// Finished sizes: the leg is 40 over its veneer and reaches up to the core.
		{"finished", piece.Finished, "window", 40 + 2*0.3, 380.8, 18.4, 1, 0},
		// A pad under core sizes pushes the leg down by the stack.
		{"core, pad", piece.CoreSize, "pad", 38, 380, 20, 0, -0.8},
	} {
		p := table(c.sizes, 30)
		if c.rule != "" {
			p.Joints = []piece.JointRule{{Between: [2]string{"leg", "top"}, Kind: piece.KnockDown, Contact: c.rule}}
		}
		r := run(t, p, contactsOf(t, p), nil, testShop(600, 400), Options{})
		w := windowOf(t, r.l, 0, "")
		near(t, c.name+": hole", size(w.Region).X, c.hole, 1e-6)
		near(t, c.name+": hole", w.Region.Area(), c.hole*c.hole, 1e-4)
		near(t, c.name+": leg", r.l.Cores[1].Board.Thickness, c.leg, 1e-9)
		near(t, c.name+": top", r.l.Cores[0].Board.Thickness, c.top, 1e-9)
		near(t, c.name+": leg moved", r.l.Cores[1].Place.Origin.Z, c.lifted, 1e-9)
		under := r.by["top/back"]
		var net, gross float64
		for _, l := range under.Net {
			net += min(0, l.Area())
		}
		for _, l := range under.Gross {
			gross += min(0, l.Area())
		}
		near(t, c.name+": holes", -net, 4*c.hole*c.hole, 1e-3)
		near(t, c.name+": holes as cut", -gross, 4*math.Pow(c.hole-2*c.gross, 2), 1e-3)
		if (r.has("core-moved") != nil) != (c.lifted != 0) {
			t.Errorf("%s: finding core-moved: %v", c.name, r.has("core-moved"))
		}
	}
}

func TestThrough(t *testing.T) {
	for _, kind := range []piece.JointKind{piece.KnockDown, piece.Glued} {
		p := table(piece.Finished, 30)
		p.Joints = []piece.JointRule{{Between: [2]string{"top", "leg"}, Kind: kind, Contact: "through", Screws: 0}}
		r := run(t, p, contactsOf(t, p), nil, testShop(600, 400), Options{})
		refused := r.has("veneer-under-screw") != nil
		if refused != (kind == piece.KnockDown) {
			t.Errorf("%s: refused %v", kind, refused)
		}
		if kind == piece.Glued && (len(r.l.Windows) > 0 || len(r.l.Cuts) > 0 || len(r.by["top/back"].Net) != 1) {
			t.Errorf("glued: the leaf should run through: %d windows, %d cuts", len(r.l.Windows), len(r.l.Cuts))
		}
	}
}

func TestFlushContact(t *testing.T) {
	// Legs flush with the top's edges: pad and window run out to the border.
	p := table(piece.Finished, 0)
	r := run(t, p, contactsOf(t, p), nil, testShop(600, 400), Options{})
	w := windowOf(t, r.l, 0, "")
	// The core's border lies 0.8 inside the contact's: 40 − 0.8 − 1.
	near(t, "window in a corner", size(w.Region).X, 38.2, 1e-6)
	near(t, "window in a corner", size(w.Region).Y, 38.2, 1e-6)
	if n := len(r.by["top/back"].Net); n != 1 {
		t.Errorf("the corners are notches, but the leaf has %d loops", n)
	}
	draw(t, "notches", r.by["top/back"])
}

func TestBandsStopAtContacts(t *testing.T) {
	// A long board; blocks stand against its front edge: one as high as the
	// edge, so that the band is broken, one half as high, so that it has a
	// notch.
	b := board("rail", rectangle(400, 60), 20, at(0, 0, 100))
	whole := board("block", rectangle(50, 30), 20, at(100, -30, 100))
	half := board("half", rectangle(50, 30), 8, at(250, -30, 106))
	p := pieceOf(piece.CoreSize, b, whole, half)
	cs := contactsOf(t, p)
	if len(cs) != 2 {
		t.Fatalf("%d contacts", len(cs))
	}
	r := run(t, p, cs, nil, testShop(600, 400), Options{})
	var runs []string
	for _, b := range r.l.Bands {
		if b.Member == 0 && b.Surface == 2 {
			runs = append(runs, fmt.Sprintf("%s %.2f-%.2f", b.ID, b.From, b.To))
		}
	}
	// The block's sides are veneered, so the band stops 0.8 + 0.3 short of them.
	if got, want := strings.Join(runs, ", "), "rail/edge-1 0.00-98.90, rail/edge-1.2 151.10-400.00"; got != want {
		t.Errorf("runs %s, want %s", got, want)
	}
	second := r.by["rail/edge-1.2"]
	if len(second.Net) != 2 {
		t.Errorf("%d loops in the band with a hole", len(second.Net))
	}
	near(t, "hole", -second.Net[1].Area(), (50+2.2)*(8+2.2), 1e-3)
	if second.Release != "bore centres" {
		t.Errorf("release %q", second.Release)
	}
	// Allowance at the free end, the hole's 1 mm at the window.
	near(t, "end at the block", second.Net.Bounds().Min.X-second.Gross.Bounds().Min.X, 1, 1e-6)
}

func TestBoresAndPlugs(t *testing.T) {
	p := pieceOf(piece.CoreSize, board("top", rectangle(300, 200), 20, at(0, 0, 400)))
	j := &joint.Result{
		Joints: []joint.Joint{{ID: "joint-1", Bores: []joint.Bore{
			{ID: "b", Member: 0, Purpose: joint.Driver, Mouth: geom.V3(100, 80, 420), Axis: geom.V3(0, 0, -1), Diameter: 12, Depth: 20, Shows: true, Surface: 1},
			{ID: "c", Member: 0, Purpose: joint.InsertBore, Mouth: geom.V3(50, 50, 400), Axis: geom.V3(0, 0, 1), Diameter: 6, Depth: 8, Surface: 0},
		}}},
		Plugs: []joint.Plug{{ID: "plug-1", Member: 0, Surface: 1, Center: geom.V3(100, 80, 420), Axis: geom.V3(0, 0, 1), Diameter: 12, Depth: 5}},
	}
	r := run(t, p, nil, j, testShop(600, 400), Options{})
	f := r.by["top/face"]
	near(t, "net with the true hole", f.NetArea, 300*200-math.Pi*36, 0.6)
	near(t, "cut with a hole 1 mm smaller on a side", f.GrossArea, 304*204-math.Pi*25, 0.6)
	var c geom.Vec2
	for _, q := range f.Net[1] {
		c = c.Add(q.Scale(1 / float64(len(f.Net[1]))))
	}
	near(t, "hole x", c.X, 100, 1e-6)
	near(t, "hole y", c.Y, 80, 1e-6)
	plug := r.by["plug-1"]
	near(t, "plug's disc", plug.NetArea, math.Pi*36, 0.6)
	if plug.Member != -1 || plug.Kind != Leaf {
		t.Errorf("plug's leaf %+v", plug)
	}
	if len(r.by["top/back"].Net) != 1 {
		t.Error("a bore that does not show made a hole")
	}
}

func TestPrintedAsOne(t *testing.T) {
	// A T of two boards printed as one: the web's upper edge touches the
	// flange from below. The joint stage finds no contact there.
	flange := board("flange", rectangle(200, 60), 20, at(0, 0, 300))
	web := piece.Member{ID: "web", Name: "web", Board: &piece.Board{Outline: piece.NewOutline(rectangle(200, 80), piece.BreakAngle), Thickness: 20},
		Place: geom.Frame{Origin: geom.V3(0, 40, 220), X: geom.V3(1, 0, 0), Y: geom.V3(0, 0, 1), Z: geom.V3(0, -1, 0)}}
	p := pieceOf(piece.Finished, flange, web)
	p.PrintAsOne = [][]int{{0, 1}}
	r := run(t, p, contactsOf(t, p), nil, testShop(600, 400), Options{})
	top := r.l.Coverings[1][4] // edge-3 of the web: its upper edge
	if top.State != Bare || !strings.HasPrefix(top.Why, "full contact with flange") {
		t.Errorf("upper edge of the web: %+v", top)
	}
	near(t, "the web reaches up to the flange's core", top.Inset, -0.8, 1e-9)
	k := testKernel(t)
	var bodies []solid.Shape
	var sum float64
	for _, m := range r.l.Cores {
		b, err := m.Body(0)
		if err != nil {
			t.Fatal(err)
		}
		v, err := m.Volume()
		if err != nil {
			t.Fatal(err)
		}
		sum += v
		bodies = append(bodies, b.At(m.Place))
	}
	u, err := k.Components(context.Background(), solid.Union(bodies...))
	if err != nil {
		t.Fatal(err)
	}
	if len(u) != 1 {
		t.Errorf("the cores fall into %d parts", len(u))
	} else {
		near(t, "volume", u[0].Volume, sum, 1e-3*sum)
	}
	if r.has("flush-leaves") == nil {
		t.Error("the ends of web and flange are flush, and nothing is said of it")
	}
}
