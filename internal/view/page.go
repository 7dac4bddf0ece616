package view

import (
	"math"
	"slices"
	"strings"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
)

// Placing puts a drawing on paper: image point q goes to At + Scale * (q - Of).
type Placing struct {
	Scale float64   // paper mm to a mm of the piece: 0.2 is 1:5
	Of    geom.Vec2 // mm of the piece in the image
	At    geom.Vec2 // mm of paper
}

// Point is where a point of the image lies on paper.
func (p Placing) Point(q geom.Vec2) geom.Vec2 { return p.At.Add(q.Sub(p.Of).Scale(p.Scale)) }

// Area is a region of the image on paper.
func (p Placing) Area(ps geom.Polygons) geom.Polygons { return ps.Map(p.Point) }

// Widths of lines in mm, wide to narrow as 2 to 1 (ISO 128-2); the rest of a
// ghost is half the narrow.
const (
	wide   = 0.35
	narrow = 0.18
	faint  = 0.09
)

// Pen is how lines of a kind look on paper.
func Pen(class Class, hidden, ghost bool) draw.Style {
	s := draw.Style{ColorIndex: 7, Width: narrow}
	switch {
	case hidden:
		s.Width, s.Dash = narrow*0.75, []float64{1.6, 0.8}
	case ghost:
		s.Width, s.Red, s.Green, s.Blue = faint, 0x70, 0x70, 0x70
	case class == Outline:
		s.Width = wide
	case class == Thread:
		s.Width, s.Dash = narrow*0.75, []float64{4, 0.8, 0.6, 0.8} // chain line: an axis
	case class == Hatch:
		s.Width = narrow * 0.75
	}
	return s
}

// Layers are the drawing on paper: tones, then hidden lines, then the others by
// class. Their names begin with the prefix, so that several drawings may share
// a sheet; layers that would be empty are left out, and lines shorter than half
// the width of their pen.
func (d *Drawing) Layers(p Placing, prefix string) []draw.Layer {
	var out []draw.Layer
	tone := draw.Layer{Name: prefix + "tone", Operation: draw.Note, Pen: &draw.Style{ColorIndex: 8, Width: narrow}}
	for _, r := range d.Regions {
		if r.Tone > 0 && !r.Ghost && len(r.Area) > 0 {
			tone.Items = append(tone.Items, draw.Region{Area: p.Area(r.Area), Grey: uint8(math.Round(255 * (1 - min(1, r.Tone))))})
		}
	}
	if len(tone.Items) > 0 {
		out = append(out, tone)
	}
	type kind struct {
		class         Class
		hidden, ghost bool
		weight        float64
	}
	name := func(k kind) string {
		var b strings.Builder
		b.WriteString(prefix)
		if k.ghost {
			b.WriteString("ghost ")
		}
		if k.hidden {
			b.WriteString("hidden ")
		}
		b.WriteString(k.class.String())
		return b.String()
	}
	var kinds []kind
	for _, hidden := range []bool{true, false} {
		for _, ghost := range []bool{true, false} {
			for c := range classes {
				var weights []float64
				for _, l := range d.Lines {
					if l.Class == c && l.Hidden == hidden && l.Ghost == ghost && !slices.Contains(weights, l.Weight) {
						weights = append(weights, l.Weight)
					}
				}
				slices.Sort(weights)
				for _, w := range weights {
					kinds = append(kinds, kind{c, hidden, ghost, w})
				}
			}
		}
	}
	for i, k := range kinds {
		pen := Pen(k.class, k.hidden, k.ghost)
		pen.Width *= k.weight
		l := draw.Layer{Name: name(k), Operation: draw.Note, Pen: &pen}
		if i > 0 && name(kinds[i-1]) == l.Name || i+1 < len(kinds) && name(kinds[i+1]) == l.Name {
			l.Name += " " + strings.ReplaceAll(ratio(k.weight), ".", "-")
		}
		for _, line := range d.Lines {
			if (kind{line.Class, line.Hidden, line.Ghost, line.Weight}) != k {
				continue
			}
			// What is shorter than its pen is wide would be a speck.
			if path, ok := p.path(line.Points); ok && line.Length()*p.Scale > pen.Width/2 {
				l.Items = append(l.Items, path)
			}
		}
		if len(l.Items) > 0 {
			out = append(out, l)
		}
	}
	return out
}

// path is a run of points on paper.
func (p Placing) path(run []geom.Vec2) (draw.Path, bool) {
	var points []geom.Vec2
	for _, q := range run {
		points = append(points, p.Point(q))
	}
	closed := len(points) > 3 && points[0] == points[len(points)-1]
	if closed {
		points = points[:len(points)-1]
	}
	return draw.Polyline(points, closed), len(points) > 1
}
