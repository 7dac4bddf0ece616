package elastic

import (
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// ties lets the smoother of the finest level feel the links fully: D + GᵀG is
// inverted instead of D (G: a row for each direction that a link holds, times the
// root of its stiffness) by the formula of Sherman, Morrison and Woodbury,
//
//	(D + GᵀG)⁻¹ = D⁻¹ - H (1 + G H)⁻¹ Hᵀ,  H = D⁻¹Gᵀ.
//
// Without it the directions in which stiff links pull take an iteration or more
// each. Only links that share columns meet in 1 + G H, so it is sparse.
type ties struct {
	pattern *pattern  // a block to each link
	base    []float64 // 1 + G H when every link bears
	links   []tied
}

// tied is a link's rows of Hᵀ: those across it first.
type tied struct {
	across, rows int
	at           []int32 // the numbers that they touch, ascending
	h            []float64
}

// sparse holds numbers of a level's vector.
type sparse struct {
	at []int32
	v  []float64
}

// newTies is made once the columns have their factors.
func newTies(h *hierarchy) *ties {
	l := h.levels[0]
	n := len(l.springs)
	t := &ties{links: make([]tied, n)}
	g := make([][]sparse, n)
	each(n, func(i int) {
		g[i] = l.springs[i].rows(h.links[i], l)
		t.links[i] = h.respond(&l.springs[i], g[i])
		if h.links[i].Across > 0 && len(g[i]) > 0 {
			t.links[i].across = 2
		}
	})
	size, next := make([]int, n), make([][]int32, n)
	on := map[[2]int][]int32{} // links by bundle of columns
	for i := range n {
		size[i] = len(g[i])
		for _, id := range h.bundlesOf(&l.springs[i]) {
			next[i] = append(next[i], on[id]...)
			on[id] = append(on[id], int32(i))
		}
		slices.Sort(next[i])
		next[i] = slices.Compact(next[i])
	}
	t.pattern = newPattern(size, next)
	t.base = make([]float64, t.pattern.len)
	each(n, func(i int) {
		for _, j := range append(next[i], int32(i)) {
			other := &t.links[j]
			block := make([]float64, size[i]*size[j])
			for r, row := range g[i] {
				for e, a := range row.at {
					c, ok := slices.BinarySearch(other.at, a)
					if !ok {
						continue // not its columns
					}
					for q := range size[j] {
						block[r*size[j]+q] += row.v[e] * other.h[q*len(other.at)+c]
					}
				}
				if int(j) == i {
					block[r*size[j]+r]++
				}
			}
			t.pattern.add(t.base, i, int(j), block)
		}
	})
	return t
}

// bundlesOf are the body and bundle of every column that the spring touches.
func (h *hierarchy) bundlesOf(s *spring) (out [][2]int) {
	for _, t := range s.terms {
		if id := [2]int{t.body, int(h.columns[t.body].of[t.node/h.bodies[t.body].n[0]])}; !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	return out
}

// rows are what the link holds, times the root of its stiffness: across it first.
func (s *spring) rows(link Link, l *level) (out []sparse) {
	f := geom.FrameFromZ(geom.Vec3{}, link.Axis)
	for i, d := range [3]geom.Vec3{f.X, f.Y, link.Axis} {
		k := math.Sqrt(link.Across)
		if i == 2 {
			k = math.Sqrt(link.Along)
		}
		if k == 0 {
			continue
		}
		var row sparse
		dir := array(d)
		for j := range s.terms {
			t := &s.terms[j]
			for c := range l.dof {
				row.at = append(row.at, int32(l.dof*(l.at[t.body]+t.node)+c))
				row.v = append(row.v, k*(dir[0]*t.g[0][c]+dir[1]*t.g[1][c]+dir[2]*t.g[2][c]))
			}
		}
		out = append(out, row)
	}
	return out
}

// respond is D⁻¹ times the rows of a link.
func (h *hierarchy) respond(s *spring, rows []sparse) tied {
	out := tied{rows: len(rows)}
	bundles := h.bundlesOf(s)
	for _, id := range bundles {
		b, g := h.bodies[id[0]], h.columns[id[0]].bundles[id[1]]
		for col := range g.columns() {
			for i := range 3 * b.n[0] {
				out.at = append(out.at, int32(3*(b.at+g.base(b, col))+i))
			}
		}
	}
	as := slices.Clone(out.at) // bundle after bundle
	slices.Sort(out.at)
	in, z := make([]float64, len(as)), make([]float64, len(as))
	out.h = make([]float64, len(rows)*len(as))
	for r, row := range rows {
		clear(in)
		for e, a := range row.at {
			if !h.isFixed(a) {
				in[slices.Index(as, a)] += row.v[e]
			}
		}
		from := 0
		for _, id := range bundles {
			b, cs := h.bodies[id[0]], h.columns[id[0]]
			g := cs.bundles[id[1]]
			to := from + 3*b.n[0]*g.columns()
			cs.alone(b, g, in[from:to], z[from:to])
			from = to
		}
		for e, a := range as {
			at, _ := slices.BinarySearch(out.at, a)
			out.h[r*len(as)+at] = z[e]
		}
	}
	return out
}

// isFixed reports whether a number of the finest level does not move.
func (h *hierarchy) isFixed(a int32) bool {
	body := len(h.bodies) - 1
	for h.bodies[body].at > int(a)/3 {
		body--
	}
	b := h.bodies[body]
	return b.mask[int(a)/3-b.at]>>(a%3)&1 == 1
}

// bear puts the factor of 1 + G H for the links that bear into v.
func (t *ties) bear(holds []hold, v []float64) error {
	// It is one plus what is semidefinite; single-precision factors of D may tip it
	// only if a link is a million times stiffer than what it holds.
	for _, more := range []float64{0, 1e-8, 1e-5, 1e-2} {
		copy(v, t.base)
		for i, h := range holds {
			l := &t.links[i]
			switch h {
			case opens:
				t.pattern.drop(v, i, 0, l.rows)
			case slips:
				t.pattern.drop(v, i, 0, l.across)
			}
			d := t.pattern.diag[t.pattern.place[i]]
			for r := range l.rows {
				v[d+r*(l.rows+1)] *= 1 + more
			}
		}
		if t.pattern.factor(v) {
			return nil
		}
	}
	return fmt.Errorf("elastic: links are too stiff for what they hold: %w", ErrNoConvergence)
}

// apply subtracts scale · H (1 + G H)⁻¹ Hᵀ r from z; v is the factor and in work
// space.
func (t *ties) apply(holds []hold, v, in, r, z []float64, scale float64) {
	each((len(t.links)+63)/64, func(part int) {
		for i := 64 * part; i < min(len(t.links), 64*(part+1)); i++ {
			l := &t.links[i]
			to := in[t.pattern.first[i]:t.pattern.first[i+1]]
			clear(to)
			for q := l.dropped(holds[i]); q < l.rows; q++ {
				sum := 0.0
				h := l.h[q*len(l.at) : (q+1)*len(l.at)]
				for e, a := range l.at {
					sum += h[e] * r[a]
				}
				to[q] = sum
			}
		}
	})
	t.pattern.solve(v, in)
	for i := range t.links { // in turn, for they share columns
		l := &t.links[i]
		for q := l.dropped(holds[i]); q < l.rows; q++ {
			k := scale * in[t.pattern.first[i]+q]
			h := l.h[q*len(l.at) : (q+1)*len(l.at)]
			for e, a := range l.at {
				z[a] -= k * h[e]
			}
		}
	}
}

// dropped is how many of its rows, of the first, a link does without.
func (l *tied) dropped(h hold) int {
	switch h {
	case opens:
		return l.rows
	case slips:
		return l.across
	}
	return 0
}

// web is the matrix of a coarse level with the links in it, made ready to be
// factored: of the last level all of it, of others the blocks of those nodes
// that links touch.
type web struct {
	pattern *pattern
	nodes   []int   // of each block, on the level
	block   []int32 // of each node, -1 for none
	base    []float64
	springs []spring
	loose   []int // the contacts among them; the others are in base
	at      []int
}

func newWeb(l *level, links []Link, whole bool) *web {
	w := &web{block: make([]int32, l.nodes), springs: l.springs, at: l.at}
	for i := range w.block {
		w.block[i] = -1
	}
	for i := range l.springs {
		for _, t := range l.springs[i].terms {
			w.block[l.at[t.body]+t.node] = 0
		}
	}
	for n := range w.block {
		if whole || w.block[n] == 0 {
			w.block[n] = int32(len(w.nodes))
			w.nodes = append(w.nodes, n)
		}
	}
	size, next := make([]int, len(w.nodes)), make([][]int32, len(w.nodes))
	for i := range size {
		size[i] = 6
	}
	for i := range l.springs {
		s := &l.springs[i]
		for _, t := range s.terms {
			a := w.block[l.at[t.body]+t.node]
			for _, u := range s.terms {
				if b := w.block[l.at[u.body]+u.node]; b < a && !slices.Contains(next[a], b) {
					next[a] = append(next[a], b)
				}
			}
		}
	}
	// pairs calls f for every block of the bodies' own, each pair of nodes once.
	pairs := func(f func(a, b int32, block []float64)) {
		for body, g := range l.grids {
			for n := range g.nodes() {
				a := w.block[l.at[body]+n]
				if a < 0 {
					continue
				}
				if !whole {
					f(a, a, g.centre(n))
					continue
				}
				g.around(n, func(to int, block []float64) {
					if to <= n {
						f(a, w.block[l.at[body]+to], block)
					}
				})
			}
		}
	}
	pairs(func(a, b int32, block []float64) {
		if a != b && slices.ContainsFunc(block, func(v float64) bool { return v != 0 }) {
			next[a] = append(next[a], b)
		}
	})
	w.pattern = newPattern(size, next)
	w.base = make([]float64, w.pattern.len)
	pairs(func(a, b int32, block []float64) {
		if a != b {
			if slices.ContainsFunc(block, func(v float64) bool { return v != 0 }) {
				w.pattern.add(w.base, int(a), int(b), block)
			}
			return
		}
		var m [36]float64
		for e := range m {
			m[e] = (block[e] + block[e%6*6+e/6]) / 2
			if e%7 == 0 && m[e] == 0 {
				m[e] = 1 // it moves nothing
			}
		}
		w.pattern.add(w.base, int(a), int(a), m[:])
	})
	for i, l := range links {
		if l.Contact {
			w.loose = append(w.loose, i)
		} else {
			w.tie(w.base, &w.springs[i], bears)
		}
	}
	return w
}

// bear puts the factor for the links that bear into v.
func (w *web) bear(holds []hold, v []float64) error {
	// Numbers of a nearly singular row are kept in bounds by a trace of their own
	// stiffness; it only weakens the preconditioner.
	for _, trace := range []float64{1e-13, 1e-11, 1e-9, 1e-7} {
		copy(v, w.base)
		for _, i := range w.loose {
			if holds[i] != opens {
				w.tie(v, &w.springs[i], holds[i])
			}
		}
		for k := range w.pattern.order {
			d := w.pattern.diag[k]
			for r := range 6 {
				v[d+7*r] *= 1 + trace
			}
		}
		if w.pattern.factor(v) {
			return nil
		}
	}
	return fmt.Errorf("elastic: a coarse level is not definite: %w", ErrNoConvergence)
}

// tie adds a spring to the matrix.
func (w *web) tie(v []float64, s *spring, h hold) {
	k := s.k(h)
	for i := range s.terms {
		u := &s.terms[i]
		var kg [3][6]float64
		for p := range 3 {
			for c := range 6 {
				kg[p][c] = k[p][0]*u.g[0][c] + k[p][1]*u.g[1][c] + k[p][2]*u.g[2][c]
			}
		}
		b := w.block[w.at[u.body]+u.node]
		for j := range s.terms {
			t := &s.terms[j]
			a := w.block[w.at[t.body]+t.node]
			if a < b {
				continue
			}
			var m [36]float64
			for r := range 6 {
				for c := range 6 {
					m[6*r+c] = t.g[0][r]*kg[0][c] + t.g[1][r]*kg[1][c] + t.g[2][r]*kg[2][c]
				}
			}
			w.pattern.add(v, int(a), int(b), m[:])
		}
	}
}

// apply adds scale times the solution for x to z, which are vectors of the
// level; v is the factor and in work space.
func (w *web) apply(v, in, x, z []float64, scale float64) {
	for i, n := range w.nodes {
		copy(in[6*i:6*i+6], x[6*n:6*n+6])
	}
	w.pattern.solve(v, in)
	for i, n := range w.nodes {
		for d, y := range in[6*i : 6*i+6] {
			z[6*n+d] += scale * y
		}
	}
}
