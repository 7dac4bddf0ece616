package unfold

import (
	"math"
	"slices"

	"groundwork/internal/geom"
)

// straighten cuts a tube open along the straight ruling from the vertex where
// cut starts, dividing triangles where no side runs there. p is the tube laid
// flat with that cut along sides. It fails where the cut is such a ruling
// already, and where the surface has none there.
//
// The tube is laid flat with a cut on its far side instead. There the ruling is
// a straight line along which the normal does not change.
func (m *mesh) straighten(p *Patch, from []int32, cut map[int32]bool, stops []stop) (*Patch, Distortion, bool) {
	var none Distortion
	size := m.size()
	near := 1e-7 * size
	on := map[int32]bool{} // vertices of the cut
	for h := range cut {
		on[m.from(h)], on[m.to(h)] = true, true
	}
	start := int32(-1)
	for _, v := range stops[0].vertices {
		if on[v] {
			start = v
		}
	}
	if start < 0 {
		return nil, none, false
	}
	if p.cutIsRuling(from, on, start, near) {
		return nil, none, false
	}
	// Half way round the rim from the start.
	rim := stops[0].vertices
	at := slices.Index(rim, start)
	far := rim[(at+len(rim)/2)%len(rim)]
	if far == start {
		return nil, none, false
	}
	other, err := m.cutTree([]stop{stops[0], stops[1]}, Options{SeamAt: &m.v[far]})
	if err != nil {
		return nil, none, false
	}
	q, back, err := m.lay(other)
	if err != nil {
		return nil, none, false
	}
	q.finder = q.index(q.finder)
	s := int32(slices.Index(back, start))
	if slices.Contains(back[s+1:], start) {
		return nil, none, false // the other cut comes through here
	}
	d, steady := q.ruling(s)
	if !steady {
		return nil, none, false
	}

	// The triangles that the line goes through, from the start on.
	f := make([]float64, len(q.Flat))
	for i, x := range q.Flat {
		if f[i] = d.Cross(x.Sub(q.Flat[s])); math.Abs(f[i]) < near {
			f[i] = 0
		}
	}
	through := q.through(s, d, f, near)
	value := make([]float64, len(m.v))
	known := make([]bool, len(m.v))
	straight := true // no triangle is divided: the line runs along sides of the cut there is
	for t, yes := range through {
		if !yes {
			continue
		}
		for k, v := range m.tri[t] {
			x := f[q.Triangles[t][k]]
			if known[v] && value[v] != x {
				return nil, none, false // the line meets the other cut
			}
			known[v], value[v] = true, x
			straight = straight && (x != 0 || on[v])
		}
		lo, hi := math.Inf(1), math.Inf(-1)
		zeros := 0
		for _, v := range m.tri[t] {
			lo, hi = min(lo, value[v]), max(hi, value[v])
			if value[v] == 0 {
				zeros++
			}
		}
		if zeros == 3 {
			return nil, none, false
		}
		straight = straight && (lo >= 0 || hi <= 0)
	}
	if straight {
		return nil, none, false
	}
	fine, value := m.split(value, 0, through)
	if fine.link() != nil {
		return nil, none, false
	}
	line := map[int32]bool{}
	isOn := func(v int32) bool { return value[v] == 0 && (int(v) >= len(m.v) || known[v]) }
	ends := map[int32]int{}
	for h, o := range fine.twin {
		if i, j := fine.from(int32(h)), fine.to(int32(h)); o > int32(h) && isOn(i) && isOn(j) {
			line[int32(h)] = true
			ends[i]++
			ends[j]++
		}
	}
	// It must be one path from border to border.
	single := 0
	for _, n := range ends {
		if n == 1 {
			single++
		}
		if n > 2 {
			return nil, none, false
		}
	}
	if single != 2 || ends[start] != 1 {
		return nil, none, false
	}
	r, _, err := fine.lay(line)
	if err != nil {
		return nil, none, false
	}
	rm := r.mesh()
	if rm.link() != nil || rm.check() != nil || len(rm.borders()) != len(m.borders())-1 {
		return nil, none, false
	}
	return r, r.distortion(), true
}

// cutIsRuling reports whether the vertices on lie in one straight line in space
// and have nearly the same normal.
func (p *Patch) cutIsRuling(from []int32, on map[int32]bool, start int32, near float64) bool {
	const same = 0.02 // of the normal: estimates near the rim of a cone differ by that
	first := slices.Index(from, start)
	far := first
	for i, v := range from {
		if !on[v] {
			continue
		}
		if p.Normals[i].Sub(p.Normals[first]).Len() > same {
			return false
		}
		if p.Vertices[i].Dist(p.Vertices[first]) > p.Vertices[far].Dist(p.Vertices[first]) {
			far = i
		}
	}
	d := p.Vertices[far].Sub(p.Vertices[first]).Unit()
	for i, v := range from {
		if on[v] && d.Cross(p.Vertices[i].Sub(p.Vertices[first])).Len() > near {
			return false
		}
	}
	return true
}

// ruling is the chart direction from a border vertex into the patch along which
// the normal changes least, near the direction in which the surface bends
// least; false if it changes by more than a little all the same.
func (p *Patch) ruling(s int32) (geom.Vec2, bool) {
	_, bend := p.bend[s].greatest()
	at := p.Flat[s]
	box := geom.EmptyBox2()
	for _, q := range p.Flat {
		box = box.Add(q)
	}
	size := box.Size().Len()
	// How far the line runs in the patch, and how much the normal changes on it.
	change := func(d geom.Vec2) (length, turn float64) {
		const steps = 64
		n := p.Normal(at)
		for i := 1; i <= steps; i++ {
			x := at.Add(d.Scale(size * float64(i) / steps))
			if !p.Contains(x) {
				break
			}
			length = size * float64(i) / steps
			turn = max(turn, p.Normal(x).Sub(n).Len())
		}
		return length, turn
	}
	d := bend.Left()
	l1, _ := change(d)
	l2, _ := change(d.Scale(-1))
	if l2 > l1 {
		d = d.Scale(-1)
	}
	const wide, fine = 0.35, 1e-7 // radians
	best := 0.0
	_, least := change(d)
	for step := wide / 4; step > fine; step /= 2 {
		for _, k := range [4]float64{-2, -1, 1, 2} {
			a := best + k*step
			if l, turn := change(d.Rotate(a)); l > 0 && turn < least && math.Abs(a) < wide {
				best, least = a, turn
			}
		}
	}
	const steady = 0.02
	l, turn := change(d.Rotate(best))
	return d.Rotate(best), l > 0 && turn < steady
}

// through says through which triangles the line f = 0 goes, starting from a
// vertex in the direction d.
func (p *Patch) through(s int32, d geom.Vec2, f []float64, near float64) []bool {
	m := p.mesh()
	through := make([]bool, len(p.Triangles))
	if m.link() != nil {
		return through
	}
	around := make([][]int32, len(p.Flat))
	for t, c := range p.Triangles {
		for _, i := range c {
			around[i] = append(around[i], int32(t))
		}
	}
	touches := func(t int32) bool { // it has a piece of the line ahead of the start
		lo, hi, ahead, zeros := math.Inf(1), math.Inf(-1), false, 0
		for _, i := range p.Triangles[t] {
			lo, hi = min(lo, f[i]), max(hi, f[i])
			ahead = ahead || d.Dot(p.Flat[i].Sub(p.Flat[s])) > near
			if f[i] == 0 {
				zeros++
			}
		}
		return ahead && (lo < 0 && hi > 0 || zeros >= 2)
	}
	var queue []int32
	visit := func(ts []int32) {
		for _, t := range ts {
			if !through[t] && touches(t) {
				through[t] = true
				queue = append(queue, t)
			}
		}
	}
	visit(around[s])
	for i := 0; i < len(queue); i++ {
		t := queue[i]
		for k, v := range p.Triangles[t] {
			if f[v] == 0 && v != s {
				visit(around[v])
			}
			w := p.Triangles[t][(k+1)%3]
			if o := m.twin[3*t+int32(k)]; o >= 0 && (f[v] < 0 && f[w] > 0 || f[v] > 0 && f[w] < 0) {
				visit([]int32{o / 3})
			}
		}
	}
	return through
}
