package mesh

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"groundwork/internal/geom"

	"pgregory.net/rapid"
)

// printLoad is two bodies, one of them placed twice, once turned.
func printLoad() Document {
	leg, block := tetrahedron(30, 40, 50), box(20, 20.1, 1.0/3)
	leg.Name, leg.PartNumber = "leg <A> & \"B\"", "L-1"
	block.Name = "Würfel"
	quarter := geom.Frame{Origin: geom.V3(100, 50, 0), X: geom.V3(0, 1, 0), Y: geom.V3(-1, 0, 0), Z: geom.V3(0, 0, 1)}
	return Document{
		Bodies: []Body{leg, block},
		Items: []Item{
			{Body: 0, Frame: geom.World(), PartNumber: "T1-LEG-1"},
			{Body: 1, Frame: geom.Frame{Origin: geom.V3(60, 0, 0), X: geom.V3(1, 0, 0), Y: geom.V3(0, 1, 0), Z: geom.V3(0, 0, 1)}},
			{Body: 0, Frame: quarter, PartNumber: "T1-LEG-2"},
		},
		Metadata: []Metadata{{"Title", "print load 1 < 2"}, {"Application", "Groundwork"}},
	}
}

func bytes3MF(t testing.TB, d Document) []byte {
	t.Helper()
	var out bytes.Buffer
	n, err := d.WriteTo(&out)
	if err != nil {
		t.Fatal(err)
	}
	if n != int64(out.Len()) {
		t.Errorf("WriteTo says %d bytes, wrote %d", n, out.Len())
	}
	return out.Bytes()
}

func read3MF(data []byte, lim Limits) (Document, error) {
	return Read3MF(bytes.NewReader(data), int64(len(data)), lim)
}

// TestThreeMFGolden compares the archive's parts, in order, and not the packed
// bytes, which the compressor of another Go release may choose otherwise.
func TestThreeMFGolden(t *testing.T) {
	data := bytes3MF(t, printLoad())
	if !bytes.Equal(data, bytes3MF(t, printLoad())) {
		t.Error("two runs differ")
	}
	zr, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	for _, f := range zr.File {
		fmt.Fprintf(&out, "---------- %s %s method %d flags %d\n", f.Name, f.Modified.Format(time.DateOnly), f.Method, f.Flags)
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.Copy(&out, r); err != nil {
			t.Fatal(err)
		}
	}
	golden(t, "printload.3mf.txt", out.Bytes())
}

func TestThreeMFRoundTrip(t *testing.T) {
	got, err := read3MF(bytes3MF(t, printLoad()), Limits{})
	if err != nil {
		t.Fatal(err)
	}
	want := printLoad()
	want.Bodies[1].Vertices, _ = Weld(want.Bodies[1].Vertices, want.Bodies[1].Triangles)
	want.Bodies[1].Triangles = got.Bodies[1].Triangles
	for i := range want.Bodies {
		a, b := want.Bodies[i], got.Bodies[i]
		if a.Name != b.Name || a.PartNumber != b.PartNumber || len(a.Vertices) != len(b.Vertices) {
			t.Errorf("body %d: %+v, want %+v", i, b, a)
		}
	}
	if !slices.Equal(got.Metadata, want.Metadata) || !slices.Equal(got.Items, want.Items) {
		t.Errorf("%+v %+v", got.Metadata, got.Items)
	}
}

// TestThreeMFExact writes random bodies at random places and expects every
// float32 back unchanged, so that closedness survives.
func TestThreeMFExact(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var d Document
		for range rapid.IntRange(1, 3).Draw(rt, "bodies") {
			b := drawBody(rt)
			b.Name = rapid.StringMatching(`[a-z<&"' é]{0,9}`).Draw(rt, "name")
			d.Bodies = append(d.Bodies, b)
		}
		for range rapid.IntRange(0, 4).Draw(rt, "items") {
			it := Item{Body: rapid.IntRange(0, len(d.Bodies)-1).Draw(rt, "body"), PartNumber: rapid.StringMatching(`[A-Z0-9-]{0,8}`).Draw(rt, "part")}
			u, v := rapid.Float64Range(-3, 3).Draw(rt, "u"), rapid.Float64Range(0.1, 3).Draw(rt, "v")
			z := geom.V3(math.Cos(u)*math.Sin(v), math.Sin(u)*math.Sin(v), math.Cos(v))
			it.Frame = lift(d.Bodies[it.Body], geom.FrameFromZ(geom.Vec3{}, z))
			d.Items = append(d.Items, it)
		}
		got, err := read3MF(bytes3MF(t, d), Limits{})
		if err != nil {
			rt.Fatal(err)
		}
		for i, b := range d.Bodies {
			g := got.Bodies[i]
			// The reader keeps the decimals as they are printed; as float32
			// they are the very numbers.
			same := slices.EqualFunc(g.Vertices, b.Vertices, func(x, y geom.Vec3) bool { return round32(x) == round32(y) })
			if g.Name != b.Name || !same || !slices.Equal(g.Triangles, b.Triangles) {
				rt.Errorf("body %d changed", i)
			}
		}
		if len(got.Bodies) != len(d.Bodies) || !slices.Equal(got.Items, d.Items) {
			rt.Errorf("items %+v became %+v", d.Items, got.Items)
		}
	})
}

// TestNegativeZero expects the zero that arithmetic may leave negative to be
// written as every other zero.
func TestNegativeZero(t *testing.T) {
	d := printLoad()
	d.Bodies[0].Vertices[0] = geom.V3(math.Copysign(0, -1), 0, math.Copysign(0, -1))
	d.Items[0].Frame.Origin.X = math.Copysign(0, -1)
	d.Items[2].Frame.X.X = math.Copysign(0, -1)
	if !bytes.Equal(bytes3MF(t, d), bytes3MF(t, printLoad())) {
		t.Error("3MF tells -0 from 0")
	}
	if !bytes.Equal(stlBytes(t, d.Bodies[0]), stlBytes(t, printLoad().Bodies[0])) {
		t.Error("STL tells -0 from 0")
	}
	v, _ := Weld(d.Bodies[0].Vertices, d.Bodies[0].Triangles)
	if math.Signbit(v[0].X) {
		t.Error("Weld keeps -0")
	}
	got, err := ReadSTL(strings.NewReader(strings.ReplaceAll(asciiTetrahedron, " 0", " -0")), Limits{})
	if err != nil || math.Signbit(got.Vertices[0].X) {
		t.Errorf("ReadSTL keeps -0; %v", err)
	}
}

func TestThreeMFWriteRefuses(t *testing.T) {
	for _, c := range []struct {
		name string
		spur func(*Document)
		want string
	}{
		{"nothing wrong", func(*Document) {}, ""},
		{"metadata of our own", func(d *Document) { d.Metadata[0].Name = "Colour" }, "Colour"},
		{"metadata twice", func(d *Document) { d.Metadata[1].Name = "Title" }, "twice"},
		{"open body", func(d *Document) { d.Bodies[1].Triangles = d.Bodies[1].Triangles[1:] }, "3 open"},
		{"body turned inside out in part", func(d *Document) { d.Bodies[1].Triangles[0] = [3]int32{0, 1, 2} }, "3 flipped"},
		{"no body", func(d *Document) { d.Items[0].Body = 2 }, "names body 2 of 2"},
		{"below zero", func(d *Document) { d.Items[1].Frame.Origin.Z = -0.01 }, "positive octant"},
		{"hardly below zero", func(d *Document) { d.Items[1].Frame.Origin.Z = -1e-5 }, ""},
		{"control character", func(d *Document) { d.Items[1].PartNumber = "a\n" }, "control"},
		{"control character in a name", func(d *Document) { d.Bodies[1].Name = "a\x00" }, "control"},
		{"not UTF-8", func(d *Document) { d.Metadata[1].Value = "\xff" }, "UTF-8"},
		{"no place", func(d *Document) { d.Items[1].Frame.Origin.Z = math.NaN() }, "not finite"},
		{"beyond float32", func(d *Document) { d.Bodies[0].Vertices[1].X = 1e39 }, "does not fit"},
	} {
		d := printLoad()
		c.spur(&d)
		_, err := d.WriteTo(io.Discard)
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
	d := printLoad()
	if _, err := d.WriteTo(failing{}); !errors.Is(err, errFull) {
		t.Errorf("a full disk gave %v", err)
	}
}

// pack makes an archive of the model text around the usual other parts; parts
// override or add (empty: leave out).
func pack(t testing.TB, model string, parts map[string]string) []byte {
	t.Helper()
	all := []struct{ name, text string }{
		{typesPart, `<Types xmlns="` + typesNamespace + `"><Default Extension="rels" ContentType="` + relsContentType + `"/><Default Extension="model" ContentType="` + modelContentType + `"/></Types>`},
		{relsPart, `<Relationships xmlns="` + relsNamespace + `"><Relationship Target="/3D/3dmodel.model" Id="r" Type="` + startPartRelation + `"/></Relationships>`},
		{modelPart, model},
		{"3D/other.model", "x"},
		{"3d/3DModel.model", ""},
	}
	for _, name := range slices.Sorted(maps.Keys(parts)) {
		known := false
		for _, p := range all {
			known = known || p.name == name
		}
		if !known {
			all = append(all, struct{ name, text string }{name, parts[name]})
		}
	}
	var out bytes.Buffer
	zw := zip.NewWriter(&out)
	for _, p := range all {
		if text, ok := parts[p.name]; ok {
			p.text = text
		}
		if p.text == "" {
			continue
		}
		w, err := zw.Create(p.name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(w, p.text); err != nil {
			t.Fatal(err)
		}
	}
	if err := zw.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// meshXML is the tetrahedron with legs 3, 4, 5 as a mesh element.
const meshXML = `<mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="3" y="0" z="0"/><vertex x="0" y="4" z="0"/><vertex x="0" y="0" z="5"/></vertices>
<triangles><triangle v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/><triangle v1="0" v2="3" v3="2"/><triangle v1="1" v2="2" v3="3"/></triangles></mesh>`

func modelXML(attrs, resources, build string) string {
	return `<?xml version="1.0" encoding="UTF-8"?><model xmlns="` + coreNamespace + `" ` + attrs + `><resources>` + resources + `</resources><build>` + build + `</build></model>`
}

const legObject = `<object id="1" name="leg" partnumber="L">` + meshXML + `</object>`

// placedVolume is the sum of the volumes of all items, in mm³, and their box.
func placedVolume(t *testing.T, d Document) (float64, geom.Box3) {
	t.Helper()
	var sum float64
	for _, it := range d.Items {
		r, err := Check(d.Bodies[it.Body].Vertices, d.Bodies[it.Body].Triangles)
		if err != nil || !r.Printable() {
			t.Errorf("body %d: %+v, %v", it.Body, r, err)
		}
		sum += r.Volume
	}
	return sum, d.Bounds()
}

func TestRead3MF(t *testing.T) {
	for _, c := range []struct {
		name   string
		model  string
		items  int
		volume float64
		box    geom.Box3
	}{
		{"plain", modelXML("", legObject, `<item objectid="1"/>`), 1, 10, geom.Box3{Max: geom.V3(3, 4, 5)}},
		{"nothing built", modelXML("", legObject, ``), 0, 0, geom.EmptyBox3()},
		{"centimetres", modelXML(`unit="centimeter"`, legObject, `<item objectid="1" transform="1 0 0 0 1 0 0 0 1 1 2 3"/>`), 1, 10000, geom.Box3{Min: geom.V3(10, 20, 30), Max: geom.V3(40, 60, 80)}},
		{"inches", modelXML(`unit="inch"`, legObject, `<item objectid="1"/>`), 1, 10 * 25.4 * 25.4 * 25.4, geom.Box3{Max: geom.V3(76.2, 101.6, 127)}},
		{"a quarter turn", modelXML("", legObject, `<item objectid="1" transform="0 1 0 -1 0 0 0 0 1 10 0 0"/>`), 1, 10, geom.Box3{Min: geom.V3(6, 0, 0), Max: geom.V3(10, 3, 5)}},
		{"twice as large", modelXML("", legObject, `<item objectid="1" transform="2 0 0 0 2 0 0 0 2 0 0 0"/>`), 1, 80, geom.Box3{Max: geom.V3(6, 8, 10)}},
		{"mirrored", modelXML("", legObject, `<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 3 0 0"/>`), 1, 10, geom.Box3{Max: geom.V3(3, 4, 5)}},
		{"sheared", modelXML("", legObject, `<item objectid="1" transform="1 0 0 1 1 0 0 0 1 0 0 0"/>`), 1, 10, geom.Box3{Max: geom.V3(4, 4, 5)}},
		{
			// The component moves by 10 in x, then the item turns x to y.
			"components", modelXML("", legObject+`<object id="2"><components><component objectid="1"/><component objectid="1" transform="1 0 0 0 1 0 0 0 1 10 0 0"/></components></object>`,
				`<item objectid="2" transform="0 1 0 -1 0 0 0 0 1 4 0 0"/>`), 2, 20, geom.Box3{Max: geom.V3(4, 13, 5)},
		},
		{"components of components", modelXML("", legObject+
			`<object id="2"><components><component objectid="1"/><component objectid="1"/></components></object>`+
			`<object id="3"><components><component objectid="2"/><component objectid="1" transform="2 0 0 0 2 0 0 0 2 0 0 0"/></components></object>`,
			`<item objectid="3"/>`), 3, 100, geom.Box3{Max: geom.V3(6, 8, 10)}},
		{"other people's names and materials", modelXML(`xmlns:q="urn:q" q:extra="1"`,
			`<basematerials id="7"><base name="x" displaycolor="#FFFFFF"/></basematerials><q:thing id="1"><q:deep/></q:thing>`+
				strings.NewReplacer(`partnumber`, `pid="7" pindex="0" partnumber`, `v3="1"`, `v3="1" pid="7" p1="0"`).Replace(legObject),
			`<item objectid="1"><metadatagroup><metadata name="q:n">v</metadata></metadatagroup></item>`), 1, 10, geom.Box3{Max: geom.V3(3, 4, 5)}},
		{"the core named as required", modelXML(`xmlns:c="`+coreNamespace+`" requiredextensions="c"`, legObject, `<item objectid="1"/>`), 1, 10, geom.Box3{Max: geom.V3(3, 4, 5)}},
	} {
		d, err := read3MF(pack(t, c.model, nil), Limits{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		volume, box := placedVolume(t, d)
		if len(d.Items) != c.items || math.Abs(volume-c.volume) > 1e-9*c.volume {
			t.Errorf("%s: %d items, volume %v; want %d, %v", c.name, len(d.Items), volume, c.items, c.volume)
		}
		if c.items > 0 && (box.Min.Dist(c.box.Min) > 1e-9 || box.Max.Dist(c.box.Max) > 1e-9) {
			t.Errorf("%s: %v, want %v", c.name, box, c.box)
		}
		if d.Bodies[0].Name != "leg" || d.Bodies[0].PartNumber != "L" {
			t.Errorf("%s: body %q %q", c.name, d.Bodies[0].Name, d.Bodies[0].PartNumber)
		}
	}
}

func TestRead3MFRefuses(t *testing.T) {
	one := `<item objectid="1"/>`
	good := modelXML("", legObject, one)
	swap := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("no %q to replace", old)
		}
		return strings.Replace(good, old, new, 1)
	}
	// Thirty objects, each twice the one before, are 2³⁰ tetrahedra.
	var bomb strings.Builder
	bomb.WriteString(legObject)
	for i := 2; i <= 31; i++ {
		fmt.Fprintf(&bomb, `<object id="%d"><components><component objectid="%d"/><component objectid="%d"/></components></object>`, i, i-1, i-1)
	}
	// Forty objects, each the one before, are one tetrahedron deep down.
	var chain strings.Builder
	chain.WriteString(legObject)
	for i := 2; i <= 41; i++ {
		fmt.Fprintf(&chain, `<object id="%d"><components><component objectid="%d"/></components></object>`, i, i-1)
	}
	for _, c := range []struct {
		name  string
		model string
		parts map[string]string
		lim   Limits
		want  string
	}{
		{name: "good", model: good},
		{name: "not XML", model: "hello", want: "no element"},
		{name: "cut short", model: good[:len(good)-8], want: "unexpected EOF"},
		{name: "two roots", model: good + good, want: "follows the root"},
		{name: "another root", model: "<model/>", want: "not a core model"},
		{name: "unknown unit", model: modelXML(`unit="cubit"`, legObject, one), want: "cubit"},
		{name: "required extension", model: modelXML(`xmlns:p="urn:p" requiredextensions="p"`, legObject, one), want: "urn:p"},
		{name: "no build", model: strings.Replace(good, "<build>"+one+"</build>", "", 1), want: "no build"},
		{name: "build first", model: `<model xmlns="` + coreNamespace + `"><build/><resources/></model>`, want: "before the resources"},
		{name: "unknown element", model: swap("<build>", "<bulid/><build>"), want: `"bulid"`},
		{name: "metadata twice", model: swap("<resources>", `<metadata name="Title">a</metadata><metadata name="Title">b</metadata><resources>`), want: "twice"},
		{name: "document type", model: strings.Replace(good, "<model", `<!DOCTYPE m [<!ENTITY a "b">]><model`, 1), want: "document type"},
		{name: "entity", model: swap(`name="leg"`, `name="&leg;"`), want: "invalid character entity"},
		{name: "Latin-1", model: strings.Replace(good, "UTF-8", "ISO-8859-1", 1), want: "only UTF-8"},
		{name: "support", model: swap(`id="1"`, `id="1" type="support"`), want: "only models"},
		{name: "id twice", model: modelXML("", legObject+legObject, one), want: "comes twice"},
		{name: "id 0", model: swap(`id="1"`, `id="0"`), want: "is 0"},
		{name: "empty object", model: modelXML("", `<object id="1"/>`, one), want: "empty"},
		{name: "no components", model: modelXML("", `<object id="1"><components/></object>`, one), want: "empty"},
		{name: "two meshes", model: modelXML("", `<object id="1">`+meshXML+meshXML+`</object>`, one), want: "more than one mesh"},
		{name: "item of nothing", model: modelXML("", legObject, `<item objectid="2"/>`), want: "not defined before"},
		{name: "its own component", model: modelXML("", `<object id="1"><components><component objectid="1"/></components></object>`, one), want: "not defined before"},
		{name: "eleven numbers", model: modelXML("", legObject, `<item objectid="1" transform="1 0 0 0 1 0 0 0 1 0 0"/>`), want: "11 numbers"},
		{name: "flattened", model: modelXML("", legObject, `<item objectid="1" transform="1 0 0 0 1 0 0 0 0 0 0 0"/>`), want: "flattens"},
		{name: "transform with words", model: modelXML("", legObject, `<item objectid="1" transform="1 0 0 0 1 0 0 0 NaN 0 0 0"/>`), want: "NaN"},
		{name: "no z", model: swap(` z="5"`, ""), want: `vertex 3: z is ""`},
		{name: "infinite", model: swap(`z="5"`, `z="Inf"`), want: "vertex 3"},
		{name: "index too high", model: swap(`v3="1"`, `v3="4"`), want: "triangle 0: v3"},
		{name: "negative index", model: swap(`v3="1"`, `v3="-1"`), want: "triangle 0: v3"},
		{name: "corner twice", model: swap(`v3="1"`, `v3="2"`), want: "repeated corner"},
		{name: "three triangles", model: swap(`<triangle v1="1" v2="2" v3="3"/>`, ""), want: "cannot bound"},
		{name: "triangles first", model: swap(`<vertices>`, `<triangles/><vertices>`), want: "not expected"},
		{name: "doubled thirty times", model: modelXML("", bomb.String(), `<item objectid="31"/>`), want: "more than"},
		{name: "forty deep", model: modelXML("", chain.String(), ""), want: "components lie deeper than 32"},
		{name: "forty deep, allowed", model: modelXML("", chain.String(), `<item objectid="41"/>`), lim: Limits{Depth: 40}},
		{name: "idle vertices, placed twice", model: strings.Replace(modelXML("", legObject, one+one), "</vertices>", strings.Repeat(`<vertex x="0" y="0" z="0"/>`, 10)+"</vertices>", 1), lim: Limits{Triangles: 20}, want: "placed"},
		{name: "too many vertices", model: swap("</vertices>", strings.Repeat(`<vertex x="0" y="0" z="0"/>`, 10)+"</vertices>"), lim: Limits{Triangles: 13}, want: "more than 13 vertices"},
		{name: "as many triangles as allowed", model: good, lim: Limits{Triangles: 4}},
		{name: "one triangle more", model: good, lim: Limits{Triangles: 3}, want: "more than 3"},
		{name: "too many placed triangles", model: modelXML("", legObject, one+one), lim: Limits{Triangles: 7}, want: "placed"},
		{name: "too many items", model: modelXML("", legObject, one+one), lim: Limits{Items: 1}, want: "more than 1 placed"},
		{name: "too many objects", model: modelXML("", legObject+strings.Replace(legObject, `id="1"`, `id="2"`, 1), one), lim: Limits{Objects: 1}, want: "more than 1 resources"},
		{name: "too many files", model: good, lim: Limits{Entries: 3}, want: "more than 3 files"},
		{name: "too large a file", model: good, lim: Limits{FileBytes: 100}, want: "larger than 100"},
		{name: "expands too far", model: swap("<build>", strings.Repeat(" ", 1<<20)+"<build>"), lim: Limits{ExpandedBytes: 1 << 16}, want: "larger than allowed"},
		{name: "too deep", model: swap("<build>", strings.Repeat(`<q xmlns="urn:q">`, 40)+strings.Repeat(`</q>`, 40)+"<build>"), want: "deeper than 32"},
		{name: "one name, twice", model: good, parts: map[string]string{"3d/3DModel.model": "x"}, want: "twice"},
		{name: "no relationships", model: good, parts: map[string]string{relsPart: ""}, want: relsPart},
		{name: "no start part", model: good, parts: map[string]string{relsPart: `<Relationships xmlns="` + relsNamespace + `"/>`}, want: "no start part"},
		{name: "start part missing", model: "", want: "not in the archive"},
		{name: "no content types", model: good, parts: map[string]string{typesPart: ""}, want: "Content_Types"},
		{name: "another content type", model: good, parts: map[string]string{typesPart: `<Types xmlns="` + typesNamespace + `"><Default Extension="model" ContentType="text/plain"/></Types>`}, want: "text/plain"},
		{name: "content type by name", model: good, parts: map[string]string{typesPart: `<Types xmlns="` + typesNamespace + `"><Override PartName="/3d/3dmodel.MODEL" ContentType="` + modelContentType + `"/></Types>`}},
		{name: "relative start part", model: good, parts: map[string]string{relsPart: `<Relationships xmlns="` + relsNamespace + `"><Relationship Target="3D/3dmodel.model" Id="r" Type="` + startPartRelation + `"/></Relationships>`}},
	} {
		_, err := read3MF(pack(t, c.model, c.parts), c.lim)
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
	if _, err := read3MF([]byte("not an archive"), Limits{}); err == nil {
		t.Error("text was read as an archive")
	}
}

// TestErrorsNameTheLine checks that a fault in the model is found by its line.
func TestErrorsNameTheLine(t *testing.T) {
	model := strings.Replace(modelXML("", "\n"+legObject, ""), `z="5"`, `z="five"`, 1)
	_, err := read3MF(pack(t, model, nil), Limits{})
	if err == nil || !strings.Contains(err.Error(), `"/3D/3dmodel.model" line 2:`) {
		t.Errorf("%v", err)
	}
}

// A size that the archive's directory understates is still caught.
func TestLyingDirectory(t *testing.T) {
	c := &cappedReader{r: strings.NewReader(strings.Repeat("x", 100)), left: 99}
	if _, err := io.ReadAll(c); !errors.Is(err, errTooLarge) {
		t.Errorf("%v", err)
	}
	c = &cappedReader{r: strings.NewReader(strings.Repeat("x", 100)), left: 100}
	if data, err := io.ReadAll(c); err != nil || len(data) != 100 {
		t.Errorf("%d, %v", len(data), err)
	}
}

// FuzzRead3MFModel fuzzes the model text, where the grammar is, by packing it
// each time; FuzzRead3MF fuzzes whole archives.
func FuzzRead3MFModel(f *testing.F) {
	f.Add(modelXML("", legObject, `<item objectid="1"/>`))
	f.Add(modelXML(`unit="inch"`, legObject+`<object id="2"><components><component objectid="1" transform="1 0 0 0 1 0 0 0 1 10 0 0"/></components></object>`, `<item objectid="2" transform="0 1 0 -1 0 0 0 0 -1 4 0 0"/>`))
	f.Add(`<!DOCTYPE a>`)
	f.Fuzz(func(t *testing.T, model string) {
		checkRead(t, pack(t, model, nil))
	})
}

func FuzzRead3MF(f *testing.F) {
	f.Add(bytes3MF(f, printLoad()))
	f.Add(pack(f, modelXML("", legObject, `<item objectid="1"/>`), nil))
	f.Add([]byte("PK\x05\x06"))
	f.Fuzz(func(t *testing.T, data []byte) { checkRead(t, data) })
}

// checkRead reads with tight limits; what is accepted must be sound.
func checkRead(t *testing.T, data []byte) {
	lim := Limits{FileBytes: 1 << 20, ExpandedBytes: 1 << 20, Triangles: 1000, Items: 100, Objects: 100}
	d, err := read3MF(data, lim)
	if err != nil {
		return
	}
	for _, it := range d.Items {
		if _, err := Check(d.Bodies[it.Body].Vertices, d.Bodies[it.Body].Triangles); err != nil {
			t.Fatalf("accepted, but %v", err)
		}
	}
	if len(d.Items) > lim.Items {
		t.Fatalf("%d items", len(d.Items))
	}
}

func BenchmarkRead3MF(b *testing.B) {
	body, _ := ring(300, 100, 100, 20) // 60,000 triangles
	body.Vertices, body.Triangles = Weld(body.Vertices, body.Triangles)
	d := Document{Bodies: []Body{body}, Items: []Item{{Frame: lift(body, geom.World())}}}
	data := bytes3MF(b, d)
	b.ResetTimer()
	for b.Loop() {
		if _, err := read3MF(data, Limits{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(body.Triangles))*float64(b.N)/b.Elapsed().Seconds(), "triangles/s")
}

func BenchmarkWrite3MF(b *testing.B) {
	body, _ := ring(300, 100, 100, 20)
	body.Vertices, body.Triangles = Weld(body.Vertices, body.Triangles)
	d := Document{Bodies: []Body{body}, Items: []Item{{Frame: lift(body, geom.World())}}}
	for b.Loop() {
		if _, err := d.WriteTo(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(body.Triangles))*float64(b.N)/b.Elapsed().Seconds(), "triangles/s")
}
