package stress

import (
	"context"
	"testing"
	"time"

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
	for _, cell := range []float64{0, 4} {
		for b.Loop() {
			t0 := time.Now()
			s := assembled(b, in, Options{Cell: cell})
			t1 := time.Now()
			its := 0
			var all []int
			for _, c := range cases {
				st := solved(b, s, c)
				its += st.Iterations()
				all = append(all, st.Iterations(), st.r.Rounds)
			}
			b.Logf("cell %.3g: %d cells, %d links, %d MiB foretold; assembled in %v, %d cases in %v, %v iterations and rounds", s.Cell(), s.Cells(), len(s.links), s.Memory()>>20,
				t1.Sub(t0), len(cases), time.Since(t1), all)
			break
		}
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
