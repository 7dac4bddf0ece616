package core

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
	"groundwork/internal/solid"
)

// Options are the rules for making cores. The zero value of a field means its
// default.
type Options struct {
	Chord  float64 // mm; chord error of curved surfaces, default 0.01
	Labels bool    // engrave part numbers
	Solids bool    // measure each body before its cuts too, which costs a kernel operation a body
	Label  LabelOptions
}

// Inputs are the earlier results that cores are made from.
type Inputs struct {
	Cores []piece.Member // members as printed
	Seams *seam.Result
	Bores []joint.Bore // of joints; those of seams come with Seams
	Cuts  []piece.Cut  // pads, reliefs, fixtures' cuts
	Faces []Hidden     // where a part number may be engraved beside the seams
}

// Build carries out every cut and returns the finished segments. The sum of a
// body's segments is its solid less the union of its cuts; Verify checks that.
func Build(ctx context.Context, k *solid.Kernel, in Inputs, o Options) (*Result, error) {
	if o.Chord == 0 {
		o.Chord = 0.01
	}
	res := &Result{Cuts: append([]piece.Cut(nil), in.Cuts...)}
	for _, b := range in.Bores {
		res.Cuts = append(res.Cuts, b.Cut())
	}
	for _, s := range in.Seams.Seams {
		for _, b := range s.Bores {
			res.Cuts = append(res.Cuts, b.Cut())
		}
	}
	bodies := make([]solid.Shape, len(in.Seams.Bodies))
	for i, b := range in.Seams.Bodies {
		parts, err := seam.Parts(in.Cores, b, in.Cuts, o.Chord)
		if err != nil {
			return nil, fmt.Errorf("core: %s: %w", b.ID, err)
		}
		bodies[i] = parts[0]
		if len(parts) > 1 {
			bodies[i] = solid.Union(parts...)
		}
	}
	labels := map[string]piece.Cut{}
	if o.Labels {
		var err error
		if labels, err = placeLabels(ctx, k, in, o.Label.withDefaults()); err != nil {
			return nil, fmt.Errorf("core: part numbers: %w", err)
		}
		for _, s := range in.Seams.Segments {
			if c, ok := labels[s.ID]; ok {
				res.Cuts = append(res.Cuts, c)
			}
		}
	}
	shapes := make([]solid.Shape, len(in.Seams.Segments))
	for i, s := range in.Seams.Segments {
		shapes[i] = segmentShape(bodies[s.Body], in.Seams.Bodies[s.Body], s, res.Cuts)
	}
	wanted := shapes
	if o.Solids {
		wanted = append(slices.Clip(shapes), bodies...) // together, so that all instances are kept busy
	}
	meshes, err := k.Meshes(ctx, wanted)
	if err != nil {
		return nil, fmt.Errorf("core: segments: %w", err)
	}
	sums := make([]float64, len(bodies))
	for i, s := range in.Seams.Segments {
		m := meshes[i]
		seg := Segment{ID: s.ID, Body: s.Body, Shape: shapes[i], Mesh: m, Volume: m.Volume, Bounds: m.Bounds}
		if _, ok := labels[s.ID]; ok {
			seg.Label = s.ID
		}
		if err := m.Check(); err != nil {
			return nil, fmt.Errorf("core: segment %s: %w", s.ID, err)
		}
		sums[s.Body] += m.Volume
		res.Segments = append(res.Segments, seg)
		if n := components(m); n > 1 {
			res.Findings = append(res.Findings, finding.Finding{
				Severity: finding.Stop, Stage: "core", Code: "loose-parts", Subject: s.ID,
				Message: fmt.Sprintf("Segment %s falls into %d loose parts once its cuts are made.", s.ID, n),
				Remedy:  "Move the seam or the bore that severs it; or make the member wider there.",
				Source:  "common practice, no source",
			})
		}
	}
	for i, b := range in.Seams.Bodies {
		body := Body{ID: b.ID, Volume: sums[i]}
		if o.Solids {
			body.Solid = meshes[len(shapes)+i].Volume
			body.Cuts = body.Solid - body.Volume
		}
		res.Bodies = append(res.Bodies, body)
	}
	res.Findings = finding.Sorted(res.Findings)
	return res, nil
}

// segmentShape is a segment as an expression: the body within the segment's
// planes, less every cut of its members that can reach it.
func segmentShape(body solid.Shape, b seam.Body, s seam.Segment, cuts []piece.Cut) solid.Shape {
	shape := body
	if len(s.Planes) > 0 {
		planes := make([]solid.Cut, len(s.Planes))
		for i, pl := range s.Planes {
			planes[i] = solid.Cut{Plane: pl, Tag: solid.NoTag}
		}
		shape = body.Within(planes...)
	}
	var away []solid.Shape
	for _, c := range cuts {
		if c.Add || !slices.Contains(b.Members, c.Member) || !reaches(c.Shape.Bounds(), s.Planes) {
			continue
		}
		away = append(away, c.Shape)
	}
	if len(away) == 0 {
		return shape
	}
	return solid.Difference(shape, away...)
}

// reaches reports whether a box touches the inner side of every plane; it may
// say yes where only a corner region does.
func reaches(b geom.Box3, planes []geom.Plane) bool {
	for _, pl := range planes {
		near := geom.V3(nearest(pl.Normal.X, b.Min.X, b.Max.X), nearest(pl.Normal.Y, b.Min.Y, b.Max.Y), nearest(pl.Normal.Z, b.Min.Z, b.Max.Z))
		if pl.Distance(near) > 0 {
			return false
		}
	}
	return true
}

// nearest is the end of a box's side that lies further inside a plane whose
// normal has the component n along it.
func nearest(n, lo, hi float64) float64 {
	if n > 0 {
		return lo
	}
	return hi
}

// components counts the bodies of a mesh that share no vertex.
func components(m *solid.Mesh) int {
	root := make([]int32, len(m.Vertices))
	for i := range root {
		root[i] = int32(i)
	}
	find := func(i int32) int32 {
		for root[i] != i {
			root[i] = root[root[i]]
			i = root[i]
		}
		return i
	}
	for _, t := range m.Triangles {
		a := find(t[0])
		root[find(t[1])] = a
		root[find(t[2])] = a
	}
	used := map[int32]bool{}
	for _, t := range m.Triangles {
		used[find(t[0])] = true
	}
	return len(used)
}

// Verify checks, on the kernel's own volumes, that each body's segments sum to
// its solid less the union of its cuts, within tol of the solid's volume.
func Verify(ctx context.Context, k *solid.Kernel, in Inputs, r *Result, o Options, tol float64) error {
	if o.Chord == 0 {
		o.Chord = 0.01
	}
	var all []error
	for i, b := range in.Seams.Bodies {
		parts, err := seam.Parts(in.Cores, b, in.Cuts, o.Chord)
		if err != nil {
			return err
		}
		body := solid.Union(parts...)
		var cuts []solid.Shape
		for _, c := range r.Cuts {
			if !c.Add && slices.Contains(b.Members, c.Member) {
				cuts = append(cuts, c.Shape)
			}
		}
		whole, err := k.Measure(ctx, body)
		if err != nil {
			return fmt.Errorf("core: %s: %w", b.ID, err)
		}
		want := whole.Volume
		if len(cuts) > 0 {
			m, err := k.Measure(ctx, solid.Intersection(body, solid.Union(cuts...)))
			if err != nil && !errors.Is(err, solid.ErrEmpty) {
				return err
			}
			want -= m.Volume
		}
		if d := r.Bodies[i].Volume - want; d > tol*want || d < -tol*want {
			all = append(all, fmt.Errorf("core: %s: its segments sum to %.3f mm³, its solid less its cuts is %.3f mm³", b.ID, r.Bodies[i].Volume, want))
		}
	}
	return errors.Join(all...)
}
