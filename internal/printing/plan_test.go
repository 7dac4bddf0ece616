package printing

import (
	"context"
	"fmt"
	"math"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/mesh"
	"groundwork/internal/nest"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// The part that is drawn is larger by just what it shrinks, by machine axis,
// turned on the bed or not.
func TestShrinkageIsMadeUpFor(t *testing.T) {
	s := testShop()
	s.Filaments[0].Shrink = geom.V3(0.007, 0.004, 0.002)
	segs := []core.Segment{segment(t, "board", boxAt(300, 40, 5, 180, 60, 19)), segment(t, "block", box(90, 150, 30))}
	r := plan(t, s, segs...)
	ctx := context.Background()
	for i, p := range r.Prints {
		b, err := r.SegmentBody(ctx, kernel, segs, i)
		if err != nil {
			t.Fatal(err)
		}
		size := b.Bounds().Size()
		within(t, p.Segment+" size", size.X*size.Y*size.Z, p.Size.X*p.Size.Y*p.Size.Z, 1e-5)
		cooled := geom.V3(size.X*(1-0.007), size.Y*(1-0.004), size.Z*(1-0.002))
		want := segs[i].Bounds.Size()
		if got := []float64{min(cooled.X, cooled.Y), max(cooled.X, cooled.Y), cooled.Z}; math.Abs(got[0]-min(want.X, want.Y))+math.Abs(got[1]-max(want.X, want.Y))+math.Abs(got[2]-want.Z) > 1e-4 {
			t.Errorf("%s comes out as %v, want %v", p.Segment, cooled, want)
		}
	}
	for l := range r.Loads {
		d, err := r.LoadBodies(ctx, kernel, segs, l)
		if err != nil {
			t.Fatal(err)
		}
		for i, b := range d.Bodies {
			size := b.Bounds().Size()
			want := segs[r.Loads[l].Items[i].Print].Volume
			within(t, b.Name+" volume when cool", size.X*(1-0.007)*size.Y*(1-0.004)*size.Z*(1-0.002), want, 1e-5)
		}
	}
}

// sideTable is a set of some n different bored boards and curved pieces, as a
// small table has.
func sideTable(t testing.TB, n int) []core.Segment {
	var out []core.Segment
	up := geom.V3(0, 0, 1)
	for i := range n {
		l := 120 + 90*math.Mod(float64(i)*0.6180339887, 1)
		var s solid.Shape
		switch i % 4 {
		case 3: // a quarter of a rim
			s = solid.Difference(hole(0, 0, 0, up, l-20, 30), hole(0, 0, -1, up, l-39, 32)).
				Above(geom.PlaneAt(geom.Vec3{}, geom.V3(1, 0, 0)), 0).Above(geom.PlaneAt(geom.Vec3{}, geom.V3(0, 1, 0)), 0)
		case 2: // a tapered leg
			s = solid.Hull(box(l, 50, 19), boxAt(0, 0, 0, 10, 40, 25))
		default:
			s = box(l, 60+float64(i), 19)
		}
		cuts := []solid.Shape{
			hole(-1, 15, 9.5, geom.V3(1, 0, 0), 4, 26), hole(-1, 45, 9.5, geom.V3(1, 0, 0), 4, 26),
			hole(l-25, 15, 9.5, geom.V3(1, 0, 0), 4, 126), hole(l-25, 45, 9.5, geom.V3(1, 0, 0), 4, 26),
			hole(l/2, 30, -1, up, 2.8, 40), hole(l/2, 30, 12, up, 6.5, 40),
		}
		for k := range 12 { // a part number, 0.6 deep
			cuts = append(cuts, boxAt(40+float64(k)*4, 20, -1, 2.5, 4, 1.6))
		}
		out = append(out, segment(t, fmt.Sprintf("seg-%02d", i), solid.Difference(s, cuts...)))
	}
	return out
}

func TestPlanOfManySegments(t *testing.T) {
	s := testShop()
	s.Printers[0].Brim, s.Printers[0].Top = 4, 2
	s.Filaments[0].Shrink = geom.V3(0.006, 0.004, 0.003)
	segs := sideTable(t, 12)
	r := plan(t, s, segs...)
	seen := map[int]int{}
	for l, load := range r.Loads {
		if want := fmt.Sprintf("load-%02d", l+1); load.ID != want {
			t.Errorf("load %q, want %q", load.ID, want)
		}
		var items []nest.Item
		layout := nest.Layout{Bins: []nest.BinUse{{ID: "bed", Items: len(load.Items)}}}
		grams, slowest, sum := 0.0, 0.0, 0.0
		for _, it := range load.Items {
			seen[it.Print]++
			p := r.Prints[it.Print]
			grams += p.Grams
			slowest = max(slowest, p.Seconds)
			sum += p.Seconds
			items = append(items, nest.Item{ID: p.Segment, Shape: p.Footprint, Turns: []float64{0, math.Pi / 2, math.Pi, 3 * math.Pi / 2}})
			layout.Placements = append(layout.Placements, nest.Placement{Item: p.Segment, Turn: it.Turn, At: it.At})
		}
		within(t, load.ID+" grams", load.Grams, grams*1.05, 1e-9)
		// Sharing a load saves changes of layer, and costs some travel.
		if load.Seconds < slowest+420 || load.Seconds > 1.05*sum+420 {
			t.Errorf("%s: %.0f s, its parts alone %.0f", load.ID, load.Seconds, sum)
		}
		if load.Low >= load.Seconds || load.High <= load.Seconds {
			t.Errorf("%s: spread %g..%g round %g", load.ID, load.Low, load.High, load.Seconds)
		}
		for _, f := range nest.Verify(items, []nest.Bin{{ID: "bed", Size: geom.V2(220, 220), Margin: 4}}, &layout, 5) {
			if f.Severity == finding.Stop && !strings.Contains(f.Code, "figure") {
				t.Errorf("%s: %v", load.ID, f)
			}
		}
		d, err := r.LoadBodies(context.Background(), kernel, segs, l)
		if err != nil {
			t.Fatal(err)
		}
		b := d.Bounds()
		if b.Min.X < 4-1e-3 || b.Min.Y < 4-1e-3 || b.Max.X > 216+1e-3 || b.Max.Y > 216+1e-3 || math.Abs(b.Min.Z) > 1e-3 || b.Max.Z > 248 {
			t.Errorf("%s: lies in %v", load.ID, b)
		}
		for _, body := range d.Bodies {
			if rep, err := mesh.Check(body.Vertices, body.Triangles); err != nil || !rep.Printable() {
				t.Errorf("%s: %+v %v", body.Name, rep, err)
			}
		}
	}
	for i := range segs {
		if seen[i] != 1 {
			t.Errorf("%s is on %d loads", segs[i].ID, seen[i])
		}
		p := r.Prints[i]
		b := p.Beads
		within(t, p.Segment+" beads", (b.Outer+b.Inner+b.Cover+b.Fill)*bead{0.45, 0.28}.area()*1.04/1000, p.Grams, 1e-9)
		if g := segs[i].Volume * 1.04 / 1000 * p.Scale.X * p.Scale.Y * p.Scale.Z; p.Grams >= g || p.Grams < 0.25*g {
			t.Errorf("%s: %.1f g of %.1f solid", p.Segment, p.Grams, g)
		}
		// The footprint holds the body, and little more: its area is at least
		// the volume over the height.
		if a := p.Footprint.Area(); a < segs[i].Volume/p.Size.Z || a > p.Size.X*p.Size.Y*1.02 {
			t.Errorf("%s: footprint %.0f mm², size %.0f", p.Segment, a, p.Size)
		}
	}
	if again := plan(t, s, segs...); !cmp.Equal(r, again, cmp.AllowUnexported(Print{})) {
		t.Errorf("a second run differs: %s", cmp.Diff(r, again, cmp.AllowUnexported(Print{})))
	}
}

// A block that is pulled along its height lies on its side instead.
func TestPulledAlong(t *testing.T) {
	segs := []core.Segment{segment(t, "block", box(90, 80, 40))}
	for _, c := range []struct {
		along  geom.Vec3
		height float64
	}{{geom.Vec3{}, 40}, {geom.V3(1, 0, 0), 40}, {geom.V3(0, 0, 1), 80}} {
		r, err := Plan(context.Background(), kernel, segs, testShop(), func(int) string { return "abs" }, Options{Along: func(int) geom.Vec3 { return c.along }})
		if err != nil {
			t.Fatal(err)
		}
		within(t, fmt.Sprint("height when pulled along ", c.along), r.Prints[0].Size.Z, c.height, 1e-6)
	}
}

// What Fits takes for a printer's own cores, Plan can print, and no more.
func TestForCores(t *testing.T) {
	s := testShop()
	s.Filaments[0].Shrink = geom.V3(0.004, 0.006, 0.003)
	s.Printers[0].Brim = 3
	most := 214 * (1 - 0.006)
	for _, c := range []struct {
		side float64
		want bool
	}{{most - 1e-4, true}, {most + 1e-3, false}} {
		seg := segment(t, "block", box(c.side, c.side, 240))
		if _, ok := Fits(seg.Mesh.Vertices, ForCores(s.Printers[0], s.Filaments[0])); ok != c.want {
			t.Errorf("%g mm: fits %v", c.side, ok)
		}
		if r := plan(t, s, seg); (len(r.Loads) == 1) != c.want {
			t.Errorf("%g mm: %d loads", c.side, len(r.Loads))
		}
	}
}

// Nor is anything refused that Fits takes, though it have no flat face and fit along
// none of its own axes: random hulls.
func TestWhateverFitsIsPosed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var pts []geom.Vec3
		n := rapid.IntRange(8, 30).Draw(t, "n")
		for range n {
			pts = append(pts, geom.V3(rapid.Float64Range(-170, 170).Draw(t, "x"), rapid.Float64Range(-70, 70).Draw(t, "y"), rapid.Float64Range(-20, 20).Draw(t, "z")))
		}
		corners, faces := hull3(pts)
		if faces == nil {
			return
		}
		tri := make([][3]int32, len(faces))
		for i, f := range faces {
			tri[i] = [3]int32{int32(f[0]), int32(f[1]), int32(f[2])}
		}
		// Tight: of a size at which hardly any pose fits.
		room := geom.V3(rapid.Float64Range(130, 260).Draw(t, "wide"), rapid.Float64Range(130, 260).Draw(t, "deep"), rapid.Float64Range(40, 260).Draw(t, "high"))
		_, fits := fitsIn(pts, room)
		b := newBody(corners, tri)
		b.faces = nil // as of a body of which none is large enough
		s := settingOf(testShop())
		s.room = room
		if p, ok := b.choose(s); fits && !ok {
			t.Fatalf("fits, but is not posed")
		} else if ok {
			inside(t, b.points, p.frame, room)
		}
	})
}

func TestLoadOfOneIsThePrintAndHeatUp(t *testing.T) {
	r := plan(t, testShop(), segment(t, "board", box(150, 60, 19)))
	within(t, "seconds", r.Loads[0].Seconds, r.Prints[0].Seconds+420, 1e-9)
	within(t, "low", r.Loads[0].Low, 0.75*r.Loads[0].Seconds, 1e-9)
}

func TestShortestLayer(t *testing.T) {
	s := testShop()
	s.Printers[0].Profile.MinLayer = 60
	pegs := []core.Segment{segment(t, "a", box(10, 10, 8)), segment(t, "b", box(10, 10, 8.5)), segment(t, "c", box(10, 10, 9))}
	r := plan(t, s, pegs...)
	within(t, "alone", r.Prints[2].Seconds, float64(r.Prints[2].Layers)*61, 1e-9)
	// Together they share the wait.
	within(t, "together", r.Loads[0].Seconds, float64(r.Prints[2].Layers)*61+420, 1e-9)
}

func TestRepeats(t *testing.T) {
	leg := solid.Difference(box(150, 50, 19), hole(30, 25, 10, geom.V3(0, 0, 1), 4, 20))
	segs := []core.Segment{
		segment(t, "leg-1", leg),
		segment(t, "leg-2", leg.At(geom.FrameFromXZ(geom.V3(100, 50, 3), geom.V3(0, 1, 0.2), geom.V3(1, 0, 0)))),
		segment(t, "leg-3", solid.Difference(box(150, 50, 19), hole(30, 25, 12, geom.V3(0, 0, 1), 4, 20))),
	}
	r := plan(t, testShop(), segs...)
	if r.Prints[0].Repeats != "" || r.Prints[1].Repeats != "leg-1" || r.Prints[2].Repeats != "" {
		t.Fatalf("repeats %q %q %q", r.Prints[0].Repeats, r.Prints[1].Repeats, r.Prints[2].Repeats)
	}
	alone := plan(t, testShop(), segs[1])
	within(t, "grams taken over", r.Prints[1].Grams, alone.Prints[0].Grams, 1e-3)
	within(t, "seconds taken over", r.Prints[1].Seconds, alone.Prints[0].Seconds, 1e-2)
}

func TestPrintersShareTheWork(t *testing.T) {
	s := testShop()
	small := fast()
	small.ID, small.Build = "small", geom.V3(120, 120, 120)
	s.Printers = append(s.Printers, small)
	var segs []core.Segment
	for i := range 8 {
		segs = append(segs, segment(t, fmt.Sprint("block-", i), box(100, 50, 20+float64(i))))
	}
	segs = append(segs, segment(t, "long", box(200, 50, 20)))
	r := plan(t, s, segs...)
	volume := map[string]float64{}
	for _, p := range r.Prints {
		volume[p.Printer] += p.Volume
	}
	within(t, "balance", volume["small"], volume["fast"], 0.15)
	if r.Prints[8].Printer != "fast" {
		t.Errorf("the long one is printed on %q", r.Prints[8].Printer)
	}
}

// ball has no flat face.
func ball(r float64) solid.Shape {
	profile := []geom.Vec2{{Y: -r}}
	for i := 1; i < 120; i++ {
		a := (float64(i)/120 - 0.5) * math.Pi
		profile = append(profile, geom.V2(r*math.Cos(a), r*math.Sin(a)))
	}
	profile = append(profile, geom.V2(0, r))
	return solid.Revolve(profile, make([]solid.Tag, len(profile)), 200)
}

func TestFindings(t *testing.T) {
	for _, c := range []struct {
		name  string
		shape solid.Shape
		edit  func(*shop.Shop)
		want  string // code, "" for none
	}{
		{"plain board", box(100, 60, 19), nil, ""},
		{"too large every way", box(300, 300, 260), nil, "fits-no-printer stop"},
		{"stick longer than the diagonal", box(330, 8, 8), nil, "tilted warning"},
		{"mushroom", solid.Union(hole(0, 0, 0, geom.V3(0, 0, 1), 20, 40), hole(0, 0, 40, geom.V3(0, 0, 1), 60, 10), hole(0, 0, 45, geom.V3(0, 0, 1), 20, 40)), nil, "supports warning"},
		{"ball", ball(60), nil, "tilted warning"},
		{"rod with two flat ends", hole(0, 0, 0, geom.V3(1, 0, 0), 15, 180), nil, "upright warning"},
		{"longer than the filament likes", box(180, 60, 19), func(s *shop.Shop) { s.Filaments[0].MaxFlat = 150 }, "long-flat warning"},
		{"within what it likes", box(120, 60, 19), func(s *shop.Shop) { s.Filaments[0].MaxFlat = 150 }, ""},
		{"long and narrow in ABS", box(200, 20, 19), nil, "warp-prone note"},
		{"long and narrow in PLA", box(200, 20, 19), func(s *shop.Shop) { s.Filaments[0].Material = "PLA" }, ""},
	} {
		s := testShop()
		if c.edit != nil {
			c.edit(s)
		}
		r := plan(t, s, segment(t, "part", c.shape))
		var got []string
		for _, f := range r.Findings {
			got = append(got, f.Code+" "+f.Severity.String())
			if f.Subject != "part" || f.Stage != "printing" || f.Message == "" || f.Remedy == "" {
				t.Errorf("%s: incomplete finding %+v", c.name, f)
			}
		}
		if all := strings.Join(got, ", "); (c.want == "") != (all == "") || !strings.Contains(all, c.want) {
			t.Errorf("%s: findings %q, want %q", c.name, all, c.want)
		}
	}
	// A mating face on the bed.
	seg := segment(t, "part", box(150, 60, 19))
	both := []geom.Plane{geom.PlaneAt(geom.Vec3{}, geom.V3(0, 0, -1)), geom.PlaneAt(geom.V3(0, 0, 19), geom.V3(0, 0, 1))}
	r, err := Plan(context.Background(), kernel, []core.Segment{seg}, testShop(), func(int) string { return "abs" }, Options{Mating: func(int) []geom.Plane { return both }})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Findings) != 1 || r.Findings[0].Code != "bed-chamfer" || r.Prints[0].Chamfer != 0.4 {
		t.Errorf("findings %v, chamfer %g", r.Findings, r.Prints[0].Chamfer)
	}
	// A filament that the shop lacks.
	r, err = Plan(context.Background(), kernel, []core.Segment{seg}, testShop(), func(int) string { return "oak" }, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Findings) != 1 || r.Findings[0].Code != "filament-unknown" || len(r.Loads) != 0 {
		t.Errorf("findings %v, %d loads", r.Findings, len(r.Loads))
	}
}

func TestFaultyShops(t *testing.T) {
	seg := segment(t, "part", box(50, 50, 10))
	for name, edit := range map[string]func(*shop.Shop){
		"no printer":        func(s *shop.Shop) { s.Printers = nil },
		"brim eats the bed": func(s *shop.Shop) { s.Printers[0].Brim = 110 },
		"no layer height":   func(s *shop.Shop) { s.Printers[0].Profile.Layer = 0 },
		"NaN layer height":  func(s *shop.Shop) { s.Printers[0].Profile.Layer = math.NaN() },
		"bead too narrow":   func(s *shop.Shop) { s.Printers[0].Profile.Line = 0.2 },
		"no speed":          func(s *shop.Shop) { s.Printers[0].Profile.FillSpeed = 0 },
		"fill of 25":        func(s *shop.Shop) { s.Printers[0].Profile.Fill = 25 },
	} {
		s := testShop()
		edit(s)
		if _, err := Plan(context.Background(), kernel, []core.Segment{seg}, s, func(int) string { return "abs" }, Options{}); err == nil || !strings.HasPrefix(err.Error(), "printing: ") {
			t.Errorf("%s: error %v", name, err)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Plan(ctx, kernel, []core.Segment{seg}, testShop(), func(int) string { return "abs" }, Options{}); err == nil {
		t.Error("a cancelled plan gave no error")
	}
}

// A mesh that scaling and rounding left with a flat triangle is made anew.
func TestRemade(t *testing.T) {
	seg := segment(t, "board", solid.Difference(box(120, 60, 19), hole(60, 30, -1, geom.V3(0, 0, 1), 4, 30)))
	pts := append([]geom.Vec3{}, seg.Mesh.Vertices...)
	tri := append([][3]int32{}, seg.Mesh.Triangles...)
	// A point on the side of a triangle: its neighbour gets it as a flat one.
	a, c := tri[0][0], tri[0][1]
	pts = append(pts, pts[a].Lerp(pts[c], 0.5))
	n := int32(len(pts) - 1)
	tri[0][1] = n
	tri = append(tri, [3]int32{n, c, tri[0][2]}, [3]int32{a, c, n})
	if rep, err := mesh.Check(pts, tri); err != nil || rep.Degenerate == 0 || !rep.Closed {
		t.Fatalf("the test's mesh should be closed with a flat triangle: %+v %v", rep, err)
	}
	v, f, err := remade(context.Background(), kernel, pts, tri)
	if err != nil {
		t.Fatal(err)
	}
	rep, err := mesh.Check(v, f)
	if err != nil || !rep.Printable() {
		t.Fatalf("%+v %v", rep, err)
	}
	within(t, "volume", rep.Volume, seg.Volume, 1e-6)
}

// processor is the seconds of processor time used so far, since a wall clock
// says little on a shared machine.
func processor() float64 {
	var u syscall.Rusage
	syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

func BenchmarkPlan36(b *testing.B) {
	segs := sideTable(b, 36)
	s := testShop()
	start := processor()
	defer func() { b.ReportMetric((processor()-start)/float64(b.N), "cpu-s/op") }()
	for b.Loop() {
		if _, err := Plan(context.Background(), kernel, segs, s, func(int) string { return "abs" }, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkPoses36 is the choice of poses by itself.
func BenchmarkPoses36(b *testing.B) {
	segs := sideTable(b, 36)
	s := testShop()
	s.Filaments[0].Strength = 36
	o := Options{Across: func(int, geom.Vec3) float64 { return 1 }}.orDefault()
	start := processor()
	defer func() { b.ReportMetric((processor()-start)/float64(b.N), "cpu-s/op") }()
	for b.Loop() {
		st := stage{kernel: kernel, segments: segs, shop: s, options: o, jobs: make([]job, len(segs))}
		for i := range segs {
			st.jobs[i].filament = s.Filaments[0]
			if err := st.candidates(context.Background(), i); err != nil {
				b.Fatal(err)
			}
		}
	}
}

func BenchmarkLoadBodies36(b *testing.B) {
	segs := sideTable(b, 36)
	r := plan(b, testShop(), segs...)
	start := processor()
	defer func() { b.ReportMetric((processor()-start)/float64(b.N), "cpu-s/op") }()
	for b.Loop() {
		for l := range r.Loads {
			if _, err := r.LoadBodies(context.Background(), kernel, segs, l); err != nil {
				b.Fatal(err)
			}
		}
	}
}

// What the printer's log says is applied once, to loads of its filament alone,
// and what was worked out stays beside it.
func TestLoadsGoByTheLog(t *testing.T) {
	s := testShop()
	board := segment(t, "board", box(150, 60, 19))
	plain := plan(t, s, board)
	was := plain.Loads[0]
	if was.Reckoned != (Reckoned{was.Seconds, was.Grams}) || plain.Basis != Basis {
		t.Errorf("without a log: %+v, %s", was.Reckoned, plain.Basis)
	}
	s.Printers[0].Log = []shop.Logged{{Filament: "another", Time: shop.Correction{Times: 3}}}
	if r := plan(t, s, board); r.Loads[0].Seconds != was.Seconds || r.Basis != Basis {
		t.Errorf("by another filament's log: %+v", r.Loads[0])
	}
	s.Printers[0].Log = []shop.Logged{{
		Filament: was.Filament, Time: shop.Correction{Times: 1.1, Plus: 300, Spread: 0.08, Runs: 9}, Grams: shop.Correction{Times: 1.04, Runs: 9},
	}}
	r := plan(t, s, board)
	got := r.Loads[0]
	within(t, "seconds", got.Seconds, 1.1*was.Seconds+300, 1e-9)
	within(t, "low", got.Low, 0.92*got.Seconds, 1e-9)
	within(t, "high", got.High, 1.08*got.Seconds, 1e-9)
	within(t, "grams", got.Grams, 1.04*was.Grams, 1e-9)
	within(t, "metres", got.Metres, 1.04*was.Metres, 1e-9)
	if got.Reckoned != was.Reckoned || r.Basis != BasisLogged {
		t.Errorf("%+v, not %+v; %s", got.Reckoned, was.Reckoned, r.Basis)
	}
	if r.Prints[0].Seconds != plain.Prints[0].Seconds || r.Prints[0].Grams != plain.Prints[0].Grams {
		t.Error("the print itself was changed")
	}
}
