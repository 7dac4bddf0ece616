package surface

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"groundwork/internal/geom"
)

// A round is an infinite surface of revolution that a region may lie on:
// cylinder, cone or sphere.
type round struct {
	kind   Kind
	origin geom.Vec3 // Cylinder, Cone: on the axis; Sphere: the centre
	axis   geom.Vec3 // unit; Cylinder, Cone
	radius float64   // mm; Cone: at origin
	slope  float64   // Cone: growth of the radius along axis
}

// distance is how far p lies outside the surface, seen from its axis or
// centre, mm.
func (q *round) distance(p geom.Vec3) float64 {
	d := p.Sub(q.origin)
	if q.kind == Sphere {
		return d.Len() - q.radius
	}
	z := d.Dot(q.axis)
	return (d.Sub(q.axis.Scale(z)).Len() - q.radius - q.slope*z) / math.Hypot(1, q.slope)
}

// normal is the unit normal at p away from the axis or centre; the zero vector
// on it.
func (q *round) normal(p geom.Vec3) geom.Vec3 {
	d := p.Sub(q.origin)
	if q.kind == Sphere {
		return d.Unit()
	}
	r := offAxis(d, q.axis).Unit()
	if q.kind == Cylinder || r == (geom.Vec3{}) {
		return r
	}
	return r.Sub(q.axis.Scale(q.slope)).Unit()
}

// bend is the surface's radius of curvature across the rulings at p, mm.
func (q *round) bend(p geom.Vec3) float64 {
	d := p.Sub(q.origin)
	if q.kind == Sphere {
		return q.radius
	}
	return max(0, q.radius+q.slope*d.Dot(q.axis)) * math.Hypot(1, q.slope)
}

// solveNormal solves the least squares problem whose normal equations have
// been gathered in a (symmetric, row by row) and b. Every unknown is scaled by
// the size of its own column first.
func solveNormal(a [][]float64, b []float64) ([]float64, bool) {
	n := len(b)
	scale := make([]float64, n)
	for i := range n {
		if a[i][i] <= 0 {
			return nil, false
		}
		scale[i] = 1 / math.Sqrt(a[i][i])
	}
	s := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			s.SetSym(i, j, a[i][j]*scale[i]*scale[j])
		}
	}
	v := mat.NewVecDense(n, nil)
	for i := range n {
		v.SetVec(i, b[i]*scale[i])
	}
	var c mat.Cholesky
	if !c.Factorize(s) || c.Cond() > 1e14 {
		return nil, false
	}
	var x mat.VecDense
	if c.SolveVecTo(&x, v) != nil {
		return nil, false
	}
	out := make([]float64, n)
	for i := range n {
		out[i] = x.AtVec(i) * scale[i]
	}
	return out, true
}

// normalEquations gathers the rows of a least squares problem.
type normalEquations struct {
	a [][]float64
	b []float64
}

func newEquations(n int) *normalEquations {
	e := &normalEquations{a: make([][]float64, n), b: make([]float64, n)}
	for i := range e.a {
		e.a[i] = make([]float64, n)
	}
	return e
}

// add asks for row·x = rhs.
func (e *normalEquations) add(row []float64, rhs float64) {
	for i, r := range row {
		e.b[i] += r * rhs
		for j := i; j < len(row); j++ {
			e.a[i][j] += r * row[j]
		}
	}
}

func centre(points []geom.Vec3) geom.Vec3 {
	var sum geom.Vec3
	for _, p := range points {
		sum = sum.Add(p)
	}
	return sum.Scale(1 / float64(len(points)))
}

// startRound finds the cylinder (slope 0) or cone of a given axis direction
// and slope nearest to the points, by the algebraic fit
//
//	x² + y² − m²z² = 2cₓx + 2c_y y + 2Rm z + k,
//
// which is linear in the centre c and the radius R at z = 0.
func startRound(kind Kind, axis geom.Vec3, slope float64, points []geom.Vec3) (round, bool) {
	f := geom.FrameFromZ(centre(points), axis)
	n := 3
	if kind == Cone {
		n = 4
	}
	e := newEquations(n)
	row := make([]float64, n)
	for _, p := range points {
		l := f.Local(p)
		row[0], row[1], row[2] = 2*l.X, 2*l.Y, 1
		if kind == Cone {
			row[3] = 2 * slope * l.Z
		}
		e.add(row, l.X*l.X+l.Y*l.Y-slope*slope*l.Z*l.Z)
	}
	x, ok := solveNormal(e.a, e.b)
	if !ok {
		return round{}, false
	}
	r := math.Sqrt(max(0, x[2]+x[0]*x[0]+x[1]*x[1]))
	if kind == Cone {
		r = x[3]
	}
	return round{kind: kind, origin: f.Point(geom.V3(x[0], x[1], 0)), axis: f.Z, radius: r, slope: slope}, true
}

// startSphere is the sphere nearest to the points by the algebraic fit
// |p|² = 2c·p + k.
func startSphere(points []geom.Vec3) (round, bool) {
	m := centre(points)
	e := newEquations(4)
	for _, p := range points {
		d := p.Sub(m)
		e.add([]float64{2 * d.X, 2 * d.Y, 2 * d.Z, 1}, d.Dot(d))
	}
	x, ok := solveNormal(e.a, e.b)
	if !ok {
		return round{}, false
	}
	c := geom.V3(x[0], x[1], x[2])
	return round{kind: Sphere, origin: m.Add(c), radius: math.Sqrt(max(0, x[3]+c.Dot(c)))}, true
}

// refine fits the surface to the points by Gauss and Newton's method on the
// distances square to it. Each step moves the frame to the latest axis, so
// that the unknowns are always small: shift and tilt of the axis, change of
// radius and slope.
func (q round) refine(points []geom.Vec3) (round, bool) {
	n := map[Kind]int{Cylinder: 5, Cone: 6, Sphere: 4}[q.kind]
	if len(points) < n {
		return q, false
	}
	m := centre(points)
	row := make([]float64, n)
	last := math.Inf(1)
	for range 20 {
		e := newEquations(n)
		before := q
		if q.kind == Sphere {
			for _, p := range points {
				d := p.Sub(q.origin)
				u := d.Unit()
				row[0], row[1], row[2], row[3] = u.X, u.Y, u.Z, 1
				e.add(row, d.Len()-q.radius)
			}
			x, ok := solveNormal(e.a, e.b)
			if !ok {
				return q, false
			}
			q.origin = q.origin.Add(geom.V3(x[0], x[1], x[2]))
			q.radius += x[3]
			if q.radius <= 0 {
				return q, false
			}
		} else {
			// The origin slides along the axis to the middle of the points,
			// where tilt and shift are least entangled.
			slide := m.Sub(q.origin).Dot(q.axis)
			q.origin = q.origin.Add(q.axis.Scale(slide))
			q.radius += q.slope * slide
			before = q
			f := geom.FrameFromZ(q.origin, q.axis)
			for _, p := range points {
				l := f.Local(p)
				rho := math.Hypot(l.X, l.Y)
				if rho == 0 {
					continue
				}
				cx, cy := l.X/rho, l.Y/rho
				row[0], row[1], row[2], row[3], row[4] = cx, cy, l.Z*cx, l.Z*cy, 1
				if q.kind == Cone {
					// Tilting the axis moves points along it, too, where the
					// surface slopes.
					row[2], row[3] = l.Z*cx+q.slope*l.X, l.Z*cy+q.slope*l.Y
					row[5] = l.Z
				}
				e.add(row, rho-q.radius-q.slope*l.Z)
			}
			x, ok := solveNormal(e.a, e.b)
			if !ok || math.Hypot(x[2], x[3]) > 1 {
				return q, false
			}
			q.origin = q.origin.Add(f.X.Scale(x[0])).Add(f.Y.Scale(x[1]))
			q.axis = f.Z.Add(f.X.Scale(x[2])).Add(f.Y.Scale(x[3])).Unit()
			q.radius += x[4]
			if q.kind == Cone {
				q.slope += x[5]
			}
			if q.radius <= 0 {
				return q, false
			}
		}
		worst := q.worst(points)
		if worst > last && worst > 1e-9*q.radius {
			return before, true // no longer gaining: rounding has the word
		}
		if worst > 0.999*last {
			return q, true
		}
		last = worst
	}
	return q, true
}

// worst is the greatest distance of a point from the surface.
func (q *round) worst(points []geom.Vec3) float64 {
	d := 0.0
	for _, p := range points {
		d = max(d, math.Abs(q.distance(p)))
	}
	return d
}
