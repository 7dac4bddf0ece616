package surface

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// SnapKind says what was made equal.
type SnapKind string

// The kinds of snap.
const (
	Parallel      SnapKind = "parallel"      // axis or normal to another, or to a coordinate axis
	Perpendicular SnapKind = "perpendicular" // axis or normal to another
	Coaxial       SnapKind = "coaxial"       // axis to another axis; a sphere's centre onto it
	Level         SnapKind = "level"         // a plane into another plane
	SameRadius    SnapKind = "same radius"   // of cylinders or spheres
)

// Snap is one change to a face's geometry that its vertices allow: it was
// drawn so, in all likelihood, and only rounding had parted it.
type Snap struct {
	Face, With int32 // With -1: a coordinate axis
	Kind       SnapKind
	By         float64 // Parallel, Perpendicular: radians; the others: mm
}

// snap sets faces right by one another: larger ones lead, smaller ones follow.
// A change is made only if rounding can explain it, and only if the face's
// vertices still lie within the tolerance.
func (g *grower) snap() []Snap {
	type member struct {
		face   int
		area   float64
		extent float64 // mm; how far the face reaches, which tells how sure its direction is
		middle geom.Vec3
		points []geom.Vec3 // vertices on the surface
	}
	var members []member
	for i := range g.found {
		face := &g.found[i]
		if !face.Exact() {
			continue
		}
		m := member{face: i}
		box := geom.EmptyBox3()
		g.stamp++
		for _, f := range g.parts[i] {
			m.area += g.facet[f].area
			for _, v := range g.corner[f] {
				if g.stampV[v] == g.stamp {
					continue
				}
				g.stampV[v] = g.stamp
				p := g.Vertices[v]
				box = box.Add(p)
				if math.Abs(face.Distance(p)) <= 4*g.tol {
					m.points = append(m.points, p)
				}
			}
		}
		m.middle = box.Center()
		size := box.Size()
		m.extent = max(size.X, size.Y, size.Z)
		if face.Kind == Plane {
			// A plane is as sure as it is wide across its narrow way.
			m.extent = min(m.extent, 2*m.area/m.extent)
		}
		members = append(members, m)
	}
	slices.SortStableFunc(members, func(a, b member) int {
		return cmp.Or(cmp.Compare(math.Round(b.area/(g.extent*g.tol)), math.Round(a.area/(g.extent*g.tol))),
			cmp.Compare(a.middle.X, b.middle.X), cmp.Compare(a.middle.Y, b.middle.Y), cmp.Compare(a.middle.Z, b.middle.Z))
	})

	var snaps []Snap
	// set makes a change if the vertices allow it.
	set := func(m *member, next Face, s Snap) bool {
		face := &g.found[m.face]
		before, after := 0.0, 0.0
		for _, p := range m.points {
			before = max(before, math.Abs(face.Distance(p)))
			after = max(after, math.Abs(next.Distance(p)))
		}
		if after > max(before, g.tol) {
			return false
		}
		*face = next
		if s.By > 0 {
			s.Face = int32(m.face)
			snaps = append(snaps, s)
		}
		return true
	}
	// turned is the face with its normal or axis turned to dir, about its middle.
	turned := func(m *member, dir geom.Vec3) Face {
		f := g.found[m.face]
		if f.Kind == Plane {
			lo, hi := math.Inf(1), math.Inf(-1)
			for _, p := range m.points {
				d := dir.Dot(p)
				lo, hi = min(lo, d), max(hi, d)
			}
			o := f.Frame.Origin
			f.Frame = geom.FrameFromZ(o.Add(dir.Scale((lo+hi)/2-dir.Dot(o))), dir)
			return f
		}
		slide := m.middle.Sub(f.Frame.Origin).Dot(f.Frame.Z)
		f.Radius += f.Slope * slide
		f.Frame = geom.FrameFromZ(f.Frame.Origin.Add(f.Frame.Z.Scale(slide)), dir)
		return f
	}

	type direction struct {
		dir  geom.Vec3
		face int32
	}
	world := []direction{{geom.V3(1, 0, 0), -1}, {geom.V3(0, 1, 0), -1}, {geom.V3(0, 0, 1), -1}}
	var leads []direction // of faces gone before, that follow no other
	for k := range members {
		m := &members[k]
		face := &g.found[m.face]
		if face.Kind == Sphere {
			continue
		}
		z := face.Frame.Z
		sure := min(1e-3, 4*g.rounding/m.extent)
		follow := func(d direction) bool {
			dir := d.dir
			if dir.Dot(z) < 0 {
				dir = dir.Neg()
			}
			by := dir.Cross(z).Len()
			return by <= sure && set(m, turned(m, dir), Snap{With: d.face, Kind: Parallel, By: by})
		}
		// The nearest of the faces before leads. A small face, of unsure
		// direction, must not be drawn to a coordinate axis that the large ones
		// were free to miss.
		nearest, least := -1, sure
		for i, d := range leads {
			if by := d.dir.Cross(z).Len(); by < least {
				nearest, least = i, by
			}
		}
		if nearest >= 0 && follow(leads[nearest]) {
			continue
		}
		square := leads[:0:0]
		for _, d := range leads {
			if by := math.Abs(d.dir.Dot(z)); by <= sure {
				square = append(square, d)
			}
		}
		free := func(d direction) bool {
			for _, l := range square {
				if l.dir.Dot(d.dir) != 0 {
					return false
				}
			}
			return follow(d)
		}
		if !slices.ContainsFunc(world, free) && len(square) > 0 {
			dir := offAxis(z, square[0].dir).Unit()
			for _, d := range square[1:] {
				if c := square[0].dir.Cross(d.dir); c.Len() > 0.1 {
					if dir = c.Unit(); dir.Dot(z) < 0 {
						dir = dir.Neg()
					}
					break
				}
			}
			set(m, turned(m, dir), Snap{With: square[0].face, Kind: Perpendicular, By: dir.Cross(z).Len()})
		}
		leads = append(leads, direction{face.Frame.Z, int32(m.face)})
	}

	for k := range members {
		m := &members[k]
		face := &g.found[m.face]
		for j := range k {
			lead := &g.found[members[j].face]
			aligned := lead.Kind != Sphere && (face.Kind == Sphere || face.Frame.Z == lead.Frame.Z || face.Frame.Z == lead.Frame.Z.Neg())
			if face.Kind == Plane {
				if lead.Kind != Plane || !aligned {
					continue
				}
				by := lead.Distance(face.Frame.Origin)
				if math.Abs(by) > 2*g.tol {
					continue
				}
				next := *face
				next.Frame.Origin = face.Frame.Origin.Sub(lead.Frame.Z.Scale(by))
				if set(m, next, Snap{With: int32(members[j].face), Kind: Level, By: math.Abs(by)}) {
					break
				}
				continue
			}
			if lead.Kind == Plane || lead.Kind == Sphere || !aligned {
				continue
			}
			off := offAxis(face.Frame.Origin.Sub(lead.Frame.Origin), lead.Frame.Z)
			if off.Len() > 2*g.tol {
				continue
			}
			next := *face
			next.Frame.Origin = face.Frame.Origin.Sub(off)
			if set(m, next, Snap{With: int32(members[j].face), Kind: Coaxial, By: off.Len()}) {
				break
			}
		}
		for j := range k {
			lead := &g.found[members[j].face]
			if lead.Kind != face.Kind || face.Kind != Cylinder && face.Kind != Sphere {
				continue
			}
			by := math.Abs(lead.Radius - face.Radius)
			if by > 2*g.tol {
				continue
			}
			next := *face
			next.Radius = lead.Radius
			if set(m, next, Snap{With: int32(members[j].face), Kind: SameRadius, By: by}) {
				break
			}
		}
	}
	return snaps
}
