// Package marks is what the maker says of the veneer in hand and of the cut
// sheets, in a plain file beside the piece, `<piece>.marks.yaml`: where knots,
// splits and stains lie on a sheet, which patterns are to stay where they are
// and which layouts are to be kept whole, and which photograph shows a sheet.
// What the maker chose of the job itself stands there too: when work begins,
// what is sent, what the bench book tells.
//
// Everything is told as it is seen from the show face. A place on a sheet is
// counted from its lower left corner, across the grain first; one on a blank
// from the blank's lower left corner as it lies on the laser bed, face up. A
// job that is cut face down has its drawings mirrored in the end; the marks are
// not.
//
// Parse reads the file, Format writes it in one canonical form, and a File as
// JSON has the same keys. Settle hands it to the sheet stage; Of makes one of a
// layout that is to be kept.
package marks

import (
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/sheet"
	"groundwork/internal/unit"
	"groundwork/internal/veneer"
)

// Version is the only version of the format that there is.
const Version = 1

// File is a marks file. Lengths are in mm and angles in degrees. The zero File
// marks nothing.
type File struct {
	Groundwork  int          `json:"groundwork"` // Version; 0 stands for it
	Reserved    []Reserved   `json:"reserved"`
	Blanks      []Blank      `json:"blanks"`
	Photographs []Photograph `json:"photographs"`
	Making      Making       `json:"making,omitzero"`
	Book        Book         `json:"book,omitzero"`
}

// Reserved is a rectangle of a sheet that no pattern may lie on.
type Reserved struct {
	Sheet string     `json:"sheet"` // ID as in the plan: "walnut-1", "walnut-a-1" for the offcut "a"
	At    [2]float64 `json:"at"`    // corner nearest to the sheet's lower left one, [across the grain, along it]
	Size  [2]float64 `json:"size"`
	What  string     `json:"what"` // Knot, Split, Stain or Other
	Line  int        `json:"-"`    // in the file, from 1; 0 when unknown
}

// What a reserved area is.
const (
	Knot  = "knot"
	Split = "split"
	Stain = "stain"
	Other = "other"
)

// Blank is a blank with patterns in their places.
type Blank struct {
	Veneer   string      `json:"veneer"`
	Sheet    string      `json:"sheet"`           // that it is cut from, with At; "" for any
	Size     [2]float64  `json:"size"`            // as it lies on the bed
	Grain    string      `json:"grain,omitempty"` // how its grain runs on the bed: AlongX, AlongY; "" stands for AlongX
	At       *[2]float64 `json:"at,omitempty"`    // its lower left corner on the sheet; nil: wherever it is best cut
	Patterns []Pattern   `json:"patterns"`
	Rest     bool        `json:"rest"` // whether other patterns may join those
	Line     int         `json:"-"`
}

// How the grain of a blank runs on the bed.
const (
	AlongX = "x"
	AlongY = "y"
)

// Pattern is a pattern held in its place: its own coordinates turned by Turn,
// then moved by At, are the blank's, as in plan.json.
type Pattern struct {
	Pattern string     `json:"pattern"` // ID
	At      [2]float64 `json:"at"`
	Turn    float64    `json:"turn"` // degrees, counter-clockwise
	Line    int        `json:"-"`
}

// Photograph shows a sheet from its show face.
type Photograph struct {
	Sheet string `json:"sheet"`
	File  string `json:"file"` // in the same folder
	// Corners are where the sheet's corners (0, 0), (w, 0), (w, l) and (0, l) are
	// seen, in pixels from the upper left of the photograph, y down.
	Corners [4][2]float64 `json:"corners"`
	Line    int           `json:"-"`
}

// Settle puts the marks into the options of the sheet stage. name is the file's,
// for findings.
func (f File) Settle(name string, o *sheet.Options) {
	o.Marks, o.Reserved, o.Keep = name, nil, nil
	for _, r := range f.Reserved {
		o.Reserved = append(o.Reserved, sheet.Reserved{Sheet: r.Sheet, At: vec(r.At), Size: vec(r.Size), What: r.What, Line: r.Line})
	}
	for _, b := range f.Blanks {
		k := sheet.Keep{Veneer: b.Veneer, Size: vec(b.Size), GrainUp: b.Grain == AlongY, Rest: b.Rest, Line: b.Line}
		if b.At != nil {
			k.Sheet, k.At = b.Sheet, vec(*b.At)
		}
		for _, p := range b.Patterns {
			k.Pins = append(k.Pins, sheet.Pin{Pattern: p.Pattern, At: vec(p.At), Turn: unit.Degrees(p.Turn), Line: p.Line})
		}
		o.Keep = append(o.Keep, k)
	}
}

// Of are marks that keep a whole layout: every blank as it is, every pattern in
// its place. With the same patterns, shop and other options the sheet stage
// makes the same result of them, to the last digit.
func Of(r *sheet.Result, patterns []veneer.Pattern) File {
	f := File{Groundwork: Version}
	for _, k := range r.Reserved {
		f.Reserved = append(f.Reserved, Reserved{Sheet: k.Sheet, At: pair(k.At), Size: pair(k.Size), What: k.What})
	}
	for i, b := range r.Blanks {
		out := Blank{Veneer: b.Veneer, Size: pair(b.Size)}
		if b.Grain != 0 {
			out.Grain = AlongY
		}
		if b.Fixed {
			at := pair(b.At)
			out.Sheet, out.At = r.Sheets[b.Sheet].ID, &at
		}
		for _, p := range r.Placements {
			if p.Blank == i {
				out.Patterns = append(out.Patterns, Pattern{Pattern: patterns[p.Pattern].ID, At: pair(p.At), Turn: tidy(p.Turn * 180 / math.Pi)})
			}
		}
		f.Blanks = append(f.Blanks, out)
	}
	return f
}

// Keeping are the marks with the layout of a result in place of their blanks;
// photographs and reserved areas stay.
func (f File) Keeping(r *sheet.Result, patterns []veneer.Pattern) File {
	f.Groundwork = Version
	f.Blanks = Of(r, patterns).Blanks
	f.Reserved, f.Photographs = slices.Clone(f.Reserved), slices.Clone(f.Photographs)
	return f
}

// tidy rids an angle in degrees of what its conversion has left in the last
// digits. The sheet stage takes the nearest turn that the grain allows.
func tidy(degrees float64) float64 {
	const places = 1e9
	d := math.Round(degrees*places) / places
	if d == 0 {
		return 0 // not -0
	}
	return d
}

func vec(p [2]float64) geom.Vec2  { return geom.V2(p[0], p[1]) }
func pair(v geom.Vec2) [2]float64 { return [2]float64{v.X, v.Y} }
