package shop

import (
	"fmt"

	"groundwork/internal/given"
)

// Version is the only format version there is: `groundwork: 1`.
const Version = "1"

// Error is one fault in a shop file, with its place and a remedy.
type Error = given.Error

// Errors is every fault that was found in a shop file.
type Errors = given.Errors

// Document is a shop file as written: every number still text, everything
// with its place. The tags are the file format: Parse and Schema both read
// them. Defaults, and where they come from, stand in the descriptions.
type Document struct {
	Groundwork  given.Number    `json:"groundwork" jsonschema:"required" jsonschema_description:"Version of this file format; always 1."`
	Name        given.Text      `json:"name" jsonschema_description:"Name of the shop for people."`
	Currency    given.Text      `json:"currency" jsonschema:"required" jsonschema_description:"ISO 4217 code of the currency of every price, such as EUR."`
	Printers    []PrinterDoc    `json:"printers" jsonschema:"required,minItems=1" jsonschema_description:"Printers, each with the profile that cores are printed with."`
	Filaments   []FilamentDoc   `json:"filaments" jsonschema:"required,minItems=1" jsonschema_description:"Filaments; pieces refer to their ids, and the first serves a piece that names none."`
	Lasers      []LaserDoc      `json:"lasers" jsonschema:"required,minItems=1" jsonschema_description:"Laser beds for veneer; the first is planned for."`
	Veneers     []VeneerDoc     `json:"veneers" jsonschema:"required,minItems=1" jsonschema_description:"Adhesive-backed veneers; pieces refer to their ids, and the first serves a piece that names none."`
	Screws      []ScrewDoc      `json:"screws" jsonschema_description:"Socket-head cap screws in stock (ISO 4762), one entry for each thread. Knock-down joints need them."`
	Inserts     []InsertDoc     `json:"inserts" jsonschema_description:"Heat-set inserts in stock, one entry for each thread. Knock-down joints need them."`
	Dowels      []DowelDoc      `json:"dowels" jsonschema_description:"Dowels, bought and printed. Seams and joints need them."`
	Pins        []PinDoc        `json:"pins" jsonschema_description:"Pins of laps in the shop, one entry for each diameter: what they cost."`
	Fits        FitsDoc         `json:"fits" jsonschema_description:"Gaps measured on coupons."`
	Consumables []ConsumableDoc `json:"consumables" jsonschema_description:"What is used up: glue, filler, abrasive, finish."`
	Labour      given.Number    `json:"labour" jsonschema_description:"Money for an hour of a person's time; 0 when left out."`
	Electricity given.Number    `json:"electricity" jsonschema_description:"Money for a kWh; 0 when left out."`
	Bench       BenchDoc        `json:"bench" jsonschema_description:"The bench that work is glued and clamped on."`
	Work        WorkDoc         `json:"work" jsonschema_description:"Who works when, and what has to be waited for: the calendar of a job rests on it."`
	Parcels     ParcelsDoc      `json:"parcels" jsonschema_description:"How kits are packed, what may be sent, and what a batch is priced by."`
	LiftLimit   given.Number    `json:"lift_limit" jsonschema_description:"Mass that one person should lift; 23 kg when left out (lifting constant of the revised NIOSH lifting equation, 1994)."`
}

// PrinterDoc is one printer, or several alike.
type PrinterDoc struct {
	given.Place `json:"-"`
	ID          given.Text           `json:"id" jsonschema:"required" jsonschema_description:"Short name: lower-case letters, digits and hyphens."`
	Count       given.Number         `json:"count" jsonschema_description:"Number of printers alike; 1 when left out."`
	Build       []given.Number       `json:"build" jsonschema:"required,minItems=3,maxItems=3" jsonschema_description:"Build volume [x, y, z]."`
	Brim        given.Number         `json:"brim" jsonschema_description:"Kept free all round the bed for a brim or skirt; 5 mm when left out (common practice)."`
	Top         given.Number         `json:"top" jsonschema_description:"Kept free at the top of the volume; 2 mm when left out (common practice)."`
	Nozzle      given.Number         `json:"nozzle" jsonschema_description:"Diameter of the nozzle; 0.4 mm when left out."`
	Price       given.Number         `json:"price" jsonschema_description:"Money for an hour of use, without electricity; 0 when left out."`
	Power       given.Number         `json:"power" jsonschema_description:"Mean power in W while printing, measured at the plug; 120 W when left out (common practice for an open bed of this size)."`
	Profile     ProfileDoc           `json:"profile" jsonschema_description:"How it lays plastic down. What is left out is an ordinary fast printer's (docs/printing.md; common practice)."`
	Log         given.Map[LoggedDoc] `json:"log" jsonschema_description:"What its print loads really took, by the filament's id; times, filament and what a time may be off go by it. groundwork calibrate writes it."`
}

// ProfileDoc is how a printer lays plastic down. The defaults are the
// ordinary fast printer that docs/printing.md fixes, with four contours.
type ProfileDoc struct {
	given.Place  `json:"-"`
	Layer        given.Number `json:"layer" jsonschema_description:"Layer height, 25 % to 75 % of the nozzle; 70 % of it when left out."`
	FirstLayer   given.Number `json:"first_layer" jsonschema_description:"Height of the first layer; the layer height when left out."`
	Line         given.Number `json:"line" jsonschema_description:"Width of a bead; 1.125 nozzles when left out."`
	Contours     given.Number `json:"contours" jsonschema_description:"Beads round every outline; 4 when left out."`
	CoverLayers  given.Number `json:"cover_layers" jsonschema_description:"Solid layers that close the top and the bottom; 5 when left out."`
	Fill         given.Number `json:"fill" jsonschema_description:"Core fill, 0 to 1 or in %; 25 % when left out."`
	FillPattern  given.Text   `json:"fill_pattern" jsonschema:"enum=triangles,enum=grid,enum=hexagons" jsonschema_description:"Pattern of the core fill; triangles when left out."`
	OuterSpeed   given.Number `json:"outer_speed" jsonschema_description:"Outermost contour, mm/s; 120 when left out."`
	InnerSpeed   given.Number `json:"inner_speed" jsonschema_description:"Other contours, mm/s; 200 when left out."`
	FillSpeed    given.Number `json:"fill_speed" jsonschema_description:"Core fill, mm/s; 200 when left out."`
	CoverSpeed   given.Number `json:"cover_speed" jsonschema_description:"Cover layers, mm/s; 200 when left out."`
	FirstSpeed   given.Number `json:"first_speed" jsonschema_description:"Everything on the first layer, mm/s; 50 when left out."`
	TravelSpeed  given.Number `json:"travel_speed" jsonschema_description:"Moves that lay nothing, mm/s; 300 when left out."`
	Acceleration given.Number `json:"acceleration" jsonschema_description:"Acceleration, mm/s2; 5000 when left out."`
	Flow         given.Number `json:"flow" jsonschema_description:"What the hot end can melt, mm3/s; 20 when left out (15 to 25 for a high-flow hot end, 8 to 12 for a plain one)."`
	LayerChange  given.Number `json:"layer_change" jsonschema_description:"Time for a change of layer; 1 s when left out (0.5 to 2 s)."`
	Retract      given.Number `json:"retract" jsonschema_description:"Time for a retract and restore; 0.3 s when left out."`
	MinLayer     given.Number `json:"min_layer" jsonschema_description:"Shortest time for a layer; 8 s when left out (5 to 15 s)."`
	HeatUp       given.Number `json:"heat_up" jsonschema_description:"Time to heat up, purge and cool for each load; 7 min when left out (4 to 10 min)."`
	Waste        given.Number `json:"waste" jsonschema_description:"Share of the filament that is purged or lost; 5 % when left out (3 % to 8 %)."`
	Spread       given.Number `json:"spread" jsonschema_description:"Share by which a time may be off either way; 25 % when left out (docs/printing.md)."`
}

// FilamentDoc is one kind of filament. What is left out of a material that
// the program knows is the middle of a generic range (see materials).
type FilamentDoc struct {
	given.Place `json:"-"`
	ID          given.Text     `json:"id" jsonschema:"required" jsonschema_description:"Short name: lower-case letters, digits and hyphens."`
	Material    given.Text     `json:"material" jsonschema:"required" jsonschema_description:"Plastic in capitals: PLA, PETG, ABS, ASA, ABS-GF, PA-CF, PC or another. It picks cautions, and generic values for what is left out; another material has to give them all."`
	Density     given.Number   `json:"density" jsonschema_description:"Density, g/cm3."`
	Diameter    given.Number   `json:"diameter" jsonschema_description:"Diameter of the filament; 1.75 mm when left out."`
	HDT         given.Number   `json:"hdt" jsonschema_description:"Heat deflection temperature at 0.45 MPa, °C."`
	Modulus     given.Number   `json:"modulus" jsonschema_description:"Modulus of elasticity in the plane of the layers, MPa."`
	Strength    given.Number   `json:"strength" jsonschema_description:"Tensile strength in the plane of the layers, MPa."`
	ZFactor     given.Number   `json:"z_factor" jsonschema_description:"Strength across the layers over strength in their plane, 0 to 1."`
	Expansion   given.Number   `json:"expansion" jsonschema_description:"Thermal expansion, 1e-6/K."`
	Shrink      []given.Number `json:"shrink" jsonschema:"minItems=3,maxItems=3" jsonschema_description:"Share by which a print comes out small along the machine's [x, y, z], measured on a coupon; 0 when left out."`
	MaxFlat     given.Number   `json:"max_flat" jsonschema_description:"Longest flat length that prints without lifting; no limit when left out."`
	MaxFlow     given.Number   `json:"max_flow" jsonschema_description:"What can be melted of it, mm3/s; the printer's own limit when left out."`
	SpoolMass   given.Number   `json:"spool_mass" jsonschema_description:"Filament on a spool; 1 kg when left out."`
	SpoolPrice  given.Number   `json:"spool_price" jsonschema_description:"Money for a spool; 0 when left out."`
	Source      given.Text     `json:"source" jsonschema_description:"Where the values come from."`
}

// LaserDoc is one laser bed. Defaults are common practice, without a source.
type LaserDoc struct {
	given.Place `json:"-"`
	ID          given.Text     `json:"id" jsonschema:"required" jsonschema_description:"Short name: lower-case letters, digits and hyphens."`
	Bed         []given.Number `json:"bed" jsonschema:"required,minItems=2,maxItems=2" jsonschema_description:"What the beam reaches, [x, y]."`
	Margin      given.Number   `json:"margin" jsonschema_description:"Kept free all round a blank; 5 mm when left out."`
	Kerf        given.Number   `json:"kerf" jsonschema_description:"Width that is burnt away, less than 1 mm; 0.15 mm when left out (0.10 to 0.20 mm in 0.5 to 0.9 mm veneer): measure it."`
	CutSpeed    given.Number   `json:"cut_speed" jsonschema_description:"Cutting veneer, mm/s; 20 when left out."`
	MarkSpeed   given.Number   `json:"mark_speed" jsonschema_description:"Marking, mm/s; 100 when left out."`
	Move        given.Number   `json:"move" jsonschema_description:"Between cuts, mm/s; 200 when left out."`
	SetUp       given.Number   `json:"set_up" jsonschema_description:"Time for each blank to be placed, focused, masked and taken off; 4 min when left out."`
	Price       given.Number   `json:"price" jsonschema_description:"Money for an hour; 0 when left out."`
}

// VeneerDoc is one kind of adhesive-backed veneer.
type VeneerDoc struct {
	given.Place        `json:"-"`
	ID                 given.Text     `json:"id" jsonschema:"required" jsonschema_description:"Short name: lower-case letters, digits and hyphens."`
	Species            given.Text     `json:"species" jsonschema_description:"Wood; the id when left out."`
	Face               given.Number   `json:"face" jsonschema:"required" jsonschema_description:"Thickness of the wood, measured."`
	Backing            given.Number   `json:"backing" jsonschema:"required" jsonschema_description:"Thickness of the paper or wood backing, measured; 0 for none."`
	Adhesive           given.Number   `json:"adhesive" jsonschema:"required" jsonschema_description:"Thickness of the adhesive without its liner, measured."`
	Neutral            given.Number   `json:"neutral" jsonschema_description:"Height of the surface that neither stretches nor shrinks in a bend, above the core, from a coupon; half of the stack when left out."`
	Figure             given.Text     `json:"figure" jsonschema:"enum=plain,enum=directional" jsonschema_description:"plain: a leaf may be turned end for end; directional: it may not. plain when left out."`
	Sheet              []given.Number `json:"sheet" jsonschema:"required,minItems=2,maxItems=2" jsonschema_description:"Size of a sheet, [across the grain, along the grain]."`
	Price              given.Number   `json:"price" jsonschema_description:"Money for a sheet; 0 when left out."`
	EdgeMargin         given.Number   `json:"edge_margin" jsonschema_description:"Border of a sheet that is not used; 10 mm when left out (common practice)."`
	BendAlong          given.Number   `json:"bend_along" jsonschema_description:"Smallest radius with the grain round the curve, in stacks; 60 when left out (dry beech; elastic limit from USDA Wood Handbook table 5-3b)."`
	BendAcross         given.Number   `json:"bend_across" jsonschema_description:"Smallest radius with the grain along its axis, in stacks; 30 when left out (derived from the plywood table of FAA AC 43.13-1B)."`
	ServiceTemperature given.Number   `json:"service_temperature" jsonschema_description:"Temperature in °C that the adhesive stands for long, from its data sheet; not checked when left out."`
	MinOffcut          []given.Number `json:"min_offcut" jsonschema:"minItems=2,maxItems=2" jsonschema_description:"Smallest offcut worth keeping, [across, along]; [50 mm, 300 mm] when left out (common practice)."`
	BlankKerf          given.Number   `json:"blank_kerf" jsonschema_description:"What a cut takes when a sheet is cut into blanks; 0 when left out, as a knife takes nothing (common practice)."`
	Offcuts            []OffcutDoc    `json:"offcuts" jsonschema_description:"Pieces of it that the shop has lying; blanks are cut from them first."`
	Source             given.Text     `json:"source" jsonschema_description:"Where the values come from."`
}

// OffcutDoc is a piece of veneer that the shop has.
type OffcutDoc struct {
	given.Place `json:"-"`
	ID          given.Text     `json:"id" jsonschema:"required" jsonschema_description:"Short name, as written on it: lower-case letters, digits and hyphens."`
	Size        []given.Number `json:"size" jsonschema:"required,minItems=2,maxItems=2" jsonschema_description:"Sound part, [across the grain, along the grain]."`
	Count       given.Number   `json:"count" jsonschema_description:"How many alike; 1 when left out."`
	Price       given.Number   `json:"price" jsonschema_description:"Money for one; 0 when left out: it is paid for."`
	Reserved    []ReservedDoc  `json:"reserved" jsonschema:"maxItems=12" jsonschema_description:"Knots and cracks: no blank is cut over them."`
}

// ReservedDoc is a rectangle of an offcut that is not used.
type ReservedDoc struct {
	given.Place `json:"-"`
	At          []given.Number `json:"at" jsonschema:"required,minItems=2,maxItems=2" jsonschema_description:"Its corner nearest to the offcut's lower left one, [across the grain, along the grain] from there."`
	Size        []given.Number `json:"size" jsonschema:"required,minItems=2,maxItems=2" jsonschema_description:"Its size, [across, along]."`
}

// ScrewDoc is one thread of socket-head cap screws.
type ScrewDoc struct {
	given.Place `json:"-"`
	Size        given.Text     `json:"size" jsonschema:"required,enum=M4,enum=M5,enum=M6,enum=M8" jsonschema_description:"Thread."`
	Lengths     []given.Number `json:"lengths" jsonschema_description:"Lengths in stock; the ordinary ones of ISO 4762 when left out."`
	Price       given.Number   `json:"price" jsonschema_description:"Money for one; 0 when left out."`
	Washer      *given.Flag    `json:"washer" jsonschema_description:"Whether a washer (ISO 7089) goes under the head; true when left out."`
	WasherPrice given.Number   `json:"washer_price" jsonschema_description:"Money for one washer; when left out the bill's sums are without washers, and say so."`
}

// InsertDoc is one heat-set insert. Its sizes differ from maker to maker: the
// defaults are one generic family and want measuring.
type InsertDoc struct {
	given.Place `json:"-"`
	Size        given.Text   `json:"size" jsonschema:"required,enum=M4,enum=M5,enum=M6,enum=M8" jsonschema_description:"Thread."`
	Hole        given.Number `json:"hole" jsonschema_description:"Bore that it is melted into; 5.6, 6.4, 8.0 or 10.0 mm when left out."`
	Outer       given.Number `json:"outer" jsonschema_description:"Largest diameter over its knurls; 0.3 mm over the bore when left out (0.1 to 0.3 mm)."`
	Length      given.Number `json:"length" jsonschema_description:"Length; 8.1, 9.5, 12.7 or 12.7 mm when left out."`
	Melt        given.Number `json:"melt" jsonschema_description:"Depth below it for displaced plastic; 1 mm when left out (0.5 to 1 mm)."`
	MinWall     given.Number `json:"min_wall" jsonschema_description:"Plastic needed round the bore; when left out the larger of 2.4 mm (J. Manuf. Mater. Process. 7(1) 42, 2023) and 2.1, 2.6, 3.3 or 4.5 mm (moulding tables, from memory)."`
	Price       given.Number `json:"price" jsonschema_description:"Money for one; 0 when left out."`
}

// DowelDoc is one size of dowel.
type DowelDoc struct {
	given.Place `json:"-"`
	Diameter    given.Number `json:"diameter" jsonschema:"required" jsonschema_description:"Diameter, measured."`
	Length      given.Number `json:"length" jsonschema:"required" jsonschema_description:"Length."`
	Printed     given.Flag   `json:"printed" jsonschema_description:"Printed in the shop; false when left out."`
	Price       given.Number `json:"price" jsonschema_description:"Money for one; 0 when left out."`
}

// FitsDoc is gaps on the diameter, measured on the shop's own coupons.
type FitsDoc struct {
	given.Place `json:"-"`
	Hole        given.Number `json:"hole" jsonschema_description:"By how much a printed hole comes out small; 0.15 mm when left out (0.1 to 0.2 mm)."`
	GluedDowel  given.Number `json:"glued_dowel" jsonschema_description:"Gap for a glued dowel; 0.25 mm when left out (0.1 to 0.15 mm a side)."`
	LooseDowel  given.Number `json:"loose_dowel" jsonschema_description:"Gap on the sliding side of a loose dowel; 0.3 mm when left out (0.2 to 0.3 mm slides, 0.3 to 0.5 mm is loose)."`
	Plug        given.Number `json:"plug" jsonschema_description:"Gap for a plug; 0.2 mm when left out."`
	BedChamfer  given.Number `json:"bed_chamfer" jsonschema_description:"Chamfer on mating edges that lie on the bed; 0.4 mm when left out (common practice)."`
}

// ConsumableDoc is something used up.
type ConsumableDoc struct {
	given.Place `json:"-"`
	ID          given.Text   `json:"id" jsonschema:"required" jsonschema_description:"Short name: lower-case letters, digits and hyphens."`
	Per         given.Text   `json:"per" jsonschema:"required,enum=seam-area,enum=joint-area,enum=glue-area,enum=veneer-area,enum=member,enum=piece" jsonschema_description:"What it is measured by: the area of seams, of glued joints, of both, of veneer laid, the number of members, or the piece."`
	Amount      given.Number `json:"amount" jsonschema:"required" jsonschema_description:"How many of its unit for each m2, member or piece."`
	Unit        given.Text   `json:"unit" jsonschema:"required,enum=ml,enum=g,enum=piece,enum=m" jsonschema_description:"Its unit."`
	Price       given.Number `json:"price" jsonschema_description:"Money for one of its unit; 0 when left out."`
	Note        given.Text   `json:"note" jsonschema_description:"A remark for the bill."`
}

// ParseFile reads the named shop file.
func ParseFile(name string) (*Shop, error) {
	data, err := given.ReadFile(name)
	if err != nil {
		return nil, fmt.Errorf("reading the shop: %w", err)
	}
	return Parse(name, data)
}

// Parse reads a shop file. file names it in errors. The error, if any, is
// Errors: everything that is wrong with the file.
func Parse(file string, data []byte) (*Shop, error) {
	faults := &given.Faults{File: file}
	root := given.Read(data, faults)
	if root == nil || root.Kind != given.Mapping {
		if root != nil && !faults.Any() {
			faults.Add(root.Place, "start with the line groundwork: 1", "a shop file is a mapping of keys, not %s", root.Kind)
		}
		return nil, faults.Err()
	}
	// A file of another version would only raise faults that mislead.
	switch v := root.Get("groundwork"); {
	case v == nil:
		faults.Add(root.Place, "start with the line groundwork: 1", "the format version is missing")
		return nil, faults.Err()
	case v.Text != Version:
		faults.Add(v.Place, "write groundwork: 1", "the format version %q is not known to this program", v.Text)
		return nil, faults.Err()
	}
	d := &Document{}
	given.Decode(root, d, faults)
	r := reader{faults: faults, badForm: faults.Any()}
	s := r.shop(d)
	s.File = file
	if err := faults.Err(); err != nil {
		return nil, err
	}
	return s, nil
}

// Schema is the JSON Schema (draft 2020-12) of shop files.
func Schema() ([]byte, error) {
	return given.Schema(&Document{}, "Groundwork shop file",
		"What the shop has to work with: printers, laser beds, filaments, veneers, hardware, consumables and prices. A length is in mm when bare (or 19 mm, 3/4 in), a mass in g (1 kg), a time in s (4 min), a share is 0.25 or 25 %; money is in the shop's currency.")
}
