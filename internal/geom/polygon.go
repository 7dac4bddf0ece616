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
	nearest := math.Inf(1) // squared: one root instead of one a side
	for i, a := range p {
		d := q.Sub(nearestOf(q, a, p[(i+1)%len(p)]))
		nearest = min(nearest, d.Dot(d))
	}
	return math.Sqrt(nearest)
}

// SegmentDistance is the distance from q to the straight segment from a to b.
func SegmentDistance(q, a, b Vec2) float64 { return q.Dist(nearestOf(q, a, b)) }

// nearestOf is the point of the straight segment from a to b that is nearest to q.
func nearestOf(q, a, b Vec2) Vec2 {
	ab := b.Sub(a)
	l2 := ab.Dot(ab)
	if l2 == 0 {
		return a
	}
	return a.Add(ab.Scale(max(0, min(1, q.Sub(a).Dot(ab)/l2))))
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
// cross themselves or one another; they may touch. Boundaries along the line
// are kept where the material lies on the inner side of it, and dropped where
// it lies on the outer side.
//
// A vertex on the line counts as outside, which is the same as moving the line
// inward by an infinitesimal step: every boundary then crosses it cleanly, and
// ties between crossings at one point are broken by the direction in which
// they leave. Whatever the pairing of crossings, the closing edges lie on the
// line, so rounding can never change the area by more than rounding.
func (ps Polygons) ClipHalfPlane(n Vec2, d float64) Polygons {
	along := n.Left()
	type chain struct{ pts Polygon }
	type event struct {
		at, lean float64 // position along the line, and how fast it changes further in
		chain    int
		start    bool
	}
	var out Polygons
	var chains []chain
	var ev []event
	for _, p := range ps {
		if len(p) < 3 {
			continue
		}
		f := make([]float64, len(p)) // negative: inside
		anyIn, anyOut := false, false
		for i, q := range p {
			f[i] = n.Dot(q) - d
			anyIn = anyIn || f[i] < 0
			anyOut = anyOut || f[i] >= 0
		}
		if !anyIn {
			continue
		}
		if !anyOut {
			out = append(out, slices.Clone(p))
			continue
		}
		// cross is where the edge from the outer vertex o to the inner vertex i
		// meets the line, and its lean.
		cross := func(o, i int) (Vec2, float64) {
			e := p[i].Sub(p[o])
			lean := along.Dot(e) / (f[o] - f[i])
			if f[o] == 0 {
				return p[o], lean
			}
			return p[o].Lerp(p[i], f[o]/(f[o]-f[i])), lean
		}
		for i := range p { // start a chain wherever the loop comes in
			j := (i + 1) % len(p)
			if f[i] < 0 || f[j] >= 0 {
				continue
			}
			q, lean := cross(i, j)
			ev = append(ev, event{along.Dot(q), lean, len(chains), true})
			c := chain{pts: Polygon{q}}
			last := j
			for ; f[j] < 0; j = (j + 1) % len(p) {
				c.pts = append(c.pts, p[j])
				last = j
			}
			q, lean = cross(j, last)
			c.pts = append(c.pts, q)
			ev = append(ev, event{along.Dot(q), lean, len(chains), false})
			chains = append(chains, c)
		}
	}
	slices.SortStableFunc(ev, func(a, b event) int {
		if c := cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.lean, b.lean)); c != 0 || a.start == b.start {
			return c
		}
		if a.start { // loops that share an edge: the one stops before the other begins
			return -1
		}
		return 1
	})
	// Walking along the line, material begins where a chain ends and stops
	// where one starts. Crossings out of order by rounding are paired all the
	// same: there are as many starts as ends.
	next := make([]int, len(chains))
	var open []event
	for _, e := range ev {
		if k := len(open) - 1; k >= 0 && open[k].start != e.start {
			o := open[k]
			open = open[:k]
			if o.start {
				o, e = e, o
			}
			next[o.chain] = e.chain
			continue
		}
		open = append(open, e)
	}
	done := make([]bool, len(chains))
	for i := range chains {
		var loop Polygon
		for j := i; !done[j]; j = next[j] {
			done[j] = true
			loop = append(loop, chains[j].pts...)
		}
		if loop = loop.dedup(); len(loop) >= 3 {
			out = append(out, loop)
		}
	}
	return out
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
