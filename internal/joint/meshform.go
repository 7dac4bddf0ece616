package joint

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/surface"
)

// meshForm is the inside of a closed triangle mesh. Its triangles lie in a
// tree of boxes, so that a ray meets only those near it.
type meshForm struct {
	s     *surface.Solid
	nodes []meshNode // the first is the root
	order []int32    // triangles, each node's together
}

// meshNode is a box of triangles. A leaf has count > 0 of them from first on;
// otherwise its halves are the next node and the one at first.
type meshNode struct {
	box          geom.Box3
	first, count int32
}

func newMeshForm(s *surface.Solid) *meshForm {
	m := &meshForm{s: s, order: make([]int32, len(s.Triangles))}
	boxes := make([]geom.Box3, len(s.Triangles))
	centres := make([][3]float64, len(s.Triangles))
	for i := range s.Triangles {
		a, b, c := m.corners(int32(i))
		m.order[i], boxes[i] = int32(i), geom.EmptyBox3().Add(a).Add(b).Add(c)
		v := boxes[i].Center()
		centres[i] = [3]float64{v.X, v.Y, v.Z}
	}
	m.plant(boxes, centres, 0, len(m.order))
	return m
}

// plant makes the node of order[from:to], halved at the median of the widest
// spread of the boxes' centres.
func (m *meshForm) plant(boxes []geom.Box3, centres [][3]float64, from, to int) {
	const leaf = 4
	n := meshNode{box: geom.EmptyBox3(), first: int32(from), count: int32(to - from)}
	lo, hi := centres[m.order[from]], centres[m.order[from]]
	for _, i := range m.order[from:to] {
		n.box = n.box.Union(boxes[i])
		for k, c := range centres[i] {
			lo[k], hi[k] = min(lo[k], c), max(hi[k], c)
		}
	}
	at := len(m.nodes)
	m.nodes = append(m.nodes, n)
	if to-from <= leaf {
		return
	}
	axis := 0
	for k := 1; k < 3; k++ {
		if hi[k]-lo[k] >= hi[axis]-lo[axis] {
			axis = k
		}
	}
	slices.SortFunc(m.order[from:to], func(a, b int32) int {
		if c := cmp.Compare(centres[a][axis], centres[b][axis]); c != 0 {
			return c
		}
		return cmp.Compare(a, b)
	})
	half := (from + to) / 2
	m.plant(boxes, centres, from, half)
	m.nodes[at].first, m.nodes[at].count = int32(len(m.nodes)), 0
	m.plant(boxes, centres, half, to)
}

func (m *meshForm) corners(i int32) (a, b, c geom.Vec3) {
	t := m.s.Triangles[i]
	return m.s.Vertices[t[0]], m.s.Vertices[t[1]], m.s.Vertices[t[2]]
}

// visit walks the leaves whose boxes, and those round them, are wanted.
func (m *meshForm) visit(wanted func(geom.Box3) bool, triangle func(int32)) {
	var stack [64]int32 // deeper than any tree of 2³¹ triangles halved at medians
	n := 1
	for n > 0 {
		n--
		at := stack[n]
		node := &m.nodes[at]
		if !wanted(node.box) {
			continue
		}
		if node.count > 0 {
			for _, i := range m.order[node.first : node.first+node.count] {
				triangle(i)
			}
			continue
		}
		stack[n], stack[n+1] = node.first, at+1
		n += 2
	}
}

// holds reports whether a point lies inside: it counts the windings of the
// surface above it. Every side of a triangle is judged by the exact predicate
// and counted half open, the same for both triangles that share it, so that a
// ray through a side or a corner counts once.
func (m *meshForm) holds(q geom.Vec3) bool {
	turns := 0
	p := q.XY()
	m.visit(func(b geom.Box3) bool {
		return q.X >= b.Min.X && q.X <= b.Max.X && q.Y >= b.Min.Y && q.Y <= b.Max.Y && q.Z <= b.Max.Z
	}, func(i int32) {
		a, b, c := m.corners(i)
		if q.Z > max(a.Z, b.Z, c.Z) {
			return
		}
		w := crosses(a.XY(), b.XY(), p) + crosses(b.XY(), c.XY(), p) + crosses(c.XY(), a.XY(), p)
		if w == 0 {
			return
		}
		if q.Z >= min(a.Z, b.Z, c.Z) {
			// Within its height: above the triangle's plane or below it.
			if n := b.Sub(a).Cross(c.Sub(a)); n.Dot(q.Sub(a))*n.Z > 0 {
				return
			}
		}
		turns += w
	})
	return turns > 0
}

// crosses is what the side from a to b adds to the winding about p: 1 or -1 as
// it passes p on the right (greater X), upwards or downwards.
func crosses(a, b, p geom.Vec2) int {
	switch {
	case a.Y <= p.Y && b.Y > p.Y && geom.Orient(a, b, p) > 0:
		return 1
	case b.Y <= p.Y && a.Y > p.Y && geom.Orient(b, a, p) > 0:
		return -1
	}
	return 0
}

// leave is how far a ray from a point inside runs until it leaves, and the
// face it leaves by: +Inf and -1 where it meets nothing.
func (m *meshForm) leave(p, d geom.Vec3) (float64, int) {
	at := [3][2]float64{{p.X, 1 / d.X}, {p.Y, 1 / d.Y}, {p.Z, 1 / d.Z}}
	r := ray{m: m, p: p, d: d, at: math.Inf(1), face: -1}
	m.visit(func(b geom.Box3) bool {
		lo, hi := -tight, r.at
		for k, span := range [3][2]float64{{b.Min.X - tight, b.Max.X + tight}, {b.Min.Y - tight, b.Max.Y + tight}, {b.Min.Z - tight, b.Max.Z + tight}} {
			from, inv := at[k][0], at[k][1]
			if math.IsInf(inv, 0) {
				if from < span[0] || from > span[1] {
					return false
				}
				continue
			}
			t0, t1 := (span[0]-from)*inv, (span[1]-from)*inv
			lo, hi = max(lo, min(t0, t1)), min(hi, max(t0, t1))
		}
		return lo <= hi
	}, r.meet)
	return r.at, r.face
}

// tight is how far, in mm, a ray may miss a box or begin beyond a triangle and
// still meet it.
const tight = 1e-9

// ray is the way from a point to the first triangle by which it leaves.
type ray struct {
	m    *meshForm
	p, d geom.Vec3
	at   float64
	face int
}

// meet looks whether the ray leaves by a triangle sooner.
func (r *ray) meet(i int32) {
	a, b, c := r.m.corners(i)
	u, v := b.Sub(a), c.Sub(a)
	n := u.Cross(v)
	det := n.Dot(r.d)
	if det <= 1e-12*n.Len() { // along the triangle, or inwards
		return
	}
	w := r.p.Sub(a)
	t := -n.Dot(w) / det
	if t <= -tight || t >= r.at {
		return
	}
	// Where it meets the triangle, in parts of its sides. A little is allowed,
	// so that no ray slips out between two triangles.
	const seam = -1e-9
	x := w.Cross(r.d)
	if j, k := -v.Dot(x)/det, u.Dot(x)/det; j < seam || k < seam || j+k > 1-seam {
		return
	}
	r.at, r.face = max(0, t), int(r.m.s.Of[i])
}

// ahead is form.ahead in member coordinates. The triangles that any ray from
// the disc can meet are gathered once.
func (m *meshForm) ahead(at, dir geom.Vec3, r float64) (least, most float64, face int) {
	const in = 1e-6 // mm; the disc may lie on the surface
	var near []int32
	m.visit(func(b geom.Box3) bool {
		// By the ball round the box.
		c, reach := b.Center().Sub(at), b.Size().Len()/2+in
		h := c.Dot(dir)
		return h >= -reach && c.Sub(dir.Scale(h)).Len() <= r+reach
	}, func(i int32) {
		if a, b, c := m.corners(i); b.Sub(a).Cross(c.Sub(a)).Dot(dir) > 0 { // outwards
			near = append(near, i)
		}
	})
	leave := func(p geom.Vec3) (float64, int) {
		out := ray{m: m, p: p, d: dir, at: math.Inf(1), face: -1}
		for _, i := range near {
			out.meet(i)
		}
		return out.at, out.face
	}
	least, face = leave(at)
	most = least
	if !m.holds(at.Add(dir.Scale(in))) {
		return -1, -1, face
	}
	// Where no triangle comes near the disc all of it lies inside, as its centre does.
	free := !m.touches(Bore{Mouth: at.Sub(dir.Scale(in)), Axis: dir, Diameter: 2 * r, Depth: 4 * in}.box().Grow(in))
	fr := geom.FrameFromZ(at, dir)
	for i := range rays {
		s, c := math.Sincos(2 * math.Pi * float64(i) / rays)
		p := at.Add(fr.Dir(geom.V3(r*c, r*s, 0)))
		if !free && !m.holds(p.Add(dir.Scale(in))) {
			return -1, -1, face
		}
		t, _ := leave(p)
		least, most = min(least, t), max(most, t)
	}
	return least, most, face
}

// lateral is the least distance from the line between two points to the
// surface, square to the line, exactly; anything from enough on when it is
// more. axis is the line's direction.
func (m *meshForm) lateral(first, last, axis geom.Vec3, enough float64) float64 {
	fr := geom.FrameFromZ(first, axis)
	long := last.Sub(first).Dot(axis)
	best := enough
	var ring [8]geom.Vec3
	m.visit(func(b geom.Box3) bool {
		// By the ball round the box.
		c, r := fr.Local(b.Center()), b.Size().Len()/2
		return c.Z+r >= 0 && c.Z-r <= long && c.XY().Len()-r < best
	}, func(i int32) {
		a, b, c := m.corners(i)
		ring[0], ring[1], ring[2] = fr.Local(a), fr.Local(b), fr.Local(c)
		best = min(best, nearAxis(ring[:3], long))
	})
	return best
}

// nearAxis is how near a triangle comes to the Z axis, seen along it, between
// heights 0 and long; +Inf where it has no part between them.
func nearAxis(tri []geom.Vec3, long float64) float64 {
	if lo, hi := min(tri[0].Z, tri[1].Z, tri[2].Z), max(tri[0].Z, tri[1].Z, tri[2].Z); hi < 0 || lo > long {
		return math.Inf(1)
	}
	var a, b [8]geom.Vec3
	part := clipZ(tri, a[:0], 1, 0)
	part = clipZ(part, b[:0], -1, -long)
	if len(part) == 0 {
		return math.Inf(1)
	}
	least := math.Inf(1)
	left, right := true, true
	for i, p := range part {
		q := part[(i+1)%len(part)]
		least = min(least, geom.SegmentDistance(geom.Vec2{}, p.XY(), q.XY()))
		side := p.XY().Cross(q.XY())
		left, right = left && side > 0, right && side < 0
	}
	if left || right { // it is pierced
		return 0
	}
	return least
}

// clipZ is the part of a polygon where sign·z ≥ at, appended to out.
func clipZ(p, out []geom.Vec3, sign, at float64) []geom.Vec3 {
	for i := range p {
		a, b := p[i], p[(i+1)%len(p)]
		da, db := sign*a.Z-at, sign*b.Z-at
		if da >= 0 {
			out = append(out, a)
		}
		if da > 0 && db < 0 || da < 0 && db > 0 {
			out = append(out, a.Lerp(b, da/(da-db)))
		}
	}
	return out
}

// touches reports whether a triangle's box overlaps a box.
func (m *meshForm) touches(box geom.Box3) bool {
	found := false
	m.visit(func(b geom.Box3) bool { return !found && b.Overlaps(box) }, func(i int32) {
		a, b, c := m.corners(i)
		found = found || geom.EmptyBox3().Add(a).Add(b).Add(c).Overlaps(box)
	})
	return found
}

// setMesh makes f the form of a solid.
func (f *form) setMesh(s *surface.Solid) {
	f.mesh = newMeshForm(s)
	own := geom.EmptyBox3()
	f.box = geom.EmptyBox3()
	for _, v := range s.Vertices {
		own = own.Add(v)
		f.box = f.box.Add(f.place.Point(v))
	}
	f.centre = f.place.Point(own.Center())
}
