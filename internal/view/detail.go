package view

import (
	"math"
	"slices"

	"groundwork/internal/geom"
)

// Detail is what of a drawing lies within a circle of the image (radius in mm of
// the piece, > 0), to be drawn at a larger scale. The circle itself is not
// drawn.
func (d *Drawing) Detail(center geom.Vec2, radius float64) *Drawing {
	// A polygon as near to the circle as it looks at any scale.
	const sides = 180
	var edge []geom.HalfPlane
	for i := range sides {
		n := geom.V2(1, 0).Rotate(2 * math.Pi * float64(i) / sides)
		edge = append(edge, geom.HalfPlane{N: n, D: n.Dot(center) + radius})
	}
	out := &Drawing{frame: d.frame, hide: d.hide, Bounds: geom.EmptyBox2().Add(center).Grow(radius)}
	for _, l := range d.Lines {
		for _, run := range geom.Within(l.Points, edge) {
			l.Points = run
			out.Lines = append(out.Lines, l)
		}
	}
	for _, r := range d.Regions {
		for _, h := range edge {
			if len(r.Area) > 0 && !slices.ContainsFunc(r.Area, func(p geom.Polygon) bool {
				return slices.ContainsFunc(p, func(q geom.Vec2) bool { return !h.Holds(q, 0) })
			}) {
				continue
			}
			r.Area = r.Area.ClipHalfPlane(h.N, h.D)
		}
		out.Regions = append(out.Regions, r)
	}
	return out
}
