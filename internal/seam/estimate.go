package seam

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"

	"gonum.org/v1/gonum/mat"
)

// estimate is how many segments a cell is thought to need. For one that fits it
// is 1, and known.
type estimate struct {
	n      int
	known  bool // n has been worked out
	proved bool // n is 1 because the fitter says so, and pose is its answer
	pose   geom.Frame
	size   geom.Vec3 // as it lies, or about so
	boxes  int       // how many boxes its extents fill
}

// lay is a box, with its sides along a frame's axes, that some printer takes.
type lay [3]float64

// setFrames chooses the directions that planes are square to: the body's own
// axes, its principal axes and the normals of its large flat sides, in this
// order; and frames to measure parts in, with what fits in each.
func (c *cutter) setFrames() {
	c.normals0 = c.normals0[:0]
	addNormal := func(n geom.Vec3) {
		const apart = 0.996 // cosine of 5 degrees
		if !slices.ContainsFunc(c.normals0, func(o geom.Vec3) bool { return math.Abs(o.Dot(n)) > apart }) {
			c.normals0 = append(c.normals0, n)
		}
	}
	for _, a := range c.axes {
		addNormal(a)
	}
	own := geom.Frame{X: c.axes[0], Y: c.axes[1], Z: c.axes[2]}
	c.frames = []geom.Frame{own}
	if p, ok := principal(c.whole); ok {
		before := len(c.normals0)
		for _, a := range []geom.Vec3{p.X, p.Y, p.Z} {
			addNormal(a)
		}
		if len(c.normals0)-before >= 2 { // else it is the same frame, or one turned about an own axis by little
			c.frames = append(c.frames, p)
		}
	}
	const many = 7 // more directions only where they are worth the time
	for _, n := range c.largeFaces() {
		if len(c.normals0) < many {
			addNormal(n)
		}
	}
	c.lays = make([][]lay, len(c.frames))
	for i, f := range c.frames {
		c.lays[i] = c.laysIn(f)
	}
}

// largeFaces are the normals of the body's facets by falling area of all facets
// that face the same way or the opposite, those with a twentieth of the whole
// surface at least.
func (c *cutter) largeFaces() []geom.Vec3 {
	type side struct {
		n    geom.Vec3
		area float64
	}
	var sides []side
	var total float64
	start := int32(0)
	for k, end := range c.whole.end {
		p := c.whole.idx[start:end]
		start = end
		a, b, d := c.whole.v[p[0]], c.whole.v[p[1]], c.whole.v[p[2]]
		area := b.Sub(a).Cross(d.Sub(a)).Len() / 2
		total += area
		n := c.normals[c.whole.face[k]]
		if i := slices.IndexFunc(sides, func(s side) bool { return math.Abs(s.n.Dot(n)) > 1-1e-4 }); i >= 0 {
			sides[i].area += area
		} else if len(sides) < 64 {
			sides = append(sides, side{n, area})
		}
	}
	slices.SortStableFunc(sides, func(a, b side) int { return cmp.Compare(b.area, a.area) })
	var out []geom.Vec3
	for _, s := range sides {
		if s.area > total/20 {
			out = append(out, s.n)
		}
	}
	return out
}

// principal are the axes of the body's surface's moments of area about its
// middle, longest first.
func principal(x *cell) (geom.Frame, bool) {
	var area float64
	var mid geom.Vec3
	each := func(f func(p geom.Vec3, w float64)) {
		start := int32(0)
		for _, end := range x.end {
			p := x.idx[start:end]
			start = end
			a, b, d := x.v[p[0]], x.v[p[1]], x.v[p[2]]
			w := b.Sub(a).Cross(d.Sub(a)).Len() / 6
			for _, q := range []geom.Vec3{a.Lerp(b, 0.5), b.Lerp(d, 0.5), d.Lerp(a, 0.5)} { // exact for squares
				f(q, w)
			}
		}
	}
	each(func(p geom.Vec3, w float64) { area += w; mid = mid.Add(p.Scale(w)) })
	if area == 0 {
		return geom.Frame{}, false
	}
	mid = mid.Scale(1 / area)
	var m [6]float64
	each(func(p geom.Vec3, w float64) {
		q := p.Sub(mid)
		for i, v := range [6]float64{q.X * q.X, q.X * q.Y, q.X * q.Z, q.Y * q.Y, q.Y * q.Z, q.Z * q.Z} {
			m[i] += w * v
		}
	})
	var eig mat.EigenSym
	if !eig.Factorize(mat.NewSymDense(3, []float64{m[0], m[1], m[2], m[1], m[3], m[4], m[2], m[4], m[5]}), true) {
		return geom.Frame{}, false
	}
	values := eig.Values(nil) // rising
	// Where two moments are nearly alike their axes say nothing.
	if values[2]-values[1] < 0.05*values[2] || values[1]-values[0] < 0.05*values[2] {
		return geom.Frame{}, false
	}
	var vec mat.Dense
	eig.VectorsTo(&vec)
	col := func(j int) geom.Vec3 {
		v := geom.V3(vec.At(0, j), vec.At(1, j), vec.At(2, j)).Unit()
		// The sign is the solver's; the largest part is made positive.
		for _, q := range []float64{v.X, v.Y, v.Z} {
			if math.Abs(q) >= max(math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z))-1e-9 {
				if q < 0 {
					v = v.Neg()
				}
				break
			}
		}
		return v
	}
	f := geom.FrameFromXZ(geom.Vec3{}, col(2), col(0))
	return f, true
}

// laysIn are the boxes along a frame's axes that the fitter takes: each
// printer's, laid each way, as much smaller as filament that shrinks asks for.
// A box that cannot lie so, for want of a side to lie on, is left out.
func (c *cutter) laysIn(f geom.Frame) []lay {
	var out []lay
	volumes := c.volumes()
	if len(volumes) == 0 {
		volumes = c.felt(f)
	}
	for _, u := range volumes {
		for _, l := range []lay{{u.X, u.Y, u.Z}, {u.X, u.Z, u.Y}, {u.Y, u.X, u.Z}, {u.Y, u.Z, u.X}, {u.Z, u.X, u.Y}, {u.Z, u.Y, u.X}} {
			if k := c.takes(f, l); k > 0 {
				l = lay{l[0] * k, l[1] * k, l[2] * k}
				if !slices.Contains(out, l) {
					out = append(out, l)
				}
			}
		}
	}
	return out
}

// volumes are the usable volumes of the shop's printers.
func (c *cutter) volumes() []geom.Vec3 {
	var out []geom.Vec3
	for _, p := range c.in.Shop.Printers {
		if u := geom.V3(p.Build.X-2*p.Brim, p.Build.Y-2*p.Brim, p.Build.Z-p.Top); !slices.Contains(out, u) {
			out = append(out, u)
		}
	}
	return out
}

// felt is the box along a frame's axes that a fitter takes which says nothing of
// its printers: along each axis the longest thin bar.
func (c *cutter) felt(f geom.Frame) []geom.Vec3 {
	var out [3]float64
	for k := range out {
		bar := lay{1, 1, 1}
		lo, hi := 0.0, 2000.0 // mm; no printer for furniture is larger
		for hi-lo > 1e-4 {
			bar[k] = (lo + hi) / 2
			if c.takesBox(f, bar, 1) {
				lo = bar[k]
			} else {
				hi = bar[k]
			}
		}
		out[k] = lo
	}
	if min(out[0], out[1], out[2]) < 1 {
		return nil
	}
	return []geom.Vec3{{X: out[0], Y: out[1], Z: out[2]}}
}

// takes is the largest factor up to 1 by which a box can be made smaller so
// that the fitter takes it, 0 if nine tenths of it are still too large.
func (c *cutter) takes(f geom.Frame, l lay) float64 {
	ok := func(k float64) bool { return c.takesBox(f, l, k) }
	if ok(1) {
		return 1
	}
	lo, hi := 0.9, 1.0
	if !ok(lo) {
		return 0
	}
	for range 14 { // to 6e-6, a hundredth of a millimetre of a bed
		if mid := (lo + hi) / 2; ok(mid) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

func (c *cutter) takesBox(f geom.Frame, l lay, k float64) bool {
	var p [8]geom.Vec3
	for i := range p {
		at := func(axis int) float64 { return float64(i>>axis&1) * l[axis] * k }
		p[i] = f.Dir(geom.V3(at(0), at(1), at(2)))
	}
	_, _, ok := c.fits(p[:])
	return ok
}

// inBoxes is the least number of boxes, side by side, that spans in each frame
// fill.
func (c *cutter) inBoxes(spans [][3]interval) int {
	best := math.MaxInt32
	for i, r := range spans {
		for _, l := range c.lays[i] {
			n := 1
			for k := range 3 {
				n *= max(1, int(math.Ceil((r[k].hi-r[k].lo)/l[k]-1e-9)))
			}
			best = min(best, n)
		}
	}
	return best
}

// spans are the extents of points along the frames' axes.
func (c *cutter) spans(pts []geom.Vec3) [][3]interval {
	out := make([][3]interval, len(c.frames))
	for i, f := range c.frames {
		out[i] = [3]interval{span(pts, f.X), span(pts, f.Y), span(pts, f.Z)}
	}
	return out
}

// fit reports whether a cell fits: it lies in a box that the fitter takes, or
// the fitter takes it itself. The fitter is asked only where that may be.
func (c *cutter) fit(x *cell) bool {
	if x.est.n == 0 {
		if len(c.frames) == 0 { // nothing is known of boxes
			return c.prove(x)
		}
		spans := c.spans(x.pts)
		x.est.boxes = c.inBoxes(spans)
		own := spans[0]
		size := []float64{own[0].hi - own[0].lo, own[1].hi - own[1].lo, own[2].hi - own[2].lo}
		slices.Sort(size)
		switch {
		case x.est.boxes == 1:
			x.est.n, x.est.known = 1, true
			x.est.size = geom.V3(size[2], size[1], size[0])
		case !c.plausible(x, size):
			x.est.n = 2
		case c.tilted && len(x.pts) > manyCorners:
			// Any pose is asked for, which takes long: of fewer points, and again of all
			// before the plan is handed on.
			c.judged += slowAsk
			if _, _, ok := c.fits(fewer(x.pts)); ok {
				x.est.n, x.est.known = 1, true
				x.est.size = geom.V3(size[2], size[1], size[0])
			} else {
				x.est.n = 2
			}
		case !c.prove(x):
			x.est.n = 2
		}
	}
	return x.est.n == 1
}

const (
	manyCorners = 200 // from which on the question for any pose takes long
	slowAsk     = 8   // planes that might be looked at in the time it takes
)

// fitsPoints is fit for points that are no cell.
func (c *cutter) fitsPoints(pts []geom.Vec3) bool {
	if len(c.frames) > 0 && c.inBoxes(c.spans(pts)) == 1 {
		return true
	}
	_, _, ok := c.fits(pts)
	return ok
}

// fewer are the points that are farthest in many directions, moved outward by
// so much that their hull holds about all the others.
func fewer(pts []geom.Vec3) []geom.Vec3 {
	const (
		round = 48    // directions round each axis
		grown = 1.002 // 1/cos of half the angle between them is 1.0021
	)
	var mid geom.Vec3
	for _, p := range pts {
		mid = mid.Add(p.Scale(1 / float64(len(pts))))
	}
	taken := map[int]bool{}
	var out []geom.Vec3
	extreme := func(d geom.Vec3) {
		best, at := math.Inf(-1), 0
		for i, p := range pts {
			if v := p.Dot(d); v > best {
				best, at = v, i
			}
		}
		if !taken[at] {
			taken[at] = true
			out = append(out, mid.Add(pts[at].Sub(mid).Scale(grown)))
		}
	}
	for i := range round {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / round)
		extreme(geom.V3(cos, sin, 0))
		extreme(geom.V3(cos, 0, sin))
		extreme(geom.V3(0, cos, sin))
	}
	for i := range round { // over the sphere, along a spiral
		z := 1 - (2*float64(i)+1)/round
		sin, cos := math.Sincos(float64(i) * math.Pi * (3 - math.Sqrt(5)))
		r := math.Sqrt(1 - z*z)
		extreme(geom.V3(r*cos, r*sin, z))
	}
	return out
}

// prove asks the fitter whether a cell fits, and in which pose.
func (c *cutter) prove(x *cell) bool {
	if x.est.proved {
		return true
	}
	pose, size, ok := c.fits(x.pts)
	if ok {
		x.est = estimate{n: 1, known: true, proved: true, pose: pose, size: size, boxes: x.est.boxes}
	} else {
		x.est.n = 2 // at least
	}
	return ok
}

// plausible reports whether a cell that is too long for the box might yet fit on
// a diagonal: a box of four fifths of its size would. What is said to be too
// large here is at worst cut once more than it need be.
func (c *cutter) plausible(x *cell, size []float64) bool {
	if len(c.lays) == 0 || len(c.lays[0]) == 0 {
		return true // nothing is known of boxes
	}
	if c.atLeast(x) > 1 {
		return false
	}
	const less = 0.8
	for _, l := range c.lays[0] {
		u := []float64{l[0], l[1], l[2]}
		slices.Sort(u)
		for k := range 3 { // which of its sides stands up
			p, q, h := size[(k+1)%3]*less, size[(k+2)%3]*less, size[k]*less
			for m := range 3 {
				if h <= u[m] && rectangleFits(max(p, q), min(p, q), max(u[(m+1)%3], u[(m+2)%3]), min(u[(m+1)%3], u[(m+2)%3])) {
					return true
				}
			}
		}
	}
	return false
}

// rectangleFits reports whether a rectangle p by q can be turned to lie in one a
// by b; p >= q, a >= b (Carver, Solution to problem E 1225, American
// Mathematical Monthly 64, 1957).
func rectangleFits(p, q, a, b float64) bool {
	if p <= a {
		return q <= b
	}
	if p*p+q*q < a*a { // cannot be, p being longer
		return q <= b
	}
	return b >= (2*p*q*a+(p*p-q*q)*math.Sqrt(p*p+q*q-a*a))/(p*p+q*q)
}

// needs estimates how many segments a cell takes.
func (c *cutter) needs(x *cell) int {
	if c.fit(x) || x.est.known {
		return x.est.n
	}
	x.est.known = true
	// Where no box of these frames is taken, what the fitter says of slabs.
	n := max(2, min(x.est.boxes, maxBoxes))
	// Diagonals make less of it: equal slabs are asked for, where there are few
	// corners to ask about.
	if least := max(2, c.atLeast(x)); n > least && c.quick(x) {
		n = c.inSlabs(x, c.spans(x.pts)[0], least, n)
	}
	x.est.n = n
	return n
}

// quick reports whether the fitter may be asked about parts of a cell again and
// again.
func (c *cutter) quick(x *cell) bool {
	if c.tilted {
		return len(x.pts) <= 48
	}
	return len(x.end) <= fewFacets
}

const (
	maxBoxes  = 64  // an estimate is never more than this
	fewFacets = 700 // of a cell that is asked about slab by slab
)

// inSlabs is the least number of equal slabs, or bars, from least to below n,
// that bring a cell into the printer; n if none do.
func (c *cutter) inSlabs(x *cell, r [3]interval, least, n int) int {
	for m := least; m < min(n, 9); m++ {
		for a := m; a >= 1; a-- {
			if m%a != 0 {
				continue
			}
			for b := m / a; b >= 1; b-- {
				if (m/a)%b != 0 {
					continue
				}
				d := m / a / b
				if (r[0].hi-r[0].lo)/float64(a) < c.o.Sliver || (r[1].hi-r[1].lo)/float64(b) < c.o.Sliver || (r[2].hi-r[2].lo)/float64(d) < c.o.Sliver {
					continue
				}
				if c.fitsCut(x, [3]int{a, b, d}, 0) {
					return m
				}
			}
		}
	}
	return n
}

// atLeast is a number of segments that a cell provably needs: its extent in
// any direction against the volume's diagonal, its volume against the
// printer's. See Bound.
func (c *cutter) atLeast(x *cell) int {
	n := 1
	if c.limits.diagonal > 0 {
		n = max(n, int(math.Ceil(x.vol/c.limits.volume-1e-6)))
		for _, f := range c.frames {
			for _, a := range []geom.Vec3{f.X, f.Y, f.Z} {
				r := span(x.pts, a)
				n = max(n, int(math.Ceil((r.hi-r.lo)/c.limits.diagonal-1e-6)))
			}
		}
	}
	return n
}

// limits are the largest measures of anything that a printer takes.
type limits struct {
	volume   float64 // mm³
	diagonal float64 // mm
	section  float64 // mm² of a plane section
}

// limitsOf are the limits of some boxes together. The largest plane section of
// a box holds its longest edge and a diagonal of the face across it: of
// sections square to a direction the one through the middle is the largest
// (Brunn), and of those this one is, as sampling in the tests bears out.
func limitsOf(boxes []geom.Vec3) limits {
	var l limits
	for _, u := range boxes {
		s := []float64{u.X, u.Y, u.Z}
		slices.Sort(s)
		l.volume = max(l.volume, u.X*u.Y*u.Z)
		l.diagonal = max(l.diagonal, u.Len())
		l.section = max(l.section, s[2]*math.Hypot(s[0], s[1]))
	}
	return l
}

// Bound is a number of segments that a body provably needs.
type Bound struct {
	Why   string
	Least int
}

// bounds are the lower bounds of a body's segments. Whatever a printer takes
// lies in its box, so that its volume, its extent in any direction and the area
// of any plane section are at most the box's; the segments share the body's.
func (c *cutter) bounds() []Bound {
	if c.limits.diagonal == 0 {
		return nil
	}
	// Kernels and printers round.
	up := func(v float64) int { return max(1, int(math.Ceil(v-1e-6))) }
	out := []Bound{{"volume", up(c.whole.vol / c.limits.volume)}}
	long := 0.0
	for _, f := range c.frames {
		for _, a := range []geom.Vec3{f.X, f.Y, f.Z} {
			r := span(c.whole.pts, a)
			long = max(long, r.hi-r.lo)
		}
	}
	out = append(out, Bound{"length", up(long / c.limits.diagonal)})
	area := 0.0
	for _, a := range c.normals0 {
		r := span(c.whole.pts, a)
		for i := 1; i < 8; i++ {
			s := c.look(c.whole, geom.Plane{Normal: a, D: r.lo + (r.hi-r.lo)*float64(i)/8})
			area = max(area, s.area)
		}
	}
	return append(out, Bound{"area of a section", up(area / c.limits.section)})
}
