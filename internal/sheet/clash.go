package sheet

import (
	"groundwork/internal/geom"
)

// Clash is something that a layout may not have.
type Clash struct {
	Kind     ClashKind
	Patterns []string // IDs: the one that was moved first
	// Clear is the shortest way along the blank's edges on which the first pattern
	// gets clear of what it meets, mm, in the blank's coordinates; zero when no way
	// helps.
	Clear   geom.Vec2
	By      float64 // its length, mm; of TurnClash radians
	Message string
}

// ClashKind says what meets.
type ClashKind string

const (
	OverlapClash  ClashKind = "overlap"  // two patterns share area
	GapClash      ClashKind = "gap"      // two patterns closer than kerf and gap
	BorderClash   ClashKind = "border"   // a pattern beyond the blank less its border
	ReservedClash ClashKind = "reserved" // a pattern on a reserved area or within the gap round it
	TurnClash     ClashKind = "turn"     // a pattern turned against the grain
	BlankClash    ClashKind = "blank"    // a blank that there is not, or of another veneer
)
