package elastic

import (
	"context"
	"testing"

	"groundwork/internal/geom"
)

// Two blocks with a gap between them, tied across it by links that lie on
// neither: turned as one, they strain nothing, and a load beside a block bends it
// with its whole lever.
func TestGripsOutsideCells(t *testing.T) {
	mat := Material{Stiffness: Isotropic(2000, 0.3), Density: 1e-3}
	low := board("low", [3]float64{40, 40, 20}, [3]float64{10, 10, 5}, mat)
	high := board("high", [3]float64{40, 40, 20}, [3]float64{10, 10, 5}, mat)
	high.Frame.Origin.Z = 22
	m := Model{Bodies: []Body{low, high}}
	f := Face{Frame: geom.Frame{Origin: geom.V3(0, 0, 21), X: geom.V3(1, 0, 0), Y: geom.V3(0, 1, 0), Z: geom.V3(0, 0, 1)}, U: 40, V: 40}
	m.Links = f.Links(Link{Name: "film", A: 0, B: 1, Along: 1e4, Across: 3e3}, 10)
	// The lower block's foot is turned about x by 1e-3: every node on it is given its place.
	const turn = 1e-3
	for _, y := range []float64{0, 10, 20, 30, 40} {
		m.Fixed = append(m.Fixed, Fixed{Body: 0, Where: geom.Box3{Min: geom.V3(0, y, 0), Max: geom.V3(40, y, 0)}, Axes: [3]bool{true, true, true}, Value: geom.V3(0, 0, turn*y)})
	}
	r := solve(t, m, Case{})
	if r.Energy > 1e-9 {
		t.Errorf("turning strains it: %g N mm", r.Energy)
	}
	u := moved(t, r, 1, geom.V3(20, 40, 42))
	if want := geom.V3(0, -turn*42, turn*40); u.Dist(want) > 1e-7 {
		t.Errorf("moved by %v, want %v", u, want)
	}
	// A pull beside the upper block.
	at := geom.V3(20, 44, 32)
	r = solve(t, m, Case{Points: []PointLoad{{Body: 1, At: at, Force: geom.V3(0, 0, 10)}}})
	var moment geom.Vec3
	for i := range m.Fixed {
		moment = moment.Add(r.Reaction(i).Moment)
	}
	near(t, "moment", moment.X, -440, 1e-4)
}

// A link that reaches pulls as a bolt through two plates does: its tension is its
// preload and its stretch, and setting the preload anew takes up what was lost.
func TestReachAndPreload(t *testing.T) {
	mat := Material{Stiffness: Isotropic(2000, 0.3), Density: 1e-3}
	low := board("low", [3]float64{40, 40, 20}, [3]float64{10, 10, 5}, mat)
	high := board("high", [3]float64{40, 40, 20}, [3]float64{10, 10, 5}, mat)
	high.Frame.Origin.Z = 20
	m := Model{Bodies: []Body{low, high}, Fixed: []Fixed{{Body: 0, Where: plane(2, 0), Axes: all}}}
	f := Face{Frame: geom.Frame{Origin: geom.V3(0, 0, 20), X: geom.V3(1, 0, 0), Y: geom.V3(0, 1, 0), Z: geom.V3(0, 0, 1)}, U: 40, V: 40}
	m.Links = f.Links(Link{Name: "face", A: 0, B: 1, Along: 1e3, Across: 300, Contact: true}, 10)
	for _, d := range [][2]float64{{15, 15}, {25, 15}, {15, 25}, {25, 25}} {
		m.Links = append(m.Links, Link{Name: "bolt", A: 1, B: 0, At: geom.V3(d[0], d[1], 40), Axis: geom.V3(0, 0, -1), Along: 2e3, Preload: 50, Reach: 30})
	}
	for _, x := range []float64{15, 25} { // parted plates would slide
		m.Links = append(m.Links, Link{Name: "hole", A: 1, B: 0, At: geom.V3(x, 20, 20), Axis: geom.V3(0, 0, -1), Across: 100})
	}
	s, err := Assemble(context.Background(), m, Options{})
	if err != nil {
		t.Fatal(err)
	}
	pull := func(c Case) float64 {
		r, err := s.Solve(context.Background(), c)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for i, l := range m.Links {
			if l.Name == "bolt" {
				sum += r.Link(i).Tension
			}
		}
		return sum
	}
	lost := pull(Case{})
	if lost >= 200 || lost < 20 {
		t.Fatalf("the plates yield nothing: %g N", lost)
	}
	for i, l := range m.Links {
		if l.Name == "bolt" {
			s.Preload(i, 50*200/lost)
		}
	}
	near(t, "tension done up again", pull(Case{}), 200, 1e-4)
	lift := Case{Faces: []FaceLoad{{Body: 1, Face: Face{Frame: geom.Frame{Origin: geom.V3(0, 0, 40), X: geom.V3(1, 0, 0), Y: geom.V3(0, 1, 0), Z: geom.V3(0, 0, 1)}, U: 40, V: 40}, Force: geom.V3(0, 0, 900)}}}
	near(t, "tension of parted plates", pull(lift), 900, 1e-4)
	bolt := len(f.Links(Link{}, 10))
	if m.Links[bolt].Preload != 50 {
		t.Error("the caller's links have changed")
	}
	// Sideways it would strain when turned.
	m.Links[bolt].Across = 1
	if _, err := Assemble(context.Background(), m, Options{}); err == nil {
		t.Error("a link that reaches and holds sideways is taken")
	}
}

// Where a search begins does not change where a system without holds sideways ends.
func TestSolveFrom(t *testing.T) {
	m, c := table(30)
	s, err := Assemble(context.Background(), m, Options{})
	if err != nil {
		t.Fatal(err)
	}
	rest, err := s.Solve(context.Background(), Case{Name: "rest", Gravity: c.Gravity})
	if err != nil {
		t.Fatal(err)
	}
	a, err := s.Solve(context.Background(), c)
	if err != nil {
		t.Fatal(err)
	}
	b, err := s.SolveFrom(context.Background(), c, rest)
	if err != nil {
		t.Fatal(err)
	}
	at := geom.V3(220, 0, 400)
	u, v := moved(t, a, 0, at), moved(t, b, 0, at)
	if u.Dist(v) > 1e-3*u.Len() {
		t.Errorf("%v from nothing, %v from rest", u, v)
	}
	if b.Iterations > a.Iterations {
		t.Logf("%d iterations from rest, %d from nothing", b.Iterations, a.Iterations)
	}
}

// The stress at a place of a cell is that of its middle and of its ends.
func TestCellStressAt(t *testing.T) {
	m := Model{Bodies: []Body{board("bar", [3]float64{100, 10, 10}, [3]float64{10, 10, 10}, Material{Stiffness: Isotropic(1000, 0)})}}
	m.Fixed = []Fixed{{Body: 0, Where: plane(0, 0), Axes: all}}
	r := solve(t, m, Case{Points: []PointLoad{{Body: 0, At: geom.V3(100, 5, 5), Force: geom.V3(0, 0, -1)}}})
	mid, _ := r.CellStress(0, 4, 0, 0)
	same, ok := r.CellStressAt(0, 4, 0, 0, [3]float64{})
	if !ok || mid != same {
		t.Errorf("%v and %v", mid, same)
	}
	top, _ := r.CellStressAt(0, 4, 0, 0, [3]float64{0, 0, 1})
	near(t, "bending at the face", top[0], 6*55/1000.0, 0.01)
	if _, ok := r.CellStressAt(0, 40, 0, 0, [3]float64{}); ok {
		t.Error("no such cell")
	}
}
