package scene

import (
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// Facets that meet below these angles are one smooth surface: those of one
// surface of a member, and those that belong to none (bores, seams). A bore has
// at least twelve facets, 30 degrees each.
const (
	creaseWithin  = 60 * math.Pi / 180
	creaseBetween = 40 * math.Pi / 180
)

// shaded is a body's mesh with a normal for every corner: curved surfaces look
// smooth, edges sharp.
func shaded(m *solid.Mesh) *triangles {
	n := len(m.Triangles)
	normal := make([]geom.Vec3, n)
	for i, t := range m.Triangles {
		a, b, c := m.Vertices[t[0]], m.Vertices[t[1]], m.Vertices[t[2]]
		normal[i] = b.Sub(a).Cross(c.Sub(a)).Unit()
	}
	// Corners that share a normal are joined across smooth sides.
	group := make([]int32, 3*n)
	for i := range group {
		group[i] = int32(i)
	}
	var find func(int32) int32
	find = func(i int32) int32 {
		for group[i] != i {
			group[i] = group[group[i]]
			i = group[i]
		}
		return i
	}
	join := func(a, b int) {
		x, y := find(int32(a)), find(int32(b))
		if x > y {
			x, y = y, x
		}
		group[y] = x
	}
	side := make(map[[2]int32]int32, 3*n) // corner at which a directed side begins
	for i, t := range m.Triangles {
		for k := range t {
			side[[2]int32{t[k], t[(k+1)%3]}] = int32(3*i + k)
		}
	}
	for i, t := range m.Triangles {
		for k := range t {
			o, ok := side[[2]int32{t[(k+1)%3], t[k]}]
			if !ok || int(o) < 3*i {
				continue
			}
			j := int(o) / 3
			crease := creaseWithin
			if m.Tags[i] == solid.NoTag {
				crease = creaseBetween
			}
			if m.Tags[i] != m.Tags[j] || normal[i].Dot(normal[j]) < math.Cos(crease) {
				continue
			}
			join(3*i+k, 3*j+(int(o)+1)%3)
			join(3*i+(k+1)%3, int(o))
		}
	}
	sum := make([]geom.Vec3, 3*n)
	for i, t := range m.Triangles {
		for k := range t {
			a, b, c := m.Vertices[t[k]], m.Vertices[t[(k+1)%3]], m.Vertices[t[(k+2)%3]]
			u, v := b.Sub(a).Unit(), c.Sub(a).Unit()
			g := find(int32(3*i + k))
			sum[g] = sum[g].Add(normal[i].Scale(math.Acos(max(-1, min(1, u.Dot(v))))))
		}
	}
	out := &triangles{Index: make([]uint32, 0, 3*n)}
	at := make([]int32, 3*n)
	for i := range at {
		at[i] = -1
	}
	for i, t := range m.Triangles {
		for k := range t {
			g := find(int32(3*i + k))
			if at[g] < 0 {
				at[g] = int32(len(out.Points))
				nrm := sum[g].Unit()
				if nrm == (geom.Vec3{}) { // triangles without size only
					nrm = geom.V3(0, 0, 1)
				}
				out.Points, out.Normals = append(out.Points, m.Vertices[t[k]]), append(out.Normals, nrm)
			}
			out.Index = append(out.Index, uint32(at[g]))
		}
	}
	return out
}

// add appends another mesh of the same kind.
func (t *triangles) add(o *triangles) {
	base := uint32(len(t.Points))
	t.Points, t.Normals = append(t.Points, o.Points...), append(t.Normals, o.Normals...)
	t.Place, t.Stress, t.Moved = append(t.Place, o.Place...), append(t.Stress, o.Stress...), append(t.Moved, o.Moved...)
	for _, i := range o.Index {
		t.Index = append(t.Index, base+i)
	}
}

// lathe is a closed profile of points (r, z) turned about Z, seen from outside
// where the profile runs counter-clockwise with r to the right and z upward.
// Its corners are sharp.
func lathe(facets int, profile ...geom.Vec2) *triangles {
	out := &triangles{}
	for i, a := range profile {
		b := profile[(i+1)%len(profile)]
		if a.X == 0 && b.X == 0 {
			continue
		}
		d := b.Sub(a).Unit().Right() // outward
		base := uint32(len(out.Points))
		for k := range facets + 1 {
			sn, cs := math.Sincos(2 * math.Pi * float64(k%facets) / float64(facets))
			for _, p := range []geom.Vec2{a, b} {
				out.Points = append(out.Points, geom.V3(p.X*cs, p.X*sn, p.Y))
				out.Normals = append(out.Normals, geom.V3(d.X*cs, d.X*sn, d.Y))
			}
		}
		for k := range uint32(facets) {
			a0, b0, a1, b1 := base+2*k, base+2*k+1, base+2*k+2, base+2*k+3
			if a.X > 0 {
				out.Index = append(out.Index, a0, a1, b0)
			}
			if b.X > 0 {
				out.Index = append(out.Index, b0, a1, b1)
			}
		}
	}
	return out
}
