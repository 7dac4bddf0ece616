package kit_test

import (
	"io"
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
	"groundwork/internal/kit"
	"groundwork/internal/pack"
	"groundwork/internal/specimen"
)

// judge looks at a kit as whoever packs it would: every packing is verified, no
// thing is missing or sent twice, parts lie in the boxes that they are given,
// masses add up, and the order of packing can be carried out from above.
func judge(t testing.TB, in kit.Inputs, r *kit.Result) {
	t.Helper()
	sent := make([]int, len(r.Things))
	p := in.Shop.Parcels
	for _, q := range r.Parcels {
		if err := pack.Verify(q.Layout, q.Items, pack.Options{Support: 0.75}); err != nil {
			t.Errorf("%s: %v", q.ID, err)
		}
		if !q.Layout.All() || len(q.Layout.Placed) != len(q.Things) {
			t.Errorf("%s: %d placed of %d, left %v", q.ID, len(q.Layout.Placed), len(q.Things), q.Layout.Left)
		}
		var mass float64
		for i, x := range q.Layout.Placed {
			thing := r.Things[q.Things[i]]
			sent[q.Things[i]]++
			mass += thing.Mass
			if q.Items[x.Item].ID != thing.ID || q.Items[x.Item].Size != thing.Size {
				t.Errorf("%s: place %d is for %s, and %s is packed", q.ID, i, q.Items[x.Item].ID, thing.ID)
			}
			for _, later := range q.Layout.Placed[i+1:] {
				if later.At.Z+later.Size.Z <= x.At.Z+1e-6 && later.At.X < x.At.X+x.Size.X-1e-6 && x.At.X < later.At.X+later.Size.X-1e-6 &&
					later.At.Y < x.At.Y+x.Size.Y-1e-6 && x.At.Y < later.At.Y+later.Size.Y-1e-6 {
					t.Errorf("%s: %s is laid in before what lies under it", q.ID, thing.ID)
				}
			}
		}
		if !near(mass, q.Contents) || !near(q.Mass, q.Contents+q.Packing) || q.Packing <= 0 {
			t.Errorf("%s: %g g in it, %g told; %g and %g are %g", q.ID, mass, q.Contents, q.Contents, q.Packing, q.Mass)
		}
		// Cushion and board lie all round what is packed.
		want := q.Layout.Box.Size.Add(geom.V3(2, 2, 2).Scale(p.Cushion + p.Board))
		if q.Outside.Sub(want).Len() > 1e-6 {
			t.Errorf("%s: %v outside, want %v", q.ID, q.Outside, want)
		}
		e := []float64{q.Outside.X, q.Outside.Y, q.Outside.Z}
		slices.Sort(e)
		if !near(q.Girthed, e[2]+2*e[0]+2*e[1]) {
			t.Errorf("%s: length and girth %g of %v", q.ID, q.Girthed, e)
		}
		over := p.LengthAndGirth > 0 && q.Girthed > p.LengthAndGirth+1e-6 || p.Longest > 0 && e[2] > p.Longest+1e-6
		if over && !found(r, "parcel-long") && !found(r, "veneer-roll") {
			t.Errorf("%s is too large, and nothing is said", q.ID)
		}
		if q.Mass > p.MaxMass && !found(r, "parcel-heavy") {
			t.Errorf("%s is too heavy, and nothing is said", q.ID)
		}
		if len(q.Steps) != q.Layers || q.Layers < 1 || q.Scale < 1 {
			t.Errorf("%s: %d steps for %d layers at 1:%g", q.ID, len(q.Steps), q.Layers, q.Scale)
		}
		if err := draw.WriteSVG(io.Discard, q.Sheet); err != nil {
			t.Errorf("%s: %v", q.ID, err)
		}
		paper := geom.Box2{Max: geom.V2(q.Sheet.Width, q.Sheet.Height)}
		for _, l := range q.Sheet.Layers {
			for _, item := range l.Items {
				b := item.Bounds()
				if _, text := item.(draw.Text); !text && (b.Min.X < -1e-6 || b.Min.Y < -1e-6 || b.Max.X > paper.Max.X+1e-6 || b.Max.Y > paper.Max.Y+1e-6) {
					t.Errorf("%s: %v is drawn beside the paper", q.ID, b)
				}
			}
		}
	}
	for i, n := range sent {
		if n != 1 {
			t.Errorf("%s is sent %d times", r.Things[i].ID, n)
		}
	}
	members := map[string]int{}
	for _, thing := range r.Things {
		if thing.Kind == kit.SubAssembly {
			for _, m := range thing.Members {
				members[m]++
			}
		}
		for _, id := range thing.Segments {
			for _, s := range in.Cores.Segments {
				if s.ID != id {
					continue
				}
				for _, v := range s.Mesh.Vertices {
					// Meshes are as fine as a micrometre at best.
					if q := thing.Frame.Local(v); min(q.X, q.Y, q.Z) < -1e-6 || q.X > thing.Net.X+1e-6 || q.Y > thing.Net.Y+1e-6 || q.Z > thing.Net.Z+1e-6 {
						t.Fatalf("%s of %s stands out of its box at %v", id, thing.ID, q)
					}
				}
			}
		}
		if thing.Mass <= 0 || thing.Net.X < thing.Net.Y || thing.Net.Y < thing.Net.Z {
			t.Errorf("%s: %g g, %v", thing.ID, thing.Mass, thing.Net)
		}
	}
	if r.Split == kit.Ready {
		for _, m := range in.Piece.Members {
			if members[m.ID] != 1 {
				t.Errorf("%s is in %d sub-assemblies", m.ID, members[m.ID])
			}
		}
	}
	for _, f := range r.Findings {
		if f.Stage != "kit" || f.Code == "" || f.Message == "" || f.Remedy == "" || f.Source == "" {
			t.Errorf("%+v", f)
		}
	}
	for _, pr := range r.Prices {
		var sum float64
		for _, l := range pr.Lines {
			sum += l.Each
			if l.Rests == "" || math.IsNaN(l.Each) || l.Each < 0 {
				t.Errorf("%+v", l)
			}
		}
		if !near(sum, pr.Each) || !near(pr.Each*float64(pr.Batch), pr.Total) || !near(pr.Cost*(1+p.Margin), pr.Each) {
			t.Errorf("lines come to %g, the price is %g", sum, pr.Each)
		}
	}
}

func found(r *kit.Result, code string) bool {
	for _, f := range r.Findings {
		if f.Code == code {
			return true
		}
	}
	return false
}

func TestEveryPieceIsPacked(t *testing.T) {
	for _, name := range specimen.Names {
		in := given(t, name)
		for _, split := range kit.Splits {
			t.Run(name+"/"+string(split), func(t *testing.T) {
				r := made(t, in, kit.Options{Split: split})
				if len(r.Parcels) == 0 {
					t.Fatal("no parcel")
				}
				for _, q := range r.Parcels {
					t.Logf("%s %s: %.0f x %.0f x %.0f mm outside, %.2f kg (%.2f kg packing), girthed %.0f, %.0f %% filled, %d things in %d layers", r.Revision, q.ID,
						q.Outside.X, q.Outside.Y, q.Outside.Z, q.Mass/1000, q.Packing/1000, q.Girthed, 100*q.Layout.Use, len(q.Things), q.Layers)
				}
				for _, f := range r.Findings {
					t.Log(f)
				}
				for _, p := range r.Prices {
					t.Logf("%d: %.2f each", p.Batch, p.Each)
				}
				again := made(t, in, kit.Options{Split: split})
				if d := cmp.Diff(r, again); d != "" {
					t.Errorf("another kit the second time: %s", d)
				}
			})
		}
	}
}

func BenchmarkMake(b *testing.B) {
	for _, split := range kit.Splits {
		in := given(b, "heron-side-table")
		b.Run(string(split), func(b *testing.B) {
			for b.Loop() {
				if _, err := kit.Make(b.Context(), in, kit.Options{Split: split}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
