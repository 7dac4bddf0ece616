package veneer

import (
	"context"
	"math"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/solid"
	"groundwork/internal/surface"
)

// imported is a member made of the mesh of a shape, as another program would
// hand it over.
func imported(t testing.TB, id string, s solid.Shape, at geom.Frame) piece.Member {
	t.Helper()
	m, err := testKernel(t).Mesh(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	seen, err := surface.Recognise(m.Vertices, m.Triangles, surface.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return piece.Member{ID: id, Name: id, Place: at, Solid: piece.NewSolid(seen)}
}

func box(x0, y0, z0, x1, y1, z1 float64) solid.Shape {
	return solid.Box(geom.Box3{Min: geom.V3(x0, y0, z0), Max: geom.V3(x1, y1, z1)}, solid.NoTag)
}

// prism is an outline carried along z.
func prism(p geom.Path, z0, z1, chord float64) solid.Shape {
	poly := p.Polygon(chord)
	tags := make([]solid.Tag, len(poly))
	return solid.Extrude([]solid.Loop{{Points: poly, Tags: tags}}, z0, z1, 0, 0)
}

// cabinetSide stands upright: 18 mm thick with two housings for shelves.
func cabinetSide() solid.Shape {
	return solid.Difference(box(0, 0, 0, 18, 300, 700), box(12, -1, 200, 19, 301, 219), box(12, -1, 450, 19, 301, 469))
}

// stretcher is an arched rail of 400 by 40 by 25 mm.
func stretcher() solid.Shape {
	p := geom.Path{Closed: true, Segs: []geom.Seg{
		geom.LineTo(geom.V2(-200, 0), geom.V2(-200, -40)),
		geom.LineTo(geom.V2(-200, -40), geom.V2(-180, -40)),
	}}
	// Up in an arc to 20 mm at the middle: through (±180, -40) and (0, -20).
	r := (180.0*180 + 20*20) / 40
	a := math.Asin(180 / r)
	p.Segs = append(p.Segs, geom.ArcOf(geom.V2(0, -20-r), r, r, 0, math.Pi/2+a, -2*a))
	p.Segs = append(p.Segs, geom.LineTo(geom.V2(180, -40), geom.V2(200, -40)), geom.LineTo(geom.V2(200, -40), geom.V2(200, 0)), geom.LineTo(geom.V2(200, 0), geom.V2(-200, 0)))
	return prism(p, 0, 25, 0.02)
}

// rounded is a rectangle about the origin with round corners.
func rounded(w, h, r float64) geom.Path {
	x, y := w/2, h/2
	arc := func(cx, cy, from float64) geom.Seg { return geom.ArcOf(geom.V2(cx, cy), r, r, 0, from, math.Pi/2) }
	return geom.Path{Closed: true, Segs: []geom.Seg{
		geom.LineTo(geom.V2(-x+r, -y), geom.V2(x-r, -y)), arc(x-r, -y+r, -math.Pi/2),
		geom.LineTo(geom.V2(x, -y+r), geom.V2(x, y-r)), arc(x-r, y-r, 0),
		geom.LineTo(geom.V2(x-r, y), geom.V2(-x+r, y)), arc(-x+r, y-r, math.Pi/2),
		geom.LineTo(geom.V2(-x, y-r), geom.V2(-x, -y+r)), arc(-x+r, -y+r, math.Pi),
	}}
}

// copedRail is a rail of 300 by 60 by 25 mm, one end hollowed to fit a post of
// 25 mm radius.
func copedRail() solid.Shape {
	return solid.Difference(box(0, 0, 0, 300, 60, 25), solid.Cylinder(geom.V3(312, 30, -10), geom.V3(0, 0, 1), 25, 50, solid.NoTag, solid.CylinderOptions{Chord: 0.02}))
}

// leg is a tapered leg with a round socket across it.
func leg() solid.Shape {
	body := solid.Revolve([]geom.Vec2{{}, {X: 25}, {X: 40, Y: 400}, {Y: 400}}, make([]solid.Tag, 4), solid.Facets(40, 0.02, false))
	return solid.Difference(body, solid.Cylinder(geom.V3(0, 0, 250), geom.V3(1, 0, 0), 9, 60, solid.NoTag, solid.CylinderOptions{Chord: 0.02}))
}

// seat is a round seat with a dish of the given radius.
func seat(r float64) solid.Shape {
	// The dish: part of a sphere about a point above the seat, 5 mm deep or so.
	const rim, thick, deep = 140.0, 30.0, 5.0
	centre := thick - deep + r
	var profile []geom.Vec2
	const n = 20
	a := math.Asin(rim / r)
	profile = append(profile, geom.V2(0, 0), geom.V2(170, 0), geom.V2(170, thick+20))
	edge := centre - r*math.Cos(a)
	profile[2].Y = edge
	for i := range n + 1 {
		b := a * float64(n-i) / n
		profile = append(profile, geom.V2(r*math.Sin(b), centre-r*math.Cos(b)))
	}
	profile[len(profile)-1].X = 0
	return solid.Revolve(profile, make([]solid.Tag, len(profile)), 60)
}

// TestSolids takes members that are neither boards nor turnings through all
// steps: run verifies every pattern, and grounded carries them back.
func TestSolids(t *testing.T) {
	for _, c := range []struct {
		name     string
		shape    solid.Shape
		at       geom.Frame
		sizes    string // in which it is given
		patterns int
		codes    string // of findings
	}{
		// 14 flat surfaces less the foot.
		{"cabinet side", cabinetSide(), geom.World(), "core finished", 13, ""},
		{"stretcher", stretcher(), lifted(200), "core finished", 8, ""},
		{"stretcher with round corners", prism(rounded(400, 90, 30), 0, 25, 0.02), lifted(200), "core finished", 10, "bend-radius"},
		{"coped rail", copedRail(), lifted(200), "core finished", 8, "bend-radius"},
		{"oval post", prism(ellipse(40, 30), 0, 350, 0.02), geom.World(), "core finished", 0, "bend-radius"},
		// The cone and its top: the socket is bare.
		{"leg", leg(), geom.World(), "core", 2, "bend-radius-near"},
		{"seat", seat(1500), lifted(430), "core finished", 0, "covered-with-strain"},
		{"seat, deep", seat(400), lifted(430), "core finished", 0, "not-developable"},
	} {
		for _, sizes := range strings.Fields(c.sizes) {
			t.Run(c.name+" "+sizes, func(t *testing.T) {
				p := pieceOf(piece.Sizes(sizes), imported(t, "part", c.shape, c.at))
				r := run(t, p, nil, nil, testShop(800, 500), Options{})
				if c.patterns > 0 && len(r.patterns) != c.patterns {
					t.Errorf("%d patterns: %s", len(r.patterns), r.ids())
				}
				for _, code := range strings.Fields(c.codes) {
					if r.has(code) == nil {
						t.Errorf("no finding %s: %v", code, r.found)
					}
				}
				if c.codes == "" && len(r.found) > 0 {
					t.Errorf("%v", r.found)
				}
				grounded(t, p, r)
			})
		}
	}
}

// TestNativeAndSolid lays the same boards drawn here and brought in as meshes
// without being taken for boards: their leaves are the same in size and place.
func TestNativeAndSolid(t *testing.T) {
	for _, sizes := range []piece.Sizes{piece.CoreSize, piece.Finished} {
		for _, c := range []struct {
			name string
			out  geom.Path
		}{
			{"rectangle", rectangle(400, 300)},
			{"notched", path(true, geom.V2(0, 0), geom.V2(400, 0), geom.V2(400, 300), geom.V2(250, 300), geom.V2(250, 180), geom.V2(0, 180))},
			{"tapered", path(true, geom.V2(0, 0), geom.V2(400, 0), geom.V2(330, 300), geom.V2(40, 260))},
		} {
			t.Run(c.name+" "+string(sizes), func(t *testing.T) {
				native := pieceOf(sizes, board("part", c.out, 18, lifted(300)))
				a := run(t, native, nil, nil, testShop(800, 500), Options{})
				p := pieceOf(sizes, imported(t, "part", prism(c.out, 0, 18, 0.02), lifted(300)))
				b := run(t, p, nil, nil, testShop(800, 500), Options{})
				same(t, a, b)
			})
		}
	}
}

// same compares two runs pattern by pattern, by size and place in space.
func same(t *testing.T, a, b result) {
	t.Helper()
	if len(a.patterns) != len(b.patterns) {
		t.Fatalf("%s against %s", a.ids(), b.ids())
	}
	middle := func(r result, q Pattern) geom.Vec3 {
		at, _ := grounds(r.l, q)(q.Net.Bounds().Center())
		return at
	}
	for _, p := range a.patterns {
		best := math.Inf(1)
		var of Pattern
		for _, q := range b.patterns {
			if d := middle(a, p).Dist(middle(b, q)); d < best {
				best, of = d, q
			}
		}
		if best > 0.05 {
			t.Errorf("%s: nothing there within %.3f mm", p.ID, best)
			continue
		}
		const tol = 0.05
		near(t, p.ID+": net area", of.NetArea, p.NetArea, tol*(p.Length+p.Width)*2)
		near(t, p.ID+": cut area", of.GrossArea, p.GrossArea, tol*(p.Length+p.Width)*2)
		// Corners in space, and the grain.
		from, to := grounds(a.l, p), grounds(b.l, of)
		for _, loop := range p.Net {
			for _, v := range loop {
				at, _ := from(v)
				d := math.Inf(1)
				for _, l := range of.Net {
					for _, w := range l {
						x, _ := to(w)
						d = min(d, x.Dist(at))
					}
				}
				if d > tol {
					t.Errorf("%s: the corner (%.2f, %.2f) is %.3f mm off", p.ID, v.X, v.Y, d)
				}
			}
		}
		grain := func(r result, q Pattern) geom.Vec3 {
			c := q.Net.Bounds().Center()
			sn, cs := math.Sincos(q.Grain)
			to := grounds(r.l, q)
			x, _ := to(c)
			y, _ := to(c.Add(geom.V2(cs, sn).Scale(2)))
			return y.Sub(x).Unit()
		}
		if math.Abs(grain(a, p).Dot(grain(b, of))) < 0.9999 {
			t.Errorf("%s: the grain runs along %v, not %v", p.ID, grain(b, of), grain(a, p))
		}
	}
}
