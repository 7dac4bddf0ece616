package piece

import (
	"math"
	"testing"

	"groundwork/internal/geom"
)

func resolveFile(t *testing.T, name string) *Piece {
	t.Helper()
	d, err := ParseFile(name)
	if err != nil {
		t.Fatal(err)
	}
	p, fs, err := d.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range fs {
		t.Log(f)
	}
	return p
}

func same(a, b float64) bool { return math.Abs(a-b) < 1e-9*(1+math.Abs(b)) }

func sameVec(a, b geom.Vec3) bool { return same(a.X, b.X) && same(a.Y, b.Y) && same(a.Z, b.Z) }

func TestEveryKey(t *testing.T) {
	p := resolveFile(t, "testdata/every-key.yaml")
	for _, m := range p.Members {
		t.Log(m.ID, m.Place, m.Mirrored, len(m.EndCuts))
	}
}
