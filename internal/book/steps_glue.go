package book

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/plan"
	"groundwork/internal/unit"
)

// glueUp is one glue-up: two sides that are together already, or a segment each.
type glueUp struct {
	a, b  []string
	seams []int
	as    string // ID of the clamping plan; then all that is put together is in a
}

// glueUps are the glue-ups of a body, in an order in which every one presses two
// sides together along one plane: a plane that parts what is together is found,
// and either side is glued first.
func glueUps(pl *plan.Plan, body int) []glueUp {
	center := map[string]geom.Vec3{}
	for _, s := range pl.Cores.Segments {
		center[s.ID] = s.Bounds.Center()
	}
	var part func(ids []string) []glueUp
	part = func(ids []string) []glueUp {
		if len(ids) < 2 {
			return nil
		}
		var best *glueUp
		for _, s := range pl.Seams.Seams {
			if s.Body != body || !slices.Contains(ids, s.Segments[0]) || !slices.Contains(ids, s.Segments[1]) {
				continue
			}
			g := glueUp{}
			for _, id := range ids {
				if s.Plane.Distance(center[id]) < 0 {
					g.a = append(g.a, id)
				} else {
					g.b = append(g.b, id)
				}
			}
			whole := true // nothing reaches through the plane
			for n, o := range pl.Seams.Seams {
				if o.Body != body || !slices.Contains(ids, o.Segments[0]) || !slices.Contains(ids, o.Segments[1]) {
					continue
				}
				if slices.Contains(g.a, o.Segments[0]) != slices.Contains(g.a, o.Segments[1]) {
					g.seams = append(g.seams, n)
					along := math.Abs(o.Plane.Normal.Dot(s.Plane.Normal))
					whole = whole && along > 1-1e-9 && math.Abs(o.Plane.D-math.Copysign(s.Plane.D, s.Plane.D*o.Plane.Normal.Dot(s.Plane.Normal))) < 1e-3
				}
			}
			if len(g.a) == 0 || len(g.b) == 0 || !whole {
				continue
			}
			if best == nil || min(len(g.a), len(g.b)) > min(len(best.a), len(best.b)) {
				best = &g
			}
		}
		if best == nil { // no plane parts them: one after another
			var all []int
			for n, o := range pl.Seams.Seams {
				if slices.Contains(ids, o.Segments[0]) && slices.Contains(ids, o.Segments[1]) {
					all = append(all, n)
				}
			}
			return []glueUp{{a: ids[:1], b: ids[1:], seams: all}}
		}
		return append(append(part(best.a), part(best.b)...), *best)
	}
	return part(segments(pl, body))
}

func (p *planner) glue() {
	work := p.pl.Shop.Work
	if len(p.pl.Seams.Seams) > 0 {
		p.add(Step{
			ID: "glue/how", Phase: Glue, Title: "How every seam is glued", Needs: append([]string{"print/check"}, p.of(Inserts)...),
			Does: []string{
				"Try the glue, and the dowels, on scrap of the same filament first: two offcuts must break beside the seam.",
				"Roughen the faces with P120 to P240, wipe them with alcohol, never acetone, and touch them no more.",
				p.pairWords(),
				"Put the parts together dry, with their dowels, on a flat board under film. The faces must close all round under the pressure of two hands, and outlines run on across the seam.",
				fmt.Sprintf("Spread a thin film of glue on both faces and in the bores, set the dowels, close and press lightly: glue must just show all round. Leave it in its clamps for %s; work and load it after %s. The glue's own data sheet comes first.", unit.FormatDuration(work.GlueHold), unit.FormatDuration(work.GlueCure)),
				"Wipe off what was squeezed out while it is soft. See with a straightedge, both ways, that the faces are flush.",
				"Do the lines of a table in order. What stands in one line is pressed in one go.",
			},
		})
		how := &p.steps[len(p.steps)-1]
		const dry = 4 // sentences, the last of them on putting parts together dry
		for _, k := range p.kinds {
			if w := p.parallel(k); w != "" {
				how.Does = slices.Insert(how.Does, dry, w)
			}
		}
		if p.clamped() {
			how.Does = append(how.Does, p.clampingWords()...)
		}
	}
	for _, k := range p.kinds {
		head := []string{"", "This", "to this", "with", "closes"}
		var rows [][]string
		var parts, ids []string
		s := Step{Phase: Glue, ID: "glue/" + k.name, Title: "Glue the segments of " + p.the(idsOf(p.pl, k)), Wait: work.GlueCure}
		for _, b := range k.bodies {
			body := p.pl.Seams.Bodies[b]
			for _, g := range p.glueUpsOf(b) {
				var dowels []string
				count := map[string]int{}
				var seams []string
				for _, i := range g.seams {
					sm := p.pl.Seams.Seams[i]
					seams = append(seams, sm.ID)
					for _, d := range sm.Dowels {
						name := dowelName(d)
						if count[name] == 0 {
							dowels = append(dowels, name)
						}
						count[name]++
					}
				}
				for i, d := range dowels {
					dowels[i] = fmt.Sprintf("%d x %s", count[d], d)
				}
				to := strings.Join(g.b, " + ")
				if g.as != "" {
					to, head = g.as, []string{"", "Put together", "clamped as", "with", "closes"}
				}
				rows = append(rows, []string{fmt.Sprint(len(rows) + 1), strings.Join(g.a, " + "), to, strings.Join(dowels, ", "), strings.Join(seams, ", ")})
				ids = append(ids, seams...)
			}
			if len(segments(p.pl, b)) > 1 {
				parts = append(parts, segments(p.pl, b)...)
				parts = append(parts, body.ID)
			}
		}
		if rows == nil {
			continue
		}
		s.Parts = slices.Concat(parts, ids)
		s.Needs = append([]string{"glue/how", "print/check"}, p.about(Inserts, parts...)...)
		s.Drawings = []string{"body/" + p.pl.Seams.Bodies[k.bodies[0]].ID}
		if p.pl.Fixtures != nil {
			s.Drawings = append(s.Drawings, p.clampings(fixture.GlueSegments, ids)...)
			s.Does = append(s.Does, p.likewise(fixture.GlueSegments, ids)...)
			for _, f := range p.serving(fixture.GlueSegments, ids...) {
				s.Parts = append(s.Parts, f.ID)
			}
		}
		s.Tables = []Table{{Head: head, Rows: rows, Wide: []float64{1, 4, 4, 4, 4}, Tick: true}}
		p.add(s)
	}
}

// glueUpsOf are the glue-ups of a body, by the clamping plans if there are any.
func (p *planner) glueUpsOf(body int) []glueUp {
	ups := glueUps(p.pl, body)
	if p.pl.Fixtures == nil {
		return ups
	}
	var out []glueUp
	closed := 0
	for _, c := range p.pl.Fixtures.Clamping {
		if c.Step != fixture.GlueSegments {
			continue
		}
		g := glueUp{a: c.Parts, as: c.ID}
		for n, s := range p.pl.Seams.Seams {
			if s.Body == body && slices.Contains(c.Serves, s.ID) {
				g.seams = append(g.seams, n)
			}
		}
		if g.seams != nil {
			out, closed = append(out, g), closed+len(g.seams)
		}
	}
	all := 0
	for _, s := range p.pl.Seams.Seams {
		if s.Body == body {
			all++
		}
	}
	if closed != all { // some could not be clamped on this bench
		return ups
	}
	return out
}

func dowelName(d joint.Dowel) string {
	s := fmt.Sprintf("dowel %g x %g", d.Diameter, d.Length)
	if d.Printed {
		s = "printed " + s
	}
	return s
}

func (p *planner) ground() {
	if len(p.pl.Patterns) == 0 {
		return
	}
	var ids []string
	for _, b := range p.pl.Seams.Bodies {
		ids = append(ids, b.ID)
	}
	wide := 0.0
	for _, pt := range p.pl.Patterns {
		v, _ := p.pl.Shop.Veneer(pt.Veneer)
		wide = max(wide, v.Stack())
	}
	p.add(Step{
		ID: "ground/all", Phase: Ground, Title: "Fill, sand and seal", Needs: append([]string{"print/check"}, p.of(Glue)...), Parts: ids, Wait: p.pl.Shop.Work.SealerDry,
		Does: []string{
			"Mask every face that another member stands on, every bore and every insert. What is raised by the thickness of the veneer (" + p.mm(wide) + ") is a pad for another member and stays bare.",
			"Fill seams, pits and rows of layers, and let the filler harden for " + unit.FormatDuration(p.pl.Shop.Work.FillerDry) + ". Sand flush with P120, then P180, on a hard block. Do not round the edges: veneer meets on them. No more than 0.2 mm may come off.",
			"Draw a pencil line across every seam and sand once more: where the line stays, there is a hollow.",
			"Seal all that will be veneered, thinly, and go over it again, as soon as the sealer's data sheet lets you, where it sank in. Leave it for " + unit.FormatDuration(p.pl.Shop.Work.SealerDry) + " before veneer is laid.",
			"Before you lay, smooth the sealer with P220 and wipe with a cloth that is damp with alcohol, not wet. The adhesive grips a closed, dry ground; it does not grip dust.",
		},
	})
}
