package mend

import (
	"cmp"
	"slices"

	"groundwork/internal/geom"
)

// crossing is a pair of triangles that share more than their common corners.
type crossing struct{ i, j int32 }

// mostCrossings is how many pairs of one sheet are counted.
const mostCrossings = 1000

// crossings finds every pair of the triangles that share more than corners
// and sides. Corners are the same if their index is; points that touch, with
// no index in common, count as crossing, since what lies on either side of such
// a contact cannot be told. The answer is exact for the coordinates as they are.
// Only triangles of the same sheet are compared; sheets may be nil for one. Of
// each sheet no more than mostCrossings are found: a tangle has millions.
func crossings(points []geom.Vec3, triangles [][3]int32, sheets []int32) []crossing {
	boxes := make([]geom.Box3, len(triangles))
	for i, t := range triangles {
		a, b, c := points[t[0]], points[t[1]], points[t[2]]
		boxes[i] = geom.EmptyBox3().Add(a).Add(b).Add(c)
	}
	var out []crossing
	found := map[int32]int{}
	newTree(boxes).pairs(func(i, j int32) {
		sheet := int32(0)
		if sheets != nil {
			if sheet = sheets[i]; sheet != sheets[j] {
				return
			}
		}
		if i > j {
			i, j = j, i
		}
		if len(out) > 0 && found[sheet] == mostCrossings {
			return
		}
		if trianglesCross(points, triangles[i], triangles[j]) {
			found[sheet]++
			out = append(out, crossing{i, j})
		}
	})
	slices.SortFunc(out, func(a, b crossing) int { return cmp.Or(cmp.Compare(a.i, b.i), cmp.Compare(a.j, b.j)) })
	return out
}

// trianglesCross reports whether two triangles share more than their common
// corners and the sides between these.
func trianglesCross(points []geom.Vec3, t, u [3]int32) bool {
	// Turn both so that shared corners come first.
	shared := 0
	for i := 0; i < 3; i++ {
		for j := shared; j < 3; j++ {
			if t[i] == u[j] {
				t[shared], t[i] = t[i], t[shared]
				u[shared], u[j] = u[j], u[shared]
				shared++
				break
			}
		}
	}
	a, b, c := points[t[0]], points[t[1]], points[t[2]]
	d, e, f := points[u[0]], points[u[1]], points[u[2]]
	switch shared {
	case 3:
		return true
	case 2: // folded over: in one plane and on the same side of the common side
		axis := b.Sub(a)
		l := axis.Dot(axis)
		if l == 0 {
			return false
		}
		v, w := c.Sub(a), f.Sub(a)
		v, w = v.Sub(axis.Scale(v.Dot(axis)/l)), w.Sub(axis.Scale(w.Dot(axis)/l))
		if k := v.Dot(w); k <= 0 || k*k < 0.9*v.Dot(v)*w.Dot(w) {
			return false
		}
		return orient3(a, b, c, f) == 0
	}
	if apart(a, b, c, d, e, f, shared) || apart(d, e, f, a, b, c, shared) {
		return false
	}
	if shared == 1 { // what they share beyond the corner ends on a side opposite it
		return segmentMeetsTriangle(b, c, d, e, f) || segmentMeetsTriangle(e, f, a, b, c)
	}
	return segmentMeetsTriangle(a, b, d, e, f) || segmentMeetsTriangle(b, c, d, e, f) || segmentMeetsTriangle(c, a, d, e, f) ||
		segmentMeetsTriangle(d, e, a, b, c) || segmentMeetsTriangle(e, f, a, b, c) || segmentMeetsTriangle(f, d, a, b, c)
}

// apart reports whether the plane of a b c, or a plane square to it through
// one of its sides, clearly has a b c on one side and d e f on the other. If
// shared is 1, d is a. It errs only towards false: what it asks of d e f is a
// hundred times what it grants a b c, and that ten times the rounding error.
func apart(a, b, c, d, e, f geom.Vec3, shared int) bool {
	b, c = b.Sub(a), c.Sub(a)
	d, e, f = d.Sub(a), e.Sub(a), f.Sub(a)
	n := b.Cross(c)
	size := max(span(b), span(c), span(d), span(e), span(f))
	splits := func(axis, at geom.Vec3) bool {
		unit := 1e-14 * span(axis) * size
		if max(axis.Dot(b.Sub(at)), axis.Dot(c.Sub(at)), -axis.Dot(at)) > unit {
			return false
		}
		return axis.Dot(e.Sub(at)) > 100*unit && axis.Dot(f.Sub(at)) > 100*unit && (shared == 1 || axis.Dot(d.Sub(at)) > 100*unit)
	}
	var o geom.Vec3
	return splits(n, o) || splits(n.Neg(), o) || splits(b.Cross(n), o) || splits(n.Cross(c), o) ||
		shared == 0 && splits(c.Sub(b).Cross(n), b)
}

func span(v geom.Vec3) float64 {
	return max(v.X, -v.X) + max(v.Y, -v.Y) + max(v.Z, -v.Z)
}
