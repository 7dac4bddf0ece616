// Package project schedules projects: activities that take time, follow one
// another with time lags, and need resources of which there is only so much
// (printers, clamps, a laser, people), some of them only in working hours. It
// looks for the shortest project. It knows no furniture. Times are whole
// seconds from the beginning of the project.
//
// Solve makes a schedule, Verify judges one from the project alone, and
// Bound is a time that no schedule can be shorter than.
// An activity is never interrupted: work longer than a working day is given as
// several activities.
package project

import (
	"context"
	"fmt"
)

// Project is what is to be done and what there is to do it with.
type Project struct {
	Activities []Activity
	Resources  []Resource
}

// Activity is one piece of work, done without interruption.
type Activity struct {
	Name     string
	Duration int64 // s, from 0
	Release  int64 // s, from 0: it does not start before
	After    []Link
	Demands  []Demand
}

// Link makes an activity wait for another.
type Link struct {
	Activity int   // index of the one waited for
	From     Event // of the one waited for
	Lag      int64 // s, from 0: at least this long after the event
}

// Event is the end of an activity that a lag is counted from.
type Event int

const (
	Finish Event = iota
	Start
)

// Demand is what an activity holds of one resource. An activity may have several
// demands of the same resource if they do not overlap in time.
type Demand struct {
	Resource int
	Amount   int64 // from 1
	// From and To bound the time it is held, s from the start of the activity.
	// To 0 stands for the end of the activity.
	From, To int64
	Hours    Hours
}

// Hours says what the calendar of a resource means for a demand.
type Hours int

const (
	// Attended: the resource works all the time it is held.
	Attended Hours = iota
	// Unattended: it works at the moment it is taken, and then runs on by itself,
	// as a print does overnight.
	Unattended
	// Always: the calendar does not matter to this demand.
	Always
)

// Resource is something of which several activities can hold parts at a time.
type Resource struct {
	Name     string
	Capacity int64     // from 0 to a million or so (1<<20)
	Calendar *Calendar // nil: it always works
}

// Calendar tells when a resource works.
type Calendar struct {
	Working []Interval // in any order; those that touch or overlap are one
	// Repeat is the time after which the intervals come again, s, before the
	// beginning of the project as after it; all lie within 0 to Repeat. 0: they do
	// not come again.
	Repeat int64
}

// Interval is the time from From to before To, s.
type Interval struct{ From, To int64 }

// Schedule says when everything starts.
type Schedule struct {
	Start    []int64 // s, of each activity
	Makespan int64   // s, the latest finish
	// LowerBound is a time, s, that no schedule of the project can be shorter
	// than: the schedule is one of the shortest if it equals Makespan.
	LowerBound int64
	// Slack is how much later, s, each activity could start while every other that
	// waits for it or for its share of a resource, in the order of this schedule,
	// moves no more than its own slack, and the project still ends at Makespan.
	Slack []int64
	// Critical is the chain that makes the project as long as it is, earliest first.
	Critical  []Step
	Evaluated int // schedules made
}

// Step is an activity of the critical chain and why it does not start earlier.
type Step struct {
	Activity int
	Why      Cause
	Resource int   // of which it waits for a share, if Why is Share; else -1
	Wait     int64 // s, how long it waits for working hours
}

// Cause is what keeps an activity from starting earlier.
type Cause int

const (
	Nothing Cause = iota // it starts at the beginning, or with the working hours
	Release              // its release
	Before               // an activity that it is linked to, the one before it in the chain
	Share                // the one before it in the chain, which holds a resource it needs
)

// DefaultSchedules is how many schedules are made if Options does not say.
const DefaultSchedules = 5000

// Options of Solve.
type Options struct {
	Schedules int // how many to make at most; 0 stands for DefaultSchedules
	Seed      uint64
	// Bound is a time, s, that the caller knows no schedule to be shorter than, as
	// the LowerBound of the same project with fewer links is; 0 for none. Where there
	// is one, none is worked out, which takes as long as some hundreds of schedules.
	Bound int64
}

// Solve looks for a short schedule. It stops at a schedule as short as the lower
// bound, or when it has made as many as the options allow. The same project and
// options give the same schedule, and with the same seed more schedules never
// give a longer project.
//
// If ctx ends before, the best schedule so far is returned with an error that
// wraps the context's. A project that no schedule can fit is an *Error. It is one
// too, with reason NoRoom, if calendars that do not repeat are so full that no
// schedule was found, though there may be one.
func Solve(ctx context.Context, p Project, o Options) (*Schedule, error) {
	if o.Schedules < 0 {
		return nil, fmt.Errorf("project: %d schedules asked for", o.Schedules)
	}
	if o.Bound < 0 {
		return nil, fmt.Errorf("project: a bound of %d s", o.Bound)
	}
	if o.Schedules == 0 {
		o.Schedules = DefaultSchedules
	}
	n, err := compile(p)
	if err != nil {
		return nil, err
	}
	s := newSearch(n, o)
	interrupted := s.run(ctx)
	if s.best.cost >= never {
		return nil, s.noRoom(p)
	}
	r := n.result(s.best.start, s.best.cost, s.bound, s.m.count)
	if interrupted != nil {
		return r, fmt.Errorf("project: making schedules: %w", interrupted)
	}
	return r, nil
}

// Bound is a lower bound of the makespan, s.
func Bound(p Project) (int64, error) {
	n, err := compile(p)
	if err != nil {
		return 0, err
	}
	return newSearch(n, Options{}).bound, nil
}
