package piece

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// This file finds what end cuts leave of each surface. Three methods cover all
// of them:
//
//   - a plane's region is a set of closed paths clipped by half-planes;
//   - an edge or a side is swept by its rulings (or, on a Free side, by
//     profiles): each is cut to a span in closed form, and the ends of the
//     spans trace the border;
//   - the section of a turning is swept by chords square to the plane in which
//     it is symmetric.
//
// Areas are integrals over the same sweeps, not areas of the flattened
// borders.

// halfPlanes are the end cuts, all but skip (-1: none), as half-planes of the
// chart of a plane with the frame f. none is true if one of them takes the
// whole plane. Of several cuts in one plane the first keeps the section.
func (m Member) halfPlanes(f geom.Frame, skip int) (hs []geom.HalfPlane, none bool) {
	for j, c := range m.EndCuts {
		if j == skip {
			continue
		}
		pl := c.Plane.Local(f)
		h := geom.HalfPlane{N: pl.Normal.XY(), D: pl.D}
		if h.N.Len() < level {
			if pl.D < -touch || (math.Abs(pl.D) <= touch && j < skip) {
				return nil, true
			}
			continue
		}
		hs = append(hs, h)
	}
	return hs, false
}

// clipPaths is the part of the region inside the closed paths (outer ones
// counter-clockwise, holes clockwise) that lies in all the half-planes,
// flattened, and its exact area.
func clipPaths(paths []geom.Path, hs []geom.HalfPlane, chord float64) (geom.Polygons, float64) {
	var ps geom.Polygons
	var slivers float64 // between the curves and their chords
	for _, p := range paths {
		p, _ := p.Split(hs)
		fl := p.Flatten(chord)
		poly := make(geom.Polygon, len(fl))
		for i, q := range fl {
			poly[i] = q.P
		}
		ps = append(ps, poly)
		for i, s := range p.Segs {
			if s.Kind == geom.Line || !allHold(hs, s.At(0.5)) {
				continue
			}
			chords := geom.Polygon{}
			for _, q := range fl {
				if q.Seg == i {
					chords = append(chords, q.P)
				}
			}
			chords = append(chords, s.To())
			curve := geom.Path{Segs: []geom.Seg{s, geom.LineTo(s.To(), s.From())}}
			slivers += curve.Area() - chords.Area()
		}
	}
	for _, h := range hs {
		ps = ps.ClipHalfPlane(h.N, h.D)
	}
	ps = tidy(ps)
	if len(ps) == 0 {
		return nil, 0
	}
	return ps, ps.Area() + slivers
}

func allHold(hs []geom.HalfPlane, p geom.Vec2) bool {
	for _, h := range hs {
		if !h.Holds(p, touch) {
			return false
		}
	}
	return true
}

// tidy drops loops that rounding left without an area.
func tidy(ps geom.Polygons) geom.Polygons {
	return slices.DeleteFunc(ps, func(p geom.Polygon) bool {
		return len(p) < 3 || math.Abs(p.Area()) <= touch*p.Perimeter()
	})
}

// flat is a level plane bounded by paths given in member x and y.
func (m Member) flat(name string, role Role, f geom.Frame, paths []geom.Path, chord float64) Surface {
	s := Surface{Name: name, Kind: Plane, Role: role, Frame: f}
	hs, none := m.halfPlanes(f, -1)
	if none {
		return s
	}
	if f.X.X < 0 { // seen from below: u = -x
		turned := make([]geom.Path, len(paths))
		for i, p := range paths {
			turned[i] = p.Mirrored()
		}
		paths = turned
	}
	s.Region, s.Area = clipPaths(paths, hs, chord)
	return s
}

// span is the part of a ruling that is left, from lo to hi. The causes say
// what ends it, so that kinks of the border can be found.
type span struct {
	lo, hi           float64
	loCause, hiCause int
}

// column is a span at the parameter w of a sweep.
type column struct{ w, lo, hi float64 }

// sweep traces the borders of the spans over the rising parameters ws. Where
// the causes or the number of spans change between two parameters, the place
// is found by bisection. Each band of the result is a run of columns without a
// break. A band starts afresh where the number of spans changes.
func sweep(ws []float64, at func(w float64) []span) [][]column {
	var bands [][]column
	var open []int // indices into bands
	emit := func(w float64, sp []span, fresh bool) {
		if fresh {
			open = nil
			for range sp {
				open = append(open, len(bands))
				bands = append(bands, nil)
			}
		}
		for i, s := range sp {
			bands[open[i]] = append(bands[open[i]], column{w, s.lo, s.hi})
		}
	}
	same := func(a, b []span) bool {
		return slices.EqualFunc(a, b, func(x, y span) bool { return x.loCause == y.loCause && x.hiCause == y.hiCause })
	}
	if len(ws) == 0 {
		return nil
	}
	scale := math.Abs(ws[0]) + math.Abs(ws[len(ws)-1])
	prev, wp := at(ws[0]), ws[0]
	emit(wp, prev, true)
	for _, w := range ws[1:] {
		next := at(w)
		for range 16 { // a handful of changes between neighbours at the most
			if same(prev, next) {
				break
			}
			a, b, sa, sb := wp, w, prev, next
			for b-a > 1e-14*scale {
				mid := (a + b) / 2
				if mid <= a || mid >= b {
					break
				}
				if sm := at(mid); same(sa, sm) {
					a, sa = mid, sm
				} else {
					b, sb = mid, sm
				}
			}
			emit(a, sa, false)
			emit(b, sb, len(sb) != len(sa))
			prev, wp = sb, b
		}
		if wp < w {
			emit(w, next, len(next) != len(prev))
		}
		prev, wp = next, w
	}
	return bands
}

// swept is the integral of f over a sweep, piece by piece between its columns.
// Where a column had to be looked for, the spans begin, end or change their
// cause there, and may do so like a square root; the substitution
// w = mid − half cos ψ makes them smooth.
func swept(ws []float64, bands [][]column, f func(w float64) float64) float64 {
	marks := slices.Clone(ws)
	for _, b := range bands {
		for _, c := range b {
			marks = append(marks, c.w)
		}
	}
	slices.Sort(marks)
	marks = slices.Compact(marks)
	given := func(w float64) bool { _, ok := slices.BinarySearch(ws, w); return ok }
	var sum float64
	for i := range marks[1:] {
		a, b := marks[i], marks[i+1]
		if given(a) && given(b) {
			sum += quad(a, b, 1, f)
			continue
		}
		mid, half := (a+b)/2, (b-a)/2
		sum += quad(0, math.Pi, 4, func(psi float64) float64 {
			return f(mid-half*math.Cos(psi)) * half * math.Sin(psi)
		})
	}
	return sum
}

// loops carries bands to a chart as counter-clockwise polygons, dropping
// points that repeat and points within a straight level or upright border.
func loops(bands [][]column, chart func(w, v float64) geom.Vec2) geom.Polygons {
	var out geom.Polygons
	for _, b := range bands {
		var p geom.Polygon
		add := func(w, v float64) {
			q := chart(w, v)
			if n := len(p); n > 0 && q.Dist(p[n-1]) <= touch {
				return
			}
			if n := len(p); n > 1 {
				a, b := p[n-2], p[n-1]
				if (a.X == b.X && b.X == q.X) || (a.Y == b.Y && b.Y == q.Y) {
					p[n-1] = q
					return
				}
			}
			p = append(p, q)
		}
		for _, c := range b {
			add(c.w, c.lo)
		}
		for i := len(b) - 1; i >= 0; i-- {
			add(b[i].w, b[i].hi)
		}
		if n := len(p); n > 1 && p[n-1].Dist(p[0]) <= touch {
			p = p[:n-1]
		}
		out = append(out, p)
	}
	return tidy(out)
}

// edge is a run of an outline carried along z from 0 to the thickness.
func (m Member) edge(name string, run geom.Path, chord float64) Surface {
	thick := m.Board.Thickness
	s := Surface{Name: name, Kind: Extruded, Role: Edge, Frame: geom.World(), Run: run, Closed: run.Closed, Length: run.Length()}
	if straight(run) {
		s.Kind = Plane
		a := run.Segs[0].From()
		t := run.Segs[len(run.Segs)-1].To().Sub(a).Unit()
		s.Frame = geom.FrameFromXZ(geom.V3(a.X, a.Y, 0), geom.V3(t.X, t.Y, 0), geom.V3(t.Y, -t.X, 0))
	}
	// Divide the run wherever a cut passes the back, the face or another cut,
	// so that the sweep misses none of these places.
	var lines []geom.HalfPlane
	steep := 1.0
	for i, c := range m.EndCuts {
		n, d := c.Plane.Normal, c.Plane.D
		lines = append(lines, geom.HalfPlane{N: n.XY(), D: d})
		if math.Abs(n.Z) < level {
			continue
		}
		steep = max(steep, n.XY().Len()/math.Abs(n.Z))
		lines = append(lines, geom.HalfPlane{N: n.XY(), D: d - n.Z*thick})
		for _, e := range m.EndCuts[:i] {
			if k := e.Plane.Normal; math.Abs(k.Z) >= level {
				lines = append(lines, geom.HalfPlane{
					N: n.XY().Scale(1 / n.Z).Sub(k.XY().Scale(1 / k.Z)),
					D: d/n.Z - e.Plane.D/k.Z,
				})
			}
		}
	}
	lines = slices.DeleteFunc(lines, func(h geom.HalfPlane) bool { return h.N.Len() < level })
	p, _ := run.Split(lines)
	p.Closed = false // the sweep ends where it began
	starts := make([]float64, len(p.Segs))
	for i := 1; i < len(starts); i++ {
		starts[i] = starts[i-1] + p.Segs[i-1].Length(0, 1)
	}
	seg := func(w float64) (int, float64) { // w: number of the segment plus parameter
		i := min(int(w), len(p.Segs)-1)
		return i, w - float64(i)
	}
	at := func(w float64) []span {
		i, t := seg(w)
		return m.upright(p.Segs[i].At(t), thick)
	}
	var ws []float64
	for _, q := range p.Flatten(max(chord/steep, chord*1e-4)) {
		ws = append(ws, float64(q.Seg)+q.T)
	}
	bands := sweep(ws, at)
	s.Region = loops(bands, func(w, v float64) geom.Vec2 {
		i, t := seg(w)
		if t == 1 && i == len(p.Segs)-1 {
			return geom.V2(s.Length, v)
		}
		return geom.V2(starts[i]+p.Segs[i].Length(0, t), v)
	})
	if len(s.Region) == 0 {
		return s
	}
	s.Area = swept(ws, bands, func(w float64) float64 {
		i, t := seg(w)
		return height(at(w)) * p.Segs[i].Deriv(t).Len()
	})
	return s
}

func height(sp []span) float64 {
	var sum float64
	for _, s := range sp {
		sum += s.hi - s.lo
	}
	return sum
}

// upright is what the cuts leave of the line through p along z from 0 to thick.
func (m Member) upright(p geom.Vec2, thick float64) []span {
	s := span{0, thick, -1, -2}
	for i, c := range m.EndCuts {
		n := c.Plane.Normal
		rest := c.Plane.D - n.XY().Dot(p)
		switch {
		case math.Abs(n.Z) < level:
			if rest < -touch {
				return nil
			}
		case n.Z > 0 && rest/n.Z < s.hi:
			s.hi, s.hiCause = rest/n.Z, i
		case n.Z < 0 && rest/n.Z > s.lo:
			s.lo, s.loCause = rest/n.Z, i
		}
	}
	if s.hi-s.lo <= touch {
		return nil
	}
	return []span{s}
}

// side is a run of a profile revolved about z.
func (m Member) side(name string, run geom.Path, chord float64) Surface {
	s := Surface{Name: name, Kind: profileKind(run.Segs[0]), Role: Side, Frame: geom.World(), Run: run}
	from, to := run.Segs[0].From(), run.Segs[len(run.Segs)-1].To()
	if s.Kind == Plane { // a shoulder: a ring facing up or down
		dir, out, in := 1.0, from.X, to.X
		if to.X > from.X {
			dir, out, in = -1, to.X, from.X
		}
		f := m.flat(name, Side, discFrame(from.Y, dir), []geom.Path{circle(out), circle(in).Reversed()}, chord)
		f.Run = run
		return f
	}
	if s.Kind == Cylinder {
		s.Closed, s.Length = true, 2*math.Pi*from.X
	}
	starts := make([]float64, len(run.Segs)+1)
	areas := make([]float64, len(run.Segs)+1) // ∫ r ds
	for i, g := range run.Segs {
		starts[i+1] = starts[i] + g.Length(0, 1)
		areas[i+1] = areas[i] + firstMoment(g, 1)
	}
	along := func(q float64) float64 { // q: number of the segment plus parameter
		i := min(int(q), len(run.Segs)-1)
		return starts[i] + run.Segs[i].Length(0, q-float64(i))
	}
	moment := func(q float64) float64 {
		i := min(int(q), len(run.Segs)-1)
		return areas[i] + firstMoment(run.Segs[i], q-float64(i))
	}
	at := func(w float64) []span { return m.meridian(run, w) }

	// Angles: evenly, and wherever a cut passes an end of a profile segment.
	steps := 4.0
	ws := []float64{0, 2 * math.Pi}
	for _, c := range m.EndCuts {
		n := c.Plane.Normal
		h := n.XY().Len()
		if h < level {
			continue
		}
		// A cut across a cylinder is v = r tan α cos θ.
		reach := max(from.X, to.X) * min(h/max(math.Abs(n.Z), level), 1e3)
		steps = max(steps, 180, min(4096, 2*math.Pi*math.Sqrt(reach/(8*chord))))
		dir := n.XY().Angle()
		for i := range len(run.Segs) + 1 {
			p := to
			if i < len(run.Segs) {
				p = run.Segs[i].From()
			}
			x := (c.Plane.D - n.Z*p.Y) / (h * p.X)
			if math.Abs(x) > 1 {
				continue
			}
			for _, a := range []float64{dir + math.Acos(x), dir - math.Acos(x)} {
				ws = append(ws, math.Mod(a+4*math.Pi, 2*math.Pi))
			}
		}
	}
	if s.Kind == Cone { // the sector's own arcs
		sin := math.Abs(to.X-from.X) / from.Dist(to)
		steps = max(steps, 2*math.Pi*sin*math.Sqrt(max(from.X, to.X)/sin/(8*chord)))
	}
	for i := 1.0; i < math.Ceil(steps); i++ {
		ws = append(ws, i/math.Ceil(steps)*2*math.Pi)
	}
	slices.Sort(ws)
	ws = slices.CompactFunc(ws, func(a, b float64) bool { return math.Abs(a-b) < 1e-12 })
	ws[len(ws)-1] = 2 * math.Pi

	bands := sweep(ws, at)
	s.Region = loops(bands, func(w, q float64) geom.Vec2 { return s.unroll(w, along(q)) })
	if len(s.Region) == 0 {
		return s
	}
	if len(m.EndCuts) == 0 {
		s.Area = 2 * math.Pi * areas[len(run.Segs)]
		return s
	}
	s.Area = swept(ws, bands, func(w float64) float64 {
		var sum float64
		for _, sp := range at(w) {
			sum += moment(sp.hi) - moment(sp.lo)
		}
		return sum
	})
	return s
}

// firstMoment is ∫ r ds along a profile segment from its start to t.
func firstMoment(g geom.Seg, t float64) float64 {
	if g.Kind == geom.Line {
		return (g.From().X + g.At(t).X) / 2 * g.Length(0, t)
	}
	return quad(0, t, 8, func(t float64) float64 { return g.At(t).X * g.Deriv(t).Len() })
}

// meridian is what the cuts leave of a profile run at the angle w about the
// axis, as spans of segment number plus parameter.
func (m Member) meridian(run geom.Path, w float64) []span {
	spans := []span{{0, float64(len(run.Segs)), -1, -2}}
	sn, cs := math.Sincos(w)
	for i, c := range m.EndCuts {
		n := geom.V2(c.Plane.Normal.X*cs+c.Plane.Normal.Y*sn, c.Plane.Normal.Z)
		d := c.Plane.D
		marks := []float64{0, float64(len(run.Segs))}
		for k, g := range run.Segs {
			for _, t := range g.Cross(n, d) {
				marks = append(marks, float64(k)+t)
			}
		}
		slices.Sort(marks)
		var next []span
		for k := range marks[1:] {
			a, b := marks[k], marks[k+1]
			if b-a < 1e-12 {
				continue
			}
			mid := (a + b) / 2
			seg := min(int(mid), len(run.Segs)-1)
			if n.Dot(run.Segs[seg].At(mid-float64(seg))) > d+touch {
				continue
			}
			for _, s := range spans {
				// The cause names the cut and the segment, so that the border
				// gets a point where it passes from one segment to the next.
				if a > s.lo {
					s.lo, s.loCause = a, i*len(run.Segs)+min(int(a), len(run.Segs)-1)
				}
				if b < s.hi {
					s.hi, s.hiCause = b, i*len(run.Segs)+min(int(b), len(run.Segs)-1)
				}
				if s.hi-s.lo < 1e-12 {
					continue
				}
				if l := len(next) - 1; l >= 0 && next[l].hi >= s.lo { // a mark that only touches
					next[l].hi, next[l].hiCause = s.hi, s.hiCause
					continue
				}
				next = append(next, s)
			}
		}
		spans = next
	}
	return spans
}

// cutFrame is the chart frame of the plane that an end cut leaves: u level, v
// up the steepest slope of the plane in member coordinates; for a level plane
// as for a face or a back.
func cutFrame(pl geom.Plane) geom.Frame {
	n := pl.Normal
	if n.XY().Len() < level {
		return discFrame(pl.D/n.Z, math.Copysign(1, n.Z))
	}
	return geom.FrameFromXZ(n.Scale(pl.D), geom.V3(-n.Y, n.X, 0), n)
}

// cut is the plane that end cut i leaves.
func (m Member) cut(i int, chord float64) Surface {
	pl := m.EndCuts[i].Plane
	s := Surface{Name: fmt.Sprintf("cut-%d", i+1), Kind: Plane, Role: EndOf, Frame: cutFrame(pl)}
	hs, none := m.halfPlanes(s.Frame, i)
	if none {
		return s
	}
	switch {
	case m.Board != nil && math.Abs(pl.Normal.Z) < level:
		s.Region = m.crossSection(s.Frame, pl)
	case m.Board != nil:
		s.Region, s.Area = m.obliqueSection(i, s.Frame, chord)
		return s
	case pl.Normal.XY().Len() < level:
		if r := m.Turning.radiusAt(pl.D / pl.Normal.Z); r > 0 {
			s.Region, s.Area = clipPaths([]geom.Path{circle(r)}, hs, chord)
		}
		return s
	default:
		s.Region, s.Area = m.revolvedSection(pl, hs, chord)
		return s
	}
	for _, h := range hs {
		s.Region = s.Region.ClipHalfPlane(h.N, h.D)
	}
	s.Region = tidy(s.Region)
	s.Area = s.Region.Area()
	return s
}

// crossSection is the section of a board by an upright plane: rectangles over
// the stretches of the line that have material on both sides.
func (m Member) crossSection(f geom.Frame, pl geom.Plane) geom.Polygons {
	n := pl.Normal.XY()
	var us []float64
	var ps geom.Polygons
	for _, p := range m.Board.paths() {
		for _, s := range p.Segs {
			for _, t := range s.Cross(n, pl.D) {
				q := s.At(t)
				us = append(us, f.Local(geom.V3(q.X, q.Y, 0)).X)
			}
			if s.Kind == geom.Line { // ends of sides that lie in the line
				for _, q := range []geom.Vec2{s.From(), s.To()} {
					if math.Abs(n.Dot(q)-pl.D) <= touch {
						us = append(us, f.Local(geom.V3(q.X, q.Y, 0)).X)
					}
				}
			}
		}
		ps = append(ps, p.Polygon(1e-3))
	}
	slices.Sort(us)
	const beside = 1e-6 // mm to either side of the line
	var out geom.Polygons
	for i := 1; i < len(us); i++ {
		a, b := us[i-1], us[i]
		if b-a <= touch {
			continue
		}
		mid := f.Point(geom.V3((a+b)/2, 0, 0)).XY()
		if !ps.Contains(mid.Add(n.Scale(beside))) || !ps.Contains(mid.Sub(n.Scale(beside))) {
			continue
		}
		t := m.Board.Thickness
		if k := len(out) - 1; k >= 0 && out[k][1].X >= a-touch { // only touched in between
			out[k][1].X, out[k][2].X = b, b
			continue
		}
		out = append(out, geom.Polygon{{X: a, Y: 0}, {X: b, Y: 0}, {X: b, Y: t}, {X: a, Y: t}})
	}
	return out
}

// obliqueSection is the section of a board by a plane that is not upright:
// the outline carried up or down to the plane, where it passes between the
// back and the face, within the other cuts.
func (m Member) obliqueSection(i int, f geom.Frame, chord float64) (geom.Polygons, float64) {
	n, d, thick := m.EndCuts[i].Plane.Normal, m.EndCuts[i].Plane.D, m.Board.Thickness
	// z = (d − n·xy) / n.Z, and a·xy + b z <= c becomes a half-plane in x and y.
	var hs []geom.HalfPlane
	limit := func(a geom.Vec2, b, c float64, strict bool) bool {
		h := geom.HalfPlane{N: a.Sub(n.XY().Scale(b / n.Z)), D: c - b*d/n.Z}
		if h.N.Len() < level {
			return h.D > touch || (!strict && h.D >= -touch)
		}
		hs = append(hs, h)
		return true
	}
	if !limit(geom.Vec2{}, -1, 0, true) || !limit(geom.Vec2{}, 1, thick, true) {
		return nil, 0
	}
	for j, c := range m.EndCuts {
		if j != i && !limit(c.Plane.Normal.XY(), c.Plane.Normal.Z, c.Plane.D, j < i) {
			return nil, 0
		}
	}
	ps, area := clipPaths(m.Board.paths(), hs, max(chord*math.Abs(n.Z), chord*1e-4))
	ps = ps.Map(func(q geom.Vec2) geom.Vec2 {
		return f.Local(geom.V3(q.X, q.Y, (d-n.XY().Dot(q))/n.Z)).XY()
	})
	if n.Z < 0 {
		ps = ps.Reversed()
	}
	return ps, area / math.Abs(n.Z)
}

// radiusAt is the radius of the turning at the height z, the smaller one at a
// shoulder, and 0 at the ends and beyond.
func (t Turning) radiusAt(z float64) float64 {
	low, high := t.ends()
	if z <= low.Y+touch || z >= high.Y-touch {
		return 0
	}
	r := math.Inf(1)
	for _, s := range t.Profile.Segs {
		for _, at := range s.Cross(geom.V2(0, 1), z) {
			r = min(r, s.At(at).X)
		}
	}
	if math.IsInf(r, 1) {
		return 0
	}
	return r
}

// revolvedSection is the section of a turning by a plane that is not level. In
// the plane's chart it is symmetric about the v axis: the height z is
// d n.Z + h v with h = |n.XY|, the plane passes the axis at the distance
// a = (d − n.Z z)/h, and the chord there has half the length √(r² − a²). It
// begins and ends where r = |a|, that is where the profile meets one of the
// lines ±h r + n.Z z = d.
func (m Member) revolvedSection(pl geom.Plane, hs []geom.HalfPlane, chord float64) (geom.Polygons, float64) {
	nz, h, d := pl.Normal.Z, pl.Normal.XY().Len(), pl.D
	half := func(p geom.Vec2) float64 {
		a := (d - nz*p.Y) / h
		return math.Sqrt(max(0, (p.X-a)*(p.X+a)))
	}
	v := func(z float64) float64 { return (z - nz*d) / h }
	type row struct{ v, b, sliver float64 } // sliver: beyond the chord to the next row, on one side
	var sections [][]row
	open := false
	for _, s := range m.Turning.Profile.Segs {
		if profileKind(s) == Plane { // a shoulder: the next row is at the same height
			continue
		}
		marks := append([]float64{0, 1}, s.Cross(geom.V2(h, nz), d)...)
		marks = append(marks, s.Cross(geom.V2(-h, nz), d)...)
		slices.Sort(marks)
		marks = slices.CompactFunc(marks, func(a, b float64) bool { return math.Abs(a-b) < 1e-12 })
		marks[len(marks)-1] = 1
		for k := range marks[1:] {
			a, b := marks[k], marks[k+1]
			if half(s.At((a+b)/2)) <= touch {
				open = false
				continue
			}
			if a > 0 && half(s.At(a)) < 1e-3*half(s.At((a+b)/2)) {
				open = false // a waist that just touches
			}
			if !open {
				sections = append(sections, nil)
				open = true
			}
			// Equal steps of ψ, t = mid − reach cos ψ, resolve the round tips.
			mid, reach := (a+b)/2, (b-a)/2
			size := math.Abs(v(s.At(b).Y)-v(s.At(a).Y)) + half(s.At(mid))
			n := max(8, int(math.Ceil(math.Pi*math.Sqrt(size/(8*chord)))))
			at := func(psi float64) float64 { return mid - reach*math.Cos(psi) }
			last := len(sections) - 1
			for j := range n {
				p0, p1 := math.Pi*float64(j)/float64(n), math.Pi*float64(j+1)/float64(n)
				q, r := s.At(at(p0)), s.At(at(p1))
				if j == 0 {
					q = s.At(a)
				}
				area := quad(p0, p1, 1, func(psi float64) float64 {
					t := at(psi)
					return half(s.At(t)) * s.Deriv(t).Y / h * reach * math.Sin(psi)
				})
				b0, b1 := half(q), half(r)
				if j == 0 && a > 0 || b0 < touch {
					b0 = snapTip(b0)
				}
				sections[last] = append(sections[last], row{v(q.Y), b0, area - (b0+b1)/2*(v(r.Y)-v(q.Y))})
			}
			sections[last] = append(sections[last], row{v(s.At(b).Y), snapTip(half(s.At(b))), 0})
			if snapTip(half(s.At(b))) == 0 {
				open = false
			}
		}
	}
	var ps geom.Polygons
	var slivers float64
	for _, rows := range sections {
		var p geom.Polygon
		add := func(u, v float64) {
			if k := len(p); k == 0 || p[k-1].Dist(geom.V2(u, v)) > touch {
				p = append(p, geom.V2(u, v))
			}
		}
		for i, r := range rows {
			add(r.b, r.v)
			if i+1 < len(rows) {
				next := rows[i+1]
				for _, side := range []float64{-1, 1} {
					if allHold(hs, geom.V2(side*(r.b+next.b)/2, (r.v+next.v)/2)) {
						slivers += r.sliver
					}
				}
			}
		}
		for i := len(rows) - 1; i >= 0; i-- {
			add(-rows[i].b, rows[i].v)
		}
		if k := len(p); k > 1 && p[k-1].Dist(p[0]) <= touch {
			p = p[:k-1]
		}
		ps = append(ps, p)
	}
	for _, c := range hs {
		ps = ps.ClipHalfPlane(c.N, c.D)
	}
	ps = tidy(ps)
	slices.SortStableFunc(ps, func(a, b geom.Polygon) int { return cmp.Compare(a.Bounds().Min.Y, b.Bounds().Min.Y) })
	if len(ps) == 0 {
		return nil, 0
	}
	return ps, ps.Area() + slivers
}

// snapTip is 0 for the half-chord of a tip: the square root turns rounding of
// 1e-13 mm² into 3e-7 mm.
func snapTip(b float64) float64 {
	if b < 1e-5 {
		return 0
	}
	return b
}
