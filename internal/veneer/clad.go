package veneer

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// clad is one member with what is laid on it.
type clad struct {
	index    int
	core     piece.Member
	surfaces []piece.Surface // of the core
	cover    []Covering
	stack    []shop.Veneer // by surface, zero where nothing is laid
	rank     []int         // place in the order of laying, -1 where nothing is laid
	bare     [][]geom.Polygons
	exact    [][]bool // by surface and window: it is cut to size, as a pad or a member printed as one stands in the way of trimming
	chord    float64
	middle   geom.Vec2 // of the whole piece, seen from above; known to Lay only
	mates    []pairing // surfaces that lie flush with those of members printed as one with this

	neutrals []*neutral       // by surface, as they are asked for
	openings map[int][]cutway // by surface, as they are asked for
	met      map[border]meeting
}

// border is a stretch of a surface's border in its chart.
type border struct {
	surface int
	a, b    geom.Vec2
}

// surfaceRank puts faces before edges or after them.
func surfaceRank(sf *piece.Surface, edgesFirst bool) int {
	edge := sf.Role == piece.Edge || sf.Role == piece.Side
	if edge == edgesFirst {
		return 0
	}
	return 1
}

// seen is how much a surface is looked at: the front most, then what lies
// above, the back and what lies below least. Closed rims are neither.
func (c *clad) seen(si int) float64 {
	sf := &c.surfaces[si]
	if sf.Closed || len(sf.Region) == 0 || sf.Role == piece.Side && sf.Kind != piece.Plane {
		return 0
	}
	n := sf.Normal(sf.Region.Bounds().Center())
	if sf.Patch != nil {
		n = c.facing(si)
	}
	n = c.core.Place.Dir(n)
	return -n.Y + n.Z/2
}

// sequence is the order in which the covered surfaces are laid: faces before
// edges (or the other way), the less visible first, then as they are numbered.
func (c *clad) sequence(edgesFirst bool) []int {
	var order []int
	for i := range c.surfaces {
		if c.cover[i].Stack > 0 && len(c.surfaces[i].Region) > 0 {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(
			cmp.Compare(surfaceRank(&c.surfaces[a], edgesFirst), surfaceRank(&c.surfaces[b], edgesFirst)),
			cmp.Compare(math.Round(c.seen(a)*1e6), math.Round(c.seen(b)*1e6)))
	})
	return order
}

func (c *clad) setOrder(order []int) {
	c.rank = make([]int, len(c.surfaces))
	for i := range c.rank {
		c.rank[i] = -1
	}
	for k, i := range order {
		c.rank[i] = k
	}
}

// meeting is another surface along a border.
type meeting struct {
	surface int     // -1 for none
	tau     float64 // turning from this surface to it, radians; negative where they form a hollow
}

// across finds the surface that lies beyond the border from a to b of surface
// si, in its chart.
func (c *clad) across(si int, a, b geom.Vec2) meeting {
	key := border{si, a, b}
	m, known := c.met[key]
	if !known {
		if c.met == nil {
			c.met = map[border]meeting{}
		}
		m = c.search(si, a, b)
		c.met[key] = m
	}
	return m
}

func (c *clad) search(si int, a, b geom.Vec2) meeting {
	sf := &c.surfaces[si]
	mid := a.Lerp(b, 0.5)
	if c.onSeam(si, a, b) {
		return meeting{surface: si}
	}
	p := sf.Point(mid)
	tol := 2*c.chord + 1e-3
	best, found := tol, -1
	for j := range c.surfaces {
		o := &c.surfaces[j]
		if j == si || len(o.Region) == 0 {
			continue
		}
		if o.Kind == piece.Plane && math.Abs(o.Frame.Local(p).Z) > tol {
			continue
		}
		q := o.Chart(p)
		d := o.Point(q).Dist(p)
		if d >= best {
			continue
		}
		if !o.Region.Contains(q) {
			d = max(d, o.Region.Distance(q))
		}
		if d < best {
			best, found = d, j
		}
	}
	if found < 0 {
		return meeting{surface: -1}
	}
	o := &c.surfaces[found]
	n1, n2 := sf.Normal(mid), o.Normal(o.Chart(p))
	tau := math.Acos(max(-1, min(1, n1.Dot(n2))))
	step := b.Sub(a).Scale(1e-3) // a border may go all the way round: its ends tell nothing
	if l := step.Len(); l > 1e-3 {
		step = step.Scale(1e-3 / l)
	}
	outward := sf.Point(mid.Add(step)).Sub(sf.Point(mid.Sub(step))).Cross(n1)
	if outward.Dot(n2) < 0 {
		tau = -tau
	}
	return meeting{found, tau}
}

// onSeam reports whether a border is where the chart of a side or rim that goes
// all the way round was cut open.
func (c *clad) onSeam(si int, a, b geom.Vec2) bool {
	const tol = 1e-6
	sf := &c.surfaces[si]
	switch {
	case sf.Patch != nil:
		return c.opening(si, a.Lerp(b, 0.5)) != 0
	case sf.Closed:
		return math.Abs(a.X) < tol && math.Abs(b.X) < tol ||
			math.Abs(a.X-sf.Length) < tol && math.Abs(b.X-sf.Length) < tol
	case sf.Kind == piece.Cone:
		// Rays through the apex at the sector's two ends.
		full := 2 * math.Pi * sine(sf)
		fa, fb := sectorAngle(sf, a), sectorAngle(sf, b)
		near := func(x, y float64) bool { return math.Abs(x-y) < tol }
		return near(fa, 0) && near(fb, 0) || near(fa, full) && near(fb, full)
	}
	return false
}

// sectorAngle is the angle of a point of a cone's chart about the apex, from
// where the chart was cut open, from 0 to 2π.
func sectorAngle(sf *piece.Surface, q geom.Vec2) float64 {
	phi := math.Atan2(q.X, math.Abs(q.Y))
	p0, p1 := coneEnds(sf)
	if (p1.X > p0.X) != (q.Y > 0) {
		phi = math.Atan2(q.X, -math.Abs(q.Y))
	}
	if phi < -1e-6 {
		phi += 2 * math.Pi
	}
	return phi
}

// margin is how far a border of a leaf is carried beyond the core's.
type margin struct {
	net   float64 // to what shows
	extra float64 // from there to the cut
}

// margins is the rule of corners for one border of surface si.
func (c *clad) margins(si int, a, b geom.Vec2, allowance float64) margin {
	if c.onJoint(si, a, b) {
		return margin{}
	}
	m := c.across(si, a, b)
	switch {
	case m.surface == si: // the seam of a chart: a hair over, so that no slit is left when copies are joined
		return margin{net: 1e-4}
	case m.surface < 0:
		return margin{0, allowance}
	}
	first := c.rank[m.surface] >= 0 && c.rank[m.surface] < c.rank[si] // the other one is laid first
	v := c.cover[m.surface].Stack
	tau := math.Abs(m.tau)
	switch {
	case c.rank[m.surface] < 0: // bare
		if m.tau < 0 {
			return margin{}
		}
		return margin{0, allowance}
	case tau < piece.BreakAngle: // meets its neighbour in the bisector
		return margin{math.Copysign(c.cover[si].Stack*math.Tan(tau/2), m.tau), 0}
	case m.tau < 0 && first:
		return margin{-CornerSecond(v, tau), 0}
	case m.tau < 0:
		return margin{}
	case first:
		return margin{CornerSecond(v, tau), allowance}
	}
	return margin{CornerFirst(c.cover[si].Stack, tau), allowance}
}

// bases are the separate parts of a core's surface that are covered, with those
// of others that carry the same leaf. They are listed under the surface that
// the leaf is named after.
func (c *clad) bases(r *solid.Regions, si int) []geom.Polygons {
	if !c.leads(si) {
		return nil
	}
	region := c.covered(r, si)
	region = slices.DeleteFunc(slices.Clone(region), func(p geom.Polygon) bool { return math.Abs(p.Area()) < 1e-3 })
	if len(region) == 0 {
		return nil
	}
	parts := r.Decompose(region)
	for _, part := range parts {
		for i := range part {
			part[i] = dropShort(dropRepeats(part[i])) // rounding must not make borders that nothing lies beyond
		}
	}
	return parts
}

// unrolled is a part of a surface laid flat, in coordinates that agree with
// the chart but for the neutral surface.
type unrolled struct {
	neutral    *neutral
	net, gross geom.Polygons
}

// unroll lays a base flat, carries its borders out by the rules of corners and
// adds the allowance.
func (c *clad) unroll(r *solid.Regions, si int, base geom.Polygons, allowance float64, o Options) unrolled {
	out := unrolled{neutral: c.neutral(si)}
	base = c.parted(si, out.neutral.folded(base))
	flat := base.Map(out.neutral.flat)
	var net, gross [][]float64
	alike := true // every border has the same allowance
	for _, p := range base {
		n, g := make([]float64, len(p)), make([]float64, len(p))
		for j := range p {
			a, b := p[j], p[(j+1)%len(p)]
			var m margin
			of := c.owner(si, a, b)
			a, b = of.from(c, si, a), of.from(c, si, b)
			if w := of.of.onWindow(of.surface, a, b); w >= 0 {
				if !of.of.exact[of.surface][w] { // trimmed after laying
					m.extra = o.Hole
				}
			} else {
				m = of.of.margins(of.surface, a, b, allowance)
			}
			if of.of.surfaces[of.surface].Patch != nil {
				m = of.of.endMargin(of.surface, a, b, m, flat.Bounds().Size().X, o)
			}
			n[j], g[j] = m.net, m.net+m.extra
			alike = alike && m.extra == allowance
		}
		net, gross = append(net, n), append(gross, g)
	}
	out.net = grow(r, flat, net)
	if alike {
		out.gross = r.Offset(out.net, allowance, solid.Miter, 4, o.Chord)
	} else {
		out.gross = grow(r, flat, gross)
	}
	return out
}

// folded puts points where the bends at the folds of an edge begin and end.
func (n *neutral) folded(base geom.Polygons) geom.Polygons {
	for _, f := range n.folds {
		for _, u := range []float64{f.u - foldReach, f.u + foldReach} {
			split := make(geom.Polygons, len(base))
			for k, p := range base {
				for j, a := range p {
					split[k] = append(split[k], a)
					if b := p[(j+1)%len(p)]; (a.X-u)*(b.X-u) < -1e-6 {
						split[k] = append(split[k], a.Lerp(b, (u-a.X)/(b.X-a.X)))
					}
				}
			}
			base = split
		}
	}
	return base
}

// onWindow is the window that a border of a base runs along, -1 for none.
func (c *clad) onWindow(si int, a, b geom.Vec2) int {
	mid := a.Lerp(b, 0.5)
	const tol = 1e-5
	if c.surfaces[si].Region.Distance(mid) < tol {
		return -1
	}
	for i, w := range c.bare[si] {
		if w.Distance(mid) < tol {
			return i
		}
	}
	return -1
}

// world is a point of a surface of the core in the world.
func (c *clad) world(si int, q geom.Vec2) geom.Vec3 {
	sf := &c.surfaces[si]
	if sf.Kind == piece.Extruded && sf.Closed {
		q.X -= math.Floor(q.X/sf.Length) * sf.Length
	}
	return c.core.Place.Point(sf.Point(q))
}

// fingersLow reports whether fingers have to point towards falling u, so that
// seen with the piece upright they all point the same way, to the right.
func (c *clad) fingersLow(si int) bool {
	b := c.surfaces[si].Region.Bounds()
	up := c.world(si, geom.V2(b.Min.X, b.Max.Y)).Sub(c.world(si, b.Min))
	return up.Unit().Z < -0.1
}

// backmost is the u that lies farthest back (and, where that is all the same,
// lowest): the middle of a straight back.
func (c *clad) backmost(si int) float64 {
	sf := &c.surfaces[si]
	if sf.Kind == piece.Cylinder {
		return c.backAngle(si) * sf.Run.Segs[0].From().X
	}
	v := sf.Region.Bounds().Center().Y
	samples := sf.Run.Flatten(1e-4)
	n := len(samples)
	key := make([]float64, n)
	best := 0
	for i, q := range samples {
		p := c.core.Place.Point(sf.Frame.Point(geom.V3(q.P.X, q.P.Y, v)))
		key[i] = p.Y - p.Z*1e-3
		if key[i] > key[best]+1e-9 {
			best = i
		}
	}
	lo, hi := best, best
	for hi-lo < n && key[(lo-1+2*n)%n] > key[best]-1e-3 {
		lo--
	}
	for hi-lo < n && key[(hi+1)%n] > key[best]-1e-3 {
		hi++
	}
	// Where the key crosses the bound, between samples.
	place := func(i int) float64 {
		return samples[(i+n)%n].S + math.Floor(float64(i)/float64(n))*sf.Length
	}
	cross := func(in, out int) float64 {
		a, b := key[(in+n)%n], key[(out+n)%n]
		t := (a - (key[best] - 1e-3)) / (a - b)
		return place(in) + t*(place(out)-place(in))
	}
	from, to := place(lo), place(hi)
	if hi-lo < n {
		from, to = cross(lo, lo-1), cross(hi, hi+1)
	}
	u := (from + to) / 2
	return u - math.Floor(u/sf.Length)*sf.Length
}

// polygonDistance is how far a point is from a flat region in space.
func polygonDistance(p geom.Vec3, f geom.Frame, region geom.Polygons) float64 {
	q := f.Local(p)
	if region.Contains(q.XY()) {
		return math.Abs(q.Z)
	}
	return math.Hypot(region.Distance(q.XY()), q.Z)
}
