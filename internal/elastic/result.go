package elastic

import (
	"fmt"
	"math"

	"groundwork/internal/geom"
)

// Result is how a system stands under one case.
type Result struct {
	Case       string
	Iterations int // of the inner solver, over all rounds
	Rounds     int // times that contacts were opened or closed, and once more
	// Energy is the strain energy in bodies and links, without the work of
	// preloads, N mm.
	Energy float64

	system    *System
	x         []float64
	holds     []hold
	reactions []Reaction
}

// Reaction is what a fixing does to its body: force (N) and moment (N mm) about
// the origin of the world.
type Reaction struct{ Force, Moment geom.Vec3 }

// LinkForce is what a link carries.
type LinkForce struct {
	Tension float64   // along the axis, N; below nought it presses
	Across  geom.Vec3 // what the link does to A across the axis, N, world
	Stretch geom.Vec3 // what B moved more than A, mm, world
	Bears   bool      // false: a contact that stands open
	Slips   bool      // a contact on the verge of opening, which bears nothing across
}

func (s *System) finish(res *Result, load, x []float64, w *cycler) {
	res.x = x
	w.stiffness(x, w.q)
	res.Energy = s.soft * dot(x, w.q) / 2
	s.residual(load, x, w)
	for _, held := range s.fixings {
		var r Reaction
		for _, d := range held {
			n := int(d) / 3
			b := s.bodies[0]
			for _, c := range s.bodies {
				if c.at <= n {
					b = c
				}
			}
			// What is unbalanced is what the fixing must give.
			f := b.axes[d%3].Scale(-w.r[d] * s.soft)
			at := b.world(b.position(n - b.at))
			r.Force = r.Force.Add(f)
			r.Moment = r.Moment.Add(at.Cross(f))
		}
		res.reactions = append(res.reactions, r)
	}
}

func (b *lattice) position(n int) [3]float64 {
	return [3]float64{b.x[0][n%b.n[0]], b.x[1][n/b.n[0]%b.n[1]], b.x[2][n/(b.n[0]*b.n[1])]}
}

// Displacement (mm, world) of a body at a point of the world; false where the
// body is not.
func (r *Result) Displacement(body int, p geom.Vec3) (geom.Vec3, bool) {
	b := r.system.bodies[body]
	at, ok := b.find(p)
	if !ok {
		return geom.Vec3{}, false
	}
	u, w := b.gather(b.part(r.x), at.i, at.j, at.k), at.weights()
	var v [3]float64
	for n := range 8 {
		for a := range 3 {
			v[a] += w[n] * u[3*n+a]
		}
	}
	return b.worldDir(v), true
}

// Reaction of a fixing.
func (r *Result) Reaction(fixing int) Reaction { return r.reactions[fixing] }

// Link gives the force in a link.
func (r *Result) Link(i int) LinkForce {
	s := r.system
	l := s.model.Links[i]
	e := vec(s.springs[i].stretch(r.x, 3, s.at))
	f := LinkForce{Stretch: e, Bears: r.holds[i] != opens, Slips: r.holds[i] == slips}
	if !f.Bears {
		return f
	}
	along := e.Dot(l.Axis)
	f.Tension = s.soft * (l.Along*along + s.offset(l))
	if f.Slips {
		return f
	}
	f.Across = e.Sub(l.Axis.Scale(along)).Scale(s.soft * l.Across)
	return f
}

// CellStress is the stress in the material at the centre of a cell, which the
// lattice of the body numbers i, j, k; in the world's axes. False where the
// cell is empty.
func (r *Result) CellStress(body, i, j, k int) (Tensor, bool) {
	b := r.system.bodies[body]
	src := [3]int{i, j, k}
	at := [3]int{src[b.perm[0]], src[b.perm[1]], src[b.perm[2]]}
	for a := range 3 {
		if at[a] < 0 || at[a] > b.n[a]-2 {
			return Tensor{}, false
		}
	}
	return r.cellStress(b, at, [3]float64{})
}

func (r *Result) cellStress(b *lattice, at [3]int, xi [3]float64) (Tensor, bool) {
	kind := b.kind[b.cell(at[0], at[1], at[2])]
	if kind < 0 {
		return Tensor{}, false
	}
	u := b.gather(b.part(r.x), at[0], at[1], at[2])
	br := b.bricks[kind]
	m := br.allModes(&u)
	return r.tensor(b, br, &m, xi), true
}

// tensor is the stress in a brick in the world's axes.
func (r *Result) tensor(b *lattice, br *brick, modes *[33]float64, xi [3]float64) Tensor {
	t := br.c.apply(br.strain(modes, xi))
	for i := range t {
		t[i] *= r.system.soft
	}
	return Tensor(t).turned(&b.r)
}

// Stress is the stress in the material of a body at a point of the world, in
// the world's axes; false where the body is not. At each corner of the point's
// cell the stresses of the cells that meet there and are of the same material
// are averaged, weighted by how full they are; between the corners it is
// interpolated. The condensed modes make a cell's stress linear across it, so
// bending is right at the face of a board, not only half a cell inside.
func (r *Result) Stress(body int, p geom.Vec3) (Tensor, bool) {
	b := r.system.bodies[body]
	at, ok := b.find(p)
	if !ok {
		return Tensor{}, false
	}
	own := b.bricks[b.kind[b.cell(at.i, at.j, at.k)]].c
	w := at.weights()
	var out Tensor
	for n := range 8 {
		if w[n] == 0 {
			continue
		}
		node := [3]int{at.i + n&1, at.j + n>>1&1, at.k + n>>2}
		var sum Tensor
		total := 0.0
		for c := range 8 {
			cell := [3]int{node[0] - c&1, node[1] - c>>1&1, node[2] - c>>2}
			in := true
			var xi [3]float64
			for a := range 3 {
				in = in && cell[a] >= 0 && cell[a] <= b.n[a]-2
				xi[a] = 2*float64(c>>a&1) - 1
			}
			if !in {
				continue
			}
			id := b.cell(cell[0], cell[1], cell[2])
			if b.kind[id] < 0 || b.bricks[b.kind[id]].c != own {
				continue
			}
			s, _ := r.cellStress(b, cell, xi)
			f := b.fill[id]
			total += f
			for i := range sum {
				sum[i] += f * s[i]
			}
		}
		for i := range out {
			out[i] += w[n] * sum[i] / total
		}
	}
	return out, true
}

// Greatest looks at every filled cell of a body, in the middle of each of its
// six faces, and returns the largest value of f of the stress in the material
// there (in the world's axes), and where (world). At corners, points held and
// points loaded, elastic stress has no bound: the smaller the cells, the larger.
func (r *Result) Greatest(body int, f func(Tensor) float64) (value float64, at geom.Vec3) {
	b := r.system.bodies[body]
	x := b.part(r.x)
	type best struct {
		v    float64
		cell [3]int
		xi   [3]float64
	}
	layers := make([]best, b.n[2]-1)
	each(len(layers), func(k int) {
		top := best{v: math.Inf(-1)}
		for j := range b.n[1] - 1 {
			for i := range b.n[0] - 1 {
				kind := b.kind[b.cell(i, j, k)]
				if kind < 0 {
					continue
				}
				u := b.gather(x, i, j, k)
				br := b.bricks[kind]
				m := br.allModes(&u)
				for side := range 6 {
					var xi [3]float64
					xi[side/2] = float64(2*(side%2) - 1)
					if v := f(r.tensor(b, br, &m, xi)); v > top.v {
						top = best{v, [3]int{i, j, k}, xi}
					}
				}
			}
		}
		layers[k] = top
	})
	top := best{v: math.Inf(-1)}
	for _, l := range layers {
		if l.v > top.v {
			top = l
		}
	}
	var c [3]float64
	for a := range 3 {
		lo, hi := b.x[a][top.cell[a]], b.x[a][top.cell[a]+1]
		c[a] = lo + (hi-lo)*(1+top.xi[a])/2
	}
	return top.v, b.world(c)
}

// Extrapolate takes a quantity found with cells of two sizes, the fine ones
// ratio times smaller (> 1), to cells of no size, if its error falls with the
// power order of the size (Richardson 1911); err is the estimated error of the
// fine value. Of the energy it gives the square of the error in the norm of
// the energy.
func Extrapolate(coarse, fine, ratio, order float64) (value, err float64) {
	d := (fine - coarse) / (math.Pow(ratio, order) - 1)
	return fine + d, math.Abs(d)
}

// String is one line for a log.
func (r *Result) String() string {
	return fmt.Sprintf("case %q: %d iterations in %d rounds, energy %.6g N mm", r.Case, r.Iterations, r.Rounds, r.Energy)
}
