package view

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// Hatching is how a cut face is marked. Parts that are cut beside one another
// differ in angle or spacing.
type Hatching struct {
	Angle   float64 // radians from the face's X axis
	Spacing float64 // mm of the piece
}

// Cut is a part cut by a plane: what lies below it (on the side that its normal
// points away from, which should be to the eye), and the hatching of the face as
// curves to draw with it. The face itself has the tag CutTag. A part that the
// plane misses comes back as it was if it lies below, and without a mesh's worth
// if above: then keep is false. X and Y of the face are those of
// geom.FrameFromZ(origin, normal).
//
// The plane is in the world where the part is drawn, its Motion applied; so are
// the curves. Its mesh must be closed. Corners are rounded to single precision.
func Cut(ctx context.Context, k *solid.Kernel, p Part, plane geom.Plane, h Hatching) (cut Part, hatch []Curve, keep bool, err error) {
	if h.Spacing <= 0 || math.IsNaN(h.Angle+h.Spacing) {
		return p, nil, false, fmt.Errorf("view: %s: hatching with lines %g mm apart", p.ID, h.Spacing)
	}
	moved := geom.World()
	moved.Origin = p.Motion
	body := solid.Foreign(p.Mesh.Vertices, p.Mesh.Triangles, p.Mesh.Tags).At(moved)
	mesh, err := k.Mesh(ctx, body.Below(plane, CutTag))
	switch {
	case errors.Is(err, solid.ErrEmpty):
		return p, nil, false, nil
	case err != nil:
		return p, nil, false, fmt.Errorf("view: cutting %s: %w", p.ID, err)
	}
	p.Mesh, p.Motion = mesh, geom.Vec3{}
	f := geom.FrameFromZ(plane.Normal.Scale(plane.D), plane.Normal)
	sections, err := k.Sections(ctx, body, f, []float64{0})
	if err != nil {
		return p, nil, false, fmt.Errorf("view: section of %s: %w", p.ID, err)
	}
	for _, l := range hatched(sections[0], h) {
		hatch = append(hatch, Curve{Part: p.ID, Class: Hatch, Points: []geom.Vec3{
			f.Point(geom.V3(l[0].X, l[0].Y, 0)), f.Point(geom.V3(l[1].X, l[1].Y, 0)),
		}})
	}
	return p, hatch, true, nil
}

// CutTag marks the facets of a face that Cut made.
const CutTag solid.Tag = 1<<30 - 1

// hatched are lines across a region, in order.
func hatched(region geom.Polygons, h Hatching) [][2]geom.Vec2 {
	u := geom.V2(1, 0).Rotate(h.Angle)
	n := u.Left()
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, loop := range region {
		for _, q := range loop {
			lo, hi = min(lo, q.Dot(n)), max(hi, q.Dot(n))
		}
	}
	var out [][2]geom.Vec2
	// Lines keep to one lattice whatever the region; a hair beside it, since
	// corners like to lie on it.
	const hair = 1e-4
	for i := math.Ceil((lo - hair) / h.Spacing); i*h.Spacing+hair < hi; i++ {
		d := i*h.Spacing + hair
		var at []float64
		for _, loop := range region {
			for j, a := range loop {
				b := loop[(j+1)%len(loop)]
				da, db := a.Dot(n)-d, b.Dot(n)-d
				if da < 0 != (db < 0) {
					at = append(at, a.Lerp(b, da/(da-db)).Dot(u))
				}
			}
		}
		slices.Sort(at)
		for j := 0; j+1 < len(at); j += 2 {
			if at[j+1]-at[j] > hair {
				out = append(out, [2]geom.Vec2{u.Scale(at[j]).Add(n.Scale(d)), u.Scale(at[j+1]).Add(n.Scale(d))})
			}
		}
	}
	return out
}
