package veneer

import (
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// grow moves every edge of a region outward by its own distance: by[i][j] mm
// for the edge of loop i that starts at point j. Where two edges meet in an
// outward corner both are carried on to where they meet again, even if only
// one of them moves; a corner whose mitre would reach farther than 4 times the
// distance is cut off square at twice the distance. Negative distances move an edge inward.
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
		if n < 3 {
			continue
		}
		// Where the moved edges begin and end.
		starts, ends := make(geom.Polygon, n), make(geom.Polygon, n)
		for j := range p {
			k := (j + 1) % n // the corner after edge j
			d, e := max(0, by[i][j]), max(0, by[i][k])
			a, b := p[k].Sub(p[j]).Unit(), p[(k+1)%n].Sub(p[k]).Unit()
			var cap geom.Polygon
			ends[j], starts[k], cap = corner(p[k], a, b, d, e)
			if cap.Area() > 0 { // else the two sides overlap already
				parts = append(parts, geom.Polygons{cap})
			}
		}
		for j := range p {
			a, b, d := p[j], p[(j+1)%n], by[i][j]
			along := b.Sub(a).Unit()
			out := along.Right()
			switch {
			case d > 0:
				s, e := starts[j], ends[j]
				if along.Dot(e.Sub(s)) <= 0 { // an edge too short for its corners
					s, e = a.Add(out.Scale(d)), b.Add(out.Scale(d))
				}
				parts = append(parts, geom.Polygons{{a, s, e, b}})
			case d < 0:
				// Beyond what the neighbours gain; between edges that both lose, only
				// as far as the wedge between them, or a hollow curve would be cut
				// away by its tangents.
				reach := func(k int, dir geom.Vec2) float64 {
					if by[i][k] > 0 {
						return most + 1
					}
					half := along.Dot(dir)
					return min(most+1, -d*math.Sqrt(max(0, 1-half)/max(1e-9, 1+half))+1e-6) // |d| tan(turn/2)
				}
				l, m := (j+n-1)%n, (j+1)%n
				f := a.Sub(along.Scale(reach(l, a.Sub(p[l]).Unit())))
				t := b.Add(along.Scale(reach(m, p[(m+1)%n].Sub(b).Unit())))
				far := out.Scale(most + 1)
				lost = append(lost, geom.Polygons{{f.Add(out.Scale(d)), f.Add(far), t.Add(far), t.Add(out.Scale(d))}})
			}
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

// corner says where the edge that arrives at q along a and moves by d ends,
// and where the one that leaves along b and moves by e begins. Where the
// corner is too sharp for that, cap closes the gap between them.
func corner(q, a, b geom.Vec2, d, e float64) (end, start geom.Vec2, cap geom.Polygon) {
	const sharp = -0.875 // cosine of the turning whose mitre is 4 times the distance
	n, m := a.Right(), b.Right()
	end, start = q.Add(n.Scale(d)), q.Add(m.Scale(e))
	sin, cos := a.Cross(b), a.Dot(b)
	switch {
	case sin < 0 || d == 0 && e == 0: // a hollow: the two overlap
		return end, start, nil
	case cos < sharp:
		far := 2 * max(d, e)
		end, start = end.Add(a.Scale(far)), start.Sub(b.Scale(far))
		return end, start, geom.Polygon{q, end, start}
	case math.Abs(d-e) < 1e-6: // alike but for rounding
		half := n.Add(m)
		x := q.Add(half.Scale(2 * max(d, e) / half.Dot(half)))
		return x, x, nil
	case sin > 0.02: // x·n = d, x·m = e
		x := geom.V2((d*m.Y-e*n.Y)/sin, (e*n.X-d*m.X)/sin)
		if x.Len() <= 2*max(d, e) {
			return q.Add(x), q.Add(x), nil
		}
	}
	return end, start, geom.Polygon{q, end, start} // almost in line: a step
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
