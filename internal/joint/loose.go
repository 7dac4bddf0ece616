package joint

import (
	"fmt"

	"groundwork/internal/finding"
	"groundwork/internal/piece"
)

// Loose says what hangs in the air: joint rules whose members nowhere touch,
// and members that touch nothing, flat or round.
func Loose(p *piece.Piece, contacts []Contact, rounds ...RoundContact) []finding.Finding {
	var out []finding.Finding
	for _, c := range rounds {
		contacts = append(contacts[:len(contacts):len(contacts)], Contact{A: c.A, B: c.B})
	}
	named := func(m int, name string) bool { return p.Members[m].ID == name || p.Members[m].Name == name }
	touches := make([]bool, len(p.Members))
	for _, c := range contacts {
		touches[c.A.Member], touches[c.B.Member] = true, true
	}
	group := make([]int, len(p.Members)) // printed as one with others, from 1
	for g, members := range p.PrintAsOne {
		for _, m := range members {
			group[m], touches[m] = g+1, true
		}
	}
	for _, r := range p.Joints {
		met := false
		for _, c := range contacts {
			a, b := c.A.Member, c.B.Member
			met = met || named(a, r.Between[0]) && named(b, r.Between[1]) || named(a, r.Between[1]) && named(b, r.Between[0])
		}
		for a := range p.Members { // what is printed as one needs no joint
			for b := range p.Members {
				met = met || a != b && group[a] > 0 && group[a] == group[b] && named(a, r.Between[0]) && named(b, r.Between[1])
			}
		}
		if !met {
			out = append(out, finding.Finding{
				Severity: finding.Stop, Stage: "joint", Code: "do-not-touch", Subject: r.Between[0] + ":" + r.Between[1],
				Message: fmt.Sprintf("%s and %s are to be joined but nowhere touch with flat or matching round faces.", r.Between[0], r.Between[1]),
				Remedy:  "Move or lengthen one of them until their faces meet, by an end cut if they meet at a slant; or take the joint out.",
				Source:  "geometry", File: p.File, Line: r.Line,
			})
		}
	}
	if len(p.Members) < 2 {
		return out
	}
	for m, member := range p.Members {
		if !touches[m] {
			out = append(out, finding.Finding{
				Severity: finding.Warning, Stage: "joint", Code: "held-by-nothing", Subject: member.ID,
				Message: fmt.Sprintf("%s touches no other member: nothing holds it.", member.ID),
				Remedy:  "Move it until a flat face of it, or a round one that fits, meets another member.",
				Source:  "geometry", File: p.File, Line: member.Line,
			})
		}
	}
	return out
}
