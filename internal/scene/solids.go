package scene

import (
	"context"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/core"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/plan"
	"groundwork/internal/seam"
	"groundwork/internal/solid"
)

// Solid is a thing that a piece is made of, where it is when the piece is
// together, and how it moves while the piece is taken apart.
type Solid struct {
	ID     string // of a leaf its pattern's, with "/leaf" where that is a plug's, too
	Kind   string // body, leaf, dowel, screw, insert or plug
	Member string // of a body printed as one, the first
	Body   string
	Joint  string // of hardware
	// Mesh is in the world, mm. A leaf's is open where it is glued on.
	Mesh *solid.Mesh
	Ways []Way // of all that it hangs on, and its own
}

// Way is a straight motion: by Away (mm, world) while the slider goes from From
// to To, both in 0..1.
type Way struct {
	Away     geom.Vec3
	From, To float64
}

// Moved is how far the solid has moved (mm, world) with the slider at a place
// in 0..1.
func (s Solid) Moved(at float64) geom.Vec3 {
	var d geom.Vec3
	for _, w := range s.Ways {
		if at >= w.To {
			d = d.Add(w.Away)
		} else if at > w.From {
			d = d.Add(w.Away.Scale((at - w.From) / (w.To - w.From)))
		}
	}
	return d
}

// Apart is a piece that can be taken apart, in the order and by the ways that
// Geometry and Whole write.
type Apart struct {
	Solids []Solid // bodies, leaves, then hardware
	Stages []Stage

	links []link
}

// Thread is where two things belong together that have been taken apart: a
// straight line in the world, mm, between the two ends of a screw's or a dowel's
// axis, or of the middle of a contact that has neither.
type Thread struct {
	Of       string // ID of the solid that left
	From, To geom.Vec3
}

// link is a point in which two solids meet.
type link struct {
	of, on int // indices into the solids
	at     geom.Vec3
}

// Threads are the lines between what has been taken apart, with the slider at a
// place in 0..1.
func (a *Apart) Threads(at float64) []Thread {
	const least = 1 // mm
	var out []Thread
	for _, l := range a.links {
		from, to := l.at.Add(a.Solids[l.on].Moved(at)), l.at.Add(a.Solids[l.of].Moved(at))
		if from.Dist(to) > least {
			out = append(out, Thread{a.Solids[l.of].ID, from, to})
		}
	}
	return out
}

// TakeApart makes a piece's solids anew for the eye, to the chord in mm (0 means
// 0.2): bodies with their bores but without seams and part numbers, hardware
// and, if asked for, leaves. Of the plan it takes Piece, Shop, Joints, Layout and
// Patterns.
func TakeApart(ctx context.Context, k *solid.Kernel, pl *plan.Plan, leaves bool, chord float64) (*Apart, error) {
	if chord == 0 {
		chord = viewChord
	}
	m := newMaker(pl)
	cores, err := m.cores(ctx, k, chord)
	if err != nil {
		return nil, err
	}
	m.apart = takeApart(m, cores, true)
	uncut := &seam.Result{Bodies: m.bodies}
	for i, b := range m.bodies {
		uncut.Segments = append(uncut.Segments, seam.Segment{ID: b.ID, Body: i})
	}
	made, err := core.Build(ctx, k, core.Inputs{Cores: pl.Layout.Cores, Seams: uncut, Bores: pl.Joints.Bores(), Cuts: pl.Layout.Cuts}, core.Options{Chord: chord})
	if err != nil {
		return nil, fmt.Errorf("scene: %w", err)
	}
	out := &Apart{Stages: m.stages}
	ways := make([][]Way, len(m.bodies))
	var walk func(a *assembly, above []Way)
	walk = func(a *assembly, above []Way) {
		above = append(above[:len(above):len(above)], way(a.motion)...)
		if a.body >= 0 {
			ways[a.body] = above
		}
		for _, p := range a.parts {
			walk(p, above)
		}
	}
	walk(m.whole, nil)
	for i, s := range made.Segments {
		out.Solids = append(out.Solids, Solid{ID: s.ID, Kind: "body", Member: pl.Piece.Members[m.bodies[i].Members[0]].ID, Body: s.ID, Mesh: s.Mesh, Ways: ways[i]})
	}
	named := map[string]int{}
	m.seen = func(body int, name string, e Extras, t *triangles, at geom.Frame, mo motion) {
		if plug := func(g joint.Plug) bool { return g.ID == name }; e.Kind != "leaf" {
			named[name] = len(out.Solids)
		} else if slices.ContainsFunc(pl.Joints.Plugs, plug) {
			name += "/leaf" // its pattern has the plug's name
		}
		w := append(ways[body][:len(ways[body]):len(ways[body])], way(mo)...)
		out.Solids = append(out.Solids, Solid{ID: name, Kind: e.Kind, Member: e.Member, Body: e.Body, Joint: e.Joint, Mesh: welded(t, at), Ways: w})
	}
	if leaves {
		m.leaves(false)
	}
	m.hardware()
	if m.sunk > 0 { // the piece rises so that no sleeve goes below the floor
		rise := way(m.during(leavesOff, geom.V3(0, 0, m.sunk)))
		for i, s := range out.Solids {
			out.Solids[i].Ways = append(rise[:1:1], s.Ways...)
		}
	}
	out.links = links(m, named)
	return out, nil
}

func way(m motion) []Way {
	if m.Away == (geom.Vec3{}) {
		return nil
	}
	return []Way{{m.Away, m.From, m.To}}
}

// links are where bodies meet, by their joints, and screws their seats.
func links(m *maker, named map[string]int) []link {
	var out, bare []link
	held := make([]bool, len(m.bodies)) // by screws or dowels
	of := map[string]int{}              // joints by contact
	for i, j := range m.pl.Joints.Joints {
		of[j.Contact] = i
	}
	meet := func(id string, a, b int, middle geom.Vec3) {
		off, on := m.of[b], m.of[a]
		if off == on {
			return
		}
		j, ok := of[id]
		if !ok || len(m.pl.Joints.Joints[j].Screws)+len(m.pl.Joints.Joints[j].Dowels) == 0 {
			bare = append(bare, link{off, on, middle})
			return
		}
		held[off], held[on] = true, true
		for _, s := range m.pl.Joints.Joints[j].Screws {
			out = append(out, link{off, on, s.Head.Add(s.Axis.Scale(s.Grip))})
		}
		for _, d := range m.pl.Joints.Joints[j].Dowels {
			out = append(out, link{off, on, d.Center})
		}
	}
	for _, c := range m.pl.Joints.Contacts {
		meet(c.ID, c.A.Member, c.B.Member, c.Frame.Origin)
	}
	for _, c := range m.pl.Joints.Rounds {
		meet(c.ID, c.A.Member, c.B.Member, c.Axis.Origin)
	}
	for _, l := range bare { // only of what nothing else shows the place of
		if !held[l.of] || !held[l.on] {
			out = append(out, l)
		}
	}
	for _, j := range m.pl.Joints.Joints {
		for i, s := range j.Screws {
			if n, ok := named[fmt.Sprintf("%s/screw-%d", j.ID, i+1)]; ok {
				out = append(out, link{n, m.of[s.Through], s.Head})
			}
		}
	}
	for _, g := range m.pl.Joints.Plugs {
		if n, ok := named[g.ID]; ok {
			out = append(out, link{n, m.of[g.Member], g.Center})
		}
	}
	return out
}

// welded is a mesh whose triangles share the corners that lie in one place.
// Inner walls go: where two parts of a leaf were made one beside the other, rim
// has put a wall under the border of each.
func welded(t *triangles, f geom.Frame) *solid.Mesh {
	out := &solid.Mesh{Bounds: geom.EmptyBox3()}
	// Corners of one place may differ in their last digits. The lattice lies askew
	// of the numbers that sizes are made of.
	key := func(p geom.Vec3) [3]int64 {
		r := func(x float64) int64 { return int64(math.Round(x*1e5 + 0.1234)) }
		return [3]int64{r(p.X), r(p.Y), r(p.Z)}
	}
	at := map[[3]int64]int32{}
	index := make([]int32, len(t.Points))
	for i, p := range t.Points {
		n, ok := at[key(p)]
		if !ok {
			n = int32(len(out.Vertices))
			at[key(p)] = n
			q := f.Point(p)
			out.Vertices, out.Bounds = append(out.Vertices, q), out.Bounds.Add(q)
		}
		index[i] = n
	}
	wall := func(i int) ([2]int32, bool) { // its upper side, if rim made it
		if i+6 > len(t.Index) || len(t.Place) != len(t.Points) {
			return [2]int32{}, false
		}
		for k, d := range []uint32{0, 1, 2, 2, 1, 3} {
			if t.Index[i+k] != t.Index[i]+d {
				return [2]int32{}, false
			}
		}
		o := t.Index[i]
		return [2]int32{index[o], index[o+2]}, t.Place[o] == t.Place[o+1] && t.Place[o+2] == t.Place[o+3] // above and below
	}
	walls := map[[2]int32]bool{}
	for i := 0; i < len(t.Index); i += 3 {
		if side, ok := wall(i); ok {
			walls[side] = true
			i += 3
		}
	}
	for i := 0; i+2 < len(t.Index); i += 3 {
		if side, ok := wall(i); ok && walls[[2]int32{side[1], side[0]}] {
			i += 3
			continue
		}
		c := [3]int32{index[t.Index[i]], index[t.Index[i+1]], index[t.Index[i+2]]}
		if c[0] == c[1] || c[1] == c[2] || c[2] == c[0] {
			continue
		}
		p, q, r := out.Vertices[c[0]], out.Vertices[c[1]], out.Vertices[c[2]]
		n := q.Sub(p).Cross(r.Sub(p))
		out.Triangles, out.Tags = append(out.Triangles, c), append(out.Tags, solid.NoTag)
		out.Area, out.Volume = out.Area+n.Len()/2, out.Volume+p.Dot(n)/6
	}
	return out
}
