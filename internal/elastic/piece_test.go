package elastic

import (
	"context"
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
)

// table is a sandwich top on four splayed solid legs, each screwed with two
// screws and touching the top without a tie, feet on the floor.
func table(step float64) (Model, Case) {
	const side, thick, height = 600.0, 18.0, 400.0
	top := sandwich(side, thick, step)
	top.Name = "top"
	top.Frame.Origin = geom.V3(-side/2, -side/2, height)
	m := Model{Bodies: []Body{top}}
	for i := range 4 {
		sx, sy := float64(2*(i%2)-1), float64(2*(i/2)-1)
		// The leg's own X goes up; it leans outward and its top is cut by cells.
		leg := board("leg", [3]float64{height, 40, 40}, [3]float64{20, 20, 20}, Material{Name: "solid", Stiffness: Isotropic(2000, 0.35), Density: 1.05e-3})
		f := geom.FrameFromXZ(geom.Vec3{}, geom.V3(0, 0, 1), geom.V3(sx, sy, 0))
		f.Origin = geom.V3(sx*220, sy*220, 0).Sub(f.Y.Scale(20)).Sub(f.Z.Scale(20))
		leg.Frame = f
		m.Bodies = append(m.Bodies, leg)
		b := len(m.Bodies) - 1
		face := Face{Frame: geom.Frame{Origin: f.Origin.Add(geom.V3(0, 0, height)), X: f.Y, Y: f.Z, Z: geom.V3(0, 0, 1)}, U: 40, V: 40}
		m.Links = append(m.Links, face.Links(Link{Name: "bearing", A: b, B: 0, Along: 50, Contact: true}, 10)...)
		for _, d := range []float64{-12, 12} {
			m.Links = append(m.Links, Link{Name: "screw", A: b, B: 0, At: face.Frame.Origin.Add(f.Y.Scale(20 + d)).Add(f.Z.Scale(20)), Axis: geom.V3(0, 0, 1), Along: 2e4, Across: 5e3, Preload: 200})
		}
		foot := face
		foot.Frame.Origin = f.Origin
		foot.Frame.Z = geom.V3(0, 0, -1)
		m.Links = append(m.Links, foot.Links(Link{Name: "floor", A: b, B: Ground, Along: 10, Across: 5, Contact: true}, 20)...)
	}
	c := Case{Name: "edge", Gravity: geom.V3(0, 0, -9810), Faces: []FaceLoad{{Body: 0,
		Face: Face{Frame: geom.Frame{Origin: geom.V3(180, -40, height+thick), X: geom.V3(1, 0, 0), Y: geom.V3(0, 1, 0), Z: geom.V3(0, 0, 1)}, U: 80, V: 80}, Force: geom.V3(0, 0, -300)}}}
	return m, c
}

// A whole table stands, by statics: the floor carries what is laid on it, and
// the moments balance.
func TestTable(t *testing.T) {
	for _, step := range []float64{30, 15} {
		m, c := table(step)
		s, err := Assemble(context.Background(), m, Options{})
		if err != nil {
			t.Fatal(err)
		}
		r, err := s.Solve(context.Background(), c)
		if err != nil {
			t.Fatal(err)
		}
		t.Log(r, moved(t, r, 0, geom.V3(220, 0, 400)))
		var up, about, push float64
		for i, l := range m.Links {
			f := r.Link(i)
			if l.Contact && f.Tension > 1e-6 {
				t.Errorf("link %d %s pulls", i, l.Name)
			}
			if l.Name == "floor" {
				up -= f.Tension
				about += f.Tension * l.At.X
				push += f.Across.X
			}
		}
		weight := 0.0
		for _, b := range m.Bodies {
			p := b.Lattice.Planes
			n := b.Lattice.Size()
			for i, v := range b.Lattice.Fill {
				x, y, z := i%n[0], i/n[0]%n[1], i/(n[0]*n[1])
				mat := b.Materials[0]
				if b.Lattice.Material != nil {
					mat = b.Materials[b.Lattice.Material[i]]
				}
				weight += v * mat.Density * 9.81e-3 * (p[0][x+1] - p[0][x]) * (p[1][y+1] - p[1][y]) * (p[2][z+1] - p[2][z])
			}
		}
		near(t, "the floor's push", up, weight+300, 1e-5)
		near(t, "its moment", -about, 300*220, 1e-4)
		if math.Abs(push) > 1e-3 {
			t.Errorf("the feet push sideways by %g N in all", push)
		}
	}
}

// A case of four boards glued at their corners, and a shelf in it on four pins.
func TestGluedCase(t *testing.T) {
	const w, h, d, b = 600.0, 800.0, 250.0, 18.0
	mat := Material{Stiffness: Isotropic(2000, 0.35), Density: 0.5e-3}
	side := func(x float64) Body {
		s := board("side", [3]float64{b, d, h}, [3]float64{9, 25, 25}, mat)
		s.Frame.Origin = geom.V3(x, 0, 0)
		return s
	}
	flat := func(name string, z float64) Body {
		s := board(name, [3]float64{w - 2*b, d, b}, [3]float64{25, 25, 9}, mat)
		s.Frame.Origin = geom.V3(b, 0, z)
		return s
	}
	m := Model{Bodies: []Body{side(0), side(w - b), flat("bottom", 0), flat("top", h-b), flat("shelf", 400)}}
	for side, x := range []float64{b, w - b} {
		for _, board := range []int{2, 3} {
			f := Face{Frame: geom.Frame{Origin: geom.V3(x, 0, m.Bodies[board].Frame.Origin.Z), X: geom.V3(0, 1, 0), Y: geom.V3(0, 0, 1), Z: geom.V3(1, 0, 0)}, U: d, V: b}
			// 0.1 mm of glue with E 1000, G 350.
			m.Links = append(m.Links, f.Links(Link{Name: "glue", A: side, B: board, Along: 1e4, Across: 3.5e3}, 9)...)
		}
		for _, y := range []float64{40, 210} {
			m.Links = append(m.Links, Link{Name: "pin", A: 4, B: side, At: geom.V3(x, y, 400), Axis: geom.V3(0, 0, -1), Along: 2000, Across: 500})
		}
		for _, y := range []float64{0, d} {
			m.Links = append(m.Links, Link{Name: "floor", A: side, B: Ground, At: geom.V3(x, y, 0), Axis: geom.V3(0, 0, -1), Along: 5e3, Across: 1e3, Contact: true})
		}
	}
	r := solve(t, m, Case{Gravity: geom.V3(0, 0, -9810), Faces: []FaceLoad{{Body: 4,
		Face: Face{Frame: geom.Frame{Origin: geom.V3(b, 0, 418), X: geom.V3(1, 0, 0), Y: geom.V3(0, 1, 0), Z: geom.V3(0, 0, 1)}, U: w - 2*b, V: d}, Force: geom.V3(0, 0, -200)}}})
	t.Log(r)
	// The shelf's deflection in the middle lies between the beam on its ends and
	// the beam built in.
	L := w - 2*b
	weight := L * d * b * 0.5e-3 * 9.81e-3
	free := 5 * (200 + weight) * L * L * L / (384 * 2000 * d * b * b * b / 12)
	u := moved(t, r, 4, geom.V3(w/2, d/2, 409)).Z - moved(t, r, 4, geom.V3(b, 40, 409)).Z
	if -u > 1.02*free || -u < free/5 {
		t.Errorf("the shelf sags %g, a beam on its ends %g", -u, free)
	}
}

// A case with many glued shelves takes hardly more iterations than one with few.
func TestManyGluedBodies(t *testing.T) {
	const w, h, d, b = 600.0, 1800.0, 250.0, 18.0
	mat := Material{Stiffness: Isotropic(2000, 0.35), Density: 0.5e-3}
	var its []int
	for _, shelves := range []int{3, 9} {
		var m Model
		for _, x := range []float64{0, w - b} {
			s := board("side", [3]float64{b, d, h}, [3]float64{9, 25, 25}, mat)
			s.Frame.Origin.X = x
			m.Bodies = append(m.Bodies, s)
		}
		for i := range shelves {
			s := board("shelf", [3]float64{w - 2*b, d, b}, [3]float64{25, 25, 9}, mat)
			s.Frame.Origin = geom.V3(b, 0, float64(i)*(h-b)/float64(shelves-1))
			m.Bodies = append(m.Bodies, s)
			for side, x := range []float64{b, w - b} {
				f := Face{Frame: geom.Frame{Origin: geom.V3(x, 0, s.Frame.Origin.Z), X: geom.V3(0, 1, 0), Y: geom.V3(0, 0, 1), Z: geom.V3(1, 0, 0)}, U: d, V: b}
				m.Links = append(m.Links, f.Links(Link{Name: "glue", A: side, B: len(m.Bodies) - 1, Along: 1e4, Across: 3.5e3}, 9)...)
			}
		}
		m.Fixed = []Fixed{{Body: 0, Where: plane(2, 0), Axes: all}, {Body: 1, Where: plane(2, 0), Axes: all}}
		r := solve(t, m, Case{Gravity: geom.V3(0, 0, -9810)})
		its = append(its, r.Iterations)
		weight := (2*h + float64(shelves)*(w-2*b)) * d * b * 0.5e-3 * 9.81e-3
		near(t, "reactions", r.Reaction(0).Force.Z+r.Reaction(1).Force.Z, weight, 1e-4)
	}
	if its[0] > 40 || its[1] > 50 {
		t.Errorf("%v iterations", its)
	}
	t.Log(its)
}

// Whatever the links, a pile of blocks is refused, found loose, or every body is
// in balance and no contact pulls or overlaps.
func TestAnyLinks(t *testing.T) {
	solved, loose, tipped, opened := 0, 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		var m Model
		z := 0.0
		stiff := rapid.SampledFrom([]float64{1, 1e3, 1e5, 1e8})
		n := rapid.IntRange(1, 3).Draw(t, "bodies")
		for i := range n {
			h := rapid.SampledFrom([]float64{2, 10}).Draw(t, "height")
			b := board("block", [3]float64{40, 30, h}, [3]float64{10, rapid.SampledFrom([]float64{6, 10, 30}).Draw(t, "step"), 5},
				Material{Stiffness: Isotropic(rapid.SampledFrom([]float64{20, 2000, 200000}).Draw(t, "modulus"), 0.3), Density: 1e-3})
			b.Frame.Origin.Z = z
			m.Bodies = append(m.Bodies, b)
			for range rapid.IntRange(0, 12).Draw(t, "links") {
				l := Link{A: i, B: i - 1, At: geom.V3(rapid.Float64Range(0, 40).Draw(t, "x"), rapid.Float64Range(0, 30).Draw(t, "y"), z), Axis: geom.V3(0, 0, -1),
					Along: stiff.Draw(t, "along"), Across: rapid.SampledFrom([]float64{0, 1, 1e4}).Draw(t, "across"), Contact: rapid.Bool().Draw(t, "contact")}
				if l.Contact {
					l.Gap = rapid.SampledFrom([]float64{0, 0, 0.001}).Draw(t, "gap")
				} else {
					l.Preload = rapid.SampledFrom([]float64{0, 30}).Draw(t, "preload")
				}
				m.Links = append(m.Links, l)
			}
			z += h
		}
		c := Case{Gravity: geom.V3(0, 0, -9810), Points: []PointLoad{{Body: n - 1,
			At:    geom.V3(rapid.Float64Range(0, 40).Draw(t, "x"), 15, z),
			Force: geom.V3(rapid.SampledFrom([]float64{0, 0.1, 20}).Draw(t, "push"), 0, -5)}}}
		s, err := Assemble(context.Background(), m, Options{})
		var mech *Mechanism
		if errors.As(err, &mech) {
			loose++
			return
		} else if err != nil {
			t.Fatal(err)
		}
		r, err := s.Solve(context.Background(), c)
		if errors.As(err, &mech) {
			tipped++
			return
		} else if err != nil {
			t.Fatal(err)
		}
		solved++
		total := make([]geom.Vec3, n)
		size := 5.0
		for i, b := range m.Bodies {
			g := b.Lattice.Planes
			total[i].Z -= 40 * 30 * g[2][len(g[2])-1] * 1e-3 * 9.81e-3
		}
		total[n-1] = total[n-1].Add(c.Points[0].Force)
		for i, l := range m.Links {
			f := r.Link(i)
			on := l.Axis.Scale(f.Tension).Add(f.Across)
			total[l.A] = total[l.A].Add(on)
			if l.B >= 0 {
				total[l.B] = total[l.B].Sub(on)
			}
			size = max(size, on.Len())
			if !l.Contact {
				continue
			}
			gap := f.Stretch.Dot(l.Axis) + l.Gap
			if f.Bears && f.Tension > 1e-6*size || !f.Bears && gap < -1e-6*size/l.Along {
				t.Errorf("link %d: bears %v, %g N, gap %g", i, f.Bears, f.Tension, gap)
			}
			if !f.Bears {
				opened++
			}
		}
		for i, f := range total {
			if f.Len() > 1e-3*size {
				t.Errorf("body %d is out of balance by %v of %g N", i, f, size)
			}
		}
	})
	if solved == 0 || loose == 0 || tipped == 0 || opened == 0 {
		t.Errorf("%d solved, %d loose, %d tipped, %d contacts open: the piles are too tame", solved, loose, tipped, opened)
	}
}
