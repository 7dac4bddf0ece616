// Package seam cuts members into segments that fit the printer. It looks for
// planes, not at solids: which planes cut which member, where the dowels go
// across each, and why these were chosen. The core stage does the cutting.
package seam

import (
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
)

// Segment is a part of a core that fits the printer.
type Segment struct {
	ID     string       // "leg-1.a"; the member's own ID when it is not cut
	Body   int          // index into Result.Bodies
	Planes []geom.Plane // world; the segment is what lies on the inner side of all
	Pose   geom.Frame   // world; in its coordinates the segment fits the printer's volume
	Fits   geom.Vec3    // extents in that pose
}

// Body is one core as printed: a member, or several printed as one.
type Body struct {
	ID      string
	Members []int
}

// Seam is a glued cut between two segments.
type Seam struct {
	ID       string // "leg-1/seam-1"
	Body     int
	Plane    geom.Plane    // world
	Segments [2]string     // below (inner side), above
	Area     float64       // mm² of core cross-section glued, fill counted as full
	Section  geom.Polygons // in Frame's XY
	Frame    geom.Frame    // world, Z the plane's normal
	Dowels   []joint.Dowel
	Bores    []joint.Bore
	Terms    []Term // why it lies here
}

// Term is one part of a seam's cost, already weighted.
type Term struct {
	Name  string
	Value float64
}

// Result is what the stage hands on.
type Result struct {
	Bodies   []Body
	Segments []Segment
	Seams    []Seam
	Findings []finding.Finding
}
