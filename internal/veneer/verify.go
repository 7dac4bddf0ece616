package veneer

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/unfold"
)

// Verify checks patterns against the surfaces that they are to cover, by other
// means than those by which they were drawn: points of the surface are carried
// to the patterns one by one, with the length of the neutral surface summed
// from curvatures, and every border of a pattern is looked at for allowance.
// It returns nothing when all is well; whatever it returns is a fault in this
// package.
//
//   - every point of a covered surface lies in one of its patterns; no point
//     well inside a pad or a bore does;
//   - the patterns of a surface add up to its area, the strips at its corners
//     and the laps, and to no more;
//   - cut outlines hold the net ones, and lie outside them by the allowance
//     wherever no joint explains why not;
//   - a pattern that is not cut by knife fits the bed.
func Verify(p *piece.Piece, l *Layout, patterns []Pattern, j *joint.Result, s *shop.Shop, o Options) []finding.Finding {
	if j == nil {
		j = &joint.Result{}
	}
	v := &verifier{report: report{p: p}, o: o.withDefaults(), l: l, s: s}
	d := &drawing{shop: s, o: v.o, layout: l, joints: j, report: report{p: p}}
	for mi, c := range d.clads() {
		for si := range c.surfaces {
			if c.rank[si] >= 0 && !c.leads(si) {
				continue // looked at together with the surface that its leaf is named after
			}
			var of []Pattern
			for _, q := range patterns {
				if q.Member == mi && q.Surface == si {
					of = append(of, q)
				}
			}
			id := p.Members[mi].ID + "/" + c.surfaces[si].Name
			switch covered := c.rank[si] >= 0; {
			case !covered && len(of) > 0:
				v.fault(id, "it is bare but has patterns")
			case covered:
				v.surface(c, si, id, of, j)
			}
		}
	}
	for _, q := range patterns {
		v.pattern(q)
	}
	return finding.Sorted(v.list)
}

type verifier struct {
	report
	o Options
	l *Layout
	s *shop.Shop
}

func (v *verifier) fault(id, message string, args ...any) {
	v.add(finding.Stop, "pattern-fault", id, 0, "geometry", "report this fault", message, args...)
}

// slack is how far, in mm, flattened borders may be off.
const slack = 0.05

// carrier carries points of a chart to the pattern by summing curvature.
type carrier struct {
	sf   *piece.Surface
	k    float64
	u, w []float64     // Extruded: a table
	over *unfold.Patch // the neutral surface of a patch
	full float64       // once round
}

func newCarrier(sf *piece.Surface, k float64) *carrier {
	c := &carrier{sf: sf, k: k, full: sf.Length}
	if sf.Patch != nil {
		c.over, _ = sf.Patch.Offset(k)
	}
	switch sf.Kind {
	case piece.Cylinder:
		r := sf.Run.Segs[0].From().X
		c.full = 2 * math.Pi * (r + k)
	case piece.Extruded:
		const e = 1e-6
		var u, w float64
		var last geom.Vec3
		for i, g := range sf.Run.Segs {
			length := g.Length(0, 1)
			kappa := func(x float64) float64 { // at x along the segment
				a, _ := sf.Curvature(geom.V2(u+min(max(x, e), length-e), 0))
				return a
			}
			turn := func(a, b geom.Vec3) float64 {
				t := sf.Frame.Z
				return math.Atan2(a.Cross(b).Dot(t), a.Dot(b))
			}
			n := sf.Normal(geom.V2(u+e, 0))
			if i > 0 {
				w += k * turn(last, n)
			}
			steps := max(8, int(length/0.5))
			c.u, c.w = append(c.u, u), append(c.w, w)
			h := length / float64(steps)
			for s := range steps { // Simpson
				x := float64(s) * h
				w += h + k*h/6*(kappa(x)+4*kappa(x+h/2)+kappa(x+h))
				c.u, c.w = append(c.u, u+x+h), append(c.w, w)
			}
			u += length
			last = sf.Normal(geom.V2(u-e, 0))
		}
		c.full = w
	}
	return c
}

// places are the points of the unrolled surface that q may lie at: one, or for
// a ring one for every turn.
func (c *carrier) places(q geom.Vec2) []geom.Vec2 {
	if c.over != nil { // the nearest point of the neutral surface in space
		return c.over.Charts(c.sf.Point(q).Add(c.sf.Normal(q).Scale(c.k)))
	}
	switch c.sf.Kind {
	case piece.Cylinder, piece.Extruded:
		x := 0.0
		if c.sf.Kind == piece.Cylinder {
			x = q.X * c.full / c.sf.Length
		} else {
			i, found := slices.BinarySearch(c.u, q.X)
			if i >= len(c.u) {
				i = len(c.u) - 1
			}
			if found || i == 0 {
				x = c.w[i] + q.X - c.u[i]
			} else {
				t := (q.X - c.u[i-1]) / (c.u[i] - c.u[i-1])
				x = c.w[i-1] + t*(c.w[i]-c.w[i-1])
			}
		}
		if !c.sf.Closed {
			return []geom.Vec2{{X: x, Y: q.Y}}
		}
		var out []geom.Vec2
		for k := -1.0; k <= 2; k++ {
			out = append(out, geom.V2(x+k*c.full, q.Y))
		}
		return out
	case piece.Cone:
		// From the point in space: sector radius (r + k cos β) / sin β.
		a, b := coneEnds(c.sf)
		s := c.sf.Frame.Local(c.sf.Point(q))
		beta := math.Atan2(math.Abs(b.X-a.X), b.Y-a.Y)
		rho := (s.XY().Len() + c.k*math.Cos(beta)) / math.Sin(beta)
		phi := s.XY().Angle() * math.Sin(beta)
		var out []geom.Vec2
		for k := -1.0; k <= 2; k++ {
			sn, cs := math.Sincos(phi + k*2*math.Pi*math.Sin(beta))
			if b.X < a.X {
				cs = -cs
			}
			out = append(out, geom.V2(rho*sn, rho*cs))
		}
		return out
	}
	return []geom.Vec2{q}
}

func (p Pattern) local(q geom.Vec2) geom.Vec2 { return q.Sub(p.Chart).Rotate(p.Turn) }

func (v *verifier) surface(c *clad, si int, id string, of []Pattern, j *joint.Result) {
	sf := &c.surfaces[si]
	carry := newCarrier(sf, c.stack[si].NeutralDepth())
	type round struct { // a bore, in the member's coordinates
		mouth, axis geom.Vec3
		r           float64
	}
	var bores []round
	var open float64 // area of windows and bores
	group := c.group(si)
	for _, m := range group {
		for _, b := range j.Bores() {
			if b.Shows && b.Member == m.of.index && b.Surface == m.surface {
				h := round{c.core.Place.Local(b.Mouth), c.core.Place.LocalDir(b.Axis), b.Diameter / 2}
				bores = append(bores, h)
				open += math.Pi * h.r * h.r / math.Abs(h.axis.Dot(sf.Normal(sf.Chart(h.mouth))))
			}
		}
	}
	size := sf.Region.Bounds().Size()
	faults := 0
	var folds []float64 // where the sheet bends sharply, points are not told apart
	if sf.Kind == piece.Extruded {
		var u float64
		for i, g := range sf.Run.Segs {
			if math.Abs(sf.Run.Corner(i)) > 1e-6 {
				folds = append(folds, u)
			}
			u += g.Length(0, 1)
		}
	}
	look := func(m mate, own geom.Vec2) {
		if faults > 3 {
			return
		}
		hole, near := false, false
		for _, w := range m.of.bare[m.surface] {
			d := w.Distance(own)
			near = near || d < slack
			hole = hole || w.Contains(own)
		}
		q := m.to(c, si, own)
		for _, b := range bores {
			from := sf.Point(q).Sub(b.mouth)
			if from.Len() > 10*b.r { // where it may come out again
				continue
			}
			d := from.Cross(b.axis).Len() - b.r
			near = near || math.Abs(d) < slack
			hole = hole || d < 0
		}
		for _, f := range folds {
			near = near || math.Abs(q.X-f) < 2*foldReach
		}
		if near || m.of.hollow(m.surface, own) {
			return
		}
		inside := false
		for _, p := range of {
			for _, at := range carry.places(q) {
				at = p.local(at)
				if !p.Net.Contains(at) && !(p.Net.Distance(at) < slack && !hole) {
					continue
				}
				inside = true
			}
		}
		switch {
		case hole && inside:
			faults++
			v.fault(id, "a pattern covers the hole at (%.2f, %.2f)", q.X, q.Y)
		case !hole && !inside:
			faults++
			v.fault(id, "no pattern covers the point (%.2f, %.2f)", q.X, q.Y)
		}
	}
	const nx, ny = 61, 13
	var area, border float64
	for _, m := range group {
		region := m.of.surfaces[m.surface].Region
		box := region.Bounds()
		for i := range nx {
			for k := range ny {
				q := box.Min.Add(geom.V2(box.Size().X*(float64(i)+0.5)/nx, box.Size().Y*(float64(k)+0.5)/ny))
				if region.Contains(q) && (sf.Kind != piece.Cone || region.Distance(q) > 1e-6) {
					look(m, q)
				}
			}
		}
		for _, loop := range region {
			for i := range loop {
				look(m, loop[i].Lerp(loop[(i+1)%len(loop)], 0.5))
			}
			border += loop.Perimeter()
		}
		for _, w := range m.of.bare[m.surface] {
			open += w.Area()
		}
		area += region.Area()
	}

	// Sums.
	strip := 0.0 // by which a patch that is strained may differ
	if carry.over != nil {
		area *= carry.over.Area() / carry.over.Border().Area()
		strip = math.Abs(sf.Strain.Area) * 2 * area
	}
	switch sf.Kind {
	case piece.Cylinder:
		area *= carry.full / sf.Length
	case piece.Extruded:
		area = sf.Region.Map(func(q geom.Vec2) geom.Vec2 {
			n := *carry
			plain := *sf
			plain.Closed = false
			n.sf = &plain
			return n.places(q)[0]
		}).Area()
	case piece.Cone: // moved out along its normal: as wide in angle, farther from the apex
		a, b := coneEnds(sf)
		mean := (a.X + b.X) / 2
		beta := math.Atan2(math.Abs(b.X-a.X), b.Y-a.Y)
		area *= (mean + carry.k*math.Cos(beta)) / mean
	}
	var net, laps, most float64
	for _, p := range of {
		net += p.NetArea
	}
	for _, lp := range v.l.Laps {
		if lp.Member == c.index && lp.Surface == si {
			laps += (lp.Length*1.2 + 10) * (size.Y + 4*c.cover[si].Stack)
		}
	}
	for _, m := range group {
		for i := range m.of.surfaces {
			most = max(most, m.of.cover[i].Stack)
		}
	}
	strips := border*most*2 + 16*most*most + strip
	if low, high := area-open-strips, area-open+strips+laps; net < low-slack*border || net > high+slack*border {
		v.fault(id, "its patterns add up to %.1f mm², the surface to %.1f", net, area-open)
	}
	v.borders(c, si, id, of, bores != nil)
}

// hollow reports whether q lies so near a hollow corner that the leaf on the
// other side, laid first, covers it.
func (c *clad) hollow(si int, q geom.Vec2) bool {
	for _, loop := range c.surfaces[si].Region {
		for i := range loop {
			a, b := loop[i], loop[(i+1)%len(loop)]
			if geom.SegmentDistance(q, a, b) > 4*c.cover[si].Stack {
				continue
			}
			if m := c.across(si, a, b); m.surface >= 0 && m.surface != si && m.tau < 0 {
				return true
			}
		}
	}
	return false
}

// borders looks for the allowance along every border.
func (v *verifier) borders(c *clad, si int, id string, of []Pattern, bored bool) {
	sf := &c.surfaces[si]
	windowed := false
	for _, m := range c.group(si) {
		windowed = windowed || len(m.of.bare[m.surface]) > 0
	}
	for _, p := range of {
		bad := 0
		box := p.Net.Bounds()
		ring := p.CutInPlace || p.Lap != "" || v.lapped(c.index, si)
		for li, loop := range p.Net {
			for i := range loop {
				a, b := loop[i], loop[(i+1)%len(loop)]
				if a.Dist(b) < 0.01 {
					continue
				}
				mid := a.Lerp(b, 0.5)
				d := p.Gross.Distance(mid)
				want := p.Allowance
				if windowed || bored && loop.Area() < 0 {
					want = min(want, v.o.Hole)
				}
				if d >= want-slack || !p.Gross.Contains(mid) && d > 1e-6 && bad < 3 {
					if !p.Gross.Contains(mid) && d > 1e-6 {
						bad++
						v.fault(p.ID, "its cut outline lies inside the net one at (%.2f, %.2f)", mid.X, mid.Y)
					}
					continue
				}
				if v.explained(c, sf, si, p, box, mid, a, b, ring, li) || bad >= 3 {
					continue
				}
				bad++
				v.fault(p.ID, "the border at (%.2f, %.2f) has %.3f mm of allowance, not %.2f", mid.X, mid.Y, d, want)
			}
		}
	}
}

func (v *verifier) lapped(member, si int) bool {
	return slices.ContainsFunc(v.l.Laps, func(l Lap) bool { return l.Member == member && l.Surface == si })
}

// explained reports whether a border without allowance is one that has none:
// an end of a ring or of a lapped band, its fingers, a joint of leaves, a hole
// round a pad, a corner against another leaf, or the neighbourhood of one.
func (v *verifier) explained(c *clad, sf *piece.Surface, si int, p Pattern, box geom.Box2, mid, a, b geom.Vec2, ring bool, loop int) bool {
	if ring && sf.Kind == piece.Cone { // ends are rulings through the apex
		apex := p.local(geom.Vec2{})
		axis := box.Center().Sub(apex).Unit()
		lo, hi := math.Inf(1), math.Inf(-1)
		angle := func(q geom.Vec2) float64 { q = q.Sub(apex); return math.Atan2(axis.Cross(q), axis.Dot(q)) }
		for _, loop := range p.Net {
			for _, q := range loop {
				lo, hi = min(lo, angle(q)), max(hi, angle(q))
			}
		}
		if at := angle(mid); min(at-lo, hi-at)*mid.Dist(apex) < p.Allowance {
			return true
		}
	} else if ring && sf.Patch == nil {
		end := p.Allowance
		if p.Fingers > 0 {
			end += fingerMax * p.Width
		}
		if mid.X < box.Min.X+end || mid.X > box.Max.X-end {
			return true
		}
	}
	q := mid.Rotate(-p.Turn).Add(p.Chart) // unrolled
	for _, j := range v.l.Joints {
		if j.Member == c.index && j.Surface == si && j.Kind != "butt" && math.Abs(j.Line.Normal.XY().Dot(q)-j.Line.D) < p.Allowance {
			return true
		}
	}
	for _, m := range c.group(si)[1:] {
		if own := m.from(c, si, q); m.of.unallowed(m.surface, own, p.Allowance) {
			return true
		}
	}
	return c.unallowed(si, q, p.Allowance)
}

// unallowed reports whether q, a point of the unrolled surface si, lies near
// a border that has no allowance: one round a pad, one against the leaf of
// another member in the same plane, or one against another leaf of its own.
func (c *clad) unallowed(si int, q geom.Vec2, allowance float64) bool {
	sf := &c.surfaces[si]
	carry := c.neutral(si)
	for i, w := range c.bare[si] {
		if !c.exact[si][i] {
			continue
		}
		flat := w.Map(carry.flat)
		for _, turned := range turns(sf, carry, q) {
			if flat.Distance(turned) < allowance {
				return true
			}
		}
	}
	for _, m := range c.mates {
		if m.surface == si && !m.with.one && m.with.of.surfaces[m.with.surface].Region.Distance(m.with.from(c, si, q)) < allowance+4*c.cover[si].Stack {
			return true
		}
	}
	if sf.Patch != nil { // the ends of a ring
		for _, s := range c.cuts(si) {
			if geom.SegmentDistance(q, carry.flat(s.a), carry.flat(s.b)) < allowance {
				return true
			}
		}
	}
	// Near a border that has no allowance by the rule of corners.
	for _, lp := range sf.Region {
		for i := range lp {
			x, y := lp[i], lp[(i+1)%len(lp)]
			m := c.across(si, x, y)
			if m.surface < 0 || m.surface == si {
				continue
			}
			if m.tau > 0 && math.Abs(m.tau) >= piece.BreakAngle {
				continue
			}
			for _, turned := range turns(sf, carry, q) {
				if geom.SegmentDistance(turned, carry.flat(x), carry.flat(y)) < allowance+4*c.cover[si].Stack {
					return true
				}
			}
		}
	}
	return false
}

// turns are the points of an unrolled surface that come to lie on q when a ring
// is rolled round and round.
func turns(sf *piece.Surface, n *neutral, q geom.Vec2) []geom.Vec2 {
	out := []geom.Vec2{q}
	for _, k := range []float64{-2, -1, 1} {
		switch {
		case sf.Closed:
			out = append(out, geom.V2(q.X+k*n.total(), q.Y))
		case sf.Kind == piece.Cone:
			out = append(out, q.Rotate(k*2*math.Pi*sine(sf)), q.Rotate(-k*2*math.Pi*sine(sf)))
		}
	}
	return out
}

// pattern checks what can be seen on one pattern alone.
func (v *verifier) pattern(p Pattern) {
	if len(p.Net) == 0 || len(p.Gross) == 0 || p.NetArea <= 0 || p.GrossArea < p.NetArea-1e-6 {
		v.fault(p.ID, "its areas are %.3f net and %.3f cut", p.NetArea, p.GrossArea)
		return
	}
	for _, loop := range p.Net {
		for _, q := range loop {
			if !p.Gross.Contains(q) && p.Gross.Distance(q) > 1e-6 {
				v.fault(p.ID, "the cut outline does not hold the net point (%.3f, %.3f)", q.X, q.Y)
				return
			}
		}
	}
	for _, q := range p.Pins {
		if !p.Gross.Contains(q) || p.Gross.Distance(q) < p.Pin/2 {
			v.fault(p.ID, "the pin at (%.2f, %.2f) breaks out", q.X, q.Y)
		}
	}
	var ven shop.Veneer
	for _, x := range v.s.Veneers {
		if x.ID == p.Veneer {
			ven = x
		}
	}
	if p.KnifeCut || strings.Contains(fmt.Sprint(v.l.Findings), "leaf-too-large") {
		return
	}
	size := p.Gross.Map(func(q geom.Vec2) geom.Vec2 { return q.Rotate(-p.Grain) }).Bounds().Size()
	if !fits(rooms(v.s, ven), size.X, size.Y) {
		v.add(finding.Warning, "pattern-larger-than-bed", p.ID, 0, "geometry", "use a larger bed or sheet; or divide the surface", "It is %s by %s mm.", mm(size.X), mm(size.Y))
	}
}
