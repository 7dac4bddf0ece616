package book

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/core"
	"groundwork/internal/draw"
	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/scene"
	"groundwork/internal/solid"
	"groundwork/internal/veneer"
	"groundwork/internal/view"
)

// label is the height of a label's capitals, mm: those of 8.5 points.
const label = 8.5 * point * capHeight

// artist draws the pictures of a book, each once.
type artist struct {
	ctx    context.Context
	kernel *solid.Kernel
	*planner
	segments []core.Segment // for the eye: coarser than for the printer, without part numbers
}

// Tones of areas, 0 white to 1 black.
const (
	toneBody  = 0.10
	toneNew   = 0.24 // of what a step is about
	toneMetal = 0.34
)

// segmentsToSee makes the segments anew, of the bodies that are drawn apart at
// their seams.
func (a *artist) segmentsToSee() error {
	pl := a.pl
	seams := *pl.Seams
	seams.Segments = nil
	for _, s := range pl.Seams.Segments {
		if slices.ContainsFunc(a.kinds, func(k kind) bool { return k.bodies[0] == s.Body }) {
			seams.Segments = append(seams.Segments, s)
		}
	}
	made, err := core.Build(a.ctx, a.kernel, core.Inputs{Cores: pl.Layout.Cores, Seams: &seams, Bores: pl.Joints.Bores(), Cuts: pl.Layout.Cuts}, core.Options{Chord: 0.2})
	if err != nil {
		return fmt.Errorf("book: segments to draw: %w", err)
	}
	a.segments = made.Segments
	return nil
}

// drawing asks the view package.
func (a *artist) drawing(parts []view.Part, curves []view.Curve, dir view.Direction) (*view.Drawing, error) {
	d, err := view.Make(a.ctx, a.kernel, parts, curves, dir, view.Options{})
	if err != nil {
		return nil, fmt.Errorf("book: %w", err)
	}
	return d, nil
}

// note is a label for a point of a drawing.
type note struct {
	text  string
	round bool
	at    geom.Vec2 // in the image
}

// placed puts a drawing and its labels into a picture that is at most as large
// as the room; what is left of the height is cut off.
func placed(d *view.Drawing, room geom.Vec2, notes []note, caption string) (*picture, error) {
	return placedAt(d, room, notes, caption, math.Inf(1))
}

// placedAt is placed at a scale that is not above the largest.
func placedAt(d *view.Drawing, room geom.Vec2, notes []note, caption string, largest float64) (*picture, error) {
	var side float64
	for _, n := range notes {
		side = max(side, view.Label{Text: n.text, Height: label, Round: n.round}.Width())
	}
	const gap = 5.0
	margin := 0.5
	if side > 0 {
		margin = side + gap + 0.5
	}
	inner := geom.Box2{Min: geom.V2(margin, 0.5), Max: geom.V2(room.X-margin, room.Y-0.5)}
	pl := fit(d.Bounds, inner, largest)
	box := geom.EmptyBox2().Add(pl.Point(d.Bounds.Min)).Add(pl.Point(d.Bounds.Max))
	pic := &picture{size: room, layers: d.Layers(pl, "")}
	var labels []view.Label
	for _, n := range notes {
		l := view.Label{Text: n.text, Height: label, Round: n.round, Target: pl.Point(n.at)}
		for slices.ContainsFunc(labels, func(o view.Label) bool { return o.Target.Dist(l.Target) < 1e-3 }) {
			l.Target = l.Target.Add(geom.V2(0, 0.3))
		}
		l.Target = geom.V2(min(max(l.Target.X, box.Min.X), box.Max.X), min(max(l.Target.Y, box.Min.Y), box.Max.Y))
		labels = append(labels, l)
	}
	low, high, err := pic.note(box, labels, gap)
	if err != nil {
		return nil, err
	}
	low, high = min(low, box.Min.Y), max(high, box.Max.Y)
	// Cut to what is there.
	by := geom.V2(0, 0.5-low)
	for i, l := range pic.layers {
		pic.layers[i] = moved(l, by)
	}
	for i, b := range pic.labels {
		pic.labels[i] = geom.Box2{Min: b.Min.Add(by), Max: b.Max.Add(by)}
	}
	pic.size.Y = high - low + 1
	pic.caption = strings.TrimSpace(caption + " " + scaleNote(pl.Scale))
	return pic, nil
}

// scales are those of ISO 5455 with steps between them, since pages are small.
var scales = []float64{5, 2, 1, 1. / 1.5, 1. / 2, 1. / 2.5, 1. / 3, 1. / 4, 1. / 5, 1. / 6, 1. / 7.5, 1. / 8, 1. / 10, 1. / 12, 1. / 15, 1. / 20, 1. / 25, 1. / 30, 1. / 40, 1. / 50, 1. / 100}

// fit puts a box into the middle of another at the largest of the scales that
// there is room for, or at the one that just fits.
func fit(box, paper geom.Box2, largest float64) view.Placing {
	size, room := box.Size(), paper.Size()
	most := min(room.X/max(size.X, 1e-9), room.Y/max(size.Y, 1e-9), largest)
	p := view.Placing{Scale: most, Of: box.Center(), At: paper.Center()}
	if i := slices.IndexFunc(scales, func(s float64) bool { return s <= most*(1+1e-9) }); i >= 0 {
		p.Scale = scales[i]
	}
	return p
}

// note adds labels round a box, and says how low and high they reach.
func (pic *picture) note(box geom.Box2, labels []view.Label, gap float64) (low, high float64, err error) {
	low, high = math.Inf(1), math.Inf(-1)
	if len(labels) == 0 {
		return low, high, nil
	}
	at, err := view.Labelled(box, labels, gap)
	if err != nil {
		return 0, 0, fmt.Errorf("book: %w", err)
	}
	p := view.DimensionPen()
	layer := draw.Layer{Name: "labels", Operation: draw.Note, Pen: &p}
	for _, l := range at {
		layer.Items = append(layer.Items, l.Items()...)
		pic.labels = append(pic.labels, l.Box)
		low, high = min(low, l.Box.Min.Y), max(high, l.Box.Max.Y)
	}
	pic.layers = append(pic.layers, layer)
	return low, high, nil
}

// scaleNote is "Scale 1:5." of paper mm to a mm of the piece.
func scaleNote(s float64) string {
	switch {
	case s >= 1:
		return fmt.Sprintf("Scale %.3g:1.", s)
	case math.Abs(10/s-math.Round(10/s)) < 1e-6:
		return fmt.Sprintf("Scale 1:%g.", math.Round(10/s)/10)
	}
	return fmt.Sprintf("Scale 1:%.1f.", 1/s)
}

func tone(s scene.Solid) float64 {
	switch s.Kind {
	case "screw", "insert":
		return toneMetal
	case "body":
		return toneBody
	}
	return 0.18
}

func part(s scene.Solid, at float64) view.Part {
	w := 1.0
	if s.Kind != "body" {
		w = 0.6
	}
	return view.Part{ID: s.ID, Mesh: s.Mesh, Motion: s.Moved(at), Tone: tone(s), Weight: w}
}

// cover is the whole piece.
func (a *artist) cover(room geom.Vec2) (*picture, error) {
	var parts []view.Part
	for _, s := range a.apart.Solids {
		if s.Kind == "body" || s.Kind == "plug" {
			parts = append(parts, part(s, 0))
		}
	}
	d, err := a.drawing(parts, nil, view.Isometric)
	if err != nil {
		return nil, err
	}
	return placed(d, room, nil, "")
}

// exploded is the piece taken apart, every body with its number.
func (a *artist) exploded(room geom.Vec2) (*picture, error) {
	var at float64
	for _, s := range a.apart.Stages {
		if s.What == "glued" || s.What == "members" {
			at = max(at, s.To)
		}
	}
	var parts []view.Part
	var curves []view.Curve
	for _, s := range a.apart.Solids {
		parts = append(parts, part(s, at))
	}
	for _, t := range a.apart.Threads(at) {
		curves = append(curves, view.Curve{Part: t.Of, Class: view.Thread, Points: []geom.Vec3{t.From, t.To}})
	}
	d, err := a.drawing(parts, curves, view.Isometric)
	if err != nil {
		return nil, err
	}
	var notes []note
	for i, b := range a.pl.Seams.Bodies {
		if at, _, ok := d.LabelPlace(b.ID); ok {
			notes = append(notes, note{fmt.Sprint(i + 1), true, at})
		}
	}
	return placed(d, room, notes, "The parts, with what holds them. Thin lines lead to where each belongs.")
}

// body is a body's segments drawn apart, with their dowels, each with its ID.
func (a *artist) body(id string, room geom.Vec2) (*picture, error) {
	n := a.bodyIndex(id)
	if n < 0 {
		return nil, fmt.Errorf("book: there is no body %s", id)
	}
	box := geom.EmptyBox3()
	count := 0
	for _, s := range a.segments {
		if s.Body == n {
			box, count = box.Union(s.Bounds), count+1
		}
	}
	apart := 0.22
	if count == 1 {
		apart = 0
	}
	away := map[string]geom.Vec3{}
	var parts []view.Part
	for _, s := range a.segments {
		if s.Body != n {
			continue
		}
		away[s.ID] = s.Bounds.Center().Sub(box.Center()).Scale(apart)
		parts = append(parts, view.Part{ID: s.ID, Mesh: s.Mesh, Motion: away[s.ID], Tone: toneBody})
	}
	var curves []view.Curve
	var shapes []solid.Shape
	var names []string
	var motions []geom.Vec3
	for _, s := range a.pl.Seams.Seams {
		if s.Body != n {
			continue
		}
		from, to := away[s.Segments[0]], away[s.Segments[1]]
		for i, d := range s.Dowels {
			shapes = append(shapes, solid.Cylinder(d.Center.Sub(d.Axis.Scale(d.Length/2)), d.Axis, d.Diameter/2, d.Length, solid.NoTag, solid.CylinderOptions{}))
			names = append(names, fmt.Sprintf("%s/dowel-%d", s.ID, i+1))
			motions = append(motions, from.Lerp(to, 0.5))
			curves = append(curves, view.Curve{Part: names[len(names)-1], Class: view.Thread, Points: []geom.Vec3{d.Center.Add(from), d.Center.Add(to)}})
		}
	}
	meshes, err := a.kernel.Meshes(a.ctx, shapes)
	if err != nil {
		return nil, fmt.Errorf("book: dowels of %s: %w", id, err)
	}
	for i, m := range meshes {
		parts = append(parts, view.Part{ID: names[i], Mesh: m, Motion: motions[i], Tone: toneMetal, Weight: 0.6})
	}
	d, err := a.drawing(parts, curves, seenFrom(box))
	if err != nil {
		return nil, err
	}
	var notes []note
	for _, s := range a.segments {
		if at, _, ok := d.LabelPlace(s.ID); s.Body == n && ok {
			notes = append(notes, note{s.ID, false, at})
		}
	}
	if count == 1 {
		return placedAt(d, room, notes, id+", printed whole.", 1./4)
	}
	return placedAt(d, room, notes, id+", drawn apart at its seams.", 1./2)
}

// seenFrom is a direction from which a box shows its largest face well: from the
// front, right and above, the eye turned toward that face.
func seenFrom(b geom.Box3) view.Direction {
	s := b.Size()
	least := min(s.X, s.Y, s.Z)
	d := geom.V3(-1, 1, -1)
	if least < 0.35*max(s.X, s.Y, s.Z) {
		switch least {
		case s.X:
			d = geom.V3(-1, 0.6, -0.6)
		case s.Y:
			d = geom.V3(-0.6, 1, -0.6)
		default:
			d = geom.V3(-0.6, 0.6, -1)
		}
	}
	return view.Direction{Toward: d, Up: geom.V3(0, 0, 1)}
}

// move draws a step of putting together: what is there, and what comes, drawn
// apart.
func (a *artist) move(n int, room geom.Vec2) (*picture, error) {
	m := a.moves[n]
	there := func(id string) bool { return slices.Contains(m.moving, id) || slices.Contains(m.rest, id) }
	// Glued parts only with what they are glued to.
	related := map[string]bool{}
	if m.phase == "glued" {
		for _, id := range m.moving {
			related[id] = true
		}
		for _, j := range a.pl.Joints.Joints {
			x, y := a.bodiesOf(j)
			if j.Kind == piece.Glued && (slices.Contains(m.moving, x) || slices.Contains(m.moving, y)) {
				related[x], related[y] = true, true
			}
		}
	}
	joints := map[string]bool{}
	for _, j := range a.pl.Joints.Joints {
		x, y := a.bodiesOf(j)
		in := slices.Contains(m.moving, x) != slices.Contains(m.moving, y) || slices.Contains(m.moving, x) && a.apartIn(m, x, y)
		joints[j.ID] = in && there(x) && there(y) && (m.phase == "glued") == (j.Kind == piece.Glued)
	}
	base := m.from // how far apart what stands already is drawn: not at all
	moved := func(s scene.Solid) geom.Vec3 {
		// Only this move, and the hardware's own.
		v := s.Moved(m.to).Sub(s.Moved(base))
		if s.Kind == "screw" {
			for _, w := range s.Ways {
				if w.To <= base+1e-9 && w.From < 1e-9 {
					v = v.Add(w.Away)
				}
			}
		}
		return v
	}
	var parts []view.Part
	var notes []note
	shift := map[string]geom.Vec3{}
	for _, s := range a.apart.Solids {
		if !there(s.Body) || len(related) > 0 && !related[s.Body] {
			continue
		}
		if s.Kind != "body" && (s.Kind == "plug" || !joints[s.Joint]) {
			continue
		}
		p := part(s, 0)
		p.Motion = moved(s)
		shift[s.ID] = p.Motion
		if s.Kind == "body" && slices.Contains(m.moving, s.Body) {
			p.Tone = toneNew
		}
		parts = append(parts, p)
	}
	var curves []view.Curve
	for _, j := range a.pl.Joints.Joints {
		if !joints[j.ID] {
			continue
		}
		x, y := a.bodiesOf(j)
		var at []geom.Vec3
		for _, s := range j.Screws {
			at = append(at, s.Head.Add(s.Axis.Scale(s.Grip)))
		}
		for _, d := range j.Dowels {
			at = append(at, d.Center)
		}
		for _, q := range at {
			from, to := q.Add(shift[x]), q.Add(shift[y])
			if from.Dist(to) > 1 {
				curves = append(curves, view.Curve{Part: x, Class: view.Thread, Points: []geom.Vec3{from, to}})
			}
		}
	}
	d, err := a.drawing(parts, curves, view.Isometric)
	if err != nil {
		return nil, err
	}
	for _, p := range parts {
		if b := a.bodyIndex(p.ID); b >= 0 {
			if at, _, ok := d.LabelPlace(p.ID); ok {
				notes = append(notes, note{p.ID, false, at})
			}
		}
	}
	return placed(d, room, notes, "Darker: what comes in this step.")
}

// joints are the kinds of joints there are, one of each.
type jointKind struct {
	of   joint.Joint
	like []string // IDs, its own first
}

func (p *planner) jointKinds() []jointKind {
	var out []jointKind
	var keys []string
	for _, j := range p.pl.Joints.Joints {
		if len(j.Screws)+len(j.Dowels) == 0 {
			continue
		}
		x, y, ok := sides(p.pl, j)
		if !ok {
			continue
		}
		key := fmt.Sprint(p.pl.Piece.Members[x].Name, p.pl.Piece.Members[y].Name, j.Kind, p.hardware(j))
		if n := slices.Index(keys, key); n >= 0 {
			out[n].like = append(out[n].like, j.ID)
			continue
		}
		keys = append(keys, key)
		out = append(out, jointKind{j, []string{j.ID}})
	}
	return out
}

// section is a joint cut along its screw, or else its dowel, and what its numbers
// mean.
func (a *artist) section(j joint.Joint, room geom.Vec2) (*picture, []string, error) {
	x, y, _ := sides(a.pl, j)
	var axis, middle geom.Vec3
	var reach float64
	var others []geom.Vec3
	for _, d := range j.Dowels {
		axis, middle, reach = d.Axis, d.Center, max(reach, d.Length/2)
		others = append(others, d.Center)
	}
	if len(j.Screws) > 0 {
		s := j.Screws[0]
		axis, middle, reach = s.Axis, s.Head.Add(s.Axis.Scale(s.Length/2)), max(reach, s.Length/2+8)
	} else if len(others) > 0 {
		middle = others[0]
	}
	// The plane holds the axis and, if it can, a dowel beside it.
	normal := geom.FrameFromZ(middle, axis).X
	far := 0.0
	for _, o := range others {
		side := o.Sub(middle)
		side = side.Sub(axis.Scale(side.Dot(axis)))
		if l := side.Len(); l > 1 && (far == 0 || l < far) {
			normal, far = axis.Cross(side).Unit(), l
		}
	}
	if far > 0 && far < 60 {
		reach = max(reach, far/2+12)
		for _, o := range others {
			if side := o.Sub(middle); math.Abs(side.Dot(normal)) < 0.5 {
				s := side.Sub(axis.Scale(side.Dot(axis)))
				if math.Abs(s.Len()-far) < 0.1 {
					middle = middle.Add(s.Scale(0.5))
				}
			}
		}
	}
	reach = max(reach+6, 22)
	// Turn the normal toward the viewer's usual sides: right, front, above.
	if normal.X-normal.Y+normal.Z < 0 {
		normal = normal.Neg()
	}
	plane := geom.PlaneAt(middle, normal)
	var parts []view.Part
	var hatch []view.Curve
	n := 0
	for _, s := range a.apart.Solids {
		b := s.Mesh.Bounds.Grow(1)
		if !b.Overlaps(geom.EmptyBox3().Add(middle).Grow(reach)) {
			continue
		}
		p := part(s, 0)
		if s.Kind != "body" {
			if s.Kind == "plug" {
				p.Tone = 0
			}
			if plane.Distance(s.Mesh.Bounds.Center()) < 6 { // what lies before the cut is not there
				parts = append(parts, p)
			}
			continue
		}
		p.Tone = 0.04
		angle := []float64{1, -1, 1, -1}[n%4] * math.Pi / 4
		spacing := []float64{2, 2, 3, 3}[n%4]
		cut, lines, keep, err := view.Cut(a.ctx, a.kernel, p, plane, view.Hatching{Angle: angle, Spacing: spacing})
		if err != nil {
			return nil, nil, fmt.Errorf("book: section of %s: %w", j.ID, err)
		}
		if keep {
			n++
			parts, hatch = append(parts, cut), append(hatch, lines...)
		}
	}
	up := geom.V3(0, 0, 1)
	if math.Abs(normal.Z) > 0.9 {
		up = geom.V3(0, 1, 0)
	}
	whole, err := a.drawing(parts, hatch, view.Direction{Toward: normal.Neg(), Up: up})
	if err != nil {
		return nil, nil, err
	}
	center := whole.Point(middle)
	d := whole.Detail(center, reach)
	inside := func(p geom.Vec3) (geom.Vec2, bool) {
		q := whole.Point(p)
		return q, q.Dist(center) < reach*0.98
	}
	var notes []note
	var key []string
	put := func(text string, q geom.Vec2) {
		key = append(key, text)
		notes = append(notes, note{fmt.Sprint(len(key)), true, q})
	}
	add := func(text string, p geom.Vec3) {
		if q, ok := inside(p); ok {
			put(text, q)
		}
	}
	if len(j.Screws) > 0 {
		s := j.Screws[0]
		add(screwName(s), s.Head.Add(s.Axis.Scale(s.Grip*0.5)))
		add("insert "+s.Insert, s.Head.Add(s.Axis.Scale(s.Grip+s.Sunk+2)).Add(plane.Normal.Cross(s.Axis).Scale(2.6)))
		if s.Plug != "" {
			for _, g := range a.pl.Joints.Plugs {
				if g.ID == s.Plug {
					add("plug", g.Center.Sub(g.Axis.Scale(g.Depth/4)))
				}
			}
		}
	}
	for _, o := range j.Dowels {
		if math.Abs(plane.Distance(o.Center)) < 1 {
			add(dowelName(o), o.Center)
			break
		}
	}
	named := map[int]bool{}
	for _, m := range []int{x, y} {
		id := a.pl.Seams.Bodies[bodyOf(a.pl, m)].ID
		if at, _, ok := d.LabelPlace(id); ok && !named[bodyOf(a.pl, m)] && at.Dist(center) < reach {
			put(id, at)
			named[bodyOf(a.pl, m)] = true
		}
	}
	pic, err := placedAt(d, room, notes, j.ID+", cut along its axis.", 2)
	if err != nil {
		return nil, nil, err
	}
	return pic, key, nil
}

// corners are the eight ways to look at a body from a corner, the usual ones
// first.
func corners(box geom.Box3) []view.Direction {
	var out []view.Direction
	d := seenFrom(box).Toward
	for _, s := range []geom.Vec3{{X: 1, Y: 1, Z: 1}, {X: -1, Y: -1, Z: -1}, {X: -1, Y: 1, Z: 1}, {X: 1, Y: -1, Z: -1}, {X: 1, Y: 1, Z: -1}, {X: -1, Y: -1, Z: 1}, {X: 1, Y: -1, Z: 1}, {X: -1, Y: 1, Z: -1}} {
		out = append(out, view.Direction{Toward: geom.V3(d.X*s.X, d.Y*s.Y, d.Z*s.Z), Up: geom.V3(0, 0, 1)})
	}
	return out
}

// told says from where a direction looks.
func told(d view.Direction) string {
	var out []string
	add := func(v float64, low, high string) {
		if v < 0 {
			out = append(out, high)
		} else if v > 0 {
			out = append(out, low)
		}
	}
	add(d.Toward.Y, "the front", "the back")
	add(d.Toward.X, "the left", "the right")
	add(d.Toward.Z, "below", "above")
	return "Seen from " + and(out) + "."
}

// laying draws a body with a number and an arrow on every surface that is
// covered, from as many sides as it takes to see them all.
func (a *artist) laying(id string, room geom.Vec2) ([]*picture, error) {
	n := a.bodyIndex(id)
	rows := laying(a.pl, n)
	lying := veneer.Lying(a.pl.Layout)
	type spot struct {
		number int
		at     geom.Vec3
	}
	type arrowed struct {
		number       int
		pt           veneer.Pattern
		lift, normal func(geom.Vec2) geom.Vec3
	}
	var arrows []arrowed
	var curves []view.Curve
	var body *scene.Solid
	for i, s := range a.apart.Solids {
		if s.ID == id && s.Kind == "body" {
			body = &a.apart.Solids[i]
		}
	}
	if body == nil {
		return nil, fmt.Errorf("book: there is no body %s", id)
	}
	pads := map[[2]int]int{}
	for _, r := range rows {
		pt := a.pl.Patterns[r.pattern]
		pads[[2]int{pt.Member, pt.Surface}]++
	}
	for _, r := range rows {
		pt := a.pl.Patterns[r.pattern]
		l, ok := lying(pt)
		if !ok {
			continue
		}
		lift := func(q geom.Vec2) geom.Vec3 {
			p, n := l.At(q)
			return p.Add(n.Scale(0.3))
		}
		arrows = append(arrows, arrowed{r.number, pt, lift, func(q geom.Vec2) geom.Vec3 { _, n := l.At(q); return n }})
		if pads[[2]int{pt.Member, pt.Surface}] > 1 || pt.CutInPlace { // where leaves meet on a surface
			for _, loop := range pt.Net[:1] {
				var pts []geom.Vec3
				for i, q := range loop {
					next := loop[(i+1)%len(loop)]
					n := math.Ceil(q.Dist(next) / 4) // bends with the surface
					for k := range int(n) {
						pts = append(pts, lift(q.Lerp(next, float64(k)/n)))
					}
				}
				curves = append(curves, view.Curve{Part: id, Class: view.Mark, Points: append(pts, pts[0])})
			}
		}
	}
	seen := map[int]bool{}
	var out []*picture
	first := true
	for _, dir := range corners(body.Mesh.Bounds) {
		if len(seen) == len(arrows) {
			break
		}
		drawn := slices.Clone(curves)
		var spots []spot
		for _, x := range arrows {
			shaft, head := arrow(x.pt.Net, facingEye(x.pt.Net, x.normal, dir), x.pt.Grain)
			for _, run := range [][]geom.Vec2{shaft, head} {
				var pts []geom.Vec3
				for i, q := range run {
					if i > 0 { // bends with the surface
						for k := 1; k < 12; k++ {
							pts = append(pts, x.lift(run[i-1].Lerp(q, float64(k)/12)))
						}
					}
					pts = append(pts, x.lift(q))
				}
				drawn = append(drawn, view.Curve{Part: id, Class: view.Mark, Points: pts})
			}
			spots = append(spots, spot{x.number, x.lift(shaft[0].Lerp(shaft[1], 0.3))})
		}
		d, err := a.drawing([]view.Part{{ID: id, Mesh: body.Mesh, Tone: toneBody}}, drawn, dir)
		if err != nil {
			return nil, err
		}
		var notes []note
		fresh := first
		for _, s := range spots {
			if at, ok := d.See(s.at); ok {
				notes = append(notes, note{fmt.Sprint(s.number), true, at})
				fresh = fresh || !seen[s.number]
			}
		}
		if !fresh {
			continue
		}
		for _, s := range spots {
			if _, ok := d.See(s.at); ok {
				seen[s.number] = true
			}
		}
		first = false
		pic, err := placed(d, room, notes, told(dir))
		if err != nil {
			return nil, err
		}
		out = append(out, pic)
	}
	return out, nil
}

// facingEye is a point well inside a region that is bent round something, where it
// faces the eye best: of the middle and places to either side of it.
func facingEye(ps geom.Polygons, normal func(geom.Vec2) geom.Vec3, dir view.Direction) geom.Vec2 {
	best := within(ps)
	b := ps.Bounds()
	toward := dir.Toward.Unit()
	face := -normal(best).Dot(toward)
	const n, better = 24, 0.2
	for i := range n {
		q := geom.V2(b.Min.X+(float64(i)+0.5)/n*b.Size().X, best.Y)
		if f := -normal(q).Dot(toward); ps.Contains(q) && ps.Distance(q) > 0.08*b.Size().X && f > face+better {
			best, face = q, f
		}
	}
	return best
}

// within is a point well inside a region: of a grid, the one farthest from the
// border.
func within(ps geom.Polygons) geom.Vec2 {
	b := ps.Bounds()
	best, far := b.Center(), -1.0
	const n = 24
	for i := range n {
		for j := range n {
			q := geom.V2(b.Min.X+(float64(i)+0.5)/n*b.Size().X, b.Min.Y+(float64(j)+0.5)/n*b.Size().Y)
			if !ps.Contains(q) {
				continue
			}
			// Near the middle rather than anywhere along a strip.
			d := ps.Distance(q) - 0.02*q.Dist(b.Center())
			if d > far {
				best, far = q, d
			}
		}
	}
	return best
}

// arrow is one along the grain through a point of a region: its shaft, and its
// head at the end that the grain's direction points to. Of the grain's two
// directions it is the one nearer to the pattern's x, or y.
func arrow(ps geom.Polygons, c geom.Vec2, grain float64) (shaft, head []geom.Vec2) {
	u := geom.V2(1, 0).Rotate(grain)
	if u.X < -1e-9 || math.Abs(u.X) <= 1e-9 && u.Y < 0 {
		u = u.Scale(-1)
	}
	reach := func(way geom.Vec2) float64 {
		step := ps.Bounds().Size().Len() / 200
		var d float64
		for n := 1; n <= 100; n++ {
			if !ps.Contains(c.Add(way.Scale(float64(n) * step))) {
				break
			}
			d = float64(n) * step
		}
		return d
	}
	long := 0.5 * min(reach(u), reach(u.Scale(-1))) * 1.3
	from, to := c.Sub(u.Scale(long)), c.Add(u.Scale(long))
	h := min(0.35*long, max(3, 0.12*long))
	back := to.Sub(u.Scale(h))
	return []geom.Vec2{from, to}, []geom.Vec2{back.Add(u.Left().Scale(h * 0.4)), to, back.Sub(u.Left().Scale(h * 0.4))}
}

// lap is the fingered end of a band, flat, with its pins, over the end that lies
// under it.
func (a *artist) lap(id string, room geom.Vec2) (*picture, error) {
	n := slices.IndexFunc(a.pl.Layout.Laps, func(l veneer.Lap) bool { return l.ID == id })
	m := slices.IndexFunc(a.pl.Patterns, func(p veneer.Pattern) bool { return p.Lap == id })
	if n < 0 || m < 0 {
		return nil, nil
	}
	l, pt := a.pl.Layout.Laps[n], a.pl.Patterns[m]
	b := pt.Gross.Bounds()
	var pins geom.Vec2
	for _, q := range pt.Pins {
		pins = pins.Add(q.Scale(1 / float64(len(pt.Pins))))
	}
	win, end := geom.Box2{Min: geom.V2(b.Max.X-l.Length-12, b.Min.Y), Max: b.Max}, b.Max.X
	inner := end - l.Length
	if pins.X < b.Center().X {
		win, end = geom.Box2{Min: b.Min, Max: geom.V2(b.Min.X+l.Length+12, b.Max.Y)}, b.Min.X
		inner = end + l.Length
	}
	f := newFlat(win.Size().Add(geom.V2(0, 0)), geom.V2(room.X-30, room.Y-16), nil, false)
	f.placing.Of = f.placing.Of.Add(win.Min)
	f.placing.At = f.placing.At.Add(geom.V2(15, 12))
	f.box = geom.Box2{Min: f.placing.Point(win.Min).Sub(geom.V2(15, 10)), Max: f.placing.Point(win.Max).Add(geom.V2(15, 1))}
	layer := lines(0.3, 0, draw.Outlines(pt.Gross)...)
	for _, q := range pt.Pins {
		layer.Items = append(layer.Items, draw.Circle{Center: q, Radius: pt.Pin / 2})
	}
	pricked := 0
	if more := len(l.Pins) - len(pt.Pins); more > 0 && l.Fingers > 0 {
		in := a.pricked(l)
		if inner > end {
			in = -in
		}
		for i := range more {
			c := geom.V2(inner+in, pt.Pins[i%l.Fingers].Y)
			for _, arm := range []geom.Vec2{{X: 1.2, Y: 1.2}, {X: 1.2, Y: -1.2}} {
				layer.Items = append(layer.Items, draw.Line(c.Sub(arm), c.Add(arm)))
			}
			pricked++
		}
	}
	under := draw.Layer{Name: "under", Operation: draw.Note, Pen: &draw.Style{Width: 0.2, Dash: []float64{2, 1}},
		Items: []draw.Item{draw.Line(geom.V2(inner, b.Min.Y), geom.V2(inner, b.Max.Y))}}
	for _, x := range []draw.Layer{layer, under} {
		x = clipped(x, geom.Box2{Min: win.Min.Sub(geom.V2(0.01, 0.01)), Max: win.Max.Add(geom.V2(0.01, 0.01))}, geom.Vec2{})
		for i, it := range x.Items {
			if p, ok := it.(draw.Path); ok {
				x.Items[i] = p.Map(f.placing.Point, false)
			}
		}
		f.pic.layers = append(f.pic.layers, x)
	}
	low := f.placing.Point(win.Min).Y
	pen := view.DimensionPen()
	d := view.Dimension{A: geom.V2(f.placing.Point(geom.V2(inner, 0)).X, low), B: geom.V2(f.placing.Point(geom.V2(end, 0)).X, low), Along: view.Horizontal, Offset: -8, Value: l.Length, Height: label}
	f.pic.layers = append(f.pic.layers, draw.Layer{Name: "size", Operation: draw.Note, Pen: &pen, Items: d.Items(a.mm)})
	told := "The fingered end of " + pt.ID + ", as cut. Dashed: where the end beneath it reaches to. Circles: pierced for pins."
	if pricked > 0 {
		told += " Crosses: pins without a hole, to be pricked."
	}
	return f.done(told)
}

// clamping is a drawing that a fixture brings, made to fit the page.
func (a *artist) clamping(c fixture.ClampPlan, room geom.Vec2) (*picture, error) {
	s := c.Sheet
	s.Layers = slices.Clone(s.Layers)
	for i, l := range s.Layers { // the drawing's own scale is not that of the page
		s.Layers[i].Items = slices.DeleteFunc(slices.Clone(l.Items), func(it draw.Item) bool {
			t, ok := it.(draw.Text)
			return ok && strings.HasPrefix(t.String, c.ID)
		})
	}
	caption := fmt.Sprintf("%s, from above; push %s above the bench.", c.ID, a.mm(c.Height))
	notes := a.lyingAt(c)
	if notes == nil {
		return fitted(s, room, caption, c.Scale), nil
	}
	var side float64
	for _, n := range notes {
		side = max(side, view.Label{Text: n.text, Height: label}.Width())
	}
	const gap, page = 5.0, 174.0
	room.X = min(room.X, page-2*(side+gap+0.5))
	if blocks := a.blocksAt(c, notes); blocks != nil {
		s.Layers = append(s.Layers, draw.Layer{Name: "blocks", Operation: draw.Note, Pen: &draw.Style{Width: 0.18, Dash: []float64{2, 1}}, Items: draw.Outlines(blocks)})
	}
	pic := fitted(s, room, caption, c.Scale)
	if pic == nil {
		return nil, nil
	}
	k := pic.size.X / s.Width
	box := geom.Box2{Max: pic.size}
	var labels []view.Label
	for _, n := range notes {
		l := view.Label{Text: n.text, Height: label, Target: n.at.Scale(k)}
		for slices.ContainsFunc(labels, func(o view.Label) bool { return o.Target.Dist(l.Target) < 1e-3 }) {
			l.Target = l.Target.Add(geom.V2(0, 0.3))
		}
		l.Target = geom.V2(min(max(l.Target.X, 0), box.Max.X), min(max(l.Target.Y, 0), box.Max.Y))
		labels = append(labels, l)
	}
	low, high, err := pic.note(box, labels, gap)
	if err != nil {
		return nil, err
	}
	low, high = min(low, 0), max(high, box.Max.Y)
	by := geom.V2(side+gap+0.5, -low)
	for i, l := range pic.layers {
		pic.layers[i] = moved(l, by)
	}
	for i, b := range pic.labels {
		pic.labels[i] = geom.Box2{Min: b.Min.Add(by), Max: b.Max.Add(by)}
	}
	pic.size = geom.V2(pic.size.X+2*by.X, high-low)
	return pic, nil
}

// blocksAt are the outlines, on the drawing's sheet, of the blocks beneath the work,
// which hide under it; notes are lyingAt's.
func (a *artist) blocksAt(c fixture.ClampPlan, notes []note) (out geom.Polygons) {
	for _, x := range c.Places {
		if !strings.HasPrefix(x.Part, "vee-block") {
			continue
		}
		for _, f := range a.pl.Fixtures.Fixtures {
			for _, q := range f.Parts {
				n := slices.IndexFunc(notes, func(n note) bool { return n.text == x.Part })
				if q.ID != x.Part || q.Mesh == nil || n < 0 {
					continue
				}
				b := q.Mesh.Bounds
				middle := c.Frame.Local(x.At.Point(b.Center()))
				box := geom.EmptyBox2()
				for _, k := range []geom.Vec3{b.Min, b.Max, {X: b.Min.X, Y: b.Max.Y, Z: b.Min.Z}, {X: b.Max.X, Y: b.Min.Y, Z: b.Max.Z}} {
					at := c.Frame.Local(x.At.Point(k)).Sub(middle)
					box = box.Add(geom.V2(at.X, at.Y).Scale(1 / c.Scale).Add(notes[n].at))
				}
				out = append(out, rectangle(box))
			}
		}
	}
	return out
}

// lyingAt are the names of what lies on the bench in a glue-up, each with its
// middle on the drawing's sheet; none if the sheet has no bench.
func (a *artist) lyingAt(c fixture.ClampPlan) (notes []note) {
	if c.Scale == 0 || !slices.ContainsFunc(c.Sheet.Layers, func(l draw.Layer) bool { return l.Name == "bench" }) {
		return nil
	}
	put := func(name string, world geom.Vec3) {
		q := c.Frame.Local(world)
		notes = append(notes, note{name, false, geom.V2(q.X, q.Y).Scale(1 / c.Scale).Add(c.Corner)})
	}
	for _, id := range c.Parts {
		box := geom.EmptyBox3()
		for _, s := range a.pl.Cores.Segments {
			if s.ID == id || a.pl.Seams.Bodies[s.Body].ID == id {
				box = box.Union(s.Bounds)
			}
		}
		if !box.Empty() {
			put(id, box.Center())
		}
	}
	for _, x := range c.Places {
		for _, f := range a.pl.Fixtures.Fixtures {
			for _, q := range f.Parts {
				if q.ID == x.Part && q.Mesh != nil {
					put(x.Part, x.At.Point(q.Mesh.Bounds.Center()))
				}
			}
		}
	}
	return notes
}

// fitted is a sheet made small enough; its texts are never smaller than least.
func fitted(s draw.Sheet, room geom.Vec2, caption string, scale float64) *picture {
	if s.Width <= 0 || s.Height <= 0 {
		return nil
	}
	k := min(room.X/s.Width, room.Y/s.Height, 1)
	pic := &picture{size: geom.V2(s.Width*k, s.Height*k), caption: caption}
	for _, l := range s.Layers {
		l = scaled(readable(l), k)
		// Writing that is larger than drawn may come to lie on lines: it stands on white.
		var ground []draw.Item
		for _, it := range l.Items {
			if t, ok := it.(draw.Text); ok {
				ground = append(ground, filled(lettered(t, l.Style()).box().Grow(0.2), 255))
			}
		}
		l.Items = slices.Concat(ground, l.Items)
		pic.layers = append(pic.layers, l)
	}
	if scale > 0 {
		pic.caption = strings.TrimSpace(caption + " On this page: " + strings.ToLower(scaleNote(k/scale)))
	}
	return pic
}

func scaled(l draw.Layer, k float64) draw.Layer {
	const lowest = least * point * capHeight
	items := make([]draw.Item, len(l.Items))
	for i, it := range l.Items {
		switch it := it.(type) {
		case draw.Path:
			items[i] = it.Map(func(q geom.Vec2) geom.Vec2 { return q.Scale(k) }, false)
		case draw.Circle:
			items[i] = draw.Circle{Center: it.Center.Scale(k), Radius: it.Radius * k}
		case draw.Text:
			it.At, it.Height = it.At.Scale(k), max(it.Height*k, lowest)
			items[i] = it
		case draw.Region:
			items[i] = draw.Region{Area: it.Area.Map(func(q geom.Vec2) geom.Vec2 { return q.Scale(k) }), Grey: it.Grey}
		}
	}
	l.Items = items
	return l
}
