package nest

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// form is an outline at one turn, ready to be placed: its region, grown by
// half the gap, cut into trapezoids. All coordinates are µm from the lower
// left corner of the outline's bounding box; float64 holds them exactly.
//
// Two regions share area exactly if two of their trapezoids do, whatever
// holes, islands or notches they have, so that containment needs no case of
// its own. For trapezoids with upright sides, one of which may slide up and
// down, the offsets at which they share area are one open interval with a
// closed form (see blocked). This is all the placer knows of geometry.
type form struct {
	turn   float64
	corner point     // lower left corner of the outline, from the item's origin
	w, h   float64   // of the outline's bounding box
	area   float64   // of the outline, mm²
	cols   []trap    // region cut by upright lines, by x0
	rows   []trap    // the same with x and y exchanged
	heart  []trap    // inside cols; see hearts
	stops  []float64 // abscissae where the outline turns back: its sides, and those of notches and holes
	grow   float64   // half the gap
	heft   float64   // how dear its overlaps are: the root of its mean side, mm^½
}

// trap is a trapezoid with upright sides: x0 <= x <= x1 and
// b + sb (x-x0) <= y <= t + st (x-x0).
type trap struct{ x0, x1, b, sb, t, st float64 }

// key names the outline up to translation, so that copies under other IDs and
// turns that change nothing are recognised.
func (o outline) key() string {
	lo, _ := o.bounds()
	parts := make([]string, len(o))
	for i, l := range o {
		first := 0
		for j, p := range l {
			if p.x < l[first].x || p.x == l[first].x && p.y < l[first].y {
				first = j
			}
		}
		var b strings.Builder
		for j := range l {
			p := l[(first+j)%len(l)].sub(lo)
			fmt.Fprintf(&b, "%d,%d ", p.x, p.y)
		}
		parts[i] = b.String()
	}
	slices.Sort(parts)
	return strings.Join(parts, ";")
}

// newForm prepares the outline, at the given turn, with half the gap (µm)
// around it. It fails if its loops cross or overlap where crossed cannot see
// it: at a vertex.
func newForm(o outline, turn, grow float64) (*form, error) {
	lo, hi := o.bounds()
	f := &form{turn: turn, corner: lo, w: float64(hi.x - lo.x), h: float64(hi.y - lo.y), area: o.area(), grow: grow}
	f.heft = math.Sqrt(math.Sqrt(f.area))
	f.stops = o.stops(lo.x)
	exact := slabs(o.segs(lo), false)
	var sum float64
	for _, t := range exact {
		d := t.x1 - t.x0
		sum += d*(t.t-t.b) + d*d*(t.st-t.sb)/2
	}
	if math.Abs(sum/(micron*micron)-f.area) > 1e-9*(f.w*f.h/(micron*micron)+1) {
		return nil, errCrossed
	}
	ot := o.transposed()
	lot := point{lo.y, lo.x}
	if grow == 0 {
		f.cols, f.rows = exact, slabs(ot.segs(lot), false)
	} else {
		f.cols, f.rows = slabs(o.grown(lo, grow), true), slabs(ot.grown(lot, grow), true)
	}
	f.heart = hearts(f.cols)
	return f, nil
}

// transposed is the form of the transposed outline o: its columns are the
// rows of f.
func (f *form) transposed(o outline) *form {
	lo, _ := o.bounds()
	return &form{turn: f.turn, corner: lo, w: f.h, h: f.w, area: f.area, cols: f.rows, rows: f.cols, heart: hearts(f.rows), stops: o.stops(lo.x), grow: f.grow, heft: f.heft}
}

// stops are the abscissae, from left, of upright edges and of vertices at
// which a loop turns back in x.
func (o outline) stops(left int64) []float64 {
	var out []float64
	for _, l := range o {
		for i, b := range l {
			a, c := l[(i+len(l)-1)%len(l)], l[(i+1)%len(l)]
			if sign(b.x-a.x) != sign(c.x-b.x) {
				out = append(out, float64(b.x-left))
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// seg is an edge that is not upright, from left to right. rising is +1 when
// the region's winding number grows as one crosses the edge upwards.
type seg struct {
	x0, y0, x1, y1 float64
	rising         int
}

func newSeg(x0, y0, x1, y1 float64) (seg, bool) {
	switch {
	case x0 < x1: // travelling right, material on the left is above
		return seg{x0, y0, x1, y1, 1}, true
	case x0 > x1:
		return seg{x1, y1, x0, y0, -1}, true
	}
	return seg{}, false
}

func (s seg) at(x float64) float64 {
	switch x {
	case s.x0:
		return s.y0
	case s.x1:
		return s.y1
	}
	return s.y0 + float64((s.y1-s.y0)*(x-s.x0))/(s.x1-s.x0)
}

func (o outline) segs(origin point) []seg {
	var out []seg
	for _, l := range o {
		for i, a := range l {
			a, b := a.sub(origin), l[(i+1)%len(l)].sub(origin)
			if s, ok := newSeg(float64(a.x), float64(a.y), float64(b.x), float64(b.y)); ok {
				out = append(out, s)
			}
		}
	}
	return out
}

// grown are the edges of loops whose winding number is positive exactly on
// the outline's region grown by r. Each loop runs along its edges shifted
// outwards by r; round a convex vertex it follows tangents to the circle of
// radius r, one for every eighth of a turn, and at a reflex vertex it passes
// through the vertex itself. As a sum of chains that is the outline, plus one
// rectangle for each edge, plus one fan for each convex vertex, all
// counter-clockwise: nothing is lost, whatever overlaps.
func (o outline) grown(origin point, r float64) []seg {
	var out []seg
	var path [][2]float64
	for _, l := range o {
		path = path[:0]
		n := len(l)
		for i := range l {
			a, b, c := l[(i+n-1)%n].sub(origin), l[i].sub(origin), l[(i+1)%n].sub(origin)
			ux, uy := float64(b.x-a.x), float64(b.y-a.y)
			vx, vy := float64(c.x-b.x), float64(c.y-b.y)
			ul, vl := math.Hypot(ux, uy), math.Hypot(vx, vy)
			px, py := float64(b.x), float64(b.y)
			// outward normals before and after the vertex
			nx, ny, mx, my := uy/ul, -ux/ul, vy/vl, -vx/vl
			turn := math.Atan2(float64(ux*vy)-float64(uy*vx), float64(ux*vx)+float64(uy*vy))
			if turn < 0 {
				path = append(path, [2]float64{px + float64(r*nx), py + float64(r*ny)}, [2]float64{px, py}, [2]float64{px + float64(r*mx), py + float64(r*my)})
			} else {
				from := math.Atan2(ny, nx)
				k := int(math.Ceil(turn / (math.Pi / 4)))
				for j := range k { // corners between tangent j and j+1
					s, c := math.Sincos(from + float64(turn*(float64(j)+0.5))/float64(k))
					m := r / math.Cos(turn/float64(2*k))
					path = append(path, [2]float64{px + float64(m*c), py + float64(m*s)})
				}
			}
		}
		for i, a := range path {
			b := path[(i+1)%len(path)]
			if s, ok := newSeg(a[0], a[1], b[0], b[1]); ok {
				out = append(out, s)
			}
		}
	}
	return out
}

// slabs cuts the region of positive winding number into trapezoids, ordered
// by x0. Edges that cross each other are cut at the crossing if crossings is
// set; otherwise they must not cross.
func slabs(segs []seg, crossings bool) []trap {
	const thin = 1e-7 // µm: slabs and trapezoids thinner than this are rounding
	slices.SortStableFunc(segs, func(a, b seg) int { return cmp.Compare(a.x0, b.x0) })
	xs := make([]float64, 0, 2*len(segs))
	for i, s := range segs {
		xs = append(xs, s.x0, s.x1)
		if !crossings {
			continue
		}
		for _, t := range segs[i+1:] {
			if t.x0 >= s.x1 {
				break
			}
			if max(t.y0, t.y1) < min(s.y0, s.y1) || min(t.y0, t.y1) > max(s.y0, s.y1) {
				continue
			}
			lo, hi := t.x0, min(s.x1, t.x1)
			dl, dh := s.at(lo)-t.at(lo), s.at(hi)-t.at(hi)
			if dl < 0 && dh > 0 || dl > 0 && dh < 0 {
				xs = append(xs, lo+float64((hi-lo)*(dl/(dl-dh))))
			}
		}
	}
	slices.Sort(xs)
	type open struct{ bottom, top, trap int }
	var (
		out          []trap
		before, now  []open
		active, keep []int
		ys           []float64
		next         int
	)
	for i := 0; i+1 < len(xs); i++ {
		xa, xb := xs[i], xs[i+1]
		if xb-xa <= thin {
			continue
		}
		xm := (xa + xb) / 2
		for ; next < len(segs) && segs[next].x0 < xm; next++ {
			active = append(active, next)
		}
		keep, ys = keep[:0], ys[:0]
		for _, k := range active {
			if segs[k].x1 <= xm {
				continue
			}
			y := segs[k].at(xm)
			keep, ys = append(keep, k), append(ys, y)
			for j := len(ys) - 1; j > 0 && ys[j-1] > y; j-- {
				keep[j-1], keep[j], ys[j-1], ys[j] = keep[j], keep[j-1], ys[j], ys[j-1]
			}
		}
		active, keep = keep, active
		now = now[:0]
		wind, bottom := 0, 0
		for _, k := range active {
			was := wind
			wind += segs[k].rising
			if was <= 0 && wind > 0 {
				bottom = k
			}
			if was > 0 && wind <= 0 {
				b, t := segs[bottom], segs[k]
				if t.at(xa)-b.at(xa) <= thin && t.at(xb)-b.at(xb) <= thin {
					continue
				}
				cur := open{bottom, k, -1}
				for _, p := range before { // the same two edges go on: one longer trapezoid
					if p.bottom == bottom && p.top == k && out[p.trap].x1 >= xa-thin {
						cur.trap = p.trap
						out[p.trap].x1 = xb
					}
				}
				if cur.trap < 0 {
					cur.trap = len(out)
					out = append(out, trap{
						x0: xa, x1: xb,
						b: b.at(xa), sb: (b.y1 - b.y0) / (b.x1 - b.x0),
						t: t.at(xa), st: (t.y1 - t.y0) / (t.x1 - t.x0),
					})
				}
				now = append(now, cur)
			}
		}
		before, now = now, before
	}
	return out
}
