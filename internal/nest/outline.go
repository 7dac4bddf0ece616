package nest

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

const micron = 1000 // µm per mm

// point is a point or a displacement in whole micrometres.
type point struct{ x, y int64 }

func (a point) sub(b point) point   { return point{a.x - b.x, a.y - b.y} }
func (a point) add(b point) point   { return point{a.x + b.x, a.y + b.y} }
func (a point) cross(b point) int64 { return a.x*b.y - a.y*b.x }

// turnOf is the sign of the turn a, b, c: positive when c lies to the left of
// the line from a to b, 0 when the three are collinear. Exact within maxSpan.
func turnOf(a, b, c point) int64 {
	d := b.sub(a).cross(c.sub(a))
	switch {
	case d > 0:
		return 1
	case d < 0:
		return -1
	}
	return 0
}

// outline is a region in whole micrometres: outer loops counter-clockwise,
// holes clockwise, with no repeated point, no collinear vertex and no spike.
type outline []loop

// loop is a closed run of points; the last is joined to the first.
type loop []point

var (
	errNoArea  = errors.New("the outline encloses no area")
	errCrossed = errors.New("the outline crosses itself")
	errFinite  = fmt.Errorf("the outline has a coordinate that is not a number below %g m", maxSpan/1e6)
)

// outlineOf is the shape turned about its origin and rounded to micrometres.
// Loops of no area vanish. Loops may be given in either direction: which are
// holes follows from their nesting.
func outlineOf(shape geom.Polygons, turn float64) (outline, error) {
	var out outline
	for _, loop := range shape {
		pts := make([]point, 0, len(loop))
		for _, v := range loop {
			v = v.Rotate(turn).Scale(micron)
			if !(math.Abs(v.X) <= maxSpan/2 && math.Abs(v.Y) <= maxSpan/2) {
				return nil, errFinite
			}
			pts = append(pts, point{int64(math.Round(v.X)), int64(math.Round(v.Y))})
		}
		if pts = tidy(pts); len(pts) >= 3 {
			out = append(out, pts)
		}
	}
	if len(out) == 0 {
		return nil, errNoArea
	}
	if out.crossed() {
		return nil, errCrossed
	}
	for i, loop := range out {
		// Loops do not cross, so one point of a loop that is not on the other
		// loops' boundary tells how deep it is nested. Midpoints of edges are
		// taken, in half micrometres, since vertices touch more often.
		depth := 0
		for j, other := range out {
			if i != j && loop.inside(other) {
				depth++
			}
		}
		if (twiceArea(loop) > 0) != (depth%2 == 0) {
			slices.Reverse(loop)
		}
	}
	return out, nil
}

// tidy drops points that repeat their predecessor or lie on the line through
// their neighbours (which also removes spikes) until none is left.
func tidy(p []point) []point {
	for again := true; again && len(p) >= 3; {
		again = false
		q := make([]point, 0, len(p))
		for _, c := range p {
			for len(q) >= 2 && turnOf(q[len(q)-2], q[len(q)-1], c) == 0 {
				q = q[:len(q)-1]
				again = true
			}
			if len(q) > 0 && q[len(q)-1] == c {
				again = true
				continue
			}
			q = append(q, c)
		}
		// the seam between the last and the first point
		for len(q) >= 3 && (q[len(q)-1] == q[0] || turnOf(q[len(q)-2], q[len(q)-1], q[0]) == 0) {
			q = q[:len(q)-1]
			again = true
		}
		for len(q) >= 3 && turnOf(q[len(q)-1], q[0], q[1]) == 0 {
			q = q[1:]
			again = true
		}
		p = q
	}
	if len(p) < 3 {
		return nil
	}
	return p
}

// twiceArea is twice the signed area, in µm².
func twiceArea(p []point) int64 {
	var sum int64
	for i := 1; i+1 < len(p); i++ {
		sum += p[i].sub(p[0]).cross(p[i+1].sub(p[0]))
	}
	return sum
}

func (o outline) area() float64 { // mm²
	var sum int64
	for _, loop := range o {
		sum += twiceArea(loop)
	}
	return float64(sum) / (2 * micron * micron)
}

// bounds are the least and greatest coordinates.
func (o outline) bounds() (lo, hi point) {
	lo, hi = o[0][0], o[0][0]
	for _, loop := range o {
		for _, p := range loop {
			lo = point{min(lo.x, p.x), min(lo.y, p.y)}
			hi = point{max(hi.x, p.x), max(hi.y, p.y)}
		}
	}
	return lo, hi
}

// transposed is the outline with x and y exchanged, still counter-clockwise.
func (o outline) transposed() outline {
	out := make(outline, len(o))
	for i, loop := range o {
		q := make([]point, len(loop))
		for j, p := range loop {
			q[len(loop)-1-j] = point{p.y, p.x}
		}
		out[i] = q
	}
	return out
}

// inside reports whether the loop lies within the other one, judged by the
// first of its edges whose midpoint is not on the other's boundary.
func (loop loop) inside(other loop) bool {
	for i, a := range loop {
		m := a.add(loop[(i+1)%len(loop)]) // twice the midpoint
		if side := other.locate(m); side != 0 {
			return side > 0
		}
	}
	return false
}

// locate is +1 when the point m/2 lies inside the loop by the even-odd rule,
// -1 outside, 0 on the boundary.
func (loop loop) locate(m point) int {
	in := -1
	for i, a := range loop {
		b := loop[(i+1)%len(loop)]
		a, b = point{2 * a.x, 2 * a.y}, point{2 * b.x, 2 * b.y}
		t := turnOf(a, b, m)
		if t == 0 && min(a.x, b.x) <= m.x && m.x <= max(a.x, b.x) && min(a.y, b.y) <= m.y && m.y <= max(a.y, b.y) {
			return 0
		}
		if (a.y > m.y) != (b.y > m.y) && (t > 0) == (b.y > a.y) {
			in = -in
		}
	}
	return in
}

// crossed reports whether two edges cross at a point inside both.
func (o outline) crossed() bool {
	type edge struct{ a, b point }
	var es []edge
	for _, loop := range o {
		for i, a := range loop {
			b := loop[(i+1)%len(loop)]
			if a.x > b.x {
				a, b = b, a
			}
			es = append(es, edge{a, b})
		}
	}
	slices.SortFunc(es, func(e, f edge) int { return cmp.Compare(e.a.x, f.a.x) })
	for i, e := range es {
		for _, f := range es[i+1:] {
			if f.a.x >= e.b.x {
				break
			}
			if max(e.a.y, e.b.y) <= min(f.a.y, f.b.y) || max(f.a.y, f.b.y) <= min(e.a.y, e.b.y) {
				continue
			}
			if turnOf(e.a, e.b, f.a)*turnOf(e.a, e.b, f.b) < 0 && turnOf(f.a, f.b, e.a)*turnOf(f.a, f.b, e.b) < 0 {
				return true
			}
		}
	}
	return false
}
