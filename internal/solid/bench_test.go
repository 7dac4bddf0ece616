package solid

import (
	"testing"

	"groundwork/internal/geom"
)

func BenchmarkBoardWith40Bores(b *testing.B) {
	k := testKernel(b)
	for b.Loop() {
		// Nothing remembered from the round before.
		k.meshes = meshCache{limit: 128 << 20}
		forget(b, k)
		if _, err := k.Mesh(b.Context(), boredBoard()); err != nil {
			b.Fatal(err)
		}
	}
}

func Benchmark36Segments(b *testing.B) {
	k := testKernel(b)
	for b.Loop() {
		k.meshes = meshCache{limit: 128 << 20}
		forget(b, k)
		if _, err := k.Meshes(b.Context(), segments36()); err != nil {
			b.Fatal(err)
		}
	}
}

func Benchmark36SegmentsHalved(b *testing.B) {
	k := testKernel(b)
	for b.Loop() {
		k.meshes = meshCache{limit: 128 << 20}
		forget(b, k)
		if _, err := k.Meshes(b.Context(), halved(boredBoard(), 0, 620, 36)); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPlaneCut(b *testing.B) {
	k := testKernel(b)
	s := boredBoard()
	if _, err := k.Mesh(b.Context(), s); err != nil {
		b.Fatal(err)
	}
	i := 0
	for b.Loop() {
		i++
		if _, err := k.Mesh(b.Context(), s.Below(geom.PlaneAt(geom.V3(200+float64(i)*0.001, 0, 0), geom.V3(1, 0, 0)), 9)); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkOffset200Layers(b *testing.B) {
	k := testKernel(b)
	var heights []float64
	for i := range 200 {
		heights = append(heights, 0.05+float64(i)*0.09)
	}
	layers, err := k.Sections(b.Context(), boredBoard(), geom.World(), heights)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := k.OffsetAll2(b.Context(), layers, -0.42, Miter, 2, 0); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSections200(b *testing.B) {
	k := testKernel(b)
	var heights []float64
	for i := range 200 {
		heights = append(heights, 0.05+float64(i)*0.09)
	}
	for b.Loop() {
		if _, err := k.Sections(b.Context(), boredBoard(), geom.World(), heights); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkNewInstance(b *testing.B) {
	for b.Loop() {
		k, err := New(Options{Instances: 1})
		if err != nil {
			b.Fatal(err)
		}
		if _, err := k.Mesh(b.Context(), Box(unitBox, 1)); err != nil {
			b.Fatal(err)
		}
		k.Close()
	}
}
