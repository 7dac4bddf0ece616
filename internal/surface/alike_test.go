package surface_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
	"groundwork/internal/surface"
)

// moved is the solid carried by f, its vertices in another order, rounded to
// single precision.
func moved(t *rapid.T, s *surface.Solid, f geom.Frame) *surface.Solid {
	order := rapid.Permutation(indices(len(s.Vertices))).Draw(t, "order")
	out := &surface.Solid{Vertices: make([]geom.Vec3, len(s.Vertices)), Triangles: make([][3]int32, len(s.Triangles))}
	for i, k := range order {
		p := f.Point(s.Vertices[i])
		out.Vertices[k] = geom.V3(float64(float32(p.X)), float64(float32(p.Y)), float64(float32(p.Z)))
	}
	for i, k := range s.Triangles {
		out.Triangles[i] = [3]int32{int32(order[k[0]]), int32(order[k[1]]), int32(order[k[2]])}
	}
	return out
}

func indices(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

func alikeShapes() map[string]solid.Shape {
	box := func(x0, y0, z0, x1, y1, z1 float64) solid.Shape {
		return solid.Box(geom.Box3{Min: geom.V3(x0, y0, z0), Max: geom.V3(x1, y1, z1)}, 0)
	}
	return map[string]solid.Shape{
		"square leg": box(0, 0, 0, 40, 40, 400),
		"rail":       box(0, 0, 0, 400, 60, 18),
		"cone":       turningCases()[5].shape(0.1),
		"cylinder":   turningCases()[0].shape(0.1),
		"bowed leg":  boardCases()[5].shape(0.1),
		"handed":     solid.Union(box(0, 0, 0, 300, 120, 20), box(0, 0, 0, 300, 20, 60), box(0, 0, 0, 30, 120, 40)),
	}
}

func TestAlikeFindsTheMotion(t *testing.T) {
	for _, name := range []string{"square leg", "rail", "cone", "cylinder", "bowed leg", "handed"} {
		t.Run(name, func(t *testing.T) {
			shape := alikeShapes()[name]
			rapid.Check(t, func(t *rapid.T) {
				a := meshOf(t, shape, drawFrame(t))
				b := moved(t, a, drawFrame(t))
				f, ok := surface.Alike(a, b)
				if !ok {
					t.Fatal("not found")
				}
				if d := f.X.Cross(f.Y).Dist(f.Z); d > 1e-12 {
					t.Fatalf("not a proper motion: off by %g", d)
				}
				for _, v := range a.Vertices {
					p, near := f.Point(v), math.Inf(1)
					for _, w := range b.Vertices {
						near = min(near, p.Dist(w))
					}
					if near > 5e-4 {
						t.Fatalf("a vertex lands %.5f mm beside every other", near)
					}
				}
			})
		})
	}
}

// Symmetric or not, a copy that was only shifted is found as such.
func TestAlikeTurnsNoMoreThanNeeded(t *testing.T) {
	for _, name := range []string{"square leg", "rail", "cylinder", "bowed leg"} {
		shape := alikeShapes()[name]
		rapid.Check(t, func(t *rapid.T) {
			a := meshOf(t, shape, drawFrame(t))
			by := geom.V3(rapid.Float64Range(-300, 300).Draw(t, "dx"), rapid.Float64Range(-300, 300).Draw(t, "dy"), 0)
			f, ok := surface.Alike(a, moved(t, a, geom.Frame{Origin: by, X: geom.V3(1, 0, 0), Y: geom.V3(0, 1, 0), Z: geom.V3(0, 0, 1)}))
			if !ok || f.X.X+f.Y.Y+f.Z.Z < 3-1e-9 || f.Origin.Dist(by) > 1e-3 {
				t.Fatalf("%s: %v, %v; want a shift by %v", name, f, ok, by)
			}
		})
	}
}

func TestAMirrorImageIsNotAlike(t *testing.T) {
	mirror := func(s *surface.Solid) *surface.Solid {
		out := &surface.Solid{}
		for _, v := range s.Vertices {
			out.Vertices = append(out.Vertices, geom.V3(-v.X, v.Y, v.Z))
		}
		for _, k := range s.Triangles {
			out.Triangles = append(out.Triangles, [3]int32{k[0], k[2], k[1]})
		}
		return out
	}
	rapid.Check(t, func(t *rapid.T) {
		handed := meshOf(t, alikeShapes()["handed"], drawFrame(t))
		other := moved(t, mirror(handed), drawFrame(t))
		if _, ok := surface.Alike(handed, other); ok {
			t.Fatal("a handed solid is alike to its mirror image")
		}
		leg := meshOf(t, alikeShapes()["bowed leg"], drawFrame(t)) // has a plane of symmetry
		if _, ok := surface.Alike(leg, moved(t, mirror(leg), drawFrame(t))); !ok {
			t.Fatal("the mirror image of a symmetric solid is not alike")
		}
	})
}

func TestWhatIsNotAlike(t *testing.T) {
	at := geom.World()
	leg := func(x, y, z float64) *surface.Solid {
		return meshOf(t, solid.Box(geom.Box3{Max: geom.V3(x, y, z)}, 0), at)
	}
	for _, c := range []struct {
		name string
		b    *surface.Solid
		want bool
	}{
		{"the same", leg(40, 40, 400), true},
		{"0.004 mm longer", leg(40, 40, 400.004), true},
		{"0.05 mm longer", leg(40, 40, 400.05), false},
		{"thicker", leg(41, 40, 400), false},
		{"round", meshOf(t, turningCases()[0].shape(0.1), at), false},
	} {
		if _, ok := surface.Alike(leg(40, 40, 400), c.b); ok != c.want {
			t.Errorf("%s: alike is %v", c.name, ok)
		}
	}
}
