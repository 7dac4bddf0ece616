package unfold_test

import (
	"math"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/unfold"
)

// Tubes without a side along any ruling are cut open along one all the same.
func TestSeamIsARuling(t *testing.T) {
	tubes := map[string]func(x, y float64) geom.Vec3{
		"twisted rows": func(x, y float64) geom.Vec3 {
			s, c := math.Sincos(2*math.Pi*x + 0.7*y)
			return geom.V3(100*c, 100*s, 300*y)
		},
		"slanting ends": func(x, y float64) geom.Vec3 {
			s, c := math.Sincos(2*math.Pi*x + 0.4*y)
			return geom.V3(100*c, 100*s, 40*c+(300-60*s-40*c)*y)
		},
		"cone": func(x, y float64) geom.Vec3 {
			s, c := math.Sincos(2*math.Pi*x + 0.5*y)
			r := 100 - 40*y
			return geom.V3(r*c, r*s, 200*y)
		},
	}
	for name, f := range tubes {
		for _, toward := range []geom.Vec3{{X: 1}, {X: -1}, {Y: 1}, {X: 1, Y: -2}} {
			v, tri := grid(60, 9, true, f)
			p, d, err := unfold.Flatten(v, tri, unfold.Options{SeamToward: toward})
			if err != nil {
				t.Fatal(err)
			}
			if d.Stretch > 2e-3 || d.Overlap {
				t.Errorf("%s: %+v", name, d)
			}
			// Points of both sides of the cut coincide in space.
			seen := map[geom.Vec3]int{}
			for _, q := range p.Vertices {
				seen[q]++
			}
			lo, hi, n := math.Inf(1), math.Inf(-1), 0
			for q, k := range seen {
				if k == 2 {
					// Angle about the axis against that of the wanted direction.
					a := toward.XY().Unit()
					off := math.Atan2(a.Cross(q.XY()), a.Dot(q.XY()))
					lo, hi = min(lo, off), max(hi, off)
					n++
				}
			}
			if n < 5 || hi-lo > 5e-3 || math.Abs(lo) > 0.06 {
				t.Errorf("%s towards %v: the seam's %d points lie between %g and %g rad", name, toward, n, lo, hi)
			}
			t.Logf("%s: %d points, %.2g rad, %+v", name, n, hi-lo, d)
		}
	}
}
