package sheet

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/nest"
	"groundwork/internal/veneer"
)

// Clash is something that a layout may not have. Like everything in a Result it
// is told as the blank lies on the bed, seen from the show face, even if the job
// is cut face down and its drawings are mirrored.
type Clash struct {
	Kind     ClashKind
	Patterns []string // IDs: first the one that is asked about
	// Clear is the shortest way along the blank's edges on which the first pattern
	// gets clear of what it meets, without leaving the blank if that can be, mm, to
	// the hundredth; zero when no way helps.
	Clear   geom.Vec2
	By      float64 // length of Clear, mm; of TurnClash the angle back to the grain, radians
	Message string
}

// ClashKind says what meets.
type ClashKind string

const (
	OverlapClash  ClashKind = "overlap"  // two patterns share area
	GapClash      ClashKind = "gap"      // two patterns closer than kerf and gap
	BorderClash   ClashKind = "border"   // a pattern beyond the blank less its border
	ReservedClash ClashKind = "reserved" // a pattern on a reserved area or within the gap round it
	TurnClash     ClashKind = "turn"     // a pattern turned against the grain
	BlankClash    ClashKind = "blank"    // a blank that there is not, or of another veneer
)

// Clashes says what patterns meet when some are moved: whom, and by how much.
// Each is judged at its new place, on any blank of the result (-1 takes it off),
// against the others there, the border and the reserved areas of the sheet, by
// the outlines and the integer arithmetic that layouts are verified with; five
// micrometres are let pass, which a layout may lose when it is told in other
// coordinates. Without moves all patterns are judged. A clash of two moved
// patterns is told once.
func (r *Result) Clashes(patterns []veneer.Pattern, moves ...Placement) []Clash {
	now := slices.Clone(r.Placements)
	asked := make([]bool, len(now))
	var out []Clash
	for _, m := range moves {
		if m.Pattern < 0 || m.Pattern >= len(now) {
			out = append(out, Clash{Kind: BlankClash, Message: fmt.Sprintf("There is no pattern number %d.", m.Pattern)})
			continue
		}
		now[m.Pattern], asked[m.Pattern] = m, true
	}
	touched := map[int]bool{}
	for i := range now {
		asked[i] = asked[i] || len(moves) == 0
		if asked[i] {
			touched[now[i].Blank] = true
		}
	}
	gap := max(0, r.Gap-slack)
	// Most are far from what is moved: boxes tell, and only the others are laid.
	boxes := make([]geom.Box2, len(now))
	for i, p := range now {
		if touched[p.Blank] && p.Blank >= 0 {
			boxes[i] = r.Outline(patterns, p).Bounds()
		}
	}
	close := func(i, j int) bool { return boxes[i].Grow(r.Gap + slack).Overlaps(boxes[j]) }
	laid := make([]*nest.Laid, len(now))
	for i, p := range now {
		if !touched[p.Blank] || p.Blank < 0 {
			continue
		}
		met := asked[i]
		for j := range now {
			met = met || asked[j] && now[j].Blank == p.Blank && close(i, j)
		}
		if !met {
			continue
		}
		pat := patterns[i]
		if p.Blank >= len(r.Blanks) {
			out = append(out, Clash{Kind: BlankClash, Patterns: []string{pat.ID}, Message: fmt.Sprintf("There is no blank number %d for %s.", p.Blank+1, pat.ID)})
			continue
		}
		l, err := nest.Lay(pat.Gross, p.Turn, p.At)
		if err != nil {
			if asked[i] {
				out = append(out, Clash{Kind: BorderClash, Patterns: []string{pat.ID}, Message: fmt.Sprintf("%s cannot be laid at (%g, %g) mm: %v.", pat.ID, p.At.X, p.At.Y, err)})
			}
			continue
		}
		laid[i] = &l
	}
	areas := map[int][]nest.Laid{}
	names := map[int][]string{}
	for i, p := range now {
		if !asked[i] || laid[i] == nil {
			continue
		}
		if _, known := areas[p.Blank]; !known {
			areas[p.Blank], names[p.Blank] = r.areas(p.Blank)
		}
		out = append(out, r.alone(patterns[i], p, *laid[i], areas[p.Blank], names[p.Blank])...)
		for j, q := range now {
			if j == i || laid[j] == nil || q.Blank != p.Blank || asked[j] && j < i || !close(i, j) {
				continue
			}
			a, b := patterns[i].ID, patterns[j].ID
			switch laid[i].Meets(*laid[j], gap) {
			case nest.Overlap:
				way := laid[i].Clear(*laid[j], r.Gap, r.inner(p.Blank))
				out = append(out, Clash{OverlapClash, []string{a, b}, way, way.Len(), fmt.Sprintf("%s lies on %s: it comes clear %s.", a, b, inWords(way))})
			case nest.Near:
				way := laid[i].Clear(*laid[j], r.Gap, r.inner(p.Blank))
				out = append(out, Clash{GapClash, []string{a, b}, way, way.Len(), fmt.Sprintf("%s lies closer than %.2f mm (kerf and gap) to %s: it comes clear %s.", a, r.Gap, b, inWords(way))})
			}
		}
	}
	return out
}

// areaOn is a reserved area as far as it lies on a blank, as that lies on the bed.
type areaOn struct {
	geom.Box2
	name string
}

// reservedAreas are those of a blank's sheet that lie on the blank.
func (r *Result) reservedAreas(blank int) (out []areaOn) {
	b := r.Blanks[blank]
	if b.Sheet < 0 || b.Sheet >= len(r.Sheets) {
		return nil
	}
	for _, k := range r.Sheets[b.Sheet].Reserved {
		box := geom.EmptyBox2().Add(r.OnBlank(blank, k.box().Min)).Add(r.OnBlank(blank, k.box().Max))
		box.Min, box.Max = geom.V2(max(0, box.Min.X), max(0, box.Min.Y)), geom.V2(min(b.Size.X, box.Max.X), min(b.Size.Y, box.Max.Y))
		if box.Max.X-box.Min.X >= slack && box.Max.Y-box.Min.Y >= slack { // else only their edges meet
			out = append(out, areaOn{box, k.name()})
		}
	}
	return out
}

// areas are the same as outlines, and what they are.
func (r *Result) areas(blank int) (out []nest.Laid, names []string) {
	for _, k := range r.reservedAreas(blank) {
		if a, err := nest.Lay(geom.Polygons{rectangle(k.Box2)}, 0, geom.Vec2{}); err == nil {
			out, names = append(out, a), append(names, k.name)
		}
	}
	return out, names
}

// alone judges a pattern against its blank.
func (r *Result) alone(pat veneer.Pattern, p Placement, l nest.Laid, areas []nest.Laid, names []string) (out []Clash) {
	b := r.Blanks[p.Blank]
	add := func(kind ClashKind, way geom.Vec2, by float64, format string, args ...any) {
		out = append(out, Clash{kind, []string{pat.ID}, way, by, fmt.Sprintf(format, args...)})
	}
	if b.Veneer != pat.Veneer {
		add(BlankClash, geom.Vec2{}, 0, "%s is of %s, and %s is a blank of %s.", pat.ID, pat.Veneer, b.ID, b.Veneer)
	}
	turn := pat.Grain + p.Turn - b.Grain
	allowed, what := math.Pi, "with the grain"
	if r.figure[pat.Veneer] == "directional" {
		allowed, what = 2*math.Pi, "with the grain, one way round"
	}
	const near = 0.5 * math.Pi / 180 // as a pin is snapped
	if off := math.Remainder(turn, allowed); math.Abs(off) > near {
		add(TurnClash, geom.Vec2{}, math.Abs(off), "%s lies %.1f degrees off: it must lie %s.", pat.ID, math.Abs(off)*180/math.Pi, what)
	}
	if way, fits := l.Beyond(r.inner(p.Blank)); !fits {
		add(BorderClash, geom.Vec2{}, 0, "%s is larger than %s less its border of %.0f mm.", pat.ID, b.ID, r.Border)
	} else if way.Len() > 0 {
		add(BorderClash, way, way.Len(), "%s reaches beyond %s or into its border of %.0f mm: it comes back %s.", pat.ID, b.ID, r.Border, inWords(way))
	}
	for i, a := range areas {
		if l.Meets(a, max(0, r.Gap-slack)) != nest.Apart {
			way := l.Clear(a, r.Gap, r.inner(p.Blank))
			add(ReservedClash, way, way.Len(), "%s lies on a %s of the sheet, or closer to it than %.2f mm: it comes clear %s.", pat.ID, names[i], r.Gap, inWords(way))
		}
	}
	return out
}

// inner is where patterns may lie on a blank.
func (r *Result) inner(blank int) geom.Box2 {
	m := geom.V2(r.Border-slack, r.Border-slack)
	return geom.Box2{Min: m, Max: r.Blanks[blank].Size.Sub(m)}
}

// inWords is a way in words.
func inWords(way geom.Vec2) string {
	across, up := "", ""
	if way.X != 0 {
		across = fmt.Sprintf("%.2f mm to the %s", math.Abs(way.X), map[bool]string{true: "left", false: "right"}[way.X < 0])
	}
	if way.Y != 0 {
		up = fmt.Sprintf("%.2f mm %s", math.Abs(way.Y), map[bool]string{true: "down", false: "up"}[way.Y < 0])
	}
	if across != "" && up != "" {
		return across + " and " + up
	}
	return cmp.Or(across, up, "nowhere")
}
