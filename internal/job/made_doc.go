package job

// What a plan has beyond the piece itself, in plan.json: what it is made with,
// when, and how it is sent.

// FixtureDoc is one thing to make beside the piece, that the work is held,
// pressed or guided by.
type FixtureDoc struct {
	ID         string           `json:"id"`
	Kind       string           `json:"kind"`
	Serves     []string         `json:"serves" jsonschema:"description=IDs of segments; seams; joints; members; patterns or plugs"`
	Step       string           `json:"step" jsonschema:"description=Operation of the job that it belongs to"`
	Words      string           `json:"words" jsonschema:"description=How it is used"`
	Parts      []FixturePartDoc `json:"parts"`
	Templates  []TemplateDoc    `json:"templates" jsonschema:"description=Drawings at full size to saw or drill by"`
	Clearances []ClearanceDoc   `json:"clearances" jsonschema:"description=Gaps that are left on purpose"`
}

type FixturePartDoc struct {
	ID       string     `json:"id"`
	File     string     `json:"file" jsonschema:"description=Solid; empty if it is not printed"`
	Filament string     `json:"filament" jsonschema:"description=Empty if it is not printed"`
	Material string     `json:"material" jsonschema:"description=If it is not printed"`
	Quantity int        `json:"quantity"`
	AsDrawn  bool       `json:"as_drawn" jsonschema:"description=Must be printed as it lies in its file"`
	Lies     []FrameDoc `json:"lies" jsonschema:"description=Its own coordinates in the world; for each place where it is used with the piece; empty for coupons"`
}

type TemplateDoc struct {
	ID          string  `json:"id"`
	File        string  `json:"file"`
	Material    string  `json:"material"`
	ThicknessMM float64 `json:"thickness_mm"`
	Quantity    int     `json:"quantity"`
	Words       string  `json:"words"`
}

type ClearanceDoc struct {
	Between string  `json:"between"`
	GapMM   float64 `json:"gap_mm"`
	Why     string  `json:"why"`
	Source  string  `json:"source"`
}

// ClampDoc is how one glue-up lies on the bench and what presses it.
type ClampDoc struct {
	ID       string     `json:"id"`
	Step     string     `json:"step"`
	Serves   []string   `json:"serves" jsonschema:"description=Seams or joints that it closes"`
	Parts    []string   `json:"parts" jsonschema:"description=What is put together"`
	Fixtures []string   `json:"fixtures"`
	Like     string     `json:"like" jsonschema:"description=An earlier one that looks just like it; or empty"`
	Clamps   int        `json:"clamps"`
	Drawing  string     `json:"drawing"`
	Scale    float64    `json:"scale" jsonschema:"description=Of the drawing; 5 means 1:5"`
	Words    []string   `json:"words"`
	Closes   []CloseDoc `json:"closes"`
}

type CloseDoc struct {
	Seams    []string `json:"seams"`
	ForceN   float64  `json:"force_n"`
	AreaMM2  float64  `json:"area_mm2"`
	LeastMPa float64  `json:"least_mpa"`
	MostMPa  float64  `json:"most_mpa"`
}

// CalendarDoc is what is done when. Seconds are wall-clock time from the
// midnight before the first day; dates stand beside them if a day to start on was
// given.
type CalendarDoc struct {
	Start        string           `json:"start" jsonschema:"description=First day (YYYY-MM-DD); empty: days are counted and day 1 is a Monday"`
	Finish       string           `json:"finish" jsonschema:"description=Local time of the end; empty if days are counted"`
	BeginS       float64          `json:"begin_s"`
	EndS         float64          `json:"end_s"`
	LeastS       float64          `json:"least_s" jsonschema:"description=No calendar of this work ends before"`
	HandsS       float64          `json:"hands_s" jsonschema:"description=That persons are at it"`
	Hours        []HoursDoc       `json:"hours" jsonschema:"description=When somebody is at work; earliest first and to the end of the last day"`
	Activities   []ActivityDoc    `json:"activities" jsonschema:"description=By their start"`
	Critical     []CriticalDoc    `json:"critical" jsonschema:"description=What sets the end; earliest first"`
	Alternatives []AlternativeDoc `json:"alternatives" jsonschema:"description=The job again with something else"`
	Rests        []string         `json:"rests" jsonschema:"description=What the calendar rests on"`
	Charts       []string         `json:"charts" jsonschema:"description=Files with the bars"`
}

// HoursDoc is a stretch of working hours.
type HoursDoc struct {
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
}

type ActivityDoc struct {
	ID       string    `json:"id"`
	Kind     string    `json:"kind"`
	Of       string    `json:"of"`
	StartS   float64   `json:"start_s"`
	EndS     float64   `json:"end_s"`
	HandS    float64   `json:"hand_s" jsonschema:"description=That a person is at it; from its start"`
	SlackS   float64   `json:"slack_s" jsonschema:"description=That it may start later"`
	Critical bool      `json:"critical"`
	Machine  string    `json:"machine"`
	After    []WaitDoc `json:"after"`
	Note     string    `json:"note"`
}

type WaitDoc struct {
	On   string  `json:"on"`
	LagS float64 `json:"lag_s"`
	Why  string  `json:"why"`
}

type CriticalDoc struct {
	Activity string  `json:"activity"`
	Why      string  `json:"why"`
	WaitS    float64 `json:"wait_s" jsonschema:"description=For working hours"`
}

type AlternativeDoc struct {
	What   string  `json:"what"`
	EndS   float64 `json:"end_s"`
	Finish string  `json:"finish"`
}

// KitDoc is how the piece is sent, and what a batch costs.
type KitDoc struct {
	Split    string      `json:"split" jsonschema:"enum=ready,enum=cores,enum=leaves"`
	Revision string      `json:"revision" jsonschema:"description=On every part; parts of different revisions may not be mixed"`
	MassG    float64     `json:"mass_g" jsonschema:"description=Of all parcels as sent"`
	Things   []ThingDoc  `json:"things" jsonschema:"description=What goes into the parcels as one"`
	Parcels  []ParcelDoc `json:"parcels"`
	Hardware []CountDoc  `json:"hardware" jsonschema:"description=In the hardware box; spares not counted"`
	Spares   []SpareDoc  `json:"spares"`
	Veneer   *PileDoc    `json:"veneer" jsonschema:"nullable,description=How cut veneer is packed; null where none is sent"`
	Insert   []string    `json:"insert" jsonschema:"description=The insert sheet; line by line"`
	Prices   []PriceDoc  `json:"prices"`
}

type ThingDoc struct {
	N        int      `json:"n"`
	ID       string   `json:"id"`
	Kind     string   `json:"kind"`
	Members  []string `json:"members"`
	Segments []string `json:"segments"`
	SizeMM   Vec      `json:"size_mm" jsonschema:"description=With padding"`
	MassG    float64  `json:"mass_g"`
	Label    string   `json:"label"`
	Note     string   `json:"note"`
}

type ParcelDoc struct {
	ID        string   `json:"id"`
	Box       string   `json:"box" jsonschema:"description=ID of the shop's box; empty for one made to measure"`
	InsideMM  Vec      `json:"inside_mm"`
	OutsideMM Vec      `json:"outside_mm"`
	Things    []int    `json:"things" jsonschema:"description=Numbers of the things in order of packing"`
	MassG     float64  `json:"mass_g"`
	GirthedMM float64  `json:"length_and_girth_mm"`
	Layers    int      `json:"layers"`
	PackingG  float64  `json:"packing_g" jsonschema:"description=Of box and filling"`
	Follows   string   `json:"follows" jsonschema:"description=What it waits for before it is sent; empty for one that is sent at once"`
	Drawing   string   `json:"drawing"`
	Steps     []string `json:"steps"`
	Drop      DropDoc  `json:"drop"`
}

type DropDoc struct {
	Height1AMM float64 `json:"height_1a_mm"`
	Height2AMM float64 `json:"height_2a_mm"`
	Drops      int     `json:"drops"`
	Advice     string  `json:"advice"`
	Source     string  `json:"source"`
}

type CountDoc struct {
	Item     string  `json:"item"`
	Quantity int     `json:"quantity"`
	MassG    float64 `json:"mass_g" jsonschema:"description=Of one"`
}

type SpareDoc struct {
	Item     string `json:"item"`
	Quantity int    `json:"quantity"`
	Why      string `json:"why"`
}

type PileDoc struct {
	Blanks      int     `json:"blanks"`
	SizeMM      Vec     `json:"size_mm"`
	ThicknessMM float64 `json:"thickness_mm"`
	Rolled      bool    `json:"rolled"`
	RadiusMM    float64 `json:"radius_mm" jsonschema:"description=Inside the roll; 0 if flat"`
	LeastMM     float64 `json:"least_radius_mm" jsonschema:"description=That all of it bends to"`
}

type PriceDoc struct {
	Batch int            `json:"batch"`
	Lines []PriceLineDoc `json:"lines" jsonschema:"description=For one kit; in the order in which they add up"`
	Cost  float64        `json:"cost" jsonschema:"description=Of one; without the margin"`
	Each  float64        `json:"each" jsonschema:"description=Price of one"`
	Total float64        `json:"total" jsonschema:"description=Price of the batch"`
}

type PriceLineDoc struct {
	What  string  `json:"what"`
	Each  float64 `json:"each"`
	Rests string  `json:"rests" jsonschema:"description=What the number rests on"`
}
