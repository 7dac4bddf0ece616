package surface

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"groundwork/internal/geom"
)

// A facet is a connected run of triangles in one plane: a whole plane face, or
// one strip of a tessellated curve. All recognition works on facets, because a
// strip has one normal however it was cut into triangles.
type facet struct {
	triangles []int32
	normal    geom.Vec3 // out of the material
	offset    float64   // normal·p of its vertices, their mean
	area      float64
}

// A side is all of a facet's border with one other facet.
type side struct {
	to     int32
	half   []int32   // half-edges, on this facet
	length float64   // mm, of all of them
	dir    geom.Vec3 // unit; along the two planes' common line
	angle  float64   // between the outward normals, radians, never negative
}

// grower is the state of one recognition.
type grower struct {
	*Solid
	tol      float64
	extent   float64 // mm, the solid's diagonal
	rounding float64 // mm, what single-precision numbers do to a distance
	flat     float64 // mm, how far a vertex may lie from a facet's plane
	facet    []facet
	of       []int32   // facet of each triangle
	corner   [][]int32 // vertices of each facet, rising
	side     [][]side  // of each facet, longest first
	face     []int32   // index into found of each facet, -1 for none yet
	found    []Face
	parts    [][]int32 // facets of each face
	refused  []Kind    // of each facet, the last kind of surface that was refused for it
	weary    []Kind    // of each facet, the last kind for which seedCrooked failed beside it

	stampV []int32 // marks vertices; see stamp
	stamp  int32
}

// newGrower prepares a recognition. coarse says that vertices may stray by tol
// for the sake of their numbers alone.
func newGrower(s *Solid, tol float64, coarse bool) *grower {
	box, far := geom.EmptyBox3(), 0.0
	for _, v := range s.Vertices {
		box = box.Add(v)
		far = max(far, math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z))
	}
	g := &grower{Solid: s, tol: tol, extent: box.Size().Len(), rounding: min(tol, 2*far*0x1p-24)}
	// Facets of a gentle curve are next to coplanar, and must not run into one
	// another.
	g.flat = min(tol, 2*g.rounding)
	if coarse {
		g.rounding, g.flat = tol, tol
	}
	return g
}

// facets groups the triangles by planes. The largest triangle that is left
// begins the next facet, so that a plane is known from its widest part.
func (g *grower) facets() {
	n := len(g.Triangles)
	cross := make([]geom.Vec3, n)
	size := make([]float64, n)
	order := make([]int32, n)
	for t := range n {
		cross[t] = g.cross(int32(t))
		size[t] = cross[t].Len()
		order[t] = int32(t)
	}
	slices.SortStableFunc(order, func(a, b int32) int { return cmp.Compare(size[b], size[a]) })
	g.of = make([]int32, n)
	for t := range g.of {
		g.of[t] = -1
	}
	var queue []int32
	for _, seed := range order {
		if g.of[seed] >= 0 {
			continue
		}
		id := int32(len(g.facet))
		normal := cross[seed].Unit()
		at := g.Vertices[g.Triangles[seed][0]]
		f := facet{normal: normal}
		sum := cross[seed]
		grown := 2 * size[seed]
		queue = append(queue[:0], seed)
		g.of[seed] = id
		for len(queue) > 0 {
			t := queue[0]
			queue = queue[1:]
			f.triangles = append(f.triangles, t)
			for i := range int32(3) {
				u := g.twin[3*t+i] / 3
				if g.of[u] >= 0 {
					continue
				}
				far := 0.0
				for _, v := range g.Triangles[u] {
					far = max(far, math.Abs(normal.Dot(g.Vertices[v].Sub(at))))
				}
				// The normal of a sliver says nothing.
				if far > g.flat || cross[u].Dot(normal) < 0.9*size[u] && g.height(u, size[u]) > 4*g.flat {
					continue
				}
				g.of[u] = id
				queue = append(queue, u)
				sum = sum.Add(cross[u])
				// A plane known from a small triangle tilts far out; it is
				// steadied by all that has come to it.
				if l := sum.Len(); l > grown {
					normal, grown = sum.Unit(), 2*l
				}
			}
		}
		f.normal = sum.Unit()
		corners := 0
		for _, t := range f.triangles {
			f.area += size[t] / 2
			for _, v := range g.Triangles[t] {
				f.offset += f.normal.Dot(g.Vertices[v].Sub(at))
				corners++
			}
		}
		f.offset = f.offset/float64(corners) + f.normal.Dot(at)
		g.facet = append(g.facet, f)
	}
}

// height is the least height of a triangle with twice the area double, mm.
func (g *grower) height(t int32, double float64) float64 {
	longest := 0.0
	for i := range 3 {
		longest = max(longest, g.Vertices[g.Triangles[t][i]].Dist(g.Vertices[g.Triangles[t][(i+1)%3]]))
	}
	if longest == 0 {
		return 0
	}
	return double / longest
}

// sides finds the corners and the neighbours of every facet.
func (g *grower) sides() {
	n := len(g.facet)
	g.corner = make([][]int32, n)
	g.side = make([][]side, n)
	g.face = make([]int32, n)
	g.refused = make([]Kind, n)
	g.weary = make([]Kind, n)
	g.stampV = make([]int32, len(g.Vertices))
	var half []int32
	for i := range g.facet {
		g.face[i] = -1
		half = half[:0]
		g.stamp++
		for _, t := range g.facet[i].triangles {
			for j := range int32(3) {
				if h := 3*t + j; g.of[g.twin[h]/3] != int32(i) {
					half = append(half, h)
				}
				if v := g.Triangles[t][j]; g.stampV[v] != g.stamp {
					g.stampV[v] = g.stamp
					g.corner[i] = append(g.corner[i], v)
				}
			}
		}
		slices.Sort(g.corner[i])
		slices.SortFunc(half, func(a, b int32) int {
			return cmp.Or(cmp.Compare(g.of[g.twin[a]/3], g.of[g.twin[b]/3]), cmp.Compare(a, b))
		})
		for len(half) > 0 {
			s := side{to: g.of[g.twin[half[0]]/3]}
			k := 0
			for k < len(half) && g.of[g.twin[half[k]]/3] == s.to {
				a, b := g.ends(half[k])
				s.length += g.Vertices[a].Dist(g.Vertices[b])
				k++
			}
			s.half = slices.Clone(half[:k])
			half = half[k:]
			// The farthest apart of its ends give the steadiest direction.
			first, _ := g.ends(s.half[0])
			p := g.farthest(s.half, g.Vertices[first])
			q := g.farthest(s.half, p)
			s.dir = q.Sub(p).Unit()
			m, o := g.facet[i].normal, g.facet[s.to].normal
			s.angle = math.Atan2(m.Cross(o).Len(), m.Dot(o))
			g.side[i] = append(g.side[i], s)
		}
		slices.SortStableFunc(g.side[i], func(a, b side) int { return cmp.Compare(b.length, a.length) })
	}
}

func (g *grower) ends(h int32) (a, b int32) {
	t := g.Triangles[h/3]
	return t[h%3], t[(h+1)%3]
}

// farthest is the end of the half-edges that lies farthest from p.
func (g *grower) farthest(half []int32, p geom.Vec3) geom.Vec3 {
	best, d := p, -1.0
	for _, h := range half {
		a, b := g.ends(h)
		for _, v := range [2]int32{a, b} {
			if e := g.Vertices[v].Dist(p); e > d {
				best, d = g.Vertices[v], e
			}
		}
	}
	return best
}

// across is how far a facet reaches from the line of one of its sides, mm.
func (g *grower) across(f int32, s *side) float64 {
	a, _ := g.ends(s.half[0])
	in := g.facet[f].normal.Cross(s.dir)
	w := 0.0
	for _, v := range g.corner[f] {
		w = max(w, math.Abs(g.Vertices[v].Sub(g.Vertices[a]).Dot(in)))
	}
	return w
}

// plane makes a face of one facet.
func (g *grower) plane(i int32) {
	f := &g.facet[i]
	origin := g.Vertices[g.Triangles[slices.Min(f.triangles)][0]]
	origin = origin.Sub(f.normal.Scale(f.normal.Dot(origin) - f.offset))
	g.add(Face{Kind: Plane, Frame: geom.FrameFromZ(origin, f.normal)}, []int32{i})
}

// Angles of a tessellation, radians.
const (
	// Neighbours that turn by more than this are never taken for facets of one
	// round surface: eight to a circle.
	widest = 46 * math.Pi / 180
	// Up to this turn, ten facets to a circle, vertices on a circle are enough;
	// beyond it there must be other evidence. See accept. Leftover facets, too,
	// are one smooth surface up to this turn.
	usual = 36.5 * math.Pi / 180
)

// region is a run of facets that lie on a round surface.
type region struct {
	round
	facets []int32
	out    float64 // 1 where the material is inside, -1 where it is outside
	half   float64 // the most that a facet's normal strays from the surface's at a vertex
}

// How much further than the facets already there a facet that was cut may stray:
// while a surface is being sought, and once it is certain.
const strict, lenient = 1.15, 2.2

// match reports whether a facet can be a piece of the surface: each vertex on
// it, and its normal within half a facet's turn of the surface's at every
// vertex.
//
// Where a solid was cut as a mesh, vertices of the cut lie in the facets, under
// the surface. Such a vertex is let pass as deep as the facets do that are
// already in the region (half is their greatest half turn); whole tells that
// there was none.
func (g *grower) match(q *round, out, half, slack float64, f int32) (turn float64, whole, ok bool) {
	n := g.facet[f].normal
	least, deep, bend := 1.0, 0.0, 0.0
	for _, v := range g.corner[f] {
		p := g.Vertices[v]
		d := q.distance(p)
		if d > g.tol {
			return 0, false, false
		}
		if -d > max(g.tol, deep) {
			deep, bend = -d, q.bend(p)
		}
		if m := q.normal(p); m != (geom.Vec3{}) && q.bend(p) > 8*g.tol {
			least = min(least, m.Dot(n)*out)
		}
	}
	turn = math.Acos(max(-1, least))
	if turn > widest/2 {
		return turn, false, false
	}
	if deep == 0 {
		return turn, true, true
	}
	// What was cut out of a facet still lies along its rulings, as the first
	// band of a ring beside a cylinder does not.
	if q.kind != Sphere && math.Abs(n.Dot(q.along(g.Vertices[g.corner[f][0]]))) > half/4+1e-6 {
		return turn, false, false
	}
	// And its rulings begin or end on the surface.
	if q.kind != Sphere {
		for i := range g.side[f] {
			s := &g.side[f][i]
			if s.angle < 2.6*half && !g.anchored(q, s) {
				return turn, false, false
			}
		}
	}
	return turn, false, turn <= slack*half+1e-6 && deep <= bend*(1-math.Cos(strict*half))+g.tol
}

// anchored reports whether a vertex of the side lies on the surface.
func (g *grower) anchored(q *round, s *side) bool {
	for _, h := range s.half {
		a, b := g.ends(h)
		if math.Abs(q.distance(g.Vertices[a])) <= g.tol || math.Abs(q.distance(g.Vertices[b])) <= g.tol {
			return true
		}
	}
	return false
}

// soft reports whether two facets may lie on one curved surface.
func (s *side) soft() bool { return s.angle < widest }

// ruled gathers the vertices of facets that lie on creases between facets of a
// curve: unlike those of a cut, they lie on the surface itself.
func (g *grower) ruled(facets []int32) []geom.Vec3 {
	g.stamp++
	var points []geom.Vec3
	for _, f := range facets {
		for i := range g.side[f] {
			s := &g.side[f][i]
			if !s.soft() {
				continue
			}
			for _, h := range s.half {
				a, b := g.ends(h)
				for _, v := range [2]int32{a, b} {
					if g.stampV[v] != g.stamp {
						g.stampV[v] = g.stamp
						points = append(points, g.Vertices[v])
					}
				}
			}
		}
	}
	return points
}

// most vertices that a fit looks at; more would not make it better.
const most = 3000

// near gathers the region's vertices that lie on its surface.
func (g *grower) near(r *region) []geom.Vec3 {
	g.stamp++
	var points []geom.Vec3
	for _, f := range r.facets {
		for _, v := range g.corner[f] {
			if g.stampV[v] == g.stamp {
				continue
			}
			g.stampV[v] = g.stamp
			if math.Abs(r.distance(g.Vertices[v])) <= 3*g.tol {
				points = append(points, g.Vertices[v])
			}
		}
	}
	if len(points) > most {
		kept := points[:0]
		for i := range most {
			kept = append(kept, points[i*len(points)/most])
		}
		points = kept
	}
	return points
}

// grow starts a region from a first guess and some facets, and takes in
// neighbours for as long as they match, with a new fit whenever the region has
// doubled. It is nil if the seed does not lie on such a surface.
func (g *grower) grow(q round, seed []int32) *region {
	points := g.ruled(seed)
	q, ok := q.refine(points)
	if !ok || q.worst(points) > g.tol || !g.sane(&q) {
		return nil
	}
	r := &region{round: q, out: 1}
	middle := g.Vertices[g.corner[seed[0]][0]]
	if q.normal(middle).Dot(g.facet[seed[0]].normal) < 0 {
		r.out = -1
	}
	for _, f := range seed {
		turn, whole, _ := g.match(&r.round, r.out, widest/2, strict, f)
		if whole {
			r.half = max(r.half, turn)
		}
	}
	g.stamp++
	inside := map[int32]bool{}
	banned := map[int32]bool{}
	for _, f := range seed {
		if _, _, ok := g.match(&r.round, r.out, r.half, strict, f); !ok || inside[f] {
			return nil
		}
		inside[f] = true
		r.facets = append(r.facets, f)
	}
	refit := func() bool {
		next, ok := r.round.refine(g.near(r))
		if !ok || !g.sane(&next) {
			return false
		}
		r.round = next
		kept := r.facets[:0]
		for i, f := range r.facets {
			turn, whole, ok := g.match(&r.round, r.out, r.half, strict, f)
			if !ok {
				if i < len(seed) {
					return false
				}
				delete(inside, f)
				banned[f] = true
				continue
			}
			if whole {
				r.half = max(r.half, turn)
			}
			kept = append(kept, f)
		}
		r.facets = kept
		return true
	}
	goal := len(r.facets) + 2
	for pass := 0; pass < 4; pass++ {
		grew := false
		for i := 0; i < len(r.facets); i++ {
			f := r.facets[i]
			for j := range g.side[f] {
				s := &g.side[f][j]
				if !s.soft() || g.face[s.to] >= 0 || inside[s.to] || banned[s.to] {
					continue
				}
				turn, whole, ok := g.match(&r.round, r.out, r.half, strict, s.to)
				if !ok {
					continue
				}
				if whole {
					r.half = max(r.half, turn)
				}
				inside[s.to] = true
				r.facets = append(r.facets, s.to)
				grew = true
			}
			if len(r.facets) >= goal {
				if !refit() {
					return nil
				}
				goal = 2 * len(r.facets)
				i = min(i, len(r.facets)-1)
			}
		}
		if !grew {
			break
		}
		if !refit() {
			return nil
		}
	}
	return r
}

// sane refuses surfaces that are next to flat over the whole solid.
func (g *grower) sane(q *round) bool {
	return q.radius < 1e3*g.extent && math.Abs(q.slope) < 50 && q.radius > 0
}

// seeds tries to begin a surface of the kind at a facet, and returns the
// region, if one was found that is to be believed.
func (g *grower) seeds(kind Kind, f int32) *region {
	var soft []*side
	for i := range g.side[f] {
		s := &g.side[f][i]
		if s.soft() && g.face[s.to] < 0 && s.length > 4*g.tol {
			soft = append(soft, s)
		}
	}
	soft = soft[:min(len(soft), 5)]
	try := func(q round, ok bool, seed ...int32) *region {
		if !ok {
			return nil
		}
		r := g.grow(q, seed)
		if r == nil || g.accept(r) {
			return r
		}
		if len(r.facets) < 5 {
			return nil
		}
		// An arc that runs on into another curve may have taken in too much.
		wide := g.tol
		defer func() { g.tol = wide }()
		g.tol = g.rounding
		if again := g.grow(q, seed); again != nil && g.accept(again) {
			return again
		}
		// What all these facets agree upon needs no second hearing.
		for _, f := range r.facets {
			g.refused[f] = kind
		}
		return nil
	}
	if kind == Sphere {
		return g.seedSphere(f, soft, try)
	}
	for i, a := range soft {
		for _, b := range soft[i+1:] {
			seed := []int32{f, a.to, b.to}
			dir := b.dir
			if dir.Dot(a.dir) < 0 {
				dir = dir.Neg()
			}
			skew := a.dir.Cross(dir)
			if g.woven(f, a, soft) {
				continue
			}
			if kind == Cylinder {
				if skew.Len() > 0.2 {
					continue
				}
				axis := a.dir.Scale(a.length).Add(dir.Scale(b.length)).Unit()
				q, ok := startRound(Cylinder, axis, 0, g.ruled(seed))
				if r := try(q, ok, seed...); r != nil {
					return r
				}
				continue
			}
			if skew.Len() < 1e-7 {
				continue
			}
			axis, slope, ok := g.apex(f, a, b)
			if !ok {
				continue
			}
			q, ok := startRound(Cone, axis, slope, g.ruled(seed))
			if r := try(q, ok, seed...); r != nil {
				return r
			}
		}
	}
	if r := g.seedCrooked(kind, f, soft, try); r != nil {
		return r
	}
	if kind == Cylinder {
		// Two strips alone, as a coarse fillet has: any three parallel lines lie
		// on a cylinder, so everything hangs on its neighbours.
		for _, a := range soft {
			seed := []int32{f, a.to}
			if len(g.corner[f]) < 4 || len(g.corner[a.to]) < 4 || g.woven(f, a, soft) {
				continue
			}
			if w, v := g.across(f, a), g.across(a.to, a); w > 1.5*v || v > 1.5*w {
				continue
			}
			var points []geom.Vec3
			for _, i := range seed {
				for _, v := range g.corner[i] {
					points = append(points, g.Vertices[v])
				}
			}
			q, ok := startRound(Cylinder, a.dir, 0, points)
			if r := try(q, ok, seed...); r != nil {
				return r
			}
		}
	}
	return nil
}

// seedCrooked begins at a facet of a surface whose facets are no strips: the
// normals of the facets about it lie on a circle round the axis, a great one if
// it is a cylinder.
func (g *grower) seedCrooked(kind Kind, f int32, soft []*side, try func(round, bool, ...int32) *region) *region {
	if len(soft) < 2 || g.weary[f] == kind {
		return nil
	}
	for i, a := range soft {
		for _, b := range soft[i+1:] {
			if a.dir.Cross(b.dir).Len() < 0.2 {
				return nil // a strip after all
			}
		}
	}
	// One answer is enough for a neighbourhood.
	for _, s := range soft {
		g.weary[s.to] = kind
	}
	seed := []int32{f}
	add := func(s *side) {
		if s.soft() && g.face[s.to] < 0 && len(seed) < 24 && !slices.Contains(seed, s.to) && s.length > 4*g.tol {
			seed = append(seed, s.to)
		}
	}
	for _, s := range soft {
		add(s)
	}
	for _, i := range seed[1:len(seed):len(seed)] {
		for j := range g.side[i] {
			add(&g.side[i][j])
		}
	}
	if len(seed) < 6 {
		return nil
	}
	var mean geom.Vec3
	if kind == Cone {
		for _, i := range seed {
			mean = mean.Add(g.facet[i].normal)
		}
		mean = mean.Scale(1 / float64(len(seed)))
	}
	sum := mat.NewSymDense(3, nil)
	for _, i := range seed {
		d := g.facet[i].normal.Sub(mean)
		sum.SymRankOne(sum, 1, mat.NewVecDense(3, []float64{d.X, d.Y, d.Z}))
	}
	var e mat.EigenSym
	if !e.Factorize(sum, true) {
		return nil
	}
	spread := e.Values(nil) // rising
	if spread[0] > 0.3*spread[1] {
		return nil
	}
	var v mat.Dense
	e.VectorsTo(&v)
	axis := geom.V3(v.At(0, 0), v.At(1, 0), v.At(2, 0)).Unit()
	slope := 0.0
	if kind == Cone {
		// On a cone whose material is within, normal·axis = -slope/√(1+slope²).
		c := mean.Dot(axis)
		if math.Abs(c) > 0.9999 {
			return nil
		}
		slope = -c / math.Sqrt(1-c*c)
		if slope == 0 {
			return nil
		}
	}
	points := g.ruled(seed)
	for range 2 { // a hollow cone slopes the other way
		q, ok := startRound(kind, axis, slope, points)
		if r := try(q, ok && q.radius > 0, seed...); r != nil || kind == Cylinder {
			return r
		}
		slope = -slope
	}
	return nil
}

// apex is the axis and slope of the cone through three rulings: the sides a
// and b of facet f, and the edge of the facet beyond a that lies farthest from
// it. Unit vectors along the rulings of a cone end on a circle round its axis.
func (g *grower) apex(f int32, a, b *side) (axis geom.Vec3, slope float64, ok bool) {
	pa, _ := g.ends(a.half[0])
	pb, _ := g.ends(b.half[0])
	o, p := g.Vertices[pa], g.Vertices[pb]
	n := a.dir.Cross(b.dir)
	t := p.Sub(o).Cross(b.dir).Dot(n) / n.Dot(n)
	top := o.Add(a.dir.Scale(t))
	in := g.facet[a.to].normal.Cross(a.dir)
	far, third := -1.0, geom.Vec3{}
	for _, v := range g.corner[a.to] {
		if w := math.Abs(g.Vertices[v].Sub(o).Dot(in)); w > far {
			far, third = w, g.Vertices[v]
		}
	}
	toward := func(s *side) geom.Vec3 {
		return g.farthest(s.half, top).Sub(top).Unit()
	}
	u, v, w := toward(a), toward(b), third.Sub(top).Unit()
	axis = u.Sub(v).Cross(w.Sub(v)).Unit()
	if axis == (geom.Vec3{}) {
		return axis, 0, false
	}
	c := axis.Dot(u)
	if c < 0 {
		axis, c = axis.Neg(), -c
	}
	if c < 1e-3 || c >= 1 {
		return axis, 0, false
	}
	return axis, math.Sqrt(1-c*c) / c, true
}

// seedSphere tries the sphere through a facet and its neighbours.
func (g *grower) seedSphere(f int32, soft []*side, try func(round, bool, ...int32) *region) *region {
	if len(soft) < 3 {
		return nil
	}
	seed := []int32{f}
	for _, s := range soft {
		seed = append(seed, s.to)
	}
	var points []geom.Vec3
	for _, i := range seed {
		if len(g.corner[i]) > 64 {
			return nil
		}
		for _, v := range g.corner[i] {
			points = append(points, g.Vertices[v])
		}
	}
	q, ok := startSphere(points)
	if !ok || q.worst(points) > 20*g.tol {
		return nil
	}
	return try(q, true, seed...)
}

// accept decides whether a region is evidence enough for its surface.
//
// Any polygon's corners may lie on a circle, and a maker who draws an octagon
// means one. So a region counts as round
//   - with five facets or more, or four of like turn, that turn by as much as
//     ten to a circle do, or less;
//   - with three such facets or more, if a neighbour goes on without a kink at
//     one end at least, as the flat beside a fillet does;
//   - with two facets, or with facets of any turn up to 46°, if a neighbour
//     does so at both ends;
//   - for a sphere, with a vertex that has nothing but its facets round it.
//
// Facets that turn by far more than the rest are flats cut into the surface
// and are let go.
func (g *grower) accept(r *region) bool {
	turns := make([]float64, 0, len(r.facets))
	all := 0.0
	turnOf := make([]float64, len(r.facets))
	for i, f := range r.facets {
		turn, _, _ := g.match(&r.round, r.out, r.half, strict, f)
		turns = append(turns, 2*turn)
		turnOf[i] = 2 * turn
		all += 2 * turn
	}
	slices.Sort(turns)
	typical, sum := 0.0, 0.0
	for _, t := range turns {
		sum += t
		if sum >= all/2 {
			typical = t
			break
		}
	}
	if r.kind != Sphere {
		kept := r.facets[:0]
		for i, f := range r.facets {
			if turnOf[i] <= 2.2*typical+0.01 {
				kept = append(kept, f)
			}
		}
		r.facets = kept
	}
	in := map[int32]bool{}
	for _, f := range r.facets {
		in[f] = true
	}
	if r.kind == Sphere {
		if len(r.facets) < 6 || typical > usual || !g.surrounded(in) {
			return false
		}
		// The top of any dome is nearly a sphere.
		beyond := g.beyond(in)
		return beyond == 0 || len(r.facets) >= 4*beyond && r.worst(g.near(r)) <= g.rounding
	}
	if len(r.facets) < 5 && turns[len(turns)-1] > 2.5*turns[0] {
		return false // a flat between two fillets lies on a circle, too
	}
	tangents, goesOn := map[int32]bool{}, false
	for _, f := range r.facets {
		for i := range g.side[f] {
			s := &g.side[f][i]
			if in[s.to] || !s.soft() {
				continue
			}
			a, b := g.ends(s.half[0])
			pa, pb := g.Vertices[a], g.Vertices[b]
			if math.Abs(r.distance(pa)) > g.tol || math.Abs(r.distance(pb)) > g.tol {
				continue
			}
			m := r.normal(pa).Scale(r.out)
			n := g.facet[s.to].normal
			if angle := math.Atan2(m.Cross(n).Len(), m.Dot(n)); angle < 0.1*typical+4*g.rounding/g.across(s.to, s) {
				tangents[s.to] = true
			} else if math.Abs(s.dir.Dot(r.along(pa))) > 0.99 && s.angle < 2*typical {
				goesOn = true
			}
		}
	}
	n := len(r.facets)
	switch {
	case len(tangents) >= 2 && n >= 2:
	case typical > usual:
		return false
	case len(tangents) == 1 && n >= 3 && !goesOn:
	case n < 4 || n == 4 && (goesOn || turns[3] > 1.02*turns[0]):
		return false
	}
	// A curve that is no arc passes for one over a few facets. It gives itself
	// away by going on beyond them, and by a misfit that is more than rounding.
	if goesOn && r.worst(g.near(r)) > g.rounding {
		return false
	}
	return !g.turned(r, in, typical)
}

// woven reports whether a facet bends about as finely across its side a as
// along it, over a run of bands: turned would refuse what it began.
func (g *grower) woven(f int32, a *side, soft []*side) bool {
	sag := g.across(f, a) * a.angle
	for _, s := range soft {
		if math.Abs(s.dir.Dot(a.dir)) > 0.5 || s.angle > usual {
			continue
		}
		width, next := g.across(f, s), g.across(s.to, s)
		if width*s.angle <= 40*sag && width <= 3*next && next <= 3*width && g.chain(f, s) >= 4 {
			return true
		}
	}
	return false
}

// chain counts how often in a row, to both sides, facets of like width meet at
// a like angle, beginning with the side s of facet f.
func (g *grower) chain(f int32, s *side) int {
	count := 1
	like := func(a, b float64) bool { return a <= 3*b && b <= 3*a }
	for _, start := range [2]int32{s.to, f} {
		from, at := f, start
		if start == f {
			from = s.to
		}
		width := g.across(f, s)
		for count < 8 {
			var next *side
			for i := range g.side[at] {
				o := &g.side[at][i]
				if o.to != from && o.angle < usual && like(o.angle, s.angle) && math.Abs(o.dir.Dot(s.dir)) > 0.9 && like(g.across(o.to, o), width) {
					next = o
					break
				}
			}
			if next == nil {
				break
			}
			count++
			from, at = at, next.to
		}
	}
	return count
}

// beyond counts the facets beside a region that carry on its curve.
func (g *grower) beyond(in map[int32]bool) int {
	seen := map[int32]bool{}
	for f := range in {
		for i := range g.side[f] {
			s := &g.side[f][i]
			if in[s.to] || g.face[s.to] >= 0 || s.angle > usual {
				continue
			}
			width, next := g.across(f, s), g.across(s.to, s)
			if width <= 3*next && next <= 3*width {
				seen[s.to] = true
			}
		}
	}
	return len(seen)
}

// along is the direction of the ruling at p.
func (q *round) along(p geom.Vec3) geom.Vec3 {
	u := offAxis(p.Sub(q.origin), q.axis).Unit()
	return q.axis.Add(u.Scale(q.slope)).Unit()
}

// surrounded reports whether some vertex has only facets of the region round
// it, as no single band of a turned surface has.
func (g *grower) surrounded(in map[int32]bool) bool {
	inner := map[int32]int{}
	for f := range in {
		for _, v := range g.corner[f] {
			inner[v]++
		}
	}
	for f := range in {
		for i := range g.side[f] {
			s := &g.side[f][i]
			if in[s.to] {
				continue
			}
			for _, h := range s.half {
				a, b := g.ends(h)
				delete(inner, a)
				delete(inner, b)
			}
		}
	}
	for _, n := range inner {
		if n >= 3 {
			return true
		}
	}
	return false
}

// turned reports whether a cylinder or cone is but one band of a surface
// turned from a curved profile: every such band of facets is a perfect cone.
// It is one if the band's own profile, a chord, would stray from a smooth curve
// about as little as its facets stray from the circle, and the next band is of
// like width.
func (g *grower) turned(r *region, in map[int32]bool, typical float64) bool {
	chords, rims := 0.0, 0.0
	for _, f := range r.facets {
		for i := range g.side[f] {
			s := &g.side[f][i]
			if in[s.to] {
				continue
			}
			a, b := g.ends(s.half[0])
			if math.Abs(s.dir.Dot(r.along(g.Vertices[a].Lerp(g.Vertices[b], 0.5)))) > 0.5 {
				continue // beside the band, not beyond its rim
			}
			rims += s.length
			if s.angle > usual || g.face[s.to] >= 0 {
				continue
			}
			width, next := g.across(f, s), g.across(s.to, s)
			// Seen along the axis, facets of a cone stray by more than across it.
			h := math.Hypot(1, r.slope)
			sag := r.bend(g.Vertices[a]) / h * (1 - math.Cos(min(typical*h, math.Pi)/2))
			factor := 4.0
			if g.chain(f, s) >= 4 {
				factor = 40 // a long run of like bands, however finely they divide the circle
			}
			if width*s.angle/8 <= factor*sag && width <= 3*next && next <= 3*width {
				chords += s.length
			}
		}
	}
	return chords > 0.3*rims
}

// round surfaces are sought in this order: a band of a sphere is a cone, too,
// and a cylinder the simpler of two.
var roundKinds = []Kind{Sphere, Cylinder, Cone}

// roundFaces finds every sphere, cylinder and cone.
func (g *grower) roundFaces() {
	for _, kind := range roundKinds {
		for f := range g.facet {
			if g.face[f] >= 0 || g.refused[f] == kind {
				continue
			}
			if r := g.seeds(kind, int32(f)); r != nil {
				g.take(r)
			}
		}
	}
}

// take makes faces of a region, one for each connected part.
func (g *grower) take(r *region) {
	in := map[int32]bool{}
	for _, f := range r.facets {
		in[f] = true
	}
	for _, first := range r.facets {
		if !in[first] {
			continue
		}
		part := []int32{first}
		delete(in, first)
		for i := 0; i < len(part); i++ {
			for j := range g.side[part[i]] {
				if to := g.side[part[i]][j].to; in[to] {
					delete(in, to)
					part = append(part, to)
				}
			}
		}
		face := Face{
			Kind:   r.kind,
			Frame:  geom.FrameFromZ(r.origin, r.axis),
			Radius: r.radius,
			Slope:  r.slope,
			Hollow: r.out < 0,
		}
		if r.kind == Sphere {
			face.Frame = geom.World()
			face.Frame.Origin = r.origin
		}
		g.add(face, part)
	}
}

// add makes the facets a face.
func (g *grower) add(face Face, facets []int32) {
	for _, f := range facets {
		g.face[f] = int32(len(g.found))
		face.Triangles = append(face.Triangles, g.facet[f].triangles...)
	}
	g.found = append(g.found, face)
	g.parts = append(g.parts, facets)
}

// crumbs gives facets too narrow to have a normal of their own to the face
// beside their longest side.
func (g *grower) crumbs() {
	for f := range g.facet {
		if g.face[f] >= 0 {
			continue
		}
		if len(g.side[f]) == 0 || g.across(int32(f), &g.side[f][0]) > 4*g.tol {
			continue
		}
		for i := range g.side[f] {
			to := g.face[g.side[f][i].to]
			if to < 0 {
				continue
			}
			off := 0.0
			for _, v := range g.corner[f] {
				off = max(off, math.Abs(g.found[to].Distance(g.Vertices[v])))
			}
			if off <= 4*g.tol {
				g.face[f] = to
				g.found[to].Triangles = append(g.found[to].Triangles, g.facet[f].triangles...)
				g.parts[to] = append(g.parts[to], int32(f))
				break
			}
		}
	}
}

// absorb gives round faces the facets beside them that were cut so clumsily
// that they lent no support while the surface was sought, and joins faces of
// one surface that only such facets kept apart.
func (g *grower) absorb() {
	order := make([]int, len(g.found))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(len(g.parts[b]), len(g.parts[a])) })
	for _, i := range order {
		if g.parts[i] == nil {
			continue
		}
		face := &g.found[i]
		q, out, half := face.round(), 1.0, 0.0
		if face.Hollow {
			out = -1
		}
		for _, f := range g.parts[i] {
			if turn, whole, _ := g.match(&q, out, widest, lenient, f); whole {
				half = max(half, turn)
			}
		}
		for k := 0; k < len(g.parts[i]); k++ {
			f := g.parts[i][k]
			for j := range g.side[f] {
				s := &g.side[f][j]
				other := g.face[s.to]
				if !s.soft() || other == int32(i) {
					continue
				}
				joins := []int32{s.to}
				if other >= 0 {
					if o := &g.found[other]; o.Kind != face.Kind || o.Hollow != face.Hollow {
						continue
					}
					joins = g.parts[other]
				}
				fits := true
				for _, t := range joins {
					if turn, _, ok := g.match(&q, out, half, lenient, t); !ok || turn > lenient*half {
						fits = false
						break
					}
				}
				if !fits {
					continue
				}
				for _, t := range joins {
					g.face[t] = int32(i)
					face.Triangles = append(face.Triangles, g.facet[t].triangles...)
				}
				g.parts[i] = append(g.parts[i], joins...)
				if other >= 0 {
					g.parts[other] = nil
				}
			}
		}
	}
	// What was joined to another is gone.
	kept := int32(0)
	for i := range g.found {
		if g.parts[i] == nil {
			continue
		}
		g.found[kept], g.parts[kept] = g.found[i], g.parts[i]
		for _, f := range g.parts[kept] {
			g.face[f] = kept
		}
		kept++
	}
	g.found, g.parts = g.found[:kept], g.parts[:kept]
}

// round is the surface of a round face.
func (f *Face) round() round {
	return round{kind: f.Kind, origin: f.Frame.Origin, axis: f.Frame.Z, radius: f.Radius, slope: f.Slope}
}

// least facets that make a curved surface without a name.
const fewest = 6

// rest makes faces of what is left: planes, and smooth runs of facets that are
// none of the named surfaces.
//
// In such a run a facet is a chord: neighbours beyond a smooth side are about
// as wide. A plane that goes on smoothly into a curve is far wider than the
// facets of the curve.
func (g *grower) rest() {
	flat := make([]bool, len(g.facet))
	curved := func(s *side) bool { return s.angle < usual && g.face[s.to] < 0 }
	for f := range g.facet {
		if g.face[f] >= 0 {
			continue
		}
		flat[f] = true
		for i := range g.side[f] {
			s := &g.side[f][i]
			if curved(s) && g.across(int32(f), s) <= 4*g.across(s.to, s) {
				flat[f] = false
			}
		}
	}
	done := make([]bool, len(g.facet))
	for f := range g.facet {
		if g.face[f] >= 0 || flat[f] || done[f] {
			continue
		}
		run := []int32{int32(f)}
		done[f] = true
		for i := 0; i < len(run); i++ {
			for j := range g.side[run[i]] {
				s := &g.side[run[i]][j]
				if curved(s) && !flat[s.to] && !done[s.to] {
					done[s.to] = true
					run = append(run, s.to)
				}
			}
		}
		if len(run) < fewest {
			for _, i := range run {
				flat[i] = true
			}
			continue
		}
		kind := Free
		if g.developable(run) {
			kind = Developable
		}
		g.add(Face{Kind: kind, Frame: geom.World()}, run)
	}
	for f := range g.facet {
		if g.face[f] < 0 {
			g.plane(int32(f))
		}
	}
}

// developable reports whether a run of facets unrolls: at every vertex inside
// it the triangles' angles come to a full turn. What a vertex of a surface
// curved both ways lacks of that is of the order of the square of the angle
// through which the facets turn there; a hundredth of that square passes, and
// what the rounding of the vertices can do.
func (g *grower) developable(run []int32) bool {
	in := map[int32]bool{}
	for _, f := range run {
		in[f] = true
	}
	type star struct {
		angle, turn, shortest float64
		border                bool
	}
	stars := map[int32]*star{}
	at := func(v int32) *star {
		s := stars[v]
		if s == nil {
			s = &star{shortest: math.Inf(1)}
			stars[v] = s
		}
		return s
	}
	for _, f := range run {
		for _, t := range g.facet[f].triangles {
			k := g.Triangles[t]
			for i, v := range k {
				u := g.Vertices[k[(i+1)%3]].Sub(g.Vertices[v])
				w := g.Vertices[k[(i+2)%3]].Sub(g.Vertices[v])
				s := at(v)
				s.angle += math.Atan2(u.Cross(w).Len(), u.Dot(w))
				s.shortest = min(s.shortest, u.Len(), w.Len())
			}
		}
		for i := range g.side[f] {
			s := &g.side[f][i]
			for _, h := range s.half {
				a, b := g.ends(h)
				for _, v := range [2]int32{a, b} {
					at(v).turn += s.angle / 2 // each side is seen from both of its facets
					at(v).border = at(v).border || !in[s.to]
				}
			}
		}
	}
	inner, bad := 0, 0
	for _, s := range stars { // only counts leave this loop, so order is free
		if s.border {
			continue
		}
		inner++
		if math.Abs(2*math.Pi-s.angle) > 0.01*s.turn*s.turn+8*g.rounding/s.shortest {
			bad++
		}
	}
	return bad*50 <= inner
}

// measure fills in what is told of a face beside its geometry.
func (g *grower) measure(i int) {
	face := &g.found[i]
	for _, f := range g.parts[i] {
		if face.Exact() {
			for _, v := range g.corner[f] {
				face.Residual = max(face.Residual, math.Abs(face.Distance(g.Vertices[v])))
			}
		}
		switch face.Kind {
		case Cylinder, Cone, Sphere:
			// Half a facet's turn is what its normal strays by at a vertex that
			// lies on the surface. A facet that was cut may lie askew, and is
			// passed over.
			q, deep := face.round(), 0.0
			for _, v := range g.corner[f] {
				p := g.Vertices[v]
				if math.Abs(q.distance(p)) > 4*g.tol {
					deep = 0
					break
				}
				m, n := q.normal(p), g.facet[f].normal
				turn := math.Atan2(m.Cross(n).Len(), math.Abs(m.Dot(n)))
				deep = max(deep, q.bend(p)*(1-math.Cos(turn)))
			}
			face.Sag = max(face.Sag, deep)
		case Developable, Free:
			// A chord of length w whose ends turn by a strays by about wa/8.
			for j := range g.side[f] {
				s := &g.side[f][j]
				if g.face[s.to] == int32(i) {
					w := min(g.across(f, s), g.across(s.to, s))
					face.Sag = max(face.Sag, w*s.angle/8)
				}
			}
		}
	}
	if face.Kind == Cylinder || face.Kind == Cone {
		g.extents(i)
	}
}

// extents finds how far a cylinder or cone goes along and round its axis, and
// puts its origin where it begins.
func (g *grower) extents(i int) {
	face := &g.found[i]
	if face.Kind == Cone && face.Slope < 0 || face.Kind == Cylinder && backward(face.Frame.Z) {
		face.Frame = geom.FrameFromZ(face.Frame.Origin, face.Frame.Z.Neg())
		face.Slope = -face.Slope
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	type arc struct{ from, to float64 }
	var arcs []arc
	for _, f := range g.parts[i] {
		n := face.Frame.LocalDir(g.facet[f].normal)
		middle := math.Atan2(n.Y, n.X)
		if face.Hollow {
			middle = math.Atan2(-n.Y, -n.X)
		}
		a := arc{0, 0}
		for _, v := range g.corner[f] {
			l := face.Frame.Local(g.Vertices[v])
			lo, hi = min(lo, l.Z), max(hi, l.Z)
			if math.Hypot(l.X, l.Y) > 8*g.tol {
				d := math.Remainder(math.Atan2(l.Y, l.X)-middle, 2*math.Pi)
				a.from, a.to = min(a.from, d), max(a.to, d)
			}
		}
		from := math.Mod(middle+a.from+4*math.Pi, 2*math.Pi)
		arcs = append(arcs, arc{from, from + a.to - a.from})
	}
	slices.SortFunc(arcs, func(a, b arc) int { return cmp.Compare(a.from, b.from) })
	reach, gap := arcs[0].from, 0.0
	for _, a := range append(arcs, arc{arcs[0].from + 2*math.Pi, 0}) {
		// The last arc round the start may reach past the first.
		gap = max(gap, a.from-reach)
		reach = max(reach, a.to)
	}
	face.Full = gap < 1e-3
	face.Frame.Origin = face.Frame.Point(geom.V3(0, 0, lo))
	face.Radius += face.Slope * lo
	face.From, face.To = 0, hi-lo
}

// backward reports whether a direction points down the axis it is nearest to,
// the earlier axis in a tie.
func backward(d geom.Vec3) bool {
	x, y, z := math.Abs(d.X), math.Abs(d.Y), math.Abs(d.Z)
	const near = 1e-6
	switch {
	case x >= y-near && x >= z-near:
		return d.X < 0
	case y >= z-near:
		return d.Y < 0
	}
	return d.Z < 0
}
