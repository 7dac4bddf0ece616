package sheet_test

import (
	"fmt"
	"slices"
	"syscall"
	"testing"
	"time"

	"groundwork/examples"
	"groundwork/internal/plan"
	"groundwork/internal/printing"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// BenchmarkTwice plans each of the four pieces, and then again and again with
// what the ones before have left: the table in docs/nesting.md. Run it with
// -benchtime 1x.
func BenchmarkTwice(b *testing.B) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer k.Close()
	text, err := examples.Files.ReadFile("shop.yaml")
	if err != nil {
		b.Fatal(err)
	}
	for _, name := range []string{"heron-side-table", "otter-stool", "badger-bench", "tern-wall-shelf"} {
		b.Run(name, func(b *testing.B) {
			s, err := shop.Parse("shop.yaml", text)
			if err != nil {
				b.Fatal(err)
			}
			p, err := examples.Piece(name, nil)
			if err != nil {
				b.Fatal(err)
			}
			pl, err := plan.Make(b.Context(), k, p, s, plan.Options{Printing: printing.Options{Lines: -1}, Sheet: sheet.Options{Iterations: 1, Lines: -1}})
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				clear := *s
				clear.Veneers = slices.Clone(s.Veneers)
				for n := range 3 {
					before := processor(b)
					r, err := sheet.Plan(b.Context(), k, pl.Patterns, &clear, sheet.Options{})
					if err != nil {
						b.Fatal(err)
					}
					b.Logf("%s, %.2f s of processor", returned(r, &clear, n), processor(b)-before)
				}
			}
		})
	}
}

// processor is the processor time that the process has had, s.
func processor(b *testing.B) float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano()).Seconds()
}

// returned is what a plan takes, in words, with its offcuts put back into the
// shop.
func returned(r *sheet.Result, s *shop.Shop, n int) string {
	sheets, fresh, offcuts := 0, 0.0, 0.0
	for _, q := range r.Sheets {
		area := q.Size.X * q.Size.Y
		v := slices.IndexFunc(s.Veneers, func(v shop.Veneer) bool { return v.ID == q.Veneer })
		own := slices.Clone(s.Veneers[v].Offcuts)
		if q.Kept != "" {
			own = slices.DeleteFunc(own, func(o shop.Offcut) bool { return o.ID == q.Kept })
		} else {
			sheets++
		}
		for i, o := range q.Offcuts {
			area -= o.Size().X * o.Size().Y
			own = append(own, shop.Offcut{ID: fmt.Sprintf("%s-%d-%d", q.ID, n, i), Size: o.Size(), Count: 1})
		}
		if s.Veneers[v].Offcuts = own; q.Kept != "" {
			offcuts += area
		} else {
			fresh += area
		}
	}
	return fmt.Sprintf("%d. new sheets %d, new veneer %.3f m², used of offcuts %.3f m², blanks %d, findings %d", n+1, sheets, fresh/1e6, offcuts/1e6, len(r.Blanks), len(r.Findings))
}
