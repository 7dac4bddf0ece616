package book

import (
	"context"
	"testing"
)

func BenchmarkHeron(b *testing.B) {
	p := planned(b, "heron-side-table")
	for b.Loop() {
		if _, err := Make(context.Background(), theKernel(b), Inputs{Plan: p}, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
