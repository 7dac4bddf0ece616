package unfold

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// finder is filled in by Flatten.
type finder struct {
	apexes []int32 // vertices that are sharp points of the surface
	flat   *tree   // flat triangles in the plane z = 0
	space  *tree
	near   float64 // distance below which points are the same, mm
	bend   []form  // per vertex
}

// form is a symmetric form on the chart: the curvature of the surface along
// the chart direction d is xx dx² + 2 xy dx dy + yy dy².
type form struct{ xx, xy, yy float64 }

func (f form) along(d geom.Vec2) float64 { return f.xx*d.X*d.X + 2*f.xy*d.X*d.Y + f.yy*d.Y*d.Y }

func (f form) add(g form, k float64) form { return form{f.xx + k*g.xx, f.xy + k*g.xy, f.yy + k*g.yy} }

// greatest is the eigenvalue of greatest magnitude and its direction.
func (f form) greatest() (k float64, d geom.Vec2) {
	mean, half := (f.xx+f.yy)/2, math.Hypot((f.xx-f.yy)/2, f.xy)
	a := math.Atan2(2*f.xy, f.xx-f.yy) / 2 // of mean + half
	if k = mean + half; mean < 0 {
		k, a = mean-half, a+math.Pi/2
	}
	s, c := math.Sincos(a)
	return k, geom.V2(c, s)
}

func (p *Patch) flatTree() *tree {
	return newTree(len(p.Triangles), func(t int) (a, b, c geom.Vec3) {
		i := p.Triangles[t]
		lift := func(q geom.Vec2) geom.Vec3 { return geom.V3(q.X, q.Y, 0) }
		return lift(p.Flat[i[0]]), lift(p.Flat[i[1]]), lift(p.Flat[i[2]])
	})
}

func (p *Patch) index(f finder) finder {
	f.flat = p.flatTree()
	f.space = newTree(len(p.Triangles), func(t int) (a, b, c geom.Vec3) {
		i := p.Triangles[t]
		return p.Vertices[i[0]], p.Vertices[i[1]], p.Vertices[i[2]]
	})
	box := geom.EmptyBox3()
	for _, v := range p.Vertices {
		box = box.Add(v)
	}
	f.near = 1e-9 * box.Size().Len()
	f.bend = p.forms()
	return f
}

// forms estimates the curvature at each vertex: in every triangle the form
// that best explains how the normals change along its sides (Rusinkiewicz,
// Estimating curvatures and their derivatives on triangle meshes, 2004), and
// the mean of those round a vertex by area.
func (p *Patch) forms() []form {
	fs := make([]form, len(p.Vertices))
	weight := make([]float64, len(p.Vertices))
	for t, c := range p.Triangles {
		u, v, ok := p.frame(t)
		if !ok {
			continue
		}
		u, v = u.Unit(), v.Unit()
		var e [3]geom.Vec2
		var l [3]float64
		var dn [3]geom.Vec2
		for k := range 3 {
			i, j := c[k], c[(k+1)%3]
			e[k] = p.Flat[j].Sub(p.Flat[i])
			l[k] = p.Vertices[i].Dist(p.Vertices[j]) // the chart's own length is off by the strain
			d := p.Normals[j].Sub(p.Normals[i])
			dn[k] = geom.V2(d.Dot(u), d.Dot(v))
		}
		x, ok := explain(e, l, dn)
		if !ok {
			continue
		}
		area := p.facet(t).Len()
		for _, i := range c {
			fs[i] = fs[i].add(x, area)
			weight[i] += area
		}
	}
	for i, w := range weight {
		if w > 0 {
			fs[i] = form{}.add(fs[i], 1/w)
		}
	}
	return fs
}

// explain is the form S that best meets S e = Δn for a triangle's sides, given
// by their directions e, lengths l and changes of normal dn.
func explain(e [3]geom.Vec2, l [3]float64, dn [3]geom.Vec2) (form, bool) {
	var a [3][4]float64
	row := func(r [3]float64, b float64) {
		for i := range 3 {
			for j := range 3 {
				a[i][j] += r[i] * r[j]
			}
			a[i][3] += r[i] * b
		}
	}
	for k := range 3 {
		if l[k] == 0 {
			continue
		}
		d, b := e[k].Unit(), dn[k].Scale(1/l[k])
		row([3]float64{d.X, d.Y, 0}, b.X)
		row([3]float64{0, d.X, d.Y}, b.Y)
	}
	x, ok := solve3(a)
	return form{x[0], x[1], x[2]}, ok
}

// solve3 solves three equations given with their right-hand sides.
func solve3(a [3][4]float64) (x [3]float64, ok bool) {
	for i := range 3 {
		big := i
		for j := i + 1; j < 3; j++ {
			if math.Abs(a[j][i]) > math.Abs(a[big][i]) {
				big = j
			}
		}
		if a[i], a[big] = a[big], a[i]; math.Abs(a[i][i]) < 1e-12 {
			return x, false
		}
		for j := i + 1; j < 3; j++ {
			f := a[j][i] / a[i][i]
			for k := i; k < 4; k++ {
				a[j][k] -= f * a[i][k]
			}
		}
	}
	for i := 2; i >= 0; i-- {
		s := a[i][3]
		for k := i + 1; k < 3; k++ {
			s -= a[i][k] * x[k]
		}
		x[i] = s / a[i][i]
	}
	return x, true
}

// locate is the flat triangle that q is in or nearest to, and q's coordinates
// among its corners: free extends the triangle's plane to points outside the
// patch, held gives the nearest point on it.
func (p *Patch) locate(q geom.Vec2) (t int32, free, held [3]float64) {
	z := geom.V3(q.X, q.Y, 0)
	t, _, held = p.flat.nearest(z)
	c := p.Triangles[t]
	o := p.Flat[c[0]]
	a, b, d := p.Flat[c[1]].Sub(o), p.Flat[c[2]].Sub(o), q.Sub(o)
	det := a.Cross(b)
	if math.Abs(det) <= sliver*max(a.Dot(a), b.Dot(b)) {
		return t, held, held
	}
	y, w := d.Cross(b)/det, a.Cross(d)/det
	return t, [3]float64{1 - y - w, y, w}, held
}

// Point carries a chart point to space. Outside the patch the nearest triangle
// is extended. Where the flat patch lies on itself, either sheet may answer.
func (p *Patch) Point(uv geom.Vec2) geom.Vec3 {
	t, w, _ := p.locate(uv)
	return mix(p.Vertices, p.Triangles[t], w)
}

// Normal is the unit normal out of the body at a chart point, interpolated
// between the vertices; outside the patch that of the nearest point.
func (p *Patch) Normal(uv geom.Vec2) geom.Vec3 {
	t, _, w := p.locate(uv)
	return mix(p.Normals, p.Triangles[t], w).Unit()
}

// mix is the weighted sum at the corners of a triangle, taken from the first
// corner so that weights that sum to one but for rounding do no harm.
func mix(v []geom.Vec3, c [3]int32, w [3]float64) geom.Vec3 {
	o := v[c[0]]
	return o.Add(v[c[1]].Sub(o).Scale(w[1])).Add(v[c[2]].Sub(o).Scale(w[2]))
}

func mix2(v []geom.Vec2, c [3]int32, w [3]float64) geom.Vec2 {
	o := v[c[0]]
	return o.Add(v[c[1]].Sub(o).Scale(w[1])).Add(v[c[2]].Sub(o).Scale(w[2]))
}

// Chart carries the point of the patch that is nearest to p in space to the
// chart. On a cut it lies on the side with the lower u, then the lower v.
func (p *Patch) Chart(q geom.Vec3) geom.Vec2 { return p.Charts(q)[0] }

// Charts lists all chart points of the point of the patch that is nearest to
// q in space, by u, then v: more than one where it lies on a cut.
func (p *Patch) Charts(q geom.Vec3) []geom.Vec2 {
	_, d, _ := p.space.nearest(q)
	var out []geom.Vec2
	for _, t := range p.space.within(q, d+1e-3*p.near) {
		_, w := p.space.closest(t, q)
		uv := mix2(p.Flat, p.Triangles[t], w)
		if !slices.ContainsFunc(out, func(o geom.Vec2) bool { return o.Dist(uv) <= 16*p.near }) {
			out = append(out, uv)
		}
	}
	slices.SortFunc(out, func(a, b geom.Vec2) int {
		if math.Abs(a.X-b.X) > 16*p.near {
			return cmp.Compare(a.X, b.X)
		}
		return cmp.Compare(a.Y, b.Y)
	})
	return out
}

// Contains reports whether a chart point lies in the patch, its border included.
func (p *Patch) Contains(uv geom.Vec2) bool {
	_, d, _ := p.flat.nearest(geom.V3(uv.X, uv.Y, 0))
	return d <= p.near
}

// Border is the border in the chart: the outer loop, counter-clockwise, then
// the holes, clockwise. Where the flat patch lies on itself the loop crosses
// itself.
func (p *Patch) Border() geom.Polygons {
	m := p.mesh()
	if err := m.link(); err != nil {
		panic("unfold: " + err.Error())
	}
	var ps geom.Polygons
	for _, l := range m.borders() {
		g := make(geom.Polygon, len(l))
		for i, h := range l {
			g[i] = p.Flat[m.from(h)]
		}
		ps = append(ps, g)
	}
	slices.SortStableFunc(ps, func(a, b geom.Polygon) int { return cmp.Compare(b.Area(), a.Area()) })
	return ps
}

// Area is the area of the surface in mm².
func (p *Patch) Area() float64 {
	sum := 0.0
	for t := range p.Triangles {
		sum += p.facet(t).Len() / 2
	}
	return sum
}

// Curvature is the curvature of the surface in 1/mm at a chart point along a
// chart direction, positive where the body is convex. It is estimated from the
// normals: right to second order in the length of the triangles' sides, first
// order at a border.
func (p *Patch) Curvature(uv, dir geom.Vec2) float64 {
	t, _, w := p.locate(uv)
	var f form
	for i, v := range p.Triangles[t] {
		f = f.add(p.bend[v], w[i])
	}
	return f.along(dir.Unit())
}

// Tightest is the smallest radius to which the surface bends anywhere, +Inf if
// it is flat: whether it is hollow there, seen from outside, the chart point,
// and the chart direction in which it bends.
func (p *Patch) Tightest() (radius float64, hollow bool, at, bends geom.Vec2) {
	most := 0.0
	for i, f := range p.bend {
		k, d := f.greatest()
		if math.Abs(k) > math.Abs(most)*(1+1e-9) {
			most, at, bends = k, p.Flat[i], d
		}
	}
	if math.Abs(most)*p.near <= 1e-15 { // flatter than 1e6 of its own size
		return math.Inf(1), false, at, geom.V2(1, 0)
	}
	return 1 / math.Abs(most), most < 0, at, bends
}

// Carry maps a chart point of p to the chart of to, which must have the same
// triangles, as Offset makes it. Points outside the border go with the nearest
// triangle.
func (p *Patch) Carry(q geom.Vec2, to *Patch) geom.Vec2 {
	if len(to.Triangles) != len(p.Triangles) || len(to.Flat) != len(p.Flat) {
		panic("unfold: Carry between patches of different triangles")
	}
	t, w, _ := p.locate(q)
	return mix2(to.Flat, p.Triangles[t], w)
}
