package piece

import (
	"fmt"
	"path/filepath"
	"regexp"
	"slices"

	"groundwork/internal/given"

	"github.com/invopop/jsonschema"
)

// Version is the only format version there is: `groundwork: 1`.
const Version = "1"

// Limits of a piece file. Sizes are in mm.
const (
	maxMembers = 500   // after repeats
	minSize    = 0.5   // nothing smaller than a bead of plastic is a size
	maxSize    = 5000  // nothing larger than a room is a piece of furniture
	maxPlace   = 10000 // coordinates
)

// Error is one fault in a piece file, with its place and a remedy.
type Error = given.Error

// Errors is every fault that was found in a piece file.
type Errors = given.Errors

// Document is a piece file as written: every number still text, everything
// with its place. The tags are the file format: Parse and Schema both read
// them.
type Document struct {
	File string `json:"-"`
	// Open reads a file with solids by its name as written. ParseFile sets it to
	// read from the piece file's folder; without it such members are faults.
	Open       func(name string) ([]byte, error) `json:"-"`
	Groundwork given.Number                      `json:"groundwork" jsonschema:"required" jsonschema_description:"Version of this file format; always 1."`
	Name       given.Text                        `json:"name" jsonschema:"required" jsonschema_description:"Name of the piece for files: lower-case letters, digits and hyphens."`
	Title      given.Text                        `json:"title" jsonschema_description:"Name of the piece for people; the name when left out."`
	Note       given.Text                        `json:"note" jsonschema_description:"A sentence or two for the bench book."`
	Use        given.Text                        `json:"use" jsonschema:"required,enum=table,enum=seat,enum=shelf,enum=stand,enum=other" jsonschema_description:"What the piece is for; it picks the loads by which it is judged."`
	Sizes      given.Text                        `json:"sizes" jsonschema:"required,enum=finished,enum=core" jsonschema_description:"What the sizes in this file measure: finished is over the veneer, core is the printed body under it."`
	Veneer     VeneerDoc                         `json:"veneer" jsonschema_description:"What holds for the veneer of the whole piece."`
	Filament   given.Text                        `json:"filament" jsonschema_description:"Filament of the shop for the cores; the shop's first when left out."`
	Parameters given.Map[ParameterDoc]           `json:"parameters" jsonschema_description:"Numbers that the maker may change, by name: lower-case letters, digits and underscores."`
	Members    given.Map[MemberDoc]              `json:"members" jsonschema:"required" jsonschema_description:"The full-size parts by name: lower-case letters, digits and hyphens."`
	Joints     []JointDoc                        `json:"joints" jsonschema_description:"How members are joined wherever they touch."`
	Surfaces   []SurfaceDoc                      `json:"surfaces" jsonschema_description:"What is done differently with single surfaces; a later entry overrides an earlier one."`
	PrintAsOne [][]given.Text                    `json:"print_as_one" jsonschema_description:"Groups of members that are printed as one core."`
	Loads      []LoadDoc                         `json:"loads" jsonschema_description:"Loads that you know of, beside those by which a piece of its use is judged; each is a load case of its own."`
	Held       []HeldDoc                         `json:"held" jsonschema_description:"Surfaces by which the piece is held to a wall or the like; it then stands on no floor."`
	Seams      []SeamDoc                         `json:"seams" jsonschema_description:"Where a member is to be cut into segments, and where not."`

	shelf *shelf
}

// VeneerDoc is the key veneer of a piece.
type VeneerDoc struct {
	given.Place `json:"-"`
	Use         given.Text   `json:"use" jsonschema_description:"Veneer of the shop; the shop's first when left out."`
	Order       given.Text   `json:"order" jsonschema:"enum=faces first,enum=edges first" jsonschema_description:"Which is laid first, and so shows its edge less; faces first when left out."`
	Allowance   given.Number `json:"allowance" jsonschema_description:"Trim allowance on every free edge of a pattern; 2 mm when left out."`
	Relief      given.Flag   `json:"relief" jsonschema_description:"Recess the core under laps so that they lie flush; false when left out."`
	Balance     *given.Flag  `json:"balance" jsonschema_description:"Veneer the hidden faces of unsupported panels too; true when left out."`
}

// ParameterDoc is one parameter.
type ParameterDoc struct {
	given.Place `json:"-"`
	Value       given.Number `json:"value" jsonschema:"required" jsonschema_description:"The number itself, with its unit: 560 mm, 8 deg, 4, or an expression."`
	Min         given.Number `json:"min" jsonschema_description:"Least value that the piece allows; give max too."`
	Max         given.Number `json:"max" jsonschema_description:"Greatest value that the piece allows; give min too."`
	Step        given.Number `json:"step" jsonschema_description:"Steps by which a slider moves it."`
	Label       given.Text   `json:"label" jsonschema_description:"What people call it; the name when left out."`
}

// MemberDoc is one member, or several alike.
type MemberDoc struct {
	given.Place `json:"-"`
	Board       *BoardDoc      `json:"board" jsonschema_description:"The member is a flat board: an outline with a thickness."`
	Turning     *TurningDoc    `json:"turning" jsonschema_description:"The member is round: a profile about its own Z axis."`
	Solid       *SolidDoc      `json:"solid" jsonschema_description:"The member was drawn elsewhere: a closed mesh in a file. It is made as a board or a turning where it is one."`
	At          []given.Number `json:"at" jsonschema:"minItems=3,maxItems=3" jsonschema_description:"The member's origin in the world (X right, Y back, Z up, floor at 0), and for a solid the origin of its file's coordinates; [0, 0, 0] when left out."`
	Axes        *AxesDoc       `json:"axes" jsonschema_description:"How the member, or the file of a solid, is turned; left out, its axes are the world's."`
	Mirror      *Words         `json:"mirror" jsonschema_description:"Copies mirrored in the world planes x = 0 and y = 0: x, y or [x, y] (four members)."`
	Repeat      *RepeatDoc     `json:"repeat" jsonschema_description:"Copies about an upright axis, along a line, or in places of their own."`
	EndCuts     []EndCutDoc    `json:"end_cuts" jsonschema_description:"Planes that cut the member off. They are laid on the first copy; the other copies are cut alike."`
	Filament    given.Text     `json:"filament" jsonschema_description:"Filament of the shop for this member; the piece's when left out."`
	Veneer      given.Text     `json:"veneer" jsonschema_description:"Veneer of the shop for this member; the piece's when left out."`
}

// SolidDoc is a member that was drawn elsewhere.
type SolidDoc struct {
	given.Place `json:"-"`
	File        given.Text   `json:"file" jsonschema:"required" jsonschema_description:"The file, STL, OBJ or 3MF, by its path from the piece file's folder, with forward slashes."`
	Part        given.Text   `json:"part" jsonschema_description:"Which body of the file, where it holds several: its name in lower-case letters, digits and hyphens, or body-1, body-2."`
	Unit        given.Text   `json:"unit" jsonschema:"enum=mm,enum=cm,enum=m,enum=in,enum=ft,enum=um" jsonschema_description:"Unit of the file's numbers, which STL and OBJ do not state."`
	SHA256      given.Text   `json:"sha256" jsonschema_description:"SHA-256 of the file as it was when the piece was made, in hexadecimal; a warning tells when it has changed."`
	As          given.Text   `json:"as" jsonschema:"enum=board,enum=turning,enum=solid" jsonschema_description:"What it is made as; left out, a board if it is one, else a turning if it is one, else a solid."`
	Holes       given.Number `json:"holes" jsonschema_description:"Holes in the mesh whose border is no longer than this are closed; a quarter of its size when left out."`
	Thicken     given.Number `json:"thicken" jsonschema_description:"Thickness, inward, for a shell that is open."`
	Up          given.Text   `json:"up" jsonschema:"enum=x,enum=y,enum=z,enum=-x,enum=-y,enum=-z" jsonschema_description:"Which axis of the file points up; z when left out."`
}

// ShapeDoc is a closed outline in a board's own x and y: exactly one of its
// keys.
type ShapeDoc struct {
	Rectangle *RectangleDoc `json:"rectangle" jsonschema_description:"A rectangle about the origin, length along x. Its edges are numbered from the one at the lowest y, counter-clockwise."`
	Rounded   *RoundedDoc   `json:"rounded" jsonschema_description:"A rectangle about the origin with round corners, or with round ends when no radius is given."`
	Circle    *CircleDoc    `json:"circle" jsonschema_description:"A circle about the origin."`
	Ellipse   *EllipseDoc   `json:"ellipse" jsonschema_description:"An ellipse about the origin, length along x."`
	Polygon   *PolygonDoc   `json:"polygon" jsonschema_description:"A regular polygon about the origin with its first edge at the lowest y, level."`
	Taper     *TaperDoc     `json:"taper" jsonschema_description:"A tapered board along +x from x = 0. Edges: 1 the lower one, 2 the end at x = length, 3 the upper one, 4 the end at x = 0."`
	Path      *given.Text   `json:"path" jsonschema_description:"SVG path data (M L H V C S Q T A Z) in mm with y upwards: one closed loop."`
}

// RectangleDoc has sharp or round corners.
type RectangleDoc struct {
	given.Place `json:"-"`
	Length      given.Number `json:"length" jsonschema:"required" jsonschema_description:"Size along x."`
	Width       given.Number `json:"width" jsonschema:"required" jsonschema_description:"Size along y."`
	Corner      given.Number `json:"corner" jsonschema_description:"Radius of the corners; sharp when left out."`
}

// RoundedDoc is a rectangle with round corners or ends.
type RoundedDoc struct {
	given.Place `json:"-"`
	Length      given.Number `json:"length" jsonschema:"required" jsonschema_description:"Size along x."`
	Width       given.Number `json:"width" jsonschema:"required" jsonschema_description:"Size along y."`
	Radius      given.Number `json:"radius" jsonschema_description:"Radius of the corners; half of the smaller size when left out."`
}

// CircleDoc is a circle.
type CircleDoc struct {
	given.Place `json:"-"`
	Diameter    given.Number `json:"diameter" jsonschema:"required" jsonschema_description:"Diameter."`
}

// EllipseDoc is an ellipse.
type EllipseDoc struct {
	given.Place `json:"-"`
	Length      given.Number `json:"length" jsonschema:"required" jsonschema_description:"Size along x."`
	Width       given.Number `json:"width" jsonschema:"required" jsonschema_description:"Size along y."`
}

// PolygonDoc is a regular polygon, by one of its two sizes.
type PolygonDoc struct {
	given.Place `json:"-"`
	Sides       given.Number `json:"sides" jsonschema:"required" jsonschema_description:"Number of sides, 3 to 64."`
	Across      given.Number `json:"across" jsonschema_description:"Twice the distance from the middle to a side: the size across flats when the number of sides is even."`
	Radius      given.Number `json:"radius" jsonschema_description:"Distance from the middle to a corner."`
}

// TaperDoc is a tapered board, straight or bowed on one edge.
type TaperDoc struct {
	given.Place `json:"-"`
	Length      given.Number `json:"length" jsonschema:"required" jsonschema_description:"Size along x."`
	From        given.Number `json:"from" jsonschema:"required" jsonschema_description:"Width at x = 0."`
	To          given.Number `json:"to" jsonschema:"required" jsonschema_description:"Width at x = length."`
	Keep        given.Text   `json:"keep" jsonschema:"enum=middle,enum=lower,enum=upper" jsonschema_description:"What lies straight along the x axis: the middle line, the lower edge (the board stands above the axis) or the upper edge; middle when left out."`
	Bow         given.Number `json:"bow" jsonschema_description:"Height of a circular arc over its chord on one edge; positive bulges out, negative is hollow, straight when left out."`
	BowEdge     given.Text   `json:"bow_edge" jsonschema:"enum=upper,enum=lower" jsonschema_description:"The edge that is bowed; upper when left out."`
}

// BoardDoc is a board.
type BoardDoc struct {
	given.Place `json:"-"`
	ShapeDoc
	Thickness given.Number `json:"thickness" jsonschema:"required" jsonschema_description:"Thickness: the board fills its own z from 0 (its back) to this (its face)."`
	Cutouts   []CutoutDoc  `json:"cutouts" jsonschema_description:"Holes right through the board."`
}

// CutoutDoc is a hole through a board.
type CutoutDoc struct {
	given.Place `json:"-"`
	ShapeDoc
	At   []given.Number `json:"at" jsonschema:"minItems=2,maxItems=2" jsonschema_description:"Where the hole's own origin lies on the board; [0, 0] when left out."`
	Turn given.Number   `json:"turn" jsonschema_description:"Angle by which the hole is turned, counter-clockwise; 0 when left out."`
}

// TurningDoc is a turned member, by exactly one of its keys.
type TurningDoc struct {
	given.Place `json:"-"`
	Profile     []Knot       `json:"profile" jsonschema:"minItems=2,maxItems=200" jsonschema_description:"Points [radius, z] from the low end to the high end with lines between them; curves by {arc: [radius, z], sag: 3 mm} and {cubic: [[r, z], [r, z], [r, z]]}."`
	Cone        *ConeDoc     `json:"cone" jsonschema_description:"A straight cone."`
	Cylinder    *CylinderDoc `json:"cylinder" jsonschema_description:"A plain round bar."`
}

// ConeDoc is a cone frustum from z = 0 to its length.
type ConeDoc struct {
	given.Place `json:"-"`
	Low         given.Number `json:"low" jsonschema:"required" jsonschema_description:"Diameter at z = 0."`
	High        given.Number `json:"high" jsonschema:"required" jsonschema_description:"Diameter at z = length."`
	Length      given.Number `json:"length" jsonschema:"required" jsonschema_description:"Size along z."`
}

// CylinderDoc is a bar from z = 0 to its length.
type CylinderDoc struct {
	given.Place `json:"-"`
	Diameter    given.Number `json:"diameter" jsonschema:"required" jsonschema_description:"Diameter."`
	Length      given.Number `json:"length" jsonschema:"required" jsonschema_description:"Size along z."`
}

// AxesDoc turns a member. z is exact when given, then x, then y; the second
// axis given is made square to the first within their common plane.
type AxesDoc struct {
	given.Place `json:"-"`
	X           *Axis `json:"x" jsonschema_description:"Where the member's x points."`
	Y           *Axis `json:"y" jsonschema_description:"Where the member's y points."`
	Z           *Axis `json:"z" jsonschema_description:"Where the member's z points; enough for a turning."`
}

// RepeatDoc makes copies: radial about an upright axis, along a line, or in
// places of their own.
type RepeatDoc struct {
	given.Place `json:"-"`
	Radial      given.Number   `json:"radial" jsonschema_description:"Number of members round the upright axis, evenly spaced."`
	Start       given.Number   `json:"start" jsonschema_description:"Angle by which the first is turned about the axis; 0 when left out."`
	About       []given.Number `json:"about" jsonschema:"minItems=2,maxItems=2" jsonschema_description:"Where the upright axis stands, [x, y]; [0, 0] when left out."`
	Along       []given.Number `json:"along" jsonschema:"minItems=3,maxItems=3" jsonschema_description:"Step from one copy to the next."`
	Count       given.Number   `json:"count" jsonschema_description:"Number of members along the line, the first included."`
	Places      []PlaceDoc     `json:"places" jsonschema:"minItems=1,maxItems=500" jsonschema_description:"Where each of the members stands, the first included; the member's own at and axes are then left out."`
}

// PlaceDoc is where one of several members stands.
type PlaceDoc struct {
	given.Place `json:"-"`
	At          []given.Number `json:"at" jsonschema:"minItems=3,maxItems=3" jsonschema_description:"Its origin in the world; [0, 0, 0] when left out."`
	Axes        *AxesDoc       `json:"axes" jsonschema_description:"How it is turned; left out, its axes are the world's."`
}

// EndCutDoc is a plane that cuts a member off: a place and a normal, or the
// plane of another member's surface.
type EndCutDoc struct {
	given.Place `json:"-"`
	At          []given.Number `json:"at" jsonschema:"minItems=3,maxItems=3" jsonschema_description:"A point of the plane in the world; [0, 0, 0] when left out."`
	Normal      *Axis          `json:"normal" jsonschema_description:"Direction in the world from the plane to what is removed."`
	Member      given.Text     `json:"member" jsonschema_description:"Another member, whose flat surface gives the plane; of several copies the first is meant unless a copy is named."`
	Surface     given.Text     `json:"surface" jsonschema_description:"The surface of that member. What lies on the far side of it, where that member is, is removed."`
}

// JointDoc joins two kinds of member wherever they touch.
type JointDoc struct {
	given.Place `json:"-"`
	Between     []given.Text `json:"between" jsonschema:"required,minItems=2,maxItems=2" jsonschema_description:"The two members, by name (every copy) or as a single copy, such as leg-2."`
	Kind        given.Text   `json:"kind" jsonschema:"required,enum=knock-down,enum=glued,enum=rests" jsonschema_description:"knock-down comes apart by screws, glued is for good, rests only touches."`
	Screw       given.Text   `json:"screw" jsonschema_description:"Screw thread, such as M6; chosen by the contact when left out."`
	Through     given.Text   `json:"through" jsonschema_description:"Which of the two the screw passes through."`
	Screws      given.Number `json:"screws" jsonschema_description:"Number of screws; chosen by the contact when left out."`
	Dowels      given.Number `json:"dowels" jsonschema_description:"Number of dowels, 0 for none; chosen by the contact when left out."`
	Dowel       given.Number `json:"dowel" jsonschema_description:"Diameter of the dowels; chosen by the contact when left out."`
	Contact     given.Text   `json:"contact" jsonschema:"enum=pad,enum=window,enum=through" jsonschema_description:"What the veneer does at the contact: pad raises the core to meet the neighbour, window leaves the leaf out, through veneers right through."`
}

// SurfaceDoc overrides what is done with surfaces.
type SurfaceDoc struct {
	given.Place `json:"-"`
	On          given.Text   `json:"on" jsonschema:"required" jsonschema_description:"Member, by name (every copy) or as a single copy, or \"*\" for all."`
	Surface     given.Text   `json:"surface" jsonschema_description:"Surface: face, back, edge-1, cutout-1-edge-1, side-1, low-end, high-end, cut-1, or faces, edges, ends; all when left out."`
	Show        given.Text   `json:"show" jsonschema:"enum=show,enum=hidden,enum=bare" jsonschema_description:"show is veneered to be seen, hidden may stay without, bare never gets veneer."`
	Grain       given.Number `json:"grain" jsonschema_description:"Angle of the grain from the surface's u axis."`
	Allowance   given.Number `json:"allowance" jsonschema_description:"Trim allowance on its free edges."`
	Veneer      given.Text   `json:"veneer" jsonschema_description:"Veneer of the shop."`
	Match       given.Text   `json:"match" jsonschema_description:"Name of a set of leaves that are cut in sequence."`
	Lap         given.Text   `json:"lap" jsonschema:"enum=always,enum=never" jsonschema_description:"Whether the band laps over its own end; only when needed when left out."`
	LapAt       given.Number `json:"lap_at" jsonschema_description:"Where the first lap is centred: distance along the surface from its start."`
	Relief      *given.Flag  `json:"relief" jsonschema_description:"Recess the core under the laps of this surface."`
}

// LoadDoc is a load: a person, a thing, or a force.
type LoadDoc struct {
	given.Place `json:"-"`
	Name        given.Text     `json:"name" jsonschema:"required" jsonschema_description:"What happens, in a few words: a person sits here."`
	On          given.Text     `json:"on" jsonschema:"required" jsonschema_description:"Member that is loaded, by name (every copy, each with the whole load) or as a single copy."`
	Surface     given.Text     `json:"surface" jsonschema_description:"Surface that is pressed or pulled; the one that faces most against the force when left out."`
	At          []given.Number `json:"at" jsonschema:"minItems=2,maxItems=2" jsonschema_description:"Middle of the load on the surface, from the middle of the surface: along a face's length and width, along and across an edge. The middle when left out; give surface too."`
	Across      given.Number   `json:"across" jsonschema_description:"Diameter of the disc that presses. Left out, a person presses on 250 mm, a load with a place on 50 mm, and anything else on the whole surface."`
	Person      given.Number   `json:"person" jsonschema_description:"Mass of a person who sits or stands here, as in 110 kg; give one of person, mass and force."`
	Mass        given.Number   `json:"mass" jsonschema_description:"Mass of a thing that lies here, as in 20 kg."`
	Force       given.Number   `json:"force" jsonschema_description:"A force, as in 100 N or 25 lbf."`
	Towards     *Axis          `json:"towards" jsonschema_description:"Direction of the force in the world; down when left out."`
	Sustained   given.Flag     `json:"sustained" jsonschema_description:"It stays for months, so that plastic creeps; false when left out."`
}

// HeldDoc is a surface by which the piece is held.
type HeldDoc struct {
	given.Place `json:"-"`
	On          given.Text `json:"on" jsonschema:"required" jsonschema_description:"Member that is held, by name (every copy) or as a single copy."`
	Surface     given.Text `json:"surface" jsonschema:"required" jsonschema_description:"Its surface that lies against what holds it."`
}

// SeamDoc pins or forbids seams of a member, by exactly one of at, clear and whole.
type SeamDoc struct {
	given.Place `json:"-"`
	On          given.Text     `json:"on" jsonschema:"required" jsonschema_description:"Member, by name (every copy) or as a single copy."`
	Across      given.Text     `json:"across" jsonschema:"enum=x,enum=y,enum=z" jsonschema_description:"The member's own axis that the seam is square to; belongs to at and clear."`
	At          given.Number   `json:"at" jsonschema_description:"A seam lies here, in the member's own coordinates."`
	Clear       []given.Number `json:"clear" jsonschema:"minItems=2,maxItems=2" jsonschema_description:"No seam square to the axis lies between these two places, in the member's own coordinates."`
	Whole       given.Flag     `json:"whole" jsonschema_description:"true: the member is not cut at all."`
}

// Axis is a direction: "+x" to "-z", or a vector.
type Axis struct {
	given.Place
	Name   string
	Vector []given.Number
}

var axisNames = []string{"+x", "-x", "+y", "-y", "+z", "-z"}

// Decode reads an axis.
func (a *Axis) Decode(n *given.Node, f *given.Faults) {
	a.Place = n.Place
	switch n.Kind {
	case given.Scalar:
		if a.Name = n.Text; len(a.Name) == 1 {
			a.Name = "+" + a.Name
		}
		if !slices.Contains(axisNames, a.Name) {
			f.Add(n.Place, "write +x, -x, +y, -y, +z, -z or a vector [a, b, c]", "%q is no direction", n.Text)
			a.Name = "+x"
		}
	default:
		given.Decode(n, &a.Vector, f)
		if n.Kind == given.List && len(a.Vector) != 3 {
			f.Add(n.Place, "write [a, b, c]", "a vector has 3 numbers, not %d", len(a.Vector))
			a.Vector, a.Name = nil, "+x"
		}
	}
}

// Schema of an axis.
func (Axis) Schema() *jsonschema.Schema {
	names := []any{"x", "y", "z"}
	for _, n := range axisNames {
		names = append(names, n)
	}
	return &jsonschema.Schema{AnyOf: []*jsonschema.Schema{{Type: "string", Enum: names}, numbers(3)}}
}

// numbers is the schema of a list of n numbers.
func numbers(n uint64) *jsonschema.Schema {
	return &jsonschema.Schema{Type: "array", Items: given.Number{}.Schema(), MinItems: &n, MaxItems: &n}
}

// Words is one word or a list of them.
type Words struct {
	given.Place
	List []given.Text
}

// Decode reads one word or several.
func (w *Words) Decode(n *given.Node, f *given.Faults) {
	w.Place = n.Place
	if n.Kind == given.Scalar {
		w.List = []given.Text{{Place: n.Place, Value: n.Text}}
		return
	}
	given.Decode(n, &w.List, f)
}

// Schema of one word or a list of them.
func (Words) Schema() *jsonschema.Schema {
	return &jsonschema.Schema{AnyOf: []*jsonschema.Schema{{Type: "string"}, {Type: "array", Items: &jsonschema.Schema{Type: "string"}}}}
}

// Knot is one entry of a turning's profile: a point to which a line runs, an
// arc to a point, or a cubic.
type Knot struct {
	given.Place
	Point []given.Number
	knotKeys
}

type knotKeys struct {
	given.Place `json:"-"`
	Arc         []given.Number   `json:"arc" jsonschema:"minItems=2,maxItems=2" jsonschema_description:"End [radius, z] of a circular arc."`
	Sag         given.Number     `json:"sag" jsonschema_description:"Height of the arc over its chord; positive bulges away from the axis, negative is hollow."`
	Cubic       [][]given.Number `json:"cubic" jsonschema:"minItems=3,maxItems=3" jsonschema_description:"Two handles and the end of a cubic curve, each [radius, z]."`
}

// Decode reads a knot.
func (k *Knot) Decode(n *given.Node, f *given.Faults) {
	if n.Kind == given.Mapping {
		given.Decode(n, &k.knotKeys, f)
		k.Place = n.Place
		arc, cubic := k.Arc != nil, k.Cubic != nil
		switch {
		case arc == cubic:
			f.Add(n.Place, "write {arc: [radius, z], sag: 3 mm} or {cubic: [[r, z], [r, z], [r, z]]}", "a curve of a profile has either arc or cubic")
		case arc != k.Sag.Written():
			f.Add(n.Place, "write {arc: [radius, z], sag: 3 mm}", "arc and sag go together")
		}
		for _, p := range k.Cubic {
			if len(p) != 2 {
				f.Add(n.Place, "write each as [radius, z]", "a point of a cubic has 2 numbers, not %d", len(p))
				k.Cubic = nil
				break
			}
		}
		return
	}
	k.Place = n.Place
	given.Decode(n, &k.Point, f)
	if n.Kind == given.List && len(k.Point) != 2 {
		f.Add(n.Place, "write [radius, z]", "a point of a profile has 2 numbers, not %d", len(k.Point))
		k.Point = nil
	}
}

// Schema of a knot.
func (Knot) Schema() *jsonschema.Schema {
	arc, cubic := jsonschema.NewProperties(), jsonschema.NewProperties()
	arc.Set("arc", numbers(2))
	arc.Set("sag", given.Number{}.Schema())
	three := uint64(3)
	cubic.Set("cubic", &jsonschema.Schema{Type: "array", Items: numbers(2), MinItems: &three, MaxItems: &three})
	return &jsonschema.Schema{AnyOf: []*jsonschema.Schema{
		numbers(2),
		{Type: "object", Properties: arc, Required: []string{"arc", "sag"}, AdditionalProperties: jsonschema.FalseSchema},
		{Type: "object", Properties: cubic, Required: []string{"cubic"}, AdditionalProperties: jsonschema.FalseSchema},
	}}
}

// ParseFile reads the named piece file.
func ParseFile(name string) (*Document, error) {
	data, err := given.ReadFile(name)
	if err != nil {
		return nil, fmt.Errorf("reading the piece: %w", err)
	}
	d, err := Parse(name, data)
	if err != nil {
		return nil, err
	}
	d.Open = openBelow(filepath.Dir(name))
	return d, nil
}

// Parse reads a piece file. file names it in errors. The error, if any, is
// Errors: everything that is wrong with the file's form. Numbers are read, and
// members checked, by Resolve.
func Parse(file string, data []byte) (*Document, error) {
	faults := &given.Faults{File: file}
	root := given.Read(data, faults)
	if root == nil || root.Kind != given.Mapping {
		if root != nil && !faults.Any() {
			faults.Add(root.Place, "start with the line groundwork: 1", "a piece file is a mapping of keys, not %s", root.Kind)
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
	d := &Document{File: file, shelf: &shelf{}}
	given.Decode(root, d, faults)
	d.checkForm(faults)
	if err := faults.Err(); err != nil {
		return nil, err
	}
	return d, nil
}

// Schema is the JSON Schema (draft 2020-12) of piece files.
func Schema() ([]byte, error) {
	return given.Schema(&Document{}, "Groundwork piece file",
		"One piece of furniture: parameters, members, joints and surfaces. A number is bare (mm, or a count), carries a unit (19 mm, 1 1/2 in, 8 deg), or is an expression after an equals sign (= height - top.thickness).")
}

var (
	fileName      = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)
	memberName    = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)
	parameterName = regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`)
	thread        = regexp.MustCompile(`^M[1-9][0-9]?$`)
)

// maxName is the longest name, so that file names stay usable.
const maxName = 60

// ValidName reports whether name can be the name of a piece, and so of files:
// lower-case letters and digits, with single hyphens between them, 60 at most.
func ValidName(name string) bool { return len(name) <= maxName && fileName.MatchString(name) }

// checkForm checks what can be checked before any number has a value.
func (d *Document) checkForm(f *given.Faults) {
	if n := d.Name; n.Written() && !ValidName(n.Value) {
		f.Add(n.Place, "use lower-case letters, digits and single hyphens, as in heron-side-table", "the name %q cannot be used for files", n.Value)
	}
	taken := map[string]given.Text{} // as expressions spell it
	for _, k := range d.Parameters.Keys {
		if !parameterName.MatchString(k.Value) || len(k.Value) > maxName {
			f.Add(k.Place, "use lower-case letters, digits and single underscores, as in top_length", "the parameter name %q cannot be used", k.Value)
		}
		if reserved(k.Value) {
			f.Add(k.Place, "choose another name", "the parameter name %q has a meaning of its own in expressions", k.Value)
		}
		taken[k.Value] = k
	}
	if d.Members.Written() && len(d.Members.Keys) == 0 {
		f.Add(d.Members.Place, "describe at least one member", "the piece has no members")
	}
	for i, k := range d.Members.Keys {
		if !memberName.MatchString(k.Value) || len(k.Value) > maxName {
			f.Add(k.Place, "use lower-case letters, digits and single hyphens, as in end-rail", "the member name %q cannot be used", k.Value)
		}
		spelled := underscored(k.Value)
		if reserved(spelled) {
			f.Add(k.Place, "choose another name", "the member name %q has a meaning of its own in expressions", k.Value)
		}
		if other, ok := taken[spelled]; ok {
			f.Add(k.Place, "choose another name", "the name %q is taken by the one in line %d: expressions could not tell them apart", k.Value, other.Line)
		}
		taken[spelled] = k
		m := d.Members.Values[i]
		switch {
		case !m.Written(): // a fault has been noted
		case m.Board == nil && m.Turning == nil && m.Solid == nil:
			f.Add(k.Place, "add board:, turning: or solid:", "the member %s has no shape", k.Value)
		case m.Board != nil && m.Turning != nil:
			f.Add(m.Turning.Place, "keep one of them", "the member %s is both a board and a turning", k.Value)
		case m.Solid != nil && m.Board != nil:
			f.Add(m.Solid.Place, "keep one of them", "the member %s is both a board and a solid", k.Value)
		case m.Solid != nil && m.Turning != nil:
			f.Add(m.Solid.Place, "keep one of them", "the member %s is both a turning and a solid", k.Value)
		}
		if m.Solid != nil && m.Solid.Written() {
			m.Solid.check(f)
		}
		if m.Mirror != nil && m.Repeat != nil {
			f.Add(m.Repeat.Place, "keep one of them", "the member %s has both mirror and repeat", k.Value)
		}
		if b := m.Board; b != nil && b.Written() {
			b.ShapeDoc.check(b.Place, "a board", f)
			for _, c := range b.Cutouts {
				if c.Written() {
					c.ShapeDoc.check(c.Place, "a cut-out", f)
				}
			}
		}
		if t := m.Turning; t != nil && t.Written() {
			if n := count(t.Profile != nil, t.Cone != nil, t.Cylinder != nil); n != 1 {
				f.Add(t.Place, "give exactly one of profile, cone, cylinder", "this turning has %d shapes", n)
			}
		}
		if w := m.Mirror; w != nil {
			if len(w.List) == 0 || len(w.List) > 2 || len(w.List) == 2 && w.List[0].Value == w.List[1].Value {
				f.Add(w.Place, "write x, y or [x, y]", "mirror names each plane once")
			}
			for _, x := range w.List {
				if x.Value != "x" && x.Value != "y" {
					f.Add(x.Place, "write x, y or [x, y]", "%q is no mirror plane", x.Value)
				}
			}
		}
		if r := m.Repeat; r != nil && r.Written() {
			switch radial, along := r.Radial.Written(), r.Along != nil; {
			case count(radial, along, r.Places != nil) != 1:
				f.Add(r.Place, "write {radial: 4}, {along: [0, 0, 200 mm], count: 3} or {places: [{at: [0, 0, 0]}, {at: [200, 0, 0]}]}", "repeat has one of radial, along and places")
			case r.Places != nil && (r.Count.Written() || r.Start.Written() || r.About != nil):
				f.Add(r.Place, "take count, start and about out", "the places are all there is to say")
			case r.Places != nil && m.At != nil:
				f.Add(m.At[0].Place, "take at and axes out of the member: places lists every copy, the first too", "the member %s has both places and a place", k.Value)
			case r.Places != nil && m.Axes != nil:
				f.Add(m.Axes.Place, "take at and axes out of the member: places lists every copy, the first too", "the member %s has both places and axes", k.Value)
			case along && !r.Count.Written():
				f.Add(r.Place, "add count: and a number", "repeat along a line has no count")
			case radial && r.Count.Written():
				f.Add(r.Count.Place, "take count out; radial is the number", "repeat round an axis takes no count")
			case along && (r.Start.Written() || r.About != nil):
				f.Add(r.Place, "take start and about out", "start and about belong to radial")
			}
		}
		for _, c := range m.EndCuts {
			switch {
			case !c.Written():
			case (c.Normal != nil) == c.Member.Written():
				f.Add(c.Place, "write {at: [0, 0, 0], normal: -z} or {member: seat, surface: back}", "an end cut has either a normal or a member")
			case c.Member.Written() != c.Surface.Written():
				f.Add(c.Place, "write {member: seat, surface: back}", "member and surface go together")
			case c.Member.Written() && c.At != nil:
				f.Add(c.Place, "take at out", "the other member's surface gives the place already")
			}
		}
	}
	for _, j := range d.Joints {
		if j.Screw.Written() && !thread.MatchString(j.Screw.Value) {
			f.Add(j.Screw.Place, "write a metric thread, as in M6", "%q is no thread", j.Screw.Value)
		}
		if j.Kind.Value != string(KnockDown) {
			for _, p := range []given.Place{j.Screw.Place, j.Screws.Place, j.Through.Place} {
				if p.Written() {
					f.Add(p, "take it out, or make the joint knock-down", "only a knock-down joint has screws")
				}
			}
		}
	}
	d.checkRules(f)
}

// checkRules checks the form of loads, holds and seams.
func (d *Document) checkRules(f *given.Faults) {
	for _, l := range d.Loads {
		if !l.Written() {
			continue
		}
		if n := count(l.Person.Written(), l.Mass.Written(), l.Force.Written()); n != 1 {
			f.Add(l.Place, "give exactly one of person: 80 kg, mass: 20 kg and force: 100 N", "this load has %d sizes", n)
		}
		if l.Towards != nil && !l.Force.Written() {
			f.Add(l.Towards.Place, "take towards out, or give a force", "a weight presses down, whatever its direction")
		}
		if l.At != nil && !l.Surface.Written() {
			f.Add(l.At[0].Place, "name the surface too", "a load has a place, but no surface that it lies on")
		}
		if l.Person.Written() && l.Sustained.Value {
			f.Add(l.Sustained.Place, "take sustained out, or write mass for a thing", "a person does not stay for months")
		}
		if len(l.Name.Value) > maxName {
			f.Add(l.Name.Place, fmt.Sprintf("say it in %d characters", maxName), "the name of this load is too long")
		}
	}
	for _, s := range d.Seams {
		if !s.Written() {
			continue
		}
		switch at, clear, whole := s.At.Written(), s.Clear != nil, s.Whole.Written(); {
		case count(at, clear, whole) != 1:
			f.Add(s.Place, "write {on: rim, across: x, at: 120 mm}, {on: rim, across: x, clear: [40 mm, 90 mm]} or {on: leg, whole: true}", "a seam has one of at, clear and whole")
		case whole && !s.Whole.Value:
			f.Add(s.Whole.Place, "take it out", "whole: false says nothing: a member is cut only when it must be")
		case whole && s.Across.Written():
			f.Add(s.Across.Place, "take across out", "a member that is not cut has no seam across an axis")
		case !whole && !s.Across.Written():
			f.Add(s.Place, "add across: x, y or z, the member's axis that the seam is square to", "this seam has no direction")
		}
	}
}

// check sees that exactly one shape is given.
func (s ShapeDoc) check(p given.Place, what string, f *given.Faults) {
	n := count(s.Rectangle != nil, s.Rounded != nil, s.Circle != nil, s.Ellipse != nil, s.Polygon != nil, s.Taper != nil, s.Path != nil)
	if n != 1 {
		f.Add(p, "give exactly one of rectangle, rounded, circle, ellipse, polygon, taper, path", "%s has one shape, not %d", what, n)
	}
	if g := s.Polygon; g != nil && g.Written() && g.Across.Written() == g.Radius.Written() {
		f.Add(g.Place, "give exactly one of across and radius", "a polygon has one size")
	}
}

func count(bs ...bool) (n int) {
	for _, b := range bs {
		if b {
			n++
		}
	}
	return n
}
