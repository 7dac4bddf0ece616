package kit

import (
	"crypto/sha256"
	"fmt"
	"math"
)

// Revision tells kits apart whose parts do not fit one another: it changes with
// every part that is printed, cut or bought, and with nothing else. It is made
// of the parts in whole micrometres, so that it is the same on every machine
// that works out the same parts.
func Revision(in Inputs) string {
	h := sha256.New()
	um := func(v float64) int64 { return int64(math.Round(v * 1000)) }
	fmt.Fprintf(h, "piece %q\n", in.Piece.Name)
	for _, m := range in.Piece.Members {
		f := m.Place
		fmt.Fprintf(h, "member %q %d %d %d\n", m.ID, um(f.Origin.X), um(f.Origin.Y), um(f.Origin.Z))
	}
	for _, s := range in.Cores.Segments {
		b := s.Bounds
		// A tenth of a cubic millimetre: less than any bore or cut takes.
		fmt.Fprintf(h, "segment %q %d %d %d %d %d %d %d\n", s.ID, um(b.Min.X), um(b.Min.Y), um(b.Min.Z), um(b.Max.X), um(b.Max.Y), um(b.Max.Z), int64(math.Round(s.Volume*10)))
	}
	for _, b := range in.Joints.Bores() {
		fmt.Fprintf(h, "bore %q %d %d %d %d %d\n", b.ID, um(b.Mouth.X), um(b.Mouth.Y), um(b.Mouth.Z), um(b.Diameter), um(b.Depth))
	}
	for _, s := range in.Seams.Seams {
		for _, d := range s.Dowels {
			fmt.Fprintf(h, "seam %q %d %d %d %d %d\n", s.ID, um(d.Center.X), um(d.Center.Y), um(d.Center.Z), um(d.Diameter), um(d.Length))
		}
	}
	for _, p := range in.Patterns {
		fmt.Fprintf(h, "pattern %q %q %d\n", p.ID, p.Veneer, int64(math.Round(p.Grain*1e6)))
		for _, loop := range p.Gross {
			for _, q := range loop {
				fmt.Fprintf(h, "%d %d\n", um(q.X), um(q.Y))
			}
		}
	}
	for _, l := range in.Bill.Lines {
		if l.Section == "hardware" {
			fmt.Fprintf(h, "hardware %q %g\n", l.Item, l.Quantity)
		}
	}
	s := h.Sum(nil)
	return fmt.Sprintf("%X-%X", s[:2], s[2:4])
}
