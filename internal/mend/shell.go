package mend

import (
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/mesh"
)

// skin is one sheet of the fabric on its way to becoming a shell.
type skin struct {
	points    [][3]int32  // its triangles, by points of the fabric
	vertices  []geom.Vec3 // of its own
	triangles [][3]int32  // the same triangles, by its own vertices
	tree      *tree       // of its triangles, made when first asked for
	bounds    geom.Box3
	volume    float64 // mm³, signed
	area      float64 // mm²
	faults    []Fault
	turned    int // triangles that run the other way round than in the file
	turnedAt  geom.Vec3
	holder    int   // the skin whose shell this one belongs to; itself if it stands alone
	hollows   []int // skins that bound hollows in this one
	removed   bool
}

// skins takes the sheets apart. Of the points that several sheets share, and
// those at which one sheet touches itself, it makes vertices for each; torn is
// how many more there are for it.
func (f *fabric) skins() (out []*skin, torn int) {
	out = make([]*skin, len(f.oneSided))
	for i := range out {
		out[i] = &skin{bounds: geom.EmptyBox3(), holder: i}
	}
	mates := make([][]int32, len(out))
	local := make([]int32, len(f.triangles)) // number within its sheet
	for i, t := range f.triangles {
		s := out[f.sheets[i]]
		local[i] = int32(len(s.points))
		s.points = append(s.points, t)
		a, b, c := f.corners(int32(i))
		s.bounds = s.bounds.Add(a).Add(b).Add(c)
		if f.turned[i] {
			if s.turned == 0 {
				s.turnedAt = a
			}
			s.turned++
		}
	}
	for h, m := range f.mates {
		if m >= 0 {
			m = 3*local[m/3] + m%3
		}
		mates[f.sheets[h/3]] = append(mates[f.sheets[h/3]], m)
	}
	used := make([]bool, len(f.points))
	for i, s := range out {
		s.measure(f.points)
		var of []int32
		s.vertices, s.triangles, of = apartVertices(f.points, s.points, mates[i])
		for _, p := range of {
			if used[p] {
				torn++
			}
			used[p] = true
		}
	}
	return out, torn
}

func (s *skin) measure(points []geom.Vec3) {
	s.volume, s.area = 0, 0
	o := s.bounds.Center()
	for _, t := range s.points {
		a, b, c := points[t[0]].Sub(o), points[t[1]].Sub(o), points[t[2]].Sub(o)
		s.volume += a.Dot(b.Cross(c)) / 6
		s.area += b.Sub(a).Cross(c.Sub(a)).Len() / 2
	}
}

func (s *skin) turn() {
	for i, t := range s.points {
		s.points[i] = [3]int32{t[0], t[2], t[1]}
		t = s.triangles[i]
		s.triangles[i] = [3]int32{t[0], t[2], t[1]}
	}
	s.volume = -s.volume
}

func (s *skin) triangleTree(points []geom.Vec3) *tree {
	if s.tree == nil {
		boxes := make([]geom.Box3, len(s.points))
		for i, t := range s.points {
			boxes[i] = geom.EmptyBox3().Add(points[t[0]]).Add(points[t[1]]).Add(points[t[2]])
		}
		s.tree = newTree(boxes)
	}
	return s.tree
}

// findFaults is what keeps sheets from bounding solids.
func (m *mender) findFaults(skins []*skin) {
	m.openFaults(skins)
	crossed := make([][]crossing, len(skins))
	for _, c := range m.crossed {
		crossed[m.sheets[c.i]] = append(crossed[m.sheets[c.i]], c)
	}
	for i, s := range skins {
		if c, bad := crossingFault(m.points, m.triangles, crossed[i]); bad {
			s.faults = append(s.faults, c)
		}
		if len(s.faults) == 0 && math.Abs(s.volume) <= m.grain*s.area {
			s.faults = append(s.faults, Fault{Kind: Empty, Count: 1, At: s.bounds.Center()})
		}
	}
}

func (f *mender) openFaults(skins []*skin) {
	largest := make([]*hole, len(skins))
	for _, h := range f.holes(f.reach) {
		if l := largest[h.sheet]; l == nil || h.length > l.length {
			largest[h.sheet] = h
		}
	}
	open, crowded := make([]int, len(skins)), make([]int, len(skins))
	openAt, crowdedAt := make([]geom.Vec3, len(skins)), make([]geom.Vec3, len(skins))
	length := make([]float64, len(skins))
	for h, m := range f.mates {
		if m >= 0 {
			continue
		}
		s := f.sheets[h/3]
		a, b := f.ends(int32(h))
		at := f.points[a].Lerp(f.points[b], 0.5)
		if m == border {
			open[s]++
			openAt[s] = at
			length[s] += f.length(int32(h))
		} else {
			crowded[s]++
			crowdedAt[s] = at
		}
	}
	for i, s := range skins {
		if f.oneSided[i] {
			s.faults = append(s.faults, Fault{Kind: OneSided, Count: 1, At: f.points[s.points[0][0]]})
		}
		if open[i] > 0 {
			if l := largest[i]; l != nil {
				length[i], openAt[i] = l.length, l.origin
			}
			s.faults = append(s.faults, Fault{Kind: Open, Count: open[i], Size: length[i], At: openAt[i]})
		}
		if crowded[i] > 0 && open[i] == 0 {
			s.faults = append(s.faults, Fault{Kind: Crowded, Count: crowded[i], At: crowdedAt[i]})
		}
	}
}

// crossingFault describes crossings among triangles, if there are any.
func crossingFault(points []geom.Vec3, triangles [][3]int32, cs []crossing) (Fault, bool) {
	if len(cs) == 0 {
		return Fault{}, false
	}
	box := func(i int32) geom.Box3 {
		t := triangles[i]
		return geom.EmptyBox3().Add(points[t[0]]).Add(points[t[1]]).Add(points[t[2]])
	}
	fault := Fault{Kind: Crossing, Count: len(cs), Size: -1}
	for _, c := range cs {
		a, b := box(c.i), box(c.j)
		common := geom.Box3{
			Min: geom.V3(max(a.Min.X, b.Min.X), max(a.Min.Y, b.Min.Y), max(a.Min.Z, b.Min.Z)),
			Max: geom.V3(min(a.Max.X, b.Max.X), min(a.Max.Y, b.Max.Y), min(a.Max.Z, b.Max.Z)),
		}
		if l := common.Size().Len(); l > fault.Size {
			fault.Size, fault.At = l, common.Center()
		}
	}
	return fault, true
}

// holds reports whether all of t lies within s, without touching it. Both are
// closed.
func (s *skin) holds(t *skin, points []geom.Vec3) bool {
	if !(s.bounds.Min.X < t.bounds.Min.X && s.bounds.Min.Y < t.bounds.Min.Y && s.bounds.Min.Z < t.bounds.Min.Z &&
		s.bounds.Max.X > t.bounds.Max.X && s.bounds.Max.Y > t.bounds.Max.Y && s.bounds.Max.Z > t.bounds.Max.Z) {
		return false
	}
	return s.around(points[t.points[0][0]], points) && !s.meets(t, points)
}

// reachesInto reports whether t has triangles within s, going by the middles of
// some of them.
func (s *skin) reachesInto(t *skin, points []geom.Vec3) bool {
	step := max(1, len(t.points)/16)
	for i := 0; i < len(t.points); i += step {
		u := t.points[i]
		if mid := points[u[0]].Add(points[u[1]]).Add(points[u[2]]).Scale(1. / 3); s.around(mid, points) {
			return true
		}
	}
	return false
}

// meets reports whether the two share a point.
func (s *skin) meets(t *skin, points []geom.Vec3) bool {
	tree := s.triangleTree(points)
	for _, u := range t.points {
		box := geom.EmptyBox3().Add(points[u[0]]).Add(points[u[1]]).Add(points[u[2]])
		free := true
		tree.touching(box, func(i int32) bool {
			v := s.points[i]
			for _, p := range v {
				if p == u[0] || p == u[1] || p == u[2] {
					free = false
				}
			}
			free = free && !trianglesCross(points, u, v)
			return free
		})
		if !free {
			return true
		}
	}
	return false
}

// around reports whether p lies within s: a ray from it goes out through s one
// time more than in. Rays that pass an edge too closely to tell are not
// counted, and another direction is tried.
func (s *skin) around(p geom.Vec3, points []geom.Vec3) bool {
	tree := s.triangleTree(points)
	for k := range 16 {
		// Directions that no drawing has: steps of the golden angle.
		z := 1 - (2*float64(k)+1)/16.37
		r, phi := math.Sqrt(1-z*z), 2.39996322972865332*float64(k)+0.7389
		d := geom.V3(r*math.Cos(phi), r*math.Sin(phi), z)
		crossed, sure := 0, true
		tree.along(p, d, func(i int32) {
			t := s.points[i]
			a, b, c := points[t[0]], points[t[1]], points[t[2]]
			u, v := b.Sub(a), c.Sub(a)
			h := d.Cross(v)
			det := u.Dot(h)
			const near = 1e-9
			if math.Abs(det) <= near*u.Len()*v.Len() {
				// Edge on: only a nuisance if the ray may pass through it.
				if o := a.Sub(p); o.Sub(d.Scale(o.Dot(d))).Len() <= 2*max(u.Len(), v.Len()) {
					sure = false
				}
				return
			}
			o := p.Sub(a)
			x := o.Dot(h) / det
			q := o.Cross(u)
			y := d.Dot(q) / det
			w := v.Dot(q) / det
			if x < -near || y < -near || x+y > 1+near || w < 0 {
				return
			}
			if x < near || y < near || x+y > 1-near || w == 0 {
				sure = false
			}
			crossed++
		})
		if sure {
			return crossed%2 == 1
		}
	}
	return false
}

// nest decides what every closed, faultless skin is: a solid, the hollow of
// one, or an inner shell. It turns skins so that solids face outward and
// hollows inward.
//
// A skin that lies on another within reach, and that one on it, is the same
// again, whichever way it faces, and goes first.
func nest(skins []*skin, points []geom.Vec3, reach float64) (steps []Step) {
	var closed []int
	for i, s := range skins {
		if len(s.faults) == 0 {
			closed = append(closed, i)
		}
	}
	slices.SortStableFunc(closed, func(a, b int) int {
		return compareBounds(skins[a].bounds, skins[b].bounds)
	})
	for k := 0; k < len(closed); k++ {
		s := skins[closed[k]]
		for l := k - 1; l >= 0 && skins[closed[l]].bounds.Size().Len()-s.bounds.Size().Len() <= 4*reach; l-- {
			if t := skins[closed[l]]; s.liesOn(t, points, reach) && t.liesOn(s, points, reach) {
				s.removed, s.holder = true, closed[l]
				steps = append(steps, Step{Action: Doubled, Shell: s.holder, Count: len(s.points), At: s.bounds.Center()})
				closed = slices.Delete(closed, k, k+1)
				k--
				break
			}
		}
	}
	// A skin's parent is the smallest that holds it: the last found, since
	// larger bounds come first.
	boxes := make([]geom.Box3, len(closed))
	for k, i := range closed {
		boxes[k] = skins[i].bounds
	}
	t := newTree(boxes)
	parent := make([]int, len(skins))
	type state struct{ inverted, hollow, gone bool }
	states := make([]state, len(skins))
	for k, i := range closed {
		s := skins[i]
		parent[i] = -1
		var about []int
		t.touching(boxes[k], func(j int32) bool {
			if int(j) < k {
				about = append(about, int(j))
			}
			return true
		})
		slices.Sort(about)
		slices.Reverse(about)
		for _, j := range about {
			if skins[closed[j]].holds(s, points) {
				parent[i] = closed[j]
				break
			}
		}
		inward := s.volume < 0
		outside := Step{Action: Inward, Shell: i, Count: 1, At: s.bounds.Center()}
		p := parent[i]
		if p < 0 {
			for _, j := range about {
				if t := skins[closed[j]]; (t.volume < 0) != inward && !states[closed[j]].inverted && t.reachesInto(s, points) {
					// A hollow that touches the outside, or a solid turned
					// inside out that overlaps another: neither is a safe guess.
					at := Fault{Kind: Crossing, Count: 1, At: s.bounds.Center()}
					s.faults, t.faults = append(s.faults, at), append(t.faults, at)
					break
				}
			}
		}
		if p < 0 || states[p].hollow {
			states[i].inverted = inward
			if p >= 0 {
				states[i].inverted = states[p].inverted
			}
			if inward {
				s.turn()
				steps = append(steps, outside)
			}
			continue
		}
		states[i].inverted = states[p].inverted
		if states[p].gone || inward == states[p].inverted {
			// Its material is already there.
			states[i].gone, s.removed = true, true
			top := p
			for parent[top] >= 0 && states[top].gone {
				top = parent[top]
			}
			s.holder = skins[top].holder
			steps = append(steps, Step{Action: Inner, Shell: s.holder, Count: 1, Size: s.bounds.Size().Len(), At: s.bounds.Center()})
			continue
		}
		states[i].hollow = true
		if !inward {
			s.turn()
		}
		s.holder = p
		skins[p].hollows = append(skins[p].hollows, i)
	}
	return steps
}

// liesOn reports whether every vertex of s lies within reach of t.
func (s *skin) liesOn(t *skin, points []geom.Vec3, reach float64) bool {
	a, b := s.bounds, t.bounds
	if max(span(a.Min.Sub(b.Min)), span(a.Max.Sub(b.Max))) > 6*reach || math.Abs(s.area-t.area) > 1e-3*s.area {
		return false
	}
	tree := t.triangleTree(points)
	for _, v := range s.vertices {
		found := false
		tree.touching(geom.Box3{Min: v, Max: v}.Grow(reach), func(i int32) bool {
			u := t.points[i]
			found = toTriangle(v, points[u[0]], points[u[1]], points[u[2]]) <= reach
			return !found
		})
		if !found {
			return false
		}
	}
	return true
}

// toTriangle is how far p lies from the triangle a b c.
func toTriangle(p, a, b, c geom.Vec3) float64 {
	n := b.Sub(a).Cross(c.Sub(a))
	if n.Dot(b.Sub(a).Cross(p.Sub(a))) >= 0 && n.Dot(c.Sub(b).Cross(p.Sub(b))) >= 0 && n.Dot(a.Sub(c).Cross(p.Sub(c))) >= 0 && n.Len() > 0 {
		return math.Abs(n.Unit().Dot(p.Sub(a)))
	}
	_, d := onSegment(p, a, b)
	_, e := onSegment(p, b, c)
	_, f := onSegment(p, c, a)
	return min(d, e, f)
}

// compareBounds orders larger boxes first, then by place.
func compareBounds(a, b geom.Box3) int {
	sign := func(d float64) int {
		switch {
		case d < 0:
			return -1
		case d > 0:
			return 1
		}
		return 0
	}
	for _, d := range [...]float64{
		b.Size().Len() - a.Size().Len(),
		a.Min.X - b.Min.X, a.Min.Y - b.Min.Y, a.Min.Z - b.Min.Z,
		a.Max.X - b.Max.X, a.Max.Y - b.Max.Y, a.Max.Z - b.Max.Z,
	} {
		if s := sign(d); s != 0 {
			return s
		}
	}
	return 0
}

// apartVertices gives the triangles vertices of their own: one for every fan
// of triangles about a point, so that what merely touches at a point or along
// an edge is taken apart. mates are those of the triangles; of is the point
// that each vertex comes from.
func apartVertices(points []geom.Vec3, triangles [][3]int32, mates []int32) (vertices []geom.Vec3, out [][3]int32, of []int32) {
	root := make([]int32, 3*len(triangles)) // corner c%3 of triangle c/3
	for i := range root {
		root[i] = int32(i)
	}
	find := func(c int32) int32 {
		for root[c] != c {
			root[c] = root[root[c]]
			c = root[c]
		}
		return c
	}
	unite := func(a, b int32) {
		a, b = find(a), find(b)
		root[max(a, b)] = min(a, b)
	}
	for h, m := range mates {
		if m < 0 {
			continue
		}
		g := int32(h)
		from, to := g, next(g)
		if triangles[from/3][from%3] == triangles[m/3][m%3] { // one-sided: both run the same way
			unite(from, m)
			unite(to, next(m))
		} else {
			unite(from, next(m))
			unite(to, m)
		}
	}
	number := make(map[int32]int32, len(triangles)/2)
	out = make([][3]int32, len(triangles))
	for i, t := range triangles {
		for k := range 3 {
			r := find(int32(3*i + k))
			n, ok := number[r]
			if !ok {
				n = int32(len(vertices))
				number[r] = n
				vertices = append(vertices, points[t[k]])
				of = append(of, t[k])
			}
			out[i][k] = n
		}
	}
	return vertices, out, of
}

// gate is the last look at a body before it may be called a solid: closed,
// oriented, facing outward, no degenerate triangle, and none that vanishes when
// coordinates are rounded to float32; free of crossings too if that has not
// been found out before.
func gate(b mesh.Body, search bool) []Fault {
	r, err := mesh.Check(b.Vertices, b.Triangles)
	if err != nil {
		return []Fault{{Kind: Empty, Count: 1}}
	}
	at := r.Bounds.Center()
	_, rounded := mesh.Weld(b.Vertices, b.Triangles)
	lost := max(r.Degenerate, len(b.Triangles)-len(rounded))
	switch {
	case !r.Closed || !r.Oriented:
		return []Fault{{Kind: Open, Count: r.Open + r.Crowded + r.Flipped, At: at}}
	case r.Volume <= 0:
		return []Fault{{Kind: Empty, Count: 1, At: at}}
	case lost > 0:
		return []Fault{{Kind: Empty, Count: lost, At: at}}
	}
	if search {
		f := fabric{points: slices.Clone(b.Vertices), triangles: slices.Clone(b.Triangles)}
		f.weldEqual() // what was taken apart at a point still only touches there
		if c, bad := crossingFault(f.points, f.triangles, crossings(f.points, f.triangles, nil)); bad {
			return []Fault{c}
		}
	}
	return nil
}
