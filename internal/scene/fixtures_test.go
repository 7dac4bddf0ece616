package scene

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/fixture"
	"groundwork/internal/geom"
)

func fixtures(t testing.TB, name string) *decoded {
	t.Helper()
	k, pl := planned(t, name)
	var b bytes.Buffer
	if err := Fixtures(context.Background(), k, pl, &b); err != nil {
		t.Fatal(err)
	}
	t.Logf("%d kB", b.Len()/1000)
	return decode(t, b.Bytes())
}

// Every part of every fixture is there once for each place where it lies, as the
// stage that made it says, beside the segments and seams of the whole piece. It
// tells what it belongs to.
func TestFixturesLieWhereTheyAre(t *testing.T) {
	for _, name := range pieces() {
		t.Run(name, func(t *testing.T) {
			_, pl := planned(t, name)
			d := fixtures(t, name)
			byName := map[string]*decodedNode{}
			for _, n := range d.nodes {
				if n.points == nil {
					continue
				}
				if byName[n.name] != nil {
					t.Fatalf("%s is there twice", n.name)
				}
				byName[n.name] = n
			}
			want := len(pl.Cores.Segments) + len(pl.Seams.Seams)
			for _, s := range pl.Cores.Segments {
				if n := byName[s.ID]; n == nil || n.kind != "segment" {
					t.Errorf("segment %s is missing", s.ID)
				}
			}
			for _, f := range pl.Fixtures.Fixtures {
				for _, p := range f.Parts {
					if p.Lies[0] == geom.World() {
						continue
					}
					for i, at := range p.Lies {
						id := p.ID
						if len(p.Lies) > 1 {
							id = fmt.Sprintf("%s/place-%d", p.ID, i+1)
						}
						n := byName[id]
						want++
						if n == nil || n.kind != "fixture" || n.extras["fixture"] != f.ID || n.extras["step"] != string(f.Step) {
							t.Fatalf("%s is not told of as it is: %v", id, n)
						}
						if p.Mesh == nil {
							continue
						}
						here, there := geom.EmptyBox3(), geom.EmptyBox3()
						for _, q := range n.points {
							here = here.Add(n.at(q, 0))
						}
						for _, q := range p.Mesh.Vertices {
							there = there.Add(at.Point(q))
						}
						// Single precision at a metre is good to a ten-thousandth.
						if here.Min.Dist(there.Min) > 1e-3 || here.Max.Dist(there.Max) > 1e-3 {
							t.Errorf("%s fills %v, want %v", id, here, there)
						}
						if rel(n.volume(), p.Mesh.Volume) > 1e-4 {
							t.Errorf("%s is %.1f mm³ large, want %.1f", id, n.volume(), p.Mesh.Volume)
						}
					}
				}
			}
			if len(byName) != want {
				t.Errorf("%d things are shown, want %d", len(byName), want)
			}
		})
	}
}

// A caul that a clamping lays somewhere is there in the picture, and belongs to
// it; and everything touches the body that it hangs on, but for the gaps and the
// veneer that lie between.
func TestFixturesTouchTheirBody(t *testing.T) {
	const reach = 6.0 // mm that are looked at
	for _, name := range pieces() {
		t.Run(name, func(t *testing.T) {
			_, pl := planned(t, name)
			d := fixtures(t, name)
			type facet [3]geom.Vec3
			facets := func(n *decodedNode) (out []facet) {
				for i := 0; i < len(n.index); i += 3 {
					out = append(out, facet{n.at(n.points[n.index[i]], 0), n.at(n.points[n.index[i+1]], 0), n.at(n.points[n.index[i+2]], 0)})
				}
				return out
			}
			segments := map[string][]facet{}
			for _, n := range d.of("segment") {
				b := n.extras["body"].(string)
				segments[b] = append(segments[b], facets(n)...)
			}
			near := func(a, b []facet) float64 {
				best := math.Inf(1)
				for _, f := range a {
					for _, q := range f {
						for _, g := range b {
							best = min(best, triangleDistance(q, g[0], g[1], g[2]))
						}
					}
				}
				return best
			}
			served := map[string]bool{}
			for _, n := range d.of("fixture") {
				own := facets(n)
				box := geom.EmptyBox3()
				for _, f := range own {
					box = box.Add(f[0]).Add(f[1]).Add(f[2])
				}
				var there []facet
				for _, f := range segments[n.extras["body"].(string)] {
					b := geom.EmptyBox3().Add(f[0]).Add(f[1]).Add(f[2])
					if max(b.Min.X-box.Max.X, box.Min.X-b.Max.X, b.Min.Y-box.Max.Y, box.Min.Y-b.Max.Y, b.Min.Z-box.Max.Z, box.Min.Z-b.Max.Z) < reach {
						there = append(there, f)
					}
				}
				i := slices.IndexFunc(pl.Fixtures.Fixtures, func(f fixture.Fixture) bool { return f.ID == n.extras["fixture"] })
				f := pl.Fixtures.Fixtures[i]
				most := 4.0 // veneer, and what a band overhangs
				if f.Kind == fixture.Caul && f.Step == fixture.GlueSegments {
					most = f.Clearances[0].Gap + 0.5 // bare cores: the gap, what counts as flat, and the picture's chord
				}
				if far := min(near(own, there), near(there, own)); far > most {
					t.Errorf("%s is %.2f mm from %s", n.name, far, n.extras["body"])
				}
				if c, ok := n.extras["clamping"]; ok {
					served[c.(string)] = true
				}
			}
			for _, c := range pl.Fixtures.Clamping {
				if len(c.Places) > 0 && !served[c.ID] {
					t.Errorf("no part lies in %s", c.ID)
				}
			}
		})
	}
}

// A point's distance from a triangle is that from the nearest of a fine lattice
// on it, to within the lattice.
func TestTriangleDistance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := rapid.Float64Range(-10, 10)
		v := func(what string) geom.Vec3 { return geom.V3(at.Draw(t, what), at.Draw(t, what), at.Draw(t, what)) }
		p, a, b, c := v("p"), v("a"), v("b"), v("c")
		const n = 100
		want := math.Inf(1)
		for i := range n + 1 {
			for j := range n + 1 - i {
				q := a.Scale(float64(n - i - j)).Add(b.Scale(float64(i))).Add(c.Scale(float64(j))).Scale(1. / n)
				want = min(want, p.Dist(q))
			}
		}
		side := max(a.Dist(b), b.Dist(c), c.Dist(a))
		if got := triangleDistance(p, a, b, c); got > want+1e-9 || got < want-side/n {
			t.Fatalf("%v, by the lattice %v", got, want)
		}
	})
}
