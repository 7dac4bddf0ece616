package joint

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// directions is how many ways round a socket a screw may come from.
const directions = 24

// settleRound makes the joint i of a round contact.
func (pl *placer) settleRound(r *Result, i int, c *RoundContact) {
	// What stands for it as a flat one: the tangent plane in its middle.
	flat := &Contact{ID: c.ID, A: c.A, B: c.B, Area: c.Area,
		Frame: geom.FrameFromXZ(c.Axis.Point(geom.V3(c.Radius, 0, 0)), c.Axis.Z, c.Axis.X.Neg())}
	t := pl.task(r, i, flat)
	t.round = c
	box := c.Region.Bounds().Size()
	t.l, t.w = box.Y, 2*c.Radius
	if !c.Closed {
		t.w = 2 * c.Radius * math.Sin(min(math.Pi/2, box.X/c.Radius/2))
	}
	t.size = fmt.Sprintf("%s mm round, %s", mm(2*c.Radius), mm(box.Y))
	pair := pairOf(c.A.Member, c.B.Member)
	switch {
	case t.j.Kind == piece.KnockDown && pl.screwed[pair] != "":
		t.held(pl.screwed[pair])
	case t.j.Kind == piece.KnockDown:
		t.cross()
	case t.j.Kind == piece.Glued:
		t.j.GlueArea = c.Area
		if pl.blind(c) {
			t.tell(finding.Note, "blind-socket", fmt.Sprintf("%s is glued into a socket of %s that is closed at its end: air and spare glue must get out past it.", pl.id(c.B.Member), pl.id(c.A.Member)),
				"cut a groove along the tenon, or put little glue on its end", "common practice, no source")
		}
	}
	if t.rule.Dowels > 0 && t.j.Kind != piece.Rests {
		t.tell(finding.Note, "no-dowels-round", fmt.Sprintf("%s and %s meet round each other: no dowels are placed there.", pl.id(c.A.Member), pl.id(c.B.Member)),
			"leave it: one holds the other in place", "our own rule")
	}
	r.Joints[i] = *t.j
}

// held notes that another joint of the same members holds this contact too.
func (t *task) held(by string) {
	t.tell(finding.Note, "held-already", fmt.Sprintf("%s are screwed together at another contact (%s): none is needed at this one.", t.between(), by),
		"leave it", "our own rule")
}

// relieve turns what could not be done at a flat contact into a note where the
// same two members are held elsewhere: by a screw where they fit round each
// other, or at a flat contact that lies athwart, as the walls of a housing do to
// its floor.
func (pl *placer) relieve(r *Result) {
	for i := range r.Findings {
		f := &r.Findings[i]
		if f.Severity != finding.Stop {
			continue
		}
		for k := range r.Contacts {
			c, j := &r.Contacts[k], &r.Joints[k]
			if f.Subject != j.subject() {
				continue
			}
			by := ""
			if pair := pairOf(c.A.Member, c.B.Member); pl.round[pair] {
				by = pl.screwed[pair]
			}
			if by == "" {
				by = athwart(r, k)
			}
			if by != "" {
				f.Severity, f.Code, f.Remedy = finding.Note, "held-already", "leave it; or, to hold it here too: "+f.Remedy
				f.Message += fmt.Sprintf(" None is needed: %s holds the two.", by)
			}
		}
	}
}

// athwart is a joint of the same kind between the same members as joint k that
// holds them at a flat contact not parallel to its own, "" if there is none.
func athwart(r *Result, k int) string {
	c := &r.Contacts[k]
	for i := range r.Contacts {
		o, j := &r.Contacts[i], &r.Joints[i]
		if i == k || j.Kind != r.Joints[k].Kind || len(j.Screws)+len(j.Dowels) == 0 || pairOf(o.A.Member, o.B.Member) != pairOf(c.A.Member, c.B.Member) {
			continue
		}
		if math.Abs(o.Frame.Z.Dot(c.Frame.Z)) < 0.7 { // more than 45 degrees between them
			return j.ID
		}
	}
	return ""
}

// subject is what findings about a joint call it.
func (j *Joint) subject() string { return j.ID + " (" + j.Contact + ")" }

// blind reports whether the socket is closed beyond the end of what stands in it.
func (pl *placer) blind(c *RoundContact) bool {
	if !c.Closed {
		return false
	}
	half := c.Region.Bounds().Size().Y / 2
	from := c.Axis.Point(geom.V3(0, 0, -half))
	_, _, hit := pl.forms[c.A.Member].along(from, c.Axis.Z.Neg(), c.Radius/4, start, 2*half+2*c.Radius)
	return hit
}

// ways lists the sides that the head may be in. What stands in a socket
// cannot be reached but through its host.
func (t *task) ways(h hardware) []drive {
	if t.round.Closed {
		return []drive{{h, t.c.A, t.c.B, t.c.Frame.Z}}
	}
	return t.drives(h)
}

// radial is where a screw along a radius of a round contact crosses it, at an
// angle from its X axis and a height.
//
// An insert in the member that bulges is sunk until the chord there is as
// wide as the insert and its walls; a screw through that member counts from
// where the chord is as wide as its bore and walls.
func (pl *placer) radial(c *RoundContact, d drive, angle, z float64) crossing {
	sn, cs := math.Sincos(angle)
	e := c.Axis.Dir(geom.V3(cs, sn, 0))
	on := func(r float64) geom.Vec3 { return c.Axis.Point(geom.V3(0, 0, z)).Add(e.Scale(r)) }
	inner, outer := c.Radius, c.Radius+c.Gap
	core := inner - pl.skin - sagOf(&pl.p.Members[c.B.Member], c.B.Surface)
	// chord is how far from the axis a chord of the core is that wide; 0 for never.
	chord := func(half float64) float64 { return math.Sqrt(max(0, core*core-half*half)) }
	// horns is how far the hollow's material stands beyond its tangent plane over a bore.
	horns := func(r float64) float64 {
		return outer - math.Sqrt(max(0, outer*outer-r*r)) + sagOf(&pl.p.Members[c.A.Member], c.A.Surface)
	}
	x := crossing{edge: c.inside(angle, z)}
	if d.through.Member == c.A.Member {
		x.at, x.mouthT, x.mouthI = on(outer), on(outer), on(inner)
		x.sink = outer - chord(d.insert.Hole/2+d.wall())
		x.overT = 1 + horns(d.Clearance/2)
		return x
	}
	from := chord(d.Clearance/2 + pl.wall)
	x.at, x.mouthT, x.mouthI = on(from), on(inner), on(outer)
	x.sink = outer - from
	x.overI = 1 + horns(d.insert.Hole/2)
	return x
}

// cross looks for screws across a round contact: from outside the host into
// what stands in its socket, or between an end hollowed out and what it fits.
func (t *task) cross() {
	t.w, t.l = min(t.w, t.l), max(t.w, t.l)
	sizes := t.sizes()
	if len(sizes) == 0 {
		t.noGoods()
		return
	}
	if t.round.Closed && t.rule.Through != "" && matches(t.rule.Through, &t.pl.p.Members[t.c.B.Member]) > matches(t.rule.Through, &t.pl.p.Members[t.c.A.Member]) {
		t.tell(finding.Note, "through-the-host", fmt.Sprintf("%s stands in %s: the screw goes through %s, not through %s.", t.pl.id(t.c.B.Member), t.pl.id(t.c.A.Member), t.pl.id(t.c.A.Member), t.pl.id(t.c.B.Member)),
			"name the other member in the rule", "our own rule")
	}
	found, why := t.tryRound(sizes)
	if found == nil {
		t.failRound(sizes, why)
		return
	}
	t.commit(found)
	if w := t.crosses(); len(found) < w {
		t.tell(finding.Warning, "fewer-screws", fmt.Sprintf("The contact of %s is %s mm and would have %d screws, but only %d fit.", t.between(), t.size, w, len(found)),
			"keep it if the load is small; or make room for more", "one more screw every 200 mm: common practice, no source")
	}
}

// crosses is the number of screws that the contact should have: what stands in
// a socket cannot tip, so one holds it however long it is.
func (t *task) crosses() int {
	if t.round.Closed {
		return max(1, t.rule.Screws)
	}
	t.l = t.round.Region.Bounds().Size().Y // along which they stand
	return t.wanted()
}

func (t *task) tryRound(sizes []hardware) ([]*fastener, *lack) {
	var why *lack
	for i, h := range sizes {
		for way, d := range t.ways(h) {
			n := t.crosses()
			least := 1
			if t.rule.Screws > 0 {
				least = n
			}
			for k := n; k >= least; k-- {
				found, lk := t.line(d, k)
				if found != nil {
					return found, nil
				}
				if i == 0 && (way == 0 || why != nil && why.code == noPath && lk.code != noPath) { // the others are makeshifts
					why = lesser(why, lk)
				}
			}
		}
	}
	return nil, why
}

// line looks for places for n screws along a round contact: evenly in its
// middle, then wider and narrower, then shifted along it.
func (t *task) line(d drive, n int) ([]*fastener, *lack) {
	if lk := t.slender(d); lk != nil {
		return nil, lk
	}
	box := t.round.Region.Bounds()
	mid, long := box.Center().Y, box.Size().Y
	var why *lack
	for _, spread := range spreads(n, long) {
		for _, shift := range shifts((long - spread) / 2) {
			found, lk := t.stations(d, n, mid+shift-spread/2, spread)
			if found != nil {
				return found, nil
			}
			if why == nil { // the middle of the contact says most
				why = lk
			}
		}
	}
	return nil, why
}

// slender says that what stands in a socket is too thin to take an insert
// across it. Round the insert, of half the width w with its walls and as long
// as its bore is deep, goes a circle of radius √((deep/2)² + w²).
func (t *task) slender(d drive) *lack {
	if !t.round.Closed || d.into.Member != t.c.B.Member {
		return nil
	}
	deep := insertRecess + d.insert.Length + d.insert.Melt
	less := 2 * (t.pl.skin + sagOf(&t.pl.p.Members[t.c.B.Member], t.c.B.Surface))
	if have, need := 2*t.round.Radius, 2*math.Hypot(deep/2, d.width()/2)+less; have < need {
		in := t.pl.id(d.into.Member)
		return &lack{code: tooThin, what: "diameter of " + in + " for an " + d.Size + " insert across it", in: in, have: have, need: need}
	}
	return nil
}

// stations places n screws from a height on, each from where its opening
// disturbs least, or, where there is no choice of sides, nearest to the middle.
func (t *task) stations(d drive, n int, from, spread float64) ([]*fastener, *lack) {
	var out []*fastener
	for i := range n {
		z := from
		if n > 1 {
			z += half(spread * float64(i) / float64(n-1))
		}
		var best *fastener
		var why *lack
		for _, angle := range t.angles(z) {
			at := d
			sn, cs := math.Sincos(angle)
			at.axis = t.round.Axis.Dir(geom.V3(-cs, -sn, 0))
			if d.through.Member == t.c.B.Member {
				at.axis = at.axis.Neg()
			}
			f, lk := t.pl.screwAt(t.pl.radial(t.round, at, angle, z), at)
			for _, o := range out {
				if lk == nil {
					lk = t.pl.apart(o, f).at(1)
				}
			}
			if lk != nil {
				// Of all sides of a socket the one that lacks least is told, else the middle.
				if t.round.Closed || why == nil {
					why = lesser(why, lk.at(0))
				}
				continue
			}
			if best == nil || t.round.Closed && f.cost < best.cost-1e-6 {
				best = f
			}
		}
		if best == nil {
			return nil, why
		}
		out = append(out, best)
	}
	return out, nil
}

// angles lists the directions to try at a height, best first: all round a
// socket, from the one towards the middle of things on, alternately to either
// side; else the middle of the contact and a little beside it.
func (t *task) angles(z float64) []float64 {
	c := t.round
	side := t.pl.middles.toward(c.Axis.Origin, c.Axis.Y, c.A.Member, c.B.Member, -1)
	var out []float64
	if c.Closed {
		const step = 2 * math.Pi / directions
		out = append(out, 0)
		for k := 1.0; k < directions/2; k++ {
			out = append(out, side*k*step, -side*k*step)
		}
		return append(out, math.Pi)
	}
	turned := c.Region.Map(func(q geom.Vec2) geom.Vec2 { return geom.V2(q.Y, q.X) }).Reversed()
	mid, ok := medial(turned, z, side)
	if !ok {
		return []float64{0}
	}
	const step = 7.5 * math.Pi / 180
	for _, k := range []float64{0, 1, -1, 2, -2} {
		out = append(out, mid/c.Radius+side*k*step)
	}
	return out
}

// failRound tells why a round contact cannot be screwed, and what would help.
func (t *task) failRound(tried []hardware, why *lack) {
	if why == nil {
		why = &lack{code: tooSmall, note: "there is no room for one"}
	}
	msg := fmt.Sprintf("No place was found for a screw across %s (contact %s mm long): %s.", t.between(), t.size, why)
	if why.code == noPath {
		msg = fmt.Sprintf("No driver reaches a screw across %s (contact %s mm long): %s.", t.between(), t.size, why)
	}
	var remedies []string
	if t.rule.Screw != "" {
		for _, other := range slices.Backward(t.pl.goods) {
			if other.Diameter >= tried[0].Diameter {
				continue
			}
			if found, _ := t.tryRound([]hardware{other}); found != nil {
				remedies = append(remedies, "use "+other.Size)
				break
			}
		}
	}
	if t.rule.Through != "" && !t.round.Closed {
		saved := t.rule.Through
		t.rule.Through = ""
		if found, _ := t.tryRound(tried[:1]); found != nil {
			remedies = append(remedies, "let the screw go through the other member")
		}
		t.rule.Through = saved
	}
	if t.rule.Screws > 1 {
		remedies = append(remedies, "ask for fewer screws")
	}
	switch more := why.enlarge(); {
	case why.code == noPath:
		remedies = append(remedies, "move the member that is in the way")
	case why.code == noRoom:
		remedies = append(remedies, "move the members so that their joints do not meet")
	case why.code == noGoods:
		remedies = append(remedies, "stock another screw length")
	case more != "":
		remedies = append(remedies, more)
	}
	remedies = append(remedies, "glue them")
	t.tell(finding.Stop, why.code, msg, strings.Join(remedies, "; or "), "edge and wall distances of the joint stage; insert wall: J. Manuf. Mater. Process. 7(1) 42, 2023")
}
