package schedule_test

import (
	"context"
	"fmt"
	"os"
	"slices"
	"testing"

	"groundwork/examples"
	"groundwork/internal/finding"
	"groundwork/internal/given"
	"groundwork/internal/schedule"
	"groundwork/internal/shop"
)

// shopWith is the example shop with some values set, by JSON Pointers.
func shopWith(t testing.TB, set ...finding.Change) *shop.Shop {
	t.Helper()
	text, err := examples.Files.ReadFile("shop.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range set {
		if text, err = given.Edit(text, c.Pointer, c.Value); err != nil {
			t.Fatal(err)
		}
	}
	s, err := shop.Parse("shop.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// What one more printer, person or night is told to bring is what it brings in
// a shop that has it.
func TestRemediesHoldWhenTaken(t *testing.T) {
	one := finding.Change{Document: finding.ShopFile, Pointer: "/printers/0/count", Value: "1"}
	for _, tc := range []struct {
		piece string
		set   []finding.Change
		code  string
	}{
		{"heron-side-table", []finding.Change{one}, "more-printers"},
		{"badger-bench", []finding.Change{one}, "more-printers"},
	} {
		in := inShop(t, tc.piece, shopWith(t, tc.set...))
		o := schedule.Options{Start: monday}
		r := held(t, in, o)
		i := slices.IndexFunc(r.Findings, func(f finding.Finding) bool { return f.Code == tc.code })
		if i < 0 {
			t.Errorf("%s: no finding %s in %v", tc.piece, tc.code, r.Findings)
			continue
		}
		f := r.Findings[i]
		in.Shop = shopWith(t, append(tc.set, f.Changes...)...)
		better := held(t, in, o)
		if better.End >= r.End || better.End != r.Alternatives[0].End {
			t.Errorf("%s: %s; taken, it ends at %g, not %g as told and %g before", tc.piece, f.Message, better.End, r.Alternatives[0].End, r.End)
		}
		t.Logf("%s: %s", tc.piece, f.Message)
	}
	// Those that are no single value of a file.
	for _, tc := range []struct {
		piece, what string
		before      func(*shop.Shop)
		taken       func(*shop.Shop)
	}{
		{"heron-side-table", "one more person", func(s *shop.Shop) {}, func(s *shop.Shop) { s.Work.Persons++ }},
		{"heron-side-table", "printing at night", func(s *shop.Shop) { s.Work.NightPrinting = false }, func(s *shop.Shop) { s.Work.NightPrinting = true }},
		{"badger-bench", "one more small-bed", func(s *shop.Shop) {}, func(s *shop.Shop) { s.Printers[0].Count++ }},
	} {
		s := shopWith(t)
		tc.before(s)
		in := inShop(t, tc.piece, s)
		r := held(t, in, schedule.Options{Start: monday})
		i := slices.IndexFunc(r.Alternatives, func(a schedule.Alternative) bool { return a.What == tc.what })
		if i < 0 {
			t.Errorf("%s: no %q in %v", tc.piece, tc.what, r.Alternatives)
			continue
		}
		tc.taken(s)
		if better := held(t, in, schedule.Options{Start: monday, NoRemedies: true}); better.End != r.Alternatives[i].End {
			t.Errorf("%s: %s, and it ends at %g, not %g", tc.piece, tc.what, better.End, r.Alternatives[i].End)
		}
		t.Logf("%s: %s: %s instead of %s", tc.piece, tc.what, r.Alternatives[i].Finish.Format("Mon 2 Jan 15:04"), r.Finish.Format("Mon 2 Jan 15:04"))
	}
}

// Prints as slow as they may be are those of a calendar with such prints.
func TestSlowPrints(t *testing.T) {
	in := inShop(t, "badger-bench", shopWith(t))
	r := held(t, in, schedule.Options{Start: monday})
	slow := *in.Printing
	slow.Loads = slices.Clone(slow.Loads)
	for i := range slow.Loads {
		slow.Loads[i].Seconds = slow.Loads[i].High
	}
	in.Printing = &slow
	want := held(t, in, schedule.Options{Start: monday, NoRemedies: true})
	if got := r.Alternatives[len(r.Alternatives)-1]; got.What != "prints as slow as they may be" || got.End != want.End {
		t.Errorf("%+v, want the end %g", got, want.End)
	}
}

// inShop is a piece as another shop schedules it.
func inShop(t testing.TB, name string, s *shop.Shop) schedule.Inputs {
	in := givenPiece(t, name)
	in.Shop = s
	return in
}

// A load that no day has room for is told when printers may not run alone.
func TestLoadTooLongForADay(t *testing.T) {
	in := givenPiece(t, "otter-stool")
	s := *in.Shop
	s.Work.NightPrinting = false
	in.Shop = &s
	r := held(t, in, schedule.Options{Start: monday, NoRemedies: true})
	for _, l := range in.Printing.Loads {
		told := slices.ContainsFunc(r.Findings, func(f finding.Finding) bool {
			return f.Code == "load-too-long" && f.Subject == l.ID && f.Severity == finding.Stop
		})
		if long := l.Seconds > 9*3600; told != long {
			t.Errorf("%s of %.1f h: told %v", l.ID, l.Seconds/3600, told)
		}
	}
}

// A shop that is closed for good has no calendar, and is told so.
func TestNoHours(t *testing.T) {
	in := givenPiece(t, "tern-wall-shelf")
	s := *in.Shop
	s.Work.Hours = shop.Hours{}
	in.Shop = &s
	r := made(t, in, schedule.Options{})
	if len(r.Activities) != 0 || len(r.Findings) != 1 || r.Findings[0].Code != "no-calendar" || r.Findings[0].Severity != finding.Stop {
		t.Errorf("%+v", r)
	}
}

func TestCancelled(t *testing.T) {
	in := givenPiece(t, "tern-wall-shelf")
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := schedule.Make(ctx, in, schedule.Options{}); err == nil {
		t.Error("a cancelled calendar")
	}
	if _, err := schedule.Make(context.Background(), schedule.Inputs{}, schedule.Options{}); err == nil {
		t.Error("a calendar of nothing")
	}
}

// The figures of docs/schedule.md: FIGURES=1 go test -run Figures -v.
func TestFigures(t *testing.T) {
	budgets := []int{600}
	if os.Getenv("FIGURES") != "" {
		budgets = []int{3, 60, 600, 6000, 30000}
	}
	for _, printers := range []string{"1", "2", "3"} {
		in := inShop(t, "heron-side-table", shopWith(t, finding.Change{Document: finding.ShopFile, Pointer: "/printers/0/count", Value: printers}))
		last := 0.0
		for _, n := range budgets {
			r := held(t, in, schedule.Options{Start: monday, NoRemedies: true, Schedules: n})
			t.Logf("%s printers, %d schedules: ends %s, day %.2f, bound %.2f, %d activities", printers, r.Evaluated, r.Finish.Format("Mon 2 Jan 15:04"), r.End/86400, r.LowerBound/86400, len(r.Activities))
			last = r.End
		}
		if last == 0 {
			t.Error("no calendar")
		}
	}
}

func BenchmarkMake(b *testing.B) {
	for _, name := range []string{"heron-side-table", "tern-wall-shelf"} {
		in := givenPiece(b, name)
		for _, n := range []int{3, 600} {
			for _, remedies := range []bool{false, true} {
				b.Run(fmt.Sprintf("%s/%d/remedies=%v", name, n, remedies), func(b *testing.B) {
					for b.Loop() {
						if _, err := schedule.Make(context.Background(), in, schedule.Options{Start: monday, Schedules: n, NoRemedies: !remedies}); err != nil {
							b.Fatal(err)
						}
					}
				})
			}
		}
	}
}
