package elastic

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"

	"groundwork/internal/geom"
)

// Motion is a way in which a body, or a loose part of it, can move without any
// strain: each point p moves by Shift + Turn × (p - Centre). The larger of the
// two, at the rim of the body, is 1.
type Motion struct {
	Body   int
	Name   string // of the body
	Part   int    // number of the loose part, from 0
	Parts  int    // how many the body falls into
	Centre geom.Vec3
	Shift  geom.Vec3 // mm
	Turn   geom.Vec3 // rad
	With   []string  // other bodies that must move too
}

func (m Motion) String() string {
	name := fmt.Sprintf("body %d", m.Body)
	if m.Name != "" {
		name = m.Name
	}
	if m.Parts > 1 {
		name += fmt.Sprintf(" (part %d of %d that do not hang together)", m.Part+1, m.Parts)
	}
	var how []string
	if l := m.Shift.Len(); l > 1e-6 {
		how = append(how, "slide along "+direction(m.Shift))
	}
	if m.Turn.Len() > 0 {
		how = append(how, "turn about "+direction(m.Turn))
	}
	s := name + " is free to " + strings.Join(how, " and ")
	if len(m.With) > 0 {
		s += ", together with " + strings.Join(m.With, ", ")
	}
	return s
}

func direction(v geom.Vec3) string {
	u := v.Unit()
	for i, c := range array(u) {
		if math.Abs(c) > 1-1e-6 {
			return string("xyz"[i])
		}
	}
	return fmt.Sprintf("(%.3f, %.3f, %.3f)", u.X, u.Y, u.Z)
}

// Mechanism is the error of a model that is not held, or does not stay so.
type Mechanism struct {
	Case    string // empty: whatever the load
	Motions []Motion
}

func (m *Mechanism) Error() string {
	s := "elastic: not held"
	if m.Case != "" {
		s = fmt.Sprintf("elastic: case %q: nothing holds against the load", m.Case)
	}
	for _, v := range m.Motions {
		s += "; " + v.String()
	}
	return s
}

// rigid is the model with every body stiff: six numbers, shift and turn, to
// each part that hangs together by cells' faces. Turns are scaled by the
// part's reach, so that all numbers are lengths.
type rigid struct {
	s      *System
	part   [][]int32 // by body, by cell: its part among all
	parts  []rigidPart
	always *mat.SymDense // rows of fixings and of what parts share, squared and summed
	links  []linkRows
}

type rigidPart struct {
	body, number, of int
	centre           geom.Vec3
	reach            float64
}

// linkRows are the directions that a link holds, as rows over all numbers.
type linkRows struct {
	normal [][]entry // first the axis
	across [][]entry
}

type entry struct {
	at int
	v  float64
}

// maxParts bounds the loose parts looked at, since they are counted densely.
const maxParts = 150

func newRigid(s *System) (*rigid, error) {
	r := &rigid{s: s}
	for bi, b := range s.bodies {
		labels, n := b.label()
		from := len(r.parts)
		if len(r.parts)+n > maxParts {
			return nil, fmt.Errorf("elastic: body %d %q: %w: %d; see Lattice.Whole", bi, b.name, ErrCrumbs, n)
		}
		boxes := make([]geom.Box3, n)
		for i := range boxes {
			boxes[i] = geom.EmptyBox3()
		}
		c := 0
		for k := range b.n[2] - 1 {
			for j := range b.n[1] - 1 {
				for i := range b.n[0] - 1 {
					if labels[c] >= 0 {
						box := &boxes[labels[c]]
						*box = box.Add(geom.V3(b.x[0][i], b.x[1][j], b.x[2][k])).Add(geom.V3(b.x[0][i+1], b.x[1][j+1], b.x[2][k+1]))
						labels[c] += int32(from)
					}
					c++
				}
			}
		}
		for i, box := range boxes {
			r.parts = append(r.parts, rigidPart{bi, i, n, b.world(array(box.Center())), box.Size().Len() / 2})
		}
		r.part = append(r.part, labels)
	}
	r.always = mat.NewSymDense(6*len(r.parts), nil)
	for bi, b := range s.bodies {
		if r.parts[r.part[bi][b.firstCell()]].of == 1 {
			continue
		}
		// Parts that share a node only are held together there in all three
		// directions: cells that meet along an edge are hinged.
		for n := range b.mask {
			first := int32(-1)
			for _, p := range r.partsAt(bi, n) {
				if first < 0 {
					first = p
				} else {
					at := b.world(b.position(n))
					for a := range 3 {
						r.add(r.always, r.row([]int32{first, p}, []float64{-1, 1}, at, b.axes[a]), 1)
					}
				}
			}
		}
	}
	for _, held := range s.fixings {
		for _, d := range held {
			n := int(d) / 3
			bi := len(s.bodies) - 1
			for s.bodies[bi].at > n {
				bi--
			}
			b := s.bodies[bi]
			at := b.world(b.position(n - b.at))
			for _, p := range r.partsAt(bi, n-b.at) {
				r.add(r.always, r.row([]int32{p}, []float64{1}, at, b.axes[d%3]), 1/float64(len(held)))
			}
		}
	}
	for i, l := range s.model.Links {
		var rows linkRows
		var parts []int32
		var signs []float64
		for side, bi := range [2]int{l.A, l.B} {
			if bi == Ground {
				continue
			}
			at := s.spots[i][side]
			parts = append(parts, r.part[bi][s.bodies[bi].cell(at.i, at.j, at.k)])
			signs = append(signs, float64(2*side-1))
		}
		if l.Along > 0 {
			rows.normal = append(rows.normal, r.row(parts, signs, l.At, l.Axis))
		}
		if l.Across > 0 {
			f := geom.FrameFromZ(l.At, l.Axis)
			rows.across = append(rows.across, r.row(parts, signs, l.At, f.X), r.row(parts, signs, l.At, f.Y))
		}
		r.links = append(r.links, rows)
	}
	return r, nil
}

func (b *lattice) firstCell() int {
	for c, k := range b.kind {
		if k >= 0 {
			return c
		}
	}
	return 0
}

// label numbers the parts of a body that hang together by faces.
func (b *lattice) label() (labels []int32, n int) {
	return label([3]int{b.n[0] - 1, b.n[1] - 1, b.n[2] - 1}, func(c int) bool { return b.kind[c] >= 0 })
}

// label numbers the parts of a block of m cells that hang together by faces;
// -1 where a cell is not filled.
func label(m [3]int, filled func(c int) bool) (labels []int32, n int) {
	labels = make([]int32, m[0]*m[1]*m[2])
	for i := range labels {
		labels[i] = -1
	}
	step := [3]int{1, m[0], m[0] * m[1]}
	var stack []int32
	for c := range labels {
		if !filled(c) || labels[c] >= 0 {
			continue
		}
		labels[c] = int32(n)
		stack = append(stack[:0], int32(c))
		for len(stack) > 0 {
			at := int(stack[len(stack)-1])
			stack = stack[:len(stack)-1]
			pos := [3]int{at % m[0], at / m[0] % m[1], at / (m[0] * m[1])}
			for a := range 3 {
				for _, d := range [2]int{-1, 1} {
					if p := pos[a] + d; p < 0 || p >= m[a] {
						continue
					}
					if to := at + d*step[a]; labels[to] < 0 && filled(to) {
						labels[to] = int32(n)
						stack = append(stack, int32(to))
					}
				}
			}
		}
		n++
	}
	return labels, n
}

// partsAt lists the parts whose cells meet at a node, each once.
func (r *rigid) partsAt(body, n int) (out []int32) {
	b := r.s.bodies[body]
	i, j, k := n%b.n[0], n/b.n[0]%b.n[1], n/(b.n[0]*b.n[1])
next:
	for c := range 8 {
		p, q, s := i-c&1, j-c>>1&1, k-c>>2
		if p < 0 || q < 0 || s < 0 || p >= b.n[0]-1 || q >= b.n[1]-1 || s >= b.n[2]-1 {
			continue
		}
		l := r.part[body][b.cell(p, q, s)]
		if l < 0 {
			continue
		}
		for _, o := range out {
			if o == l {
				continue next
			}
		}
		out = append(out, l)
	}
	return out
}

// row is the motion of the parts at a point, along dir, over their numbers.
func (r *rigid) row(parts []int32, signs []float64, at, dir geom.Vec3) (row []entry) {
	for i, p := range parts {
		pt := r.parts[p]
		turn := at.Sub(pt.centre).Cross(dir).Scale(1 / pt.reach)
		for a := range 3 {
			row = append(row, entry{6*int(p) + a, signs[i] * array(dir)[a]}, entry{6*int(p) + 3 + a, signs[i] * array(turn)[a]})
		}
	}
	return row
}

func (r *rigid) add(m *mat.SymDense, row []entry, w float64) {
	for _, a := range row {
		for _, b := range row {
			if b.at >= a.at {
				m.SetSym(a.at, b.at, m.At(a.at, b.at)+w*a.v*b.v)
			}
		}
	}
}

// loose gives an orthonormal basis (columns) of the motions that nothing
// prevents; nil if there is none.
func (r *rigid) loose(held func(i int) (normal, across bool)) *mat.Dense {
	n := 6 * len(r.parts)
	m := mat.NewSymDense(n, nil)
	m.CopySym(r.always)
	for i, l := range r.links {
		normal, across := held(i)
		if normal {
			for _, row := range l.normal {
				r.add(m, row, 1)
			}
		}
		if across {
			for _, row := range l.across {
				r.add(m, row, 1)
			}
		}
	}
	var e mat.EigenSym
	if !e.Factorize(m, true) {
		return nil
	}
	values := e.Values(nil)
	var vectors mat.Dense
	e.VectorsTo(&vectors)
	// Levers enter squared: this takes two screws 3e-5 of a part's reach apart
	// for one.
	k := 0
	for k < n && values[k] <= 1e-9 {
		k++
	}
	if k == 0 {
		return nil
	}
	return mat.DenseCopyOf(vectors.Slice(0, n, 0, k))
}

// free lists the motions left to the model as the links bear.
func (r *rigid) free(holds []hold) []Motion {
	q := r.loose(func(i int) (bool, bool) { return holds[i] != opens, holds[i] == bears })
	if q == nil {
		return nil
	}
	// Reduced by elimination, the basis speaks of few bodies at a time.
	n, k := q.Dims()
	var out []Motion
	used := make([]bool, n)
	for c := range k {
		row, col := -1, -1
		for i := range n {
			for j := c; j < k; j++ {
				if !used[i] && (row < 0 || math.Abs(q.At(i, j)) > math.Abs(q.At(row, col))+1e-9) {
					row, col = i, j
				}
			}
		}
		used[row] = true
		for i := range n {
			a, b := q.At(i, c), q.At(i, col)
			q.Set(i, c, b)
			q.Set(i, col, a)
		}
		pivot := q.At(row, c)
		for i := range n {
			q.Set(i, c, q.At(i, c)/pivot)
		}
		for j := range k {
			if f := q.At(row, j); j != c && f != 0 {
				for i := range n {
					q.Set(i, j, q.At(i, j)-f*q.At(i, c))
				}
			}
		}
	}
	for c := range k {
		v := make([]float64, n)
		mat.Col(v, c, q)
		out = append(out, r.motion(v))
	}
	return out
}

// motion describes a vector by the part that moves most.
func (r *rigid) motion(v []float64) Motion {
	best, size := 0, make([]float64, len(r.parts))
	for p := range r.parts {
		for d := range 6 {
			size[p] = max(size[p], math.Abs(v[6*p+d]))
		}
		if size[p] > size[best]*(1+1e-9) {
			best = p
		}
	}
	pt := r.parts[best]
	clean := func(x float64) float64 {
		if x /= size[best]; math.Abs(x) < 1e-7 {
			return 0
		} else {
			return x
		}
	}
	w := v[6*best : 6*best+6]
	m := Motion{
		Body: pt.body, Name: r.s.bodies[pt.body].name, Part: pt.number, Parts: pt.of, Centre: pt.centre,
		Shift: geom.V3(clean(w[0]), clean(w[1]), clean(w[2])),
		Turn:  geom.V3(clean(w[3]), clean(w[4]), clean(w[5])).Scale(1 / pt.reach),
	}
	for p := range r.parts {
		if o := r.parts[p].body; p != best && size[p] > 1e-6*size[best] && o != pt.body {
			if name := r.s.bodies[o].name; len(m.With) == 0 || m.With[len(m.With)-1] != name {
				m.With = append(m.With, name)
			}
		}
	}
	return m
}

// tips looks for a motion that the load drives and that only opens contacts:
// it seeks pressures that, with what else holds, balance the load on stiff
// bodies, by least squares with no pressure below nought (Lawson and Hanson,
// Solving Least Squares Problems, 1974, ch. 23). What is left unbalanced is
// that motion. Contacts that hold sideways are taken to do so whether they
// press or not, so that a finding is sure and its absence is not.
func (r *rigid) tips(load []float64) []Motion {
	var contacts []int
	for i, l := range r.s.model.Links {
		if l.Contact {
			contacts = append(contacts, i)
		}
	}
	if len(contacts) == 0 {
		return nil
	}
	q := r.loose(func(i int) (bool, bool) { return !r.s.model.Links[i].Contact, true })
	if q == nil {
		return nil
	}
	n, k := q.Dims()
	wrench := make([]float64, n)
	for bi, b := range r.s.bodies {
		for node := range b.mask {
			f := b.part(load)[3*node : 3*node+3]
			if f[0] == 0 && f[1] == 0 && f[2] == 0 {
				continue
			}
			ps := r.partsAt(bi, node)
			for _, e := range r.row(ps[:1], []float64{1}, b.world(b.position(node)), b.worldDir([3]float64(f))) {
				wrench[e.at] += e.v
			}
		}
	}
	var goal mat.VecDense
	goal.MulVec(q.T(), mat.NewVecDense(n, wrench))
	if mat.Norm(&goal, 2) <= 1e-9*mat.Norm(mat.NewVecDense(n, wrench), 2) {
		return nil
	}
	// Pressure drives B along the axis and A against it: the row itself.
	push := mat.NewDense(k, len(contacts), nil)
	for c, i := range contacts {
		for _, e := range r.links[i].normal[0] {
			for j := range k {
				push.Set(j, c, push.At(j, c)+e.v*q.At(e.at, j))
			}
		}
	}
	left := balance(push, &goal)
	if mat.Norm(left, 2) <= 1e-7*mat.Norm(&goal, 2) {
		return nil
	}
	var v mat.VecDense
	v.MulVec(q, left)
	return []Motion{r.motion(v.RawVector().Data)}
}

// balance minimises |goal + push f| over f >= 0 and returns goal + push f.
func balance(push *mat.Dense, goal *mat.VecDense) *mat.VecDense {
	k, n := push.Dims()
	f := make([]float64, n)
	in := make([]bool, n)
	left := mat.VecDenseCopyOf(goal)
	scale := mat.Norm(goal, 2)
	refresh := func() {
		left.MulVec(push, mat.NewVecDense(n, f))
		left.AddVec(left, goal)
	}
	for range 5 * (n + 1) {
		best, pull := -1, 1e-10*scale
		for c := range n {
			if in[c] {
				continue
			}
			if w := -mat.Dot(push.ColView(c), left); w > pull {
				best, pull = c, w
			}
		}
		if best < 0 {
			break
		}
		in[best] = true
		for {
			var cols []int
			for c := range n {
				if in[c] {
					cols = append(cols, c)
				}
			}
			// Least squares over the pressing ones, with a trace of damping as
			// many contacts do what few could.
			a := mat.NewSymDense(len(cols), nil)
			b := mat.NewVecDense(len(cols), nil)
			for i, c := range cols {
				b.SetVec(i, -mat.Dot(push.ColView(c), goal))
				for j := i; j < len(cols); j++ {
					v := mat.Dot(push.ColView(c), push.ColView(cols[j]))
					if i == j {
						v += 1e-12 * float64(k)
					}
					a.SetSym(i, j, v)
				}
			}
			var chol mat.Cholesky
			var z mat.VecDense
			if !chol.Factorize(a) {
				in[best] = false
				break
			}
			_ = chol.SolveVecTo(&z, b)
			step, stop := 1.0, -1
			for i, c := range cols {
				if z.AtVec(i) <= 0 {
					if t := f[c] / (f[c] - z.AtVec(i)); t < step || stop < 0 {
						step, stop = min(step, t), c
					}
				}
			}
			for i, c := range cols {
				f[c] += step * (z.AtVec(i) - f[c])
			}
			if stop < 0 {
				break
			}
			f[stop], in[stop] = 0, false
			for _, c := range cols {
				if f[c] <= 0 {
					f[c], in[c] = 0, false
				}
			}
		}
		refresh()
	}
	return left
}
