//go:build outside

package elastic

import (
	"bufio"
	"context"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"groundwork/internal/geom"
)

// notched is a thick sandwich of a skewed material with a stiffer cover, uneven
// planes and a notch.
func notched(t testing.TB, finer int) Body {
	marks := [3][]float64{{0, 12, 30, 41, 60, 84}, {0, 7, 15, 30}, {0, 1.5, 8, 14.5, 16}}
	var l Lattice
	var parent [3][]int
	for a, p := range marks {
		for i := range len(p) - 1 {
			for s := range finer {
				l.Planes[a] = append(l.Planes[a], p[i]+(p[i+1]-p[i])*float64(s)/float64(finer))
				parent[a] = append(parent[a], i)
			}
		}
		l.Planes[a] = append(l.Planes[a], p[len(p)-1])
	}
	n := l.Size()
	for k := range n[2] {
		for j := range n[1] {
			for i := range n[0] {
				fill, m := 1.0, uint8(0)
				if parent[0][i] == 2 && parent[1][j] == 0 {
					fill = 0
				}
				if parent[2][k] == 0 || parent[2][k] == 3 {
					m = 1
				}
				l.Fill, l.Material = append(l.Fill, fill), append(l.Material, m)
			}
		}
	}
	o, err := Orthotropic{E1: 900, E2: 300, E3: 200, G23: 60, G31: 120, G12: 200, Nu12: 0.3, Nu13: 0.25, Nu23: 0.35}.Stiffness()
	if err != nil {
		t.Fatal(err)
	}
	return Body{Name: "notched", Frame: geom.World(), Lattice: l, Materials: []Material{
		{Stiffness: o.Turned(askew(geom.Vec3{}))}, {Stiffness: Isotropic(2000, 0.35)}}}
}

// ccx has CalculiX (ccx) solve a body held at x = 0 with forces at nodes, with
// its own eight-node brick with incompatible modes or its twenty-node brick, and
// returns the displacements of the lattice's corners.
func ccx(t *testing.T, b Body, quadratic bool, force map[[3]int]geom.Vec3) map[[3]int]geom.Vec3 {
	t.Helper()
	// Nodes on a lattice twice as fine, so that edges' middles have numbers.
	n := b.Lattice.Size()
	id := func(p [3]int) int { return 1 + p[0] + (2*n[0]+1)*(p[1]+(2*n[1]+1)*p[2]) }
	at := func(a, i int) float64 {
		p := b.Lattice.Planes[a]
		if i%2 == 0 {
			return p[i/2]
		}
		return (p[i/2] + p[i/2+1]) / 2
	}
	corner := [][3]int{{0, 0, 0}, {2, 0, 0}, {2, 2, 0}, {0, 2, 0}, {0, 0, 2}, {2, 0, 2}, {2, 2, 2}, {0, 2, 2}}
	kind := "C3D8I"
	if quadratic {
		kind = "C3D20"
		corner = append(corner, [][3]int{{1, 0, 0}, {2, 1, 0}, {1, 2, 0}, {0, 1, 0}, {1, 0, 2}, {2, 1, 2}, {1, 2, 2}, {0, 1, 2},
			{0, 0, 1}, {2, 0, 1}, {2, 2, 1}, {0, 2, 1}}...)
	}
	used := map[int][3]int{}
	sets := make([][]string, len(b.Materials))
	for c, f := range b.Lattice.Fill {
		if f == 0 {
			continue
		}
		i, j, k := c%n[0], c/n[0]%n[1], c/(n[0]*n[1])
		line := []string{fmt.Sprint(c + 1)}
		for _, d := range corner {
			p := [3]int{2*i + d[0], 2*j + d[1], 2*k + d[2]}
			used[id(p)] = p
			line = append(line, fmt.Sprint(id(p)))
		}
		// A line holds sixteen numbers at most.
		text := strings.Join(line, ",")
		if len(line) > 16 {
			text = strings.Join(line[:11], ",") + ",\n" + strings.Join(line[11:], ",")
		}
		m := b.Lattice.Material[c]
		sets[m] = append(sets[m], text)
	}
	var in strings.Builder
	fmt.Fprintln(&in, "*NODE,NSET=ALL")
	most := (2*n[0] + 1) * (2*n[1] + 1) * (2*n[2] + 1)
	var root []int
	for i := 1; i <= most; i++ {
		if p, ok := used[i]; ok {
			fmt.Fprintf(&in, "%d,%.15g,%.15g,%.15g\n", i, at(0, p[0]), at(1, p[1]), at(2, p[2]))
			if p[0] == 0 {
				root = append(root, i)
			}
		}
	}
	for m, set := range sets {
		fmt.Fprintf(&in, "*ELEMENT,TYPE=%s,ELSET=M%d\n%s\n", kind, m, strings.Join(set, "\n"))
		s := b.Materials[m].Stiffness
		// Its order is 11, 22, 33, 12, 13, 23, the upper triangle by columns.
		rows := []int{0, 1, 2, 5, 4, 3}
		var v []string
		for j := range 6 {
			for i := range j + 1 {
				v = append(v, fmt.Sprintf("%.15g", s[rows[i]][rows[j]]))
			}
		}
		fmt.Fprintf(&in, "*MATERIAL,NAME=M%d\n*ELASTIC,TYPE=ANISO\n%s,\n%s,\n%s\n*SOLID SECTION,ELSET=M%d,MATERIAL=M%d\n",
			m, strings.Join(v[:8], ","), strings.Join(v[8:16], ","), strings.Join(v[16:], ","), m, m)
	}
	fmt.Fprintln(&in, "*BOUNDARY")
	for _, i := range root {
		fmt.Fprintf(&in, "%d,1,3,0.\n", i)
	}
	fmt.Fprintln(&in, "*STEP\n*STATIC\n*CLOAD")
	for p, f := range force {
		i := id([3]int{2 * p[0], 2 * p[1], 2 * p[2]})
		fmt.Fprintf(&in, "%d,1,%.15g\n%d,2,%.15g\n%d,3,%.15g\n", i, f.X, i, f.Y, i, f.Z)
	}
	fmt.Fprintln(&in, "*NODE PRINT,NSET=ALL\nU\n*END STEP")
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "a.inp"), []byte(in.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("/usr/bin/ccx", "a")
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "OMP_NUM_THREADS=1")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("ccx (Debian package calculix-ccx): %v\n%s", err, out)
	}
	file, err := os.Open(filepath.Join(dir, "a.dat"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	got := map[[3]int]geom.Vec3{}
	for lines := bufio.NewScanner(file); lines.Scan(); {
		f := strings.Fields(lines.Text())
		if len(f) != 4 {
			continue
		}
		i, err := strconv.Atoi(f[0])
		if err != nil {
			continue
		}
		var v [3]float64
		for a := range 3 {
			if v[a], err = strconv.ParseFloat(f[1+a], 64); err != nil {
				t.Fatal(err)
			}
		}
		if p := used[i]; p[0]%2 == 0 && p[1]%2 == 0 && p[2]%2 == 0 {
			got[[3]int{p[0] / 2, p[1] / 2, p[2] / 2}] = vec(v)
		}
	}
	if len(got) == 0 {
		t.Fatal("ccx printed no displacements")
	}
	return got
}

// CalculiX, with an element of the same kind on the same cells, gives the same
// displacements at every node; with its quadratic element on finer cells it says
// how far both are from the truth.
func TestCalculiX(t *testing.T) {
	for _, c := range []struct {
		name      string
		finer     int
		quadratic bool
		part      float64
	}{
		{"incompatible bricks, same cells", 1, false, 0.01},
		{"incompatible bricks, same finer cells", 2, false, 0.01},
		{"quadratic bricks, same finer cells", 2, true, 0.03},
	} {
		b := notched(t, c.finer)
		n := b.Lattice.Size()
		corners := [][3]int{{n[0], 0, 0}, {n[0], n[1], 0}, {n[0], 0, n[2]}, {n[0], n[1], n[2]}}
		force := map[[3]int]geom.Vec3{}
		var load Case
		for i, p := range corners {
			f := geom.V3(2, 1-float64(i), -5)
			force[p] = f
			load.Points = append(load.Points, PointLoad{At: geom.V3(b.Lattice.Planes[0][p[0]], b.Lattice.Planes[1][p[1]], b.Lattice.Planes[2][p[2]]), Force: f})
		}
		s, err := Assemble(context.Background(), Model{Bodies: []Body{b}, Fixed: []Fixed{{Where: plane(0, 0), Axes: all}}}, Options{Tolerance: 1e-11})
		if err != nil {
			t.Fatal(err)
		}
		r, err := s.Solve(context.Background(), load)
		if err != nil {
			t.Fatal(err)
		}
		worst, largest := 0.0, 0.0
		for p, want := range ccx(t, b, c.quadratic, force) {
			if p[0] == n[0] && c.quadratic {
				continue // at a loaded node the truth has no bound
			}
			got := moved(t, r, 0, geom.V3(b.Lattice.Planes[0][p[0]], b.Lattice.Planes[1][p[1]], b.Lattice.Planes[2][p[2]]))
			worst, largest = max(worst, got.Dist(want)), max(largest, want.Len())
		}
		t.Logf("%s: off by %.3g of %.4g mm at most, %.2g %%", c.name, worst, largest, 100*worst/largest)
		if !(worst <= c.part*largest) || math.IsNaN(worst) {
			t.Errorf("%s: off by %.3g of %.4g mm", c.name, worst, largest)
		}
	}
}
