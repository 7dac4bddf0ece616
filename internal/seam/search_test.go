package seam

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/veneer"

	"pgregory.net/rapid"
)

// cutterFor makes a cutter ready to look at planes.
func cutterFor(t testing.TB, k *solid.Kernel, in Inputs) *cutter {
	t.Helper()
	c, err := prepare(context.Background(), k, in, Options{}.withDefaults(), 0, Bodies(in.Cores, in.Groups)[0])
	if err != nil {
		t.Fatal(err)
	}
	c.begin(false)
	c.setFrames()
	return c
}

func turning(radii ...float64) piece.Member {
	p := geom.Path{}
	for i := 1; i < len(radii); i++ {
		p.Segs = append(p.Segs, geom.LineTo(geom.V2(radii[i-1], 120*float64(i-1)), geom.V2(radii[i], 120*float64(i))))
	}
	run := make([]int, len(p.Segs))
	for i := range run {
		run[i] = i
	}
	return piece.Member{ID: "t", Name: "t", Place: geom.World(), Turning: &piece.Turning{Profile: p, Run: run}}
}

func lShape() geom.Path {
	c := []geom.Vec2{{X: 0, Y: 0}, {X: 400, Y: 0}, {X: 400, Y: 80}, {X: 90, Y: 80}, {X: 90, Y: 300}, {X: 0, Y: 300}}
	p := geom.Path{Closed: true}
	for i := range c {
		p.Segs = append(p.Segs, geom.LineTo(c[i], c[(i+1)%len(c)]))
	}
	return p
}

// What is worked out of a cut without the kernel agrees with the kernel's own
// solids: volumes of the parts, areas of sections, extents.
func TestCellsAgreeWithKernel(t *testing.T) {
	k := kernel(t)
	tilted := geom.FrameFromXZ(geom.V3(10, -20, 5), geom.V3(1, 0.3, 0.2), geom.V3(0.1, -0.2, 1))
	members := []piece.Member{
		board("a", ellipse(460, 340), 20, tilted),
		board("a", lShape(), 30, geom.World()),
		turning(20, 35, 15, 40),
		board("a", rectangle(300, 300), 250, geom.World()), // thick: planes meet inside it
	}
	var cutters []*cutter
	for _, m := range members {
		cutters = append(cutters, cutterFor(t, k, Inputs{Cores: []piece.Member{m}, Shop: ordinary, Fits: inBox(geom.V3(100, 100, 100))}))
	}
	rapid.Check(t, func(t *rapid.T) {
		c := cutters[rapid.IntRange(0, len(cutters)-1).Draw(t, "member")]
		shape := c.parts[0]
		x := c.whole
		for range rapid.IntRange(1, 4).Draw(t, "planes") {
			f := rapid.Float64Range(-1, 1)
			n := geom.V3(f.Draw(t, "x"), f.Draw(t, "y"), f.Draw(t, "z"))
			if n.Len() < 0.1 {
				n = geom.V3(0, 0, 1)
			}
			n = n.Unit()
			r := span(x.pts, n)
			pl := geom.Plane{Normal: n, D: r.lo + (r.hi-r.lo)*rapid.Float64Range(0.1, 0.9).Draw(t, "at")}
			s := c.look(x, pl)
			below, above := c.split(x, pl)
			if math.Abs(below.vol+above.vol-x.vol) > 1e-6*c.whole.vol {
				t.Fatalf("halves hold %.6f and %.6f of %.6f mm³", below.vol, above.vol, x.vol)
			}
			if math.Abs(s.below-below.vol) > 1e-6*c.whole.vol {
				t.Fatalf("look says %.6f mm³ lie below, the cut leaves %.6f", s.below, below.vol)
			}
			frame := geom.FrameFromZ(pl.Normal.Scale(pl.D), pl.Normal)
			sec, err := k.Sections(context.Background(), shape, frame, []float64{0})
			if err != nil {
				t.Fatal(err)
			}
			region := Clip(sec[0], frame, x.planes)
			if math.Abs(region.Area()-s.area) > 1e-3+1e-4*region.Area() {
				t.Fatalf("section of %.4f mm², the kernel says %.4f", s.area, region.Area())
			}
			if rapid.Bool().Draw(t, "below") {
				x, shape = below, shape.Below(pl, 0)
			} else {
				x, shape = above, shape.Above(pl, 0)
			}
			m, err := k.Mesh(context.Background(), shape)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(m.Volume-x.vol) > 1e-6*c.whole.vol {
				t.Fatalf("%.6f mm³, the kernel says %.6f", x.vol, m.Volume)
			}
			for _, a := range []geom.Vec3{{X: 1}, {Y: 1}, {Z: 1}, {X: 0.6, Y: 0.8}, {X: 0.36, Y: 0.48, Z: 0.8}} {
				got, want := span(x.pts, a), span(m.Vertices, a)
				if math.Abs(got.lo-want.lo) > 1e-3 || math.Abs(got.hi-want.hi) > 1e-3 {
					t.Fatalf("reaches from %.4f to %.4f along %v, the kernel says from %.4f to %.4f", got.lo, got.hi, a, want.lo, want.hi)
				}
			}
		}
	})
}

// The largest plane section of a box, beside sections at random places.
func TestLargestSection(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.Float64Range(1, 10)
		u := geom.V3(side.Draw(t, "x"), side.Draw(t, "y"), side.Draw(t, "z"))
		f := rapid.Float64Range(-1, 1)
		n := geom.V3(f.Draw(t, "nx"), f.Draw(t, "ny"), f.Draw(t, "nz")).Unit()
		if n.Len() < 0.5 {
			return
		}
		at := geom.V3(u.X*rapid.Float64Range(0.2, 0.8).Draw(t, "at"), u.Y/2, u.Z/2)
		// The plane's square, cut off by the six sides.
		frame := geom.FrameFromZ(at, n)
		const wide = 100
		region := geom.Polygons{{{X: -wide, Y: -wide}, {X: wide, Y: -wide}, {X: wide, Y: wide}, {X: -wide, Y: wide}}}
		region = Clip(region, frame, []geom.Plane{
			{Normal: geom.V3(1, 0, 0), D: u.X}, {Normal: geom.V3(0, 1, 0), D: u.Y}, {Normal: geom.V3(0, 0, 1), D: u.Z},
			{Normal: geom.V3(-1, 0, 0)}, {Normal: geom.V3(0, -1, 0)}, {Normal: geom.V3(0, 0, -1)},
		})
		if most := limitsOf([]geom.Vec3{u}).section; region.Area() > most*(1+1e-9) {
			t.Fatalf("a section of %v has %.6f, the largest is said to have %.6f", u, region.Area(), most)
		}
	})
}

// Bounds of bodies whose least number is known: bars longer than the diagonal,
// blocks of so many volumes, boards of so much face.
func TestBounds(t *testing.T) {
	k := kernel(t)
	printer := &shop.Shop{Printers: []shop.Printer{{Build: geom.V3(200, 200, 200)}}, Dowels: ordinary.Dowels}
	for _, tt := range []struct {
		name  string
		m     piece.Member
		least int
	}{
		{"bar of twice the diagonal", board("a", rectangle(692, 20), 20, geom.World()), 2}, // 2 x 346.41 is 692.82
		{"bar a little longer", board("a", rectangle(694, 20), 20, geom.World()), 3},
		{"block of 2 x 2 x 1.5 printers", board("a", rectangle(400, 400), 300, geom.World()), 6},
		{"board of 600 x 600", board("a", rectangle(600, 600), 10, geom.World()), 7}, // 360000 / (200 x 282.84) is 6.4
	} {
		c := cutterFor(t, k, Inputs{Cores: []piece.Member{tt.m}, Shop: printer, Fits: inBox(geom.V3(200, 200, 200))})
		if n := (Count{Bounds: c.bounds()}).Least(); n != tt.least {
			t.Errorf("%s: at least %d, want %d", tt.name, n, tt.least)
		}
	}
}

// bent is the bending stress of a bar along x from 0 to l that lies on its ends
// and carries its load in the middle.
func bent(l float64) func(int, geom.Vec3, geom.Vec3) float64 {
	return func(_ int, at, n geom.Vec3) float64 {
		return math.Abs(n.X) * 10 * min(at.X, l-at.X) / (l / 2)
	}
}

func TestSeamAwayFromGreatestMoment(t *testing.T) {
	k := kernel(t)
	in := Inputs{Cores: []piece.Member{board("a", rectangle(330, 60), 20, geom.World())}, Shop: ordinary, Fits: inBox(geom.V3(210, 210, 240))}
	for _, loaded := range []bool{false, true} {
		if loaded {
			in.Stress = bent(330)
			in.Strength = func(int) float64 { return 12 }
		}
		r, err := Plan(context.Background(), k, in, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Seams) != 1 {
			t.Fatalf("%d seams, want 1", len(r.Seams))
		}
		off := math.Abs(math.Abs(r.Seams[0].Plane.D) - 165)
		switch {
		case !loaded && off > 0.5:
			t.Errorf("with no load the seam lies %.1f mm from the middle", off)
		case loaded && off < 44: // 45 is as far as the bed lets it go
			t.Errorf("under a load in the middle the seam lies only %.1f mm from it", off)
		}
		if loaded && !slices.ContainsFunc(r.Seams[0].Terms, func(x Term) bool {
			return x.Name == "stress" && math.Abs(x.Measured-10*120/165.) < 0.1 && x.Unit == "MPa"
		}) {
			t.Errorf("terms %v do not tell the stress of %.2f MPa", r.Seams[0].Terms, 10*120/165.)
		}
		verify(t, r, nil, nil)
	}
}

// A seam rather lies where veneer covers it.
func TestSeamUnderVeneer(t *testing.T) {
	k := kernel(t)
	in := Inputs{Cores: []piece.Member{board("a", rectangle(330, 60), 20, geom.World())}, Shop: ordinary, Fits: inBox(geom.V3(210, 210, 240)),
		Covered: func(_ int, at geom.Vec3) bool { return at.X < 140 }}
	r, err := Plan(context.Background(), k, in, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Seams) != 1 || math.Abs(r.Seams[0].Plane.D) >= 140 {
		t.Errorf("seams %v, want one at less than 140", r.Seams)
	}
}

func leg(id string, place geom.Frame, mirrored bool) piece.Member {
	c := []geom.Vec2{{X: 0, Y: 0}, {X: 500, Y: 0}, {X: 500, Y: 36}, {X: 0, Y: 54}}
	p := geom.Path{Closed: true}
	for i := range c {
		p.Segs = append(p.Segs, geom.LineTo(c[i], c[(i+1)%4]))
	}
	if mirrored {
		p = p.Mirrored()
	}
	m := board(id, p, 22, place)
	m.Name, m.Mirrored = "leg", mirrored
	return m
}

// Four legs, two of them of the other hand, are cut alike although bores stand
// in the way of the planes in one of them only.
func TestTwinsAreCutAlike(t *testing.T) {
	k := kernel(t)
	world := geom.World()
	at := func(x, y float64, f geom.Frame) geom.Frame { f.Origin = geom.V3(x, y, 0); return f }
	turned := geom.Frame{X: geom.V3(-1, 0, 0), Y: geom.V3(0, -1, 0), Z: geom.V3(0, 0, 1)}
	cores := []piece.Member{
		leg("leg-1", at(0, 0, world), false), leg("leg-2", at(700, -300, world), true),
		leg("leg-3", at(0, 200, turned), false), leg("leg-4", at(100, 400, geom.FrameFromXZ(geom.Vec3{}, geom.V3(0, 0, 1), geom.V3(1, 0, 0))), false),
	}
	bores := []joint.Bore{{ID: "b", Member: 1, Purpose: joint.DowelBore, Mouth: cores[1].Place.Point(geom.V3(-250, 0, 11)), Axis: geom.V3(0, 1, 0), Diameter: 8, Depth: 20}}
	r, err := Plan(context.Background(), k, Inputs{Cores: cores, Bores: bores, Shop: ordinary, Fits: func(Body) Fitter {
		return func(pts []geom.Vec3) (geom.Frame, geom.Vec3, bool) { // any turn that is square
			b := geom.EmptyBox3()
			for _, p := range pts {
				b = b.Add(p)
			}
			s := b.Size()
			return geom.World(), s, max(s.X, s.Y, s.Z) <= 210
		}
	}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	verify(t, r, bores, nil)
	along := make([][]float64, len(cores))
	for _, s := range r.Seams {
		m := cores[s.Body]
		x := m.Place.Local(s.Frame.Origin).X
		if m.Mirrored {
			x = -x
		}
		along[s.Body] = append(along[s.Body], x)
	}
	for i := range along {
		slices.Sort(along[i])
		if len(along[i]) != 2 {
			t.Fatalf("%s has %d seams, want 2", cores[i].ID, len(along[i]))
		}
		if r.Counts[i].Like != 0 {
			t.Errorf("%s is cut like body %d, want 0", cores[i].ID, r.Counts[i].Like)
		}
		for j := range along[i] {
			if math.Abs(along[i][j]-along[0][j]) > 1e-6 {
				t.Errorf("%s is cut at %v, %s at %v", cores[i].ID, along[i], cores[0].ID, along[0])
			}
		}
	}
}

// A board that is its own mirror image gets its seams in pairs.
func TestSymmetric(t *testing.T) {
	k := kernel(t)
	r, err := Plan(context.Background(), k, Inputs{Cores: []piece.Member{board("a", rectangle(560, 60), 20, geom.World())}, Shop: ordinary, Fits: inBox(geom.V3(210, 210, 240)),
		Bores: []joint.Bore{{ID: "b", Purpose: joint.DowelBore, Mouth: geom.V3(190, 0, 10), Axis: geom.V3(0, 1, 0), Diameter: 8, Depth: 20}}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Seams) != 2 || math.Abs(r.Seams[0].Plane.D+r.Seams[1].Plane.D-560) > 1e-6 {
		t.Errorf("planes at %v and %v, want them to add up to 560", r.Seams[0].Plane, r.Seams[1].Plane)
	}
}

func TestRules(t *testing.T) {
	k := kernel(t)
	long := board("rail", rectangle(400, 60), 20, geom.World())
	short := board("rail", rectangle(180, 60), 20, geom.World())
	twin := board("rail-2", rectangle(400, 60), 20, geom.World())
	twin.Name, twin.Mirrored = "rail", true
	twin.Board.Outline = piece.NewOutline(rectangle(400, 60).Mirrored(), piece.BreakAngle)
	bore := []joint.Bore{{ID: "b", Purpose: joint.DowelBore, Mouth: geom.V3(205, 0, 10), Axis: geom.V3(0, 1, 0), Diameter: 8, Depth: 20}}
	at := func(x float64) piece.SeamRule {
		return piece.SeamRule{Member: "rail", Kind: piece.SeamAt, Axis: 0, At: x}
	}
	for _, tt := range []struct {
		name   string
		m      piece.Member
		rules  []piece.SeamRule
		bores  []joint.Bore
		planes []float64 // in world x, rising; nil for any
		stop   string    // code of the finding, "" for none
		says   string
	}{
		{name: "pinned", m: long, rules: []piece.SeamRule{at(195)}, planes: []float64{195}},
		{name: "pinned though it fits whole", m: short, rules: []piece.SeamRule{at(100)}, planes: []float64{100}},
		{name: "pinned in a twin", m: twin, rules: []piece.SeamRule{at(195)}, planes: []float64{-195}},
		{name: "pinned, and more are needed", m: long, rules: []piece.SeamRule{at(100)}, planes: []float64{100, 300}}, // its mirror image

		{name: "pinned through a bore", m: long, rules: []piece.SeamRule{at(205)}, bores: bore, stop: "seam-not-where-asked", says: "bore b"},
		{name: "pinned beyond the end", m: long, rules: []piece.SeamRule{at(500)}, stop: "seam-not-where-asked", says: "from 0.0 to 400.0"},
		{name: "pinned too near the end", m: long, rules: []piece.SeamRule{at(5)}, stop: "seam-not-where-asked", says: "thinner than 20"},
		{name: "kept clear", m: long, rules: []piece.SeamRule{{Member: "rail", Kind: piece.NoSeam, Axis: 0, Clear: [2]float64{195, 230}}}, planes: []float64{194.5}},
		{name: "kept clear where it must be", m: long, rules: []piece.SeamRule{{Member: "rail", Kind: piece.NoSeam, Axis: 0, Clear: [2]float64{20, 380}}}, stop: "seams-not-as-asked"},
		{name: "whole and short", m: short, rules: []piece.SeamRule{{Member: "rail", Kind: piece.Whole}}, planes: []float64{}},
		{name: "whole and long", m: long, rules: []piece.SeamRule{{Member: "rail", Kind: piece.Whole}}, stop: "seams-not-as-asked", says: "stay whole"},
		{name: "of another member", m: long, rules: []piece.SeamRule{{Member: "leg", Kind: piece.Whole}}, planes: []float64{200}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r, err := Plan(context.Background(), k, Inputs{Cores: []piece.Member{tt.m}, Rules: tt.rules, Bores: tt.bores, Shop: ordinary, Fits: inBox(geom.V3(210, 210, 240))}, Options{})
			if err != nil {
				t.Fatal(err)
			}
			var got []float64
			for _, s := range r.Seams {
				got = append(got, s.Plane.Normal.X*s.Plane.D)
			}
			slices.Sort(got)
			if tt.planes != nil && !slices.EqualFunc(got, tt.planes, func(a, b float64) bool { return math.Abs(a-b) < 1 }) {
				t.Errorf("planes at %v, want %v", got, tt.planes)
			}
			stops := slices.DeleteFunc(slices.Clone(r.Findings), func(f finding.Finding) bool { return f.Severity != finding.Stop })
			switch {
			case tt.stop == "" && len(stops) > 0:
				t.Errorf("findings %v", stops)
			case tt.stop != "" && (len(stops) != 1 || stops[0].Code != tt.stop || !strings.Contains(stops[0].Message, tt.says) || stops[0].Remedy == ""):
				t.Errorf("findings %v, want one %q that says %q", stops, tt.stop, tt.says)
			}
			if len(r.Segments) == 0 {
				t.Error("no segments: the rest of the job cannot be seen")
			}
		})
	}
}

// Never more segments than grids and boxes alone, nor than a plain grid of a
// plain board; never fewer than is provable; and the parts make up the
// whole.
func TestCounts(t *testing.T) {
	k := kernel(t)
	rapid.Check(t, func(t *rapid.T) {
		var m piece.Member
		w, h := rapid.Float64Range(150, 900).Draw(t, "width"), rapid.Float64Range(60, 500).Draw(t, "height")
		thick := rapid.Float64Range(16, 260).Draw(t, "thickness")
		kind := rapid.IntRange(0, 2).Draw(t, "kind")
		switch kind {
		case 0:
			m = board("a", rectangle(w, h), thick, geom.World())
		case 1:
			m = board("a", ellipse(w, h), thick, geom.World())
		default:
			m = board("a", lShape(), thick, geom.World())
		}
		box := geom.V3(210, 200, 240)
		in := Inputs{Cores: []piece.Member{m}, Fits: inBox(box), Shop: &shop.Shop{Dowels: ordinary.Dowels, Printers: []shop.Printer{{Build: box}}}}
		var bores []joint.Bore
		if rapid.Bool().Draw(t, "bored") {
			bores = []joint.Bore{{ID: "b", Mouth: geom.V3(0.4*w, 20, 0), Axis: geom.V3(0, 0, 1), Diameter: 8, Depth: 12}}
			in.Bores = bores
		}
		r, err := Plan(context.Background(), k, in, Options{})
		if err != nil {
			t.Fatal(err)
		}
		c := r.Counts[0]
		if c.Segments != len(r.Segments) || c.Segments < c.Least() {
			t.Fatalf("%d segments, counted %d, at least %d", len(r.Segments), c.Segments, c.Least())
		}
		if c.Simple > 0 && c.Segments > c.Simple {
			t.Fatalf("%d segments, by grids %d", c.Segments, c.Simple)
		}
		// A plain grid of a rectangle is free of slivers where it has equal parts.
		if kind == 0 && bores == nil {
			if n := int(math.Ceil(w/box.X) * math.Ceil(h/box.Y) * math.Ceil(thick/box.Z)); c.Segments > n {
				t.Fatalf("%d segments, a plain grid needs %d", c.Segments, n)
			}
		}
		shape, err := m.Body(0.05)
		if err != nil {
			t.Fatal(err)
		}
		whole, err := k.Measure(context.Background(), shape)
		if err != nil {
			t.Fatal(err)
		}
		var total float64
		for _, s := range r.Segments {
			part := shape
			for _, pl := range s.Planes {
				part = part.Below(pl, 0)
			}
			v, err := k.Measure(context.Background(), part)
			if err != nil {
				t.Fatalf("segment %s: %v", s.ID, err)
			}
			total += v.Volume
			if z := v.Bounds.Size(); z.X > box.X+1e-3 || z.Y > box.Y+1e-3 || z.Z > box.Z+1e-3 {
				t.Fatalf("segment %s is %v and does not fit", s.ID, z)
			}
		}
		if math.Abs(total-whole.Volume) > 1e-5*whole.Volume {
			t.Fatalf("segments hold %.3f of %.3f mm³", total, whole.Volume)
		}
	})
}

// The same inputs give the same plan, whatever is planned beside it.
func TestDeterministic(t *testing.T) {
	k := kernel(t)
	in := Inputs{Cores: []piece.Member{board("a", ellipse(460, 340), 20, geom.World()), board("b", lShape(), 40, geom.World()), turning(20, 35, 15, 40)},
		Shop: ordinary, Fits: inBox(geom.V3(210, 210, 240)), Stress: bent(400)}
	var first []geom.Plane
	for i := range 3 {
		r, err := Plan(context.Background(), k, in, Options{})
		if err != nil {
			t.Fatal(err)
		}
		var planes []geom.Plane
		for _, s := range r.Seams {
			planes = append(planes, s.Plane)
		}
		if i == 0 {
			first = planes
		} else if !slices.Equal(planes, first) {
			t.Fatalf("planes %v, the first time %v", planes, first)
		}
	}
}

func TestContextEnds(t *testing.T) {
	k := kernel(t)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Plan(ctx, k, Inputs{Cores: []piece.Member{board("a", ellipse(460, 340), 20, geom.World())}, Shop: ordinary, Fits: inBox(geom.V3(210, 210, 240))}, Options{}); err == nil {
		t.Error("no error although the context had ended")
	}
}

// A fitter that takes nothing, or a little, ends in words and not in a loop.
func TestNothingFits(t *testing.T) {
	k := kernel(t)
	for _, size := range []geom.Vec3{{}, {X: 1, Y: 1, Z: 1}, {X: 500, Y: 10, Z: 500}} {
		for _, m := range []piece.Member{board("a", ellipse(460, 340), 20, geom.World()), turning(20, 35, 15, 40)} {
			r, err := Plan(context.Background(), k, Inputs{Cores: []piece.Member{m}, Shop: ordinary, Fits: inBox(size), Tilted: inBox(size),
				Clears: []veneer.Clear{{Line: nil}, {Line: []geom.Vec3{{}}}}}, Options{MaxSegments: 8})
			if err != nil {
				t.Fatal(err)
			}
			if len(r.Segments) != 0 || len(r.Findings) != 1 || r.Findings[0].Code != "no-seams" {
				t.Errorf("%v: %d segments, findings %v; want none and one that says so", size, len(r.Segments), r.Findings)
			}
		}
	}
}

func TestDivide(t *testing.T) {
	// Two runs of three columns, each four high, take boxes of 3 x 2 steps twice two.
	cols := []uint64{0b1111, 0b1111, 0b1111, 0b11, 0b11, 0b11}
	if n, cuts := divide(cols, 3, 2); n != 3 || !slices.Equal(cuts, []int{3}) {
		t.Errorf("%d boxes, cuts %v; want 3 and one at 3", n, cuts)
	}
	for m, want := range map[uint64]int{0: 0, 1: 1, 0b1001: 2, 0b111: 1, 0b1111: 2, 1<<63 | 1: 2} {
		if n := stacks(m, 3); n != want {
			t.Errorf("%b takes %d boxes, want %d", m, n, want)
		}
	}
}

func BenchmarkPlanOval(b *testing.B) {
	k := kernel(b)
	in := Inputs{Cores: []piece.Member{board("a", ellipse(460, 340), 20, geom.World())}, Shop: ordinary, Fits: inBox(geom.V3(210, 210, 240))}
	for b.Loop() {
		if _, err := Plan(context.Background(), k, in, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
