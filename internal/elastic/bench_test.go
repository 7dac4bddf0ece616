package elastic

import (
	"context"
	"fmt"
	"runtime"
	"testing"

	"groundwork/internal/geom"
)

// sandwich is a board as it is printed: cover layers, contours at the rim, and
// core fill a twentieth as stiff.
func sandwich(side, thick, step float64) Body {
	const cover = 1.2
	xy := Planes(step, 0, cover, side-cover, side)
	l := Lattice{Planes: [3][]float64{xy, xy, Planes(step, 0, cover, thick-cover, thick)}}
	n := l.Size()
	for k := range n[2] {
		for j := range n[1] {
			for i := range n[0] {
				var m uint8
				if i > 0 && j > 0 && k > 0 && i < n[0]-1 && j < n[1]-1 && k < n[2]-1 {
					m = 1
				}
				l.Fill = append(l.Fill, 1)
				l.Material = append(l.Material, m)
			}
		}
	}
	return Body{Name: "board", Frame: geom.World(), Lattice: l, Materials: []Material{
		{Name: "solid", Stiffness: Isotropic(2000, 0.35), Density: 1.05e-3},
		{Name: "core fill", Stiffness: Isotropic(100, 0.33), Density: 0.16e-3},
	}}
}

func BenchmarkSolve(b *testing.B) {
	for _, c := range []struct {
		name string
		body Body
	}{
		{"plate/50k", board("plate", [3]float64{400, 400, 18}, [3]float64{400. / 112, 400. / 112, 4.5}, Material{Stiffness: Isotropic(2000, 0.35), Density: 1e-3})},
		{"plate/200k", board("plate", [3]float64{400, 400, 18}, [3]float64{400. / 224, 400. / 224, 4.5}, Material{Stiffness: Isotropic(2000, 0.35), Density: 1e-3})},
		{"plate/1M", board("plate", [3]float64{400, 400, 18}, [3]float64{.8, .8, 4.5}, Material{Stiffness: Isotropic(2000, 0.35), Density: 1e-3})},
		{"sandwich/50k", sandwich(400, 18, 4.1)},
		{"sandwich/200k", sandwich(400, 18, 2.2)},
		{"sandwich/1M", sandwich(600, 24, 1.6)},
		{"cube/50k", board("cube", [3]float64{100, 100, 100}, [3]float64{100. / 37, 100. / 37, 100. / 37}, Material{Stiffness: Isotropic(2000, 0.35), Density: 1e-3})},
		{"cube/200k", board("cube", [3]float64{100, 100, 100}, [3]float64{100. / 58, 100. / 58, 100. / 58}, Material{Stiffness: Isotropic(2000, 0.35), Density: 1e-3})},
		{"cube/1M", board("cube", [3]float64{100, 100, 100}, [3]float64{1, 1, 1}, Material{Stiffness: Isotropic(2000, 0.35), Density: 1e-3})},
	} {
		b.Run(c.name, func(b *testing.B) {
			m := Model{Bodies: []Body{c.body}, Fixed: []Fixed{{Where: plane(0, 0), Axes: all}}}
			for range b.N {
				runtime.GC()
				var before, after runtime.MemStats
				runtime.ReadMemStats(&before)
				s, err := Assemble(context.Background(), m, Options{})
				if err != nil {
					b.Fatal(err)
				}
				built := b.Elapsed()
				r, err := s.Solve(context.Background(), Case{Gravity: geom.V3(0, 0, -9810)})
				if err != nil {
					b.Fatal(err)
				}
				runtime.ReadMemStats(&after)
				b.ReportMetric(built.Seconds()/float64(b.N), "s-build")
				b.ReportMetric(float64(r.Iterations), "iterations")
				b.ReportMetric(float64(len(c.body.Lattice.Fill)), "cells")
				b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/(1<<20), "MiB")
			}
			_ = fmt.Sprint()
		})
	}
}
