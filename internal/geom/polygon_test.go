package geom

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

func loop(xy ...float64) Polygon {
	var p Polygon
	for i := 0; i < len(xy); i += 2 {
		p = append(p, V2(xy[i], xy[i+1]))
	}
	return p
}

// TestClipDegenerate clips shapes that touch the line y = 0 in every way.
func TestClipDegenerate(t *testing.T) {
	square := loop(-1, -1, 1, -1, 1, 1, -1, 1)
	for _, c := range []struct {
		name        string
		ps          Polygons
		below       float64 // area kept with y <= 0
		loops       int     // of it
		above       float64
		loopsAbove  int
		mayTouch    bool // the result touches itself
		aboveTouchs bool
	}{
		{"square", Polygons{square}, 2, 1, 2, 1, false, false},
		{"diamond with vertices on the line", Polygons{loop(-1, 0, 0, -1, 1, 0, 0, 1)}, 1, 1, 1, 1, false, false},
		{"edge on the line, material below", Polygons{loop(0, -1, 1, -1, 1, 0, 0, 0)}, 1, 1, 0, 0, false, false},
		{"edge on the line, material above", Polygons{loop(0, 0, 1, 0, 1, 1, 0, 1)}, 0, 0, 1, 1, false, false},
		{"vertex touches from below", Polygons{loop(0, -1, 2, -1, 1, 0)}, 1, 1, 0, 0, false, false},
		{"vertex touches from above", Polygons{loop(1, 0, 2, 1, 0, 1)}, 0, 0, 1, 1, false, false},
		{"M: two tips on the line from below", Polygons{loop(0, -2, 4, -2, 4, -1, 3, 0, 2, -1, 1, 0, 0, -1)}, 6, 1, 0, 0, false, false},
		{"W across: two chains", Polygons{loop(0, 2, 1, -1, 2, 1, 3, -1, 4, 2, 2, 3)}, 5. / 6, 2, 0, 1, false, false},
		{"W whose middle tip touches the line", Polygons{loop(0, 2, 1, -1, 2, 0, 3, -1, 4, 2)}, 0, 2, 0, 1, false, false},
		{"hole crossed", Polygons{loop(-2, -2, 2, -2, 2, 2, -2, 2), loop(-1, -1, -1, 1, 1, 1, 1, -1)}, 6, 1, 6, 1, false, false},
		{"hole with an edge on the line from above", Polygons{loop(-2, -2, 2, -2, 2, 2, -2, 2), loop(-1, 0, -1, 1, 1, 1, 1, 0)}, 8, 1, 6, 1, false, false},
		{"hole with an edge on the line from below", Polygons{loop(-2, -2, 2, -2, 2, 2, -2, 2), loop(-1, -1, -1, 0, 1, 0, 1, -1)}, 6, 1, 8, 1, false, false},
		{"hole touching with a vertex from above", Polygons{loop(-2, -2, 2, -2, 2, 2, -2, 2), loop(0, 0, -1, 1, 1, 1)}, 8, 1, 7, 1, false, true},
		{"two holes crossed", Polygons{loop(-4, -2, 4, -2, 4, 2, -4, 2), loop(-3, -1, -3, 1, -1, 1, -1, -1), loop(1, -1, 1, 1, 3, 1, 3, -1)}, 12, 1, 12, 1, false, false},
		{"two loops that touch at a point of the line", Polygons{loop(0, 0, -1, 1, -1, -1), loop(0, 0, 1, -1, 1, 1)}, 1, 2, 1, 2, true, true},
		{"two loops side by side", Polygons{loop(0, -1, 1, -1, 1, 1, 0, 1), loop(1, -1, 2, -1, 2, 1, 1, 1)}, 2, 2, 2, 2, true, true},
		{"step along the line", Polygons{loop(0, -1, 2, -1, 2, 0, 1, 0, 1, 1, 0, 1)}, 2, 1, 1, 1, false, false},
		{"empty", nil, 0, 0, 0, 0, false, false},
		{"two points only", Polygons{loop(0, -1, 1, 1)}, 0, 0, 0, 0, false, false},
	} {
		below, above := c.ps.ClipHalfPlane(V2(0, 1), 0), c.ps.ClipHalfPlane(V2(0, -1), 0)
		if c.below != 0 && math.Abs(below.Area()-c.below) > 1e-12 {
			t.Errorf("%s: area below %g, want %g", c.name, below.Area(), c.below)
		}
		if c.above != 0 && math.Abs(above.Area()-c.above) > 1e-12 {
			t.Errorf("%s: area above %g, want %g", c.name, above.Area(), c.above)
		}
		whole := 0.0
		for _, p := range c.ps {
			if len(p) >= 3 {
				whole += p.Area()
			}
		}
		if got := below.Area() + above.Area(); math.Abs(got-whole) > 1e-12 {
			t.Errorf("%s: areas sum to %g, not %g", c.name, got, whole)
		}
		if len(below) != c.loops || len(above) != c.loopsAbove {
			t.Errorf("%s: %d and %d loops, want %d and %d", c.name, len(below), len(above), c.loops, c.loopsAbove)
		}
		for _, p := range below {
			if q, bad := p.SelfCrossing(); bad && !c.mayTouch {
				t.Errorf("%s: below touches itself at %v: %v", c.name, q, p)
			}
		}
		for _, p := range above {
			if q, bad := p.SelfCrossing(); bad && !c.aboveTouchs {
				t.Errorf("%s: above touches itself at %v: %v", c.name, q, p)
			}
		}
		for _, p := range append(below, above...) {
			if len(p) < 3 {
				t.Errorf("%s: a loop of %d points", c.name, len(p))
			}
		}
	}
}

// star is a random loop without crossings: points at rising angles. On a grid
// of quarters, so that vertices often lie on the cutting line.
func star(t *rapid.T, c Vec2, size float64, grid bool) Polygon {
	n := rapid.IntRange(3, 24).Draw(t, "points")
	var p Polygon
	for i := range n {
		a := 2 * math.Pi * float64(i) / float64(n)
		r := rapid.Float64Range(0.2, 1).Draw(t, "r") * size
		q := c.Add(V2(r, 0).Rotate(a))
		if grid {
			q = V2(math.Round(q.X*4)/4, math.Round(q.Y*4)/4)
		}
		p = append(p, q)
	}
	return p
}

func TestClipSums(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		grid := rapid.Bool().Draw(t, "grid")
		outer := star(t, Vec2{}, 10, grid)
		ps := Polygons{outer}
		if rapid.Bool().Draw(t, "hole") { // clear of the outer loop's least radius, 2
			ps = append(ps, star(t, Vec2{}, 1.2, false).Reversed())
		}
		angle := rapid.Float64Range(-4, 4).Draw(t, "angle")
		d := rapid.Float64Range(-8, 8).Draw(t, "d")
		if grid {
			angle, d = math.Pi/2*math.Round(angle), math.Round(d*4)/4
		}
		n := V2(math.Cos(angle), math.Sin(angle))
		if grid {
			n = V2(math.Round(n.X), math.Round(n.Y))
		}
		if _, bad := ps.Crossing(); bad { // rounding to the grid
			return
		}
		a, b := ps.ClipHalfPlane(n, d), ps.ClipHalfPlane(n.Scale(-1), -d)
		if got, want := a.Area()+b.Area(), ps.Area(); math.Abs(got-want) > 1e-10 {
			t.Fatalf("areas %g + %g, want %g", a.Area(), b.Area(), want)
		}
		for _, p := range a {
			for _, q := range p {
				if n.Dot(q) > d+1e-12 {
					t.Fatalf("%v lies beyond the line by %g", q, n.Dot(q)-d)
				}
			}
		}
		// Again by the same line changes nothing; points keep their side.
		if got := a.ClipHalfPlane(n, d).Area(); math.Abs(got-a.Area()) > 1e-10 {
			t.Fatalf("clipped twice: %g, once: %g", got, a.Area())
		}
		q := V2(rapid.Float64Range(-10, 10).Draw(t, "x"), rapid.Float64Range(-10, 10).Draw(t, "y"))
		if ps.Distance(q) < 1e-6 || math.Abs(n.Dot(q)-d) < 1e-6 {
			return
		}
		if got, want := a.Contains(q), ps.Contains(q) && n.Dot(q) < d; got != want {
			t.Fatalf("contains %v: %v, want %v", q, got, want)
		}
	})
}

func TestPolygonMeasures(t *testing.T) {
	p := loop(0, 0, 3, 0, 3, 4)
	near(t, "area", p.Area(), 6, 0)
	near(t, "area reversed", p.Reversed().Area(), -6, 0)
	near(t, "perimeter", p.Perimeter(), 12, 0)
	near(t, "distance inside", p.Distance(V2(2.5, 1)), 0.5, 1e-15)
	near(t, "distance outside", p.Distance(V2(6, 8)), 5, 1e-15)
	near(t, "distance to a segment of no length", SegmentDistance(V2(3, 4), Vec2{}, Vec2{}), 5, 0)
	far := p.Map(func(q Vec2) Vec2 { return q.Add(V2(1e9, 1e9)) })
	near(t, "area far away", far.Area(), 6, 0)
	if got := p.Bounds(); got != (Box2{Vec2{}, V2(3, 4)}) {
		t.Error(got)
	}
	if Polygon(nil).Area() != 0 || !Polygon(nil).Bounds().Empty() || (Polygons{}).Area() != 0 {
		t.Error("nothing has an area")
	}
	ring := Polygons{loop(0, 0, 10, 0, 10, 10, 0, 10), loop(2, 2, 2, 8, 8, 8, 8, 2)}
	if !ring.Contains(V2(1, 1)) || ring.Contains(V2(5, 5)) || ring.Contains(V2(11, 5)) {
		t.Error("even-odd rule")
	}
	near(t, "ring", ring.Area(), 64, 0)
	near(t, "ring's hole", ring.Distance(V2(5, 5)), 3, 0)
}

func TestCrossing(t *testing.T) {
	for _, c := range []struct {
		name string
		ps   Polygons
		want bool
	}{
		{"triangle", Polygons{loop(0, 0, 1, 0, 0, 1)}, false},
		{"bow tie", Polygons{loop(0, 0, 1, 1, 1, 0, 0, 1)}, true},
		{"spike that doubles back", Polygons{loop(0, 0, 2, 0, 1, 0, 1, 1)}, true},
		{"vertex on an edge", Polygons{loop(0, 0, 4, 0, 4, 2, 2, 0, 0, 2)}, true},
		{"vertex one ulp clear of an edge", Polygons{loop(0, 0, 4, 0, 4, 2, 2, 5e-324, 0, 2)}, false},
		{"points in line", Polygons{loop(0, 0, 1, 0, 2, 0, 2, 2)}, false},
		{"repeated point", Polygons{loop(0, 0, 1, 0, 1, 0, 0, 1)}, true},
		{"same vertex twice", Polygons{loop(0, 0, 2, 0, 1, 1, 2, 2, 0, 2, 1, 1)}, true},
		{"hole inside", Polygons{loop(0, 0, 9, 0, 9, 9, 0, 9), loop(1, 1, 1, 2, 2, 2)}, false},
		{"hole touching", Polygons{loop(0, 0, 9, 0, 9, 9, 0, 9), loop(0, 1, 1, 2, 2, 1)}, true},
		{"loops overlapping", Polygons{loop(0, 0, 2, 0, 2, 2, 0, 2), loop(1, 1, 3, 1, 3, 3, 1, 3)}, true},
		{"two points", Polygons{loop(0, 0, 1, 0)}, true},
	} {
		if at, got := c.ps.Crossing(); got != c.want {
			t.Errorf("%s: %v at %v", c.name, got, at)
		}
	}
}

// TestOrient compares with arithmetic in 2000 bits, close to the line.
func TestOrient(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := func(n string) Vec2 {
			return V2(rapid.Float64Range(-1, 1).Draw(t, n), rapid.Float64Range(-1, 1).Draw(t, n))
		}
		a, b := p("a"), p("b")
		c := a.Lerp(b, rapid.Float64Range(-2, 2).Draw(t, "t"))
		f := func(x float64) *big.Float { return new(big.Float).SetPrec(2400).SetFloat64(x) }
		sub := func(x, y float64) *big.Float { return f(0).Sub(f(x), f(y)) }
		l := f(0).Mul(sub(b.X, a.X), sub(c.Y, a.Y))
		r := f(0).Mul(sub(b.Y, a.Y), sub(c.X, a.X))
		if got, want := Orient(a, b, c), l.Cmp(r); got != want {
			t.Fatalf("%d, want %d", got, want)
		}
		if Orient(a, b, c) != -Orient(b, a, c) || Orient(a, b, c) != Orient(b, c, a) {
			t.Fatal("not antisymmetric")
		}
	})
}
