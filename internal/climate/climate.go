// Package climate says what heat and the moisture of the air do to a finished
// piece: plastic that softens, cores that grow more than the veneer round them,
// boards that go hollow because veneer shrinks on one side of them.
//
//   - air.go: the moisture content that wood comes to (EMC).
//   - wood.go: how species move, and how stiff and strong they are.
//   - bend.go: bending of a laminate of layers that want to be of unlike size.
//   - board.go: boards under veneer, core fill and all, and their findings.
//   - heat.go: filaments and adhesives against what furniture meets.
//
// mm, N, MPa, °C; moisture in per cent of the oven-dry mass. Every value of a
// plastic comes from the shop file; those that stand here are generic and are
// told as such. Nothing here certifies anything.
package climate

import "groundwork/internal/finding"

func find(s finding.Severity, code, subject, message, remedy, source string) finding.Finding {
	return finding.Finding{Severity: s, Stage: "climate", Code: code, Subject: subject, Message: message, Remedy: remedy, Source: source}
}
