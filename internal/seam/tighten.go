package seam

import (
	"cmp"
	"context"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// tighten slides the planes of a finished plan to cheaper places, one after
// another, until none moves or the budget is spent; and where the body is its
// own mirror image, brings them into pairs where that is cheaper. No plan with
// more segments comes of it.
func (c *cutter) tighten(ctx context.Context, root *node, budget int) *node {
	best, cost, parts := root, c.cost(root), root.count()
	limit := c.judged + budget
	accept := func(t *node, ok bool) bool {
		if !ok || t.count() > parts || !c.staggered(t) {
			return false
		}
		if v := c.cost(t); v < cost-1e-9 || t.count() < parts {
			best, cost, parts = t, v, t.count()
			return true
		}
		return false
	}
	for _, m := range c.mirrors {
		if len(c.asked.pins) > 0 {
			break // pairs would move what the maker has pinned
		}
		if t, ok := paired(best, m); ok {
			accept(c.grow(t, c.whole))
		}
	}
	for _, step := range []float64{16, 4, 1} { // mm
		moved := true
		for moved && ctx.Err() == nil && c.judged < limit {
			moved = false
			var cuts []*node
			best.cuts(&cuts)
			for i := range cuts {
				// best may be another tree by now; the cut is the i-th of it.
				var now []*node
				best.cuts(&now)
				if i >= len(now) || c.pinned(now[i].plane) || c.judged > limit {
					continue
				}
				for _, pl := range c.beside(now, now[i].plane, step) {
					n := *now[i]
					n.plane = pl
					t, ok := c.grow(&n, now[i].cell)
					if ok && accept(best.with(now[i], t), true) {
						moved = true
						break
					}
				}
			}
		}
	}
	return best
}

// beside are the planes that one may slide to: by a step either way, and into
// line with another cut or its mirror image.
func (c *cutter) beside(cuts []*node, pl geom.Plane, step float64) []geom.Plane {
	at := func(d float64) geom.Plane { return geom.Plane{Normal: pl.Normal, D: d} }
	out := []geom.Plane{at(pl.D - step), at(pl.D + step)}
	if step < 16 { // lines are looked for once, by the longest steps
		return out
	}
	for _, o := range cuts {
		images := []geom.Plane{o.plane}
		for _, m := range c.mirrors {
			images = append(images, mirror(o.plane, m))
		}
		for _, q := range images {
			along := q.Normal.Dot(pl.Normal)
			if math.Abs(along) < 1-1e-9 {
				continue
			}
			d := q.D
			if along < 0 {
				d = -d
			}
			if d != pl.D && math.Abs(d-pl.D) < 2*c.o.Stagger {
				out = append(out, at(d))
			}
		}
	}
	return out
}

// paired is a tree whose planes across a mirror's normal are mirror images of
// one another: the first with the last, and so on.
func paired(root *node, m geom.Plane) (*node, bool) {
	var cuts []*node
	root.cuts(&cuts)
	var d []float64 // distances from the mirror
	for _, n := range cuts {
		if along := n.plane.Normal.Dot(m.Normal); math.Abs(along) > 1-1e-9 {
			at := along*n.plane.D - m.D
			if !slices.ContainsFunc(d, func(o float64) bool { return math.Abs(o-at) < 1e-9 }) {
				d = append(d, at)
			}
		}
	}
	if len(d) == 0 {
		return nil, false
	}
	slices.SortFunc(d, func(a, b float64) int { return cmp.Compare(a, b) })
	var slide func(n *node) *node
	slide = func(n *node) *node {
		if n.leaf() {
			return n
		}
		out := *n
		out.below, out.above = slide(n.below), slide(n.above)
		if along := n.plane.Normal.Dot(m.Normal); math.Abs(along) > 1-1e-9 {
			at := along*n.plane.D - m.D
			i := slices.IndexFunc(d, func(o float64) bool { return math.Abs(o-at) < 1e-9 })
			out.plane.D = along * ((d[i]-d[len(d)-1-i])/2 + m.D)
		}
		return &out
	}
	return slide(root), true
}
