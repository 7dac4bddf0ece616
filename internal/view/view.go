package view

import (
	"context"
	"errors"
	"fmt"
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// Touch is how far, in mm of the piece, something must lie behind a facet to be
// hidden by it.
const Touch = 1e-3

// Part is a thing to draw.
type Part struct {
	ID     string
	Mesh   *solid.Mesh // world, mm; if it is not closed, both sides of it are seen
	Motion geom.Vec3   // where it is drawn beside where it is, mm
	Tone   float64     // of its area, 0 white to 1 black
	Weight float64     // of its lines beside others', 0 meaning 1
	Ghost  bool        // drawn thin; hides nothing but itself
}

// Curve is a line in the world to draw beside the parts' edges, hidden as they
// are. Its points are where it is drawn: no Motion applies.
type Curve struct {
	Part   string // to which it belongs, if any
	Class  Class
	Points []geom.Vec3 // mm
}

// Class says what a line stands for.
type Class int

// In the order in which they are drawn, later above earlier.
const (
	Hatch   Class = iota // on a cut face
	Thread               // between what belongs together and is drawn apart
	Mark                 // anything else that the caller adds
	Seam                 // where another part lies flush
	Crease               // where a surface of a part ends
	Outline              // beyond which something farther away is seen
	classes
)

var classNames = [classes]string{"hatch", "thread", "mark", "seam", "crease", "outline"}

func (c Class) String() string {
	if c < 0 || c >= classes {
		return fmt.Sprintf("class %d", int(c))
	}
	return classNames[c]
}

// Direction is how the piece is looked at. The image is parallel: no
// perspective.
type Direction struct {
	Toward geom.Vec3 // from the eye to the piece
	Up     geom.Vec3 // what points up on the paper, as nearly as it can
}

// The usual views: of a piece that stands on its floor (Z up), its front towards
// -Y. Isometric is seen from the front, right and above, all three axes equally
// foreshortened (ISO 5456-3) to the square root of 2/3.
var (
	Front     = Direction{geom.V3(0, 1, 0), geom.V3(0, 0, 1)}
	Back      = Direction{geom.V3(0, -1, 0), geom.V3(0, 0, 1)}
	Right     = Direction{geom.V3(-1, 0, 0), geom.V3(0, 0, 1)}
	Left      = Direction{geom.V3(1, 0, 0), geom.V3(0, 0, 1)}
	Top       = Direction{geom.V3(0, 0, -1), geom.V3(0, 1, 0)}
	Bottom    = Direction{geom.V3(0, 0, 1), geom.V3(0, -1, 0)}
	Isometric = Direction{geom.V3(-1, 1, -1), geom.V3(0, 0, 1)}
)

// frame has X to the right, Y up the paper and Z to the eye.
func (d Direction) frame() (geom.Frame, error) {
	for _, x := range []float64{d.Toward.X, d.Toward.Y, d.Toward.Z, d.Up.X, d.Up.Y, d.Up.Z} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return geom.Frame{}, errors.New("view: the direction is not finite")
		}
	}
	if d.Toward.Len() == 0 || d.Up.Len() == 0 {
		return geom.Frame{}, errors.New("view: the direction has no length")
	}
	z := d.Toward.Unit().Neg()
	x := d.Up.Unit().Cross(z)
	if x.Len() < 1e-9 {
		return geom.Frame{}, errors.New("view: up is the direction of looking")
	}
	x = x.Unit()
	return geom.Frame{X: x, Y: z.Cross(x), Z: z}, nil
}

// Options steer a drawing. The zero value of a field means its default.
type Options struct {
	Chord  float64 // mm by which the meshes stray from curves, default 0.2: contours of a part are not hidden by what of it lies less behind
	Hidden bool    // hand on hidden lines, too
	Least  float64 // mm; shorter pieces of lines are taken as what lies beside them, default 0.02
	Flat   bool    // without Regions, which ask the kernel
}

// Line is a run of straight lines. The last point of a closed one repeats the
// first.
type Line struct {
	Part   string
	Class  Class
	Hidden bool
	Ghost  bool
	Weight float64
	Points []geom.Vec2 // mm of the piece in the image
}

// Length is the line's length in the image, mm.
func (l Line) Length() float64 {
	var sum float64
	for i := 1; i < len(l.Points); i++ {
		sum += l.Points[i].Dist(l.Points[i-1])
	}
	return sum
}

// Region is what can be seen of a part.
type Region struct {
	Part  string
	Tone  float64
	Ghost bool
	Area  geom.Polygons // mm of the piece in the image; empty if nothing is seen
}

// Drawing is what is seen of parts. It must not be changed.
type Drawing struct {
	Lines   []Line    // by class, then in the order of parts
	Regions []Region  // by part; nil if Flat
	Bounds  geom.Box2 // of all parts and curves, hidden or not

	frame geom.Frame
	hide  *hider
}

// Make draws parts and curves as seen in a direction. Parts may touch but not
// run into each other; their IDs must differ. It is an error if a mesh or a curve
// is not finite or has indices out of range.
func Make(ctx context.Context, k *solid.Kernel, parts []Part, curves []Curve, dir Direction, o Options) (*Drawing, error) {
	if o.Chord == 0 {
		o.Chord = 0.2
	}
	if o.Least == 0 {
		o.Least = 0.02
	}
	frame, err := dir.frame()
	if err != nil {
		return nil, err
	}
	d := &Drawing{Bounds: geom.EmptyBox2(), frame: frame}
	seen := map[string]bool{}
	bodies := make([]*body, len(parts))
	for i, p := range parts {
		if seen[p.ID] {
			return nil, fmt.Errorf("view: two parts are called %q", p.ID)
		}
		seen[p.ID] = true
		b, err := newBody(p, frame)
		if err != nil {
			return nil, fmt.Errorf("view: %s: %w", p.ID, err)
		}
		bodies[i] = b
		for _, q := range b.at {
			d.Bounds = d.Bounds.Add(q.XY())
		}
	}
	d.hide = newHider(bodies)
	var edges []edge
	for i, b := range bodies {
		edges = append(edges, b.edges(i, o.Hidden)...)
	}
	drawn := 0
	of := map[string]int{}
	for i, p := range parts {
		of[p.ID] = i
	}
	for _, c := range curves {
		part, ok := of[c.Part]
		if !ok {
			part = -1
		}
		for i, p := range c.Points {
			q := frame.Local(p)
			if !finite(q) {
				return nil, fmt.Errorf("view: a curve of %q is not finite", c.Part)
			}
			d.Bounds = d.Bounds.Add(q.XY())
			if i > 0 {
				edges = append(edges, edge{part: part, name: c.Part, class: c.Class, a: frame.Local(c.Points[i-1]), b: q, group: drawn})
			}
		}
		drawn++
	}
	d.Lines, err = d.hide.lines(ctx, edges, parts, o)
	if err != nil {
		return nil, err
	}
	if !o.Flat {
		if d.Regions, err = regions(ctx, k, parts, bodies, d.hide); err != nil {
			return nil, fmt.Errorf("view: regions: %w", err)
		}
	}
	return d, nil
}

// Point is where a point of the world lies in the image.
func (d *Drawing) Point(p geom.Vec3) geom.Vec2 { return d.frame.Local(p).XY() }

// See is where a point of the world lies in the image, and whether nothing lies
// before it.
func (d *Drawing) See(p geom.Vec3) (at geom.Vec2, visible bool) {
	q := d.frame.Local(p)
	return q.XY(), !d.hide.hidden(q)
}

// LabelPlace is a place for a mark well within what is seen of a part: at least
// three quarters as far from its border as any place is, near its middle. clear
// is the distance, mm; ok is false if nothing is seen of the part.
func (d *Drawing) LabelPlace(part string) (at geom.Vec2, clear float64, ok bool) {
	for _, r := range d.Regions {
		if r.Part == part && len(r.Area) > 0 {
			at, clear = pole(r.Area, 0.5)
			return at, clear, clear > 0
		}
	}
	return at, 0, false
}

func finite(p geom.Vec3) bool {
	s := p.X + p.Y + p.Z
	return !math.IsNaN(s) && !math.IsInf(s, 0)
}
