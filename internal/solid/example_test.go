package solid_test

import (
	"context"
	"fmt"
	"log"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// A shelf with a bore through it, cut in two for the printer.
func Example() {
	const (
		edge solid.Tag = iota
		bottom
		top
		wall
		seam
	)
	ctx := context.Background()
	k, err := solid.New(solid.Options{})
	if err != nil {
		log.Fatal(err)
	}
	defer k.Close()

	outline := solid.Loop{
		Points: []geom.Vec2{geom.V2(0, 0), geom.V2(400, 0), geom.V2(400, 200), geom.V2(0, 200)},
		Tags:   []solid.Tag{edge, edge, edge, edge},
	}
	shelf := solid.Extrude([]solid.Loop{outline}, 0, 18, bottom, top)
	bore := solid.Cylinder(geom.V3(100, 100, -1), geom.V3(0, 0, 1), 5, 20, wall, solid.CylinderOptions{Circumscribed: true})
	plane := geom.PlaneAt(geom.V3(220, 0, 0), geom.V3(1, 0, 0))
	bored := solid.Difference(shelf, bore)

	halves, err := k.Meshes(ctx, []solid.Shape{bored.Below(plane, seam), bored.Above(plane, seam)})
	if err != nil {
		log.Fatal(err)
	}
	for _, m := range halves {
		facets := map[solid.Tag]int{}
		for _, t := range m.Tags {
			facets[t]++
		}
		fmt.Printf("%.0f x %.0f x %.0f mm, %.1f cm³, %d facets round the bore, %d in the seam\n",
			m.Bounds.Size().X, m.Bounds.Size().Y, m.Bounds.Size().Z, m.Volume/1000, facets[wall], facets[seam])
	}
	// Output:
	// 220 x 200 x 18 mm, 790.6 cm³, 72 facets round the bore, 2 in the seam
	// 180 x 200 x 18 mm, 648.0 cm³, 0 facets round the bore, 2 in the seam
}
