package project

import (
	"cmp"
	"errors"
	"slices"
)

// mostWindows is how many windows an activity's hours may fall into before its
// calendars come again together.
const mostWindows = 1 << 16

// windows are the times at which an activity may start, as far as calendars go.
// A nil pointer stands for any time.
type windows struct {
	span   []span // apart, ascending; within 0 to repeat-1 if that is above 0
	repeat int64
}

// span is the times from first to last, both included.
type span struct{ first, last int64 }

func (w *windows) none() bool { return w != nil && len(w.span) == 0 }

// starts are the times at which something may start that needs the calendar's
// hours from its second from to before its second to.
func (c *Calendar) starts(from, to int64) *windows {
	open := merged(c.Working)
	w := &windows{repeat: c.Repeat}
	if c.Repeat == 0 {
		for _, o := range open {
			if last := o.To - to; last >= max(0, o.From-from) {
				w.span = append(w.span, span{max(0, o.From-from), last})
			}
		}
		return w
	}
	if len(open) > 0 && open[0].From == 0 && open[len(open)-1].To == c.Repeat {
		if len(open) == 1 {
			return nil
		}
		open[len(open)-1].To += open[0].To // through the end of the calendar
		open = open[1:]
	}
	for _, o := range open {
		first, last := o.From-from, o.To-to
		if last < first {
			continue
		}
		// An interval is no longer than repeat, so that it is cut in two at most.
		turn := floorDiv(first, c.Repeat) * c.Repeat
		first, last = first-turn, last-turn
		w.span = append(w.span, span{first, min(last, c.Repeat-1)})
		if last >= c.Repeat {
			w.span = append(w.span, span{0, last - c.Repeat})
		}
	}
	slices.SortFunc(w.span, func(a, b span) int { return cmp.Compare(a.first, b.first) })
	return w
}

// merged is working intervals in order, those that touch or overlap as one.
func merged(working []Interval) []Interval {
	s := slices.Clone(working)
	slices.SortFunc(s, func(a, b Interval) int { return cmp.Compare(a.From, b.From) })
	out := s[:0]
	for _, o := range s {
		if k := len(out) - 1; k >= 0 && o.From <= out[k].To {
			out[k].To = max(out[k].To, o.To)
		} else {
			out = append(out, o)
		}
	}
	return out
}

var errFarApart = errors.New("its calendars come together too seldom")

// meet is the times in both.
func (w *windows) meet(v *windows) (*windows, error) {
	if w == nil {
		return v, nil
	}
	if v == nil {
		return w, nil
	}
	out := &windows{}
	var end int64
	switch {
	case w.repeat > 0 && v.repeat > 0:
		times := v.repeat / gcd(w.repeat, v.repeat)
		if times > longest/w.repeat {
			return nil, errFarApart
		}
		out.repeat = w.repeat * times
		end = out.repeat
	case w.repeat == 0 && len(w.span) > 0:
		end = w.span[len(w.span)-1].last + 1
	case v.repeat == 0 && len(v.span) > 0:
		end = v.span[len(v.span)-1].last + 1
	}
	a, err := w.unrolled(end)
	if err != nil {
		return nil, err
	}
	b, err := v.unrolled(end)
	if err != nil {
		return nil, err
	}
	for len(a) > 0 && len(b) > 0 {
		if s := (span{max(a[0].first, b[0].first), min(a[0].last, b[0].last)}); s.first <= s.last {
			out.span = append(out.span, s)
		}
		if a[0].last < b[0].last {
			a = a[1:]
		} else {
			b = b[1:]
		}
	}
	return out, nil
}

// unrolled is the spans from 0 to before end.
func (w *windows) unrolled(end int64) ([]span, error) {
	if w.repeat == 0 || w.repeat == end || len(w.span) == 0 {
		return w.span, nil
	}
	if end/w.repeat >= int64(mostWindows/len(w.span)) {
		return nil, errFarApart
	}
	var out []span
	for t := int64(0); t < end; t += w.repeat {
		for _, s := range w.span {
			out = append(out, span{s.first + t, s.last + t})
		}
	}
	return out, nil
}

// next is the first time from t on, or never.
func (w *windows) next(t int64) int64 {
	if w == nil || t >= never {
		return t
	}
	turn := int64(0)
	if w.repeat > 0 {
		turn = floorDiv(t, w.repeat) * w.repeat
	}
	k, _ := slices.BinarySearchFunc(w.span, t-turn, func(s span, t int64) int { return cmp.Compare(s.last, t) })
	switch {
	case k < len(w.span):
		return max(t, w.span[k].first+turn)
	case w.repeat > 0:
		return w.span[0].first + turn + w.repeat
	}
	return never
}

// last is the last time up to t, or -never.
func (w *windows) last(t int64) int64 {
	if w == nil || t <= -never {
		return t
	}
	turn := int64(0)
	if w.repeat > 0 {
		turn = floorDiv(t, w.repeat) * w.repeat
	}
	k, found := slices.BinarySearchFunc(w.span, t-turn, func(s span, t int64) int { return cmp.Compare(s.first, t) })
	if found {
		return t
	}
	switch {
	case k > 0:
		return min(t, w.span[k-1].last+turn)
	case w.repeat > 0:
		return w.span[len(w.span)-1].last + turn - w.repeat
	}
	return -never
}

// worked counts the seconds that a calendar works; nil stands for all.
type worked struct {
	open   []Interval // apart, ascending
	before []int64    // seconds worked before each, and at the end of all
	repeat int64
}

func (c *Calendar) worked() *worked {
	w := &worked{open: merged(c.Working), before: []int64{0}, repeat: c.Repeat}
	for k, o := range w.open {
		w.before = append(w.before, w.before[k]+o.To-o.From)
	}
	return w
}

// between is the seconds worked from one time to before another.
func (w *worked) between(from, to int64) int64 {
	if w == nil {
		return to - from
	}
	return w.until(to) - w.until(from)
}

// until is the seconds worked before t, less than 0 if t is.
func (w *worked) until(t int64) int64 {
	s := int64(0)
	if w.repeat > 0 {
		turns := floorDiv(t, w.repeat)
		s, t = turns*w.before[len(w.open)], t-turns*w.repeat
	}
	k, _ := slices.BinarySearchFunc(w.open, t, func(o Interval, t int64) int { return cmp.Compare(o.To, t) })
	s += w.before[k]
	if k < len(w.open) {
		s += max(0, t-w.open[k].From)
	}
	return s
}

// floorDiv is a/b rounded down, for b above 0.
func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
