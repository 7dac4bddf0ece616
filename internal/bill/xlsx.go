package bill

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"

	"groundwork/internal/shop"
)

// The sheets of the workbook.
const (
	billSheet     = "Bill"
	hoursSheet    = "Hours"
	hardwareSheet = "Hardware"
	veneerSheet   = "Veneer"
)

// written stands for the time of writing, which is told nowhere: the same bill is
// the same bytes.
const written = "2000-01-01T00:00:00Z"

// titles of sections as headings.
var titles = map[Section]string{
	Filament: "Filament", Veneer: "Veneer", Hardware: "Hardware", Consumable: "Consumables", Machine: "Machines", Labour: "Hand work",
	Fixtures: "Fixtures, made once",
}

// XLSX writes a bill, and the inputs that it was made from, as a workbook
// (ISO/IEC 29500): the bill by sections, hours, hardware to order, and veneer.
// Costs and sums are formulas that go on working when prices are changed there,
// with the bill's own values beside them. The same bill gives the same bytes.
func XLSX(w io.Writer, title string, b *Bill, in Inputs) error {
	f := excelize.NewFile()
	defer f.Close()
	book := &workbook{file: f, bill: b, title: title, styles: map[string]int{}}
	for i, sheet := range []struct {
		name  string
		write func(*table)
	}{
		{billSheet, book.lines}, {hoursSheet, book.hours}, {hardwareSheet, book.hardware},
		{veneerSheet, func(t *table) { book.veneer(t, in) }},
	} {
		t := &table{name: sheet.name}
		sheet.write(t)
		if err := book.put(i, t); err != nil {
			return fmt.Errorf("writing sheet %s of the bill: %w", sheet.name, err)
		}
	}
	if err := f.SetDocProps(&excelize.DocProperties{Title: title, Creator: "Groundwork", LastModifiedBy: "Groundwork", Created: written, Modified: written}); err != nil {
		return fmt.Errorf("writing the bill's properties: %w", err)
	}
	var buf bytes.Buffer
	if err := f.Write(&buf); err != nil {
		return fmt.Errorf("writing the bill's workbook: %w", err)
	}
	return inOrder(w, buf.Bytes())
}

// inOrder packs a workbook anew, its parts by name and without times: excelize
// writes its sheets in no order.
func inOrder(w io.Writer, packed []byte) error {
	r, err := zip.NewReader(bytes.NewReader(packed), int64(len(packed)))
	if err != nil {
		return fmt.Errorf("packing the bill's workbook: %w", err)
	}
	slices.SortFunc(r.File, func(a, b *zip.File) int { return strings.Compare(a.Name, b.Name) })
	z := zip.NewWriter(w)
	for _, part := range r.File {
		from, err := part.Open()
		if err != nil {
			return fmt.Errorf("packing %s of the bill's workbook: %w", part.Name, err)
		}
		to, err := z.CreateHeader(&zip.FileHeader{Name: part.Name, Method: zip.Deflate})
		if err == nil {
			_, err = io.Copy(to, from)
		}
		from.Close()
		if err != nil {
			return fmt.Errorf("packing %s of the bill's workbook: %w", part.Name, err)
		}
	}
	if err := z.Close(); err != nil {
		return fmt.Errorf("packing the bill's workbook: %w", err)
	}
	return nil
}

// look is how a cell shows its value.
type look struct {
	format string // of numbers; "" for words
	bold   bool
	over   bool // a line above it, of sums
	wrap   bool
	head   bool
}

// cell is a value with its look, and the formula that it comes from.
type cell struct {
	look
	value   any // string or float64; nil for none
	formula string
}

// column is one of a table.
type column struct {
	title string
	wide  float64 // letters
}

// table is a sheet: a head row, and rows below it.
type table struct {
	name    string
	columns []column
	rows    [][]cell
}

// next is the number of the row that is added next, as formulas name it.
func (t *table) next() int { return len(t.rows) + 2 }

func (t *table) add(row ...cell) int {
	t.rows = append(t.rows, row)
	return t.next() - 1
}

func word(s string) cell { return cell{value: s} }

func (c cell) bolder() cell {
	c.bold, c.over = true, true
	return c
}

// workbook is what sheets are put into.
type workbook struct {
	file   *excelize.File
	bill   *Bill
	title  string
	styles map[string]int // by look
}

// money is a value in the bill's currency.
func (w *workbook) money(v float64, formula string) cell {
	return cell{look: look{format: w.currency("#,##0.00")}, value: v, formula: formula}
}

// price is money for a unit, which may be a gram.
func (w *workbook) price(v float64) cell {
	return cell{look: look{format: w.currency("#,##0.00##")}, value: v}
}

func (w *workbook) currency(number string) string {
	if c := strings.NewReplacer(`"`, "", `\`, "").Replace(w.bill.Currency); c != "" {
		return number + ` "` + c + `"`
	}
	return number
}

// number is a value with so many digits behind the point at most.
func number(v float64, format, formula string) cell {
	return cell{look: look{format: format}, value: v, formula: formula}
}

// amountFormat is how amounts of a unit are shown.
func amountFormat(unit string) string {
	switch unit {
	case "piece", "sheet":
		return "#,##0"
	case "h":
		return "#,##0.00"
	}
	return "#,##0.0"
}

func note(s string) cell { return cell{look: look{wrap: true}, value: s} }

// sum is the formula of a column from one row to another, 0 without rows.
func sum(column string, from, to int) string {
	if to < from {
		return "0"
	}
	return fmt.Sprintf("SUM(%s%d:%s%d)", column, from, column, to)
}

// also joins two remarks, of which the second may be none.
func also(s, more string) string {
	if more == "" {
		return s
	}
	return s + "; " + more
}

// lines is every line by section, with sums.
func (w *workbook) lines(t *table) {
	t.columns = []column{{"Section", 20}, {"Item", 38}, {"Amount", 12}, {"Unit", 8}, {"Price", 14}, {"Cost", 14}, {"Note", 62}}
	var subtotals []string
	total := func(what string, v float64, formula, why string) int {
		return t.add(word(what).bolder(), word("").bolder(), word("").bolder(), word("").bolder(), word("").bolder(), w.money(v, formula).bolder(), note(why).bolder())
	}
	group := func(s Section) int {
		from := t.next()
		for _, l := range w.bill.Lines {
			if l.Section != s {
				continue
			}
			n := t.next()
			t.add(word(titles[s]), word(l.Item), number(l.Quantity, amountFormat(l.Unit), ""), word(l.Unit), w.price(l.Price),
				w.money(l.Cost, fmt.Sprintf("C%d*E%d", n, n)), note(l.Remark()))
		}
		if t.next() == from {
			return 0
		}
		return total(titles[s]+", in all", w.bill.CostOf(s), sum("F", from, t.next()-1), "")
	}
	for _, s := range sections {
		if s == Fixtures {
			continue
		}
		if n := group(s); n > 0 {
			subtotals = append(subtotals, fmt.Sprintf("F%d", n))
		}
	}
	all := "0"
	if len(subtotals) > 0 {
		all = "SUM(" + strings.Join(subtotals, ",") + ")"
	}
	piece := total("The piece", w.bill.Cost, all, also("without fixtures", w.bill.Lacks(false)))
	if n := group(Fixtures); n > 0 {
		total("With fixtures", w.bill.WithFixtures(), fmt.Sprintf("F%d+F%d", piece, n), also("of the first piece: fixtures serve every other one too", w.bill.Lacks(true)))
	}
}

// hours is who and what is at work how long.
func (w *workbook) hours(t *table) {
	t.columns = []column{{"Who", 26}, {"Work", 40}, {"Hours", 12}, {"Price of an hour", 18}, {"Cost", 14}, {"Counted as", 70}}
	group := func(what string, keep func(Line) bool) {
		from := t.next()
		var hours, cost float64
		for _, l := range w.bill.Lines {
			if l.Unit != "h" || !keep(l) {
				continue
			}
			n := t.next()
			hours, cost = hours+l.Quantity, cost+l.Cost
			t.add(word(what), word(l.Item), number(l.Quantity, "#,##0.00", ""), w.price(l.Price), w.money(l.Cost, fmt.Sprintf("C%d*D%d", n, n)), note(l.Remark()))
		}
		if to := t.next() - 1; to >= from {
			t.add(word(what+", in all").bolder(), word("").bolder(), number(hours, "#,##0.00", sum("C", from, to)).bolder(), word("").bolder(), w.money(cost, sum("E", from, to)).bolder(), word("").bolder())
		}
	}
	group("By hand", func(l Line) bool { return l.Section == Labour })
	group("Machines", func(l Line) bool { return l.Section == Machine })
	group("Fixtures, by hand", func(l Line) bool { return l.Section == Fixtures && l.Seconds > 0 })
	group("Fixtures, machines", func(l Line) bool { return l.Section == Fixtures && l.Seconds == 0 })
}

// hardware is what to order: what is in hand is written in by who reads it.
func (w *workbook) hardware(t *table) {
	t.columns = []column{{"Item", 38}, {"Pieces", 10}, {"In hand", 10}, {"To order", 10}, {"Price", 14}, {"Cost of all", 14}, {"Cost of the order", 16}, {"Made by", 36}}
	var cost float64
	from := t.next()
	for _, l := range w.bill.Lines {
		if l.Section != Hardware {
			continue
		}
		n := t.next()
		by := "bought"
		if strings.HasPrefix(l.Item, "printed") {
			by = "printed with the piece"
		}
		if l.Unpriced {
			by += "; " + NoPrice
		}
		cost += l.Cost
		t.add(word(l.Item), number(l.Quantity, "#,##0", ""), number(0, "#,##0", ""), number(l.Quantity, "#,##0", fmt.Sprintf("MAX(0,B%d-C%d)", n, n)), w.price(l.Price),
			w.money(l.Cost, fmt.Sprintf("B%d*E%d", n, n)), w.money(l.Cost, fmt.Sprintf("D%d*E%d", n, n)), word(by))
	}
	to := t.next() - 1
	t.add(word("In all").bolder(), word("").bolder(), word("").bolder(), word("").bolder(), word("").bolder(), w.money(cost, sum("F", from, to)).bolder(),
		w.money(cost, sum("G", from, to)).bolder(), word("").bolder())
}

// veneer is, for every kind, what is bought or taken from stock, and what of it is
// laid.
func (w *workbook) veneer(t *table, in Inputs) {
	t.columns = []column{{"Veneer", 30}, {"Pieces", 10}, {"Size", 22}, {"Area, m2", 12}, {"Price", 14}, {"Cost", 14}, {"Leaves and bands", 18}, {"Laid, m2", 12}, {"Laid of it", 12}}
	const squareMetre = 1e-6
	var cost, area, laid float64
	var leaves int
	from := t.next()
	for _, v := range in.Shop.Veneers {
		var net float64
		n := 0
		for _, p := range in.Patterns {
			if p.Veneer == v.ID {
				net, n = net+p.NetArea*squareMetre, n+1
			}
		}
		first := t.next()
		var own float64
		for _, l := range w.bill.Lines {
			each, ok := sheetOf(v, l)
			if l.Section != Veneer || !ok {
				continue
			}
			k := t.next()
			m2 := l.Quantity * each * squareMetre
			own += m2
			cost += l.Cost
			t.add(word(l.Item), number(l.Quantity, "#,##0", ""), word(l.Note), number(m2, "#,##0.000", fmt.Sprintf("B%d*%v", k, each*squareMetre)), w.price(l.Price),
				w.money(l.Cost, fmt.Sprintf("B%d*E%d", k, k)), word(""), word(""), word(""))
		}
		if t.next() == first && n == 0 {
			continue
		}
		// What is laid stands in the first row of its kind.
		if t.next() == first {
			t.add(word(v.ID), number(0, "#,##0", ""), word(""), number(0, "#,##0.000", ""), w.price(v.Price), w.money(0, ""), word(""), word(""), word(""))
		}
		row := t.rows[first-2]
		row[6], row[7] = number(float64(n), "#,##0", ""), number(net, "#,##0.000", "")
		if own > 0 {
			row[8] = number(net/own, "0%", fmt.Sprintf("H%d/SUM(D%d:D%d)", first, first, t.next()-1))
		}
		area, laid, leaves = area+own, laid+net, leaves+n
	}
	to := t.next() - 1
	all := []cell{word("In all"), word(""), word(""), number(area, "#,##0.000", sum("D", from, to)), word(""), w.money(cost, sum("F", from, to)),
		number(float64(leaves), "#,##0", sum("G", from, to)), number(laid, "#,##0.000", sum("H", from, to)), word("")}
	for i := range all {
		all[i] = all[i].bolder()
	}
	if area > 0 {
		all[8] = number(laid/area, "0%", fmt.Sprintf("H%d/D%d", t.next(), t.next())).bolder()
	}
	t.add(all...)
}

// sheetOf is the area in mm² of what a line of veneer counts, if it is of a kind.
func sheetOf(v shop.Veneer, l Line) (float64, bool) {
	if l.Item == v.ID {
		return v.Sheet.X * v.Sheet.Y, true
	}
	for _, o := range v.Offcuts {
		if l.Item == offcut(v.ID, o.ID) {
			return o.Size.X * o.Size.Y, true
		}
	}
	return 0, false
}

// put writes a table as sheet i of the workbook.
func (w *workbook) put(i int, t *table) error {
	f := w.file
	if i == 0 {
		if err := f.SetSheetName("Sheet1", t.name); err != nil {
			return err
		}
	} else if _, err := f.NewSheet(t.name); err != nil {
		return err
	}
	yes, landscape, a4, wide, high := true, "landscape", 9, 1, 0 // as many pages high as it takes
	if err := f.SetSheetProps(t.name, &excelize.SheetPropsOptions{FitToPage: &yes}); err != nil {
		return err
	}
	if err := f.SetPageLayout(t.name, &excelize.PageLayoutOptions{Size: &a4, Orientation: &landscape, FitToWidth: &wide, FitToHeight: &high}); err != nil {
		return err
	}
	head := strings.ReplaceAll(w.title+": "+t.name, "&", "&&") // a single & begins a code
	if r := []rune(head); len(r) > 200 {                       // 255 with codes at most
		head = string(r[:200])
	}
	if err := f.SetHeaderFooter(t.name, &excelize.HeaderFooterOptions{OddHeader: "&L" + head, OddFooter: "&R&P / &N"}); err != nil {
		return err
	}
	last, err := excelize.ColumnNumberToName(len(t.columns))
	if err != nil {
		return err
	}
	for _, d := range [][2]string{{"_xlnm.Print_Area", fmt.Sprintf("$A$1:$%s$%d", last, t.next()-1)}, {"_xlnm.Print_Titles", "$1:$1"}} {
		if err := f.SetDefinedName(&excelize.DefinedName{Name: d[0], RefersTo: t.name + "!" + d[1], Scope: t.name}); err != nil {
			return err
		}
	}
	s, err := f.NewStreamWriter(t.name)
	if err != nil {
		return err
	}
	if err := s.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	var titles []cell
	for n, c := range t.columns {
		if err := s.SetColWidth(n+1, n+1, c.wide); err != nil {
			return err
		}
		titles = append(titles, cell{look: look{head: true, bold: true, wrap: true}, value: c.title})
	}
	for n, row := range append([][]cell{titles}, t.rows...) {
		out := make([]any, len(row))
		for k, c := range row {
			style, err := w.style(c.look)
			if err != nil {
				return err
			}
			out[k] = excelize.Cell{StyleID: style, Formula: c.formula, Value: c.value}
		}
		if err := s.SetRow(fmt.Sprintf("A%d", n+1), out); err != nil {
			return err
		}
	}
	return s.Flush()
}

// style is the number of a look in the workbook.
func (w *workbook) style(l look) (int, error) {
	key := fmt.Sprintf("%+v", l)
	if id, ok := w.styles[key]; ok {
		return id, nil
	}
	s := &excelize.Style{Font: &excelize.Font{Bold: l.bold}, Alignment: &excelize.Alignment{Vertical: "top", WrapText: l.wrap}}
	if l.format != "" {
		s.CustomNumFmt = &l.format
	}
	if l.over {
		s.Border = []excelize.Border{{Type: "top", Style: 1, Color: "000000"}}
	}
	if l.head {
		s.Fill = excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"E0E0E0"}}
	}
	id, err := w.file.NewStyle(s)
	if err == nil {
		w.styles[key] = id
	}
	return id, err
}
