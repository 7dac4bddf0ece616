package printing

import (
	"math"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

func chosen(t testing.TB, s solid.Shape, mating ...geom.Plane) (pose, geom.Vec3) {
	t.Helper()
	seg := segment(t, "s", s)
	b := newBody(seg.Mesh.Vertices, seg.Mesh.Triangles)
	c := settingOf(testShop())
	c.mating = mating
	p, ok := b.choose(c)
	if !ok {
		t.Fatal("fits nowhere")
	}
	inside(t, b.points, p.frame, geom.V3(220, 220, 250))
	box := geom.EmptyBox3()
	for _, q := range b.points {
		box = box.Add(p.frame.Local(q))
	}
	return p, box.Size()
}

// Deliberate hard cases; which way down is joiner's and printer's sense.
func TestChosenPoses(t *testing.T) {
	tilt := geom.FrameFromZ(geom.V3(500, -300, 40), geom.V3(0.3, -0.5, 0.8))
	up := geom.V3(0, 0, 1)
	for _, c := range []struct {
		name     string
		shape    solid.Shape
		height   float64
		overhang float64 // at most
		down     geom.Vec3
	}{
		{"a board lies on its face", box(200, 60, 19), 19, 0, geom.Vec3{}},
		{"however it comes in", box(200, 60, 19).At(tilt), 19, 0, geom.Vec3{}},
		{"a rail too long for one side lies on the diagonal", box(270, 25, 19), 19, 0, geom.Vec3{}},
		{"a board with a raised pad lies on its other face", solid.Union(box(150, 80, 19), boxAt(40, 20, -0.8, 50, 30, 1)), 19.8, 0, geom.V3(0, 0, 1)},
		{"a counterbore opens upward", solid.Difference(box(150, 60, 19), hole(75, 30, 9, up, 12, 20), hole(75, 30, -1, up, 3, 30)), 19, 0, geom.V3(0, 0, -1)},
		{"lying bores are bridged", solid.Difference(box(150, 60, 19), hole(-1, 20, 9.5, geom.V3(1, 0, 0), 4, 32), hole(-1, 40, 9.5, geom.V3(1, 0, 0), 4, 32)), 19, 0, geom.Vec3{}},
		{"a T-section stands on its flange", solid.Union(boxAt(0, 0, 40, 100, 80, 12), boxAt(0, 34, 0, 100, 12, 45)), 52, 0, geom.V3(0, 0, 1)},
		{"a tapered block lies on a full face", solid.Hull(boxAt(0, 0, 0, 160, 50, 19), boxAt(0, 0, 0, 160, 20, 45)), 45, 0, geom.V3(0, 0, -1)},
	} {
		p, size := chosen(t, c.shape)
		if math.Abs(size.Z-c.height) > 0.01 && c.name != "a tapered block lies on a full face" {
			t.Errorf("%s: %.2f high, want %g (%v)", c.name, size.Z, c.height, p.why)
		}
		if p.overhang > c.overhang+1e-6 {
			t.Errorf("%s: %.1f mm² overhang", c.name, p.overhang)
		}
		if c.down != (geom.Vec3{}) && p.frame.Z.Neg().Dot(c.down) < 0.999 {
			t.Errorf("%s: down is %v, want %v (%v)", c.name, p.frame.Z.Neg(), c.down, p.why)
		}
		if !p.flat {
			t.Errorf("%s: not on a face", c.name)
		}
	}
}

func TestOverhang(t *testing.T) {
	at := geom.Frame{X: geom.V3(1, 0, 0), Y: geom.V3(0, 1, 0), Z: geom.V3(0, 0, 1)}
	for _, c := range []struct {
		name   string
		shape  solid.Shape
		bridge float64
		want   float64
	}{
		{"ledge 20 x 50", solid.Union(box(30, 50, 20), boxAt(0, 0, 20, 50, 50, 10)), 15, 1000},
		{"narrow ledge is no bridge", solid.Union(box(30, 50, 20), boxAt(0, 0, 20, 40, 50, 10)), 15, 500},
		{"bridge of 12", solid.Difference(box(60, 40, 30), boxAt(24, -1, -1, 12, 42, 11)), 15, 0},
		{"bridge of 12 when 10 is the most", solid.Difference(box(60, 40, 30), boxAt(24, -1, -1, 12, 42, 11)), 10, 480},
		{"bridge of 20", solid.Difference(box(60, 40, 30), boxAt(20, -1, -1, 20, 42, 11)), 15, 800},
		{"45 degrees need nothing", solid.Hull(box(20, 40, 1), boxAt(0, 0, 20, 39, 40, 1)), 15, 0},
		{"60 degrees from the vertical do", solid.Hull(box(20, 40, 1), boxAt(0, 0, 10, 20+10*math.Sqrt(3), 40, 1)), 15, 40 * 20},
	} {
		seg := segment(t, c.name, c.shape)
		b := newBody(seg.Mesh.Vertices, seg.Mesh.Triangles)
		f := at
		f.Origin = seg.Bounds.Min
		if got, _ := b.overhang(f, c.bridge, leanFooted); math.Abs(got-c.want) > 0.5 {
			t.Errorf("%s: %.2f mm², want %.2f", c.name, got, c.want)
		}
	}
}

// A bar that stands on its edge has both lower sides at 45 degrees: nothing of it
// lies on the bed, so they are held up.
func TestWhatStandsOnAnEdgeIsHeldUp(t *testing.T) {
	seg := segment(t, "bar", box(100, 20, 20))
	b := newBody(seg.Mesh.Vertices, seg.Mesh.Triangles)
	down := geom.V3(0, -1, -1).Unit()
	f, ok := fitDown(b.points, down, geom.V3(210, 210, 240))
	if !ok {
		t.Fatal("it does not fit")
	}
	s := settingOf(testShop())
	s.room, s.filament = geom.V3(210, 210, 240), abs()
	p := b.judge(f, s, false)
	within(t, "overhang", p.overhang, 2*100*20, 1e-6)
	within(t, "volume beneath", p.under, 100*2*(20*math.Sqrt2/2)*(20*math.Sqrt2/2)/2, 1e-6)
}

func TestMatingFaceGoesUpWhenItCan(t *testing.T) {
	// A board's two faces are equal but for the one that meets a leg.
	meets := geom.PlaneAt(geom.V3(0, 0, 0), geom.V3(0, 0, -1))
	p, _ := chosen(t, box(200, 60, 19), meets)
	if len(p.mating) != 0 || p.frame.Z.Z > -0.999 {
		t.Errorf("mating face lies on the bed: %v", p.why)
	}
	// With both faces mating, one has to.
	p, _ = chosen(t, box(200, 60, 19), meets, geom.PlaneAt(geom.V3(0, 0, 19), geom.V3(0, 0, 1)))
	if len(p.mating) != 1 {
		t.Errorf("mating faces on the bed: %v", p.mating)
	}
}

// Second moments and centre of a cuboid are closed forms.
func TestBodyMeasures(t *testing.T) {
	seg := segment(t, "b", boxAt(100, -40, 7, 60, 40, 20))
	b := newBody(seg.Mesh.Vertices, seg.Mesh.Triangles)
	v := 60. * 40 * 20
	within(t, "volume", b.volume, v, 1e-9)
	if b.centre.Dist(geom.V3(130, -20, 17)) > 1e-6 {
		t.Errorf("centre %v", b.centre)
	}
	for i, l := range []float64{60, 40, 20} {
		within(t, "moment", b.moments[i], v*l*l/12, 1e-6)
	}
	if math.Abs(b.axes[0].X) < 1-1e-9 || math.Abs(b.axes[2].Z) < 1-1e-9 {
		t.Errorf("axes %v", b.axes)
	}
}

func TestSameShape(t *testing.T) {
	l := solid.Difference(solid.Union(box(80, 30, 20), boxAt(0, 0, 0, 30, 60, 35)), hole(60, 15, -1, geom.V3(0, 0, 1), 3, 40))
	mirrored := solid.Difference(solid.Union(boxAt(-80, 0, 0, 80, 30, 20), boxAt(-30, 0, 0, 30, 60, 35)), hole(-60, 15, -1, geom.V3(0, 0, 1), 3, 40))
	sig := func(s solid.Shape) []float64 {
		seg := segment(t, "s", s)
		return newBody(seg.Mesh.Vertices, seg.Mesh.Triangles).signature()
	}
	want := sig(l)
	if !sameShape(want, sig(l.At(geom.FrameFromZ(geom.V3(900, 20, -50), geom.V3(1, 2, 3))))) {
		t.Error("moved: not the same")
	}
	if !sameShape(want, sig(mirrored)) {
		t.Error("mirrored: not the same")
	}
	for name, s := range map[string]solid.Shape{
		"another bore":    solid.Difference(l, hole(15, 45, 25, geom.V3(0, 0, 1), 2, 40)),
		"bore moved 1 mm": solid.Difference(solid.Union(box(80, 30, 20), boxAt(0, 0, 0, 30, 60, 35)), hole(61, 15, -1, geom.V3(0, 0, 1), 3, 40)),
		"longer by 0.1":   solid.Difference(solid.Union(box(80.1, 30, 20), boxAt(0, 0, 0, 30, 60, 35)), hole(60, 15, -1, geom.V3(0, 0, 1), 3, 40)),
	} {
		if sameShape(want, sig(s)) {
			t.Errorf("%s: taken for the same", name)
		}
	}
}

// A part that must stand is not laid down, however it is turned about, and one
// that would be too high standing fits nowhere.
func TestWhatMustPointToTheBed(t *testing.T) {
	for _, tt := range []struct {
		name   string
		height float64 // of a tower of 20 x 20
		fits   bool
	}{
		{"a tower stands", 100, true},
		{"a tower as high as the printer stands", 250, true},
		{"a higher one does not", 251, false},
	} {
		seg := segment(t, "s", box(20, tt.height, 20)) // its length along Y
		b := newBody(seg.Mesh.Vertices, seg.Mesh.Triangles)
		c := settingOf(testShop())
		down := geom.V3(0, -2, 0) // of any length
		c.down = &down
		p, ok := b.choose(c)
		if ok != tt.fits {
			t.Errorf("%s: fits %v", tt.name, ok)
		}
		if ok && p.frame.Z.Dot(geom.V3(0, 1, 0)) < 1-1e-12 {
			t.Errorf("%s: %v points up", tt.name, p.frame.Z)
		}
	}
}
