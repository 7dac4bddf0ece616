// Package mend makes closed, oriented bodies of the meshes that people have:
// it welds, drops what is degenerate or double, turns triangles to one side,
// closes small holes and takes shells apart, and reports every step it took.
//
// What it cannot make whole it names, with the place; it never hands on a body
// that is not closed, oriented and free of crossings.
package mend

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/mesh"
)

// Options steer Mend. The zero value is right for most files.
type Options struct {
	Weld    float64 // mm within which vertices are one; 0 means 1e-5 of the body's size, at least 1e-4
	Hole    float64 // mm; holes whose border is longer stay open; 0 means a quarter of the shell's size, and any length for holes in a flat face
	Thicken float64 // mm; an open shell that cannot be closed is given this thickness inward, 0 for none
}

// Action is something that was done to a mesh.
type Action string

// The actions, in the order in which they are tried.
const (
	Welded    Action = "welded"     // vertices joined
	Dropped   Action = "dropped"    // triangles without size
	Doubled   Action = "doubled"    // triangles that lay on another one
	Parted    Action = "parted"     // edges and vertices shared by several sheets, taken apart
	Turned    Action = "turned"     // triangles facing the wrong way
	Stitched  Action = "stitched"   // cracks drawn together
	Closed    Action = "closed"     // holes filled
	Inward    Action = "inside out" // shells that faced inward
	Inner     Action = "inner"      // shells within another that bound no hollow, removed
	Thickened Action = "thickened"  // open shells given a thickness
)

// Step is one action on one shell, with how often and where.
type Step struct {
	Action Action
	Shell  int       // index into Result.Shells; -1 where it was done before shells were told apart
	Count  int       // vertices, triangles, edges, holes or shells, by the action
	Size   float64   // mm: the longest hole closed, the widest crack, the farthest weld; 0 where it says nothing
	At     geom.Vec3 // where the worst of them is
}

// FaultKind is the kind of a fault.
type FaultKind string

// The faults that keep a shell from being a solid.
const (
	Open     FaultKind = "open"     // a hole too large to close
	Crossing FaultKind = "crossing" // triangles that pass through one another
	Crowded  FaultKind = "crowded"  // more than two sheets meet along an edge and cannot be told apart
	OneSided FaultKind = "one-sided"
	Empty    FaultKind = "empty" // no volume
)

// Fault is why a shell is not a solid.
type Fault struct {
	Kind  FaultKind
	Count int       // edges, pairs of triangles (1000 stands for as many or more), …
	Size  float64   // mm: border length of the largest hole, length of the crossing
	At    geom.Vec3 // where
}

// Shell is one connected surface of a mesh.
type Shell struct {
	Body   mesh.Body // closed and oriented if Faults is empty; as far as it came otherwise
	Faults []Fault
	Volume float64 // mm³
	Area   float64 // mm²
}

// Solid reports whether the shell bounds a solid.
func (s Shell) Solid() bool { return len(s.Faults) == 0 }

// Result is what became of a mesh.
type Result struct {
	Shells []Shell // largest bounds first, then by place
	Steps  []Step
}

// gap is how many times the weld tolerance an opening may be wide and still be
// drawn together as a crack, but at least leastGap and at most mostGap, mm: a
// tenth of a millimetre is as much as a printer could show. In bodies below 10 mm
// it is less: a five-hundredth of their size.
const (
	gap      = 20
	leastGap = 0.02
	mostGap  = 0.1
)

// Mend makes shells of a mesh. Every shell of the result either bounds a solid
// or has a fault that says why not. It fails only if the mesh makes no sense:
// no triangle, a corner that is no vertex, a coordinate that is not finite or
// beyond 10⁹ mm.
//
// Vertices at the same place are always joined, others only where openings
// meet, so closed bodies keep their finest features. The result stays as it is
// if its coordinates are rounded to float32.
func Mend(b mesh.Body, o Options) (Result, error) {
	if err := check(b); err != nil {
		return Result{}, fmt.Errorf("mend %q: %w", b.Name, err)
	}
	f := &fabric{points: slices.Clone(b.Vertices), triangles: slices.Clone(b.Triangles)}
	box := geom.EmptyBox3()
	reachOut := 0.0
	for _, t := range f.triangles {
		for _, p := range t {
			v := f.points[p]
			box = box.Add(v)
			reachOut = max(reachOut, math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z))
		}
	}
	size := box.Size().Len()
	// Float32 keeps 24 binary digits. Four of its last places at the farthest
	// coordinate are the least distance that survives rounding at both ends.
	grain := 4 * reachOut * 0x1p-24
	reach := o.Weld
	if reach <= 0 {
		reach = max(1e-5*size, 1e-4)
	}
	reach = max(reach, 2*grain)
	m := &mender{fabric: f, grain: grain, reach: reach, wide: max(reach, min(max(gap*reach, leastGap), mostGap, size/500))}
	if o.Weld > 0 {
		m.wide = reach
	}
	m.draw()
	m.close(o.Hole)
	r := m.shells(b, o)
	if len(r.Shells) == 0 { // nothing had any size
		r.Shells = []Shell{{Body: b, Faults: []Fault{{Kind: Empty, Count: 1, At: box.Center()}}}}
	}
	return r, nil
}

func check(b mesh.Body) error {
	if len(b.Triangles) == 0 {
		return errors.New("it has no triangle")
	}
	for i, v := range b.Vertices {
		if r := max(math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z)); !(r <= 1e9) || math.IsNaN(v.X+v.Y+v.Z) {
			return fmt.Errorf("vertex %d lies at %v, which is not finite or too far out", i, v)
		}
	}
	for i, t := range b.Triangles {
		for _, k := range t {
			if k < 0 || int(k) >= len(b.Vertices) {
				return fmt.Errorf("triangle %d names vertex %d of %d", i, k, len(b.Vertices))
			}
		}
	}
	return nil
}

// mender carries one mesh through the steps.
type mender struct {
	*fabric
	grain  float64 // mm; what float32 cannot hold: such triangles are flat
	reach  float64 // mm; within which openings are joined
	wide   float64 // mm; within which cracks are drawn together
	steps  []Step
	filled []closed

	crossed []crossing // pairs of triangles of one sheet, once close is done
}

// note adds to the step of an action that is not of one shell.
func (m *mender) note(a Action, n int, size float64, at geom.Vec3) {
	if n == 0 {
		return
	}
	for i, s := range m.steps {
		if s.Action == a {
			m.steps[i].Count += n
			if size > s.Size {
				m.steps[i].Size, m.steps[i].At = size, at
			}
			return
		}
	}
	m.steps = append(m.steps, Step{Action: a, Shell: -1, Count: n, Size: size, At: at})
}

// tidy drops what has no size or lies double, and finds mates.
func (m *mender) tidy() {
	for range 4 { // each may make work for the other
		n, at := m.dropRepeated()
		m.note(Dropped, n, 0, at)
		k, at := m.dropFlat(m.grain, nil)
		m.note(Dropped, k, 0, at)
		d, at := m.dropDoubles()
		m.note(Doubled, d, 0, at)
		if n+k+d == 0 {
			break
		}
	}
	m.join()
}

// draw joins what belongs together: equal vertices, near ones along openings,
// sides of openings that run along one another.
func (m *mender) draw() {
	m.note(Welded, m.weldEqual(), 0, geom.Vec3{})
	m.tidy()
	if n, far, at := m.weldNear(m.reach); n > 0 {
		m.note(Welded, n, far, at)
		m.tidy()
	}
	// Corners first: a corner beside a crack may lie on a side across it, but
	// belongs to the corner there.
	if m.wide > m.reach {
		if n, far, at := m.drawTogether(m.wide); n > 0 {
			m.note(Stitched, n, far, at)
			m.tidy()
		}
	}
	m.stitch(m.reach)
	if m.wide > m.reach {
		m.stitch(m.wide)
	}
}

func (m *mender) stitch(reach float64) {
	for range 8 { // a triangle is divided at one side at a time
		n, far, at := m.divideBorders(reach)
		if n == 0 {
			return
		}
		m.note(Stitched, n, far, at)
		m.tidy()
	}
}

// close fills holes, and lays flat triangles over that were folded by the
// noise of their corners.
func (m *mender) close(limit float64) {
	if m.filled = m.closeHoles(limit, m.reach); len(m.filled) > 0 {
		m.tidy()
	}
	for range 3 {
		only := make([]bool, len(m.triangles))
		any := false
		m.crossed = crossings(m.points, m.triangles, m.sheets)
		for _, c := range m.crossed {
			for _, i := range [2]int32{c.i, c.j} {
				if _, flat := m.flat(i, m.reach); flat {
					only[i], any = true, true
				}
			}
		}
		if !any {
			return
		}
		n, at := m.dropFlat(m.reach, only)
		m.note(Dropped, n, 0, at)
		m.tidy()
	}
	m.crossed = crossings(m.points, m.triangles, m.sheets)
}

// shells takes the sheets apart, tells solids from hollows and inner shells,
// and holds what is left to the last gate.
func (m *mender) shells(b mesh.Body, o Options) Result {
	skins, torn := m.skins()
	m.note(Parted, torn, 0, geom.Vec3{})
	m.findFaults(skins)
	var steps []Step
	for i, s := range skins {
		if s.turned > 0 {
			steps = append(steps, Step{Action: Turned, Shell: i, Count: s.turned, At: s.turnedAt})
		}
	}
	sheetOf := make([]int32, len(m.points))
	for i, t := range m.triangles {
		for _, p := range t {
			sheetOf[p] = m.sheets[i]
		}
	}
	for _, c := range m.filled {
		steps = append(steps, Step{Action: Closed, Shell: int(sheetOf[c.point]), Count: 1, Size: c.length, At: c.at})
	}
	steps = append(steps, nest(skins, m.points, m.wide)...)

	type made struct {
		Shell
		skin   int
		bounds geom.Box3
	}
	var all []made
	for i, s := range skins {
		if s.removed || s.holder != i {
			continue
		}
		body := mesh.Body{Name: b.Name, PartNumber: b.PartNumber}
		for _, j := range append([]int{i}, s.hollows...) {
			base := int32(len(body.Vertices))
			body.Vertices = append(body.Vertices, skins[j].vertices...)
			for _, t := range skins[j].triangles {
				body.Triangles = append(body.Triangles, [3]int32{t[0] + base, t[1] + base, t[2] + base})
			}
		}
		faults := s.faults
		if o.Thicken > 0 && len(faults) == 1 && faults[0].Kind == Open {
			body.Vertices, body.Triangles = thicken(body.Vertices, body.Triangles, o.Thicken)
			faults = gate(body, true)
			steps = append(steps, Step{Action: Thickened, Shell: i, Count: 1, Size: o.Thicken, At: s.bounds.Center()})
		} else if len(faults) == 0 {
			faults = gate(body, len(s.hollows) > 0) // one skin alone has been searched for crossings
		}
		sh := made{Shell{Body: body, Faults: faults}, i, body.Bounds()}
		if r, err := mesh.Check(body.Vertices, body.Triangles); err == nil {
			sh.Volume, sh.Area = r.Volume, r.Area
		}
		all = append(all, sh)
	}
	slices.SortStableFunc(all, func(a, b made) int { return compareBounds(a.bounds, b.bounds) })

	r := Result{Shells: make([]Shell, len(all))}
	place := make([]int, len(skins))
	for k, s := range all {
		r.Shells[k] = s.Shell
		place[s.skin] = k
	}
	for i := range steps {
		holder := skins[steps[i].Shell].holder
		steps[i].Shell = place[holder]
	}
	r.Steps = append(m.steps, gather(steps)...)
	return r
}

// gather makes one step of all those of one action on one shell.
func gather(steps []Step) []Step {
	order := []Action{Doubled, Turned, Closed, Inward, Inner, Thickened}
	slices.SortStableFunc(steps, func(a, b Step) int {
		return cmp.Or(cmp.Compare(slices.Index(order, a.Action), slices.Index(order, b.Action)), cmp.Compare(a.Shell, b.Shell))
	})
	var out []Step
	for _, s := range steps {
		if n := len(out); n > 0 && out[n-1].Action == s.Action && out[n-1].Shell == s.Shell {
			last := &out[n-1]
			last.Count += s.Count
			if s.Size > last.Size {
				last.Size, last.At = s.Size, s.At
			}
			continue
		}
		out = append(out, s)
	}
	return out
}
