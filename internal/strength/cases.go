package strength

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/stress"
	"groundwork/internal/unit"
)

// What the loads are by analogy with, as it is told beside every verdict.
const (
	smardzewski = "Smardzewski, Furniture Design (Springer 2015) ch. 6"
	ofTables    = "by analogy with EN 12521 by the method of EN 1730, loads as given in " + smardzewski
	ofSeats     = "by analogy with EN 12520:2024 by the method of EN 1728, from previews of the standard"
	ofStorage   = "by analogy with EN 14749:2016 by the method of EN 16122, from secondary sources"
	padOfTables = "; pad of 100 mm from memory of EN 1730"
	padOfSeats  = "; pad of 200 mm from memory of EN 1728"
)

// Loads by use; N, kg/m², mm. See Source of the cases.
const (
	tablePress, tablePad = 1000.0, 100.0
	tablePush            = 400.0
	tablePushAgreed      = 300.0 // the other reading of the same source
	rimPad               = 50.0  // mm: common practice, no source
	seatPress, seatPad   = 1300.0, 200.0
	benchPress           = 750.0
	sitter               = 350.0 // mm of a bench for one person, the least: common practice, no source
	legForward           = 400.0
	legSideways          = 300.0
	shelfMass            = 65.0 // kg/m²
	worktop, otherTop    = 1000.0, 750.0
	worktopHeight        = 1000.0 // a top no higher, and
	worktopDepth         = 250.0  // no less deep, is worked at
)

// writer collects cases.
type writer struct {
	p        *piece.Piece
	cores    []piece.Member
	joints   *joint.Result
	top      slab
	shelves  []slab
	support  geom.Polygon // what stands on the floor; nil for a piece that is held
	out      []Case
	reduced  []string // cases whose force had to be reduced, with what to
	findings []finding.Finding
}

// Cases are the loads that a piece has to bear: what belongs to its use, what
// its file says, and its own weight. Which surface is the top, the seat or a
// shelf is seen from the geometry: the top is the highest level surface that is
// not small beside the largest, shelves are level boards below it.
//
// cores are the members as printed, index as in Piece.Members; joints tell where
// the top rests and which surfaces are covered, and may be nil. Findings tell of
// loads that find no place and forces that had to be reduced. The shop is not
// needed yet; loads do not depend on it.
func Cases(p *piece.Piece, cores []piece.Member, joints *joint.Result, _ *shop.Shop) ([]Case, []finding.Finding) {
	w := &writer{p: p, cores: cores, joints: joints}
	w.top, w.shelves = split(grounds(cores, joints))
	if len(p.Held) == 0 {
		if w.support = feet(cores); w.support == nil {
			w.find(finding.Warning, "stands-nowhere", "piece", 0,
				"Nothing of the piece stands on the floor, and nothing holds it.",
				"lower it to the floor, Z = 0; or name the surface that lies against the wall under held")
		}
	}
	w.add(Case{Case: stress.Case{ID: "dead", Sustained: true}, Kind: Dead, Judged: true, Agreed: 1,
		What: "Its own weight, for months.", Source: "statics; standard acceleration (CGPM 1901)"})
	if p.Use != piece.Other && len(w.top) == 0 {
		w.find(finding.Warning, "no-top", "piece", 0,
			fmt.Sprintf("No level surface was found on this %s, so the loads of its use find no place; it is judged under its own weight and its own loads alone.", p.Use),
			"write the loads that it has to bear under loads; or look whether its top is flat and level")
	}
	switch p.Use {
	case piece.Table:
		w.tops("top", tablePress, ofTables+padOfTables)
		w.pushes(true, ofTables+"; 300 N by one reading of it and 400 N by another")
	case piece.Seat:
		w.seats()
	case piece.Stand:
		w.storageTop()
	case piece.Shelf:
		if len(p.Held) == 0 {
			w.storageTop()
		}
	}
	w.shelf()
	w.own()
	if len(w.reduced) > 0 {
		w.find(finding.Note, "force-reduced", "piece", 0,
			"Under the full force it would tip, so that its strength is asked for under less: "+strings.Join(w.reduced, ", ")+".", "")
	}
	return w.out, finding.Sorted(w.findings)
}

func (w *writer) find(s finding.Severity, code, subject string, line int, message, remedy string) {
	f := finding.Finding{Severity: s, Stage: "strength", Code: code, Subject: subject, Message: message, Remedy: remedy,
		Source: "geometry of the piece; statics", Line: line}
	if line > 0 {
		f.File = w.p.File
	}
	w.findings = append(w.findings, f)
}

func (w *writer) add(c Case) {
	if c.Share == 0 {
		c.Share = 1
	}
	w.out = append(w.out, c)
}

// standing adds a case so that the piece stands under it: what is pressed or
// pushed (others) is borne together with fixed loads and, if need be, with
// ballast on the top; where the most of it does not suffice, others are reduced.
func (w *writer) standing(c Case, fixed, others []stress.Load, ballasted bool) {
	c.Share = 1
	if c.Agreed == 0 {
		c.Agreed = 1
	}
	if w.support != nil && len(w.top) > 0 {
		g, share := kept(w.support, fixed, others, w.top)
		if !ballasted && g > 0 {
			g, share = 0, keptWithout(w.support, fixed, others)
		}
		c.Ballast, c.Share = g, min(1, share)
	}
	if c.Share < hardlyLeft {
		w.find(finding.Warning, "cannot-stand", c.ID, 0,
			fmt.Sprintf("%s It would tip under it, even held down by %s, so that its strength was not asked for there.", c.What, unit.FormatMass(c.Ballast)),
			"set its feet farther out")
		return
	}
	for _, l := range others {
		l.Force = l.Force.Scale(c.Share)
		c.Loads = append(c.Loads, l)
	}
	c.Push = c.Push.Scale(c.Share)
	c.Loads = append(c.Loads, fixed...)
	if c.Ballast > 0 {
		c.Loads = append(c.Loads, w.top.cover(c.Ballast/1000*gravity)...)
		c.What += fmt.Sprintf(" %s lie on the top so that it does not tip.", unit.FormatMass(c.Ballast))
	}
	if c.Share < 1 {
		var full float64
		for _, l := range others {
			full += l.Force.Len()
		}
		held := "Even so"
		if c.Ballast == 0 {
			held = "With nothing more on it"
		}
		c.What += fmt.Sprintf(" %s it would tip, and the force is reduced to %s, under which it stands.", held, unit.FormatForce(full*c.Share))
		w.reduced = append(w.reduced, fmt.Sprintf("%s instead of %s in case %s", unit.FormatForce(full*c.Share), unit.FormatForce(full), c.ID))
		c.Agreed = min(1, c.Agreed/c.Share)
	}
	w.add(c)
}

// tops presses on the top in its middle and round its edge.
func (w *writer) tops(name string, force float64, source string) {
	if len(w.top) == 0 {
		return
	}
	for _, s := range w.top.sites(tablePad/2, w.joints).around(tablePad / 2) {
		loads := w.top.press(s.at, tablePad/2, force)
		if len(loads) == 0 { // between slats
			continue
		}
		w.standing(Case{Case: stress.Case{ID: name + "-" + s.id}, Kind: Static, Judged: true, Source: source,
			What: fmt.Sprintf("%s pressed down on a disc of 100 mm %s the %s.", unit.FormatForce(force), s.where, name)}, nil, loads, true)
	}
}

// compass are the four ways in which a piece is pushed.
var compass = []struct {
	id, word string
	dir      geom.Vec2
}{
	{"x", "to the right", geom.V2(1, 0)}, {"-x", "to the left", geom.V2(-1, 0)},
	{"y", "to the back", geom.V2(0, 1)}, {"-y", "to the front", geom.V2(0, -1)},
}

// pushes pushes the top sideways at its edge, in four ways. Stops keep the feet
// from sliding, ballast keeps them from lifting.
func (w *writer) pushes(judged bool, source string) {
	for _, way := range compass {
		w.push("push"+sign(way.id), fmt.Sprintf("%s pushed %s at the edge of the top, its feet against stops.", unit.FormatForce(tablePush), way.word),
			way.dir, tablePush, nil, true, judged, source)
	}
}

func sign(id string) string {
	if strings.HasPrefix(id, "-") {
		return id
	}
	return "+" + id
}

func (w *writer) push(id, what string, dir geom.Vec2, force float64, fixed []stress.Load, ballasted, judged bool, source string) {
	if len(w.top) == 0 || w.support == nil {
		return
	}
	at, ok := w.top.rim(w.cores, dir)
	if !ok {
		w.find(finding.Note, "no-edge", "piece", 0, fmt.Sprintf("The top has no edge to push on against %+g, %+g, so it is not pushed there.", dir.X, dir.Y), "")
		return
	}
	m := w.cores[at.member]
	l, ok := pressed(at.member, m, m.Surfaces(chord)[at.surface], at.uv, rimPad/2)
	if !ok {
		return
	}
	l.Force = geom.V3(dir.X, dir.Y, 0).Scale(force)
	middle := w.top.sites(tablePad/2, w.joints).centre()
	on, watched := w.top.under(middle)
	agreed := 1.0
	if judged {
		agreed = tablePushAgreed / tablePush
	}
	w.standing(Case{Case: stress.Case{ID: id}, Kind: Horizontal, Judged: judged, Agreed: agreed, Source: source,
		What: what, Push: l.Force, Watched: watched, On: on}, fixed, []stress.Load{l}, ballasted)
}

// under is the member of the slab at a place seen from above, and the point of
// its surface; between slats, those of the nearest.
func (s slab) under(at geom.Vec2) (member int, p geom.Vec3) {
	best := math.Inf(1)
	for _, g := range s {
		f := g.frame
		z := f.Origin.Z - (f.Z.X*(at.X-f.Origin.X)+f.Z.Y*(at.Y-f.Origin.Y))/f.Z.Z
		q := geom.V3(at.X, at.Y, z)
		uv, d := f.Local(q).XY(), 0.0
		if !g.region.Contains(uv) {
			d = g.region.Distance(uv)
		}
		if d < best {
			best, member, p = d, g.member, q
		}
	}
	return member, p
}

// storageTop presses on the top of what things stand on.
func (w *writer) storageTop() {
	if len(w.top) == 0 {
		return
	}
	_, _, box := w.top.axes()
	force, what := otherTop, "tops that are not worked at"
	if w.top[0].height <= worktopHeight && box.Size().Y >= worktopDepth {
		force, what = worktop, "worktops"
	}
	w.tops("top", force, fmt.Sprintf("%s: %s for %s%s", ofStorage, unit.FormatForce(force), what, padOfTables))
	w.pushes(false, "as of tables, for the stiffness: no source for pieces of this use")
}

// seats sits on the top, in the middle, in front, and on each place of a bench.
func (w *writer) seats() {
	if len(w.top) == 0 {
		return
	}
	s := w.top.sites(seatPad/2, w.joints)
	front := s.towards(geom.V2(0, -1))
	sit := func(id, where string, at geom.Vec2, others ...geom.Vec2) {
		loads := w.top.press(at, seatPad/2, seatPress)
		what, source := fmt.Sprintf("%s pressed down on a disc of 200 mm %s, for a user of 110 kg.", unit.FormatForce(seatPress), where), ofSeats+padOfSeats
		for _, o := range others {
			loads = append(loads, w.top.press(o, seatPad/2, benchPress)...)
		}
		if len(others) > 0 {
			what = fmt.Sprintf("%s pressed down on a disc of 200 mm %s, and %s on %s.", unit.FormatForce(seatPress), where, unit.FormatForce(benchPress), count(len(others), "other place"))
			source += "; 350 mm of a bench for one person, common practice, no source"
		}
		if len(loads) > 0 {
			w.standing(Case{Case: stress.Case{ID: id}, Kind: Static, Judged: true, Source: source, What: what}, nil, loads, true)
		}
	}
	centre := s.centre()
	sit("seat-middle", "in the middle of the seat", centre)
	if front.Dist(centre) >= seatPad/8 {
		sit("seat-front", "at the front edge of the seat", front)
	}
	if p, far := s.best(s.overhang); far > seatPad/4 && p.Dist(front) > seatPad/4 && p.Dist(centre) > seatPad/4 {
		sit("seat-overhang", "where the seat stands out farthest over what carries it", p)
	}
	if n := int(s.box.Size().X / sitter); n >= 2 {
		var at []geom.Vec2
		for i := range n {
			shift := s.box.Size().X * ((float64(i)+0.5)/float64(n) - 0.5)
			at = append(at, s.middle.Add(s.along.Scale(shift)))
		}
		for i := range n {
			others := append(slices.Clone(at[:i]), at[i+1:]...)
			sit(fmt.Sprintf("seat-place-%d", i+1), fmt.Sprintf("on place %d of %d", i+1, n), at[i], others...)
		}
	}
	if w.support == nil {
		return
	}
	fixed := w.top.press(centre, seatPad/2, seatPress)
	for _, way := range compass {
		force := legForward
		if way.dir.Y == 0 {
			force = legSideways
		}
		w.push("push"+sign(way.id), fmt.Sprintf("%s pushed %s at the edge of the seat, its feet against stops, with %s on it.", unit.FormatForce(force), way.word, unit.FormatForce(seatPress)),
			way.dir, force, fixed, false, false, "in the manner of the leg tests of EN 1728; forces from memory and unsure, so reported and not judged")
	}
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// shelf loads every shelf evenly for months.
func (w *writer) shelf() {
	on := slices.Clone(w.shelves)
	if w.p.Use == piece.Shelf && len(w.top) > 0 {
		on = append([]slab{w.top}, on...)
	}
	if w.p.Use == piece.Other || len(on) == 0 {
		return
	}
	var loads []stress.Load
	var names []string
	var kg float64
	for _, s := range on {
		m := shelfMass * s.area() / 1e6
		kg += m
		loads = append(loads, s.cover(m*gravity)...)
		for _, i := range s.members() {
			names = append(names, w.cores[i].ID)
		}
	}
	w.add(Case{Case: stress.Case{ID: "shelves", Loads: loads, Sustained: true}, Kind: Sag, Judged: true, Agreed: 1,
		Source: ofStorage + ": 0.65 kg/dm² for shelves",
		What:   fmt.Sprintf("0.65 kg/dm² for months on %s, %s in all.", strings.Join(names, ", "), unit.FormatMass(kg*1000))})
}

// own are the loads of the piece file.
func (w *writer) own() {
	for i, r := range w.p.Loads {
		var loads []stress.Load
		missed := false
		for at, m := range w.cores {
			if m.Name != r.Member && m.ID != r.Member {
				continue
			}
			l := w.rule(at, m, r)
			missed = missed || len(l) == 0
			loads = append(loads, l...)
		}
		c := Case{Case: stress.Case{ID: fmt.Sprintf("own-%d", i+1), Sustained: r.Sustained}, Kind: Own, Judged: true,
			What: fmt.Sprintf("%s: %s.", r.Name, told(r)), Source: "the piece file"}
		if missed || len(loads) == 0 {
			w.find(finding.Warning, "load-misses", r.Member, r.Line,
				fmt.Sprintf("The load %q lies beside the surface that it is put on.", r.Name), "move it, or make it wider")
		}
		if len(loads) > 0 {
			w.standing(c, nil, loads, true)
		}
	}
}

// told is a rule's force in words.
func told(r piece.LoadRule) string {
	f := r.Force
	s := unit.FormatForce(f.Len())
	switch {
	case math.Hypot(f.X, f.Y) < 1e-9*f.Len() && f.Z < 0:
		s += " down"
	case math.Hypot(f.X, f.Y) < 1e-9*f.Len():
		s += " up"
	default:
		u := f.Unit()
		s += fmt.Sprintf(" towards %.3g, %.3g, %.3g", u.X, u.Y, u.Z)
	}
	s += " on " + r.Member
	if r.Surface != "" {
		s += " " + r.Surface
	}
	if r.Across > 0 {
		s += fmt.Sprintf(", on a disc of %s", unit.FormatLength(r.Across, unit.Metric))
	}
	if r.Sustained {
		s += ", for months"
	}
	return s
}

// rule is a rule's load on one member; nil where it misses it.
func (w *writer) rule(at int, m piece.Member, r piece.LoadRule) []stress.Load {
	names, surfaces := m.SurfaceNames(), m.Surfaces(chord)
	pick, uv := -1, geom.Vec2{}
	if r.Surface != "" {
		pick = slices.Index(names, r.Surface)
		if pick < 0 || len(surfaces[pick].Region) == 0 {
			return nil
		}
		uv = middle(surfaces[pick].Region)
		if surfaces[pick].Kind != piece.Plane {
			uv = surfaces[pick].Region.Bounds().Center()
		}
	} else {
		dir, most, area := r.Force.Unit(), -2.0, 0.0
		const alike = 0.02 // of the cosine, about 11 degrees from facing squarely
		for i, s := range surfaces {
			if len(s.Region) == 0 || s.Inside {
				continue
			}
			q, c := facing(m, s, dir)
			if c > most+alike || c > most-alike && s.Area > area {
				pick, uv, most, area = i, q, max(most, c), s.Area
			}
		}
		if pick < 0 {
			return nil
		}
	}
	s := surfaces[pick]
	if r.At != nil {
		uv = s.Region.Bounds().Center().Add(*r.At)
	}
	if r.Across == 0 {
		return spread(at, m, s, r.Force)
	}
	l, ok := pressed(at, m, s, uv, r.Across/2)
	if !ok {
		return nil
	}
	l.Force = r.Force
	return []stress.Load{l}
}
