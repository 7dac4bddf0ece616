package mesh

import (
	"archive/zip"
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"groundwork/internal/geom"
)

// production is the attributes of a root element that requires the extension.
const production = `xmlns:p="` + productionNamespace + `" requiredextensions="p"`

const uuid = ` p:UUID="7e5bd3a1-0000-4000-8000-00000000000%d"`

// legPart is a model part that holds the tetrahedron as object 1 and, as object
// 2, two of it, one of them 10 further along x.
func legPart(attrs string) string {
	return modelXML(attrs, legObject+
		`<object id="2"><components><component objectid="1"/><component objectid="1" transform="1 0 0 0 1 0 0 0 1 10 0 0"/></components></object>`,
		`<item objectid="99"/>`) // which a reader must ignore
}

// rels is the relationships part of the root model part.
func rels(targets ...string) string {
	var b strings.Builder
	b.WriteString(`<Relationships xmlns="` + relsNamespace + `">`)
	for i, t := range targets {
		fmt.Fprintf(&b, `<Relationship Target="%s" Id="r%d" Type="%s"/>`, t, i, startPartRelation)
	}
	return b.String() + `</Relationships>`
}

// produced is an archive with two model parts beside the root.
func produced(t testing.TB, resources, build string) []byte {
	root := modelXML(production, resources, build)
	root = strings.Replace(root, "<build>", "<build"+fmt.Sprintf(uuid, 9)+">", 1)
	return pack(t, root, map[string]string{
		"3D/_rels/3dmodel.model.rels": rels("/3D/Objects/leg.model", "Objects/Feet%20of%20it.model"),
		"3D/Objects/leg.model":        legPart(production),
		"3D/Objects/feet of it.model": legPart(`unit="inch"`),
	})
}

func TestProductionExtension(t *testing.T) {
	const inch3 = 25.4 * 25.4 * 25.4
	for _, c := range []struct {
		name, resources, build string
		items                  int
		volume                 float64
		box                    geom.Box3
	}{
		{"an item of another part", ``, `<item objectid="1" p:path="/3D/Objects/leg.model"` + fmt.Sprintf(uuid, 1) + `/>`, 1, 10, geom.Box3{Max: geom.V3(3, 4, 5)}},
		{"components of another part", ``, `<item objectid="2" p:path="/3D/Objects/leg.model"/>`, 2, 20, geom.Box3{Max: geom.V3(13, 4, 5)}},
		{"a part in inches", ``, `<item objectid="1" p:path="/3D/Objects/Feet%20of%20it.model" transform="1 0 0 0 1 0 0 0 1 1 2 3"/>`, 1, 10 * inch3,
			geom.Box3{Min: geom.V3(1, 2, 3), Max: geom.V3(1+3*25.4, 2+4*25.4, 3+5*25.4)}},
		{"parts and own objects together", legObject +
			`<object id="5"` + fmt.Sprintf(uuid, 2) + `><components>` +
			`<component objectid="1"` + fmt.Sprintf(uuid, 3) + `/>` +
			`<component p:path="/3D/Objects/leg.model" objectid="2" transform="-1 0 0 0 1 0 0 0 1 50 0 0"/>` + // mirrored
			`<component p:path="/3d/objects/LEG.model" objectid="1" transform="2 0 0 0 2 0 0 0 2 60 0 0"/>` + // the same part; larger
			`</components></object>`,
			`<item objectid="5" transform="0 1 0 -1 0 0 0 0 1 8 0 0"/>`, 4, 10 + 20 + 80, geom.Box3{Max: geom.V3(8, 66, 10)}},
		{"an own object by path", legObject, `<item objectid="1" p:path="/3D/3dmodel.model"/>`, 1, 10, geom.Box3{Max: geom.V3(3, 4, 5)}},
	} {
		for reader, read := range map[string]func([]byte) (Document, error){
			"Read": func(data []byte) (Document, error) {
				s, err := Read("a.3mf", data, Limits{})
				if err == nil && (s.Format != "3MF" || s.Unit != Millimetre || len(s.Passed) > 0) {
					err = fmt.Errorf("%s, %q, %q", s.Format, s.Unit, s.Passed)
				}
				return s.Document, err
			},
			"Read3MF": func(data []byte) (Document, error) {
				if c.name == "an own object by path" { // which no relationship names
					return Document{}, nil
				}
				return read3MF(data, Limits{})
			},
		} {
			d, err := read(produced(t, c.resources, c.build))
			if err != nil {
				t.Errorf("%s by %s: %v", c.name, reader, err)
				continue
			}
			if d.Bodies == nil {
				continue
			}
			volume, box := placedVolume(t, d)
			if len(d.Items) != c.items || volume < c.volume*(1-1e-9) || volume > c.volume*(1+1e-9) || box.Min.Dist(c.box.Min) > 1e-9 || box.Max.Dist(c.box.Max) > 1e-9 {
				t.Errorf("%s by %s: %d items, volume %v, %v; want %d, %v, %v", c.name, reader, len(d.Items), volume, box, c.items, c.volume, c.box)
			}
		}
	}
}

func TestRead3MFQuirks(t *testing.T) {
	const one = `<item objectid="1"/>`
	const leg = `3MF "mm": "leg" 4/4 volume 10;`
	model := func(attrs, resources, build string) string {
		return string(pack(t, modelXML(attrs, resources, build), nil))
	}
	other := func(kind string) string {
		return strings.NewReplacer(`id="1"`, `id="2" type="`+kind+`"`).Replace(legObject)
	}
	backslashes := func() string {
		var out bytes.Buffer
		zw := zip.NewWriter(&out)
		for _, p := range [][2]string{{"3D/", ""}, {"3d/", ""}, {`_rels\.rels`, rels("/3D/3dmodel.model")}, {`3D\3dmodel.model`, modelXML("", legObject, one)},
			{typesPart, `<Types xmlns="` + typesNamespace + `"><Default Extension="model" ContentType="` + modelContentType + `"/></Types>`}} {
			w, err := zw.Create(p[0])
			if err != nil {
				t.Fatal(err)
			}
			if p[1] != "" {
				if _, err := w.Write([]byte(p[1])); err != nil {
					t.Fatal(err)
				}
			}
		}
		if err := zw.Close(); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	checkReadings(t, []reading{
		{"plain", "leg.3mf", model("", legObject, one), leg},
		{"another name", "leg.stl", model("", legObject, one), leg},
		{"feet", "leg.3mf", model(`unit="foot"`, legObject, one), fmt.Sprintf(`3MF "mm": "leg" 4/4 volume %.6g;`, 10*304.8*304.8*304.8)},
		{"microns", "leg.3mf", model(`unit="micron"`, legObject, one), `3MF "mm": "leg" 4/4 volume 1e-08;`},
		{"metres", "leg.3mf", model(`unit="meter"`, legObject, one), `3MF "mm": "leg" 4/4 volume 1e+10;`},
		{"a support", "leg.3mf", model("", legObject+other("support"), one+`<item objectid="2"/>`), leg + ` passed: object of type "support" ("/3D/3dmodel.model" line 2)`},
		{"a component that is a support", "leg.3mf", model("", legObject+other("other")+
			`<object id="3"><components><component objectid="2"/></components></object>`+
			`<object id="4"><components><component objectid="3"/><component objectid="1"/></components></object>`, `<item objectid="4"/><item objectid="3"/>`),
			leg + ` passed: object of type "other" ("/3D/3dmodel.model" line 2)`},
		{"an object without triangles", "leg.3mf", model("", legObject+`<object id="2"><mesh><vertices/><triangles/></mesh></object>`, one+`<item objectid="2"/>`),
			leg + ` passed: object without triangles ("/3D/3dmodel.model" line 2)`},
		{"an open surface, and a corner twice", "leg.3mf", model("", strings.Replace(legObject, `<triangle v1="1" v2="2" v3="3"/>`, `<triangle v1="1" v2="1" v3="3"/>`, 1), one), `3MF "mm": "leg" 4/4;`},
		{"a lattice", "leg.3mf", model(`xmlns:b="urn:lattice"`, strings.Replace(legObject, "</mesh>", "<b:beams/></mesh>", 1), one),
			leg + ` passed: element "beams" of "urn:lattice" ("/3D/3dmodel.model" line 2)`},
		{"materials required", "leg.3mf", model(`xmlns:m="`+materialNamespace+`" requiredextensions="m"`, `<m:colorgroup id="8"><m:color color="#FF0000"/></m:colorgroup>`+legObject, one), leg},
		{"byte order mark", "leg.3mf", string(pack(t, "\xef\xbb\xbf"+modelXML("", legObject, one), nil)), leg},
		{"ASCII declared", "leg.3mf", string(pack(t, strings.Replace(modelXML("", legObject, one), "UTF-8", "us-ascii", 1), nil)), leg},
		{"backslashes and folders", "leg.3mf", backslashes(), leg},
		{"other files in the archive", "leg.3mf", string(pack(t, modelXML("", legObject, one), map[string]string{"Metadata/thumbnail.png": "\x89PNG", "3D/Textures/a.png": "x"})), leg},
	})
}

func TestRefuse3MF(t *testing.T) {
	const one = `<item objectid="1"/>`
	elsewhere := func(p string) string { return `<item objectid="1" p:path="` + p + `"/>` }
	parts := func(leg string) func(string) []byte {
		return func(root string) []byte {
			return pack(t, root, map[string]string{"3D/leg.model": leg, "3D/_rels/3dmodel.model.rels": rels("/3D/leg.model")})
		}
	}
	spaces := strings.Repeat(strings.Repeat(" ", 1000)+"<q/>", 1000)
	spaces = strings.ReplaceAll(spaces, "<q/>", `<q xmlns="urn:q"/>`) // a megabyte of nothing much
	good := legPart("")
	var out bytes.Buffer
	for _, c := range []struct {
		name  string
		data  []byte
		lim   Limits
		place string
	}{
		{"an archive of another kind", zipOf(t, "word/document.xml", "<w/>"), Limits{}, `"_rels/.rels" is not in the archive`},
		{"cut short", pack(t, modelXML("", legObject, one), nil)[:400], Limits{}, "zip"},
		{"nothing built", pack(t, modelXML("", legObject, ""), nil), Limits{}, "places none"},
		{"only a support", pack(t, modelXML("", strings.Replace(legObject, "<object", `<object type="support"`, 1), one), nil), Limits{}, `"support"`},
		{"another extension required", pack(t, modelXML(`xmlns:s="urn:slices" requiredextensions="s"`, legObject, one), nil), Limits{}, "urn:slices"},
		{"UTF-16", pack(t, "\xff\xfe<\x00", nil), Limits{}, "UTF-16"},
		{"Latin-1", pack(t, strings.Replace(modelXML("", legObject, one), "UTF-8", "ISO-8859-1", 1), nil), Limits{}, "ISO-8859-1"},
		{"Latin-1, undeclared", pack(t, strings.Replace(modelXML("", legObject, one), `name="leg"`, "name=\"B\xfcgel\"", 1), nil), Limits{}, "line 1"},
		{"entities", pack(t, strings.Replace(modelXML("", legObject, one), "<model", `<!DOCTYPE m [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><model`, 1), nil), Limits{}, "document type"},
		{"a part that is not there", parts(good)(modelXML(production, "", elsewhere("/3D/arm.model"))), Limits{}, `"/3D/arm.model" is not in the archive`},
		{"a path that is not absolute", parts(good)(modelXML(production, "", elsewhere("leg.model"))), Limits{}, "absolute"},
		{"a path out of the archive", parts(good)(modelXML(production, "", elsewhere("/../../etc/passwd"))), Limits{}, "absolute"},
		{"a path out of the archive, hidden", parts(good)(modelXML(production, "", elsewhere("/%2e%2e/etc/passwd"))), Limits{}, "not in the archive"},
		{"an address", parts(good)(modelXML(production, "", elsewhere("http://a/b.model"))), Limits{}, "absolute"},
		{"an object that is not there", parts(good)(modelXML(production, "", strings.Replace(elsewhere("/3D/leg.model"), `"1"`, `"7"`, 1))), Limits{}, `object 7 of "/3D/leg.model"`},
		{"a path in another part", parts(modelXML(production, legObject+`<object id="2"><components><component objectid="1" p:path="/3D/3dmodel.model"/></components></object>`, ""))(modelXML(production, "", elsewhere("/3D/leg.model"))), Limits{}, "forbids"},
		{"a fault in another part", parts(strings.Replace(strings.Replace(good, `z="5"`, `z="five"`, 1), "<resources>", "<resources>\n", 1))(modelXML(production, "", elsewhere("/3D/leg.model"))), Limits{}, `"/3D/leg.model" line 2: object 1: vertex 3`},
		{"beyond all numbers", pack(t, modelXML("", legObject+`<object id="2"><components><component objectid="1" transform="1e38 0 0 0 1e38 0 0 0 1e38 0 0 0"/></components></object>`+chain(3, 12, "1e38 0 0 0 1e38 0 0 0 1e38 0 0 0"), `<item objectid="12"/>`), nil), Limits{}, "beyond all numbers"},
		{"too much in one part", pack(t, strings.Replace(modelXML("", legObject, one), "<resources>", spaces+"<resources>", 1), nil), Limits{ExpandedBytes: 1 << 16}, "larger than allowed"},
		{"too much in all parts", parts(strings.Replace(good, "<resources>", spaces+"<resources>", 1))(strings.Replace(modelXML(production, "", elsewhere("/3D/leg.model")), "<resources>", spaces+"<resources>", 1)), Limits{TotalBytes: 3 << 19}, "larger than allowed"},
		{"one text too long", pack(t, strings.Replace(modelXML("", legObject, one), "<resources>", strings.Repeat(" ", maxToken+1)+"<resources>", 1), nil), Limits{}, "longer than"},
		{"one comment too long", pack(t, strings.Replace(modelXML("", legObject, one), "<resources>", "<!--"+strings.Repeat("<>", maxToken/2)+"--><resources>", 1), nil), Limits{}, "longer than"},
		{"a text between many comments", pack(t, strings.Replace(modelXML("", legObject, one), "<resources>", `<metadata name="Title">`+strings.Repeat(strings.Repeat("a", 1000)+"<!---->", maxToken/1000+1)+"</metadata><resources>", 1), nil), Limits{}, "longer than"},
		{"too many triangles in all parts", parts(good)(modelXML(production, legObject, elsewhere("/3D/leg.model")+one)), Limits{Triangles: 7}, "more than 7 vertices"},
		{"too many objects in all parts", parts(good)(modelXML(production, legObject, elsewhere("/3D/leg.model"))), Limits{Objects: 2}, "more than 2 resources"},
	} {
		_, err := Read("a.3mf", c.data, c.lim)
		if err == nil || !strings.Contains(err.Error(), c.place) || !strings.HasPrefix(err.Error(), `read "a.3mf" as 3MF: `) {
			t.Errorf("%s: %v, want %q", c.name, err, c.place)
		}
		fmt.Fprintf(&out, "%s: %v\n", c.name, err)
	}
	golden(t, "refusals-3mf.txt", out.Bytes())

	// The strict reader also wants the root's relationships to name the part.
	bare := pack(t, modelXML(production, "", elsewhere("/3D/leg.model")), map[string]string{"3D/leg.model": good, "3D/_rels/3dmodel.model.rels": rels("/3D/arm.model")})
	if _, err := read3MF(bare, Limits{}); err == nil || !strings.Contains(err.Error(), "does not name") {
		t.Errorf("a part without a relationship: %v", err)
	}
	if _, err := Read("a.3mf", bare, Limits{}); err != nil {
		t.Errorf("a part without a relationship: %v", err)
	}
}

// chain is objects from one number to another, each the one before it under a
// transform.
func chain(from, to int, transform string) string {
	var b strings.Builder
	for i := from; i <= to; i++ {
		fmt.Fprintf(&b, `<object id="%d"><components><component objectid="%d" transform="%s"/></components></object>`, i, i-1, transform)
	}
	return b.String()
}

func zipOf(t testing.TB, name, text string) []byte {
	t.Helper()
	var out bytes.Buffer
	zw := zip.NewWriter(&out)
	w, err := zw.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write([]byte(text)); err != nil {
		t.Fatal(err)
	}
	if err := zw.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// TestManyEntries has an archive whose directory holds more entries than its
// last record admits; they are counted before the directory is read.
func TestManyEntries(t *testing.T) {
	var out bytes.Buffer
	zw := zip.NewWriter(&out)
	for i := range 2000 {
		if _, err := zw.CreateHeader(&zip.FileHeader{Name: fmt.Sprint(i), Modified: time.Time{}}); err != nil {
			t.Fatal(err)
		}
	}
	if err := zw.Close(); err != nil {
		t.Fatal(err)
	}
	data := out.Bytes()
	end := bytes.LastIndex(data, []byte("PK\x05\x06"))
	data[end+8], data[end+9], data[end+10], data[end+11] = 1, 0, 1, 0
	if _, err := Read("a.3mf", data, Limits{}); err == nil || !strings.Contains(err.Error(), "more than 512 files") {
		t.Errorf("%v", err)
	}
}

// FuzzReadProduction fuzzes the texts of the root model part and of another one.
func FuzzReadProduction(f *testing.F) {
	f.Add(modelXML(production, "", `<item objectid="2" p:path="/3D/leg.model"/>`), legPart(`unit="inch"`))
	f.Add(modelXML(production, legObject+`<object id="5"><components><component objectid="1"/><component p:path="/3D/leg.model" objectid="2" transform="-1 0 0 0 1 0 0 0 1 50 0 0"/></components></object>`,
		`<item objectid="5"/>`), legPart(""))
	f.Add(modelXML("", strings.Replace(legObject, "<object", `<object type="support"`, 1), `<item objectid="1"/>`), "")
	f.Fuzz(func(t *testing.T, root, leg string) {
		fuzzRead(t, "a.3mf", pack(t, root, map[string]string{"3D/leg.model": leg, "3D/_rels/3dmodel.model.rels": rels("/3D/leg.model")}))
	})
}

func FuzzReadArchive(f *testing.F) {
	f.Add(pack(f, modelXML("", legObject, `<item objectid="1"/>`), nil))
	f.Add(bytes3MF(f, printLoad()))
	f.Fuzz(func(t *testing.T, data []byte) { fuzzRead(t, "a.3mf", data) })
}

// A total that the directory's sizes understate is still held, byte by byte.
func TestTotalIsCounted(t *testing.T) {
	for _, c := range []struct {
		left int64
		want error
	}{{100, nil}, {99, errTooLarge}} {
		left := c.left
		first := &byteSource{r: bufio.NewReader(strings.NewReader(strings.Repeat("x", 60))), total: &left}
		second := &byteSource{r: bufio.NewReader(strings.NewReader(strings.Repeat("x", 40))), total: &left}
		if _, err := io.ReadAll(first); err != nil {
			t.Errorf("the first part: %v", err)
		}
		if data, err := io.ReadAll(second); !errors.Is(err, c.want) {
			t.Errorf("%d bytes of the second part of 40: %v, want %v", len(data), err, c.want)
		}
	}
}
