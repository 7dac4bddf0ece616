package scene

import (
	"context"
	"fmt"
	"io"

	"groundwork/internal/core"
	"groundwork/internal/geom"
	"groundwork/internal/plan"
	"groundwork/internal/solid"
)

// Whole writes a planned piece: its segments in their places, leaves with their
// places on the sheets, hardware, and seams with their dowels.
func Whole(ctx context.Context, k *solid.Kernel, pl *plan.Plan, w io.Writer) error {
	m := newMaker(pl)
	cores, err := m.cores(ctx, k, viewChord)
	if err != nil {
		return err
	}
	segments, parts, err := m.segments(ctx, k, cores)
	if err != nil {
		return err
	}
	m.leaves(true)
	m.hardware()
	m.outlines(segments, parts)
	m.dowels(segments, parts)
	return m.write(w, Extras{})
}

// segments hangs a planned piece's segments on their bodies, made anew for the
// eye: coarser than for the printer and without part numbers. It works out how
// the piece comes apart from the members' cores, and gives the segments with the
// ways by which they part.
func (m *maker) segments(ctx context.Context, k *solid.Kernel, cores []*triangles) ([]core.Segment, []motion, error) {
	pl := m.pl
	m.apart = takeApart(m, cores, len(pl.Seams.Seams) > 0)
	made, err := core.Build(ctx, k, core.Inputs{Cores: pl.Layout.Cores, Seams: pl.Seams, Bores: pl.Joints.Bores(), Cuts: pl.Layout.Cuts}, core.Options{Chord: viewChord})
	if err != nil {
		return nil, nil, fmt.Errorf("scene: %w", err)
	}
	load := map[string]string{}
	for _, l := range pl.Printing.Loads {
		for _, it := range l.Items {
			load[pl.Printing.Prints[it.Print].Segment] = l.ID
		}
	}
	parts := m.part(m, made.Segments)
	for i, s := range made.Segments {
		b := m.bodies[s.Body]
		e := Extras{Kind: "segment", Member: pl.Piece.Members[b.Members[0]].ID, Body: b.ID, Load: load[s.ID]}
		mesh := m.g.mesh(s.ID, shaded(s.Mesh), matCore)
		m.hang(s.Body, nodeDoc{Name: s.ID, Mesh: &mesh}, e, parts[i])
	}
	return made.Segments, parts, nil
}

// below is how what lies in a seam moves: with the segment below it.
func (m *maker) below(segments []core.Segment, parts []motion) map[string]motion {
	moves := map[string]motion{}
	for i, s := range segments {
		moves[s.ID] = parts[i]
	}
	out := map[string]motion{}
	for _, s := range m.pl.Seams.Seams {
		out[s.ID] = moves[s.Segments[0]]
	}
	return out
}

// outlines adds the outlines of seams.
func (m *maker) outlines(segments []core.Segment, parts []motion) {
	below := m.below(segments, parts)
	for _, s := range m.pl.Seams.Seams {
		b := m.bodies[s.Body]
		t := &triangles{Lines: true}
		for _, loop := range thinned(s.Section, flatChord) {
			base := uint32(len(t.Points))
			for i, q := range loop {
				t.Points = append(t.Points, s.Frame.Point(geom.V3(q.X, q.Y, 0)))
				t.Index = append(t.Index, base+uint32(i), base+uint32((i+1)%len(loop)))
			}
		}
		if len(t.Points) > 0 {
			mesh := m.g.mesh(s.ID, t, matSeam)
			m.hang(s.Body, nodeDoc{Name: s.ID, Mesh: &mesh}, Extras{Kind: "seam", Member: m.pl.Piece.Members[b.Members[0]].ID, Body: b.ID}, below[s.ID])
		}
	}
}

// dowels adds the dowels of seams, which stay in the segment below.
func (m *maker) dowels(segments []core.Segment, parts []motion) {
	below := m.below(segments, parts)
	for _, s := range m.pl.Seams.Seams {
		e := Extras{Kind: "dowel", Member: m.pl.Piece.Members[m.bodies[s.Body].Members[0]].ID, Seam: s.ID}
		for i, d := range s.Dowels {
			m.place(s.Body, fmt.Sprintf("%s/dowel-%d", s.ID, i+1), e,
				fmt.Sprint("dowel ", d.Diameter, d.Length), func() *triangles { return dowel(d.Diameter, d.Length) }, matDowel, geom.FrameFromZ(d.Center, d.Axis), below[s.ID])
		}
	}
}
