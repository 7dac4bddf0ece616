package joint

import (
	"context"
	"math"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/surface"
)

// meshed is a member as its own triangle mesh, whose faces are the member's
// surfaces in their order.
func meshed(t testing.TB, m piece.Member, chord float64) *surface.Solid {
	t.Helper()
	body, err := m.Body(chord)
	if err != nil {
		t.Fatal(err)
	}
	mesh, err := kernel.Mesh(context.Background(), body)
	if err != nil {
		t.Fatal(err)
	}
	s := &surface.Solid{Vertices: mesh.Vertices, Triangles: mesh.Triangles}
	s.Faces = make([]surface.Face, len(m.Surfaces(chord)))
	for i, tag := range mesh.Tags {
		s.Of = append(s.Of, int32(tag))
		s.Faces[tag].Triangles = append(s.Faces[tag].Triangles, int32(i))
	}
	return s
}

// asMesh is the form of a member measured by its triangles.
func asMesh(t testing.TB, m piece.Member, chord float64) *form {
	t.Helper()
	m.Solid, m.Board, m.Turning, m.EndCuts = &piece.Solid{Shape: meshed(t, m, chord)}, nil, nil, nil
	f, err := formOf(&m, chord)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// TestMeshFormAgrees: a member measured by its triangles and from its formulas
// is the same, but for the chord.
func TestMeshFormAgrees(t *testing.T) {
	const chord = 0.01
	members := shapes()
	meshes := make([]*surface.Solid, len(members))
	for i, m := range members {
		meshes[i] = meshed(t, m, chord)
	}
	inner := 0
	rapid.Check(t, func(t *rapid.T) {
		i := rapid.IntRange(0, len(members)-1).Draw(t, "member")
		m := members[i]
		m.Place = motion(t)
		exact, err := formOf(&m, chord)
		if err != nil {
			t.Fatal(err)
		}
		m.Solid, m.Board, m.Turning, m.EndCuts = &piece.Solid{Shape: meshes[i]}, nil, nil, nil
		f, err := formOf(&m, chord)
		if err != nil {
			t.Fatal(err)
		}
		frac := func(name string) float64 { return rapid.Float64Range(0, 1).Draw(t, name) }
		b := newMeshForm(meshes[i]).nodes[0].box
		r := rapid.Uint64().Draw(t, "point") // spread by three odd numbers, as drawn fractions crowd at 0
		part := func(k uint64) float64 { return float64(r*k>>11) / (1 << 53) }
		p := m.Place.Point(b.Min.Add(geom.V3(b.Size().X*part(0x9e3779b97f4a7c15), b.Size().Y*part(0xc2b2ae3d27d4eb4f), b.Size().Z*part(0x165667b19e3779f9))))
		z, a := 2*frac("dz")-1, 2*math.Pi*frac("da")
		s, c := math.Sincos(a)
		d := geom.V3(c*math.Sqrt(1-z*z), s*math.Sqrt(1-z*z), z)
		clear := true // of the surface
		for _, o := range []geom.Vec3{{X: 1}, {Y: 1}, {Z: 1}} {
			for _, k := range []float64{-3 * chord, 3 * chord} {
				clear = clear && exact.contains(p.Add(m.Place.Dir(o.Scale(k)))) == exact.contains(p)
			}
		}
		if !clear {
			return
		}
		if exact.contains(p) != f.contains(p) {
			t.Fatalf("%s: %v inside: %v by formula, %v by triangles", m.ID, m.Place.Local(p), exact.contains(p), f.contains(p))
		}
		if !f.contains(p) {
			return
		}
		inner++
		l, _ := exact.exit(p, d)
		k, surface := f.exit(p, d)
		// A ray nearly along the surface may leave by a facet elsewhere.
		end := p.Add(d.Scale(k))
		outside := exact.contains(p.Add(d.Scale(k-0.2))) && exact.contains(p.Add(d.Scale(k+0.2)))
		if math.Abs(l-k) > 0.2 && outside || surface < 0 {
			t.Errorf("%s: leaves at %v by formula, at %v by face %d", m.ID, l, k, surface)
		}
		if sf := members[i].Surfaces(chord)[surface]; sf.Point(sf.Chart(m.Place.Local(end))).Dist(m.Place.Local(end)) > 2*chord {
			t.Errorf("%s: left by %s at %v, which is not on it", m.ID, sf.Name, m.Place.Local(end))
		}
		long := min(l, 30) * 0.8
		x, y := exact.lateral(p, d, 0, long, 40), f.lateral(p, d, 0, long, 40)
		// The triangles are measured exactly, the formulas at stations 2 mm
		// apart by 32 rays: these may only find more.
		if x > 0 && x < 40 && (y > x+2*chord+0.005*x || y < 0) {
			t.Errorf("%s: %v beside by formula, %v by triangles", m.ID, x, y)
		}
		for _, r := range []float64{1, 4} {
			l0, m0, _ := exact.ahead(p, d, r)
			l1, m1, _ := f.ahead(p, d, r)
			if l0 < 0 || l1 < 0 {
				continue
			}
			grazes := m0-l0 > 3*r // some ray runs nearly along a surface
			if !grazes && (math.Abs(l0-l1) > 0.2 || math.Abs(m0-m1) > 0.2) {
				t.Errorf("%s: ahead %v to %v by formula, %v to %v by triangles", m.ID, l0, m0, l1, m1)
			}
		}
	})
	if inner < 20 {
		t.Errorf("only %d points lay inside", inner)
	}
}

// winding is how often the surface winds about a point: the sum of the solid
// angles of its triangles over 4π.
//
// Reference: van Oosterom and Strackee, IEEE Trans. Biomed. Eng. 30(2), 1983.
func winding(s *surface.Solid, p geom.Vec3) float64 {
	sum := 0.0
	for _, t := range s.Triangles {
		a, b, c := s.Vertices[t[0]].Sub(p), s.Vertices[t[1]].Sub(p), s.Vertices[t[2]].Sub(p)
		la, lb, lc := a.Len(), b.Len(), c.Len()
		sum += 2 * math.Atan2(a.Dot(b.Cross(c)), la*lb*lc+a.Dot(b)*lc+b.Dot(c)*la+c.Dot(a)*lb)
	}
	return sum / (4 * math.Pi)
}

// away is how far a point lies from the nearest triangle.
func away(s *surface.Solid, p geom.Vec3) float64 {
	least := math.Inf(1)
	for _, t := range s.Triangles {
		a, b, c := s.Vertices[t[0]], s.Vertices[t[1]], s.Vertices[t[2]]
		f := geom.FrameFromXZ(a, b.Sub(a), b.Sub(a).Cross(c.Sub(a)))
		q, tri := f.Local(p), geom.Polygon{{}, f.Local(b).XY(), f.Local(c).XY()}
		d := math.Abs(q.Z)
		if !tri.Contains(q.XY()) {
			d = math.Hypot(d, tri.Distance(q.XY()))
		}
		least = min(least, d)
	}
	return least
}

// TestMeshHolds: points straight below corners, sides and level with faces are
// where the solid angles say; there rays meet no triangle, or two, or many.
func TestMeshHolds(t *testing.T) {
	for _, m := range shapes() {
		s := meshed(t, m, 0.2)
		f := newMeshForm(s)
		tested := 0
		for i := 0; i < len(s.Triangles); i += 1 + len(s.Triangles)/30 {
			a, b, c := f.corners(int32(i))
			for _, p := range []geom.Vec3{a, b, a.Lerp(b, 0.5), b.Lerp(c, 0.25), a.Add(b).Add(c).Scale(1.0 / 3)} {
				for _, dz := range []float64{-500, -7, -0.5, 0.5, 7, 500} {
					for _, dx := range []float64{0, 1, -3} {
						q := p.Add(geom.V3(dx, 0, dz))
						if away(s, q) < 1e-6 {
							continue // on the surface
						}
						w := winding(s, q)
						tested++
						if got := f.holds(q); got != (math.Round(w) == 1) {
							t.Errorf("%s: %v: inside %v, winding %v", m.ID, q, got, w)
						}
					}
				}
			}
		}
		if tested < 200 {
			t.Errorf("%s: only %d points tested", m.ID, tested)
		}
	}
}

// TestMeshLateral has the cases of TestLateral that are made of planes, which
// triangles measure as well, and a bar whose facets are known.
func TestMeshLateral(t *testing.T) {
	box := block("box", 60, 40, 100, geom.V3(0, 0, 50))
	rod := turning("rod", geom.World(), geom.V2(20, 0), geom.V2(20, 100))
	up, side := geom.V3(0, 0, 1), geom.V3(1, 0, 0)
	for _, tc := range []struct {
		m        piece.Member
		at, axis geom.Vec3
		from, to float64
		want     float64
		tol      float64
	}{
		{box, geom.V3(10, -4, 5), up, 0, 50, 16, 1e-9},
		{box, geom.V3(-30, 0, 45), side, 1, 50, 20, 1e-9},
		{box, geom.V3(-30, 0, 90), side, 1, 50, 10, 1e-9},
		{box, geom.V3(0, 0, 50), up, 10, 10, 20, 1e-9}, // one station
		{box, geom.V3(40, 0, 50), up, 0, 10, -1, 0},    // outside
		{box, geom.V3(0, 0, 50), up, 0, 60, -1, 0},     // comes out at the top
		{box, geom.V3(0, 0, -10), up, 0, 20, -1, 0},    // comes in at the bottom
		{rod, geom.V3(0, 0, 10), up, 0, 50, 20, 0.011},
		{rod, geom.V3(5, 3, 10), up, 0, 50, 20 - math.Hypot(5, 3), 0.011},
		{rod, geom.V3(0, 0, 50), side, 0, 12, 16, 0.02}, // √(20² - 12²)
	} {
		if got := asMesh(t, tc.m, 0.01).lateral(tc.at, tc.axis, tc.from, tc.to, 100); !near(got, tc.want, tc.tol) {
			t.Errorf("%s at %v along %v: %v, want %v", tc.m.ID, tc.at, tc.axis, got, tc.want)
		}
	}
}

func BenchmarkMeshForm(b *testing.B) {
	leg := turning("leg", geom.World(), geom.V2(18, 0), geom.V2(18, 60))
	vase := piece.NewTurning(geom.Path{Segs: []geom.Seg{geom.CubicTo(geom.V2(30, 0), geom.V2(70, 60), geom.V2(15, 180), geom.V2(35, 240))}}, piece.BreakAngle)
	leg.Turning = &vase
	s := meshed(b, leg, 0.015)
	m := leg
	m.Turning, m.Solid = nil, &piece.Solid{Shape: s}
	f, err := formOf(&m, 0.02)
	if err != nil {
		b.Fatal(err)
	}
	at, axis := geom.V3(4, 2, 100), geom.V3(0.3, 0.2, 1).Unit()
	report := func(b *testing.B) { b.ReportMetric(float64(len(s.Triangles)), "triangles") }
	b.Run("lateral", func(b *testing.B) {
		for b.Loop() {
			f.lateral(at, axis, 0.05, 20, 15)
		}
		report(b)
	})
	b.Run("ahead", func(b *testing.B) {
		for b.Loop() {
			f.ahead(at, axis, 4)
		}
		report(b)
	})
	b.Run("contains", func(b *testing.B) {
		for b.Loop() {
			f.contains(at)
		}
		report(b)
	})
	b.Run("plant", func(b *testing.B) {
		for b.Loop() {
			newMeshForm(s)
		}
		report(b)
	})
}
