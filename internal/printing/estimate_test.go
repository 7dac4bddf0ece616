package printing

import (
	"context"
	"math"
	"testing"

	"groundwork/internal/core"
	"groundwork/internal/geom"
	"groundwork/internal/shop"
	"groundwork/internal/solid"

	"pgregory.net/rapid"
)

// The bead lengths of a cuboid lying flat can be written down: contours are
// nested rectangles, cover layers and core fill are areas over spacings.
func TestCuboidByHand(t *testing.T) {
	const x, y, z = 200.0, 60.0, 19.0
	s := testShop()
	seg := segment(t, "board", box(x, y, z))
	r := plan(t, s, seg)
	p, m := r.Prints[0], s.Printers[0].Profile

	b := bead{m.Line, m.Layer}
	sp := b.spacing()
	n := int(math.Round((z-m.FirstLayer)/m.Layer)) + 1
	contours := 0.0
	for i := range m.Contours {
		d := m.Line/2 + float64(i)*sp
		contours += 2 * (x + y - 4*d)
	}
	d := m.Line/2 + (float64(m.Contours)-0.5)*sp
	core := (x - 2*d) * (y - 2*d)
	cover := 2 * float64(m.CoverLayers)
	length := float64(n)*contours + cover*core/sp + (float64(n)-cover)*m.Fill*core/sp
	if p.Layers != n {
		t.Fatalf("%d layers, want %d", p.Layers, n)
	}
	within(t, "grams", p.Grams, length*b.area()*1.04/1000, 1e-6)
	within(t, "metres", p.Metres, length*b.area()/(math.Pi*1.75*1.75/4)/1000, 1e-6)

	// Mass = density x (shell + fill), the shell being what is within five
	// beads of a side or five layers of top and bottom.
	in := float64(m.Contours) * sp
	ih := z - cover*m.Layer
	inner := (x - 2*in) * (y - 2*in) * ih
	within(t, "density x (shell + fill)", p.Grams, 1.04*(x*y*z-inner+m.Fill*inner)/1000, 0.01)

	// Time by hand: contours stop at four corners; cover lines are those of a
	// rectangle at 45 degrees, whose lengths can be written down as well.
	v := func(set float64) float64 { return min(set, m.Flow/b.area()) }
	layer := 0.0
	for i := range m.Contours {
		d := m.Line/2 + float64(i)*sp
		speed := v(m.InnerSpeed)
		if i == 0 {
			speed = v(m.OuterSpeed)
		}
		layer += 2*moveTime(x-2*d, speed, m.Acceleration) + 2*moveTime(y-2*d, speed, m.Acceleration)
	}
	layer += m.Retract + 4*moveTime(sp, m.TravelSpeed, m.Acceleration)
	reach := m.Retract + moveTime(math.Hypot(x-2*d, y-2*d)/2, m.TravelSpeed, m.Acceleration)
	lines := func(angle, pitch, length, set float64) (seconds, laid float64) {
		// chords of a rectangle by sweeping a line finely
		w, h := x-2*d, y-2*d
		s, c := math.Sincos(angle)
		breadth := w*math.Abs(s) + h*math.Abs(c)
		const steps = 20000
		for i := range steps {
			off := (float64(i)+0.5)/steps*breadth - breadth/2
			lo, hi := math.Inf(-1), math.Inf(1)
			for _, side := range [][2]float64{{c, w / 2}, {s, h / 2}} {
				at := -off * s
				if side[0] == s {
					at = off * c
				}
				if math.Abs(side[0]) < 1e-12 {
					if math.Abs(at) > side[1] {
						hi = lo
					}
					continue
				}
				a, e := (-side[1]-at)/side[0], (side[1]-at)/side[0]
				lo, hi = max(lo, min(a, e)), min(hi, max(a, e))
			}
			if hi > lo {
				k := breadth / steps / pitch
				laid += k * (hi - lo)
				seconds += k * (moveTime(hi-lo, v(set), m.Acceleration) + moveTime(pitch, m.TravelSpeed, m.Acceleration))
			}
		}
		return seconds * length / laid, length
	}
	c45, _ := lines(math.Pi/4, sp, core/sp, m.CoverSpeed)
	fill := 0.0
	pitch := 3 * sp / m.Fill
	for _, a := range []float64{0, math.Pi / 3, 2 * math.Pi / 3} {
		f, _ := lines(a+1e-9, pitch, m.Fill*core/sp/3, m.FillSpeed)
		fill += f
	}
	e, _ := estimatorOf(t, s, seg)
	fs := e.layers()
	within(t, "seconds of a cover layer", fs[2].seconds, layer+reach+c45, 0.01)
	// Lines along the sides are sampled at their true pitch, 5 to 6 mm, so a
	// narrow board gets whole numbers of them.
	within(t, "seconds of a filled layer", fs[n/2].seconds, layer+reach+fill, 0.03)
	if e.evaluations > 4 {
		t.Errorf("%d layers worked out for a plain board", e.evaluations)
	}
}

func estimatorOf(t testing.TB, s *shop.Shop, seg core.Segment) (*estimator, pose) {
	t.Helper()
	b := newBody(seg.Mesh.Vertices, seg.Mesh.Triangles)
	p, ok := b.choose(settingOf(s))
	if !ok {
		t.Fatalf("%s fits nowhere", seg.ID)
	}
	points := make([]geom.Vec3, len(b.points))
	for i, q := range b.points {
		points[i] = p.frame.Local(q)
	}
	in := func(region geom.Polygons, depth float64) geom.Polygons {
		out, err := kernel.Offset2(context.Background(), region, -depth, solid.Miter, 2, 0)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	return newEstimator(newMachine(s.Printers[0], s.Filaments[0]), points, b.triangles, in), p
}

func hole(x, y, z float64, axis geom.Vec3, r, l float64) solid.Shape {
	return solid.Cylinder(geom.V3(x, y, z), axis, r, l, 0, solid.CylinderOptions{})
}

// hard are shapes with what furniture has: bores along and across, steps,
// slopes, curves, thin places.
func hard() []struct {
	name  string
	shape solid.Shape
} {
	wedge := solid.Hull(boxAt(0, 0, 0, 150, 60, 19), boxAt(0, 0, 0, 150, 20, 40))
	return []struct {
		name  string
		shape solid.Shape
	}{
		{"board", box(200, 100, 19)},
		{"bored board", solid.Difference(box(200, 100, 19),
			hole(0, 30, 9.5, geom.V3(1, 0, 0), 4, 30), hole(0, 70, 9.5, geom.V3(1, 0, 0), 4, 30),
			hole(60, 50, -1, geom.V3(0, 0, 1), 3, 30), hole(60, 50, 13, geom.V3(0, 0, 1), 6.5, 10))},
		{"step", solid.Union(box(120, 80, 15), boxAt(0, 0, 0, 60, 80, 30))},
		{"wedge", wedge},
		{"disc", hole(0, 0, 0, geom.V3(0, 0, 1), 90, 25)},
		{"ring", solid.Difference(hole(0, 0, 0, geom.V3(0, 0, 1), 95, 40), hole(0, 0, -1, geom.V3(0, 0, 1), 76, 42))},
		{"rod", hole(0, 0, 0, geom.V3(1, 0, 0), 15, 180)},
		{"thin plate", box(150, 100, 1.2)},
		{"thin wall", box(150, 3, 60)},
		{"post", box(12, 12, 200)},
	}
}

func TestSlicesAgreeWithKernel(t *testing.T) {
	for _, h := range hard() {
		seg := segment(t, h.name, h.shape)
		s := newSlicer(seg.Mesh.Vertices, seg.Mesh.Triangles)
		size := seg.Bounds.Size().Z
		var heights []float64
		for i := range 12 {
			heights = append(heights, seg.Bounds.Min.Z+size*(float64(i)+0.37)/12)
		}
		want, err := kernel.Sections(context.Background(), h.shape, geom.World(), heights)
		if err != nil {
			t.Fatal(err)
		}
		for i, z := range heights {
			within(t, h.name+" section", s.at(z).Area(), want[i].Area(), 1e-4)
		}
	}
}

// Whatever is printed is no more than solid and no less than its contours.
func TestMassBounds(t *testing.T) {
	s := testShop()
	for _, h := range hard() {
		seg := segment(t, h.name, h.shape)
		e, _ := estimatorOf(t, s, seg)
		volume, contours, exact := 0.0, 0.0, 0.0
		for k, f := range e.layers() {
			a := e.bead(k).area()
			volume += f.length() * a
			contours += (f.outer + f.inner) * a
			exact += e.slicer.at(e.middle(k)).Area() * e.height(k)
		}
		if volume > exact*1.003 || volume < contours {
			t.Errorf("%s: %.0f mm³ of plastic, %.0f in contours, %.0f solid", h.name, volume, contours, exact)
		}
		// Layers taken at their middles add up to the body, but for half a layer
		// at the top.
		within(t, h.name+" volume of layers", exact, seg.Volume, 0.002+0.5*e.Layer/e.slicer.top)
		t.Logf("%-12s %4d layers, %3d worked out, %.0f %% full", h.name, e.count, e.evaluations, 100*volume/exact)
	}
}

// Sampling layers must not cost accuracy: compare with working out every one.
func TestSamplingAgreesWithEveryLayer(t *testing.T) {
	s := testShop()
	for _, h := range hard() {
		e, _ := estimatorOf(t, s, segment(t, h.name, h.shape))
		length, seconds := 0.0, 0.0
		for _, f := range e.layers() {
			length += f.length()
			seconds += f.seconds
		}
		allLength, allSeconds := 0.0, 0.0
		for k := range e.count {
			f := e.work(k)
			allLength += f.length()
			allSeconds += f.seconds
		}
		within(t, h.name+" bead", length, allLength, 0.005)
		within(t, h.name+" seconds", seconds, allSeconds, 0.005)
	}
}

func TestFullFillIsSolid(t *testing.T) {
	s := testShop()
	s.Printers[0].Profile.Fill = 1
	seg := segment(t, "block", box(100, 80, 40))
	r := plan(t, s, seg)
	// All but the rounded sides of the outermost beads, 0.03 mm deep.
	rim := (0.45 - bead{0.45, 0.28}.spacing()) / 2 * 2 * (100 + 80) * 40
	h := 0.28 * float64(r.Prints[0].Layers)
	within(t, "solid mass", r.Prints[0].Grams, (100*80*h-rim*h/40)*1.04/1000, 1e-3)
}

func TestEstimateProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(4, 200).Draw(t, "x")
		y := rapid.Float64Range(4, 200).Draw(t, "y")
		z := rapid.Float64Range(0.5, 60).Draw(t, "z")
		p := fast().Profile
		p.Fill = rapid.Float64Range(0, 1).Draw(t, "fill")
		p.Contours = rapid.IntRange(0, 6).Draw(t, "contours")
		p.CoverLayers = rapid.IntRange(0, 6).Draw(t, "covers")
		p.FillPattern = rapid.SampledFrom([]string{"triangles", "grid", "hexagons"}).Draw(t, "pattern")
		pts := cuboid(x, y, z)
		tri := [][3]int32{{0, 2, 3}, {0, 3, 1}, {4, 5, 7}, {4, 7, 6}, {0, 1, 5}, {0, 5, 4}, {2, 6, 7}, {2, 7, 3}, {0, 4, 6}, {0, 6, 2}, {1, 3, 7}, {1, 7, 5}}
		in := func(r geom.Polygons, d float64) geom.Polygons { // a rectangle needs no kernel
			b := r.Bounds().Grow(-d)
			if b.Min.X >= b.Max.X || b.Min.Y >= b.Max.Y {
				return nil
			}
			return geom.Polygons{{b.Min, {X: b.Max.X, Y: b.Min.Y}, b.Max, {X: b.Min.X, Y: b.Max.Y}}}
		}
		sum := func(p shop.Profile) (mm3, seconds float64) {
			e := newEstimator(machine{p, p.Flow}, pts, tri, in)
			for k, f := range e.layers() {
				mm3 += f.length() * e.bead(k).area()
				seconds += f.seconds
				if f.outer < 0 || f.inner < 0 || f.cover < 0 || f.fill < 0 || !(f.seconds >= 0) {
					t.Fatalf("layer %d: %+v", k, f)
				}
			}
			return mm3, seconds
		}
		mm3, seconds := sum(p)
		h := float64(machine{p, p.Flow}.layers(z)) * p.Layer
		if mm3 > x*y*h*(1+1e-9) {
			t.Fatalf("%g mm³ of plastic in %g", mm3, x*y*h)
		}
		if seconds < mm3/p.Flow*(1-1e-9) {
			t.Fatalf("%g mm³ in %g s is more than the hot end melts", mm3, seconds)
		}
		slow := p
		slow.Acceleration /= 2
		if _, s := sum(slow); s < seconds*(1-1e-9) {
			t.Fatalf("half the acceleration is faster: %g < %g", s, seconds)
		}
		more := p
		more.Fill = min(1, p.Fill+0.2)
		if m, _ := sum(more); m < mm3*(1-1e-9) {
			t.Fatalf("more fill, less plastic: %g < %g", m, mm3)
		}
	})
}

// Cover layers are measured along sample lines; the kernel's exact booleans of
// the same outlines are the reference.
func TestCoverAreaAgreesWithBooleans(t *testing.T) {
	s := testShop()
	ctx := context.Background()
	for _, h := range hard() {
		e, _ := estimatorOf(t, s, segment(t, h.name, h.shape))
		for k := 0; k < e.count; k += 7 {
			f := e.work(k)
			b := e.bead(k)
			sh := e.shell(e.section(e.group[k]), b, k == 0)
			rest := sh.core
			for j := k - e.CoverLayers; j <= k+e.CoverLayers; j++ {
				var near geom.Polygons
				if j >= 0 && j < e.count {
					near = e.slicer.at(e.middle(j))
				}
				var err error
				if rest, err = kernel.Intersect2(ctx, rest, near); err != nil {
					t.Fatal(err)
				}
			}
			want := sh.core.Area() - rest.Area()
			if got := f.cover * b.spacing(); math.Abs(got-want) > 0.01*sh.core.Area()+1 {
				t.Errorf("%s, layer %d: %.1f mm² of cover, %.1f by booleans, core %.0f", h.name, k, got, want, sh.core.Area())
			}
		}
	}
}
