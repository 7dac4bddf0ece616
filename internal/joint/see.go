package joint

import (
	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// How much an opening disturbs where it is, to choose the side that a screw's
// head goes in by: the least sum of this and a hundredth of the counterbore's
// depth in mm wins. Only the order matters: out of sight, underneath, towards
// the middle of the piece, outside, on top.
const (
	costHidden    = 0
	costUnderside = 1
	costInner     = 2
	costOuter     = 4
	costTop       = 6
)

// look tells what is seen of a piece.
type look struct {
	p        *piece.Piece
	middle   geom.Vec3
	surfaces [][]piece.Surface
}

// matches scores how well a name given in the piece file fits a member: 2 for
// its ID, 1 for its name, 0 for every member, -1 for none.
func matches(given string, m *piece.Member) int {
	switch given {
	case m.ID:
		return 2
	case m.Name:
		return 1
	case "*":
		return 0
	}
	return -1
}

// rule is what the piece file says about a surface, "" for nothing: the most
// specific rule, the first of equals.
func (l *look) rule(member, surface int) string {
	m, s := &l.p.Members[member], &l.surfaces[member][surface]
	best, say := -1, ""
	for _, r := range l.p.Surfaces {
		if r.Show == "" {
			continue
		}
		a, b := matches(r.Member, m), -1
		switch {
		case r.Surface == s.Name:
			b = 2
		case r.Surface == "faces" && s.Role == piece.Face,
			r.Surface == "edges" && (s.Role == piece.Edge || s.Role == piece.Side),
			r.Surface == "ends" && s.Role == piece.EndOf:
			b = 1
		case r.Surface == "*":
			b = 0
		}
		if a < 0 || b < 0 {
			continue
		}
		if score := 3*a + b; score > best {
			best, say = score, r.Show
		}
	}
	return say
}

// cost rates an opening at a point of a surface, whose way out is the
// direction out.
func (l *look) cost(member, surface int, at, out geom.Vec3) float64 {
	if surface >= 0 {
		if r := l.rule(member, surface); r == "hidden" || r == "bare" {
			return costHidden
		}
	}
	const steep = 0.7 // within 45 degrees of straight up or down
	switch {
	case out.Z < -steep:
		return costUnderside
	case out.Z > steep:
		return costTop
	case l.middle.Sub(at).XY().Dot(out.XY()) > 0:
		return costInner
	}
	return costOuter
}

// seen reports whether an opening needs a plug.
func (l *look) seen(member, surface int, at, out geom.Vec3) bool {
	return l.cost(member, surface, at, out) >= costInner
}
