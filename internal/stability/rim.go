package stability

import (
	"math"

	"groundwork/internal/geom"
)

// Places are the corners of the part of the rim that lies at least inset from
// its finished edge: a load pressing anywhere else on the rim tips less. On a
// rim too narrow for that they lie along its middle; they are none only of an
// empty region.
func (r Rim) Places(inset float64) []geom.Vec2 {
	d := max(0, inset-r.Grown)
	if at := kept(r.Region, d); len(at) > 0 {
		return at
	}
	lo, hi := 0.0, d
	var at []geom.Vec2
	for range 40 {
		mid := (lo + hi) / 2
		if got := kept(r.Region, mid); len(got) > 0 {
			lo, at = mid, got
		} else {
			hi = mid
		}
	}
	return at
}

// kept are the ends of the straight stretches of the line that runs inside a
// region at the distance d from its border. Every corner of the convex hull of
// what is left is one of them: it lies at d from two sides at once.
//
// Each side is moved in by d, and what lies nearer than d to another side is
// taken off it.
func kept(region geom.Polygons, d float64) []geom.Vec2 {
	type segment struct{ a, b geom.Vec2 }
	var border []segment
	for _, loop := range region {
		for i, a := range loop {
			if b := loop[(i+1)%len(loop)]; a != b {
				border = append(border, segment{a, b})
			}
		}
	}
	var out []geom.Vec2
	if d <= 0 {
		for _, s := range border {
			out = append(out, s.a)
		}
		return out
	}
	const slack = 1e-9 // mm; neighbours touch at exactly d
	for i, s := range border {
		along := s.b.Sub(s.a)
		length := along.Len()
		along = along.Scale(1 / length)
		from := s.a.Add(along.Left().Scale(d))
		free := [][2]float64{{0, length}}
		for j, o := range border {
			// What lies 2 d from the side is no nearer than d to the line.
			if i == j || s.a.Lerp(s.b, 0.5).Dist(o.a.Lerp(o.b, 0.5)) > 2*d+(length+o.a.Dist(o.b))/2 {
				continue
			}
			lo, hi, ok := near(from, along, o.a, o.b, d-slack)
			if !ok || hi <= 0 || lo >= length {
				continue
			}
			free = without(free, lo, hi)
			if len(free) == 0 {
				break
			}
		}
		for _, f := range free {
			p, q := from.Add(along.Scale(f[0])), from.Add(along.Scale(f[1]))
			if region.Contains(p.Lerp(q, 0.5)) {
				out = append(out, p, q)
			}
		}
	}
	return out
}

// without takes the open stretch from lo to hi out of stretches of a line.
func without(free [][2]float64, lo, hi float64) [][2]float64 {
	var out [][2]float64
	for _, f := range free {
		if hi <= f[0] || lo >= f[1] {
			out = append(out, f)
			continue
		}
		if lo >= f[0] {
			out = append(out, [2]float64{f[0], lo})
		}
		if hi <= f[1] {
			out = append(out, [2]float64{hi, f[1]})
		}
	}
	return out
}

// near is the stretch of the line o + t·along on which it lies nearer than r to
// the segment from a to b; that is one stretch, for what lies near a segment is
// convex.
func near(o, along, a, b geom.Vec2, r float64) (lo, hi float64, ok bool) {
	lo, hi = math.Inf(1), math.Inf(-1)
	add := func(f, t float64) {
		if f < t {
			lo, hi = min(lo, f), max(hi, t)
		}
	}
	for _, c := range []geom.Vec2{a, b} {
		v := c.Sub(o)
		t, off := v.Dot(along), v.Cross(along)
		if h := r*r - off*off; h > 0 {
			add(t-math.Sqrt(h), t+math.Sqrt(h))
		}
	}
	// Beside the segment: |across| < r and 0 < foot < length.
	ab := b.Sub(a)
	length := ab.Len()
	u := ab.Scale(1 / length)
	f, t := math.Inf(-1), math.Inf(1)
	clip := func(at, slope, least, most float64) {
		if slope == 0 {
			if at <= least || at >= most {
				f, t = math.Inf(1), math.Inf(-1)
			}
			return
		}
		p, q := (least-at)/slope, (most-at)/slope
		f, t = max(f, min(p, q)), min(t, max(p, q))
	}
	w := o.Sub(a)
	clip(w.Cross(u), along.Cross(u), -r, r)
	clip(w.Dot(u), along.Dot(u), 0, length)
	add(f, t)
	return lo, hi, lo < hi
}
