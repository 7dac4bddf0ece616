package seam

import (
	"cmp"
	"context"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// state is a partition under way: some leaves of its tree may need more cuts.
type state struct {
	root  *node
	cuts  []*node
	parts int     // segments that its leaves are thought to need
	cost  float64 // of its cuts
	last  *node   // its youngest cut
}

// move is one way to cut a cell in two.
type move struct {
	n     *node // the cut, its halves leaves
	parts int   // that the halves are thought to need
}

// beam divides a body top down, as Luo, Baran, Rusinkiewicz and Matusik do
// (Chopper, ACM Transactions on Graphics 31(6) 129, 2012): of all partitions
// under way those with the fewest expected segments, and among them the
// cheapest, are cut further, the largest part of each first. It returns the
// finished ones.
//
// Unlike there, a part's need counts before everything else. As most parts are
// sound upper bounds of what they need, a partition that is worse than one
// already finished is given up.
func (c *cutter) beam(ctx context.Context, start *node, most int) []*node {
	states := []state{c.stateOf(start)}
	var done []*node
	for len(states) > 0 && ctx.Err() == nil {
		width := c.o.Beam
		if c.judged > c.o.Planes {
			width = 1 // what is left is brought to an end
		}
		var next []state
		for _, s := range states {
			open := c.widest(s.root)
			if open == nil {
				if n := s.root.count(); n <= most {
					most = n
					done = append(done, s.root)
				}
				continue
			}
			for _, m := range c.moves(open.cell, s) {
				parts := s.parts - c.needs(open.cell) + m.parts
				if parts > most || slices.ContainsFunc(s.cuts, func(o *node) bool { return c.clash(open.cell, m.n.plane, o) }) {
					continue
				}
				next = append(next, state{
					root: s.root.with(open, m.n), cuts: append(slices.Clip(s.cuts), m.n),
					parts: parts, cost: s.cost + m.n.cost, last: m.n,
				})
			}
		}
		slices.SortStableFunc(next, func(a, b state) int {
			return cmp.Or(cmp.Compare(a.parts, b.parts), cmp.Compare(math.Round(a.cost*1e9), math.Round(b.cost*1e9)))
		})
		states = states[:0]
		for _, s := range next {
			if len(states) == width {
				break
			}
			if !slices.ContainsFunc(states, func(o state) bool { return c.similar(s, o) }) {
				states = append(states, s)
			}
		}
	}
	return done
}

func (c *cutter) stateOf(root *node) state {
	s := state{root: root}
	root.cuts(&s.cuts)
	for _, n := range s.cuts {
		s.cost += n.cost
	}
	var all []*node
	root.leaves(&all)
	for _, l := range all {
		s.parts += c.needs(l.cell)
	}
	return s
}

// widest is the leaf that needs most segments, the first of them; nil if all
// fit.
func (c *cutter) widest(root *node) *node {
	var all []*node
	root.leaves(&all)
	var out *node
	most := 1
	for _, l := range all {
		if n := c.needs(l.cell); n > most {
			out, most = l, n
		}
	}
	return out
}

// similar reports whether one of two states is enough: they come from the same
// cell by cuts that differ little, or are the same set of cuts in another order.
func (c *cutter) similar(a, b state) bool {
	if a.parts == b.parts && len(a.cuts) == len(b.cuts) && math.Abs(a.cost-b.cost) < 1e-9 {
		return true
	}
	if a.last.cell != b.last.cell || math.Abs(a.last.plane.Normal.Dot(b.last.plane.Normal)) < 0.996 {
		return false
	}
	r := span(a.last.cell.pts, a.last.plane.Normal)
	d := b.last.plane.D
	if a.last.plane.Normal.Dot(b.last.plane.Normal) < 0 {
		d = -d
	}
	return math.Abs(a.last.plane.D-d) < (r.hi-r.lo)/12
}

// looked is a plane that has been looked at.
type looked struct {
	pl    geom.Plane
	terms []Term
	below float64
	parts int // by boxes
	cost  float64
}

const (
	keepFew  = 16 // planes that are worked out in full, of a cell with few facets
	keepMany = 8  // of one with many
)

// moves are the cuts of a cell that are worth going on with. Those that do not
// depend on the state are worked out once.
func (c *cutter) moves(x *cell, s state) []move {
	all, ok := c.made[x]
	if !ok {
		all = c.judgeAll(x)
		c.made[x] = all
	}
	// Planes that line up with cuts of the neighbours, or are their mirror image.
	var more []looked
	for _, n := range s.cuts {
		at := []geom.Plane{n.plane}
		for _, m := range c.mirrors {
			at = append(at, mirror(n.plane, m))
		}
		for _, pl := range at {
			if r := span(x.pts, pl.Normal); pl.D < r.lo+c.o.Sliver || pl.D > r.hi-c.o.Sliver {
				continue
			}
			if slices.ContainsFunc(all, func(m move) bool { return m.n.plane == pl }) ||
				slices.ContainsFunc(more, func(l looked) bool { return l.pl == pl }) {
				continue
			}
			if l, ok := c.lookAt(x, pl); ok {
				more = append(more, l)
			}
		}
	}
	if len(more) == 0 {
		return all
	}
	return append(slices.Clip(all), c.workOut(x, more)...)
}

func (c *cutter) lookAt(x *cell, pl geom.Plane) (looked, bool) {
	terms, s, ok := c.judge(x, pl)
	if !ok {
		return looked{}, false
	}
	return looked{pl: pl, terms: terms, below: s.below, parts: c.inBoxes(s.lo) + c.inBoxes(s.hi), cost: sum(terms)}, true
}

// judgeAll looks at the planes across a cell and works out the best.
func (c *cutter) judgeAll(x *cell) []move {
	var all []looked
	for _, a := range c.normals0 {
		for _, at := range c.offsets(x, a) {
			if l, ok := c.lookAt(x, geom.Plane{Normal: a, D: at}); ok {
				all = append(all, l)
			}
		}
	}
	slices.SortStableFunc(all, func(a, b looked) int {
		return cmp.Or(cmp.Compare(a.parts, b.parts), cmp.Compare(math.Round(a.cost*1e9), math.Round(b.cost*1e9)))
	})
	keep := keepMany
	if len(x.end) <= fewFacets {
		keep = keepFew
	}
	// Each direction has its say: boxes do not see diagonals.
	var best []looked
	for _, a := range c.normals0 {
		taken := 0
		for _, l := range all {
			if l.pl.Normal == a && taken < max(2, keep/len(c.normals0)) {
				best = append(best, l)
				taken++
			}
		}
	}
	for _, l := range all {
		if len(best) >= keep+len(c.normals0) {
			break
		}
		if !slices.ContainsFunc(best, func(b looked) bool { return b.pl == l.pl }) {
			best = append(best, l)
		}
	}
	return c.workOut(x, best)
}

// workOut cuts a cell by planes and asks what the halves need.
func (c *cutter) workOut(x *cell, all []looked) []move {
	var out []move
	for _, l := range all {
		lower, upper := c.split(x, l.pl)
		if lower.empty() || upper.empty() {
			continue
		}
		b, a := c.needs(lower), c.needs(upper)
		terms := l.terms
		if u := uneven(l.below, x.vol, b, b+a); u.Value > 1e-9 {
			terms = append(terms, u)
		}
		out = append(out, move{&node{cell: x, plane: l.pl, below: &node{cell: lower}, above: &node{cell: upper}, terms: terms, cost: sum(terms)}, b + a})
	}
	slices.SortStableFunc(out, func(a, b move) int {
		return cmp.Or(cmp.Compare(a.parts, b.parts), cmp.Compare(math.Round(a.n.cost*1e9), math.Round(b.n.cost*1e9)))
	})
	return out
}

// offsets are the places along a direction that a cut of a cell is tried at:
// where a rest just fits, equal shares, just beside whatever is in the way, and
// places between.
func (c *cutter) offsets(x *cell, a geom.Vec3) []float64 {
	r := span(x.pts, a)
	var out []float64
	try := func(at float64) {
		const apart = 0.5 // mm
		if at < r.lo+c.o.Sliver || at > r.hi-c.o.Sliver || slices.ContainsFunc(out, func(o float64) bool { return math.Abs(o-at) < apart }) {
			return
		}
		out = append(out, at)
	}
	for _, size := range c.sides(a) {
		if size <= 0 {
			continue
		}
		for k := 1.0; k <= 4 && k*size < r.hi-r.lo; k++ {
			try(r.lo + k*size)
			try(r.hi - k*size)
		}
		n := math.Ceil((r.hi - r.lo) / size)
		for k := 1.0; k < n && k <= 4; k++ {
			try(r.lo + (r.hi-r.lo)*k/n)
			try(r.hi - (r.hi-r.lo)*k/n)
		}
	}
	if c.quick(x) {
		for _, at := range c.reach(x, a, r) {
			try(at)
		}
	}
	for _, at := range c.brinks(x, a) {
		try(at)
	}
	for _, k := range []float64{4, 3, 5, 2, 6, 1, 7} {
		try(r.lo + (r.hi-r.lo)*k/8)
	}
	return out
}

// sides are the lengths of printers' boxes along a direction.
func (c *cutter) sides(a geom.Vec3) []float64 {
	var out []float64
	add := func(v float64) {
		if !slices.Contains(out, v) {
			out = append(out, v)
		}
	}
	for i, f := range c.frames {
		for k, b := range []geom.Vec3{f.X, f.Y, f.Z} {
			if math.Abs(a.Dot(b)) > 0.996 {
				for _, l := range c.lays[i] {
					add(l[k])
				}
			}
		}
	}
	if len(out) == 0 && len(c.lays) > 0 {
		for _, l := range c.lays[0] {
			for _, v := range l {
				add(v)
			}
		}
	}
	return out
}

// reach is how far from either end along a direction a part of a cell may go and
// still fit, diagonals counted.
func (c *cutter) reach(x *cell, a geom.Vec3, r interval) []float64 {
	long := r.hi - r.lo
	// A box's length is sure; its diagonal is the most that can be.
	known, most := c.o.Sliver, long
	for _, l := range c.lays[0] {
		for k, b := range []geom.Vec3{c.frames[0].X, c.frames[0].Y, c.frames[0].Z} {
			if math.Abs(a.Dot(b)) > 0.996 && l[k] < long {
				known = max(known, l[k])
			}
		}
	}
	if c.limits.diagonal > 0 {
		most = min(most, c.limits.diagonal)
	}
	const steps = 6 // to a millimetre or two
	var out []float64
	for _, up := range []bool{true, false} {
		fits := func(t float64) bool {
			pl := geom.Plane{Normal: a, D: r.lo + t}
			if !up {
				pl = geom.Plane{Normal: a.Neg(), D: -(r.hi - t)}
			}
			return c.fitsPoints(c.within(x, pl))
		}
		lo, hi := known, most
		if hi-lo < 4 || !fits(lo) {
			continue
		}
		for range steps {
			if mid := (lo + hi) / 2; fits(mid) {
				lo = mid
			} else {
				hi = mid
			}
		}
		if up {
			out = append(out, r.lo+lo)
		} else {
			out = append(out, r.hi-lo)
		}
	}
	return out
}
