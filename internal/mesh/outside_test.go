//go:build outside

package mesh

import (
	"fmt"
	"math"
	"math/rand"
	"os"
	"path/filepath"
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
