package strength

import (
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/stress"
)

// discSides is the number of sides of the polygon that stands for a disc; its
// area is that of the disc within 0.7 %, and the force is spread over what there is.
const discSides = 32

// inDisc is the part of a region inside a disc.
func inDisc(region geom.Polygons, c geom.Vec2, radius float64) geom.Polygons {
	for i := range discSides {
		n := geom.V2(1, 0).Rotate(2 * math.Pi * float64(i) / discSides)
		region = region.ClipHalfPlane(n, n.Dot(c)+radius)
	}
	return region
}

// inBox is the part of a region inside a box.
func inBox(region geom.Polygons, b geom.Box2) geom.Polygons {
	return region.ClipHalfPlane(geom.V2(1, 0), b.Max.X).ClipHalfPlane(geom.V2(-1, 0), -b.Min.X).
		ClipHalfPlane(geom.V2(0, 1), b.Max.Y).ClipHalfPlane(geom.V2(0, -1), -b.Min.Y)
}

// speck is the area in mm² below which a patch is nothing.
const speck = 1.0

// tangent is the frame in the world that touches a surface at uv, its Z the
// outward normal and its X along the chart's u.
func tangent(m piece.Member, s piece.Surface, uv geom.Vec2) geom.Frame {
	at, n := m.Place.Point(s.Point(uv)), m.Place.Dir(s.Normal(uv))
	const step = 0.5 // mm
	u := m.Place.Dir(s.Point(uv.Add(geom.V2(step, 0))).Sub(s.Point(uv.Sub(geom.V2(step, 0)))))
	if u.Sub(n.Scale(u.Dot(n))).Len() < step/10 {
		return geom.FrameFromZ(at, n)
	}
	return geom.FrameFromXZ(at, u, n)
}

// laid carries a region of a surface's chart to the plane that touches it at uv.
func laid(member int, m piece.Member, s piece.Surface, uv geom.Vec2, region geom.Polygons) stress.Load {
	f := tangent(m, s, uv)
	return stress.Load{Member: member, Frame: f, Region: region.Map(func(q geom.Vec2) geom.Vec2 {
		return f.Local(m.Place.Point(s.Point(q))).XY()
	})}
}

// pressed is a disc on a surface about uv, clipped to what is left of the
// surface; false where nothing of it is.
func pressed(member int, m piece.Member, s piece.Surface, uv geom.Vec2, radius float64) (stress.Load, bool) {
	region := inDisc(s.Region, uv, radius)
	if s.Closed && s.Length > 0 { // the disc may lie over the line where the chart begins and ends
		for _, turn := range []float64{-s.Length, s.Length} {
			region = append(region, inDisc(s.Region, uv.Add(geom.V2(turn, 0)), radius)...)
		}
	}
	if region.Area() < speck {
		return stress.Load{}, false
	}
	return laid(member, m, s, uv, region), true
}

// spread is a force over a whole surface. A round one is laid out in fields
// small enough that each is nearly flat.
func spread(member int, m piece.Member, s piece.Surface, force geom.Vec3) []stress.Load {
	if s.Kind == piece.Plane {
		l := laid(member, m, s, middle(s.Region), s.Region)
		l.Force = force
		return []stress.Load{l}
	}
	const columns, rows = 12, 4
	b := s.Region.Bounds()
	size := b.Size()
	total := s.Region.Area()
	var out []stress.Load
	for i := range columns {
		for j := range rows {
			lo := b.Min.Add(geom.V2(size.X*float64(i)/columns, size.Y*float64(j)/rows))
			field := inBox(s.Region, geom.Box2{Min: lo, Max: lo.Add(geom.V2(size.X/columns, size.Y/rows))})
			if a := field.Area(); a >= speck {
				l := laid(member, m, s, middle(field), field)
				l.Force = force.Scale(a / total)
				out = append(out, l)
			}
		}
	}
	return out
}

// press spreads a vertical force over a disc of a slab about a point seen from
// above; members under it share it by area. Nil where nothing lies under it.
func (s slab) press(at geom.Vec2, radius, force float64) []stress.Load {
	var out []stress.Load
	var total float64
	for _, g := range s {
		// The point of the plane under at.
		z := g.frame.Origin.Z - (g.frame.Z.X*(at.X-g.frame.Origin.X)+g.frame.Z.Y*(at.Y-g.frame.Origin.Y))/g.frame.Z.Z
		f := g.frame
		f.Origin = geom.V3(at.X, at.Y, z)
		by := g.frame.Local(f.Origin).XY()
		region := inDisc(g.region, by, radius)
		if a := region.Area(); a >= speck {
			out = append(out, stress.Load{Member: g.member, Frame: f, Force: geom.V3(0, 0, -a),
				Region: region.Map(func(q geom.Vec2) geom.Vec2 { return q.Sub(by) })})
			total += a
		}
	}
	for i := range out {
		out[i].Force.Z *= force / total
	}
	return out
}

// cover spreads a vertical force evenly over the whole slab.
func (s slab) cover(force float64) []stress.Load {
	var out []stress.Load
	total := s.area()
	for _, g := range s {
		f := g.frame
		by := middle(g.region)
		f.Origin = g.frame.Point(flat(by))
		out = append(out, stress.Load{Member: g.member, Frame: f, Force: geom.V3(0, 0, -force*g.area/total),
			Region: g.region.Map(func(q geom.Vec2) geom.Vec2 { return q.Sub(by) })})
	}
	return out
}

// facing is the place in a surface's chart that faces most against a direction,
// nearest to the middle, and the cosine by which it does.
func facing(m piece.Member, s piece.Surface, dir geom.Vec3) (uv geom.Vec2, cos float64) {
	mid := middle(s.Region)
	if s.Kind == piece.Plane {
		return mid, -m.Place.Dir(s.Normal(mid)).Dot(dir)
	}
	const steps = 24
	b := s.Region.Bounds()
	cos = -2
	best := math.Inf(1)
	for i := range steps {
		for j := range steps + 1 { // odd, so that the middle line is among them
			q := b.Min.Add(geom.V2(b.Size().X*float64(i)/steps, b.Size().Y*float64(j)/steps))
			c, d := -m.Place.Dir(s.Normal(q)).Dot(dir), q.Dist(mid)
			if c > cos+1e-3 || c > cos-1e-3 && d < best {
				uv, cos, best = q, c, d
			}
		}
	}
	return uv, cos
}
