package book

import (
	"context"
	"testing"
)

// BenchmarkHeron makes the side table's book: the whole of it as a job folder
// has it, and that of a plan without fixtures, calendar and kit.
func BenchmarkHeron(b *testing.B) {
	whole := planned(b, "heron-side-table")
	bare := *whole
	bare.Fixtures, bare.FixturePrinting, bare.Schedule, bare.Kit = nil, nil, nil, nil
	for _, c := range []struct {
		name string
		in   Inputs
		o    Options
	}{{"bare", Inputs{Plan: &bare}, Options{}}, {"whole", Inputs{Plan: whole}, Options{}}, {"no templates", Inputs{Plan: whole}, Options{NoTemplates: true}}} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Make(context.Background(), theKernel(b), c.in, c.o); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
