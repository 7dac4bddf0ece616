//go:build outside

package stress

import (
	"groundwork/internal/elastic"
	"groundwork/internal/geom"
)

// GroundForce is all that the ground does to the piece, N.
func (st *State) GroundForce() (f geom.Vec3) {
	for i, l := range st.s.links {
		if l.B == elastic.Ground {
			r := st.r.Link(i)
			f = f.Add(l.Axis.Scale(r.Tension)).Add(r.Across)
		}
	}
	return f
}
