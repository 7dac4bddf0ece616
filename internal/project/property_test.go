package project

import (
	"context"
	"errors"
	"reflect"
	"testing"

	"pgregory.net/rapid"
)

// horizon is more than the shortest schedule of any tiny project can take whose
// calendars all repeat: one activity after another, each waiting for at most the
// 8*7*5*3 s after which calendars of 3 to 8 s meet again is more than is tried.
const horizon = 60

// On tiny projects with everything in them the search finds what trying every
// start finds, whatever the order of activities and resources.
func TestFindsTheShortest(t *testing.T) {
	found, impossible := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := tiny(t, 4)
		s, err := Solve(context.Background(), p, Options{Schedules: 300})
		var fault *Error
		if errors.As(err, &fault) {
			if got := shortest(p, horizon); got >= 0 {
				t.Fatalf("%v, but %d is possible", err, got)
			}
			impossible++
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		judge(t, p, s)
		limit := min(s.Makespan+1, horizon)
		if want := shortest(p, limit); want >= 0 && want != s.Makespan || want < 0 && s.Makespan < horizon {
			t.Fatalf("makespan %d, the shortest is %d", s.Makespan, want)
		}
		found++
		q := shuffled(p, rapid.Uint64().Draw(t, "order"))
		if r := solve(t, q, Options{Schedules: 300}); r.Makespan != s.Makespan {
			t.Fatalf("%d in one order, %d in another", s.Makespan, r.Makespan)
		}
	})
	if found < 20 {
		t.Errorf("only %d projects were possible, %d were not", found, impossible)
	}
}

// Larger projects of every kind: schedules hold, slack and chain are true, the
// same again gives the same, and more schedules never give a longer project.
func TestSchedulesHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := tiny(t, 15)
		seed := rapid.Uint64Range(0, 5).Draw(t, "seed")
		few := rapid.IntRange(1, 150).Draw(t, "few")
		more := few + rapid.IntRange(0, 150).Draw(t, "more")
		a, err := Solve(context.Background(), p, Options{Schedules: few, Seed: seed})
		b, later := Solve(context.Background(), p, Options{Schedules: more, Seed: seed})
		if fault := (*Error)(nil); errors.As(later, &fault) && err != nil {
			return
		}
		if later != nil {
			t.Fatal(later)
		}
		judge(t, p, b)
		if b.Evaluated > more {
			t.Fatalf("%d schedules made of %d", b.Evaluated, more)
		}
		if err != nil {
			return // found room only with more
		}
		judge(t, p, a)
		if b.Makespan > a.Makespan {
			t.Fatalf("%d with %d schedules, %d with %d", a.Makespan, few, b.Makespan, more)
		}
		if again := solve(t, p, Options{Schedules: few, Seed: seed}); !reflect.DeepEqual(a, again) {
			t.Fatalf("twice the same gave %+v and %+v", a, again)
		}
	})
}

// windows against calendars read second by second.
func TestWindows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func() (*Calendar, int64, int64) {
			c := &Calendar{Repeat: rapid.Int64Range(2, 7).Draw(t, "repeat")}
			for range rapid.IntRange(0, 3).Draw(t, "intervals") {
				from := rapid.Int64Range(0, c.Repeat-1).Draw(t, "from")
				c.Working = append(c.Working, Interval{from, rapid.Int64Range(from+1, c.Repeat).Draw(t, "to")})
			}
			if rapid.Bool().Draw(t, "once") {
				c.Repeat = 0
			}
			from := rapid.Int64Range(0, 9).Draw(t, "held from")
			return c, from, from + rapid.Int64Range(1, 5).Draw(t, "long")
		}
		c, cf, ct := draw()
		d, df, dt := draw()
		w, err := c.starts(cf, ct).meet(d.starts(df, dt))
		if err != nil {
			t.Fatal(err)
		}
		ok := func(s int64) bool {
			return c.works(Interval{s + cf, s + ct}) && d.works(Interval{s + df, s + dt})
		}
		const end = 100 // twice the 42 s after which all calendars meet again, and more
		first, seconds := int64(-1), int64(0)
		for s := int64(end); s >= 0; s-- {
			if ok(s) {
				first = s
			}
			if first >= 0 && (w.none() || w.next(s) != first) {
				t.Fatalf("next of %d in %+v, not %d", s, w, first)
			}
			if first < 0 && !w.none() && w.next(s) < end {
				t.Fatalf("next of %d is %d in %+v, not beyond %d", s, w.next(s), w, end)
			}
		}
		last := int64(-1)
		for s := range int64(end) {
			if ok(s) {
				last = s
			}
			if w.none() {
				continue
			}
			if got := w.last(s); last >= 0 && got != last || last < 0 && got >= 0 {
				t.Fatalf("last of %d is %d in %+v, not %d", s, got, w, last)
			}
			if got := c.worked().between(3, s+3); got != seconds {
				t.Fatalf("%d s worked from 3 to %d, not %d", got, s+3, seconds)
			}
			if c.works(Interval{s + 3, s + 4}) {
				seconds++
			}
		}
	})
}
