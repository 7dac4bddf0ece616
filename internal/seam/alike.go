package seam

import (
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/veneer"
)

// twin is the movement, or movement and reflection, that carries one body onto
// another.
type twin struct {
	from, to       geom.Frame // of the bodies' first members
	middle, beyond geom.Vec3  // middles of their boxes, in those frames
	turn           geom.Vec3  // 1 or -1 along each axis
}

func (t twin) point(p geom.Vec3) geom.Vec3 {
	return t.to.Point(t.beyond.Add(times(t.turn, t.from.Local(p).Sub(t.middle))))
}

func (t twin) dir(d geom.Vec3) geom.Vec3 { return t.to.Dir(times(t.turn, t.from.LocalDir(d))) }

func (t twin) plane(pl geom.Plane) geom.Plane {
	return geom.PlaneAt(t.point(pl.Normal.Scale(pl.D)), t.dir(pl.Normal))
}

func (t twin) back() twin {
	return twin{from: t.to, to: t.from, middle: t.beyond, beyond: t.middle, turn: t.turn}
}

func times(a, b geom.Vec3) geom.Vec3 { return geom.V3(a.X*b.X, a.Y*b.Y, a.Z*b.Z) }

// sameness is how far, in mm, corners of bodies that are alike may lie apart:
// no more than a layer of paint, and much more than rounding.
const sameness = 0.01

// local is a body's own solids, without pads, in its first member's frame.
func (c *cutter) local() (pts []geom.Vec3, box geom.Box3) {
	f := c.in.Cores[c.body.Members[0]].Place
	box = geom.EmptyBox3()
	for _, i := range c.solids {
		for _, p := range c.meshes[i].Vertices {
			q := f.Local(p)
			pts = append(pts, q)
			box = box.Add(q)
		}
	}
	return pts, box
}

// twinOf finds how the body c is carried onto d, which is alike but for where it
// stands or which hand it is of. Of several ways, as for a plain board, it is
// the one under which most bores and joints in the veneer fall on one another.
func twinOf(c, d *cutter) (twin, bool) {
	if !slices.Equal(c.asked.rules, d.asked.rules) || len(c.solids) != len(d.solids) {
		return twin{}, false
	}
	p, pb := c.local()
	q, qb := d.local()
	if len(p) != len(q) || pb.Size().Dist(qb.Size()) > sameness {
		return twin{}, false
	}
	near := newNearby(q)
	var best twin
	most := -1
	for i := range 8 {
		t := twin{
			from: c.in.Cores[c.body.Members[0]].Place, to: d.in.Cores[d.body.Members[0]].Place,
			middle: pb.Center(), beyond: qb.Center(), turn: geom.V3(1, 1, 1),
		}
		for k, s := range []*float64{&t.turn.X, &t.turn.Y, &t.turn.Z} {
			if i>>k&1 != 0 {
				*s = -1
			}
		}
		if slices.ContainsFunc(p, func(v geom.Vec3) bool {
			return !near.has(t.beyond.Add(times(t.turn, v.Sub(t.middle))))
		}) {
			continue
		}
		if n := matches(t, c, d); n > most {
			best, most = t, n
		}
	}
	return best, most >= 0
}

// matches counts the obstacles of one body that fall on those of its twin.
func matches(t twin, c, d *cutter) int {
	n := 0
	for _, b := range c.bores {
		m, a := t.point(b.Mouth), t.dir(b.Axis)
		for _, o := range d.bores {
			if o.Mouth.Dist(m) < 1 && o.Axis.Dot(a) > 0.999 {
				n++
				break
			}
		}
	}
	for _, cl := range c.clears {
		for _, o := range d.clears {
			if sameLine(t, cl, o, 1) {
				n++
				break
			}
		}
	}
	return n
}

func sameLine(t twin, a, b veneer.Clear, tol float64) bool {
	if len(a.Line) != len(b.Line) || len(a.Line) == 0 {
		return false
	}
	for _, p := range a.Line {
		q := t.point(p)
		if !slices.ContainsFunc(b.Line, func(o geom.Vec3) bool { return o.Dist(q) < tol }) {
			return false
		}
	}
	return true
}

// join adds what stands in the way in a twin to what stands in c's own way,
// where it is not there already, and reports whether anything had to be added.
func (c *cutter) join(d *cutter, t twin) (added bool) {
	back := t.back()
	for _, b := range d.bores {
		b.Mouth, b.Axis = back.point(b.Mouth), back.dir(b.Axis)
		const same = 0.01
		if !slices.ContainsFunc(c.bores, func(o joint.Bore) bool {
			return o.Mouth.Dist(b.Mouth) < same && o.Axis.Dot(b.Axis) > 1-1e-6 && math.Abs(o.Depth-b.Depth) < same && math.Abs(o.Diameter-b.Diameter) < same
		}) {
			c.bores = append(c.bores, b)
			added = true
		}
	}
	for _, cl := range d.clears {
		if slices.ContainsFunc(c.clears, func(o veneer.Clear) bool { return sameLine(t, o, cl, 0.01) && o.Distance >= cl.Distance }) {
			continue
		}
		line := make([]geom.Vec3, len(cl.Line))
		for i, p := range cl.Line {
			line[i] = back.point(p)
		}
		cl.Line = line
		c.clears = append(c.clears, cl)
		added = true
	}
	if own, other := c.stress, d.stress; own != nil && other != nil {
		c.stress = func(at, n geom.Vec3) float64 { return max(own(at, n), other(t.point(at), t.dir(n))) }
	}
	if d.strength > 0 {
		c.strength = min(c.strength, d.strength)
	}
	if own, other := c.covered, d.covered; own != nil && other != nil {
		c.covered = func(at geom.Vec3) bool { return own(at) && other(t.point(at)) }
	}
	return added
}

// carried is a tree with every plane carried to a twin, without its cells.
func (t twin) carried(n *node) *node {
	if n.leaf() {
		return &node{}
	}
	return &node{plane: t.plane(n.plane), below: t.carried(n.below), above: t.carried(n.above)}
}

// findMirrors finds the planes square to a body's own axes in which it is its
// own mirror image.
func (c *cutter) findMirrors() {
	pts, box := c.local()
	f := c.in.Cores[c.body.Members[0]].Place
	near := newNearby(pts)
	mid := box.Center()
	for k, a := range []geom.Vec3{f.X, f.Y, f.Z} {
		turn := [3]geom.Vec3{{X: -1, Y: 1, Z: 1}, {X: 1, Y: -1, Z: 1}, {X: 1, Y: 1, Z: -1}}[k]
		if !slices.ContainsFunc(pts, func(v geom.Vec3) bool { return !near.has(mid.Add(times(turn, v.Sub(mid)))) }) {
			c.mirrors = append(c.mirrors, geom.PlaneAt(f.Point(mid), a))
		}
	}
}

// nearby answers whether a point lies within sameness of one of a set.
type nearby map[[3]int32][]geom.Vec3

func newNearby(pts []geom.Vec3) nearby {
	n := make(nearby, len(pts))
	for _, p := range pts {
		k := cube(p)
		n[k] = append(n[k], p)
	}
	return n
}

// cube is a point's place in a lattice of a fifth of a millimetre.
func cube(p geom.Vec3) [3]int32 {
	const side = 20 * sameness
	return [3]int32{int32(math.Floor(p.X / side)), int32(math.Floor(p.Y / side)), int32(math.Floor(p.Z / side))}
}

func (n nearby) has(p geom.Vec3) bool {
	lo, hi := cube(p.Sub(geom.V3(sameness, sameness, sameness))), cube(p.Add(geom.V3(sameness, sameness, sameness)))
	for x := lo[0]; x <= hi[0]; x++ {
		for y := lo[1]; y <= hi[1]; y++ {
			for z := lo[2]; z <= hi[2]; z++ {
				for _, q := range n[[3]int32{x, y, z}] {
					if p.Dist(q) <= sameness {
						return true
					}
				}
			}
		}
	}
	return false
}
