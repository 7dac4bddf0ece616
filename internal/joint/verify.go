package joint

import (
	"fmt"
	"math"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/surface"
)

// Verify looks a result over afresh and returns what is wrong with it, none
// when all is well. It takes only the documented distances from the placer:
// members are seen here through their surfaces, not measured from within, and
// bores are compared point by point.
//
//   - Every bore begins on the surface it names, or in a bore of its own
//     joint, goes into the material, and leaves its wall and its end wall.
//   - No two bores of one core come nearer than the web.
//   - Every screw is a stock screw on one axis with its bores; its thread
//     fills the insert, its tip is free, its head has a seat, plastic under
//     it and a free way out for screw and key.
//   - Every dowel has two bores on one axis, deep enough for it.
//   - At a round contact a screw runs along a radius, within the contact, and
//     its insert is sunk until its whole wall is there.
//   - A joint that holds nothing has a finding that says so, unless another
//     joint of two members that fit round each other holds them.
//
// With finished sizes p may be the piece as its file gives it, or a copy whose
// members are the cores that are printed. Then a mouth may lie up to a stack
// of veneer outside its surface, on the pad there or on the veneer, and walls
// are those of the core.
//
// Distances are checked to 0.1 mm.
func Verify(p *piece.Piece, r *Result, s *shop.Shop) []finding.Finding {
	v := &verifier{p: p, r: r, s: s, wall: wallOf(s), byID: map[string]*Bore{}}
	if p.Sizes == piece.Finished {
		v.raised = thickest(p, s)
	}
	for i := range p.Members {
		v.skins = append(v.skins, skinOf(&p.Members[i]))
	}
	for i := range r.Joints {
		for k := range r.Joints[i].Bores {
			b := &r.Joints[i].Bores[k]
			if v.byID[b.ID] != nil {
				v.say(b.ID, "two bores have this ID")
			}
			v.byID[b.ID] = b
			v.bore(&r.Joints[i], b)
		}
	}
	v.webs()
	for i := range r.Joints {
		v.joint(&r.Joints[i])
	}
	for i := range r.Plugs {
		g := &r.Plugs[i]
		if _, on := v.skins[g.Member].above(g.Surface, g.Center, v.raised); !on {
			v.say(g.ID, "the plug does not lie on its surface")
		}
		if g.Depth < plugLeast-slack {
			v.say(g.ID, "the plug is only %.2f mm deep", g.Depth)
		}
	}
	return v.out
}

const slack = 0.1 // mm

type verifier struct {
	p      *piece.Piece
	r      *Result
	s      *shop.Shop
	wall   float64
	raised float64 // how far outside its surface a mouth may lie
	skins  []*skin
	byID   map[string]*Bore
	out    []finding.Finding
}

func (v *verifier) say(subject, format string, a ...any) {
	v.out = append(v.out, finding.Finding{Severity: finding.Stop, Stage: "joint", Code: "unsound-result", Subject: subject, Message: fmt.Sprintf(format, a...)})
}

// skin is a member's surfaces in the world.
type skin struct {
	place    geom.Frame
	surfaces []piece.Surface
	boxes    []geom.Box2    // of the charts
	mesh     *surface.Solid // of a solid: it is looked at by its triangles, not its charts
}

func skinOf(m *piece.Member) *skin {
	s := &skin{place: m.Place, surfaces: m.Surfaces(0.01)}
	if m.Solid != nil {
		s.mesh = m.Solid.Shape
	}
	for _, f := range s.surfaces {
		s.boxes = append(s.boxes, f.Region.Bounds())
	}
	return s
}

// above is how far a world point lies outside a surface, and whether that is
// no more than raised, square to the surface, within slack.
func (s *skin) above(surface int, p geom.Vec3, raised float64) (float64, bool) {
	if surface < 0 || surface >= len(s.surfaces) {
		return 0, false
	}
	f := s.surfaces[surface]
	q := s.place.Local(p)
	if s.mesh != nil {
		return s.aboveFacets(surface, q, raised)
	}
	uv := f.Chart(q)
	off := q.Sub(f.Point(uv))
	h := off.Dot(f.Normal(uv))
	aside := off.Sub(f.Normal(uv).Scale(h)).Len()
	on := h >= -slack && h <= raised+slack && aside <= slack && (f.Region.Contains(uv) || f.Region.Distance(uv) <= slack)
	return max(0, h), on
}

// meets looks for a point of the member's surfaces for which depth is more
// than 0, where depth is how far a world point lies inside some body and
// never grows faster than the distance walked. Charts never show two points
// nearer than they are, so a patch of the chart whose middle is further from
// the body than the patch reaches cannot meet it; other patches are quartered
// down to 0.05 mm.
func (s *skin) meets(depth func(geom.Vec3) float64) (geom.Vec3, int, bool) {
	if s.mesh != nil {
		return s.meetsFacets(depth)
	}
	for i, f := range s.surfaces {
		if len(f.Region) == 0 {
			continue
		}
		var found geom.Vec3
		var look func(b geom.Box2) bool
		look = func(b geom.Box2) bool {
			c := b.Center()
			p := s.place.Point(f.Point(c))
			d := depth(p)
			reach := b.Size().Len() / 2
			if d < -reach {
				return false
			}
			if d > 0 && f.Region.Contains(c) {
				found = p
				return true
			}
			if reach < finest {
				return false
			}
			// Quarter long patches lengthwise only.
			w, h := b.Size().X, b.Size().Y
			cuts := []geom.Box2{b}
			if w >= h/2 {
				cuts = []geom.Box2{{Min: b.Min, Max: geom.V2(c.X, b.Max.Y)}, {Min: geom.V2(c.X, b.Min.Y), Max: b.Max}}
			}
			for _, q := range cuts {
				if h < w/2 {
					if look(q) {
						return true
					}
					continue
				}
				if look(geom.Box2{Min: q.Min, Max: geom.V2(q.Max.X, c.Y)}) || look(geom.Box2{Min: geom.V2(q.Min.X, c.Y), Max: q.Max}) {
					return true
				}
			}
			return false
		}
		if look(s.boxes[i]) {
			return found, i, true
		}
	}
	return geom.Vec3{}, -1, false
}

// finest is how small the patches are, in mm, by which skins are looked over.
const finest = 0.05

// meetsFacets is meets for a solid: its triangles are quartered likewise.
func (s *skin) meetsFacets(depth func(geom.Vec3) float64) (geom.Vec3, int, bool) {
	var found geom.Vec3
	var look func(a, b, c geom.Vec3) bool
	look = func(a, b, c geom.Vec3) bool {
		p := a.Add(b).Add(c).Scale(1.0 / 3)
		d, reach := depth(p), max(p.Dist(a), p.Dist(b), p.Dist(c))
		switch {
		case d > 0:
			found = p
			return true
		case d < -reach || reach < finest/2:
			return false
		}
		// Halve the longest side.
		if ab, bc, ca := a.Dist(b), b.Dist(c), c.Dist(a); bc >= ab && bc >= ca {
			a, b, c = b, c, a
		} else if ca > ab {
			a, b, c = c, a, b
		}
		m := a.Lerp(b, 0.5)
		return look(a, m, c) || look(m, b, c)
	}
	for i, t := range s.mesh.Triangles {
		v := s.mesh.Vertices
		if look(s.place.Point(v[t[0]]), s.place.Point(v[t[1]]), s.place.Point(v[t[2]])) {
			return found, int(s.mesh.Of[i]), true
		}
	}
	return geom.Vec3{}, -1, false
}

// aboveFacets is above for a solid, by the facets of the surface: q, in member
// coordinates, may lie off them by as much as they stray from the surface.
func (s *skin) aboveFacets(face int, q geom.Vec3, raised float64) (float64, bool) {
	near := slack + s.mesh.Faces[face].Sag
	best, on := math.Inf(1), false
	for _, i := range s.mesh.Faces[face].Triangles {
		t := s.mesh.Triangles[i]
		a, b, c := s.mesh.Vertices[t[0]], s.mesh.Vertices[t[1]], s.mesh.Vertices[t[2]]
		f := geom.FrameFromXZ(a, b.Sub(a), b.Sub(a).Cross(c.Sub(a)))
		l := f.Local(q)
		tri := geom.Polygon{{}, f.Local(b).XY(), f.Local(c).XY()}
		if (tri.Contains(l.XY()) || tri.Distance(l.XY()) <= near) && l.Z >= -near && l.Z <= raised+near && math.Abs(l.Z) < math.Abs(best) {
			best, on = l.Z, true
		}
	}
	if !on {
		return 0, false
	}
	return max(0, best), true
}

// rod is a round bar from a to b.
type rod struct {
	a, axis geom.Vec3
	l, r    float64
}

// depth is how far p lies inside the rod, negative outside (never less far
// than it is).
func (c rod) depth(p geom.Vec3) float64 {
	d := p.Sub(c.a)
	h := d.Dot(c.axis)
	q := math.Sqrt(max(0, d.Dot(d)-h*h)) - c.r
	e := max(-h, h-c.l)
	if q > 0 && e > 0 {
		return -math.Hypot(q, e)
	}
	return -max(q, e)
}

// bore checks one bore against its member.
func (v *verifier) bore(j *Joint, b *Bore) {
	if b.Member < 0 || b.Member >= len(v.p.Members) || !(b.Diameter > 0) || !(b.Depth > 0) || math.Abs(b.Axis.Len()-1) > 1e-9 || b.Of != j.ID {
		v.say(b.ID, "member, size, axis or owner is not valid")
		return
	}
	s := v.skins[b.Member]
	r := b.Diameter / 2
	wall, end := v.wall, leastEndWall
	if b.Purpose == InsertBore {
		wall = insertWall
		for _, in := range v.s.Inserts {
			if len(j.Screws) > 0 && in.Size == j.Screws[0].Insert {
				wall = max(wall, in.MinWall)
				break
			}
		}
	}
	from := 0.5 // the surface round the mouth is no wall
	if b.Surface >= 0 {
		height, on := s.above(b.Surface, b.Mouth, v.raised)
		if !on {
			v.say(b.ID, "its mouth does not lie on surface %d of %s", b.Surface, v.p.Members[b.Member].ID)
			return
		}
		f := s.surfaces[b.Surface]
		uv := f.Chart(s.place.Local(b.Mouth))
		down := -b.Axis.Dot(s.place.Dir(f.Normal(uv)))
		if down < 0.5 {
			v.say(b.ID, "it does not go into the material: the surface lies at a cosine of %.3f to it", down)
			return
		}
		ku, kv := f.Curvature(uv)
		bow := 0.75 * max(math.Abs(ku), math.Abs(kv)) * r * r
		if tilt := math.Sqrt(max(0, 1-down*down)) / down * r; tilt+bow > 0.01 {
			from = tilt + bow + wall + slack
		}
		from += height / down
	} else if !v.within(j, b) {
		v.say(b.ID, "its mouth lies neither on a surface nor in a bore of the same joint")
	}
	to := b.Depth
	if b.Purpose == Driver {
		to -= from + v.raised // it goes through: the far side is like the near one
	}
	if at, i, hit := s.meets(rod{b.Mouth.Add(b.Axis.Scale(from)), b.Axis, max(0.01, to-from-slack), r + wall - slack}.depth); hit && to > from+slack {
		v.say(b.ID, "less than %.2f mm is left beside it, at %s of %s %v", wall, s.surfaces[i].Name, v.p.Members[b.Member].ID, at)
	}
	if b.Purpose == Driver || b.Purpose == Seat || v.opensInto(j, b) {
		return
	}
	if at, i, hit := s.meets(rod{b.Mouth.Add(b.Axis.Scale(from)), b.Axis, to - from + end - slack, r - slack}.depth); hit {
		v.say(b.ID, "less than %.2f mm is left beyond its floor, at %s of %s %v", end, s.surfaces[i].Name, v.p.Members[b.Member].ID, at)
	}
}

// within reports whether b begins on the floor of a wider bore of its joint.
func (v *verifier) within(j *Joint, b *Bore) bool {
	for k := range j.Bores {
		o := &j.Bores[k]
		if o != b && o.Member == b.Member && o.Diameter > b.Diameter && b.Mouth.Dist(o.Mouth.Add(o.Axis.Scale(o.Depth))) < 1e-6 && o.Axis.Dot(b.Axis) > 1-1e-9 {
			return true
		}
	}
	return false
}

// opensInto reports whether b's floor lies in another bore of its joint.
func (v *verifier) opensInto(j *Joint, b *Bore) bool {
	floor := b.Mouth.Add(b.Axis.Scale(b.Depth))
	for k := range j.Bores {
		o := &j.Bores[k]
		if o != b && o.Member == b.Member && (floor.Dist(o.Mouth) < 1e-6 || floor.Dist(o.Mouth.Add(o.Axis.Scale(o.Depth))) < 1e-6) {
			return true
		}
	}
	return false
}

// gap is the distance between two bores, by points all over each one's
// skin, at most 1 mm apart along it and 10 degrees round it.
func gap(a, b *Bore) float64 {
	least := math.Inf(1)
	for _, o := range [2][2]*Bore{{a, b}, {b, a}} {
		fr := geom.FrameFromZ(o[0].Mouth, o[0].Axis)
		other := rod{o[1].Mouth, o[1].Axis, o[1].Depth, o[1].Diameter / 2}
		n := int(math.Ceil(o[0].Depth))
		for k := 0; k <= n; k++ {
			h := o[0].Depth * float64(k) / float64(n)
			for i := range 36 {
				sn, cs := math.Sincos(float64(i) * math.Pi / 18)
				r := o[0].Diameter / 2
				least = min(least, -other.depth(fr.Point(geom.V3(r*cs, r*sn, h))))
				if k == 0 || k == n {
					least = min(least, -other.depth(fr.Point(geom.V3(r/2*cs, r/2*sn, h))))
				}
			}
		}
	}
	return least
}

// webs checks bores against each other.
func (v *verifier) webs() {
	core := groups(v.p)
	all := v.r.Bores()
	boxes := make([]geom.Box3, len(all))
	for i := range all {
		b := &all[i]
		far := b.Mouth.Add(b.Axis.Scale(b.Depth))
		boxes[i] = geom.EmptyBox3().Add(b.Mouth).Add(far).Grow(b.Diameter/2 + v.wall/2 + insertWall/2)
	}
	for i := range all {
		for k := range i {
			a, b := &all[k], &all[i]
			if core[a.Member] != core[b.Member] || !boxes[i].Overlaps(boxes[k]) {
				continue
			}
			need := v.wall
			if a.Purpose == InsertBore || b.Purpose == InsertBore {
				need = max(need, insertWall)
			}
			d := gap(a, b)
			if d >= need-slack {
				continue
			}
			if a.Of == b.Of && a.Member == b.Member && chained(a, b) {
				continue
			}
			v.say(b.ID, "it comes within %.2f mm of %s, the least is %.2f", d, a.ID, need)
		}
	}
}

// chained reports whether two bores follow each other on one axis.
func chained(a, b *Bore) bool {
	if math.Abs(a.Axis.Dot(b.Axis)) < 1-1e-9 {
		return false
	}
	d := b.Mouth.Sub(a.Mouth)
	if d.Sub(a.Axis.Scale(d.Dot(a.Axis))).Len() > 1e-6 {
		return false
	}
	ends := [2]geom.Vec3{a.Mouth, a.Mouth.Add(a.Axis.Scale(a.Depth))}
	for _, e := range ends {
		if e.Dist(b.Mouth) < 1e-6 || e.Dist(b.Mouth.Add(b.Axis.Scale(b.Depth))) < 1e-6 {
			return true
		}
	}
	return false
}

// athwart reports whether the members of a flat contact are screwed or dowelled
// together at another one that is not parallel to it.
func (v *verifier) athwart(j *Joint, c *Contact) bool {
	if c == nil {
		return false
	}
	for i := range v.r.Joints {
		other := &v.r.Joints[i]
		o, _ := v.contact(other.Contact)
		if other == j || o == nil || other.Kind != j.Kind || len(other.Screws)+len(other.Dowels) == 0 {
			continue
		}
		same := o.A.Member == c.A.Member && o.B.Member == c.B.Member || o.A.Member == c.B.Member && o.B.Member == c.A.Member
		if same && o.Frame.Z.Cross(c.Frame.Z).Len() > math.Sqrt(0.5) {
			return true
		}
	}
	return false
}

func (v *verifier) joint(j *Joint) {
	c, round := v.contact(j.Contact)
	if c == nil && round == nil {
		v.say(j.ID, "its contact %s is not in the result", j.Contact)
		return
	}
	stopped := false
	for _, f := range v.r.Findings {
		stopped = stopped || f.Severity == finding.Stop && f.Subject == j.ID+" ("+j.Contact+")"
	}
	fits, held := v.fits(j.Contact, round)
	held = held || v.athwart(j, c)
	switch {
	case j.Kind == piece.KnockDown && len(j.Screws) == 0 && !stopped && !held:
		v.say(j.ID, "it has no screw, and no finding says why")
	case j.Kind == piece.Glued && len(j.Dowels) < 2 && !stopped && !fits && !held && !(j.Rule >= 0 && v.p.Joints[j.Rule].Dowels >= 0):
		v.say(j.ID, "it is glued with %d dowels, and no finding says why", len(j.Dowels))
	}
	used := map[string]bool{}
	for i := range j.Screws {
		if round != nil {
			v.cross(j, round, &j.Screws[i], used)
		} else {
			v.screw(j, c.Frame, coplanar, &j.Screws[i], used)
		}
	}
	for i := range j.Dowels {
		if round != nil {
			v.say(j.ID, "it has a dowel where there is no flat contact")
			continue
		}
		v.dowel(j, c, &j.Dowels[i], used)
	}
	for _, b := range j.Bores {
		if !used[b.ID] {
			v.say(b.ID, "no screw or dowel of %s uses it", j.ID)
		}
	}
}

// contact is the flat or the round contact of that ID; the other is nil.
func (v *verifier) contact(id string) (*Contact, *RoundContact) {
	for i := range v.r.Contacts {
		if v.r.Contacts[i].ID == id {
			return &v.r.Contacts[i], nil
		}
	}
	for i := range v.r.Rounds {
		if v.r.Rounds[i].ID == id {
			return nil, &v.r.Rounds[i]
		}
	}
	return nil, nil
}

// fits reports whether the members of a contact need no dowels, as that is
// round or one stands in the other; and whether a screw of any joint holds
// them, if they fit round each other anywhere.
func (v *verifier) fits(id string, round *RoundContact) (fits, held bool) {
	pair := func(id string) [2]int {
		switch c, r := v.contact(id); {
		case r != nil:
			return pairOf(r.A.Member, r.B.Member)
		case c != nil:
			return pairOf(c.A.Member, c.B.Member)
		}
		return [2]int{-1, -1}
	}
	own := pair(id)
	any := false
	for i := range v.r.Rounds {
		if r := &v.r.Rounds[i]; pairOf(r.A.Member, r.B.Member) == own {
			any, fits = true, fits || r.Closed || round != nil
		}
	}
	for i := range v.r.Joints {
		if j := &v.r.Joints[i]; len(j.Screws) > 0 {
			held = held || any && pair(j.Contact) == own
		}
	}
	return fits, held
}

// cross checks a screw along a radius of a round contact.
func (v *verifier) cross(j *Joint, c *RoundContact, sc *Screw, used map[string]bool) {
	say := func(format string, a ...any) { v.say(j.ID, "a "+sc.Size+" screw: "+format, a...) }
	// Out from the axis, through the head.
	h := c.Axis.Local(sc.Head)
	e := c.Axis.LocalDir(sc.Axis)
	surface := c.Radius // of the member that the screw goes through
	if sc.Through == c.A.Member {
		e, surface = e.Neg(), c.Radius+c.Gap
	}
	out := c.Axis.Dir(geom.V3(e.X, e.Y, 0)).Unit()
	if math.Abs(e.Z) > 1e-9 || math.Abs(h.XY().Cross(e.XY())) > 1e-6 {
		say("it does not run along a radius of the contact")
		return
	}
	centre := c.Axis.Point(geom.V3(0, 0, h.Z))
	at := geom.FrameFromXZ(centre.Add(out.Scale(surface)), c.Axis.Z, sc.Axis)
	v.screw(j, at, coplanar+math.Abs(c.Gap), sc, used)

	var insert *shop.Insert
	for i := range v.s.Inserts {
		if v.s.Inserts[i].Size == sc.Insert && insert == nil {
			insert = &v.s.Inserts[i]
		}
	}
	if insert == nil {
		return // told already
	}
	// The insert as seen along the screw must lie within the contact.
	around := 2 * math.Pi * c.Radius
	for i := range 36 {
		sn, cs := math.Sincos(float64(i) * math.Pi / 18)
		y, z := insert.Outer/2*cs, h.Z+insert.Outer/2*sn
		if math.Abs(y) >= c.Radius {
			say("its insert is wider than the member it is in")
			return
		}
		u := c.Radius * (e.XY().Angle() + math.Asin(y/c.Radius))
		u -= around * math.Round(u/around)
		q := geom.V2(u, z)
		seam := c.Closed && math.Abs(math.Abs(u)-around/2) < slack
		if !seam && !c.Region.Contains(q) && c.Region.Distance(q) > slack {
			say("its insert reaches beyond the contact at %v", q)
			return
		}
	}
	// Its whole wall, from where it lies.
	wall := max(insertWall, insert.MinWall)
	flush := at.Origin.Add(sc.Axis.Scale(sc.Sunk))
	s := v.skins[sc.Into]
	if p, i, hit := s.meets(rod{flush.Add(sc.Axis.Scale(slack)), sc.Axis, insertRecess + insert.Length - slack, insert.Hole/2 + wall - slack}.depth); hit {
		say("less than %.2f mm is left round its insert, at %s of %s %v", wall, s.surfaces[i].Name, v.p.Members[sc.Into].ID, p)
	}
}

// onAxis lists a joint's bores whose axis is the line through p along axis.
func onAxis(j *Joint, p, axis geom.Vec3) []*Bore {
	var out []*Bore
	for k := range j.Bores {
		b := &j.Bores[k]
		d := b.Mouth.Sub(p)
		if math.Abs(b.Axis.Dot(axis)) > 1-1e-9 && d.Sub(axis.Scale(d.Dot(axis))).Len() < 1e-6 {
			out = append(out, b)
		}
	}
	return out
}

// screw checks one screw at a contact, whose plane, or tangent plane, is that of
// the frame; the insert's bore may open that far from it.
func (v *verifier) screw(j *Joint, c geom.Frame, open float64, sc *Screw, used map[string]bool) {
	say := func(format string, a ...any) { v.say(j.ID, "a "+sc.Size+" screw: "+format, a...) }
	m, known := metricOf(sc.Size)
	if !known {
		say("not a known size")
		return
	}
	stock := false
	washer := false
	for _, o := range v.s.Screws {
		for _, l := range o.Lengths {
			if o.Size == sc.Size && l == sc.Length {
				stock, washer = true, o.Washer
			}
		}
	}
	var insert *shop.Insert
	for i := range v.s.Inserts {
		if v.s.Inserts[i].Size == sc.Insert && insert == nil {
			insert = &v.s.Inserts[i]
		}
	}
	if !stock || insert == nil || sc.Insert != sc.Size || sc.Washer != washer {
		say("screw %g mm or insert %s is not in the shop", sc.Length, sc.Insert)
		return
	}
	thick := 0.0
	if washer {
		thick = m.WasherT
	}
	// Heights along the axis from the contact plane, positive into the insert's member.
	n := sc.Axis
	if math.Abs(n.Dot(c.Z)) < 1-1e-9 {
		say("it does not stand square to the contact")
		return
	}
	height := func(p geom.Vec3) float64 { return p.Sub(c.Origin).Dot(n) }
	seatAt := height(sc.Head)
	under := seatAt - thick // where the head's underside is
	if math.Abs(-under-sc.Grip) > 1e-6 {
		say("its grip is %.2f mm, not %.2f", -under, sc.Grip)
	}
	if -seatAt < max(leastBearing, m.Diameter)-slack {
		say("only %.2f mm of plastic lie under its head", -seatAt)
	}
	tip := under + sc.Length
	flush := sc.Sunk + insertRecess // the insert's end
	thread := min(tip, flush+insert.Length) - flush
	if thread < insert.Length-1e-6 || math.Abs(thread-sc.Engagement) > 1e-6 {
		say("%.2f mm of thread are in the insert of %.2f mm; it says %.2f", thread, insert.Length, sc.Engagement)
	}
	var hole, clear, seat *Bore
	deepest := 0.0
	for _, b := range onAxis(j, sc.Head, n) {
		used[b.ID] = true
		switch {
		case b.Member == sc.Into && b.Purpose == InsertBore:
			hole = b
			deepest = max(deepest, height(b.floor()))
		case b.Member == sc.Into && b.Purpose == Clearance:
			if b.Diameter < m.Diameter+0.2 {
				say("the bore for its tip is only %.2f mm wide", b.Diameter)
			}
			deepest = max(deepest, height(b.floor()))
		case b.Member == sc.Through && b.Purpose == Clearance:
			clear = b
		case b.Member == sc.Through && b.Purpose == Seat:
			seat = b
		}
	}
	if hole == nil || clear == nil || seat == nil {
		say("it lacks an insert, clearance or seat bore on its axis")
		return
	}
	if hole.Diameter != insert.Hole || height(hole.floor()) < flush+insert.Length+insert.Melt-1e-6 || math.Abs(height(hole.Mouth)) > open || sc.Sunk < -open {
		say("the insert's bore is not %.2f mm wide and %.2f deep", insert.Hole, flush+insert.Length+insert.Melt)
	}
	if deepest < tip+0.5 {
		say("its tip would bottom out: bored %.2f, tip at %.2f", deepest, tip)
	}
	if clear.Diameter < m.Clearance-1e-9 || clear.Diameter >= insert.Outer {
		say("a clearance hole of %.2f mm is under %.2f, or lets the insert of %.2f pass", clear.Diameter, m.Clearance, insert.Outer)
	}
	if math.Abs(height(clear.floor())-seatAt) > 1e-6 || math.Abs(height(seat.floor())-seatAt) > 1e-6 {
		say("clearance hole and seat do not meet at the head")
	}
	wide := m.Head
	if washer {
		wide = max(wide, m.Washer)
	}
	if seat.Diameter < wide+0.5 {
		say("a seat of %.2f mm is too narrow for %.2f", seat.Diameter, wide)
	}
	if seat.Depth < thick+m.HeadHigh-slack {
		say("its head stands out of a seat %.2f mm deep", seat.Depth)
	}
	v.wayOut(j, sc, m, seat, say)
}

// wayOut checks that a bar as wide as head and room can be carried from the
// seat out into the open, as far as screw and key are long.
func (v *verifier) wayOut(j *Joint, sc *Screw, m metric, seat *Bore, say func(string, ...any)) {
	out := sc.Axis.Neg()
	r := (m.Head+driverRoom)/2 - slack
	if seat.Diameter < m.Head+driverRoom-slack {
		say("its seat leaves no room beside the head")
	}
	// The last opening: the seat's, or that of the outermost access bore.
	bores := []*Bore{seat}
	opening := seat.Depth
	for _, b := range onAxis(j, sc.Head, sc.Axis) {
		if b.Purpose == Driver && b.Mouth.Sub(sc.Head).Dot(out) > 0 {
			bores = append(bores, b)
			opening = max(opening, b.Mouth.Sub(sc.Head).Dot(out))
		}
	}
	key := m.KeyArm
	if key-keyHandle < opening {
		key = m.KeyLong
	}
	if key-keyHandle < opening-slack {
		say("no key reaches a head %.1f mm deep", opening)
	}
	way := rod{sc.Head.Add(out.Scale(slack)), out, opening + sc.Length + key - 2*slack, r}
	v.swing(m, sc.Head, out, key, say)
	for i, s := range v.skins {
		var own []rod
		for _, b := range bores {
			if b.Member == i {
				far := max(b.Under, 0)
				own = append(own, rod{b.Mouth.Sub(b.Axis.Scale(b.Over)), b.Axis, b.Over + b.Depth + far, b.Diameter/2 + slack})
			}
		}
		at, k, hit := s.meets(func(p geom.Vec3) float64 {
			d := way.depth(p)
			for _, o := range own { // what is bored away does not bar the way
				d = min(d, -o.depth(p))
			}
			return d
		})
		if hit {
			say("the way to its head is barred by %s of %s at %v", s.surfaces[k].Name, v.p.Members[i].ID, at)
		}
	}
}

// swing checks that the short arm of the key has room for a sixth of a turn,
// by 5 degrees.
func (v *verifier) swing(m metric, head, out geom.Vec3, long float64, say func(string, ...any)) {
	fr := geom.FrameFromZ(m.elbow(head, out, long), out)
	run := 0
	for deg := 0; deg < 360+keySwing; deg += 5 {
		s, c := math.Sincos(float64(deg) * math.Pi / 180)
		arm := rod{fr.Origin, fr.Dir(geom.V3(c, s, 0)), m.KeyShort - slack, m.Key/2 - slack}
		run++
		for _, sk := range v.skins {
			if _, _, hit := sk.meets(arm.depth); hit {
				run = 0
				break
			}
		}
		if (run-1)*5 >= keySwing-10 {
			return
		}
	}
	say("its key has no room to turn")
}

func (v *verifier) dowel(j *Joint, c *Contact, d *Dowel, used map[string]bool) {
	say := func(format string, a ...any) {
		v.say(j.ID, fmt.Sprintf("a %g mm dowel: ", d.Diameter)+format, a...)
	}
	if math.Abs(d.Center.Sub(c.Frame.Origin).Dot(c.Frame.Z)) > coplanar || math.Abs(d.Axis.Dot(c.Frame.Z)) < 1-1e-9 {
		say("it does not stand square on the contact")
	}
	var total float64
	sides := 0
	for _, b := range onAxis(j, d.Center, d.Axis) {
		if b.Purpose != DowelBore || b.Mouth.Dist(d.Center) > 2*coplanar {
			continue
		}
		used[b.ID] = true
		sides++
		total += b.Depth
		if b.Diameter < d.Diameter || b.Diameter > d.Diameter+1 {
			say("its bore in %s is %.2f mm wide", v.p.Members[b.Member].ID, b.Diameter)
		}
		if b.Depth-dowelOver < d.Diameter*looseReach-slack {
			say("it reaches only %.2f mm into %s", b.Depth-dowelOver, v.p.Members[b.Member].ID)
		}
		if b.Member != c.A.Member && b.Member != c.B.Member {
			say("it stands in %s", v.p.Members[b.Member].ID)
		}
	}
	// 1/8 in in all below a dowel's ends: Wood Magazine.
	if sides != 2 || total < d.Length+3.175-slack {
		say("%d bores with %.2f mm in all do not take its %.2f mm", sides, total, d.Length)
	}
}
