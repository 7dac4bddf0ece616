package piece

import (
	"math"
	"strings"
	"testing"

	"groundwork/internal/geom"

	"pgregory.net/rapid"
)

func all(m Member, d float64) []float64 {
	out := make([]float64, m.surfaceCount())
	for i := range out {
		out[i] = d
	}
	return out
}

func closeTo(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s: got %.9g, want %.9g, off by %.2g", what, got, want, (got-want)/want)
	}
}

// TestConeExample is a cone frustum under a veneer of 0.8 mm: radii 14 and 19,
// height 430. With β = atan(5/430) the neutral surface, v/2 farther out along
// the normal, unrolls to a sector of angle 2π sin β between the radii
// (r + v/2 cos β)/sin β. Inset keeps the ends in their planes instead of
// moving them along the normal, which adds v/2 tan β to both radii.
func TestConeExample(t *testing.T) {
	m := turning(frustum(14, 19, 430))
	d := all(m, 0)
	d[0] = -0.4
	n, err := m.Inset(d)
	if err != nil {
		t.Fatal(err)
	}
	b := math.Atan2(5, 430)
	closeTo(t, "β in degrees", b*180/math.Pi, 0.666200, 1e-6)
	s := n.Surfaces(0)[0]
	if s.Kind != Cone {
		t.Fatalf("the side is a %s", s.Kind)
	}
	closeTo(t, "slant", s.Run.Length(), 430.0291, 1e-7)
	low, high := s.unroll(0, 0), s.unroll(2*math.Pi, s.Run.Length())
	shift := 0.4 * math.Tan(b)
	closeTo(t, "inner radius", low.Len()-shift, 1238.4814, 1e-7)
	closeTo(t, "outer radius", high.Len()-shift, 1668.5105, 1e-7)
	closeTo(t, "inner radius, closed form", low.Len(), (14+0.4/math.Cos(b))/math.Sin(b), 1e-12)
	closeTo(t, "sector in degrees", math.Atan2(high.X, high.Y)*180/math.Pi, 4.185764, 1e-6)
	// lateral area of a frustum: π (r1 + r2) slant
	r1, r2 := 14+0.4/math.Cos(b), 19+0.4/math.Cos(b)
	closeTo(t, "area", s.Area, math.Pi*(r1+r2)*math.Hypot(5, 430), 1e-12)
	closeTo(t, "region's area", s.Region.Area(), s.Area, 2e-4)
	v, err := n.Volume()
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "volume", v, math.Pi/3*430*(r1*r1+r1*r2+r2*r2), 1e-12)
}

// TestEllipseRim: a band round a closed smooth rim of perimeter P under a
// veneer v is P + π v long, whatever the shape. The perimeter of the ellipse
// with the axes 460 and 340 is 1263.7156 (complete elliptic integral).
func TestEllipseRim(t *testing.T) {
	m := board(18, ellipse(geom.Vec2{}, 230, 170))
	d := all(m, 0)
	d[2] = -0.4
	n, err := m.Inset(d)
	if err != nil {
		t.Fatal(err)
	}
	s := n.Surfaces(0)[2]
	closeTo(t, "net length", s.Length, 1266.2289, 4e-8)
	closeTo(t, "net area", s.Area, s.Length*18, 1e-12)
	if !s.Closed || s.Kind != Extruded || len(s.Region) != 1 || len(s.Region[0]) != 4 {
		t.Errorf("closed %v, %s, region %v", s.Closed, s.Kind, s.Region)
	}
	// Steiner: A + P δ + π δ²
	p := 1263.715641513
	closeTo(t, "face", n.Surfaces(0)[1].Area, math.Pi*230*170+p*0.4+math.Pi*0.16, 1e-9)
}

// TestFinishedSizes: 19 mm finished with 0.8 mm of veneer on both faces is a
// core of 17.4 mm; the edges move too.
func TestFinishedSizes(t *testing.T) {
	m := board(19, rectangle(400, 300), rectangle(60, 40).Translated(geom.V2(100, 100)).Reversed())
	m.Place = geom.FrameFromXZ(geom.V3(1, 2, 3), geom.V3(0, 1, 0), geom.V3(1, 0, 1))
	m = m.with(geom.V3(390, 0, 0), geom.V3(1, 0, 0.5))
	n, err := m.Inset(all(m, 0.8))
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "thickness", n.Board.Thickness, 17.4, 1e-14)
	closeTo(t, "outline", n.Board.Outline.Path.Area(), 398.4*298.4, 1e-12)
	closeTo(t, "hole", n.Board.Cutouts[0].Path.Area(), -61.6*41.6, 1e-12)
	// Every surface of the core lies 0.8 mm inside its finished twin in the world.
	was, is := m.Surfaces(0), n.Surfaces(0)
	for i := range was {
		if len(is[i].Region) == 0 {
			if was[i].Name != "edge-2" { // the end cut takes edge-2 away
				t.Errorf("%s is gone", is[i].Name)
			}
			continue
		}
		p := n.Place.Point(is[i].Point(is[i].Region[0][0]))
		q := was[i].Frame.In(m.Place)
		if got := q.Local(p).Z; math.Abs(got+0.8) > 1e-9 {
			t.Errorf("%s moved by %g", is[i].Name, got)
		}
	}
}

// TestInsetRoundTrip moves a member out and back in.
func TestInsetRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := samples()
		c := rapid.SampledFrom(all).Draw(t, "member")
		d := make([]float64, c.m.surfaceCount())
		for i := range d {
			if c.m.Turning == nil { // tangent neighbours of a profile must move together
				d[i] = rapid.Float64Range(-0.8, 0.8).Draw(t, "d")
			} else if i == 0 {
				d[i] = rapid.Float64Range(-0.8, 0.8).Draw(t, "d")
			} else {
				d[i] = d[0]
			}
		}
		n, err := c.m.Inset(d)
		if err != nil {
			t.Fatal(err)
		}
		for i := range d {
			d[i] = -d[i]
		}
		back, err := n.Inset(d)
		if err != nil {
			t.Fatal(err)
		}
		if got := back.Place.Origin.Dist(c.m.Place.Origin); got > 1e-12 {
			t.Fatalf("the origin moved by %g", got)
		}
		was, is := c.m.Surfaces(0.1), back.Surfaces(0.1)
		for i := range was {
			if was[i].Name != is[i].Name || was[i].Kind != is[i].Kind {
				t.Fatalf("%s %s became %s %s", was[i].Name, was[i].Kind, is[i].Name, is[i].Kind)
			}
			if math.Abs(was[i].Area-is[i].Area) > 1e-7*(1+was[i].Area) {
				t.Fatalf("%s: area %.9g became %.9g", was[i].Name, was[i].Area, is[i].Area)
			}
		}
	})
}

func TestInsetErrors(t *testing.T) {
	for _, c := range []struct {
		m    Member
		i    int
		d    float64
		want string
	}{
		{board(19, stadium(200, 40)), 2, 41, "edge-1"},
		{board(20, bean()), 2, -200, "edge-1"}, // the hollow closes up
		{board(19, rectangle(400, 3)), 3, 401, "edge"},
		{board(19, rectangle(400, 300)), 0, 20, "thickness"},
		{board(19, rectangle(400, 300), ellipse(geom.V2(200, 150), 40, 40).Reversed()), 6, -41, "cutout-1-edge-1"},
		{board(19, rectangle(400, 300), ellipse(geom.V2(200, 150), 40, 40).Reversed()), 6, 111, "run into each other"},
		{turning(frustum(14, 19, 430)), 0, 15, "low-end"},
		{turning(frustum(14, 19, 430)), 1, 431, "side-1"},
	} {
		d := all(c.m, 0)
		d[c.i] = c.d
		_, err := c.m.Inset(d)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("moving surface %d by %g: %v, want mention of %q", c.i, c.d, err, c.want)
		}
	}
	m := board(19, rectangle(400, 300))
	if _, err := m.Inset(make([]float64, 5)); err == nil {
		t.Error("a distance is missing, but there is no error")
	}
}
