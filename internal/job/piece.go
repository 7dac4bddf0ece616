package job

import (
	"bytes"
	"context"
	"fmt"

	"groundwork/internal/geom"
	"groundwork/internal/mesh"
	"groundwork/internal/piece"
	"groundwork/internal/solid"
)

// pieceFile is the piece as it was described, before anything is cut or clad:
// every member in its place, to be looked at or taken on elsewhere. Copies of
// one member share a body. The whole is moved into the positive octant, as 3MF
// demands, but no higher: what hangs on a wall keeps its height.
func pieceFile(ctx context.Context, k *solid.Kernel, p *piece.Piece) ([]byte, error) {
	d := mesh.Document{Metadata: []mesh.Metadata{
		{Name: "Title", Value: p.Title},
		{Name: "Application", Value: "Groundwork"},
	}}
	known := map[[32]byte]int{}
	for _, m := range p.Members {
		s, err := m.Body(0)
		if err != nil {
			return nil, err
		}
		body, ok := known[s.Hash()]
		if !ok {
			made, err := k.Export(ctx, s, geom.World())
			if err != nil {
				return nil, fmt.Errorf("%s: %w", m.ID, err)
			}
			body = len(d.Bodies)
			known[s.Hash()] = body
			d.Bodies = append(d.Bodies, mesh.Body{Name: m.Name, PartNumber: m.Name, Vertices: made.Vertices, Triangles: made.Triangles})
		}
		d.Items = append(d.Items, mesh.Item{Body: body, Frame: m.Place, PartNumber: m.ID})
	}
	low := d.Bounds().Min
	low.Z = min(0, low.Z)
	for i := range d.Items {
		at := &d.Items[i].Frame.Origin
		*at = at.Sub(low)
	}
	var b bytes.Buffer
	_, err := d.WriteTo(&b)
	return b.Bytes(), err
}
