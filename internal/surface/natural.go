package surface

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"groundwork/internal/geom"
)

// Natural is a frame that a solid which is neither a board nor a turning may be
// described in: z out of its largest flat side, faces in one plane taken
// together, x along the longer side of the smallest rectangle round it seen that
// way; without flat sides, x along its longest principal axis and z along its
// shortest. z points upward in the solid's coordinates (along +z, else -y, else
// +x) if there is a flat side of the same size that way, and x toward +x, else
// +y, else +z. The origin is in the middle of the solid's box along these axes.
func (s *Solid) Natural() geom.Frame {
	z, x, ok := s.flatAxes()
	if !ok {
		z, x = s.principalAxes()
	}
	if !forward(x) {
		x = x.Neg()
	}
	f := geom.FrameFromXZ(geom.Vec3{}, x, z)
	box := geom.EmptyBox3()
	for _, v := range s.Vertices {
		box = box.Add(f.Local(v))
	}
	f.Origin = f.Point(box.Center())
	return f
}

// flatAxes are the normal of the largest flat side and the direction in it in
// which the solid is longest.
func (s *Solid) flatAxes() (z, x geom.Vec3, ok bool) {
	type side struct {
		plane geom.Plane
		area  float64
	}
	tol := 1e-5 * s.Bounds().Size().Len()
	var sides []side
	for _, f := range s.Faces {
		if f.Kind != Plane {
			continue
		}
		pl := geom.PlaneAt(f.Frame.Origin, f.Frame.Z)
		i := slices.IndexFunc(sides, func(o side) bool {
			return o.plane.Normal.Dist(pl.Normal) < 1e-4 && math.Abs(o.plane.Distance(f.Frame.Origin)) < tol
		})
		if i < 0 {
			i = len(sides)
			sides = append(sides, side{plane: pl})
		}
		sides[i].area += f.Area
	}
	if len(sides) == 0 {
		return z, x, false
	}
	best := 0
	for i, o := range sides {
		switch b := sides[best]; {
		case o.area > b.area*1.001, o.area > b.area/1.001 && upward(o.plane.Normal) && !upward(b.plane.Normal):
			best = i
		}
	}
	z = sides[best].plane.Normal
	// The smallest rectangle: one side of it lies along a side of the hull, whose
	// directions are among those of edges; a sweep by half degrees, then finer, is
	// near enough for a frame.
	f := geom.FrameFromZ(geom.Vec3{}, z)
	area := func(a float64) (float64, geom.Vec2) {
		sin, cos := math.Sincos(a)
		box := geom.EmptyBox2()
		for _, v := range s.Vertices {
			p := f.Local(v).XY()
			box = box.Add(geom.V2(p.X*cos+p.Y*sin, p.Y*cos-p.X*sin))
		}
		size := box.Size()
		return size.X * size.Y, size
	}
	// Straight edges first: on furniture they are nearly always right.
	angles := []float64{}
	twin := s.twin
	if twin == nil {
		var err error
		if twin, err = twins(len(s.Vertices), s.Triangles); err != nil {
			return z, x, false
		}
	}
	for t := range s.Triangles {
		k := s.Triangles[t]
		for i := range 3 {
			if a, b := s.Of[t], s.Of[twin[3*t+i]/3]; a == b || s.Faces[a].Kind != Plane || s.Faces[b].Kind != Plane {
				continue
			}
			d := f.LocalDir(s.Vertices[k[(i+1)%3]].Sub(s.Vertices[k[i]])).XY()
			if d.Len() > 0.02*s.Bounds().Size().Len() {
				a := math.Mod(d.Angle()+2*math.Pi, math.Pi/2)
				if !slices.ContainsFunc(angles, func(o float64) bool { return math.Abs(o-a) < 1e-4 }) && len(angles) < 64 {
					angles = append(angles, a)
				}
			}
		}
	}
	for i := range 90 {
		angles = append(angles, float64(i)*math.Pi/180)
	}
	least, at, size := math.Inf(1), 0.0, geom.Vec2{}
	for _, a := range angles {
		if v, sz := area(a); v < least*(1-1e-6) {
			least, at, size = v, a, sz
		}
	}
	if size.Y > size.X*(1+1e-6) {
		at += math.Pi / 2
	}
	sin, cos := math.Sincos(at)
	return z, f.Dir(geom.V3(cos, sin, 0)), true
}

// principalAxes are the directions of least and of greatest spread of the
// surface's area.
func (s *Solid) principalAxes() (z, x geom.Vec3) {
	var mid geom.Vec3
	total := 0.0
	each := func(do func(p geom.Vec3, a float64)) {
		for t, k := range s.Triangles {
			a := s.cross(int32(t)).Len() / 2
			do(s.Vertices[k[0]].Add(s.Vertices[k[1]]).Add(s.Vertices[k[2]]).Scale(1./3), a)
		}
	}
	each(func(p geom.Vec3, a float64) { mid, total = mid.Add(p.Scale(a)), total+a })
	mid = mid.Scale(1 / total)
	m := mat.NewSymDense(3, nil)
	each(func(p geom.Vec3, a float64) {
		d := p.Sub(mid)
		c := [3]float64{d.X, d.Y, d.Z}
		for i := range 3 {
			for j := i; j < 3; j++ {
				m.SetSym(i, j, m.At(i, j)+a*c[i]*c[j])
			}
		}
	})
	var eig mat.EigenSym
	if !eig.Factorize(m, true) {
		return geom.V3(0, 0, 1), geom.V3(1, 0, 0)
	}
	var v mat.Dense
	eig.VectorsTo(&v)
	col := func(j int) geom.Vec3 { return geom.V3(v.At(0, j), v.At(1, j), v.At(2, j)) }
	z, x = col(0), col(2)
	if !upward(z) {
		z = z.Neg()
	}
	return z, x
}
