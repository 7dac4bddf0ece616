// Package mend makes closed, oriented bodies of the meshes that people have:
// it welds, drops what is degenerate or double, turns triangles to one side,
// closes small holes and takes shells apart, and reports every step it took.
//
// What it cannot make whole it names, with the place; it never hands on a body
// that is not closed, oriented and free of crossings.
package mend

import (
	"groundwork/internal/geom"
	"groundwork/internal/mesh"
)

// Options steer Mend. The zero value is right for most files.
type Options struct {
	Weld    float64 // mm within which vertices are one; 0 means 1e-5 of the body's size, at least 1e-4
	Hole    float64 // mm; holes whose border is longer stay open; 0 means a quarter of the shell's size
	Thicken float64 // mm; an open shell that cannot be closed is given this thickness inward, 0 for none
}

// Action is something that was done to a mesh.
type Action string

// The actions, in the order in which they are tried.
const (
	Welded    Action = "welded"     // vertices joined
	Dropped   Action = "dropped"    // triangles without size
	Doubled   Action = "doubled"    // triangles that lay on another one
	Parted    Action = "parted"     // edges and vertices shared by several sheets, taken apart
	Turned    Action = "turned"     // triangles facing the wrong way
	Stitched  Action = "stitched"   // cracks drawn together
	Closed    Action = "closed"     // holes filled
	Inward    Action = "inside out" // shells that faced inward
	Inner     Action = "inner"      // shells within another that bound no hollow, removed
	Thickened Action = "thickened"  // open shells given a thickness
)

// Step is one action on one shell, with how often and where.
type Step struct {
	Action Action
	Shell  int       // index into Result.Shells; -1 where it was done before shells were told apart
	Count  int       // vertices, triangles, edges, holes or shells, by the action
	Size   float64   // mm: the longest hole closed, the widest crack, the farthest weld; 0 where it says nothing
	At     geom.Vec3 // where the worst of them is
}

// FaultKind is the kind of a fault.
type FaultKind string

// The faults that keep a shell from being a solid.
const (
	Open     FaultKind = "open"     // a hole too large to close
	Crossing FaultKind = "crossing" // triangles that pass through one another
	Crowded  FaultKind = "crowded"  // more than two sheets meet along an edge and cannot be told apart
	OneSided FaultKind = "one-sided"
	Empty    FaultKind = "empty" // no volume
)

// Fault is why a shell is not a solid.
type Fault struct {
	Kind  FaultKind
	Count int       // edges, pairs of triangles, …
	Size  float64   // mm: border length of the largest hole, length of the crossing
	At    geom.Vec3 // where
}

// Shell is one connected surface of a mesh.
type Shell struct {
	Body   mesh.Body // closed and oriented if Faults is empty; as far as it came otherwise
	Faults []Fault
	Volume float64 // mm³
	Area   float64 // mm²
}

// Solid reports whether the shell bounds a solid.
func (s Shell) Solid() bool { return len(s.Faults) == 0 }

// Result is what became of a mesh.
type Result struct {
	Shells []Shell // largest bounds first, then by place
	Steps  []Step
}
