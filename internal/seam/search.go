package seam

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sort"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
)

// search looks for a grid of cuts square to the body's own axes, fewest
// segments first. Within a grid each plane slides off bores and veneer
// joints; parts cut along a second axis choose their planes on their own.
func (c *cutter) search(ctx context.Context, whole cell) (*node, bool) {
	type grid struct{ n [3]int }
	var grids []grid
	for a := 1; a <= c.o.MaxSegments; a++ {
		for b := 1; a*b <= c.o.MaxSegments; b++ {
			for d := 1; a*b*d <= c.o.MaxSegments; d++ {
				if a*b*d > 1 {
					grids = append(grids, grid{[3]int{a, b, d}})
				}
			}
		}
	}
	// Fewest segments first; among equals, cuts across the longest axis first.
	slices.SortStableFunc(grids, func(x, y grid) int {
		return cmp.Or(
			cmp.Compare(x.n[0]*x.n[1]*x.n[2], y.n[0]*y.n[1]*y.n[2]),
			-cmp.Compare(x.n[0], y.n[0]), -cmp.Compare(x.n[1], y.n[1]),
		)
	})
	most := c.o.MaxSegments
	bare := false // whether a grid has been found that fits with nothing in the way
	for _, g := range grids {
		count := g.n[0] * g.n[1] * g.n[2]
		if ctx.Err() != nil || count > most {
			return nil, false
		}
		if !bare && c.fitsCut(whole, g.n, 0) {
			// Where bores and veneer joints refuse three times as many parts as would
			// do without them, more parts do not help.
			bare, most = true, min(most, 3*count)
		}
		c.used = [3][]float64{}
		if n, ok := c.cutGrid(whole, g.n, 0); ok {
			return n, true
		}
	}
	return nil, false
}

// cutGrid cuts x into n[axis] slabs across the axis and each slab across the
// axes after it. It fails if some part does not fit.
func (c *cutter) cutGrid(x cell, n [3]int, axis int) (*node, bool) {
	for axis < 3 && n[axis] == 1 {
		axis++
	}
	if axis == 3 {
		if _, _, ok := c.fits(x.pts); !ok {
			return nil, false
		}
		return &node{cell: x}, true
	}
	offsets, ok := c.place(x, axis, n[axis], func(part cell) bool { return c.fitsCut(part, n, axis+1) })
	if !ok {
		return nil, false
	}
	for _, o := range offsets {
		if !slices.Contains(c.used[axis], o.at) {
			c.used[axis] = append(c.used[axis], o.at)
		}
	}
	return c.split(x, c.axes[axis], offsets, n, axis+1)
}

// fitsCut reports whether a part fits once it is cut equally across the axes
// from axis on.
func (c *cutter) fitsCut(x cell, n [3]int, axis int) bool {
	for axis < 3 && n[axis] == 1 {
		axis++
	}
	if axis == 3 {
		_, _, ok := c.fits(x.pts)
		return ok
	}
	r := span(x.pts, c.axes[axis])
	step := (r.hi - r.lo) / float64(n[axis])
	for i := range n[axis] {
		part := c.slab(x, c.axes[axis], r.lo+step*float64(i), r.lo+step*float64(i+1), i > 0, i < n[axis]-1)
		if !c.fitsCut(part, n, axis+1) {
			return false
		}
	}
	return true
}

// slab is the part of x between two planes across an axis.
func (c *cutter) slab(x cell, axis geom.Vec3, lo, hi float64, cutLo, cutHi bool) cell {
	planes := slices.Clone(x.planes)
	if cutLo {
		planes = append(planes, geom.Plane{Normal: axis.Neg(), D: -lo})
	}
	if cutHi {
		planes = append(planes, geom.Plane{Normal: axis, D: hi})
	}
	return cell{planes: planes, pts: c.inside(planes)}
}

// candidate is a place for a plane across an axis, with what it costs.
type candidate struct {
	at    float64
	cost  float64
	terms []Term
}

// place chooses n-1 offsets across an axis, each near its equal share, so that
// every slab passes fits, no plane comes near a bore or a veneer joint, and
// the sum of costs is least, by dynamic programming over neighbouring planes.
func (c *cutter) place(x cell, number, n int, fits func(cell) bool) ([]candidate, bool) {
	axis := c.axes[number]
	r := span(x.pts, axis)
	share := (r.hi - r.lo) / float64(n)
	if share < c.o.Sliver {
		return nil, false
	}
	// Planes may slide by up to 0.45 of a share, in steps of 2 mm.
	const step, reach = 2.0, 0.45
	cols := make([][]candidate, n-1)
	for i := range cols {
		want := r.lo + share*float64(i+1)
		try := func(at float64) {
			if slices.ContainsFunc(c.used[number], func(u float64) bool { return u != at && math.Abs(u-at) < c.o.Stagger }) {
				return
			}
			if terms, ok := c.judge(x, axis, at, (at-want)/share); ok {
				cand := candidate{at: at, terms: terms}
				for _, t := range terms {
					cand.cost += t.Value
				}
				cols[i] = append(cols[i], cand)
			}
		}
		try(want)
		for d := step; d <= share*reach; d += step {
			try(want - d)
			try(want + d)
		}
		for _, at := range append(c.brinks(x, axis), c.used[number]...) {
			if math.Abs(at-want) <= share*reach {
				try(at)
			}
		}
		if len(cols[i]) == 0 {
			return nil, false
		}
		slices.SortStableFunc(cols[i], func(a, b candidate) int { return cmp.Compare(a.at, b.at) })
	}
	slabFits := func(lo, hi float64, cutLo, cutHi bool) bool {
		return fits(c.slab(x, axis, lo, hi, cutLo, cutHi))
	}
	// Whatever fits still fits when it is made shorter, so from each plane the
	// furthest next plane is found by halving. from[i][j] is the best plane of
	// the column before, cost[i][j] the sum of costs up to and with plane j.
	cost := make([][]float64, len(cols))
	from := make([][]int, len(cols))
	for i, col := range cols {
		cost[i], from[i] = make([]float64, len(col)), make([]int, len(col))
		for j := range col {
			cost[i][j], from[i][j] = math.Inf(1), -1
		}
		relax := func(prev int, base, at float64, first bool) {
			lo, _ := slices.BinarySearchFunc(col, at+c.o.Sliver, func(c candidate, v float64) int { return cmp.Compare(c.at, v) })
			n := sort.Search(len(col)-lo, func(j int) bool { return !slabFits(at, col[lo+j].at, !first, true) })
			for j := lo; j < lo+n; j++ {
				if v := base + col[j].cost; v < cost[i][j]-1e-12 {
					cost[i][j], from[i][j] = v, prev
				}
			}
		}
		if i == 0 {
			relax(-1, 0, r.lo, true)
			continue
		}
		for j, cand := range cols[i-1] {
			if !math.IsInf(cost[i-1][j], 1) {
				relax(j, cost[i-1][j], cand.at, false)
			}
		}
	}
	last := len(cols) - 1
	end := cols[last]
	first := sort.Search(len(end), func(j int) bool {
		return end[j].at > r.hi-c.o.Sliver || slabFits(end[j].at, r.hi, true, false)
	})
	best := -1
	for j := first; j < len(end) && end[j].at <= r.hi-c.o.Sliver; j++ {
		if !math.IsInf(cost[last][j], 1) && (best < 0 || cost[last][j] < cost[last][best]-1e-12) {
			best = j
		}
	}
	if best < 0 {
		return nil, false
	}
	out := make([]candidate, len(cols))
	for i, j := last, best; i >= 0; i-- {
		out[i] = cols[i][j]
		j = from[i][j]
	}
	return out, true
}

// split builds the tree for planes already chosen across one axis, halving so
// that it stays shallow, and goes on with the axes after it.
func (c *cutter) split(x cell, axis geom.Vec3, at []candidate, n [3]int, next int) (*node, bool) {
	if len(at) == 0 {
		return c.cutGrid(x, n, next)
	}
	m := len(at) / 2
	pl := geom.Plane{Normal: axis, D: at[m].at}
	below, ok := c.split(c.clip(x, pl), axis, at[:m], n, next)
	if !ok {
		return nil, false
	}
	above, ok := c.split(c.clip(x, pl.Flip()), axis, at[m+1:], n, next)
	if !ok {
		return nil, false
	}
	return &node{cell: x, plane: pl, below: below, above: above, terms: at[m].terms}, true
}

// brinks are the offsets across an axis that lie just clear of a bore or a
// joint in the veneer: where room is short, the only good ones.
func (c *cutter) brinks(x cell, axis geom.Vec3) []float64 {
	const hair = 1e-3
	var out []float64
	for _, b := range c.bores {
		if c.touches(x, b) {
			r := boreSpan(b, axis)
			out = append(out, r.lo-c.o.BoreClear-hair, r.hi+c.o.BoreClear+hair)
		}
	}
	for _, cl := range c.clears {
		r := span(cl.Line, axis)
		out = append(out, r.lo-cl.Distance-hair, r.hi+cl.Distance+hair)
	}
	return out
}

// judge prices a plane across an axis, or refuses it because it would cut a
// bore or come too near a joint in the veneer. off is how far it lies from
// its equal share, as a fraction of the share.
func (c *cutter) judge(x cell, axis geom.Vec3, at, off float64) ([]Term, bool) {
	near := math.Inf(1)
	for _, b := range c.bores {
		if !c.touches(x, b) {
			continue
		}
		gap := boreGap(b, axis, at)
		if gap < c.o.BoreClear {
			return nil, false
		}
		near = min(near, gap)
	}
	for _, cl := range c.clears {
		for i := 1; i < len(cl.Line); i++ {
			// A seam that crosses a joint cannot be helped; one that runs along it can.
			p, q := cl.Line[i-1], cl.Line[i]
			if along := math.Abs(axis.Dot(q.Sub(p).Unit())); along > 0.5 {
				continue
			}
			d, e := axis.Dot(p)-at, axis.Dot(q)-at
			if min(d, e) <= cl.Distance && max(d, e) >= -cl.Distance && (within(x.planes, p, cl.Distance) || within(x.planes, q, cl.Distance)) {
				return nil, false
			}
		}
	}
	terms := []Term{{"uneven parts", off * off}}
	if !math.IsInf(near, 1) {
		// Fades out over 40 mm: a seam just clear of a bore still weakens its wall.
		terms = append(terms, Term{"near a bore", 0.2 * math.Exp(-near/40)})
	}
	return terms, true
}

// touches reports whether a bore reaches into a part.
func (c *cutter) touches(x cell, b joint.Bore) bool {
	return within(x.planes, b.Mouth, b.Diameter) || within(x.planes, b.Mouth.Add(b.Axis.Scale(b.Depth)), b.Diameter)
}

func within(planes []geom.Plane, p geom.Vec3, margin float64) bool {
	for _, pl := range planes {
		if pl.Distance(p) > margin {
			return false
		}
	}
	return true
}

// boreGap is the distance along axis between a plane at the offset and the
// cylinder of a bore, 0 when it cuts it.
func boreGap(b joint.Bore, axis geom.Vec3, at float64) float64 {
	r := boreSpan(b, axis)
	return max(0, r.lo-at, at-r.hi)
}

// boreSpan is how far the cylinder of a bore reaches along axis.
func boreSpan(b joint.Bore, axis geom.Vec3) interval {
	along := axis.Dot(b.Axis)
	rim := b.Diameter / 2 * math.Sqrt(max(0, 1-along*along))
	p, q := axis.Dot(b.Mouth), axis.Dot(b.Mouth.Add(b.Axis.Scale(b.Depth)))
	return interval{min(p, q) - rim, max(p, q) + rim}
}
