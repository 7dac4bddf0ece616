package geom

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// rounded is a rectangle with quarter-circle corners.
func rounded(w, h, r float64) Path {
	q := math.Pi / 2
	return Path{Closed: true, Segs: []Seg{
		LineTo(V2(r, 0), V2(w-r, 0)), ArcOf(V2(w-r, r), r, r, 0, -q, q),
		LineTo(V2(w, r), V2(w, h-r)), ArcOf(V2(w-r, h-r), r, r, 0, 0, q),
		LineTo(V2(w-r, h), V2(r, h)), ArcOf(V2(r, h-r), r, r, 0, q, q),
		LineTo(V2(0, h-r), V2(0, r)), ArcOf(V2(r, r), r, r, 0, 2*q, q),
	}}
}

// blob is a smooth closed path of n cubics through a wavy circle.
func blob(n int, wave float64) Path {
	at := func(i int) (Vec2, Vec2) {
		a := 2 * math.Pi * float64(i%n) / float64(n)
		r := 100 + wave*math.Cos(3*a)
		d := -3 * wave * math.Sin(3*a)
		return V2(r, 0).Rotate(a), V2(d, r).Rotate(a).Scale(2 * math.Pi / float64(n) / 3)
	}
	p := Path{Closed: true}
	for i := range n {
		a, da := at(i)
		b, db := at(i + 1)
		p.Segs = append(p.Segs, CubicTo(a, a.Add(da), b.Sub(db), b))
	}
	return p
}

func uniform(p Path, d float64) []float64 {
	out := make([]float64, len(p.Segs))
	for i := range out {
		out[i] = d
	}
	return out
}

// TestSteiner: a smooth closed path moved outward by d everywhere has the
// length P + 2π d and the area A + P d + π d² (Steiner's formula).
func TestSteiner(t *testing.T) {
	for name, p := range map[string]Path{
		"circle": ellipse(50, 50), "ellipse": ellipse(230, 170), "slim ellipse": ellipse(200, 60),
		"turned ellipse": ellipse(230, 170).Rotated(0.7).Translated(V2(900, -40)),
		"rounded":        rounded(300, 200, 25), "blob": blob(12, 4), "wavy blob": blob(18, 12),
	} {
		l, a := p.Length(), p.Area()
		for _, d := range []float64{0.4, -0.4, 5, -5, 0} {
			q, from, err := p.Offset(uniform(p, d), 1e-6)
			if err != nil {
				t.Errorf("%s by %g: %v", name, d, err)
				continue
			}
			if err := q.Check(1e-9); err != nil || len(from) != len(q.Segs) {
				t.Errorf("%s by %g: %v", name, d, err)
			}
			wantL, wantA := l+2*math.Pi*d, a+l*d+math.Pi*d*d
			if off := math.Abs(q.Length()/wantL - 1); off > 1e-8 {
				t.Errorf("%s by %g: length %.9g, want %.9g, off by %.2g", name, d, q.Length(), wantL, off)
			}
			if off := math.Abs(q.Area()/wantA - 1); off > 1e-8 {
				t.Errorf("%s by %g: area %.9g, want %.9g, off by %.2g", name, d, q.Area(), wantA, off)
			}
			// every point at its distance, and the reverse path mirrors the sign
			for k := range 50 {
				s := q.Segs[k*len(q.Segs)/50]
				if _, dist := p.Nearest(s.At(0.37)); math.Abs(dist-math.Abs(d)) > 2e-6 {
					t.Errorf("%s by %g: a point at the distance %.9g", name, d, dist)
				}
			}
			r, _, err := p.Reversed().Offset(uniform(p, -d), 1e-6)
			if err != nil || math.Abs(r.Area()+q.Area()) > 1e-6*q.Area() {
				t.Errorf("%s reversed by %g: %v, area %g", name, d, err, r.Area())
			}
		}
	}
}

func TestMitre(t *testing.T) {
	// a triangle 3-4-5 moved outward by d: similar, its inradius 1 grows by d
	tri := polyline(true, Vec2{}, V2(4, 0), V2(0, 3))
	for _, d := range []float64{0.5, -0.5, 20} {
		q, _, err := tri.Offset(uniform(tri, d), 1e-6)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "area", q.Area(), 6*(1+d)*(1+d), 1e-9)
	}
	// a rectangle with a distance of its own for every side
	rect := polyline(true, Vec2{}, V2(40, 0), V2(40, 30), V2(0, 30))
	q, _, err := rect.Offset([]float64{1, 2, 3, -4}, 1e-6)
	if err != nil {
		t.Fatal(err)
	}
	if b := q.Bounds(); b.Min.Dist(V2(4, -1)) > 1e-12 || b.Max.Dist(V2(42, 33)) > 1e-12 {
		t.Error(b)
	}
	// half disc of radius 10 moved outward by 1: the corner is where the circle
	// of radius 11 meets the line y = −1: x = √120
	half := Path{Closed: true, Segs: []Seg{ArcOf(Vec2{}, 10, 10, 0, 0, math.Pi), LineTo(V2(-10, 0), V2(10, 0))}}
	q, from, err := half.Offset([]float64{1, 1}, 1e-6)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "corner x", q.Segs[0].From().X, math.Sqrt(120), 1e-9)
	near(t, "corner y", q.Segs[0].From().Y, -1, 1e-9)
	if len(from) != 2 || q.Segs[0].Kind != Arc {
		t.Errorf("the circle did not stay a circle: %v", from)
	}
	// re-entrant corner of an L
	l := polyline(true, Vec2{}, V2(20, 0), V2(20, 10), V2(10, 10), V2(10, 20), V2(0, 20))
	q, _, err = l.Offset(uniform(l, 1), 1e-6)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "L", q.Area(), 22*12+12*10, 1e-9)
	// an open path moves at its ends along their normals
	open := polyline(false, Vec2{}, V2(10, 0), V2(10, 10))
	q, _, err = open.Offset([]float64{1, 1}, 1e-6)
	if err != nil || q.Segs[0].From() != V2(0, -1) || q.Segs[1].To() != V2(11, 10) {
		t.Error(q, err)
	}
}

func TestOffsetErrors(t *testing.T) {
	for _, c := range []struct {
		name string
		p    Path
		d    []float64
		seg  int
		want string
	}{
		{"circle", ellipse(50, 50), []float64{-50}, 0, "folds"},
		{"ellipse at its tip", ellipse(100, 50), []float64{-25.1}, 0, "radius of 25.000"},
		{"fillet", rounded(100, 100, 5), uniform(rounded(100, 100, 5), -6), 1, "folds"},
		{"narrow side", polyline(true, Vec2{}, V2(40, 0), V2(40, 3), V2(0, 3)), []float64{-2, 0, -2, 0}, 1, "nothing is left"},
		{"tangent neighbours", rounded(100, 100, 5), append([]float64{1}, make([]float64, 7)...), 0, "without a corner"},
	} {
		_, _, err := c.p.Offset(c.d, 1e-6)
		var off *OffsetError
		if !errors.As(err, &off) || !strings.Contains(err.Error(), c.want) || off.Seg != c.seg {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	if _, _, err := ellipse(100, 50).Offset([]float64{-24.9}, 1e-6); err != nil {
		t.Errorf("just below the radius: %v", err)
	}
	if _, _, err := ellipse(1, 1).Offset(nil, 1e-6); err == nil {
		t.Error("no distances: no error")
	}
}

// TestOffsetRoundTrip moves random polygons with curved sides out and back.
func TestOffsetRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 7).Draw(t, "sides")
		p := Path{Closed: true}
		corner := func(i int) Vec2 { return V2(100, 0).Rotate(2 * math.Pi * float64(i%n) / float64(n)) }
		for i := range n {
			a, b := corner(i), corner(i+1)
			out := b.Sub(a).Right().Scale(rapid.Float64Range(-0.1, 0.2).Draw(t, "bulge"))
			switch rapid.IntRange(0, 1).Draw(t, "kind") {
			case 0:
				p.Segs = append(p.Segs, LineTo(a, b))
			case 1:
				p.Segs = append(p.Segs, CubicTo(a, a.Lerp(b, 0.3).Add(out), a.Lerp(b, 0.7).Add(out), b))
			}
		}
		d := make([]float64, n)
		back := make([]float64, 0, n)
		for i := range d {
			d[i] = rapid.Float64Range(-2, 2).Draw(t, "d")
		}
		for i := range n {
			if math.Abs(p.Corner(i)) < 0.5 {
				return // sides that nearly run on smoothly may not meet again
			}
		}
		q, from, err := p.Offset(d, 1e-6)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range from {
			back = append(back, -d[i])
		}
		r, _, err := q.Offset(back, 1e-6)
		if err != nil {
			t.Fatal(err)
		}
		if off := math.Abs(r.Area() - p.Area()); off > 1e-6*p.Length()*3 {
			t.Fatalf("area %g became %g", p.Area(), r.Area())
		}
		if off := math.Abs(r.Length() - p.Length()); off > 1e-5 {
			t.Fatalf("length %g became %g", p.Length(), r.Length())
		}
	})
}

func BenchmarkOffsetEllipse(b *testing.B) {
	p := ellipse(230, 170)
	for b.Loop() {
		if _, _, err := p.Offset([]float64{0.4}, 1e-6); err != nil {
			b.Fatal(err)
		}
	}
}
