package job

import "groundwork/internal/finding"

// Version is the version of plan.json's layout. It changes when a key changes
// its meaning or goes; new keys do not change it.
const Version = 1

// Document is plan.json: everything that was worked out, for other programs.
// Millimetres, grams, seconds, newtons, megapascals; angles in degrees. World
// axes are X to the right, Y to the back, Z up, with the floor at Z = 0.
type Document struct {
	SchemaVersion int               `json:"schema_version" jsonschema:"description=Version of this layout"`
	Units         Units             `json:"units" jsonschema:"description=Units of every number in this file"`
	Piece         PieceDoc          `json:"piece" jsonschema:"description=What is made"`
	Shop          ShopDoc           `json:"shop" jsonschema:"description=Where it is made"`
	Members       []MemberDoc       `json:"members" jsonschema:"description=Full-size parts in their places"`
	Contacts      []ContactDoc      `json:"contacts" jsonschema:"description=Where members touch"`
	RoundContacts []RoundContactDoc `json:"round_contacts" jsonschema:"description=Where round members lie in round hollows"`
	Joints        []JointDoc        `json:"joints" jsonschema:"description=How members are held together"`
	Bores         []BoreDoc         `json:"bores" jsonschema:"description=Every round hole of joints and seams"`
	Plugs         []PlugDoc         `json:"plugs" jsonschema:"description=Covers for access holes in show surfaces"`
	Bodies        []BodyDoc         `json:"bodies" jsonschema:"description=Cores as printed: a member or several printed as one"`
	Seams         []SeamDoc         `json:"seams" jsonschema:"description=Glued cuts between segments"`
	Cuts          []CutDoc          `json:"cuts" jsonschema:"description=Everything taken from cores or put on them"`
	Segments      []SegmentDoc      `json:"segments" jsonschema:"description=Parts that are printed"`
	Plates        []PlateDoc        `json:"plates" jsonschema:"description=Print loads: what prints together"`
	Laps          []LapDoc          `json:"laps" jsonschema:"description=Swallowtail laps of bands"`
	Patterns      []PatternDoc      `json:"patterns" jsonschema:"description=Flat pieces of veneer as cut and where they lie"`
	Panels        []PanelDoc        `json:"panels" jsonschema:"description=Blanks of veneer that go on the laser bed"`
	Sheets        []SheetDoc        `json:"sheets" jsonschema:"description=Sheets of veneer and what is left of them"`
	Findings      []FindingDoc      `json:"findings" jsonschema:"description=What the maker must know, gravest first"`
	Cautions      []CautionDoc      `json:"cautions" jsonschema:"description=Warnings that belong to operations"`
	Stability     []TipDoc          `json:"stability" jsonschema:"description=Load that tips the piece about each side of its feet"`
	Strength      *StrengthDoc      `json:"strength,omitempty" jsonschema:"description=How the piece bears its loads; left out unless asked for"`
	Fixtures      []FixtureDoc      `json:"fixtures" jsonschema:"description=What is made beside the piece; to make it with"`
	FixtureLoads  []PlateDoc        `json:"fixture_loads" jsonschema:"description=Print loads of fixtures; segments are parts of fixtures"`
	Clamping      []ClampDoc        `json:"clamping" jsonschema:"description=How each glue-up lies on the bench; in order"`
	Calendar      *CalendarDoc      `json:"calendar" jsonschema:"nullable,description=What is done when; null while that is not known"`
	Kit           *KitDoc           `json:"kit" jsonschema:"nullable,description=How it is packed and sent; null while that is not known"`
	Bill          []BillDoc         `json:"bill" jsonschema:"description=Everything the piece takes"`
	Totals        Totals            `json:"totals" jsonschema:"description=Sums"`
}

// Units names the units of the file.
type Units struct {
	Length string `json:"length"`
	Mass   string `json:"mass"`
	Time   string `json:"time"`
	Force  string `json:"force"`
	Stress string `json:"stress"`
	Angle  string `json:"angle"`
	Money  string `json:"money" jsonschema:"description=ISO 4217 currency code"`
}

// Vec is a point or direction: x, y and, in space, z.
type Vec []float64

// FrameDoc is a right-handed frame: an origin and three unit axes.
type FrameDoc struct {
	Origin Vec `json:"origin"`
	X      Vec `json:"x"`
	Y      Vec `json:"y"`
	Z      Vec `json:"z"`
}

// BoxDoc is an axis-parallel box.
type BoxDoc struct {
	Min Vec `json:"min"`
	Max Vec `json:"max"`
}

type PieceDoc struct {
	Name       string         `json:"name"`
	Title      string         `json:"title"`
	Use        string         `json:"use"`
	Sizes      string         `json:"sizes" jsonschema:"enum=finished,enum=core"`
	Parameters []ParameterDoc `json:"parameters"`
}

type ParameterDoc struct {
	Name  string  `json:"name"`
	Label string  `json:"label"`
	Kind  string  `json:"kind" jsonschema:"description=length (mm) or angle (degrees) or count"`
	Value float64 `json:"value"`
	Min   float64 `json:"min"`
	Max   float64 `json:"max"`
	Step  float64 `json:"step"`
}

type ShopDoc struct {
	Name string `json:"name"`
}

type MemberDoc struct {
	ID        string       `json:"id"`
	Name      string       `json:"name" jsonschema:"description=What a joiner calls it; members made by one repeat share it"`
	Instance  int          `json:"instance" jsonschema:"description=Number among the members of this name from 1"`
	Quantity  int          `json:"quantity" jsonschema:"description=How many members have this name"`
	Made      string       `json:"made" jsonschema:"enum=board,enum=turning,enum=solid"`
	Source    *SourceDoc   `json:"source,omitempty" jsonschema:"description=The file it was drawn in, if not in the piece file"`
	Frame     FrameDoc     `json:"frame" jsonschema:"description=Member coordinates in the world, as written in the piece file"`
	CoreFrame FrameDoc     `json:"core_frame" jsonschema:"description=The same for the core under the veneer"`
	Filament  string       `json:"filament"`
	Finished  float64      `json:"finished_thickness_mm,omitempty" jsonschema:"description=Thickness over the veneer; boards only"`
	Core      float64      `json:"core_thickness_mm,omitempty" jsonschema:"description=Thickness of the printed core; boards only"`
	VolumeMM3 float64      `json:"volume_mm3" jsonschema:"description=Core less its cuts; sum of its segments. 0 for members printed as one with an earlier one"`
	SolidMM3  float64      `json:"solid_mm3" jsonschema:"description=Core before cuts"`
	Surfaces  []SurfaceDoc `json:"surfaces"`
	PrintedAs string       `json:"printed_as" jsonschema:"description=ID of the printed body"`
}

type SourceDoc struct {
	File   string `json:"file"`
	Part   string `json:"part"`
	SHA256 string `json:"sha256"`
	Note   string `json:"note,omitempty" jsonschema:"description=Why it is neither a board nor a turning"`
}

type SurfaceDoc struct {
	Name    string  `json:"name"`
	Kind    string  `json:"kind" jsonschema:"enum=plane,enum=cylinder,enum=cone,enum=extruded,enum=developable,enum=free"`
	Role    string  `json:"role" jsonschema:"enum=face,enum=edge,enum=side,enum=end"`
	State   string  `json:"state" jsonschema:"enum=show,enum=hidden,enum=bare"`
	Why     string  `json:"why"`
	Veneer  string  `json:"veneer"`
	StackMM float64 `json:"stack_mm"`
	InsetMM float64 `json:"inset_mm" jsonschema:"description=How far the core lies inside the size in the piece file"`
	Grain   float64 `json:"grain_deg" jsonschema:"description=From the surface's u axis"`
	AreaMM2 float64 `json:"area_mm2" jsonschema:"description=Of the core's surface"`
}

type ContactDoc struct {
	ID      string   `json:"id"`
	A       SideDoc  `json:"a" jsonschema:"description=The member that goes on beyond the contact"`
	B       SideDoc  `json:"b" jsonschema:"description=The member that arrives"`
	Frame   FrameDoc `json:"frame"`
	AreaMM2 float64  `json:"area_mm2"`
}

type RoundContactDoc struct {
	ID       string   `json:"id"`
	A        SideDoc  `json:"a" jsonschema:"description=The member with the hollow"`
	B        SideDoc  `json:"b" jsonschema:"description=The member that lies in it"`
	Axis     FrameDoc `json:"axis" jsonschema:"description=Z along the common axis, origin in the middle of the contact"`
	RadiusMM float64  `json:"radius_mm"`
	GapMM    float64  `json:"gap_mm" jsonschema:"description=Radius of the hollow less that of the member in it"`
	Closed   bool     `json:"closed" jsonschema:"description=Goes all the way round"`
	AreaMM2  float64  `json:"area_mm2"`
}

type SideDoc struct {
	Member  string  `json:"member"`
	Surface string  `json:"surface"`
	Covered float64 `json:"covered" jsonschema:"description=Fraction of the surface that the contact covers"`
}

type JointDoc struct {
	ID      string     `json:"id"`
	Contact string     `json:"contact"`
	Kind    string     `json:"kind" jsonschema:"enum=knock-down,enum=glued,enum=rests"`
	Screws  []ScrewDoc `json:"screws"`
	Dowels  []DowelDoc `json:"dowels"`
	GlueMM2 float64    `json:"glue_mm2"`
}

type ScrewDoc struct {
	Size       string  `json:"size"`
	LengthMM   float64 `json:"length_mm"`
	Insert     string  `json:"insert"`
	Through    string  `json:"through"`
	Into       string  `json:"into"`
	Head       Vec     `json:"head"`
	Axis       Vec     `json:"axis"`
	GripMM     float64 `json:"grip_mm"`
	Engagement float64 `json:"engagement_mm"`
	SunkMM     float64 `json:"sunk_mm" jsonschema:"description=How deep below the contact the insert lies, for its wall; 0 at flat contacts"`
	Washer     bool    `json:"washer"`
	Plug       string  `json:"plug"`
}

type DowelDoc struct {
	DiameterMM float64 `json:"diameter_mm"`
	LengthMM   float64 `json:"length_mm"`
	Center     Vec     `json:"center"`
	Axis       Vec     `json:"axis"`
	Glued      bool    `json:"glued"`
	Printed    bool    `json:"printed"`
}

type BoreDoc struct {
	ID         string  `json:"id"`
	Of         string  `json:"of" jsonschema:"description=Joint or seam that needs it"`
	Member     string  `json:"member"`
	Purpose    string  `json:"purpose"`
	Mouth      Vec     `json:"mouth"`
	Axis       Vec     `json:"axis" jsonschema:"description=Into the material"`
	DiameterMM float64 `json:"diameter_mm"`
	PrintedMM  float64 `json:"printed_diameter_mm" jsonschema:"description=With the allowance for holes that print small"`
	DepthMM    float64 `json:"depth_mm"`
	Shows      bool    `json:"shows"`
}

type PlugDoc struct {
	ID         string  `json:"id"`
	Member     string  `json:"member"`
	Surface    string  `json:"surface"`
	Center     Vec     `json:"center" jsonschema:"description=On the surface"`
	Axis       Vec     `json:"axis" jsonschema:"description=Outward"`
	DiameterMM float64 `json:"diameter_mm" jsonschema:"description=Of the hole it covers"`
	DepthMM    float64 `json:"depth_mm"`
}

type SeamDoc struct {
	ID       string     `json:"id"`
	Body     string     `json:"body"`
	Segments [2]string  `json:"segments"`
	Normal   Vec        `json:"normal"`
	Offset   float64    `json:"offset_mm" jsonschema:"description=Distance of the plane from the world's origin along its normal"`
	AreaMM2  float64    `json:"area_mm2"`
	Dowels   []DowelDoc `json:"dowels"`
	Terms    []TermDoc  `json:"terms" jsonschema:"description=Why it lies here"`
}

type TermDoc struct {
	Name     string  `json:"name"`
	Value    float64 `json:"value" jsonschema:"description=How much it weighs in the choice"`
	Measured float64 `json:"measured" jsonschema:"description=What was measured; in unit"`
	Unit     string  `json:"unit"`
}

// BodyDoc is one core as printed, and how many segments it takes.
type BodyDoc struct {
	ID       string   `json:"id"`
	Members  []string `json:"members"`
	Segments int      `json:"segments"`
	Least    int      `json:"least_segments" jsonschema:"description=It provably needs as many"`
	Like     string   `json:"like" jsonschema:"description=Body whose seams it has; moved or mirrored; its own ID where there is none"`
}

type CutDoc struct {
	ID      string `json:"id"`
	Member  string `json:"member"`
	Purpose string `json:"purpose"`
	Adds    bool   `json:"adds" jsonschema:"description=Put on instead of taken away"`
}

type SegmentDoc struct {
	ID        string   `json:"id"`
	Member    string   `json:"member"`
	Body      string   `json:"body"`
	File      string   `json:"file"`
	Label     string   `json:"label" jsonschema:"description=Part number engraved on it; empty where there was no room"`
	BBoxMM    Vec      `json:"bbox_mm" jsonschema:"description=Extents as it lies in the printer"`
	VolumeMM3 float64  `json:"volume_mm3"`
	Scale     Vec      `json:"scale" jsonschema:"description=What the file's axes are multiplied by to make up for shrinkage; volume_mm3 is without it"`
	MassG     float64  `json:"mass_g"`
	Metres    float64  `json:"filament_m"`
	Seconds   float64  `json:"seconds"`
	Layers    int      `json:"layers"`
	Overhang  float64  `json:"overhang_mm2"`
	Pose      FrameDoc `json:"pose" jsonschema:"description=World frame that becomes the printer's axes"`
	Plate     string   `json:"plate"`
	Printer   string   `json:"printer"`
	Filament  string   `json:"filament"`
	Bounds    BoxDoc   `json:"bounds" jsonschema:"description=In the world"`
}

type PlateDoc struct {
	ID        string      `json:"id"`
	File      string      `json:"file"`
	Printer   string      `json:"printer"`
	Filament  string      `json:"filament"`
	Segments  []PlacedDoc `json:"segments"`
	MassG     float64     `json:"mass_g" jsonschema:"description=Filament used with waste"`
	Seconds   float64     `json:"seconds"`
	Low       float64     `json:"seconds_low"`
	High      float64     `json:"seconds_high"`
	ReckonedS float64     `json:"reckoned_s" jsonschema:"description=As worked out; before the printer's log corrects it"`
	ReckonedG float64     `json:"reckoned_g"`
	HeightMM  float64     `json:"height_mm"`
}

type PlacedDoc struct {
	Segment  string  `json:"segment"`
	X        float64 `json:"x"`
	Y        float64 `json:"y"`
	Rotation float64 `json:"rotation_deg" jsonschema:"description=Counter-clockwise about the pose's origin before the move by x and y"`
}

type LapDoc struct {
	ID       string  `json:"id"`
	Member   string  `json:"member"`
	Surface  string  `json:"surface"`
	AtMM     float64 `json:"at_mm" jsonschema:"description=Of its middle along the core's surface"`
	LengthMM float64 `json:"length_mm"`
	Fingers  int     `json:"fingers"`
	FingerMM float64 `json:"finger_mm"`
	PinMM    float64 `json:"pin_mm"`
	Pins     []Vec   `json:"pins" jsonschema:"description=On the core's surface: along it and across it"`
	Relief   bool    `json:"relief"`
	Feather  float64 `json:"feather_mm"`
}

type PatternDoc struct {
	ID         string   `json:"id"`
	Member     string   `json:"member"`
	Surface    string   `json:"surface"`
	Also       []string `json:"also" jsonschema:"description=Further surfaces that the same leaf covers as member/surface"`
	Kind       string   `json:"kind" jsonschema:"enum=leaf,enum=band"`
	Veneer     string   `json:"veneer"`
	Outline    []Vec    `json:"outline" jsonschema:"description=As cut; counter-clockwise; in the pattern's own coordinates seen from the show side"`
	Holes      [][]Vec  `json:"holes" jsonschema:"description=As cut; clockwise"`
	NetOutline []Vec    `json:"net_outline" jsonschema:"description=Exactly what shows"`
	NetHoles   [][]Vec  `json:"net_holes"`
	AreaMM2    float64  `json:"area_mm2" jsonschema:"description=Of the outline less its holes as cut"`
	NetMM2     float64  `json:"net_area_mm2"`
	LengthMM   float64  `json:"length_mm" jsonschema:"description=Net extent along the surface"`
	WidthMM    float64  `json:"width_mm" jsonschema:"description=Net extent across"`
	Grain      float64  `json:"grain" jsonschema:"description=Degrees from the pattern's X axis"`
	Allowance  float64  `json:"allowance_mm"`
	Facing     string   `json:"facing" jsonschema:"description=Side that lies up when it is cut,enum=face up,enum=face down"`
	Pins       []Vec    `json:"pins"`
	PinMM      float64  `json:"pin_mm"`
	Fingers    int      `json:"fingers"`
	Lap        string   `json:"lap"`
	Set        string   `json:"matched_set"`
	SetOrder   int      `json:"matched_order"`
	KnifeCut   bool     `json:"knife_cut"`
	CutInPlace bool     `json:"cut_in_place"`
	Release    string   `json:"release" jsonschema:"description=What must be measured on the real core before this is cut; empty if nothing"`
	Panel      string   `json:"panel"`
	X          float64  `json:"x" jsonschema:"description=Where the pattern's origin lies on the panel"`
	Y          float64  `json:"y"`
	Rotation   float64  `json:"rotation" jsonschema:"description=Degrees counter-clockwise about the pattern's origin; before the move by x and y"`
}

type PanelDoc struct {
	ID       string  `json:"id"`
	Veneer   string  `json:"veneer"`
	Sheet    string  `json:"sheet"`
	SheetX   float64 `json:"sheet_x" jsonschema:"description=Lower left corner on the sheet; across the grain"`
	SheetY   float64 `json:"sheet_y" jsonschema:"description=Along the grain"`
	WidthMM  float64 `json:"width_mm" jsonschema:"description=As it lies on the bed"`
	HeightMM float64 `json:"height_mm"`
	Grain    float64 `json:"grain" jsonschema:"description=Degrees from the panel's X axis as it lies on the bed"`
	UsedMM2  float64 `json:"used_mm2"`
	SVG      string  `json:"svg"`
	DXF      string  `json:"dxf"`
	ByKnife  bool    `json:"by_knife"`
	GapMM    float64 `json:"gap_mm" jsonschema:"description=Least distance between patterns; the kerf is part of it"`
	KerfMM   float64 `json:"kerf_mm"`
	BorderMM float64 `json:"border_mm" jsonschema:"description=Kept free all round"`
}

type SheetDoc struct {
	ID       string   `json:"id"`
	Veneer   string   `json:"veneer"`
	Species  string   `json:"species"`
	WidthMM  float64  `json:"width_mm" jsonschema:"description=Across the grain"`
	LengthMM float64  `json:"length_mm" jsonschema:"description=Along the grain"`
	Kept     string   `json:"kept" jsonschema:"description=ID of the shop's offcut that it is; empty for a sheet to be bought"`
	Reserved []BoxDoc `json:"reserved" jsonschema:"description=Knots and the like; on which nothing lies; in the sheet's coordinates"`
	Offcuts  []BoxDoc `json:"offcuts" jsonschema:"description=Worth keeping; in the sheet's coordinates"`
}

type FindingDoc struct {
	Severity string           `json:"severity" jsonschema:"enum=stop,enum=warning,enum=note"`
	Stage    string           `json:"stage"`
	Code     string           `json:"code"`
	Subject  string           `json:"subject"`
	Message  string           `json:"message"`
	Remedy   string           `json:"remedy"`
	Source   string           `json:"source"`
	File     string           `json:"file" jsonschema:"description=Name of the file that it is about; without its folder"`
	Line     int              `json:"line"`
	Changes  []finding.Change `json:"changes" jsonschema:"description=What the remedy changes in the files; empty where that is not worked out"`
}

type CautionDoc struct {
	Operation string `json:"operation"`
	Text      string `json:"text"`
	Source    string `json:"source"`
}

type TipDoc struct {
	Edge       [2]Vec   `json:"edge" jsonschema:"description=Side of the polygon that the feet span"`
	Load       Vec      `json:"load" jsonschema:"description=Where the load presses down"`
	OverhangMM float64  `json:"overhang_mm" jsonschema:"description=How far the load stands outside the side; not above 0 when it cannot tip the piece"`
	ForceN     *float64 `json:"force_n" jsonschema:"nullable,description=Load that lifts the feet opposite; null when no load does"`
}

type BillDoc struct {
	Section  string  `json:"section"`
	Item     string  `json:"item"`
	Quantity float64 `json:"quantity"`
	Unit     string  `json:"unit"`
	Price    float64 `json:"price"`
	Cost     float64 `json:"cost"`
	Note     string  `json:"note"`
}

type Totals struct {
	Members    int     `json:"members"`
	Segments   int     `json:"segments"`
	Seams      int     `json:"seams"`
	Plates     int     `json:"plates"`
	Patterns   int     `json:"patterns"`
	Panels     int     `json:"panels"`
	Sheets     int     `json:"sheets"`
	MassG      float64 `json:"mass_g" jsonschema:"description=Finished piece"`
	PrintedG   float64 `json:"printed_g"`
	FilamentG  float64 `json:"filament_g" jsonschema:"description=With waste"`
	PrintS     float64 `json:"print_s"`
	PrintLowS  float64 `json:"print_low_s"`
	PrintHighS float64 `json:"print_high_s"`
	LaserS     float64 `json:"laser_s"`
	LabourS    float64 `json:"labour_s"`
	VeneerMM2  float64 `json:"veneer_mm2" jsonschema:"description=Laid"`
	SheetMM2   float64 `json:"sheet_mm2" jsonschema:"description=Bought"`
	OffcutMM2  float64 `json:"offcut_mm2" jsonschema:"description=Worth keeping"`
	Cost       float64 `json:"cost" jsonschema:"description=Of the piece; without fixtures"`
	FixtureG   float64 `json:"fixture_g" jsonschema:"description=Filament of fixtures and coupons; with waste; made once"`
	FixtureS   float64 `json:"fixture_print_s"`
	FixtureWS  float64 `json:"fixture_labour_s"`
	FixtureC   float64 `json:"fixture_cost"`
	Stops      int     `json:"stops"`
	Warnings   int     `json:"warnings"`
	Notes      int     `json:"notes"`
}
