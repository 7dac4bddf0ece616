package sheet

import (
	"groundwork/internal/geom"
)

// Reserved is a rectangle of a sheet that no pattern may lie on: a knot, a
// split, a stain.
type Reserved struct {
	Sheet string    // ID as in Result.Sheets: "walnut-1", "walnut-a-1" for the shop's offcut "a"
	At    geom.Vec2 // lower left corner on the sheet as seen from its show face, X across the grain, mm
	Size  geom.Vec2
	What  string // "knot", for messages; "" for an area of no name
	Line  int    // in the file Options.Marks, 0 when unknown
}

// Keep is a blank that the maker wants as it is.
type Keep struct {
	Veneer  string
	Size    geom.Vec2 // as it lies on the bed, mm
	GrainUp bool      // its grain runs along the bed's Y
	Sheet   string    // that it is cut from, at At; "" for wherever it is best cut
	At      geom.Vec2 // lower left corner on the sheet, in the sheet's coordinates
	Pins    []Pin
	Rest    bool // other patterns may join those that are pinned
	Line    int  // in the file Options.Marks, 0 when unknown
}

// Pin holds a pattern in its place: At and Turn as in Placement. The nearest
// turn that the grain allows is taken, if it is within half a degree.
type Pin struct {
	Pattern string // ID
	At      geom.Vec2
	Turn    float64 // radians
	Line    int
}

// Better is a layout that a search has come upon, better than all before it.
type Better struct {
	Density  float64 // area of the patterns over that of the blanks, 0 to 1
	Consumed float64 // sheets less the offcuts worth keeping, mm²
	Blanks   int
}

// Watch is told how a search gets on. It decides nothing: Options that differ
// only in it make the same Result.
type Watch struct {
	// Better, if not nil, is called with every layout of all veneers that is better
	// than the one told before, from one goroutine at a time.
	Better func(Better)
}
