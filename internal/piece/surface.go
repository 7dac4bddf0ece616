package piece

import (
	"fmt"
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

const (
	// level is the slope below which a direction counts as square to an axis.
	// Over a metre it amounts to 1e-4 µm.
	level = 1e-7
	// touch is the distance in mm within which planes count as coincident and
	// below which a strip has no width.
	touch = 1e-9
)

// Surfaces are the smooth regions of the member in member coordinates, in a
// fixed order that does not depend on the end cuts:
//
//	board:   back, face, edge-1 …, cutout-1-edge-1 …, cut-1 …
//	turning: side-1 …, low-end, high-end, cut-1 …
//	solid:   its faces, by Solid.Names
//
// The tag of a surface is its index. A surface that the end cuts take away
// altogether stays in the list, with an empty Region. Curved borders of a
// Region are flattened so that no chord strays further than chord mm from
// them (0: solid.DefaultChord). Areas do not depend on chord, except, slightly,
// that of a section of a turning whose border another end cut crosses.
func (m Member) Surfaces(chord float64) []Surface {
	if chord <= 0 {
		chord = solid.DefaultChord
	}
	var out []Surface
	add := func(s Surface) {
		s.Tag = solid.Tag(len(out))
		if len(s.Run.Segs) > 0 {
			s.lengths = s.Run.Lengths()
		}
		out = append(out, s)
	}
	switch {
	case m.Solid != nil:
		return m.Solid.surfaces(chord)
	case m.Board != nil:
		b := m.Board
		back := geom.Frame{X: geom.V3(-1, 0, 0), Y: geom.V3(0, 1, 0), Z: geom.V3(0, 0, -1)}
		face := geom.World()
		face.Origin.Z = b.Thickness
		add(m.flat("back", Face, back, b.paths(), chord))
		add(m.flat("face", Face, face, b.paths(), chord))
		for k := range b.Outline.Runs() {
			add(m.edge(fmt.Sprintf("edge-%d", k+1), b.Outline.RunPath(k), chord))
		}
		for i, c := range b.Cutouts {
			for k := range c.Runs() {
				s := m.edge(fmt.Sprintf("cutout-%d-edge-%d", i+1, k+1), c.RunPath(k), chord)
				s.Inside = true
				add(s)
			}
		}
	case m.Turning != nil:
		t := m.Turning
		for k := range t.Runs() {
			add(m.side(fmt.Sprintf("side-%d", k+1), t.RunPath(k), chord))
		}
		low, high := t.ends()
		add(m.flat("low-end", EndOf, discFrame(low.Y, -1), []geom.Path{circle(low.X)}, chord))
		add(m.flat("high-end", EndOf, discFrame(high.Y, 1), []geom.Path{circle(high.X)}, chord))
	}
	for i := range m.EndCuts {
		add(m.cut(i, chord))
	}
	return out
}

// paths are the outline and the cut-outs of the board.
func (b *Board) paths() []geom.Path {
	out := []geom.Path{b.Outline.Path}
	for _, c := range b.Cutouts {
		out = append(out, c.Path)
	}
	return out
}

// circle is the circle of radius r about the origin, counter-clockwise from
// angle 0.
func circle(r float64) geom.Path {
	return geom.Path{Segs: []geom.Seg{geom.ArcOf(geom.Vec2{}, r, r, 0, 0, 2*math.Pi)}, Closed: true}
}

// discFrame is the chart frame of a level plane at height z that faces up
// (dir 1) or down (-1).
func discFrame(z, dir float64) geom.Frame {
	return geom.Frame{Origin: geom.V3(0, 0, z), X: geom.V3(dir, 0, 0), Y: geom.V3(0, 1, 0), Z: geom.V3(0, 0, dir)}
}

// straight reports whether all segments lie in one line.
func straight(p geom.Path) bool {
	for i, s := range p.Segs {
		if s.Kind != geom.Line || (i > 0 && math.Abs(p.Corner(i)) > smooth) {
			return false
		}
	}
	return true
}

// Point is the point of the surface at uv, in member coordinates. uv need not
// lie in the Region, but u of an open edge and v of a Free side are held to
// the ends of the run.
func (s Surface) Point(uv geom.Vec2) geom.Vec3 {
	switch {
	case s.Patch != nil:
		return s.Patch.Point(uv)
	case s.Kind == Plane || s.unlaid():
		return s.Frame.Point(geom.V3(uv.X, uv.Y, 0))
	case s.Kind == Extruded:
		i, t := s.runAt(uv.X)
		p := s.Run.Segs[i].At(t)
		return s.Frame.Point(geom.V3(p.X, p.Y, uv.Y))
	}
	angle, along := s.polar(uv)
	p := s.profileAt(along)
	sn, cs := math.Sincos(angle)
	return s.Frame.Point(geom.V3(p.X*cs, p.X*sn, p.Y))
}

// Normal is the unit normal at uv, out of the member, in member coordinates.
func (s Surface) Normal(uv geom.Vec2) geom.Vec3 {
	switch {
	case s.Patch != nil:
		return s.Patch.Normal(uv)
	case s.Kind == Plane || s.unlaid():
		return s.Frame.Z
	case s.Kind == Extruded:
		i, t := s.runAt(uv.X)
		n := s.Run.Segs[i].Tangent(t).Right()
		return s.Frame.Dir(geom.V3(n.X, n.Y, 0))
	}
	angle, along := s.polar(uv)
	i, t := s.runAt(along)
	n := s.Run.Segs[i].Tangent(t).Right()
	sn, cs := math.Sincos(angle)
	return s.Frame.Dir(geom.V3(n.X*cs, n.X*sn, n.Y))
}

// Chart is the place in the chart of p, a point of the surface in member
// coordinates: the inverse of Point. Angles run from 0 up to 2π.
func (s Surface) Chart(p geom.Vec3) geom.Vec2 {
	q := s.Frame.Local(p)
	switch {
	case s.Patch != nil:
		return s.Patch.Chart(p)
	case s.Kind == Plane || s.unlaid():
		return q.XY()
	case s.Kind == Extruded:
		u, _ := s.Run.Nearest(q.XY())
		return geom.V2(u, q.Z)
	}
	angle := q.XY().Angle()
	if angle < 0 {
		angle += 2 * math.Pi
	}
	along, _ := s.Run.Nearest(geom.V2(q.XY().Len(), q.Z))
	return s.unroll(angle, along)
}

// runAt is the segment of the run, and the place on it, at an arc length.
func (s Surface) runAt(along float64) (seg int, t float64) {
	if s.lengths == nil {
		return s.Run.AtLength(along)
	}
	return s.Run.AtLengthOf(s.lengths, along)
}

// unlaid reports whether the surface has no chart; it is then taken for a plane
// at one of its points.
func (s Surface) unlaid() bool { return s.Patch == nil && len(s.Run.Segs) == 0 }

// profileAt is the point (radius, z) of a side at the arc length along its
// profile. Straight profiles continue beyond their ends.
func (s Surface) profileAt(along float64) geom.Vec2 {
	if s.Kind == Free {
		i, t := s.runAt(along)
		return s.Run.Segs[i].At(t)
	}
	a, b := s.Run.Segs[0].From(), s.Run.Segs[len(s.Run.Segs)-1].To()
	return a.Lerp(b, along/a.Dist(b))
}

// unroll carries the angle about the axis and the arc length along the
// profile of a side to its chart.
func (s Surface) unroll(angle, along float64) geom.Vec2 {
	a := s.Run.Segs[0].From()
	switch s.Kind {
	case Cylinder:
		return geom.V2(a.X*angle, a.Y+along)
	case Cone:
		b := s.Run.Segs[len(s.Run.Segs)-1].To()
		return conePoint(a, b, angle, along)
	}
	return geom.V2(s.widest()*angle, along)
}

// polar is the inverse of unroll.
func (s Surface) polar(uv geom.Vec2) (angle, along float64) {
	a := s.Run.Segs[0].From()
	switch s.Kind {
	case Cylinder:
		return uv.X / a.X, uv.Y - a.Y
	case Cone:
		b := s.Run.Segs[len(s.Run.Segs)-1].To()
		return coneInverse(a, b, uv)
	}
	return uv.X / s.widest(), uv.Y
}

// widest is the largest radius of a side.
func (s Surface) widest() float64 { return s.Run.Bounds().Max.X }

// conePoint unrolls the cone made by revolving the line from a to b, points
// (radius, z): the point at angle about the axis and at the distance along
// from a lies in the sector about the apex, which is the chart's origin, at
//
//	radius σ = r / sin β and angle φ = angle · sin β
//
// where β is the half-angle of the cone. φ is measured from the v axis, so
// that at angle 0 the chart's u runs round the axis and its v up the slope: if
// the cone widens upward the point is (σ sin φ, σ cos φ), otherwise
// (σ sin φ, −σ cos φ).
func conePoint(a, b geom.Vec2, angle, along float64) geom.Vec2 {
	sin := (b.X - a.X) / a.Dist(b) // signed: positive if the cone widens upward
	r := a.X + along*sin
	sn, cs := math.Sincos(angle * math.Abs(sin))
	return geom.V2(r/math.Abs(sin)*sn, r/sin*cs)
}

// coneInverse undoes conePoint. Points to the left of the sector's middle gap
// get an angle above the full turn, those to the right of it one below 0.
func coneInverse(a, b, uv geom.Vec2) (angle, along float64) {
	sin := (b.X - a.X) / a.Dist(b)
	phi := math.Atan2(uv.X, math.Copysign(1, sin)*uv.Y)
	full := 2 * math.Pi * math.Abs(sin)
	if phi < -(2*math.Pi-full)/2 {
		phi += 2 * math.Pi
	}
	return phi / math.Abs(sin), (uv.Len()*math.Abs(sin) - a.X) / sin
}

// Bend is how tightly a surface is curved where it is curved most.
type Bend struct {
	Radius float64   // mm, positive; +Inf for a plane
	Hollow bool      // the surface is concave there, seen from outside
	At     geom.Vec2 // in the chart
	AxisV  bool      // the axis of bending lies along v there (for a cone: along the rulings), so that u bends
}

// MinRadius is the tightest bend of the surface before end cuts. Corners below
// the break angle inside an edge are not counted. For a Free side it is the
// smaller of the two principal radii. A surface laid by its triangles is
// measured between their corners.
func (s Surface) MinRadius() Bend {
	flat := Bend{Radius: math.Inf(1), AxisV: true}
	if s.Patch != nil {
		r, hollow, at, bends := s.Patch.Tightest()
		return Bend{r, hollow, at, math.Abs(bends.X) >= math.Abs(bends.Y)}
	}
	if s.unlaid() {
		return flat
	}
	total := s.Run.Length()
	switch s.Kind {
	case Extruded:
		r, at := s.Run.MinRadius(0, total)
		return Bend{math.Abs(r), r < 0, geom.V2(at, 0), true}
	case Cylinder:
		return Bend{s.Run.Segs[0].From().X, false, s.unroll(0, 0), true}
	case Cone:
		a, b := s.Run.Segs[0].From(), s.Run.Segs[len(s.Run.Segs)-1].To()
		along, r := 0.0, a.X
		if b.X < r {
			along, r = total, b.X
		}
		// Across the rulings the normal curvature is cos β / r.
		return Bend{r * a.Dist(b) / math.Abs(b.Y-a.Y), false, s.unroll(0, along), true}
	case Free:
		best := flat
		if r, at := s.Run.MinRadius(0, total); !math.IsInf(r, 0) {
			best = Bend{math.Abs(r), r < 0, s.unroll(0, at), false}
		}
		for _, q := range s.Run.Flatten(1e-3) {
			n := s.Run.Segs[q.Seg].Tangent(q.T).Right()
			if k := n.X / q.P.X; math.Abs(k) > 1/best.Radius {
				best = Bend{1 / math.Abs(k), k < 0, s.unroll(0, q.S), true}
			}
		}
		return best
	}
	return flat
}

// Curvature is the normal curvature of the surface in 1/mm at uv along the
// chart's u and v, positive where the surface is convex seen from outside.
// For a cone they are those round the axis and along the ruling.
func (s Surface) Curvature(uv geom.Vec2) (alongU, alongV float64) {
	switch {
	case s.Patch != nil:
		return s.Patch.Curvature(uv, geom.V2(1, 0)), s.Patch.Curvature(uv, geom.V2(0, 1))
	case s.Kind == Plane || s.unlaid():
		return 0, 0
	case s.Kind == Extruded:
		i, t := s.runAt(uv.X)
		return s.Run.Segs[i].Curvature(t), 0
	}
	_, along := s.polar(uv)
	p := s.profileAt(along)
	i, t := s.runAt(along)
	g := s.Run.Segs[i]
	return g.Tangent(t).Right().X / p.X, g.Curvature(t)
}
