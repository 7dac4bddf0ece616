package seam

import (
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// cell is the part of a body on the inner side of some planes. Its surface is
// a list of convex polygons: what is left of the body's facets, and caps where
// planes cut through. A cap is a fan of triangles from one point of its rim,
// turned either way, so that it is right as a sum (volumes, areas of sections,
// centroids) whatever the rim's form, though triangles may lie outside it; its
// corners are therefore no corners of the cell.
type cell struct {
	planes []geom.Plane
	v      []geom.Vec3 // corners of polygons; the first real ones are corners of the cell
	real   int
	idx    []int32     // corners of all polygons, one after another
	end    []int32     // where each polygon ends in idx
	face   []int32     // by polygon: the facet of the body it is part of, -1 in a cap
	deep   []geom.Vec3 // corners inside the body, where three planes meet
	vol    float64     // mm³
	pts    []geom.Vec3 // v[:real] and deep
	est    estimate
}

// wholeCell is the body uncut, from the meshes of its parts.
func wholeCell(meshes []*solid.Mesh) (*cell, []geom.Vec3) {
	x := &cell{}
	var normals []geom.Vec3
	for _, m := range meshes {
		base := int32(len(x.v))
		x.v = append(x.v, m.Vertices...)
		for _, t := range m.Triangles {
			a, b, c := m.Vertices[t[0]], m.Vertices[t[1]], m.Vertices[t[2]]
			x.idx = append(x.idx, base+t[0], base+t[1], base+t[2])
			x.end = append(x.end, int32(len(x.idx)))
			x.face = append(x.face, int32(len(normals)))
			normals = append(normals, b.Sub(a).Cross(c.Sub(a)).Unit())
		}
	}
	x.real = len(x.v)
	x.pts = x.v
	x.vol = x.volume()
	return x, normals
}

func (x *cell) empty() bool { return len(x.pts) == 0 }

// volume is the sum of the tetrahedra between the polygons and one point.
func (x *cell) volume() float64 {
	if len(x.v) == 0 {
		return 0
	}
	o := x.v[0]
	var sum float64
	start := int32(0)
	for _, end := range x.end {
		a := x.v[x.idx[start]].Sub(o)
		for i := start + 2; i < end; i++ {
			sum += a.Dot(x.v[x.idx[i-1]].Sub(o).Cross(x.v[x.idx[i]].Sub(o)))
		}
		start = end
	}
	return sum / 6
}

// half collects one side of a cell that is being cut.
type half struct {
	x     cell
	moved []int32    // by corner of the whole: its number here, -1 while it has none
	rim   [][2]int32 // edges of the polygons that lie in the plane, as numbers here
	cross map[[2]int32]int32
}

func newHalf(x *cell) *half {
	h := &half{moved: make([]int32, len(x.v)), cross: map[[2]int32]int32{}}
	for i := range h.moved {
		h.moved[i] = -1
	}
	return h
}

func (h *half) corner(x *cell, i int32) int32 {
	if h.moved[i] < 0 {
		h.moved[i] = int32(len(h.x.v))
		h.x.v = append(h.x.v, x.v[i])
	}
	return h.moved[i]
}

func (h *half) crossing(i, j int32, p geom.Vec3) int32 {
	key := [2]int32{min(i, j), max(i, j)}
	if n, ok := h.cross[key]; ok {
		return n
	}
	n := int32(len(h.x.v))
	h.x.v = append(h.x.v, p)
	h.cross[key] = n
	return n
}

func (h *half) close(face int32, start int) {
	if len(h.x.idx)-start < 3 {
		h.x.idx = h.x.idx[:start]
		return
	}
	h.x.end = append(h.x.end, int32(len(h.x.idx)))
	h.x.face = append(h.x.face, face)
}

// split cuts a cell in two by a plane. A side on which nothing lies is empty.
func (c *cutter) split(x *cell, pl geom.Plane) (below, above *cell) {
	d := make([]float64, len(x.v))
	lo, hi := false, false
	for i, p := range x.v {
		d[i] = pl.Distance(p)
		// What lies within rounding of the plane lies in it.
		if math.Abs(d[i]) < 1e-9 {
			d[i] = 0
		}
		if i < x.real {
			lo, hi = lo || d[i] < 0, hi || d[i] > 0
		}
	}
	for _, p := range x.deep {
		lo, hi = lo || pl.Distance(p) < 0, hi || pl.Distance(p) > 0
	}
	switch {
	case !lo:
		return &cell{}, x
	case !hi:
		return x, &cell{}
	}
	b, a := newHalf(x), newHalf(x)
	// Facets first and caps after them, so that the real corners come first.
	for _, caps := range []bool{false, true} {
		start := int32(0)
		for k, end := range x.end {
			if (x.face[k] < 0) == caps {
				cutPolygon(x, b, a, d, x.idx[start:end], x.face[k])
			}
			start = end
		}
		if !caps {
			b.x.real, a.x.real = len(b.x.v), len(a.x.v)
		}
	}
	b.x.planes = append(append(make([]geom.Plane, 0, len(x.planes)+1), x.planes...), pl)
	a.x.planes = append(append(make([]geom.Plane, 0, len(x.planes)+1), x.planes...), pl.Flip())
	fresh := c.corners(x, pl)
	for _, h := range []*half{b, a} {
		h.cap()
		out := h.x.planes[len(h.x.planes)-1]
		for _, p := range x.deep {
			if out.Distance(p) <= 0 {
				h.x.deep = append(h.x.deep, p)
			}
		}
		h.x.deep = append(h.x.deep, fresh...)
		h.x.pts = h.x.v[:h.x.real:h.x.real]
		if len(h.x.deep) > 0 {
			h.x.pts = append(h.x.pts, h.x.deep...)
		}
		h.x.vol = h.x.volume()
	}
	return &b.x, &a.x
}

// cutPolygon gives each side its part of a polygon.
func cutPolygon(x *cell, b, a *half, d []float64, poly []int32, face int32) {
	lo, hi := false, false
	for _, i := range poly {
		lo, hi = lo || d[i] < 0, hi || d[i] > 0
	}
	if !lo || !hi {
		if !lo && !hi {
			return // lies in the plane: bounds neither side with any volume
		}
		h := b
		if hi {
			h = a
		}
		start := len(h.x.idx)
		var last int32 = -1
		for k, i := range poly {
			n := h.corner(x, i)
			h.x.idx = append(h.x.idx, n)
			if k > 0 && d[i] == 0 && last == 0 {
				h.rim = append(h.rim, [2]int32{h.x.idx[len(h.x.idx)-2], n})
			}
			last = -1
			if d[i] == 0 {
				last = 0
			}
		}
		if d[poly[0]] == 0 && last == 0 {
			h.rim = append(h.rim, [2]int32{h.x.idx[len(h.x.idx)-1], h.x.idx[start]})
		}
		h.close(face, start)
		return
	}
	sb, sa := len(b.x.idx), len(a.x.idx)
	var out, in [2]int32 // where the polygon leaves the lower side and comes back, by half
	for k, i := range poly {
		j := poly[(k+1)%len(poly)]
		if d[i] <= 0 {
			b.x.idx = append(b.x.idx, b.corner(x, i))
		}
		if d[i] >= 0 {
			a.x.idx = append(a.x.idx, a.corner(x, i))
		}
		switch {
		case d[i] < 0 && d[j] > 0 || d[i] > 0 && d[j] < 0:
			p := x.v[i].Lerp(x.v[j], d[i]/(d[i]-d[j]))
			if j < i { // the same point from either side of the edge
				p = x.v[j].Lerp(x.v[i], d[j]/(d[j]-d[i]))
			}
			at := [2]int32{b.crossing(i, j, p), a.crossing(i, j, p)}
			b.x.idx, a.x.idx = append(b.x.idx, at[0]), append(a.x.idx, at[1])
			if d[i] < 0 {
				out = at
			} else {
				in = at
			}
		case d[i] == 0 && d[j] > 0:
			out = [2]int32{b.corner(x, i), a.corner(x, i)}
		case d[i] > 0 && d[j] == 0:
			in = [2]int32{b.corner(x, j), a.corner(x, j)}
		}
	}
	b.close(face, sb)
	a.close(face, sa)
	b.rim = append(b.rim, [2]int32{out[0], in[0]})
	a.rim = append(a.rim, [2]int32{in[1], out[1]})
}

// cap closes the cut: the rim's edges run as their polygons do, so triangles
// from one point of the rim with each edge reversed complete the surface.
func (h *half) cap() {
	if len(h.rim) == 0 {
		return
	}
	apex := h.rim[0][0]
	for _, e := range h.rim {
		if e[0] == e[1] || e[0] == apex || e[1] == apex {
			continue
		}
		h.x.idx = append(h.x.idx, apex, e[1], e[0])
		h.x.end = append(h.x.end, int32(len(h.x.idx)))
		h.x.face = append(h.x.face, -1)
	}
}

// corners are the points inside the body where a new plane meets two of a
// cell's older ones.
func (c *cutter) corners(x *cell, pl geom.Plane) []geom.Vec3 {
	var out []geom.Vec3
	for i, p := range x.planes {
	pair:
		for _, q := range x.planes[:i] {
			n := p.Normal.Cross(q.Normal)
			det := n.Dot(pl.Normal)
			if math.Abs(det) < 1e-9 {
				continue
			}
			at := q.Normal.Cross(pl.Normal).Scale(p.D).
				Add(pl.Normal.Cross(p.Normal).Scale(q.D)).
				Add(n.Scale(pl.D)).Scale(1 / det)
			for _, o := range x.planes {
				if o.Distance(at) > 1e-9 {
					continue pair
				}
			}
			if c.holds(at) {
				out = append(out, at)
			}
		}
	}
	return out
}

// holds reports whether a point lies inside the body: whether a ray from it
// leaves some part of the body an odd number of times. The ray's direction is
// one that no drawn edge has.
func (c *cutter) holds(p geom.Vec3) bool {
	dir := geom.V3(0.5386, 0.3017, 0.7867)
	for _, m := range c.meshes {
		if b := m.Bounds; p.X < b.Min.X || p.X > b.Max.X || p.Y < b.Min.Y || p.Y > b.Max.Y || p.Z < b.Min.Z || p.Z > b.Max.Z {
			continue
		}
		odd := false
		for _, t := range m.Triangles {
			a := m.Vertices[t[0]]
			e, f := m.Vertices[t[1]].Sub(a), m.Vertices[t[2]].Sub(a)
			// Möller and Trumbore, Fast, minimum storage ray/triangle intersection, 1997.
			q := dir.Cross(f)
			det := e.Dot(q)
			if math.Abs(det) < 1e-14 {
				continue
			}
			s := p.Sub(a)
			u := s.Dot(q) / det
			if u < 0 || u > 1 {
				continue
			}
			r := s.Cross(e)
			w := dir.Dot(r) / det
			if w < 0 || u+w > 1 {
				continue
			}
			if f.Dot(r)/det > 0 {
				odd = !odd
			}
		}
		if odd {
			return true
		}
	}
	return false
}

// within lists the corners of what is left of a cell within more planes, with
// those that planes make where they cross a facet, which may be listed more
// than once. It makes no cell of it, which is quicker where only extents are
// asked.
//
// Most facets lie wholly on one side of each plane, so that is asked first, by
// one bit a plane for every corner.
func (c *cutter) within(x *cell, planes ...geom.Plane) []geom.Vec3 {
	if len(planes) == 0 {
		return x.pts
	}
	var out, poly, next []geom.Vec3
	beyond := make([]uint8, x.real)
	for i, v := range x.v[:x.real] {
		for j, pl := range planes {
			if pl.Distance(v) > 0 {
				beyond[i] |= 1 << j
			}
		}
		if beyond[i] == 0 {
			out = append(out, v)
		}
	}
	for _, v := range x.deep {
		if inside(planes, v, 0) {
			out = append(out, v)
		}
	}
	start := int32(0)
	for k, end := range x.end {
		corners := x.idx[start:end]
		start = end
		if x.face[k] < 0 {
			continue
		}
		some, every := uint8(0), uint8(0xff)
		for _, i := range corners {
			some |= beyond[i]
			every &= beyond[i]
		}
		if some == 0 || every != 0 {
			continue
		}
		poly = poly[:0]
		for _, i := range corners {
			poly = append(poly, x.v[i])
		}
		for _, pl := range planes {
			next = next[:0]
			for i, p := range poly {
				q := poly[(i+1)%len(poly)]
				dp, dq := pl.Distance(p), pl.Distance(q)
				if dp <= 0 {
					next = append(next, p)
				}
				if (dp < 0 && dq > 0) || (dp > 0 && dq < 0) {
					next = append(next, p.Lerp(q, dp/(dp-dq)))
				}
			}
			poly, next = next, poly
			if len(poly) == 0 {
				break
			}
		}
		out = append(out, poly...)
	}
	for _, pl := range planes {
		for _, p := range c.corners(x, pl) {
			if inside(planes, p, 1e-9) {
				out = append(out, p)
			}
		}
	}
	return out
}

// inside reports whether a point lies within planes, or no further than margin
// beyond them.
func inside(planes []geom.Plane, p geom.Vec3, margin float64) bool {
	for _, pl := range planes {
		if pl.Distance(p) > margin {
			return false
		}
	}
	return true
}
