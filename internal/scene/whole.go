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
// places on the sheets, hardware, and seams with their dowels. Segments are made
// anew for the eye: coarser than for the printer and without part numbers.
func Whole(ctx context.Context, k *solid.Kernel, pl *plan.Plan, w io.Writer) error {
	m := newMaker(pl)
	cores, err := m.cores(ctx, k, viewChord)
	if err != nil {
		return err
	}
	m.apart = takeApart(m, cores, len(pl.Seams.Seams) > 0)
	made, err := core.Build(ctx, k, core.Inputs{Cores: pl.Layout.Cores, Seams: pl.Seams, Bores: pl.Joints.Bores(), Cuts: pl.Layout.Cuts}, core.Options{Chord: viewChord})
	if err != nil {
		return fmt.Errorf("scene: %w", err)
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
	m.leaves(true)
	m.hardware()
	m.seams(made.Segments, parts)
	return m.write(w, Extras{})
}

// seams adds the outlines of seams, and their dowels, which stay in the segment
// below.
func (m *maker) seams(segments []core.Segment, parts []motion) {
	moves := map[string]motion{}
	for i, s := range segments {
		moves[s.ID] = parts[i]
	}
	for _, s := range m.pl.Seams.Seams {
		b := m.bodies[s.Body]
		below := moves[s.Segments[0]]
		e := Extras{Kind: "seam", Member: m.pl.Piece.Members[b.Members[0]].ID, Body: b.ID}
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
			m.hang(s.Body, nodeDoc{Name: s.ID, Mesh: &mesh}, e, below)
		}
		for i, d := range s.Dowels {
			e := Extras{Kind: "dowel", Member: e.Member, Seam: s.ID}
			m.place(s.Body, fmt.Sprintf("%s/dowel-%d", s.ID, i+1), e,
				fmt.Sprint("dowel ", d.Diameter, d.Length), func() *triangles { return dowel(d.Diameter, d.Length) }, matDowel, geom.FrameFromZ(d.Center, d.Axis), below)
		}
	}
}
