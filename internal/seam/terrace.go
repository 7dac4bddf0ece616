package seam

import (
	"context"
	"math"
	"math/bits"

	"groundwork/internal/geom"
)

// terraces cuts a body into slabs, each slab into bars and each bar into boxes
// that just go into the printer, slabs and bars each divided where it suits them:
// of all such partitions with planes on a lattice the one with fewest boxes, for
// every order of the axes, way to lay the box and some places of the lattice. The
// lattice is as wide as planes of neighbouring parts must lie apart, so that
// those of different bars line up or leave room for dowels.
//
// It knows nothing of bores and joints: where they are in the way of the result
// it is no plan.
func (c *cutter) terraces(ctx context.Context) *node {
	f := c.frames[0]
	axes := [3]geom.Vec3{f.X, f.Y, f.Z}
	var r [3]interval
	for k, a := range axes {
		r[k] = span(c.points, a)
	}
	along := newRows(c.points, f, r).d
	best, fewest := (*terrace)(nil), math.MaxInt32
	tried := map[lay]bool{}
	for _, l := range c.lays[0] {
		if tried[l] || min(l[0], l[1], l[2]) < c.o.Stagger {
			continue
		}
		tried[l] = true
		for o := range 27 {
			if ctx.Err() != nil {
				return nil
			}
			t, ok := c.lattice(along, f, r, l, [3]float64{float64(o % 3), float64(o / 3 % 3), float64(o / 9)})
			if !ok {
				continue
			}
			for _, order := range [][3]int{{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}} {
				t.order = order
				if n := t.slabs(); n < fewest {
					fewest = n
					copied := *t
					best = &copied
				}
			}
		}
	}
	if best == nil {
		return nil
	}
	best.slabs()
	return best.tree()
}

// terrace is one lattice laid through a body.
type terrace struct {
	f      geom.Frame
	at     [3]float64 // the lattice's corner in f
	pitch  [3]float64
	reach  [3]int // how many steps the box goes along each axis
	n      [3]int // steps over the body
	full   []bool // by step along the first, second and third axis
	order  [3]int
	cuts   []int   // of slabs, rising, without the ends
	across [][]int // of the bars of each slab
}

func (t *terrace) filled(a [3]int) bool { return t.full[t.index(a)] }

// lattice is the lattice for a box, moved by thirds of its pitch.
func (c *cutter) lattice(along [3][]float64, f geom.Frame, r [3]interval, l lay, third [3]float64) (*terrace, bool) {
	t := &terrace{f: f}
	total := 1
	for k := range 3 {
		t.reach[k] = int(l[k] / c.o.Stagger)
		t.pitch[k] = l[k] / float64(t.reach[k])
		t.at[k] = r[k].lo - t.pitch[k]*third[k]/3
		t.n[k] = max(1, int(math.Ceil((r[k].hi-t.at[k])/t.pitch[k]-1e-9)))
		total *= t.n[k]
	}
	if max(t.n[0], t.n[1], t.n[2]) > 64 {
		return nil, false
	}
	t.full = make([]bool, total)
	for p := range along[0] {
		const hair = 1e-6 // what just touches the next step is in this one
		var i [3]int
		for k := range 3 {
			i[k] = max(0, min(t.n[k]-1, int(along[k][p]/t.pitch[k]+third[k]/3-hair)))
		}
		t.full[t.index(i)] = true
	}
	t.fill()
	return t, true
}

func (t *terrace) index(a [3]int) int { return (a[2]*t.n[1]+a[1])*t.n[0] + a[0] }

// fill makes full what cannot be reached from outside past steps that hold
// surface.
func (t *terrace) fill() {
	outside := make([]bool, len(t.full))
	var queue [][3]int
	visit := func(a [3]int) {
		if i := t.index(a); !t.full[i] && !outside[i] {
			outside[i] = true
			queue = append(queue, a)
		}
	}
	for z := range t.n[2] {
		for y := range t.n[1] {
			for x := range t.n[0] {
				if x == 0 || y == 0 || z == 0 || x == t.n[0]-1 || y == t.n[1]-1 || z == t.n[2]-1 {
					visit([3]int{x, y, z})
				}
			}
		}
	}
	for len(queue) > 0 {
		a := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		for k := range 3 {
			for _, d := range []int{-1, 1} {
				b := a
				if b[k] += d; b[k] >= 0 && b[k] < t.n[k] {
					visit(b)
				}
			}
		}
	}
	for i := range t.full {
		t.full[i] = !outside[i]
	}
}

// slabs divides the body across the first axis of the order so that least boxes
// are needed, and returns how many.
func (t *terrace) slabs() int {
	a, b, d := t.order[0], t.order[1], t.order[2]
	rows := make([][]uint64, t.n[a]) // by step along a and b: which steps along d are full
	for i := range rows {
		rows[i] = make([]uint64, t.n[b])
		for j := range rows[i] {
			for k := range t.n[d] {
				var at [3]int
				at[a], at[b], at[d] = i, j, k
				if t.filled(at) {
					rows[i][j] |= 1 << k
				}
			}
		}
	}
	least := make([]int, t.n[a]+1)
	from := make([]int, t.n[a]+1)
	bars := make([][]int, t.n[a]+1) // cuts of the slab that ends here
	merged := make([]uint64, t.n[b])
	for end := 1; end <= t.n[a]; end++ {
		least[end] = math.MaxInt32
		clear(merged)
		for start := end - 1; start >= max(0, end-t.reach[a]); start-- {
			for j := range merged {
				merged[j] |= rows[start][j]
			}
			n, cuts := divide(merged, t.reach[b], t.reach[d])
			if v := least[start] + n; v < least[end] {
				least[end], from[end], bars[end] = v, start, cuts
			}
		}
	}
	t.cuts, t.across = nil, nil
	for end := t.n[a]; end > 0; end = from[end] {
		t.across = append([][]int{bars[end]}, t.across...)
		if from[end] > 0 {
			t.cuts = append([]int{from[end]}, t.cuts...)
		}
	}
	return least[t.n[a]]
}

// divide cuts a row of columns into runs of at most wide so that least boxes tall
// steps high hold what is full in them.
func divide(columns []uint64, wide, tall int) (int, []int) {
	least := make([]int, len(columns)+1)
	from := make([]int, len(columns)+1)
	for end := 1; end <= len(columns); end++ {
		least[end] = math.MaxInt32
		var m uint64
		for start := end - 1; start >= max(0, end-wide); start-- {
			m |= columns[start]
			if v := least[start] + stacks(m, tall); v < least[end] {
				least[end], from[end] = v, start
			}
		}
	}
	var cuts []int
	for end := from[len(columns)]; end > 0; end = from[end] {
		cuts = append([]int{end}, cuts...)
	}
	return least[len(columns)], cuts
}

// stacks is the number of boxes tall steps high that hold a column, from the
// lowest full step up.
func stacks(m uint64, tall int) int {
	n := 0
	for m != 0 {
		n++
		if at := bits.TrailingZeros64(m) + tall; at >= 64 {
			m = 0
		} else {
			m &= ^uint64(0) << at
		}
	}
	return n
}

// tree is the partition as planes. Bars are cut at the ends of their boxes; a cut
// beside which nothing lies falls away when the tree is grown.
func (t *terrace) tree() *node {
	a, b, d := t.order[0], t.order[1], t.order[2]
	axes := [3]geom.Vec3{t.f.X, t.f.Y, t.f.Z}
	plane := func(axis, step int) geom.Plane {
		return geom.Plane{Normal: axes[axis], D: t.at[axis] + t.pitch[axis]*float64(step)}
	}
	ends := func(cuts []int, n int) []int { return append(append([]int{0}, cuts...), n) }
	slabs := ends(t.cuts, t.n[a])
	var slabNodes []*node
	for s := range len(slabs) - 1 {
		bars := ends(t.across[s], t.n[b])
		var barNodes []*node
		for q := range len(bars) - 1 {
			var m uint64
			for i := slabs[s]; i < slabs[s+1]; i++ {
				for j := bars[q]; j < bars[q+1]; j++ {
					for k := range t.n[d] {
						var at [3]int
						at[a], at[b], at[d] = i, j, k
						if t.filled(at) {
							m |= 1 << k
						}
					}
				}
			}
			var cuts []geom.Plane
			for m != 0 {
				at := bits.TrailingZeros64(m) + t.reach[d]
				if at >= t.n[d] {
					break
				}
				m &= ^uint64(0) << at
				if m != 0 {
					cuts = append(cuts, plane(d, at))
				}
			}
			barNodes = append(barNodes, stacked(cuts, nil))
		}
		var cuts []geom.Plane
		for _, s := range t.across[s] {
			cuts = append(cuts, plane(b, s))
		}
		slabNodes = append(slabNodes, stacked(cuts, barNodes))
	}
	var cuts []geom.Plane
	for _, s := range t.cuts {
		cuts = append(cuts, plane(a, s))
	}
	return stacked(cuts, slabNodes)
}

// stacked is the tree of parallel planes, halved so that it stays shallow, with
// trees between them: parts has one more than planes, or is nil for leaves.
func stacked(planes []geom.Plane, parts []*node) *node {
	if parts == nil {
		parts = make([]*node, len(planes)+1)
		for i := range parts {
			parts[i] = &node{}
		}
	}
	if len(planes) == 0 {
		return parts[0]
	}
	m := len(planes) / 2
	return &node{plane: planes[m], below: stacked(planes[:m], parts[:m+1]), above: stacked(planes[m+1:], parts[m+1:])}
}
