package scene

import (
	"bytes"
	"context"
	"sync"
	"testing"

	"groundwork/examples"
	"groundwork/internal/core"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

var kernel = sync.OnceValues(func() (*solid.Kernel, error) { return solid.New(solid.Options{}) })

var (
	plansMu sync.Mutex
	plans   = map[string]*plan.Plan{}
)

// planned is an example's plan, made once and shared by the tests.
func planned(t testing.TB, name string) (*solid.Kernel, *plan.Plan) {
	t.Helper()
	k, err := kernel()
	if err != nil {
		t.Fatal(err)
	}
	plansMu.Lock()
	defer plansMu.Unlock()
	if p, ok := plans[name]; ok {
		return k, p
	}
	data, err := examples.Files.ReadFile(name + ".yaml")
	if err != nil {
		t.Fatal(err)
	}
	doc, err := piece.Parse(name+".yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	plans[name] = made(t, k, doc)
	return k, plans[name]
}

func made(t testing.TB, k *solid.Kernel, doc *piece.Document) *plan.Plan {
	t.Helper()
	pc, _, err := doc.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	data, err := examples.Files.ReadFile("shop.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, err := shop.Parse("shop.yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	p, err := plan.Make(context.Background(), k, pc, s, plan.Options{Core: core.Options{Labels: true, Solids: true}})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// The area of a leaf on the piece is that of its pattern: the sheet bends and
// does not stretch. Its show side lies above its neutral surface, so the sheet
// is looked at there.
func TestLeavesKeepTheirArea(t *testing.T) {
	for _, name := range examples.Pieces() {
		_, pl := planned(t, name)
		for _, p := range pl.Patterns {
			if p.Member < 0 {
				continue
			}
			neutral := pl.Layout.Coverings[p.Member][p.Surface].Neutral
			m, ok := laid(pl.Layout, p, func(geom.Vec2) float64 { return neutral }, nil)
			if !ok {
				t.Errorf("%s: %s is not laid", name, p.ID)
				continue
			}
			var flat, round, outward float64
			for i := 0; i < len(m.Index); i += 3 {
				a, b, c := m.Index[i], m.Index[i+1], m.Index[i+2]
				u := m.Place[b].Sub(m.Place[a]).Cross(m.Place[c].Sub(m.Place[a])) / 2
				n := m.Points[b].Sub(m.Points[a]).Cross(m.Points[c].Sub(m.Points[a])).Scale(0.5)
				if u < -1e-9 {
					t.Fatalf("%s: %s: a triangle is turned over in its place", name, p.ID)
				}
				flat += u
				round += n.Len()
				outward += n.Dot(m.Normals[a])
			}
			if rel(flat, p.NetArea) > 0.002 || rel(round, p.NetArea) > 0.01 || outward < 0.98*round {
				t.Errorf("%s: %s (%s): net %.1f mm², in the flat %.1f, on the piece %.1f, of that outward %.1f", name, p.ID, pl.Layout.Cores[p.Member].Surfaces(0)[p.Surface].Kind, p.NetArea, flat, round, outward)
			}
		}
	}
}

func rel(a, b float64) float64 { return max(a-b, b-a) / b }

func TestSizes(t *testing.T) {
	for _, name := range examples.Pieces() {
		k, pl := planned(t, name)
		var g, w bytes.Buffer
		if err := Geometry(context.Background(), k, pl, &g); err != nil {
			t.Fatal(err)
		}
		if err := Whole(context.Background(), k, pl, &w); err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: geometry %d kB, whole %d kB", name, g.Len()/1000, w.Len()/1000)
	}
}
