package joint

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// shapes are members of every make, with everything that bounds them.
func shapes() []piece.Member {
	ring := block("ring", 100, 80, 30, geom.V3(0, 0, 15))
	ring.Board.Cutouts = []piece.Outline{piece.NewOutline(geom.Path{Closed: true, Segs: []geom.Seg{geom.ArcOf(geom.V2(10, 5), 20, 15, 0.3, 0, -2*math.Pi)}}, piece.BreakAngle)}
	cut := block("cut", 100, 60, 40, geom.V3(0, 0, 20))
	cut.EndCuts = []piece.EndCut{{Plane: geom.PlaneAt(geom.V3(30, 0, 0), geom.V3(1, 0.2, 0.4))}, {Plane: geom.PlaneAt(geom.V3(0, 0, 35), geom.V3(0, 0.3, 1))}}
	round := block("round", 1, 1, 25, geom.V3(0, 0, 12.5))
	round.Board.Outline = piece.NewOutline(geom.Path{Closed: true, Segs: []geom.Seg{geom.ArcOf(geom.Vec2{}, 60, 40, 0, 0, 2*math.Pi)}}, piece.BreakAngle)
	leg := turning("leg", geom.World(), geom.V2(12, 0), geom.V2(12, 30), geom.V2(20, 60), geom.V2(30, 200), geom.V2(18, 260))
	leg.EndCuts = []piece.EndCut{{Plane: geom.PlaneAt(geom.V3(0, 0, 240), geom.V3(0.2, 0.1, 1))}}
	vase := turning("vase", geom.World(), geom.V2(20, 0), geom.V2(21, 10))
	t := piece.NewTurning(geom.Path{Segs: []geom.Seg{geom.CubicTo(geom.V2(20, 0), geom.V2(60, 30), geom.V2(5, 90), geom.V2(25, 120))}}, piece.BreakAngle)
	vase.Turning = &t
	return []piece.Member{ring, cut, round, leg, vase}
}

// TestFormAgreesWithSurfaces: a ray from inside ends on the surface that the
// member itself has there, with only material before and none just after.
func TestFormAgreesWithSurfaces(t *testing.T) {
	members := shapes()
	rapid.Check(t, func(t *rapid.T) {
		m := members[rapid.IntRange(0, len(members)-1).Draw(t, "member")]
		m.Place = motion(t)
		f, err := formOf(&m, 0.01)
		if err != nil {
			t.Fatal(err)
		}
		frac := func(name string) float64 { return rapid.Float64Range(0, 1).Draw(t, name) }
		// Off the box's sides: along a surface contains may go either way.
		inner := func(name string) float64 { return 0.0137 + 0.9721*frac(name) }
		var p geom.Vec3
		for i := 0; ; i++ {
			if i == 30 {
				t.Skip("no inner point drawn")
			}
			b := f.box.Size()
			p = f.box.Min.Add(geom.V3(b.X*inner("px"), b.Y*inner("py"), b.Z*inner("pz")))
			if f.contains(p) {
				break
			}
		}
		z, a := 2*frac("dz")-1, 2*math.Pi*frac("da")
		s, c := math.Sincos(a)
		d := geom.V3(c*math.Sqrt(1-z*z), s*math.Sqrt(1-z*z), z)
		l, surface := f.exit(p, d)
		surfaces := m.Surfaces(0.01)
		if math.IsInf(l, 0) || surface < 0 || surface >= len(surfaces) {
			t.Fatalf("%s: exit %v by %d", m.ID, l, surface)
		}
		end := m.Place.Local(p.Add(d.Scale(l)))
		sf := surfaces[surface]
		if got := sf.Point(sf.Chart(end)); got.Dist(end) > 0.02 {
			t.Errorf("%s: left by %s at %v, which is %v from it", m.ID, sf.Name, end, got.Dist(end))
		}
		if uv := sf.Chart(end); !sf.Region.Contains(uv) && sf.Region.Distance(uv) > 0.05 {
			t.Errorf("%s: left at %v of %s, outside its region by %v", m.ID, uv, sf.Name, sf.Region.Distance(uv))
		}
		for i := 1; i < 8 && l > 1e-3; i++ {
			if k := l * float64(i) / 8; !f.contains(p.Add(d.Scale(k))) {
				t.Errorf("%s: no material at %v of %v", m.ID, k, l)
			}
		}
		// A ray that grazes the surface stays within rounding of it, where
		// contains may go either way; others are clear of it after a micron's depth.
		if cos := sf.Normal(sf.Chart(end)).Dot(m.Place.LocalDir(d)); cos > 1e-3 && f.contains(p.Add(d.Scale(l+1e-6/cos))) {
			t.Errorf("%s: material beyond the exit", m.ID)
		}
	})
}

func TestLateral(t *testing.T) {
	rod := turning("rod", geom.World(), geom.V2(20, 0), geom.V2(20, 100))
	cone := turning("cone", geom.World(), geom.V2(10, 0), geom.V2(20, 100))
	box := block("box", 60, 40, 100, geom.V3(0, 0, 50))
	up, side := geom.V3(0, 0, 1), geom.V3(1, 0, 0)
	for _, tc := range []struct {
		m        piece.Member
		at, axis geom.Vec3
		from, to float64
		want     float64
		tol      float64
	}{
		{rod, geom.V3(0, 0, 10), up, 0, 50, 20, 0.03},
		{rod, geom.V3(5, 3, 10), up, 0, 50, 20 - math.Hypot(5, 3), 0.1},
		{cone, geom.V3(0, 0, 10), up, 0, 50, 11, 0.02},    // narrowest at its low end
		{cone, geom.V3(0, 0, 60), side, 0, 5, 0, 0},       // worked out below
		{box, geom.V3(10, -4, 5), up, 0, 50, 16, 1e-9},    // to y = -20
		{box, geom.V3(-30, 0, 45), side, 1, 50, 20, 1e-9}, // to y = ±20
		{box, geom.V3(-30, 0, 90), side, 1, 50, 10, 1e-9}, // to z = 100
		{box, geom.V3(40, 0, 50), up, 0, 10, -1, 0},       // outside
	} {
		f, err := formOf(&tc.m, 0.005)
		if err != nil {
			t.Fatal(err)
		}
		if tc.m.ID == "cone" && tc.axis == side {
			// Square to a bore along x at x = 5 the cone's section is the
			// hyperbola y² = (10 + 0.1 z)² - 25; nearest to (0, 60).
			tc.want, tc.tol = math.Inf(1), 0.005*15.1 // as lateral promises
			for z := 40.0; z < 100; z += 0.01 {
				r := 10 + 0.1*z
				tc.want = min(tc.want, math.Hypot(math.Sqrt(r*r-25), z-60))
			}
		}
		if got := f.lateral(tc.at, tc.axis, tc.from, tc.to, 100); !near(got, tc.want, tc.tol) {
			t.Errorf("%s at %v along %v: %v, want %v", tc.m.ID, tc.at, tc.axis, got, tc.want)
		}
	}
}

// TestBoreDistance: projecting to and fro agrees with points all over the two
// bores, and with distances worked out by hand.
func TestBoreDistance(t *testing.T) {
	b := func(x, y, z, ax, ay, az, d, l float64) Bore {
		return Bore{Mouth: geom.V3(x, y, z), Axis: geom.V3(ax, ay, az).Unit(), Diameter: d, Depth: l}
	}
	for _, tc := range []struct {
		a, b Bore
		want float64
	}{
		{b(0, 0, 0, 0, 0, 1, 8, 20), b(15, 0, 5, 0, 0, 1, 6, 20), 8},    // side by side
		{b(0, 0, 0, 0, 0, 1, 8, 20), b(0, 0, 23, 0, 0, 1, 6, 20), 3},    // one after the other
		{b(0, 0, 0, 0, 0, 1, 8, 20), b(-30, 12, 10, 1, 0, 0, 6, 60), 5}, // crossing
		{b(0, 0, 0, 0, 0, 1, 8, 20), b(-30, 0, 25, 1, 0, 0, 6, 60), 2},  // over its floor
		{b(0, 0, 0, 0, 0, 1, 8, 20), b(-30, 5, 10, 1, 0, 0, 6, 60), 0},  // through it
	} {
		if got := between(tc.a, tc.b); !near(got, tc.want, 1e-3) {
			t.Errorf("%v, want %v", got, tc.want)
		}
		if got := gap(&tc.a, &tc.b); !near(max(0, got), tc.want, 0.05) {
			t.Errorf("points: %v, want %v", got, tc.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) Bore {
			f := motion(t)
			c := func(i string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name+i) }
			return Bore{Mouth: geom.V3(c("x", -20, 20), c("y", -20, 20), c("z", -20, 20)), Axis: f.Z, Diameter: c("d", 3, 16), Depth: c("l", 3, 60)}
		}
		p, q := draw("a"), draw("b")
		// Points are at most 1 mm and 10 degrees apart, so they overrate a
		// distance a little; projecting may stop a little early.
		if x, y := between(p, q), max(0, gap(&p, &q)); x > y+0.002 || x < y-0.9 {
			t.Errorf("projected %v, points %v", x, y)
		}
	})
}

func TestBoxTree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 60).Draw(t, "n")
		var boxes []geom.Box3
		for i := range n {
			c := func(k string) float64 { return float64(rapid.IntRange(0, 40).Draw(t, fmt.Sprint(k, i))) }
			lo := geom.V3(c("x"), c("y"), c("z"))
			boxes = append(boxes, geom.Box3{Min: lo, Max: lo.Add(geom.V3(c("w")/4, c("d")/4, c("h")/4))})
		}
		var want [][2]int
		for i := range boxes {
			for j := i + 1; j < n; j++ {
				if boxes[i].Grow(1).Overlaps(boxes[j]) {
					want = append(want, [2]int{i, j})
				}
			}
		}
		if got := newBoxTree(boxes).pairs(boxes, 1); fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%v, want %v", got, want)
		}
	})
}
