package nest

import (
	"context"
	"fmt"
	"math"
	"testing"
)

// veneer is a small table's worth of leaves and bands on laser blanks.
func veneer() ([]Item, []Bin) {
	half := []float64{0, math.Pi}
	items := []Item{
		{ID: "top", Shape: ellipse(190, 140, 160), Turns: half, Quantity: 2},
		{ID: "shelf", Shape: ellipse(150, 110, 140), Turns: half},
		{ID: "band", Shape: rect(590, 22), Turns: half, Quantity: 4},
		{ID: "edge", Shape: rect(310, 22), Turns: half, Quantity: 4},
		{ID: "leg", Shape: geom4(0, 0, 380, 0, 370, 45, 10, 45), Turns: half, Quantity: 8},
		{ID: "disc", Shape: ellipse(24, 24, 48), Turns: half, Quantity: 8},
		{ID: "cheek", Shape: geom4(0, 0, 120, 0, 90, 60, 0, 60), Turns: half, Quantity: 13},
	}
	bins := []Bin{{ID: "blank", Size: v2(600, 400), Margin: 4, Quantity: Unlimited}}
	return items, bins
}

// footprints are segments' footprints for print beds.
func footprints() ([]Item, []Bin) {
	quarters := []float64{0, math.Pi / 2, math.Pi, 3 * math.Pi / 2}
	var items []Item
	for i := range 16 {
		w, h := 60+float64(i*37%110), 30+float64(i*53%90)
		s := rect(w, h)
		if i%3 == 0 {
			s = append(s, ellipse(w/4, h/4, 24)[0].Reversed().Map(func(p vec) vec { return p.Add(v2(w/2, h/2)) }))
		}
		items = append(items, Item{ID: fmt.Sprint("segment", i), Shape: s, Turns: quarters, Quantity: 1 + i%3})
	}
	return items, []Bin{{ID: "bed", Size: v2(220, 220), Margin: 5, Quantity: Unlimited}}
}

func BenchmarkPack(b *testing.B) {
	for _, c := range []struct {
		name string
		make func() ([]Item, []Bin)
		gap  float64
	}{{"veneer40", veneer, 2}, {"footprints", footprints, 3}} {
		items, bins := c.make()
		for _, n := range []int{-1, 0} {
			b.Run(fmt.Sprintf("%s/iterations=%d", c.name, max(n, 0)), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					l, err := Pack(context.Background(), items, bins, Options{Gap: c.gap, Iterations: n})
					if err != nil {
						b.Fatal(err)
					}
					b.ReportMetric(float64(len(l.Bins)), "bins")
					b.ReportMetric(100*l.Density, "%density")
				}
			})
		}
	}
}

func BenchmarkStrip(b *testing.B) {
	for _, f := range floors {
		in, items := readInstance(b, f.name)
		b.Run(f.name, func(b *testing.B) {
			for b.Loop() {
				l, _, err := Strip(context.Background(), items, in.Height, Options{Iterations: stripBudget})
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(100*l.Density, "%density")
			}
		})
	}
}

func BenchmarkVerify(b *testing.B) {
	items, bins := veneer()
	l, err := Pack(context.Background(), items, bins, Options{Gap: 2})
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if fs := Verify(items, bins, l, 2); len(fs) > 0 {
			b.Fatal(fs[0])
		}
	}
}
