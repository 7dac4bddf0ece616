package solid

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
)

// steps draws one of 64 evenly spaced numbers. Bodies drawn so meet exactly,
// face in face, now and then, which is the hard case that must hold; faces
// that are 1e-7 mm apart would only ask what the kernel takes for one.
func steps(low, high float64) *rapid.Generator[float64] {
	return rapid.Map(rapid.IntRange(0, 64), func(i int) float64 { return low + (high-low)*float64(i)/64 })
}

// drawFrame draws any place and direction.
func drawFrame(t *rapid.T) geom.Frame {
	coord := steps(-500, 500)
	z := geom.V3(steps(-1, 1).Draw(t, "zx"), steps(-1, 1).Draw(t, "zy"), steps(-1, 1).Draw(t, "zz"))
	if z == (geom.Vec3{}) {
		z = geom.V3(0, 0, 1)
	}
	f := geom.FrameFromZ(geom.V3(coord.Draw(t, "x"), coord.Draw(t, "y"), coord.Draw(t, "z")), z)
	s, c := math.Sincos(steps(0, 6.28).Draw(t, "turn"))
	f.X, f.Y = f.X.Scale(c).Add(f.Y.Scale(s)), f.Y.Scale(c).Sub(f.X.Scale(s))
	return f
}

// drawBody draws a body of some 40 mm near the origin, with tags from first on:
// one tag per surface.
func drawBody(t *rapid.T, first Tag) (Shape, map[Tag]func(geom.Vec3) float64) {
	size := steps(10, 40)
	place := geom.FrameFromZ(geom.V3(steps(-10, 10).Draw(t, "px"), steps(-10, 10).Draw(t, "py"), steps(-10, 10).Draw(t, "pz")),
		geom.V3(steps(-1, 1).Draw(t, "ax"), steps(-1, 1).Draw(t, "ay"), 1))
	away := map[Tag]func(geom.Vec3) float64{} // distance of a point from the surface with the tag
	plane := func(tag Tag, p geom.Plane) {
		p = p.In(place)
		away[tag] = func(v geom.Vec3) float64 { return math.Abs(p.Distance(v)) }
	}
	h := size.Draw(t, "height")
	plane(first, geom.PlaneAt(geom.Vec3{}, geom.V3(0, 0, -1)))
	plane(first+1, geom.PlaneAt(geom.V3(0, 0, h), geom.V3(0, 0, 1)))
	if rapid.Bool().Draw(t, "prism") {
		n := rapid.IntRange(3, 9).Draw(t, "sides")
		r := size.Draw(t, "radius")
		var pts []geom.Vec2
		for i := range n {
			pts = append(pts, geom.V2(r, 0).Rotate(2*math.Pi*float64(i)/float64(n)))
		}
		for i, p := range pts {
			q := pts[(i+1)%n]
			out := q.Sub(p).Right()
			plane(first+2+Tag(i), geom.PlaneAt(geom.V3(p.X, p.Y, 0), geom.V3(out.X, out.Y, 0)))
		}
		return Extrude([]Loop{loop(first+2, pts)}, 0, h, first, first+1).At(place), away
	}
	r, r2 := size.Draw(t, "r"), size.Draw(t, "r2")
	n := rapid.IntRange(5, 40).Draw(t, "facets")
	away[first+2] = func(v geom.Vec3) float64 { // from a cone, as far as facets let one say
		l := place.Local(v)
		at := r + (r2-r)*l.Z/h
		return max(0, math.Abs(l.XY().Len()-at*(1+math.Cos(math.Pi/float64(n)))/2)-at*(1-math.Cos(math.Pi/float64(n)))/2)
	}
	return Revolve(v2(0, 0, r, 0, r2, h, 0, h), []Tag{first, first + 2, first + 1, NoTag}, n).At(place), away
}

func checked(t *rapid.T, k *Kernel, s Shape) *Mesh {
	m, err := k.Mesh(context.Background(), s)
	if errors.Is(err, ErrEmpty) {
		return &Mesh{Bounds: geom.EmptyBox3()}
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := m.Check(); err != nil {
		t.Fatal(err)
	}
	return m
}

// joined is how near, in mm, two points must be for the kernel to take them
// for one. Bodies drawn at random come that near now and then, and then cut
// faces change by this times their outlines' length.
const joined = 1.2e-7

func near(t *rapid.T, what string, got, want, tolerance float64) {
	if !(math.Abs(got-want) <= tolerance) {
		t.Fatalf("%s: %.15g, want %.15g", what, got, want)
	}
}

func onSurfaces(t *rapid.T, m *Mesh, surfaces ...map[Tag]func(geom.Vec3) float64) {
	for i, tri := range m.Triangles {
		var away func(geom.Vec3) float64
		for _, s := range surfaces {
			if f := s[m.Tags[i]]; f != nil {
				away = f
			}
		}
		if away == nil {
			t.Fatalf("a facet has the tag %d, which nobody gave", m.Tags[i])
		}
		for _, c := range tri {
			if d := away(m.Vertices[c]); d > 1e-6 {
				t.Fatalf("a facet tagged %d strays %g mm from its surface", m.Tags[i], d)
			}
		}
	}
}

func TestBooleansAddUp(t *testing.T) {
	k := testKernel(t)
	rapid.Check(t, func(t *rapid.T) {
		a, sa := drawBody(t, 0)
		b, sb := drawBody(t, 100)
		ma, mb := checked(t, k, a), checked(t, k, b)
		both, common, rest := checked(t, k, Union(a, b)), checked(t, k, Intersection(a, b)), checked(t, k, Difference(a, b))
		scale := ma.Volume + mb.Volume
		near(t, "union and intersection", both.Volume+common.Volume, ma.Volume+mb.Volume, 1e-9*scale)
		near(t, "difference and intersection", rest.Volume+common.Volume, ma.Volume, 1e-9*scale)
		for _, m := range []*Mesh{both, common, rest} {
			onSurfaces(t, m, sa, sb)
		}
	})
}

func TestCutsAddUp(t *testing.T) {
	k := testKernel(t)
	rapid.Check(t, func(t *rapid.T) {
		a, sa := drawBody(t, 0)
		b, sb := drawBody(t, 100)
		s := Difference(a, b)
		f := drawFrame(t)
		p := geom.PlaneAt(geom.V3(steps(-10, 10).Draw(t, "at"), 0, 0), f.Z)
		cut := map[Tag]func(geom.Vec3) float64{200: func(v geom.Vec3) float64 { return math.Abs(p.Distance(v)) }}
		whole, below, above := checked(t, k, s), checked(t, k, s.Below(p, 200)), checked(t, k, s.Above(p, 200))
		near(t, "below and above", below.Volume+above.Volume, whole.Volume, 1e-9*whole.Volume)
		onSurfaces(t, below, sa, sb, cut)
		onSurfaces(t, above, sa, sb, cut)
		// The long way round: the finished body cut, with nothing pushed down.
		plain := checked(t, k, Intersection(s, s.half(p, 200)))
		near(t, "below, and the whole body cut", below.Volume, plain.Volume, 1e-9*whole.Volume)
		near(t, "surface below, and of the whole body cut", below.Area, plain.Area, 1e-6*whole.Area)
		var cutBelow, cutAbove float64
		for _, v := range below.Vertices {
			if p.Distance(v) > 1e-9 {
				t.Fatalf("a vertex lies %g above the cut", p.Distance(v))
			}
		}
		area := func(m *Mesh) (sum float64) {
			for i, tri := range m.Triangles {
				if m.Tags[i] == 200 {
					a, b, c := m.Vertices[tri[0]], m.Vertices[tri[1]], m.Vertices[tri[2]]
					sum += b.Sub(a).Cross(c.Sub(a)).Len() / 2
				}
			}
			return sum
		}
		cutBelow, cutAbove = area(below), area(above)
		for _, tri := range whole.Triangles { // a facet in the plane keeps its own tag
			if d := p.Distance; max(math.Abs(d(whole.Vertices[tri[0]])), math.Abs(d(whole.Vertices[tri[1]])), math.Abs(d(whole.Vertices[tri[2]]))) < 1e-6 {
				return
			}
		}
		near(t, "cut faces", cutBelow, cutAbove, joined*300)
	})
}

func TestTurningTurns(t *testing.T) {
	k := testKernel(t)
	rapid.Check(t, func(t *rapid.T) {
		a, _ := drawBody(t, 0)
		b, _ := drawBody(t, 100)
		f := drawFrame(t)
		still := checked(t, k, Difference(a, b))
		parts := checked(t, k, Difference(a.At(f), b.At(f))) // the parts placed, then the work
		after := checked(t, k, Difference(a, b).At(f))       // the work, then its result placed
		scale := still.Volume + 1
		near(t, "volume of parts placed", parts.Volume, still.Volume, 1e-8*scale)
		near(t, "volume placed", after.Volume, still.Volume, 1e-8*scale)
		near(t, "area placed", after.Area, still.Area, 1e-8*(still.Area+1))
		if len(after.Vertices) != len(still.Vertices) {
			return // placing may let the kernel join vertices within its tolerance
		}
		box := geom.EmptyBox3()
		for _, v := range still.Vertices {
			box = box.Add(f.Point(v))
		}
		if d := box.Min.Dist(after.Bounds.Min) + box.Max.Dist(after.Bounds.Max); d > 1e-6 {
			t.Fatalf("bounds off by %g", d)
		}
	})
}

// A segment keeps only the bores that reach into it, in whatever frame, and
// is the same body as the bored board cut.
func TestCutsReachTheBareBoard(t *testing.T) {
	f := geom.FrameFromZ(geom.V3(100, -30, 8), geom.V3(1, 2, -2))
	s := boredBoard().At(f)
	low := geom.PlaneAt(geom.V3(200, 0, 0), geom.V3(-1, 0.2, 0.1)).In(f)
	high := geom.PlaneAt(geom.V3(247, 0, 0), geom.V3(1, 0.2, 0.3)).In(f)
	segment := s.Within(Cut{low, 60}, Cut{high, 61})
	// Bores stand every 15 mm; the cuts lean by some 12 and 18 mm over the board.
	difference := segment.n.children[0]
	if n := len(difference.children) - 1; segment.n.op != opAt || difference.op != opDifference || n < 3 || n > 6 {
		t.Errorf("%d bores are left in the segment, want three to six", n)
	}
	got := mesh(t, segment)
	plain := mesh(t, Intersection(s, s.half(low, 60), s.half(high, 61)))
	if relative(got.Volume, plain.Volume) > 1e-11 || relative(got.Area, plain.Area) > 1e-11 {
		t.Errorf("volume %.15g and area %.15g, want %.15g and %.15g", got.Volume, got.Area, plain.Volume, plain.Area)
	}
	areas := func(m *Mesh) map[Tag]float64 {
		out := map[Tag]float64{}
		for i, tri := range m.Triangles {
			a, b, c := m.Vertices[tri[0]], m.Vertices[tri[1]], m.Vertices[tri[2]]
			out[m.Tags[i]] += b.Sub(a).Cross(c.Sub(a)).Len() / 2
		}
		return out
	}
	a, b := areas(got), areas(plain)
	if len(a) != len(b) {
		t.Errorf("tags %v, want %v", a, b)
	}
	for tag := range b {
		if math.Abs(a[tag]-b[tag]) > 1e-6 {
			t.Errorf("tag %d covers %g mm², want %g", tag, a[tag], b[tag])
		}
	}
}

// Any simple outline, drawn to a thickness, has its area times the thickness
// for volume, and itself for section and for outline seen from above.
func TestExtrusionsHaveTheirOutline(t *testing.T) {
	k := testKernel(t)
	rapid.Check(t, func(t *rapid.T) {
		region := drawRegion(t)
		var loops []Loop
		for i, p := range region {
			loops = append(loops, loop(Tag(100*i), p))
		}
		h := steps(0.5, 20).Draw(t, "height")
		f := drawFrame(t)
		s := Extrude(loops, -h/2, h/2, 1000, 1001).At(f)
		near(t, "volume", checked(t, k, s).Volume, region.Area()*h, 1e-7)
		sections, err := k.Sections(context.Background(), s, f, []float64{0.1})
		if err != nil {
			t.Fatal(err)
		}
		outline, err := k.Project(context.Background(), s, f)
		if err != nil {
			t.Fatal(err)
		}
		for what, got := range map[string]geom.Polygons{"section": sections[0], "outline": outline} {
			if d := k.differ(got, region); !(d < 1e-5) {
				t.Fatalf("the %s differs from what was drawn by %g mm²", what, d)
			}
		}
	})
}

// differ is the area that only one of two regions covers, NaN if that fails.
func (k *Kernel) differ(a, b geom.Polygons) float64 {
	x, err := k.Subtract2(context.Background(), a, b)
	y, err2 := k.Subtract2(context.Background(), b, a)
	if err != nil || err2 != nil {
		return math.NaN()
	}
	return x.Area() + y.Area()
}

func TestHullHasNoTags(t *testing.T) {
	m := mesh(t, Hull(Box(unitBox, 5), Cylinder(geom.V3(5, 5, 5), geom.V3(0, 0, 1), 2, 3, 6, CylinderOptions{})))
	for i, tag := range m.Tags {
		if tag != NoTag {
			t.Fatalf("facet %d of a hull has the tag %d", i, tag)
		}
	}
}

// Edges in one line keep their own tags through every cut.
func TestCollinearEdgesKeepTheirTags(t *testing.T) {
	board := Extrude([]Loop{loop(1, v2(0, 0, 300, 0, 620, 0, 620, 60, 0, 60))}, 0, 19, 10, 11)
	m := mesh(t, Difference(board, Cylinder(geom.V3(300, -1, 9), geom.V3(0, 1, 0), 3, 20, 12, CylinderOptions{})))
	var left, right float64
	for i, tri := range m.Triangles {
		for _, c := range tri {
			switch x := m.Vertices[c].X; {
			case m.Tags[i] == 1 && x > 300, m.Tags[i] == 2 && x < 300:
				t.Fatalf("tag %d at x = %g", m.Tags[i], x)
			}
		}
		a, b, c := m.Vertices[tri[0]], m.Vertices[tri[1]], m.Vertices[tri[2]]
		area := b.Sub(a).Cross(c.Sub(a)).Len() / 2
		switch m.Tags[i] {
		case 1:
			left += area
		case 2:
			right += area
		}
	}
	n := Facets(3, 0, false)
	hole := float64(n) / 2 * 9 * math.Sin(2*math.Pi/float64(n))
	if relative(left, 300*19-hole/2) > 1e-12 || relative(right, 320*19-hole/2) > 1e-12 {
		t.Errorf("areas %.12g and %.12g, want %.12g and %.12g", left, right, 300*19-hole/2, 320*19-hole/2)
	}
}

// The bytes of a result depend neither on the instance nor on its history.
func TestSameBytesEverywhere(t *testing.T) {
	shapes := []Shape{
		boredBoard().Below(geom.PlaneAt(geom.V3(300, 0, 0), geom.V3(1, 0.2, 0.1)), 70),
		boredBoard().At(geom.FrameFromZ(geom.V3(1, 2, 3), geom.V3(1, 1, 1))),
		Union(boredBoard(), Cylinder(geom.V3(25, 30, 5), geom.V3(0, 0, 1), 12, 30, 71, CylinderOptions{})),
		Hull(Box(unitBox, 1), Cylinder(geom.V3(5, 5, 5), geom.V3(0, 1, 1), 2, 3, 6, CylinderOptions{})),
	}
	fresh := func() []*Mesh {
		k, err := New(Options{Instances: 1})
		if err != nil {
			t.Fatal(err)
		}
		defer k.Close()
		var out []*Mesh
		for _, s := range shapes {
			m, err := k.Mesh(t.Context(), s)
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, m)
		}
		return out
	}
	want := fresh()
	k, err := New(Options{Instances: 2, CacheMiB: -1})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	var wg sync.WaitGroup
	for g := range 8 {
		wg.Go(func() {
			for i := range shapes {
				j := (i + g) % len(shapes)
				m, err := k.Mesh(context.Background(), shapes[j])
				if err != nil {
					t.Error(err)
					return
				}
				if !reflect.DeepEqual(m, want[j]) {
					t.Errorf("goroutine %d: shape %d differs", g, j)
				}
			}
		})
	}
	wg.Wait()
	ms, err := k.Meshes(t.Context(), shapes)
	if err != nil || !reflect.DeepEqual(ms, want) {
		t.Errorf("Meshes differ, or error %v", err)
	}
}

// An exception inside the kernel becomes an error, and the instance is replaced.
func TestException(t *testing.T) {
	k, err := New(Options{Instances: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	mesh := func() error { _, err := k.Mesh(t.Context(), Box(unitBox, 1)); return err }
	if err := mesh(); err != nil {
		t.Fatal(err)
	}
	// A vector of 4 294 967 295 points does not fit into 32 bits of address.
	err = k.with(t.Context(), func(in *instance) error {
		v := in.make("new Vector_vec3")
		in.call("Vector_vec3.resize", v, math.MaxUint32, in.scratch)
		if in.call("Vector_vec3.size", v) != 0 {
			t.Error("a call after the exception was answered")
		}
		return nil
	})
	if !errors.Is(err, errThrown) || !strings.Contains(err.Error(), "Vector_vec3.resize: the kernel gave up: C++ exception of type St12length_error") {
		t.Errorf("error %v, want that of an exception in Vector_vec3.resize", err)
	}
	if k.meshes = (meshCache{}); mesh() != nil {
		t.Error("the Kernel did not recover")
	}
}

// Too little memory makes the kernel throw. The fault names the work, the
// instance is replaced, and the Kernel goes on.
func TestOutOfMemory(t *testing.T) {
	k, err := New(Options{Instances: 1, MaxMemoryMiB: 24})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	var bars []Shape
	for i := range 60 {
		f := float64(i)
		bars = append(bars, Cylinder(geom.V3(f, -200, 0), geom.V3(0.001*f, 1, 0.01*f), 30, 400, 1, CylinderOptions{Facets: 512}))
	}
	_, err = k.Mesh(t.Context(), Union(bars...))
	if !errors.Is(err, errThrown) || !strings.Contains(err.Error(), "union of 60 bodies") {
		t.Fatalf("error %v, want one that the kernel gave up on a union of 60 bodies", err)
	}
	t.Log(err)
	m, err := k.Mesh(t.Context(), Box(unitBox, 1))
	if err != nil || m.Volume != 1 {
		t.Errorf("after the fault: %v", err)
	}
}

func TestCancelled(t *testing.T) {
	k := testKernel(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	s := Box(geom.Box3{Max: geom.V3(3, 1, 4)}, 15)
	if _, err := k.Mesh(ctx, s); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want Canceled", err)
	}
	if _, err := k.Union2(ctx, geom.Polygons{v2(0, 0, 1, 0, 1, 1)}); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want Canceled", err)
	}
	mesh(t, s)
}

// Nothing is left behind: objects, memory of the kernel, values of the host.
func TestNoLeaks(t *testing.T) {
	k, err := New(Options{Instances: 1, CacheMiB: -1})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	state := func() (live, kept, vals int, memory uint32) {
		in := <-k.pool
		defer func() { k.pool <- in }()
		in.trim(0)
		if in.err != nil {
			t.Fatal(in.err)
		}
		return in.live, len(in.solids.entries), len(in.vals), in.mem.Size()
	}
	round := func(i int) {
		f := float64(i % 50)
		s := Difference(Extrude([]Loop{loop(1, v2(0, 0, 100+f, 0, 100, 50, 0, 50))}, 0, 19, 10, 11),
			Cylinder(geom.V3(20, 20, -1), geom.V3(0, 0.1, 1), 4+f/100, 30, 12, CylinderOptions{}),
			Hull(Box(unitBox, 1), Box(unitBox.Grow(2), 1)))
		frame := geom.FrameFromZ(geom.V3(1, 2, 3), geom.V3(1, 2, f))
		ctx := t.Context()
		_, e1 := k.Mesh(ctx, s.At(frame).Below(geom.PlaneAt(geom.V3(10, 10, 10), geom.V3(1, 0, 0)), 20))
		_, e2 := k.Export(ctx, s, frame)
		_, e3 := k.Components(ctx, s)
		layers, e4 := k.Sections(ctx, s, frame, []float64{0, 5, 10})
		_, e5 := k.Project(ctx, s, frame)
		_, e6 := k.Offset2(ctx, layers[1], -1, Round, 2, 0)
		_, e7 := k.Decompose2(ctx, layers[1])
		_, e8 := k.Mesh(ctx, s.Below(geom.PlaneAt(geom.V3(-10, 10, 10), geom.V3(1, 0, 0)), 20))
		if !errors.Is(e8, ErrEmpty) {
			t.Fatal(e8)
		}
		_, e9 := k.Simplify2(ctx, layers[1], 0.1)
		e10 := k.Regions(ctx, func(r *Regions) error { r.Hull(layers[1]); return nil })
		_, e11 := k.Union2(ctx, layers[1], layers[2])
		if err := errors.Join(e1, e2, e3, e4, e5, e6, e7, e9, e10, e11); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 50 {
		round(i)
	}
	live, kept, vals, memory := state()
	if live != 0 || kept != 0 || vals != firstVal {
		t.Errorf("%d objects, %d cached solids and %d values are left", live, kept, vals-firstVal)
	}
	for i := range 200 {
		round(i)
	}
	live2, _, _, memory2 := state()
	if live2 != 0 || memory2 != memory {
		t.Errorf("after 200 rounds more: %d objects; memory grew from %d to %d", live2, memory, memory2)
	}
	t.Logf("the kernel's memory stays at %d KiB", memory2>>10)
}

func TestComponents(t *testing.T) {
	at := func(x, y float64) Shape {
		return Box(geom.Box3{Min: geom.V3(x, y, 0), Max: geom.V3(x+1, y+2, 3)}, Tag(x))
	}
	bar := Box(geom.Box3{Min: geom.V3(-5, 5, 0), Max: geom.V3(5, 6, 1)}, 50)
	gap := Box(geom.Box3{Min: geom.V3(-1, 4, -1), Max: geom.V3(1, 7, 2)}, 51)
	parts, err := testKernel(t).Components(t.Context(), Union(at(20, 0), at(10, 3), Difference(bar, gap), at(10, 0)))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, p := range parts {
		if err := p.Check(); err != nil {
			t.Error(err)
		}
		got = append(got, fmt.Sprint(p.Bounds.Min.XY(), p.Volume))
	}
	want := "[{-5 5} 4 {1 5} 4 {10 0} 6 {10 3} 6 {20 0} 6]"
	if fmt.Sprint(got) != want {
		t.Errorf("parts %v, want %v", got, want)
	}
}

func TestSections(t *testing.T) {
	k := testKernel(t)
	f := geom.FrameFromZ(geom.V3(100, 50, -20), geom.V3(1, 2, 2))
	// A square frustum of a pyramid on its base, in f: side 20 at 0, 10 at 10.
	ring := Difference(
		Foreign([]geom.Vec3{geom.V3(-10, -10, 0), geom.V3(10, -10, 0), geom.V3(10, 10, 0), geom.V3(-10, 10, 0), geom.V3(-5, -5, 10), geom.V3(5, -5, 10), geom.V3(5, 5, 10), geom.V3(-5, 5, 10)},
			[][3]int32{{0, 2, 1}, {0, 3, 2}, {4, 5, 6}, {4, 6, 7}, {0, 1, 5}, {0, 5, 4}, {1, 2, 6}, {1, 6, 5}, {2, 3, 7}, {2, 7, 6}, {3, 0, 4}, {3, 4, 7}}, nil),
		Box(geom.Box3{Min: geom.V3(-1, -2, -1), Max: geom.V3(1, 2, 5)}, 1)).At(f)
	heights := []float64{-1, 0, 2.5, 5, 7.5, 10, 11}
	layers, err := k.Sections(t.Context(), ring, f, heights)
	if err != nil {
		t.Fatal(err)
	}
	want := []float64{0, 400 - 8, 17.5*17.5 - 8, 225, 12.5 * 12.5, 0, 0}
	for i, ps := range layers {
		// On a facet's own plane either side may be taken after the turn's rounding.
		if h := heights[i]; h == 0 || h == 5 || h == 10 {
			continue
		}
		if math.Abs(ps.Area()-want[i]) > 1e-6 {
			t.Errorf("section at %g: area %.9g, want %.9g", heights[i], ps.Area(), want[i])
		}
		if b := ps.Bounds(); len(ps) > 0 && b.Center().Len() > 1e-6 {
			t.Errorf("section at %g is off centre by %v", heights[i], b.Center())
		}
	}
	outline, err := k.Project(t.Context(), ring, f)
	if err != nil || math.Abs(outline.Area()-(400-8)) > 1e-6 && math.Abs(outline.Area()-400) > 1e-6 {
		t.Errorf("outline's area %g, want 400, error %v", outline.Area(), err)
	}
	// Unturned, the section in a facet's plane is that just above it.
	step := Union(Box(geom.Box3{Max: geom.V3(4, 4, 1)}, 1), Box(geom.Box3{Max: geom.V3(2, 2, 3)}, 1))
	layers, err = k.Sections(t.Context(), step, geom.World(), []float64{0, 1, 3})
	if err != nil || layers[0].Area() != 16 || layers[1].Area() != 4 || layers[2] != nil {
		t.Errorf("sections of a step: %v, %v", layers, err)
	}
}

// Segments with bores at odd angles, the kind that rounding breaks: every
// exported mesh is closed, in single precision, of the right volume, and has
// no triangle without size.
func TestExport(t *testing.T) {
	k := testKernel(t)
	board := Extrude([]Loop{loop(1, v2(0, 0, 620, 0, 620, 60, 0, 60))}, 0, 19, 10, 11)
	var bores []Shape
	for i := range 12 {
		f := 2 * float64(i)
		bores = append(bores, Cylinder(geom.V3(15+f*25, 31, 9), geom.V3(math.Sin(f), math.Cos(f), 0.3*math.Sin(3*f)), 3+f/12, 60, Tag(20+i), CylinderOptions{Circumscribed: true}))
	}
	s := Difference(board, bores...)
	faults := 0
	for i := range 16 {
		f := 4 * float64(i)
		c, d := math.Cos(0.7*f), math.Sin(0.7*f)
		a := geom.PlaneAt(geom.V3(80+7*f, 30, 9), geom.V3(1, 0.3*c, 0.2*d))
		b := geom.PlaneAt(geom.V3(20+7*f, 30, 9), geom.V3(-1, 0.3*d, 0.2*c))
		segment := s.Within(Cut{a, 60}, Cut{b, 61})
		frame := geom.FrameFromZ(geom.V3(-120*c, 33*d, f), geom.V3(d, c, 1.1))
		m := mesh(t, segment)
		x, err := k.Export(t.Context(), segment, frame)
		if err != nil {
			t.Errorf("segment %d: %v", i, err)
			continue
		}
		if err := x.Check(); err != nil {
			t.Errorf("segment %d: %v", i, err)
		}
		for _, v := range x.Vertices {
			if v != single(v) {
				t.Fatalf("segment %d: the vertex %v is not in single precision", i, v)
			}
		}
		// Half a unit in the last place of 300 mm, and the tolerance, over the surface.
		if math.Abs(x.Volume-m.Volume) > (ExportTolerance+2e-5)*m.Area {
			t.Errorf("segment %d: volume %.9g, want %.9g", i, x.Volume, m.Volume)
		}
		for j, v := range m.Vertices {
			m := frame.Local(v)
			if x.Bounds.Grow(2*ExportTolerance).Add(m) != x.Bounds.Grow(2*ExportTolerance) {
				t.Fatalf("segment %d: vertex %d lies outside the exported mesh", i, j)
			}
		}
		// What rounding alone would do, for comparison.
		bare := newMesh(append([]geom.Vec3{}, m.Vertices...), append([][3]int32{}, m.Triangles...), append([]Tag{}, m.Tags...))
		for j, v := range bare.Vertices {
			bare.Vertices[j] = single(frame.Local(v))
		}
		if bare.Check() != nil {
			faults++
		}
	}
	t.Logf("rounding alone would have spoiled %d of 16", faults)
}

// Meshes that rounding or the kernel may leave, mended by hand.
func TestMend(t *testing.T) {
	box := func() patch {
		m := mesh(t, Box(unitBox, 1))
		return patch{vertices: append([]geom.Vec3{}, m.Vertices...), triangles: append([][3]int32{}, m.Triangles...), tags: append([]Tag{}, m.Tags...)}
	}
	// split puts a vertex v into the edge from a to b.
	split := func(p *patch, a, b int32, v geom.Vec3) {
		n := int32(len(p.vertices))
		p.vertices = append(p.vertices, v)
		for i := range p.triangles {
			for j := range 3 {
				t := p.triangles[i]
				x, y, z := t[j], t[(j+1)%3], t[(j+2)%3]
				if x == a && y == b || x == b && y == a {
					p.triangles[i] = [3]int32{x, n, z}
					p.triangles = append(p.triangles, [3]int32{n, y, z})
					p.tags = append(p.tags, p.tags[i])
				}
			}
		}
	}
	tests := map[string]func(*patch){
		"nothing to do":       func(*patch) {},
		"edge without length": func(p *patch) { split(p, 0, 1, p.vertices[0]) },
		"edge too short":      func(p *patch) { split(p, 0, 1, p.vertices[0].Add(geom.V3(0, 0, 1e-10))) },
		"two at one corner": func(p *patch) {
			split(p, 0, 1, p.vertices[0].Add(geom.V3(0, 0, 1e-10)))
			split(p, 0, 8, p.vertices[0].Add(geom.V3(0, 0, 5e-11)))
		},
	}
	for name, spoil := range tests {
		p := box()
		spoil(&p)
		p.mend(1e-9)
		m := newMesh(p.vertices, p.triangles, p.tags)
		if err := m.Check(); err != nil || math.Abs(m.Volume-1) > 1e-8 {
			t.Errorf("%s: volume %.12g, %v", name, m.Volume, err)
		}
		for _, tag := range m.Tags {
			if tag != 1 {
				t.Errorf("%s: a flat triangle's tag %d was left", name, tag)
			}
		}
	}
}

// A triangle with its corners in line fills the crack between a side that has
// a point in its middle and one that has not.
func TestMendTurnsFlatTriangles(t *testing.T) {
	p := patch{
		vertices:  []geom.Vec3{{}, geom.V3(1, 0, 0), geom.V3(0, 1, 0), geom.V3(0, 0, 1), geom.V3(0.3, 0, 0)},
		triangles: [][3]int32{{0, 2, 1}, {0, 1, 4}, {0, 4, 3}, {4, 1, 3}, {0, 3, 2}, {1, 2, 3}},
		tags:      []Tag{5, 9, 6, 6, 7, 8},
	}
	if err := newMesh(p.vertices, p.triangles, p.tags).Check(); err == nil || !strings.Contains(err.Error(), "no size") {
		t.Fatalf("error %v before mending, want one about a triangle without size", err)
	}
	p.mend(1e-9)
	m := newMesh(p.vertices, p.triangles, p.tags)
	if err := m.Check(); err != nil || relative(m.Volume, 1./6) > 1e-12 {
		t.Errorf("volume %g, %v", m.Volume, err)
	}
	// The flat triangle went to the base, where its long side was.
	slices.Sort(m.Tags)
	if !slices.Equal(m.Tags, []Tag{5, 5, 6, 6, 7, 8}) {
		t.Errorf("tags %v, want 5 5 6 6 7 8", m.Tags)
	}
}

func TestMeshesKeepTheirOrder(t *testing.T) {
	k := testKernel(t)
	var shapes []Shape
	for i := range 20 {
		shapes = append(shapes, Box(geom.Box3{Max: geom.V3(1, 1, 1+float64(i))}, 1))
	}
	meshes, err := k.Meshes(t.Context(), shapes)
	if err != nil {
		t.Fatal(err)
	}
	for i, m := range meshes {
		if m.Volume != 1+float64(i) {
			t.Errorf("body %d has the volume %g", i, m.Volume)
		}
		if again, err := k.Mesh(t.Context(), shapes[i]); err != nil || again != m {
			t.Errorf("body %d was made again, or error %v", i, err)
		}
	}
	shapes[7], shapes[13] = Intersection(shapes[7], shapes[8].At(geom.FrameFromZ(geom.V3(50, 0, 0), geom.V3(0, 0, 1)))), Extrude(nil, 0, 1, 1, 1)
	if _, err := k.Meshes(t.Context(), shapes); !errors.Is(err, ErrEmpty) || !strings.Contains(err.Error(), "body 8 of 20") {
		t.Errorf("error %v, want ErrEmpty for body 8 of 20", err)
	}
	if meshes, err := k.Meshes(t.Context(), nil); err != nil || len(meshes) != 0 {
		t.Errorf("no shapes: %v, %v", meshes, err)
	}
}

// The mesh cache stays within its limit and forgets what was used longest ago.
func TestMeshCache(t *testing.T) {
	m := &Mesh{Vertices: make([]geom.Vec3, 100), Triangles: make([][3]int32, 200)} // 5856 bytes counted
	c := meshCache{limit: 10 * 5856}
	key := func(i int) [32]byte { return [32]byte{byte(i), byte(i >> 8)} }
	for i := range 1000 {
		c.put(key(i), m)
		if c.get(key(0)) == nil {
			t.Fatalf("what is used all the time was forgotten at %d", i)
		}
		if c.size > c.limit || c.size != 5856*len(c.entries) {
			t.Fatalf("%d bytes counted for %d meshes", c.size, len(c.entries))
		}
	}
	if c.get(key(1)) != nil || c.get(key(999)) == nil {
		t.Error("the wrong meshes were forgotten")
	}
	c.put(key(1000), &Mesh{Vertices: make([]geom.Vec3, 10000)})
	if c.get(key(1000)) != nil {
		t.Error("a mesh above the limit was kept")
	}
}

// The solids kept inside an instance stay within their limit, too.
func TestSolidCacheIsTrimmed(t *testing.T) {
	k, err := New(Options{Instances: 1, CacheMiB: -1})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	for i := range 80 {
		if _, err := k.Mesh(t.Context(), Cylinder(geom.Vec3{}, geom.V3(0, 0, 1), 10, 1+float64(i), 1, CylinderOptions{Facets: 1000})); err != nil {
			t.Fatal(err)
		}
	}
	in := <-k.pool
	defer func() { k.pool <- in }()
	triangles := 0
	for _, e := range in.solids.entries {
		triangles += e.size
	}
	if n := len(in.solids.entries); triangles != in.solids.size || triangles > solidCacheSize || n < 40 || in.live != n {
		t.Errorf("%d solids of %d triangles are kept, %d counted, %d objects live", n, triangles, in.solids.size, in.live)
	}
}

// A folder that cannot be used for the compiled kernel costs time, nothing else.
func TestCacheDir(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	good := filepath.Join(t.TempDir(), "made", "when", "needed")
	for _, dir := range []string{filepath.Join(file, "no", "folder"), good} {
		k, err := New(Options{Instances: 1, CacheDir: dir})
		if err != nil {
			t.Fatal(err)
		}
		if m, err := k.Mesh(t.Context(), Box(unitBox, 1)); err != nil || m.Volume != 1 {
			t.Errorf("with the cache in %s: %v", dir, err)
		}
		if err := k.Close(); err != nil {
			t.Error(err)
		}
	}
	if kept, err := os.ReadDir(good); err != nil || len(kept) == 0 {
		t.Errorf("nothing was kept in the cache: %v, %v", kept, err)
	}
}
