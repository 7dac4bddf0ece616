package project

import "fmt"

// Violation is one way in which a schedule is not one of the project.
type Violation struct {
	Activity int // index, -1 if none is concerned
	Resource int // index, -1 if none is concerned
	What     string
}

func (v Violation) String() string {
	return fmt.Sprintf("activity %d, resource %d: %s", v.Activity, v.Resource, v.What)
}

// Verify judges a schedule from the project alone: it shares nothing with the
// search. It looks at every activity, every link, every demand in hours, every
// resource at every moment that something takes it, and at the makespan. No
// violations: the schedule holds.
func Verify(p Project, s *Schedule) []Violation {
	var out []Violation
	say := func(activity, resource int, format string, a ...any) {
		out = append(out, Violation{activity, resource, fmt.Sprintf(format, a...)})
	}
	if s == nil || len(s.Start) != len(p.Activities) {
		say(-1, -1, "not one start for each activity")
		return out
	}
	end := int64(0)
	for i, a := range p.Activities {
		if s.Start[i] < 0 || s.Start[i] < a.Release {
			say(i, -1, "starts at %d, before its release at %d", s.Start[i], a.Release)
		}
		end = max(end, s.Start[i]+a.Duration)
		for _, l := range a.After {
			event := s.Start[l.Activity]
			if l.From == Finish {
				event += p.Activities[l.Activity].Duration
			}
			if s.Start[i] < event+l.Lag {
				say(i, -1, "starts at %d, less than %d s after the event at %d of activity %d", s.Start[i], l.Lag, event, l.Activity)
			}
		}
		for _, d := range a.Demands {
			from, to := held(a, s.Start[i], d)
			hours := Interval{from, to}
			if d.Hours == Unattended {
				hours.To = from + 1
			}
			if c := p.Resources[d.Resource].Calendar; c != nil && d.Hours != Always && !c.works(hours) {
				say(i, d.Resource, "needs it from %d to %d, when it does not work", hours.From, hours.To)
			}
			// The most of a resource is taken at a moment when somebody begins to take it.
			taken := int64(0)
			for j, b := range p.Activities {
				for _, e := range b.Demands {
					if e.Resource != d.Resource {
						continue
					}
					if f, t := held(b, s.Start[j], e); f <= from && from < t {
						taken += e.Amount
					}
				}
			}
			if taken > p.Resources[d.Resource].Capacity {
				say(i, d.Resource, "at %d %d is taken of %d", from, taken, p.Resources[d.Resource].Capacity)
			}
		}
	}
	if end != s.Makespan {
		say(-1, -1, "makespan %d, but the last finish is at %d", s.Makespan, end)
	}
	if s.LowerBound > s.Makespan {
		say(-1, -1, "makespan %d is below the bound of %d", s.Makespan, s.LowerBound)
	}
	return out
}

// held is when an activity that starts at a time takes and leaves a resource.
func held(a Activity, start int64, d Demand) (from, to int64) {
	if d.To == 0 {
		return start + d.From, start + a.Duration
	}
	return start + d.From, start + d.To
}

// works tells whether the calendar covers all of a time, by going from the end
// of one working interval to the next that goes on there.
func (c *Calendar) works(need Interval) bool {
	for t := need.From; t < need.To; {
		on := t
		for _, w := range c.Working {
			base := int64(0)
			if c.Repeat > 0 {
				base = t - t%c.Repeat // starts are not negative
			}
			if w.From+base <= t && t < w.To+base {
				on = max(on, w.To+base)
			}
		}
		if on == t {
			return false
		}
		t = on
	}
	return true
}
