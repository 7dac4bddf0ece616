package climate

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Layer is one layer of a laminate, alike over its thickness.
type Layer struct {
	Thickness float64    // mm
	E1, E2    float64    // MPa along the grain and across it; E2 0 means as E1
	G, Nu     float64    // shear modulus, MPa, and contraction across over stretch along; G 0 means that of an isotropic layer
	Grain     float64    // radians from x to the grain
	Free      [2]float64 // strain that it would take by itself, along the grain and across it; below 0 it shrinks
}

// Bent is the shape that a laminate takes when nothing holds it.
type Bent struct {
	Strain    [3]float64   // of its middle: along x, along y, shear
	Curvature [3]float64   // 1/mm; above 0 the last layer's side is the crowned one. The third twists
	Stress    [][2]float64 // MPa in the middle of each layer, along its grain and across it
}

// Bend lays layers on each other, the first lowest, and lets them take what shape
// they will. It is classical laminated plate theory, every layer in plane stress
// and normals staying straight:
//
//	[A B; B D] [ε; κ] = Σ Q e (t, t z)
//
// With two layers without contraction it is Timoshenko's bimetal strip
// (J. Opt. Soc. Am. 11, 1925, p. 233); with one of them thin, Stoney's film
// (Proc. R. Soc. A 82, 1909, p. 172), κ = 6 σ t/(E h²).
//
// Reference: R. M. Jones, Mechanics of Composite Materials, 2nd ed. (1999), ch. 4.
func Bend(layers []Layer) (Bent, error) {
	var total float64
	for i, l := range layers {
		if !(l.Thickness > 0) || !(l.E1 >= 0) || !(l.E2 >= 0) || l.Nu < 0 {
			return Bent{}, fmt.Errorf("climate: bend: layer %d is %g mm thick with %g and %g MPa", i+1, l.Thickness, l.E1, l.E2)
		}
		total += l.Thickness
	}
	a := mat.NewSymDense(6, nil)
	n := mat.NewVecDense(6, nil)
	z := -total / 2
	mid := make([]float64, len(layers))
	qs := make([][3][3]float64, len(layers))
	free := make([][3]float64, len(layers))
	for k, l := range layers {
		lo, hi := z, z+l.Thickness
		z, mid[k] = hi, (lo+hi)/2
		qs[k], free[k] = l.stiffness(), l.turned()
		d := [3]float64{hi - lo, (hi*hi - lo*lo) / 2, (hi*hi*hi - lo*lo*lo) / 3}
		for i := range 3 {
			for j := range 3 {
				q := qs[k][i][j]
				if j >= i {
					a.SetSym(i, j, a.At(i, j)+q*d[0])
					a.SetSym(i+3, j+3, a.At(i+3, j+3)+q*d[2])
				}
				a.SetSym(i, j+3, a.At(i, j+3)+q*d[1])
				n.SetVec(i, n.AtVec(i)+q*d[0]*free[k][j])
				n.SetVec(i+3, n.AtVec(i+3)+q*d[1]*free[k][j])
			}
		}
	}
	var x mat.VecDense
	if err := x.SolveVec(a, n); err != nil {
		return Bent{}, fmt.Errorf("climate: bend: the laminate has no stiffness: %w", err)
	}
	out := Bent{Stress: make([][2]float64, len(layers))}
	for i := range 3 {
		out.Strain[i], out.Curvature[i] = x.AtVec(i), x.AtVec(i+3)
	}
	for k, l := range layers {
		var s [3]float64
		for i := range 3 {
			for j := range 3 {
				s[i] += qs[k][i][j] * (out.Strain[j] + mid[k]*out.Curvature[j] - free[k][j])
			}
		}
		sin, cos := math.Sincos(l.Grain)
		shear := 2 * s[2] * sin * cos
		out.Stress[k] = [2]float64{s[0]*cos*cos + s[1]*sin*sin + shear, s[0]*sin*sin + s[1]*cos*cos - shear}
	}
	return out, nil
}

// stiffness in plane stress, turned into x and y: from strains (x, y, shear
// angle) to stresses.
func (l Layer) stiffness() [3][3]float64 {
	e1, e2, g := l.E1, l.E2, l.G
	if e2 == 0 {
		e2 = e1
	}
	if g == 0 {
		g = e1 / (2 * (1 + l.Nu))
	}
	if e1 == 0 {
		return [3][3]float64{}
	}
	d := 1 - l.Nu*l.Nu*e2/e1
	q11, q22, q12 := e1/d, e2/d, l.Nu*e2/d
	s, c := math.Sincos(l.Grain)
	s2, c2 := s*s, c*c
	m := (q12 + 2*g) * s2 * c2
	xx := q11*c2*c2 + 2*m + q22*s2*s2
	yy := q11*s2*s2 + 2*m + q22*c2*c2
	xy := (q11+q22-4*g)*s2*c2 + q12*(s2*s2+c2*c2)
	ss := (q11+q22-2*q12-2*g)*s2*c2 + g*(s2*s2+c2*c2)
	xs := (q11-q12-2*g)*s*c2*c + (q12-q22+2*g)*s2*s*c
	ys := (q11-q12-2*g)*s2*s*c + (q12-q22+2*g)*s*c2*c
	return [3][3]float64{{xx, xy, xs}, {xy, yy, ys}, {xs, ys, ss}}
}

// turned is the free strain along x, along y, and as a shear angle.
func (l Layer) turned() [3]float64 {
	s, c := math.Sincos(l.Grain)
	a, b := l.Free[0], l.Free[1]
	return [3]float64{a*c*c + b*s*s, a*s*s + b*c*c, 2 * (a - b) * s * c}
}

// Rise is how far a span bent to a curvature rises in its middle: κ L²/8, for
// bows that are small beside the span.
func Rise(curvature, span float64) float64 { return curvature * span * span / 8 }
