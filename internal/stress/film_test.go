package stress

import (
	"math"
	"testing"

	"groundwork/internal/geom"
)

// A plate of 60 x 20 in 12 patches, pulled with 1200 N and bent by 24,000 N mm
// about its short side, however the patches share it: N/A + M/W = 1200/1200 +
// 24000/(20 60²/6) = 3 MPa at its end (strength of materials).
func TestFilmsSpreadLinearly(t *testing.T) {
	n := geom.V3(0, 0, 1)
	var at []geom.Vec3
	var areas, tension []float64
	var shear []geom.Vec3
	for i := range 6 {
		for j := range 2 {
			at = append(at, geom.V3(5+10*float64(i)-30, 5+10*float64(j)-10, 7))
			areas = append(areas, 100)
			tension = append(tension, 0)
			shear = append(shear, geom.Vec3{})
		}
	}
	// All of it on the two outermost rows: N = 1200, M = 24,000 about the middle.
	for j := range 2 {
		tension[j], tension[10+j] = (300-240)/100.0, (300+240)/100.0
	}
	shear[0] = geom.V3(0, 2.4, 0) // 240 N across, 25 mm off the middle and 5 above
	got, across := spreadLinearly(at, areas, n, tension, shear)
	var most float64
	for i := range got {
		most = max(most, got[i])
	}
	if math.Abs(most-3) > 0.01 {
		t.Errorf("greatest %.3f MPa, want 3", most)
	}
	var v geom.Vec3
	var twist float64
	for i, s := range across {
		v = v.Add(s.Scale(areas[i]))
		twist += at[i].Sub(geom.V3(0, 0, 7)).Cross(s.Scale(areas[i])).Z
	}
	if v.Dist(geom.V3(0, 240, 0)) > 1e-9 {
		t.Errorf("shear force %v, want 240 N along y", v)
	}
	// The patches' own second moments take their share of the twist of -6000 N mm.
	if twist > -5500 || twist < -6000 {
		t.Errorf("twist %.0f N mm, want about -6000", twist)
	}
	for i := range across { // least where the shift and the twist are opposed
		if across[i].Len() > across[0].Len()+1e-9 {
			t.Errorf("patch %d bears more than that at the loaded end", i)
		}
	}
}
