package surface

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"

	"groundwork/internal/geom"
)

// Options steer Recognise. The zero value is right for most solids.
type Options struct {
	// Tolerance is how far, mm, the numbers of a coarse file may move a vertex
	// off the surface that it belongs to. 0 finds it out: numbers of six
	// decimal digits throughout are taken to be rounded so; all others for single
	// precision, which is what a binary STL file holds. Then vertices may lie
	// 2e-6 of the solid's size off their surfaces, but no less than eight steps
	// of a single-precision number at its farthest coordinate.
	Tolerance float64
	// KeepUnsnapped leaves every face as it was fitted.
	KeepUnsnapped bool
}

// tolerance is o.Tolerance or what stands in for it, and whether that is for
// the sake of coarse numbers.
func (o Options) tolerance(vertices []geom.Vec3) (tol float64, coarse bool) {
	if o.Tolerance > 0 {
		return o.Tolerance, true
	}
	box, far := geom.EmptyBox3(), 0.0
	for _, v := range vertices {
		box = box.Add(v)
		far = max(far, math.Abs(v.X), math.Abs(v.Y), math.Abs(v.Z))
	}
	tol = max(2e-6*box.Size().Len(), 8*far*0x1p-24)
	if far > 0 && (sixDigits(vertices, 1) || sixDigits(vertices, 1/25.4)) {
		return max(tol, 1.5*math.Pow(10, math.Floor(math.Log10(far))-5)), true
	}
	return tol, false
}

// sixDigits reports whether all coordinates, scaled, are numbers of six digits,
// as many programs write them in text. Scaling by a power of ten keeps that;
// from inches it must be undone.
func sixDigits(vertices []geom.Vec3, scale float64) bool {
	var buf [32]byte
	for _, v := range vertices {
		for _, x := range [3]float64{v.X * scale, v.Y * scale, v.Z * scale} {
			y, err := strconv.ParseFloat(string(strconv.AppendFloat(buf[:0], x, 'g', 6, 64)), 64)
			if err != nil || math.Abs(x-y) > 1e-12*math.Abs(x) {
				return false
			}
		}
	}
	return true
}

// Recognise groups the triangles of a closed, oriented mesh into faces. The
// vertices are shared with the result. It fails if the mesh is not closed and
// oriented, or a vertex is not finite.
func Recognise(vertices []geom.Vec3, triangles [][3]int32, o Options) (*Solid, error) {
	if len(triangles) == 0 {
		return nil, errors.New("surface: a mesh without triangles")
	}
	for i, v := range vertices {
		if s := v.X + v.Y + v.Z; math.IsNaN(s) || math.IsInf(s, 0) {
			return nil, fmt.Errorf("surface: vertex %d is not finite", i)
		}
	}
	twin, err := twins(len(vertices), triangles)
	if err != nil {
		return nil, fmt.Errorf("surface: the mesh is not closed: %w", err)
	}
	s := &Solid{Vertices: vertices, Triangles: triangles, twin: twin}
	tol, coarse := o.tolerance(vertices)
	g := newGrower(s, tol, coarse)
	g.facets()
	g.sides()
	g.roundFaces()
	g.absorb()
	g.crumbs()
	g.rest()
	var snaps []Snap
	if !o.KeepUnsnapped {
		snaps = g.snap()
	}
	for i := range g.found {
		g.measure(i)
	}
	number := s.assemble(g.found)
	for i := range snaps {
		snaps[i].Face = number[snaps[i].Face]
		if snaps[i].With >= 0 {
			snaps[i].With = number[snaps[i].With]
		}
	}
	slices.SortStableFunc(snaps, func(a, b Snap) int { return cmp.Or(cmp.Compare(a.Face, b.Face), cmp.Compare(a.With, b.With)) })
	s.Snaps = snaps
	return s, nil
}

// assemble puts the faces in order and numbers the triangles by them. It
// returns the new number of each face.
func (s *Solid) assemble(faces []Face) []int32 {
	type key struct {
		kind   int
		area   float64
		middle geom.Vec3
	}
	kinds := []Kind{Plane, Cylinder, Cone, Sphere, Developable, Free}
	box := s.Bounds()
	grain := 1e-6 * box.Size().Len()
	coarse := func(x, grain float64) float64 { return math.Round(x/grain) * grain }
	keys := make([]key, len(faces))
	for i := range faces {
		f := &faces[i]
		slices.Sort(f.Triangles)
		var sum geom.Vec3
		f.Area = 0
		for _, t := range f.Triangles {
			a := s.cross(t).Len() / 2
			f.Area += a
			k := s.Triangles[t]
			sum = sum.Add(s.Vertices[k[0]].Add(s.Vertices[k[1]]).Add(s.Vertices[k[2]]).Scale(a / 3))
		}
		if f.Area > 0 {
			sum = sum.Scale(1 / f.Area)
		}
		keys[i] = key{
			kind:   slices.Index(kinds, f.Kind),
			area:   coarse(f.Area, 1e-6*box.Size().Len()*box.Size().Len()),
			middle: geom.V3(coarse(sum.X, grain), coarse(sum.Y, grain), coarse(sum.Z, grain)),
		}
	}
	order := make([]int, len(faces))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		a, b := keys[i], keys[j]
		return cmp.Or(cmp.Compare(a.kind, b.kind), cmp.Compare(b.area, a.area),
			cmp.Compare(a.middle.X, b.middle.X), cmp.Compare(a.middle.Y, b.middle.Y), cmp.Compare(a.middle.Z, b.middle.Z),
			cmp.Compare(faces[i].Triangles[0], faces[j].Triangles[0]))
	})
	s.Of = make([]int32, len(s.Triangles))
	s.Faces = make([]Face, len(faces))
	number := make([]int32, len(faces))
	for i, k := range order {
		number[k] = int32(i)
		s.Faces[i] = faces[k]
		for _, t := range faces[k].Triangles {
			s.Of[t] = int32(i)
		}
	}
	return number
}
