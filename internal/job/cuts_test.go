package job

import (
	"testing"

	"groundwork/examples"
)

// The cuts of sheets yield every blank and every offcut once.
func TestSheetCuts(t *testing.T) {
	for _, name := range examples.Pieces() {
		_, p := planned(t, name)
		rows := cutRows(p)
		count := map[string]int{}
		for _, r := range rows[1:] {
			count[r[7]]++
			count[r[8]]++
		}
		offcuts := 0
		for _, s := range p.Sheets.Sheets {
			offcuts += len(s.Offcuts)
		}
		for _, b := range p.Sheets.Blanks {
			if count[b.ID] != 1 {
				t.Errorf("%s: %s is cut %d times", name, b.ID, count[b.ID])
			}
		}
		if count["offcut"] != offcuts || len(p.Sheets.Blanks) == 0 {
			t.Errorf("%s: %d offcuts, want %d", name, count["offcut"], offcuts)
		}
	}
}
