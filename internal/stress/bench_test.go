package stress

import (
	"context"
	"fmt"
	"testing"

	"groundwork/internal/geom"
)

// tableCases are six loads on the heron table: 200 N down and 100 N sideways on the
// top, in several places.
func tableCases(t testing.TB, in Inputs) []Case {
	top := member(t, in, "top")
	up := geom.V3(0, 0, 1)
	at := func(x, y float64) geom.Vec3 { return geom.V3(x, y, 540) }
	return []Case{
		{ID: "middle", Loads: []Load{pressing(top, at(0, 0), up, geom.V3(0, 0, -200), 60)}},
		{ID: "end", Loads: []Load{pressing(top, at(180, 0), up, geom.V3(0, 0, -200), 60)}},
		{ID: "front", Loads: []Load{pressing(top, at(0, -80), up, geom.V3(0, 0, -200), 60)}},
		{ID: "pushed along", Loads: []Load{pressing(top, at(0, 0), up, geom.V3(20, 0, -200), 60)}},
		{ID: "pushed across", Loads: []Load{pressing(top, at(0, 0), up, geom.V3(0, 20, -200), 60)}},
		{ID: "sustained", Sustained: true, Loads: []Load{pressing(top, at(0, 0), up, geom.V3(0, 0, -100), 200)}},
	}
}

func BenchmarkHeronFine(b *testing.B) {
	in := example(b, "heron-side-table")
	cases := tableCases(b, in)
	for _, cell := range []float64{0, 14} {
		b.Run(fmt.Sprintf("cell %g", cell), func(b *testing.B) {
			for b.Loop() {
				s := assembled(b, in, Options{Cell: cell})
				its := 0
				for _, c := range cases {
					its += solved(b, s, c).Iterations()
				}
				b.ReportMetric(float64(s.Cells()), "cells")
				b.ReportMetric(float64(len(s.links)), "links")
				b.ReportMetric(float64(its)/float64(len(cases)), "iterations/case")
			}
		})
	}
}

func BenchmarkHeronRough(b *testing.B) {
	in := example(b, "heron-side-table")
	cases := tableCases(b, in)
	for b.Loop() {
		if _, err := Rough(context.Background(), theKernel(b), in, cases); err != nil {
			b.Fatal(err)
		}
	}
}
