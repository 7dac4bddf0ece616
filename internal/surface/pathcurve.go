package surface

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"groundwork/internal/geom"
)

// pathCurve is a line, circle or ellipse that is being fitted, with a direction
// of travel.
type pathCurve interface {
	distance(p geom.Vec2) float64    // signed; exact to first order off the curve
	heading(p geom.Vec2) geom.Vec2   // unit direction of travel beside p
	vary(x []float64) pathCurve      // unknowns changed by x, each scaled to move the curve by about x mm
	seg(from, to geom.Vec2) geom.Seg // the part between two points on it
	whole(pts []geom.Vec2) []geom.Seg
}

func worstOff(c pathCurve, pts []geom.Vec2) float64 {
	var worst float64
	for _, p := range pts {
		if d := math.Abs(c.distance(p)); !(d <= worst) {
			worst = d
		}
	}
	return worst
}

// pathBend is a line or a circle: it passes q in the direction a with the
// curvature k, positive to the left. This form is as well conditioned for a
// shallow arc as for a full circle, and does not change where the arc becomes
// straight.
type pathBend struct {
	q    geom.Vec2
	a, k float64
	half float64 // half the length over which it is fitted, to scale its unknowns
}

// root is √(1 − 2k w·n + k²w²) for w = p − q: the distance of p from the
// centre over the radius.
func (b pathBend) root(w, n geom.Vec2) float64 {
	return math.Sqrt(max(0, 1-2*b.k*w.Dot(n)+b.k*b.k*w.Dot(w)))
}

// distance is positive to the left of travel: (2 w·n − k w²)/(1 + root), which
// is (1 − root)/k without its pole at k = 0.
func (b pathBend) distance(p geom.Vec2) float64 {
	w := p.Sub(b.q)
	n := geom.V2(1, 0).Rotate(b.a).Left()
	return (2*w.Dot(n) - b.k*w.Dot(w)) / (1 + b.root(w, n))
}

func (b pathBend) heading(p geom.Vec2) geom.Vec2 {
	n := geom.V2(1, 0).Rotate(b.a).Left()
	return n.Sub(p.Sub(b.q).Scale(b.k)).Unit().Right()
}

func (b pathBend) vary(x []float64) pathCurve {
	h := max(b.half, 1e-6)
	b.q = b.q.Add(geom.V2(1, 0).Rotate(b.a).Left().Scale(x[0]))
	b.a += x[1] / h
	if len(x) > 2 {
		b.k += 2 * x[2] / (h * h)
	}
	return b
}

// bendThrough is the circle through three points, at the middle one.
func bendThrough(p, q, r geom.Vec2) pathBend {
	a, b, c := q.Sub(p), r.Sub(q), r.Sub(p)
	k := 2 * a.Cross(b) / (a.Len() * b.Len() * c.Len())
	// The angle between chord and tangent is the one over the chord at r.
	over := angleBetween(c, b)
	return pathBend{q: q, a: a.Angle() + over, k: k, half: c.Len() / 2}
}

// fit is the bend nearest to the points, by the Gauss-Newton method on the
// true distances, from b. Derivatives follow from (1 − k F)² = root².
func (b pathBend) fit(pts []geom.Vec2) pathBend { return b.fitted(pts, 3) }

// fitLine is fit with the curvature kept.
func (b pathBend) fitLine(pts []geom.Vec2) pathBend { return b.fitted(pts, 2) }

func (b pathBend) fitted(pts []geom.Vec2, unknowns int) pathBend {
	var h float64
	for _, p := range pts {
		h = max(h, p.Dist(b.q))
	}
	b.half = max(h, 1e-9)
	ata, atb := mat.NewSymDense(unknowns, nil), mat.NewVecDense(unknowns, nil)
	for range 12 {
		ata.Zero()
		atb.Zero()
		t := geom.V2(1, 0).Rotate(b.a)
		n := t.Left()
		for _, p := range pts {
			w := p.Sub(b.q)
			s := max(b.root(w, n), 1e-9)
			f := (2*w.Dot(n) - b.k*w.Dot(w)) / (1 + s)
			g := [3]float64{
				-n.Sub(w.Scale(b.k)).Dot(n) / s,
				-w.Dot(t) / s / b.half,
				-(w.Dot(w) - f*f) / s / (b.half * b.half),
			}
			for i := range unknowns {
				for j := i; j < unknowns; j++ {
					ata.SetSym(i, j, ata.At(i, j)+g[i]*g[j])
				}
				atb.SetVec(i, atb.AtVec(i)-g[i]*f)
			}
		}
		for i := range unknowns {
			ata.SetSym(i, i, ata.At(i, i)*(1+1e-12)+1e-30)
		}
		var ch mat.Cholesky
		if !ch.Factorize(ata) {
			return b
		}
		var x mat.VecDense
		if ch.SolveVecTo(&x, atb) != nil {
			return b
		}
		half := b.half
		b = b.vary(x.RawVector().Data).(pathBend)
		b.half = half
		if mat.Norm(&x, math.Inf(1)) < 1e-11*(1+b.half) {
			break
		}
	}
	return b
}

func (b pathBend) center() geom.Vec2 {
	return b.q.Add(geom.V2(1, 0).Rotate(b.a).Left().Scale(1 / b.k))
}

func (b pathBend) seg(from, to geom.Vec2) geom.Seg {
	if b.k == 0 {
		return geom.LineTo(from, to)
	}
	c, r := b.center(), 1/math.Abs(b.k)
	a0, a1 := from.Sub(c).Angle(), to.Sub(c).Angle()
	s := geom.ArcOf(c, r, r, 0, a0, sweepFrom(a0, a1, b.k > 0))
	s.P[0], s.P[3] = from, to
	return s
}

// sweepFrom is the turn from angle a0 to a1 in the given sense, less than a
// full one.
func sweepFrom(a0, a1 float64, left bool) float64 {
	d := math.Mod(a1-a0, 2*math.Pi)
	switch {
	case left && d < 0:
		d += 2 * math.Pi
	case !left && d > 0:
		d -= 2 * math.Pi
	}
	return d
}

func (b pathBend) whole(pts []geom.Vec2) []geom.Seg {
	r := 1 / math.Abs(b.k)
	return quarters(b.center(), r, r, 0, b.k > 0)
}

// quarters is a whole ellipse from the tip of its first axis.
func quarters(c geom.Vec2, rx, ry, rot float64, left bool) []geom.Seg {
	turn := math.Pi / 2
	if !left {
		turn = -turn
	}
	var out []geom.Seg
	for i := range 4 {
		out = append(out, geom.ArcOf(c, rx, ry, rot, float64(i)*turn, turn))
	}
	for i := range out {
		out[i].P[0] = out[(i+3)%4].P[3]
	}
	return out
}

// pathOval is an ellipse.
type pathOval struct {
	c           geom.Vec2
	rx, ry, rot float64
	left        bool    // runs counter-clockwise
	sweep       float64 // turn of the parameter over the points it was fitted to
}

func (o pathOval) local(p geom.Vec2) (u geom.Vec2, f float64, g geom.Vec2) {
	u = p.Sub(o.c).Rotate(-o.rot)
	f = math.Hypot(u.X/o.rx, u.Y/o.ry)
	g = geom.V2(u.X/(o.rx*o.rx), u.Y/(o.ry*o.ry)).Scale(1 / f)
	return u, f, g
}

// distance is the value of the ellipse's equation over the length of its
// gradient (Sampson, Fitting conic sections to "very scattered" data, 1982).
func (o pathOval) distance(p geom.Vec2) float64 {
	_, f, g := o.local(p)
	return (f - 1) / g.Len()
}

func (o pathOval) heading(p geom.Vec2) geom.Vec2 {
	_, _, g := o.local(p)
	t := g.Rotate(o.rot).Unit().Left()
	if !o.left {
		t = t.Scale(-1)
	}
	return t
}

func (o pathOval) vary(x []float64) pathCurve {
	o.c = o.c.Add(geom.V2(x[0], x[1]))
	o.rx, o.ry = o.rx+x[2], o.ry+x[3]
	o.rot += x[4] / (o.rx + o.ry) * 2
	return o
}

func (o pathOval) angle(p geom.Vec2) float64 {
	u := p.Sub(o.c).Rotate(-o.rot)
	return math.Atan2(u.Y/o.ry, u.X/o.rx)
}

func (o pathOval) seg(from, to geom.Vec2) geom.Seg {
	a0, a1 := o.angle(from), o.angle(to)
	s := geom.ArcOf(o.c, o.rx, o.ry, o.rot, a0, sweepFrom(a0, a1, o.left))
	s.P[0], s.P[3] = from, to
	return s
}

func (o pathOval) whole([]geom.Vec2) []geom.Seg { return quarters(o.c, o.rx, o.ry, o.rot, o.left) }

// plausible reports whether enough of the ellipse is there, and it is not a
// sliver.
func (o pathOval) plausible() bool {
	return o.rx < 50*o.ry && o.ry < 50*o.rx && math.Abs(o.sweep) > 20*math.Pi/180
}

// fitOval is the ellipse nearest to six and more points: the direct fit of
// Halíř and Flusser (Numerically stable direct least squares fitting of
// ellipses, 1998), then the Gauss-Newton method on distances.
func fitOval(pts []geom.Vec2) (pathOval, bool) {
	var mid geom.Vec2
	for _, p := range pts {
		mid = mid.Add(p.Scale(1 / float64(len(pts))))
	}
	var scale float64
	for _, p := range pts {
		scale = max(scale, p.Dist(mid))
	}
	if len(pts) < 6 || scale == 0 {
		return pathOval{}, false
	}
	d1, d2 := mat.NewDense(len(pts), 3, nil), mat.NewDense(len(pts), 3, nil)
	for i, p := range pts {
		q := p.Sub(mid).Scale(1 / scale)
		d1.SetRow(i, []float64{q.X * q.X, q.X * q.Y, q.Y * q.Y})
		d2.SetRow(i, []float64{q.X, q.Y, 1})
	}
	var s1, s2, s3, t, m mat.Dense
	s1.Mul(d1.T(), d1)
	s2.Mul(d1.T(), d2)
	s3.Mul(d2.T(), d2)
	if t.Solve(&s3, s2.T()) != nil {
		return pathOval{}, false
	}
	t.Scale(-1, &t)
	m.Mul(&s2, &t)
	m.Add(&s1, &m)
	// times the inverse of the constraint matrix of 4ac − b² = 1
	c := mat.NewDense(3, 3, []float64{
		m.At(2, 0) / 2, m.At(2, 1) / 2, m.At(2, 2) / 2,
		-m.At(1, 0), -m.At(1, 1), -m.At(1, 2),
		m.At(0, 0) / 2, m.At(0, 1) / 2, m.At(0, 2) / 2,
	})
	var eig mat.Eigen
	if !eig.Factorize(c, mat.EigenRight) {
		return pathOval{}, false
	}
	var vecs mat.CDense
	eig.VectorsTo(&vecs)
	for k := range 3 {
		a, b, e := real(vecs.At(0, k)), real(vecs.At(1, k)), real(vecs.At(2, k))
		if 4*a*e-b*b <= 0 {
			continue
		}
		var low mat.VecDense
		low.MulVec(&t, mat.NewVecDense(3, []float64{a, b, e}))
		o, ok := ovalOf(a, b, e, low.AtVec(0), low.AtVec(1), low.AtVec(2))
		if !ok {
			return pathOval{}, false
		}
		o.c, o.rx, o.ry = o.c.Scale(scale).Add(mid), o.rx*scale, o.ry*scale
		if !(max(o.rx, o.ry) < 1e4*scale) {
			return pathOval{}, false
		}
		o = o.fit(pts)
		return o, o.rx > 0 && o.ry > 0
	}
	return pathOval{}, false
}

// ovalOf is the ellipse a x² + b xy + c y² + d x + e y + f = 0, the longer axis
// first.
func ovalOf(a, b, c, d, e, f float64) (pathOval, bool) {
	det := 4*a*c - b*b
	x, y := (b*e-2*c*d)/det, (b*d-2*a*e)/det
	v := -(f + d*x/2 + e*y/2) // a x² + b xy + c y² = v about the centre
	var eig mat.EigenSym
	if !eig.Factorize(mat.NewSymDense(2, []float64{a, b / 2, b / 2, c}), true) {
		return pathOval{}, false
	}
	l := eig.Values(nil)
	if l[0] < 0 { // the whole equation with the other sign
		l = []float64{-l[0], -l[1]}
		v = -v
	}
	if !(l[0] > 0 && l[1] > 0 && v > 0) {
		return pathOval{}, false
	}
	var vec mat.Dense
	eig.VectorsTo(&vec)
	k := 0
	if l[1] < l[0] {
		k = 1
	}
	rot := math.Atan2(vec.At(1, k), vec.At(0, k))
	// An axis has no direction: within a quarter turn of +X.
	if rot > math.Pi/2 {
		rot -= math.Pi
	} else if rot <= -math.Pi/2 {
		rot += math.Pi
	}
	return pathOval{c: geom.V2(x, y), rx: math.Sqrt(v / l[k]), ry: math.Sqrt(v / l[1-k]), rot: rot}, true
}

func (o pathOval) fit(pts []geom.Vec2) pathOval {
	// Direction of travel and extent.
	o.sweep = 0
	for i := 1; i < len(pts); i++ {
		d := o.angle(pts[i]) - o.angle(pts[i-1])
		o.sweep += d - 2*math.Pi*math.Round(d/(2*math.Pi))
	}
	o.left = o.sweep > 0
	jac, res := mat.NewDense(len(pts), 5, nil), mat.NewVecDense(len(pts), nil)
	best, least := o, sumOff(o, pts)
	for range 12 {
		h := 1e-5 * (o.rx + o.ry)
		for k := range 5 {
			x := make([]float64, 5)
			x[k] = h
			up := o.vary(x)
			x[k] = -h
			down := o.vary(x)
			for i, p := range pts {
				jac.Set(i, k, (up.distance(p)-down.distance(p))/(2*h))
			}
		}
		for i, p := range pts {
			res.SetVec(i, -o.distance(p))
		}
		var x mat.VecDense
		if x.SolveVec(jac, res) != nil {
			break
		}
		o = o.vary(x.RawVector().Data).(pathOval)
		if !(o.rx > 0 && o.ry > 0) {
			break
		}
		if s := sumOff(o, pts); s < least {
			best, least = o, s
		} else {
			break
		}
		if mat.Norm(&x, math.Inf(1)) < 1e-11*(o.rx+o.ry) {
			break
		}
	}
	return best
}

func sumOff(c pathCurve, pts []geom.Vec2) float64 {
	var sum float64
	for _, p := range pts {
		d := c.distance(p)
		sum += d * d
	}
	return sum
}

func reversedPoints(pts []geom.Vec2) []geom.Vec2 {
	out := slices.Clone(pts)
	slices.Reverse(out)
	return out
}

// slopeAt is the unit tangent at point k of a smooth run: the derivative of
// the polynomial through it and the four points about it, or fewer at the
// ends of a short run, by their chord length (Farin, Curves and Surfaces for
// CAGD, 5th edition 2002, ch. 9.8, of which this is Bessel's with more points).
func slopeAt(pts []geom.Vec2, k int) geom.Vec2 {
	lo := max(0, min(k-2, len(pts)-5))
	hi := min(len(pts), lo+5)
	return slopeIn(pts[lo:hi], k-lo)
}

func slopeIn(pts []geom.Vec2, k int) geom.Vec2 {
	s := make([]float64, len(pts))
	for i := 1; i < len(pts); i++ {
		s[i] = s[i-1] + pts[i].Dist(pts[i-1])
	}
	var d geom.Vec2
	for i, p := range pts { // derivative of Lagrange's polynomial i at s[k]
		w := 0.0
		if i == k {
			for j := range pts {
				if j != k {
					w += 1 / (s[k] - s[j])
				}
			}
		} else {
			w = 1 / (s[i] - s[k])
			for j := range pts {
				if j != i && j != k {
					w *= (s[k] - s[j]) / (s[i] - s[j])
				}
			}
		}
		d = d.Add(p.Scale(w))
	}
	return d.Unit()
}

func endTangent(pts []geom.Vec2) geom.Vec2 { return slopeAt(pts, 0) }

// fitLoop is a closed smooth free curve through the points.
func fitLoop(pts []geom.Vec2, tol float64) []geom.Seg {
	n := len(pts)
	around := func(k int) geom.Vec2 {
		var near []geom.Vec2
		for d := -2; d <= 2; d++ {
			near = append(near, pts[((k+d)%n+n)%n])
		}
		return slopeIn(near, 2)
	}
	t0, t1 := around(0), around(n/2)
	a := slices.Clone(pts[:n/2+1])
	b := append(slices.Clone(pts[n/2:]), pts[0])
	return append(fitFree(a, &t0, &t1, tol), fitFree(b, &t1, &t0, tol)...)
}

// fitFree is a chain of cubics with common tangents along the points, within
// half of tol of each. The tangents at the ends are kept where given. As few
// cubics as will do are found by halving the run (after Schneider, An
// algorithm for automatically fitting digitized curves, in Graphics Gems,
// 1990, but with the points' distances from the curve made least by the
// Gauss-Newton method).
func fitFree(pts []geom.Vec2, t0, t1 *geom.Vec2, tol float64) []geom.Seg {
	if len(pts) >= 7 || len(pts) >= 5 && (t0 != nil || t1 != nil) {
		if s, off := fitCubic(pts, t0, t1); off <= tol/2 {
			return []geom.Seg{s}
		}
	}
	e0, e1 := t0, t1
	if e0 == nil {
		t := endTangent(pts)
		e0 = &t
	}
	if e1 == nil {
		t := slopeAt(pts, len(pts)-1)
		e1 = &t
	}
	if len(pts) == 2 {
		l := pts[0].Dist(pts[1]) / 3
		// handles of a circular arc with these tangents: l / cos²(α/4), α the turn
		c := math.Cos(angleBetween(*e0, *e1) / 4)
		l /= c * c
		return []geom.Seg{geom.CubicTo(pts[0], pts[0].Add(e0.Scale(l)), pts[1].Sub(e1.Scale(l)), pts[1])}
	}
	if s, off := fitCubic(pts, e0, e1); len(pts) > 3 && off <= tol/2 {
		return []geom.Seg{s}
	}
	m := len(pts) / 2
	t := slopeAt(pts, m)
	return append(fitFree(pts[:m+1], e0, &t, tol), fitFree(pts[m:], &t, e1, tol)...)
}

// fitCubic is the cubic from the first to the last point nearest to those
// between, and how far off the farthest is. A tangent that is nil is free.
func fitCubic(pts []geom.Vec2, t0, t1 *geom.Vec2) (geom.Seg, float64) {
	n := len(pts)
	at := make([]float64, n)
	for i := 1; i < n; i++ {
		at[i] = at[i-1] + pts[i].Dist(pts[i-1])
	}
	length := at[n-1]
	for i := range at {
		at[i] /= length
	}
	var dirs [2][]geom.Vec2 // directions in which each handle's end may move
	e0, e1 := t0, t1
	if e0 == nil {
		t := endTangent(pts)
		e0 = &t
		dirs[0] = []geom.Vec2{geom.V2(1, 0), geom.V2(0, 1)}
	} else {
		dirs[0] = []geom.Vec2{*e0}
	}
	if e1 == nil {
		t := slopeAt(pts, n-1)
		e1 = &t
		dirs[1] = []geom.Vec2{geom.V2(1, 0), geom.V2(0, 1)}
	} else {
		dirs[1] = []geom.Vec2{*e1}
	}
	c := geom.CubicTo(pts[0], pts[0].Add(e0.Scale(length/3)), pts[n-1].Sub(e1.Scale(length/3)), pts[n-1])
	m := len(dirs[0]) + len(dirs[1])
	feet := func() float64 { // nearest parameters, and the greatest distance
		var worst float64
		for i := 1; i < n-1; i++ {
			t := at[i]
			for range 10 {
				r, v := pts[i].Sub(c.At(t)), c.Deriv(t)
				g := v.Dot(v) - r.Dot(c.Deriv2(t))
				if g <= 0 {
					break
				}
				step := r.Dot(v) / g
				t = max(0, min(1, t+step))
				if math.Abs(step) < 1e-13 {
					break
				}
			}
			at[i] = t
			worst = max(worst, pts[i].Dist(c.At(t)))
			if t <= at[i-1] {
				worst = math.Inf(1)
			}
		}
		return worst
	}
	best, least := c, feet()
	damp := 1e-9
	for range 60 {
		ata, atb := mat.NewSymDense(m, nil), mat.NewVecDense(m, nil)
		for i := 1; i < n-1; i++ {
			t := at[i]
			u := 1 - t
			b := [2]float64{3 * u * u * t, 3 * u * t * t}
			nrm := c.Tangent(t).Left()
			f := pts[i].Sub(c.At(t)).Dot(nrm)
			var g []float64
			for e := range dirs {
				for _, d := range dirs[e] {
					g = append(g, b[e]*d.Dot(nrm))
				}
			}
			for x := range m {
				for y := x; y < m; y++ {
					ata.SetSym(x, y, ata.At(x, y)+g[x]*g[y])
				}
				atb.SetVec(x, atb.AtVec(x)+g[x]*f)
			}
		}
		for x := range m {
			ata.SetSym(x, x, ata.At(x, x)+damp*float64(n))
		}
		var ch mat.Cholesky
		var x mat.VecDense
		if !ch.Factorize(ata) || ch.SolveVecTo(&x, atb) != nil {
			break
		}
		k := 0
		for e := range dirs {
			for _, d := range dirs[e] {
				c.P[1+e] = c.P[1+e].Add(d.Scale(x.AtVec(k)))
				k++
			}
		}
		w := feet()
		if w < least {
			best, least = c, w
		}
		if mat.Norm(&x, math.Inf(1)) < 1e-12*length || math.IsInf(w, 1) {
			break
		}
	}
	// A handle that points backward makes a cusp or a loop.
	if best.P[1].Sub(best.P[0]).Dot(*e0) <= 0 || best.P[3].Sub(best.P[2]).Dot(*e1) <= 0 {
		return best, math.Inf(1)
	}
	return best, least
}
