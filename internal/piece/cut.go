package piece

import "groundwork/internal/solid"

// Cut is something a stage wants done to a member's core: taken away, or,
// with Add, put on. Stages only list cuts; the core stage carries them out.
type Cut struct {
	ID      string      // unique: "joint-3/insert-1"
	Member  int         // index into Piece.Members
	Purpose string      // dowel, insert, clearance, seat, driver, vent, relief, pad, label, …
	Shape   solid.Shape // world coordinates
	Add     bool
}
