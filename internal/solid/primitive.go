package solid

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// Loop is a closed outline with a tag for every edge.
type Loop struct {
	Points []geom.Vec2
	Tags   []Tag // Tags[i] marks the facet from Points[i] to Points[i+1], the last to the first
}

// Extrude is the region inside the loops between the heights z0 and z1 along
// local Z. Outer loops run counter-clockwise, holes clockwise; loops must not
// touch or cross themselves or one another. Edges in line with each other keep
// their own tags.
func Extrude(loops []Loop, z0, z1 float64, bottom, top Tag) Shape {
	e := &extrusion{z0: z0, z1: z1, bottom: bottom, top: top}
	for _, l := range loops {
		e.loops = append(e.loops, Loop{slices.Clone(l.Points), slices.Clone(l.Tags)})
	}
	if err := e.check(); err != nil {
		return faulty(opExtrude, fmt.Errorf("extruding an outline: %w", err))
	}
	h := newHasher(opExtrude)
	b := geom.EmptyBox3()
	h.float(z0)
	h.float(z1)
	h.int(int(bottom))
	h.int(int(top))
	for _, l := range e.loops {
		h.int(len(l.Points))
		for i, p := range l.Points {
			h.float(p.X)
			h.float(p.Y)
			h.int(int(l.Tags[i]))
			b = b.Add(geom.V3(p.X, p.Y, z0)).Add(geom.V3(p.X, p.Y, z1))
		}
	}
	return Shape{&node{op: opExtrude, hash: h.sum(), bounds: b, extrude: e}}
}

func (e *extrusion) check() error {
	if !finite(e.z0, e.z1) || e.z0 >= e.z1 {
		return fmt.Errorf("the height from %g to %g is not positive", e.z0, e.z1)
	}
	if err := checkTags(e.bottom, e.top); err != nil {
		return err
	}
	var loops []geom.Polygon
	for i, l := range e.loops {
		if len(l.Tags) != len(l.Points) {
			return fmt.Errorf("loop %d has %d points but %d tags", i, len(l.Points), len(l.Tags))
		}
		if err := checkTags(l.Tags...); err != nil {
			return fmt.Errorf("loop %d: %w", i, err)
		}
		loops = append(loops, l.Points)
	}
	return CheckOutline(loops)
}

func checkTags(tags ...Tag) error {
	for _, t := range tags {
		if t < NoTag || t == math.MaxInt32 {
			return fmt.Errorf("the tag %d is out of range", t)
		}
	}
	return nil
}

// leaf is the extrusion as a mesh. caps divides its region into triangles,
// whose corners are numbered through all loops.
func (e *extrusion) leaf(caps [][3]int32) *leaf {
	var l leaf
	n := int32(0)
	for _, loop := range e.loops {
		n += int32(len(loop.Points))
	}
	l.vertices = make([]geom.Vec3, 2*n)
	base := int32(0)
	for _, loop := range e.loops {
		k := int32(len(loop.Points))
		for i, p := range loop.Points {
			a, b := base+int32(i), base+(int32(i)+1)%k
			l.vertices[a] = geom.V3(p.X, p.Y, e.z0)
			l.vertices[a+n] = geom.V3(p.X, p.Y, e.z1)
			l.quad(a, b, b+n, a+n, loop.Tags[i])
		}
		base += k
	}
	for _, t := range caps {
		l.triangle(t[0], t[2], t[1], e.bottom)
		l.triangle(t[0]+n, t[1]+n, t[2]+n, e.top)
	}
	return &l
}

func (l *leaf) triangle(a, b, c int32, t Tag) {
	l.triangles = append(l.triangles, [3]int32{a, b, c})
	l.tags = append(l.tags, t)
}

func (l *leaf) quad(a, b, c, d int32, t Tag) {
	l.triangle(a, b, c, t)
	l.triangle(a, c, d, t)
}

// Box is the box with one tag on all six faces.
func Box(b geom.Box3, tag Tag) Shape {
	if err := checkTags(tag); err != nil {
		return faulty(opMesh, fmt.Errorf("making a box: %w", err))
	}
	if s := b.Size(); !finite(b.Min.X, b.Min.Y, b.Min.Z, b.Max.X, b.Max.Y, b.Max.Z) || s.X <= 0 || s.Y <= 0 || s.Z <= 0 {
		return faulty(opMesh, fmt.Errorf("making a box: the size %v is not positive", s))
	}
	l := &leaf{vertices: corners(b)} // corner 4x+2y+z
	l.quad(0, 1, 3, 2, tag)
	l.quad(4, 6, 7, 5, tag)
	l.quad(0, 4, 5, 1, tag)
	l.quad(2, 3, 7, 6, tag)
	l.quad(0, 2, 6, 4, tag)
	l.quad(1, 5, 7, 3, tag)
	return meshShape(l)
}

// DefaultChord is how far, in mm, a facet may stray from the circle it stands
// for where the caller does not say.
const DefaultChord = 0.02

// Facets is the number of facets, a multiple of four and at least twelve, that
// keeps a circle of radius r within chord of its polygon, whether inscribed
// (strays inward) or circumscribed (strays outward). chord 0 means DefaultChord.
func Facets(r, chord float64, circumscribed bool) int {
	if chord <= 0 {
		chord = DefaultChord
	}
	// inscribed: r (1 - cos π/n) <= chord; circumscribed: r (1/cos π/n - 1) <= chord
	c := 1 - chord/r
	if circumscribed {
		c = r / (r + chord)
	}
	if !(c > 0) {
		return 12
	}
	n := math.Ceil(math.Pi / math.Acos(c))
	return max(12, 4*int(math.Ceil(n/4)))
}

// Revolve is the closed profile of points (r, z) with r >= 0, counter-clockwise
// with r to the right and z upward, turned about local Z. tags[i] marks the
// surface from profile[i] to profile[i+1]; edges on the axis make no surface.
// The vertices lie on the true surface, the first at angle 0; facets 0 chooses
// their number by Facets. The profile may meet the axis along one edge or
// chain of edges, but not at a lone point.
func Revolve(profile []geom.Vec2, tags []Tag, facets int) Shape {
	l, err := revolve(profile, tags, facets)
	if err != nil {
		return faulty(opMesh, fmt.Errorf("revolving a profile: %w", err))
	}
	return meshShape(l)
}

func revolve(profile []geom.Vec2, tags []Tag, facets int) (*leaf, error) {
	if len(tags) != len(profile) {
		return nil, fmt.Errorf("the profile has %d points but %d tags", len(profile), len(tags))
	}
	if err := checkTags(tags...); err != nil {
		return nil, err
	}
	if err := CheckOutline([]geom.Polygon{profile}); err != nil {
		return nil, err
	}
	largest := 0.0
	for i, p := range profile {
		if p.X < 0 {
			return nil, fmt.Errorf("point %d lies at the negative radius %g", i, p.X)
		}
		largest = max(largest, p.X)
	}
	if facets == 0 {
		facets = Facets(largest, 0, false)
	}
	if facets < 3 {
		return nil, fmt.Errorf("%d facets do not make a round body", facets)
	}
	n := len(profile)
	onAxis := func(i int) bool { return profile[(i+n)%n].X == 0 }
	runs := 0
	for i := range profile {
		if onAxis(i) && !onAxis(i-1) {
			runs++
			if !onAxis(i + 1) {
				return nil, fmt.Errorf("point %d touches the axis alone", i)
			}
		}
	}
	if runs > 1 {
		return nil, errors.New("the profile meets the axis in more than one place")
	}

	// A flat end needs no vertex on the axis.
	flatEnd := func(i, j int) bool {
		i, j = (i+n)%n, (j+n)%n
		return onAxis(i) != onAxis(j) && profile[i].Y == profile[j].Y
	}
	var l leaf
	first := make([]int32, n) // number of a point's first vertex; -1 for none
	for i, p := range profile {
		first[i] = int32(len(l.vertices))
		switch {
		case p.X > 0:
			for k := range facets {
				x, y := onCircle(p.X, k, facets)
				l.vertices = append(l.vertices, geom.V3(x, y, p.Y))
			}
		case onAxis(i-1) && onAxis(i+1), flatEnd(i-1, i), flatEnd(i, i+1): // within the body's inside or a flat end
			first[i] = -1
		default:
			l.vertices = append(l.vertices, geom.V3(0, 0, p.Y))
		}
	}
	for i := range profile {
		j := (i + 1) % n
		if onAxis(i) && onAxis(j) {
			continue
		}
		if flatEnd(i, j) {
			if onAxis(i) { // the end looks down: clockwise seen from above
				l.disc(first[j], int32(facets), true, tags[i])
			} else {
				l.disc(first[i], int32(facets), false, tags[i])
			}
			continue
		}
		for k := range int32(facets) {
			m := (k + 1) % int32(facets)
			a, b := first[i], first[j]
			switch {
			case onAxis(i):
				l.triangle(a, b+m, b+k, tags[i])
			case onAxis(j):
				l.triangle(a+k, a+m, b, tags[i])
			default:
				l.quad(a+k, a+m, b+m, b+k, tags[i])
			}
		}
	}
	return &l, nil
}

// disc fills the convex ring of n vertices from first on with triangles. It
// halves the ring again and again, so that no vertex has more than some
// 2 log2 n of them: the kernel is slow at vertices with many.
func (l *leaf) disc(first, n int32, down bool, t Tag) {
	var halve func(a, b int32)
	halve = func(a, b int32) { // fills between the ring from a to b and the straight line back
		if b-a < 2 {
			return
		}
		m := (a + b) / 2
		if down {
			l.triangle(first+a, first+b, first+m, t)
		} else {
			l.triangle(first+a, first+m, first+b, t)
		}
		halve(a, m)
		halve(m, b)
	}
	halve(0, n-1)
}

// onCircle is corner k of n on a circle. Corners a quarter turn apart have
// the same digits, so that a polygon with a multiple of four corners is
// symmetric exactly.
func onCircle(r float64, k, n int) (x, y float64) {
	quarter := 4 * k / n
	if n%4 == 0 {
		k -= quarter * n / 4
	} else {
		quarter = 0
	}
	s, c := math.Sincos(2 * math.Pi * float64(k) / float64(n))
	x, y = r*c, r*s
	for range quarter {
		x, y = -y, x
	}
	return x, y
}

// CylinderOptions say how a round bar or a bore is made of facets. The zero
// value is a cylinder whose corners lie on the true surface.
type CylinderOptions struct {
	Facets        int      // around the axis; 0 chooses them by Chord
	Chord         float64  // mm; how far facets may stray from the circle; 0 means DefaultChord
	Circumscribed bool     // the polygon contains the circle, as a bore needs
	TopRadius     *float64 // mm, at the far end; nil means the same radius, 0 a pointed cone
}

// Cylinder is a cylinder, or a cone, of the radius r at base, running the
// length along axis, which need not be a unit vector. All facets get the tag.
func Cylinder(base, axis geom.Vec3, r, length float64, tag Tag, o CylinderOptions) Shape {
	fault := func(format string, a ...any) Shape {
		return faulty(opMesh, fmt.Errorf("making a cylinder: "+format, a...))
	}
	top := r
	if o.TopRadius != nil {
		top = *o.TopRadius
	}
	if !finite(base.X, base.Y, base.Z, axis.X, axis.Y, axis.Z, r, length, top) {
		return fault("a measure is not a finite number")
	}
	if r < 0 || top < 0 || r+top == 0 || length <= 0 {
		return fault("radii %g and %g over the length %g leave no body", r, top, length)
	}
	if !(axis.Len() > 0) {
		return fault("the axis has no direction")
	}
	n := o.Facets
	if n == 0 {
		n = Facets(max(r, top), o.Chord, o.Circumscribed)
	}
	if n < 3 {
		return fault("%d facets do not make a round body", n)
	}
	if o.Circumscribed {
		widen := 1 / math.Cos(math.Pi/float64(n))
		r, top = r*widen, top*widen
	}
	profile := []geom.Vec2{{X: 0, Y: 0}, {X: r, Y: 0}, {X: top, Y: length}, {X: 0, Y: length}}
	switch {
	case r == 0:
		profile = slices.Delete(profile, 1, 2)
	case top == 0:
		profile = slices.Delete(profile, 2, 3)
	}
	tags := make([]Tag, len(profile))
	for i := range tags {
		tags[i] = tag
	}
	return Revolve(profile, tags, n).At(geom.FrameFromZ(base, axis))
}

// Foreign is a closed mesh brought in from elsewhere, with a tag for every
// triangle; nil tags mean NoTag throughout. Triangles run counter-clockwise
// seen from outside. The mesh must be closed: every edge used once in each
// direction.
func Foreign(vertices []geom.Vec3, triangles [][3]int32, tags []Tag) Shape {
	fault := func(format string, a ...any) Shape {
		return faulty(opMesh, fmt.Errorf("bringing in a mesh: "+format, a...))
	}
	l := &leaf{slices.Clone(vertices), slices.Clone(triangles), slices.Clone(tags)}
	if tags == nil {
		l.tags = make([]Tag, len(triangles))
		for i := range l.tags {
			l.tags[i] = NoTag
		}
	}
	if len(l.tags) != len(triangles) {
		return fault("%d triangles but %d tags", len(triangles), len(tags))
	}
	if err := checkTags(l.tags...); err != nil {
		return fault("%w", err)
	}
	if len(vertices) > maxVertices {
		return fault("%d vertices, more than %d", len(vertices), maxVertices)
	}
	for i, v := range vertices {
		if !finite(v.X, v.Y, v.Z) {
			return fault("vertex %d is not finite", i)
		}
	}
	if err := checkClosed(len(vertices), triangles); err != nil {
		return fault("%w", err)
	}
	if v := meshVolume(vertices, triangles); !(v > 0) {
		return fault("its volume of %g mm³ is not positive: it is inside out or flat", v)
	}
	return meshShape(l)
}
