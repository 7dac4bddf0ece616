package mend

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"groundwork/internal/mesh"
)

// tester is what testing.T and rapid.T have in common.
type tester interface {
	Helper()
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
}

func volumeOf(t tester, b mesh.Body) float64 {
	t.Helper()
	r, err := mesh.Check(b.Vertices, b.Triangles)
	if err != nil || !r.Printable() {
		t.Fatalf("not a clean solid: %+v %v", r, err)
	}
	return r.Volume
}

// verify holds a result to what Mend promises of every solid.
func verify(t tester, r Result) {
	t.Helper()
	for i, s := range r.Shells {
		if !s.Solid() {
			continue
		}
		c, err := mesh.Check(s.Body.Vertices, s.Body.Triangles)
		if err != nil || !c.Printable() {
			t.Errorf("shell %d is called a solid, but: %+v %v", i, c, err)
		}
		if c.Volume != s.Volume || c.Area != s.Area {
			t.Errorf("shell %d: volume %g and area %g are stated as %g and %g", i, c.Volume, c.Area, s.Volume, s.Area)
		}
	}
}

func clean(t testing.TB) map[string]mesh.Body {
	out := map[string]mesh.Body{
		"box":          box(100, 60, 18),
		"box, finer":   finer(finer(finer(box(100, 60, 18)))),
		"pipe":         pipe(20, 8, 30, 48),
		"cylinder":     finer(cylinder(20, 120, 64)),
		"bracket":      bracket(6, 30),
		"fine bracket": finer(finer(finer(bracket(6, 30)))),
		"torus":        torus(40, 12, 48, 24),
	}
	for _, name := range []string{"angle_block.STL", "plate_holes.STL", "octagonal_pocket.stl"} {
		f, err := os.Open(filepath.Join("..", "mesh", "testdata", name))
		if err != nil {
			t.Fatal(err)
		}
		b, err := mesh.ReadSTL(f, mesh.Limits{})
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		k := map[string]float64{"angle_block.STL": 25.4, "octagonal_pocket.stl": 1000}[name]
		if k > 0 {
			for i, v := range b.Vertices {
				b.Vertices[i] = v.Scale(k)
			}
		}
		out[name] = snapped(b)
	}
	return out
}

// snapped joins corners that agree to 1e-5 mm: some of the files were written
// with noise in the last places.
func snapped(b mesh.Body) mesh.Body {
	number := map[[3]float64]int32{}
	var out mesh.Body
	to := make([]int32, len(b.Vertices))
	for i, v := range b.Vertices {
		k := [3]float64{math.Round(v.X * 1e5), math.Round(v.Y * 1e5), math.Round(v.Z * 1e5)}
		n, ok := number[k]
		if !ok {
			n = int32(len(out.Vertices))
			number[k] = n
			out.Vertices = append(out.Vertices, v)
		}
		to[i] = n
	}
	for _, t := range b.Triangles {
		out.Triangles = append(out.Triangles, [3]int32{to[t[0]], to[t[1]], to[t[2]]})
	}
	return out
}

// TestDamage: what is broken is mended to the volume that it had, or refused.
func TestDamage(t *testing.T) {
	models := clean(t)
	const seeds = 4
	for _, d := range damages {
		mended, refused, wrong := 0, 0, 0
		for name, b := range models {
			want := volumeOf(t, b)
			for seed := range uint64(seeds) {
				r, err := Mend(d.do(b, rand.New(rand.NewPCG(seed, 1))), Options{})
				if err != nil {
					t.Fatal(err)
				}
				verify(t, r)
				got, whole := total(r)
				switch {
				case !whole:
					refused++
				case math.Abs(got-want) <= 1e-3*want:
					mended++
				default:
					wrong++
					t.Errorf("%s, %s, seed %d: volume %.6g instead of %.6g, %v", name, d.name, seed, got, want, r.Steps)
				}
			}
		}
		t.Logf("%-34s mended %3d  refused %3d  wrong %d", d.name, mended, refused, wrong)
		if !strings.Contains(d.name, "missing") && refused > 0 {
			t.Errorf("%s: %d refused, though nothing is missing", d.name, refused)
		}
	}
}

// TestHeavyLosses: the more is missing, the less can be mended, but what is
// called mended is.
func TestHeavyLosses(t *testing.T) {
	models := clean(t)
	for _, share := range []float64{0.02, 0.05, 0.1, 0.2, 0.4} {
		mended, refused := 0, 0
		for name, b := range models {
			want := volumeOf(t, b)
			lose := missing(func(n int) int { return int(math.Ceil(float64(n) * share)) })
			for seed := range uint64(4) {
				r, err := Mend(lose(b, rand.New(rand.NewPCG(seed, 2))), Options{})
				if err != nil {
					t.Fatal(err)
				}
				verify(t, r)
				got, whole := total(r)
				switch {
				case !whole:
					refused++
				case math.Abs(got-want) <= 1e-3*want:
					mended++
				default:
					t.Errorf("%s, %g missing, seed %d: volume %.6g instead of %.6g", name, share, seed, got, want)
				}
			}
		}
		t.Logf("%2.0f %% missing: mended %3d  refused %3d", 100*share, mended, refused)
		if share <= 0.05 && mended == 0 || share == 0.4 && refused == 0 {
			t.Error("the share that is mended is not credible")
		}
	}
}

// total is the volume of all shells, and whether all of them are solids.
func total(r Result) (volume float64, whole bool) {
	whole = len(r.Shells) > 0
	for _, s := range r.Shells {
		volume += s.Volume
		whole = whole && s.Solid()
	}
	return volume, whole
}

// TestFurniture mends models that were made to be looked at: boards without
// their hidden ends. The numbers of shells are those of the connected parts.
func TestFurniture(t *testing.T) {
	for _, c := range []struct {
		file                          string
		shells, asIs, closed, thicker int
	}{
		{"furniture_painted_wooden_stool.obj", 13, 1, 13, 13},
		{"furniture_wooden_table_02.obj", 5, 1, 5, 5},
	} {
		data, err := os.ReadFile(filepath.Join("..", "mesh", "testdata", c.file))
		if err != nil {
			t.Fatal(err)
		}
		s, err := mesh.Read(c.file, data, mesh.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		var b mesh.Body // the parts of a file in one, as a scan would have them
		for _, p := range s.Bodies {
			b = both(b, p)
		}
		for i, o := range []Options{{}, {Hole: 1e5}, {Thicken: 3}} {
			r, err := Mend(b, o)
			if err != nil {
				t.Fatal(err)
			}
			verify(t, r)
			solid := 0
			for _, s := range r.Shells {
				if s.Solid() {
					solid++
				}
			}
			if want := []int{c.asIs, c.closed, c.thicker}[i]; len(r.Shells) != c.shells || solid != want {
				t.Errorf("%s, %+v: %d of %d shells are solids: %s", c.file, o, solid, len(r.Shells), said(r))
			}
		}
	}
}
