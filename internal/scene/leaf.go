package scene

import (
	"groundwork/internal/geom"
	"groundwork/internal/plan"
	"groundwork/internal/veneer"
)

// viewChord is how far, in mm, what is looked at may stray from the true curve.
const viewChord = 0.2

// flatChord is the same for outlines of flat things, where it costs little.
const flatChord = 0.05

// laid is a leaf as it lies on the piece, height mm above the core, as one
// sheet seen from its show side. Place is the leaf's own coordinates.
func laid(on *veneer.Laid, p veneer.Pattern, height func(q geom.Vec2) float64, breaks []float64) *triangles {
	size := p.Net.Bounds().Size()
	parts := []geom.Polygons{thinned(p.Net, min(flatChord, 0.002*min(size.X, size.Y)))} // narrow leaves keep their area, too
	for _, x := range breaks {
		last := parts[len(parts)-1]
		parts[len(parts)-1] = last.ClipHalfPlane(geom.V2(1, 0), x)
		parts = append(parts, last.ClipHalfPlane(geom.V2(-1, 0), -x))
	}
	out := &triangles{}
	at := map[geom.Vec2]uint32{}
	for _, part := range parts {
		for _, facet := range on.Facets(part, viewChord) {
			points, tris := fill(facet)
			index := make([]uint32, len(points))
			for i, q := range points {
				n, ok := at[q]
				if !ok {
					n = uint32(len(out.Points))
					at[q] = n
					p, normal := on.At(q)
					out.Points = append(out.Points, p.Add(normal.Scale(height(q))))
					out.Normals = append(out.Normals, normal)
					out.Place = append(out.Place, q)
				}
				index[i] = n
			}
			for _, t := range tris {
				out.Index = append(out.Index, index[t[0]], index[t[1]], index[t[2]])
			}
		}
	}
	return out
}

// leaf is a pattern's leaf with its show side where it is in the finished
// piece: a stack above the core, and above the band under it where it laps. Its
// border goes down to what it lies on.
func leaf(pl *plan.Plan, on *veneer.Laid, p veneer.Pattern) *triangles {
	stack := pl.Layout.Coverings[p.Member][p.Surface].Stack
	height := func(geom.Vec2) float64 { return stack }
	var breaks []float64
	if lap, ok := lapOf(pl.Layout, p); ok {
		proud := stack
		if lap.Relief { // lies flush; a hair, so that it is seen to lie above
			proud = 0.1
		}
		box, way, end := p.Net.Bounds(), 1.0, p.Net.Bounds().Min.X
		var mean float64
		for _, q := range p.Pins {
			mean += q.X / float64(len(p.Pins))
		}
		if mean > box.Center().X {
			way, end = -1, box.Max.X
		}
		ramp := max(lap.Feather, 1)
		from := end + way*lap.Length
		breaks = []float64{min(from, from+way*ramp), max(from, from+way*ramp)}
		height = func(q geom.Vec2) float64 {
			return stack + proud*max(0, min(1, 1-way*(q.X-from)/ramp))
		}
	}
	t := laid(on, p, height, breaks)
	t.rim(stack)
	return t
}

// rim adds the thickness of a leaf all along its border. The rim takes no room
// in the flat: its triangles have no area there.
func (t *triangles) rim(thick float64) {
	used := map[[2]uint32]bool{}
	for i := 0; i < len(t.Index); i += 3 {
		for k := range 3 {
			used[[2]uint32{t.Index[i+k], t.Index[i+(k+1)%3]}] = true
		}
	}
	index := t.Index
	for i := 0; i < len(index); i += 3 {
		for k := range 3 {
			a, b := index[i+k], index[i+(k+1)%3]
			if used[[2]uint32{b, a}] || t.Points[a].Dist(t.Points[b]) < 1e-6 {
				continue
			}
			out := t.Points[b].Sub(t.Points[a]).Cross(t.Normals[a]).Unit()
			base := uint32(len(t.Points))
			for _, v := range []uint32{a, b} {
				t.Points = append(t.Points, t.Points[v], t.Points[v].Sub(t.Normals[v].Scale(thick)))
				t.Normals = append(t.Normals, out, out)
				t.Place = append(t.Place, t.Place[v], t.Place[v])
			}
			t.Index = append(t.Index, base, base+1, base+2, base+2, base+1, base+3)
		}
	}
}

// lapOf is the lap whose fingers a pattern carries.
func lapOf(l *veneer.Layout, p veneer.Pattern) (veneer.Lap, bool) {
	for _, lap := range l.Laps {
		if lap.ID == p.Lap && p.Lap != "" && len(p.Pins) > 0 {
			return lap, true
		}
	}
	return veneer.Lap{}, false
}
