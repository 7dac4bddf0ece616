package mend

import (
	"math"

	"groundwork/internal/geom"
)

// thicken makes an open surface the outside of a body of the given thickness:
// every vertex gets a partner inward, so placed that the planes about the
// vertex move by the thickness as nearly as one point can, and the borders are
// joined by strips. Triangles must be oriented and have vertices of their own.
func thicken(vertices []geom.Vec3, triangles [][3]int32, thickness float64) ([]geom.Vec3, [][3]int32) {
	n := len(vertices)
	sum := make([]geom.Vec3, n) // of the normals, weighted by the angles at the vertex
	unit := make([]geom.Vec3, len(triangles))
	angle := make([][3]float64, len(triangles))
	for i, t := range triangles {
		a, b, c := vertices[t[0]], vertices[t[1]], vertices[t[2]]
		unit[i] = b.Sub(a).Cross(c.Sub(a)).Unit()
		for k := range 3 {
			o := vertices[t[k]]
			u, v := vertices[t[(k+1)%3]].Sub(o), vertices[t[(k+2)%3]].Sub(o)
			angle[i][k] = math.Atan2(u.Cross(v).Len(), u.Dot(v))
			sum[t[k]] = sum[t[k]].Add(unit[i].Scale(angle[i][k]))
		}
	}
	cos, weight := make([]float64, n), make([]float64, n)
	for i, t := range triangles {
		for k, p := range t {
			cos[p] += angle[i][k] * unit[i].Dot(sum[p].Unit())
			weight[p] += angle[i][k]
		}
	}
	out := append([]geom.Vec3{}, vertices...)
	for p, v := range vertices {
		// Mitred, but never by more than twice the thickness.
		c := max(0.5, cos[p]/max(weight[p], 1e-300))
		out = append(out, v.Sub(sum[p].Unit().Scale(thickness/c)))
	}
	mesh := append([][3]int32{}, triangles...)
	m := int32(n)
	inner := map[uint64]bool{}
	for _, t := range triangles {
		mesh = append(mesh, [3]int32{t[0] + m, t[2] + m, t[1] + m})
		for k := range 3 {
			inner[uint64(uint32(t[k]))<<32|uint64(uint32(t[(k+1)%3]))] = true
		}
	}
	for _, t := range triangles {
		for k := range 3 {
			a, b := t[k], t[(k+1)%3]
			if !inner[uint64(uint32(b))<<32|uint64(uint32(a))] {
				mesh = append(mesh, [3]int32{b, a, a + m}, [3]int32{b, a + m, b + m})
			}
		}
	}
	return out, mesh
}
