package core

import (
	"context"
	"fmt"
	"math"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
	"groundwork/internal/solid"
)

// LabelOptions are the rules for part numbers. The zero value of a field
// means its default.
type LabelOptions struct {
	Height float64 // of capitals, mm, default 5; half of it is tried where that has no room
	Stroke float64 // width of the engraved line, mm, default 0.8: two beads of a 0.4 mm nozzle
	Depth  float64 // mm, default 0.4
	Clear  float64 // from edges and bores, mm, default 1.5
}

func (o LabelOptions) withDefaults() LabelOptions {
	set := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	set(&o.Height, 5)
	set(&o.Stroke, 0.8)
	set(&o.Depth, 0.4)
	set(&o.Clear, 1.5)
	return o
}

// Hidden is a flat place on a member's core that is not seen when the piece
// is together: a full contact, a foot, a bare underside.
type Hidden struct {
	Member int
	Frame  geom.Frame    // world; Z out of the material
	Region geom.Polygons // in Frame's XY
}

// placeLabels finds a place for each segment's part number: on a seam's face
// if it has one, otherwise on a hidden face. Segments with no room get none.
func placeLabels(ctx context.Context, k *solid.Kernel, in Inputs, o LabelOptions) (map[string]piece.Cut, error) {
	bores := append([]joint.Bore(nil), in.Bores...)
	faces := map[string][]Hidden{}
	for _, s := range in.Seams.Seams {
		bores = append(bores, s.Bores...)
		member := in.Seams.Bodies[s.Body].Members[0]
		// The lower segment's face looks along the plane's normal; the upper one's is seen from behind.
		faces[s.Segments[0]] = append(faces[s.Segments[0]], Hidden{member, s.Frame, s.Section})
		back := geom.Frame{Origin: s.Frame.Origin, X: s.Frame.X.Neg(), Y: s.Frame.Y, Z: s.Frame.Z.Neg()}
		faces[s.Segments[1]] = append(faces[s.Segments[1]], Hidden{member, back,
			s.Section.Map(func(p geom.Vec2) geom.Vec2 { return geom.V2(-p.X, p.Y) }).Reversed()})
	}
	out := map[string]piece.Cut{}
	for _, seg := range in.Seams.Segments {
		all := faces[seg.ID]
		for _, m := range in.Seams.Bodies[seg.Body].Members {
			for _, h := range in.Faces {
				if h.Member != m {
					continue
				}
				if r := seam.Clip(h.Region, h.Frame, seg.Planes); r.Area() > 1 {
					all = append(all, Hidden{m, h.Frame, r})
				}
			}
		}
	search:
		for _, scale := range []float64{1, 0.6} {
			strokes, size, err := lettering(seg.ID, o.Height*scale)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", seg.ID, err)
			}
			for _, f := range all {
				at, turn, ok := room(f, size.Add(geom.V2(o.Stroke, o.Stroke)), o.Clear, bores)
				if !ok {
					continue
				}
				shape, err := engrave(ctx, k, f.Frame, strokes, size, at, turn, o)
				if err != nil {
					return nil, fmt.Errorf("%s: %w", seg.ID, err)
				}
				out[seg.ID] = piece.Cut{ID: seg.ID + "/label", Member: f.Member, Purpose: "label", Shape: shape}
				break search
			}
		}
	}
	return out, nil
}

// lettering is a text as paths with its lower left corner at the origin, and
// its size.
func lettering(text string, height float64) ([]draw.Path, geom.Vec2, error) {
	paths, err := draw.Lettering(draw.Text{Height: height, String: text})
	if err != nil {
		return nil, geom.Vec2{}, err
	}
	box := geom.EmptyBox2()
	for _, p := range paths {
		box = box.Union(p.Bounds())
	}
	for i, p := range paths {
		paths[i] = p.Map(func(q geom.Vec2) geom.Vec2 { return q.Sub(box.Min) }, false)
	}
	return paths, box.Size(), nil
}

// room looks for a rectangle of the given size inside a face, clear of its
// edges and of every bore that comes near it, along X or along Y; nearest to
// the middle first.
func room(f Hidden, size geom.Vec2, clear float64, bores []joint.Bore) (at geom.Vec2, turn float64, ok bool) {
	box := f.Region.Bounds()
	type disc struct {
		c geom.Vec2
		r float64
	}
	var holes []disc
	for _, b := range bores {
		for _, p := range []geom.Vec3{b.Mouth, b.Mouth.Add(b.Axis.Scale(b.Depth))} {
			l := f.Frame.Local(p)
			if math.Abs(l.Z) < b.Diameter/2+2 {
				holes = append(holes, disc{l.XY(), (b.Diameter+b.Fit)/2 + clear})
			}
		}
	}
	free := func(c, half geom.Vec2) bool {
		const n = 6
		for i := -n; i <= n; i++ {
			for j := -n; j <= n; j++ {
				if i != -n && i != n && j != -n && j != n {
					continue // the rim is enough against edges
				}
				p := c.Add(geom.V2(half.X*float64(i)/n, half.Y*float64(j)/n))
				if !f.Region.Contains(p) || f.Region.Distance(p) < clear {
					return false
				}
			}
		}
		for _, h := range holes {
			d := h.c.Sub(c)
			near := geom.V2(max(0, math.Abs(d.X)-half.X), max(0, math.Abs(d.Y)-half.Y))
			if near.Len() < h.r {
				return false
			}
		}
		// A hole of the region could lie wholly inside the rectangle.
		for _, loop := range f.Region {
			if loop.Area() < 0 {
				d := loop.Bounds().Center().Sub(c)
				if math.Abs(d.X) < half.X && math.Abs(d.Y) < half.Y {
					return false
				}
			}
		}
		return true
	}
	best := math.Inf(1)
	mid := box.Center()
	for _, t := range []float64{0, math.Pi / 2} {
		half := size.Scale(0.5)
		if t != 0 {
			half = geom.V2(half.Y, half.X)
		}
		in := box.Size().Scale(0.5).Sub(half)
		if in.X < 0 || in.Y < 0 {
			continue
		}
		steps := func(w float64) int { return int(min(12, math.Ceil(w/2))) }
		nu, nv := steps(in.X), steps(in.Y)
		for i := -nu; i <= nu; i++ {
			for j := -nv; j <= nv; j++ {
				c := mid.Add(geom.V2(in.X*frac(i, nu), in.Y*frac(j, nv)))
				if d := c.Dist(mid) + t*1e-3; d < best && free(c, half) {
					best, at, turn, ok = d, c, t, true
				}
			}
		}
	}
	return at, turn, ok
}

func frac(i, n int) float64 {
	if n == 0 {
		return 0
	}
	return float64(i) / float64(n)
}

// engrave is the solid to take away for a text centred at a point of a face.
func engrave(ctx context.Context, k *solid.Kernel, f geom.Frame, strokes []draw.Path, size, at geom.Vec2, turn float64, o LabelOptions) (solid.Shape, error) {
	const round = 0.05 // mm that the tool's round ends may stray, and the outline of all again
	var beads []geom.Polygons
	for _, s := range strokes {
		placed := s.Map(func(p geom.Vec2) geom.Vec2 { return p.Sub(size.Scale(0.5)).Rotate(turn).Add(at) }, false)
		for _, c := range placed.Capsules(o.Stroke, round) {
			beads = append(beads, geom.Polygons{c})
		}
	}
	region, err := k.Union2(ctx, beads...)
	if err != nil {
		return solid.Shape{}, err
	}
	// Two of five points go: every one of them is four facets to cut and slice.
	if region, err = k.Simplify2(ctx, region, round); err != nil {
		return solid.Shape{}, err
	}
	var loops []solid.Loop
	for _, p := range region {
		tags := make([]solid.Tag, len(p))
		for i := range tags {
			tags[i] = solid.NoTag
		}
		loops = append(loops, solid.Loop{Points: p, Tags: tags})
	}
	const over = 0.5 // beyond the face, so that no skin is left
	return solid.Extrude(loops, -o.Depth, over, solid.NoTag, solid.NoTag).At(f), nil
}
