package joint

import (
	"fmt"
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// form is a member as it is measured from within: exact where the member is
// made of planes and cones, within the chord where an outline or a profile is
// curved, and as its triangles are where it is a solid. It answers two
// questions: does a point lie inside, and where does a ray leave.
type form struct {
	place   geom.Frame
	box     geom.Box3 // world
	centre  geom.Vec3 // world; middle of the member's own box
	edges   []edge    // a board's outline and cut-outs
	low, up float64   // extent along the member's Z
	lowS    int       // surface at the low end: back or low-end
	upS     int
	profile []cone // a turning's side, low to high
	cuts    []cutPlane
	planar  []geom.Plane // every planar bound of a board or turning: directions worth measuring in
	mesh    *meshForm    // a solid; then of the above only place, box and centre are set
}

type edge struct {
	a, b    geom.Vec2
	surface int
}

type cone struct { // from (r0, z0) to (r1, z1)
	r0, z0, r1, z1 float64
	surface        int
}

type cutPlane struct {
	geom.Plane
	surface int
}

// formOf measures a member. Surfaces are known by their index, which is the
// fixed order that piece.Member.Surfaces documents.
func formOf(m *piece.Member, chord float64) (*form, error) {
	f := &form{place: m.Place}
	var next int
	switch {
	case m.Board != nil:
		f.low, f.up, f.lowS, f.upS = 0, m.Board.Thickness, 0, 1
		next = 2
		for _, o := range append([]piece.Outline{m.Board.Outline}, m.Board.Cutouts...) {
			pts := o.Path.Flatten(chord)
			for i, q := range pts {
				f.edges = append(f.edges, edge{q.P, pts[(i+1)%len(pts)].P, next + o.Run[q.Seg]})
			}
			next += o.Runs()
		}
	case m.Turning != nil:
		t := m.Turning
		pts := t.Profile.Flatten(chord)
		for i := 0; i+1 < len(pts); i++ {
			a, b := pts[i], pts[i+1]
			f.profile = append(f.profile, cone{a.P.X, a.P.Y, b.P.X, b.P.Y, t.Run[a.Seg]})
		}
		if len(f.profile) == 0 {
			return nil, fmt.Errorf("measuring member %s: its profile is empty", m.ID)
		}
		f.low, f.up = f.profile[0].z0, f.profile[len(f.profile)-1].z1
		next = t.Runs()
		f.lowS, f.upS = next, next+1
		next += 2
	case m.Solid != nil && m.Solid.Shape != nil && len(m.Solid.Shape.Triangles) > 0:
		f.setMesh(m.Solid.Shape)
		return f, nil
	default:
		return nil, fmt.Errorf("measuring member %s: it has no shape", m.ID)
	}
	for i, c := range m.EndCuts {
		f.cuts = append(f.cuts, cutPlane{c.Plane, next + i})
	}
	f.bounds()
	return f, nil
}

// bounds sets the box, and lists the planar bounds.
func (f *form) bounds() {
	f.box = geom.EmptyBox3()
	flat := geom.EmptyBox2()
	for _, e := range f.edges {
		flat = flat.Add(e.a).Add(e.b)
	}
	for _, c := range f.profile {
		r := max(c.r0, c.r1)
		flat = flat.Add(geom.V2(-r, -r)).Add(geom.V2(r, r))
	}
	for _, x := range []float64{flat.Min.X, flat.Max.X} {
		for _, y := range []float64{flat.Min.Y, flat.Max.Y} {
			for _, z := range []float64{f.low, f.up} {
				f.box = f.box.Add(f.place.Point(geom.V3(x, y, z)))
			}
		}
	}
	mid := flat.Center()
	f.centre = f.place.Point(geom.V3(mid.X, mid.Y, (f.low+f.up)/2))
	f.planar = append(f.planar, geom.PlaneAt(geom.V3(0, 0, f.low), geom.V3(0, 0, -1)), geom.PlaneAt(geom.V3(0, 0, f.up), geom.V3(0, 0, 1)))
	for _, c := range f.cuts {
		f.planar = append(f.planar, c.Plane)
	}
	const straight = 1.0 // mm; shorter edges are chords of a curve, sampled well enough by the rays
	for _, e := range f.edges {
		if e.a.Dist(e.b) > straight {
			n := e.b.Sub(e.a).Unit().Right()
			f.planar = append(f.planar, geom.PlaneAt(geom.V3(e.a.X, e.a.Y, 0), geom.V3(n.X, n.Y, 0)))
		}
	}
}

// radius is the turning's radius at height z.
func (f *form) radius(z float64) float64 {
	r := 0.0
	for _, c := range f.profile {
		if z < c.z0 || z > c.z1 {
			continue
		}
		if c.z1 == c.z0 {
			r = max(r, c.r0, c.r1)
			continue
		}
		r = max(r, c.r0+(c.r1-c.r0)*(z-c.z0)/(c.z1-c.z0))
	}
	return r
}

// contains reports whether a world point lies inside. Points on the boundary
// may go either way.
func (f *form) contains(p geom.Vec3) bool { return f.holds(f.place.Local(p)) }

// holds is contains for a point in member coordinates.
func (f *form) holds(q geom.Vec3) bool {
	if f.mesh != nil {
		return f.mesh.holds(q)
	}
	return f.between(q) && f.beside(q)
}

// between reports whether a point lies between the ends and within the cuts.
func (f *form) between(q geom.Vec3) bool {
	if q.Z <= f.low || q.Z >= f.up {
		return false
	}
	for _, c := range f.cuts {
		if c.Distance(q) >= 0 {
			return false
		}
	}
	return true
}

// beside reports whether a point lies within the sides.
func (f *form) beside(q geom.Vec3) bool {
	if f.profile != nil {
		return math.Hypot(q.X, q.Y) < f.radius(q.Z)
	}
	in := false
	for _, e := range f.edges {
		if (e.a.Y > q.Y) != (e.b.Y > q.Y) && q.X < e.a.X+(e.b.X-e.a.X)*(q.Y-e.a.Y)/(e.b.Y-e.a.Y) {
			in = !in
		}
	}
	return in
}

// exit is how far a ray from a point inside runs until it leaves, and the
// surface it leaves by (-1 when that surface is unknown). Infinite if the
// point lies outside and the ray meets nothing.
func (f *form) exit(from, dir geom.Vec3) (float64, int) {
	return f.leave(f.place.Local(from), f.place.LocalDir(dir))
}

// leave is exit in member coordinates.
func (f *form) leave(p, d geom.Vec3) (float64, int) {
	if f.mesh != nil {
		return f.mesh.leave(p, d)
	}
	best, surface := math.Inf(1), -1
	hit := func(t float64, s int) {
		if t > -1e-9 && t < best { // only ever called where the ray goes outwards
			best, surface = max(0, t), s
		}
	}
	if d.Z > 0 {
		hit((f.up-p.Z)/d.Z, f.upS)
	} else if d.Z < 0 {
		hit((f.low-p.Z)/d.Z, f.lowS)
	}
	for _, c := range f.cuts {
		if n := c.Normal.Dot(d); n > 0 {
			hit(-c.Distance(p)/n, c.surface)
		}
	}
	if f.profile != nil {
		f.exitSide(p, d, hit)
		return best, surface
	}
	q, v := p.XY(), d.XY()
	if v.Dot(v) < 1e-18 {
		return best, surface
	}
	for _, e := range f.edges {
		ab := e.b.Sub(e.a)
		det := v.Cross(ab)
		if det <= 0 { // along the edge, or inwards
			continue
		}
		w := e.a.Sub(q)
		if s := w.Cross(v) / det; s >= -1e-9 && s <= 1+1e-9 {
			hit(w.Cross(ab)/det, e.surface)
		}
	}
	return best, surface
}

func (f *form) exitSide(p, d geom.Vec3, hit func(float64, int)) {
	for _, c := range f.profile {
		if c.z1-c.z0 < 1e-12 { // a shoulder: flat ring
			if d.Z*(c.r0-c.r1) > 0 {
				t := (c.z0 - p.Z) / d.Z
				if r := math.Hypot(p.X+t*d.X, p.Y+t*d.Y); r >= min(c.r0, c.r1) && r <= max(c.r0, c.r1) {
					hit(t, c.surface)
				}
			}
			continue
		}
		// x² + y² = (r0 + k (z - z0))² along the ray: A t² + 2 B t + C = 0.
		k := (c.r1 - c.r0) / (c.z1 - c.z0)
		r := c.r0 + k*(p.Z-c.z0)
		a := d.X*d.X + d.Y*d.Y - k*k*d.Z*d.Z
		b := p.X*d.X + p.Y*d.Y - r*k*d.Z
		cc := p.X*p.X + p.Y*p.Y - r*r
		try := func(t float64) {
			z := p.Z + t*d.Z
			if z >= c.z0-1e-9 && z <= c.z1+1e-9 && r+k*t*d.Z >= 0 && a*t+b > 0 {
				hit(t, c.surface)
			}
		}
		if math.Abs(a) < 1e-15 {
			if b != 0 {
				try(-cc / (2 * b))
			}
			continue
		}
		disc := b*b - a*cc
		if disc < 0 {
			continue
		}
		root := math.Sqrt(disc)
		try((-b - root) / a)
		try((-b + root) / a)
	}
}

const rays = 32 // directions in which the material round a bore is measured

// lateral is the least distance from the axis to the member's surfaces,
// measured square to the axis, at every station between from and to along the
// axis. It is -1 when part of the axis lies outside. Planar surfaces and
// triangles are measured exactly, others within 0.5 %. Beyond enough it may be
// anything that is more than enough.
func (f *form) lateral(at, axis geom.Vec3, from, to, enough float64) float64 {
	const step = 2.0 // mm between stations
	n := max(1, int(math.Ceil((to-from)/step)))
	at, axis = f.place.Local(at), f.place.LocalDir(axis)
	if f.mesh != nil {
		first, last := at.Add(axis.Scale(from)), at.Add(axis.Scale(max(from, to)))
		least := f.mesh.lateral(first, last, axis, enough)
		if least < 1e-9 || !f.mesh.holds(first) { // it comes out, or was never in
			return -1
		}
		return least
	}
	fr := geom.FrameFromZ(at, axis)
	dirs := make([]geom.Vec3, rays, rays+len(f.planar))
	for i := range dirs {
		s, c := math.Sincos(2 * math.Pi * float64(i) / rays)
		dirs[i] = fr.Dir(geom.V3(c, s, 0))
	}
	// Straight towards planes that may be nearer than enough.
	first, last := at.Add(axis.Scale(from)), at.Add(axis.Scale(to))
	for _, pl := range f.planar {
		in := pl.Normal.Sub(axis.Scale(pl.Normal.Dot(axis)))
		if l := in.Len(); l > 1e-6 && min(-pl.Distance(first), -pl.Distance(last))/l < enough {
			dirs = append(dirs, in.Scale(1/l))
		}
	}
	near := f.near(first, last, enough)
	least := math.Inf(1)
	for k := 0; k <= n; k++ {
		p := first.Lerp(last, float64(k)/float64(n))
		if !f.holds(p) {
			return -1
		}
		for _, d := range dirs {
			t, _ := near.leave(p, d)
			least = min(least, t)
		}
	}
	return least
}

// near is the form with only those edges or cones of its side that may lie
// within reach of the line from a to b, in member coordinates: rays shorter
// than reach leave it as they leave the form.
func (f *form) near(a, b geom.Vec3, reach float64) *form {
	out := *f
	out.edges, out.profile = nil, f.profile
	lo := geom.V3(min(a.X, b.X)-reach, min(a.Y, b.Y)-reach, min(a.Z, b.Z)-reach)
	hi := geom.V3(max(a.X, b.X)+reach, max(a.Y, b.Y)+reach, max(a.Z, b.Z)+reach)
	for _, e := range f.edges {
		if max(e.a.X, e.b.X) >= lo.X && min(e.a.X, e.b.X) <= hi.X && max(e.a.Y, e.b.Y) >= lo.Y && min(e.a.Y, e.b.Y) <= hi.Y {
			out.edges = append(out.edges, e)
		}
	}
	if f.profile != nil {
		i, k := 0, len(f.profile)
		for i+1 < k && f.profile[i].z1 < lo.Z {
			i++
		}
		for k-1 > i && f.profile[k-1].z0 > hi.Z {
			k--
		}
		out.profile = f.profile[i:k]
	}
	return &out
}

// ahead is the least and the greatest distance, along dir, from a disc of
// radius r about at to the member's surface, and the surface that the disc's
// centre leaves by.
func (f *form) ahead(at, dir geom.Vec3, r float64) (least, most float64, surface int) {
	at, dir = f.place.Local(at), f.place.LocalDir(dir)
	if f.mesh != nil {
		return f.mesh.ahead(at, dir, r)
	}
	least, surface = f.leave(at, dir)
	most = least
	const in = 1e-6 // mm; the disc may lie on the surface
	if f.profile == nil && !f.beside(at) {
		return -1, -1, surface
	}
	// Where no edge comes within the disc, all of it lies within the sides as its centre does.
	free := f.profile == nil && len(f.near(at, at, r+2*in).edges) == 0
	fr := geom.FrameFromZ(at, dir)
	for i := range rays {
		s, c := math.Sincos(2 * math.Pi * float64(i) / rays)
		p := at.Add(fr.Dir(geom.V3(r*c, r*s, 0)))
		if q := p.Add(dir.Scale(in)); !f.between(q) || !free && !f.beside(q) {
			return -1, -1, surface
		}
		t, _ := f.leave(p, dir)
		least, most = min(least, t), max(most, t)
	}
	return least, most, surface
}
