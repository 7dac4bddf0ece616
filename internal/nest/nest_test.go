package nest

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/geom"

	"pgregory.net/rapid"

	sf "github.com/peterstace/simplefeatures/geom"
)

func rect(w, h float64) geom.Polygons {
	return geom.Polygons{{{X: 0, Y: 0}, {X: w, Y: 0}, {X: w, Y: h}, {X: 0, Y: h}}}
}

func ellipse(rx, ry float64, n int) geom.Polygons {
	p := make(geom.Polygon, n)
	for i := range p {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		p[i] = geom.V2(rx*c, ry*s)
	}
	return geom.Polygons{p}
}

// mustPack packs, verifies exactly, and measures every overlap with
// simplefeatures.
func mustPack(t testing.TB, items []Item, bins []Bin, o Options) *Layout {
	t.Helper()
	l, err := Pack(context.Background(), items, bins, o)
	if err != nil {
		t.Fatal(err)
	}
	mustVerify(t, items, bins, l, o.Gap)
	return l
}

func mustVerify(t testing.TB, items []Item, bins []Bin, l *Layout, gap float64) {
	t.Helper()
	if fs := Verify(items, bins, l, gap); len(fs) > 0 {
		t.Fatalf("%d violations, first: %v", len(fs), fs[0])
	}
	oracle(t, items, bins, l)
}

// oracle measures with simplefeatures, on the shapes as given (not rounded),
// how much area each pair of items shares and how much lies outside the bin.
// Rounding moves a boundary by at most 0.71 µm, so the area shared is at most
// that times the perimeter.
func oracle(t testing.TB, items []Item, bins []Bin, l *Layout) {
	t.Helper()
	type region struct {
		name string
		g    sf.Geometry
		box  geom.Box2
		tol  float64
	}
	on := make([][]region, len(l.Bins))
	for _, p := range l.Placements {
		for _, it := range items {
			if it.ID != p.Item {
				continue
			}
			var perimeter float64
			for _, loop := range it.Shape {
				perimeter += loop.Perimeter()
			}
			ps := p.Place(it.Shape)
			on[p.Bin] = append(on[p.Bin], region{fmt.Sprintf("%s/%d", p.Item, p.Copy), sfRegion(t, ps), ps.Bounds(), 0.00142 * perimeter})
		}
	}
	for k, rs := range on {
		var size geom.Vec2
		for _, b := range bins {
			if b.ID == l.Bins[k].ID {
				size = b.Size
			}
		}
		for i, a := range rs {
			if a.box.Min.X < -0.001 || a.box.Min.Y < -0.001 || a.box.Max.X > size.X+0.001 || a.box.Max.Y > size.Y+0.001 {
				t.Fatalf("%s lies outside its bin: %v", a.name, a.box)
			}
			for _, b := range rs[i+1:] {
				if !a.box.Overlaps(b.box) {
					continue
				}
				x, err := sf.Intersection(a.g, b.g)
				if err != nil {
					t.Fatalf("simplefeatures: %s and %s: %v", a.name, b.name, err)
				}
				if x.Area() > min(a.tol, b.tol) {
					t.Fatalf("%s and %s share %g mm² (simplefeatures), allowed %g", a.name, b.name, x.Area(), min(a.tol, b.tol))
				}
			}
		}
	}
}

// sfRegion is an outer loop with its holes, or several islands, for
// simplefeatures, in whole micrometres, as layouts are defined. With the noise
// of 1e-16 that a turn leaves on collinear vertices, simplefeatures v0.50.0
// found 0.5 mm² shared by triangles that only touch (TestPackCollinearTurned).
func sfRegion(t failer, ps geom.Polygons) sf.Geometry {
	t.Helper()
	var g sf.Geometry
	for k, loop := range ps {
		var flat []float64
		for i := range len(loop) + 1 {
			q := loop[i%len(loop)]
			flat = append(flat, math.Round(q.X*micron)/micron, math.Round(q.Y*micron)/micron)
		}
		ring := sf.NewLineString(sf.NewSequence(flat, sf.DimXY))
		poly := sf.NewPolygon([]sf.LineString{ring})
		if err := poly.Validate(); err != nil {
			t.Fatalf("simplefeatures: loop %d: %v", k, err)
		}
		if k == 0 {
			g = poly.AsGeometry()
			continue
		}
		var err error
		if loop.Area() < 0 {
			g, err = sf.Difference(g, poly.AsGeometry())
		} else {
			g, err = sf.Union(g, poly.AsGeometry())
		}
		if err != nil {
			t.Fatalf("simplefeatures: %v", err)
		}
	}
	return g
}

// instance is a published strip packing problem, see testdata/classic.
type instance struct {
	Name   string  `json:"name"`
	Height float64 `json:"strip_height"`
	Area   float64 `json:"total_area"`
	N      int     `json:"n_items"`
	Items  []struct {
		ID     int       `json:"id"`
		Demand int       `json:"demand"`
		Turns  []float64 `json:"allowed_orientations"`
		Shape  struct {
			Data [][2]float64 `json:"data"`
		} `json:"shape"`
	} `json:"items"`
}

func readInstance(t testing.TB, name string) (instance, []Item) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", "classic", name+".json"))
	if err != nil {
		t.Fatal(err)
	}
	var in instance
	if err := json.Unmarshal(b, &in); err != nil {
		t.Fatal(err)
	}
	var items []Item
	n := 0
	var area float64
	for _, it := range in.Items {
		x := Item{ID: fmt.Sprint(it.ID), Quantity: it.Demand}
		var p geom.Polygon
		for _, v := range it.Shape.Data {
			p = append(p, geom.V2(v[0], v[1]))
		}
		if p.Area() < 0 {
			p = p.Reversed()
		}
		x.Shape = geom.Polygons{p}
		for _, d := range it.Turns {
			x.Turns = append(x.Turns, d*math.Pi/180)
		}
		n += it.Demand
		area += p.Area() * float64(it.Demand)
		items = append(items, x)
	}
	if n != in.N || math.Abs(area-in.Area) > 1e-9*area {
		t.Fatalf("%s: read %d items of area %g, file says %d of %g", name, n, area, in.N, in.Area)
	}
	return in, items
}

// floors are densities in per cent that a single greedy pass reaches: pieces
// by bounding-box area, each at the leftmost, then lowest place of a grid of
// 1/300 of the height, measured on the same files by another program.
var floors = []struct {
	name  string
	floor float64
}{
	{"albano", 76.20}, {"fu", 72.18}, {"jakobs1", 75.00}, {"shapes0", 52.82}, {"swim", 58.61}, {"trousers", 76.78},
}

func TestStripFloors(t *testing.T) {
	for _, f := range floors {
		in, items := readInstance(t, f.name)
		l, bin, err := Strip(context.Background(), items, in.Height, Options{Iterations: stripBudget})
		if err != nil {
			t.Fatal(err)
		}
		if len(l.Unplaced) > 0 {
			t.Fatalf("%s: %v", f.name, l.Findings())
		}
		mustVerify(t, items, []Bin{bin}, l, 0)
		density := 100 * in.Area / (bin.Size.X * in.Height)
		if math.Abs(density-100*l.Density) > 1e-6 {
			t.Errorf("%s: density %g, layout says %g", f.name, density, 100*l.Density)
		}
		t.Logf("%-9s %2d items  length %10.3f  density %6.2f %%  floor %6.2f %%", f.name, in.N, bin.Size.X, density, f.floor)
		if density <= f.floor {
			t.Errorf("%s: density %.2f %% does not beat the floor %.2f %%", f.name, density, f.floor)
		}
	}
}

const stripBudget = 60

func codes(fs []finding.Finding) string {
	var s string
	for _, f := range fs {
		s += f.Code + " "
	}
	return s
}

type vec = geom.Vec2

func v2(x, y float64) vec { return geom.V2(x, y) }

// geom4 is a quadrilateral.
func geom4(c ...float64) geom.Polygons {
	var p geom.Polygon
	for i := 0; i < len(c); i += 2 {
		p = append(p, v2(c[i], c[i+1]))
	}
	return geom.Polygons{p}
}

// latticePolygon is a simple polygon on a lattice of 9 x 9 points, by
// joining points in order of angle about their middle (star-shaped, with
// collinear runs and reflex corners), or nil.
func latticePolygon(t *rapid.T, name string) geom.Polygons {
	n := rapid.IntRange(3, 8).Draw(t, name+" n")
	var p geom.Polygon
	seen := map[vec]bool{}
	for range n {
		v := v2(float64(rapid.IntRange(0, 8).Draw(t, name+" x")), float64(rapid.IntRange(0, 8).Draw(t, name+" y")))
		if !seen[v] {
			seen[v] = true
			p = append(p, v)
		}
	}
	var c vec
	for _, v := range p {
		c = c.Add(v.Scale(1 / float64(len(p))))
	}
	c = c.Add(v2(1e-3, 1.7e-3)) // no two points at the same angle by symmetry
	slices.SortFunc(p, func(a, b vec) int { return cmp.Compare(a.Sub(c).Angle(), b.Sub(c).Angle()) })
	s := geom.Polygons{p}
	if _, err := outlineOf(s, 0); err != nil || p.Area() <= 0 {
		return nil
	}
	return s
}

type failer interface {
	Fatalf(format string, args ...any)
	Helper()
}

// sharedArea is the area common to both regions, by simplefeatures.
func sharedArea(t failer, a, b geom.Polygons) float64 {
	t.Helper()
	x, err := sf.Intersection(sfRegion(t, a), sfRegion(t, b))
	if err != nil {
		t.Fatalf("simplefeatures: %v", err)
	}
	return x.Area()
}

// valid reports whether simplefeatures accepts a single loop.
func valid(ps geom.Polygons) bool {
	if len(ps) != 1 {
		return false
	}
	var flat []float64
	for i := range len(ps[0]) + 1 {
		q := ps[0][i%len(ps[0])]
		flat = append(flat, q.X, q.Y)
	}
	return sf.NewPolygon([]sf.LineString{sf.NewLineString(sf.NewSequence(flat, sf.DimXY))}).Validate() == nil
}
