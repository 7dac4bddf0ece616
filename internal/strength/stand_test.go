package strength

import (
	"fmt"
	"math"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/stress"

	"pgregory.net/rapid"
)

// square is a region of side 2h about a point.
func square(x, y, h float64) geom.Polygons {
	return geom.Polygons{{geom.V2(x-h, y-h), geom.V2(x+h, y-h), geom.V2(x+h, y+h), geom.V2(x-h, y+h)}}
}

// at is a load on a small patch.
func at(p, force geom.Vec3) stress.Load {
	f := geom.World()
	f.Origin = p
	return stress.Load{Frame: f, Region: square(0, 0, 5), Force: force}
}

// slabAt is a top of side 2h at a height.
func slabAt(x, y, h, z float64) slab {
	f := geom.World()
	f.Origin.Z = z
	return slab{{frame: f, region: square(x, y, h), area: 4 * h * h, height: z}}
}

// Feet at ±200 mm, a top at 500 mm, all by moments about the foot line:
//
//	400 N sideways:      400·500 = 200,000 N mm against B·200·0.9
//	                     B = 1111 N, more than the 980.665 N of 100 kg
//	                     share 0.9·980.665·200/200,000 = 0.88260
//	200 N sideways:      B = 100,000/180 = 555.6 N = 56.7 kg, so 60 kg
//	1000 N down at 250:  1000·50/180 = 277.8 N = 28.3 kg, so 30 kg
//	1000 N down at 150:  none
//	400 N sideways under 1300 N in the middle: 0.9·1300·200/200,000 = 1.17, so all of it
func TestKeptStanding(t *testing.T) {
	support := square(0, 0, 200)[0]
	top := slabAt(0, 0, 300, 500)
	for _, tc := range []struct {
		name           string
		fixed, others  []stress.Load
		ballast, share float64
	}{
		{"400 N sideways", nil, []stress.Load{at(geom.V3(-300, 0, 500), geom.V3(400, 0, 0))}, 100e3, 0.88260},
		{"200 N sideways", nil, []stress.Load{at(geom.V3(0, 300, 500), geom.V3(0, -200, 0))}, 60e3, 1},
		{"down on an overhang", nil, []stress.Load{at(geom.V3(250, 0, 500), geom.V3(0, 0, -1000))}, 30e3, 1},
		{"down within the feet", nil, []stress.Load{at(geom.V3(150, 0, 500), geom.V3(0, 0, -1000))}, 0, 1},
		{"sideways with a sitter", []stress.Load{at(geom.V3(0, 0, 500), geom.V3(0, 0, -1300))}, []stress.Load{at(geom.V3(-300, 0, 500), geom.V3(400, 0, 0))}, 0, 1},
		{"pulled up", nil, []stress.Load{at(geom.V3(0, 0, 500), geom.V3(0, 0, 500))}, 60e3, 1}, // 500·200/180 N = 56.6 kg
	} {
		g, share := kept(support, tc.fixed, tc.others, top)
		if math.Abs(g-tc.ballast) > 1e-6 || math.Abs(share-tc.share) > 1e-4 {
			t.Errorf("%s: %g g, share %g; want %g, %g", tc.name, g, share, tc.ballast, tc.share)
		}
	}
	// A top that lies outside its feet cannot hold itself down.
	if _, share := kept(support, nil, []stress.Load{at(geom.V3(400, 0, 500), geom.V3(0, 0, -100))}, slabAt(500, 0, 100, 500)); share != 0 {
		t.Errorf("share %g under a ballast beyond the feet", share)
	}
}

// Whatever is pressed or pushed, what is applied in the end leaves no side of
// the support with a moment that overturns.
func TestKeptNeverTips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 8).Draw(t, "feet")
		var feet []geom.Vec2
		for i := range n {
			r := rapid.Float64Range(100, 300).Draw(t, "r")
			feet = append(feet, geom.V2(r, 0).Rotate(2*math.Pi*float64(i)/float64(n)))
		}
		support := hull(feet)
		top := slabAt(rapid.Float64Range(-50, 50).Draw(t, "x"), rapid.Float64Range(-50, 50).Draw(t, "y"), 200, 450)
		in := func(name string, a, b float64) float64 { return rapid.Float64Range(a, b).Draw(t, name) }
		others := []stress.Load{at(geom.V3(in("px", -400, 400), in("py", -400, 400), in("pz", 0, 500)), geom.V3(in("fx", -500, 500), in("fy", -500, 500), in("fz", -1500, 300)))}
		g, share := kept(support, nil, others, top)
		if g < 0 || g > most || share < 0 || share > 1 {
			t.Fatalf("%g g, share %g", g, share)
		}
		if g < most && share < 1 {
			t.Fatalf("reduced to %g with only %g g", share, g)
		}
		others[0].Force = others[0].Force.Scale(share)
		all := append(top.cover(g/1000*gravity), others...)
		if share == 0 {
			return // not applied
		}
		for i, a := range support {
			normal := support[(i+1)%len(support)].Sub(a).Unit().Right()
			if m := overturns(all, a, normal); m > 1e-6 {
				t.Fatalf("overturns by %g N mm about side %d (%g g, share %g)", m, i, g, share)
			}
		}
	})
}

// A foot of 20 × 20 mm is taken at half of its size, a slab of 300 × 400 mm, half
// of whose diagonal is 250 mm, at 15/250 less: 141 × 188 mm about its middle.
func TestFeetPressWithinTheirEdges(t *testing.T) {
	p := readPiece(t, fmt.Sprintf(boards, "table")+board("a", 300, 400, 20, 0, 0, 0))
	if b := geom.Polygons([]geom.Polygon{feet(p.Members)}).Bounds(); b.Max.Dist(geom.V2(141, 188)) > 1e-9 || b.Min.Dist(geom.V2(-141, -188)) > 1e-9 {
		t.Errorf("slab: %v", b)
	}
	p = readPiece(t, fmt.Sprintf(boards, "table")+board("a", 20, 20, 100, 200, 100, 0)+"    mirror: [x, y]\n"+board("b", 600, 400, 20, 0, 0, 100))
	if b := geom.Polygons([]geom.Polygon{feet(p.Members)}).Bounds(); b.Max.Dist(geom.V2(205, 105)) > 1e-9 || b.Min.Dist(geom.V2(-205, -105)) > 1e-9 {
		t.Errorf("four legs: %v", b)
	}
}

func TestHull(t *testing.T) {
	pts := []geom.Vec2{{X: 0, Y: 0}, {X: 4, Y: 0}, {X: 2, Y: 1}, {X: 4, Y: 3}, {X: 2, Y: 0}, {X: 0, Y: 3}, {X: 0, Y: 0}}
	if h := hull(pts); len(h) != 4 || h.Area() != 12 {
		t.Errorf("%v", h)
	}
	for _, pts := range [][]geom.Vec2{nil, {{X: 1}}, {{X: 1}, {X: 2}, {X: 3}}} {
		if h := hull(pts); h != nil {
			t.Errorf("%v of points in a line", h)
		}
	}
}
