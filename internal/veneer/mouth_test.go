package veneer

import (
	"math"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/solid"
)

// A bore that comes at a slant opens as the ellipse in which a cylinder is cut by a
// plane: every point of its outline lies as far from the bore's axis as the bore
// is wide, and its area is that of the bore over the cosine.
func TestMouthOfASlantingBore(t *testing.T) {
	const r, chord = 5.5, 0.01
	m := board("board", rectangle(200, 100), 20, geom.World())
	for si, sf := range m.Surfaces(chord) {
		if sf.Kind != piece.Plane {
			continue
		}
		at := sf.Point(sf.Region.Bounds().Center())
		n := sf.Normal(sf.Chart(at))
		for _, lean := range []float64{0, 0.03, 0.25, 0.8} {
			for _, turn := range []float64{0, 1, 2.5} {
				x := n.Cross(geom.V3(0.3, 0.5, 0.8)).Unit()
				side := x.Scale(math.Cos(turn)).Add(n.Cross(x).Scale(math.Sin(turn)))
				axis := n.Scale(-math.Cos(lean)).Add(side.Scale(math.Sin(lean)))
				h := mouth(&sf, m.Place, at, axis, r)
				outline := h.outline(0, chord)
				for _, q := range outline {
					if d := sf.Point(q).Sub(at).Cross(axis).Len(); math.Abs(d-r) > 1e-6 {
						t.Fatalf("surface %d, lean %g: a point of the outline lies %g from the axis, want %g", si, lean, d, r)
					}
				}
				want := math.Pi * r * r / math.Cos(lean)
				if a := outline.Area(); math.Abs(a-want) > 4e-3*want {
					t.Errorf("surface %d, lean %g: area %g, want %g", si, lean, a, want)
				}
				small := h.outline(0.5, chord)
				for _, q := range small {
					if d := (geom.Polygons{outline}).Distance(q); d < 0.5*math.Cos(lean)-0.02 || d > 0.52 {
						t.Fatalf("lean %g: made 0.5 mm smaller it lies %g inside", lean, d)
					}
				}
			}
		}
	}
	if f := solid.Facets(r, chord, false); f < 20 {
		t.Errorf("%d points make no outline", f)
	}
}
