package unfold

import (
	"cmp"
	"container/heap"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// stop is something that a cut joins: a border that is not a mere hole, or a
// single sharp point.
type stop struct {
	vertices []int32
	point    bool
}

func contains(done [][]stop, s []stop) bool {
	for _, d := range done {
		if slices.EqualFunc(d, s, func(a, b stop) bool { return a.point == b.point && slices.Equal(a.vertices, b.vertices) }) {
			return true
		}
	}
	return false
}

// stops lists what has to be joined by cuts before the mesh can lie flat; one
// stop needs none.
//
// A border that bounds a hole in the plane turns by -2π in all, seen with the
// surface on the left; the rim of a cylinder turns by 0, that of a cone by
// 2π sin β. So a border that departs from -2π by more than hole radians is not
// a mere hole. The longest of those is the outer border.
//
// A sharp point is an inner vertex whose defect is more than point, if a few
// such hold nearly all the curvature there is.
func (m *mesh) stops(hole, point float64) (s []stop) {
	sum, border := m.angles()
	type loop struct {
		stop
		length float64
	}
	var round, holes []loop
	for _, b := range m.borders() {
		var l loop
		turn := 0.0
		for _, h := range b {
			v := m.from(h)
			l.vertices = append(l.vertices, v)
			turn += math.Pi - sum[v]
			l.length += m.v[v].Dist(m.v[m.to(h)])
		}
		if math.Abs(turn+2*math.Pi) > hole {
			round = append(round, l)
		} else {
			holes = append(holes, l)
		}
	}
	longest := func(a, b loop) int { return cmp.Compare(b.length, a.length) }
	slices.SortStableFunc(round, longest)
	slices.SortStableFunc(holes, longest)
	if len(round) == 0 { // every border bounds a hole: a sphere with holes
		round = holes[:1]
	}
	for _, l := range round {
		s = append(s, l.stop)
	}
	var sharp []stop
	var all, held float64
	for v, a := range sum {
		if border[v] {
			continue
		}
		d := math.Abs(2*math.Pi - a)
		all += d
		if d > point {
			held += d
			sharp = append(sharp, stop{[]int32{int32(v)}, true})
		}
	}
	const few, nearly = 4, 0.9
	if len(sharp) <= few && held > nearly*all {
		s = append(s, sharp...)
	}
	return s
}

// cutTree joins the stops by shortest paths along edges: from the first to the
// nearest other, and from all that is joined so far to the next.
func (m *mesh) cutTree(stops []stop, o Options) (map[int32]bool, error) {
	if len(stops) < 2 {
		return nil, nil
	}
	cut := map[int32]bool{}
	joined := slices.Clone(stops[0].vertices)
	left := slices.Clone(stops[1:])
	for len(left) > 0 {
		from := joined
		if len(left) == len(stops)-1 {
			from = m.seamStart(stops, o)
		}
		path, err := m.shortest(from, joined, left)
		if err != nil {
			return nil, err
		}
		for _, h := range path {
			cut[h] = true
			joined = append(joined, m.from(h), m.to(h))
		}
		end := joined[len(joined)-1]
		i := slices.IndexFunc(left, func(s stop) bool { return slices.Contains(s.vertices, end) })
		joined = append(joined, left[i].vertices...)
		left = slices.Delete(left, i, i+1)
	}
	return cut, nil
}

// seamStart lists the vertices of the first stop from which the cut may start:
// the one that Options ask for, or all.
func (m *mesh) seamStart(stops []stop, o Options) []int32 {
	all := stops[0].vertices
	var value func(geom.Vec3) float64
	switch {
	case o.SeamAt != nil:
		value = func(p geom.Vec3) float64 { return -p.Dist(*o.SeamAt) }
	case o.SeamToward != geom.Vec3{}:
		// Seen along the line between the two borders' middles, so that a slanting
		// end does not decide.
		a, b := m.middle(all), m.middle(stops[1].vertices)
		axis := b.Sub(a).Unit()
		d := o.SeamToward.Sub(axis.Scale(o.SeamToward.Dot(axis))).Unit()
		value = func(p geom.Vec3) float64 {
			r := p.Sub(a)
			return r.Sub(axis.Scale(r.Dot(axis))).Unit().Dot(d)
		}
	default:
		return all
	}
	best := all[0]
	for _, v := range all {
		d := value(m.v[v]) - value(m.v[best])
		if d > 1e-9 || d > -1e-9 && v < best {
			best = v
		}
	}
	return []int32{best}
}

// middle is the mean of the vertices.
func (m *mesh) middle(vs []int32) (c geom.Vec3) {
	for _, v := range vs {
		c = c.Add(m.v[v])
	}
	return c.Scale(1 / float64(len(vs)))
}

type reached struct {
	cost float64
	v    int32
}
type front []reached

func (f front) Len() int { return len(f) }
func (f front) Less(i, j int) bool {
	return cmp.Or(cmp.Compare(f[i].cost, f[j].cost), cmp.Compare(f[i].v, f[j].v)) < 0
}
func (f front) Swap(i, j int) { f[i], f[j] = f[j], f[i] }
func (f *front) Push(x any)   { *f = append(*f, x.(reached)) }
func (f *front) Pop() any {
	x := (*f)[len(*f)-1]
	*f = (*f)[:len(*f)-1]
	return x
}

// shortest is the shortest path of edges from one of the given vertices to one
// of the stops, through no border vertex and none of joined, as half-edges.
// Paths whose lengths are equal but for rounding are told apart by their
// vertices' numbers, so that moving the mesh does not change the choice.
func (m *mesh) shortest(from, joined []int32, to []stop) ([]int32, error) {
	size := 0.0
	for _, v := range m.v {
		size = max(size, v.Dist(m.v[0]))
	}
	same := 1e-9 * size
	target := make([]bool, len(m.v))
	for _, s := range to {
		for _, v := range s.vertices {
			target[v] = true
		}
	}
	_, barred := m.angles()
	for _, v := range joined {
		barred[v] = true
	}
	cost := make([]float64, len(m.v))
	via := make([]int32, len(m.v))
	done := make([]bool, len(m.v))
	for v := range cost {
		cost[v], via[v] = math.Inf(1), -1
	}
	out := make([][]int32, len(m.v)) // half-edges by either end
	for h := range int32(len(m.twin)) {
		if m.twin[h] >= 0 {
			out[m.from(h)] = append(out[m.from(h)], h)
		}
	}
	var f front
	for _, v := range from {
		cost[v] = 0
		heap.Push(&f, reached{0, v})
	}
	isSource := make([]bool, len(m.v))
	for _, v := range from {
		isSource[v] = true
	}
	end := int32(-1)
	for len(f) > 0 {
		r := heap.Pop(&f).(reached)
		if end >= 0 && r.cost > cost[end]+same {
			break
		}
		if done[r.v] {
			continue
		}
		done[r.v] = true
		if target[r.v] {
			if end < 0 || r.v < end {
				end = r.v
			}
			continue
		}
		if barred[r.v] && !isSource[r.v] {
			continue
		}
		for _, h := range out[r.v] {
			w := m.to(h)
			c := r.cost + m.v[r.v].Dist(m.v[w])
			if c < cost[w]-same || c < cost[w]+same && !done[w] && via[w] >= 0 && r.v < m.from(via[w]) {
				cost[w], via[w] = min(c, cost[w]), h
				heap.Push(&f, reached{cost[w], w})
			}
		}
	}
	if end < 0 {
		return nil, fmt.Errorf("no way to cut the surface open: %w", ErrNotFlat)
	}
	var path []int32
	for v := end; via[v] >= 0; v = m.from(via[v]) {
		path = append(path, via[v])
	}
	slices.Reverse(path)
	return path, nil
}
