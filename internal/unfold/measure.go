package unfold

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

func (p *Patch) mesh() *mesh { return &mesh{v: p.Vertices, tri: p.Triangles, origin: p.Origin} }

// facet is a triangle's normal, twice its area long.
func (p *Patch) facet(t int) geom.Vec3 { return p.mesh().facet(t) }

// longest is the square of a triangle's longest side.
func (p *Patch) longest(t int) float64 { return p.mesh().longest2(t) }

// frame is the derivative of the map from chart to space in a triangle; false
// if the flat triangle has no area.
func (p *Patch) frame(t int) (u, v geom.Vec3, ok bool) {
	c := p.Triangles[t]
	a, b := p.Flat[c[1]].Sub(p.Flat[c[0]]), p.Flat[c[2]].Sub(p.Flat[c[0]])
	e, f := p.Vertices[c[1]].Sub(p.Vertices[c[0]]), p.Vertices[c[2]].Sub(p.Vertices[c[0]])
	det := a.Cross(b)
	if math.Abs(det) <= sliver*max(a.Dot(a), b.Dot(b)) {
		return u, v, false
	}
	u = e.Scale(b.Y).Sub(f.Scale(a.Y)).Scale(1 / det)
	v = f.Scale(a.X).Sub(e.Scale(b.X)).Scale(1 / det)
	return u, v, true
}

func (p *Patch) distortion() Distortion {
	var d Distortion
	m := p.mesh()
	if err := m.link(); err != nil {
		panic("unfold: an opened mesh is no longer one: " + err.Error())
	}
	n, sum, size := 0.0, 0.0, m.size()
	for h, o := range m.twin {
		if o > int32(h) {
			continue
		}
		i, j := m.from(int32(h)), m.to(int32(h))
		l := p.Vertices[i].Dist(p.Vertices[j])
		if l <= sliver*size {
			continue
		}
		e := p.Flat[i].Dist(p.Flat[j])/l - 1
		d.Edge = max(d.Edge, math.Abs(e))
		sum += e * e
		n++
	}
	d.EdgeRMS = math.Sqrt(sum / n)
	var was, is float64
	d.Stretch = -1
	for t, r := range m.rests() {
		c := p.Triangles[t]
		if r.area == 0 {
			continue
		}
		a, b, cc, dd := r.jacobian(p.Flat[c[0]], p.Flat[c[1]], p.Flat[c[2]])
		_, _, s1, _ := svd(a, b, cc, dd)
		det := a*dd - b*cc
		was += r.area
		is += r.area * det
		s := math.Inf(1)
		if det > 0 {
			s = max(s1, s1/det) - 1
		}
		if s > d.Stretch {
			d.Stretch = s
			d.Worst = p.Vertices[c[0]].Add(p.Vertices[c[1]]).Add(p.Vertices[c[2]]).Scale(1. / 3)
		}
	}
	d.Area = is/was - 1
	angles, border := m.angles()
	for v, a := range angles {
		if !border[v] {
			d.Defect = max(d.Defect, math.Abs(2*math.Pi-a))
		}
	}
	d.Overlap = p.overlaps(m)
	return d
}

// Strain is how much a sheet that has the shape of the chart is strained when
// it is laid on the surface: the greatest magnitudes along the grain, which
// runs in the chart direction grain, and across it.
//
// A triangle smaller than the mean counts together with its neighbours, up to
// the mean area: the curvature of a facetted surface sits in its vertices, and
// next to one the strain of a sliver that a cut has left says nothing about the
// smooth surface.
func (p *Patch) Strain(grain geom.Vec2) (along, across float64) {
	m := p.mesh()
	if err := m.link(); err != nil {
		panic("unfold: " + err.Error())
	}
	g := grain.Unit()
	grams := make([]form, len(p.Triangles)) // of the map from chart to space, times the area
	areas := make([]float64, len(p.Triangles))
	total, n := 0.0, 0
	for t := range p.Triangles {
		f := p.facet(t).Len()
		u, v, ok := p.frame(t)
		if ok && f > sliver*p.longest(t) {
			areas[t] = f
			grams[t] = form{u.Dot(u), u.Dot(v), v.Dot(v)}
			total += f
			n++
		}
	}
	mean := total / float64(n)
	var near []int32
	for t := range p.Triangles {
		if areas[t] == 0 {
			continue
		}
		near = append(near[:0], int32(t))
		sum, area := form{}, 0.0
		for i := 0; i < len(near) && area < mean*(1-1e-9); i++ {
			k := near[i]
			sum = sum.add(grams[k], areas[k])
			area += areas[k]
			for c := range int32(3) {
				if o := m.twin[3*k+c]; o >= 0 && !slices.Contains(near, o/3) {
					near = append(near, o/3)
				}
			}
		}
		e := math.Sqrt(sum.along(g)/area) - 1
		f := math.Sqrt(sum.along(g.Left())/area) - 1
		along, across = max(along, e, -e), max(across, f, -f)
	}
	return along, across
}

// overlaps reports whether the flat patch lies on itself. Where no triangle is
// turned over that takes a border that crosses itself, or whole sheets on top
// of one another, which the middles of triangles tell. Borders that touch are
// no overlap.
func (p *Patch) overlaps(m *mesh) bool {
	box := geom.EmptyBox2()
	for _, q := range p.Flat {
		box = box.Add(q)
	}
	near := 1e-9 * box.Size().Len()
	type side struct{ a, b geom.Vec2 }
	var sides []side
	for h, o := range m.twin {
		if o >= 0 {
			continue
		}
		a, b := p.Flat[m.from(int32(h))], p.Flat[m.to(int32(h))]
		if b.X < a.X {
			a, b = b, a
		}
		sides = append(sides, side{a, b})
	}
	slices.SortFunc(sides, func(e, f side) int {
		return cmp.Or(cmp.Compare(e.a.X, f.a.X), cmp.Compare(e.a.Y, f.a.Y), cmp.Compare(e.b.X, f.b.X), cmp.Compare(e.b.Y, f.b.Y))
	})
	// off is the signed distance of q from the line through s.
	off := func(s side, q geom.Vec2) float64 { return s.b.Sub(s.a).Unit().Cross(q.Sub(s.a)) }
	apart := func(x, y float64) bool { return x > near && y < -near || x < -near && y > near }
	var active []side
	for _, e := range sides {
		kept := active[:0]
		for _, f := range active {
			if f.b.X < e.a.X {
				continue
			}
			kept = append(kept, f)
			if min(f.a.Y, f.b.Y) > max(e.a.Y, e.b.Y) || min(e.a.Y, e.b.Y) > max(f.a.Y, f.b.Y) {
				continue
			}
			if apart(off(e, f.a), off(e, f.b)) && apart(off(f, e.a), off(f, e.b)) {
				return true
			}
		}
		active = append(kept, e)
	}
	flat := p.flatTree()
	for t, c := range p.Triangles {
		a, b, d := p.Flat[c[0]], p.Flat[c[1]], p.Flat[c[2]]
		if b.Sub(a).Cross(d.Sub(a)) <= 0 {
			continue
		}
		mid := a.Add(b).Add(d).Scale(1. / 3)
		q := geom.V3(mid.X, mid.Y, 0)
		for _, o := range flat.within(q, near) {
			if int(o) == t {
				continue
			}
			k := p.Triangles[o]
			x, y, z := p.Flat[k[0]], p.Flat[k[1]], p.Flat[k[2]]
			if off(side{x, y}, mid) > near && off(side{y, z}, mid) > near && off(side{z, x}, mid) > near {
				return true
			}
		}
	}
	return false
}

// align turns the chart so that u follows the direction along, and shifts it
// to the corner of its bounding box.
func (p *Patch) align(along geom.Vec3) {
	d := p.chartDirection(along)
	if d == (geom.Vec2{}) {
		d = p.longWay()
	}
	d = d.Unit()
	for i, q := range p.Flat {
		p.Flat[i] = geom.V2(q.Dot(d), d.Cross(q))
	}
	box := geom.EmptyBox2()
	for _, q := range p.Flat {
		box = box.Add(q)
	}
	for i, q := range p.Flat {
		p.Flat[i] = q.Sub(box.Min)
	}
}

// chartDirection is the direction in the chart that a direction in space has
// at the middle of the patch, or on the average of the patch where it stands
// nearly square to its middle; zero if it does so everywhere.
func (p *Patch) chartDirection(along geom.Vec3) geom.Vec2 {
	along = along.Unit()
	if along == (geom.Vec3{}) {
		return geom.Vec2{}
	}
	var middle geom.Vec2
	area := 0.0
	centre := func(t int) geom.Vec2 {
		c := p.Triangles[t]
		return p.Flat[c[0]].Add(p.Flat[c[1]]).Add(p.Flat[c[2]]).Scale(1. / 3)
	}
	for t := range p.Triangles {
		a := p.facet(t).Len()
		middle = middle.Add(centre(t).Scale(a))
		area += a
	}
	middle = middle.Scale(1 / area)
	const steep = 0.05 // share of along that must lie in the surface
	var sum geom.Vec2
	var best geom.Vec2
	nearest := math.Inf(1)
	for t := range p.Triangles {
		u, v, ok := p.frame(t)
		if !ok {
			continue
		}
		// The tangent part of along, in the frame's own (nearly square) basis.
		uu, uv, vv := u.Dot(u), u.Dot(v), v.Dot(v)
		x, y := along.Dot(u), along.Dot(v)
		det := uu*vv - uv*uv
		d := geom.V2((x*vv-y*uv)/det, (y*uu-x*uv)/det)
		sum = sum.Add(d.Scale(p.facet(t).Len() / area))
		if r := centre(t).Dist(middle); r < nearest {
			best, nearest = d, r
		}
	}
	switch {
	case best.Len() > steep:
		return best
	case sum.Len() > 1e-6:
		return sum
	}
	return geom.Vec2{}
}

// longWay is the direction of the longer side of a small rectangle round the
// flat patch, towards the half that the vertex with the lowest number is not
// in. Of the rectangles that lie on a side of the convex hull and are hardly
// larger than the smallest, it takes the one that lies best along the patch's
// own longest axis of inertia: all three of a triangle are equally large.
func (p *Patch) longWay() geom.Vec2 {
	const hardly = 1.05
	hull := convexHull(p.Flat)
	axis := p.inertia()
	type box struct {
		dir  geom.Vec2
		area float64
	}
	var boxes []box
	least := math.Inf(1)
	for i := range hull {
		d := hull[(i+1)%len(hull)].Sub(hull[i]).Unit()
		lo, hi := geom.V2(math.Inf(1), math.Inf(1)), geom.V2(math.Inf(-1), math.Inf(-1))
		for _, q := range hull {
			x, y := q.Dot(d), d.Cross(q)
			lo, hi = geom.V2(min(lo.X, x), min(lo.Y, y)), geom.V2(max(hi.X, x), max(hi.Y, y))
		}
		s := hi.Sub(lo)
		if s.Y > s.X*(1+1e-9) {
			d = d.Left()
		}
		least = min(least, s.X*s.Y)
		boxes = append(boxes, box{d, s.X * s.Y})
	}
	best, most := geom.V2(1, 0), -1.0
	for _, b := range boxes {
		if c := math.Abs(b.dir.Dot(axis)); b.area <= hardly*least && c > most+1e-9 {
			best, most = b.dir, c
		}
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, q := range hull {
		lo, hi = min(lo, q.Dot(best)), max(hi, q.Dot(best))
	}
	for _, q := range p.Flat {
		off := q.Dot(best) - (lo+hi)/2
		if math.Abs(off) > 1e-6*(hi-lo) {
			if off > 0 {
				best = best.Scale(-1)
			}
			break
		}
	}
	return best
}

// inertia is the axis along which the flat patch spreads most.
func (p *Patch) inertia() geom.Vec2 {
	var first geom.Vec2
	var second form
	area := 0.0
	o := p.Flat[0]
	for _, c := range p.Triangles {
		q := [3]geom.Vec2{p.Flat[c[0]].Sub(o), p.Flat[c[1]].Sub(o), p.Flat[c[2]].Sub(o)}
		a := q[1].Sub(q[0]).Cross(q[2].Sub(q[0])) / 2
		s := q[0].Add(q[1]).Add(q[2])
		area += a
		first = first.Add(s.Scale(a / 3))
		// ∫ x xᵀ over a triangle is a/12 (Σ qᵢ qᵢᵀ + s sᵀ).
		for _, x := range [4]geom.Vec2{q[0], q[1], q[2], s} {
			second = second.add(form{x.X * x.X, x.X * x.Y, x.Y * x.Y}, a/12)
		}
	}
	second = second.add(form{first.X * first.X, first.X * first.Y, first.Y * first.Y}, -1/area)
	_, d := second.greatest()
	return d
}

// convexHull is counter-clockwise, without points along its sides.
func convexHull(points []geom.Vec2) []geom.Vec2 {
	ps := slices.Clone(points)
	slices.SortFunc(ps, func(a, b geom.Vec2) int { return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y)) })
	ps = slices.Compact(ps)
	if len(ps) < 3 {
		return ps
	}
	var hull []geom.Vec2
	for range 2 { // lower, then upper
		base := len(hull)
		for _, q := range ps {
			for len(hull) >= base+2 && hull[len(hull)-1].Sub(hull[len(hull)-2]).Cross(q.Sub(hull[len(hull)-2])) <= 0 {
				hull = hull[:len(hull)-1]
			}
			hull = append(hull, q)
		}
		hull = hull[:len(hull)-1]
		slices.Reverse(ps)
	}
	return hull
}

// alignTo turns and shifts the chart so that it lies on that of o, which has
// the same triangles, with the least squares of distances.
func (p *Patch) alignTo(o *Patch) {
	var a, b geom.Vec2
	n := 1 / float64(len(p.Flat))
	for i, q := range p.Flat {
		a, b = a.Add(q.Scale(n)), b.Add(o.Flat[i].Scale(n))
	}
	var dot, cross float64
	for i, q := range p.Flat {
		x, y := q.Sub(a), o.Flat[i].Sub(b)
		dot += x.Dot(y)
		cross += x.Cross(y)
	}
	turn := math.Atan2(cross, dot)
	for i, q := range p.Flat {
		p.Flat[i] = q.Sub(a).Rotate(turn).Add(b)
	}
}
