package scene

import (
	"context"
	"math"
	"testing"

	"groundwork/internal/geom"
)

// Solids move as the file's nodes do, and stand where they stand.
func TestTakeApartIsWhatIsWritten(t *testing.T) {
	for _, name := range []string{"heron-side-table", "otter-stool"} {
		t.Run(name, func(t *testing.T) {
			k, pl := planned(t, name)
			d := geometry(t, name)
			a, err := TakeApart(context.Background(), k, pl, true, 0)
			if err != nil {
				t.Fatal(err)
			}
			if len(a.Threads(0)) > 0 || len(pl.Joints.Joints) > 0 && len(a.Threads(1)) == 0 {
				t.Errorf("%d threads together, %d apart", len(a.Threads(0)), len(a.Threads(1)))
			}
			seen := map[string]bool{}
			compared := 0
			for _, s := range a.Solids {
				if seen[s.ID] {
					t.Errorf("two solids are called %s", s.ID)
				}
				seen[s.ID] = true
				kind, id := s.Kind, s.ID
				switch s.Kind {
				case "body":
					kind, id = "member", s.Member
					if err := s.Mesh.Check(); err != nil {
						t.Errorf("%s: %v", s.ID, err)
					}
				case "screw": // its washer and its head share a ring
					if s.Mesh.Volume <= 0 {
						t.Errorf("%s holds %g mm³", s.ID, s.Mesh.Volume)
					}
				case "dowel", "insert", "plug":
					if err := s.Mesh.Check(); err != nil {
						t.Errorf("%s: %v", s.ID, err)
					}
				}
				for _, n := range d.of(kind) {
					if n.name != id {
						continue
					}
					compared++
					for i := range 11 {
						at := float64(i) / 10
						// From rest: a node of hardware stands at a place of its own.
						want := n.at(geom.Vec3{}, at).Sub(n.at(geom.Vec3{}, 0))
						// The file's times have three decimals, its ways too.
						tol := 2e-3
						if at < 1 {
							tol += 0.01 * s.Moved(1).Len()
						}
						if got := s.Moved(at); got.Dist(want) > tol {
							t.Errorf("%s at %.1f moved by %v, in the file by %v", s.ID, at, got, want)
							break
						}
					}
				}
			}
			if compared < len(pl.Piece.Members)/2 {
				t.Errorf("only %d solids are in the file", compared)
			}
		})
	}
}

// Facets of a leaf that goes round a bend are joined: what is left open is its
// border, below.
func TestLeavesAreOpenBelowOnly(t *testing.T) {
	k, pl := planned(t, "otter-stool")
	a, err := TakeApart(context.Background(), k, pl, true, 0)
	if err != nil {
		t.Fatal(err)
	}
	leaves := 0
	for _, s := range a.Solids {
		if s.Kind != "leaf" {
			continue
		}
		leaves++
		sides := map[[2]int32]int{}
		for _, t := range s.Mesh.Triangles {
			for k := range 3 {
				sides[[2]int32{t[k], t[(k+1)%3]}]++
			}
		}
		var open, all float64
		for e, n := range sides {
			l := s.Mesh.Vertices[e[0]].Dist(s.Mesh.Vertices[e[1]])
			all += l
			if sides[[2]int32{e[1], e[0]}] != n {
				open += l
			}
		}
		// The border of a leaf as large as this one cannot be shorter than a circle's.
		if least := 2 * math.Sqrt(math.Pi*s.Mesh.Area/2); open > all/4 || open < least/4 {
			t.Errorf("%s: %.0f mm of %.0f mm of sides are open", s.ID, open, all)
		}
	}
	if leaves == 0 {
		t.Error("no leaves")
	}
}
