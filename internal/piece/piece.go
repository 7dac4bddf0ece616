// Package piece reads a piece file and resolves it into members: full-size
// parts with an exact shape, a place, and named surfaces.
//
// The flow is Parse (YAML to a Document that remembers where everything
// stands), Document.Resolve (parameters and expressions evaluated, repeats
// expanded, shapes checked) and then Member.Surfaces and Member.Body, which
// the stages read. Nothing here knows about printing or veneer.
package piece

import (
	"groundwork/internal/geom"
	"groundwork/internal/mend"
	"groundwork/internal/solid"
	"groundwork/internal/surface"
	"groundwork/internal/unfold"
)

// Sizes says what the numbers in a piece file measure.
type Sizes string

const (
	Finished Sizes = "finished" // over the veneer
	CoreSize Sizes = "core"     // the printed core, under the veneer
)

// Use picks the load cases by which a piece is judged.
type Use string

const (
	Table Use = "table"
	Seat  Use = "seat"
	Shelf Use = "shelf"
	Stand Use = "stand"
	Other Use = "other"
)

// Piece is one article of furniture, resolved: every expression has a value,
// every repeat is expanded. Millimetres; world axes are X to the right, Y to
// the back, Z up, with the floor at Z = 0.
type Piece struct {
	Name       string // file-name safe: "heron-side-table"
	Title      string
	Note       string
	Use        Use
	Sizes      Sizes
	Parameters []Parameter
	Members    []Member // file order; repeats of one member stand together
	Joints     []JointRule
	Surfaces   []SurfaceRule
	PrintAsOne [][]int // groups of indices into Members that are printed as one core
	Veneer     VeneerRule
	Loads      []LoadRule
	Held       []HeldRule
	Seams      []SeamRule
	Filament   string // shop filament for the cores, "" for the shop's first
	File       string // where it was read from, for findings
}

// Parameter is a number that the maker may change.
type Parameter struct {
	Name, Label    string
	Value          float64 // mm, rad, g, N or a plain number, by Kind
	Min, Max, Step float64 // Min < Max when limited, both 0 otherwise; Step 0 means free
	Kind           Quantity
	Line           int
}

// Quantity is what a number in a piece file measures.
type Quantity string

const (
	Length Quantity = "length" // mm
	Angle  Quantity = "angle"  // radians
	Mass   Quantity = "mass"   // g
	Force  Quantity = "force"  // N
	Count  Quantity = "count"  // a plain number
)

// Member is one full-size part in its place. Exactly one of Board, Turning and
// Solid is set.
type Member struct {
	ID       string     // unique: "leg-2"; equal to Name when there is only one
	Name     string     // as the joiner says: "leg"
	Place    geom.Frame // member to world
	Board    *Board
	Turning  *Turning
	Solid    *Solid
	Source   *Source  // the file it was brought in from, nil for none
	EndCuts  []EndCut // none of a Solid; those found in a file stand first
	Filament string   // overrides the piece's, "" to keep it
	Veneer   string   // overrides the piece's, "" to keep it
	Mirrored bool     // made by `mirror`: its twin's shape reversed
	Line     int
}

// Board is an outline with a thickness. It fills its member's Z from 0 (its
// back) to Thickness (its face).
type Board struct {
	Outline   Outline
	Cutouts   []Outline // holes right through, clockwise, clear of the outline and of each other
	Thickness float64   // > 0
}

// Outline is a closed path whose segments are grouped into edges: runs with
// no corner sharper than the break angle inside them. Run[i] is the number,
// from 0, of the edge that segment i belongs to; the segments of one run are
// consecutive, and a run may wrap past the path's start.
type Outline struct {
	Path geom.Path
	Run  []int
}

// Turning is a profile revolved about the member's Z axis. The profile is an
// open path in (radius, Z) with Z never falling and radius > 0, from the low
// end to the high end; flat discs close both ends. Run groups its segments as
// in Outline: a new run starts at every corner and at every change of kind.
type Turning struct {
	Profile geom.Path
	Run     []int
}

// Solid is a closed mesh brought in that is neither a board nor a turning, with
// its surfaces. Member coordinates have their origin in the middle of the
// solid's box, x along its longest direction and z out of its largest flat
// surface, where it has one.
type Solid struct {
	Shape    *surface.Solid
	Names    []string // of the faces: plane-1, round-1, cone-1, curved-1, free-1 …
	Roles    []Role
	Opposite []int // by face: the face that is its parallel at the other side of the thickness, -1 for none

	inside []bool       // by face, as Surface.Inside
	frames []geom.Frame // by face, as Surface.Frame
	laid   []laying     `digest:"-"` // by face: its chart, once it has been asked for
	drawn  *drawn       `digest:"-"` // its surfaces, once they have been asked for
}

// Source is the file that a member was brought in from.
type Source struct {
	File  string // as written in the piece file: relative to its folder
	Part  string // which body of the file, "" when it holds one
	Hash  string // SHA-256 of the file, lower-case hexadecimal
	As    string // board, turning or solid: what it was taken for
	Note  string // why it is not taken for a board or turning, "" where it is
	Steps []mend.Step
}

// EndCut removes whatever of a member lies on the outer side of a plane.
type EndCut struct {
	Plane geom.Plane // member coordinates; the normal points out of what is left
	Line  int
}

// JointRule says how two kinds of member are joined wherever they touch.
type JointRule struct {
	Between [2]string // member names or IDs; order matters for Through
	Kind    JointKind
	Screw   string  // "M6"; "" lets the joint stage choose by the contact
	Through string  // which of the two the screw passes through; "" lets the joint stage choose
	Screws  int     // 0 lets the joint stage choose
	Dowels  int     // -1 lets the joint stage choose
	Dowel   float64 // dowel diameter in mm, 0 lets the joint stage choose
	Contact string  // pad, window or through; "" for the default (see veneer)
	Line    int
}

// JointKind is the kind of a joint.
type JointKind string

const (
	KnockDown JointKind = "knock-down" // screws into heat-set inserts, loose dowels; comes apart
	Glued     JointKind = "glued"      // dowels and glue; for good
	Rests     JointKind = "rests"      // touches, nothing holds it
)

// SurfaceRule overrides what is done with surfaces.
type SurfaceRule struct {
	Member    string   // member name or ID, "*" for all
	Surface   string   // surface name, "faces", "edges", "ends" or "*"
	Show      string   // show, hidden or bare; "" keeps the default
	Grain     *float64 // angle of the grain from the surface's u axis, radians; nil keeps the default
	Allowance *float64 // trim allowance in mm; nil keeps the default
	Veneer    string   // shop veneer; "" keeps the default
	Match     string   // name of a matched set; "" for none
	Lap       string   // "" when needed; "always"; "never" (then a finding if it would be needed)
	LapAt     *float64 // arc length from the surface's start at which the first lap is centred; nil for the default
	Relief    *bool    // recess the core under a lap
	Line      int
}

// LoadRule is a load that the maker knows of, beside those of the piece's use.
type LoadRule struct {
	Name      string     // "a person sits here"
	Member    string     // member name, for every copy at once, or ID
	Surface   string     // surface name; "" for the one that faces most against the force
	At        *geom.Vec2 // on the surface, mm from the middle of its chart's box along u and v; nil for the middle
	Across    float64    // diameter of the disc that presses, mm; 0 for the whole surface
	Force     geom.Vec3  // N on each copy, world
	Sustained bool       // stands for months
	Line      int
}

// HeldRule names a surface by which the piece is held: against a wall, say.
// A piece with none stands on the floor.
type HeldRule struct {
	Member  string // member name or ID
	Surface string // surface name
	Line    int
}

// SeamRule pins or forbids seams of a member.
type SeamRule struct {
	Member string // member name or ID
	Kind   SeamRuleKind
	Axis   int        // the member's axis that the seam is square to: 0, 1, 2 for x, y, z
	At     float64    // SeamAt: its place along the axis, mm in member coordinates
	Clear  [2]float64 // NoSeam: from, to along the axis, mm in member coordinates
	Line   int
}

// SeamRuleKind says what a SeamRule asks for.
type SeamRuleKind string

const (
	SeamAt SeamRuleKind = "at"    // a seam lies here
	NoSeam SeamRuleKind = "clear" // no seam square to the axis lies here
	Whole  SeamRuleKind = "whole" // the member is not cut at all
)

// VeneerRule is what the piece says about veneer as a whole.
type VeneerRule struct {
	Veneer    string   // shop veneer; "" for the shop's first
	Order     string   // "faces first" (default) or "edges first"
	Allowance *float64 // trim allowance per free edge, mm
	Relief    bool     // recess the core under laps
	Balance   bool     // veneer hidden faces of unsupported panels too (default true)
}

// SurfaceKind says how a surface unrolls.
type SurfaceKind string

const (
	Plane    SurfaceKind = "plane"
	Cylinder SurfaceKind = "cylinder" // round, about the member's axis
	Cone     SurfaceKind = "cone"
	Extruded SurfaceKind = "extruded" // an edge: an outline run carried along Z
	Free     SurfaceKind = "free"     // not developable
	// Developable is a surface of a Solid that unrolls without being any of the above.
	Developable SurfaceKind = "developable"
)

// Role says what part of the member a surface is.
type Role string

const (
	Face  Role = "face" // a board's broad side
	Edge  Role = "edge" // a board's rim, outside or round a cut-out
	Side  Role = "side" // a turning's round side
	EndOf Role = "end"  // an end disc, or the plane left by an end cut
)

// Surface is a smooth region of a member with a flat chart: (u, v) in mm, laid
// out as the surface unrolls, seen from outside the member. For every kind
// but Free the chart keeps lengths and areas.
//
//	Plane     u, v along the chart frame's X and Y; Z is the outward normal.
//	          A board's face: u = local x, v = local y; its back: u = -x, v = y.
//	          An edge run that is a single straight line is also a Plane, with
//	          the same chart as Extruded.
//	Extruded  u = arc length along the run in the outline's direction of
//	          travel, v = local z: right-handed seen from outside.
//	Cylinder  u = radius × angle about the axis from local +X, v = z.
//	Cone      unrolled sector about its apex: see conePoint.
//	Free      u = largest radius × angle, v = arc length along the profile.
//
// Round surfaces of a Solid that go all the way round and bulge outward are
// Cylinder or Cone; other cylinders are Extruded along an arc, u wrapping where
// they go all the way round a bore. What has no formula is laid flat triangle by triangle:
//
//	Developable, and Free of a Solid: Patch maps between space and chart. A
//	          Free surface that cannot be laid flat has neither Patch nor Region.
type Surface struct {
	Name   string    // unique in the member: face, back, edge-1, cutout-1-edge-1, side-1, low-end, high-end, cut-1; of a Solid as Solid.Names
	Tag    solid.Tag // its index in Member.Surfaces; facets of Body carry it
	Kind   SurfaceKind
	Role   Role
	Frame  geom.Frame        // member coordinates; for Plane the chart frame, otherwise the frame of the axis
	Run    geom.Path         // Extruded and straight edges: the outline run. Sides: the profile run in (radius, z)
	Closed bool              // the run closes on itself: u wraps at Length
	Length float64           // Extruded: length of the run. Cylinder: circumference. Otherwise 0
	Region geom.Polygons     // what is left of the surface in its chart after end cuts, flattened within the chord asked for
	Area   float64           // mm² of the region; exact where no flattening was needed
	Inside bool              // lies in a cut-out or a bore: not veneered unless the piece file asks for it
	Patch  *unfold.Patch     // Developable, and Free of a Solid: the chart
	Strain unfold.Distortion // of Patch
	Unlaid string            // why a Free surface of a Solid has no Patch

	lengths []float64 // of the run's segments; nil where they are found when needed
}
