package draw

import (
	"bytes"
	"encoding/xml"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"groundwork/internal/geom"

	"pgregory.net/rapid"
)

// golden compares got with a file of testdata; GOLDEN=update rewrites the file.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if os.Getenv("GOLDEN") == "update" {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s differs from what is written now; look at the difference, then GOLDEN=update", name)
	}
}

// goldens are all files that testdata may hold.
var goldens = map[string]func() Sheet{"sample": sampleSheet, "alphabet": alphabetSheet}

func TestGoldens(t *testing.T) {
	for name, sheet := range goldens {
		for ext, write := range map[string]func(*bytes.Buffer, Sheet) error{
			".svg": func(b *bytes.Buffer, s Sheet) error { return WriteSVG(b, s) },
			".dxf": func(b *bytes.Buffer, s Sheet) error { return WriteDXF(b, s) },
		} {
			var b, again bytes.Buffer
			if err := write(&b, sheet()); err != nil {
				t.Fatal(err)
			}
			if err := write(&again, sheet()); err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(b.Bytes(), again.Bytes()) {
				t.Errorf("%s%s: two runs differ", name, ext)
			}
			golden(t, name+ext, b.Bytes())
		}
	}
	files, err := filepath.Glob("testdata/*.*")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if base := filepath.Base(f); goldens[strings.TrimSuffix(base, filepath.Ext(base))] == nil {
			t.Errorf("%s belongs to no test", f)
		}
	}
}

// sampleSheet has every kind of item. Its closed forms are in sampleAreas.
func sampleSheet() Sheet {
	lettering, err := Lettering(Text{At: geom.V2(60, 12), Height: 5, Anchor: Middle, String: "TOP-1/2"})
	if err != nil {
		panic(err)
	}
	marks := []Item{}
	for _, p := range lettering {
		marks = append(marks, p)
	}
	return Sheet{
		Title: "sample & scale <1:1>", Width: 120, Height: 80,
		Layers: []Layer{
			{Name: "cut-inner", Operation: Cut, Items: []Item{
				Circle{Center: geom.V2(30, 40), Radius: 8},
				// A slot 30 long between centres, ends of radius 5.
				Path{Closed: true, Vertices: []Vertex{
					{geom.V2(50, 35), 0}, {geom.V2(80, 35), 1}, {geom.V2(80, 45), 0}, {geom.V2(50, 45), 1},
				}},
				// The same slot run clockwise: half turns the other way.
				Path{Closed: true, Vertices: []Vertex{
					{geom.V2(50, 55), -1}, {geom.V2(50, 65), 0}, {geom.V2(80, 65), -1}, {geom.V2(80, 55), 0},
				}},
				// Three quarters of a circle of radius 6 about (100, 40), closed
				// by its chord.
				Path{Closed: true, Vertices: []Vertex{
					{geom.V2(106, 40), math.Tan(3 * math.Pi / 8)}, {geom.V2(100, 34), 0},
				}},
			}},
			{Name: "cut outer", Operation: Cut, Items: Outlines(geom.Polygons{{geom.V2(5, 5), geom.V2(115, 5), geom.V2(115, 75), geom.V2(5, 75)}})},
			{Name: "half-cut", Operation: HalfCut, Items: []Item{Line(geom.V2(10, 30), geom.V2(110, 30))}},
			{Name: "mark", Operation: Mark, Items: marks},
			{Name: "note", Operation: Note, Items: []Item{
				Line(geom.V2(10, 70), geom.V2(110, 70)),
				Text{At: geom.V2(60, 22), Height: 3.5, Anchor: Middle, String: "110 × 70, ±0.1, 100 % at 20 °C"},
				Text{At: geom.V2(12, 40), Height: 3.5, Angle: math.Pi / 2, String: "grain >"},
				Text{At: geom.V2(112, 66), Height: 2.5, Anchor: End, String: "end"},
			}},
		},
	}
}

// sampleAreas are the closed forms of the sample's closed paths, by layer.
var sampleAreas = map[string][]float64{
	"CUT-INNER": {
		64 * math.Pi,
		300 + 25*math.Pi,
		-(300 + 25*math.Pi),
		36*math.Pi*3/4 + 18, // three quarters and the right triangle under the chord
	},
	"CUT_OUTER": {110 * 70},
}

func TestPathArea(t *testing.T) {
	s := sampleSheet()
	for _, l := range s.Layers[:2] {
		want := sampleAreas[DXFLayerName(l.Name)]
		for i, it := range l.Items {
			p, ok := it.(Path)
			if !ok {
				continue
			}
			if got := p.Area(); math.Abs(got-want[i]) > 1e-9 {
				t.Errorf("%s %d: area %v, want %v", l.Name, i, got, want[i])
			}
			flat := geom.Polygon(p.Flatten(1e-4))
			if got := flat.Area(); math.Abs(got-want[i]) > 1e-4*p.Length() {
				t.Errorf("%s %d: flat area %v, want %v", l.Name, i, got, want[i])
			}
		}
	}
}

// alphabetSheet shows every letter at the sizes of ISO 3098 that labels use.
func alphabetSheet() Sheet {
	s := Sheet{Title: "alphabet", Width: 115, Height: 130}
	l := Layer{Name: "mark", Operation: Mark}
	for _, row := range []struct {
		y, h float64
		text string
	}{
		{118, 7, "ABCDEFGHIJKLM"}, {106, 7, "NOPQRSTUVWXYZ"}, {94, 7, "0123456789"},
		{82, 7, "-./+():,=#°_ 1:2"}, {72, 5, "LEG 2-B (4/12) REV.7 +0.8"},
		{64, 3.5, "TABLE TOP SEGMENT 10-A / FACE UP"}, {58, 2.5, "RIM 3 BAND 2/4 GRAIN 90° O0 I1 S5 Z2 B8"},
	} {
		paths, err := Lettering(Text{At: geom.V2(5, row.y), Height: row.h, String: row.text})
		if err != nil {
			panic(err)
		}
		for _, p := range paths {
			l.Items = append(l.Items, p)
		}
	}
	for k := range 4 {
		paths, err := Lettering(Text{At: geom.V2(20, 8), Height: 3.5, Angle: float64(k) * math.Pi / 6, String: "   TURNED"})
		if err != nil {
			panic(err)
		}
		for _, p := range paths {
			l.Items = append(l.Items, p)
		}
	}
	s.Layers = []Layer{l}
	return s
}

// svgShape is what the test's own reader finds in one path element.
type svgShape struct {
	area, length float64
	closed       bool
}

// readSVGPaths reads the path elements of a file that WriteSVG wrote, by the
// formulas for end-point arcs of SVG 1.1 (appendix F.6.5), which share nothing
// with bulges.
func readSVGPaths(t *testing.T, data []byte) (paths []svgShape) {
	t.Helper()
	dec := xml.NewDecoder(bytes.NewReader(data))
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			return paths
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		el, ok := tok.(xml.StartElement)
		if !ok || el.Name.Local != "path" {
			continue
		}
		var sh svgShape
		var start, at geom.Vec2
		line := func(to geom.Vec2) {
			sh.length += at.Dist(to)
			sh.area -= at.Cross(to) / 2 // y runs down
			at = to
		}
		for _, m := range regexp.MustCompile(`([MLAZ])([^MLAZ]*)`).FindAllStringSubmatch(el.Attr[0].Value, -1) {
			var x []float64
			for _, w := range strings.Fields(m[2]) {
				v, err := strconv.ParseFloat(w, 64)
				if err != nil {
					t.Fatal(err)
				}
				x = append(x, v)
			}
			switch m[1] {
			case "M":
				start, at = geom.V2(x[0], x[1]), geom.V2(x[0], x[1])
			case "L":
				line(geom.V2(x[0], x[1]))
			case "Z":
				line(start)
				sh.closed = true
			case "A":
				to := geom.V2(x[5], x[6])
				r, half := x[0], at.Dist(to)/2
				// F.6.5 with rx = ry and no rotation.
				k := math.Sqrt(max(0, r*r-half*half)) / half
				if x[3] == x[4] {
					k = -k
				}
				d := at.Sub(to).Scale(0.5)
				c := geom.V2(k*d.Y, -k*d.X).Add(at.Lerp(to, 0.5))
				sweep := to.Sub(c).Angle() - at.Sub(c).Angle()
				if x[4] == 1 && sweep < 0 {
					sweep += 2 * math.Pi
				}
				if x[4] == 0 && sweep > 0 {
					sweep -= 2 * math.Pi
				}
				length := sh.length
				sh.area -= r * r * (sweep - math.Sin(sweep)) / 2
				line(to)
				sh.length = length + r*math.Abs(sweep)
			}
		}
		paths = append(paths, sh)
	}
}

// TestSVGSaysTheSame reads SVG back and compares areas and lengths with the
// paths, within what four decimals allow.
func TestSVGSaysTheSame(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(2, 8).Draw(rt, "n")
		p := Path{Closed: rapid.Bool().Draw(rt, "closed")}
		for i := range n {
			p.Vertices = append(p.Vertices, Vertex{
				geom.V2(rapid.Float64Range(0, 90).Draw(rt, "x")+100*float64(i%2), rapid.Float64Range(0, 200).Draw(rt, "y")),
				rapid.SampledFrom([]float64{0, 0, 1e-3, 0.2, -0.4142, 0.7, -0.99, 1.01, -2.4142, 3}).Draw(rt, "bulge"),
			})
		}
		if n == 2 && p.Closed && p.Vertices[1].Bulge == 0 && p.Vertices[0].Bulge == 0 {
			p.Closed = false
		}
		var b bytes.Buffer
		if err := WriteSVG(&b, Sheet{Width: 300, Height: 200, Layers: []Layer{{Name: "a", Items: []Item{p}}}}); err != nil {
			rt.Fatal(err)
		}
		got := readSVGPaths(t, b.Bytes())
		if len(got) != 1 || got[0].closed != p.Closed {
			rt.Fatalf("%d paths, %+v", len(got), got)
		}
		// An arc's radius is rounded to 5e-5, which moves its length by the
		// angle times that, times the growth of a flat arc's radius.
		tol := 1e-3 * float64(n) * 10
		if math.Abs(got[0].length-p.Length()) > tol {
			rt.Errorf("length %v, want %v\n%s", got[0].length, p.Length(), b.Bytes())
		}
		if p.Closed && math.Abs(got[0].area-p.Area()) > tol*300 {
			rt.Errorf("area %v, want %v\n%s", got[0].area, p.Area(), b.Bytes())
		}
	})
}

func TestSVGSample(t *testing.T) {
	var b bytes.Buffer
	if err := WriteSVG(&b, sampleSheet()); err != nil {
		t.Fatal(err)
	}
	paths := readSVGPaths(t, b.Bytes())
	want := append(sampleAreas["CUT-INNER"][1:], sampleAreas["CUT_OUTER"]...)
	for i, w := range want {
		if got := paths[i]; !got.closed || math.Abs(got.area-w) > 2e-3 {
			t.Errorf("path %d: area %v, want %v", i, got.area, w)
		}
	}
}

func TestBounds(t *testing.T) {
	for _, c := range []struct {
		name string
		p    Path
		want geom.Box2
	}{
		{"half turn upwards", Path{Vertices: []Vertex{{geom.V2(0, 0), -1}, {geom.V2(10, 0), 0}}}, geom.Box2{Min: geom.V2(0, 0), Max: geom.V2(10, 5)}},
		{"half turn downwards", Path{Vertices: []Vertex{{geom.V2(0, 0), 1}, {geom.V2(10, 0), 0}}}, geom.Box2{Min: geom.V2(0, -5), Max: geom.V2(10, 0)}},
		{"three quarters", Path{Vertices: []Vertex{{geom.V2(6, 0), math.Tan(3 * math.Pi / 8)}, {geom.V2(0, -6), 0}}}, geom.Box2{Min: geom.V2(-6, -6), Max: geom.V2(6, 6)}},
		{"the last bulge of an open path is idle", Path{Vertices: []Vertex{{geom.V2(0, 0), 0}, {geom.V2(10, 0), 1}}}, geom.Box2{Max: geom.V2(10, 0)}},
	} {
		got := c.p.Bounds()
		if got.Min.Dist(c.want.Min) > 1e-9 || got.Max.Dist(c.want.Max) > 1e-9 {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// TestMapMirror turns a path over: the box turns over with it, arcs included.
func TestMapMirror(t *testing.T) {
	p := sampleSheet().Layers[0].Items[3].(Path)
	q := p.Map(func(v geom.Vec2) geom.Vec2 { return geom.V2(-v.X, v.Y) }, true)
	a, b := p.Bounds(), q.Bounds()
	if math.Abs(p.Area()+q.Area()) > 1e-9 || math.Abs(a.Min.X+b.Max.X) > 1e-9 || math.Abs(a.Max.X+b.Min.X) > 1e-9 || math.Abs(a.Max.Y-b.Max.Y) > 1e-9 {
		t.Errorf("area %v and %v, box %v and %v", p.Area(), q.Area(), a, b)
	}
}

func TestRefusals(t *testing.T) {
	sheet := func(layers ...Layer) Sheet { return Sheet{Width: 10, Height: 10, Layers: layers} }
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		name     string
		s        Sheet
		svg, dxf string // what the error says; empty: none
	}{
		{"no size", Sheet{Height: 1}, "0 x 1", "0 x 1"},
		{"not a number", sheet(Layer{Name: "a", Items: []Item{Line(geom.V2(0, 0), geom.V2(nan, 0))}}), "item 0", "item 0"},
		{"infinite bulge", sheet(Layer{Name: "a", Items: []Item{Path{Vertices: []Vertex{{geom.V2(0, 0), inf}, {}}}}}), "item 0", "item 0"},
		{"lone point", sheet(Layer{Name: "a", Items: []Item{Polyline([]geom.Vec2{{}}, true)}}), "1 vertices", "1 vertices"},
		{"no radius", sheet(Layer{Name: "a", Items: []Item{Circle{}}}), "item 0", "item 0"},
		{"same name", sheet(Layer{Name: "a"}, Layer{Name: "a"}), "twice", "twice"},
		{"same name in DXF", sheet(Layer{Name: "a"}, Layer{Name: "A"}), "", "both be A"},
		{"same name in both", sheet(Layer{Name: "a b"}, Layer{Name: "a_b"}), "both be a_b", "both be A_B"},
		{"reserved name", sheet(Layer{Name: "0"}), "", "called 0"},
		{"control character", sheet(Layer{Name: "a", Items: []Item{Text{Height: 1, String: "a\n0"}}}), "control", "control"},
		{"no such operation", sheet(Layer{Name: "a", Operation: 9}), "operation 9", "operation 9"},
		{"nothing wrong", sheet(Layer{Name: "a"}), "", ""},
	} {
		var b bytes.Buffer
		for kind, got := range map[string]error{"svg": WriteSVG(&b, c.s), "dxf": WriteDXF(&b, c.s)} {
			want := map[string]string{"svg": c.svg, "dxf": c.dxf}[kind]
			if want == "" && got != nil || want != "" && (got == nil || !strings.Contains(got.Error(), want)) {
				t.Errorf("%s, %s: %v, want %q", c.name, kind, got, want)
			}
		}
	}
}

func TestNumbers(t *testing.T) {
	for x, want := range map[float64]string{
		0: "0", math.Copysign(0, -1): "0", -0.00004: "0", 0.00005: "0.0001", 10: "10", 100: "100", 1.5: "1.5",
		-2.25: "-2.25", 1e6: "1000000", 0.12345678: "0.1235",
	} {
		if got := num(x); got != want {
			t.Errorf("num(%v) = %q, want %q", x, got, want)
		}
	}
}

func TestLayerNames(t *testing.T) {
	for _, c := range []struct{ name, dxf, svg string }{
		{"cut inner", "CUT_INNER", "cut_inner"},
		{"half-cut", "HALF-CUT", "half-cut"},
		{"1 top", "1_TOP", "_1_top"},
		{"größe", "GR__E", "gr__e"},
		{strings.Repeat("x", 40), strings.Repeat("X", 31), strings.Repeat("x", 40)},
	} {
		if got := DXFLayerName(c.name); got != c.dxf {
			t.Errorf("DXFLayerName(%q) = %q, want %q", c.name, got, c.dxf)
		}
		if got := SVGLayerID(c.name); got != c.svg {
			t.Errorf("SVGLayerID(%q) = %q, want %q", c.name, got, c.svg)
		}
	}
}

func TestDXFText(t *testing.T) {
	for in, want := range map[string]string{
		"20 °C ±1": "20 %%dC %%p1", "5 %": "5 %", "%%d": "% %d", "%%%": "% % %", "⌀8 × 3 – ß": "%%c8 x 3 - ?",
	} {
		if got := dxfText(in); got != want {
			t.Errorf("dxfText(%q) = %q, want %q", in, got, want)
		}
	}
}

// TestStylesDifferInGrey uses the luma weights of ITU-R BT.601.
func TestStylesDifferInGrey(t *testing.T) {
	last := 0.0
	for o := Cut; o <= Note; o++ {
		s := o.Style()
		luma := 0.299*float64(s.Red) + 0.587*float64(s.Green) + 0.114*float64(s.Blue)
		if luma < last+20 {
			t.Errorf("%v has luma %.0f, too near the one before at %.0f", o, luma, last)
		}
		last = luma
	}
}
