package schedule_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"groundwork/internal/draw"
	"groundwork/internal/schedule"
)

// Every activity has its bar, inside the page; what is written can be read.
func TestCharts(t *testing.T) {
	in := givenPiece(t, "heron-side-table")
	for _, o := range []schedule.Options{{}, {Start: time.Date(2026, 12, 2, 10, 30, 0, 0, time.UTC)}, {Start: monday}} {
		o.NoRemedies = true
		r := made(t, in, o)
		sheets := r.Charts("Heron side table")
		bars, chain := 0, 0
		for i, s := range sheets {
			if s.Width != 297 || s.Height != 210 {
				t.Errorf("%g x %g is no A4", s.Width, s.Height)
			}
			for _, l := range s.Layers {
				for _, it := range l.Items {
					b := it.Bounds()
					if tx, ok := it.(draw.Text); ok {
						// A point is 0.3528 mm; draw takes capitals to be 0.716 of their size.
						if tx.Height < 8*25.4/72*0.716 {
							t.Errorf("%q is %g mm high", tx.String, tx.Height)
						}
						// Text.Bounds takes letters as wide as high: the true width is some 0.75 of it.
						b.Max.X = b.Min.X + 0.75*(b.Max.X-b.Min.X)
					}
					if b.Min.X < 5 || b.Min.Y < 5 || b.Max.X > 292 || b.Max.Y > 205 {
						t.Errorf("page %d, %s: %+v lies off the page", i, l.Name, it)
					}
					if _, ok := it.(draw.Path); ok && i > 0 {
						switch l.Name {
						case "work":
							bars++
						case "what sets the end":
							bars++
							chain++
						}
					}
				}
			}
			var b bytes.Buffer
			if err := draw.WriteSVG(&b, s); err != nil {
				t.Fatal(err)
			}
			if dir := os.Getenv("CHARTS"); dir != "" { // to look at
				if err := os.WriteFile(filepath.Join(dir, "chart-"+strconv.Itoa(i)+".svg"), b.Bytes(), 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
		want, critical := 0, 0
		for _, a := range r.Activities {
			if a.End > a.Start {
				want++
				if a.Critical {
					critical++
				}
			}
		}
		if bars != want || chain != critical {
			t.Errorf("%d bars, %d of them on the chain; want %d and %d", bars, chain, want, critical)
		}
	}
	if sheets := (&schedule.Result{}).Charts("empty"); sheets != nil {
		t.Error("a chart of nothing")
	}
}

func TestRows(t *testing.T) {
	in := givenPiece(t, "tern-wall-shelf")
	r := made(t, in, schedule.Options{Start: monday, NoRemedies: true})
	rows := r.Rows()
	if len(rows) != 1+len(r.Activities) {
		t.Fatalf("%d rows for %d activities", len(rows), len(r.Activities))
	}
	for i, row := range rows {
		if len(row) != len(rows[0]) {
			t.Errorf("row %d has %d fields", i, len(row))
		}
	}
	last := rows[len(rows)-1]
	if h, err := strconv.ParseFloat(last[4], 64); err != nil || last[0] != "hand over" || h*3600-r.End > 18 || last[6] != r.Finish.Format("2006-01-02 15:04") {
		t.Errorf("last row %q", last)
	}
}
