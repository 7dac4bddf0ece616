package mesh

import (
	"math"

	"groundwork/internal/geom"
)

// triangulate cuts a polygon of at least three corners into triangles that run
// the same way round, two fewer than it has corners, by taking ears off: corners
// whose triangle lies inside and holds no other corner (G. H. Meisters, Polygons
// have ears, 1975: every simple polygon with more than three corners has two).
// Of the ears it takes the one with the greatest height over its longest side,
// so that corners along a straight edge do not make slivers where better
// triangles are to be had.
//
// Corners are looked at along the axis that the polygon faces most, where exact
// predicates say what is left and right; the triangles' shape is judged in
// space. Polygons need not be quite plane, and may touch themselves, as those do
// that reach a hole by a slit.
//
// plain is false where an ear could not be found, because the polygon crosses
// itself or has no area; then it is cut all the same, so that it stays joined to
// its neighbours.
func triangulate(p []geom.Vec3) (triangles [][3]int32, plain bool) {
	n := len(p)
	if n == 3 {
		return [][3]int32{{0, 1, 2}}, true
	}
	flat := flatten(p)
	prev, next := make([]int32, n), make([]int32, n)
	for i := range n {
		prev[i], next[i] = int32((i+n-1)%n), int32((i+1)%n)
	}
	turn := func(i int32) int { return geom.Orient(flat[prev[i]], flat[i], flat[next[i]]) }

	// Only a corner that does not turn left can lie in an ear and spoil it.
	var reflex []int32
	for i := range int32(n) {
		if turn(i) <= 0 {
			reflex = append(reflex, i)
		}
	}
	cut := make([]bool, n)
	isEar := func(i int32) bool {
		a, b, c := flat[prev[i]], flat[i], flat[next[i]]
		for _, k := range reflex {
			if q := flat[k]; !cut[k] && q != a && q != b && q != c &&
				geom.Orient(a, b, q) >= 0 && geom.Orient(b, c, q) >= 0 && geom.Orient(c, a, q) >= 0 {
				return false
			}
		}
		return true
	}
	quality := make([]float64, n) // 0 for no ear
	judge := func(i int32) {
		quality[i] = 0
		if turn(i) > 0 && isEar(i) {
			quality[i] = slenderness(p[prev[i]], p[i], p[next[i]])
		}
	}
	for i := range int32(n) {
		judge(i)
	}

	plain = true
	triangles = make([][3]int32, 0, n-2)
	first := int32(0) // some corner that is left
	for left := n; left > 3; left-- {
		best, i := first, first
		for range left {
			if quality[i] > quality[best] {
				best = i
			}
			i = next[i]
		}
		plain = plain && quality[best] > 0
		a, c := prev[best], next[best]
		triangles = append(triangles, [3]int32{a, best, c})
		cut[best] = true
		next[a], prev[c] = c, a
		first = c
		judge(a)
		judge(c)
	}
	return append(triangles, [3]int32{prev[first], first, next[first]}), plain && turn(first) > 0
}

// flatten drops the coordinate along which the polygon faces most, so that it
// runs counter-clockwise. Nothing is rounded.
func flatten(p []geom.Vec3) []geom.Vec2 {
	var n geom.Vec3 // twice the vector area, from the first corner
	for i := 1; i+1 < len(p); i++ {
		n = n.Add(p[i].Sub(p[0]).Cross(p[i+1].Sub(p[0])))
	}
	x, y, z := math.Abs(n.X), math.Abs(n.Y), math.Abs(n.Z)
	flat := make([]geom.Vec2, len(p))
	for i, v := range p {
		var q geom.Vec2
		var facing float64
		switch {
		case z >= x && z >= y:
			q, facing = geom.V2(v.X, v.Y), n.Z
		case y >= x:
			q, facing = geom.V2(v.Z, v.X), n.Y
		default:
			q, facing = geom.V2(v.Y, v.Z), n.X
		}
		if facing < 0 {
			q.X, q.Y = q.Y, q.X
		}
		flat[i] = q
	}
	return flat
}

// slenderness is the height of a triangle over its longest side: 0 for none,
// √3/2 for an equilateral one.
func slenderness(a, b, c geom.Vec3) float64 {
	longest := max(a.Dist(b), b.Dist(c), c.Dist(a))
	return b.Sub(a).Cross(c.Sub(a)).Len() / (longest * longest)
}
