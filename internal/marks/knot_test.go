package marks_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/marks"
	"groundwork/internal/sheet"
)

// A sheet that the maker has marked is in hand, so that it is cut up before
// others are bought, and one small knot takes at the most one blank of the laser
// bed off it: the layout needs no more than one sheet more than without the knot,
// and that carries no more than such a blank. The places at 540, 600 and 640 mm
// of height are those at which the marked sheet was once left whole and another
// bought in its stead.
func TestOneKnot(t *testing.T) {
	type at = [2]float64
	for _, c := range []struct {
		name, height string
		knots        []at
		most         int // sheets
	}{
		{"heron-side-table", "540 mm", []at{{315.7, 912.2}}, 1},
		{"heron-side-table", "600 mm", []at{{50, 50}}, 1},
		{"heron-side-table", "600 mm", []at{{315.7, 912.2}}, 2},
		{"heron-side-table", "640 mm", []at{{315.7, 912.2}, {50, 50}}, 2},
		{"otter-stool", "", []at{{315.7, 912.2}, {50, 50}}, 1},
		{"badger-bench", "", []at{{300, 1500}}, 1},
		{"tern-wall-shelf", "", []at{{50, 50}, {300, 500}}, 1},
	} {
		var set map[string]string
		if c.height != "" {
			set = map[string]string{"height": c.height}
		}
		w := exampleWith(t, c.name, set)
		v := w.plain.Sheets[0].Veneer
		of := func(r *sheet.Result) (ids []string) {
			for _, s := range r.Sheets {
				if s.Veneer == v {
					ids = append(ids, s.ID)
				}
			}
			return ids
		}
		bed := w.shop.Lasers[0].Bed
		for _, k := range c.knots {
			t.Run(fmt.Sprint(c.name, " ", c.height, " ", k), func(t *testing.T) {
				o := through(t, marks.File{Reserved: []marks.Reserved{{Sheet: v + "-1", At: k, Size: [2]float64{15.4, 21.6}, What: "knot"}}}, sheet.Options{})
				r := w.plan(t, o)
				plain, ids := of(w.plain), of(r)
				last := 0.0 // blanks on the last sheet, mm²
				for _, b := range r.Blanks {
					if r.Sheets[b.Sheet].ID == ids[len(ids)-1] {
						last += b.Size.X * b.Size.Y
					}
				}
				t.Logf("%v, without the knot %v; %.2f m2 on the last", ids, plain, last/1e6)
				for i, id := range ids {
					if want := fmt.Sprintf("%s-%d", v, i+1); id != want {
						t.Errorf("cut from %v, not from %s", ids, want)
					}
				}
				if len(ids) > c.most || len(ids) > len(plain)+1 {
					t.Errorf("cut from %v, without the knot from %v", ids, plain)
				}
				if len(ids) > len(plain) && last > bed.X*bed.Y {
					t.Errorf("%.0f mm2 on the sheet that the knot makes necessary", last)
				}
				for _, f := range r.Findings {
					if strings.HasPrefix(f.Code, "reserved-") {
						t.Errorf("%s", f.Message)
					}
				}
				if slices.ContainsFunc(r.Placements, func(p sheet.Placement) bool { return p.Blank < 0 }) {
					t.Error("a pattern is left out")
				}
			})
		}
	}
}
