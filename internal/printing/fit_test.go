package printing

import (
	"math"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/shop"

	"pgregory.net/rapid"
)

func bed(x, y, z float64) shop.Printer { return shop.Printer{ID: "p", Build: geom.V3(x, y, z)} }

func cuboid(x, y, z float64) []geom.Vec3 {
	var out []geom.Vec3
	for i := range 8 {
		out = append(out, geom.V3(x*float64(i&1), y*float64(i>>1&1), z*float64(i>>2&1)))
	}
	return out
}

func moved(points []geom.Vec3, f geom.Frame) []geom.Vec3 {
	out := make([]geom.Vec3, len(points))
	for i, p := range points {
		out[i] = f.Point(p)
	}
	return out
}

func inside(t interface {
	Helper()
	Fatalf(string, ...any)
}, points []geom.Vec3, f geom.Frame, u geom.Vec3) {
	t.Helper()
	if d := math.Abs(f.X.Dot(f.Y)) + math.Abs(f.X.Dot(f.Z)) + math.Abs(f.Y.Dot(f.Z)) + f.X.Cross(f.Y).Dist(f.Z); d > 1e-9 {
		t.Fatalf("pose is not a right-handed frame: %g", d)
	}
	for _, p := range points {
		q := f.Local(p)
		if q.X < -1e-5 || q.Y < -1e-5 || q.Z < -1e-5 || q.X > u.X+1e-5 || q.Y > u.Y+1e-5 || q.Z > u.Z+1e-5 {
			t.Fatalf("point %v lies at %v, outside %v", p, q, u)
		}
	}
}

// carver says whether a p x q rectangle fits in an a x b one: W. F. Carver,
// "Solution to Problem E 1225", American Mathematical Monthly 64 (1957),
// p. 114 (from memory; checked below against fitRectangle, which does not use it).
func carver(p, q, a, b float64) bool {
	if p < q {
		p, q = q, p
	}
	if a < b {
		a, b = b, a
	}
	if p <= a && q <= b {
		return true
	}
	if p <= a || q > b {
		return false
	}
	r := p*p + q*q
	return b >= (2*p*q*a+(p*p-q*q)*math.Sqrt(r-a*a))/r
}

func TestRectangleInRectangleAgreesWithCarver(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(20, 400).Draw(t, "x")
		y := rapid.Float64Range(1, 300).Draw(t, "y")
		bx := rapid.Float64Range(100, 300).Draw(t, "bx")
		by := rapid.Float64Range(100, 300).Draw(t, "by")
		skew := rapid.Float64Range(0, 7).Draw(t, "skew")
		rect := geom.Polygon{{}, {X: x}, {X: x, Y: y}, {Y: y}}.Map(func(v geom.Vec2) geom.Vec2 { return v.Rotate(skew) })
		turn, ok := fitRectangle(hull2(rect), geom.V2(bx, by))
		grown, shrunk := carver(x*(1+1e-7), y*(1+1e-7), bx, by), carver(x*(1-1e-7), y*(1-1e-7), bx, by)
		if grown == shrunk && ok != grown {
			t.Fatalf("%g x %g in %g x %g: fits %v, Carver says %v", x, y, bx, by, ok, grown)
		}
		if ok {
			size := rect.Map(func(v geom.Vec2) geom.Vec2 { return v.Rotate(turn) }).Bounds().Size()
			if size.X > bx+1e-5 || size.Y > by+1e-5 {
				t.Fatalf("turned by %g it is %v, bed %g x %g", turn, size, bx, by)
			}
		}
	})
}

func TestPolygonInRectangleAgreesWithFineSearch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 12).Draw(t, "n")
		pts := make([]geom.Vec2, n)
		for i := range pts {
			pts[i] = geom.V2(rapid.Float64Range(0, 300).Draw(t, "px"), rapid.Float64Range(0, 150).Draw(t, "py"))
		}
		h := hull2(pts)
		if len(h) < 3 || h.Area() < 1 {
			return
		}
		size := geom.V2(rapid.Float64Range(80, 260).Draw(t, "bx"), rapid.Float64Range(80, 260).Draw(t, "by"))
		turn, ok := fitRectangle(h, size)
		if ok {
			s := h.Map(func(v geom.Vec2) geom.Vec2 { return v.Rotate(turn) }).Bounds().Size()
			if s.X > size.X+1e-5 || s.Y > size.Y+1e-5 {
				t.Fatalf("claimed turn %g gives %v in %v", turn, s, size)
			}
			return
		}
		for k := range 2000 {
			a := float64(k) / 2000 * math.Pi
			s := h.Map(func(v geom.Vec2) geom.Vec2 { return v.Rotate(a) }).Bounds().Size()
			if s.X <= size.X && s.Y <= size.Y {
				t.Fatalf("turn %g fits (%v in %v) but none was found", a, s, size)
			}
		}
	})
}

func TestFits(t *testing.T) {
	// Figures in the comments are plane geometry.
	for _, c := range []struct {
		name    string
		x, y, z float64
		p       shop.Printer
		want    bool
	}{
		{"exactly the volume", 220, 220, 250, bed(220, 220, 250), true},
		{"a hair too long every way", 251, 221, 221, bed(220, 220, 250), false},
		{"lying on its side", 25, 250, 200, bed(220, 220, 250), true},
		// A strip of width b in a square of side s: length s√2 - b.
		{"diagonal 290 x 19 in 220 square: 311.1-19 = 292.1", 290, 19, 240, bed(220, 220, 250), true},
		{"diagonal 294 x 19 flat, 240 high", 294, 19, 240, bed(220, 220, 250), false},
		// A 330 mm stick needs the diagonal of the volume (399 mm), tilted.
		{"stick on the volume's diagonal", 330, 10, 10, bed(220, 220, 250), true},
		{"longer than the volume's diagonal", 402, 4, 4, bed(220, 220, 250), false},
		{"brim and top are kept", 216, 100, 20, shop.Printer{Build: geom.V3(220, 220, 250), Brim: 5, Top: 2}, true}, // on the diagonal or standing: 216 <= 248
		{"brim and top are kept, all three too long", 216, 216, 249, shop.Printer{Build: geom.V3(220, 220, 250), Brim: 5, Top: 2}, false},
	} {
		pts := cuboid(c.x, c.y, c.z)
		f, ok := Fits(pts, c.p)
		if ok != c.want {
			t.Errorf("%s: fits %v", c.name, ok)
			continue
		}
		if ok {
			inside(t, pts, f, Usable(c.p))
		}
	}
}

func TestFitsHoweverItLies(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(5, 280).Draw(t, "x")
		y := rapid.Float64Range(5, 215).Draw(t, "y")
		z := rapid.Float64Range(5, 100).Draw(t, "z")
		p := bed(220, 220, 250)
		flat := cuboid(x, y, z)
		_, want := FitsFlat(flat, []geom.Vec3{{Z: -1}, {Y: -1}, {X: -1}}, p)
		axis := geom.V3(rapid.Float64Range(-1, 1).Draw(t, "ax"), rapid.Float64Range(-1, 1).Draw(t, "ay"), 1.5)
		g := geom.FrameFromZ(geom.V3(400, -100, 30), axis)
		turned := moved(flat, g)
		f, ok := Fits(turned, p)
		if want && !ok {
			t.Fatalf("%g x %g x %g fits flat but not when it comes in turned", x, y, z)
		}
		if ok {
			inside(t, turned, f, Usable(p))
		}
	})
}

func TestHullNormalsOfACylinderBeginWithItsEnds(t *testing.T) {
	var pts []geom.Vec3
	for i := range 48 {
		a := float64(i) / 48 * 2 * math.Pi
		pts = append(pts, geom.V3(60*math.Cos(a), 60*math.Sin(a), 0), geom.V3(60*math.Cos(a), 60*math.Sin(a), 25))
	}
	n := hullNormals(pts)
	if len(n) != 50 {
		t.Fatalf("%d faces, want 2 ends and 48 sides", len(n))
	}
	if math.Abs(math.Abs(n[0].Z)-1) > 1e-6 || math.Abs(n[0].Z+n[1].Z) > 1e-6 {
		t.Fatalf("largest faces are %v and %v", n[0], n[1])
	}
}

func BenchmarkFitsTooLong(b *testing.B) {
	pts := moved(cuboid(300, 150, 19), geom.FrameFromZ(geom.V3(3, 4, 5), geom.V3(0.3, 0.2, 1)))
	for b.Loop() {
		Fits(pts, bed(220, 220, 250))
	}
}

func BenchmarkFitsFlat(b *testing.B) {
	pts := moved(cuboid(200, 150, 19), geom.FrameFromZ(geom.V3(3, 4, 5), geom.V3(0.3, 0.2, 1)))
	n := geom.V3(0.3, 0.2, 1).Unit()
	for b.Loop() {
		FitsFlat(pts, []geom.Vec3{n}, bed(220, 220, 250))
	}
}

// Whatever turn is offered fits, also for hulls with many edges in almost one
// direction, as worn and scanned bodies have, and a hull that fits as it lies is
// never refused.
func TestFitRectangleKeepsItsWord(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 60).Draw(t, "points")
		long, wide := rapid.Float64Range(20, 300).Draw(t, "long"), rapid.Float64Range(5, 100).Draw(t, "wide")
		rough := rapid.SampledFrom([]float64{0, 1e-7, 1e-5, 1e-2, 1}).Draw(t, "rough")
		turn := rapid.Float64Range(-4, 4).Draw(t, "turn")
		var pts []geom.Vec2
		for range n {
			x, y := rapid.Float64Range(0, 1).Draw(t, "x"), rapid.Float64Range(0, 1).Draw(t, "y")
			if rapid.Bool().Draw(t, "on a side") { // rather than anywhere
				y = math.Round(y)
			}
			pts = append(pts, geom.V2(long*x+rough*y, wide*y+rough*x*x).Rotate(turn))
		}
		hull := hull2(pts)
		size := geom.V2(rapid.Float64Range(20, 300).Draw(t, "bed x"), rapid.Float64Range(20, 300).Draw(t, "bed y"))
		at, ok := fitRectangle(hull, size)
		as := extentTurned(hull, at)
		if ok && (as.X > size.X+2*fitSlack || as.Y > size.Y+2*fitSlack) {
			t.Fatalf("turned by %v it is %v and does not fit %v", at, as, size)
		}
		if box := extentTurned(hull, 0); !ok && box.X <= size.X && box.Y <= size.Y {
			t.Fatalf("%v lies within %v, and is refused", box, size)
		}
	})
}
