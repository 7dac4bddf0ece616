package draw

import (
	"fmt"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"groundwork/internal/geom"
)

// Sheet is one drawing. Its lower left corner is the origin.
type Sheet struct {
	Title         string
	Width, Height float64 // mm
	Layers        []Layer // written in this order
}

// Layer is what one operation follows, in order.
type Layer struct {
	Name      string
	Operation Operation
	Pen       *Style // how its lines look, if not as the operation's do; drawings for reading have their own
	Items     []Item
}

// Style is how the layer's lines look: by its pen, or else by its operation.
func (l Layer) Style() Style {
	if l.Pen != nil {
		return *l.Pen
	}
	return l.Operation.Style()
}

// Operation is what is done along a layer's lines.
type Operation int

const (
	Cut     Operation = iota // through the sheet
	HalfCut                  // through the face but not the backing or liner, or the reverse
	Mark                     // a visible line on the surface
	Note                     // for eyes only: nothing follows it
)

func (o Operation) String() string {
	switch o {
	case Cut:
		return "cut"
	case HalfCut:
		return "half-cut"
	case Mark:
		return "mark"
	case Note:
		return "note"
	}
	return fmt.Sprintf("operation %d", int(o))
}

// Style is how an operation's lines look.
type Style struct {
	Red, Green, Blue uint8
	ColorIndex       int       // of the DXF table of 255 colours
	Width            float64   // mm, a line width of ISO 128-2
	Dash             []float64 // mm drawn, mm left out; none for a whole line
}

// Style is the look of an operation. The four differ in grey value as well as in
// hue, and cutting lines are twice as wide as marks (narrow to wide as 1 to 2 in
// ISO 128-2), so a drawing printed without colour still reads. Whatever a
// machine follows is a whole line, since some burn dashes as they are drawn;
// notes alone are dashed.
func (o Operation) Style() Style {
	switch o {
	case Cut:
		return Style{Red: 0x8B, Green: 0x0A, Blue: 0x50, ColorIndex: 6, Width: 0.25}
	case HalfCut:
		return Style{Red: 0x2E, Green: 0x8B, Blue: 0x57, ColorIndex: 3, Width: 0.18}
	case Mark:
		return Style{Red: 0x6A, Green: 0x8F, Blue: 0xE8, ColorIndex: 5, Width: 0.13}
	default:
		return Style{Red: 0xA8, Green: 0xA8, Blue: 0xA8, ColorIndex: 8, Width: 0.13, Dash: []float64{1, 0.6}}
	}
}

// Item is a Path, a Circle, a Text or a Region.
type Item interface {
	// Bounds is the smallest box that holds the item; for Text, an estimate.
	Bounds() geom.Box2
	finite() bool
}

// Vertex is a point of a path, and the way from it to the next one.
type Vertex struct {
	geom.Vec2
	// Bulge is tan(θ/4) of the arc to the next vertex, θ being the angle that
	// it sweeps, positive counter-clockwise; 0 is a straight line, 1 a half turn.
	Bulge float64
}

// Path is a run of lines and circular arcs. The bulge of the last vertex counts
// only if the path is closed.
type Path struct {
	Vertices []Vertex
	Closed   bool
}

// Circle is a full circle.
type Circle struct {
	Center geom.Vec2
	Radius float64 // mm
}

// Anchor is the part of a text that lies at its place.
type Anchor int

const (
	Start Anchor = iota
	Middle
	End
)

// Text is one line of writing, standing on its baseline.
type Text struct {
	At     geom.Vec2
	Height float64 // of a capital, mm
	Angle  float64 // of the baseline, radians counter-clockwise
	Anchor Anchor
	String string
}

// Polyline is a path of straight lines.
func Polyline(points []geom.Vec2, closed bool) Path {
	p := Path{Vertices: make([]Vertex, len(points)), Closed: closed}
	for i, q := range points {
		p.Vertices[i].Vec2 = q
	}
	return p
}

// Line is a path of one straight line.
func Line(a, b geom.Vec2) Path { return Polyline([]geom.Vec2{a, b}, false) }

// Outlines is one closed path for every loop of a region, in order.
func Outlines(region geom.Polygons) []Item {
	items := make([]Item, len(region))
	for i, loop := range region {
		items[i] = Polyline(loop, true)
	}
	return items
}

// arc is the circle that a bulged span lies on.
func arc(a, b geom.Vec2, bulge float64) (center geom.Vec2, radius, sweep float64) {
	// With chord c and bulge t = tan(θ/4): sagitta s = t c/2, radius
	// r = c (1+t²) / (4|t|), and the centre lies c (1-t²) / (4t) to the left of
	// the chord's middle.
	chord := b.Sub(a)
	c := chord.Len()
	t := bulge
	radius = c * (1 + t*t) / (4 * math.Abs(t))
	center = a.Lerp(b, 0.5)
	if c > 0 {
		center = center.Add(chord.Left().Scale((1 - t*t) / (4 * t)))
	}
	return center, radius, 4 * math.Atan(t)
}

// spans calls f for every line or arc of the path.
func (p Path) spans(f func(a, b geom.Vec2, bulge float64)) {
	n := len(p.Vertices)
	for i, v := range p.Vertices {
		if i+1 < n {
			f(v.Vec2, p.Vertices[i+1].Vec2, v.Bulge)
		} else if p.Closed && n > 1 {
			f(v.Vec2, p.Vertices[0].Vec2, v.Bulge)
		}
	}
}

// Length is the length of the path in mm.
func (p Path) Length() float64 {
	var sum float64
	p.spans(func(a, b geom.Vec2, bulge float64) {
		if bulge == 0 {
			sum += a.Dist(b)
			return
		}
		_, r, sweep := arc(a, b, bulge)
		sum += r * math.Abs(sweep)
	})
	return sum
}

// Area is the signed area in mm² of a closed path, positive counter-clockwise:
// that of its chords plus the segment ½ r² (θ - sin θ) under each arc.
func (p Path) Area() float64 {
	var sum float64
	p.spans(func(a, b geom.Vec2, bulge float64) {
		sum += a.Cross(b) / 2
		if bulge != 0 {
			_, r, sweep := arc(a, b, bulge)
			sum += r * r * (sweep - math.Sin(sweep)) / 2
		}
	})
	return sum
}

// Flatten is the path as points, with arcs replaced by chords that stray from
// them by at most tolerance mm (> 0). The last point of a closed path is not
// repeated.
func (p Path) Flatten(tolerance float64) []geom.Vec2 {
	var out []geom.Vec2
	p.spans(func(a, b geom.Vec2, bulge float64) {
		out = append(out, a)
		if bulge == 0 {
			return
		}
		center, r, sweep := arc(a, b, bulge)
		if r <= tolerance {
			return
		}
		n := int(math.Ceil(math.Abs(sweep) / (2 * math.Acos(1-tolerance/r))))
		for i := 1; i < n; i++ {
			out = append(out, center.Add(a.Sub(center).Rotate(sweep*float64(i)/float64(n))))
		}
	})
	if n := len(p.Vertices); n > 0 && (!p.Closed || n == 1) {
		out = append(out, p.Vertices[n-1].Vec2)
	}
	return out
}

// Map is the path with f applied to every vertex. f must keep shapes; mirror
// says that it turns them over, which turns arcs the other way.
func (p Path) Map(f func(geom.Vec2) geom.Vec2, mirror bool) Path {
	out := Path{Vertices: make([]Vertex, len(p.Vertices)), Closed: p.Closed}
	for i, v := range p.Vertices {
		out.Vertices[i] = Vertex{f(v.Vec2), v.Bulge}
		if mirror {
			out.Vertices[i].Bulge = -v.Bulge
		}
	}
	return out
}

// Bounds is the exact box of the path, arcs included.
func (p Path) Bounds() geom.Box2 {
	box := geom.EmptyBox2()
	for _, v := range p.Vertices {
		box = box.Add(v.Vec2)
	}
	p.spans(func(a, b geom.Vec2, bulge float64) {
		if bulge == 0 {
			return
		}
		center, r, sweep := arc(a, b, bulge)
		from := a.Sub(center).Angle()
		for k := range 4 { // the four points where the circle turns back
			turn := float64(k) * math.Pi / 2
			ahead := math.Mod(math.Copysign(1, sweep)*(turn-from)+4*math.Pi, 2*math.Pi)
			if ahead <= math.Abs(sweep) {
				box = box.Add(center.Add(geom.V2(r, 0).Rotate(turn)))
			}
		}
	})
	return box
}

func (p Path) finite() bool {
	for _, v := range p.Vertices {
		if !isFinite(v.X, v.Y, v.Bulge) {
			return false
		}
	}
	return true
}

// Bounds is the box of the circle.
func (c Circle) Bounds() geom.Box2 {
	return geom.EmptyBox2().Add(c.Center).Grow(c.Radius)
}

func (c Circle) finite() bool { return isFinite(c.Center.X, c.Center.Y, c.Radius) && c.Radius > 0 }

// Bounds is an estimate: letters are taken to be as wide as they are high,
// which only wide capitals exceed.
func (t Text) Bounds() geom.Box2 {
	w := t.Height * float64(utf8.RuneCountInString(t.String))
	x := -w * [...]float64{0, 0.5, 1}[t.Anchor]
	box := geom.EmptyBox2()
	for _, c := range []geom.Vec2{{X: x, Y: -0.3 * t.Height}, {X: x + w, Y: -0.3 * t.Height}, {X: x + w, Y: t.Height}, {X: x, Y: t.Height}} {
		box = box.Add(t.At.Add(c.Rotate(t.Angle)))
	}
	return box
}

func (t Text) finite() bool {
	return isFinite(t.At.X, t.At.Y, t.Height, t.Angle) && t.Height > 0 && t.Anchor >= Start && t.Anchor <= End
}

func isFinite(xs ...float64) bool {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// check finds what no writer can write.
func (s Sheet) check() error {
	if !isFinite(s.Width, s.Height) || s.Width <= 0 || s.Height <= 0 {
		return fmt.Errorf("sheet %q is %g x %g mm", s.Title, s.Width, s.Height)
	}
	if !printable(s.Title) {
		return fmt.Errorf("sheet title %q holds control characters", s.Title)
	}
	seen := map[string]bool{}
	for _, l := range s.Layers {
		if l.Name == "" || !printable(l.Name) || seen[l.Name] {
			return fmt.Errorf("layer name %q is empty, unprintable or used twice", l.Name)
		}
		seen[l.Name] = true
		if l.Operation < Cut || l.Operation > Note {
			return fmt.Errorf("layer %q has %v", l.Name, l.Operation)
		}
		for i, it := range l.Items {
			if !it.finite() {
				return fmt.Errorf("layer %q item %d is not finite or has no size", l.Name, i)
			}
			if t, ok := it.(Text); ok && !printable(t.String) {
				return fmt.Errorf("layer %q item %d: text %q holds control characters", l.Name, i, t.String)
			}
			if p, ok := it.(Path); ok && len(p.Vertices) < 2 {
				return fmt.Errorf("layer %q item %d is a path of %d vertices", l.Name, i, len(p.Vertices))
			}
		}
	}
	return nil
}

// names are the layers' names in a format's own spelling, which must leave them
// different. Layers called "0" are refused: DXF keeps that name for itself.
func (s Sheet) names(spell func(string) string) ([]string, error) {
	names := make([]string, len(s.Layers))
	seen := map[string]string{}
	for i, l := range s.Layers {
		n := spell(l.Name)
		if other, ok := seen[n]; ok {
			return nil, fmt.Errorf("layers %q and %q would both be %s", other, l.Name, n)
		}
		if n == "0" {
			return nil, fmt.Errorf("a layer may not be called %s", n)
		}
		seen[n] = l.Name
		names[i] = n
	}
	return names, nil
}

func printable(s string) bool {
	return utf8.ValidString(s) && strings.IndexFunc(s, func(r rune) bool {
		return unicode.IsControl(r) || r == 0xFFFE || r == 0xFFFF
	}) < 0
}
