package elastic

// columns holds, for every column of nodes along axis 0, the factors of the
// stiffness of that column alone: block by block L D Lᵀ. Solving for a whole
// column smooths evenly where cells are much thinner than wide, as the cover
// layers of a board are. The factors are kept in single precision: it is a
// preconditioner, and symmetric and definite with whatever factors it has.
type columns struct {
	l []float32 // nine to a node: what the node below brings
	d []float32 // six to a node: the inverse diagonal block, 00 01 02 11 12 22
}

func newColumns(b *lattice) *columns {
	return &columns{make([]float32, 9*b.nodes()), make([]float32, 6*b.nodes())}
}

// factor makes the factors of all columns, or of those with a touched node.
func (c *columns) factor(b *lattice, extra map[int]*[6][6]float64, touched map[int]bool, all bool) {
	need := map[int]bool{}
	for n := range touched {
		need[n/b.n[0]] = true
	}
	each(b.n[2], func(k int) {
		diag, off := make([][3][3]float64, b.n[0]), make([][3][3]float64, b.n[0])
		for j := range b.n[1] {
			if all || need[j+b.n[1]*k] {
				c.column(b, j, k, extra, diag, off)
			}
		}
	})
}

func (c *columns) column(b *lattice, j, k int, extra map[int]*[6][6]float64, diag, off [][3][3]float64) {
	clear(diag)
	clear(off)
	base := b.n[0] * (j + b.n[1]*k)
	for side := range 4 {
		// The four cells about the column, of which it is an edge.
		q, r := j-side&1, k-side>>1
		if q < 0 || r < 0 || q >= b.n[1]-1 || r >= b.n[2]-1 {
			continue
		}
		lower := 3 * (side << 1) // the corner at the cell's lower end
		for i := range b.n[0] - 1 {
			at := b.cell(i, q, r)
			if b.kind[at] < 0 {
				continue
			}
			m, f := &b.bricks[b.kind[at]].node, b.fill[at]
			for p := range 3 {
				for s := range 3 {
					diag[i][p][s] += f * m[lower+p][lower+s]
					diag[i+1][p][s] += f * m[lower+3+p][lower+3+s]
					off[i+1][p][s] += f * m[lower+3+p][lower+s]
				}
			}
		}
	}
	var inv [3][3]float64
	for i := range b.n[0] {
		n := base + i
		d, o := &diag[i], &off[i]
		if e := extra[n]; e != nil {
			for p := range 3 {
				for s := range 3 {
					d[p][s] += e[p][s]
				}
			}
		}
		mask := b.mask[n]
		var below uint8
		if i > 0 {
			below = b.mask[n-1]
		}
		for p := range 3 {
			for s := range 3 {
				if mask>>p&1 == 1 || below>>s&1 == 1 {
					o[p][s] = 0
				}
				if mask>>p&1 == 1 || mask>>s&1 == 1 {
					d[p][s] = 0
				}
			}
			if mask>>p&1 == 1 {
				d[p][p] = 1
			}
		}
		var l [3][3]float64
		if i > 0 {
			for p := range 3 {
				for s := range 3 {
					l[p][s] = o[p][0]*inv[0][s] + o[p][1]*inv[1][s] + o[p][2]*inv[2][s]
				}
			}
			for p := range 3 {
				for s := range 3 {
					d[p][s] -= l[p][0]*o[s][0] + l[p][1]*o[s][1] + l[p][2]*o[s][2]
				}
			}
		}
		inv = invert3(d)
		for p := range 3 {
			for s := range 3 {
				c.l[9*n+3*p+s] = float32(l[p][s])
			}
			// What is fixed gets nothing.
			for s := range 3 {
				if mask>>p&1 == 1 || mask>>s&1 == 1 {
					inv[p][s] = 0
				}
			}
		}
		e := c.d[6*n : 6*n+6]
		e[0], e[1], e[2], e[3], e[4], e[5] = float32(inv[0][0]), float32(inv[0][1]), float32(inv[0][2]), float32(inv[1][1]), float32(inv[1][2]), float32(inv[2][2])
	}
}

// invert3 inverts a symmetric matrix.
func invert3(m *[3][3]float64) (v [3][3]float64) {
	a, b, c, d, e, f := m[0][0], m[0][1], m[0][2], m[1][1], m[1][2], m[2][2]
	p, q, r := d*f-e*e, c*e-b*f, b*e-c*d
	s := 1 / (a*p + b*q + c*r)
	v[0] = [3]float64{p * s, q * s, r * s}
	v[1] = [3]float64{q * s, (a*f - c*c) * s, (b*c - a*e) * s}
	v[2] = [3]float64{r * s, (b*c - a*e) * s, (a*d - b*b) * s}
	return v
}

// solve sets z to keep·z + scale·D⁻¹r for the columns of plane k.
func (c *columns) solve(b *lattice, k int, r, z []float64, keep, scale float64) {
	n0 := b.n[0]
	buf := make([]float64, 3*n0)
	for j := range b.n[1] {
		base := n0 * (j + b.n[1]*k)
		c.one(base, r[3*base:3*(base+n0)], z[3*base:3*(base+n0)], buf, keep, scale)
	}
}

// one does it for the column whose first node is base; r and z are the column's.
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
