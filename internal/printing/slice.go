package printing

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// slicer cuts one closed mesh, in pose coordinates, by horizontal planes.
//
// The kernel can do so too (solid.Kernel.Sections), but a section is needed at
// every height at which anything changes, and following the triangles of a
// mesh that is already here costs microseconds. The loops come from the mesh's
// connections and not from comparing coordinates, so they always close.
type slicer struct {
	points    []geom.Vec3
	triangles [][3]int32
	low, high []float64 // of each triangle
	steps     []float64 // heights at which the outline jumps: level facets
	slants    [][2]float64
	top       float64
	bands     [][]int32 // by height, in equal parts of top: the triangles that reach into each
}

// level and upright say when a facet is taken to be horizontal or vertical:
// when it rises by less than level, or leans by less than upright over its own
// height, mm. Meshes carry single-precision coordinates (3e-5 mm at 250 mm).
const (
	level   = 1e-4
	upright = 2e-3
)

func newSlicer(points []geom.Vec3, triangles [][3]int32) *slicer {
	s := &slicer{points: points, triangles: triangles}
	s.low, s.high = make([]float64, len(triangles)), make([]float64, len(triangles))
	var slants [][2]float64
	for i, t := range triangles {
		a, b, c := points[t[0]], points[t[1]], points[t[2]]
		lo, hi := min(a.Z, b.Z, c.Z), max(a.Z, b.Z, c.Z)
		s.low[i], s.high[i] = lo, hi
		s.top = max(s.top, hi)
		n := b.Sub(a).Cross(c.Sub(a))
		across := n.XY().Len()
		switch {
		case hi-lo < level:
			s.steps = append(s.steps, lo)
		case (hi-lo)*math.Abs(n.Z) > upright*across:
			slants = append(slants, [2]float64{lo, hi})
		}
	}
	slices.Sort(s.steps)
	s.steps = slices.CompactFunc(s.steps, func(a, b float64) bool { return math.Abs(b-a) < level })
	slices.SortFunc(slants, func(a, b [2]float64) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
	for _, r := range slants {
		if n := len(s.slants); n > 0 && r[0] <= s.slants[n-1][1]+level {
			s.slants[n-1][1] = max(s.slants[n-1][1], r[1])
			continue
		}
		s.slants = append(s.slants, r)
	}
	// A few dozen triangles for each band, so that a section of a finely
	// faceted turning does not look at all of it.
	s.bands = make([][]int32, 1+min(255, len(triangles)/64))
	for i := range triangles {
		for b := s.band(s.low[i]); b <= s.band(s.high[i]); b++ {
			s.bands[b] = append(s.bands[b], int32(i))
		}
	}
	return s
}

// band is the index of the band that height z lies in.
func (s *slicer) band(z float64) int {
	if !(s.top > 0) {
		return 0
	}
	return max(0, min(len(s.bands)-1, int(z/s.top*float64(len(s.bands)))))
}

// changes reports whether the outline may differ between two heights.
func (s *slicer) changes(a, b float64) bool {
	i, _ := slices.BinarySearch(s.steps, a)
	if i < len(s.steps) && s.steps[i] < b {
		return true
	}
	for _, r := range s.slants {
		if r[0] < b && r[1] > a {
			return true
		}
	}
	return false
}

// at is the section at height z: outer loops counter-clockwise, holes
// clockwise. A vertex at z counts as above, so that no triangle is cut in a
// point only.
func (s *slicer) at(z float64) geom.Polygons {
	type link struct {
		to uint64
		at geom.Vec2
	}
	links := map[uint64]link{}
	var order []uint64
	for _, i := range s.bands[s.band(z)] {
		t := s.triangles[i]
		if s.low[i] >= z || s.high[i] < z {
			continue
		}
		// Seen from outside, material lies to the left of the way from the edge
		// that the triangle runs down to the one that it runs up.
		var down, up uint64
		var at geom.Vec2
		for j := range 3 {
			a, b := t[j], t[(j+1)%3]
			za, zb := s.points[a].Z, s.points[b].Z
			if (za >= z) == (zb >= z) {
				continue
			}
			key := edgeKey(a, b)
			if za >= z {
				down = key
				at = s.crossing(a, b, z)
			} else {
				up = key
			}
		}
		links[down] = link{up, at}
		order = append(order, down)
	}
	var out geom.Polygons
	for _, first := range order {
		var loop geom.Polygon
		for key := first; ; {
			l, ok := links[key]
			if !ok {
				break
			}
			delete(links, key)
			loop = append(loop, l.at)
			key = l.to
		}
		if loop = straighten(loop); len(loop) >= 3 {
			out = append(out, loop)
		}
	}
	return out
}

// crossing is where an edge meets the plane; the lower corner goes first so
// that both triangles of the edge get the same digits.
func (s *slicer) crossing(a, b int32, z float64) geom.Vec2 {
	p, q := s.points[a], s.points[b]
	if q.Z < p.Z {
		p, q = q, p
	}
	return p.Lerp(q, (z-p.Z)/(q.Z-p.Z)).XY()
}

func edgeKey(a, b int32) uint64 {
	if a > b {
		a, b = b, a
	}
	return uint64(uint32(a))<<32 | uint64(uint32(b))
}

// straight is how far, mm, a point may lie from the line through its
// neighbours to be left out.
const straight = 1e-3

// straighten leaves out points that the triangulation put into straight sides.
// It begins at the leftmost point, which is a corner for certain.
func straighten(p geom.Polygon) geom.Polygon {
	if len(p) < 3 {
		return nil
	}
	first := 0
	for i, v := range p {
		if v.X < p[first].X || (v.X == p[first].X && v.Y < p[first].Y) {
			first = i
		}
	}
	q := geom.Polygon{p[first]}
	for k := 1; k < len(p); k++ {
		v, next := p[(first+k)%len(p)], p[(first+k+1)%len(p)]
		if geom.SegmentDistance(v, q[len(q)-1], next) > straight {
			q = append(q, v)
		}
	}
	return q
}

// raster is a set of parallel lines on which a region is measured: lines at
// the given pitch, along the direction dir.
type raster struct {
	dir   geom.Vec2
	first float64 // of the lowest line, along dir.Left()
	pitch float64
	count int
}

func newRaster(box geom.Box2, angle, pitch float64) raster {
	s, c := math.Sincos(angle)
	r := raster{dir: geom.V2(c, s), pitch: pitch}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range []geom.Vec2{box.Min, box.Max, {X: box.Min.X, Y: box.Max.Y}, {X: box.Max.X, Y: box.Min.Y}} {
		y := r.dir.Cross(p)
		lo, hi = min(lo, y), max(hi, y)
	}
	r.count = max(1, int(math.Ceil((hi-lo)/pitch)))
	r.first = (lo+hi)/2 - float64(r.count-1)/2*pitch
	return r
}

// rows are the parts of a raster's lines that lie in a region: on each line,
// rising pairs of entry and exit along dir.
type rows [][]float64

// cut lays the region on the raster.
func (r raster) cut(region geom.Polygons) rows {
	count := make([]int, r.count+1) // crossings before each line, once summed
	r.crossings(region, func(row int, _ float64) { count[row+1]++ })
	for i := range r.count {
		count[i+1] += count[i]
	}
	all := make([]float64, count[r.count])
	out := make(rows, r.count)
	for i := range out {
		out[i] = all[count[i]:count[i]:count[i+1]]
	}
	r.crossings(region, func(row int, x float64) { out[row] = append(out[row], x) })
	for _, row := range out {
		slices.Sort(row)
	}
	return out
}

// crossings calls f for every crossing of a line and a side of the region. A
// line through a corner crosses the side above it only.
func (r raster) crossings(region geom.Polygons, f func(row int, x float64)) {
	for _, loop := range region {
		for i, p := range loop {
			q := loop[(i+1)%len(loop)]
			py, qy := (r.dir.Cross(p)-r.first)/r.pitch, (r.dir.Cross(q)-r.first)/r.pitch
			px, qx := r.dir.Dot(p), r.dir.Dot(q)
			if py > qy {
				py, qy, px, qx = qy, py, qx, px
			}
			if py == qy {
				continue
			}
			slope := (qx - px) / (qy - py)
			for row := max(0, int(math.Ceil(py))); row < r.count && float64(row) < qy; row++ {
				f(row, px+(float64(row)-py)*slope)
			}
		}
	}
}

// and is what two sets of rows on the same raster have in common.
func (a rows) and(b rows) rows {
	out := make(rows, len(a))
	most := 0
	for i := range a {
		most += len(a[i]) + len(b[i])
	}
	all := make([]float64, 0, most)
	for i := range a {
		x, y := a[i], b[i]
		from := len(all)
		for m, n := 0, 0; m+1 < len(x) && n+1 < len(y); {
			if lo, hi := max(x[m], y[n]), min(x[m+1], y[n+1]); lo < hi {
				all = append(all, lo, hi)
			}
			if x[m+1] < y[n+1] {
				m += 2
			} else {
				n += 2
			}
		}
		out[i] = all[from:len(all):len(all)]
	}
	return out
}

// less is a without b, which must lie within a.
func (a rows) less(b rows) rows {
	out := make(rows, len(a))
	for i := range a {
		// Within each stretch of a, the gaps of b.
		var row []float64
		n := 0
		for m := 0; m+1 < len(a[i]); m += 2 {
			from, to := a[i][m], a[i][m+1]
			for n+1 < len(b[i]) && b[i][n] < to {
				if b[i][n] > from {
					row = append(row, from, b[i][n])
				}
				from = b[i][n+1]
				n += 2
			}
			if from < to {
				row = append(row, from, to)
			}
		}
		out[i] = row
	}
	return out
}

// each calls f with the length of every stretch longer than least.
func (a rows) each(least float64, f func(length float64)) {
	for _, row := range a {
		for i := 0; i+1 < len(row); i += 2 {
			if l := row[i+1] - row[i]; l > least {
				f(l)
			}
		}
	}
}
