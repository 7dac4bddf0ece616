package line

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"groundwork/internal/unit"
)

// Table is a line worked out. It must not be changed.
type Table struct {
	Line    *Line
	Rows    []*Row // by variant
	Reused  int    // rows that were kept from earlier
	NotKept error  // why some rows could not be kept; the table is whole all the same
}

// column is one number of every row that has it.
type column struct {
	group  string // heading over several
	head   string
	name   string // in CSV: with its unit
	unit   string // "" for none; "money" for the currency
	digits int
	aside  bool // only in CSV and XLSX
	note   string
	of     func(*Row) (float64, bool)
}

// figure makes a column of what every row has whose plan was made.
func figure(f func(*Figures) float64) func(*Row) (float64, bool) {
	return func(r *Row) (float64, bool) {
		if r.Figures == nil {
			return 0, false
		}
		return f(r.Figures), true
	}
}

func kitFigure(f func(*Kit) float64) func(*Row) (float64, bool) {
	return func(r *Row) (float64, bool) {
		if r.Figures == nil || r.Figures.Kit == nil {
			return 0, false
		}
		return f(r.Figures.Kit), true
	}
}

func bearing(f func(*Bears) float64) func(*Row) (float64, bool) {
	return func(r *Row) (float64, bool) {
		if r.Bears == nil {
			return 0, false
		}
		return f(r.Bears), true
	}
}

func count(f func(*Row) int) func(*Row) (float64, bool) {
	return func(r *Row) (float64, bool) { return float64(f(r)), true }
}

var columns = []column{
	{"Size", "wide", "wide_mm", "mm", 0, false, "box round the piece, as its file measures it", figure(func(f *Figures) float64 { return f.Size[0] })},
	{"Size", "deep", "deep_mm", "mm", 0, false, "", figure(func(f *Figures) float64 { return f.Size[1] })},
	{"Size", "high", "high_mm", "mm", 0, false, "", figure(func(f *Figures) float64 { return f.Size[2] })},
	{"Size", "mass", "mass_kg", "kg", 2, false, "of the finished piece", figure(func(f *Figures) float64 { return f.Mass / 1000 })},
	{"Parts", "members", "members", "", 0, true, "", figure(func(f *Figures) float64 { return float64(f.Members) })},
	{"Parts", "segments", "segments", "", 0, false, "", figure(func(f *Figures) float64 { return float64(f.Segments) })},
	{"Parts", "loads", "print_loads", "", 0, false, "print loads", figure(func(f *Figures) float64 { return float64(f.Loads) })},
	{"Parts", "patterns", "patterns", "", 0, true, "leaves and bands", figure(func(f *Figures) float64 { return float64(f.Patterns) })},
	{"Parts", "blanks", "blanks", "", 0, true, "of veneer, cut to the bed", figure(func(f *Figures) float64 { return float64(f.Blanks) })},
	{"Time", "by hand", "hand_h", "h", 1, false, "", figure(func(f *Figures) float64 { return f.Hand / 3600 })},
	{"Time", "printers", "print_h", "h", 1, false, "machine hours, added up over all printers", figure(func(f *Figures) float64 { return f.Print / 3600 })},
	{"Time", "printers at least", "print_low_h", "h", 1, true, "", figure(func(f *Figures) float64 { return f.PrintLow / 3600 })},
	{"Time", "printers at most", "print_high_h", "h", 1, true, "", figure(func(f *Figures) float64 { return f.PrintHigh / 3600 })},
	{"Time", "laser", "laser_h", "h", 1, false, "", figure(func(f *Figures) float64 { return f.Laser / 3600 })},
	{"Time", "days", "days", "d", 1, false, "from the first print to the day of use, nights and waits among them", func(r *Row) (float64, bool) {
		if r.Figures == nil || r.Figures.Calendar == nil {
			return 0, false
		}
		return r.Figures.Calendar.Days, true
	}},
	{"Material", "filament", "filament_kg", "kg", 2, false, "with waste", figure(func(f *Figures) float64 { return f.Filament / 1000 })},
	{"Material", "veneer laid", "veneer_laid_m2", "m²", 2, true, "", figure(func(f *Figures) float64 { return f.VeneerLaid / 1e6 })},
	{"Material", "veneer used up", "veneer_used_up_m2", "m²", 2, false, "bought less offcuts worth keeping", figure(func(f *Figures) float64 { return f.VeneerConsumed / 1e6 })},
	{"Material", "veneer bought", "veneer_bought_m2", "m²", 2, false, "whole sheets, and offcuts of the shop's that are cut up", figure(func(f *Figures) float64 { return f.VeneerBought / 1e6 })},
	{"Money", "hardware", "hardware_cost", "money", 2, false, "", figure(func(f *Figures) float64 { return f.Hardware })},
	{"Money", "material", "material_cost", "money", 2, false, "filament, veneer, hardware and consumables", figure(func(f *Figures) float64 { return f.Material })},
	{"Money", "total", "cost", "money", 2, false, "with machines and labour", figure(func(f *Figures) float64 { return f.Cost })},
	{"Kit", "price", "kit_price", "money", 2, false, "of one kit, made alone", kitFigure(func(k *Kit) float64 { return k.Price })},
	{"Kit", "parcels", "parcels", "", 0, false, "", kitFigure(func(k *Kit) float64 { return float64(k.Parcels) })},
	{"Kit", "largest parcel, longest edge", "parcel_length_mm", "mm", 0, true, "outside of the largest parcel", kitFigure(func(k *Kit) float64 { return k.Largest[0] })},
	{"Kit", "middle edge", "parcel_width_mm", "mm", 0, true, "", kitFigure(func(k *Kit) float64 { return k.Largest[1] })},
	{"Kit", "shortest edge", "parcel_height_mm", "mm", 0, true, "", kitFigure(func(k *Kit) float64 { return k.Largest[2] })},
	{"Kit", "mass", "kit_kg", "kg", 2, true, "of all parcels", kitFigure(func(k *Kit) float64 { return k.Mass / 1000 })},
	{"Strength", "margin", "strength_margin", "", 2, false, "the least that is judged; 1 is just enough", func(r *Row) (float64, bool) {
		if r.Bears == nil || r.Bears.Of == "" {
			return 0, false
		}
		return r.Bears.Margin, true
	}},
	{"Strength", "cases fail", "strength_cases_fail", "", 0, false, "load cases with a verdict that fails", bearing(func(b *Bears) float64 { return float64(b.Fails) })},
	{"Strength", "not solved", "strength_cases_not_solved", "", 0, false, "", bearing(func(b *Bears) float64 { return float64(b.Cases - b.Solved) })},
	{"Findings", "stops", "stops", "", 0, true, "", count(func(r *Row) int { return r.Stops })},
	{"Findings", "warnings", "warnings", "", 0, true, "", count(func(r *Row) int { return r.Warns })},
	{"Findings", "notes", "notes", "", 0, true, "", count(func(r *Row) int { return r.Notes })},
}

// columns are those that some row has a number in; without those aside, if not all.
func (t *Table) columns(all bool) (out []column) {
	for _, c := range columns {
		if c.aside && !all {
			continue
		}
		for _, r := range t.Rows {
			if _, ok := c.of(r); ok {
				if c.unit == "money" {
					c.unit = t.Line.Currency
				}
				out = append(out, c)
				break
			}
		}
	}
	return out
}

// Cheapest is the index of the variant that costs least among those that can be
// made and bear their loads, if that was asked for; the first of several, -1 if
// there is none.
func (t *Table) Cheapest() int {
	best := -1
	for i, r := range t.Rows {
		if r.State != Made || r.Bears != nil && !r.Bears.Holds() {
			continue
		}
		if best < 0 || r.Figures.Cost < t.Rows[best].Figures.Cost {
			best = i
		}
	}
	return best
}

// Count is how many rows are in a state.
func (t *Table) Count(s State) (n int) {
	for _, r := range t.Rows {
		if r.State == s {
			n++
		}
	}
	return n
}

// number is a value of an axis in the unit that its column has; false for words.
func (a Axis) number(value string) (float64, bool) {
	if a.Kind != Parameter {
		return 0, false
	}
	v, q, err := unit.Parse(value)
	if err != nil {
		return 0, false
	}
	if q == unit.Angle {
		v *= 180 / math.Pi
	}
	return math.Round(v*1e6) / 1e6, true
}

// unitWord is the unit of number.
func (a Axis) unitWord() string { return baseWord[a.quantity] }

// head is what an axis is called over its column.
func (a Axis) head() string { return strings.ReplaceAll(a.Name, "_", " ") }

// mark is a word on a variant's state, with what stands out of it.
func (t *Table) mark(i int) string {
	r := t.Rows[i]
	s := string(r.State)
	if r.State == Made && r.Bears != nil && !r.Bears.Holds() {
		s += ", but does not bear its loads"
		if r.Bears.Fails == 0 {
			s = "can be made; not every load case was solved"
		}
	}
	return s
}

func decimal(x float64, digits int) string { return strconv.FormatFloat(x, 'f', digits, 64) }

// CSV is the table for other programs: numbers with points, in the units that
// the heads name.
func (t *Table) CSV() ([]byte, error) {
	cols := t.columns(true)
	head := []string{"variant"}
	for _, a := range t.Line.Axes {
		name := a.Name
		if u := a.unitWord(); u != "" && a.Kind == Parameter {
			name += "_" + u
		}
		head = append(head, name)
	}
	head = append(head, "state")
	for _, c := range cols {
		head = append(head, c.name)
	}
	head = append(head, "currency", "cheapest", "gravest_finding")
	rows := [][]string{head}
	cheapest := t.Cheapest()
	for i, v := range t.Line.Variants {
		r := t.Rows[i]
		row := []string{strconv.Itoa(v.N)}
		for j, a := range t.Line.Axes {
			if x, ok := a.number(v.Values[j]); ok {
				row = append(row, strconv.FormatFloat(x, 'f', -1, 64))
			} else {
				row = append(row, v.Values[j])
			}
		}
		row = append(row, t.mark(i))
		for _, c := range cols {
			if x, ok := c.of(r); ok {
				row = append(row, decimal(x, c.digits+1))
			} else {
				row = append(row, "")
			}
		}
		best := ""
		if i == cheapest {
			best = "cheapest"
		}
		rows = append(rows, append(row, t.Line.Currency, best, r.Gravest()))
	}
	var b bytes.Buffer
	if err := csv.NewWriter(&b).WriteAll(rows); err != nil {
		return nil, fmt.Errorf("line: table.csv: %w", err)
	}
	return b.Bytes(), nil
}

// document is line.json.
type document struct {
	Groundwork int               `json:"groundwork_line"` // version of this format
	Title      string            `json:"title"`
	Piece      named             `json:"piece"`
	Shop       named             `json:"shop"`
	Currency   string            `json:"currency"`
	Axes       []Axis            `json:"axes"`
	Options    Options           `json:"options"`
	Variants   []documentVariant `json:"variants"`
	Cheapest   int               `json:"cheapest,omitempty"` // N of a variant; 0 for none
}

type named struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
}

type documentVariant struct {
	N      int      `json:"n"`
	Name   string   `json:"name"`
	Values []string `json:"values"`
	*Row
}

func nameOf(f File) named {
	sum := sha256.Sum256(f.Data)
	return named{f.Name, hex.EncodeToString(sum[:])}
}

// JSON is the whole of the table as data.
func (t *Table) JSON() ([]byte, error) {
	l := t.Line
	d := document{Groundwork: 1, Title: l.Title, Piece: nameOf(l.Piece), Shop: nameOf(l.Shop), Currency: l.Currency, Axes: l.Axes, Options: l.Options, Cheapest: t.Cheapest() + 1}
	for i, v := range l.Variants {
		d.Variants = append(d.Variants, documentVariant{v.N, v.Name, v.Values, t.Rows[i]})
	}
	out, err := json.MarshalIndent(d, "", " ")
	if err != nil {
		return nil, fmt.Errorf("line: line.json: %w", err)
	}
	return append(out, '\n'), nil
}
