package geom

import (
	"cmp"
	"math"
	"slices"
)

// Polygon is a closed loop of points; the last is joined to the first.
type Polygon []Vec2

// Polygons is a region: outer loops counter-clockwise, holes clockwise.
type Polygons []Polygon

// Area is the signed area in mm², positive for a counter-clockwise loop.
func (p Polygon) Area() float64 {
	if len(p) == 0 {
		return 0
	}
	// Summed about the first vertex: a small loop far from the origin keeps its digits.
	var sum float64
	o := p[0]
	for i := 1; i+1 < len(p); i++ {
		sum += p[i].Sub(o).Cross(p[i+1].Sub(o))
	}
	return sum / 2
}

// Perimeter is the length of the loop in mm.
func (p Polygon) Perimeter() float64 {
	var sum float64
	for i := range p {
		sum += p[i].Dist(p[(i+1)%len(p)])
	}
	return sum
}

// Bounds is the smallest box that holds the loop.
func (p Polygon) Bounds() Box2 {
	b := EmptyBox2()
	for _, q := range p {
		b = b.Add(q)
	}
	return b
}

// Reversed is the loop run the other way.
func (p Polygon) Reversed() Polygon {
	q := slices.Clone(p)
	slices.Reverse(q)
	return q
}

// Map is the loop with f applied to every point.
func (p Polygon) Map(f func(Vec2) Vec2) Polygon {
	q := make(Polygon, len(p))
	for i, v := range p {
		q[i] = f(v)
	}
	return q
}

// Contains reports whether q lies inside the loop by the even-odd rule.
// Points on the boundary may go either way.
func (p Polygon) Contains(q Vec2) bool {
	in := false
	for i, j := 0, len(p)-1; i < len(p); j, i = i, i+1 {
		a, b := p[i], p[j]
		if (a.Y > q.Y) != (b.Y > q.Y) && q.X < a.X+(b.X-a.X)*(q.Y-a.Y)/(b.Y-a.Y) {
			in = !in
		}
	}
	return in
}

// Distance is the distance from q to the loop's boundary.
func (p Polygon) Distance(q Vec2) float64 {
	d := math.Inf(1)
	for i := range p {
		d = min(d, SegmentDistance(q, p[i], p[(i+1)%len(p)]))
	}
	return d
}

// SegmentDistance is the distance from q to the straight segment from a to b.
func SegmentDistance(q, a, b Vec2) float64 {
	ab := b.Sub(a)
	l2 := ab.Dot(ab)
	if l2 == 0 {
		return q.Dist(a)
	}
	t := max(0, min(1, q.Sub(a).Dot(ab)/l2))
	return q.Dist(a.Add(ab.Scale(t)))
}

// Area is the area of the region in mm²: outer loops less holes.
func (ps Polygons) Area() float64 {
	var sum float64
	for _, p := range ps {
		sum += p.Area()
	}
	return sum
}

// Bounds is the smallest box that holds the region.
func (ps Polygons) Bounds() Box2 {
	b := EmptyBox2()
	for _, p := range ps {
		for _, q := range p {
			b = b.Add(q)
		}
	}
	return b
}

// Contains reports whether q lies inside the region by the even-odd rule.
func (ps Polygons) Contains(q Vec2) bool {
	in := false
	for _, p := range ps {
		if p.Contains(q) {
			in = !in
		}
	}
	return in
}

// Distance is the distance from q to the nearest boundary of the region,
// whether q lies inside or outside.
func (ps Polygons) Distance(q Vec2) float64 {
	d := math.Inf(1)
	for _, p := range ps {
		d = min(d, p.Distance(q))
	}
	return d
}

// Map is the region with f applied to every point. An f that mirrors turns
// the loops over; follow it with Reversed.
func (ps Polygons) Map(f func(Vec2) Vec2) Polygons {
	out := make(Polygons, len(ps))
	for i, p := range ps {
		out[i] = p.Map(f)
	}
	return out
}

// Reversed is the region with every loop run the other way.
func (ps Polygons) Reversed() Polygons {
	out := make(Polygons, len(ps))
	for i, p := range ps {
		out[i] = p.Reversed()
	}
	return out
}

// ClipHalfPlane is the part of the region where n·p <= d. Loops must not
// cross themselves or one another. Boundaries along the line itself are kept
// on the inner side only.
func (ps Polygons) ClipHalfPlane(n Vec2, d float64) Polygons {
	along := n.Left()
	type chain struct {
		pts        Polygon
		start, end float64 // position of its ends along the line
	}
	var out Polygons
	var chains []chain
	for _, p := range ps {
		if len(p) < 3 {
			continue
		}
		side := make([]bool, len(p)) // true: inside; on the line counts as outside
		anyIn, anyOut := false, false
		for i, q := range p {
			side[i] = n.Dot(q) < d
			anyIn = anyIn || side[i]
			anyOut = anyOut || !side[i]
		}
		if !anyIn {
			continue
		}
		if !anyOut {
			out = append(out, slices.Clone(p))
			continue
		}
		cross := func(i int) Vec2 {
			a, b := p[i], p[(i+1)%len(p)]
			fa, fb := n.Dot(a)-d, n.Dot(b)-d
			return a.Lerp(b, fa/(fa-fb))
		}
		// Start each chain where the loop comes in.
		for i := range p {
			if side[i] || !side[(i+1)%len(p)] {
				continue
			}
			c := chain{pts: Polygon{cross(i)}}
			j := (i + 1) % len(p)
			for side[j] {
				c.pts = append(c.pts, p[j])
				j = (j + 1) % len(p)
			}
			c.pts = append(c.pts, cross((j+len(p)-1)%len(p)))
			c.start, c.end = along.Dot(c.pts[0]), along.Dot(c.pts[len(c.pts)-1])
			chains = append(chains, c)
		}
	}
	if len(chains) == 0 {
		return out
	}
	// The inside lies to the right of `along` when looking down n, so a chain's
	// end is joined to the nearest start on its left (larger along).
	type event struct {
		at    float64
		chain int
		start bool
	}
	var ev []event
	for i, c := range chains {
		ev = append(ev, event{c.start, i, true}, event{c.end, i, false})
	}
	slices.SortStableFunc(ev, func(a, b event) int { return cmp.Compare(a.at, b.at) })
	next := make([]int, len(chains))
	for i := 0; i+1 < len(ev); i += 2 {
		a, b := ev[i], ev[i+1]
		if a.start == b.start { // touching the line: pair the two as they stand
			return ps.clipByTriangles(n, d)
		}
		if a.start {
			next[b.chain] = a.chain
		} else {
			next[a.chain] = b.chain
		}
	}
	done := make([]bool, len(chains))
	for i := range chains {
		if done[i] {
			continue
		}
		var loop Polygon
		for j := i; !done[j]; j = next[j] {
			done[j] = true
			loop = append(loop, chains[j].pts...)
		}
		out = append(out, loop.dedup())
	}
	return out
}

// clipByTriangles is the fallback for loops that touch the cutting line
// without crossing it: nudge the line by a few ulps of the region's size.
func (ps Polygons) clipByTriangles(n Vec2, d float64) Polygons {
	b := ps.Bounds()
	scale := max(math.Abs(b.Min.X), math.Abs(b.Min.Y), math.Abs(b.Max.X), math.Abs(b.Max.Y), 1)
	return ps.ClipHalfPlane(n, d-scale*1e-12)
}

// dedup drops points that repeat their predecessor.
func (p Polygon) dedup() Polygon {
	q := p[:0:0]
	for i, v := range p {
		if i > 0 && v == q[len(q)-1] {
			continue
		}
		q = append(q, v)
	}
	if len(q) > 1 && q[0] == q[len(q)-1] {
		q = q[:len(q)-1]
	}
	return q
}
