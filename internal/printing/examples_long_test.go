//go:build long

package printing_test

import (
	"context"
	"math"
	"slices"
	"testing"

	"groundwork/examples"
	"groundwork/internal/geom"
	"groundwork/internal/plan"
	"groundwork/internal/printing"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/strength"
	"groundwork/internal/stress"
)

// TestExamplesPosed prints the table of docs/printing.md: the examples posed
// without stress, with a made-up one along each segment's length, and with that
// of the loads of their use.
func TestExamplesPosed(t *testing.T) {
	for _, name := range examples.Pieces() {
		pl := example(t, name)
		segments := pl.Cores.Segments
		axes := make([]geom.Vec3, len(segments))
		for i, s := range segments {
			axes[i] = longAxis(s.Mesh.Vertices, s.Mesh.Triangles)
		}
		field, err := rough(pl)
		if err != nil {
			t.Fatal(err)
		}
		const bending = 8 // MPa: half of what parts layers of ABS
		made := func(i int, up geom.Vec3) float64 { c := up.Dot(axes[i]); return bending * c * c }
		used := func(i int, up geom.Vec3) float64 {
			s := pl.Seams.Segments[i]
			return field.Across(s.Body, s.Planes, up)
		}
		plain, err := posed(pl, nil)
		if err != nil {
			t.Fatal(err)
		}
		row(t, name, "no stress", plain, pl.Shop, made, used)
		for _, f := range []struct {
			name   string
			across func(int, geom.Vec3) float64
		}{{"made-up", made}, {"in use", used}} {
			r, err := posed(pl, f.across)
			if err != nil {
				t.Fatal(err)
			}
			row(t, name, f.name, r, pl.Shop, made, used)
			for _, f := range r.Findings {
				t.Log(f)
			}
			// Made-up bending may lay parts down that stood; the loads of use do not.
			if f.name == "in use" && len(r.Loads) > len(plain.Loads) {
				t.Errorf("%s, %s: %d loads, without stress %d", name, f.name, len(r.Loads), len(plain.Loads))
			}
		}
	}
}

func row(t *testing.T, name, how string, r *printing.Result, s *shop.Shop, made, used func(int, geom.Vec3) float64) {
	var hours, grams, over, m, u float64
	short := 0
	for _, l := range r.Loads {
		hours += l.Seconds / 3600
		grams += l.Grams
	}
	for i, p := range r.Prints {
		over += p.Overhang
		m = max(m, made(i, p.Pose.Z))
		u = max(u, used(i, p.Pose.Z))
		f, _ := s.Filament(p.Filament)
		if used(i, p.Pose.Z)*3 > f.Strength*f.ZFactor {
			short++
		}
	}
	t.Logf("| %s | %s | %d | %.1f | %.0f | %.0f | %.2f | %.2f | %d |", name, how, len(r.Loads), hours, grams, over, m, u, short)
}

// posed plans the prints again with a stress.
func posed(pl *plan.Plan, across func(int, geom.Vec3) float64) (*printing.Result, error) {
	filament := func(i int) string { return pl.Printing.Prints[i].Filament }
	return printing.Plan(context.Background(), printing.Kernel(), pl.Cores.Segments, pl.Shop, filament, options(pl, across))
}

func mating(pl *plan.Plan) func(i int) []geom.Plane {
	return func(i int) []geom.Plane {
		seg := pl.Seams.Segments[i]
		var out []geom.Plane
		for _, s := range pl.Seams.Seams {
			switch seg.ID {
			case s.Segments[0]:
				out = append(out, s.Plane)
			case s.Segments[1]:
				out = append(out, s.Plane.Flip())
			}
		}
		for _, c := range pl.Joints.Contacts {
			face := geom.PlaneAt(c.Frame.Origin, c.Frame.Z)
			if slices.Contains(pl.Seams.Bodies[seg.Body].Members, c.A.Member) {
				out = append(out, face)
			}
			if slices.Contains(pl.Seams.Bodies[seg.Body].Members, c.B.Member) {
				out = append(out, face.Flip())
			}
		}
		return out
	}
}

// rough is the stress in the uncut piece under the loads of its use.
func rough(pl *plan.Plan) (*stress.Field, error) {
	in := stress.Inputs{
		Piece: pl.Piece, Cores: pl.Layout.Cores, Cuts: slices.Clone(pl.Layout.Cuts), Joints: pl.Joints,
		Bodies: seam.Bodies(pl.Layout.Cores, pl.Piece.PrintAsOne), Shop: pl.Shop, Floor: len(pl.Piece.Held) == 0,
		Profile: func(int) shop.Profile { return pl.Shop.Printers[0].Profile },
	}
	in.Filament = func(b int) shop.Filament {
		id := pl.Piece.Members[in.Bodies[b].Members[0]].Filament
		if id == "" {
			id = pl.Piece.Filament
		}
		f, _ := pl.Shop.Filament(id)
		return f
	}
	for _, b := range pl.Joints.Bores() {
		in.Cuts = append(in.Cuts, b.Cut())
	}
	for _, h := range pl.Piece.Held {
		for m, core := range pl.Layout.Cores {
			if core.ID != h.Member && core.Name != h.Member {
				continue
			}
			for i, s := range core.Surfaces(0.1) {
				if s.Name == h.Surface {
					in.Held = append(in.Held, stress.Held{Member: m, Surface: i})
				}
			}
		}
	}
	all, _ := strength.Cases(pl.Piece, pl.Layout.Cores, pl.Joints, pl.Shop)
	cases := make([]stress.Case, len(all))
	for i, c := range all {
		cases[i] = c.Case
	}
	return stress.Rough(context.Background(), printing.Kernel(), in, cases)
}

// longAxis is the direction in which the points of a surface lie farthest from
// their middle, by the power method.
func longAxis(points []geom.Vec3, triangles [][3]int32) geom.Vec3 {
	var middles []geom.Vec3
	var areas []float64
	var sum geom.Vec3
	total := 0.0
	for _, t := range triangles {
		a, b, c := points[t[0]], points[t[1]], points[t[2]]
		area := b.Sub(a).Cross(c.Sub(a)).Len()
		for _, v := range []geom.Vec3{a, b, c} {
			middles, areas = append(middles, v), append(areas, area)
			sum, total = sum.Add(v.Scale(area)), total+area
		}
	}
	sum = sum.Scale(1 / total)
	d := geom.V3(0.6, 0.5, 0.62)
	for range 200 {
		var next geom.Vec3
		for i, v := range middles {
			r := v.Sub(sum)
			next = next.Add(r.Scale(areas[i] * r.Dot(d)))
		}
		if !(next.Len() > 0) || math.IsInf(next.Len(), 0) {
			break
		}
		d = next.Unit()
	}
	return d
}

func options(pl *plan.Plan, across func(int, geom.Vec3) float64) printing.Options {
	return printing.Options{Mating: mating(pl), Across: across}
}
