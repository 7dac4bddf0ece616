package schedule

import (
	"fmt"
	"slices"

	"groundwork/internal/bill"
	"groundwork/internal/finding"
	"groundwork/internal/fixture"
	"groundwork/internal/seam"
)

// bodies adds what is done to cores before they are veneered, each alone:
// inserts, and the gluing of its segments.
func (n *net) bodies() {
	in := n.in
	n.firm = make([][]wait, len(in.Seams.Bodies))
	body := n.bodyOfMember()
	inserts := make([][]string, len(in.Seams.Bodies))
	for _, j := range in.Joints.Joints {
		for i, s := range j.Screws {
			if s.Into >= 0 && s.Into < len(body) {
				inserts[body[s.Into]] = append(inserts[body[s.Into]], bill.Screw(j.ID, i))
			}
		}
	}
	seams := make([][]seam.Seam, len(in.Seams.Bodies))
	for _, s := range in.Seams.Seams {
		seams[s.Body] = append(seams[s.Body], s)
	}
	for b, it := range in.Seams.Bodies {
		ready := n.printed[b]
		if len(inserts[b]) > 0 {
			s := n.hand(bill.Inserts, inserts[b]...)
			ws := append(after(ready...), n.tools(fixture.SetInserts, n.namesOf(b)...)...)
			ready = []int{n.work(task{id: "set inserts " + it.ID, kind: Inserts, of: it.ID, hand: s, bill: s, after: ws, uses: n.at(b)})}
		}
		if len(seams[b]) > 0 {
			s := n.hand(bill.DryFit, it.ID)
			ready = []int{n.work(task{id: "dry fit " + it.ID, kind: DryFit, of: it.ID, hand: s, bill: s, after: after(ready...), uses: n.at(b)})}
		}
		n.firm[b] = after(ready...)
		if len(seams[b]) > 0 {
			n.glueBody(b, seams[b])
		}
	}
}

// bodyOfMember is the body that each member is a part of.
func (n *net) bodyOfMember() []int {
	of := make([]int, len(n.in.Piece.Members))
	for b, it := range n.in.Seams.Bodies {
		for _, m := range it.Members {
			of[m] = b
		}
	}
	return of
}

// namesOf is every ID by which a fixture may serve a body.
func (n *net) namesOf(b int) []string {
	ids := []string{n.in.Seams.Bodies[b].ID}
	body := n.bodyOfMember()
	for _, m := range n.in.Seams.Bodies[b].Members {
		ids = append(ids, n.in.Piece.Members[m].ID)
	}
	for _, s := range n.in.Seams.Segments {
		if s.Body == b {
			ids = append(ids, s.ID)
		}
	}
	for _, s := range n.in.Seams.Seams {
		if s.Body == b {
			ids = append(ids, s.ID)
		}
	}
	ends := n.ends()
	for _, j := range n.in.Joints.Joints {
		if e, ok := ends[j.Contact]; ok && (body[e[0]] == b || body[e[1]] == b) {
			ids = append(ids, j.ID)
		}
		for _, o := range j.Bores {
			if body[o.Member] == b {
				ids = append(ids, o.ID)
			}
		}
	}
	return ids
}

// ends is the two members of every contact.
func (n *net) ends() map[string][2]int {
	of := map[string][2]int{}
	for _, c := range n.in.Joints.Contacts {
		of[c.ID] = [2]int{c.A.Member, c.B.Member}
	}
	for _, c := range n.in.Joints.Rounds {
		of[c.ID] = [2]int{c.A.Member, c.B.Member}
	}
	return of
}

// fit adds the dry fit of the whole piece, on cores that are sealed and bare, and
// the hold: bands and windows are cut only when what they depend on was measured
// on the cores as they came out. No leaf is laid before.
func (n *net) fit() {
	in := n.in
	body := n.bodyOfMember()
	var all []int
	var ready []wait
	for b := range in.Seams.Bodies {
		all = append(all, b)
		ready = append(ready, n.firm[b]...)
		if c := n.covers[b]; c != nil {
			ready = append(ready, c.sealed...)
		}
	}
	if s := n.hand(bill.DryFit, bill.Whole); s > 0 {
		n.fitted = []int{n.work(task{id: "dry fit piece", kind: Measure, of: "piece", hand: s, bill: s, after: ready, uses: n.at(all...), note: "screws finger-tight, no glue: every contact must close"})}
		ready = after(n.fitted...)
	}
	measures := make([]bool, len(in.Seams.Bodies))
	var asked bool
	for _, p := range in.Patterns {
		if p.Release != "" {
			asked = true
			if p.Member >= 0 {
				measures[body[p.Member]] = true
			}
		}
	}
	if !asked {
		return
	}
	var on []int
	for b, it := range in.Seams.Bodies {
		if measures[b] {
			s := n.hand(bill.Measuring, it.ID)
			on = append(on, n.work(task{id: "measure " + it.ID, kind: Measure, of: it.ID, hand: s, bill: s, after: append(slices.Clone(ready), n.tools(fixture.Measure, n.namesOf(b)...)...), uses: n.at(b)}))
		}
	}
	if len(on) > 0 { // else plugs alone
		ready = after(on...)
	}
	s := n.hand(bill.Measuring, bill.Whole)
	n.fitted = []int{n.work(task{id: "enter measures", kind: Measure, of: "piece", hand: s, bill: s, after: ready, note: "plan again with them: blanks that were waiting are cut by the new sheets"})}
}

// union is a with what of b it lacks.
func union(a, b []int) []int {
	for _, x := range b {
		if !slices.Contains(a, x) {
			a = append(a, x)
		}
	}
	return a
}

// glueUp is what is glued in one go.
type glueUp struct {
	id       string
	of       string
	kind     Kind
	line     string   // of the bill
	parts    []string // seams or joints that it closes
	clamps   int
	fixtures []string
}

// guessClamps is for a seam or joint of which no clamping plan is known
// (common practice, no source).
const guessClamps = 2

// glueBody glues the segments of a body, by the clamping plans if there are
// any.
func (n *net) glueBody(b int, seams []seam.Seam) {
	in := n.in
	it := in.Seams.Bodies[b]
	fresh := glueUp{of: it.ID, kind: Glue, line: bill.Gluing}
	var ups []glueUp
	left := slices.Clone(seams)
	if in.Fixtures != nil {
		for _, c := range in.Fixtures.Clamping {
			if c.Step != fixture.GlueSegments {
				continue
			}
			up := fresh
			up.clamps, up.fixtures = len(c.Presses), c.Fixtures
			left = slices.DeleteFunc(left, func(s seam.Seam) bool {
				serves := slices.Contains(c.Serves, s.ID)
				if serves {
					up.parts = append(up.parts, s.ID)
				}
				return serves
			})
			if len(up.parts) > 0 {
				ups = append(ups, up)
			}
		}
	}
	takes := func(parts []string) (s int64) {
		for _, p := range parts {
			s += n.left[bill.Hand{Section: bill.Labour, Line: bill.Gluing, Of: p}]
		}
		return s
	}
	guessed := len(ups) // the first of those that no plan tells of
	for _, s := range left {
		k := len(ups) - 1
		if k < guessed || ups[k].clamps+guessClamps > in.Shop.Work.Clamps || takes(ups[k].parts)+takes([]string{s.ID}) > n.chunk {
			ups = append(ups, fresh)
			k++
		}
		ups[k].parts = append(ups[k].parts, s.ID)
		ups[k].clamps += guessClamps
	}
	ws := append(n.firm[b], n.tools(fixture.GlueSegments, n.namesOf(b)...)...)
	for i, up := range ups {
		up.id = "glue body " + it.ID
		if len(ups) > 1 {
			up.id = fmt.Sprintf("glue body %s/%d", it.ID, i+1)
		}
		ws = after(n.glue(up, ws, b))
	}
	n.firm[b] = n.cured(ws)
}

// cured is the same waits and the rest of the cure.
func (n *net) cured(ws []wait) []wait {
	ws = slices.Clone(ws)
	for i := range ws {
		ws[i].lag, ws[i].why = n.cure, "glue cures"
	}
	return ws
}

// glue adds a glue-up: hands first, then clamps alone.
func (n *net) glue(up glueUp, ws []wait, bodies ...int) int {
	w := n.in.Shop.Work
	if up.clamps > w.Clamps {
		n.found(finding.Finding{
			Severity: finding.Warning, Code: "few-clamps", Subject: up.of,
			Message: fmt.Sprintf("%s takes %d clamps, and the shop has %d; the calendar goes on with those", up.id, up.clamps, w.Clamps),
			Remedy:  fmt.Sprintf("borrow %d clamps; or press less needed places with weights", up.clamps-w.Clamps), Source: "the clamping plan",
		})
		up.clamps = w.Clamps
	}
	if n.in.Fixtures != nil {
		ws = append(slices.Clone(ws), n.named(up.fixtures)...)
	}
	s := n.hand(up.line, up.parts...)
	t := task{id: up.id, kind: up.kind, of: up.of, hand: s, bill: s, long: s + int64(w.GlueHold), after: ws, uses: n.at(bodies...)}
	if up.clamps > 0 {
		t.uses = append(t.uses, use{resource: clamps, amount: int64(up.clamps)})
	}
	return n.work(t)
}
