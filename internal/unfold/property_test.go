package unfold_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/unfold"
)

// patches draws one of a few kinds of patch at a random size.
func patches(t *rapid.T) ([]geom.Vec3, [][3]int32) {
	f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
	n, k := rapid.IntRange(3, 24).Draw(t, "n"), rapid.IntRange(1, 6).Draw(t, "k")
	switch rapid.SampledFrom([]string{"cylinder", "tube", "cone", "dome", "tangents", "saddle"}).Draw(t, "kind") {
	case "cylinder":
		return cylinder(f("r", 5, 500), f("h", 5, 500), f("angle", 0.1, 5), n, k)
	case "tube":
		return cylinder(f("r", 5, 500), f("h", 5, 500), 2*math.Pi, n, k)
	case "cone":
		return frustum(f("r1", 5, 500), f("r2", 5, 500), f("h", 5, 500), 2*math.Pi, n, k)
	case "dome":
		R := f("R", 20, 500)
		return dome(R, R*f("half angle", 0.05, 2), k+1)
	case "tangents":
		return tangents(f("a", 10, 100), f("b", 1, 100), 30, 60, 2, n+9) // coarser, its rulings would cross
	}
	c := f("bend", -1, 1)
	return grid(n, k, false, func(x, y float64) geom.Vec3 {
		return geom.V3(100*x, 80*y, 100*c*(x-.5)*(y-.5))
	})
}

func frames(t *rapid.T) geom.Frame {
	f := func(name string) float64 { return rapid.Float64Range(-1, 1).Draw(t, name) }
	z := geom.V3(f("zx"), f("zy"), f("zz")+1.5)
	fr := geom.FrameFromZ(geom.V3(800*f("x"), 800*f("y"), 800*f("z")), z)
	sin, cos := math.Sincos(math.Pi * f("spin"))
	x := fr.X.Scale(cos).Add(fr.Y.Scale(sin))
	return geom.FrameFromXZ(fr.Origin, x, fr.Z)
}

// Moving a patch does not change its chart's lengths.
func TestMotionInvariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v, tri := patches(t)
		p, d, err := unfold.Flatten(v, tri, unfold.Options{})
		if err != nil {
			t.Fatal(err)
		}
		q, e, err := unfold.Flatten(moved(v, frames(t)), tri, unfold.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(p.Flat) != len(q.Flat) {
			t.Fatal("cut elsewhere")
		}
		size := 0.0
		for _, a := range p.Flat {
			size = max(size, a.Len())
		}
		for i := range p.Flat {
			j := (i*7 + 3) % len(p.Flat)
			if a, b := p.Flat[i].Dist(p.Flat[j]), q.Flat[i].Dist(q.Flat[j]); math.Abs(a-b) > 1e-5*size {
				t.Fatalf("distance %g became %g", a, b)
			}
		}
		if math.Abs(d.Stretch-e.Stretch) > 1e-6*(1+d.Stretch) || d.Overlap != e.Overlap {
			t.Fatalf("%+v became %+v", d, e)
		}
	})
}

// A point of the patch goes to the chart and back, and so does one of the chart.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v, tri := patches(t)
		p, d, err := unfold.Flatten(v, tri, unfold.Options{})
		if err != nil {
			t.Fatal(err)
		}
		c := p.Triangles[rapid.IntRange(0, len(tri)-1).Draw(t, "triangle")]
		x, y := rapid.Float64Range(0, 1).Draw(t, "x"), rapid.Float64Range(0, 1).Draw(t, "y")
		if x+y > 1 {
			x, y = 1-x, 1-y
		}
		at := p.Vertices[c[0]].Scale(1 - x - y).Add(p.Vertices[c[1]].Scale(x)).Add(p.Vertices[c[2]].Scale(y))
		flat := p.Flat[c[0]].Scale(1 - x - y).Add(p.Flat[c[1]].Scale(x)).Add(p.Flat[c[2]].Scale(y))
		uv := p.Chart(at)
		if !p.Contains(uv) || !p.Contains(flat) {
			t.Fatalf("%v or %v is not in the patch", uv, flat)
		}
		if d.Overlap {
			return // a chart point then has several points in space
		}
		if back := p.Point(uv); back.Dist(at) > 1e-7 {
			t.Fatalf("%v came back as %v", at, back)
		}
		if back := p.Point(flat); back.Dist(at) > 1e-7 {
			t.Fatalf("the chart of %v leads to %v", at, back)
		}
		if n := p.Normal(flat); math.Abs(n.Len()-1) > 1e-9 || n.Dot(p.Vertices[c[1]].Sub(p.Vertices[c[0]]).Cross(p.Vertices[c[2]].Sub(p.Vertices[c[0]]))) <= 0 {
			t.Fatalf("normal %v", n)
		}
	})
}

// Near points are carried to near points, also across the border.
func TestCarryIsContinuous(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r, n := rapid.Float64Range(20, 300).Draw(t, "r"), rapid.IntRange(6, 40).Draw(t, "n")
		v, tri := cylinder(r, 100, 2*math.Pi, n, 3)
		p, _, err := unfold.Flatten(v, tri, unfold.Options{Along: geom.V3(0, 0, 1)})
		if err != nil {
			t.Fatal(err)
		}
		q, err := p.Offset(rapid.Float64Range(-2, 4).Draw(t, "k"))
		if err != nil {
			t.Fatal(err)
		}
		at := geom.V2(rapid.Float64Range(-5, 105).Draw(t, "u"), rapid.Float64Range(-5, 6.3*r).Draw(t, "v"))
		a := rapid.Float64Range(0, 7).Draw(t, "direction")
		step := geom.V2(math.Cos(a), math.Sin(a)).Scale(1e-6)
		x, y := p.Carry(at, q), p.Carry(at.Add(step), q)
		if x.Dist(y) > 2e-6 {
			t.Fatalf("a step of 1e-6 became %g", x.Dist(y))
		}
		if p.Carry(at, p).Dist(at) > 1e-9 {
			t.Fatal("carried to its own chart it moves")
		}
		if b := q.Carry(x, p); b.Dist(at) > 1e-9*r {
			t.Fatalf("%v came back as %v", at, b)
		}
	})
}

func TestSameInputSameChart(t *testing.T) {
	v, tri := dome(100, 90, 12)
	p, d, _ := unfold.Flatten(v, tri, unfold.Options{})
	for range 3 {
		q, e, _ := unfold.Flatten(v, tri, unfold.Options{})
		if d != e {
			t.Fatalf("%+v and %+v", d, e)
		}
		for i := range p.Flat {
			if p.Flat[i] != q.Flat[i] {
				t.Fatal("another chart")
			}
		}
	}
}
