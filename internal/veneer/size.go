package veneer

import (
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/unfold"
)

// This file holds the lengths of veneer bent round a core. The stack is as
// long as its neutral surface, which lies k above the core (half the stack
// unless a coupon says otherwise): along an outline of signed curvature κ,
// positive where it is convex, the length is ∫ (1 + κ k) ds = s + k × turning.

// BandLength is the net length in mm of a band along a stretch of core of
// length s that turns by the angle turning in radians (positive: convex), with
// the neutral surface k above the core. Round a simple closed rim the turning
// is 2π, whatever the rim's shape.
func BandLength(s, turning, k float64) float64 { return s + k*turning }

// CornerSecond is what the band laid second at a convex corner gets beyond the
// core's corner, so that it covers the end of the first: v/sin τ for a first
// band of thickness v and a corner that turns by tau radians. At a re-entrant
// corner it is what the second band gets less.
func CornerSecond(v, tau float64) float64 { return v / math.Sin(tau) }

// CornerFirst is what the band laid first gets beyond the core's corner:
// v |cot τ| where the corner turns by more than a right angle, so that its end
// can be trimmed in the plane of the other side, else nothing.
func CornerFirst(v, tau float64) float64 {
	if tau <= math.Pi/2+1e-9 {
		return 0
	}
	return v * math.Abs(math.Cos(tau)/math.Sin(tau))
}

// Sector is the flat pattern of a cone frustum.
type Sector struct {
	Slant  float64 // mm
	Beta   float64 // half-angle of the cone, radians
	Angle  float64 // of the sector, radians
	R1, R2 float64 // radii of the sector, mm, R1 < R2
}

// ConeSector is the pattern of the veneer round a frustum with the end radii
// r1 and r2 (different) and the axial height h, its neutral surface k above
// the core: the neutral radii are r + k cos β, those of the sector 1/sin β
// times that, and its angle is 2π sin β.
func ConeSector(r1, r2, h, k float64) Sector {
	if r1 > r2 {
		r1, r2 = r2, r1
	}
	b := math.Atan2(r2-r1, h)
	sn, cs := math.Sincos(b)
	return Sector{Slant: math.Hypot(h, r2-r1), Beta: b, Angle: 2 * math.Pi * sn, R1: (r1 + k*cs) / sn, R2: (r2 + k*cs) / sn}
}

// neutral carries the chart of a core's surface to the flat pattern of the
// veneer on it.
type neutral struct {
	s *piece.Surface
	k float64
	// Extruded: arc length and length in the veneer at the ends of every
	// segment, folds left out; and the folds.
	u, w  []float64
	folds []fold
	// With a patch: the neutral surface laid flat, nil where there is none.
	offset *unfold.Patch
	err    error // why there is none
}

// fold is a corner below the break angle, which a band is bent round.
type fold struct{ u, turn float64 }

// foldReach is how far to either side of a fold, in mm, the length that the
// veneer gains there is spread: no sheet bends at a point.
const foldReach = 1.0

func newNeutral(s *piece.Surface, k float64) *neutral {
	n := &neutral{s: s, k: k}
	if s.Patch != nil {
		n.offset, n.err = s.Patch.Offset(k)
		return n
	}
	if s.Kind == piece.Extruded {
		var u, w float64
		n.u, n.w = []float64{0}, []float64{0}
		for i, g := range s.Run.Segs {
			if turn := s.Run.Corner(i); math.Abs(turn) > 1e-9 {
				n.folds = append(n.folds, fold{u, turn})
			}
			u += g.Length(0, 1)
			w += g.Length(0, 1) + k*turningOf(g)
			n.u, n.w = append(n.u, u), append(n.w, w)
		}
	}
	return n
}

// bent is what folds have added from the surface's start to u.
func (n *neutral) bent(u float64) float64 {
	var sum float64
	for _, f := range n.folds {
		ramp := func(x float64) float64 { return max(0, min(1, x/(2*foldReach)+0.5)) }
		if f.u == 0 { // half of it at either end of the chart
			sum += f.turn * (ramp(u) - 0.5 + ramp(u-n.s.Length))
			continue
		}
		sum += f.turn * ramp(u-f.u)
	}
	return n.k * sum
}

func turningOf(g geom.Seg) float64 {
	p := geom.Path{Segs: []geom.Seg{g}}
	return p.Turning(0, p.Length())
}

// total is the length once round a closed surface.
func (n *neutral) total() float64 {
	switch n.s.Kind {
	case piece.Cylinder:
		return BandLength(n.s.Length, 2*math.Pi, n.k)
	case piece.Extruded:
		if n.s.Closed {
			return BandLength(n.s.Length, math.Copysign(2*math.Pi, n.s.Run.Area()), n.k)
		}
		return n.w[len(n.w)-1] + n.bent(n.s.Length)
	}
	return n.s.Length
}

// along is the length in the veneer from the surface's start to the arc length
// u on the core.
func (n *neutral) along(u float64) float64 {
	switch {
	case n.s.Kind == piece.Cylinder:
		return u * n.total() / n.s.Length
	case n.s.Kind != piece.Extruded:
		return u
	}
	turns := 0.0
	if n.s.Closed {
		turns = math.Floor(u / n.s.Length)
		if u == n.s.Length { // the end, not the start again
			turns = 0
		}
		u -= turns * n.s.Length
	}
	i := 0
	for i+2 < len(n.u) && u > n.u[i+1] {
		i++
	}
	rest := u - n.u[i]
	w := n.w[i] + rest
	if rest > 0 {
		if l := n.u[i+1] - n.u[i]; rest < l {
			w += n.k * turningTo(n.s.Run.Segs[i], rest)
		} else {
			w += n.w[i+1] - n.w[i] - l
		}
	}
	w += n.bent(u)
	if turns != 0 {
		w += turns * n.total()
	}
	return w
}

// turningTo is the turning of a segment from its start to the arc length s:
// the angle between the tangents, followed step by step so that a whole turn
// is not lost.
func turningTo(g geom.Seg, s float64) float64 {
	if g.Kind == geom.Line {
		return 0
	}
	_, t := (geom.Path{Segs: []geom.Seg{g}}).AtLength(s)
	const steps = 8
	var sum float64
	last := g.Tangent(0)
	for k := 1; k <= steps; k++ {
		next := g.Tangent(t * float64(k) / steps)
		sum += math.Atan2(last.Cross(next), last.Dot(next))
		last = next
	}
	return sum
}

// back is the inverse of along.
func (n *neutral) back(w float64) float64 {
	u := w
	for range 30 { // converges by the factor k/R at every step
		d := n.along(u) - w
		u -= d
		if math.Abs(d) < 1e-11 {
			return u
		}
	}
	lo, hi := w-10-10*n.k, w+10+10*n.k
	for n.along(lo) > w {
		lo -= 10 + 10*n.k
	}
	for n.along(hi) < w {
		hi += 10 + 10*n.k
	}
	for range 60 {
		mid := (lo + hi) / 2
		if n.along(mid) < w {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// flat carries a point of the chart to the pattern.
func (n *neutral) flat(q geom.Vec2) geom.Vec2 {
	if n.offset != nil {
		return n.s.Patch.Carry(q, n.offset)
	}
	switch n.s.Kind {
	case piece.Extruded, piece.Cylinder:
		return geom.V2(n.along(q.X), q.Y)
	case piece.Cone: // away from the apex by k cot β
		a, b := coneEnds(n.s)
		r := q.Len()
		if r < 1e-9 { // the point of a cone: the leaf goes on to its own
			return q
		}
		return q.Scale((r + n.k*(b.Y-a.Y)/math.Abs(b.X-a.X)) / r)
	}
	return q
}

func coneEnds(s *piece.Surface) (a, b geom.Vec2) {
	return s.Run.Segs[0].From(), s.Run.Segs[len(s.Run.Segs)-1].To()
}

// sine is the sine of a cone's half-angle.
func sine(s *piece.Surface) float64 {
	a, b := coneEnds(s)
	return math.Abs(b.X-a.X) / a.Dist(b)
}
