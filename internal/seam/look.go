package seam

import (
	"math"

	"groundwork/internal/geom"
)

// sight is what a plane across a cell would make: of the section, and of the
// two halves.
type sight struct {
	area     float64 // mm² of the section
	outline  float64 // mm where the seam comes out at the body's surface
	bare     float64 // mm of it where nothing is laid over it
	feather  float64 // mm of it where the plane leaves one half an edge sharper than 30 degrees
	stress   float64 // MPa, greatest over points of the section
	narrow   float64 // mm, width of the section the narrow way
	long     float64 // mm, its length
	below    float64 // mm³ below the plane
	lo, hi   [][3]interval
	min, max float64 // extent of the cell along the plane's normal
}

// featherCos is the cosine of 30 degrees: printed edges sharper than that curl
// and break off (common practice, no source).
const featherCos = 0.866

// samples is at how many places of a section's outline stress is asked for.
const samples = 12

// look measures what a plane would do to a cell, without cutting it; under
// sectionOnly, only the section.
func (c *cutter) look(x *cell, pl geom.Plane) sight {
	s := sight{min: math.Inf(1), max: math.Inf(-1)}
	s.lo, s.hi = make([][3]interval, len(c.frames)), make([][3]interval, len(c.frames))
	for i := range s.lo {
		for k := range 3 {
			s.lo[i][k] = interval{math.Inf(1), math.Inf(-1)}
			s.hi[i][k] = s.lo[i][k]
		}
	}
	add := func(to [][3]interval, p geom.Vec3) {
		for i, f := range c.frames {
			for k, a := range [3]geom.Vec3{f.X, f.Y, f.Z} {
				d := a.Dot(p)
				r := &to[i][k]
				r.lo, r.hi = min(r.lo, d), max(r.hi, d)
			}
		}
	}
	if cap(c.dist) < len(x.v) {
		c.dist = make([]float64, 2*len(x.v))
	}
	d := c.dist[:len(x.v)]
	for i, p := range x.v {
		d[i] = pl.Distance(p)
		if i >= x.real {
			continue
		}
		s.min, s.max = min(s.min, d[i]), max(s.max, d[i])
		if c.sectionOnly {
			continue
		}
		if d[i] <= 0 {
			add(s.lo, p)
		}
		if d[i] >= 0 {
			add(s.hi, p)
		}
	}
	for _, p := range x.deep {
		if pl.Distance(p) <= 0 {
			add(s.lo, p)
		} else {
			add(s.hi, p)
		}
	}
	if s.min >= 0 || s.max <= 0 {
		return s
	}
	// Seen from a point of the plane, the cap has no volume.
	o := pl.Normal.Scale(pl.D)
	var signed float64
	var middle geom.Vec3 // area times centroid
	c.rim = c.rim[:0]
	start := int32(0)
	for k, end := range x.end {
		poly := x.idx[start:end]
		start = end
		// Most polygons lie on one side.
		low := d[poly[0]] <= 0
		crossed := false
		for _, i := range poly[1:] {
			crossed = crossed || (d[i] <= 0) != low
		}
		if !crossed {
			if low && !c.sectionOnly {
				first := x.v[poly[0]].Sub(o)
				for j := 2; j < len(poly); j++ {
					s.below += first.Dot(x.v[poly[j-1]].Sub(o).Cross(x.v[poly[j]].Sub(o)))
				}
			}
			continue
		}
		var first, prev geom.Vec3
		n := 0
		emit := func(p geom.Vec3) {
			p = p.Sub(o)
			switch {
			case n == 0:
				first = p
			case n >= 2:
				s.below += first.Dot(prev.Cross(p))
			}
			prev = p
			n++
		}
		var from, to geom.Vec3 // where the polygon leaves the lower side, and where it comes back
		crosses := 0
		for j, i := range poly {
			next := poly[(j+1)%len(poly)]
			if d[i] <= 0 {
				emit(x.v[i])
			}
			if (d[i] <= 0) == (d[next] <= 0) {
				continue
			}
			p := x.v[i].Lerp(x.v[next], d[i]/(d[i]-d[next]))
			emit(p)
			if d[i] <= 0 {
				from = p
			} else {
				to = p
			}
			crosses++
		}
		if crosses != 2 {
			continue
		}
		a := from.Sub(o).Cross(to.Sub(o)).Dot(pl.Normal) / 2
		signed -= a
		middle = middle.Sub(from.Add(to).Add(o).Scale(a / 3))
		if f := x.face[k]; f >= 0 {
			l := from.Dist(to)
			s.outline += l
			if math.Abs(c.normals[f].Dot(pl.Normal)) > featherCos {
				s.feather += l
			}
			c.rim = append(c.rim, edge{from, to, f})
		}
	}
	s.below /= 6
	s.area = math.Abs(signed)
	for _, e := range c.rim {
		if c.sectionOnly {
			break
		}
		add(s.lo, e.from)
		add(s.hi, e.from)
		add(s.lo, e.to)
		add(s.hi, e.to)
	}
	for _, a := range c.corners(x, pl) {
		add(s.lo, a)
		add(s.hi, a)
	}
	s.narrow, s.long = c.calliper(pl.Normal)
	if s.outline > 0 {
		// 4 A / P is the side of a square and twice the width of a long strip: a
		// hollow or a bent section is no wider than that.
		s.narrow = min(s.narrow, 4*s.area/s.outline)
	}
	if c.covered != nil {
		for _, e := range c.rim {
			// A little inside the facet, so that a point is not taken for its neighbour's.
			if !c.covered(e.from.Lerp(e.to, 0.5)) {
				s.bare += e.from.Dist(e.to)
			}
		}
	}
	if c.stress != nil && len(c.rim) > 0 {
		if s.area > 0 {
			s.stress = max(s.stress, c.stress(middle.Scale(1/signed), pl.Normal))
		}
		// At places evenly spread along the outline.
		step := s.outline / samples
		if c.sectionOnly {
			step *= 2
		}
		next := step / 2
		at := 0.0
		for _, e := range c.rim {
			l := e.from.Dist(e.to)
			for next <= at+l {
				s.stress = max(s.stress, c.stress(e.from.Lerp(e.to, (next-at)/l), pl.Normal))
				next += step
			}
			at += l
		}
	}
	return s
}

// edge is where a plane crosses a facet.
type edge struct {
	from, to geom.Vec3
	face     int32
}

// calliper is the least width and the greatest length of the section last
// looked at, over 24 directions in the plane.
func (c *cutter) calliper(normal geom.Vec3) (narrow, long float64) {
	const directions = 24 // over a half turn; a width is met within 0.9 %
	f := geom.FrameFromZ(geom.Vec3{}, normal)
	if math.Abs(normal.Dot(c.axes[0])) < 0.9 {
		f = geom.FrameFromXZ(geom.Vec3{}, c.axes[0], normal) // boards are square to their own axes
	} else {
		f = geom.FrameFromXZ(geom.Vec3{}, c.axes[1], normal)
	}
	narrow = math.Inf(1)
	for i := range directions {
		sin, cos := math.Sincos(math.Pi * float64(i) / directions)
		along := f.X.Scale(cos).Add(f.Y.Scale(sin))
		r := interval{math.Inf(1), math.Inf(-1)}
		for _, e := range c.rim {
			a, b := along.Dot(e.from), along.Dot(e.to)
			r.lo, r.hi = min(r.lo, a, b), max(r.hi, a, b)
		}
		narrow, long = min(narrow, r.hi-r.lo), max(long, r.hi-r.lo)
	}
	return max(narrow, 0), max(long, 0)
}
