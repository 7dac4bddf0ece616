package surface

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"groundwork/internal/geom"
)

// alikeWithin is how far, mm, a vertex may lie from its like.
const alikeWithin = 0.01

// Alike is the motion that carries a onto b, if there is one: a frame f such
// that f.Point of every vertex of a lies within 0.01 mm of a vertex of b of its
// own, and none of b is left over. The vertices may come in any order. A
// mirror image is not alike.
//
// A symmetric solid goes onto its like in several ways; the one that turns it
// least is taken. Of ways that turn it equally far, the one whose X axis, then
// Y axis, is the greater in x, then y, then z.
//
// What every motion keeps is compared first: counts, area, volume and the
// distances of the vertices from their mean, sorted. Then two vertices of a
// that do not lie in line with the mean, from the smallest classes of like
// distance, are laid on every pair of b's that stand as they do, and all
// others are looked for.
func Alike(a, b *Solid) (geom.Frame, bool) {
	n := len(a.Vertices)
	if n < 4 || n != len(b.Vertices) || len(a.Triangles) != len(b.Triangles) {
		return geom.Frame{}, false
	}
	area := a.Area()
	if math.Abs(area-b.Area()) > 1e-3*area || math.Abs(a.Volume()-b.Volume()) > 2*alikeWithin*area {
		return geom.Frame{}, false
	}
	p, pm := aboutMean(a.Vertices)
	q, qm := aboutMean(b.Vertices)
	pr, qr := byRadius(p), byRadius(q)
	for i := range n {
		if math.Abs(p[pr[i]].Len()-q[qr[i]].Len()) > 2*alikeWithin {
			return geom.Frame{}, false
		}
	}
	// like are b's vertices as far from the mean as r, as a range of qr.
	like := func(r float64) (lo, hi int) {
		lo, _ = slices.BinarySearchFunc(qr, r-2*alikeWithin, func(i int, r float64) int { return cmp.Compare(q[i].Len(), r) })
		hi, _ = slices.BinarySearchFunc(qr, r+2*alikeWithin, func(i int, r float64) int { return cmp.Compare(q[i].Len(), r) })
		return lo, hi
	}
	far := p[pr[n-1]].Len()
	// The rarest distances pin the motion down best, the greatest most exactly.
	pick := func(ok func(geom.Vec3) bool) int {
		best, count := -1, n+1
		for k := n - 1; k >= 0; k-- {
			if i := pr[k]; ok(p[i]) {
				if lo, hi := like(p[i].Len()); hi-lo < count {
					best, count = i, hi-lo
				}
			}
		}
		return best
	}
	u := pick(func(v geom.Vec3) bool { return v.Len() > far/4 })
	if u < 0 {
		return geom.Frame{}, false
	}
	axis := p[u].Unit()
	v := pick(func(v geom.Vec3) bool { return offAxis(v, axis).Len() > far/10 })
	if v < 0 {
		v = pick(func(v geom.Vec3) bool { return offAxis(v, axis).Len() > 100*alikeWithin })
	}
	if v < 0 {
		return geom.Frame{}, false
	}
	near := newNearby(q)
	apart := p[u].Dist(p[v])
	base := geom.FrameFromXZ(geom.Vec3{}, p[v], p[u])
	var best geom.Frame
	found := false
	ulo, uhi := like(p[u].Len())
	vlo, vhi := like(p[v].Len())
	for _, i := range qr[ulo:uhi] {
		for _, j := range qr[vlo:vhi] {
			if math.Abs(q[i].Dist(q[j])-apart) > 4*alikeWithin {
				continue
			}
			turn := geom.FrameFromXZ(geom.Vec3{}, q[j], q[i])
			f := base.Inverse().In(turn)
			g, ok := near.settle(p, f)
			if ok && (!found || lessTurned(g, best)) {
				best, found = g, true
			}
		}
	}
	if !found {
		return geom.Frame{}, false
	}
	best.Origin = qm.Sub(best.Dir(pm))
	return best, true
}

// lessTurned orders motions: see Alike.
func lessTurned(f, g geom.Frame) bool {
	const same = 1e-4
	// The trace of a rotation by w is 1 + 2 cos w.
	order := func(f geom.Frame) [7]float64 {
		return [7]float64{f.X.X + f.Y.Y + f.Z.Z, f.X.X, f.X.Y, f.X.Z, f.Y.X, f.Y.Y, f.Y.Z}
	}
	a, b := order(f), order(g)
	for k := range a {
		if math.Abs(a[k]-b[k]) > same {
			return a[k] > b[k]
		}
	}
	return false
}

// aboutMean are the points less their mean.
func aboutMean(pts []geom.Vec3) ([]geom.Vec3, geom.Vec3) {
	o := pts[0]
	var sum geom.Vec3
	for _, p := range pts {
		sum = sum.Add(p.Sub(o))
	}
	mean := o.Add(sum.Scale(1 / float64(len(pts))))
	out := make([]geom.Vec3, len(pts))
	for i, p := range pts {
		out[i] = p.Sub(mean)
	}
	return out, mean
}

// byRadius are the points' indices, nearest to the origin first.
func byRadius(pts []geom.Vec3) []int {
	out := make([]int, len(pts))
	for i := range out {
		out[i] = i
	}
	slices.SortStableFunc(out, func(i, j int) int { return cmp.Compare(pts[i].Len(), pts[j].Len()) })
	return out
}

// nearby finds points of a cloud: they are sorted into cubes.
type nearby struct {
	pts  []geom.Vec3
	cube map[[3]int32][]int
}

const nearbySide = 4 * alikeWithin

func nearbyKey(p geom.Vec3) [3]int32 {
	k := func(x float64) int32 { return int32(math.Floor(x / nearbySide)) }
	return [3]int32{k(p.X), k(p.Y), k(p.Z)}
}

func newNearby(pts []geom.Vec3) nearby {
	n := nearby{pts, make(map[[3]int32][]int, len(pts))}
	for i, p := range pts {
		k := nearbyKey(p)
		n.cube[k] = append(n.cube[k], i)
	}
	return n
}

// find is the nearest point to p that is not used, within the distance d of at
// most a cube's side; -1 for none.
func (n nearby) find(p geom.Vec3, d float64, used []bool) int {
	best := -1
	k := nearbyKey(p)
	for x := k[0] - 1; x <= k[0]+1; x++ {
		for y := k[1] - 1; y <= k[1]+1; y++ {
			for z := k[2] - 1; z <= k[2]+1; z++ {
				for _, i := range n.cube[[3]int32{x, y, z}] {
					if e := n.pts[i].Dist(p); !used[i] && e <= d {
						best, d = i, e
					}
				}
			}
		}
	}
	return best
}

// settle pairs every point, turned by f, with one of the cloud, turns them so
// that the pairs lie closest together in the sense of least squares, and
// reports whether all then lie within alikeWithin.
func (n nearby) settle(pts []geom.Vec3, f geom.Frame) (geom.Frame, bool) {
	used := make([]bool, len(n.pts))
	pair := make([]int, len(pts))
	for i, p := range pts {
		// Two vertices pin the rest down less well than all of them together.
		k := n.find(f.Dir(p), 4*alikeWithin, used)
		if k < 0 {
			return f, false
		}
		used[k] = true
		pair[i] = k
	}
	f = nearestTurn(pts, n.pts, pair)
	for i, p := range pts {
		if f.Dir(p).Dist(n.pts[pair[i]]) > alikeWithin {
			return f, false
		}
	}
	return f, true
}

// nearestTurn is the rotation that brings the points nearest to their pairs
// (Kabsch, A solution for the best rotation to relate two sets of vectors,
// Acta Crystallographica A32, 1976).
func nearestTurn(pts, to []geom.Vec3, pair []int) geom.Frame {
	h := mat.NewDense(3, 3, nil)
	for i, p := range pts {
		a, b := [3]float64{p.X, p.Y, p.Z}, to[pair[i]]
		for r := range 3 {
			for c, x := range [3]float64{b.X, b.Y, b.Z} {
				h.Set(r, c, h.At(r, c)+a[r]*x)
			}
		}
	}
	var svd mat.SVD
	svd.Factorize(h, mat.SVDFull)
	var u, v, r mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	r.Mul(&v, u.T())
	if mat.Det(&r) < 0 { // the flattest direction turned over
		for k := range 3 {
			v.Set(k, 2, -v.At(k, 2))
		}
		r.Mul(&v, u.T())
	}
	col := func(c int) geom.Vec3 { return geom.V3(r.At(0, c), r.At(1, c), r.At(2, c)) }
	// Square to the last digit.
	x, z := col(0), col(2)
	return geom.FrameFromXZ(geom.Vec3{}, x, z)
}
