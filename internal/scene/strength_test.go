package scene

import (
	"bytes"
	"context"
	"math"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/plan"
)

// field is a state that is known everywhere: the stress at a point is the sum of
// its coordinates, and it moves by a tenth of itself.
type field struct{ asked *int }

func (f field) Surface(body int, points []geom.Vec3) (moved []geom.Vec3, mises []float64) {
	*f.asked++
	for _, p := range points {
		moved, mises = append(moved, p.Scale(0.1)), append(mises, math.Abs(p.X+p.Y+p.Z))
	}
	return moved, mises
}

// The field is told at every point, the greatest of it at the root, and closely
// enough that it shows.
func TestStrength(t *testing.T) {
	k, pl := planned(t, "heron-side-table")
	asked := 0
	strained := *pl
	strained.Strained = []plan.Strained{nil, field{&asked}}
	var b bytes.Buffer
	if err := Strength(context.Background(), k, &strained, 1, &b); err != nil {
		t.Fatal(err)
	}
	d := decode(t, b.Bytes())
	t.Logf("%d kB", b.Len()/1000)
	if asked != len(pl.Seams.Bodies) || len(d.of("body")) != asked {
		t.Errorf("%d bodies asked of, %d shown, of %d", asked, len(d.of("body")), len(pl.Seams.Bodies))
	}
	var stress, moved float64
	for _, n := range d.of("body") {
		if len(n.stress) != len(n.points) || len(n.moved) != len(n.points) {
			t.Fatalf("%s: %d points, %d stresses, %d ways", n.name, len(n.points), len(n.stress), len(n.moved))
		}
		for i, p := range n.points {
			if math.Abs(n.stress[i]-math.Abs(p.X+p.Y+p.Z)) > 1e-3 || n.moved[i].Dist(p.Scale(0.1)) > 1e-3 {
				t.Fatalf("%s at %v: stress %v, moved %v", n.name, p, n.stress[i], n.moved[i])
			}
			stress, moved = max(stress, n.stress[i]), max(moved, n.moved[i].Len())
		}
		for i := 0; i < len(n.index); i += 3 {
			for j := range 3 {
				if l := n.points[n.index[i+j]].Dist(n.points[n.index[i+(j+1)%3]]); l > fieldStep+1e-3 {
					t.Fatalf("%s has a side of %.1f mm", n.name, l)
				}
			}
		}
	}
	if rel(d.root.extras["stress"].(float64), stress) > 1e-6 || rel(d.root.extras["moved"].(float64), moved) > 1e-6 || d.root.extras["case"] != 1.0 {
		t.Errorf("the root tells %v, greatest are %v MPa and %v mm", d.root.extras, stress, moved)
	}
	// Dividing keeps the shape.
	volume := map[string]float64{}
	for _, n := range geometry(t, "heron-side-table").of("member") {
		volume[n.extras["body"].(string)] += n.volume()
	}
	for _, n := range d.of("body") {
		if rel(n.volume(), volume[n.name]) > 1e-5 {
			t.Errorf("%s: %.1f mm³, want %.1f", n.name, n.volume(), volume[n.name])
		}
	}
	for _, c := range []int{-1, 0, 2} {
		if err := Strength(context.Background(), k, &strained, c, &bytes.Buffer{}); err == nil {
			t.Errorf("case %d is shown", c)
		}
	}
}
