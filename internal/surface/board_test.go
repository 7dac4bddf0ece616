package surface_test

import (
	"context"
	"math"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
	"groundwork/internal/surface"
)

var testKernel = sync.OnceValues(func() (*solid.Kernel, error) { return solid.New(solid.Options{}) })

// fatal is what the helpers need of a test, plain or rapid.
type fatal interface {
	Helper()
	Fatal(args ...any)
	Fatalf(format string, args ...any)
}

// meshOf is the shape's mesh, placed by f and rounded to single precision as a
// file would hold it, and the volume before rounding.
func meshOf(t fatal, s solid.Shape, f geom.Frame) *surface.Solid {
	t.Helper()
	k, err := testKernel()
	if err != nil {
		t.Fatal(err)
	}
	m, err := k.Mesh(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	vs := make([]geom.Vec3, len(m.Vertices))
	for i, v := range m.Vertices {
		p := f.Point(v)
		vs[i] = geom.V3(float64(float32(p.X)), float64(float32(p.Y)), float64(float32(p.Z)))
	}
	out, err := surface.Recognise(vs, m.Triangles, surface.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func drawFrame(t *rapid.T) geom.Frame {
	turn := func(name string) float64 { return rapid.Float64Range(-math.Pi, math.Pi).Draw(t, name) }
	a, b, c := turn("about z"), turn("tilt"), turn("spin")
	z := geom.V3(math.Sin(b)*math.Cos(a), math.Sin(b)*math.Sin(a), math.Cos(b))
	f := geom.FrameFromZ(geom.V3(rapid.Float64Range(-400, 400).Draw(t, "x"), rapid.Float64Range(-400, 400).Draw(t, "y"), rapid.Float64Range(-400, 400).Draw(t, "z")), z)
	s, k := math.Sincos(c)
	return geom.Frame{Origin: f.Origin, X: f.X.Scale(k).Add(f.Y.Scale(s)), Y: f.Y.Scale(k).Sub(f.X.Scale(s)), Z: f.Z}
}

type boardCase struct {
	name    string
	outline geom.Path
	holes   []geom.Path
	thick   float64
	cuts    []geom.Plane
	lines   int // straight sides of the outline that come back, arcs likewise; −1 any
	arcs    int
	free    bool // has free curves: looser
}

func boardCases() []boardCase {
	circleHole := func(c geom.Vec2, r float64) geom.Path { return ellipseLoop(r, r).Translated(c).Reversed() }
	rect := roundless(460, 120)
	end := func(x, y, z, nx, ny, nz float64) geom.Plane {
		return geom.PlaneAt(geom.V3(x, y, z), geom.V3(nx, ny, nz))
	}
	window := loopThrough(geom.V2(-60, -20), geom.V2(60, -20), geom.V2(60, 20), geom.V2(-60, 20)).Reversed()
	spline := pathCases()[17].path
	return []boardCase{
		{"rectangle", rect, nil, 18, nil, 4, 0, false},
		{"rounded", roundedRectangle(560, 180, 76), nil, 20, nil, 4, 4, false},
		{"ellipse", ellipseLoop(230, 170), nil, 22, nil, 0, 4, false},
		{"disc", ellipseLoop(200, 200), nil, 18, nil, 0, 4, false},
		{"hexagon", regular(6, 150), nil, 20, nil, 6, 0, false},
		{"bowed leg", bowed(518, 54, 36, 6), nil, 22, nil, 3, 1, false},
		{"free edge", spline, nil, 22, nil, 3, 0, true},
		{"holes", rect, []geom.Path{circleHole(geom.V2(-150, -12), 12), circleHole(geom.V2(150, -12), 12), window}, 20, nil, 4, 0, false},
		{"one end cut", rect, nil, 18, []geom.Plane{end(200, 0, 9, 1, 0, 0.3)}, 4, 0, false},
		{"end cut down", rect, nil, 18, []geom.Plane{end(200, 0, 9, 1, 0, -0.5)}, 4, 0, false},
		{"two end cuts", rect, nil, 18, []geom.Plane{end(200, 0, 9, 1, 0, 0.3), end(-200, 0, 9, -1, 0, 0.2)}, 4, 0, false},
		{"compound mitre", rect, nil, 18, []geom.Plane{end(200, 0, 9, 1, 0.7, 0.4)}, 4, 0, false},
		{"corner off", rect, nil, 18, []geom.Plane{end(205, 40, 9, 1, 1, 0.5)}, 4, 0, false},
		{"corner nipped above", rect, nil, 18, []geom.Plane{end(225, 55, 18, 1, 1, 1)}, 4, 0, false},
		{"long bevel", rect, nil, 18, []geom.Plane{end(0, 60, 9, 0, 1, 0.6)}, 4, 0, false},
		{"four bevels", rect, nil, 18, []geom.Plane{end(0, 60, 9, 0, 1, 0.6), end(0, -60, 9, 0, -1, 0.6), end(230, 0, 9, 1, 0, 0.6), end(-230, 0, 9, -1, 0, 0.6)}, 4, 0, false},
		{"bowed leg cut", bowed(518, 54, 36, 6), nil, 22, []geom.Plane{end(490, 0, 11, 1, 0.1, 0.3)}, 3, 1, false},
		{"rounded cut", roundedRectangle(560, 180, 76), nil, 20, []geom.Plane{end(250, 0, 10, 1, 0, 0.4)}, -1, -1, false},
		{"square end cut", rect, nil, 18, []geom.Plane{end(200, 0, 9, 1, 0.3, 0)}, 4, 0, false},
	}
}

func roundless(l, w float64) geom.Path {
	return loopThrough(geom.V2(-l/2, -w/2), geom.V2(l/2, -w/2), geom.V2(l/2, w/2), geom.V2(-l/2, w/2))
}

func (c boardCase) shape(chord float64) solid.Shape {
	var loops []solid.Loop
	for i, p := range append([]geom.Path{c.outline}, c.holes...) {
		var l solid.Loop
		for _, s := range p.Flatten(chord) {
			l.Points = append(l.Points, s.P)
			l.Tags = append(l.Tags, solid.Tag(10+100*i+s.Seg))
		}
		loops = append(loops, l)
	}
	s := solid.Extrude(loops, 0, c.thick, 0, 1)
	for i, p := range c.cuts {
		s = s.Below(p, solid.Tag(2+i))
	}
	return s
}

// cutVolume is the volume of a region of thickness thick below the planes, by
// Simpson's rule over exact areas of a finely flattened outline.
func cutVolume(outline geom.Path, holes []geom.Path, thick float64, cuts []geom.Plane) float64 {
	flat := geom.Polygons{outline.Polygon(1e-5)}
	for _, h := range holes {
		flat = append(flat, h.Polygon(1e-5))
	}
	exact := outline.Area()
	for _, h := range holes {
		exact += h.Area()
	}
	lack := exact - flat.Area()
	area := func(z float64) float64 {
		r := flat
		for _, c := range cuts {
			r = r.ClipHalfPlane(c.Normal.XY(), c.D-c.Normal.Z*z)
		}
		return r.Area() + lack
	}
	const n = 200
	v := area(0) + area(thick)
	for k := 1; k < n; k++ {
		v += float64(2+2*(k%2)) * area(thick*float64(k)/n)
	}
	return v * thick / n / 3
}

func TestBoardIsFoundAgain(t *testing.T) {
	for _, c := range boardCases() {
		t.Run(c.name, func(t *testing.T) {
			shapes := map[float64]solid.Shape{}
			for _, chord := range testChords {
				shapes[chord] = c.shape(chord)
			}
			want := cutVolume(c.outline, c.holes, c.thick, c.cuts)
			var worstV, worstT, worstR float64
			rapid.Check(t, func(t *rapid.T) {
				chord := rapid.SampledFrom(testChords).Draw(t, "chord")
				s := meshOf(t, shapes[chord], drawFrame(t))
				b, err := s.Board()
				if err != nil {
					var faces string
					for _, f := range s.Faces {
						faces += " " + string(f.Kind)
					}
					t.Fatalf("%v; faces:%s", err, faces)
				}
				if err := b.Outline.Check(1e-7); err != nil {
					t.Fatal(err)
				}
				lines, arcs, _ := counts(b.Outline)
				if c.lines >= 0 && lines != c.lines || c.arcs >= 0 && arcs != c.arcs {
					t.Fatalf("outline is%s, want %d lines and %d arcs", describePath(b.Outline), c.lines, c.arcs)
				}
				if len(b.Cutouts) != len(c.holes) {
					t.Fatalf("%d cut-outs, want %d", len(b.Cutouts), len(c.holes))
				}
				// Meshes have 24 bits: at 860 mm a face is known to 3e-5 mm, and so the thinnest
				// board, of two faces, to 3e-6.
				limit := 4e-6
				if c.free {
					limit = 1e-5
					if chord == 0.5 {
						limit = 1e-3
					}
				}
				v := math.Abs(cutVolume(b.Outline, b.Cutouts, b.Thickness, b.Cuts)/want - 1)
				worstV, worstT, worstR = max(worstV, v), max(worstT, math.Abs(b.Thickness-c.thick)), max(worstR, b.Residual)
				if v > limit {
					t.Fatalf("volume off by %.2g:%s", v, describePath(b.Outline))
				}
				if d := math.Abs(b.Thickness - c.thick); d > 1e-4 {
					t.Fatalf("thickness %.6f, want %g", b.Thickness, c.thick)
				}
				if len(c.cuts) == 0 {
					if e := math.Abs(b.Outline.Length()/c.outline.Length() - 1); e > limit {
						t.Fatalf("length off by %.2g:%s", e, describePath(b.Outline))
					}
				}
			})
			t.Logf("volume %.1e, thickness %.1e mm, residual %.1e mm", worstV, worstT, worstR)
		})
	}
}

func TestWhatIsNoBoard(t *testing.T) {
	box := func(x0, y0, z0, x1, y1, z1 float64) solid.Shape {
		return solid.Box(geom.Box3{Min: geom.V3(x0, y0, z0), Max: geom.V3(x1, y1, z1)}, 0)
	}
	plank := box(0, 0, 0, 400, 100, 20)
	for _, c := range []struct {
		name  string
		shape solid.Shape
		why   string
	}{
		{"groove", solid.Difference(plank, box(-1, 40, 15, 401, 60, 25)), "step, groove or pocket"},
		{"pocket", solid.Difference(plank, box(100, 40, 15, 200, 60, 25)), "step, groove or pocket"},
		{"bore in the edge", solid.Difference(plank, solid.Cylinder(geom.V3(200, -1, 10), geom.V3(0, 1, 0), 4, 30, 0, solid.CylinderOptions{})), "bore"},
		{"wedge", solid.Hull(box(0, 0, 0, 400, 40, 20), box(0, 0, 0, 1, 40, 60)), ""},
		{"ball", solid.Revolve(ballProfile(100, 60), make([]solid.Tag, 61), 96), "no flat side"},
		{"round bar", solid.Cylinder(geom.Vec3{}, geom.V3(0, 0, 1), 25, 300, 0, solid.CylinderOptions{}), "round bar"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := meshOf(t, c.shape, geom.World())
			b, err := s.Board()
			if c.why == "" { // a wedge is a board across
				if err != nil || math.Abs(b.Thickness-40) > 1e-4 {
					t.Fatalf("%v, thickness %g", err, b.Thickness)
				}
				return
			}
			if err == nil || !strings.Contains(err.Error(), c.why) {
				t.Fatalf("board %+v, error %v; want one that says %q", b, err, c.why)
			}
		})
	}
}

func ballProfile(r float64, n int) []geom.Vec2 {
	var out []geom.Vec2
	for i := range n + 1 {
		a := -math.Pi/2 + math.Pi*float64(i)/float64(n)
		x := r * math.Cos(a)
		if i == 0 || i == n {
			x = 0
		}
		out = append(out, geom.V2(x, r*math.Sin(a)))
	}
	return out
}
