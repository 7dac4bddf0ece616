package solid

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// Tag says which surface a facet belongs to. The numbers are the caller's;
// they must not be negative, except NoTag.
type Tag int32

// NoTag marks facets that belong to no surface the caller cares for.
const NoTag Tag = -1

// ErrEmpty says that nothing is left of a body: a cut took it all, or an
// intersection has no common part.
var ErrEmpty = errors.New("nothing is left of the body")

// A Shape describes a body. It is immutable and cheap to copy; the zero Shape
// describes nothing. Faults in what a Shape was made from are reported when a
// Kernel is asked to work on it.
type Shape struct{ n *node }

type op byte

const (
	opMesh op = iota
	opExtrude
	opUnion
	opDifference
	opIntersection
	opHull
	opAt
	opExport // no node: only keeps the hash of an exported mesh apart
)

var opNames = [...]string{"mesh", "extrusion", "union", "difference", "intersection", "hull", "placing"}

// node is one step of a Shape. Which fields hold something depends on op.
type node struct {
	op       op
	hash     [32]byte
	bounds   geom.Box3 // the body lies within; never smaller than the body
	err      error
	children []*node

	mesh    *leaf      // opMesh
	extrude *extrusion // opExtrude
	frame   geom.Frame // opAt
}

// leaf is a closed mesh with a tag on every triangle.
type leaf struct {
	vertices  []geom.Vec3
	triangles [][3]int32
	tags      []Tag
}

type extrusion struct {
	loops       []Loop
	z0, z1      float64
	bottom, top Tag
}

// IsZero reports whether the Shape describes nothing at all, not even a fault.
func (s Shape) IsZero() bool { return s.n == nil }

// Hash depends on everything that the Shape was made from, and on nothing
// else: Shapes with the same hash have the same Mesh.
func (s Shape) Hash() [32]byte {
	if s.n == nil {
		return [32]byte{}
	}
	return s.n.hash
}

// Err is the fault in what the Shape was made from, if any. A Kernel returns
// it, too.
func (s Shape) Err() error {
	if s.n == nil {
		return nil
	}
	return s.n.err
}

// Bounds is a box that the body does not exceed. It may be larger than the
// body; it costs nothing. Kernel.Measure gives the exact one.
func (s Shape) Bounds() geom.Box3 {
	if s.n == nil {
		return geom.EmptyBox3()
	}
	return s.n.bounds
}

func faulty(o op, err error) Shape {
	h := newHasher(o)
	h.text(err.Error())
	return Shape{&node{op: o, hash: h.sum(), bounds: geom.EmptyBox3(), err: err}}
}

func meshShape(l *leaf) Shape {
	h := newHasher(opMesh)
	b := geom.EmptyBox3()
	h.int(len(l.vertices))
	for _, v := range l.vertices {
		h.vec(v)
		b = b.Add(v)
	}
	h.int(len(l.triangles))
	for i, t := range l.triangles {
		h.int(int(t[0]))
		h.int(int(t[1]))
		h.int(int(t[2]))
		h.int(int(l.tags[i]))
	}
	return Shape{&node{op: opMesh, hash: h.sum(), bounds: b, mesh: l}}
}

// Union is the body that all the shapes cover together. Zero Shapes are left out.
func Union(shapes ...Shape) Shape { return combined(opUnion, shapes) }

// Intersection is what all the shapes have in common. Zero Shapes are left out.
func Intersection(shapes ...Shape) Shape { return combined(opIntersection, shapes) }

// Hull is the smallest convex body round all the shapes. Its facets have NoTag.
// No member is made of it: wedges, barrels and the like are, that tests hand to
// the program as bodies drawn elsewhere.
func Hull(shapes ...Shape) Shape { return combined(opHull, shapes) }

// Difference is a without all of b. Zero Shapes among b are left out.
//
// All that is taken out of one body is taken out at once, whether it was named
// in one Difference, in several, or as a Union: the kernel does many bores five
// times as fast together as one by one, and a cut (see Within) can then leave
// out those that it does not reach.
func Difference(a Shape, b ...Shape) Shape {
	if a.IsZero() {
		return a
	}
	shapes := a.parts(opDifference)
	for _, s := range b {
		shapes = append(shapes, s.parts(opUnion)...)
	}
	return combined(opDifference, shapes)
}

// parts are the shapes that s was combined from by o, or s itself if it was not.
func (s Shape) parts(o op) []Shape {
	if s.n == nil || s.n.op != o || s.n.err != nil {
		return []Shape{s}
	}
	out := make([]Shape, len(s.n.children))
	for i, c := range s.n.children {
		out[i] = Shape{c}
	}
	return out
}

func combined(o op, shapes []Shape) Shape {
	n := &node{op: o}
	h := newHasher(o)
	for _, s := range shapes {
		if s.n == nil {
			continue
		}
		h.bytes(s.n.hash[:])
		n.children = append(n.children, s.n)
		if n.err == nil && s.n.err != nil {
			n.err = s.n.err
		}
	}
	if len(n.children) == 0 {
		return Shape{}
	}
	if len(n.children) == 1 && o != opHull {
		return Shape{n.children[0]}
	}
	n.hash = h.sum()
	n.bounds = n.children[0].bounds
	for _, c := range n.children[1:] {
		switch o {
		case opUnion, opHull:
			switch { // the box of a part that is surely empty must not be mixed in
			case n.bounds.Empty():
				n.bounds = c.bounds
			case !c.bounds.Empty():
				n.bounds = n.bounds.Union(c.bounds)
			}
		case opIntersection:
			n.bounds = common(n.bounds, c.bounds)
		}
	}
	return Shape{n}
}

func common(a, b geom.Box3) geom.Box3 {
	return geom.Box3{
		Min: geom.V3(max(a.Min.X, b.Min.X), max(a.Min.Y, b.Min.Y), max(a.Min.Z, b.Min.Z)),
		Max: geom.V3(min(a.Max.X, b.Max.X), min(a.Max.Y, b.Max.Y), min(a.Max.Z, b.Max.Z)),
	}
}

// At is the shape, so far described in f's coordinates, placed in the
// enclosing ones. f must be right-handed and orthonormal to 1e-9.
func (s Shape) At(f geom.Frame) Shape {
	if s.n == nil || f == geom.World() {
		return s
	}
	if err := checkFrame(f); err != nil {
		return faulty(opAt, fmt.Errorf("placing a body: %w", err))
	}
	child := s.n
	if child.op == opAt { // one placing instead of two
		f, child = child.frame.In(f), child.children[0]
	}
	n := &node{op: opAt, frame: f, children: []*node{child}, err: child.err, bounds: geom.EmptyBox3()}
	for _, c := range corners(child.bounds) {
		n.bounds = n.bounds.Add(f.Point(c))
	}
	h := newHasher(opAt)
	h.bytes(child.hash[:])
	for _, v := range [...]geom.Vec3{f.Origin, f.X, f.Y, f.Z} {
		h.vec(v)
	}
	n.hash = h.sum()
	return Shape{n}
}

func checkFrame(f geom.Frame) error {
	for _, v := range [...]geom.Vec3{f.Origin, f.X, f.Y, f.Z} {
		if !finite(v.X, v.Y, v.Z) {
			return errors.New("the frame has a coordinate that is not a finite number")
		}
	}
	const square = 1e-9
	off := max(math.Abs(f.X.Len()-1), math.Abs(f.Y.Len()-1), f.Z.Dist(f.X.Cross(f.Y)), math.Abs(f.X.Dot(f.Y)))
	if off > square {
		return fmt.Errorf("the frame is not right-handed and orthonormal: off by %.3g", off)
	}
	return nil
}

func corners(b geom.Box3) []geom.Vec3 {
	if b.Empty() {
		return nil
	}
	out := make([]geom.Vec3, 0, 8)
	for _, x := range [...]float64{b.Min.X, b.Max.X} {
		for _, y := range [...]float64{b.Min.Y, b.Max.Y} {
			for _, z := range [...]float64{b.Min.Z, b.Max.Z} {
				out = append(out, geom.V3(x, y, z))
			}
		}
	}
	return out
}

// Below is the part of the shape where p.Distance is not positive. The facets
// that the cut makes get the tag cut.
func (s Shape) Below(p geom.Plane, cut Tag) Shape { return s.Within(Cut{p, cut}) }

// Cut is a plane to cut by; the facets that it makes get the tag.
type Cut struct {
	Plane geom.Plane
	Tag   Tag
}

// Within is the part of the shape below all the planes, in one operation.
//
// Cuts go to the bottom of the expression, since (A - B) ∩ H = (A ∩ H) - B: a
// segment of a board is cut from the bare board and then has only those bores
// taken out that reach into it, which costs a fraction of boring the whole
// board and cutting it, and is shared by all equal members wherever they stand.
func (s Shape) Within(cuts ...Cut) Shape {
	if s.n == nil || s.n.err != nil || len(cuts) == 0 {
		return s
	}
	for _, c := range cuts {
		n := c.Plane.Normal
		if !finite(n.X, n.Y, n.Z, c.Plane.D) || math.Abs(n.Len()-1) > 1e-9 {
			return faulty(opIntersection, fmt.Errorf("cutting a body: the plane's normal %v is not a unit vector, or its distance %g not finite", n, c.Plane.D))
		}
	}
	switch s.n.op {
	case opAt:
		local := make([]Cut, len(cuts))
		for i, c := range cuts {
			p := c.Plane.Local(s.n.frame)
			l := p.Normal.Len() // 1 but for rounding
			local[i] = Cut{geom.Plane{Normal: p.Normal.Scale(1 / l), D: p.D / l}, c.Tag}
		}
		return Shape{s.n.children[0]}.Within(local...).At(s.n.frame)
	case opDifference:
		body := Shape{s.n.children[0]}.Within(cuts...)
		var taken []Shape
		for _, b := range s.n.children[1:] {
			if !apart(b.bounds, body.n.bounds) && !slices.ContainsFunc(cuts, func(c Cut) bool { return above(b.bounds, c.Plane) }) {
				taken = append(taken, Shape{b})
			}
		}
		return Difference(body, taken...)
	}
	parts := []Shape{s}
	for _, c := range cuts {
		if h := s.half(c.Plane, c.Tag); !h.IsZero() {
			parts = append(parts, h)
		}
	}
	return Intersection(parts...)
}

// apart reports whether the boxes have no point in common.
func apart(a, b geom.Box3) bool { return a.Empty() || b.Empty() || !a.Overlaps(b) }

// above reports whether the whole box lies above the plane.
func above(b geom.Box3, p geom.Plane) bool {
	for _, c := range corners(b) {
		if p.Distance(c) < 0 {
			return false
		}
	}
	return true
}

// half is a box that holds all of the shape below the plane, and reaches well
// beyond the shape on all sides but the plane's. It is zero if there is
// nothing to cut.
func (s Shape) half(p geom.Plane, cut Tag) Shape {
	f := geom.FrameFromZ(p.Normal.Scale(p.D), p.Normal)
	b := geom.EmptyBox3()
	for _, c := range corners(s.n.bounds) {
		b = b.Add(f.Local(c))
	}
	if b.Empty() { // the shape is faulty or empty, and says so itself
		return Shape{}
	}
	margin := 1 + b.Size().Len()
	b = b.Grow(margin)
	b.Min.Z, b.Max.Z = min(b.Min.Z, -margin), 0
	return Box(b, cut).At(f)
}

// Above is the part of the shape where p.Distance is not negative. The facets
// that the cut makes get the tag cut.
func (s Shape) Above(p geom.Plane, cut Tag) Shape { return s.Below(p.Flip(), cut) }

func finite(xs ...float64) bool {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// hasher digests what a node was made from. Every field has a fixed length or
// is preceded by it, so no two different nodes feed it the same bytes.
type hasher struct{ buf []byte }

func newHasher(o op) *hasher { return &hasher{buf: []byte{byte(o)}} }

func (h *hasher) bytes(b []byte)  { h.buf = append(h.buf, b...) }
func (h *hasher) int(i int)       { h.buf = binary.LittleEndian.AppendUint64(h.buf, uint64(i)) }
func (h *hasher) text(s string)   { h.int(len(s)); h.buf = append(h.buf, s...) }
func (h *hasher) vec(v geom.Vec3) { h.float(v.X); h.float(v.Y); h.float(v.Z) }
func (h *hasher) float(x float64) {
	h.buf = binary.LittleEndian.AppendUint64(h.buf, math.Float64bits(x+0)) // -0 is 0
}
func (h *hasher) sum() [32]byte { return sha256.Sum256(h.buf) }
