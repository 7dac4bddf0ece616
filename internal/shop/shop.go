// Package shop describes the workshop: printers, laser beds, filaments,
// veneers, hardware, consumables, prices and people. A shop file is read once
// and then only looked at.
package shop

import "groundwork/internal/geom"

// Shop is everything the maker has to work with. Millimetres, grams, seconds,
// N, MPa, °C; money in Currency.
type Shop struct {
	Name        string
	Currency    string // ISO 4217 code, "EUR"
	Printers    []Printer
	Filaments   []Filament
	Lasers      []Laser
	Veneers     []Veneer
	Screws      []Screw
	Inserts     []Insert
	Dowels      []Dowel
	Pins        []Pin
	Fits        Fits
	Consumables []Consumable
	Bench       Bench
	Work        Work
	Parcels     Parcels
	Labour      float64 // money per hour of a person's time
	Electricity float64 // money per kWh
	LiftLimit   float64 // g that one person should lift (NIOSH lifting constant 23 kg)
	File        string
}

// Printer is one printer with the profile it prints cores with.
type Printer struct {
	ID      string
	Count   int
	Build   geom.Vec3 // build volume
	Brim    float64   // kept free all round the bed for a brim or skirt
	Top     float64   // kept free at the top of the volume
	Nozzle  float64   // diameter
	Price   float64   // money per hour of use
	Power   float64   // mean watts while printing
	Profile Profile
	Log     []Logged // what its print loads really took, by filament
}

// Profile is how a printer lays plastic down.
type Profile struct {
	Layer, FirstLayer float64 // layer heights
	Line              float64 // bead width
	Contours          int     // beads round every outline
	CoverLayers       int     // solid layers closing the top and the bottom
	Fill              float64 // core fill fraction, 0..1
	FillPattern       string  // triangles, grid, hexagons
	OuterSpeed        float64 // mm/s, outermost contour
	InnerSpeed        float64 // mm/s, other contours
	FillSpeed         float64 // mm/s, core fill
	CoverSpeed        float64 // mm/s, cover layers
	FirstSpeed        float64 // mm/s, everything on the first layer
	TravelSpeed       float64 // mm/s
	Acceleration      float64 // mm/s²
	Flow              float64 // mm³/s that the hot end can melt
	LayerChange       float64 // s
	Retract           float64 // s for each retract and restore
	MinLayer          float64 // s, shortest time for a layer
	HeatUp            float64 // s before and after each load
	Waste             float64 // fraction of filament purged or lost
	Spread            float64 // ± fraction within which the time estimate is honest
}

// Filament is one kind of filament. Strengths are of printed test bars; every
// value is a default that the maker's own data sheet overrides.
type Filament struct {
	ID                    string
	Material              string  // PLA, PETG, ABS, ASA, ABS-GF, PA-CF, PC: picks cautions
	Density               float64 // g/cm³
	Diameter              float64
	HDT                   float64   // °C at 0.45 MPa
	Modulus               float64   // MPa in the layer plane
	Strength              float64   // MPa in the layer plane
	ZFactor               float64   // strength across layers / in the layer plane
	Expansion             float64   // 1e-6/K
	Shrink                geom.Vec3 // fraction by which a print comes out small, per machine axis
	MaxFlat               float64   // longest flat length that prints without lifting, 0 for no limit
	MaxFlow               float64   // mm³/s, 0 for the printer's own limit
	SpoolMass, SpoolPrice float64   // g, money
	Source                string
}

// Laser is one laser bed.
type Laser struct {
	ID        string
	Bed       geom.Vec2
	Margin    float64 // kept free all round
	Kerf      float64 // width burnt away
	CutSpeed  float64 // mm/s in veneer
	MarkSpeed float64 // mm/s
	Move      float64 // mm/s between cuts
	SetUp     float64 // s for each blank: place, focus, mask, remove
	Price     float64 // money per hour
}

// Veneer is one kind of adhesive-backed veneer. The stack is face, backing
// and adhesive, measured without the liner.
type Veneer struct {
	ID, Species             string
	Face, Backing, Adhesive float64
	Neutral                 float64   // depth of the neutral surface above the core when bent; 0 means half the stack
	Figure                  string    // plain: turns of 0 and 180 degrees are alike; directional: 0 only
	Sheet                   geom.Vec2 // Y along the grain
	Price                   float64   // money per sheet
	EdgeMargin              float64   // unusable border of a sheet
	BendAlong, BendAcross   float64   // smallest radius as a multiple of the stack: grain round the curve, grain along its axis
	ServiceTemperature      float64   // °C that the adhesive stands for long
	MinOffcut               geom.Vec2 // smallest offcut worth keeping
	BlankKerf               float64   // what a cut of a sheet into blanks takes: 0 by knife
	Offcuts                 []Offcut  // pieces that the shop has lying, used before sheets are bought
	Source                  string
}

// Offcut is a piece of veneer that the shop has, square and with sound edges: a
// part of a sheet, or a whole one.
type Offcut struct {
	ID       string
	Size     geom.Vec2 // Y along the grain
	Count    int
	Price    float64    // money for one
	Reserved []Reserved // knots and cracks
}

// Reserved is a rectangle of an offcut that is not used.
type Reserved struct {
	At   geom.Vec2 // its lower left corner, from the offcut's
	Size geom.Vec2
}

// Stack is the thickness of face, backing and adhesive together.
func (v Veneer) Stack() float64 { return v.Face + v.Backing + v.Adhesive }

// NeutralDepth is the height of the neutral surface above the core.
func (v Veneer) NeutralDepth() float64 {
	if v.Neutral > 0 {
		return v.Neutral
	}
	return v.Stack() / 2
}

// Screw is a socket-head cap screw with the stock lengths there are.
type Screw struct {
	Size        string // M4, M5, M6, M8
	Lengths     []float64
	Price       float64 // each
	Washer      bool
	WasherPrice float64 // each
}

// Insert is a heat-set insert.
type Insert struct {
	Size    string  // thread: M5
	Hole    float64 // bore that it is melted into
	Outer   float64 // largest diameter over the knurls
	Length  float64
	Melt    float64 // extra depth for displaced plastic
	MinWall float64 // plastic needed round the bore
	Price   float64
}

// Dowel is a loose or glued dowel, bought or printed.
type Dowel struct {
	Diameter, Length float64
	Printed          bool
	Price            float64
}

// Fits are gaps measured on the shop's own coupons, on the diameter.
type Fits struct {
	Hole       float64 // how much small a printed hole comes out
	GluedDowel float64 // gap for a glued dowel
	LooseDowel float64 // gap on the sliding side
	Plug       float64
	BedChamfer float64 // on mating edges that lie on the bed
}

// Consumable is something used up: glue, filler, finish, abrasive.
type Consumable struct {
	ID     string
	Per    string  // what it is measured by: seam-area, joint-area, glue-area (both), veneer-area, member, piece
	Amount float64 // units per m² or per count
	Unit   string  // ml, g, piece, m
	Price  float64 // per unit
	Note   string
}
