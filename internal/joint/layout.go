package joint

import (
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// layout looks for positions for a row of fasteners in one contact with one
// way of driving.
type layout struct {
	t     *task
	drive drive
	peg   []peg // to try, in order; one for the whole row
	x0    float64
	x1    float64
	ys    map[float64]float64
	side  float64 // 1 or -1: where the contact's Y points to the middle of something, or away

	screwFits, dowelFits bool // at one place at least
}

// spot is a place of a contact with what is to go there. Results are kept by
// it: they hold as long as no further joint is settled.
type spot struct {
	size    string // of a screw, "" for a dowel
	through int    // member that the screw passes through
	peg     peg
	x, y    float64
}

type result struct {
	f    *fastener
	lack *lack
}

func (t *task) newLayout(d drive) *layout {
	b := t.c.Region.Bounds()
	l := &layout{t: t, drive: d, x0: b.Min.X, x1: b.Max.X, ys: map[float64]float64{}}
	l.side = t.pl.middles.side(t.c, t.c.Frame.Origin, t.c.Frame.Y)
	if d.axis != (geom.Vec3{}) {
		l.peg = t.pegs(false)
	}
	return l
}

// medial is the middle of the longest chord of a region square to its X axis;
// of equals the furthest to the given side.
func medial(ps geom.Polygons, x, side float64) (float64, bool) {
	var ys []float64
	for _, p := range ps {
		for i := range p {
			a, b := p[i], p[(i+1)%len(p)]
			if (a.X > x) != (b.X > x) {
				ys = append(ys, a.Y+(b.Y-a.Y)*(x-a.X)/(b.X-a.X))
			}
		}
	}
	slices.Sort(ys)
	best, y := 0.0, 0.0
	for i := 0; i+1 < len(ys); i += 2 {
		switch w := ys[i+1] - ys[i]; {
		case w > best+1e-6, w > best-1e-6 && side > 0:
			best, y = w, (ys[i]+ys[i+1])/2
		}
	}
	return y, best > 0
}

// at evaluates one fastener at x along the contact, dy off its medial line.
func (l *layout) at(kind byte, x, dy float64) result {
	key := spot{x: x, y: dy}
	fits := &l.dowelFits
	if kind == 'S' {
		key.size, key.through = l.drive.Size, l.drive.through.Member
		fits = &l.screwFits
	} else {
		key.peg = l.peg[kind]
	}
	if r, ok := l.t.known[key]; ok {
		*fits = *fits || r.lack == nil
		return r
	}
	y, ok := l.ys[x]
	if !ok {
		if y, ok = medial(l.t.c.Region, x, l.side); !ok {
			y = math.NaN()
		}
		l.ys[x] = y
	}
	var r result
	switch q := geom.V2(x, y+dy); {
	case math.IsNaN(y):
		r.lack = &lack{code: tooSmall, what: "length of the contact", have: l.x1 - l.x0, need: l.x1 - l.x0 + 1}
	case kind == 'S':
		r.f, r.lack = l.t.pl.screwAt(flatCrossing(l.t.c, q), l.drive)
	default:
		r.f, r.lack = l.t.pl.dowelAt(l.t.c, l.peg[kind], q)
	}
	if r.lack != nil {
		r.f = nil
	}
	*fits = *fits || r.lack == nil
	l.t.known[key] = r
	return r
}

// find tries the row at its natural spacing in the middle of the contact,
// then wider and narrower, then shifted along it, then off the medial line of
// a wide contact; first with dowels two diameters from the ends, then nearer.
// It returns the fasteners from low to high X, or what was lacking where it
// came nearest.
func (l *layout) find(pattern row) ([]*fastener, *lack) {
	dowels := slices.Contains([]byte(pattern), 'D')
	if dowels && len(l.peg) == 0 {
		return nil, l.t.pegless()
	}
	var why *lack
	pegs := len(l.peg)
	if !dowels {
		pegs = 1
	}
	offs := []float64{0}
	if w := l.t.c.Region.Bounds().Size().Y; w > 40 {
		k := l.side
		offs = append(offs, k*half(w/6), -k*half(w/6), k*half(w/4), -k*half(w/4))
	}
	ways := []row{pattern}
	if other := pattern.reversed(); other != pattern {
		ways = append(ways, other)
	}
	for i := range pegs {
		if dowels && l.compact() {
			found, lk := l.cheapest(ways, func(w row) ([]*fastener, *lack) { return l.centred(w, byte(i)) })
			if found != nil {
				return found, nil
			}
			why = lesser(why, lk)
		}
		for _, near := range []bool{false, true} {
			if near && !dowels {
				continue
			}
			edge := 0.0
			if dowels && !near {
				edge = dowelEdge * l.peg[i].Diameter
			}
			for _, dy := range offs {
				found, lk := l.cheapest(ways, func(w row) ([]*fastener, *lack) { return l.scan(w, byte(i), edge, dy) })
				if found != nil {
					return found, nil
				}
				why = lesser(why, lk)
			}
		}
	}
	// What to tell: a screw that fits nowhere, then a dowel that fits nowhere,
	// by what is lacking in the middle of the contact; otherwise that they do
	// not fit together.
	mid := half((l.x0 + l.x1) / 2)
	if slices.Contains([]byte(pattern), 'S') && !l.screwFits {
		if lk := l.at('S', mid, 0).lack; lk != nil {
			return nil, lk.at(0)
		}
	}
	if dowels && !l.dowelFits {
		var lk *lack
		for i := range l.peg {
			lk = lesser(lk, l.at(byte(i), mid, 0).lack.at(1))
		}
		if lk != nil {
			return nil, lk
		}
	}
	if why != nil && why.crowd {
		long := l.x1 - l.x0
		return nil, &lack{code: tooSmall, crowd: true, stage: 2, what: fmt.Sprintf("length of the contact for %d fasteners in a row", len(pattern)), have: long, need: l.length(pattern)}
	}
	return nil, why.at(2)
}

// length is the least length in mm of a contact in which the row has room.
func (l *layout) length(pattern row) float64 {
	n := len(pattern)
	// Half of what a fastener takes up along the row, and its distance from an end.
	room := func(kind byte) (r, web, end float64) {
		if kind == 'S' {
			d := l.drive
			return max(d.insert.Hole, d.seat()) / 2, max(l.t.pl.wall, insertWall), max(d.insert.Hole/2+d.wall(), d.seat()/2+l.t.pl.wall) + l.t.pl.skin
		}
		r = l.peg[len(l.peg)-1].Diameter/2 + 0.15
		return r, l.t.pl.wall, r + l.t.pl.wall + l.t.pl.skin
	}
	var pitch float64
	for i := 1; i < n; i++ {
		ra, wa, _ := room(pattern[i-1])
		rb, wb, _ := room(pattern[i])
		pitch = max(pitch, ra+rb+max(wa, wb)+0.5) // positions are rounded by up to 0.25 each
	}
	_, _, first := room(pattern[0])
	_, _, last := room(pattern[n-1])
	for long := pitch*float64(n-1) + 2*max(first, last); ; long += 0.5 {
		for _, spread := range spreads(n, long) {
			if spread >= pitch*float64(n-1) && (long-spread)/2 >= max(first, last)+0.25 {
				return long
			}
		}
	}
}

// reversed is the row from its other end.
func (r row) reversed() row {
	b := []byte(r)
	slices.Reverse(b)
	return row(b)
}

// cheapest tries a row both ways round and takes the one whose openings
// disturb least, of equals the first.
func (l *layout) cheapest(ways []row, try func(row) ([]*fastener, *lack)) ([]*fastener, *lack) {
	var best []*fastener
	var why *lack
	least := math.Inf(1)
	for _, w := range ways {
		found, lk := try(w)
		if found == nil {
			why = lesser(why, lk)
			continue
		}
		cost := 0.0
		for _, f := range found {
			cost += f.cost
		}
		if cost < least-1e-6 {
			best, least = found, cost
		}
	}
	return best, why
}

// compact reports whether the contact is no longer than one and a half times
// its width.
func (l *layout) compact() bool {
	s := l.t.c.Region.Bounds().Size()
	return s.X <= 1.5*s.Y
}

// centred tries the one screw of a row of two in the middle of the contact,
// where it presses evenly, with the dowel beside it: as the leg of a stool is
// held.
func (l *layout) centred(pattern row, peg byte) ([]*fastener, *lack) {
	var why *lack
	if pattern != "SD" && pattern != "DS" {
		return nil, nil
	}
	mid := (l.x0 + l.x1) / 2
	for _, part := range []float64{0.25, 0.3, 0.35} {
		spread := half((l.x1 - l.x0) * part)
		to := spread / 2
		if pattern == "DS" {
			to = -to
		}
		found, lk := l.row(pattern, peg, 0, 0, mid+to, spread)
		if found != nil {
			return found, nil
		}
		why = lesser(why, lk)
	}
	return nil, why
}

// scan tries spacings and shifts. edge is how far dowels stay from the ends.
func (l *layout) scan(pattern row, peg byte, edge, dy float64) ([]*fastener, *lack) {
	n := len(pattern)
	long := l.x1 - l.x0
	mid := (l.x0 + l.x1) / 2
	var why *lack
	for _, spread := range spreads(n, long) {
		for _, shift := range shifts((long - spread) / 2) {
			found, lk := l.row(pattern, peg, edge, dy, mid+shift, spread)
			if found != nil {
				return found, nil
			}
			why = lesser(why, lk)
			if n == 1 && lk == nil {
				break
			}
		}
	}
	return nil, why
}

// spreads lists distances between the first and the last of n fasteners:
// first the even division of the length, then wider, then narrower.
func spreads(n int, long float64) []float64 {
	if n == 1 {
		return []float64{0}
	}
	even := long * float64(n-1) / float64(n)
	out := []float64{math.Round(even)}
	for _, k := range []float64{0.33, 0.67, 0.9} {
		out = append(out, math.Round(even+k*(long-even)))
	}
	for _, k := range []float64{0.85, 0.7, 0.55, 0.4, 0.3} {
		out = append(out, math.Round(k*even))
	}
	return out
}

// shifts lists displacements up to room either way, smallest first.
func shifts(room float64) []float64 {
	out := []float64{0}
	const step, most = 2.0, 40.0
	for s := step; s <= min(room, most); s += step {
		out = append(out, s, -s)
	}
	return out
}

// half rounds to half a millimetre, so that positions are numbers that can be
// measured, and alike ones are evaluated once.
func half(x float64) float64 { return math.Round(x*2) / 2 }

// row places the pattern in one way.
func (l *layout) row(pattern row, peg byte, edge, dy, mid, spread float64) ([]*fastener, *lack) {
	n := len(pattern)
	// Neighbours that would be too near one another need no closer look.
	radius := func(kind byte) (r, web float64) {
		if kind == 'S' {
			return l.drive.insert.Hole / 2, max(l.t.pl.wall, insertWall)
		}
		return l.peg[peg].Diameter / 2, l.t.pl.wall
	}
	for i := 1; i < n; i++ {
		ra, wa := radius(pattern[i-1])
		rb, wb := radius(pattern[i])
		if have, need := spread/float64(n-1)-ra-rb+0.5, max(wa, wb); have < need { // positions are rounded by up to 0.25 each
			return nil, &lack{code: tooSmall, what: fmt.Sprintf("material between %d fasteners in a row", n), have: have, need: need, crowd: true, stage: 1}
		}
	}
	out := make([]*fastener, n)
	for _, screws := range []bool{true, false} { // screws are the fussier
		for i := range n {
			kind := pattern[i]
			if (kind == 'S') != screws {
				continue
			}
			x := mid
			if n > 1 {
				x = mid - spread/2 + half(spread*float64(i)/float64(n-1))
			}
			if kind == 'D' {
				kind = peg
				if have := min(x-l.x0, l.x1-x); have < edge {
					return nil, &lack{code: tooSmall, what: fmt.Sprintf("length of the contact for %d fasteners in a row", n), have: l.x1 - l.x0, need: l.x1 - l.x0 + 2*(edge-have), stage: 1}
				}
			}
			r := l.at(kind, x, dy)
			if r.lack != nil {
				return nil, r.lack
			}
			out[i] = r.f
		}
	}
	for i := range out {
		for k := range i {
			if lk := l.t.pl.apart(out[k], out[i]); lk != nil {
				return nil, lk.at(1)
			}
		}
	}
	// Each gets its own copy: what is known may be used in another joint's attempt.
	for i, f := range out {
		c := *f
		if f.screw != nil {
			s := *f.screw
			c.screw = &s
		}
		if f.plug != nil {
			p := *f.plug
			c.plug = &p
		}
		out[i] = &c
	}
	return out, nil
}
