// Package drawn makes what tests bring in: furniture drawn with the kernel as
// makers would draw it elsewhere, tessellated as finely as asked, and written in
// the formats that people have, whole or damaged.
package drawn

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/mesh"
	"groundwork/internal/solid"
)

// Part is a solid of a model with the name that a drawing would give it.
type Part struct {
	Name  string
	Shape solid.Shape
}

// File is a file as written.
type File struct {
	Name string
	Data []byte
}

// slab is a box with its lower corner at (x, y, z).
func slab(x, y, z, dx, dy, dz float64) solid.Shape {
	return solid.Box(geom.Box3{Min: geom.V3(x, y, z), Max: geom.V3(x+dx, y+dy, z+dz)}, 0)
}

func tagged(points []geom.Vec2) []solid.Tag { return make([]solid.Tag, len(points)) }

// Stool has a seat with a dish and four splayed conical legs whose round tenons
// stand in sockets.
func Stool(chord float64) []Part {
	const (
		top, thick = 440.0, 36.0
		radius     = 160.0
		sphere     = 420.0 // of the dish
		depth      = 9.0
		tenon      = 12.0
		deep       = 20.0
	)
	splay := 8 * math.Pi / 180
	rim := math.Sqrt(sphere*sphere - (sphere-depth)*(sphere-depth))
	// The seat's half section, from the axis along the underside and back over the dish.
	seat := []geom.Vec2{{X: 0, Y: top - thick}, {X: radius, Y: top - thick}, {X: radius, Y: top}}
	steps := int(math.Ceil(math.Asin(rim/sphere) / (2 * math.Acos(1-chord/sphere))))
	steps = max(steps, 6)
	for i := range steps + 1 {
		a := math.Asin(rim/sphere) * (1 - float64(i)/float64(steps))
		seat = append(seat, geom.V2(sphere*math.Sin(a), top-depth+sphere*(1-math.Cos(a))))
	}
	seat[len(seat)-1].X = 0
	body := solid.Revolve(seat, tagged(seat), solid.Facets(radius, chord, false))
	out := []Part{}
	var sockets []solid.Shape
	for k := range 4 {
		a := math.Pi/4 + float64(k)*math.Pi/2
		outward := geom.V3(math.Cos(a), math.Sin(a), 0)
		axis := geom.V3(0, 0, 1).Scale(math.Cos(splay)).Sub(outward.Scale(math.Sin(splay)))
		shoulder := outward.Scale(105).Add(geom.V3(0, 0, top-thick)) // where the axis meets the underside
		frame := geom.FrameFromXZ(shoulder, outward, axis)           // legs are copies of one, facets and all
		length := (top - thick) / math.Cos(splay)
		// A leg: cone up to the underside, cut off there and at the floor; then the tenon.
		cone := []geom.Vec2{{X: 0, Y: -length - 20}, {X: 25, Y: -length - 20}, {X: 33, Y: 20}, {X: 0, Y: 20}}
		leg := solid.Revolve(cone, tagged(cone), solid.Facets(33, chord, false)).At(frame)
		leg = leg.Below(geom.PlaneAt(geom.V3(0, 0, top-thick), geom.V3(0, 0, 1)), 0)
		leg = leg.Below(geom.PlaneAt(geom.Vec3{}, geom.V3(0, 0, -1)), 0)
		pin := solid.Cylinder(geom.V3(0, 0, -30), geom.V3(0, 0, 1), tenon, 30+deep, 0, solid.CylinderOptions{Chord: chord}).At(frame)
		out = append(out, Part{fmt.Sprintf("leg %d", k+1), solid.Union(leg, pin)})
		sockets = append(sockets, solid.Cylinder(geom.V3(0, 0, -30), geom.V3(0, 0, 1), tenon, 30+deep, 0, solid.CylinderOptions{Chord: chord}).At(frame))
	}
	return append([]Part{{"seat", solid.Difference(body, sockets...)}}, out...)
}

// Cabinet is an open case: two sides with dados, two shelves that stand in
// them, and a top.
func Cabinet(float64) []Part {
	const w, d, h, t, dado = 500.0, 260.0, 620.0, 20.0, 6.0
	var out []Part
	for k, x := range []float64{0, w - t} {
		s := slab(x, 0, 0, t, d, h)
		for _, z := range []float64{80, 340} {
			at := x + t - dado
			if k == 1 {
				at = x - 1
			}
			s = solid.Difference(s, slab(at, -1, z, dado+1, d+2, t))
		}
		out = append(out, Part{[]string{"side left", "side right"}[k], s})
	}
	for k, z := range []float64{80, 340} {
		out = append(out, Part{fmt.Sprintf("shelf.%03d", k+1), slab(t-dado, 0, z, w-2*t+2*dado, d, t)})
	}
	return append(out, Part{"top", slab(0, 0, h, w, d, t)})
}

// Trestle is an arched stretcher with rounded edges at its ends between two
// square posts.
func Trestle(chord float64) []Part {
	const span, post, height = 600.0, 50.0, 400.0
	// Outline of the stretcher in x, z: straight above, an arch below.
	const low, rise = 150.0, 60.0
	r := (span*span/4 + rise*rise) / (2 * rise)
	half := math.Asin(span / 2 / r)
	arch := geom.Path{Closed: true, Segs: []geom.Seg{
		geom.ArcOf(geom.V2(0, low+rise-r), r, r, 0, math.Pi/2+half, -2*half),
		geom.LineTo(geom.V2(span/2, low), geom.V2(span/2, low+120)),
		geom.LineTo(geom.V2(span/2, low+120), geom.V2(-span/2, low+120)),
		geom.LineTo(geom.V2(-span/2, low+120), geom.V2(-span/2, low)),
	}}
	arch.Segs[0].P[0], arch.Segs[0].P[3] = geom.V2(-span/2, low), geom.V2(span/2, low)
	var pts []geom.Vec2
	for _, q := range arch.Flatten(chord) {
		pts = append(pts, q.P)
	}
	body := solid.Extrude([]solid.Loop{{Points: pts, Tags: tagged(pts)}}, -15, 15, 0, 0)
	upright := geom.Frame{X: geom.V3(1, 0, 0), Y: geom.V3(0, 0, 1), Z: geom.V3(0, -1, 0)}
	return []Part{
		{"stretcher", body.At(upright)},
		{"post 1", slab(-span/2-post, -post/2, 0, post, post, height)},
		{"post 2", slab(span/2, -post/2, 0, post, post, height)},
	}
}

// Bodies makes the meshes of a model.
func Bodies(t testing.TB, k *solid.Kernel, ds []Part) []mesh.Body {
	t.Helper()
	var out []mesh.Body
	for _, d := range ds {
		m, err := k.Export(context.Background(), d.Shape, geom.World())
		if err != nil {
			t.Fatalf("%s: %v", d.Name, err)
		}
		out = append(out, mesh.Body{Name: d.Name, PartNumber: d.Name, Vertices: m.Vertices, Triangles: m.Triangles})
	}
	return out
}

// Scaled is a body in another unit.
func Scaled(b mesh.Body, by float64) mesh.Body {
	out := b
	out.Vertices = nil
	for _, v := range b.Vertices {
		out.Vertices = append(out.Vertices, v.Scale(by))
	}
	return out
}

// STL is one file for every body, binary or as text.
func STL(t testing.TB, bs []mesh.Body, text bool) []File {
	t.Helper()
	var out []File
	for _, b := range bs {
		var w bytes.Buffer
		if text {
			fmt.Fprintf(&w, "solid %s\n", b.Name)
			for _, tri := range b.Triangles {
				w.WriteString(" facet normal 0 0 0\n  outer loop\n")
				for _, v := range tri {
					p := b.Vertices[v]
					fmt.Fprintf(&w, "   vertex %.9g %.9g %.9g\n", p.X, p.Y, p.Z)
				}
				w.WriteString("  endloop\n endfacet\n")
			}
			fmt.Fprintf(&w, "endsolid %s\n", b.Name)
		} else if err := mesh.WriteSTL(&w, b); err != nil {
			t.Fatal(err)
		}
		out = append(out, File{Name: strings.ReplaceAll(b.Name, " ", "-") + ".stl", Data: w.Bytes()})
	}
	return out
}

// OBJ is one file with a group for every body.
func OBJ(bs []mesh.Body) File {
	var w bytes.Buffer
	first := 1
	for _, b := range bs {
		fmt.Fprintf(&w, "o %s\n", b.Name)
		for _, v := range b.Vertices {
			fmt.Fprintf(&w, "v %.9g %.9g %.9g\n", v.X, v.Y, v.Z)
		}
		for _, tri := range b.Triangles {
			fmt.Fprintf(&w, "f %d %d %d\n", first+int(tri[0]), first+int(tri[1]), first+int(tri[2]))
		}
		first += len(b.Vertices)
	}
	return File{Name: "model.obj", Data: w.Bytes()}
}

// ThreeMF is one file with all bodies.
func ThreeMF(t testing.TB, bs []mesh.Body) File {
	t.Helper()
	d := mesh.Document{Bodies: bs}
	low := geom.EmptyBox3()
	for i, b := range bs {
		d.Items = append(d.Items, mesh.Item{Body: i, Frame: geom.World(), PartNumber: b.Name})
		low = low.Union(b.Bounds())
	}
	for i := range d.Items {
		d.Items[i].Frame.Origin = low.Min.Neg()
	}
	var w bytes.Buffer
	if _, err := d.WriteTo(&w); err != nil {
		t.Fatal(err)
	}
	return File{Name: "model.3mf", Data: w.Bytes()}
}

// Damaged is a body with every nth triangle turned over and, if gone, every
// mth left out.
func Damaged(b mesh.Body, turned, gone int) mesh.Body {
	out := b
	out.Triangles = nil
	for i, tri := range b.Triangles {
		if gone > 0 && i%gone == gone-1 {
			continue
		}
		if turned > 0 && i%turned == 0 {
			tri[1], tri[2] = tri[2], tri[1]
		}
		out.Triangles = append(out.Triangles, tri)
	}
	return out
}
