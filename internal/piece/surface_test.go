package piece

import (
	"context"
	"math"
	"strings"
	"sync"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/solid"

	"pgregory.net/rapid"
)

var kernel = sync.OnceValues(func() (*solid.Kernel, error) { return solid.New(solid.Options{Instances: 1}) })

func meshOf(t testing.TB, m Member, chord float64) *solid.Mesh {
	t.Helper()
	k, err := kernel()
	if err != nil {
		t.Fatalf("%v (run make kernel)", err)
	}
	s, err := m.Body(chord)
	if err != nil {
		t.Fatal(err)
	}
	mesh, err := k.Mesh(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	return mesh
}

func polyline(closed bool, pts ...geom.Vec2) geom.Path {
	p := geom.Path{Closed: closed}
	for i := range pts {
		if i+1 < len(pts) || closed {
			p.Segs = append(p.Segs, geom.LineTo(pts[i], pts[(i+1)%len(pts)]))
		}
	}
	return p
}

func rectangle(w, h float64) geom.Path {
	return polyline(true, geom.V2(0, 0), geom.V2(w, 0), geom.V2(w, h), geom.V2(0, h))
}

func ellipse(c geom.Vec2, rx, ry float64) geom.Path {
	return geom.Path{Segs: []geom.Seg{geom.ArcOf(c, rx, ry, 0, 0, 2*math.Pi)}, Closed: true}
}

// stadium is two straight sides joined by half circles.
func stadium(l, r float64) geom.Path {
	return geom.Path{Closed: true, Segs: []geom.Seg{
		geom.LineTo(geom.V2(0, -r), geom.V2(l, -r)),
		geom.ArcOf(geom.V2(l, 0), r, r, 0, -math.Pi/2, math.Pi),
		geom.LineTo(geom.V2(l, r), geom.V2(0, r)),
		geom.ArcOf(geom.V2(0, 0), r, r, 0, math.Pi/2, math.Pi),
	}}
}

// bean is a smooth closed path of cubics with a hollow side.
func bean() geom.Path {
	p := []geom.Vec2{
		{X: 0, Y: 0}, {X: 40, Y: -60}, {X: 160, Y: -60}, {X: 200, Y: 0},
		{X: 220, Y: 30}, {X: 240, Y: 100}, {X: 180, Y: 110},
		{X: 120, Y: 120}, {X: 130, Y: 60}, {X: 80, Y: 70},
		{X: 30, Y: 80}, {X: -40, Y: 60}, {X: 0, Y: 0},
	}
	return geom.Path{Closed: true, Segs: []geom.Seg{
		geom.CubicTo(p[0], p[1], p[2], p[3]), geom.CubicTo(p[3], p[4], p[5], p[6]),
		geom.CubicTo(p[6], p[7], p[8], p[9]), geom.CubicTo(p[9], p[10], p[11], p[12]),
	}}
}

func board(thick float64, outline geom.Path, cutouts ...geom.Path) Member {
	b := &Board{Outline: NewOutline(outline, BreakAngle), Thickness: thick}
	for _, c := range cutouts {
		b.Cutouts = append(b.Cutouts, NewOutline(c, BreakAngle))
	}
	return Member{ID: "m", Name: "m", Place: geom.World(), Board: b}
}

func turning(p geom.Path) Member {
	t := NewTurning(p, BreakAngle)
	return Member{ID: "m", Name: "m", Place: geom.World(), Turning: &t}
}

// with adds end cuts, each given by a point and an outward normal.
func (m Member) with(planes ...geom.Vec3) Member {
	m.EndCuts = nil
	for i := 0; i < len(planes); i += 2 {
		m.EndCuts = append(m.EndCuts, EndCut{Plane: geom.PlaneAt(planes[i], planes[i+1])})
	}
	return m
}

func vaseProfile() geom.Path {
	return geom.Path{Segs: []geom.Seg{
		geom.LineTo(geom.V2(30, 0), geom.V2(30, 40)),
		geom.LineTo(geom.V2(30, 40), geom.V2(24, 40)),
		geom.CubicTo(geom.V2(24, 40), geom.V2(44, 80), geom.V2(44, 120), geom.V2(26, 160)),
		geom.ArcOf(geom.V2(46, 160), 20, 20, 0, math.Pi, -math.Pi/2),
		geom.LineTo(geom.V2(46, 180), geom.V2(46, 190)),
		geom.LineTo(geom.V2(46, 190), geom.V2(20, 260)),
	}}
}

func frustum(r1, r2, h float64) geom.Path {
	return polyline(false, geom.V2(r1, 0), geom.V2(r2, h))
}

type sample struct {
	name    string
	m       Member
	polygon bool // no curved surface
}

func samples() []sample {
	rect := rectangle(400, 300)
	hole := rectangle(60, 40).Translated(geom.V2(100, 100)).Reversed()
	roundHole := ellipse(geom.V2(250, 150), 40, 40).Reversed()
	tapered := turning(frustum(14, 19, 430))
	post := turning(polyline(false, geom.V2(25, 0), geom.V2(25, 300)))
	stepped := turning(polyline(false, geom.V2(20, 0), geom.V2(20, 50), geom.V2(35, 50), geom.V2(35, 90), geom.V2(25, 90), geom.V2(15, 200)))
	vase := turning(vaseProfile())
	return []sample{
		{"rectangle", board(19, rect), true},
		{"rectangle with a hole", board(19, rect, hole), true},
		{"rectangle, upright oblique cut through the hole", board(19, rect, hole).with(geom.V3(130, 120, 0), geom.V3(1, 0.3, 0)), true},
		{"rectangle, mitre", board(19, rect).with(geom.V3(380, 0, 0), geom.V3(1, 0, 1)), true},
		{"rectangle, mitre downward over a hole", board(19, rect, hole).with(geom.V3(130, 0, 5), geom.V3(1, 0.2, -1)), true},
		{"rectangle, two mitres that meet", board(19, rect, hole).with(geom.V3(380, 0, 0), geom.V3(1, 0, 1), geom.V3(0, 280, 5), geom.V3(0.2, 1, -0.7)), true},
		{"rectangle, level cuts", board(19, rect, hole).with(geom.V3(0, 0, 15), geom.V3(0, 0, 1), geom.V3(0, 0, 2), geom.V3(0.01, 0, -1)), true},
		{"rectangle, edge taken away", board(19, rect).with(geom.V3(380, 0, 0), geom.V3(1, 0, 0)), true},
		{"ellipse", board(18, ellipse(geom.Vec2{}, 230, 170)), false},
		{"ellipse with a round hole", board(18, ellipse(geom.Vec2{}, 230, 170), ellipse(geom.V2(50, 0), 30, 30).Reversed()), false},
		{"ellipse, mitre", board(18, ellipse(geom.Vec2{}, 230, 170)).with(geom.V3(150, 0, 0), geom.V3(1, 0.4, 0.8)), false},
		{"round hole, upright cut through it", board(18, rect, roundHole).with(geom.V3(260, 0, 0), geom.V3(1, 0.1, 0)), false},
		{"round hole, flat cut through it", board(18, rect, roundHole).with(geom.V3(260, 150, 9), geom.V3(0.2, 0.05, 1)), false},
		{"stadium", board(22, stadium(200, 40)).with(geom.V3(210, 0, 11), geom.V3(1, 0, 0.3)), false},
		{"bean", board(20, bean()), false},
		{"bean, two cuts", board(20, bean()).with(geom.V3(190, 0, 10), geom.V3(1, 0.2, 0.5), geom.V3(0, 80, 10), geom.V3(0, 1, 1)), false},
		{"tapered leg", tapered, false},
		{"tapered leg, splayed", tapered.with(geom.V3(0, 0, 6), geom.V3(0.1, 0.05, -1), geom.V3(0, 0, 420), geom.V3(-0.1, -0.05, 1)), false},
		{"tapered leg, cut that reaches an end", tapered.with(geom.V3(0, 0, 3), geom.V3(0.5, 0.2, -1)), false},
		{"tapered leg, steep cuts that meet", tapered.with(geom.V3(0, 0, 200), geom.V3(1, 0, 0.2), geom.V3(0, 0, 200), geom.V3(-0.2, 1, 0.3)), false},
		{"tapered leg, cut along the axis", tapered.with(geom.V3(5, 0, 0), geom.V3(1, 0, 0)), false},
		{"post, level cuts", post.with(geom.V3(0, 0, 280), geom.V3(0, 0, 1), geom.V3(0, 0, 20), geom.V3(0, 0, -1)), false},
		{"post, oblique", post.with(geom.V3(0, 0, 250), geom.V3(-0.6, 0.3, 1)), false},
		{"stepped", stepped, false},
		{"stepped, oblique", stepped.with(geom.V3(0, 0, 70), geom.V3(0.5, 0.5, -1), geom.V3(0, 0, 180), geom.V3(0.3, -0.5, 1)), false},
		{"vase", vase, false},
		{"vase, oblique", vase.with(geom.V3(0, 0, 100), geom.V3(0.5, 0.2, -1), geom.V3(0, 0, 230), geom.V3(0.3, -0.2, 1)), false},
		{"vase, steep cut through waist and foot", vase.with(geom.V3(23, 0, 100), geom.V3(1, 0, 0.02)), false},
	}
}

// TestAgainstKernel compares the areas of all surfaces with the facets that
// the kernel's booleans leave, and the vertices with the surfaces. Chords within
// c of a curved border of length l take at most 2/3 c l from an area.
func TestAgainstKernel(t *testing.T) {
	const chord = 0.004
	for _, c := range samples() {
		t.Run(c.name, func(t *testing.T) {
			surfaces := c.m.Surfaces(chord)
			mesh := meshOf(t, c.m, chord)
			areas := make([]float64, len(surfaces))
			worst := 0.0
			seen := map[[2]int32]bool{} // vertex and tag
			for i, tri := range mesh.Triangles {
				tag := mesh.Tags[i]
				if tag < 0 || int(tag) >= len(surfaces) {
					t.Fatalf("a facet has the tag %d of no surface", tag)
				}
				a, b, d := mesh.Vertices[tri[0]], mesh.Vertices[tri[1]], mesh.Vertices[tri[2]]
				areas[tag] += b.Sub(a).Cross(d.Sub(a)).Len() / 2
				for k, v := range []geom.Vec3{a, b, d} {
					if seen[[2]int32{tri[k], int32(tag)}] {
						continue
					}
					seen[[2]int32{tri[k], int32(tag)}] = true
					if surfaces[tag].Kind == Free && len(seen)%11 != 0 {
						continue // thousands of vertices: every eleventh will do
					}
					s := surfaces[tag]
					off := s.Point(s.Chart(v)).Dist(v)
					if len(c.m.EndCuts) > 0 && s.Kind != Plane {
						off = max(0, off-chord) // a cut makes vertices on facets
					}
					worst = max(worst, off)
				}
			}
			if worst > 1e-7 {
				t.Errorf("a vertex lies %.2g mm off its surface", worst)
			}
			limit := func(s Surface) float64 {
				if c.polygon {
					return 1e-6 * (s.Area + 1)
				}
				border := 0.0
				for _, p := range s.Region {
					border += p.Perimeter()
				}
				return 2e-4*s.Area + 2./3*chord*border + 1e-6
			}
			for i, s := range surfaces {
				if int(s.Tag) != i {
					t.Errorf("%s has tag %d, not %d", s.Name, s.Tag, i)
				}
				if math.Abs(areas[i]-s.Area) > limit(s) {
					t.Errorf("%-18s %-9s area %12.5f, kernel %12.5f, off by %.2g", s.Name, s.Kind, s.Area, areas[i], (areas[i]-s.Area)/s.Area)
				}
				if s.Kind != Free && math.Abs(s.Region.Area()-s.Area) > limit(s) {
					t.Errorf("%-18s region's area %.5f, area %.5f", s.Name, s.Region.Area(), s.Area)
				}
				if s.Area == 0 && len(s.Region) > 0 || s.Area < 0 {
					t.Errorf("%s: area %g with %d loops", s.Name, s.Area, len(s.Region))
				}
			}
		})
	}
}

// TestChart checks on random points that Chart undoes Point, that the chart is
// right-handed seen from outside, and that it keeps lengths except on Free
// sides.
func TestChart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := samples()
		c := rapid.SampledFrom(all).Draw(t, "member")
		s := rapid.SampledFrom(c.m.Surfaces(0.1)).Draw(t, "surface")
		x := rapid.Float64Range(0.001, 0.999).Draw(t, "x")
		y := rapid.Float64Range(0.001, 0.999).Draw(t, "y")
		var uv geom.Vec2
		switch {
		case s.Kind == Plane:
			uv = geom.V2(x*400-100, y*400-100)
		case s.Kind == Extruded:
			uv = geom.V2(x*s.Length, y*30)
		default:
			uv = s.unroll(x*2*math.Pi, y*s.Run.Length())
		}
		p := s.Point(uv)
		if got := s.Chart(p); got.Dist(uv) > 1e-7 {
			t.Fatalf("%s of %s: Chart(Point(%v)) = %v", s.Name, c.name, uv, got)
		}
		const h = 1e-4
		du := s.Point(uv.Add(geom.V2(h, 0))).Sub(s.Point(uv.Add(geom.V2(-h, 0)))).Scale(1 / (2 * h))
		dv := s.Point(uv.Add(geom.V2(0, h))).Sub(s.Point(uv.Add(geom.V2(0, -h)))).Scale(1 / (2 * h))
		n := s.Normal(uv)
		if d := du.Cross(dv).Unit().Dot(n); d < 1-1e-6 {
			t.Fatalf("%s of %s: the chart's normal and Normal differ (cosine %g)", s.Name, c.name, d)
		}
		if s.Kind != Free && (math.Abs(du.Len()-1) > 1e-5 || math.Abs(dv.Len()-1) > 1e-5 || math.Abs(du.Dot(dv)) > 1e-5) {
			t.Fatalf("%s of %s: the chart stretches: |du| %g, |dv| %g, du·dv %g", s.Name, c.name, du.Len(), dv.Len(), du.Dot(dv))
		}
	})
}

func names(ss []Surface) string {
	var out []string
	for _, s := range ss {
		out = append(out, s.Name)
	}
	return strings.Join(out, " ")
}

func TestOrderAndNames(t *testing.T) {
	for _, c := range []struct {
		m    Member
		want string
	}{
		{board(19, rectangle(4, 3)), "back face edge-1 edge-2 edge-3 edge-4"},
		{board(19, stadium(200, 40)), "back face edge-1"},
		{board(19, rectangle(400, 300), ellipse(geom.V2(200, 150), 40, 40).Reversed()).with(geom.V3(380, 0, 0), geom.V3(1, 0, 0)),
			"back face edge-1 edge-2 edge-3 edge-4 cutout-1-edge-1 cut-1"},
		{turning(frustum(14, 19, 430)).with(geom.V3(0, 0, 5), geom.V3(0, 0, -1)), "side-1 low-end high-end cut-1"},
		{turning(vaseProfile()), "side-1 side-2 side-3 side-4 side-5 low-end high-end"},
	} {
		if got := names(c.m.Surfaces(0)); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}

// TestAreaFreeOfChord: areas are integrals, not areas of flattened borders.
func TestAreaFreeOfChord(t *testing.T) {
	for _, c := range samples() {
		coarse, fine := c.m.Surfaces(0.3), c.m.Surfaces(0.002)
		for i := range coarse {
			tol := 1e-8
			if c.name == "tapered leg, steep cuts that meet" && coarse[i].Role == EndOf {
				tol = 1e-4 // the two sections cut each other across their flattened borders
			}
			if off := math.Abs(coarse[i].Area - fine[i].Area); off > tol*(1+fine[i].Area) {
				t.Errorf("%s, %s: area %.9g at 0.3 mm, %.9g at 0.002 mm, off by %.2g", c.name, coarse[i].Name, coarse[i].Area, fine[i].Area, off/fine[i].Area)
			}
		}
	}
}
