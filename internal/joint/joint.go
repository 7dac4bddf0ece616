// Package joint finds where members touch and works out how they are held
// there: which screws, inserts and dowels, where their bores lie, and how the
// driver reaches the screws.
package joint

import (
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// Contact is a place where planar surfaces of two members face each other and
// touch. It is found, never drawn.
type Contact struct {
	ID     string        // "end-rail-1:leg-2", with ".2" for a second one between the same members
	A, B   Side          // A goes on beyond the contact; B arrives at it. When both or neither do, A is the earlier member
	Frame  geom.Frame    // world; origin at the region's centroid, Z the outward normal of A's surface, X along the region's longest direction
	Region geom.Polygons // in Frame's XY, mm
	Area   float64       // mm²
}

// RoundContact is a place where round surfaces of two members lie against each
// other: a tenon in its socket, or an end hollowed out to fit a leg.
type RoundContact struct {
	ID     string        // as of a Contact, counted together with the flat ones of the same members
	A, B   Side          // A has the hollow surface, B the one that bulges
	Axis   geom.Frame    // world; Z along the common axis, origin in the middle of the contact
	Radius float64       // mm, of B's surface
	Gap    float64       // mm, A's radius less B's; small
	Region geom.Polygons // (Radius × angle from Axis.X, along Axis.Z)
	Closed bool          // goes all the way round
	Area   float64       // mm²
}

// Side is one of the two surfaces that meet.
type Side struct {
	Member  int     // index into Piece.Members
	Surface int     // index into its surfaces
	Covered float64 // fraction of the surface that the contact covers, 0..1
}

// Purpose says what a bore is for.
type Purpose string

const (
	InsertBore Purpose = "insert"    // heat-set insert is melted in
	Clearance  Purpose = "clearance" // screw passes through
	Seat       Purpose = "seat"      // counterbore for the head
	Driver     Purpose = "driver"    // access for the key through a member that is in the way
	DowelBore  Purpose = "dowel"
	Vent       Purpose = "vent" // lets glue and air out
)

// Bore is a round hole.
type Bore struct {
	ID       string // unique: "joint-3/insert-1"
	Of       string // ID of the joint or seam that needs it
	Member   int
	Purpose  Purpose
	Mouth    geom.Vec3 // world; centre of the circle where the drill goes in
	Axis     geom.Vec3 // world unit vector, into the material
	Diameter float64   // finished, before any allowance for print shrinkage
	Depth    float64
	Fit      float64 // extra on the diameter so that the printed hole comes out right
	Over     float64 // how far the cut is carried past the mouth, 0 for 1 mm; more where the surface slants
	Under    float64 // how far the cut is carried past the floor, where that opens into another bore or the open
	Shows    bool    // opens into a surface that is not a contact
	Surface  int     // surface of Member that the mouth lies in; -1 when it lies inside another bore
}

// Cut is the bore as a cut: a cylinder that contains the true circle,
// carried a little beyond the mouth so that no skin is left.
func (b Bore) Cut() piece.Cut { return b.cut() }

// Joint is one joint between two members, at one or more contacts.
type Joint struct {
	ID       string // "joint-1", in order of contacts, the round ones after the flat ones
	Contact  string // ID of a Contact or a RoundContact
	Rule     int    // index into Piece.Joints, -1 for the default
	Kind     piece.JointKind
	Screws   []Screw
	Dowels   []Dowel
	Bores    []Bore
	GlueArea float64 // mm², 0 unless glued
}

// Screw is one screw with its insert.
type Screw struct {
	Size       string
	Length     float64   // stock length under the head
	Insert     string    // insert size
	Through    int       // member the screw passes through
	Into       int       // member that holds the insert
	Head       geom.Vec3 // world; centre of the seat that the head bears on
	Axis       geom.Vec3 // direction in which the screw is driven
	Grip       float64   // plastic and washer between the head and the contact
	Engagement float64   // thread inside the insert
	Sunk       float64   // from the contact to where the insert would lie flush; 0 at a flat contact, more where the insert's member is round
	Washer     bool
	Plug       string // ID of the plug that covers its access hole, "" when none
}

// Dowel is one dowel across a contact.
type Dowel struct {
	Diameter, Length float64
	Center           geom.Vec3 // world; on the contact plane
	Axis             geom.Vec3 // from A into B
	Glued            bool
	Printed          bool
	Vent             bool // fluted or grooved along its length, so that glue and air get out
}

// Plug covers an access hole in a show surface.
type Plug struct {
	ID       string
	Member   int
	Surface  int
	Center   geom.Vec3 // world; on the surface
	Axis     geom.Vec3 // outward
	Diameter float64   // of the hole it covers
	Depth    float64
}

// Result is what the stage hands on.
type Result struct {
	Contacts []Contact
	Rounds   []RoundContact
	Joints   []Joint
	Plugs    []Plug
	Findings []finding.Finding
}

// Bores lists every bore of every joint, in order.
func (r *Result) Bores() []Bore {
	var out []Bore
	for _, j := range r.Joints {
		out = append(out, j.Bores...)
	}
	return out
}
