package elastic

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// brick is the stiffness of one kind of cell: its three edge lengths and its
// material. Eight corners carry the displacement; nine more modes, 1-ξ², 1-η²
// and 1-ζ² for each component, are condensed out (Wilson, Taylor, Doherty and
// Ghaboussi 1973; Taylor, Beresford and Wilson 1976, whose correction is
// nothing for a brick). With them a cell bends without false shear.
//
// The matrix is kept in another basis than the corners': q, of the products of
// ξ, η, ζ that a corner displacement is made of. Mode m is ξ^b0 η^b1 ζ^b2 with b
// the bits of m. Reflection in the three mid-planes splits the matrix of a
// material with axes along the cell's into eight blocks of at most three rows,
// so that multiplying takes 33 numbers instead of 576, besides the change of
// basis, which is a Walsh transform: additions alone.
//
// Of any other material the point of symmetry in the middle is left: two blocks
// of twelve and nine rows.
type brick struct {
	c     Stiffness
	half  [3]float64
	ortho bool
	k     [33]float64     // the blocks, if ortho; see orthoTerms for the order
	odd   [12][12]float64 // the two blocks of any material, see oddModes, evenModes
	even  [9][9]float64
	node  [24][24]float64 // in the corners' displacements (row 3 n + c)
	bulge [9][24]float64  // condensed modes (row 3 c + axis) from q
}

// oddModes and evenModes list the rows of the two blocks: displacements that
// change sign with ξ, η and ζ, and that do not.
var (
	oddModes  = [12]int{1, 2, 4, 7, 9, 10, 12, 15, 17, 18, 20, 23}
	evenModes = [9]int{3, 5, 6, 11, 13, 14, 19, 21, 22}
)

// phi is mode m at a point of the cell.
func phi(m int, xi [3]float64) float64 {
	v := 1.0
	for a := range 3 {
		if m>>a&1 == 1 {
			v *= xi[a]
		}
	}
	return v
}

// dphi is the derivative of mode m along axis a.
func dphi(m, a int, xi [3]float64) float64 {
	if m>>a&1 == 0 {
		return 0
	}
	return phi(m&^(1<<a), xi)
}

// strainRows gives the strain at xi made by each of the 33 modes.
func (b *brick) strainRows(xi [3]float64) (rows [6][33]float64) {
	put := func(col, comp, axis int, g float64) {
		rows[voigtOf[comp][axis]][col] += g
	}
	for c := range 3 {
		for m := range 8 {
			for a := range 3 {
				if g := dphi(m, a, xi) / b.half[a]; g != 0 {
					put(8*c+m, c, a, g)
				}
			}
		}
		for a := range 3 {
			put(24+3*c+a, c, a, -2*xi[a]/b.half[a])
		}
	}
	return rows
}

func newBrick(c Stiffness, edges [3]float64) *brick {
	b := &brick{c: c, half: [3]float64{edges[0] / 2, edges[1] / 2, edges[2] / 2}}
	var k [33][33]float64
	w := b.half[0] * b.half[1] * b.half[2]
	g := 1 / math.Sqrt(3)
	for p := range 8 { // 2 x 2 x 2 points are exact: no mode's strain is above degree one in an axis
		xi := [3]float64{g, g, g}
		for a := range 3 {
			if p>>a&1 == 0 {
				xi[a] = -g
			}
		}
		rows := b.strainRows(xi)
		var cb [6][33]float64
		for i := range 6 {
			for j := range 33 {
				for l := range 6 {
					cb[i][j] += c[i][l] * rows[l][j]
				}
			}
		}
		for i := range 33 {
			for j := range 33 {
				for l := range 6 {
					k[i][j] += w * rows[l][i] * cb[l][j]
				}
			}
		}
	}
	inner := mat.NewSymDense(9, nil)
	side := mat.NewDense(9, 24, nil)
	for i := range 9 {
		for j := range 9 {
			inner.SetSym(i, j, k[24+i][24+j])
		}
		for j := range 24 {
			side.Set(i, j, -k[24+i][j])
		}
	}
	var chol mat.Cholesky
	chol.Factorize(inner) // definite: the material is, and the nine strains are independent
	var bulge mat.Dense
	_ = chol.SolveTo(&bulge, side)
	var full [24][24]float64 // in the basis q, for the corners' sums
	for i := range 24 {
		for j := range 24 {
			full[i][j] = k[i][j]
			for l := range 9 {
				full[i][j] += k[i][24+l] * bulge.At(l, j)
			}
			// Corners' sums are eight times the modes, on either side.
			full[i][j] /= 64
		}
	}
	for i := range 9 {
		for j := range 24 {
			b.bulge[i][j] = bulge.At(i, j)
		}
	}
	b.split(&full)
	for n := range 8 {
		for m := range 8 {
			for p := range 8 {
				for q := range 8 {
					s := corner(n, p) * corner(m, q)
					for c := range 3 {
						for d := range 3 {
							b.node[3*n+c][3*m+d] += s * full[8*c+p][8*d+q]
						}
					}
				}
			}
		}
	}
	return b
}

// corner is mode m at corner n, whose bits say which end of each axis.
func corner(n, m int) float64 {
	s := 1.0
	for a := range 3 {
		if m>>a&1 == 1 && n>>a&1 == 0 {
			s = -s
		}
	}
	return s
}

// orthoTerms lists the pairs of rows of the split matrix, in the order in
// which multiply takes them.
var orthoTerms = func() (t [33][2]int) {
	x, y, z := 0, 8, 16
	blocks := [][]int{
		{x + 1, y + 2, z + 4},
		{x + 2, y + 1}, {z + 7},
		{y + 4, z + 2}, {x + 7},
		{x + 4, z + 1}, {y + 7},
		{y + 3, z + 5}, {x + 3, z + 6}, {x + 5, y + 6},
		{x + 6, y + 5, z + 3},
	}
	n := 0
	for _, b := range blocks {
		for i := range b {
			for j := i; j < len(b); j++ {
				t[n] = [2]int{b[i], b[j]}
				n++
			}
		}
	}
	if n != len(t) {
		panic("elastic: the split matrix has other than 33 terms")
	}
	return t
}()

// split fills the blocks and says whether the small ones are the whole matrix.
func (b *brick) split(full *[24][24]float64) {
	scale := 0.0
	for i, p := range oddModes {
		for j, q := range oddModes {
			b.odd[i][j] = full[p][q]
			scale = max(scale, math.Abs(full[p][q]))
		}
	}
	for i, p := range evenModes {
		for j, q := range evenModes {
			b.even[i][j] = full[p][q]
		}
	}
	rest := *full
	for i, t := range orthoTerms {
		b.k[i] = full[t[0]][t[1]]
		rest[t[0]][t[1]], rest[t[1]][t[0]] = 0, 0
	}
	b.ortho = true
	for i := range 24 {
		for j := range 24 {
			if math.Abs(rest[i][j]) > 1e-13*scale {
				b.ortho = false
			}
		}
	}
}

// walsh turns eight corner values into sums for modes 1 to 7 (mode 0 strains
// nothing).
func walsh(a0, a1, a2, a3, a4, a5, a6, a7 float64) (q1, q2, q3, q4, q5, q6, q7 float64) {
	s0, d0 := a0+a1, a1-a0
	s1, d1 := a2+a3, a3-a2
	s2, d2 := a4+a5, a5-a4
	s3, d3 := a6+a7, a7-a6
	ss0, sd0, ds0, dd0 := s0+s1, s1-s0, d0+d1, d1-d0
	ss1, sd1, ds1, dd1 := s2+s3, s3-s2, d2+d3, d3-d2
	return ds0 + ds1, sd0 + sd1, dd0 + dd1, ss1 - ss0, ds1 - ds0, sd1 - sd0, dd1 - dd0
}

// unwalsh is the transpose of walsh.
func unwalsh(g1, g2, g3, g4, g5, g6, g7 float64) (f0, f1, f2, f3, f4, f5, f6, f7 float64) {
	e1, e2, e3 := g1-g5, g2-g6, g3-g7
	h1, h2, h3 := g1+g5, g2+g6, g3+g7
	c0, c1 := -g4-e2, e1-e3
	c2, c3 := e2-g4, e1+e3
	d0, d1 := g4-h2, h1-h3
	d2, d3 := g4+h2, h1+h3
	return c0 - c1, c0 + c1, c2 - c3, c2 + c3, d0 - d1, d0 + d1, d2 - d3, d2 + d3
}

// modes is q of a cell's corner displacements (3 n + c).
func modes(u *[24]float64) (q [24]float64) {
	for c := range 3 {
		for m := range 8 {
			for n := range 8 {
				q[8*c+m] += corner(n, m) * u[3*n+c] / 8
			}
		}
	}
	return q
}

// allModes is the amplitudes of all 33 modes of a cell whose corners move by u.
func (b *brick) allModes(u *[24]float64) (all [33]float64) {
	q := modes(u)
	copy(all[:], q[:])
	for i := range 9 {
		for j := range 24 {
			all[24+i] += b.bulge[i][j] * q[j]
		}
	}
	return all
}

// strain at xi from the amplitudes of all modes.
func (b *brick) strain(all *[33]float64, xi [3]float64) (e [6]float64) {
	rows := b.strainRows(xi)
	for i := range 6 {
		for j := range 33 {
			e[i] += rows[i][j] * all[j]
		}
	}
	return e
}
