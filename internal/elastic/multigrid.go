package elastic

import (
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// level of the hierarchy: all bodies together, so that what joins them is felt
// on every level and solved for exactly on the last.
type level struct {
	dof     int
	at      []int // first node of each body
	nodes   int
	grids   []*grid     // nil on the finest
	down    []*transfer // to the next level, by body; nil on the last
	springs []spring    // by link
	exact   []bool      // by link: in ties, not in the columns or blocks
	ties    *ties       // of the links that bear
	top     float64     // bound of the smoothed matrix' spectrum
	x, b    []float64
	r, d, t []float64
}

// firstStep and laterStep are how many times coarser a level is than the one
// above. The finest level takes the most memory by far, so the first step is
// long; the smoother, which solves for whole columns there, copes.
const (
	firstStep = 4
	laterStep = 2
	direct    = 720 // numbers for which the last level is solved directly
	sweeps    = 3   // degree of the smoother before and after each visit below
)

// hierarchy is the preconditioner: one multigrid V-cycle.
type hierarchy struct {
	bodies  []*lattice
	fixed   []int32 // numbers on the finest level that do not move
	levels  []*level
	links   []Link
	holds   []hold  // by link
	groups  [][]int // by level, by link: its group among the ties
	columns []*columns
	last    mat.Cholesky
	lastMap []int32 // of the last level's numbers to the rows of last, -1 if dead
	lastRHS []float64
}

// coarsen says how a body's grid with nodes at x goes to the next level; finest
// grids have their axis 0 solved in columns, so its spacing does not count.
func coarsen(x [3][]float64, finest bool) *transfer {
	least := math.Inf(1)
	for pass := range 2 {
		for a := range 3 {
			if n := len(x[a]); n > 1 && (a > 0 || !finest || pass == 1 && math.IsInf(least, 1)) {
				least = min(least, (x[a][n-1]-x[a][0])/float64(n-1))
			}
		}
	}
	step := laterStep * least
	if finest {
		step = firstStep * least
	}
	if math.IsInf(step, 1) {
		step = 1
	}
	return newTransfer(x, step)
}

// plan lists the transfers, level by level and body by body.
func plan(x [][3][]float64) (levels [][]*transfer) {
	for {
		var ts []*transfer
		total, same := 0, true
		for i := range x {
			t := coarsen(x[i], len(levels) == 0)
			ts = append(ts, t)
			x[i] = t.x
			total += 6 * t.coarse[0] * t.coarse[1] * t.coarse[2]
			same = same && t.fine == t.coarse
		}
		if same && len(levels) > 0 {
			return levels
		}
		levels = append(levels, ts)
		if total <= direct {
			return levels
		}
	}
}

// newHierarchy builds all but what depends on the links that bear.
func newHierarchy(ctx context.Context, bodies []*lattice, springs []spring, links []Link) (*hierarchy, error) {
	h := &hierarchy{bodies: bodies, links: links, holds: make([]hold, len(springs))}
	top := &level{dof: 3, springs: springs}
	var x [][3][]float64
	for _, b := range bodies {
		top.at = append(top.at, b.at)
		top.nodes += b.nodes()
		x = append(x, b.x)
		h.columns = append(h.columns, newColumns(b))
		for n, m := range b.mask {
			if m == 0 || m == idle && !b.touched(n) {
				continue
			}
			for a := range 3 {
				if m>>a&1 == 1 {
					h.fixed = append(h.fixed, int32(3*(b.at+n)+a))
				}
			}
		}
	}
	h.levels = append(h.levels, top)
	for i, ts := range plan(x) {
		above := h.levels[i]
		above.down = ts
		next := &level{dof: 6}
		for b, t := range ts {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			g := newGrid(t)
			g.at = next.nodes
			next.at = append(next.at, next.nodes)
			next.nodes += g.nodes()
			if i == 0 {
				g.gather(bodies[b], t)
			} else {
				g.gatherGrid(above.grids[b], t)
			}
			g.bury()
			g.inv = make([]float64, 36*g.nodes())
			next.grids = append(next.grids, g)
		}
		var masks []*lattice
		if i == 0 {
			masks = bodies
		}
		for _, s := range above.springs {
			c := s.coarser(ts, above.dof, masks)
			for j := range c.terms {
				t := &c.terms[j]
				for d := range 6 {
					if next.grids[t.body].dead[t.node]>>d&1 == 1 {
						t.g[0][d], t.g[1][d], t.g[2][d] = 0, 0, 0
					}
				}
			}
			next.springs = append(next.springs, c)
		}
		h.levels = append(h.levels, next)
	}
	for i, l := range h.levels {
		n := l.dof * l.nodes
		if i > 0 { // the finest has its own from the caller
			l.x, l.b = make([]float64, n), make([]float64, n)
		}
		l.r, l.d, l.t = make([]float64, n), make([]float64, n), make([]float64, n)
	}
	return h, nil
}

// touched reports whether the node belongs to a filled cell: a node fixed in
// all its components looks like an idle one.
func (b *lattice) touched(n int) bool {
	i, j, k := n%b.n[0], n/b.n[0]%b.n[1], n/(b.n[0]*b.n[1])
	for c := range 8 {
		p, q, r := i-c&1, j-c>>1&1, k-c>>2
		if p >= 0 && q >= 0 && r >= 0 && p < b.n[0]-1 && q < b.n[1]-1 && r < b.n[2]-1 && b.kind[b.cell(p, q, r)] >= 0 {
			return true
		}
	}
	return false
}

// bear sets how the links bear and makes the smoothers and the last level anew.
func (h *hierarchy) bear(holds []hold, first bool) error {
	changed := make([]bool, len(holds))
	for i := range holds {
		changed[i] = first || holds[i] != h.holds[i]
	}
	copy(h.holds, holds)
	if first {
		h.groups = make([][]int, len(h.levels))
	}
	for li, l := range h.levels {
		if first {
			l.exact = h.tieable(li)
		}
		extra := make([]map[int]*[6][6]float64, len(h.bodies))
		touched := make([]map[int]bool, len(h.bodies))
		for b := range extra {
			extra[b], touched[b] = map[int]*[6][6]float64{}, map[int]bool{}
		}
		for i := range l.springs {
			s := &l.springs[i]
			if l.exact[i] {
				continue
			}
			for _, t := range s.terms {
				if changed[i] {
					touched[t.body][t.node] = true
				}
			}
			if holds[i] == opens {
				continue
			}
			s.bounds(holds[i], func(t *term, block *[6][6]float64) {
				e := extra[t.body][t.node]
				if e == nil {
					e = new([6][6]float64)
					extra[t.body][t.node] = e
				}
				for r := range 6 {
					for c := range 6 {
						e[r][c] += block[r][c]
					}
				}
			})
		}
		for b := range h.bodies {
			if li == 0 {
				h.columns[b].factor(h.bodies[b], extra[b], touched[b], first)
				continue
			}
			if li == len(h.levels)-1 {
				continue
			}
			g := l.grids[b]
			each(g.n[2], func(k int) {
				for n := k * g.n[0] * g.n[1]; n < (k+1)*g.n[0]*g.n[1]; n++ {
					if !first && !touched[b][n] {
						continue
					}
					var m [36]float64
					copy(m[:], g.centre(n))
					if e := extra[b][n]; e != nil {
						for i := range 36 {
							m[i] += e[i/6][i%6]
						}
					}
					invert6(m[:], g.dead[n], g.inv[36*n:36*n+36])
				}
			})
		}
	}
	for li, l := range h.levels[:len(h.levels)-1] {
		if first || slices.Contains(changed, true) {
			l.ties = h.tie(li, changed)
		}
	}
	if !first && !slices.Contains(changed, true) {
		return nil
	}
	if err := h.factorLast(); err != nil {
		return err
	}
	if first {
		for i := range h.levels[:len(h.levels)-1] {
			h.levels[i].top = h.largest(i)
		}
	}
	return nil
}

func (h *hierarchy) factorLast() error {
	l := h.levels[len(h.levels)-1]
	h.lastMap = make([]int32, 6*l.nodes)
	n := 0
	for b, g := range l.grids {
		for node := range g.nodes() {
			for d := range 6 {
				h.lastMap[6*(l.at[b]+node)+d] = -1
				if g.dead[node]>>d&1 == 0 {
					h.lastMap[6*(l.at[b]+node)+d] = int32(n)
					n++
				}
			}
		}
	}
	h.lastRHS = make([]float64, n)
	if n == 0 {
		return nil
	}
	m := mat.NewSymDense(n, nil)
	add := func(i, j int, v float64) {
		if p, q := h.lastMap[i], h.lastMap[j]; p >= 0 && q >= p {
			m.SetSym(int(p), int(q), m.At(int(p), int(q))+v)
		}
	}
	for b, g := range l.grids {
		for k := range g.n[2] {
			for j := range g.n[1] {
				for i := range g.n[0] {
					node := i + g.n[0]*(j+g.n[1]*k)
					at := 0
					for d2 := -g.reach[2]; d2 <= g.reach[2]; d2++ {
						for d1 := -g.reach[1]; d1 <= g.reach[1]; d1++ {
							for d0 := -g.reach[0]; d0 <= g.reach[0]; d0++ {
								p, q, r := i+d0, j+d1, k+d2
								blk := g.block(node, at)
								at++
								if p < 0 || p >= g.n[0] || q < 0 || q >= g.n[1] || r < 0 || r >= g.n[2] {
									continue
								}
								to := p + g.n[0]*(q+g.n[1]*r)
								for e := range 36 {
									add(6*(l.at[b]+node)+e/6, 6*(l.at[b]+to)+e%6, blk[e])
								}
							}
						}
					}
				}
			}
		}
	}
	for i := range l.springs {
		if h.holds[i] == opens {
			continue
		}
		s := &l.springs[i]
		k := s.k(h.holds[i])
		for _, t := range s.terms {
			for _, u := range s.terms {
				for r := range 6 {
					for c := range 6 {
						v := 0.0
						for p := range 3 {
							for q := range 3 {
								v += t.g[p][r] * k[p][q] * u.g[q][c]
							}
						}
						add(6*(l.at[t.body]+t.node)+r, 6*(l.at[u.body]+u.node)+c, v)
					}
				}
			}
		}
	}
	// Numbers of a nearly singular row are kept in bounds by a trace of their
	// own stiffness; it only weakens the preconditioner.
	for _, trace := range []float64{1e-13, 1e-11, 1e-9, 1e-7} {
		for i := range n {
			m.SetSym(i, i, m.At(i, i)*(1+trace))
		}
		if h.last.Factorize(m) {
			return nil
		}
	}
	return fmt.Errorf("elastic: the coarsest level is not definite: %w", ErrNoConvergence)
}

// multiply sets y to the stiffness of a level times x.
func (h *hierarchy) multiply(i int, x, y []float64) {
	l := h.levels[i]
	if i == 0 {
		h.stiffness(x, y)
		for _, d := range h.fixed {
			y[d] = 0
		}
		return
	}
	h.planes(l, func(b, k int) {
		g := l.grids[b]
		lo, hi := 6*l.at[b], 6*(l.at[b]+g.nodes())
		g.plane(k, x[lo:hi], y[lo:hi])
	})
	h.pull(l, x, y)
}

// stiffness sets y to the finest level's product, fixed numbers included.
func (h *hierarchy) stiffness(x, y []float64) {
	chunks(len(y), func(lo, hi int) { clear(y[lo:hi]) })
	for parity := range 2 {
		var tasks [][2]int
		for i, b := range h.bodies {
			for k := parity; k < b.n[2]-1; k += 2 {
				tasks = append(tasks, [2]int{i, k})
			}
		}
		each(len(tasks), func(i int) {
			b := h.bodies[tasks[i][0]]
			b.layer(tasks[i][1], b.part(x), b.part(y))
		})
	}
	h.pull(h.levels[0], x, y)
}

func (h *hierarchy) pull(l *level, x, y []float64) {
	for i := range l.springs {
		if h.holds[i] != opens {
			s := &l.springs[i]
			s.pull(s.force(h.holds[i], s.stretch(x, l.dof, l.at)), y, l.dof, l.at)
		}
	}
}

// planes calls f for every plane of nodes of every body on a level.
func (h *hierarchy) planes(l *level, f func(body, k int)) {
	var tasks [][2]int
	for b := range h.bodies {
		n := h.bodies[b].n[2]
		if l.grids != nil {
			n = l.grids[b].n[2]
		}
		for k := range n {
			tasks = append(tasks, [2]int{b, k})
		}
	}
	each(len(tasks), func(i int) { f(tasks[i][0], tasks[i][1]) })
}

// smoothed sets z to keep·z + scale·D⁻¹r, D the columns on the finest level and
// the nodes' blocks elsewhere.
func (h *hierarchy) smoothed(i int, r, z []float64, keep, scale float64) {
	l := h.levels[i]
	h.planes(l, func(b, k int) {
		if i == 0 {
			lat := h.bodies[b]
			h.columns[b].solve(lat, k, lat.part(r), lat.part(z), keep, scale)
			return
		}
		g := l.grids[b]
		for n := k * g.n[0] * g.n[1]; n < (k+1)*g.n[0]*g.n[1]; n++ {
			m := g.inv[36*n : 36*n+36]
			o := 6 * (l.at[b] + n)
			u, v := r[o:o+6:o+6], z[o:o+6:o+6]
			for d := range 6 {
				row := m[6*d : 6*d+6 : 6*d+6]
				v[d] = keep*v[d] + scale*(row[0]*u[0]+row[1]*u[1]+row[2]*u[2]+row[3]*u[3]+row[4]*u[4]+row[5]*u[5])
			}
		}
	})
	l.ties.apply(r, z, scale)
}

// largest estimates the largest eigenvalue of D⁻¹A from above, by powers from a
// fixed rough start and a margin.
func (h *hierarchy) largest(i int) float64 {
	l := h.levels[i]
	v, w, z := l.r, l.d, l.t
	seed := uint64(1)
	for j := range v {
		seed = seed*6364136223846793005 + 1442695040888963407
		v[j] = float64(seed>>40)/(1<<24) - 0.5
	}
	clear(z)
	h.smoothed(i, v, z, 0, 1)
	for j := range v {
		// All parts must have a like share in the energy, the soft and the stiff,
		// or the powers see the soft ones only.
		v[j] = math.Copysign(math.Sqrt(math.Abs(z[j])), v[j])
	}
	value := 1.0
	for range 20 {
		h.multiply(i, v, w)
		clear(z)
		h.smoothed(i, w, z, 0, 1)
		// The quotient of A D⁻¹A to A at v: it grows towards the largest.
		vw, zw := dot(v, w), dot(z, w)
		if !(vw > 0) || !(zw > 0) {
			break
		}
		value = max(value, zw/vw)
		norm := 1 / math.Sqrt(zw)
		chunks(len(v), func(lo, hi int) {
			for j := lo; j < hi; j++ {
				v[j] = z[j] * norm
			}
		})
	}
	return 1.1 * value
}

// smooth improves x by the Chebyshev polynomial of the fourth kind (Lottes,
// Optimal polynomial smoothers for multigrid V-cycles, 2023): it needs the top
// of the spectrum only. l.r holds b - A x when it ends, if wanted.
func (h *hierarchy) smooth(i int, x, b []float64, zero, residual bool) {
	l := h.levels[i]
	r, d, t := l.r, l.d, l.t
	if zero {
		chunks(len(x), func(lo, hi int) { clear(x[lo:hi]); copy(r[lo:hi], b[lo:hi]) })
	} else {
		h.multiply(i, x, t)
		chunks(len(x), func(lo, hi int) {
			for j := lo; j < hi; j++ {
				r[j] = b[j] - t[j]
			}
		})
	}
	for s := 1; s <= sweeps; s++ {
		if s == 1 {
			h.smoothed(i, r, d, 0, 4/(3*l.top))
		} else {
			f := float64(2*s + 1)
			h.smoothed(i, r, d, float64(2*s-3)/f, float64(8*s-4)/(f*l.top))
		}
		chunks(len(x), func(lo, hi int) {
			for j := lo; j < hi; j++ {
				x[j] += d[j]
			}
		})
		if s < sweeps || residual {
			h.multiply(i, d, t)
			chunks(len(x), func(lo, hi int) {
				for j := lo; j < hi; j++ {
					r[j] -= t[j]
				}
			})
		}
	}
}

// cycle sets x of level i from b.
func (h *hierarchy) cycle(i int, x, b []float64) {
	l := h.levels[i]
	if i == len(h.levels)-1 {
		h.solveLast(x, b)
		return
	}
	next := h.levels[i+1]
	h.smooth(i, x, b, true, true)
	h.planes(next, func(body, k int) {
		lo, hi := l.dof*l.at[body], len(l.r)
		t := l.down[body]
		to := next.b[6*next.at[body] : 6*(next.at[body]+next.grids[body].nodes())]
		t.restrict(k, l.r[lo:hi], to, l.dof)
		dead := next.grids[body].dead
		for n := k * t.coarse[0] * t.coarse[1]; n < (k+1)*t.coarse[0]*t.coarse[1]; n++ {
			for d := range 6 {
				if dead[n]>>d&1 == 1 {
					to[6*n+d] = 0
				}
			}
		}
	})
	h.cycle(i+1, next.x, next.b)
	h.planes(l, func(body, k int) {
		lo := l.dof * l.at[body]
		t := l.down[body]
		t.prolong(k, next.x[6*next.at[body]:], x[lo:], l.dof)
		if i > 0 {
			return
		}
		mask := h.bodies[body].mask
		for n := k * t.fine[0] * t.fine[1]; n < (k+1)*t.fine[0]*t.fine[1]; n++ {
			if mask[n] != 0 {
				for a := range 3 {
					if mask[n]>>a&1 == 1 {
						x[lo+3*n+a] = 0
					}
				}
			}
		}
	})
	if i > 0 {
		for body, g := range l.grids {
			for n, dead := range g.dead {
				if dead != 0 {
					for d := range 6 {
						if dead>>d&1 == 1 {
							x[6*(l.at[body]+n)+d] = 0
						}
					}
				}
			}
		}
	}
	h.smooth(i, x, b, false, false)
}

func (h *hierarchy) solveLast(x, b []float64) {
	for i, p := range h.lastMap {
		if p >= 0 {
			h.lastRHS[p] = b[i]
		}
	}
	if len(h.lastRHS) == 0 {
		return
	}
	solveBy(&h.last, h.lastRHS)
	for i, p := range h.lastMap {
		x[i] = 0
		if p >= 0 {
			x[i] = h.lastRHS[p]
		}
	}
}
