package elastic

import "groundwork/internal/geom"

// term is a node's share in a spring's stretch: rows of the world's axes,
// columns of the node's numbers (three on the finest level, six below).
type term struct {
	body, node int // node of the body's grid
	g          [3][6]float64
}

// spring is a link on one level: energy ½ eᵀ k e, where e is the sum of the
// terms.
type spring struct {
	full  [3][3]float64
	along [3][3]float64 // without what it bears across
	terms []term
}

// hold is how a link bears now.
type hold uint8

const (
	opens hold = iota // a contact that stands open
	slips             // a contact that bears pressure and nothing across
	bears
)

func (s *spring) k(h hold) *[3][3]float64 {
	if h == slips {
		return &s.along
	}
	return &s.full
}

// newSpring is the link on the finest level.
func newSpring(l Link, at [2]spot, bodies [2]*lattice, index [2]int) spring {
	n := [3]float64{l.Axis.X, l.Axis.Y, l.Axis.Z}
	var s spring
	for i := range 3 {
		for j := range 3 {
			s.along[i][j] = l.Along * n[i] * n[j]
			s.full[i][j] = (l.Along - l.Across) * n[i] * n[j]
			if i == j {
				s.full[i][j] += l.Across
			}
		}
	}
	for side, b := range bodies {
		if b == nil {
			continue
		}
		sign := float64(2*side - 1) // stretch is B less A
		w := at[side].weights()
		for c, node := range b.corners(at[side].i, at[side].j, at[side].k) {
			if w[c] == 0 {
				continue
			}
			t := term{body: index[side], node: node}
			for i := range 3 {
				for a := range 3 {
					t.g[i][a] = sign * w[c] * b.r[i][a]
				}
			}
			s.terms = append(s.terms, t)
		}
	}
	return s
}

// coarser is the spring on the next level.
func (s spring) coarser(ts []*transfer, dof int, masks []*lattice) spring {
	out := spring{full: s.full, along: s.along}
	var ps [8]parent
	var share [6][6]float64
	for _, t := range s.terms {
		tr := ts[t.body]
		if masks != nil {
			for a := range 3 {
				if masks[t.body].mask[t.node]>>a&1 == 1 {
					t.g[0][a], t.g[1][a], t.g[2][a] = 0, 0, 0
				}
			}
		}
		i, j, k := t.node%tr.fine[0], t.node/tr.fine[0]%tr.fine[1], t.node/(tr.fine[0]*tr.fine[1])
		n := tr.parents(i, j, k, &ps)
	parents:
		for _, p := range ps[:n] {
			p.share(&share)
			var g [3][6]float64
			for r := range 3 {
				for l := range dof {
					for c := range 6 {
						g[r][c] += t.g[r][l] * share[l][c]
					}
				}
			}
			for o := range out.terms {
				if u := &out.terms[o]; u.body == t.body && u.node == p.node {
					for r := range 3 {
						for c := range 6 {
							u.g[r][c] += g[r][c]
						}
					}
					continue parents
				}
			}
			out.terms = append(out.terms, term{t.body, p.node, g})
		}
	}
	return out
}

// stretch of the spring; dof is the numbers of a node, at the first node of
// each body.
func (s *spring) stretch(x []float64, dof int, at []int) (e [3]float64) {
	for i := range s.terms {
		t := &s.terms[i]
		v := x[dof*(at[t.body]+t.node):][:dof]
		if dof == 3 {
			v0, v1, v2 := v[0], v[1], v[2]
			for r := range e {
				e[r] += t.g[r][0]*v0 + t.g[r][1]*v1 + t.g[r][2]*v2
			}
			continue
		}
		for r := range e {
			for c, x := range v {
				e[r] += t.g[r][c] * x
			}
		}
	}
	return e
}

// pull adds the force f at the spring's ends to y.
func (s *spring) pull(f [3]float64, y []float64, dof int, at []int) {
	for i := range s.terms {
		t := &s.terms[i]
		v := y[dof*(at[t.body]+t.node):]
		for c := range dof {
			v[c] += t.g[0][c]*f[0] + t.g[1][c]*f[1] + t.g[2][c]*f[2]
		}
	}
}

func (s *spring) force(h hold, e [3]float64) (f [3]float64) {
	k := s.k(h)
	for r := range 3 {
		f[r] = k[r][0]*e[0] + k[r][1]*e[1] + k[r][2]*e[2]
	}
	return f
}

func array(v geom.Vec3) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }
func vec(a [3]float64) geom.Vec3   { return geom.V3(a[0], a[1], a[2]) }
