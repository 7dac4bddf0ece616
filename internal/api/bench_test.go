package api

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// slow is an order whose plan takes an hour, unless it is given up.
func slow(key, view string) order {
	return order{Key: key, View: view, Make: func(ctx context.Context, _ *task) (*made, error) {
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(time.Hour):
			return &made{}, nil
		}
	}}
}

// ends is how a task ended, nil if it has not.
func ends(t *task) any {
	events, _, _, over, _ := t.news.entries(0)
	if !over {
		return nil
	}
	return events[len(events)-1]
}

func begin(t *testing.T, b *bench, o order) *task {
	t.Helper()
	k, err := b.begin(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func status(err error) int {
	var p *Problem
	if errors.As(err, &p) {
		return p.Status
	}
	return 0
}

func TestBenchMakesAFewAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(benchOptions{})
		var now, most atomic.Int32
		var tasks []*task
		for i := range 7 {
			tasks = append(tasks, begin(t, b, order{Key: fmt.Sprint(i), Make: func(context.Context, *task) (*made, error) {
				most.Store(max(most.Load(), now.Add(1)))
				time.Sleep(time.Second)
				now.Add(-1)
				return &made{}, nil
			}}))
		}
		start := time.Now()
		b.wait()
		if took := time.Since(start); most.Load() != 2 || took != 4*time.Second {
			t.Errorf("%d at once, 7 took %v; want 2 and 4 s", most.Load(), took)
		}
		for _, k := range tasks {
			if ends(k) != (DoneEvent{}) {
				t.Errorf("%s ended with %v", k.id, ends(k))
			}
		}
	})
}

func TestBenchSharesEqualOrders(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(benchOptions{})
		one, two := begin(t, b, slow("k", "a")), begin(t, b, slow("k", "b"))
		if one != two {
			t.Fatal("equal orders are two plans")
		}
		// a goes on to another plan, b still waits for this one.
		other := begin(t, b, slow("l", "a"))
		synctest.Wait()
		if ends(one) != nil {
			t.Fatalf("a shared plan ended with %v when one of two views left it", ends(one))
		}
		b.wait()
		if ends(one) != (DoneEvent{}) || ends(other) != (DoneEvent{}) {
			t.Errorf("%v, %v", ends(one), ends(other))
		}
		if again := begin(t, b, slow("k", "c")); again != one {
			t.Error("a plan that is made is made again")
		}
	})
}

func TestBenchSupersedes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(benchOptions{AtOnce: 1})
		var last *task
		for i := range 50 { // a slider under a finger
			k := begin(t, b, slow(fmt.Sprint(i), "a"))
			synctest.Wait()
			if last != nil && ends(last) != (SupersededEvent{}) {
				t.Fatalf("order %d: the one before ended with %v", i, ends(last))
			}
			last = k
		}
		start := time.Now()
		b.wait() // the slot must have come free each time
		if took := time.Since(start); took != time.Hour || ends(last) != (DoneEvent{}) {
			t.Errorf("the last took %v and ended with %v", took, ends(last))
		}
		// A made plan is not given up for a newer one.
		k := begin(t, b, slow("next", "a"))
		if ends(last) != (DoneEvent{}) {
			t.Errorf("it ended with %v", ends(last))
		}
		b.cancel(k, "")
		b.wait()
	})
}

// A stage that does not heed its context holds its slot until it ends, but
// nobody waits for its plan, and what comes of it is dropped.
func TestBenchDropsWhatComesLate(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(benchOptions{AtOnce: 1})
		deaf := begin(t, b, order{Key: "deaf", View: "a", Make: func(context.Context, *task) (*made, error) {
			time.Sleep(time.Minute)
			return &made{}, nil
		}})
		synctest.Wait()
		next := begin(t, b, slow("next", "a"))
		if ends(deaf) != (SupersededEvent{}) {
			t.Errorf("it ended with %v", ends(deaf))
		}
		b.wait()
		if _, whole, _ := b.known(deaf); whole != nil || ends(next) != (DoneEvent{}) {
			t.Errorf("%v; the next ended with %v", whole, ends(next))
		}
	})
}

// What was known of a plan when it was given up can still be had for a while: a
// window may have been told of it just before. Nothing is added to it later.
func TestBenchRemembersWhatWasKnown(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(benchOptions{AtOnce: 1, Keep: 3})
		var all []*task
		var told []*made
		for i := range 6 {
			m := &made{}
			k := begin(t, b, order{Key: fmt.Sprint(i), View: "a", Make: func(ctx context.Context, k *task) (*made, error) {
				b.tellGeometry(k, m)
				<-ctx.Done()
				b.tellGeometry(k, &made{})
				return nil, ctx.Err()
			}})
			synctest.Wait()
			all, told = append(all, k), append(told, m)
		}
		b.cancel(all[5], "")
		b.wait()
		for i, k := range all {
			want := told[i]
			if i < 3 {
				want = nil
			}
			if m, whole, over := b.known(k); m != want || whole != nil || !over {
				t.Errorf("of plan %d %p is known, want %p; %v, %v", i, m, want, whole, over)
			}
		}
	})
}

func TestBenchCancels(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(benchOptions{AtOnce: 1})
		running, waiting := begin(t, b, slow("running", "a")), begin(t, b, slow("waiting", "b"))
		begin(t, b, slow("waiting", "c"))
		b.cancel(waiting, "b")
		if ends(waiting) != nil {
			t.Errorf("c waits for it, but it ended with %v", ends(waiting))
		}
		b.cancel(waiting, "b") // twice is no harm
		b.cancel(waiting, "c")
		b.cancel(running, "")
		start := time.Now()
		b.wait()
		if time.Since(start) != 0 || ends(waiting) != (CancelledEvent{}) || ends(running) != (CancelledEvent{}) {
			t.Errorf("after %v: %v, %v", time.Since(start), ends(waiting), ends(running))
		}
		if again := begin(t, b, slow("running", "a")); again == running {
			t.Error("a plan that was given up is not made again")
		} else {
			b.cancel(again, "")
		}
		b.wait()
	})
}

func TestBenchForgetsTheOldest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(benchOptions{Keep: 2})
		one := begin(t, b, slow("1", ""))
		b.wait()
		two := begin(t, b, slow("2", ""))
		b.wait()
		if _, err := b.find(one.id); err != nil { // looked at: now two is the older
			t.Fatal(err)
		}
		three := begin(t, b, slow("3", ""))
		b.wait()
		for _, c := range []struct {
			id   string
			want int
		}{
			{one.id, 0}, {two.id, http.StatusGone}, {three.id, 0},
			{"otherrun-1", http.StatusGone}, {b.run + "-99", http.StatusNotFound}, {b.run + "-0", http.StatusNotFound},
			{b.run + "-x", http.StatusNotFound}, {"", http.StatusNotFound}, {"nonsense", http.StatusNotFound},
		} {
			if _, err := b.find(c.id); status(err) != c.want {
				t.Errorf("%q: status %d, want %d", c.id, status(err), c.want)
			}
		}
		if again := begin(t, b, slow("2", "")); again == two {
			t.Error("a forgotten plan came back")
		}
		b.wait()
	})
}

func TestBenchSurvivesAPanic(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var logged string
		b := newBench(benchOptions{AtOnce: 1, Log: func(f string, a ...any) { logged = fmt.Sprintf(f, a...) }})
		k := begin(t, b, order{Key: "k", Make: func(context.Context, *task) (*made, error) { panic("index out of range") }})
		b.wait()
		f, ok := ends(k).(FailedEvent)
		if !ok || !strings.Contains(f.Message, "fault of its own") || f.Faults == nil || !strings.Contains(logged, "bench_test.go") {
			t.Errorf("it ended with %v; logged %q", ends(k), logged)
		}
		if next := begin(t, b, slow("k", "")); next == k {
			t.Error("a failed plan is not tried again")
		}
		b.wait() // the slot is free
	})
}

func TestBenchGivesUpWhatNobodyHears(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(benchOptions{Grace: 10 * time.Second})
		k, unheard := begin(t, b, slow("k", "a")), begin(t, b, slow("l", "b"))
		leave := k.audience.enter()
		also := k.audience.enter()
		leave()
		time.Sleep(20 * time.Second)
		if ends(k) != nil {
			t.Fatalf("one still listens, but it ended with %v", ends(k))
		}
		also()
		time.Sleep(9 * time.Second)
		back := k.audience.enter() // the page was only reconnecting
		time.Sleep(20 * time.Second)
		if ends(k) != nil {
			t.Fatalf("one listens again, but it ended with %v", ends(k))
		}
		back()
		time.Sleep(11 * time.Second)
		if ends(k) != (CancelledEvent{}) {
			t.Errorf("nobody listens, but it ended with %v", ends(k))
		}
		b.wait()
		if ends(unheard) != (DoneEvent{}) {
			t.Errorf("a plan that nobody ever listened to ended with %v", ends(unheard))
		}
	})
}

func TestBenchHasAnEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(benchOptions{Unmade: 3})
		ctx, end := context.WithCancel(t.Context())
		var tasks []*task
		for i := range 3 {
			k, err := b.begin(ctx, slow(fmt.Sprint(i), fmt.Sprint(i)))
			if err != nil {
				t.Fatal(err)
			}
			tasks = append(tasks, k)
		}
		if _, err := b.begin(ctx, slow("much", "x")); status(err) != http.StatusServiceUnavailable {
			t.Errorf("a fourth order: %v", err)
		}
		if _, err := b.begin(ctx, slow("other", "0")); err != nil { // in place of its first
			t.Error(err)
		}
		end()
		b.wait()
		if f, ok := ends(tasks[1]).(FailedEvent); !ok || !strings.Contains(f.Message, "being ended") {
			t.Errorf("it ended with %v", ends(tasks[1]))
		}
	})
}

// Whatever is ordered, cancelled and left, at the end nothing is in the making,
// every plan has ended once, and no more is kept than should be.
func TestBenchInAnyOrder(t *testing.T) {
	for seed := range uint64(50) {
		synctest.Test(t, func(t *testing.T) {
			r := rand.New(rand.NewPCG(seed, 0))
			b := newBench(benchOptions{Keep: 3, Grace: time.Second, Unmade: 5})
			var all []*task
			for range 200 {
				switch r.IntN(4) {
				case 0, 1:
					o := slow(fmt.Sprint(r.IntN(10)), []string{"", "a", "b", "c"}[r.IntN(4)])
					if r.IntN(3) == 0 {
						o.Make = func(context.Context, *task) (*made, error) { time.Sleep(time.Minute); return nil, errors.New("no") }
					}
					if k, err := b.begin(t.Context(), o); err == nil {
						all = append(all, k)
					} else if status(err) != http.StatusServiceUnavailable {
						t.Fatal(err)
					}
				case 2:
					if len(all) > 0 {
						b.cancel(all[r.IntN(len(all))], []string{"", "a", "b"}[r.IntN(3)])
					}
				case 3:
					if len(all) > 0 {
						leave := all[r.IntN(len(all))].audience.enter()
						time.AfterFunc(time.Duration(r.IntN(5000))*time.Millisecond, leave)
					}
					time.Sleep(time.Duration(r.IntN(3)) * 20 * time.Minute)
				}
			}
			b.wait()
			time.Sleep(time.Minute)
			for _, k := range all {
				if ends(k) == nil {
					t.Fatalf("seed %d: %s has not ended", seed, k.id)
				}
			}
			if len(b.made) > 3 || len(b.byView) != 0 || len(b.byKey) != len(b.made) || len(b.tasks) != len(b.made)+len(b.unmade) {
				t.Errorf("seed %d: kept %d, %d by view, %d by key, %d in all", seed, len(b.made), len(b.byView), len(b.byKey), len(b.tasks))
			}
		})
	}
}
