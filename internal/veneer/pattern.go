package veneer

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// drawing is one run of Patterns.
type drawing struct {
	report
	r      *solid.Regions
	shop   *shop.Shop
	o      Options
	layout *Layout
	joints *joint.Result
	out    []Pattern
}

// Patterns draws every leaf and band that the layout asks for, in the order of
// their IDs, with holes for the bores that open into them. j may be nil when
// there are no joints.
func Patterns(ctx context.Context, k *solid.Kernel, p *piece.Piece, l *Layout, j *joint.Result, s *shop.Shop, o Options) ([]Pattern, []finding.Finding, error) {
	if len(l.Cores) != len(p.Members) {
		return nil, nil, errors.New("veneer: the layout is not of this piece")
	}
	if j == nil {
		j = &joint.Result{}
	}
	d := &drawing{report: report{p: p}, shop: s, o: o.withDefaults(), layout: l, joints: j}
	members := d.clads()
	err := k.Regions(ctx, func(r *solid.Regions) error {
		d.r = r
		for mi, c := range members {
			for _, si := range l.Order[mi] {
				if err := ctx.Err(); err != nil {
					return err
				}
				w, _ := wishes(p, s, d.o, &p.Members[mi], &c.surfaces[si]) // an unknown veneer was told by Lay
				for part, base := range c.bases(r, si) {
					d.surface(c, si, baseID(p.Members[mi].ID, c.surfaces[si].Name, part), base, w)
				}
			}
		}
		d.plugs()
		return nil
	})
	if err != nil {
		return nil, nil, fmt.Errorf("veneer: drawing patterns of %s: %w", p.Name, err)
	}
	slices.SortStableFunc(d.out, func(a, b Pattern) int { return cmp.Compare(a.ID, b.ID) })
	return d.out, finding.Sorted(d.list), nil
}

// clads are the members as Lay left them.
func (d *drawing) clads() []*clad {
	out := make([]*clad, len(d.p.Members))
	for i := range out {
		out[i] = d.clad(i)
	}
	link(out, d.layout.Flush)
	return out
}

// clad is a member as Lay left it, by itself.
func (d *drawing) clad(mi int) *clad {
	l := d.layout
	c := &clad{index: mi, core: l.Cores[mi], chord: d.o.Chord, cover: l.Coverings[mi]}
	c.surfaces = c.core.Surfaces(d.o.Chord)
	c.stack = make([]shop.Veneer, len(c.surfaces))
	c.bare = make([][]geom.Polygons, len(c.surfaces))
	c.exact = make([][]bool, len(c.surfaces))
	for si := range c.surfaces {
		c.stack[si] = d.veneer(c.cover[si].Veneer)
	}
	for _, w := range l.Windows {
		if w.Member == mi {
			c.bare[w.Surface] = append(c.bare[w.Surface], w.Region)
			c.exact[w.Surface] = append(c.exact[w.Surface], w.Treatment == Pad || w.Contact == "")
		}
	}
	c.setOrder(l.Order[mi])
	return c
}

func (d *drawing) veneer(id string) shop.Veneer {
	for _, v := range d.shop.Veneers {
		if v.ID == id {
			return v
		}
	}
	return shop.Veneer{}
}

// hole is a bore that opens into a surface, in the pattern's coordinates: an
// ellipse, if it comes at a slant.
type hole struct {
	at    geom.Vec2
	r     float64   // mm, half its width
	slant float64   // how many times as long as wide it is
	along geom.Vec2 // unit vector of its length
}

// mouth is how a bore of radius r along a world axis opens at a point of a
// surface: the cut of a cylinder by the plane that touches the surface there.
func mouth(sf *piece.Surface, place geom.Frame, at, axis geom.Vec3, r float64) hole {
	local, dir := place.Local(at), place.LocalDir(axis)
	q := sf.Chart(local)
	n := sf.Normal(q)
	h := hole{at: q, r: r, slant: 1, along: geom.V2(1, 0)}
	lean := dir.Sub(n.Scale(dir.Dot(n)))
	if cos := math.Abs(dir.Dot(n)); cos > 0.1 && lean.Len() > 1e-9 {
		const step = 0.01 // mm: the chart keeps lengths, so any short step shows the direction
		if to := sf.Chart(local.Add(lean.Unit().Scale(step))).Sub(q); to.Len() > step/2 && to.Len() < 2*step {
			h.slant, h.along = 1/cos, to.Unit()
		}
	}
	return h
}

// outline is the hole's, made smaller all round.
func (h hole) outline(smaller, chord float64) geom.Polygon {
	long, wide := h.r*h.slant-smaller, h.r-smaller
	out := disc(geom.Vec2{}, long, chord)
	for i, p := range out {
		out[i] = h.at.Add(h.along.Scale(p.X)).Add(h.along.Left().Scale(p.Y * wide / long))
	}
	return out
}

// surface draws the patterns of one part of a surface.
func (d *drawing) surface(c *clad, si int, id string, base geom.Polygons, w wish) {
	sf := &c.surfaces[si]
	un := c.unroll(d.r, si, base, w.allowance, d.o)
	var holes []hole
	var also [][2]int
	bare := false
	for i, m := range c.group(si) {
		bare = bare || len(m.of.bare[m.surface]) > 0
		if i > 0 {
			also = append(also, [2]int{m.of.index, m.surface})
		}
		for _, b := range d.joints.Bores() {
			if !b.Shows || b.Member != m.of.index || b.Surface != m.surface {
				continue
			}
			q := sf.Chart(c.core.Place.Local(b.Mouth))
			if base.Contains(q) {
				h := mouth(sf, c.core.Place, b.Mouth, b.Axis, b.Diameter/2)
				h.at = un.neutral.flat(q)
				holes = append(holes, h)
			}
		}
	}
	var nets, grosses []geom.Polygons
	for _, h := range holes {
		nets = append(nets, geom.Polygons{h.outline(0, d.o.Chord)})
		if h.r > d.o.Hole {
			grosses = append(grosses, geom.Polygons{h.outline(d.o.Hole, d.o.Chord)})
		}
	}
	if len(nets) > 0 {
		un.net = d.r.Subtract(un.net, nets...)
	}
	if len(grosses) > 0 {
		un.gross = d.r.Subtract(un.gross, grosses...)
	}
	p := Pattern{
		ID: id, Member: c.index, Surface: si, Also: also, Kind: Leaf, Veneer: c.cover[si].Veneer,
		Grain: c.cover[si].Grain, Allowance: w.allowance, Set: w.match,
	}
	if p.Set == "" && sf.Role == piece.Face {
		if order := c.runOn(si); len(order) > 1 {
			p.Set = baseID(d.p.Members[c.index].ID, c.surfaces[slices.Min(order)].Name, 0)
			p.SetOrder = slices.Index(order, si) + 1
		}
	}
	if bare || len(holes) > 0 {
		p.Release = "bore centres"
	}
	if c.cover[si].State == Show && sf.Role == piece.Face {
		p.ShowFirst = c.core.Place.Dir(c.facing(si)).Z > 0.7
	}
	run := slices.IndexFunc(d.layout.Bands, func(b BandRun) bool { return b.ID == id })
	switch {
	case run >= 0:
		p.Kind = Band
		d.band(c, si, d.layout.Bands[run], un, p)
	case sf.Kind == piece.Cone && c.wraps(si, base):
		p.Kind = Band
		d.cone(sf, un, p)
	default:
		if c.wraps(si, base) {
			p.Kind, p.CutInPlace = Band, true
			p.Release = strings.TrimSuffix("true perimeter, "+p.Release, ", ")
		}
		d.leaf(id, un, p)
	}
}

// emit adds a pattern, its lower left corner at the origin.
func (d *drawing) emit(p Pattern, net, gross geom.Polygons, turn float64) {
	if len(net) == 0 {
		return
	}
	turned := func(q geom.Vec2) geom.Vec2 { return q.Rotate(turn) }
	if turn != 0 {
		net, gross = net.Map(turned), gross.Map(turned)
	}
	box := net.Bounds()
	p.Turn = turn
	p.Chart = box.Min.Rotate(-turn)
	move := func(q geom.Vec2) geom.Vec2 { return q.Sub(box.Min) }
	p.Net, p.Gross = net.Map(move), gross.Map(move)
	p.NetArea, p.GrossArea = p.Net.Area(), p.Gross.Area()
	p.Length, p.Width = box.Size().X, box.Size().Y
	for i, q := range p.Pins {
		p.Pins[i] = move(turned(q))
	}
	p.Grain = math.Remainder(p.Grain+turn, 2*math.Pi)
	d.out = append(d.out, p)
}

// leaf draws a leaf, in as many parts as the layout divides it into.
func (d *drawing) leaf(id string, un unrolled, p Pattern) {
	var side, end []float64
	var across, along geom.Vec2
	for _, j := range d.layout.Joints {
		if j.Kind == "butt" || !strings.HasPrefix(j.ID, id+"/") {
			continue
		}
		if j.Kind == "side by side" {
			side, across = append(side, j.Line.D), j.Line.Normal.XY()
		} else {
			end, along = append(end, j.Line.D), j.Line.Normal.XY()
		}
	}
	if len(side)+len(end) == 0 {
		size := un.gross.Map(func(q geom.Vec2) geom.Vec2 { return q.Rotate(-p.Grain) }).Bounds().Size()
		v := d.veneer(p.Veneer)
		p.KnifeCut = !fits(rooms(d.shop, v), size.X, size.Y) && knifeLeaf(un.net, size, knifeRoom(v))
		d.emit(p, un.net, un.gross, 0)
		return
	}
	between := func(ps geom.Polygons, n geom.Vec2, cuts []float64, i int) geom.Polygons {
		if i > 0 {
			ps = ps.ClipHalfPlane(n.Scale(-1), -cuts[i-1])
		}
		if i < len(cuts) {
			ps = ps.ClipHalfPlane(n, cuts[i])
		}
		return ps
	}
	if p.Set == "" || p.SetOrder > 0 {
		p.Set = id
	}
	n := 0
	for i := range len(side) + 1 {
		for k := range len(end) + 1 {
			n++
			q := p
			q.ID, q.SetOrder = fmt.Sprintf("%s/leaf-%d", id, n), n
			net := between(between(un.net, across, side, i), along, end, k)
			gross := between(between(un.gross, across, side, i), along, end, k)
			d.emit(q, net, gross, 0)
		}
	}
}

// periodic is what of an unrolled ring lies between a and b, where it is
// continued beyond both ends.
func (d *drawing) periodic(ps geom.Polygons, total, a, b float64) geom.Polygons {
	var copies []geom.Polygons
	for k := math.Floor(a/total) - 1; k <= math.Ceil(b/total)+1; k++ {
		copies = append(copies, ps.Map(func(q geom.Vec2) geom.Vec2 { return geom.V2(q.X+k*total, q.Y) }))
	}
	return strip(d.r.Union(copies...), a, b)
}

// band draws the bands of one run.
func (d *drawing) band(c *clad, si int, run BandRun, un unrolled, p Pattern) {
	n := un.neutral
	p.KnifeCut = run.Knife
	if run.Closed {
		p.Release = strings.TrimSuffix("true perimeter, "+p.Release, ", ")
	}
	total := n.total()
	take := func(ps geom.Polygons, a, b float64) geom.Polygons {
		if run.Closed {
			return d.periodic(ps, total, a, b)
		}
		return strip(ps, a, b)
	}
	if len(run.Laps) == 0 {
		if !run.Closed {
			d.leaf(run.ID, un, p)
			return
		}
		a := n.along(run.From)
		p.CutInPlace = true
		d.emit(p, take(un.net, a, a+total), take(un.gross, a, a+total+d.o.ringExtra(total)), 0)
		return
	}
	if p.Release == "" {
		p.Release = "true perimeter"
	}
	var laps []Lap
	for _, id := range run.Laps {
		laps = append(laps, d.layout.Laps[slices.IndexFunc(d.layout.Laps, func(l Lap) bool { return l.ID == id })])
	}
	v := c.cover[si].Stack
	ends := func(l Lap) (a, b, rides float64) {
		a, b = n.along(l.At-l.Length/2), n.along(l.At+l.Length/2)
		if !l.Relief {
			rides = v * turningBetween(n.s, l.At-l.Length/2, l.At+l.Length/2)
		}
		return a, b, rides
	}
	box := un.net.Bounds()
	for i := range run.Parts {
		q := p
		if run.Parts > 1 {
			q.ID = fmt.Sprintf("%s/band-%d", run.ID, i+1)
		}
		// The run of this band, from its inner start to its fingers' tips.
		var left, right *Lap
		wrap := 0.0
		if run.Closed {
			left, right = &laps[i], &laps[(i+1)%len(laps)]
			if i+1 >= len(laps) {
				wrap = total
			}
		} else {
			if i > 0 {
				left = &laps[i-1]
			}
			if i < len(laps) {
				right = &laps[i]
			}
		}
		from, to := box.Min.X, box.Max.X
		free := [2]bool{left == nil, right == nil}
		var fingered *Lap
		if left != nil {
			a, _, rides := ends(*left)
			from = a
			if run.Low {
				from, fingered = a-rides, left
			}
		}
		if right != nil {
			_, b, rides := ends(*right)
			to = b + wrap
			if !run.Low {
				to, fingered = to+rides, right
			}
		}
		grossFrom, grossTo := from, to
		if free[0] {
			grossFrom = un.gross.Bounds().Min.X
		}
		if free[1] {
			grossTo = un.gross.Bounds().Max.X
		}
		if fingered == nil {
			d.emit(q, take(un.net, from, to), take(un.gross, grossFrom, grossTo), 0)
			continue
		}
		// The roots of the fingers, and the comb beyond them.
		var edge geom.Polygons
		if run.Low {
			edge = take(un.net, from+fingered.Finger, from+fingered.Finger+1)
		} else {
			edge = take(un.net, to-fingered.Finger-1, to-fingered.Finger)
		}
		y := edge.Bounds()
		_, head := d.o.pin(y.Size().Y)
		f := NewFingers(y.Size().Y, head)
		root, sense := to-f.Length, 1.0
		if run.Low {
			root, sense = from+f.Length, -1
		}
		place := func(p geom.Vec2) geom.Vec2 { return geom.V2(root+sense*p.X, y.Min.Y+p.Y) }
		const overlap = 0.5 // mm of comb that lies on the plain part, so that the two join
		comb := f.Outline(overlap, d.o.Chord/4).Map(place)
		if run.Low {
			comb = comb.Reversed()
			from, grossFrom = root, root
		} else {
			to, grossTo = root, root
		}
		net := d.r.Union(take(un.net, from, to), geom.Polygons{comb})
		gross := d.r.Union(take(un.gross, grossFrom, grossTo), geom.Polygons{comb})
		q.Lap, q.Fingers, q.Pin = fingered.ID, f.Count, fingered.Pin
		q.Pins = nil
		for _, at := range f.Pins(0)[:2*f.Count] {
			q.Pins = append(q.Pins, place(at))
		}
		d.emit(q, net, gross, 0)
	}
}

// cone draws the sector of a cone that goes all the way round: opened at the
// joint line, its middle ruling upright.
func (d *drawing) cone(sf *piece.Surface, un unrolled, p Pattern) {
	at := 0.0
	for _, j := range d.layout.Joints {
		if j.ID == p.ID+"/butt" {
			at = j.At
		}
	}
	a, b := coneEnds(sf)
	angle := 2 * math.Pi * sine(sf)
	clockwise := 1.0 // sense in which the angle about the axis runs in the chart
	axis := math.Pi / 2
	if b.X < a.X {
		clockwise, axis = -1, -math.Pi/2
	}
	p.CutInPlace, p.Release = true, strings.TrimSuffix("true perimeter, "+p.Release, ", ")
	inner := math.Inf(1)
	for _, loop := range un.net {
		for _, q := range loop {
			inner = min(inner, q.Len())
		}
	}
	extra := max(d.o.RingExtra/inner, angle/100)
	if angle+extra >= 2 {
		// A flat cone: the opening stays where the chart has it.
		d.emit(p, un.net, un.gross, 0)
		return
	}
	start := at * sine(sf) // from the chart's opening
	wedge := func(ps geom.Polygons, from, to float64) geom.Polygons {
		var copies []geom.Polygons
		for k := range 3 {
			turn := -clockwise * angle * float64(k)
			copies = append(copies, ps.Map(func(q geom.Vec2) geom.Vec2 { return q.Rotate(turn) }))
		}
		all := d.r.Union(copies...)
		ray := func(phi float64) geom.Vec2 { s, c := math.Sincos(axis - clockwise*phi); return geom.V2(c, s) }
		lo, hi := ray(from), ray(to)
		all = all.ClipHalfPlane(lo.Left().Scale(clockwise), 0)
		return all.ClipHalfPlane(hi.Right().Scale(clockwise), 0)
	}
	net := wedge(un.net, start, start+angle)
	gross := wedge(un.gross, start, start+angle+extra)
	turn := clockwise * (start + angle/2)
	p.Grain -= turn // it follows the ruling that comes to stand upright
	d.emit(p, net, gross, turn)
}

// plugs draws the discs that cover plugs: ellipses where their bores come at a
// slant.
func (d *drawing) plugs() {
	for _, pl := range d.joints.Plugs {
		cov := d.layout.Coverings[pl.Member][pl.Surface]
		if cov.Stack == 0 {
			continue
		}
		const allowance = 1.0 // trimmed to the plug's edge
		p := Pattern{
			ID: pl.ID, Member: -1, Surface: pl.Surface, Kind: Leaf, Veneer: cov.Veneer, Grain: cov.Grain,
			Allowance: allowance, Release: "bore centres",
		}
		core := d.layout.Cores[pl.Member]
		h := mouth(&core.Surfaces(d.o.Chord)[pl.Surface], core.Place, pl.Center, pl.Axis, pl.Diameter/2)
		h.at = geom.Vec2{}
		net := geom.Polygons{h.outline(0, d.o.Chord)}
		d.emit(p, net, d.r.Offset(net, allowance, solid.Miter, 4, d.o.Chord), 0)
	}
}
