package unfold

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// tree finds triangles by point: a binary tree of bounding boxes.
type tree struct {
	corners [][3]geom.Vec3
	items   []int32
	nodes   []node
}

type node struct {
	box         geom.Box3
	first, last int32 // of items, in a leaf
	right       int32 // the left child is the next node; 0 in a leaf
}

func newTree(n int, corners func(t int) (a, b, c geom.Vec3)) *tree {
	tr := &tree{corners: make([][3]geom.Vec3, n), items: make([]int32, n)}
	mid := make([]geom.Vec3, n)
	for t := range n {
		a, b, c := corners(t)
		tr.corners[t] = [3]geom.Vec3{a, b, c}
		mid[t] = a.Add(b).Add(c)
		tr.items[t] = int32(t)
	}
	tr.build(mid, 0, int32(n))
	return tr
}

func (tr *tree) build(mid []geom.Vec3, first, last int32) {
	at := len(tr.nodes)
	box, mids := geom.EmptyBox3(), geom.EmptyBox3()
	for _, t := range tr.items[first:last] {
		for _, c := range tr.corners[t] {
			box = box.Add(c)
		}
		mids = mids.Add(mid[t])
	}
	tr.nodes = append(tr.nodes, node{box: box, first: first, last: last})
	const leaf = 4
	if last-first <= leaf {
		return
	}
	key := longest(mids)
	slices.SortFunc(tr.items[first:last], func(a, b int32) int {
		return cmp.Or(cmp.Compare(key(mid[a]), key(mid[b])), cmp.Compare(a, b))
	})
	half := (first + last) / 2
	tr.build(mid, first, half)
	tr.nodes[at].right = int32(len(tr.nodes))
	tr.build(mid, half, last)
}

// away is the square of the distance of q from a box.
func away(b geom.Box3, q geom.Vec3) float64 {
	x := max(b.Min.X-q.X, 0, q.X-b.Max.X)
	y := max(b.Min.Y-q.Y, 0, q.Y-b.Max.Y)
	z := max(b.Min.Z-q.Z, 0, q.Z-b.Max.Z)
	return x*x + y*y + z*z
}

// nearest is the triangle nearest to q, the lowest of several at the same
// distance, the distance, and the coordinates of the nearest point on it.
func (tr *tree) nearest(q geom.Vec3) (t int32, d float64, w [3]float64) {
	best := math.Inf(1)
	t = -1
	var stack [64]int32
	top := 1
	for top > 0 {
		top--
		at := stack[top]
		n := &tr.nodes[at]
		if away(n.box, q) > best {
			continue
		}
		if n.right == 0 {
			for _, i := range tr.items[n.first:n.last] {
				e, x := tr.closest(i, q)
				if e < best || e == best && i < t {
					best, t, w = e, i, x
				}
			}
			continue
		}
		l, r := at+1, n.right
		if away(tr.nodes[l].box, q) < away(tr.nodes[r].box, q) {
			l, r = r, l
		}
		stack[top], stack[top+1] = l, r
		top += 2
	}
	return t, math.Sqrt(best), w
}

// within lists the triangles no farther than d from q, rising.
func (tr *tree) within(q geom.Vec3, d float64) (found []int32) {
	var stack [64]int32
	top := 1
	for top > 0 {
		top--
		at := stack[top]
		n := &tr.nodes[at]
		if away(n.box, q) > d*d {
			continue
		}
		if n.right == 0 {
			for _, i := range tr.items[n.first:n.last] {
				if e, _ := tr.closest(i, q); e <= d*d {
					found = append(found, i)
				}
			}
			continue
		}
		stack[top], stack[top+1] = at+1, n.right
		top += 2
	}
	slices.Sort(found)
	return found
}

// closest is the square of q's distance from a triangle and the coordinates,
// among its corners, of the point on it that is nearest to q.
//
// Reference: C. Ericson, Real-Time Collision Detection, 2005, section 5.1.5.
func (tr *tree) closest(t int32, q geom.Vec3) (d2 float64, w [3]float64) {
	a, b, c := tr.corners[t][0], tr.corners[t][1], tr.corners[t][2]
	ab, ac, ap := b.Sub(a), c.Sub(a), q.Sub(a)
	done := func(y, z float64) (float64, [3]float64) {
		r := ap.Sub(ab.Scale(y)).Sub(ac.Scale(z))
		return r.Dot(r), [3]float64{1 - y - z, y, z}
	}
	d1, e1 := ab.Dot(ap), ac.Dot(ap)
	if d1 <= 0 && e1 <= 0 {
		return done(0, 0)
	}
	bp := q.Sub(b)
	d3, e3 := ab.Dot(bp), ac.Dot(bp)
	if d3 >= 0 && e3 <= d3 {
		return done(1, 0)
	}
	if vc := d1*e3 - d3*e1; vc <= 0 && d1 >= 0 && d3 <= 0 && d1 > d3 {
		return done(d1/(d1-d3), 0)
	}
	cp := q.Sub(c)
	d5, e5 := ab.Dot(cp), ac.Dot(cp)
	if e5 >= 0 && d5 <= e5 {
		return done(0, 1)
	}
	if vb := d5*e1 - d1*e5; vb <= 0 && e1 >= 0 && e5 <= 0 && e1 > e5 {
		return done(0, e1/(e1-e5))
	}
	if va := d3*e5 - d5*e3; va <= 0 && e3 >= d3 && d5 >= e5 && e3-d3+d5-e5 > 0 {
		s := (e3 - d3) / (e3 - d3 + d5 - e5)
		return done(1-s, s)
	}
	vb, vc := d5*e1-d1*e5, d1*e3-d3*e1
	va := d3*e5 - d5*e3
	s := va + vb + vc
	if s == 0 {
		return done(0, 0)
	}
	return done(vb/s, vc/s)
}

// longest picks the coordinate in which the box is longest.
func longest(b geom.Box3) func(geom.Vec3) float64 {
	switch s := b.Size(); {
	case s.Z > s.X && s.Z > s.Y:
		return func(v geom.Vec3) float64 { return v.Z }
	case s.Y > s.X:
		return func(v geom.Vec3) float64 { return v.Y }
	}
	return func(v geom.Vec3) float64 { return v.X }
}
