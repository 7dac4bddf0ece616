package shop

import (
	"testing"

	"groundwork/internal/geom"
)

// The grid is as large as the top takes, and lies in the middle of it.
func TestBenchHoles(t *testing.T) {
	for _, tc := range []struct {
		bench     Bench
		columns   int
		rows      int
		firstHole geom.Vec2
	}{
		{Bench{Hole: 20, Pitch: 96, Size: geom.V2(1150, 750)}, 11, 7, geom.V2(95, 87)},
		{Bench{Hole: 20, Pitch: 96, Size: geom.V2(100, 116)}, 1, 1, geom.V2(50, 58)},
		{Bench{Hole: 20, Pitch: 96, Size: geom.V2(212, 211)}, 2, 1, geom.V2(58, 105.5)},
	} {
		c, r, first := tc.bench.Holes()
		if c != tc.columns || r != tc.rows || first != tc.firstHole {
			t.Errorf("%+v: %d x %d from %v, want %d x %d from %v", tc.bench, c, r, first, tc.columns, tc.rows, tc.firstHole)
		}
		if last := first.X + float64(c-1)*tc.bench.Pitch; last+tc.bench.Hole/2 > tc.bench.Size.X || first.X < tc.bench.Hole/2 {
			t.Errorf("%+v: a hole breaks the rim", tc.bench)
		}
	}
}
