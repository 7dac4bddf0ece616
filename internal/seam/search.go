package seam

import (
	"cmp"
	"context"
	"math"
	"slices"

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
	for _, g := range grids {
		if ctx.Err() != nil {
			return nil, false
		}
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
		if _, _, ok := c.in.Fits(x.pts); !ok {
			return nil, false
		}
		return &node{cell: x}, true
	}
	// A cheap refusal first: equal slabs must fit when nothing is in the way,
	// give or take how far planes may slide.
	offsets, ok := c.place(x, c.axes[axis], n[axis], func(part cell) bool { return c.fitsCut(part, n, axis+1) })
	if !ok {
		return nil, false
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
		_, _, ok := c.in.Fits(x.pts)
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
// the sum of costs is least. It tries each plane's candidates by dynamic
// programming over neighbouring planes.
func (c *cutter) place(x cell, axis geom.Vec3, n int, fits func(cell) bool) ([]candidate, bool) {
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
		for d := 0.0; d <= share*reach; d += step {
			for _, at := range []float64{want - d, want + d} {
				if terms, ok := c.judge(x, axis, at, (at-want)/share); ok {
					cand := candidate{at: at, terms: terms}
					for _, t := range terms {
						cand.cost += t.Value
					}
					cols[i] = append(cols[i], cand)
				}
				if d == 0 {
					break
				}
			}
		}
		if len(cols[i]) == 0 {
			return nil, false
		}
		slices.SortStableFunc(cols[i], func(a, b candidate) int { return cmp.Compare(a.cost, b.cost) })
		// The cheapest few dozen are enough: they are sorted by cost and cover the reach.
		if len(cols[i]) > 40 {
			cols[i] = cols[i][:40]
		}
	}
	type key struct{ col, lo, hi int } // candidate -1 is the body's end
	known := map[key]bool{}
	slabFits := func(col, lo, hi int) bool {
		k := key{col, lo, hi}
		if ok, seen := known[k]; seen {
			return ok
		}
		a, b := r.lo, r.hi
		if lo >= 0 {
			a = cols[col-1][lo].at
		}
		if hi >= 0 {
			b = cols[col][hi].at
		}
		ok := b-a >= c.o.Sliver && fits(c.slab(x, axis, a, b, lo >= 0, hi >= 0))
		known[k] = ok
		return ok
	}
	// Depth-first with the cheapest candidate first finds a cheap answer; with a
	// handful of planes the search stays small because misfits are remembered.
	best, bestCost := []int(nil), math.Inf(1)
	chosen := make([]int, 0, n-1)
	tries := 0
	var dfs func(col, prev int, cost float64)
	dfs = func(col, prev int, cost float64) {
		if cost >= bestCost || tries > 4000 {
			return
		}
		if col == len(cols) {
			if slabFits(col, prev, -1) {
				best, bestCost = slices.Clone(chosen), cost
			}
			return
		}
		for i, cand := range cols[col] {
			if cost+cand.cost >= bestCost {
				break // sorted by cost
			}
			tries++
			if !slabFits(col, prev, i) {
				continue
			}
			chosen = append(chosen, i)
			dfs(col+1, i, cost+cand.cost)
			chosen = chosen[:len(chosen)-1]
		}
	}
	dfs(0, -1, 0)
	if best == nil {
		return nil, false
	}
	out := make([]candidate, len(best))
	for i, j := range best {
		out[i] = cols[i][j]
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
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, p := range cl.Line {
			d := axis.Dot(p) - at
			lo, hi = min(lo, d), max(hi, d)
		}
		if lo <= cl.Distance && hi >= -cl.Distance {
			// Near across this axis; refuse only if the joint reaches into this part.
			if slices.ContainsFunc(cl.Line, func(p geom.Vec3) bool { return within(x.planes, p, cl.Distance) }) {
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
	along := axis.Dot(b.Axis)
	rim := b.Diameter / 2 * math.Sqrt(max(0, 1-along*along))
	p, q := axis.Dot(b.Mouth), axis.Dot(b.Mouth.Add(b.Axis.Scale(b.Depth)))
	lo, hi := min(p, q)-rim, max(p, q)+rim
	return max(0, lo-at, at-hi)
}
