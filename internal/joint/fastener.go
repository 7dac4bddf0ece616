package joint

import (
	"fmt"
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/shop"
)

// start is how far inside a surface material is first measured, in mm.
const start = 0.05

// hair is what a wall may lack, in mm: members are moved in to within a tenth of it.
const hair = 1e-5

// fastener is one screw or dowel at one position, with its bores; IDs are
// given when the joint is settled.
type fastener struct {
	screw *Screw
	dowel *Dowel
	bores []Bore
	plug  *Plug
	cost  float64 // of the opening
}

// drive is a way of screwing a joint: a size, and which side the head is in.
type drive struct {
	hardware
	through, into Side
	axis          geom.Vec3 // from through into into
}

// crossing is where a screw goes from one member into the other. At a flat
// contact all of it is one point; where the surfaces are round the insert is
// sunk until it has its whole wall, and bores begin where the surface is.
type crossing struct {
	at   geom.Vec3 // where the through member counts from
	sink float64   // from there to where the insert's depth counts from
	edge float64   // how far the axis lies inside the contact

	mouthT, mouthI geom.Vec3 // where the bores of the two members open
	overT, overI   float64   // how far they are cut beyond that; 0 for 1 mm
}

// flatCrossing is a place of a flat contact.
func flatCrossing(c *Contact, at geom.Vec2) crossing {
	p := c.Frame.Point(geom.V3(at.X, at.Y, 0))
	return crossing{at: p, edge: inside(c.Region, at), mouthT: p, mouthI: p}
}

// screwAt works out a screw at a place where it crosses from one member into
// another, or says what is lacking.
func (pl *placer) screwAt(x crossing, d drive) (*fastener, *lack) {
	nameT, nameI := pl.id(d.through.Member), pl.id(d.into.Member)
	fail := func(code, what, in string, have, need float64) (*fastener, *lack) {
		if in != "" {
			what += " in " + in
		}
		return nil, &lack{code: code, what: what, in: in, have: have, need: need}
	}
	// Of walls that are too thin in one member the worst is told.
	var thin *lack
	wall := func(what, in string, have, need float64) {
		if have < need-hair {
			_, l := fail(tooSmall, what, in, have, need)
			thin = greater(thin, l)
		}
	}
	t := pl.forms[d.through.Member]
	core, in := pl.cores[d.through.Member], pl.cores[d.into.Member]
	begin := pl.begin()
	p := x.at
	q := p.Add(d.axis.Scale(x.sink))
	back := d.axis.Neg()

	// The clearance hole's member must cover the insert, so that it cannot be pulled out.
	edge := max(d.insert.Outer/2+0.5, d.Clearance/2+pl.wall)
	if pl.skin > 0 {
		edge = max(edge, d.insert.Hole/2+padRim)
	}
	wall("distance from the screw to the edge of the contact", "", x.edge, edge)

	// Into: the insert's bore and what is left round and below it.
	hole := d.insert.Hole / 2
	deep := insertRecess + d.insert.Length + d.insert.Melt
	wall("wall round the insert", nameI, in.lateral(q, d.axis, begin, deep, hole+d.wall())-hole, d.wall())
	if thin != nil {
		return nil, thin
	}
	const end = leastEndWall
	floor, _, _ := in.ahead(q.Add(d.axis.Scale(begin)), d.axis, hole)
	if have := floor + begin - deep; have < end-hair {
		return fail(tooThin, "depth for the insert", nameI, floor+begin-end, deep)
	}
	// The tip runs in a narrower bore, which may go deeper.
	run := d.Clearance / 2
	below, _, _ := in.ahead(q.Add(d.axis.Scale(begin)), d.axis, run)
	tipMost := below + begin - end - tipRoom

	// Through: where the head goes.
	stock, _, surface := t.ahead(p.Add(back.Scale(start)), back, run)
	stock += start
	if stock <= start {
		return fail(tooSmall, "wall round the screw", nameT, core.lateral(p, back, begin, begin, math.Inf(1))-run, pl.wall)
	}
	open := p.Add(back.Scale(stock))
	recess := headRecess
	if pl.look.seen(d.through.Member, surface, open, back) {
		recess = plugLeast + plugGap
	}
	if inner, _, _ := core.ahead(p.Add(back.Scale(begin)), back, run); inner > 0 {
		recess += stock - begin - inner // the head lies so far below the core's surface
	}
	var length, grip, least, most, centre float64
	seat := d.seat() / 2
	for range 3 { // the opening may slant, so that a wider bore meets it earlier
		var lk *lack
		if length, grip, lk = d.choose(stock, recess, tipMost, x.sink, nameT, nameI); lk != nil {
			return nil, lk
		}
		floor := p.Add(back.Scale(grip))
		least, most, surface = t.ahead(floor, back, seat)
		if least < 0 {
			return fail(tooSmall, "wall round the screw's head", nameT, core.lateral(floor, back, 0, 0, math.Inf(1))-seat, pl.wall)
		}
		if grip+least >= stock-1e-6 {
			break
		}
		stock = grip + least
	}
	if have := least - d.washer() - d.HeadHigh; have < recess-1e-6 {
		return fail(tooThin, "room for the head", nameT, have, recess)
	}
	if most-least > d.seat() {
		return nil, &lack{code: tooSmall, what: "slope over the counterbore where the head goes into " + nameT, have: most - least, need: d.seat(), note: fmt.Sprintf(
			"the surface where the head goes into %s slopes by %s mm over the counterbore, more than its width of %s mm", nameT, mm(most-least), mm(d.seat()))}
	}
	head := p.Add(back.Scale(grip))
	centre, surface = t.exit(head, back)
	side := pl.wall
	wall("wall round the screw", nameT, core.lateral(p, back, begin, grip, run+side)-run, side)
	inner, _, _ := core.ahead(head, back, seat)
	upTo := inner - start
	if most-least > 0.01 { // a slanting surface makes a feather edge; measured a wall's breadth below it
		upTo = inner - pl.wall
	}
	wall("wall round the screw's head", nameT, core.lateral(head, back, 0, max(0, upTo), seat+side)-seat, side)
	if thin != nil {
		return nil, thin
	}

	open = head.Add(back.Scale(centre))
	path, lk := pl.path(d, head, centre, most, length)
	if lk != nil {
		return nil, lk
	}

	before := x.mouthT.Sub(p).Dot(d.axis) // plastic beyond where it counts from
	f := &fastener{screw: &Screw{
		Size: d.Size, Length: length, Insert: d.insert.Size, Through: d.through.Member, Into: d.into.Member,
		Head: head, Axis: d.axis, Grip: grip + before + d.washer(), Sunk: x.sink - before,
		Engagement: min(d.insert.Length, length-d.washer()-grip-x.sink-insertRecess), Washer: d.screw.Washer,
	}}
	add := func(b Bore) { b.Fit = pl.shop.Fits.Hole; f.bores = append(f.bores, b) }
	add(Bore{Member: d.into.Member, Purpose: InsertBore, Mouth: x.mouthI, Axis: d.axis, Diameter: d.insert.Hole,
		Depth: deep + q.Sub(x.mouthI).Dot(d.axis), Over: x.overI, Surface: d.into.Surface})
	if tip := length - d.washer() - grip - x.sink + tipRoom; tip > deep+0.01 {
		add(Bore{Member: d.into.Member, Purpose: Clearance, Mouth: q.Add(d.axis.Scale(deep)), Axis: d.axis, Diameter: d.Clearance, Depth: tip - deep, Surface: -1})
	}
	add(Bore{Member: d.through.Member, Purpose: Clearance, Mouth: x.mouthT, Axis: back, Diameter: d.Clearance, Depth: grip + before,
		Over: x.overT, Under: 1, Surface: d.through.Surface})
	covered := pl.touched(d.through.Member, surface, open)
	add(Bore{Member: d.through.Member, Purpose: Seat, Mouth: open, Axis: d.axis, Diameter: d.seat(), Depth: centre,
		Over: most - centre + 1, Shows: !covered, Surface: surface})
	last := f.bores[len(f.bores)-1]
	for _, b := range path {
		add(b)
		last = b
	}
	f.cost = pl.look.cost(last.Member, last.Surface, last.Mouth, back)
	if last.Shows && pl.look.seen(last.Member, last.Surface, last.Mouth, back) {
		room := last.Depth
		if len(path) == 0 {
			room = least - d.washer() - d.HeadHigh
		}
		f.plug = &Plug{Member: last.Member, Surface: last.Surface, Center: last.Mouth, Axis: back, Diameter: last.Diameter, Depth: min(plugMost, room-plugGap)}
	}
	f.cost += centre / 100
	return f, pl.clear(f)
}

// choose takes the stock length that leaves the shallowest counterbore and
// the least thread beyond the insert. grip is plastic from the counterbore's
// floor to the contact, sink what lies between that and where the insert's
// depth counts from.
func (h hardware) choose(stock, recess, tipMost, sink float64, through, into string) (length, grip float64, _ *lack) {
	most := stock - h.washer() - h.HeadHigh - recess
	if most < h.bearing() {
		return 0, 0, &lack{code: tooThin, what: "thickness of " + through + " for the screw's head", in: through, have: stock, need: stock - most + h.bearing()}
	}
	reach := insertRecess + h.insert.Length
	if tipMost < reach {
		return 0, 0, &lack{code: tooThin, what: "depth for the screw's tip in " + into, in: into, have: tipMost, need: reach}
	}
	best := math.Inf(1)
	var why *lack
	for _, l := range h.screw.Lengths {
		g := min(most, l-h.washer()-sink-reach)
		if g < h.bearing() {
			why = lesser(why, &lack{code: noGoods, what: fmt.Sprintf("plastic under the head of a %s x %s screw through %s", h.Size, mm(l), through), have: g, need: h.bearing()})
			continue
		}
		tip := l - h.washer() - sink - g
		if tip > tipMost {
			why = lesser(why, &lack{stage: 1, code: tooThin, what: fmt.Sprintf("depth for the tip of a %s x %s screw in %s", h.Size, mm(l), into), in: into, have: tipMost, need: tip})
			continue
		}
		if _, ok := h.key(stock - g); !ok {
			why = lesser(why, &lack{stage: 2, code: noPath, what: "reach of a " + mm(h.Key) + " mm key to the head in " + through, have: h.KeyLong - keyHandle, need: stock - g})
			continue
		}
		const perLength = 0.05 // a longer screw costs a little, so that ties go to the shorter one
		if cost := (most - g) + (tip - reach) + perLength*l; cost < best-1e-9 {
			best, length, grip = cost, l, g
		}
	}
	if math.IsInf(best, 1) {
		return 0, 0, why
	}
	return length, grip, nil
}

// path makes sure that head and key can be brought in, and lists the bores
// through members that are in the way. The head's seat is at head, the
// opening centre mm out of the through member along its axis (most at its
// furthest rim). Beyond the last material the path is free for the screw's
// length and the key's.
func (pl *placer) path(d drive, head geom.Vec3, centre, most, length float64) ([]Bore, *lack) {
	out := d.axis.Neg()
	key, _ := d.key(centre)
	r := d.driver() / 2
	blocked := func(m int, what string) *lack {
		return &lack{code: noPath, note: fmt.Sprintf("the driver's way to the head in %s is barred by %s: %s", pl.id(d.through.Member), pl.id(m), what), need: 1e3}
	}
	from := most + start // clear of the through member
	var bores []Bore
	for {
		free := length + key
		// The first member met on the way.
		whole := Bore{Mouth: head.Add(out.Scale(from)), Axis: out, Diameter: 2 * r, Depth: free}
		first, at, until := -1, math.Inf(1), 0.0
		for _, m := range pl.tree.find(pl.boxes, whole.box()) {
			lo, hi, hit := pl.forms[m].along(head, out, r, from, from+free)
			if hit && lo < at {
				first, at, until = m, lo, hi
			}
		}
		if first < 0 {
			if m, free := pl.swing(d, head, key); !free {
				return nil, blocked(m, fmt.Sprintf("the key cannot be turned by %d degrees", keySwing))
			}
			return bores, nil
		}
		if first == d.through.Member || first == d.into.Member {
			return nil, blocked(first, "the screw comes out facing it")
		}
		f := pl.forms[first]
		// It must be bored right through, in one stretch.
		mid := head.Add(out.Scale((at + until) / 2))
		if !f.contains(mid) {
			return nil, blocked(first, "it is met at its edge, or more than once")
		}
		fwd, fwdMost, surface := f.ahead(mid, out, r)
		rear, rearMost, _ := f.ahead(mid, out.Neg(), r)
		if fwd < 0 || rear < 0 {
			return nil, blocked(first, "an access bore would break out at its side")
		}
		side := pl.wall
		if have := pl.cores[first].lateral(mid, out, -max(0, rear-pl.wall), max(0, fwd-pl.wall), r+side) - r; have < side {
			return nil, &lack{code: noPath, what: "wall round an access bore in " + pl.id(first), have: have, need: side}
		}
		middle := (at + until) / 2
		exit, surface := f.exit(mid, out)
		entry, _ := f.exit(mid, out.Neg())
		if k, ok := d.key(middle + exit); ok {
			key = k
		} else {
			return nil, &lack{code: noPath, what: "reach of a " + mm(d.Key) + " mm key through " + pl.id(first), have: d.KeyLong - keyHandle, need: middle + exit}
		}
		mouth := mid.Add(out.Scale(exit))
		bores = append(bores, Bore{Member: first, Purpose: Driver, Mouth: mouth, Axis: d.axis, Diameter: 2 * r, Depth: exit + entry,
			Over: fwdMost - exit + 1, Under: rearMost - entry + 1, Shows: !pl.touched(first, surface, mouth), Surface: surface})
		from = middle + fwdMost + start
	}
}

// swing reports whether the short arm of a key, whose long arm is that long,
// can be turned far enough to be set anew when the screw is home; and if not,
// a member that is in its way.
func (pl *placer) swing(d drive, head geom.Vec3, long float64) (int, bool) {
	const step = 10 // degrees
	fr := geom.FrameFromZ(d.elbow(head, d.axis.Neg(), long), d.axis)
	reach := geom.EmptyBox3().Add(fr.Origin).Grow(d.KeyShort + d.Key)
	near := pl.tree.find(pl.boxes, reach)
	if len(near) == 0 {
		return -1, true
	}
	barred, free := -1, 0
	for deg := 0; deg < 360+keySwing; deg += step { // a free stretch may lie across 0
		s, c := math.Sincos(float64(deg) * math.Pi / 180)
		hit := false
		for _, m := range near {
			if _, _, hit = pl.forms[m].along(fr.Origin, fr.Dir(geom.V3(c, s, 0)), d.Key/2, d.Key/2, d.KeyShort); hit {
				barred = m
				break
			}
		}
		if free++; hit {
			free = 0
		}
		if (free-1)*step >= keySwing {
			return -1, true
		}
	}
	return barred, false
}

// along is the first stretch between from and to of a round bar, radius r
// about the line from p along dir, in which some of the bar lies inside. The
// bar is probed every 2 mm on its axis and 12 lines, half-way in and at its rim.
func (f *form) along(p, dir geom.Vec3, r, from, to float64) (lo, hi float64, hit bool) {
	const step, lines = 2.0, 12
	fr := geom.FrameFromZ(p, dir)
	var probes [2*lines + 1]geom.Vec3
	for i := range lines {
		s, c := math.Sincos(2 * math.Pi * float64(i) / lines)
		probes[2*i], probes[2*i+1] = fr.Dir(geom.V3(r*c, r*s, 0)), fr.Dir(geom.V3(r/2*c, r/2*s, 0))
	}
	n := int(math.Ceil((to - from) / step))
	if f.mesh != nil {
		// Where no triangle comes near the bar all of it lies on one side of the surface.
		box := geom.EmptyBox3().Add(f.place.Local(p.Add(dir.Scale(from)))).Add(f.place.Local(p.Add(dir.Scale(to)))).Grow(r)
		if !f.mesh.touches(box) {
			in := f.contains(p.Add(dir.Scale(from)))
			return from, to, in
		}
	}
	for k := 0; k <= n; k++ {
		t := from + (to-from)*float64(k)/float64(n)
		in := false
		for _, q := range probes {
			if f.contains(p.Add(dir.Scale(t)).Add(q)) {
				in = true
				break
			}
		}
		switch {
		case in && !hit:
			lo, hi, hit = t, t, true
		case in:
			hi = t
		case hit:
			return lo, hi, true
		}
	}
	return lo, hi, hit
}

// peg is a way of dowelling a joint.
type peg struct {
	shop.Dowel
	glued bool
}

// dowelAt works out a dowel at a place of a contact.
func (pl *placer) dowelAt(c *Contact, d peg, at geom.Vec2) (*fastener, *lack) {
	gapA, gapB := pl.shop.Fits.LooseDowel, pl.shop.Fits.GluedDowel // a loose dowel is held in B and slides in A
	if d.glued {
		gapA = gapB
	}
	r := (d.Diameter + max(gapA, gapB)) / 2
	p := c.Frame.Point(geom.V3(at.X, at.Y, 0))
	axis := c.Frame.Z
	side := pl.wall
	if have := inside(c.Region, at) - r; have < pl.wall-hair {
		return nil, &lack{code: tooSmall, what: "distance from a dowel to the edge of the contact", have: have + r, need: pl.wall + r}
	}
	begin := pl.begin()
	room := func(m int, dir geom.Vec3) float64 {
		t, _, _ := pl.cores[m].ahead(p.Add(dir.Scale(begin)), dir, r)
		return t + begin - leastEndWall
	}
	// Evenly into both; where one is thin, further into the other.
	total := d.Length + 2*dowelOver
	roomA, roomB := room(c.A.Member, axis.Neg()), room(c.B.Member, axis)
	a := min(total/2, roomA)
	b := min(total-a, roomB)
	a = total - b
	reach := looseReach
	if d.glued {
		reach = gluedReach
	}
	least := reach*d.Diameter + dowelOver
	if a > roomA+1e-9 {
		return nil, &lack{code: tooThin, what: fmt.Sprintf("depth for a %s x %s dowel in %s and %s together", mm(d.Diameter), mm(d.Length), pl.id(c.A.Member), pl.id(c.B.Member)), in: pl.id(c.A.Member), have: max(0, roomA) + max(0, roomB), need: total}
	}
	if short := min(a, b); short < least {
		m := c.A.Member
		if b < a {
			m = c.B.Member
		}
		return nil, &lack{code: tooThin, what: fmt.Sprintf("depth for a %s mm dowel in %s", mm(d.Diameter), pl.id(m)), in: pl.id(m), have: short, need: least}
	}
	for _, s := range []struct {
		side  Side
		dir   geom.Vec3
		depth float64
	}{{c.A, axis.Neg(), a}, {c.B, axis, b}} {
		if have := pl.cores[s.side.Member].lateral(p, s.dir, begin, s.depth, r+side) - r; have < side-hair {
			return nil, &lack{code: tooSmall, what: "wall round a dowel in " + pl.id(s.side.Member), in: pl.id(s.side.Member), have: have, need: side}
		}
	}
	f := &fastener{dowel: &Dowel{Diameter: d.Diameter, Length: d.Length, Center: p, Axis: axis, Glued: d.glued, Printed: d.Printed, Vent: d.glued}}
	f.bores = []Bore{
		{Member: c.A.Member, Purpose: DowelBore, Mouth: p, Axis: axis.Neg(), Diameter: d.Diameter + gapA, Depth: a, Fit: pl.shop.Fits.Hole, Surface: c.A.Surface},
		{Member: c.B.Member, Purpose: DowelBore, Mouth: p, Axis: axis, Diameter: d.Diameter + gapB, Depth: b, Fit: pl.shop.Fits.Hole, Surface: c.B.Surface},
	}
	return f, pl.clear(f)
}

// inside is how far a point lies inside a region; negative outside.
func inside(ps geom.Polygons, q geom.Vec2) float64 {
	if d := ps.Distance(q); ps.Contains(q) {
		return d
	} else {
		return -d
	}
}

// web is the least material between two bores.
func (pl *placer) web(a, b Bore) float64 {
	if a.Purpose == InsertBore || b.Purpose == InsertBore {
		return max(pl.wall, insertWall)
	}
	return pl.wall
}

// clear makes sure that no bore of f comes too near to a settled one.
func (pl *placer) clear(f *fastener) *lack {
	for _, b := range f.bores {
		for _, o := range pl.bores[pl.group[b.Member]].around(b, max(pl.wall, insertWall)) {
			if gap, need := between(b, o), pl.web(b, o); gap < need {
				return &lack{code: noRoom, what: fmt.Sprintf("material between the %s bore of this joint and the %s bore of %s in %s", b.Purpose, o.Purpose, o.Of, pl.id(b.Member)), have: gap, need: need}
			}
		}
	}
	return nil
}

// apart is the same for two fasteners of one joint.
func (pl *placer) apart(f, g *fastener) *lack {
	for _, a := range f.bores {
		for _, b := range g.bores {
			if pl.group[a.Member] != pl.group[b.Member] {
				continue
			}
			if gap, need := between(a, b), pl.web(a, b); gap < need {
				return &lack{code: tooSmall, what: fmt.Sprintf("material between two bores in %s", pl.id(a.Member)), crowd: true, have: gap, need: need}
			}
		}
	}
	return nil
}
