// Package scene makes what is looked at: a piece with its veneer and hardware
// as binary glTF 2.0, from a plan that is whole or still in the making, and how
// everything moves while it is taken apart.
//
// Coordinates are the world's, mm, Z up; the root node turns and scales them to
// the metres and Y up that glTF wants. Every other node has the extras of
// Extras. Nodes move with the node they hang on, and on top of that by their own
// Away: an assembly takes its parts along.
package scene

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/plan"
	"groundwork/internal/seam"
	"groundwork/internal/solid"
	"groundwork/internal/veneer"
)

// Extras are what a node tells beside its shape.
type Extras struct {
	// Kind is piece (the root), assembly (moves as one until it is taken apart
	// itself), body (what is printed as one), member, segment, leaf, dowel, screw,
	// insert, plug, seam or fixture.
	Kind      string      `json:"kind"`
	Member    string      `json:"member,omitempty"`
	Body      string      `json:"body,omitempty"`
	Load      string      `json:"load,omitempty"`      // print load of a segment
	Pattern   string      `json:"pattern,omitempty"`   // of a leaf
	Veneer    string      `json:"veneer,omitempty"`    // of a leaf
	Species   string      `json:"species,omitempty"`   // wood of a leaf
	Stack     float64     `json:"stack,omitempty"`     // thickness of a leaf, mm
	Sheet     string      `json:"sheet,omitempty"`     // of a leaf, where it is known
	SheetSize []float64   `json:"sheetSize,omitempty"` // mm across and along the grain
	Grain     *float64    `json:"grain,omitempty"`     // of a leaf: degrees from TEXCOORD_0's x axis to the grain; 90 on a sheet
	Joint     string      `json:"joint,omitempty"`     // of hardware
	Seam      string      `json:"seam,omitempty"`      // of a seam's dowels
	Fixture   string      `json:"fixture,omitempty"`   // that a part of it belongs to
	Step      string      `json:"step,omitempty"`      // that a fixture is for
	Clamping  string      `json:"clamping,omitempty"`  // in which a fixture lies so
	Away      *[3]float64 `json:"away,omitempty"`      // mm
	From      *float64    `json:"from,omitempty"`
	To        *float64    `json:"to,omitempty"`

	// Of the root.
	Box    []float64 `json:"box,omitempty"`    // mm: least, then greatest x, y, z of the piece
	Stages []Stage   `json:"stages,omitempty"` // of taking apart
	Stress *float64  `json:"stress,omitempty"` // MPa, greatest
	Moved  *float64  `json:"moved,omitempty"`  // mm, greatest
	Case   *int      `json:"case,omitempty"`   // load case, from 0
}

// Stage is a part of taking apart.
type Stage struct {
	What string  `json:"what"` // screws, members, glued, leaves or segments
	From float64 `json:"from"`
	To   float64 `json:"to"`
}

// Materials, for programs that draw the file as it is.
const (
	matCore = iota
	matVeneer
	matSteel
	matBrass
	matDowel
	matSeam
	matFixture
)

var materials = []material{
	{Name: "core", PBR: surface{[4]float32{0.82, 0.8, 0.76, 1}, 0, 0.8}},
	{Name: "veneer", PBR: surface{[4]float32{0.48, 0.31, 0.19, 1}, 0, 0.6}, DoubleSided: true},
	{Name: "steel", PBR: surface{[4]float32{0.55, 0.56, 0.58, 1}, 1, 0.4}},
	{Name: "brass", PBR: surface{[4]float32{0.78, 0.62, 0.3, 1}, 1, 0.4}},
	{Name: "dowel", PBR: surface{[4]float32{0.8, 0.66, 0.46, 1}, 0, 0.8}},
	{Name: "seam", PBR: surface{[4]float32{0.15, 0.15, 0.15, 1}, 0, 1}},
	{Name: "fixture", PBR: surface{[4]float32{0.36, 0.5, 0.62, 1}, 0, 0.8}},
}

// maker makes one scene.
type maker struct {
	g      *gltf
	pl     *plan.Plan
	bodies []seam.Body
	of     []int                                                                         // body of a member
	shared map[string]int                                                                // meshes of hardware by what they are of
	hangs  [][]int                                                                       // nodes that hang on a body, by body
	seen   func(body int, name string, e Extras, t *triangles, at geom.Frame, mo motion) // if not nil, called with leaves and hardware
	*apart
}

func newMaker(pl *plan.Plan) *maker {
	m := &maker{g: newGLTF(), pl: pl, bodies: seam.Bodies(pl.Layout.Cores, pl.Piece.PrintAsOne), shared: map[string]int{}}
	m.of = make([]int, len(pl.Piece.Members))
	for i, b := range m.bodies {
		for _, k := range b.Members {
			m.of[k] = i
		}
	}
	m.hangs = make([][]int, len(m.bodies))
	return m
}

// Geometry writes what is known of a piece before it is divided into
// segments: members' cores, leaves, screws, inserts, dowels and plugs. Of the
// plan it takes Piece, Shop, Joints, Layout and Patterns. Places on leaves are in
// the patterns' own coordinates.
func Geometry(ctx context.Context, k *solid.Kernel, pl *plan.Plan, w io.Writer) error {
	m := newMaker(pl)
	cores, err := m.cores(ctx, k, viewChord)
	if err != nil {
		return err
	}
	// Times are those of the piece in segments, so that the slider keeps its
	// meaning once these are known.
	m.apart = takeApart(m, cores, true)
	m.stages = m.stages[:len(m.stages)-1]
	for i, b := range m.bodies {
		for _, mi := range b.Members {
			e := Extras{Kind: "member", Member: pl.Piece.Members[mi].ID, Body: b.ID}
			mesh := m.g.mesh(e.Member, cores[mi], matCore)
			m.hang(i, nodeDoc{Name: e.Member, Mesh: &mesh}, e, motion{})
		}
	}
	m.leaves(false)
	m.hardware()
	return m.write(w, Extras{})
}

// cores are the members' cores with their pads, by member, in the world.
func (m *maker) cores(ctx context.Context, k *solid.Kernel, chord float64) ([]*triangles, error) {
	var shapes []solid.Shape
	var of []int
	for i, c := range m.pl.Layout.Cores {
		s, err := c.Body(chord)
		if err != nil {
			return nil, fmt.Errorf("scene: %s: %w", c.ID, err)
		}
		shapes, of = append(shapes, s.At(c.Place)), append(of, i)
	}
	for _, c := range m.pl.Layout.Cuts {
		if c.Add {
			shapes, of = append(shapes, c.Shape), append(of, c.Member)
		}
	}
	meshes, err := k.Meshes(ctx, shapes)
	if err != nil {
		return nil, fmt.Errorf("scene: members: %w", err)
	}
	out := make([]*triangles, len(m.pl.Layout.Cores))
	for i, s := range meshes {
		if t := shaded(s); out[of[i]] == nil {
			out[of[i]] = t
		} else {
			out[of[i]].add(t)
		}
	}
	return out, nil
}

// hang adds a node to a body.
func (m *maker) hang(body int, n nodeDoc, e Extras, mo motion) {
	m.hangs[body] = append(m.hangs[body], m.node(n, e, mo))
}

func (m *maker) node(n nodeDoc, e Extras, mo motion) int {
	if mo.Away != (geom.Vec3{}) {
		r := func(x float64) float64 {
			if x = math.Round(x*1e3) / 1e3; x == 0 {
				return 0 // not -0
			}
			return x
		}
		e.Away, e.From, e.To = &[3]float64{r(mo.Away.X), r(mo.Away.Y), r(mo.Away.Z)}, new(float64), new(float64)
		*e.From, *e.To = r(mo.From), r(mo.To)
	}
	n.Extras = e
	return m.g.node(n)
}

// leaves adds all leaves, with their places on the sheets if these are known.
func (m *maker) leaves(sheets bool) {
	lie := veneer.Lying(m.pl.Layout)
	for i, p := range m.pl.Patterns {
		e := Extras{Kind: "leaf", Pattern: p.ID, Veneer: p.Veneer, Grain: new(float64)}
		*e.Grain = math.Round(p.Grain*180/math.Pi*1e6) / 1e6
		if v, ok := m.pl.Shop.Veneer(p.Veneer); ok {
			e.Species, e.Stack = v.Species, v.Stack()
		}
		member := p.Member
		var t *triangles
		var mo motion
		if on, ok := lie(p); ok {
			t = leaf(m.pl, on, p)
			mo = m.lift(m.of[member], on, t)
		} else if k := slices.IndexFunc(m.pl.Joints.Plugs, func(g joint.Plug) bool { return g.ID == p.ID }); k >= 0 {
			g := m.pl.Joints.Plugs[k]
			t, member = plugLeaf(m.pl, p, g), g.Member
			mo = m.unplug(g)
			mo.Away = mo.Away.Scale(1.5) // it comes off the plug
		}
		if t == nil || len(t.Index) == 0 {
			continue
		}
		if sheets {
			if at := m.pl.Sheets.Placements[i]; at.Blank >= 0 {
				s := m.pl.Sheets.Sheets[m.pl.Sheets.Blanks[at.Blank].Sheet]
				e.Sheet, e.SheetSize, *e.Grain = s.ID, []float64{s.Size.X, s.Size.Y}, 90
				for j, q := range t.Place {
					t.Place[j] = onSheet(m.pl, i, q)
				}
			}
		}
		e.Member, e.Body = m.pl.Piece.Members[member].ID, m.bodies[m.of[member]].ID
		if m.seen != nil {
			m.seen(m.of[member], p.ID, e, t, geom.World(), mo)
		}
		mesh := m.g.mesh(p.ID, t, matVeneer)
		m.hang(m.of[member], nodeDoc{Name: p.ID, Mesh: &mesh}, e, mo)
	}
}

// onSheet is the place on its sheet, x across the grain and y along it, of a
// point of a pattern, both seen from the show side. Blanks of which the grain
// runs along the bed's x have been turned a quarter to lie there. Cutting them
// face down mirrors the drawing, not the sheet.
func onSheet(pl *plan.Plan, pattern int, q geom.Vec2) geom.Vec2 {
	at := pl.Sheets.Placements[pattern]
	b := pl.Sheets.Blanks[at.Blank]
	q = at.Point(q)
	if b.Grain == 0 {
		q = geom.V2(b.Size.Y-q.Y, q.X)
	}
	return q.Add(b.At)
}

// hardware adds screws, inserts, dowels and plugs of joints.
func (m *maker) hardware() {
	id := func(mi int) string { return m.pl.Piece.Members[mi].ID }
	side := map[string][2]int{}
	for _, c := range m.pl.Joints.Contacts {
		side[c.ID] = [2]int{c.A.Member, c.B.Member}
	}
	for _, c := range m.pl.Joints.Rounds {
		side[c.ID] = [2]int{c.A.Member, c.B.Member}
	}
	for _, j := range m.pl.Joints.Joints {
		for i, s := range j.Screws {
			m.place(m.of[s.Through], fmt.Sprintf("%s/screw-%d", j.ID, i+1), Extras{Kind: "screw", Member: id(s.Through), Joint: j.ID},
				fmt.Sprint("screw ", s.Size, s.Length, s.Washer), func() *triangles { return screw(s) }, matSteel, geom.FrameFromZ(s.Head, s.Axis), m.drawBack(s))
			for _, in := range m.pl.Shop.Inserts {
				if in.Size != s.Insert {
					continue
				}
				bore := standards[s.Size].diameter
				if bore == 0 || bore >= in.Outer {
					bore = in.Outer * 0.7
				}
				washed := 0.0
				if s.Washer {
					washed = standards[s.Size].washed
				}
				at := s.Head.Add(s.Axis.Scale(s.Grip - washed + s.Sunk))
				m.place(m.of[s.Into], fmt.Sprintf("%s/insert-%d", j.ID, i+1), Extras{Kind: "insert", Member: id(s.Into), Joint: j.ID},
					fmt.Sprint("insert ", in.Size), func() *triangles { return insert(in.Outer, bore, in.Length) }, matBrass, geom.FrameFromZ(at, s.Axis), motion{})
				break
			}
		}
		for i, d := range j.Dowels {
			at := side[j.Contact][0]
			m.place(m.of[at], fmt.Sprintf("%s/dowel-%d", j.ID, i+1), Extras{Kind: "dowel", Member: id(at), Joint: j.ID},
				fmt.Sprint("dowel ", d.Diameter, d.Length), func() *triangles { return dowel(d.Diameter, d.Length) }, matDowel, geom.FrameFromZ(d.Center, d.Axis), motion{})
		}
	}
	for _, g := range m.pl.Joints.Plugs {
		name := g.ID
		m.place(m.of[g.Member], name, Extras{Kind: "plug", Member: id(g.Member)},
			fmt.Sprint("plug ", g.Diameter, g.Depth), func() *triangles { return plug(g.Diameter, g.Depth) }, matCore, plugFace(m.pl, g), m.unplug(g))
	}
}

// place hangs a piece of hardware on a body; things that are alike share a mesh.
func (m *maker) place(body int, name string, e Extras, what string, make func() *triangles, material int, at geom.Frame, mo motion) {
	mesh, ok := m.shared[what]
	if !ok {
		mesh = m.g.mesh(what, make(), material)
		m.shared[what] = mesh
	}
	e.Body = m.bodies[body].ID
	if m.seen != nil {
		m.seen(body, name, e, make(), at, mo)
	}
	n := nodeDoc{Name: name, Mesh: &mesh, Translation: &[3]float32{float32(at.Origin.X), float32(at.Origin.Y), float32(at.Origin.Z)}, Rotation: quaternion(at)}
	m.hang(body, n, e, mo)
}

// quaternion is the turn of a frame, x, y, z, w (Shepperd, Quaternion from
// rotation matrix, 1978).
func quaternion(f geom.Frame) *[4]float32 {
	// Columns of the matrix are the frame's axes.
	xx, yy, zz := f.X.X, f.Y.Y, f.Z.Z
	q := [4]float64{1 + xx - yy - zz, 1 - xx + yy - zz, 1 - xx - yy + zz, 1 + xx + yy + zz}
	best := 3
	for i, v := range q {
		if v > q[best]+1e-9 {
			best = i
		}
	}
	a, b, c := f.Y.Z-f.Z.Y, f.Z.X-f.X.Z, f.X.Y-f.Y.X
	d, e, h := f.X.Y+f.Y.X, f.Y.Z+f.Z.Y, f.Z.X+f.X.Z
	t := q[best]
	switch best {
	case 0:
		q = [4]float64{t, d, h, a}
	case 1:
		q = [4]float64{d, t, e, b}
	case 2:
		q = [4]float64{h, e, t, c}
	default:
		q = [4]float64{a, b, c, t}
	}
	l := math.Sqrt(q[0]*q[0] + q[1]*q[1] + q[2]*q[2] + q[3]*q[3])
	var out [4]float32
	for i := range q {
		out[i] = float32(q[i]/l) + 0 // not -0
	}
	return &out
}

// write hangs the bodies into the assemblies and writes the file. e is what the
// root tells beside the usual.
func (m *maker) write(w io.Writer, e Extras) error {
	var build func(a *assembly) int
	build = func(a *assembly) int {
		if a.body >= 0 {
			b := m.bodies[a.body]
			if len(m.hangs[a.body]) == 1 && a.motion == (motion{}) { // nothing to hold together
				return m.hangs[a.body][0]
			}
			return m.node(nodeDoc{Name: b.ID, Children: m.hangs[a.body]}, Extras{Kind: "body", Body: b.ID}, a.motion)
		}
		var children []int
		var names []string
		for _, p := range a.parts {
			children = append(children, build(p))
		}
		for _, b := range a.bodies() {
			names = append(names, m.bodies[b].ID)
		}
		return m.node(nodeDoc{Name: strings.Join(names, " + "), Children: children}, Extras{Kind: "assembly"}, a.motion)
	}
	e.Kind, e.Box, e.Stages = "piece", box(m.size), m.stages
	whole := m.whole
	if m.sunk > 0 { // it rises so that nothing goes below the floor
		whole = &assembly{body: -1, parts: []*assembly{whole}, motion: m.during(leavesOff, geom.V3(0, 0, m.sunk))}
	}
	root := m.g.node(nodeDoc{
		Name: m.pl.Piece.Name, Children: []int{build(whole)}, Extras: e,
		Matrix: []float64{0.001, 0, 0, 0, 0, 0, -0.001, 0, 0, 0.001, 0, 0, 0, 0, 0, 1}, // columns: where x, y and z go
	})
	return m.g.write(w, root)
}

func (a *assembly) bodies() []int {
	if a.body >= 0 {
		return []int{a.body}
	}
	var out []int
	for _, p := range a.parts {
		out = append(out, p.bodies()...)
	}
	slices.Sort(out)
	return out
}

func box(b geom.Box3) []float64 {
	r := func(x float64) float64 { return math.Round(x*1e3) / 1e3 }
	return []float64{r(b.Min.X), r(b.Min.Y), r(b.Min.Z), r(b.Max.X), r(b.Max.Y), r(b.Max.Z)}
}
