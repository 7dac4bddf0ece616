package nest

import (
	"context"
	"fmt"
	"testing"
)

// BenchmarkGather packs bins with separation: what a number of lines costs and
// what comes of it.
func BenchmarkGather(b *testing.B) {
	classic := func(name string, side float64) func() ([]Item, []Bin) {
		return func() ([]Item, []Bin) {
			_, items := readInstance(b, name)
			return items, []Bin{{ID: "bin", Size: v2(side, side), Quantity: Unlimited}}
		}
	}
	for _, c := range []struct {
		name string
		make func() ([]Item, []Bin)
		gap  float64
	}{
		{"veneer40", veneer, 2}, {"footprints", footprints, 3}, {"shirts", classic("shirts", 20), 0}, {"swim", classic("swim", 3000), 0},
	} {
		items, bins := c.make()
		for _, lines := range []int{20_000, 100_000} {
			b.Run(fmt.Sprintf("%s/lines=%d", c.name, lines), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					l, err := Pack(context.Background(), items, bins, Options{Gap: c.gap, Lines: lines})
					if err != nil {
						b.Fatal(err)
					}
					least, reach := lightest(l, bins)
					b.ReportMetric(float64(len(l.Bins)), "bins")
					b.ReportMetric(100*l.Density, "%density")
					b.ReportMetric(100*least.Density, "%on-least")
					b.ReportMetric(100*reach, "%reach")
				}
			})
		}
	}
}
