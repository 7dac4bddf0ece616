// Command picture draws a planned piece as a PNG: together on the left, its
// segments apart on the right. It makes the picture in the README.
//
//	go run ./tools/picture examples/heron-side-table.yaml examples/shop.yaml docs/heron.png
package main

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"

	"groundwork/internal/core"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

func main() {
	if len(os.Args) != 4 {
		fmt.Fprintln(os.Stderr, "usage: picture PIECE SHOP OUT.png")
		os.Exit(2)
	}
	if err := run(os.Args[1], os.Args[2], os.Args[3]); err != nil {
		fmt.Fprintln(os.Stderr, "picture:", err)
		os.Exit(1)
	}
}

func run(pieceFile, shopFile, out string) error {
	doc, err := piece.ParseFile(pieceFile)
	if err != nil {
		return err
	}
	p, _, err := doc.Resolve(nil)
	if err != nil {
		return err
	}
	s, err := shop.ParseFile(shopFile)
	if err != nil {
		return err
	}
	k, err := solid.New(solid.Options{})
	if err != nil {
		return err
	}
	defer k.Close()
	pl, err := plan.Make(context.Background(), k, p, s, plan.Options{Core: core.Options{Labels: true, Chord: 0.05}})
	if err != nil {
		return err
	}
	const w, h, over = 1400, 700, 2 // over: samples a pixel, each way
	v := newView(w*over, h*over)
	v.draw(pl.Cores.Segments, 0, geom.V2(0.26, 0.5))
	v.draw(pl.Cores.Segments, 0.4, geom.V2(0.7, 0.5))
	f, err := os.Create(out)
	if err != nil {
		return err
	}
	if err := png.Encode(f, v.shrink(over)); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

// view is a picture with a depth for every sample; the eye looks down from the
// front right, without perspective.
type view struct {
	w, h   int
	depth  []float64
	color  []color.RGBA
	normal []geom.Vec3
	owner  []int
}

func newView(w, h int) *view {
	v := &view{w: w, h: h, depth: make([]float64, w*h), color: make([]color.RGBA, w*h), normal: make([]geom.Vec3, w*h), owner: make([]int, w*h)}
	for i := range v.depth {
		v.depth[i] = math.Inf(-1)
		v.color[i] = color.RGBA{250, 248, 244, 255}
	}
	return v
}

var (
	eye   = geom.V3(0.62, -1, 0.62).Unit()
	right = geom.V3(0, 0, 1).Cross(eye).Unit()
	up    = eye.Cross(right)
	light = geom.V3(0.3, -0.55, 0.9).Unit()
)

// woods are the tints of neighbouring segments.
var woods = []color.RGBA{{176, 128, 88, 255}, {150, 104, 70, 255}, {196, 152, 110, 255}, {132, 92, 64, 255}, {184, 140, 82, 255}}

// draw lays the segments on, each moved away from the middle of all by apart
// times its distance, about the middle given as a fraction of the picture.
func (v *view) draw(segs []core.Segment, apart float64, middle geom.Vec2) {
	box := geom.EmptyBox3()
	for _, s := range segs {
		box = box.Union(s.Bounds)
	}
	c := box.Center()
	scale := 0.9 * float64(v.h) / box.Size().Len()
	if apart > 0 {
		scale *= 0.86
	}
	for i, s := range segs {
		away := s.Bounds.Center().Sub(c).Scale(apart)
		for _, t := range s.Mesh.Triangles {
			var q [3]geom.Vec3
			for j, n := range t {
				p := s.Mesh.Vertices[n].Add(away).Sub(c)
				q[j] = geom.V3(middle.X*float64(v.w)+p.Dot(right)*scale, middle.Y*float64(v.h)-p.Dot(up)*scale, p.Dot(eye))
			}
			a, b, d := s.Mesh.Vertices[t[0]], s.Mesh.Vertices[t[1]], s.Mesh.Vertices[t[2]]
			v.fill(q, b.Sub(a).Cross(d.Sub(a)).Unit(), woods[i%len(woods)], i+1)
		}
	}
}

func (v *view) fill(q [3]geom.Vec3, n geom.Vec3, tint color.RGBA, owner int) {
	if n.Dot(eye) <= 0 {
		return
	}
	shade := 0.55 + 0.5*max(0, n.Dot(light))
	lit := color.RGBA{clamp(float64(tint.R) * shade), clamp(float64(tint.G) * shade), clamp(float64(tint.B) * shade), 255}
	area := (q[1].X-q[0].X)*(q[2].Y-q[0].Y) - (q[1].Y-q[0].Y)*(q[2].X-q[0].X)
	if area == 0 {
		return
	}
	x0, x1 := int(min(q[0].X, q[1].X, q[2].X)), int(max(q[0].X, q[1].X, q[2].X))+1
	y0, y1 := int(min(q[0].Y, q[1].Y, q[2].Y)), int(max(q[0].Y, q[1].Y, q[2].Y))+1
	for y := max(0, y0); y <= min(v.h-1, y1); y++ {
		for x := max(0, x0); x <= min(v.w-1, x1); x++ {
			px, py := float64(x)+0.5, float64(y)+0.5
			w0 := ((q[1].X-px)*(q[2].Y-py) - (q[1].Y-py)*(q[2].X-px)) / area
			w1 := ((q[2].X-px)*(q[0].Y-py) - (q[2].Y-py)*(q[0].X-px)) / area
			w2 := 1 - w0 - w1
			if w0 < 0 || w1 < 0 || w2 < 0 {
				continue
			}
			if z, i := w0*q[0].Z+w1*q[1].Z+w2*q[2].Z, y*v.w+x; z > v.depth[i] {
				v.depth[i], v.color[i], v.normal[i], v.owner[i] = z, lit, n, owner
			}
		}
	}
}

func clamp(x float64) uint8 { return uint8(max(0, min(255, x))) }

// shrink averages samples into pixels, after darkening those where the surface
// turns, steps back or changes owner.
func (v *view) shrink(over int) image.Image {
	edge := make([]bool, len(v.depth))
	for y := 1; y < v.h; y++ {
		for x := 1; x < v.w; x++ {
			i := y*v.w + x
			for _, j := range []int{i - 1, i - v.w} {
				step := math.Abs(v.depth[i] - v.depth[j])
				if v.owner[i] != v.owner[j] || v.owner[i] != 0 && (v.normal[i].Dot(v.normal[j]) < 0.85 || step > 6) {
					edge[i] = true
				}
			}
		}
	}
	img := image.NewRGBA(image.Rect(0, 0, v.w/over, v.h/over))
	for y := range v.h / over {
		for x := range v.w / over {
			var r, g, b int
			for dy := range over {
				for dx := range over {
					i := (y*over+dy)*v.w + x*over + dx
					c := v.color[i]
					if edge[i] {
						c = color.RGBA{52, 38, 28, 255}
					}
					r, g, b = r+int(c.R), g+int(c.G), b+int(c.B)
				}
			}
			n := over * over
			img.Set(x, y, color.RGBA{uint8(r / n), uint8(g / n), uint8(b / n), 255})
		}
	}
	return img
}
