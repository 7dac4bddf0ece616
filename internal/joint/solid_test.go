package joint

import (
	"context"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/mend"
	"groundwork/internal/mesh"
	"groundwork/internal/piece"
	"groundwork/internal/solid"
	"groundwork/internal/surface"
)

// solidMember is a body as it would be brought in: a mesh whose faces are found.
func solidMember(t testing.TB, id string, body solid.Shape, at geom.Frame) piece.Member {
	t.Helper()
	mesh, err := kernel.Mesh(context.Background(), body)
	if err != nil {
		t.Fatal(err)
	}
	s, err := surface.Recognise(mesh.Vertices, mesh.Triangles, surface.Options{})
	if err != nil {
		t.Fatal(err)
	}
	m := board(id, 1, at, geom.V2(0, 0), geom.V2(1, 0), geom.V2(0, 1))
	m.Board, m.Solid = nil, piece.NewSolid(s)
	return m
}

// asSolids is a piece with its members, or some of them, brought in as meshes.
func asSolids(t testing.TB, p *piece.Piece, which ...string) *piece.Piece {
	t.Helper()
	q := *p
	q.Members = slices.Clone(p.Members)
	for i, m := range q.Members {
		if len(which) > 0 && !slices.Contains(which, m.Name) {
			continue
		}
		body, err := m.Body(0.005)
		if err != nil {
			t.Fatal(err)
		}
		s := solidMember(t, m.ID, body, m.Place)
		s.Name = m.Name
		q.Members[i] = s
	}
	return &q
}

func boxAt(w, d, h float64, c geom.Vec3) solid.Shape {
	r := geom.V3(w/2, d/2, h/2)
	return solid.Box(geom.Box3{Min: c.Sub(r), Max: c.Add(r)}, solid.NoTag)
}

func bar(base, axis geom.Vec3, r, long float64) solid.Shape {
	return solid.Cylinder(base, axis, r, long, solid.NoTag, solid.CylinderOptions{Facets: 96})
}

// TestSolidsJoinLikeBoards: the same pieces, given as boards and as meshes,
// have the same contacts and the same bores.
func TestSolidsJoinLikeBoards(t *testing.T) {
	wide := knock("leg", "rail")
	skew := pair(60, 50, 30, 80, wide)
	skew.Members[1].Place.Origin.Y += 4
	half := &piece.Piece{Name: "half", Sizes: piece.CoreSize, Joints: []piece.JointRule{knock("a", "b")}, Members: []piece.Member{
		block("a", 300, 100, 22, geom.V3(0, 0, 11)), block("b", 180, 60, 40, geom.V3(50, 7, -20))}}
	glue := pair(60, 50, 30, 80, glued("leg", "rail"))
	for name, p := range map[string]*piece.Piece{"pair": skew, "half": half, "glued": glue} {
		for _, sizes := range []piece.Sizes{piece.CoreSize, piece.Finished} {
			for _, which := range [][]string{nil, {p.Members[0].Name}, {p.Members[1].Name}} {
				q := *p
				q.Sizes = sizes
				a, b := place(t, &q, bench()), place(t, asSolids(t, &q, which...), bench())
				if len(a.Contacts) != len(b.Contacts) || len(a.Bores()) != len(b.Bores()) || len(a.Bores()) == 0 {
					t.Errorf("%s, %s, %v: %d contacts and %d bores as boards, %d and %d as solids: %v", name, sizes, which, len(a.Contacts), len(a.Bores()), len(b.Contacts), len(b.Bores()), b.Findings)
					continue
				}
				for i, c := range a.Contacts {
					if d := b.Contacts[i]; c.ID != d.ID || !near(c.Area, d.Area, 1e-6*c.Area) || c.Frame.Origin.Dist(d.Frame.Origin) > 1e-6 || c.Frame.Z.Dist(d.Frame.Z) > 1e-9 || !near(c.A.Covered, d.A.Covered, 1e-6) || !near(c.B.Covered, d.B.Covered, 1e-6) {
						t.Errorf("%s, %s, %v: contact %+v, as boards %+v", name, sizes, which, d, c)
					}
				}
				for _, x := range a.Bores() {
					if !slices.ContainsFunc(b.Bores(), func(y Bore) bool {
						return x.Member == y.Member && x.Purpose == y.Purpose && x.Mouth.Dist(y.Mouth) < 1e-6 && x.Axis.Dist(y.Axis) < 1e-9 && near(x.Depth, y.Depth, 1e-6) && x.Diameter == y.Diameter
					}) {
						t.Errorf("%s, %s, %v: solids lack the bore %+v", name, sizes, which, x)
					}
				}
			}
		}
	}
}

// TestSolidTable: a whole table as meshes.
func TestSolidTable(t *testing.T) {
	a, p := place(t, table(), bench()), asSolids(t, table())
	r := place(t, p, bench())
	if len(r.Contacts) != 16 || len(stops(r)) > 0 || len(r.Bores()) != len(a.Bores()) {
		t.Errorf("%d contacts, %d bores, as boards %d: %v", len(r.Contacts), len(r.Bores()), len(a.Bores()), stops(r))
	}
}

// TestDado: a shelf let into a groove of a side touches its floor and both its
// cheeks; the two lands beside the groove are faces in one plane.
func TestDado(t *testing.T) {
	side := solidMember(t, "side", solid.Difference(boxAt(200, 30, 400, geom.V3(0, 0, 0)), boxAt(300, 10, 24, geom.V3(0, -15, 0))), geom.World())
	for _, tc := range []struct {
		name  string
		other piece.Member
		areas []float64
	}{
		{"shelf in the groove", block("shelf", 200, 120, 24, geom.V3(0, -10-60, 0)), []float64{200 * 24, 200 * 5, 200 * 5}},
		{"board over the groove", block("board", 100, 18, 300, geom.V3(0, -15-9, 0)), []float64{100 * 138, 100 * 138}},
	} {
		for _, other := range []piece.Member{tc.other, asSolids(t, &piece.Piece{Members: []piece.Member{tc.other}}).Members[0]} {
			r := found(t, side, other)
			var areas []float64
			for i, c := range r.Contacts {
				areas = append(areas, math.Round(c.Area*1e6)/1e6)
				if want := []string{"", ".2", ".3"}[i]; c.ID != "side:"+tc.other.ID+want {
					t.Errorf("%s: ID %s", tc.name, c.ID)
				}
				// The groove's floor is covered whole by the shelf's end, and the other way about.
				if tc.areas[0] == c.Area && tc.name == "shelf in the groove" && (!near(c.A.Covered, 1, 1e-6) || !near(c.B.Covered, 1, 1e-6)) {
					t.Errorf("%s: %+v", tc.name, c)
				}
			}
			slices.SortFunc(areas, func(a, b float64) int { return int(b - a) })
			if fmt.Sprint(areas) != fmt.Sprint(tc.areas) || len(coded(r, "members-overlap")) > 0 {
				t.Errorf("%s: areas %v, want %v: %v", tc.name, areas, tc.areas, r.Findings)
			}
		}
	}
}

// TestSolidSockets: bores that a board cannot have.
func TestSolidSockets(t *testing.T) {
	up := geom.V3(0, 0, 1)
	x := geom.V3(1, 0, 0)
	y := geom.V3(0, 1, 0)
	seat := func(r, deep float64) solid.Shape {
		return solid.Difference(boxAt(120, 110, 44, geom.V3(0, 0, 22)), bar(geom.V3(0, 0, -1), up, r, deep+1))
	}
	leg := func(r, long float64) solid.Shape {
		return solid.Union(bar(geom.V3(0, 0, -300), up, 20, 300), bar(geom.V3(0, 0, -1), up, r, long+1))
	}
	// A round leg with two sockets at right angles, one above the other.
	drilled := func(thick, apart float64) solid.Shape {
		return solid.Difference(bar(geom.V3(0, 0, -200), up, thick, 400), bar(geom.V3(0, 0, -apart/2), x, 9, 40), bar(geom.V3(0, 0, apart/2), y, 9, 40))
	}
	rail := func(axis geom.Vec3, z float64) solid.Shape {
		return bar(geom.V3(0, 0, z).Add(axis.Scale(10)), axis, 9, 300)
	}
	coarse := func(z, long float64) solid.Shape { // 0.1 mm from the circle between corners
		return solid.Cylinder(geom.V3(0, 0, z), up, 12.5, long, solid.NoTag, solid.CylinderOptions{Facets: 24})
	}
	glue := glued("", "")
	for _, tc := range []struct {
		name    string
		rule    piece.JointRule
		members map[string]solid.Shape
		rounds  int
		flats   int
		screwed int // joints with a screw
		stops   []string
		notes   []string
	}{
		{"blind, tenon to the floor", knock("", ""), map[string]solid.Shape{"a-seat": seat(12.5, 30), "b-leg": leg(12.5, 30)}, 1, 2, 1, nil, []string{"held-already", "held-already"}},
		{"blind, room below the end", knock("", ""), map[string]solid.Shape{"a-seat": seat(12.6, 34), "b-leg": leg(12.5, 30)}, 1, 1, 1, nil, []string{"held-already"}},
		{"blind, glued", glue, map[string]solid.Shape{"a-seat": seat(12.6, 34), "b-leg": leg(12.5, 30)}, 1, 1, 0, nil, []string{"blind-socket"}},
		{"through", knock("", ""), map[string]solid.Shape{"a-seat": seat(12.6, 50), "b-leg": leg(12.5, 44)}, 1, 1, 1, nil, []string{"held-already"}},
		{"coarse facets", knock("", ""), map[string]solid.Shape{"a-seat": solid.Difference(boxAt(120, 110, 44, geom.V3(0, 0, 22)), coarse(-1, 60)), "b-leg": coarse(-200, 244).At(geom.FrameFromXZ(geom.Vec3{}, geom.V3(math.Cos(math.Pi/24), math.Sin(math.Pi/24), 0), up))}, 1, 0, 1, nil, nil},
		{"too thin", knock("", ""), map[string]solid.Shape{"a-seat": seat(6, 34), "b-leg": bar(geom.V3(0, 0, -300), up, 6, 330)}, 1, 0, 0, []string{tooThin}, nil},
		{"two at right angles", knock("*", "*"), map[string]solid.Shape{"a-leg": drilled(35, 60), "b-rail": rail(x, -30), "c-rail": rail(y, 30)}, 2, 0, 2, nil, nil},
		{"two in a thin leg", knock("*", "*"), map[string]solid.Shape{"a-leg": drilled(22, 60), "b-rail": rail(x, -30), "c-rail": rail(y, 30)}, 2, 0, 0, []string{tooSmall, tooSmall}, nil},
		{"two that meet", knock("*", "*"), map[string]solid.Shape{"a-leg": drilled(35, 0), "b-rail": rail(x, 0), "c-rail": rail(y, 0)}, 2, 0, 2, nil, nil},
	} {
		var ids []string
		for id := range tc.members {
			ids = append(ids, id)
		}
		slices.Sort(ids)
		p := &piece.Piece{Name: "sockets", Sizes: piece.CoreSize, Joints: []piece.JointRule{tc.rule}}
		p.Joints[0].Between = [2]string{"*", "*"}
		for _, id := range ids {
			p.Members = append(p.Members, solidMember(t, id, tc.members[id], geom.World()))
		}
		r := place(t, p, bench())
		boresOpen(t, tc.name, p, r)
		turned := place(t, moved(p, geom.FrameFromXZ(geom.V3(300, -70, 90), geom.V3(1, 2, 0.5), geom.V3(-0.3, 0.2, 2))), bench())
		if len(turned.Bores()) != len(r.Bores()) || len(turned.Rounds) != len(r.Rounds) {
			t.Errorf("%s: turned it has %d bores, %d round contacts; %d, %d as it was: %v", tc.name, len(turned.Bores()), len(turned.Rounds), len(r.Bores()), len(r.Rounds), turned.Findings)
		}
		screwed := 0
		for _, j := range r.Joints {
			if len(j.Screws) > 0 {
				screwed++
			}
		}
		var stop, notes []string
		for _, f := range r.Findings {
			if f.Severity == finding.Stop {
				stop = append(stop, f.Code)
			} else {
				notes = append(notes, f.Code)
			}
		}
		if len(r.Rounds) != tc.rounds || len(r.Contacts) != tc.flats || screwed != tc.screwed || strings.Join(stop, " ") != strings.Join(tc.stops, " ") || strings.Join(notes, " ") != strings.Join(tc.notes, " ") {
			t.Errorf("%s: %d round, %d flat, %d screwed, %v", tc.name, len(r.Rounds), len(r.Contacts), screwed, r.Findings)
		}
	}
}

// TestPinsInAForeignPlate: pins 0.1 mm thinner, put into the round holes of a
// plate that another program wrote (MIT; see mesh/testdata/LICENCES.md), each
// touch all round, over all of their length that the hole has.
func TestPinsInAForeignPlate(t *testing.T) {
	const name = "../mesh/testdata/plate_holes.STL"
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	scene, err := mesh.Read(name, data, mesh.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	mended, err := mend.Mend(scene.Bodies[0], mend.Options{})
	if err != nil || len(mended.Shells) != 1 || !mended.Shells[0].Solid() {
		t.Fatal(err, mended)
	}
	body := mended.Shells[0].Body
	s, err := surface.Recognise(body.Vertices, body.Triangles, surface.Options{})
	if err != nil {
		t.Fatal(err)
	}
	plate := block("plate", 1, 1, 1, geom.Vec3{})
	plate.Place, plate.Board, plate.Solid = geom.World(), nil, piece.NewSolid(s)
	holes := 0
	for i, f := range s.Faces {
		if f.Kind != surface.Cylinder || !f.Hollow || !f.Full {
			continue
		}
		holes++
		pin := post("pin", f.Radius-0.1, f.From, f.To, geom.Vec3{})
		pin.Place = pin.Place.In(f.Frame)
		r := found(t, plate, pin)
		if len(r.Rounds) != 1 || len(coded(r, "members-overlap")) > 0 {
			t.Errorf("hole %d: %d round contacts: %v", i, len(r.Rounds), r.Findings)
			continue
		}
		c := r.Rounds[0]
		want := 2 * math.Pi * (f.Radius - 0.1) * (f.To - f.From)
		if !c.Closed || !near(c.Gap, 0.1, 1e-9) || !near(c.A.Covered, 1, 1e-6) || !near(c.B.Covered, c.Area/want, 1e-9) || c.A.Surface != i || c.Area > want*(1+1e-9) {
			t.Errorf("hole %d: %+v", i, c)
		}
	}
	// The mesh has Euler characteristic -8, so five holes; one is in two steps.
	if holes != 6 {
		t.Errorf("%d round holes", holes)
	}
}

// TestSolidCope: a rail's end hollowed to fit a round leg, both brought in.
func TestSolidCope(t *testing.T) {
	for _, gap := range []float64{0, 0.3} {
		p := coped(22, gap, 15, 50, knock("leg", "rail"))
		want := place(t, p, bench())
		for _, which := range [][]string{{"rail"}, {"leg"}, nil} {
			r := place(t, asSolids(t, p, which...), bench())
			if len(r.Rounds) != 1 || len(stops(r)) > 0 || len(r.Joints[0].Screws) != 1 {
				t.Errorf("%v %v: %d round contacts: %v", gap, which, len(r.Rounds), r.Findings)
				continue
			}
			a, b := want.Rounds[0], r.Rounds[0]
			if !near(a.Area, b.Area, 1e-3*a.Area) || a.Axis.Origin.Dist(b.Axis.Origin) > 1e-3 || !near(a.Gap, b.Gap, 1e-3) || a.A.Member != b.A.Member {
				t.Errorf("%v %v: %+v, want %+v", gap, which, b, a)
			}
			if s, o := r.Joints[0].Screws[0], want.Joints[0].Screws[0]; s.Size != o.Size || s.Head.Dist(o.Head) > 0.1 || s.Length != o.Length {
				t.Errorf("%v %v: screw %+v, want %+v", gap, which, s, o)
			}
		}
	}
}

// BenchmarkPlaceSolids is the table, and a leg screwed across its socket, of
// boards and of meshes.
func BenchmarkPlaceSolids(b *testing.B) {
	seat := socketed(knock("", ""), bored("seat", 120, 120, 44, 14.2, geom.Vec3{}), post("leg", 14, -200, 22, geom.Vec3{}))
	for _, tc := range []struct {
		name string
		p    *piece.Piece
	}{{"table of boards", table()}, {"table of meshes", asSolids(b, table())}, {"socket of boards", seat}, {"socket of meshes", asSolids(b, seat)}} {
		b.Run(tc.name, func(b *testing.B) {
			triangles := 0
			for _, m := range tc.p.Members {
				if m.Solid != nil {
					triangles += len(m.Solid.Shape.Triangles)
				}
			}
			s := bench()
			for b.Loop() {
				if r, err := Place(context.Background(), kernel, tc.p, s, Options{}); err != nil || len(stops(r)) > 0 {
					b.Fatal(err, stops(r))
				}
			}
			b.ReportMetric(float64(triangles), "triangles")
		})
	}
}
