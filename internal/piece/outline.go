package piece

import (
	"math"
	"slices"

	"groundwork/internal/geom"
)

// BreakAngle is the usual break angle in radians: a band of veneer is not laid
// round a corner sharper than this (30 degrees; common practice, no source).
const BreakAngle = 30 * math.Pi / 180

// smooth is the greatest turning, in radians, between two straight segments
// that are taken to lie in one line.
const smooth = 1e-9

// NewOutline groups the segments of a closed path into edges: a new one starts
// at every corner that turns by more than breakAngle radians, to either side.
// A path without such a corner is a single edge that closes on itself.
func NewOutline(p geom.Path, breakAngle float64) Outline {
	o := Outline{Path: p, Run: make([]int, len(p.Segs))}
	run := 0
	for i := range p.Segs {
		if i > 0 && math.Abs(p.Corner(i)) > breakAngle {
			run++
		}
		o.Run[i] = run
	}
	// Without a corner at the path's start the last edge runs on into the first.
	if n := len(p.Segs); run > 0 && math.Abs(p.Corner(0)) <= breakAngle {
		for i := n - 1; i >= 0 && o.Run[i] == run; i-- {
			o.Run[i] = 0
		}
	}
	return o
}

// Runs is the number of edges of the outline.
func (o Outline) Runs() int {
	if len(o.Run) == 0 {
		return 0
	}
	return slices.Max(o.Run) + 1
}

// RunPath is edge k of the outline, in the outline's direction of travel. It
// is closed if the edge is the whole outline without a corner above
// BreakAngle.
func (o Outline) RunPath(k int) geom.Path {
	n := len(o.Path.Segs)
	if o.Runs() == 1 {
		sharpest, at := BreakAngle, -1
		for i := range n {
			if c := math.Abs(o.Path.Corner(i)); c > sharpest+smooth {
				sharpest, at = c, i
			}
		}
		if at < 0 {
			return geom.Path{Segs: slices.Clone(o.Path.Segs), Closed: true}
		}
		return geom.Path{Segs: slices.Concat(o.Path.Segs[at:], o.Path.Segs[:at])}
	}
	var p geom.Path
	for i := range n {
		if o.Run[i] != k || o.Run[(i+n-1)%n] == k {
			continue
		}
		for j := i; o.Run[j] == k; j = (j + 1) % n {
			p.Segs = append(p.Segs, o.Path.Segs[j])
		}
		break
	}
	return p
}

// profileKind is what a profile segment makes when it is revolved.
func profileKind(s geom.Seg) SurfaceKind {
	if s.Kind != geom.Line {
		return Free
	}
	t := s.Tangent(0)
	switch {
	case math.Abs(t.X) < level:
		return Cylinder
	case math.Abs(t.Y) < level:
		return Plane
	}
	return Cone
}

// NewTurning groups the segments of a profile, an open path in (radius, z),
// into sides: a new one starts at every corner that turns by more than
// breakAngle radians, at every change of kind, and between straight segments
// that are not in one line, since each makes a cone of its own.
func NewTurning(p geom.Path, breakAngle float64) Turning {
	t := Turning{Profile: p, Run: make([]int, len(p.Segs))}
	run := 0
	for i, s := range p.Segs {
		if i > 0 {
			kind, was := profileKind(s), profileKind(p.Segs[i-1])
			limit := breakAngle
			if kind != Free {
				limit = smooth
			}
			if kind != was || math.Abs(p.Corner(i)) > limit {
				run++
			}
		}
		t.Run[i] = run
	}
	return t
}

// Runs is the number of sides of the turning.
func (t Turning) Runs() int {
	if len(t.Run) == 0 {
		return 0
	}
	return slices.Max(t.Run) + 1
}

// RunPath is the profile of side k.
func (t Turning) RunPath(k int) geom.Path {
	var p geom.Path
	for i, s := range t.Profile.Segs {
		if t.Run[i] == k {
			p.Segs = append(p.Segs, s)
		}
	}
	return p
}

// ends are the first and the last point of the profile.
func (t Turning) ends() (low, high geom.Vec2) {
	return t.Profile.Segs[0].From(), t.Profile.Segs[len(t.Profile.Segs)-1].To()
}
