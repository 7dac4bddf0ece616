package view_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"testing"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
	"groundwork/internal/solid"
	"groundwork/internal/view"

	"pgregory.net/rapid"
)

// Edges along the axes look shorter by this in an isometric view (ISO 5456-3).
var iso = math.Sqrt(2. / 3)

func box(x0, y0, z0, x1, y1, z1 float64) geom.Box3 {
	return geom.Box3{Min: geom.V3(x0, y0, z0), Max: geom.V3(x1, y1, z1)}
}

func mesh(t testing.TB, s solid.Shape) *solid.Mesh {
	t.Helper()
	m, err := theKernel(t).Mesh(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func boxPart(t testing.TB, id string, b geom.Box3) view.Part {
	return view.Part{ID: id, Mesh: mesh(t, solid.Box(b, 1))}
}

// prism is an outline in XZ with a depth along Y, a tag for every side.
func prism(t testing.TB, id string, depth float64, outline ...geom.Vec2) view.Part {
	t.Helper()
	l := solid.Loop{Points: outline}
	for i := range outline {
		l.Tags = append(l.Tags, solid.Tag(i+10))
	}
	// Local x, y, z to the world's X, Z, -Y.
	f := geom.Frame{Origin: geom.V3(0, depth, 0), X: geom.V3(1, 0, 0), Y: geom.V3(0, 0, 1), Z: geom.V3(0, -1, 0)}
	return view.Part{ID: id, Mesh: mesh(t, solid.Extrude([]solid.Loop{l}, 0, depth, 1, 2).At(f))}
}

type tally struct {
	part   string // "" for all
	class  view.Class
	hidden bool
}

func length(d *view.Drawing, want tally) float64 {
	var sum float64
	for _, l := range d.Lines {
		if (want.part == "" || l.Part == want.part) && (want.class < 0 || l.Class == want.class) && l.Hidden == want.hidden {
			sum += l.Length()
		}
	}
	return sum
}

const any = view.Class(-1)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.Abs(got-want) > tol || math.IsNaN(got) {
		t.Errorf("%s is %g, want %g", what, got, want)
	}
}

// All from the edges of the solids, counted by hand.
func TestLinesByHand(t *testing.T) {
	ring := func(n int) (profile []geom.Vec2, tags []solid.Tag) {
		for i := range n {
			s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			profile, tags = append(profile, geom.V2(50+10*c, 10*s)), append(tags, 7)
		}
		return profile, tags
	}
	profile, tags := ring(24)
	turning := view.Part{ID: "ring", Mesh: mesh(t, solid.Revolve(profile, tags, 96))}
	facets := 96 * 2 * math.Sin(math.Pi/96) / (2 * math.Pi) // of a circle's length that its polygon has
	board := func(hole solid.Shape) view.Part {
		return view.Part{ID: "board", Mesh: mesh(t, solid.Difference(solid.Box(box(-50, 0, -50, 50, 10, 50), 1), hole))}
	}
	behind := boxPart(t, "behind", box(-10, 20, -30, 10, 30, 30))
	round := solid.Cylinder(geom.V3(0, -1, 0), geom.V3(0, 1, 0), 20, 12, solid.NoTag, solid.CylinderOptions{Facets: 64})
	L := []geom.Vec2{{X: 0, Y: 0}, {X: 20, Y: 0}, {X: 20, Y: 10}, {X: 10, Y: 10}, {X: 10, Y: 20}, {X: 0, Y: 20}}
	cases := []struct {
		name  string
		parts []view.Part
		dir   view.Direction
		want  map[tally]float64
		tol   float64
	}{
		{"a cube has 9 edges to be seen: 6 round it and 3 within", []view.Part{boxPart(t, "a", box(0, 0, 0, 10, 10, 10))}, view.Isometric,
			map[tally]float64{{"", view.Outline, false}: 60 * iso, {"", view.Crease, false}: 30 * iso, {"", any, true}: 30 * iso}, 1e-9},
		{"a cube from the front is a square, with another behind it", []view.Part{boxPart(t, "a", box(0, 0, 0, 10, 10, 10))}, view.Front,
			map[tally]float64{{"", view.Outline, false}: 40, {"", any, false}: 40, {"", any, true}: 40}, 1e-9},
		{"of 18 edges of an L-block with its steps to the eye 3 are hidden", []view.Part{prism(t, "l", 10, L...)}, view.Isometric,
			map[tally]float64{{"", view.Outline, false}: 100 * iso, {"", view.Crease, false}: 70 * iso, {"", any, true}: 50 * iso}, 1e-9},
		// From the left the front with its six edges, the top and the left side are seen
		// whole; of the tread, in the shadow of the upper step, a corner at the front and
		// with it the whole edge at its end.
		{"an L-block from behind its steps", []view.Part{prism(t, "l", 10, L...)}, view.Direction{Toward: geom.V3(1, 1, -1), Up: geom.V3(0, 0, 1)},
			map[tally]float64{{"", any, false}: (80 + 4*10 + 30) * iso, {"", any, true}: (220 - 150) * iso}, 1e-9},
		{"a turned ring along its axis: two circles and no line on its round", []view.Part{turning}, view.Top,
			map[tally]float64{{"", view.Outline, false}: 2 * math.Pi * (60 + 40) * facets, {"", any, false}: 2 * math.Pi * (60 + 40) * facets}, 1e-6},
		{"boxes flush beside one another: a thin line between them", []view.Part{boxPart(t, "a", box(0, 0, 0, 10, 10, 10)), boxPart(t, "b", box(10, 0, 0, 20, 10, 10))}, view.Isometric,
			map[tally]float64{{"", view.Outline, false}: 80 * iso, {"", view.Seam, false}: 20 * iso, {"a", view.Crease, false}: 30 * iso, {"b", view.Crease, false}: 30 * iso, {"", any, true}: (240 - 160) * iso}, 1e-9},
		{"a box on a larger one: its foot is a thin line", []view.Part{boxPart(t, "a", box(-20, -20, 0, 20, 20, 5)), boxPart(t, "b", box(-5, -5, 5, 5, 5, 15))}, view.Isometric,
			map[tally]float64{{"b", view.Seam, false}: 20 * iso, {"b", view.Outline, false}: 40 * iso, {"b", view.Crease, false}: 30 * iso, {"a", any, false}: (6*40 + 3*5) * iso}, 0.1}, // flush begins a little above it
		{"a box through a square hole: its long sides for as long as the hole is high", []view.Part{board(solid.Box(box(-20, -1, -20, 20, 11, 20), 2)), behind}, view.Front,
			map[tally]float64{{"behind", any, false}: 80, {"board", any, false}: 400 + 160, {"behind", any, true}: 2*160 - 80}, 1e-5},
		{"a box through a round hole", []view.Part{board(round), behind}, view.Front,
			map[tally]float64{{"behind", any, false}: 4 * math.Sqrt(300), {"board", view.Crease, false}: 0}, 0.1},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			d := make3(t, c.parts, nil, c.dir, view.Options{Hidden: true})
			for want, l := range c.want {
				near(t, fmt.Sprint(want), length(d, want), l, c.tol)
			}
		})
	}
}

func TestLinesAreJoined(t *testing.T) {
	d := make3(t, []view.Part{boxPart(t, "a", box(0, 0, 0, 10, 10, 10))}, nil, view.Isometric, view.Options{})
	var outlines, creases int
	for _, l := range d.Lines {
		switch l.Class {
		case view.Outline:
			outlines++
			if len(l.Points) != 7 || l.Points[0] != l.Points[6] {
				t.Errorf("the outline of a cube is %v, want a closed hexagon", l.Points)
			}
		case view.Crease:
			creases++
		}
	}
	if outlines != 1 || creases != 3 {
		t.Errorf("%d outlines and %d creases, want 1 and 3", outlines, creases)
	}
}

func TestRegionsByHand(t *testing.T) {
	area := func(d *view.Drawing, part string) float64 {
		for _, r := range d.Regions {
			if r.Part == part {
				return r.Area.Area()
			}
		}
		t.Fatalf("no region of %s", part)
		return 0
	}
	cube := boxPart(t, "cube", box(0, 0, 0, 10, 10, 10))
	// A cube of side a looks like a regular hexagon of area √3 a².
	near(t, "a cube", area(make3(t, []view.Part{cube}, nil, view.Isometric, view.Options{}), "cube"), 100*math.Sqrt(3), 1e-6)

	board := view.Part{ID: "board", Mesh: mesh(t, solid.Difference(solid.Box(box(-50, 0, -50, 50, 10, 50), 1), solid.Box(box(-20, -1, -20, 20, 11, 20), 2)))}
	d := make3(t, []view.Part{board, boxPart(t, "behind", box(-10, 20, -30, 10, 30, 30))}, nil, view.Front, view.Options{})
	near(t, "a board with a hole", area(d, "board"), 10000-1600, 1e-6)
	near(t, "what is seen through it", area(d, "behind"), 20*40, 1e-6)

	// A pin halfway into a block: which lies before the other depends on the place.
	block := view.Part{ID: "block", Mesh: mesh(t, solid.Difference(solid.Box(box(0, 0, 0, 30, 30, 30), 1), solid.Box(box(10, 10, 10, 20, 20, 40), 2)))}
	pin := boxPart(t, "pin", box(10, 10, 15, 20, 20, 45))
	d = make3(t, []view.Part{block, pin}, nil, view.Front, view.Options{})
	near(t, "the block", area(d, "block"), 900, 1e-6)
	near(t, "the pin", area(d, "pin"), 150, 1e-6)
	d = make3(t, []view.Part{block, pin}, nil, view.Isometric, view.Options{})
	// All of the 15 that stand out of the block, and nothing of the others.
	near(t, "the pin from above", area(d, "pin"), (100+2*150)/math.Sqrt(3), 10*view.Touch) // along 30 mm of border
}

func TestLabelPlace(t *testing.T) {
	board := view.Part{ID: "board", Mesh: mesh(t, solid.Difference(solid.Box(box(-50, 0, -50, 50, 10, 50), 1), solid.Box(box(-20, -1, -20, 20, 11, 20), 2)))}
	d := make3(t, []view.Part{board, boxPart(t, "hidden", box(30, 20, 30, 40, 30, 40))}, nil, view.Front, view.Options{})
	at, clear, ok := d.LabelPlace("board")
	// The farthest place from both squares is in a corner of the frame, at the same
	// distance from two sides and the hole's corner: 30√2 - r√2 = r.
	most := 30 * math.Sqrt2 / (1 + math.Sqrt2)
	if !ok || clear < 0.74*most || clear > most+1e-9 || max(math.Abs(at.X), math.Abs(at.Y)) < 20 {
		t.Errorf("the place is %v, %g clear, %v; most is %g", at, clear, ok, most)
	}
	if _, _, ok := d.LabelPlace("hidden"); ok {
		t.Error("what is hidden has a place for a label")
	}
	if _, _, ok := d.LabelPlace("none"); ok {
		t.Error("what there is not has a place for a label")
	}
}

func TestSee(t *testing.T) {
	board := view.Part{ID: "board", Mesh: mesh(t, solid.Difference(solid.Box(box(-50, 0, -50, 50, 10, 50), 1), solid.Box(box(-20, -1, -20, 20, 11, 20), 2)))}
	d := make3(t, []view.Part{board}, nil, view.Front, view.Options{})
	for _, c := range []struct {
		p    geom.Vec3
		want bool
	}{
		{geom.V3(0, 100, 0), true},    // through the hole
		{geom.V3(30, 100, 30), false}, // behind the board
		{geom.V3(30, 0, 30), true},    // on it
		{geom.V3(30, 5, 30), false},   // in it
		{geom.V3(30, -5, 30), true},   // before it
		{geom.V3(300, 5, 30), true},   // beside it
	} {
		at, seen := d.See(c.p)
		if seen != c.want || at.Dist(geom.V2(c.p.X, c.p.Z)) > 1e-12 {
			t.Errorf("%v is seen: %v, at %v", c.p, seen, at)
		}
	}
}

func TestMotionGhostAndThread(t *testing.T) {
	a, b := boxPart(t, "a", box(0, 0, 0, 10, 10, 10)), boxPart(t, "b", box(0, 0, 0, 10, 10, 10))
	b.Motion = geom.V3(0, 20, 0)
	thread := view.Curve{Part: "b", Class: view.Thread, Points: []geom.Vec3{geom.V3(5, 5, 5), geom.V3(5, 25, 5)}}
	d := make3(t, []view.Part{a, b}, []view.Curve{thread}, view.Right, view.Options{Hidden: true})
	near(t, "the thread between", length(d, tally{"b", view.Thread, false}), 10, 1e-5)
	near(t, "the thread within", length(d, tally{"b", view.Thread, true}), 10, 1e-5)
	near(t, "the box that moved", length(d, tally{"b", view.Outline, false}), 40, 1e-9)
	d = make3(t, []view.Part{a, b}, nil, view.Front, view.Options{})
	near(t, "a box behind", length(d, tally{"b", any, false}), 0, 1e-9)
	a.Ghost = true
	d = make3(t, []view.Part{a, b}, nil, view.Front, view.Options{})
	near(t, "a box behind a ghost", length(d, tally{"b", any, false}), 40, 1e-9)
	near(t, "a ghost", length(d, tally{"a", any, false}), 40, 1e-9)
}

// scattered are boxes in cells of a lattice, some of them filling their cells, so
// that they touch, some turned within.
func scattered(t *rapid.T, tb testing.TB) []view.Part {
	var out []view.Part
	for i := range 8 {
		if rapid.IntRange(0, 3).Draw(t, "empty") == 0 {
			continue
		}
		o := geom.V3(float64(i&1)*10, float64(i>>1&1)*10, float64(i>>2)*10)
		s := solid.Box(box(o.X, o.Y, o.Z, o.X+10, o.Y+10, o.Z+10), 1)
		if rapid.Bool().Draw(t, "turned") { // within a ball of radius 5
			turn := rapid.Float64Range(0, math.Pi).Draw(t, "turn")
			x, z := geom.V3(math.Cos(turn), math.Sin(turn), 0), geom.V3(0, 0, 1)
			s = solid.Box(box(-3, -3, -2.5, 3, 3, 2.5), 1).At(geom.FrameFromXZ(o.Add(geom.V3(5, 5, 5)), x, z))
		}
		out = append(out, view.Part{ID: fmt.Sprint("box ", i), Mesh: mesh(tb, s)})
	}
	return out
}

func direction(t *rapid.T) view.Direction {
	if i := rapid.IntRange(0, 7).Draw(t, "view"); i < 7 {
		return []view.Direction{view.Front, view.Back, view.Left, view.Right, view.Top, view.Bottom, view.Isometric}[i]
	}
	f := rapid.Float64Range(0, 2*math.Pi).Draw(t, "round")
	h := rapid.Float64Range(-1.4, 1.4).Draw(t, "height")
	return view.Direction{Toward: geom.V3(math.Cos(f)*math.Cos(h), math.Sin(f)*math.Cos(h), -math.Sin(h)), Up: geom.V3(0, 0, 1)}
}

// struck reports whether a ray from a point to the eye meets a triangle farther
// off than a little (Möller and Trumbore, Fast, minimum storage ray/triangle
// intersection, 1997).
func struck(parts []view.Part, p, eye geom.Vec3) (first string, hit bool) {
	const little = 5e-3
	far := 0.0
	for _, part := range parts {
		m := part.Mesh
		o := p.Sub(part.Motion)
		for _, tri := range m.Triangles {
			a := m.Vertices[tri[0]]
			u, v := m.Vertices[tri[1]].Sub(a), m.Vertices[tri[2]].Sub(a)
			h := eye.Cross(v)
			det := u.Dot(h)
			if math.Abs(det) < 1e-9*u.Len()*v.Len() {
				continue
			}
			s := o.Sub(a)
			x := s.Dot(h) / det
			q := s.Cross(u)
			y := eye.Dot(q) / det
			if x < 0 || y < 0 || x+y > 1 {
				continue
			}
			if d := v.Dot(q) / det; d > little && (!hit || d > far) {
				first, hit, far = part.ID, true, d
			}
		}
	}
	return first, hit
}

// seen is what struck says of places round a point, if it says the same of all.
func seen(parts []view.Part, p geom.Vec3, dir view.Direction) (visible, sure bool) {
	eye := dir.Toward.Unit().Neg()
	f := geom.FrameFromZ(geom.Vec3{}, eye)
	var hits int
	for i := range 8 {
		// A point on an edge is just outside the body for some of them, or inside.
		s, c := math.Sincos(float64(i)*math.Pi/4 + 0.1)
		if _, hit := struck(parts, p.Add(f.X.Scale(2e-3*c)).Add(f.Y.Scale(2e-3*s)), eye); hit {
			hits++
		}
	}
	// Beside the edge some rays pass outside the body, and of a line that is seen
	// all of those, and those on the body's own side begin just below its surface
	// (within a little).
	return hits == 0, hits == 0 || hits == 8
}

func TestHiddenIsBehindSomething(t *testing.T) {
	samples, checked := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		parts, dir := scattered(rt, t), direction(rt)
		d := make3(t, parts, nil, dir, view.Options{Hidden: true})
		for _, p := range parts {
			// Its twelve edges: those at which it turns.
			var total float64
			for _, e := range boxEdges(p.Mesh) {
				a, b := d.Point(e[0]), d.Point(e[1])
				total += a.Dist(b)
				if a.Dist(b) < 0.1 {
					continue
				}
				for _, at := range []float64{0.137, 0.291, 0.553, 0.77, 0.941} {
					samples++
					q := e[0].Lerp(e[1], at)
					visible, sure := seen(parts, q, dir)
					if !sure {
						continue
					}
					checked++
					drawn, hidden := on(d, p.ID, d.Point(q), false), on(d, p.ID, d.Point(q), true)
					if visible && !drawn || !visible && !hidden {
						rt.Errorf("%s at %v: visible %v; drawn %v, drawn hidden %v", p.ID, q, visible, drawn, hidden)
					}
				}
			}
			got := length(d, tally{p.ID, any, false}) + length(d, tally{p.ID, any, true})
			if math.Abs(got-total) > 1e-4 { // points in line to 1e-5 mm are left out
				rt.Errorf("%s: %g mm of lines are drawn of %g", p.ID, got, total)
			}
		}
	})
	if checked < samples/10 || checked == 0 {
		t.Errorf("only %d of %d samples were plain", checked, samples)
	}
}

// boxEdges are the sides of a mesh of a box that are not diagonals.
func boxEdges(m *solid.Mesh) (out [][2]geom.Vec3) {
	normal := func(i int) geom.Vec3 {
		t := m.Triangles[i]
		return m.Vertices[t[1]].Sub(m.Vertices[t[0]]).Cross(m.Vertices[t[2]].Sub(m.Vertices[t[0]])).Unit()
	}
	for i, s := range m.Triangles {
		for j := range i {
			var common []geom.Vec3
			for _, c := range s {
				if slices.Contains(m.Triangles[j][:], c) {
					common = append(common, m.Vertices[c])
				}
			}
			if len(common) == 2 && normal(i).Dot(normal(j)) < 0.5 {
				out = append(out, [2]geom.Vec3{common[0], common[1]})
			}
		}
	}
	return out
}

// on reports whether a line of a part runs through a place in the image.
func on(d *view.Drawing, part string, q geom.Vec2, hidden bool) bool {
	for _, l := range d.Lines {
		if l.Part != part || l.Hidden != hidden {
			continue
		}
		for i := 1; i < len(l.Points); i++ {
			if geom.SegmentDistance(q, l.Points[i-1], l.Points[i]) < 1e-4 {
				return true
			}
		}
	}
	return false
}

// Turning everything, the eye too, changes nothing.
func TestTurned(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		parts, dir := scattered(rt, t), direction(rt)
		f := geom.FrameFromXZ(geom.V3(3, 4, 5),
			geom.V3(rapid.Float64Range(-1, 1).Draw(rt, "x"), 1, 0.3), geom.V3(0.2, rapid.Float64Range(-1, 1).Draw(rt, "y"), 1))
		turned := make([]view.Part, len(parts))
		for i, p := range parts {
			m := *p.Mesh
			m.Vertices = nil
			for _, v := range p.Mesh.Vertices {
				m.Vertices = append(m.Vertices, f.Point(v))
			}
			turned[i] = view.Part{ID: p.ID, Mesh: &m}
		}
		a := make3(t, parts, nil, dir, view.Options{Hidden: true})
		b := make3(t, turned, nil, view.Direction{Toward: f.Dir(dir.Toward), Up: f.Dir(dir.Up)}, view.Options{Hidden: true})
		for _, p := range parts {
			for _, hidden := range []bool{false, true} {
				if x, y := length(a, tally{p.ID, any, hidden}), length(b, tally{p.ID, any, hidden}); math.Abs(x-y) > 1e-6 {
					rt.Errorf("%s, hidden %v: %g mm, turned %g mm", p.ID, hidden, x, y)
				}
			}
		}
		for i, r := range a.Regions {
			if x, y := r.Area.Area(), b.Regions[i].Area.Area(); math.Abs(x-y) > 1e-3 {
				rt.Errorf("%s: %g mm², turned %g mm²", r.Part, x, y)
			}
		}
	})
}

// What is nearest to the eye at a place has it in its region, and the regions
// are apart.
func checkRegions(t *testing.T, parts []view.Part, d *view.Drawing, dir view.Direction, n int) {
	t.Helper()
	eye := dir.Toward.Unit().Neg()
	x := dir.Up.Unit().Cross(eye).Unit()
	y := eye.Cross(x)
	size := d.Bounds.Size()
	plain := 0
	for i := range n {
		// A lattice of low discrepancy, by the golden ratio.
		q := d.Bounds.Min.Add(geom.V2(size.X*(float64(i)+0.5)/float64(n), size.Y*math.Mod(float64(i)*0.6180339887, 1)))
		close := slices.ContainsFunc(d.Regions, func(r view.Region) bool { return len(r.Area) > 0 && r.Area.Distance(q) < 0.05 })
		if close {
			continue
		}
		plain++
		want, _ := struck(parts, x.Scale(q.X).Add(y.Scale(q.Y)).Sub(eye.Scale(1e5)), eye)
		var got string
		for _, r := range d.Regions {
			if r.Area.Contains(q) {
				if got != "" {
					t.Errorf("%v is in %s and %s", q, got, r.Part)
				}
				got = r.Part
			}
		}
		if got != want {
			t.Errorf("at %v %q is seen; it is in the region of %q", q, want, got)
		}
	}
	if plain < n/2 {
		t.Errorf("only %d of %d places are plain", plain, n)
	}
}

func TestRegions(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		parts, dir := scattered(rt, t), direction(rt)
		if len(parts) == 0 {
			return
		}
		checkRegions(t, parts, make3(t, parts, nil, dir, view.Options{}), dir, 40)
		if t.Failed() {
			rt.FailNow()
		}
	})
}

func TestRegionsOfHeron(t *testing.T) {
	a := apart(t, "heron-side-table", false)
	for _, at := range []float64{0, end(t, a, "glued")} {
		ps, _ := parts(a, at)
		for _, dir := range []view.Direction{view.Isometric, view.Front, {Toward: geom.V3(2, 3, 1), Up: geom.V3(0, 0, 1)}} {
			d := make3(t, ps, nil, dir, view.Options{})
			checkRegions(t, ps, d, dir, 200)
			for _, p := range ps { // a label's line ends in what is seen of its part
				at, clear, ok := d.LabelPlace(p.ID)
				if !ok || clear < 0.1 {
					continue
				}
				eye := dir.Toward.Unit().Neg()
				x := dir.Up.Unit().Cross(eye).Unit()
				if got, _ := struck(ps, x.Scale(at.X).Add(eye.Cross(x).Scale(at.Y)).Sub(eye.Scale(1e5)), eye); got != p.ID {
					t.Errorf("the mark of %s is on %q", p.ID, got)
				}
			}
		}
	}
}

func TestSameBytes(t *testing.T) {
	a := apart(t, "heron-side-table", false)
	ps, threads := parts(a, end(t, a, "glued"))
	svg := func() []byte {
		d := make3(t, ps, threads, view.Isometric, view.Options{Hidden: true})
		var b bytes.Buffer
		if err := draw.WriteSVG(&b, sheet(t, a, d, "twice", true)); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	once := svg()
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	if !bytes.Equal(once, svg()) {
		t.Error("the same parts give another drawing")
	}
}

func TestRefuses(t *testing.T) {
	good := boxPart(t, "a", box(0, 0, 0, 1, 1, 1))
	bad := *good.Mesh
	bad.Vertices = slices.Clone(bad.Vertices)
	bad.Vertices[3].Y = math.NaN()
	short := *good.Mesh
	short.Vertices = short.Vertices[:4]
	tagless := *good.Mesh
	tagless.Tags = nil
	for name, c := range map[string]struct {
		parts  []view.Part
		curves []view.Curve
		dir    view.Direction
	}{
		"twice the same ID":      {[]view.Part{good, good}, nil, view.Front},
		"no mesh":                {[]view.Part{{ID: "a"}}, nil, view.Front},
		"not a number":           {[]view.Part{{ID: "a", Mesh: &bad}}, nil, view.Front},
		"corners that are not":   {[]view.Part{{ID: "a", Mesh: &short}}, nil, view.Front},
		"no tags":                {[]view.Part{{ID: "a", Mesh: &tagless}}, nil, view.Front},
		"a curve without end":    {nil, []view.Curve{{Points: []geom.Vec3{{}, {X: math.Inf(1)}}}}, view.Front},
		"up is toward":           {[]view.Part{good}, nil, view.Direction{Toward: geom.V3(0, 0, -1), Up: geom.V3(0, 0, 1)}},
		"no direction":           {[]view.Part{good}, nil, view.Direction{Up: geom.V3(0, 0, 1)}},
		"direction not a number": {[]view.Part{good}, nil, view.Direction{Toward: geom.V3(math.NaN(), 0, 1), Up: geom.V3(0, 1, 0)}},
	} {
		if _, err := view.Make(context.Background(), theKernel(t), c.parts, c.curves, c.dir, view.Options{}); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	d := make3(t, nil, nil, view.Front, view.Options{})
	if len(d.Lines) != 0 || !d.Bounds.Empty() {
		t.Errorf("nothing is drawn as %v", d)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := view.Make(ctx, theKernel(t), []view.Part{good}, nil, view.Front, view.Options{}); err == nil {
		t.Error("goes on though it was called off")
	}
}
