package book

import (
	"context"
	"testing"

	"groundwork/internal/fixture"
)

func BenchmarkHeron(b *testing.B) {
	p := planned(b, "heron-side-table")
	fx, err := fixture.Plan(context.Background(), theKernel(b), fixture.Inputs{Piece: p.Piece, Shop: p.Shop, Joints: p.Joints, Layout: p.Layout, Patterns: p.Patterns,
		Seams: p.Seams, Cores: p.Cores, Filament: func(int) string { return "abs" }}, fixture.Options{})
	if err != nil {
		b.Fatal(err)
	}
	for _, c := range []struct {
		name string
		fx   *fixture.Result
	}{{"bare", nil}, {"fixtures", fx}} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Make(context.Background(), theKernel(b), Inputs{Plan: p, Fixtures: c.fx}, Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
