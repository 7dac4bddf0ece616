package scene

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// thinned leaves out points of a region's loops that lie within eps mm of the
// line between those kept (Ramer, 1972; Douglas and Peucker, 1973). Loops that
// would be left without area go.
func thinned(region geom.Polygons, eps float64) geom.Polygons {
	var out geom.Polygons
	for _, loop := range region {
		if len(loop) < 3 {
			continue
		}
		// Kept in any case: the first point and the one farthest from it.
		far := 0
		for i, p := range loop {
			if p.Dist(loop[0]) > loop[far].Dist(loop[0]) {
				far = i
			}
		}
		keep := make([]bool, len(loop)+1)
		keep[0], keep[far] = true, true
		at := func(i int) geom.Vec2 { return loop[i%len(loop)] }
		var halve func(a, b int)
		halve = func(a, b int) {
			worst, most := -1, eps
			for i := a + 1; i < b; i++ {
				if d := geom.SegmentDistance(at(i), at(a), at(b)); d > most {
					worst, most = i, d
				}
			}
			if worst >= 0 {
				keep[worst] = true
				halve(a, worst)
				halve(worst, b)
			}
		}
		halve(0, far)
		halve(far, len(loop))
		var thin geom.Polygon
		for i, p := range loop {
			if keep[i] {
				thin = append(thin, p)
			}
		}
		if len(thin) >= 3 && math.Abs(thin.Area()) > eps*eps {
			out = append(out, thin)
		}
	}
	return out
}

// fill divides a region into triangles, counter-clockwise, by cutting off ears
// (Meisters, 1975); holes are first joined to the loop round them by a bridge
// (Eberly, Triangulation by Ear Clipping). It returns the corners and the
// triangles between them.
func fill(region geom.Polygons) (points []geom.Vec2, tris [][3]uint32) {
	var outer, holes []geom.Polygon
	for _, l := range region {
		switch a := l.Area(); {
		case len(l) < 3 || a == 0:
		case a > 0:
			outer = append(outer, l)
		default:
			holes = append(holes, l)
		}
	}
	of := make([][]geom.Polygon, len(outer))
	for _, h := range holes {
		best := -1
		for i, o := range outer {
			if (len(outer) == 1 || o.Contains(h[0])) && (best < 0 || o.Area() < outer[best].Area()) {
				best = i
			}
		}
		if best >= 0 {
			of[best] = append(of[best], h)
		}
	}
	for i, o := range outer {
		var ring []int // indices into points
		for _, p := range o {
			ring = append(ring, len(points))
			points = append(points, p)
		}
		// From the right, so that a bridge only crosses what is joined already.
		slices.SortStableFunc(of[i], func(a, b geom.Polygon) int { return cmp.Compare(b.Bounds().Max.X, a.Bounds().Max.X) })
		for _, h := range of[i] {
			ring = bridge(&points, ring, h)
		}
		tris = append(tris, ears(points, ring)...)
	}
	return points, tris
}

// bridge joins a hole to a ring by a pair of sides run both ways.
func bridge(points *[]geom.Vec2, ring []int, hole geom.Polygon) []int {
	first := 0
	for i, p := range hole {
		if p.X > hole[first].X {
			first = i
		}
	}
	m := hole[first]
	// The side of the ring that a ray to the right meets first.
	best, at := math.Inf(1), -1
	for i, a := range ring {
		p, q := (*points)[a], (*points)[ring[(i+1)%len(ring)]]
		if p.Y == q.Y || (p.Y > m.Y) == (q.Y > m.Y) && p.Y != m.Y && q.Y != m.Y {
			continue
		}
		if x := p.X + (m.Y-p.Y)/(q.Y-p.Y)*(q.X-p.X); x >= m.X && x < best && p.Y <= q.Y {
			best, at = x, i
		}
	}
	if at < 0 { // not inside the ring
		return ring
	}
	// Its end farther to the right is seen from m, unless a hollow corner lies
	// in the triangle between; then the one at the least angle is.
	end := at
	if (*points)[ring[(at+1)%len(ring)]].X > (*points)[ring[at]].X {
		end = (at + 1) % len(ring)
	}
	see := end
	p, hit := (*points)[ring[end]], geom.V2(best, m.Y)
	slope, near := math.Inf(1), math.Inf(1)
	if p != hit {
		for i, a := range ring {
			q := (*points)[a]
			if q == p || q.X < m.X || !inside(m, hit, p, q) || convex(*points, ring, i) {
				continue
			}
			s := math.Abs(q.Y-m.Y) / max(q.X-m.X, 1e-300)
			if s < slope || s == slope && q.Dist(m) < near {
				slope, near, see = s, q.Dist(m), i
			}
		}
	}
	base := len(*points)
	*points = append(*points, hole...)
	out := slices.Clone(ring[:see+1])
	for k := range len(hole) + 1 {
		out = append(out, base+(first+k)%len(hole))
	}
	return append(out, ring[see:]...)
}

// inside reports whether q lies in the triangle a, b, c, however it runs, or on
// its border.
func inside(a, b, c, q geom.Vec2) bool {
	x, y, z := geom.Orient(a, b, q), geom.Orient(b, c, q), geom.Orient(c, a, q)
	return x >= 0 && y >= 0 && z >= 0 || x <= 0 && y <= 0 && z <= 0
}

func convex(points []geom.Vec2, ring []int, i int) bool {
	n := len(ring)
	return geom.Orient(points[ring[(i+n-1)%n]], points[ring[i]], points[ring[(i+1)%n]]) > 0
}

// ears cuts off the ears of a ring, of those near by the one with the shortest
// new side, so that triangles do not become needlessly long.
func ears(points []geom.Vec2, ring []int) [][3]uint32 {
	var out [][3]uint32
	ring = slices.Clone(ring)
	ear := func(i int) bool {
		n := len(ring)
		ia, ib, ic := ring[(i+n-1)%n], ring[i], ring[(i+1)%n]
		a, b, c := points[ia], points[ib], points[ic]
		if geom.Orient(a, b, c) <= 0 {
			return false
		}
		lo, hi := geom.V2(min(a.X, b.X, c.X), min(a.Y, b.Y, c.Y)), geom.V2(max(a.X, b.X, c.X), max(a.Y, b.Y, c.Y))
		for _, k := range ring {
			q := points[k]
			if q.X < lo.X || q.X > hi.X || q.Y < lo.Y || q.Y > hi.Y || q == a || q == b || q == c {
				continue
			}
			if inside(a, b, c, q) {
				return false
			}
		}
		return true
	}
	for from := 0; len(ring) > 2; {
		n := len(ring)
		best, length := -1, math.Inf(1)
		seen := 0
		for k := 0; k < n && seen < 8; k++ {
			i := (from + k) % n
			d := points[ring[(i+n-1)%n]].Dist(points[ring[(i+1)%n]])
			if d < length && ear(i) {
				best, length = i, d
				seen++
			} else if best >= 0 {
				seen++
			}
		}
		if best < 0 { // no area left at some corner: it goes without a triangle
			least := math.Inf(1)
			for i := range ring {
				a, b, c := points[ring[(i+n-1)%n]], points[ring[i]], points[ring[(i+1)%n]]
				if area := math.Abs(b.Sub(a).Cross(c.Sub(a))); area < least {
					best, least = i, area
				}
			}
			ring = slices.Delete(ring, best, best+1)
			continue
		}
		out = append(out, [3]uint32{uint32(ring[(best+n-1)%n]), uint32(ring[best]), uint32(ring[(best+1)%n])})
		ring = slices.Delete(ring, best, best+1)
		from = best + 1
		if len(ring) > 0 {
			from %= len(ring)
		}
	}
	return out
}
