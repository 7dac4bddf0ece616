package piece

import (
	"fmt"
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/given"
)

// loopOf is the polygon through the points, counter-clockwise.
func loopOf(points ...geom.Vec2) geom.Path {
	p := geom.Path{Closed: true}
	for i, a := range points {
		p.Segs = append(p.Segs, geom.LineTo(a, points[(i+1)%len(points)]))
	}
	return p
}

// ellipsePath starts at (length/2, 0) and runs counter-clockwise in quarters.
func ellipsePath(length, width float64) geom.Path {
	p := geom.Path{Closed: true}
	rx, ry := length/2, width/2
	tips := []geom.Vec2{{X: rx}, {Y: ry}, {X: -rx}, {Y: -ry}}
	for i := range tips {
		s := geom.ArcOf(geom.Vec2{}, rx, ry, 0, float64(i)*math.Pi/2, math.Pi/2)
		s.P[0], s.P[3] = tips[i], tips[(i+1)%4]
		p.Segs = append(p.Segs, s)
	}
	return p
}

// rectanglePath is centred; with radius 0 it has sharp corners. It starts at
// the lowest y, at the left end of the straight part.
func rectanglePath(length, width, radius float64) geom.Path {
	x, y, r := length/2, width/2, radius
	if r == 0 {
		return loopOf(geom.V2(-x, -y), geom.V2(x, -y), geom.V2(x, y), geom.V2(-x, y))
	}
	p := geom.Path{Closed: true}
	ends := []geom.Vec2{ // of the straight parts, in pairs
		{X: -x + r, Y: -y}, {X: x - r, Y: -y}, {X: x, Y: -y + r}, {X: x, Y: y - r},
		{X: x - r, Y: y}, {X: -x + r, Y: y}, {X: -x, Y: y - r}, {X: -x, Y: -y + r},
	}
	centers := []geom.Vec2{{X: x - r, Y: -y + r}, {X: x - r, Y: y - r}, {X: -x + r, Y: y - r}, {X: -x + r, Y: -y + r}}
	for i := range 4 {
		a, b, c := ends[2*i], ends[2*i+1], ends[(2*i+2)%8]
		if a.Dist(b) > 1e-9 { // a round end has no straight part
			p.Segs = append(p.Segs, geom.LineTo(a, b))
		}
		s := geom.ArcOf(centers[i], r, r, 0, float64(i-1)*math.Pi/2, math.Pi/2)
		s.P[0], s.P[3] = b, c
		p.Segs = append(p.Segs, s)
	}
	return p
}

// polygonPath has its first edge at the lowest y, level, running along +x.
func polygonPath(sides int, radius float64) geom.Path {
	points := make([]geom.Vec2, sides)
	for i := range points {
		a := -math.Pi/2 - math.Pi/float64(sides) + 2*math.Pi*float64(i)/float64(sides)
		points[i] = geom.V2(radius*math.Cos(a), radius*math.Sin(a))
	}
	return loopOf(points...)
}

// sagArc is the circular arc from a to b that stands sag mm over its chord, on
// the right-hand side of travel: outward on a counter-clockwise outline.
// |sag| is less than half of the chord.
func sagArc(a, b geom.Vec2, sag float64) geom.Seg {
	if sag == 0 {
		return geom.LineTo(a, b)
	}
	chord := a.Dist(b)
	r := (chord*chord/4 + sag*sag) / (2 * math.Abs(sag))
	right := b.Sub(a).Unit().Right()
	s := math.Copysign(1, sag)
	center := a.Lerp(b, 0.5).Add(right.Scale(sag - s*r))
	turn := s * 2 * math.Asin(min(1, chord/2/r))
	arc := geom.ArcOf(center, r, r, 0, a.Sub(center).Angle(), turn)
	arc.P[0], arc.P[3] = a, b
	return arc
}

// taperPath runs along the lower edge, up the end at x = length, back along
// the upper edge and down the end at x = 0.
func taperPath(length, from, to, bow float64, keep, bowEdge string) geom.Path {
	low0, low1 := -from/2, -to/2
	switch keep {
	case "lower":
		low0, low1 = 0, 0
	case "upper":
		low0, low1 = -from, -to
	}
	p := loopOf(geom.V2(0, low0), geom.V2(length, low1), geom.V2(length, low1+to), geom.V2(0, low0+from))
	i := 2
	if bowEdge == "lower" {
		i = 0
	}
	p.Segs[i] = sagArc(p.Segs[i].From(), p.Segs[i].To(), bow)
	return p
}

// outline is the closed path of a shape, or false after a fault. who names it
// in faults: "top" or "cut-out 2 of top".
func (r *resolver) outline(s ShapeDoc, p given.Place, who string) (geom.Path, bool) {
	before := r.trouble()
	var path geom.Path
	switch {
	case s.Rectangle != nil:
		g := s.Rectangle
		l, w := r.size(g.Length, "length of "+who), r.size(g.Width, "width of "+who)
		c := r.between(g.Corner, "corner radius of "+who, 0, min(l, w)/2, before)
		path = r.built(before, func() geom.Path { return rectanglePath(l, w, c) })
	case s.Rounded != nil:
		g := s.Rounded
		l, w := r.size(g.Length, "length of "+who), r.size(g.Width, "width of "+who)
		c := min(l, w) / 2
		if g.Radius.Written() {
			c = r.between(g.Radius, "radius of "+who, minSize, min(l, w)/2, before)
		}
		path = r.built(before, func() geom.Path { return rectanglePath(l, w, c) })
	case s.Circle != nil:
		d := r.size(s.Circle.Diameter, "diameter of "+who)
		path = r.built(before, func() geom.Path { return ellipsePath(d, d) })
	case s.Ellipse != nil:
		l, w := r.size(s.Ellipse.Length, "length of "+who), r.size(s.Ellipse.Width, "width of "+who)
		path = r.built(before, func() geom.Path { return ellipsePath(l, w) })
	case s.Polygon != nil:
		g := s.Polygon
		n := r.whole(g.Sides, "number of sides of "+who, 3, 64)
		radius := 0.0
		if g.Radius.Written() {
			radius = r.size(g.Radius, "radius of "+who)
		} else {
			radius = r.size(g.Across, "size across "+who) / 2 / math.Cos(math.Pi/float64(max(3, n)))
		}
		path = r.built(before, func() geom.Path { return polygonPath(n, radius) })
	case s.Taper != nil:
		g := s.Taper
		l, a, b := r.size(g.Length, "length of "+who), r.size(g.From, "width of "+who+" at x = 0"), r.size(g.To, "width of "+who+" at its length")
		// Less than a half circle, so that the arc never overhangs the ends' lines by doubling back.
		bow := r.between(g.Bow, "bow of "+who, -0.45*l, 0.45*l, before)
		path = r.built(before, func() geom.Path { return taperPath(l, a, b, bow, g.Keep.Value, g.BowEdge.Value) })
	case s.Path != nil:
		var err error
		if path, err = ParsePath(s.Path.Value); err != nil {
			r.faults.Add(s.Path.Place, "write one closed loop, as in M0 0 L100 0 L100 50 Z", "the path of %s cannot be used: %s", who, err)
		}
	}
	if r.trouble() > before || len(path.Segs) == 0 {
		return geom.Path{}, false
	}
	if err := path.Check(1e-6); err != nil {
		r.faults.Add(p, "draw it anew", "the outline of %s cannot be used: %s", who, err)
		return geom.Path{}, false
	}
	size := path.Bounds().Size()
	if big, small := max(size.X, size.Y), min(size.X, size.Y); big > maxSize || small < minSize {
		r.faults.Add(p, "look at its sizes and their units", "the outline of %s measures %.4g × %.4g mm; sizes lie between %g mm and %g mm", who, size.X, size.Y, minSize, float64(maxSize))
		return geom.Path{}, false
	}
	return path, true
}

// built is f's path if no fault was noted since before.
func (r *resolver) built(before int, f func() geom.Path) geom.Path {
	if r.trouble() > before {
		return geom.Path{}
	}
	return f()
}

// board builds a board, or nil after a fault.
func (r *resolver) board(d *BoardDoc, name string) *Board {
	before := r.trouble()
	path, ok := r.outline(d.ShapeDoc, d.Place, name)
	thickness := r.size(d.Thickness, "thickness of "+name)
	loops, places := []geom.Polygon{flatLoop(path)}, []given.Place{d.Place}
	var cutouts []Outline
	for i, c := range d.Cutouts {
		who := fmt.Sprintf("cut-out %d of %s", i+1, name)
		hole, holeOK := r.outline(c.ShapeDoc, c.Place, who)
		turn := r.angle(c.Turn, "turn of "+who)
		var at geom.Vec2
		if c.At != nil {
			at = geom.V2(r.place(c.At[0], "place of "+who), r.place(c.At[1], "place of "+who))
		}
		if !holeOK {
			continue
		}
		hole = hole.Rotated(turn).Translated(at).Reversed()
		cutouts = append(cutouts, NewOutline(hole, BreakAngle))
		loops, places = append(loops, flatLoop(hole)), append(places, c.Place)
	}
	if !ok || r.trouble() > before {
		return nil
	}
	if k, what := checkLoops(loops); what != "" {
		who, remedy := "the outline of "+name, "draw it so that it runs round the board once"
		if k > 0 {
			who, remedy = fmt.Sprintf("cut-out %d of %s", k, name), "move it or make it smaller"
		}
		r.faults.Add(places[k], remedy, "%s cannot be made: %s", who, what)
		return nil
	}
	return &Board{Outline: NewOutline(path, BreakAngle), Cutouts: cutouts, Thickness: thickness}
}

// turning builds a turning, or nil after a fault.
func (r *resolver) turning(d *TurningDoc, name string) *Turning {
	before := r.trouble()
	p := geom.Path{}
	switch {
	case d.Cylinder != nil:
		w, l := r.size(d.Cylinder.Diameter, "diameter of "+name), r.size(d.Cylinder.Length, "length of "+name)
		p.Segs = []geom.Seg{geom.LineTo(geom.V2(w/2, 0), geom.V2(w/2, l))}
	case d.Cone != nil:
		a, b, l := r.size(d.Cone.Low, "low diameter of "+name), r.size(d.Cone.High, "high diameter of "+name), r.size(d.Cone.Length, "length of "+name)
		p.Segs = []geom.Seg{geom.LineTo(geom.V2(a/2, 0), geom.V2(b/2, l))}
	default:
		var at geom.Vec2
		for i, k := range d.Profile {
			if i == 0 && k.Point == nil {
				r.faults.Add(k.Place, "begin with a point [radius, z]", "the profile of %s begins with a curve", name)
				return nil
			}
			from := at
			switch {
			case k.Point != nil:
				if at = r.knot(k.Point, name); i > 0 {
					p.Segs = append(p.Segs, geom.LineTo(from, at))
				}
			case k.Arc != nil:
				at = r.knot(k.Arc, name)
				half := from.Dist(at) / 2
				// The axis lies to the left when z rises, so outward is to the right.
				sag := r.between(k.Sag, "sag of an arc of "+name, -half, half, before)
				p.Segs = append(p.Segs, sagArc(from, at, sag))
			case k.Cubic != nil:
				b, c := r.knot(k.Cubic[0], name), r.knot(k.Cubic[1], name)
				at = r.knot(k.Cubic[2], name)
				p.Segs = append(p.Segs, geom.CubicTo(from, b, c, at))
			}
			if i > 0 && from == at {
				r.faults.Add(k.Place, "take one of them out", "the profile of %s has the same point twice", name)
			}
		}
	}
	if r.trouble() > before {
		return nil
	}
	if len(p.Segs) == 0 {
		r.faults.Add(d.Place, "give at least two points", "the profile of %s has no length", name)
		return nil
	}
	if err := p.Check(1e-6); err != nil {
		r.faults.Add(d.Place, "draw it anew", "the profile of %s cannot be used: %s", name, err)
		return nil
	}
	points := p.Flatten(checkChord)
	if len(points) > maxPoints {
		r.faults.Add(d.Place, "draw it with fewer curves", "the profile of %s is too intricate", name)
		return nil
	}
	for i, q := range points {
		where := d.Place
		if d.Profile != nil {
			where = d.Profile[min(q.Seg+1, len(d.Profile)-1)].Place
		}
		if q.P.X < minSize/2 {
			r.faults.Add(where, fmt.Sprintf("keep the radius at %g mm or more", minSize/2), "the profile of %s comes to radius %.4g mm at z %.4g mm", name, q.P.X, q.P.Y)
			return nil
		}
		// Rounding of an arc that ends level must not count as falling.
		if i > 0 && q.P.Y < points[i-1].P.Y-1e-9 {
			r.faults.Add(where, "give the points from the low end to the high end, with curves that do not overhang", "the profile of %s falls back from z %.4g mm to %.4g mm", name, points[i-1].P.Y, q.P.Y)
			return nil
		}
	}
	if rise := points[len(points)-1].P.Y - points[0].P.Y; rise < minSize || rise > maxSize {
		r.faults.Add(d.Place, "look at its sizes and their units", "%s is %.4g mm long; sizes lie between %g mm and %g mm", name, rise, minSize, float64(maxSize))
		return nil
	}
	t := NewTurning(p, BreakAngle)
	return &t
}

// knot is a point (radius, z) of a profile.
func (r *resolver) knot(p []given.Number, name string) geom.Vec2 {
	return geom.V2(r.place(p[0], "radius of a point of "+name), r.place(p[1], "z of a point of "+name))
}
