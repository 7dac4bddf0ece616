package seam

import (
	"math"

	"groundwork/internal/geom"
)

// node is a cell that is kept whole (a leaf) or cut in two. Nodes do not change
// once they are made, so that trees share what they have in common.
type node struct {
	cell         *cell
	plane        geom.Plane // valid when cut
	below, above *node
	terms        []Term // what speaks against the cut
	cost         float64
}

func (n *node) leaf() bool { return n.below == nil }

func (n *node) leaves(out *[]*node) {
	if n.leaf() {
		*out = append(*out, n)
		return
	}
	n.below.leaves(out)
	n.above.leaves(out)
}

// cuts lists the nodes that are cut, those above before those under them.
func (n *node) cuts(out *[]*node) {
	if n.leaf() {
		return
	}
	*out = append(*out, n)
	n.below.cuts(out)
	n.above.cuts(out)
}

func (n *node) count() int {
	if n.leaf() {
		return 1
	}
	return n.below.count() + n.above.count()
}

// with is the tree with one of its nodes replaced.
func (n *node) with(old, fresh *node) *node {
	switch {
	case n == old:
		return fresh
	case n.leaf():
		return n
	}
	below := n.below.with(old, fresh)
	above := n.above
	if below == n.below {
		if above = n.above.with(old, fresh); above == n.above {
			return n
		}
	}
	copied := *n
	copied.below, copied.above = below, above
	return &copied
}

// grow cuts a cell by the planes of a tree made for a cell like it, and prices
// the cuts. It fails if a plane is refused or a part does not fit. A plane that
// has nothing on one side is left out.
func (c *cutter) grow(n *node, x *cell) (*node, bool) {
	if n.leaf() {
		return &node{cell: x}, c.fit(x)
	}
	bore, lap, ok := c.allowed(x, n.plane)
	lower, upper := c.split(x, n.plane)
	switch {
	case lower.empty():
		return c.grow(n.above, upper)
	case upper.empty():
		return c.grow(n.below, lower)
	case !ok:
		return nil, false
	}
	c.judged++
	s := c.look(x, n.plane)
	if -s.min < c.o.Sliver-1e-6 || s.max < c.o.Sliver-1e-6 {
		return nil, false
	}
	below, ok := c.grow(n.below, lower)
	if !ok {
		return nil, false
	}
	above, ok := c.grow(n.above, upper)
	if !ok {
		return nil, false
	}
	terms := c.price(x, n.plane, &s, bore, lap)
	b, a := below.count(), above.count()
	if u := uneven(s.below, x.vol, b, b+a); u.Value > 1e-9 {
		terms = append(terms, u)
	}
	return &node{cell: x, plane: n.plane, below: below, above: above, terms: terms, cost: sum(terms)}, true
}

// cost is what speaks against a whole plan: against its cuts, and what is only
// seen of all of them together.
func (c *cutter) cost(root *node) float64 {
	var cuts []*node
	root.cuts(&cuts)
	var v float64
	for _, n := range cuts {
		v += n.cost
		if t, ok := c.mirrored(n.plane, cuts); ok {
			v += t.Value
		}
	}
	if !c.staggered(root) { // some seam is likely to lack room for dowels
		v += costDowel
	}
	return v + sum(c.printTerms(root))
}

// mirrored is how far the mirror image of a plane in a symmetric body lies from
// the nearest cut of the plan.
func (c *cutter) mirrored(pl geom.Plane, cuts []*node) (Term, bool) {
	if len(c.mirrors) == 0 {
		return Term{}, false
	}
	far := 0.0
	for _, m := range c.mirrors {
		image := mirror(pl, m)
		near := c.o.Stagger
		for _, o := range cuts {
			switch along := o.plane.Normal.Dot(image.Normal); {
			case along > 1-1e-9:
				near = min(near, math.Abs(o.plane.D-image.D))
			case along < -1+1e-9:
				near = min(near, math.Abs(o.plane.D+image.D))
			}
		}
		far = max(far, near)
	}
	t := Term{Name: "asymmetry", Value: costMirror * far / c.o.Stagger, Measured: far, Unit: "mm"}
	return t, t.Value > 1e-9
}

// mirror is the image of one plane in another.
func mirror(pl, in geom.Plane) geom.Plane {
	along := pl.Normal.Dot(in.Normal)
	return geom.Plane{Normal: pl.Normal.Sub(in.Normal.Scale(2 * along)), D: pl.D - 2*along*in.D}
}

// printTerms are what printing the segments takes beyond their volume, which is
// always the same: room on beds, and height in which layers begin.
func (c *cutter) printTerms(root *node) []Term {
	var all []*node
	root.leaves(&all)
	var beds, height float64
	for _, l := range all {
		if c.bed > 0 {
			beds += l.cell.est.size.X * l.cell.est.size.Y / c.bed
		}
		height += l.cell.est.size.Z
	}
	return []Term{
		{Name: "room on beds", Value: costBeds * beds, Measured: beds, Unit: "beds"},
		{Name: "height printed", Value: costHeight * height / 100, Measured: height, Unit: "mm"},
	}
}

// staggered reports whether cuts of neighbouring parts that run the same way
// line up or lie far enough apart: between two that do neither, a third seam
// would have a strip too narrow for dowels.
func (c *cutter) staggered(root *node) bool {
	var cuts []*node
	root.cuts(&cuts)
	for i, n := range cuts {
		for _, o := range cuts[:i] {
			if c.clash(n.cell, n.plane, o) {
				return false
			}
		}
	}
	return true
}

// clash reports whether a plane across x lies too near a cut of a neighbour.
func (c *cutter) clash(x *cell, pl geom.Plane, o *node) bool {
	along := pl.Normal.Dot(o.plane.Normal)
	if math.Abs(along) < 1-1e-6 {
		return false
	}
	d := o.plane.D
	if along < 0 {
		d = -d
	}
	if gap := math.Abs(pl.D - d); gap < 1e-6 || gap >= c.o.Stagger {
		return false
	}
	for _, q := range x.planes { // slabs of one stack have no corner in common
		if q == o.plane || q == o.plane.Flip() {
			return false
		}
	}
	const touch = 1.0 // mm
	for _, a := range c.axes {
		r, s := span(x.pts, a), span(o.cell.pts, a)
		if r.lo > s.hi+touch || s.lo > r.hi+touch {
			return false
		}
	}
	return true
}
