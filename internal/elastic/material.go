package elastic

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"groundwork/internal/geom"
)

// voigt gives the pair of axes of each row of a [Stiffness].
var voigt = [6][2]int{{0, 0}, {1, 1}, {2, 2}, {1, 2}, {2, 0}, {0, 1}}

// voigtOf is the row of a pair of axes.
var voigtOf = [3][3]int{{0, 5, 4}, {5, 1, 3}, {4, 3, 2}}

// Stiffness relates stress (MPa) to strain: rows and columns stand for xx, yy,
// zz, yz, zx, xy, and shear strains are the engineering ones (twice the
// tensor's).
type Stiffness [6][6]float64

// Isotropic is the stiffness of a material with Young's modulus e (MPa, > 0)
// and Poisson's ratio nu (-1 < nu < 0.5).
func Isotropic(e, nu float64) Stiffness {
	g := e / (2 * (1 + nu))
	l := e * nu / ((1 + nu) * (1 - 2*nu))
	var s Stiffness
	for i := range 3 {
		for j := range 3 {
			s[i][j] = l
		}
		s[i][i] = l + 2*g
		s[3+i][3+i] = g
	}
	return s
}

// Orthotropic is a material with three planes of symmetry, in its own axes
// 1, 2, 3: Young's and shear moduli in MPa; Nu12 is the contraction along 2
// over the stretch along 1 in a pull along 1.
type Orthotropic struct {
	E1, E2, E3       float64
	G23, G31, G12    float64
	Nu12, Nu13, Nu23 float64
}

// Stiffness inverts the compliance of the orthotropic material (Jones,
// Mechanics of Composite Materials, 2nd ed., eq. 2.15 and 2.23). The error
// says that the constants belong to no stable material.
func (o Orthotropic) Stiffness() (Stiffness, error) {
	s := mat.NewSymDense(6, nil)
	for i, v := range []float64{o.E1, o.E2, o.E3, o.G23, o.G31, o.G12} {
		if !(v > 0) || math.IsInf(v, 0) {
			return Stiffness{}, fmt.Errorf("orthotropic material: modulus %d is %g MPa, it must be above nought", i+1, v)
		}
		s.SetSym(i, i, 1/v)
	}
	s.SetSym(0, 1, -o.Nu12/o.E1)
	s.SetSym(0, 2, -o.Nu13/o.E1)
	s.SetSym(1, 2, -o.Nu23/o.E2)
	var chol mat.Cholesky
	if !chol.Factorize(s) {
		return Stiffness{}, errors.New("orthotropic material: Poisson's ratios too large for its moduli")
	}
	var inv mat.SymDense
	if err := chol.InverseTo(&inv); err != nil {
		return Stiffness{}, fmt.Errorf("orthotropic material: %w", err)
	}
	var c Stiffness
	for i := range 6 {
		for j := range 6 {
			c[i][j] = inv.At(i, j)
		}
	}
	return c, nil
}

// Turned is the stiffness seen from a body in which the material's axes 1, 2, 3
// lie along the frame's X, Y and Z (unit vectors at right angles; a
// left-handed frame is allowed).
func (s Stiffness) Turned(f geom.Frame) Stiffness {
	axes := [3]geom.Vec3{f.X, f.Y, f.Z}
	var r [3][3]float64 // r[i][p]: component along the body's axis i of the material's axis p
	for p, a := range axes {
		r[0][p], r[1][p], r[2][p] = a.X, a.Y, a.Z
	}
	// Stress turns with one matrix, engineering strain with its inverse
	// transposed, so the stiffness is m s mᵀ, where m turns stress.
	var m [6][6]float64
	for i, v := range voigt {
		for j, w := range voigt {
			m[i][j] = r[v[0]][w[0]] * r[v[1]][w[1]]
			if w[0] != w[1] {
				m[i][j] += r[v[0]][w[1]] * r[v[1]][w[0]]
			}
		}
	}
	var c Stiffness
	for i := range 6 {
		for j := range 6 {
			for p := range 6 {
				for q := range 6 {
					c[i][j] += m[i][p] * s[p][q] * m[j][q]
				}
			}
		}
	}
	return c
}

// permuted renames the axes: axis a of the result is axis perm[a] of s.
func (s Stiffness) permuted(perm [3]int) Stiffness {
	var c Stiffness
	for i, v := range voigt {
		for j, w := range voigt {
			c[i][j] = s[voigtOf[perm[v[0]]][perm[v[1]]]][voigtOf[perm[w[0]]][perm[w[1]]]]
		}
	}
	return c
}

// Scaled is the stiffness times k.
func (s Stiffness) Scaled(k float64) Stiffness {
	for i := range s {
		for j := range s[i] {
			s[i][j] *= k
		}
	}
	return s
}

// check asks for a finite, symmetric, positive definite matrix.
func (s Stiffness) check() error {
	sym := mat.NewSymDense(6, nil)
	scale := 0.0
	for i := range 6 {
		scale = max(scale, math.Abs(s[i][i]))
	}
	for i := range 6 {
		for j := range 6 {
			if math.IsNaN(s[i][j]) || math.IsInf(s[i][j], 0) {
				return errors.New("stiffness is not finite")
			}
			if math.Abs(s[i][j]-s[j][i]) > 1e-9*scale {
				return errors.New("stiffness is not symmetric")
			}
		}
		for j := i; j < 6; j++ {
			sym.SetSym(i, j, s[i][j])
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(sym) {
		return errors.New("stiffness is not positive definite")
	}
	return nil
}

// apply is stress from strain.
func (s *Stiffness) apply(strain [6]float64) (stress [6]float64) {
	for i := range 6 {
		for j := range 6 {
			stress[i] += s[i][j] * strain[j]
		}
	}
	return stress
}

// Tensor is a symmetric stress (MPa): xx, yy, zz, yz, zx, xy.
type Tensor [6]float64

// VonMises is the equivalent stress of the shape-changing energy, MPa.
func (t Tensor) VonMises() float64 {
	a, b, c := t[0]-t[1], t[1]-t[2], t[2]-t[0]
	return math.Sqrt(0.5*(a*a+b*b+c*c) + 3*(t[3]*t[3]+t[4]*t[4]+t[5]*t[5]))
}

// Principal gives the principal stresses, greatest first, MPa.
func (t Tensor) Principal() [3]float64 {
	var e mat.EigenSym
	if !e.Factorize(mat.NewSymDense(3, []float64{t[0], t[5], t[4], t[5], t[1], t[3], t[4], t[3], t[2]}), false) {
		return [3]float64{math.NaN(), math.NaN(), math.NaN()}
	}
	v := e.Values(nil)
	return [3]float64{v[2], v[1], v[0]}
}

// On is the traction (MPa) on a cut with unit normal n.
func (t Tensor) On(n geom.Vec3) geom.Vec3 {
	return geom.V3(
		t[0]*n.X+t[5]*n.Y+t[4]*n.Z,
		t[5]*n.X+t[1]*n.Y+t[3]*n.Z,
		t[4]*n.X+t[3]*n.Y+t[2]*n.Z)
}

// Along is the normal stress in the direction of the unit vector n, MPa.
func (t Tensor) Along(n geom.Vec3) float64 { return t.On(n).Dot(n) }

// turned expresses the tensor in axes of which r has the old ones as columns.
func (t Tensor) turned(r *[3][3]float64) Tensor {
	var out Tensor
	for i, v := range voigt {
		for p := range 3 {
			for q := range 3 {
				out[i] += r[v[0]][p] * r[v[1]][q] * t[voigtOf[p][q]]
			}
		}
	}
	return out
}
