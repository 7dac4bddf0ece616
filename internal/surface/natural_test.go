package surface_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// An L-shaped bracket keeps its own frame wherever it stands: z out of its
// largest side, x along it, the origin in the middle.
func TestNaturalGoesWithTheSolid(t *testing.T) {
	box := func(x0, y0, z0, x1, y1, z1 float64) solid.Shape {
		return solid.Box(geom.Box3{Min: geom.V3(x0, y0, z0), Max: geom.V3(x1, y1, z1)}, 0)
	}
	// A plate 300 x 120 x 20 with a lip 40 high along one long side.
	shape := solid.Union(box(0, 0, 0, 300, 120, 20), box(0, 0, 0, 300, 20, 60))
	rapid.Check(t, func(t *rapid.T) {
		f := drawFrame(t)
		n := meshOf(t, shape, f).Natural()
		if d := n.Z.Dist(f.Z.Neg()); d > 1e-4 { // the underside is the largest
			t.Errorf("z is %v, want %v", n.Z, f.Z.Neg())
		}
		if d := n.X.Cross(f.X).Len(); d > 1e-4 {
			t.Errorf("x is %v, want along %v", n.X, f.X)
		}
		if d := n.Origin.Dist(f.Point(geom.V3(150, 60, 30))); d > 1e-2 {
			t.Errorf("the origin lies %.4f mm off", d)
		}
	})
}

func TestNaturalWithoutFlats(t *testing.T) {
	pts := []geom.Vec2{{X: 0, Y: -100}} // a spindle, pointed at both ends
	for i := 1; i < 20; i++ {
		z := -100 + 10*float64(i)
		pts = append(pts, geom.V2(30*math.Sqrt(1-z*z/1e4), z))
	}
	pts = append(pts, geom.V2(0, 100))
	n := meshOf(t, solid.Revolve(pts, make([]solid.Tag, len(pts)), 48), geom.World()).Natural()
	if d := n.X.Cross(geom.V3(0, 0, 1)).Len(); d > 1e-3 {
		t.Errorf("x is %v, want along z", n.X)
	}
	if n.Origin.Len() > 0.1 {
		t.Errorf("the origin is %v", n.Origin)
	}
}
