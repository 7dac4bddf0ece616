package mend

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// hole is one closed border of an opening.
type hole struct {
	sheet  int32
	points []int32   // in the order in which triangles that close it run
	normal geom.Vec3 // of the surface that would close it, of unit length
	area   float64   // mm², of the plane surface that would close it (Newell)
	bounds geom.Box3
	origin geom.Vec3   // mean of its points
	length float64     // mm, of its border
	stray  float64     // mm; farthest that a point lies from the plane of origin and normal
	flush  bool        // plane, and all triangles about it lie in that plane
	sure   bool        // goes on from what is about it: there is one surface to close it with
	flat   []geom.Vec2 // points in the plane, if plane
}

func (h *hole) plane(reach float64) bool {
	return len(h.points) == 3 || h.area > h.length*reach && h.stray <= reach
}

// smooth is the cosine of 30 degrees, the bend between two triangles up to
// which they are taken for one curved surface.
const smooth = 0.866

// holes walks round every opening. Where a border comes back to a point that it
// has passed, what lies between is a hole of its own. Borders that end at a
// crowded edge, and those of one-sided sheets, are left out.
func (f *fabric) holes(reach float64) []*hole {
	var out []*hole
	done := make([]bool, len(f.mates))
	place := map[int32]int{} // point: where the stack has the side that starts there
	for h0, m := range f.mates {
		if m != border || done[h0] || f.oneSided[f.sheets[h0/3]] {
			continue
		}
		var stack []int32
		clear(place)
		for h := int32(h0); ; {
			done[h] = true
			from, to := f.ends(h)
			place[from] = len(stack)
			stack = append(stack, h)
			if k, ok := place[to]; ok {
				out = append(out, f.newHole(stack[k:], reach))
				for _, g := range stack[k:] {
					p, _ := f.ends(g)
					delete(place, p)
				}
				stack = stack[:k]
			}
			g := next(h)
			for turns := 0; f.mates[g] >= 0 && turns <= len(f.mates); turns++ {
				g = next(f.mates[g])
			}
			if f.mates[g] != border || done[g] {
				break
			}
			h = g
		}
	}
	return out
}

func (f *fabric) newHole(sides []int32, reach float64) *hole {
	h := &hole{sheet: f.sheets[sides[0]/3], bounds: geom.EmptyBox3()}
	for i := len(sides) - 1; i >= 0; i-- { // against the run of the triangles about it
		_, p := f.ends(sides[i])
		h.points = append(h.points, p)
		h.bounds = h.bounds.Add(f.points[p])
		h.origin = h.origin.Add(f.points[p].Scale(1 / float64(len(sides))))
		h.length += f.length(sides[i])
	}
	for i, p := range h.points {
		q := h.points[(i+1)%len(h.points)]
		h.normal = h.normal.Add(f.points[p].Sub(h.origin).Cross(f.points[q].Sub(h.origin)).Scale(0.5))
	}
	h.area = h.normal.Len()
	h.normal = h.normal.Unit()
	n := h.normal
	for _, p := range h.points {
		h.stray = max(h.stray, math.Abs(n.Dot(f.points[p].Sub(h.origin))))
	}
	if h.plane(reach) {
		h.flat = f.inPlane(h.points, geom.FrameFromZ(h.origin, n))
		h.flush = true
		for _, s := range sides {
			cos := f.normal(s / 3).Unit().Dot(n)
			flush := cos > 1-1e-6
			h.flush = h.flush && flush
			h.sure = h.sure || flush || len(sides) == 3 && cos > smooth
		}
	}
	return h
}

func (f *fabric) inPlane(points []int32, frame geom.Frame) []geom.Vec2 {
	out := make([]geom.Vec2, len(points))
	for i, p := range points {
		out[i] = frame.Local(f.points[p]).XY()
	}
	return out
}

// closed is what closeHoles did: a hole, or a plane one with others within it.
type closed struct {
	point  int32 // on its border
	length float64
	at     geom.Vec3
}

// mostPoints bounds the border of a hole that is not plane, and with it the
// time, which grows with the cube.
const mostPoints = 400

// closeHoles fills the holes whose border is no longer than limit. If limit is
// 0, that is a quarter of the sheet's size, but no limit for a plane hole that
// goes on from a flat triangle beside it, or for a single triangle missing from
// a curved surface: there the missing surface is known.
//
//   - plane ones by clipping ears in their plane, together with the holes that
//     lie within them and face the other way, which stay open surfaces of a
//     bore, say, whose rim they are;
//   - two that face apart across a plate, of the same outline, by a wall
//     between them: what is missing there is the wall of a bore;
//   - others by the surface of least area.
//
// Where two holes in plates face apart and overlap but are not alike, a plug
// would be as good a guess as a bore, so neither is closed. Nor is one so
// far from plane that a guess at the surface could change the volume of the
// body by more than a thousandth.
func (f *fabric) closeHoles(limit, reach float64) []closed {
	holes := f.holes(reach)
	if len(holes) == 0 {
		return nil
	}
	sizes := make([]geom.Box3, len(f.oneSided))
	volumes := make([]float64, len(f.oneSided))
	for i := range sizes {
		sizes[i] = geom.EmptyBox3()
	}
	for i := range f.triangles {
		a, b, c := f.corners(int32(i))
		s := f.sheets[i]
		sizes[s] = sizes[s].Add(a).Add(b).Add(c)
		a, b, c = a.Sub(f.points[0]), b.Sub(f.points[0]), c.Sub(f.points[0])
		volumes[s] += a.Dot(b.Cross(c)) / 6
	}
	most := func(h *hole) float64 {
		switch {
		case limit > 0:
			return limit
		case h.sure:
			return math.Inf(1)
		}
		return sizes[h.sheet].Size().Len() / 4
	}
	taken := f.spans(holes)
	var out []closed
	done := make([]bool, len(holes))
	fill := func(h *hole, triangles [][3]int32, length float64) {
		for _, t := range triangles {
			f.triangles = append(f.triangles, t)
			f.turned = append(f.turned, false)
			for k := range 3 {
				taken[edgeKey(t[k], t[(k+1)%3])] = true
			}
		}
		out = append(out, closed{h.points[0], length, h.origin})
	}

	boxes := make([]geom.Box3, len(holes))
	for i, h := range holes {
		boxes[i] = h.bounds
	}
	tree := newTree(boxes)

	for i, h := range holes {
		if done[i] || !h.flush {
			continue
		}
		below := h.normal.Scale(-sizes[h.sheet].Size().Len())
		swept := h.bounds.Union(geom.Box3{Min: h.bounds.Min.Add(below), Max: h.bounds.Max.Add(below)}).Grow(reach)
		var facing []int
		tree.touching(swept, func(j int32) bool {
			g := holes[j]
			if int(j) != i && !done[j] && g.flush && g.sheet == h.sheet && g.normal.Dot(h.normal) < -0.999 &&
				h.normal.Dot(h.origin.Sub(g.origin)) > reach && f.shadowsMeet(h, g) {
				facing = append(facing, int(j))
			}
			return true
		})
		slices.Sort(facing)
		for _, j := range facing {
			g := holes[j]
			shift, alike := f.alike(h, g, reach)
			fine := min(len(h.points), len(g.points)) >= 6
			switch {
			case alike && fine && !done[i] && max(h.length, g.length) <= most(h):
				fill(h, wall(h.points, g.points, shift), max(h.length, g.length))
				done[i], done[j] = true, true
			case alike || fine:
				done[i], done[j] = true, true // a plug or a bore?
			}
		}
	}

	// Holes within plane holes: each goes with the smallest one about it.
	about := make([]int, len(holes))
	for i := range about {
		about[i] = -1
	}
	for i, h := range holes {
		if done[i] || !h.plane(reach) {
			continue
		}
		frame := geom.FrameFromZ(h.origin, h.normal)
		tree.touching(h.bounds.Grow(reach), func(j int32) bool {
			g := holes[j]
			if int(j) != i && !done[j] && g.sheet == h.sheet && g.plane(reach) && g.normal.Dot(h.normal) < -0.999 &&
				h.area > g.area && math.Abs(h.normal.Dot(g.origin.Sub(h.origin))) <= 2*reach &&
				geom.Polygon(h.flat).Contains(frame.Local(f.points[g.points[0]]).XY()) {
				if k := about[j]; k < 0 || h.area < holes[k].area {
					about[j] = i
				}
			}
			return true
		})
	}
	within := make([][]int, len(holes))
	for j, i := range about {
		if i >= 0 {
			within[i] = append(within[i], j)
			done[j] = true // is closed with the one about it, or stays open with it
		}
	}
	for i, h := range holes {
		if done[i] {
			continue
		}
		length := h.length
		for _, j := range within[i] {
			length += holes[j].length
		}
		if length > most(h) {
			continue
		}
		if h.plane(reach) {
			loops := [][]int32{h.points}
			for _, j := range within[i] {
				loops = append(loops, holes[j].points)
			}
			if t, ok := f.clipEars(loops, geom.FrameFromZ(h.origin, h.normal), taken); ok {
				fill(h, t, length)
				continue
			}
		}
		if len(within[i]) > 0 || len(h.points) > mostPoints {
			continue
		}
		t, area, ok := f.leastArea(h.points, taken)
		if h.plane(reach) && area > (1+1e-6)*h.area+reach*h.length {
			continue // it would lie on itself
		}
		if ok && area*h.stray <= 1e-3*math.Abs(volumes[h.sheet]) {
			fill(h, t, length)
		}
	}
	if len(out) > 0 {
		f.mates = nil
	}
	return out
}

// spans is every edge between two points of holes: one more triangle along it
// would make it crowded.
func (f *fabric) spans(holes []*hole) map[uint64]bool {
	on := make([]bool, len(f.points))
	for _, h := range holes {
		for _, p := range h.points {
			on[p] = true
		}
	}
	out := map[uint64]bool{}
	for _, t := range f.triangles {
		for k := range 3 {
			if a, b := t[k], t[(k+1)%3]; on[a] && on[b] {
				out[edgeKey(a, b)] = true
			}
		}
	}
	return out
}

// shadowsMeet reports whether two plane outlines overlap, seen along h's normal.
func (f *fabric) shadowsMeet(h, g *hole) bool {
	frame := geom.FrameFromZ(h.origin, h.normal)
	a, b := geom.Polygon(f.inPlane(h.points, frame)), geom.Polygon(f.inPlane(g.points, frame))
	if !a.Bounds().Overlaps(b.Bounds()) {
		return false
	}
	for _, p := range a {
		if b.Contains(p) {
			return true
		}
	}
	for _, p := range b {
		if a.Contains(p) {
			return true
		}
	}
	for i, p := range a {
		for j, q := range b {
			if geom.SegmentsMeet(p, a[(i+1)%len(a)], q, b[(j+1)%len(b)]) {
				return true
			}
		}
	}
	return false
}

// alike reports whether h moved along its normal is g run the other way;
// point i of h then lies over point shift−i of g.
func (f *fabric) alike(h, g *hole, reach float64) (shift int, ok bool) {
	n := len(h.points)
	if len(g.points) != n {
		return 0, false
	}
	z := h.normal.Unit()
	depth := z.Dot(h.origin.Sub(g.origin))
	near := func(i, j int32) bool {
		return f.points[i].Sub(z.Scale(depth)).Dist(f.points[j]) <= 4*reach
	}
	for shift := range n {
		i := 0
		for i < n && near(h.points[i], g.points[(shift-i+n)%n]) {
			i++
		}
		if i == n {
			return shift, true
		}
	}
	return 0, false
}

// wall joins two outlines that lie over one another.
func wall(h, g []int32, shift int) [][3]int32 {
	n := len(h)
	var out [][3]int32
	for i := range n {
		a, b := h[i], h[(i+1)%n]
		c, d := g[(shift-i-1+2*n)%n], g[(shift-i+n)%n]
		out = append(out, [3]int32{a, b, c}, [3]int32{a, c, d})
	}
	return out
}

// leastArea closes a border by the triangles of least area in all, among those
// that use its points alone and no edge that is taken: dynamic programming over
// its chords, time in the cube of its points.
//
// Reference: Barequet and Sharir, Filling gaps in the boundary of a polyhedron,
// Computer Aided Geometric Design 12 (1995), 207-229.
func (f *fabric) leastArea(points []int32, taken map[uint64]bool) (out [][3]int32, area float64, ok bool) {
	n := len(points)
	cost := make([]float64, n*n)
	by := make([]int32, n*n)
	for gap := 2; gap < n; gap++ {
		for i := 0; i+gap < n; i++ {
			k := i + gap
			best, mid := math.Inf(1), int32(-1)
			if gap == n-1 || points[i] != points[k] && !taken[edgeKey(points[i], points[k])] {
				p, q := f.points[points[i]], f.points[points[k]]
				for j := i + 1; j < k; j++ {
					c := cost[i*n+j] + cost[j*n+k]
					if c >= best {
						continue
					}
					v := f.points[points[j]]
					if c += v.Sub(p).Cross(q.Sub(p)).Len() / 2; c < best {
						best, mid = c, int32(j)
					}
				}
			}
			cost[i*n+k], by[i*n+k] = best, mid
		}
	}
	area = cost[n-1]
	if math.IsInf(area, 1) {
		return nil, 0, false
	}
	var take func(i, k int)
	take = func(i, k int) {
		if k-i < 2 {
			return
		}
		j := int(by[i*n+k])
		out = append(out, [3]int32{points[i], points[j], points[k]})
		take(i, j)
		take(j, k)
	}
	take(0, n-1)
	return out, area, true
}

// clipEars closes a plane border, and the borders within it, by clipping one
// triangle after the other, the roundest first. Inner borders are joined to the
// outer one by a bridge that is run twice. It gives up on outlines that cross
// themselves.
func (f *fabric) clipEars(loops [][]int32, frame geom.Frame, taken map[uint64]bool) ([][3]int32, bool) {
	type corner struct {
		id int32
		at geom.Vec2
	}
	ring := func(points []int32) []corner {
		out := make([]corner, len(points))
		for i, p := range f.inPlane(points, frame) {
			out[i] = corner{points[i], p}
		}
		return out
	}
	var all geom.Polygons
	for _, l := range loops {
		all = append(all, f.inPlane(l, frame))
	}
	if _, crosses := all.Crossing(); crosses {
		return nil, false
	}
	outer := ring(loops[0])
	inner := make([][]corner, 0, len(loops)-1)
	for _, l := range loops[1:] {
		r := ring(l)
		right := 0
		for i := range r {
			if r[i].at.X > r[right].at.X {
				right = i
			}
		}
		inner = append(inner, append(slices.Clone(r[right:]), r[:right]...))
	}
	slices.SortStableFunc(inner, func(a, b []corner) int { return cmp.Compare(b[0].at.X, a[0].at.X) })
	for k, r := range inner {
		// The nearest corner of the outer border in free sight.
		best, dist := -1, math.Inf(1)
		for i, c := range outer {
			d := c.at.Dist(r[0].at)
			if d >= dist {
				continue
			}
			free := true
			see := func(ring []corner) {
				for j := range ring {
					a, b := ring[j], ring[(j+1)%len(ring)]
					if a.id == c.id || b.id == c.id || a.id == r[0].id || b.id == r[0].id {
						// a shared end is no obstacle unless the line runs on along it
						o := b
						if b.id == c.id || b.id == r[0].id {
							o = a
						}
						if o.id != c.id && o.id != r[0].id && geom.Orient(c.at, r[0].at, o.at) == 0 &&
							c.at.Sub(o.at).Dot(r[0].at.Sub(o.at)) < 0 {
							free = false
						}
						continue
					}
					if geom.SegmentsMeet(c.at, r[0].at, a.at, b.at) {
						free = false
					}
				}
			}
			see(outer)
			for _, other := range inner[k:] {
				see(other)
			}
			// The bridge must leave the corner into the inside.
			p, q := outer[(i+len(outer)-1)%len(outer)].at, outer[(i+1)%len(outer)].at
			if geom.Orient(p, c.at, q) > 0 {
				free = free && geom.Orient(p, c.at, r[0].at) > 0 && geom.Orient(c.at, q, r[0].at) > 0
			} else {
				free = free && (geom.Orient(p, c.at, r[0].at) > 0 || geom.Orient(c.at, q, r[0].at) > 0)
			}
			if free {
				best, dist = i, d
			}
		}
		if best < 0 {
			return nil, false
		}
		joined := slices.Clone(outer[:best+1])
		joined = append(joined, r...)
		joined = append(joined, r[0])
		outer = append(joined, outer[best:]...)
	}

	var out [][3]int32
	poly := outer
	const unknown = -1
	quality := make([]float64, len(poly)) // of the ear at each corner, 0 for none
	for i := range quality {
		quality[i] = unknown
	}
	ear := func(i int) float64 {
		n := len(poly)
		a, b, c := poly[(i+n-1)%n], poly[i], poly[(i+1)%n]
		if geom.Orient(a.at, b.at, c.at) <= 0 || n > 3 && taken[edgeKey(a.id, c.id)] {
			return 0
		}
		for j, p := range poly {
			if p.id == a.id || p.id == b.id || p.id == c.id {
				continue
			}
			if geom.Orient(poly[(j+n-1)%n].at, p.at, poly[(j+1)%n].at) > 0 {
				continue // only corners that point inward can be in the way
			}
			if geom.Orient(a.at, b.at, p.at) >= 0 && geom.Orient(b.at, c.at, p.at) >= 0 && geom.Orient(c.at, a.at, p.at) >= 0 {
				return 0
			}
		}
		ab, bc, ca := b.at.Sub(a.at), c.at.Sub(b.at), a.at.Sub(c.at)
		return ab.Cross(bc) / (ab.Dot(ab) + bc.Dot(bc) + ca.Dot(ca))
	}
	for len(poly) > 2 {
		best := -1
		for fresh := range 2 {
			for i := range poly {
				if quality[i] == unknown || fresh == 1 {
					quality[i] = ear(i)
				}
				if quality[i] > 0 && (best < 0 || quality[i] > quality[best]) {
					best = i
				}
			}
			if best >= 0 {
				break
			}
		}
		if best < 0 {
			return nil, false
		}
		n := len(poly)
		out = append(out, [3]int32{poly[(best+n-1)%n].id, poly[best].id, poly[(best+1)%n].id})
		poly = slices.Delete(poly, best, best+1)
		quality = slices.Delete(quality, best, best+1)
		if n = len(poly); n > 2 {
			quality[best%n], quality[(best+n-1)%n] = unknown, unknown
		}
	}
	return out, true
}
