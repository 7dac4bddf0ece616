package veneer

import (
	"context"
	"path/filepath"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
)

// exampleShop has what the examples ask for.
func exampleShop() *shop.Shop {
	s := testShop(600, 400)
	s.Screws = []shop.Screw{
		{Size: "M4", Lengths: []float64{12, 16, 20, 25, 30, 35, 40, 45, 50}, Washer: true},
		{Size: "M5", Lengths: []float64{16, 20, 25, 30, 35, 40, 45, 50, 60}, Washer: true},
		{Size: "M6", Lengths: []float64{16, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80}, Washer: true},
		{Size: "M8", Lengths: []float64{20, 25, 30, 35, 40, 45, 50, 60, 70, 80}, Washer: true},
	}
	s.Inserts = []shop.Insert{
		{Size: "M4", Hole: 5.6, Outer: 5.9, Length: 8.1, Melt: 0.8, MinWall: 2.1},
		{Size: "M5", Hole: 6.4, Outer: 6.7, Length: 9.5, Melt: 0.8, MinWall: 2.6},
		{Size: "M6", Hole: 8.0, Outer: 8.3, Length: 12.7, Melt: 1, MinWall: 3.3},
		{Size: "M8", Hole: 10.0, Outer: 10.3, Length: 12.7, Melt: 1, MinWall: 4.5},
	}
	s.Dowels = []shop.Dowel{
		{Diameter: 4, Length: 16, Printed: true}, {Diameter: 5, Length: 20, Printed: true}, {Diameter: 6, Length: 20, Printed: true},
		{Diameter: 6, Length: 30}, {Diameter: 8, Length: 35}, {Diameter: 8, Length: 40}, {Diameter: 10, Length: 40},
	}
	s.Veneers = nil
	for _, id := range []string{"walnut", "ash", "oak"} {
		s.Veneers = append(s.Veneers, shop.Veneer{ID: id, Face: 0.5, Backing: 0.25, Adhesive: 0.05, Sheet: geom.V2(610, 2440), EdgeMargin: 5, BendAlong: 60, BendAcross: 30})
	}
	s.Veneers = append(s.Veneers, shop.Veneer{ID: "oak-thin", Face: 0.3, Backing: 0.15, Adhesive: 0.05, Sheet: geom.V2(610, 2440), EdgeMargin: 5, BendAlong: 60, BendAcross: 30})
	return s
}

// example reads a piece that ships with the program, and joins it.
func example(t testing.TB, name string) (*piece.Piece, *joint.Result) {
	t.Helper()
	doc, err := piece.ParseFile(filepath.Join("..", "..", "examples", name+".yaml"))
	if err != nil {
		t.Fatal(err)
	}
	p, _, err := doc.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	j, err := joint.Place(context.Background(), testKernel(t), p, exampleShop(), joint.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return p, j
}

// TestExamples verifies every pattern of the pieces that ship with the program.
func TestExamples(t *testing.T) {
	for _, name := range []string{"heron-side-table", "tern-wall-shelf", "otter-stool", "badger-bench"} {
		t.Run(name, func(t *testing.T) {
			p, j := example(t, name)
			r := run(t, p, j.Contacts, j, exampleShop(), Options{})
			t.Log(r.ids())
		})
	}
}

func BenchmarkLay(b *testing.B) {
	p, j := example(b, "heron-side-table")
	k, s := testKernel(b), exampleShop()
	for b.Loop() {
		if _, err := Lay(context.Background(), k, p, j.Contacts, j.Rounds, s, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPatterns(b *testing.B) {
	p, j := example(b, "heron-side-table")
	k, s := testKernel(b), exampleShop()
	l, err := Lay(context.Background(), k, p, j.Contacts, j.Rounds, s, Options{})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, _, err := Patterns(context.Background(), k, p, l, j, s, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
