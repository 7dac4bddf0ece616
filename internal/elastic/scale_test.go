package elastic

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"runtime"
	"strings"
	"testing"

	"groundwork/internal/geom"
)

// The number of iterations hardly grows as cells get smaller, nor with holes,
// slivers and strong contrast.
func TestIterationsAreFlat(t *testing.T) {
	solid := Material{Stiffness: Isotropic(2000, 0.35), Density: 1e-3}
	kinds := []struct {
		name string
		make func(n int) Body
	}{
		{"plate 400 x 400 x 18, 4 cells thick", func(n int) Body {
			return board("p", [3]float64{400, 400, 18}, [3]float64{400 / float64(n), 400 / float64(n), 4.5}, solid)
		}},
		{"the same of cover layers and core fill", func(n int) Body { return sandwich(400, 18, 400/float64(n)) }},
		{"strip 400 x 40 x 18", func(n int) Body {
			return board("p", [3]float64{400, 40, 18}, [3]float64{400 / float64(n), 400 / float64(n), 400 / float64(n)}, solid)
		}},
		{"disc with slivers at its rim", func(n int) Body { return disc(200, 18, 400/float64(n), 6, solid) }},
		{"cube", func(n int) Body {
			h := 200 / float64(n)
			return board("p", [3]float64{100, 100, 100}, [3]float64{h, h, h}, solid)
		}},
		{"cube with every fifth cell empty at random", func(n int) Body {
			h := 200 / float64(n)
			b := board("p", [3]float64{100, 100, 100}, [3]float64{h, h, h}, solid)
			r := rand.New(rand.NewPCG(1, 2))
			s := b.Lattice.Size()
			for i := range b.Lattice.Fill {
				// The lowest and highest layers stay whole.
				if k := i / (s[0] * s[1]); k > 0 && k < s[2]-1 && r.IntN(5) == 0 {
					b.Lattice.Fill[i] = 0
				}
			}
			b.Lattice, _ = b.Lattice.Whole()
			return b
		}},
		{"cube with half its cells 1000 times softer at random", func(n int) Body {
			h := 200 / float64(n)
			b := board("p", [3]float64{100, 100, 100}, [3]float64{h, h, h}, solid)
			b.Materials = append(b.Materials, Material{Stiffness: Isotropic(2, 0.35), Density: 1e-3})
			r := rand.New(rand.NewPCG(1, 2))
			for range b.Lattice.Fill {
				b.Lattice.Material = append(b.Lattice.Material, uint8(r.IntN(2)))
			}
			return b
		}},
		{"plate 18 thick with a bore of 35 every 60", func(n int) Body {
			h := 400 / float64(n)
			return Body{Name: "bored", Frame: geom.World(), Materials: []Material{solid}, Lattice: Carve(
				[3][]float64{Planes(h, 0, 400), Planes(h, 0, 400), Planes(4.5, 0, 18)}, 3, func(p geom.Vec3) bool {
					dx, dy := p.X-60*float64(int(p.X/60))-30, p.Y-60*float64(int(p.Y/60))-30
					return dx*dx+dy*dy > 17.5*17.5
				})}
		}},
	}
	ns := []int{16, 32, 64}
	var out strings.Builder
	fmt.Fprintln(&out, "| body, held at one side, its own weight | cells | iterations | cells | iterations | cells | iterations |")
	fmt.Fprintln(&out, "|---|---|---|---|---|---|---|")
	for _, k := range kinds {
		fmt.Fprintf(&out, "| %s |", k.name)
		var its [3]int
		for i, n := range ns {
			b := k.make(n)
			r := solve(t, Model{Bodies: []Body{b}, Fixed: []Fixed{{Where: plane(0, b.Lattice.Planes[0][0]), Axes: all}}}, Case{Gravity: geom.V3(0, 0, -9810)})
			its[i] = r.Iterations
			fmt.Fprintf(&out, " %d | %d |", len(b.Lattice.Fill), r.Iterations)
		}
		fmt.Fprintln(&out)
		// Of smoothers of degree 3 it would be 50, at half as much work again for each.
		if its[2] > 70 || float64(its[2]) > 1.6*float64(its[1])+3 {
			t.Errorf("%s: %v iterations", k.name, its)
		}
	}
	golden(t, "iterations", out.String())
}

// What a model takes is known beforehand, within a half, and a limit is kept.
func TestMemory(t *testing.T) {
	for _, b := range []Body{
		sandwich(400, 18, 5),
		board("cube", [3]float64{100, 100, 100}, [3]float64{3, 3, 3}, Material{Stiffness: Isotropic(2000, 0.35), Density: 1e-3}),
		board("strip", [3]float64{800, 40, 20}, [3]float64{3, 3, 3}, Material{Stiffness: Isotropic(2000, 0.35), Density: 1e-3}),
	} {
		m := Model{Bodies: []Body{b}, Fixed: []Fixed{{Where: plane(0, 0), Axes: all}}}
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		s, err := Assemble(context.Background(), m, Options{})
		if err != nil {
			t.Fatal(err)
		}
		r, err := s.Solve(context.Background(), Case{Gravity: geom.V3(0, 0, -9810)})
		if err != nil {
			t.Fatal(err)
		}
		runtime.GC()
		runtime.ReadMemStats(&after)
		kept, said := float64(after.HeapAlloc-before.HeapAlloc), float64(m.Memory())
		t.Logf("%s: %.1f MiB kept, %.1f MiB said", b.Name, kept/(1<<20), said/(1<<20))
		if said < kept || said > 2.5*kept {
			t.Errorf("%s: %.1f MiB kept, %.1f MiB said", b.Name, kept/(1<<20), said/(1<<20))
		}
		runtime.KeepAlive(r)
		if _, err := Assemble(context.Background(), m, Options{MaxMemory: m.Memory() - 1}); !errors.Is(err, ErrTooLarge) {
			t.Errorf("%s: a byte too many: %v", b.Name, err)
		}
	}
}
