package scene

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"groundwork/examples"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/solid"
	"groundwork/internal/veneer"
)

// passThrough reports whatever moves through anything else, by the kernel's own
// booleans of the cores, moved as the file says, at many places of the slider.
// Two may only have in common what they have at rest, and what a coarse chord
// adds.
func passThrough(t *testing.T, k *solid.Kernel, pl *plan.Plan, d *decoded) {
	t.Helper()
	nodes := d.of("member")
	var shapes []solid.Shape
	for _, n := range nodes {
		mi := slices.IndexFunc(pl.Piece.Members, func(m piece.Member) bool { return m.ID == n.name })
		s, err := pl.Layout.Cores[mi].Body(viewChord)
		if err != nil {
			t.Fatal(err)
		}
		shapes = append(shapes, s.At(pl.Layout.Cores[mi].Place))
	}
	common := func(i, j int, s float64) float64 {
		f, g := geom.World(), geom.World()
		f.Origin, g.Origin = nodes[i].at(geom.Vec3{}, s), nodes[j].at(geom.Vec3{}, s)
		a, b := shapes[i].At(f), shapes[j].At(g)
		if !a.Bounds().Overlaps(b.Bounds()) {
			return 0
		}
		m, err := k.Measure(context.Background(), solid.Intersection(a, b))
		switch {
		case errors.Is(err, solid.ErrEmpty):
			return 0
		case err != nil:
			t.Fatal(err)
		}
		return m.Volume
	}
	moved := 0
	const steps = 12
	for i := range nodes {
		for j := range i {
			rest := common(i, j, 0)
			for s := range steps {
				at := float64(s+1) / steps
				if nodes[i].at(geom.Vec3{}, at).Dist(nodes[j].at(geom.Vec3{}, at)) < 1e-6 {
					continue
				}
				moved++
				if v := common(i, j, at); v > rest+20 {
					t.Errorf("at %.2f %s goes %.0f mm³ into %s", at, nodes[i].name, v, nodes[j].name)
					break
				}
			}
		}
	}
	if moved == 0 {
		t.Error("nothing moves")
	}
}

func TestNothingMovesThroughAnother(t *testing.T) {
	for _, name := range pieces() {
		t.Run(name, func(t *testing.T) {
			k, pl := planned(t, name)
			passThrough(t, k, pl, geometry(t, name))
		})
	}
}

// The same at the least and the greatest of every length that a maker may
// change.
func TestNothingMovesThroughAnotherAtLimits(t *testing.T) {
	ctx := context.Background()
	s, err := examples.Shop()
	if err != nil {
		t.Fatal(err)
	}
	k, err := kernel()
	if err != nil {
		t.Fatal(err)
	}
	made := 0
	for _, name := range examples.Pieces() {
		usual, err := examples.Piece(name, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, q := range usual.Parameters {
			if q.Kind != piece.Length || q.Max <= q.Min {
				continue
			}
			for _, v := range []float64{q.Min, q.Max} {
				t.Run(fmt.Sprintf("%s/%s %g", name, q.Name, v), func(t *testing.T) {
					pl := &plan.Plan{Shop: s}
					if pl.Piece, err = examples.Piece(name, map[string]string{q.Name: fmt.Sprintf("%g mm", v)}); err != nil {
						t.Fatal(err)
					}
					if pl.Joints, err = joint.Place(ctx, k, pl.Piece, s, joint.Options{}); err != nil {
						t.Fatal(err)
					}
					if pl.Layout, err = veneer.Lay(ctx, k, pl.Piece, pl.Joints.Contacts, pl.Joints.Rounds, s, veneer.Options{}); err != nil {
						t.Fatal(err)
					}
					var b bytes.Buffer
					if err := Geometry(ctx, k, pl, &b); err != nil {
						t.Fatal(err)
					}
					passThrough(t, k, pl, decode(t, b.Bytes()))
					made++
				})
			}
		}
	}
	if made < 10 {
		t.Errorf("only %d made", made)
	}
}

// Whatever is screwed or glued together comes apart, and all of it stays at hand.
func TestAllComesApart(t *testing.T) {
	for _, name := range pieces() {
		t.Run(name, func(t *testing.T) {
			_, pl := planned(t, name)
			d := geometry(t, name)
			at := map[string]geom.Vec3{}
			for _, n := range d.of("member") {
				at[n.name] = n.at(geom.Vec3{}, 1)
			}
			body := map[string]any{}
			for _, n := range d.of("member") {
				body[n.name] = n.extras["body"]
			}
			for _, c := range pl.Joints.Contacts {
				a, b := pl.Piece.Members[c.A.Member].ID, pl.Piece.Members[c.B.Member].ID
				if off := at[a].Dist(at[b]); body[a] != body[b] && off < 10 {
					t.Errorf("%s and %s move only %.1f mm apart", a, b, off)
				}
			}
			for what, d := range map[string]*decoded{"geometry": d, "whole": whole(t, name)} {
				together, apart := geom.EmptyBox3(), geom.EmptyBox3()
				for _, n := range d.nodes {
					for _, p := range n.points {
						together, apart = together.Add(n.at(p, 0)), apart.Add(n.at(p, 1))
					}
				}
				if r := apart.Size().Len() / together.Size().Len(); r > boxMost {
					t.Errorf("%s: it grows %.2f times", what, r)
				} else {
					t.Logf("%s: %.2f times as large", what, r)
				}
				if apart.Min.Z < together.Min.Z-0.5*together.Size().Len() {
					t.Errorf("%s: it reaches down to %.0f", what, apart.Min.Z)
				}
				// First screws, then what they hold: nobody moves before what holds it is out.
				last := 0.0
				for _, n := range d.of("screw") {
					last = max(last, n.to)
				}
				for _, n := range append(d.of("body"), append(d.of("assembly"), d.of("member")...)...) {
					if n.away.Len() > 0 && n.from < last-1e-3 {
						t.Errorf("%s: %s moves from %.3f, screws until %.3f", what, n.name, n.from, last)
					}
				}
			}
		})
	}
}

// Screws draw back, against the way they are driven.
func TestScrewsDrawBack(t *testing.T) {
	for _, name := range examples.Pieces() {
		d := whole(t, name)
		for _, n := range d.of("screw") {
			if n.away.Unit().Dot(n.local.Z) > -0.999 {
				t.Errorf("%s: %s goes %v, driven along %v", name, n.name, n.away, n.local.Z)
			}
		}
	}
}

// Segments of a body part from one another across every seam.
func TestSegmentsPart(t *testing.T) {
	seams := 0
	for _, name := range examples.Pieces() {
		_, pl := planned(t, name)
		at := map[string]geom.Vec3{}
		for _, n := range whole(t, name).of("segment") {
			at[n.name] = n.away
		}
		for _, s := range pl.Seams.Seams {
			seams++
			if off := at[s.Segments[1]].Sub(at[s.Segments[0]]).Dot(s.Plane.Normal); off < 5 {
				t.Errorf("%s: %s parts by %.1f mm", name, s.ID, off)
			}
		}
	}
	if seams == 0 {
		t.Error("no seam seen")
	}
}

// A leaf comes off its own core outward.
func TestLeavesLift(t *testing.T) {
	for _, name := range pieces() {
		for _, n := range whole(t, name).of("leaf") {
			if n.away.Len() < 5 {
				t.Errorf("%s: %s stays where it is", name, n.name)
			}
			var out, area float64
			for i := 0; i < len(n.index); i += 3 {
				a, b, c := n.points[n.index[i]], n.points[n.index[i+1]], n.points[n.index[i+2]]
				x := b.Sub(a).Cross(c.Sub(a)).Scale(0.5)
				out, area = out+x.Dot(n.away.Unit()), area+x.Len()
			}
			if out < -1e-3*area {
				t.Errorf("%s: %s moves into its core (%.2f)", name, n.name, math.Abs(out)/area)
			}
		}
	}
}
