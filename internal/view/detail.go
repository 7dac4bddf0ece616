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
		for _, run := range inside(l.Points, edge) {
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

// inside are the runs of a line within all the half-planes.
func inside(run []geom.Vec2, edge []geom.HalfPlane) [][]geom.Vec2 {
	var out [][]geom.Vec2
	var now []geom.Vec2
	end := func() {
		if len(now) > 1 {
			out = append(out, now)
		}
		now = nil
	}
	for i := 1; i < len(run); i++ {
		a, b := run[i-1], run[i]
		lo, hi := 0.0, 1.0
		for _, h := range edge {
			da, db := h.D-h.N.Dot(a), h.D-h.N.Dot(b)
			switch {
			case da < 0 && db < 0:
				hi = -1
			case da < 0:
				lo = max(lo, da/(da-db))
			case db < 0:
				hi = min(hi, da/(da-db))
			}
		}
		if lo >= hi {
			end()
			continue
		}
		if lo > 0 || now == nil {
			end()
			now = []geom.Vec2{a.Lerp(b, lo)}
		}
		if hi < 1 {
			now = append(now, a.Lerp(b, hi))
			end()
			continue
		}
		now = append(now, b)
	}
	end()
	return out
}
