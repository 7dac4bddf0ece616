package surface

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

const (
	// apart is the sine below which two surfaces at a vertex count as tangent:
	// where they meet is then not looked for, since noise alone would settle it.
	apart = 0.02
	// onSurface is how far, mm, a vertex may lie from a surface that it was put
	// on, beside the residual that the face had.
	onSurface = 2e-3
	// unseen is how far, mm, it may stay off a surface that has moved: where four
	// planes meet, their parallels need not meet in a point, and what they miss by
	// is not worth an edge if no print shows it (a quarter of a fine layer).
	unseen = 0.05
)

// sheet is one face at one vertex: an exact surface, or else the plane square
// to the face's normal there.
type sheet struct {
	face   int32
	exact  *Face     // nil for a face without a geometry of its own
	normal geom.Vec3 // out of the material; without exact
	shift  float64   // mm; how far the plane has moved along its normal
	tip    bool      // the vertex is the apex of a cone, where it has no normal
}

func (w *sheet) at(p, home geom.Vec3) (distance float64, normal geom.Vec3) {
	if w.exact != nil {
		return w.exact.Distance(p), w.exact.Normal(p)
	}
	return p.Sub(home).Dot(w.normal) - w.shift, w.normal
}

// meet is the point nearest to home, or nearly, that lies on all sheets: each
// Newton step is the shortest that meets the sheets' tangent planes, those of
// tangent sheets being met once. off is how far the point stays off the worst
// of them, which is sheet worst.
func meet(home geom.Vec3, sheets []sheet) (p geom.Vec3, off float64, worst int) {
	p = home
	if len(sheets) == 1 && sheets[0].tip {
		return sheets[0].exact.apex(), 0, 0
	}
	left := make([]geom.Vec3, len(sheets)) // of the normals, square to those taken
	normal := make([]geom.Vec3, len(sheets))
	far := make([]float64, len(sheets))
	for range 30 {
		for i := range sheets {
			far[i], normal[i] = sheets[i].at(p, home)
			left[i] = normal[i]
		}
		var step geom.Vec3
		for range min(3, len(sheets)) {
			// The one that leans most from those taken; the first of equals.
			most, best := apart, -1
			for i, q := range left {
				if l := q.Len(); l > most*(1+1e-9) {
					most, best = l, i
				}
			}
			if best < 0 {
				break
			}
			b := left[best].Scale(1 / most)
			step = step.Add(b.Scale((-far[best] - step.Dot(normal[best])) / most))
			for i := range left {
				left[i] = left[i].Sub(b.Scale(b.Dot(left[i])))
			}
		}
		p = p.Add(step)
		if step.Len() < 1e-13*(1+p.Len()) {
			break
		}
	}
	for i := range sheets {
		if d, _ := sheets[i].at(p, home); !(math.Abs(d) <= off) {
			off, worst = math.Abs(d), i
		}
	}
	return p, off, worst
}

// around lists the faces at every vertex, rising, with the normal of each: the
// mean of its triangles' there by their angles. reach is how far the vertex
// moves along it for its triangles to move by 1. Faces of vertex v are
// face[start[v]:start[v+1]].
type around struct {
	start  []int32
	face   []int32
	normal []geom.Vec3
	reach  []float64
}

func (s *Solid) around() around {
	type meeting struct {
		vertex, face int32
		normal       geom.Vec3
	}
	ms := make([]meeting, 0, 3*len(s.Triangles))
	for t, c := range s.Triangles {
		n := s.cross(int32(t)).Unit()
		for k, v := range c {
			a := s.Vertices[c[(k+1)%3]].Sub(s.Vertices[v])
			b := s.Vertices[c[(k+2)%3]].Sub(s.Vertices[v])
			ms = append(ms, meeting{v, s.Of[t], n.Scale(math.Atan2(a.Cross(b).Len(), a.Dot(b)))})
		}
	}
	slices.SortStableFunc(ms, func(a, b meeting) int {
		return cmp.Or(cmp.Compare(a.vertex, b.vertex), cmp.Compare(a.face, b.face))
	})
	r := around{start: make([]int32, len(s.Vertices)+1)}
	var angles []float64
	for i, m := range ms {
		if i > 0 && ms[i-1].vertex == m.vertex && ms[i-1].face == m.face {
			k := len(r.normal) - 1
			r.normal[k] = r.normal[k].Add(m.normal)
			angles[k] += m.normal.Len()
			continue
		}
		r.face, r.normal, angles = append(r.face, m.face), append(r.normal, m.normal), append(angles, m.normal.Len())
		r.start[m.vertex+1]++
	}
	for v := range s.Vertices {
		r.start[v+1] += r.start[v]
	}
	for i, n := range r.normal {
		// The mean of the normals is as long as they lean from it. On a smooth
		// surface that is the facets' doing; at a point it is the point's.
		const sharp = 0.95
		r.reach = append(r.reach, 1)
		if l := n.Len() / angles[i]; l < sharp && l > 0.1 {
			r.reach[i] = 1 / l
		}
		r.normal[i] = n.Unit()
	}
	return r
}

// sheets are the faces at vertex v of s, of which to are the exact surfaces and
// d how far the others have moved inward.
func (r *around) sheets(s *Solid, v int32, to []Face, d []float64) []sheet {
	var out []sheet
	for i := r.start[v]; i < r.start[v+1]; i++ {
		f := r.face[i]
		w := sheet{face: f, normal: r.normal[i]}
		if to[f].Exact() {
			w.exact = &to[f]
			was := &s.Faces[f]
			w.tip = was.Kind == Cone && s.Vertices[v].Dist(was.apex()) < onSurface+2*was.Residual
		} else if d != nil {
			w.shift = -d[f] * r.reach[i]
		}
		out = append(out, w)
	}
	return out
}

// apex is the point of a cone.
func (f *Face) apex() geom.Vec3 {
	return f.Frame.Point(geom.V3(0, 0, -f.Radius/f.Slope))
}

// moved is the face's surface d mm further in.
func (f Face) moved(d float64) (Face, error) {
	in := d
	if f.Hollow {
		in = -d
	}
	switch f.Kind {
	case Plane:
		f.Frame.Origin = f.Frame.Origin.Sub(f.Frame.Z.Scale(d))
	case Cylinder, Sphere:
		if f.Radius -= in; f.Radius <= 0 {
			return f, fmt.Errorf("its radius of %.3g mm cannot lose %.3g mm", f.Radius+in, in)
		}
	case Cone: // along the axis it moves by in·√(1+slope²)/slope
		f.Radius -= in * math.Hypot(1, f.Slope)
	}
	return f, nil
}

// FaceError is an error about one face.
type FaceError struct {
	Face int
	Err  error
}

func (e *FaceError) Error() string { return fmt.Sprintf("face %d: %v", e.Face, e.Err) }

func (e *FaceError) Unwrap() error { return e.Err }

// Inset is the solid with every face i moved inward along its normals by d[i]
// mm; negative is outward. Edges and corners stay sharp: neighbours are carried
// on or cut back to where they meet. Faces and their order stay. Planes,
// cylinders, cones and spheres move exactly, and vertices come to lie on them
// though they strayed a little before, but for corners of more than three, which
// may stay off one by 0.05 mm; other faces move along the normals of
// their vertices. The error, a *FaceError, names a face that cannot be moved:
// it vanishes, folds over, or runs smoothly into another that moves otherwise.
func (s *Solid) Inset(d []float64) (*Solid, error) {
	if len(d) != len(s.Faces) {
		return nil, fmt.Errorf("inset: %d distances for %d faces", len(d), len(s.Faces))
	}
	out := &Solid{
		Vertices: make([]geom.Vec3, len(s.Vertices)), Triangles: slices.Clone(s.Triangles),
		Faces: make([]Face, len(s.Faces)), Of: slices.Clone(s.Of), twin: s.twin,
	}
	for i, f := range s.Faces {
		var err error
		if out.Faces[i], err = f.moved(d[i]); err != nil {
			return nil, &FaceError{i, err}
		}
	}
	r := s.around()
	settled := *s // with vertices where they would be if nothing moved
	settled.Vertices = make([]geom.Vec3, len(s.Vertices))
	for v, home := range s.Vertices {
		sheets := r.sheets(s, int32(v), out.Faces, d)
		if len(sheets) == 0 {
			out.Vertices[v], settled.Vertices[v] = home, home
			continue
		}
		settled.Vertices[v] = s.settled(int32(v), &r, nil)
		p, off, worst := meet(home, sheets)
		f := int(sheets[worst].face)
		if off > unseen+2*s.Faces[f].Residual {
			return nil, &FaceError{f, fmt.Errorf("near %s it would part from its neighbour by %.3g mm", at(home), off)}
		}
		out.Vertices[v] = p
	}
	if err := out.unfolded(s); err != nil {
		return nil, err
	}
	if err := out.measureAgain(s, settled.Volume(), d); err != nil {
		return nil, err
	}
	return out, nil
}

func at(p geom.Vec3) string { return fmt.Sprintf("%.1f, %.1f, %.1f", p.X, p.Y, p.Z) }

// unfolded sees that no triangle has turned over since s. Long thin ones may,
// though their face does not: a corner then lies just beyond the side across
// from it, and drawing the other diagonal there sets it right. Planes that this
// does not help are laid anew.
func (s *Solid) unfolded(was *Solid) error {
	var turned []int32
	for t := range s.Triangles {
		if a, b := was.cross(int32(t)), s.cross(int32(t)); a.Dot(b) <= 0 && b.Len() > flat*was.longest(int32(t)) {
			turned = append(turned, int32(t))
		}
	}
	if len(turned) == 0 {
		return nil
	}
	var err error
	if s.twin, err = twins(len(s.Vertices), s.Triangles); err != nil {
		return fmt.Errorf("inset: %w", err)
	}
	upright := func(f int32) geom.Vec3 { return was.cross(f) }
	left := map[int32]geom.Vec3{} // by face, a place where it folds
	for _, t := range turned {
		if !s.swap(t, upright) {
			left[s.Of[t]] = was.Vertices[s.Triangles[t][0]]
		}
	}
	again := false
	for i := range s.Faces {
		p, ok := left[int32(i)]
		if !ok {
			continue
		}
		if s.Faces[i].Kind != Plane {
			return &FaceError{i, fmt.Errorf("it would fold over itself near %s", at(p))}
		}
		if err := s.relay(i); err != nil {
			return &FaceError{i, err}
		}
		again = true
	}
	if again {
		s.compact()
	}
	if s.twin, err = twins(len(s.Vertices), s.Triangles); err != nil {
		return fmt.Errorf("inset: triangles that turned over cannot be laid anew: %w", err)
	}
	return nil
}

// swap sets a triangle that has turned over right by drawing the other diagonal
// across its longest side, perhaps several times. up is about a triangle's
// normal. false if that does not help.
func (s *Solid) swap(t int32, up func(int32) geom.Vec3) bool {
	for range 8 {
		if s.cross(t).Dot(up(t)) > 0 {
			return true
		}
		h, l := int32(-1), -1.0
		for i := range int32(3) {
			if d := s.Vertices[s.Triangles[t][i]].Dist(s.Vertices[s.Triangles[t][(i+1)%3]]); d > l {
				h, l = 3*t+i, d
			}
		}
		g := s.twin[h]
		n := g / 3
		if s.Of[n] != s.Of[t] {
			return false // it has run over the face's border
		}
		a, b, p := s.Triangles[t][h%3], s.Triangles[t][(h%3+1)%3], s.Triangles[t][(h%3+2)%3]
		q := s.Triangles[n][(g%3+2)%3]
		if p == q {
			return false
		}
		bp, pa := s.twin[after(h)], s.twin[after(after(h))]
		aq, qb := s.twin[after(g)], s.twin[after(after(g))]
		for _, x := range []int32{bp, pa, aq, qb} {
			if x/3 == t || x/3 == n {
				return false
			}
		}
		s.Triangles[t], s.Triangles[n] = [3]int32{a, q, p}, [3]int32{q, b, p}
		pair := func(x, y int32) { s.twin[x], s.twin[y] = y, x }
		pair(3*t, aq)
		pair(3*t+1, 3*n+2)
		pair(3*t+2, pa)
		pair(3*n, qb)
		pair(3*n+1, bp)
		// Both now lie where the neighbour lay.
		if up := up(n); s.cross(t).Dot(up) > 0 && s.cross(n).Dot(up) > 0 {
			return true
		} else if s.cross(t).Dot(up) > 0 {
			t = n
		}
	}
	return false
}

// flat is the greatest height, as a part of its longest side, of a triangle
// that has no side up.
const flat = 1e-7

// longest is the square of a triangle's longest side.
func (s *Solid) longest(t int32) float64 {
	k := s.Triangles[t]
	l := 0.0
	for i := range 3 {
		e := s.Vertices[k[(i+1)%3]].Sub(s.Vertices[k[i]])
		l = max(l, e.Dot(e))
	}
	return l
}

// relay lays the triangles of a plane anew within its borders.
func (s *Solid) relay(face int) error {
	f := &s.Faces[face]
	var loops [][]int32
	var ps geom.Polygons
	flat := make(map[int32]geom.Vec2)
	for _, l := range s.Loops(face) {
		p := make(geom.Polygon, len(l.Vertices))
		for i, v := range l.Vertices {
			flat[v] = f.Frame.Local(s.Vertices[v]).XY()
			p[i] = flat[v]
		}
		ps, loops = append(ps, p), append(loops, l.Vertices)
	}
	if a := ps.Area(); !(a > 0) {
		return fmt.Errorf("nothing is left of it")
	}
	made, ok := fill(loops, func(v int32) geom.Vec2 { return flat[v] })
	if !ok {
		where := f.Frame.Origin
		if q, crossing := ps.Crossing(); crossing {
			where = f.Frame.Point(geom.V3(q.X, q.Y, 0))
		}
		return fmt.Errorf("its borders would cross near %s", at(where))
	}
	for _, t := range f.Triangles {
		s.Of[t] = -1
	}
	for _, t := range made {
		s.Triangles = append(s.Triangles, t)
		s.Of = append(s.Of, int32(face))
	}
	s.drop()
	return nil
}

// drop takes out the triangles of no face and lists those of every face anew.
func (s *Solid) drop() {
	n := 0
	for t := range s.Triangles {
		if s.Of[t] >= 0 {
			s.Triangles[n], s.Of[n] = s.Triangles[t], s.Of[t]
			n++
		}
	}
	s.Triangles, s.Of, s.twin = s.Triangles[:n], s.Of[:n], nil
	for i := range s.Faces {
		s.Faces[i].Triangles = nil
	}
	for t, f := range s.Of {
		s.Faces[f].Triangles = append(s.Faces[f].Triangles, int32(t))
	}
}

// compact takes out vertices that no triangle uses.
func (s *Solid) compact() {
	place := make([]int32, len(s.Vertices))
	for i := range place {
		place[i] = -1
	}
	for _, t := range s.Triangles {
		for _, v := range t {
			place[v] = 0
		}
	}
	n := int32(0)
	for v, p := range place {
		if p == 0 {
			s.Vertices[n] = s.Vertices[v]
			place[v] = n
			n++
		}
	}
	s.Vertices = s.Vertices[:n]
	for i, t := range s.Triangles {
		s.Triangles[i] = [3]int32{place[t[0]], place[t[1]], place[t[2]]}
	}
}

// measureAgain brings the faces' figures up to date and sees that each has lost
// about its area times its distance. before is the volume with the vertices on
// their surfaces.
func (s *Solid) measureAgain(was *Solid, before float64, d []float64) error {
	want, sway := 0.0, 0.0
	for i := range s.Faces {
		f := &s.Faces[i]
		had := was.Faces[i].Area
		f.Area, f.Residual = 0, 0
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, t := range f.Triangles {
			f.Area += s.cross(t).Len() / 2
			for _, v := range s.Triangles[t] {
				p := s.Vertices[v]
				if f.Exact() {
					f.Residual = max(f.Residual, math.Abs(f.Distance(p)))
				}
				z := f.Frame.LocalDir(p.Sub(f.Frame.Origin)).Z
				lo, hi = min(lo, z), max(hi, z)
			}
		}
		if len(f.Triangles) == 0 || !(f.Area > 1e-9*had) {
			return &FaceError{i, fmt.Errorf("nothing is left of it")}
		}
		if f.Kind == Cylinder || f.Kind == Cone {
			f.From, f.To = lo, hi
		}
		if f.Radius > 0 && was.Faces[i].Radius > 0 {
			f.Sag *= f.Radius / was.Faces[i].Radius
		}
		// Between the two areas the volume is a quadratic of the distance, but for
		// a cubic rest that is left to the margin.
		want -= d[i] * (f.Area + had) / 2
		sway += math.Abs(d[i]) * max(f.Area, had)
	}
	got := s.Volume() - before
	if far := math.Abs(got - want); far > 0.05*sway+1e-6*was.Volume() || s.Volume() <= 0 {
		worst := 0
		for i := range d {
			if math.Abs(d[i])*was.Faces[i].Area > math.Abs(d[worst])*was.Faces[worst].Area {
				worst = i
			}
		}
		return &FaceError{worst, fmt.Errorf("the volume would change by %.4g mm³ instead of about %.4g: it runs into other faces", got, want)}
	}
	return nil
}

// Mirrored is the solid reversed in its own x.
func (s *Solid) Mirrored() *Solid {
	m := func(v geom.Vec3) geom.Vec3 { return geom.V3(-v.X, v.Y, v.Z) }
	out := &Solid{Vertices: make([]geom.Vec3, len(s.Vertices)), Triangles: make([][3]int32, len(s.Triangles)),
		Faces: slices.Clone(s.Faces), Of: s.Of}
	for i, v := range s.Vertices {
		out.Vertices[i] = m(v)
	}
	for i, t := range s.Triangles {
		out.Triangles[i] = [3]int32{t[0], t[2], t[1]}
	}
	for i := range out.Faces {
		if f := &out.Faces[i]; f.Exact() {
			f.Frame = geom.FrameFromXZ(m(f.Frame.Origin), m(f.Frame.X).Neg(), m(f.Frame.Z))
		}
	}
	out.twin, _ = twins(len(out.Vertices), out.Triangles) // closed as before
	return out
}
