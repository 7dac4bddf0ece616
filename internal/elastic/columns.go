package elastic

import "slices"

// columns holds, for every column of nodes along axis 0, the factors of the
// stiffness of that column alone: block by block L D Lᵀ. Solving for a whole
// column smooths evenly where cells are much thinner than wide, as the cover
// layers of a board are. Where cells are narrow across the columns too, as the
// contours at a board's rim, the columns on either side of them are taken
// together. The factors of a column alone are kept in single precision: it is a
// preconditioner, and symmetric and definite with whatever factors it has; but
// blocks of several columns, where a soft node may stand by a stiff one, are not.
type columns struct {
	l       []float32 // of a column alone, nine to a node: what the node below brings
	d       []float32 // six to a node: the inverse diagonal block, 00 01 02 11 12 22
	wide    []float64 // of columns together, to a layer: L and the inverse diagonal block
	bundles []bundle
	of      []int32 // bundle of each column
	from    []int   // first bundle of each plane of nodes of axis 2, and the end
}

// bundle is a block of columns solved together: nodes j0 to j1-1 along axis 1
// and k0 to k1-1 along axis 2.
type bundle struct {
	j0, j1, k0, k1 int
	at             int // in wide
}

func (g bundle) columns() int { return (g.j1 - g.j0) * (g.k1 - g.k0) }

// narrow is the part of the usual step below which a gap is narrow, and
// together the most nodes that are taken as one along an axis.
const (
	narrow   = 0.35
	together = 3
)

// runs groups the nodes of an axis that stand at narrow gaps.
func runs(x []float64) (out [][2]int) {
	gaps := make([]float64, len(x)-1)
	for i := range gaps {
		gaps[i] = x[i+1] - x[i]
	}
	sorted := slices.Clone(gaps)
	slices.Sort(sorted)
	usual := sorted[len(sorted)/2]
	for i := 0; i < len(x); {
		j := i + 1
		for j < len(x) && j-i < together && gaps[j-1] < narrow*usual {
			j++
		}
		out = append(out, [2]int{i, j})
		i = j
	}
	return out
}

func newColumns(b *lattice) *columns {
	c := &columns{l: make([]float32, 9*b.nodes()), d: make([]float32, 6*b.nodes()), of: make([]int32, b.n[1]*b.n[2]), from: make([]int, b.n[2]+1)}
	across := runs(b.x[1])
	size := 0
	for _, k := range runs(b.x[2]) {
		for p := k[0]; p < k[1]; p++ {
			c.from[p] = len(c.bundles)
			if p > k[0] {
				c.from[p] += len(across) // all start on the first plane
			}
		}
		for _, j := range across {
			g := bundle{j[0], j[1], k[0], k[1], size}
			if s := 3 * g.columns(); s > 3 {
				size += 2 * s * s * b.n[0]
			}
			for q := k[0]; q < k[1]; q++ {
				for p := j[0]; p < j[1]; p++ {
					c.of[p+b.n[1]*q] = int32(len(c.bundles))
				}
			}
			c.bundles = append(c.bundles, g)
		}
	}
	c.from[b.n[2]] = len(c.bundles)
	c.wide = make([]float64, size)
	return c
}

// base is the first node of column i of the bundle.
func (g bundle) base(b *lattice, i int) int {
	w := g.j1 - g.j0
	return b.n[0] * (g.j0 + i%w + b.n[1]*(g.k0+i/w))
}

// factor makes the factors, once the nodes that are fixed are marked.
func (c *columns) factor(b *lattice) {
	each(b.n[2], func(k int) {
		var space blocks
		for g := c.from[k]; g < c.from[k+1]; g++ {
			c.factorOne(b, c.bundles[g], &space)
		}
	})
}

// blocks is work space: of each layer its own block and that with the one below.
type blocks struct {
	diag, off, inv, low []float64
}

func (w *blocks) clear(layers, s int) {
	for _, v := range []*[]float64{&w.diag, &w.off} {
		if cap(*v) < layers*s*s {
			*v = make([]float64, layers*s*s)
		}
		*v = (*v)[:layers*s*s]
		clear(*v)
	}
	w.inv, w.low = make([]float64, s*s), make([]float64, s*s)
}

func (c *columns) factorOne(b *lattice, g bundle, w *blocks) {
	m := g.columns()
	s := 3 * m
	w.clear(b.n[0], s)
	var place [4]int // of the cell's four edges along axis 0 in the bundle, -1 outside
	for r := max(0, g.k0-1); r < min(g.k1, b.n[2]-1); r++ {
		for q := max(0, g.j0-1); q < min(g.j1, b.n[1]-1); q++ {
			for e := range 4 {
				j, k := q+e&1, r+e>>1
				place[e] = -1
				if j >= g.j0 && j < g.j1 && k >= g.k0 && k < g.k1 {
					place[e] = j - g.j0 + (g.j1-g.j0)*(k-g.k0)
				}
			}
			for i := range b.n[0] - 1 {
				at := b.cell(i, q, r)
				if b.kind[at] < 0 {
					continue
				}
				mat, f := &b.bricks[b.kind[at]].node, b.fill[at]
				lower, upper := w.diag[i*s*s:(i+1)*s*s], w.diag[(i+1)*s*s:(i+2)*s*s]
				off := w.off[(i+1)*s*s : (i+2)*s*s]
				for e, p := range place {
					for h, o := range place {
						if p < 0 || o < 0 {
							continue
						}
						for x := range 3 {
							for y := range 3 {
								to := (3*p+x)*s + 3*o + y
								lower[to] += f * mat[6*e+x][6*h+y]
								upper[to] += f * mat[6*e+3+x][6*h+3+y]
								off[to] += f * mat[6*e+3+x][6*h+y]
							}
						}
					}
				}
			}
		}
	}
	for i := range b.n[0] {
		d, o := w.diag[i*s*s:(i+1)*s*s], w.off[i*s*s:(i+1)*s*s]
		for col := range m {
			n := g.base(b, col) + i
			for x := range 3 {
				at := 3*col + x
				if b.mask[n]>>x&1 == 1 {
					for y := range s {
						d[at*s+y], d[y*s+at], o[at*s+y] = 0, 0, 0
					}
					d[at*s+at] = 1
				}
				if i > 0 && b.mask[n-1]>>x&1 == 1 {
					for y := range s {
						o[y*s+at] = 0
					}
				}
			}
		}
		clear(w.low)
		if i > 0 { // L = o · inverse below, and d loses L oᵀ
			for x := range s {
				for l := range s {
					if v := o[x*s+l]; v != 0 {
						for y := range s {
							w.low[x*s+y] += v * w.inv[l*s+y]
						}
					}
				}
			}
			for x := range s {
				for y := range s {
					sum := 0.0
					for l := range s {
						sum += w.low[x*s+l] * o[y*s+l]
					}
					d[x*s+y] -= sum
				}
			}
		}
		invert(d, w.inv, s)
		// What is fixed gets nothing.
		for col := range m {
			n := g.base(b, col) + i
			for x := range 3 {
				if at := 3*col + x; b.mask[n]>>x&1 == 1 {
					for y := range s {
						w.inv[at*s+y], w.inv[y*s+at] = 0, 0
					}
				}
			}
		}
		if m == 1 {
			n := g.base(b, 0) + i
			for e, v := range w.low {
				c.l[9*n+e] = float32(v)
			}
			for e, at := range [6]int{0, 1, 2, 4, 5, 8} {
				c.d[6*n+e] = float32(w.inv[at])
			}
			continue
		}
		to := c.wide[g.at+2*i*s*s:]
		for e := range s * s {
			to[e] = w.low[e]
			// Rounding must not spoil the symmetry.
			to[s*s+e] = (w.inv[e] + w.inv[e%s*s+e/s]) / 2
		}
	}
}

// invert a symmetric positive definite matrix of s rows, by Gauss and Jordan.
func invert(m, inv []float64, s int) {
	a := slices.Clone(m)
	clear(inv)
	for i := range s {
		inv[i*s+i] = 1
	}
	for p := range s {
		k := 1 / a[p*s+p]
		for y := range s {
			a[p*s+y] *= k
			inv[p*s+y] *= k
		}
		for x := range s {
			if f := a[x*s+p]; x != p && f != 0 {
				for y := range s {
					a[x*s+y] -= f * a[p*s+y]
					inv[x*s+y] -= f * inv[p*s+y]
				}
			}
		}
	}
}

// solve sets z to keep·z + scale·D⁻¹r for the bundles that begin on plane k; r
// and z are the body's.
func (c *columns) solve(b *lattice, k int, r, z []float64, keep, scale float64) {
	n0 := b.n[0]
	buf := make([]float64, 3*n0)
	var together []float64
	for _, g := range c.bundles[c.from[k]:c.from[k+1]] {
		m := g.columns()
		if m == 1 {
			base := g.base(b, 0)
			c.one(base, r[3*base:3*(base+n0)], z[3*base:3*(base+n0)], buf, keep, scale)
			continue
		}
		s := 3 * m
		if len(together) < s*(n0+1) {
			together = make([]float64, s*(n0+1))
		}
		q := together[:s*n0]
		for col := range m {
			from := r[3*g.base(b, col):]
			for i := range n0 {
				copy(q[i*s+3*col:i*s+3*col+3], from[3*i:3*i+3])
			}
		}
		c.several(b, g, q, together[s*n0:s*(n0+1)])
		for col := range m {
			to := z[3*g.base(b, col):]
			for i := range n0 {
				v, o := q[i*s+3*col:i*s+3*col+3], to[3*i:3*i+3]
				o[0], o[1], o[2] = keep*o[0]+scale*v[0], keep*o[1]+scale*v[1], keep*o[2]+scale*v[2]
			}
		}
	}
}

// alone sets z to D⁻¹r for one bundle; r and z are its columns', one after the
// other.
func (c *columns) alone(b *lattice, g bundle, r, z []float64) {
	if g.columns() == 1 {
		c.one(g.base(b, 0), r, z, make([]float64, len(r)), 0, 1)
		return
	}
	n0, s := b.n[0], 3*g.columns()
	q := make([]float64, len(r))
	for e := range q {
		q[e] = r[3*(n0*(e%s/3)+e/s)+e%3]
	}
	c.several(b, g, q, make([]float64, s))
	for e, v := range q {
		z[3*(n0*(e%s/3)+e/s)+e%3] = v
	}
}

// several replaces q by D⁻¹q for columns together, the numbers of a layer of all
// of them after those of the one below; x is work space of a layer.
func (c *columns) several(b *lattice, g bundle, q, x []float64) {
	n0, s := b.n[0], 3*g.columns()
	for i := 1; i < n0; i++ {
		low := c.wide[g.at+2*i*s*s:]
		under, now := q[(i-1)*s:i*s], q[i*s:(i+1)*s]
		for e := range now {
			v := now[e]
			row := low[e*s : (e+1)*s]
			for y, p := range under {
				v -= row[y] * p
			}
			now[e] = v
		}
	}
	bring := x
	clear(bring)
	for i := n0 - 1; i >= 0; i-- {
		f := c.wide[g.at+2*i*s*s:]
		low, inv := f[:s*s], f[s*s:2*s*s]
		now := q[i*s : (i+1)*s]
		for e := range bring {
			v := -bring[e]
			row := inv[e*s : (e+1)*s]
			for y, p := range now {
				v += row[y] * p
			}
			bring[e] = v
		}
		copy(now, bring)
		clear(bring)
		for e, v := range now {
			row := low[e*s : (e+1)*s]
			for y := range bring {
				bring[y] += row[y] * v
			}
		}
	}
}

// one sets z to keep·z + scale·D⁻¹r for the column whose first node is base; r
// and z are the column's.
func (c *columns) one(base int, r, z, buf []float64, keep, scale float64) {
	n0 := len(buf) / 3
	var p0, p1, p2 float64
	for i := range n0 {
		n := base + i
		l := c.l[9*n : 9*n+9 : 9*n+9]
		v := r[3*i : 3*i+3 : 3*i+3]
		q0 := v[0] - (float64(l[0])*p0 + float64(l[1])*p1 + float64(l[2])*p2)
		q1 := v[1] - (float64(l[3])*p0 + float64(l[4])*p1 + float64(l[5])*p2)
		q2 := v[2] - (float64(l[6])*p0 + float64(l[7])*p1 + float64(l[8])*p2)
		p0, p1, p2 = q0, q1, q2
		buf[3*i], buf[3*i+1], buf[3*i+2] = q0, q1, q2
	}
	var b0, b1, b2 float64 // L of the node above, transposed, times its outcome
	for i := n0 - 1; i >= 0; i-- {
		n := base + i
		d := c.d[6*n : 6*n+6 : 6*n+6]
		d0, d1, d2, d3, d4, d5 := float64(d[0]), float64(d[1]), float64(d[2]), float64(d[3]), float64(d[4]), float64(d[5])
		q0, q1, q2 := buf[3*i], buf[3*i+1], buf[3*i+2]
		x0 := d0*q0 + d1*q1 + d2*q2 - b0
		x1 := d1*q0 + d3*q1 + d4*q2 - b1
		x2 := d2*q0 + d4*q1 + d5*q2 - b2
		l := c.l[9*n : 9*n+9 : 9*n+9]
		b0 = float64(l[0])*x0 + float64(l[3])*x1 + float64(l[6])*x2
		b1 = float64(l[1])*x0 + float64(l[4])*x1 + float64(l[7])*x2
		b2 = float64(l[2])*x0 + float64(l[5])*x1 + float64(l[8])*x2
		o := z[3*i : 3*i+3 : 3*i+3]
		o[0], o[1], o[2] = keep*o[0]+scale*x0, keep*o[1]+scale*x1, keep*o[2]+scale*x2
	}
}
