package elastic

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// lattice is a body as it is solved. Its axes are the body's in another order:
// axis 0, along which memory runs, has the fewest cells and axis 2 the most, so
// that a column through a board is together in memory, and a long body falls
// into many layers to share out. All coordinates and components here are along
// these axes.
type lattice struct {
	name   string
	perm   [3]int // axis a here is the body's axis perm[a]
	x      [3][]float64
	n      [3]int // nodes along each axis
	origin geom.Vec3
	axes   [3]geom.Vec3  // in the world
	r      [3][3]float64 // axes as columns
	kind   []int32       // brick of each cell, -1 where empty
	fill   []float64
	mass   []float64 // density by brick
	bricks []*brick
	at     int     // number of its first node among all bodies'
	mask   []uint8 // by node: bit a: component a is fixed or the node is in no cell
}

const idle = 7 // mask of a node that belongs to no cell

// maxBricks bounds the kinds of bricks: a lattice whose spacing never repeats
// would need one for each cell.
const maxBricks = 20000

// order sorts the axes by cells, fewest first.
func order(size [3]int) [3]int {
	perm := [3]int{0, 1, 2}
	slices.SortStableFunc(perm[:], func(a, b int) int { return size[a] - size[b] })
	return perm
}

func newLattice(b Body) (*lattice, error) {
	size := b.Lattice.Size()
	l := &lattice{name: b.Name, perm: order(size), origin: b.Frame.Origin}
	world := [3]geom.Vec3{b.Frame.X, b.Frame.Y, b.Frame.Z}
	for a, p := range l.perm {
		l.x[a] = slices.Clone(b.Lattice.Planes[p])
		l.n[a] = len(l.x[a])
		l.axes[a] = world[p]
		l.r[0][a], l.r[1][a], l.r[2][a] = world[p].X, world[p].Y, world[p].Z
	}
	cells := (l.n[0] - 1) * (l.n[1] - 1) * (l.n[2] - 1)
	l.kind, l.fill = make([]int32, cells), make([]float64, cells)
	l.mask = make([]uint8, l.nodes())
	for i := range l.mask {
		l.mask[i] = idle
	}
	type key struct {
		edges    [3]int64
		material uint8
	}
	known := map[key]int32{}
	stride := [3]int{1, size[0], size[0] * size[1]}
	step := [3]int{stride[l.perm[0]], stride[l.perm[1]], stride[l.perm[2]]}
	c := 0
	for k := range l.n[2] - 1 {
		for j := range l.n[1] - 1 {
			for i := range l.n[0] - 1 {
				src := i*step[0] + j*step[1] + k*step[2]
				l.kind[c] = -1
				if f := b.Lattice.Fill[src]; f >= MinFill {
					var id key
					if b.Lattice.Material != nil {
						id.material = b.Lattice.Material[src]
					}
					var edges [3]float64
					for a, at := range [3]int{i, j, k} {
						// Planes that were computed differ in the last digits.
						id.edges[a] = int64(math.Round((l.x[a][at+1] - l.x[a][at]) * 1e10))
						edges[a] = float64(id.edges[a]) * 1e-10
						if id.edges[a] == 0 {
							return nil, errors.New("two planes lie closer than 1e-10 mm")
						}
					}
					kind, ok := known[id]
					if !ok {
						if kind = int32(len(l.bricks)); kind == maxBricks {
							return nil, fmt.Errorf("more than %d kinds of cells: let the spacing repeat", maxBricks)
						}
						known[id] = kind
						m := b.Materials[id.material]
						l.bricks = append(l.bricks, newBrick(m.Stiffness.permuted(l.perm), edges))
						l.mass = append(l.mass, m.Density)
					}
					l.kind[c], l.fill[c] = kind, f
					for _, n := range l.corners(i, j, k) {
						l.mask[n] = 0
					}
				}
				c++
			}
		}
	}
	return l, nil
}

func (l *lattice) nodes() int { return l.n[0] * l.n[1] * l.n[2] }

func (l *lattice) cell(i, j, k int) int { return i + (l.n[0]-1)*(j+(l.n[1]-1)*k) }

// corners are the nodes of a cell, in the order of the bits of their ends.
func (l *lattice) corners(i, j, k int) (n [8]int) {
	p := i + l.n[0]*(j+l.n[1]*k)
	for c := range 8 {
		n[c] = p + c&1 + l.n[0]*(c>>1&1+l.n[1]*(c>>2))
	}
	return n
}

// local coordinates of a point of the world, and the world's of a local vector.
func (l *lattice) local(p geom.Vec3) [3]float64 {
	d := p.Sub(l.origin)
	return [3]float64{d.Dot(l.axes[0]), d.Dot(l.axes[1]), d.Dot(l.axes[2])}
}

func (l *lattice) localDir(d geom.Vec3) [3]float64 {
	return [3]float64{d.Dot(l.axes[0]), d.Dot(l.axes[1]), d.Dot(l.axes[2])}
}

func (l *lattice) worldDir(v [3]float64) geom.Vec3 {
	return l.axes[0].Scale(v[0]).Add(l.axes[1].Scale(v[1])).Add(l.axes[2].Scale(v[2]))
}

func (l *lattice) world(x [3]float64) geom.Vec3 { return l.origin.Add(l.worldDir(x)) }

// spot is a point of a cell.
type spot struct {
	i, j, k int
	xi      [3]float64 // -1 to 1; beyond for what is gripped outside the cell
}

// find is the filled cell that holds the point, or the nearest one if it stands
// within a cell's breadth of it. A point between cells goes to the fuller one,
// then to the first.
func (l *lattice) find(p geom.Vec3) (spot, bool) {
	s, ok := l.grip(p)
	for a := range s.xi {
		s.xi[a] = min(1, max(-1, s.xi[a]))
	}
	return s, ok
}

// grip is find for what takes hold of the body: a point outside the cell moves
// as if the cell went on to it, so that a body that turns as a whole carries it
// along, and forces keep their lever.
func (l *lattice) grip(p geom.Vec3) (spot, bool) {
	x := l.local(p)
	var lo, hi [3]int
	for a := range 3 {
		i, _ := slices.BinarySearch(l.x[a], x[a])
		lo[a], hi[a] = max(0, i-2), min(l.n[a]-2, i+1)
	}
	best, found := spot{}, false
	bestDist, bestFill := math.Inf(1), 0.0
	for k := lo[2]; k <= hi[2]; k++ {
		for j := lo[1]; j <= hi[1]; j++ {
			for i := lo[0]; i <= hi[0]; i++ {
				c := l.cell(i, j, k)
				if l.kind[c] < 0 {
					continue
				}
				s := spot{i: i, j: j, k: k}
				dist, near := 0.0, true
				for a, at := range [3]int{i, j, k} {
					h := l.x[a][at+1] - l.x[a][at]
					s.xi[a] = 2*(x[a]-l.x[a][at])/h - 1
					over := max(0, math.Abs(s.xi[a])-1) * h / 2
					if over < 1e-9*h {
						over = 0
					}
					near = near && over <= h
					dist += over * over
				}
				if near && (dist < bestDist || dist == bestDist && l.fill[c] > bestFill) {
					best, found, bestDist, bestFill = s, true, dist, l.fill[c]
				}
			}
		}
	}
	return best, found
}

// weights of the corners at a spot.
func (s spot) weights() (w [8]float64) {
	for c := range 8 {
		w[c] = 1
		for a := range 3 {
			if c>>a&1 == 1 {
				w[c] *= (1 + s.xi[a]) / 2
			} else {
				w[c] *= (1 - s.xi[a]) / 2
			}
		}
	}
	return w
}

// gather the displacements of a cell's corners.
func (l *lattice) gather(x []float64, i, j, k int) (u [24]float64) {
	for n, p := range l.corners(i, j, k) {
		copy(u[3*n:3*n+3], x[3*p:3*p+3])
	}
	return u
}

// layer adds to y what the stiffness of the cells between the node planes k and
// k+1 of axis 2 makes of x.
func (l *lattice) layer(k int, x, y []float64) {
	n0, n1 := l.n[0], l.n[1]
	row, plane := 3*n0, 3*n0*n1
	c := l.cell(0, 0, k)
	for j := range n1 - 1 {
		p := 3 * n0 * (j + n1*k)
		for range n0 - 1 {
			kind := l.kind[c]
			if kind >= 0 {
				xa, xb := x[p:p+6:p+6], x[p+row:p+row+6:p+row+6]
				xc, xd := x[p+plane:p+plane+6:p+plane+6], x[p+plane+row:p+plane+row+6:p+plane+row+6]
				ya, yb := y[p:p+6:p+6], y[p+row:p+row+6:p+row+6]
				yc, yd := y[p+plane:p+plane+6:p+plane+6], y[p+plane+row:p+plane+row+6:p+plane+row+6]
				u1, u2, u3, u4, u5, u6, u7 := walsh(xa[0], xa[3], xb[0], xb[3], xc[0], xc[3], xd[0], xd[3])
				v1, v2, v3, v4, v5, v6, v7 := walsh(xa[1], xa[4], xb[1], xb[4], xc[1], xc[4], xd[1], xd[4])
				w1, w2, w3, w4, w5, w6, w7 := walsh(xa[2], xa[5], xb[2], xb[5], xc[2], xc[5], xd[2], xd[5])
				b, f := l.bricks[kind], l.fill[c]
				if b.ortho {
					m := &b.k
					// The rows of each block, as in orthoTerms.
					u1, v2, w4 = f*(m[0]*u1+m[1]*v2+m[2]*w4), f*(m[1]*u1+m[3]*v2+m[4]*w4), f*(m[2]*u1+m[4]*v2+m[5]*w4)
					u2, v1, w7 = f*(m[6]*u2+m[7]*v1), f*(m[7]*u2+m[8]*v1), f*m[9]*w7
					v4, w2, u7 = f*(m[10]*v4+m[11]*w2), f*(m[11]*v4+m[12]*w2), f*m[13]*u7
					u4, w1, v7 = f*(m[14]*u4+m[15]*w1), f*(m[15]*u4+m[16]*w1), f*m[17]*v7
					v3, w5 = f*(m[18]*v3+m[19]*w5), f*(m[19]*v3+m[20]*w5)
					u3, w6 = f*(m[21]*u3+m[22]*w6), f*(m[22]*u3+m[23]*w6)
					u5, v6 = f*(m[24]*u5+m[25]*v6), f*(m[25]*u5+m[26]*v6)
					u6, v5, w3 = f*(m[27]*u6+m[28]*v5+m[29]*w3), f*(m[28]*u6+m[30]*v5+m[31]*w3), f*(m[29]*u6+m[31]*v5+m[32]*w3)
				} else {
					odd := [12]float64{u1, u2, u4, u7, v1, v2, v4, v7, w1, w2, w4, w7}
					even := [9]float64{u3, u5, u6, v3, v5, v6, w3, w5, w6}
					var g [12]float64
					for i := range g {
						s := 0.0
						for h, v := range &b.odd[i] {
							s += v * odd[h]
						}
						g[i] = f * s
					}
					u1, u2, u4, u7 = g[0], g[1], g[2], g[3]
					v1, v2, v4, v7 = g[4], g[5], g[6], g[7]
					w1, w2, w4, w7 = g[8], g[9], g[10], g[11]
					for i := range even {
						s := 0.0
						for h, v := range &b.even[i] {
							s += v * even[h]
						}
						g[i] = f * s
					}
					u3, u5, u6, v3, v5, v6, w3, w5, w6 = g[0], g[1], g[2], g[3], g[4], g[5], g[6], g[7], g[8]
				}
				f0, f1, f2, f3, f4, f5, f6, f7 := unwalsh(u1, u2, u3, u4, u5, u6, u7)
				ya[0], ya[3], yb[0], yb[3] = ya[0]+f0, ya[3]+f1, yb[0]+f2, yb[3]+f3
				yc[0], yc[3], yd[0], yd[3] = yc[0]+f4, yc[3]+f5, yd[0]+f6, yd[3]+f7
				f0, f1, f2, f3, f4, f5, f6, f7 = unwalsh(v1, v2, v3, v4, v5, v6, v7)
				ya[1], ya[4], yb[1], yb[4] = ya[1]+f0, ya[4]+f1, yb[1]+f2, yb[4]+f3
				yc[1], yc[4], yd[1], yd[4] = yc[1]+f4, yc[4]+f5, yd[1]+f6, yd[4]+f7
				f0, f1, f2, f3, f4, f5, f6, f7 = unwalsh(w1, w2, w3, w4, w5, w6, w7)
				ya[2], ya[5], yb[2], yb[5] = ya[2]+f0, ya[5]+f1, yb[2]+f2, yb[5]+f3
				yc[2], yc[5], yd[2], yd[5] = yc[2]+f4, yc[5]+f5, yd[2]+f6, yd[5]+f7
			}
			c++
			p += 3
		}
	}
}

// part of the vector of all bodies that is this body's.
func (l *lattice) part(v []float64) []float64 { return v[3*l.at : 3*(l.at+l.nodes())] }
