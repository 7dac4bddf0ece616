package schedule_test

import (
	"context"
	"testing"

	"groundwork/internal/bill"
	"groundwork/internal/fixture"
	"groundwork/internal/printing"
	"groundwork/internal/schedule"
	"groundwork/internal/specimen"
)

var plans specimen.Plans

// givenPiece is a piece with every result that a calendar is made from, without
// fixtures.
func givenPiece(t testing.TB, name string) schedule.Inputs {
	t.Helper()
	pl := plans.Of(t, name)
	in := schedule.Inputs{
		Piece: pl.Piece, Shop: pl.Shop, Joints: pl.Joints, Layout: pl.Layout, Seams: pl.Seams, Cores: pl.Cores,
		Patterns: pl.Patterns, Sheets: pl.Sheets, Printing: pl.Printing,
	}
	in.Bill = billed(in)
	return in
}

// billed is the bill of what a calendar is made from.
func billed(in schedule.Inputs) *bill.Bill {
	return bill.Make(bill.Inputs{
		Joints: in.Joints, Seams: in.Seams, Layout: in.Layout, Patterns: in.Patterns, Sheets: in.Sheets, Printing: in.Printing,
		Members: len(in.Piece.Members), Shop: in.Shop, Fixtures: in.Fixtures, FixturePrinting: in.FixturePrinting,
	})
}

var equipped = map[string]schedule.Inputs{} // by name of the piece; tests run one after another

// withFixtures adds the fixtures of a piece and their prints.
func withFixtures(t testing.TB, in schedule.Inputs) schedule.Inputs {
	t.Helper()
	k, err := specimen.Kernel()
	if err != nil {
		t.Fatal(err)
	}
	if full, ok := equipped[in.Piece.Name]; ok {
		return full
	}
	ctx := context.Background()
	filament := func(body int) string {
		if f := in.Piece.Filament; f != "" {
			return f
		}
		return in.Shop.Filaments[0].ID
	}
	in.Fixtures, err = fixture.Plan(ctx, k, fixture.Inputs{
		Piece: in.Piece, Shop: in.Shop, Joints: in.Joints, Layout: in.Layout, Patterns: in.Patterns, Seams: in.Seams, Cores: in.Cores, Filament: filament,
	}, fixture.Options{})
	if err != nil {
		t.Fatal(err)
	}
	segments, of := in.Fixtures.Segments()
	if in.FixturePrinting, err = printing.Plan(ctx, k, segments, in.Shop, of, printing.Options{}); err != nil {
		t.Fatal(err)
	}
	in.Bill = billed(in)
	equipped[in.Piece.Name] = in
	return in
}
