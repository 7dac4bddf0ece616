package piece

import (
	"testing"

	"groundwork/internal/mesh"
)

// BenchmarkSolid brings a stool seat with a dish in and asks for its surfaces.
func BenchmarkSolid(b *testing.B) {
	data := stl(b, 1, stoolSeat())
	solids, err := ReadSolids("seat.stl", data, ReadOptions{Unit: mesh.Millimetre})
	if err != nil {
		b.Fatal(err)
	}
	m := solids[0].Member
	b.Run("read", func(b *testing.B) {
		for b.Loop() {
			if _, err := ReadSolids("seat.stl", data, ReadOptions{Unit: mesh.Millimetre}); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(len(solids[0].Solid.Triangles)), "triangles")
	})
	b.Run("roles", func(b *testing.B) {
		for b.Loop() {
			NewSolid(m.Solid.Shape)
		}
	})
	b.Run("first surfaces", func(b *testing.B) {
		for b.Loop() {
			n := m
			n.Solid = NewSolid(m.Solid.Shape)
			n.Surfaces(0.02)
		}
	})
	b.Run("surfaces again", func(b *testing.B) {
		for b.Loop() {
			m.Surfaces(0.02)
		}
	})
	d := make([]float64, len(m.Solid.Names))
	for i := range d {
		d[i] = 0.6
	}
	b.Run("inset", func(b *testing.B) {
		for b.Loop() {
			if _, err := m.Inset(d); err != nil {
				b.Fatal(err)
			}
		}
	})
}
