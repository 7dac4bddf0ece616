package project

import "slices"

// timeline is how much of a resource is free: free[k] from at[k] on to before
// at[k+1]. The first point is before every time; there and after the last
// point everything is free.
type timeline struct {
	at, free []int64
}

// newTimeline has room for n holds without another allocation.
func newTimeline(capacity int64, n int) timeline {
	l := timeline{make([]int64, 1, 2*n+3), make([]int64, 1, 2*n+3)}
	l.at[0], l.free[0] = -4*never, capacity
	return l
}

func (l *timeline) clear() { l.at, l.free = l.at[:1], l.free[:1] }

// find is the last point not after t.
func (l *timeline) find(t int64) int {
	lo, hi := 0, len(l.at) // at[lo] <= t < at[hi]
	for hi-lo > 1 {
		if m := (lo + hi) / 2; l.at[m] <= t {
			lo = m
		} else {
			hi = m
		}
	}
	return lo
}

// earliest is the first time from t on from which amount is free for long seconds.
func (l *timeline) earliest(t, long, amount int64) int64 {
	for k := l.find(t); ; k++ {
		if l.free[k] < amount {
			for k++; l.free[k] < amount; k++ {
			}
			t = l.at[k]
		}
		if k+1 == len(l.at) || l.at[k+1] >= t+long {
			return t
		}
	}
}

// latest is the last time up to t from which amount is free for long seconds.
func (l *timeline) latest(t, long, amount int64) int64 {
	for k := l.find(t + long - 1); ; k-- {
		if l.free[k] < amount {
			for k--; l.free[k] < amount; k-- {
			}
			t = l.at[k+1] - long
		}
		if l.at[k] <= t {
			return t
		}
	}
}

// take holds amount from one time to before another.
func (l *timeline) take(from, to, amount int64) {
	i := l.point(from)
	j := l.point(to)
	for k := i; k < j; k++ {
		l.free[k] -= amount
	}
}

// point makes sure that there is a point at t, and returns its index.
func (l *timeline) point(t int64) int {
	k := l.find(t)
	if l.at[k] == t {
		return k
	}
	l.at = slices.Insert(l.at, k+1, t)
	l.free = slices.Insert(l.free, k+1, l.free[k])
	return k + 1
}
