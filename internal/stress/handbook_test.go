package stress_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"groundwork/examples"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/stress"
)

// The cases of handbooks, from the text of a piece file to the figure: read,
// resolved, contacts found, assembled, solved, asked.

var kernel = sync.OnceValues(func() (*solid.Kernel, error) { return solid.New(solid.Options{}) })

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
	k, err := kernel()
	if err != nil {
		t.Fatal(err)
	}
	data, err := examples.Files.ReadFile("shop.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, err := shop.Parse("shop.yaml", data)
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
	k, err := kernel()
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
	start := time.Now()
	st, err := s.Solve(context.Background(), stress.Case{ID: "case", Loads: loads})
	if err != nil {
		t.Fatal(err)
	}
	t.Log(s.Cells(), "cells", s.Cell(), st.Iterations(), "iterations", time.Since(start))
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
	s, ok := st.Shell(body, p)
	if !ok {
		t.Fatalf("body %d has no shell at %v", body, p)
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
	part         float64 // allowed error with cells of the default size
	got          [3]float64
}

// sizes of cells against the default.
var sizes = [3]float64{2, 1, 0.5}

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
    board: {rectangle: {length: 4 mm, width: %g}, thickness: 200 mm}
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
    at: [0, 0, 200]
`+fmt.Sprintf(posts, b, L/2), map[string]print{"*": {E, true, 1e-9}, "post": {E / 100, true, 1e-9}}, "post back")
	bend := q * L * L * L * L / (384 * E * I)
	shear := 1.2 * q * L * L / (8 * b * h * modulusOfShear(E))
	out := []known{
		{name: "shelf on its ends, even load: deflection", source: "5qL⁴/384EI + 1.2 qL²/8AG; Roark table 8.1 case 2e; load of trade shelves, 0.65 kg/dm²", want: 5*bend + shear, unit: "mm", part: 0.03},
		{name: "the same, stress at its face in the middle", source: "6M/bh², M = qL²/8", want: q * L * L / 8 * h / 2 / I, unit: "MPa", part: 0.03},
	}
	mid := 200 + h/2
	for i, k := range sizes {
		st := solveCase(t, r.sized(t, k), onTop(0, geom.V3(0, 0, 200+h), box(L+4, b), q*(L+4)))
		ends := (displacement(t, st, 0, geom.V3(-L/2, 0, mid)).Z + displacement(t, st, 0, geom.V3(L/2, 0, mid)).Z) / 2
		out[0].got[i] = ends - displacement(t, st, 0, geom.V3(0, 0, mid)).Z
		out[1].got[i] = stressAt(t, st, 0, geom.V3(0, 0, 200))[0]
	}
	return out
}

func clampedShelf(t *testing.T) []known {
	const L, b, h, E = 800.0, 250.0, 18.0, 12000.0
	const q = 0.65e-4 * 9.81 * b
	I := b * h * h * h / 12
	r := rigged(t, head+`
members:
  board:
    board: {rectangle: {length: 800 mm, width: 250 mm}, thickness: 18 mm}
    at: [0, 0, 200]
`, map[string]print{"*": {E, true, 1e-9}}, "board edge-2", "board edge-4")
	out := []known{{name: "shelf, both ends held: deflection", source: "qL⁴/384EI + 1.2 qL²/8AG; Roark table 8.1 case 2d",
		want: q*L*L*L*L/(384*E*I) + 1.2*q*L*L/(8*b*h*modulusOfShear(E)), unit: "mm", part: 0.03}}
	for i, k := range sizes {
		st := solveCase(t, r.sized(t, k), onTop(0, geom.V3(0, 0, 200+h), box(L, b), q*L))
		out[0].got[i] = -displacement(t, st, 0, geom.V3(0, 0, 200+h/2)).Z
	}
	return out
}

func circles(t *testing.T) []known {
	const a, thick, E, q, F, c = 300.0, 25.0, 2000.0, 0.001, 1000.0, 60.0
	const nu = poisson
	D := E * thick * thick * thick / (12 * (1 - nu*nu))
	Gt := 5. / 6 * modulusOfShear(E) * thick
	// The rim of the plate stands on a soft tube, 2 of its 4 wide.
	const rim = a - 1
	r := rigged(t, head+`
members:
  plate:
    board: {circle: {diameter: 600 mm}, thickness: 25 mm}
    at: [0, 0, 60]
  tube:
    board: {circle: {diameter: 604 mm}, thickness: 60 mm, cutouts: [{circle: {diameter: 596 mm}, at: [0, 0]}]}
    at: [0, 0, 0]
joints:
  - {between: [tube, plate], kind: glued, dowels: 0}
`, map[string]print{"*": {E, true, 1e-9}, "tube": {E / 100, true, 1e-9}}, "tube back")
	_ = rim
	out := []known{
		{name: "round plate on its rim, even load: deflection", source: "(5+ν)/(1+ν) qa⁴/64D + qa²/4κGt, κ 5/6; Timoshenko and Woinowsky-Krieger, Plates and Shells, art. 16, 20; Mindlin", want: (5+nu)/(1+nu)*q*a*a*a*a/(64*D) + q*a*a/(4*Gt), unit: "mm", part: 0.03},
		{name: "the same, stress at its face in the middle", source: "6M/t², M = (3+ν) qa²/16", want: 6 * (3 + nu) * q * a * a / 16 / (thick * thick), unit: "MPa", part: 0.03},
		{name: "round plate on its rim, 1000 N over radius 60: deflection", source: "P/16πD [(3+ν)/(1+ν) a² + c² ln(c/a) - (7+3ν)/(4+4ν) c²] + P/2πκGt [1/2 + ln(a/c)]; Plates and Shells, art. 16; Mindlin",
			want: F/(16*math.Pi*D)*((3+nu)/(1+nu)*a*a+c*c*math.Log(c/a)-(7+3*nu)/(4*(1+nu))*c*c) + F/(2*math.Pi*Gt)*(0.5+math.Log(a/c)), unit: "mm", part: 0.03},
	}
	mid := 60 + thick/2
	for i, k := range sizes {
		s := r.sized(t, k)
		t.Log(s.Cells(), s.Cell())
		sag := func(st *stress.State) float64 {
			down := 0.0
			for j := range 8 {
				sin, cos := math.Sincos(2 * math.Pi * float64(j) / 8)
				down += displacement(t, st, 0, geom.V3((a-1)*cos, (a-1)*sin, mid)).Z / 8
			}
			return down - displacement(t, st, 0, geom.V3(0, 0, mid)).Z
		}
		st := solveCase(t, s, onTop(0, geom.V3(0, 0, 60+thick), circle(a), q*math.Pi*a*a))
		out[0].got[i] = sag(st)
		out[1].got[i] = stressAt(t, st, 0, geom.V3(0, 0, 60))[0]
		out[2].got[i] = sag(solveCase(t, s, onTop(0, geom.V3(0, 0, 60+thick), circle(c), F)))
	}
	return out
}

func TestHandbook(t *testing.T) {
	var b strings.Builder
	fmt.Fprintln(&b, "| case | known | cells twice as large | default cells | half as large | off | order | source |")
	fmt.Fprintln(&b, "|---|---|---|---|---|---|---|---|")
	for _, f := range []func(*testing.T) []known{circles} {
		for _, h := range f(t) {
			off := h.got[1]/h.want - 1
			t.Logf("%s: %.5g, want %.5g, %+.2f %%", h.name, h.got, h.want, 100*off)
			if !(math.Abs(off) <= h.part) {
				t.Errorf("%s: %.5g, want %.5g: %.2f %% off, %.0f %% allowed", h.name, h.got[1], h.want, 100*off, 100*h.part)
			}
			fmt.Fprintf(&b, "| %s | %.4g %s | %.4g | %.4g | %.4g | %+.1f %% | %s | %s |\n", h.name, h.want, h.unit, h.got[0], h.got[1], h.got[2], 100*off, order(h.got), h.source)
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
