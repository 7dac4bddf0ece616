package stress

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/elastic"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
)

// made is a bare piece of the given members and joints, sizes of the cores.
func made(t testing.TB, members, joints string) Inputs {
	t.Helper()
	return given(t, []byte("groundwork: 1\nname: test\nuse: other\nsizes: core\nfilament: abs\nmembers:\n"+members+joints+"surfaces:\n  - {on: \"*\", show: bare}\n"))
}

// massive is the inputs with core fill as dense as the shell.
func massive(in Inputs) Inputs {
	of := in.Profile
	in.Profile = func(i int) shop.Profile {
		p := of(i)
		p.Fill = 1
		return p
	}
	return in
}

const bar = `
  bar:
    board: {rectangle: {length: 400 mm, width: 40 mm}, thickness: 20 mm}
    at: [0, 0, 0]
`

// ends of bar: its surfaces are numbered round its outline.
func endOf(t testing.TB, in Inputs, m int, normal geom.Vec3) int {
	t.Helper()
	for i, s := range in.Cores[m].Surfaces(0.1) {
		if s.Kind == piece.Plane && in.Cores[m].Place.Dir(s.Normal(geom.Vec2{})).Dot(normal) > 0.999 {
			return i
		}
	}
	t.Fatal("no such end")
	return 0
}

func cantilever(t testing.TB) Inputs {
	in := massive(made(t, bar, ""))
	in.Floor = false
	in.Held = []Held{{Member: 0, Surface: endOf(t, in, 0, geom.V3(-1, 0, 0))}}
	return in
}

// A cantilever held at its end: FL³/3EI + 1.2 FL/AG, and its own weight q L⁴/8EI
// (Timoshenko, Strength of Materials I). The layers lie in the board's plane, so
// that E is of the layers and G of the shear between them.
func TestCantilever(t *testing.T) {
	in := cantilever(t)
	const L, b, h, F = 400.0, 40.0, 20.0, 20.0
	pl, err := newPlastic(in.Filament(0), in.Profile(0), 1)
	if err != nil {
		t.Fatal(err)
	}
	tip := geom.V3(L/2, 0, h)
	for _, cell := range []float64{0, 6} {
		s := assembled(t, in, Options{Cell: cell})
		near(t, "weight", weight(s), L*b*h*in.Filament(0).Density*1e-3*Gravity*1e-6, 1e-6)
		rest := solved(t, s, Case{ID: "own weight"})
		st := solved(t, s, Case{ID: "tip", Loads: []Load{pressing(0, geom.V3(L/2-5, 0, h), geom.V3(0, 0, 1), geom.V3(0, 0, -F), 10)}})
		u0, _ := rest.Displacement(0, tip)
		u, ok := st.Displacement(0, tip)
		if !ok {
			t.Fatal("no displacement at the tip")
		}
		I, a := b*h*h*h/12, L-5
		want := F*a*a*a/(3*pl.e*I) + F*a*a/(2*pl.e*I)*5 + 1.2*F*a/(b*h*pl.gz)
		near(t, fmt.Sprintf("deflection of cells %.3g", s.Cell()), u0.Z-u.Z, want, 0.02)
		q := weight(s) / L
		near(t, "deflection under its weight", -u0.Z, q*L*L*L*L/(8*pl.e*I)+1.2*q*L*L/2/(b*h*pl.gz), 0.02)
		sig, _ := st.Shell(0, geom.V3(0, 0, h))
		sig0, _ := rest.Shell(0, geom.V3(0, 0, h))
		near(t, "stress at its face half way", sig[0]-sig0[0], 6*F*(a-L/2)/(b*h*h), 0.02)
		moved, mises := st.Surface(0, []geom.Vec3{tip, geom.V3(0, 0, h)})
		if moved[0].Dist(u) > 1e-3*u.Len() || math.Abs(mises[1]-sig.VonMises()) > 1e-3*mises[1] {
			t.Errorf("surface: %v and %v", moved, mises)
		}
		if got := st.Body(0).Moved; math.Abs(got.Value/u.Len()-1) > 0.05 || got.At.X < L/2-s.Cell() {
			t.Errorf("moved most: %+v, tip %v", got, u)
		}
	}
}

// A seam half way along a cantilever carries the shear and the moment of what
// lies beyond it, by statics.
func TestSeamCarries(t *testing.T) {
	in := cantilever(t)
	const F = 20.0
	for name, normal := range map[string]geom.Vec3{"square": geom.V3(1, 0, 0), "slanting": geom.V3(math.Cos(0.5), math.Sin(0.5), 0)} {
		w := 20 / normal.X
		in.Seams = []seam.Seam{{Body: 0, Plane: geom.PlaneAt(geom.V3(50, 0, 10), normal),
			Frame:   geom.FrameFromXZ(geom.V3(50, 0, 10), geom.V3(0, 0, 1), normal),
			Section: geom.Polygons{{geom.V2(-10, -w), geom.V2(10, -w), geom.V2(10, w), geom.V2(-10, w)}}}}
		s := assembled(t, in, Options{})
		st := solved(t, s, Case{ID: "tip", Loads: []Load{pressing(0, geom.V3(190, 0, 20), geom.V3(0, 0, 1), geom.V3(0, 0, -F), 10)}})
		sec, ok := st.Seam(0)
		if !ok {
			t.Fatal("no section")
		}
		own := weight(s) * 150 / 400
		near(t, name+": shear", -sec.Force.Z, F+own, 0.03)
		near(t, name+": moment", sec.Moment.Y, F*140+own*75, 0.03)
		if math.Abs(sec.Force.X) > 1 || math.Abs(sec.Force.Y) > 1 || math.Abs(sec.Moment.Z) > 200 {
			t.Errorf("%s: %+v", name, sec)
		}
		if name == "square" {
			near(t, "tension", sec.Tension.Value, 6*(F*140+own*75)/(40*20*20), 0.05)
		}
	}
}

const shelf = `
  left:
    board: {rectangle: {length: 60 mm, width: 120 mm}, thickness: 20 mm}
    at: [-200, 0, 0]
  right:
    board: {rectangle: {length: 60 mm, width: 120 mm}, thickness: 20 mm}
    at: [200, 0, 0]
  shelf:
    board: {rectangle: {length: 460 mm, width: 120 mm}, thickness: 20 mm}
    at: [0, 0, 20 mm]
`

// A shelf that only rests on two blocks: it lies between a beam on supports as far
// apart as the blocks' inner edges and one as far as their middles, since it bears
// on the inner edges once it bends; 5qL⁴/384EI + qL²/8GA·1.2.
func TestShelfOnRests(t *testing.T) {
	in := massive(made(t, shelf, "joints:\n  - {between: [shelf, left], kind: rests}\n  - {between: [shelf, right], kind: rests}\n"))
	pl, _ := newPlastic(in.Filament(0), in.Profile(0), 1)
	const F = 300.0
	m := member(t, in, "shelf")
	s := assembled(t, in, Options{})
	load := Load{Member: m, Frame: geom.FrameFromXZ(geom.V3(0, 0, 40), geom.V3(1, 0, 0), geom.V3(0, 0, 1)), Force: geom.V3(0, 0, -F),
		Region: geom.Polygons{{geom.V2(-150, -60), geom.V2(150, -60), geom.V2(150, 60), geom.V2(-150, 60)}}}
	st := solved(t, s, Case{ID: "shelf", Loads: []Load{load}})
	rest := solved(t, s, Case{ID: "own weight"})
	at := func(st *State, x float64) float64 { u, _ := st.Displacement(m, geom.V3(x, 0, 30)); return u.Z }
	got := (at(rest, 0) - at(rest, 170)) - (at(st, 0) - at(st, 170))
	// Even load over 2c = 300 in the middle of a span 2l: the deflection is the
	// integral of M x / EI from the support.
	sag := func(span float64) float64 {
		q, l, c, I := F/300, span/2, 150.0, 120.0*20*20*20/12
		sum := 0.0
		const n = 2000
		for i := range n {
			x := l * (float64(i) + 0.5) / n // from the support
			d := l - x                      // from the middle
			M := F / 2 * x
			V := F / 2
			if d < c {
				M -= q * (c - d) * (c - d) / 2
				V = q * d
			}
			sum += (M*x/(pl.e*I) + 1.2*V/(pl.gz*120*20)) * l / n
		}
		return sum
	}
	if lo, hi := sag(340), sag(352); got < lo*0.97 || got > hi*1.03 {
		t.Errorf("sag %.4f, between %.4f and %.4f", got, lo, hi)
	}
	up := 0.0
	for _, r := range st.Floor() {
		up += r.Force.Z
	}
	near(t, "floor", up, weight(s)+F, 5e-4) // as far as a case is solved
}

// A printed bar of contours, cover layers and core fill on two narrow rests, loaded in the
// middle: FL³/48EI + FL/4S (Allen, Analysis and Design of Structural Sandwich
// Panels, 1969, with side walls).
func TestSandwichBar(t *testing.T) {
	in := made(t, `
  left:
    board: {rectangle: {length: 4 mm, width: 60 mm}, thickness: 20 mm}
    at: [-200, 0, 0]
  right:
    board: {rectangle: {length: 4 mm, width: 60 mm}, thickness: 20 mm}
    at: [200, 0, 0]
  bar:
    board: {rectangle: {length: 440 mm, width: 60 mm}, thickness: 25 mm}
    at: [0, 0, 20 mm]
`, "joints:\n  - {between: [bar, left], kind: rests}\n  - {between: [bar, right], kind: rests}\n")
	of := in.Profile
	in.Profile = func(i int) shop.Profile {
		p := of(i)
		p.Layer, p.CoverLayers, p.Line, p.Contours, p.Fill = 0.2, 6, 0.4, 3, 0.15
		if i < 2 {
			p.Fill = 1
		}
		return p
	}
	in.Floor = false
	in.Held = []Held{{Member: 0, Surface: surfaceNamed(t, in, 0, "back")}, {Member: 1, Surface: surfaceNamed(t, in, 1, "back")}}
	for _, cell := range []float64{12, 8} {
		s := assembled(t, in, Options{Cell: cell})
		m := member(t, in, "bar")
		const F, L, h, b, tf, tw = 200.0, 400.0, 25.0, 60.0, 1.2, 1.2
		rest := solved(t, s, Case{ID: "own weight"})
		st := solved(t, s, Case{ID: "middle", Loads: []Load{{Member: m, Frame: geom.FrameFromXZ(geom.V3(0, 0, 45), geom.V3(1, 0, 0), geom.V3(0, 0, 1)), Force: geom.V3(0, 0, -F),
			Region: geom.Polygons{{geom.V2(-10, -30), geom.V2(10, -30), geom.V2(10, 30), geom.V2(-10, 30)}}}}})
		at := func(st *State, x, z float64) float64 { u, _ := st.Displacement(m, geom.V3(x, 0, z)); return u.Z }
		got := (at(rest, 0, 20) - at(rest, 200, 20)) - (at(st, 0, 20) - at(st, 200, 20))
		pl := s.bodies[m].plastic
		c, d, bi := h-2*tf, h-tf, b-2*tw
		ec := 0.15 * pl.e / 3
		EI := pl.e*bi*tf*tf*tf/6 + pl.e*bi*tf*d*d/2 + ec*bi*c*c*c/12 + 2*pl.e*tw*h*h*h/12
		S := 0.075*pl.gz*bi*d*d/c + 2*5.0/6*pl.gz*tw*h
		// The load's 20 mm take a little off: F(8L³ - 4La² + a³)/384EI.
		want := F*(8*L*L*L-4*L*20*20+20*20*20)/(384*EI) + F*(L-10)/(4*S)
		near(t, fmt.Sprintf("deflection of cells %.3g", cell), got, want, 0.05)
		state := st.Body(m)
		if state.Core.Value <= 0 || state.Core.Value > state.Mises.Value*1.5 {
			t.Errorf("core %+v, shell %+v", state.Core, state.Mises)
		}
		mass := s.bodies[m].mass()
		shell := 440*60*25.0 - (440-2*tw)*bi*c
		near(t, "mass", mass, pl.density*(shell+0.15*(440-2*tw)*bi*c), 0.01)
	}
}

// Two boards glued end to end are as one board.
func TestGluedEndToEnd(t *testing.T) {
	two := massive(made(t, `
  near:
    board: {rectangle: {length: 200 mm, width: 40 mm}, thickness: 20 mm}
    at: [-100, 0, 0]
  far:
    board: {rectangle: {length: 200 mm, width: 40 mm}, thickness: 20 mm}
    at: [100, 0, 0]
`, "joints:\n  - {between: [near, far], kind: glued, dowels: 0}\n"))
	two.Floor = false
	two.Held = []Held{{Member: 0, Surface: endOf(t, two, 0, geom.V3(-1, 0, 0))}}
	one := cantilever(t)
	var tip [2]float64
	var its [2]int
	for i, in := range []Inputs{one, two} {
		s := assembled(t, in, Options{Cell: 10})
		m := i // the bar, or the farther board
		st := solved(t, s, Case{ID: "tip", Loads: []Load{pressing(m, geom.V3(190, 0, 20), geom.V3(0, 0, 1), geom.V3(0, 0, -20), 10)}})
		u, _ := st.Displacement(m, geom.V3(200, 0, 20))
		tip[i], its[i] = u.Z, st.Iterations()
		if i == 1 {
			f := st.Films()
			if len(f) != 1 {
				t.Fatalf("%d films", len(f))
			}
			M := 20*190 + weight(s)/2*100
			near(t, "peel at the film's upper edge, less half a patch", f[0].Tension.Value, 6*M/(40*20*20), 0.5)
		}
	}
	// The film yields: M/(k I) turns the farther half by so much.
	near(t, "tip", tip[1], tip[0], 0.02)
	if its[1] > 2*its[0]+10 {
		t.Errorf("iterations %v", its)
	}
}

// A block screwed to a base and pulled off it: as long as the faces press, the
// screw's tension grows by a share only; once they part it bears the load.
func TestScrewPulled(t *testing.T) {
	in := massive(made(t, `
  base:
    board: {rectangle: {length: 80 mm, width: 80 mm}, thickness: 30 mm}
    at: [0, 0, 0]
  block:
    board: {rectangle: {length: 50 mm, width: 50 mm}, thickness: 24 mm}
    at: [0, 0, 30 mm]
`, "joints:\n  - {between: [base, block], kind: knock-down, screw: M6, through: block, screws: 1, dowels: 0}\n"))
	if n := len(in.Joints.Joints); n != 1 || len(in.Joints.Joints[0].Screws) != 1 {
		t.Fatalf("%d joints: %+v", n, in.Joints.Findings)
	}
	in.Floor = false
	in.Held = []Held{{Member: 0, Surface: surfaceNamed(t, in, 0, "back")}}
	s := assembled(t, in, Options{})
	area, _ := hardwares["M6"].bearing(true)
	want := pressed * in.Filament(0).Strength * area
	pull := func(F float64) Pull {
		st := solved(t, s, Case{ID: "pull", Loads: []Load{pressing(1, geom.V3(0, 0, 54), geom.V3(0, 0, 1), geom.V3(0, 0, F), 40)}})
		p := st.Screws()
		if len(p) != 1 {
			t.Fatalf("%d screws", len(p))
		}
		return p[0]
	}
	near(t, "preload", pull(0).Tension, want, 0.02)
	near(t, "preload told", pull(0).Preload, want, 0.02)
	if p := pull(want / 2).Tension; p < want || p > 1.5*want {
		t.Errorf("half the preload pulls: %g N, preload %g", p, want)
	}
	own := s.bodies[1].mass() * Gravity * 1e-6
	for _, times := range []float64{2.5, 4} {
		near(t, "tension once the faces have parted", pull(times*want).Tension, times*want-own, 1e-3)
	}
	// Creep takes its share of the preload.
	half := assembled(t, in, Options{Creep: func(shop.Filament) float64 { return 0.5 }})
	st := solved(t, half, Case{ID: "rest", Sustained: true})
	near(t, "relaxed", st.Screws()[0].Tension, want/2, 0.02)
	near(t, "relaxed preload told", st.Screws()[0].Preload, want/2, 0.02)
}

// Under a load that stands for months what creeps yields in proportion.
func TestSustainedLoad(t *testing.T) {
	in := cantilever(t)
	s := assembled(t, in, Options{Cell: 10, Creep: func(shop.Filament) float64 { return 0.4 }})
	c := Case{ID: "tip", Loads: []Load{pressing(0, geom.V3(190, 0, 20), geom.V3(0, 0, 1), geom.V3(0, 0, -20), 10)}}
	short := solved(t, s, c)
	c.Sustained = true
	long := solved(t, s, c)
	at := geom.V3(200, 0, 20)
	a, _ := short.Displacement(0, at)
	b, _ := long.Displacement(0, at)
	near(t, "deflection", b.Z, a.Z/0.4, 1e-3)
	near(t, "stress", long.Body(0).Mises.Value, short.Body(0).Mises.Value, 1e-3)
}

// The floor bears the weight and the loads, on every piece of the library, and
// the feet's sideways forces are the loads'.
func TestPiecesInBalance(t *testing.T) {
	loads := map[string]struct {
		member string
		at     geom.Vec3
	}{
		"heron-side-table": {"top", geom.V3(60, 30, 540)},
		"otter-stool":      {"seat", geom.V3(60, 30, 440)},
		"badger-bench":     {"plank", geom.V3(100, 40, 380)},
		"tern-wall-shelf":  {"board", geom.V3(100, -100, 1220)},
	}
	for _, name := range []string{"heron-side-table", "otter-stool", "badger-bench", "tern-wall-shelf"} {
		t.Run(name, func(t *testing.T) {
			in := example(t, name)
			// A weight that is told is the weight that stands there.
			in.Weight = func(i int) float64 { return 300 + 10*float64(i) }
			l := loads[name]
			s := assembled(t, in, Options{Cell: 16})
			force := geom.V3(5, -3, -250)
			st := solved(t, s, Case{ID: "load", Loads: []Load{pressing(member(t, in, l.member), l.at, geom.V3(0, 0, 1), force, 60)}})
			var total, about geom.Vec3
			for i, link := range s.links {
				if link.B != elastic.Ground {
					continue
				}
				f := st.r.Link(i)
				on := link.Axis.Scale(f.Tension).Add(f.Across)
				total = total.Add(on)
				about = about.Add(link.At.Cross(on))
			}
			want := geom.V3(-5, 3, 250+weight(s))
			if total.Dist(want) > 2e-3*want.Len() {
				t.Errorf("held with %v, wants %v", total, want)
			}
			moment := l.at.Cross(force)
			for bi, b := range s.bodies {
				m := b.mass()
				for c, f := range b.lattice.Fill {
					if f >= elastic.MinFill {
						size := b.box(c).Size()
						g := f * size.X * size.Y * size.Z * b.density(int(b.share[c])) * in.Weight(bi) / m * Gravity * 1e-6
						moment = moment.Add(b.frame.Point(b.centre(c)).Cross(geom.V3(0, 0, -g)))
					}
				}
			}
			if about.Add(moment).Len() > 2e-3*moment.Len()+50 {
				t.Errorf("moments %v and %v", about, moment)
			}
			if in.Floor {
				up := 0.0
				for _, r := range st.Floor() {
					if r.Force.Z < -1e-6 {
						t.Errorf("the floor pulls: %+v", r)
					}
					up += r.Force.Z
				}
				near(t, "floor", up, want.Z, 2e-3)
			}
			t.Logf("%d cells, %d links, %d iterations, %v", s.Cells(), len(s.links), st.Iterations(), st.Body(s.bodyOf[member(t, in, l.member)]).Moved)
		})
	}
}

// A table loaded in its middle bears alike on all feet, and bends alike on both
// sides.
func TestMirrorSymmetry(t *testing.T) {
	in := example(t, "heron-side-table")
	for _, o := range []Options{{Cell: 16}, {Rough: true}} {
		s := assembled(t, in, o)
		top := member(t, in, "top")
		st := solved(t, s, Case{ID: "middle", Loads: []Load{pressing(top, geom.V3(0, 0, 540), geom.V3(0, 0, 1), geom.V3(0, 0, -200), 60)}})
		part := 0.01 // which of many faces slip is a matter of how they are come at
		if o.Rough {
			part = 0.03 // its tolerance
		}
		fl := st.Floor()
		if len(fl) != 4 {
			t.Fatalf("%d feet", len(fl))
		}
		for _, f := range fl {
			near(t, "a foot", f.Force.Z, (weight(s)+200)/4, part)
		}
		for _, p := range []geom.Vec3{geom.V3(200, 30, 530), geom.V3(40, 120, 530)} {
			a, _ := st.Displacement(top, p)
			for _, m := range []geom.Vec3{geom.V3(-1, 1, 1), geom.V3(1, -1, 1), geom.V3(-1, -1, 1)} {
				b, ok := st.Displacement(top, geom.V3(m.X*p.X, m.Y*p.Y, p.Z))
				if !ok || geom.V3(m.X*b.X, m.Y*b.Y, b.Z).Dist(a) > part*st.Body(s.bodyOf[top]).Moved.Value {
					t.Errorf("rough %v: %v moves by %v, mirrored %v by %v", o.Rough, p, a, m, b)
				}
			}
		}
	}
}

// placed is the inputs turned about the vertical and moved over the floor.
func placed(in Inputs, f geom.Frame) Inputs {
	out := in
	out.Cores = append([]piece.Member(nil), in.Cores...)
	for i := range out.Cores {
		out.Cores[i].Place = out.Cores[i].Place.In(f)
	}
	j := *in.Joints
	j.Contacts = append([]joint.Contact(nil), j.Contacts...)
	for i := range j.Contacts {
		j.Contacts[i].Frame = j.Contacts[i].Frame.In(f)
	}
	j.Joints = append([]joint.Joint(nil), j.Joints...)
	for i := range j.Joints {
		sc := append([]joint.Screw(nil), j.Joints[i].Screws...)
		for n := range sc {
			sc[n].Head, sc[n].Axis = f.Point(sc[n].Head), f.Dir(sc[n].Axis)
		}
		d := append([]joint.Dowel(nil), j.Joints[i].Dowels...)
		for n := range d {
			d[n].Center, d[n].Axis = f.Point(d[n].Center), f.Dir(d[n].Axis)
		}
		j.Joints[i].Screws, j.Joints[i].Dowels = sc, d
	}
	out.Joints = &j
	return out
}

// Wherever a piece stands and however it is turned, it bends the same.
func TestWhereverItStands(t *testing.T) {
	in := example(t, "otter-stool")
	seat := member(t, in, "seat")
	find := func(f geom.Frame) (float64, float64, float64) {
		s := assembled(t, placed(in, f), Options{Cell: 16})
		at := f.Point(geom.V3(50, 20, 440))
		st := solved(t, s, Case{ID: "sit", Loads: []Load{pressing(seat, at, geom.V3(0, 0, 1), geom.V3(0, 0, -400), 80)}})
		u, _ := st.Displacement(seat, f.Point(geom.V3(0, 0, 425)))
		return u.Z, st.Screws()[0].Tension, st.Body(seat).Mises.Value
	}
	u0, t0, m0 := find(geom.World())
	rapid.Check(t, func(t *rapid.T) {
		if rapid.IntRange(0, 9).Draw(t, "few") > 0 { // each costs a solution
			return
		}
		a := rapid.Float64Range(0, 2*math.Pi).Draw(t, "turn")
		f := geom.Frame{Origin: geom.V3(rapid.Float64Range(-2000, 2000).Draw(t, "x"), rapid.Float64Range(-2000, 2000).Draw(t, "y"), 0),
			X: geom.V3(math.Cos(a), math.Sin(a), 0), Y: geom.V3(-math.Sin(a), math.Cos(a), 0), Z: geom.V3(0, 0, 1)}
		u, ten, m := find(f)
		for _, v := range [][2]float64{{u, u0}, {ten, t0}, {m, m0}} {
			// The patches of loads and feet are cut along the world's axes.
			if math.Abs(v[0]-v[1]) > 0.02*math.Abs(v[1]) {
				t.Errorf("turned by %g: %g, not %g", a, v[0], v[1])
			}
		}
	})
}

// What is not held is named.
func TestMechanisms(t *testing.T) {
	leg := func(name string, x, y float64) string {
		return fmt.Sprintf("  %s:\n    board: {rectangle: {length: 30 mm, width: 30 mm}, thickness: 100 mm}\n    at: [%g, %g, 0]\n", name, x, y)
	}
	top := "  top:\n    board: {rectangle: {length: 300 mm, width: 200 mm}, thickness: 20 mm}\n    at: [0, 0, 100 mm]\n"
	glue := func(names ...string) string {
		s := "joints:\n"
		for _, n := range names {
			s += "  - {between: [top, " + n + "], kind: glued, dowels: 0}\n"
		}
		return s
	}
	for _, c := range []struct {
		name, members, joints string
		weight                func(int) float64
		says                  string // "" if it stands
	}{
		{"a member that touches nothing", leg("a", -100, 60) + leg("b", 100, 60) + leg("c", 0, -60) + top + "  stray:\n    board: {rectangle: {length: 30 mm, width: 30 mm}, thickness: 20 mm}\n    at: [0, 0, 300 mm]\n",
			glue("a", "b", "c"), nil, "stray"},
		{"three feet stand", leg("a", -100, 60) + leg("b", 100, 60) + leg("c", 0, -60) + top, glue("a", "b", "c"), nil, ""},
		{"two feet in a line, off the middle", leg("a", -100, 60) + leg("b", 100, 60) + top, glue("a", "b"), nil, "top"},
		{"a top that lies on legs at one side", leg("a", -100, 0) + leg("b", -60, 0) + top, "joints:\n  - {between: [top, a], kind: rests}\n  - {between: [top, b], kind: rests}\n", nil, "top"},
		{"one foot in the middle", leg("a", 0, 0) + top, glue("a"), nil, ""},
		{"a pillar on a ball", "  pillar:\n    turning: {profile: [[1, 0], [12, 6], [20, 30], [20, 200]]}\n", "", nil, "pillar"},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := made(t, c.members, c.joints)
			s, err := Assemble(context.Background(), theKernel(t), in, Options{Cell: 16})
			if c.says == "" {
				if err != nil {
					t.Fatal(err)
				}
				up := 0.0
				for _, r := range solved(t, s, Case{ID: "rest"}).Floor() {
					up += r.Force.Z
				}
				near(t, "floor", up, weight(s), 1e-3)
				return
			}
			var m *elastic.Mechanism
			if !errors.As(err, &m) {
				t.Fatalf("no mechanism: %v", err)
			}
			if !strings.Contains(err.Error(), c.says) {
				t.Errorf("%q does not name %s", err, c.says)
			}
		})
	}
	// It stands, but not with somebody leaning on its edge.
	in := made(t, leg("a", -100, 60)+leg("b", 100, 60)+leg("c", 0, -60)+top, glue("a", "b", "c"))
	s := assembled(t, in, Options{Cell: 16})
	_, err := s.Solve(context.Background(), Case{ID: "corner", Loads: []Load{pressing(3, geom.V3(140, -90, 120), geom.V3(0, 0, 1), geom.V3(0, 0, -200), 20)}})
	var m *elastic.Mechanism
	if !errors.As(err, &m) || !strings.Contains(err.Error(), "corner") {
		t.Errorf("leaning on a corner: %v", err)
	}
	// A load beside the piece is no crash.
	if _, err := s.Solve(context.Background(), Case{ID: "beside", Loads: []Load{pressing(3, geom.V3(900, 0, 120), geom.V3(0, 0, 1), geom.V3(0, 0, -200), 20)}}); err == nil {
		t.Error("a load in the air is taken")
	}
}

// The same inputs give the same bits, and a case the same whatever went before.
func TestSameBits(t *testing.T) {
	in := example(t, "badger-bench")
	plank := member(t, in, "plank")
	cs := []Case{
		{ID: "end", Loads: []Load{pressing(plank, geom.V3(300, 0, 380), geom.V3(0, 0, 1), geom.V3(0, 0, -150), 60)}},
		{ID: "middle", Loads: []Load{pressing(plank, geom.V3(0, 0, 380), geom.V3(0, 0, 1), geom.V3(0, 0, -400), 60)}},
	}
	answer := func(order ...int) [2]geom.Vec3 {
		s := assembled(t, in, Options{Cell: 16})
		var out [2]geom.Vec3
		for _, c := range order {
			out[c], _ = solved(t, s, cs[c]).Displacement(plank, geom.V3(20, 30, 370))
		}
		return out
	}
	a, b := answer(0, 1), answer(1, 0)
	if a != b {
		t.Errorf("%v, then %v", a, b)
	}
}
