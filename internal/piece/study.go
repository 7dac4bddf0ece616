package piece

import (
	"math"
	"slices"
	"strconv"
	"sync"

	"groundwork/internal/geom"
	"groundwork/internal/surface"
	"groundwork/internal/unfold"
)

// NewSolid is the shape with names and roles for its faces. The shape stands
// in member coordinates.
//
// The broad sides of a solid are the two parallel flat sides that bound its
// material with the greatest area for their distance, which is the solid's
// thickness, where that is no more than the root of the lesser area; each may
// be in pieces that lie in one plane. From them the roles follow:
//
//   - Face: the broad sides, and whatever is nothing else;
//   - Side: what goes all the way round an axis;
//   - EndOf: of a solid at least three times as long as wide, the flat sides
//     square to its length at its ends;
//   - Edge: what stands on the broad sides (flat, at 45 degrees or more to
//     them; or bent one way) and reaches no farther than the thickness, but no
//     flute: a hollow that the same broad side flanks on both sides.
func NewSolid(shape *surface.Solid) *Solid {
	s := &Solid{Shape: shape, Names: faceNames(shape.Faces)}
	w := newStudy(shape)
	s.Roles = w.roles()
	s.Opposite = w.opposites(s.Roles)
	s.inside = w.insides(s.Roles)
	s.frames = w.frames(s.Roles)
	s.laid, s.drawn = make([]laying, len(shape.Faces)), &drawn{}
	return s
}

// faceNames numbers the faces within their kind.
func faceNames(faces []surface.Face) []string {
	words := map[surface.Kind]string{surface.Plane: "plane", surface.Cylinder: "round", surface.Cone: "cone", surface.Developable: "curved"}
	count := map[string]int{}
	var out []string
	for _, f := range faces {
		word, ok := words[f.Kind]
		if !ok {
			word = "free"
		}
		count[word]++
		out = append(out, word+"-"+strconv.Itoa(count[word]))
	}
	return out
}

// laying is a face laid flat, once it is asked for.
type laying struct {
	once   sync.Once
	patch  *unfold.Patch
	strain unfold.Distortion
	err    error
}

// drawn keeps the surfaces of a solid by the chord they were asked for with,
// since stages ask again and again. It is safe for several goroutines.
type drawn struct {
	mu sync.Mutex
	by map[float64][]Surface
}

// get is a copy of what is kept, or of what is made now.
func (d *drawn) get(chord float64, draw func() []Surface) []Surface {
	d.mu.Lock()
	defer d.mu.Unlock()
	kept, ok := d.by[chord]
	if !ok {
		kept = draw()
		if d.by == nil {
			d.by = map[float64][]Surface{}
		}
		d.by[chord] = kept
	}
	out := slices.Clone(kept)
	for i := range out {
		out[i].Region = slices.Clone(out[i].Region)
		for k, p := range out[i].Region {
			out[i].Region[k] = slices.Clone(p)
		}
	}
	return out
}

// study looks at a solid as a joiner does.
type study struct {
	shape *surface.Solid
	boxes []geom.Box3      // by face
	loops [][]surface.Loop // by face
	span  []map[int32]float64
	n     geom.Vec3 // square to the broad sides; zero where there are none
	thick float64   // mm, between them
	broad []int     // by face: 1 on the side that n points to, -1 on the other, 0 for neither
}

const (
	// parallelTo is the sine below which directions count as parallel.
	parallelTo = 1e-4
	// coplanar is how far apart, mm, planes in one may lie.
	coplanar = 0.01
)

func newStudy(shape *surface.Solid) *study {
	w := &study{shape: shape, broad: make([]int, len(shape.Faces))}
	for i, f := range shape.Faces {
		box := geom.EmptyBox3()
		for _, t := range f.Triangles {
			for _, v := range shape.Triangles[t] {
				box = box.Add(shape.Vertices[v])
			}
		}
		w.boxes = append(w.boxes, box)
		loops := shape.Loops(i)
		w.loops = append(w.loops, loops)
		span := map[int32]float64{} // length of border by the face beyond
		for _, l := range loops {
			for k, v := range l.Vertices {
				span[l.Across[k]] += shape.Vertices[v].Dist(shape.Vertices[l.Vertices[(k+1)%len(l.Vertices)]])
			}
		}
		w.span = append(w.span, span)
	}
	w.findBroad()
	return w
}

func parallel(a, b geom.Vec3) bool { return a.Cross(b).Len() < parallelTo }

// findBroad finds the broad sides.
func (w *study) findBroad() {
	type side struct {
		n     geom.Vec3
		d     float64
		area  float64
		faces []int
	}
	var sides []side
	for i, f := range w.shape.Faces {
		if f.Kind != surface.Plane {
			continue
		}
		n := f.Frame.Z
		d := n.Dot(f.Frame.Origin)
		at := slices.IndexFunc(sides, func(s side) bool {
			return s.n.Dot(n) > 0 && parallel(s.n, n) && math.Abs(s.n.Dot(f.Frame.Origin)-s.d) < coplanar
		})
		if at < 0 {
			at = len(sides)
			sides = append(sides, side{n: n, d: d})
		}
		sides[at].area += f.Area
		sides[at].faces = append(sides[at].faces, i)
	}
	best, pair := 0.0, [2]int{-1, -1}
	for i := range sides {
		for j := i + 1; j < len(sides); j++ {
			a, b := &sides[i], &sides[j]
			if a.n.Dot(b.n) > 0 || !parallel(a.n, b.n) {
				continue
			}
			t, area := a.d+b.d, min(a.area, b.area)
			if t <= 0 || t > math.Sqrt(area) {
				continue
			}
			if score := area / t; score > best*(1+1e-6) {
				best, pair, w.thick = score, [2]int{i, j}, t
			}
		}
	}
	if pair[0] < 0 {
		return
	}
	w.n = sides[pair[0]].n
	for _, f := range sides[pair[0]].faces {
		w.broad[f] = 1
	}
	for _, f := range sides[pair[1]].faces {
		w.broad[f] = -1
	}
}

// extent is how far a face reaches in a direction.
func (w *study) extent(face int, dir geom.Vec3) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, t := range w.shape.Faces[face].Triangles {
		for _, v := range w.shape.Triangles[t] {
			d := dir.Dot(w.shape.Vertices[v])
			lo, hi = min(lo, d), max(hi, d)
		}
	}
	return lo, hi
}

func (w *study) roles() []Role {
	box := w.shape.Bounds()
	size := box.Size()
	axes := []geom.Vec3{geom.V3(1, 0, 0), geom.V3(0, 1, 0), geom.V3(0, 0, 1)}
	sizes := []float64{size.X, size.Y, size.Z}
	long := 0
	for k := range sizes {
		if sizes[k] > sizes[long]*(1+1e-9) {
			long = k
		}
	}
	second := 0.0
	for k := range sizes {
		if k != long {
			second = max(second, sizes[k])
		}
	}
	const slender = 3
	out := make([]Role, len(w.shape.Faces))
	for i := range w.shape.Faces {
		f := &w.shape.Faces[i]
		out[i] = Face
		switch {
		case w.broad[i] != 0:
		case (f.Kind == surface.Cylinder || f.Kind == surface.Cone) && f.Full:
			out[i] = Side
		case f.Kind == surface.Plane && sizes[long] >= slender*second && parallel(f.Frame.Z, axes[long]):
			at := axes[long].Dot(f.Frame.Origin)
			if lo, hi := axes[long].Dot(box.Min), axes[long].Dot(box.Max); min(at-lo, hi-at) < coplanar {
				out[i] = EndOf
			}
		}
		if out[i] == Face && w.broad[i] == 0 && w.isEdge(i) {
			out[i] = Edge
		}
	}
	return out
}

// isEdge is the rule for Edge that NewSolid tells.
func (w *study) isEdge(i int) bool {
	if w.n == (geom.Vec3{}) {
		return false
	}
	lo, hi := w.extent(i, w.n)
	if hi-lo > w.thick+coplanar {
		return false
	}
	f := &w.shape.Faces[i]
	switch f.Kind {
	case surface.Plane:
		return math.Abs(f.Frame.Z.Dot(w.n)) < 0.75
	case surface.Cylinder, surface.Cone, surface.Developable:
		return !w.flanked(i)
	}
	return false
}

// flanked reports whether one broad side runs along both sides of the face.
func (w *study) flanked(i int) bool {
	size := w.boxes[i].Size()
	length := max(size.X, size.Y, size.Z)
	for _, side := range []int{1, -1} {
		along := 0.0
		for g, l := range w.span[i] {
			if w.broad[g] == side {
				along += l
			}
		}
		if along > 1.5*length {
			return true
		}
	}
	return false
}

// middle is a point of a face away from its border: the middle of its largest
// triangle, and the triangle.
func (w *study) middle(i int) (geom.Vec3, geom.Vec3) {
	var best, at geom.Vec3
	for _, t := range w.shape.Faces[i].Triangles {
		k := w.shape.Triangles[t]
		a, b, c := w.shape.Vertices[k[0]], w.shape.Vertices[k[1]], w.shape.Vertices[k[2]]
		if n := b.Sub(a).Cross(c.Sub(a)); n.Len() > best.Len()*(1+1e-9) {
			best, at = n, a.Add(b).Add(c).Scale(1.0/3)
		}
	}
	return at, best.Unit()
}

// hit is the first face that a ray meets beyond a small step, and how far off.
func (w *study) hit(from, dir geom.Vec3, own int) (face int, far float64) {
	face, far = -1, math.Inf(1)
	for i := range w.shape.Faces {
		if i == own || !meetsBox(w.boxes[i], from, dir, far) {
			continue
		}
		for _, t := range w.shape.Faces[i].Triangles {
			k := w.shape.Triangles[t]
			if d, ok := pierce(from, dir, w.shape.Vertices[k[0]], w.shape.Vertices[k[1]], w.shape.Vertices[k[2]]); ok && d > 1e-6 && d < far {
				face, far = i, d
			}
		}
	}
	return face, far
}

func meetsBox(b geom.Box3, from, dir geom.Vec3, far float64) bool {
	lo, hi := 0.0, far
	for _, k := range [3][4]float64{{from.X, dir.X, b.Min.X, b.Max.X}, {from.Y, dir.Y, b.Min.Y, b.Max.Y}, {from.Z, dir.Z, b.Min.Z, b.Max.Z}} {
		const slack = 1e-6
		if math.Abs(k[1]) < 1e-12 {
			if k[0] < k[2]-slack || k[0] > k[3]+slack {
				return false
			}
			continue
		}
		a, c := (k[2]-slack-k[0])/k[1], (k[3]+slack-k[0])/k[1]
		lo, hi = max(lo, min(a, c)), min(hi, max(a, c))
	}
	return lo <= hi
}

// pierce is where a ray meets a triangle (Möller and Trumbore, Fast, minimum
// storage ray/triangle intersection, 1997).
func pierce(from, dir, a, b, c geom.Vec3) (float64, bool) {
	e, g := b.Sub(a), c.Sub(a)
	p := dir.Cross(g)
	det := e.Dot(p)
	if math.Abs(det) < 1e-12*e.Len()*g.Len() {
		return 0, false
	}
	s := from.Sub(a)
	u := s.Dot(p) / det
	q := s.Cross(e)
	v := dir.Dot(q) / det
	const slack = 1e-9 // a ray through a side must meet one of its two triangles
	if u < -slack || v < -slack || u+v > 1+slack {
		return 0, false
	}
	return g.Dot(q) / det, true
}

// opposites are the parallels of faces of role Face across the material: what
// a line through the middle of the face meets first, if it is parallel there.
func (w *study) opposites(roles []Role) []int {
	out := make([]int, len(roles))
	for i := range out {
		out[i] = -1
		if roles[i] != Face {
			continue
		}
		at, n := w.middle(i)
		j, far := w.hit(at, n.Neg(), i)
		if j < 0 || roles[j] != Face || w.shape.Faces[j].Kind != w.shape.Faces[i].Kind {
			continue
		}
		f := &w.shape.Faces[j]
		m := f.Normal(at.Sub(n.Scale(far)))
		if !f.Exact() {
			_, m = w.middle(j)
		}
		if m.Dot(n) < 0 && m.Cross(n).Len() < 0.02 {
			out[i] = j
		}
	}
	return out
}

// insides tells the faces that lie in a hole: hollow surfaces that go all the
// way round; walls of cut-outs, which stand on a hole in the border of a broad
// side at either end; walls that another faces nearer than they are deep, with
// the other walls of such a hole; and floors whose border runs along such faces
// for the most part.
func (w *study) insides(roles []Role) []bool {
	out := make([]bool, len(roles))
	holes := make([]int, len(roles)) // by wall: 1, 2 or both for the broad sides in whose holes it stands
	for i, side := range w.broad {
		if side == 0 {
			continue
		}
		mark := 1
		if side < 0 {
			mark = 2
		}
		for _, l := range w.loops[i] {
			if w.turns(i, l) < 0 {
				for _, g := range l.Across {
					holes[g] |= mark
				}
			}
		}
	}
	for i := range roles {
		f := &w.shape.Faces[i]
		switch {
		case (f.Kind == surface.Cylinder || f.Kind == surface.Cone) && f.Full && f.Hollow:
			out[i] = true
		case w.broad[i] != 0:
		case holes[i] == 3:
			out[i] = true
		case roles[i] == Edge && (f.Kind == surface.Plane || f.Hollow):
			at, n := w.middle(i)
			lo, hi := w.extent(i, w.n)
			_, far := w.hit(at, n, i)
			out[i] = far < hi-lo
		}
	}
	// The ends of a slot go with its sides.
	for i, side := range w.broad {
		if side == 0 {
			continue
		}
		for _, l := range w.loops[i] {
			within, whole := 0.0, 0.0
			for k, v := range l.Vertices {
				d := w.shape.Vertices[v].Dist(w.shape.Vertices[l.Vertices[(k+1)%len(l.Vertices)]])
				if whole += d; out[l.Across[k]] {
					within += d
				}
			}
			if w.turns(i, l) < 0 && within > 0.5*whole {
				for _, g := range l.Across {
					out[g] = true
				}
			}
		}
	}
	for i := range roles {
		if w.shape.Faces[i].Kind != surface.Plane || w.broad[i] != 0 || out[i] {
			continue
		}
		within, whole := 0.0, 0.0
		for g, l := range w.span[i] {
			whole += l
			if out[g] {
				within += l
			}
		}
		out[i] = whole > 0 && within > 0.8*whole
	}
	return out
}

// turns is the area in a loop of a flat face: negative for a hole.
func (w *study) turns(face int, l surface.Loop) float64 {
	f := w.shape.Faces[face].Frame
	p := make(geom.Polygon, len(l.Vertices))
	for i, v := range l.Vertices {
		p[i] = f.Local(w.shape.Vertices[v]).XY()
	}
	return p.Area()
}

// frames are the chart frames of the faces that have one: of a plane, Z its
// outward normal; of a cylinder or cone, Z its axis and X where the angle is 0
// and the chart of a whole one is cut open, clear of holes where that can be.
func (w *study) frames(roles []Role) []geom.Frame {
	out := make([]geom.Frame, len(roles))
	for i := range w.shape.Faces {
		f := &w.shape.Faces[i]
		switch f.Kind {
		case surface.Plane:
			x := nearX(f.Frame.Z)
			if roles[i] == Edge {
				x = w.longWay(i)
			}
			// The member's origin, carried onto the plane, is the chart's.
			o := f.Frame.Z.Scale(f.Frame.Z.Dot(f.Frame.Origin))
			out[i] = geom.FrameFromXZ(o, x, f.Frame.Z)
		case surface.Cylinder, surface.Cone:
			z := f.Frame.Z
			if f.Kind == surface.Cylinder && w.n != (geom.Vec3{}) && parallel(z, w.n) {
				// As a board's edges: v from the back to the face.
				if up := w.up(); z.Dot(up) < 0 {
					z = z.Neg()
				}
			}
			g := geom.FrameFromXZ(f.Frame.Origin, nearX(z), z)
			from, gap := w.open(i, g)
			a := 0.0
			switch {
			case gap < 2*math.Pi && gap > 0:
				a = from + gap/2
			}
			sn, cs := math.Sincos(a)
			out[i] = geom.FrameFromXZ(g.Origin, g.X.Scale(cs).Add(g.Y.Scale(sn)), z)
		}
	}
	return out
}

// up is the direction of n or against it that has its greatest part positive.
func (w *study) up() geom.Vec3 {
	n := w.n
	big := n.Z
	if math.Abs(n.Y) > math.Abs(big)+1e-6 {
		big = n.Y
	}
	if math.Abs(n.X) > math.Abs(big)+1e-6 {
		big = n.X
	}
	if big < 0 {
		return n.Neg()
	}
	return n
}

// nearX is the member's x, or its y where x stands on the plane with normal n.
func nearX(n geom.Vec3) geom.Vec3 {
	if math.Abs(n.X) > 0.95 {
		return geom.V3(0, 1, 0)
	}
	return geom.V3(1, 0, 0)
}

// longWay is the direction of the longer side of the smallest rectangle round
// a flat face, so that its chart, seen upright, has the broad side's normal up.
func (w *study) longWay(i int) geom.Vec3 {
	f := w.shape.Faces[i].Frame
	var points []geom.Vec2
	for _, l := range w.loops[i] {
		for _, v := range l.Vertices {
			points = append(points, f.Local(w.shape.Vertices[v]).XY())
		}
	}
	d := longSide(points)
	x := f.Dir(geom.V3(d.X, d.Y, 0))
	up := f.Z.Cross(x).Dot(w.up())
	if math.Abs(up) < 1e-3 { // the edge runs along the thickness
		up = x.Dot(w.up())
	}
	if up < 0 {
		return x.Neg()
	}
	return x
}

// longSide is the direction of the longer side of the smallest rectangle round
// the points.
func longSide(points []geom.Vec2) geom.Vec2 {
	h := hull(points)
	best, out := math.Inf(1), geom.V2(1, 0)
	for i, p := range h {
		d := h[(i+1)%len(h)].Sub(p).Unit()
		u0, u1, v0, v1 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
		for _, q := range h {
			u, v := d.Dot(q), d.Cross(q)
			u0, u1, v0, v1 = min(u0, u), max(u1, u), min(v0, v), max(v1, v)
		}
		if a := (u1 - u0) * (v1 - v0); a < best*(1-1e-9) {
			best, out = a, d
			if u1-u0 < (v1-v0)*(1-1e-9) {
				out = d.Left()
			}
		}
	}
	return out
}

// hull is the convex hull, counter-clockwise (Andrew's monotone chain, 1979).
func hull(points []geom.Vec2) []geom.Vec2 {
	p := slices.Clone(points)
	slices.SortFunc(p, func(a, b geom.Vec2) int {
		if a.X != b.X {
			if a.X < b.X {
				return -1
			}
			return 1
		}
		switch {
		case a.Y < b.Y:
			return -1
		case a.Y > b.Y:
			return 1
		}
		return 0
	})
	p = slices.Compact(p)
	if len(p) < 3 {
		return p
	}
	half := func(p []geom.Vec2) []geom.Vec2 {
		var h []geom.Vec2
		for _, q := range p {
			for len(h) > 1 && geom.Orient(h[len(h)-2], h[len(h)-1], q) <= 0 {
				h = h[:len(h)-1]
			}
			h = append(h, q)
		}
		return h[:len(h)-1]
	}
	low := half(p)
	slices.Reverse(p)
	return append(low, half(p)...)
}

// open is the widest stretch of angles about the frame's Z that a face leaves
// free, or, where it goes all the way round, that its holes do: where it begins
// and how wide it is. 2π: no hole at all.
func (w *study) open(i int, g geom.Frame) (from, gap float64) {
	var arcs [][2]float64
	angle := func(v int32) float64 { return g.Local(w.shape.Vertices[v]).XY().Angle() }
	cover := func(vs ...int32) float64 { // notes the stretch that a chain of points covers
		a := angle(vs[0])
		lo, hi, now := a, a, a
		for _, v := range vs[1:] {
			now += wrapped(angle(v) - now)
			lo, hi = min(lo, now), max(hi, now)
		}
		arcs = append(arcs, [2]float64{lo, hi})
		return now - a
	}
	for _, t := range w.shape.Faces[i].Triangles {
		k := w.shape.Triangles[t]
		if offAxis := g.Local(w.shape.Vertices[k[0]]).XY().Len(); offAxis < 1e-9 {
			k = [3]int32{k[1], k[2], k[1]} // an apex has no angle
		}
		cover(k[0], k[1], k[2])
	}
	if from, gap = widest(arcs); gap > 1e-3 {
		return from, gap
	}
	arcs = arcs[:0]
	for _, l := range w.loops[i] {
		n := len(arcs)
		if total := cover(append(slices.Clone(l.Vertices), l.Vertices[0])...); math.Abs(total) > math.Pi {
			arcs = arcs[:n] // it goes round
		}
	}
	return widest(arcs)
}

// wrapped is the angle between -π and π.
func wrapped(a float64) float64 { return math.Remainder(a, 2*math.Pi) }

// widest is the widest stretch of the circle that none of the arcs touches.
func widest(arcs [][2]float64) (from, gap float64) {
	if len(arcs) == 0 {
		return 0, 2 * math.Pi
	}
	turn := func(a float64) float64 { return a - 2*math.Pi*math.Floor(a/(2*math.Pi)) }
	at := make([][2]float64, len(arcs))
	for i, a := range arcs {
		lo := turn(a[0])
		at[i] = [2]float64{lo, lo + a[1] - a[0]}
	}
	slices.SortFunc(at, func(a, b [2]float64) int {
		switch {
		case a[0] < b[0]:
			return -1
		case a[0] > b[0]:
			return 1
		}
		return 0
	})
	end := 0.0
	for _, a := range at { // what reaches over from the turn before
		end = max(end, a[1]-2*math.Pi)
	}
	reach := end
	if at[0][0] > end {
		reach = at[0][0]
	}
	first := reach
	for _, a := range at {
		if a[0] > reach && a[0]-reach > gap {
			from, gap = reach, a[0]-reach
		}
		reach = max(reach, a[1])
	}
	// Round the end of the turn, to where the first begins.
	if wide := first + 2*math.Pi - reach; at[0][0] >= end && wide > gap {
		from, gap = reach, wide
	}
	return from, gap
}
