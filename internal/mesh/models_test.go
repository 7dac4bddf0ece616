package mesh

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"groundwork/internal/geom"
)

// shells counts the connected surfaces of a body, by shared vertices.
func shells(b Body) int {
	first := make([]int32, len(b.Vertices))
	for i := range first {
		first[i] = int32(i)
	}
	root := func(k int32) int32 {
		for first[k] != k {
			first[k] = first[first[k]]
			k = first[k]
		}
		return k
	}
	for _, t := range b.Triangles {
		first[root(t[0])] = root(t[1])
		first[root(t[1])] = root(t[2])
	}
	n := 0
	for i := range first {
		if root(int32(i)) == int32(i) {
			n++
		}
	}
	return n
}

// model is what is known of a model in testdata; see LICENCES.md there. Numbers
// of triangles, border edges, shells and Euler characteristics were counted by
// another program than this one, and are properties of the files.
type model struct {
	file                    string
	triangles, open, shells int
	euler                   int
	size                    [3]float64 // in the file's numbers
	slack                   float64
	guess                   Unit
}

var models = []model{
	{"angle_block.STL", 704, 0, 1, 0, [3]float64{1.34, 1.00, 1.35}, 0.01, Metre},
	{"plate_holes.STL", 1252, 0, 1, -8, [3]float64{203.2, 304.8, 12.7}, 0.01, Millimetre},
	{"octagonal_pocket.stl", 3262, 0, 1, 0, [3]float64{0.229, 0.165, 0.016}, 0.001, Metre},
	{"crumpled_developable.obj", 512, 64, 1, 1, [3]float64{1.44, 0.22, 1.44}, 0.01, Metre},
	{"furniture_wooden_table_02.obj", 196, 32, 5, 6, [3]float64{1134, 706, 800}, 1, Millimetre},
	{"furniture_painted_wooden_stool.obj", 676, 80, 13, 6, [3]float64{385, 406, 579}, 1, Millimetre},
}

// rounded is b with coordinates rounded to 1e-9 of its size, and equal corners
// joined: two of the STL files hold 0 as numbers such as 1e-18 too.
func rounded(b Body) Body {
	size := b.Bounds().Max.Sub(b.Bounds().Min)
	step := 1e-9 * max(size.X, size.Y, size.Z)
	w := newWelder(len(b.Triangles))
	for _, t := range b.Triangles {
		var p [3]geom.Vec3
		for i, k := range t {
			v := b.Vertices[k]
			p[i] = geom.V3(math.Round(v.X/step)*step, math.Round(v.Y/step)*step, math.Round(v.Z/step)*step)
		}
		w.add(p)
	}
	return w.body
}

func readModel(t testing.TB, file string) Scene {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("testdata", file))
	if err != nil {
		t.Fatal(err)
	}
	s, err := Read(file, data, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestModels(t *testing.T) {
	for _, m := range models {
		s := readModel(t, m.file)
		if len(s.Bodies) != 1 || len(s.Items) != 1 || s.Unit != Unknown || len(s.Passed) != 0 {
			t.Errorf("%s: %d bodies, %d items, unit %q, passed over %q", m.file, len(s.Bodies), len(s.Items), s.Unit, s.Passed)
			continue
		}
		b := rounded(s.Bodies[0])
		r, err := Check(b.Vertices, b.Triangles)
		if err != nil {
			t.Errorf("%s: %v", m.file, err)
			continue
		}
		edges := (3*len(b.Triangles) + r.Open) / 2 // each but the border's in two triangles
		if len(b.Triangles) != m.triangles || r.Open != m.open || shells(b) != m.shells || len(b.Vertices)-edges+len(b.Triangles) != m.euler {
			t.Errorf("%s: %d triangles, %d open edges, %d shells, characteristic %d; want %+v",
				m.file, len(b.Triangles), r.Open, shells(b), len(b.Vertices)-edges+len(b.Triangles), m)
		}
		size := b.Bounds().Max.Sub(b.Bounds().Min)
		for i, x := range []float64{size.X, size.Y, size.Z} {
			if math.Abs(x-m.size[i]) > m.slack {
				t.Errorf("%s: size %v, want %v", m.file, size, m.size)
			}
		}
		if u, _ := GuessUnit(max(size.X, size.Y, size.Z)); u != m.guess {
			t.Errorf("%s: unit guessed %q, want %q", m.file, u, m.guess)
		}
	}
}
