package stress_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"groundwork/examples"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/stress"
)

// The cases of handbooks, from the text of a piece file to the figure: read,
// resolved, contacts found, assembled, solved, asked.

// print is how a member is printed here.
type print struct {
	modulus float64
	solid   bool // otherwise triangles, 15 % of the core filled
	density float64
}

// The profile of the sandwich: shell 1.2 thick all round.
func (p print) profile() shop.Profile {
	out := shop.Profile{Layer: 0.24, FirstLayer: 0.24, Line: 0.4, Contours: 3, CoverLayers: 5, Fill: 0.15, FillPattern: "triangles"}
	if p.solid {
		out.Fill = 1
	}
	return out
}

const (
	softer  = 0.85 // stiffness across layers, and of shear between them, of a material that is not known
	poisson = 0.35
)

// modulusOfShear between layers.
func modulusOfShear(e float64) float64 { return softer * e / (2 * (1 + poisson)) }

// rig is a piece that is to be put under loads.
type rig struct {
	p       *piece.Piece
	in      stress.Inputs
	members map[string]int
}

// rigged takes the text of a piece file through the stages before stress, every
// member a core of its own. held are surfaces, "beam edge-4".
func rigged(t testing.TB, text string, prints map[string]print, held ...string) *rig {
	t.Helper()
	doc, err := piece.Parse("handbook.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	p, _, err := doc.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	return rigOf(t, p, prints, held...)
}

func rigOf(t testing.TB, p *piece.Piece, prints map[string]print, held ...string) *rig {
	t.Helper()
	k, err := stress.Kernel()
	if err != nil {
		t.Fatal(err)
	}
	s, err := examples.Shop()
	if err != nil {
		t.Fatal(err)
	}
	joints, err := joint.Place(context.Background(), k, p, s, joint.Options{MinArea: 5})
	if err != nil {
		t.Fatal(err)
	}
	r := &rig{p: p, members: map[string]int{}}
	r.in = stress.Inputs{Piece: p, Cores: p.Members, Joints: joints, Shop: s}
	of := func(body int) print {
		m := p.Members[body]
		pr, ok := prints[m.Name]
		if !ok {
			pr = prints["*"]
		}
		return pr
	}
	r.in.Filament = func(body int) shop.Filament {
		return shop.Filament{ID: "plain", Material: "plain", Modulus: of(body).modulus, Density: of(body).density * 1e3, Strength: 30, ZFactor: 0.5}
	}
	r.in.Profile = func(body int) shop.Profile { return of(body).profile() }
	for i, m := range p.Members {
		r.members[m.ID] = i
		r.in.Bodies = append(r.in.Bodies, seam.Body{ID: m.ID, Members: []int{i}})
		for j, sf := range m.Surfaces(0.1) {
			if slices.Contains(held, m.ID+" "+sf.Name) || slices.Contains(held, m.Name+" "+sf.Name) {
				r.in.Held = append(r.in.Held, stress.Held{Member: i, Surface: j})
			}
		}
	}
	if len(r.in.Held) < len(held) {
		t.Fatalf("of %q only %d surfaces are found", held, len(r.in.Held))
	}
	return r
}

// sized assembles the rig with cells a number of times as large as the default.
func (r *rig) sized(t testing.TB, times float64) *stress.Structure {
	t.Helper()
	k, err := stress.Kernel()
	if err != nil {
		t.Fatal(err)
	}
	var o stress.Options
	if times != 1 {
		s, err := stress.Assemble(context.Background(), k, r.in, o)
		if err != nil {
			t.Fatal(err)
		}
		o.Cell = s.Cell() * times
	}
	s, err := stress.Assemble(context.Background(), k, r.in, o)
	if err != nil {
		t.Fatal(err)
	}
	if left := s.LeftOut(); len(left) > 0 {
		t.Fatalf("left out: %q", left)
	}
	return s
}

func solveCase(t testing.TB, s *stress.Structure, loads ...stress.Load) *stress.State {
	t.Helper()
	st, err := s.Solve(context.Background(), stress.Case{ID: "case", Loads: loads})
	if err != nil {
		t.Fatal(err)
	}
	return st
}

func displacement(t testing.TB, st *stress.State, body int, p geom.Vec3) geom.Vec3 {
	t.Helper()
	u, ok := st.Displacement(body, p)
	if !ok {
		t.Fatalf("body %d is not at %v", body, p)
	}
	return u
}

func stressAt(t testing.TB, st *stress.State, body int, p geom.Vec3) [6]float64 {
	t.Helper()
	s, ok := st.Stress(body, p)
	if !ok {
		t.Fatalf("body %d is not at %v", body, p)
	}
	return s
}

func box(u, v float64) geom.Polygons {
	return geom.Polygons{{geom.V2(-u/2, -v/2), geom.V2(u/2, -v/2), geom.V2(u/2, v/2), geom.V2(-u/2, v/2)}}
}

func circle(r float64) geom.Polygons {
	var p geom.Polygon
	for i := range 96 {
		s, c := math.Sincos(2 * math.Pi * float64(i) / 96)
		p = append(p, geom.V2(r*c, r*s))
	}
	return geom.Polygons{p}
}

// onTop is a load straight down on a region about a point of a level surface.
func onTop(member int, at geom.Vec3, region geom.Polygons, n float64) stress.Load {
	f := geom.World()
	f.Origin = at
	return stress.Load{Member: member, Frame: f, Region: region, Force: geom.V3(0, 0, -n)}
}

// known is one quantity with its true value, found with cells of three sizes.
type known struct {
	name, source string
	want         float64
	unit         string
	part         float64    // allowed error with cells of the default size, as a part of want or of
	of           float64    // the largest deflection of the plate, where want is near nought
	sizes        [3]float64 // cells against the default
	got          [3]float64
}

// sizes of cells against the default; plates have more cells and stop sooner.
var sizes, plateSizes = [3]float64{2, 1, 0.5}, [3]float64{4, 2, 1}

const head = "groundwork: 1\nname: handbook\nuse: other\nsizes: core\n"

func cantilever(t *testing.T) []known {
	const F, L, b, h, E = 50.0, 300.0, 30.0, 20.0, 2000.0
	I := b * h * h * h / 12
	r := rigged(t, head+`
members:
  beam:
    board: {rectangle: {length: 300 mm, width: 30 mm}, thickness: 20 mm}
    at: [150, 0, 100]
`, map[string]print{"*": {E, true, 1e-9}}, "beam edge-4")
	out := []known{
		{name: "cantilever, one end held, load on the other end's face: deflection", source: "FL³/3EI + 1.2 FL/AG; Timoshenko, Strength of Materials I; Roark table 8.1 case 1a", want: F*L*L*L/(3*E*I) + 1.2*F*L/(b*h*modulusOfShear(E)), unit: "mm", part: 0.03},
		{name: "the same, stress at its face half way along", source: "6M/bh²", want: F * L / 2 * h / 2 / I, unit: "MPa", part: 0.03},
	}
	for i, k := range sizes {
		st := solveCase(t, r.sized(t, k), stress.Load{Member: 0, Frame: geom.Frame{Origin: geom.V3(L, 0, 110), X: geom.V3(0, 1, 0), Y: geom.V3(0, 0, 1), Z: geom.V3(1, 0, 0)},
			Region: box(b, h), Force: geom.V3(0, 0, -F)})
		out[0].got[i] = -displacement(t, st, 0, geom.V3(L, 0, 110)).Z
		out[1].got[i] = stressAt(t, st, 0, geom.V3(L/2, 0, 120))[0]
	}
	return out
}

// posts carry the ends of a board: soft strips, tall and thin, glued under it,
// their feet held, so that the ends turn and slide almost freely.
const posts = `
  post:
    board: {rectangle: {length: 4 mm, width: %g}, thickness: 60 mm}
    at: [%g, 0, 0]
    mirror: x
joints:
  - {between: [post, board], kind: glued, dowels: 0}
`

func shelf(t *testing.T) []known {
	const L, b, h, E = 800.0, 250.0, 18.0, 12000.0
	const q = 0.65e-4 * 9.81 * b // N/mm
	I := b * h * h * h / 12
	r := rigged(t, head+`
members:
  board:
    board: {rectangle: {length: 804 mm, width: 250 mm}, thickness: 18 mm}
    at: [0, 0, 60]
`+fmt.Sprintf(posts, b, L/2), map[string]print{"*": {E, true, 1e-9}, "post": {E / 100, true, 1e-9}}, "post back")
	bend := q * L * L * L * L / (384 * E * I)
	shear := 1.2 * q * L * L / (8 * b * h * modulusOfShear(E))
	out := []known{
		{name: "shelf on its ends, even load: deflection", source: "5qL⁴/384EI + 1.2 qL²/8AG; Roark table 8.1 case 2e; load of trade shelves, 0.65 kg/dm²", want: 5*bend + shear, unit: "mm", part: 0.03},
		{name: "the same, stress at its face in the middle", source: "6M/bh², M = qL²/8", want: q * L * L / 8 * h / 2 / I, unit: "MPa", part: 0.03},
	}
	mid := 60 + h/2
	for i, k := range sizes {
		st := solveCase(t, r.sized(t, k), onTop(0, geom.V3(0, 0, 60+h), box(L+4, b), q*(L+4)))
		ends := (displacement(t, st, 0, geom.V3(-L/2, 0, mid)).Z + displacement(t, st, 0, geom.V3(L/2, 0, mid)).Z) / 2
		out[0].got[i] = ends - displacement(t, st, 0, geom.V3(0, 0, mid)).Z
		out[1].got[i] = stressAt(t, st, 0, geom.V3(0, 0, 60))[0]
	}
	return out
}

func clampedShelf(t *testing.T) []known {
	// Narrow: a wide board held all along its ends cannot bend across, which the
	// formula does not know.
	const L, b, h, E = 800.0, 40.0, 18.0, 12000.0
	const q = 0.65e-4 * 9.81 * b
	I := b * h * h * h / 12
	r := rigged(t, head+`
members:
  board:
    board: {rectangle: {length: 800 mm, width: 40 mm}, thickness: 18 mm}
    at: [0, 0, 60]
`, map[string]print{"*": {E, true, 1e-9}}, "board edge-2", "board edge-4")
	out := []known{{name: "narrow shelf, both ends held: deflection", source: "qL⁴/384EI + 1.2 qL²/8AG; Roark table 8.1 case 2d",
		want: q*L*L*L*L/(384*E*I) + 1.2*q*L*L/(8*b*h*modulusOfShear(E)), unit: "mm", part: 0.03}}
	for i, k := range sizes {
		st := solveCase(t, r.sized(t, k), onTop(0, geom.V3(0, 0, 60+h), box(L, b), q*L))
		out[0].got[i] = -displacement(t, st, 0, geom.V3(0, 0, 60+h/2)).Z
	}
	return out
}

// pegs carry a plate at n places of a circle: soft, so that it turns and slides
// on them almost freely, glued to it, their feet held. They sink; what is told
// is how far the plate goes down beyond them.
const pegs = head + `
members:
  plate:
    board: {circle: {diameter: %g}, thickness: %g}
    at: [0, 0, 60]
  peg:
    board: {circle: {diameter: %g}, thickness: 60 mm}
    at: [%.9g, 0, 0]
    repeat: {radial: %d}
joints:
  - {between: [peg, plate], kind: glued, dowels: 0}
`

// onPegs is a plate of radius a on n pegs at radius b.
func onPegs(t *testing.T, a, thick, b, peg float64, n int, e float64) *rig {
	return rigged(t, fmt.Sprintf(pegs, 2*a, thick, peg, b, n), map[string]print{"*": {e, true, 1e-9}, "peg": {e / 10, true, 1e-9}}, "peg back")
}

// sag is how far p of a plate on pegs lies below its places over the pegs.
func sag(t *testing.T, st *stress.State, b float64, n int, p geom.Vec3) (down float64) {
	for i := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		down += displacement(t, st, 0, geom.V3(b*cos, b*sin, p.Z)).Z / float64(n)
	}
	return down - displacement(t, st, 0, p).Z
}

func circles(t *testing.T) []known {
	const a, thick, E, q, F, c, b, n = 300.0, 25.0, 2000.0, 0.001, 1000.0, 60.0, 296.0, 24
	const nu = poisson
	D := E * thick * thick * thick / (12 * (1 - nu*nu))
	Gt := 5. / 6 * modulusOfShear(E) * thick
	r := onPegs(t, a, thick, b, 8, n, E)
	center := [2]float64{}
	evenly, inner := plateOnPoints(n, nu, b/a, 1, center)[0]*q*math.Pi*a*a*a*a/D, plateOnPoints(n, nu, b/a, c/a, center)[0]*F*a*a/D
	// Near the middle w falls as M r²/2D(1+ν).
	const near = 0.02
	bent := 2 * (1 + nu) * (evenly - plateOnPoints(n, nu, b/a, 1, [2]float64{near})[0]*q*math.Pi*a*a*a*a/D) / (near * near * a * a)
	out := []known{
		{name: "round plate of radius 300 on 24 pegs at 296, even load: deflection", source: "k Pa²/D by Ritz, within 0.1 % of (5+ν)/(1+ν) qa⁴/64D at the rim, + qb²/4κGt, κ 5/6; Timoshenko and Woinowsky-Krieger, Plates and Shells, art. 16, 20; Mindlin",
			want: evenly + q*b*b/(4*Gt), unit: "mm", part: 0.03},
		{name: "the same, stress at its face in the middle", source: "6M/t², M by Ritz; on all its rim (3+ν) qa²/16 = 0.1809 MPa", want: 6 * bent * D / (thick * thick), unit: "MPa", part: 0.03},
		{name: "the same plate, 1000 N over radius 60: deflection", source: "k Pa²/D by Ritz + P/2πκGt [1/2 + ln(b/c)]; as above",
			want: inner + F/(2*math.Pi*Gt)*(0.5+math.Log(b/c)), unit: "mm", part: 0.03},
		{name: "round plate, rim held, even load: deflection", source: "qa⁴/64D + qa²/4κGt; as above", want: q*a*a*a*a/(64*D) + q*a*a/(4*Gt), unit: "mm", part: 0.03},
	}
	held := rigged(t, head+`
members:
  plate:
    board: {circle: {diameter: 600 mm}, thickness: 25 mm}
    at: [0, 0, 60]
`, map[string]print{"*": {E, true, 1e-9}}, "plate edge-1")
	top, mid := geom.V3(0, 0, 60+thick), geom.V3(0, 0, 60+thick/2)
	for i, k := range plateSizes {
		s := r.sized(t, k)
		st := solveCase(t, s, onTop(0, top, circle(a), q*math.Pi*a*a))
		out[0].got[i] = sag(t, st, b, n, mid)
		out[1].got[i] = stressAt(t, st, 0, geom.V3(0, 0, 60))[0]
		out[2].got[i] = sag(t, solveCase(t, s, onTop(0, top, circle(c), F)), b, n, mid)
		st = solveCase(t, held.sized(t, k), onTop(0, top, circle(a), q*math.Pi*a*a))
		out[3].got[i] = -displacement(t, st, 0, mid).Z
	}
	for i := range out {
		out[i].sizes = plateSizes
	}
	return out
}

// A round plate on three pegs: w = k P a²/D below the pegs.
func threePegs(t *testing.T) (out []known) {
	const a, thick, E, P, c, peg = 300.0, 15.0, 2000.0, 100.0, 30.0, 6.0
	Gt := 5. / 6 * modulusOfShear(E) * thick
	D := E * thick * thick * thick / (12 * (1 - poisson*poisson))
	const src = "k Pa²/D by Ritz, ν 0.35, agrees at ν 0.25 with Plates and Shells, art. 67; + shear, κGt∇²w = -q"
	top := geom.V3(0, 0, 60+thick)
	center, rim := [2]float64{}, [2]float64{1, math.Pi / 3}
	for _, b := range []float64{1, 0.8, 0.65, 0.5} {
		at := b
		if b == 1 { // half of the peg is beyond the rim: it bears at the middle of the other half
			at -= 4 * peg / 2 / (3 * math.Pi) / a
		}
		name := fmt.Sprintf("plate on three pegs at %.2f of its radius", b)
		k := append(plateOnPoints(3, poisson, at, 1, center, rim), plateOnPoints(3, poisson, at, c/a, center)...)
		shear := func(c float64, p geom.Vec2) float64 { return shearOnPegs(at*a, a, peg/2, c, p) * D / (Gt * a * a) }
		k[0] += shear(a, geom.Vec2{})
		k[1] += shear(a, geom.V2(-a, 0))
		k[2] += shear(c, geom.Vec2{})
		largest := max(math.Abs(k[0]), math.Abs(k[1]))
		first := len(out)
		out = append(out,
			known{name: name + ", even load: centre", source: src, want: k[0], unit: "Pa²/D", part: 0.03, of: largest},
			known{name: "the same: rim between the pegs", source: src, want: k[1], unit: "Pa²/D", part: 0.03, of: largest},
			known{name: "the same, load over a tenth of the radius: centre", source: src, want: k[2], unit: "Pa²/D", part: 0.03})
		r := onPegs(t, a, thick, b*a, peg, 3, E)
		for i, times := range plateSizes {
			s := r.sized(t, times)
			find := func(st *stress.State, p geom.Vec3) float64 { return sag(t, st, at*a, 3, p) * D / (P * a * a) }
			st := solveCase(t, s, onTop(0, top, circle(a), P))
			out[first].got[i] = find(st, geom.V3(0, 0, 60+thick/2))
			out[first+1].got[i] = find(st, geom.V3(-a+0.01, 0, 60+thick/2))
			out[first+2].got[i] = find(solveCase(t, s, onTop(0, top, circle(c), P)), geom.V3(0, 0, 60+thick/2))
		}
	}
	for i := range out {
		out[i].sizes = plateSizes
	}
	return out
}

// shearOnPegs is what shear adds to the deflection at p below three pegs of
// radius peg at b, in P/κGt: a load spread over radius c pulls a membrane down
// which the pegs carry and whose rim is free (Neumann's function of a disc).
func shearOnPegs(b, a, peg, c float64, p geom.Vec2) float64 {
	load := func(r float64) float64 { // downward
		if r >= c {
			return -math.Log(r/c) / (2 * math.Pi)
		}
		return (c*c - r*r) / (4 * math.Pi * c * c)
	}
	w := func(p geom.Vec2, own bool) (w float64) {
		w = load(p.Len())
		for i := range 3 {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / 3)
			at, image := geom.V2(b*cos, b*sin), geom.V2(a*a/b*cos, a*a/b*sin)
			l := math.Log(peg) - 0.5 // the mean over the peg, at its own middle
			if d := p.Dist(at); !own || i > 0 {
				l = math.Log(d)
			}
			w += (l + math.Log(p.Dist(image))) / (6 * math.Pi)
		}
		return w
	}
	return w(p, false) - w(geom.V2(b, 0), true)
}

// Bars curved to a circle, one end held, pushed at the other toward the centre.
func curvedBars(t *testing.T) []known {
	const P, h, E = 100.0, 20.0, 2000.0
	type bar struct{ ri, ro float64 }
	quarter := func(b bar) float64 {
		N := b.ri*b.ri - b.ro*b.ro + (b.ri*b.ri+b.ro*b.ro)*math.Log(b.ro/b.ri)
		return P * math.Pi * (b.ri*b.ri + b.ro*b.ro) / (E * h * N)
	}
	// stress half way along a half ring, at r.
	at := func(b bar, r float64) float64 {
		rn, R, A := (b.ro-b.ri)/math.Log(b.ro/b.ri), (b.ro+b.ri)/2, h*(b.ro-b.ri)
		return P*R*(rn-r)/(A*(R-rn)*r) + P/A
	}
	wide, narrow := bar{50, 100}, bar{190, 210}
	const src = "Pπ(a²+b²)/ENh for a quarter, exact for a slice; Timoshenko and Goodier, Theory of Elasticity, art. 33"
	const winkler = "Winkler and Bach: M (r_n - r)/(A e r) + P/A, M = PR; Timoshenko, Strength of Materials II; Roark ch. 9"
	out := []known{
		{name: "quarter ring 50 to 100, 20 thick, one end held: deflection along the force", source: src, want: quarter(wide), unit: "mm", part: 0.03},
		{name: "half ring 50 to 100, pushed along its diameter: deflection", source: "twice the quarter's, by symmetry", want: 2 * quarter(wide), unit: "mm", part: 0.03},
		// Cells that the rim cuts bear more or less than the bar does there.
		{name: "the same, stress at r 55 half way along", source: winkler, want: at(wide, 55), unit: "MPa", part: 0.12},
		// Two cells of the default size lie across it.
		{name: "narrow quarter ring 190 to 210, 20 thick, one end held: deflection", source: src + " (bending alone: πPR³/4EI, 23.56 mm)", want: quarter(narrow), unit: "mm", part: 0.15},
	}
	ring := func(b bar, half bool) *rig {
		outer, inner := fmt.Sprintf("0 %g L 0 %g", b.ro, b.ri), fmt.Sprintf("%g 0", b.ri)
		if half {
			outer = fmt.Sprintf("%g 0 L %g 0", -b.ro, -b.ri)
		}
		return rigged(t, head+fmt.Sprintf(`
members:
  bar:
    board: {path: "M %g 0 L %g 0 A %g %g 0 0 1 %s A %g %g 0 0 0 %s Z", thickness: 20 mm}
    at: [0, 0, 60]
`, b.ri, b.ro, b.ro, b.ro, outer, b.ri, b.ri, inner), map[string]print{"*": {E, true, 1e-9}}, "bar edge-3")
	}
	for j, c := range []struct {
		bar  bar
		half bool
		to   int
	}{{wide, false, 0}, {wide, true, 1}, {narrow, false, 3}} {
		r, R := ring(c.bar, c.half), (c.bar.ri+c.bar.ro)/2
		push := stress.Load{Member: 0, Frame: geom.Frame{Origin: geom.V3(R, 0, 70), X: geom.V3(1, 0, 0), Y: geom.V3(0, 0, -1), Z: geom.V3(0, -1, 0)},
			Region: box(c.bar.ro-c.bar.ri, h), Force: geom.V3(-P, 0, 0)}
		for i, k := range sizes {
			st := solveCase(t, r.sized(t, k), push)
			out[c.to].got[i] = -displacement(t, st, 0, geom.V3(R, 0, 70)).X
			if j == 1 {
				out[2].got[i] = -stressAt(t, st, 0, geom.V3(0, 55, 70))[0]
			}
		}
	}
	return out
}

func sandwich(t *testing.T) []known {
	const E, h, b, tf, tw, rho, L, F, c = 2000.0, 25.0, 60.0, 1.2, 1.2, 0.15, 400.0, 200.0, 20.0
	Gf, Ec := modulusOfShear(E), rho/3*E
	Gc := rho / 2 * Gf
	ch, d, bi := h-2*tf, h-tf, b-2*tw
	EI := E*bi*tf*tf*tf/6 + E*bi*tf*d*d/2 + Ec*bi*ch*ch*ch/12 + 2*E*tw*h*h*h/12
	S := Gc*bi*d*d/ch + 2*5./6*Gf*tw*h
	r := rigged(t, head+`
members:
  board:
    board: {rectangle: {length: 404 mm, width: 60 mm}, thickness: 25 mm}
    at: [0, 0, 60]
`+fmt.Sprintf(posts, b, L/2), map[string]print{"*": {E, false, 1e-9}, "post": {E / 100, true, 1e-9}}, "post back")
	out := []known{
		{name: "printed bar of contours, cover layers and core fill on two supports: deflection", source: "F(8L³ - 4Lc² + c³)/384EI + F(L - c/2)/4S, load over c = 20; Allen, Analysis and Design of Structural Sandwich Panels, 1969",
			want: F*(8*L*L*L-4*L*c*c+c*c*c)/(384*EI) + F*(L-c/2)/(4*S), unit: "mm", part: 0.03},
		{name: "the same, stress in its cover layers a quarter along", source: "E M z/EI; Allen", want: E * F * L / 8 * h / 2 / EI, unit: "MPa", part: 0.03},
	}
	mid := 60 + h/2
	for i, k := range sizes {
		st := solveCase(t, r.sized(t, k), onTop(0, geom.V3(0, 0, 60+h), box(c, b), F))
		ends := (displacement(t, st, 0, geom.V3(-L/2, 0, mid)).Z + displacement(t, st, 0, geom.V3(L/2, 0, mid)).Z) / 2
		out[0].got[i] = ends - displacement(t, st, 0, geom.V3(0, 0, mid)).Z
		shell, ok := st.Shell(0, geom.V3(-L/4, 0, 60))
		if !ok {
			t.Fatal("no cover layers")
		}
		out[1].got[i] = shell[0]
	}
	return out
}

// plateOnPoints is the deflection, in P a²/D, at radius r, angle th of a thin
// plate of radius 1 on points at radius b, fold of them evenly
// spaced from angle 0, under a load spread over radius c. Ritz: w is a sum of ρ^(fold m + 2n) cos fold mθ,
// its energy that of Kirchhoff's plate (Timoshenko and Woinowsky-Krieger, art.
// 24 and 67); what holds it down is a Lagrange multiplier.
func plateOnPoints(fold int, nu, b, c float64, at ...[2]float64) []float64 {
	const M, N = 14, 8
	type term struct{ k, p int }
	var terms []term
	for m := range M {
		for n := range N {
			terms = append(terms, term{fold * m, fold*m + 2*n})
		}
	}
	size := len(terms) + 1
	f := func(t term, r, th float64) float64 {
		return math.Pow(r, float64(t.p)) * math.Cos(float64(t.k)*th)
	}
	a := make([][]float64, size)
	for i := range a {
		a[i] = make([]float64, size+1)
	}
	for i, s := range terms {
		for j, t := range terms {
			if s.k != t.k || s.p+t.p <= 2 {
				continue
			}
			k2, p, q := float64(s.k*s.k), float64(s.p), float64(t.p)
			ic, is := math.Pi, math.Pi
			if s.k == 0 {
				ic, is = 2*math.Pi, 0
			}
			a[i][j] = (((p*p-k2)*(q*q-k2)-(1-nu)*(p*(p-1)*(q-k2)+q*(q-1)*(p-k2)))*ic + 2*(1-nu)*k2*(p-1)*(q-1)*is) / (p + q - 2)
		}
		a[i][size-1] = f(s, b, 0)
		a[size-1][i] = a[i][size-1]
		if s.k == 0 {
			a[i][size] = 2 / float64(s.p+2) * math.Pow(c, float64(s.p))
		}
	}
	// Gauss with pivots of rows.
	for i := range a {
		best := i
		for r := i; r < size; r++ {
			if math.Abs(a[r][i]) > math.Abs(a[best][i]) {
				best = r
			}
		}
		a[i], a[best] = a[best], a[i]
		for r := i + 1; r < size; r++ {
			g := a[r][i] / a[i][i]
			if g == 0 {
				continue
			}
			for c := i; c <= size; c++ {
				a[r][c] -= g * a[i][c]
			}
		}
	}
	x := make([]float64, size)
	for i := size - 1; i >= 0; i-- {
		x[i] = a[i][size]
		for c := i + 1; c < size; c++ {
			x[i] -= a[i][c] * x[c]
		}
		x[i] /= a[i][i]
	}
	out := make([]float64, len(at))
	for o, p := range at {
		for i, t := range terms {
			out[o] += x[i] * f(t, p[0], p[1])
		}
	}
	return out
}

// The reference agrees with the book's.
func TestPlateOnPoints(t *testing.T) {
	center := [2]float64{}
	for _, c := range []struct{ got, want, part float64 }{
		{plateOnPoints(3, 0.25, 1, 1, center)[0], 0.0362, 0.001},                   // Timoshenko and Woinowsky-Krieger, art. 67
		{plateOnPoints(3, 0.25, 1, 0.001, center)[0], 0.0670, 0.01},                // as above; a point load wants more terms
		{plateOnPoints(24, 0.3, 1, 1, center)[0], 5.3 / 1.3 / 64 / math.Pi, 0.002}, // on all its rim, art. 16
	} {
		if math.Abs(c.got/c.want-1) > c.part {
			t.Errorf("%.5g, want %.5g", c.got, c.want)
		}
	}
}

func TestHandbook(t *testing.T) {
	var b strings.Builder
	fmt.Fprintln(&b, "| case | known | coarse | middle | fine | off | order | source |")
	fmt.Fprintln(&b, "|---|---|---|---|---|---|---|---|")
	for _, f := range []func(*testing.T) []known{cantilever, shelf, clampedShelf, circles, threePegs, curvedBars, sandwich} {
		for _, h := range f(t) {
			if h.sizes == [3]float64{} {
				h.sizes = sizes
			}
			if h.of == 0 {
				h.of = math.Abs(h.want)
			}
			got := h.got[slices.Index(h.sizes[:], 1)]
			off := (got - h.want) / h.of
			t.Logf("%s: %.5g, want %.5g, %+.2f %%", h.name, h.got, h.want, 100*off)
			if !(math.Abs(off) <= h.part) {
				t.Errorf("%s: %.5g, want %.5g: %.2f %% off, %.0f %% allowed", h.name, got, h.want, 100*off, 100*h.part)
			}
			fmt.Fprintf(&b, "| %s | %.4g %s |", h.name, h.want, h.unit)
			for i, v := range h.got {
				if h.sizes[i] == 1 {
					fmt.Fprintf(&b, " **%.4g** |", v)
				} else {
					fmt.Fprintf(&b, " %.4g |", v)
				}
			}
			fmt.Fprintf(&b, " %+.1f %% | %s | %s |\n", 100*off, order(h.got), h.source)
		}
	}
	golden(t, "handbook", b.String())
}

// order at which values of cells halved twice settle, "-" where they do not.
func order(v [3]float64) string {
	a := (v[1] - v[0]) / (v[2] - v[1])
	if !(a > 1) || math.Abs(v[2]/v[1]-1) < 1e-4 {
		return "-"
	}
	return fmt.Sprintf("%.1f", math.Log2(a))
}

// golden compares a part of docs/stress.md, between marks, with what was found;
// GOLDEN=update writes it.
func golden(t *testing.T, part, got string) {
	t.Helper()
	const file = "../../docs/stress.md"
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
