package piece

import (
	"math"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/geom"
)

func resolveFile(t *testing.T, name string) *Piece {
	t.Helper()
	d, err := ParseFile(name)
	if err != nil {
		t.Fatal(err)
	}
	p, fs, err := d.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range fs {
		t.Log(f)
	}
	return p
}

func same(a, b float64) bool { return math.Abs(a-b) < 1e-9*(1+math.Abs(b)) }

func sameVec(a, b geom.Vec3) bool { return same(a.X, b.X) && same(a.Y, b.Y) && same(a.Z, b.Z) }

// TestEveryKey resolves the file that uses every key and looks at what hand
// reckoning gives.
func TestEveryKey(t *testing.T) {
	p := resolveFile(t, "testdata/every-key.yaml")
	var ids []string
	by := map[string]Member{}
	for _, m := range p.Members {
		ids = append(ids, m.ID)
		by[m.ID] = m
	}
	want := strings.Fields(`top slab lug slot-1 slot-2 slot-3 disc hub cap leg-1 leg-2 leg-3 leg-4 fin-1 fin-2
		spoke-1 spoke-2 spoke-3 spoke-4 spoke-5 post bar foot-1 foot-2`)
	if !slices.Equal(ids, want) {
		t.Errorf("members %v, want %v", ids, want)
	}
	if size := by["top"].Board.Outline.Path.Bounds().Size(); math.Abs(size.X-700) > 1e-6 || math.Abs(size.Y-342.9) > 1e-6 {
		t.Errorf("top measures %v, want 560 x 5/4 and 13 1/2 in", size)
	}
	if z := by["slab"].Place.Origin.Z; !same(z, 560-22-18) {
		t.Errorf("slab at %g", z)
	}
	if x := by["slab"].Place.X; !sameVec(x, geom.V3(0, 1, 0)) || !sameVec(by["slab"].Place.Z, geom.V3(0, 0, 1)) {
		t.Errorf("slab turned to %v", by["slab"].Place)
	}
	if z := by["slot-3"].Place.Origin.Z; !same(z, 400) {
		t.Errorf("third slot at %g", z)
	}
	s := 8 * math.Pi / 180
	if x := by["leg-1"].Place.X; !sameVec(x, geom.V3(math.Sin(s), 0, math.Cos(s))) {
		t.Errorf("leg splayed to %v", x)
	}
	if a := by["spoke-2"].Place.Z.XY().Angle(); !same(a, (45+72)*math.Pi/180) {
		t.Errorf("second spoke points to %g", a)
	}
	for id, n := range map[string]int{"leg-1": 2, "leg-4": 2, "spoke-5": 1, "post": 0} {
		if got := len(by[id].EndCuts); got != n {
			t.Errorf("%s has %d end cuts, want %d", id, got, n)
		}
	}
	// Drawn 100 by 40 by 60 with y up, so it is 40 high here and stands from
	// y = -60 to 0 in its file.
	if f := by["foot-2"]; f.Solid == nil || f.Source.As != "solid" || f.Source.Part != "body-1" || len(f.Solid.Names) != len(f.Surfaces(0)) {
		t.Errorf("foot: %+v", f.Source)
	} else {
		box := geom.EmptyBox3()
		for _, v := range f.Solid.Shape.Vertices {
			box = box.Add(f.Place.Point(v))
		}
		if box.Min.Dist(geom.V3(-400, 300, 40)) > 1e-4 || box.Max.Dist(geom.V3(-300, 360, 80)) > 1e-4 {
			t.Errorf("the second foot stands at %v", box)
		}
	}
	if v := p.Veneer; v.Veneer != "walnut" || v.Order != "edges first" || *v.Allowance != 3 || !v.Relief || v.Balance {
		t.Errorf("veneer %+v", v)
	}
	if j := p.Joints[0]; j != (JointRule{Between: [2]string{"top", "leg"}, Kind: KnockDown, Screw: "M6", Through: "leg", Screws: 2, Dowels: 1, Dowel: 8, Contact: "pad", Line: j.Line}) {
		t.Errorf("joint %+v", j)
	}
	if r := p.Surfaces[1]; *r.LapAt != 700 || *r.Grain != 0 || *r.Allowance != 3 || !*r.Relief || r.Match != "book-1" || r.Lap != "always" || r.Veneer != "ash" || r.Show != "show" {
		t.Errorf("surface rule %+v", r)
	}
	if len(p.PrintAsOne) != 1 || !slices.Equal(p.PrintAsOne[0], []int{slices.Index(ids, "hub"), slices.Index(ids, "cap")}) {
		t.Errorf("printed as one: %v", p.PrintAsOne)
	}
}
