package store

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"groundwork/internal/geom"
)

// Which spools the loads of a job are printed from.
func TestAllocate(t *testing.T) {
	one := func(g float64) Need { return Need{Item: abs, Amount: Of(g), OneLot: true} }
	any := func(g float64) Need { return Need{Item: abs, Amount: Of(g)} }
	for _, c := range []struct {
		name   string
		spools []float64
		needs  []Need
		taken  []float64 // of each spool
		short  []float64 // amount that could be had, of each need that is short
	}{
		{"the open spool first", []float64{1000, 300}, []Need{one(200)}, []float64{0, 200}, nil},
		{"what it is too little for comes from the next", []float64{1000, 300}, []Need{one(350)}, []float64{350, 0}, nil},
		{"two loads, each from one", []float64{500, 500}, []Need{one(400), one(400)}, []float64{400, 400}, nil},
		{"enough in all, but not on one spool", []float64{300, 300}, []Need{one(400)}, nil, []float64{300}},
		{"the same, shared out", []float64{300, 300}, []Need{any(400)}, []float64{300, 100}, nil},
		{"the tight fit", []float64{10, 9}, []Need{one(4), one(4), one(5), one(6)}, []float64{10, 9}, nil},
		// 5 goes into 9 and 4 beside it, which leaves 10 for 4, 3 and 3.
		{"no gram to spare", []float64{9, 10}, []Need{one(5), one(4), one(4), one(3), one(3)}, []float64{9, 10}, nil},
		// The fullest use at each step would be 5 and 2 of 7, then 3 and 3 of 8, and no room for the other 2.
		{"going back on the best", []float64{7, 8}, []Need{one(5), one(3), one(3), one(2), one(2)}, []float64{7, 8}, nil},
		{"some for a load, the rest for whatever", []float64{500, 100}, []Need{any(150), one(450)}, []float64{500, 100}, nil},
		{"none at all", nil, []Need{any(1)}, nil, []float64{0}},
		{"two short", []float64{5}, []Need{one(6), any(7)}, nil, []float64{5, 5}},
	} {
		t.Run(c.name, func(t *testing.T) {
			st := &Stock{Items: []Stocked{{Item: abs}}}
			for i, g := range c.spools {
				st.Items[0].Lots = append(st.Items[0].Lots, Lot{Ref: Ref{abs, string(rune('1' + i))}, OnHand: Of(g)})
			}
			taken, short := allocate(st, "a", c.needs)
			var got, lacks []float64
			if len(taken) > 0 {
				got = make([]float64, len(c.spools))
				for _, x := range taken {
					got[x.Lot.Lot[0]-'1'] = x.Amount.Units()
				}
			}
			for _, x := range short {
				lacks = append(lacks, x.Free.Units())
			}
			if !slices.Equal(got, c.taken) || !slices.Equal(lacks, c.short) {
				t.Errorf("took %v, not %v; of what is short %v could be had, not %v", got, c.taken, lacks, c.short)
			}
		})
	}
}

// A fit that there is is found: amounts that were cut out of the lots go back in.
func TestFitIsFound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var free, amounts []Amount
		for range rapid.IntRange(1, 4).Draw(t, "lots") {
			var sum Amount
			for range rapid.IntRange(0, 3).Draw(t, "loads") {
				a := Amount(rapid.IntRange(1, 30).Draw(t, "amount"))
				amounts = append(amounts, a)
				sum += a
			}
			free = append(free, sum)
		}
		slices.Sort(amounts)
		slices.Reverse(amounts)
		room := slices.Clone(free)
		for j, k := range fit(free, amounts) {
			if k < 0 {
				t.Fatalf("%v into %v: %d is left over", amounts, free, amounts[j])
			}
			if room[k] -= amounts[j]; room[k] < 0 {
				t.Fatalf("%v into %v: lot %d is too full", amounts, free, k)
			}
		}
	})
}

// A job from its plan to what is left over.
func TestJob(t *testing.T) {
	s := fresh(t)
	ctx := t.Context()
	full, open := add(t, s, abs, Of(1000)), add(t, s, abs, Of(400))
	bin, sheets := add(t, s, screws, Pieces(10)), add(t, s, walnut, Pieces(3))
	ok(t, s.Plan(ctx, Job{ID: "stool-1", Piece: "stool", Revision: "r1", Loads: []Load{
		{"load-01", "small-bed", "abs", 3600, 350}, {"load-02", "small-bed", "abs", 7200, 600},
	}}, Note{}))
	ok(t, s.Plan(ctx, Job{ID: "stool-2"}, Note{}))
	needs := []Need{
		{Item: abs, Amount: Of(350), OneLot: true, For: "load-01"}, {Item: abs, Amount: Of(600), OneLot: true, For: "load-02"},
		{Item: screws, Amount: Pieces(8)}, {Item: walnut, Amount: Pieces(2)},
	}
	r := must[Reservation](t)(s.Reserve(ctx, "stool-1", needs, Note{}))
	want := []Taken{{full, Of(600)}, {open, Of(350)}, {bin, Pieces(8)}, {sheets, Pieces(2)}}
	if d := cmp.Diff(want, r.Taken); d != "" {
		t.Error(d)
	}
	// The second stool lacks screws and a sheet, is told who has them, and takes nothing.
	r = must[Reservation](t)(s.Reserve(ctx, "stool-2", needs[2:], Note{}))
	if len(r.Taken) != 0 || len(r.Short) != 2 || r.Short[0].Short() != Pieces(6) || r.Short[1].Free != Pieces(1) ||
		!slices.Equal(r.Short[0].Holds, []Hold{{"stool-1", Pieces(8)}}) {
		t.Errorf("%+v", r)
	}
	// Reserving again takes what was reserved into account.
	r = must[Reservation](t)(s.Reserve(ctx, "stool-1", append(slices.Clone(needs), Need{Item: screws, Amount: Pieces(2)}), Note{}))
	if len(r.Short) > 0 {
		t.Errorf("%+v", r.Short)
	}
	// A load is printed: the spool is lighter at once, by what it really took.
	ok(t, s.Actual(ctx, Actual{Job: "stool-1", Load: "load-01", Seconds: 3900, Grams: 20, Spool: open.Lot, Failed: true}, Note{Reason: "lifted"}))
	ok(t, s.Actual(ctx, Actual{Job: "stool-1", Load: "load-01", Seconds: 3900, Grams: 360, Spool: open.Lot}, Note{}))
	if got := onHand(t, s, open); got != Of(20) {
		t.Errorf("%s g on the open spool", got)
	}
	ok(t, s.Adjust(ctx, sheets, -Pieces(2), Note{Reason: "split in the frost"}))
	st := must[*Stock](t)(s.Stock(ctx, StockOptions{}))
	if u := st.Uncovered(); len(u) != 1 || u[0].Ref != sheets || u[0].Held() != Pieces(2) {
		t.Errorf("%+v", u)
	}
	ok(t, s.Adjust(ctx, sheets, Pieces(2), Note{Reason: "bought anew"}))
	photo := jpeg("an offcut")
	refs := must[[]Ref](t)(s.Finish(ctx, "stool-1", Actuals{
		Used: []Taken{{full, Of(612.5)}, {bin, Pieces(9)}},
		Left: []Left{{Veneer: "walnut", Piece: Piece{Form: Leftover, Outline: Rectangle(geom.V2(100, 800)), Photo: photo, CutFrom: &sheets}}},
	}, Note{}))
	for _, c := range []struct {
		lot  Ref
		want Amount
	}{{full, Of(387.5)}, {open, Of(20)}, {bin, Pieces(1)}, {sheets, Pieces(1)}, {refs[0], Pieces(1)}} {
		if got := onHand(t, s, c.lot); got != c.want {
			t.Errorf("%s: %s, not %s", c.lot, got, c.want)
		}
	}
	job := must[Job](t)(s.Job(ctx, "stool-1"))
	if job.State != "finished" || len(job.Holds) != 0 || len(job.Runs) != 2 || !job.Runs[0].Failed || job.Runs[1].Spool != open.Lot || job.Runs[1].EstimatedGrams != 350 {
		t.Errorf("%+v", job)
	}
	st = must[*Stock](t)(s.Stock(ctx, StockOptions{}))
	left, _ := st.Of(pieces)
	if p := left.Lots[0].Piece; p.CutFrom == nil || *p.CutFrom != sheets || p.PhotoName == "" {
		t.Errorf("%+v", p)
	} else if got, media, err := s.Photo(ctx, p.PhotoName); err != nil || !slices.Equal(got, photo) || media != "image/jpeg" {
		t.Errorf("%q, %s, %v", got, media, err)
	}
	if p := st.Printers; len(p) != 1 || p[0].Runs != 2 || p[0].Seconds != 7800 || p[0].Grams != 380 {
		t.Errorf("%+v", p)
	}
	if err := s.Abandon(ctx, "stool-1", Note{}); err == nil {
		t.Error("a finished job was abandoned")
	}
	sound(t, s)
}

// Prices are kept as they were said, and rounded once.
func TestMoney(t *testing.T) {
	for _, c := range []struct {
		price    float64
		currency string
		per, of  Amount
		want     string
	}{
		{22, "EUR", Of(1000), Of(351.5), "7.73 EUR"}, // 7.733
		{22, "EUR", Of(1000), Of(0.1), "0.00 EUR"},
		{4, "EUR", Pieces(100), Pieces(3), "0.12 EUR"},
		{1, "EUR", Pieces(200), Pieces(1), "0.01 EUR"}, // half a cent, away from zero
		{1, "EUR", Pieces(200), -Pieces(1), "-0.01 EUR"},
		{3500, "JPY", Of(1000), Of(500), "1750 JPY"},
		{1.5, "KWD", Of(1000), Of(1), "0.002 KWD"}, // 0.0015
		{9_999_999, "EUR", 1000, MaxAmount, "9999999000000000.00 EUR"},
	} {
		m := must[Money](t)(MoneyOf(c.price, c.currency))
		if got := (Price{m, c.per}).Of(c.of).String(); got != c.want {
			t.Errorf("%s at %s for %s is %s, not %s", c.of, m, c.per, got, c.want)
		}
	}
	s := fresh(t)
	ctx := t.Context()
	eur := func(v float64, per Amount) *Price { return &Price{must[Money](t)(MoneyOf(v, "EUR")), per} }
	must[Ref](t)(s.Add(ctx, Receipt{Item: abs, Amount: Of(750), Price: eur(22, Of(1000))}))
	add(t, s, screws, Pieces(7))
	ok(t, s.SetPrice(ctx, abs, *eur(24, Of(1000)), Note{}))
	worth, unpriced := must[*Stock](t)(s.Stock(ctx, StockOptions{})).Value()
	if len(worth) != 1 || worth[0].String() != "18.00 EUR" || unpriced != 1 {
		t.Errorf("%v, %d", worth, unpriced)
	}
	sound(t, s)
}

// What the plan has in one unit and the stock in another is not taken for the
// same.
func TestReserveUnits(t *testing.T) {
	s := fresh(t)
	ctx := t.Context()
	must[Ref](t)(s.Add(ctx, Receipt{Item: glue, Unit: "ml", Amount: Of(100)}))
	ok(t, s.Plan(ctx, Job{ID: "a"}, Note{}))
	if _, err := s.Reserve(ctx, "a", []Need{{Item: glue, Amount: Of(5), Unit: "g"}}, Note{}); err == nil || !strings.Contains(err.Error(), "in g, and in stock it is measured in ml") {
		t.Errorf("%v", err)
	}
	for _, unit := range []string{"ml", ""} {
		if r := must[Reservation](t)(s.Reserve(ctx, "a", []Need{{Item: glue, Amount: Of(5), Unit: unit}}, Note{})); len(r.Taken) != 1 {
			t.Errorf("%+v", r)
		}
	}
}

// A load that was printed from another spool than was reserved is not taken
// twice, and one that was not logged is taken as planned.
func TestUnlogged(t *testing.T) {
	s := fresh(t)
	ctx := t.Context()
	for range 3 {
		must[Ref](t)(s.Add(ctx, Receipt{Item: abs, Amount: Of(250)}))
	}
	load := func(id string) Load { return Load{ID: id, Printer: "p", Filament: "abs", Seconds: 1, Grams: 200} }
	need := func(id string) Need { return Need{Item: abs, Amount: Of(200), OneLot: true, For: id} }
	ok(t, s.Plan(ctx, Job{ID: "a", Loads: []Load{load("1"), load("2")}, Needs: []Need{need("1"), need("2")}}, Note{}))
	r := must[Reservation](t)(s.Reserve(ctx, "a", []Need{need("1"), need("2")}, Note{}))
	if len(r.Taken) != 2 || r.Taken[0].Lot.Lot != "1" || r.Taken[1].Lot.Lot != "2" {
		t.Fatalf("%+v", r)
	}
	ok(t, s.Actual(ctx, Actual{Job: "a", Load: "1", Seconds: 1, Grams: 210, Spool: "3"}, Note{}))              // another spool
	ok(t, s.Actual(ctx, Actual{Job: "a", Load: "2", Seconds: 1, Grams: 30, Spool: "2", Failed: true}, Note{})) // the second try is not logged
	j := must[Job](t)(s.Job(ctx, "a"))
	must[[]Ref](t)(s.Finish(ctx, "a", Actuals{Used: j.Unlogged()}, Note{}))
	it, _ := must[*Stock](t)(s.Stock(ctx, StockOptions{})).Of(abs)
	var left Amount
	for _, l := range it.Lots {
		left += l.OnHand
	}
	if want := Of(750 - 210 - 30 - 200); left != want || it.Held != 0 {
		t.Errorf("%s g are left, not %s; %s reserved", left, want, it.Held)
	}
	if (Job{Holds: []Taken{{Ref{abs, "1"}, 5}}}).Unlogged() != nil {
		t.Error("a job without needs")
	}
	sound(t, s)
}
