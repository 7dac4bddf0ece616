// Package unfold lays patches of triangle mesh flat: exactly where the surface
// is developable, with the least strain and a full report of it where it is
// not. Every flat point maps back to its point in space.
package unfold

import "groundwork/internal/geom"

// Patch is a piece of surface with its flat chart. It must not be changed.
// Vertices along a cut through the patch occur once for each side of it.
type Patch struct {
	Vertices  []geom.Vec3
	Normals   []geom.Vec3 // unit, out of the body, per vertex
	Flat      []geom.Vec2 // per vertex, mm; the chart is right-handed seen from outside
	Triangles [][3]int32
	Origin    []int32 // per vertex: index among the vertices that were given to Flatten

	finder // finds triangles by point; built with the patch
}

// Distortion says how far a flat patch departs from its surface.
type Distortion struct {
	Edge, EdgeRMS float64   // relative change of length: greatest magnitude, root of the mean square
	Stretch       float64   // max over triangles of max(s1, 1/s2) - 1, with s1 >= s2 the singular values of the map to the plane
	Area          float64   // relative change of the whole area, signed
	Defect        float64   // greatest |2π - sum of angles| at an interior vertex, radians
	Worst         geom.Vec3 // where Stretch is greatest
	Overlap       bool      // the flat patch lies on itself
}

// Limits are the strains that veneer bears, as fractions.
type Limits struct {
	Along  float64 // along the grain
	Across float64
}

// DefaultLimits are half a per cent along the grain and one across it:
// engineering estimates, no source; measure a coupon.
var DefaultLimits = Limits{Along: 0.005, Across: 0.01}

// finder is filled in by Flatten.
type finder struct{}
