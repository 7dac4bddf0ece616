package scene

import (
	"context"
	"fmt"

	"groundwork/internal/core"
	"groundwork/internal/geom"
	"groundwork/internal/plan"
	"groundwork/internal/seam"
	"groundwork/internal/solid"
)

// Solid is a thing that a piece is made of, where it is when the piece is
// together, and how it moves while the piece is taken apart.
type Solid struct {
	ID     string
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
		named[name] = len(out.Solids)
		w := append(ways[body][:len(ways[body]):len(ways[body])], way(mo)...)
		out.Solids = append(out.Solids, Solid{ID: name, Kind: e.Kind, Member: e.Member, Body: e.Body, Joint: e.Joint, Mesh: welded(t, at), Ways: w})
	}
	if leaves {
		m.leaves(false)
		if m.sunk > 0 { // the piece rises so that no sleeve goes below the floor
			rise := way(m.during(leavesOff, geom.V3(0, 0, m.sunk)))
			for i, s := range out.Solids {
				out.Solids[i].Ways = append(rise[:1:1], s.Ways...)
			}
		}
	}
	m.hardware()
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
	joint := map[string]int{}
	for i, j := range m.pl.Joints.Joints {
		joint[j.Contact] = i
	}
	meet := func(id string, a, b int, middle geom.Vec3) {
		of, on := m.of[b], m.of[a]
		if of == on {
			return
		}
		j, ok := joint[id]
		if !ok || len(m.pl.Joints.Joints[j].Screws)+len(m.pl.Joints.Joints[j].Dowels) == 0 {
			bare = append(bare, link{of, on, middle})
			return
		}
		held[of], held[on] = true, true
		for _, s := range m.pl.Joints.Joints[j].Screws {
			out = append(out, link{of, on, s.Head.Add(s.Axis.Scale(s.Grip))})
		}
		for _, d := range m.pl.Joints.Joints[j].Dowels {
			out = append(out, link{of, on, d.Center})
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
func welded(t *triangles, f geom.Frame) *solid.Mesh {
	out := &solid.Mesh{Bounds: geom.EmptyBox3()}
	at := map[geom.Vec3]int32{}
	index := func(p geom.Vec3) int32 {
		n, ok := at[p]
		if !ok {
			n = int32(len(out.Vertices))
			at[p] = n
			q := f.Point(p)
			out.Vertices, out.Bounds = append(out.Vertices, q), out.Bounds.Add(q)
		}
		return n
	}
	for i := 0; i+2 < len(t.Index); i += 3 {
		c := [3]int32{index(t.Points[t.Index[i]]), index(t.Points[t.Index[i+1]]), index(t.Points[t.Index[i+2]])}
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
