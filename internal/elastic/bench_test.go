package elastic

import (
	"context"
	"runtime"
	"syscall"
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

func cpuSeconds() float64 {
	var r syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &r) != nil {
		return 0
	}
	return float64(r.Utime.Sec+r.Stime.Sec) + 1e-6*float64(r.Utime.Usec+r.Stime.Usec)
}

// BenchmarkSolve assembles and solves one body held at one side under its own
// weight. MiB is what is held when it is solved, MiB-said what Memory foretold.
func BenchmarkSolve(b *testing.B) {
	solid := Material{Stiffness: Isotropic(2000, 0.35), Density: 1e-3}
	for _, c := range []struct {
		name string
		make func() Body
	}{
		{"board/50k", func() Body { return board("b", [3]float64{1200, 600, 18}, [3]float64{6.6, 6.6, 6}, solid) }},
		{"board/200k", func() Body { return board("b", [3]float64{1200, 600, 18}, [3]float64{4.24, 4.24, 3.6}, solid) }},
		{"board/1M", func() Body { return board("b", [3]float64{1200, 600, 18}, [3]float64{2.4, 2.4, 2.25}, solid) }},
		{"sandwich/50k", func() Body { return sandwich(600, 18, 5.65) }},
		{"sandwich/200k", func() Body { return sandwich(600, 18, 3.35) }},
		{"sandwich/1M", func() Body { return sandwich(600, 18, 1.83) }},
		{"cube/50k", func() Body {
			return board("b", [3]float64{100, 100, 100}, [3]float64{100. / 37, 100. / 37, 100. / 37}, solid)
		}},
		{"cube/200k", func() Body {
			return board("b", [3]float64{100, 100, 100}, [3]float64{100. / 58, 100. / 58, 100. / 58}, solid)
		}},
		{"cube/1M", func() Body { return board("b", [3]float64{100, 100, 100}, [3]float64{1, 1, 1}, solid) }},
	} {
		b.Run(c.name, func(b *testing.B) {
			body := c.make()
			m := Model{Bodies: []Body{body}, Fixed: []Fixed{{Where: plane(0, 0), Axes: all}}}
			b.ReportMetric(float64(m.Memory())/(1<<20), "MiB-said")
			b.ReportMetric(float64(len(body.Lattice.Fill)), "cells")
			for range b.N {
				runtime.GC()
				var before, after runtime.MemStats
				runtime.ReadMemStats(&before)
				cpu := cpuSeconds()
				s, err := Assemble(context.Background(), m, Options{})
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(cpuSeconds()-cpu, "cpu-s-build")
				r, err := s.Solve(context.Background(), Case{Gravity: geom.V3(0, 0, -9810)})
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(cpuSeconds()-cpu, "cpu-s")
				b.ReportMetric(float64(r.Iterations), "iterations")
				runtime.GC()
				runtime.ReadMemStats(&after)
				b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/(1<<20), "MiB")
				runtime.KeepAlive(s)
				runtime.KeepAlive(r)
			}
		})
	}
}

// BenchmarkTable solves a table of five bodies with screws and contacts.
func BenchmarkTable(b *testing.B) {
	for range b.N {
		m, c := table(7.5)
		cells := 0
		for _, v := range m.Bodies {
			cells += len(v.Lattice.Fill)
		}
		cpu := cpuSeconds()
		s, err := Assemble(context.Background(), m, Options{})
		if err != nil {
			b.Fatal(err)
		}
		r, err := s.Solve(context.Background(), c)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(cpuSeconds()-cpu, "cpu-s")
		b.ReportMetric(float64(r.Iterations), "iterations")
		b.ReportMetric(float64(r.Rounds), "rounds")
		b.ReportMetric(float64(cells), "cells")
	}
}
