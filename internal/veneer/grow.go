package veneer

import (
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// grow moves every edge of a region outward by its own distance: by[i][j] mm
// for the edge of loop i that starts at point j. The corner between two edges
// that both move is mitred; a corner sharper than the mitre limit of 4 is cut
// off no nearer than its distance. Negative distances move an edge inward; its
// neighbours must be short of any hollow within that distance.
func grow(r *solid.Regions, ps geom.Polygons, by [][]float64) geom.Polygons {
	parts := []geom.Polygons{ps}
	var lost []geom.Polygons
	most := 0.0
	for i := range ps {
		for j := range ps[i] {
			most = max(most, by[i][j])
		}
	}
	for i, p := range ps {
		n := len(p)
		for j := range p {
			a, b, d := p[j], p[(j+1)%n], by[i][j]
			if a == b {
				continue
			}
			out := b.Sub(a).Unit().Right()
			switch {
			case d > 0:
				parts = append(parts, geom.Polygons{{a, a.Add(out.Scale(d)), b.Add(out.Scale(d)), b}})
			case d < 0:
				along := b.Sub(a).Unit().Scale(most + 1) // beyond what the neighbours gain
				f, t := a.Sub(along), b.Add(along)
				lost = append(lost, geom.Polygons{{f.Add(out.Scale(d)), f.Add(out.Scale(most + 1)), t.Add(out.Scale(most + 1)), t.Add(out.Scale(d))}})
			}
			// The corner at b.
			c := p[(j+2)%n]
			e := by[i][(j+1)%n]
			if d <= 0 || e <= 0 || b == c {
				continue
			}
			if turn := b.Sub(a).Unit().Cross(c.Sub(b).Unit()); turn <= 0 && b.Sub(a).Dot(c.Sub(b)) > 0 || turn < 0 {
				continue
			}
			parts = append(parts, geom.Polygons{corner(b, out, c.Sub(b).Unit().Right(), d, e)})
		}
	}
	if len(parts) == 1 && len(lost) == 0 {
		return ps
	}
	g := r.Union(parts...)
	if len(lost) > 0 {
		g = r.Subtract(g, lost...)
	}
	return g
}

// corner fills the wedge at q between two edges with the outward normals n and
// m that move by d and e.
func corner(q, n, m geom.Vec2, d, e float64) geom.Polygon {
	const limit = 4
	sin := n.Cross(m)
	if math.Abs(sin) < 0.02 && n.Dot(m) > 0 { // almost in line: no mitre between unequal distances
		d = min(d, e)
		e = d
	}
	if d == e {
		if half := n.Add(m); half.Len()*limit > 2 {
			return geom.Polygon{q, q.Add(n.Scale(d)), q.Add(half.Scale(2 * d / half.Dot(half))), q.Add(m.Scale(e))}
		}
	} else if math.Abs(sin) > 0.02 {
		// x·n = d, x·m = e
		x := geom.V2((d*m.Y-e*n.Y)/sin, (e*n.X-d*m.X)/sin)
		if x.Len() <= limit*max(d, e) {
			return geom.Polygon{q, q.Add(n.Scale(d)), q.Add(x), q.Add(m.Scale(e))}
		}
	}
	far := max(d, e) // cut off square, as far out as the farther edge
	return geom.Polygon{q, q.Add(n.Scale(d)), q.Add(n.Scale(d)).Add(n.Left().Scale(far)), q.Add(m.Scale(e)).Sub(m.Left().Scale(far)), q.Add(m.Scale(e))}
}

// evenly is the same distance for every edge.
func evenly(ps geom.Polygons, d float64) [][]float64 {
	return perEdge(ps, func(a, b geom.Vec2) float64 { return d })
}

func perEdge(ps geom.Polygons, f func(a, b geom.Vec2) float64) [][]float64 {
	out := make([][]float64, len(ps))
	for i, p := range ps {
		out[i] = make([]float64, len(p))
		for j := range p {
			out[i][j] = f(p[j], p[(j+1)%len(p)])
		}
	}
	return out
}

// disc is a circle as a loop with its corners on the circle, counter-clockwise.
func disc(c geom.Vec2, r, chord float64) geom.Polygon {
	n := solid.Facets(r, chord, false)
	out := make(geom.Polygon, n)
	for i := range out {
		sn, cs := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		out[i] = c.Add(geom.V2(r*cs, r*sn))
	}
	return out
}

// strip is what of a region lies between x = a and x = b.
func strip(ps geom.Polygons, a, b float64) geom.Polygons {
	return ps.ClipHalfPlane(geom.V2(1, 0), b).ClipHalfPlane(geom.V2(-1, 0), -a)
}
