package mend

import (
	"cmp"
	"slices"

	"groundwork/internal/geom"
)

// divideBorders puts a corner into every side of an opening wherever a point
// of an opening lies within reach of it and the border there runs along it: a
// T-junction. It returns how many were put in and how far the farthest lay off.
func (f *fabric) divideBorders(reach float64) (n int, farthest float64, at geom.Vec3) {
	sides := f.borders()
	if len(sides) == 0 {
		return
	}
	boxes := make([]geom.Box3, len(sides))
	beside := map[int32][]int32{} // point: the points that border sides join it to
	var loose []int32
	for i, h := range sides {
		a, b := f.ends(h)
		boxes[i] = geom.EmptyBox3().Add(f.points[a]).Add(f.points[b]).Grow(reach)
		for _, e := range [2][2]int32{{a, b}, {b, a}} {
			if beside[e[0]] == nil {
				loose = append(loose, e[0])
			}
			beside[e[0]] = append(beside[e[0]], e[1])
		}
	}
	slices.Sort(loose)
	type cut struct {
		at float64 // parameter along the side
		p  int32
	}
	cuts := make([][]cut, len(sides))
	t := newTree(boxes)
	found := false
	for _, p := range loose {
		v := f.points[p]
		t.touching(geom.EmptyBox3().Add(v), func(k int32) bool {
			h := sides[k]
			a, b := f.ends(h)
			if p == a || p == b || p == f.apex(h) {
				return true
			}
			s, dist := onSegment(v, f.points[a], f.points[b])
			if s <= 0 || s >= 1 || dist > reach || v.Dist(f.points[a]) <= reach || v.Dist(f.points[b]) <= reach {
				return true
			}
			for _, q := range beside[p] { // does the border at p run along the side?
				w := f.points[q]
				_, d := onSegment(w, f.points[a], f.points[b])
				_, da := onSegment(f.points[a], v, w)
				_, db := onSegment(f.points[b], v, w)
				if q == a || q == b || d <= reach || da <= reach || db <= reach {
					cuts[k] = append(cuts[k], cut{s, p})
					found = true
					if dist >= farthest {
						farthest, at = dist, v
					}
					break
				}
			}
			return true
		})
	}
	if !found {
		return
	}
	// Divide a triangle at one side at a time; the piece that keeps the next
	// side in question is the one to divide further.
	divided := make([]bool, len(f.triangles))
	for k, cs := range cuts {
		h := sides[k]
		if len(cs) == 0 || divided[h/3] {
			continue // its other side's turn comes in the next round
		}
		divided[h/3] = true
		n += len(cs)
		slices.SortFunc(cs, func(a, b cut) int { return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.p, b.p)) })
		a, b := f.ends(h)
		c := f.apex(h)
		from := a
		for i := 0; i <= len(cs); i++ {
			to := b
			if i < len(cs) {
				to = cs[i].p
			}
			if i == 0 {
				f.triangles[h/3] = [3]int32{from, to, c}
			} else {
				f.triangles = append(f.triangles, [3]int32{from, to, c})
				f.turned = append(f.turned, f.turned[h/3])
			}
			from = to
		}
	}
	f.mates = nil
	return
}

// onSegment is where along a b the point nearest to v lies, 0 to 1, and how far
// off v is.
func onSegment(v, a, b geom.Vec3) (s, dist float64) {
	d := b.Sub(a)
	if l := d.Dot(d); l > 0 {
		s = max(0, min(1, v.Sub(a).Dot(d)/l))
	}
	return s, v.Dist(a.Lerp(b, s))
}
