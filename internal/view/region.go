package view

import (
	"cmp"
	"container/heap"
	"context"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// image is what a body covers in the image, by its contours: wound round, they
// count the sides that face the eye.
func (b *body) image() geom.Polygons {
	next := map[int32][]int32{}
	var starts []int32
	link := func(u, v int32) {
		next[u] = append(next[u], v)
		starts = append(starts, u)
	}
	for _, s := range b.sides {
		n := 0 // how often the side is run from a to b by what is seen
		if s.tri[0] >= 0 {
			n += b.toward(s.tri[0])
		}
		if s.tri[1] >= 0 {
			n -= b.toward(s.tri[1])
		}
		for ; n > 0; n-- {
			link(s.a, s.b)
		}
		for ; n < 0; n++ {
			link(s.b, s.a)
		}
	}
	var out geom.Polygons
	for _, u := range starts {
		for len(next[u]) > 0 {
			var loop geom.Polygon
			for at := u; len(next[at]) > 0; {
				to := next[at][0]
				next[at] = next[at][1:]
				loop = append(loop, b.at[at].XY())
				at = to
			}
			if len(loop) > 2 {
				out = append(out, loop)
			}
		}
	}
	return out
}

const (
	overSome  = 1 // the first lies before the second somewhere
	underSome = 2
)

// regions are what is seen of the parts. Where of two parts no facet of the one
// lies behind a facet of the other, its whole image hides the other; else it is
// found facet by facet which of the two is seen.
func regions(ctx context.Context, k *solid.Kernel, parts []Part, bodies []*body, h *hider) ([]Region, error) {
	n := len(parts)
	over := make([]uint8, n*n) // of i over j, at i*n+j
	note := func(i, j int, bits uint8) {
		over[i*n+j] |= bits
		over[j*n+i] |= bits>>1&1 | bits<<1&2
	}
	lo, hi, box := make([]float64, n), make([]float64, n), make([]geom.Box2, n)
	for i, b := range bodies {
		lo[i], hi[i], box[i] = math.Inf(1), math.Inf(-1), geom.EmptyBox2()
		for _, q := range b.at {
			lo[i], hi[i], box[i] = min(lo[i], q.Z), max(hi[i], q.Z), box[i].Add(q.XY())
		}
	}
	apart := func(i, j int) bool { // by depth alone
		return lo[i] >= hi[j] || lo[j] >= hi[i]
	}
	for i := range n {
		for j := range i {
			if apart(i, j) && box[i].Overlaps(box[j]) {
				if lo[i] >= hi[j] {
					note(i, j, overSome)
				} else {
					note(i, j, underSome)
				}
			}
		}
	}
	q := h.grid.query()
	for s := range h.facets {
		f := &h.facets[s]
		for _, t := range h.grid.in(f.box, q) {
			g := &h.facets[t]
			if int(t) <= s || f.part == g.part || over[f.part*n+g.part] == overSome|underSome || apart(f.part, g.part) || !f.box.Overlaps(g.box) {
				continue
			}
			// What is known already by depth alone tells nothing new.
			if known := over[f.part*n+g.part]; f.bottom >= g.top && known&overSome != 0 || g.bottom >= f.top && known&underSome != 0 {
				continue
			}
			if common := overlap(f, g); common != nil {
				note(f.part, g.part, before(f, g, common))
			}
		}
		if s%1024 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
	}
	out := make([]Region, n)
	err := k.Regions(ctx, func(r *solid.Regions) error {
		images := make([]geom.Polygons, n)
		for i, b := range bodies {
			if p := b.image(); len(p) > 0 {
				images[i] = r.Union(p)
			}
		}
		hides := make([][]geom.Polygons, n) // by part, what lies before it
		for i := range n {
			for j := range i {
				a, b := i, j
				switch over[i*n+j] {
				case 0:
					continue
				case overSome:
					a, b = i, j
				case underSome:
					a, b = j, i
				default:
					if h.count[a] > h.count[b] {
						a, b = b, a
					}
					front := h.front(a, b, q)
					hides[b] = append(hides[b], front)
					if !parts[b].Ghost {
						hides[a] = append(hides[a], r.Subtract(images[b], front))
					}
					continue
				}
				if !parts[a].Ghost && images[a] != nil {
					hides[b] = append(hides[b], images[a])
				}
			}
		}
		for i, p := range parts {
			out[i] = Region{Part: p.ID, Tone: p.Tone, Ghost: p.Ghost}
			less := hides[i]
			area := images[i]
			if len(area) > 0 && len(less) > 0 {
				area = r.Subtract(area, less...)
			}
			if len(area) > 0 {
				area = r.Simplify(area, Touch)
			}
			area = slices.DeleteFunc(area, func(l geom.Polygon) bool { // specks between parts that touch
				return math.Abs(l.Area()) < Touch*l.Perimeter()
			})
			out[i].Area = area
		}
		return nil
	})
	return out, err
}

// front is what of part a is seen where part b alone may hide it, in convex
// pieces: every facet of a, less the facets of b before it.
func (h *hider) front(a, b int, q *query) geom.Polygons {
	var out geom.Polygons
	for s := range h.facets {
		f := &h.facets[s]
		if f.part != a {
			continue
		}
		var others []int32
		for _, t := range h.grid.in(f.box, q) {
			if g := &h.facets[t]; g.part == b && g.top > f.bottom && f.box.Overlaps(g.box) {
				others = append(others, t)
			}
		}
		// The largest first: it may be the only one needed.
		slices.SortFunc(others, func(x, y int32) int {
			return cmp.Or(cmp.Compare(h.facets[y].area, h.facets[x].area), cmp.Compare(x, y))
		})
		left := []geom.Polygon{{f.p[0].XY(), f.p[1].XY(), f.p[2].XY()}}
		for _, t := range others {
			g := &h.facets[t]
			common := overlap(f, g)
			if common == nil {
				continue
			}
			if p := clip(common, func(v geom.Vec2) float64 { return g.ahead(f, v) - Touch/2 }); p.Area() > rim {
				if left = minus(left, distinct(p)); len(left) == 0 {
					break
				}
			}
		}
		out = append(out, left...)
	}
	return out
}

// distinct is a loop without sides so short that rounding would turn them.
func distinct(p geom.Polygon) geom.Polygon {
	out := p[:0:0]
	for i, q := range p {
		if q.Dist(p[(i+1)%len(p)]) > rim {
			out = append(out, q)
		}
	}
	return out
}

// minus is convex pieces less a convex loop, in convex pieces.
func minus(pieces []geom.Polygon, loop geom.Polygon) []geom.Polygon {
	var out []geom.Polygon
	for _, p := range pieces {
		if !p.Bounds().Overlaps(loop.Bounds()) {
			out = append(out, p)
			continue
		}
		for i, a := range loop {
			n := loop[(i+1)%len(loop)].Sub(a).Left().Unit()
			if rest := clip(p, func(v geom.Vec2) float64 { return -n.Dot(v.Sub(a)) }); len(rest) > 2 && rest.Area() > rim {
				out = append(out, rest)
			}
			if p = clip(p, func(v geom.Vec2) float64 { return n.Dot(v.Sub(a)) }); len(p) < 3 {
				break
			}
		}
	}
	return out
}

// on is the point of the facet's plane that is seen at a place in the image.
func (f *facet) on(v geom.Vec2) geom.Vec3 {
	o := f.p[0]
	return geom.V3(v.X, v.Y, o.Z-(f.n.X*(v.X-o.X)+f.n.Y*(v.Y-o.Y))/f.n.Z)
}

// overlap is what two facets have in common in the image; nil if that is next
// to nothing.
func overlap(f, g *facet) geom.Polygon {
	p := geom.Polygon{f.p[0].XY(), f.p[1].XY(), f.p[2].XY()}
	for k := range 3 {
		a, b := g.p[k].XY(), g.p[(k+1)%3].XY()
		n := b.Sub(a).Left().Unit()
		if p = clip(p, func(v geom.Vec2) float64 { return n.Dot(v.Sub(a)) }); len(p) < 3 {
			return nil
		}
	}
	if p.Area() < rim {
		return nil
	}
	return p
}

// clip is the part of a convex loop in which a linear function is not negative.
func clip(p geom.Polygon, f func(geom.Vec2) float64) geom.Polygon {
	out := make(geom.Polygon, 0, len(p)+1)
	for i, a := range p {
		b := p[(i+1)%len(p)]
		da, db := f(a), f(b)
		if da >= 0 {
			out = append(out, a)
		}
		if da >= 0 != (db >= 0) {
			out = append(out, a.Lerp(b, da/(da-db)))
		}
	}
	return out
}

// before tells whether f lies before g, behind it, or both, over what they have
// in common.
func before(f, g *facet, common geom.Polygon) (bits uint8) {
	for _, v := range common {
		if d := f.ahead(g, v); d > flush {
			bits |= overSome
		} else if d < -flush {
			bits |= underSome
		}
	}
	return bits
}

// ahead is how far f lies before g at a place in the image, mm along the normal
// of the one that is seen less at a slant, which measures more truly.
func (f *facet) ahead(g *facet, v geom.Vec2) float64 {
	if f.n.Z > g.n.Z {
		return f.below(g.on(v))
	}
	return -g.below(f.on(v))
}

// pole is a place within a region and its distance from the border: of the places
// that are at least roomy times as far from it as any can be, to a precision in
// mm, the nearest to the region's centroid among those that were tried. Squares
// are divided as long as one of them may hold a point farther away.
func pole(area geom.Polygons, precision float64) (geom.Vec2, float64) {
	const roomy = 0.75
	box := area.Bounds()
	size := box.Size()
	side := max(min(size.X, size.Y), max(size.X, size.Y)/32)
	if side <= 0 {
		return box.Center(), 0
	}
	type place struct {
		at    geom.Vec2
		clear float64
	}
	var tried []place
	var far float64
	var todo squares
	try := func(c geom.Vec2, half float64) {
		d := area.Distance(c)
		if !area.Contains(c) {
			d = -d
		}
		far = max(far, d)
		tried = append(tried, place{c, d})
		if most := d + half*math.Sqrt2; most > far+precision {
			heap.Push(&todo, square{c, half, most})
		}
	}
	middle := centroid(area)
	try(middle, 0)
	for x := box.Min.X; x < box.Max.X; x += side {
		for y := box.Min.Y; y < box.Max.Y; y += side {
			try(geom.V2(x+side/2, y+side/2), side/2)
		}
	}
	for steps := 0; len(todo) > 0 && steps < 4000; steps++ {
		s := heap.Pop(&todo).(square)
		if s.most <= far+precision {
			break
		}
		for _, d := range []geom.Vec2{{X: -1, Y: -1}, {X: 1, Y: -1}, {X: -1, Y: 1}, {X: 1, Y: 1}} {
			try(s.center.Add(d.Scale(s.half/2)), s.half/2)
		}
	}
	var best place
	for _, p := range tried {
		if p.clear > 0 && p.clear >= roomy*far && (best.clear == 0 || p.at.Dist(middle) < best.at.Dist(middle)) {
			best = p
		}
	}
	return best.at, best.clear
}

func centroid(area geom.Polygons) geom.Vec2 {
	var sum geom.Vec2
	var twice float64
	o := area.Bounds().Center() // near, so that no digits are lost
	for _, loop := range area {
		for i, p := range loop {
			p, q := p.Sub(o), loop[(i+1)%len(loop)].Sub(o)
			c := p.Cross(q)
			twice += c
			sum = sum.Add(p.Add(q).Scale(c / 3))
		}
	}
	if twice <= 0 {
		return o
	}
	return o.Add(sum.Scale(1 / twice))
}

// square may hold a point as far from the border as most.
type square struct {
	center geom.Vec2
	half   float64
	most   float64
}

type squares []square

func (s squares) Len() int           { return len(s) }
func (s squares) Less(i, j int) bool { return s[i].most > s[j].most }
func (s squares) Swap(i, j int)      { s[i], s[j] = s[j], s[i] }
func (s *squares) Push(x any)        { *s = append(*s, x.(square)) }
func (s *squares) Pop() any {
	l := *s
	x := l[len(l)-1]
	*s = l[:len(l)-1]
	return x
}
