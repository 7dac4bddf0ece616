package veneer

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// meet is one side of a contact: a surface with another member against it.
type meet struct {
	id             string
	member, surf   int
	other, against int        // the other member and its surface
	frame          geom.Frame // world; Z out of this surface. Of a round contact: along the axis
	region         geom.Polygons
	radius         float64 // of a round contact, mm; 0 for a flat one
	hollow         bool    // this surface is the hollow one of a round contact
	covered        float64
	host           bool // this member goes on beyond the contact
	inside         bool // both are printed as one
	treatment      Treatment
}

// task is one run of Lay.
type task struct {
	report
	shop     *shop.Shop
	o        Options
	members  []*clad // surfaces as in the piece file until cores are made
	wishes   [][]wish
	meets    []*meet
	layout   *Layout
	near     map[[2]int][]station // by member and surface, as they are asked for
	proposed map[goreKey]string   // gores proposed already
	filled   map[[2]int]bool      // pairs of members between whose cores something was filled in
}

// Lay settles what is veneered and with what, the sizes of the cores, where
// veneer stops round other members, and where bands, laps and joints of leaves
// lie. Contacts, flat and round, are those of the piece as described.
func Lay(ctx context.Context, k *solid.Kernel, p *piece.Piece, contacts []joint.Contact, rounds []joint.RoundContact, s *shop.Shop, o Options) (*Layout, error) {
	if len(s.Veneers) == 0 {
		return nil, errors.New("veneer: the shop has no veneer")
	}
	t := &task{report: report{p: p}, shop: s, o: o.withDefaults(), layout: &Layout{}, near: map[[2]int][]station{}, filled: map[[2]int]bool{}}
	for i := range p.Members {
		m := p.Members[i]
		c := &clad{index: i, core: m, surfaces: m.Surfaces(t.o.Chord), chord: t.o.Chord}
		c.cover = make([]Covering, len(c.surfaces))
		c.stack = make([]shop.Veneer, len(c.surfaces))
		c.bare = make([][]geom.Polygons, len(c.surfaces))
		c.exact = make([][]bool, len(c.surfaces))
		t.members = append(t.members, c)
	}
	for _, c := range contacts {
		t.meets = append(t.meets, sides(c)...)
	}
	for _, c := range rounds {
		t.meets = append(t.meets, roundSides(c)...)
	}
	err := k.Regions(ctx, func(r *solid.Regions) error {
		t.inside(r)
		t.states()
		if err := t.cores(); err != nil {
			return err
		}
		t.middle()
		t.windows(r)
		for _, c := range t.members {
			order := c.sequence(p.Veneer.Order == "edges first")
			c.setOrder(order)
			t.layout.Order = append(t.layout.Order, order)
		}
		t.flush(r)
		for _, c := range t.members {
			for si := range c.surfaces {
				if err := ctx.Err(); err != nil {
					return err
				}
				if c.rank[si] >= 0 {
					t.divide(r, c, si)
				}
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("veneer: laying out %s: %w", p.Name, err)
	}
	for _, c := range t.members {
		t.layout.Coverings = append(t.layout.Coverings, c.cover)
	}
	t.shift()
	t.layout.Findings = finding.Sorted(t.list)
	return t.layout, nil
}

// middle tells every member where the middle of the piece is: that of the box
// round all flat surfaces, seen from above.
func (t *task) middle() {
	box := geom.EmptyBox2()
	for _, c := range t.members {
		for si := range c.surfaces {
			if c.surfaces[si].Kind != piece.Plane {
				continue
			}
			for _, loop := range c.surfaces[si].Region {
				for _, q := range loop {
					box = box.Add(c.world(si, q).XY())
				}
			}
		}
	}
	for _, c := range t.members {
		c.middle = box.Center()
	}
}

// sides are the two sides of a contact.
func sides(c joint.Contact) []*meet {
	turned := geom.Frame{Origin: c.Frame.Origin, X: c.Frame.X, Y: c.Frame.Y.Neg(), Z: c.Frame.Z.Neg()}
	mirrored := c.Region.Map(func(q geom.Vec2) geom.Vec2 { return geom.V2(q.X, -q.Y) }).Reversed()
	return []*meet{
		{id: c.ID, member: c.A.Member, surf: c.A.Surface, other: c.B.Member, against: c.B.Surface, frame: c.Frame, region: c.Region, covered: c.A.Covered, host: true},
		{id: c.ID, member: c.B.Member, surf: c.B.Surface, other: c.A.Member, against: c.A.Surface, frame: turned, region: mirrored, covered: c.B.Covered},
	}
}

// inside finds where members that are printed as one touch; the joint stage
// leaves these contacts out, as nothing joins there.
func (t *task) inside(r *solid.Regions) {
	const touch = 0.05
	for _, g := range t.p.PrintAsOne {
		for x, a := range g {
			for _, b := range g[x+1:] {
				ca, cb := t.members[a], t.members[b]
				for i := range ca.surfaces {
					fa := &ca.surfaces[i]
					if fa.Kind != piece.Plane || len(fa.Region) == 0 {
						continue
					}
					frame := fa.Frame.In(ca.core.Place)
					for j := range cb.surfaces {
						fb := &cb.surfaces[j]
						if fb.Kind != piece.Plane || len(fb.Region) == 0 {
							continue
						}
						other := fb.Frame.In(cb.core.Place)
						if frame.Z.Dot(other.Z) > -0.99999 || math.Abs(frame.Local(other.Origin).Z) > touch {
							continue
						}
						seen := fb.Region.Map(func(q geom.Vec2) geom.Vec2 {
							return frame.Local(other.Point(geom.V3(q.X, q.Y, 0))).XY()
						}).Reversed()
						common := r.Intersect(fa.Region, seen)
						if common.Area() < 1 {
							continue
						}
						c := joint.Contact{
							A:      joint.Side{Member: a, Surface: i, Covered: common.Area() / fa.Area},
							B:      joint.Side{Member: b, Surface: j, Covered: common.Area() / fb.Area},
							Frame:  frame,
							Region: common, Area: common.Area(),
						}
						if c.A.Covered > c.B.Covered { // A goes on beyond
							two := sides(c)
							c.A, c.B, c.Frame, c.Region = c.B, c.A, two[1].frame, two[1].region
						}
						two := sides(c)
						two[0].inside, two[1].inside = true, true
						t.meets = append(t.meets, two...)
					}
				}
			}
		}
	}
}

const (
	full  = 0.95 // a surface covered more than this is left bare: no leaf is worth its rest
	floor = 0.5  // mm within which a downward plane stands on the floor
)

// states decides what is done with every surface.
func (t *task) states() {
	covered := map[[2]int]float64{}
	by := map[[2]int]string{}
	holds := map[[2]int]bool{} // a hollow with a round part of another member in it
	for _, m := range t.meets {
		key := [2]int{m.member, m.surf}
		covered[key] += m.covered
		holds[key] = holds[key] || m.hollow
		if by[key] == "" {
			by[key] = t.p.Members[m.other].ID
		}
	}
	t.wishes = make([][]wish, len(t.members))
	for mi, c := range t.members {
		m := &t.p.Members[mi]
		t.wishes[mi] = make([]wish, len(c.surfaces))
		missing := ""
		for si := range c.surfaces {
			sf := &c.surfaces[si]
			subject := m.ID + "/" + sf.Name
			w, err := wishes(t.p, t.shop, t.o, m, sf)
			if err != nil {
				w.veneer = t.shop.Veneers[0]
				if missing != err.Error() {
					missing = err.Error()
					t.add(finding.Stop, "unknown-veneer", m.ID, w.line, "", "name a veneer of the shop file; or add it there", "For %s %s.", m.ID, missing)
				}
			}
			t.wishes[mi][si] = w
			cov := &c.cover[si]
			covers := covered[[2]int{mi, si}] >= full
			switch {
			case sf.Unlaid != "":
				*cov = Covering{State: Bare, Why: "does not unroll"}
				if w.show != "bare" && w.show != "hidden" {
					t.add(finding.Warning, "not-laid-flat", subject, w.line, "geometry", "leave it bare and paint it; or divide it by a corner where it is drawn",
						"%s cannot be laid flat, so no leaf covers it: %s.", subject, sf.Unlaid)
				}
			case len(sf.Region) == 0:
				*cov = Covering{State: Bare, Why: "cut away"}
			case sf.Patch != nil && sf.Strain.Overlap && w.show != "bare" && w.show != "hidden":
				*cov = Covering{State: Bare, Why: "lies on itself when flat"}
				t.add(finding.Warning, "flat-overlap", subject, w.line, "geometry", "draw it as two surfaces with a corner between them; or leave it bare",
					"%s lies on itself when it is laid flat, so no leaf covers it in one piece, and it is left bare.", subject)
			case sf.Kind == piece.Free && w.show != "bare" && w.show != "hidden" && !t.bears(c, si, w):
				*cov = Covering{State: Bare, Why: "does not unroll"}
				if sf.Patch != nil {
					t.doubleCurved(c, si, subject, w)
				} else {
					t.freeSurface(subject, sf, w.line, t.o.Strain)
				}
			case covers && w.show != "show":
				*cov = Covering{State: Bare, Why: "full contact with " + by[[2]int{mi, si}]}
			case w.show != "":
				*cov = Covering{State: State(w.show), Why: "set in the piece file"}
				if covers && w.show == "show" {
					t.add(finding.Warning, "veneer-in-joint", subject, w.line, "geometry", "leave out the rule", "%s is to show, but %s covers it altogether.", subject, by[[2]int{mi, si}])
					*cov = Covering{State: Bare, Why: "full contact with " + by[[2]int{mi, si}]}
				}
			case t.foot(c, si):
				*cov = Covering{State: Bare, Why: "foot"}
			case sf.Inside && sf.Role == piece.Edge:
				*cov = Covering{State: Bare, Why: "inside of a cut-out"}
			case sf.Inside:
				*cov = Covering{State: Bare, Why: "inside of a bore"}
			case holds[[2]int{mi, si}]:
				*cov = Covering{State: Bare, Why: "holds " + by[[2]int{mi, si}]}
			case sf.Role == piece.Face && t.downward(c, si):
				*cov = Covering{State: Hidden, Why: "underside"}
			default:
				*cov = Covering{State: Show, Why: "shows"}
			}
			if cov.State == Show && (sf.Kind != piece.Free || sf.Patch != nil) {
				t.lay(mi, si, w.veneer)
				if sf.Kind == piece.Free {
					t.strained(c, si, subject, w)
				}
			}
		}
		t.balance(mi)
	}
}

// lay records that a veneer goes on a surface.
func (t *task) lay(mi, si int, v shop.Veneer) {
	c := t.members[mi]
	c.stack[si] = v
	c.cover[si].Veneer, c.cover[si].Stack, c.cover[si].Neutral = v.ID, v.Stack(), v.NeutralDepth()
	if g := t.wishes[mi][si].grain; g != nil {
		c.cover[si].Grain = *g
	} else {
		c.cover[si].Grain = c.grainDirection(si)
		if c.rim(si, v) {
			c.cover[si].Grain = 0
		}
	}
}

// balance veneers the hidden side of a panel whose other side is veneered: the
// same stack, the grain in the same direction. A panel that is held over more
// than half of that side needs none.
func (t *task) balance(mi int) {
	c := t.members[mi]
	for si := range c.surfaces {
		cov := &c.cover[si]
		opposite := c.opposite(si)
		if cov.State != Hidden || opposite < 0 || c.cover[opposite].Stack == 0 || len(c.surfaces[si].Region) == 0 {
			continue
		}
		var held float64
		for _, m := range t.meets {
			if m.member == mi && m.surf == si && (m.inside || t.rule(m).Kind == piece.Glued) {
				held += m.covered
			}
		}
		switch {
		case held > 0.5:
			cov.Why += "; held, so left bare"
		case !t.p.Veneer.Balance:
			subject := t.p.Members[mi].ID + "/" + c.surfaces[si].Name
			t.add(finding.Warning, "unbalanced", subject, t.wishes[mi][si].line, "veneer both sides of unsupported panels (trade practice: Balancing veneers, furnituremaking.us)",
				"let the piece's veneer balance hidden faces; or show this one", "%s is veneered on one side only and may bow as the veneer dries.", t.p.Members[mi].ID)
			t.mend("true", "veneer", "balance")
		default:
			v := c.stack[opposite]
			t.lay(mi, si, v)
			if a, b := &c.surfaces[si], &c.surfaces[opposite]; t.wishes[mi][si].grain == nil && a.Kind == piece.Plane && b.Kind == piece.Plane {
				// Seen from this side the other's u axis points along turn and its v axis is mirrored.
				x := b.Frame.LocalDir(a.Frame.X)
				turn := math.Atan2(x.Y, x.X)
				c.cover[si].Grain = math.Mod(turn-c.cover[opposite].Grain, math.Pi)
			}
			cov.Why += "; balances " + c.surfaces[opposite].Name
		}
	}
}

func (t *task) downward(c *clad, si int) bool {
	return c.core.Place.Dir(c.facing(si)).Z < -math.Sqrt(0.5)
}

// foot reports whether a plane stands on the floor.
func (t *task) foot(c *clad, si int) bool {
	sf := &c.surfaces[si]
	if sf.Kind != piece.Plane || c.core.Place.Dir(sf.Frame.Z).Z > -0.999 {
		return false
	}
	for _, loop := range sf.Region {
		for _, q := range loop {
			if math.Abs(c.world(si, q).Z) > floor {
				return false
			}
		}
	}
	return true
}

// rule is the joint rule for a contact; the zero rule when there is none.
func (t *task) rule(m *meet) piece.JointRule {
	is := func(name string, i int) bool { return t.p.Members[i].ID == name || t.p.Members[i].Name == name }
	for _, r := range t.p.Joints {
		if is(r.Between[0], m.member) && is(r.Between[1], m.other) || is(r.Between[1], m.member) && is(r.Between[0], m.other) {
			return r
		}
	}
	return piece.JointRule{Kind: piece.KnockDown}
}

// cores settles how every contact is treated and moves the surfaces in.
func (t *task) cores() error {
	finished := t.p.Sizes != piece.CoreSize
	for i, m := range t.meets {
		c, other := t.members[m.member], t.members[m.other]
		if c.cover[m.surf].Stack == 0 {
			continue
		}
		rule := t.rule(m)
		m.treatment = Treatment(rule.Contact)
		if m.treatment == "" {
			m.treatment = Open
			if finished {
				m.treatment = Pad
			}
		}
		if m.treatment == Through && rule.Kind != piece.Glued && rule.Kind != piece.Rests {
			t.add(finding.Stop, "veneer-under-screw", m.id, rule.Line, "veneer under a screw is crushed and creeps; common practice, no source",
				"ask for a pad or a window there; or glue the joint", "At %s the veneer is to run through, but the joint is screwed.", m.id)
			m.treatment = Pad
			if !finished {
				m.treatment = Open
			}
			if i := slices.Index(t.p.Joints, rule); i >= 0 { // in the order of the piece file
				t.mend(string(m.treatment), "joints", strconv.Itoa(i), "contact")
			}
		}
		if m.inside {
			m.treatment = Open
		}
		if m.treatment == Open && finished && !m.inside && other.cover[m.against].Stack > 0 {
			m.treatment = Pad // both go on beyond: neither can reach the other's core
		}
		ends := !m.inside || t.meets[i^1].covered >= full // sides come in pairs
		if m.treatment == Open && finished && other.cover[m.against].Stack == 0 && ends {
			// The end that stands in the window reaches down to the core.
			by := &other.cover[m.against]
			if by.Inset > -c.cover[m.surf].Stack {
				by.Inset = -c.cover[m.surf].Stack
			}
		}
	}
	for mi, c := range t.members {
		in := make([]float64, len(c.surfaces))
		for si := range c.surfaces {
			cov := &c.cover[si]
			if cov.Stack > 0 && finished {
				cov.Inset = cov.Stack
			}
			in[si] = cov.Inset
		}
		m, err := t.p.Members[mi].Inset(in)
		if err != nil {
			m = t.uncovered(mi, err)
		}
		c.core, c.surfaces = m, m.Surfaces(t.o.Chord)
		c.neutrals, c.openings, c.met = nil, nil, nil
		t.layout.Cores = append(t.layout.Cores, m)
	}
	return nil
}

// uncovered is a member whose surfaces cannot move in by different stacks: one
// that bears veneer runs smoothly into one that bears none, as a straight
// turning does into a curve both ways. Its veneer is given up, which is told.
func (t *task) uncovered(mi int, why error) piece.Member {
	m, c := t.p.Members[mi], t.members[mi]
	for si := range c.surfaces {
		if cov := &c.cover[si]; cov.Stack > 0 || cov.Inset != 0 {
			cov.State, cov.Stack, cov.Neutral, cov.Inset, cov.Veneer, cov.Why = Bare, 0, 0, 0, "", "its core cannot be moved in"
		}
	}
	t.add(finding.Stop, "core-not-moved", m.ID, m.Line, "geometry of parallel curves",
		"put a corner (a bead or a small shoulder) where a curve runs smoothly into a part that bears veneer; or set the member bare; or veneer both alike",
		"The core of %s cannot be made thinner by its veneer: %v.", m.ID, why)
	return m
}

// windows finds where the veneer stops at contacts, and the pads.
//
// The leaf reaches Under mm beneath the other member, and a pad fills the hole
// that is left but for Clearance all round. Where a contact runs out to the
// surface's own border, hole and pad do so too: both are the contact less
// what lies within that distance of the part of the surface that shows.
func (t *task) windows(r *solid.Regions) {
	for _, m := range t.meets {
		if m.inside {
			t.fuse(r, m)
		}
		c := t.members[m.member]
		sf := &c.surfaces[m.surf]
		if c.cover[m.surf].Stack == 0 || m.treatment == Through || len(sf.Region) == 0 {
			continue
		}
		chart := c.chartOf(r, m)
		contact := r.Intersect(chart, sf.Region)
		if len(contact) == 0 {
			continue
		}
		w := Window{Member: m.member, Surface: m.surf, Contact: m.id, Treatment: m.treatment}
		if m.treatment == Pad {
			shows := r.Subtract(sf.Region, contact)
			inside := func(d float64) geom.Polygons {
				if len(shows) == 0 {
					return contact
				}
				return r.Subtract(contact, r.Offset(shows, d, solid.Miter, 4, t.o.Chord))
			}
			w.Region = inside(t.o.Under)
			if pad := inside(t.o.Under + t.o.Clearance); len(pad) > 0 {
				t.pad(m, c, pad)
			} else {
				t.add(finding.Warning, "no-room-for-pad", m.id, t.p.Members[m.member].Line, "geometry",
					"ask for a window there; or make the contact larger", "The contact %s is too narrow for a pad under it.", m.id)
			}
		} else {
			other := t.members[m.other]
			by := perEdge(chart, func(a, b geom.Vec2) float64 {
				d := t.o.Clearance
				if t.p.Sizes == piece.CoreSize || m.inside && t.p.Sizes != piece.CoreSize {
					d += t.sideStack(other, m, c, sf, a.Lerp(b, 0.5))
				}
				return d
			})
			w.Region = r.Intersect(grow(r, chart, by), sf.Region)
		}
		if len(w.Region) == 0 {
			continue
		}
		c.bare[m.surf] = append(c.bare[m.surf], w.Region)
		c.exact[m.surf] = append(c.exact[m.surf], m.treatment == Pad || m.inside)
		t.layout.Windows = append(t.layout.Windows, w)
	}
}

// sideStack is the veneer on that side of the arriving member which stands on
// a border of the contact.
func (t *task) sideStack(other *clad, m *meet, c *clad, sf *piece.Surface, q geom.Vec2) float64 {
	if t.p.Sizes != piece.CoreSize {
		return 0 // the contact is that of finished sizes: veneer included
	}
	p := c.core.Place.Point(sf.Point(q))
	end := &other.surfaces[m.against]
	at := end.Chart(other.core.Place.Local(p))
	best, found := 0.01, -1
	for i, loop := range end.Region {
		for j := range loop {
			if d := geom.SegmentDistance(at, loop[j], loop[(j+1)%len(loop)]); d < best {
				best = d
				found = other.across(m.against, end.Region[i][j], loop[(j+1)%len(loop)]).surface
			}
		}
	}
	if found < 0 {
		return 0
	}
	return other.cover[found].Stack
}

// padRoot is how far a pad reaches into the core, so that the two join
// without a seam between coincident planes.
const padRoot = 0.2

// pad raises the core to the other member's surface.
func (t *task) pad(m *meet, c *clad, outline geom.Polygons) {
	id := m.id + "/pad"
	if !m.host {
		id += "-2"
	}
	if m.radius > 0 {
		t.layout.Cuts = append(t.layout.Cuts, piece.Cut{ID: id, Member: m.member, Purpose: "pad", Add: true, Shape: c.roundPad(m, outline)})
		return
	}
	var loops []solid.Loop
	for _, p := range outline {
		tags := make([]solid.Tag, len(p))
		for i := range tags {
			tags[i] = solid.NoTag
		}
		loops = append(loops, solid.Loop{Points: p, Tags: tags})
	}
	shape := solid.Extrude(loops, -padRoot, c.cover[m.surf].Stack, solid.NoTag, solid.NoTag)
	t.layout.Cuts = append(t.layout.Cuts, piece.Cut{
		ID: id, Member: m.member, Purpose: "pad", Add: true,
		Shape: shape.At(c.surfaces[m.surf].Frame.In(c.core.Place)),
	})
}

// shift moves arriving members back where core sizes are given and the veneer
// runs under them or a pad lifts them.
func (t *task) shift() {
	if t.p.Sizes != piece.CoreSize {
		return
	}
	for _, m := range t.meets {
		v := t.members[m.member].cover[m.surf].Stack
		if !m.host || m.inside || m.radius > 0 || v == 0 || m.treatment == Open || m.treatment == "" {
			continue
		}
		at := &t.layout.Cores[m.other].Place
		at.Origin = at.Origin.Add(m.frame.Z.Scale(v))
		contacts := 0
		for _, n := range t.meets {
			if n.member == m.other {
				contacts++
			}
		}
		id := t.p.Members[m.other].ID
		sev := finding.Note
		also := ""
		if contacts > 1 {
			sev, also = finding.Warning, fmt.Sprintf(" Its %d other contacts move with it.", contacts-1)
		}
		t.add(sev, "core-moved", m.id, t.p.Members[m.other].Line, "geometry",
			"give finished sizes, which keep every contact in its place; or ask for a window there",
			"With core sizes the veneer at %s moves %s by %.2f mm; screws and dowels there must be chosen for that.%s", m.id, id, v, also)
	}
}
