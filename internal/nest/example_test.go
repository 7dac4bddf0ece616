package nest_test

import (
	"context"
	"fmt"
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/nest"
)

// Four triangles, turned end for end where that helps, on a blank that keeps
// a knot clear.
func ExamplePack() {
	half := []float64{0, math.Pi} // the grain allows no other turns
	items := []nest.Item{{
		ID:       "cheek",
		Shape:    geom.Polygons{{{X: 0, Y: 0}, {X: 120, Y: 0}, {X: 0, Y: 60}}},
		Quantity: 4,
		Turns:    half,
	}}
	knot := geom.Polygons{{{X: 0, Y: 0}, {X: 20, Y: 0}, {X: 20, Y: 20}, {X: 0, Y: 20}}}
	bins := []nest.Bin{{ID: "blank", Size: geom.V2(300, 70), Margin: 3, Reserved: []geom.Polygons{knot}, Quantity: nest.Unlimited}}
	layout, err := nest.Pack(context.Background(), items, bins, nest.Options{Gap: 2, Iterations: 300})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("blanks:", len(layout.Bins))
	fmt.Println("left out:", len(layout.Unplaced))
	fmt.Println("faults:", len(nest.Verify(items, bins, layout, 2)))
	// Output:
	// blanks: 1
	// left out: 0
	// faults: 0
}
