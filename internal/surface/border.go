package surface

import "groundwork/internal/geom"

// Rim is a closed border of a face, with the face on its left seen from
// outside, drawn along the true curves in which the face meets its neighbours.
type Rim struct {
	Points []geom.Vec3
	Middle []geom.Vec3 // on the curve, between a point and the next: a side's curve is nearly the parabola through the three
	Across []int32     // face beyond the side from a point to the next
}

// Border is the border of a face: points on the true curves in which it meets
// its neighbours, so near one another that no side strays from them by more
// than chord mm. Where either face has no geometry of its own the curve is the
// mesh's own. The face is on the left; the longest loop comes first.
func (s *Solid) Border(face int, chord float64) [][]geom.Vec3 {
	r := s.around()
	var out [][]geom.Vec3
	for _, rim := range s.rims(face, chord, &r, nil) {
		out = append(out, rim.Points)
	}
	return out
}

// Rims are the borders of all faces, as Border draws them, but for those of
// faces that are plain, which keep the mesh's. plain may be nil.
func (s *Solid) Rims(chord float64, plain []bool) [][]Rim {
	r := s.around()
	out := make([][]Rim, len(s.Faces))
	for i := range s.Faces {
		out[i] = s.rims(i, chord, &r, plain)
	}
	return out
}

func (s *Solid) rims(face int, chord float64, r *around, plain []bool) []Rim {
	var out []Rim
	for _, l := range s.Loops(face) {
		var rim Rim
		n := len(l.Vertices)
		points := make([]geom.Vec3, n)
		for i, v := range l.Vertices {
			points[i] = s.settled(v, r, plain)
		}
		for i, a := range points {
			b := points[(i+1)%n]
			g := l.Across[i]
			// The lower face first, so that both sides of a border get the same
			// points.
			sheets := []sheet{{face: min(int32(face), g)}, {face: max(int32(face), g)}}
			curved := true
			for k := range sheets {
				if f := &s.Faces[sheets[k].face]; f.Exact() && !isPlain(plain, sheets[k].face) {
					sheets[k].exact = f
				} else {
					curved = false
				}
			}
			flat := curved && sheets[0].exact.Kind == Plane && sheets[1].exact.Kind == Plane
			add := func(p, middle geom.Vec3) {
				rim.Points, rim.Middle, rim.Across = append(rim.Points, p), append(rim.Middle, middle), append(rim.Across, g)
			}
			if !curved || flat {
				add(a, a.Lerp(b, 0.5))
				continue
			}
			trace(a, b, sheets, chord, 12, add)
		}
		out = append(out, rim)
	}
	return out
}

func isPlain(plain []bool, face int32) bool { return plain != nil && plain[face] }

// settled is a vertex put on all its faces, from which it may stray where they
// were cut as meshes.
func (s *Solid) settled(v int32, r *around, plain []bool) geom.Vec3 {
	home := s.Vertices[v]
	var sheets []sheet
	reach := 1e-3
	for _, w := range r.sheets(s, v, s.Faces, nil) {
		if w.exact != nil && !isPlain(plain, w.face) {
			sheets = append(sheets, w)
			reach = max(reach, 4*(w.exact.Sag+w.exact.Residual))
		}
	}
	if len(sheets) == 0 {
		return home
	}
	p, off, worst := meet(home, sheets)
	if off > onSurface+sheets[worst].exact.Residual || !(p.Dist(home) <= reach) {
		return home
	}
	return p
}

// trace hands the points of a curve from a up to b, b left out, to add.
func trace(a, b geom.Vec3, sheets []sheet, chord float64, depth int, add func(p, middle geom.Vec3)) {
	straight := a.Add(b).Scale(0.5) // the same from either end
	m, off, _ := meet(straight, sheets)
	// A point far off belongs to another branch of the curve: an arc of a third of
	// a circle rises by 0.29 of its chord.
	if off > onSurface || !(m.Dist(straight) <= 0.3*a.Dist(b)) {
		add(a, straight)
		return
	}
	if depth == 0 || m.Dist(straight) <= chord {
		add(a, m)
		return
	}
	trace(a, m, sheets, chord, depth-1, add)
	trace(m, b, sheets, chord, depth-1, add)
}
