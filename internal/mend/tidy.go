package mend

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// dropRepeated drops triangles with a corner twice. Their two other sides run
// between the same points, so nothing opens.
func (f *fabric) dropRepeated() (n int, at geom.Vec3) {
	whole := func(t [3]int32) bool { return t[0] != t[1] && t[1] != t[2] && t[2] != t[0] }
	for _, t := range f.triangles {
		if !whole(t) {
			if n == 0 {
				at = f.points[t[0]]
			}
			n++
		}
	}
	if n > 0 {
		f.keep(func(i int) bool { return whole(f.triangles[i]) })
	}
	return
}

// dropDoubles leaves one of the triangles on the same three points, or none
// where they lie back to back and the surface is closed without them: where an
// odd number of other triangles meets most of the sides, one is wanted there.
func (f *fabric) dropDoubles() (n int, at geom.Vec3) {
	type set struct {
		points [3]int32
		i      int32
		odd    bool
	}
	sets := make([]set, len(f.triangles))
	for i, t := range f.triangles {
		s := t
		odd := false // whether it takes an odd number of swaps to sort the corners
		for _, k := range [3]int{0, 1, 0} {
			if s[k] > s[k+1] {
				s[k], s[k+1] = s[k+1], s[k]
				odd = !odd
			}
		}
		sets[i] = set{s, int32(i), odd}
	}
	slices.SortFunc(sets, func(a, b set) int {
		return cmp.Or(slices.Compare(a.points[:], b.points[:]), cmp.Compare(a.i, b.i))
	})
	type group struct{ from, to int }
	var doubles []group
	groups := 0
	for i := 0; i < len(sets); {
		j := i + 1
		for j < len(sets) && sets[j].points == sets[i].points {
			j++
		}
		if j-i > 1 {
			doubles = append(doubles, group{i, j})
		}
		groups++
		i = j
	}
	if len(doubles) == 0 {
		return
	}
	around := make(map[uint64]int, 3*groups) // edge: triangles that differ
	for i, s := range sets {
		if i > 0 && sets[i-1].points == s.points {
			continue
		}
		for k := range 3 {
			around[edgeKey(s.points[k], s.points[(k+1)%3])]++
		}
	}
	gone := make([]bool, len(f.triangles))
	for _, g := range doubles {
		backToBack := false
		wanted := 0
		for _, s := range sets[g.from:g.to] {
			backToBack = backToBack || s.odd != sets[g.from].odd
		}
		p := sets[g.from].points
		for k := range 3 {
			if (around[edgeKey(p[k], p[(k+1)%3])]-1)%2 == 1 {
				wanted++
			}
		}
		from := g.from + 1
		if backToBack && wanted < 2 {
			from--
		}
		for _, s := range sets[from:g.to] {
			if n == 0 {
				at = f.points[s.points[0]]
			}
			n++
			gone[s.i] = true
		}
	}
	f.keep(func(i int) bool { return !gone[i] })
	return
}

// dropFlat takes out triangles whose height over their longest side is no more
// than reach, without opening a crack: a side no longer than reach is drawn
// together; otherwise the corner over the longest side lies along that side, so
// every other triangle on that side is divided there, and the flat one goes.
// Sides lose and gain triangles by pairs, so what was closed stays closed, and
// nothing moves farther than reach.
//
// only, if not nil, says which triangles may be taken out for being flat.
func (f *fabric) dropFlat(reach float64, only []bool) (n int, at geom.Vec3) {
	var work []int32
	for i := range f.triangles {
		if only != nil && !only[i] {
			continue
		}
		if _, flat := f.flat(int32(i), reach); flat {
			work = append(work, int32(i))
		}
	}
	if len(work) == 0 {
		return
	}
	on := make([][]int32, len(f.points)) // point: triangles that have, or had, a corner there
	for i, t := range f.triangles {
		for _, p := range t {
			on[p] = append(on[p], int32(i))
		}
	}
	gone := make([]bool, len(f.triangles))
	has := func(i, p int32) bool {
		t := f.triangles[i]
		return !gone[i] && (t[0] == p || t[1] == p || t[2] == p)
	}
	// Dividing can make other triangles flat, and might go round in circles
	// where many points lie in one line, so the number of steps is bounded.
	slices.Reverse(work)
	for steps := 64 + 16*len(work); len(work) > 0 && steps > 0; steps-- {
		i := work[len(work)-1]
		work = work[:len(work)-1]
		if gone[i] {
			continue
		}
		long, flat := f.flat(i, reach)
		if !flat {
			continue
		}
		if n == 0 {
			at = f.points[f.triangles[i][0]]
		}
		n++
		if a, b, l := f.shortest(i); l <= reach {
			a, b = min(a, b), max(a, b)
			for _, j := range on[b] {
				if !has(j, b) {
					continue
				}
				if has(j, a) {
					gone[j] = true
					continue
				}
				for k, p := range f.triangles[j] {
					if p == b {
						f.triangles[j][k] = a
					}
				}
				on[a] = append(on[a], j)
				if only == nil {
					work = append(work, j)
				}
			}
			continue
		}
		a, b := f.ends(long)
		c := f.apex(long)
		gone[i] = true
		for _, j := range slices.Clone(on[a]) {
			if j == i || !has(j, a) || !has(j, b) {
				continue
			}
			first, second := f.triangles[j], f.triangles[j]
			for k := range 3 {
				if first[k] == b {
					first[k] = c
				}
				if second[k] == a {
					second[k] = c
				}
			}
			if has(j, c) { // folded onto the flat one: both vanish, the other two sides lie together
				gone[j] = true
				continue
			}
			f.triangles[j] = first
			m := int32(len(f.triangles))
			f.triangles = append(f.triangles, second)
			gone = append(gone, false)
			if f.turned != nil {
				f.turned = append(f.turned, f.turned[j])
			}
			on[c] = append(on[c], j, m)
			for k := range 3 {
				if second[k] != c {
					on[second[k]] = append(on[second[k]], m)
				}
			}
			if only == nil {
				work = append(work, m, j)
			} else {
				only = append(only, false)
			}
		}
	}
	f.keep(func(i int) bool { return !gone[i] })
	return
}

// flat is the longest side of a triangle, and whether its height over it is no
// more than reach.
func (f *fabric) flat(i int32, reach float64) (long int32, flat bool) {
	long = 3 * i
	for h := 3*i + 1; h < 3*i+3; h++ {
		if f.length(h) > f.length(long) {
			long = h
		}
	}
	area := f.normal(i).Len()
	return long, area <= reach*f.length(long) || area == 0 || math.IsNaN(area)
}

func (f *fabric) shortest(i int32) (a, b int32, length float64) {
	short := 3 * i
	for h := 3*i + 1; h < 3*i+3; h++ {
		if f.length(h) < f.length(short) {
			short = h
		}
	}
	a, b = f.ends(short)
	return a, b, f.length(short)
}
