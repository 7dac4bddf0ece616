package sheet

import (
	"context"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/veneer"
)

// Drawing is the cut sheet of one blank, 1:1, in the order of work: marks in
// the waste, half-cuts, inner cuts, outer cuts. Notes are for eyes only.
func (r *Result) Drawing(ctx context.Context, k *solid.Kernel, blank int, patterns []veneer.Pattern, s *shop.Shop, o Options) (draw.Sheet, error) {
	b := r.Blanks[blank]
	laser := s.Lasers[slices.IndexFunc(s.Lasers, func(l shop.Laser) bool { return l.ID == r.Laser })]
	mark := draw.Layer{Name: "mark", Operation: draw.Mark}
	half := draw.Layer{Name: "half-cut", Operation: draw.HalfCut}
	pins := draw.Layer{Name: "cut pins", Operation: draw.Cut}
	inner := draw.Layer{Name: "cut inner", Operation: draw.Cut}
	outer := draw.Layer{Name: "cut outer", Operation: draw.Cut}
	note := draw.Layer{Name: "note", Operation: draw.Note}

	var taken []geom.Polygons // outlines, and after them the labels already placed
	for _, p := range r.Placements {
		if p.Blank == blank {
			taken = append(taken, r.Outline(patterns, p))
		}
	}
	face := "face up"
	if o.FaceDown {
		face = "face down, mirrored"
	}
	note.Items = append(note.Items, arrow(b, laser)...)
	mark.Items = append(mark.Items, frameMarks(b, laser)...)
	for _, k := range r.reservedAreas(blank) {
		note.Items = append(note.Items, draw.Polyline(rectangle(k.Box2), true),
			draw.Text{At: k.Box2.Center(), Height: max(1, min(4, k.Box2.Size().Y/2)), Anchor: draw.Middle, String: k.name})
	}
	at := 0
	for _, p := range r.Placements {
		if p.Blank != blank {
			continue
		}
		pat := patterns[p.Pattern]
		outline := taken[at]
		if o.Compensate && laser.Kerf > 0 {
			grown, err := k.Offset2(ctx, outline, laser.Kerf/2, solid.Miter, 4, 0.005)
			if err != nil {
				return draw.Sheet{}, fmt.Errorf("sheet: %s: kerf of %s: %w", b.ID, pat.ID, err)
			}
			outline = grown
		}
		for _, loop := range outline {
			if loop.Area() < 0 {
				inner.Items = append(inner.Items, draw.Polyline(loop, true))
			} else {
				outer.Items = append(outer.Items, draw.Polyline(loop, true))
			}
		}
		for _, c := range pat.Pins {
			pins.Items = append(pins.Items, draw.Circle{Center: p.Point(c), Radius: max(0.1, (pat.Pin-laser.Kerf)/2)})
		}
		for _, m := range pat.Marks {
			line := make([]geom.Vec2, len(m.Line))
			for i, q := range m.Line {
				line[i] = p.Point(q)
			}
			switch m.Purpose {
			case "half-cut":
				half.Items = append(half.Items, draw.Polyline(line, false))
			default:
				note.Items = append(note.Items, draw.Polyline(line, false))
			}
		}
		label, room, err := labelFor(pat.ID, taken, at, b, laser)
		if err != nil {
			return draw.Sheet{}, fmt.Errorf("sheet: %s: label %s: %w", b.ID, pat.ID, err)
		}
		if len(label) > 0 {
			taken = append(taken, geom.Polygons{rectangle(room)})
		}
		mark.Items = append(mark.Items, label...)
		note.Items = append(note.Items, noteFor(pat.ID, taken[at]))
		at++
	}
	sh := draw.Sheet{
		Title: fmt.Sprintf("%s, %s, %.0f x %.0f mm, %s", b.ID, b.Veneer, b.Size.X, b.Size.Y, face),
		Width: b.Size.X, Height: b.Size.Y,
		Layers: []draw.Layer{mark, half, pins, inner, outer, note},
	}
	if o.FaceDown {
		for i, l := range sh.Layers {
			sh.Layers[i].Items = mirrored(l.Items, b.Size.X)
		}
	}
	return sh, nil
}

// mirrored turns a drawing over left to right. Notes stay readable.
func mirrored(items []draw.Item, width float64) []draw.Item {
	flip := func(p geom.Vec2) geom.Vec2 { return geom.V2(width-p.X, p.Y) }
	out := make([]draw.Item, len(items))
	for i, it := range items {
		switch it := it.(type) {
		case draw.Path:
			out[i] = it.Map(flip, true)
		case draw.Circle:
			it.Center = flip(it.Center)
			out[i] = it
		case draw.Text:
			it.At = flip(it.At)
			out[i] = it
		default:
			out[i] = it
		}
	}
	return out
}

// Scale bar and datum: the bar is what the maker measures to see that the
// machine cuts true; the datum is the edge cut first, by hand, 3 mm in.
const (
	scaleBar  = 100.0
	datumEdge = 3.0
)

// frameMarks are the marks along a blank's edge: the hand-cut datum edge, a
// cross near each corner, and the scale bar.
func frameMarks(b Blank, laser shop.Laser) []draw.Item {
	var out []draw.Item
	edge := min(laser.Margin, datumEdge)
	cross := func(c geom.Vec2) {
		const arm = 1.5
		out = append(out,
			draw.Line(c.Add(geom.V2(-arm, 0)), c.Add(geom.V2(arm, 0))),
			draw.Line(c.Add(geom.V2(0, -arm)), c.Add(geom.V2(0, arm))))
	}
	for _, c := range []geom.Vec2{{X: edge, Y: edge}, {X: b.Size.X - edge, Y: edge}, {X: edge, Y: b.Size.Y - edge}, {X: b.Size.X - edge, Y: b.Size.Y - edge}} {
		cross(c)
	}
	// A strip longer than the bed is cut in several set-ups, slid along from one
	// pair of crosses to the next.
	if step := laser.Bed.X - 2*laser.Margin; b.Size.X > laser.Bed.X {
		for x := edge + step; x < b.Size.X-edge; x += step {
			cross(geom.V2(x, edge))
			cross(geom.V2(x, b.Size.Y-edge))
		}
	}
	// Along the longer edge; a blank shorter than the bar gets one of 50 or 20 mm.
	along := b.Size.X >= b.Size.Y
	room := max(b.Size.X, b.Size.Y) - 4*edge
	bar := scaleBar
	for _, s := range []float64{50, 20} {
		if bar > room {
			bar = s
		}
	}
	start := 2 * edge
	at := func(u, v float64) geom.Vec2 {
		if along {
			return geom.V2(start+u, edge+v)
		}
		return geom.V2(edge-v, start+u)
	}
	out = append(out, draw.Line(at(0, 0), at(bar, 0)))
	for _, u := range []float64{0, bar / 2, bar} {
		out = append(out, draw.Line(at(u, -1), at(u, 1)))
	}
	return out
}

// arrow notes the direction of the grain, which runs both ways, in the margin
// beyond the scale bar.
func arrow(b Blank, laser shop.Laser) []draw.Item {
	edge := min(laser.Margin, datumEdge)
	d := geom.V2(math.Cos(b.Grain), math.Sin(b.Grain))
	l := min(30, max(b.Size.X, b.Size.Y)*0.15)
	tip := geom.V2(b.Size.X-4*edge, edge) // lower right
	if math.Abs(d.Y) > math.Abs(d.X) {
		tip = geom.V2(b.Size.X-edge, b.Size.Y-4*edge)
	}
	tail := tip.Sub(d.Scale(l))
	barbs := func(at, way geom.Vec2) draw.Item {
		back, side := at.Sub(way.Scale(2)), way.Left().Scale(0.8)
		return draw.Polyline([]geom.Vec2{back.Add(side), at, back.Sub(side)}, false)
	}
	return []draw.Item{
		draw.Line(tail, tip), barbs(tip, d), barbs(tail, d.Scale(-1)),
		draw.Text{At: tail.Sub(d.Scale(1)).Sub(d.Left().Scale(0.8)), Height: 1.8, Angle: b.Grain, Anchor: draw.End, String: "grain"},
	}
}

// labelFor is a pattern's name as lines that the laser marks in the waste
// beside it, and the room they take; nothing where there is no room.
func labelFor(id string, taken []geom.Polygons, at int, b Blank, laser shop.Laser) ([]draw.Item, geom.Box2, error) {
	box := taken[at].Bounds()
	const clear = 1.0
	edge := min(laser.Margin, datumEdge) + 2
	for _, height := range []float64{3, 2} {
		w := draw.LetteringWidth(id, height)
		var try []geom.Vec2
		for _, x := range []float64{box.Min.X, box.Max.X - w, box.Center().X - w/2} {
			try = append(try, geom.V2(x, box.Max.Y+clear), geom.V2(x, box.Min.Y-clear-height))
		}
		for _, y := range []float64{box.Min.Y, box.Max.Y - height, box.Center().Y - height/2} {
			try = append(try, geom.V2(box.Max.X+clear, y), geom.V2(box.Min.X-clear-w, y))
		}
		for _, x := range []float64{box.Min.X, box.Max.X - w} { // corners of the box that a curved outline leaves free
			try = append(try, geom.V2(x, box.Min.Y), geom.V2(x, box.Max.Y-height))
		}
		for _, p := range try {
			r := geom.Box2{Min: p, Max: p.Add(geom.V2(w, height))}
			if r.Min.X < edge || r.Min.Y < edge || r.Max.X > b.Size.X-edge || r.Max.Y > b.Size.Y-edge {
				continue
			}
			if slices.ContainsFunc(taken, func(ps geom.Polygons) bool { return meets(ps, r.Grow(clear/2)) }) {
				continue
			}
			paths, err := draw.Lettering(draw.Text{At: p, Height: height, String: id})
			if err != nil {
				return nil, r, err
			}
			var out []draw.Item
			for _, q := range paths {
				out = append(out, q)
			}
			return out, r, nil
		}
	}
	return nil, geom.Box2{}, nil
}

// noteFor is a pattern's name written inside it, for eyes only, as large as
// there is room for.
func noteFor(id string, ps geom.Polygons) draw.Item {
	at, h := inside(ps)
	if w := draw.LetteringWidth(id, 1); w > 0 {
		h = min(h, 0.9*ps.Bounds().Size().X/w)
	}
	return draw.Text{At: at.Sub(geom.V2(0, h/2)), Height: h, Anchor: draw.Middle, String: id}
}

func rectangle(b geom.Box2) geom.Polygon {
	return geom.Polygon{b.Min, geom.V2(b.Max.X, b.Min.Y), b.Max, geom.V2(b.Min.X, b.Max.Y)}
}

// meets reports whether a region and a box share a point.
func meets(ps geom.Polygons, b geom.Box2) bool {
	if !ps.Bounds().Overlaps(b) {
		return false
	}
	for _, p := range rectangle(b) {
		if ps.Contains(p) {
			return true
		}
	}
	clipped := ps.ClipHalfPlane(geom.V2(-1, 0), -b.Min.X).ClipHalfPlane(geom.V2(1, 0), b.Max.X).
		ClipHalfPlane(geom.V2(0, -1), -b.Min.Y).ClipHalfPlane(geom.V2(0, 1), b.Max.Y)
	return len(clipped) > 0
}

// inside is a point well inside a region for a note, and a letter height that
// suits the room there.
func inside(ps geom.Polygons) (geom.Vec2, float64) {
	box := ps.Bounds()
	best, at := -1.0, box.Center()
	const n = 12
	for i := 1; i < n; i++ {
		for j := 1; j < n; j++ {
			p := geom.V2(box.Min.X+box.Size().X*float64(i)/n, box.Min.Y+box.Size().Y*float64(j)/n)
			if !ps.Contains(p) {
				continue
			}
			d := ps.Distance(p) - 0.01*p.Dist(box.Center())
			if d > best {
				best, at = d, p
			}
		}
	}
	return at, max(1, min(6, best*0.6))
}
