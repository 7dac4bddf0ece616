//go:build long

package job

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"groundwork/examples"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/printing"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

var volumes = []geom.Vec3{geom.V3(220, 220, 250), geom.V3(256, 256, 256), geom.V3(300, 300, 300)}

// inVolume is the shop with one kind of printer, whose whole volume may be used.
func inVolume(ref *shop.Shop, v geom.Vec3) *shop.Shop {
	s := *ref
	p := ref.Printers[0]
	p.Build, p.Brim, p.Top = v, 0, 0
	s.Printers = []shop.Printer{p}
	return &s
}

// told is a plan of seams in figures.
type told struct {
	parts, least     int
	mean, most, bare float64 // MPa, MPa and mm of all seams
}

func tell(r *seam.Result) told {
	var t told
	for _, c := range r.Counts {
		t.parts += c.Segments
		t.least += c.Least()
	}
	for _, s := range r.Seams {
		for _, x := range s.Terms {
			switch x.Name {
			case "stress":
				t.mean += x.Measured / float64(len(r.Seams))
				t.most = max(t.most, x.Measured)
			case "bare seam":
				t.bare += x.Measured
			}
		}
	}
	return t
}

// The table of the library's pieces in docs/seams.md: stress is that of the
// uncut piece under the loads of its use.
func TestSeamsOfLibraryBeside(t *testing.T) {
	k, err := kernel()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range examples.Pieces() {
		for _, v := range volumes {
			var got [2]told
			var took float64
			for i, simple := range []bool{true, false} {
				p, ref := example(t, name)
				var start time.Time
				pl, err := plan.Make(context.Background(), k, p, inVolume(ref, v), plan.Options{
					Seam: seam.Options{Simple: simple},
					Progress: func(stage string, _, _ int) {
						if stage == "seams" {
							start = time.Now()
						} else if stage == "cores" {
							took = time.Since(start).Seconds()
						}
					},
				})
				if err != nil {
					t.Fatal(err)
				}
				got[i] = tell(pl.Seams)
			}
			if got[1].parts > got[0].parts {
				t.Errorf("%s: %d parts, by grids alone %d", name, got[1].parts, got[0].parts)
			}
			t.Logf("| %s | %g x %g x %g | %d | %d | %d | %.2f | %.2f | %.2f | %.2f | %.1f |", name, v.X, v.Y, v.Z,
				got[0].parts, got[1].parts, got[1].least, got[0].mean, got[1].mean, got[0].most, got[1].most, took)
		}
	}
}

// The table of models made for pictures in docs/seams.md. Stress is made up: of
// each member as a bar on its two ends with a load in the middle, 10 MPa there
// across its longest axis.
func TestSeamsOfModelsBeside(t *testing.T) {
	k, ref := planned(t, "heron-side-table")
	for i, m := range furniture {
		name := strings.TrimSuffix(filepath.Base(m.file), ".obj")
		r := takeIn(t, i, 1e4, ref.Shop)
		bars := make([]func(at, n geom.Vec3) float64, len(r.Piece.Members))
		meshes := make([]*solid.Mesh, len(bars))
		shapes := make([]solid.Shape, len(bars))
		for j, m := range r.Piece.Members {
			shape, err := m.Body(0.05)
			if err != nil {
				t.Fatal(err)
			}
			shapes[j] = shape.At(m.Place)
			if meshes[j], err = k.Mesh(context.Background(), shapes[j]); err != nil {
				t.Fatal(err)
			}
			bars[j] = bar(m, meshes[j])
		}
		for b, v := range volumes {
			s := inVolume(ref.Shop, v)
			fits := func(seam.Body) seam.Fitter {
				return func(points []geom.Vec3) (geom.Frame, geom.Vec3, bool) {
					f, ok := printing.Fits(points, s.Printers[0])
					if !ok {
						return f, geom.Vec3{}, false
					}
					size := geom.EmptyBox3()
					for _, p := range points {
						size = size.Add(f.Local(p))
					}
					return f, size.Size(), true
				}
			}
			in := seam.Inputs{Cores: r.Piece.Members, Shop: s, Fits: fits, Tilted: fits,
				Stress: func(body int, at, n geom.Vec3) float64 { return bars[body](at, n) }}
			var got [2]told
			var took float64
			pieces := 0
			for i, simple := range []bool{true, false} {
				start := time.Now()
				res, err := seam.Plan(context.Background(), k, in, seam.Options{Simple: simple})
				if err != nil {
					t.Fatalf("%s: %v", name, err)
				}
				got[i], took = tell(res), time.Since(start).Seconds()
				if simple {
					continue
				}
				for _, g := range res.Segments {
					pieces += components(t, k, shapes[g.Body], g.Planes)
				}
			}
			if got[1].parts > got[0].parts {
				t.Errorf("%s: %d parts, by grids alone %d", name, got[1].parts, got[0].parts)
			}
			cells, of := grid(t, k, meshes, shapes, v)
			t.Logf("| %s | %g x %g x %g | %d | %d (%d) | %d | %d / %d (%d) | %.2f | %.2f | %.2f | %.2f | %.1f |", name, v.X, v.Y, v.Z,
				got[0].parts, got[1].parts, pieces, got[1].least, gridCells[name][b], cells, of, got[0].mean, got[1].mean, got[0].most, got[1].most, took)
		}
	}
}

// bar is the made-up stress of a member.
func bar(m piece.Member, mesh *solid.Mesh) func(at, n geom.Vec3) float64 {
	var axis geom.Vec3
	var lo, hi float64
	for _, a := range []geom.Vec3{m.Place.X, m.Place.Y, m.Place.Z} {
		l, h := math.Inf(1), math.Inf(-1)
		for _, p := range mesh.Vertices {
			l, h = min(l, a.Dot(p)), max(h, a.Dot(p))
		}
		if h-l > hi-lo {
			axis, lo, hi = a, l, h
		}
	}
	return func(at, n geom.Vec3) float64 {
		u := axis.Dot(at)
		return 10 * math.Abs(axis.Dot(n)) * max(0, min(u-lo, hi-u)) / ((hi - lo) / 2)
	}
}

// components counts the separate bodies that a shape has within planes.
func components(t *testing.T, k *solid.Kernel, s solid.Shape, planes []geom.Plane) int {
	t.Helper()
	var cuts []solid.Cut
	for _, pl := range planes {
		cuts = append(cuts, solid.Cut{Plane: pl})
	}
	all, err := k.Components(context.Background(), s.Within(cuts...))
	if errors.Is(err, solid.ErrEmpty) {
		return 0
	}
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, m := range all {
		if m.Volume > 1 { // mm³; less is a shaving of rounding
			n++
		}
	}
	return n
}

// grid is the fewest occupied boxes of a uniform grid along the world's axes, the
// best of ways to lay the box and six places along each axis, and the separate
// pieces of members that it makes.
func grid(t *testing.T, k *solid.Kernel, meshes []*solid.Mesh, shapes []solid.Shape, v geom.Vec3) (cells, pieces int) {
	t.Helper()
	var pts []geom.Vec3
	box := geom.EmptyBox3()
	for _, m := range meshes {
		for _, f := range m.Triangles {
			a, b, c := m.Vertices[f[0]], m.Vertices[f[1]], m.Vertices[f[2]]
			n := math.Ceil(max(a.Dist(b), b.Dist(c), c.Dist(a)) / 20)
			for i := 0.0; i <= n; i++ {
				for j := 0.0; i+j <= n; j++ {
					p := a.Add(b.Sub(a).Scale(i / n)).Add(c.Sub(a).Scale(j / n))
					pts, box = append(pts, p), box.Add(p)
				}
			}
		}
	}
	cells = math.MaxInt
	var best [][3]int
	var corner, side geom.Vec3
	for _, l := range []geom.Vec3{v, geom.V3(v.X, v.Z, v.Y), geom.V3(v.Z, v.Y, v.X)} {
		for o := range 216 {
			at := box.Min.Sub(geom.V3(l.X*float64(o%6)/6, l.Y*float64(o/6%6)/6, l.Z*float64(o/36)/6))
			full := map[[3]int]bool{}
			var order [][3]int
			for _, p := range pts {
				const hair = 1e-6
				c := [3]int{int(max(0, (p.X-at.X)/l.X-hair)), int(max(0, (p.Y-at.Y)/l.Y-hair)), int(max(0, (p.Z-at.Z)/l.Z-hair))}
				if !full[c] {
					full[c] = true
					if order = append(order, c); len(order) > cells {
						break
					}
				}
			}
			if len(order) >= cells {
				continue
			}
			cells, best, corner, side = len(order), order, at, l
		}
	}
	for _, c := range best {
		lo := corner.Add(geom.V3(side.X*float64(c[0]), side.Y*float64(c[1]), side.Z*float64(c[2])))
		hi := lo.Add(side)
		for i, m := range meshes {
			if m.Bounds.Overlaps(geom.Box3{Min: lo, Max: hi}) {
				pieces += components(t, k, shapes[i], []geom.Plane{
					{Normal: geom.V3(1, 0, 0), D: hi.X}, {Normal: geom.V3(0, 1, 0), D: hi.Y}, {Normal: geom.V3(0, 0, 1), D: hi.Z},
					{Normal: geom.V3(-1, 0, 0), D: -lo.X}, {Normal: geom.V3(0, -1, 0), D: -lo.Y}, {Normal: geom.V3(0, 0, -1), D: -lo.Z},
				})
			}
		}
	}
	return cells, pieces
}

// example reads an example and the example shop.
func example(t *testing.T, name string) (*piece.Piece, *shop.Shop) {
	t.Helper()
	file := func(name string) []byte {
		data, err := examples.Files.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	doc, err := piece.Parse(name+".yaml", file(name+".yaml"))
	if err != nil {
		t.Fatal(err)
	}
	p, _, err := doc.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := shop.Parse("shop.yaml", file("shop.yaml"))
	if err != nil {
		t.Fatal(fmt.Errorf("shop: %w", err))
	}
	return p, s
}
