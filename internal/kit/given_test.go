package kit_test

import (
	"context"
	"math"
	"strings"
	"testing"

	"groundwork/internal/kit"
	"groundwork/internal/plan"
	"groundwork/internal/sheet"
	"groundwork/internal/specimen"
)

var plans = specimen.Plans{Options: plan.Options{Sheet: sheet.Options{Iterations: 1, Lines: -1}}}

// given is a piece with everything that kits are made from. Its shop is its own.
func given(t testing.TB, name string) kit.Inputs {
	t.Helper()
	pl := plans.Of(t, name)
	s := *pl.Shop
	return kit.Inputs{
		Piece: pl.Piece, Shop: &s, Joints: pl.Joints, Layout: pl.Layout, Patterns: pl.Patterns, Seams: pl.Seams,
		Cores: pl.Cores, Printing: pl.Printing, Sheets: pl.Sheets, Bill: pl.Bill,
	}
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
