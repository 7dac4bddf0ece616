package surface

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"groundwork/internal/geom"
)

// pathJoint is where one run ends and the next begins.
type pathJoint struct {
	p       geom.Vec2
	tangent bool
	angle   float64 // between the runs before anything is moved
}

// settle moves the runs, as little as the points allow, so that they meet:
// at the very vertex where there is a corner or a free run begins, and with a
// common tangent where they are nearly tangent; then makes nearly equal radii
// equal. Joint k is the start of run k.
func (f *pathFit) settle() []pathJoint {
	m := len(f.runs)
	joints := make([]pathJoint, m, m+1)
	for k := range joints {
		joints[k] = pathJoint{p: f.at(f.runs[k].i)}
		prev := f.neighbour(k, -1)
		if prev == nil {
			continue
		}
		a, b := prev.curve, f.runs[k].curve
		if a == nil || b == nil || prev.fixed && f.runs[k].fixed {
			continue
		}
		v := joints[k].p
		angle := math.Abs(angleBetween(a.heading(v), b.heading(v)))
		l := min(f.span(*prev), f.span(f.runs[k]))
		off := max(worstOff(a, f.points(prev.i, prev.j)), worstOff(b, f.points(f.runs[k].i, f.runs[k].j)), f.tol/50)
		joints[k].angle = angle
		joints[k].tangent = angle < min(5e-4+8*off/l, 0.01)
	}
	if !f.closed {
		joints = append(joints, pathJoint{p: f.at(f.n)})
	}
	for {
		again := false
		for _, c := range f.chains(joints) {
			if !f.balance(c, joints, nil) {
				worst := -1
				for _, k := range c {
					if joints[k].tangent && (worst < 0 || joints[k].angle > joints[worst].angle) {
						worst = k
					}
				}
				if worst >= 0 {
					joints[worst].tangent, again = false, true
				}
			}
		}
		if !again {
			break
		}
	}
	f.equalRadii(joints)
	return joints
}

func (f *pathFit) span(r pathRun) float64 {
	var l float64
	for k := r.i; k < r.j; k++ {
		l += f.chord(k).Len()
	}
	return l
}

// chains are the runs that hang together by tangent joints.
func (f *pathFit) chains(joints []pathJoint) [][]int {
	m := len(f.runs)
	start := 0
	if f.closed {
		for start < m-1 && joints[start].tangent {
			start++
		}
	}
	var out [][]int
	for d := range m {
		k := (start + d) % m
		if f.runs[k].curve == nil {
			continue
		}
		if d > 0 && joints[k].tangent {
			out[len(out)-1] = append(out[len(out)-1], k)
		} else {
			out = append(out, []int{k})
		}
	}
	return out
}

// balance solves for the runs of a chain: least squares of the points'
// distances, under the conditions that the joints set, by Newton's method on
// Lagrange's function without second derivatives of the conditions. held gives
// the curvature of runs whose curvature is not free. If the conditions cannot
// be met within tol nothing is changed.
func (f *pathFit) balance(chain []int, joints []pathJoint, held map[int]float64) bool {
	type unknown struct{ first, n int }
	next := func(k int) int { return (k + 1) % len(joints) }
	curves := make(map[int]pathCurve)
	vars := make(map[int]unknown)
	n := 0
	add := func(k int) unknown {
		u := unknown{n, k}
		n += k
		return u
	}
	for _, k := range chain {
		c := f.runs[k].curve
		switch b := c.(type) {
		case pathBend:
			b.half = f.span(f.runs[k]) / 2
			count := 3
			if kk, ok := held[k]; ok {
				b.k, count = kk, 2
			} else if f.runs[k].fixed {
				count = 2
			}
			c = b
			vars[k] = add(count)
		default:
			vars[k] = add(5)
		}
		curves[k] = c
	}
	// Tangent joints inside the chain, including the one that closes a ring.
	type meeting struct {
		joint, a, b int // runs a before and b after
		u           unknown
		p           geom.Vec2
		angle       float64
		h           float64
	}
	var meets []meeting
	type pin struct {
		run int
		p   geom.Vec2
	}
	var pins []pin
	for _, k := range chain {
		if joints[k].tangent {
			a := (k + len(f.runs) - 1) % len(f.runs)
			v := f.at(f.runs[k].i)
			h := min(f.span(f.runs[a]), f.span(f.runs[k])) / 2
			meets = append(meets, meeting{k, a, k, add(3), v, curves[k].heading(v).Angle(), h})
		} else {
			pins = append(pins, pin{k, f.at(f.runs[k].i)})
		}
		if e := next(k); !joints[e].tangent {
			pins = append(pins, pin{k, f.at(f.runs[k].j)})
		}
	}
	rows := 4*len(meets) + len(pins)
	pts := make(map[int][]geom.Vec2)
	total := 0
	for _, k := range chain {
		pts[k] = f.points(f.runs[k].i, f.runs[k].j)
		total += len(pts[k])
	}
	off := func(c pathCurve, p geom.Vec2, angle, h float64) (d, a float64) {
		return c.distance(p), angleBetween(geom.V2(1, 0).Rotate(angle), c.heading(p)) * h
	}
	const step = 1e-4
	var short float64 // how far the conditions are from being met
	for range 30 {
		kkt, rhs := mat.NewDense(n+rows, n+rows, nil), mat.NewVecDense(n+rows, nil)
		grad := func(c pathCurve, u unknown, g func(pathCurve) float64) []float64 {
			out := make([]float64, u.n)
			x := make([]float64, u.n)
			for i := range x {
				x[i] = step
				up := g(c.vary(x))
				x[i] = -step
				down := g(c.vary(x))
				x[i] = 0
				out[i] = (up - down) / (2 * step)
			}
			return out
		}
		for _, k := range chain {
			c, u := curves[k], vars[k]
			for _, p := range pts[k] {
				r := c.distance(p)
				g := grad(c, u, func(c pathCurve) float64 { return c.distance(p) })
				for i := range g {
					for j := range g {
						kkt.Set(u.first+i, u.first+j, kkt.At(u.first+i, u.first+j)+g[i]*g[j])
					}
					rhs.SetVec(u.first+i, rhs.AtVec(u.first+i)-g[i]*r)
				}
			}
		}
		for i := range n {
			kkt.Set(i, i, kkt.At(i, i)+1e-9)
		}
		for _, mt := range meets { // weakly: a joint stays at its vertex
			t := geom.V2(1, 0).Rotate(mt.angle)
			d := f.at(f.runs[mt.joint].i).Sub(mt.p).Dot(t)
			const weight = 1e-4
			for i, ti := range []float64{t.X, t.Y} {
				for j, tj := range []float64{t.X, t.Y} {
					kkt.Set(mt.u.first+i, mt.u.first+j, kkt.At(mt.u.first+i, mt.u.first+j)+weight*ti*tj)
				}
				rhs.SetVec(mt.u.first+i, rhs.AtVec(mt.u.first+i)+weight*ti*d)
			}
		}
		row := n
		short = 0
		put := func(value float64, u unknown, g []float64) {
			for i := range g {
				kkt.Set(row, u.first+i, g[i])
				kkt.Set(u.first+i, row, g[i])
			}
			rhs.SetVec(row, -value)
		}
		for _, mt := range meets {
			for _, k := range []int{mt.a, mt.b} {
				c, u := curves[k], vars[k]
				for part := range 2 {
					value := func(c pathCurve, p geom.Vec2, angle float64) float64 {
						d, a := off(c, p, angle, mt.h)
						if part == 0 {
							return d
						}
						return a
					}
					v := value(c, mt.p, mt.angle)
					put(v, u, grad(c, u, func(c pathCurve) float64 { return value(c, mt.p, mt.angle) }))
					var g [3]float64
					for i := range g {
						try := func(s float64) float64 {
							p, a := mt.p, mt.angle
							switch i {
							case 0:
								p.X += s
							case 1:
								p.Y += s
							case 2:
								a += s / mt.h
							}
							return value(c, p, a)
						}
						g[i] = (try(step) - try(-step)) / (2 * step)
					}
					put(v, mt.u, g[:])
					short = max(short, math.Abs(v))
					kkt.Set(row, row, -1e-13)
					row++
				}
			}
		}
		for _, pn := range pins {
			c, u := curves[pn.run], vars[pn.run]
			v := c.distance(pn.p)
			put(v, u, grad(c, u, func(c pathCurve) float64 { return c.distance(pn.p) }))
			short = max(short, math.Abs(v))
			kkt.Set(row, row, -1e-13)
			row++
		}
		var x mat.VecDense
		if err := x.SolveVec(kkt, rhs); err != nil {
			if _, bad := err.(mat.Condition); !bad {
				return false
			}
		}
		d := x.RawVector().Data
		var most float64
		for _, v := range d[:n] {
			if !(math.Abs(v) < 1e6) {
				return false
			}
			most = max(most, math.Abs(v))
		}
		for _, k := range chain {
			u := vars[k]
			curves[k] = curves[k].vary(d[u.first : u.first+u.n])
		}
		for i := range meets {
			u := meets[i].u.first
			meets[i].p = meets[i].p.Add(geom.V2(d[u], d[u+1]))
			meets[i].angle += d[u+2] / meets[i].h
		}
		if most < 1e-11 {
			break
		}
	}
	if !(short < 1e-8) {
		return false
	}
	for _, k := range chain {
		if !(worstOff(curves[k], pts[k]) <= f.tol) {
			return false
		}
	}
	for _, mt := range meets {
		if mt.p.Dist(f.at(f.runs[mt.joint].i)) > 50*f.tol+0.01*mt.h {
			return false
		}
	}
	for _, k := range chain {
		f.runs[k].curve = curves[k]
	}
	for _, mt := range meets {
		joints[mt.joint].p = mt.p
	}
	return true
}

// equalRadii gives one radius to circles whose radii agree as closely as their
// points can tell.
func (f *pathFit) equalRadii(joints []pathJoint) {
	var round []int
	for k, r := range f.runs {
		if b, ok := r.curve.(pathBend); ok && !r.fixed && b.k != 0 {
			round = append(round, k)
		}
	}
	bend := func(k int) float64 { return math.Abs(f.runs[k].curve.(pathBend).k) }
	slices.SortStableFunc(round, func(a, b int) int {
		switch {
		case bend(a) < bend(b):
			return -1
		case bend(a) > bend(b):
			return 1
		}
		return 0
	})
	chains := f.chains(joints)
	for len(round) > 0 {
		n := 1
		for n < len(round) && bend(round[n]) < bend(round[0])*(1+1e-3) {
			n++
		}
		group := round[:n]
		round = round[n:]
		if n == 1 {
			continue
		}
		var sum, weight float64
		for _, k := range group {
			w := math.Pow(f.span(f.runs[k]), 4) // a curvature is known to one over the length squared
			sum, weight = sum+w*bend(k), weight+w
		}
		common := sum / weight
		held := make(map[int]float64)
		for _, k := range group {
			held[k] = math.Copysign(common, f.runs[k].curve.(pathBend).k)
		}
		before := slices.Clone(f.runs)
		was := slices.Clone(joints)
		good := true
		for _, c := range chains {
			if !slices.ContainsFunc(c, func(k int) bool { _, ok := held[k]; return ok }) {
				continue
			}
			if !f.balance(c, joints, held) {
				good = false
				break
			}
		}
		for _, k := range group {
			pts := f.points(f.runs[k].i, f.runs[k].j)
			if good && worstOff(f.runs[k].curve, pts) > max(f.tol/4, 2*worstOff(before[k].curve, pts)) {
				good = false
			}
		}
		if !good {
			f.runs = before
			copy(joints, was)
		}
	}
}
