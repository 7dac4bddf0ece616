package unfold

import (
	"math"
	"slices"

	"groundwork/internal/geom"
)

// layout lays an opened mesh flat.
//
// It is first unrolled triangle by triangle, which is exact where no inner
// vertex has a defect, and relaxed from there. If unrolling turns a triangle
// over, because the defects add up, the mesh is spread over a disk instead,
// where nothing is turned over, and relaxed from that.
func (m *mesh) layout() ([]geom.Vec2, error) {
	flat := m.unroll()
	if !m.turnsOver(flat) {
		return m.layoutFrom(flat)
	}
	flat, err := m.spread()
	if err != nil {
		return nil, err
	}
	return m.layoutFrom(flat)
}

// layoutFrom relaxes a layout that turns no triangle over; if it does, the
// layout is found from nothing.
func (m *mesh) layoutFrom(flat []geom.Vec2) ([]geom.Vec2, error) {
	if m.turnsOver(flat) {
		if flat = m.unroll(); m.turnsOver(flat) {
			var err error
			if flat, err = m.spread(); err != nil {
				return nil, err
			}
		}
	}
	return m.relax(flat)
}

// turnsOver reports whether a triangle of the layout is turned over, or so far
// squashed that it is as good as turned over.
func (m *mesh) turnsOver(flat []geom.Vec2) bool {
	const least = 1e-6 // of the true area
	for t, c := range m.tri {
		a := m.facet(t).Len()
		if a <= sliver*m.longest2(t) {
			continue
		}
		p := flat[c[0]]
		if !(flat[c[1]].Sub(p).Cross(flat[c[2]].Sub(p)) > least*a) {
			return true
		}
	}
	return false
}

// longest2 is the square of a triangle's longest side.
func (m *mesh) longest2(t int) float64 {
	a, b, c := m.v[m.tri[t][0]], m.v[m.tri[t][1]], m.v[m.tri[t][2]]
	u, v, w := b.Sub(a), c.Sub(b), a.Sub(c)
	return max(u.Dot(u), v.Dot(v), w.Dot(w))
}

// pose is a rigid motion of the plane: a turn, then a shift.
type pose struct{ turn, at geom.Vec2 }

func (p pose) put(q geom.Vec2) geom.Vec2 {
	return geom.V2(p.turn.X*q.X-p.turn.Y*q.Y, p.turn.Y*q.X+p.turn.X*q.Y).Add(p.at)
}

// own is a triangle in a plane of its own: first corner at the origin, second
// on the x axis.
func (m *mesh) own(t int32) [3]geom.Vec2 {
	a, b, c := m.v[m.tri[t][0]], m.v[m.tri[t][1]], m.v[m.tri[t][2]]
	u, v := b.Sub(a), c.Sub(a)
	l := u.Len()
	if l == 0 {
		return [3]geom.Vec2{{}, {}, {X: v.Len()}}
	}
	return [3]geom.Vec2{{}, {X: l}, {X: u.Dot(v) / l, Y: u.Cross(v).Len() / l}}
}

// unroll lays triangles edge to edge, breadth first from one that is far from
// the border, each moved rigidly so that its side lies on its predecessor's.
// A vertex goes to the mean of where its triangles put it. If nothing has a
// defect they all agree. Where they do not, the vertices are moved to where the
// triangles' maps come nearest, in the least-squares sense, to the turns that
// they were laid with, and the turns to the maps, a few times over (Sorkine and
// Alexa, As-rigid-as-possible surface modeling, 2007).
//
// The error of the poses grows only with the number of steps. Placing each
// triangle on two vertices that others have placed would let it grow by a
// factor with every step.
func (m *mesh) unroll() []geom.Vec2 {
	poses := make([]pose, len(m.tri))
	queued := make([]bool, len(m.tri))
	first := m.inmost()
	poses[first].turn.X = 1
	queue := []int32{first}
	queued[first] = true
	for i := 0; i < len(queue); i++ {
		t := queue[i]
		shape := m.own(t)
		for c := range int32(3) {
			o := m.twin[3*t+c]
			if o < 0 || queued[o/3] {
				continue
			}
			queued[o/3] = true
			queue = append(queue, o/3)
			// The neighbour's side runs from the far end of ours to the near end.
			its := m.own(o / 3)
			a, b := its[o%3], its[(o%3+1)%3]
			d, e := poses[t].put(shape[(c+1)%3]), poses[t].put(shape[c])
			side, want := b.Sub(a), e.Sub(d)
			turn := geom.V2(side.Dot(want), side.Cross(want)).Unit()
			if turn == (geom.Vec2{}) {
				turn = poses[t].turn
			}
			p := pose{turn: turn}
			p.at = d.Add(e).Scale(0.5).Sub(p.put(a.Add(b).Scale(0.5)))
			poses[o/3] = p
		}
	}
	flat := make([]geom.Vec2, len(m.v))
	count := make([]float64, len(m.v))
	for t, c := range m.tri {
		for k, q := range m.own(int32(t)) {
			flat[c[k]] = flat[c[k]].Add(poses[t].put(q))
			count[c[k]]++
		}
	}
	for i, n := range count {
		flat[i] = flat[i].Scale(1 / n)
	}
	rs := m.rests()
	area := 0.0
	for _, r := range rs {
		area += r.area
	}
	const agree = 1e-16 // a strain of 1e-8: relaxing does the rest
	if m.strain(rs, flat) <= agree*area {
		return flat
	}
	sys := newSystem(1, m.sides(), m.v)
	for t, c := range m.tri {
		for i := range 3 {
			for j := range i + 1 {
				sys.add(c[i], c[j], rs[t].area*rs[t].w[i].Dot(rs[t].w[j]))
			}
		}
	}
	sys.val[sys.slot(0, 0)] *= 2 // holds vertex 0 at the origin: the rest moves with it
	if !sys.factor(1e-12) {
		return flat
	}
	x, y := make([]float64, len(m.v)), make([]float64, len(m.v))
	const rounds = 12
	for range rounds {
		clear(x)
		clear(y)
		for t, c := range m.tri {
			r, turn := rs[t], poses[t].turn
			for i, w := range r.w {
				x[c[i]] += r.area * (turn.X*w.X - turn.Y*w.Y)
				y[c[i]] += r.area * (turn.Y*w.X + turn.X*w.Y)
			}
		}
		x[0], y[0] = 0, 0
		sys.solve(x)
		sys.solve(y)
		for i := range flat {
			flat[i] = geom.V2(x[i], y[i])
		}
		if !m.turnsOver(flat) {
			break
		}
		for t, c := range m.tri {
			if rs[t].area > 0 {
				a, b, cc, d := rs[t].jacobian(flat[c[0]], flat[c[1]], flat[c[2]])
				poses[t].turn = geom.V2(a+d, cc-b).Unit()
			}
		}
	}
	return flat
}

// sides lists every side once.
func (m *mesh) sides() (s [][2]int32) {
	for h, o := range m.twin {
		if o < int32(h) {
			s = append(s, [2]int32{m.from(int32(h)), m.to(int32(h))})
		}
	}
	return s
}

// inmost is the triangle most triangles away from the border.
func (m *mesh) inmost() int32 {
	seen := make([]bool, len(m.tri))
	var queue []int32
	for h, o := range m.twin {
		if t := int32(h / 3); o < 0 && !seen[t] {
			seen[t] = true
			queue = append(queue, t)
		}
	}
	for i := 0; i < len(queue); i++ {
		for c := range int32(3) {
			if o := m.twin[3*queue[i]+c]; o >= 0 && !seen[o/3] {
				seen[o/3] = true
				queue = append(queue, o/3)
			}
		}
	}
	// Of the last ring the middle one would do as well; a long strip is entered
	// near its middle because both ends are borders.
	return queue[len(queue)-1]
}

// spread lays the mesh over a disk: the outer border on the circle, every
// other vertex at the weighted mean of its neighbours, holes closed by a
// vertex in their middle. No triangle is turned over, whatever the positive
// weights (Tutte, How to draw a graph, 1963).
func (m *mesh) spread() ([]geom.Vec2, error) {
	loops := m.borders()
	outer, longest := 0, 0.0
	length := func(h int32) float64 { return m.v[m.from(h)].Dist(m.v[m.to(h)]) }
	area := 0.0
	for t := range m.tri {
		area += m.facet(t).Len() / 2
	}
	for i, l := range loops {
		sum := 0.0
		for _, h := range l {
			sum += length(h)
		}
		if sum > longest {
			outer, longest = i, sum
		}
	}
	n := len(m.v)
	places := slices.Clone(m.v)
	var sides [][2]int32
	var weight []float64
	mean := longest / float64(len(loops[outer]))
	add := func(i, j int32, l float64) {
		sides = append(sides, [2]int32{i, j})
		weight = append(weight, 1/max(l, 1e-3*mean))
	}
	for h, o := range m.twin {
		if o < int32(h) {
			add(m.from(int32(h)), m.to(int32(h)), length(int32(h)))
		}
	}
	for i, l := range loops {
		if i == outer {
			continue
		}
		middle := geom.Vec3{}
		for _, h := range l {
			add(m.from(h), int32(n), mean)
			middle = middle.Add(m.v[m.from(h)].Scale(1 / float64(len(l))))
		}
		places = append(places, middle)
		n++
	}
	fixed := make([]bool, n)
	at := make([]geom.Vec2, n)
	radius := math.Sqrt(area / math.Pi)
	run := 0.0
	for _, h := range loops[outer] {
		v := m.from(h)
		s, c := math.Sincos(2 * math.Pi * run / longest)
		fixed[v], at[v] = true, geom.V2(c, s).Scale(radius)
		run += length(h)
	}
	// A fixed vertex keeps an equation of its own, x = given.
	sys := newSystem(1, sides, places)
	bx, by := make([]float64, n), make([]float64, n)
	for i := range n {
		if fixed[i] {
			sys.add(int32(i), int32(i), 1)
			bx[i], by[i] = at[i].X, at[i].Y
		}
	}
	for e, s := range sides {
		for k := range 2 {
			i, j := s[k], s[1-k]
			if fixed[i] {
				continue
			}
			sys.add(i, i, weight[e])
			if fixed[j] {
				bx[i] += weight[e] * at[j].X
				by[i] += weight[e] * at[j].Y
			} else if k == 0 {
				sys.add(i, j, -weight[e])
			}
		}
	}
	if !sys.factor(0) {
		return nil, ErrNotFlat
	}
	sys.solve(bx)
	sys.solve(by)
	flat := make([]geom.Vec2, len(m.v))
	for i := range flat {
		flat[i] = geom.V2(bx[i], by[i])
	}
	for t, c := range m.tri {
		p := flat[c[0]]
		if m.facet(t).Len() > sliver*m.longest2(t) && !(flat[c[1]].Sub(p).Cross(flat[c[2]].Sub(p)) > 0) {
			return nil, ErrNotFlat
		}
	}
	return flat, nil
}

// rest is a triangle's own shape: the inverse of the matrix of its two sides
// from the first corner, and its area.
type rest struct {
	w    [3]geom.Vec2 // d(map)/d(corner): the map to the plane is Σ qᵢ wᵢᵀ
	area float64      // 0 for a sliver, which is left out
}

func (m *mesh) rests() []rest {
	rs := make([]rest, len(m.tri))
	for t, c := range m.tri {
		a, b, d := m.v[c[0]], m.v[c[1]], m.v[c[2]]
		u, v := b.Sub(a), d.Sub(a)
		l := u.Len()
		h := u.Cross(v).Len()
		if h <= sliver*m.longest2(t) {
			continue
		}
		x, y := u.Dot(v)/l, h/l
		// Sides (l, 0) and (x, y): the inverse is [1/l, -x/(l y); 0, 1/y].
		w1, w2 := geom.V2(1/l, -x/(l*y)), geom.V2(0, 1/y)
		rs[t] = rest{[3]geom.Vec2{w1.Add(w2).Scale(-1), w1, w2}, h / 2}
	}
	return rs
}

// svd is a 2×2 matrix as U diag(s1, s2) Vᵀ with rotations U and V; s2 is
// negative where the matrix turns over. Columns: u and its left, v and its left.
func svd(a, b, c, d float64) (u, v geom.Vec2, s1, s2 float64) {
	e, f, g, h := (a+d)/2, (a-d)/2, (c+b)/2, (c-b)/2
	q, r := math.Hypot(e, h), math.Hypot(f, g)
	a1, a2 := math.Atan2(g, f), math.Atan2(h, e)
	sn, cs := math.Sincos((a2 + a1) / 2)
	u = geom.V2(cs, sn)
	sn, cs = math.Sincos((a1 - a2) / 2)
	v = geom.V2(cs, sn)
	return u, v, q + r, q - r
}

// jacobian is the map of a triangle to the plane, by rows.
func (r rest) jacobian(p, q, s geom.Vec2) (a, b, c, d float64) {
	a = p.X*r.w[0].X + q.X*r.w[1].X + s.X*r.w[2].X
	b = p.X*r.w[0].Y + q.X*r.w[1].Y + s.X*r.w[2].Y
	c = p.Y*r.w[0].X + q.Y*r.w[1].X + s.Y*r.w[2].X
	d = p.Y*r.w[0].Y + q.Y*r.w[1].Y + s.Y*r.w[2].Y
	return
}

// strain is the energy (s1 - 1/s1)² + (s2 - 1/s2)² over the mesh, +Inf where a
// triangle is turned over.
func (m *mesh) strain(rs []rest, flat []geom.Vec2) float64 {
	sum := 0.0
	for t, c := range m.tri {
		r := &rs[t]
		if r.area == 0 {
			continue
		}
		ja, jb, jc, jd := r.jacobian(flat[c[0]], flat[c[1]], flat[c[2]])
		s1 := math.Hypot((ja+jd)/2, (jc-jb)/2) + math.Hypot((ja-jd)/2, (jc+jb)/2)
		s2 := (ja*jd - jb*jc) / s1
		if !(s2 > 0) {
			return math.Inf(1)
		}
		x, y := s1-1/s1, s2-1/s2
		sum += r.area * (x*x + y*y)
	}
	return sum
}

// relax moves a layout without turned-over triangles to one of least strain,
// by Newton's method. With f(s) = s² + s⁻², a triangle's energy f(s1) + f(s2)
// has, as a function of its map U diag(s1, s2) Vᵀ, the eigenvalues and -matrices
//
//	f″(sᵢ)                     U eᵢeᵢᵀ Vᵀ
//	(f′(s1) + f′(s2))/(s1+s2)  U [0 -1; 1 0] Vᵀ/√2   (rotation; clamped at 0)
//	(f′(s1) - f′(s2))/(s1-s2)  U [0 1; 1 0] Vᵀ/√2    (shear; always positive)
//
// (Smith, de Goes, Kim: Analytic eigensystems for isotropic distortion
// energies, 2019), so that each step is a descent and the last ones are
// Newton's own. Steps stop short of turning a triangle over.
func (m *mesh) relax(flat []geom.Vec2) ([]geom.Vec2, error) {
	flat = slices.Clone(flat)
	rs := m.rests()
	size2, area := 0.0, 0.0
	for t := range rs {
		area += rs[t].area
		size2 = max(size2, m.longest2(t))
	}
	if area == 0 {
		return nil, ErrNoMesh
	}
	e := m.strain(rs, flat)
	if math.IsInf(e, 1) {
		return nil, ErrNotFlat
	}
	const exact = 1e-27 // strains of 3e-14 are rounding
	if e <= exact*area {
		return flat, nil
	}
	n := len(m.v)
	sys := newSystem(2, m.sides(), m.v)
	slots := make([][21]int32, len(m.tri))
	for t, c := range m.tri {
		k := 0
		for i := range 6 {
			for j := range i + 1 {
				slots[t][k] = sys.slot(2*c[i/2]+int32(i%2), 2*c[j/2]+int32(j%2))
				k++
			}
		}
	}
	g := make([]float64, 2*n)
	trial := make([]geom.Vec2, n)
	const most = 200
	for range most {
		sys.clear()
		clear(g)
		for t, c := range m.tri {
			r := &rs[t]
			if r.area == 0 {
				continue
			}
			ja, jb, jc, jd := r.jacobian(flat[c[0]], flat[c[1]], flat[c[2]])
			u, v, s1, s2 := svd(ja, jb, jc, jd)
			// det/s1 keeps its digits where s2 is small.
			s2 = (ja*jd - jb*jc) / s1
			df := func(s float64) float64 { return 2 * (s - 1/s) * (1 + 1/(s*s)) }
			ddf := func(s float64) float64 { return 2 + 6/(s*s*s*s) }
			d1, d2 := df(s1), df(s2)
			twist := max(0, (d1+d2)/(s1+s2))
			p := s1 * s2
			shear := 2 + 2*(s1*s1+p+s2*s2)/(p*p*p)
			ul, vl := u.Left(), v.Left()
			// Each mode's gradient with respect to the six coordinates.
			var modes [4][6]float64
			for i, w := range r.w {
				x, y := v.Dot(w), vl.Dot(w) // Vᵀ w
				const half = math.Sqrt2 / 2
				m1, m2 := u.Scale(x), ul.Scale(y)
				m3 := ul.Scale(x).Sub(u.Scale(y)).Scale(half)
				m4 := u.Scale(y).Add(ul.Scale(x)).Scale(half)
				modes[0][2*i], modes[0][2*i+1] = m1.X, m1.Y
				modes[1][2*i], modes[1][2*i+1] = m2.X, m2.Y
				modes[2][2*i], modes[2][2*i+1] = m3.X, m3.Y
				modes[3][2*i], modes[3][2*i+1] = m4.X, m4.Y
			}
			value := [4]float64{ddf(s1), ddf(s2), twist, shear}
			k := 0
			for i := range 6 {
				a := modes[0][i] * value[0] * r.area
				b := modes[1][i] * value[1] * r.area
				cc := modes[2][i] * value[2] * r.area
				d := modes[3][i] * value[3] * r.area
				for j := range i + 1 {
					sys.val[slots[t][k]] += a*modes[0][j] + b*modes[1][j] + cc*modes[2][j] + d*modes[3][j]
					k++
				}
				g[2*c[i/2]+int32(i%2)] -= r.area * (d1*modes[0][i] + d2*modes[1][i])
			}
		}
		slope := slices.Clone(g)
		for bump := 1e-11; !sys.factor(bump); bump *= 1000 {
			if bump > 1 {
				return nil, ErrNotFlat
			}
		}
		sys.solve(g)
		drop, most := 0.0, 0.0 // the decrease that the step promises; its length
		for i, d := range g {
			drop += d * slope[i]
			most = max(most, math.Abs(d))
		}
		t := 1.0
		if f := m.turning(rs, flat, g); f < 1/0.8 {
			t = 0.8 * f
		}
		better := false
		for range 40 {
			for i := range trial {
				trial[i] = geom.V2(flat[i].X+t*g[2*i], flat[i].Y+t*g[2*i+1])
			}
			if now := m.strain(rs, trial); now <= e-1e-4*t*drop {
				e, better = now, true
				break
			}
			t /= 2
		}
		if better {
			copy(flat, trial)
		}
		if !better || e <= exact*area || drop <= 1e-13*e || most*most <= 1e-28*size2 {
			break
		}
	}
	return flat, nil
}

// turning is the smallest positive share of the step at which a triangle loses
// its area.
func (m *mesh) turning(rs []rest, flat []geom.Vec2, step []float64) float64 {
	first := math.Inf(1)
	for t, c := range m.tri {
		if rs[t].area == 0 {
			continue
		}
		at := func(i int32) geom.Vec2 { return geom.V2(step[2*i], step[2*i+1]) }
		a, b := flat[c[1]].Sub(flat[c[0]]), flat[c[2]].Sub(flat[c[0]])
		da, db := at(c[1]).Sub(at(c[0])), at(c[2]).Sub(at(c[0]))
		// (a + t da) × (b + t db) = k0 + k1 t + k2 t²
		k0, k1, k2 := a.Cross(b), a.Cross(db)+da.Cross(b), da.Cross(db)
		disc := k1*k1 - 4*k2*k0
		if disc < 0 {
			continue
		}
		q := -(k1 + math.Copysign(math.Sqrt(disc), k1)) / 2
		for _, r := range [2]float64{k0 / q, q / k2} {
			if r > 0 && r < first {
				first = r
			}
		}
	}
	return first
}
