package printing

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/shop"
)

// fitSlack is how much a pose may exceed the usable volume and still count as
// fitting, mm. It absorbs rounding only: a segment made exactly as long as the
// bed must not be refused for its last bit.
const fitSlack = 1e-6

// Usable is the size of the volume that prints may fill: the build volume
// less the brim all round and what is kept free at the top, mm.
func Usable(p shop.Printer) geom.Vec3 {
	return geom.V3(p.Build.X-2*p.Brim, p.Build.Y-2*p.Brim, p.Build.Z-p.Top)
}

// ForCores is the printer as a body in core sizes sees it: its build volume is
// made smaller by what the filament makes prints shrink, since parts are sent
// to it that much larger. Across the bed the greater shrinkage counts, so that
// a part may be turned. Give it to Fits when segments are cut to size.
func ForCores(p shop.Printer, f shop.Filament) shop.Printer {
	u, k := Usable(p), scale(f)
	flat := max(k.X, k.Y)
	p.Build = geom.V3(u.X/flat+2*p.Brim, u.Y/flat+2*p.Brim, u.Z/k.Z+p.Top)
	return p
}

// Fits reports whether some pose of a body with the given points (those of its
// convex hull are enough) fits p's usable volume, and one such pose: Local of
// the returned frame carries the points into the box from 0 to Usable.
//
// Poses with a face of the convex hull on the bed come first, largest face
// first, each turned about the vertical by the exact test of fitRectangle, so
// that a diagonal is found whenever one fits. Only then come poses tilted out
// of those in steps of 5 degrees. For flat poses the answer is exact; a body
// that fits only when tilted by an angle between the steps is missed.
func Fits(points []geom.Vec3, p shop.Printer) (geom.Frame, bool) {
	return fitsIn(points, Usable(p))
}

func fitsIn(points []geom.Vec3, u geom.Vec3) (geom.Frame, bool) {
	if f, ok := fitsAlong(points, worldAxes, u); ok {
		return f, true
	}
	if diameterExceeds(points, u.Len()) {
		return geom.Frame{}, false
	}
	normals := hullNormals(points)
	if f, ok := fitsAlong(points, normals, u); ok {
		return f, true
	}
	for _, down := range normals[:min(len(normals), maxCandidates)] {
		if f, ok := fitTilted(points, down, u); ok {
			return f, true
		}
	}
	return geom.Frame{}, false
}

// FitsFlat is Fits for the given downward directions only, which are best the
// outward normals of the body's large flat faces; they are tried in order. It
// needs no hull and is fast enough for the inner loop of a search.
func FitsFlat(points, normals []geom.Vec3, p shop.Printer) (geom.Frame, bool) {
	return fitsAlong(points, normals, Usable(p))
}

var worldAxes = []geom.Vec3{{Z: -1}, {Y: -1}, {X: -1}}

// maxCandidates bounds how many downward directions are looked at in depth.
const maxCandidates = 12

func fitsAlong(points, downs []geom.Vec3, u geom.Vec3) (geom.Frame, bool) {
	for _, down := range downs {
		if f, ok := fitDown(points, down, u); ok {
			return f, true
		}
	}
	return geom.Frame{}, false
}

// fitDown looks for a turn about the vertical with which the points fit u
// when the direction down points to the bed.
func fitDown(points []geom.Vec3, down, u geom.Vec3) (geom.Frame, bool) {
	frame := geom.FrameFromZ(geom.Vec3{}, down.Neg())
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		z := p.Dot(frame.Z)
		low, high = min(low, z), max(high, z)
	}
	if !(high-low <= u.Z+fitSlack) {
		return geom.Frame{}, false
	}
	flat := make([]geom.Vec2, len(points))
	for i, p := range points {
		flat[i] = frame.LocalDir(p).XY()
	}
	turn, ok := fitRectangle(hull2(flat), u.XY())
	if !ok {
		return geom.Frame{}, false
	}
	return seat(points, frame, turn), true
}

// seat turns the frame's axes so that points turn by the angle turn about the
// vertical, and puts its origin at the least corner of the points.
func seat(points []geom.Vec3, frame geom.Frame, turn float64) geom.Frame {
	s, c := math.Sincos(turn)
	f := geom.Frame{
		X: frame.X.Scale(c).Sub(frame.Y.Scale(s)).Unit(),
		Z: frame.Z,
	}
	f.Y = f.Z.Cross(f.X)
	box := geom.EmptyBox3()
	for _, p := range points {
		box = box.Add(f.LocalDir(p))
	}
	f.Origin = f.Dir(box.Min)
	return f
}

// fitTilted tilts the pose with down on the bed about the horizontal that is
// square to the footprint's longest direction, in steps of 5 degrees.
func fitTilted(points []geom.Vec3, down, u geom.Vec3) (geom.Frame, bool) {
	frame := geom.FrameFromZ(geom.Vec3{}, down.Neg())
	flat := make([]geom.Vec2, len(points))
	for i, p := range points {
		flat[i] = frame.LocalDir(p).XY()
	}
	long, _ := farthest(hull2(flat))
	for step := 1; step < 18; step++ {
		for _, sign := range []float64{1, -1} {
			s, c := math.Sincos(sign * float64(step) * 5 * math.Pi / 180)
			tilted := down.Scale(c).Add(frame.Dir(geom.V3(long.X, long.Y, 0)).Scale(s))
			if f, ok := fitDown(points, tilted.Unit(), u); ok {
				return f, true
			}
		}
	}
	return geom.Frame{}, false
}

func diameterExceeds(points []geom.Vec3, d float64) bool {
	// The extent along any direction is a lower bound of the diameter.
	box := geom.EmptyBox3()
	for _, p := range points {
		box = box.Add(p)
	}
	s := box.Size()
	return max(s.X, s.Y, s.Z) > d+fitSlack
}

// hull2 is the convex hull, counter-clockwise from the leftmost point, without
// collinear points (Andrew's monotone chain).
func hull2(points []geom.Vec2) geom.Polygon {
	p := slices.Clone(points)
	slices.SortFunc(p, func(a, b geom.Vec2) int {
		return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y))
	})
	p = slices.Compact(p)
	if len(p) < 3 {
		return p
	}
	h := make(geom.Polygon, 0, 2*len(p))
	chain := func(q geom.Vec2, base int) {
		for len(h) >= base+2 && h[len(h)-1].Sub(h[len(h)-2]).Cross(q.Sub(h[len(h)-2])) <= 0 {
			h = h[:len(h)-1]
		}
		h = append(h, q)
	}
	for _, q := range p {
		chain(q, 0)
	}
	base := len(h) - 1
	for i := len(p) - 2; i >= 0; i-- {
		chain(p[i], base)
	}
	return h[:len(h)-1]
}

// farthestPair are the ends of the hull's diameter.
func farthestPair(hull geom.Polygon) (from, to geom.Vec2) {
	from, to = hull[0], hull[0]
	for i, a := range hull {
		for _, b := range hull[i+1:] {
			if a.Dist(b) > from.Dist(to) {
				from, to = a, b
			}
		}
	}
	return from, to
}

// farthest is the unit direction and length of the hull's diameter.
func farthest(hull geom.Polygon) (geom.Vec2, float64) {
	from, to := farthestPair(hull)
	if from == to {
		return geom.V2(1, 0), 0
	}
	return to.Sub(from).Unit(), to.Dist(from)
}

// width is the least distance between two parallel lines that hold the hull.
func width(hull geom.Polygon) float64 {
	if len(hull) < 3 {
		return 0
	}
	least := math.Inf(1)
	for i, a := range hull {
		n := hull[(i+1)%len(hull)].Sub(a).Unit().Left()
		far := 0.0
		for _, q := range hull {
			far = max(far, n.Dot(q.Sub(a)))
		}
		least = min(least, far)
	}
	return least
}

// fitRectangle finds an angle to turn the convex hull by so that it fits an
// axis-parallel rectangle of the given size. It is exact. Among turns that lay
// an edge of the hull along an axis the one with the smallest bounding
// rectangle is preferred; without one, the middle of the widest range of
// angles that fit is taken.
//
// The box is turned about the hull instead (rotating callipers, Toussaint
// 1983): between two events, at which a side of the box comes to lie on an
// edge, the box touches the same four corners, and its width is the length of
// a fixed chord times the cosine of an angle. So each range is solved in
// closed form.
func fitRectangle(hull geom.Polygon, size geom.Vec2) (float64, bool) {
	if !(size.X > 0 && size.Y > 0) || len(hull) == 0 {
		return 0, false
	}
	// Edges shorter than rounding have no direction worth the name. Leaving out
	// their ends moves the answer by less than the slack.
	hull = slices.CompactFunc(slices.Clone(hull), func(a, b geom.Vec2) bool { return a.Dist(b) < fitSlack/10 })
	for len(hull) > 1 && hull[0].Dist(hull[len(hull)-1]) < fitSlack/10 {
		hull = hull[:len(hull)-1]
	}
	if len(hull) > 2 && width(hull) < fitSlack {
		a, b := farthestPair(hull)
		hull = geom.Polygon{a, b}
	}
	sx, sy := size.X+fitSlack, size.Y+fitSlack
	if len(hull) < 3 { // a point or a segment
		long, l := farthest(hull)
		switch {
		case l <= sx:
			return -long.Angle(), true
		case l <= sy:
			return math.Pi/2 - long.Angle(), true
		case l <= math.Hypot(sx, sy):
			return math.Atan2(sy, sx) - long.Angle(), true
		}
		return 0, false
	}
	n := len(hull)
	edge := make([]float64, n) // direction of the edge that leaves each corner, growing from edge[0]
	for i := range hull {
		edge[i] = hull[(i+1)%n].Sub(hull[i]).Angle()
		for i > 0 && edge[i] < edge[i-1]-1e-12 {
			edge[i] += 2 * math.Pi
		}
	}
	// touch[q] is the corner farthest in the direction theta + q quarter turns.
	// It moves on when the direction passes the outward normal of the edge
	// that leaves it, which is edge - pi/2.
	var touch [4]int
	var lap [4]float64 // full turns added to edge[touch]
	start := edge[0]   // the box's first axis lies along edge 0
	for q := range touch {
		dir := start + float64(q)*math.Pi/2
		d := geom.V2(math.Cos(dir), math.Sin(dir))
		best := 0
		for i, p := range hull {
			if p.Dot(d) > hull[best].Dot(d)+1e-12 {
				best = i
			}
		}
		touch[q] = best
		for edge[best]+lap[q]-math.Pi/2 < dir-1e-9 {
			lap[q] += 2 * math.Pi
		}
		for edge[best]+lap[q]-math.Pi/2 > dir+2*math.Pi-1e-9 {
			lap[q] -= 2 * math.Pi
		}
	}
	bestArea, bestTurn, flush := math.Inf(1), 0.0, false
	widest, between := 0.0, 0.0
	any := false
	theta := start
	for theta < start+math.Pi-1e-12 {
		next, who := math.Inf(1), 0
		for q := range touch {
			at := edge[touch[q]] + lap[q] - math.Pi/2 - float64(q)*math.Pi/2
			if at < next {
				next, who = at, q
			}
		}
		end := min(max(next, theta), start+math.Pi)
		across := hull[touch[0]].Sub(hull[touch[2]])
		along := hull[touch[1]].Sub(hull[touch[3]])
		u := geom.V2(math.Cos(theta), math.Sin(theta))
		w, h := across.Dot(u), along.Dot(u.Left())
		if w <= sx && h <= sy && w*h < bestArea*(1-1e-9) {
			bestArea, bestTurn, flush = w*h, -theta, true
		}
		if !flush && end > theta {
			free := clip([][2]float64{{theta, end}}, across.Len(), across.Angle(), sx)
			free = clip(free, along.Len(), along.Angle()-math.Pi/2, sy)
			for _, r := range free {
				if r[1]-r[0] > widest || !any {
					widest, between, any = r[1]-r[0], -(r[0]+r[1])/2, true
				}
			}
		}
		theta = end
		touch[who] = (touch[who] + 1) % n
		if touch[who] == 0 {
			lap[who] += 2 * math.Pi
		}
	}
	switch turn := bestTurn; {
	case flush && turnFits(hull, turn, sx, sy):
		return tidyAngle(turn), true
	case !flush && any && turnFits(hull, between, sx, sy):
		return tidyAngle(between), true
	case flush || any:
		// The callipers went wrong: on a hull with many edges in almost one
		// direction they may take them in the wrong order. Every edge is tried.
		return tryEdges(hull, edge, sx, sy)
	}
	return 0, false
}

// turnFits reports whether the hull, turned, fits a rectangle.
func turnFits(hull geom.Polygon, turn, sx, sy float64) bool {
	size := extentTurned(hull, turn)
	return size.X <= sx && size.Y <= sy
}

func extentTurned(hull geom.Polygon, turn float64) geom.Vec2 {
	box := geom.EmptyBox2()
	for _, p := range hull {
		box = box.Add(p.Rotate(turn))
	}
	return box.Size()
}

// tryEdges is the turn of least area that lays an edge of the hull along a side
// of the rectangle, or half way between two such turns, and fits.
func tryEdges(hull geom.Polygon, edge []float64, sx, sy float64) (float64, bool) {
	turns := make([]float64, 0, 8*len(edge))
	for _, e := range edge {
		for q := range 4 {
			turns = append(turns, math.Remainder(float64(q)*math.Pi/2-e, 2*math.Pi))
		}
	}
	slices.Sort(turns)
	best, at := math.Inf(1), 0.0
	for i, t := range turns {
		for _, turn := range []float64{t, (t + turns[(i+1)%len(turns)]) / 2} {
			if size := extentTurned(hull, turn); size.X <= sx && size.Y <= sy && size.X*size.Y < best {
				best, at = size.X*size.Y, turn
			}
		}
	}
	return tidyAngle(at), !math.IsInf(best, 1)
}

// clip keeps of the ranges of theta those parts where a cos(theta-at) <= limit.
func clip(ranges [][2]float64, a, at, limit float64) [][2]float64 {
	if a <= limit {
		return ranges
	}
	half := math.Acos(limit / a)
	var out [][2]float64
	for _, r := range ranges {
		mid := (r[0] + r[1]) / 2
		c := at + 2*math.Pi*math.Round((mid-at)/(2*math.Pi))
		if lo := min(r[1], c-half); lo >= r[0] {
			out = append(out, [2]float64{r[0], lo})
		}
		if hi := max(r[0], c+half); hi <= r[1] {
			out = append(out, [2]float64{hi, r[1]})
		}
	}
	return out
}

// tidyAngle brings an angle into (-pi, pi] and snaps it to 0 or a quarter turn
// when it is within rounding of it, so that boards lie truly square.
func tidyAngle(a float64) float64 {
	a = math.Remainder(a, 2*math.Pi)
	q := math.Round(a / (math.Pi / 2))
	if math.Abs(a-q*math.Pi/2) < 1e-12 {
		a = q * math.Pi / 2
	}
	return a
}

// hullNormals are the outward normals of the convex hull's faces, largest face
// first; coplanar triangles count as one face. For points in one plane they
// are the plane's two normals.
func hullNormals(points []geom.Vec3) []geom.Vec3 {
	corners, faces := hull3(points)
	if faces == nil {
		if n, ok := planeNormal(points); ok {
			return []geom.Vec3{n, n.Neg()}
		}
		return nil
	}
	var out []direction
	for _, f := range faces {
		n := corners[f[1]].Sub(corners[f[0]]).Cross(corners[f[2]].Sub(corners[f[0]]))
		if l := n.Len(); l > 1e-6 {
			out = append(out, direction{n.Scale(1 / l), l / 2})
		}
	}
	merged := mergeDirections(out)
	normals := make([]geom.Vec3, len(merged))
	for i, d := range merged {
		normals[i] = d.n
	}
	return normals
}

// direction is a normal with the area that faces that way.
type direction struct {
	n    geom.Vec3
	area float64
}

// sameWay is the cosine of the angle, 0.1 degrees, within which two facets
// count as parts of one flat face.
const sameWay = 1 - 1.5e-6

// mergeDirections joins directions that are nearly equal and returns them by
// falling area; the normal of each is that of its largest part.
func mergeDirections(in []direction) []direction {
	slices.SortStableFunc(in, func(a, b direction) int {
		return cmp.Or(cmp.Compare(b.area, a.area), cmp.Compare(a.n.Z, b.n.Z), cmp.Compare(a.n.Y, b.n.Y), cmp.Compare(a.n.X, b.n.X))
	})
	var out []direction
next:
	for _, d := range in {
		for i := range out {
			if out[i].n.Dot(d.n) > sameWay {
				out[i].area += d.area
				continue next
			}
		}
		out = append(out, d)
	}
	slices.SortStableFunc(out, func(a, b direction) int { return cmp.Compare(b.area, a.area) })
	return out
}

// hull3 is the convex hull by insertion, O(n · faces). Corners are moved by up
// to 1e-7 of the size so that no four are coplanar, which furniture's always
// are; faces of the unmoved body are then found again by direction. It returns
// no faces if the points lie in a plane.
func hull3(points []geom.Vec3) ([]geom.Vec3, [][3]int) {
	box := geom.EmptyBox3()
	for _, p := range points {
		box = box.Add(p)
	}
	size := box.Size().Len()
	if len(points) < 4 || size == 0 || math.IsInf(size, 0) || math.IsNaN(size) {
		return nil, nil
	}
	seed := uint64(1)
	jitter := func() float64 {
		seed = seed*6364136223846793005 + 1442695040888963407
		return (float64(seed>>40)/(1<<24) - 0.5) * size * 2e-7
	}
	p := make([]geom.Vec3, len(points))
	for i, q := range points {
		p[i] = q.Add(geom.V3(jitter(), jitter(), jitter()))
	}
	far := func(measure func(geom.Vec3) float64) (int, float64) {
		best, at := math.Inf(-1), 0
		for i, q := range p {
			if m := measure(q); m > best {
				best, at = m, i
			}
		}
		return at, best
	}
	a, _ := far(func(q geom.Vec3) float64 { return -q.X - q.Y/3 - q.Z/7 })
	b, _ := far(func(q geom.Vec3) float64 { return q.Dist(p[a]) })
	line := p[b].Sub(p[a]).Unit()
	c, wide := far(func(q geom.Vec3) float64 { return q.Sub(p[a]).Cross(line).Len() })
	normal := p[b].Sub(p[a]).Cross(p[c].Sub(p[a])).Unit()
	d, thick := far(func(q geom.Vec3) float64 { return math.Abs(q.Sub(p[a]).Dot(normal)) })
	if wide < size*1e-5 || thick < size*1e-5 {
		return nil, nil
	}
	if p[d].Sub(p[a]).Dot(normal) > 0 {
		b, c = c, b
	}
	type face struct {
		v      [3]int
		n      geom.Vec3
		offset float64
	}
	makeFace := func(i, j, k int) face {
		n := p[j].Sub(p[i]).Cross(p[k].Sub(p[i]))
		return face{[3]int{i, j, k}, n, n.Dot(p[i])}
	}
	faces := []face{makeFace(a, b, c), makeFace(a, d, b), makeFace(b, d, c), makeFace(c, d, a)}
	seen := map[[2]int]bool{}
	for i, q := range p {
		if i == a || i == b || i == c || i == d {
			continue
		}
		clear(seen)
		var rim [][2]int
		kept := faces[:0:0]
		for _, f := range faces {
			if f.n.Dot(q) <= f.offset {
				kept = append(kept, f)
				continue
			}
			for j := range 3 {
				e := [2]int{f.v[j], f.v[(j+1)%3]}
				seen[e] = true
				rim = append(rim, e)
			}
		}
		if len(rim) == 0 {
			continue
		}
		for _, e := range rim {
			if !seen[[2]int{e[1], e[0]}] {
				kept = append(kept, makeFace(e[0], e[1], i))
			}
		}
		faces = kept
	}
	out := make([][3]int, len(faces))
	for i, f := range faces {
		out[i] = f.v
	}
	return points, out
}

func planeNormal(points []geom.Vec3) (geom.Vec3, bool) {
	var best geom.Vec3
	for i := 2; i < len(points); i++ {
		n := points[1].Sub(points[0]).Cross(points[i].Sub(points[0]))
		if n.Len() > best.Len() {
			best = n
		}
	}
	return best.Unit(), best.Len() > 0
}
