package surface

import (
	"math"

	"groundwork/internal/geom"
)

// Volume is what the solid encloses, mm³: the divergence theorem over its
// triangles, so facets count, not the surfaces that they stand for.
func (s *Solid) Volume() float64 {
	if len(s.Vertices) == 0 {
		return 0
	}
	// Taken from a corner of the solid itself, lest a solid far from the origin
	// lose digits.
	o := s.Vertices[0]
	sum := 0.0
	for _, t := range s.Triangles {
		a, b, c := s.Vertices[t[0]].Sub(o), s.Vertices[t[1]].Sub(o), s.Vertices[t[2]].Sub(o)
		sum += a.Dot(b.Cross(c))
	}
	return sum / 6
}

// Area is the area of all triangles, mm².
func (s *Solid) Area() float64 {
	sum := 0.0
	for t := range s.Triangles {
		sum += s.cross(int32(t)).Len()
	}
	return sum / 2
}

// Bounds is the smallest box that holds the solid.
func (s *Solid) Bounds() geom.Box3 {
	box := geom.EmptyBox3()
	for _, v := range s.Vertices {
		box = box.Add(v)
	}
	return box
}

// cross is twice the area of a triangle times its outward normal.
func (s *Solid) cross(t int32) geom.Vec3 {
	k := s.Triangles[t]
	a := s.Vertices[k[0]]
	return s.Vertices[k[1]].Sub(a).Cross(s.Vertices[k[2]].Sub(a))
}

// In is the solid, given in f's coordinates, in f's enclosing coordinates. It
// shares with s whatever does not depend on where it stands.
func (s *Solid) In(f geom.Frame) *Solid {
	moved := *s
	moved.Vertices = make([]geom.Vec3, len(s.Vertices))
	for i, v := range s.Vertices {
		moved.Vertices[i] = f.Point(v)
	}
	moved.Faces = make([]Face, len(s.Faces))
	for i, face := range s.Faces {
		if face.Exact() {
			face.Frame = face.Frame.In(f)
		}
		moved.Faces[i] = face
	}
	return &moved
}

// Exact reports whether the face has a geometry of its own, beyond its
// triangles: a plane, cylinder, cone or sphere.
func (f *Face) Exact() bool {
	switch f.Kind {
	case Plane, Cylinder, Cone, Sphere:
		return true
	}
	return false
}

// Distance is the signed distance in mm of a point from the face's surface,
// carried on beyond the face's borders; positive outside the material. From a
// cone it is measured square to the ruling through the point, on the side of
// the apex where the face is. It is NaN for a face that is not Exact.
func (f *Face) Distance(p geom.Vec3) float64 {
	d := p.Sub(f.Frame.Origin)
	out := 1.0
	if f.Hollow {
		out = -1
	}
	switch f.Kind {
	case Plane:
		return d.Dot(f.Frame.Z)
	case Cylinder:
		return out * (offAxis(d, f.Frame.Z).Len() - f.Radius)
	case Cone:
		z := d.Dot(f.Frame.Z)
		return out * (offAxis(d, f.Frame.Z).Len() - f.Radius - f.Slope*z) / math.Hypot(1, f.Slope)
	case Sphere:
		return out * (d.Len() - f.Radius)
	}
	return math.NaN()
}

// Normal is the unit normal of the face's surface at the point of it nearest
// to p, out of the material. It is the zero vector on an axis or at a centre,
// where there is none, and for a face that is not Exact.
func (f *Face) Normal(p geom.Vec3) geom.Vec3 {
	d := p.Sub(f.Frame.Origin)
	out := 1.0
	if f.Hollow {
		out = -1
	}
	switch f.Kind {
	case Plane:
		return f.Frame.Z
	case Cylinder:
		return offAxis(d, f.Frame.Z).Unit().Scale(out)
	case Cone:
		r := offAxis(d, f.Frame.Z).Unit()
		if r == (geom.Vec3{}) {
			return r
		}
		return r.Sub(f.Frame.Z.Scale(f.Slope)).Unit().Scale(out)
	case Sphere:
		return d.Unit().Scale(out)
	}
	return geom.Vec3{}
}

// offAxis is the part of d square to the unit vector axis.
func offAxis(d, axis geom.Vec3) geom.Vec3 { return d.Sub(axis.Scale(d.Dot(axis))) }
