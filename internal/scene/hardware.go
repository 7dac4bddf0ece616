package scene

import (
	"fmt"
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/plan"
	"groundwork/internal/veneer"
)

// standard holds the sizes of a cap screw and its washer that show, mm.
type standard struct {
	diameter       float64
	head, height   float64 // ISO 4762, plain heads
	key            float64 // across flats, ISO 4762
	socket         float64 // depth of the socket, ISO 4762 (from memory)
	washer, washed float64 // outer diameter and thickness, ISO 7089 (from memory)
}

var standards = map[string]standard{
	"M4": {4, 7, 4, 3, 2, 9, 0.8},
	"M5": {5, 8.5, 5, 4, 2.5, 10, 1.0},
	"M6": {6, 10, 6, 5, 3, 12, 1.6},
	"M8": {8, 13, 8, 6, 4, 16, 1.6},
}

// facets of round hardware; it is small on the screen.
const facets = 24

// screw is a cap screw with its washer, driven along +Z, its washer's or else
// its head's underside at the origin.
func screw(s joint.Screw) *triangles {
	m, ok := standards[s.Size]
	if !ok { // in the proportions of the others
		var d float64
		fmt.Sscanf(s.Size, "M%g", &d)
		d = max(d, 2)
		m = standard{d, 1.6 * d, d, 0.8 * d, d / 2, 2 * d, d / 4}
	}
	under := 0.0
	out := &triangles{}
	if s.Washer {
		under = -m.washed
		out.add(lathe(facets, geom.V2(m.diameter/2, under), geom.V2(m.washer/2, under), geom.V2(m.washer/2, 0), geom.V2(m.diameter/2, 0)))
	}
	key, tip := m.key/math.Sqrt(3)*0.95, under+s.Length // the socket is shown round
	out.add(lathe(facets,
		geom.V2(0, under-m.height+m.socket), geom.V2(key, under-m.height+m.socket), geom.V2(key, under-m.height), geom.V2(m.head/2-m.height/16, under-m.height),
		geom.V2(m.head/2, under-m.height*15/16), geom.V2(m.head/2, under), geom.V2(m.diameter/2, under),
		geom.V2(m.diameter/2, tip-m.diameter/8), geom.V2(m.diameter*3/8, tip), geom.V2(0, tip)))
	return out
}

// insert is a heat-set insert, let in along +Z from the origin.
func insert(outer, bore, length float64) *triangles {
	o, b, waist := outer/2, bore/2, length/8
	return lathe(facets,
		geom.V2(b, 0), geom.V2(o, 0), geom.V2(o, length/2-waist/2), geom.V2(o*0.9, length/2-waist/2), geom.V2(o*0.9, length/2+waist/2),
		geom.V2(o, length/2+waist/2), geom.V2(o*0.95, length), geom.V2(b, length))
}

// dowel lies along Z, its middle at the origin.
func dowel(diameter, length float64) *triangles {
	r, h, c := diameter/2, length/2, diameter/10
	return lathe(facets, geom.V2(0, -h), geom.V2(r-c, -h), geom.V2(r, c-h), geom.V2(r, h-c), geom.V2(r-c, h), geom.V2(0, h))
}

// plug closes a hole from the origin down.
func plug(diameter, depth float64) *triangles {
	return lathe(facets, geom.V2(0, -depth), geom.V2(diameter/2, -depth), geom.V2(diameter/2, 0), geom.V2(0, 0))
}

// plugFace is where a plug's own face lies: flush with the core, which is as far
// under the size in the piece file, where its centre is given, as the veneer needs.
func plugFace(pl *plan.Plan, g joint.Plug) geom.Frame {
	inset := pl.Layout.Coverings[g.Member][g.Surface].Inset
	return geom.FrameFromZ(g.Center.Sub(g.Axis.Scale(inset)), g.Axis)
}

// plugLeaf is the leaf on a plug, in its place.
func plugLeaf(pl *plan.Plan, p veneer.Pattern, g joint.Plug) *triangles {
	stack := pl.Layout.Coverings[g.Member][g.Surface].Stack
	f := plugFace(pl, g)
	f.Origin = f.Origin.Add(f.Z.Scale(stack))
	points, tris := fill(thinned(p.Net, flatChord))
	out := &triangles{Place: points}
	for _, q := range points {
		q = q.Rotate(-p.Turn).Add(p.Chart)
		out.Points = append(out.Points, f.Point(geom.V3(q.X, q.Y, 0)))
		out.Normals = append(out.Normals, f.Z)
	}
	for _, t := range tris {
		out.Index = append(out.Index, t[0], t[1], t[2])
	}
	out.rim(stack)
	return out
}
