package book

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/unit"
	"groundwork/internal/veneer"
)

// firmness says in words what a clamp's force is, for whoever has no gauge (common
// practice, no source: a bar clamp's handle in the fingers, then in the hand).
func firmness(newtons float64) string {
	switch {
	case newtons <= 80:
		return "finger tight"
	case newtons <= 350:
		return "firm, with the hand and no strain"
	}
	return "hard, with the whole hand"
}

// fixtureWords are a fixture's own words, with the times of this shop.
func (p *planner) fixtureWords(f fixture.Fixture) string {
	return p.timed(f.When, f.Words)
}

// timed are words on what is done from some moment on, with how long that is.
func (p *planner) timed(when fixture.Moment, words string) string {
	work := p.pl.Shop.Work
	switch {
	case words == "":
	case when == fixture.Laid:
		return "From " + unit.FormatDuration(work.BondFirst) + " after laying on: " + strings.ToLower(words[:1]) + words[1:]
	case when == fixture.Tightened:
		return words + " Screws are tightened a second time " + unit.FormatDuration(work.Retighten) + " after the first."
	}
	return words
}

// useWords are a fixture's words without those on how it is printed, which stand
// where it is made.
func (p *planner) useWords(f fixture.Fixture) string {
	var out []string
	for _, s := range strings.SplitAfter(f.Words, ". ") {
		if !strings.HasPrefix(s, "Print ") {
			out = append(out, s)
		}
	}
	return p.timed(f.When, strings.TrimSpace(strings.Join(out, "")))
}

// clampWords are a clamping plan's words, with forces in words, with which side
// lies down and with how long the clamps stay.
func (p *planner) clampWords(c fixture.ClampPlan) string {
	out := []string{}
	if s := p.liesDown(c); s != "" {
		out = append(out, s)
	}
	pressing := 0
	for _, x := range c.Presses {
		if len(x.Seams) > 0 || len(x.Ends) == 1 {
			pressing++
		}
	}
	for _, s := range c.Words {
		for _, x := range c.Presses {
			if end := fmt.Sprintf(": %.0f N.", x.Force); strings.HasSuffix(s, end) {
				s = strings.TrimSuffix(s, ".") + ", " + firmness(x.Force) + "."
				break
			}
		}
		if pressing == 1 {
			s = strings.Replace(s, "Draw all clamps up in turn until", "Draw the clamp up until", 1)
		}
		if strings.Contains(s, "Pack the cauls up by ") {
			s += " Packing is scrap board of that thickness, a piece under each caul."
		}
		out = append(out, s)
	}
	return strings.Join(append(out, "Leave it in the clamps for "+unit.FormatDuration(p.pl.Shop.Work.GlueHold)+"."), " ")
}

// facing is a direction of the finished piece in words, "" if it is none of them.
func facing(d geom.Vec3) string {
	const near = 0.9
	for _, s := range []struct {
		way  geom.Vec3
		name string
	}{{geom.V3(0, 0, 1), "above"}, {geom.V3(0, 0, -1), "below"}, {geom.V3(0, -1, 0), "the front"}, {geom.V3(0, 1, 0), "the back"}, {geom.V3(-1, 0, 0), "the left"}, {geom.V3(1, 0, 0), "the right"}} {
		if d.Dot(s.way) > near {
			return s.name
		}
	}
	return ""
}

// liesDown says which side of the parts lies on the bench, and what stands proud
// there; nothing of round parts in vee blocks, and of what lies aslant.
func (p *planner) liesDown(c fixture.ClampPlan) string {
	down := c.Frame.Z.Neg()
	if down.Len() < 0.5 || slices.ContainsFunc(c.Fixtures, func(id string) bool { return strings.HasPrefix(id, "vee-block") }) {
		return ""
	}
	way := facing(down)
	if way == "" {
		return ""
	}
	s := "The side that faces " + way + " in the finished piece lies down."
	if c.Step != fixture.GlueSegments { // veneer lies beside the pads
		return s
	}
	// Pads are raised by the veneer that will lie beside them.
	var members []int
	for _, b := range p.pl.Seams.Bodies {
		if slices.Contains(c.Parts, b.ID) {
			members = append(members, b.Members...)
		}
	}
	for _, x := range p.pl.Seams.Segments {
		if slices.Contains(c.Parts, x.ID) {
			members = append(members, p.pl.Seams.Bodies[x.Body].Members...)
		}
	}
	for _, k := range p.pl.Joints.Contacts {
		out := k.Frame.Z
		for i, m := range []int{k.A.Member, k.B.Member} {
			side := k.A
			if i == 1 {
				out, side = out.Neg(), k.B
			}
			if stack := p.pl.Layout.Coverings[m][side.Surface].Stack; stack > 0 && side.Covered < 0.999 && slices.Contains(members, m) && out.Dot(down) > 0.99 {
				return s + fmt.Sprintf(" Pads stand %s proud there: lay strips of that thickness, such as offcuts of the veneer on card, under the rest, so that nothing rocks.", p.mm(stack))
			}
		}
	}
	return s
}

// grain says along what a leaf's grain runs on the piece.
func (p *planner) grain(pt veneer.Pattern) string {
	const much = 1.15 // longer by this, so that one sees which side is the length
	along := geom.V2(1, 0).Rotate(pt.Grain)
	b := pt.Net.Bounds().Size()
	long, short := b.X, b.Y
	on := math.Abs(along.X)
	if b.Y > b.X {
		long, short, on = b.Y, b.X, math.Abs(along.Y)
	}
	switch {
	case pt.Kind == veneer.Band && long > much*short && on > 0.999 && pt.Width < pt.Length:
		return "along the band"
	case long > much*short && on > 0.98:
		return "along its length"
	case long > much*short && on < 0.17:
		return "across its length"
	}
	if l, ok := veneer.Lying(p.pl.Layout)(pt); ok {
		c := within(pt.Net)
		a, _ := l.At(c.Sub(along))
		z, _ := l.At(c.Add(along))
		d := z.Sub(a).Unit()
		switch {
		case math.Abs(d.X) > 0.98:
			return "from left to right"
		case math.Abs(d.Y) > 0.98:
			return "from front to back"
		case math.Abs(d.Z) > 0.98:
			return "upright"
		}
	}
	return "as the arrow"
}

// pairWords warns of parts that are alike but do not fit one another.
func (p *planner) pairWords() string {
	s := "Segments go together only as their names say."
	for _, k := range p.kinds {
		if len(k.bodies) < 2 {
			continue
		}
		a, b := segments(p.pl, k.bodies[0]), segments(p.pl, k.bodies[1])
		if len(a) > 1 && len(b) > 1 {
			return s + fmt.Sprintf(" %s is glued to %s, never to %s, though it may seem to fit: dowels may lie at another angle, and what is swapped comes out turned.", a[0], a[1], b[1])
		}
	}
	return s
}

// parallel tells how to see, before glue is on, that a turned part has not been
// put together wrong: its ends are parallel. It is "" where there is nothing of
// that kind.
func (p *planner) parallel(k kind) string {
	body := k.bodies[0]
	if len(segments(p.pl, body)) < 2 {
		return ""
	}
	for _, m := range p.pl.Seams.Bodies[body].Members {
		core := p.pl.Layout.Cores[m]
		if core.Turning == nil {
			continue
		}
		var ends []geom.Frame
		for _, s := range core.Surfaces(1) {
			if s.Kind == piece.Plane && !s.Inside && s.Area > 1 { // end cuts leave nothing of the turned ends
				ends = append(ends, geom.Frame{Origin: core.Place.Point(s.Frame.Origin), Z: core.Place.Dir(s.Frame.Z)})
			}
		}
		for i, a := range ends {
			for _, b := range ends[i+1:] {
				if a.Z.Dot(b.Z) < -1+1e-9 {
					apart := math.Abs(b.Origin.Sub(a.Origin).Dot(a.Z))
					return fmt.Sprintf("Stand %s dry on an end on a flat board, each by itself: the ends are parallel, %s apart wherever you measure, within 0.5 mm. If they are not, a half is swapped or turned.", p.the(idsOf(p.pl, k)), p.mm(apart))
				}
			}
		}
	}
	return ""
}

// clamped is whether there are clamping plans.
func (p *planner) clamped() bool { return p.pl.Fixtures != nil && len(p.pl.Fixtures.Clamping) > 0 }

// clampingWords tell how drawings of clamps are read, and what is done on another
// bench (common practice, no source).
func (p *planner) clampingWords() []string {
	b := p.pl.Shop.Bench
	return []string{
		fmt.Sprintf("*Drawings of clamps* show a bench from above, with holes of %s, %s apart: letters name its columns, numbers its rows. Of the bench only the part round the work is drawn: the small bench below shows in grey which. A peg of hard wood stands in one hole; the clamp stands in another and presses towards it. Names beside the drawing tell what lies where.", p.mm(b.Hole), p.mm(b.Pitch)),
		"*Without such a bench* take a flat board and two bar clamps. Lay parts and cauls on the board, on film, as drawn. The clamps reach from the outer caul on one side to that on the other, along the arrows, one over the work and one under it, so that it does not bow. Where the drawing has one arrow, each of the two presses half as hard.",
		"*How hard.* \"Finger tight\" is up to 80 N, as two fingers turn a clamp's handle; \"firm\" up to 350 N, as the hand turns it without strain. More does not hold better.",
	}
}

// clampings are the names of the drawings of glue-ups that close any of some seams
// or joints.
func (p *planner) clampings(step fixture.Step, of []string) (names []string) {
	for _, c := range p.pl.Fixtures.Clamping {
		if c.Step == step && c.Like == "" && slices.ContainsFunc(c.Serves, func(x string) bool { return slices.Contains(of, x) }) {
			names = append(names, "clamping/"+c.ID)
		}
	}
	return names
}

// likewise says which glue-ups are clamped as others are.
func (p *planner) likewise(step fixture.Step, of []string) (out []string) {
	like := map[string][]string{}
	var order []string
	for _, c := range p.pl.Fixtures.Clamping {
		if c.Step != step || c.Like == "" || !slices.ContainsFunc(c.Serves, func(x string) bool { return slices.Contains(of, x) }) {
			continue
		}
		if like[c.Like] == nil {
			order = append(order, c.Like)
		}
		like[c.Like] = append(like[c.Like], c.Serves...)
	}
	for _, id := range order {
		out = append(out, fmt.Sprintf("Clamp %s just as the drawing %s shows.", and(like[id]), id))
	}
	return out
}

// dowelBores are the bores of dowels in a segment: "3 of 10 mm".
func (p *planner) dowelBores(segment string) string {
	count := map[float64]int{}
	for _, s := range p.pl.Seams.Seams {
		if s.Segments[0] == segment || s.Segments[1] == segment {
			for _, d := range s.Dowels {
				count[d.Diameter]++
			}
		}
	}
	for _, j := range p.pl.Joints.Joints {
		for _, b := range j.Bores {
			if b.Purpose != joint.DowelBore || segmentAt(p.pl, b.Member, b.Mouth.Add(b.Axis)) != segment || len(j.Dowels) == 0 {
				continue
			}
			near := slices.MinFunc(j.Dowels, func(x, y joint.Dowel) int { return cmp.Compare(x.Center.Dist(b.Mouth), y.Center.Dist(b.Mouth)) })
			count[near.Diameter]++
		}
	}
	var out []string
	for _, d := range slices.Sorted(maps.Keys(count)) {
		out = append(out, fmt.Sprintf("%d of %g mm", count[d], d))
	}
	if out == nil {
		return "none"
	}
	return strings.Join(out, ", ")
}

// otherBore warns of bores beside an insert's that are nearly as wide, "" if there
// are none.
func (p *planner) otherBore(b joint.Bore) string {
	const alike, beside = 1.5, 60.0 // mm: on the diameter, and between middles
	segment := segmentAt(p.pl, b.Member, b.Mouth.Add(b.Axis))
	n, near := 0, math.Inf(1)
	for _, o := range p.pl.Joints.Bores() {
		v := o.Mouth.Sub(b.Mouth)
		if o.ID == b.ID || o.Purpose == joint.InsertBore || o.Depth < 1 || o.Axis.Dot(b.Axis) < 0.99 || math.Abs(v.Dot(b.Axis)) > 1 || v.Len() > beside ||
			math.Abs(o.Diameter-b.Diameter) > alike || segmentAt(p.pl, o.Member, o.Mouth.Add(o.Axis)) != segment {
			continue
		}
		n, near = n+1, min(near, v.Len())
	}
	if n == 0 {
		return ""
	}
	s := ""
	for _, k := range p.pl.Joints.Contacts {
		if k.Frame.Origin.Dist(b.Mouth) < 1 {
			s = "the bore in the middle of the face; "
		}
	}
	return s + fmt.Sprintf("%s %s beside it %s a dowel's: no insert goes in", plural(n, "the bore", "those"), p.mm(near), plural(n, "is", "are"))
}

// guideDepth tells how the depth to which an iron may sink is marked on its tip.
func (p *planner) guideDepth(g fixture.Fixture) string {
	sits, _, _ := strings.Cut(g.Words, ",")
	s := fmt.Sprintf("Guide *%s*: %s.", g.ID, strings.ToLower(sits[:1])+sits[1:])
	_, kind, _ := strings.Cut(g.ID, "/")
	size, where, _ := strings.Cut(kind, "-")
	in, ok := p.pl.Shop.Insert(size)
	if !ok || strings.HasPrefix(where, "end") || strings.HasPrefix(where, "counterbore") {
		return s + " You cannot see into it: lift it off and look when the insert is nearly down, and go on."
	}
	return s + fmt.Sprintf(" To see inside how deep the insert is, set the guide on the plain plastic beside the bore first, an insert in it and the cold tip resting in that, and wind tape round the tip's shank: its lower edge stands %s, the length of the insert, above the guide.", p.mm(in.Length))
}

// girth is a length round a core, to be measured.
type girth struct {
	where  string
	length float64
}

// girthIn is how far from a leaf's ends girths are measured, mm.
const girthIn = 20.0

// girths are what is measured round a part that a leaf goes round: near both ends
// of a turning, square to its axis, else in the middle.
func (p *planner) girths(pt veneer.Pattern) []girth {
	l, ok := veneer.Lying(p.pl.Layout)(pt)
	if !ok {
		return nil
	}
	b := pt.Net.Bounds()
	mid := b.Center()
	core := p.pl.Layout.Cores[pt.Member]
	if core.Turning != nil {
		column := section(pt.Net, geom.V2(1, 0), mid.X)
		var out []girth
		for _, y := range []float64{column.Min.Y + girthIn, column.Max.Y - girthIn} {
			at, _ := l.At(geom.V2(mid.X, y))
			v := at.Sub(core.Place.Origin)
			r := v.Sub(core.Place.Z.Scale(v.Dot(core.Place.Z))).Len()
			out = append(out, girth{length: 2 * math.Pi * r})
		}
		low, _ := l.At(geom.V2(mid.X, column.Min.Y))
		high, _ := l.At(geom.V2(mid.X, column.Max.Y))
		names := [2]string{"near its lower end", "near its upper end"}
		if low.Z > high.Z {
			names[0], names[1] = names[1], names[0]
		}
		out[0].where, out[1].where = names[0], names[1]
		return out
	}
	var long float64
	const steps = 720
	last, _ := l.At(geom.V2(b.Min.X, mid.Y))
	for i := range steps {
		at, _ := l.At(geom.V2(b.Min.X+b.Size().X*float64(i+1)/steps, mid.Y))
		long, last = long+at.Dist(last), at
	}
	return []girth{{"in the middle", long}}
}

// section is the bounds of the narrow strip of a region in which n·q is d.
func section(ps geom.Polygons, n geom.Vec2, d float64) geom.Box2 {
	const half = 0.25
	return ps.ClipHalfPlane(n, d+half).ClipHalfPlane(n.Scale(-1), half-d).Bounds()
}

// bandsOf are the patterns of a run of bands in their order.
func bandsOf(pl *plan.Plan, member, surface int) (out []veneer.Pattern) {
	for _, pt := range pl.Patterns {
		if pt.Member == member && pt.Surface == surface {
			out = append(out, pt)
		}
	}
	return out
}

// run is the run of bands that a lap is of, and its number in that.
func (p *planner) run(lap string) (veneer.BandRun, int) {
	for _, r := range p.pl.Layout.Bands {
		if n := slices.Index(r.Laps, lap); n >= 0 {
			return r, n
		}
	}
	return veneer.BandRun{}, -1
}

// over and under are the bands that a lap is made of: whose fingers lie above, and
// whose plain end lies beneath. On a ring of one band both are the same.
func (p *planner) over(lap string) string {
	n := slices.IndexFunc(p.pl.Patterns, func(q veneer.Pattern) bool { return q.Lap == lap })
	if n < 0 {
		return ""
	}
	return p.pl.Patterns[n].ID
}

func (p *planner) under(lap string) string {
	r, n := p.run(lap)
	if n < 0 {
		return ""
	}
	// A ring's lap k lies between bands k-1 and k, that of another run between k and k+1.
	var bands []veneer.Pattern
	for _, pt := range bandsOf(p.pl, r.Member, r.Surface) {
		if pt.ID == r.ID || strings.HasPrefix(pt.ID, r.ID+"/band-") {
			bands = append(bands, pt)
		}
	}
	a, b := n, n+1
	if r.Closed {
		a, b = n+len(bands)-1, n
	}
	if len(bands) == 0 || !r.Closed && b >= len(bands) {
		return ""
	}
	over := p.over(lap)
	for _, i := range []int{a, b} {
		if id := bands[i%len(bands)].ID; id != over {
			return id
		}
	}
	return over
}

// lapWords tell how the laps of bodies that are laid alike are made.
func (p *planner) lapWords(laps []veneer.Lap, order []string) (out []string) {
	l := laps[0]
	var ids []string
	for _, x := range laps {
		ids = append(ids, x.ID)
	}
	pierced := 0
	for _, pt := range p.pl.Patterns {
		if pt.Lap == l.ID {
			pierced = len(pt.Pins)
		}
	}
	out = append(out, fmt.Sprintf("*Laps* (%s), %s long: fingers of one band lie over the plain end of the next. Before you lay a band thin its plain end, on the face, over %s to a feather with P120 on a hard block. %s",
		strings.Join(ids, ", "), p.mm(l.Length), p.mm(l.Feather), map[bool]string{true: "The lap lies flush in the relief of the core.", false: "The lap stands proud by one thickness of veneer: it is meant to."}[l.Relief]))
	var done []string
	for _, x := range laps {
		r, _ := p.run(x.ID)
		if slices.Contains(done, r.ID) {
			continue
		}
		done = append(done, r.ID)
		out = append(out, p.runWords(r, order))
	}
	more := ""
	if n := len(l.Pins) - pierced; n > 0 {
		more = fmt.Sprintf(" Prick %d more where the crosses of the drawing are, %s inside the dashed line: they hold the thinned end, and no hole is pierced there.", n, p.mm(p.pricked(l)))
	}
	stack := p.pl.Layout.Coverings[l.Member][l.Surface].Stack
	out = append(out, fmt.Sprintf("*Pins*, %d in each lap. When both layers are rubbed down, drill through the %d pierced holes of the fingers, and through the layer beneath, into the core, %s wide.%s Drive pins of brass or copper, never of iron, heads level with the wood; they are 6 to 8 mm long: through %s of veneer, and the rest in the print.",
		len(l.Pins), pierced, p.mm(l.Pin), more, p.mm(2*stack)))
	return out
}

// pricked is how far the pins that have no pierced hole lie from the end of the
// band beneath.
func (p *planner) pricked(l veneer.Lap) float64 {
	tip, last := l.Pins[0].X, l.Pins[len(l.Pins)-1].X
	inner := l.At - l.Length/2
	if math.Abs(tip-inner) < math.Abs(tip-(l.At+l.Length/2)) {
		inner = l.At + l.Length/2
	}
	return math.Abs(last - inner)
}

// runWords tell in which order the bands of a run are laid, and where laps lie.
// Fingers whose plain end is not there yet keep their liner until it is.
func (p *planner) runWords(r veneer.BandRun, order []string) string {
	at := func(id string) int { return slices.Index(order, id) }
	var laps []veneer.Lap
	for _, l := range p.pl.Layout.Laps {
		if slices.Contains(r.Laps, l.ID) {
			laps = append(laps, l)
		}
	}
	if len(laps) == 0 {
		return ""
	}
	keep := 10 * math.Ceil((laps[0].Length+5)/10)
	s := "*" + r.ID + ".* "
	if p.over(laps[0].ID) == p.under(laps[0].ID) {
		s += "Begin with the plain end, go round, and lay the fingers over it last."
	} else {
		short := func(id string) string { return strings.TrimPrefix(id, r.ID+"/") }
		var bands []string
		for _, id := range order {
			if slices.ContainsFunc(laps, func(l veneer.Lap) bool { return p.over(l.ID) == id || p.under(l.ID) == id }) {
				bands = append(bands, id)
			}
		}
		for _, id := range bands {
			how := "Lay " + short(id) + ". "
			for _, l := range laps {
				if p.over(l.ID) != id {
					continue
				}
				if at(p.under(l.ID)) > at(id) {
					how = fmt.Sprintf("Lay %s, but leave the liner on its last %s, the fingers: %s, which goes beneath them, is not there yet. ", short(id), p.mm(keep), short(p.under(l.ID)))
				} else {
					how = fmt.Sprintf("Lay %s, its fingers over the plain end of %s. ", short(id), short(p.under(l.ID)))
				}
			}
			s += how
			for _, l := range laps {
				if p.under(l.ID) == id && at(p.over(l.ID)) < at(id) {
					s += fmt.Sprintf("Its plain end goes beneath the fingers of %s: take the last liner off those and lay them down. ", short(p.over(l.ID)))
				}
			}
		}
	}
	for _, l := range laps {
		if w := p.lapPlace(l); w != "" {
			s += " " + w
		}
	}
	return strings.TrimSpace(strings.ReplaceAll(s, "  ", " "))
}

// lapPlace tells where a lap's fingers end, from the nearest seam behind them, and
// which way they point; "" where there is no seam under the band.
func (p *planner) lapPlace(lap veneer.Lap) string {
	n := slices.IndexFunc(p.pl.Patterns, func(q veneer.Pattern) bool { return q.Lap == lap.ID })
	if n < 0 {
		return ""
	}
	pt := p.pl.Patterns[n]
	l, ok := veneer.Lying(p.pl.Layout)(pt)
	if !ok {
		return ""
	}
	b := pt.Net.Bounds()
	var pins float64
	for _, q := range pt.Pins {
		pins += q.X / float64(len(pt.Pins))
	}
	end, back := b.Max.X, -1.0
	if pins < b.Center().X {
		end, back = b.Min.X, 1.0
	}
	const step = 0.5
	point := func(d float64) geom.Vec3 { at, _ := l.At(geom.V2(end+back*d, b.Center().Y)); return at }
	way := ""
	tip, normal := l.At(geom.V2(end, b.Center().Y))
	along := tip.Sub(point(1)).Unit()
	switch right := geom.V3(0, 0, 1).Cross(normal).Dot(along); {
	case right > 0.7:
		way = ", pointing to the right"
	case right < -0.7:
		way = ", pointing to the left"
	case along.Z > 0.7:
		way = ", pointing up"
	case along.Z < -0.7:
		way = ", pointing down"
	}
	first := segmentAt(p.pl, pt.Member, point(0))
	for d := step; d < b.Size().X; d += step {
		if s := segmentAt(p.pl, pt.Member, point(d)); s != first && s != "" && first != "" {
			return fmt.Sprintf("The tips of %s end %s past the seam of %s and %s%s.", lap.ID, p.mm(math.Round(d)), s, first, way)
		}
	}
	return ""
}

// ringWords tell how alike leaves that close on themselves are laid: both edges
// overlap and are cut through in one go, as veneerers joint leaves on the work
// (common practice, no source).
func (p *planner) ringWords(patterns []int) []string {
	pt := p.pl.Patterns[patterns[0]]
	b := pt.Net.Bounds()
	mid := b.Center().Y
	lap := section(pt.Gross, geom.V2(0, 1), mid).Size().X - section(pt.Net, geom.V2(0, 1), mid).Size().X
	var where []string
	var sides []string
	for _, i := range patterns {
		q := p.pl.Patterns[i]
		side := p.closes(q)
		sides = append(sides, side)
		where = append(where, q.ID+" "+side)
	}
	line := "on the side that " + sides[0]
	if slices.ContainsFunc(sides, func(s string) bool { return s != sides[0] }) {
		line = "where the leaf closes: " + strings.Join(where, ", ")
	}
	out := []string{
		fmt.Sprintf("*All round.* The leaf goes once round and meets itself in a butt joint. Draw a pencil line from end to end of the core %s. There is no fence: the line is what you lay by.", line),
		fmt.Sprintf("Wrap it round dry, its arrow as drawn, and hold it with tape. One long edge lies on the line; the other passes over it by about %s; at either end it stands over by %s. If one end runs off the core, the leaf is turned end for end.", p.mm(math.Round(lap)), p.mm(pt.Allowance)),
		fmt.Sprintf("Take it off. Cut through the liner, not the leaf, 15 mm in from the edge that goes on the line and %s in from the other, and take off what lies between. Set the first edge on the line, press the leaf down beside it, and roll the core over the leaf, a hand's breadth at a time, while a second hand keeps it taut. Rub down as you go.", p.mm(math.Round(lap+15))),
		"Now one edge lies over the other, both with their liner. Tape it. With a fresh blade and a steel rule cut through both layers along the middle of the overlap, in one stroke from end to end. Take out the two waste strips and the liners, press both edges down, and rub the joint until it cannot be felt.",
	}
	return out
}

// closes says which way the joint of a leaf that goes round faces.
func (p *planner) closes(pt veneer.Pattern) string {
	l, ok := veneer.Lying(p.pl.Layout)(pt)
	if !ok {
		return "the drawing shows"
	}
	mid := pt.Net.Bounds().Center().Y
	at, n := l.At(geom.V2(section(pt.Net, geom.V2(0, 1), mid).Min.X, mid))
	all := geom.EmptyBox3()
	for _, s := range p.pl.Cores.Segments {
		all = all.Union(s.Bounds)
	}
	in := all.Center().Sub(at)
	in.Z, n.Z = 0, 0
	if in.Len() > 1 && n.Len() > 0.1 {
		switch c := in.Unit().Dot(n.Unit()); {
		case c > 0.85:
			return "faces inward, to the middle of the piece"
		case c < -0.85:
			return "faces outward, away from the middle of the piece"
		}
	}
	const some = 0.38 // sin 22.5°
	var ways []string
	if n.Len() > 0.1 {
		u := n.Unit()
		if math.Abs(u.Y) > some {
			ways = append(ways, map[bool]string{true: "the front", false: "the back"}[u.Y < 0])
		}
		if math.Abs(u.X) > some {
			ways = append(ways, map[bool]string{true: "the left", false: "the right"}[u.X < 0])
		}
	}
	return "faces " + and(ways)
}

// square tells how a frame is seen to be square before its glue sets: by the two
// diagonals over its outer corners, if they can be told from the members' outlines.
func (p *planner) square(bodies []string) string {
	plain := "Before it sets, see that " + p.the(bodies) + " lie flat on the board, and that every joint closes all along: one that gapes at an end tells that the frame leans."
	type point struct {
		at  geom.Vec3
		of  string
		cut bool // of a member that ends are cut off: the corner may be gone
	}
	var points []point
	box := geom.EmptyBox3()
	for _, id := range bodies {
		n := p.bodyIndex(id)
		if n < 0 {
			return plain
		}
		for _, m := range p.pl.Seams.Bodies[n].Members {
			member := p.pl.Piece.Members[m]
			if member.Board == nil {
				return plain
			}
			for _, q := range member.Board.Outline.Path.Flatten(0.05) {
				for _, z := range []float64{0, member.Board.Thickness} {
					at := member.Place.Point(geom.V3(q.P.X, q.P.Y, z))
					points, box = append(points, point{at, id, len(member.EndCuts) > 0}), box.Add(at)
				}
			}
		}
	}
	// The frame lies in the plane of its two larger measures, one of them upright.
	size := box.Size()
	across, names := geom.V3(1, 0, 0), [2]string{"left", "right"}
	if size.Y > size.X {
		across, names = geom.V3(0, 1, 0), [2]string{"front", "back"}
	}
	if size.Z < 100 || size.Dot(across) < 100 {
		return plain
	}
	// Where corners meet, the one that is there for certain.
	slices.SortStableFunc(points, func(a, b point) int { return map[bool]int{true: 1}[a.cut] - map[bool]int{true: 1}[b.cut] })
	flat := func(v geom.Vec3) geom.Vec2 { return geom.V2(v.Dot(across), v.Z) }
	corner := func(x, z float64) (point, bool) {
		value := func(q point) float64 { return math.Round(flat(q.at).Dot(geom.V2(x, z)) * 1e6) }
		best := slices.MaxFunc(points, func(a, b point) int { return cmp.Compare(value(a), value(b)) })
		for _, q := range points { // a rounded corner is not sharp enough to measure from
			if d := flat(q.at).Dist(flat(best.at)); d > 1e-6 && d < 3 {
				return point{}, false
			}
		}
		return best, !best.cut
	}
	var c [4]point
	for i, way := range []geom.Vec2{{X: -1, Y: -1}, {X: 1, Y: 1}, {X: 1, Y: -1}, {X: -1, Y: 1}} {
		q, ok := corner(way.X, way.Y)
		if !ok {
			return plain
		}
		c[i] = q
	}
	if c[0].of == c[2].of || c[1].of == c[3].of {
		return plain
	}
	bodies = slices.Clone(bodies)
	slices.SortFunc(bodies, func(a, b string) int { return cmp.Compare(p.bodyIndex(a), p.bodyIndex(b)) })
	return fmt.Sprintf("Before it sets, measure both diagonals of "+and(bodies)+" over the outermost corners, in the plane of the frame: from below at the %s (%s) to above at the %s (%s) %s, from below at the %s (%s) to above at the %s (%s) %s. Push the longer one shorter.",
		names[0], c[0].of, names[1], c[1].of, p.mm(flat(c[0].at).Dist(flat(c[1].at))), names[1], c[2].of, names[0], c[3].of, p.mm(flat(c[2].at).Dist(flat(c[3].at))))
}

// frames are bodies in groups that glued joints hold together, in order.
func (p *planner) frames(bodies, joints []string) (out [][]string) {
	for _, b := range bodies {
		out = append(out, []string{b})
	}
	find := func(id string) int {
		return slices.IndexFunc(out, func(g []string) bool { return slices.Contains(g, id) })
	}
	for _, j := range p.pl.Joints.Joints {
		if !slices.Contains(joints, j.ID) {
			continue
		}
		a, b := p.bodiesOf(j)
		x, y := find(a), find(b)
		if x < 0 || y < 0 || x == y {
			continue
		}
		x, y = min(x, y), max(x, y)
		out[x] = append(out[x], out[y]...)
		out = slices.Delete(out, y, y+1)
	}
	return out
}

// steady tells how parts are held that do not stand by themselves when others are
// put on them: loose is how many of either side nothing joins yet.
func (p *planner) steady(moving, onto []string, links [][2]string) []string {
	loose := func(bodies []string) int {
		group := map[string]string{}
		var root func(id string) string
		root = func(id string) string {
			if g, ok := group[id]; ok && g != id {
				return root(g)
			}
			return id
		}
		for _, l := range links {
			group[root(l[0])] = root(l[1])
		}
		var roots []string
		for _, b := range bodies {
			if r := root(b); !slices.Contains(roots, r) {
				roots = append(roots, r)
			}
		}
		return len(roots)
	}
	one, several := moving, onto
	if loose(one) > loose(several) {
		one, several = several, one
	}
	if loose(several) < 2 || loose(one) != 1 {
		return nil
	}
	return []string{fmt.Sprintf("%s are loose and do not stand by themselves. Stand %s on edge, on a soft cloth, and put them on one at a time, each with its screws by three turns, before the next; or have a second person hold them.", upper(p.the(several)), p.the(one))}
}

func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// deep is how deep a bore is. Where it opens into a face that is veneered its depth
// counts from the finished face, and the bare core, which one measures, has less.
func (p *planner) deep(b joint.Bore) string {
	if b.Shows && b.Surface >= 0 {
		if stack := p.pl.Layout.Coverings[b.Member][b.Surface].Stack; stack > 0 {
			return fmt.Sprintf("%s deep from the finished face, %s in the bare core", p.mm(b.Depth), p.mm(b.Depth-stack))
		}
	}
	return p.mm(b.Depth) + " deep"
}
