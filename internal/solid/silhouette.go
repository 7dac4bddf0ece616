package solid

import (
	"slices"

	"groundwork/internal/geom"
)

// silhouette is where what faces upwards ends, as loops seen from above, once the
// body is in its place. They wind about a point as often as a plumb line through
// it enters the body, so the outline of the body is what they wind about at all.
func (m *Mesh) silhouette(place geom.Frame) []geom.Polygon {
	flat := make([]geom.Vec2, len(m.Vertices))
	for i, v := range m.Vertices {
		flat[i] = place.Point(v).XY()
	}
	edge := func(a, b int32) uint64 { return uint64(a)<<32 | uint64(b) }
	var all []uint64 // of triangles that face upwards, each as it runs
	for _, t := range m.Triangles {
		a, b, c := flat[t[0]], flat[t[1]], flat[t[2]]
		if b.Sub(a).Cross(c.Sub(a)) > 0 {
			all = append(all, edge(t[0], t[1]), edge(t[1], t[2]), edge(t[2], t[0]))
		}
	}
	slices.Sort(all)
	var rim []uint64 // in order of where they begin
	for _, e := range all {
		if _, inner := slices.BinarySearch(all, e<<32|e>>32); !inner {
			rim = append(rim, e)
		}
	}
	// As many edges end at a vertex as begin there, so a walk only ends where it began.
	var loops []geom.Polygon
	walked := make([]bool, len(rim))
	for first := range rim {
		if walked[first] {
			continue
		}
		var loop geom.Polygon
		for at := first; !walked[at]; {
			walked[at] = true
			loop = append(loop, flat[rim[at]>>32])
			end := rim[at] << 32 // begins where at ends
			next, _ := slices.BinarySearch(rim, end)
			for next+1 < len(rim) && walked[next] && rim[next+1]>>32 == end>>32 {
				next++
			}
			at = next
		}
		loops = append(loops, loop)
	}
	return loops
}
