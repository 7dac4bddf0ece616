package surface

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

const (
	// boardParallel is how far the normals of two broad sides may differ, as a
	// sine, to be looked at as parallel at all; their vertices decide.
	boardParallel = 2e-3
	// boardBeyond is how far, mm, an outline is carried on past its end cuts.
	boardBeyond = 1.0
)

// exactTolerance is how far, mm, a vertex may lie from the exact surfaces of a
// board or turning: a micrometre, or what is left of a large solid's digits.
func (s *Solid) exactTolerance() float64 {
	return max(1e-3, 3e-6*s.Bounds().Size().Len())
}

// Board is the solid as a board: a closed outline of constant thickness, with
// cut-outs that go right through, less what lies beyond its end cuts. Where
// several pairs of parallel sides would do, as in a box, the broad ones are
// those of which the smaller is largest; then those closest together.
//
// The face is the broad side that points more upward in the solid's
// coordinates: along +z, else -y, else +x. X is along the longer side of the
// smallest rectangle round the outline, toward the solid's +x, else +y, else
// +z; the origin lies on the back, in the middle of that rectangle. Outlines
// are carried on to 1 mm past their end cuts, along their own curves: straight,
// round, or along the tangent.
//
// The error says in a maker's words why the solid is not a board.
func (s *Solid) Board() (Board, error) {
	tol := s.exactTolerance()
	sides := s.flatSides(tol)
	if len(sides) == 0 {
		return Board{}, errors.New("it has no flat side")
	}
	type pair struct {
		face, back flatSide
		thick      float64
	}
	var pairs []pair
	for i, a := range sides {
		for _, b := range sides[i+1:] {
			if a.normal.Add(b.normal).Len() > boardParallel {
				continue
			}
			p := pair{face: a, back: b, thick: -(a.height(b.middle))}
			if p.thick <= 10*tol {
				continue
			}
			if !upward(a.normal) {
				p.face, p.back = b, a
			}
			pairs = append(pairs, p)
		}
	}
	if len(pairs) == 0 {
		if len(sides) > 1 {
			return Board{}, errors.New("its broad sides are not parallel")
		}
		return Board{}, errors.New("it has only one flat side")
	}
	// The reason given is that of the pair with the largest area.
	slices.SortStableFunc(pairs, func(a, b pair) int {
		return cmp.Compare(b.face.area+b.back.area, a.face.area+a.back.area)
	})
	var why error
	var best Board
	most := 0.0
	for _, p := range pairs {
		b, err := s.boardBetween(p.face, p.back, tol)
		switch {
		case err != nil:
			if why == nil {
				why = err
			}
		default:
			a := min(p.face.area, p.back.area)
			if a > most*(1+1e-4) || a > most*(1-1e-4) && b.Thickness < best.Thickness-tol {
				best, most = b, a
			}
		}
	}
	if best.Thickness == 0 {
		return Board{}, why
	}
	return best, nil
}

// flatSide is all plane faces of a solid that lie in one plane.
type flatSide struct {
	normal geom.Vec3
	middle geom.Vec3 // a point in the plane: the mean of its vertices
	area   float64
	faces  []int
}

func (f flatSide) height(p geom.Vec3) float64 { return f.normal.Dot(p.Sub(f.middle)) }

// flatSides are the solid's plane faces, those in one plane together, the
// largest first.
func (s *Solid) flatSides(tol float64) []flatSide {
	var out []flatSide
	for i := range s.Faces {
		f := &s.Faces[i]
		if f.Kind != Plane {
			continue
		}
		vs := s.faceVertices(i)
		k := slices.IndexFunc(out, func(o flatSide) bool {
			if o.normal.Dist(f.Frame.Z) > 1e-3 {
				return false
			}
			for _, v := range vs {
				if math.Abs(o.height(s.Vertices[v])) > tol {
					return false
				}
			}
			return true
		})
		if k < 0 {
			out = append(out, flatSide{normal: f.Frame.Z, middle: s.mean(vs)})
			k = len(out) - 1
		}
		out[k].area += f.Area
		out[k].faces = append(out[k].faces, i)
	}
	slices.SortStableFunc(out, func(a, b flatSide) int { return cmp.Compare(b.area, a.area) })
	return out
}

func (s *Solid) mean(vs []int32) geom.Vec3 {
	var m geom.Vec3
	for _, v := range vs {
		m = m.Add(s.Vertices[v])
	}
	return m.Scale(1 / float64(len(vs)))
}

// faceVertices are the vertices of a face, rising.
func (s *Solid) faceVertices(face int) []int32 {
	var vs []int32
	for _, t := range s.Faces[face].Triangles {
		k := s.Triangles[t]
		vs = append(vs, k[0], k[1], k[2])
	}
	slices.Sort(vs)
	return slices.Compact(vs)
}

// upward reports whether a direction points more upward than its opposite:
// along z, else -y, else x.
func upward(d geom.Vec3) bool {
	const level = 1e-6
	for _, x := range []float64{d.Z, -d.Y, d.X} {
		if math.Abs(x) > level {
			return x > 0
		}
	}
	return true
}

// forward is the same for a direction in a board: along x, else y, else z.
func forward(d geom.Vec3) bool {
	const level = 1e-6
	for _, x := range []float64{d.X, d.Y, d.Z} {
		if math.Abs(x) > level {
			return x > 0
		}
	}
	return true
}

// boardPart says what a face of the solid is to the board.
type boardPart struct {
	rim bool
	cut int // number of the end cut, from 0, if it is neither rim nor broad side; -1
}

// boardWork is the board between two parallel sides, being made out. Points
// are in the frame: z from the back, 0, to the face, thick.
type boardWork struct {
	s     *Solid
	tol   float64
	at    []geom.Vec3 // vertices in the frame
	thick float64
	parts []boardPart
	cuts  []geom.Plane
	twin  []int32
	slack float64 // mm² by which facets may change the area of the outline
}

func (s *Solid) boardBetween(face, back flatSide, tol float64) (Board, error) {
	up := face.normal.Scale(face.area).Sub(back.normal.Scale(back.area)).Unit()
	f := geom.FrameFromZ(back.middle, up)
	w := &boardWork{s: s, tol: tol, at: make([]geom.Vec3, len(s.Vertices)), twin: s.twin}
	if w.twin == nil {
		var err error
		if w.twin, err = twins(len(s.Vertices), s.Triangles); err != nil {
			return Board{}, err
		}
	}
	for i, v := range s.Vertices {
		w.at[i] = f.Local(v)
	}
	w.parts = make([]boardPart, len(s.Faces))
	for i := range w.parts {
		w.parts[i].cut = -1
	}
	broad := make([]bool, len(s.Faces))
	var level [2]float64
	for k, side := range []flatSide{back, face} {
		var lo, hi, sum float64
		n := 0
		lo, hi = math.Inf(1), math.Inf(-1)
		for _, i := range side.faces {
			broad[i] = true
			for _, v := range s.faceVertices(i) {
				z := w.at[v].Z
				lo, hi = min(lo, z), max(hi, z)
				sum += z
				n++
			}
		}
		if hi-lo > 2*tol {
			return Board{}, errors.New("its broad sides are not parallel")
		}
		level[k] = sum / float64(n)
	}
	for i := range w.at {
		w.at[i].Z -= level[0]
	}
	f.Origin = f.Origin.Add(f.Z.Scale(level[0]))
	w.thick = level[1] - level[0]
	for _, p := range w.at {
		if p.Z < -tol || p.Z > w.thick+tol {
			return Board{}, errors.New("it reaches beyond its two broad sides")
		}
	}
	if err := w.classify(broad); err != nil {
		return Board{}, err
	}
	loops, err := w.outlines()
	if err != nil {
		return Board{}, err
	}
	b := Board{Thickness: w.thick, Cuts: w.cuts}
	for _, l := range loops {
		if l.Area() > 0 {
			if len(b.Outline.Segs) > 0 {
				return Board{}, errors.New("its two broad sides do not hang together: it is more than one board")
			}
			b.Outline = l
		} else {
			b.Cutouts = append(b.Cutouts, l)
		}
	}
	if len(b.Outline.Segs) == 0 {
		return Board{}, errors.New("no outline can be made out between its two broad sides")
	}
	if err := w.check(&b, broad, face, back); err != nil {
		return Board{}, err
	}
	return b.placed(f, tol)
}

// classify tells rim faces from end cuts.
func (w *boardWork) classify(broad []bool) error {
	var planes []geom.Plane
	for i := range w.s.Faces {
		if broad[i] {
			continue
		}
		f := &w.s.Faces[i]
		if w.isRim(f) {
			w.parts[i].rim = true
			continue
		}
		up := func() float64 { // the face's slope: 1 if it is parallel to the broad sides
			var n geom.Vec3
			for _, t := range f.Triangles {
				n = n.Add(w.cross(t))
			}
			return n.Unit().Z
		}
		if f.Kind != Plane {
			switch {
			case (f.Kind == Cylinder || f.Kind == Cone) && f.Hollow:
				return errors.New("a bore or groove runs into it that does not go square through")
			case f.Kind == Sphere:
				return errors.New("it has a ball-shaped surface")
			}
			return errors.New("an edge or a broad side of it is rounded over or hollowed out")
		}
		n := up()
		if math.Abs(n) > 1-1e-6 {
			return errors.New("there is a step, groove or pocket in a broad side")
		}
		var pl geom.Plane
		var sum geom.Vec3
		for _, t := range f.Triangles {
			sum = sum.Add(w.cross(t))
		}
		vs := w.s.faceVertices(i)
		var mid geom.Vec3
		for _, v := range vs {
			mid = mid.Add(w.at[v].Scale(1 / float64(len(vs))))
		}
		pl = geom.PlaneAt(mid, sum)
		for _, p := range w.at {
			if pl.Distance(p) > w.tol {
				return errors.New("a slanting side of it does not cut right across: something stands out beyond it")
			}
		}
		k := slices.IndexFunc(planes, func(q geom.Plane) bool {
			return q.Normal.Dist(pl.Normal) < 1e-3 && math.Abs(q.Distance(mid)) < w.tol
		})
		if k < 0 {
			k = len(planes)
			planes = append(planes, pl)
		}
		w.parts[i].cut = k
	}
	w.cuts = planes
	return nil
}

func (w *boardWork) cross(t int32) geom.Vec3 {
	k := w.s.Triangles[t]
	a := w.at[k[0]]
	return w.at[k[1]].Sub(a).Cross(w.at[k[2]].Sub(a))
}

// isRim reports whether all the face's triangles stand square on the board, to
// within the tolerance over their own height.
func (w *boardWork) isRim(f *Face) bool {
	for _, t := range f.Triangles {
		n := w.cross(t)
		l := n.Len()
		if l == 0 {
			continue
		}
		k := w.s.Triangles[t]
		a, b, c := w.at[k[0]], w.at[k[1]], w.at[k[2]]
		high := max(a.Z, b.Z, c.Z) - min(a.Z, b.Z, c.Z)
		// A sliver tells nothing about its direction.
		long := max(a.Dist(b), b.Dist(c), c.Dist(a))
		if l/long < 4*w.tol {
			continue
		}
		if math.Abs(n.Z)/l*max(high, 1) > 2*w.tol && math.Abs(n.Z)/l > 1e-3 {
			return false
		}
	}
	return true
}

// boardSide is a run of a section's sides that belong to one face.
type boardSide struct {
	face int
	pts  []geom.Vec2 // of the section, in the direction of travel
}

// section is the loops in which the level z cuts the solid, material to the
// left. No vertex may lie on it.
func (w *boardWork) section(z float64) [][]boardSide {
	var out [][]boardSide
	above := func(v int32) bool { return w.at[v].Z > z }
	seen := make([]bool, len(w.s.Triangles))
	// In a triangle seen from outside the section runs to the right: from the
	// side that goes down to the side that goes up.
	edge := func(t int32, rising bool) int32 {
		for i := range int32(3) {
			a, b := w.s.Triangles[t][i], w.s.Triangles[t][(i+1)%3]
			if above(a) != above(b) && above(b) == rising {
				return 3*t + i
			}
		}
		return -1
	}
	point := func(h int32) geom.Vec2 {
		a, b := w.s.Triangles[h/3][h%3], w.s.Triangles[h/3][(h+1)%3]
		if a > b { // the same digits from both sides
			a, b = b, a
		}
		p, q := w.at[a], w.at[b]
		return p.Lerp(q, (z-p.Z)/(q.Z-p.Z)).XY()
	}
	for first := range int32(len(w.s.Triangles)) {
		if seen[first] || edge(first, true) < 0 {
			continue
		}
		var loop []boardSide
		for t := first; !seen[t]; {
			seen[t] = true
			in, ex := edge(t, false), edge(t, true)
			face := int(w.s.Of[t])
			if n := len(loop); n == 0 || loop[n-1].face != face {
				loop = append(loop, boardSide{face: face, pts: []geom.Vec2{point(in)}})
			}
			last := &loop[len(loop)-1]
			last.pts = append(last.pts, point(ex))
			t = w.twin[ex] / 3
		}
		if n := len(loop); n > 1 && loop[0].face == loop[n-1].face { // began in the middle of a face
			loop[0].pts = append(loop[n-1].pts, loop[0].pts[1:]...)
			loop = loop[:n-1]
		}
		out = append(out, loop)
	}
	return out
}

// freeLevel is a level near z on which no vertex lies.
func (w *boardWork) freeLevel(z, reach float64) float64 {
	best, gap := z, -1.0
	for k := range 41 {
		try := z + reach*float64((k+1)/2)*float64(1-2*(k%2))/20
		near := math.Inf(1)
		for _, p := range w.at {
			near = min(near, math.Abs(p.Z-try))
		}
		if near > max(gap*1.5, gap+w.tol/10) {
			best, gap = try, near
		}
		if gap > 10*w.tol {
			break
		}
	}
	return best
}

// outlines are the loops of the board, end cuts undone.
func (w *boardWork) outlines() ([]geom.Path, error) {
	mid := w.section(w.freeLevel(w.thick/2, w.thick/4))
	var low, high [][]boardSide
	var out []geom.Path
	if len(w.cuts) > 0 {
		e := min(w.thick/100, 0.05)
		low = w.section(w.freeLevel(e, e/2))
		high = w.section(w.freeLevel(w.thick-e, e/2))
		// The level that shows the most of the rim is best to begin with.
		rims := func(loops [][]boardSide) (n int) {
			for _, l := range loops {
				for _, s := range l {
					if w.parts[s.face].rim {
						n++
					}
				}
			}
			return n
		}
		for _, l := range [][][]boardSide{low, high} {
			if rims(l) > rims(mid) {
				mid = l
			}
		}
	}
	for _, loop := range mid {
		cut := func(s boardSide) bool { return !w.parts[s.face].rim }
		if slices.ContainsFunc(loop, cut) {
			p, err := w.uncut(loop, low, high)
			if err != nil {
				return nil, err
			}
			out = append(out, p)
			continue
		}
		var pts []geom.Vec2
		for _, side := range loop {
			pts = append(pts, w.rimPoints(side, len(loop) == 1)...)
		}
		pts = mergePoints(pts, true, w.tol)
		p := FitPath(pts, true, w.tol)
		if len(p.Segs) < 2 {
			return nil, errors.New("its outline cannot be made out")
		}
		w.slack += math.Abs(p.Area() - geom.Polygon(pts).Area())
		out = append(out, p)
	}
	if len(out) == 0 {
		return nil, errors.New("nothing lies between its two broad sides")
	}
	return out, nil
}

// rimPoints are the face's vertices seen along the board's thickness, in the
// order in which the section runs past them. They, and not the points of the
// section, lie on the true outline: where the section crosses the diagonal of
// a facet it is on a chord. Vertices beyond the section's ends, where an end
// cut left more of the rim on another level, come before and after it.
func (w *boardWork) rimPoints(side boardSide, closed bool) []geom.Vec2 {
	type placed struct {
		s float64
		p geom.Vec2
	}
	var all []placed
	pts := side.pts
	n := len(pts)
	s := make([]float64, n)
	for i := 1; i < n; i++ {
		s[i] = s[i-1] + pts[i].Dist(pts[i-1])
	}
	vs := w.s.faceVertices(side.face)
	if len(w.cuts) > 0 && w.s.Faces[side.face].Kind != Plane {
		// Where a cut crosses a facet it leaves a vertex on the chord.
		kept := slices.DeleteFunc(slices.Clone(vs), func(v int32) bool { return w.onCut(w.at[v]) })
		if len(kept) >= 6 {
			vs = kept
		}
	}
	for _, v := range vs {
		p := w.at[v].XY()
		best, at := math.Inf(1), 0.0
		for i := 1; i < n; i++ {
			a, b := pts[i-1], pts[i]
			d := b.Sub(a)
			l := d.Len()
			if l == 0 {
				continue
			}
			t := p.Sub(a).Dot(d) / (l * l)
			c := max(0, min(1, t))
			if off := p.Dist(a.Lerp(b, c)); off < best-1e-12 {
				best, at = off, s[i-1]+c*l
				if !closed && (i == 1 && t < 0 || i == n-1 && t > 1) {
					at = s[i-1] + t*l
				}
			}
		}
		all = append(all, placed{at, p})
	}
	slices.SortStableFunc(all, func(a, b placed) int {
		return cmp.Or(cmp.Compare(a.s, b.s), cmp.Compare(a.p.X, b.p.X), cmp.Compare(a.p.Y, b.p.Y))
	})
	out := make([]geom.Vec2, len(all))
	for i, a := range all {
		out[i] = a.p
	}
	return out
}

func (w *boardWork) onCut(p geom.Vec3) bool {
	return slices.ContainsFunc(w.cuts, func(c geom.Plane) bool { return math.Abs(c.Distance(p)) <= w.tol })
}

// mergePoints takes the mean of neighbouring points that lie within twice tol
// of one another.
func mergePoints(pts []geom.Vec2, closed bool, tol float64) []geom.Vec2 {
	var out []geom.Vec2
	var counts []float64
	add := func(p geom.Vec2, k float64) {
		n := len(out)
		if n > 0 && out[n-1].Dist(p) <= 2*tol {
			counts[n-1] += k
			out[n-1] = out[n-1].Lerp(p, k/counts[n-1])
			return
		}
		out, counts = append(out, p), append(counts, k)
	}
	for _, p := range pts {
		add(p, 1)
	}
	if n := len(out); closed && n > 1 && out[0].Dist(out[n-1]) <= 2*tol {
		out[0] = out[0].Lerp(out[n-1], counts[n-1]/(counts[0]+counts[n-1]))
		out = out[:n-1]
	}
	return out
}

// uncut is the outline of a loop that end cuts have shortened: the rims on
// either side of a cut are carried on until beyond it, and joined there by a
// line parallel to it. Rims of which a cut has left something only above or
// below the middle of the thickness are taken in.
func (w *boardWork) uncut(loop []boardSide, low, high [][]boardSide) (geom.Path, error) {
	rim := func(s boardSide) bool { return w.parts[s.face].rim }
	start := slices.IndexFunc(loop, rim)
	if start < 0 {
		return geom.Path{}, errors.New("its slanting sides leave nothing of its edges")
	}
	// Begin just after a cut.
	n := len(loop)
	for k := range n {
		if rim(loop[k]) && !rim(loop[(k+n-1)%n]) {
			start = k
			break
		}
	}
	type run struct {
		sides []boardSide
		cuts  []int // that follow it
	}
	var runs []run
	for k := range n {
		side := loop[(start+k)%n]
		if !rim(side) {
			c := w.parts[side.face].cut
			if c < 0 {
				return geom.Path{}, errors.New("its outline cannot be made out")
			}
			runs[len(runs)-1].cuts = append(runs[len(runs)-1].cuts, c)
			continue
		}
		if m := len(runs); m == 0 || len(runs[m-1].cuts) > 0 {
			runs = append(runs, run{})
		}
		last := &runs[len(runs)-1]
		last.sides = append(last.sides, side)
	}
	// Rims that show only on another level.
	var all []run
	for k, r := range runs {
		all = append(all, r)
		next := runs[(k+1)%len(runs)]
		a, b := r.sides[len(r.sides)-1].face, next.sides[0].face
		for _, level := range [][][]boardSide{low, high} {
			between, ok := sidesBetween(level, a, b)
			if !ok || len(between) > 0 && !slices.ContainsFunc(between, rim) {
				continue
			}
			all[len(all)-1].cuts = nil
			for _, side := range between {
				m := len(all) - 1
				switch {
				case !rim(side):
					if c := w.parts[side.face].cut; c >= 0 {
						all[m].cuts = append(all[m].cuts, c)
					}
				case len(all[m].cuts) > 0:
					all = append(all, run{sides: []boardSide{side}})
				default:
					all[m].sides = append(all[m].sides, side)
				}
			}
			break
		}
	}
	// A run without a cut after it goes on in the next one.
	for k := 0; k < len(all) && len(all) > 1; {
		if len(all[k].cuts) > 0 {
			k++
			continue
		}
		next := (k + 1) % len(all)
		all[next].sides = append(slices.Clone(all[k].sides), all[next].sides...)
		all = slices.Delete(all, k, k+1)
	}
	if len(all) == 1 && len(all[0].cuts) == 0 { // nothing of the outline is missing on that level
		var pts []geom.Vec2
		for _, side := range all[0].sides {
			pts = append(pts, w.rimPoints(side, false)...)
		}
		pts = mergePoints(pts, true, w.tol)
		p := FitPath(pts, true, w.tol)
		w.slack += math.Abs(p.Area() - geom.Polygon(pts).Area())
		if len(p.Segs) < 2 {
			return p, errors.New("its outline cannot be made out")
		}
		return p, nil
	}
	var out geom.Path
	out.Closed = true
	paths := make([]geom.Path, len(all))
	var cutPoints []geom.Vec2
	for _, p := range w.at {
		if w.onCut(p) {
			cutPoints = append(cutPoints, p.XY())
		}
	}
	for k, r := range all {
		var pts []geom.Vec2
		for _, side := range r.sides {
			pts = append(pts, w.rimPoints(side, false)...)
		}
		pts = mergePoints(pts, false, w.tol)
		paths[k] = FitPath(pts, false, w.tol)
		// The last facet of an arc may be cut in its middle. Without what is
		// left of it, many flats become one arc.
		isCut := func(p geom.Vec2) bool {
			return slices.ContainsFunc(cutPoints, func(q geom.Vec2) bool { return p.Dist(q) <= 2*w.tol })
		}
		lo, hi := 0, len(pts)
		for lo < hi && isCut(pts[lo]) {
			lo++
		}
		for hi > lo && isCut(pts[hi-1]) {
			hi--
		}
		whole := pts
		flat := func(side boardSide) bool { return w.s.Faces[side.face].Kind == Plane }
		if flat(r.sides[0]) { // whose cut vertices lie on it
			lo = 0
		}
		if flat(r.sides[len(r.sides)-1]) {
			hi = len(pts)
		}
		for _, part := range [][2]int{{lo, len(whole)}, {0, hi}, {lo, hi}} {
			less := whole[part[0]:max(part[0], part[1])]
			if len(less) < 4 || len(less) == len(whole) {
				continue
			}
			if q := FitPath(less, false, w.tol); len(q.Segs) > 0 && len(q.Segs)+2 <= len(paths[k].Segs) {
				paths[k], pts = q, less
			}
		}
		if len(paths[k].Segs) == 0 {
			return out, errors.New("too little of an edge is left beside an end cut")
		}
		w.slack += math.Abs(paths[k].Area() - openArea(pts))
	}
	// Carry the rims on to lines beyond the cuts.
	lines := make([][]geom.HalfPlane, len(all))
	for k, r := range all {
		for _, c := range r.cuts {
			lines[k] = append(lines[k], beyondCut(w.cuts[c], w.thick))
		}
		next := (k + 1) % len(all)
		first, last := lines[k][0], lines[k][len(lines[k])-1]
		// Edges that converge meet before they reach the line.
		if p, ok := convergence(paths[k], paths[next], first, last); ok {
			paths[k].Segs = append(paths[k].Segs, geom.LineTo(endOf(paths[k]), p))
			paths[next].Segs = append([]geom.Seg{geom.LineTo(p, paths[next].Segs[0].From())}, paths[next].Segs...)
			lines[k] = nil
			continue
		}
		more, ok := carryOn(paths[k].Segs[len(paths[k].Segs)-1], first)
		if !ok {
			return out, errors.New("an edge does not reach the end cut beside it")
		}
		paths[k].Segs = joinOn(paths[k].Segs, more)
		rev := paths[next].Reversed()
		more, ok = carryOn(rev.Segs[len(rev.Segs)-1], last)
		if !ok {
			return out, errors.New("an edge does not reach the end cut beside it")
		}
		rev.Segs = joinOn(rev.Segs, more)
		paths[next] = rev.Reversed()
	}
	for k := range all {
		out.Segs = append(out.Segs, paths[k].Segs...)
		at := endOf(paths[k])
		for i := 1; i < len(lines[k]); i++ {
			p, ok := crossLines(lines[k][i-1], lines[k][i])
			if !ok {
				return out, errors.New("two end cuts beside one another are parallel")
			}
			out.Segs = append(out.Segs, geom.LineTo(at, p))
			at = p
		}
		if to := paths[(k+1)%len(all)].Segs[0].From(); at.Dist(to) > 1e-9 {
			out.Segs = append(out.Segs, geom.LineTo(at, to))
		}
	}
	for i := range out.Segs {
		out.Segs[i].P[0] = out.Segs[(i+len(out.Segs)-1)%len(out.Segs)].P[3]
	}
	out.Segs = straightened(out.Segs)
	return out, nil
}

func endOf(p geom.Path) geom.Vec2 { return p.Segs[len(p.Segs)-1].To() }

// openArea is the area under a run of points, as Path.Area takes it about the
// first.
func openArea(pts []geom.Vec2) float64 {
	var sum float64
	for i := 1; i < len(pts); i++ {
		sum += pts[i-1].Sub(pts[0]).Cross(pts[i].Sub(pts[0])) / 2
	}
	return sum
}

// sidesBetween is the sides that follow face a and come before face b in the
// loop that holds both.
func sidesBetween(loops [][]boardSide, a, b int) ([]boardSide, bool) {
	for _, l := range loops {
		i := slices.IndexFunc(l, func(s boardSide) bool { return s.face == a })
		if i < 0 || !slices.ContainsFunc(l, func(s boardSide) bool { return s.face == b }) {
			continue
		}
		var out []boardSide
		for k := 1; k <= len(l); k++ {
			side := l[(i+k)%len(l)]
			if side.face == b {
				return out, true
			}
			if side.face == a {
				out = nil
				continue
			}
			out = append(out, side)
		}
	}
	return nil, false
}

// beyondCut is the line 1 mm beyond where the cut comes farthest out in the
// thickness, as the half-plane on the board's side of it.
func beyondCut(c geom.Plane, thick float64) geom.HalfPlane {
	n := c.Normal.XY()
	l := n.Len()
	far := max(c.D, c.D-c.Normal.Z*thick) / l
	return geom.HalfPlane{N: n.Scale(1 / l), D: far + boardBeyond}
}

func crossLines(a, b geom.HalfPlane) (geom.Vec2, bool) {
	det := a.N.Cross(b.N)
	if math.Abs(det) < 1e-6 {
		return geom.Vec2{}, false
	}
	return geom.V2((a.D*b.N.Y-b.D*a.N.Y)/det, (a.N.X*b.D-b.N.X*a.D)/det), true
}

// convergence is where two paths, carried on straight, meet: before they reach
// the lines, or no farther beyond than the gap between them is wide.
func convergence(a, b geom.Path, first, last geom.HalfPlane) (geom.Vec2, bool) {
	s, e := a.Segs[len(a.Segs)-1], b.Segs[0]
	if s.Kind != geom.Line || e.Kind != geom.Line {
		return geom.Vec2{}, false
	}
	d, g := s.Tangent(1), e.Tangent(0)
	det := d.Cross(g)
	if math.Abs(det) < 1e-6 {
		return geom.Vec2{}, false
	}
	gap := e.From().Sub(s.To())
	t, u := gap.Cross(g)/det, gap.Cross(d)/det
	p := s.To().Add(d.Scale(t))
	return p, t > 0 && u < 0 && first.Holds(p, gap.Len()) && last.Holds(p, gap.Len())
}

// carryOn is what a segment needs to reach the line ahead of it: along itself
// if it is straight or round and comes there within a quarter turn, else along
// its tangent.
func carryOn(s geom.Seg, h geom.HalfPlane) ([]geom.Seg, bool) {
	if s.Kind == geom.Arc {
		turn := math.Copysign(math.Pi/2, s.Sweep)
		on := geom.ArcOf(s.Center, s.Rx, s.Ry, s.Rot, s.Start+s.Sweep, turn)
		for _, t := range on.Cross(h.N, h.D) {
			if t > 1e-9 {
				r := s
				r.Sweep += turn * t
				r.P[3] = r.At(1)
				return []geom.Seg{r}, true
			}
		}
	}
	if s.Kind == geom.Cubic { // a little way along itself: the last facet may be cut
		const more = 0.25
		for _, t := range s.Part(1, 1+more).Cross(h.N, h.D) {
			if t > 1e-9 {
				return []geom.Seg{s.Part(0, 1+more*t)}, true
			}
		}
	}
	d, at := s.Tangent(1), s.To()
	rate := h.N.Dot(d)
	if rate < 1e-3 {
		return nil, false
	}
	to := at.Add(d.Scale((h.D - h.N.Dot(at)) / rate))
	if s.Kind == geom.Line {
		return []geom.Seg{geom.LineTo(s.From(), to)}, true
	}
	return []geom.Seg{s, geom.LineTo(at, to)}, true
}

// joinOn replaces the last segment.
func joinOn(segs, last []geom.Seg) []geom.Seg {
	return append(slices.Clone(segs[:len(segs)-1]), last...)
}

// straightened makes one line of neighbouring ones in one direction.
func straightened(segs []geom.Seg) []geom.Seg {
	var out []geom.Seg
	for _, s := range segs {
		if n := len(out); n > 0 && s.Kind == geom.Line && out[n-1].Kind == geom.Line {
			if math.Abs(angleBetween(out[n-1].Tangent(1), s.Tangent(0))) < 1e-9 {
				out[n-1] = geom.LineTo(out[n-1].From(), s.To())
				continue
			}
		}
		out = append(out, s)
	}
	return out
}

// check compares the board with the solid: every vertex lies on one of its
// surfaces, the broad sides have its areas, and the volume is its volume.
func (w *boardWork) check(b *Board, broad []bool, face, back flatSide) error {
	paths := append([]geom.Path{b.Outline}, b.Cutouts...)
	rim := make([]bool, len(w.at))
	sag := make([]float64, len(w.at)) // how far a rim's facets stray from it
	for i := range w.s.Faces {
		if !w.parts[i].rim {
			continue
		}
		for _, v := range w.s.faceVertices(i) {
			rim[v] = true
			sag[v] = max(sag[v], w.s.Faces[i].Sag)
		}
	}
	var worst float64
	for v, p := range w.at {
		off := min(math.Abs(p.Z), math.Abs(p.Z-w.thick))
		for _, c := range b.Cuts {
			off = min(off, math.Abs(c.Distance(p)))
		}
		if rim[v] { // a rim vertex has to lie on the outline, too
			d := math.Inf(1)
			for _, l := range paths {
				if _, e := l.Nearest(p.XY()); e < d {
					d = e
				}
			}
			off = d
			if w.onCut(p) { // it may lie on a chord
				off = max(0, d-1.5*sag[v])
			}
		}
		worst = max(worst, off)
	}
	b.Residual = worst
	if !(worst <= 2*w.tol) {
		return fmt.Errorf("a point of it lies %.3f mm off the nearest board", worst)
	}
	var flat geom.Polygons
	for _, l := range paths {
		flat = append(flat, l.Polygon(1e-3))
	}
	area := func(z float64) float64 {
		r := flat
		for _, c := range b.Cuts {
			n := c.Normal.XY()
			r = r.ClipHalfPlane(n, c.D-c.Normal.Z*z)
		}
		return r.Area()
	}
	length := 0.0
	for _, l := range paths {
		length += l.Length()
	}
	slack := 5*w.slack + 1e-5*flat.Area() + 4*w.tol*length
	if d := math.Abs(area(0) - back.area); d > slack {
		return fmt.Errorf("its back differs by %.1f mm² from that of the nearest board", d)
	}
	if d := math.Abs(area(w.thick) - face.area); d > slack {
		return fmt.Errorf("its face differs by %.1f mm² from that of the nearest board", d)
	}
	const steps = 64 // of Simpson's rule; the area is piecewise quadratic in z
	var v float64
	for k := range steps + 1 {
		f := 2.0
		if k == 0 || k == steps {
			f = 1
		} else if k%2 == 1 {
			f = 4
		}
		v += f * area(w.thick*float64(k)/steps)
	}
	v *= w.thick / steps / 3
	if d := math.Abs(v - w.s.Volume()); d > slack*w.thick+2e-4*v {
		return fmt.Errorf("its volume differs by %.0f mm³ from that of the nearest board", d)
	}
	return nil
}

// placed turns and moves the board, made out in the frame f, into its own.
func (b Board) placed(f geom.Frame, tol float64) (Board, error) {
	turn := longDirection(b.Outline, f)
	x := f.Dir(geom.V3(math.Cos(turn), math.Sin(turn), 0))
	if !forward(x) {
		turn += math.Pi
	}
	move := func(p geom.Path) geom.Path { return p.Rotated(-turn) }
	b.Outline = move(b.Outline)
	mid := b.Outline.Bounds().Center()
	size := b.Outline.Bounds().Size()
	b.Outline = b.Outline.Translated(mid.Scale(-1))
	for i := range b.Cutouts {
		b.Cutouts[i] = move(b.Cutouts[i]).Translated(mid.Scale(-1))
	}
	slices.SortStableFunc(b.Cutouts, func(p, q geom.Path) int {
		a, c := p.Bounds().Center(), q.Bounds().Center()
		return cmp.Or(cmp.Compare(math.Round(a.X/tol), math.Round(c.X/tol)), cmp.Compare(a.Y, c.Y))
	})
	local := geom.Frame{
		X: geom.V3(math.Cos(turn), math.Sin(turn), 0), Y: geom.V3(-math.Sin(turn), math.Cos(turn), 0), Z: geom.V3(0, 0, 1),
	}
	m := mid.Rotate(turn)
	local.Origin = geom.V3(m.X, m.Y, 0)
	for i := range b.Cuts {
		b.Cuts[i] = b.Cuts[i].Local(local)
	}
	b.Frame = local.In(f)
	if isCircle(b.Outline) && b.Thickness >= size.X/2 {
		return Board{}, errors.New("it is a round bar rather than a disc")
	}
	if b.Thickness > min(size.X, size.Y)+tol {
		return Board{}, errors.New("it is thicker than it is wide")
	}
	return b, nil
}

func isCircle(p geom.Path) bool {
	for _, s := range p.Segs {
		if s.Kind != geom.Arc || s.Rx != s.Ry || s.Center.Dist(p.Segs[0].Center) > 1e-6*s.Rx {
			return false
		}
	}
	return true
}

// longDirection is the angle, in the frame's XY, of the longer side of the
// smallest rectangle round the path. Directions of its straight segments, of
// ellipses' axes and of the enclosing coordinates' axes are tried first, and
// others only where they make the rectangle smaller by more than rounding.
func longDirection(p geom.Path, f geom.Frame) float64 {
	type candidate struct{ angle, weight float64 }
	var cs []candidate
	for _, s := range p.Segs {
		switch {
		case s.Kind == geom.Line:
			cs = append(cs, candidate{s.Tangent(0).Angle(), s.Length(0, 1)})
		case s.Kind == geom.Arc && s.Rx != s.Ry:
			cs = append(cs, candidate{s.Rot, s.Length(0, 1)})
		}
	}
	slices.SortStableFunc(cs, func(a, b candidate) int { return cmp.Compare(math.Round(b.weight*1e3), math.Round(a.weight*1e3)) })
	for _, axis := range []geom.Vec3{{X: 1}, {Y: 1}, {Z: 1}} {
		if l := f.LocalDir(axis).XY(); l.Len() > 0.1 {
			cs = append(cs, candidate{l.Angle(), 0})
		}
	}
	for _, d := range hullDirections(p.Polygon(0.05)) {
		cs = append(cs, candidate{d.Angle(), 0})
	}
	best, least, size := 0.0, math.Inf(1), geom.Vec2{}
	for _, c := range cs {
		z := p.Rotated(-c.angle).Bounds().Size()
		if a := z.X * z.Y; a < least*(1-1e-4) {
			best, least, size = c.angle, a, z
		}
	}
	// Of two equal sides the one nearer to the enclosing X axis.
	switch {
	case size.Y > size.X*(1+1e-5):
		best += math.Pi / 2
	case size.Y > size.X*(1-1e-5):
		near := func(a float64) float64 {
			d := f.Dir(geom.V3(math.Cos(a), math.Sin(a), 0))
			return math.Abs(d.X) + 1e-3*math.Abs(d.Y)
		}
		if near(best+math.Pi/2) > near(best)+1e-9 {
			best += math.Pi / 2
		}
	}
	return best
}

// hullDirections are the directions of the sides of the points' convex hull
// (Andrew's monotone chain, 1979).
func hullDirections(pts []geom.Vec2) []geom.Vec2 {
	ps := slices.Clone(pts)
	slices.SortFunc(ps, func(a, b geom.Vec2) int { return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y)) })
	var hull []geom.Vec2
	half := func(ps []geom.Vec2) {
		base := len(hull)
		for _, p := range ps {
			for len(hull) >= base+2 && geom.Orient(hull[len(hull)-2], hull[len(hull)-1], p) <= 0 {
				hull = hull[:len(hull)-1]
			}
			hull = append(hull, p)
		}
		hull = hull[:len(hull)-1]
	}
	half(ps)
	slices.Reverse(ps)
	half(ps)
	var out []geom.Vec2
	for i, a := range hull {
		if d := hull[(i+1)%len(hull)].Sub(a); d.Len() > 0 {
			out = append(out, d)
		}
	}
	return out
}
