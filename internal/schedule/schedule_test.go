package schedule_test

import (
	"context"
	"fmt"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata"

	"pgregory.net/rapid"

	"groundwork/internal/schedule"
	"groundwork/internal/shop"
	"groundwork/internal/specimen"
)

// monday is a Monday before Christmas.
var monday = time.Date(2026, 11, 30, 0, 0, 0, 0, time.UTC)

func made(t testing.TB, in schedule.Inputs, o schedule.Options) *schedule.Result {
	t.Helper()
	r, err := schedule.Make(context.Background(), in, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func held(t testing.TB, in schedule.Inputs, o schedule.Options) *schedule.Result {
	t.Helper()
	r := made(t, in, o)
	if len(r.Activities) == 0 {
		t.Fatal(r.Findings)
	}
	for _, f := range broken(in, o, r) {
		t.Error(f)
	}
	return r
}

// Every piece, with dates and without, by its bill and with its fixtures.
func TestCalendarsKeepTheRulesOfTheTrade(t *testing.T) {
	for _, name := range specimen.Names {
		t.Run(name, func(t *testing.T) {
			in := givenPiece(t, name)
			dated := held(t, in, schedule.Options{Start: monday})
			counted := held(t, in, schedule.Options{NoRemedies: true})
			if dated.End != counted.End {
				t.Errorf("ends after %g s with dates, %g without", dated.End, counted.End)
			}
			if dated.End < dated.LowerBound {
				t.Errorf("ends at %g, no calendar can before %g", dated.End, dated.LowerBound)
			}
			if dated.HandsOn >= dated.Elapsed() {
				t.Errorf("%g s hands on, %g s elapsed", dated.HandsOn, dated.Elapsed())
			}
			if dated.HandsOn != in.Bill.LabourSeconds || dated.Billed != dated.HandsOn {
				t.Errorf("%g s at work, %g of them counted, %g s on the bill", dated.HandsOn, dated.Billed, in.Bill.LabourSeconds)
			}
			// The chain goes on without a gap but for what is waited for.
			at := map[string]schedule.Activity{}
			for _, a := range dated.Activities {
				at[a.ID] = a
			}
			for i, c := range dated.Critical[1:] {
				if at[c.Activity].Start < at[dated.Critical[i].Activity].Start || !at[c.Activity].Critical {
					t.Errorf("%s does not follow %s", c.Activity, dated.Critical[i].Activity)
				}
			}
			last := dated.Critical[len(dated.Critical)-1]
			if last.Activity != "hand over" {
				t.Errorf("the critical chain ends with %s", last.Activity)
			}
			for _, a := range dated.Activities {
				if a.Slack < 0 || a.End+a.Slack > dated.End || a.End == dated.End && a.Slack > 0 {
					t.Errorf("%s ends at %g of %g, with a slack of %g", a.ID, a.End, dated.End, a.Slack)
				}
			}
			if name == "tern-wall-shelf" || name == "otter-stool" { // as others, and slow
				return
			}
			full := withFixtures(t, in)
			with := held(t, full, schedule.Options{Start: monday, NoRemedies: true, Coupons: true})
			if want := full.Bill.LabourSeconds + full.Bill.FixtureLabourSeconds; with.HandsOn != want || with.Billed != want {
				t.Errorf("with fixtures %g s at work, %g of them counted, %g s on the bill", with.HandsOn, with.Billed, want)
			}
			for _, l := range full.FixturePrinting.Loads {
				if !slices.ContainsFunc(with.Activities, func(a schedule.Activity) bool { return a.ID == "take off fixtures "+l.ID }) {
					t.Errorf("fixtures' %s is not in the calendar", l.ID)
				}
			}
			t.Logf("%d activities, ends %s, bound %.1f of %.1f days, %.1f h hands on", len(dated.Activities), dated.Finish.Format("Mon 2 Jan"), dated.LowerBound/86400, dated.End/86400, dated.HandsOn/3600)
		})
	}
}

// The checker sees what it is there to see.
func TestBrokenRulesAreSeen(t *testing.T) {
	o := schedule.Options{Start: monday, NoRemedies: true}
	heron := givenPiece(t, "heron-side-table")
	glued := ""
	for _, a := range made(t, heron, o).Activities {
		if a.Kind == schedule.Join {
			glued = a.ID
		}
	}
	r := made(t, heron, o)
	for i := range r.Activities {
		if a := &r.Activities[i]; a.ID == glued { // as if members were glued before they are veneered
			long := a.End - a.Start
			a.Start = 2*86400 + 9*3600
			a.End = a.Start + long
		}
	}
	for _, want := range []string{"glue members .* after the end of trim ", "glue members .* after the end of lay ", "glue members .* after the end of dry fit piece"} {
		if !slices.ContainsFunc(broken(heron, o, r), regexp.MustCompile(want).MatchString) {
			t.Errorf("%s before its time: %s is not seen in %q", glued, want, broken(heron, o, r))
		}
	}
	in := givenPiece(t, "otter-stool")
	for _, tc := range []struct {
		id   string
		to   func(a schedule.Activity) float64
		want string
	}{
		{"lay seat/face", func(schedule.Activity) float64 { return 86400 + 8*3600 }, "lay seat/face begins"},
		{"coat 1 seat", func(a schedule.Activity) float64 { return a.Start - 4*86400 }, "coat 1 seat begins"},
		{"coat 2 leg-1", func(a schedule.Activity) float64 { return a.Start - 3600 }, "coat 2 leg-1 begins"},
		{"print load-01", func(a schedule.Activity) float64 { return 3 * 3600 }, "print load-01: hands work out of hours"},
		{"take off load-01", func(a schedule.Activity) float64 { return a.Start + 40*86400 }, "load-01"},
		{"cut blank-01", func(a schedule.Activity) float64 { return 8 * 3600 }, "cut blank-01 begins"},
		{"retighten", func(a schedule.Activity) float64 { return a.Start - 4*86400 }, "retighten begins"},
		{"hand over", func(a schedule.Activity) float64 { return a.Start - 86400 }, "hand over begins"},
		{"glue body seat", func(a schedule.Activity) float64 { return a.Start + 86400 }, "fill seat begins"},
		{"measure leg-1", func(a schedule.Activity) float64 { return 86400*9 + 9*3600 }, "enter measures begins"},
		{"sand seat P180", func(a schedule.Activity) float64 { return a.Start + 5*86400 }, "seat is at sand seat P180 and at coat 1 seat"},
		{"dry fit piece", func(a schedule.Activity) float64 { return a.Start + 7*86400 }, "after the end of dry fit piece"},
		{"seal seat", func(a schedule.Activity) float64 { return a.Start + 4*86400 }, "after the end of seal seat"},
	} {
		r := made(t, in, o)
		i := slices.IndexFunc(r.Activities, func(a schedule.Activity) bool { return a.ID == tc.id || strings.HasPrefix(a.ID, tc.id+" (") })
		if i < 0 {
			t.Errorf("no %q", tc.id)
			continue
		}
		a := &r.Activities[i]
		long := a.End - a.Start
		a.Start = tc.to(*a)
		a.End = a.Start + long
		if !slices.ContainsFunc(broken(in, o, r), func(f string) bool { return strings.Contains(f, tc.want) }) {
			t.Errorf("%s moved: %q is not seen in %q", tc.id, tc.want, broken(in, o, r))
		}
	}
	r = made(t, in, o)
	r.Activities[len(r.Activities)/2].Start = r.Activities[len(r.Activities)/2-1].Start
	if len(broken(in, o, r)) == 0 {
		t.Error("two things at a time by one person are not seen")
	}
}

// odd is a shop with one to three printers and one or two persons who come when
// they can.
func odd(t *rapid.T, s shop.Shop) shop.Shop {
	s.Printers = slices.Clone(s.Printers)
	s.Printers[0].Count = rapid.IntRange(1, 3).Draw(t, "printers")
	w := &s.Work
	w.Persons = rapid.IntRange(1, 2).Draw(t, "persons")
	w.Clamps = rapid.IntRange(2, 14).Draw(t, "clamps")
	w.NightPrinting = rapid.Bool().Draw(t, "night printing")
	quarter := func(name string, lo, hi int) float64 { return float64(rapid.IntRange(lo, hi).Draw(t, name)) * 900 }
	spans := func(day string) []shop.Span {
		var list []shop.Span
		at := quarter(day, 0, 60)
		for range rapid.IntRange(0, 2).Draw(t, day+" spans") {
			to := at + quarter("for", 1, 20)
			if to > 86400 {
				break
			}
			list = append(list, shop.Span{at, to})
			at = to + quarter("break", 0, 8)
		}
		return list
	}
	w.Hours = shop.Hours{
		Monday: spans("Monday"), Tuesday: spans("Tuesday"), Wednesday: append(spans("Wednesday"), shop.Span{84600, 86400}), // one at least
		Thursday: spans("Thursday"), Friday: spans("Friday"), Saturday: spans("Saturday"), Sunday: spans("Sunday"),
	}
	if n := len(w.Hours.Wednesday); n > 1 && w.Hours.Wednesday[n-2][1] > 84600 {
		w.Hours.Wednesday = w.Hours.Wednesday[n-1:]
	}
	w.Holidays = nil
	for i := range 20 {
		if rapid.IntRange(0, 4).Draw(t, "holiday") == 0 {
			w.Holidays = append(w.Holidays, shop.Date(monday.AddDate(0, 0, i).Format(time.DateOnly)))
		}
	}
	lag := func(name string, most int) float64 { return float64(rapid.IntRange(0, most).Draw(t, name)) * 600 }
	w.GlueHold, w.GlueCure, w.FillerDry, w.SealerDry = lag("hold", 20), lag("cure of glue", 200), lag("filler", 20), lag("sealer", 40)
	w.Acclimatise, w.BondFirst, w.BondWork, w.BondFull = lag("acclimatise", 300), lag("first", 10), lag("bond", 200), lag("full", 500)
	w.Recoat, w.Handle, w.Cure, w.Retighten = lag("recoat", 40), lag("handle", 100), lag("cure", 1000), lag("retighten", 200)
	return s
}

func TestOddShops(t *testing.T) {
	for _, name := range specimen.Names {
		givenPiece(t, name)
	}
	rapid.Check(t, func(r *rapid.T) {
		in := givenPiece(t, rapid.SampledFrom(specimen.Names).Draw(r, "piece"))
		s := odd(r, *in.Shop)
		in.Shop = &s
		o := schedule.Options{Schedules: 2, NoRemedies: true, Seed: rapid.Uint64().Draw(r, "seed")}
		if rapid.Bool().Draw(r, "dated") {
			o.Start = monday.Add(time.Duration(rapid.IntRange(0, 14*24*60).Draw(r, "start")) * time.Minute)
		}
		o.Coupons = rapid.Bool().Draw(r, "coupons")
		got, err := schedule.Make(context.Background(), in, o)
		if err != nil {
			r.Fatal(err)
		}
		if len(got.Activities) == 0 {
			r.Fatal(got.Findings)
		}
		for _, f := range broken(in, o, got) {
			r.Error(f)
		}
		if got.End < got.LowerBound {
			r.Errorf("ends at %g, no calendar can before %g", got.End, got.LowerBound)
		}
	})
}

// Clocks that are put forward during the job change no hour of work.
func TestClocksPutForward(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	in := givenPiece(t, "tern-wall-shelf")
	// The last Sunday of March 2027 is the 28th (directive 2000/84/EC).
	r := held(t, in, schedule.Options{Start: time.Date(2027, 3, 22, 0, 0, 0, 0, zone), NoRemedies: true})
	plain := held(t, in, schedule.Options{Start: monday, NoRemedies: true})
	if r.End != plain.End || r.Finish.Hour() != plain.Finish.Hour() || r.Finish.Sub(r.Start) != plain.Finish.Sub(plain.Start)-time.Hour {
		t.Errorf("ends %v after %v, %v after %v without", r.Finish, r.Start, plain.Finish, plain.Start)
	}
}

// Same inputs, same calendar; and what is handed in is not touched.
func TestSteady(t *testing.T) {
	in := givenPiece(t, "tern-wall-shelf")
	before := fmt.Sprintf("%+v", *in.Shop)
	a, b := made(t, in, schedule.Options{Start: monday}), made(t, in, schedule.Options{Start: monday})
	if !reflect.DeepEqual(a, b) {
		t.Error("two calendars of one job")
	}
	if a.Finish != a.At(a.End) || a.Elapsed() != a.End-a.Begin {
		t.Errorf("ends %v, and at %v", a.Finish, a.At(a.End))
	}
	if fmt.Sprintf("%+v", *in.Shop) != before {
		t.Error("the shop was changed")
	}
}

// What a fixture is for waits until it is off its printer, and glue-ups take the
// clamps of their plans.
func TestWorkWaitsForItsFixtures(t *testing.T) {
	for _, name := range []string{"heron-side-table", "badger-bench"} {
		in := withFixtures(t, givenPiece(t, name))
		o := schedule.Options{Start: monday, NoRemedies: true}
		r := held(t, in, o)
		when := map[string]schedule.Activity{}
		for _, a := range r.Activities {
			id, _, _ := strings.Cut(a.ID, " (")
			if b, ok := when[id]; !ok || a.Start < b.Start {
				when[id] = a
			}
		}
		loads := map[string][]string{} // activities that take parts of a fixture off, by its ID
		for _, l := range in.FixturePrinting.Loads {
			for _, p := range l.Items {
				segment := in.FixturePrinting.Prints[p.Print].Segment
				for _, f := range in.Fixtures.Fixtures {
					for _, part := range f.Parts {
						if segment == part.ID || strings.HasPrefix(segment, part.ID+".") {
							loads[f.ID] = append(loads[f.ID], "take off fixtures "+l.ID)
						}
					}
				}
			}
		}
		used := map[string]int{}
		for _, f := range in.Fixtures.Fixtures {
			for _, off := range loads[f.ID] {
				n := 0
				for _, a := range r.Activities {
					for _, w := range a.After {
						if w.On == off && w.Why == "its "+string(f.Kind) {
							n++
							if a.Start < when[off].End {
								t.Errorf("%s begins before %s", a.ID, off)
							}
						}
					}
				}
				if n == 0 {
					t.Errorf("%s: nothing waits for %s (%s, serves %v)", name, f.ID, f.Step, f.Serves)
				}
			}
			used[string(f.Step)]++
		}
		for _, c := range in.Fixtures.Clamping {
			for _, id := range c.Fixtures {
				for _, off := range loads[id] {
					n := 0
					for _, a := range r.Activities {
						if (a.Kind == schedule.Glue || a.Kind == schedule.Join) && slices.ContainsFunc(a.After, func(w schedule.Wait) bool { return w.On == off }) {
							n++
						}
					}
					if n == 0 {
						t.Errorf("%s: no glue-up waits for %s of %s", name, id, c.ID)
					}
				}
			}
		}
		clamps := map[int]int{}
		for _, a := range r.Activities {
			if a.Kind == schedule.Glue || a.Kind == schedule.Join {
				for _, u := range a.Uses {
					if u.Resource == "clamps" {
						clamps[u.Amount]++
					}
				}
			}
		}
		for _, c := range in.Fixtures.Clamping {
			if n := len(c.Presses); n > 0 && clamps[min(n, in.Shop.Work.Clamps)] == 0 {
				t.Errorf("%s: no glue-up takes the %d clamps of %s", name, n, c.ID)
			}
		}
		t.Log(name, used, len(in.FixturePrinting.Loads), clamps)
	}
}
