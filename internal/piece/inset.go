package piece

import (
	"errors"
	"fmt"
	"slices"

	"groundwork/internal/geom"
)

// insetTolerance is how far, in mm, the cubics that stand for the parallel of
// an ellipse or a cubic may stray from it. It is far below anything a printer,
// a laser or a rule can show, and lets a member be moved many times.
const insetTolerance = 1e-6

// Inset is the member with every surface i moved inward along its normal by
// d[i] mm; negative is outward. d has an entry for each of Surfaces, in their
// order. Corners stay sharp: neighbours are carried on or cut back to where
// they meet. The result has the same surfaces with the same tags in the same
// places of the world, so moving the back moves the member's origin.
//
// It turns finished sizes into core sizes (the veneer's thickness on surfaces
// that show) and a core into the neutral surface of its veneer (minus half the
// thickness). The error names the surface that cannot be moved.
func (m Member) Inset(d []float64) (Member, error) {
	fail := func(err error) (Member, error) { return Member{}, fmt.Errorf("insetting %s: %w", m.ID, err) }
	if want := m.surfaceCount(); len(d) != want {
		return fail(fmt.Errorf("%d distances for %d surfaces", len(d), want))
	}
	out := m
	out.EndCuts = slices.Clone(m.EndCuts)
	first := len(d) - len(m.EndCuts) // tag of the first end cut
	for i := range out.EndCuts {
		out.EndCuts[i].Plane.D -= d[first+i]
	}
	switch {
	case m.Board != nil:
		b := &Board{Thickness: m.Board.Thickness - d[0] - d[1]}
		if b.Thickness <= 0 {
			return fail(fmt.Errorf("back and face: a thickness of %g mm cannot lose %g mm", m.Board.Thickness, d[0]+d[1]))
		}
		tag := 2
		for i, o := range append([]Outline{m.Board.Outline}, m.Board.Cutouts...) {
			prefix := "edge"
			if i > 0 {
				prefix = fmt.Sprintf("cutout-%d-edge", i)
			}
			moved, err := o.inset(d[tag:tag+o.Runs()], prefix)
			if err != nil {
				return fail(err)
			}
			tag += o.Runs()
			if i == 0 {
				b.Outline = moved
			} else {
				b.Cutouts = append(b.Cutouts, moved)
			}
		}
		if err := b.clear(); err != nil {
			return fail(err)
		}
		out.Board = b
		out.Place.Origin = m.Place.Origin.Add(m.Place.Z.Scale(d[0]))
		for i := range out.EndCuts {
			pl := &out.EndCuts[i].Plane
			pl.D -= pl.Normal.Z * d[0]
		}
	case m.Turning != nil:
		t, err := m.Turning.inset(d[:first])
		if err != nil {
			return fail(err)
		}
		out.Turning = &t
	case m.Solid != nil:
		s, err := m.Solid.inset(d)
		if err != nil {
			return fail(err)
		}
		out.Solid = s
	}
	return out, nil
}

// surfaceCount is the length of Surfaces.
func (m Member) surfaceCount() int {
	n := len(m.EndCuts)
	switch {
	case m.Board != nil:
		n += 2 + m.Board.Outline.Runs()
		for _, c := range m.Board.Cutouts {
			n += c.Runs()
		}
	case m.Turning != nil:
		n += m.Turning.Runs() + 2
	case m.Solid != nil:
		n += len(m.Solid.Shape.Faces)
	}
	return n
}

// inset is the outline with edge k moved by d[k] towards the material.
func (o Outline) inset(d []float64, prefix string) (Outline, error) {
	if still(d) {
		return o, nil
	}
	side := make([]float64, len(o.Run))
	for i, k := range o.Run {
		side[i] = -d[k]
	}
	q, from, err := o.Path.Offset(side, insetTolerance)
	if err != nil {
		var off *geom.OffsetError
		if errors.As(err, &off) {
			return Outline{}, fmt.Errorf("%s-%d: %w", prefix, o.Run[off.Seg]+1, err)
		}
		return Outline{}, err
	}
	moved := Outline{Path: q, Run: make([]int, len(from))}
	for k, i := range from {
		moved.Run[k] = o.Run[i]
	}
	return moved, nil
}

func still(d []float64) bool {
	return !slices.ContainsFunc(d, func(x float64) bool { return x != 0 })
}

// clear reports loops of a board that cross or touch each other or themselves,
// or have turned over.
func (b *Board) clear() error {
	var ps geom.Polygons
	for i, p := range b.paths() {
		poly := p.Polygon(0.02)
		if a := poly.Area(); (a > 0) != (i == 0) || a == 0 {
			if i == 0 {
				return errors.New("nothing is left of the outline")
			}
			return fmt.Errorf("nothing is left of cut-out %d", i)
		}
		ps = append(ps, poly)
	}
	if at, bad := ps.Crossing(); bad {
		return fmt.Errorf("edges run into each other at (%.3f, %.3f)", at.X, at.Y)
	}
	return nil
}

// inset is the turning with its sides, low end and high end moved inward.
func (t Turning) inset(d []float64) (Turning, error) {
	if still(d) {
		return t, nil
	}
	low, high := t.ends()
	runs := t.Runs()
	axis := geom.Path{Closed: true, Segs: append(slices.Clone(t.Profile.Segs),
		geom.LineTo(high, geom.V2(0, high.Y)),
		geom.LineTo(geom.V2(0, high.Y), geom.V2(0, low.Y)),
		geom.LineTo(geom.V2(0, low.Y), low))}
	n := len(t.Profile.Segs)
	side := make([]float64, n+3)
	for i, k := range t.Run {
		side[i] = -d[k]
	}
	side[n], side[n+2] = -d[runs+1], -d[runs]
	q, from, err := axis.Offset(side, insetTolerance)
	if err != nil {
		var off *geom.OffsetError
		if errors.As(err, &off) {
			name := "axis"
			switch {
			case off.Seg < n:
				name = fmt.Sprintf("side-%d", t.Run[off.Seg]+1)
			case off.Seg == n:
				name = "high-end"
			case off.Seg == n+2:
				name = "low-end"
			}
			return Turning{}, fmt.Errorf("%s: %w", name, err)
		}
		return Turning{}, err
	}
	var moved Turning
	for k, i := range from {
		if i < n {
			moved.Profile.Segs = append(moved.Profile.Segs, q.Segs[k])
			moved.Run = append(moved.Run, t.Run[i])
		}
	}
	if err := moved.check(); err != nil {
		return Turning{}, err
	}
	return moved, nil
}

// check reports a profile that falls or reaches the axis.
func (t Turning) check() error {
	was := 0.0
	for i, q := range t.Profile.Flatten(0.02) {
		if q.P.X <= 0 {
			return fmt.Errorf("side-%d: the profile reaches the axis at z = %.3f", t.Run[q.Seg]+1, q.P.Y)
		}
		if i > 0 && q.P.Y < was-touch {
			return fmt.Errorf("side-%d: the profile falls at z = %.3f", t.Run[q.Seg]+1, was)
		}
		was = q.P.Y
	}
	low, high := t.ends()
	if high.Y-low.Y <= touch {
		return errors.New("the profile has no height")
	}
	return nil
}
