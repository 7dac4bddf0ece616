package kit

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
	"groundwork/internal/pack"
)

// describe puts a parcel's things in the order of packing, layer by layer: a
// thing lies one layer above the highest that it lies over.
func (m *making) describe(q *Parcel) {
	placed := q.Layout.Placed // lower ones first
	layer := make([]int, len(placed))
	for i, a := range placed {
		for j, b := range placed[:i] {
			if b.At.Z+b.Size.Z <= a.At.Z+1e-6 && overlapping(a, b) {
				layer[i] = max(layer[i], layer[j]+1)
			}
		}
		q.Layers = max(q.Layers, layer[i]+1)
	}
	order := make([]int, len(placed))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(layer[a], layer[b]) })
	q.Things = q.Things[:0:0]
	q.Layout.Placed = make([]pack.Placed, 0, len(placed))
	for _, i := range order {
		q.Layout.Placed = append(q.Layout.Placed, placed[i])
		q.Things = append(q.Things, q.Of[placed[i].Item])
	}
	for n := range q.Layers {
		s := fmt.Sprintf("Layer %d:", n+1)
		first := true
		for _, i := range order {
			if layer[i] != n {
				continue
			}
			if !first {
				s += ","
			}
			first = false
			t := m.r.Things[q.Of[placed[i].Item]]
			s += fmt.Sprintf(" %d (%s)", t.N, t.ID)
			switch placed[i].Turn.Axes()[2] {
			case 1:
				s += " on its long edge"
			case 0:
				s += " on end"
			}
		}
		q.Steps = append(q.Steps, s+".")
	}
}

func overlapping(a, b pack.Placed) bool {
	return a.At.X < b.At.X+b.Size.X-1e-6 && b.At.X < a.At.X+a.Size.X-1e-6 && a.At.Y < b.At.Y+b.Size.Y-1e-6 && b.At.Y < a.At.Y+a.Size.Y-1e-6
}

// Pens of the drawing: ISO 128-2 widths, narrow to wide as 1 to 2.
var (
	wide   = &draw.Style{Width: 0.35, ColorIndex: 7}
	narrow = &draw.Style{Red: 0x70, Green: 0x70, Blue: 0x70, Width: 0.18, ColorIndex: 8}
	dashed = &draw.Style{Red: 0x90, Green: 0x90, Blue: 0x90, Width: 0.13, ColorIndex: 8, Dash: []float64{1.5, 1}}
)

// draw draws the parcel packed, seen from above in front of its right side, and
// each of its layers from above, on an A4 sheet on its side.
func (m *making) draw(q *Parcel) {
	const width, height, margin, head, gap = 297.0, 210.0, 10.0, 12.0, 8.0
	in := q.Layout.Box.Size
	c, s := math.Cos(math.Pi/6), 0.5
	isoSize := geom.V2((in.X+in.Y)*c, in.Z+(in.X+in.Y)*s)
	cell := geom.V2(max(isoSize.X, in.X), max(isoSize.Y, in.Y))
	n := q.Layers + 1
	columns, rows := 1, n
	for _, scale := range []float64{1, 2, 5, 10, 20, 50, 100, 200, 500} {
		q.Scale = scale
		columns = min(n, max(1, int((width-2*margin+gap)/(cell.X/scale+gap))))
		rows = (n + columns - 1) / columns
		if cell.X/scale <= width-2*margin && float64(rows)*(cell.Y/scale+gap) <= height-2*margin-head {
			break
		}
	}
	corner := func(k int) geom.Vec2 { // lower left of a cell, on the sheet
		return geom.V2(margin+float64(k%columns)*(cell.X/q.Scale+gap), height-margin-head-float64(k/columns+1)*(cell.Y/q.Scale+gap)+gap)
	}
	outline := draw.Layer{Name: "box", Operation: draw.Note, Pen: narrow}
	below := draw.Layer{Name: "lower layers", Operation: draw.Note, Pen: dashed}
	parts := draw.Layer{Name: "parts", Operation: draw.Mark, Pen: wide}
	notes := draw.Layer{Name: "notes", Operation: draw.Note, Pen: narrow}
	notes.Items = append(notes.Items, draw.Text{At: geom.V2(margin, height-margin-4), Height: 4,
		String: fmt.Sprintf("%s  kit %s  %s  inside %.0f x %.0f x %.0f mm  %.1f kg  1:%g", m.Piece.Name, m.r.Revision, q.ID, q.Inside.X, q.Inside.Y, q.Inside.Z, q.Mass/1000, q.Scale)})

	iso := func(p geom.Vec3) geom.Vec2 {
		return geom.V2((p.X+p.Y)*c, p.Z+(p.Y-p.X)*s+in.X*s).Scale(1 / q.Scale).Add(corner(0))
	}
	face := func(ps ...geom.Vec3) []geom.Vec2 {
		out := make([]geom.Vec2, len(ps))
		for i, p := range ps {
			out[i] = iso(p)
		}
		return out
	}
	// The far sides of the box, then what is in it from the back to the front.
	x, y, z := in.X, in.Y, in.Z
	outline.Items = append(outline.Items,
		draw.Polyline(face(geom.V3(0, 0, 0), geom.V3(x, 0, 0), geom.V3(x, y, 0), geom.V3(0, y, 0)), true),
		draw.Polyline(face(geom.V3(0, 0, 0), geom.V3(0, 0, z), geom.V3(0, y, z), geom.V3(x, y, z), geom.V3(x, y, 0)), false),
		draw.Line(iso(geom.V3(0, y, 0)), iso(geom.V3(0, y, z))))
	for _, i := range backToFront(q.Layout.Placed) {
		p := q.Layout.Placed[i]
		lo, hi := p.At, p.At.Add(p.Size)
		top := face(geom.V3(lo.X, lo.Y, hi.Z), geom.V3(hi.X, lo.Y, hi.Z), geom.V3(hi.X, hi.Y, hi.Z), geom.V3(lo.X, hi.Y, hi.Z))
		front := face(geom.V3(lo.X, lo.Y, lo.Z), geom.V3(hi.X, lo.Y, lo.Z), geom.V3(hi.X, lo.Y, hi.Z), geom.V3(lo.X, lo.Y, hi.Z))
		side := face(geom.V3(hi.X, lo.Y, lo.Z), geom.V3(hi.X, hi.Y, lo.Z), geom.V3(hi.X, hi.Y, hi.Z), geom.V3(hi.X, lo.Y, hi.Z))
		for k, f := range [][]geom.Vec2{top, front, side} {
			parts.Items = append(parts.Items, draw.Region{Area: geom.Polygons{f}, Grey: []uint8{255, 235, 215}[k]}, draw.Polyline(f, true))
		}
		if min(p.Size.X, p.Size.Y)/q.Scale >= 5 { // the plans below have all numbers
			parts.Items = append(parts.Items, numeral(top[0].Lerp(top[2], 0.5), geom.V2(9, 9), m.r.Things[q.Things[i]].N))
		}
	}
	layer := m.layersOf(q)
	for n := range q.Layers {
		o := corner(n + 1)
		on := func(p geom.Vec2) geom.Vec2 { return p.Scale(1 / q.Scale).Add(o) }
		rect := func(p pack.Placed) draw.Path {
			a, b := p.At.XY(), p.At.Add(p.Size).XY()
			return draw.Polyline([]geom.Vec2{on(a), on(geom.V2(b.X, a.Y)), on(b), on(geom.V2(a.X, b.Y))}, true)
		}
		outline.Items = append(outline.Items, draw.Polyline([]geom.Vec2{on(geom.Vec2{}), on(geom.V2(x, 0)), on(geom.V2(x, y)), on(geom.V2(0, y))}, true))
		notes.Items = append(notes.Items, draw.Text{At: on(geom.V2(0, y)).Add(geom.V2(0, 1.5)), Height: 2.5, String: fmt.Sprintf("layer %d", n+1)})
		for i, p := range q.Layout.Placed {
			switch {
			case layer[i] < n:
				below.Items = append(below.Items, rect(p))
			case layer[i] == n:
				parts.Items = append(parts.Items, rect(p))
				a, b := p.At.XY(), p.At.Add(p.Size).XY()
				parts.Items = append(parts.Items, numeral(on(a.Lerp(b, 0.5)), b.Sub(a).Scale(1/q.Scale), m.r.Things[q.Things[i]].N))
			}
		}
	}
	q.Sheet = draw.Sheet{Title: m.Piece.Name + " " + q.ID, Width: width, Height: height, Layers: []draw.Layer{outline, below, parts, notes}}
}

// numeral is a number in the middle of a rectangle on paper, upright if that is
// too narrow for it, and no higher than fits.
func numeral(at, room geom.Vec2, n int) draw.Text {
	const high, least, share = 2.5, 1.2, 0.7
	t := draw.Text{Height: high, Anchor: draw.Middle, String: fmt.Sprint(n)}
	if wide := 0.8 * high * float64(len(t.String)); room.X < wide && room.Y > room.X {
		t.Angle = math.Pi / 2
	}
	t.Height = max(least, min(high, share*min(room.X, room.Y)))
	t.At = at.Add(geom.V2(0, -t.Height/2).Rotate(t.Angle))
	return t
}

// layersOf is the layer of each placed box, from 0; the boxes are in the order of
// packing.
func (m *making) layersOf(q *Parcel) []int {
	layer := make([]int, len(q.Layout.Placed))
	for i, a := range q.Layout.Placed {
		for j, b := range q.Layout.Placed[:i] {
			if b.At.Z+b.Size.Z <= a.At.Z+1e-6 && overlapping(a, b) {
				layer[i] = max(layer[i], layer[j]+1)
			}
		}
	}
	return layer
}

// backToFront orders boxes so that none is drawn after one that hides it, seen
// from +x, -y, +z. Looking on, x falls, y grows and z falls: a hides part of b
// only if b begins before a ends along all three.
func backToFront(placed []pack.Placed) []int {
	const eps = 1e-6
	hides := func(a, b pack.Placed) bool {
		return a.At.X+a.Size.X > b.At.X+eps && a.At.Y < b.At.Y+b.Size.Y-eps && a.At.Z+a.Size.Z > b.At.Z+eps
	}
	var out []int
	done := make([]bool, len(placed))
	for len(out) < len(placed) {
		next := -1
		for i := range placed {
			if done[i] {
				continue
			}
			if next < 0 {
				next = i // if boxes hide one another in a ring, the first is as good as any
			}
			free := true
			for j := range placed {
				if j != i && !done[j] && hides(placed[i], placed[j]) {
					free = false
					break
				}
			}
			if free {
				next = i
				break
			}
		}
		done[next] = true
		out = append(out, next)
	}
	return out
}
