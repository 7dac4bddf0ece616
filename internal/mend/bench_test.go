package mend

import (
	"math/rand/v2"
	"testing"

	"groundwork/internal/mesh"
)

// BenchmarkMend mends meshes of 100,000 triangles: whole, and as a soup with
// holes and turned triangles.
func BenchmarkMend(b *testing.B) {
	whole := torus(400, 120, 250, 200)
	r := rand.New(rand.NewPCG(1, 1))
	broken := soup(damages[2].do(missing(func(n int) int { return n / 100 })(whole, r), r), 1e-5, r)
	for _, c := range []struct {
		name string
		body mesh.Body
	}{{"whole", whole}, {"broken", broken}} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				res, err := Mend(c.body, Options{})
				if err != nil || len(res.Shells) != 1 || !res.Shells[0].Solid() {
					b.Fatal(err, len(res.Shells), res.Shells[0].Faults)
				}
			}
		})
	}
}
