// Package seam cuts members into segments that fit the printer. It looks for
// planes, not at solids: which planes cut which member, where the dowels go
// across each, and why these were chosen. The core stage does the cutting.
//
// Plan works on one body after another: what is in the way of a plane (judge),
// what a plane would make (look), how many segments a part takes (needs), and
// from these a plan by simple means (grids, boxes, plain), by beam search (beam)
// and by sliding planes (tighten). Members that are alike are cut alike (alike).
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

// Term is one thing that speaks against a seam, or a plan, and how much it
// weighs. A segment more outweighs all terms together.
type Term struct {
	Name     string
	Value    float64 // weighted
	Measured float64 // in Unit
	Unit     string
}

// Count says how many segments a body has been cut into, and how many it might
// have been.
type Count struct {
	Segments int     // 0 where no plan was found
	Bounds   []Bound // it provably needs as many, for each reason; none where the shop's printers are not known
	Simple   int     // segments by grids and boxes alone; 0 where they bring it into no printer
	Plain    int     // occupied boxes of the plain grid that needs fewest; 0 where it was not asked
	Judged   int     // planes looked at
	Like     int     // the body whose planes it has, moved or mirrored; its own index where there is none
	Terms    []Term  // what speaks against the plan as a whole
}

// Least is the best of the lower bounds.
func (c Count) Least() int {
	n := 1
	for _, b := range c.Bounds {
		n = max(n, b.Least)
	}
	return n
}

// Result is what the stage hands on.
type Result struct {
	Bodies   []Body
	Segments []Segment
	Seams    []Seam
	Counts   []Count // by body
	Findings []finding.Finding
}
