package job

import (
	"context"
	"fmt"
	"testing"

	"groundwork/internal/core"
	"groundwork/internal/drawn"
	"groundwork/internal/finding"
	"groundwork/internal/intake"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/veneer"
)

// brought is a drawn model as a piece.
func brought(t testing.TB, parts []drawn.Part, sizes piece.Sizes, use string) *plan.Plan {
	t.Helper()
	k, ref := planned(t, "heron-side-table") // for its shop
	f := drawn.ThreeMF(t, drawn.Bodies(t, k, parts))
	r, err := intake.Make(context.Background(), k, []intake.File{intake.File(f)}, ref.Shop, intake.Options{Name: "model", Use: piece.Other, Sizes: sizes})
	if err != nil {
		t.Fatal(err)
	}
	p := r.Piece
	// What the maker would write into the file: the proposed joints stand there already.
	p.Veneer.Veneer = use
	pl, err := plan.Make(context.Background(), k, p, ref.Shop, plan.Options{Core: core.Options{Labels: true, Solids: true}})
	if err != nil {
		t.Fatal(err)
	}
	return pl
}

// Furniture drawn elsewhere comes to a whole job folder, held against the same
// checks as the library's pieces.
func TestDrawnPieces(t *testing.T) {
	for _, m := range []struct {
		name string
		make func(float64) []drawn.Part
	}{{"stool", drawn.Stool}, {"cabinet", drawn.Cabinet}, {"trestle", drawn.Trestle}} {
		for _, chord := range []float64{0.5, 0.05} {
			for _, sizes := range []piece.Sizes{piece.Finished, piece.CoreSize} {
				t.Run(fmt.Sprintf("%s/%g/%s", m.name, chord, sizes), func(t *testing.T) {
					k, _ := kernel()
					p := brought(t, m.make(chord), sizes, "oak-thin")
					for _, f := range p.Findings {
						if f.Severity == finding.Stop {
							t.Errorf("stop: %v", f)
						}
					}
					files, err := Files(context.Background(), k, p, Options{})
					if err != nil {
						t.Fatal(err)
					}
					d := read(t, files)
					checkSegments(t, k, p, d, files)
					checkPatterns(t, d)
					checkJoints(t, p)
					for _, f := range veneer.Verify(p.Piece, p.Layout, p.Patterns, p.Joints, p.Shop, veneer.Options{}) {
						if f.Severity == finding.Stop {
							t.Errorf("patterns: %v", f)
						}
					}
					t.Logf("%d members, %d segments, %d loads, %d patterns", len(d.Members), len(d.Segments), len(d.Plates), len(d.Patterns))
				})
			}
		}
	}
}
