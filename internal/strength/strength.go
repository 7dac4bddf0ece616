// Package strength says what a piece has to bear, and how well it does: Cases
// are the loads that belong to its use, by analogy with published furniture
// standards, and Judge compares what package stress works out under each of them
// with what plastic, glue, screws and inserts bear.
//
// A Verdict names its figures, its limit, its margin and what it rests on.
// Nothing here certifies anything.
package strength

import (
	"groundwork/internal/geom"
	"groundwork/internal/stress"
)

// Kind is the kind of a load case.
type Kind string

const (
	Static     Kind = "static"     // pressed down once
	Horizontal Kind = "horizontal" // pushed sideways
	Sag        Kind = "sag"        // loaded evenly for months
	Own        Kind = "own"        // from the piece file
	Dead       Kind = "dead"       // the piece's own weight alone
)

// Case is a load case and why it is one.
type Case struct {
	stress.Case
	Kind   Kind
	What   string // one sentence with the figures
	Source string // what it is by analogy with, and what its figures rest on
	Judged bool   // false where the figures are too shaky for a verdict: reported only

	// Agreed is the share of the loads, 0 < a <= 1, on which the sources agree
	// where they do not agree on all of it: a verdict fails only if it would
	// fail under that share too.
	Agreed float64

	Ballast float64   // g laid on it so that it does not tip
	Share   float64   // of the force as published, less than 1 where even so it would tip
	Push    geom.Vec3 // Horizontal: the sideways force, N, world
	Watched geom.Vec3 // Horizontal: the point whose sideways movement tells the stiffness
	On      int       // Horizontal: the member that it belongs to
}
