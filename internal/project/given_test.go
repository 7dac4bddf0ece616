package project

import (
	"context"
	"testing"

	"pgregory.net/rapid"
)

// A bound that is handed in ends the search where it is met, and is handed on;
// with more links than it was made for, it still holds.
func TestBoundGiven(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		p := tiny(r, 6)
		free := p
		free.Activities = append([]Activity(nil), p.Activities...)
		for i := range free.Activities {
			free.Activities[i].After = nil
		}
		bound, err := Bound(free)
		if err != nil {
			r.Skip() // no schedule at all
		}
		s, err := Solve(context.Background(), p, Options{Schedules: 50, Bound: bound})
		if err != nil {
			r.Skip()
		}
		judge(r, p, s)
		if bound > 0 && s.LowerBound != bound || s.Makespan < bound {
			r.Errorf("bound %d given, %d handed on, makespan %d", bound, s.LowerBound, s.Makespan)
		}
	})
	if _, err := Solve(context.Background(), Project{}, Options{Bound: -1}); err == nil {
		t.Error("a bound of -1 s is taken")
	}
}
