// Package core makes the printed bodies. It is the only package that cuts
// solids: the other stages list cuts, and core carries them out.
package core

import (
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/solid"
)

// Segment is a finished part, ready to print.
type Segment struct {
	ID     string
	Body   int         // index into the seam stage's bodies
	Shape  solid.Shape // world
	Mesh   *solid.Mesh // world
	Volume float64     // mm³
	Bounds geom.Box3   // world
	Label  string      // part number engraved on it, "" where there was no room
}

// Body is a core before it is cut into segments.
type Body struct {
	ID     string
	Solid  float64 // mm³ with no cuts made; 0 unless Options.Solids
	Cuts   float64 // mm³ of the union of all cuts, within the solid; 0 unless Options.Solids
	Volume float64 // mm³ = Solid - Cuts = sum of the segments
}

// Result is what the stage hands on.
type Result struct {
	Bodies   []Body
	Segments []Segment
	Cuts     []piece.Cut // every cut made, labels included
	Findings []finding.Finding
}
