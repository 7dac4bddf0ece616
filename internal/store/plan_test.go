package store

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"groundwork/internal/bill"
	"groundwork/internal/geom"
	"groundwork/internal/printing"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/veneer"
)

func leaf(id string, w, h float64) veneer.Pattern {
	p := Rectangle(geom.V2(w, h))
	return veneer.Pattern{ID: id, Kind: veneer.Leaf, Veneer: "walnut", Net: geom.Polygons{p}, Gross: geom.Polygons{p}, NetArea: w * h, GrossArea: w * h, Length: w, Width: h, Grain: math.Pi / 2}
}

// A piece is planned with the stock, made, and what it leaves is what the next
// one is cut from: the sheets stage takes the overlay as it is.
func TestPlanningWithStock(t *testing.T) {
	s := fresh(t)
	ctx := t.Context()
	sh := &shop.Shop{
		Lasers: []shop.Laser{{ID: "laser", Bed: geom.V2(600, 400), Margin: 5, Kerf: 0.2, CutSpeed: 20}},
		Veneers: []shop.Veneer{{ID: "walnut", Sheet: geom.V2(610, 1220), EdgeMargin: 3, MinOffcut: geom.V2(60, 100), Figure: "plain", Price: 90,
			Offcuts: []shop.Offcut{{ID: "by-hand", Size: geom.V2(40, 200), Count: 1}}}},
	}
	add(t, s, walnut, Pieces(1))
	add(t, s, abs, Of(1000))
	plan := func(job string, patterns ...veneer.Pattern) *sheet.Result {
		t.Helper()
		with, found := must[*Stock](t)(s.Stock(ctx, StockOptions{})).Overlay(sh, job)
		if len(found) > 0 {
			t.Errorf("%+v", found)
		}
		return must[*sheet.Result](t)(sheet.Plan(ctx, nil, patterns, with, sheet.Options{}))
	}
	on := func(r *sheet.Result) string {
		var ids []string
		for _, x := range r.Sheets {
			ids = append(ids, x.ID)
		}
		return strings.Join(ids, " ")
	}
	loads := &printing.Result{Loads: []printing.Load{{ID: "load-01", Printer: "small-bed", Filament: "abs", Seconds: 3600, Grams: 123.41, Reckoned: printing.Reckoned{Seconds: 3500, Grams: 120}}}}
	b := &bill.Bill{Lines: []bill.Line{
		{Section: bill.Hardware, Item: screws.ID, Quantity: 4, Unit: "piece"}, {Section: bill.Hardware, Item: "printed dowel 6 x 20", Quantity: 4, Unit: "piece"},
		{Section: bill.Consumable, Item: glue.ID, Quantity: 12.34, Unit: "ml"}, {Section: bill.Filament, Item: "abs", Quantity: 123.41, Unit: "g"},
	}}

	first := plan("first", leaf("a", 300, 380))
	if on(first) != "walnut-1" {
		t.Fatalf("the first is cut from %s", on(first))
	}
	want := []Need{
		{Item: abs, Amount: Of(123.5), Unit: "g", OneLot: true, For: "load-01"}, {Item: walnut, Amount: Pieces(1), Unit: "piece"},
		{Item: screws, Amount: Pieces(4), Unit: "piece"}, {Item: glue, Amount: Of(12.4), Unit: "ml"},
	}
	if d := cmp.Diff(want, Needs(b, loads, nil, first)); d != "" {
		t.Error(d)
	}
	planned := Job{ID: "first", Loads: LoadsOf(loads, nil), Needs: Needs(b, loads, nil, first), Left: LeftOf(first)}
	ok(t, s.Plan(ctx, planned, Note{}))
	kept := must[Job](t)(s.Job(ctx, "first"))
	same(t, "what is kept of the plan", []any{planned.Loads, planned.Needs, planned.Left}, []any{kept.Loads, kept.Needs, kept.Left})
	if l := kept.Loads[0]; l.Seconds != 3500 || l.Grams != 120 {
		t.Errorf("a load is kept as %+v, not as it was worked out", l)
	}
	fixtures := &printing.Result{Loads: loads.Loads}
	if both := LoadsOf(loads, fixtures); len(both) != 2 || both[1].ID != "fixtures-load-01" || len(Needs(b, loads, fixtures, first)) != len(planned.Needs)+1 {
		t.Errorf("%+v", both)
	}
	if r := must[Reservation](t)(s.Reserve(ctx, "first", Needs(b, loads, nil, first), Note{})); len(r.Short) != 2 || r.Short[0].Item != screws || r.Short[1].Item != glue || len(r.Taken) > 0 {
		t.Errorf("%+v", r)
	}
	b = &bill.Bill{}
	if r := must[Reservation](t)(s.Reserve(ctx, "first", Needs(b, loads, nil, first), Note{})); len(r.Short) > 0 {
		t.Errorf("%+v", r.Short)
	}
	refs := must[[]Ref](t)(s.Finish(ctx, "first", Actuals{Left: kept.Left}, Note{}))
	if len(refs) == 0 || len(refs) != len(first.Sheets[0].Offcuts) {
		t.Fatalf("%d pieces came back of %d", len(refs), len(first.Sheets[0].Offcuts))
	}

	second := plan("second", leaf("b", 280, 370))
	if len(second.Sheets) != 1 || second.Sheets[0].Kept == "" {
		t.Fatalf("the second is cut from %s, not from what was left", on(second))
	}
	ok(t, s.Plan(ctx, Job{ID: "second"}, Note{}))
	r := must[Reservation](t)(s.Reserve(ctx, "second", Needs(b, &printing.Result{}, nil, second), Note{}))
	if len(r.Short) > 0 || len(r.Taken) != 1 || !slices.Contains(refs, r.Taken[0].Lot) {
		t.Errorf("%+v", r)
	}
	// Its piece is no longer anybody else's, but still its own.
	if again := plan("second", leaf("b", 280, 370)); on(again) != on(second) {
		t.Errorf("planned again, it is cut from %s, not from %s", on(again), on(second))
	}
	if other := plan("third", leaf("b", 280, 370)); on(other) == on(second) {
		t.Errorf("a third is cut from %s, which is reserved", on(other))
	}
	back := must[[]Ref](t)(s.Finish(ctx, "second", Actuals{Left: LeftOf(second)}, Note{}))
	st := must[*Stock](t)(s.Stock(ctx, StockOptions{}))
	it, _ := st.Of(pieces)
	for _, l := range it.Lots {
		if l.Ref == r.Taken[0].Lot {
			t.Error("the piece that was cut up is still there")
		}
		if slices.Contains(back, l.Ref) && *l.Piece.CutFrom != r.Taken[0].Lot {
			t.Errorf("%s was cut from %s", l.Ref, l.Piece.CutFrom)
		}
	}
	sound(t, s)
}

func TestOverlay(t *testing.T) {
	s := fresh(t)
	ctx := t.Context()
	piece := func(item Item, lot string, p geom.Polygon, knots ...shop.Reserved) {
		t.Helper()
		must[Ref](t)(s.Add(ctx, Receipt{Item: item, Lot: lot, Amount: Pieces(1), Piece: &Piece{Form: Leftover, Outline: p, Reserved: knots}}))
	}
	knot := shop.Reserved{At: geom.V2(10, 20), Size: geom.V2(5, 6)}
	piece(pieces, "", Rectangle(geom.V2(100, 600)), knot)
	piece(pieces, "b", Rectangle(geom.V2(90, 500)))
	piece(pieces, "sliver", poly(0, 0, 1, 0, 500, 500, 499, 500)) // slants all along
	piece(Item{Offcut, "yew"}, "1", Rectangle(geom.V2(90, 500)))
	sh := &shop.Shop{Veneers: []shop.Veneer{{ID: "ash"}, {ID: "walnut", Offcuts: []shop.Offcut{{ID: "b", Size: geom.V2(1, 1), Count: 1}, {ID: "c", Size: geom.V2(2, 2), Count: 2}}}}}
	before := fmt.Sprintf("%+v", sh)
	got, found := must[*Stock](t)(s.Stock(ctx, StockOptions{})).Overlay(sh, "")
	want := []shop.Offcut{
		{ID: "b", Size: geom.V2(90, 500), Count: 1}, {ID: "c", Size: geom.V2(2, 2), Count: 2}, {ID: "1", Size: geom.V2(100, 600), Count: 1, Reserved: []shop.Reserved{knot}},
	}
	if d := cmp.Diff(want, got.Veneers[1].Offcuts); d != "" {
		t.Error(d)
	}
	var codes []string
	for _, f := range found {
		codes = append(codes, f.Code+" "+f.Subject)
	}
	if want := []string{"stock-twice walnut-b", "stock-not-usable walnut-sliver", "stock-unknown-veneer yew-1"}; !slices.Equal(codes, want) {
		t.Errorf("%q", codes)
	}
	if after := fmt.Sprintf("%+v", sh); after != before {
		t.Error("the shop that was given was changed")
	}
	// A new look at a piece: other knots, the same photograph.
	ref := must[Ref](t)(s.Add(ctx, Receipt{Item: pieces, Lot: "p", Amount: Pieces(1), Piece: &Piece{Form: Marked, Outline: Rectangle(geom.V2(60, 300)), Photo: jpeg("p")}}))
	ok(t, s.Describe(ctx, ref, Piece{Form: Cut, Outline: Rectangle(geom.V2(60, 290)), Reserved: []shop.Reserved{knot}}, Note{}))
	it, _ := must[*Stock](t)(s.Stock(ctx, StockOptions{})).Of(pieces)
	p := it.Lots[len(it.Lots)-1].Piece
	if p.Form != Cut || p.Outline.Bounds().Max.Y != 290 || len(p.Reserved) != 1 || p.PhotoName == "" {
		t.Errorf("%+v", p)
	}
	// What happened to one lot.
	log := must[[]Entry](t)(s.Ledger(ctx, &ref, 0, 10))
	if len(log) != 1 || log[0].What != "add" || log[0].Moves[0] != (Move{Lot: ref, Amount: 1000}) {
		t.Errorf("%+v", log)
	}
}

// What a change costs that is on the disk when it is acknowledged, and what it
// would cost if it were only in the system's memory.
func BenchmarkAdjust(b *testing.B) {
	for _, mode := range []string{"FULL", "NORMAL"} {
		b.Run(mode, func(b *testing.B) {
			s := fresh(b)
			ref := add(b, s, abs, Of(1000))
			_, err := s.writing.ExecContext(b.Context(), "PRAGMA synchronous = "+mode)
			ok(b, err)
			for b.Loop() {
				ok(b, s.Adjust(b.Context(), ref, 1, Note{Reason: "benchmark"}))
			}
		})
	}
}

// Telling the stock of a shop with a thousand pieces of veneer and as many jobs
// behind it.
func BenchmarkStock(b *testing.B) {
	s := fresh(b)
	_, err := s.writing.ExecContext(b.Context(), "PRAGMA synchronous = OFF") // of the filling alone
	ok(b, err)
	for n := range 6000 {
		ok(b, deed{0, n}.do(b.Context(), s))
	}
	b.ResetTimer()
	for b.Loop() {
		must[*Stock](b)(s.Stock(b.Context(), StockOptions{}))
	}
}

// BenchmarkCheck adds that ledger up again.
func BenchmarkCheck(b *testing.B) {
	s := fresh(b)
	_, err := s.writing.ExecContext(b.Context(), "PRAGMA synchronous = OFF")
	ok(b, err)
	for n := range 6000 {
		ok(b, deed{0, n}.do(b.Context(), s))
	}
	b.ResetTimer()
	for b.Loop() {
		sound(b, s)
	}
}
