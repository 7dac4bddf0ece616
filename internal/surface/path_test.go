package surface_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/surface"
)

// pathTol is the tolerance with which the tests fit: that of the caller's
// vertices, far above single precision at furniture's size (6e-5 mm at 1 m).
const pathTol = 1e-3

// testChords are how far, mm, the facets of drawn curves stray.
var testChords = []float64{0.5, 0.1, 0.02}

// pathCase is a path whose exact shape is known, and what must come back.
type pathCase struct {
	name                 string
	path                 geom.Path
	lines, arcs, cubics  int // segments of the fitted path; −1 for any number
	length, area, atWide float64
	// length and area: greatest relative error at a chord of 0.02 mm; atWide
	// at 0.5 mm, for both.
}

func loopThrough(pts ...geom.Vec2) geom.Path {
	p := geom.Path{Closed: true}
	for i, a := range pts {
		p.Segs = append(p.Segs, geom.LineTo(a, pts[(i+1)%len(pts)]))
	}
	return p
}

func roundedRectangle(l, w, r float64) geom.Path {
	p := geom.Path{Closed: true}
	x, y := l/2-r, w/2-r
	cs := []geom.Vec2{{X: x, Y: -y}, {X: x, Y: y}, {X: -x, Y: y}, {X: -x, Y: -y}}
	for i, c := range cs {
		s := geom.ArcOf(c, r, r, 0, float64(i-1)*math.Pi/2, math.Pi/2)
		if n := len(p.Segs); n > 0 {
			if p.Segs[n-1].To().Dist(s.From()) > 1e-9 {
				p.Segs = append(p.Segs, geom.LineTo(p.Segs[n-1].To(), s.From()))
			}
		}
		p.Segs = append(p.Segs, s)
	}
	last := p.Segs[len(p.Segs)-1].To()
	if last.Dist(p.Segs[0].From()) > 1e-9 {
		p.Segs = append(p.Segs, geom.LineTo(last, p.Segs[0].From()))
	}
	return p
}

func ellipseLoop(rx, ry float64) geom.Path {
	p := geom.Path{Closed: true}
	for i := range 4 {
		p.Segs = append(p.Segs, geom.ArcOf(geom.Vec2{}, rx, ry, 0, float64(i)*math.Pi/2, math.Pi/2))
	}
	return p
}

func regular(n int, r float64) geom.Path {
	var pts []geom.Vec2
	for i := range n {
		pts = append(pts, geom.V2(r, 0).Rotate(2*math.Pi*float64(i)/float64(n)))
	}
	return loopThrough(pts...)
}

// bowed is the quadrilateral with its third side bent outward by sag.
func bowed(length, from, to, sag float64) geom.Path {
	p := loopThrough(geom.V2(0, -from), geom.V2(length, -to), geom.V2(length, 0), geom.V2(0, 0))
	a, b := p.Segs[2].From(), p.Segs[2].To()
	c := a.Dist(b)
	r := (c*c/4 + sag*sag) / (2 * sag)
	mid := a.Lerp(b, .5).Add(b.Sub(a).Unit().Right().Scale(sag - r))
	p.Segs[2] = geom.ArcOf(mid, r, r, 0, a.Sub(mid).Angle(), 2*math.Asin(c/2/r))
	p.Segs[2].P[0], p.Segs[2].P[3] = a, b
	return p
}

func pathCases() []pathCase {
	wave := geom.Path{Closed: true, Segs: []geom.Seg{
		geom.LineTo(geom.V2(0, 0), geom.V2(300, 0)),
		geom.LineTo(geom.V2(300, 0), geom.V2(300, 80)),
		geom.CubicTo(geom.V2(300, 80), geom.V2(220, 130), geom.V2(90, 20), geom.V2(0, 90)),
		geom.LineTo(geom.V2(0, 90), geom.V2(0, 0)),
	}}
	// Two circular arcs of unlike radii that pass over into one another, closed by lines.
	ogee := geom.Path{Closed: true, Segs: []geom.Seg{
		geom.LineTo(geom.V2(0, 0), geom.V2(200, 0)),
		geom.ArcOf(geom.V2(200, 60), 60, 60, 0, -math.Pi/2, math.Pi/2),
		geom.ArcOf(geom.V2(160, 60), 100, 100, 0, 0, math.Pi/3),
	}}
	end := ogee.Segs[2].To()
	ogee.Segs = append(ogee.Segs, geom.LineTo(end, geom.V2(0, 100)), geom.LineTo(geom.V2(0, 100), geom.V2(0, 0)))
	// A line that runs tangent into a cubic.
	spoon := geom.Path{Closed: true, Segs: []geom.Seg{
		geom.LineTo(geom.V2(0, 0), geom.V2(150, 0)),
		geom.CubicTo(geom.V2(150, 0), geom.V2(200, 0), geom.V2(240, 60), geom.V2(240, 120)),
		geom.LineTo(geom.V2(240, 120), geom.V2(0, 120)),
		geom.LineTo(geom.V2(0, 120), geom.V2(0, 0)),
	}}
	// Half an ellipse on two straights.
	arch := geom.Path{Closed: true, Segs: []geom.Seg{
		geom.LineTo(geom.V2(-100, 0), geom.V2(100, 0)),
		geom.LineTo(geom.V2(100, 0), geom.V2(100, 50)),
		geom.ArcOf(geom.V2(0, 50), 100, 60, 0, 0, math.Pi),
		geom.LineTo(geom.V2(-100, 50), geom.V2(-100, 0)),
	}}
	// A circle with a flat cut off: the flat's ends lie on the circle.
	flat := geom.Path{Closed: true}
	flat.Segs = append(flat.Segs, geom.ArcOf(geom.Vec2{}, 100, 100, 0, -1.3, 2*math.Pi-0.5))
	flat.Segs = append(flat.Segs, geom.LineTo(flat.Segs[0].To(), flat.Segs[0].From()))
	const e = 1e-6
	return []pathCase{
		{"rectangle", loopThrough(geom.V2(0, 0), geom.V2(400, 0), geom.V2(400, 120), geom.V2(0, 120)), 4, 0, 0, e, e, e},
		{"slanted", loopThrough(geom.V2(0, 0), geom.V2(400, 0), geom.V2(380, 120), geom.V2(25, 117)), 4, 0, 0, e, e, e},
		{"hexagon", regular(6, 150), 6, 0, 0, e, e, e},
		{"octagon", regular(8, 150), 8, 0, 0, e, e, e},
		{"eleven sides", regular(11, 150), 11, 0, 0, e, e, e},
		{"rounded", roundedRectangle(560, 180, 76), 4, 4, 0, e, e, e},
		{"round ends", roundedRectangle(700, 150, 75), 2, -1, 0, e, e, e},
		{"small fillets", roundedRectangle(300, 200, 3), 4, 4, 0, e, 2e-6, 2e-6},
		{"circle", ellipseLoop(165, 165), 0, 4, 0, e, e, e},
		{"small circle", ellipseLoop(15, 15), 0, 4, 0, e, 2e-6, 4e-6},
		{"ellipse", ellipseLoop(230, 170), 0, 4, 0, e, e, e},
		{"thin ellipse", ellipseLoop(300, 60), 0, 4, 0, e, e, e},
		{"bowed", bowed(518, 54, 36, 6), 3, 1, 0, e, e, e},
		{"shallow bow", bowed(518, 54, 36, 1), 3, -1, 0, e, e, 1e-2},
		{"ogee", ogee, 3, 2, 0, e, e, e},
		{"arch", arch, 3, 1, 0, e, e, e},
		{"circle with a flat", flat, 1, 1, 0, e, e, e},
		{"wave", wave, 3, 0, -1, 1e-5, 1e-5, 1e-3},
		{"spoon", spoon, 3, 0, -1, 1e-5, 1e-5, 1e-3},
	}
}

func rounded32(p geom.Vec2) geom.Vec2 {
	return geom.V2(float64(float32(p.X)), float64(float32(p.Y)))
}

func counts(p geom.Path) (lines, arcs, cubics int) {
	for _, s := range p.Segs {
		switch s.Kind {
		case geom.Line:
			lines++
		case geom.Arc:
			arcs++
		case geom.Cubic:
			cubics++
		}
	}
	return
}

func describePath(p geom.Path) string {
	var out string
	for _, s := range p.Segs {
		switch s.Kind {
		case geom.Line:
			out += fmt.Sprintf(" L(%.3f)", s.Length(0, 1))
		case geom.Arc:
			out += fmt.Sprintf(" A(%.4f %.4f %.2f°)", s.Rx, s.Ry, s.Sweep*180/math.Pi)
		case geom.Cubic:
			out += fmt.Sprintf(" C(%.3f)", s.Length(0, 1))
		}
	}
	return out
}

func TestFitPathFindsWhatWasDrawn(t *testing.T) {
	for _, c := range pathCases() {
		t.Run(c.name, func(t *testing.T) {
			worst := [3]float64{}
			rapid.Check(t, func(t *rapid.T) {
				chord := rapid.SampledFrom(testChords).Draw(t, "chord")
				turn := rapid.Float64Range(-math.Pi, math.Pi).Draw(t, "turn")
				move := geom.V2(rapid.Float64Range(-500, 500).Draw(t, "x"), rapid.Float64Range(-500, 500).Draw(t, "y"))
				drawn := c.path.Rotated(turn).Translated(move)
				var pts []geom.Vec2
				for _, s := range drawn.Flatten(chord) {
					pts = append(pts, rounded32(s.P))
				}
				first := rapid.IntRange(0, len(pts)-1).Draw(t, "first")
				pts = append(pts[first:], pts[:first]...)
				got := surface.FitPath(pts, true, pathTol)
				if err := got.Check(1e-7); err != nil {
					t.Fatalf("%v:%s", err, describePath(got))
				}
				for _, s := range got.Segs {
					for _, e := range []float64{s.At(0).Dist(s.From()), s.At(1).Dist(s.To())} {
						if e > 1e-7 {
							t.Fatalf("a segment ends %g mm beside itself:%s", e, describePath(got))
						}
					}
				}
				lines, arcs, cubics := counts(got)
				want := func(what string, got, want int) {
					if want >= 0 && got != want {
						t.Fatalf("%d %s, want %d", got, what, want)
					}
				}
				limitL, limitA := c.length, c.area
				if chord == 0.5 {
					limitL, limitA = c.atWide, c.atWide
				}
				if limitL <= 1e-5 || c.cubics < 0 {
					want("lines of"+describePath(got), lines, c.lines)
					want("arcs of"+describePath(got), arcs, c.arcs)
					want("cubics of"+describePath(got), cubics, c.cubics)
				}
				rel := func(k int, what string, is, want, limit float64) {
					e := math.Abs(is-want) / math.Abs(want)
					worst[k] = max(worst[k], e)
					if e > limit {
						t.Fatalf("%s %.8g, want %.8g: off by %.2g:%s", what, is, want, e, describePath(got))
					}
				}
				rel(0, "length", got.Length(), drawn.Length(), limitL)
				if lines == c.lines && (arcs == c.arcs || c.arcs < 0) {
					for _, s := range got.Segs {
						// An arc has the radii of one that was drawn.
						off := math.Inf(1)
						for _, o := range drawn.Segs {
							if s.Kind == geom.Arc && o.Kind == geom.Arc {
								off = min(off, max(math.Abs(max(s.Rx, s.Ry)/max(o.Rx, o.Ry)-1), math.Abs(min(s.Rx, s.Ry)/min(o.Rx, o.Ry)-1)))
							}
						}
						if s.Kind == geom.Arc {
							worst[2] = max(worst[2], off)
							if off > 1e-3 {
								t.Fatalf("radii %.6f and %.6f, off by %.2g", s.Rx, s.Ry, off)
							}
						}
					}
				}
				rel(1, "area", got.Area(), drawn.Area(), limitA)
			})
			t.Logf("worst relative error of length %.1e, area %.1e, radii %.1e", worst[0], worst[1], worst[2])
		})
	}
}
