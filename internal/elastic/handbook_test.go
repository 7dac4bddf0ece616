package elastic

import (
	"context"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"groundwork/internal/geom"
)

// handbook is one quantity with a known value, found with cells of three
// sizes: coarse, the default, and fine.
type handbook struct {
	name, source string
	want         float64
	unit         string
	part         float64 // allowed error with cells of the default size
	got          [3]float64
}

// sizes of cells against the default.
var sizes = [3]float64{2, 1, 0.5}

// upright runs a rectangle in the plane x = const.
func upright(x, u, v float64) Face {
	return Face{Frame: geom.Frame{Origin: geom.V3(x, 0, 0), X: geom.V3(0, 1, 0), Y: geom.V3(0, 0, 1), Z: geom.V3(1, 0, 0)}, U: u, V: v}
}

// onLine holds points of body 0 at x, z for y from 0 to w.
func onLine(x, z, w, step, along, across float64) (links []Link) {
	n := int(math.Ceil(w / step))
	for i := range n + 1 {
		links = append(links, Link{B: Ground, At: geom.V3(x, w*float64(i)/float64(n), z), Axis: geom.V3(0, 0, -1), Along: along / float64(n+1), Across: across / float64(n+1)})
	}
	return links
}

func cantilevers(t *testing.T) []handbook {
	const F, L, b, h, E, nu = 50.0, 300.0, 30.0, 20.0, 2000.0, 0.35
	I := b * h * h * h / 12
	out := []handbook{
		{name: "cantilever, load at its end: deflection", source: "FL³/3EI + 1.2 FL/AG; Timoshenko, Strength of Materials I; Roark table 8.1 case 1a", want: F*L*L*L/(3*E*I) + 1.2*F*L/(b*h*E/(2*(1+nu))), unit: "mm", part: 0.03},
		{name: "cantilever, stress at its face half way along", source: "6M/bh²", want: F * L / 2 * h / 2 / I, unit: "MPa", part: 0.03},
	}
	for i, k := range sizes {
		m := Model{Bodies: []Body{board("beam", [3]float64{L, b, h}, [3]float64{10 * k, 10 * k, 10 * k}, Material{Stiffness: Isotropic(E, nu)})},
			Fixed: []Fixed{{Where: plane(0, 0), Axes: all}}}
		r := solve(t, m, Case{Faces: []FaceLoad{{Face: upright(L, b, h), Force: geom.V3(0, 0, -F)}}})
		out[0].got[i] = -moved(t, r, 0, geom.V3(L, b/2, h/2)).Z
		s, _ := r.Stress(0, geom.V3(L/2, b/2, h))
		out[1].got[i] = s[0]
	}
	return out
}

func shelves(t *testing.T) []handbook {
	// Poisson's ratio is nought, so that the formula of the narrow beam holds
	// for a wide board whose ends are kept straight.
	const L, b, h, E, q = 800.0, 250.0, 18.0, 12000.0, 0.65e-4 * 9.81 * 250
	I, shear := b*h*h*h/12, 1.2*q*L*L/(8*b*h*E/2)
	bend := q * L * L * L * L / (384 * E * I)
	out := []handbook{
		{name: "shelf on its ends, even load: deflection", source: "5qL⁴/384EI + 1.2 qL²/8AG; Roark table 8.1 case 2e; load of trade shelves, 0.65 kg/dm²", want: 5*bend + shear, unit: "mm", part: 0.03},
		{name: "the same, stress at its face in the middle", source: "6M/bh², M = qL²/8", want: q * L * L / 8 * h / 2 / I, unit: "MPa", part: 0.03},
		{name: "a bad lattice: the shelf on its ends with both faces inside cells", source: "as above; what fills a cell is spread over its thickness, so the board is too thick", want: 5*bend + shear, unit: "mm", part: 0.45},
		{name: "shelf built in at both ends: deflection", source: "qL⁴/384EI + 1.2 qL²/8AG; Roark table 8.1 case 2d", want: bend + shear, unit: "mm", part: 0.03},
	}
	for i, k := range sizes {
		body := board("shelf", [3]float64{L, b, h}, [3]float64{25 * k, 25 * k, 9 * k}, Material{Stiffness: Isotropic(E, 0), Density: q / (b * h) / 9810 * 1e6})
		g := Case{Gravity: geom.V3(0, 0, -9810)}
		m := Model{Bodies: []Body{body}, Links: append(onLine(0, h/2, b, 12.5, 1e7, 10), onLine(L, h/2, b, 12.5, 1e7, 0)...)}
		r := solve(t, m, g)
		out[0].got[i] = -moved(t, r, 0, geom.V3(L/2, b/2, h/2)).Z
		s, _ := r.Stress(0, geom.V3(L/2, b/2, 0))
		out[1].got[i] = s[0]
		r = solve(t, Model{Bodies: []Body{body}, Fixed: []Fixed{{Where: plane(0, 0), Axes: all}, {Where: plane(0, L), Axes: all}}}, g)
		out[3].got[i] = -moved(t, r, 0, geom.V3(L/2, b/2, h/2)).Z

		cut := body
		step := 9 * k
		cut.Lattice.Planes[2] = nil
		for z := -2 * step / 3; z < h; z += step {
			cut.Lattice.Planes[2] = append(cut.Lattice.Planes[2], z)
		}
		cut.Lattice.Planes[2] = append(cut.Lattice.Planes[2], cut.Lattice.Planes[2][len(cut.Lattice.Planes[2])-1]+step)
		// The lowest cell is a third full, the highest two thirds.
		cut.Lattice = Carve(cut.Lattice.Planes, 30, func(p geom.Vec3) bool { return p.Z > 0 && p.Z < h })
		r = solve(t, Model{Bodies: []Body{cut}, Links: m.Links}, g)
		out[2].got[i] = -moved(t, r, 0, geom.V3(L/2, b/2, h/2)).Z
	}
	return out
}

// disc is a plate of radius a about the origin, its lower face in z = 0.
func disc(a, thick, step, layer float64, m Material) Body {
	xy := Planes(step, -a, a)
	return Body{Name: "disc", Frame: geom.World(), Materials: []Material{m},
		Lattice: Carve([3][]float64{xy, xy, Planes(layer, 0, thick)}, 4, func(p geom.Vec3) bool { return p.X*p.X+p.Y*p.Y < a*a })}
}

func ring(n int, r, z float64, f func(at geom.Vec3) Link) (links []Link) {
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		links = append(links, f(geom.V3(r*c, r*s, z)))
	}
	return links
}

func circles(t *testing.T) []handbook {
	const a, thick, E, nu, q, F, c = 300.0, 25.0, 2000.0, 0.35, 0.001, 1000.0, 60.0
	D := E * thick * thick * thick / (12 * (1 - nu*nu))
	Gt := 5. / 6 * E / (2 * (1 + nu)) * thick
	shear := q * a * a / (4 * Gt)
	out := []handbook{
		{name: "round plate on its rim, even load: deflection", source: "(5+ν)/(1+ν) qa⁴/64D + qa²/4κGt, κ 5/6; Timoshenko and Woinowsky-Krieger, Plates and Shells, art. 16, 20; Mindlin", want: (5+nu)/(1+nu)*q*a*a*a*a/(64*D) + shear, unit: "mm", part: 0.03},
		{name: "the same, stress at its face in the middle", source: "6M/t², M = (3+ν) qa²/16", want: 6 * (3 + nu) * q * a * a / 16 / (thick * thick), unit: "MPa", part: 0.03},
		{name: "round plate clamped at its rim, even load: deflection", source: "qa⁴/64D + qa²/4κGt; as above", want: q*a*a*a*a/(64*D) + shear, unit: "mm", part: 0.03},
		{name: "round plate on its rim, 1000 N over radius 60: deflection", source: "P/16πD [(3+ν)/(1+ν) a² + c² ln(c/a) - (7+3ν)/(4+4ν) c²] + P/2πκGt [1/2 + ln(a/c)]; Plates and Shells, art. 16; Mindlin",
			want: F/(16*math.Pi*D)*((3+nu)/(1+nu)*a*a+c*c*math.Log(c/a)-(7+3*nu)/(4*(1+nu))*c*c) + F/(2*math.Pi*Gt)*(0.5+math.Log(a/c)), unit: "mm", part: 0.03},
	}
	for i, k := range sizes {
		body := disc(a, thick, 15*k, 12.5*k, Material{Stiffness: Isotropic(E, nu), Density: q / thick / 9810 * 1e6})
		g := Case{Gravity: geom.V3(0, 0, -9810)}
		rim := Model{Bodies: []Body{body}, Links: ring(180, a, thick/2, func(p geom.Vec3) Link {
			return Link{B: Ground, At: p, Axis: geom.V3(0, 0, -1), Along: 1e5, Across: 0.01}
		})}
		sys, err := Assemble(context.Background(), rim, Options{})
		if err != nil {
			t.Fatal(err)
		}
		r, err := sys.Solve(context.Background(), g)
		if err != nil {
			t.Fatal(err)
		}
		out[0].got[i] = -moved(t, r, 0, geom.V3(0, 0, thick/2)).Z
		s, _ := r.Stress(0, geom.V3(0, 0, 0))
		out[1].got[i] = s[0]
		var patch Case
		const rings, spokes = 12, 48 // equal areas
		for n := range rings {
			for m := range spokes {
				s, co := math.Sincos(2 * math.Pi * (float64(m) + 0.5) / spokes)
				rr := c * math.Sqrt((float64(n)+0.5)/rings)
				patch.Points = append(patch.Points, PointLoad{At: geom.V3(rr*co, rr*s, thick/2), Force: geom.V3(0, 0, -F/(rings*spokes))})
			}
		}
		if r, err = sys.Solve(context.Background(), patch); err != nil {
			t.Fatal(err)
		}
		out[3].got[i] = -moved(t, r, 0, geom.V3(0, 0, thick/2)).Z
		// The plate goes on beyond the clamped circle, so that whole cells are held.
		beyond := body
		beyond.Lattice.Planes[0] = Planes(15*k, -a-60, -a, a, a+60)
		beyond.Lattice.Planes[1] = beyond.Lattice.Planes[0]
		beyond.Lattice = Carve(beyond.Lattice.Planes, 1, func(geom.Vec3) bool { return true })
		clamp := Model{Bodies: []Body{beyond}}
		for _, z := range []float64{0, thick / 2, thick} {
			clamp.Links = append(clamp.Links, ring(720, a, z, func(p geom.Vec3) Link {
				return Link{B: Ground, At: p, Axis: geom.V3(0, 0, -1), Along: 1e4, Across: 1e4}
			})...)
		}
		r = solve(t, clamp, g)
		out[2].got[i] = -moved(t, r, 0, geom.V3(0, 0, thick/2)).Z
	}
	return out
}

// A round plate on three legs: tables of w = k P a²/D. Centre and rim between
// the legs, over the legs' height.
func threeLegs(t *testing.T) []handbook {
	const a, thick, E, nu = 300.0, 12.0, 2000.0, 0.35
	const load = 100.0
	D := E * thick * thick * thick / (12 * (1 - nu*nu))
	src := "k P a²/D by Fourier series and Ritz, ν 0.35; the rim row at ν 0.25 agrees with Plates and Shells, art. 67"
	out := []handbook{
		{name: "round plate on three points at its rim, even load: centre", source: src, want: 0.03707, part: 0.03},
		{name: "the same: rim between the points", source: src, want: 0.03105, part: 0.03},
		{name: "three points at 0.70 of the radius, even load: rim between", source: src, want: 0.00908, part: 0.03},
		{name: "three points at its rim, load at the centre: centre", source: src, want: 0.06673, part: 0.03},
		{name: "three points at 0.65 of the radius, load at the centre: centre", source: src, want: 0.02106, part: 0.03},
	}
	for i := range out {
		out[i].unit = "Pa²/D"
	}
	legs := func(body Body, r float64) *System {
		var links []Link
		for i := range 3 {
			s, c := math.Sincos(2 * math.Pi * float64(i) / 3)
			links = append(links, Link{B: Ground, At: geom.V3(r*c, r*s, thick/2), Axis: geom.V3(0, 0, -1), Along: 1e5, Across: 0.01})
		}
		sys, err := Assemble(context.Background(), Model{Bodies: []Body{body}, Links: links}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		return sys
	}
	for i, k := range sizes {
		body := disc(a, thick, 15*k, 6*k, Material{Stiffness: Isotropic(E, nu), Density: load / (math.Pi * a * a * thick) / 9810 * 1e6})
		find := func(sys *System, c Case, p geom.Vec3) float64 {
			r, err := sys.Solve(context.Background(), c)
			if err != nil {
				t.Fatal(err)
			}
			return -moved(t, r, 0, p).Z * D / (load * a * a)
		}
		even := Case{Gravity: geom.V3(0, 0, -9810)}
		point := Case{Points: []PointLoad{{At: geom.V3(0, 0, thick/2), Force: geom.V3(0, 0, -load)}}}
		mid, rim := geom.V3(0, 0, thick/2), geom.V3(-a, 0, thick/2)
		wide, narrow, tight := legs(body, a), legs(body, 0.7*a), legs(body, 0.65*a)
		out[0].got[i] = find(wide, even, mid)
		out[1].got[i] = find(wide, even, rim)
		out[2].got[i] = find(narrow, even, rim)
		out[3].got[i] = find(wide, point, mid)
		out[4].got[i] = find(tight, point, mid)
	}
	return out
}

// A half ring bent by a couple: Winkler's bar.
func curved(t *testing.T) []handbook {
	const ri, ro, b, M, E, nu = 50.0, 100.0, 20.0, 1e5, 2000.0, 0.35
	rn := (ro - ri) / math.Log(ro/ri)
	e := (ri+ro)/2 - rn
	A := b * (ro - ri)
	stress := func(r float64) float64 { return M * (rn - r) / (A * e * r) }
	N := math.Pow(ro*ro-ri*ri, 2) - math.Pow(2*ri*ro*math.Log(ro/ri), 2)
	src := "Winkler and Bach: σ = M (r_n - r)/(A e r); Timoshenko, Strength of Materials II; Roark ch. 9"
	out := []handbook{
		{name: "half ring 50 to 100 under a couple: turn half way along", source: "4M (r_o² - r_i²) π/(N E b), exact; Timoshenko and Goodier, art. 29 (Winkler's Mπ/2EAe is 0.0274)", want: 4 * M / b * (ro*ro - ri*ri) * math.Pi / (N * E), unit: "rad", part: 0.03},
		{name: "the same, stress at r 55", source: src, want: stress(55), unit: "MPa", part: 0.03},
		{name: "the same, stress at r 95", source: src, want: stress(95), unit: "MPa", part: 0.03},
		{name: "the same, stress at its inner face, r 50", source: src, want: stress(50), unit: "MPa", part: 0.15},
		{name: "the same, stress at its outer face, r 100", source: src, want: stress(100), unit: "MPa", part: 0.15},
	}
	for i, k := range sizes {
		h := 5 * k
		body := Body{Name: "ring", Frame: geom.World(), Materials: []Material{{Stiffness: Isotropic(E, nu)}},
			Lattice: Carve([3][]float64{Planes(h, -ro, ro), Planes(h, 0, ro), Planes(10, 0, b)}, 6, func(p geom.Vec3) bool {
				r := math.Hypot(p.X, p.Y)
				return r > ri && r < ro
			})}
		// A straight piece would be bent by a linear traction; the ring's own
		// distribution does least harm near the end.
		var c Case
		const n = 100
		for j := range n {
			r := ri + (ro-ri)*(float64(j)+0.5)/n
			for z := range 4 {
				c.Points = append(c.Points, PointLoad{At: geom.V3(r, 0, b*(float64(z)+0.5)/4), Force: geom.V3(0, -stress(r)*A/n/4, 0)})
			}
		}
		r := solve(t, Model{Bodies: []Body{body}, Fixed: []Fixed{{Where: geom.Box3{Min: geom.V3(-ro, 0, 0), Max: geom.V3(-ri, 0, b)}, Axes: all}}}, c)
		u, v := moved(t, r, 0, geom.V3(0, ri+5, b/2)), moved(t, r, 0, geom.V3(0, ro-5, b/2))
		out[0].got[i] = math.Abs(v.X-u.X) / (ro - ri - 10)
		for j, at := range []float64{55, 95, 50, 100} {
			s, ok := r.Stress(0, geom.V3(0, at, b/2))
			if !ok {
				t.Fatal("no stress on the ring")
			}
			out[1+j].got[i] = s[0]
		}
	}
	return out
}

// core is what a triangular fill of relative density rho makes of a material
// with modulus e and Poisson's ratio nu: Gibson and Ashby, Cellular Solids, and
// Wang and McDowell 2004; the shear along the cells is half that of the matter.
func coreFill(t *testing.T, e, nu, rho float64) Stiffness {
	g := rho / 2 * e / (2 * (1 + nu))
	s, err := Orthotropic{E1: rho / 3 * e, E2: rho / 3 * e, E3: rho * e, G12: rho / 8 * e, G23: g, G31: g, Nu12: 1. / 3, Nu13: nu / 3, Nu23: nu / 3}.Stiffness()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func sandwiches(t *testing.T) []handbook {
	const E, nu, h, b, tf, rho, L, F = 2000.0, 0.35, 25.0, 60.0, 1.2, 0.15, 400.0, 200.0
	Gf, Ec, Gc := E/(2*(1+nu)), rho/3*E, rho/2*E/(2*(1+nu))
	c, d := h-2*tf, h-tf
	beam := func(tw float64) (EI, S float64) {
		bi := b - 2*tw
		return E*bi*tf*tf*tf/6 + E*bi*tf*d*d/2 + Ec*bi*c*c*c/12 + 2*E*tw*h*h*h/12, Gc*bi*d*d/c + 2*5./6*Gf*tw*h
	}
	src := "FL³/48EI + FL/4S; Allen, Analysis and Design of Structural Sandwich Panels, 1969"
	EI, S := beam(1.2)
	EI0, S0 := beam(0)
	out := []handbook{
		{name: "printed bar with contours and core fill on two supports: deflection", source: src, want: F*L*L*L/(48*EI) + F*L/(4*S), unit: "mm", part: 0.03},
		{name: "sandwich without side walls: deflection", source: src, want: F*L*L*L/(48*EI0) + F*L/(4*S0), unit: "mm", part: 0.03},
		// The mean over the width: in a wide bar the middle has less (Timoshenko and
		// Goodier, art. 124). ASTM C393's F/((h+c) b), 0.0700, is the mean over the depth.
		{name: "the same, shear at mid-depth of the core, mean of the width", source: "V/EI (E t d/2 + Ec c²/8); Allen, as above", want: F / 2 / EI0 * (E*tf*d/2 + Ec*c*c/8), unit: "MPa", part: 0.03},
		{name: "the same, stress at its face a quarter along", source: "E M z/EI; Allen", want: E * F * L / 8 * h / 2 / EI0, unit: "MPa", part: 0.03},
	}
	for i, k := range sizes {
		for j, tw := range []float64{1.2, 0} {
			step := 10 * k
			y := Planes(step, 0, b)
			if tw > 0 {
				y = Planes(step, 0, tw, b-tw, b)
			}
			l := Lattice{Planes: [3][]float64{Planes(step, 0, L), y, Planes(step*0.6, 0, tf, h-tf, h)}}
			n := l.Size()
			for kk := range n[2] {
				for jj := range n[1] {
					for range n[0] {
						var m uint8
						if kk > 0 && kk < n[2]-1 && (tw == 0 || jj > 0 && jj < n[1]-1) {
							m = 1
						}
						l.Fill, l.Material = append(l.Fill, 1), append(l.Material, m)
					}
				}
			}
			body := Body{Name: "bar", Frame: geom.World(), Lattice: l, Materials: []Material{{Stiffness: Isotropic(E, nu)}, {Stiffness: coreFill(t, E, nu, rho)}}}
			var m Model
			m.Bodies = []Body{body}
			for _, z := range []float64{0, h / 2, h} { // the whole end is held up, not its lower cover alone
				m.Links = append(m.Links, onLine(0, z, b, 5, 1e6, 0)...)
				m.Links = append(m.Links, onLine(L, z, b, 5, 1e6, 0)...)
			}
			m.Links = append(m.Links, onLine(L/2, h/2, b, 20, 0, 10)...)
			var c Case
			for _, z := range []float64{0, h} {
				for n := range 60 {
					c.Points = append(c.Points, PointLoad{At: geom.V3(L/2, float64(n)+0.5, z), Force: geom.V3(0, 0, -F/120)})
				}
			}
			r := solve(t, m, c)
			out[j].got[i] = -moved(t, r, 0, geom.V3(L/2, b/2, h/2)).Z
			if j == 1 {
				const across = 60
				for n := range across {
					s, _ := r.Stress(0, geom.V3(L/4, b*(float64(n)+0.5)/across, h/2))
					out[2].got[i] += math.Abs(s[4]) / across
				}
				s, _ := r.Stress(0, geom.V3(L/4, b/2, 0))
				out[3].got[i] = s[0]
			}
		}
	}
	return out
}

func torsion(t *testing.T) []handbook {
	const L, b, h, E, nu, T = 300.0, 20.0, 10.0, 2000.0, 0.35, 2000.0
	G := E / (2 * (1 + nu))
	out := []handbook{{name: "bar 20 x 10 under a twist, between 100 and 200 of 300: turn, two cells thick", source: "TL/(0.229 b t³ G); Timoshenko and Goodier, Theory of Elasticity, art. 109", want: T * 100 / (0.229 * b * h * h * h * G), unit: "rad", part: 0.08}}
	for i, k := range sizes {
		body := board("bar", [3]float64{L, b, h}, [3]float64{10 * k, 5 * k, 5 * k}, Material{Stiffness: Isotropic(E, nu)})
		c := Case{Points: []PointLoad{
			{At: geom.V3(L, 0, h/2), Force: geom.V3(0, 0, -T/b)}, {At: geom.V3(L, b, h/2), Force: geom.V3(0, 0, T/b)}}}
		r := solve(t, Model{Bodies: []Body{body}, Fixed: []Fixed{{Where: plane(0, 0), Axes: all}}}, c)
		turn := func(x float64) float64 {
			return (moved(t, r, 0, geom.V3(x, b, h/2)).Z - moved(t, r, 0, geom.V3(x, 0, h/2)).Z) / b
		}
		out[0].got[i] = turn(200) - turn(100)
	}
	return out
}

func TestHandbook(t *testing.T) {
	var b strings.Builder
	fmt.Fprintln(&b, "| case | known | cells twice as large | default cells | half as large | off | source |")
	fmt.Fprintln(&b, "|---|---|---|---|---|---|---|")
	for _, f := range []func(*testing.T) []handbook{cantilevers, shelves, circles, threeLegs, curved, sandwiches, torsion} {
		for _, h := range f(t) {
			off := h.got[1]/h.want - 1
			if !(math.Abs(off) <= h.part) {
				t.Errorf("%s: %.5g, want %.5g: %.2f %% off, %.0f %% allowed", h.name, h.got[1], h.want, 100*off, 100*h.part)
			}
			fmt.Fprintf(&b, "| %s | %.4g %s | %.4g | %.4g | %.4g | %+.1f %% | %s |\n", h.name, h.want, h.unit, h.got[0], h.got[1], h.got[2], 100*off, h.source)
		}
	}
	golden(t, "handbook", b.String())
}

// golden compares a part of docs/elastic.md, between marks, with what was
// found; GOLDEN=update writes it.
func golden(t *testing.T, part, got string) {
	const file = "../../docs/elastic.md"
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	open, shut := "<!-- "+part+" -->\n", "<!-- end -->\n"
	before, rest, ok := strings.Cut(string(text), open)
	was, after, ok2 := strings.Cut(rest, shut)
	if !ok || !ok2 {
		t.Fatalf("%s has no part %q", file, part)
	}
	if os.Getenv("GOLDEN") == "update" {
		if err := os.WriteFile(file, []byte(before+open+got+shut+after), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if was != got {
		t.Errorf("%s, part %q is out of date; run with GOLDEN=update. Now:\n%s", file, part, got)
	}
}
