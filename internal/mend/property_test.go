package mend

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/mesh"
)

// TestRandomDamage: whatever is done to a solid, it comes back with the volume
// that it had, or with a fault. Nothing is thinner than 10 mm, since a crack of
// 0.01 mm, drawn together half way, may be a thousandth of that.
func TestRandomDamage(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		mm := func(least, most float64, name string) float64 { return rapid.Float64Range(least, most).Draw(rt, name) }
		var b mesh.Body
		switch rapid.SampledFrom([]string{"box", "cylinder", "pipe", "bracket", "torus"}).Draw(rt, "solid") {
		case "box":
			b = box(mm(10, 1000, "x"), mm(10, 1000, "y"), mm(10, 50, "z"))
		case "cylinder":
			b = cylinder(mm(10, 100, "r"), mm(10, 1000, "h"), rapid.IntRange(12, 48).Draw(rt, "n"))
		case "pipe":
			b = pipe(mm(40, 100, "r"), mm(5, 25, "q"), mm(10, 1000, "h"), rapid.IntRange(12, 48).Draw(rt, "n"))
		case "torus":
			b = torus(mm(50, 100, "r"), mm(5, 45, "q"), 24, 12)
		default:
			b = bracket(mm(10, 30, "t"), mm(5, 500, "h"))
		}
		for range rapid.IntRange(0, 3).Draw(rt, "finer") {
			b = finer(b)
		}
		f := geom.FrameFromXZ(geom.V3(mm(-1e3, 1e3, "ox"), mm(-1e3, 1e3, "oy"), mm(-1e3, 1e3, "oz")),
			geom.V3(1, mm(-1, 1, "a"), 0), geom.V3(mm(-1, 1, "b"), mm(-1, 1, "c"), 1))
		for i, v := range b.Vertices {
			b.Vertices[i] = f.Point(v)
		}
		want := volumeOf(rt, b)
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		for range rapid.IntRange(1, 3).Draw(rt, "damages") {
			d := rapid.SampledFrom(damages).Draw(rt, "damage")
			b = d.do(b, r)
			rt.Log(d.name, len(b.Triangles))
		}
		res, err := Mend(b, Options{})
		if err != nil {
			rt.Fatal(err)
		}
		verify(rt, res)
		got, whole := total(res)
		if whole && math.Abs(got-want) > 1e-3*want {
			rt.Fatalf("volume %g instead of %g: %s", got, want, said(res))
		}
	})
}

// TestCleanStays: a clean solid comes back as it was, corner for corner, and
// mending twice is mending once.
func TestCleanStays(t *testing.T) {
	for name, b := range clean(t) {
		r, err := Mend(b, Options{})
		if err != nil || len(r.Shells) != 1 || !r.Shells[0].Solid() {
			t.Fatalf("%s: %v %s", name, err, said(r))
		}
		got := r.Shells[0].Body
		if len(got.Triangles) != len(b.Triangles) || len(r.Steps) > 0 {
			t.Errorf("%s: %s, %d triangles of %d", name, said(r), len(got.Triangles), len(b.Triangles))
		}
		again, err := Mend(got, Options{})
		if err != nil || len(again.Shells) != 1 || !reflect.DeepEqual(again.Shells[0], r.Shells[0]) {
			t.Errorf("%s: mended twice it is another", name)
		}
	}
}

// TestSameTwice: the same input gives the same result, to the last bit.
func TestSameTwice(t *testing.T) {
	b := finer(finer(pipe(20, 8, 30, 48)))
	r := rand.New(rand.NewPCG(7, 7))
	b = soup(missing(func(n int) int { return n / 20 })(b, r), 1e-5, r)
	first, _ := Mend(b, Options{})
	second, _ := Mend(b, Options{})
	if !reflect.DeepEqual(first, second) {
		t.Error("two runs differ")
	}
}

func TestRefuses(t *testing.T) {
	for name, b := range map[string]mesh.Body{
		"nothing":        {},
		"no triangle":    {Vertices: []geom.Vec3{{}}},
		"no such vertex": {Vertices: []geom.Vec3{{}}, Triangles: [][3]int32{{0, 0, 1}}},
		"negative":       {Vertices: []geom.Vec3{{}}, Triangles: [][3]int32{{0, 0, -1}}},
		"not a number":   {Vertices: []geom.Vec3{{X: math.NaN()}}, Triangles: [][3]int32{{0, 0, 0}}},
		"infinite":       {Vertices: []geom.Vec3{{X: math.Inf(1)}}, Triangles: [][3]int32{{0, 0, 0}}},
		"too far":        {Vertices: []geom.Vec3{{X: 2e9}}, Triangles: [][3]int32{{0, 0, 0}}},
	} {
		if r, err := Mend(b, Options{}); err == nil {
			t.Errorf("%s: %s", name, said(r))
		}
	}
}

// TestCrossingsByBruteForce compares with every pair, each tried with
// arithmetic that cannot round: corners lie on a small grid, where touching,
// coplanar and degenerate positions are common.
func TestCrossingsByBruteForce(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(3, 12).Draw(rt, "points")
		grid := rapid.IntRange(-2, 2)
		var points []geom.Vec3
		for range n {
			points = append(points, geom.V3(float64(grid.Draw(rt, "x")), float64(grid.Draw(rt, "y")), float64(grid.Draw(rt, "z"))))
		}
		var triangles [][3]int32
		for range rapid.IntRange(2, 12).Draw(rt, "triangles") {
			p := rapid.Permutation([]int32{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}[:n]).Draw(rt, "corners")
			a, b, c := points[p[0]], points[p[1]], points[p[2]]
			if b.Sub(a).Cross(c.Sub(a)).Len() > 0 {
				triangles = append(triangles, [3]int32{p[0], p[1], p[2]})
			}
		}
		got := map[crossing]bool{}
		for _, c := range crossings(points, triangles, nil) {
			got[c] = true
		}
		for i := range triangles {
			for j := i + 1; j < len(triangles); j++ {
				want := crossOnGrid(points, triangles[i], triangles[j])
				if got[crossing{int32(i), int32(j)}] != want {
					rt.Fatalf("%v and %v of %v: got %v", triangles[i], triangles[j], points, !want)
				}
			}
		}
	})
}

// crossOnGrid decides by another way than the code: two triangles share more
// than the hull of their common corners if a point of one that is not in that
// hull lies in the other. Such points are found by clipping one triangle by the
// plane and then by the sides of the other, in float64 with a tolerance that
// small whole coordinates leave ample room for.
func crossOnGrid(points []geom.Vec3, t, u [3]int32) bool {
	const tol = 1e-9
	var shared []geom.Vec3
	for _, p := range t {
		for _, q := range u {
			if p == q {
				shared = append(shared, points[p])
			}
		}
	}
	poly := []geom.Vec3{points[t[0]], points[t[1]], points[t[2]]}
	a, b, c := points[u[0]], points[u[1]], points[u[2]]
	n := b.Sub(a).Cross(c.Sub(a))
	clip := func(poly []geom.Vec3, n, at geom.Vec3) []geom.Vec3 { // keeps n·(p−at) ≥ 0
		var out []geom.Vec3
		for i, p := range poly {
			q := poly[(i+1)%len(poly)]
			dp, dq := n.Dot(p.Sub(at)), n.Dot(q.Sub(at))
			if dp >= -tol {
				out = append(out, p)
			}
			if dp > tol && dq < -tol || dp < -tol && dq > tol {
				out = append(out, p.Lerp(q, dp/(dp-dq)))
			}
		}
		return out
	}
	for _, half := range [][2]geom.Vec3{{n, a}, {n.Neg(), a}, {n.Cross(b.Sub(a)), a}, {n.Cross(c.Sub(b)), b}, {n.Cross(a.Sub(c)), c}} {
		if poly = clip(poly, half[0], half[1]); len(poly) == 0 {
			return false
		}
	}
	for _, p := range poly {
		switch len(shared) {
		case 0:
			return true
		case 1:
			if p.Dist(shared[0]) > 1e-6 {
				return true
			}
		case 2:
			if _, d := onSegment(p, shared[0], shared[1]); d > 1e-6 {
				return true
			}
		case 3:
			return true
		}
	}
	return false
}

// bytesToBody reads a small mesh: a byte for the number of vertices, three
// signed bytes for each, and then three bytes for each triangle.
func bytesToBody(data []byte) (mesh.Body, Options) {
	var b mesh.Body
	var o Options
	if len(data) < 3 {
		return b, o
	}
	n := int(data[0]%64) + 1
	o.Hole = float64(data[1] % 64)
	o.Thicken = float64(data[1]/64) / 2
	o.Weld = float64(data[2]%4) / 4
	data = data[3:]
	for i := 0; i < n && len(data) >= 3; i++ {
		// whole steps and a little besides: near misses as well as hits
		at := func(c byte) float64 { return float64(int8(c)>>2) + float64(c&3)*1e-5 }
		b.Vertices = append(b.Vertices, geom.V3(at(data[0]), at(data[1]), at(data[2])))
		data = data[3:]
	}
	for len(data) >= 3 && len(b.Triangles) < 400 {
		m := byte(max(len(b.Vertices), 1))
		b.Triangles = append(b.Triangles, [3]int32{int32(data[0] % m), int32(data[1] % m), int32(data[2] % m)})
		data = data[3:]
	}
	return b, o
}

func FuzzMend(f *testing.F) {
	for _, b := range []mesh.Body{box(10, 8, 6), bracket(6, 20), both(box(4, 4, 4), moved(box(4, 4, 4), geom.V3(4, 4, 0))), tray(9, 9, 9)} {
		data := []byte{byte(len(b.Vertices) - 1), 30, 0}
		for _, v := range b.Vertices {
			data = append(data, byte(int8(v.X)<<2), byte(int8(v.Y)<<2), byte(int8(v.Z)<<2))
		}
		for _, t := range b.Triangles {
			data = append(data, byte(t[0]), byte(t[1]), byte(t[2]))
		}
		f.Add(data)
	}
	f.Add(binary.BigEndian.AppendUint64(nil, 0x0300000102040810))
	f.Fuzz(func(t *testing.T, data []byte) {
		b, o := bytesToBody(data)
		r, err := Mend(b, o)
		if err != nil {
			if len(b.Triangles) > 0 {
				t.Fatal(err)
			}
			return
		}
		if len(r.Shells) == 0 {
			t.Fatal("nothing came back")
		}
		verify(t, r)
		for _, s := range r.Shells {
			if !s.Solid() {
				continue
			}
			v, tri := mesh.Weld(s.Body.Vertices, s.Body.Triangles)
			if c, err := mesh.Check(v, tri); err != nil || c.Open > 0 || len(tri) != len(s.Body.Triangles) {
				t.Fatalf("rounding opens it: %+v %v", c, err)
			}
		}
	})
}
