package stability

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// farthest is how far, mm, feet are moved and tops are cut back before a remedy
// counts as none.
const farthest = 2000

// Bears reports whether the body stands by itself and under every test on every
// rim.
func (b Body) Bears(rims []Rim, tests []Test) bool {
	return b.bears(rims, placesOf(rims, tests, 0), tests)
}

// placesOf lists Places by test and rim, the rims cut back all round.
func placesOf(rims []Rim, tests []Test, cut float64) [][][]geom.Vec2 {
	out := make([][][]geom.Vec2, len(tests))
	for i, t := range tests {
		for _, r := range rims {
			out[i] = append(out[i], r.cutBack(cut).Places(t.Inset))
		}
	}
	return out
}

func (b Body) bears(rims []Rim, places [][][]geom.Vec2, tests []Test) bool {
	if b.Stance() != Stands {
		return false
	}
	for i, t := range tests {
		if w, ok := Worst(b.tips(rims, places[i], t)); ok && w.Margin < 1 {
			return false
		}
	}
	return true
}

// cutBack is the rim with its edge moved in all round.
func (r Rim) cutBack(mm float64) Rim {
	r.Grown -= mm
	return r
}

// Spread is the body with every foot moved outward, away from the middle of the
// support. It weighs the same.
func (b Body) Spread(mm float64) Body {
	m := middle(b.Support)
	out := make([]geom.Vec2, len(b.Support))
	for i, p := range b.Support {
		out[i] = p.Add(p.Sub(m).Unit().Scale(mm))
	}
	b.Support = Hull(out)
	return b
}

// Ballasted is the body with g more at a place.
func (b Body) Ballasted(g float64, at geom.Vec3) Body {
	if g > 0 {
		b.Center = b.Center.Lerp(at, g/(b.Mass+g))
		b.Mass += g
	}
	return b
}

// Wider is how far, mm, every foot must move outward for the body to bear the
// tests; false where no 2 m suffice. The hull grows with it, so nothing that was
// borne is borne no longer.
func (b Body) Wider(rims []Rim, tests []Test) (mm float64, ok bool) {
	places := placesOf(rims, tests, 0)
	if len(b.Support) < 3 {
		return 0, false
	}
	return least(func(mm float64) bool { return b.Spread(mm).bears(rims, places, tests) })
}

// Smaller is how far, mm, the edge of every rim must move in for the body to bear
// the tests, its weight taken as unchanged; false where nothing would be left.
func (b Body) Smaller(rims []Rim, tests []Test) (mm float64, ok bool) {
	if b.Stance() != Stands {
		return 0, false
	}
	mm, ok = least(func(mm float64) bool { return b.bears(rims, placesOf(rims, tests, mm), tests) })
	if !ok {
		return 0, false
	}
	for _, r := range rims {
		for _, t := range tests {
			if len(kept(r.Region, max(0, t.Inset-r.Grown+mm))) == 0 && len(kept(r.Region, max(0, t.Inset-r.Grown))) > 0 {
				return 0, false
			}
		}
	}
	return mm, true
}

// Ballast is how much more, g, must lie at a place for the body to bear the
// tests; false where weight there does not help. About each side
//
//	m g r = F e + H h - W d
//
// with r the place's distance inside the side.
func (b Body) Ballast(at geom.Vec3, rims []Rim, tests []Test) (g float64, ok bool) {
	if b.Stance() == Nowhere || b.Stance() == OnPoint || b.Stance() == OnLine {
		return 0, false
	}
	for i, s := range b.sides() {
		need := 0.0
		if s.arm <= 0 {
			need = -b.Weight() * s.arm
		}
		for _, t := range tests {
			if tips := b.Tips(rims, t); len(tips) > 0 {
				need = max(need, t.Down*tips[i].Overhang+t.Out*tips[i].Load.Z-b.Weight()*s.arm)
			}
		}
		if need <= 0 {
			continue
		}
		r := s.edge[0].Sub(at.XY()).Dot(s.out)
		if r <= 0 {
			return 0, false
		}
		g = max(g, need/r/Gravity*1000)
	}
	return g, true
}

// least is the smallest x from 0 to farthest with f(x), f once true staying true.
func least(f func(x float64) bool) (float64, bool) {
	if f(0) {
		return 0, true
	}
	lo, hi := 0.0, 1.0
	for !f(hi) {
		if hi == farthest {
			return 0, false
		}
		lo, hi = hi, min(2*hi, farthest)
	}
	for hi-lo > 1e-9 {
		if mid := (lo + hi) / 2; f(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi, true
}

// middle is the centroid of a convex polygon; of one without area the mean of
// its corners.
func middle(p geom.Polygon) geom.Vec2 {
	if len(p) == 0 {
		return geom.Vec2{}
	}
	var sum, mean geom.Vec2
	var area float64
	for i, a := range p {
		b := p[(i+1)%len(p)]
		u, v := a.Sub(p[0]), b.Sub(p[0])
		w := u.Cross(v) / 2
		sum, area, mean = sum.Add(u.Add(v).Scale(w/3)), area+w, mean.Add(a.Scale(1/float64(len(p))))
	}
	if math.Abs(area) < 1e-9 {
		return mean
	}
	return p[0].Add(sum.Scale(1 / area))
}

// Middle of the support, where ballast does most for the weakest side of a
// regular stance.
func (b Body) Middle() geom.Vec2 { return middle(b.Support) }

// failing are the rims on which a test is not borne.
func (b Body) failing(rims []Rim, tests []Test) []Rim {
	var out []Rim
	for _, r := range rims {
		if !b.Bears([]Rim{r}, tests) {
			out = append(out, r)
		}
	}
	slices.SortStableFunc(out, func(a, b Rim) int { return -cmp.Compare(a.Height, b.Height) })
	return out
}
