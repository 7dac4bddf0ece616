package mesh

import (
	"math"
	"testing"

	"groundwork/internal/geom"

	"pgregory.net/rapid"
)

// pathPoints lifts 2D points to a plane through the origin.
func pathPoints(f geom.Frame, xy ...float64) []geom.Vec3 {
	var out []geom.Vec3
	for i := 0; i < len(xy); i += 2 {
		out = append(out, f.Point(geom.V3(xy[i], xy[i+1], 0)))
	}
	return out
}

// checkCut checks that triangles cover a plane polygon once: as many as there
// must be, all facing its way, edges inside used once each way, edges of the
// border once, and areas that add up to the border's (shoelace formula).
func checkCut(t interface{ Errorf(string, ...any) }, name string, p []geom.Vec3, triangles [][3]int32, normal geom.Vec3) {
	if len(triangles) != len(p)-2 {
		t.Errorf("%s: %d triangles of %d corners", name, len(triangles), len(p))
	}
	var area, want float64
	for i := range p {
		want += p[i].Cross(p[(i+1)%len(p)]).Dot(normal) / 2
	}
	edges := map[[2]int32]int{}
	for _, f := range triangles {
		a := p[f[1]].Sub(p[f[0]]).Cross(p[f[2]].Sub(p[f[0]])).Dot(normal) / 2
		if a < -1e-9*want {
			t.Errorf("%s: triangle %v faces the other way (%v of %v)", name, f, a, want)
		}
		area += math.Abs(a)
		for j := range 3 {
			edges[[2]int32{f[j], f[(j+1)%3]}]++
		}
	}
	if math.Abs(area-want) > 1e-9*math.Abs(want) {
		t.Errorf("%s: area %v, want %v", name, area, want)
	}
	n := int32(len(p))
	for e, uses := range edges {
		border := (e[0]+1)%n == e[1]
		if uses != 1 || !border && edges[[2]int32{e[1], e[0]}] != 1 {
			t.Errorf("%s: edge %v is used %d times", name, e, uses)
		}
	}
}

func TestTriangulate(t *testing.T) {
	up := geom.World()
	tilted := geom.FrameFromZ(geom.V3(100, -50, 7), geom.V3(1, 2, -0.5).Unit())
	comb := []float64{0, -1, 20, -1}
	for i := range 20 {
		x := float64(20 - i)
		comb = append(comb, x, 10, x-0.5, 10, x-0.5, 0, x-1, 0)
	}
	for _, c := range []struct {
		name  string
		xy    []float64
		plain bool
	}{
		{"square", []float64{0, 0, 1, 0, 1, 1, 0, 1}, true},
		{"L", []float64{0, 0, 3, 0, 3, 1, 1, 1, 1, 3, 0, 3}, true},
		{"arrow, whose fan from the first corner is wrong", []float64{0, 2, -3, -1, 0, 0, 3, -1}, true},
		{"U", []float64{0, 0, 5, 0, 5, 5, 4, 5, 4, 1, 1, 1, 1, 5, 0, 5}, true},
		{"corners along an edge", []float64{0, 0, 1, 0, 2, 0, 3, 0, 4, 0, 4, 2, 2, 2, 0, 2, 0, 1}, true},
		{"frame reached by a slit", []float64{0, 0, 4, 0, 4, 4, 0, 4, 0, 0, 1, 1, 1, 3, 3, 3, 3, 1, 1, 1}, true},
		{"spiral", []float64{0, 0, 7, 0, 7, 7, 1, 7, 1, 2, 5, 2, 5, 5, 3, 5, 3, 4, 4, 4, 4, 3, 2, 3, 2, 6, 6, 6, 6, 1, 0, 1}, true},
		{"comb", comb, true},
		{"bow tie", []float64{0, 0, 4, 0, 0, 3, 4, 3}, false},
		{"all in a line", []float64{0, 0, 1, 0, 2, 0, 3, 0, 2, 0}, false},
		{"all in one place", []float64{1, 1, 1, 1, 1, 1, 1, 1}, false},
	} {
		for _, f := range []geom.Frame{up, tilted, up.In(geom.FrameFromZ(geom.Vec3{}, geom.V3(0, 0, -1))), up.In(geom.FrameFromZ(geom.Vec3{}, geom.V3(-1, 0, 0)))} {
			p := pathPoints(f, c.xy...)
			triangles, plain := triangulate(p)
			if len(triangles) != len(p)-2 {
				t.Errorf("%s: %d triangles", c.name, len(triangles))
			}
			if f == up && plain != c.plain { // elsewhere rounding may bend what is straight
				t.Errorf("%s: plain %v", c.name, plain)
			}
			if c.plain && f.Z == geom.V3(0, 0, 1) || c.plain && c.name != "corners along an edge" {
				checkCut(t, c.name, p, triangles, f.Z)
			}
		}
	}
}

// TestTriangulateAvoidsSlivers has eight corners along one side of a square: a
// fan from its first corner would have triangles without area.
func TestTriangulateAvoidsSlivers(t *testing.T) {
	xy := []float64{}
	for i := range 9 {
		xy = append(xy, float64(i), 0)
	}
	xy = append(xy, 8, 8, 0, 8)
	p := pathPoints(geom.World(), xy...)
	triangles, plain := triangulate(p)
	if !plain {
		t.Error("not plain")
	}
	for _, f := range triangles {
		if s := slenderness(p[f[0]], p[f[1]], p[f[2]]); s < 0.05 {
			t.Errorf("triangle %v is a sliver: %v", f, s)
		}
	}
}

// TestTriangulateStars cuts random polygons that are simple by construction:
// corners at growing angles round a centre.
func TestTriangulateStars(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(4, 40).Draw(rt, "n")
		f := geom.FrameFromZ(geom.V3(1, 2, 3), geom.V3(
			rapid.Float64Range(-1, 1).Draw(rt, "x"), rapid.Float64Range(-1, 1).Draw(rt, "y"), rapid.Float64Range(0.1, 1).Draw(rt, "z")).Unit())
		var xy []float64
		for i := range n {
			r := rapid.Float64Range(0.05, 100).Draw(rt, "r")
			a := 2 * math.Pi * float64(i) / float64(n)
			xy = append(xy, r*math.Cos(a), r*math.Sin(a))
		}
		p := pathPoints(f, xy...)
		triangles, plain := triangulate(p)
		if !plain {
			rt.Errorf("not plain")
		}
		checkCut(rt, "star", p, triangles, f.Z)
	})
}

func BenchmarkTriangulate(b *testing.B) {
	p := make([]geom.Vec3, maxCorners)
	for i := range p { // half of its corners reflex
		a := 2 * math.Pi * float64(i) / float64(len(p))
		r := 100 + float64(i%2)
		p[i] = geom.V3(r*math.Cos(a), r*math.Sin(a), 0)
	}
	for b.Loop() {
		triangulate(p)
	}
}
