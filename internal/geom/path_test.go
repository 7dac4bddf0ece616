package geom

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func near(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.12g, want %.12g, off by %.2g", what, got, want, got-want)
	}
}

func ellipse(rx, ry float64) Path {
	return Path{Segs: []Seg{ArcOf(Vec2{}, rx, ry, 0, 0, 2*math.Pi)}, Closed: true}
}

func polyline(closed bool, pts ...Vec2) Path {
	p := Path{Closed: closed}
	for i := range pts {
		if i+1 < len(pts) || closed {
			p.Segs = append(p.Segs, LineTo(pts[i], pts[(i+1)%len(pts)]))
		}
	}
	return p
}

// perimeter of an ellipse by the arithmetic-geometric mean: 4 a E(e), with
// E/K = 1 − Σ 2^(n−1) c_n² and K = π/(2 agm(1, √(1−e²))). Source: Abramowitz
// and Stegun, Handbook of Mathematical Functions, 17.6.
func perimeter(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	x, y := 1.0, b/a
	c := math.Sqrt(1 - y*y)
	sum, pow := 0.0, 0.5
	for c > 1e-17 {
		sum += pow * c * c
		x, y, c = (x+y)/2, math.Sqrt(x*y), (x-y)/2
		pow *= 2
	}
	return 4 * a * math.Pi / (2 * x) * (1 - sum)
}

func TestEllipse(t *testing.T) {
	// 1263.7156: an independent evaluation in arbitrary precision.
	near(t, "the reference itself", perimeter(230, 170), 1263.7156, 5e-5)
	for _, c := range [][2]float64{{230, 170}, {1, 1}, {500, 20}, {3, 400}, {10, 9.999}} {
		p := ellipse(c[0], c[1])
		near(t, "perimeter", p.Length(), perimeter(c[0], c[1]), 1e-11*p.Length())
		near(t, "area", p.Area(), math.Pi*c[0]*c[1], 1e-12*p.Area())
		near(t, "turned and moved: perimeter", p.Rotated(0.7).Translated(V2(1e4, -3)).Length(), p.Length(), 1e-11*p.Length())
		near(t, "turned and moved: area", p.Rotated(0.7).Translated(V2(1e4, -3)).Area(), p.Area(), 1e-10*p.Area())
		// tightest at the ends of the long axis: b²/a
		a, b := max(c[0], c[1]), min(c[0], c[1])
		r, _ := p.MinRadius(0, p.Length())
		near(t, "least radius", r, b*b/a, 1e-9*r)
		// turning without the corner at the start, where the path is smooth
		near(t, "turning", p.Turning(0, p.Length()), 2*math.Pi, 1e-10)
	}
}

func TestClosedForms(t *testing.T) {
	sector := Path{Closed: true, Segs: []Seg{
		LineTo(Vec2{}, V2(10, 0)), ArcOf(Vec2{}, 10, 10, 0, 0, 1.2), LineTo(V2(10, 0).Rotate(1.2), Vec2{}),
	}}
	near(t, "sector area r²φ/2", sector.Area(), 60, 1e-12)
	near(t, "sector length", sector.Length(), 32, 1e-12)
	near(t, "sector turning with its corners but the first", sector.Turning(0, 32), 2*math.Pi-sector.Corner(0), 1e-12)

	half := Path{Closed: true, Segs: []Seg{ArcOf(Vec2{}, 30, 20, 0.3, 0, math.Pi), LineTo(V2(-30, 0).Rotate(0.3), V2(30, 0).Rotate(0.3))}}
	near(t, "half ellipse", half.Area(), math.Pi*300, 1e-10)

	// A cubic with evenly spaced x is the graph of a polynomial: with ordinates
	// y0 … y3 over width w the area below is w (y0 + y1 + y2 + y3)/4.
	cubic := Path{Closed: true, Segs: []Seg{
		CubicTo(V2(9, 2), V2(6, 5), V2(3, -1), V2(0, 4)), LineTo(V2(0, 4), Vec2{}), LineTo(Vec2{}, V2(9, 0)), LineTo(V2(9, 0), V2(9, 2)),
	}}
	near(t, "area under a cubic", cubic.Area(), 9*(2+5-1+4)/4., 1e-12)
	// y = x² from 0 to 1 as a cubic: length (2√5 + asinh 2)/4, radius 1/2 at 0.
	parabola := Path{Segs: []Seg{CubicTo(Vec2{}, V2(1./3, 0), V2(2./3, 1./3), V2(1, 1))}}
	near(t, "length of a parabola", parabola.Length(), (2*math.Sqrt(5)+math.Asinh(2))/4, 1e-13)
	near(t, "turning of a parabola", parabola.Turning(0, parabola.Length()), math.Atan(2), 1e-12)
	r, at := parabola.MinRadius(0, parabola.Length())
	near(t, "least radius of a parabola", r, 0.5, 1e-9)
	near(t, "its place", at, 0, 1e-6)
	if r, _ := parabola.Reversed().MinRadius(0, 1); r >= 0 {
		t.Errorf("a path that turns right has the radius %g", r)
	}
	if r, _ := polyline(false, Vec2{}, V2(3, 4)).MinRadius(0, 5); !math.IsInf(r, 1) {
		t.Errorf("a straight line has the radius %g", r)
	}
	// A straight cubic with handles that double back has length beyond its chord.
	if l := (Path{Segs: []Seg{CubicTo(Vec2{}, Vec2{}, V2(3, 0), V2(3, 0))}}).Length(); math.Abs(l-3) > 1e-9 {
		t.Errorf("straight cubic with coincident handles: length %g", l)
	}
}

func TestCheck(t *testing.T) {
	ok := polyline(true, Vec2{}, V2(1, 0), V2(0, 1))
	if err := ok.Check(1e-9); err != nil {
		t.Error(err)
	}
	for name, p := range map[string]Path{
		"empty": {},
		"gap":   {Segs: []Seg{LineTo(Vec2{}, V2(1, 0)), LineTo(V2(1, 0.1), V2(2, 0))}},
		"open":  {Segs: []Seg{LineTo(Vec2{}, V2(1, 0)), LineTo(V2(1, 0), V2(2, 0))}, Closed: true},
		"point": {Segs: []Seg{LineTo(Vec2{}, Vec2{})}},
		"NaN":   {Segs: []Seg{LineTo(Vec2{}, V2(math.NaN(), 0))}},
		"Inf":   {Segs: []Seg{ArcOf(Vec2{}, math.Inf(1), 1, 0, 0, 1)}},
	} {
		if p.Check(1e-9) == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// drawSeg is a random segment of some size that starts at a.
func drawSeg(t *rapid.T, a Vec2) Seg {
	f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
	p := func(name string) Vec2 { return V2(f(name+".x", -100, 100), f(name+".y", -100, 100)) }
	switch Kind(rapid.IntRange(0, 2).Draw(t, "kind")) {
	case Arc:
		s := ArcOf(Vec2{}, f("rx", 1, 100), f("ry", 1, 100), f("rot", -4, 4), f("start", -7, 7), f("sweep", 0.05, 2*math.Pi))
		if rapid.Bool().Draw(t, "clockwise") {
			s = s.Reversed()
		}
		return s.Translated(a.Sub(s.From()))
	case Cubic:
		b := a.Add(V2(f("len", 1, 50), 0).Rotate(f("dir", -4, 4)))
		c := p("c")
		return CubicTo(a, b, c, c.Add(V2(f("len", 1, 50), 0).Rotate(f("dir", -4, 4))))
	}
	return LineTo(a, a.Add(V2(f("len", 1, 100), 0).Rotate(f("dir", -4, 4))))
}

func drawPath(t *rapid.T) Path {
	var p Path
	at := V2(3, -5)
	for range rapid.IntRange(1, 4).Draw(t, "segments") {
		s := drawSeg(t, at)
		p.Segs = append(p.Segs, s)
		at = s.To()
	}
	if at.Dist(p.Segs[0].From()) > 1 && rapid.Bool().Draw(t, "closed") {
		p.Closed = true
		p.Segs = append(p.Segs, LineTo(at, p.Segs[0].From()))
	}
	return p
}

func TestPathProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPath(t)
		l := p.Length()
		close := func(what string, got, want, tol float64) {
			if !(math.Abs(got-want) <= tol) {
				t.Fatalf("%s: %.12g, want %.12g", what, got, want)
			}
		}
		if err := p.Check(1e-7); err != nil {
			t.Fatal(err)
		}
		r, m := p.Reversed(), p.Mirrored()
		close("length reversed", r.Length(), l, 1e-9*l)
		close("length mirrored", m.Length(), l, 1e-9*l)
		if p.Closed {
			a := p.Area()
			close("area reversed", r.Area(), -a, 1e-6)
			close("area mirrored", m.Area(), a, 1e-6)
			close("area moved", p.Rotated(1).Translated(V2(50, 70)).Area(), a, 1e-6)
			// with the corner at the start, a closed path turns by a multiple of 2π
			full := (p.Turning(0, l) + p.Corner(0)) / (2 * math.Pi)
			if len(p.Segs) > 1 { // half turns at a corner may count either way
				close("whole turns", full, math.Round(full), 1e-6)
			}
		}
		for _, q := range []Path{r, m} {
			if err := q.Check(1e-7); err != nil {
				t.Fatal(err)
			}
		}

		// Parts sum to the whole.
		x := rapid.Float64Range(0.01, 0.99).Draw(t, "x") * l
		a, b := p.Cut(0, x), p.Cut(x, l)
		close("first part", a.Length(), x, 1e-8*l)
		close("second part", b.Length(), l-x, 1e-8*l)
		i, u := p.AtLength(x)
		at := p.Segs[i].At(u)
		close("the parts meet", a.Segs[len(a.Segs)-1].To().Dist(b.Segs[0].From()), 0, 1e-6)
		close("at AtLength", a.Segs[len(a.Segs)-1].To().Dist(at), 0, 1e-6)
		if p.Closed {
			w := p.Cut(x, x+l/2)
			close("wrapped part", w.Length(), l/2, 1e-8*l)
			close("same, a turn earlier", p.Cut(x-l, x-l/2).Length(), l/2, 1e-8*l)
		}

		// Nearest finds a point of the path, at most as far as a point of it we know.
		q := at.Add(V2(rapid.Float64Range(-20, 20).Draw(t, "dx"), rapid.Float64Range(-20, 20).Draw(t, "dy")))
		s, d := p.Nearest(q)
		if d > q.Dist(at)+1e-9 {
			t.Fatalf("Nearest: %g, but %g is possible", d, q.Dist(at))
		}
		i, u = p.AtLength(s)
		close("the place of Nearest", p.Segs[i].At(u).Dist(q), d, 1e-6)

		// Flattening keeps within its tolerance, and the bounds hold tightly.
		tol := rapid.SampledFrom([]float64{1, 0.1, 0.01}).Draw(t, "tol")
		fl := p.Flatten(tol)
		box := p.Bounds()
		grown := box.Grow(1e-7)
		seen := EmptyBox2()
		for k, q := range fl {
			if !grown.Overlaps(Box2{q.P, q.P}) {
				t.Fatalf("%v lies outside the bounds %v", q.P, box)
			}
			seen = seen.Add(q.P)
			if i, u := p.AtLength(q.S); p.Segs[i].At(u).Dist(q.P) > 1e-6 {
				t.Fatalf("sample %d: arc length %g is not its own", k, q.S)
			}
			if k+1 == len(fl) {
				break
			}
			n := fl[k+1]
			end := n.T
			if n.Seg != q.Seg {
				end = 1
			}
			for _, f := range []float64{0.25, 0.5, 0.75} {
				c := p.Segs[q.Seg].At(q.T + f*(end-q.T))
				if off := SegmentDistance(c, q.P, n.P); off > tol*(1+1e-9) {
					t.Fatalf("a chord strays %g, more than %g", off, tol)
				}
			}
		}
		if seen.Grow(tol*1.001).Add(box.Min).Add(box.Max) != seen.Grow(tol*1.001) {
			t.Fatalf("bounds %v are larger than the path's %v", box, seen)
		}
	})
}

// TestCross compares crossings with a line with sign changes along the path.
func TestCross(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSeg(t, V2(3, -5))
		n := V2(1, 0).Rotate(rapid.Float64Range(-4, 4).Draw(t, "angle"))
		d := n.Dot(s.At(rapid.Float64Range(-0.2, 1.2).Draw(t, "t"))) // often through the segment
		ts := s.Cross(n, d)
		for i, u := range ts {
			if off := n.Dot(s.At(u)) - d; math.Abs(off) > 1e-6 {
				t.Fatalf("crossing at %g is %g off the line", u, off)
			}
			if i > 0 && u <= ts[i-1] {
				t.Fatalf("crossings %v do not rise", ts)
			}
		}
		const steps = 2000
		k := 0
		for i := range steps {
			a, b := float64(i)/steps, float64(i+1)/steps
			if (n.Dot(s.At(a))-d)*(n.Dot(s.At(b))-d) >= 0 {
				continue
			}
			for k < len(ts) && ts[k] < a-1e-9 {
				k++
			}
			if k == len(ts) || ts[k] > b+1e-9 {
				t.Fatalf("no crossing between %g and %g: %v", a, b, ts)
			}
		}
	})
	// tangent, at the ends, along the line
	arc := ArcOf(Vec2{}, 1, 1, 0, 0, math.Pi)
	if got := arc.Cross(V2(0, 1), 1); len(got) == 0 || math.Abs(got[0]-0.5) > 1e-6 {
		t.Errorf("tangent: %v", got)
	}
	if got := arc.Cross(V2(0, 1), 0); len(got) != 2 || got[0] != 0 || got[1] != 1 {
		t.Errorf("at both ends: %v", got)
	}
	if got := LineTo(Vec2{}, V2(1, 0)).Cross(V2(0, 1), 0); got != nil {
		t.Errorf("along the line: %v", got)
	}
}

func TestSplit(t *testing.T) {
	p := ellipse(30, 20)
	q, from := p.Split([]HalfPlane{{V2(1, 0), 10}, {V2(0, 1), -5}})
	if len(q.Segs) != 5 || len(from) != 5 || !q.Closed {
		t.Fatalf("%d segments, want 5", len(q.Segs))
	}
	near(t, "length", q.Length(), p.Length(), 1e-10)
	near(t, "area", q.Area(), p.Area(), 1e-10)
	for _, s := range q.Segs {
		for _, h := range []HalfPlane{{V2(1, 0), 10}, {V2(0, 1), -5}} {
			a, b := h.Holds(s.At(0.01), 0), h.Holds(s.At(0.99), 0)
			if a != b {
				t.Errorf("a part from %v to %v crosses %v", s.From(), s.To(), h)
			}
		}
	}
}
