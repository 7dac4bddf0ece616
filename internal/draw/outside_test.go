//go:build outside

package draw

import (
	"bytes"
	"image/png"
	"math"
	"math/rand"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/tools/outside"
)

func dxfFile(t *testing.T, s Sheet) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "sheet.dxf")
	var b bytes.Buffer
	if err := WriteDXF(&b, s); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestDXFByEzdxf has ezdxf read and audit the sample, and compares its areas and
// lengths with closed forms.
func TestDXFByEzdxf(t *testing.T) {
	s := sampleSheet()
	d := outside.DXF(t, dxfFile(t, s))[0]
	if d.Error != "" || len(d.Audit) != 0 {
		t.Fatalf("error %q, audit %q", d.Error, d.Audit)
	}
	if d.Version != "AC1009" {
		t.Errorf("version %q", d.Version)
	}
	if len(d.Comments) == 0 || !strings.Contains(d.Comments[0], "millimetres") {
		t.Errorf("comments %q", d.Comments)
	}
	layers := map[string]outside.DrawingLayer{}
	for _, l := range d.Layers {
		layers[l.Name] = l
	}
	for _, l := range s.Layers {
		got, ok := layers[DXFLayerName(l.Name)]
		if !ok {
			t.Fatalf("no layer for %q in %v", l.Name, d.Layers)
		}
		if got.Color != l.Operation.Style().ColorIndex || got.LineType != lineType(l.Operation) {
			t.Errorf("layer %s: %d %s", got.Name, got.Color, got.LineType)
		}
		if n := len(got.Closed) + len(got.Open) + len(got.Texts); n != len(l.Items) {
			t.Errorf("layer %s has %d items, want %d", got.Name, n, len(l.Items))
		}
	}
	for name, areas := range sampleAreas {
		// ezdxf's layers list circles and polylines in the order of the file.
		for i, want := range areas {
			if got := layers[name].Closed[i].Area; math.Abs(got-want) > 1e-5 {
				t.Errorf("%s %d: area %v, want %v", name, i, got, want)
			}
		}
	}
	slot := layers["CUT-INNER"].Closed[1]
	if math.Abs(slot.Length-60-10*math.Pi) > 1e-5 || math.Abs(slot.Min[0]-45) > 1e-6 || math.Abs(slot.Max[0]-85) > 1e-6 {
		t.Errorf("slot: %+v", slot)
	}
	texts := layers["NOTE"].Texts
	if texts[0].Text != "110 x 70, ±0.1, 100 % at 20 °C" || !strings.HasSuffix(texts[0].Align, "CENTER") || texts[0].At != [2]float64{60, 22} {
		t.Errorf("text: %+v", texts[0])
	}
	if math.Abs(texts[1].Rotation-90) > 1e-9 || texts[1].Height != 3.5 {
		t.Errorf("turned text: %+v", texts[1])
	}
	if !strings.HasSuffix(texts[2].Align, "RIGHT") {
		t.Errorf("text at its end: %+v", texts[2])
	}
	// Every stroke of the alphabet passes too.
	if a := outside.DXF(t, dxfFile(t, alphabetSheet()))[0]; a.Error != "" || len(a.Audit) != 0 {
		t.Errorf("alphabet: error %q, audit %q", a.Error, a.Audit)
	}
}

// TestEzdxfCanSayNo breaks a file and expects the checker to tell.
func TestEzdxfCanSayNo(t *testing.T) {
	path := dxfFile(t, sampleSheet())
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, bytes.ReplaceAll(data, []byte("HALF-CUT\n 10"), []byte("NO-LAYER\n 10")), 0o644); err != nil {
		t.Fatal(err)
	}
	if d := outside.DXF(t, path)[0]; d.Error == "" && len(d.Audit) == 0 {
		t.Error("an entity on an undefined layer was accepted")
	}
}

// TestSVGByLibrsvg renders the sample at ten dots to the millimetre and looks
// for ink where lines must be and for none where they must not.
func TestSVGByLibrsvg(t *testing.T) {
	dir := t.TempDir()
	var b bytes.Buffer
	s := sampleSheet()
	if err := WriteSVG(&b, s); err != nil {
		t.Fatal(err)
	}
	in, out := filepath.Join(dir, "s.svg"), filepath.Join(dir, "s.png")
	if err := os.WriteFile(in, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	program, err := exec.LookPath("rsvg-convert")
	if err != nil {
		t.Fatal("no rsvg-convert: run tools/outside/install.sh")
	}
	if msg, err := exec.Command(program, "-d", "254", "-p", "254", "--background-color", "white", "-o", out, in).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, msg)
	}
	f, err := os.Open(out)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	// 254 dpi are ten dots to the millimetre: full size must come out exactly.
	if size := img.Bounds().Size(); size.X != 1200 || size.Y != 800 {
		t.Fatalf("the page is %v dots, want 1200 x 800", size)
	}
	ink := func(p geom.Vec2) bool {
		x, y := int(p.X*10), int((s.Height-p.Y)*10)
		for dx := -2; dx <= 2; dx++ {
			for dy := -2; dy <= 2; dy++ {
				if r, g, b, _ := img.At(x+dx, y+dy).RGBA(); min(r, g, b) < 0xc000 {
					return true
				}
			}
		}
		return false
	}
	for _, c := range []struct {
		at   geom.Vec2
		want bool
	}{
		{geom.V2(38, 40), true},       // circle, right
		{geom.V2(30, 40), false},      // its middle: no fill
		{geom.V2(85, 40), true},       // slot, right end bulges out
		{geom.V2(80, 40), false},      // and not in
		{geom.V2(45, 60), true},       // clockwise slot, left end
		{geom.V2(94, 40), true},       // three quarters, far side
		{geom.V2(103, 37), true},      // its chord
		{geom.V2(104.2, 35.8), false}, // the quarter that is missing
		{geom.V2(5, 40), true}, {geom.V2(115, 40), true}, {geom.V2(60, 75), true}, {geom.V2(60, 5), true},
		{geom.V2(60, 30), true}, {geom.V2(60, 50), false},
	} {
		if ink(c.at) != c.want {
			t.Errorf("ink at %v: %v, want %v", c.at, !c.want, c.want)
		}
	}
}

// TestBulgesByEzdxf compares two hundred random closed paths, from a fixed seed,
// with what ezdxf makes of them: flat and steep bulges, both ways round.
func TestBulgesByEzdxf(t *testing.T) {
	rng := rand.New(rand.NewSource(7))
	var paths []Path
	layer := Layer{Name: "cut"}
	for range 200 {
		p := Path{Closed: true}
		for range 2 + rng.Intn(6) {
			v := Vertex{geom.V2(600*rng.Float64(), 300*rng.Float64()), 0}
			if rng.Intn(3) > 0 {
				v.Bulge = math.Tan((rng.Float64()*2 - 1) * 1.9 * math.Pi / 4) // sweeps up to 1.9 π
			}
			p.Vertices = append(p.Vertices, v)
		}
		paths = append(paths, p)
		layer.Items = append(layer.Items, p)
	}
	d := outside.DXF(t, dxfFile(t, Sheet{Width: 600, Height: 300, Layers: []Layer{layer}}))[0]
	if d.Error != "" || len(d.Audit) != 0 {
		t.Fatalf("error %q, audit %q", d.Error, d.Audit)
	}
	var got []outside.Shape
	for _, l := range d.Layers {
		got = append(got, l.Closed...)
	}
	if len(got) != len(paths) {
		t.Fatalf("%d shapes, want %d", len(got), len(paths))
	}
	for i, p := range paths {
		length, box := p.Length(), p.Bounds()
		// Six decimals of the places and ten of the bulges.
		if math.Abs(got[i].Length-length) > 1e-6*length || math.Abs(got[i].Area-p.Area()) > 1e-6*length*length {
			t.Errorf("%d: area %v, length %v; want %v, %v\n%+v", i, got[i].Area, got[i].Length, p.Area(), length, p)
		}
		if box.Min.Dist(geom.V2(got[i].Min[0], got[i].Min[1])) > 1e-6*length || box.Max.Dist(geom.V2(got[i].Max[0], got[i].Max[1])) > 1e-6*length {
			t.Errorf("%d: from %v to %v, want %v", i, got[i].Min, got[i].Max, box)
		}
	}
}
