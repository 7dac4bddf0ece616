package printing

import (
	"math"

	"groundwork/internal/geom"
)

// bend is an edge of a mesh at which its surface turns.
type bend struct {
	along geom.Vec3 // from end to end, mm
	a, b  int32     // triangles on its sides
}

// turned is the cosine of the angle, 1 degree, from which an edge counts as a bend.
const turned = 0.99985

// bendsOf lists them.
func (b *body) bendsOf() []bend {
	var out []bend
	for i, t := range b.triangles {
		for j, o := range b.beside[i] {
			if int(o) > i && b.normals[i].Dot(b.normals[o]) < turned {
				out = append(out, bend{b.points[t[(j+1)%3]].Sub(b.points[t[j]]), int32(i), o})
			}
		}
	}
	return out
}

// sums are integrals over the height z of what a pose's sections have, taken from
// the surface without cutting it.
//
// The length of a section is found by the coarea formula, ∫ P dz = Σ A √(1-n²) over
// the facets' areas A and the vertical parts n of their normals; corners and
// turning cross a section at the mesh's edges, so that they sum up as edges'
// heights.
type sums struct {
	perimeter float64 // mm²
	corners   float64 // mm times turns of more than corner
	turning   float64 // mm times radians; 2π for each loop that bends one way only
	level     float64 // mm² seen from above and below that contours do not cover
	strips    float64 // mm: the parts of level over the lines' length in strips as narrow as a slope's covers
}

// sums of the pose with up, for shells walls wide (mm) and covers thick (mm).
func (b *body) sums(up geom.Vec3, walls, covers float64) (s sums) {
	for i, n := range b.normals {
		c := math.Abs(n.Dot(up))
		side := math.Sqrt(max(0, 1-c*c))
		s.perimeter += b.areas[i] * side
		// Over the thickness of the covers a slope moves this far; contours cover
		// what is nearer than their width.
		if shift := covers * c; shift > walls*side {
			seen := b.areas[i] * c * (1 - walls*side/shift)
			s.level += seen
			s.strips += seen * side / (math.Sqrt2 * (shift - walls*side)) // lines lie at 45 degrees
		}
	}
	for _, e := range b.bends {
		dz := math.Abs(e.along.Dot(up))
		if dz < 1e-6 {
			continue
		}
		n, m := b.normals[e.a], b.normals[e.b]
		p, q := n.Sub(up.Scale(n.Dot(up))), m.Sub(up.Scale(m.Dot(up)))
		turn := math.Atan2(math.Abs(p.Cross(q).Dot(up)), p.Dot(q))
		s.turning += dz * turn
		if turn >= corner {
			s.corners += dz
		}
	}
	return s
}

// quick is about how long, s, a pose takes by itself without heat-up and what
// plastic it needs, mm³: the estimator's sums for one layer with the mean area,
// perimeter, corners and loops of all, times the number of layers. It costs
// microseconds, so that every pose can be asked; docs/printing.md has its error.
func (b *body) quick(m machine, up geom.Vec3, height, contact float64) (seconds, plastic float64) {
	bd := m.bead(1)
	s, n := bd.spacing(), float64(m.Contours)
	walls := 0.0
	if n > 0 {
		walls = bd.width/2 + (n-0.5)*s
	}
	covers := float64(m.CoverLayers) * m.Layer
	t := b.sums(up, walls, covers)
	layers := float64(m.layers(height))
	area, perimeter := b.volume/height, t.perimeter/height
	corners, loops := t.corners/height, max(1, t.turning/height/(2*math.Pi))
	core, rim := within2(area, perimeter, walls)

	var time, bead float64
	if n > 0 {
		all := max(0, (area-(bd.width-s)/2*perimeter-core)/s)
		outer := min(all, max(0, perimeter-4*bd.width))
		inner := all - outer
		time += sides(outer, max(1, corners), m.speed(m.OuterSpeed, bd, false), m.Acceleration)
		time += sides(inner, max(1, corners)*max(1, n-1), m.speed(m.InnerSpeed, bd, false), m.Acceleration)
		time += loops*(m.Retract+(n-1)*moveTime(s, m.TravelSpeed, m.Acceleration)) +
			(loops-1)*moveTime(math.Sqrt(area)/2, m.TravelSpeed, m.Acceleration)
		bead += all
	}
	if core > 0 {
		share := min(1, t.level*covers/b.volume)
		chord := math.Pi * core / rim // the mean one (Crofton)
		if l := share * core / s; l > 0 {
			line := 1 / (1/chord + t.strips/t.level)
			time += l / line * (moveTime(line, m.speed(m.CoverSpeed, bd, false), m.Acceleration) + moveTime(s, m.TravelSpeed, m.Acceleration))
			bead += l
		}
		if l := (1 - share) * m.Fill * core / s; l > 0 {
			v := m.speed(m.FillSpeed, bd, false)
			if m.FillPattern == "hexagons" {
				side := 2 / math.Sqrt(3) * s / m.Fill
				time += l / side * moveTime(side, v, m.Acceleration)
			} else {
				families := 3.0
				if m.FillPattern == "grid" {
					families = 2
				}
				time += l / chord * (moveTime(chord, v, m.Acceleration) + moveTime(families*s/m.Fill, m.TravelSpeed, m.Acceleration))
			}
			bead += l
		}
		time += m.Retract + moveTime(math.Sqrt(area/2), m.TravelSpeed, m.Acceleration)
	}
	seconds = layers * (max(m.MinLayer, time) + m.LayerChange)
	if v := m.speed(m.InnerSpeed, bd, false); m.FirstSpeed < v {
		seconds += contact / s * (1/m.FirstSpeed - 1/v)
	}
	return seconds, layers * bead * bd.area()
}

// sides is the time of a length in so many straight moves.
func sides(length, moves, v, a float64) float64 { return moves * moveTime(length/moves, v, a) }

// within2 is the area and perimeter of what is left of a region shrunk by depth,
// if it is a rectangle; a region rounder than a square is taken to be a circle,
// for which, as for the square, A (1 - Pd/2A)² is exact.
func within2(area, perimeter, depth float64) (core, rim float64) {
	half := perimeter / 2
	if root := half*half - 4*area; root > 0 {
		long, short := (half+math.Sqrt(root))/2-2*depth, (half-math.Sqrt(root))/2-2*depth
		if short <= 0 {
			return 0, 0
		}
		return long * short, 2 * (long + short)
	}
	k := max(0, 1-perimeter*depth/(2*area))
	return area * k * k, perimeter * k
}
