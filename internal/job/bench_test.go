package job

import (
	"context"
	"path/filepath"
	"testing"

	"groundwork/examples"
	"groundwork/internal/core"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// given reads an example and the example shop.
func given(b *testing.B, name string) (*piece.Piece, *shop.Shop) {
	b.Helper()
	p, err := examples.Piece(name, nil)
	if err != nil {
		b.Fatal(err)
	}
	s, err := examples.Shop()
	if err != nil {
		b.Fatal(err)
	}
	return p, s
}

// BenchmarkJob is the whole job of every example, from its files to the folder
// on disk, with a fresh kernel each time as in a new process.
func BenchmarkJob(b *testing.B) {
	for _, name := range examples.Pieces() {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				p, s := given(b, name)
				k, err := solid.New(solid.Options{})
				if err != nil {
					b.Fatal(err)
				}
				pl, err := plan.Make(context.Background(), k, p, s, plan.Options{Core: core.Options{Labels: true, Solids: true}})
				if err != nil {
					b.Fatal(err)
				}
				if err := Write(context.Background(), k, pl, filepath.Join(b.TempDir(), "job"), Options{}); err != nil {
					b.Fatal(err)
				}
				k.Close()
			}
		})
	}
}
