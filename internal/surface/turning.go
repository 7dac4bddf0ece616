package surface

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"groundwork/internal/geom"
)

// Turning is the solid as a turning: a profile revolved about an axis, closed
// by flat discs at both ends, less what lies beyond its end cuts.
//
// Z runs along the axis, upward in the solid's coordinates (along +z, else -y,
// else +x); the origin is on the axis at the profile's low end; X is the
// enclosing axis least parallel to Z, made square to it. The radius is
// positive and z never falls along the profile. Where an end cut has taken an
// end away, the profile is carried on, straight, round or along its tangent,
// until 1 mm beyond.
//
// The error says in a maker's words why the solid is not a turning; a plain
// disc that is less high than half as wide is one of the reasons.
func (s *Solid) Turning() (Turning, error) {
	tol := s.exactTolerance()
	axes := s.turningAxes(tol)
	if len(axes) == 0 {
		return Turning{}, errors.New("it has no round side")
	}
	var why error
	for _, f := range axes {
		t, err := s.turningAbout(f, tol)
		if err == nil {
			return t, nil
		}
		if why == nil {
			why = err
		}
	}
	return Turning{}, why
}

// turningAxes are frames whose Z may be the axis, the likeliest first: that of
// the largest cylinders and cones, of round ends, and the line that the
// normals of free faces meet.
func (s *Solid) turningAxes(tol float64) []geom.Frame {
	type candidate struct {
		at, dir geom.Vec3
		area    float64
	}
	var cs []candidate
	size := s.Bounds().Size().Len()
	add := func(at, dir geom.Vec3, area float64) {
		if !upward(dir) {
			dir = dir.Neg()
		}
		for i, c := range cs {
			if c.dir.Dist(dir) < 1e-3 && offAxis(at.Sub(c.at), c.dir).Len() < 1e-3*size {
				cs[i].area += area
				return
			}
		}
		cs = append(cs, candidate{at, dir, area})
	}
	for _, f := range s.Faces {
		if f.Kind == Cylinder || f.Kind == Cone {
			add(f.Frame.Origin, f.Frame.Z, f.Area)
		}
	}
	round := false
	for _, f := range s.Faces {
		round = round || f.Kind != Plane
	}
	if !round {
		return nil
	}
	for i := range s.Faces {
		f := &s.Faces[i]
		if f.Kind != Plane {
			continue
		}
		for _, l := range s.Loops(i) {
			var pts []geom.Vec2
			for _, v := range l.Vertices {
				pts = append(pts, f.Frame.Local(s.Vertices[v]).XY())
			}
			n := len(pts)
			if n < 8 {
				continue
			}
			b := bendThrough(pts[0], pts[n/3], pts[2*n/3]).fit(pts)
			if b.k != 0 && worstOff(b, pts) <= 2*tol {
				c := b.center()
				add(f.Frame.Point(geom.V3(c.X, c.Y, 0)), f.Frame.Z, f.Area)
			}
		}
	}
	if at, dir, area, ok := s.normalsAxis(); ok {
		add(at, dir, area)
	}
	slices.SortStableFunc(cs, func(a, b candidate) int { return cmp.Compare(b.area, a.area) })
	var out []geom.Frame
	for _, c := range cs[:min(len(cs), 6)] {
		out = append(out, geom.FrameFromZ(c.at, c.dir))
	}
	return out
}

// normalsAxis is the line that all normals of the faces that are not planes
// meet, as those of a surface of revolution do: the null vector (m, d) of
// d·(p × n) + m·n = 0 (Pottmann and Randrup, Rotational and helical surface
// approximation for reverse engineering, Computing 60, 1998).
func (s *Solid) normalsAxis() (at, dir geom.Vec3, area float64, ok bool) {
	mid, scale := s.Bounds().Center(), s.Bounds().Size().Len()
	sum := mat.NewSymDense(6, nil)
	for i := range s.Faces {
		f := &s.Faces[i]
		if f.Kind == Plane {
			continue
		}
		area += f.Area
		for _, t := range f.Triangles {
			n := s.cross(t)
			a := n.Len()
			if a == 0 {
				continue
			}
			n = n.Scale(1 / a)
			k := s.Triangles[t]
			p := s.Vertices[k[0]].Add(s.Vertices[k[1]]).Add(s.Vertices[k[2]]).Scale(1. / 3).Sub(mid).Scale(1 / scale)
			c := p.Cross(n)
			row := []float64{n.X, n.Y, n.Z, c.X, c.Y, c.Z}
			for x := range 6 {
				for y := x; y < 6; y++ {
					sum.SetSym(x, y, sum.At(x, y)+a*row[x]*row[y])
				}
			}
		}
	}
	if area == 0 {
		return at, dir, 0, false
	}
	var eig mat.EigenSym
	if !eig.Factorize(sum, true) {
		return at, dir, 0, false
	}
	var v mat.Dense
	eig.VectorsTo(&v)
	m := geom.V3(v.At(0, 0), v.At(1, 0), v.At(2, 0))
	d := geom.V3(v.At(3, 0), v.At(4, 0), v.At(5, 0))
	l := d.Len()
	if l < 1e-6 {
		return at, dir, 0, false
	}
	m, d = m.Scale(1/l), d.Scale(1/l)
	// The point of the line nearest to the middle is d × m.
	return mid.Add(d.Cross(m).Scale(scale)), d, area, true
}

// turnWork is a turning about a known axis, being made out.
type turnWork struct {
	s     *Solid
	tol   float64
	f     geom.Frame
	at    []geom.Vec3 // vertices in f
	kind  []turnPart  // by face
	cuts  []geom.Plane
	onCut []bool // by vertex
}

type turnPart uint8

const (
	turnRound turnPart = iota
	turnDisc           // flat, square to the axis
	turnCut
)

func (s *Solid) turningAbout(f geom.Frame, tol float64) (Turning, error) {
	w := &turnWork{s: s, tol: tol, f: f}
	w.locate()
	for range 3 {
		if err := w.classify(); err != nil {
			return Turning{}, err
		}
		if !w.refine() {
			break
		}
	}
	if err := w.classify(); err != nil {
		return Turning{}, err
	}
	t, err := w.turning()
	if err != nil {
		return Turning{}, err
	}
	return t, nil
}

func (w *turnWork) locate() {
	w.at = make([]geom.Vec3, len(w.s.Vertices))
	for i, v := range w.s.Vertices {
		w.at[i] = w.f.Local(v)
	}
}

func (w *turnWork) cross(t int32) geom.Vec3 {
	k := w.s.Triangles[t]
	a := w.at[k[0]]
	return w.at[k[1]].Sub(a).Cross(w.at[k[2]].Sub(a))
}

// classify tells round faces, discs and end cuts apart.
func (w *turnWork) classify() error {
	w.kind = make([]turnPart, len(w.s.Faces))
	w.cuts = nil
	roundArea, flatArea := 0.0, 0.0
	for i := range w.s.Faces {
		f := &w.s.Faces[i]
		if f.Kind != Plane {
			roundArea += f.Area
			for _, t := range f.Triangles {
				k := w.s.Triangles[t]
				n := w.cross(t)
				l := n.Len()
				if l < 10*w.tol*w.tol {
					continue
				}
				mid := w.at[k[0]].Add(w.at[k[1]]).Add(w.at[k[2]]).Scale(1. / 3)
				if mid.XY().Len() > 10*w.tol && n.XY().Dot(mid.XY())/l/mid.XY().Len() < -1e-3 {
					if f.Hollow || f.Kind == Free {
						return errors.New("it is hollow, bored or undercut")
					}
					return errors.New("it is not round about one axis")
				}
			}
			continue
		}
		var n geom.Vec3
		for _, t := range f.Triangles {
			n = n.Add(w.cross(t))
		}
		n = n.Unit()
		vs := w.s.faceVertices(i)
		var mid geom.Vec3
		wide := 0.0
		for _, v := range vs {
			mid = mid.Add(w.at[v].Scale(1 / float64(len(vs))))
			wide = max(wide, w.at[v].XY().Len())
		}
		if n.XY().Len()*wide <= 2*w.tol {
			w.kind[i] = turnDisc
			continue
		}
		w.kind[i] = turnCut
		flatArea += f.Area
		pl := geom.PlaneAt(mid, n)
		for _, p := range w.at {
			if pl.Distance(p) > w.tol {
				return errors.New("it has a flat that does not cut right across")
			}
		}
		if !slices.ContainsFunc(w.cuts, func(q geom.Plane) bool {
			return q.Normal.Dist(n) < 1e-3 && math.Abs(q.Distance(mid)) < w.tol
		}) {
			w.cuts = append(w.cuts, pl)
		}
	}
	if roundArea == 0 || roundArea < flatArea/2 {
		return errors.New("more of it is flat than round")
	}
	w.onCut = make([]bool, len(w.at))
	for v, p := range w.at {
		w.onCut[v] = slices.ContainsFunc(w.cuts, func(c geom.Plane) bool { return math.Abs(c.Distance(p)) <= w.tol })
	}
	return nil
}

// refine moves the axis so that vertices at one height and radius, as facets
// of a turning leave them in rings, lie on circles about it.
func (w *turnWork) refine() bool {
	size := w.s.Bounds().Size().Len()
	var ids []int
	used := make([]bool, len(w.at))
	for i := range w.s.Faces {
		if w.kind[i] != turnRound {
			continue
		}
		for _, v := range w.s.faceVertices(i) {
			if !used[v] && !w.onCut[v] {
				used[v] = true
				ids = append(ids, int(v))
			}
		}
	}
	slices.SortStableFunc(ids, func(a, b int) int { return cmp.Compare(w.at[a].Z, w.at[b].Z) })
	near := max(2e-5*size, 4*w.tol)
	var rows [][5]float64
	for i := 0; i < len(ids); {
		j := i + 1
		for j < len(ids) && w.at[ids[j]].Z-w.at[ids[j-1]].Z < near {
			j++
		}
		group := slices.Clone(ids[i:j])
		i = j
		slices.SortStableFunc(group, func(a, b int) int { return cmp.Compare(w.at[a].XY().Len(), w.at[b].XY().Len()) })
		for a := 0; a < len(group); {
			b := a + 1
			for b < len(group) && w.at[group[b]].XY().Len()-w.at[group[b-1]].XY().Len() < 10*near {
				b++
			}
			ring := group[a:b]
			a = b
			if len(ring) < 5 {
				continue
			}
			var mean [5]float64
			var rs [][5]float64
			for _, v := range ring {
				p := w.at[v]
				r := p.XY().Len()
				if r == 0 {
					continue
				}
				u := p.XY().Scale(1 / r)
				row := [5]float64{-u.X, -u.Y, -p.Z * u.X / size, -p.Z * u.Y / size, r}
				rs = append(rs, row)
				for k := range row {
					mean[k] += row[k] / float64(len(ring))
				}
			}
			for _, row := range rs {
				for k := range row {
					row[k] -= mean[k]
				}
				rows = append(rows, row)
			}
		}
	}
	if len(rows) < 12 {
		return false
	}
	a, b := mat.NewDense(len(rows)+4, 4, nil), mat.NewVecDense(len(rows)+4, nil)
	for i, r := range rows {
		a.SetRow(i, r[:4])
		b.SetVec(i, -r[4])
	}
	for k := range 4 { // one ring alone does not tell the tilt, and its rounding must not
		a.Set(len(rows)+k, k, 1e-2)
	}
	var x mat.VecDense
	if x.SolveVec(a, b) != nil {
		return false
	}
	d := geom.V3(x.AtVec(2)/size, x.AtVec(3)/size, 1)
	if d.XY().Len() > 0.1 {
		return false
	}
	w.f = geom.FrameFromZ(w.f.Point(geom.V3(x.AtVec(0), x.AtVec(1), 0)), w.f.Dir(d))
	w.locate()
	return mat.Norm(&x, math.Inf(1)) > 1e-9
}

// turnPoint is a point of the profile: r in X, z in Y.
type turnPoint struct {
	geom.Vec2
	border bool // where faces meet
}

func (w *turnWork) turning() (Turning, error) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range w.at {
		low, high = min(low, p.Z), max(high, p.Z)
	}
	// Discs: at the ends, or shoulders.
	lowDisc, highDisc := false, false
	facing := func(z float64) float64 { // of the discs at this height: +1 up, -1 down
		var sum float64
		for i := range w.s.Faces {
			if w.kind[i] != turnDisc {
				continue
			}
			t := w.s.Faces[i].Triangles[0]
			if math.Abs(w.at[w.s.Triangles[t][0]].Z-z) <= 4*w.tol {
				var n float64
				for _, t := range w.s.Faces[i].Triangles {
					n += w.cross(t).Z
				}
				sum += n
			}
		}
		return sum
	}
	lowDisc, highDisc = facing(low) < 0, facing(high) > 0
	pts, err := w.profilePoints()
	if err != nil {
		return Turning{}, err
	}
	// In order of z; at a shoulder outward where it faces down.
	slices.SortStableFunc(pts, func(a, b turnPoint) int { return cmp.Or(cmp.Compare(a.Y, b.Y), cmp.Compare(a.X, b.X)) })
	var line []geom.Vec2
	for i := 0; i < len(pts); {
		j := i + 1
		for j < len(pts) && pts[j].Y-pts[i].Y <= 2*w.tol {
			j++
		}
		step := slices.Clone(pts[i:j])
		i = j
		slices.SortStableFunc(step, func(a, b turnPoint) int { return cmp.Compare(a.X, b.X) })
		var z float64
		for _, p := range step {
			z += p.Y / float64(len(step))
		}
		var rs []geom.Vec2
		n := 0.0
		border := false
		for _, p := range step { // means of equal radii
			border = border || p.border
			if k := len(rs); k > 0 && p.X-rs[k-1].X <= 2*w.tol {
				n++
				rs[k-1].X += (p.X - rs[k-1].X) / n
				continue
			}
			rs, n = append(rs, geom.V2(p.X, z)), 1
		}
		atLow, atHigh := lowDisc && z-low <= 4*w.tol, highDisc && high-z <= 4*w.tol
		switch {
		case atLow || atHigh:
			rs = rs[len(rs)-1:]
		case len(rs) > 1:
			up := facing(z)
			if up == 0 {
				return Turning{}, errors.New("it is not round about one axis")
			}
			if up > 0 {
				slices.Reverse(rs)
			}
		}
		// Scattered vertices of a free side need no finer steps than these.
		const fine = 0.2
		if k := len(line); k > 0 && len(rs) == 1 && !border && line[k-1].Dist(rs[0]) < fine && !atHigh {
			continue
		}
		line = append(line, rs...)
	}
	if len(line) < 2 {
		return Turning{}, errors.New("too little of its round side is left between its end cuts")
	}
	p := FitPath(line, false, w.tol)
	if len(p.Segs) == 0 {
		return Turning{}, errors.New("its profile cannot be made out")
	}
	if len(w.cuts) > 0 {
		if !lowDisc {
			if p, err = carryProfile(p, low-boardBeyond, true); err != nil {
				return Turning{}, err
			}
		}
		if !highDisc {
			if p, err = carryProfile(p, high+boardBeyond, false); err != nil {
				return Turning{}, err
			}
		}
	} else if !lowDisc || !highDisc {
		return Turning{}, errors.New("an end of it is not flat")
	}
	for i := range p.Segs { // a straight side is level or upright to the last digit
		sg := &p.Segs[i]
		if sg.Kind == geom.Line && math.Abs(sg.P[3].Y-sg.P[0].Y) <= 2*w.tol && i+1 < len(p.Segs) && i > 0 {
			z := (sg.P[3].Y + sg.P[0].Y) / 2
			sg.P[0].Y, sg.P[3].Y = z, z
			setEnd(&p.Segs[i-1], sg.P[0])
			setStart(&p.Segs[i+1], sg.P[3])
		}
	}
	for _, sg := range p.Segs {
		for k := range 17 {
			f := float64(k) / 16
			if sg.At(f).X <= 0 {
				return Turning{}, errors.New("its profile comes to a point on the axis")
			}
			if sg.Deriv(f).Y < -1e-6*sg.Deriv(f).Len() {
				return Turning{}, errors.New("its profile turns back: it is hollow or undercut")
			}
		}
	}
	if len(p.Segs) == 1 && p.Segs[0].Kind == geom.Line && len(w.cuts) == 0 {
		a, b := p.Segs[0].From(), p.Segs[0].To()
		if b.Y-a.Y < min(a.X, b.X) {
			return Turning{}, errors.New("it is a disc rather than a round bar")
		}
	}
	t := Turning{Cuts: w.cuts}
	if err := w.check(p, &t, low, high, lowDisc, highDisc); err != nil {
		return Turning{}, err
	}
	// The origin at the low end of the profile.
	z0 := p.Segs[0].From().Y
	t.Profile = p.Translated(geom.V2(0, -z0))
	t.Frame = w.f
	t.Frame.Origin = w.f.Point(geom.V3(0, 0, z0))
	for i, c := range t.Cuts {
		t.Cuts[i] = geom.Plane{Normal: c.Normal, D: c.D - c.Normal.Z*z0}
	}
	return t, nil
}

func setStart(s *geom.Seg, p geom.Vec2) {
	if s.Kind == geom.Cubic {
		s.P[1] = s.P[1].Add(p.Sub(s.P[0]))
	}
	s.P[0] = p
}

func setEnd(s *geom.Seg, p geom.Vec2) {
	if s.Kind == geom.Cubic {
		s.P[2] = s.P[2].Add(p.Sub(s.P[3]))
	}
	s.P[3] = p
}

// profilePoints are the vertices of round faces in the half-plane of the
// profile. Vertices that a cut left lie on the facets' chords; they are used
// only for straight sides, whose facets' edges lie on the surface, and there
// only the farthest out count.
func (w *turnWork) profilePoints() ([]turnPoint, error) {
	var out []turnPoint
	faces := make([]int32, len(w.at)) // face of a vertex, -2 for several
	for i := range faces {
		faces[i] = -1
	}
	for t, k := range w.s.Triangles {
		for _, v := range k {
			switch f := w.s.Of[t]; {
			case faces[v] == -1:
				faces[v] = f
			case faces[v] != f:
				faces[v] = -2
			}
		}
	}
	for i := range w.s.Faces {
		if w.kind[i] != turnRound {
			continue
		}
		vs := w.s.faceVertices(i)
		straight := w.s.Faces[i].Kind == Cylinder || w.s.Faces[i].Kind == Cone
		cut := false
		for _, v := range vs {
			p := geom.V2(w.at[v].XY().Len(), w.at[v].Z)
			if w.onCut[v] {
				cut = true
				continue
			}
			out = append(out, turnPoint{p, faces[v] == -2})
		}
		if !straight || !cut || w.goesOnCurved(i) {
			continue
		}
		a, b, ok := w.ruling(vs)
		if !ok {
			return nil, errors.New("it is not round about one axis")
		}
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, v := range vs {
			lo, hi = min(lo, w.at[v].Z), max(hi, w.at[v].Z)
		}
		for _, z := range []float64{lo, hi} {
			own := slices.ContainsFunc(vs, func(v int32) bool { return !w.onCut[v] && math.Abs(w.at[v].Z-z) <= 2*w.tol })
			if !own {
				out = append(out, turnPoint{geom.V2(a+b*z, z), true})
			}
		}
	}
	if len(out) == 0 {
		return nil, errors.New("nothing of its round side is left between its end cuts")
	}
	return out, nil
}

// goesOnCurved reports whether a straight side with a single ring of vertices
// left runs on into a curved one: then it is the last row of facets of that
// curve, cut off, and its slope says nothing of where the curve goes.
func (w *turnWork) goesOnCurved(face int) bool {
	ring := map[int32]bool{}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range w.s.faceVertices(face) {
		if !w.onCut[v] {
			ring[v] = true
			lo, hi = min(lo, w.at[v].Z), max(hi, w.at[v].Z)
		}
	}
	if len(ring) == 0 || hi-lo > 4*w.tol {
		return false
	}
	for t, k := range w.s.Triangles {
		if f := w.s.Faces[w.s.Of[t]]; f.Kind != Free && f.Kind != Sphere || w.kind[w.s.Of[t]] != turnRound {
			continue
		}
		if ring[k[0]] || ring[k[1]] || ring[k[2]] {
			return true
		}
	}
	return false
}

// ruling is the line r = a + b z along the outermost of the vertices.
func (w *turnWork) ruling(vs []int32) (a, b float64, ok bool) {
	use := make([]bool, len(vs))
	for i := range use {
		use[i] = true
	}
	for range 20 {
		var n, sz, sr, szz, szr float64
		for i, v := range vs {
			if use[i] {
				z, r := w.at[v].Z, w.at[v].XY().Len()
				n, sz, sr = n+1, sz+z, sr+r
			}
		}
		if n < 3 {
			return 0, 0, false
		}
		mz, mr := sz/n, sr/n
		for i, v := range vs {
			if use[i] {
				z, r := w.at[v].Z-mz, w.at[v].XY().Len()-mr
				szz, szr = szz+z*z, szr+z*r
			}
		}
		if szz == 0 {
			return 0, 0, false
		}
		b = szr / szz
		a = mr - b*mz
		worst := w.tol / 4
		// Drop what lies inside by more than half of the worst.
		var most float64
		for i, v := range vs {
			if use[i] {
				most = max(most, a+b*w.at[v].Z-w.at[v].XY().Len())
			}
		}
		if most <= worst {
			return a, b, true
		}
		for i, v := range vs {
			if use[i] && w.onCut[v] && a+b*w.at[v].Z-w.at[v].XY().Len() > most/2 {
				use[i] = false
			}
		}
	}
	return a, b, true
}

// carryProfile carries the low (else the high) end of the profile on to z.
func carryProfile(p geom.Path, z float64, low bool) (geom.Path, error) {
	h := geom.HalfPlane{N: geom.V2(0, 1), D: z}
	if low {
		p = p.Reversed()
		h = geom.HalfPlane{N: geom.V2(0, -1), D: -z}
	}
	more, ok := carryOn(p.Segs[len(p.Segs)-1], h)
	if !ok {
		return p, errors.New("its side runs level into an end cut")
	}
	p.Segs = joinOn(p.Segs, more)
	if low {
		p = p.Reversed()
	}
	return p, nil
}

// check measures how far vertices lie from the turning's surfaces.
func (w *turnWork) check(p geom.Path, t *Turning, low, high float64, lowDisc, highDisc bool) error {
	var worst float64
	for i := range w.s.Faces {
		if w.kind[i] == turnCut {
			continue
		}
		for _, v := range w.s.faceVertices(i) {
			q := geom.V2(w.at[v].XY().Len(), w.at[v].Z)
			if w.kind[i] == turnDisc && (lowDisc && q.Y-low <= 4*w.tol || highDisc && high-q.Y <= 4*w.tol) {
				worst = max(worst, min(math.Abs(q.Y-p.Segs[0].From().Y), math.Abs(q.Y-endOf(p).Y)))
				continue
			}
			_, d := p.Nearest(q)
			if w.onCut[v] { // it may lie on a chord
				d = max(0, d-1.5*w.s.Faces[i].Sag)
			}
			worst = max(worst, d)
		}
	}
	t.Residual = worst
	if !(worst <= 2*w.tol) {
		return fmt.Errorf("a point of it lies %.3f mm off the nearest turning", worst)
	}
	return nil
}
