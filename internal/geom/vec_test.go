package geom

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func drawVec3(t *rapid.T, name string) Vec3 {
	f := rapid.Float64Range(-100, 100)
	return V3(f.Draw(t, name+".x"), f.Draw(t, name+".y"), f.Draw(t, name+".z"))
}

func drawFrame(t *rapid.T, name string) Frame {
	z := drawVec3(t, name+".z")
	if z.Len() < 1e-3 {
		z = V3(0, 0, 1)
	}
	return FrameFromZ(drawVec3(t, name), z)
}

func TestFrames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f, g := drawFrame(t, "f"), drawFrame(t, "g")
		p, q := drawVec3(t, "p"), drawVec3(t, "q")
		const tol = 1e-11
		same := func(what string, a, b Vec3) {
			if a.Dist(b) > tol {
				t.Fatalf("%s: %v and %v", what, a, b)
			}
		}
		for _, a := range []Frame{f, g, f.In(g), f.Inverse()} {
			if math.Abs(a.X.Len()-1)+math.Abs(a.Y.Len()-1)+a.X.Cross(a.Y).Dist(a.Z) > 1e-13 {
				t.Fatalf("not right-handed and orthonormal: %v", a)
			}
		}
		same("Local undoes Point", f.Local(f.Point(p)), p)
		same("LocalDir undoes Dir", f.LocalDir(f.Dir(p)), p)
		same("Inverse is Local", f.Inverse().Point(p), f.Local(p))
		same("In composes", f.In(g).Point(p), g.Point(f.Point(p)))
		if math.Abs(f.Point(p).Dist(f.Point(q))-p.Dist(q)) > tol {
			t.Fatal("a frame stretches")
		}
		n := drawVec3(t, "n")
		if n.Len() < 1e-3 {
			return
		}
		pl := PlaneAt(p, n)
		for what, d := range map[string]float64{
			"point":       pl.Distance(p),
			"flip":        pl.Distance(q) + pl.Flip().Distance(q),
			"local":       pl.Distance(f.Point(q)) - pl.Local(f).Distance(q),
			"in":          pl.Distance(q) - pl.In(f).Distance(f.Point(q)),
			"there, back": pl.Distance(q) - pl.In(f).Local(f).Distance(q),
		} {
			if math.Abs(d) > 1e-10 {
				t.Fatalf("plane, %s: off by %g", what, d)
			}
		}
	})
}

// TestFrameFromZ: the X axis does not jump between directions that differ by
// rounding.
func TestFrameFromZ(t *testing.T) {
	for _, z := range []Vec3{{0, 0, 1}, {0, 0, -1}, {1, 0, 0}, {0, 1, 0}, {1, 1, 0}, {1, 1, 1}, {-1, 1, 1}, {0, 1, 1}} {
		want := FrameFromZ(Vec3{}, z)
		for _, e := range []Vec3{{1e-15, 0, 0}, {0, -1e-15, 0}, {0, 0, 1e-15}} {
			if got := FrameFromZ(Vec3{}, z.Add(e)); got.X.Dist(want.X) > 1e-9 {
				t.Errorf("%v: X jumps from %v to %v", z, want.X, got.X)
			}
		}
	}
	if f := FrameFromXZ(V3(1, 2, 3), V3(5, 0, 1), V3(0, 0, 2)); f.X != V3(1, 0, 0) || f.Y != V3(0, 1, 0) || f.Z != V3(0, 0, 1) {
		t.Error(f)
	}
}

func TestBoxes(t *testing.T) {
	if !EmptyBox2().Empty() || !EmptyBox3().Empty() {
		t.Error("an empty box is not empty")
	}
	a := EmptyBox2().Add(V2(1, 2)).Add(V2(3, -1))
	if a.Empty() || a.Size() != V2(2, 3) || a.Center() != V2(2, 0.5) || a.Union(EmptyBox2().Add(V2(9, 9))).Max != V2(9, 9) {
		t.Error(a)
	}
	if !a.Overlaps(Box2{V2(3, 2), V2(4, 4)}) || a.Overlaps(Box2{V2(3.1, 2), V2(4, 4)}) || !a.Grow(0.2).Overlaps(Box2{V2(3.1, 2), V2(4, 4)}) {
		t.Error("overlap in the plane")
	}
	b := EmptyBox3().Add(V3(0, 0, 0)).Add(V3(1, 2, 3))
	if b.Size() != V3(1, 2, 3) || b.Center() != V3(0.5, 1, 1.5) || b.Overlaps(Box3{V3(0, 0, 3.5), V3(1, 1, 4)}) || !b.Grow(1).Overlaps(Box3{V3(0, 0, 3.5), V3(1, 1, 4)}) {
		t.Error("overlap in space")
	}
	if got := b.Union(EmptyBox3().Add(V3(-1, 5, 1))); got.Min != V3(-1, 0, 0) || got.Max != V3(1, 5, 3) {
		t.Error(got)
	}
}

func TestVectors(t *testing.T) {
	if V2(1, 0).Left() != V2(0, 1) || V2(1, 0).Right() != V2(0, -1) || V2(1, 0).Cross(V2(0, 1)) != 1 {
		t.Error("handedness")
	}
	if (Vec2{}).Unit() != (Vec2{}) || (Vec3{}).Unit() != (Vec3{}) {
		t.Error("the unit of nothing")
	}
	if V3(1, 0, 0).Cross(V3(0, 1, 0)) != V3(0, 0, 1) || V3(3, 4, 0).Len() != 5 || V3(1, 2, 3).Neg() != V3(-1, -2, -3) {
		t.Error("space")
	}
	near(t, "rotation", V2(1, 0).Rotate(math.Pi/3).Dist(V2(0.5, math.Sqrt(3)/2)), 0, 1e-15)
	near(t, "angle", V2(-1, 1).Angle(), 3*math.Pi/4, 1e-15)
}
