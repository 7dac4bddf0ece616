package veneer

import (
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/solid"
)

// roundSides are the two sides of a round contact.
func roundSides(c joint.RoundContact) []*meet {
	side := func(a, b joint.Side) *meet {
		return &meet{id: c.ID, member: a.Member, surf: a.Surface, other: b.Member, against: b.Surface, frame: c.Axis, region: c.Region, covered: a.Covered, radius: c.Radius}
	}
	a, b := side(c.A, c.B), side(c.B, c.A)
	a.host, a.hollow = true, true
	return []*meet{a, b}
}

// distance is how far a point of the world is from the contact.
func (m *meet) distance(p geom.Vec3) float64 {
	if m.radius == 0 {
		return polygonDistance(p, m.frame, m.region)
	}
	q := m.frame.Local(p)
	best := math.Inf(1)
	for _, turn := range []float64{-1, 0, 1} { // the region may begin at any angle
		at := geom.V2(m.radius*(q.XY().Angle()+turn*2*math.Pi), q.Z)
		d := 0.0
		if !m.region.Contains(at) {
			d = m.region.Distance(at)
		}
		best = min(best, d)
	}
	return math.Hypot(best, q.XY().Len()-m.radius)
}

// roundPoint is the point of the world that q of a round contact's region
// stands for.
func (m *meet) roundPoint(q geom.Vec2) geom.Vec3 {
	sn, cs := math.Sincos(q.X / m.radius)
	return m.frame.Point(geom.V3(m.radius*cs, m.radius*sn, q.Y))
}

// chartOf is the region of a contact in the chart of the core's surface. Of a
// round one on a surface that goes all the way round it lies there once for
// every turn.
func (c *clad) chartOf(r *solid.Regions, m *meet) geom.Polygons {
	sf := &c.surfaces[m.surf]
	if m.radius == 0 {
		return m.region.Map(func(q geom.Vec2) geom.Vec2 {
			return sf.Chart(c.core.Place.Local(m.frame.Point(geom.V3(q.X, q.Y, 0))))
		})
	}
	// Borders are followed in steps, so that those that cross the chart's
	// opening are not torn.
	const steps = 12 // to the turn
	step := 2 * math.Pi * m.radius / steps
	out := make(geom.Polygons, len(m.region))
	for i, loop := range m.region {
		var last geom.Vec2
		for j, a := range loop {
			b := loop[(j+1)%len(loop)]
			n := max(1, int(math.Ceil(math.Abs(b.X-a.X)/step)))
			for k := range n {
				q := sf.Chart(c.core.Place.Local(m.roundPoint(a.Lerp(b, float64(k)/float64(n)))))
				if sf.Closed && len(out[i]) > 0 {
					q.X += math.Round((last.X-q.X)/sf.Length) * sf.Length
				}
				out[i], last = append(out[i], q), q
			}
		}
	}
	if out.Area() < 0 { // the hollow side looks at it from within
		out = out.Reversed()
	}
	if !sf.Closed {
		return out
	}
	var copies []geom.Polygons
	box := out.Bounds()
	over := 0.0
	if box.Size().X > sf.Length-1e-3 {
		over = 1e-3 // mm, so that no slit is left between the turns of a ring
	}
	for k := -math.Ceil(box.Max.X / sf.Length); k <= math.Ceil(1-box.Min.X/sf.Length); k++ {
		copies = append(copies, out.Map(func(q geom.Vec2) geom.Vec2 {
			return geom.V2(q.X+k*sf.Length+math.Copysign(over, q.X-box.Center().X), q.Y)
		}))
	}
	return r.Union(copies...)
}

// roundPad is what brings the core back to the radius of a round contact: the
// outline, in the chart of the core's surface, as staves. Each is a prism along
// the radius in its middle; where they meet, their corners lie on the radius,
// so that a pad does not stand proud, or, in a hollow, their middles.
func (c *clad) roundPad(m *meet, outline geom.Polygons) solid.Shape {
	sf := &c.surfaces[m.surf]
	axis := func(q geom.Vec2) geom.Vec3 { return m.frame.Local(c.core.Place.Point(sf.Point(q))) }
	box := outline.Bounds()
	core := axis(box.Center()).XY().Len() // radius of the core
	n := max(1, int(math.Ceil(box.Size().X/core/(2*math.Acos(1-c.chord/m.radius)))))
	half := box.Size().X / core / float64(2*n) // angle from a stave's middle to its sides
	var staves []solid.Shape
	for i := range n {
		from := box.Min.X + box.Size().X*float64(i)/float64(n)
		to := box.Min.X + box.Size().X*float64(i+1)/float64(n)
		part := strip(outline, from, to)
		if part.Area() < 1e-6 {
			continue
		}
		mid := axis(geom.V2((from+to)/2, box.Center().Y)).XY().Unit()
		out := geom.V3(mid.X, mid.Y, 0)
		f := geom.Frame{X: geom.V3(0, 0, 1).Cross(out), Y: geom.V3(0, 0, 1), Z: out}
		// Heights along the radius: of the contact, and a little inside the core.
		high, low := m.radius*math.Cos(half), core*math.Cos(half)-padRoot
		if m.hollow {
			low, high = m.radius, core/math.Cos(half)+padRoot
		}
		flat := part.Map(func(q geom.Vec2) geom.Vec2 {
			at := axis(q)
			sn := f.Local(at).X / at.XY().Len()
			if m.hollow {
				return geom.V2(m.radius*sn/math.Sqrt(1-sn*sn), at.Z)
			}
			return geom.V2(m.radius*sn, at.Z)
		})
		if flat.Area() < 0 {
			flat = flat.Reversed()
		}
		var loops []solid.Loop
		for _, p := range flat {
			tags := make([]solid.Tag, len(p))
			for i := range tags {
				tags[i] = solid.NoTag
			}
			loops = append(loops, solid.Loop{Points: p, Tags: tags})
		}
		staves = append(staves, solid.Extrude(loops, low, high, solid.NoTag, solid.NoTag).At(f))
	}
	return solid.Union(staves...).At(m.frame)
}
