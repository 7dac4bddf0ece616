package line

import (
	"fmt"
	"strings"

	"github.com/xuri/excelize/v2"
)

// XLSX is the table as a workbook (ISO/IEC 29500): a sheet of variants with
// numbers as numbers, one of all findings, and one of what went in.
func (t *Table) XLSX() ([]byte, error) {
	f := excelize.NewFile()
	defer f.Close()
	w := workbook{file: f}
	w.properties(t.Line.Title)
	w.styles()
	t.variantsSheet(&w)
	t.findingsSheet(&w)
	t.inputsSheet(&w)
	if w.err != nil {
		return nil, fmt.Errorf("line: table.xlsx: %w", w.err)
	}
	f.SetActiveSheet(0)
	b, err := f.WriteToBuffer()
	if err != nil {
		return nil, fmt.Errorf("line: table.xlsx: %w", err)
	}
	return b.Bytes(), nil
}

// workbook writes cells until the first error.
type workbook struct {
	file                      *excelize.File
	sheet                     string
	err                       error
	head, text, wrapped, best int
	numbers                   map[bool][]int // by whether it is the cheapest's row, then by digits
}

func (w *workbook) do(err error) {
	if w.err == nil {
		w.err = err
	}
}

// properties replace those that the library has, which name its author.
func (w *workbook) properties(title string) {
	const never = "2000-01-01T00:00:00Z" // a table has the same bytes whenever it is made
	w.do(w.file.SetDocProps(&excelize.DocProperties{Title: title, Creator: "Groundwork", LastModifiedBy: "Groundwork", Created: never, Modified: never}))
	w.do(w.file.SetAppProps(&excelize.AppProperties{Application: "Groundwork"}))
}

func (w *workbook) styles() {
	style := func(s excelize.Style) int {
		id, err := w.file.NewStyle(&s)
		w.do(err)
		return id
	}
	fill := excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"EFECE3"}}
	best := excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"DCE9DD"}}
	w.head = style(excelize.Style{Font: &excelize.Font{Bold: true}, Fill: fill, Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}})
	w.text = style(excelize.Style{Alignment: &excelize.Alignment{Vertical: "top"}})
	w.best = style(excelize.Style{Fill: best, Alignment: &excelize.Alignment{Vertical: "top"}})
	w.wrapped = style(excelize.Style{Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}})
	w.numbers = map[bool][]int{}
	for _, cheapest := range []bool{false, true} {
		for digits := range 4 {
			format := "#,##0"
			if digits > 0 {
				format += "." + strings.Repeat("0", digits)
			}
			s := excelize.Style{CustomNumFmt: &format, Alignment: &excelize.Alignment{Vertical: "top"}}
			if cheapest {
				s.Fill = best
			}
			w.numbers[cheapest] = append(w.numbers[cheapest], style(s))
		}
	}
}

func (w *workbook) number(cheapest bool, digits int) int {
	return w.numbers[cheapest][digits]
}

// open begins a sheet.
func (w *workbook) open(name string) {
	if w.sheet == "" {
		w.do(w.file.SetSheetName("Sheet1", name))
	} else {
		_, err := w.file.NewSheet(name)
		w.do(err)
	}
	w.sheet = name
}

func (w *workbook) put(col, row int, v any, style int) {
	cell, err := excelize.CoordinatesToCellName(col, row)
	w.do(err)
	if s, ok := v.(string); ok {
		w.do(w.file.SetCellStr(w.sheet, cell, s)) // never a formula
	} else {
		w.do(w.file.SetCellValue(w.sheet, cell, v))
	}
	w.do(w.file.SetCellStyle(w.sheet, cell, cell, style))
}

func (w *workbook) width(col int, width float64) {
	name, err := excelize.ColumnNumberToName(col)
	w.do(err)
	w.do(w.file.SetColWidth(w.sheet, name, name, width))
}

// closed freezes what heads a sheet, its first columns too, and puts filters on
// its columns.
func (w *workbook) closed(columns, rows, fixed int) {
	corner, err := excelize.CoordinatesToCellName(fixed+1, 2)
	w.do(err)
	pane := "bottomLeft"
	if fixed > 0 {
		pane = "bottomRight"
	}
	w.do(w.file.SetPanes(w.sheet, &excelize.Panes{Freeze: true, XSplit: fixed, YSplit: 1, TopLeftCell: corner, ActivePane: pane}))
	last, err := excelize.CoordinatesToCellName(columns, max(rows, 1))
	w.do(err)
	w.do(w.file.AutoFilter(w.sheet, "A1:"+last, nil))
	landscape, paper, fit, tall := "landscape", 9, 1, 0 // A4, as wide as the page
	yes := true
	w.do(w.file.SetPageLayout(w.sheet, &excelize.PageLayoutOptions{Orientation: &landscape, Size: &paper, FitToWidth: &fit, FitToHeight: &tall}))
	w.do(w.file.SetSheetProps(w.sheet, &excelize.SheetPropsOptions{FitToPage: &yes}))
}

func (t *Table) variantsSheet(w *workbook) {
	w.open("Variants")
	cols := t.columns(true)
	cheapest := t.Cheapest()
	n := 0
	head := func(text string, width float64) {
		n++
		w.put(n, 1, text, w.head)
		w.width(n, width)
	}
	head("Variant", 9)
	for _, a := range t.Line.Axes {
		text := a.head()
		if u := a.unitWord(); u != "" && a.Kind == Parameter {
			text += ", " + u
		}
		head(text, 12)
	}
	fixed := n
	head("State", 18)
	for _, c := range cols {
		text := c.group + ": " + c.head
		if c.unit != "" {
			text += ", " + c.unit
		}
		head(text, 11)
	}
	head("Cheapest", 10)
	head("Gravest finding", 80)
	for i, v := range t.Line.Variants {
		r, row := t.Rows[i], i+2
		best := i == cheapest
		text := w.text
		if best {
			text = w.best
		}
		w.put(1, row, v.N, w.number(best, 0))
		for j, a := range t.Line.Axes {
			if x, ok := a.number(v.Values[j]); ok {
				w.put(j+2, row, x, text) // as it is, so that no digit is lost
			} else {
				w.put(j+2, row, v.Values[j], text)
			}
		}
		w.put(fixed+1, row, t.mark(i), text)
		for j, c := range cols {
			if x, ok := c.of(r); ok {
				w.put(fixed+2+j, row, x, w.number(best, c.digits))
			} else {
				w.put(fixed+2+j, row, "", text)
			}
		}
		mark := ""
		if best {
			mark = "cheapest"
		}
		w.put(n-1, row, mark, text)
		w.put(n, row, r.Gravest(), text)
	}
	w.closed(n, len(t.Rows)+1, fixed)
}

func (t *Table) findingsSheet(w *workbook) {
	w.open("Findings")
	for i, h := range []struct {
		text  string
		width float64
	}{{"Variant", 9}, {"Which", 34}, {"Severity", 10}, {"Of", 22}, {"Finding", 80}, {"Remedy", 60}, {"Basis", 40}} {
		w.put(i+1, 1, h.text, w.head)
		w.width(i+1, h.width)
	}
	row := 1
	for i, v := range t.Line.Variants {
		r := t.Rows[i]
		found := r.Found
		if r.Error != "" {
			row++
			w.put(1, row, v.N, w.text)
			w.put(2, row, v.Name, w.wrapped)
			w.put(3, row, string(r.State), w.text)
			w.put(4, row, "piece", w.wrapped)
			w.put(5, row, r.Error, w.wrapped)
		}
		for _, f := range found {
			row++
			w.put(1, row, v.N, w.text)
			w.put(2, row, v.Name, w.wrapped)
			w.put(3, row, f.Severity.String(), w.text)
			w.put(4, row, strings.Join(append([]string{f.Subject}, f.Also...), ", "), w.wrapped)
			w.put(5, row, f.Message, w.wrapped)
			w.put(6, row, f.Remedy, w.wrapped)
			w.put(7, row, f.Source, w.wrapped)
		}
	}
	w.closed(7, row, 0)
}

func (t *Table) inputsSheet(w *workbook) {
	w.open("Inputs")
	w.put(1, 1, "What", w.head)
	w.put(2, 1, "Value", w.head)
	w.width(1, 24)
	w.width(2, 90)
	rows := t.inputs()
	for i, in := range rows {
		w.put(1, i+2, in[0], w.wrapped)
		w.put(2, i+2, in[1], w.wrapped)
	}
	w.closed(2, len(rows)+1, 0)
}

// inputs are what the table rests on, in words.
func (t *Table) inputs() (out [][2]string) {
	l := t.Line
	add := func(what, value string) { out = append(out, [2]string{what, value}) }
	p, s := nameOf(l.Piece), nameOf(l.Shop)
	add("Piece", l.Title)
	add("Piece file", p.File)
	add("SHA-256 of the piece file", p.SHA256)
	add("Shop file", s.File)
	add("SHA-256 of the shop file", s.SHA256)
	for _, a := range l.Axes {
		what := string(a.Kind)
		if a.Kind == Parameter {
			what += " " + a.Name
		}
		add(what, strings.Join(a.Values, ", "))
	}
	add("Variants", fmt.Sprint(len(l.Variants)))
	strength := "not worked out"
	if l.Options.Strength {
		strength = "worked out by an elastic model: estimates, which certify nothing"
	}
	add("Strength", strength)
	for _, c := range t.columns(true) {
		if c.note != "" {
			add(c.group+": "+c.head, c.note)
		}
	}
	return out
}
