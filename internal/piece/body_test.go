package piece

import (
	"math"
	"testing"

	"groundwork/internal/geom"
)

// TestVolumes compares closed forms with one another and with the kernel.
func TestVolumes(t *testing.T) {
	square := rectangle(60, 40).Translated(geom.V2(100, 100)).Reversed()
	for _, c := range []struct {
		name string
		m    Member
		want float64
		rel  float64 // of the kernel's mesh at a chord of 0.002 mm
	}{
		{"board", board(19, rectangle(400, 300)), 19 * 400 * 300, 1e-12},
		{"board with a hole", board(19, rectangle(400, 300), square), 19 * (400*300 - 60*40), 1e-12},
		{"round board", board(18, ellipse(geom.Vec2{}, 250, 250)), math.Pi * 250 * 250 * 18, 2e-4},
		{"oval board with a round hole", board(18, ellipse(geom.Vec2{}, 230, 170), ellipse(geom.V2(50, 0), 30, 30).Reversed()),
			math.Pi * (230*170 - 900) * 18, 2e-4},
		{"post", turning(polyline(false, geom.V2(25, 0), geom.V2(25, 300))), math.Pi * 625 * 300, 2e-4},
		{"frustum", turning(frustum(14, 19, 430)), math.Pi / 3 * 430 * (14*14 + 14*19 + 19*19), 3e-4},
		// A barrel: the arc of a circle of radius 100 about (−60, 50), by
		// Guldin's second rule: 2π × ∫ r dA over the segment, plus nothing else:
		// V = π ∫ (√(100² − (z−50)²) − 60)² dz over 0 … 100.
		{"barrel", turning(geom.Path{Segs: []geom.Seg{geom.ArcOf(geom.V2(-60, 50), 100, 100, 0, -math.Pi/6, math.Pi/3)}}), barrel(), 3e-4},
	} {
		got, err := c.m.Volume()
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		closeTo(t, c.name, got, c.want, 1e-12)
		closeTo(t, c.name+", kernel", meshOf(t, c.m, 0.002).Volume, c.want, c.rel)
	}
	if _, err := board(19, rectangle(4, 3)).with(geom.V3(3, 0, 0), geom.V3(1, 0, 0)).Volume(); err == nil {
		t.Error("a volume in closed form in spite of an end cut")
	}
	if _, err := (Member{}).Volume(); err == nil {
		t.Error("the volume of nothing")
	}
	if _, err := (Member{}).Body(0); err == nil {
		t.Error("the body of nothing")
	}
}

// barrel is π ∫ (√(R² − x²) − c)² dx from −h to h with R 100, c 60, h 50:
// π [ (R² + c²) x − x³/3 − c (x √(R² − x²) + R² asin(x/R)) ].
func barrel() float64 {
	const R, c, h = 100., 60., 50.
	f := func(x float64) float64 {
		return (R*R+c*c)*x - x*x*x/3 - c*(x*math.Sqrt(R*R-x*x)+R*R*math.Asin(x/R))
	}
	return math.Pi * (f(h) - f(-h))
}

// TestAreas holds areas to closed forms.
func TestAreas(t *testing.T) {
	area := func(m Member, name string) float64 {
		for _, s := range m.Surfaces(0) {
			if s.Name == name {
				return s.Area
			}
		}
		t.Fatalf("no surface %s", name)
		return 0
	}
	oval := board(18, ellipse(geom.Vec2{}, 230, 170))
	closeTo(t, "oval, face", area(oval, "face"), math.Pi*230*170, 1e-13)
	closeTo(t, "oval, edge", area(oval, "edge-1"), 18*1263.715641513, 1e-9)
	// The half of an ellipse on one side of its axis.
	closeTo(t, "half an oval, face", area(oval.with(geom.V3(0, 0, 0), geom.V3(1, 0, 0)), "face"), math.Pi*230*170/2, 1e-12)
	closeTo(t, "half an oval, cut", area(oval.with(geom.V3(0, 0, 0), geom.V3(1, 0, 0)), "cut-1"), 340*18, 1e-12)
	// A segment of a circle of radius 100 beyond x = 50: R² acos(1/2) − 50 √(R² − 50²).
	disc := board(10, ellipse(geom.Vec2{}, 100, 100))
	segment := 1e4*math.Acos(0.5) - 50*math.Sqrt(7500)
	closeTo(t, "disc less a segment", area(disc.with(geom.V3(50, 0, 0), geom.V3(1, 0, 0)), "face"), math.Pi*1e4-segment, 1e-12)
	closeTo(t, "its rim", area(disc.with(geom.V3(50, 0, 0), geom.V3(1, 0, 0)), "edge-1"), 10*100*(2*math.Pi-2*math.Acos(0.5)), 1e-10)
	// A mitre at 45° through a straight edge.
	mitre := board(20, rectangle(400, 300)).with(geom.V3(380, 0, 20), geom.V3(1, 0, 1))
	closeTo(t, "mitre", area(mitre, "cut-1"), 300*20*math.Sqrt2, 1e-12)
	closeTo(t, "edge under a mitre", area(mitre, "edge-1"), 20*(380+400)/2, 1e-12)

	// Turnings.
	post := turning(polyline(false, geom.V2(25, 0), geom.V2(25, 300)))
	closeTo(t, "cylinder", area(post, "side-1"), 2*math.Pi*25*300, 1e-13)
	closeTo(t, "disc", area(post, "high-end"), math.Pi*625, 1e-13)
	// A plane at 30° to the level through the axis at z = 200: the section is an
	// ellipse of area πr²/cos 30°, the side as long as its mean height.
	n := geom.V3(math.Sin(math.Pi/6), 0, math.Cos(math.Pi/6))
	slant := post.with(geom.V3(0, 0, 200), n)
	closeTo(t, "oblique section of a cylinder", area(slant, "cut-1"), math.Pi*625/math.Cos(math.Pi/6), 1e-10)
	closeTo(t, "obliquely cut cylinder", area(slant, "side-1"), 2*math.Pi*25*200, 1e-12)
	// A plane along the axis at 15 mm from it: a rectangle of 2√(25² − 15²) = 40.
	closeTo(t, "section along a cylinder", area(post.with(geom.V3(0, 15, 0), geom.V3(0, 1, 0)), "cut-1"), 40*300, 1e-12)
	// A hoof: the plane rises from the diameter of the low end to the height 50
	// at the rim. Lateral area 2 r h (Archimedes), section half an ellipse.
	hoof := post.with(geom.V3(0, 0, 0), geom.V3(-50, 0, 25)) // below z = 2x
	closeTo(t, "hoof, side", area(hoof, "side-1"), 2*25*50, 1e-9)
	closeTo(t, "hoof, section", area(hoof, "cut-1"), math.Pi*25*math.Hypot(25, 50)/2, 1e-9)
	closeTo(t, "hoof, foot", area(hoof, "low-end"), math.Pi*625/2, 1e-12)
	// An oblique section of a cone of half-angle β is an ellipse: apex at z = 0,
	// r = z/2; plane z = 100 + x/2: semi-axes from the ends x1 = −40, x2 = 200/3.
	cone := turning(frustum(5, 100, 190).Translated(geom.V2(0, 10)))
	x1, x2 := -40., 200./3
	a := (x2 - x1) / 2 * math.Sqrt(1.25)
	mid := (x1 + x2) / 2
	zm := 100 + mid/2
	b := math.Sqrt(zm*zm/4 - mid*mid)
	closeTo(t, "oblique section of a cone", area(cone.with(geom.V3(0, 0, 100), geom.V3(-0.5, 0, 1)), "cut-1"), math.Pi*a*b, 1e-11)
	// Pappus: an arc of radius 100 about (−60, 50) through 60°, revolved: its
	// centroid lies 100 sin(30°)/(π/6) from the centre.
	barrel := turning(geom.Path{Segs: []geom.Seg{geom.ArcOf(geom.V2(-60, 50), 100, 100, 0, -math.Pi/6, math.Pi/3)}})
	closeTo(t, "barrel", area(barrel, "side-1"), 2*math.Pi*(100*0.5/(math.Pi/6)-60)*100*math.Pi/3, 1e-12)
	// Half of it, cut along the axis.
	closeTo(t, "half a barrel", area(barrel.with(geom.V3(0, 0, 0), geom.V3(1, 1, 0)), "side-1"), math.Pi*(100*0.5/(math.Pi/6)-60)*100*math.Pi/3, 1e-9)
}

// TestBends: the tightest bend of every kind of surface.
func TestBends(t *testing.T) {
	first := func(m Member, i int) Surface { return m.Surfaces(0)[i] }
	tip := first(board(18, ellipse(geom.Vec2{}, 230, 170)), 2).MinRadius()
	closeTo(t, "ellipse: b²/a", tip.Radius, 170*170/230., 1e-9)
	if tip.Hollow || !tip.AxisV {
		t.Error("ellipse", tip)
	}
	hole := first(board(18, rectangle(400, 300), ellipse(geom.V2(200, 150), 40, 40).Reversed()), 6).MinRadius()
	closeTo(t, "hole", hole.Radius, 40, 1e-12)
	if !hole.Hollow {
		t.Error("the edge of a hole is hollow seen from outside")
	}
	if !math.IsInf(first(board(18, rectangle(4, 3)), 2).MinRadius().Radius, 1) {
		t.Error("a straight edge bends")
	}
	closeTo(t, "post", first(turning(polyline(false, geom.V2(25, 0), geom.V2(25, 300))), 0).MinRadius().Radius, 25, 1e-12)
	taper := first(turning(frustum(14, 19, 430)), 0)
	closeTo(t, "taper: r / cos β", taper.MinRadius().Radius, 14/math.Cos(math.Atan2(5, 430)), 1e-12)
	neck := first(turning(geom.Path{Segs: []geom.Seg{geom.ArcOf(geom.V2(50, 20), 20, 20, 0, 1.5*math.Pi, -math.Pi)}}), 0).MinRadius()
	closeTo(t, "neck: its own hollow", neck.Radius, 20, 1e-12)
	if !neck.Hollow || neck.AxisV {
		t.Error("neck", neck)
	}
	u, v := taper.Curvature(taper.unroll(1, 100))
	closeTo(t, "curvature round a taper", u, math.Cos(math.Atan2(5, 430))/(14+100*math.Sin(math.Atan2(5, 430))), 1e-9)
	if v != 0 {
		t.Error("a ruling bends")
	}
}

func BenchmarkSurfacesOval(b *testing.B) {
	m := board(18, ellipse(geom.Vec2{}, 230, 170)).with(geom.V3(150, 0, 0), geom.V3(1, 0.4, 0.8))
	for b.Loop() {
		m.Surfaces(0)
	}
}

func BenchmarkSurfacesLeg(b *testing.B) {
	m := turning(frustum(14, 19, 430)).with(geom.V3(0, 0, 6), geom.V3(0.1, 0.05, -1), geom.V3(0, 0, 420), geom.V3(-0.1, -0.05, 1))
	for b.Loop() {
		m.Surfaces(0)
	}
}

func BenchmarkInsetOval(b *testing.B) {
	m := board(18, ellipse(geom.Vec2{}, 230, 170))
	for b.Loop() {
		if _, err := m.Inset([]float64{0.8, 0.8, 0.8}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPointOfNeutralEdge(b *testing.B) {
	m, err := board(18, ellipse(geom.Vec2{}, 230, 170)).Inset([]float64{0, 0, -0.4})
	if err != nil {
		b.Fatal(err)
	}
	s := m.Surfaces(0)[2]
	for b.Loop() {
		s.Point(geom.V2(700, 3))
	}
}
