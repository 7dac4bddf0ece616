package surface

import (
	"cmp"
	"fmt"
	"slices"
)

// Loops are the closed borders of a face, the longest first. A face that
// closes upon itself, such as a whole sphere, has none; a full cylinder has
// two. Where a face touches itself at a vertex only, its borders are taken
// apart so that each keeps the face on its left.
func (s *Solid) Loops(face int) []Loop {
	twin := s.twin
	if twin == nil {
		var err error
		if twin, err = twins(len(s.Vertices), s.Triangles); err != nil {
			return nil
		}
	}
	border := func(h int32) bool { return s.Of[twin[h]/3] != int32(face) }
	seen := map[int32]bool{}
	var loops []Loop
	var lengths []float64
	for _, t := range s.Faces[face].Triangles {
		for i := range int32(3) {
			first := 3*t + i
			if !border(first) || seen[first] {
				continue
			}
			var l Loop
			length := 0.0
			for h := first; !seen[h]; {
				seen[h] = true
				a, b := s.Triangles[h/3][h%3], s.Triangles[h/3][(h+1)%3]
				l.Vertices = append(l.Vertices, a)
				l.Across = append(l.Across, s.Of[twin[h]/3])
				length += s.Vertices[a].Dist(s.Vertices[b])
				// The next side is found by turning about b through the face.
				h = after(h)
				for !border(h) {
					h = after(twin[h])
				}
			}
			loops = append(loops, l)
			lengths = append(lengths, length)
		}
	}
	order := make([]int, len(loops))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(lengths[b], lengths[a]) })
	sorted := make([]Loop, len(loops))
	for i, k := range order {
		sorted[i] = loops[k]
	}
	return sorted
}

// A half-edge h is side h%3 of triangle h/3, from the triangle's corner h%3 to
// its next one.

// after is the next half-edge round the same triangle.
func after(h int32) int32 {
	if h%3 == 2 {
		return h - 2
	}
	return h + 1
}

// twins pairs every half-edge with the one that runs the same edge the other
// way. The error names an edge that is not used exactly once each way.
func twins(vertices int, triangles [][3]int32) ([]int32, error) {
	// Half-edges that start at vertex v are by[start[v]:start[v+1]].
	start := make([]int32, vertices+1)
	for i, t := range triangles {
		for j, v := range t {
			if v < 0 || int(v) >= vertices {
				return nil, fmt.Errorf("triangle %d names vertex %d of %d", i, v, vertices)
			}
			if v == t[(j+1)%3] {
				return nil, fmt.Errorf("triangle %d uses vertex %d twice", i, v)
			}
			start[v+1]++
		}
	}
	for v := range vertices {
		start[v+1] += start[v]
	}
	by := make([]int32, 3*len(triangles))
	next := slices.Clone(start)
	for i, t := range triangles {
		for j, v := range t {
			by[next[v]] = int32(3*i + j)
			next[v]++
		}
	}
	end := func(h int32) int32 { return triangles[h/3][(h+1)%3] }
	twin := make([]int32, 3*len(triangles))
	for i, t := range triangles {
		for j, v := range t {
			h, to := int32(3*i+j), t[(j+1)%3]
			same, other := 0, int32(-1)
			for _, g := range by[start[v]:start[v+1]] {
				if end(g) == to {
					same++
				}
			}
			for _, g := range by[start[to]:start[to+1]] {
				if end(g) == v {
					other = g
				}
			}
			if same != 1 || other < 0 {
				return nil, fmt.Errorf("the edge between vertices %d and %d is not shared by two triangles, one each way", v, to)
			}
			twin[h] = other
		}
	}
	return twin, nil
}
