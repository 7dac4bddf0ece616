package scene

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/core"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/veneer"
)

// This file works out in what order and which way a piece comes apart, from its
// contacts, its dowels and where its members stand: screws back out, then what
// they held moves off, then what is glued; last, leaves come off and segments
// part, which no joiner would do.
//
// What can move in a direction follows from who is in whose way there: a body
// takes along all that block it, and those that block them (Wilson and Latombe,
// Geometric reasoning about mechanical assembly, Artificial Intelligence 71,
// 1994: directional blocking graphs). The smallest such group leaves first.

// motion is how something moves while the piece is taken apart: by Away (mm,
// world) while the slider goes from From to To, both in 0..1.
type motion struct {
	Away     geom.Vec3
	From, To float64
}

// assembly is what is still together before a stage of taking apart, and what
// it then falls into. It has either a body or parts.
type assembly struct {
	motion
	body  int // index into the bodies; -1 with parts
	parts []*assembly
	phase phase
	stage int // within the phase; settles From and To
}

// phase is a part of taking apart.
type phase int

const (
	screwsOut phase = iota
	membersOff
	gluedOff
	leavesOff
	segmentsOff
	phases
)

// shares say how long the phases last beside one another.
var shares = [phases]float64{0.15, 0.4, 0.15, 0.15, 0.15}

var phaseNames = [phases]string{"screws", "members", "glued", "leaves", "segments"}

// How far things move, mm or in parts of the piece's greatest extent. All chosen
// by eye.
const (
	gapShare  = 0.6  // of a member's extent along its way
	gapLeast  = 0.08 // of the piece
	gapMost   = 0.35 // of the piece
	gluedGap  = 0.5  // of what members move that are not glued
	liftShare = 0.03 // of the piece: leaves off their cores
	partShare = 0.06 // of the piece: segments from one another
	boxMost   = 2.2  // diagonal of all that moved, over the piece's
)

// apart is how a piece is taken apart.
type apart struct {
	whole  *assembly
	stages []Stage
	size   geom.Box3 // of the piece together

	extent  float64 // greatest of size, mm
	times   [phases][2]float64
	sunk    float64             // how far sleeves go below the floor, mm
	strewn  map[int][]geom.Vec3 // how far segments part, by body
	shrink  float64             // what all ways are multiplied by, to stay within boxMost
	hulls   []hull              // by member
	members [][]int             // by body
	names   []string            // of bodies
	kinds   []string            // names of their members, which copies share
	meets   []meeting           // of members of different bodies
	ways    []geom.Vec3         // directions that are tried
	spans   map[spanKey]interval
	free    map[freeKey]bool
	shift   map[int]geom.Vec3 // of bodies, by easing
	eased   map[int][]easing  // by the first body of a group
}

// hull is where a member stands: points of its core and the directions of its
// sides.
type hull struct {
	points []geom.Vec3
	frame  geom.Frame
}

// meeting is a contact between members of two bodies.
type meeting struct {
	bodies [2]int // the second bears on the first
	// block are normals from the first into the second: the second cannot move
	// against any of them.
	block []geom.Vec3
	slide *geom.Vec3 // axis of its dowels: the only way off
	reach float64    // mm that dowels reach into either side
	glued bool
}

type interval struct{ lo, hi float64 }

type spanKey struct {
	member int
	axis   geom.Vec3
}

type freeKey struct{ mover, other, way int }

// takeApart works out how the piece comes apart. cores are the members' meshes
// in the world.
func takeApart(m *maker, cores []*triangles, seams bool) *apart {
	a := &apart{size: geom.EmptyBox3(), spans: map[spanKey]interval{}, free: map[freeKey]bool{}, shift: map[int]geom.Vec3{}, eased: map[int][]easing{}, shrink: 1}
	for i, c := range cores {
		for _, p := range c.Points {
			a.size = a.size.Add(p)
		}
		a.hulls = append(a.hulls, hull{c.Points, m.pl.Layout.Cores[i].Place})
	}
	s := a.size.Size()
	a.extent = max(s.X, s.Y, s.Z)
	for _, b := range m.bodies {
		a.members, a.names = append(a.members, b.Members), append(a.names, b.ID)
		var kind string
		for _, k := range b.Members {
			kind += m.pl.Piece.Members[k].Name + "+"
		}
		a.kinds = append(a.kinds, kind)
	}
	a.find(m)
	a.whole = a.plan(m)
	a.settle(m, seams)
	return a
}

// find gathers the contacts between bodies and the ways to try.
func (a *apart) find(m *maker) {
	at := map[string]int{}
	add := func(id string, x meeting) {
		if x.bodies[0] != x.bodies[1] {
			at[id] = len(a.meets)
			a.meets = append(a.meets, x)
		}
	}
	for _, c := range m.pl.Joints.Contacts {
		add(c.ID, meeting{bodies: [2]int{m.of[c.A.Member], m.of[c.B.Member]}, block: []geom.Vec3{c.Frame.Z}})
		a.way(c.Frame.Z)
		a.way(c.Frame.Z.Neg())
	}
	for _, c := range m.pl.Joints.Rounds {
		x := meeting{bodies: [2]int{m.of[c.A.Member], m.of[c.B.Member]}}
		var angles []float64
		for _, loop := range c.Region {
			for _, q := range loop {
				angles = append(angles, q.X/c.Radius)
			}
		}
		if c.Closed {
			for i := range 8 {
				angles = append(angles, float64(i)*math.Pi/4)
			}
		}
		var mean geom.Vec3
		for _, w := range angles {
			sn, cs := math.Sincos(w)
			out := c.Axis.X.Scale(cs).Add(c.Axis.Y.Scale(sn)) // out of B, into A
			x.block = append(x.block, out.Neg())
			mean = mean.Add(out)
		}
		add(c.ID, x)
		a.way(c.Axis.Z)
		a.way(c.Axis.Z.Neg())
		if !c.Closed && mean.Len() > 1e-6 {
			a.way(mean.Unit())
			a.way(mean.Unit().Neg())
		}
	}
	for _, j := range m.pl.Joints.Joints {
		i, ok := at[j.Contact]
		if !ok {
			continue
		}
		x := &a.meets[i]
		x.glued = j.Kind == piece.Glued
		for _, d := range j.Dowels {
			axis := d.Axis
			x.slide, x.reach = &axis, max(x.reach, d.Length/2)
			a.way(axis)
			a.way(axis.Neg())
		}
	}
	for _, d := range []geom.Vec3{{Z: 1}, {X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {Z: -1}} {
		a.way(d)
	}
}

func (a *apart) way(d geom.Vec3) {
	d = d.Unit()
	if !slices.ContainsFunc(a.ways, func(o geom.Vec3) bool { return o.Dist(d) < 1e-4 }) {
		a.ways = append(a.ways, d)
	}
}

// plan is the tree of assemblies: first what screws hold, then what is glued.
func (a *apart) plan(m *maker) *assembly {
	// Bodies that are glued to one another move as one.
	group := make([]int, len(m.bodies))
	for i := range group {
		group[i] = i
	}
	for again := true; again; {
		again = false
		for _, x := range a.meets {
			if i, j := group[x.bodies[0]], group[x.bodies[1]]; x.glued && i != j {
				again = true
				for k := range group {
					if group[k] == max(i, j) {
						group[k] = min(i, j)
					}
				}
			}
		}
	}
	var groups [][]int
	for i := range m.bodies {
		var g []int
		for k := range group {
			if group[k] == i {
				g = append(g, k)
			}
		}
		if g != nil {
			groups = append(groups, g)
		}
	}
	stage := 0
	return a.divide(groups, membersOff, &stage)
}

// divide takes groups of bodies apart, each of which moves as one in this
// phase, and in the next falls apart itself.
func (a *apart) divide(groups [][]int, ph phase, stage *int) *assembly {
	if len(groups) == 1 {
		g := groups[0]
		out := &assembly{body: g[0]}
		if len(g) > 1 {
			var single [][]int
			for _, b := range g {
				single = append(single, []int{b})
			}
			first := 0
			out = a.divide(single, gluedOff, &first)
		}
		for _, e := range a.eased[g[0]] {
			if e.phase == ph {
				out = &assembly{body: -1, parts: []*assembly{out}, motion: e.motion, phase: e.phase, stage: e.stage}
			}
		}
		return out
	}
	if parts := a.loose(groups); len(parts) > 1 { // they stand apart already
		out := &assembly{body: -1}
		from, last := *stage, *stage
		for _, p := range parts {
			*stage = from
			out.parts = append(out.parts, a.divide(p, ph, stage))
			last = max(last, *stage)
		}
		*stage = last
		return out
	}
	leave := a.next(groups)
	if leave == nil && a.ease(groups, ph, stage) {
		return a.divide(groups, ph, stage)
	}
	if leave == nil { // locked, or the contacts are not what they seem
		out := &assembly{body: -1}
		for _, g := range groups {
			out.parts = append(out.parts, a.divide([][]int{g}, ph, stage))
		}
		return out
	}
	at := *stage
	*stage++
	out := &assembly{body: -1}
	taken := map[int]bool{}
	for _, l := range leave {
		for _, g := range l.groups {
			taken[g] = true
		}
	}
	var rest [][]int
	for i, g := range groups {
		if !taken[i] {
			rest = append(rest, g)
		}
	}
	stay := a.divide(rest, ph, stage)
	var deepest float64
	for _, l := range leave {
		var own [][]int
		for _, g := range l.groups {
			own = append(own, groups[g])
		}
		part := a.divide(own, ph, stage)
		d := a.ways[l.way]
		far := a.gap(part.bodies(), stay.bodies(), d, ph) + a.growth(stay, d) + a.growth(part, d.Neg())
		if part.Away != (geom.Vec3{}) { // it rises when it is taken apart itself
			part = &assembly{body: -1, parts: []*assembly{part}}
		}
		part.Away, part.phase, part.stage = d.Scale(far), ph, at
		deepest = max(deepest, -part.Away.Z)
		out.parts = append(out.parts, part)
	}
	out.parts = append(out.parts, stay)
	if deepest > 1e-6 { // nothing goes below the floor: the rest rises instead
		out.Away, out.phase, out.stage = geom.V3(0, 0, deepest), ph, at
	}
	return out
}

// loose parts groups into those that hang together by contacts.
func (a *apart) loose(groups [][]int) [][][]int {
	of := make([]int, len(groups))
	for i := range of {
		of[i] = i
	}
	for i := range groups {
		for j := range i {
			if of[i] != of[j] && a.touch(groups[i], groups[j]) {
				x, y := min(of[i], of[j]), max(of[i], of[j])
				for k := range of {
					if of[k] == y {
						of[k] = x
					}
				}
			}
		}
	}
	var out [][][]int
	for i := range groups {
		var part [][]int
		for k, g := range groups {
			if of[k] == i {
				part = append(part, g)
			}
		}
		if part != nil {
			out = append(out, part)
		}
	}
	return out
}

func (a *apart) touch(g, h []int) bool {
	for _, i := range g {
		for _, j := range h {
			if a.meet(i, j) {
				return true
			}
		}
	}
	return false
}

// easing is a short move that frees dowels.
type easing struct {
	motion
	phase phase
	stage int
}

// ease moves the smallest set of groups that can be moved just so far that its
// dowels are out, where nothing can leave at one go; false if there is none.
func (a *apart) ease(groups [][]int, ph phase, stage *int) bool {
	const beyond = 2 // mm past the dowels' ends
	var best []int
	var by geom.Vec3
	for _, d := range a.ways {
		for i := range groups {
			set := []int{i}
			far := 0.0
			for k := 0; k < len(set); k++ {
				for j := range groups {
					if slices.Contains(set, j) {
						continue
					}
					free := true
					for _, x := range groups[set[k]] {
						for _, y := range groups[j] {
							e := a.engaged(x, y, d)
							free, far = free && a.bears(x, y, d) && a.clear(x, y, d, e+beyond), max(far, e)
						}
					}
					if !free {
						set = append(set, j)
					}
				}
			}
			out := 0.0 // dowels that this frees
			for _, s := range set {
				for j := range groups {
					if slices.Contains(set, j) {
						continue
					}
					for _, x := range groups[s] {
						for _, y := range groups[j] {
							out = max(out, a.engaged(x, y, d))
						}
					}
				}
			}
			if out == 0 || len(set) == len(groups) || best != nil && len(set) >= len(best) {
				continue
			}
			slices.Sort(set)
			best, by = set, d.Scale(out+beyond)
		}
	}
	if best == nil {
		return false
	}
	inside := map[int]bool{}
	for _, g := range best {
		for _, b := range groups[g] {
			inside[b] = true
			a.shift[b] = a.shift[b].Add(by)
		}
		first := groups[g][0]
		a.eased[first] = append(a.eased[first], easing{motion{Away: by}, ph, *stage})
	}
	*stage++
	for i := range a.meets {
		if x := &a.meets[i]; inside[x.bodies[0]] != inside[x.bodies[1]] && x.slide != nil && math.Abs(x.slide.Dot(by.Unit())) > 1-1e-4 {
			x.slide, x.reach = nil, 0
		}
	}
	clear(a.free)
	return true
}

// engaged is how far dowels along d reach from body i into j, mm.
func (a *apart) engaged(i, j int, d geom.Vec3) float64 {
	var out float64
	for _, x := range a.meets {
		if (x.bodies == [2]int{i, j} || x.bodies == [2]int{j, i}) && x.slide != nil && math.Abs(x.slide.Dot(d)) > 1-1e-4 {
			out = max(out, x.reach)
		}
	}
	return out
}

// leaving is a set of groups that moves off together.
type leaving struct {
	groups []int // indices into the groups, rising
	way    int
	out    float64 // how far outside the rest it stands along its way, in its own extent
	name   string
}

// next are the sets of groups that move off next: the best, and those that are
// made like it and can leave at the same time.
func (a *apart) next(groups [][]int) []leaving {
	var all []leaving
	for w := range a.ways {
		seen := map[string]bool{}
		for i := range groups {
			set := a.along(groups, i, w)
			if len(set) == len(groups) {
				continue
			}
			key := fmt.Sprint(set)
			if seen[key] {
				continue
			}
			seen[key] = true
			all = append(all, a.leaving(groups, set, w))
		}
	}
	if len(all) == 0 {
		return nil
	}
	// Up rather than sideways, and down last.
	class := func(l leaving) int {
		switch z := a.ways[l.way].Z; {
		case z > 0.9:
			return 0
		case z > -0.1:
			return 1
		}
		return 2
	}
	slices.SortStableFunc(all, func(x, y leaving) int {
		return cmp.Or(cmp.Compare(len(x.groups), len(y.groups)), cmp.Compare(class(x), class(y)),
			cmp.Compare(math.Round(y.out*1e6), math.Round(x.out*1e6)), strings.Compare(x.name, y.name), cmp.Compare(x.way, y.way))
	})
	out := []leaving{all[0]}
	used := slices.Clone(all[0].groups)
	// Its twins leave with it, by the way that is best for each.
	for _, l := range all[1:] {
		if a.kind(groups, l.groups) != a.kind(groups, all[0].groups) || len(used)+len(l.groups) >= len(groups) || class(l) != class(all[0]) {
			continue
		}
		if slices.ContainsFunc(l.groups, func(g int) bool { return slices.Contains(used, g) }) || !a.together(groups, out, l) {
			continue
		}
		out, used = append(out, l), append(used, l.groups...)
	}
	return out
}

// together reports whether a set can leave while others leave: where their ways
// differ, the one must not be in the way of the other's way beside its own.
func (a *apart) together(groups [][]int, leave []leaving, l leaving) bool {
	for _, o := range leave {
		if o.way == l.way {
			continue
		}
		d := a.ways[l.way].Sub(a.ways[o.way])
		for _, g := range l.groups {
			for _, h := range o.groups {
				for _, i := range groups[g] {
					for _, j := range groups[h] {
						if a.meet(i, j) || !a.clear(i, j, d.Unit(), a.extent) {
							return false
						}
					}
				}
			}
		}
	}
	return true
}

// meet reports whether two bodies touch.
func (a *apart) meet(i, j int) bool {
	return slices.ContainsFunc(a.meets, func(x meeting) bool { return x.bodies == [2]int{i, j} || x.bodies == [2]int{j, i} })
}

// kind tells sets apart that are made of different members: copies by one
// repeat are of one kind.
func (a *apart) kind(groups [][]int, set []int) string {
	var names []string
	for _, g := range set {
		for _, b := range groups[g] {
			names = append(names, a.kinds[b])
		}
	}
	slices.Sort(names)
	return strings.Join(names, " ")
}

// along is the group i with all that must move with it: those in its way, those
// in theirs, and so on.
func (a *apart) along(groups [][]int, i, way int) []int {
	set := []int{i}
	for k := 0; k < len(set); k++ {
		for j := range groups {
			if !slices.Contains(set, j) && !a.passes(groups[set[k]], groups[j], way) {
				set = append(set, j)
			}
		}
	}
	slices.Sort(set)
	return set
}

func (a *apart) passes(mover, other []int, way int) bool {
	for _, i := range mover {
		for _, j := range other {
			key := freeKey{i, j, way}
			free, known := a.free[key]
			if !known {
				free = a.open(i, j, a.ways[way])
				a.free[key] = free
			}
			if !free {
				return false
			}
		}
	}
	return true
}

// open reports whether body i can move off along d while j stays.
func (a *apart) open(i, j int, d geom.Vec3) bool {
	return a.bears(i, j, d) && a.clear(i, j, d, 3*a.extent)
}

// bears reports whether the contacts and dowels between bodies i and j let i
// move along d.
func (a *apart) bears(i, j int, d geom.Vec3) bool {
	const into = 0.02 // of its way; a contact it slides along is found a little askew
	for _, x := range a.meets {
		sign := 1.0
		switch [2]int{i, j} {
		case [2]int{x.bodies[1], x.bodies[0]}:
		case [2]int{x.bodies[0], x.bodies[1]}:
			sign = -1
		default:
			continue
		}
		for _, n := range x.block {
			if sign*d.Dot(n) < -into {
				return false
			}
		}
		if x.slide != nil && math.Abs(d.Dot(*x.slide)) < 1-1e-4 {
			return false
		}
	}
	return true
}

// clear reports whether nothing of body j stands in the way of i over a
// distance along d, as far as planes between them tell: two bodies that no plane parts even when at
// rest, as one that goes round the other, are left to their contacts.
func (a *apart) clear(i, j int, d geom.Vec3, far float64) bool {
	for _, m := range a.members[i] {
		for _, n := range a.members[j] {
			if !a.parted(m, n, d, 0, a.shift[i].Sub(a.shift[j])) {
				continue
			}
			if !a.parted(m, n, d, far, a.shift[i].Sub(a.shift[j])) {
				return false
			}
		}
	}
	return true
}

// parted reports whether a plane lies between member m, all along its way of
// length far, and member n; m stands moved by shift beside n.
func (a *apart) parted(m, n int, d geom.Vec3, far float64, shift geom.Vec3) bool {
	const touch = 0.6 // mm; faces that touch, pads and the chord of curves
	f, g := a.hulls[m].frame, a.hulls[n].frame
	edges := []geom.Vec3{f.X, f.Y, f.Z, g.X, g.Y, g.Z}
	axes := slices.Clone(edges)
	for _, u := range edges[:3] {
		for _, v := range edges[3:] {
			axes = append(axes, u.Cross(v))
		}
	}
	for _, u := range edges {
		axes = append(axes, d.Cross(u))
	}
	for _, x := range a.meets {
		if len(x.block) == 1 {
			axes = append(axes, x.block[0])
		}
	}
	for _, axis := range axes {
		if axis.Len() < 1e-6 {
			continue
		}
		axis = axis.Unit()
		p, q := a.span(m, axis), a.span(n, axis)
		move, by := far*d.Dot(axis), shift.Dot(axis)
		p.lo, p.hi = p.lo+by+min(0, move), p.hi+by+max(0, move)
		if p.hi < q.lo+touch || q.hi < p.lo+touch {
			return true
		}
	}
	return false
}

// span is where a member lies along an axis.
func (a *apart) span(m int, axis geom.Vec3) interval {
	key := spanKey{m, axis}
	s, known := a.spans[key]
	if !known {
		s = interval{math.Inf(1), math.Inf(-1)}
		for _, p := range a.hulls[m].points {
			d := p.Dot(axis)
			s.lo, s.hi = min(s.lo, d), max(s.hi, d)
		}
		a.spans[key] = s
	}
	return s
}

// reach is where bodies lie along an axis, each moved by its offset.
func (a *apart) reach(bodies []int, axis geom.Vec3, moved map[int]geom.Vec3) interval {
	s := interval{math.Inf(1), math.Inf(-1)}
	for _, b := range bodies {
		for _, m := range a.members[b] {
			p, off := a.span(m, axis), moved[b].Dot(axis)
			s.lo, s.hi = min(s.lo, p.lo+off), max(s.hi, p.hi+off)
		}
	}
	return s
}

// growth is how much farther an assembly reaches along d when it is apart.
func (a *apart) growth(x *assembly, d geom.Vec3) float64 {
	moved := map[int]geom.Vec3{}
	x.moved(geom.Vec3{}, moved)
	all := x.bodies()
	return max(0, a.reach(all, d, moved).hi-a.reach(all, d, nil).hi)
}

// moved gathers how far every body moves in the end.
func (x *assembly) moved(base geom.Vec3, out map[int]geom.Vec3) {
	base = base.Add(x.Away)
	if x.body >= 0 {
		out[x.body] = base
		return
	}
	for _, p := range x.parts {
		p.moved(base, out)
	}
}

// gap is how far bodies move off what stays, along d.
func (a *apart) gap(part, stay []int, d geom.Vec3, ph phase) float64 {
	s := a.reach(part, d, nil)
	g := max(gapLeast*a.extent, gapShare*(s.hi-s.lo))
	if ph == gluedOff {
		g *= gluedGap
	}
	g = min(g, gapMost*a.extent)
	var dowels float64
	for _, x := range a.meets {
		i, j := x.bodies[0], x.bodies[1]
		if slices.Contains(part, i) && slices.Contains(stay, j) || slices.Contains(part, j) && slices.Contains(stay, i) {
			dowels = max(dowels, x.reach)
		}
	}
	return g + dowels
}

// settle gives every stage its time, and shortens all ways where the piece
// would grow too large.
func (a *apart) settle(m *maker, seams bool) {
	var count [phases]int
	var walk func(x *assembly, f func(*assembly))
	walk = func(x *assembly, f func(*assembly)) {
		f(x)
		for _, p := range x.parts {
			walk(p, f)
		}
	}
	walk(a.whole, func(x *assembly) {
		if x.Away != (geom.Vec3{}) {
			count[x.phase] = max(count[x.phase], x.stage+1)
		}
	})
	for _, j := range m.pl.Joints.Joints {
		if len(j.Screws) > 0 {
			count[screwsOut] = 1
		}
	}
	if len(m.pl.Joints.Plugs) > 0 {
		count[screwsOut] = 1
	}
	if len(m.pl.Patterns) > 0 {
		count[leavesOff] = 1
	}
	if seams {
		count[segmentsOff] = 1
	}
	var sum, at float64
	for ph, n := range count {
		if n > 0 {
			sum += shares[ph]
		}
	}
	for ph, n := range count {
		a.times[ph] = [2]float64{at, at}
		if n == 0 {
			continue
		}
		to := at + shares[ph]/sum
		a.times[ph] = [2]float64{at, to}
		a.stages = append(a.stages, Stage{phaseNames[ph], math.Round(at*1e3) / 1e3, math.Round(to*1e3) / 1e3})
		at = to
	}
	for range 20 {
		moved := map[int]geom.Vec3{}
		a.whole.moved(geom.Vec3{}, moved)
		b := geom.EmptyBox3()
		for body, d := range moved {
			for _, mi := range a.members[body] {
				for _, p := range a.hulls[mi].points {
					b = b.Add(p.Add(d))
				}
			}
		}
		if b.Size().Len() <= 0.95*boxMost*a.size.Size().Len() { // leaves and screws stand out a little more
			break
		}
		a.shrink *= 0.9
		walk(a.whole, func(x *assembly) { x.Away = x.Away.Scale(0.9) })
	}
	walk(a.whole, func(x *assembly) {
		if x.Away == (geom.Vec3{}) {
			return
		}
		t := a.times[x.phase]
		n := float64(count[x.phase])
		x.From, x.To = t[0]+(t[1]-t[0])*float64(x.stage)/n, t[0]+(t[1]-t[0])*float64(x.stage+1)/n
	})
}

func (a *apart) during(ph phase, away geom.Vec3) motion {
	return motion{away, a.times[ph][0], a.times[ph][1]}
}

// drawBack is how a screw comes out: back along its axis, until its tip is free.
func (a *apart) drawBack(s joint.Screw) motion {
	const free = 5 // mm beyond its tip
	return a.during(screwsOut, s.Axis.Scale(-min(s.Length+free, gapMost*a.extent)))
}

// unplug is how a plug comes off: out of the way of the screw behind it.
func (a *apart) unplug(p joint.Plug) motion {
	return a.during(screwsOut, p.Axis.Scale(gapLeast*a.extent+p.Depth))
}

// lift is how a leaf comes off: along its mean normal, farther than the
// segments under it part that way. A sleeve slides off along its axis, towards
// its thin end.
func (a *apart) lift(body int, on *veneer.Laid, t *triangles) motion {
	var sum geom.Vec3
	var area float64
	for i := 0; i < len(t.Index); i += 3 {
		o, u, v := t.Points[t.Index[i]], t.Points[t.Index[i+1]], t.Points[t.Index[i+2]]
		n := u.Sub(o).Cross(v.Sub(o)).Scale(0.5)
		if n.Dot(t.Normals[t.Index[i]]) > 0 { // not the rim's, which cancel out
			sum, area = sum.Add(n), area+n.Len()
		}
	}
	far := min(max(liftShare*a.extent, 8), 20)
	if sum.Len() > 0.25*area {
		d := sum.Unit()
		var under float64
		for _, p := range a.strewn[body] {
			under = max(under, p.Dot(d))
		}
		return a.during(leavesOff, d.Scale(far+under))
	}
	axis, ok := on.Axis()
	if !ok { // of the member's own axes the one to which it is most nearly straight
		least := math.Inf(1)
		f := a.hulls[a.members[body][0]].frame
		for _, d := range []geom.Vec3{f.Z, f.X, f.Y} {
			var across float64
			for _, n := range t.Normals {
				across += n.Dot(d) * n.Dot(d)
			}
			if across < least {
				least, axis = across, d
			}
		}
	}
	switch d := sum.Dot(axis); {
	case d < -1e-3*area:
		axis = axis.Neg()
	case d <= 1e-3*area && axis.Z < -1e-9: // up, if it is as thin at both ends
		axis = axis.Neg()
	}
	lo, hi, low := math.Inf(1), math.Inf(-1), math.Inf(1)
	for _, p := range t.Points {
		lo, hi, low = min(lo, p.Dot(axis)), max(hi, p.Dot(axis)), min(low, p.Z)
	}
	away := axis.Scale(min(hi-lo+far, gapMost*a.extent/2))
	a.sunk = max(a.sunk, a.size.Min.Z-low-away.Z)
	return a.during(leavesOff, away)
}

// part is how segments part: each moves off the planes of its body's seams, to
// the side on which it lies; those that a plane crosses stay.
func (a *apart) part(m *maker, segments []core.Segment) []motion {
	out := make([]motion, len(segments))
	half := min(max(partShare*a.extent, 12), 40) / 2
	var done []geom.Plane
	for i, s := range m.pl.Seams.Seams {
		if i > 0 && m.pl.Seams.Seams[i-1].Body != s.Body {
			done = nil
		}
		same := func(p geom.Plane) bool {
			return p.Normal.Dist(s.Plane.Normal) < 1e-6 && math.Abs(p.D-s.Plane.D) < 1e-3 || p.Normal.Dist(s.Plane.Normal.Neg()) < 1e-6 && math.Abs(p.D+s.Plane.D) < 1e-3
		}
		if slices.ContainsFunc(done, same) {
			continue
		}
		done = append(done, s.Plane)
		for k, seg := range segments {
			if seg.Body != s.Body {
				continue
			}
			lo, hi := math.Inf(1), math.Inf(-1)
			for _, v := range seg.Mesh.Vertices {
				d := s.Plane.Distance(v)
				lo, hi = min(lo, d), max(hi, d)
			}
			const on = 0.1 // mm
			switch {
			case lo > -on:
				out[k].Away = out[k].Away.Add(s.Plane.Normal.Scale(half))
			case hi < on:
				out[k].Away = out[k].Away.Sub(s.Plane.Normal.Scale(half))
			}
		}
	}
	a.strewn = map[int][]geom.Vec3{}
	for k := range out {
		b := segments[k].Body
		a.strewn[b] = append(a.strewn[b], out[k].Away)
		out[k] = a.during(segmentsOff, out[k].Away)
	}
	return out
}

// leaving tells about a set that could leave.
func (a *apart) leaving(groups [][]int, set []int, way int) leaving {
	var own, rest []int
	for i, g := range groups {
		if slices.Contains(set, i) {
			own = append(own, g...)
		} else {
			rest = append(rest, g...)
		}
	}
	d := a.ways[way]
	p, q := a.reach(own, d, nil), a.reach(rest, d, nil)
	l := leaving{groups: set, way: way, out: ((p.lo + p.hi) - (q.lo + q.hi)) / 2 / max(1, p.hi-p.lo)}
	for _, b := range own {
		l.name += a.names[b] + " "
	}
	return l
}
