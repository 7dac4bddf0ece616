package book

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/fixture"
	"groundwork/internal/geom"
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
	work := p.pl.Shop.Work
	s := strings.Replace(f.Words, "A day after laying,", "From "+unit.FormatDuration(work.BondFirst)+" after laying on,", 1)
	return strings.Replace(s, "tightened a second time, a day later.", "tightened a second time, "+unit.FormatDuration(work.Retighten)+" later.", 1)
}

// useWords are a fixture's words without those on how it is printed, which stand
// where it is made.
func (p *planner) useWords(f fixture.Fixture) string {
	var out []string
	for _, s := range strings.SplitAfter(p.fixtureWords(f), ". ") {
		if !strings.HasPrefix(s, "Print ") {
			out = append(out, s)
		}
	}
	return strings.TrimSpace(strings.Join(out, ""))
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
	return strings.Join(append(out, "Leave it in the clamps for "+unit.FormatDuration(p.hold(c))+"."), " ")
}

// hold is how long a glue-up stays in its clamps, s.
func (p *planner) hold(fixture.ClampPlan) float64 { return p.pl.Shop.Work.GlueHold }

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
	// Pads are raised by the veneer beside them.
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
