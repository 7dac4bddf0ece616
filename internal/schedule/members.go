package schedule

import (
	"slices"
	"strings"

	"groundwork/internal/bill"
	"groundwork/internal/fixture"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
)

// glueMembers glues members that stay together for good. Leaves are laid on loose
// members: one with a closed opening round a pad cannot be put over a member that
// stands there, and leaves reach under what arrives. So members are glued when the
// leaves of both are trimmed and hold well enough for clamps. What was glued
// before lies on the bench with them.
func (n *net) glueMembers() {
	in := n.in
	body, ends := n.bodyOfMember(), n.ends()
	n.joined = make([][]int, len(in.Seams.Bodies))
	for b := range n.joined {
		n.joined[b] = []int{b}
	}
	var joints []joint.Joint
	for _, j := range in.Joints.Joints {
		e, ok := ends[j.Contact]
		if ok && j.Kind == piece.Glued && body[e[0]] != body[e[1]] { // else printed as one
			joints = append(joints, j)
		}
	}
	var ups []glueUp
	done := map[string]bool{}
	if in.Fixtures != nil {
		for _, c := range in.Fixtures.Clamping {
			if c.Step != fixture.GlueMembers {
				continue
			}
			up := glueUp{clamps: len(c.Presses), fixtures: c.Fixtures}
			for _, j := range joints {
				if !done[j.ID] && slices.Contains(c.Serves, j.ID) {
					up.parts, done[j.ID] = append(up.parts, j.ID), true
				}
			}
			if len(up.parts) > 0 {
				ups = append(ups, up)
			}
		}
	}
	for _, j := range joints {
		if !done[j.ID] {
			ups = append(ups, glueUp{parts: []string{j.ID}, clamps: guessClamps})
		}
	}
	ready := slices.Clone(n.firm) // for clamps; out of them, the next may be glued on
	for _, up := range ups {
		var touched []int
		for _, j := range joints {
			if slices.Contains(up.parts, j.ID) {
				for _, m := range ends[j.Contact] {
					touched = union(touched, n.with(body[m]))
				}
			}
		}
		slices.Sort(touched)
		ws := after(n.fitted...)
		for _, b := range touched {
			ws = append(ws, ready[b]...)
			ws = append(ws, n.covered(b)...)
		}
		ws = append(ws, n.tools(fixture.GlueMembers, up.parts...)...)
		up.kind, up.line, up.of = Join, bill.Joining, strings.Join(up.parts, "+")
		up.id = "glue members " + up.of
		end := n.glue(up, ws, touched...)
		for _, b := range touched {
			n.joined[b], ready[b], n.firm[b] = touched, after(end), n.cured(after(end))
		}
	}
}

// with is a body and what it is glued to so far.
func (n *net) with(b int) []int {
	if b == plugs {
		return []int{plugs}
	}
	return n.joined[b]
}

// covered waits until a body's leaves are trimmed and hold against clamps and
// sandpaper.
func (n *net) covered(b int) []wait {
	c := n.covers[b]
	if c == nil {
		return nil
	}
	return append(after(c.trims...), lagged(n.in.Shop.Work.BondWork, "the bond grows", c.lays...)...)
}
