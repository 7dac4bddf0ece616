package project

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
)

// How the search goes on. None depends on how many schedules are to be made, so
// that more of them never give a longer project.
const (
	size     = 20 // members of each population
	patience = 60 // generations of both without a better schedule, before it begins anew
	perMove  = 60 // activities for each that is moved besides the first
	asideOf  = 1  // s, how far beside another one is moved
)

// apart is more than any two times of a schedule are from each other.
const apart = int64(1) << 58

// search is a genetic algorithm on two populations (Debels and Vanhoucke 2005):
// one of schedules pulled to the left, to their beginning, one of schedules
// pulled to the right. From two of the one a child is made for the other: the
// times of the parents are the order in which the child's activities are placed
// from the other end. So each schedule made both mixes its parents and justifies
// them (Valls, Ballestín and Quintanilla 2005: placing activities again from the
// other end in the order of their times never makes a schedule longer, and often
// shorter), which others spend three schedules on.
type search struct {
	n           *net
	o           Options
	m           *maker
	rng         *rand.Rand
	bound       int64
	best        member
	tail        []int64 // the longest path from the start of each activity
	length      int64   // the longest path
	key         []int64
	left, right []member
}

// member is a schedule of a population.
type member struct {
	start []int64
	cost  int64 // its length; see cost
}

func newSearch(n *net, o Options) *search {
	s := &search{n: n, o: o, m: newMaker(n), rng: rand.New(rand.NewPCG(o.Seed, 0x9c7e)),
		key: make([]int64, len(n.dur)), tail: make([]int64, len(n.dur))}
	for k := len(n.topo) - 1; k >= 0; k-- {
		i := n.topo[k]
		s.tail[i] = n.dur[i]
		for _, a := range n.succ[i] {
			s.tail[i] = max(s.tail[i], s.tail[a.to]+a.dist)
		}
		s.length = max(s.length, s.tail[i])
	}
	// The first schedule follows the rule of the latest start.
	for i, t := range s.tail {
		s.key[i] = -t
	}
	c := s.m.forward(s.key)
	s.best = member{slices.Clone(s.m.start), c}
	if s.bound = o.Bound; s.bound == 0 {
		s.bound = newBounder(n).bound(min(c, never))
	}
	return s
}

// run makes schedules until it is over, and returns the context's error if that
// was why.
func (s *search) run(ctx context.Context) error {
	s.left, s.right = s.population(), s.population()
	for s.begin(ctx) {
		for idle := 0; idle < patience && !s.over(ctx); idle++ {
			was := s.best.cost
			s.generation(ctx, s.left, s.right, false)
			s.generation(ctx, s.right, s.left, true)
			if s.best.cost < was {
				idle = -1
			}
		}
	}
	if s.best.cost <= s.bound {
		return nil
	}
	return ctx.Err()
}

func (s *search) over(ctx context.Context) bool {
	return s.best.cost <= s.bound || s.m.count >= s.o.Schedules || ctx.Err() != nil
}

func (s *search) population() []member {
	out := make([]member, size)
	for i := range out {
		out[i].start = make([]int64, len(s.n.dur))
	}
	return out
}

// begin fills the left population with schedules of both schemes, the activities
// in the order of their latest starts with something random added. It returns
// whether there is more to do.
func (s *search) begin(ctx context.Context) bool {
	for i := range s.left {
		s.left[i].cost, s.right[i].cost = math.MaxInt64, math.MaxInt64
		if s.over(ctx) {
			return false
		}
		for j, t := range s.tail {
			s.key[j] = s.rng.Int64N(s.length+1) - 2*t
		}
		if i%2 == 0 {
			s.keep(&s.left[i], s.m.forward(s.key), true)
		} else {
			s.keep(&s.left[i], s.m.parallel(s.key), true)
		}
	}
	return !s.over(ctx)
}

// keep puts the schedule just made in the place of another that is not shorter.
func (s *search) keep(x *member, cost int64, left bool) {
	if cost <= x.cost {
		copy(x.start, s.m.start)
		x.cost = cost
	}
	if left && cost < s.best.cost {
		copy(s.best.start, s.m.start)
		s.best.cost = cost
	}
}

// generation makes a child of each member of one population and the better of
// two others. It takes its first parent's place in the other population if it
// is no longer than who stands there.
func (s *search) generation(ctx context.Context, from, to []member, left bool) {
	for i := range from {
		if s.over(ctx) {
			return
		}
		j, k := s.rng.IntN(len(from)), s.rng.IntN(len(from))
		if from[k].cost < from[j].cost {
			j = k
		}
		s.cross(&from[i], &from[j], left)
		s.shift()
		if left {
			s.keep(&to[i], s.m.forward(s.key), true)
		} else {
			s.keep(&to[i], s.m.backward(s.key, min(never, s.best.cost)), false)
		}
	}
}

// time is what an activity is sorted by if it is to be placed from the left: the
// start in a schedule pulled to the right; or from the right: the time left from
// the finish on.
func (s *search) time(x *member, i int, left bool) int64 {
	if left {
		return x.start[i]
	}
	return -x.start[i] - s.n.dur[i]
}

// cross makes keys of two parents. The first says which activities lie within an
// interval of a quarter to three quarters of its length, which before and which
// after, and in what order those within follow each other; the second, in what
// order those before and those after do.
func (s *search) cross(a, b *member, left bool) {
	if len(a.start) == 0 {
		return
	}
	low, high := s.time(a, 0, left), s.time(a, 0, left)
	for i := range a.start {
		t := s.time(a, i, left)
		low, high = min(low, t), max(high, t)
	}
	span := high - low + 1
	long := span/4 + s.rng.Int64N(span/2+1)
	low += s.rng.Int64N(span - long + 1)
	for i := range a.start {
		switch t := s.time(a, i, left); {
		case t < low:
			s.key[i] = s.time(b, i, left) - apart
		case t >= low+long:
			s.key[i] = s.time(b, i, left) + apart
		default:
			s.key[i] = t
		}
	}
}

// shift moves an activity or a few to just before or after another.
func (s *search) shift() {
	for range 1 + len(s.key)/perMove {
		i, j := s.rng.IntN(len(s.key)), s.rng.IntN(len(s.key))
		s.key[i] = s.key[j] + int64(s.rng.IntN(2)*2-1)*asideOf
	}
}

// noRoom names the first activity that found none, in the best schedule.
func (s *search) noRoom(p Project) error {
	for _, i := range s.n.topo {
		if s.best.start[i] >= never {
			return &Error{NoRoom, i, p.Activities[i].Name, -1, "its hours were full in every schedule made"}
		}
	}
	return nil
}
