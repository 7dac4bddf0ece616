package solid

import (
	"context"
	"math"
	"reflect"
	"strings"
	"testing"

	sf "github.com/peterstace/simplefeatures/geom"
	"pgregory.net/rapid"

	"groundwork/internal/geom"
)

// outside is the region in the terms of simplefeatures, which validates it:
// given invalid input it would answer with wrong areas.
func outside(t interface{ Fatalf(string, ...any) }, k *Kernel, ps geom.Polygons) sf.Geometry {
	ring := func(p geom.Polygon) sf.LineString {
		var xy []float64
		for i := range len(p) + 1 {
			q := p[i%len(p)]
			xy = append(xy, q.X, q.Y)
		}
		return sf.NewLineString(sf.NewSequence(xy, sf.DimXY))
	}
	parts, err := k.Decompose2(context.Background(), ps)
	if err != nil {
		t.Fatalf("dividing: %v", err)
	}
	var polygons []sf.Polygon
	for _, part := range parts {
		var rings []sf.LineString
		// The outer loop first, as simplefeatures wants it.
		for _, p := range part {
			if p.Area() > 0 {
				rings = append([]sf.LineString{ring(p)}, rings...)
			} else {
				rings = append(rings, ring(p))
			}
		}
		polygons = append(polygons, sf.NewPolygon(rings))
	}
	g := sf.NewMultiPolygon(polygons).AsGeometry()
	if err := g.Validate(); err != nil {
		t.Fatalf("simplefeatures finds the region invalid: %v", err)
	}
	return g
}

// drawRegion draws a ring of up to nine corners, star-shaped, perhaps with a hole.
func drawRegion(t *rapid.T) geom.Polygons {
	at := geom.V2(steps(-5, 5).Draw(t, "x"), steps(-5, 5).Draw(t, "y"))
	n := rapid.IntRange(3, 9).Draw(t, "corners")
	var p, h geom.Polygon
	for i := range n {
		a := 2 * math.Pi * (float64(i) + steps(0, 0.9).Draw(t, "turn")) / float64(n)
		r := steps(3, 10).Draw(t, "radius")
		p = append(p, at.Add(geom.V2(r, 0).Rotate(a)))
		h = append(h, at.Add(geom.V2(r/3, 0).Rotate(a)))
	}
	// Three corners or more leave the middle outside when they lie on one side of it.
	if p.Area() <= 1 || CheckOutline([]geom.Polygon{p}) != nil {
		return geom.Polygons{{at, at.Add(geom.V2(4, 0)), at.Add(geom.V2(0, 4))}}
	}
	out := geom.Polygons{p}
	if rapid.Bool().Draw(t, "hole") && CheckOutline([]geom.Polygon{p, h.Reversed()}) == nil {
		out = append(out, h.Reversed())
	}
	return out
}

// The kernel's booleans against those of simplefeatures (a Go port of JTS's overlay).
func TestRegionsAgainstSimplefeatures(t *testing.T) {
	k := testKernel(t)
	type operation struct {
		name    string
		ours    func(a, b geom.Polygons) (geom.Polygons, error)
		outside func(a, b sf.Geometry) (sf.Geometry, error)
	}
	operations := []operation{
		{"union", func(a, b geom.Polygons) (geom.Polygons, error) { return k.Union2(context.Background(), a, b) }, sf.Union},
		{"difference", func(a, b geom.Polygons) (geom.Polygons, error) { return k.Subtract2(context.Background(), a, b) }, sf.Difference},
		{"intersection", func(a, b geom.Polygons) (geom.Polygons, error) { return k.Intersect2(context.Background(), a, b) }, sf.Intersection},
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawRegion(t), drawRegion(t)
		ga, gb := outside(t, k, a), outside(t, k, b)
		if math.Abs(ga.Area()-a.Area()) > 1e-6 {
			t.Fatalf("area %g outside, %g here", ga.Area(), a.Area())
		}
		for _, op := range operations {
			got, err := op.ours(a, b)
			if err != nil {
				t.Fatal(err)
			}
			want, err := op.outside(ga, gb)
			if err != nil {
				t.Skipf("simplefeatures gives up on the %s: %v", op.name, err)
			}
			if math.Abs(got.Area()-want.Area()) > 1e-6 {
				t.Fatalf("%s: area %.9g, simplefeatures says %.9g", op.name, got.Area(), want.Area())
			}
			g := outside(t, k, got)
			if d, err := sf.SymmetricDifference(g, want); err == nil && d.Area() > 1e-5 {
				t.Fatalf("%s: differs from that of simplefeatures by %g mm²", op.name, d.Area())
			}
		}
	})
}

// Offsets of convex outlines are known: by d outward, the area grows by the
// perimeter times d and, under Round, the disc of radius d (Steiner's formula).
func TestOffset(t *testing.T) {
	k := testKernel(t)
	square := geom.Polygons{v2(0, 0, 10, 0, 10, 10, 0, 10)}
	ring := append(geom.Polygons{v2(0, 0, 10, 0, 10, 10, 0, 10)}, v2(3, 3, 3, 7, 7, 7, 7, 3))
	triangle := geom.Polygons{v2(0, 0, 30, 0, 0, 40)} // sides 30, 40, 50; inradius 10
	tests := []struct {
		name      string
		region    geom.Polygons
		delta     float64
		join      Join
		want, tol float64
	}{
		{"square grown, mitred", square, 2, Miter, 14 * 14, 1e-6},
		{"square shrunk", square, -2, Miter, 36, 1e-6},
		{"square shrunk, round", square, -2, Round, 36, 1e-6},
		{"square shrunk to nothing", square, -5, Miter, 0, 1e-6},
		{"square grown, round", square, 2, Round, 100 + 40*2 + math.Pi*4, 0.02 * 2 * math.Pi * 2},
		// Square cuts each corner at the distance 2 from it: a right triangle of
		// height 2√2 - 2 and twice that base is missing from the mitred corner.
		{"square grown, square", square, 2, Square, 196 - 4*math.Pow(2*math.Sqrt2-2, 2), 1e-6},
		{"ring grown", ring, 1, Miter, 144 - 4, 1e-6},
		{"ring shrunk", ring, -1, Miter, 64 - 36, 1e-6},
		{"ring shrunk to nothing", ring, -1.5, Miter, 0, 1e-6},
		// Shrinking by d scales a triangle by (1 - d/inradius).
		{"triangle shrunk", triangle, -2.5, Miter, 600 * 0.75 * 0.75, 1e-6},
		{"triangle grown, round", triangle, 3, Round, 600 + 120*3 + math.Pi*9, 0.02 * 2 * math.Pi * 3},
	}
	for _, tt := range tests {
		got, err := k.Offset2(t.Context(), tt.region, tt.delta, tt.join, 4, 0)
		if err != nil || math.Abs(got.Area()-tt.want) > tt.tol {
			t.Errorf("%s: area %.9g, want %.9g within %.2g; error %v", tt.name, got.Area(), tt.want, tt.tol, err)
		}
	}

	// Chord error: the arc's points lie on the circle, the chords within 0.001 of it.
	got, err := k.Offset2(t.Context(), square, 5, Round, 2, 0.001)
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range got[0] {
		q := got[0][(i+1)%len(got[0])]
		d := square.Distance(p.Lerp(q, 0.5))
		if e := square.Distance(p); math.Abs(e-5) > 1e-6 || d < 5-0.001 || d > 5+1e-6 {
			t.Errorf("corner at %.7g and chord at %.7g from the square, want 5 and no less than 4.999", e, d)
		}
	}

	all, err := k.OffsetAll2(t.Context(), []geom.Polygons{square, nil, ring, triangle}, -1, Miter, 2, 0)
	if err != nil || len(all) != 4 || all[1] != nil || math.Abs(all[0].Area()-64) > 1e-6 || math.Abs(all[2].Area()-28) > 1e-6 || math.Abs(all[3].Area()-486) > 1e-6 {
		t.Errorf("OffsetAll2: %v, %v", all, err)
	}
}

func TestRegionsAreCanonical(t *testing.T) {
	k := testKernel(t)
	// The same region, loops and corners in another order.
	a := geom.Polygons{v2(0, 0, 10, 0, 10, 10, 0, 10), v2(3, 3, 3, 7, 7, 7, 7, 3), v2(20, 0, 21, 0, 20, 1)}
	b := geom.Polygons{v2(20, 1, 20, 0, 21, 0), v2(7, 7, 7, 3, 3, 3, 3, 7), v2(10, 10, 0, 10, 0, 0, 10, 0)}
	ra, err := k.Union2(t.Context(), a)
	if err != nil {
		t.Fatal(err)
	}
	rb, err := k.Union2(t.Context(), b)
	if err != nil || !reflect.DeepEqual(ra, rb) {
		t.Errorf("%v and %v differ, error %v", ra, rb, err)
	}
	want := geom.Polygons{v2(0, 0, 10, 0, 10, 10, 0, 10), v2(3, 3, 3, 7, 7, 7, 7, 3), v2(20, 0, 21, 0, 20, 1)}
	if !reflect.DeepEqual(ra, want) {
		t.Errorf("region %v, want %v", ra, want)
	}
}

func TestRegionOperations(t *testing.T) {
	k := testKernel(t)
	square := func(x, y, s float64) geom.Polygons {
		return geom.Polygons{v2(x, y, x+s, y, x+s, y+s, x, y+s)}
	}
	err := k.Regions(t.Context(), func(r *Regions) error {
		many := r.Union(square(0, 0, 4), square(2, 0, 4), square(20, 0, 1), nil)
		if got := many.Area(); math.Abs(got-25) > 1e-6 {
			t.Errorf("union's area %g, want 25", got)
		}
		if got := r.Subtract(square(0, 0, 4), square(1, 1, 1), square(2.5, 1, 1), square(30, 1, 1)).Area(); math.Abs(got-14) > 1e-6 {
			t.Errorf("difference's area %g, want 14", got)
		}
		if got := r.Intersect(square(0, 0, 4), square(9, 9, 1)); got != nil {
			t.Errorf("intersection %v, want none", got)
		}
		want := geom.Polygon(v2(0, 0, 21, 0, 21, 1, 6, 4, 0, 4)).Area()
		if got := r.Hull(many).Area(); math.Abs(got-want) > 1e-6 {
			t.Errorf("hull's area %g, want %g", got, want)
		}
		parts := r.Decompose(r.Union(r.Subtract(square(0, 0, 9), square(1, 1, 7)), square(2, 2, 2), square(-5, 0, 1)))
		if len(parts) != 3 || len(parts[0]) != 1 || len(parts[1]) != 2 || len(parts[2]) != 1 {
			t.Errorf("parts %v, want three, the second with a hole", parts)
		}
		wavy := geom.Polygons{v2(0, 0, 5, 0.001, 10, 0, 10, 10, 5, 9.9995, 0, 10)}
		if got := r.Simplify(wavy, 0.01); len(got) != 1 || len(got[0]) != 4 {
			t.Errorf("simplified to %v, want four corners", got)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for name, tt := range map[string]struct {
		region geom.Polygons
		want   string
	}{
		"clockwise":  {geom.Polygons{v2(0, 0, 0, 4, 4, 4)}, "clockwise"},
		"not finite": {geom.Polygons{v2(0, 0, math.Inf(1), 4, 4, 4)}, "not finite"},
	} {
		if _, err := k.Offset2(t.Context(), tt.region, 1, Miter, 2, 0); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: error %v, want one that says %q", name, err, tt.want)
		}
	}
	if _, err := k.Offset2(t.Context(), square(0, 0, 1), math.NaN(), Miter, 2, 0); err == nil {
		t.Error("an offset by NaN passed")
	}
}
