package view

import (
	"math"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
)

// Along is the way in which a dimension is measured.
type Along int

const (
	Horizontal Along = iota // across the paper
	Vertical                // up the paper
	Aligned                 // from point to point
)

// Dimension is a length with its lines. Points are in mm of paper.
type Dimension struct {
	A, B   geom.Vec2
	Along  Along
	Offset float64 // of its line from the farther of A and B: upward, to the right, or to the left of the way from A to B; negative for the other side
	Value  float64 // mm of the piece; 0 means measured on paper over Scale
	Scale  float64 // of the drawing, 0 meaning 1
	Height float64 // of its figures, 0 meaning 2.5 mm (ISO 3098)
}

// Proportions of dimensions, in heights of their figures: by eye, after the
// figures of ISO 129-1, whose text gives none.
const (
	pastLine   = 0.8 // witness lines run on past the dimension line
	fromPoint  = 0.4 // and begin this far from the point
	arrowLong  = 1.2
	arrowWide  = 0.36 // 17 degrees between its sides
	aboveLine  = 0.4  // figures above the line
	besideLine = 3.0  // outside arrows' tails
)

// Items are the dimension on paper: witness lines, the dimension line with filled
// arrows, and figures above it, read from below or from the right (ISO 129-1).
// format writes a length in mm. Where figures and arrows have no room between
// the witness lines, the arrows come from outside, and figures that are wider
// still stand beside.
func (d Dimension) Items(format func(mm float64) string) []draw.Item {
	h := d.Height
	if h == 0 {
		h = 2.5
	}
	way := geom.V2(1, 0)
	switch d.Along {
	case Vertical:
		way = geom.V2(0, 1)
	case Aligned:
		if way = d.B.Sub(d.A).Unit(); way == (geom.Vec2{}) {
			way = geom.V2(1, 0)
		}
	}
	a, b := d.A, d.B
	if a.Dot(way) > b.Dot(way) {
		a, b = b, a
	}
	side := way.Left()
	if d.Along == Vertical {
		side = way.Right()
	}
	base := max(a.Dot(side), b.Dot(side))
	if d.Offset < 0 {
		base = min(a.Dot(side), b.Dot(side))
	}
	on := func(q geom.Vec2) geom.Vec2 { return q.Add(side.Scale(base + d.Offset - q.Dot(side))) }
	p, q := on(a), on(b)
	var items []draw.Item
	for _, w := range [][2]geom.Vec2{{a, p}, {b, q}} {
		u := w[1].Sub(w[0])
		if u.Len() <= fromPoint*h {
			u = side.Scale(math.Copysign(1, d.Offset))
			items = append(items, draw.Line(w[1].Sub(u.Scale(pastLine*h)), w[1].Add(u.Scale(pastLine*h))))
			continue
		}
		u = u.Unit()
		items = append(items, draw.Line(w[0].Add(u.Scale(fromPoint*h)), w[1].Add(u.Scale(pastLine*h))))
	}
	value := d.Value
	if value == 0 {
		value = p.Dist(q)
		if d.Scale > 0 {
			value /= d.Scale
		}
	}
	text := format(value)
	room, need := p.Dist(q), TextWidth(text, h)
	arrow := func(tip, to geom.Vec2) draw.Item { // to: unit, from the tip to its tail
		c := tip.Add(to.Scale(arrowLong * h))
		n := to.Left().Scale(arrowWide * h / 2)
		loop := geom.Polygon{tip, c.Sub(n), c.Add(n)}
		return draw.Region{Area: geom.Polygons{loop}}
	}
	inside := room >= need+2*arrowLong*h || room >= 4*arrowLong*h && room >= need
	from, to := p, q
	if inside {
		items = append(items, arrow(p, way), arrow(q, way.Scale(-1)))
	} else {
		items = append(items, arrow(p, way.Scale(-1)), arrow(q, way))
		from, to = p.Sub(way.Scale(besideLine*h)), q.Add(way.Scale(besideLine*h))
	}
	at := p.Lerp(q, 0.5)
	if need > room {
		to = q.Add(way.Scale(besideLine*h + need))
		at = q.Add(way.Scale(besideLine*h + need/2))
	}
	items = append(items, draw.Line(from, to))
	// Upright as seen from below, or from the right where it runs up.
	angle := way.Angle()
	up := way.Left()
	if angle > math.Pi/2+1e-9 || angle <= -math.Pi/2+1e-9 {
		angle, up = angle+math.Pi, up.Scale(-1)
		if angle > math.Pi {
			angle -= 2 * math.Pi
		}
	}
	return append(items, draw.Text{At: at.Add(up.Scale(aboveLine * h)), Height: h, Angle: angle, Anchor: draw.Middle, String: text})
}

// DimensionPen is how the lines of dimensions and labels look.
func DimensionPen() draw.Style { return draw.Style{ColorIndex: 7, Width: narrow * 0.75} }
