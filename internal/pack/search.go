package pack

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// span is a box in its place.
type span struct{ lo, hi xyz }

func (s span) size() xyz { return xyz{s.hi[0] - s.lo[0], s.hi[1] - s.lo[1], s.hi[2] - s.lo[2]} }

func (s span) meets(t span) bool {
	return s.lo[0] < t.hi[0] && t.lo[0] < s.hi[0] && s.lo[1] < t.hi[1] && t.lo[1] < s.hi[1] && s.lo[2] < t.hi[2] && t.lo[2] < s.hi[2]
}

func (s span) within(t span) bool {
	return s.lo[0] >= t.lo[0] && s.hi[0] <= t.hi[0] && s.lo[1] >= t.lo[1] && s.hi[1] <= t.hi[1] && s.lo[2] >= t.lo[2] && s.hi[2] <= t.hi[2]
}

// search fills one box.
type search struct {
	given   []Item
	items   []item
	from    Box
	box     xyz
	total   float64 // µm³ of all items
	support float64
	loads   bool // some item bears only so much
	full    bool // every base lies wholly on one flat top
	blocks  []block
	sums    [3]sums
	steps   int // left
	taken   int
	best    *state
}

// state is a box filled so far.
type state struct {
	free   []span // maximal spaces
	put    []put
	left   []int32 // of each item
	avail  []int32 // blocks that there is enough left for
	volume float64
	mass   float64
	boxes  []lying // only if loads or part support are looked at
}

// put is a block in its place.
type put struct {
	block int32
	span
}

// lying is one box in its place.
type lying struct {
	span
	item int32
}

func newSearch(items []Item, b Box, o Options) *search {
	s := &search{given: items, from: b, support: o.Support, steps: o.Steps, full: o.Support == 1}
	if s.steps == 0 {
		s.steps = defaultSteps
	}
	s.box = xyz{microDown(b.Size.X), microDown(b.Size.Y), microDown(b.Size.Z)}
	for _, it := range items {
		x := item{
			size:  xyz{micro(it.Size.X), micro(it.Size.Y), micro(it.Size.Z)},
			count: int32(it.count()), turns: it.Turns, mass: it.Mass, bears: math.Inf(1),
		}
		switch {
		case it.Fragile:
			x.bears = 0
		case it.Bears > 0:
			x.bears = it.Bears
		}
		s.loads = s.loads || !math.IsInf(x.bears, 1)
		s.items = append(s.items, x)
		s.total += volume(x.size) * float64(x.count)
	}
	s.makeBlocks()
	for a := range s.sums {
		s.sums[a] = s.makeSums(a)
	}
	return s
}

func (s *search) start() *state {
	st := &state{free: []span{{hi: s.box}}}
	for _, it := range s.items {
		st.left = append(st.left, it.count)
	}
	for i := range s.blocks {
		st.avail = append(st.avail, int32(i))
	}
	return st
}

// copyTo makes t the same as st, in t's own memory.
func (st *state) copyTo(t *state) {
	t.free = append(t.free[:0], st.free...)
	t.put = append(t.put[:0], st.put...)
	t.left = append(t.left[:0], st.left...)
	t.avail = append(t.avail[:0], st.avail...)
	t.boxes = append(t.boxes[:0], st.boxes...)
	t.volume, t.mass = st.volume, st.mass
}

// done reports whether there is nothing to better.
func (s *search) done() bool {
	return s.taken >= s.steps || s.best != nil && s.best.volume >= s.total*(1-1e-12)
}

// run doubles the work of a beam search until the steps are used up: the beam
// grows by the square root of two from one round to the next (Zhu and Lim 2012;
// Araya and Riff 2014).
func (s *search) run() Layout {
	scratch := &state{}
	s.start().copyTo(scratch)
	s.fill(scratch)
	width := 1.0
	for !s.done() {
		width *= math.Sqrt2
		if !s.beam(int(math.Ceil(width)), scratch) {
			break
		}
	}
	return s.layout(s.best)
}

// child is a state of the beam with what it comes to if it is filled greedily.
type child struct {
	*state
	comes float64
}

// beam searches once with a width. It is false if a wider one would find the
// same, since there was never anything to choose between.
func (s *search) beam(width int, scratch *state) bool {
	level := []child{{state: s.start()}}
	choices := false
	for len(level) > 0 {
		var next []child
		for _, c := range level {
			for _, m := range s.moves(c.state, width) {
				k := &state{}
				c.state.copyTo(k)
				s.lay(k, m)
				k.copyTo(scratch)
				s.fill(scratch)
				next = append(next, child{k, scratch.volume})
				if s.done() {
					return false
				}
			}
		}
		choices = choices || len(next) > width
		slices.SortStableFunc(next, func(a, b child) int {
			return cmp.Or(cmp.Compare(b.comes, a.comes), cmp.Compare(b.volume, a.volume))
		})
		level = level[:0]
		for _, c := range next {
			if len(level) == width {
				break
			}
			// The same boxes may have come in another order, or turned over.
			if !slices.ContainsFunc(level, func(k child) bool {
				return k.comes == c.comes && k.volume == c.volume && slices.Equal(k.left, c.left) && sameRoom(k.free, c.free)
			}) {
				level = append(level, c)
			}
		}
	}
	return choices
}

// sameRoom reports whether two states have the same free spaces, in whatever
// order.
func sameRoom(a, b []span) bool {
	if len(a) != len(b) {
		return false
	}
	for _, f := range a {
		if !slices.Contains(b, f) {
			return false
		}
	}
	return true
}

// fill puts the best block into the first space until nothing goes in, and keeps
// the state if it is the best so far.
func (s *search) fill(st *state) {
	for {
		m := s.moves(st, 1)
		if len(m) == 0 {
			break
		}
		s.lay(st, m[0])
	}
	if s.best == nil || st.volume > s.best.volume {
		s.best = &state{}
		st.copyTo(s.best)
	}
}

// move is a block for a place.
type move struct {
	block int32
	at    xyz
	score float64
}

// moves are the best n blocks for the space that is filled next, best first.
// Spaces that take nothing are dropped.
func (s *search) moves(st *state, n int) []move {
	for len(st.free) > 0 {
		i, corner := s.next(st)
		if m := s.fitting(st, st.free[i], corner, n); len(m) > 0 {
			return m
		}
		st.free = slices.Delete(st.free, i, i+1)
	}
	return nil
}

// next is the space with the corner that lies nearest to the same corner of the
// box, and the corner: by axis whether it is the far one.
func (s *search) next(st *state) (int, [3]bool) {
	best, at := math.MaxInt64, 0
	var room float64
	var corner [3]bool
	for i, f := range st.free {
		d := 0
		var c [3]bool
		for a := range 3 {
			lo, hi := f.lo[a], s.box[a]-f.hi[a]
			if hi < lo && (a < 2 || s.support == 0) {
				c[a] = true
				d += int(hi)
			} else {
				d += int(lo)
			}
		}
		if d > best {
			continue
		}
		if v := volume(f.size()); d < best || v > room {
			best, at, corner, room = d, i, c, v
		}
	}
	return at, corner
}

// Exponents of the score: how much a block's own volume counts, the share of
// its surface that touches something, and what is lost beside it because no row
// of boxes fills it (the form of Araya, Guerrero and Nuñez 2017).
const (
	touchPower = 4
	near       = 0.04 // of its own size: what is no farther away is touched
)

// fitting are the best n blocks for a corner of a space, best first.
func (s *search) fitting(st *state, f span, corner [3]bool, n int) []move {
	size := f.size()
	var out []move
	for _, bi := range st.avail {
		b := &s.blocks[bi]
		if len(out) == n && b.worth <= out[n-1].score {
			break // nor can any later
		}
		if b.size[0] > size[0] || b.size[1] > size[1] || b.size[2] > size[2] {
			continue
		}
		if s.from.MaxMass > 0 && st.mass+b.mass > s.from.MaxMass {
			continue
		}
		keeps := 1.0
		for a := range 3 {
			keeps *= float64(b.size[a]+s.sums[a].of(size[a]-b.size[a])) / float64(size[a])
		}
		bound := b.worth * keeps
		if len(out) == n && bound <= out[n-1].score {
			continue
		}
		if t := s.touchesAtMost(b, size); len(out) == n && bound*power4(t) <= out[n-1].score {
			continue
		}
		var at xyz
		for a := range 3 {
			at[a] = f.lo[a]
			if corner[a] {
				at[a] = f.hi[a] - b.size[a]
			}
		}
		score := bound * power4(s.touches(st, b, at))
		if len(out) == n && score <= out[n-1].score || !s.bears(st, b, at) {
			continue
		}
		if len(out) == n {
			out = out[:n-1]
		}
		i := len(out)
		for i > 0 && out[i-1].score < score {
			i--
		}
		out = slices.Insert(out, i, move{bi, at, score})
	}
	return out
}

func power4(x float64) float64 { return x * x * x * x }

// touchesAtMost bounds touches: the far sides of a block touch something only if
// it nearly fills the space.
func (s *search) touchesAtMost(b *block, room xyz) float64 {
	var sum, all float64
	for a := range 3 {
		face := float64(b.size[(a+1)%3]) * float64(b.size[(a+2)%3])
		all += 2 * face
		sum += face
		if float64(room[a]-b.size[a]) <= near*float64(b.size[a]) {
			sum += face
		}
	}
	return sum / all
}

// touches is the share of a block's surface that lies at walls of the box or at
// other blocks, or near enough.
func (s *search) touches(st *state, b *block, at xyz) float64 {
	var sum, all float64
	var face, low, high [3]float64
	var tol [3]int32
	var p span
	for a := range 3 {
		face[a] = float64(b.size[(a+1)%3]) * float64(b.size[(a+2)%3])
		all += 2 * face[a]
		tol[a] = int32(near * float64(b.size[a]))
		p.lo[a], p.hi[a] = at[a], at[a]+b.size[a]
		if p.lo[a] <= tol[a] {
			low[a] = face[a]
		}
		if s.box[a]-p.hi[a] <= tol[a] {
			high[a] = face[a]
		}
	}
	for i := range st.put {
		q := &st.put[i].span
		for a := range 3 {
			below, above := p.lo[a]-q.hi[a], q.lo[a]-p.hi[a]
			if (below < 0 || below > tol[a]) && (above < 0 || above > tol[a]) {
				continue
			}
			u, v := (a+1)%3, (a+2)%3
			du := min(p.hi[u], q.hi[u]) - max(p.lo[u], q.lo[u])
			dv := min(p.hi[v], q.hi[v]) - max(p.lo[v], q.lo[v])
			if du <= 0 || dv <= 0 {
				continue
			}
			if below >= 0 && below <= tol[a] {
				low[a] += float64(du) * float64(dv)
			} else {
				high[a] += float64(du) * float64(dv)
			}
		}
	}
	for a := range 3 {
		sum += min(low[a], face[a]) + min(high[a], face[a])
	}
	return sum / all
}

// lay puts a block down.
func (s *search) lay(st *state, m move) {
	s.taken++
	b := &s.blocks[m.block]
	p := span{m.at, xyz{m.at[0] + b.size[0], m.at[1] + b.size[1], m.at[2] + b.size[2]}}
	st.put = append(st.put, put{m.block, p})
	st.volume += b.volume
	st.mass += b.mass
	for _, n := range b.needs {
		st.left[n.item] -= n.n
	}
	if s.loads || s.support > 0 && !s.full {
		st.boxes = b.lying(m.at, st.boxes)
	}
	avail := st.avail[:0]
	for _, bi := range st.avail {
		ok := true
		for _, n := range s.blocks[bi].needs {
			if st.left[n.item] < n.n {
				ok = false
				break
			}
		}
		if ok {
			avail = append(avail, bi)
		}
	}
	st.avail = avail
	s.cut(st, p)
}

// cut takes a block out of the free spaces.
func (s *search) cut(st *state, p span) {
	least := s.least(st)
	n := len(st.free)
	for i := 0; i < n; i++ {
		f := st.free[i]
		if !f.meets(p) {
			continue
		}
		for a := range 3 {
			if p.lo[a] > f.lo[a] && (a < 2 || s.support == 0) { // under a block there is only what bears it
				g := f
				g.hi[a] = p.lo[a]
				st.keep(g, least)
			}
			if p.hi[a] < f.hi[a] {
				g := f
				g.lo[a] = p.hi[a]
				if a == 2 && s.full {
					g.lo[0], g.hi[0] = max(f.lo[0], p.lo[0]), min(f.hi[0], p.hi[0])
					g.lo[1], g.hi[1] = max(f.lo[1], p.lo[1]), min(f.hi[1], p.hi[1])
				}
				st.keep(g, least)
			}
		}
	}
	if s.full {
		s.merge(st, p, least)
	}
	// Of the old those that were cut go; of the new those within another.
	kept := st.free[:0]
	old := n
	for i, f := range st.free {
		if i < old && f.meets(p) {
			continue
		}
		if i >= old && st.within(f, i, p) {
			continue
		}
		kept = append(kept, f)
	}
	st.free = kept
}

func (st *state) keep(f span, least xyz) {
	for a := range 3 {
		if f.hi[a]-f.lo[a] < least[a] {
			return
		}
	}
	st.free = append(st.free, f)
}

// within reports whether another space that is not cut holds space i, f; of
// two alike the later goes.
func (st *state) within(f span, i int, p span) bool {
	for j, g := range st.free {
		if j != i && f.within(g) && !g.meets(p) && (f != g || j < i) {
			return true
		}
	}
	return false
}

// merge makes one floor of the top of block p and of tops beside it of the same
// height that go on along its whole side.
func (s *search) merge(st *state, p span, least xyz) {
	for i := 0; i < len(st.put)-1; i++ {
		q := st.put[i].span
		if q.hi[2] != p.hi[2] {
			continue
		}
		for a := range 2 {
			u := 1 - a
			if q.hi[a] != p.lo[a] && p.hi[a] != q.lo[a] {
				continue
			}
			g := span{hi: s.box}
			g.lo[2] = p.hi[2]
			g.lo[a], g.hi[a] = min(p.lo[a], q.lo[a]), max(p.hi[a], q.hi[a])
			g.lo[u], g.hi[u] = max(p.lo[u], q.lo[u]), min(p.hi[u], q.hi[u])
			if g.lo[u] >= g.hi[u] {
				continue
			}
			blocked := false
			for _, o := range st.put {
				if o.meets(g) {
					blocked = true
					break
				}
			}
			if !blocked {
				st.keep(g, least)
			}
		}
	}
}

// least is the smallest size along each axis of what is left.
func (s *search) least(st *state) xyz {
	least := xyz{math.MaxInt32, math.MaxInt32, math.MaxInt32}
	for i, it := range s.items {
		if st.left[i] == 0 {
			continue
		}
		for t := Turn(0); t < 6; t++ {
			if it.turns.Has(t) {
				e := turned(it.size, t)
				for a := range least {
					least[a] = min(least[a], e[a])
				}
			}
		}
	}
	return least
}

// lying appends the boxes of a block at a place.
func (b *block) lying(at xyz, to []lying) []lying {
	for _, p := range b.parts {
		for x := range p.n[0] {
			for y := range p.n[1] {
				for z := range p.n[2] {
					lo := xyz{at[0] + p.at[0] + x*p.each[0], at[1] + p.at[1] + y*p.each[1], at[2] + p.at[2] + z*p.each[2]}
					to = append(to, lying{span{lo, xyz{lo[0] + p.each[0], lo[1] + p.each[1], lo[2] + p.each[2]}}, p.item})
				}
			}
		}
	}
	return to
}

// under is the area of the base of b that lies on a.
func under(a, b span) float64 {
	if a.hi[2] != b.lo[2] {
		return 0
	}
	du := min(a.hi[0], b.hi[0]) - max(a.lo[0], b.lo[0])
	dv := min(a.hi[1], b.hi[1]) - max(a.lo[1], b.lo[1])
	if du <= 0 || dv <= 0 {
		return 0
	}
	return float64(du) * float64(dv)
}

// bears reports whether a block stands where it is put, and no box under it or
// in it has more to bear than it can.
func (s *search) bears(st *state, b *block, at xyz) bool {
	if !s.loads && (s.support == 0 || s.full) {
		return true
	}
	all := b.lying(at, slices.Clone(st.boxes))
	for _, l := range all[len(st.boxes):] {
		if l.lo[2] == 0 || s.support == 0 {
			continue
		}
		var on float64
		for _, o := range all {
			on += under(o.span, l.span)
		}
		base := float64(l.hi[0]-l.lo[0]) * float64(l.hi[1]-l.lo[1])
		if on < s.support*base*(1+1e-9) && on < base {
			return false
		}
	}
	if !s.loads {
		return true
	}
	// From the top down, each box hands its mass and what lies on it to those
	// under it, by the area that it lies on of each.
	slices.SortStableFunc(all, func(a, b lying) int { return cmp.Compare(b.lo[2], a.lo[2]) })
	load := make([]float64, len(all))
	for i, l := range all {
		it := s.items[l.item]
		if load[i] > it.bears*(1+1e-12) {
			return false
		}
		var on float64
		for j := i + 1; j < len(all); j++ {
			u := under(all[j].span, l.span)
			if u > 0 && s.items[all[j].item].bears == 0 {
				return false
			}
			on += u
		}
		for j := i + 1; on > 0 && j < len(all); j++ {
			load[j] += (load[i] + it.mass) * under(all[j].span, l.span) / on
		}
	}
	return true
}

// layout tells a state box by box.
func (s *search) layout(st *state) Layout {
	l := Layout{Box: s.from, Left: make([]int, len(st.left)), Steps: s.taken}
	for i, n := range st.left {
		l.Left[i] = int(n)
	}
	mm := func(p xyz) geom.Vec3 { return geom.V3(float64(p[0])/1000, float64(p[1])/1000, float64(p[2])/1000) }
	for _, p := range st.put {
		b := &s.blocks[p.block]
		for _, pt := range b.parts {
			one := block{parts: []part{pt}}
			for _, x := range one.lying(p.lo, nil) {
				l.Placed = append(l.Placed, Placed{Item: int(pt.item), Turn: pt.turn, At: mm(x.lo), Size: mm(x.size())})
			}
		}
	}
	slices.SortStableFunc(l.Placed, func(a, b Placed) int {
		return cmp.Or(cmp.Compare(a.At.Z, b.At.Z), cmp.Compare(a.At.Y, b.At.Y), cmp.Compare(a.At.X, b.At.X))
	})
	l.Use = st.volume / volume(s.box)
	return l
}
