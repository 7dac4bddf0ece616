package geom

import (
	"fmt"
	"math"
	"slices"
)

// Kind is the kind of a path segment.
type Kind uint8

const (
	Line  Kind = iota // straight, from P[0] to P[3]
	Arc               // elliptical arc about Center
	Cubic             // cubic Bézier curve with the control points P
)

// Seg is one segment of a path. Its parameter t runs from 0 to 1.
type Seg struct {
	Kind Kind
	P    [4]Vec2 // Line: P[0] and P[3]; Cubic: all four; Arc: P[0] and P[3] are its ends

	// Arc only: Center + Rx cos(a) u + Ry sin(a) u⊥, where u is the X axis
	// turned by Rot and a runs from Start to Start+Sweep (positive:
	// counter-clockwise).
	Center       Vec2
	Rx, Ry, Rot  float64
	Start, Sweep float64
}

// LineTo is the straight segment from a to b.
func LineTo(a, b Vec2) Seg { return Seg{Kind: Line, P: [4]Vec2{a, {}, {}, b}} }

// CubicTo is the cubic Bézier segment with the given control points.
func CubicTo(a, b, c, d Vec2) Seg { return Seg{Kind: Cubic, P: [4]Vec2{a, b, c, d}} }

// ArcOf is an elliptical arc; see Seg for the meaning of its arguments.
func ArcOf(center Vec2, rx, ry, rot, start, sweep float64) Seg {
	s := Seg{Kind: Arc, Center: center, Rx: rx, Ry: ry, Rot: rot, Start: start, Sweep: sweep}
	s.P[0], s.P[3] = s.At(0), s.At(1)
	return s
}

// From is the segment's first point, To its last.
func (s Seg) From() Vec2 { return s.P[0] }
func (s Seg) To() Vec2   { return s.P[3] }

// At is the point at t. Lines, arcs and cubics continue naturally outside [0, 1].
func (s Seg) At(t float64) Vec2 {
	switch s.Kind {
	case Arc:
		sn, cs := math.Sincos(s.Start + float64(s.Sweep*t))
		return s.Center.Add(Vec2{s.Rx * cs, s.Ry * sn}.Rotate(s.Rot))
	case Cubic:
		u := 1 - t
		return s.P[0].Scale(u * u * u).Add(s.P[1].Scale(3 * u * u * t)).Add(s.P[2].Scale(3 * u * t * t)).Add(s.P[3].Scale(t * t * t))
	}
	return s.P[0].Lerp(s.P[3], t)
}

// Deriv is dAt/dt.
func (s Seg) Deriv(t float64) Vec2 {
	switch s.Kind {
	case Arc:
		sn, cs := math.Sincos(s.Start + float64(s.Sweep*t))
		return Vec2{-s.Rx * sn, s.Ry * cs}.Rotate(s.Rot).Scale(s.Sweep)
	case Cubic:
		u := 1 - t
		return s.P[1].Sub(s.P[0]).Scale(3 * u * u).Add(s.P[2].Sub(s.P[1]).Scale(6 * u * t)).Add(s.P[3].Sub(s.P[2]).Scale(3 * t * t))
	}
	return s.P[3].Sub(s.P[0])
}

// Deriv2 is the second derivative by t.
func (s Seg) Deriv2(t float64) Vec2 {
	switch s.Kind {
	case Arc:
		return s.At(t).Sub(s.Center).Scale(-s.Sweep * s.Sweep)
	case Cubic:
		a := s.P[2].Sub(s.P[1].Scale(2)).Add(s.P[0])
		b := s.P[3].Sub(s.P[2].Scale(2)).Add(s.P[1])
		return a.Scale(6 * (1 - t)).Add(b.Scale(6 * t))
	}
	return Vec2{}
}

// Tangent is the unit direction of travel at t. Where the derivative
// vanishes (a cubic with coincident control points) it is taken a little
// further in.
func (s Seg) Tangent(t float64) Vec2 {
	d := s.Deriv(t)
	if d.Len() < 1e-12 {
		if t < 0.5 {
			d = s.Deriv(t + 1e-6)
		} else {
			d = s.Deriv(t - 1e-6)
		}
	}
	return d.Unit()
}

// Curvature is the signed curvature at t in 1/mm, positive where the path
// turns left: on a counter-clockwise outline, where the edge is convex.
func (s Seg) Curvature(t float64) float64 {
	d, dd := s.Deriv(t), s.Deriv2(t)
	l := d.Len()
	if l < 1e-12 {
		return 0
	}
	return d.Cross(dd) / (l * l * l)
}

// Length is the arc length between the parameters a and b.
func (s Seg) Length(a, b float64) float64 {
	switch {
	case s.Kind == Line:
		return s.P[0].Dist(s.P[3]) * (b - a)
	case s.Kind == Arc && s.Rx == s.Ry:
		return s.Rx * math.Abs(s.Sweep) * (b - a)
	}
	return integrate(func(t float64) float64 { return s.Deriv(t).Len() }, a, b)
}

// area is half the integral of x dy − y dx over the segment, about o.
func (s Seg) area(o Vec2) float64 {
	if s.Kind == Line {
		return s.P[0].Sub(o).Cross(s.P[3].Sub(o)) / 2
	}
	if s.Kind == Arc {
		// sector of the ellipse plus the triangle shift from its centre to o
		c := s.Center.Sub(o)
		return float64(s.Rx*s.Ry*s.Sweep)/2 + c.Cross(s.P[3].Sub(s.P[0]))/2
	}
	// the integral of products of Bernstein polynomials, in closed form
	a, b, c, d := s.P[0].Sub(o), s.P[1].Sub(o), s.P[2].Sub(o), s.P[3].Sub(o)
	return (6*a.Cross(b) + 3*a.Cross(c) + a.Cross(d) + 3*b.Cross(c) + 3*b.Cross(d) + 6*c.Cross(d)) / 20
}

// Reversed is the segment run the other way.
func (s Seg) Reversed() Seg {
	r := s
	r.P = [4]Vec2{s.P[3], s.P[2], s.P[1], s.P[0]}
	r.Start, r.Sweep = s.Start+s.Sweep, -s.Sweep
	return r
}

// Part is the segment between the parameters a and b.
func (s Seg) Part(a, b float64) Seg {
	switch s.Kind {
	case Arc:
		r := s
		r.Start, r.Sweep = s.Start+float64(s.Sweep*a), s.Sweep*(b-a)
		r.P[0], r.P[3] = s.At(a), s.At(b)
		return r
	case Cubic:
		k := (b - a) / 3
		p, q := s.At(a), s.At(b)
		return CubicTo(p, p.Add(s.Deriv(a).Scale(k)), q.Sub(s.Deriv(b).Scale(k)), q)
	}
	return LineTo(s.At(a), s.At(b))
}

// Mirrored is the segment with X negated.
func (s Seg) Mirrored() Seg {
	r := s
	for i, p := range s.P {
		r.P[i] = Vec2{-p.X, p.Y}
	}
	if s.Kind == Arc {
		r.Center = Vec2{-s.Center.X, s.Center.Y}
		r.Rot, r.Start, r.Sweep = -s.Rot, math.Pi-s.Start, -s.Sweep
	}
	return r
}

// Translated is the segment moved by d.
func (s Seg) Translated(d Vec2) Seg {
	r := s
	for i := range r.P {
		r.P[i] = r.P[i].Add(d)
	}
	r.Center = r.Center.Add(d)
	return r
}

// Rotated is the segment turned about the origin by angle radians.
func (s Seg) Rotated(angle float64) Seg {
	r := s
	for i := range r.P {
		r.P[i] = r.P[i].Rotate(angle)
	}
	r.Center = r.Center.Rotate(angle)
	r.Rot += angle
	return r
}

// Path is a run of segments, each starting where the one before it ends. A
// closed path ends where it starts.
type Path struct {
	Segs   []Seg
	Closed bool
}

// Length is the path's arc length in mm.
func (p Path) Length() float64 {
	var sum float64
	for _, s := range p.Segs {
		sum += s.Length(0, 1)
	}
	return sum
}

// Area is the signed area that a closed path encloses in mm², positive when
// it runs counter-clockwise.
func (p Path) Area() float64 {
	if len(p.Segs) == 0 {
		return 0
	}
	o := p.Segs[0].From()
	var sum float64
	for _, s := range p.Segs {
		sum += s.area(o)
	}
	return sum
}

// Reversed is the path run the other way.
func (p Path) Reversed() Path {
	q := Path{Closed: p.Closed, Segs: make([]Seg, len(p.Segs))}
	for i, s := range p.Segs {
		q.Segs[len(p.Segs)-1-i] = s.Reversed()
	}
	return q
}

// Mirrored is the path with X negated, reversed so that a closed path keeps
// its direction of travel. Segment i of p is segment len-1-i of the result.
func (p Path) Mirrored() Path {
	return p.mapped(Seg.Mirrored).Reversed()
}

// Translated is the path moved by d.
func (p Path) Translated(d Vec2) Path {
	return p.mapped(func(s Seg) Seg { return s.Translated(d) })
}

// Rotated is the path turned about the origin by angle radians.
func (p Path) Rotated(angle float64) Path {
	return p.mapped(func(s Seg) Seg { return s.Rotated(angle) })
}

func (p Path) mapped(f func(Seg) Seg) Path {
	q := Path{Closed: p.Closed, Segs: make([]Seg, len(p.Segs))}
	for i, s := range p.Segs {
		q.Segs[i] = f(s)
	}
	return q
}

// Bounds is the smallest box that holds the path.
func (p Path) Bounds() Box2 {
	b := EmptyBox2()
	for _, s := range p.Segs {
		b = b.Union(s.Bounds())
	}
	return b
}

// Bounds is the smallest box that holds the segment.
func (s Seg) Bounds() Box2 {
	b := EmptyBox2().Add(s.From()).Add(s.To())
	add := func(t float64) {
		if t > 0 && t < 1 {
			b = b.Add(s.At(t))
		}
	}
	switch s.Kind {
	case Arc: // x is extreme where tan a = −(Ry/Rx) tan Rot, y where tan a = (Ry/Rx) cot Rot
		sn, cs := math.Sincos(s.Rot)
		for _, a := range []float64{math.Atan2(-s.Ry*sn, s.Rx*cs), math.Atan2(s.Ry*cs, s.Rx*sn)} {
			lo, hi := min(s.Start, s.Start+s.Sweep), max(s.Start, s.Start+s.Sweep)
			for a += math.Pi * math.Ceil((lo-a)/math.Pi); a <= hi; a += math.Pi {
				add((a - s.Start) / s.Sweep)
			}
		}
	case Cubic: // the derivative is a quadratic in t
		c0, c1, c2 := s.P[1].Sub(s.P[0]), s.P[2].Sub(s.P[1]), s.P[3].Sub(s.P[2])
		for _, c := range [][3]float64{{c0.X, c1.X, c2.X}, {c0.Y, c1.Y, c2.Y}} {
			// (c0 − 2 c1 + c2) t² + 2 (c1 − c0) t + c0
			qa, qb, qc := c[0]-2*c[1]+c[2], c[1]-c[0], c[0]
			disc := qb*qb - qa*qc
			if disc < 0 {
				continue
			}
			k := -(qb + math.Copysign(math.Sqrt(disc), qb))
			if qa != 0 {
				add(k / qa)
			}
			if k != 0 {
				add(qc / k)
			}
		}
	}
	return b
}

// Sample is a point of a flattened path.
type Sample struct {
	P   Vec2
	Seg int     // the segment that starts at or contains the point
	T   float64 // parameter within Seg
	S   float64 // arc length from the start of the path, exact
}

// Flatten is the path as points that lie on it, close enough that no chord
// strays further than tol from it. A closed path's last point is not
// repeated; an open path's end is included, with the last segment's T = 1.
func (p Path) Flatten(tol float64) []Sample {
	var out []Sample
	var s0 float64
	for i, s := range p.Segs {
		n := s.chords(tol)
		prev, at := 0.0, s0
		for k := range n {
			t := float64(k) / float64(n)
			at += s.Length(prev, t)
			prev = t
			q := s.At(t)
			if k == 0 {
				q = s.From()
			}
			out = append(out, Sample{P: q, Seg: i, T: t, S: at})
		}
		s0 = at + s.Length(prev, 1)
	}
	if !p.Closed && len(p.Segs) > 0 {
		i := len(p.Segs) - 1
		out = append(out, Sample{P: p.Segs[i].To(), Seg: i, T: 1, S: s0})
	}
	return out
}

// Polygon is the closed path flattened to within tol.
func (p Path) Polygon(tol float64) Polygon {
	fl := p.Flatten(tol)
	out := make(Polygon, len(fl))
	for i, q := range fl {
		out[i] = q.P
	}
	return out
}

// chords is the number of equal parameter steps that keeps every chord of the
// segment within tol: a chord of step h strays at most h² max|P″|/8.
func (s Seg) chords(tol float64) int {
	if s.Kind == Line || tol <= 0 {
		return 1
	}
	var m float64
	if s.Kind == Arc {
		m = max(s.Rx, s.Ry) * s.Sweep * s.Sweep
	} else { // the second derivative of a cubic is linear in t
		m = max(s.Deriv2(0).Len(), s.Deriv2(1).Len())
	}
	n := int(math.Ceil(math.Sqrt(m / (8 * tol))))
	if s.Kind == Arc { // never coarser than an eighth of a turn
		n = max(n, int(math.Ceil(math.Abs(s.Sweep)/(math.Pi/4)-1e-9)))
	}
	return max(n, 1)
}

// Corner is the turning of the path where segment i meets the one before it,
// in radians, positive to the left. For an open path, corner 0 is 0.
func (p Path) Corner(i int) float64 {
	j := i - 1
	if j < 0 {
		if !p.Closed {
			return 0
		}
		j = len(p.Segs) - 1
	}
	a, b := p.Segs[j].Tangent(1), p.Segs[i].Tangent(0)
	return math.Atan2(a.Cross(b), a.Dot(b))
}

// Check returns an error if the path has a gap, a segment of no length, or a
// coordinate that is not a number. Gaps up to tol are accepted.
func (p Path) Check(tol float64) error {
	if len(p.Segs) == 0 {
		return fmt.Errorf("geom: path has no segments")
	}
	for i, s := range p.Segs {
		for _, q := range []Vec2{s.From(), s.At(0.5), s.To()} {
			if math.IsNaN(q.X+q.Y) || math.IsInf(q.X+q.Y, 0) {
				return fmt.Errorf("geom: segment %d has a coordinate that is not a number", i+1)
			}
		}
		if s.Length(0, 1) <= tol {
			return fmt.Errorf("geom: segment %d at (%.3f, %.3f) has no length", i+1, s.From().X, s.From().Y)
		}
		j := i + 1
		if j == len(p.Segs) {
			if !p.Closed {
				break
			}
			j = 0
		}
		if g := s.To().Dist(p.Segs[j].From()); g > tol {
			return fmt.Errorf("geom: gap of %.4f mm after segment %d", g, i+1)
		}
	}
	return nil
}

// Cut is the part of the path between the arc lengths a < b. For a closed
// path, b may exceed the length and a may be negative: the run wraps round.
func (p Path) Cut(a, b float64) Path {
	total := p.Length()
	var out Path
	lens := make([]float64, len(p.Segs))
	for i, s := range p.Segs {
		lens[i] = s.Length(0, 1)
	}
	const sliver = 1e-9
	add := func(a, b float64) { // 0 <= a < b <= total
		var s0 float64
		for i, s := range p.Segs {
			lo, hi := max(a, s0), min(b, s0+lens[i])
			if hi-lo > sliver {
				ta, tb := 0.0, 1.0
				if lo > s0 {
					ta = s.paramAt(lo - s0)
				}
				if hi < s0+lens[i] {
					tb = s.paramAt(hi - s0)
				}
				if ta == 0 && tb == 1 {
					out.Segs = append(out.Segs, s)
				} else {
					out.Segs = append(out.Segs, s.Part(ta, tb))
				}
			}
			s0 += lens[i]
		}
	}
	if !p.Closed {
		add(max(a, 0), min(b, total))
		return out
	}
	if b-a >= total-sliver && a == 0 {
		return Path{Segs: slices.Clone(p.Segs), Closed: true}
	}
	shift := math.Floor(a/total) * total
	a, b = a-shift, b-shift
	add(a, min(b, total))
	if b > total {
		add(0, b-total)
	}
	return out
}

// paramAt is the parameter at which the arc length from the segment's start
// is s, by Newton's method guarded by bisection.
func (s Seg) paramAt(at float64) float64 {
	total := s.Length(0, 1)
	if s.Kind == Line || (s.Kind == Arc && s.Rx == s.Ry) {
		return at / total
	}
	lo, hi, t := 0.0, 1.0, at/total
	for range 60 {
		f := s.Length(0, t) - at
		if math.Abs(f) < 1e-12*total {
			break
		}
		if f > 0 {
			hi = t
		} else {
			lo = t
		}
		t -= f / s.Deriv(t).Len()
		if !(t > lo && t < hi) {
			t = (lo + hi) / 2
		}
	}
	return t
}

// AtLength is the segment index and parameter at arc length s from the start.
// Closed paths wrap.
func (p Path) AtLength(at float64) (seg int, t float64) { return p.AtLengthOf(p.Lengths(), at) }

// Lengths are the arc lengths of the segments.
func (p Path) Lengths() []float64 {
	lens := make([]float64, len(p.Segs))
	for i, s := range p.Segs {
		lens[i] = s.Length(0, 1)
	}
	return lens
}

// AtLengthOf is AtLength for who has the path's Lengths at hand, which take
// most of the time.
func (p Path) AtLengthOf(lens []float64, at float64) (seg int, t float64) {
	var total float64
	for _, l := range lens {
		total += l
	}
	if p.Closed && (at < 0 || at > total) {
		at -= math.Floor(at/total) * total
	}
	for i, s := range p.Segs {
		l := lens[i]
		if at <= l || i == len(p.Segs)-1 {
			return i, max(0, min(1, s.paramAt(at)))
		}
		at -= l
	}
	return 0, 0
}

// Nearest is the arc length of the point of the path closest to q, and its
// distance. Curves are searched from samples and refined by Newton's method
// from every sample that is closer than its neighbours.
func (p Path) Nearest(q Vec2) (at, dist float64) {
	dist = math.Inf(1)
	best, bt := -1, 0.0
	for i, s := range p.Segs {
		if t, d := s.nearest(q); d < dist {
			best, bt, dist = i, t, d
		}
	}
	for i, s := range p.Segs {
		if i == best {
			return at + s.Length(0, bt), dist
		}
		at += s.Length(0, 1)
	}
	return 0, dist
}

// nearest is the parameter of the point of the segment closest to q, and its
// distance.
func (s Seg) nearest(q Vec2) (t, dist float64) {
	if s.Kind == Line {
		d := s.Deriv(0)
		t = q.Sub(s.From()).Dot(d) / d.Dot(d)
		if !(t > 0) {
			t = 0
		}
		t = min(t, 1)
		return t, s.At(t).Dist(q)
	}
	const n = 32
	var ds [n + 1]float64
	for k := range ds {
		ds[k] = s.At(float64(k) / n).Dist(q)
	}
	dist = math.Inf(1)
	try := func(u float64) {
		if d := s.At(u).Dist(q); d < dist {
			t, dist = u, d
		}
	}
	for k := range ds {
		if (k > 0 && ds[k-1] < ds[k]) || (k < n && ds[k+1] < ds[k]) {
			continue
		}
		lo, hi := max(0, float64(k-1)/n), min(1, float64(k+1)/n)
		u, settled := float64(k)/n, false
		try(u)
		for range 20 {
			r, d := s.At(u).Sub(q), s.Deriv(u)
			g := d.Dot(d) + r.Dot(s.Deriv2(u))
			if g <= 0 {
				break
			}
			was := u
			u = max(lo, min(hi, u-r.Dot(d)/g))
			if settled = math.Abs(u-was) < 1e-15; settled {
				break
			}
		}
		try(u)
		if !settled || s.At(u).Dist(q) > ds[k] {
			try(peak(func(u float64) float64 { return -s.At(u).Dist(q) }, lo, hi))
		}
	}
	return t, dist
}

// Gauss-Legendre abscissae and weights of order 16 and 8 on [-1, 1], positive
// halves. Source: Abramowitz and Stegun, Handbook of Mathematical Functions,
// table 25.4.
var (
	gauss16 = [8][2]float64{
		{0.095012509837637440185, 0.189450610455068496285}, {0.281603550779258913230, 0.182603415044923588867},
		{0.458016777657227386342, 0.169156519395002538189}, {0.617876244402643748447, 0.149595988816576732081},
		{0.755404408355003033895, 0.124628971255533872052}, {0.865631202387831743880, 0.095158511682492784810},
		{0.944575023073232576078, 0.062253523938647892863}, {0.989400934991649932596, 0.027152459411754094852},
	}
	gauss8 = [4][2]float64{
		{0.183434642495649804939, 0.362683783378361982965}, {0.525532409916328985818, 0.313706645877887287338},
		{0.796666477413626739592, 0.222381034453374470544}, {0.960289856497536231684, 0.101228536290376259153},
	}
)

// integrate is the integral of f from a to b by Gauss-Legendre quadrature of
// order 16, halving the interval until order 8 agrees with it to 1e-11 of the
// integral of |f|. On a smooth function the error of order 16 is about the
// square of that of order 8.
func integrate(f func(float64) float64, a, b float64) float64 {
	rule := func(nodes [][2]float64, a, b float64) (sum, size float64) {
		c, h := (a+b)/2, (b-a)/2
		for _, n := range nodes {
			l, r := f(c-float64(h*n[0])), f(c+float64(h*n[0]))
			sum += n[1] * (l + r)
			size += n[1] * (math.Abs(l) + math.Abs(r))
		}
		return sum * h, math.Abs(size * h)
	}
	if a == b {
		return 0
	}
	whole, size := rule(gauss8[:], a, b)
	// Where f is little but rounding noise no interval is short enough, so the
	// number of intervals is bounded as well as their length.
	budget := 1000
	var refine func(a, b, coarse float64, depth int) float64
	refine = func(a, b, coarse float64, depth int) float64 {
		budget--
		fine, _ := rule(gauss16[:], a, b)
		if depth == 0 || budget <= 0 || !(math.Abs(fine-coarse) > 1e-11*size) { // not a number ends it, too
			return fine
		}
		m := (a + b) / 2
		low, _ := rule(gauss8[:], a, m)
		high, _ := rule(gauss8[:], m, b)
		return refine(a, m, low, depth-1) + refine(m, b, high, depth-1)
	}
	return refine(a, b, whole, 30)
}
