package unfold

import (
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// mesh is an oriented triangle mesh with its adjacency. Half-edge 3t+c runs
// from corner c of triangle t to the next corner; it also names that corner.
type mesh struct {
	v      []geom.Vec3
	tri    [][3]int32
	origin []int32
	twin   []int32     // the half-edge that runs the other way; -1 on a border
	normal []geom.Vec3 // per vertex, where it is known from a larger mesh
}

// sliver is the height below which a triangle counts as having no area, as a
// share of its longest side: below it the angles are rounding.
const sliver = 1e-10

func next(h int32) int32 { return h - h%3 + (h+1)%3 }
func prev(h int32) int32 { return h - h%3 + (h+2)%3 }

func (m *mesh) from(h int32) int32 { return m.tri[h/3][h%3] }
func (m *mesh) to(h int32) int32   { return m.from(next(h)) }

func newMesh(vertices []geom.Vec3, triangles [][3]int32) (*mesh, error) {
	m := &mesh{v: vertices, tri: triangles, origin: make([]int32, len(vertices))}
	for i := range vertices {
		m.origin[i] = int32(i)
	}
	for t, c := range triangles {
		for _, i := range c {
			if i < 0 || int(i) >= len(vertices) {
				return nil, fmt.Errorf("%w: triangle %d has no corner %d", ErrTriangles, t, i)
			}
			if v := vertices[i]; math.IsNaN(v.X+v.Y+v.Z) || math.IsInf(v.X+v.Y+v.Z, 0) {
				return nil, fmt.Errorf("%w: corner %d is not a point", ErrTriangles, i)
			}
		}
		if c[0] == c[1] || c[1] == c[2] || c[2] == c[0] {
			return nil, fmt.Errorf("%w: triangle %d has a corner twice", ErrTriangles, t)
		}
	}
	if err := m.link(); err != nil {
		return nil, err
	}
	// Vertices where two fans of triangles touch become one for each fan.
	open, _ := m.open(nil)
	return open, nil
}

// link finds the twin of every half-edge.
func (m *mesh) link() error {
	m.twin = make([]int32, 3*len(m.tri))
	at := make(map[[2]int32]int32, len(m.twin))
	for h := range int32(len(m.twin)) {
		e := [2]int32{m.from(h), m.to(h)}
		if _, twice := at[e]; twice {
			return fmt.Errorf("%w: the side from corner %d to %d belongs to more than two triangles, or they are wound against each other", ErrTriangles, e[0], e[1])
		}
		at[e] = h
	}
	for h := range int32(len(m.twin)) {
		if o, ok := at[[2]int32{m.to(h), m.from(h)}]; ok {
			m.twin[h] = o
		} else {
			m.twin[h] = -1
		}
	}
	return nil
}

// open cuts the mesh along the half-edges in cut (and their twins) and says
// from which vertex each of the new mesh comes. Vertices keep their order;
// those of no triangle are dropped.
func (m *mesh) open(cut map[int32]bool) (*mesh, []int32) {
	twin := slices.Clone(m.twin)
	for h := range cut {
		if o := twin[h]; o >= 0 {
			twin[h], twin[o] = -1, -1
		}
	}
	fan := make([]int32, len(twin)) // per corner
	for i := range fan {
		fan[i] = -1
	}
	var vertex []int32 // per fan
	for h := range int32(len(twin)) {
		if fan[h] >= 0 {
			continue
		}
		id := int32(len(vertex))
		vertex = append(vertex, m.from(h))
		for c := h; c >= 0 && fan[c] < 0; c = twin[prev(c)] {
			fan[c] = id
		}
		for c := twin[h]; c >= 0 && fan[next(c)] < 0; c = twin[next(c)] {
			fan[next(c)] = id
		}
	}
	order := make([]int32, len(vertex))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortStableFunc(order, func(a, b int32) int { return int(vertex[a] - vertex[b]) })
	rank := make([]int32, len(order))
	o := &mesh{v: make([]geom.Vec3, len(order)), origin: make([]int32, len(order)), tri: make([][3]int32, len(m.tri)), twin: twin}
	from := make([]int32, len(order))
	for i, f := range order {
		rank[f] = int32(i)
		from[i] = vertex[f]
		o.v[i], o.origin[i] = m.v[vertex[f]], m.origin[vertex[f]]
	}
	for h, f := range fan {
		o.tri[h/3][h%3] = rank[f]
	}
	if m.normal != nil {
		for _, v := range from {
			o.normal = append(o.normal, m.normal[v])
		}
	}
	return o, from
}

// check refuses meshes that no cut from border to border lays flat.
func (m *mesh) check() error {
	area := 0.0
	for t := range m.tri {
		area += m.facet(t).Len()
	}
	if area == 0 {
		return ErrNoMesh
	}
	if n := len(m.parts()); n > 1 {
		return fmt.Errorf("%w: %d", ErrApart, n)
	}
	edges := 0
	for h, o := range m.twin {
		if o < int32(h) {
			edges++
		}
	}
	borders := len(m.borders())
	if borders == 0 {
		return ErrClosed
	}
	if chi := len(m.v) - edges + len(m.tri); chi != 2-borders {
		return ErrHandle
	}
	return nil
}

// parts lists the triangles of each connected part, rising.
func (m *mesh) parts() (parts [][]int32) {
	seen := make([]bool, len(m.tri))
	for t := range m.tri {
		if seen[t] {
			continue
		}
		seen[t] = true
		part := []int32{int32(t)}
		for i := 0; i < len(part); i++ {
			for c := range int32(3) {
				if o := m.twin[3*part[i]+c]; o >= 0 && !seen[o/3] {
					seen[o/3] = true
					part = append(part, o/3)
				}
			}
		}
		slices.Sort(part)
		parts = append(parts, part)
	}
	return parts
}

// borders lists the border loops as half-edges in order, the surface on their left.
func (m *mesh) borders() (loops [][]int32) {
	seen := make([]bool, len(m.twin))
	for h := range int32(len(m.twin)) {
		if m.twin[h] >= 0 || seen[h] {
			continue
		}
		var loop []int32
		for c := h; !seen[c]; {
			seen[c] = true
			loop = append(loop, c)
			for c = next(c); m.twin[c] >= 0; {
				c = next(m.twin[c])
			}
		}
		loops = append(loops, loop)
	}
	return loops
}

// facet is the normal of a triangle, twice its area long.
func (m *mesh) facet(t int) geom.Vec3 {
	a, b, c := m.v[m.tri[t][0]], m.v[m.tri[t][1]], m.v[m.tri[t][2]]
	return b.Sub(a).Cross(c.Sub(a))
}

// corner is the angle at a corner, 0 to π.
func (m *mesh) corner(h int32) float64 {
	a, b, c := m.v[m.from(h)], m.v[m.to(h)], m.v[m.from(prev(h))]
	u, v := b.Sub(a), c.Sub(a)
	return math.Atan2(u.Cross(v).Len(), u.Dot(v))
}

// angles sums the corners round each vertex, and says which lie on a border.
func (m *mesh) angles() (sum []float64, border []bool) {
	sum, border = make([]float64, len(m.v)), make([]bool, len(m.v))
	for h := range int32(len(m.twin)) {
		sum[m.from(h)] += m.corner(h)
		if m.twin[h] < 0 {
			border[m.from(h)], border[m.to(h)] = true, true
		}
	}
	return sum, border
}

// normals estimates the surface's normal at each vertex: those that meet, along
// every side,
//
//	(nᵢ + nⱼ) · (pⱼ - pᵢ) = 0
//
// in the least-squares sense. That holds exactly for chords of circular
// cylinders and spheres and to third order for any smooth surface.
//
// What chords leave open is settled by a weak wish for the facets' normals
// weighted by their angles at the vertex (Thürmer and Wüthrich, Computing
// vertex normals from polygonal facets, 1998). Alone those are off by half a
// facet where only one side is known, at a border, and in the middle they
// depend on how the facets lie.
func (m *mesh) normals() []geom.Vec3 {
	if m.normal != nil {
		return m.normal
	}
	n := make([]geom.Vec3, len(m.v))
	for h := range int32(len(m.twin)) {
		f := m.facet(int(h / 3))
		if l := f.Len(); l > 0 {
			n[m.from(h)] = n[m.from(h)].Add(f.Scale(m.corner(h) / l))
		}
	}
	for i := range n {
		n[i] = n[i].Unit()
	}
	_, border := m.angles()
	frames := make([]geom.Frame, len(n))
	sys := newSystem(2, m.sides(), m.v)
	b := make([]float64, 2*len(n)) // the tilts x, y of each normal in its own frame
	for i := range n {
		const inside, atBorder = 0.05, 1e-3 // beside one neighbour
		frames[i] = geom.FrameFromZ(geom.Vec3{}, n[i])
		wish := inside
		if border[i] {
			wish = atBorder
		}
		sys.add(int32(2*i), int32(2*i), wish)
		sys.add(int32(2*i+1), int32(2*i+1), wish)
	}
	for _, e := range m.sides() {
		i, j := e[0], e[1]
		d := m.v[j].Sub(m.v[i]).Unit()
		miss := n[i].Add(n[j]).Dot(d)
		unknown := [4]int32{2 * i, 2*i + 1, 2 * j, 2*j + 1}
		by := [4]float64{frames[i].X.Dot(d), frames[i].Y.Dot(d), frames[j].X.Dot(d), frames[j].Y.Dot(d)}
		for k, u := range unknown {
			b[u] -= by[k] * miss
			for l := range k + 1 {
				sys.add(u, unknown[l], by[k]*by[l])
			}
		}
	}
	if !sys.factor(0) {
		return n
	}
	sys.solve(b)
	for i, f := range frames {
		n[i] = n[i].Add(f.X.Scale(b[2*i])).Add(f.Y.Scale(b[2*i+1])).Unit()
	}
	return n
}
