package mend

import (
	"math"
	"slices"

	"groundwork/internal/geom"
)

// weldEqual joins vertices at the same place and returns how many went.
func (f *fabric) weldEqual() int {
	index := make(map[geom.Vec3]int32, len(f.points))
	to := make([]int32, len(f.points))
	n := 0
	for i, p := range f.points {
		p = geom.V3(p.X+0, p.Y+0, p.Z+0) // -0 is 0
		f.points[i] = p
		j, ok := index[p]
		if !ok {
			j = int32(i)
			index[p] = j
		} else {
			n++
		}
		to[i] = j
	}
	if n > 0 {
		f.rename(to)
	}
	return n
}

func (f *fabric) rename(to []int32) {
	for i, t := range f.triangles {
		f.triangles[i] = [3]int32{to[t[0]], to[t[1]], to[t[2]]}
	}
	f.mates = nil
}

// weldNear joins points of openings that lie within reach of one another.
// Only openings: a closed body keeps its finest features whatever the reach.
// A point joins the nearest one that was kept before it, so chains of near
// points are not drawn together.
func (f *fabric) weldNear(reach float64) (joined int, farthest float64, at geom.Vec3) {
	var loose []int32
	seen := make([]bool, len(f.points))
	for _, h := range f.borders() {
		a, b := f.ends(h)
		for _, p := range [2]int32{a, b} {
			if !seen[p] {
				seen[p] = true
				loose = append(loose, p)
			}
		}
	}
	if len(loose) == 0 {
		return
	}
	slices.Sort(loose)
	type cell [3]int64
	kept := make(map[cell][]int32, len(loose))
	whole := func(x float64) int64 { return int64(math.Floor(x / (2 * reach))) }
	to := make([]int32, len(f.points))
	for i := range to {
		to[i] = int32(i)
	}
	for _, p := range loose {
		v := f.points[p]
		best, dist := int32(-1), reach
		for x := whole(v.X - reach); x <= whole(v.X+reach); x++ {
			for y := whole(v.Y - reach); y <= whole(v.Y+reach); y++ {
				for z := whole(v.Z - reach); z <= whole(v.Z+reach); z++ {
					for _, q := range kept[cell{x, y, z}] {
						if d := v.Dist(f.points[q]); d <= dist && (best < 0 || d < dist) {
							best, dist = q, d
						}
					}
				}
			}
		}
		if best < 0 {
			c := cell{whole(v.X), whole(v.Y), whole(v.Z)}
			kept[c] = append(kept[c], p)
			continue
		}
		to[p] = best
		joined++
		if dist >= farthest {
			farthest, at = dist, v
		}
	}
	if joined > 0 {
		f.rename(to)
	}
	return
}

// drawTogether joins points of two openings, or of two stretches of one, that
// lie within reach: only those that are nearest to each other, and never two
// that a side runs between, so that a finely divided border stays as it is.
func (f *fabric) drawTogether(reach float64) (joined int, widest float64, at geom.Vec3) {
	sides := f.borders()
	var loose []int32
	number := map[int32]int32{}
	for _, h := range sides {
		a, b := f.ends(h)
		for _, p := range [2]int32{a, b} {
			if _, ok := number[p]; !ok {
				number[p] = int32(len(loose))
				loose = append(loose, p)
			}
		}
	}
	if len(loose) == 0 {
		return
	}
	tied := make(map[uint64]bool, len(sides))
	for _, h := range sides {
		a, b := f.ends(h)
		tied[edgeKey(a, b)] = true
	}
	boxes := make([]geom.Box3, len(loose))
	for i, p := range loose {
		boxes[i] = geom.EmptyBox3().Add(f.points[p])
	}
	t := newTree(boxes)
	nearest := make([]int32, len(loose))
	for i, p := range loose {
		v := f.points[p]
		best, dist := int32(-1), reach
		t.touching(boxes[i].Grow(reach), func(j int32) bool {
			q := loose[j]
			if d := v.Dist(f.points[q]); q != p && d <= dist && !tied[edgeKey(p, q)] && (d < dist || best < 0 || q < loose[best]) {
				best, dist = j, d
			}
			return true
		})
		nearest[i] = best
	}
	to := make([]int32, len(f.points))
	for i := range to {
		to[i] = int32(i)
	}
	for i, j := range nearest {
		if j < 0 || nearest[j] != int32(i) || int32(i) > j {
			continue
		}
		p, q := loose[i], loose[j]
		d := f.points[p].Dist(f.points[q])
		mid := f.points[p].Lerp(f.points[q], 0.5)
		f.points[min(p, q)] = mid
		to[max(p, q)] = min(p, q)
		joined++
		if d > widest {
			widest, at = d, mid
		}
	}
	if joined > 0 {
		f.rename(to)
	}
	return
}
