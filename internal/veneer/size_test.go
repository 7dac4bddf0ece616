package veneer

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// The ellipse's perimeter is that of the complete elliptic integral,
// 4 a E(1 − b²/a²), by arithmetic outside this program.
const ellipsePerimeter = 1263.7156

func TestBandLength(t *testing.T) {
	e := ellipse(230, 170)
	near(t, "perimeter of the ellipse 460 x 340", e.Length(), ellipsePerimeter, 5e-5)
	near(t, "its band, v 0.8", BandLength(e.Length(), 2*math.Pi, 0.4), 1266.2289, 5e-5)
	near(t, "what bending adds", math.Pi*0.8, 2.5133, 5e-5)
	// Shrinkage of 0.4 to 0.7 % of that rim is 5 to 9 mm.
	near(t, "0.4 %", 0.004*ellipsePerimeter, 5, 0.1)
	near(t, "0.7 %", 0.007*ellipsePerimeter, 9, 0.2)
}

// rims are closed smooth outlines of very different shapes.
func rims() map[string]geom.Path {
	arc := func(x, y, r, start, sweep float64) geom.Seg {
		return geom.ArcOf(geom.V2(x, y), r, r, 0, start, sweep)
	}
	line := func(x0, y0, x1, y1 float64) geom.Seg { return geom.LineTo(geom.V2(x0, y0), geom.V2(x1, y1)) }
	q := math.Pi / 2
	return map[string]geom.Path{
		"ellipse": ellipse(230, 170),
		"circle":  ellipse(100, 100),
		"stadium": {Closed: true, Segs: []geom.Seg{
			line(-100, -60, 100, -60), arc(100, 0, 60, -q, 2*q), line(100, 60, -100, 60), arc(-100, 0, 60, q, 2*q)}},
		"rounded rectangle": {Closed: true, Segs: []geom.Seg{
			line(-100, -90, 100, -90), arc(100, -50, 40, -q, q), line(140, -50, 140, 50), arc(100, 50, 40, 0, q),
			line(100, 90, -100, 90), arc(-100, 50, 40, q, q), line(-140, 50, -140, -50), arc(-100, -50, 40, 2*q, q)}},
		"bean":                bean(),
		"polygon of 48 sides": regular(48, 150), // corners of 7.5 degrees belong to the run
	}
}

func regular(n int, r float64) geom.Path {
	var pts []geom.Vec2
	for i := range n {
		pts = append(pts, geom.V2(r, 0).Rotate(2*math.Pi*float64(i)/float64(n)))
	}
	return path(true, pts...)
}

// bean is a closed smooth outline with a hollow: three arcs of 60 mm outside
// and one of 60 mm inside, tangent to one another.
func bean() geom.Path {
	const r = 60.0
	// Lobes about (±r√3, 0); the hollow about (0, r) from below, the belly about (0, -...).
	x := r * math.Sqrt(3)
	a := math.Pi / 6
	hollow := geom.ArcOf(geom.V2(0, r), r, r, 0, -a, -(math.Pi - 2*a)) // run right to left, turning right
	right := geom.ArcOf(geom.V2(x, 0), r, r, 0, -math.Pi/2, math.Pi/2+math.Pi-a)
	left := geom.ArcOf(geom.V2(-x, 0), r, r, 0, a, math.Pi/2+math.Pi-a)
	belly := geom.LineTo(geom.V2(-x, -r), geom.V2(x, -r))
	return geom.Path{Closed: true, Segs: []geom.Seg{right, hollow, left, belly}}
}

func TestAnyClosedRimGainsPiV(t *testing.T) {
	for name, p := range rims() {
		if err := p.Check(1e-6); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		m := board("m", p, 20, geom.World())
		sf := m.Surfaces(0)[2]
		if !sf.Closed {
			t.Fatalf("%s is not one closed run", name)
		}
		n := newNeutral(&sf, 0.4)
		near(t, name+": length once round", n.total(), p.Length()+math.Pi*0.8, 1e-6)
		near(t, name+": along the whole run", n.along(sf.Length), n.total(), 1e-6)
		// Independent of how the run is walked: curvature summed numerically.
		c := newCarrier(&sf, 0.4)
		for _, f := range []float64{0.03, 0.2, 0.31, 0.5, 0.77, 0.96} {
			u := f * sf.Length
			near(t, fmt.Sprintf("%s: along %g", name, u), n.along(u), c.places(geom.V2(u, 0))[1].X, 1e-3+0.4*math.Abs(p.Corner(0))) // a fold is spread over 2 mm here
			near(t, fmt.Sprintf("%s: back from %g", name, u), n.back(n.along(u)), u, 1e-6)
		}
	}
}

func TestConeSector(t *testing.T) {
	// r1 14, r2 19, h 430, v 0.8; the figures by arithmetic outside this
	// program. A real cladding of such a leg would need a larger radius.
	s := ConeSector(14, 19, 430, 0.4)
	near(t, "slant", s.Slant, 430.0291, 5e-5)
	near(t, "half-angle, degrees", s.Beta*180/math.Pi, 0.666200, 5e-7)
	near(t, "sector, degrees", s.Angle*180/math.Pi, 4.185764, 5e-7)
	near(t, "small radius", s.R1, 1238.4814, 5e-5)
	near(t, "large radius", s.R2, 1668.5105, 5e-5)
	if s != ConeSector(19, 14, 430, 0.4) {
		t.Error("the order of the radii matters")
	}
}

func TestCornerRules(t *testing.T) {
	const v = 0.8
	for _, c := range []struct {
		turn, first, second float64
	}{
		{90, 0, 0.8},
		{60, 0, 0.8 / (math.Sqrt(3) / 2)},
		{120, 0.8 / math.Sqrt(3), 0.8 / (math.Sqrt(3) / 2)},
		{135, 0.8, 0.8 * math.Sqrt2},
		{45, 0, 0.8 * math.Sqrt2},
	} {
		near(t, fmt.Sprintf("first at %g", c.turn), CornerFirst(v, c.turn*deg), c.first, 1e-12)
		near(t, fmt.Sprintf("second at %g", c.turn), CornerSecond(v, c.turn*deg), c.second, 1e-12)
	}
}

func TestFinishedSizes(t *testing.T) {
	// A board of 19 mm with 0.8 mm on both faces is a core of 17.4 mm.
	for _, c := range []struct {
		sizes       piece.Sizes
		thick, wide float64
	}{{piece.Finished, 17.4, 298.4}, {piece.CoreSize, 19, 300}} {
		b := board("panel", rectangle(300, 200), 19, lifted(400))
		r := run(t, pieceOf(c.sizes, b), nil, nil, testShop(600, 400), Options{})
		core := r.l.Cores[0]
		near(t, "thickness of the core", core.Board.Thickness, c.thick, 1e-9)
		near(t, "length of the core", core.Board.Outline.Path.Bounds().Size().X, c.wide, 1e-9)
		near(t, "net length of the face", r.by["panel/face"].Length, c.wide, 1e-6)
		// Faces first: bands cover the edges of both leaves.
		near(t, "net width of a band", r.by["panel/edge-1"].Width, c.thick+1.6, 1e-6)
		near(t, "cut width of a band", r.by["panel/edge-1"].Gross.Bounds().Size().Y, c.thick+1.6+4, 1e-6)
	}
}

func TestOrderOfWork(t *testing.T) {
	for _, c := range []struct {
		order                        string
		faceLength, faceWidth, width float64
	}{{"faces first", 300, 200, 20.6}, {"edges first", 301.6, 201.6, 19}} {
		p := pieceOf(piece.CoreSize, board("panel", rectangle(300, 200), 19, lifted(400)))
		p.Veneer.Order = c.order
		r := run(t, p, nil, nil, testShop(600, 400), Options{})
		f := r.by["panel/face"]
		near(t, c.order+": face length", f.Length, c.faceLength, 1e-6)
		near(t, c.order+": face width", f.Width, c.faceWidth, 1e-6)
		near(t, c.order+": cut face", f.GrossArea, (c.faceLength+4)*(c.faceWidth+4), 1e-3)
		// edge-1 runs along the front (y = 0), edge-3 along the back. The back
		// is laid first, then the sides over its ends, then the front over theirs.
		near(t, c.order+": width", r.by["panel/edge-1"].Width, c.width, 1e-6)
		near(t, c.order+": back", r.by["panel/edge-3"].Length, 300, 1e-6)
		near(t, c.order+": side", r.by["panel/edge-2"].Length, 200.8, 1e-6)
		near(t, c.order+": front", r.by["panel/edge-1"].Length, 301.6, 1e-6)
		order := r.l.Order[0]
		if got, want := fmt.Sprint(order), map[string]string{"faces first": "[0 1 4 3 5 2]", "edges first": "[4 3 5 2 0 1]"}[c.order]; got != want {
			t.Errorf("%s: order of laying %s, want %s", c.order, got, want)
		}
	}
}

func TestSharpAndHollowCorners(t *testing.T) {
	// A triangle with three corners that turn by 120 degrees: v |cot τ| for
	// the first band at a corner, v / sin τ for the second.
	tri := path(true, geom.V2(0, 0), geom.V2(200, 0), geom.V2(100, 100*math.Sqrt(3)))
	r := run(t, pieceOf(piece.CoreSize, board("tri", tri, 19, lifted(400))), nil, nil, testShop(600, 400), Options{})
	cot, sin := 0.8/math.Sqrt(3), 0.8/(math.Sqrt(3)/2)
	want := map[int]float64{} // by place in the order: ends laid first and second
	want[2], want[3], want[4] = 200+2*cot, 200+cot+sin, 200+2*sin
	for place, si := range r.l.Order[0] {
		if si < 2 {
			continue
		}
		near(t, fmt.Sprintf("band laid as number %d", place-1), r.by[fmt.Sprintf("tri/edge-%d", si-1)].Length, want[place], 1e-6)
	}
	// An L: at the hollow corner the second band is shorter by v, exactly.
	ell := path(true, geom.V2(0, 0), geom.V2(200, 0), geom.V2(200, 60), geom.V2(60, 60), geom.V2(60, 200), geom.V2(0, 200))
	r = run(t, pieceOf(piece.CoreSize, board("ell", ell, 19, lifted(400))), nil, nil, testShop(600, 400), Options{})
	third, fourth := r.by["ell/edge-3"], r.by["ell/edge-4"] // along y = 60, facing the back; along x = 60
	if fmt.Sprint(r.l.Order[0]) != "[0 1 4 6 3 5 7 2]" {
		t.Errorf("order %v", r.l.Order[0])
	}
	near(t, "edge-3, laid before both its neighbours", third.Length, 140, 1e-6)
	near(t, "edge-4, second in the hollow and second at edge-5", fourth.Length, 140-0.8+0.8, 1e-6)
	// No allowance in the hollow: cut and net end together there.
	near(t, "edge-3: cut end in the hollow", third.Gross.Bounds().Max.X, third.Net.Bounds().Max.X, 1e-6)
	near(t, "edge-4: cut start in the hollow", fourth.Gross.Bounds().Min.X, fourth.Net.Bounds().Min.X, 1e-6)
	near(t, "edge-3: cut end outside", third.Net.Bounds().Min.X-third.Gross.Bounds().Min.X, 2, 1e-6)
	if r.has("hollow-corner") == nil {
		t.Error("no finding for the corner that a cutter cannot reach")
	}
}

func TestSumOfAreas(t *testing.T) {
	// As the stack vanishes, net patterns add up to the area that shows.
	s := testShop(900, 400) // long enough for every rim: a lap would count twice
	s.Veneers[0] = s.Veneers[1]
	s.Veneers[0].ID = "film"
	s.Veneers[0].Face, s.Veneers[0].Backing, s.Veneers[0].Adhesive = 1e-7, 0, 0
	hexagon := regular(6, 140)
	low := geom.Path{Segs: []geom.Seg{geom.LineTo(geom.V2(30, 0), geom.V2(45, 60)), geom.LineTo(geom.V2(45, 60), geom.V2(45, 160)), geom.LineTo(geom.V2(45, 160), geom.V2(40, 200))}}
	skewed := board("skewed", hexagon, 40, lifted(300))
	skewed.EndCuts = []piece.EndCut{{Plane: geom.PlaneAt(geom.V3(100, 0, 20), geom.V3(1, 0.2, 0.5))}}
	for _, c := range []struct {
		name string
		m    piece.Member
		tol  float64 // relative
	}{
		{"rectangle", board("m", rectangle(300, 200), 19, lifted(300)), 1e-6},
		{"hexagon", board("m", hexagon, 19, lifted(300)), 1e-6},
		{"hexagon with a skew end", skewed, 1e-6},
		{"ellipse", board("m", ellipse(150, 90), 19, lifted(300)), 2e-4}, // flattened at 0.02 mm
		{"turning", turning("m", low, lifted(300)), 2e-4},
	} {
		r := run(t, pieceOf(piece.CoreSize, c.m), nil, nil, s, Options{})
		var net, show float64
		for _, p := range r.patterns {
			net += p.NetArea
		}
		for si, sf := range r.l.Cores[0].Surfaces(0) {
			if r.l.Coverings[0][si].Stack > 0 {
				show += sf.Area
			}
		}
		near(t, c.name+": net area over the area that shows", net/show, 1, c.tol)
		if !strings.Contains(r.ids(), c.m.ID+"/") {
			t.Errorf("%s: no pattern", c.name)
		}
	}
}
