package elastic

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// grid is a body on a coarse level: six numbers to a node, and the stiffness
// as a stencil of blocks of six by six. It is the finer stiffness seen through
// the transfer, PᵀKP, so it stays symmetric and definite with whatever is
// empty, soft or fixed.
type grid struct {
	x     [3][]float64
	n     [3]int
	at    int // number of its first node on the level
	reach [3]int
	a     []float64 // node, neighbour, row, column
	inv   []float64 // inverse of each node's block; nil on the last level
	dead  []uint8   // by node: bit d: the number d moves nothing
}

func newGrid(t *transfer) *grid {
	g := &grid{x: t.x, n: t.coarse}
	for a := range 3 {
		if g.n[a] > 1 {
			g.reach[a] = 1
		}
	}
	g.a = make([]float64, g.nodes()*g.width()*36)
	return g
}

func (g *grid) nodes() int { return g.n[0] * g.n[1] * g.n[2] }

// width is the number of neighbours in the stencil, the node itself among them.
func (g *grid) width() int {
	return (2*g.reach[0] + 1) * (2*g.reach[1] + 1) * (2*g.reach[2] + 1)
}

// neighbour numbers an offset of -1 to 1 along each axis.
func (g *grid) neighbour(d0, d1, d2 int) int {
	return d0 + g.reach[0] + (2*g.reach[0]+1)*(d1+g.reach[1]+(2*g.reach[1]+1)*(d2+g.reach[2]))
}

func (g *grid) block(node, neighbour int) []float64 {
	at := (node*g.width() + neighbour) * 36
	return g.a[at : at+36 : at+36]
}

func (g *grid) centre(node int) []float64 { return g.block(node, (g.width()-1)/2) }

// around calls f for the node and every neighbour it has.
func (g *grid) around(node int, f func(to int, block []float64)) {
	i, j, k := node%g.n[0], node/g.n[0]%g.n[1], node/(g.n[0]*g.n[1])
	at := 0
	for d2 := -g.reach[2]; d2 <= g.reach[2]; d2++ {
		for d1 := -g.reach[1]; d1 <= g.reach[1]; d1++ {
			for d0 := -g.reach[0]; d0 <= g.reach[0]; d0++ {
				if p, q, r := i+d0, j+d1, k+d2; p >= 0 && p < g.n[0] && q >= 0 && q < g.n[1] && r >= 0 && r < g.n[2] {
					f(p+g.n[0]*(q+g.n[1]*r), g.block(node, at))
				}
				at++
			}
		}
	}
}

// plane sets y to the product with x, for the nodes of plane k of axis 2.
func (g *grid) plane(k int, x, y []float64) {
	node := k * g.n[0] * g.n[1]
	for j := range g.n[1] {
		for i := range g.n[0] {
			var s0, s1, s2, s3, s4, s5 float64
			at := node * g.width() * 36
			for d2 := -g.reach[2]; d2 <= g.reach[2]; d2++ {
				for d1 := -g.reach[1]; d1 <= g.reach[1]; d1++ {
					for d0 := -g.reach[0]; d0 <= g.reach[0]; d0++ {
						p, q, r := i+d0, j+d1, k+d2
						if p >= 0 && p < g.n[0] && q >= 0 && q < g.n[1] && r >= 0 && r < g.n[2] {
							m := g.a[at : at+36 : at+36]
							o := 6 * (p + g.n[0]*(q+g.n[1]*r))
							v := x[o : o+6 : o+6]
							v0, v1, v2, v3, v4, v5 := v[0], v[1], v[2], v[3], v[4], v[5]
							s0 += m[0]*v0 + m[1]*v1 + m[2]*v2 + m[3]*v3 + m[4]*v4 + m[5]*v5
							s1 += m[6]*v0 + m[7]*v1 + m[8]*v2 + m[9]*v3 + m[10]*v4 + m[11]*v5
							s2 += m[12]*v0 + m[13]*v1 + m[14]*v2 + m[15]*v3 + m[16]*v4 + m[17]*v5
							s3 += m[18]*v0 + m[19]*v1 + m[20]*v2 + m[21]*v3 + m[22]*v4 + m[23]*v5
							s4 += m[24]*v0 + m[25]*v1 + m[26]*v2 + m[27]*v3 + m[28]*v4 + m[29]*v5
							s5 += m[30]*v0 + m[31]*v1 + m[32]*v2 + m[33]*v3 + m[34]*v4 + m[35]*v5
						}
						at += 36
					}
				}
			}
			o := y[6*node : 6*node+6 : 6*node+6]
			o[0], o[1], o[2], o[3], o[4], o[5] = s0, s1, s2, s3, s4, s5
			node++
		}
	}
}

// evenOdd calls f for the layers 0..n-1, first the even ones and then the odd:
// a layer shares a plane of nodes with its neighbours only.
func evenOdd(n int, f func(k int)) {
	each((n+1)/2, func(i int) { f(2 * i) })
	each(n/2, func(i int) { f(2*i + 1) })
}

// span is where a cell lies in a coarse cell, along one axis.
type span struct {
	coarse int           // number of the coarse cell
	kind   int           // same for cells that lie alike
	w      [2][2]float64 // weight: cell's end, coarse end
	arm    [2][2]float64
}

// spans lists the cells along axis a of the lattice.
func (t *transfer) spans(a int) (out []span, kinds int) {
	type key [8]int64
	known := map[key]int{}
	for i := range t.fine[a] - 1 {
		s := span{coarse: int(t.lo[a][i])}
		for end := range 2 {
			f := i + end
			if int(t.lo[a][f]) == s.coarse {
				s.w[end] = [2]float64{1 - t.w[a][f], t.w[a][f]}
				s.arm[end] = t.arm[a][f]
			} else { // the next coarse node itself
				s.w[end] = [2]float64{0, 1}
			}
		}
		var id key
		for e := range 8 {
			v := s.w[e>>1&1][e&1]
			if e >= 4 {
				v = s.arm[e>>1&1][e&1]
			}
			id[e] = int64(math.Round(v * 1e9))
		}
		kind, ok := known[id]
		if !ok {
			kind = len(known)
			known[id] = kind
		}
		s.kind = kind
		out = append(out, s)
	}
	return out, len(known)
}

// seen is the matrix of a cell through the transfer: cell's stiffness times
// 6 numbers at each of the corners of its coarse cell. corners lists those, as
// bits of ends.
func (b *brick) seen(s [3]*span, corners []int, fixed *[8]uint8, out []float64) {
	size := 6 * len(corners)
	var p [24][48]float64
	for n := range 8 {
		for ci, c := range corners {
			pr := parent{w: 1}
			for a := range 3 {
				pr.w *= s[a].w[n>>a&1][c>>a&1]
				pr.arm[a] = s[a].arm[n>>a&1][c>>a&1]
			}
			if pr.w == 0 {
				continue
			}
			var g [6][6]float64
			pr.share(&g)
			for c := range 3 {
				if fixed[n]>>c&1 == 0 {
					copy(p[3*n+c][6*ci:6*ci+6], g[c][:])
				}
			}
		}
	}
	for i := range size * size {
		out[i] = 0
	}
	var kp [48]float64
	for r := range 24 {
		for j := range size {
			kp[j] = 0
		}
		for l := range 24 {
			if v := b.node[r][l]; v != 0 {
				for j := range size {
					kp[j] += v * p[l][j]
				}
			}
		}
		for i := range size {
			if v := p[r][i]; v != 0 {
				row := out[i*size : (i+1)*size]
				for j := range row {
					row[j] += v * kp[j]
				}
			}
		}
	}
}

// maxSeen bounds the memory for cells' matrices kept, in numbers: 128 MiB.
const maxSeen = 16 << 20

// gather makes the stencil of the first coarse grid from the cells.
func (g *grid) gather(l *lattice, t *transfer) {
	var corners []int
	for c := range 8 {
		if !(t.flat[0] && c&1 == 1 || t.flat[1] && c>>1&1 == 1 || t.flat[2] && c>>2&1 == 1) {
			corners = append(corners, c)
		}
	}
	size := 6 * len(corners)
	var spans [3][]span
	var kinds [3]int
	for a := range 3 {
		spans[a], kinds[a] = t.spans(a)
	}
	// Cells that are alike and lie alike look alike from the coarse grid.
	which := make([]int32, len(l.kind))
	known := map[int]int32{}
	type sample struct {
		brick *brick
		s     [3]*span
	}
	var samples []sample
	last, lastIs := -1, int32(-1)
	c := 0
	for k := range l.n[2] - 1 {
		for j := range l.n[1] - 1 {
			for i := range l.n[0] - 1 {
				which[c] = -1
				if l.kind[c] >= 0 && !l.touchesFixed(i, j, k) {
					s := [3]*span{&spans[0][i], &spans[1][j], &spans[2][k]}
					id := ((int(l.kind[c])*kinds[0]+s[0].kind)*kinds[1]+s[1].kind)*kinds[2] + s[2].kind
					if id != last {
						w, ok := known[id]
						if !ok {
							w = -1
							if (len(samples)+1)*size*size <= maxSeen {
								w = int32(len(samples))
								samples = append(samples, sample{l.bricks[l.kind[c]], s})
							}
							known[id] = w
						}
						last, lastIs = id, w
					}
					which[c] = lastIs
				}
				c++
			}
		}
	}
	seen := make([]float64, len(samples)*size*size)
	each(len(samples), func(i int) {
		samples[i].brick.seen(samples[i].s, corners, new([8]uint8), seen[i*size*size:(i+1)*size*size])
	})
	var range3 [3][][2]int // cells of each coarse cell
	for a := range 3 {
		for i, s := range spans[a] {
			if s.coarse == len(range3[a]) {
				range3[a] = append(range3[a], [2]int{i, i})
			}
			range3[a][s.coarse][1] = i + 1
		}
	}
	evenOdd(len(range3[2]), func(ck int) {
		sum, own := make([]float64, size*size), make([]float64, size*size)
		for cj := range range3[1] {
			for ci := range range3[0] {
				clear(sum)
				any := false
				for k := range3[2][ck][0]; k < range3[2][ck][1]; k++ {
					for j := range3[1][cj][0]; j < range3[1][cj][1]; j++ {
						for i := range3[0][ci][0]; i < range3[0][ci][1]; i++ {
							c := l.cell(i, j, k)
							if l.kind[c] < 0 {
								continue
							}
							any = true
							m := own
							if w := which[c]; w >= 0 {
								m = seen[int(w)*size*size : (int(w)+1)*size*size]
							} else {
								var fixed [8]uint8
								for n, p := range l.corners(i, j, k) {
									fixed[n] = l.mask[p]
								}
								l.bricks[l.kind[c]].seen([3]*span{&spans[0][i], &spans[1][j], &spans[2][k]}, corners, &fixed, own)
							}
							f := l.fill[c]
							m = m[:len(sum)]
							for e := range sum {
								sum[e] += f * m[e]
							}
						}
					}
				}
				if !any {
					continue
				}
				for pi, p := range corners {
					node := ci + p&1 + g.n[0]*(cj+p>>1&1+g.n[1]*(ck+p>>2))
					for qi, q := range corners {
						b := g.block(node, g.neighbour(q&1-p&1, q>>1&1-p>>1&1, q>>2-p>>2))
						for r := range 6 {
							for s := range 6 {
								b[6*r+s] += sum[(6*pi+r)*size+6*qi+s]
							}
						}
					}
				}
			}
		}
	})
}

func (l *lattice) touchesFixed(i, j, k int) bool {
	for _, n := range l.corners(i, j, k) {
		if l.mask[n] != 0 {
			return true
		}
	}
	return false
}

// gatherGrid makes the stencil from a finer grid's.
func (g *grid) gatherGrid(f *grid, t *transfer) {
	layers := max(1, t.coarse[2]-1)
	evenOdd(layers, func(ck int) {
		for k := range t.fine[2] {
			// The last plane goes with the last layer.
			if at := int(t.lo[2][k]); min(at, layers-1) != ck {
				continue
			}
			for j := range t.fine[1] {
				for i := range t.fine[0] {
					g.gatherNode(f, t, i, j, k)
				}
			}
		}
	})
}

func (g *grid) gatherNode(f *grid, t *transfer, i, j, k int) {
	node := i + f.n[0]*(j+f.n[1]*k)
	lo := [3]int{int(t.lo[0][i]), int(t.lo[1][j]), int(t.lo[2][k])}
	var sum [27][6][6]float64 // (A P) of this node, by the coarse node's place about lo
	var used [27]bool
	var ps [8]parent
	var share [6][6]float64
	at := 0
	for d2 := -f.reach[2]; d2 <= f.reach[2]; d2++ {
		for d1 := -f.reach[1]; d1 <= f.reach[1]; d1++ {
			for d0 := -f.reach[0]; d0 <= f.reach[0]; d0++ {
				p, q, r := i+d0, j+d1, k+d2
				a := f.block(node, at)
				at++
				if p < 0 || p >= f.n[0] || q < 0 || q >= f.n[1] || r < 0 || r >= f.n[2] {
					continue
				}
				n := t.parents(p, q, r, &ps)
				for _, pr := range ps[:n] {
					c0, c1, c2 := pr.node%g.n[0], pr.node/g.n[0]%g.n[1], pr.node/(g.n[0]*g.n[1])
					slot := c0 - lo[0] + 1 + 3*(c1-lo[1]+1+3*(c2-lo[2]+1))
					used[slot] = true
					pr.share(&share)
					s := &sum[slot]
					for row := range 6 {
						b := a[6*row : 6*row+6]
						for l, v := range b {
							if v != 0 {
								for col := range 6 {
									s[row][col] += v * share[l][col]
								}
							}
						}
					}
				}
			}
		}
	}
	n := t.parents(i, j, k, &ps)
	for _, pr := range ps[:n] {
		c0, c1, c2 := pr.node%g.n[0], pr.node/g.n[0]%g.n[1], pr.node/(g.n[0]*g.n[1])
		pr.share(&share)
		for slot := range 27 {
			if !used[slot] {
				continue
			}
			b := g.block(pr.node, g.neighbour(slot%3-1+lo[0]-c0, slot/3%3-1+lo[1]-c1, slot/9-1+lo[2]-c2))
			s := &sum[slot]
			for l := range 6 {
				for row := range 6 {
					if v := share[l][row]; v != 0 {
						for col := range 6 {
							b[6*row+col] += v * s[l][col]
						}
					}
				}
			}
		}
	}
}

// bury finds the numbers that move nothing (nodes among empty cells, turns
// without an arm) and makes room for them: their rows are nought, and the turns
// get a trace of stiffness, 1e-9 of their own, since a turn of all nodes alike
// may move nothing where no axis is collapsed.
func (g *grid) bury() {
	largest := [2]float64{}
	for n := range g.nodes() {
		c := g.centre(n)
		for d := range 6 {
			largest[d/3] = max(largest[d/3], c[7*d])
		}
	}
	g.dead = make([]uint8, g.nodes())
	for n := range g.nodes() {
		c := g.centre(n)
		for d := range 6 {
			if c[7*d] <= 1e-13*largest[d/3] {
				g.dead[n] |= 1 << d
			} else if d >= 3 {
				c[7*d] *= 1 + 1e-9
			}
		}
	}
	// What is dead must not be coupled to what is not.
	each(g.n[2], func(k int) {
		node := k * g.n[0] * g.n[1]
		for j := range g.n[1] {
			for i := range g.n[0] {
				at := 0
				for d2 := -g.reach[2]; d2 <= g.reach[2]; d2++ {
					for d1 := -g.reach[1]; d1 <= g.reach[1]; d1++ {
						for d0 := -g.reach[0]; d0 <= g.reach[0]; d0++ {
							p, q, r := i+d0, j+d1, k+d2
							b := g.block(node, at)
							at++
							if p < 0 || p >= g.n[0] || q < 0 || q >= g.n[1] || r < 0 || r >= g.n[2] {
								continue
							}
							from, to := g.dead[node], g.dead[p+g.n[0]*(q+g.n[1]*r)]
							if from|to == 0 {
								continue
							}
							for e := range 36 {
								if from>>(e/6)&1 == 1 || to>>(e%6)&1 == 1 {
									b[e] = 0
								}
							}
						}
					}
				}
				node++
			}
		}
	})
}

// invert6 puts the inverse of a symmetric block into inv; the dead numbers get
// nought.
func invert6(block []float64, dead uint8, inv []float64) {
	var s [6]float64
	sym := mat.NewSymDense(6, nil)
	for d := range 6 {
		s[d] = 1
		if dead>>d&1 == 0 && block[7*d] > 0 {
			s[d] = 1 / math.Sqrt(block[7*d])
		}
	}
	for i := range 6 {
		for j := i; j < 6; j++ {
			v := 0.0
			if dead>>i&1 == 0 && dead>>j&1 == 0 {
				v = s[i] * s[j] * (block[6*i+j] + block[6*j+i]) / 2
			}
			if i == j {
				v += 1e-10
				if dead>>i&1 == 1 {
					v = 1
				}
			}
			sym.SetSym(i, j, v)
		}
	}
	var chol mat.Cholesky
	var out mat.SymDense
	if !chol.Factorize(sym) || chol.InverseTo(&out) != nil {
		for i := range 36 {
			inv[i] = 0
		}
		for d := range 6 { // the diagonal alone is still a sound smoother
			if dead>>d&1 == 0 {
				inv[7*d] = s[d] * s[d] / 6
			}
		}
		return
	}
	for i := range 6 {
		for j := range 6 {
			v := out.At(i, j) * s[i] * s[j]
			if dead>>i&1 == 1 || dead>>j&1 == 1 {
				v = 0
			}
			inv[6*i+j] = v
		}
	}
}
