package api

import (
	"cmp"
	"time"

	"groundwork/internal/marks"
)

// Folder is what the maker's folder holds.
type Folder struct {
	Path        string         `json:"path" doc:"The folder, as the machine names it"`
	Pieces      []PieceEntry   `json:"pieces" doc:"Piece files, by name"`
	Shops       []string       `json:"shops" doc:"Shop files, by name"`
	Library     []LibraryEntry `json:"library" doc:"Pieces that come with the program, to be copied"`
	Photographs []string       `json:"photographs" doc:"Photographs of sheets"`
	Solids      []string       `json:"solids" doc:"Files with solids that were drawn elsewhere"`
}

// PieceEntry is one piece file in the list of a folder.
type PieceEntry struct {
	File  string `json:"file"`
	Name  string `json:"name" doc:"Name of the piece for files"`
	Title string `json:"title" doc:"Name of the piece for people"`
	Use   string `json:"use" doc:"table, seat, shelf, stand or other; empty where the file does not say"`
	Fault string `json:"fault" doc:"First fault of the file, empty if it has none"`
}

// LibraryEntry is one piece that comes with the program.
type LibraryEntry struct {
	Name  string `json:"name"`
	Title string `json:"title"`
	Note  string `json:"note"`
	Use   string `json:"use"`
}

// Piece is a piece file as it is, with what belongs to it.
type Piece struct {
	File         string      `json:"file"`
	Title        string      `json:"title"`
	Text         string      `json:"text" doc:"The piece file, as it is on disk"`
	Version      string      `json:"version" doc:"Names this text; sent back as base of a change"`
	Shop         string      `json:"shop" doc:"Shop file it is planned with, empty for the ordinary shop of the program"`
	ShopText     string      `json:"shopText"`
	ShopVersion  string      `json:"shopVersion"`
	Marks        Marks       `json:"marks"`
	MarksVersion string      `json:"marksVersion"`
	Parameters   []Parameter `json:"parameters" doc:"What the maker may change, in the order of the file; empty while it has faults"`
	Faults       []Fault     `json:"faults" doc:"What is wrong in the piece, shop and marks files"`
	Undo         *Step       `json:"undo" doc:"What undo would take back, null if nothing"`
	Redo         *Step       `json:"redo" doc:"What redo would do again, null if nothing"`
}

// Parameter is a number that the maker may change.
type Parameter struct {
	Name    string  `json:"name"`
	Label   string  `json:"label"`
	Kind    string  `json:"kind" enum:"length,angle,count,force,mass,number" doc:"length in mm, angle in degrees, force in N, mass in g; count is a plain number that moves by whole steps, number any other"`
	Value   float64 `json:"value"`
	Min     float64 `json:"min" doc:"min and max are both 0 where the piece does not limit it"`
	Max     float64 `json:"max"`
	Step    float64 `json:"step" doc:"0 where the piece names none"`
	Written string  `json:"written" doc:"Its value as it stands in the file, such as 540 mm"`
	Fixed   bool    `json:"fixed" doc:"It follows from other numbers (an expression), so it is not to be slid"`
	Pointer string  `json:"pointer" doc:"Where it stands in the piece file (RFC 6901)"`
}

// Fault is one thing wrong in a file of the maker's.
type Fault struct {
	File    string `json:"file"`
	Line    int    `json:"line" doc:"From 1; 0 where it has no place in the file"`
	Column  int    `json:"column"`
	Message string `json:"message"`
	Remedy  string `json:"remedy"`
}

// Step is one thing the maker did that can be taken back or done again.
type Step struct {
	_    struct{}  `nullable:"true"`
	What string    `json:"what" doc:"Such as Height: 540 mm to 600 mm"`
	When time.Time `json:"when"`
}

// Marks are what the maker marked on sheets, pinned on blanks and chose of the
// job; the marks file has the same keys.
type Marks = marks.File

// PieceCopy asks for a new piece file.
type PieceCopy struct {
	From string `json:"from" maxLength:"200" doc:"Name of a piece of the library, or a piece file of the folder"`
	File string `json:"file" maxLength:"200" doc:"Name of the new file, such as my-table.yaml"`
}

// PieceText replaces the text of a piece file.
type PieceText struct {
	Text string `json:"text" maxLength:"1048576"`
	Base string `json:"base" maxLength:"200" doc:"Version of the text that was edited"`
	View string `json:"view,omitempty" maxLength:"100"`
}

// ShopText replaces the text of a shop file.
type ShopText struct {
	Text string `json:"text" maxLength:"1048576"`
	Base string `json:"base" maxLength:"200" doc:"Version of the text that was edited; empty for a new file"`
	View string `json:"view,omitempty" maxLength:"100"`
}

// Shop is a shop file as it is. Undo and redo are those of a piece, which cover
// its shop.
type Shop struct {
	File    string  `json:"file"`
	Text    string  `json:"text" doc:"The shop file, as it is on disk"`
	Version string  `json:"version" doc:"Names this text; sent back as base of a change"`
	Faults  []Fault `json:"faults"`
}

// Changes alters single values; comments and layout of the text stay.
type Changes struct {
	Changes []Change `json:"changes" minItems:"1" maxItems:"100"`
	Base    string   `json:"base" maxLength:"200" doc:"Version of the piece file that was seen"`
	What    string   `json:"what,omitempty" maxLength:"300" doc:"What it is to the maker, for undo"`
	Gather  string   `json:"gather,omitempty" maxLength:"100" doc:"Changes of the same word that follow one another are one step for undo: those of one pull at a slider"`
	View    string   `json:"view,omitempty" maxLength:"100"`
}

// Change is one value to write.
type Change struct {
	Document string `json:"document" enum:"piece,shop,marks"`
	Pointer  string `json:"pointer" maxLength:"500" doc:"Where (RFC 6901), such as /parameters/height/value"`
	Value    string `json:"value" maxLength:"2000" doc:"As the maker would write it in the file, such as 600 mm"`
}

// MarksText replaces the marks of a piece.
type MarksText struct {
	Marks Marks  `json:"marks"`
	Base  string `json:"base" maxLength:"200" doc:"marksVersion that was seen; empty if there were none"`
	What  string `json:"what,omitempty" maxLength:"300"`
	View  string `json:"view,omitempty" maxLength:"100"`
}

// ViewName says which open window asks.
type ViewName struct {
	View string `json:"view,omitempty" maxLength:"100" doc:"Random name that the window gave itself"`
}

// Uploaded is what became of a file that was sent.
type Uploaded struct {
	File     string    `json:"file" doc:"Its name in the folder"`
	Pieces   []string  `json:"pieces" doc:"Piece files made of it"`
	Findings []Finding `json:"findings"`
	// Units is absent for photographs and for files that state their unit.
	Units []UnitChoice `json:"units,omitempty" doc:"What the file may be in, where it states no unit; sent again with ?unit= it makes another piece"`
}

// UnitChoice is a unit that a file with solids may be in.
type UnitChoice struct {
	Unit   string  `json:"unit" enum:"mm,cm,m,in"`
	Length float64 `json:"length" doc:"How long the whole then is, mm"`
	Taken  bool    `json:"taken" doc:"The piece was made with it"`
}

// Finding is one thing that the maker must know.
type Finding struct {
	Severity string `json:"severity" enum:"stop,warning,note"`
	Stage    string `json:"stage"`
	Code     string `json:"code"`
	Subject  string `json:"subject"`
	Message  string `json:"message"`
	Remedy   string `json:"remedy"`
	Source   string `json:"source"`
	File     string `json:"file"`
	Line     int    `json:"line"`
}

// PlanOrder asks for a plan.
type PlanOrder struct {
	Piece    string            `json:"piece" maxLength:"200" doc:"Piece file"`
	View     string            `json:"view,omitempty" maxLength:"100"`
	Set      map[string]string `json:"set,omitempty" maxProperties:"100" doc:"Parameters with other values than the file's, as in height: 600 mm; nothing is saved"`
	Strength bool              `json:"strength,omitempty" doc:"Work out how it bears its loads"`
	Remedies bool              `json:"remedies,omitempty" doc:"Look for what would help where it does not; needs strength"`
	FaceDown bool              `json:"faceDown,omitempty" doc:"Veneer lies face down on the laser bed"`
	Kerf     bool              `json:"kerf,omitempty" doc:"Cut lines run half a kerf outside"`
	Stock    bool              `json:"stock,omitempty" doc:"Cut from the offcuts in stock before new sheets"`
	Job      string            `json:"job,omitempty" maxLength:"100" doc:"Job that it is planned for: what is laid aside for it counts as free"`

	// In place of what stands in the marks file, which is followed where these
	// are absent.
	Start     *string     `json:"start,omitempty" maxLength:"10" doc:"Day on which work begins, such as 2027-01-11; empty: days are counted"`
	NoCoupons *bool       `json:"noCoupons,omitempty" doc:"This shop has measured its own fit coupons, and none are printed"`
	Send      string      `json:"send,omitempty" enum:"ready,cores,leaves" doc:"What is sent: finished parts, cores and cut veneer, or cut veneer and print files"`
	Batches   []int       `json:"batches,omitempty" maxItems:"20" doc:"Numbers of kits made at a time that are priced, from 1 to 10000"`
	Book      *marks.Book `json:"book,omitempty" doc:"What the bench book tells; all of it"`
}

// chosen is what the order asks for in place of what the marks say.
func (o PlanOrder) chosen(m marks.File) (marks.Making, marks.Book) {
	k, b := m.Making, m.Book
	if o.Start != nil {
		k.Start = *o.Start
	}
	if o.NoCoupons != nil {
		k.Coupons = marks.Printed
		if *o.NoCoupons {
			k.Coupons = marks.Measured
		}
	}
	k.Send = cmp.Or(o.Send, k.Send)
	if o.Batches != nil {
		k.Batches = o.Batches
	}
	if o.Book != nil {
		b = *o.Book
	}
	return k, b
}

// Ordered names what was begun.
type Ordered struct {
	ID       string    `json:"id"`
	Findings []Finding `json:"findings,omitempty" doc:"What of the stock could not be planned with"`
}

// JobFile is one file of the job folder.
type JobFile struct {
	Name string `json:"name"`
	Size int    `json:"size" doc:"Bytes"`
}

// Moves are patterns as the maker holds them, to be looked at for clashes.
type Moves struct {
	Moves []Move `json:"moves" maxItems:"2000"`
}

// Move is one pattern in another place.
type Move struct {
	Pattern  string  `json:"pattern"`
	Blank    string  `json:"blank" doc:"Empty for a pattern that is held beside the blanks"`
	X        float64 `json:"x" doc:"mm"`
	Y        float64 `json:"y" doc:"mm"`
	Rotation float64 `json:"rotation" doc:"Degrees, counter-clockwise"`
}

// Clashes are what is wrong with a layout.
type Clashes struct {
	Clashes []Clash `json:"clashes"`
}

// Clash is one thing wrong with a layout.
type Clash struct {
	Kind     string     `json:"kind" enum:"overlap,gap,border,reserved,turn,blank"`
	Patterns []string   `json:"patterns" doc:"IDs of the patterns concerned, the one that was moved first"`
	Message  string     `json:"message"`
	Clear    [2]float64 `json:"clear" doc:"Shortest way along the blank's edges that takes the first pattern clear, mm; zero if none does"`
}

// Improve asks for a search for tighter layouts.
type Improve struct {
	Seconds float64 `json:"seconds" exclusiveMinimum:"0" maximum:"3600"`
	View    string  `json:"view,omitempty" maxLength:"100"`
}

// Events of a folder.
type (
	// ChangeEvent says that a file is no longer as it was.
	ChangeEvent struct {
		File    string `json:"file"`
		Version string `json:"version" doc:"Empty if the file is gone"`
		View    string `json:"view" doc:"Window that changed it, empty if it was changed outside"`
	}
	// MissedEvent says that there were more changes than are kept: read
	// everything again.
	MissedEvent struct{}
	// PingEvent keeps a quiet stream open.
	PingEvent struct{}
)

// Events of a plan.
type (
	// StageEvent says that a stage of the plan begins, or how far it is.
	StageEvent struct {
		Stage string `json:"stage"`
		Done  int    `json:"done" doc:"Stages before it"`
		Total int    `json:"total" doc:"Stages in all"`
		Part  string `json:"part,omitempty" doc:"How far a stage is that takes long, such as load cases: 3 of 8; absent when it begins"`
	}
	// GeometryEvent says that members, joints, patterns and the findings so far
	// can be had.
	GeometryEvent struct{}
	// DoneEvent says that the plan is ready.
	DoneEvent struct{}
	// FailedEvent says that there will be no plan.
	FailedEvent struct {
		Message string  `json:"message"`
		Faults  []Fault `json:"faults"`
	}
	// SupersededEvent says that the plan was given up for a newer one of its view.
	SupersededEvent struct{}
	// CancelledEvent says that the plan was given up because it was asked.
	CancelledEvent struct{}
)

// Events of a search.
type (
	// BetterEvent tells of a tighter layout.
	BetterEvent struct {
		Seconds     float64 `json:"seconds" doc:"Since the search began"`
		Density     float64 `json:"density" doc:"Share of the blanks that patterns take, 0 to 1"`
		ConsumedMM2 float64 `json:"consumedMm2" doc:"Veneer cut from sheets, mm²"`
	}
	// FoundEvent ends a search with its best layout, every pattern pinned.
	FoundEvent struct {
		Marks Marks `json:"marks"`
	}
)
