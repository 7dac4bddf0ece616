//go:build outside

package mesh

import (
	"fmt"
	"math"
	"math/rand"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/tools/outside"
)

func writeFile(t *testing.T, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// near compares vectors within the float32 step at their size.
func near(a [3]float64, b geom.Vec3) bool {
	return geom.V3(a[0], a[1], a[2]).Dist(b) <= 1e-6*(1+b.Len())
}

// TestSTLByAssimp has libassimp read our files and compares with closed forms.
func TestSTLByAssimp(t *testing.T) {
	hoop, hoopVolume := ring(48, 16, 120, 9)
	for _, c := range []struct {
		b      Body
		volume float64
	}{
		{box(3, 4, 5), 60}, {tetrahedron(3, 4, 5), 10}, {box(620, 90, 17.4), 620 * 90 * 17.4}, {hoop, hoopVolume},
	} {
		v, f := Weld(c.b.Vertices, c.b.Triangles)
		m := outside.MeshCheck(t, writeFile(t, "a.stl", stlBytes(t, Body{Name: c.b.Name, Vertices: v, Triangles: f})))[0]
		if m.Error != "" || !m.Closed || !m.Oriented || m.Degenerate != 0 || m.Shells != 1 || m.Triangles != len(f) || m.Vertices != len(v) {
			t.Errorf("%s: %+v", c.b.Name, m)
		}
		if math.Abs(m.Volume-c.volume) > 1e-6*c.volume {
			t.Errorf("%s: volume %v, want %v", c.b.Name, m.Volume, c.volume)
		}
		r, err := Check(v, f)
		if err != nil || math.Abs(m.Area-r.Area) > 1e-9*r.Area || !near(m.Max, r.Bounds.Max) || !near(m.Min, r.Bounds.Min) {
			t.Errorf("%s: %+v, ours %+v", c.b.Name, m, r)
		}
	}
}

// TestThreeMFByLib3MF has the 3MF Consortium's library read our files, strictly
// and without a warning, and compares names, numbers, volumes and places.
func TestThreeMFByLib3MF(t *testing.T) {
	d := printLoad()
	// Many bodies, at the far end of a large bed too, in places from a fixed seed.
	hoop, hoopVolume := ring(48, 16, 120, 9)
	hoop.Vertices, hoop.Triangles = Weld(hoop.Vertices, hoop.Triangles)
	d.Bodies = append(d.Bodies, hoop)
	rng := rand.New(rand.NewSource(1))
	for i := range 20 {
		z := geom.V3(rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()).Unit()
		f := lift(hoop, geom.FrameFromZ(geom.Vec3{}, z))
		f.Origin = f.Origin.Add(geom.V3(40*float64(i), 1000, 0))
		d.Items = append(d.Items, Item{Body: 2, Frame: f, PartNumber: fmt.Sprintf("HOOP-%02d", i)})
	}
	volumes := []float64{10000, 20 * 20.1 / 3, hoopVolume}

	m := outside.ThreeMF(t, writeFile(t, "a.3mf", bytes3MF(t, d)))[0]
	if m.Error != "" || len(m.Warnings) != 0 || len(m.Items) != len(d.Items) {
		t.Fatalf("error %q, warnings %q, %d items", m.Error, m.Warnings, len(m.Items))
	}
	for i, got := range m.Items {
		it := d.Items[i]
		b := d.Bodies[it.Body]
		if got.Name != b.Name || got.ObjectPartNumber != b.PartNumber || got.PartNumber != it.PartNumber || !got.Manifold || got.Triangles != len(b.Triangles) {
			t.Errorf("item %d: %+v", i, got)
		}
		if want := volumes[it.Body]; math.Abs(got.Volume-want) > 1e-6*want {
			t.Errorf("item %d: volume %v, want %v", i, got.Volume, want)
		}
		box := (Document{Bodies: d.Bodies, Items: d.Items[i : i+1]}).Bounds()
		if !near(got.Min, box.Min) || !near(got.Max, box.Max) {
			t.Errorf("item %d: from %v to %v, want %v", i, got.Min, got.Max, box)
		}
	}
}

// TestReadersAgree gives lib3mf and our reader the same hand-written files, good
// and bad.
func TestReadersAgree(t *testing.T) {
	for _, c := range []struct {
		name, model string
		good        bool
	}{
		{"inches and a quarter turn", modelXML(`unit="inch"`, legObject, `<item objectid="1" transform="0 1 0 -1 0 0 0 0 1 10 0 0" partnumber="P"/>`), true},
		{"stretched", modelXML("", legObject, `<item objectid="1" transform="2 0 0 0 3 0 0 0 4 0 0 0"/>`), true},
		{"sheared", modelXML("", legObject, `<item objectid="1" transform="1 0 0 0.5 1 0 0 0 1 0 0 0"/>`), true},
		{"index too high", modelXML("", legObject+`<object id="2"><mesh><vertices><vertex x="0" y="0" z="0"/></vertices><triangles><triangle v1="0" v2="1" v3="2"/></triangles></mesh></object>`, ``), false},
		{"undefined object", modelXML("", legObject, `<item objectid="5"/>`), false},
		{"id twice", modelXML("", legObject+legObject, ``), false},
	} {
		data := pack(t, c.model, nil)
		ours, err := read3MF(data, Limits{})
		theirs := outside.ThreeMF(t, writeFile(t, "a.3mf", data))[0]
		if (err == nil) != c.good || (theirs.Error == "" && len(theirs.Warnings) == 0) != c.good {
			t.Errorf("%s: ours %v, theirs %q %q", c.name, err, theirs.Error, theirs.Warnings)
			continue
		}
		if !c.good {
			continue
		}
		volume, box := placedVolume(t, ours)
		unit := 1.0
		if c.name[:6] == "inches" {
			unit = 25.4 // lib3mf leaves the model's unit alone
		}
		it := theirs.Items[0]
		if math.Abs(it.Volume*unit*unit*unit-volume) > 1e-6*volume {
			t.Errorf("%s: volume %v, theirs %v", c.name, volume, it.Volume)
		}
		max := geom.V3(it.Max[0], it.Max[1], it.Max[2]).Scale(unit)
		if max.Dist(box.Max) > 1e-5 {
			t.Errorf("%s: %v, theirs %v", c.name, box, it)
		}
	}
}

// TestLib3MFCanSayNo shows lib3mf a body that is not closed.
func TestLib3MFCanSayNo(t *testing.T) {
	open := `<object id="1"><mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="3" y="0" z="0"/><vertex x="0" y="4" z="0"/><vertex x="0" y="0" z="5"/></vertices><triangles><triangle v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/><triangle v1="0" v2="3" v3="2"/></triangles></mesh></object>`
	m := outside.ThreeMF(t, writeFile(t, "a.3mf", pack(t, modelXML("", open, `<item objectid="1"/>`), nil)))[0]
	if m.Error == "" && len(m.Warnings) == 0 && (len(m.Items) != 1 || m.Items[0].Manifold) {
		t.Errorf("an open mesh was accepted: %+v", m)
	}
}

// TestModelsByAssimp has libassimp read the models of other people in testdata
// too. Volumes mean something only for the closed ones.
func TestModelsByAssimp(t *testing.T) {
	for _, m := range models {
		b := readModel(t, m.file).Bodies[0]
		r, err := Check(b.Vertices, b.Triangles)
		if err != nil {
			t.Fatal(err)
		}
		theirs := outside.MeshCheck(t, filepath.Join("testdata", m.file))[0]
		if theirs.Error != "" || theirs.Triangles != len(b.Triangles) || theirs.Shells != shells(b) || theirs.Closed != r.Closed {
			t.Errorf("%s: %+v, ours %d triangles, %d shells, %+v", m.file, theirs, len(b.Triangles), shells(b), r)
		}
		t.Logf("%s: area %.9g, relative difference %.1e", m.file, r.Area, theirs.Area/r.Area-1)
		if math.Abs(theirs.Area-r.Area) > 1e-6*r.Area {
			t.Errorf("%s: area %v, theirs %v", m.file, r.Area, theirs.Area)
		}
		if m.open > 0 {
			continue
		}
		t.Logf("%s: volume %.9g, relative difference %.1e", m.file, r.Volume, theirs.Volume/r.Volume-1)
		if math.Abs(theirs.Volume-r.Volume) > 1e-6*r.Volume {
			t.Errorf("%s: volume %v, theirs %v", m.file, r.Volume, theirs.Volume)
		}
	}
}

// TestASCIIByAssimp gives libassimp the tetrahedron of volume 10 in the text
// forms that we read.
func TestASCIIByAssimp(t *testing.T) {
	for name, text := range map[string]string{
		"a.stl": strings.ToLower(asciiTetrahedron),                      // the library knows no upper case
		"a.obj": strings.Replace(objTetrahedron, "5 1 0.1", "5 0.1", 1), // nor weight and colour together
	} {
		m := outside.MeshCheck(t, writeFile(t, name, []byte(text)))[0]
		if m.Error != "" || !m.Closed || math.Abs(m.Volume-10) > 1e-6 {
			t.Errorf("%s: %+v", name, m)
		}
	}
}

// TestProductionByLib3MF gives lib3mf a file of the production extension, whose
// root places its own object and that of another model part, turned, mirrored
// and enlarged. The checker looks at items that are meshes only.
func TestProductionByLib3MF(t *testing.T) {
	id := 0
	named := func(xml string) string { // the library wants every UUID that the extension requires
		return regexp.MustCompile(`<(object|component|item|build)\b`).ReplaceAllStringFunc(xml, func(el string) string {
			id++
			return el + fmt.Sprintf(` p:UUID="7e5bd3a1-0000-4000-8000-%012d"`, id)
		})
	}
	root := modelXML(production, legObject, `<item objectid="1"/>`+
		`<item objectid="1" p:path="/3D/leg.model" transform="0 1 0 -1 0 0 0 0 1 108 0 0"/>`+
		`<item objectid="1" p:path="/3D/leg.model" transform="-1 0 0 0 1 0 0 0 1 50 0 0"/>`+
		`<item objectid="1" p:path="/3D/leg.model" transform="2 0 0 0 2 0 0 0 2 60 0 0"/>`)
	leg := strings.Replace(legPart(production), `<item objectid="99"/>`, "", 1)
	data := pack(t, named(root), map[string]string{"3D/leg.model": named(leg), "3D/_rels/3dmodel.model.rels": rels("/3D/leg.model")})
	ours, err := Read("a.3mf", data, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	theirs := outside.ThreeMF(t, writeFile(t, "a.3mf", data))[0]
	if theirs.Error != "" || len(theirs.Warnings) > 0 || len(theirs.Items) != 4 || len(ours.Items) != 4 {
		t.Fatalf("%+v, ours %d items", theirs, len(ours.Items))
	}
	for i, it := range theirs.Items {
		one := ours.Document
		one.Items = one.Items[i : i+1]
		volume, box := placedVolume(t, one)
		// The library's volume of a mirrored body is negative.
		if math.Abs(math.Abs(it.Volume)-volume) > 1e-5 || !near(it.Min, box.Min) || !near(it.Max, box.Max) {
			t.Errorf("item %d: volume %v, %v, theirs %+v", i, volume, box, it)
		}
	}
}
