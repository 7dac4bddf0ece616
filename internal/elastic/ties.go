package elastic

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"

	"groundwork/internal/geom"
)

// ties lets the smoother of a level feel the links fully: D + GᵀG is inverted
// instead of D (G: a row for each direction that a link holds, times the root of
// its stiffness) by the formula of Sherman, Morrison and Woodbury,
//
//	(D + GᵀG)⁻¹ = D⁻¹ - H (1 + G H)⁻¹ Hᵀ,  H = D⁻¹Gᵀ.
//
// Without it the directions in which stiff links pull take an iteration or more
// each. The small matrix falls into groups of links that share columns.
type ties struct {
	groups []*tieGroup
}

type tieGroup struct {
	root int      // its link that names it
	h    []sparse // a column of H each
	chol mat.Cholesky
	in   []float64
}

// solveBy replaces x by the solution with a factored matrix. It is what
// Cholesky.SolveVecTo does, along rows instead of columns of one number.
func solveBy(c *mat.Cholesky, x []float64) {
	u := c.RawU().(*mat.TriDense).RawTriangular()
	v := blas64.Vector{N: len(x), Data: x, Inc: 1}
	blas64.Trsv(blas.Trans, u, v)
	blas64.Trsv(blas.NoTrans, u, v)
}

// sparse holds numbers of a level's vector.
type sparse struct {
	at []int32
	v  []float64
}

func (s *sparse) dot(x []float64) (sum float64) {
	for i, a := range s.at {
		sum += s.v[i] * x[a]
	}
	return sum
}

func (s *sparse) add(x []float64, k float64) {
	for i, a := range s.at {
		x[a] += k * s.v[i]
	}
}

// maxTied bounds the rows of a group, whose matrix is dense, after rows are
// brought down to the numbers they touch; links of larger groups enter the
// smoother by an upper bound.
const maxTied = 1200

// tieable says which links of a level lie in groups small enough.
func (h *hierarchy) tieable(li int) []bool {
	l := h.levels[li]
	n := len(l.springs)
	up := make([]int, n)
	for i := range up {
		up[i] = i
	}
	root := func(i int) int {
		for up[i] != i {
			up[i] = up[up[i]]
			i = up[i]
		}
		return i
	}
	owner := map[[2]int]int{}
	for i := range l.springs {
		for _, t := range l.springs[i].terms {
			id := [2]int{t.body, t.node}
			if li == 0 {
				id[1] = int(h.columns[t.body].of[t.node/h.bodies[t.body].n[0]]) // the bundle of columns
			}
			if o, ok := owner[id]; ok {
				up[root(i)] = root(o)
			} else {
				owner[id] = i
			}
		}
	}
	h.groups[li] = make([]int, n)
	rows, touched := make([]int, n), make([]int, n)
	met := map[[2]int]bool{}
	for i := range n {
		h.groups[li][i] = root(i)
		if h.links[i].Along > 0 {
			rows[root(i)]++
		}
		if h.links[i].Across > 0 {
			rows[root(i)] += 2
		}
		for _, t := range l.springs[i].terms {
			if id := [2]int{t.body, t.node}; !met[id] {
				met[id] = true
				touched[root(i)] += l.dof
			}
		}
	}
	out := make([]bool, n)
	for i := range out {
		out[i] = min(rows[root(i)], touched[root(i)]) <= maxTied
	}
	return out
}

// tie makes the ties of a level for the links that bear; groups without a change
// stay as they are.
func (h *hierarchy) tie(li int, changed []bool) *ties {
	l := h.levels[li]
	same := map[int]*tieGroup{}
	if l.ties != nil {
		for _, g := range l.ties.groups {
			same[g.root] = g
		}
	}
	for i, c := range changed {
		if c {
			delete(same, h.groups[li][i])
		}
	}
	place := map[int]int{}
	var members [][]int
	for i := range l.springs {
		if h.holds[i] == opens || !l.exact[i] {
			continue
		}
		g := h.groups[li][i]
		at, ok := place[g]
		if !ok {
			at = len(members)
			place[g] = at
			members = append(members, nil)
		}
		members[at] = append(members[at], i)
	}
	t := &ties{groups: make([]*tieGroup, len(members))}
	each(len(members), func(m int) {
		root := h.groups[li][members[m][0]]
		if old := same[root]; old != nil {
			t.groups[m] = old
			return
		}
		var g []sparse
		group := &tieGroup{root: root}
		t.groups[m] = group
		for _, i := range members[m] {
			g = append(g, l.springs[i].rows(h.links[i], h.holds[i], l)...)
		}
		g = fewer(g)
		for i := range g {
			group.h = append(group.h, h.respond(li, &g[i]))
		}
		n := len(g)
		if n == 0 {
			return
		}
		// Numbered afresh, the numbers touched fit a short vector.
		var at []int32
		for i := range group.h {
			at = append(at, group.h[i].at...)
		}
		slices.Sort(at)
		at = slices.Compact(at)
		short := make([][]int32, n)
		for i := range g {
			for _, a := range g[i].at {
				// What is fixed is in G but not in H: the place past the end.
				c, ok := slices.BinarySearch(at, a)
				if !ok {
					c = len(at)
				}
				short[i] = append(short[i], int32(c))
			}
		}
		s := mat.NewSymDense(n, nil)
		full := make([]float64, len(at)+1)
		for j := range n {
			clear(full)
			for e, a := range group.h[j].at {
				c, _ := slices.BinarySearch(at, a)
				full[c] = group.h[j].v[e]
			}
			for i := range j + 1 {
				sum := 0.0
				v := g[i].v
				for e, c := range short[i] {
					sum += v[e] * full[c]
				}
				if i == j {
					sum++
				}
				s.SetSym(i, j, sum)
			}
		}
		// It is one plus what is semidefinite; single-precision factors of D may
		// tip it only if a link is a million times stiffer than what it holds.
		if !group.chol.Factorize(s) {
			for i := range n {
				s.SetSym(i, i, s.At(i, i)*(1+1e-5))
			}
			if !group.chol.Factorize(s) {
				group.h = nil
				return
			}
		}
		group.in = make([]float64, n)
	})
	return t
}

// rows are what the link holds on a level, times the root of its stiffness.
func (s *spring) rows(link Link, held hold, l *level) (out []sparse) {
	f := geom.FrameFromZ(geom.Vec3{}, link.Axis)
	for i, d := range [3]geom.Vec3{f.X, f.Y, link.Axis} {
		k := math.Sqrt(link.Across)
		if i == 2 {
			k = math.Sqrt(link.Along)
		}
		if k == 0 || held == slips && i < 2 {
			continue
		}
		var row sparse
		dir := array(d)
		for j := range s.terms {
			t := &s.terms[j]
			for c := range l.dof {
				v := k * (dir[0]*t.g[0][c] + dir[1]*t.g[1][c] + dir[2]*t.g[2][c])
				row.at = append(row.at, int32(l.dof*(l.at[t.body]+t.node)+c))
				row.v = append(row.v, v)
			}
		}
		out = append(out, row)
	}
	return out
}

// fewer returns rows with the same GᵀG, no more than the numbers they touch: the
// triangle of the QR factors.
func fewer(g []sparse) []sparse {
	var at []int32
	for i := range g {
		at = append(at, g[i].at...)
	}
	slices.Sort(at)
	at = slices.Compact(at)
	if len(g) <= len(at) {
		return g
	}
	m := mat.NewDense(len(g), len(at), nil)
	for i := range g {
		for e, a := range g[i].at {
			c, _ := slices.BinarySearch(at, a)
			m.Set(i, c, m.At(i, c)+g[i].v[e])
		}
	}
	var qr mat.QR
	qr.Factorize(m)
	var r mat.Dense
	qr.RTo(&r)
	out := make([]sparse, len(at))
	for i := range out {
		out[i].at = at[i:]
		for c := i; c < len(at); c++ {
			out[i].v = append(out[i].v, r.At(i, c))
		}
	}
	return out
}

// respond is D⁻¹ times a row.
func (h *hierarchy) respond(li int, row *sparse) (out sparse) {
	l := h.levels[li]
	// The parts of D that the row touches, in the order met: nodes' blocks, or
	// bundles of columns.
	type part struct{ body, id int }
	type load struct {
		part
		in []float64
	}
	var loads []load
	place := map[part]int{}
	for e, a := range row.at {
		n := int(a) / l.dof
		body := len(l.at) - 1
		for l.at[body] > n {
			body--
		}
		n -= l.at[body]
		p, size, slot := part{body, n}, 6, int(a)%l.dof
		if li == 0 {
			b, cs := h.bodies[body], h.columns[body]
			if b.mask[n]>>slot&1 == 1 {
				continue
			}
			p.id = int(cs.of[n/b.n[0]])
			g := cs.bundles[p.id]
			size = 3 * b.n[0] * g.columns()
			for col := range g.columns() {
				if i := n - g.base(b, col); i >= 0 && i < b.n[0] {
					slot += 3 * (b.n[0]*col + i)
					break
				}
			}
		}
		at, ok := place[p]
		if !ok {
			at = len(loads)
			place[p] = at
			loads = append(loads, load{p, make([]float64, size)})
		}
		loads[at].in[slot] += row.v[e]
	}
	put := func(at int, v float64) {
		if v != 0 {
			out.at, out.v = append(out.at, int32(at)), append(out.v, v)
		}
	}
	for _, p := range loads {
		if li > 0 {
			inv := l.grids[p.body].inv[36*p.id : 36*p.id+36]
			for r := range 6 {
				sum := 0.0
				for c, v := range p.in {
					sum += inv[6*r+c] * v
				}
				put(6*(l.at[p.body]+p.id)+r, sum)
			}
			continue
		}
		b, cs := h.bodies[p.body], h.columns[p.body]
		g := cs.bundles[p.id]
		z := make([]float64, len(p.in))
		cs.alone(b, g, p.in, z)
		for col := range g.columns() {
			for i, v := range z[3*b.n[0]*col : 3*b.n[0]*(col+1)] {
				put(3*(b.at+g.base(b, col))+i, v)
			}
		}
	}
	return out
}

// apply subtracts scale · H (1 + G H)⁻¹ Hᵀ r from z.
func (t *ties) apply(r, z []float64, scale float64) {
	each(len(t.groups), func(i int) {
		g := t.groups[i]
		if len(g.h) == 0 {
			return
		}
		for j := range g.h {
			g.in[j] = g.h[j].dot(r)
		}
		solveBy(&g.chol, g.in)
		for j := range g.h {
			// Groups share no columns, so they do not meet in z.
			g.h[j].add(z, -scale*g.in[j])
		}
	})
}
