package geom

import (
	"fmt"
	"math"
)

// OffsetError says where and why a path cannot be moved sideways.
type OffsetError struct {
	Seg    int  // segment of the path
	At     Vec2 // place on the path
	Reason string
}

func (e *OffsetError) Error() string {
	return fmt.Sprintf("geom: moving a path sideways: segment %d at (%.3f, %.3f): %s", e.Seg+1, e.At.X, e.At.Y, e.Reason)
}

// Offset is the path moved sideways: segment i by d[i] mm to the right of
// travel, which is outward for a closed counter-clockwise path; negative is
// inward. from[k] is the segment of p that segment k of the result comes from.
//
// Lines and circular arcs stay exact. Elliptical arcs and cubics become chains
// of cubics that stay within tol mm of the true parallel curve. Where two
// segments meet at a corner, both are carried on or cut back along their
// natural continuation (line, circle, ellipse, polynomial) to the point where
// the moved curves meet: a mitre. Where they meet without a corner they stay
// joined, and must move by the same distance; a corner may then be cut back
// beyond a whole segment, which is left out.
//
// The error is an *OffsetError if a curve folds (it is more tightly bent
// than the distance allows), a segment vanishes, or moved neighbours do not
// meet. A result that crosses itself farther away is not noticed; see
// SelfCrossing.
func (p Path) Offset(d []float64, tol float64) (q Path, from []int, err error) {
	n := len(p.Segs)
	if len(d) != n {
		return Path{}, nil, fmt.Errorf("geom: %d distances for a path of %d segments", len(d), n)
	}
	fail := func(i int, at Vec2, format string, args ...any) error {
		return &OffsetError{i, at, fmt.Sprintf(format, args...)}
	}
	// Where each moved segment starts and ends, as parameter and as point.
	type end struct {
		t float64
		p Vec2
	}
	starts, ends := make([]end, n), make([]end, n)
	for i, s := range p.Segs {
		starts[i], ends[i] = end{0, s.parallel(0, d[i])}, end{1, s.parallel(1, d[i])}
	}
	prev, next := func(i int) int { return (i + n - 1) % n }, func(i int) int { return (i + 1) % n }
	const straight = 1e-7
	smooth := make([]bool, n) // segment i continues the one before it without a corner
	for i := range n {
		if i == 0 && !p.Closed || math.Abs(p.Corner(i)) >= straight {
			continue
		}
		smooth[i] = true
		j := prev(i)
		if gap := ends[j].p.Dist(starts[i].p); gap > tol+2*straight*math.Abs(d[i]) {
			return Path{}, nil, fail(i, p.Segs[i].From(), "it meets its neighbour without a corner, but they move by %g and %g mm", d[j], d[i])
		}
		mid := ends[j].p.Lerp(starts[i].p, 0.5)
		ends[j].p, starts[i].p = mid, mid
	}
	gone := make([]bool, n)
	for i := range n {
		if i == 0 && !p.Closed || smooth[i] {
			continue
		}
		a, b := prev(i), i
		for {
			t, u, ok := meet(p.Segs[a], p.Segs[b], d[a], d[b])
			if !ok {
				return Path{}, nil, fail(i, p.Segs[i].From(), "the moved neighbours do not meet")
			}
			// The corner may be cut back beyond a short piece of a smooth chain.
			if t <= 1e-9 && smooth[a] && !gone[prev(a)] && prev(a) != b {
				gone[a] = true
				a = prev(a)
				continue
			}
			if u >= 1-1e-9 && smooth[next(b)] && !gone[next(b)] && next(b) != a {
				gone[b] = true
				b = next(b)
				continue
			}
			x := p.Segs[a].parallel(t, d[a]).Lerp(p.Segs[b].parallel(u, d[b]), 0.5)
			ends[a], starts[b] = end{t, x}, end{u, x}
			break
		}
	}
	q.Closed = p.Closed
	for i, s := range p.Segs {
		if gone[i] {
			continue
		}
		a, b := starts[i].t, ends[i].t
		if b-a <= 1e-9 {
			return Path{}, nil, fail(i, s.At(0.5), "nothing is left of it between its moved neighbours")
		}
		if t, folds := s.folds(a, b, d[i]); folds {
			return Path{}, nil, fail(i, s.At(t), "it folds: with a radius of %.3f mm it cannot be moved by %g mm", math.Abs(1/s.Curvature(t)), d[i])
		}
		k := len(q.Segs)
		q.Segs = append(q.Segs, s.moved(a, b, d[i], tol)...)
		// The ends are shared to the last bit.
		q.Segs[k].setFrom(starts[i].p)
		q.Segs[len(q.Segs)-1].setTo(ends[i].p)
		for range len(q.Segs) - k {
			from = append(from, i)
		}
	}
	return q, from, nil
}

func (s *Seg) setFrom(p Vec2) {
	if s.Kind == Cubic {
		s.P[1] = s.P[1].Add(p.Sub(s.P[0]))
	}
	s.P[0] = p
}

func (s *Seg) setTo(p Vec2) {
	if s.Kind == Cubic {
		s.P[2] = s.P[2].Add(p.Sub(s.P[3]))
	}
	s.P[3] = p
}

// parallel is the point at t moved d to the right of travel.
func (s Seg) parallel(t, d float64) Vec2 { return s.At(t).Add(s.Tangent(t).Right().Scale(d)) }

// parallelDeriv is the derivative of parallel by t: P′ (1 + κ d).
func (s Seg) parallelDeriv(t, d float64) Vec2 {
	return s.Deriv(t).Scale(1 + float64(s.Curvature(t)*d))
}

// meet is where the curves parallel to a and b cross near the corner where a
// ends and b starts, by Newton's method from there.
func meet(a, b Seg, da, db float64) (t, u float64, ok bool) {
	t, u = 1, 0
	for range 60 {
		gap := b.parallel(u, db).Sub(a.parallel(t, da))
		va, vb := a.parallelDeriv(t, da), b.parallelDeriv(u, db)
		// va Δt − vb Δu = gap
		det := va.Cross(vb)
		if math.Abs(det) <= 1e-12*va.Len()*vb.Len() {
			return 0, 0, false
		}
		dt, du := gap.Cross(vb)/det, gap.Cross(va)/det
		// A step over more than half a segment is cut short, unless it is a line.
		k := 1.0
		if a.Kind != Line && math.Abs(dt) > 0.5 {
			k = 0.5 / math.Abs(dt)
		}
		if b.Kind != Line && math.Abs(du) > 0.5 {
			k = min(k, 0.5/math.Abs(du))
		}
		t, u = t+k*dt, u+k*du
		if math.IsNaN(t+u) || math.Abs(t) > 1e6 || math.Abs(u) > 1e6 {
			return 0, 0, false
		}
		if k == 1 && math.Abs(dt)*va.Len()+math.Abs(du)*vb.Len() < 1e-12*(1+a.To().Len()) {
			break
		}
	}
	return t, u, a.parallel(t, da).Dist(b.parallel(u, db)) < 1e-8
}

// folds reports whether the curve parallel to s at d turns back between a and
// b, and where it does so most: where 1 + κ d is not positive.
func (s Seg) folds(a, b, d float64) (t float64, yes bool) {
	if s.Kind == Line || d == 0 {
		return 0, false
	}
	part := s.Part(a, b)
	speed := func(t float64) float64 { return 1 + float64(part.Curvature(t)*d) }
	worst, at := math.Inf(1), 0.0
	try := func(t float64) {
		if f := speed(t); f < worst {
			worst, at = f, t
		}
	}
	try(0)
	try(1)
	_, t = part.sharpest()
	try(t)
	const n = 64
	for k := 1; k < n; k++ {
		try(float64(k) / n)
	}
	try(peak(func(t float64) float64 { return -speed(t) }, max(0, at-1./n), min(1, at+1./n)))
	return a + at*(b-a), worst <= 1e-9
}

// moved is the curve parallel to s at d between the parameters a and b.
func (s Seg) moved(a, b, d, tol float64) []Seg {
	switch {
	case s.Kind == Line:
		return []Seg{LineTo(s.parallel(a, d), s.parallel(b, d))}
	case d == 0:
		return []Seg{s.Part(a, b)}
	case s.Kind == Arc && s.Rx == s.Ry:
		r := s.Part(a, b)
		if s.Sweep > 0 {
			r.Rx += d
		} else {
			r.Rx -= d
		}
		r.Ry = r.Rx
		r.P[0], r.P[3] = r.At(0), r.At(1)
		return []Seg{r}
	}
	// No piece spans more than an eighth of a turn, so that its ends tell
	// enough about it.
	pieces := 1
	if s.Kind == Arc {
		pieces = max(1, int(math.Ceil(math.Abs(s.Sweep)*(b-a)/(math.Pi/4)-1e-9)))
	}
	var out []Seg
	var fit func(a, b float64, depth int)
	fit = func(a, b float64, depth int) {
		c, off := s.fitParallel(a, b, d)
		if off <= tol || depth == 0 {
			out = append(out, c)
			return
		}
		m := (a + b) / 2
		fit(a, m, depth-1)
		fit(m, b, depth-1)
	}
	for k := range pieces {
		h := (b - a) / float64(pieces)
		fit(a+float64(k)*h, a+float64(k+1)*h, 12)
	}
	for i := 1; i < len(out); i++ {
		out[i].setFrom(out[i-1].To())
	}
	return out
}

// fitParallel is a cubic for the curve parallel to s at d between a and b, and
// how far it strays. It has the curve's ends and tangents, and where possible
// its curvatures there, which makes the error shrink with the sixth power of
// the length (de Boor, Höllig and Sabin, High accuracy geometric Hermite
// interpolation, 1987); otherwise the curve's derivatives.
func (s Seg) fitParallel(a, b, d float64) (Seg, float64) {
	p0, p3 := s.parallel(a, d), s.parallel(b, d)
	t0, t1 := s.Tangent(a), s.Tangent(b)
	h0, h1 := s.parallelDeriv(a, d).Len()*(b-a)/3, s.parallelDeriv(b, d).Len()*(b-a)/3
	plain := CubicTo(p0, p0.Add(t0.Scale(h0)), p3.Sub(t1.Scale(h1)), p3)
	off := s.strays(plain, a, b, d)

	// With handles x, y:  1.5 κ0 x² = t0×D − y t0×t1,  1.5 κ1 y² = D×t1 − x t0×t1.
	curved := func(t float64) float64 {
		k := s.Curvature(t)
		return k / (1 + float64(k*d))
	}
	k0, k1 := 1.5*curved(a), 1.5*curved(b)
	D, w := p3.Sub(p0), t0.Cross(t1)
	x, y := h0, h1
	for range 20 {
		f := float64(k0*x*x) - t0.Cross(D) + float64(y*w)
		g := float64(k1*y*y) - D.Cross(t1) + float64(x*w)
		// Jacobian [2 k0 x, w; w, 2 k1 y]
		det := 4*k0*k1*x*y - w*w
		if det == 0 {
			break
		}
		dx, dy := (f*2*k1*y-g*w)/det, (g*2*k0*x-f*w)/det
		x, y = x-dx, y-dy
		if math.Abs(dx)+math.Abs(dy) < 1e-14*(h0+h1) {
			break
		}
	}
	if x > h0/2 && x < 2*h0 && y > h1/2 && y < 2*h1 {
		c := CubicTo(p0, p0.Add(t0.Scale(x)), p3.Sub(t1.Scale(y)), p3)
		if o := s.strays(c, a, b, d); o < off {
			return c, o
		}
	}
	return plain, off
}

// strays is how far the cubic c, meant to run parallel to s at d from a to b,
// is from doing so, at sixteen places.
func (s Seg) strays(c Seg, a, b, d float64) float64 {
	var worst float64
	const n = 17
	for k := 1; k < n; k++ {
		f := float64(k) / n
		q := c.At(f)
		t := a + f*(b-a)
		for range 20 { // foot of the perpendicular from q
			r, v := q.Sub(s.At(t)), s.Deriv(t)
			g := v.Dot(v) - r.Dot(s.Deriv2(t))
			if g <= 0 {
				return math.Inf(1)
			}
			step := r.Dot(v) / g
			t += step
			if math.Abs(step) < 1e-14 {
				break
			}
		}
		worst = max(worst, math.Abs(q.Sub(s.At(t)).Dot(s.Tangent(t).Right())-d))
	}
	return worst
}
