package project

import (
	"cmp"
	"slices"
)

// maker makes schedules. It allocates nothing once it is made.
type maker struct {
	n     *net
	lines []timeline
	start []int64
	bound []int64 // of starts, in parallel
	done  []bool
	order []int // one that respects links, made from one that may not
	slots []slot
	count int // schedules made
}

// slot is an activity and what it is sorted by.
type slot struct {
	key  int64
	rank int
	id   int
}

func newMaker(n *net) *maker {
	m := &maker{n: n, start: make([]int64, len(n.dur)), bound: make([]int64, len(n.dur)),
		done:  make([]bool, len(n.dur)),
		order: make([]int, 0, len(n.dur)), slots: make([]slot, len(n.dur))}
	uses := make([]int, len(n.capacity))
	for _, hs := range n.holds {
		for _, h := range hs {
			uses[h.res]++
		}
	}
	for r, c := range n.capacity {
		m.lines = append(m.lines, newTimeline(c, uses[r]))
	}
	return m
}

func (m *maker) begin() {
	m.count++
	for r := range m.lines {
		m.lines[r].clear()
	}
	clear(m.done)
}

// sorted is the activities by ascending key, if ahead each after all that it
// waits for, else each after all that wait for it.
func (m *maker) sorted(key []int64, ahead bool) []int {
	for i := range m.slots {
		m.slots[i] = slot{key[i], m.n.rank[i], i}
		if !ahead {
			m.slots[i].rank = -m.n.rank[i]
		}
	}
	slices.SortFunc(m.slots, func(a, b slot) int {
		if a.key != b.key {
			return cmp.Compare(a.key, b.key)
		}
		return a.rank - b.rank
	})
	clear(m.done)
	m.order = m.order[:0]
	first := m.n.pred
	if !ahead {
		first = m.n.succ
	}
	for _, s := range m.slots {
		m.visit(s.id, first)
	}
	return m.order
}

// visit puts an activity into the order, after those that must come first.
func (m *maker) visit(i int, first [][]arc) {
	if m.done[i] {
		return
	}
	m.done[i] = true
	for _, a := range first[i] {
		m.visit(a.to, first)
	}
	m.order = append(m.order, i)
}

// early is the first start from t on that calendars and resources allow.
func (m *maker) early(i int, t int64) int64 {
	w, holds := m.n.windows[i], m.n.holds[i]
	for {
		t = w.next(t)
		if t >= never {
			return t
		}
		was := t
		for k := range holds {
			h := &holds[k]
			t = m.lines[h.res].earliest(t+h.from, h.to-h.from, h.amount) - h.from
		}
		if t == was {
			return t
		}
	}
}

// late is the last start up to t that calendars and resources allow. Before the
// first hours of a calendar, hours do not count: the times that come of it are
// used to sort by only.
func (m *maker) late(i int, t int64) int64 {
	w, holds := m.n.windows[i], m.n.holds[i]
	for {
		if l := w.last(t); l > -never {
			t = l
		}
		was := t
		for k := range holds {
			h := &holds[k]
			t = m.lines[h.res].latest(t+h.from, h.to-h.from, h.amount) - h.from
		}
		if t == was {
			return t
		}
	}
}

func (m *maker) put(i int, t int64) {
	m.start[i] = t
	for k := range m.n.holds[i] {
		h := &m.n.holds[i][k]
		m.lines[h.res].take(t+h.from, t+h.to, h.amount)
	}
}

// ready is when links and release let an activity start, given the starts of
// those it waits for.
func (m *maker) ready(i int) int64 {
	t := m.n.release[i]
	for _, a := range m.n.pred[i] {
		t = max(t, m.start[a.to]+a.dist)
	}
	return t
}

// forward is the serial schedule generation scheme (Kelley 1963): each activity
// in the order of ascending keys, links respected, as early as what stands lets
// it. It returns the makespan; if activities find no room, never for each.
func (m *maker) forward(key []int64) int64 {
	order := m.sorted(key, true)
	m.begin()
	end, missing := int64(0), int64(0)
	for _, i := range order {
		t := m.early(i, m.ready(i))
		if t >= never {
			m.start[i] = never
			missing++
			continue
		}
		m.put(i, t)
		end = max(end, t+m.n.dur[i])
	}
	return cost(end, missing)
}

// backward is the same scheme from the end of the project to its beginning: each
// activity as late as possible, the project ending at end. It returns the time
// from the first start to the end. It may start before its beginning or a release:
// it serves to sort by.
func (m *maker) backward(key []int64, end int64) int64 {
	order := m.sorted(key, false)
	m.begin()
	first := end
	for _, i := range order {
		t := end - m.n.dur[i]
		for _, a := range m.n.succ[i] {
			t = min(t, m.start[a.to]-a.dist)
		}
		t = m.late(i, t)
		m.put(i, t)
		first = min(first, t)
	}
	return end - first
}

// parallel is the parallel scheme (Brooks and White 1965), which never lets a
// resource idle that somebody could use: of the activities whose predecessors
// stand, the one that can start first, of several the one with the lowest key.
func (m *maker) parallel(key []int64) int64 {
	m.begin()
	end, missing := int64(0), int64(0)
	// Everything can only get later by what is put: times found before are bounds.
	clear(m.bound)
	for range m.n.topo {
		best, at := -1, int64(0)
		for _, i := range m.n.topo {
			if m.done[i] || !m.open(i) || best >= 0 && m.bound[i] > at {
				continue
			}
			t := m.early(i, max(m.ready(i), m.bound[i]))
			m.bound[i] = t
			if best < 0 || t < at || t == at && key[i] < key[best] {
				best, at = i, t
			}
		}
		m.done[best] = true
		if at >= never {
			m.start[best] = never
			missing++
			continue
		}
		m.put(best, at)
		end = max(end, at+m.n.dur[best])
	}
	return cost(end, missing)
}

// open tells whether everything that an activity waits for stands.
func (m *maker) open(i int) bool {
	for _, a := range m.n.pred[i] {
		if !m.done[a.to] {
			return false
		}
	}
	return true
}

// cost is the makespan, or never times how many have no room, as far as it can be told.
func cost(end, missing int64) int64 {
	if missing > 0 {
		return never * min(missing, 256)
	}
	return end
}
