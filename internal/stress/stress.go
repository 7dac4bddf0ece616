// Package stress works out how a piece bends and what every part of it carries:
// it makes bricks of the printed bodies, links of their joints, and solves them
// under one load case after another (package elastic).
//
// Assemble makes a Structure of what earlier stages worked out; Structure.Solve
// takes a Case and gives a State. Which cases belong to a piece, and what is
// borne well enough, is not asked here: see package strength.
//
// Lengths are mm, forces N, stresses MPa, masses g, in the world's axes.
package stress

import (
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
)

// Gravity is the standard acceleration, mm/s² (CGPM 1901).
const Gravity = 9806.65

// Inputs are the earlier results that the structure is made of.
type Inputs struct {
	Piece    *piece.Piece
	Cores    []piece.Member // as printed, index as in Piece.Members
	Cuts     []piece.Cut    // what is put on cores and taken from them, bores among them
	Joints   *joint.Result
	Bodies   []seam.Body
	Shop     *shop.Shop
	Filament func(body int) shop.Filament
	Profile  func(body int) shop.Profile // contours, cover layers and core fill
	Weight   func(body int) float64      // g, as it stands finished; nil for what is printed alone
	Floor    bool                        // stands on the floor, Z = 0, which bears pressure only
	Held     []Held                      // held otherwise
	Rods     []Rod                       // of steel, let in

	// Known once bodies have been cut and posed. Without Laid a body is taken to
	// be printed lying on its largest face.
	Seams []seam.Seam
	Laid  []Laid
}

// Laid is a part of a body printed in one go.
type Laid struct {
	Segment string
	Body    int
	Planes  []geom.Plane // world; the part lies on the inner side of all
	Up      geom.Vec3    // world; across its layers
}

// Held is a surface of a member that is fixed to a wall or the like.
type Held struct {
	Member, Surface int
	At              []geom.Vec3 // world; where it is screwed on, none for the whole surface
}

// Rod is a steel rod in a channel of a body, bonded over its length.
type Rod struct {
	Body     int
	From, To geom.Vec3 // world
	Diameter float64
}

// Load is a force spread evenly over a patch of a member's surface.
type Load struct {
	Member int
	Frame  geom.Frame    // world; origin in the middle of the patch, Z the surface's outward normal
	Region geom.Polygons // in Frame's XY
	Force  geom.Vec3     // N, world
}

// Case is a set of loads; the piece's own weight always comes with them.
type Case struct {
	ID        string // "top-middle"
	Loads     []Load
	Sustained bool // stands for months: the filament creeps, which Options.Creep answers
}

// Options of a structure. The zero value works.
type Options struct {
	// Cell is the size of bricks along boards, mm; 0 chooses it from the
	// thinnest board. Through a board, planes lie on its layers.
	Cell float64

	// Rough asks for a quick answer, for choosing seams and poses: boards three
	// bricks thick (cover layer, core fill, cover layer) and coarse along, and
	// faces that touch held together, so that no contact need be opened.
	Rough bool

	// Creep is what is left of a filament's modulus under a load that stands for
	// months, 0 < f <= 1; nil for 1.
	Creep func(shop.Filament) float64

	// MaxMemory in bytes; 0 for 1 GiB.
	MaxMemory int64
}

// Peak is a greatest value and where it is met.
type Peak struct {
	Value float64
	At    geom.Vec3 // world
}

// BodyState is what the plastic of a body bears, a cell away from where loads
// and links enter it, where elastic stress has no bound.
type BodyState struct {
	Mises  Peak // equivalent stress in contours and cover layers, MPa
	Layers Peak // tension across the layers there, MPa
	Core   Peak // equivalent stress in the core fill's own material, MPa
	Moved  Peak // displacement, mm
}

// Section is what a seam carries: what the part above it does to the part below.
type Section struct {
	Force   geom.Vec3 // N, world
	Moment  geom.Vec3 // N mm, world, about the section's centroid
	Tension Peak      // normal stress in its shell, MPa
	Shear   Peak      // along the seam in its shell, MPa
}

// Pull is what a screw, a dowel or a patch of glue carries.
type Pull struct {
	Joint   int     // index into Inputs.Joints.Joints
	Number  int     // of the screw or dowel in the joint
	Tension float64 // N along its axis, preload included; below nought it presses
	Shear   float64 // N across it
	Preload float64 // N
}

// Film is what a glued contact bears at its worst place.
type Film struct {
	Joint   int
	Tension Peak // MPa, peel
	Shear   Peak // MPa
}
