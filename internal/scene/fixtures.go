package scene

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"

	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/plan"
	"groundwork/internal/solid"
)

// Fixtures writes a planned piece's segments and the outlines of its seams, and
// on them what is made beside the piece: every part of a fixture in each place
// where it lies to the work. It moves with the body that it lies at. What lies
// nowhere, as coupons do, is left out.
func Fixtures(ctx context.Context, k *solid.Kernel, pl *plan.Plan, w io.Writer) error {
	m := newMaker(pl)
	cores, err := m.cores(ctx, k, viewChord)
	if err != nil {
		return err
	}
	segments, parts, err := m.segments(ctx, k, cores)
	if err != nil {
		return err
	}
	m.outlines(segments, parts)
	if err := m.fixtures(ctx, k, cores); err != nil {
		return err
	}
	return m.write(w, Extras{})
}

// fixtures adds the parts of fixtures; cores are the members', in the world.
func (m *maker) fixtures(ctx context.Context, k *solid.Kernel, cores []*triangles) error {
	type drawn struct {
		of   fixture.Fixture
		part fixture.Part
		mesh *solid.Mesh
	}
	var all []drawn
	var shapes []solid.Shape // of what is not printed, which has no mesh yet
	var of []int
	for _, f := range m.pl.Fixtures.Fixtures {
		for _, p := range f.Parts {
			p.Lies = slices.DeleteFunc(slices.Clone(p.Lies), func(at geom.Frame) bool { return at == geom.World() })
			if len(p.Lies) == 0 {
				continue
			}
			if p.Mesh == nil {
				shapes, of = append(shapes, p.Shape), append(of, len(all))
			}
			all = append(all, drawn{f, p, p.Mesh})
		}
	}
	meshes, err := k.Meshes(ctx, shapes)
	if err != nil {
		return fmt.Errorf("scene: fixtures: %w", err)
	}
	for i, mesh := range meshes {
		all[of[i]].mesh = mesh
	}
	serving := m.servedBodies()
	for _, d := range all {
		var near []int
		for _, id := range d.of.Serves {
			near = append(near, serving[id]...)
		}
		for i, at := range d.part.Lies {
			name := d.part.ID
			if len(d.part.Lies) > 1 {
				name = fmt.Sprintf("%s/place-%d", name, i+1)
			}
			e := Extras{Kind: "fixture", Fixture: d.of.ID, Step: string(d.of.Step), Clamping: m.clamping(d.part.ID, at)}
			body := m.nearest(d.mesh, at, near, cores)
			m.place(body, name, e, "fixture "+d.part.ID, func() *triangles { return shaded(d.mesh) }, matFixture, at, motion{})
		}
	}
	return nil
}

// servedBodies are the bodies of what fixtures serve, by its ID.
func (m *maker) servedBodies() map[string][]int {
	out := map[string][]int{}
	for _, s := range m.pl.Seams.Seams {
		out[s.ID] = []int{s.Body}
	}
	for _, j := range m.pl.Joints.Joints {
		for _, b := range j.Bores {
			out[b.ID] = []int{m.of[b.Member]}
			out[j.ID] = append(out[j.ID], m.of[b.Member])
		}
	}
	for _, g := range m.pl.Joints.Plugs {
		out[g.ID] = []int{m.of[g.Member]}
	}
	for _, p := range m.pl.Patterns {
		if p.Member >= 0 {
			out[p.ID] = []int{m.of[p.Member]}
		}
	}
	return out
}

// nearest is which of these bodies, or of all if there are none, a mesh in a
// place belongs to: the one that its middle lies in, or else whose surface its
// corners come nearest to. cores are the surfaces, by member.
func (m *maker) nearest(mesh *solid.Mesh, at geom.Frame, among []int, cores []*triangles) int {
	own := geom.EmptyBox3()
	for _, p := range mesh.Vertices {
		own = own.Add(at.Point(p))
	}
	if len(among) == 0 {
		for b := range m.bodies {
			among = append(among, b)
		}
	}
	among = slices.Compact(slices.Sorted(slices.Values(among)))
	const corners = 64 // that are looked at, about
	nearest, least := among[0], math.Inf(1)
	for _, b := range among {
		for _, k := range m.bodies[b].Members {
			t := cores[k]
			if len(among) == 1 || encloses(t, own.Center()) {
				return b
			}
			for i := 0; i < len(t.Index); i += 3 {
				u, v, w := t.Points[t.Index[i]], t.Points[t.Index[i+1]], t.Points[t.Index[i+2]]
				box := geom.EmptyBox3().Add(u).Add(v).Add(w)
				if between(own, box) >= least {
					continue
				}
				for j := 0; j < len(mesh.Vertices); j += 1 + len(mesh.Vertices)/corners {
					p := at.Point(mesh.Vertices[j])
					if between(geom.EmptyBox3().Add(p), box) >= least {
						continue
					}
					if d := triangleDistance(p, u, v, w); d < least {
						nearest, least = b, d
					}
				}
			}
		}
	}
	return nearest
}

// encloses reports whether a point lies in a closed mesh: a ray from it leaves it
// once more often than it enters. The ray is askew of all that is square.
func encloses(t *triangles, p geom.Vec3) bool {
	d := geom.V3(0.2672612419, 0.5345224838, 0.8017837257)
	in := false
	for i := 0; i < len(t.Index); i += 3 {
		// Möller and Trumbore, Fast, minimum storage ray-triangle intersection, 1997.
		a := t.Points[t.Index[i]]
		e, f := t.Points[t.Index[i+1]].Sub(a), t.Points[t.Index[i+2]].Sub(a)
		h := d.Cross(f)
		det := e.Dot(h)
		if det == 0 {
			continue
		}
		s := p.Sub(a)
		u := s.Dot(h) / det
		q := s.Cross(e)
		if v := d.Dot(q) / det; u >= 0 && v >= 0 && u+v <= 1 && f.Dot(q)/det > 0 {
			in = !in
		}
	}
	return in
}

// between is how far two boxes are apart.
func between(a, b geom.Box3) float64 {
	return geom.V3(
		max(0, a.Min.X-b.Max.X, b.Min.X-a.Max.X),
		max(0, a.Min.Y-b.Max.Y, b.Min.Y-a.Max.Y),
		max(0, a.Min.Z-b.Max.Z, b.Min.Z-a.Max.Z)).Len()
}

// triangleDistance is how far a point is from a triangle (Ericson, Real-Time
// Collision Detection, 2005, section 5.1.5).
func triangleDistance(p, a, b, c geom.Vec3) float64 {
	ab, ac, ap := b.Sub(a), c.Sub(a), p.Sub(a)
	d1, d2 := ab.Dot(ap), ac.Dot(ap)
	if d1 <= 0 && d2 <= 0 {
		return p.Dist(a)
	}
	bp := p.Sub(b)
	d3, d4 := ab.Dot(bp), ac.Dot(bp)
	if d3 >= 0 && d4 <= d3 {
		return p.Dist(b)
	}
	if vc := d1*d4 - d3*d2; vc <= 0 && d1 >= 0 && d3 <= 0 {
		return p.Dist(a.Lerp(b, d1/(d1-d3)))
	}
	cp := p.Sub(c)
	d5, d6 := ab.Dot(cp), ac.Dot(cp)
	if d6 >= 0 && d5 <= d6 {
		return p.Dist(c)
	}
	if vb := d5*d2 - d1*d6; vb <= 0 && d2 >= 0 && d6 <= 0 {
		return p.Dist(a.Lerp(c, d2/(d2-d6)))
	}
	if va := d3*d6 - d5*d4; va <= 0 && d4-d3 >= 0 && d5-d6 >= 0 {
		return p.Dist(b.Lerp(c, (d4-d3)/((d4-d3)+(d5-d6))))
	}
	return math.Abs(ap.Dot(ab.Cross(ac).Unit()))
}

// clamping is the ID of the glue-up in which a part lies in this place, "" if it
// is none's. A glue-up that looks just like another has the same places.
func (m *maker) clamping(part string, at geom.Frame) string {
	const same = 1e-6
	for _, c := range m.pl.Fixtures.Clamping {
		for _, p := range c.Places {
			if p.Part == part && p.At.Origin.Dist(at.Origin) < same && p.At.X.Dist(at.X) < same && p.At.Z.Dist(at.Z) < same {
				return c.ID
			}
		}
	}
	return ""
}
