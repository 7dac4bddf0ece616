package printing

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// pose is a candidate.
type pose struct {
	frame    geom.Frame // Local carries world points to the pose; sizes without shrinkage
	why      []Reason
	cost     float64 // all but the strength
	seconds  float64 // about, by itself
	grams    float64 // about
	overhang float64 // mm²
	under    float64 // mm³ beneath overhangs
	support  Support
	across   *Across
	borne    float64 // what the tension across its layers costs, beside cost
	sided    bool    // on no face because layers would part on every one
	standing float64 // 0 to 1, how far a long body stands where no stress is known
	contact  geom.Polygon
	mating   []int // of the mating planes, those on the bed
	flat     bool
}

// body is a segment's mesh with what all its poses need.
type body struct {
	points    []geom.Vec3
	triangles [][3]int32
	normals   []geom.Vec3 // of each triangle, unit
	areas     []float64   // of each triangle
	beside    [][3]int32  // of each triangle: its neighbour over the edge from corner i
	bends     []bend
	faces     []direction // outward, flat faces that can carry the body, largest first
	volume    float64
	area      float64
	centre    geom.Vec3    // of mass
	axes      [3]geom.Vec3 // of inertia of the surface, longest first
	spread    [3]float64   // √ of the surface's second moments / area along axes, mm
	moments   [3]float64   // second moments of the solid about its centre, falling, mm^5
}

// onBed is how far, mm, a point may lie above the lowest and still rest on the
// bed: less than any first layer, more than the rounding of a mesh.
const onBed = 0.02

func newBody(points []geom.Vec3, triangles [][3]int32) *body {
	b := &body{points: points, triangles: triangles}
	b.normals = make([]geom.Vec3, len(triangles))
	b.areas = make([]float64, len(triangles))
	b.beside = make([][3]int32, len(triangles))
	waiting := make(map[uint64][2]int32, len(triangles)*3/2)
	dirs := make([]direction, 0, len(triangles))
	o := points[0]
	var mean geom.Vec3
	for i, t := range triangles {
		p, q, r := points[t[0]], points[t[1]], points[t[2]]
		n := q.Sub(p).Cross(r.Sub(p))
		l := n.Len()
		b.areas[i] = l / 2
		b.area += l / 2
		if l > 0 {
			b.normals[i] = n.Scale(1 / l)
		}
		dirs = append(dirs, direction{b.normals[i], l / 2})
		v := p.Sub(o).Dot(q.Sub(o).Cross(r.Sub(o))) / 6
		b.volume += v
		b.centre = b.centre.Add(p.Add(q).Add(r).Sub(o.Scale(3)).Scale(v / 4))
		mean = mean.Add(p.Add(q).Add(r).Scale(l / 6))
		for j := range 3 {
			key := edgeKey(t[j], t[(j+1)%3])
			b.beside[i][j] = int32(i)
			if w, ok := waiting[key]; ok {
				b.beside[i][j] = w[0]
				b.beside[w[0]][w[1]] = int32(i)
				delete(waiting, key)
			} else {
				waiting[key] = [2]int32{int32(i), int32(j)}
			}
		}
	}
	b.centre = b.centre.Scale(1 / b.volume).Add(o)
	mean = mean.Scale(1 / b.area)
	var surface, solid [3][3]float64
	for i, t := range triangles {
		p, q, r := points[t[0]], points[t[1]], points[t[2]]
		addMoments(&surface, p.Sub(mean), q.Sub(mean), r.Sub(mean), geom.Vec3{}, b.areas[i]/12)
		p, q, r = p.Sub(b.centre), q.Sub(b.centre), r.Sub(b.centre)
		addMoments(&solid, p, q, r, geom.Vec3{}, p.Dot(q.Cross(r))/120)
	}
	var axes [3]geom.Vec3
	b.moments, _ = symmetric(solid)
	b.spread, axes = symmetric(surface)
	for i := range b.spread {
		b.spread[i] = math.Sqrt(max(0, b.spread[i]) / b.area)
		b.axes[i] = axes[i]
	}
	b.bends = b.bendsOf()
	b.faces = b.flatFaces(dirs)
	return b
}

// addMoments adds k (s sᵀ + Σ v vᵀ) over the corners v and their sum s: the
// second moments of a triangle with k = area/12, of a tetrahedron with a corner
// at the origin with k = volume/20 = det/120.
func addMoments(m *[3][3]float64, p, q, r, o geom.Vec3, k float64) {
	s := p.Add(q).Add(r).Add(o)
	for _, v := range []geom.Vec3{s, p, q, r} {
		c := [3]float64{v.X, v.Y, v.Z}
		for i := range 3 {
			for j := range 3 {
				m[i][j] += k * c[i] * c[j]
			}
		}
	}
}

// symmetric is the eigenvalues, falling, and unit eigenvectors of a symmetric
// matrix, by Jacobi's rotations.
func symmetric(m [3][3]float64) (values [3]float64, vectors [3]geom.Vec3) {
	v := [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	for range 40 {
		for p := range 2 {
			for q := p + 1; q < 3; q++ {
				if m[p][q] == 0 {
					continue
				}
				theta := (m[q][q] - m[p][p]) / (2 * m[p][q])
				t := 1 / (math.Abs(theta) + math.Hypot(theta, 1))
				if theta < 0 {
					t = -t
				}
				c := 1 / math.Hypot(t, 1)
				s := t * c
				for k := range 3 {
					m[k][p], m[k][q] = c*m[k][p]-s*m[k][q], s*m[k][p]+c*m[k][q]
				}
				for k := range 3 {
					m[p][k], m[q][k] = c*m[p][k]-s*m[q][k], s*m[p][k]+c*m[q][k]
					v[k][p], v[k][q] = c*v[k][p]-s*v[k][q], s*v[k][p]+c*v[k][q]
				}
			}
		}
	}
	order := []int{0, 1, 2}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(m[b][b], m[a][a]) })
	for i, o := range order {
		values[i], vectors[i] = m[o][o], geom.V3(v[0][o], v[1][o], v[2][o])
	}
	return values, vectors
}

// flatFaces are the outward directions of flat faces that no point lies
// beyond, with the area that would rest on the bed.
func (b *body) flatFaces(dirs []direction) []direction {
	// Facets of curves are left out early: they are many and carry nothing.
	const least = 20 // mm²
	coarse := map[[3]int32]*direction{}
	var order [][3]int32
	for _, d := range dirs {
		key := [3]int32{int32(math.Round(d.n.X * 1e4)), int32(math.Round(d.n.Y * 1e4)), int32(math.Round(d.n.Z * 1e4))}
		if coarse[key] == nil {
			coarse[key] = &direction{n: d.n}
			order = append(order, key)
		}
		c := coarse[key]
		if d.area > 0 && c.area == 0 {
			c.n = d.n
		}
		c.area += d.area
	}
	var large []direction
	for _, key := range order {
		if c := coarse[key]; c.area >= least/4 {
			large = append(large, *c)
		}
	}
	// The facets of a fine turning are thousands; a face to lie on is among the
	// largest few.
	const most = 256
	slices.SortStableFunc(large, func(a, b direction) int { return cmp.Compare(b.area, a.area) })
	var out []direction
	for _, d := range mergeDirections(large[:min(len(large), most)]) {
		reach := math.Inf(-1)
		for _, p := range b.points {
			reach = max(reach, p.Dot(d.n))
		}
		d.area = 0
		for i, t := range b.triangles {
			if b.normals[i].Dot(d.n) > sameWay && b.points[t[0]].Dot(d.n) > reach-onBed &&
				b.points[t[1]].Dot(d.n) > reach-onBed && b.points[t[2]].Dot(d.n) > reach-onBed {
				d.area += b.areas[i]
			}
		}
		if d.area >= least {
			out = append(out, d)
		}
	}
	slices.SortStableFunc(out, func(a, b direction) int { return cmp.Compare(b.area, a.area) })
	return out[:min(len(out), maxCandidates)]
}

// choose is the pose with the least cost. It returns false if none fits.
func (b *body) choose(s *setting) (pose, bool) {
	if s.down != nil {
		f, ok := fitDown(b.points, s.down.Unit(), s.room)
		if !ok {
			return pose{}, false
		}
		return b.judge(f, s, true), true
	}
	var poses []pose
	for _, face := range b.faces {
		if f, ok := fitDown(b.points, face.n, s.room); ok {
			poses = append(poses, b.judge(f, s, true))
		}
	}
	if i := s.best(poses); i >= 0 && (poses[i].across == nil || !(poses[i].across.Margin < enough)) {
		return poses[i], true
	}
	if len(poses) > 0 {
		// Layers would part on every face, so a turning may do better on its side.
		for _, a := range b.axes {
			for _, down := range []geom.Vec3{a, a.Neg()} {
				if slices.ContainsFunc(b.faces, func(f direction) bool { return f.n.Dot(down) > sameWay }) {
					continue
				}
				if f, ok := fitDown(b.points, down, s.room); ok {
					p := b.judge(f, s, false)
					p.sided = true
					poses = append(poses, p)
				}
			}
		}
		i := s.best(poses)
		return poses[i], true
	}
	// A body without a flat face stands on the end of one of its own axes.
	downs := b.faces
	if len(downs) == 0 {
		for _, a := range b.axes {
			downs = append(downs, direction{n: a}, direction{n: a.Neg()})
		}
	}
	for _, d := range downs {
		f, ok := fitDown(b.points, d.n, s.room)
		if !ok {
			f, ok = fitTilted(b.points, d.n, s.room)
		}
		if ok {
			poses = append(poses, b.judge(f, s, false))
		}
	}
	if len(poses) == 0 {
		// What was cut to fit by Fits must not be refused here.
		f, ok := fitsIn(b.points, s.room)
		if !ok {
			return pose{}, false
		}
		poses = append(poses, b.judge(f, s, false))
	}
	return poses[s.best(poses)], true
}

// askew is the least angle, radians, between a long side of a hull and the
// bed's axes; sides of half the longest are long.
func askew(h geom.Polygon) float64 {
	longest := 0.0
	for i, q := range h {
		longest = max(longest, h[(i+1)%len(h)].Dist(q))
	}
	least := math.Pi / 4
	for i, q := range h {
		if d := h[(i+1)%len(h)].Sub(q); d.Len() >= longest/2 {
			least = min(least, math.Abs(math.Remainder(d.Angle(), math.Pi/2)))
		}
	}
	return least
}

// ledge is how far, mm, an overhang may stand out from a wall without support:
// about two beads (common practice, no source).
const ledge = 1.0

// How far a facet may lean out, as the cosine of its normal to the plumb line: by
// 45 degrees from the vertical, or by 30 where nothing of a body lies flat on the
// bed, for there supports alone hold it up (common practice, no source).
const (
	leanFooted   = math.Sqrt2/2 + 1e-3
	leanUnfooted = 0.5
)

// overhang is the area, mm², of facets that lean out by more than lean and have
// neither bed nor bridge beneath, and the volume, mm³, beneath them down to the
// bed or to the body itself.
//
// A connected patch of such facets is a bridge, and printed without supports,
// if it is nowhere wider than the given span (the least width of its hull seen
// from above) and at least 60 % of its rim stands on walls that go down from
// it: the roof of a lying bore does, the underside of a ledge, held along one
// side only, does not. A ledge no wider than two beads needs nothing beneath.
func (b *body) overhang(f geom.Frame, bridge, lean float64) (area, volume float64) {
	down := f.Z.Neg()
	z := make([]float64, len(b.points))
	for i, p := range b.points {
		z[i] = f.Local(p).Z
	}
	hangs := make([]bool, len(b.triangles))
	for i, t := range b.triangles {
		hangs[i] = b.normals[i].Dot(down) > lean && max(z[t[0]], z[t[1]], z[t[2]]) > onBed
	}
	var ground *relief // made when first needed
	done := make([]bool, len(b.triangles))
	for i := range b.triangles {
		if !hangs[i] || done[i] {
			continue
		}
		patch := []int32{int32(i)}
		done[i] = true
		patchArea, rim, held := 0.0, 0.0, 0.0
		var seen []geom.Vec2
		for n := 0; n < len(patch); n++ {
			k := patch[n]
			t := b.triangles[k]
			patchArea += b.areas[k]
			for j := range 3 {
				a, c := t[j], t[(j+1)%3]
				seen = append(seen, f.Local(b.points[a]).XY())
				o := b.beside[k][j]
				if hangs[o] {
					if !done[o] {
						done[o] = true
						patch = append(patch, o)
					}
					continue
				}
				length := b.points[a].Dist(b.points[c])
				rim += length
				third := b.triangles[o][0] + b.triangles[o][1] + b.triangles[o][2] - a - c
				if z[third] < (z[a]+z[c])/2-1e-3 {
					held += length
				}
			}
		}
		if w := width(hull2(seen)); w <= ledge || held >= 0.6*rim && w <= bridge {
			continue
		}
		area += patchArea
		if ground == nil {
			ground = b.relief(f)
		}
		for _, k := range patch {
			t := b.triangles[k]
			middle := f.Local(b.points[t[0]].Add(b.points[t[1]]).Add(b.points[t[2]]).Scale(1. / 3))
			volume += b.areas[k] * b.normals[k].Dot(down) * (middle.Z - ground.below(middle))
		}
	}
	return area, volume
}

// relief is a posed body's facets that face up, by the squares of a grid that
// they reach into.
type relief struct {
	facets [][3]geom.Vec3
	cell   float64
	min    geom.Vec2
	nx, ny int
	in     [][]int32
}

func (b *body) relief(f geom.Frame) *relief {
	r := &relief{}
	box := geom.EmptyBox2()
	for i, t := range b.triangles {
		if b.normals[i].Dot(f.Z) > 1e-3 {
			c := [3]geom.Vec3{f.Local(b.points[t[0]]), f.Local(b.points[t[1]]), f.Local(b.points[t[2]])}
			r.facets = append(r.facets, c)
			box = box.Add(c[0].XY()).Add(c[1].XY()).Add(c[2].XY())
		}
	}
	if len(r.facets) == 0 {
		return r
	}
	const side = 32
	r.min = box.Min
	r.cell = max(box.Size().X, box.Size().Y) / side
	r.nx, r.ny = int(box.Size().X/r.cell)+1, int(box.Size().Y/r.cell)+1
	r.in = make([][]int32, r.nx*r.ny)
	for i, c := range r.facets {
		x0, y0 := r.square(geom.V2(min(c[0].X, c[1].X, c[2].X), min(c[0].Y, c[1].Y, c[2].Y)))
		x1, y1 := r.square(geom.V2(max(c[0].X, c[1].X, c[2].X), max(c[0].Y, c[1].Y, c[2].Y)))
		for y := y0; y <= y1; y++ {
			for x := x0; x <= x1; x++ {
				r.in[y*r.nx+x] = append(r.in[y*r.nx+x], int32(i))
			}
		}
	}
	return r
}

func (r *relief) square(p geom.Vec2) (x, y int) {
	d := p.Sub(r.min)
	return max(0, min(r.nx-1, int(d.X/r.cell))), max(0, min(r.ny-1, int(d.Y/r.cell)))
}

// below is the height of what lies beneath a point, 0 for the bed.
func (r *relief) below(p geom.Vec3) float64 {
	if len(r.facets) == 0 {
		return 0
	}
	x, y := r.square(p.XY())
	top := 0.0
	for _, i := range r.in[y*r.nx+x] {
		c := r.facets[i]
		a, u, v := c[0].XY(), c[1].XY().Sub(c[0].XY()), c[2].XY().Sub(c[0].XY())
		d := u.Cross(v)
		q := p.XY().Sub(a)
		s, t := q.Cross(v)/d, u.Cross(q)/d
		if s < 0 || t < 0 || s+t > 1 {
			continue
		}
		if z := c[0].Z + s*(c[1].Z-c[0].Z) + t*(c[2].Z-c[0].Z); z < p.Z-onBed {
			top = max(top, z)
		}
	}
	return top
}

// signature is what congruent bodies have in common, however they lie and
// whichever hand they are.
func (b *body) signature() []float64 {
	s := []float64{
		math.Cbrt(b.volume), math.Sqrt(b.area), b.spread[0], b.spread[1], b.spread[2],
		math.Pow(max(0, b.moments[0]), 0.2), math.Pow(max(0, b.moments[1]), 0.2), math.Pow(max(0, b.moments[2]), 0.2),
	}
	far := 0.0
	for _, p := range b.points {
		far = max(far, p.Dist(b.centre))
	}
	return append(s, far)
}

// alike is how near, mm, the lengths of a signature must be for two bodies to
// count as the same shape.
const alike = 2e-4

func sameShape(a, b []float64) bool {
	return slices.EqualFunc(a, b, func(x, y float64) bool { return math.Abs(x-y) <= alike })
}
