package veneer

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/solid"
)

// mate is a surface in the plane of another one, of a member printed as one
// with its own.
type mate struct {
	of      *clad
	surface int
	one     bool // one leaf lies over both
}

// link makes the mates of all members known to each other.
func link(members []*clad, flush []Flush) {
	for _, f := range flush {
		a, b := members[f.A[0]], members[f.B[0]]
		a.mates = append(a.mates, pairing{f.A[1], mate{b, f.B[1], f.One}})
		b.mates = append(b.mates, pairing{f.B[1], mate{a, f.A[1], f.One}})
	}
}

// pairing is a surface of one's own and its mate.
type pairing struct {
	surface int
	with    mate
}

// group lists the surfaces that one leaf covers together with si, the one that
// it is named after first: that of the earliest member.
func (c *clad) group(si int) []mate {
	out := []mate{{c, si, true}}
	for i := 0; i < len(out); i++ {
		for _, m := range out[i].of.mates {
			if m.surface != out[i].surface || !m.with.one {
				continue
			}
			known := false
			for _, o := range out {
				known = known || o.of == m.with.of && o.surface == m.with.surface
			}
			if !known {
				out = append(out, m.with)
			}
		}
	}
	for i, m := range out {
		if m.of.index < out[0].of.index || m.of.index == out[0].of.index && m.surface < out[0].surface {
			out[0], out[i] = out[i], out[0]
		}
	}
	return out
}

// leads reports whether the leaf on si, if it covers others as well, is named
// after si.
func (c *clad) leads(si int) bool {
	g := c.group(si)[0]
	return g.of == c && g.surface == si
}

// from carries a point of the chart of c's flat surface si to that of m.
func (m mate) from(c *clad, si int, q geom.Vec2) geom.Vec2 {
	if m.of == c && m.surface == si {
		return q
	}
	return m.of.surfaces[m.surface].Chart(m.of.core.Place.Local(c.world(si, q)))
}

// to carries a point of m's chart to that of c's flat surface si.
func (m mate) to(c *clad, si int, q geom.Vec2) geom.Vec2 {
	return mate{of: c, surface: si}.from(m.of, m.surface, q)
}

// onJoint reports whether the border from a to b of si runs along the leaf of
// another member that it meets edge to edge.
func (c *clad) onJoint(si int, a, b geom.Vec2) bool {
	for _, m := range c.mates {
		if m.surface != si || m.with.one {
			continue
		}
		q := m.with.from(c, si, a.Lerp(b, 0.5))
		if m.with.of.surfaces[m.with.surface].Region.Distance(q) < flushTouch {
			return true
		}
	}
	return false
}

// covered is the region of si and of all that one leaf covers with it, in its
// chart, but for what is left bare.
func (c *clad) covered(r *solid.Regions, si int) geom.Polygons {
	var parts []geom.Polygons
	group := c.group(si)
	for _, m := range group {
		region := m.of.surfaces[m.surface].Region
		if len(m.of.bare[m.surface]) > 0 {
			region = r.Subtract(region, m.of.bare[m.surface]...)
		}
		if len(group) > 1 {
			// Surfaces that touch within rounding grow together: out and in again.
			region = region.Map(func(q geom.Vec2) geom.Vec2 { return m.to(c, si, q) })
			region = r.Offset(region, flushTouch, solid.Miter, 4, c.chord)
		}
		parts = append(parts, region)
	}
	if len(group) == 1 {
		return parts[0]
	}
	return r.Offset(r.Union(parts...), -flushTouch, solid.Miter, 4, c.chord)
}

// owner is the surface of si's group whose border runs from a to b, in si's
// chart.
func (c *clad) owner(si int, a, b geom.Vec2) mate {
	group := c.group(si)
	best, found := math.Inf(1), group[0]
	if len(group) == 1 {
		return found
	}
	for _, m := range group {
		q := m.from(c, si, a.Lerp(b, 0.5))
		d := m.of.surfaces[m.surface].Region.Distance(q)
		for _, w := range m.of.bare[m.surface] {
			d = min(d, w.Distance(q))
		}
		if d < best-1e-6 {
			best, found = d, m
		}
	}
	return found
}

// flushTouch is how near, in mm, borders of surfaces in one plane come to each
// other where the surfaces meet.
const flushTouch = 2e-3

// flush finds surfaces in one plane, of members printed as one, that meet
// without a step. Faces carry one leaf if veneer and grain agree; all others
// carry leaves or bands that meet edge to edge.
func (t *task) flush(r *solid.Regions) {
	const level = 0.05 // mm within which planes are one
	var pairs []Flush
	var joints []geom.Polygons // by pair: the joint, a strip, in A's chart
	for _, g := range t.p.PrintAsOne {
		for x, a := range g {
			for _, b := range g[x+1:] {
				ca, cb := t.members[min(a, b)], t.members[max(a, b)]
				for i := range ca.surfaces {
					for j := range cb.surfaces {
						fa, fb := &ca.surfaces[i], &cb.surfaces[j]
						if ca.cover[i].Stack == 0 || cb.cover[j].Stack == 0 || fa.Kind != piece.Plane || fb.Kind != piece.Plane || len(fa.Region) == 0 || len(fb.Region) == 0 {
							continue
						}
						frame := fa.Frame.In(ca.core.Place)
						other := fb.Frame.In(cb.core.Place)
						if frame.Z.Dot(other.Z) < 0.99999 || math.Abs(frame.Local(other.Origin).Z) > level {
							continue
						}
						m := mate{of: cb, surface: j}
						seen := fb.Region.Map(func(q geom.Vec2) geom.Vec2 { return m.to(ca, i, q) })
						within := func(d float64) geom.Polygons {
							return r.Intersect(r.Offset(fa.Region, d, solid.Miter, 4, t.o.Chord), r.Offset(seen, d, solid.Miter, 4, t.o.Chord))
						}
						strip := within(flushTouch)
						if strip.Area() < 2*flushTouch { // shorter than a millimetre
							gap := ca.cover[i].Stack + cb.cover[j].Stack
							if t.filled[[2]int{ca.index, cb.index}] && within(gap/2+flushTouch).Area() > 2*flushTouch {
								t.add(finding.Warning, "flush-gap", t.p.Members[ca.index].ID+"/"+fa.Name, t.wishes[ca.index][i].line, "geometry",
									"give core sizes; or let one of the two surfaces that meet lie wholly within the other; or cut the strip by hand",
									"%s and %s lie flush and are printed as one, but both surfaces that meet there show in part and moved in: a strip of core up to %.1f mm wide between the leaves gets no veneer.",
									t.p.Members[ca.index].ID+"/"+fa.Name, t.p.Members[cb.index].ID+"/"+fb.Name, gap)
							}
							continue
						}
						same := ca.cover[i].Veneer == cb.cover[j].Veneer && !isBand(fa) && !isBand(fb) &&
							math.Abs(grainIn(ca, i).Dot(grainIn(cb, j))) > math.Cos(deg)
						pairs = append(pairs, Flush{A: [2]int{ca.index, i}, B: [2]int{cb.index, j}, One: same})
						joints = append(joints, strip)
					}
				}
			}
		}
	}
	link(t.members, pairs)
	t.layout.Flush = pairs
	for k, f := range pairs {
		ca, cb := t.members[f.A[0]], t.members[f.B[0]]
		na := t.p.Members[ca.index].ID + "/" + ca.surfaces[f.A[1]].Name
		nb := t.p.Members[cb.index].ID + "/" + cb.surfaces[f.B[1]].Name
		line := t.wishes[ca.index][f.A[1]].line
		if f.One {
			t.add(finding.Note, "one-leaf", na, line, "geometry", "",
				"%s and %s lie flush and are printed as one: one leaf covers both.", na, nb)
			continue
		}
		from, to := middle(joints[k])
		dir := to.Sub(from).Unit().Left()
		t.layout.Joints = append(t.layout.Joints, LeafJoint{
			ID: na + ":" + nb, Member: ca.index, Surface: f.A[1], Kind: "edge to edge",
			Line: geom.Plane{Normal: geom.V3(dir.X, dir.Y, 0), D: dir.Dot(from)},
		})
		t.clear(ca, f.A[1], fmt.Sprintf("joint of %s and %s", na, nb), t.o.LeafClear, []geom.Vec2{from, to})
		t.add(finding.Note, "flush-leaves", na, line, "common practice, no source",
			"cut both edges of the joint together; or give both surfaces one veneer and one direction of grain",
			"%s and %s lie flush and are printed as one; their veneers meet edge to edge, with no allowance between them.", na, nb)
	}
}

// grainIn is the direction of a flat surface's grain in the world.
func grainIn(c *clad, si int) geom.Vec3 {
	sn, cs := math.Sincos(c.cover[si].Grain)
	return c.world(si, geom.V2(cs, sn)).Sub(c.world(si, geom.Vec2{}))
}

// middle is the middle line of a narrow strip.
func middle(strip geom.Polygons) (from, to geom.Vec2) {
	var dir, on geom.Vec2
	longest := 0.0
	for _, p := range strip {
		for i, a := range p {
			if b := p[(i+1)%len(p)]; a.Dist(b) > longest {
				longest, dir, on = a.Dist(b), b.Sub(a).Unit(), p.Bounds().Center()
			}
		}
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range strip {
		for _, q := range p {
			d := q.Sub(on).Dot(dir)
			lo, hi = min(lo, d), max(hi, d)
		}
	}
	return on.Add(dir.Scale(lo)), on.Add(dir.Scale(hi))
}

// parted puts points on the borders of a base where the joint with another
// member's leaf begins and ends.
func (c *clad) parted(si int, base geom.Polygons) geom.Polygons {
	var at []geom.Vec2
	for _, g := range c.group(si) {
		for _, m := range g.of.mates {
			if m.surface != g.surface || m.with.one {
				continue
			}
			for _, loop := range m.with.of.surfaces[m.with.surface].Region {
				for _, q := range loop {
					at = append(at, m.with.to(c, si, q))
				}
			}
		}
	}
	if len(at) == 0 {
		return base
	}
	out := make(geom.Polygons, len(base))
	for k, p := range base {
		for j, a := range p {
			b := p[(j+1)%len(p)]
			along := b.Sub(a).Unit()
			var on []geom.Vec2
			for _, q := range at {
				if geom.SegmentDistance(q, a, b) < flushTouch && q.Dist(a) > 2*flushTouch && q.Dist(b) > 2*flushTouch {
					on = append(on, a.Add(along.Scale(q.Sub(a).Dot(along))))
				}
			}
			slices.SortFunc(on, func(x, y geom.Vec2) int { return cmp.Compare(x.Sub(a).Dot(along), y.Sub(a).Dot(along)) })
			out[k] = append(append(out[k], a), on...)
		}
		out[k] = dropRepeats(out[k])
	}
	return out
}

// fuse fills what lies between two cores that are printed as one where both
// surfaces of a contact were moved in, so that the body holds together.
func (t *task) fuse(r *solid.Regions, m *meet) {
	c, other := t.members[m.member], t.members[m.other]
	gap := c.cover[m.surf].Inset + other.cover[m.against].Inset
	if !m.host || gap <= 1e-9 {
		return
	}
	sf, of := &c.surfaces[m.surf], &other.surfaces[m.against]
	frame := m.frame // world, in the contact's plane
	inFrame := func(c *clad, f *piece.Surface) geom.Polygons {
		return f.Region.Map(func(q geom.Vec2) geom.Vec2 { return frame.Local(c.core.Place.Point(f.Point(q))).XY() })
	}
	shape := r.Intersect(r.Intersect(m.region, inFrame(c, sf)), inFrame(other, of).Reversed())
	if len(shape) == 0 {
		return
	}
	var loops []solid.Loop
	for _, p := range shape {
		tags := make([]solid.Tag, len(p))
		for i := range tags {
			tags[i] = solid.NoTag
		}
		loops = append(loops, solid.Loop{Points: p, Tags: tags})
	}
	t.filled[[2]int{min(m.member, m.other), max(m.member, m.other)}] = true
	low := -c.cover[m.surf].Inset - padRoot
	high := other.cover[m.against].Inset + padRoot
	t.layout.Cuts = append(t.layout.Cuts, piece.Cut{
		ID:     fmt.Sprintf("%s:%s/fill", t.p.Members[m.member].ID, t.p.Members[m.other].ID),
		Member: m.member, Purpose: "pad", Add: true,
		Shape: solid.Extrude(loops, low, high, solid.NoTag, solid.NoTag).At(frame),
	})
}
