package mend

import (
	"cmp"
	"math"
	"math/big"

	"groundwork/internal/geom"
)

// orient3 is the sign of the volume of the tetrahedron a b c d: +1 if d lies
// on the side of the triangle a b c from which that looks clockwise, −1 on the
// other and 0 in its plane,
//
//	sign (a−d) · ((b−d) × (c−d)).
//
// It is exact: the rounding error of the plain formula is below (7 + 56ε)ε of
// the sum of magnitudes with ε = 2⁻⁵³ (Shewchuk, Adaptive Precision
// Floating-Point Arithmetic and Fast Robust Geometric Predicates, 1997), and
// where that could decide, the sum is done in whole numbers.
func orient3(a, b, c, d geom.Vec3) int {
	ad, bd, cd := a.Sub(d), b.Sub(d), c.Sub(d)
	bc, cb := float64(bd.X*cd.Y), float64(cd.X*bd.Y)
	ca, ac := float64(cd.X*ad.Y), float64(ad.X*cd.Y)
	ab, ba := float64(ad.X*bd.Y), float64(bd.X*ad.Y)
	det := float64(ad.Z*(bc-cb)) + float64(bd.Z*(ca-ac)) + float64(cd.Z*(ab-ba))
	size := (math.Abs(bc)+math.Abs(cb))*math.Abs(ad.Z) + (math.Abs(ca)+math.Abs(ac))*math.Abs(bd.Z) +
		(math.Abs(ab)+math.Abs(ba))*math.Abs(cd.Z)
	const eps = 0x1p-53
	if math.Abs(det) > (7+56*eps)*eps*size {
		return cmp.Compare(det, 0)
	}
	return orient3Exact(a, b, c, d)
}

// orient3Exact computes in whole multiples of the last binary place that any
// of the coordinates has.
func orient3Exact(a, b, c, d geom.Vec3) int {
	xs := [12]float64{a.X, a.Y, a.Z, b.X, b.Y, b.Z, c.X, c.Y, c.Z, d.X, d.Y, d.Z}
	var mantissas [12]int64
	var places [12]int
	least := math.MaxInt
	for i, x := range xs {
		f, e := math.Frexp(x)
		mantissas[i], places[i] = int64(f*(1<<53)), e
		if x != 0 {
			least = min(least, e)
		}
	}
	var whole [12]big.Int
	for i := range whole {
		whole[i].SetInt64(mantissas[i])
		if mantissas[i] != 0 {
			whole[i].Lsh(&whole[i], uint(places[i]-least))
		}
	}
	for i := range 9 {
		whole[i].Sub(&whole[i], &whole[9+i%3])
	}
	minor := func(i, j, k, l int) *big.Int { // xᵢ xⱼ − xₖ xₗ
		p := new(big.Int).Mul(&whole[i], &whole[j])
		return p.Sub(p, new(big.Int).Mul(&whole[k], &whole[l]))
	}
	sum := new(big.Int).Mul(&whole[2], minor(3, 7, 6, 4))
	sum.Add(sum, new(big.Int).Mul(&whole[5], minor(6, 1, 0, 7)))
	sum.Add(sum, new(big.Int).Mul(&whole[8], minor(0, 4, 3, 1)))
	return sum.Sign()
}

// drop leaves out the coordinate with the given number: an exact projection.
func drop(p geom.Vec3, axis int) geom.Vec2 {
	switch axis {
	case 0:
		return geom.V2(p.Y, p.Z)
	case 1:
		return geom.V2(p.Z, p.X)
	}
	return geom.V2(p.X, p.Y)
}

// largest is the number of the coordinate of n that is largest in size.
func largest(n geom.Vec3) int {
	x, y, z := math.Abs(n.X), math.Abs(n.Y), math.Abs(n.Z)
	switch {
	case x >= y && x >= z:
		return 0
	case y >= z:
		return 1
	}
	return 2
}

// segmentMeetsTriangle reports, exactly, whether the closed segment p q has a
// point in common with the closed triangle a b c.
func segmentMeetsTriangle(p, q, a, b, c geom.Vec3) bool {
	sp, sq := orient3(a, b, c, p), orient3(a, b, c, q)
	if sp*sq > 0 {
		return false
	}
	if sp == 0 && sq == 0 {
		axis := largest(b.Sub(a).Cross(c.Sub(a)))
		return segmentMeetsFlat(drop(p, axis), drop(q, axis), drop(a, axis), drop(b, axis), drop(c, axis))
	}
	s, t, u := orient3(p, q, a, b), orient3(p, q, b, c), orient3(p, q, c, a)
	return s >= 0 && t >= 0 && u >= 0 || s <= 0 && t <= 0 && u <= 0
}

func segmentMeetsFlat(p, q, a, b, c geom.Vec2) bool {
	if geom.SegmentsMeet(p, q, a, b) || geom.SegmentsMeet(p, q, b, c) || geom.SegmentsMeet(p, q, c, a) {
		return true
	}
	s, t, u := geom.Orient(a, b, p), geom.Orient(b, c, p), geom.Orient(c, a, p)
	return s > 0 && t > 0 && u > 0 || s < 0 && t < 0 && u < 0
}
