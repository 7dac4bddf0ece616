package seam

import (
	"context"
	"math"

	"groundwork/internal/geom"
)

// manyFacets is the number of corners above which a body is not searched grid
// by grid: every grid looks at all of them many times over. Measured: an animal
// of 2,930 corners took more than 270 s grid by grid, and 4 s part by part.
const manyFacets = 1200

// boxes cuts a body part by part into pieces that fit a printer's box with
// their sides along the body's axes: each part across one axis into as few
// equal slabs as go into the box that way, each slab across the next. Since a
// slab of a body that is no box is smaller than the body, it needs fewer cuts
// than the grid round the whole. All orders of the axes, and all ways to lay
// the box, are tried; the fewest parts win.
//
// It always ends, unless a bore or a veneer joint is in the way of every plane
// that would do.
func (c *cutter) boxes(ctx context.Context, whole *cell) (*node, bool) {
	var best *node
	fewest := 4*c.o.MaxSegments + 1
	for _, p := range c.in.Shop.Printers {
		// Room to spare for what the filament makes prints shrink (ABS 0.4 to 0.7 %,
		// common practice, no source; twice that here); the fitter has the last word.
		const shrunk = 0.985
		u := geom.V3(p.Build.X-2*p.Brim, p.Build.Y-2*p.Brim, p.Build.Z-p.Top).Scale(shrunk)
		for _, order := range [][3]int{{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}} {
			seen := map[[3]float64]bool{}
			for _, lay := range [][3]float64{{u.X, u.Y, u.Z}, {u.X, u.Z, u.Y}, {u.Y, u.X, u.Z}, {u.Y, u.Z, u.X}, {u.Z, u.X, u.Y}, {u.Z, u.Y, u.X}} {
				if seen[lay] || ctx.Err() != nil {
					continue
				}
				seen[lay] = true
				left := fewest - 1
				if n, ok := c.box(whole, order[:], lay, &left); ok {
					var leaves []*node
					n.leaves(&leaves)
					if len(leaves) < fewest {
						best, fewest = n, len(leaves)
					}
				}
			}
		}
	}
	return best, best != nil
}

// box cuts a part across the axes in order. left is how many more parts it may
// make; it fails when there are none.
func (c *cutter) box(x *cell, order []int, lay [3]float64, left *int) (*node, bool) {
	if len(order) == 0 {
		if *left--; *left < 0 {
			return nil, false
		}
		return &node{cell: x}, c.fit(x)
	}
	axis := c.axes[order[0]]
	r := span(x.pts, axis)
	n := int(math.Ceil((r.hi-r.lo)/lay[order[0]] - 1e-9))
	var at []candidate
	step := (r.hi - r.lo) / float64(n)
	last := r.lo
	for i := 1; i < n; i++ {
		cand, ok := c.near(x, axis, r.lo+step*float64(i), step, max(last+c.o.Sliver, r.hi-float64(n-i)*lay[order[0]]), min(last+lay[order[0]], r.hi-c.o.Sliver))
		if !ok {
			return nil, false
		}
		at = append(at, cand)
		last = cand.at
	}
	return c.boxSplit(x, axis, at, order[1:], lay, left)
}

// near is the plane nearest to where one is wanted that is in nobody's way and
// lies between lo and hi.
func (c *cutter) near(x *cell, axis geom.Vec3, want, share, lo, hi float64) (candidate, bool) {
	const step = 2.0 // mm
	tries := []float64{want}
	for d := step; d <= share/2; d += step {
		tries = append(tries, want-d, want+d)
	}
	tries = append(tries, c.brinks(x, axis)...)
	for _, at := range tries {
		if at < lo || at > hi {
			continue
		}
		if _, _, ok := c.allowed(x, geom.Plane{Normal: axis, D: at}); ok {
			return candidate{at: at}, true
		}
	}
	return candidate{}, false
}

// boxSplit builds the tree for planes across one axis and goes on with the
// axes after it. Where nothing lies on one side of a plane there is no cut.
func (c *cutter) boxSplit(x *cell, axis geom.Vec3, at []candidate, order []int, lay [3]float64, left *int) (*node, bool) {
	if len(at) == 0 {
		return c.box(x, order, lay, left)
	}
	m := len(at) / 2
	pl := geom.Plane{Normal: axis, D: at[m].at}
	lower, upper := c.split(x, pl)
	switch {
	case lower.empty():
		return c.boxSplit(upper, axis, at[m+1:], order, lay, left)
	case upper.empty():
		return c.boxSplit(lower, axis, at[:m], order, lay, left)
	}
	below, ok := c.boxSplit(lower, axis, at[:m], order, lay, left)
	if !ok {
		return nil, false
	}
	above, ok := c.boxSplit(upper, axis, at[m+1:], order, lay, left)
	if !ok {
		return nil, false
	}
	return &node{cell: x, plane: pl, below: below, above: above}, true
}
