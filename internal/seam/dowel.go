package seam

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/shop"
)

// overDepth is how much deeper a dowel's bore is than the half of the dowel
// that goes into it: 1/16 in (Wood Magazine).
const overDepth = 1.6

// leastSection is the cross-section in mm² below which two segments that meet
// at a plane are not counted as glued there.
const leastSection = 25

// seamsAt makes the seams of one cut: a plane may join several segments when
// the parts beside it are cut further.
func (c *cutter) seamsAt(ctx context.Context, n *node, name map[*node]string, count *int, taken *[]joint.Bore, res *Result) ([]Seam, error) {
	frame := geom.FrameFromZ(n.plane.Normal.Scale(n.plane.D), n.plane.Normal)
	sec, err := c.section(ctx, frame, 0)
	if err != nil {
		return nil, err
	}
	var below, above []*node
	n.below.leaves(&below)
	n.above.leaves(&above)
	var out []Seam
	for _, lo := range below {
		for _, hi := range above {
			region := Clip(Clip(sec, frame, lo.cell.planes), frame, hi.cell.planes)
			if region.Area() < leastSection {
				continue
			}
			*count++
			s := Seam{
				ID: fmt.Sprintf("%s/seam-%d", c.body.ID, *count), Body: c.index, Plane: n.plane,
				Segments: [2]string{name[lo], name[hi]}, Area: region.Area(), Terms: n.terms,
			}
			s.Frame, s.Section = alongLongest(frame, region)
			short, err := c.dowels(ctx, &s, lo.cell.planes, hi.cell.planes, *taken)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", s.ID, err)
			}
			if short {
				size := s.Section.Bounds().Size()
				res.Findings = append(res.Findings, finding.Finding{
					Severity: finding.Stop, Stage: "seam", Code: "few-dowels", Subject: s.ID,
					Message: fmt.Sprintf("The seam between %s and %s is %.0f x %.0f mm and has room for %d of the 2 dowels it needs.",
						s.Segments[0], s.Segments[1], size.X, size.Y, len(s.Dowels)),
					Remedy: "Add a thinner or shorter dowel to the shop file; or make the member thicker; or use a printer with a larger volume.",
					Source: "two dowels at least to a joint: common practice",
				})
			}
			*taken = append(*taken, s.Bores...)
			out = append(out, s)
		}
	}
	return out, nil
}

// section is the body's cross-section at height h above frame, in frame's XY.
func (c *cutter) section(ctx context.Context, frame geom.Frame, h float64) (geom.Polygons, error) {
	var all []geom.Polygons
	at := geom.PlaneAt(frame.Point(geom.V3(0, 0, h)), frame.Z)
	for i, p := range c.parts {
		if !crosses(at, c.meshes[i].Bounds) { // most parts of a long body are pads elsewhere
			continue
		}
		s, err := c.k.Sections(ctx, p, frame, []float64{h})
		if err != nil {
			return nil, err
		}
		if len(s[0]) > 0 {
			all = append(all, s[0])
		}
	}
	switch len(all) {
	case 0:
		return nil, nil
	case 1:
		return all[0], nil
	}
	return c.k.Union2(ctx, all...)
}

// crosses reports whether a plane meets a box.
func crosses(pl geom.Plane, b geom.Box3) bool {
	half := b.Size().Scale(0.5)
	reach := math.Abs(pl.Normal.X)*half.X + math.Abs(pl.Normal.Y)*half.Y + math.Abs(pl.Normal.Z)*half.Z
	return math.Abs(pl.Distance(b.Center())) <= reach
}

// Clip is the part of a region in frame's XY within planes. Of planes parallel
// to the region, one it lies in leaves it whole; one it lies beyond, nothing.
func Clip(ps geom.Polygons, frame geom.Frame, planes []geom.Plane) geom.Polygons {
	for _, pl := range planes {
		l := pl.Local(frame)
		n := l.Normal.XY()
		if k := n.Len(); k > 1e-9 {
			ps = ps.ClipHalfPlane(n.Scale(1/k), l.D/k)
		} else if l.D < -1e-6 {
			return nil
		}
	}
	return ps
}

// alongLongest turns a frame about its Z, and moves it to the middle of the
// region's box, so that X runs along the region's longest direction: the long
// side of its smallest enclosing rectangle.
func alongLongest(frame geom.Frame, ps geom.Polygons) (geom.Frame, geom.Polygons) {
	best, turn := math.Inf(1), 0.0
	for _, p := range ps {
		for i, a := range p {
			d := p[(i+1)%len(p)].Sub(a)
			if d.Len() < 1e-9 {
				continue
			}
			ang := d.Angle()
			size := ps.Map(func(q geom.Vec2) geom.Vec2 { return q.Rotate(-ang) }).Bounds().Size()
			if size.Y > size.X {
				ang -= math.Pi / 2
				size = geom.V2(size.Y, size.X)
			}
			if a := size.X * size.Y; a < best-1e-6 {
				best, turn = a, ang
			}
		}
	}
	turned := ps.Map(func(q geom.Vec2) geom.Vec2 { return q.Rotate(-turn) })
	mid := turned.Bounds().Center()
	local := geom.Frame{
		Origin: func() geom.Vec3 { m := mid.Rotate(turn); return geom.V3(m.X, m.Y, 0) }(),
		X:      geom.V3(math.Cos(turn), math.Sin(turn), 0),
		Y:      geom.V3(-math.Sin(turn), math.Cos(turn), 0),
		Z:      geom.V3(0, 0, 1),
	}
	return local.In(frame), turned.Map(func(q geom.Vec2) geom.Vec2 { return q.Sub(mid) })
}

// dowels places dowels across a seam: the thickest kind between a third and a
// half of the section's narrow side of which at least two fit, or failing
// that the next thinner. It reports whether fewer than two fit.
func (c *cutter) dowels(ctx context.Context, s *Seam, lo, hi []geom.Plane, taken []joint.Bore) (short bool, err error) {
	size := s.Section.Bounds().Size()
	kinds := dowelKinds(c.in.Shop.Dowels, size.Y)
	sections := map[float64]geom.Polygons{0: s.Section}
	at := func(h float64, planes []geom.Plane) (geom.Polygons, error) {
		if ps, ok := sections[h]; ok {
			return ps, nil
		}
		ps, err := c.section(ctx, s.Frame, h)
		if err != nil {
			return nil, err
		}
		ps = Clip(ps, geom.Frame{Origin: s.Frame.Point(geom.V3(0, 0, h)), X: s.Frame.X, Y: s.Frame.Y, Z: s.Frame.Z}, planes)
		sections[h] = ps
		return ps, nil
	}
	bores := append(slices.Clone(c.bores), taken...)
	for _, d := range kinds {
		depth := d.Length/2 + overDepth
		layers := []geom.Polygons{s.Section}
		for _, h := range []float64{depth / 2, depth + c.o.DowelWall} {
			for _, side := range []struct {
				h      float64
				planes []geom.Plane
			}{{-h, lo}, {h, hi}} {
				ps, err := at(side.h, side.planes)
				if err != nil {
					return false, err
				}
				layers = append(layers, ps)
			}
		}
		hole := d.Diameter + c.in.Shop.Fits.GluedDowel
		spots := c.spots(s.Frame, layers, hole/2+c.o.DowelWall, hole, depth, bores)
		chosen := spread(spots, size.X, 3*d.Diameter, c.o.DowelSpan)
		if len(chosen) > len(s.Dowels) {
			s.Dowels, s.Bores = nil, nil
			for i, p := range chosen {
				center := s.Frame.Point(geom.V3(p.X, p.Y, 0))
				s.Dowels = append(s.Dowels, joint.Dowel{Diameter: d.Diameter, Length: d.Length, Center: center, Axis: s.Frame.Z, Glued: true, Printed: d.Printed})
				for _, side := range []struct {
					name string
					axis geom.Vec3
				}{{"below", s.Frame.Z.Neg()}, {"above", s.Frame.Z}} {
					s.Bores = append(s.Bores, joint.Bore{
						ID: fmt.Sprintf("%s/dowel-%d/%s", s.ID, i+1, side.name), Of: s.ID, Member: c.owner(center), Purpose: joint.DowelBore,
						Mouth: center, Axis: side.axis, Diameter: d.Diameter, Depth: depth,
						Fit: c.in.Shop.Fits.GluedDowel + c.in.Shop.Fits.Hole, Surface: -1,
					})
				}
			}
		}
		if len(s.Dowels) >= 2 {
			return false, nil
		}
	}
	return true, nil
}

// owner is the member of the body that a point lies in; for bodies of one
// member, that member.
func (c *cutter) owner(geom.Vec3) int { return c.body.Members[0] }

// dowelKinds orders the shop's dowels for a section t mm thick: those between
// a third and a half of t first, nearest to 0.42 t; then thinner ones,
// thickest first. Shorter before longer among equals. (A third to a half of
// the stock: Wood Magazine and others.)
func dowelKinds(all []shop.Dowel, t float64) []shop.Dowel {
	var out []shop.Dowel
	for _, d := range all {
		if d.Diameter <= t/2 {
			out = append(out, d)
		}
	}
	rank := func(d shop.Dowel) float64 {
		if d.Diameter >= t/3 {
			return math.Abs(d.Diameter - 0.42*t)
		}
		return 1e3 - d.Diameter
	}
	slices.SortStableFunc(out, func(a, b shop.Dowel) int {
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(a.Length, b.Length))
	})
	return out
}

// spots lists where a dowel's axis may stand: points at least clear from every
// boundary in each layer, whose bores stay clear of the others, one for each
// place along X, as far from the boundaries as can be.
func (c *cutter) spots(f geom.Frame, layers []geom.Polygons, clear, hole, depth float64, bores []joint.Bore) []geom.Vec2 {
	box := layers[0].Bounds().Grow(-clear)
	if box.Empty() {
		return nil
	}
	size := box.Size()
	// Steps from the middle outward, so that a symmetric section gets symmetric spots.
	nu, nv := int(size.X/2/2.5), int(math.Ceil(size.Y/2/2))
	var out []geom.Vec2
	for iu := -nu; iu <= nu; iu++ {
		u := box.Center().X
		if nu > 0 {
			u += size.X / 2 * float64(iu) / float64(nu)
		}
		best, bestClear := geom.Vec2{}, -1.0
		for iv := -nv; iv <= nv; iv++ {
			v := box.Center().Y
			if nv > 0 {
				v += size.Y / 2 * float64(iv) / float64(nv)
			}
			p := geom.V2(u, v)
			room := math.Inf(1)
			for _, l := range layers {
				if !l.Contains(p) {
					room = -1
					break
				}
				room = min(room, l.Distance(p))
			}
			if room < clear-1e-9 || room <= bestClear+1e-9 {
				continue
			}
			a, b := f.Point(geom.V3(u, v, -depth)), f.Point(geom.V3(u, v, depth))
			if slices.ContainsFunc(bores, func(o joint.Bore) bool {
				end := o.Mouth.Add(o.Axis.Scale(o.Depth))
				return segmentsApart(a, b, o.Mouth, end) < (hole+o.Diameter+o.Fit)/2+c.o.DowelWall
			}) {
				continue
			}
			best, bestClear = p, room
		}
		if bestClear >= 0 {
			out = append(out, best)
		}
	}
	return out
}

// spread picks spots evenly: two at the ends of what there is, more so that
// none are further apart than maxSpan, none closer than minGap.
func spread(spots []geom.Vec2, width, minGap, maxSpan float64) []geom.Vec2 {
	if len(spots) == 0 {
		return nil
	}
	lo, hi := spots[0].X, spots[len(spots)-1].X
	// The end dowels stand about 19 mm (3/4 in) from the ends where there is room.
	const end = 19
	lo = max(lo, min(-width/2+end, -minGap/2))
	hi = min(hi, max(width/2-end, minGap/2))
	if hi-lo < minGap {
		lo, hi = spots[0].X, spots[len(spots)-1].X
	}
	n := max(2, 1+int(math.Ceil((hi-lo)/maxSpan)))
	var out []geom.Vec2
	for i := range n {
		want := lo + (hi-lo)*float64(i)/float64(n-1)
		best := -1
		for j, p := range spots {
			if len(out) > 0 && p.Dist(out[len(out)-1]) < minGap-1e-9 {
				continue
			}
			if best < 0 || math.Abs(p.X-want) < math.Abs(spots[best].X-want)-1e-9 {
				best = j
			}
		}
		if best >= 0 && (len(out) == 0 || spots[best].X > out[len(out)-1].X) {
			out = append(out, spots[best])
		}
	}
	return out
}

// segmentsApart is the distance between two straight segments in space.
func segmentsApart(p1, q1, p2, q2 geom.Vec3) float64 {
	d1, d2, r := q1.Sub(p1), q2.Sub(p2), p1.Sub(p2)
	a, e, f := d1.Dot(d1), d2.Dot(d2), d2.Dot(r)
	clamp := func(x float64) float64 { return max(0, min(1, x)) }
	var s, t float64
	switch {
	case a < 1e-18 && e < 1e-18:
	case a < 1e-18:
		t = clamp(f / e)
	default:
		c := d1.Dot(r)
		if e < 1e-18 {
			s = clamp(-c / a)
			break
		}
		b := d1.Dot(d2)
		if den := a*e - b*b; den > 1e-12*a*e {
			s = clamp((b*f - c*e) / den)
		}
		t = (b*s + f) / e
		if t < 0 {
			t, s = 0, clamp(-c/a)
		} else if t > 1 {
			t, s = 1, clamp((b-c)/a)
		}
	}
	return p1.Add(d1.Scale(s)).Dist(p2.Add(d2.Scale(t)))
}
