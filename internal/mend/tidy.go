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

// set is the triangles on the same three points.
type set struct {
	points     [3]int32
	members    []int32
	backToBack bool // some run one way and some the other
}

// dropDoubles leaves one of the triangles on the same three points. Where they
// lie back to back, a patch of them is
//
//   - a part of the surface that was put in twice, if along most of its edge an
//     odd number of other triangles goes on: one of each is left; so it is where
//     nothing goes on at all, and the patch is a panel drawn from both sides;
//   - a flap without thickness, if part of its edge is free: none is left;
//   - where two solids lie face to face otherwise: one each way is left.
func (f *fabric) dropDoubles() (n int, at geom.Vec3) {
	sets := f.sets()
	if len(sets) == len(f.triangles) {
		return
	}
	type use struct{ single, patch int }
	uses := make(map[uint64]use, 3*len(sets)/2)
	var patch []int32 // sets back to back
	for i, s := range sets {
		if s.backToBack {
			patch = append(patch, int32(i))
		}
		for k := range 3 {
			e := edgeKey(s.points[k], s.points[(k+1)%3])
			u := uses[e]
			if s.backToBack {
				u.patch++
			} else {
				u.single++
			}
			uses[e] = u
		}
	}
	// Patches hang together over edges that nothing else meets.
	first := map[uint64]int32{}
	root := make([]int32, len(sets))
	for i := range root {
		root[i] = int32(i)
	}
	find := func(i int32) int32 {
		for root[i] != i {
			root[i] = root[root[i]]
			i = root[i]
		}
		return i
	}
	for _, i := range patch {
		for k := range 3 {
			e := edgeKey(sets[i].points[k], sets[i].points[(k+1)%3])
			if uses[e].single > 0 {
				continue
			}
			if j, ok := first[e]; ok {
				x, y := find(i), find(j)
				root[max(x, y)] = min(x, y)
			} else {
				first[e] = i
			}
		}
	}
	rim := make([]struct{ odd, even, free int }, len(sets))
	for _, i := range patch {
		for k := range 3 {
			r := &rim[find(i)]
			switch u := uses[edgeKey(sets[i].points[k], sets[i].points[(k+1)%3])]; {
			case u.single%2 == 1:
				r.odd++
			case u.single > 0:
				r.even++
			case u.patch == 1:
				r.free++
			}
		}
	}
	gone := make([]bool, len(f.triangles))
	for i, s := range sets {
		if len(s.members) == 1 {
			continue
		}
		kept := s.members[:1]
		if r := rim[find(int32(i))]; s.backToBack && r.odd <= r.even+r.free && r.odd+r.even > 0 {
			kept = nil
			if r.free == 0 {
				kept = s.members[:1]
				for _, j := range s.members[1:] {
					if f.sameWay(j) != f.sameWay(kept[0]) {
						kept = []int32{kept[0], j}
						break
					}
				}
			}
		}
		for _, j := range s.members {
			if slices.Contains(kept, j) {
				continue
			}
			if n == 0 {
				at = f.points[s.points[0]]
			}
			n++
			gone[j] = true
		}
	}
	if n > 0 {
		f.keep(func(i int) bool { return !gone[i] })
	}
	return
}

// sameWay reports whether a triangle runs round its corners in rising order.
func (f *fabric) sameWay(i int32) bool {
	t := f.triangles[i]
	return (t[0] < t[1]) != (t[1] < t[2]) != (t[2] < t[0])
}

func (f *fabric) sets() []set {
	type entry struct {
		points [3]int32
		i      int32
	}
	entries := make([]entry, len(f.triangles))
	for i, t := range f.triangles {
		a, b, c := t[0], t[1], t[2]
		entries[i] = entry{[3]int32{min(a, b, c), a + b + c - min(a, b, c) - max(a, b, c), max(a, b, c)}, int32(i)}
	}
	slices.SortFunc(entries, func(a, b entry) int {
		return cmp.Or(cmp.Compare(a.points[0], b.points[0]), cmp.Compare(a.points[1], b.points[1]),
			cmp.Compare(a.points[2], b.points[2]), cmp.Compare(a.i, b.i))
	})
	numbers := make([]int32, len(entries))
	out := make([]set, 0, len(entries))
	for k, e := range entries {
		numbers[k] = e.i
		if n := len(out); n > 0 && out[n-1].points == e.points {
			s := &out[n-1]
			s.members = numbers[k-len(s.members) : k+1]
			s.backToBack = s.backToBack || f.sameWay(e.i) != f.sameWay(s.members[0])
			continue
		}
		out = append(out, set{points: e.points, members: numbers[k : k+1]})
	}
	return out
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
