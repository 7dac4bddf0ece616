package surface

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// How FitPath tells a curve from a polygon whose corners happen to lie on one.
const (
	// pathFlatTurn is the sharpest turn from chord to chord of a curve that
	// nothing else vouches for: that of twelve chords to the circle. A regular
	// polygon of fewer sides than twelve keeps its flats.
	pathFlatTurn = 31 * math.Pi / 180
	// pathFilletTurn is the sharpest turn from chord to chord of an arc that is
	// tangent to what lies at both its ends: eight chords to the circle.
	pathFilletTurn = 50 * math.Pi / 180
	// pathJump is how many times farther off the first point beyond an arc must
	// lie than the worst within it. On a curve whose curvature changes evenly
	// the ratio is 7 to 21 for arcs of five points and less for longer ones
	// (ratios of discrete orthogonal polynomials of degree 3 and 4).
	pathJump = 40
	// pathOvalJump is the same for ellipses (degree 5 and 6, nine points).
	pathOvalJump = 60
	// pathChange is the change of curvature, as a share, that ends an arc of
	// three chords: four points that lie evenly on both sides of a place where
	// the curvature is greatest or least are always on one circle.
	pathChange = 0.5
	// pathLong is how much longer than the others a chord of an arc may be. The
	// ends of a flat that cuts a circle lie on the circle, too.
	pathLong = 1.8
)

// FitPath is the path of straight lines, circular and elliptical arcs and
// smooth cubics whose vertices the points are, in mm: points of a drawn curve,
// each within tol of it, in order. The chords between them may stray from the
// curve as far as they like.
//
// Points on one line make a line, points on one circle or ellipse an arc, if
// there are more of them than the curve needs to be laid through them, and it
// ends abruptly: otherwise it would be a stretch of some other curve. Few
// chords make an arc where it is tangent to its neighbours at both ends. What
// is left is a smooth run if its curvature changes gently from chord to chord,
// and becomes cubics with a common tangent where they meet; else lines. A
// polygon of equal sides that turns by more than 31° from each to the next
// stays one.
//
// Corners stay where they are. Where neighbours are tangent within what tol
// leaves open, they are made tangent exactly, and radii that agree as well are
// made equal. A whole circle or ellipse comes in quarters. The path is empty
// if the points enclose or span nothing.
func FitPath(points []geom.Vec2, closed bool, tol float64) geom.Path {
	f := &pathFit{closed: closed, tol: tol}
	size := geom.EmptyBox2()
	for _, q := range points {
		size = size.Add(q)
		if n := len(f.p); n == 0 || q.Dist(f.p[n-1]) > tol {
			f.p = append(f.p, q)
		}
	}
	for closed && len(f.p) > 1 && f.p[0].Dist(f.p[len(f.p)-1]) <= tol {
		f.p = f.p[:len(f.p)-1]
	}
	f.n = len(f.p)
	if !closed {
		if f.n > 1 {
			f.p[f.n-1] = points[len(points)-1]
		}
		f.n--
	}
	if f.n < 1 || closed && f.n < 3 {
		return geom.Path{Closed: closed}
	}
	f.floor = 1e-9 + 1e-8*size.Size().Len() // nothing is measured finer than this
	f.taken = make([]bool, f.n)
	if !f.wholeOval() {
		f.findArcs()
		f.findFillets()
		f.findOvals()
		f.findRest()
	}
	return f.path()
}

// pathFit is the work of FitPath. Chord k runs from point k to point k+1;
// indices past the end of a closed path wrap.
type pathFit struct {
	p      []geom.Vec2
	n      int // chords
	closed bool
	tol    float64
	floor  float64
	taken  []bool // by chord
	runs   []pathRun
}

// pathRun is the chords from i to j, i < j, as one curve.
type pathRun struct {
	i, j  int
	curve pathCurve // nil for a smooth free run
	fixed bool      // a line: its curvature is zero for good
}

func (f *pathFit) at(i int) geom.Vec2 {
	if f.closed {
		i = ((i % f.n) + f.n) % f.n
	}
	return f.p[i]
}

func (f *pathFit) has(chord int) bool { return f.closed || chord >= 0 && chord < f.n }

func (f *pathFit) isTaken(chord int) bool {
	return f.taken[((chord%f.n)+f.n)%f.n]
}

func (f *pathFit) points(i, j int) []geom.Vec2 {
	out := make([]geom.Vec2, 0, j-i+1)
	for k := i; k <= j; k++ {
		out = append(out, f.at(k))
	}
	if f.closed && j-i == f.n { // the first point once
		out = out[:len(out)-1]
	}
	return out
}

func (f *pathFit) chord(k int) geom.Vec2 { return f.at(k + 1).Sub(f.at(k)) }

// turn is the angle from chord k-1 to chord k, at point k.
func (f *pathFit) turn(k int) float64 {
	a, b := f.chord(k-1), f.chord(k)
	return math.Atan2(a.Cross(b), a.Dot(b))
}

func (f *pathFit) take(r pathRun) {
	for k := r.i; k < r.j; k++ {
		f.taken[((k%f.n)+f.n)%f.n] = true
	}
	for f.closed && r.i >= f.n {
		r.i, r.j = r.i-f.n, r.j-f.n
	}
	for r.i < 0 {
		r.i, r.j = r.i+f.n, r.j+f.n
	}
	f.runs = append(f.runs, r)
}

// straight reports whether a bend strays no farther than tol from a line over
// the length of the run.
func (f *pathFit) straight(b pathBend, i, j int) bool {
	l := 0.0
	for k := i; k < j; k++ {
		l += f.chord(k).Len()
	}
	return math.Abs(b.k)*l*l/8 <= f.tol/2
}

// findArcs takes every line through three and more points and every arc
// through five and more that ends abruptly.
func (f *pathFit) findArcs() {
	for i := 0; i < f.n; {
		if !f.has(i+1) || f.isTaken(i) {
			i++
			continue
		}
		r, off, ok := f.grow(i)
		if ok && f.vouched(r, off) {
			f.take(r)
			if r.j-r.i >= f.n {
				return
			}
			i = max(i+1, r.j)
			continue
		}
		i++
	}
}

// grow is the longest run on one line or circle that has chords i and i+1 in
// it, and how far its points lie off.
func (f *pathFit) grow(i int) (pathRun, float64, bool) {
	if f.isTaken(i+1) || math.Abs(f.turn(i+1)) > pathFilletTurn {
		return pathRun{}, 0, false
	}
	r := pathRun{i: i, j: i + 2}
	b := bendThrough(f.at(i), f.at(i+1), f.at(i+2))
	longest := max(f.chord(i).Len(), f.chord(i+1).Len())
	off := 0.0
	try := func(i, j, chord, corner int) bool {
		if j-i > f.n || !f.has(chord) || f.isTaken(chord) || math.Abs(f.turn(corner)) > pathFilletTurn {
			return false
		}
		l := f.chord(chord).Len()
		if l > pathLong*longest && !f.straight(b, r.i, r.j) {
			return false
		}
		end := f.at(chord)
		if chord == j-1 {
			end = f.at(j)
		}
		if math.Abs(b.distance(end)) > 20*f.tol {
			return false
		}
		pts := f.points(i, j)
		c := b.fit(pts)
		o := worstOff(c, pts)
		if !(o <= f.tol) {
			return false
		}
		b, off, longest = c, o, max(longest, l)
		r.i, r.j = i, j
		return true
	}
	for try(r.i, r.j+1, r.j, r.j) {
	}
	for try(r.i-1, r.j, r.i-1, r.i) {
	}
	line := b
	line.k = 0
	pts := f.points(r.i, r.j)
	line = line.fitLine(pts)
	// The curvature of few points is not known to where their line is known:
	// one of two that stand close together at the end of a long line may seem
	// to bend it.
	if o := worstOff(line, pts); o <= f.tol/4 || f.straight(b, r.i, r.j) {
		b, off, r.fixed = line, o, true
		if off > f.tol {
			return r, off, false
		}
	}
	r.curve = b
	return r, off, true
}

// vouched reports whether there is more to a run than that a curve can always
// be laid through a few points.
func (f *pathFit) vouched(r pathRun, off float64) bool {
	b := r.curve.(pathBend)
	n := r.j - r.i
	if n >= f.n && f.closed {
		return !r.fixed && n >= 12 && f.evenTurns(r, pathFlatTurn) && f.evenChords(r, pathLong)
	}
	longest := 0.0
	for k := r.i; k < r.j; k++ {
		longest = max(longest, f.chord(k).Len())
	}
	first, last := f.end(b, off, longest, r.i-1, r.i-1, r.i), f.end(b, off, longest, r.j, r.j+1, r.j)
	if r.fixed {
		return first > 0 && last > 0
	}
	if n < 3 || !f.evenChords(r, pathLong) || !f.evenTurns(r, pathFlatTurn) {
		return false
	}
	if n == 3 {
		return first > 1 && last > 1 && f.evenChords(r, 1.02) && f.evenTurns(r, 20*math.Pi/180)
	}
	return first > 0 && last > 0
}

// end says how surely a bend ends at the point at: 0 not, 1 judged by the
// jump, 2 by a great change of curvature or a corner. beyond is the next point,
// at the other end of the given chord.
func (f *pathFit) end(b pathBend, off, longest float64, chord, beyond, at int) int {
	if !f.has(chord) {
		return 2
	}
	l := f.at(beyond).Dist(f.at(at))
	d := math.Abs(b.distance(f.at(beyond)))
	switch {
	case b.k != 0 && l > pathLong*longest:
		return 2
	case d < pathJump*max(off, f.floor) || d <= f.tol:
		return 0
	case b.k != 0 && d >= pathChange*math.Abs(b.k)*l*l/2:
		return 2
	}
	return 1
}

func (f *pathFit) evenTurns(r pathRun, limit float64) bool {
	for k := r.i + 1; k < r.j; k++ {
		if math.Abs(f.turn(k)) > limit {
			return false
		}
	}
	return !(f.closed && r.j-r.i >= f.n) || math.Abs(f.turn(r.i)) <= limit
}

// evenChords reports whether no chord is longer than times the median.
func (f *pathFit) evenChords(r pathRun, times float64) bool {
	var l []float64
	for k := r.i; k < r.j; k++ {
		l = append(l, f.chord(k).Len())
	}
	slices.Sort(l)
	return l[len(l)-1] <= times*l[len(l)/2]
}

// findFillets takes arcs of two and more chords that are tangent to what lies
// at both their ends.
func (f *pathFit) findFillets() {
	for i := 0; i < f.n; i++ {
		if f.isTaken(i) {
			continue
		}
		most := 1
		for f.has(i+most) && !f.isTaken(i+most) && most < 16 && most < f.n-1 && math.Abs(f.turn(i+most)) < pathFilletTurn {
			most++
		}
		for n := most; n >= 2; n-- {
			pts := f.points(i, i+n)
			b := bendThrough(pts[0], pts[n/2], pts[n]).fit(pts)
			r := pathRun{i: i, j: i + n, curve: b}
			if !(worstOff(b, pts) <= f.tol) || f.straight(b, i, i+n) || !f.evenChords(r, pathLong) {
				continue
			}
			if f.tangentAt(b, i, -1, n) && f.tangentAt(b, i+n, 1, n) {
				f.take(r)
				break
			}
		}
	}
}

// tangentAt reports whether the curve is tangent, at the point k, to what comes
// before (side -1) or after it.
func (f *pathFit) tangentAt(c pathBend, k, side, n int) bool {
	chord := k
	if side < 0 {
		chord = k - 1
	}
	if !f.has(chord) {
		return false
	}
	dir := f.chord(chord)
	l := dir.Len()
	if g := f.runOf(chord); g != nil && g.curve != nil {
		dir, l = g.curve.heading(f.at(k)), f.at(g.i).Dist(f.at(g.j))
		if f.at(g.i) == f.at(g.j) {
			return false
		}
	}
	own := f.at(k).Dist(f.at(k - side*n))
	limit := 1e-3 + 2*f.tol/max(min(l, own), f.tol)
	// Half of the turn from chord to chord is what it would be if the curve ran on.
	limit = min(limit, 0.15*math.Abs(c.k)*own/float64(n))
	return math.Abs(angleBetween(dir, c.heading(f.at(k)))) < limit
}

// runOf is the run that has taken the chord, if any.
func (f *pathFit) runOf(chord int) *pathRun {
	if !f.isTaken(chord) {
		return nil
	}
	for k := range f.runs {
		r := &f.runs[k]
		for _, c := range []int{chord - f.n, chord, chord + f.n} {
			if c >= r.i && c < r.j {
				return r
			}
		}
	}
	return nil
}

func angleBetween(a, b geom.Vec2) float64 { return math.Atan2(a.Cross(b), a.Dot(b)) }

// gaps calls do for every longest run of chords that are not taken; a whole
// closed path is one from 0 to n.
func (f *pathFit) gaps(do func(i, j int)) {
	start := 0
	if f.closed {
		for start < f.n && !f.taken[start] {
			start++
		}
		if start == f.n {
			do(0, f.n)
			return
		}
	}
	var found [][2]int
	for i := start; i < start+f.n; {
		if !f.has(i) {
			break
		}
		if f.isTaken(i) {
			i++
			continue
		}
		j := i
		for j < start+f.n && f.has(j) && !f.isTaken(j) {
			j++
		}
		found = append(found, [2]int{i, j})
		i = j
	}
	for _, g := range found {
		do(g[0], g[1])
	}
}

// wholeOval takes the whole closed path if it is one ellipse.
func (f *pathFit) wholeOval() bool {
	whole := pathRun{i: 0, j: f.n}
	if !f.closed || f.n < 12 || !f.evenTurns(whole, pathFilletTurn) || !f.evenChords(whole, 4) {
		return false
	}
	pts := f.points(0, f.n)
	// A circle is found as one.
	if b := bendThrough(pts[0], pts[f.n/3], pts[2*f.n/3]).fit(pts); worstOff(b, pts) <= f.tol {
		return false
	}
	c, ok := fitOval(pts)
	if !ok || !(worstOff(c, pts) <= f.tol) {
		return false
	}
	whole.curve = c
	f.take(whole)
	return true
}

// findOvals takes elliptical arcs out of what no circle has taken.
func (f *pathFit) findOvals() {
	f.gaps(func(i, j int) {
		for _, part := range f.smoothParts(i, j) {
			a, b := part[0], part[1]
			if b-a >= 6 && b-a < f.n { // all of it, between corners and straights
				pts := f.points(a, b)
				if c, ok := fitOval(pts); ok && worstOff(c, pts) <= f.tol && c.plausible() {
					f.take(pathRun{i: a, j: b, curve: c})
					continue
				}
			}
			f.ovalsIn(a, b)
		}
	})
}

func (f *pathFit) ovalsIn(a, b int) {
	const least = 8 // chords: nine points for five unknowns
	for i := a; i+least <= b; i++ {
		end := min(b, i+f.n-1)
		j := i + least
		c, ok := fitOval(f.points(i, j))
		pts := f.points(i, j)
		if !ok || !(worstOff(c, pts) <= f.tol) {
			continue
		}
		off := worstOff(c, pts)
		for j < end && math.Abs(c.distance(f.at(j+1))) <= 20*f.tol {
			pts = f.points(i, j+1)
			d := c.fit(pts)
			o := worstOff(d, pts)
			if !(o <= f.tol) {
				break
			}
			j, c, off = j+1, d, o
		}
		sudden := func(chord, beyond int) bool {
			if !f.has(chord) {
				return true
			}
			return math.Abs(c.distance(f.at(beyond))) >= max(pathOvalJump*max(off, f.floor), f.tol)
		}
		if sudden(i-1, i-1) && sudden(j, j+1) && c.plausible() {
			f.take(pathRun{i: i, j: j, curve: c})
			i = j - 1
		}
	}
}

// findRest takes what is left: lines and smooth free runs.
func (f *pathFit) findRest() {
	line := func(k int) {
		b := pathBend{q: f.at(k).Lerp(f.at(k+1), 0.5), a: f.chord(k).Angle()}
		f.take(pathRun{i: k, j: k + 1, curve: b, fixed: true})
	}
	f.gaps(func(i, j int) {
		for _, part := range f.smoothParts(i, j) {
			if part[1]-part[0] < 4 {
				for k := part[0]; k < part[1]; k++ {
					line(k)
				}
				continue
			}
			f.take(pathRun{i: part[0], j: part[1]})
		}
	})
}

// smoothParts divides the chords from i to j at corners and takes straight
// chords out: parts of four and more chords are smooth.
//
// The curvature at a point is that of the circle through it and its
// neighbours. It changes gently along a curve, whatever the chords, but is far
// greater at a corner than on both sides of it. A line that runs into a curve
// shows as a chord that would bulge far more than those beside it if it were
// part of the curve.
func (f *pathFit) smoothParts(i, j int) [][2]int {
	whole := f.closed && j-i == f.n
	bend := func(v int) float64 { return math.Abs(bendThrough(f.at(v-1), f.at(v), f.at(v+1)).k) }
	inside := func(v int) bool { return whole || v > i && v < j }
	corner := make(map[int]bool)
	for v := i; v < j; v++ {
		if !inside(v) {
			continue
		}
		t := math.Abs(f.turn(v))
		near := 0.0
		if inside(v - 1) {
			near = bend(v - 1)
		}
		if inside(v + 1) {
			near = max(near, bend(v+1))
		}
		corner[v] = t > pathFlatTurn || t > 0.5*math.Pi/180 && bend(v) > 2.5*near
	}
	start, stop := i, j
	if whole { // begin at a corner, if there is one
		for v := i; v < j; v++ {
			if corner[v] {
				start, stop = v, v+f.n
				break
			}
		}
	}
	isCorner := func(v int) bool {
		if v >= j && whole {
			v -= f.n
		}
		return corner[v]
	}
	var parts [][2]int
	for a := start; a < stop; {
		b := a + 1
		for b < stop && !isCorner(b) {
			b++
		}
		parts = append(parts, f.withoutLines(a, b, bend)...)
		a = b
	}
	return parts
}

// withoutLines divides the chords from a to b, which meet without a corner,
// at straight chords.
func (f *pathFit) withoutLines(a, b int, bend func(int) float64) [][2]int {
	if b-a < 4 {
		return [][2]int{{a, b}}
	}
	whole := f.closed && b-a == f.n
	inside := func(v int) bool { return whole || v > a && v < b }
	sag := func(k, v int) float64 { // of chord k, bent as at point v
		if !inside(v) {
			return math.Inf(1)
		}
		l := f.chord(k).Len()
		return bend(v) * l * l / 8
	}
	var parts [][2]int
	from := a
	for k := a; k < b; k++ {
		own := min(sag(k, k), sag(k, k+1))
		beside := 0.0
		if inside(k) && inside(k-1) {
			beside = sag(k-1, k-1)
		}
		if inside(k+1) && inside(k+2) {
			beside = max(beside, sag(k+1, k+2))
		}
		line := own > 4*beside && own > f.tol
		if !whole && k == a {
			line = line || f.runsStraight(f.points(a, a+4))
		}
		if !whole && k == b-1 {
			line = line || f.runsStraight(reversedPoints(f.points(b-4, b)))
		}
		if line {
			if k > from {
				parts = append(parts, [2]int{from, k})
			}
			parts = append(parts, [2]int{k, k + 1})
			from = k + 1
		}
	}
	if from < b {
		parts = append(parts, [2]int{from, b})
	}
	return parts
}

// runsStraight reports whether the first chord of the points is a line into
// which the curve through the others runs tangentially: if the chord were part
// of the curve, its direction would differ from the tangent by its half of the
// turn at the second point.
func (f *pathFit) runsStraight(pts []geom.Vec2) bool {
	a, b := pts[1].Sub(pts[0]), pts[2].Sub(pts[1])
	if a.Len() < 1.5*b.Len() {
		return false
	}
	return math.Abs(angleBetween(a, slopeIn(pts[1:], 0))) < 0.15*math.Abs(angleBetween(a, b))
}

// path joins the runs.
func (f *pathFit) path() geom.Path {
	slices.SortFunc(f.runs, func(a, b pathRun) int { return cmp.Compare(a.i, b.i) })
	out := geom.Path{Closed: f.closed}
	if len(f.runs) == 1 && f.closed {
		if c := f.runs[0].curve; c != nil {
			out.Segs = c.whole(f.points(0, f.n))
			return out
		}
	}
	joints := f.settle()
	for k, r := range f.runs {
		from, to := joints[k], joints[(k+1)%len(joints)]
		if r.curve != nil {
			out.Segs = append(out.Segs, r.curve.seg(from.p, to.p))
			continue
		}
		pts := f.points(r.i, r.j)
		if len(f.runs) == 1 && f.closed {
			out.Segs = append(out.Segs, fitLoop(pts, f.tol)...)
			continue
		}
		pts[0], pts[len(pts)-1] = from.p, to.p
		var t0, t1 *geom.Vec2
		near := func(t geom.Vec2, own geom.Vec2, l float64) *geom.Vec2 {
			if math.Abs(angleBetween(t, own)) < 0.02+f.tol/l {
				return &t
			}
			return nil
		}
		e0, e1 := endTangent(pts), endTangent(reversedPoints(pts)).Scale(-1)
		prev, next := f.neighbour(k, -1), f.neighbour(k, 1)
		if prev != nil && prev.curve != nil {
			t0 = near(prev.curve.heading(from.p), e0, pts[0].Dist(pts[1]))
		}
		if next != nil && next.curve != nil {
			t1 = near(next.curve.heading(to.p), e1, pts[len(pts)-1].Dist(pts[len(pts)-2]))
		}
		out.Segs = append(out.Segs, fitFree(pts, t0, t1, f.tol)...)
	}
	// Ends are shared to the last bit.
	for k := range out.Segs {
		if k > 0 {
			out.Segs[k].P[0] = out.Segs[k-1].P[3]
		} else if f.closed {
			out.Segs[0].P[0] = out.Segs[len(out.Segs)-1].P[3]
		}
	}
	return out
}

// neighbour is the run before (-1) or after run k, nil at an open end.
func (f *pathFit) neighbour(k, side int) *pathRun {
	m := k + side
	if m < 0 || m >= len(f.runs) {
		if !f.closed || len(f.runs) == 1 {
			return nil
		}
		m = (m + len(f.runs)) % len(f.runs)
	}
	return &f.runs[m]
}
