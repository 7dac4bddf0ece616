//go:build outside

package stress_test

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// A second model of whole furniture, made for CalculiX from the members' exact
// shapes. It shares nothing with the bricks of package elastic: quadratic
// elements whose sides follow outlines, meshes that need not match where members
// meet, tied by equations.

// brick20 are the nodes of CalculiX's C3D20 in its own order, -1 to 1.
var brick20 = [20]geom.Vec3{
	{X: -1, Y: -1, Z: -1}, {X: 1, Y: -1, Z: -1}, {X: 1, Y: 1, Z: -1}, {X: -1, Y: 1, Z: -1},
	{X: -1, Y: -1, Z: 1}, {X: 1, Y: -1, Z: 1}, {X: 1, Y: 1, Z: 1}, {X: -1, Y: 1, Z: 1},
	{Y: -1, Z: -1}, {X: 1, Z: -1}, {Y: 1, Z: -1}, {X: -1, Z: -1},
	{Y: -1, Z: 1}, {X: 1, Z: 1}, {Y: 1, Z: 1}, {X: -1, Z: 1},
	{X: -1, Y: -1}, {X: 1, Y: -1}, {X: 1, Y: 1}, {X: -1, Y: 1},
}

// sides20 are its faces: four corners, then the middles between them.
var sides20 = [6][8]int{
	{0, 1, 2, 3, 8, 9, 10, 11}, {4, 5, 6, 7, 12, 13, 14, 15},
	{0, 1, 5, 4, 8, 17, 12, 16}, {1, 2, 6, 5, 9, 18, 13, 17},
	{2, 3, 7, 6, 10, 19, 14, 18}, {3, 0, 4, 7, 11, 16, 15, 19},
}

// mesh is a whole piece in quadratic bricks.
type mesh struct {
	nodes   []geom.Vec3
	bricks  [][20]int
	first   []int        // by member: its first brick, and one past the last
	up      []geom.Vec3  // by member, world: across its layers
	skin    [][]meshFace // by member
	ties    map[int]tied // by node
	tieList []int
	inner   map[[3]int64]int // of the member that is being made
}

type meshFace struct {
	nodes [8]int
	box   geom.Box3
}

// tied says where on a face a node lies.
type tied struct {
	nodes [8]int
	part  [8]float64
}

// node at p, shared by the bricks of one member.
func (m *mesh) node(p geom.Vec3) int {
	const grain = 1e-4 // mm
	k := [3]int64{int64(math.Round(p.X / grain)), int64(math.Round(p.Y / grain)), int64(math.Round(p.Z / grain))}
	for i := range 27 { // rounding may have gone either way
		if n, ok := m.inner[[3]int64{k[0] + int64(i%3) - 1, k[1] + int64(i/3%3) - 1, k[2] + int64(i/9) - 1}]; ok {
			return n
		}
	}
	m.nodes = append(m.nodes, p)
	m.inner[k] = len(m.nodes) - 1
	return len(m.nodes) - 1
}

// block fills a mapped box with bricks between knots, each from 0 to 1.
func (m *mesh) block(u, v, w []float64, at func(u, v, w float64) geom.Vec3) {
	mid := func(k []float64, i int, x float64) float64 { return k[i] + (k[i+1]-k[i])*(x+1)/2 }
	for k := range len(w) - 1 {
		for j := range len(v) - 1 {
			for i := range len(u) - 1 {
				var b [20]int
				for n, q := range brick20 {
					b[n] = m.node(at(mid(u, i, q.X), mid(v, j, q.Y), mid(w, k, q.Z)))
				}
				m.bricks = append(m.bricks, b)
			}
		}
	}
}

func even(n int) []float64 {
	out := make([]float64, n+1)
	for i := range out {
		out[i] = float64(i) / float64(n)
	}
	return out
}

// knots from 0 to 1 of a length, with knots on marks, not more than step apart.
func knots(length, step float64, marks ...float64) []float64 {
	out := []float64{0}
	last := 0.0
	for _, b := range append(slices.Clone(marks), length) {
		n := max(1, int(math.Ceil((b-last)/step-1e-9)))
		for i := range n {
			out = append(out, (last+(b-last)*float64(i+1)/float64(n))/length)
		}
		last = b
	}
	out[len(out)-1] = 1
	return out
}

// disc fills a unit disc: a square in its middle and a block on each side of it.
func (m *mesh) disc(n, rings int, w []float64, at func(p geom.Vec2, w float64) geom.Vec3) {
	const c = 0.42 // half the square's side
	sign := func(u float64) float64 { return 2*u - 1 }
	// The square bulges a little, so that no angle is far from a right one.
	side := func(a float64) geom.Vec2 {
		s, co := math.Sincos(a * math.Pi / 4)
		flat, round := geom.V2(c, c*a), geom.V2(c*math.Sqrt2*co, c*math.Sqrt2*s)
		return flat.Lerp(round, 0.3)
	}
	turned := func(p geom.Vec2, q int) geom.Vec2 {
		for range q {
			p = p.Left()
		}
		return p
	}
	m.block(even(n), even(n), w, func(u, v, t float64) geom.Vec3 {
		// Opposite sides blended, corners taken off once.
		x, y := sign(u), sign(v)
		e, no, we, so := side(y), turned(side(-x), 1), turned(side(-y), 2), turned(side(x), 3)
		p := we.Lerp(e, u).Add(so.Lerp(no, v)).Sub(geom.V2(c*x, c*y))
		return at(p, t)
	})
	for q := range 4 {
		m.block(even(rings), even(n), w, func(u, v, t float64) geom.Vec3 {
			a := sign(v)
			s, co := math.Sincos(a * math.Pi / 4)
			return at(turned(side(a).Lerp(geom.V2(co, s), u), q), t)
		})
	}
}

// quad is a shape with four sides: 0 and 2 run along u, 1 and 3 along v.
type quad [4]func(t float64) geom.Vec2

// at is Coons' patch.
func (q quad) at(u, v float64) geom.Vec2 {
	edges := q[0](u).Lerp(q[2](1-u), v).Add(q[3](1-v).Lerp(q[1](v), u))
	corners := q[0](0).Lerp(q[0](1), u).Lerp(q[2](1).Lerp(q[2](0), u), v)
	return edges.Sub(corners)
}

// sidesOf takes an outline of four edges, its ends cut by planes that stand
// square to the board.
func sidesOf(t *testing.T, b piece.Member) quad {
	t.Helper()
	o := b.Board.Outline
	if o.Runs() != 4 {
		t.Fatalf("%s has %d edges, not four", b.ID, o.Runs())
	}
	var q quad
	var from, to [4]float64
	var paths [4]geom.Path
	n := 0
	for i, r := range o.Run { // a mirrored member counts its edges the other way
		if i == 0 || r != o.Run[i-1] {
			paths[n] = o.RunPath(r)
			to[n] = paths[n].Length()
			n++
		}
	}
	straight := [4][2]geom.Vec2{}
	cut := [4]bool{}
	for _, c := range b.EndCuts {
		n := geom.V2(c.Plane.Normal.X, c.Plane.Normal.Y)
		if math.Abs(c.Plane.Normal.Z) > 1e-9 {
			t.Fatalf("an end cut of %s is not square to it", b.ID)
		}
		gone := -1
		for i, p := range paths {
			if n.Dot(p.Segs[0].From()) > c.Plane.D && n.Dot(p.Segs[len(p.Segs)-1].To()) > c.Plane.D {
				gone = i
			}
		}
		if gone < 0 {
			t.Fatalf("an end cut of %s takes no whole edge away", b.ID)
		}
		meet := func(i int) (float64, geom.Vec2) {
			if len(paths[i].Segs) != 1 || paths[i].Segs[0].Kind != geom.Line {
				t.Fatalf("an end cut of %s meets an edge that is not straight", b.ID)
			}
			s := paths[i].Segs[0]
			x := s.Cross(n, c.Plane.D)
			if len(x) != 1 {
				t.Fatalf("an end cut of %s meets an edge %d times", b.ID, len(x))
			}
			return x[0] * paths[i].Length(), s.At(x[0])
		}
		before, after := (gone+3)%4, (gone+1)%4
		var a, z geom.Vec2
		to[before], a = meet(before)
		from[after], z = meet(after)
		straight[gone], cut[gone] = [2]geom.Vec2{a, z}, true
	}
	for i := range 4 {
		q[i] = func(x float64) geom.Vec2 {
			if cut[i] {
				return straight[i][0].Lerp(straight[i][1], x)
			}
			s, k := paths[i].AtLength(from[i] + (to[i]-from[i])*x)
			return paths[i].Segs[s].At(k)
		}
	}
	return q
}

// layersOf is across the layers of a member: boards are printed lying, turnings
// standing.
func layersOf(b piece.Member) geom.Vec3 { return b.Place.Z }

// add meshes a member: elements not longer than step, and as many through a board.
func (m *mesh) add(t *testing.T, b piece.Member, step float64, through int, marks []float64) {
	t.Helper()
	m.inner = map[[3]int64]int{}
	start := len(m.bricks)
	switch {
	case b.Board != nil && b.Board.Outline.Path.Segs[0].Kind == geom.Arc && b.Board.Outline.Runs() == 1:
		if len(b.EndCuts) > 0 || len(b.Board.Cutouts) > 0 {
			t.Fatalf("%s is an ellipse with cuts", b.ID)
		}
		a := b.Board.Outline.Path.Segs[0]
		for _, s := range b.Board.Outline.Path.Segs {
			if s.Center.Dist(a.Center) > 1e-9 || math.Abs(s.Rx-a.Rx)+math.Abs(s.Ry-a.Ry)+math.Abs(s.Rot) > 1e-9 {
				t.Fatalf("%s is no ellipse", b.ID)
			}
		}
		n := 2 * int(math.Ceil(max(a.Rx, a.Ry)*0.84/step/2))
		rings := int(math.Ceil(max(a.Rx, a.Ry) * 0.58 / step))
		m.disc(n, rings, even(through), func(p geom.Vec2, w float64) geom.Vec3 {
			return b.Place.Point(geom.V3(a.Center.X+a.Rx*p.X, a.Center.Y+a.Ry*p.Y, w*b.Board.Thickness))
		})
	case b.Board != nil:
		q := sidesOf(t, b)
		lu := max(q[0](0).Dist(q[0](1)), q[2](0).Dist(q[2](1)))
		lv := max(q[1](0).Dist(q[1](1)), q[3](0).Dist(q[3](1)))
		m.block(knots(lu, step, marks...), knots(lv, step), even(through), func(u, v, w float64) geom.Vec3 {
			p := q.at(u, v)
			return b.Place.Point(geom.V3(p.X, p.Y, w*b.Board.Thickness))
		})
	case b.Turning != nil:
		var radius float64
		path := b.Turning.Profile
		low, high := path.Segs[0].From().Y, path.Segs[len(path.Segs)-1].To().Y
		r := func(z float64) float64 { // carried on beyond its ends, where a cut slants past them
			for i, s := range path.Segs {
				if z <= s.To().Y || i == len(path.Segs)-1 {
					if s.Kind != geom.Line {
						t.Fatalf("the profile of %s is not straight", b.ID)
					}
					return s.At((z - s.From().Y) / (s.To().Y - s.From().Y)).X
				}
			}
			return 0
		}
		radius = max(r(low), r(high))
		// Where the line at p, a part of the radius, meets a plane.
		meets := func(pl geom.Plane, p geom.Vec2) float64 {
			z := (low + high) / 2
			for range 60 {
				rr := r(z)
				next := (pl.D - rr*(pl.Normal.X*p.X+pl.Normal.Y*p.Y)) / pl.Normal.Z
				if math.Abs(next-z) < 1e-12 {
					return next
				}
				z = next
			}
			return z
		}
		from := func(geom.Vec2) float64 { return low }
		to := func(geom.Vec2) float64 { return high }
		for _, c := range b.EndCuts {
			if c.Plane.Normal.Z > 0 {
				to = func(p geom.Vec2) float64 { return meets(c.Plane, p) }
			} else {
				from = func(p geom.Vec2) float64 { return meets(c.Plane, p) }
			}
		}
		n := max(4, 2*int(math.Ceil(radius*0.84/step/2)))
		rings := int(math.Ceil(radius * 0.58 / step))
		m.disc(n, rings, even(int(math.Ceil((high-low)/step/1.5))), func(p geom.Vec2, w float64) geom.Vec3 {
			z := from(p) + (to(p)-from(p))*w
			rr := r(z)
			return b.Place.Point(geom.V3(rr*p.X, rr*p.Y, z))
		})
	default:
		t.Fatalf("%s is neither board nor turning", b.ID)
	}
	if len(m.first) == 0 {
		m.first = []int{0}
	}
	m.first = append(m.first, len(m.bricks))
	m.up = append(m.up, layersOf(b))
	// What only one brick has is its skin.
	type corners [4]int
	seen := map[corners]int{}
	key := func(b [20]int, s [8]int) corners {
		c := corners{b[s[0]], b[s[1]], b[s[2]], b[s[3]]}
		slices.Sort(c[:])
		return c
	}
	for _, b := range m.bricks[start:] {
		for _, s := range sides20 {
			seen[key(b, s)]++
		}
	}
	var skin []meshFace
	for _, b := range m.bricks[start:] {
		for _, s := range sides20 {
			if seen[key(b, s)] > 1 {
				continue
			}
			f := meshFace{box: geom.EmptyBox3()}
			for i, n := range s {
				f.nodes[i] = b[n]
				f.box = f.box.Add(m.nodes[b[n]])
			}
			f.box = f.box.Grow(0.05)
			skin = append(skin, f)
		}
	}
	m.skin = append(m.skin, skin)
}

// shape are the eight functions of a quadratic face and their slopes.
func shape(x, y float64) (n, dx, dy [8]float64) {
	sx, sy := [8]float64{-1, 1, 1, -1, 0, 1, 0, -1}, [8]float64{-1, -1, 1, 1, -1, 0, 1, 0}
	for i := range 8 {
		a, b := sx[i], sy[i]
		switch {
		case i < 4:
			n[i] = (1 + a*x) * (1 + b*y) * (a*x + b*y - 1) / 4
			dx[i] = a * (1 + b*y) * (2*a*x + b*y) / 4
			dy[i] = b * (1 + a*x) * (2*b*y + a*x) / 4
		case a == 0:
			n[i] = (1 - x*x) * (1 + b*y) / 2
			dx[i] = -x * (1 + b*y)
			dy[i] = b * (1 - x*x) / 2
		default:
			n[i] = (1 + a*x) * (1 - y*y) / 2
			dx[i] = a * (1 - y*y) / 2
			dy[i] = -y * (1 + a*x)
		}
	}
	return n, dx, dy
}

// onto finds where on a face p lies: Newton's method on the foot of its normal.
func (m *mesh) onto(f meshFace, p geom.Vec3, tol float64) ([8]float64, bool) {
	b := f.box
	if p.X < b.Min.X || p.Y < b.Min.Y || p.Z < b.Min.Z || p.X > b.Max.X || p.Y > b.Max.Y || p.Z > b.Max.Z {
		return [8]float64{}, false
	}
	x, y := 0.0, 0.0
	for range 30 {
		n, dx, dy := shape(x, y)
		var at, tx, ty geom.Vec3
		for i, k := range f.nodes {
			at = at.Add(m.nodes[k].Scale(n[i]))
			tx = tx.Add(m.nodes[k].Scale(dx[i]))
			ty = ty.Add(m.nodes[k].Scale(dy[i]))
		}
		d := p.Sub(at)
		a, c, e := tx.Dot(tx), tx.Dot(ty), ty.Dot(ty)
		det := a*e - c*c
		if det < 1e-12*a*e {
			return n, false
		}
		ux, uy := (e*d.Dot(tx)-c*d.Dot(ty))/det, (a*d.Dot(ty)-c*d.Dot(tx))/det
		x, y = x+ux, y+uy
		if math.Abs(x)+math.Abs(y) > 6 {
			return n, false
		}
		if math.Abs(ux)+math.Abs(uy) < 1e-11 {
			const edge = 1 + 1e-6
			return n, math.Abs(x) <= edge && math.Abs(y) <= edge && d.Len() <= tol
		}
	}
	return [8]float64{}, false
}

// find is the place of p on a member's skin.
func (m *mesh) find(member int, p geom.Vec3, tol float64) (tied, bool) {
	for _, f := range m.skin[member] {
		if n, ok := m.onto(f, p, tol); ok {
			return tied{f.nodes, n}, true
		}
	}
	return tied{}, false
}

// tie makes the nodes of a member's skin that lie on another's follow it.
func (m *mesh) tie(slave, master int) (n int) {
	box := geom.EmptyBox3()
	for _, f := range m.skin[master] {
		box = box.Union(f.box)
	}
	done := map[int]bool{}
	for _, f := range m.skin[slave] {
		if !f.box.Overlaps(box) {
			continue
		}
		for _, k := range f.nodes {
			if done[k] {
				continue
			}
			done[k] = true
			if _, ok := m.ties[k]; ok {
				n++
				continue
			}
			if at, ok := m.find(master, m.nodes[k], 1e-5); ok {
				m.ties[k] = at
				m.tieList = append(m.tieList, k)
				n++
			}
		}
	}
	return n
}

// volume of a member by Gauss's 27 points, and what of it belongs to nodes at Z = 0.
func (m *mesh) volume(member int) (v, foot float64) {
	g := math.Sqrt(0.6)
	w := [3]float64{5. / 9, 8. / 9, 5. / 9}
	for _, b := range m.bricks[m.first[member]:m.first[member+1]] {
		for q := range 27 {
			p := [3]float64{g * float64(q%3-1), g * float64(q/3%3-1), g * float64(q/9-1)}
			var j [3]geom.Vec3
			for n, c := range brick20 {
				d := slope20(c, p)
				for a := range 3 {
					j[a] = j[a].Add(m.nodes[b[n]].Scale(d[a]))
				}
			}
			dv := w[q%3] * w[q/3%3] * w[q/9] * j[0].Cross(j[1]).Dot(j[2])
			v += dv
			for n, c := range brick20 {
				if math.Abs(m.nodes[b[n]].Z) < 1e-6 {
					foot += shape20(c, p) * dv
				}
			}
		}
	}
	return v, foot
}

// shape20 is the function at p that belongs to a node of a brick.
func shape20(c geom.Vec3, p [3]float64) float64 {
	x, y, z := p[0], p[1], p[2]
	switch {
	case c.X == 0:
		return (1 - x*x) * (1 + c.Y*y) * (1 + c.Z*z) / 4
	case c.Y == 0:
		return (1 - y*y) * (1 + c.X*x) * (1 + c.Z*z) / 4
	case c.Z == 0:
		return (1 - z*z) * (1 + c.X*x) * (1 + c.Y*y) / 4
	}
	return (1 + c.X*x) * (1 + c.Y*y) * (1 + c.Z*z) * (c.X*x + c.Y*y + c.Z*z - 2) / 8
}

// slope20 are its slopes: it is quadratic along each axis, so differences are exact.
func slope20(c geom.Vec3, p [3]float64) (d [3]float64) {
	for a := range 3 {
		lo, hi := p, p
		lo[a] -= 0.5
		hi[a] += 0.5
		d[a] = shape20(c, hi) - shape20(c, lo)
	}
	return d
}

// push is a force spread over points of a member's skin, a share at each.
type push struct {
	member int
	at     []geom.Vec3
	force  geom.Vec3
	tol    float64 // how far curved elements stray from the skin
}

// onDisc spreads points of equal area over a disc, looking up.
func onDisc(center geom.Vec3, radius float64) (at []geom.Vec3) {
	const rings = 24
	for i := range rings {
		n := 6 * (2*i + 1)
		for j := range n {
			s, c := math.Sincos(2 * math.Pi * (float64(j) + 0.5) / float64(n))
			// A ring of 2i+1 shares; its middle halves its area.
			r := radius / rings * math.Sqrt((float64(i*i)+float64((i+1)*(i+1)))/2)
			at = append(at, center.Add(geom.V3(r*c, r*s, 0)))
		}
	}
	return at
}

type fem struct {
	name    string
	gravity bool
	pushes  []push
}

// solved is what CalculiX says of one step.
type solved struct {
	moved    []geom.Vec3 // at the probes
	reaction geom.Vec3   // sum at the feet
}

// The solid print of both sides: alike in all directions of its layers, softer
// across them.
const (
	modulus = 2000.0 // MPa, in the layers
	across  = 0.85   // stiffness across the layers, and of shear between them, over that within

	density = 1.04e-3 // g/mm³
)

type probe struct {
	name   string
	member int
	at     geom.Vec3
}

// ccx has CalculiX solve one case after another with the nodes at Z = 0 held.
func (m *mesh) ccx(t *testing.T, kind string, cases []fem, probes []probe) []solved {
	t.Helper()
	var in strings.Builder
	fmt.Fprintln(&in, "*NODE,NSET=ALL")
	for i, p := range m.nodes {
		fmt.Fprintf(&in, "%d,%.12g,%.12g,%.12g\n", i+1, p.X, p.Y, p.Z)
	}
	for i, b := range m.bricks {
		for member, first := range m.first[:len(m.first)-1] {
			if i == first {
				fmt.Fprintf(&in, "*ELEMENT,TYPE=%s,ELSET=E%d\n", kind, member)
			}
		}
		fmt.Fprintf(&in, "%d", i+1)
		for n, k := range b {
			if n == 12 { // a line holds sixteen numbers at most
				fmt.Fprint(&in, ",\n", k+1)
				continue
			}
			fmt.Fprintf(&in, ",%d", k+1)
		}
		fmt.Fprintln(&in)
	}
	// Engineering constants in the order E1 E2 E3 ν12 ν13 ν23 G12 G13, G23; tonnes.
	g := modulus / (2 * (1 + poisson))
	fmt.Fprintf(&in, "*MATERIAL,NAME=M\n*ELASTIC,TYPE=ENGINEERING CONSTANTS\n%g,%g,%g,%g,%.12g,%.12g,%.12g,%.12g,\n%.12g\n*DENSITY\n%g\n",
		modulus, modulus, across*modulus, poisson, poisson/across, poisson/across, g, across*g, across*g, density*1e-6)
	for member, up := range m.up {
		f := geom.FrameFromZ(geom.Vec3{}, up)
		fmt.Fprintf(&in, "*ORIENTATION,NAME=O%d\n%.12g,%.12g,%.12g,%.12g,%.12g,%.12g\n*SOLID SECTION,ELSET=E%d,MATERIAL=M,ORIENTATION=O%d\n",
			member, f.X.X, f.X.Y, f.X.Z, f.Y.X, f.Y.Y, f.Y.Z, member, member)
	}
	fmt.Fprintln(&in, "*NSET,NSET=FEET")
	var feet []int
	for i, p := range m.nodes {
		if math.Abs(p.Z) < 1e-6 {
			feet = append(feet, i+1)
			fmt.Fprintf(&in, "%d\n", i+1)
		}
	}
	if len(feet) == 0 {
		t.Fatal("nothing stands at Z = 0")
	}
	var spots []tied
	fmt.Fprintln(&in, "*NSET,NSET=PROBE")
	for _, p := range probes {
		at, ok := m.find(p.member, p.at, 0.02)
		if !ok {
			t.Fatalf("%s is not on the skin", p.name)
		}
		spots = append(spots, at)
		for _, k := range at.nodes {
			fmt.Fprintf(&in, "%d\n", k+1)
		}
	}
	for _, k := range m.tieList {
		for a := range 3 {
			terms := []string{fmt.Sprintf("%d,%d,1.", k+1, a+1)}
			for i, n := range m.ties[k].nodes {
				if w := m.ties[k].part[i]; math.Abs(w) > 1e-9 {
					terms = append(terms, fmt.Sprintf("%d,%d,%.12g", n+1, a+1, -w))
				}
			}
			fmt.Fprintf(&in, "*EQUATION\n%d\n", len(terms))
			for i := 0; i < len(terms); i += 4 { // four terms a line
				fmt.Fprintln(&in, strings.Join(terms[i:min(i+4, len(terms))], ","))
			}
		}
	}
	fmt.Fprintln(&in, "*BOUNDARY\nFEET,1,3,0.")
	for _, c := range cases {
		fmt.Fprintln(&in, "*STEP\n*STATIC\n*CLOAD,OP=NEW")
		force := map[int]geom.Vec3{}
		for _, p := range c.pushes {
			for _, q := range p.at {
				at, ok := m.find(p.member, q, p.tol)
				if !ok {
					t.Fatalf("%s: %v is not on the skin", c.name, q)
				}
				for i, k := range at.nodes {
					force[k] = force[k].Add(p.force.Scale(at.part[i] / float64(len(p.at))))
				}
			}
		}
		if len(force) == 0 {
			force[0] = geom.Vec3{}
		}
		var loaded []int
		for k := range force {
			loaded = append(loaded, k)
		}
		slices.Sort(loaded)
		for _, k := range loaded {
			f := force[k]
			fmt.Fprintf(&in, "%d,1,%.12g\n%d,2,%.12g\n%d,3,%.12g\n", k+1, f.X, k+1, f.Y, k+1, f.Z)
		}
		g := 0.0
		if c.gravity {
			g = 9806.65 // mm/s²
		}
		fmt.Fprintln(&in, "*DLOAD,OP=NEW")
		for member := range m.up {
			fmt.Fprintf(&in, "E%d,GRAV,%g,0.,0.,-1.\n", member, g)
		}
		fmt.Fprintln(&in, "*NODE PRINT,NSET=PROBE\nU\n*NODE PRINT,NSET=FEET,TOTALS=ONLY\nRF\n*END STEP")
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "a.inp"), []byte(in.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("/usr/bin/ccx", "a")
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "OMP_NUM_THREADS=1")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("ccx (Debian package calculix-ccx): %v\n%s", err, out)
	}
	file, err := os.Open(filepath.Join(dir, "a.dat"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	moved := make([]map[int]geom.Vec3, len(cases))
	out := make([]solved, len(cases))
	step, what := -1, ""
	for lines := bufio.NewScanner(file); lines.Scan(); {
		f := strings.Fields(lines.Text())
		switch {
		case len(f) == 0:
		case f[0] == "displacements" || f[0] == "total":
			if f[0] == "displacements" {
				step++
				if step == len(cases) {
					t.Fatal("ccx printed more steps than were asked for")
				}
				moved[step] = map[int]geom.Vec3{}
			}
			what = f[0]
		case what == "displacements" && len(f) == 4:
			k, err := strconv.Atoi(f[0])
			if err != nil {
				t.Fatal(err)
			}
			moved[step][k-1] = numbers(t, f[1:])
		case what == "total" && len(f) == 3:
			out[step].reaction = numbers(t, f)
			if cases[step].gravity { // what weighs on held nodes themselves is not in it
				for member := range m.up {
					_, foot := m.volume(member)
					out[step].reaction.Z += foot * density * 1e-6 * 9806.65
				}
			}
		}
	}
	if step != len(cases)-1 {
		t.Fatalf("ccx printed %d steps of %d", step+1, len(cases))
	}
	for s := range cases {
		for _, at := range spots {
			var u geom.Vec3
			for i, k := range at.nodes {
				v, ok := moved[s][k]
				if !ok {
					t.Fatalf("ccx did not print node %d", k+1)
				}
				u = u.Add(v.Scale(at.part[i]))
			}
			out[s].moved = append(out[s].moved, u)
		}
	}
	return out
}

func numbers(t *testing.T, f []string) geom.Vec3 {
	var v [3]float64
	for i := range 3 {
		var err error
		if v[i], err = strconv.ParseFloat(f[i], 64); err != nil {
			t.Fatal(err)
		}
	}
	return geom.V3(v[0], v[1], v[2])
}

// meshOf meshes a piece; which member follows which where they meet is told by
// names, the finer one first.
func meshOf(t *testing.T, p *piece.Piece, step float64, through int, marks map[string][]float64, pairs [][2]string) *mesh {
	t.Helper()
	m := &mesh{ties: map[int]tied{}}
	for i, b := range p.Members {
		m.add(t, b, step, through, marks[b.Name])
		got, _ := m.volume(i)
		if want, err := b.Volume(); err == nil {
			if math.Abs(got/want-1) > 1e-5 {
				t.Fatalf("%s: a volume of %.8g mm³, not %.8g", b.ID, got, want)
			}
		} else if got <= 0 {
			t.Fatalf("%s is inside out", b.ID)
		}
	}
	for _, pair := range pairs {
		found := 0
		for i, a := range p.Members {
			for j, b := range p.Members {
				if a.Name == pair[0] && b.Name == pair[1] {
					found += m.tie(i, j)
				}
			}
		}
		if found == 0 {
			t.Fatalf("%s and %s nowhere meet", pair[0], pair[1])
		}
	}
	return m
}
