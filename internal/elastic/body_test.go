package elastic

import (
	"context"
	"errors"
	"math"
	"runtime"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
)

// fir is a material without any symmetry in the body's axes: orthotropic, with
// the ratios of a softwood (rounded from USDA Wood Handbook tables 5-1, 5-2),
// turned askew.
func fir(t tester) Stiffness {
	s, err := Orthotropic{
		E1: 12000, E2: 800, E3: 600, G23: 84, G31: 900, G12: 800,
		Nu12: 0.29, Nu13: 0.45, Nu23: 0.39,
	}.Stiffness()
	if err != nil {
		t.Fatal(err)
	}
	return s.Turned(askew(geom.Vec3{}))
}

// askew is a frame turned about all axes.
func askew(origin geom.Vec3) geom.Frame {
	return geom.FrameFromXZ(origin, geom.V3(0.8, 0.5, -0.3), geom.V3(0.2, 0.3, 0.9))
}

// prescribed fixes every node of the body's hull (or every node) to a field
// given in the body's coordinates and components.
func prescribed(b Body, hullOnly bool, u func(p geom.Vec3) geom.Vec3) (out []Fixed) {
	p := b.Lattice.Planes
	for i, x := range p[0] {
		for j, y := range p[1] {
			for k, z := range p[2] {
				hull := i == 0 || j == 0 || k == 0 || i == len(p[0])-1 || j == len(p[1])-1 || k == len(p[2])-1
				if hull || !hullOnly {
					at := geom.V3(x, y, z)
					out = append(out, Fixed{Where: geom.Box3{Min: at, Max: at}, Axes: all, Value: u(at)})
				}
			}
		}
	}
	return out
}

// The patch test of Irons (Bazeley and others 1965): where the edge of a patch
// moves as a constant strain would have it, the inside must follow exactly,
// whatever the cells.
func TestPatch(t *testing.T) {
	b := board("patch", [3]float64{40, 30, 20}, [3]float64{10, 10, 10}, Material{Stiffness: fir(t)})
	b.Lattice.Planes = [3][]float64{{0, 3, 14, 20, 40}, {0, 11, 17, 30}, {0, 1.2, 18.8, 20}}
	b.Lattice.Fill = make([]float64, 4*3*3)
	for i := range b.Lattice.Fill {
		b.Lattice.Fill[i] = 1
	}
	b.Frame = askew(geom.V3(100, -50, 7))
	strain := [6]float64{1e-3, -2e-3, 0.5e-3, 0.7e-3, -0.4e-3, 1.1e-3}
	u := func(p geom.Vec3) geom.Vec3 {
		e := strain
		return geom.V3(
			e[0]*p.X+e[5]/2*p.Y+e[4]/2*p.Z,
			e[5]/2*p.X+e[1]*p.Y+e[3]/2*p.Z,
			e[4]/2*p.X+e[3]/2*p.Y+e[2]*p.Z)
	}
	sys, err := Assemble(context.Background(), Model{Bodies: []Body{b}, Fixed: prescribed(b, true, u)}, Options{Tolerance: 1e-13})
	if err != nil {
		t.Fatal(err)
	}
	r, err := sys.Solve(context.Background(), Case{})
	if err != nil {
		t.Fatal(err)
	}
	s := b.Materials[0].Stiffness
	f := b.Frame
	want := Tensor(s.apply(strain)).turned(&[3][3]float64{{f.X.X, f.Y.X, f.Z.X}, {f.X.Y, f.Y.Y, f.Z.Y}, {f.X.Z, f.Y.Z, f.Z.Z}})
	energy := 0.0
	for i, v := range s.apply(strain) {
		energy += v * strain[i] / 2 * 40 * 30 * 20
	}
	near(t, "energy", r.Energy, energy, 1e-9)
	for _, p := range []geom.Vec3{{X: 14, Y: 11, Z: 1.2}, {X: 20, Y: 17, Z: 18.8}, {X: 7, Y: 12, Z: 10}, {X: 40, Y: 30, Z: 20}} {
		if got, want := f.LocalDir(moved(t, r, 0, f.Point(p))), u(p); got.Dist(want) > 1e-10 {
			t.Errorf("at %v: %v, want %v", p, got, want)
		}
		got, _ := r.Stress(0, f.Point(p))
		for i := range got {
			if math.Abs(got[i]-want[i]) > 1e-7 {
				t.Errorf("stress at %v: %v, want %v", p, got, want)
				break
			}
		}
	}
}

// A rigid motion strains nothing.
func TestRigidMotion(t *testing.T) {
	b := board("block", [3]float64{40, 30, 20}, [3]float64{10, 7, 20}, Material{Stiffness: fir(t)})
	turn := geom.V3(1e-3, -2e-3, 0.5e-3)
	r := solve(t, Model{Bodies: []Body{b}, Fixed: prescribed(b, false, func(p geom.Vec3) geom.Vec3 {
		return turn.Cross(p).Add(geom.V3(3, -1, 2))
	})}, Case{})
	if r.Energy > 1e-9 {
		t.Errorf("energy %g", r.Energy)
	}
	worst, _ := r.Greatest(0, Tensor.VonMises)
	if worst > 1e-8 {
		t.Errorf("stress %g MPa", worst)
	}
	if f := r.Reaction(0).Force.Len(); f > 1e-6 {
		t.Errorf("reaction %g N", f)
	}
}

// Where the body stands in the world, and how its axes are named, is all one.
func TestPoseDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		axis := rapid.SliceOfN(rapid.Float64Range(-1, 1), 6, 6).Draw(t, "axes")
		x, z := geom.V3(axis[0], axis[1], axis[2]), geom.V3(axis[3], axis[4], axis[5])
		if x.Cross(z).Len() < 1e-2 {
			return
		}
		f := geom.FrameFromXZ(geom.V3(50, 60, -70), x, z)
		size := [3]float64{60, 20, 6}
		perm := rapid.SampledFrom([][3]int{{0, 1, 2}, {1, 2, 0}, {2, 0, 1}}).Draw(t, "perm")
		o := Orthotropic{E1: 3000, E2: 2000, E3: 1500, G23: 500, G31: 700, G12: 900, Nu12: .3, Nu13: .25, Nu23: .35}
		s, _ := o.Stiffness()
		build := func(frame geom.Frame, perm [3]int) (*Result, func(p geom.Vec3) geom.Vec3) {
			var sz, h [3]float64
			axes := [3]geom.Vec3{{X: 1}, {Y: 1}, {Z: 1}}
			for a, p := range perm {
				sz[a], h[a] = size[p], 5
			}
			// Axis a of the body is axis perm[a] of the thing.
			var m [3]geom.Vec3
			for a, p := range perm {
				m[p] = axes[a]
			}
			b := board("b", sz, h, Material{Stiffness: s.Turned(geom.Frame{X: m[0], Y: m[1], Z: m[2]})})
			b.Frame = frame
			thing := func(p geom.Vec3) geom.Vec3 {
				return frame.Dir(m[0].Scale(p.X).Add(m[1].Scale(p.Y)).Add(m[2].Scale(p.Z)))
			}
			end := slices.Index(perm[:], 0)
			r := solve(t, Model{Bodies: []Body{b}, Fixed: []Fixed{{Where: plane(end, 0), Axes: all}}},
				Case{Points: []PointLoad{{At: frame.Origin.Add(thing(geom.V3(60, 20, 6))), Force: thing(geom.V3(1, -2, -3))}}})
			u := moved(t, r, 0, frame.Origin.Add(thing(geom.V3(55, 10, 3))))
			return r, func(p geom.Vec3) geom.Vec3 {
				return geom.V3(u.Dot(thing(geom.V3(1, 0, 0))), u.Dot(thing(geom.V3(0, 1, 0))), u.Dot(thing(geom.V3(0, 0, 1))))
			}
		}
		r0, u0 := build(geom.World(), [3]int{0, 1, 2})
		r1, u1 := build(f, perm)
		near(t, "energy", r1.Energy, r0.Energy, 1e-6)
		if d := u0(geom.Vec3{}).Dist(u1(geom.Vec3{})); d > 1e-5*u0(geom.Vec3{}).Len() {
			t.Errorf("moves %v and %v", u0(geom.Vec3{}), u1(geom.Vec3{}))
		}
	})
}

// Same bytes on one processor and on many.
func TestSameBytes(t *testing.T) {
	b := sandwich(90, 18, 6)
	m := Model{Bodies: []Body{b}, Fixed: []Fixed{{Where: plane(0, 0), Axes: all}}}
	c := Case{Gravity: geom.V3(0, 0, -9810)}
	was := runtime.GOMAXPROCS(1)
	one := solve(t, m, c)
	runtime.GOMAXPROCS(7)
	many := solve(t, m, c)
	runtime.GOMAXPROCS(was)
	if !slices.Equal(one.x, many.x) {
		t.Error("the processors show")
	}
	m, c = table(30)
	was = runtime.GOMAXPROCS(1)
	one = solve(t, m, c)
	runtime.GOMAXPROCS(7)
	many = solve(t, m, c)
	runtime.GOMAXPROCS(was)
	if !slices.Equal(one.x, many.x) {
		t.Error("the processors show in a table")
	}
}

// A symmetric board under a symmetric load moves symmetrically.
func TestSymmetric(t *testing.T) {
	b := sandwich(120, 18, 10)
	b.Frame.Origin = geom.V3(-60, -60, 0)
	m := Model{Bodies: []Body{b}}
	for _, p := range [][2]float64{{-60, -60}, {60, -60}, {-60, 60}, {60, 60}} {
		m.Links = append(m.Links, Link{B: Ground, At: geom.V3(p[0], p[1], 0), Axis: geom.V3(0, 0, -1), Along: 1e4, Across: 1e3})
	}
	r := solve(t, m, Case{Gravity: geom.V3(0, 0, -9810), Points: []PointLoad{{At: geom.V3(0, 0, 18), Force: geom.V3(0, 0, -100)}}})
	for _, p := range []geom.Vec3{{X: 30, Y: 17, Z: 4}, {X: 60, Y: 11, Z: 18}} {
		u := moved(t, r, 0, p)
		v := moved(t, r, 0, geom.V3(-p.X, p.Y, p.Z))
		w := moved(t, r, 0, geom.V3(p.Y, p.X, p.Z))
		scale := u.Len()
		if math.Abs(u.X+v.X)+math.Abs(u.Y-v.Y)+math.Abs(u.Z-v.Z) > 1e-6*scale {
			t.Errorf("at %v: %v and its mirror image %v", p, u, v)
		}
		if math.Abs(u.X-w.Y)+math.Abs(u.Y-w.X)+math.Abs(u.Z-w.Z) > 1e-6*scale {
			t.Errorf("at %v: %v and its diagonal image %v", p, u, w)
		}
	}
}

// Two halves glued stiffly are one board; the glue carries the bending.
func TestTwoBodiesAreOne(t *testing.T) {
	const L, b, h, F = 200.0, 30.0, 10.0, 20.0
	step := [3]float64{5, 5, 5}
	mat := Material{Stiffness: Isotropic(2000, 0.35)}
	wall := Fixed{Where: plane(0, 0), Axes: all}
	load := func(body int) Case {
		return Case{Points: []PointLoad{{Body: body, At: geom.V3(L, b/2, h/2), Force: geom.V3(0, 3, -F)}}}
	}
	one := solve(t, Model{Bodies: []Body{board("one", [3]float64{L, b, h}, step, mat)}, Fixed: []Fixed{wall}}, load(0))
	left, right := board("left", [3]float64{L / 2, b, h}, step, mat), board("right", [3]float64{L / 2, b, h}, step, mat)
	right.Frame.Origin.X = L / 2
	seam := Face{Frame: geom.Frame{Origin: geom.V3(L/2, 0, 0), X: geom.V3(0, 1, 0), Y: geom.V3(0, 0, 1), Z: geom.V3(1, 0, 0)}, U: b, V: h}
	for _, c := range []struct{ stiff, step float64 }{ // N/mm per mm², mm
		{1e5, 2.5}, {1e7, 2.5},
		{1e5, 0.8}, // far more links than nodes
	} {
		glue := seam.Links(Link{A: 0, B: 1, Along: c.stiff, Across: c.stiff}, c.step)
		two := solve(t, Model{Bodies: []Body{left, right}, Fixed: []Fixed{wall}, Links: glue}, load(1))
		t.Logf("glue %g: %v; whole: %v", c.stiff, two, one)
		for _, p := range []geom.Vec3{{X: L, Y: b, Z: h}, {X: L * 0.75, Y: 0, Z: 0}} {
			u, v := moved(t, one, 0, p), moved(t, two, 1, p)
			if u.Dist(v) > 0.005*u.Len() {
				t.Errorf("glue %g: %v, whole %v", c.stiff, v, u)
			}
		}
		var force, moment float64
		for i := range glue {
			f := two.Link(i)
			force += f.Across.Z
			moment += f.Tension * (glue[i].At.Z - h/2)
		}
		near(t, "shear in the glue", force, -F, 1e-4)
		near(t, "moment in the glue", moment, F*L/2, 0.002)
	}
}

// A spring between a block and the ground stretches by F/k, preload and all.
func TestSprings(t *testing.T) {
	b := board("block", [3]float64{20, 20, 20}, [3]float64{20, 20, 20}, Material{Stiffness: Isotropic(1e7, 0.3)})
	m := Model{Bodies: []Body{b}}
	for i := range 4 {
		m.Links = append(m.Links, Link{B: Ground, At: geom.V3(float64(20*(i%2)), float64(20*(i/2)), 0), Axis: geom.V3(0, 0, -1), Along: 25, Across: 10, Preload: 2})
	}
	r := solve(t, m, Case{Points: []PointLoad{{At: geom.V3(10, 10, 0), Force: geom.V3(8, 0, -50)}}})
	u := moved(t, r, 0, geom.V3(10, 10, 0))
	// Down by load and preload together; the turn about y does not move the centre.
	near(t, "down", -u.Z, (50.0+8)/100, 1e-4)
	near(t, "along", u.X, 8.0/40, 1e-3)
	f := r.Link(0)
	sum := 0.0
	for i := range 4 {
		sum += r.Link(i).Tension
	}
	near(t, "tension", sum, -50, 1e-4)
	near(t, "across", f.Across.X, -2, 1e-3)
}

// feet stands a disc's three contacts at radius leg on the floor.
func feet(leg float64) (links []Link) {
	for i := range 3 {
		a := 2 * math.Pi * float64(i) / 3
		links = append(links, Link{Name: "foot", B: Ground, At: geom.V3(leg*math.Cos(a), leg*math.Sin(a), 0), Axis: geom.V3(0, 0, -1),
			Along: 1e3, Across: 1e3, Contact: true})
	}
	return links
}

// A plate on three feet tips over two of them when the load beyond them
// outweighs it: F (x - r/2) > W r/2, statics.
func TestTips(t *testing.T) {
	const leg, x = 100.0, 150.0
	b := board("top", [3]float64{400, 400, 20}, [3]float64{20, 20, 20}, Material{Stiffness: Isotropic(5000, 0.3), Density: 1e-3})
	b.Frame.Origin = geom.V3(-200, -200, 0)
	weight := 400 * 400 * 20 * 1e-3 * 9.81e-3
	limit := weight * leg / 2 / (x - leg/2)
	s, err := Assemble(context.Background(), Model{Bodies: []Body{b}, Links: feet(leg)}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		part float64
		tips bool
	}{{0.5, false}, {0.98, false}, {1.02, true}, {3, true}} {
		// Opposite foot 0, between the other two.
		r, err := s.Solve(context.Background(), Case{Name: "edge", Gravity: geom.V3(0, 0, -9810),
			Points: []PointLoad{{At: geom.V3(-x, 0, 20), Force: geom.V3(0, 0, -limit*c.part)}}})
		var m *Mechanism
		if errors.As(err, &m) != c.tips || err != nil && !c.tips {
			t.Errorf("%g of the limit: %v", c.part, err)
			continue
		}
		if c.tips {
			v := m.Motions[0]
			if v.Name != "top" || v.Turn.Unit().Y > -0.99 {
				t.Errorf("tips by %v, not about -y", v)
			}
			continue
		}
		// Statics of the foot that is relieved.
		near(t, "foot 0", -r.Link(0).Tension, weight/3-limit*c.part*(x-leg/2)/(1.5*leg), 0.01)
	}
}

// A beam on five contacts in a row, loaded over the second: it lifts off those
// at the far end, and the ones that bear obey statics.
func TestLifts(t *testing.T) {
	b := board("beam", [3]float64{400, 20, 10}, [3]float64{10, 20, 5}, Material{Stiffness: Isotropic(2000, 0.35)})
	m := Model{Bodies: []Body{b}}
	for i := range 5 {
		for j := range 2 {
			m.Links = append(m.Links, Link{B: Ground, At: geom.V3(100*float64(i), 20*float64(j), 0), Axis: geom.V3(0, 0, -1), Along: 1e4, Across: 1, Contact: true})
		}
	}
	r := solve(t, m, Case{Points: []PointLoad{{At: geom.V3(50, 10, 10), Force: geom.V3(0, 0, -40)}, {At: geom.V3(400, 10, 10), Force: geom.V3(0, 0, -1)}}})
	var force, moment float64
	for i := range m.Links {
		f := r.Link(i)
		if f.Bears != (f.Tension < 0) {
			t.Errorf("foot %d bears %v with %g N", i, f.Bears, f.Tension)
		}
		if f.Tension > 0 {
			t.Errorf("foot %d is pulled", i)
		}
		if !f.Bears && f.Stretch.Dot(m.Links[i].Axis) < 0 {
			t.Errorf("foot %d stands open but overlaps", i)
		}
		force -= f.Tension
		moment -= f.Tension * m.Links[i].At.X
	}
	near(t, "force", force, 41, 1e-4)
	near(t, "moment", moment, 40*50+1*400, 1e-3)
	if r.Link(4).Bears {
		t.Error("the beam should lift off its middle")
	}
	if r.Rounds < 2 {
		t.Errorf("%d rounds", r.Rounds)
	}
}

// A block lying on another with friction nowhere is pressed by its weight, and
// a gap must close first.
func TestContactOfBodies(t *testing.T) {
	lower := board("lower", [3]float64{40, 40, 10}, [3]float64{10, 10, 5}, Material{Stiffness: Isotropic(2000, 0.35)})
	upper := board("upper", [3]float64{40, 40, 10}, [3]float64{8, 8, 5}, Material{Stiffness: Isotropic(2000, 0.35), Density: 1e-2})
	upper.Frame.Origin.Z = 10
	f := Face{Frame: geom.World(), U: 40, V: 40}
	f.Frame.Origin.Z = 10
	for _, gap := range []float64{0, 0.01} {
		links := f.Links(Link{A: 0, B: 1, Along: 100, Contact: true, Gap: gap}, 5)
		n := len(links)
		// A guide that holds it sideways only.
		for i := range 4 {
			links = append(links, Link{A: 1, B: Ground, At: geom.V3(float64(40*(i%2)), float64(40*(i/2)), 20), Axis: geom.V3(1, 0, 0), Along: 100},
				Link{A: 1, B: Ground, At: geom.V3(float64(40*(i%2)), float64(40*(i/2)), 20), Axis: geom.V3(0, 1, 0), Along: 100})
		}
		r := solve(t, Model{Bodies: []Body{lower, upper}, Fixed: []Fixed{{Where: plane(2, 0), Axes: all}}, Links: links}, Case{Gravity: geom.V3(0, 0, -9810)})
		sum := 0.0
		for i := range n {
			sum -= r.Link(i).Tension
		}
		near(t, "pressure", sum, 40*40*10*1e-2*9.81e-3, 1e-4)
		if u := moved(t, r, 1, geom.V3(20, 20, 10)); u.Z > -gap || u.Z < -gap-0.001 {
			t.Errorf("gap %g: the upper block sinks by %g", gap, -u.Z)
		}
	}
}

// What is free is named.
func TestMechanisms(t *testing.T) {
	mat := Material{Stiffness: Isotropic(2000, 0.3), Density: 1e-3}
	top, shelf := board("top", [3]float64{100, 50, 10}, [3]float64{10, 10, 5}, mat), board("shelf", [3]float64{100, 50, 10}, [3]float64{10, 10, 5}, mat)
	shelf.Frame.Origin.Z = 10
	held := Fixed{Body: 0, Where: plane(0, 0), Axes: all}
	post := func(x, y float64) Link {
		return Link{A: 0, B: 1, At: geom.V3(x, y, 10), Axis: geom.V3(0, 0, 1), Along: 1e3, Across: 1e3}
	}
	slide := func(x, y float64) Link { l := post(x, y); l.Across = 0; return l }
	hinged := board("hinged", [3]float64{20, 20, 10}, [3]float64{10, 10, 10}, mat)
	hinged.Lattice.Fill = []float64{1, 0, 0, 1}
	apart := board("apart", [3]float64{30, 10, 10}, [3]float64{10, 10, 10}, mat)
	apart.Lattice.Fill = []float64{1, 0, 1}
	for _, c := range []struct {
		name string
		m    Model
		n    int
		says string
	}{
		{"nothing holds it", Model{Bodies: []Body{top}}, 6, "top is free to"},
		{"rests on a ball", Model{Bodies: []Body{top}, Links: []Link{{B: Ground, At: geom.V3(50, 25, 0), Axis: geom.V3(0, 0, -1), Along: 1, Across: 1}}}, 3, "turn about"},
		{"held along one line", Model{Bodies: []Body{top}, Fixed: []Fixed{{Where: geom.Box3{Min: geom.V3(0, 0, 0), Max: geom.V3(0, 50, 0)}, Axes: all}}}, 1, "turn about y"},
		{"shelf lies loose", Model{Bodies: []Body{top, shelf}, Fixed: []Fixed{held}}, 6, "shelf is free"},
		{"one dowel", Model{Bodies: []Body{top, shelf}, Fixed: []Fixed{held}, Links: []Link{post(50, 25)}}, 3, "shelf is free to"},
		{"two dowels", Model{Bodies: []Body{top, shelf}, Fixed: []Fixed{held}, Links: []Link{post(20, 25), post(80, 25)}}, 1, "turn about x"},
		{"two dowels, both loose", Model{Bodies: []Body{top, shelf}, Links: []Link{post(20, 25), post(80, 25)}}, 7, "together with"},
		{"slides on a face", Model{Bodies: []Body{top, shelf}, Fixed: []Fixed{held}, Links: []Link{slide(0, 0), slide(100, 0), slide(0, 50), slide(100, 50)}}, 3, "slide along"},
		{"three dowels", Model{Bodies: []Body{top, shelf}, Fixed: []Fixed{held}, Links: []Link{post(0, 0), post(100, 0), post(0, 50)}}, 0, ""},
		{"cells that meet along an edge", Model{Bodies: []Body{hinged}, Fixed: []Fixed{{Where: plane(0, 0), Axes: all}}}, 1, "turn about z"},
		{"cells apart", Model{Bodies: []Body{apart}, Fixed: []Fixed{{Where: plane(0, 0), Axes: all}}}, 6, "part 2 of 2"},
		{"cells apart, both held", Model{Bodies: []Body{apart}, Fixed: []Fixed{{Where: plane(0, 0), Axes: all}, {Where: plane(0, 30), Axes: all}}}, 0, ""},
	} {
		s, err := Assemble(context.Background(), c.m, Options{})
		var m *Mechanism
		switch {
		case c.n == 0 && err != nil:
			t.Errorf("%s: %v", c.name, err)
		case c.n == 0:
			if _, err := s.Solve(context.Background(), Case{Gravity: geom.V3(0, 0, -9810)}); err != nil {
				t.Errorf("%s: %v", c.name, err)
			}
		case !errors.As(err, &m):
			t.Errorf("%s: %v", c.name, err)
		case len(m.Motions) != c.n:
			t.Errorf("%s: %d motions, want %d: %v", c.name, len(m.Motions), c.n, err)
		case !strings.Contains(err.Error(), c.says):
			t.Errorf("%s: does not say %q: %v", c.name, c.says, err)
		}
	}
}

// Hard cases are refused, or solved, never met with a panic.
func TestHardCases(t *testing.T) {
	good := func() Body {
		return board("b", [3]float64{20, 10, 10}, [3]float64{10, 10, 10}, Material{Stiffness: Isotropic(1000, 0.3), Density: 1e-3})
	}
	wall := []Fixed{{Where: plane(0, 0), Axes: all}}
	with := func(f func(b *Body)) Model {
		b := good()
		f(&b)
		return Model{Bodies: []Body{b}, Fixed: wall}
	}
	nan := math.NaN()
	for name, m := range map[string]Model{
		"no body":             {},
		"empty lattice":       with(func(b *Body) { clear(b.Lattice.Fill) }),
		"fill NaN":            with(func(b *Body) { b.Lattice.Fill[0] = nan }),
		"fill above one":      with(func(b *Body) { b.Lattice.Fill[0] = 1.5 }),
		"fill short":          with(func(b *Body) { b.Lattice.Fill = nil }),
		"no planes":           with(func(b *Body) { b.Lattice.Planes = [3][]float64{} }),
		"planes fall":         with(func(b *Body) { b.Lattice.Planes[0] = []float64{0, 10, 10} }),
		"plane NaN":           with(func(b *Body) { b.Lattice.Planes[0] = []float64{0, nan, 10} }),
		"no material":         with(func(b *Body) { b.Materials = nil }),
		"material beyond":     with(func(b *Body) { b.Lattice.Material = []uint8{0, 9} }),
		"stiffness NaN":       with(func(b *Body) { b.Materials[0].Stiffness[0][0] = nan }),
		"incompressible":      with(func(b *Body) { b.Materials[0].Stiffness = Isotropic(1000, 0.5) }),
		"negative modulus":    with(func(b *Body) { b.Materials[0].Stiffness = Isotropic(-5, 0.3) }),
		"lopsided stiffness":  with(func(b *Body) { b.Materials[0].Stiffness[0][1] *= 2 }),
		"density NaN":         with(func(b *Body) { b.Materials[0].Density = nan }),
		"frame NaN":           with(func(b *Body) { b.Frame.Origin.X = nan }),
		"frame not square":    with(func(b *Body) { b.Frame.X = geom.V3(1, 1, 0) }),
		"frame too long":      with(func(b *Body) { b.Frame.X = geom.V3(2, 0, 0) }),
		"fixing of no body":   {Bodies: []Body{good()}, Fixed: []Fixed{{Body: 3, Where: plane(0, 0), Axes: all}}},
		"fixing of no node":   {Bodies: []Body{good()}, Fixed: []Fixed{{Where: plane(0, 3), Axes: all}}},
		"fixings at odds":     {Bodies: []Body{good()}, Fixed: append(slices.Clone(wall), Fixed{Where: plane(0, 0), Axes: all, Value: geom.V3(1, 0, 0)})},
		"fixing NaN":          {Bodies: []Body{good()}, Fixed: []Fixed{{Where: plane(0, nan), Axes: all}}},
		"link of no body":     {Bodies: []Body{good()}, Fixed: wall, Links: []Link{{A: 0, B: 4, Axis: geom.V3(1, 0, 0)}}},
		"link to itself":      {Bodies: []Body{good()}, Fixed: wall, Links: []Link{{A: 0, B: 0, Axis: geom.V3(1, 0, 0)}}},
		"link off the body":   {Bodies: []Body{good()}, Fixed: wall, Links: []Link{{A: 0, B: Ground, At: geom.V3(90, 0, 0), Axis: geom.V3(1, 0, 0)}}},
		"link without axis":   {Bodies: []Body{good()}, Fixed: wall, Links: []Link{{A: 0, B: Ground}}},
		"link of NaN":         {Bodies: []Body{good()}, Fixed: wall, Links: []Link{{A: 0, B: Ground, Axis: geom.V3(1, 0, 0), Along: nan}}},
		"contact of no force": {Bodies: []Body{good()}, Fixed: wall, Links: []Link{{A: 0, B: Ground, Axis: geom.V3(1, 0, 0), Contact: true}}},
	} {
		if _, err := Assemble(context.Background(), m, Options{}); err == nil {
			t.Errorf("%s: not refused", name)
		}
	}
	if _, err := Assemble(context.Background(), with(func(b *Body) { clear(b.Lattice.Fill) }), Options{}); !errors.Is(err, ErrEmpty) {
		t.Errorf("empty lattice: %v", err)
	}

	s, err := Assemble(context.Background(), Model{Bodies: []Body{good()}, Fixed: wall}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]Case{
		"gravity NaN":       {Gravity: geom.V3(0, nan, 0)},
		"load NaN":          {Points: []PointLoad{{At: geom.V3(0, 0, 0), Force: geom.V3(nan, 0, 0)}}},
		"load off the body": {Points: []PointLoad{{At: geom.V3(0, 99, 0), Force: geom.V3(1, 0, 0)}}},
		"load on no body":   {Points: []PointLoad{{Body: 7}}},
		"face of no area":   {Faces: []FaceLoad{{Face: Face{Frame: geom.World()}}}},
		"face off the body": {Faces: []FaceLoad{{Face: Face{Frame: geom.Frame{Origin: geom.V3(500, 0, 0), X: geom.V3(1, 0, 0), Y: geom.V3(0, 1, 0), Z: geom.V3(0, 0, 1)}, U: 5, V: 5}}}},
	} {
		if _, err := s.Solve(context.Background(), c); err == nil {
			t.Errorf("%s: not refused", name)
		}
	}
	if _, err := s.Solve(context.Background(), Case{Gravity: geom.V3(0, 0, 1e300)}); !errors.Is(err, ErrNoConvergence) {
		t.Errorf("a load out of range: %v", err)
	}
	r, err := s.Solve(context.Background(), Case{})
	if err != nil || r.Energy != 0 || moved(t, r, 0, geom.V3(20, 5, 5)) != (geom.Vec3{}) {
		t.Errorf("no load: %v, %v", r, err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := s.Solve(ctx, Case{Gravity: geom.V3(0, 0, -9810)}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}

	// One cell under its own weight: the reaction is the weight.
	one := board("one", [3]float64{10, 10, 10}, [3]float64{10, 10, 10}, Material{Stiffness: Isotropic(1000, 0.3), Density: 1e-3})
	rr := solve(t, Model{Bodies: []Body{one}, Fixed: []Fixed{{Where: plane(2, 0), Axes: all}}}, Case{Gravity: geom.V3(0, 0, -9810)})
	near(t, "one cell", rr.Reaction(0).Force.Z, 10*10*10*1e-3*9.81e-3, 1e-9)
}

// A bar pulled to a given length: N = EA δ/L, with Poisson's ratio nought.
func TestPrescribed(t *testing.T) {
	b := board("bar", [3]float64{100, 10, 10}, [3]float64{10, 5, 5}, Material{Stiffness: Isotropic(2000, 0)})
	r := solve(t, Model{Bodies: []Body{b}, Fixed: []Fixed{
		{Where: plane(0, 0), Axes: all}, {Where: plane(0, 100), Axes: [3]bool{true, false, false}, Value: geom.V3(0.5, 0, 0)}}}, Case{})
	near(t, "force", r.Reaction(1).Force.X, 2000*100*0.5/100, 1e-6)
	near(t, "held", r.Reaction(0).Force.X, -2000*100*0.5/100, 1e-6)
	near(t, "energy", r.Energy, 1000*0.5/2, 1e-6)
	s, _ := r.Stress(0, geom.V3(50, 5, 10))
	near(t, "stress", s.VonMises(), 10, 1e-6)
	if p := s.Principal(); math.Abs(p[0]-10) > 1e-5 || math.Abs(p[2]) > 1e-5 {
		t.Errorf("principal stresses %v", p)
	}
	c, ok := r.CellStress(0, 4, 1, 0)
	if !ok || math.Abs(c.Along(geom.V3(1, 0, 0))-10) > 1e-5 {
		t.Errorf("stress in a cell %v", c)
	}
}

// The order in which the error falls, and what Richardson makes of it: the
// tension of the shelf falls with the square of the cells' size, so does the
// energy's error.
func TestConvergence(t *testing.T) {
	const L, h = 200.0, 20.0
	var energy []float64
	for _, step := range []float64{10, 5, 2.5} {
		b := board("beam", [3]float64{L, 20, h}, [3]float64{step, step, step}, Material{Stiffness: Isotropic(2000, 0), Density: 1e-3})
		r := solve(t, Model{Bodies: []Body{b}, Fixed: []Fixed{{Where: plane(0, 0), Axes: all}}}, Case{Gravity: geom.V3(0, 0, -9810)})
		energy = append(energy, r.Energy)
	}
	// U = ∫ M²/2EI + 0.6 V²/GA along a cantilever under its own weight.
	q := 1e-3 * 9.81e-3 * 20 * h
	want := q*q*math.Pow(L, 5)/(40*2000*20*h*h*h/12) + 0.6*q*q*L*L*L/(3*1000*20*h)
	order := math.Log2((energy[1] - energy[0]) / (energy[2] - energy[1]))
	value, off := Extrapolate(energy[1], energy[2], 2, 2)
	t.Logf("energies %v, known %.6g, order %.2f, extrapolated %.6g ± %.2g", energy, want, order, value, off)
	if order < 1.5 {
		t.Errorf("order %.2f", order)
	}
	near(t, "extrapolated", value, want, 0.002)
	if math.Abs(value-want) > off {
		t.Errorf("the error is %.3g, the estimate of the finest was %.3g", value-want, off)
	}
}

// Whatever the cells, a lattice is refused, found loose, or in balance.
func TestAnyLattice(t *testing.T) {
	solved, loose := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		var l Lattice
		n := 1
		for a := range 3 {
			p := []float64{0}
			for range rapid.IntRange(1, 4).Draw(t, "cells") {
				p = append(p, p[len(p)-1]+rapid.SampledFrom([]float64{0.4, 5, 5, 12}).Draw(t, "edge"))
			}
			l.Planes[a] = p
			n *= len(p) - 1
		}
		l.Fill = rapid.SliceOfN(rapid.SampledFrom([]float64{0, 0.005, 0.02, 0.5, 1, 1, 1}), n, n).Draw(t, "fill")
		l.Material = rapid.SliceOfN(rapid.SampledFrom([]uint8{0, 0, 1}), n, n).Draw(t, "material")
		b := Body{Name: "any", Frame: askew(geom.V3(1, 2, 3)), Lattice: l, Materials: []Material{
			{Stiffness: Isotropic(2000, 0.4), Density: 1e-3}, {Stiffness: Isotropic(3, 0.1), Density: 1e-4}}}
		m := Model{Bodies: []Body{b}, Fixed: []Fixed{{Where: plane(rapid.IntRange(0, 2).Draw(t, "side"), 0), Axes: all}}}
		s, err := Assemble(context.Background(), m, Options{})
		if err != nil {
			var mech *Mechanism
			if errors.As(err, &mech) {
				loose++
			} else if !errors.Is(err, ErrEmpty) && !strings.Contains(err.Error(), "no node") {
				t.Fatal(err)
			}
			return
		}
		g := geom.V3(1000, 2000, -9810)
		r, err := s.Solve(context.Background(), Case{Gravity: g})
		if err != nil {
			t.Fatal(err)
		}
		solved++
		mass := 0.0
		for c, f := range l.Fill {
			if f >= MinFill {
				mass += l.volume(c) * b.Materials[l.Material[c]].Density
			}
		}
		if f := r.Reaction(0).Force; f.Add(g.Scale(mass*1e-6)).Len() > 1e-3*mass*1e-6*g.Len() {
			t.Errorf("reaction %v to a weight of %v", f, g.Scale(mass*1e-6))
		}
	})
	if solved == 0 || loose == 0 {
		t.Errorf("%d solved, %d loose: the lattices are too tame", solved, loose)
	}
}

// Crumbs are dropped on demand, and too many refused.
func TestCrumbs(t *testing.T) {
	b := board("crumbs", [3]float64{400, 10, 400}, [3]float64{10, 10, 10}, Material{Stiffness: Isotropic(2000, 0.4), Density: 1e-3})
	s := b.Lattice.Size()
	for i := range b.Lattice.Fill {
		if x, z := i%s[0], i/s[0]; x > 4 && (x%2 == 1 || z%2 == 1) {
			b.Lattice.Fill[i] = 0
		}
	}
	m := Model{Bodies: []Body{b}, Fixed: []Fixed{{Where: plane(0, 0), Axes: all}}}
	if _, err := Assemble(context.Background(), m, Options{}); !errors.Is(err, ErrCrumbs) {
		t.Errorf("crumbs: %v", err)
	}
	var dropped float64
	m.Bodies[0].Lattice, dropped = b.Lattice.Whole()
	near(t, "dropped", dropped, 17*20*1000, 1e-9)
	solve(t, m, Case{Gravity: geom.V3(0, 0, -9810)})
}
