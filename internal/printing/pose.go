package printing

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// Reason is one term in the choice of a pose. The pose with the least sum of
// costs is taken; costs have no unit.
type Reason struct {
	Name  string  // tilted, supports, strength, steadiness, height, mating-face, diagonal
	Value float64 // what was measured: degrees, mm², fraction, fraction, mm, mm², degrees
	Cost  float64
}

// pose is a candidate.
type pose struct {
	frame    geom.Frame // Local carries world points to the pose; sizes without shrinkage
	why      []Reason
	cost     float64
	overhang float64 // mm²
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

// choose is the pose with the least cost in the usable volume u, in core sizes
// (shrinkage already taken off). along is the direction of the greatest pull,
// or zero. It returns false if none fits.
func (b *body) choose(u, along geom.Vec3, mating []geom.Plane, bridge float64) (pose, bool) {
	var best pose
	found := false
	for _, face := range b.faces {
		f, ok := fitDown(b.points, face.n, u)
		if !ok {
			continue
		}
		if p := b.judge(f, u, along, mating, bridge, true); !found || p.cost < best.cost-1e-9 {
			best, found = p, true
		}
	}
	if found {
		return best, true
	}
	// A body without a flat face stands on the end of one of its own axes.
	downs := b.faces
	if len(downs) == 0 {
		for _, a := range b.axes {
			downs = append(downs, direction{n: a}, direction{n: a.Neg()})
		}
	}
	for _, d := range downs {
		f, ok := fitDown(b.points, d.n, u)
		if !ok {
			f, ok = fitTilted(b.points, d.n, u)
		}
		if !ok {
			continue
		}
		if p := b.judge(f, u, along, mating, bridge, false); !found || p.cost < best.cost-1e-9 {
			best, found = p, true
		}
	}
	return best, found
}

// judge costs a pose.
func (b *body) judge(f geom.Frame, u, along geom.Vec3, mating []geom.Plane, bridge float64, flat bool) pose {
	p := pose{frame: f, flat: flat}
	add := func(name string, value, cost float64) {
		p.why = append(p.why, Reason{name, value, cost})
		p.cost += cost
	}
	down := f.Z.Neg()
	box := geom.EmptyBox3()
	all := make([]geom.Vec2, len(b.points))
	var rest []geom.Vec2
	for i, q := range b.points {
		l := f.Local(q)
		box = box.Add(l)
		all[i] = l.XY()
		if l.Z < onBed {
			rest = append(rest, l.XY())
		}
	}
	outline := hull2(all)
	p.contact = hull2(rest)
	contact := 0.0
	for i, t := range b.triangles {
		if b.normals[i].Dot(down) > sameWay && f.Local(b.points[t[0]]).Z < onBed && f.Local(b.points[t[1]]).Z < onBed && f.Local(b.points[t[2]]).Z < onBed {
			contact += b.areas[i]
		}
	}
	if !flat {
		least := math.Pi / 2
		for _, face := range b.faces {
			least = min(least, math.Acos(max(-1, min(1, face.n.Dot(down)))))
		}
		add("tilted", least*180/math.Pi, 100)
	}
	p.overhang = b.overhang(f, bridge)
	// A tenth of the footprint in need of supports weighs as much as a body as
	// high as the printer.
	add("supports", p.overhang, 10*p.overhang/outline.Area())
	// Layers part before they tear, so a long body lies down. Slenderness runs
	// from 0 for a cube to 1 for a thread.
	slender, axis := 0.0, b.axes[0]
	if b.spread[0] > 0 {
		slender = 1 - b.spread[1]/b.spread[0]
	}
	if along != (geom.Vec3{}) {
		slender, axis = 1, along.Unit()
	}
	rise := axis.Dot(f.Z)
	add("strength", math.Abs(rise), 3*slender*rise*rise)
	share := contact / outline.Area()
	unsteady := 1 - min(1, share)
	if centre := f.Local(b.centre).XY(); len(p.contact) < 3 || !p.contact.Contains(centre) {
		unsteady += 2
	}
	add("steadiness", share, unsteady)
	height := box.Size().Z
	add("height", height, height/u.Z)
	for i, m := range mating {
		if m.Normal.Dot(down) > sameWay && math.Abs(f.Local(m.Normal.Scale(m.D)).Z) < onBed*2 {
			p.mating = append(p.mating, i)
		}
	}
	if len(p.mating) > 0 {
		add("mating-face", contact, 0.1) // decides between like faces only: breaking an edge is little work
	}
	skew := math.Remainder(outlineTurn(outline), math.Pi/2)
	if math.Abs(skew) > 1e-6 {
		add("diagonal", math.Abs(skew)*180/math.Pi, 0.05)
	}
	return p
}

// outlineTurn is the direction of a hull's longest side.
func outlineTurn(h geom.Polygon) float64 {
	var long geom.Vec2
	for i, q := range h {
		if d := h[(i+1)%len(h)].Sub(q); d.Len() > long.Len()+1e-6 {
			long = d
		}
	}
	return long.Angle()
}

// ledge is how far, mm, an overhang may stand out from a wall without support:
// about two beads (common practice, no source).
const ledge = 1.0

// overhang is the area, mm², of facets that lean out by more than 45 degrees
// from the vertical and have neither bed nor bridge beneath.
//
// A connected patch of such facets is a bridge, and printed without supports,
// if it is nowhere wider than the given span (the least width of its hull seen
// from above) and at least 60 % of its rim stands on walls that go down from
// it: the roof of a lying bore does, the underside of a ledge, held along one
// side only, does not. A ledge no wider than two beads needs nothing beneath.
func (b *body) overhang(f geom.Frame, bridge float64) float64 {
	const lean = math.Sqrt2/2 + 1e-3
	down := f.Z.Neg()
	z := make([]float64, len(b.points))
	for i, p := range b.points {
		z[i] = f.Local(p).Z
	}
	hangs := make([]bool, len(b.triangles))
	for i, t := range b.triangles {
		hangs[i] = b.normals[i].Dot(down) > lean && max(z[t[0]], z[t[1]], z[t[2]]) > onBed
	}
	total := 0.0
	done := make([]bool, len(b.triangles))
	for i := range b.triangles {
		if !hangs[i] || done[i] {
			continue
		}
		patch := []int32{int32(i)}
		done[i] = true
		area, rim, held := 0.0, 0.0, 0.0
		var seen []geom.Vec2
		for n := 0; n < len(patch); n++ {
			k := patch[n]
			t := b.triangles[k]
			area += b.areas[k]
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
		total += area
	}
	return total
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
