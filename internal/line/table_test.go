package line

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"groundwork/internal/finding"

	"github.com/xuri/excelize/v2"
)

// made is a table of rows that nobody worked out, with words that would break a
// careless writer.
func made(t testing.TB) *Table {
	t.Helper()
	p := strings.Replace(peg, "name: test-block", "name: test-block\ntitle: \"<b>Bob's</b> & \\\"block\\\"\"", 1)
	l := lay(t, File{"block.yaml", []byte(p)}, Options{}, "long=100mm,110mm,120mm,130mm", "species:ash,oak")
	table := &Table{Line: l}
	for i := range l.Variants {
		r := &Row{State: Made, Figures: &Figures{Size: [3]float64{100, 60, 20}, Hand: 3600 * float64(i), Cost: 1234.5 - float64(i%5), Mass: 1500}}
		r.tell([]finding.Finding{
			{Severity: finding.Warning, Stage: "x", Code: "c", Subject: "leg-1", Message: `=1+1 <script>alert("1")</script> & more`, Remedy: "none"},
			{Severity: finding.Warning, Stage: "x", Code: "c", Subject: "leg-2", Message: "the same", Remedy: "none"},
			{Severity: finding.Note, Subject: "piece", Message: "a note"},
		})
		table.Rows = append(table.Rows, r)
	}
	table.Rows[4] = &Row{State: Alter, Error: "the piece file does not allow these values"}
	table.Rows[4].tell([]finding.Finding{{Severity: finding.Stop, Subject: "piece", Message: "too long", Remedy: "make it shorter"}})
	table.Rows[5] = &Row{State: Failed, Error: "it <fell> over"}
	table.Rows[3].Bears = &Bears{Cases: 2, Solved: 2, Fails: 1, Margin: 0.5, Of: "bending, leg"}
	return table
}

func TestTell(t *testing.T) {
	r := made(t).Rows[0]
	if r.Stops != 0 || r.Warns != 2 || r.Notes != 1 || len(r.Found) != 2 || len(r.Found[0].Also) != 1 || r.Found[0].Also[0] != "leg-2" {
		t.Errorf("%+v", r)
	}
}

func TestCheapest(t *testing.T) {
	table := made(t)
	// 4 costs least of the numbers but is not made, 3 does not bear its loads.
	if i := table.Cheapest(); i != 2 {
		t.Errorf("the cheapest is %d, want 2", i)
	}
	for _, r := range table.Rows {
		r.State = Alter
	}
	if i := table.Cheapest(); i != -1 {
		t.Errorf("none can be made, and %d is cheapest", i)
	}
}

func TestHTMLEscapes(t *testing.T) {
	table := made(t)
	b, err := table.HTML()
	if err != nil {
		t.Fatal(err)
	}
	text := string(b)
	for _, bad := range []string{"<script>alert", "<b>Bob", "it <fell>"} {
		if strings.Contains(text, bad) {
			t.Errorf("%q stands in the page as it is", bad)
		}
	}
	for _, want := range []string{"&lt;script&gt;alert(&#34;1&#34;)&lt;/script&gt; &amp; more", "&lt;b&gt;Bob&#39;s&lt;/b&gt; &amp; &#34;block&#34;", "it &lt;fell&gt; over", "leg-1, leg-2", "1\u202f232.50"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in the page", want)
		}
	}
	if n := strings.Count(text, "<tbody"); n != len(table.Rows) {
		t.Errorf("%d bodies of rows, want %d", n, len(table.Rows))
	}
	if n := strings.Count(text, "cheapest\">"); n != 1 {
		t.Errorf("%d rows are marked as the cheapest", n)
	}
	// It needs nothing beside it.
	for _, bad := range []string{"src=", "href=", "url(", "@import", "http:", "https:"} {
		if strings.Contains(text, bad) {
			t.Errorf("the page has %s", bad)
		}
	}
	// Every row has a cell for every head, for the sorting goes by their place.
	heads := strings.Count(text, "data-col=")
	for i, body := range strings.Split(text, "<tbody")[1:] {
		first, _, _ := strings.Cut(body, "</tr>")
		if n := strings.Count(first, "<td"); n != heads {
			t.Errorf("row %d has %d cells under %d heads", i, n, heads)
		}
	}
}

func TestCSV(t *testing.T) {
	table := made(t)
	b, err := table.CSV()
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll() // RFC 4180, and all rows as long as the first
	if err != nil {
		t.Fatal(err)
	}
	at := func(row int, head string) string {
		for i, h := range rows[0] {
			if h == head {
				return rows[row][i]
			}
		}
		t.Fatalf("no head %q in %q", head, rows[0])
		return ""
	}
	for _, c := range []struct {
		row        int
		head, want string
	}{
		{1, "long_mm", "100"}, {1, "veneer", "ash"}, {2, "veneer", "oak"}, {3, "long_mm", "110"}, {3, "hand_h", "2.00"}, {1, "cost", "1234.500"},
		{3, "cheapest", "cheapest"}, {1, "cheapest", ""}, {5, "cost", ""}, {5, "state", "must be altered"}, {5, "gravest_finding", "piece: too long; make it shorter"},
		{6, "gravest_finding", "it <fell> over"}, {4, "state", "can be made, but does not bear its loads"}, {4, "strength_margin", "0.500"}, {1, "strength_margin", ""},
	} {
		if got := at(c.row, c.head); got != c.want {
			t.Errorf("row %d, %s: %q, want %q", c.row, c.head, got, c.want)
		}
	}
	if strings.Contains(string(b), "kit_price") {
		t.Error("there is a column that no row has a number in")
	}
}

// The workbook is read as the XML that it is, not only by the library that wrote
// it (ISO/IEC 29500-1, 18.3.1.4: a cell's t is its type, n or none for numbers).
func TestXLSX(t *testing.T) {
	table := made(t)
	data, err := table.XLSX()
	if err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	read := func(name string) string {
		f, err := z.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		b, err := io.ReadAll(f)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	var sheet struct {
		Views []struct {
			Pane struct {
				State  string `xml:"state,attr"`
				YSplit string `xml:"ySplit,attr"`
				XSplit string `xml:"xSplit,attr"`
			} `xml:"pane"`
		} `xml:"sheetViews>sheetView"`
		Rows []struct {
			Cells []struct {
				R    string  `xml:"r,attr"`
				Type string  `xml:"t,attr"`
				V    string  `xml:"v"`
				F    *string `xml:"f"`
			} `xml:"c"`
		} `xml:"sheetData>row"`
		Filter struct {
			Ref string `xml:"ref,attr"`
		} `xml:"autoFilter"`
	}
	if err := xml.Unmarshal([]byte(read("xl/worksheets/sheet1.xml")), &sheet); err != nil {
		t.Fatal(err)
	}
	if p := sheet.Views[0].Pane; p.State != "frozen" || p.YSplit != "1" || p.XSplit != "3" {
		t.Errorf("what is frozen: %+v", p)
	}
	if !strings.HasPrefix(strings.ReplaceAll(sheet.Filter.Ref, "$", ""), "A1:") || !strings.HasSuffix(sheet.Filter.Ref, "9") {
		t.Errorf("filters on %q", sheet.Filter.Ref)
	}
	cells := map[string]string{}
	for _, r := range sheet.Rows {
		for _, c := range r.Cells {
			kind := c.Type
			if kind == "n" {
				kind = ""
			}
			if c.F != nil {
				kind = "formula"
			}
			cells[c.R] = kind + ":" + c.V
		}
	}
	for cell, want := range map[string]string{"A2": ":1", "B2": ":100", "B4": ":110", "A9": ":8"} {
		if cells[cell] != want {
			t.Errorf("%s is %q, want %q", cell, cells[cell], want)
		}
	}
	if !strings.HasPrefix(cells["C2"], "s:") {
		t.Errorf("a word is %q", cells["C2"])
	}
	for c, v := range cells {
		if strings.HasPrefix(v, "formula") {
			t.Errorf("%s is a formula", c)
		}
	}
	f, err := excelize.OpenReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if got := strings.Join(f.GetSheetList(), ","); got != "Variants,Findings,Inputs" {
		t.Errorf("sheets %s", got)
	}
	rows, err := f.GetRows("Findings")
	if err != nil {
		t.Fatal(err)
	}
	// 6 made rows with 2 each, an altered one with its error and its finding, a failed one.
	if len(rows) != 1+6*2+2+1 || rows[1][4] != `=1+1 <script>alert("1")</script> & more` || rows[1][3] != "leg-1, leg-2" {
		t.Errorf("%d rows of findings, the first %q", len(rows), rows[1])
	}
	if core := read("docProps/core.xml"); strings.Contains(core, "xuri") || !strings.Contains(core, "Groundwork") {
		t.Errorf("properties: %s", core)
	}
}

func TestSameBytes(t *testing.T) {
	for name, of := range map[string]func(*Table) ([]byte, error){"html": (*Table).HTML, "xlsx": (*Table).XLSX, "csv": (*Table).CSV, "json": (*Table).JSON} {
		a, err := of(made(t))
		if err != nil {
			t.Fatal(err)
		}
		for range 5 {
			if b, err := of(made(t)); err != nil || !bytes.Equal(a, b) {
				t.Errorf("%s: other bytes the second time (%v)", name, err)
			}
		}
	}
}

func TestGrouped(t *testing.T) {
	for in, want := range map[string]string{"0": "0", "999.50": "999.50", "1000": "1 000", "-1234567.1": "−1 234 567.1", "-12.0": "−12.0"} {
		if got := grouped(in); got != strings.ReplaceAll(want, " ", "\u202f") {
			t.Errorf("%s: %s", in, got)
		}
	}
}

func TestWriteIsWholeOrNothing(t *testing.T) {
	table := made(t)
	dir := filepath.Join(t.TempDir(), "out", "line")
	if err := table.Write(dir, false); err != nil {
		t.Fatal(err)
	}
	names := func() (out []string) {
		entries, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			out = append(out, e.Name())
		}
		return out
	}
	if got := strings.Join(names(), " "); got != "line.json table.csv table.html table.xlsx" {
		t.Errorf("the folder holds %s", got)
	}
	if err := table.Write(dir, false); !errors.Is(err, fs.ErrExist) {
		t.Errorf("over a line that is there: %v", err)
	}
	if err := os.WriteFile(filepath.Join(dir, "old.txt"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := table.Write(dir, true); err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(names(), " "); strings.Contains(got, "old.txt") {
		t.Error("something of the old line was left")
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(dir), ".*")); len(left) > 0 {
		t.Errorf("left beside it: %s", left)
	}
	other := t.TempDir()
	if err := os.WriteFile(filepath.Join(other, "letters.txt"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := table.Write(other, true); err == nil || errors.Is(err, fs.ErrExist) {
		t.Errorf("over somebody's letters: %v", err)
	}
}

// What a small line of the library's wall shelf comes to. It changes whenever
// what a shelf takes does: run with GOLDEN=update and read the difference.
func TestShelfGolden(t *testing.T) {
	l := lay(t, example(t, "tern-wall-shelf.yaml"), Options{}, "length=560mm,920mm", "species:ash,walnut")
	table, err := l.Run(context.Background(), Local{Worker: Worker{Kernel: kernel(t)}}, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	got, err := table.CSV()
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join("testdata", "shelf.csv")
	if os.Getenv("GOLDEN") == "update" {
		if err := os.WriteFile(name, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s\nwant\n%s", got, want)
	}
}
