//go:build outside

package bill

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// reader lists every formula with its stored value, and every word, of a workbook,
// with Python's own zipfile and ElementTree.
const reader = `
import json, sys, zipfile
import xml.etree.ElementTree as tree
ns = {"m": "http://schemas.openxmlformats.org/spreadsheetml/2006/main"}
z = zipfile.ZipFile(sys.argv[1])
assert z.testzip() is None
out = {}
for name in z.namelist():
    root = tree.fromstring(z.read(name))
    if not name.startswith("xl/worksheets/sheet"):
        continue
    rows = []
    for row in root.iter("{%s}row" % ns["m"]):
        cells = {}
        for c in row.findall("m:c", ns):
            f, v, t = c.find("m:f", ns), c.find("m:v", ns), c.get("t", "n")
            words = "".join(x.text or "" for x in c.iter("{%s}t" % ns["m"]))
            cells[c.get("r")] = {"formula": f.text if f is not None else "", "type": t, "value": v.text if v is not None else words}
        rows.append(cells)
    out[name] = rows
json.dump(out, sys.stdout)
`

// What is stored beside formulas are numbers, as another reader sees them.
func TestOthersReadTheWorkbook(t *testing.T) {
	in := equipped()
	b := Make(in)
	file := filepath.Join(t.TempDir(), "bill.xlsx")
	if err := os.WriteFile(file, workbookOf(t, "A table", b, in), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("/usr/bin/python3", "-c", reader, file).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	var sheets map[string][]map[string]struct{ Formula, Type, Value string }
	if err := json.Unmarshal(out, &sheets); err != nil {
		t.Fatal(err)
	}
	if len(sheets) != 4 {
		t.Errorf("%d sheets", len(sheets))
	}
	formulas, total := 0, 0.0
	for name, rows := range sheets {
		for i, row := range rows {
			for at, c := range row {
				if c.Formula == "" {
					continue
				}
				formulas++
				var v float64
				if err := json.Unmarshal([]byte(c.Value), &v); err != nil || c.Type != "n" {
					t.Errorf("%s %s = %s: %q of type %s", name, at, c.Formula, c.Value, c.Type)
				}
				if row[atRow("A", i)].Value == "With fixtures" && at == atRow("F", i) {
					total = v
				}
			}
		}
	}
	if formulas < 30 {
		t.Errorf("%d formulas", formulas)
	}
	near(t, "with fixtures", total, b.WithFixtures())
}

func atRow(column string, i int) string { return at(column, i+1) }
