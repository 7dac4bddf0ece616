package shop

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"groundwork/internal/given"
)

// Change is one value of a shop file that a measurement replaced.
type Change struct {
	Pointer string // JSON Pointer (RFC 6901): "/fits/hole"
	Key     string // for people: "hole fit"
	From    string // as it stood in the file, "" if it was left out
	To      string
	Why     string // how it follows from what was measured
}

// Apply takes what was measured over into a shop file: only the values that the
// form changes are rewritten, every other byte stays, and so do the comments. A
// value that agrees with the shop's within what can be measured is left alone, so
// that applying a form twice changes nothing more.
//
// What cannot be true is refused: the error is then Errors, with the lines of the
// form, and nothing is changed. Limits of plausibility are common practice,
// without a source, unless a reason stands beside them.
func Apply(shopText []byte, m *Measured) ([]byte, []Change, error) {
	s, err := Parse("the shop file", shopText)
	if err != nil {
		return nil, nil, fmt.Errorf("applying what was measured: %w", err)
	}
	a := &applying{shop: s, faults: &given.Faults{File: m.File}, hole: s.Fits.Hole}
	a.shrink(m.Shrink)
	a.twice(m)
	a.holes(m.Holes) // before what is tried in holes
	a.dowels(m.Dowels)
	a.inserts(m.Inserts)
	a.plugs(m.Plugs)
	a.kerfs(m.Kerfs)
	a.bends(m.Bends)
	a.neutrals(m.Neutrals)
	if err := a.faults.Err(); err != nil {
		return nil, nil, err
	}
	out := shopText
	var changes []Change
	for _, w := range a.wanted {
		next, c, err := w.write(out)
		if err != nil {
			return nil, nil, fmt.Errorf("applying what was measured: %w", err)
		}
		out, changes = next, append(changes, c)
	}
	if len(changes) == 0 {
		return shopText, nil, nil
	}
	if _, err := Parse("the shop file", out); err != nil {
		return nil, nil, fmt.Errorf("applying what was measured: the shop would not be sound any more: %w", err)
	}
	return out, changes, nil
}

// applying is one run of Apply.
type applying struct {
	shop   *Shop
	faults *given.Faults
	hole   float64 // by how much printed holes come out small: measured, or else the shop's
	shrunk float64 // by how much the form changes the shrinkage across the bed of its first filament, which the other coupons are printed in
	wanted []wanted
}

// wanted is a value that is to stand in the shop file.
type wanted struct {
	keys     []string
	key      string
	value    string
	why      string
	siblings []string // of an entry of a list that may be missing as a whole: all its entries
}

// want notes a value, unless the shop's own is as good as measuring can tell.
func (a *applying) want(now, value, step float64, decimals int, unit, key, why string, keys ...string) {
	if math.Abs(now-value) <= step/2*(1+1e-9) {
		return
	}
	a.wanted = append(a.wanted, wanted{keys: keys, key: key, value: strconv.FormatFloat(value+0, 'f', decimals, 64) + unit, why: why})
}

func (a *applying) refuse(r Reading, remedy, format string, args ...any) {
	a.faults.Add(r.Place, remedy, format, args...)
}

const again = "measure it again; or leave it blank"

// shrink: what was sent to the printer is drawn / (1 - printed_with), and what
// came out is that times (1 - shrink).
func (a *applying) shrink(entries []ShrinkReading) {
	seen := names{}
	for _, e := range entries {
		i := slices.IndexFunc(a.shop.Filaments, func(f Filament) bool { return f.ID == e.Filament.Value })
		if i < 0 {
			a.unknown(e.Filament, "filament")
			continue
		}
		if !a.single(seen, e.Filament.Place, e.Filament.Value) {
			continue
		}
		now := [3]float64{a.shop.Filaments[i].Shrink.X, a.shop.Filaments[i].Shrink.Y, a.shop.Filaments[i].Shrink.Z}
		var got [3]float64
		var all [3]string
		read := [3]Reading{e.X, e.Y, e.Z}
		for k, axis := range []string{"x", "y", "z"} {
			drawn, m := [3]Reading{e.DrawnX, e.DrawnY, e.DrawnZ}[k], read[k]
			got[k] = now[k]
			if m.Read {
				with := e.PrintedWith[k].Value
				got[k] = rounded(1-m.Value/drawn.Value*(1-with), 1e4)
				// The shop file itself takes -2 % to 5 %; of the plastics that are printed
				// polypropylene shrinks most, about 2 % (from memory), and none grows.
				if got[k] < -0.005 || got[k] > 0.03 {
					a.refuse(m, again, "%s would shrink by %.2f %% along %s, drawn at %s mm and measured at %s mm; plastics shrink by 0 to 3 %%",
						e.Filament.Value, got[k]*100, axis, num(drawn.Value), num(m.Value))
					return
				}
			}
			all[k] = strconv.FormatFloat(got[k]+0, 'f', -1, 64)
		}
		if e.X.Read && e.Y.Read && math.Abs(got[0]-got[1]) > 0.01 {
			a.refuse(e.Y, "measure both again, and see that the belts are tight", "%s would shrink by %.2f %% along x and %.2f %% along y; they differ by more than a percent", e.Filament.Value, got[0]*100, got[1]*100)
			continue
		}
		if len(seen) == 1 {
			a.shrunk = max(math.Abs(got[0]-now[0]), math.Abs(got[1]-now[1]))
		}
		for k, axis := range []string{"x", "y", "z"} {
			if !read[k].Read {
				continue
			}
			before := len(a.wanted)
			drawn := [3]Reading{e.DrawnX, e.DrawnY, e.DrawnZ}[k].Value
			a.want(now[k], got[k], 1e-4, -1, "", "shrinkage of "+e.Filament.Value+" along "+axis,
				fmt.Sprintf("1 - %s/%s, printed with %s", num(read[k].Value), num(drawn), num(e.PrintedWith[k].Value)),
				"filaments", strconv.Itoa(i), "shrink", strconv.Itoa(k))
			if len(a.wanted) > before {
				a.wanted[before].siblings = all[:]
			}
		}
	}
}

// twice refuses what was tried in holes that came out small by a shrinkage which
// the same form enters: once it stands in the shop, holes are sent wider, and the
// fit would make them wider again. 0.2 % is 0.02 mm on 8 mm, less than a step.
func (a *applying) twice(m *Measured) {
	if a.shrunk <= 0.002+1e-9 {
		return
	}
	var tried []Reading
	for _, e := range m.Holes {
		tried = append(tried, e.Measured)
	}
	for _, e := range m.Dowels {
		tried = append(tried, e.Glued, e.Loose)
	}
	for _, e := range m.Inserts {
		tried = append(tried, e.Best)
	}
	for _, e := range m.Plugs {
		tried = append(tried, e.Best)
	}
	for _, r := range tried {
		if r.Read {
			a.refuse(r, "leave holes, dowels, inserts and plugs blank, enter the shrinkage, and print these coupons again",
				"its coupon was printed before a shrinkage was entered that this form changes by %.2f %%, which would count twice", a.shrunk*100)
			return
		}
	}
}

func (a *applying) holes(entries []HoleReading) {
	var small []float64
	var last Reading
	for _, e := range entries {
		if !e.Measured.Read {
			continue
		}
		d := e.Drawn.Value - e.Measured.Value
		if d < -0.1 || d > 0.6 { // 0.1 to 0.2 mm is usual
			a.refuse(e.Measured, again, "a hole drawn at %s mm measures %s mm; printed holes come out 0 to 0.6 mm small", num(e.Drawn.Value), num(e.Measured.Value))
			return
		}
		small, last = append(small, d), e.Measured
	}
	mean, ok := a.mean(small, last, 0.25, "by how much holes come out small")
	if !ok {
		return
	}
	a.hole = max(0, hundredth(mean))
	a.want(a.shop.Fits.Hole, a.hole, 0.01, 2, " mm", "hole fit", fmt.Sprintf("the mean of %d holes, drawn less measured", len(small)), "fits", "hole")
}

// mean of values that ought to be one; false if there are none, or if they
// differ too much to be.
func (a *applying) mean(v []float64, at Reading, spread float64, what string) (float64, bool) {
	if len(v) == 0 {
		return 0, false
	}
	lo, hi, sum := v[0], v[0], 0.0
	for _, x := range v {
		lo, hi, sum = min(lo, x), max(hi, x), sum+x
	}
	if hi-lo > spread+1e-9 {
		a.refuse(at, "measure them all again; or leave the odd one blank", "%s differs by %s mm among the coupons, from %s to %s mm", what, num(hi-lo), num(lo), num(hi))
		return 0, false
	}
	return sum / float64(len(v)), true
}

// step is the diameter, as drawn, of the hole that a reading names.
func (a *applying) step(r Reading, s Steps) (float64, bool) {
	if r.Value != math.Trunc(r.Value) || r.Value < 1 || r.Value > s.Count.Value {
		a.refuse(r, "write the number that stands beside the hole", "the coupon has holes 1 to %s, and none %s", num(s.Count.Value), num(r.Value))
		return 0, false
	}
	return s.Diameter(r.Value), true
}

func (a *applying) dowels(entries []DowelReading) {
	var glued, loose []float64
	var lastGlued, lastLoose Reading
	for _, e := range entries {
		if slices.IndexFunc(a.shop.Dowels, func(d Dowel) bool { return math.Abs(d.Diameter-e.Dowel.Value) < 0.5 && d.Printed == e.Printed.Value }) < 0 {
			a.refuse(e.Dowel, "enter it in the shop file first", "the shop has no dowel of %s mm", num(e.Dowel.Value))
			continue
		}
		gap := func(r Reading) (float64, bool) {
			d, ok := a.step(r, e.Steps)
			if !ok {
				return 0, false
			}
			g := d - a.hole - e.Dowel.Value
			if g < -0.3 || g > 0.9 {
				a.refuse(r, "try the dowel again; measure the dowel, which swells", "hole %s would leave a dowel of %s mm a gap of %.2f mm; -0.3 to 0.9 mm can be true", num(r.Value), num(e.Dowel.Value), g)
				return 0, false
			}
			return g, true
		}
		if e.Glued.Read && e.Loose.Read && e.Loose.Value < e.Glued.Value {
			a.refuse(e.Loose, "try both again", "the dowel of %s mm slides dry in hole %s, which is tighter than hole %s that it is glued in", num(e.Dowel.Value), num(e.Loose.Value), num(e.Glued.Value))
			continue
		}
		if e.Glued.Read {
			if g, ok := gap(e.Glued); ok {
				glued, lastGlued = append(glued, g), e.Glued
			}
		}
		if e.Loose.Read {
			if g, ok := gap(e.Loose); ok {
				loose, lastLoose = append(loose, g), e.Loose
			}
		}
	}
	const spread = 0.3 // dowels of several sizes, bought and printed, share one gap
	if g, ok := a.mean(glued, lastGlued, spread, "the gap of glued dowels"); ok {
		a.want(a.shop.Fits.GluedDowel, max(0, hundredth(g)), 0.01, 2, " mm", "gap for a glued dowel", a.trials(len(glued)), "fits", "glued_dowel")
	}
	if g, ok := a.mean(loose, lastLoose, spread, "the gap of loose dowels"); ok {
		a.want(a.shop.Fits.LooseDowel, max(0, hundredth(g)), 0.01, 2, " mm", "gap for a loose dowel", a.trials(len(loose)), "fits", "loose_dowel")
	}
}

func (a *applying) trials(n int) string {
	if n == 1 {
		return fmt.Sprintf("the hole as drawn, less %.2f mm that holes come out small, less the part", a.hole)
	}
	return fmt.Sprintf("the mean of %d: the hole as drawn, less %.2f mm that holes come out small, less the part", n, a.hole)
}

func (a *applying) inserts(entries []InsertReading) {
	seen := names{}
	for _, e := range entries {
		i := slices.IndexFunc(a.shop.Inserts, func(n Insert) bool { return n.Size == e.Insert.Value })
		if i < 0 {
			a.unknown(e.Insert, "insert")
			continue
		}
		if !a.single(seen, e.Insert.Place, e.Insert.Value) || !e.Best.Read {
			continue
		}
		d, ok := a.step(e.Best, e.Steps)
		if !ok {
			continue
		}
		n := a.shop.Inserts[i]
		hole := hundredth(d - a.hole)
		if hole >= n.Outer || hole < n.Outer-1 {
			a.refuse(e.Best, "measure the insert over its knurls and enter that in the shop file; or try another hole", "a bore of %s mm would not hold insert %s, which is %s mm over its knurls; 0.1 to 0.3 mm less is usual, and more than 1 mm splits the wall", num(hole), n.Size, num(n.Outer))
			continue
		}
		a.want(n.Hole, hole, 0.01, 2, " mm", "bore for insert "+n.Size, fmt.Sprintf("hole %s, drawn at %s mm, less %.2f mm that holes come out small", num(e.Best.Value), num(d), a.hole), "inserts", strconv.Itoa(i), "hole")
	}
}

func (a *applying) plugs(entries []PlugReading) {
	var gaps []float64
	var last Reading
	for _, e := range entries {
		if !e.Best.Read {
			continue
		}
		d, ok := a.step(e.Best, e.Steps)
		if !ok {
			continue
		}
		g := d - a.hole - e.Plug.Value
		if g < -0.1 || g > 0.8 {
			a.refuse(e.Best, "try the plug again", "hole %s would leave a plug of %s mm a gap of %.2f mm; -0.1 to 0.8 mm can be true", num(e.Best.Value), num(e.Plug.Value), g)
			continue
		}
		gaps, last = append(gaps, g), e.Best
	}
	if g, ok := a.mean(gaps, last, 0.3, "the gap of plugs"); ok {
		a.want(a.shop.Fits.Plug, max(0, hundredth(g)), 0.01, 2, " mm", "gap for a plug", a.trials(len(gaps)), "fits", "plug")
	}
}

func (a *applying) kerfs(entries []KerfReading) {
	seen := names{}
	for _, e := range entries {
		i := slices.IndexFunc(a.shop.Lasers, func(l Laser) bool { return l.ID == e.Laser.Value })
		if i < 0 {
			a.unknown(e.Laser, "laser")
			continue
		}
		if !a.single(seen, e.Laser.Place, e.Laser.Value) || !e.Measured.Read {
			continue
		}
		k := rounded((e.Drawn.Value-e.Measured.Value)/e.Strips.Value, 1e3)
		if k < 0.02 || k > 0.6 { // the spot of a focused CO2 laser is 0.1 to 0.2 mm in veneer
			a.refuse(e.Measured, "push the strips together and measure again", "%s strips drawn at %s mm and measured at %s mm make a kerf of %s mm; 0.02 to 0.6 mm can be true", num(e.Strips.Value), num(e.Drawn.Value), num(e.Measured.Value), num(k))
			continue
		}
		a.want(a.shop.Lasers[i].Kerf, k, 0.005, 3, " mm", "kerf of "+e.Laser.Value, fmt.Sprintf("(%s - %s)/%s", num(e.Drawn.Value), num(e.Measured.Value), num(e.Strips.Value)), "lasers", strconv.Itoa(i), "kerf")
	}
}

func (a *applying) bends(entries []BendReading) {
	seen := names{}
	for _, e := range entries {
		i := slices.IndexFunc(a.shop.Veneers, func(v Veneer) bool { return v.ID == e.Veneer.Value })
		if i < 0 {
			a.unknown(e.Veneer, "veneer")
			continue
		}
		if !a.single(seen, e.Veneer.Place, e.Veneer.Value+", grain "+e.Grain.Value) || !e.Smallest.Read {
			continue
		}
		n := e.Smallest.Value
		if n != math.Trunc(n) || n < 1 || n > float64(len(e.Radii)) {
			a.refuse(e.Smallest, "write the number that stands on the drum; or leave it blank if every strip cracked", "there are drums 1 to %d, and none %s", len(e.Radii), num(n))
			continue
		}
		v := a.shop.Veneers[i]
		r := e.Radii[int(n)-1].Value
		times := math.Ceil(r/v.Stack()*10-1e-6) / 10
		if times < 1 || times > 500 {
			a.refuse(e.Smallest, "measure the stack again", "a drum of %s mm is %s stacks of veneer %s; 1 to 500 can be true", num(r), num(times), v.ID)
			continue
		}
		now, key, word := v.BendAlong, "bend_along", "grain round the curve"
		if e.Grain.Value == "along" {
			now, key, word = v.BendAcross, "bend_across", "grain along the axis"
		}
		a.want(now, times, 0.1, 1, "", "least bend of "+v.ID+", "+word, fmt.Sprintf("%s mm over a stack of %s mm", num(r), num(v.Stack())), "veneers", strconv.Itoa(i), key)
	}
}

// neutrals: the strip and its gap go once round the neutral surface.
func (a *applying) neutrals(entries []NeutralRead) {
	seen := names{}
	for _, e := range entries {
		i := slices.IndexFunc(a.shop.Veneers, func(v Veneer) bool { return v.ID == e.Veneer.Value })
		if i < 0 {
			a.unknown(e.Veneer, "veneer")
			continue
		}
		if !a.single(seen, e.Veneer.Place, e.Veneer.Value) || !e.Drum.Read && !e.Strip.Read && !e.Gap.Read {
			continue
		}
		if !e.Drum.Read || !e.Strip.Read || !e.Gap.Read {
			a.faults.Add(e.Place, "fill in all three; or leave all three blank", "drum, strip and gap together give the neutral surface of %s", e.Veneer.Value)
			continue
		}
		v := a.shop.Veneers[i]
		k := hundredth((e.Strip.Value+e.Gap.Value)/(2*math.Pi) - e.Drum.Value/2)
		if k < 0.01 || k >= v.Stack() {
			a.refuse(e.Gap, "measure drum, strip and gap again; 1 mm round the drum is 0.16 mm here", "the neutral surface of %s would lie %s mm above the core, and it lies within the stack of %s mm", v.ID, num(k), num(v.Stack()))
			continue
		}
		a.want(v.NeutralDepth(), k, 0.02, 2, " mm", "neutral surface of "+v.ID, fmt.Sprintf("(%s + %s)/2π - %s/2", num(e.Strip.Value), num(e.Gap.Value), num(e.Drum.Value)), "veneers", strconv.Itoa(i), "neutral")
	}
}

func (a *applying) unknown(t given.Text, what string) {
	a.faults.Add(t.Place, "enter it in the shop file; or take the entry out", "the shop has no %s %q", what, t.Value)
}

// single sees to it that nothing is measured twice in one form.
func (a *applying) single(seen names, p given.Place, name string) bool {
	if other, ok := seen[name]; ok {
		a.faults.Add(p, fmt.Sprintf("keep one; the other stands in line %d", other.Line), "%s stands in the form twice", name)
		return false
	}
	seen[name] = p
	return true
}

// rounded is v to so many parts of a mm. Ties go up, whatever the last digit of
// the floating point says.
func rounded(v, parts float64) float64 { return math.Floor(v*parts+0.5+1e-6) / parts }

func hundredth(v float64) float64 { return rounded(v, 100) }

// write puts the value into the text. A list or mapping that is missing as a
// whole is written in one line.
func (w wanted) write(text []byte) ([]byte, Change, error) {
	c := Change{Pointer: given.Pointer(w.keys...), Key: w.key, To: w.value, Why: w.why}
	root := given.Read(text, &given.Faults{})
	if n := root.At(c.Pointer); n != nil {
		if n.Text == w.value { // came with its siblings
			return text, c, nil
		}
		c.From = n.Text
	}
	parent := w.keys[:len(w.keys)-1]
	if n := root.At(given.Pointer(parent...)); n != nil && n.Kind != given.Null {
		out, err := given.Edit(text, c.Pointer, w.value)
		return out, c, err
	}
	whole := "{" + w.keys[len(w.keys)-1] + ": " + w.value + "}"
	if w.siblings != nil {
		whole = "[" + strings.Join(w.siblings, ", ") + "]"
	}
	out, err := editWhole(text, given.Pointer(parent...), whole)
	return out, c, err
}
