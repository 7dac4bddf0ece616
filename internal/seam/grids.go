package seam

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sort"

	"groundwork/internal/geom"
)

// search looks for a grid of cuts square to the body's own axes, fewest
// segments first. Within a grid each plane slides off bores and veneer
// joints; parts cut along a second axis choose their planes on their own.
func (c *cutter) search(ctx context.Context, whole *cell) (*node, bool) {
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
func (c *cutter) cutGrid(x *cell, n [3]int, axis int) (*node, bool) {
	for axis < 3 && n[axis] == 1 {
		axis++
	}
	if axis == 3 {
		return &node{cell: x}, c.fit(x)
	}
	offsets, ok := c.place(x, axis, n[axis], func(planes []geom.Plane) bool { return c.fitsCut(x, n, axis+1, planes...) })
	if !ok {
		return nil, false
	}
	for _, o := range offsets {
		if !slices.Contains(c.used[axis], o.at) {
			c.used[axis] = append(c.used[axis], o.at)
		}
	}
	return c.chain(x, c.axes[axis], offsets, n, axis+1)
}

// fitsCut reports whether the part of x within planes fits once it is cut
// equally across the axes from axis on.
func (c *cutter) fitsCut(x *cell, n [3]int, axis int, planes ...geom.Plane) bool {
	pts := c.within(x, planes...)
	if len(pts) == 0 {
		return true
	}
	for axis < 3 && n[axis] == 1 {
		axis++
	}
	if axis == 3 {
		return c.fitsPoints(pts)
	}
	r := span(pts, c.axes[axis])
	step := (r.hi - r.lo) / float64(n[axis])
	for i := range n[axis] {
		part := append(slices.Clip(planes), slab(c.axes[axis], r.lo+step*float64(i), r.lo+step*float64(i+1), i > 0, i < n[axis]-1)...)
		if !c.fitsCut(x, n, axis+1, part...) {
			return false
		}
	}
	return true
}

// slab is the planes between which what lies between two offsets across an axis
// lies.
func slab(axis geom.Vec3, lo, hi float64, cutLo, cutHi bool) []geom.Plane {
	var planes []geom.Plane
	if cutLo {
		planes = append(planes, geom.Plane{Normal: axis.Neg(), D: -lo})
	}
	if cutHi {
		planes = append(planes, geom.Plane{Normal: axis, D: hi})
	}
	return planes
}

// candidate is a place for a plane across an axis, with what it costs.
type candidate struct {
	at   float64
	cost float64
}

// place chooses n-1 offsets across an axis, each near its equal share, so that
// every slab passes fits, no plane comes near a bore or a veneer joint, and
// the sum of costs is least, by dynamic programming over neighbouring planes.
func (c *cutter) place(x *cell, number, n int, fits func([]geom.Plane) bool) ([]candidate, bool) {
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
			if cost, ok := c.judgeAt(x, axis, at); ok {
				off := (at - want) / share
				cols[i] = append(cols[i], candidate{at: at, cost: cost + costUneven*off*off})
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
		return fits(slab(axis, lo, hi, cutLo, cutHi))
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
		// What fits from one plane fits from every later one, so the furthest next
		// plane only moves on.
		far := 0
		relax := func(prev int, base, at float64, first bool) {
			lo, _ := slices.BinarySearchFunc(col, at+c.o.Sliver, func(c candidate, v float64) int { return cmp.Compare(c.at, v) })
			if far = max(far, lo); first {
				far += sort.Search(len(col)-lo, func(j int) bool { return !slabFits(at, col[lo+j].at, !first, true) })
			}
			for !first && far < len(col) && slabFits(at, col[far].at, true, true) {
				far++
			}
			for j := lo; j < far; j++ {
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

// chain builds the tree for planes already chosen across one axis, halving so
// that it stays shallow, and goes on with the axes after it.
func (c *cutter) chain(x *cell, axis geom.Vec3, at []candidate, n [3]int, next int) (*node, bool) {
	if len(at) == 0 {
		return c.cutGrid(x, n, next)
	}
	m := len(at) / 2
	pl := geom.Plane{Normal: axis, D: at[m].at}
	lower, upper := c.split(x, pl)
	below, ok := c.chain(lower, axis, at[:m], n, next)
	if !ok {
		return nil, false
	}
	above, ok := c.chain(upper, axis, at[m+1:], n, next)
	if !ok {
		return nil, false
	}
	return &node{cell: x, plane: pl, below: below, above: above}, true
}

// judgeAt is what a plane across an axis costs, which is asked again and again
// as grids are tried.
func (c *cutter) judgeAt(x *cell, axis geom.Vec3, at float64) (float64, bool) {
	k := place{x, axis, at}
	if v, ok := c.seen[k]; ok {
		return v.cost, v.ok
	}
	c.sectionOnly = true
	terms, _, ok := c.judge(x, geom.Plane{Normal: axis, D: at})
	c.sectionOnly = false
	v := verdict{sum(terms), ok}
	c.seen[k] = v
	return v.cost, v.ok
}
