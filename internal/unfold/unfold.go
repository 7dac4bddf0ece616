// Package unfold lays patches of triangle mesh flat: exactly where the surface
// is developable, with the least strain and a full report of it where it is
// not. Every flat point maps back to its point in space.
//
// The chart of a patch is right-handed seen from outside the body, in
// millimetres, with the lower left corner of its bounding box at the origin.
// The method, the designs that were rejected and the measured errors are in
// docs/unfolding.md.
package unfold

import (
	"errors"
	"fmt"

	"groundwork/internal/geom"
)

// Patch is a piece of surface with its flat chart. It must not be changed.
// Vertices along a cut through the patch occur once for each side of it.
type Patch struct {
	Vertices  []geom.Vec3
	Normals   []geom.Vec3 // unit, out of the body, per vertex
	Flat      []geom.Vec2 // per vertex, mm; the chart is right-handed seen from outside
	Triangles [][3]int32
	Origin    []int32 // per vertex: index among the vertices that were given to Flatten; -1 for a point that a cut made

	finder // finds triangles by point; built with the patch
}

// Distortion says how far a flat patch departs from its surface.
type Distortion struct {
	Edge, EdgeRMS float64   // relative change of length: greatest magnitude, root of the mean square
	Stretch       float64   // max over triangles of max(s1, 1/s2) - 1, with s1 >= s2 the singular values of the map to the plane; +Inf where a triangle is turned over
	Area          float64   // relative change of the whole area, signed
	Defect        float64   // greatest |2π - sum of angles| at an interior vertex, radians
	Worst         geom.Vec3 // where Stretch is greatest
	Overlap       bool      // the flat patch lies on itself
}

// Limits are the strains that veneer bears, as fractions.
type Limits struct {
	Along  float64 // along the grain
	Across float64
}

// DefaultLimits are half a per cent along the grain and one across it:
// engineering estimates, no source; measure a coupon.
var DefaultLimits = Limits{Along: 0.005, Across: 0.01}

// Options say how a patch is laid. The zero value is ready for use.
type Options struct {
	// Along is a direction in space that the chart's u axis follows as nearly as
	// it can at the middle of the patch. Zero: u runs along the longer side of
	// the smallest rectangle round the flat patch.
	Along geom.Vec3

	// SeamAt is a point in space near which a patch that goes all the way round
	// is cut open. It wins over SeamToward.
	SeamAt *geom.Vec3

	// SeamToward is a direction in space, seen from the middle of the patch, in
	// which it is cut open. Zero, and no SeamAt: along the shortest cut.
	SeamToward geom.Vec3
}

// The reasons for which a patch cannot be laid flat. Errors of Flatten wrap
// one of them or say what is wrong with the mesh.
var (
	ErrClosed    = errors.New("the surface is closed: cut it open first")
	ErrHandle    = errors.New("the surface has a handle: cut it open first")
	ErrApart     = errors.New("the surface is in several parts")
	ErrNoMesh    = errors.New("no triangle with an area")
	ErrNotFlat   = errors.New("no layout without turned-over triangles was found")
	ErrFold      = errors.New("the surface moved so far folds over itself")
	ErrTriangles = errors.New("bad triangles")
)

// strainWorthCutting is the strain up to which a patch is laid flat without
// asking whether a cut would lower it, and halving is what a cut must achieve
// to be made.
const (
	strainWorthCutting = 1e-3
	halving            = 0.5
)

// Flatten lays one connected patch flat. Triangles run counter-clockwise seen
// from outside the body; every side belongs to at most two of them.
//
// A patch with a single border, or whose further borders are mere holes, is
// laid as it is. One that goes all the way round, such as a cylinder, is cut
// open first, along a straight ruling if it has any, which divides triangles
// where no side runs there; and one with a few sharp points, such as the apex of a cone, is
// cut to them if that halves the strain.
//
// Where the surface is developable the result is exact to rounding. Otherwise
// it minimises the integral of Σ (s - 1/s)² over the surface, s being the two
// principal stretches: for small strains that is four times the elastic energy
// of a sheet with Poisson's ratio 0. It never turns a triangle over, and it may
// lie on itself, which Distortion tells.
func Flatten(vertices []geom.Vec3, triangles [][3]int32, o Options) (*Patch, Distortion, error) {
	m, err := newMesh(vertices, triangles)
	if err != nil {
		return nil, Distortion{}, fmt.Errorf("lay flat: %w", err)
	}
	p, d, err := m.flatten(o)
	if err != nil {
		return nil, Distortion{}, fmt.Errorf("lay flat: %w", err)
	}
	return p, d, nil
}

func (m *mesh) flatten(o Options) (*Patch, Distortion, error) {
	if err := m.check(); err != nil {
		return nil, Distortion{}, err
	}
	m.normal = m.normals()
	var best *Patch
	var least Distortion
	var failed error
	var done [][]stop
	// From the fewest cuts to the most.
	for _, tol := range []struct{ hole, point float64 }{{1, 10}, {1e-3, 10}, {1, 1e-3}, {1e-3, 1e-3}} {
		stops := m.stops(tol.hole, tol.point)
		if contains(done, stops) {
			continue
		}
		done = append(done, stops)
		cut, err := m.cutTree(stops, o)
		if err != nil {
			failed = err
			continue
		}
		p, from, err := m.lay(cut)
		if err != nil {
			failed = err
			continue
		}
		p.apexes = apexes(from, stops)
		d := p.distortion()
		if len(stops) == 2 && !stops[1].point && d.Stretch <= strainWorthCutting {
			if q, e, ok := m.straighten(p, from, cut, stops); ok && e.Stretch <= strainWorthCutting {
				p, d = q, e
			}
		}
		if best == nil || d.Stretch < halving*least.Stretch {
			best, least = p, d
		}
		if least.Stretch <= strainWorthCutting {
			break
		}
	}
	if best == nil {
		return nil, Distortion{}, failed
	}
	best.align(o.Along)
	best.finder = best.index(best.finder)
	return best, least, nil
}

// lay opens a mesh with normals along cut and lays it flat; it says from which
// vertex each of the patch comes.
func (m *mesh) lay(cut map[int32]bool) (*Patch, []int32, error) {
	open, from := m.open(cut)
	flat, err := open.layout()
	if err != nil {
		return nil, nil, err
	}
	return &Patch{Vertices: open.v, Normals: open.normal, Flat: flat, Triangles: open.tri, Origin: open.origin}, from, nil
}

// apexes lists the vertices of an opened mesh that are sharp points.
func apexes(from []int32, stops []stop) (at []int32) {
	for i, v := range from {
		for _, s := range stops {
			if s.point && s.vertices[0] == v {
				at = append(at, int32(i))
			}
		}
	}
	return at
}

// Offset is the patch moved k mm out along its normals and laid flat again:
// same triangles, turned and shifted so that its chart lies as nearly as
// possible on p's. Normals are kept: parallel surfaces share them. Negative k
// moves inward. Where it would fold over itself the error is ErrFold.
func (p *Patch) Offset(k float64) (*Patch, error) {
	q := &Patch{Vertices: make([]geom.Vec3, len(p.Vertices)), Normals: p.Normals, Triangles: p.Triangles, Origin: p.Origin}
	q.apexes = p.apexes
	reach := p.reach()
	for i, v := range p.Vertices {
		q.Vertices[i] = v.Add(p.Normals[i].Scale(k * reach[i]))
	}
	for t, c := range p.Triangles {
		was, is := p.facet(t), q.facet(t)
		if was.Len() > sliver*p.longest(t) && was.Dot(is) <= 0 {
			return nil, fmt.Errorf("move the surface %.3g mm near %.1f, %.1f, %.1f: %w", k,
				p.Vertices[c[0]].X, p.Vertices[c[0]].Y, p.Vertices[c[0]].Z, ErrFold)
		}
	}
	m := &mesh{v: q.Vertices, tri: q.Triangles, origin: q.Origin}
	if err := m.link(); err != nil {
		return nil, fmt.Errorf("move the surface %.3g mm: %w", k, err)
	}
	start := p.Flat
	flat, err := m.layoutFrom(start)
	if err != nil {
		return nil, fmt.Errorf("move the surface %.3g mm: %w", k, err)
	}
	q.Flat = flat
	q.alignTo(p)
	q.finder = q.index(q.finder)
	return q, nil
}

// reach is the distance to move each vertex for the surface to move by one: 1
// on a smooth surface whose vertices lie on it, and the mitre at the apex of a
// cone, whose facets must move by 1.
func (p *Patch) reach() []float64 {
	r := make([]float64, len(p.Vertices))
	for i := range r {
		r[i] = 1
	}
	for _, a := range p.apexes {
		var dot, n float64
		for t, c := range p.Triangles {
			if c[0] == a || c[1] == a || c[2] == a {
				dot += p.facet(t).Unit().Dot(p.Normals[a])
				n++
			}
		}
		if dot > 0 {
			r[a] = n / dot
		}
	}
	return r
}
