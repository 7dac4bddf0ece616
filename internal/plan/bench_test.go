package plan

import (
	"context"
	"testing"

	"groundwork/examples"
	"groundwork/internal/solid"
)

// BenchmarkStrength is how long the heron table's load cases take, from the
// structure to the verdicts, on two sizes of bricks; no remedies are looked for.
func BenchmarkStrength(b *testing.B) {
	for _, name := range []string{"heron-side-table", "otter-stool", "badger-bench", "tern-wall-shelf"} {
		b.Run(name, func(b *testing.B) {
			k, err := solid.New(solid.Options{})
			if err != nil {
				b.Fatal(err)
			}
			defer k.Close()
			p, err := examples.Piece(name, nil)
			if err != nil {
				b.Fatal(err)
			}
			_, s := given(b, box)
			pl, err := Make(context.Background(), k, p, s, Options{})
			if err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(len(pl.cases)), "cases")
			for b.Loop() {
				if _, err := pl.hold(context.Background(), k, StrengthOptions{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
