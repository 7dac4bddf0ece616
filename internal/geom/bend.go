package geom

import (
	"math"
	"slices"
)

// Cross is the parameters in [0, 1], rising, at which the segment meets the
// line n·p = d. A segment that lies in the line meets it nowhere. Ends that
// lie on the line to within rounding are reported as 0 and 1.
func (s Seg) Cross(n Vec2, d float64) []float64 {
	f := func(t float64) float64 { return n.Dot(s.At(t)) - d }
	scale := n.Len() * (s.From().Len() + s.To().Len() + s.Center.Len() + s.Rx + s.Ry)
	eps := 1e-14 * (scale + math.Abs(d))
	fa, fb := n.Dot(s.From())-d, n.Dot(s.To())-d
	var out []float64
	add := func(t float64) {
		const end = 1e-12
		if t > -end && t < 1+end {
			out = append(out, max(0, min(1, t)))
		}
	}
	switch s.Kind {
	case Line:
		if math.Abs(fa) <= eps && math.Abs(fb) <= eps {
			return nil
		}
		if (fa <= eps && fb >= -eps) || (fa >= -eps && fb <= eps) {
			add(max(0, min(1, fa/(fa-fb))))
		}
		return out
	case Arc:
		// n·p − d = c + A cos a + B sin a = c + m cos(a − φ)
		l := n.Rotate(-s.Rot)
		c, A, B := n.Dot(s.Center)-d, l.X*s.Rx, l.Y*s.Ry
		m := math.Hypot(A, B)
		if m == 0 || math.Abs(c) > m*(1+1e-15) {
			break
		}
		phi, w := math.Atan2(B, A), math.Acos(max(-1, min(1, -c/m)))
		for _, a := range []float64{phi - w, phi + w} {
			k := math.Ceil((min(s.Start, s.Start+s.Sweep)-a)/(2*math.Pi) - 1e-9)
			for a += 2 * math.Pi * k; a <= max(s.Start, s.Start+s.Sweep)+1e-9; a += 2 * math.Pi {
				add((a - s.Start) / s.Sweep)
			}
		}
	case Cubic:
		// In Bernstein form the signs of the control values bound the roots.
		var c [4]float64
		for i, p := range s.P {
			c[i] = n.Dot(p) - d
		}
		var find func(c [4]float64, a, b float64, depth int)
		find = func(c [4]float64, a, b float64, depth int) {
			lo, hi := min(c[0], c[1], c[2], c[3]), max(c[0], c[1], c[2], c[3])
			if lo > 0 || hi < 0 || (lo == 0 && hi == 0) {
				return
			}
			// one sign change of the values and of their slope: one root
			mono := (c[0] <= c[1] && c[1] <= c[2] && c[2] <= c[3]) || (c[0] >= c[1] && c[1] >= c[2] && c[2] >= c[3])
			if mono && c[0] != c[3] {
				add(root(f, a, b))
				return
			}
			if depth == 0 {
				add((a + b) / 2)
				return
			}
			h := func(x, y float64) float64 { return (x + y) / 2 }
			p, q, r := h(c[0], c[1]), h(c[1], c[2]), h(c[2], c[3])
			pq, qr := h(p, q), h(q, r)
			m := h(pq, qr)
			find([4]float64{c[0], p, pq, m}, a, (a+b)/2, depth-1)
			find([4]float64{m, qr, r, c[3]}, (a+b)/2, b, depth-1)
		}
		find(c, 0, 1, 40)
	}
	if math.Abs(fa) <= eps {
		out = append(out, 0)
	}
	if math.Abs(fb) <= eps {
		out = append(out, 1)
	}
	slices.Sort(out)
	return slices.CompactFunc(out, func(a, b float64) bool { return math.Abs(a-b) < 1e-12 })
}

// root is a zero of f between a and b, where f(a) and f(b) differ in sign or
// one of them is zero, by regula falsi with the Illinois correction.
func root(f func(float64) float64, a, b float64) float64 {
	fa, fb := f(a), f(b)
	if fa == 0 || (fa > 0) == (fb > 0) && math.Abs(fa) <= math.Abs(fb) {
		return a
	}
	if fb == 0 || (fa > 0) == (fb > 0) {
		return b
	}
	for range 200 {
		m := (a*fb - b*fa) / (fb - fa)
		if !(m > min(a, b) && m < max(a, b)) {
			m = (a + b) / 2
		}
		fm := f(m)
		if fm == 0 || math.Abs(b-a) < 1e-15 {
			return m
		}
		if (fm > 0) != (fb > 0) {
			a, fa = b, fb
		} else {
			fa /= 2
		}
		b, fb = m, fm
	}
	return b
}

// Split is the path with its segments divided wherever they meet one of the
// lines n·p = d, and for every new segment the old one it is part of.
func (p Path) Split(lines []HalfPlane) (q Path, from []int) {
	q.Closed = p.Closed
	for i, s := range p.Segs {
		ts := []float64{0, 1}
		for _, h := range lines {
			ts = append(ts, s.Cross(h.N, h.D)...)
		}
		slices.Sort(ts)
		ts = slices.CompactFunc(ts, func(a, b float64) bool { return math.Abs(a-b) < 1e-12 })
		if len(ts) == 2 {
			q.Segs, from = append(q.Segs, s), append(from, i)
			continue
		}
		ts[len(ts)-1] = 1
		parts := make([]Seg, 0, len(ts)-1)
		for k := range len(ts) - 1 {
			parts = append(parts, s.Part(ts[k], ts[k+1]))
		}
		parts[0].P[0], parts[len(parts)-1].P[3] = s.P[0], s.P[3]
		for _, part := range parts {
			q.Segs, from = append(q.Segs, part), append(from, i)
		}
	}
	return q, from
}

// HalfPlane is the set of points p of a plane with N·p <= D.
type HalfPlane struct {
	N Vec2
	D float64
}

// Holds reports whether p lies in the half-plane or within tol mm of it.
func (h HalfPlane) Holds(p Vec2, tol float64) bool { return h.N.Dot(p) <= h.D+tol*h.N.Len() }

// turning is the angle through which the segment turns, in radians, positive
// to the left.
func (s Seg) turning() float64 {
	between := func(a, b Vec2) float64 { return math.Atan2(a.Cross(b), a.Dot(b)) }
	switch {
	case s.Kind == Line:
		return 0
	case s.Kind == Arc && s.Rx == s.Ry:
		return s.Sweep
	case s.Kind == Arc: // in steps of at most an eighth of a turn of the parameter
		n := math.Ceil(math.Abs(s.Sweep) / (math.Pi / 4))
		var sum float64
		for i := 0.0; i < n; i++ {
			sum += between(s.Deriv(i/n), s.Deriv((i+1)/n))
		}
		return sum
	}
	// The derivative is a quadratic Bézier curve, and stays within the angle
	// that its control vectors span as long as that is less than a half turn.
	var turn func(a, b, c Vec2, depth int) float64
	turn = func(a, b, c Vec2, depth int) float64 {
		if depth == 0 || (a.Dot(b) > 0 && b.Dot(c) > 0 && a.Dot(c) > 0) {
			if a == (Vec2{}) || c == (Vec2{}) {
				return 0
			}
			return between(a, c)
		}
		ab, bc := a.Lerp(b, 0.5), b.Lerp(c, 0.5)
		m := ab.Lerp(bc, 0.5)
		return turn(a, ab, m, depth-1) + turn(m, bc, c, depth-1)
	}
	return turn(s.P[1].Sub(s.P[0]), s.P[2].Sub(s.P[1]), s.P[3].Sub(s.P[2]), 48)
}

// Turning is the angle in radians through which the path turns between the
// arc lengths a < b, corners strictly between them included, positive to the
// left. Closed paths wrap as in Cut. A whole closed path turns by ±2π if the
// corner at its start is included; from 0 to Length it is left out.
func (p Path) Turning(a, b float64) float64 {
	q := p.Cut(a, b)
	q.Closed = false
	var sum float64
	for i, s := range q.Segs {
		sum += s.turning() + q.Corner(i)
	}
	return sum
}

// MinRadius is the smallest radius of curvature in mm between the arc lengths
// a and b, and the arc length at which it occurs. The radius is negative
// where the path turns right (a hollow of a counter-clockwise outline) and
// +Inf where nothing bends. Corners between segments are not counted.
func (p Path) MinRadius(a, b float64) (radius, at float64) {
	q := p.Cut(a, b)
	best, at := 0.0, a
	s0 := a
	for _, s := range q.Segs {
		k, t := s.sharpest()
		if math.Abs(k) > math.Abs(best)*(1+1e-12) {
			best, at = k, s0+s.Length(0, t)
		}
		s0 += s.Length(0, 1)
	}
	if best == 0 {
		return math.Inf(1), at
	}
	return 1 / best, at
}

// sharpest is the curvature of greatest magnitude, and its parameter.
func (s Seg) sharpest() (k, t float64) {
	switch {
	case s.Kind == Line:
		return 0, 0
	case s.Kind == Arc && s.Rx == s.Ry:
		return s.Curvature(0), 0
	}
	ts := []float64{0, 1}
	if s.Kind == Arc { // extremes are at the ends of the axes
		lo, hi := min(s.Start, s.Start+s.Sweep), max(s.Start, s.Start+s.Sweep)
		for a := math.Ceil(lo/(math.Pi/2)) * math.Pi / 2; a <= hi; a += math.Pi / 2 {
			ts = append(ts, (a-s.Start)/s.Sweep)
		}
	} else {
		const n = 32
		at := func(i int) float64 { return math.Abs(s.Curvature(float64(i) / n)) }
		for i := 1; i < n; i++ {
			if at(i) >= at(i-1) && at(i) >= at(i+1) {
				ts = append(ts, peak(func(t float64) float64 { return math.Abs(s.Curvature(t)) }, float64(i-1)/n, float64(i+1)/n))
			}
		}
	}
	for _, u := range ts {
		if c := s.Curvature(u); math.Abs(c) > math.Abs(k) {
			k, t = c, u
		}
	}
	return k, t
}

// peak is where f, rising then falling on [a, b], is largest, by golden section.
func peak(f func(float64) float64, a, b float64) float64 {
	g := (math.Sqrt(5) - 1) / 2
	x, y := b-g*(b-a), a+g*(b-a)
	fx, fy := f(x), f(y)
	for b-a > 1e-9 {
		if fx > fy {
			b, y, fy = y, x, fx
			x = b - g*(b-a)
			fx = f(x)
		} else {
			a, x, fx = x, y, fy
			y = a + g*(b-a)
			fy = f(y)
		}
	}
	return (a + b) / 2
}
