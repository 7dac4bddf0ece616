package piece

import (
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/mesh"
	"groundwork/internal/solid"
	"groundwork/internal/surface"
)

func testKernel(t testing.TB) *solid.Kernel {
	t.Helper()
	k, err := kernel()
	if err != nil {
		t.Fatalf("%v (run make kernel)", err)
	}
	return k
}

// meshed is the mesh of a shape, recognised, in the shape's own coordinates.
func meshed(t testing.TB, s solid.Shape) *surface.Solid {
	t.Helper()
	m, err := testKernel(t).Mesh(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	shape, err := surface.Recognise(m.Vertices, m.Triangles, surface.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return shape
}

func block(x0, y0, z0, x1, y1, z1 float64) solid.Shape {
	return solid.Box(geom.Box3{Min: geom.V3(x0, y0, z0), Max: geom.V3(x1, y1, z1)}, solid.NoTag)
}

func drill(on, axis geom.Vec3, r, length float64) solid.Shape {
	return solid.Cylinder(on, axis, r, length, solid.NoTag, solid.CylinderOptions{Chord: 0.02})
}

// cabinetSide is 700 by 380 by 18 mm, lying on its outer face, with a dado, a
// rabbet along one edge, two shelf-pin holes and a slot 4 mm wide and 8 deep.
func cabinetSide() solid.Shape {
	return solid.Difference(block(-350, -190, 0, 350, 190, 18),
		block(-351, -90, 12, 351, -72, 30), block(-351, 178, 9, 351, 200, 30),
		drill(geom.V3(-300, -153, 5), geom.V3(0, 0, 1), 2.5, 20), drill(geom.V3(-268, -153, 5), geom.V3(0, 0, 1), 2.5, 20),
		block(-200, 50, 10, 200, 54, 30))
}

// stoolSeat is a round seat with a dish and a leaning socket for a leg.
func stoolSeat() solid.Shape {
	const r = 900.0
	c := geom.V3(0, 0, 38+r-12)
	n := 40
	profile := []geom.Vec2{}
	for i := range n + 1 {
		a := 0.2 * float64(i) / float64(n)
		profile = append(profile, geom.V2(r*math.Sin(a), c.Z-r*math.Cos(a)))
	}
	profile[0].X = 0
	profile = append(profile, geom.V2(0, profile[n].Y))
	dish := solid.Revolve(profile, make([]solid.Tag, len(profile)), solid.Facets(180, 0.02, false))
	return solid.Difference(drill(geom.V3(0, 0, 0), geom.V3(0, 0, 1), 170, 38), dish, drill(geom.V3(100, 0, -5), geom.V3(0.2, 0, 1), 14, 30))
}

// socketLeg is a tapered leg with a round socket across it.
func socketLeg() solid.Shape {
	top := 12.0
	return solid.Difference(
		solid.Cylinder(geom.V3(0, 0, 0), geom.V3(0, 0, 1), 20, 420, solid.NoTag, solid.CylinderOptions{Chord: 0.02, TopRadius: &top}),
		drill(geom.V3(0, 0, 140), geom.V3(1, 0, 0), 7.5, 40))
}

// archedStretcher is a rail of 400 by 60 by 22 mm with an arch and a round hole
// that makes no board of it, as it leans.
func archedStretcher() solid.Shape {
	arc := geom.ArcOf(geom.V2(0, -480), 500, 500, 0, math.Pi/2+math.Asin(0.3), -2*math.Asin(0.3))
	a, b := arc.P[0], arc.P[3]
	v := geom.V2
	p := geom.Path{Closed: true, Segs: []geom.Seg{
		geom.LineTo(v(-200, 60), v(-200, -3)), geom.LineTo(v(-200, -3), a), arc,
		geom.LineTo(b, v(200, -3)), geom.LineTo(v(200, -3), v(200, 60)), geom.LineTo(v(200, 60), v(-200, 60)),
	}}
	var l solid.Loop
	for _, q := range p.Flatten(0.02) {
		l.Points, l.Tags = append(l.Points, q.P), append(l.Tags, solid.NoTag)
	}
	return solid.Difference(solid.Extrude([]solid.Loop{l}, 0, 22, solid.NoTag, solid.NoTag), drill(geom.V3(-120, 42, -10), geom.V3(0.3, 0, 1), 6, 60))
}

// countersunk is a block with a hollow cone, and beaker a turned body with a
// cone to a point.
func countersunk() solid.Shape {
	top := 9.0
	n := solid.Facets(9, 0.02, false)
	sink := solid.Cylinder(geom.V3(30, 20, 15), geom.V3(0, 0, 1), 4, 5, solid.NoTag, solid.CylinderOptions{Facets: n, TopRadius: &top})
	return solid.Difference(block(0, 0, 0, 60, 40, 20), solid.Cylinder(geom.V3(30, 20, -1), geom.V3(0, 0, 1), 4, 30, solid.NoTag, solid.CylinderOptions{Facets: n}), sink)
}

func spike() solid.Shape {
	return solid.Revolve([]geom.Vec2{{X: 0, Y: 0}, {X: 15, Y: 0}, {X: 15, Y: 40}, {X: 0, Y: 90}}, make([]solid.Tag, 4), 64)
}

// halfPipe is a bent sheet: a part of a cylinder outside, another inside.
func halfPipe() solid.Shape {
	n := 40
	var l solid.Loop
	for i := range n + 1 {
		s, c := math.Sincos(0.3 + 1.8*float64(i)/float64(n))
		l.Points = append(l.Points, geom.V2(300*c, 300*s))
	}
	for i := n; i >= 0; i-- {
		s, c := math.Sincos(0.3 + 1.8*float64(i)/float64(n))
		l.Points = append(l.Points, geom.V2(290*c, 290*s))
	}
	l.Tags = make([]solid.Tag, len(l.Points))
	return solid.Extrude([]solid.Loop{l}, 0, 200, 0, 0)
}

// pepperPot is a tube with holes at so many angles that no seam of its two
// round faces is clear of them, and pepperMill a cone alike.
func pepperPot() solid.Shape {
	tube := solid.Difference(drill(geom.V3(0, 0, 0), geom.V3(0, 0, 1), 30, 140), drill(geom.V3(0, 0, -1), geom.V3(0, 0, 1), 22, 142))
	return solid.Difference(tube, holes()...)
}

func pepperMill() solid.Shape {
	top := 20.0
	cone := solid.Cylinder(geom.V3(0, 0, 0), geom.V3(0, 0, 1), 30, 140, solid.NoTag, solid.CylinderOptions{Chord: 0.02, TopRadius: &top})
	return solid.Difference(cone, holes()...)
}

func holes() []solid.Shape {
	var out []solid.Shape
	for i := range 20 {
		s, c := math.Sincos(2 * math.Pi * float64(i) / 20)
		out = append(out, drill(geom.V3(12*c, 12*s, 20+30*float64(i%4)), geom.V3(c, s, 0), 6, 40))
	}
	return out
}

// halfCone is a leg split along its length, with a hole: a partial cone.
func halfCone() solid.Shape {
	top := 12.0
	leg := solid.Cylinder(geom.V3(0, 0, 0), geom.V3(0, 0, 1), 20, 120, solid.NoTag, solid.CylinderOptions{Chord: 0.02, TopRadius: &top})
	return solid.Difference(leg.Below(geom.PlaneAt(geom.V3(-4, 0, 0), geom.V3(-1, 0, 0)), solid.NoTag), drill(geom.V3(0, 0, 50), geom.V3(1, 0, 0), 5, 40))
}

func models() map[string]solid.Shape {
	return map[string]solid.Shape{
		"cabinet side": cabinetSide(), "stool seat": stoolSeat(), "socket leg": socketLeg(), "arched stretcher": archedStretcher(),
		"countersunk block": countersunk(), "spike": spike(), "bent sheet": halfPipe(), "half cone": halfCone(),
	}
}

// turnedAbout stands a solid askew, so that no axis is one of the member's.
var askew = geom.FrameFromXZ(geom.V3(30, -20, 10), geom.V3(2, 1, 0.3), geom.V3(-0.2, 0.4, 1))

func TestChartsOfSolids(t *testing.T) {
	for name, shape := range models() {
		for _, f := range []geom.Frame{geom.World(), askew} {
			t.Run(name, func(t *testing.T) {
				s := NewSolid(meshed(t, shape).In(f))
				m := Member{ID: "it", Solid: s, Place: geom.World()}
				checkCharts(t, m, 0.02)
			})
		}
	}
}

// checkCharts holds every surface of a solid to what Surface promises.
func checkCharts(t *testing.T, m Member, chord float64) {
	t.Helper()
	shape := m.Solid.Shape
	sum, meshSum := 0.0, shape.Area()
	for i, sf := range m.Surfaces(chord) {
		face := shape.Faces[i]
		label := fmt.Sprintf("%s (%s, %s)", sf.Name, face.Kind, sf.Kind)
		sum += sf.Area
		if sf.Unlaid != "" {
			t.Fatalf("%s: %s", label, sf.Unlaid)
		}
		if int(sf.Tag) != i {
			t.Errorf("%s: tag %d", label, sf.Tag)
		}
		perimeter := 0.0
		for _, p := range sf.Region {
			perimeter += p.Perimeter()
		}
		if got := sf.Region.Area(); math.Abs(got-sf.Area) > chord*perimeter+1e-9 {
			t.Errorf("%s: region of %.4f mm², area %.4f", label, got, sf.Area)
		}
		// The mesh lies inside the curve by its sag.
		if slack := 2e-3*face.Area + 0.1*perimeter; math.Abs(sf.Area-face.Area) > slack {
			t.Errorf("%s: area %.4f mm², of its triangles %.4f", label, sf.Area, face.Area)
		}
		if at, bad := sf.Region.Crossing(); bad && sf.Patch == nil && !touchesItself(sf) {
			t.Errorf("%s: the region crosses itself at %v: %v", label, at, sf.Region)
		}
		for k, p := range sf.Region {
			if (p.Area() > 0) != (k == 0) && len(sf.Region) > 1 && sf.Patch == nil {
				t.Logf("%s: loop %d has area %.2f", label, k, p.Area())
			}
		}
		tried := 0
		for _, tr := range face.Triangles {
			if tried++; tried > 400 {
				break
			}
			k := shape.Triangles[tr]
			a, b, c := shape.Vertices[k[0]], shape.Vertices[k[1]], shape.Vertices[k[2]]
			n := b.Sub(a).Cross(c.Sub(a))
			if n.Len() < 0.1*max(a.Dist(b), b.Dist(c), c.Dist(a)) {
				continue // less high than its corners may stray; its normal tells nothing
			}
			mid := a.Add(b).Add(c).Scale(1.0 / 3)
			uv := sf.Chart(mid)
			p := sf.Point(uv)
			if p.Dist(mid) > 0.1 {
				t.Fatalf("%s: Point(Chart) is %.4f mm off", label, p.Dist(mid))
			}
			if back := sf.Chart(p); back.Dist(uv) > 1e-6 && !nearSeam(sf, uv) {
				t.Fatalf("%s: Chart(Point(%v)) = %v", label, uv, back)
			}
			normal := sf.Normal(uv)
			if normal.Dot(n.Unit()) < 0.9 {
				t.Fatalf("%s: the normal %v points away from the facet's %v", label, normal, n.Unit())
			}
			if !sf.Region.Contains(uv) && sf.Region.Distance(uv) > 0.15 {
				t.Fatalf("%s: %v of a triangle's middle is not in the region", label, uv)
			}
			// Right-handed: u × v is the normal.
			const h = 1e-3
			du := sf.Point(uv.Add(geom.V2(h, 0))).Sub(sf.Point(uv.Sub(geom.V2(h, 0)))).Scale(1 / (2 * h))
			dv := sf.Point(uv.Add(geom.V2(0, h))).Sub(sf.Point(uv.Sub(geom.V2(0, h)))).Scale(1 / (2 * h))
			if sf.Patch == nil && !nearSeam(sf, uv) {
				if du.Cross(dv).Dist(normal) > 1e-3 || math.Abs(du.Len()-1) > 1e-4 || math.Abs(dv.Len()-1) > 1e-4 {
					t.Fatalf("%s: at %v the chart is stretched or turned over: %v, %v, normal %v", label, uv, du, dv, normal)
				}
			}
		}
	}
	if math.Abs(sum-meshSum) > 3e-3*meshSum {
		t.Errorf("the areas sum to %.3f mm², the mesh has %.3f", sum, meshSum)
	}
}

// riddled are solids whose round faces have so many holes that their charts
// are cut open through some. Most of their corners come from cuts through
// facets, so the faces are given, lest the test hang on how they are recognised.
func riddled(t *testing.T) map[string]*surface.Solid {
	pot, mill := meshed(t, pepperPot()), meshed(t, pepperMill())
	given := 0
	for _, s := range []*surface.Solid{pot, mill} {
		for i := range s.Faces {
			f := &s.Faces[i]
			if f.Kind != surface.Developable && f.Kind != surface.Free {
				continue
			}
			given++
			p := s.Vertices[s.Triangles[f.Triangles[0]][0]]
			g := surface.Face{Kind: surface.Cylinder, Frame: geom.World(), Radius: 30, Full: true, To: 140, Triangles: f.Triangles, Area: f.Area, Residual: 0.02, Sag: 0.02}
			switch {
			case s == mill:
				g.Kind, g.Frame, g.Radius, g.Slope = surface.Cone, geom.FrameFromZ(geom.V3(0, 0, 140), geom.V3(0, 0, -1)), 20, 10.0/140
			case p.XY().Len() < 26:
				g.Radius, g.Hollow = 22, true
			}
			*f = g
		}
	}
	if given != 3 {
		t.Fatalf("%d faces had to be given", given)
	}
	return map[string]*surface.Solid{"pepper pot": pot, "pepper mill": mill}
}

func TestChartsCutOpenThroughHoles(t *testing.T) {
	for name, shape := range riddled(t) {
		m := Member{ID: "it", Solid: NewSolid(shape), Place: geom.World()}
		checkCharts(t, m, 0.01)
		through := 0
		for _, sf := range m.Surfaces(0.01) {
			if sf.Role != Side || sf.Inside && !sf.Closed {
				continue
			}
			if len(sf.Region) > 0 && len(sf.Region) < 21 && sf.Area > 5000 {
				through++ // a hole is no loop of its own, as the seam runs through it
			}
		}
		if through == 0 {
			t.Errorf("%s: no seam runs through a hole", name)
		}
		d := make([]float64, len(shape.Faces))
		for i := range d {
			d[i] = 0.3
		}
		in, err := m.Inset(d)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		checkCharts(t, in, 0.01)
	}
}

// TestConeToItsApex lays a cone that ends in a point. Its faces are given, lest
// the test hang on how they are recognised.
func TestConeToItsApex(t *testing.T) {
	shape := meshed(t, spike())
	at := slices.IndexFunc(shape.Faces, func(f surface.Face) bool { return f.Kind != surface.Plane && f.Kind != surface.Cylinder })
	if at < 0 {
		t.Fatal("the spike has no third face")
	}
	f := &shape.Faces[at]
	f.Kind, f.Frame = surface.Cone, geom.FrameFromZ(geom.V3(0, 0, 90), geom.V3(0, 0, -1))
	f.Radius, f.Slope, f.Full, f.From, f.To = 0, 0.3, true, 0, 50
	m := Member{ID: "it", Solid: NewSolid(shape), Place: geom.World()}
	checkCharts(t, m, 0.01)
	sf := m.Surfaces(0.01)[at]
	if want := math.Pi * 15 * math.Hypot(15, 50); sf.Kind != Cone || math.Abs(sf.Area-want) > 1e-3*want {
		t.Errorf("%s of %.3f mm², want %.3f", sf.Kind, sf.Area, want)
	}
	d := make([]float64, len(shape.Faces))
	d[at] = 0.6
	in, err := m.Inset(d)
	if err != nil {
		t.Fatal(err)
	}
	top := in.Solid.Shape.Bounds().Max.Z
	if want := 90 - 0.6*math.Hypot(15, 50)/15; math.Abs(top-want) > 1e-6 {
		t.Errorf("the apex came down to %.6f, want %.6f", top, want)
	}
	checkCharts(t, in, 0.01)
}

func nearSeam(sf Surface, uv geom.Vec2) bool {
	switch {
	case sf.Closed:
		return uv.X < 0.01 || uv.X > sf.Length-0.01
	case sf.Kind == Cone:
		return math.Abs(uv.X) < 0.01 || sf.Region.Distance(uv) < 0.01
	case sf.Kind == Extruded:
		return uv.X < 0.01 || uv.X > sf.Length-0.01
	}
	return sf.Patch != nil && sf.Region.Distance(uv) < 0.05
}

// touchesItself reports a cone down to its apex, whose seams meet in a point.
func touchesItself(sf Surface) bool {
	return sf.Kind == Cone && sf.Run.Bounds().Min.X < 1e-3
}

func TestRolesOfACabinetSide(t *testing.T) {
	for _, f := range []geom.Frame{geom.World(), askew} {
		s := NewSolid(meshed(t, cabinetSide()).In(f))
		m := Member{Solid: s}
		count := map[string]int{}
		for i, sf := range m.Surfaces(0.05) {
			key := string(sf.Role)
			if sf.Inside {
				key += " inside"
			}
			count[key]++
			n, o := f.LocalDir(sf.Frame.Z), f.Local(sf.Frame.Origin)
			if sf.Kind == Plane && math.Abs(n.Z) > 0.99 {
				wantOuter := n.Z < 0 // the outer face is opposite to all the others
				switch {
				case sf.Role != Face:
					t.Errorf("%s lies level, but is an %s", sf.Name, sf.Role)
				case wantOuter && (s.Opposite[i] < 0 || s.Shape.Faces[s.Opposite[i]].Area < 80000):
					t.Errorf("%s: opposite %d", sf.Name, s.Opposite[i])
				case !wantOuter && !sf.Inside && s.Opposite[i] < 0:
					t.Errorf("%s at %v has no opposite", sf.Name, o)
				}
			}
			if sf.Role == Edge && sf.Kind == Plane && !sf.Inside {
				if b := sf.Region.Bounds().Size(); b.X < b.Y {
					t.Errorf("%s: u runs across the edge: %v", sf.Name, b)
				}
			}
		}
		// Faces: the outer one, three strips within (the slot is in one of them),
		// the floors of the dado and the rabbet. Edges: 4 of the rim (one lower, at
		// the rabbet) and the walls of dado and rabbet. The slot's 4 walls and
		// floor and the two holes' walls and floors lie inside.
		want := map[string]int{"face": 5, "face inside": 3, "edge": 7, "edge inside": 4, "side inside": 2}
		for _, k := range []string{"face", "face inside", "edge", "edge inside", "side inside", "end", "side"} {
			if count[k] != want[k] {
				t.Errorf("%d surfaces are %s, want %d", count[k], k, want[k])
			}
		}
	}
}

func TestRolesOfOtherSolids(t *testing.T) {
	roles := func(shape solid.Shape) map[string]int {
		count := map[string]int{}
		for _, sf := range (Member{Solid: NewSolid(meshed(t, shape))}).Surfaces(0.05) {
			key := fmt.Sprintf("%s %s", sf.Kind, sf.Role)
			if sf.Inside {
				key += " inside"
			}
			count[key]++
		}
		return count
	}
	for _, tc := range []struct {
		name  string
		shape solid.Shape
		want  map[string]int
	}{
		{"arched stretcher", archedStretcher(), map[string]int{"plane face": 2, "plane edge": 3, "extruded edge": 1, "plane end": 2, "extruded side inside": 1}},
		{"stool seat", stoolSeat(), map[string]int{"plane face": 2, "cylinder side": 1, "free face": 1, "extruded side inside": 1, "plane face inside": 1}},
		{"socket leg", socketLeg(), map[string]int{"plane end": 2, "cone side": 1, "extruded side inside": 1, "plane face inside": 1}},
		{"bent sheet", halfPipe(), map[string]int{"extruded face": 2, "plane face": 4}},
	} {
		got := roles(tc.shape)
		if fmt.Sprint(got) != fmt.Sprint(tc.want) {
			t.Errorf("%s: %v, want %v", tc.name, got, tc.want)
		}
	}
}

// TestAreasAgainstClosedForms: areas are those of the curves, not of facets.
func TestAreasAgainstClosedForms(t *testing.T) {
	top := 12.0
	frustum := solid.Cylinder(geom.V3(0, 0, 0), geom.V3(0, 0, 1), 20, 420, solid.NoTag, solid.CylinderOptions{Facets: 60, TopRadius: &top})
	for _, tc := range []struct {
		name  string
		shape solid.Shape
		want  map[string]float64
	}{
		{"bored block", solid.Difference(block(0, 0, 0, 100, 50, 20), solid.Cylinder(geom.V3(40, 25, -1), geom.V3(0, 0, 1), 15, 30, 0, solid.CylinderOptions{Facets: 60})),
			map[string]float64{"plane-1": 5000 - math.Pi*225, "plane-2": 5000 - math.Pi*225, "plane-3": 2000, "plane-5": 1000, "round-1": 2 * math.Pi * 15 * 20}},
		{"frustum", frustum, map[string]float64{"plane-1": math.Pi * 400, "plane-2": math.Pi * 144, "cone-1": math.Pi * 32 * math.Hypot(420, 8)}},
		// A cylinder cut by a plane at 45 degrees through its axis at height 60.
		{"slanted bar", solid.Cylinder(geom.V3(0, 0, 0), geom.V3(0, 0, 1), 20, 120, 0, solid.CylinderOptions{Facets: 72}).Below(geom.PlaneAt(geom.V3(0, 0, 60), geom.V3(1, 0, 1)), 0),
			map[string]float64{"plane-1": math.Pi * 400 * math.Sqrt2, "plane-2": math.Pi * 400, "round-1": 2 * math.Pi * 20 * 60}},
	} {
		m := Member{ID: "it", Solid: NewSolid(meshed(t, tc.shape))}
		for _, chord := range []float64{0.02, 0.2} {
			for _, sf := range m.Surfaces(chord) {
				if want, ok := tc.want[sf.Name]; ok && math.Abs(sf.Area-want) > 2e-6*want {
					t.Errorf("%s, chord %g: %s measures %.6f mm², want %.6f", tc.name, chord, sf.Name, sf.Area, want)
				}
			}
		}
	}
}

func TestOppositeOfABentSheet(t *testing.T) {
	s := NewSolid(meshed(t, halfPipe()))
	a, b := slices.Index(s.Names, "round-1"), slices.Index(s.Names, "round-2")
	if s.Opposite[a] != b || s.Opposite[b] != a {
		t.Errorf("opposites %v of %v", s.Opposite, s.Names)
	}
}

func TestSolidsMoveInward(t *testing.T) {
	for name, shape := range models() {
		s := NewSolid(meshed(t, shape))
		m := Member{ID: "it", Solid: s, Place: geom.World()}
		d := make([]float64, len(s.Names))
		for i := range d {
			d[i] = 0.6
		}
		in, err := m.Inset(d)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		was, is := m.Surfaces(0.02), in.Surfaces(0.02)
		for i := range was {
			if was[i].Name != is[i].Name || was[i].Kind != is[i].Kind || was[i].Role != is[i].Role || was[i].Closed != is[i].Closed {
				t.Errorf("%s: %s became %s", name, was[i].Name, is[i].Name)
			}
			if was[i].Kind == Plane && was[i].Frame.X != is[i].Frame.X {
				t.Errorf("%s: the chart of %s turned", name, was[i].Name)
			}
		}
		checkCharts(t, in, 0.02)
		body, err := in.Body(0)
		if err != nil {
			t.Fatal(err)
		}
		k, err := testKernel(t).Mesh(context.Background(), body)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		v, err := in.Volume()
		if err != nil || math.Abs(v-k.Volume) > 1e-5*v {
			t.Errorf("%s: volume %.6g, by the kernel %.6g (%v)", name, v, k.Volume, err)
		}
		tags := map[solid.Tag]bool{}
		for _, x := range k.Tags {
			tags[x] = true
		}
		if len(tags) != len(was) {
			t.Errorf("%s: %d tags for %d surfaces", name, len(tags), len(was))
		}
	}
}

// stl writes what the kernel makes of shapes to a file, in mm divided by unit.
func stl(t testing.TB, unit float64, shapes ...solid.Shape) []byte {
	t.Helper()
	var b bytes.Buffer
	m := mesh.Body{Name: "it"}
	for _, s := range shapes {
		k, err := testKernel(t).Mesh(context.Background(), s)
		if err != nil {
			t.Fatal(err)
		}
		base := int32(len(m.Vertices))
		for _, v := range k.Vertices {
			m.Vertices = append(m.Vertices, v.Scale(1/unit))
		}
		for _, x := range k.Triangles {
			m.Triangles = append(m.Triangles, [3]int32{x[0] + base, x[1] + base, x[2] + base})
		}
	}
	if err := mesh.WriteSTL(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// with resolves a piece that finds its files in a map.
func with(t testing.TB, text string, files map[string][]byte) (*Piece, []string, error) {
	t.Helper()
	d, err := Parse("test.yaml", []byte(text))
	if err != nil {
		return nil, nil, err
	}
	d.Open = func(name string) ([]byte, error) {
		if data, ok := files[name]; ok {
			return data, nil
		}
		return nil, fs.ErrNotExist
	}
	p, found, err := d.Resolve(nil)
	var codes []string
	for _, f := range found {
		codes = append(codes, f.Code)
	}
	return p, codes, err
}

// TestNativeMembersComeBackAsThemselves: what a piece file describes, meshed and
// read back, is described alike.
func TestNativeMembersComeBackAsThemselves(t *testing.T) {
	native, err := read(head+`members:
  top:
    board: {ellipse: {length: 700, width: 340}, thickness: 22}
  shelf:
    board:
      rectangle: {length: 500, width: 220}
      thickness: 18
      cutouts: [{circle: {diameter: 40}, at: [100, 0]}, {rounded: {length: 90, width: 24}, at: [-80, 20]}]
  slab:
    board: {rectangle: {length: 600, width: 300, corner: 40}, thickness: 19}
  leg:
    board: {taper: {length: 540, from: 60, to: 35, keep: lower, bow: 12, bow_edge: upper}, thickness: 24}
  hexagon:
    board: {polygon: {sides: 6, across: 90}, thickness: 40}
  post:
    turning: {cone: {low: 28, high: 38, length: 430}}
  bar:
    turning: {cylinder: {diameter: 25, length: 300}}
  spindle:
    turning:
      profile: [[20, 0], [16, 100], {arc: [16, 200], sag: 3}, [12, 300]]
`, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range native.Members {
		t.Run(want.ID, func(t *testing.T) {
			body, err := want.Body(0.02)
			if err != nil {
				t.Fatal(err)
			}
			// Askew in the file, which is in inches and has y for up.
			f := askew
			text := head + "members:\n  it:\n    solid: {file: it.stl, unit: in, up: y}\n"
			p, _, err := with(t, text, map[string][]byte{"it.stl": stl(t, 25.4, body.At(f))})
			if err != nil {
				t.Fatal(err)
			}
			got := p.Members[0]
			if (got.Board != nil) != (want.Board != nil) || (got.Turning != nil) != (want.Turning != nil) {
				t.Fatalf("taken for a %s: %s", got.Source.As, got.Source.Note)
			}
			a, b := want.Surfaces(0.02), got.Surfaces(0.02)
			if len(a) != len(b) {
				t.Fatalf("%d surfaces, want %d", len(b), len(a))
			}
			areas := func(ss []Surface) (out []float64) {
				for _, s := range ss {
					out = append(out, s.Area)
				}
				slices.Sort(out)
				return out
			}
			x, y := areas(a), areas(b)
			for i := range x {
				if math.Abs(x[i]-y[i]) > 1e-3*x[i] {
					t.Errorf("areas %v, want %v", y, x)
					break
				}
			}
			if want.Board != nil && math.Abs(got.Board.Thickness-want.Board.Thickness) > 1e-3 {
				t.Errorf("thickness %.6f, want %.6f", got.Board.Thickness, want.Board.Thickness)
			}
			v, err := got.Volume()
			w, _ := want.Volume()
			if err != nil || math.Abs(v-w) > 1e-3*w {
				t.Errorf("volume %.6g, want %.6g (%v)", v, w, err)
			}
			// The member stands where the file has it, turned upright.
			up, _ := upright("y")
			in, err := testKernel(t).Mesh(context.Background(), mustBody(t, got).At(got.Place))
			if err != nil {
				t.Fatal(err)
			}
			out, err := testKernel(t).Mesh(context.Background(), body.At(f).At(up))
			if err != nil {
				t.Fatal(err)
			}
			if d := max(in.Bounds.Min.Dist(out.Bounds.Min), in.Bounds.Max.Dist(out.Bounds.Max)); d > 0.06 {
				t.Errorf("it stands at %v, want %v", in.Bounds, out.Bounds)
			}
		})
	}
}

func mustBody(t testing.TB, m Member) solid.Shape {
	t.Helper()
	s, err := m.Body(0.02)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestSolidsStandWhereTheyAreTold: copies of all kinds carry the mesh to where
// at, axes, mirror and places say.
func TestSolidsStandWhereTheyAreTold(t *testing.T) {
	data := stl(t, 1, socketLeg(), block(100, 0, 0, 130, 20, 10))
	p, codes, err := with(t, head+`members:
  leg:
    solid: {file: "parts/it.stl", part: body-1, unit: mm}
    at: [200, 100, 0]
    axes: {x: +y, y: -x}
    mirror: [x, y]
  foot:
    solid: {file: "parts/it.stl", part: body-1.2, unit: mm, as: solid}
    repeat:
      places:
        - {at: [0, 0, 0]}
        - {at: [5, 6, 7], axes: {x: +y, y: -x}}
  ring:
    solid: {file: "parts/it.stl", part: body-1, unit: mm}
    repeat: {radial: 3}
    at: [300, 0, 0]
`, map[string][]byte{"parts/it.stl": data})
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Members) != 9 || len(codes) != 0 {
		t.Fatalf("%d members, findings %v", len(p.Members), codes)
	}
	drawn := socketLeg().At(geom.FrameFromXZ(geom.V3(200, 100, 0), geom.V3(0, 1, 0), geom.V3(0, 0, 1)))
	k := testKernel(t)
	first, err := k.Mesh(context.Background(), drawn)
	if err != nil {
		t.Fatal(err)
	}
	mirror := []geom.Vec3{{X: 1, Y: 1}, {X: -1, Y: 1}, {X: 1, Y: -1}, {X: -1, Y: -1}}
	for i, s := range mirror {
		m := p.Members[i]
		if m.Solid == nil || m.Mirrored != (i == 1 || i == 2) {
			t.Fatalf("%s: %+v", m.ID, m.Source)
		}
		got, err := k.Mesh(context.Background(), mustBody(t, m).At(m.Place))
		if err != nil {
			t.Fatal(err)
		}
		want := geom.EmptyBox3()
		for _, v := range first.Vertices {
			want = want.Add(geom.V3(v.X*s.X, v.Y*s.Y, v.Z))
		}
		if d := max(want.Min.Dist(got.Bounds.Min), want.Max.Dist(got.Bounds.Max)); d > 1e-3 || math.Abs(got.Volume-first.Volume) > 1e-5*first.Volume {
			t.Errorf("%s stands at %v, want %v; volume %.6g, want %.6g", m.ID, got.Bounds, want, got.Volume, first.Volume)
		}
		if s := m.Solid; !slices.Equal(s.Names, p.Members[0].Solid.Names) {
			t.Errorf("%s has other names: %v", m.ID, s.Names)
		}
		checkCharts(t, m, 0.02)
	}
	box := func(i int) geom.Box3 {
		m, err := k.Mesh(context.Background(), mustBody(t, p.Members[i]).At(p.Members[i].Place))
		if err != nil {
			t.Fatal(err)
		}
		return m.Bounds
	}
	if b := box(4); b.Min.Dist(geom.V3(100, 0, 0)) > 1e-4 || b.Max.Dist(geom.V3(130, 20, 10)) > 1e-4 {
		t.Errorf("foot-1 stands at %v", b)
	}
	if b := box(5); b.Min.Dist(geom.V3(-15, 106, 7)) > 1e-4 || b.Max.Dist(geom.V3(5, 136, 17)) > 1e-4 {
		t.Errorf("foot-2 stands at %v", b)
	}
	if a, b := p.Members[6].Place.Origin.XY().Len(), p.Members[7].Place.Origin.XY().Len(); math.Abs(a-b) > 1e-9 {
		t.Errorf("the ring is not round: %g, %g", a, b)
	}
}

func TestReadSolidsTellsEveryPart(t *testing.T) {
	open := func() []byte { // a box without its lid, 3 m wide
		var b bytes.Buffer
		m, err := testKernel(t).Mesh(context.Background(), block(0, 0, 0, 100, 50, 20))
		if err != nil {
			t.Fatal(err)
		}
		var kept [][3]int32
		for _, x := range m.Triangles {
			if m.Vertices[x[0]].Z+m.Vertices[x[1]].Z+m.Vertices[x[2]].Z < 59 {
				kept = append(kept, x)
			}
		}
		// A bent border, so that it is no flat hole that is simply closed.
		v := slices.Clone(m.Vertices)
		for i := range v {
			if v[i].Z > 1 && v[i].X > 1 {
				v[i].Z += 15 * v[i].Y / 50
			}
		}
		if err := mesh.WriteSTL(&b, mesh.Body{Name: "it", Vertices: v, Triangles: kept}); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}()
	if _, err := ReadSolids("it.stl", open, ReadOptions{}); err == nil || !strings.Contains(err.Error(), ErrNoUnit.Error()) {
		t.Errorf("without a unit: %v", err)
	}
	got, err := ReadSolids("it.stl", open, ReadOptions{Unit: mesh.Centimetre})
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 1 || got[0].Solid != nil || got[0].Shell.Solid() {
		t.Fatalf("an open box came back as %+v", got)
	}
	text := FaultText(got[0].Shell.Faults[0], got[0].Unit)
	if !strings.Contains(text, "open along 4 edges") || !strings.Contains(text, "cm in the file") || FaultRemedy(got[0].Shell.Faults[0]) == "" {
		t.Error(text)
	}
	if _, _, err := with(t, head+"members:\n  it:\n    solid: {file: it.stl, unit: cm}\n", map[string][]byte{"it.stl": open}); err == nil || !strings.Contains(err.Error(), "test.yaml:7:19: it cannot be made of it.stl: it is open along") {
		t.Errorf("in a piece: %v", err)
	}
	if _, err := ReadSolids("it.stl", open[:90], ReadOptions{Unit: mesh.Millimetre}); err == nil {
		t.Error("a file cut short was read")
	}
	several, err := ReadSolids("it.stl", stl(t, 1, block(0, 0, 0, 200, 50, 20), block(300, 0, 0, 320, 20, 600)), ReadOptions{Unit: mesh.Millimetre})
	if err != nil || len(several) != 2 || several[0].Part == several[1].Part {
		t.Fatalf("%d parts, %v", len(several), err)
	}
	for _, b := range several {
		if b.Member.Board == nil || b.Member.Source.As != "board" || b.Solid == nil || b.Unit != mesh.Millimetre {
			t.Errorf("%s: %+v", b.Part, b.Member.Source)
		}
	}
}

func TestFindingsAboutSolids(t *testing.T) {
	coarse := solid.Difference(block(0, 0, 0, 300, 200, 20), solid.Cylinder(geom.V3(100, 100, 10), geom.V3(0, 0, 1), 60, 40, 0, solid.CylinderOptions{Facets: 24}))
	files := map[string][]byte{"it.stl": stl(t, 1, coarse)}
	_, codes, err := with(t, head+"members:\n  it:\n    solid: {file: it.stl, unit: mm, as: solid, sha256: "+strings.Repeat("0a", 32)+"}\n", files)
	if err != nil || !slices.Equal(codes, []string{"solid-changed", "coarse-facets"}) && !slices.Equal(codes, []string{"coarse-facets", "solid-changed"}) {
		t.Errorf("%v, %v", codes, err)
	}
}

// TestFilesOfParts keeps the files with solids that other tests read.
// GOLDEN=update writes them.
func TestFilesOfParts(t *testing.T) {
	foot := solid.Difference(block(0, 0, 0, 100, 40, 60), block(20, 10, 30, 80, 30, 61), block(-1, -1, -1, 12, 41, 8))
	threeMF := func(b mesh.Body) []byte {
		var w bytes.Buffer
		if _, err := (mesh.Document{Bodies: []mesh.Body{b}, Items: []mesh.Item{{Frame: geom.World()}}}).WriteTo(&w); err != nil {
			t.Fatal(err)
		}
		return w.Bytes()
	}
	box, err := testKernel(t).Mesh(context.Background(), block(0, 0, 0, 100, 40, 20))
	if err != nil {
		t.Fatal(err)
	}
	// A box one of whose upper corners has been drawn down through its floor.
	crossed := mesh.Body{Name: "crossed", Vertices: slices.Clone(box.Vertices), Triangles: box.Triangles}
	for i, v := range crossed.Vertices {
		if v == geom.V3(100, 40, 20) {
			crossed.Vertices[i] = geom.V3(40, 20, -30)
		}
	}
	var cross bytes.Buffer
	if err := mesh.WriteSTL(&cross, crossed); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string][]byte{
		"foot.stl":     stl(t, 25.4, foot, block(200, 0, 0, 240, 40, 20)),
		"it.3mf":       threeMF(mesh.Body{Name: "Box", Vertices: box.Vertices, Triangles: box.Triangles}),
		"crossing.stl": cross.Bytes(),
	} {
		name = filepath.Join("testdata", "parts", name)
		if os.Getenv("GOLDEN") == "update" {
			if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(name, want, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		got, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s is not what it should be; GOLDEN=update writes it", name)
		}
	}
}

// TestDocumentedSolidResolves reads the block of docs/piece-file.md that shows
// a solid.
func TestDocumentedSolidResolves(t *testing.T) {
	data, err := os.ReadFile("../../docs/piece-file.md")
	if err != nil {
		t.Fatal(err)
	}
	_, part, ok := strings.Cut(string(data), "### Solids drawn elsewhere")
	if !ok {
		t.Fatal("the section is not there")
	}
	_, part, _ = strings.Cut(part, "```\n")
	block, _, ok := strings.Cut(part, "```")
	if !ok {
		t.Fatal("the block does not end")
	}
	d, err := Parse("docs/piece-file.md", []byte(head+block))
	if err != nil {
		t.Fatal(err)
	}
	d.Open = onlyFoot
	p, found, err := d.Resolve(nil)
	if err != nil || len(found) > 0 || len(p.Members) != 2 {
		t.Errorf("%d members, %v, %v", len(p.Members), found, err)
	}
}
