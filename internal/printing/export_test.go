package printing

import (
	"context"

	"groundwork/internal/core"
	"groundwork/internal/geom"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// Candidate is a pose with its time (s) and plastic (g), quickly and in full.
type Candidate struct {
	Up                     geom.Vec3
	Height                 float64
	Cost                   float64
	QuickTime, FullTime    float64
	QuickGrams, FullGrams  float64
	Overhang, SupportGrams float64
}

// Candidates are all flat poses of a segment, judged without stress.
func Candidates(ctx context.Context, k *solid.Kernel, seg core.Segment, p shop.Printer, f shop.Filament) ([]Candidate, error) {
	m := seg.Mesh
	if m == nil {
		var err error
		if m, err = k.Mesh(ctx, seg.Shape); err != nil {
			return nil, err
		}
	}
	b := newBody(m.Vertices, m.Triangles)
	s := &setting{machine: newMachine(p, f), room: Usable(p), filament: f, bridge: 15, gap: 5}
	var out []Candidate
	for _, face := range b.faces {
		frame, ok := fitDown(b.points, face.n, s.room)
		if !ok {
			continue
		}
		po := b.judge(frame, s, true)
		points := make([]geom.Vec3, len(b.points))
		for i, q := range b.points {
			points[i] = po.frame.Local(q)
		}
		c := Candidate{Up: frame.Z, Cost: po.cost, QuickTime: po.seconds, QuickGrams: po.grams, Overhang: po.overhang, SupportGrams: po.support.Grams}
		err := k.Regions(ctx, func(r *solid.Regions) error {
			in := func(region geom.Polygons, depth float64) geom.Polygons {
				return r.Offset(region, -depth, solid.Miter, 2, 0)
			}
			e := newEstimator(s.machine, points, b.triangles, in)
			var pr Print
			pr.figure(e, f)
			c.FullTime, c.FullGrams, c.Height = pr.Seconds, pr.Grams, e.slicer.top
			return nil
		})
		if err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	return out, nil
}

// Kernel is the one that tests share.
func Kernel() *solid.Kernel { return kernel }
