package veneer

import (
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// Laid is a pattern as it lies on the piece.
type Laid struct {
	p     Pattern
	on    *piece.Surface
	n     *neutral
	place geom.Frame
}

// Lying lays patterns of a layout one after another. The function is false
// where a pattern covers nothing of a member, as a plug's does not. It is for one
// goroutine.
func Lying(l *Layout) func(p Pattern) (*Laid, bool) {
	surfaces := make([][]piece.Surface, len(l.Cores))
	return func(p Pattern) (*Laid, bool) {
		if p.Member < 0 || p.Member >= len(l.Cores) {
			return nil, false
		}
		core := l.Cores[p.Member]
		if surfaces[p.Member] == nil {
			surfaces[p.Member] = core.Surfaces(1) // borders are not looked at
		}
		on := &surfaces[p.Member][p.Surface]
		return &Laid{p, on, newNeutral(on, l.Coverings[p.Member][p.Surface].Neutral), core.Place}, true
	}
}

// At is the point of the core's surface that the pattern's point q, as in its
// Net, comes to lie on, and the normal there out of the core, both in the
// world. It does not stop at the border of the surface, which veneer passes at
// corners: there the surface goes on as it ends.
func (l *Laid) At(q geom.Vec2) (at, normal geom.Vec3) {
	uv := l.n.unflat(q.Rotate(-l.p.Turn).Add(l.p.Chart))
	at, normal = l.on.Point(uv), l.on.Normal(uv)
	if l.on.Kind == piece.Extruded && !l.on.Closed { // Point holds u to the run
		if over := uv.X - max(0, min(l.on.Length, uv.X)); over != 0 {
			along := normal.Cross(l.on.Frame.Z).Neg() // u, v and the normal are right-handed
			at = at.Add(along.Scale(over))
		}
	}
	return l.place.Point(at), l.place.Dir(normal)
}

// unflat is the inverse of flat, in the chart's first turn.
func (n *neutral) unflat(q geom.Vec2) geom.Vec2 {
	switch {
	case n.s.Patch != nil:
		if n.offset == nil {
			return q
		}
		return n.offset.Carry(q, n.s.Patch)
	case n.s.Kind == piece.Extruded, n.s.Kind == piece.Cylinder:
		u := n.back(q.X)
		if n.s.Closed {
			u -= math.Floor(u/n.s.Length) * n.s.Length
		}
		return geom.V2(u, q.Y)
	case n.s.Kind == piece.Cone:
		a, b := coneEnds(n.s)
		r := q.Len()
		if r < 1e-9 {
			return q
		}
		q = q.Scale(max(0, r-n.k*(b.Y-a.Y)/math.Abs(b.X-a.X)) / r)
		full := 2 * math.Pi * sine(n.s)
		back := full * math.Floor(sectorAngle(n.s, q)/full+1e-9)
		if b.X < a.X { // the angle runs counter-clockwise
			back = -back
		}
		return q.Rotate(back)
	}
	return q
}

// Axis is the direction in the world, square to the bending, along which the
// surface is straight: that of an edge across its band, of a turning along its
// axis. It is false for surfaces without one.
func (l *Laid) Axis() (geom.Vec3, bool) {
	switch {
	case l.on.Patch != nil:
		return geom.Vec3{}, false
	case l.on.Kind == piece.Extruded, l.on.Kind == piece.Cylinder, l.on.Kind == piece.Cone:
		return l.place.Dir(l.on.Frame.Z), true
	}
	return geom.Vec3{}, false
}

// Facets divides a region in the pattern's coordinates into parts that lie
// flat on the piece to within chord mm, divided along the lines about which the
// surface bends.
func (l *Laid) Facets(region geom.Polygons, chord float64) []geom.Polygons {
	// The surface's own flat coordinates are the pattern's turned back and moved.
	home := func(q geom.Vec2) geom.Vec2 { return q.Rotate(-l.p.Turn).Add(l.p.Chart) }
	back := func(q geom.Vec2) geom.Vec2 { return q.Sub(l.p.Chart).Rotate(l.p.Turn) }
	flat := region.Map(home)
	var out []geom.Polygons
	switch {
	case l.on.Patch != nil:
		out = l.triangles(flat)
	case l.on.Kind == piece.Extruded, l.on.Kind == piece.Cylinder:
		out = strips(flat, l.breaks(flat.Bounds(), chord))
	case l.on.Kind == piece.Cone:
		out = l.wedges(flat, chord)
	default:
		return []geom.Polygons{region}
	}
	for i := range out {
		out[i] = out[i].Map(back)
	}
	return out
}

// breaks are the places along u, in the flat, where the surface bends from one
// facet to the next.
func (l *Laid) breaks(box geom.Box2, chord float64) []float64 {
	var us []float64 // of one turn
	switch {
	case l.on.Kind == piece.Cylinder:
		r := l.on.Length / (2 * math.Pi)
		n := max(12, int(math.Ceil(math.Pi/math.Acos(1-min(1, chord/r)))))
		for i := range n {
			us = append(us, l.on.Length*float64(i)/float64(n))
		}
	default:
		for _, s := range l.on.Run.Flatten(chord) {
			us = append(us, s.S)
		}
		if f := l.n.folds; len(f) > 0 { // veneer bends round a fold over this length
			for _, g := range f {
				us = append(us, g.u-foldReach, g.u, g.u+foldReach)
			}
			slices.Sort(us)
		}
	}
	var out []float64
	if !l.on.Closed {
		for _, u := range us {
			if w := l.n.along(u); w > box.Min.X && w < box.Max.X {
				out = append(out, w)
			}
		}
		return out
	}
	total := l.n.total()
	for turn := math.Floor(box.Min.X/total) - 1; turn*total <= box.Max.X; turn++ {
		for _, u := range us {
			if w := l.n.along(u) + turn*total; w > box.Min.X && w < box.Max.X {
				out = append(out, w)
			}
		}
	}
	slices.Sort(out)
	return out
}

// strips divides a region at upright lines.
func strips(region geom.Polygons, xs []float64) []geom.Polygons {
	var out []geom.Polygons
	for _, x := range xs {
		if part := region.ClipHalfPlane(geom.V2(1, 0), x); len(part) > 0 {
			out = append(out, part)
		}
		region = region.ClipHalfPlane(geom.V2(-1, 0), -x)
	}
	if len(region) > 0 {
		out = append(out, region)
	}
	return out
}

// wedges divides a region round the apex of a cone, which is at the origin.
func (l *Laid) wedges(region geom.Polygons, chord float64) []geom.Polygons {
	a, b := coneEnds(l.on)
	r := max(a.X, b.X)
	n := max(12, int(math.Ceil(math.Pi/math.Acos(1-min(1, chord/r)))))
	step := 2 * math.Pi * sine(l.on) / float64(n) // in the flat; a facet's
	count := int(math.Ceil(2 * math.Pi / step))
	step = 2 * math.Pi / float64(count)
	var out []geom.Polygons
	for i := range count {
		sn, cs := math.Sincos(float64(i) * step)
		sn1, cs1 := math.Sincos(float64(i+1) * step)
		part := region.ClipHalfPlane(geom.V2(sn, -cs), 0).ClipHalfPlane(geom.V2(-sn1, cs1), 0)
		if len(part) > 0 {
			out = append(out, part)
		}
	}
	return out
}

// triangles divides a region into the triangles of a patch.
func (l *Laid) triangles(region geom.Polygons) []geom.Polygons {
	patch := l.on.Patch
	if l.n.offset != nil {
		patch = l.n.offset
	}
	var out []geom.Polygons
	for _, t := range patch.Triangles {
		part := region
		var loop geom.Polygon
		for k := range t {
			loop = append(loop, patch.Flat[t[k]])
		}
		if !region.Bounds().Overlaps(loop.Bounds()) {
			continue
		}
		for k, a := range loop {
			out := loop[(k+1)%3].Sub(a).Right()
			part = part.ClipHalfPlane(out, out.Dot(a))
			if len(part) == 0 {
				break
			}
		}
		if len(part) > 0 {
			out = append(out, part)
		}
	}
	return out
}
