package stress

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/elastic"
	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// body is one seam.Body as it is solved.
type body struct {
	id      string
	frame   geom.Frame // of its first member
	meshes  []mesh     // of its members and pads, which may touch and overlap
	bounds  geom.Box3  // in frame
	plastic *plastic
	parts   []part
	lattice elastic.Lattice
	share   []uint8 // of shell, in steps, by cell
	part    []uint8 // by cell
	cell    float64
	steel   []steeled // materials after the plastics
}

// part is all of a body that is printed with its layers lying one way.
type part struct {
	regions [][]geom.Plane // in the body's frame; none for all of it
	up      geom.Vec3      // in the body's frame
	print   geom.Frame     // in the world, Z across the layers
}

// mesh in the coordinates of its body.
type mesh struct {
	vertices  []geom.Vec3
	triangles [][3]int32
}

func localMesh(m *solid.Mesh, f geom.Frame) mesh {
	out := mesh{triangles: m.Triangles, vertices: make([]geom.Vec3, len(m.Vertices))}
	for i, v := range m.Vertices {
		out.vertices[i] = f.Local(v)
	}
	return out
}

func component(v geom.Vec3, a int) float64 {
	switch a {
	case 0:
		return v.X
	case 1:
		return v.Y
	}
	return v.Z
}

func fromArray(v [3]float64) geom.Vec3 { return geom.V3(v[0], v[1], v[2]) }

// partAt is the part that holds a point of the body's frame, or the nearest.
func (b *body) partAt(p geom.Vec3) int {
	best, least := 0, math.Inf(1)
	for i, pt := range b.parts {
		for _, planes := range pt.regions {
			out := math.Inf(-1)
			for _, pl := range planes {
				out = max(out, pl.Distance(p))
			}
			if out < least {
				best, least = i, out
			}
		}
	}
	return best
}

// shellAt is how thick the shell is under a surface with the given normal: a
// surface that lies is closed by cover layers, one that stands by contours.
func (b *body) shellAt(pt int, normal geom.Vec3) float64 {
	if math.Abs(normal.Dot(b.parts[pt].up)) > 0.7 {
		return b.plastic.covers
	}
	return b.plastic.contours
}

// flat is what of a body's surface lies square to one of its axes at one place.
type flat struct {
	at   float64
	sign float64 // of the outward normal
	area float64
}

// flats lists the surfaces square to an axis, by place.
func (b *body) flats(axis int) []flat {
	var all []flat
	for _, m := range b.meshes {
		for _, t := range m.triangles {
			p, q, r := m.vertices[t[0]], m.vertices[t[1]], m.vertices[t[2]]
			n := q.Sub(p).Cross(r.Sub(p))
			l := n.Len()
			if c := component(n, axis); l > 0 && math.Abs(c) > l*(1-1e-6) {
				all = append(all, flat{component(p, axis), math.Copysign(1, c), l / 2})
			}
		}
	}
	slices.SortFunc(all, func(a, c flat) int {
		if s := cmp.Compare(a.sign, c.sign); s != 0 {
			return s
		}
		return cmp.Compare(a.at, c.at)
	})
	var out []flat
	for _, f := range all {
		if n := len(out); n > 0 && out[n-1].sign == f.sign && f.at-out[n-1].at < 1e-3 {
			out[n-1].area += f.area
			continue
		}
		out = append(out, f)
	}
	return out
}

const (
	mainFace = 0.2  // share of its cross-section that a face square to an axis must have to get a plane
	nearest  = 0.35 // mm; planes are not closer
)

// planes of the lattice. Fine ones lie on every large face square to an axis, on
// the inner side of its shell, and where pads end; rough ones on the layers
// through a board's thickness only, axis thin (-1 for none).
func (b *body) planes(cell float64, rough bool, thin int) (out [3][]float64) {
	size := b.bounds.Size()
	for a := range 3 {
		type mark struct {
			at    float64
			grade int
		}
		lo, hi := component(b.bounds.Min, a), component(b.bounds.Max, a)
		marks := []mark{{lo, 1}, {hi, 1}}
		cross := size.X * size.Y * size.Z / component(size, a)
		for _, f := range b.flats(a) {
			if f.area < mainFace*cross {
				continue
			}
			marks = append(marks, mark{f.at, 0})
			if rough && a != thin {
				continue
			}
			var n [3]float64
			n[a] = f.sign
			depth := 0.0
			for i := range b.parts {
				depth = max(depth, b.shellAt(i, fromArray(n)))
			}
			if in := f.at - f.sign*depth; in > lo && in < hi {
				marks = append(marks, mark{in, 2})
			}
		}
		slices.SortStableFunc(marks, func(x, y mark) int {
			if s := cmp.Compare(x.grade, y.grade); s != 0 {
				return s
			}
			return cmp.Compare(x.at, y.at)
		})
		var at []float64
		for _, m := range marks {
			if !slices.ContainsFunc(at, func(v float64) bool { return math.Abs(v-m.at) < nearest }) {
				at = append(at, m.at)
			}
		}
		slices.Sort(at)
		if len(at) < 2 { // thinner than planes may be
			at = []float64{lo, hi}
		}
		out[a] = elastic.Planes(cell, at...)
	}
	return out
}

// sample is a line on which rays are cast, between the planes of a cell.
type sample struct {
	at     float64
	cell   int
	weight float64 // share of the cell's breadth
}

// samples spreads lines over the cells between planes, about 2 mm apart, at
// least two and at most four to a cell.
func samples(planes []float64) (out []sample) {
	for c := range len(planes) - 1 {
		h := planes[c+1] - planes[c]
		n := min(4, max(2, int(math.Ceil(h/2))))
		for i := range n {
			out = append(out, sample{planes[c] + h*(float64(i)+0.5)/float64(n), c, 1 / float64(n)})
		}
	}
	return out
}

// crossing is where a ray meets the surface.
type crossing struct {
	ray   int32
	enter bool
	at    float64
	shell float64 // mm along the ray, 0 where another axis looks at that surface
}

// cast sends rays along an axis through all meshes. Every triangle answers for
// the lines of samples that cross it, by the rule that an edge belongs to what
// lies beyond it, so that closed meshes are met as often going in as out.
func (b *body) cast(axis int, us, vs []sample) []crossing {
	ua, va := (axis+1)%3, (axis+2)%3
	var out []crossing
	for _, m := range b.meshes {
		for _, t := range m.triangles {
			var u, v, w [3]float64
			for i, k := range t {
				p := m.vertices[k]
				u[i], v[i], w[i] = component(p, ua), component(p, va), component(p, axis)
			}
			area := (u[1]-u[0])*(v[2]-v[0]) - (u[2]-u[0])*(v[1]-v[0])
			if area == 0 {
				continue
			}
			lo, hi := min(v[0], v[1], v[2]), max(v[0], v[1], v[2])
			first, _ := slices.BinarySearchFunc(vs, lo, func(s sample, x float64) int { return cmp.Compare(s.at, x) })
			p := m.vertices[t[0]]
			n := m.vertices[t[1]].Sub(p).Cross(m.vertices[t[2]].Sub(p)).Unit()
			na := math.Abs(component(n, axis))
			dominant := na >= math.Abs(component(n, ua))-1e-9 && na >= math.Abs(component(n, va))-1e-9
			for j := first; j < len(vs) && vs[j].at < hi; j++ {
				y := vs[j].at
				ends, k := [2]float64{}, 0
				for e := range 3 {
					a, c := e, (e+1)%3
					if (v[a] > y) == (v[c] > y) {
						continue
					}
					if v[a] > v[c] || v[a] == v[c] && u[a] > u[c] { // the same end first, whichever triangle asks
						a, c = c, a
					}
					if k < 2 {
						ends[k] = u[a] + (u[c]-u[a])*((y-v[a])/(v[c]-v[a]))
						k++
					}
				}
				if k < 2 {
					continue
				}
				x0, x1 := min(ends[0], ends[1]), max(ends[0], ends[1])
				i, _ := slices.BinarySearchFunc(us, x0, func(s sample, x float64) int { return cmp.Compare(s.at, x) })
				for ; i < len(us) && us[i].at < x1; i++ {
					x := us[i].at
					// Barycentric height.
					l1 := ((x-u[0])*(v[2]-v[0]) - (u[2]-u[0])*(y-v[0])) / area
					l2 := ((u[1]-u[0])*(y-v[0]) - (x-u[0])*(v[1]-v[0])) / area
					c := crossing{ray: int32(i + len(us)*j), enter: area < 0, at: w[0] + l1*(w[1]-w[0]) + l2*(w[2]-w[0])}
					if dominant {
						pt := 0
						if len(b.parts) > 1 {
							var q [3]float64
							q[ua], q[va], q[axis] = x, y, c.at
							pt = b.partAt(fromArray(q))
						}
						c.shell = b.shellAt(pt, n) / na
					}
					out = append(out, c)
				}
			}
		}
	}
	slices.SortStableFunc(out, func(a, c crossing) int {
		if s := cmp.Compare(a.ray, c.ray); s != 0 {
			return s
		}
		return cmp.Compare(a.at, c.at)
	})
	return out
}

// run is where a ray is inside the body, and how far the shell reaches from
// either end.
type run struct{ from, to, low, high float64 }

// leastKept is the fill below which a cell is left out: a link on next to
// nothing would be a million times stiffer than what it holds.
const leastKept = 0.1

const touching = 1e-4 // mm; runs of members and pads that are no farther apart are one

// runs of one ray's crossings.
func runs(cs []crossing) (out []run) {
	depth := 0
	var r run
	for _, c := range cs {
		if c.enter {
			if depth == 0 {
				r = run{from: c.at, low: c.shell}
			}
			depth++
			continue
		}
		depth--
		if depth != 0 {
			depth = max(depth, 0)
			continue
		}
		r.to, r.high = c.at, c.shell
		if n := len(out); n > 0 && r.from-out[n-1].to < touching {
			out[n-1].to, out[n-1].high = r.to, r.high
		} else {
			out = append(out, r)
		}
	}
	return out
}

// overlap of two stretches.
func overlap(a, b, c, d float64) float64 { return max(0, min(b, d)-max(a, c)) }

// carve fills the lattice and says how much of each cell is shell. Rays along
// the axis with the fewest cells measure the fill, so that the faces of boards
// are exact; every surface's shell is measured by rays along the axis it faces
// most.
func (b *body) carve() {
	p := b.lattice.Planes
	n := b.lattice.Size()
	cells := n[0] * n[1] * n[2]
	stride := [3]int{1, n[0], n[0] * n[1]}
	short := 0
	for a := range 3 {
		if n[a] < n[short] {
			short = a
		}
	}
	b.lattice.Fill = make([]float64, cells)
	bare := make([]float64, cells) // share that no axis has found to be shell
	for i := range bare {
		bare[i] = 1
	}
	fill, shell := make([]float64, cells), make([]float64, cells)
	for a := range 3 {
		ua, va := (a+1)%3, (a+2)%3
		us, vs := samples(p[ua]), samples(p[va])
		clear(fill)
		clear(shell)
		cs := b.cast(a, us, vs)
		for i := 0; i < len(cs); {
			j := i
			for j < len(cs) && cs[j].ray == cs[i].ray {
				j++
			}
			u, v := us[int(cs[i].ray)%len(us)], vs[int(cs[i].ray)/len(us)]
			base, weight := u.cell*stride[ua]+v.cell*stride[va], u.weight*v.weight
			for _, r := range runs(cs[i:j]) {
				inLow, inHigh := min(r.to, r.from+r.low), max(r.from, r.to-r.high)
				if inLow > inHigh {
					inLow, inHigh = r.to, r.to
				}
				k, _ := slices.BinarySearch(p[a], r.from)
				for k = max(0, k-1); k < n[a] && p[a][k] < r.to; k++ {
					lo, hi := p[a][k], p[a][k+1]
					w := weight / (hi - lo)
					fill[base+k*stride[a]] += w * overlap(lo, hi, r.from, r.to)
					shell[base+k*stride[a]] += w * (overlap(lo, hi, r.from, inLow) + overlap(lo, hi, inHigh, r.to))
				}
			}
			i = j
		}
		for c := range cells {
			if fill[c] > 0 {
				bare[c] *= 1 - min(1, shell[c]/fill[c])
			}
			if a == short {
				f := min(1, max(0, fill[c]))
				switch {
				case f > 1-1e-9:
					f = 1
				case f < leastKept:
					f = 0
				}
				b.lattice.Fill[c] = f
			}
		}
	}
	const crumbs = 0.01 // of the volume; more than that is not dropped silently
	whole, dropped := b.lattice.Whole()
	if dropped <= crumbs*b.volume() {
		b.lattice = whole
	}
	b.share, b.part = make([]uint8, cells), make([]uint8, cells)
	b.lattice.Material = make([]uint8, cells)
	for c := range cells {
		if b.lattice.Fill[c] < elastic.MinFill {
			continue
		}
		b.share[c] = uint8(math.Round(steps * (1 - bare[c])))
		if len(b.parts) > 1 {
			b.part[c] = uint8(b.partAt(b.centre(c)))
		}
		b.lattice.Material[c] = b.part[c]*(steps+1) + b.share[c]
	}
}

func (b *body) index(c int) [3]int {
	n := b.lattice.Size()
	return [3]int{c % n[0], c / n[0] % n[1], c / (n[0] * n[1])}
}

// box of a cell in the body's frame.
func (b *body) box(c int) geom.Box3 {
	at := b.index(c)
	var lo, hi [3]float64
	for a := range 3 {
		lo[a], hi[a] = b.lattice.Planes[a][at[a]], b.lattice.Planes[a][at[a]+1]
	}
	return geom.Box3{Min: fromArray(lo), Max: fromArray(hi)}
}

func (b *body) centre(c int) geom.Vec3 { return b.box(c).Center() }

// volume of what fills the lattice.
func (b *body) volume() float64 {
	v := 0.0
	for c, f := range b.lattice.Fill {
		if f >= elastic.MinFill {
			s := b.box(c).Size()
			v += f * s.X * s.Y * s.Z
		}
	}
	return v
}

// mass as printed, g: shell and core fill.
func (b *body) mass() float64 {
	m := 0.0
	for c, f := range b.lattice.Fill {
		if f >= elastic.MinFill {
			s := b.box(c).Size()
			m += f * s.X * s.Y * s.Z * b.density(int(b.share[c]))
		}
	}
	return m
}

// density of a cell with that share of shell, g/mm³.
func (b *body) density(step int) float64 {
	s := float64(step) / steps
	return b.plastic.density * (s + (1-s)*b.plastic.fill)
}

// find is the filled cell that holds a point of the world, or the nearest within
// reach of it (mm), and how far off that is.
func (b *body) find(world geom.Vec3, reach float64) (cell int, at geom.Vec3, ok bool) {
	p := b.frame.Local(world)
	n := b.lattice.Size()
	x := [3]float64{p.X, p.Y, p.Z}
	var lo, hi [3]int
	for a := range 3 {
		pl := b.lattice.Planes[a]
		if x[a] < pl[0]-reach || x[a] > pl[n[a]]+reach {
			return 0, p, false
		}
		i, _ := slices.BinarySearch(pl, x[a]-reach)
		j, _ := slices.BinarySearch(pl, x[a]+reach)
		lo[a], hi[a] = max(0, i-1), min(n[a]-1, j)
	}
	least, fullest := math.Inf(1), 0.0
	for k := lo[2]; k <= hi[2]; k++ {
		for j := lo[1]; j <= hi[1]; j++ {
			for i := lo[0]; i <= hi[0]; i++ {
				c := i + n[0]*(j+n[1]*k)
				f := b.lattice.Fill[c]
				if f < elastic.MinFill {
					continue
				}
				var q [3]float64
				d := 0.0
				for a, m := range [3]int{i, j, k} {
					pl := b.lattice.Planes[a]
					q[a] = min(pl[m+1], max(pl[m], x[a]))
					if off := math.Abs(q[a] - x[a]); off > 1e-9 {
						d += off * off
					}
				}
				if d < least || d == least && f > fullest {
					cell, at, ok, least, fullest = c, fromArray(q), true, d, f
				}
			}
		}
	}
	return cell, b.frame.Point(at), ok && least <= reach*reach
}
