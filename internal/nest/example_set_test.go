package nest_test

import (
	"context"
	"fmt"
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/nest"
)

// Four leaves cut one after another from the same flitch, laid side by side in
// that order and each shifted by 15 mm along the grain, so that the figure runs
// on over the joints.
func ExampleRow_slipMatch() {
	leaf := geom.Polygons{{{X: 0, Y: 0}, {X: 200, Y: 0}, {X: 200, Y: 60}, {X: 0, Y: 60}}}
	var leaves []nest.Item
	for k := range 4 {
		leaves = append(leaves, nest.Item{
			ID: fmt.Sprint("leaf ", k+1), Shape: leaf, Turns: []float64{0, math.Pi},
			Set: "door", Offset: geom.V2(15*float64(k), 0),
		})
	}
	const gap = 2
	leaves = nest.Row(gap, leaves...)
	for _, l := range leaves {
		fmt.Println(l.ID, "at", l.Offset.X, l.Offset.Y)
	}
	blank := []nest.Bin{{ID: "blank", Size: geom.V2(300, 260), Margin: 3}}
	layout, err := nest.Pack(context.Background(), leaves, blank, nest.Options{Gap: gap})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("left out:", len(layout.Unplaced), "faults:", len(nest.Verify(leaves, blank, layout, gap)))
	first := layout.Placements[0]
	for _, p := range layout.Placements[1:] {
		d := p.At.Sub(first.At).Rotate(-first.Turn)
		fmt.Printf("%s lies %.3f along the grain and %.3f across\n", p.Item, d.X, d.Y)
	}
	// Output:
	// leaf 1 at 0 0
	// leaf 2 at 15 62
	// leaf 3 at 30 124
	// leaf 4 at 45 186
	// left out: 0 faults: 0
	// leaf 2 lies 15.000 along the grain and 62.000 across
	// leaf 3 lies 30.000 along the grain and 124.000 across
	// leaf 4 lies 45.000 along the grain and 186.000 across
}

// A four-way match: four consecutive leaves round one point, those on the
// right and those above opened like the pages of a book. Two rows are set end
// to end. An item that is to go on the blank beside it has the set in its way.
func ExampleRow_fourWay() {
	// A quarter of an oval, its corner in the middle of the top.
	quarter := func(sx, sy float64) geom.Polygons {
		p := geom.Polygon{{X: 0, Y: 0}}
		for k := range 13 {
			s, c := math.Sincos(math.Pi / 2 * float64(k) / 12)
			p = append(p, geom.V2(sx*180*c, sy*110*s))
		}
		return geom.Polygons{p}
	}
	const gap = 2
	leaf := func(id string, sx, sy float64) nest.Item {
		return nest.Item{ID: id, Shape: quarter(sx, sy), Set: "top", Band: 0.02, Offset: geom.V2(sx*gap/2, 0)}
	}
	set := append(
		nest.Row(gap, leaf("a", -1, -1), leaf("b", -1, 1)),
		nest.Row(gap, leaf("c", 1, -1), leaf("d", 1, 1))...)
	for _, l := range set {
		fmt.Println(l.ID, "at", l.Offset.X, l.Offset.Y)
	}
	items := append(set, nest.Item{ID: "shelf", Shape: geom.Polygons{{{X: 0, Y: 0}, {X: 150, Y: 0}, {X: 150, Y: 220}, {X: 0, Y: 220}}}})
	blank := []nest.Bin{{ID: "blank", Size: geom.V2(530, 230), Margin: 3}}
	layout, err := nest.Pack(context.Background(), items, blank, nest.Options{Gap: gap})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("placed:", len(layout.Placements), "faults:", len(nest.Verify(items, blank, layout, gap)))
	// Output:
	// a at -1 0
	// b at -1 2
	// c at 1 0
	// d at 1 2
	// placed: 5 faults: 0
}
