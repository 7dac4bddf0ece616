package elastic

import (
	"math"

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
	groups []tieGroup
}

type tieGroup struct {
	h     []sparse // a column of H each
	chol  mat.Cholesky
	in    []float64
	solve mat.VecDense
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

// maxTied bounds the rows of a group, whose matrix is dense; links of larger
// groups enter the smoother by an upper bound.
const maxTied = 900

// tieable says which links of a level lie in groups small enough.
func (h *hierarchy) tieable(li int) []bool {
	l := h.levels[li]
	n := len(l.springs)
	up := make([]int, n)
	for i := range up {
		up[i] = i
	}
	var root func(i int) int
	root = func(i int) int {
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
	rows := make([]int, n)
	for i := range n {
		h.groups[li][i] = root(i)
		rows[root(i)] += 3
	}
	out := make([]bool, n)
	for i := range out {
		out[i] = rows[root(i)] <= maxTied
	}
	return out
}

// tie makes the ties of a level for the links that bear.
func (h *hierarchy) tie(li int) *ties {
	l := h.levels[li]
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
	t := &ties{groups: make([]tieGroup, len(members))}
	each(len(members), func(m int) {
		var g []sparse
		group := &t.groups[m]
		for _, i := range members[m] {
			for _, row := range l.springs[i].rows(h.links[i], h.holds[i], l) {
				g = append(g, row)
				group.h = append(group.h, h.respond(li, &l.springs[i], row))
			}
		}
		n := len(g)
		if n == 0 {
			return
		}
		s := mat.NewSymDense(n, nil)
		for j := range n {
			at := make(map[int32]float64, len(group.h[j].at))
			for e, a := range group.h[j].at {
				at[a] = group.h[j].v[e]
			}
			for i := range j + 1 {
				sum := 0.0
				for e, a := range g[i].at {
					sum += g[i].v[e] * at[a]
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

// respond is D⁻¹ times a row of the spring.
func (h *hierarchy) respond(li int, s *spring, row sparse) (out sparse) {
	l := h.levels[li]
	if li > 0 {
		for j := range s.terms {
			t := &s.terms[j]
			g := l.grids[t.body]
			inv := g.inv[36*t.node : 36*t.node+36]
			for r := range 6 {
				sum := 0.0
				for c := range 6 {
					sum += inv[6*r+c] * row.v[6*j+c]
				}
				out.at = append(out.at, row.at[6*j+r])
				out.v = append(out.v, sum)
			}
		}
		return out
	}
	done := map[[2]int]bool{}
	for j := range s.terms {
		body := s.terms[j].body
		b, cs := h.bodies[body], h.columns[body]
		which := cs.of[s.terms[j].node/b.n[0]]
		if done[[2]int{body, int(which)}] {
			continue
		}
		done[[2]int{body, int(which)}] = true
		g := cs.bundles[which]
		n := 3 * b.n[0]
		r, z := make([]float64, n*g.columns()), make([]float64, n*g.columns())
		for k := range s.terms {
			t := &s.terms[k]
			if t.body != body {
				continue
			}
			for col := range g.columns() {
				if i := t.node - g.base(b, col); i >= 0 && i < b.n[0] {
					for a := range 3 {
						if b.mask[t.node]>>a&1 == 0 {
							r[n*col+3*i+a] += row.v[3*k+a]
						}
					}
				}
			}
		}
		cs.alone(b, g, r, z)
		for col := range g.columns() {
			for i, v := range z[n*col : n*(col+1)] {
				if v != 0 {
					out.at = append(out.at, int32(3*(b.at+g.base(b, col))+i))
					out.v = append(out.v, v)
				}
			}
		}
	}
	return out
}

// apply subtracts scale · H (1 + G H)⁻¹ Hᵀ r from z.
func (t *ties) apply(r, z []float64, scale float64) {
	each(len(t.groups), func(i int) {
		g := &t.groups[i]
		if len(g.h) == 0 {
			return
		}
		for j := range g.h {
			g.in[j] = g.h[j].dot(r)
		}
		// The error only warns of a matrix near to singular.
		_ = g.chol.SolveVecTo(&g.solve, mat.NewVecDense(len(g.in), g.in))
		for j := range g.h {
			// Groups share no columns, so they do not meet in z.
			g.h[j].add(z, -scale*g.solve.AtVec(j))
		}
	})
}
