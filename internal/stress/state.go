package stress

import (
	"math"
	"slices"

	"groundwork/internal/elastic"
	"groundwork/internal/geom"
)

// State is how a structure stands under a case. It does not change, and may be
// asked by several goroutines.
type State struct {
	s       *Structure
	r       *elastic.Result
	c       Case
	loads   []elastic.PointLoad
	preload []float64 // by screw
}

// Reaction is what the floor does to a foot.
type Reaction struct {
	Body  int
	At    geom.Vec3 // world; where the pressure acts, the middle of the foot if it lifts
	Force geom.Vec3 // N, world; Z upward. Sideways it is what friction must give
	Lifts bool      // bears nothing
}

// Case is the case that the structure stands under.
func (st *State) Case() Case { return st.c }

// Iterations of the solver, over all rounds of contacts.
func (st *State) Iterations() int { return st.r.Iterations }

// Displacement (mm, world) of a body at a point of the world; false where the
// body is not. Points up to a cell off are taken for the nearest one.
func (st *State) Displacement(body int, p geom.Vec3) (geom.Vec3, bool) {
	_, q, ok := st.at(body, p)
	if !ok {
		return geom.Vec3{}, false
	}
	return st.r.Displacement(body, q)
}

// Stress (MPa, world) at a point, of the cell as a whole: in the shell the
// stress in the plastic, in the core fill the mean over walls and hollows, and
// between in a cell of both. See Shell. Points up to a cell off are taken for
// the nearest one; false where the body is not.
func (st *State) Stress(body int, p geom.Vec3) (elastic.Tensor, bool) {
	_, q, ok := st.at(body, p)
	if !ok {
		return elastic.Tensor{}, false
	}
	return st.r.Stress(body, q)
}

// Shell is the stress (MPa, world) that contours or cover layers bear at a
// point; false where the body is not, or is core fill only.
func (st *State) Shell(body int, p geom.Vec3) (elastic.Tensor, bool) {
	c, q, ok := st.at(body, p)
	b := st.s.bodies[body]
	if !ok || b.share[c] == 0 {
		return elastic.Tensor{}, false
	}
	t, ok := st.r.Stress(body, q)
	if !ok {
		return t, false
	}
	return b.shell(c, t), true
}

// at is the cell that a point of a body belongs to, and the point in it.
func (st *State) at(body int, p geom.Vec3) (cell int, q geom.Vec3, ok bool) {
	b := st.s.bodies[body]
	c, q, ok := b.find(p, st.s.reach())
	if !ok {
		return c, q, false
	}
	// On the border of two cells the solver might choose the other.
	return c, q.Lerp(b.frame.Point(b.centre(c)), 1e-6), true
}

// shell is the stress in the shell of a cell, in the world's axes. What has
// crept has crept alike in shell and core, so that the parting stays.
func (b *body) shell(cell int, t elastic.Tensor) elastic.Tensor {
	return inWorld(b.plastic.inShell(b.strain(cell, t)), b.parts[b.part[cell]].print)
}

const (
	leastFill = 0.3 // cells that are emptier say nothing of stress
	worthwile = 0.4 // of the greatest stress in the middle of cells: those are looked at on their faces
)

// Body tells what the plastic of a body bears.
func (st *State) Body(i int) BodyState {
	b := st.s.bodies[i]
	clear := st.clear(i)
	var out BodyState
	type peak struct {
		of    func(cell int, t elastic.Tensor) float64
		wants func(cell int) bool
		to    *Peak
	}
	shelled := func(c int) bool { return b.share[c] > 0 }
	peaks := []peak{
		{func(c int, t elastic.Tensor) float64 { return b.shell(c, t).VonMises() }, shelled, &out.Mises},
		{func(c int, t elastic.Tensor) float64 {
			return b.plastic.inShell(b.strain(c, t))[2]
		}, shelled, &out.Layers},
		{func(c int, t elastic.Tensor) float64 { return b.plastic.inWalls(b.strain(c, t)) },
			func(c int) bool { return b.share[c] < steps }, &out.Core},
	}
	middle := make([][]float64, len(peaks))
	for p := range middle {
		middle[p] = make([]float64, len(b.lattice.Fill))
	}
	most := make([]float64, len(peaks))
	for c, f := range b.lattice.Fill {
		if f < elastic.MinFill {
			continue
		}
		at := b.frame.Point(b.centre(c))
		if u, ok := st.r.Displacement(i, at); ok && u.Len() > out.Moved.Value {
			out.Moved = Peak{u.Len(), at}
		}
		if f < leastFill || !clear[c] {
			continue
		}
		n := b.index(c)
		t, ok := st.r.CellStress(i, n[0], n[1], n[2])
		if !ok {
			continue
		}
		for p, k := range peaks {
			if k.wants(c) {
				v := k.of(c, t)
				middle[p][c] = v
				most[p] = max(most[p], v)
			}
		}
	}
	for c, f := range b.lattice.Fill {
		if f < leastFill || !clear[c] {
			continue
		}
		n := b.index(c)
		box := b.box(c)
		for p, k := range peaks {
			if !k.wants(c) || most[p] == 0 || middle[p][c] < worthwile*most[p] {
				continue
			}
			for side := range 7 {
				var xi [3]float64
				if side < 6 {
					xi[side/2] = float64(2*(side%2) - 1)
				}
				t, _ := st.r.CellStressAt(i, n[0], n[1], n[2], xi)
				if v := k.of(c, t); v > k.to.Value {
					half := box.Size().Scale(0.5)
					at := box.Center().Add(geom.V3(xi[0]*half.X, xi[1]*half.Y, xi[2]*half.Z))
					*k.to = Peak{v, b.frame.Point(at)}
				}
			}
		}
	}
	return out
}

// clear are the cells of a body that lie away from links and from the case's
// loads.
func (st *State) clear(body int) []bool {
	out := append([]bool(nil), st.s.clear[body]...)
	for _, l := range st.loads {
		if l.Body == body {
			st.s.bodies[body].shadow(out, l.At)
		}
	}
	return out
}

// Seam tells what a seam of Inputs.Seams carries, by adding up the stress over
// its section; false if there is no such seam, or none of it lies in the body.
func (st *State) Seam(i int) (Section, bool) {
	if i < 0 || i >= len(st.s.in.Seams) {
		return Section{}, false
	}
	sm := st.s.in.Seams[i]
	var out Section
	n := sm.Plane.Normal
	b := st.s.bodies[sm.Body]
	clear := st.clear(sm.Body)
	look := func(p geom.Vec2) (at geom.Vec3, cell int, t elastic.Tensor, ok bool) {
		at = sm.Frame.Point(geom.V3(p.X, p.Y, 0))
		c, q, ok := st.at(sm.Body, at)
		if !ok {
			return at, c, t, false
		}
		// A cell's moment is the same all along it, and what its stress sums up to
		// is in balance over its whole length: the mean over a cell's length it is.
		size, m := b.box(c).Size(), b.frame.LocalDir(n)
		length := min(size.X/math.Abs(m.X), size.Y/math.Abs(m.Y), size.Z/math.Abs(m.Z))
		const points = 4
		for i := range points {
			r := q.Add(n.Scale(length * ((float64(i)+0.5)/points - 0.5)))
			d, s, ok := st.at(sm.Body, r)
			if !ok || b.share[d] != b.share[c] {
				d, s = c, q
			}
			v, _ := st.raw(sm.Body, d, s)
			for j := range t {
				t[j] += v[j] / points
			}
		}
		return at, c, t, true
	}
	peak := func(at geom.Vec3, c int, t elastic.Tensor) {
		if b.share[c] == 0 || !clear[c] || b.lattice.Fill[c] < leastFill {
			return
		}
		on := b.shell(c, t).On(n)
		pull := on.Dot(n)
		if pull > out.Tension.Value {
			out.Tension = Peak{pull, at}
		}
		if s := on.Sub(n.Scale(pull)).Len(); s > out.Shear.Value {
			out.Shear = Peak{s, at}
		}
	}
	type piece struct{ at, force geom.Vec3 }
	var pieces []piece
	var middle geom.Vec3
	total := 0.0
	step := max(1, st.s.cell/3)
	for _, p := range patchesBetween(sm.Section, b.ruled(sm.Frame, sm.Section, 0, step), b.ruled(sm.Frame, sm.Section, 1, step)) {
		at, c, t, ok := look(p.at)
		if !ok {
			continue
		}
		pieces = append(pieces, piece{at, t.On(n).Scale(p.area)})
		middle = middle.Add(at.Scale(p.area))
		total += p.area
		peak(at, c, t)
	}
	if total == 0 {
		return Section{}, false
	}
	// Bending is greatest at the rim.
	for _, loop := range sm.Section {
		for j, p := range loop {
			q := loop[(j+1)%len(loop)]
			for k := range max(1, int(p.Dist(q)/step)) {
				if at, c, t, ok := look(p.Lerp(q, float64(k)*step/max(p.Dist(q), step))); ok {
					peak(at, c, t)
				}
			}
		}
	}
	middle = middle.Scale(1 / total)
	for _, p := range pieces {
		out.Force = out.Force.Add(p.force)
		out.Moment = out.Moment.Add(p.at.Sub(middle).Cross(p.force))
	}
	return out, true
}

// ruled are the places along an axis (0 or 1) of a section's frame where planes
// of the lattice meet it, if they are square to that axis, and others between
// them, no farther apart than step.
func (b *body) ruled(f geom.Frame, region geom.Polygons, axis int, step float64) []float64 {
	box := region.Bounds()
	lo, hi, dir := box.Min.X, box.Max.X, b.frame.LocalDir(f.X)
	if axis == 1 {
		lo, hi, dir = box.Min.Y, box.Max.Y, b.frame.LocalDir(f.Y)
	}
	marks := []float64{lo}
	for a := range 3 {
		along := component(dir, a)
		if math.Abs(along) < 1-1e-6 {
			continue
		}
		from := component(b.frame.Local(f.Origin), a)
		for _, p := range b.lattice.Planes[a] {
			if v := (p - from) / along; v > lo+1e-3 && v < hi-1e-3 {
				marks = append(marks, v)
			}
		}
	}
	slices.Sort(marks)
	return elastic.Planes(step, append(marks, hi)...)
}

// raw is a cell's own stress at a point of it, not smoothed with its
// neighbours': across a board smoothing takes shear from the core fill to the
// cover layers, and sums of it are too small.
func (st *State) raw(body, cell int, p geom.Vec3) (elastic.Tensor, bool) {
	b := st.s.bodies[body]
	n := b.index(cell)
	box := b.box(cell)
	d, half := b.frame.Local(p).Sub(box.Center()), box.Size().Scale(0.5)
	return st.r.CellStressAt(body, n[0], n[1], n[2], [3]float64{d.X / half.X, d.Y / half.Y, d.Z / half.Z})
}

// Screws tells what the screws of all joints carry, in the joints' order.
func (st *State) Screws() []Pull {
	var out []Pull
	for i, sc := range st.s.screws {
		p := Pull{Joint: sc.joint, Number: sc.number, Preload: st.preload[i]}
		for _, l := range sc.links {
			p.Tension += st.r.Link(l).Tension
		}
		p.Shear = st.shear(sc)
		out = append(out, p)
	}
	return out
}

// shear is what a screw or dowel bears across its axis, N.
func (st *State) shear(sp spread) float64 {
	var sum geom.Vec3
	for _, l := range sp.across {
		sum = sum.Add(st.r.Link(l).Across)
	}
	return sum.Len()
}

// Dowels tells what the dowels of all joints carry across their axes, in the
// joints' order; along it they slide.
func (st *State) Dowels() []Pull {
	var out []Pull
	for _, d := range st.s.dowels {
		out = append(out, Pull{Joint: d.joint, Number: d.number, Shear: st.shear(d)})
	}
	return out
}

// Films tells what the glued contacts bear, in the contacts' order.
//
// Where a stiff film ends the elastic stress in it has no bound, so that its
// greatest says more of the cells than of the glue. What is told of a flat
// contact is the stress that its force and moment make if it is spread linearly
// over the contact, N/A + M y/I and V/A + T r/J, as strengths of glued joints
// are given (mean of a test's force over its area); of a round one the greatest
// mean over a patch as wide as a cell.
func (st *State) Films() []Film {
	var out []Film
	for _, f := range st.s.films {
		at := make([]geom.Vec3, len(f.links))
		tension := make([]float64, len(f.links)) // MPa
		shear := make([]geom.Vec3, len(f.links))
		for i, l := range f.links {
			r := st.r.Link(l)
			at[i], tension[i], shear[i] = st.s.links[l].At, r.Tension/f.areas[i], r.Across.Scale(1/f.areas[i])
		}
		if !f.round && len(f.links) > 0 {
			tension, shear = spreadLinearly(at, f.areas, st.s.links[f.links[0]].Axis, tension, shear)
		}
		g := Film{Joint: f.joint}
		for i := range f.links {
			if v := tension[i]; v > g.Tension.Value {
				g.Tension = Peak{v, at[i]}
			}
			if v := shear[i].Len(); v > g.Shear.Value {
				g.Shear = Peak{v, at[i]}
			}
		}
		out = append(out, g)
	}
	return out
}

// spreadLinearly replaces the stress on patches of a plane by the linear one of
// the same force and moments: what is left after this has neither.
func spreadLinearly(at []geom.Vec3, areas []float64, normal geom.Vec3, tension []float64, shear []geom.Vec3) ([]float64, []geom.Vec3) {
	u := geom.V3(1, 0, 0)
	if math.Abs(normal.X) > 0.7 {
		u = geom.V3(0, 1, 0)
	}
	v := normal.Cross(u).Unit()
	u = v.Cross(normal)
	var area float64
	var middle geom.Vec3
	for i, p := range at {
		area += areas[i]
		middle = middle.Add(p.Scale(areas[i]))
	}
	middle = middle.Scale(1 / area)
	var n, mu, mv, iuu, ivv, iuv, twist float64 // force, moments, second moments, mm
	var across geom.Vec3
	for i, p := range at {
		d := p.Sub(middle)
		x, y, f := d.Dot(u), d.Dot(v), tension[i]*areas[i]
		n, mu, mv = n+f, mu+f*x, mv+f*y
		// A patch has its own second moment too, about a twelfth of its area squared
		// each way.
		own := areas[i] * areas[i] / 12
		iuu, ivv, iuv = iuu+areas[i]*x*x+own, ivv+areas[i]*y*y+own, iuv+areas[i]*x*y
		s := shear[i].Scale(areas[i])
		across = across.Add(s)
		twist += d.Cross(s).Dot(normal)
	}
	det := iuu*ivv - iuv*iuv
	a, b := (mu*ivv-mv*iuv)/det, (mv*iuu-mu*iuv)/det
	outT, outS := make([]float64, len(at)), make([]geom.Vec3, len(at))
	for i, p := range at {
		d := p.Sub(middle)
		half := math.Sqrt(areas[i]) / 2 // to the side of the patch where it pulls most
		x, y := d.Dot(u)+math.Copysign(half, a), d.Dot(v)+math.Copysign(half, b)
		outT[i] = n/area + a*x + b*y
		outS[i] = across.Scale(1 / area).Add(normal.Cross(d).Scale(twist / (iuu + ivv)))
	}
	return outT, outS
}

// Floor tells where and how much each foot bears.
func (st *State) Floor() []Reaction {
	var out []Reaction
	for _, f := range st.s.feet {
		r := Reaction{Body: f.body}
		var middle, pressed geom.Vec3
		total := 0.0
		for _, i := range f.links {
			l := st.s.links[i]
			middle = middle.Add(l.At)
			g := st.r.Link(i)
			if !g.Bears {
				continue
			}
			r.Force = r.Force.Add(l.Axis.Scale(g.Tension)).Add(g.Across)
			pressed = pressed.Add(l.At.Scale(-g.Tension))
			total -= g.Tension
		}
		if total > 0 {
			r.At = pressed.Scale(1 / total)
		} else {
			r.At, r.Lifts = middle.Scale(1/float64(len(f.links))), true
		}
		out = append(out, r)
	}
	return out
}

// Surface tells how points of a body's true surface move (mm, world) and what
// equivalent stress (MPa) the plastic there bears: that of shell where there is
// some, otherwise of the core fill's walls. A point takes the values of the
// nearest filled cell, however far.
func (st *State) Surface(body int, points []geom.Vec3) (moved []geom.Vec3, mises []float64) {
	moved, mises = make([]geom.Vec3, len(points)), make([]float64, len(points))
	b := st.s.bodies[body]
	for i, p := range points {
		c, q, ok := st.at(body, p)
		for reach := 2 * st.s.reach(); !ok; reach *= 2 {
			if c, q, ok = b.find(p, reach); ok {
				q = q.Lerp(b.frame.Point(b.centre(c)), 1e-6)
			} else if reach > 1e6 || math.IsNaN(p.X+p.Y+p.Z) {
				break
			}
		}
		if !ok {
			continue
		}
		moved[i], _ = st.r.Displacement(body, q)
		t, _ := st.r.Stress(body, q)
		if b.share[c] > 0 {
			mises[i] = b.shell(c, t).VonMises()
		} else {
			mises[i] = b.plastic.inWalls(b.strain(c, t))
		}
	}
	return moved, mises
}
