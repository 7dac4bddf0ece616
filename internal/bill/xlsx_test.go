package bill

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"
)

func workbookOf(t testing.TB, title string, b *Bill, in Inputs) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := XLSX(&buf, title, b, in); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

func read(t testing.TB, data []byte) *excelize.File {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// figure is a cell's value as a number.
func figure(t testing.TB, f *excelize.File, sheet, at string) float64 {
	t.Helper()
	s, err := f.GetCellValue(sheet, at, excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatal(err)
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatalf("%s %s: %q is no number", sheet, at, s)
	}
	return v
}

// rowOf is the row of a sheet that begins with a word, from 1.
func rowOf(t testing.TB, f *excelize.File, sheet, first string) int {
	t.Helper()
	rows, err := f.GetRows(sheet)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range rows {
		if len(r) > 0 && r[0] == first {
			return i + 1
		}
	}
	t.Fatalf("sheet %s has no row %q in %q", sheet, first, rows)
	return 0
}

func at(column string, row int) string { return column + strconv.Itoa(row) }

// recalculated compares every formula's stored value with what excelize makes of
// it, and gives how many there are.
func recalculated(t testing.TB, f *excelize.File) int {
	t.Helper()
	n := 0
	for _, sheet := range f.GetSheetList() {
		rows, err := f.GetRows(sheet)
		if err != nil {
			t.Fatal(err)
		}
		for i := range rows {
			for c := 1; c <= 9; c++ {
				cell, _ := excelize.CoordinatesToCellName(c, i+1)
				formula, err := f.GetCellFormula(sheet, cell)
				if err != nil {
					t.Fatal(err)
				}
				if formula == "" {
					continue
				}
				n++
				s, err := f.CalcCellValue(sheet, cell, excelize.Options{RawCellValue: true})
				if err != nil {
					t.Fatalf("%s %s = %s: %v", sheet, cell, formula, err)
				}
				got, err := strconv.ParseFloat(s, 64)
				if err != nil {
					t.Fatalf("%s %s = %s: %q", sheet, cell, formula, s)
				}
				if want := figure(t, f, sheet, cell); math.Abs(got-want) > 1e-9*max(1, math.Abs(want)) {
					t.Errorf("%s %s: stored %.12g, %s makes %.12g", sheet, cell, want, formula, got)
				}
			}
		}
	}
	return n
}

func TestWorkbook(t *testing.T) {
	in := equipped()
	b := Make(in)
	data := workbookOf(t, "Table & chairs", b, in)
	if !bytes.Equal(data, workbookOf(t, "Table & chairs", b, in)) {
		t.Error("two workbooks of one bill")
	}
	f := read(t, data)
	if got := strings.Join(f.GetSheetList(), " "); got != "Bill Hours Hardware Veneer" {
		t.Errorf("sheets %s", got)
	}
	if n := recalculated(t, f); n < 30 {
		t.Errorf("%d formulas", n)
	}
	near(t, "the piece", figure(t, f, "Bill", at("F", rowOf(t, f, "Bill", "The piece"))), b.Cost)
	near(t, "with fixtures", figure(t, f, "Bill", at("F", rowOf(t, f, "Bill", "With fixtures"))), b.WithFixtures())
	near(t, "hours by hand", figure(t, f, "Hours", at("C", rowOf(t, f, "Hours", "By hand, in all"))), b.LabourSeconds/3600)
	near(t, "hours at fixtures", figure(t, f, "Hours", at("C", rowOf(t, f, "Hours", "Fixtures, by hand, in all"))), b.FixtureLabourSeconds/3600)
	near(t, "machines", figure(t, f, "Hours", at("C", rowOf(t, f, "Hours", "Machines, in all"))), (b.PrintSeconds+b.LaserSeconds)/3600)
	near(t, "hardware", figure(t, f, "Hardware", at("F", rowOf(t, f, "Hardware", "In all"))), b.CostOf(Hardware))
	sum := rowOf(t, f, "Veneer", "In all")
	near(t, "veneer", figure(t, f, "Veneer", at("F", sum)), b.CostOf(Veneer))
	near(t, "laid", figure(t, f, "Veneer", at("H", sum)), b.VeneerArea*1e-6)
	near(t, "bought and taken", figure(t, f, "Veneer", at("D", sum)), 0.61*2.44+2*0.3*0.4)
	near(t, "laid of it", figure(t, f, "Veneer", at("I", sum)), 0.09/(0.61*2.44+2*0.3*0.4))

	// Sums are live: another price, another total.
	row := 0
	rows, _ := f.GetRows("Bill")
	for i, r := range rows {
		if len(r) > 1 && r[1] == "rag" {
			row = i + 1
		}
	}
	if err := f.SetCellValue("Bill", at("E", row), 12.0); err != nil {
		t.Fatal(err)
	}
	s, err := f.CalcCellValue("Bill", at("F", rowOf(t, f, "Bill", "With fixtures")), excelize.Options{RawCellValue: true})
	if err != nil {
		t.Fatal(err)
	}
	v, _ := strconv.ParseFloat(s, 64)
	near(t, "a rag that costs 12 instead of 2", v, b.WithFixtures()+10)
	if got, _ := f.GetCellValue("Bill", at("F", row)); !strings.HasSuffix(got, " EUR") {
		t.Errorf("money is shown as %q", got)
	}
	if err := f.SetCellValue("Hardware", "C2", 1.0); err != nil {
		t.Fatal(err)
	}
	if s, _ := f.CalcCellValue("Hardware", "D2", excelize.Options{RawCellValue: true}); s != "1" {
		t.Errorf("of 2 with 1 in hand, %s to order", s)
	}
	for _, sheet := range f.GetSheetList() {
		p, err := f.GetPanes(sheet)
		if err != nil || !p.Freeze || p.YSplit != 1 {
			t.Errorf("%s: head row %+v, %v", sheet, p, err)
		}
		l, err := f.GetPageLayout(sheet)
		if err != nil || l.FitToWidth == nil || *l.FitToWidth != 1 || *l.FitToHeight != 0 {
			t.Errorf("%s: page %+v, %v", sheet, l, err)
		}
		o, err := f.GetSheetProps(sheet)
		if err != nil || o.FitToPage == nil || !*o.FitToPage {
			t.Errorf("%s: does not fit the page, %v", sheet, err)
		}
		if w, err := f.GetColWidth(sheet, "A"); err != nil || w < 15 {
			t.Errorf("%s: first column %g wide, %v", sheet, w, err)
		}
	}
	// Numbers are numbers: words are stored as words, all else has no type of its own.
	for _, c := range []string{"C2", "E2", "F2"} {
		if k, err := f.GetCellType("Bill", c); err != nil || k != excelize.CellTypeUnset && k != excelize.CellTypeNumber {
			t.Errorf("Bill %s is of type %v, %v", c, k, err)
		}
	}
}

// Every part of the file is well-formed XML by package encoding/xml, and carries
// no time.
func TestWorkbookParts(t *testing.T) {
	in := equipped()
	in.Shop.Currency = `a "b" <c> & \d`
	data := workbookOf(t, strings.Repeat("Ångström & <co> ", 40), Make(in), in)
	r, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	before := ""
	for _, part := range r.File {
		if part.Name <= before {
			t.Errorf("%s after %s", part.Name, before)
		}
		before = part.Name
		if !part.Modified.IsZero() && part.Modified.Year() > 1980 {
			t.Errorf("%s has the time %v", part.Name, part.Modified)
		}
		from, err := part.Open()
		if err != nil {
			t.Fatal(err)
		}
		for d := xml.NewDecoder(from); ; {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Errorf("%s: %v", part.Name, err)
				break
			}
		}
	}
	if len(r.File) < 10 {
		t.Errorf("%d parts", len(r.File))
	}
	read(t, data)
}

// Whatever words and numbers a shop file holds, what is read back is the bill.
func TestAnyBillIsReadBack(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		in := small()
		b := &Bill{Currency: rapid.SampledFrom([]string{"", "EUR", `"`, "kr.", "$"}).Draw(r, "currency")}
		word := rapid.StringMatching(`[=+@-]?[A-Za-z0-9 <>&'"Ωµ²/,.]{1,30}[a-z]`)
		for range rapid.IntRange(0, 12).Draw(r, "lines") {
			l := Line{
				Section: rapid.SampledFrom(sections).Draw(r, "section"), Item: word.Draw(r, "item"), Unit: rapid.SampledFrom([]string{"g", "h", "piece", "ml"}).Draw(r, "unit"),
				Quantity: rapid.Float64Range(0, 1e6).Draw(r, "quantity"), Price: rapid.Float64Range(0, 1e4).Draw(r, "price"), Note: word.Draw(r, "note"),
			}
			l.Cost = l.Quantity * l.Price
			b.Lines = append(b.Lines, l)
		}
		b.sum()
		var buf bytes.Buffer
		if err := XLSX(&buf, word.Draw(r, "title"), b, in); err != nil {
			r.Fatal(err)
		}
		f, err := excelize.OpenReader(&buf)
		if err != nil {
			r.Fatal(err)
		}
		// Spreadsheets show 15 digits of a number.
		same := func(a, b float64) bool { return math.Abs(a-b) <= 1e-14*math.Abs(b) }
		recalculated(t, f)
		rows, err := f.GetRows("Bill", excelize.Options{RawCellValue: true})
		if err != nil {
			r.Fatal(err)
		}
		for _, l := range b.Lines {
			n := 0
			for i, row := range rows {
				if len(row) < 7 || row[1] != l.Item || row[6] != l.Note {
					continue
				}
				q, _ := strconv.ParseFloat(row[2], 64)
				if formula, _ := f.GetCellFormula("Bill", at("B", i+1)); same(q, l.Quantity) && formula == "" {
					n++
				}
			}
			if n == 0 {
				r.Errorf("%+v is not among %q", l, rows)
			}
		}
		for _, row := range rows {
			if len(row) > 5 && row[0] == "The piece" {
				if v, _ := strconv.ParseFloat(row[5], 64); !same(v, b.Cost) {
					r.Errorf("%s, not %g", row[5], b.Cost)
				}
			}
		}
	})
}
