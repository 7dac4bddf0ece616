package solid

import (
	"errors"
	"slices"

	"groundwork/internal/geom"
)

// roundToSingle rounds a mesh to float32 and closes what the rounding breaks:
// vertices that fall together become one, and triangles that lose their size
// go, together with their neighbour's fold. The result is checked to be closed.
func roundToSingle(m *Mesh) (*Mesh, error) {
	vertices := make([]geom.Vec3, len(m.Vertices))
	for i, v := range m.Vertices {
		vertices[i] = single(v)
	}
	triangles := slices.Clone(m.Triangles)
	tags := slices.Clone(m.Tags)

	// Vertices joined by an edge that rounding shortened to nothing become
	// one. Vertices that meet without an edge between them stay two: joining
	// them could pinch the surface.
	into := make([]int32, len(vertices))
	for i := range into {
		into[i] = int32(i)
	}
	var root func(int32) int32
	root = func(i int32) int32 {
		for into[i] != i {
			into[i] = into[into[i]]
			i = into[i]
		}
		return i
	}
	for _, t := range triangles {
		for j, a := range t {
			if b := t[(j+1)%3]; vertices[a] == vertices[b] {
				ra, rb := root(a), root(b)
				into[max(ra, rb)] = min(ra, rb)
			}
		}
	}
	kept := 0
	for i, t := range triangles {
		for j := range t {
			t[j] = root(t[j])
		}
		if t[0] == t[1] || t[1] == t[2] || t[2] == t[0] {
			continue
		}
		triangles[kept], tags[kept] = t, tags[i]
		kept++
	}
	triangles, tags = triangles[:kept], tags[:kept]

	// A triangle whose corners have come into one line is turned away: its
	// longest side is replaced by the other diagonal of the pair it forms with
	// its neighbour over that side.
	for range len(triangles) {
		turned, err := turnFlat(vertices, triangles, tags)
		if err != nil {
			return nil, err
		}
		if !turned {
			return compact(vertices, triangles, tags), nil
		}
	}
	return nil, errors.New("rounding to single precision leaves triangles without size")
}

// turnFlat swaps the longest side of the first triangle without size, and
// reports whether there was one.
func turnFlat(vertices []geom.Vec3, triangles [][3]int32, tags []Tag) (bool, error) {
	for i, t := range triangles {
		a, b, c := vertices[t[0]], vertices[t[1]], vertices[t[2]]
		longest := max(a.Dist(b), b.Dist(c), c.Dist(a))
		if b.Sub(a).Cross(c.Sub(a)).Len() > 1e-12*longest*longest {
			continue
		}
		for vertices[t[0]].Dist(vertices[t[1]]) < longest {
			t[0], t[1], t[2] = t[1], t[2], t[0]
		}
		for j, u := range triangles {
			for r := range 3 {
				if u[r] != t[1] || u[(r+1)%3] != t[0] {
					continue
				}
				far := u[(r+2)%3]
				if far == t[2] {
					return false, errors.New("rounding to single precision folds the surface onto itself")
				}
				triangles[i] = [3]int32{t[2], t[0], far}
				triangles[j] = [3]int32{t[2], far, t[1]}
				tags[i] = tags[j]
				return true, nil
			}
		}
		return false, errors.New("the mesh is open")
	}
	return false, nil
}

// compact leaves out vertices that no triangle uses.
func compact(vertices []geom.Vec3, triangles [][3]int32, tags []Tag) *Mesh {
	place := make([]int32, len(vertices))
	var used []geom.Vec3
	for i, t := range triangles {
		for j, v := range t {
			if place[v] == 0 {
				used = append(used, vertices[v])
				place[v] = int32(len(used))
			}
			triangles[i][j] = place[v] - 1
		}
	}
	return newMesh(used, triangles, tags)
}
