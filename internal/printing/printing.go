// Package printing works out how segments are printed: in which pose, on
// which load, with how much filament and in how much time.
package printing

import (
	"groundwork/internal/finding"
	"groundwork/internal/geom"
)

// Print is one segment as it lies in the printer.
type Print struct {
	Segment   string
	Printer   string
	Filament  string
	Pose      geom.Frame    // segment (world) coordinates to pose: lies on Z = 0, upright, footprint's corner at the origin
	Footprint geom.Polygons // on the bed, pose coordinates
	Size      geom.Vec3
	Volume    float64 // mm³ of the segment's solid
	Overhang  float64 // mm² that would need support
	Layers    int
	Grams     float64 // plastic in the part
	Metres    float64 // filament
	Seconds   float64 // time on the machine, without heat-up
	Repeats   string  // ID of a segment with the same shape whose figures were used, "" when worked out itself
}

// Load is what one printer prints in one go.
type Load struct {
	ID        string // "load-01"
	Printer   string
	Filament  string
	Items     []Placed
	Grams     float64 // parts, waste included
	Seconds   float64 // with heat-up
	Low, High float64 // honest spread of Seconds
	Height    float64
}

// Placed is a print on a load.
type Placed struct {
	Print int       // index into Result.Prints
	At    geom.Vec2 // where the footprint's own origin lies on the bed
	Turn  float64   // radians about Z
}

// Result is what the stage hands on.
type Result struct {
	Prints   []Print
	Loads    []Load
	Findings []finding.Finding
}
