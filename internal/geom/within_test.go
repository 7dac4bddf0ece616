package geom

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestWithin(t *testing.T) {
	// The square from 0 to 10.
	edge := []HalfPlane{{V2(1, 0), 10}, {V2(-1, 0), 0}, {V2(0, 1), 10}, {V2(0, -1), 0}}
	for _, tt := range []struct {
		name string
		run  []Vec2
		want [][]Vec2
	}{
		{"within", []Vec2{{1, 1}, {2, 3}}, [][]Vec2{{{1, 1}, {2, 3}}}},
		{"beside it", []Vec2{{11, 1}, {12, 3}}, nil},
		{"past a corner of it", []Vec2{{-3, 8}, {5, 16}}, nil},
		{"over a corner of it", []Vec2{{-3, 5}, {5, 13}}, [][]Vec2{{{0, 8}, {2, 10}}}},
		{"across it", []Vec2{{-5, 5}, {15, 5}}, [][]Vec2{{{0, 5}, {10, 5}}}},
		{"out and in again", []Vec2{{5, 5}, {15, 5}, {15, 6}, {5, 6}}, [][]Vec2{{{5, 5}, {10, 5}}, {{10, 6}, {5, 6}}}},
		{"one point", []Vec2{{5, 5}}, nil},
	} {
		if diff := cmp.Diff(tt.want, Within(tt.run, edge)); diff != "" {
			t.Errorf("%s (-want +got):\n%s", tt.name, diff)
		}
	}
}
