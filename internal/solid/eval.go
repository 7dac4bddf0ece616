package solid

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// eval makes the body of a node. The solid belongs to the instance's cache and
// lives until the instance is given back. An error that is not in.err leaves
// the instance usable.
func (in *instance) eval(ctx context.Context, n *node) (ptr, error) {
	if n.err != nil {
		return 0, n.err
	}
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	if p, ok := in.solids.get(n.hash); ok {
		return p, nil
	}
	p, err := in.build(ctx, n)
	if err != nil {
		return 0, err
	}
	size := int(in.call("Manifold.numTri", p))
	if in.err != nil {
		return 0, in.err
	}
	in.solids.put(n.hash, p, size)
	return p, nil
}

func (in *instance) build(ctx context.Context, n *node) (ptr, error) {
	switch n.op {
	case opMesh, opExtrude:
		p := in.importLeaf(n, geom.World())
		return p, in.err
	case opAt:
		child := n.children[0]
		if child.op == opMesh || child.op == opExtrude { // place the corners exactly
			p := in.importLeaf(child, n.frame)
			return p, in.err
		}
		c, err := in.eval(ctx, child)
		if err != nil {
			return 0, err
		}
		p := in.transform(c, n.frame)
		return p, in.err
	}
	parts := make([]ptr, len(n.children))
	triangles := 0
	for i, c := range n.children {
		p, err := in.eval(ctx, c)
		if err != nil {
			return 0, err
		}
		parts[i] = p
		triangles += int(in.call("Manifold.numTri", p))
	}
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	doing := fmt.Sprintf("%s of %d bodies with %d triangles", opNames[n.op], len(parts), triangles)
	var p ptr
	switch n.op {
	case opUnion:
		p = in.combine("_manifoldUnionN", doing, parts...)
	case opDifference:
		p = in.combine("_manifoldDifferenceN", doing, parts...)
	case opIntersection:
		p = in.combine("_manifoldIntersectionN", doing, parts...)
	case opHull:
		p = in.hull(doing, parts)
	}
	return p, in.err
}

// A tag crosses into the kernel as the face ID that it keeps for every
// triangle through all its work; NoTag is 0. Every solid that goes in comes
// through importMesh, so no ID of the kernel's own making is ever seen.
func mark(t Tag) uint32 { return uint32(t + 1) }

func unmark(m uint32) Tag { return Tag(m) - 1 }

func (in *instance) importLeaf(n *node, f geom.Frame) ptr {
	l := n.mesh
	if n.op == opExtrude {
		loops := make([]geom.Polygon, len(n.extrude.loops))
		for i := range loops {
			loops[i] = n.extrude.loops[i].Points
		}
		caps := in.triangulate(loops)
		if in.err != nil {
			return 0
		}
		l = n.extrude.leaf(caps)
	}
	marks := make([]uint32, len(l.tags))
	for i, t := range l.tags {
		marks[i] = mark(t)
	}
	vertices := l.vertices
	if f != geom.World() {
		vertices = make([]geom.Vec3, len(l.vertices))
		for i, v := range l.vertices {
			vertices[i] = f.Point(v)
		}
	}
	return in.importMesh(vertices, l.triangles, marks)
}

// hull brings the kernel's hull in anew, so that its facets carry NoTag.
func (in *instance) hull(doing string, parts []ptr) ptr {
	var points []geom.Vec3
	for _, p := range parts {
		points = append(points, in.exportMesh(p).vertices...)
	}
	slices.SortFunc(points, compareVec3)
	points = slices.Compact(points)
	v := in.make("new Vector_vec3")
	if in.err == nil {
		clear(in.bytes(uint32(in.scratch), 24))
	}
	in.call("Vector_vec3.resize", v, uint64(len(points)), in.scratch)
	if b := in.contents(v); len(b) == 24*len(points) {
		for i, p := range points {
			putVec3(b[24*i:], p)
		}
	}
	h := in.make("_manifoldHullPoints", v)
	in.checkStatus(doing, h)
	raw := in.exportMesh(h)
	in.drop("Manifold", h)
	in.drop("Vector_vec3", v)
	clear(raw.marks)
	return in.importMesh(raw.vertices, raw.triangles, raw.marks)
}

func putVec3(b []byte, v geom.Vec3) {
	binary.LittleEndian.PutUint64(b, math.Float64bits(v.X))
	binary.LittleEndian.PutUint64(b[8:], math.Float64bits(v.Y))
	binary.LittleEndian.PutUint64(b[16:], math.Float64bits(v.Z))
}

// weld is the length, mm, below which an edge of a result is drawn together.
// The kernel itself takes points within some 1e-7 mm for one, but leaves such
// an edge where drawing it together would fold a thin triangle over.
const weld = 1e-9

// mesh reads a solid out. It is simplified by the kernel's own tolerance
// first, which takes away the triangles without size that points in line
// leave in a cap.
func (in *instance) mesh(m ptr) (*Mesh, error) {
	s := in.simplify(m, 0)
	raw := in.exportMesh(s)
	in.drop("Manifold", s)
	if in.err != nil {
		return nil, in.err
	}
	if len(raw.triangles) == 0 {
		return nil, ErrEmpty
	}
	p := patch{vertices: raw.vertices, triangles: raw.triangles, tags: make([]Tag, len(raw.marks))}
	for i, k := range raw.marks {
		p.tags[i] = unmark(k)
	}
	p.mend(weld)
	if len(p.triangles) == 0 {
		return nil, ErrEmpty
	}
	out := newMesh(p.vertices, p.triangles, p.tags)
	if !(out.Volume > 0) {
		return nil, fmt.Errorf("a volume of %g mm³ came out: %w", out.Volume, ErrEmpty)
	}
	return out, nil
}

// solidCache keeps solids in the instance, so that many cuts of one body make
// the body once.
type solidCache struct {
	entries map[[32]byte]*solidEntry
	clock   int
	size    int // triangles
}

type solidEntry struct {
	p    ptr
	size int
	used int
}

// solidCacheSize is how many triangles an instance keeps between two tasks,
// some 40 MB; a solid counts at least 64 for its overhead.
const solidCacheSize = 200_000

func newSolidCache() solidCache { return solidCache{entries: map[[32]byte]*solidEntry{}} }

func (c *solidCache) get(hash [32]byte) (ptr, bool) {
	e := c.entries[hash]
	if e == nil {
		return 0, false
	}
	c.clock++
	e.used = c.clock
	return e.p, true
}

func (c *solidCache) put(hash [32]byte, p ptr, size int) {
	c.clock++
	size = max(size, 64)
	c.entries[hash] = &solidEntry{p, size, c.clock}
	c.size += size
}

// trim drops the solids used longest ago until the cache is small enough.
func (in *instance) trim(limit int) {
	c := &in.solids
	if c.size <= limit {
		return
	}
	hashes := make([][32]byte, 0, len(c.entries))
	for h := range c.entries { // put in order by the sort below; use times are unique
		hashes = append(hashes, h)
	}
	slices.SortFunc(hashes, func(a, b [32]byte) int { return c.entries[a].used - c.entries[b].used })
	for _, h := range hashes {
		if c.size <= limit {
			return
		}
		e := c.entries[h]
		in.drop("Manifold", e.p)
		c.size -= e.size
		delete(c.entries, h)
	}
}
