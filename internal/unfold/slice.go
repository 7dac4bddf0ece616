package unfold

import (
	"math"
	"slices"

	"groundwork/internal/geom"
)

// split is the mesh with every triangle that the level set f = 0 passes
// through divided along it; f is given per vertex and linear in between. Where
// the line passes a vertex within near it goes through the vertex. The values
// at the new mesh's vertices are returned too. Triangles that only leaves out
// stay whole; nil leaves out none.
func (m *mesh) split(f []float64, near float64, only []bool) (*mesh, []float64) {
	f = slices.Clone(f)
	for i, x := range f {
		if x > -near && x < near {
			f[i] = 0
		}
	}
	o := &mesh{v: slices.Clone(m.v), origin: slices.Clone(m.origin), normal: slices.Clone(m.normal)}
	made := map[[2]int32]int32{}
	crossing := func(i, j int32) int32 {
		if i > j {
			i, j = j, i
		}
		k, ok := made[[2]int32{i, j}]
		if !ok {
			k = int32(len(o.v))
			made[[2]int32{i, j}] = k
			t := f[i] / (f[i] - f[j])
			o.v = append(o.v, m.v[i].Lerp(m.v[j], t))
			o.origin = append(o.origin, -1)
			f = append(f, 0)
			if m.normal != nil {
				o.normal = append(o.normal, m.normal[i].Lerp(m.normal[j], t).Unit())
			}
		}
		return k
	}
	opposite := func(a, b int32) bool { return f[a] < 0 && f[b] > 0 || f[a] > 0 && f[b] < 0 }
	for t, c := range m.tri {
		n := 0
		for k := range 3 {
			if (only == nil || only[t]) && opposite(c[k], c[(k+1)%3]) {
				n++
			}
		}
		switch n {
		case 0:
			o.tri = append(o.tri, c)
		case 1: // through a corner
			for !opposite(c[0], c[1]) {
				c = [3]int32{c[1], c[2], c[0]}
			}
			k := crossing(c[0], c[1])
			o.tri = append(o.tri, [3]int32{c[0], k, c[2]}, [3]int32{k, c[1], c[2]})
		case 2: // corner 0 is alone on its side
			for !(opposite(c[0], c[1]) && opposite(c[2], c[0])) {
				c = [3]int32{c[1], c[2], c[0]}
			}
			k, l := crossing(c[0], c[1]), crossing(c[2], c[0])
			o.tri = append(o.tri, [3]int32{c[0], k, l})
			// The four-sided rest is divided by its shorter diagonal.
			if o.v[k].Dist(o.v[c[2]]) < o.v[l].Dist(o.v[c[1]]) {
				o.tri = append(o.tri, [3]int32{k, c[1], c[2]}, [3]int32{k, c[2], l})
			} else {
				o.tri = append(o.tri, [3]int32{k, c[1], l}, [3]int32{c[1], c[2], l})
			}
		}
	}
	return o, f
}

// parts separates a mesh into its connected parts with equal labels, in the
// order of labels. Labels are per triangle, from 0.
func (m *mesh) separate(label []int) (parts []*mesh, err error) {
	most := 0
	for _, l := range label {
		most = max(most, l)
	}
	for want := range most + 1 {
		sub := &mesh{v: m.v, origin: m.origin, normal: m.normal}
		for t, l := range label {
			if l == want {
				sub.tri = append(sub.tri, m.tri[t])
			}
		}
		if err := sub.link(); err != nil {
			return nil, err
		}
		for _, part := range sub.parts() {
			one := &mesh{v: m.v, origin: m.origin, normal: m.normal}
			for _, t := range part {
				one.tri = append(one.tri, sub.tri[t])
			}
			if err := one.link(); err != nil {
				return nil, err
			}
			open, _ := one.open(nil)
			parts = append(parts, open)
		}
	}
	return parts, nil
}

// centre is the mean of a triangle's corners.
func (m *mesh) centre(t int) geom.Vec3 {
	c := m.tri[t]
	return m.v[c[0]].Add(m.v[c[1]]).Add(m.v[c[2]]).Scale(1. / 3)
}

// creased is the cosine of the angle between the normals at its ends from
// which a side counts as lying across a crease.
const creased = 0.85

// refine divides every triangle into four, with the new vertices on the smooth
// surface that has the vertices' positions and normals: the middle of side ij
// lies at
//
//	(pᵢ + pⱼ)/2 - ((e·nᵢ) nᵢ - (e·nⱼ) nⱼ)/8,  e = pⱼ - pᵢ
//
// (Vlachos, Peters, Boyd, Mitchell: Curved PN triangles, 2001). Across creases
// it lies on the chord.
func (m *mesh) refine() (*mesh, error) {
	o := &mesh{v: slices.Clone(m.v), origin: slices.Clone(m.origin), normal: slices.Clone(m.normal)}
	mid := make([]int32, len(m.twin))
	for h, w := range m.twin {
		if w >= 0 && w < int32(h) {
			mid[h] = mid[w]
			continue
		}
		i, j := m.from(int32(h)), m.to(int32(h))
		p, e := m.v[i].Lerp(m.v[j], 0.5), m.v[j].Sub(m.v[i])
		a, b := m.normal[i], m.normal[j]
		n := a.Add(b)
		if a.Dot(b) > creased {
			p = p.Sub(a.Scale(e.Dot(a)).Sub(b.Scale(e.Dot(b))).Scale(1. / 8))
			n = n.Sub(e.Scale(2 * n.Dot(e) / e.Dot(e)))
		}
		mid[h] = int32(len(o.v))
		o.v = append(o.v, p)
		o.normal = append(o.normal, n.Unit())
		o.origin = append(o.origin, -1)
	}
	for t, c := range m.tri {
		a, b, d := mid[3*t], mid[3*t+1], mid[3*t+2]
		o.tri = append(o.tri, [3]int32{c[0], a, d}, [3]int32{a, c[1], b}, [3]int32{d, b, c[2]}, [3]int32{a, b, d})
	}
	return o, o.link()
}

// smooth refines the mesh until the normals at the ends of a side differ by
// less than fine radians, creases apart, or it would have more than most triangles.
func (m *mesh) smooth(fine float64, most int) (*mesh, error) {
	for {
		turn := 0.0
		for h := range int32(len(m.twin)) {
			if c := m.normal[m.from(h)].Dot(m.normal[m.to(h)]); c > creased {
				turn = max(turn, math.Acos(min(1, c)))
			}
		}
		if turn < fine || 4*len(m.tri) > most {
			return m, nil
		}
		var err error
		if m, err = m.refine(); err != nil {
			return nil, err
		}
	}
}
