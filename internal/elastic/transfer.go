package elastic

import "math"

// transfer takes displacements from a coarse grid to a finer one, and forces
// back. A coarse node carries a displacement and a turn. Along an axis the
// coarse nodes either stand apart, and their displacements are interpolated
// linearly, with half the turn times the arm added: the linked interpolation of
// the shear-flexible beam (Zienkiewicz and Taylor, The Finite Element Method,
// vol. 2), which bends without false shear. Or the axis is collapsed to one
// node, and the turn acts in full, as the section of a plate or beam does.
// Rigid motions pass exactly either way.
type transfer struct {
	fine, coarse [3]int // nodes along each axis
	x            [3][]float64
	flat         [3]bool // collapsed
	lo           [3][]int32
	w            [3][]float64 // weight of coarse node lo+1
	arm          [3][][2]float64
	kids         [3][][]kid // fine nodes that hang on a coarse one
}

// kid is a fine node's share in a coarse one along one axis.
type kid struct {
	i      int32
	w, arm float64
}

// parent is a coarse node's share in a fine one.
type parent struct {
	node int
	w    float64
	arm  [3]float64
}

// newTransfer coarsens a grid with nodes at x so that its steps come near to
// step, and collapses the axes that are no longer than it.
func newTransfer(x [3][]float64, step float64) *transfer {
	t := &transfer{}
	for a := range 3 {
		n := len(x[a])
		t.fine[a] = n
		t.lo[a], t.w[a], t.arm[a] = make([]int32, n), make([]float64, n), make([][2]float64, n)
		length := x[a][n-1] - x[a][0]
		if length <= step*1.0001 {
			mid := (x[a][0] + x[a][n-1]) / 2
			t.flat[a], t.x[a], t.coarse[a] = true, []float64{mid}, 1
			t.kids[a] = make([][]kid, 1)
			for i := range n {
				t.arm[a][i] = [2]float64{x[a][i] - mid, 0}
				t.kids[a][0] = append(t.kids[a][0], kid{int32(i), 1, x[a][i] - mid})
			}
			continue
		}
		// Coarse planes are fine ones, spread as evenly as those allow.
		parts := int(math.Ceil(length/step - 1e-9))
		at := []int{0}
		for p := 1; p <= parts; p++ {
			goal := x[a][0] + length*float64(p)/float64(parts)
			i := at[len(at)-1] + 1
			if i >= n {
				break
			}
			for i+1 < n && math.Abs(x[a][i+1]-goal) < math.Abs(x[a][i]-goal) {
				i++
			}
			if p == parts {
				i = n - 1
			}
			at = append(at, i)
		}
		t.coarse[a] = len(at)
		t.kids[a] = make([][]kid, len(at))
		for c, i := range at {
			t.x[a] = append(t.x[a], x[a][i])
			t.lo[a][i] = int32(c)
			t.kids[a][c] = append(t.kids[a][c], kid{int32(i), 1, 0})
			if c+1 == len(at) {
				break
			}
			from, to := x[a][i], x[a][at[c+1]]
			for f := i + 1; f < at[c+1]; f++ {
				t.lo[a][f] = int32(c)
				t.w[a][f] = (x[a][f] - from) / (to - from)
				t.arm[a][f] = [2]float64{(x[a][f] - from) / 2, (x[a][f] - to) / 2}
			}
		}
		for c := range len(at) - 1 {
			for f := at[c] + 1; f < at[c+1]; f++ {
				t.kids[a][c] = append(t.kids[a][c], kid{int32(f), 1 - t.w[a][f], t.arm[a][f][0]})
				t.kids[a][c+1] = append(t.kids[a][c+1], kid{int32(f), t.w[a][f], t.arm[a][f][1]})
			}
		}
	}
	return t
}

// parents of the fine node (i, j, k).
func (t *transfer) parents(i, j, k int, out *[8]parent) int {
	at := [3]int{i, j, k}
	n := 0
	for c := range 8 {
		p := parent{w: 1}
		for a := 2; a >= 0; a-- {
			f := at[a]
			side := c >> a & 1
			if w := t.w[a][f]; side == 1 {
				p.w *= w
			} else {
				p.w *= 1 - w
			}
			p.arm[a] = t.arm[a][f][side]
			p.node = p.node*t.coarse[a] + int(t.lo[a][f]) + side
		}
		if p.w != 0 {
			out[n] = p
			n++
		}
	}
	return n
}

// prolong adds the coarse x to plane k of the fine y; dof is 3 or 6, the numbers
// that a fine node has. Axes 1 and 2 are done first, for a whole row of coarse
// nodes, since shares are products over the axes and arms are sums.
func (t *transfer) prolong(k int, x, y []float64, dof int) {
	c0 := t.coarse[0]
	row := make([]float64, 6*c0)
	node := k * t.fine[1] * t.fine[0]
	for j := range t.fine[1] {
		clear(row)
		for side := range 4 {
			sj, sk := side&1, side>>1
			w := share1(t.w[1][j], sj) * share1(t.w[2][k], sk)
			if w == 0 {
				continue
			}
			r1, r2 := t.arm[1][j][sj], t.arm[2][k][sk]
			at := 6 * c0 * (int(t.lo[1][j]) + sj + t.coarse[1]*(int(t.lo[2][k])+sk))
			from := x[at : at+6*c0]
			for i := 0; i+6 <= len(from); i += 6 {
				v, s := from[i:i+6:i+6], row[i:i+6:i+6]
				s[0] += w * (v[0] + v[4]*r2 - v[5]*r1)
				s[1] += w * (v[1] - v[3]*r2)
				s[2] += w * (v[2] + v[3]*r1)
				s[3] += w * v[3]
				s[4] += w * v[4]
				s[5] += w * v[5]
			}
		}
		for i := range t.fine[0] {
			to := y[node*dof : node*dof+dof : node*dof+dof]
			for side := range 2 {
				w := share1(t.w[0][i], side)
				if w == 0 {
					continue
				}
				at := 6 * (int(t.lo[0][i]) + side)
				s, r0 := row[at:at+6:at+6], t.arm[0][i][side]
				to[0] += w * s[0]
				to[1] += w * (s[1] + s[5]*r0)
				to[2] += w * (s[2] - s[4]*r0)
				if dof == 6 {
					to[3] += w * s[3]
					to[4] += w * s[4]
					to[5] += w * s[5]
				}
			}
			node++
		}
	}
}

// share1 is the weight of the lower (0) or upper (1) of two coarse nodes.
func share1(w float64, side int) float64 {
	if side == 0 {
		return 1 - w
	}
	return w
}

// restrict sets the forces y on the coarse nodes of plane k of axis 2 from the
// fine ones: the transpose of prolong.
func (t *transfer) restrict(k int, x, y []float64, dof int) {
	node := k * t.coarse[1] * t.coarse[0]
	row := make([]float64, 6*t.fine[0])
	for j := range t.coarse[1] {
		clear(row)
		for _, kc := range t.kids[2][k] {
			for _, kb := range t.kids[1][j] {
				w, r1, r2 := kc.w*kb.w, kb.arm, kc.arm
				at := dof * t.fine[0] * (int(kb.i) + t.fine[1]*int(kc.i))
				for i := range t.fine[0] {
					v, s := x[at:at+dof:at+dof], row[6*i:6*i+6:6*i+6]
					f0, f1, f2 := w*v[0], w*v[1], w*v[2]
					s[0] += f0
					s[1] += f1
					s[2] += f2
					s[3] += r1*f2 - r2*f1
					s[4] += r2 * f0
					s[5] -= r1 * f0
					if dof == 6 {
						s[3] += w * v[3]
						s[4] += w * v[4]
						s[5] += w * v[5]
					}
					at += dof
				}
			}
		}
		for i := range t.coarse[0] {
			to := y[6*node : 6*node+6 : 6*node+6]
			clear(to)
			for _, ka := range t.kids[0][i] {
				s, w, r0 := row[6*ka.i:6*ka.i+6:6*ka.i+6], ka.w, ka.arm
				to[0] += w * s[0]
				to[1] += w * s[1]
				to[2] += w * s[2]
				to[3] += w * s[3]
				to[4] += w * (s[4] - r0*s[2])
				to[5] += w * (s[5] + r0*s[1])
			}
			node++
		}
	}
}

// share is what the fine node's numbers are made of in a parent's six: three
// rows for a displacement, three more for a turn.
func (p *parent) share(g *[6][6]float64) {
	w, r := p.w, p.arm
	*g = [6][6]float64{
		{w, 0, 0, 0, w * r[2], -w * r[1]},
		{0, w, 0, -w * r[2], 0, w * r[0]},
		{0, 0, w, w * r[1], -w * r[0], 0},
		{0, 0, 0, w, 0, 0},
		{0, 0, 0, 0, w, 0},
		{0, 0, 0, 0, 0, w},
	}
}
