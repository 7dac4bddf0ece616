package schedule_test

import (
	"context"
	"sync"
	"testing"

	"groundwork/examples"
	"groundwork/internal/bill"
	"groundwork/internal/drawn"
	"groundwork/internal/fixture"
	"groundwork/internal/intake"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/printing"
	"groundwork/internal/schedule"
	"groundwork/internal/solid"
)

var kernel = sync.OnceValues(func() (*solid.Kernel, error) { return solid.New(solid.Options{}) })

// all are the library's pieces, and a stool that was drawn elsewhere.
var all = []string{"heron-side-table", "otter-stool", "badger-bench", "tern-wall-shelf", "brought-stool"}

var works = map[string]func() (schedule.Inputs, error){}

func init() {
	for _, name := range all {
		works[name] = sync.OnceValues(func() (schedule.Inputs, error) { return prepare(name) })
	}
}

var brought []intake.File

// givenPiece is a piece with every result that a calendar is made from, without
// fixtures.
func givenPiece(t testing.TB, name string) schedule.Inputs {
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
	return in
}

func prepare(name string) (schedule.Inputs, error) {
	ctx := context.Background()
	k, err := kernel()
	if err != nil {
		return schedule.Inputs{}, err
	}
	s, err := examples.Shop()
	if err != nil {
		return schedule.Inputs{}, err
	}
	var p *piece.Piece
	if name == "brought-stool" {
		r, err := intake.Make(ctx, k, brought, s, intake.Options{Name: "brought-stool", Use: piece.Seat})
		if err != nil {
			return schedule.Inputs{}, err
		}
		p = r.Piece
	} else {
		if p, err = examples.Piece(name, nil); err != nil {
			return schedule.Inputs{}, err
		}
	}
	pl, err := plan.Make(ctx, k, p, s, plan.Options{})
	if err != nil {
		return schedule.Inputs{}, err
	}
	plans[name] = pl
	in := schedule.Inputs{
		Piece: pl.Piece, Shop: pl.Shop, Joints: pl.Joints, Layout: pl.Layout, Seams: pl.Seams, Cores: pl.Cores,
		Patterns: pl.Patterns, Sheets: pl.Sheets, Printing: pl.Printing,
	}
	in.Bill = billed(in)
	return in, nil
}

var plans = map[string]*plan.Plan{} // by name of the piece, once they were asked for

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
	k, err := kernel()
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
