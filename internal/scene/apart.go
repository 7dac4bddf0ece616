package scene

import (
	"groundwork/internal/core"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/veneer"
)

// motion is how something moves while the piece is taken apart: by Away (mm,
// world) while the slider goes from From to To, both in 0..1.
type motion struct {
	Away     geom.Vec3
	From, To float64
}

// assembly is what is still together before a stage of taking apart, and what
// it then falls into. It has either a body or parts.
type assembly struct {
	motion
	body  int // index into the bodies; -1 with parts
	parts []*assembly
}

// apart is how a piece is taken apart.
type apart struct {
	whole  *assembly
	stages []Stage
	size   geom.Box3
}

func takeApart(m *maker, seams bool) *apart {
	a := &apart{whole: &assembly{body: -1}}
	for i := range m.bodies {
		a.whole.parts = append(a.whole.parts, &assembly{body: i})
	}
	return a
}
func (a *apart) lift(p veneer.Pattern, t *triangles) motion { return motion{} }
func (a *apart) unplug(joint.Plug) motion                   { return motion{} }
func (a *apart) drawBack(joint.Screw) motion                { return motion{} }
func (a *apart) part(s []core.Segment) []motion             { return make([]motion, len(s)) }
