package stress

import (
	"context"
	"fmt"
	"math"
	"sync"

	"groundwork/internal/elastic"
	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// Field is the stress in the shell of every body under several cases, found
// quickly: what seams and poses are chosen by. It may be asked by several
// goroutines.
type Field struct {
	s     *Structure
	shell [][]elastic.Tensor // by body: of case c in its cell i, at c + cases × i; in the world
	cases int
	once  []sync.Once
	pulls [][]tensor3 // by body, by cell: what pulls, squared and summed over the cases
}

// tensor3 is symmetric: xx, yy, zz, yz, zx, xy.
type tensor3 = elastic.Tensor

// Rough assembles the piece roughly, of bodies that are not cut or posed yet,
// and solves all cases. Boards are three bricks through, cover layer, core fill
// and cover layer, so that they stretch, bend and shear as the layers do
// together; along the board cells are coarse, and bending between links closer
// than a cell is missed.
func Rough(ctx context.Context, k *solid.Kernel, in Inputs, cases []Case) (*Field, error) {
	s, err := Assemble(ctx, k, in, Options{Rough: true})
	if err != nil {
		return nil, err
	}
	f := &Field{s: s, cases: len(cases), once: make([]sync.Once, len(s.bodies)), pulls: make([][]tensor3, len(s.bodies))}
	for _, b := range s.bodies {
		f.shell = append(f.shell, make([]elastic.Tensor, len(cases)*len(b.lattice.Fill)))
	}
	states, errs := s.SolveAll(ctx, cases)
	for c, st := range states {
		if errs[c] != nil {
			return nil, fmt.Errorf("stress: rough field: %w", errs[c])
		}
		for i, b := range s.bodies {
			for cell, fill := range b.lattice.Fill {
				if fill < elastic.MinFill {
					continue
				}
				n := b.index(cell)
				t, _ := st.r.CellStress(i, n[0], n[1], n[2])
				f.shell[i][c+f.cases*cell] = b.shell(cell, t)
			}
		}
	}
	return f, nil
}

// Pull (MPa) says how much a seam at a point would be pulled and sheared: the
// greatest over the cases of |σ| + |τ| in the shell, σ the stress normal to a
// plane with that normal and τ the shear along it. Its sign is left out because
// people lean on both sides of what they use. Of a board it is the greatest
// through the thickness at that point, since a seam goes right through; of other
// bodies it is that of the nearest cell. 0 far from the body.
func (f *Field) Pull(body int, at, normal geom.Vec3) float64 {
	b := f.s.bodies[body]
	cell, _, ok := b.find(at, 2*f.s.reach())
	if !ok {
		return 0
	}
	n := normal.Unit()
	most := 0.0
	f.around(body, cell, at, func(c int) {
		if b.lattice.Fill[c] < elastic.MinFill {
			return
		}
		for _, t := range f.shell[body][f.cases*c : f.cases*(c+1)] {
			on := t.On(n)
			s := on.Dot(n)
			most = max(most, math.Abs(s)+on.Sub(n.Scale(s)).Len())
		}
	})
	return most
}

// around calls do for a cell, for those that touch it at a point on its border, so
// that twins are told alike, and for all through the thickness of a board.
func (f *Field) around(body, cell int, world geom.Vec3, do func(c int)) {
	b := f.s.bodies[body]
	sb := f.s.in.Bodies[body]
	through := len(sb.Members) == 1 && f.s.in.Cores[sb.Members[0]].Board != nil
	p, size, at := b.frame.Local(world), b.lattice.Size(), b.index(cell)
	var lo, hi [3]int
	for a := range 3 {
		const border = 1e-3 // mm
		x, pl := component(p, a), b.lattice.Planes[a]
		lo[a], hi[a] = at[a], at[a]
		if at[a] > 0 && math.Abs(x-pl[at[a]]) < border {
			lo[a]--
		}
		if at[a] < size[a]-1 && math.Abs(x-pl[at[a]+1]) < border {
			hi[a]++
		}
	}
	if through {
		lo[2], hi[2] = 0, size[2]-1
	}
	for k := lo[2]; k <= hi[2]; k++ {
		for j := lo[1]; j <= hi[1]; j++ {
			for i := lo[0]; i <= hi[0]; i++ {
				do(i + size[0]*(j+size[1]*k))
			}
		}
	}
}

// within calls do for every cell whose middle lies on the inner side of planes
// (world), or for the nearest one if there is none.
func (f *Field) within(body int, planes []geom.Plane, do func(cell int)) {
	b := f.s.bodies[body]
	best, least, any := -1, math.Inf(1), false
	for c, fill := range b.lattice.Fill {
		if fill < elastic.MinFill {
			continue
		}
		p := b.frame.Point(b.centre(c))
		out := math.Inf(-1)
		for _, pl := range planes {
			out = max(out, pl.Distance(p))
		}
		if out <= 0 {
			do(c)
			any = true
		} else if out < least {
			best, least = c, out
		}
	}
	if !any && best >= 0 {
		do(best)
	}
}

// Main is the direction (unit, world) in which the part of a body on the inner
// side of planes is pulled most: the axis of the sum, over cells and cases, of
// volume times the square of the tension in the shell. Zero if nothing pulls.
func (f *Field) Main(body int, planes []geom.Plane) geom.Vec3 {
	b := f.s.bodies[body]
	f.once[body].Do(func() {
		f.pulls[body] = make([]tensor3, len(b.lattice.Fill))
		for c, fill := range b.lattice.Fill {
			if fill < elastic.MinFill {
				continue
			}
			size := b.box(c).Size()
			v := fill * size.X * size.Y * size.Z * float64(b.share[c]) / steps
			for _, t := range f.shell[body][f.cases*c : f.cases*(c+1)] {
				val, vec := eigen(t)
				for i, s := range val {
					if s <= 0 {
						continue
					}
					d, w := vec[i], v*s*s
					sum := &f.pulls[body][c]
					for k, m := range [6]float64{d.X * d.X, d.Y * d.Y, d.Z * d.Z, d.Y * d.Z, d.Z * d.X, d.X * d.Y} {
						sum[k] += w * m
					}
				}
			}
		}
	})
	var sum tensor3
	f.within(body, planes, func(c int) {
		for i, v := range f.pulls[body][c] {
			sum[i] += v
		}
	})
	val, vec := eigen(sum)
	best := 0
	for i := range val {
		if val[i] > val[best] {
			best = i
		}
	}
	if val[best] <= 0 {
		return geom.Vec3{}
	}
	d := vec[best]
	// One of two directions that mean the same.
	for _, c := range [3]float64{d.X, d.Y, d.Z} {
		if math.Abs(c) > 1e-9 {
			if c < 0 {
				d = d.Neg()
			}
			break
		}
	}
	return d
}

// Across is the greatest tension (MPa, not below nought) along up, over all
// cases, in the shell of the part of a body on the inner side of planes.
func (f *Field) Across(body int, planes []geom.Plane, up geom.Vec3) float64 {
	u := up.Unit()
	most := 0.0
	b := f.s.bodies[body]
	f.within(body, planes, func(c int) {
		if b.share[c] == 0 || b.lattice.Fill[c] < leastFill || !f.s.clear[body][c] {
			return
		}
		for _, t := range f.shell[body][f.cases*c : f.cases*(c+1)] {
			most = max(most, t.Along(u))
		}
	})
	return most
}

// eigen are the eigenvalues and unit eigenvectors of a symmetric tensor, by
// Jacobi's rotations.
func eigen(t tensor3) (val [3]float64, vec [3]geom.Vec3) {
	a := [3][3]float64{{t[0], t[5], t[4]}, {t[5], t[1], t[3]}, {t[4], t[3], t[2]}}
	v := [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	for range 30 {
		off := math.Abs(a[0][1]) + math.Abs(a[0][2]) + math.Abs(a[1][2])
		if off <= 1e-14*(math.Abs(a[0][0])+math.Abs(a[1][1])+math.Abs(a[2][2])) {
			break
		}
		for _, pq := range [3][2]int{{0, 1}, {0, 2}, {1, 2}} {
			p, q := pq[0], pq[1]
			if a[p][q] == 0 {
				continue
			}
			theta := (a[q][q] - a[p][p]) / (2 * a[p][q])
			tan := math.Copysign(1, theta) / (math.Abs(theta) + math.Sqrt(theta*theta+1))
			cos := 1 / math.Sqrt(tan*tan+1)
			sin := tan * cos
			for k := range 3 {
				x, y := a[k][p], a[k][q]
				a[k][p], a[k][q] = cos*x-sin*y, sin*x+cos*y
			}
			for k := range 3 {
				x, y := a[p][k], a[q][k]
				a[p][k], a[q][k] = cos*x-sin*y, sin*x+cos*y
			}
			for k := range 3 {
				x, y := v[k][p], v[k][q]
				v[k][p], v[k][q] = cos*x-sin*y, sin*x+cos*y
			}
		}
	}
	for i := range 3 {
		val[i] = a[i][i]
		vec[i] = geom.V3(v[0][i], v[1][i], v[2][i])
	}
	return val, vec
}
