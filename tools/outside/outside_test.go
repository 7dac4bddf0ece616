//go:build outside

package outside

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"groundwork/internal/geom"
)

func square(x, y, side float64) geom.Polygon {
	return geom.Polygon{geom.V2(x, y), geom.V2(x+side, y), geom.V2(x+side, y+side), geom.V2(x, y+side)}
}

// The checkers must themselves be able to say no: each is shown a fault.

func TestPolygons(t *testing.T) {
	frame := geom.Polygons{square(0, 0, 10), square(2, 2, 6).Reversed()}
	bowTie := geom.Polygons{{geom.V2(0, 0), geom.V2(4, 4), geom.V2(4, 0), geom.V2(0, 4), geom.V2(-1, 2)}}
	got := Polygons(t,
		Query{A: frame},
		Query{A: frame, B: geom.Polygons{square(3, 3, 2)}},
		Query{A: geom.Polygons{square(0, 0, 10)}, B: geom.Polygons{square(8, 8, 2)}},
		Query{A: geom.Polygons{square(0, 0, 10)}, B: geom.Polygons{square(9, 0, 2)}},
		Query{A: bowTie},
	)
	if a := got[0]; !a.Valid || a.Area != 64 || a.Perimeter != 64 || a.Max != [2]float64{10, 10} {
		t.Errorf("frame: %+v", a)
	}
	if a := got[1]; a.Covers || a.Overlap != 0 || a.Outside != 4 || a.Distance != 1 {
		t.Errorf("square in the frame's hole: %+v", a)
	}
	if a := got[2]; !a.Covers || a.Overlap != 4 {
		t.Errorf("square in a corner: %+v", a)
	}
	if a := got[3]; a.Covers || a.Overlap != 2 || a.Outside != 2 {
		t.Errorf("square over an edge: %+v", a)
	}
	if a := got[4]; a.Error == "" && (a.Valid || a.Why == "") {
		t.Errorf("bow tie: %+v", a)
	}
}

func TestLayouts(t *testing.T) {
	sheet := geom.Polygons{square(0, 0, 20)}
	at := func(x, y float64) geom.Polygons { return geom.Polygons{square(x, y, 5)} }
	got := Layouts(t,
		Layout{sheet, []geom.Polygons{at(0, 0), at(5.5, 0), at(15, 15)}},
		Layout{sheet, []geom.Polygons{at(0, 0), at(4, 4), at(18, 0)}},
	)
	if a := got[0]; a.Error != "" || !a.Covered || a.Overlap != 0 || a.Gap != 0.5 {
		t.Errorf("good layout: %+v", a)
	}
	if a := got[1]; a.Covered || a.Outside != 15 || a.Overlap != 1 || a.Pair != [2]int{0, 1} {
		t.Errorf("bad layout: %+v", a)
	}
}

// An ASCII tetrahedron with legs 3, 4 and 5 has the volume 3·4·5/6 = 10; without
// its last face it is open.
const openTetrahedron = `solid t
facet normal 0 0 -1
outer loop
vertex 0 0 0
vertex 0 4 0
vertex 3 0 0
endloop
endfacet
facet normal 0 -1 0
outer loop
vertex 0 0 0
vertex 3 0 0
vertex 0 0 5
endloop
endfacet
facet normal -1 0 0
outer loop
vertex 0 0 0
vertex 0 0 5
vertex 0 4 0
endloop
endfacet
`

const lastFace = `facet normal 1 1 1
outer loop
vertex 3 0 0
vertex 0 4 0
vertex 0 0 5
endloop
endfacet
`

const lastFaceFlipped = `facet normal 1 1 1
outer loop
vertex 3 0 0
vertex 0 0 5
vertex 0 4 0
endloop
endfacet
`

func TestMeshCheck(t *testing.T) {
	dir := t.TempDir()
	var paths []string
	for name, text := range map[string]string{
		"a-closed.stl": openTetrahedron + lastFace + "endsolid t\n",
		"b-open.stl":   openTetrahedron + "endsolid t\n",
		"c-flip.stl":   openTetrahedron + lastFaceFlipped + "endsolid t\n",
	} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"a-closed.stl", "b-open.stl", "c-flip.stl", "d-missing.stl"} {
		paths = append(paths, filepath.Join(dir, name))
	}
	got := MeshCheck(t, paths...)
	if m := got[0]; m.Error != "" || !m.Closed || !m.Oriented || m.Triangles != 4 || m.Vertices != 4 || m.Shells != 1 || math.Abs(m.Volume-10) > 1e-12 {
		t.Errorf("closed: %+v", m)
	}
	if m := got[1]; m.Closed || m.Triangles != 3 {
		t.Errorf("open: %+v", m)
	}
	if m := got[2]; !m.Closed || m.Oriented {
		t.Errorf("flipped: %+v", m)
	}
	if got[3].Error == "" {
		t.Error("a missing file was read")
	}
}

func TestMissingFilesAreErrors(t *testing.T) {
	missing := filepath.Join(t.TempDir(), "none")
	if m := ThreeMF(t, missing+".3mf"); m[0].Error == "" {
		t.Error("lib3mf read a missing file")
	}
	if d := DXF(t, missing+".dxf"); d[0].Error == "" {
		t.Error("ezdxf read a missing file")
	}
}
