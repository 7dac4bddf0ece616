package book

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/fixture"
	"groundwork/internal/kit"
	"groundwork/internal/plan"
	"groundwork/internal/unit"
	"groundwork/internal/veneer"
)

// surfaceName is what a member's surface is called.
func surfaceName(pl *plan.Plan, member, surface int) string {
	if names := pl.Layout.Cores[member].SurfaceNames(); surface >= 0 && surface < len(names) {
		return names[surface]
	}
	return ""
}

func (p *planner) measure() {
	var rims, bores [][]string
	var parts []string
	banded := map[[2]int]bool{}
	for _, b := range p.pl.Layout.Bands {
		banded[[2]int{b.Member, b.Surface}] = true
		held := false
		for _, pt := range p.pl.Patterns {
			if pt.Member == b.Member && pt.Surface == b.Surface && strings.Contains(pt.Release, "true perimeter") {
				held = true
				parts = append(parts, pt.ID)
			}
		}
		if held {
			rims = append(rims, []string{b.ID, p.mm(b.To - b.From), ""})
		}
	}
	round := false
	plugs := 0
	for _, pt := range p.pl.Patterns {
		if strings.Contains(pt.Release, "true perimeter") && pt.Member >= 0 && !banded[[2]int{pt.Member, pt.Surface}] {
			parts = append(parts, pt.ID)
			for _, g := range p.girths(pt) {
				round = true
				rims = append(rims, []string{pt.ID + ", " + g.where, p.mm(g.length), ""})
			}
		}
		if !strings.Contains(pt.Release, "bore centres") {
			continue
		}
		parts = append(parts, pt.ID)
		switch n := len(pt.Net) - 1; {
		case pt.Member < 0:
			plugs++
			bores = append(bores, []string{pt.ID, p.size(pt.Length, pt.Width), "the plug, in its bore", ""})
		case n == 0:
			bores = append(bores, []string{pt.ID, p.size(pt.Length, pt.Width), "its outline", ""})
		default:
			bores = append(bores, []string{pt.ID, p.size(pt.Length, pt.Width), fmt.Sprintf("its outline, %d %s", n, plural(n, "opening", "openings")), ""})
		}
	}
	const dry = "Put the whole piece together dry, screws finger-tight, dowels in and no glue. Every contact must close, and it must stand without rocking. Take it apart again."
	does := []string{dry}
	cores := p.split() == kit.Cores // who prints measures, before anything is glued
	if cores {
		does[0] = "Before the box is packed, push the segments of every part together on their dowels, dry and without glue, until the seams close all round; hold them so with tape beside what is measured."
	}
	var tables []Table
	if rims != nil {
		does = append(does, "Lay a strip of paper round each run of the table, mark where it meets itself, and measure it flat. Write the length down. A tape of steel reads wrong round a curve.")
		if round {
			does = append(does, fmt.Sprintf("Round a leg or another turned part lay the strip square to its axis, %s from the end, measured along the side that lies opposite to where the leaf closes.", p.mm(girthIn)))
		}
		tables = append(tables, Table{Head: []string{"Run on the core", "Drawn", "Measured"}, Rows: rims, Wide: []float64{4, 3, 3}, Tick: true})
	}
	if bores != nil {
		does = append(does, "Print the cut sheets of the blanks that hold the leaves of the table on paper, at full size. Lay each leaf over its core: openings must fall on bores and pads, and outlines on edges with their allowance all round, within 0.5 mm.")
		if plugs > 0 {
			does = append(does, "Push each plug into its bore and lay its leaf on it, of paper: it covers the plug, with its allowance to trim. Take the plug out again.")
		}
		tables = append(tables, Table{Head: []string{"Leaf", "Net size", "Look at", "Fits the core"}, Rows: bores, Wide: []float64{4, 3, 3, 2.4}, Tick: true})
	}
	if parts != nil {
		does = append(does, "*Hold.* Patterns that wait for these figures are not cut before the figures agree, to 0.1 %, or the files have been made again with them. Every blank says what on it waits.")
		if p.split() == kit.Leaves {
			does = append(does, fmt.Sprintf("*Send the figures.* Send a picture of the tables below, with the kit revision %s on it, to whoever made the kit. What waits is cut to them, and follows in a box of its own.", p.Revision))
		}
	}
	made := slices.Concat(p.of(Print), p.of(Inserts), p.of(Glue), p.of(Ground))
	s := Step{ID: "measure/all", Phase: Measure, Title: "Dry fit, and the figures that patterns wait for", Needs: made, Does: does, Parts: parts, Tables: tables}
	if cores {
		s.Title, s.Needs = "The figures that patterns wait for", p.of(Print)
		s.Does = append(s.Does, "Take the segments apart again for the box.")
		p.add(s)
		s = Step{ID: "measure/fit", Phase: Measure, Title: "Dry fit", Needs: append(made, "measure/all"), Does: []string{dry,
			"Cut every leaf out of its blank, its liner and label on it, and lay it against its core: it was cut to these cores, and its openings fall on bores and pads. What does not, is told to whoever made the kit before anything is laid."}}
	}
	p.add(s)
}

// onBlank are the patterns of a blank, as indices.
func onBlank(pl *plan.Plan, blank int) (out []int) {
	for _, x := range pl.Sheets.Placements {
		if x.Blank == blank {
			out = append(out, x.Pattern)
		}
	}
	return out
}

func (p *planner) cut() {
	sh := p.pl.Sheets
	for i, s := range sh.Sheets {
		st := Step{ID: "cut/" + s.ID, Phase: Cut, Title: fmt.Sprintf("Cut %s into blanks", s.ID), Needs: []string{"ready/check"}, Drawings: []string{"sheet/" + s.ID}, Parts: []string{s.ID}}
		for _, b := range sh.Blanks {
			if b.Sheet == i {
				st.Parts = append(st.Parts, b.ID)
			}
		}
		st.Does = []string{fmt.Sprintf("Lay the sheet face up, its grain to the right, %s across the grain and %s along it.", p.mm(s.Size.X), p.mm(s.Size.Y))}
		if s.Kept != "" {
			st.Does[0] = fmt.Sprintf("Take the offcut %s from your stock. ", s.Kept) + st.Does[0]
		}
		if s.Margin > 0 {
			st.Does = append(st.Does, fmt.Sprintf("Cut %s off all round: edges of sheets are dirty and split.", p.mm(s.Margin)))
		}
		st.Does = append(st.Does,
			"Cut with a sharp knife along a straightedge that is clamped down, in several light strokes, in the order of the table. Every cut goes from edge to edge of what it cuts, and names what it leaves: 2a is what lies left of or above cut 2, 2b what lies beyond it.",
			"Write the number of each blank on its liner, and an arrow along the grain, before you put it down. Keep the offcuts flat.")
		rows := [][]string{}
		for _, c := range s.Cuts {
			what, way, from := "the sheet", "across the grain", "left end"
			if c.Of != "" {
				what = c.Of
			}
			if c.Along {
				way, from = "along the grain", "upper edge"
			}
			name := func(is, name string) string {
				if is == "" {
					return name
				}
				return is
			}
			rows = append(rows, []string{fmt.Sprint(c.N), what, way, p.mm(c.Where) + " from the " + from, name(c.Before.Is, c.Before.Name), name(c.Beyond.Is, c.Beyond.Name)})
		}
		if len(rows) > 0 {
			st.Tables = []Table{{Head: []string{"Cut", "of", "runs", "at", "before it", "beyond it"}, Rows: rows, Wide: []float64{1.4, 1.8, 3, 4, 2.2, 2.2}, Tick: true}}
		}
		p.add(st)
	}
	if len(sh.Blanks) > 0 {
		p.add(Step{
			ID: "cut/how", Phase: Cut, Title: "How every blank is cut", Needs: p.of(Cut),
			Does: []string{
				"*Hold.* What is marked *waits* is not cut before chapter \"fit and measure\" is ticked off.",
				"Cut a straight datum edge by hand, 3 mm in, and lay it against the bed's fence. Mask the face with low-tack tape, and rub it down.",
				"Cut one coupon in the waste first: face, backing and adhesive must part, and the bed not be scorched.",
				"Cut in the order of the file: marks, half-cuts, inner cuts, outer cuts. One fast pass with air; the exhaust runs on for a minute after it.",
				"Leave every pattern on its liner. Peel the mask off, stick the label on the liner, and draw its arrow there before you take the next blank.",
			},
		})
	}
	for i, b := range sh.Blanks {
		var held []string
		st := Step{ID: "cut/" + b.ID, Phase: Cut, Title: "Cut " + b.ID, Needs: []string{"cut/how"}, Parts: []string{b.ID}, Drawings: []string{"blank/" + b.ID}}
		if b.Sheet >= 0 && b.Sheet < len(sh.Sheets) {
			st.Needs = append(st.Needs, "cut/"+sh.Sheets[b.Sheet].ID)
		}
		for _, n := range onBlank(p.pl, i) {
			st.Parts = append(st.Parts, p.pl.Patterns[n].ID)
			if p.pl.Patterns[n].Release != "" {
				held = append(held, p.pl.Patterns[n].ID)
			}
		}
		if held != nil {
			st.Needs = append(st.Needs, "measure/all")
		}
		if b.ByKnife {
			st.Does = append(st.Does, "Longer than the bed: cut it by knife after the templates at the end of this book; only its fingered end goes under the laser.")
		}
		st.Does = append(st.Does, "Cut, labelled and laid flat.")
		p.add(st)
	}
}

// leafRow is a pattern in the order of laying.
type leafRow struct {
	pattern int
	number  int
}

// laying is the order in which a body is covered.
func laying(pl *plan.Plan, body int) []leafRow {
	var out []leafRow
	for _, m := range pl.Seams.Bodies[body].Members {
		for _, sf := range pl.Layout.Order[m] {
			for i, pt := range pl.Patterns {
				if pt.Member == m && pt.Surface == sf {
					out = append(out, leafRow{i, len(out) + 1})
				}
			}
		}
	}
	return out
}

// variants are the bodies of a kind that are laid alike: those that are not
// mirrored, and those that are.
func variants(pl *plan.Plan, k kind) [][]int {
	var plain, turned []int
	for _, b := range k.bodies {
		if pl.Piece.Members[pl.Seams.Bodies[b].Members[0]].Mirrored {
			turned = append(turned, b)
		} else {
			plain = append(plain, b)
		}
	}
	var out [][]int
	for _, v := range [][]int{plain, turned} {
		if v == nil {
			continue
		}
		// Alike only if surface for surface the same is laid.
		var groups [][]int
	next:
		for _, b := range v {
			for g := range groups {
				if sameLaying(pl, groups[g][0], b) {
					groups[g] = append(groups[g], b)
					continue next
				}
			}
			groups = append(groups, []int{b})
		}
		out = append(out, groups...)
	}
	return out
}

func sameLaying(pl *plan.Plan, a, b int) bool {
	x, y := laying(pl, a), laying(pl, b)
	if len(x) != len(y) {
		return false
	}
	for i := range x {
		p, q := pl.Patterns[x[i].pattern], pl.Patterns[y[i].pattern]
		if surfaceName(pl, p.Member, p.Surface) != surfaceName(pl, q.Member, q.Surface) || math.Abs(p.Length-q.Length) > 0.01 || math.Abs(p.Width-q.Width) > 0.01 || p.Veneer != q.Veneer {
			return false
		}
	}
	return true
}

func (p *planner) lay() {
	work := p.pl.Shop.Work
	if len(p.pl.Patterns) == 0 {
		return
	}
	p.add(Step{
		ID: "lay/how", Phase: Lay, Title: "How every leaf is laid", Needs: p.of(Ground),
		Does: []string{
			"Work at 21 to 30 °C on a clean bench, with clean hands. The adhesive has one chance: what touches, holds.",
			"Try the leaf dry. Its number says where; its *arrow* lies as on the drawing, head to head; its face is the side without liner. It reaches beyond the edge by its allowance on every free side.",
			"Peel off 50 to 100 mm of liner at one end and fold it back. Set that end against its fence or its pencil line, and touch it down.",
			"Draw the liner out underneath while you press the leaf down behind it, from the middle outward, so that no air is shut in.",
			"Rub it down with a veneer hammer or a scraper with rounded corners, hard, along the grain, three times over all of it; the edges last. A small soft roller does not press hard enough.",
			"Trim what stands over before the next leaf meets that edge, from " + unit.FormatDuration(work.BondFirst) + " after laying on: cut from the face toward the core with a sharp knife, or a flush cutter with a bearing, along the grain and never against it; then two strokes of P220 on a hard block.",
			"A hole is cut small: open it from the face with a knife and a round file once the leaf has been rubbed down.",
		},
	})
	how := &p.steps[len(p.steps)-1]
	if p.pl.Fixtures != nil {
		for _, f := range p.pl.Fixtures.Fixtures {
			if f.Step == fixture.LayLeaves || f.Step == fixture.TrimLeaves {
				how.Does = append(how.Does, fmt.Sprintf("*%s*: %s", f.ID, p.useWords(f)))
				how.Parts = append(how.Parts, f.ID)
			}
		}
	}
	for _, k := range p.kinds {
		vs := variants(p.pl, k)
		for n, v := range vs {
			rowsOf := make([][]leafRow, len(v))
			for i, b := range v {
				rowsOf[i] = laying(p.pl, b)
			}
			if len(rowsOf[0]) == 0 {
				continue
			}
			var names []string
			for _, b := range v {
				names = append(names, p.pl.Seams.Bodies[b].ID)
			}
			s := Step{ID: fmt.Sprintf("lay/%s/%d", k.name, n+1), Phase: Lay, Title: "Lay " + and(names), Parts: slices.Clone(names), Wait: work.BondWork}
			s.Needs = append([]string{"lay/how", "ground/all"}, p.of(Measure)...)
			s.Drawings = []string{"laying/" + names[0]}
			var rows [][]string
			var rings []int
			for i, r := range rowsOf[0] {
				pt := p.pl.Patterns[r.pattern]
				var ids []string
				blank := []string{}
				for j := range v {
					q := rowsOf[j][i].pattern
					id := p.pl.Patterns[q].ID
					ids = append(ids, id)
					s.Parts = append(s.Parts, id)
					s.Needs = append(s.Needs, p.about(Cut, id)...)
					if b := p.pl.Sheets.Placements[q].Blank; b >= 0 {
						blank = append(blank, p.pl.Sheets.Blanks[b].ID)
					}
				}
				slices.Sort(blank)
				rows = append(rows, []string{fmt.Sprint(r.number), strings.Join(ids, ", "), p.size(pt.Length, pt.Width), p.grain(pt), strings.Join(slices.Compact(blank), ", "), p.leafNote(pt)})
				if pt.CutInPlace {
					rings = append(rings, i)
				}
			}
			slices.Sort(s.Needs)
			s.Needs = slices.Compact(s.Needs)
			s.Tables = []Table{{Head: []string{"", "Leaf", "Net size", "Grain", "From", "Mind"}, Rows: rows, Wide: []float64{1.1, 4.4, 3, 2, 2, 4.2}, Tick: true}}
			if laps := p.lapsOf(v); laps != nil {
				s.Does = append(s.Does, p.lapWords(laps, s.Parts)...)
				s.Drawings = append(s.Drawings, "lap/"+laps[0].ID)
			}
			for _, i := range rings {
				var alike []int
				for j := range v {
					alike = append(alike, rowsOf[j][i].pattern)
				}
				s.Does = append(s.Does, p.ringWords(alike)...)
			}
			var use []string
			for _, f := range p.serving(fixture.LayLeaves, s.Parts...) {
				use = append(use, f.ID)
			}
			if use != nil {
				s.Does = append(s.Does, "Set up "+and(use)+".")
				s.Parts = append(s.Parts, use...)
			}
			p.add(s)
		}
	}
	var plugs []string
	for _, pt := range p.pl.Patterns {
		if pt.Member < 0 {
			plugs = append(plugs, pt.ID)
		}
	}
	if plugs != nil {
		p.add(Step{
			ID: "lay/plugs", Phase: Lay, Title: fmt.Sprintf("Cover %d plugs", len(plugs)), Needs: append([]string{"lay/how"}, p.about(Cut, plugs...)...), Parts: plugs,
			Does: []string{
				"Lay each leaf on its plug, rub it down, and trim it flush.",
				"Mark the grain's direction on the plug's underside: it is pressed in so that the grain runs on across it. Do not press it in yet: the screw behind it is tightened again after " + unit.FormatDuration(work.Retighten) + ".",
			},
		})
	}
}

func (p *planner) leafNote(pt veneer.Pattern) string {
	var out []string
	if pt.Lap != "" {
		out = append(out, "its fingers lie over the plain end of "+p.under(pt.Lap))
	}
	if pt.Set != "" {
		out = append(out, fmt.Sprintf("leaf %d of the matched set %s", pt.SetOrder, pt.Set))
	}
	if pt.CutInPlace {
		out = append(out, "closes on itself: cut to fit in place")
	}
	if n := len(pt.Net) - 1; n > 0 {
		out = append(out, fmt.Sprintf("%d %s", n, plural(n, "opening", "openings")))
	}
	if pt.Allowance > 0 {
		out = append(out, "trim "+p.mm(pt.Allowance))
	}
	for _, also := range pt.Also {
		out = append(out, "covers "+p.pl.Piece.Members[also[0]].ID+" too")
	}
	return strings.Join(out, "; ")
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// lapsOf are the laps of bodies.
func (p *planner) lapsOf(bodies []int) (laps []veneer.Lap) {
	for _, l := range p.pl.Layout.Laps {
		if slices.Contains(bodies, bodyOf(p.pl, l.Member)) {
			laps = append(laps, l)
		}
	}
	return laps
}
