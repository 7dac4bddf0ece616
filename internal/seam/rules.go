package seam

import (
	"fmt"
	"math"
	"slices"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// asked is what the maker asks for of one body.
type asked struct {
	rules []int // indices into Inputs.Rules, in order
	pins  []pin
	whole []string // members that are not to be cut
}

type pin struct {
	plane  geom.Plane // world
	member string
	axis   int
	at     float64
}

// applyRules reads the rules that name a member of the body.
func (c *cutter) applyRules() {
	for i, r := range c.in.Rules {
		for _, m := range c.body.Members {
			core := c.in.Cores[m]
			if r.Member != core.ID && r.Member != core.Name {
				continue
			}
			if !slices.Contains(c.asked.rules, i) {
				c.asked.rules = append(c.asked.rules, i)
			}
			// A twin made by a mirror has its own x reversed: what is said of the one
			// holds for the other as its mirror image.
			side := 1.0
			if core.Mirrored && r.Axis == 0 {
				side = -1
			}
			axis := [3]geom.Vec3{core.Place.X, core.Place.Y, core.Place.Z}[r.Axis].Scale(side)
			switch r.Kind {
			case piece.SeamAt:
				c.asked.pins = append(c.asked.pins, pin{geom.PlaneAt(core.Place.Origin.Add(axis.Scale(r.At)), axis), core.ID, r.Axis, r.At})
			case piece.NoSeam:
				c.noCuts = append(c.noCuts, c.reserved(m, axis, r.Clear))
			case piece.Whole:
				if !slices.Contains(c.asked.whole, core.ID) {
					c.asked.whole = append(c.asked.whole, core.ID)
					c.noCuts = append(c.noCuts, noCut{corners: c.membersPoints(m)})
				}
			}
		}
	}
}

// reserved is a range along an axis of a member, as wide as the member.
func (c *cutter) reserved(m int, axis geom.Vec3, clear [2]float64) noCut {
	place := c.in.Cores[m].Place
	pts := c.membersPoints(m)
	var r [3]interval
	for k, a := range [3]geom.Vec3{place.X, place.Y, place.Z} {
		r[k] = span(pts, a)
		if along := a.Dot(axis); math.Abs(along) > 0.5 {
			o := place.Origin.Dot(a)
			lo, hi := o+along*min(clear[0], clear[1]), o+along*max(clear[0], clear[1])
			r[k] = interval{min(lo, hi), max(lo, hi)}
		}
	}
	n := noCut{axis: axis}
	for i := range 8 {
		pick := func(k int) float64 {
			if i>>k&1 == 0 {
				return r[k].lo
			}
			return r[k].hi
		}
		n.corners = append(n.corners, place.X.Scale(pick(0)).Add(place.Y.Scale(pick(1))).Add(place.Z.Scale(pick(2))))
	}
	return n
}

// membersPoints are the corners of a member's own solid, without its pads.
func (c *cutter) membersPoints(m int) []geom.Vec3 {
	return c.meshes[c.solids[slices.Index(c.body.Members, m)]].Vertices
}

func (c *cutter) pinned(pl geom.Plane) bool {
	return slices.ContainsFunc(c.asked.pins, func(p pin) bool {
		return p.plane == pl || p.plane == pl.Flip()
	})
}

// pinCuts is the body cut by the planes that the maker has pinned. A pin that
// cannot be met is a Stop finding, and is left out.
func (c *cutter) pinCuts() *node {
	root := &node{cell: c.whole}
	for _, p := range c.asked.pins {
		what := fmt.Sprintf("The seam asked for across %s at %s = %.1f mm", p.member, string("xyz"[p.axis]), p.at)
		remedy := "Move it, or leave it out and let the place be chosen."
		r := span(c.whole.pts, p.plane.Normal)
		why := ""
		switch _, _, ok := c.allowed(c.whole, p.plane); {
		case len(c.whole.pts) > 0 && p.plane.D <= r.lo || p.plane.D >= r.hi:
			why = fmt.Sprintf("misses it: it reaches from %.1f to %.1f mm", p.at+r.lo-p.plane.D, p.at+r.hi-p.plane.D)
		case p.plane.D < r.lo+c.o.Sliver || p.plane.D > r.hi-c.o.Sliver:
			why = fmt.Sprintf("leaves a part thinner than %.0f mm", c.o.Sliver)
		case !ok:
			why = "would " + c.obstacle(p.plane)
		}
		if why != "" {
			c.findings = append(c.findings, finding.Finding{
				Severity: finding.Stop, Stage: "seam", Code: "seam-not-where-asked", Subject: p.member,
				Message: what + " " + why + ".", Remedy: remedy, Source: "rules for seams, docs/seams.md",
			})
			continue
		}
		root = c.cutAll(root, p.plane)
	}
	return root
}

// cutAll cuts every leaf of a tree that a plane passes through.
func (c *cutter) cutAll(n *node, pl geom.Plane) *node {
	if !n.leaf() {
		out := *n
		out.below, out.above = c.cutAll(n.below, pl), c.cutAll(n.above, pl)
		return &out
	}
	lower, upper := c.split(n.cell, pl)
	if lower.empty() || upper.empty() {
		return n
	}
	return &node{cell: n.cell, plane: pl, below: &node{cell: lower}, above: &node{cell: upper}}
}

// obstacle says in words what a plane that is not allowed would do.
func (c *cutter) obstacle(pl geom.Plane) string {
	for _, b := range c.bores {
		if r := boreSpan(b, pl.Normal); max(0, r.lo-pl.D, pl.D-r.hi) < c.o.BoreClear {
			return fmt.Sprintf("come within %.0f mm of the bore %s", c.o.BoreClear, b.ID)
		}
	}
	for _, n := range c.noCuts {
		if r := span(n.corners, pl.Normal); r.lo < pl.D && r.hi > pl.D {
			return "lie where no seam is to be"
		}
	}
	return "come too near a joint in the veneer"
}

// unmet reports what the maker asked for and cannot be had: members that are to
// stay whole, or ranges to be kept clear, of a body that then does not fit.
func (c *cutter) unmet() {
	subject, message := c.body.ID, ""
	if len(c.asked.whole) > 0 {
		subject = c.asked.whole[0]
		box := geom.EmptyBox3()
		for _, p := range c.whole.pts {
			box = box.Add(geom.V3(p.Dot(c.axes[0]), p.Dot(c.axes[1]), p.Dot(c.axes[2])))
		}
		s := box.Size()
		message = fmt.Sprintf("%s is to stay whole, but %s (%.0f x %.0f x %.0f mm) then fits no printer. It has been cut all the same, so that the rest of the job can be seen.", subject, c.body.ID, s.X, s.Y, s.Z)
	} else {
		message = fmt.Sprintf("No cuts bring %s into a printer and keep clear of the ranges where no seam is to be. It has been cut as if they were not reserved, so that the rest of the job can be seen.", subject)
	}
	c.findings = append(c.findings, finding.Finding{
		Severity: finding.Stop, Stage: "seam", Code: "seams-not-as-asked", Subject: subject, Message: message,
		Remedy: "Use a printer with a larger volume; or make the member smaller, or of two members; or take the rule back.",
		Source: "rules for seams, docs/seams.md",
	})
}
