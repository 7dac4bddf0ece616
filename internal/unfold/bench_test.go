package unfold_test

import (
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/unfold"
)

func benchmarkFlatten(b *testing.B, v []geom.Vec3, t [][3]int32) {
	for b.Loop() {
		if _, _, err := unfold.Flatten(v, t, unfold.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkFlattenExact512(b *testing.B) {
	v, t := cylinder(100, 300, 1, 16, 16)
	benchmarkFlatten(b, v, t)
}

func BenchmarkFlattenExact20000(b *testing.B) {
	v, t := cylinder(100, 300, 1, 100, 100)
	benchmarkFlatten(b, v, t)
}

func BenchmarkFlattenDome486(b *testing.B) {
	v, t := dome(100, 40, 9)
	benchmarkFlatten(b, v, t)
}

func BenchmarkFlattenDome20000(b *testing.B) {
	v, t := dome(100, 40, 58)
	benchmarkFlatten(b, v, t)
}

func BenchmarkChart(b *testing.B) {
	v, t := cylinder(100, 300, 1, 100, 100)
	p, _, err := unfold.Flatten(v, t, unfold.Options{})
	if err != nil {
		b.Fatal(err)
	}
	i := 0
	for b.Loop() {
		p.Chart(v[i%len(v)].Scale(1.01))
		i += 37
	}
}

func BenchmarkPoint(b *testing.B) {
	v, t := cylinder(100, 300, 1, 100, 100)
	p, _, err := unfold.Flatten(v, t, unfold.Options{})
	if err != nil {
		b.Fatal(err)
	}
	i := 0
	for b.Loop() {
		p.Point(p.Flat[i%len(v)].Add(geom.V2(0.1, 0.1)))
		i += 37
	}
}
