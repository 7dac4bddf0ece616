package surface

import (
	"cmp"
	"slices"

	"groundwork/internal/geom"
)

// fill is the area within closed loops (outer ones counter-clockwise, holes
// clockwise) in triangles of their vertices, by cutting off ears after joining
// every hole to the loop round it by a bridge (Eberly, Triangulation by ear
// clipping, 2002). Every side of the loops is a side of one triangle. false if
// the loops cross or do not lie within one another as they should.
func fill(loops [][]int32, at func(int32) geom.Vec2) ([][3]int32, bool) {
	type loop struct {
		v    []int32
		p    geom.Polygon
		area float64
	}
	var outer, holes []loop
	for _, l := range loops {
		g := loop{v: l, p: make(geom.Polygon, len(l))}
		for i, v := range l {
			g.p[i] = at(v)
		}
		if g.area = g.p.Area(); g.area > 0 {
			outer = append(outer, g)
		} else {
			holes = append(holes, g)
		}
	}
	var out [][3]int32
	inside := make([][]loop, len(outer))
	for _, h := range holes {
		best := -1
		for i, o := range outer {
			if o.p.Contains(middleOfFirstSide(h.p)) && (best < 0 || o.area < outer[best].area) {
				best = i
			}
		}
		if best < 0 {
			return nil, false
		}
		inside[best] = append(inside[best], h)
	}
	for i, o := range outer {
		// From the right: a hole's bridge then meets only loops joined already.
		right := func(h loop) geom.Vec2 { return h.p[rightmost(h.p)] }
		slices.SortStableFunc(inside[i], func(a, b loop) int {
			return cmp.Or(cmp.Compare(right(b).X, right(a).X), cmp.Compare(right(b).Y, right(a).Y))
		})
		ring := slices.Clone(o.v)
		for _, h := range inside[i] {
			k := rightmost(h.p)
			j := bridge(ring, h.p[k], at)
			if j < 0 {
				return nil, false
			}
			joined := append(slices.Clone(ring[:j+1]), h.v[k:]...)
			joined = append(joined, h.v[:k+1]...)
			ring = append(joined, ring[j:]...)
		}
		made, ok := ears(ring, at)
		if !ok {
			return nil, false
		}
		out = append(out, made...)
	}
	return out, true
}

func middleOfFirstSide(p geom.Polygon) geom.Vec2 { return p[0].Lerp(p[1%len(p)], 0.5) }

func rightmost(p geom.Polygon) int {
	best := 0
	for i, q := range p {
		if q.X > p[best].X || q.X == p[best].X && q.Y > p[best].Y {
			best = i
		}
	}
	return best
}

// bridge is the place in the ring of a vertex that is seen from q, the nearest
// of those to the right; -1 for none.
func bridge(ring []int32, q geom.Vec2, at func(int32) geom.Vec2) int {
	n := len(ring)
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	dist := func(i int) float64 { return at(ring[i]).Dist(q) }
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(dist(a), dist(b)) })
	for _, i := range order {
		p, before, after := at(ring[i]), at(ring[(i+n-1)%n]), at(ring[(i+1)%n])
		if p == q || p.X < q.X {
			continue
		}
		// q must lie within the corner at p.
		in := geom.Orient(before, p, q) > 0 && geom.Orient(p, after, q) > 0
		if geom.Orient(before, p, after) <= 0 {
			in = geom.Orient(before, p, q) > 0 || geom.Orient(p, after, q) > 0
		}
		if !in {
			continue
		}
		clear := true
		for j := range n {
			a, b := at(ring[j]), at(ring[(j+1)%n])
			if a == p || b == p {
				// Only what lies along the bridge can hide p.
				far := b
				if b == p {
					far = a
				}
				if geom.Orient(p, q, far) == 0 && far.Sub(p).Dot(q.Sub(p)) > 0 {
					clear = false
					break
				}
				continue
			}
			if geom.SegmentsMeet(q, p, a, b) {
				clear = false
				break
			}
		}
		if clear {
			return i
		}
	}
	return -1
}

// ears cuts a ring, which may touch itself along bridges, into triangles. Of
// the ears it takes the one with the widest least angle among the next few, to
// avoid slivers.
func ears(ring []int32, at func(int32) geom.Vec2) ([][3]int32, bool) {
	ring = slices.Clone(ring)
	var out [][3]int32
	ear := func(i int) bool {
		n := len(ring)
		va, vb, vc := ring[(i+n-1)%n], ring[i], ring[(i+1)%n]
		a, b, c := at(va), at(vb), at(vc)
		if geom.Orient(a, b, c) <= 0 {
			return false
		}
		for j, v := range ring {
			if v == va || v == vb || v == vc || j == i {
				continue
			}
			p := at(v)
			if p == a || p == b || p == c {
				continue
			}
			if geom.Orient(a, b, p) >= 0 && geom.Orient(b, c, p) >= 0 && geom.Orient(c, a, p) >= 0 {
				return false
			}
		}
		return true
	}
	quality := func(i int) float64 {
		n := len(ring)
		a, b, c := at(ring[(i+n-1)%n]), at(ring[i]), at(ring[(i+1)%n])
		return b.Sub(a).Cross(c.Sub(a)) / max(a.Dist(b), b.Dist(c), c.Dist(a))
	}
	start := 0
	for len(ring) > 3 {
		best, n := -1, len(ring)
		tried := 0
		for k := range n {
			i := (start + k) % n
			if !ear(i) {
				continue
			}
			if best < 0 || quality(i) > quality(best) {
				best = i
			}
			if tried++; tried == 8 {
				break
			}
		}
		if best < 0 {
			return nil, false
		}
		out = append(out, [3]int32{ring[(best+n-1)%n], ring[best], ring[(best+1)%n]})
		ring = slices.Delete(ring, best, best+1)
		start = best % len(ring)
	}
	if len(ring) < 3 || geom.Orient(at(ring[0]), at(ring[1]), at(ring[2])) <= 0 {
		return nil, false
	}
	return append(out, [3]int32{ring[0], ring[1], ring[2]}), true
}
