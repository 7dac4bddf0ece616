package intake

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/surface"
)

// same is how near, in mm, vertices of alike solids come to lie.
const same = 0.01

// alike finds a movement that carries solid a onto b, vertex for vertex. Of
// several, as symmetry allows, it is the one that turns least. A mirror image
// is not alike.
func alike(a, b *surface.Solid) (geom.Frame, bool) {
	if len(a.Vertices) != len(b.Vertices) || len(a.Triangles) != len(b.Triangles) || len(a.Faces) != len(b.Faces) {
		return geom.Frame{}, false
	}
	near := func(x, y float64) bool { return math.Abs(x-y) <= 1e-3*max(math.Abs(x), math.Abs(y)) }
	if !near(a.Volume(), b.Volume()) || !near(a.Area(), b.Area()) {
		return geom.Frame{}, false
	}
	ca, cb := mean(a.Vertices), mean(b.Vertices)
	// Two vertices of a that span a plane with its middle: the farthest from
	// the middle, and the one farthest from the line through both.
	first := farthest(a.Vertices, func(p geom.Vec3) float64 { return p.Dist(ca) })
	axis := first.Sub(ca)
	second := farthest(a.Vertices, func(p geom.Vec3) float64 { return axis.Cross(p.Sub(ca)).Len() })
	if axis.Cross(second.Sub(ca)).Len() < 1e-6*axis.Dot(axis) {
		return geom.Frame{}, false
	}
	from := geom.FrameFromXZ(ca, axis, axis.Cross(second.Sub(ca)))
	// Wherever their like stand in b, that is a movement to be tried.
	r1, r2, d := first.Dist(ca), second.Dist(ca), first.Dist(second)
	var ones, twos []geom.Vec3
	for _, p := range b.Vertices {
		if math.Abs(p.Dist(cb)-r1) <= 2*same {
			ones = append(ones, p)
		}
		if math.Abs(p.Dist(cb)-r2) <= 2*same {
			twos = append(twos, p)
		}
	}
	type movement struct {
		f    geom.Frame
		turn float64
	}
	var tries []movement
	const most = 20_000 // a ball of equal facets has more symmetries than anybody needs
	for _, p := range ones {
		for _, q := range twos {
			if math.Abs(p.Dist(q)-d) > 2*same || len(tries) >= most {
				continue
			}
			to := geom.FrameFromXZ(cb, p.Sub(cb), p.Sub(cb).Cross(q.Sub(cb)))
			f := from.Inverse().In(to)
			// The trace of a rotation is 1 + 2 cos of its angle.
			tries = append(tries, movement{f, -(f.X.X + f.Y.Y + f.Z.Z)})
		}
	}
	slices.SortStableFunc(tries, func(a, b movement) int { return cmp.Compare(math.Round(a.turn*1e9), math.Round(b.turn*1e9)) })
	grid := newGrid(b.Vertices)
	for _, m := range tries {
		if grid.holds(a.Vertices, m.f) {
			return m.f, true
		}
	}
	return geom.Frame{}, false
}

func mean(ps []geom.Vec3) geom.Vec3 {
	var sum geom.Vec3
	for _, p := range ps {
		sum = sum.Add(p)
	}
	return sum.Scale(1 / float64(len(ps)))
}

// farthest is the first point of those for which the measure is greatest,
// within a hair.
func farthest(ps []geom.Vec3, measure func(geom.Vec3) float64) geom.Vec3 {
	best, at := math.Inf(-1), ps[0]
	for _, p := range ps {
		if d := measure(p); d > best+same/10 {
			best, at = d, p
		}
	}
	return at
}

// grid finds points by place.
type grid struct {
	cells map[[3]int32][]geom.Vec3
}

func newGrid(ps []geom.Vec3) grid {
	g := grid{map[[3]int32][]geom.Vec3{}}
	for _, p := range ps {
		c := g.cell(p)
		g.cells[c] = append(g.cells[c], p)
	}
	return g
}

const cellSize = 1.0 // mm

func (grid) cell(p geom.Vec3) [3]int32 {
	return [3]int32{int32(math.Floor(p.X / cellSize)), int32(math.Floor(p.Y / cellSize)), int32(math.Floor(p.Z / cellSize))}
}

// holds reports whether every point, once moved, lies on one of the grid's.
func (g grid) holds(ps []geom.Vec3, f geom.Frame) bool {
	for _, p := range ps {
		if !g.has(f.Point(p)) {
			return false
		}
	}
	return true
}

func (g grid) has(p geom.Vec3) bool {
	lo, hi := g.cell(p.Sub(geom.V3(same, same, same))), g.cell(p.Add(geom.V3(same, same, same)))
	for x := lo[0]; x <= hi[0]; x++ {
		for y := lo[1]; y <= hi[1]; y++ {
			for z := lo[2]; z <= hi[2]; z++ {
				for _, q := range g.cells[[3]int32{x, y, z}] {
					if q.Dist(p) <= same {
						return true
					}
				}
			}
		}
	}
	return false
}
