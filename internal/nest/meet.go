package nest

import (
	"math"

	"groundwork/internal/geom"
)

// Laid is an outline in its place: turned, rounded to micrometres and moved, as
// Verify judges it. It answers one question at a time, fast enough to be asked
// while a pattern is being moved.
type Laid struct{ b body }

// Lay turns a shape about its origin and moves it to at, rounded to the
// micrometre. The error is for a shape without area, or one that crosses itself.
func Lay(shape geom.Polygons, turn float64, at geom.Vec2) (Laid, error) {
	p := Pin{At: at}
	if !(math.Abs(at.X)*micron <= maxSpan && math.Abs(at.Y)*micron <= maxSpan) {
		return Laid{}, errFinite
	}
	b, err := newBody("", shape, turn, p.at())
	return Laid{b}, err
}

// Meeting is how two outlines lie to one another.
type Meeting int

const (
	Apart   Meeting = iota // at least the gap apart, or touching if that is 0
	Near                   // closer than the gap
	Overlap                // they share area
)

// Meets says how two outlines lie to one another, exactly.
func (l Laid) Meets(o Laid, gap float64) Meeting {
	return l.meets(o, int64(math.Round(gap*micron)), point{})
}

// meets is Meets with l moved.
func (l Laid) meets(o Laid, gap int64, by point) Meeting {
	lo, hi := l.b.lo.add(by), l.b.hi.add(by)
	if max(lo.x-o.b.hi.x, o.b.lo.x-hi.x, lo.y-o.b.hi.y, o.b.lo.y-hi.y) >= gap {
		return Apart
	}
	a := l.b.loops
	if by != (point{}) {
		a = make(outline, len(l.b.loops))
		for i, loop := range l.b.loops {
			a[i] = make([]point, len(loop))
			for k, p := range loop {
				a[i][k] = p.add(by)
			}
		}
	}
	switch {
	case shareArea(a, o.b.loops):
		return Overlap
	case gap > 0 && closer(a, o.b.loops, gap):
		return Near
	}
	return Apart
}

// Clear is the shortest way left, right, down or up on which l comes clear of o,
// to the hundredth of a millimetre; zero if it is. Ways on which l stays in a box,
// if there are any, go before others.
func (l Laid) Clear(o Laid, gap float64, in geom.Box2) geom.Vec2 {
	g := int64(math.Round(gap * micron))
	if l.meets(o, g, point{}) == Apart {
		return geom.Vec2{}
	}
	const fine = 10 // µm
	leaves := func(way point) bool {
		back, fits := l.moved(way).Beyond(in)
		return !fits || back != geom.Vec2{}
	}
	best, way, out := int64(math.MaxInt64), point{}, true
	for _, d := range []struct {
		way point
		far int64 // that the boxes round them are clear
	}{
		{point{-1, 0}, l.b.hi.x - o.b.lo.x + g}, {point{1, 0}, o.b.hi.x - l.b.lo.x + g},
		{point{0, -1}, l.b.hi.y - o.b.lo.y + g}, {point{0, 1}, o.b.hi.y - l.b.lo.y + g},
	} {
		at := func(m int64) point { return point{d.way.x * m, d.way.y * m} }
		// At the far end it is clear, at the near end it is not; halving finds a place
		// between where it comes clear: the first if the outlines are plain.
		near, far := int64(0), d.far
		for far-near > fine && (out || near < best) {
			m := (near + far) / 2
			if l.meets(o, g, at(m)) == Apart {
				far = m
			} else {
				near = m
			}
		}
		if far-near > fine {
			continue // no shorter than another
		}
		switch off := leaves(at(far)); {
		case off == out && far < best, out && !off:
			best, way, out = far, at(far), off
		}
	}
	return geom.V2(float64(way.x)/micron, float64(way.y)/micron)
}

// moved is l with its box elsewhere; its loops stay.
func (l Laid) moved(by point) Laid {
	l.b.lo, l.b.hi = l.b.lo.add(by), l.b.hi.add(by)
	return l
}

// Beyond is the way back on which l comes to lie in a box, mm; zero if it does.
// It returns false if l is larger than the box.
func (l Laid) Beyond(box geom.Box2) (geom.Vec2, bool) {
	back := func(lo, hi int64, least, most float64) (float64, bool) {
		a, b := int64(math.Ceil(least*micron-1e-6)), int64(math.Floor(most*micron+1e-6))
		switch {
		case hi-lo > b-a:
			return 0, false
		case lo < a:
			return float64(a-lo) / micron, true
		case hi > b:
			return float64(b-hi) / micron, true
		}
		return 0, true
	}
	x, fitsX := back(l.b.lo.x, l.b.hi.x, box.Min.X, box.Max.X)
	y, fitsY := back(l.b.lo.y, l.b.hi.y, box.Min.Y, box.Max.Y)
	return geom.V2(x, y), fitsX && fitsY
}

// Outline is the outline as it lies, in whole micrometres, mm.
func (l Laid) Outline() geom.Polygons {
	out := make(geom.Polygons, len(l.b.loops))
	for i, loop := range l.b.loops {
		for _, p := range loop {
			out[i] = append(out[i], geom.V2(float64(p.x)/micron, float64(p.y)/micron))
		}
	}
	return out
}
