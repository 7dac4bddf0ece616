package scene

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"io/fs"
	"math"
	"sync"
	"testing"

	"groundwork/examples"
	"groundwork/internal/core"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/solid"
	"groundwork/internal/veneer"
)

var kernel = sync.OnceValues(func() (*solid.Kernel, error) { return solid.New(solid.Options{}) })

var (
	plansMu sync.Mutex
	plans   = map[string]*plan.Plan{}
)

// imported is the name of the piece made of solids from files.
const imported = "imported"

// pieces are the examples, and a piece made of solids from files.
func pieces() []string { return append(examples.Pieces(), imported) }

// planned is a piece's plan, made once and shared by the tests.
func planned(t testing.TB, name string) (*solid.Kernel, *plan.Plan) {
	t.Helper()
	k, err := kernel()
	if err != nil {
		t.Fatal(err)
	}
	plansMu.Lock()
	defer plansMu.Unlock()
	if p, ok := plans[name]; ok {
		return k, p
	}
	var doc *piece.Document
	if name == imported {
		doc = solids(t, k)
	} else {
		data, err := examples.Files.ReadFile(name + ".yaml")
		if err != nil {
			t.Fatal(err)
		}
		if doc, err = piece.Parse(name+".yaml", data); err != nil {
			t.Fatal(err)
		}
	}
	pc, _, err := doc.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := examples.Shop()
	if err != nil {
		t.Fatal(err)
	}
	p, err := plan.Make(context.Background(), k, pc, s, plan.Options{Core: core.Options{Labels: true, Solids: true}})
	if err != nil {
		t.Fatal(err)
	}
	plans[name] = p
	return k, p
}

// solids is a piece of a foot that is oval below and round above, which unrolls
// without being a cylinder or a cone, and a slab.
func solids(t testing.TB, k *solid.Kernel) *piece.Document {
	oval := func(a, b, z float64) solid.Shape {
		var l solid.Loop
		const n = 200
		for i := range n {
			sn, cs := math.Sincos(2 * math.Pi * float64(i) / n)
			l.Points, l.Tags = append(l.Points, geom.V2(a*cs, b*sn)), append(l.Tags, 0)
		}
		return solid.Extrude([]solid.Loop{l}, z, z+0.01, 0, 0)
	}
	files := map[string]solid.Shape{
		"foot.stl": solid.Hull(oval(70, 50, 0), oval(40, 40, 199.99)),
		"slab.stl": solid.Box(geom.Box3{Min: geom.V3(-120, -90, 200), Max: geom.V3(120, 90, 218)}, solid.NoTag),
	}
	d, err := piece.Parse("imported.yaml", []byte(`groundwork: 1
name: imported
title: Imported
use: table
sizes: core
veneer: {use: walnut}
members:
  foot:
    solid: {file: foot.stl, unit: mm, as: solid}
  slab:
    solid: {file: slab.stl, unit: mm}
joints:
  - {between: [foot, slab], kind: glued}
`))
	if err != nil {
		t.Fatal(err)
	}
	d.Open = func(name string) ([]byte, error) {
		s, ok := files[name]
		if !ok {
			return nil, fs.ErrNotExist
		}
		m, err := k.Export(context.Background(), s, geom.World())
		if err != nil {
			return nil, err
		}
		var b bytes.Buffer
		b.Write(make([]byte, 80))
		binary.Write(&b, binary.LittleEndian, uint32(len(m.Triangles)))
		for _, t := range m.Triangles {
			b.Write(make([]byte, 12))
			for _, v := range t {
				p := m.Vertices[v]
				binary.Write(&b, binary.LittleEndian, [3]float32{float32(p.X), float32(p.Y), float32(p.Z)})
			}
			b.Write(make([]byte, 2))
		}
		return b.Bytes(), nil
	}
	return d
}

func geometry(t testing.TB, name string) *decoded {
	t.Helper()
	k, pl := planned(t, name)
	sofar := &plan.Plan{Piece: pl.Piece, Shop: pl.Shop, Joints: pl.Joints, Layout: pl.Layout, Patterns: pl.Patterns}
	var b bytes.Buffer
	if err := Geometry(context.Background(), k, sofar, &b); err != nil {
		t.Fatal(err)
	}
	return decode(t, b.Bytes())
}

func whole(t testing.TB, name string) *decoded {
	t.Helper()
	k, pl := planned(t, name)
	var b bytes.Buffer
	if err := Whole(context.Background(), k, pl, &b); err != nil {
		t.Fatal(err)
	}
	return decode(t, b.Bytes())
}

// Everything that plan.json names is there once, and nothing else.
func TestEveryPartOnce(t *testing.T) {
	for _, name := range pieces() {
		t.Run(name, func(t *testing.T) {
			_, pl := planned(t, name)
			want := map[string]int{}
			add := func(kind, id string) { want[kind+" "+id]++ }
			for _, p := range pl.Patterns {
				add("leaf", p.ID)
			}
			for _, j := range pl.Joints.Joints {
				for i := range j.Screws {
					add("screw", fmt.Sprintf("%s/screw-%d", j.ID, i+1))
					add("insert", fmt.Sprintf("%s/insert-%d", j.ID, i+1))
				}
				for i := range j.Dowels {
					add("dowel", fmt.Sprintf("%s/dowel-%d", j.ID, i+1))
				}
			}
			for _, g := range pl.Joints.Plugs {
				add("plug", g.ID)
			}
			check := func(d *decoded) {
				t.Helper()
				got := map[string]int{}
				for _, n := range d.nodes {
					if n.points != nil {
						got[n.kind+" "+n.name]++
					}
				}
				for k, n := range want {
					if got[k] != n {
						t.Errorf("%s: %d times, want %d", k, got[k], n)
					}
				}
				for k := range got {
					if want[k] == 0 {
						t.Errorf("%s is not in the plan", k)
					}
				}
			}
			for _, m := range pl.Piece.Members {
				add("member", m.ID)
			}
			check(geometry(t, name))
			for _, m := range pl.Piece.Members {
				delete(want, "member "+m.ID)
			}
			for _, s := range pl.Cores.Segments {
				add("segment", s.ID)
			}
			for _, s := range pl.Seams.Seams {
				add("seam", s.ID)
				for i := range s.Dowels {
					add("dowel", fmt.Sprintf("%s/dowel-%d", s.ID, i+1))
				}
			}
			check(whole(t, name))
		})
	}
}

// The area of a leaf on the piece is that of its pattern: the sheet bends and
// does not stretch. Its show side lies above its neutral surface, so the sheet
// is looked at there.
func TestLeavesKeepTheirArea(t *testing.T) {
	for _, name := range pieces() {
		_, pl := planned(t, name)
		lie := veneer.Lying(pl.Layout)
		for _, p := range pl.Patterns {
			on, ok := lie(p)
			if !ok {
				continue
			}
			neutral := pl.Layout.Coverings[p.Member][p.Surface].Neutral
			m := laid(on, p, func(geom.Vec2) float64 { return neutral }, nil)
			var flat, round, outward, worst float64
			for i := 0; i < len(m.Index); i += 3 {
				a, b, c := m.Index[i], m.Index[i+1], m.Index[i+2]
				u := m.Place[b].Sub(m.Place[a]).Cross(m.Place[c].Sub(m.Place[a])) / 2
				n := m.Points[b].Sub(m.Points[a]).Cross(m.Points[c].Sub(m.Points[a])).Scale(0.5)
				if u < -1e-9 {
					t.Fatalf("%s: %s: a triangle is turned over in its place", name, p.ID)
				}
				flat += u
				round += n.Len()
				outward += n.Dot(m.Normals[a])
				worst += math.Abs(n.Len() - u)
			}
			if math.Abs(flat-p.NetArea) > 0.002*p.NetArea+1 || rel(round, p.NetArea) > 0.01 || worst > 0.01*p.NetArea || outward < 0.98*round {
				t.Errorf("%s: %s (%s): net %.1f mm², in the flat %.1f, on the piece %.1f, of that outward %.1f, triangles differ by %.1f",
					name, p.ID, pl.Layout.Cores[p.Member].Surfaces(0)[p.Surface].Kind, p.NetArea, flat, round, outward, worst)
			}
		}
	}
}

// Places on the sheet are true to scale, lie on the sheet within the outline as
// cut, do not overlap, and the grain runs as the layout has it.
func TestPlacesOnSheets(t *testing.T) {
	for _, name := range pieces() {
		t.Run(name, func(t *testing.T) {
			_, pl := planned(t, name)
			d := whole(t, name)
			for i, p := range pl.Patterns {
				var n *decodedNode
				for _, l := range d.of("leaf") {
					if l.name == p.ID {
						n = l
					}
				}
				at := pl.Sheets.Placements[i]
				if at.Blank < 0 {
					continue
				}
				sheet := pl.Sheets.Sheets[pl.Sheets.Blanks[at.Blank].Sheet]
				if n.extras["sheet"] != sheet.ID {
					t.Errorf("%s lies on %v, want %s", p.ID, n.extras["sheet"], sheet.ID)
				}
				var area, placed float64
				for k := 0; k < len(n.index); k += 3 {
					a, b, c := n.index[k], n.index[k+1], n.index[k+2]
					u := n.place[b].Sub(n.place[a]).Cross(n.place[c].Sub(n.place[a])) / 2
					if u < -1e-3 {
						t.Fatalf("%s is mirrored on its sheet", p.ID)
					}
					if math.Abs(u) < 1e-6 {
						continue // the rim
					}
					placed += u
					area += n.points[b].Sub(n.points[a]).Cross(n.points[c].Sub(n.points[a])).Len() / 2
				}
				if math.Abs(placed-p.NetArea) > 0.002*p.NetArea+1 {
					t.Errorf("%s takes %.1f mm² of its sheet, its net area is %.1f", p.ID, placed, p.NetArea)
				}
				// What shows is farther out than what keeps its length.
				bend := 0.0
				if p.Member >= 0 {
					cov := pl.Layout.Coverings[p.Member][p.Surface]
					bend = (cov.Stack*2 - cov.Neutral) / pl.Layout.Cores[p.Member].Surfaces(0)[p.Surface].MinRadius().Radius
				}
				if r := area / p.NetArea; r < 0.99-bend || r > 1.01+bend {
					t.Errorf("%s shows %.1f mm², its net area is %.1f", p.ID, area, p.NetArea)
				}
				for _, q := range n.place {
					if q.X < -0.01 || q.Y < -0.01 || q.X > sheet.Size.X+0.01 || q.Y > sheet.Size.Y+0.01 {
						t.Fatalf("%s reaches %v on a sheet of %v", p.ID, q, sheet.Size)
					}
				}
				// One millimetre along the pattern's grain is one along the sheet's Y, or back.
				g := onSheet(pl, i, geom.V2(math.Cos(p.Grain), math.Sin(p.Grain))).Sub(onSheet(pl, i, geom.Vec2{}))
				if math.Abs(math.Abs(g.Y)-1) > 0.01 && pl.Sheets.Blanks[at.Blank].ByKnife == false {
					t.Errorf("the grain of %s runs along %v of its sheet", p.ID, g)
				}
			}
		})
	}
}

// Members and segments have the volumes that the plan tells, as far as the
// coarser chord lets them.
func TestVolumes(t *testing.T) {
	for _, name := range pieces() {
		t.Run(name, func(t *testing.T) {
			k, pl := planned(t, name)
			for i, n := range geometry(t, name).of("member") {
				var want float64
				mi := -1
				for j, m := range pl.Piece.Members {
					if m.ID == n.name {
						mi = j
					}
				}
				shape, err := pl.Layout.Cores[mi].Body(viewChord)
				if err != nil {
					t.Fatal(err)
				}
				shapes := []solid.Shape{shape}
				for _, c := range pl.Layout.Cuts {
					if c.Add && c.Member == mi {
						shapes = append(shapes, c.Shape)
					}
				}
				for _, s := range shapes {
					m, err := k.Measure(context.Background(), s)
					if err != nil {
						t.Fatal(err)
					}
					want += m.Volume
				}
				if rel(n.volume(), want) > 1e-4 {
					t.Errorf("%d %s: %.1f mm³, want %.1f", i, n.name, n.volume(), want)
				}
				fine, err := pl.Layout.Cores[mi].Body(0)
				if err != nil {
					t.Fatal(err)
				}
				m, err := k.Measure(context.Background(), fine)
				if err != nil {
					t.Fatal(err)
				}
				if rel(n.volume()-want+m.Volume, want) > 0.02 {
					t.Errorf("%s: %.1f mm³, truly %.1f", n.name, n.volume(), m.Volume)
				}
			}
			volume := map[string]float64{}
			for _, s := range pl.Cores.Segments {
				volume[s.ID] = s.Volume
			}
			for _, n := range whole(t, name).of("segment") {
				if rel(n.volume(), volume[n.name]) > 0.02 {
					t.Errorf("%s: %.1f mm³, want %.1f", n.name, n.volume(), volume[n.name])
				}
			}
		})
	}
}

// The same plan makes the same bytes.
func TestSameBytes(t *testing.T) {
	k, pl := planned(t, "otter-stool")
	var first []byte
	for i := range 3 {
		var b bytes.Buffer
		if err := Whole(context.Background(), k, pl, &b); err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			first = b.Bytes()
		} else if !bytes.Equal(first, b.Bytes()) {
			t.Fatal("other bytes")
		}
	}
}

// A file is small enough to be sent at every step of a slider.
func TestSizes(t *testing.T) {
	for _, name := range pieces() {
		g, w := geometry(t, name).size, whole(t, name).size
		t.Logf("%s: geometry %d kB, whole %d kB", name, g/1000, w/1000)
		if g > 1e6 || w > 4e6 {
			t.Errorf("%s: geometry %d bytes, whole %d", name, g, w)
		}
	}
}

func rel(a, b float64) float64 { return math.Abs(a-b) / b }

// TestPlugsAreFlush: the leaf on a plug lies in the finished surface, over the
// middle of its hole. Sizes of the examples are finished sizes.
func TestPlugsAreFlush(t *testing.T) {
	const name = "heron-side-table"
	d := geometry(t, name)
	_, pl := planned(t, name)
	if len(pl.Joints.Plugs) == 0 {
		t.Fatal("no plugs to look at")
	}
	for _, g := range pl.Joints.Plugs {
		found := false
		for _, n := range d.of("leaf") {
			if n.extras["pattern"] != g.ID {
				continue
			}
			found = true
			box := geom.EmptyBox3()
			top := math.Inf(-1)
			for _, p := range n.points {
				q := n.at(p, 0)
				box = box.Add(q)
				top = max(top, g.Axis.Dot(q.Sub(g.Center)))
			}
			off := box.Min.Lerp(box.Max, 0.5).Sub(g.Center)
			if across := off.Sub(g.Axis.Scale(off.Dot(g.Axis))).Len(); math.Abs(top) > 1e-3 || across > 1e-2 {
				t.Errorf("%s: its face lies %.3f mm above the surface and %.3f mm off the middle", g.ID, top, across)
			}
		}
		if !found && pl.Layout.Coverings[g.Member][g.Surface].Stack > 0 {
			t.Errorf("%s has no leaf", g.ID)
		}
	}
}
