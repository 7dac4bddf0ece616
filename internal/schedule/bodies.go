package schedule

import (
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/fixture"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
)

// bodies adds what is done to cores before they are veneered: inserts, the dry
// fit with what is measured on it, and glue.
func (n *net) bodies() {
	in := n.in
	count := len(in.Seams.Bodies)
	n.fitted, n.firm = make([][]int, count), make([][]wait, count)
	body := n.bodyOfMember()
	inserts := make([]int, count)
	for _, j := range in.Joints.Joints {
		for _, s := range j.Screws {
			if s.Into >= 0 && s.Into < len(body) {
				inserts[body[s.Into]]++
			}
		}
	}
	seams := make([][]int, count)
	for i, s := range in.Seams.Seams {
		seams[s.Body] = append(seams[s.Body], i)
	}
	for b, it := range in.Seams.Bodies {
		ready := n.printed[b]
		if inserts[b] > 0 {
			s := n.counted(lineInserts, float64(inserts[b]))
			ws := append(after(ready...), n.tools(fixture.SetInserts, n.namesOf(b)...)...)
			ready = []int{n.work(task{id: "set inserts " + it.ID, kind: Inserts, of: it.ID, hand: s, bill: s, after: ws, uses: n.at(b)})}
		}
		if len(seams[b]) > 0 {
			ready = []int{n.work(task{id: "dry fit " + it.ID, kind: DryFit, of: it.ID, hand: fitOnce + fitSeam*int64(len(seams[b])), after: after(ready...), uses: n.at(b)})}
		}
		n.fitted[b] = ready
	}
	n.measure(body)
	for b := range in.Seams.Bodies {
		n.firm[b] = after(n.fitted[b]...)
		if len(seams[b]) > 0 {
			n.glueBody(b, seams[b])
		}
	}
	n.glueMembers(body)
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

// measure adds the hold: bands and windows are cut only when what they depend
// on was measured on the cores as they came out.
func (n *net) measure(body []int) {
	in := n.in
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
	near := make([][]int, len(in.Seams.Bodies))
	for _, e := range n.endsInOrder() {
		a, b := body[e[0]], body[e[1]]
		near[a], near[b] = append(near[a], b), append(near[b], a)
	}
	var all []int
	for b, it := range in.Seams.Bodies {
		if !measures[b] {
			continue
		}
		on := slices.Clone(n.fitted[b])
		for _, c := range near[b] { // windows are measured by who stands in them
			on = union(on, n.fitted[c])
		}
		all = append(all, n.work(task{id: "measure " + it.ID, kind: Measure, of: it.ID, hand: measureBody, after: append(after(on...), n.tools(fixture.Measure, n.namesOf(b)...)...), uses: n.at(b)}))
	}
	if len(all) == 0 { // plugs alone
		for _, f := range n.fitted {
			all = union(all, f)
		}
	}
	n.measured = []int{n.work(task{id: "enter measures", kind: Measure, of: "piece", hand: enter, after: after(all...), note: "plan again with them: blanks that were waiting are cut by the new sheets"})}
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

// endsInOrder is the members of every contact in order.
func (n *net) endsInOrder() [][2]int {
	var list [][2]int
	for _, c := range n.in.Joints.Contacts {
		list = append(list, [2]int{c.A.Member, c.B.Member})
	}
	for _, c := range n.in.Joints.Rounds {
		list = append(list, [2]int{c.A.Member, c.B.Member})
	}
	return list
}

// glueUp is what is glued in one go.
type glueUp struct {
	id       string
	of       string
	weight   float64
	clamps   int
	fixtures []string
}

// guessClamps is for a seam or joint of which no clamping plan is known
// (common practice, no source).
const guessClamps = 2

// glueBody glues the segments of a body, by the clamping plans if there are
// any.
func (n *net) glueBody(b int, seams []int) {
	in := n.in
	it := in.Seams.Bodies[b]
	var ups []glueUp
	left := slices.Clone(seams)
	weigh := func(s seam.Seam) float64 { return weighSeam + weighDowel*float64(len(s.Dowels)) }
	if in.Fixtures != nil {
		for _, c := range in.Fixtures.Clamping {
			if c.Step != fixture.GlueSegments {
				continue
			}
			up := glueUp{of: it.ID, clamps: len(c.Presses), fixtures: c.Fixtures}
			left = slices.DeleteFunc(left, func(i int) bool {
				serves := slices.Contains(c.Serves, in.Seams.Seams[i].ID)
				if serves {
					up.weight += weigh(in.Seams.Seams[i])
				}
				return serves
			})
			if up.weight > 0 {
				ups = append(ups, up)
			}
		}
	}
	for _, i := range left {
		s := in.Seams.Seams[i]
		k := len(ups) - 1
		if k < 0 || ups[k].fixtures != nil || ups[k].clamps+guessClamps > in.Shop.Work.Clamps || n.counted(lineSeams, ups[k].weight+weigh(s)) > n.chunk {
			ups = append(ups, glueUp{of: it.ID})
			k++
		}
		ups[k].weight += weigh(s)
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
	s := n.counted(lineSeams, up.weight)
	t := task{id: up.id, kind: Glue, of: up.of, hand: s, bill: s, long: s + int64(w.GlueHold), after: ws, uses: n.at(bodies...)}
	if up.clamps > 0 {
		t.uses = append(t.uses, use{resource: clamps, amount: int64(up.clamps)})
	}
	return n.work(t)
}

// glueMembers glues members that stay together for good, before they are
// veneered. A body is in one glue-up at a time.
func (n *net) glueMembers(body []int) {
	in := n.in
	ends := n.ends()
	var joints []joint.Joint
	for _, j := range in.Joints.Joints {
		if _, ok := ends[j.Contact]; ok && j.Kind == piece.Glued {
			joints = append(joints, j)
		}
	}
	type group struct {
		joints []joint.Joint
		up     glueUp
	}
	var groups []group
	done := map[string]bool{}
	if in.Fixtures != nil {
		for _, c := range in.Fixtures.Clamping {
			if c.Step != fixture.GlueMembers {
				continue
			}
			g := group{up: glueUp{clamps: len(c.Presses), fixtures: c.Fixtures}}
			for _, j := range joints {
				if !done[j.ID] && slices.Contains(c.Serves, j.ID) {
					g.joints, done[j.ID] = append(g.joints, j), true
				}
			}
			if len(g.joints) > 0 {
				groups = append(groups, g)
			}
		}
	}
	for _, j := range joints {
		if !done[j.ID] {
			groups = append(groups, group{joints: []joint.Joint{j}, up: glueUp{clamps: guessClamps}})
		}
	}
	firm := slices.Clone(n.firm) // each once its glue is hard
	last := make([]int, len(in.Seams.Bodies))
	for i := range last {
		last[i] = -1
	}
	for _, g := range groups {
		var ids, serves []string
		var touched []int
		var ws []wait
		for _, j := range g.joints {
			ids, serves = append(ids, j.ID), append(serves, j.ID)
			g.up.weight += weighDowel * float64(len(j.Dowels))
			for _, m := range ends[j.Contact] {
				if b := body[m]; !slices.Contains(touched, b) {
					touched = append(touched, b)
				}
			}
		}
		for _, b := range touched {
			ws = append(ws, firm[b]...)
			ws = append(ws, after(last[b])...) // out of its clamps
		}
		ws = append(ws, n.tools(fixture.GlueMembers, serves...)...)
		g.up.id, g.up.of = "glue members "+strings.Join(ids, "+"), strings.Join(ids, "+")
		end := n.glue(g.up, ws, touched...)
		for _, b := range touched {
			last[b] = end
			n.firm[b] = append(slices.Clone(n.firm[b]), n.cured(after(end))...)
		}
	}
}
