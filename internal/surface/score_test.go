package surface

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// truth is one surface of a test solid, as it was drawn. A tag of Plane kind
// may stand for several planes, told apart by where they lie.
type truth struct {
	kind   Kind
	axis   geom.Vec3
	on     geom.Vec3 // on the axis, or the centre
	radius float64   // Cone: at on
	slope  float64   // along axis, either sign
	hollow bool
}

type model struct {
	name   string
	shape  solid.Shape
	truths []truth // by tag; tags beyond it are planes
}

func plane() truth { return truth{kind: Plane} }
func cyl(on, axis geom.Vec3, r float64, hollow bool) truth {
	return truth{kind: Cylinder, on: on, axis: axis.Unit(), radius: r, hollow: hollow}
}
func cone(on, axis geom.Vec3, r, slope float64, hollow bool) truth {
	return truth{kind: Cone, on: on, axis: axis.Unit(), radius: r, slope: slope, hollow: hollow}
}

// drawing builds an outline whose curves are flattened to chord, with a truth
// for every curve.
type drawing struct {
	chord  float64
	truths []truth
}

func (d *drawing) tag(t truth) solid.Tag {
	d.truths = append(d.truths, t)
	return solid.Tag(len(d.truths) - 1)
}

// outline flattens the closed path; arcs become cylinders along Z.
func (d *drawing) outline(p geom.Path) solid.Loop {
	var l solid.Loop
	tags := make([]solid.Tag, len(p.Segs))
	flat := d.tag(plane())
	for i, s := range p.Segs {
		tags[i] = flat
		switch s.Kind {
		case geom.Arc:
			tags[i] = d.tag(cyl(geom.V3(s.Center.X, s.Center.Y, 0), geom.V3(0, 0, 1), s.Rx, s.Sweep < 0))
		case geom.Cubic:
			tags[i] = d.tag(truth{kind: Developable})
		}
	}
	for _, s := range p.Flatten(d.chord) {
		l.Points = append(l.Points, s.P)
		l.Tags = append(l.Tags, tags[s.Seg])
	}
	return l
}

func (d *drawing) bar(on, axis geom.Vec3, r, length float64, t solid.Tag) solid.Shape {
	return solid.Cylinder(on, axis, r, length, t, solid.CylinderOptions{Chord: d.chord})
}

func (d *drawing) bore(on, axis geom.Vec3, r, length float64) solid.Shape {
	return d.bar(on, axis, r, length, d.tag(cyl(on, axis, r, true)))
}

// box has planes for sides.
func (d *drawing) box(x0, y0, z0, x1, y1, z1 float64) solid.Shape {
	return solid.Box(geom.Box3{Min: geom.V3(x0, y0, z0), Max: geom.V3(x1, y1, z1)}, d.tag(plane()))
}

func corner(points ...geom.Vec2) geom.Path {
	p := geom.Path{Closed: true}
	for i, a := range points {
		p.Segs = append(p.Segs, geom.LineTo(a, points[(i+1)%len(points)]))
	}
	return p
}

// rounded replaces corners of a polygon by arcs: r[i] at point i, 0 for none.
func rounded(points []geom.Vec2, r []float64) geom.Path {
	p := geom.Path{Closed: true}
	n := len(points)
	type cut struct {
		in, out geom.Vec2
		arc     *geom.Seg
	}
	cuts := make([]cut, n)
	for i := range points {
		a, b, c := points[(i+n-1)%n], points[i], points[(i+1)%n]
		cuts[i] = cut{in: b, out: b}
		if r[i] == 0 {
			continue
		}
		u, v := b.Sub(a).Unit(), c.Sub(b).Unit()
		turn := math.Atan2(u.Cross(v), u.Dot(v))
		t := r[i] * math.Tan(math.Abs(turn)/2)
		in, out := b.Sub(u.Scale(t)), b.Add(v.Scale(t))
		side := u.Left()
		if turn < 0 {
			side = u.Right()
		}
		center := in.Add(side.Scale(r[i]))
		arc := geom.ArcOf(center, r[i], r[i], 0, in.Sub(center).Angle(), turn)
		cuts[i] = cut{in: in, out: out, arc: &arc}
	}
	for i := range points {
		if cuts[i].arc != nil {
			p.Segs = append(p.Segs, *cuts[i].arc)
		}
		p.Segs = append(p.Segs, geom.LineTo(cuts[i].out, cuts[(i+1)%n].in))
	}
	return p
}

var (
	ex = geom.V3(1, 0, 0)
	ey = geom.V3(0, 1, 0)
	ez = geom.V3(0, 0, 1)
)

// models are the test solids at one tessellation. Every facet's corners lie on
// the true surface, but where solids were cut or joined as meshes the cut runs
// through the facets.
func models(chord float64) []model {
	var out []model
	add := func(name string, build func(d *drawing) solid.Shape) {
		d := &drawing{chord: chord}
		s := build(d)
		out = append(out, model{name, s, d.truths})
	}
	v2 := geom.V2
	add("bracket with bores", func(d *drawing) solid.Shape {
		p := rounded([]geom.Vec2{v2(0, 0), v2(90, 0), v2(90, 12), v2(12, 12), v2(12, 70), v2(0, 70)}, []float64{16, 3, 6, 10, 6, 3})
		l := d.outline(p)
		t := d.tag(plane())
		return solid.Difference(solid.Extrude([]solid.Loop{l}, 0, 40, t, t),
			d.bore(geom.V3(35, -1, 20), ey, 4, 20), d.bore(geom.V3(70, -1, 20), ey, 4, 20),
			d.bore(geom.V3(-1, 45, 20), ex, 2.5, 20))
	})
	add("counterbored plate", func(d *drawing) solid.Shape {
		b := d.box(0, 0, 0, 120, 60, 18)
		var cuts []solid.Shape
		for _, x := range []float64{20, 60, 100} {
			cuts = append(cuts, d.bore(geom.V3(x, 30, -1), ez, 4, 20))
			on := geom.V3(x, 30, 10)
			wall := d.tag(cyl(on, ez, 8, true))
			cuts = append(cuts, d.bar(on, ez, 8, 9, wall))
		}
		return solid.Difference(b, cuts...)
	})
	add("conical leg with a radial socket", func(d *drawing) solid.Shape {
		top := 12.0
		leg := solid.Cylinder(geom.V3(0, 0, 0), ez, 20, 420, d.tag(cone(geom.V3(0, 0, 0), ez, 20, -8.0/420, false)),
			solid.CylinderOptions{Chord: d.chord, TopRadius: &top})
		return solid.Difference(leg, d.bore(geom.V3(0, 0, 140), ex, 7.5, 40))
	})
	add("splayed leg with end cuts", func(d *drawing) solid.Shape {
		top := 13.0
		axis := geom.V3(math.Sin(0.2), 0.1, math.Cos(0.2)).Unit()
		leg := solid.Cylinder(geom.V3(5, 3, -30), axis, 22, 520, d.tag(cone(geom.V3(5, 3, -30), axis, 22, -9.0/520, false)),
			solid.CylinderOptions{Chord: d.chord, TopRadius: &top})
		cut := d.tag(plane())
		return leg.Within(solid.Cut{Plane: geom.PlaneAt(geom.V3(0, 0, 0), ez.Neg()), Tag: cut}, solid.Cut{Plane: geom.PlaneAt(geom.V3(0, 0, 430), ez), Tag: cut})
	})
	add("leg with a round rung through it", func(d *drawing) solid.Shape {
		top := 12.0
		leg := solid.Cylinder(geom.V3(0, 0, 0), ez, 20, 420, d.tag(cone(geom.V3(0, 0, 0), ez, 20, -8.0/420, false)),
			solid.CylinderOptions{Chord: d.chord, TopRadius: &top})
		rung := d.bar(geom.V3(0, 0, 200), geom.V3(1, 0.2, 0.1), 8, 150, d.tag(cyl(geom.V3(0, 0, 200), geom.V3(1, 0.2, 0.1), 8, false)))
		return solid.Union(leg, rung)
	})
	add("stool seat with a dish", func(d *drawing) solid.Shape {
		seat := d.bar(geom.V3(0, 0, 0), ez, 170, 38, d.tag(cyl(geom.V3(0, 0, 0), ez, 170, false)))
		const r = 900.0
		c := geom.V3(0, 0, 38+r-12)
		dish := d.tag(truth{kind: Sphere, on: c, radius: r, hollow: true})
		n := max(6, int(math.Ceil(0.2/(2*math.Acos(1-d.chord/r)))))
		var profile []geom.Vec2
		var tags []solid.Tag
		for i := range n + 1 {
			a := 0.2 * float64(i) / float64(n)
			profile = append(profile, v2(r*math.Sin(a), c.Z-r*math.Cos(a)))
			tags = append(tags, dish)
		}
		tags[n] = d.tag(plane())
		profile[0].X = 0
		profile = append(profile, v2(0, profile[n].Y))
		tags = append(tags, tags[n])
		leg := d.bore(geom.V3(100, 0, -5), geom.V3(0.2, 0, 1), 14, 30)
		return solid.Difference(seat, solid.Revolve(profile, tags, solid.Facets(180, d.chord, false)), leg)
	})
	add("arched stretcher with fillets", func(d *drawing) solid.Shape {
		arc := geom.ArcOf(v2(200, -480), 500, 500, 0, math.Pi/2+math.Asin(0.3), -2*math.Asin(0.3))
		a, b := arc.P[0], arc.P[3]
		p := rounded([]geom.Vec2{v2(0, 60), v2(0, 0), v2(a.X, 0), a, b, v2(b.X, 0), v2(400, 0), v2(400, 60)}, []float64{12, 8, 0, 0, 0, 0, 8, 12})
		for i, s := range p.Segs {
			if s.Kind == geom.Line && s.P[0].Dist(a) < 1e-9 && s.P[3].Dist(b) < 1e-9 {
				p.Segs[i] = arc
			}
		}
		l := d.outline(p)
		t := d.tag(plane())
		return solid.Extrude([]solid.Loop{l}, 0, 22, t, t)
	})
	add("cabinet side with dados", func(d *drawing) solid.Shape {
		return solid.Difference(d.box(0, 0, 0, 700, 380, 18), d.box(-1, 100, 12, 701, 118, 30), d.box(300, -1, 12, 318, 370, 30),
			d.box(-1, 368, 9, 701, 390, 30), d.bore(geom.V3(50, 37, 5), ez, 2.5, 20), d.bore(geom.V3(82, 37, 5), ez, 2.5, 20))
	})
	add("turned knob", func(d *drawing) solid.Shape {
		base, taper := d.tag(plane()), d.tag(cone(geom.V3(0, 0, 10), ez, 9, 0, false))
		post := d.tag(cyl(geom.V3(0, 0, 0), ez, 9, false))
		const r = 16.0
		// The cone touches the sphere: its slope is that of the sphere there.
		at := -0.6
		touch := v2(r*math.Cos(at), 40+r*math.Sin(at))
		slope := -math.Tan(at)
		low := touch.X - slope*(touch.Y-25)
		d.truths[post].radius = low
		d.truths[taper] = cone(geom.V3(0, 0, 25), ez, low, slope, false)
		ball := d.tag(truth{kind: Sphere, on: geom.V3(0, 0, 40), radius: r})
		profile := []geom.Vec2{v2(0, 0), v2(low, 0), v2(low, 25)}
		tags := []solid.Tag{base, post, taper}
		n := max(6, int(math.Ceil((math.Pi/2-at)/(2*math.Acos(1-d.chord/r)))))
		for i := range n {
			a := at + (math.Pi/2-at)*float64(i)/float64(n)
			profile = append(profile, v2(r*math.Cos(a), 40+r*math.Sin(a)))
			tags = append(tags, ball)
		}
		profile = append(profile, v2(0, 40+r))
		tags = append(tags, ball)
		return solid.Revolve(profile, tags, solid.Facets(r, d.chord, false))
	})
	add("chamfered block", func(d *drawing) solid.Shape {
		b, t := d.box(0, 0, 0, 80, 50, 30), d.tag(plane())
		return b.Within(solid.Cut{Plane: geom.PlaneAt(geom.V3(77, 0, 30), geom.V3(1, 0, 1).Unit()), Tag: t},
			solid.Cut{Plane: geom.PlaneAt(geom.V3(3, 0, 30), geom.V3(-1, 0, 1).Unit()), Tag: t},
			solid.Cut{Plane: geom.PlaneAt(geom.V3(0, 47, 30), geom.V3(0, 1, 1).Unit()), Tag: t},
			solid.Cut{Plane: geom.PlaneAt(geom.V3(0, 3, 30), geom.V3(0, -1, 1.6).Unit()), Tag: t})
	})
	add("block with a countersink", func(d *drawing) solid.Shape {
		top := 9.0
		sink := solid.Cylinder(geom.V3(30, 20, 15), ez, 4, 5, d.tag(cone(geom.V3(30, 20, 15), ez, 4, 1, true)),
			solid.CylinderOptions{Facets: solid.Facets(9, d.chord, false), TopRadius: &top})
		return solid.Difference(d.box(0, 0, 0, 60, 40, 20), solid.Cylinder(geom.V3(30, 20, -1), ez, 4, 30, d.tag(cyl(geom.V3(30, 20, -1), ez, 4, true)),
			solid.CylinderOptions{Facets: solid.Facets(9, d.chord, false)}), sink)
	})
	add("hexagonal prism", func(d *drawing) solid.Shape {
		return solid.Cylinder(geom.V3(0, 0, 0), ez, 15, 60, d.tag(plane()), solid.CylinderOptions{Facets: 6})
	})
	add("octagonal leg", func(d *drawing) solid.Shape {
		top := 14.0
		return solid.Cylinder(geom.V3(0, 0, 0), ez, 22, 400, d.tag(plane()), solid.CylinderOptions{Facets: 8, TopRadius: &top})
	})
	add("rung of twelve facets", func(d *drawing) solid.Shape {
		return solid.Cylinder(geom.V3(1, 2, 3), geom.V3(1, 1, 0.3), 10, 300, d.tag(cyl(geom.V3(1, 2, 3), geom.V3(1, 1, 0.3), 10, false)), solid.CylinderOptions{Facets: 12})
	})
	add("slot with round ends of four facets", func(d *drawing) solid.Shape {
		flat, left, right := d.tag(plane()), d.tag(cyl(geom.V3(20, 20, 0), ez, 6, true)), d.tag(cyl(geom.V3(50, 20, 0), ez, 6, true))
		l := solid.Loop{}
		for i := range 5 {
			a := -math.Pi/2 + math.Pi*float64(i)/4
			l.Points, l.Tags = append(l.Points, v2(50+6*math.Cos(a), 20+6*math.Sin(a))), append(l.Tags, right)
		}
		l.Tags[4] = flat
		for i := range 5 {
			a := math.Pi/2 + math.Pi*float64(i)/4
			l.Points, l.Tags = append(l.Points, v2(20+6*math.Cos(a), 20+6*math.Sin(a))), append(l.Tags, left)
		}
		l.Tags[9] = flat
		return solid.Difference(d.box(0, 0, 0, 70, 40, 20), solid.Extrude([]solid.Loop{l}, 5, 30, flat, flat))
	})
	add("shaped apron", func(d *drawing) solid.Shape {
		p := corner(v2(0, 0), v2(0, -80), v2(400, -80), v2(400, 0))
		p.Segs[3] = geom.CubicTo(v2(400, 0), v2(280, 45), v2(130, -45), v2(0, 0))
		l, t := d.outline(p), d.tag(plane())
		return solid.Extrude([]solid.Loop{l}, 0, 20, t, t)
	})
	add("turned foot with a ring fillet", func(d *drawing) solid.Shape {
		flat, ring := d.tag(plane()), d.tag(truth{kind: Free})
		post := d.tag(cyl(geom.V3(0, 0, 0), ez, 15, false))
		disc := d.tag(cyl(geom.V3(0, 0, 0), ez, 30, false))
		profile := []geom.Vec2{v2(0, 0), v2(30, 0), v2(30, 10)}
		tags := []solid.Tag{flat, disc, flat}
		n := max(3, int(math.Ceil(math.Pi/2/(2*math.Acos(1-d.chord/8)))))
		for i := range n {
			a := math.Pi / 2 * float64(i) / float64(n)
			profile = append(profile, v2(23-8*math.Sin(a), 18-8*math.Cos(a)))
			tags = append(tags, ring)
		}
		profile = append(profile, v2(15, 18), v2(15, 60), v2(0, 60))
		tags = append(tags, post, flat, flat)
		return solid.Revolve(profile, tags, solid.Facets(30, d.chord, false))
	})
	return out
}

// score is one line of the table.
type score struct {
	model                  string
	chord                  float64
	unit                   string
	triangles              int
	surfaces, found, wrong int
	radius, axis, stray    float64 // worst relative radius, radians, per cent of area
	faults                 []string
}

// judge compares recognised faces with the truth, triangle by triangle.
// scale is mm of the drawing per unit of the solid.
func judge(m model, mesh *solid.Mesh, s *Solid, scale float64) score {
	sc := score{model: m.name, triangles: len(s.Triangles)}
	// Planes that share a tag are told apart by where they lie.
	type key struct {
		tag solid.Tag
		n   geom.Vec3
		d   float64
	}
	r := func(x, g float64) float64 { return math.Round(x/g) * g }
	keyOf := func(t int) key {
		tag := mesh.Tags[t]
		k := key{tag: tag}
		v := mesh.Triangles[t]
		a, b, c := mesh.Vertices[v[0]], mesh.Vertices[v[1]], mesh.Vertices[v[2]]
		n := b.Sub(a).Cross(c.Sub(a)).Unit()
		if w := m.truths[tag]; w.kind != Plane && (w.axis == (geom.Vec3{}) || math.Abs(n.Dot(w.axis)) < 0.999) {
			return k // anything but the end of a bar, which has the bar's tag
		}
		k.tag = solid.NoTag
		k.n = geom.V3(r(n.X, 1e-3)+0, r(n.Y, 1e-3)+0, r(n.Z, 1e-3)+0)
		k.d = r(n.Dot(a), 1e-2) + 0
		return k
	}
	// A surface is a connected run of triangles with one key.
	surface := make([]int, len(s.Triangles))
	for t := range surface {
		surface[t] = -1
	}
	var keys []key
	for first := range surface {
		if surface[first] >= 0 {
			continue
		}
		k := keyOf(first)
		queue := []int{first}
		surface[first] = len(keys)
		for len(queue) > 0 {
			t := queue[0]
			queue = queue[1:]
			for i := range 3 {
				u := int(s.twin[3*t+i] / 3)
				if surface[u] < 0 && keyOf(u) == k {
					surface[u] = len(keys)
					queue = append(queue, u)
				}
			}
		}
		keys = append(keys, k)
	}
	type tally struct {
		area    float64
		faces   map[int32]float64
		normal  geom.Vec3 // as drawn, of the largest triangle
		largest float64
	}
	surfaces := make([]tally, len(keys))
	owner := make([]map[int]float64, len(s.Faces))
	total := 0.0
	for t, i := range surface {
		if surfaces[i].faces == nil {
			surfaces[i].faces = map[int32]float64{}
		}
		a := s.cross(int32(t)).Len() / 2
		surfaces[i].area += a
		if a > surfaces[i].largest {
			k := mesh.Triangles[t]
			b := mesh.Vertices[k[0]]
			surfaces[i].largest, surfaces[i].normal = a, mesh.Vertices[k[1]].Sub(b).Cross(mesh.Vertices[k[2]].Sub(b)).Unit()
		}
		surfaces[i].faces[s.Of[t]] += a
		if owner[s.Of[t]] == nil {
			owner[s.Of[t]] = map[int]float64{}
		}
		owner[s.Of[t]][i] += a
		total += a
	}
	// A triangle is misplaced if its face is not its surface's own, or is
	// mostly something else.
	kept := 0.0
	for i := range surfaces {
		best := 0.0
		for f, a := range surfaces[i].faces {
			mine := true
			for j, b := range owner[f] {
				if b > owner[f][i] || b == owner[f][i] && j < i {
					mine = false
				}
			}
			if mine {
				best = max(best, a)
			}
		}
		kept += best
	}
	sc.stray = 100 * max(0, 1-kept/total)
	for i, k := range keys {
		y := surfaces[i]
		if y.area < 1e-7*total {
			continue // a sliver that rounding has tilted
		}
		sc.surfaces++
		best, most := int32(-1), 0.0
		for f, a := range y.faces {
			if a > most || a == most && f < best {
				best, most = f, a
			}
		}
		f := &s.Faces[best]
		want := truth{kind: Plane}
		if k.tag != solid.NoTag {
			want = m.truths[k.tag]
		}
		if f.Kind != want.kind || f.Hollow != want.hollow {
			sc.wrong++
			sc.faults = append(sc.faults, fmt.Sprintf("%s hollow %v r %.4g taken for %s (hollow %v, r %.4g)", want.kind, want.hollow, want.radius, f.Kind, f.Hollow, f.Radius*scale))
			continue
		}
		sc.found++
		switch want.kind {
		case Cylinder, Cone:
			sc.axis = max(sc.axis, f.Frame.Z.Cross(want.axis).Len())
			r := f.Radius * scale
			truly := want.radius + want.slope*f.Frame.Origin.Scale(scale).Sub(want.on).Dot(want.axis)
			sc.radius = max(sc.radius, math.Abs(r/truly-1))
			off := offAxis(f.Frame.Origin.Scale(scale).Sub(want.on), want.axis).Len()
			sc.radius = max(sc.radius, off/truly)
		case Sphere:
			sc.radius = max(sc.radius, math.Abs(f.Radius*scale/want.radius-1), f.Frame.Origin.Scale(scale).Dist(want.on)/want.radius)
		case Plane:
			sc.axis = max(sc.axis, f.Frame.Z.Sub(y.normal).Len())
		}
	}
	return sc
}

func kernelForTest(t testing.TB) *solid.Kernel {
	k, err := solid.New(solid.Options{Instances: 1})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { k.Close() })
	return k
}

// TestScore recognises solids whose surfaces are known, at several
// tessellations, in millimetres and, rounded to single precision, in inches,
// and keeps the table in docs/surfaces.md true. GOLDEN=update rewrites it.
func TestScore(t *testing.T) {
	k := kernelForTest(t)
	var lines []string
	for _, level := range []struct {
		chord float64
		unit  string
		mm    float64
	}{{0.5, "mm", 1}, {0.1, "mm", 1}, {0.1, "in", 25.4}, {0.02, "mm", 1}} {
		for _, m := range models(level.chord) {
			mesh, err := k.Mesh(context.Background(), m.shape)
			if err != nil {
				t.Errorf("%s: %v", m.name, err)
				continue
			}
			vertices := mesh.Vertices
			if level.mm != 1 {
				vertices = slices.Clone(vertices)
				for i, v := range vertices {
					v = v.Scale(1 / level.mm)
					vertices[i] = geom.V3(float64(float32(v.X)), float64(float32(v.Y)), float64(float32(v.Z)))
				}
			}
			s, err := Recognise(vertices, mesh.Triangles, Options{})
			if err != nil {
				t.Errorf("%s: %v", m.name, err)
				continue
			}
			sc := judge(m, mesh, s, level.mm)
			if sc.wrong > 0 || sc.radius > 1e-3 || sc.axis > 1e-3 || sc.stray > 0.01 || len(s.Faces) != sc.surfaces {
				t.Errorf("%s, chord %g in %s: %+v", m.name, level.chord, level.unit, sc)
			}
			lines = append(lines, fmt.Sprintf("| %s | %g | %s | %d | %d | %d | %d | %d | %s | %s | %.2f |",
				m.name, level.chord, level.unit, sc.triangles, sc.surfaces, len(s.Faces), sc.found, sc.wrong, digits(sc.radius), digits(sc.axis), sc.stray))
		}
	}
	slices.SortStableFunc(lines, func(a, b string) int {
		return cmp.Compare(strings.SplitN(a, "|", 3)[1], strings.SplitN(b, "|", 3)[1])
	})
	const file, begin, end = "../../docs/surfaces.md", "<!-- scores -->\n", "<!-- end of scores -->\n"
	page, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(page), begin)
	_, after, ok2 := strings.Cut(rest, end)
	if !ok || !ok2 {
		t.Fatalf("%s has no place for the scores", file)
	}
	want := before + begin + "\n" + strings.Join(append([]string{
		"| solid | chord, mm | file in | triangles | surfaces | faces | found | wrong | radius | axis, rad | misplaced % |",
		"|---|---|---|---|---|---|---|---|---|---|---|",
	}, lines...), "\n") + "\n\n" + end + after
	if os.Getenv("GOLDEN") == "update" {
		if err := os.WriteFile(file, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if want != string(page) {
		t.Errorf("the scores in %s are not these; GOLDEN=update and look at the difference", file)
	}
}

// digits writes an error to its power of ten, so that the last bits of a
// floating-point unit do not change the table. Less than rounding counts as 0.
func digits(x float64) string {
	if x < 1e-12 {
		return "0"
	}
	return fmt.Sprintf("1e%+03d", int(math.Ceil(math.Log10(x))))
}
