package api

import (
	"context"
	"errors"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/danielgtaylor/huma/v2/sse"
)

// heard follows a journal and notes what is sent until the stream ends or
// refuse events were sent.
func heard(ctx context.Context, j *journal, after, refuse int) (ids []int, data []any) {
	follow(ctx, j, after, MissedEvent{}, func(m sse.Message) error {
		if len(data) == refuse {
			return errors.New("too slow")
		}
		ids, data = append(ids, m.ID), append(data, m.Data)
		return nil
	})
	return ids, data
}

func TestJournal(t *testing.T) {
	for _, c := range []struct {
		name          string
		before, after int // events written before, and number that the client has
		keep          int
		ids           []int
		missed        bool
	}{
		{"from the beginning", 3, 0, 10, []int{1, 2, 3, 4}, false},
		{"goes on", 3, 2, 10, []int{3, 4}, false},
		{"nothing new but the end", 3, 3, 10, []int{4}, false},
		{"some are lost", 9, 0, 4, []int{7, 8, 9, 10}, true},
		{"lost ones were had", 9, 8, 4, []int{9, 10}, false},
		{"of another run of the program", 2, 50, 10, []int{3}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				j := newJournal(c.keep)
				for i := range c.before {
					j.add(i)
				}
				if c.name == "some are lost" || c.name == "lost ones were had" {
					j.end("end")
				} else {
					time.AfterFunc(time.Second, func() { j.end("end") })
				}
				j2, data := heard(t.Context(), j, c.after, -1)
				ids := slices.DeleteFunc(j2, func(n int) bool { return n == 0 })
				if !slices.Equal(ids, c.ids) || slices.Contains(data, any(MissedEvent{})) != c.missed || data[0] != (PingEvent{}) || data[len(data)-1] != "end" {
					t.Errorf("events %v (%v), want %v, missed %v", ids, data, c.ids, c.missed)
				}
				j.add("late")
				if j.last() != c.before+1 {
					t.Error("something follows the end")
				}
			})
		})
	}
}

func TestFollowEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := newJournal(10)
		ctx, cancel := context.WithTimeout(t.Context(), 35*time.Second)
		defer cancel()
		if _, data := heard(ctx, j, 0, -1); len(data) != 4 { // at once, and after 10, 20 and 30 s
			t.Errorf("a quiet stream of 35 s was sent %v", data)
		}
		for i := range 5 {
			j.add(i)
		}
		if _, data := heard(t.Context(), j, 0, 3); len(data) != 3 {
			t.Errorf("a client that takes no more was sent %v", data)
		}
	})
}

// Writing waits for nobody: with a listener that takes nothing, a journal goes
// on, and holds no more than it is to keep.
func TestJournalWaitsForNobody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := newJournal(100)
		stuck := make(chan struct{})
		go follow(t.Context(), j, 0, nil, func(sse.Message) error { <-stuck; return errors.New("gone") })
		for i := range 100_000 {
			j.add(i)
		}
		if len(j.events) != 100 || j.last() != 100_000 {
			t.Errorf("%d kept of %d", len(j.events), j.last())
		}
		close(stuck)
	})
}
