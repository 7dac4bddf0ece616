package stability

import (
	"fmt"
	"math"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/unit"
)

// Inputs are a piece as it stands.
type Inputs struct {
	Use    piece.Use
	Body   Body
	Height float64 // mm, of its highest point
	Held   string  // what it is held by, as "back of back"; "" for a piece that stands on the floor
	Rims   []Rim
	Own    []Force // loads of the piece file, each by itself
	Floor  float64 // height of its lowest point, mm
}

// Result is what was found.
type Result struct {
	Stance   Stance // "" for a piece that is held
	Tips     []Tip  // about each side, under the last of Tests
	Tests    []Test
	Worst    []Tip   // under each of Tests, where there are rims
	Lean     float64 // radians: slope on which it tips unloaded
	Push     float64 // N: level push at its full height that tips it unloaded
	Findings []finding.Finding
}

// Judge says whether a piece stands and what tips it.
func Judge(in Inputs) *Result {
	r := &Result{}
	if in.Held != "" {
		r.note(finding.Note, "held", fmt.Sprintf("The piece is held by %s and stands on nothing, so whether it tips is not asked; what holds it must bear its %s and all loads.", in.Held, unit.FormatMass(in.Body.Mass)),
			"Fix it with fasteners meant for that wall and that load.", "statics")
		return r
	}
	r.Stance = in.Body.Stance()
	switch r.Stance {
	case Nowhere, OnPoint, OnLine:
		r.lies(in)
		return r
	case Topples:
		r.topples(in)
		return r
	}
	way := in.Body.Weakest()
	r.Lean, r.Push = in.Body.Lean(way), in.Body.Push(way, in.Height)
	r.note(finding.Note, "lean", fmt.Sprintf(
		"Unloaded it tips on a slope of %s, or when %s push level at its full height of %.0f mm, either way %s, where it tips most easily.",
		unit.FormatAngle(r.Lean), unit.FormatForce(r.Push), in.Height, towards(way)), "", "statics; no published limit is applied")
	r.edges(in)
	r.own(in)
	r.storage(in)
	return r
}

func (r *Result) note(s finding.Severity, code, message, remedy, source string) {
	r.Findings = append(r.Findings, finding.Finding{Severity: s, Stage: "stability", Code: code, Subject: "piece", Message: message, Remedy: remedy, Source: source})
}

// lies tells of a piece without a support polygon.
func (r *Result) lies(in Inputs) {
	s := finding.Stop
	if in.Use == piece.Shelf || in.Use == piece.Other {
		s = finding.Warning // it may hang
	}
	message := fmt.Sprintf("The piece does not stand: %s at Z = 0", r.Stance)
	if r.Stance == Nowhere {
		message += fmt.Sprintf("; its lowest point is at %.1f mm", in.Floor)
	}
	r.note(s, "no-support", message+".", "Move its members so that the feet stand at Z = 0, not all in one line; or, if it hangs, name under held: the surface that it is held by.", "geometry")
}

func (r *Result) topples(in Inputs) {
	worst := math.Inf(1)
	var way geom.Vec2
	for _, s := range in.Body.sides() {
		if s.arm < worst {
			worst, way = s.arm, s.out
		}
	}
	var remedies []string
	if mm, ok := in.Body.Wider(nil, nil); ok {
		if mm = math.Ceil(mm + 1); in.Body.Spread(mm).Stance() == Stands {
			remedies = append(remedies, fmt.Sprintf("Set every foot at least %.0f mm farther from the middle", mm))
		}
	}
	remedies = append(remedies, "move weight the other way")
	r.note(finding.Stop, "falls-over", fmt.Sprintf("The piece falls over by itself: its centre of mass lies %.0f mm outside its feet, %s.", -worst, towards(way)),
		strings.Join(remedies, "; or ")+".", "statics")
}

// edges presses on the edges of all rims.
func (r *Result) edges(in Inputs) {
	r.Tests = Tests(in.Use)
	for _, t := range r.Tests {
		r.Tips = in.Body.Tips(in.Rims, t)
		w, ok := Worst(r.Tips)
		if !ok {
			continue
		}
		r.Worst = append(r.Worst, w)
		r.edge(in, t, w)
	}
	if len(r.Tests) > 0 && len(r.Worst) == 0 {
		r.note(finding.Warning, "no-rim", fmt.Sprintf("No surface was found on this %s whose edge could be pressed on, so what tips it was not asked.", in.Use), "Look whether its top is level.", "geometry")
	}
}

func (r *Result) edge(in Inputs, t Test, w Tip) {
	rim := in.Rims[w.Rim].Name
	source := t.Source + "; statics, in every direction"
	if math.IsInf(w.Margin, 1) {
		r.note(finding.Note, t.ID, fmt.Sprintf("No load %.0f mm in from an edge can tip the piece: everything that can be pressed on lies within its feet (compared with %s).", t.Inset, t.What), "", source)
		return
	}
	way := w.Edge[1].Sub(w.Edge[0]).Right().Unit()
	pushed := ""
	if t.Out > 0 {
		pushed = fmt.Sprintf(" while %s push outward", unit.FormatForce(t.Out))
	}
	stands := fmt.Sprintf("where it overhangs the feet by %.0f mm", w.Overhang)
	if w.Overhang <= 0 {
		stands = fmt.Sprintf("%.0f mm inside the feet", -w.Overhang)
	}
	force := fmt.Sprintf("%s pressed down", unit.FormatForce(w.Force))
	if math.IsInf(w.Force, 1) {
		force = "No load pressed down"
	}
	verb := "tip"
	if math.IsInf(w.Force, 1) {
		verb = "tips"
	}
	message := fmt.Sprintf("%s%s on the edge of %s, %s, %s the piece %s. Margin %s against %s; it weighs %s.",
		force, pushed, rim, stands, verb, towards(way), margin(w.Margin), t.What, unit.FormatMass(in.Body.Mass))
	if w.Margin >= 1 {
		r.note(finding.Note, t.ID, message, "", source)
		return
	}
	remedy := r.remedy(in, t)
	if !t.Judged {
		if remedy != "" {
			message += " To bear it: " + remedy
		}
		r.note(finding.Note, t.ID, message+" This load is told for comparison, without a verdict.", "", source)
		return
	}
	r.note(finding.Warning, t.ID, message, remedy, source)
}

// remedy lists what would bear a test, each verified by working it out again.
func (r *Result) remedy(in Inputs, t Test) string {
	b, tests := in.Body, []Test{t}
	var out []string
	if mm, ok := b.Wider(in.Rims, tests); ok {
		if mm = math.Ceil(mm); b.Spread(mm).Bears(in.Rims, tests) {
			out = append(out, fmt.Sprintf("set every foot %.0f mm farther from the middle", mm))
		}
	}
	at := b.Middle()
	low := geom.V3(at.X, at.Y, in.Floor)
	if g, ok := b.Ballast(low, in.Rims, tests); ok {
		if g = math.Ceil(g/100) * 100; b.Ballasted(g, low).Bears(in.Rims, tests) {
			out = append(out, fmt.Sprintf("put %s of ballast low in its middle", unit.FormatMass(g)))
		}
	}
	rims := b.failing(in.Rims, tests)
	if mm, ok := b.Smaller(rims, tests); ok && len(rims) > 0 {
		var names []string
		var cut []Rim
		for _, rim := range rims {
			names, cut = append(names, rim.Name), append(cut, rim.cutBack(math.Ceil(mm)))
		}
		if b.Bears(cut, tests) {
			out = append(out, fmt.Sprintf("make %s %.0f mm smaller all round, weighing the same", strings.Join(names, " and "), math.Ceil(mm)))
		}
	}
	if len(out) == 0 {
		return "Fix it to the wall or the floor."
	}
	s := strings.Join(out, "; or ") + "."
	return strings.ToUpper(s[:1]) + s[1:]
}

// own judges the loads of the piece file.
func (r *Result) own(in Inputs) {
	for _, f := range in.Own {
		m := in.Body.Margin(f)
		if math.IsInf(m, 1) {
			continue
		}
		message := fmt.Sprintf("The load %q (%s) tips the piece with a margin of %s.", f.ID, unit.FormatForce(f.N.Len()), margin(m))
		if m >= 1 {
			r.note(finding.Note, "own-load", message, "", "statics; the piece file")
			continue
		}
		remedy := "Move the load inward; or fix the piece to the wall."
		if len(in.Body.Support) >= 3 {
			if mm, ok := least(func(mm float64) bool { return in.Body.Spread(mm).Margin(f) >= 1 }); ok && in.Body.Spread(math.Ceil(mm)).Margin(f) >= 1 {
				remedy = fmt.Sprintf("Set every foot %.0f mm farther from the middle; or move the load inward.", math.Ceil(mm))
			}
		}
		r.note(finding.Warning, "own-load", message, remedy, "statics; the piece file")
	}
}

// storage tells of rules for tall units, which nothing here applies.
func (r *Result) storage(in Inputs) {
	if in.Use == piece.Table || in.Use == piece.Seat {
		return
	}
	if testedByStorageRule(in.Height, in.Body.Mass) {
		r.note(finding.Warning, "tall", fmt.Sprintf("%.0f mm high and %s empty, it is of a size for which EN 14749 asks for a test of stability, with loads that are not known here.", in.Height, unit.FormatMass(in.Body.Mass)),
			"Fix it to the wall.", "EN 14749:2016 on when to test, from a secondary source")
	}
	if in.Height >= clothingHeight && in.Body.Mass >= clothingMass {
		at := min(in.Height, clothingHand)
		r.note(finding.Note, "clothing", fmt.Sprintf(
			"If it is made to keep clothing in %.1f dm³ or more, ASTM F2057-23 (16 CFR 1261) covers it, and nothing here answers for that. It takes %s pushed level at %.0f mm to tip it; one of that standard's situations has %.0f N.",
			clothingVolume, unit.FormatForce(in.Body.Push(in.Body.Weakest(), at)), at, clothingPush),
			"Fix it to the wall; and have it tested if it is for clothing.", "abstract of ASTM F2057-23 for the scope; the force from memory")
	}
}

// margin is written rounded down, so that what falls short never reads 1.
func margin(m float64) string { return fmt.Sprintf("%.2f", math.Floor(m*100)/100) }

// towards names a way as seen from the front.
func towards(way geom.Vec2) string {
	names := []string{"to the right", "to the back right", "to the back", "to the back left", "to the left", "to the front left", "to the front", "to the front right"}
	i := int(math.Round(way.Angle()/(math.Pi/4))+8) % 8
	return names[i]
}
