package shop

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"

	"groundwork/internal/given"
	"groundwork/internal/unit"
)

// Measured is what was measured on the coupons of a job: the form that goes with
// them, filled in or not. It is read by ParseMeasured, written by Form, and
// taken over into a shop file by Apply.
//
// The tags are the file format. What is drawn is filled in by who drew the
// coupons; what is measured is left blank until somebody has.
type Measured struct {
	Groundwork given.Number    `json:"groundwork" jsonschema:"required" jsonschema_description:"Version of this file format; always 1."`
	Shrink     []ShrinkReading `json:"shrink" jsonschema_description:"Bars and towers, one entry for each filament."`
	Holes      []HoleReading   `json:"holes" jsonschema_description:"Upright printed holes."`
	Dowels     []DowelReading  `json:"dowels" jsonschema_description:"Rows of holes that dowels are tried in."`
	Inserts    []InsertReading `json:"inserts" jsonschema_description:"Rows of holes that inserts are tried in."`
	Plugs      []PlugReading   `json:"plugs" jsonschema_description:"Rows of holes that a plug is tried in."`
	Kerfs      []KerfReading   `json:"kerfs" jsonschema_description:"Strips cut side by side by a laser."`
	Bends      []BendReading   `json:"bends" jsonschema_description:"Strips of veneer bent round drums."`
	Neutrals   []NeutralRead   `json:"neutrals" jsonschema_description:"Strips of veneer laid round a drum, end to end."`
	File       string          `json:"-"`
}

// Reading is a number of the form: a length in mm, a share or a count. Blank
// until it is filled in.
type Reading struct {
	given.Place
	Value float64
	Read  bool
}

// At is a reading of v.
func At(v float64) Reading { return Reading{Value: v, Read: true} }

// Decode reads it from a form.
func (r *Reading) Decode(n *given.Node, f *given.Faults) {
	r.Place = n.Place
	switch n.Kind {
	case given.Null:
		return
	case given.Scalar:
	default:
		f.Add(n.Place, "write one number, as in 199.1 mm", "a number is wanted here, not %s", n.Kind)
		return
	}
	text, factor := strings.TrimSpace(n.Text), 1.0
	if text == "" {
		return
	}
	if t, found := strings.CutSuffix(text, "%"); found {
		text, factor = strings.TrimSpace(t), 0.01
	}
	v, q, err := unit.Parse(text)
	switch {
	case err != nil:
		f.Add(n.Place, "write one number, as in 199.1 mm", "this is no number: %s", err)
	case q != unit.Length && q != unit.Plain:
		f.Add(n.Place, "write it in mm", "a length or a plain number is wanted here, not %s", article(q))
	case math.IsInf(v, 0) || math.IsNaN(v) || math.Abs(v) > 1e6:
		f.Add(n.Place, "write one number, as in 199.1 mm", "this is no measure of a coupon")
	default:
		r.Value, r.Read = v*factor, true
	}
}

// ShrinkReading is a bar along x, one along y and a tower, as drawn and as they
// came out. PrintedWith is the shop's shrink at the time: by it the printer was
// sent a larger coupon, so what is measured is what shrinkage is left.
type ShrinkReading struct {
	given.Place `json:"-"`
	Filament    given.Text `json:"filament" jsonschema:"required" jsonschema_description:"Filament of the shop."`
	DrawnX      Reading    `json:"drawn_x" jsonschema:"required" jsonschema_description:"Length as drawn of the bar along the machine's x."`
	DrawnY      Reading    `json:"drawn_y" jsonschema:"required" jsonschema_description:"The same along y."`
	DrawnZ      Reading    `json:"drawn_z" jsonschema:"required" jsonschema_description:"Height of the tower as drawn."`
	PrintedWith []Reading  `json:"printed_with" jsonschema:"required,minItems=3,maxItems=3" jsonschema_description:"What stood in the shop file when it was printed."`
	X           Reading    `json:"measured_x" jsonschema_description:"Measured once it is cold."`
	Y           Reading    `json:"measured_y" jsonschema_description:"Measured once it is cold."`
	Z           Reading    `json:"measured_z" jsonschema_description:"Measured once it is cold."`
}

// HoleReading is one upright printed hole.
type HoleReading struct {
	given.Place `json:"-"`
	Drawn       Reading `json:"drawn" jsonschema:"required" jsonschema_description:"Diameter as drawn."`
	Measured    Reading `json:"measured" jsonschema_description:"Diameter as it came out: the thickest pin that goes in."`
}

// Steps are holes in a row, numbered from 1: the first diameter, by how much
// each is wider than the one before, and how many there are.
type Steps struct {
	First Reading `json:"first" jsonschema:"required" jsonschema_description:"Diameter of hole 1 as drawn."`
	By    Reading `json:"by" jsonschema:"required" jsonschema_description:"How much wider each hole is than the one before."`
	Count Reading `json:"steps" jsonschema:"required" jsonschema_description:"How many holes there are."`
}

// Diameter is that of hole n, from 1, as drawn.
func (s Steps) Diameter(n float64) float64 { return s.First.Value + (n-1)*s.By.Value }

// DowelReading is a dowel tried in a row of holes.
type DowelReading struct {
	given.Place `json:"-"`
	Dowel       Reading    `json:"dowel" jsonschema:"required" jsonschema_description:"Diameter of the dowel, as in the shop file."`
	Printed     given.Flag `json:"printed" jsonschema_description:"Printed in the shop; false when left out."`
	Steps
	Glued Reading `json:"glued" jsonschema_description:"Number of the tightest hole that it goes into by hand with glue on."`
	Loose Reading `json:"loose" jsonschema_description:"Number of the tightest hole that it slides in freely, dry."`
}

// InsertReading is an insert tried in a row of holes.
type InsertReading struct {
	given.Place `json:"-"`
	Insert      given.Text `json:"insert" jsonschema:"required" jsonschema_description:"Thread, as in the shop file."`
	Steps
	Best Reading `json:"best" jsonschema_description:"Number of the hole in which it sits square and firm and pushes up no ring of plastic."`
}

// PlugReading is a plug tried in a row of holes.
type PlugReading struct {
	given.Place `json:"-"`
	Plug        Reading `json:"plug" jsonschema:"required" jsonschema_description:"Diameter of the plug as drawn."`
	Steps
	Best Reading `json:"best" jsonschema_description:"Number of the hole that it is pushed into by hand, and stays."`
}

// KerfReading is strips cut side by side, on lines at even distances.
type KerfReading struct {
	given.Place `json:"-"`
	Laser       given.Text `json:"laser" jsonschema:"required" jsonschema_description:"Laser of the shop."`
	Strips      Reading    `json:"strips" jsonschema:"required" jsonschema_description:"How many strips there are."`
	Drawn       Reading    `json:"drawn" jsonschema:"required" jsonschema_description:"Distance of the first cut from the last as drawn."`
	Measured    Reading    `json:"measured" jsonschema_description:"Width of all strips pushed together."`
}

// BendReading is strips of a veneer bent round drums, numbered from 1 from the
// largest.
type BendReading struct {
	given.Place `json:"-"`
	Veneer      given.Text `json:"veneer" jsonschema:"required" jsonschema_description:"Veneer of the shop."`
	Grain       given.Text `json:"grain" jsonschema:"required,enum=round,enum=along" jsonschema_description:"round: the grain runs round the drum; along: along its axis."`
	Radii       []Reading  `json:"radii" jsonschema:"required,minItems=1,maxItems=20" jsonschema_description:"Radii of the drums, the largest first."`
	Smallest    Reading    `json:"smallest" jsonschema_description:"Number of the smallest drum round which no strip cracked or lifted within a day."`
}

// NeutralRead is a strip with the grain along it, laid round a drum end to end.
type NeutralRead struct {
	given.Place `json:"-"`
	Veneer      given.Text `json:"veneer" jsonschema:"required" jsonschema_description:"Veneer of the shop."`
	Drum        Reading    `json:"drum" jsonschema_description:"Diameter of the drum, measured in three directions, the mean."`
	Strip       Reading    `json:"strip" jsonschema_description:"Length of the strip, measured flat."`
	Gap         Reading    `json:"gap" jsonschema_description:"Gap between its ends once it is laid; negative if they overlap."`
}

// ParseMeasured reads the form of a job's coupons. The error, if any, is Errors:
// everything that is wrong with its form. Whether the numbers can be true is for
// Apply, which knows the shop.
func ParseMeasured(file string, data []byte) (*Measured, error) {
	faults := &given.Faults{File: file}
	root := given.Read(data, faults)
	if root == nil || root.Kind != given.Mapping {
		if root != nil && !faults.Any() {
			faults.Add(root.Place, "start with the line groundwork: 1", "a form of coupons is a mapping of keys, not %s", root.Kind)
		}
		return nil, faults.Err()
	}
	m := &Measured{File: file}
	given.Decode(root, m, faults)
	if m.Groundwork.Written() && m.Groundwork.Text != Version {
		faults.Add(m.Groundwork.Place, "write groundwork: 1", "the format version %q is not known to this program", m.Groundwork.Text)
	}
	m.drawn(func(at given.Place, what string, r Reading) {
		if !r.Read {
			faults.Add(r.placeOr(at), "take the form as it came with the coupons", "the %s as drawn is missing", what)
		} else if r.Value <= 0 {
			faults.Add(r.placeOr(at), "take the form as it came with the coupons", "the %s as drawn is %s", what, num(r.Value))
		}
	})
	if err := faults.Err(); err != nil {
		return nil, err
	}
	return m, nil
}

func (r Reading) placeOr(p given.Place) given.Place {
	if r.Written() {
		return r.Place
	}
	return p
}

// drawn visits what the form must hold whether it is filled in or not.
func (m *Measured) drawn(visit func(at given.Place, what string, r Reading)) {
	steps := func(at given.Place, s Steps) {
		visit(at, "first hole", s.First)
		visit(at, "step of the holes", s.By)
		visit(at, "number of holes", s.Count)
	}
	for _, e := range m.Shrink {
		visit(e.Place, "bar along x", e.DrawnX)
		visit(e.Place, "bar along y", e.DrawnY)
		visit(e.Place, "tower", e.DrawnZ)
	}
	for _, e := range m.Holes {
		visit(e.Place, "hole", e.Drawn)
	}
	for _, e := range m.Dowels {
		visit(e.Place, "dowel", e.Dowel)
		steps(e.Place, e.Steps)
	}
	for _, e := range m.Inserts {
		steps(e.Place, e.Steps)
	}
	for _, e := range m.Plugs {
		visit(e.Place, "plug", e.Plug)
		steps(e.Place, e.Steps)
	}
	for _, e := range m.Kerfs {
		visit(e.Place, "number of strips", e.Strips)
		visit(e.Place, "width of all strips", e.Drawn)
	}
	for _, e := range m.Bends {
		for _, r := range e.Radii {
			visit(e.Place, "radius of a drum", r)
		}
	}
}

// Form is the form as a file, with blanks for what has not been measured.
func (m *Measured) Form() []byte {
	var b bytes.Buffer
	f := form{&b}
	b.WriteString(`# What to measure on the coupons. Fill in what stands blank, in mm; what you leave
# blank changes nothing. Then: groundwork measure. Shrinkage comes first: enter it,
# make the other coupons after that, or it counts twice.
groundwork: 1
`)
	if len(m.Shrink) > 0 {
		b.WriteString("\nshrink:      # let them cool for an hour; the arrows X and Y lie along the machine's own axes\n")
	}
	for _, e := range m.Shrink {
		f.first("filament", e.Filament.Value)
		f.length("drawn_x", e.DrawnX, "")
		f.length("drawn_y", e.DrawnY, "")
		f.length("drawn_z", e.DrawnZ, "")
		f.list("printed_with", e.PrintedWith)
		f.length("measured_x", e.X, "between the two faces across arrow X")
		f.length("measured_y", e.Y, "the same for Y")
		f.length("measured_z", e.Z, "height of the tower, without a brim")
	}
	if len(m.Holes) > 0 {
		b.WriteString("\nholes:       # the thickest pin or drill shank that goes in by its own weight\n")
	}
	for _, e := range m.Holes {
		f.first("drawn", plainNumber(e.Drawn.Value)+" mm")
		f.length("measured", e.Measured, "")
	}
	if len(m.Dowels) > 0 {
		b.WriteString("\ndowels:      # numbers of holes, as they stand beside them\n")
	}
	for _, e := range m.Dowels {
		f.first("dowel", plainNumber(e.Dowel.Value)+" mm")
		if e.Printed.Value {
			f.line("printed", "true", "")
		}
		f.steps(e.Steps)
		f.plain("glued", e.Glued, "the tightest that it goes into by hand with glue on")
		f.plain("loose", e.Loose, "the tightest that it slides in freely, dry")
	}
	if len(m.Inserts) > 0 {
		b.WriteString("\ninserts:     # set one in each hole, from the tightest on\n")
	}
	for _, e := range m.Inserts {
		f.first("insert", e.Insert.Value)
		f.steps(e.Steps)
		f.plain("best", e.Best, "square, firm, and no ring of plastic pushed up")
	}
	if len(m.Plugs) > 0 {
		b.WriteString("\nplugs:\n")
	}
	for _, e := range m.Plugs {
		f.first("plug", plainNumber(e.Plug.Value)+" mm")
		f.steps(e.Steps)
		f.plain("best", e.Best, "pushed in by hand, and stays")
	}
	if len(m.Kerfs) > 0 {
		b.WriteString("\nkerfs:       # push the strips together, edge to edge, and measure across them all\n")
	}
	for _, e := range m.Kerfs {
		f.first("laser", e.Laser.Value)
		f.plain("strips", e.Strips, "")
		f.length("drawn", e.Drawn, "")
		f.length("measured", e.Measured, "")
	}
	if len(m.Bends) > 0 {
		b.WriteString("\nbends:       # number of the smallest drum round which no strip cracked or lifted within a day\n")
	}
	for _, e := range m.Bends {
		f.first("veneer", e.Veneer.Value)
		f.line("grain", e.Grain.Value, "")
		f.list("radii", e.Radii)
		f.plain("smallest", e.Smallest, "")
	}
	if len(m.Neutrals) > 0 {
		b.WriteString("\nneutrals:    # the strip laid once round the largest drum\n")
	}
	for _, e := range m.Neutrals {
		f.first("veneer", e.Veneer.Value)
		f.length("drum", e.Drum, "diameter, the mean of three directions")
		f.length("strip", e.Strip, "length, measured flat before it is laid")
		f.length("gap", e.Gap, "between its ends; negative if they overlap")
	}
	return b.Bytes()
}

// form writes the entries of a form.
type form struct{ *bytes.Buffer }

func (f form) first(key, value string) { fmt.Fprintf(f, "  - %s: %s\n", key, value) }

func (f form) line(key, value, note string) {
	s := "    " + key + ":"
	if value != "" {
		s += " " + value
	}
	if note != "" {
		s = fmt.Sprintf("%-24s # %s", s, note)
	}
	f.WriteString(s + "\n")
}

func (f form) plain(key string, r Reading, note string) {
	value := ""
	if r.Read {
		value = plainNumber(r.Value)
	}
	f.line(key, value, note)
}

func (f form) length(key string, r Reading, note string) {
	value := ""
	if r.Read {
		value = plainNumber(r.Value) + " mm"
	}
	f.line(key, value, note)
}

func (f form) list(key string, rs []Reading) {
	all := make([]string, len(rs))
	for i, r := range rs {
		all[i] = plainNumber(r.Value)
	}
	f.line(key, "["+strings.Join(all, ", ")+"]", "")
}

func (f form) steps(s Steps) {
	f.length("first", s.First, "")
	f.length("by", s.By, "")
	f.plain("steps", s.Count, "")
}

// plainNumber is a number to a millionth, as short as it can be written.
func plainNumber(v float64) string {
	return strconv.FormatFloat(math.Round(v*1e6)/1e6+0, 'f', -1, 64)
}
