package mend

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// tree is a binary tree of boxes over things that are numbered from 0. The
// things are put in the order of a space-filling curve (Morton's) and every
// node holds a run of that order, halved between its two children: n log n to
// build, whatever the shape, and the same for the same input.
type tree struct {
	order []int32     // things, along the curve
	boxes []geom.Box3 // of the things, in that order
	nodes []geom.Box3 // node 1 is the root, node k has the children 2k and 2k+1
	depth int
}

// leafSize is how many things a leaf holds at most.
const leafSize = 4

func newTree(boxes []geom.Box3) *tree {
	t := &tree{order: make([]int32, len(boxes)), boxes: make([]geom.Box3, len(boxes))}
	all := geom.EmptyBox3()
	for _, b := range boxes {
		all = all.Union(b)
	}
	type place struct {
		code uint64
		i    int32
	}
	places := make([]place, len(boxes))
	size := all.Size()
	scale := func(x, least, extent float64) uint64 {
		if extent <= 0 {
			return 0
		}
		return uint64(max(0, min(1<<21-1, (x-least)/extent*(1<<21))))
	}
	for i, b := range boxes {
		c := b.Center()
		places[i] = place{spread(scale(c.X, all.Min.X, size.X)) | spread(scale(c.Y, all.Min.Y, size.Y))<<1 |
			spread(scale(c.Z, all.Min.Z, size.Z))<<2, int32(i)}
	}
	slices.SortFunc(places, func(a, b place) int { return cmp.Or(cmp.Compare(a.code, b.code), cmp.Compare(a.i, b.i)) })
	for k, p := range places {
		t.order[k], t.boxes[k] = p.i, boxes[p.i]
	}
	for n := len(boxes); n > leafSize; n = (n + 1) / 2 {
		t.depth++
	}
	t.nodes = make([]geom.Box3, 2<<t.depth)
	t.fill(1, 0, len(boxes), t.depth)
	return t
}

// spread puts two zero bits after each of the lowest 21 bits of x.
func spread(x uint64) uint64 {
	x &= 0x1fffff
	x = (x | x<<32) & 0x1f00000000ffff
	x = (x | x<<16) & 0x1f0000ff0000ff
	x = (x | x<<8) & 0x100f00f00f00f00f
	x = (x | x<<4) & 0x10c30c30c30c30c3
	x = (x | x<<2) & 0x1249249249249249
	return x
}

func (t *tree) fill(node, from, to, depth int) geom.Box3 {
	b := geom.EmptyBox3()
	if depth == 0 {
		for _, c := range t.boxes[from:to] {
			b = b.Union(c)
		}
	} else {
		mid := (from + to) / 2
		b = t.fill(2*node, from, mid, depth-1).Union(t.fill(2*node+1, mid, to, depth-1))
	}
	t.nodes[node] = b
	return b
}

// touching calls f for everything whose box meets box, until f says false.
func (t *tree) touching(box geom.Box3, f func(i int32) bool) {
	var down func(node, from, to, depth int) bool
	down = func(node, from, to, depth int) bool {
		if from == to || !t.nodes[node].Overlaps(box) {
			return true
		}
		if depth == 0 {
			for k := from; k < to; k++ {
				if t.boxes[k].Overlaps(box) && !f(t.order[k]) {
					return false
				}
			}
			return true
		}
		mid := (from + to) / 2
		return down(2*node, from, mid, depth-1) && down(2*node+1, mid, to, depth-1)
	}
	down(1, 0, len(t.order), t.depth)
}

// pairs calls f once for every two things whose boxes meet.
func (t *tree) pairs(f func(i, j int32)) {
	var cross func(n, a, b, m, c, d, depth int)
	cross = func(n, a, b, m, c, d, depth int) { // all of one node with all of another at the same depth
		if a == b || c == d || !t.nodes[n].Overlaps(t.nodes[m]) {
			return
		}
		if depth == 0 {
			for k := a; k < b; k++ {
				for l := c; l < d; l++ {
					if t.boxes[k].Overlaps(t.boxes[l]) {
						f(t.order[k], t.order[l])
					}
				}
			}
			return
		}
		p, q := (a+b)/2, (c+d)/2
		cross(2*n, a, p, 2*m, c, q, depth-1)
		cross(2*n, a, p, 2*m+1, q, d, depth-1)
		cross(2*n+1, p, b, 2*m, c, q, depth-1)
		cross(2*n+1, p, b, 2*m+1, q, d, depth-1)
	}
	var within func(n, a, b, depth int)
	within = func(n, a, b, depth int) {
		if depth == 0 {
			for k := a; k < b; k++ {
				for l := k + 1; l < b; l++ {
					if t.boxes[k].Overlaps(t.boxes[l]) {
						f(t.order[k], t.order[l])
					}
				}
			}
			return
		}
		p := (a + b) / 2
		within(2*n, a, p, depth-1)
		within(2*n+1, p, b, depth-1)
		cross(2*n, a, p, 2*n+1, p, b, depth-1)
	}
	within(1, 0, len(t.order), t.depth)
}

// along calls f for everything whose box the ray from p along d may meet.
func (t *tree) along(p, d geom.Vec3, f func(i int32)) {
	inv := geom.V3(1/d.X, 1/d.Y, 1/d.Z) // no component of d is 0
	hit := func(b geom.Box3) bool {
		x0, x1 := (b.Min.X-p.X)*inv.X, (b.Max.X-p.X)*inv.X
		y0, y1 := (b.Min.Y-p.Y)*inv.Y, (b.Max.Y-p.Y)*inv.Y
		z0, z1 := (b.Min.Z-p.Z)*inv.Z, (b.Max.Z-p.Z)*inv.Z
		near := max(min(x0, x1), min(y0, y1), min(z0, z1), 0)
		far := min(max(x0, x1), max(y0, y1), max(z0, z1))
		return near <= far+1e-9*math.Abs(far) // grazing boxes are looked into
	}
	var down func(node, from, to, depth int)
	down = func(node, from, to, depth int) {
		if from == to || !hit(t.nodes[node]) {
			return
		}
		if depth == 0 {
			for k := from; k < to; k++ {
				f(t.order[k])
			}
			return
		}
		mid := (from + to) / 2
		down(2*node, from, mid, depth-1)
		down(2*node+1, mid, to, depth-1)
	}
	down(1, 0, len(t.order), t.depth)
}
