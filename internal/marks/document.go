package marks

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"groundwork/internal/given"
	"groundwork/internal/unit"
)

// Error is one fault in a marks file, with its place and a remedy.
type Error = given.Error

// Errors is every fault that was found in a marks file.
type Errors = given.Errors

// Document is a marks file as written. The tags are the file format: Parse and
// Schema both read them.
type Document struct {
	Groundwork  given.Number    `json:"groundwork" jsonschema:"required" jsonschema_description:"Version of this file format; always 1."`
	Reserved    []ReservedDoc   `json:"reserved" jsonschema:"maxItems=500" jsonschema_description:"Knots, splits and stains on sheets: no pattern lies on them."`
	Blanks      []BlankDoc      `json:"blanks" jsonschema:"maxItems=500" jsonschema_description:"Blanks whose patterns stay where they are."`
	Photographs []PhotographDoc `json:"photographs" jsonschema:"maxItems=200" jsonschema_description:"Photographs of sheets, one for each."`
	Making      MakingDoc       `json:"making" jsonschema_description:"How the maker goes about the job, and what is sent."`
	Book        BookDoc         `json:"book" jsonschema_description:"What the bench book tells of its maker, and how it looks."`
}

// MakingDoc is how the job is gone about.
type MakingDoc struct {
	given.Place `json:"-"`
	Start       given.Text     `json:"start" jsonschema_description:"Day on which work begins, as 2027-01-11; when left out days are counted, from a Monday."`
	Coupons     given.Text     `json:"coupons" jsonschema:"enum=printed,enum=measured" jsonschema_description:"measured: this shop has measured its own fit coupons, and none are printed; printed when left out."`
	Send        given.Text     `json:"send" jsonschema:"enum=ready,enum=cores,enum=leaves" jsonschema_description:"What is sent: finished parts that the buyer screws together (ready), cores and cut veneer (cores), or cut veneer and print files (leaves); ready when left out."`
	Batches     []given.Number `json:"batches" jsonschema:"maxItems=20" jsonschema_description:"Numbers of kits made at a time that are priced, from 1 to 10000; [1, 5, 20] when left out."`
}

// BookDoc is how the bench book is.
type BookDoc struct {
	given.Place `json:"-"`
	Paper       given.Text `json:"paper" jsonschema:"enum=a4,enum=letter" jsonschema_description:"Of the book and the labels; a4 when left out."`
	Maker       given.Text `json:"maker" jsonschema_description:"Who made the piece; the shop's name when left out."`
	Notes       given.Text `json:"notes" jsonschema_description:"Words of your own; paragraphs parted by line breaks."`
	Licence     given.Text `json:"licence" jsonschema_description:"Under which the files may be used; a line to write it on when left out."`
	Templates   given.Text `json:"templates" jsonschema:"enum=with,enum=without" jsonschema_description:"without leaves those at full size out of the book; they lie in the job folder all the same."`
	Inch        given.Flag `json:"inch" jsonschema_description:"true: lengths in inches."`
}

// ReservedDoc is an area of a sheet.
type ReservedDoc struct {
	given.Place `json:"-"`
	Sheet       given.Text     `json:"sheet" jsonschema:"required" jsonschema_description:"ID of the sheet as in the plan: walnut-1; walnut-a-1 for the shop's offcut a of walnut."`
	At          []given.Number `json:"at" jsonschema:"required,minItems=2,maxItems=2" jsonschema_description:"Its corner nearest to the sheet's lower left one, [across the grain, along the grain], seen from the show face."`
	Size        []given.Number `json:"size" jsonschema:"required,minItems=2,maxItems=2" jsonschema_description:"Its size, [across, along]."`
	What        given.Text     `json:"what" jsonschema:"enum=knot,enum=split,enum=stain,enum=other" jsonschema_description:"What is there; other when left out."`
}

// BlankDoc is a blank.
type BlankDoc struct {
	given.Place `json:"-"`
	Veneer      given.Text     `json:"veneer" jsonschema:"required" jsonschema_description:"ID of the veneer that it is cut from."`
	Sheet       given.Text     `json:"sheet" jsonschema_description:"ID of the sheet that it is cut from, with at; any when left out."`
	Size        []given.Number `json:"size" jsonschema:"required,minItems=2,maxItems=2" jsonschema_description:"Its size as it lies on the laser bed, [x, y]."`
	Grain       given.Text     `json:"grain" jsonschema:"enum=x,enum=y" jsonschema_description:"Which way its grain runs on the bed; x when left out."`
	At          []given.Number `json:"at" jsonschema:"minItems=2,maxItems=2" jsonschema_description:"Its lower left corner on the sheet, [across the grain, along the grain]; where it is best cut when left out."`
	Patterns    []PatternDoc   `json:"patterns" jsonschema:"maxItems=1000" jsonschema_description:"Patterns held in their places on it."`
	Rest        given.Flag     `json:"rest" jsonschema_description:"true: other patterns may join them where there is room; false when left out."`
}

// PatternDoc is a pattern held in its place.
type PatternDoc struct {
	given.Place `json:"-"`
	Pattern     given.Text     `json:"pattern" jsonschema:"required" jsonschema_description:"ID of the pattern, such as top/face."`
	At          []given.Number `json:"at" jsonschema:"required,minItems=2,maxItems=2" jsonschema_description:"Where its origin lies on the blank, [x, y] from the lower left corner as it lies on the bed, face up."`
	Turn        given.Number   `json:"turn" jsonschema_description:"How far it is turned counter-clockwise, as 180 deg; 0 when left out. The grain allows one turn or two."`
}

// PhotographDoc is a photograph of a sheet.
type PhotographDoc struct {
	given.Place `json:"-"`
	Sheet       given.Text       `json:"sheet" jsonschema:"required" jsonschema_description:"ID of the sheet that it shows, from the show face."`
	File        given.Text       `json:"file" jsonschema:"required" jsonschema_description:"Name of the photograph, .jpg or .png, in the same folder."`
	Corners     [][]given.Number `json:"corners" jsonschema:"required,minItems=4,maxItems=4" jsonschema_description:"Where the sheet's corners are seen: lower left, lower right, upper right, upper left; each [x, y] in pixels from the photograph's upper left."`
}

// Limits. They stand far above any real piece.
const (
	farthest = 10_000  // mm: of places
	largest  = 6_000   // mm: of sizes; sheets are no longer
	pixels   = 100_000 // along a side of a photograph
	longest  = 200     // bytes of an ID or a name
)

// ParseFile reads the named marks file.
func ParseFile(name string) (File, error) {
	data, err := given.ReadFile(name)
	if err != nil {
		return File{}, fmt.Errorf("reading the marks: %w", err)
	}
	return Parse(name, data)
}

// Parse reads a marks file. file names it in errors. The error, if any, is
// Errors: everything that is wrong with the file. Sheets and patterns that the
// plan does not have are not wrong here: the piece may have changed since, and
// the sheet stage tells of them.
func Parse(file string, data []byte) (File, error) {
	faults := &given.Faults{File: file}
	root := given.Read(data, faults)
	if root == nil || root.Kind != given.Mapping {
		if root != nil && !faults.Any() {
			faults.Add(root.Place, "start with the line groundwork: 1", "a marks file is a mapping of keys, not %s", root.Kind)
		}
		return File{}, faults.Err()
	}
	switch v := root.Get("groundwork"); {
	case v == nil:
		faults.Add(root.Place, "start with the line groundwork: 1", "the format version is missing")
		return File{}, faults.Err()
	case v.Text != strconv.Itoa(Version):
		faults.Add(v.Place, "write groundwork: 1", "the format version %q is not known to this program", v.Text)
		return File{}, faults.Err()
	}
	d := &Document{}
	given.Decode(root, d, faults)
	f := (&reader{faults}).file(d)
	if err := faults.Err(); err != nil {
		return File{}, err
	}
	return f, nil
}

// Schema is the JSON Schema (draft 2020-12) of marks files.
func Schema() ([]byte, error) {
	return given.Schema(&Document{}, "Groundwork marks file",
		"What is known of the veneer in hand, what is to stay as it is on the cut sheets, and how the job is gone about. A length is in mm when bare (or 19 mm, 3/4 in). Sheets and blanks are seen from the show face.")
}

// reader turns a Document into a File.
type reader struct{ faults *given.Faults }

// names are what IDs are made of.
var names = regexp.MustCompile(`^[\pL\pN][\pL\pN ._/+-]*$`)

// plain is a name of a photograph that stays in its folder everywhere.
var plain = regexp.MustCompile(`^[\pL\pN][\pL\pN ._+()-]*$`)

func (r *reader) name(t given.Text, what string) string {
	if t.Written() && (len(t.Value) > longest || !names.MatchString(t.Value)) {
		r.faults.Add(t.Place, "copy it from the plan, letters, digits, hyphens and slashes", "this is no ID of a %s", what)
	}
	return t.Value
}

// number reads a length in mm between two bounds; a pixel count if plainly.
func (r *reader) number(n given.Number, what string, lo, hi float64, plainly bool) float64 {
	v, q, err := unit.Parse(n.Text)
	word, example := " mm", "19 mm"
	if plainly {
		word, example = "", "640"
	}
	switch {
	case !n.Written():
	case err != nil:
		r.faults.Add(n.Place, "write it as "+example, "%s is no number: %v", what, err)
	case q != unit.Plain && (plainly || q != unit.Length):
		r.faults.Add(n.Place, "write it as "+example, "%s is given as %s", what, q)
	case v < lo || v > hi:
		r.faults.Add(n.Place, fmt.Sprintf("keep it between %g and %g%s", lo, hi, word), "%s is %g%s", what, v, word)
	default:
		return rid(v)
	}
	return lo
}

func (r *reader) both(ns []given.Number, what string, lo, hi float64, plainly bool) [2]float64 {
	if len(ns) != 2 {
		return [2]float64{lo, lo}
	}
	return [2]float64{r.number(ns[0], "the first of "+what, lo, hi, plainly), r.number(ns[1], "the second of "+what, lo, hi, plainly)}
}

// angle reads degrees; bare numbers are degrees, as on the page.
func (r *reader) angle(n given.Number) float64 {
	if !n.Written() {
		return 0
	}
	v, q, err := unit.Parse(n.Text)
	switch {
	case err != nil:
		r.faults.Add(n.Place, "write it as 180 deg", "the turn is no angle: %v", err)
		return 0
	case q == unit.Angle:
		v *= 180 / math.Pi
	case q != unit.Plain:
		r.faults.Add(n.Place, "write it as 180 deg", "the turn is given as %s", q)
		return 0
	}
	if math.Abs(v) > 360 {
		r.faults.Add(n.Place, "keep it between -360 and 360 degrees", "the turn is %g degrees", v)
		return 0
	}
	return tidy(v)
}

func (r *reader) file(d *Document) File {
	f := File{Groundwork: Version}
	for _, k := range d.Reserved {
		what := k.What.Value
		if !k.What.Written() {
			what = Other
		}
		f.Reserved = append(f.Reserved, Reserved{
			Sheet: r.name(k.Sheet, "sheet"), At: r.both(k.At, "the place of a reserved area", -farthest, farthest, false),
			Size: r.both(k.Size, "the size of a reserved area", 0.1, largest, false), What: what, Line: k.Line,
		})
	}
	for _, b := range d.Blanks {
		f.Blanks = append(f.Blanks, r.blank(b))
	}
	taken := map[string]int{}
	for _, p := range d.Photographs {
		q := Photograph{Sheet: r.name(p.Sheet, "sheet"), File: p.File.Value, Line: p.Line}
		if line, ok := taken[q.Sheet]; ok && q.Sheet != "" {
			r.faults.Add(p.Sheet.Place, fmt.Sprintf("keep one of them; the other stands in line %d", line), "the sheet %q has a photograph already", q.Sheet)
		}
		taken[q.Sheet] = p.Line
		if end := strings.ToLower(path.Ext(q.File)); p.File.Written() && (len(q.File) > longest || !plain.MatchString(q.File) || !slices.Contains([]string{".jpg", ".jpeg", ".png"}, end)) {
			r.faults.Add(p.File.Place, "put the photograph beside the piece and give its name alone, as in walnut-1.jpg", "this is no name of a photograph in the same folder")
		}
		if r.corners(p, &q) && !seenFromFront(q.Corners) {
			r.faults.Add(p.Place, "begin at the sheet's lower left corner and go on to the lower right, upper right and upper left, as they lie on the sheet", "the four corners are not those of a sheet seen from the front")
		}
		f.Photographs = append(f.Photographs, q)
	}
	f.Making, f.Book = r.making(d.Making), r.book(d.Book)
	return f
}

func (r *reader) making(d MakingDoc) Making {
	m := Making{Start: d.Start.Value, Coupons: d.Coupons.Value, Send: d.Send.Value}
	where := map[string]given.Place{"start": d.Start.Place}
	if d.Start.Written() && d.Start.Value == "" {
		r.faults.Add(d.Start.Place, "write year, month and day as in 2027-01-11; or take the key out", "the day is empty")
	}
	for _, n := range d.Batches {
		v, err := strconv.Atoi(n.Text)
		if err != nil {
			r.faults.Add(n.Place, "write whole numbers of kits, as in [1, 5, 20]", "%q is no number of kits", n.Text)
			continue
		}
		m.Batches = append(m.Batches, v)
		where["batches"] = d.Batches[0].Place
	}
	r.tell(m.unfit(), where)
	return m
}

func (r *reader) book(d BookDoc) Book {
	b := Book{Paper: d.Paper.Value, Maker: d.Maker.Value, Notes: d.Notes.Value, Licence: d.Licence.Value, Templates: d.Templates.Value, Inch: d.Inch.Value}
	r.tell(b.unfit(), map[string]given.Place{"maker": d.Maker.Place, "notes": d.Notes.Place, "licence": d.Licence.Place})
	return b
}

// tell adds what is wrong with choices. Words of a fixed set have been told of
// where they were read, and have no place here.
func (r *reader) tell(list []*Unfit, where map[string]given.Place) {
	for _, u := range list {
		if p, ok := where[u.Key]; ok {
			r.faults.Add(p, u.Remedy, "%s", u.What)
		}
	}
}

// corners reads them, and reports whether all four could be read.
func (r *reader) corners(p PhotographDoc, q *Photograph) bool {
	before := r.faults.Len()
	for i, c := range p.Corners {
		if len(c) != 2 {
			r.faults.Add(p.Place, "write each corner as [x, y]", "corner %d has %d numbers", i+1, len(c))
			continue
		}
		q.Corners[i] = r.both(c, "a corner", -pixels, pixels, true)
	}
	return len(p.Corners) == 4 && r.faults.Len() == before
}

// seenFromFront reports whether four points in pixels, y down, are the corners
// of a rectangle seen in perspective, not in a mirror: convex, and turning the
// same way.
func seenFromFront(c [4][2]float64) bool {
	for i := range c {
		a, b, d := vec(c[i]), vec(c[(i+1)%4]), vec(c[(i+2)%4])
		const least = 1.0 // square pixel
		if b.Sub(a).Cross(d.Sub(b)) > -least {
			return false
		}
	}
	return true
}

func (r *reader) blank(b BlankDoc) Blank {
	out := Blank{
		Veneer: r.name(b.Veneer, "veneer"), Sheet: r.name(b.Sheet, "sheet"), Grain: b.Grain.Value, Rest: b.Rest.Value, Line: b.Line,
		Size: r.both(b.Size, "the size of a blank", 1, largest, false),
	}
	if out.Grain == AlongX {
		out.Grain = ""
	}
	if b.At != nil {
		at := r.both(b.At, "the place of a blank", 0, farthest, false)
		out.At = &at
	}
	switch {
	case b.Sheet.Written() && b.At == nil:
		r.faults.Add(b.Sheet.Place, "say where it lies on the sheet with at; or take the sheet out", "this blank has a sheet but no place on it")
	case !b.Sheet.Written() && b.At != nil:
		r.faults.Add(b.Place, "name the sheet; or take at out", "this blank has a place but no sheet")
	}
	for _, p := range b.Patterns {
		out.Patterns = append(out.Patterns, Pattern{
			Pattern: r.name(p.Pattern, "pattern"), At: r.both(p.At, "the place of a pattern", -farthest, farthest, false), Turn: r.angle(p.Turn), Line: p.Line,
		})
	}
	if len(out.Patterns) == 0 && !out.Rest {
		r.faults.Add(b.Place, "list its patterns; or write rest: true, so that others may join", "nothing can lie on this blank")
	}
	return out
}

// Format writes marks in their canonical form: what it writes, Parse reads back
// to the last digit.
func Format(f File) []byte {
	var b bytes.Buffer
	b.WriteString("groundwork: 1\n")
	two := func(p [2]float64) string { return "[" + number(p[0]) + ", " + number(p[1]) + "]" }
	if len(f.Reserved) > 0 {
		b.WriteString("\nreserved:   # [across the grain, along it] on the sheet, from its show face\n")
	}
	for _, r := range f.Reserved {
		what := r.What
		if what == "" {
			what = Other
		}
		fmt.Fprintf(&b, "  - {sheet: %s, at: %s, size: %s, what: %s}\n", word(r.Sheet), two(r.At), two(r.Size), word(what))
	}
	if len(f.Blanks) > 0 {
		b.WriteString("\nblanks:     # as they lie on the bed, face up\n")
	}
	for _, k := range f.Blanks {
		fmt.Fprintf(&b, "  - veneer: %s\n", word(k.Veneer))
		if k.Sheet != "" {
			fmt.Fprintf(&b, "    sheet: %s\n", word(k.Sheet))
		}
		if k.At != nil {
			fmt.Fprintf(&b, "    at: %s\n", two(*k.At))
		}
		fmt.Fprintf(&b, "    size: %s\n", two(k.Size))
		if k.Grain != "" && k.Grain != AlongX {
			fmt.Fprintf(&b, "    grain: %s\n", word(k.Grain))
		}
		fmt.Fprintf(&b, "    rest: %v\n", k.Rest)
		if len(k.Patterns) > 0 {
			b.WriteString("    patterns:\n")
		}
		for _, p := range k.Patterns {
			fmt.Fprintf(&b, "      - {pattern: %s, at: %s", word(p.Pattern), two(p.At))
			if t := tidy(p.Turn); t != 0 {
				fmt.Fprintf(&b, ", turn: %s deg", number(t))
			}
			b.WriteString("}\n")
		}
	}
	if len(f.Photographs) > 0 {
		b.WriteString("\nphotographs: # corners in pixels: lower left, lower right, upper right, upper left\n")
	}
	for _, p := range f.Photographs {
		fmt.Fprintf(&b, "  - {sheet: %s, file: %s, corners: [%s, %s, %s, %s]}\n", word(p.Sheet), word(p.File),
			two(p.Corners[0]), two(p.Corners[1]), two(p.Corners[2]), two(p.Corners[3]))
	}
	if text := formatMaking(f.Making); text != "" {
		b.WriteString("\nmaking:\n" + text)
	}
	if text := formatBook(f.Book); text != "" {
		b.WriteString("\nbook:\n" + text)
	}
	return b.Bytes()
}

// number is a number in as few digits as tell it from every other.
func number(v float64) string {
	if v = rid(v); math.Abs(v) < 1e-6 && v != 0 {
		return strconv.FormatFloat(v, 'e', -1, 64)
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// rid makes nothing of what is next to nothing, and 0 of -0: what arithmetic
// leaves is no smaller, and longer exponents cannot be read.
func rid(v float64) float64 {
	if math.Abs(v) < 1e-20 {
		return 0
	}
	return v
}

var bare = regexp.MustCompile(`^[a-z][a-z0-9]*([-/.][a-z0-9]+)*$`)

// word is a text for YAML, between quotes where it might be taken for something
// else.
func word(s string) string {
	if bare.MatchString(s) && !slices.Contains([]string{"null", "true", "false"}, s) {
		return s
	}
	q, err := json.Marshal(s)
	if err != nil {
		return `""`
	}
	return string(q)
}
