package elastic

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"

	"groundwork/internal/geom"
)

// System is a model made ready to be solved for any number of cases, by any
// number of goroutines; each takes work space of its own, see [Model.Memory].
type System struct {
	*pool
	soft    float64 // what is left of every stiffness, see Softened
	model   Model
	opts    Options
	bodies  []*lattice
	springs []spring
	spots   [][2]spot // of each link
	h       *hierarchy
	rigid   *rigid
	fixings [][]int32 // by Fixed: numbers it holds
	given   []float64 // displacements of the fixed numbers
	at      []int
}

// pool is the work space of a system and of those softened from it.
type pool struct {
	mu    sync.Mutex
	spare []*cycler // that nobody uses
}

// Softened is the system with f (> 0) times every stiffness, of bodies and of
// links, as creep leaves it if it leaves all alike. It has preloads of its own;
// all else is shared.
func (s *System) Softened(f float64) *System {
	out := *s
	out.soft *= f
	out.model.Links = slices.Clone(s.model.Links)
	return &out
}

// Space is the bytes that a solution takes beside others that are sought at the
// same time.
func (s *System) Space() int64 {
	n := 10 * int64(len(s.given))
	for i, l := range s.h.levels {
		p := s.h.ties.pattern
		if i > 0 {
			p = l.web.pattern
			n += 6 * int64(l.dof*l.nodes)
		}
		n += int64(p.len + p.rows())
	}
	return 8 * n
}

// Assemble checks the model and builds all that does not depend on the loads.
// The error is a *[Mechanism] if something is free to move even with every
// contact pressed, and wraps [ErrEmpty] if a body has no filled cell.
func Assemble(ctx context.Context, m Model, o Options) (*System, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	if o.MaxMemory > 0 {
		if need := m.Memory(); need > o.MaxMemory {
			return nil, fmt.Errorf("elastic: %w: %d MiB are needed, %d MiB allowed", ErrTooLarge, need>>20, o.MaxMemory>>20)
		}
	}
	m.Links = slices.Clone(m.Links) // preloads may change, see Preload
	s := &System{pool: &pool{}, soft: 1, model: m, opts: o.filled()}
	nodes := 0
	for i, b := range m.Bodies {
		l, err := newLattice(b)
		if err != nil {
			return nil, fmt.Errorf("elastic: body %d %q: %w", i, b.Name, err)
		}
		l.at = nodes
		s.at = append(s.at, nodes)
		nodes += l.nodes()
		s.bodies = append(s.bodies, l)
	}
	s.given = make([]float64, 3*nodes)
	for i, f := range m.Fixed {
		held, err := s.fix(f)
		if err != nil {
			return nil, fmt.Errorf("elastic: fixing %d %q: %w", i, f.Name, err)
		}
		if held == nil {
			return nil, fmt.Errorf("elastic: fixing %d %q: no node of body %q lies within it", i, f.Name, m.Bodies[f.Body].Name)
		}
		s.fixings = append(s.fixings, held)
	}
	for i, l := range m.Links {
		var at [2]spot
		var ends [2]*lattice
		index := [2]int{l.A, l.B}
		for side, b := range index {
			if b == Ground {
				continue
			}
			ends[side] = s.bodies[b]
			p := l.At.Add(l.Axis.Scale(float64(side) * l.Reach))
			var ok bool
			if at[side], ok = s.bodies[b].grip(p); !ok {
				return nil, fmt.Errorf("elastic: link %d %q: its point (%.4g, %.4g, %.4g) does not lie on body %q", i, l.Name, p.X, p.Y, p.Z, m.Bodies[b].Name)
			}
		}
		s.spots = append(s.spots, at)
		s.springs = append(s.springs, newSpring(l, at, ends, index))
	}
	var err error
	if s.rigid, err = newRigid(s); err != nil {
		return nil, err
	}
	all := make([]hold, len(m.Links))
	for i := range all {
		all[i] = bears
	}
	if free := s.rigid.free(all); len(free) > 0 {
		return nil, &Mechanism{Motions: free}
	}
	h, err := newHierarchy(ctx, s.bodies, s.springs, m.Links)
	if err != nil {
		return nil, fmt.Errorf("elastic: %w", err)
	}
	s.h = h
	return s, nil
}

// fix marks the nodes of a fixing and returns their numbers, less those that an
// earlier one holds already; nil if there is no node.
func (s *System) fix(f Fixed) (held []int32, err error) {
	b := s.bodies[f.Body]
	lo, hi, v := array(f.Where.Min), array(f.Where.Max), array(f.Value)
	const slack = 1e-6
	for n := range b.mask {
		if !b.touched(n) {
			continue
		}
		at := [3]int{n % b.n[0], n / b.n[0] % b.n[1], n / (b.n[0] * b.n[1])}
		in := true
		for a, p := range b.perm {
			x := b.x[a][at[a]]
			in = in && x >= lo[p]-slack && x <= hi[p]+slack
		}
		if !in {
			continue
		}
		for a, p := range b.perm {
			if f.Axes[p] {
				if held == nil {
					held = []int32{}
				}
				d := 3*(b.at+n) + a
				if b.mask[n]>>a&1 == 1 {
					if s.given[d] != v[p] {
						return nil, errors.New("an earlier one gives a node another displacement")
					}
					continue
				}
				b.mask[n] |= 1 << a
				s.given[d] = v[p]
				held = append(held, int32(d))
			}
		}
	}
	return held, nil
}

// loads is the vector of forces of a case, and the total on each body.
func (s *System) loads(c Case) ([]float64, error) {
	f := make([]float64, len(s.given))
	if !finite3(c.Gravity) {
		return nil, fmt.Errorf("elastic: case %q: gravity is not finite", c.Name)
	}
	put := func(b *lattice, at spot, force geom.Vec3) {
		v, w := b.localDir(force), at.weights()
		for i, n := range b.corners(at.i, at.j, at.k) {
			for a := range 3 {
				f[3*(b.at+n)+a] += w[i] * v[a]
			}
		}
	}
	if c.Gravity != (geom.Vec3{}) {
		for _, b := range s.bodies {
			g := b.localDir(c.Gravity)
			evenOdd(b.n[2]-1, func(k int) {
				for j := range b.n[1] - 1 {
					for i := range b.n[0] - 1 {
						at := b.cell(i, j, k)
						if b.kind[at] < 0 {
							continue
						}
						// g/mm³ · mm³ · mm/s² is 1e-6 N.
						h := b.bricks[b.kind[at]].half
						m := b.mass[b.kind[at]] * b.fill[at] * h[0] * h[1] * h[2] * 1e-6 // an eighth of the volume
						for _, n := range b.corners(i, j, k) {
							for a := range 3 {
								f[3*(b.at+n)+a] += m * g[a]
							}
						}
					}
				}
			})
		}
	}
	for i, p := range c.Points {
		if p.Body < 0 || p.Body >= len(s.bodies) || !finite3(p.At, p.Force) {
			return nil, fmt.Errorf("elastic: case %q: load %d is not finite or on no body", c.Name, i)
		}
		at, ok := s.bodies[p.Body].grip(p.At)
		if !ok {
			return nil, fmt.Errorf("elastic: case %q: load %d does not lie on body %q", c.Name, i, s.bodies[p.Body].name)
		}
		put(s.bodies[p.Body], at, p.Force)
	}
	for i, l := range c.Faces {
		if l.Body < 0 || l.Body >= len(s.bodies) || !finite3(l.Force, l.Face.Frame.Origin, l.Face.Frame.X, l.Face.Frame.Y) ||
			!finite(l.Face.U, l.Face.V) || l.Face.U <= 0 || l.Face.V <= 0 {
			return nil, fmt.Errorf("elastic: case %q: face load %d is not finite, has no area or is on no body", c.Name, i)
		}
		b := s.bodies[l.Body]
		step := math.Inf(1)
		for a := range 3 {
			step = min(step, (b.x[a][b.n[a]-1]-b.x[a][0])/float64(b.n[a]-1))
		}
		// Half a cell, but no more points than can be borne.
		step = max(step/2, math.Sqrt(l.Face.U*l.Face.V/1e6))
		points, _ := l.Face.points(step)
		var on []spot
		for _, p := range points {
			if at, ok := b.find(p); ok && b.holds(at, p) {
				on = append(on, at)
			}
		}
		if len(on) == 0 {
			return nil, fmt.Errorf("elastic: case %q: face load %d does not lie on body %q", c.Name, i, b.name)
		}
		for _, at := range on {
			put(b, at, l.Force.Scale(1/float64(len(on))))
		}
	}
	return f, nil
}

// holds reports whether the point lies in the cell of the spot found for it.
func (b *lattice) holds(s spot, p geom.Vec3) bool {
	x := b.local(p)
	for a, at := range [3]int{s.i, s.j, s.k} {
		h := b.x[a][at+1] - b.x[a][at]
		if x[a] < b.x[a][at]-1e-6*h || x[a] > b.x[a][at+1]+1e-6*h {
			return false
		}
	}
	return true
}

// Solve finds how the system stands under a case. The error is a *[Mechanism]
// if contacts open until something is free (a piece tips), and wraps
// [ErrNoConvergence] or the context's error if the search ends too early.
func (s *System) Solve(ctx context.Context, c Case) (*Result, error) {
	return s.SolveFrom(ctx, c, nil)
}

// SolveFrom is Solve that begins at another result of the system, nil for none.
// It is quicker where much the same contacts bear. Where friction-like holds
// leave a choice, the answer may depend on where the search began.
func (s *System) SolveFrom(ctx context.Context, c Case, from *Result) (*Result, error) {
	load, err := s.loads(c)
	if err != nil {
		return nil, err
	}
	w := s.take()
	defer s.give(w)
	if tips := s.rigid.tips(load); len(tips) > 0 {
		return nil, &Mechanism{Case: c.Name, Motions: tips}
	}
	for i := range load { // as it is felt by the stiffness that was assembled
		load[i] /= s.soft
	}
	links := s.model.Links
	holds := make([]hold, len(links))
	contacts := false
	for i, l := range links {
		holds[i] = bears
		if l.Contact && l.Gap > 0 {
			holds[i] = opens
		}
		contacts = contacts || l.Contact
	}
	if contacts && len(s.rigid.free(holds)) > 0 {
		for i := range holds { // gaps must close before anything is held
			holds[i] = bears
		}
	}
	res := &Result{system: s, Case: c.Name, holds: make([]hold, len(links))}
	x := make([]float64, len(load))
	if from != nil && from.system == s {
		copy(x, from.x)
		as := slices.Clone(from.holds)
		for i, h := range as {
			if h == slips {
				as[i] = bears
			}
		}
		if !contacts || len(s.rigid.free(as)) == 0 {
			holds = as
		}
	}
	seen := map[string]bool{}
	slip := make([]bool, len(links))
	var before []float64 // where the last round ended, once
	careful := false     // steps must be shortened
	// Which contacts bear is found roughly, then confirmed at the full accuracy.
	rough := contacts
	var whole aim
	for round := 1; ; round++ {
		if err := w.bear(holds); err != nil {
			return nil, err
		}
		if round == 1 {
			if whole, err = s.wanted(load, w); err != nil {
				return nil, fmt.Errorf("elastic: case %q: %w", c.Name, err)
			}
		}
		n, settled, err := s.inner(ctx, load, x, w, whole, rough)
		res.Iterations += n
		res.Rounds = round
		if err != nil {
			return nil, fmt.Errorf("elastic: case %q: %w", c.Name, err)
		}
		if !contacts {
			break
		}
		next, changed := s.next(holds, slip, x)
		if changed == 0 && settled {
			break
		}
		if changed == 0 {
			rough = false
			continue
		}
		if round >= s.opts.MaxContact {
			if settled && s.faint(holds, next, x, load) {
				break
			}
			return nil, fmt.Errorf("elastic: case %q: contacts %w in %d rounds, %d still change", c.Name, ErrNoConvergence, round, changed)
		}
		if careful {
			if t := s.step(before, x, load, w); t < 1 {
				for i := range x {
					x[i] = before[i] + t*(x[i]-before[i])
				}
				if n, c := s.next(holds, slip, x); c > 0 {
					next = n
				}
			}
			copy(before, x)
			// Where a contact opens because of what it bears across, and closes
			// without it, it is neither: it slips.
			for i, l := range links {
				if l.Across > 0 && next[i] != holds[i] {
					slip[i] = true
					next[i] = min(next[i], slips)
				}
			}
		}
		if len(s.rigid.free(next)) > 0 {
			// Too many let go at once: change only the one that errs most, and see.
			next = s.gently(holds, next, x)
			if free := s.rigid.free(next); len(free) > 0 {
				return nil, &Mechanism{Case: c.Name, Motions: free}
			}
		}
		if id := string(holdBytes(next)); seen[id] && !careful {
			// Going round in circles: from here on no further than the energy falls.
			careful, rough = true, false
			before = slices.Clone(x)
		} else {
			seen[id] = true
		}
		holds = next
	}
	copy(res.holds, holds)
	s.finish(res, load, x, w)
	return res, nil
}

// next says how the links bear at x, and how many change.
func (s *System) next(holds []hold, slip []bool, x []float64) (next []hold, changed int) {
	next = make([]hold, len(holds))
	for i, l := range s.model.Links {
		next[i] = bears
		if slip[i] {
			next[i] = slips
		}
		if l.Contact && s.press(i, x) <= 0 {
			next[i] = opens
		}
		if next[i] != holds[i] {
			changed++
		}
	}
	return next, changed
}

// step is how far to go from a to b, 0 to 1, so that the energy with every
// contact as it truly is along the way is least. Without what contacts bear
// across it is convex and smooth, and Newton's steps so shortened must end.
func (s *System) step(a, b, load []float64, w *cycler) float64 {
	holds := slices.Clone(w.holds)
	for i, l := range s.model.Links {
		if l.Contact {
			w.holds[i] = opens
		}
	}
	s.residual(load, a, w)
	s.h.clearFixed(w.r)
	chunks(len(a), func(lo, hi int) {
		for i := lo; i < hi; i++ {
			w.p[i] = b[i] - a[i]
		}
	})
	w.stiffness(w.p, w.q)
	c0, c1 := -dot(w.p, w.r), dot(w.p, w.q)
	copy(w.holds, holds)
	slope := func(t float64) float64 {
		sum := c0 + t*c1
		for i, l := range s.model.Links {
			if !l.Contact {
				continue
			}
			e0, de := vec(s.springs[i].stretch(a, 3, s.at)), vec(s.springs[i].stretch(w.p, 3, s.at))
			e := e0.Add(de.Scale(t))
			if along := e.Dot(l.Axis) + l.Gap; along < 0 {
				sum += l.Along * along * de.Dot(l.Axis)
				if holds[i] == bears {
					sum += l.Across * e.Sub(l.Axis.Scale(e.Dot(l.Axis))).Dot(de)
				}
			}
		}
		return sum
	}
	if slope(1) <= 0 {
		return 1
	}
	lo, hi := 0.0, 1.0
	for range 50 {
		if mid := (lo + hi) / 2; slope(mid) > 0 {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi
}

func holdBytes(h []hold) []byte {
	out := make([]byte, len(h))
	for i, v := range h {
		out[i] = byte(v)
	}
	return out
}

// While contacts open and close, it is enough to come to roughly the whole, or
// closer than at the start of the round.
const (
	roughly = 1e-2
	closer  = 0.1
)

// press is the overlap of a contact's faces (mm), above nought if they press.
func (s *System) press(i int, x []float64) float64 {
	l := s.model.Links[i]
	e := s.springs[i].stretch(x, 3, s.at)
	return -(vec(e).Dot(l.Axis) + l.Gap)
}

// faint reports whether what contacts that still change pull or overlap with is
// next to nothing, a thousandth of all loads: as where friction-like holds leave
// no set of contacts that is right for all.
func (s *System) faint(now, next []hold, x, load []float64) bool {
	total := 0.0
	for _, f := range load {
		total += math.Abs(f)
	}
	worst := 0.0
	for i, l := range s.model.Links {
		if next[i] != now[i] {
			worst = max(worst, l.Along*math.Abs(s.press(i, x)))
		}
	}
	return worst <= 1e-3*total
}

// gently takes over the one change from now to next that errs most and leaves
// everything held.
func (s *System) gently(now, next []hold, x []float64) []hold {
	out := slices.Clone(now)
	best, worst := -1, -1.0
	for i := range next {
		if next[i] == now[i] {
			continue
		}
		if v := math.Abs(s.press(i, x)); v > worst {
			out[i] = next[i]
			if len(s.rigid.free(out)) == 0 {
				best, worst = i, v
			}
			out[i] = now[i]
		}
	}
	if best >= 0 {
		out[best] = next[best]
		return out
	}
	return next
}

// take is a cycler that nobody uses.
func (s *System) take() *cycler {
	s.mu.Lock()
	defer s.mu.Unlock()
	n := len(s.spare)
	if n == 0 {
		return s.h.cycler()
	}
	w := s.spare[n-1]
	s.spare = s.spare[:n-1]
	return w
}

// give returns it. Should its smoothers have needed more room, the next case
// begins without: what a case gives does not depend on those before.
func (s *System) give(w *cycler) {
	for i, l := range s.h.levels {
		w.at[i].top = l.top
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.spare = append(s.spare, w)
}

// residual puts the forces that x leaves unbalanced into w.r.
func (s *System) residual(load, x []float64, w *cycler) {
	w.stiffness(x, w.q)
	chunks(len(x), func(lo, hi int) {
		for i := lo; i < hi; i++ {
			w.r[i] = load[i] - w.q[i]
		}
	})
	for i, l := range s.model.Links {
		if w.holds[i] != opens {
			// A tension draws A along the axis and B against it: the terms carry
			// the ends' signs.
			t := -s.offset(l)
			s.springs[i].pull([3]float64{t * l.Axis.X, t * l.Axis.Y, t * l.Axis.Z}, w.r, 3, s.at)
		}
	}
}

// offset is the tension of a bearing link at no stretch, as of the stiffness that
// was assembled.
func (s *System) offset(l Link) float64 {
	return l.Preload/s.soft + l.Along*l.Gap
}

// aim is how small the error is to become: in the norm of the energy, and as
// forces out of balance, for where all the energy is in a soft part, its norm
// hardly sees the stiff ones.
type aim struct{ energy, force float64 }

// wanted is the aim of a case: what counts is the error against the whole, the
// norms of the right-hand side from nothing but what is given.
func (s *System) wanted(load []float64, w *cycler) (aim, error) {
	start := w.p // not yet in use
	clear(start)
	for _, d := range s.h.fixed {
		start[d] = s.given[d]
	}
	s.residual(load, start, w)
	s.h.clearFixed(w.r)
	w.cycle(0, w.z, w.r)
	for raised := 0; dot(w.r, w.z) < 0 && raised < mostRaised; raised++ {
		w.raise()
		w.cycle(0, w.z, w.r)
	}
	a := aim{s.opts.Tolerance * math.Sqrt(max(0, dot(w.r, w.z))), 1000 * s.opts.Tolerance * math.Sqrt(dot(w.r, w.r))}
	if math.IsNaN(a.energy) || math.IsInf(a.energy, 0) {
		return a, fmt.Errorf("numbers out of range: %w", ErrNoConvergence)
	}
	return a, nil
}

// inner solves for the links that bear now, by conjugate gradients from x, until
// it has the aim (then settled is true), or comes near it, if that is enough.
func (s *System) inner(ctx context.Context, load, x []float64, w *cycler, whole aim, rough bool) (iterations int, settled bool, err error) {
	for _, d := range s.h.fixed {
		x[d] = s.given[d]
	}
	s.residual(load, x, w)
	s.h.clearFixed(w.r)
	rho, restart, raised := 0.0, true, 0
	enough := whole
	for it := 0; ; it++ {
		if err := ctx.Err(); err != nil {
			return it, false, err
		}
		w.cycle(0, w.z, w.r)
		rz := dot(w.r, w.z)
		if math.IsNaN(rz) || math.IsInf(rz, 0) {
			return it, false, fmt.Errorf("numbers out of range: %w", ErrNoConvergence)
		}
		if rz < 0 && -rz >= whole.energy*whole.energy && raised < mostRaised {
			raised++
			w.raise()
			s.residual(load, x, w)
			s.h.clearFixed(w.r)
			restart = true
			continue
		}
		left := aim{math.Sqrt(max(0, rz)), math.Sqrt(dot(w.r, w.r))}
		if it == 0 {
			if rough {
				more := max(1, roughly/s.opts.Tolerance)
				enough = aim{max(more*whole.energy, closer*left.energy), max(more*whole.force, closer*left.force)}
			}
		}
		if left.energy <= enough.energy && left.force <= enough.force {
			if rough { // a last step that costs nothing, for what bears is asked of x
				chunks(len(x), func(lo, hi int) {
					for i := lo; i < hi; i++ {
						x[i] += w.z[i]
					}
				})
			}
			return it, left.energy <= whole.energy && left.force <= whole.force, nil
		}
		if it == s.opts.MaxIterations || rz <= 0 {
			return it, false, fmt.Errorf("the inner solver %w in %d iterations: %.2g of the error is left", ErrNoConvergence, it, math.Sqrt(math.Abs(rz))/whole.energy*s.opts.Tolerance)
		}
		beta := 0.0
		if !restart {
			beta = rz / rho
		}
		restart = false
		rho = rz
		chunks(len(x), func(lo, hi int) {
			for i := lo; i < hi; i++ {
				w.p[i] = w.z[i] + beta*w.p[i]
			}
		})
		w.multiply(0, w.p, w.q)
		pq := dot(w.p, w.q)
		if !(pq > 0) {
			return it, false, fmt.Errorf("stiffness is not definite: %w", ErrNoConvergence)
		}
		alpha := rz / pq
		chunks(len(x), func(lo, hi int) {
			for i := lo; i < hi; i++ {
				x[i] += alpha * w.p[i]
				w.r[i] -= alpha * w.q[i]
			}
		})
	}
}

// mostRaised is how often the smoothers may be given more room.
const mostRaised = 10

// raise gives the smoothers more room, after the preconditioner turned out not
// to be definite: they overshoot where the spectrum was guessed too low.
func (c *cycler) raise() {
	for i := range c.at {
		c.at[i].top *= 1.25
	}
}

func (h *hierarchy) clearFixed(v []float64) {
	for _, d := range h.fixed {
		v[d] = 0
	}
}
