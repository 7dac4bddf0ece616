package elastic

import (
	"context"
	"errors"
	"math"
	"slices"
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
	web     *web        // nil on the finest, which has ties
	top     float64     // bound of the smoothed matrix' spectrum
}

// firstStep and laterStep are how many times coarser a level is than the one
// above. The finest level takes the most memory by far, so the first step is
// long; the smoother, which solves for whole columns there, copes.
const (
	firstStep = 4
	laterStep = 2
	direct    = 4000 // numbers for which the last level is solved directly
)

// weights are those of the smoother of degree 2, before and after each visit below.
var weights = [2]float64{1.02387287570313, 1.26408905371085}

// hierarchy is what one multigrid V-cycle, the preconditioner, needs and what
// does not depend on the links that bear. It does not change.
type hierarchy struct {
	bodies  []*lattice
	fixed   []int32 // numbers on the finest level that do not move
	levels  []*level
	links   []Link
	columns []*columns
	ties    *ties
}

// cycler is a hierarchy made ready for the links that bear, with work space: one
// for each solution that is sought at a time.
type cycler struct {
	*hierarchy
	holds []hold // by link
	ready bool   // for these
	at    []space
	work
}

// space is a cycler's, by level.
type space struct {
	top     float64   // the level's, or more
	factor  []float64 // of the links in the smoother, or of the last level
	in      []float64
	x, b    []float64 // none on the finest, which has its own from the caller
	r, d, t []float64
	left    []float64 // out of balance after smoothing
}

// work space of the conjugate gradients.
type work struct{ r, z, p, q []float64 }

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
	h := &hierarchy{bodies: bodies, links: links}
	top := &level{dof: 3, springs: springs}
	var x [][3][]float64
	for _, b := range bodies {
		top.at = append(top.at, b.at)
		top.nodes += b.nodes()
		x = append(x, b.x)
		cs := newColumns(b)
		cs.factor(b)
		h.columns = append(h.columns, cs)
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
	h.ties = newTies(h)
	for i, l := range h.levels[1:] {
		last := i+2 == len(h.levels)
		l.web = newWeb(l, links, last)
		if !last {
			l.invert()
		}
	}
	c := h.cycler()
	all := make([]hold, len(springs))
	for i := range all {
		all[i] = bears
	}
	if err := c.bear(all); err != nil {
		return nil, err
	}
	for i := range h.levels[:len(h.levels)-1] {
		h.levels[i].top = c.largest(i)
	}
	return h, nil
}

// invert makes the inverses of the nodes' blocks; those in the web have none.
func (l *level) invert() {
	for b, g := range l.grids {
		g.inv = make([]float64, 36*g.nodes())
		each(g.n[2], func(k int) {
			for n := k * g.n[0] * g.n[1]; n < (k+1)*g.n[0]*g.n[1]; n++ {
				if l.web.block[l.at[b]+n] < 0 {
					invert6(g.centre(n), g.dead[n], g.inv[36*n:36*n+36])
				}
			}
		})
	}
}

// cycler makes one.
func (h *hierarchy) cycler() *cycler {
	n := 3 * h.levels[0].nodes
	c := &cycler{hierarchy: h, holds: make([]hold, len(h.links)), at: make([]space, len(h.levels)), work: work{make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)}}
	for i, l := range h.levels {
		s := &c.at[i]
		s.top = l.top
		n := l.dof * l.nodes
		p := h.ties.pattern
		if i > 0 {
			p = l.web.pattern
			s.x, s.b = make([]float64, n), make([]float64, n)
		}
		if i < len(h.levels)-1 {
			s.r, s.d, s.t, s.left = make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
		}
		s.factor, s.in = make([]float64, p.len), make([]float64, p.rows())
	}
	return c
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

// bear makes the cycler ready for links that bear thus.
func (c *cycler) bear(holds []hold) error {
	if c.ready && slices.Equal(holds, c.holds) {
		return nil
	}
	c.ready = false
	copy(c.holds, holds)
	errs := make([]error, len(c.levels))
	each(len(errs), func(i int) {
		if i == 0 {
			errs[i] = c.ties.bear(holds, c.at[i].factor)
		} else {
			errs[i] = c.levels[i].web.bear(holds, c.at[i].factor)
		}
	})
	c.ready = errors.Join(errs...) == nil
	return errors.Join(errs...)
}

// multiply sets y to the stiffness of a level times x.
func (c *cycler) multiply(i int, x, y []float64) {
	l := c.levels[i]
	if i == 0 {
		c.stiffness(x, y)
		for _, d := range c.fixed {
			y[d] = 0
		}
		return
	}
	c.planes(l, func(b, k int) {
		g := l.grids[b]
		lo, hi := 6*l.at[b], 6*(l.at[b]+g.nodes())
		g.plane(k, x[lo:hi], y[lo:hi])
	})
	c.pull(l, x, y)
}

// stiffness sets y to the finest level's product, fixed numbers included.
func (c *cycler) stiffness(x, y []float64) {
	chunks(len(y), func(lo, hi int) { clear(y[lo:hi]) })
	for parity := range 2 {
		var tasks [][2]int
		for i, b := range c.bodies {
			for k := parity; k < b.n[2]-1; k += 2 {
				tasks = append(tasks, [2]int{i, k})
			}
		}
		each(len(tasks), func(i int) {
			b := c.bodies[tasks[i][0]]
			b.layer(tasks[i][1], b.part(x), b.part(y))
		})
	}
	c.pull(c.levels[0], x, y)
}

func (c *cycler) pull(l *level, x, y []float64) {
	for i := range l.springs {
		if c.holds[i] != opens {
			s := &l.springs[i]
			s.pull(s.force(c.holds[i], s.stretch(x, l.dof, l.at)), y, l.dof, l.at)
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
func (c *cycler) smoothed(i int, r, z []float64, keep, scale float64) {
	l := c.levels[i]
	c.planes(l, func(b, k int) {
		if i == 0 {
			lat := c.bodies[b]
			c.columns[b].solve(lat, k, lat.part(r), lat.part(z), keep, scale)
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
	s := &c.at[i]
	if i == 0 {
		c.ties.apply(c.holds, s.factor, s.in, r, z, scale)
	} else {
		l.web.apply(s.factor, s.in, r, z, scale)
	}
}

// largest estimates the largest eigenvalue of D⁻¹A from above, by powers from a
// fixed rough start and a margin.
func (c *cycler) largest(i int) float64 {
	v, w, z := c.at[i].r, c.at[i].d, c.at[i].t
	seed := uint64(1)
	for j := range v {
		seed = seed*6364136223846793005 + 1442695040888963407
		v[j] = float64(seed>>40)/(1<<24) - 0.5
	}
	clear(z)
	c.smoothed(i, v, z, 0, 1)
	for j := range v {
		// All parts must have a like share in the energy, the soft and the stiff,
		// or the powers see the soft ones only.
		v[j] = math.Copysign(math.Sqrt(math.Abs(z[j])), v[j])
	}
	value := 1.0
	for range 20 {
		c.multiply(i, v, w)
		clear(z)
		c.smoothed(i, w, z, 0, 1)
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

// smooth improves x by the Chebyshev polynomial of the fourth kind with Lottes's
// weights (Optimal polynomial smoothers for multigrid V-cycles, 2023, table 1):
// it needs the top of the spectrum only. The level's left holds b - A x when it
// ends, if wanted.
func (c *cycler) smooth(i int, x, b []float64, zero, residual bool) {
	l := &c.at[i]
	r, d, t, left := l.r, l.d, l.t, l.left
	if zero {
		chunks(len(x), func(lo, hi int) { clear(x[lo:hi]); copy(r[lo:hi], b[lo:hi]); copy(left[lo:hi], b[lo:hi]) })
	} else {
		c.multiply(i, x, t)
		chunks(len(x), func(lo, hi int) {
			for j := lo; j < hi; j++ {
				r[j] = b[j] - t[j]
			}
		})
	}
	for s, weight := range weights {
		if s == 0 {
			c.smoothed(i, r, d, 0, 4/(3*l.top))
		} else {
			f := float64(2*s + 3)
			c.smoothed(i, r, d, float64(2*s-1)/f, float64(8*s+4)/(f*l.top))
		}
		chunks(len(x), func(lo, hi int) {
			for j := lo; j < hi; j++ {
				x[j] += weight * d[j]
			}
		})
		if s < len(weights)-1 || residual {
			c.multiply(i, d, t)
			chunks(len(x), func(lo, hi int) {
				for j := lo; j < hi; j++ {
					r[j] -= t[j]
				}
				if residual {
					for j := lo; j < hi; j++ {
						left[j] -= weight * t[j]
					}
				}
			})
		}
	}
}

// cycle sets x of level i from b.
func (c *cycler) cycle(i int, x, b []float64) {
	l := c.levels[i]
	if i == len(c.levels)-1 {
		clear(x)
		l.web.apply(c.at[i].factor, c.at[i].in, b, x, 1)
		return
	}
	next, under := c.levels[i+1], &c.at[i+1]
	c.smooth(i, x, b, true, true)
	c.planes(next, func(body, k int) {
		lo, hi := l.dof*l.at[body], len(c.at[i].left)
		t := l.down[body]
		to := under.b[6*next.at[body] : 6*(next.at[body]+next.grids[body].nodes())]
		t.restrict(k, c.at[i].left[lo:hi], to, l.dof)
		dead := next.grids[body].dead
		for n := k * t.coarse[0] * t.coarse[1]; n < (k+1)*t.coarse[0]*t.coarse[1]; n++ {
			for d := range 6 {
				if dead[n]>>d&1 == 1 {
					to[6*n+d] = 0
				}
			}
		}
	})
	c.cycle(i+1, under.x, under.b)
	c.planes(l, func(body, k int) {
		lo := l.dof * l.at[body]
		t := l.down[body]
		t.prolong(k, under.x[6*next.at[body]:], x[lo:], l.dof)
		if i > 0 {
			return
		}
		mask := c.bodies[body].mask
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
	c.smooth(i, x, b, false, false)
}
