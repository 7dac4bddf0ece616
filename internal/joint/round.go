package joint

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/solid"
)

// fitMost is the most, in mm, by which the radius of a hollow may exceed that
// of what lies in it: a drawn clearance fit. Our own rule; a loose running fit
// of 25 mm is drawn with a tenth of a millimetre, a printed one with two or three.
const fitMost = 0.5

// round is a surface of a circular cylinder, or part of one, in the world.
type round struct {
	surface int
	frame   geom.Frame // Z along the axis
	radius  float64
	hollow  bool
	region  geom.Polygons // (radius × angle from frame.X, along frame.Z), seen from outside the circle
	area    float64       // of the whole surface
	sag     float64       // how far its facets may stray from it
	box     geom.Box3
}

// rounds lists a member's cylindrical surfaces: the sides of turnings, and the
// arcs of edges, of which those that run clockwise are hollow.
func rounds(m *piece.Member, surfaces []piece.Surface) []round {
	var out []round
	add := func(r round, s *piece.Surface, i int, f geom.Frame) {
		if len(r.region) == 0 || !(r.radius > 0) {
			return
		}
		r.surface, r.area, r.sag = i, s.Area, sagOf(m, i)
		r.frame = f.In(m.Place)
		v := r.region.Bounds()
		r.box = Bore{Mouth: r.frame.Point(geom.V3(0, 0, v.Min.Y)), Axis: r.frame.Z, Diameter: 2 * r.radius, Depth: v.Size().Y}.box()
		out = append(out, r)
	}
	for i := range surfaces {
		s := &surfaces[i]
		switch {
		case len(s.Region) == 0:
		case s.Kind == piece.Cylinder:
			add(round{radius: s.Run.Segs[0].From().X, region: s.Region}, s, i, s.Frame)
		case s.Kind == piece.Extruded:
			for _, a := range arcs(s.Run) {
				part := s.Region
				if a.part {
					part = part.ClipHalfPlane(geom.V2(-1, 0), -a.from).ClipHalfPlane(geom.V2(1, 0), a.to)
				}
				turn := math.Copysign(1, a.sweep)
				part = part.Map(func(q geom.Vec2) geom.Vec2 { return geom.V2(a.radius*a.start+turn*(q.X-a.from), q.Y) })
				if turn < 0 {
					part = part.Reversed()
				}
				f := s.Frame
				f.Origin = f.Point(geom.V3(a.centre.X, a.centre.Y, 0))
				add(round{radius: a.radius, hollow: turn < 0, region: part}, s, i, f)
			}
		}
	}
	return out
}

// arc is a stretch of a run on one circle.
type arc struct {
	centre               geom.Vec2
	radius, start, sweep float64 // radians
	from, to             float64 // along the run
	part                 bool    // the run has more than this
}

// arcs lists the stretches of a run that lie on one circle each.
func arcs(run geom.Path) []arc {
	const same = 1e-6 // mm
	var out []arc
	at, open := 0.0, false
	for _, s := range run.Segs {
		from := at
		at += s.Length(0, 1)
		if s.Kind != geom.Arc || math.Abs(s.Rx-s.Ry) > same {
			open = false
			continue
		}
		if k := len(out) - 1; open && out[k].centre.Dist(s.Center) < same && math.Abs(out[k].radius-s.Rx) < same && out[k].sweep*s.Sweep > 0 {
			out[k].sweep += s.Sweep
			out[k].to = at
			continue
		}
		out, open = append(out, arc{s.Center, s.Rx, s.Rot + s.Start, s.Sweep, from, at, false}), true
	}
	for i := range out {
		out[i].part = out[i].from > 0 || out[i].to < at
	}
	return out
}

// sagOf is how far the facets of a member's surface may stray from it: 0 but
// for solids, which are as they were drawn.
func sagOf(m *piece.Member, surface int) float64 {
	if m.Solid == nil || m.Solid.Shape == nil || surface < 0 || surface >= len(m.Solid.Shape.Faces) {
		return 0
	}
	return m.Solid.Shape.Faces[surface].Sag
}

// pairRounds finds the round contacts of members a < b.
func (f *finder) pairRounds(r *solid.Regions, count *int, a, b int) {
	for i := range f.rounds[a] {
		for j := range f.rounds[b] {
			x, y := &f.rounds[a][i], &f.rounds[b][j]
			switch {
			case x.hollow && !y.hollow:
				f.mate(r, count, a, b, x, y)
			case y.hollow && !x.hollow:
				f.mate(r, count, b, a, y, x)
			}
		}
	}
}

// mate finds where the round surface of member b lies in the hollow one of a.
func (f *finder) mate(r *solid.Regions, count *int, a, b int, hollow, full *round) {
	gap := hollow.radius - full.radius
	along := hollow.frame.Z.Dot(full.frame.Z)
	if math.Abs(gap) > nearly || math.Abs(along) < math.Cos(nearlyPara) || !hollow.box.Grow(nearly).Overlaps(full.box) {
		return
	}
	// Both in the hollow's frame, unrolled at B's radius.
	radius := full.radius
	around := 2 * math.Pi * radius
	outer := hollow.region.Map(func(q geom.Vec2) geom.Vec2 { return geom.V2(q.X*radius/hollow.radius, q.Y) })
	turn := math.Copysign(1, along)
	zero := geom.V2(radius*hollow.frame.LocalDir(full.frame.X).XY().Angle(), hollow.frame.Local(full.frame.Origin).Z)
	inner := full.region.Map(func(q geom.Vec2) geom.Vec2 { return zero.Add(q.Scale(turn)) })
	ob, ib := outer.Bounds(), inner.Bounds()
	if ib.Min.Y > ob.Max.Y || ib.Max.Y < ob.Min.Y {
		return
	}
	var common geom.Polygons
	for k := math.Floor((ob.Min.X - ib.Max.X) / around); k <= math.Ceil((ob.Max.X-ib.Min.X)/around); k++ {
		moved := inner.Map(func(q geom.Vec2) geom.Vec2 { return geom.V2(q.X+k*around, q.Y) })
		if moved.Bounds().Overlaps(ob) {
			common = r.Union(common, r.Intersect(outer, moved))
		}
	}
	if common.Area() < speck {
		return
	}
	if at, ok := free(common, around); ok {
		common = roll(r, common, around, at)
	}
	for _, part := range r.Decompose(common) {
		if part.Area() >= speck {
			f.judgeRound(r, count, a, b, hollow, full, part)
		}
	}
}

// free is the middle of the widest stretch round a circle of the given
// circumference that a region keeps clear of.
func free(ps geom.Polygons, around float64) (float64, bool) {
	type span struct{ lo, hi float64 }
	var spans []span
	for _, p := range ps {
		for i := range p {
			lo, hi := min(p[i].X, p[(i+1)%len(p)].X), max(p[i].X, p[(i+1)%len(p)].X)
			turns := math.Floor(lo/around) * around
			spans = append(spans, span{lo - turns, hi - turns})
		}
	}
	slices.SortFunc(spans, func(a, b span) int { return cmp.Or(cmp.Compare(a.lo, b.lo), cmp.Compare(a.hi, b.hi)) })
	reach := 0.0
	for _, s := range spans {
		reach = max(reach, s.hi-around) // what goes on past the full turn
	}
	const least = 1e-3 // mm
	wide, mid := least, 0.0
	for _, s := range append(spans, span{around + max(0, spans[0].lo), 0}) {
		if w := s.lo - reach; w > wide {
			wide, mid = w, reach+w/2
		}
		reach = max(reach, s.hi)
	}
	return mid, wide > least
}

// roll cuts a region of the unrolled circle so that it lies between from and
// from + around.
func roll(r *solid.Regions, ps geom.Polygons, around, from float64) geom.Polygons {
	b := ps.Bounds()
	var parts []geom.Polygons
	for k := math.Floor((from - b.Max.X) / around); k <= math.Ceil((from+around-b.Min.X)/around); k++ {
		moved := ps.Map(func(q geom.Vec2) geom.Vec2 { return geom.V2(q.X+k*around, q.Y) })
		if part := moved.ClipHalfPlane(geom.V2(-1, 0), -from).ClipHalfPlane(geom.V2(1, 0), from+around); len(part) > 0 && part.Area() > 0 {
			parts = append(parts, part)
		}
	}
	return r.Union(parts...)
}

// judgeRound decides what a region is in which a round surface lies in a
// hollow one. The region is unrolled at B's radius in the hollow's frame.
func (f *finder) judgeRound(r *solid.Regions, count *int, a, b int, hollow, full *round, part geom.Polygons) {
	ma, mb := &f.p.Members[a], &f.p.Members[b]
	gap, area := hollow.radius-full.radius, part.Area()
	box := part.Bounds()
	// How far the axes are apart over the length of the region.
	o, d := hollow.frame.Local(full.frame.Origin), hollow.frame.LocalDir(full.frame.Z)
	axis := func(z float64) geom.Vec3 { return o.Add(d.Scale((z - o.Z) / d.Z)) }
	off := max(axis(box.Min.Y).XY().Len(), axis(box.Max.Y).XY().Len())
	angle := math.Acos(min(1, math.Abs(d.Z)))
	const exact = 1e-6 // mm; a fit of just the most that is allowed, in rounded numbers
	if off > coplanar || angle > parallel || gap < -coplanar-exact || gap > fitMost+exact {
		if area < f.minArea || off > nearly {
			return
		}
		f.near[pairOf(a, b)] = true
		what, remedy := fmt.Sprintf("is %s mm thinner in radius", mm(gap)), fmt.Sprintf("let the radii differ by %s mm at most", mm(fitMost))
		switch {
		case off > coplanar || angle > parallel:
			what, remedy = fmt.Sprintf("has its axis %s mm beside the other's", mm(off)), "bring the two axes into one line"
		case gap < 0:
			what, remedy = fmt.Sprintf("is %s mm thicker in radius", mm(-gap)), fmt.Sprintf("make it thinner, or the hollow wider, by %s mm in radius", mm(-gap))
		}
		f.findings = append(f.findings, finding.Finding{
			Severity: finding.Warning, Stage: "joint", Code: "faces-nearly-touch", Subject: ma.ID + ":" + mb.ID,
			Message: fmt.Sprintf("Round faces nearly fit: %s of %s, which lies in %s of %s, %s, so no joint is made there.",
				surfaceName(mb, full.surface), mb.ID, surfaceName(ma, hollow.surface), ma.ID, what),
			Remedy: remedy, Source: "axes within 0.05 mm, radii with up to 0.5 mm of clearance; our own rule", File: f.p.File, Line: mb.Line,
		})
		return
	}
	pair := pairOf(a, b)
	f.fits[pair] = max(f.fits[pair], max(0, -gap)+hollow.sag+full.sag)
	if area < f.minArea {
		f.small(ma, mb, area)
		return
	}
	c := RoundContact{Radius: full.radius, Gap: gap, Area: area,
		A: Side{a, hollow.surface, min(1, area*hollow.radius/full.radius/hollow.area)}, B: Side{b, full.surface, min(1, area/full.area)}}
	c.ID = f.p.Members[pair[0]].ID + ":" + f.p.Members[pair[1]].ID
	if *count++; *count > 1 {
		c.ID += "." + strconv.Itoa(*count)
	}
	around := 2 * math.Pi * full.radius
	const closing = 1e-3 // mm
	c.Closed = box.Size().X > around-closing

	mid := hollow.frame.Point(axis(box.Center().Y))
	z := hollow.frame.Z
	if f.middles.toward(mid, z, b, -1) < 0 {
		z = z.Neg()
	}
	x := hollow.frame.X
	if sn, cs := math.Sincos(box.Center().X / full.radius); !c.Closed {
		x = hollow.frame.Dir(geom.V3(cs, sn, 0))
	} else if v, ok := f.middles.beside(mid, z, a, b); ok {
		x = v
	}
	c.Axis = geom.FrameFromXZ(mid, x, z)
	for _, v := range []*geom.Vec3{&c.Axis.Origin, &c.Axis.X, &c.Axis.Y, &c.Axis.Z} {
		*v = v.Add(geom.Vec3{}) // no negative zeros in the output
	}
	turn := math.Copysign(1, z.Dot(hollow.frame.Z))
	zero := geom.V2(full.radius*hollow.frame.LocalDir(c.Axis.X).XY().Angle(), box.Center().Y)
	part = part.Map(func(q geom.Vec2) geom.Vec2 { return q.Sub(zero).Scale(turn).Add(geom.Vec2{}) })
	c.Region = roll(r, part, around, -around/2)
	f.roundContacts = append(f.roundContacts, c)
}

// small notes a contact that is too small for a joint.
func (f *finder) small(ma, mb *piece.Member, area float64) {
	f.findings = append(f.findings, finding.Finding{
		Severity: finding.Note, Stage: "joint", Code: "small-contact", Subject: ma.ID + ":" + mb.ID,
		Message: fmt.Sprintf("%s and %s touch over %s mm² only, too little for a joint.", ma.ID, mb.ID, mm(area)),
		Remedy:  "leave it; or let the members meet over more area", Source: "our own rule", File: f.p.File, Line: mb.Line,
	})
}

func pairOf(a, b int) [2]int { return [2]int{min(a, b), max(a, b)} }

// level is how far, in mm, a middle must lie to one side to tell the sides apart.
const level = 1.0

// toward is 1 or -1 as dir goes from a point towards or away from the middle
// of the first of the members, -1 for the piece, that is not level with the
// point; it is 1 where all are.
func (m middles) toward(at, dir geom.Vec3, members ...int) float64 {
	for _, k := range members {
		p := m.piece
		if k >= 0 {
			p = m.of[k]
		}
		if d := p.Sub(at).Dot(dir); math.Abs(d) > level {
			return math.Copysign(1, d)
		}
	}
	return 1
}

// beside is the direction, square to an axis through a point, to the middle of
// the first of two members, the second or the piece that lies beside the axis.
func (m middles) beside(at, axis geom.Vec3, a, b int) (geom.Vec3, bool) {
	for _, p := range []geom.Vec3{m.of[a], m.of[b], m.piece} {
		d := p.Sub(at)
		if d = d.Sub(axis.Scale(d.Dot(axis))); d.Len() > level {
			return d.Unit(), true
		}
	}
	return geom.Vec3{}, false
}

// holds reports whether a point of the surface lies in the contact.
func (c *RoundContact) holds(p geom.Vec3) bool {
	q := c.Axis.Local(p)
	return math.Abs(q.XY().Len()-c.Radius) < nearly && c.Region.Contains(geom.V2(c.Radius*q.XY().Angle(), q.Z))
}

// inside is how far, in mm, the point at an angle and a height lies inside the
// contact, seen along the radius there; negative outside.
func (c *RoundContact) inside(angle, z float64) float64 {
	around := 2 * math.Pi * c.Radius
	// As seen: what is beyond a quarter turn is not.
	seen := func(q geom.Vec2, turn float64) geom.Vec2 {
		a := (q.X+turn*around)/c.Radius - angle
		return geom.V2(c.Radius*math.Sin(max(-math.Pi/2, min(math.Pi/2, a))), q.Y-z)
	}
	const seam = 1e-3 // mm
	least, in := math.Inf(1), false
	for turn := -1.0; turn <= 1; turn++ {
		for _, loop := range c.Region {
			for i, a := range loop {
				b := loop[(i+1)%len(loop)]
				if c.Closed && math.Abs(a.X-b.X) < seam && math.Abs(math.Abs(a.X)-around/2) < seam {
					continue // where the region is cut open
				}
				least = min(least, geom.SegmentDistance(geom.Vec2{}, seen(a, turn), seen(b, turn)))
			}
		}
		in = in || c.Region.Contains(geom.V2(c.Radius*angle-turn*around, z))
	}
	if !in {
		return -least
	}
	return least
}
