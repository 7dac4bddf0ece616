package piece

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/given"
	"groundwork/internal/surface"
)

// resolver turns a Document into a Piece.
type resolver struct {
	doc      *Document
	faults   *given.Faults
	ns       *reckoner
	piece    *Piece
	first    map[string]int   // index of the first member of a name
	byName   map[string][]int // members by name and by ID
	cutting  map[int]bool     // members whose end cuts are being worked out
	cut      map[int]bool     // members whose end cuts are done
	files    map[string]file  // files with solids, by name
	findings []finding.Finding
}

// Resolve gives every number its value and expands every repeat. overrides
// replaces the values of parameters, each written as in the file ("600 mm").
// The error, if any, is Errors: everything that is wrong. Findings are advice;
// with an error there is no piece.
func (d *Document) Resolve(overrides map[string]string) (*Piece, []finding.Finding, error) {
	r := &resolver{
		doc: d, faults: &given.Faults{File: d.File},
		first: map[string]int{}, byName: map[string][]int{}, cutting: map[int]bool{}, cut: map[int]bool{}, files: map[string]file{},
		piece: &Piece{
			Name: d.Name.Value, Title: d.Title.Value, Note: d.Note.Value,
			Use: Use(d.Use.Value), Sizes: Sizes(d.Sizes.Value), Filament: d.Filament.Value, File: d.File,
		},
	}
	if r.piece.Title == "" {
		r.piece.Title = r.piece.Name
	}
	for _, name := range sortedKeys(overrides) {
		if _, ok := d.Parameters.Get(name); !ok {
			var known []string
			for _, k := range d.Parameters.Keys {
				known = append(known, k.Value)
			}
			r.faults.Add(given.Place{}, given.Suggest(name, known), "the piece has no parameter %q to set", name)
		}
	}
	r.ns = newReckoner(d, overrides, r.faults)
	r.parameters()
	r.veneer()
	r.members()
	if !r.faults.Any() { // names of surfaces are known only of members that could be built
		r.joints()
		r.surfaces()
		r.printAsOne()
		r.loads()
		r.held()
		r.seams()
	}
	if err := r.faults.Err(); err != nil {
		return nil, finding.Sorted(r.findings), err
	}
	return r.piece, finding.Sorted(r.findings), nil
}

// trouble counts faults and numbers that came to nothing, so that a step can
// see whether what it rests on is sound. A number that failed was perhaps
// reported long before.
func (r *resolver) trouble() int { return r.faults.Len() + r.ns.failed }

// length reads a length; false after a fault.
func (r *resolver) length(n given.Number, what string) (float64, bool) {
	v, ok := r.ns.of(n)
	if ok && v.kind != Length && v.kind != Count {
		r.faults.Add(n.Place, "give it in mm or in", "the %s is %s, not a length", what, article(v.kind))
		return 0, false
	}
	return v.v, ok
}

// size reads a length between minSize and maxSize; 0 after a fault.
func (r *resolver) size(n given.Number, what string) float64 {
	if !n.Written() {
		return 0 // its absence has been noted
	}
	v, ok := r.length(n, what)
	if !ok {
		return 0
	}
	switch {
	case v <= 0:
		r.faults.Add(n.Place, "make it more than 0", "the %s comes to %s mm", what, num(v))
	case v < minSize || v > maxSize:
		r.faults.Add(n.Place, "look at its unit", "the %s comes to %s mm; sizes lie between %g mm and %g mm", what, num(v), minSize, float64(maxSize))
	default:
		return v
	}
	return 0
}

// place reads a coordinate within ±maxPlace; 0 after a fault.
func (r *resolver) place(n given.Number, what string) float64 {
	v, ok := r.length(n, what)
	if ok && math.Abs(v) > maxPlace {
		r.faults.Add(n.Place, "look at its unit", "the %s comes to %s mm; coordinates lie within ±%g mm", what, num(v), float64(maxPlace))
		return 0
	}
	return v
}

// between reads a length that may be left out (0) and lies between lo and hi.
// The bounds are not looked at if a fault has been noted since before, because
// they may rest on it.
func (r *resolver) between(n given.Number, what string, lo, hi float64, before int) float64 {
	if !n.Written() {
		return 0
	}
	v, ok := r.length(n, what)
	const rounding = 1e-9 // a radius reckoned as half of a width may miss it by the last bit
	if ok && r.trouble() == before && (v < lo-rounding || v > hi+rounding) {
		r.faults.Add(n.Place, fmt.Sprintf("keep it between %s mm and %s mm", num(lo), num(hi)), "the %s comes to %s mm", what, num(v))
		return 0
	}
	return max(lo, min(hi, v))
}

// angle reads an angle that may be left out (0), within a full turn.
func (r *resolver) angle(n given.Number, what string) float64 {
	if !n.Written() {
		return 0
	}
	v, ok := r.ns.of(n)
	switch {
	case !ok:
		return 0
	case v.kind != Angle && v.kind != Count:
		r.faults.Add(n.Place, "give it in deg or rad", "the %s is %s, not an angle", what, article(v.kind))
	case v.kind == Count && v.v != 0 && !strings.HasPrefix(strings.TrimSpace(n.Text), "="):
		r.faults.Add(n.Place, "write "+strings.TrimSpace(n.Text)+" deg if degrees are meant", "the %s has no unit", what)
	case math.Abs(v.v) > 2*math.Pi+1e-9:
		r.faults.Add(n.Place, "keep it within 360 deg; in expressions write deg(45)", "the %s comes to %s deg", what, num(v.v*180/math.Pi))
	default:
		return v.v
	}
	return 0
}

// whole reads a whole number between lo and hi; lo after a fault.
func (r *resolver) whole(n given.Number, what string, lo, hi int) int {
	if !n.Written() {
		return lo
	}
	v, ok := r.ns.of(n)
	switch {
	case !ok:
	case v.kind != Count:
		r.faults.Add(n.Place, "take the unit out", "the %s is %s, not a plain number", what, article(v.kind))
	case math.Abs(v.v-math.Round(v.v)) > 1e-9:
		r.faults.Add(n.Place, "make it whole", "the %s comes to %s, which is not whole", what, num(v.v))
	case v.v < float64(lo)-.5 || v.v > float64(hi)+.5:
		r.faults.Add(n.Place, fmt.Sprintf("keep it between %d and %d", lo, hi), "the %s comes to %s", what, num(v.v))
	default:
		return int(math.Round(v.v))
	}
	return lo
}

func num(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

func (r *resolver) parameters() {
	for i, k := range r.doc.Parameters.Keys {
		d := r.doc.Parameters.Values[i]
		p := Parameter{Name: k.Value, Label: d.Label.Value, Line: k.Line}
		if p.Label == "" {
			p.Label = k.Value
		}
		if !d.Value.Written() {
			continue
		}
		v, err := r.ns.lookUp(k.Value)
		before := r.trouble()
		p.Kind = v.kind
		limit := func(n given.Number, what string) float64 {
			if !n.Written() {
				return 0
			}
			x, ok := r.ns.of(n)
			if ok && err == nil && x.kind != p.Kind {
				// A bare number takes the unit of the others: 400 beside 560 mm.
				switch {
				case p.Kind == Count:
					p.Kind = x.kind
				case x.kind != Count:
					r.faults.Add(n.Place, "give both in one unit", "the %s of %s is %s where its value is %s", what, k.Value, article(x.kind), article(p.Kind))
				}
			}
			return x.v
		}
		p.Min, p.Max, p.Step = limit(d.Min, "min"), limit(d.Max, "max"), limit(d.Step, "step")
		p.Value = v.v
		if err != nil || r.trouble() > before {
			continue
		}
		switch {
		case d.Min.Written() != d.Max.Written():
			r.faults.Add(d.Place, "give both min and max, or neither", "the parameter %s has only one limit", k.Value)
		case d.Min.Written() && p.Min >= p.Max:
			r.faults.Add(d.Min.Place, "make min less than max", "the limits of %s leave nothing: %s to %s", k.Value, num(p.Min), num(p.Max))
		case d.Min.Written() && (p.Value < p.Min-1e-9 || p.Value > p.Max+1e-9):
			r.faults.Add(d.Value.Place, fmt.Sprintf("keep it between %s and %s", num(p.Min), num(p.Max)), "the parameter %s comes to %s", k.Value, num(p.Value))
		case p.Step < 0 || d.Step.Written() && p.Step == 0:
			r.faults.Add(d.Step.Place, "make it more than 0", "the step of %s comes to %s", k.Value, num(p.Step))
		case p.Step > 0:
			if n := (p.Value - p.Min) / p.Step; math.Abs(n-math.Round(n)) > 1e-6 {
				r.note("parameter-off-step", k.Value, d.Value.Line,
					fmt.Sprintf("The parameter %s, %s, is not a whole number of its steps of %s above %s.", k.Value, num(p.Value), num(p.Step), num(p.Min)),
					"change the value or the step, or leave it: only the slider is affected")
			}
		}
		r.piece.Parameters = append(r.piece.Parameters, p)
	}
}

func (r *resolver) note(code, subject string, line int, message, remedy string) {
	r.find(finding.Note, code, subject, line, message, remedy)
}

func (r *resolver) find(s finding.Severity, code, subject string, line int, message, remedy string) {
	r.findFrom(s, code, subject, line, "arithmetic on the piece file", message, remedy)
}

func (r *resolver) findFrom(s finding.Severity, code, subject string, line int, source, message, remedy string) {
	r.findings = append(r.findings, finding.Finding{
		Severity: s, Stage: "piece", Code: code, Subject: subject, Message: message, Remedy: remedy,
		Source: source, File: r.doc.File, Line: line,
	})
}

// allowanceDefault is the trim allowance in mm when the piece gives none
// (common practice for a flush-trimming cutter, no source).
const allowanceDefault = 2.0

func (r *resolver) veneer() {
	d := r.doc.Veneer
	v := VeneerRule{Veneer: d.Use.Value, Order: d.Order.Value, Relief: d.Relief.Value, Balance: d.Balance == nil || d.Balance.Value}
	if v.Order == "" {
		v.Order = "faces first"
	}
	a := allowanceDefault
	if d.Allowance.Written() {
		a = r.between(d.Allowance, "trim allowance", 0, 50, r.trouble())
	}
	v.Allowance = &a
	r.piece.Veneer = v
}

// members builds every member and its copies.
func (r *resolver) members() {
	total, lines := 0, map[string]given.Place{}
	for i, k := range r.doc.Members.Keys {
		d := r.doc.Members.Values[i]
		if !d.Written() {
			continue
		}
		base := Member{Name: k.Value, ID: k.Value, Filament: d.Filament.Value, Veneer: d.Veneer.Value, Line: k.Line}
		within := geom.World() // the member in what at and axes place
		switch {
		case d.Board != nil:
			base.Board = r.board(d.Board, k.Value)
		case d.Turning != nil:
			base.Turning = r.turning(d.Turning, k.Value)
		case d.Solid != nil:
			if m, ok := r.bring(d.Solid, k.Value, k.Line); ok {
				base.Board, base.Turning, base.Solid, base.Source, base.EndCuts = m.Board, m.Turning, m.Solid, m.Source, m.EndCuts
				within = m.Place
			}
		}
		base.Place = within.In(r.frame(d, k.Value))
		copies := r.copies(d, base, within)
		for j := range copies {
			copies[j].Place = unsigned(copies[j].Place)
		}
		if total += len(copies); total > maxMembers {
			r.faults.Add(k.Place, "use fewer copies", "the piece has more than %d members", maxMembers)
			return
		}
		r.first[k.Value] = len(r.piece.Members)
		for j, m := range copies {
			if len(copies) > 1 {
				m.ID = fmt.Sprintf("%s-%d", k.Value, j+1)
			}
			if p, ok := lines[m.ID]; ok {
				r.faults.Add(k.Place, "choose another name", "two members are called %s; the other stands in line %d", m.ID, p.Line)
				continue
			}
			lines[m.ID] = k.Place
			at := len(r.piece.Members)
			r.byName[k.Value] = append(r.byName[k.Value], at)
			if m.ID != k.Value {
				r.byName[m.ID] = append(r.byName[m.ID], at)
			}
			r.piece.Members = append(r.piece.Members, m)
		}
	}
	if r.faults.Any() {
		return
	}
	for i, k := range r.doc.Members.Keys {
		r.endCuts(r.doc.Members.Values[i], k.Value)
	}
	if !r.faults.Any() {
		r.shareEndCuts()
	}
}

// frame is a member's place in the world before repeats.
func (r *resolver) frame(d MemberDoc, name string) geom.Frame {
	f := geom.World()
	if d.At != nil {
		f.Origin = r.vector(d.At, "place of "+name)
	}
	if d.Axes == nil {
		return f
	}
	type given3 struct {
		axis *Axis
		dir  geom.Vec3
	}
	order := []given3{{axis: d.Axes.Z}, {axis: d.Axes.X}, {axis: d.Axes.Y}}
	names := []string{"z", "x", "y"}
	n := 0
	for i := range order {
		if order[i].axis != nil {
			n++
			var ok bool
			if order[i].dir, ok = r.direction(order[i].axis, "axis "+names[i]+" of "+name); !ok {
				return f
			}
		}
	}
	z, x, y := order[0], order[1], order[2]
	square := func(first, second given3, names string) bool {
		if first.dir.Cross(second.dir).Len() < 1e-6 {
			r.faults.Add(second.axis.Place, "give two directions that differ", "the axes %s of %s point along one line", names, name)
			return false
		}
		return true
	}
	switch {
	case n == 0 || n == 3:
		r.faults.Add(d.Axes.Place, "give one or two of x, y, z; the third follows", "the axes of %s are %d, not one or two", name, n)
	case z.axis != nil && x.axis != nil:
		if square(z, x, "z and x") {
			f = geom.FrameFromXZ(f.Origin, x.dir, z.dir)
		}
	case z.axis != nil && y.axis != nil:
		if square(z, y, "z and y") {
			f = geom.FrameFromXZ(f.Origin, y.dir.Cross(z.dir), z.dir)
		}
	case z.axis != nil:
		f = geom.FrameFromZ(f.Origin, z.dir)
	case x.axis != nil:
		if y.axis == nil { // as near to the world's y as squareness allows
			y = given3{x.axis, geom.V3(0, 1, 0)}
		}
		if square(x, y, "x and y") {
			f = geom.FrameFromXZ(f.Origin, x.dir, x.dir.Cross(y.dir))
		}
	default:
		if x := (given3{y.axis, geom.V3(1, 0, 0)}); square(y, x, "y and x") {
			f = geom.FrameFromXZ(f.Origin, x.dir, x.dir.Cross(y.dir))
		}
	}
	return f
}

func (r *resolver) vector(ns []given.Number, what string) geom.Vec3 {
	return geom.V3(r.place(ns[0], what), r.place(ns[1], what), r.place(ns[2], what))
}

// direction is a unit vector; false after a fault.
func (r *resolver) direction(a *Axis, what string) (geom.Vec3, bool) {
	if a.Vector == nil {
		v := geom.Vec3{}
		s := 1.0
		if a.Name[0] == '-' {
			s = -1
		}
		switch a.Name[1] {
		case 'x':
			v.X = s
		case 'y':
			v.Y = s
		default:
			v.Z = s
		}
		return v, true
	}
	before := r.trouble()
	v := r.vector(a.Vector, what)
	if r.trouble() > before {
		return v, false
	}
	if v.Len() < 1e-9 {
		r.faults.Add(a.Place, "give it a length", "the %s has no direction", what)
		return v, false
	}
	return v.Unit(), true
}

// copies are the member and its copies, in the order of their numbers. within
// is the member's frame in what a place places: its file, or itself.
func (r *resolver) copies(d MemberDoc, base Member, within geom.Frame) []Member {
	out := []Member{base}
	switch {
	case d.Mirror != nil:
		for _, plane := range d.Mirror.List {
			for _, m := range slices.Clone(out) {
				out = append(out, m.mirrored(plane.Value))
			}
		}
	case d.Repeat != nil && d.Repeat.Places != nil:
		out = out[:0]
		for _, f := range r.places(d, base.Name) {
			m := base
			m.Place = within.In(f)
			out = append(out, m)
		}
	case d.Repeat != nil && d.Repeat.Radial.Written():
		n := r.whole(d.Repeat.Radial, "number round the axis of "+base.Name, 1, maxMembers)
		start := r.angle(d.Repeat.Start, "start angle of "+base.Name)
		var about geom.Vec2
		if a := d.Repeat.About; a != nil {
			about = geom.V2(r.place(a[0], "axis of "+base.Name), r.place(a[1], "axis of "+base.Name))
		}
		out = out[:0]
		for i := range n {
			m := base
			m.Place = turned(base.Place, about, start+2*math.Pi*float64(i)/float64(n))
			out = append(out, m)
		}
	case d.Repeat != nil && d.Repeat.Along != nil:
		n := r.whole(d.Repeat.Count, "count of "+base.Name, 1, maxMembers)
		before := r.trouble()
		step := r.vector(d.Repeat.Along, "step of "+base.Name)
		if r.trouble() == before && n > 1 && step.Len() < minSize {
			r.faults.Add(d.Repeat.Place, "make the step longer", "the copies of %s lie in the same place", base.Name)
		}
		out = out[:0]
		for i := range n {
			m := base
			m.Place.Origin = base.Place.Origin.Add(step.Scale(float64(i)))
			out = append(out, m)
		}
	}
	return out
}

// unsigned is f with every -0 written 0, so that equal frames look equal.
func unsigned(f geom.Frame) geom.Frame {
	zero := geom.Vec3{}
	return geom.Frame{Origin: f.Origin.Add(zero), X: f.X.Add(zero), Y: f.Y.Add(zero), Z: f.Z.Add(zero)}
}

// turned is f turned about an upright axis.
func turned(f geom.Frame, about geom.Vec2, angle float64) geom.Frame {
	turn := func(v geom.Vec3) geom.Vec3 {
		p := v.XY().Rotate(angle)
		return geom.V3(p.X, p.Y, v.Z)
	}
	c := geom.V3(about.X, about.Y, 0)
	return geom.Frame{Origin: turn(f.Origin.Sub(c)).Add(c), X: turn(f.X), Y: turn(f.Y), Z: turn(f.Z)}
}

// mirrored is the member's twin in the world plane x = 0 or y = 0. A mirror
// image has no right-handed frame, so the shape is reversed in its own x, and
// the frame's x with it. Edges and cut-outs keep their numbers.
func (m Member) mirrored(plane string) Member {
	mirror := func(v geom.Vec3) geom.Vec3 {
		if plane == "x" {
			return geom.V3(-v.X, v.Y, v.Z)
		}
		return geom.V3(v.X, -v.Y, v.Z)
	}
	m.Place = geom.Frame{Origin: mirror(m.Place.Origin), X: mirror(m.Place.X).Neg(), Y: mirror(m.Place.Y), Z: mirror(m.Place.Z)}
	m.Mirrored = !m.Mirrored
	if m.Board != nil {
		b := *m.Board
		b.Outline = b.Outline.mirrored()
		b.Cutouts = slices.Clone(b.Cutouts)
		for i, c := range b.Cutouts {
			b.Cutouts[i] = c.mirrored()
		}
		m.Board = &b
	}
	if m.Solid != nil {
		m.Solid = m.Solid.mirrored()
	}
	m.EndCuts = slices.Clone(m.EndCuts)
	for i := range m.EndCuts {
		m.EndCuts[i].Plane.Normal.X = -m.EndCuts[i].Plane.Normal.X
	}
	return m
}

// mirrored is the outline with x negated. Travel keeps its sense, so segments
// come in reverse; each keeps the number of its edge.
func (o Outline) mirrored() Outline {
	run := slices.Clone(o.Run)
	slices.Reverse(run)
	return Outline{Path: o.Path.Mirrored(), Run: run}
}

// endCuts lays the end cuts of a name on its first copy.
func (r *resolver) endCuts(d MemberDoc, name string) {
	at := r.first[name]
	if r.cut[at] || len(d.EndCuts) == 0 {
		r.cut[at] = true
		return
	}
	r.cutting[at] = true
	defer delete(r.cutting, at)
	m := &r.piece.Members[at]
	if m.Solid != nil {
		r.faults.Add(d.EndCuts[0].Place, "cut it in the program that drew it", "%s is a solid, and only boards and turnings take end cuts", name)
		return
	}
	for i, c := range d.EndCuts {
		plane, ok := r.cutPlane(c, name)
		if !ok {
			continue
		}
		m.EndCuts = append(m.EndCuts, EndCut{Plane: plane.Local(m.Place), Line: c.Line})
		out, in := m.spread(m.EndCuts[len(m.EndCuts)-1].Plane)
		switch {
		case out >= -1e-9:
			r.faults.Add(c.Place, "turn the normal round or move the plane", "end cut %d leaves nothing of %s", i+1, name)
		case in <= 1e-9:
			r.find(finding.Warning, "end-cut-misses", name, c.Line,
				fmt.Sprintf("End cut %d of %s misses it by %.1f mm.", i+1, name, -in), "make the member longer or take the end cut out")
		}
	}
	r.cut[at] = true
}

// spread is the least and the greatest distance of the member's material, end
// cuts not counted, from the outer side of a plane in member coordinates.
func (m *Member) spread(pl geom.Plane) (least, most float64) {
	least, most = math.Inf(1), math.Inf(-1)
	add := func(p geom.Vec3) {
		d := pl.Distance(p)
		least, most = min(least, d), max(most, d)
	}
	if b := m.Board; b != nil {
		for _, p := range b.Outline.Path.Polygon(checkChord) {
			add(geom.V3(p.X, p.Y, 0))
			add(geom.V3(p.X, p.Y, b.Thickness))
		}
	} else {
		across := math.Hypot(pl.Normal.X, pl.Normal.Y)
		for _, s := range m.Turning.Profile.Flatten(checkChord) {
			d := pl.Normal.Z*s.P.Y - pl.D
			least, most = min(least, d-across*s.P.X), max(most, d+across*s.P.X)
		}
	}
	return least, most
}

// cutPlane is the world plane of an end cut, its normal to what is removed.
func (r *resolver) cutPlane(c EndCutDoc, name string) (geom.Plane, bool) {
	before := r.trouble()
	if c.Normal != nil {
		n, ok := r.direction(c.Normal, "normal of an end cut of "+name)
		var at geom.Vec3
		if c.At != nil {
			at = r.vector(c.At, "place of an end cut of "+name)
		}
		return geom.PlaneAt(at, n), ok && r.trouble() == before
	}
	at, ok := r.member(c.Member)
	if !ok {
		return geom.Plane{}, false
	}
	other := &r.piece.Members[at[0]]
	if other.Name == name {
		r.faults.Add(c.Member.Place, "name another member", "%s cannot be cut by its own surface", name)
		return geom.Plane{}, false
	}
	if strings.HasPrefix(c.Surface.Value, "cut-") {
		first := r.first[other.Name]
		if r.cutting[first] {
			r.faults.Add(c.Place, "give one of them a plane by at and normal", "the end cuts of %s and %s need one another in a ring", name, other.Name)
			return geom.Plane{}, false
		}
		d, _ := r.doc.Members.Get(other.Name)
		r.endCuts(d, other.Name)
		r.shareEndCuts()
	}
	plane, flat := other.flatSurface(c.Surface.Value)
	switch names := other.SurfaceNames(); {
	case !slices.Contains(names, c.Surface.Value):
		r.faults.Add(c.Surface.Place, given.Suggest(c.Surface.Value, names), "%s has no surface %q", other.ID, c.Surface.Value)
		return geom.Plane{}, false
	case !flat:
		r.faults.Add(c.Surface.Place, "name a flat surface, or give a plane by at and normal", "the surface %s of %s is not flat", c.Surface.Value, other.ID)
		return geom.Plane{}, false
	}
	// The other member's normal points out of it, to the side that stays.
	return plane.In(other.Place).Flip(), true
}

// shareEndCuts gives every further copy the end cuts of its first.
func (r *resolver) shareEndCuts() {
	for i := range r.piece.Members {
		m := &r.piece.Members[i]
		first := r.first[m.Name]
		if i == first || !r.cut[first] {
			continue
		}
		m.EndCuts = slices.Clone(r.piece.Members[first].EndCuts)
		if m.Mirrored {
			for j := range m.EndCuts {
				m.EndCuts[j].Plane.Normal.X = -m.EndCuts[j].Plane.Normal.X
			}
		}
	}
}

// SurfaceNames are the names of Surfaces, in its order, without the geometry.
func (m Member) SurfaceNames() []string {
	var out []string
	switch {
	case m.Board != nil:
		out = append(out, "back", "face")
		for k := range m.Board.Outline.Runs() {
			out = append(out, fmt.Sprintf("edge-%d", k+1))
		}
		for i, c := range m.Board.Cutouts {
			for k := range c.Runs() {
				out = append(out, fmt.Sprintf("cutout-%d-edge-%d", i+1, k+1))
			}
		}
	case m.Turning != nil:
		for k := range m.Turning.Runs() {
			out = append(out, fmt.Sprintf("side-%d", k+1))
		}
		out = append(out, "low-end", "high-end")
	case m.Solid != nil:
		out = slices.Clone(m.Solid.Names)
	}
	for i := range m.EndCuts {
		out = append(out, fmt.Sprintf("cut-%d", i+1))
	}
	return out
}

// flatSurface is the plane of a flat surface in member coordinates, false if
// there is none of that name or it is not flat. End cuts elsewhere do not
// move it.
func (m Member) flatSurface(name string) (geom.Plane, bool) {
	up := geom.V3(0, 0, 1)
	var edge geom.Path
	switch {
	case strings.HasPrefix(name, "cut-"):
		for i, c := range m.EndCuts {
			if name == fmt.Sprintf("cut-%d", i+1) {
				return c.Plane, true
			}
		}
		return geom.Plane{}, false
	case m.Solid != nil:
		if i := slices.Index(m.Solid.Names, name); i >= 0 && m.Solid.Shape.Faces[i].Kind == surface.Plane {
			f := m.Solid.Shape.Faces[i].Frame
			return geom.PlaneAt(f.Origin, f.Z), true
		}
		return geom.Plane{}, false
	case m.Turning != nil:
		low, high := m.Turning.ends()
		switch name {
		case "low-end":
			return geom.Plane{Normal: up.Neg(), D: -low.Y}, true
		case "high-end":
			return geom.Plane{Normal: up, D: high.Y}, true
		}
		return geom.Plane{}, false
	case name == "back":
		return geom.Plane{Normal: up.Neg()}, true
	case name == "face":
		return geom.Plane{Normal: up, D: m.Board.Thickness}, true
	}
	for k := range m.Board.Outline.Runs() {
		if name == fmt.Sprintf("edge-%d", k+1) {
			edge = m.Board.Outline.RunPath(k)
		}
	}
	for i, c := range m.Board.Cutouts {
		for k := range c.Runs() {
			if name == fmt.Sprintf("cutout-%d-edge-%d", i+1, k+1) {
				edge = c.RunPath(k)
			}
		}
	}
	if len(edge.Segs) == 0 || !straight(edge) {
		return geom.Plane{}, false
	}
	out := edge.Segs[0].Tangent(0).Right()
	at := edge.Segs[0].From()
	return geom.PlaneAt(geom.V3(at.X, at.Y, 0), geom.V3(out.X, out.Y, 0)), true
}

// member is the indices of a member name or ID; false after a fault.
func (r *resolver) member(t given.Text) ([]int, bool) {
	if at, ok := r.byName[t.Value]; ok {
		return at, true
	}
	r.faults.Add(t.Place, given.Suggest(t.Value, sortedKeys(r.byName)), "there is no member %q", t.Value)
	return nil, false
}

func (r *resolver) joints() {
	for _, d := range r.doc.Joints {
		if len(d.Between) != 2 {
			continue
		}
		a, okA := r.member(d.Between[0])
		b, okB := r.member(d.Between[1])
		j := JointRule{
			Between: [2]string{d.Between[0].Value, d.Between[1].Value},
			Kind:    JointKind(d.Kind.Value), Screw: d.Screw.Value, Through: d.Through.Value,
			Dowels: -1, Contact: d.Contact.Value, Line: d.Line,
		}
		if d.Screws.Written() {
			j.Screws = r.whole(d.Screws, "number of screws", 1, 50)
		}
		if d.Dowels.Written() {
			j.Dowels = r.whole(d.Dowels, "number of dowels", 0, 50)
		}
		if d.Dowel.Written() {
			before := r.trouble()
			if j.Dowel = r.size(d.Dowel, "diameter of the dowels"); r.trouble() == before && (j.Dowel < 2 || j.Dowel > 40) {
				r.faults.Add(d.Dowel.Place, "use a dowel of 2 mm to 40 mm", "the diameter of the dowels comes to %s mm", num(j.Dowel))
			}
		}
		if t := d.Through; t.Written() && t.Value != j.Between[0] && t.Value != j.Between[1] {
			r.faults.Add(t.Place, fmt.Sprintf("write %s or %s", j.Between[0], j.Between[1]), "through names %q, which is not in this joint", t.Value)
		}
		if okA && okB && len(a) == 1 && len(b) == 1 && a[0] == b[0] {
			r.faults.Add(d.Between[1].Place, "name two members", "%s cannot be joined to itself", j.Between[0])
		}
		r.piece.Joints = append(r.piece.Joints, j)
	}
}

// surfaceGroups are names for several surfaces at once.
var surfaceGroups = []string{"faces", "edges", "ends", "*"}

func (r *resolver) surfaces() {
	for _, d := range r.doc.Surfaces {
		if !d.On.Written() {
			continue
		}
		s := SurfaceRule{
			Member: d.On.Value, Surface: d.Surface.Value, Show: d.Show.Value, Veneer: d.Veneer.Value,
			Match: d.Match.Value, Lap: d.Lap.Value, Line: d.Line,
		}
		if s.Surface == "" {
			s.Surface = "*"
		}
		var on []int
		if s.Member == "*" {
			for i := range r.piece.Members {
				on = append(on, i)
			}
		} else if at, ok := r.member(d.On); ok {
			on = at
		} else {
			continue
		}
		if !slices.Contains(surfaceGroups, s.Surface) {
			var known []string
			for _, i := range on {
				if first := r.first[r.piece.Members[i].Name]; i != first && slices.Contains(on, first) {
					continue // copies have the surfaces of the first
				}
				for _, n := range r.piece.Members[i].SurfaceNames() {
					if !slices.Contains(known, n) {
						known = append(known, n)
					}
				}
			}
			if !slices.Contains(known, s.Surface) {
				who := s.Member
				if who == "*" {
					who = "no member"
				} else {
					who += " has no surface"
				}
				r.faults.Add(d.Surface.Place, given.Suggest(s.Surface, append(known, surfaceGroups...)), "%s %q", strings.Replace(who, "no member", "no member has a surface", 1), s.Surface)
			}
		}
		if d.Grain.Written() {
			g := r.angle(d.Grain, "angle of the grain")
			s.Grain = &g
		}
		if d.Allowance.Written() {
			a := r.between(d.Allowance, "trim allowance", 0, 50, r.trouble())
			s.Allowance = &a
		}
		if d.LapAt.Written() {
			a := r.place(d.LapAt, "place of the lap")
			s.LapAt = &a
		}
		if d.Relief != nil {
			s.Relief = &d.Relief.Value
		}
		r.piece.Surfaces = append(r.piece.Surfaces, s)
	}
}

func (r *resolver) printAsOne() {
	in := map[int]given.Place{}
	for _, g := range r.doc.PrintAsOne {
		var group []int
		for _, t := range g {
			at, ok := r.member(t)
			if !ok {
				continue
			}
			for _, i := range at {
				if p, twice := in[i]; twice {
					r.faults.Add(t.Place, "name it once", "%s is in a print_as_one group already, in line %d", r.piece.Members[i].ID, p.Line)
					continue
				}
				in[i] = t.Place
				group = append(group, i)
			}
		}
		if len(group) < 2 && len(g) > 0 && !r.faults.Any() {
			r.faults.Add(g[0].Place, "name at least two members", "a print_as_one group of one changes nothing")
		}
		slices.Sort(group)
		r.piece.PrintAsOne = append(r.piece.PrintAsOne, group)
	}
}
