package schedule

import (
	"time"

	"groundwork/internal/project"
	"groundwork/internal/shop"
)

const day = 24 * 60 * 60 // s

// hours is when the shop is open, in s from the midnight before the first day.
type hours struct {
	start   time.Time // that midnight, zero for none
	from    int64     // s, moment from which on there is work
	persons *project.Calendar
	rooms   *project.Calendar // from the first hour of a day to its last

	longestWork, longestRoom int64 // s, of one stretch of them
}

// hoursOf counts holidays of so many weeks; after them they come again.
func hoursOf(w shop.Work, start time.Time, weeks int) hours {
	var h hours
	first := time.Monday
	holiday := map[int]bool{}
	if !start.IsZero() {
		y, m, d := start.Date()
		h.start = time.Date(y, m, d, 0, 0, 0, 0, start.Location())
		h.from = int64(start.Hour()*3600 + start.Minute()*60 + start.Second())
		first = start.Weekday()
		midnight := time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
		for _, date := range w.Holidays {
			t, err := time.Parse(time.DateOnly, string(date))
			if n := int(t.Sub(midnight) / (24 * time.Hour)); err == nil && !t.Before(midnight) && n < 7*weeks {
				holiday[n] = true
			}
		}
	}
	if len(holiday) == 0 {
		weeks = 1
	}
	repeat := int64(weeks) * 7 * day
	h.persons, h.rooms = &project.Calendar{Repeat: repeat}, &project.Calendar{Repeat: repeat}
	for n := range 7 * weeks {
		spans := w.Hours.Of((first + time.Weekday(n)) % 7)
		if len(spans) == 0 || holiday[n] {
			continue
		}
		midnight := int64(n) * day
		for _, s := range spans {
			h.persons.Working = append(h.persons.Working, project.Interval{From: midnight + int64(s[0]), To: midnight + int64(s[1])})
		}
		h.rooms.Working = append(h.rooms.Working, project.Interval{From: midnight + int64(spans[0][0]), To: midnight + int64(spans[len(spans)-1][1])})
	}
	h.longestWork, h.longestRoom = longest(h.persons), longest(h.rooms)
	return h
}

// covers reports whether holidays are counted up to a time.
func (h hours) covers(s int64) bool { return h.persons.Repeat == 7*day || s <= h.persons.Repeat }

// at is a wall-clock time so many seconds after a midnight. The day is counted
// first, so that a change of the clocks moves nothing.
func at(midnight time.Time, s int64) time.Time {
	y, m, d := midnight.Date()
	return time.Date(y, m, d+int(s/day), 0, 0, int(s%day), 0, midnight.Location())
}

// stretches is what a calendar works from 0 until a time, in order, those that
// touch as one.
func stretches(c *project.Calendar, until int64) []project.Interval {
	var list []project.Interval
	for base := int64(0); base < until; base += c.Repeat {
		for _, w := range c.Working {
			w.From, w.To = w.From+base, w.To+base
			if k := len(list) - 1; k >= 0 && list[k].To >= w.From {
				list[k].To = max(list[k].To, w.To)
				continue
			}
			list = append(list, w)
		}
	}
	return list
}

// longest is the longest time that a calendar works on end, s.
func longest(c *project.Calendar) int64 {
	var most int64
	for _, w := range stretches(c, 2*c.Repeat) {
		most = max(most, w.To-w.From)
	}
	return most
}
