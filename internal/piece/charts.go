package piece

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
	"groundwork/internal/surface"
	"groundwork/internal/unfold"
)

// This file lays the faces of a Solid flat. Borders come from surface.Rims,
// drawn along the true curves between faces; areas are those of the borders in
// the chart, with every side counted as the parabola through the point that is
// known in its middle, so that they hardly depend on the chord. Charts laid
// triangle by triangle keep the mesh's own borders and area.

// surfaces are those of a solid, one for each face.
func (s *Solid) surfaces(chord float64) []Surface {
	if s.frames == nil { // made without NewSolid
		t := NewSolid(s.Shape)
		if s.Names != nil {
			t.Names = s.Names
		}
		if s.Roles != nil {
			t.Roles = s.Roles
		}
		s = t
	}
	return s.drawn.get(chord, func() []Surface { return s.draw(chord) })
}

func (s *Solid) draw(chord float64) []Surface {
	plain := make([]bool, len(s.Shape.Faces)) // faces whose mesh counts
	for {
		rims := s.Shape.Rims(chord, plain)
		again := false
		out := make([]Surface, len(plain))
		for i := range out {
			f := &s.Shape.Faces[i]
			sf := Surface{Name: s.Names[i], Tag: solid.Tag(i), Role: s.Roles[i], Inside: s.inside[i], Frame: s.frames[i]}
			laid := false
			switch f.Kind {
			case surface.Plane:
				laid = sf.layPlane(rims[i])
			case surface.Cylinder, surface.Cone:
				laid = !plain[i] && sf.layRound(f, rims[i])
			}
			// Of a few large facets the true surface is a guess. Where it does
			// not bear out, the mesh counts.
			if laid && !plain[i] && !sf.sound(f) {
				plain[i], again = true, true
			}
			if !laid && !again {
				s.layPatch(i, &sf)
			}
			slices.SortStableFunc(sf.Region, func(a, b geom.Polygon) int { return cmp.Compare(b.Area(), a.Area()) })
			out[i] = sf
		}
		if !again {
			return out
		}
	}
}

// sound reports whether what was laid by formula agrees with the facets: the
// area is theirs within what a curve of eight facets to the turn may add, and
// the borders do not cross.
func (sf *Surface) sound(f *surface.Face) bool {
	if math.Abs(sf.Area-f.Area) > 0.25*f.Area {
		return false
	}
	if math.Abs(sf.Area-f.Area) < 0.01*f.Area {
		return true // a crossing would have cost more
	}
	_, crossing := sf.Region.Crossing()
	return !crossing
}

func (sf *Surface) layPlane(rims []surface.Rim) bool {
	sf.Kind = Plane
	flat := func(p geom.Vec3) geom.Vec2 { return sf.Frame.Local(p).XY() }
	for _, r := range rims {
		p, area := traced(r, flat)
		sf.Region = append(sf.Region, p)
		sf.Area += area
	}
	return true
}

// traced carries a rim to a chart and gives its area there.
func traced(r surface.Rim, flat func(geom.Vec3) geom.Vec2) (geom.Polygon, float64) {
	p := make(geom.Polygon, len(r.Points))
	for i, q := range r.Points {
		p[i] = flat(q)
	}
	area := p.Area()
	for i, q := range r.Middle {
		area += sliver(p[i], flat(q), p[(i+1)%len(p)])
	}
	return p, area
}

// sliver is the area between the chord from a to b and the parabola through m,
// where the parameter is a half: four thirds of the triangle. Positive to the
// right of the chord.
func sliver(a, m, b geom.Vec2) float64 { return 2.0 / 3 * m.Sub(a).Cross(b.Sub(a)) }

// layRound lays a cylinder, or a cone that bulges, by its formula. false if it
// has none: a hollow cone, or a strip that winds about the axis like a thread.
func (sf *Surface) layRound(f *surface.Face, rims []surface.Rim) bool {
	if f.Kind == surface.Cone && f.Hollow {
		return false
	}
	// Borders as angles about the axis, without jumps, and heights.
	var loops []roundLoop
	full := true
	lo, hi := math.Inf(1), math.Inf(-1) // angles, all of them where the face does not go round
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range rims {
		l := sf.roundLoop(r)
		for i, p := range l.points {
			lo, hi = min(lo, p.X, l.middle[i].X), max(hi, p.X, l.middle[i].X)
			low, high = min(low, p.Y, l.middle[i].Y), max(high, p.Y, l.middle[i].Y)
		}
		loops = append(loops, l)
	}
	around := 0
	for _, l := range loops {
		if l.turns != 0 {
			around++
		}
	}
	apex := math.NaN()
	switch {
	case around == 0 && hi < 2*math.Pi:
		full = false
	case around == 1 && f.Kind == surface.Cone:
		apex = sf.Frame.Local(f.Frame.Point(geom.V3(0, 0, -f.Radius/f.Slope))).Z
		low, high = min(low, apex), max(high, apex)
	case around != 2:
		return false
	}
	radius := func(z float64) float64 {
		if f.Kind == surface.Cylinder {
			return f.Radius
		}
		q := f.Frame.Local(sf.Frame.Point(geom.V3(0, 0, z)))
		return max(0, f.Radius+f.Slope*q.Z)
	}
	a, b := geom.V2(radius(low), low), geom.V2(radius(high), high)
	if b.Y-a.Y < 1e-9 {
		return false
	}
	period := 2 * math.Pi
	flat := func(p geom.Vec2) geom.Vec2 { return p } // (angle, height) to the plane in which seams are upright
	unroll := flat                                   // from there to the chart
	switch {
	case f.Kind == surface.Cone:
		sf.Kind, sf.Run = Cone, geom.Path{Segs: []geom.Seg{geom.LineTo(a, b)}}
		slant := a.Dist(b) / (b.Y - a.Y)
		unroll = func(p geom.Vec2) geom.Vec2 { return conePoint(a, b, p.X, (p.Y-a.Y)*slant) }
	case full && !f.Hollow:
		sf.Kind, sf.Run = Cylinder, geom.Path{Segs: []geom.Seg{geom.LineTo(a, b)}}
		sf.Closed, sf.Length, period = true, 2*math.Pi*f.Radius, 2*math.Pi*f.Radius
		flat = func(p geom.Vec2) geom.Vec2 { return geom.V2(f.Radius*p.X, p.Y) }
	default:
		sf.Kind = Extruded
		from, sweep := lo, hi-lo
		if full {
			from, sweep, period = 0, 2*math.Pi, 2*math.Pi*f.Radius
		}
		sf.Closed, sf.Length = full, f.Radius*sweep
		if f.Hollow { // the run goes clockwise, so that its right is the axis
			if !full {
				from = hi
			}
			sweep = -sweep
		}
		sf.Run = geom.Path{Segs: []geom.Seg{geom.ArcOf(geom.Vec2{}, f.Radius, f.Radius, 0, from, sweep)}, Closed: full}
		flat = func(p geom.Vec2) geom.Vec2 {
			if f.Hollow {
				return geom.V2(f.Radius*(from-p.X), p.Y)
			}
			return geom.V2(f.Radius*(p.X-from), p.Y)
		}
	}
	var strips, holes []geom.Polygon // loops that go round, and others
	for _, l := range loops {
		p := make(geom.Polygon, len(l.points))
		for i, q := range l.points {
			p[i] = flat(q)
			next := l.points[(i+1)%len(l.points)]
			if i+1 == len(l.points) {
				next.X += 2 * math.Pi * float64(l.turns)
			}
			sf.Area += sf.under(unroll(flat(q)), unroll(flat(l.middle[i])), unroll(flat(next)))
		}
		if l.turns != 0 {
			strips = append(strips, p)
		} else {
			holes = append(holes, p)
		}
	}
	if !full {
		sf.Region = geom.Polygons(holes).Map(unroll)
		return true
	}
	if !math.IsNaN(apex) {
		strips = append(strips, geom.Polygon{{X: 0, Y: apex}})
	}
	region, ok := cutOpen(strips, holes, period)
	if !ok {
		return false
	}
	for _, p := range region {
		p = slices.CompactFunc(p.Map(unroll), func(a, b geom.Vec2) bool { return a.Dist(b) < touch }) // seams meet in an apex
		if n := len(p); n > 1 && p[0].Dist(p[n-1]) < touch {
			p = p[:n-1]
		}
		sf.Region = append(sf.Region, p)
	}
	return true
}

// under is what a side adds to the area of a region whose seams, if any, run
// along v, or for a cone through the chart's origin.
func (sf *Surface) under(a, m, b geom.Vec2) float64 {
	if sf.Kind == Cone {
		return a.Cross(b)/2 + sliver(a, m, b)
	}
	return -(b.X-a.X)*(a.Y+b.Y)/2 + sliver(a, m, b)
}

// roundLoop is a border about an axis: (angle, height), the angle without
// jumps.
type roundLoop struct {
	points, middle []geom.Vec2
	turns          int // whole turns about the axis from the first point round to it
}

func (sf *Surface) roundLoop(r surface.Rim) roundLoop {
	var l roundLoop
	angle := math.NaN()
	turn := func(p geom.Vec3) geom.Vec2 {
		q := sf.Frame.Local(p)
		a := q.XY().Angle()
		switch {
		case math.IsNaN(angle):
			if a < 0 {
				a += 2 * math.Pi
			}
			angle = a
		case q.XY().Len() > 1e-9: // on the axis there is none
			angle += wrapped(a - angle)
		}
		return geom.V2(angle, q.Z)
	}
	for i, p := range r.Points {
		l.points, l.middle = append(l.points, turn(p)), append(l.middle, turn(r.Middle[i]))
	}
	l.turns = int(math.Round((turn(r.Points[0]).X - l.points[0].X) / (2 * math.Pi)))
	return l
}

// cutOpen lays a region that goes all the way round out from u = 0 to the
// period, with a straight seam at either end. strips are its two borders that go
// round, holes the others. false if they are not two, one each way.
func cutOpen(strips, holes []geom.Polygon, period float64) (geom.Polygons, bool) {
	if len(strips) != 2 {
		return nil, false
	}
	// way is +1 for a border that runs towards growing u.
	way := func(p geom.Polygon) int {
		if len(p) == 1 {
			return 0
		}
		if p[len(p)-1].X > p[0].X {
			return 1
		}
		return -1
	}
	lower, upper := strips[0], strips[1]
	if way(lower) < 0 || way(upper) > 0 {
		lower, upper = upper, lower
	}
	if way(lower) < 0 || way(upper) > 0 || way(lower) == 0 && way(upper) == 0 {
		return nil, false
	}
	shift := func(p geom.Polygon, by float64) geom.Polygon {
		return p.Map(func(q geom.Vec2) geom.Vec2 { return geom.V2(q.X+by, q.Y) })
	}
	home := func(p geom.Polygon) geom.Polygon { // so that it begins within the period
		return shift(p, -math.Floor(p[0].X/period)*period)
	}
	lower, upper = home(lower), home(upper)
	var strip geom.Polygon
	for k := -2; k <= 2; k++ {
		strip = append(strip, shift(lower, float64(k)*period)...)
	}
	for k := 2; k >= -2; k-- {
		strip = append(strip, shift(upper, float64(k)*period)...)
	}
	ps := geom.Polygons{strip}
	for _, h := range holes {
		h = home(h)
		for k := -1; k <= 1; k++ {
			moved := shift(h, float64(k)*period)
			if b := moved.Bounds(); b.Max.X > 0 && b.Min.X < period {
				ps = append(ps, moved)
			}
		}
	}
	ps = ps.ClipHalfPlane(geom.V2(1, 0), period).ClipHalfPlane(geom.V2(-1, 0), 0)
	for _, p := range ps {
		for i := range p { // on the seams exactly
			if math.Abs(p[i].X) < touch {
				p[i].X = 0
			} else if math.Abs(p[i].X-period) < touch*period {
				p[i].X = period
			}
		}
	}
	return tidy(ps), len(ps) > 0
}

// layPatch lays a face triangle by triangle.
func (s *Solid) layPatch(i int, sf *Surface) {
	f := &s.Shape.Faces[i]
	sf.Kind, sf.Run, sf.Closed, sf.Length, sf.Region, sf.Area = Free, geom.Path{}, false, 0, nil, 0
	if f.Kind != surface.Sphere && f.Kind != surface.Free {
		sf.Kind = Developable
	}
	at := &s.laid[i]
	at.once.Do(func() { at.patch, at.strain, at.err = s.flatten(i) })
	if at.err != nil {
		// Nothing covers it; it is there, though, and has an area.
		sf.Kind, sf.Area, sf.Unlaid = Free, f.Area, at.err.Error()
		k := s.Shape.Triangles[f.Triangles[0]]
		p := s.Shape.Vertices[k[0]]
		sf.Frame = geom.FrameFromZ(p, s.Shape.Vertices[k[1]].Sub(p).Cross(s.Shape.Vertices[k[2]].Sub(p)))
		return
	}
	sf.Patch, sf.Strain = at.patch, at.strain
	sf.Region, sf.Area = at.patch.Border(), at.patch.Area()
	sf.Frame = geom.World()
}

func (s *Solid) flatten(i int) (*unfold.Patch, unfold.Distortion, error) {
	f := &s.Shape.Faces[i]
	place := map[int32]int32{}
	var vertices []geom.Vec3
	triangles := make([][3]int32, len(f.Triangles))
	for t, k := range f.Triangles {
		for j, v := range s.Shape.Triangles[k] {
			at, ok := place[v]
			if !ok {
				at = int32(len(vertices))
				place[v] = at
				vertices = append(vertices, s.Shape.Vertices[v])
			}
			triangles[t][j] = at
		}
	}
	var o unfold.Options
	if s.Roles[i] == Face {
		o.Along = geom.V3(1, 0, 0)
		if _, n := (&study{shape: s.Shape}).middle(i); math.Abs(n.X) > 0.95 {
			o.Along = geom.V3(0, 1, 0)
		}
	}
	return unfold.Flatten(vertices, triangles, o)
}

// inset is the solid with its faces moved inward.
func (s *Solid) inset(d []float64) (*Solid, error) {
	if still(d) {
		return s, nil
	}
	shape, err := s.Shape.Inset(d)
	var fe *surface.FaceError
	if errors.As(err, &fe) {
		return nil, fmt.Errorf("%s: %w", s.Names[fe.Face], fe.Err)
	}
	if err != nil {
		return nil, err
	}
	t := &Solid{Shape: shape, Names: s.Names, Roles: s.Roles, Opposite: s.Opposite, inside: s.inside, laid: make([]laying, len(d)), drawn: &drawn{}}
	if s.frames == nil {
		return t, nil
	}
	t.frames = slices.Clone(s.frames)
	for i := range t.frames {
		if shape.Faces[i].Kind == surface.Plane {
			t.frames[i].Origin = t.frames[i].Origin.Sub(t.frames[i].Z.Scale(d[i]))
		}
	}
	return t, nil
}

// mirrored is the solid reversed in its own x. Faces keep their names.
func (s *Solid) mirrored() *Solid {
	t := NewSolid(s.Shape.Mirrored())
	t.Names, t.Roles, t.Opposite = s.Names, s.Roles, s.Opposite
	if s.inside != nil {
		t.inside = s.inside
	}
	return t
}
