package piece

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"groundwork/internal/geom"
)

// shapeOf resolves a piece of one board and returns its outline.
func shapeOf(t *testing.T, shape string) (Outline, error) {
	t.Helper()
	p, err := read(withBoard("{"+shape+", thickness: 10}"), nil)
	if err != nil {
		return Outline{}, err
	}
	return p.Members[0].Board.Outline, nil
}

// Areas and perimeters are the closed forms of plane geometry; the perimeter
// of the ellipse 460 x 340 is the complete elliptic integral,
// 4a E(e) = 1263.7156 mm (to the four decimals given).
func TestShapesAgainstClosedForms(t *testing.T) {
	bow := func(chord, sag float64) (length, area float64) { // of a circular segment
		r := (chord*chord/4 + sag*sag) / (2 * sag)
		a := 2 * math.Asin(chord/2/r)
		return r * a, r * r / 2 * (a - math.Sin(a))
	}
	arc, seg := bow(500, 12)
	slant := math.Hypot(500, 12.5)
	for _, c := range []struct {
		shape        string
		area, length float64
		runs         int
		box          geom.Box2
	}{
		{"rectangle: {length: 100, width: 50}", 5000, 300, 4, geom.Box2{Min: geom.V2(-50, -25), Max: geom.V2(50, 25)}},
		{"rectangle: {length: 100, width: 50, corner: 10}", 5000 - (4-math.Pi)*100, 300 - 80 + 20*math.Pi, 1, geom.Box2{Min: geom.V2(-50, -25), Max: geom.V2(50, 25)}},
		{"rounded: {length: 100, width: 50}", 2500 + 625*math.Pi, 100 + 50*math.Pi, 1, geom.Box2{Min: geom.V2(-50, -25), Max: geom.V2(50, 25)}},
		{"rounded: {length: 50, width: 50}", 625 * math.Pi, 50 * math.Pi, 1, geom.Box2{Min: geom.V2(-25, -25), Max: geom.V2(25, 25)}},
		{"circle: {diameter: 2 in}", math.Pi * 25.4 * 25.4, math.Pi * 50.8, 1, geom.Box2{Min: geom.V2(-25.4, -25.4), Max: geom.V2(25.4, 25.4)}},
		{"ellipse: {length: 460, width: 340}", math.Pi * 230 * 170, 1263.7156, 1, geom.Box2{Min: geom.V2(-230, -170), Max: geom.V2(230, 170)}},
		{"polygon: {sides: 6, across: 60}", 2 * math.Sqrt(3) * 900, 12 * 30 * math.Tan(math.Pi/6), 6, geom.Box2{Min: geom.V2(-30/math.Cos(math.Pi/6), -30), Max: geom.V2(30/math.Cos(math.Pi/6), 30)}},
		{"polygon: {sides: 3, radius: 60}", 3 * math.Sqrt(3) / 4 * 3600, 3 * 60 * math.Sqrt(3), 3, geom.Box2{Min: geom.V2(-30*math.Sqrt(3), -30), Max: geom.V2(30*math.Sqrt(3), 60)}},
		{"taper: {length: 500, from: 60, to: 35}", 23750, 95 + 2*slant, 4, geom.Box2{Min: geom.V2(0, -30), Max: geom.V2(500, 30)}},
		{"taper: {length: 500, from: 60, to: 60, keep: lower, bow: 12}", 30000 + seg, 620 + arc, 4, geom.Box2{Min: geom.V2(0, 0), Max: geom.V2(500, 72)}},
		{"taper: {length: 500, from: 60, to: 60, keep: upper, bow: -12, bow_edge: lower}", 30000 - seg, 620 + arc, 4, geom.Box2{Min: geom.V2(0, -60), Max: geom.V2(500, 0)}},
	} {
		o, err := shapeOf(t, c.shape)
		if err != nil {
			t.Errorf("%s: %v", c.shape, err)
			continue
		}
		within := func(what string, got, want, tol float64) {
			if math.Abs(got-want) > tol {
				t.Errorf("%s: %s %.9f, want %.9f", c.shape, what, got, want)
			}
		}
		within("area", o.Path.Area(), c.area, 1e-9*c.area)
		within("perimeter", o.Path.Length(), c.length, 5e-5)
		b := o.Path.Bounds()
		within("left", b.Min.X, c.box.Min.X, 1e-9)
		within("right", b.Max.X, c.box.Max.X, 1e-9)
		within("low", b.Min.Y, c.box.Min.Y, 1e-9)
		within("high", b.Max.Y, c.box.Max.Y, 1e-9)
		if o.Runs() != c.runs {
			t.Errorf("%s: %d edges, want %d", c.shape, o.Runs(), c.runs)
		}
	}
}

// One shape drawn in several ways has one area; every loop comes back
// counter-clockwise.
func TestParsePath(t *testing.T) {
	circle, third := math.Pi*2500, 100*60*2/3.0 // a parabola's arch holds two thirds of its box
	for _, c := range []struct {
		path string
		segs int
		area float64
	}{
		{"M0 0 L100 0 L100 50 L0 50 Z", 4, 5000},
		{"M0 0 L0 50 L100 50 L100 0 Z", 4, 5000}, // clockwise
		{"M0,0H100V50H0Z", 4, 5000},
		{"m10 10 100 0 0 50 -100 0z", 4, 5000},
		{"M10 10h100v50h-100v-50z", 4, 5000},         // already back at its start
		{"M 0 0 100 0 100 0 100 50 0 50 Z", 4, 5000}, // a repeated point
		{"M-50 0 A50 50 0 0 0 50 0 A50 50 0 0 0 -50 0 Z", 2, circle},
		{"M50 0a50,50 0 11-100,0a50,50 0 01100,0z", 2, circle}, // flags run together with what follows
		{"M-50 0A5 5 0 0 0 50 0A5 5 0 0 0-50 0Z", 2, circle},   // radii too small to reach grow (F.6.6)
		{"M0 0 A50 50 0 1 1 50 50 Z", 2, circle*3/4 + 1250},    // three quarters and their triangle
		{"M0 0 A50 50 0 0 1 50 50 Z", 2, circle/4 - 1250},
		{"M0 0 A100 50 90 0 1 -100 0 Z", 2, math.Pi * 100 * 50 / 2}, // half of an ellipse that stands upright
		{"M0 0 Q50 120 100 0 Z", 2, third},
		{"M0 0 Q25 60 50 60 T100 0 Z", 2 + 1, 2 * (50*60/2 + 50*60/6)},
		{"M0 0 C0 60 40 60 50 60 S100 60 100 0 Z", 3, 2 * (3000 - 510)}, // ∫ 60 (1 - (1-t)³) (240 t - 210 t²) dt = 3000 - 60 (240/20 - 210/60)
		{"M1e1 1.0E1l.5e2.0 0 50-5e1-50z", 3, 1250},
	} {
		p, err := ParsePath(c.path)
		if err != nil {
			t.Errorf("%s: %v", c.path, err)
			continue
		}
		if len(p.Segs) != c.segs || math.Abs(p.Area()-c.area) > 1e-9*c.area {
			t.Errorf("%s: %d segments, area %.6f; want %d, %.6f", c.path, len(p.Segs), p.Area(), c.segs, c.area)
		}
		if err := p.Check(1e-9); err != nil {
			t.Errorf("%s: %v", c.path, err)
		}
	}
	for path, why := range map[string]string{
		"":                            "empty",
		"L0 0":                        "begin with M",
		"M0 0 L10 0 L10 10":           "not closed",
		"M0 0 L10 0 Z M20 20 L30 0 Z": "follows the closing Z",
		"M0 0 L10 0 M20 20 L30 0 Z":   "second loop",
		"M0 0 L10 Z":                  "a number is wanted",
		"M0 0 L10 0 X10 10 Z":         "no path command",
		"M0 0 A5 5 0 2 0 10 0 Z":      "flag",
		"M0 0 L1e9 0 L0 10 Z":         "beyond",
		"M0 0 L1e999 0 L0 10 Z":       "number is wanted",
		"M0 0 Z":                      "encloses nothing",
		"M0 0" + strings.Repeat("h1v1", 300) + "Z": "more than 500",
	} {
		if _, err := ParsePath(path); err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%.40s: %v; want %q", path, err, why)
		}
	}
}

// Outlines and cut-outs that only just can, or cannot, be made.
func TestLoops(t *testing.T) {
	square := "rectangle: {length: 100, width: 100}, cutouts: "
	for _, c := range []struct{ board, fault string }{
		{`path: "M0 0 L100 100 L100 0 L0 100 Z"`, "crosses or touches itself"},
		{`path: "M0 0 L100 0 L50 50 L100 100 L0 100 L50 50 Z"`, "crosses or touches itself"}, // touches in one point
		{`path: "M0 0 L100 0 L49.99 50 L100 100 L0 100 L50.01 50 Z"`, "crosses or touches itself"},
		{`path: "M0 0 L100 0 L50.01 50 L100 100 L0 100 L49.99 50 Z"`, ""},
		{`path: "M0 0 L100 0 L100 100 L100 50 L0 50 Z"`, "turns back on itself"},
		{`path: "M0 0 C300 100 -200 100 100 0 Z"`, "crosses or touches itself"}, // a cubic with a loop
		{`path: "M0 0 L100 0 L200 0 L200 50 L0 50 Z"`, ""},                      // a point in a straight edge
		{square + "[{circle: {diameter: 98.9}}]", ""},
		{square + "[{circle: {diameter: 99.1}}]", "are left"},
		{square + "[{circle: {diameter: 100}}]", "leaves the board"},
		{square + "[{circle: {diameter: 20}, at: [90, 0]}]", "outside the board"},
		{square + "[{circle: {diameter: 20}, at: [45, 0]}]", "leaves the board"},
		{square + "[{circle: {diameter: 20}}, {circle: {diameter: 20}, at: [20.6, 0]}]", ""},
		{square + "[{circle: {diameter: 20}}, {circle: {diameter: 20}, at: [20.4, 0]}]", "are left"},
		{square + "[{circle: {diameter: 20}}, {circle: {diameter: 20}, at: [15, 0]}]", "meets cut-out 1"},
		{square + "[{circle: {diameter: 40}}, {circle: {diameter: 20}}]", "inside one another"},
		{square + "[{circle: {diameter: 20}}, {circle: {diameter: 40}}]", "inside one another"},
		{square + "[{rectangle: {length: 80, width: 80}, turn: 45 deg}]", "leaves the board"},
	} {
		_, err := shapeOf(t, c.board)
		switch {
		case c.fault == "" && err != nil:
			t.Errorf("%s: %v", c.board, err)
		case c.fault != "" && (err == nil || !strings.Contains(err.Error(), c.fault)):
			t.Errorf("%s: %v; want %q", c.board, err, c.fault)
		}
	}
}

func TestExpressions(t *testing.T) {
	known := map[string]value{"height": {560, Length}, "splay": {math.Pi / 6, Angle}, "legs": {4, Count}, "top.thickness": {22, Length}}
	look := func(n string) (value, error) {
		if v, ok := known[n]; ok {
			return v, nil
		}
		return value{}, fmt.Errorf("there is no %s here", n)
	}
	for _, c := range []struct {
		text string
		want float64
		kind Quantity
	}{
		{"1 / 2", .5, Count}, {"-2 ^ 2", -4, Count}, {"2 ** 3 ** 2", 512, Count}, {"7 % 4", 3, Count},
		{"height - top.thickness", 538, Length}, {"height / 2 - 20 mm", 260, Length}, {"height - 1 in", 534.6, Length},
		{"height - .5in*2", 534.6, Length}, {"2 mm-1 mm", 1, Length}, {"height / 10 mm", 56, Count},
		{"360 deg / legs", math.Pi / 2, Angle}, {"sin(splay)", .5, Count}, {"height * tan(45 deg)", 560, Length},
		{"deg(45) * 2 == 90 deg ? 1 : 2", 1, Count}, {"legs > 3 && !(legs > 5) ? height : 0", 560, Length},
		{"atan2(1, 1)", math.Pi / 4, Angle}, {"sqrt(height * height)", 560, Count},
		{"max(height, 600 mm, 3)", 600, Length}, {"min(2, 1)", 1, Count}, {"abs(-splay)", math.Pi / 6, Angle}, {"2*pi", 2 * math.Pi, Count},
	} {
		n, err := parseExpression(c.text)
		if err != nil {
			t.Errorf("%s: %v", c.text, err)
			continue
		}
		v, err := eval(n, look)
		if err != nil || math.Abs(v.v-c.want) > 1e-12*math.Max(1, math.Abs(c.want)) || v.kind != c.kind {
			t.Errorf("%s = %v %s, %v; want %v %s", c.text, v.v, v.kind, err, c.want, c.kind)
		}
	}
	for text, why := range map[string]string{
		"1 / 0": "divides by zero", "1 % 0": "divides by zero", "height + splay": "cannot be put together", "max(height, splay)": "cannot be put together",
		"hieght": "there is no hieght", "sqr(2)": "no function sqr", "sin(1, 2)": "takes 1 numbers", "max(": "commas between quotes",
		"[1, 2]": "only numbers", `"a" + "b"`: "only numbers", "1..5": "cannot be used here", "map(1..9, # * 2)": "no function map",
		"a.b.c": "member.size", "(1 < 2) + 1": "cannot be reckoned with", "legs ? 1 : 2": "is a comparison", "let x = 1; x": "only numbers",
		"": "", strings.Repeat("1+", 400) + "1": "longer than", strings.Repeat("(", 60) + "1" + strings.Repeat(")", 60): "brackets",
	} {
		n, err := parseExpression(text)
		var v value
		if err == nil {
			v, err = eval(n, look)
		}
		if err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%s = %v, %v; want %q", text, v, err, why)
		}
	}
}

// The names and planes that rules are checked against are those of Surfaces.
func TestSurfaceNamesAndPlanes(t *testing.T) {
	flat := 0
	for _, m := range resolveFile(t, "testdata/every-key.yaml").Members {
		var names []string
		for _, s := range m.Surfaces(0) {
			names = append(names, s.Name)
			pl, ok := m.flatSurface(s.Name)
			if ok != (s.Kind == Plane) {
				t.Errorf("%s %s: flat %v, but its kind is %s", m.ID, s.Name, ok, s.Kind)
				continue
			}
			if ok {
				flat++
				if d := pl.Distance(s.Frame.Origin); pl.Normal.Dist(s.Frame.Z) > 1e-9 || math.Abs(d) > 1e-9 {
					t.Errorf("%s %s: plane %v, chart frame %v", m.ID, s.Name, pl, s.Frame)
				}
			}
		}
		if got := m.SurfaceNames(); strings.Join(got, " ") != strings.Join(names, " ") {
			t.Errorf("%s: %v, Surfaces has %v", m.ID, got, names)
		}
	}
	if flat < 50 {
		t.Errorf("only %d flat surfaces were compared", flat)
	}
}

// End cuts are laid on the first copy; what they remove is alike on all.
func TestCopiesAreCutAlike(t *testing.T) {
	p := resolveFile(t, "testdata/every-key.yaml")
	legs, spokes := 0, 0
	for _, m := range p.Members {
		switch m.Name {
		case "leg": // mirrored in upright planes: level cuts stay level
			legs++
			low, high := m.EndCuts[0].Plane.In(m.Place), m.EndCuts[1].Plane.In(m.Place)
			if low.Normal.Dist(geom.V3(0, 0, -1)) > 1e-9 || math.Abs(low.D+5) > 1e-9 {
				t.Errorf("%s: floor cut %v", m.ID, low)
			}
			// The slab hangs 22 + 18 mm below the height of 560 mm.
			if high.Normal.Dist(geom.V3(0, 0, 1)) > 1e-9 || math.Abs(high.D-520) > 1e-9 {
				t.Errorf("%s: cut under the slab %v", m.ID, high)
			}
		case "spoke": // 5 of them from 45 degrees on, each cut square where the hub begins
			a := math.Pi/4 + 2*math.Pi/5*float64(spokes)
			out := geom.V3(math.Cos(a), math.Sin(a), 0)
			pl := m.EndCuts[0].Plane.In(m.Place)
			if m.Place.Z.Dist(out) > 1e-9 || pl.Normal.Dist(out.Neg()) > 1e-9 || math.Abs(pl.D+45) > 1e-9 {
				t.Errorf("%s: axis %v, cut %v", m.ID, m.Place.Z, pl)
			}
			spokes++
		}
	}
	if legs != 4 || spokes != 5 {
		t.Errorf("%d legs and %d spokes", legs, spokes)
	}
}

func TestAxes(t *testing.T) {
	s := math.Sqrt(0.5)
	for _, c := range []struct {
		axes string
		x, z geom.Vec3
	}{
		{"{x: +y, y: -x}", geom.V3(0, 1, 0), geom.V3(0, 0, 1)},
		{"{x: z}", geom.V3(0, 0, 1), geom.V3(-1, 0, 0)}, // y stays +y
		{"{y: z}", geom.V3(1, 0, 0), geom.V3(0, -1, 0)}, // x stays +x
		{"{z: -z, x: x}", geom.V3(1, 0, 0), geom.V3(0, 0, -1)},
		{"{z: +x, y: +z}", geom.V3(0, 1, 0), geom.V3(1, 0, 0)},
		{"{x: [1, 1, 0], y: +y}", geom.V3(s, s, 0), geom.V3(0, 0, 1)},                                                      // x exact, y made square
		{"{z: [0, 1, 1], x: [1, 1, 0]}", geom.V3(math.Sqrt(2.0/3), math.Sqrt(1.0/6), -math.Sqrt(1.0/6)), geom.V3(0, s, s)}, // z exact
	} {
		p, err := read(withBoard(plain)+"    axes: "+c.axes+"\n", nil)
		if err != nil {
			t.Errorf("%s: %v", c.axes, err)
			continue
		}
		f := p.Members[0].Place
		if f.X.Dist(c.x) > 1e-12 || f.Z.Dist(c.z) > 1e-12 || f.Y.Dist(f.Z.Cross(f.X)) > 1e-12 {
			t.Errorf("%s: %v, want x %v and z %v", c.axes, f, c.x, c.z)
		}
	}
}
