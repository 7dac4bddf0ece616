package kit_test

import (
	"context"
	"math"
	"strings"
	"sync"
	"testing"

	"groundwork/examples"
	"groundwork/internal/drawn"
	"groundwork/internal/intake"
	"groundwork/internal/kit"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/sheet"
	"groundwork/internal/solid"
)

var kernel = sync.OnceValues(func() (*solid.Kernel, error) { return solid.New(solid.Options{}) })

// all are the library's pieces, and a stool that was drawn elsewhere.
var all = []string{"heron-side-table", "otter-stool", "badger-bench", "tern-wall-shelf", "brought-stool"}

var works = map[string]func() (kit.Inputs, error){}

func init() {
	for _, name := range all {
		works[name] = sync.OnceValues(func() (kit.Inputs, error) { return prepare(name) })
	}
}

var brought []intake.File

// given is a piece with everything that kits are made from. Its shop is its own.
func given(t testing.TB, name string) kit.Inputs {
	t.Helper()
	k, err := kernel()
	if err != nil {
		t.Fatal(err)
	}
	if name == "brought-stool" && brought == nil {
		brought = []intake.File{intake.File(drawn.ThreeMF(t, drawn.Bodies(t, k, drawn.Stool(0.2))))}
	}
	in, err := works[name]()
	if err != nil {
		t.Fatal(err)
	}
	s := *in.Shop
	in.Shop = &s
	return in
}

func prepare(name string) (kit.Inputs, error) {
	ctx := context.Background()
	k, err := kernel()
	if err != nil {
		return kit.Inputs{}, err
	}
	s, err := examples.Shop()
	if err != nil {
		return kit.Inputs{}, err
	}
	var p *piece.Piece
	if name == "brought-stool" {
		r, err := intake.Make(ctx, k, brought, s, intake.Options{Name: "brought-stool", Use: piece.Seat})
		if err != nil {
			return kit.Inputs{}, err
		}
		p = r.Piece
	} else {
		if p, err = examples.Piece(name, nil); err != nil {
			return kit.Inputs{}, err
		}
	}
	pl, err := plan.Make(ctx, k, p, s, plan.Options{Sheet: sheet.Options{Iterations: 1, Lines: -1}})
	if err != nil {
		return kit.Inputs{}, err
	}
	return kit.Inputs{
		Piece: pl.Piece, Shop: pl.Shop, Joints: pl.Joints, Layout: pl.Layout, Patterns: pl.Patterns, Seams: pl.Seams,
		Cores: pl.Cores, Printing: pl.Printing, Sheets: pl.Sheets, Bill: pl.Bill,
	}, nil
}

func made(t testing.TB, in kit.Inputs, o kit.Options) *kit.Result {
	t.Helper()
	r, err := kit.Make(context.Background(), in, o)
	if err != nil {
		t.Fatal(err)
	}
	judge(t, in, r)
	return r
}

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-6*max(1, math.Abs(a), math.Abs(b)) }

func says(lines []string, what string) bool {
	for _, l := range lines {
		if strings.Contains(l, what) {
			return true
		}
	}
	return false
}
