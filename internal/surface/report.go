package surface

import (
	"fmt"
	"math"
	"strconv"

	"groundwork/internal/geom"
)

// Row tells of one face what a maker can check against a drawing.
type Row struct {
	Face     int // index into Solid.Faces
	Kind     Kind
	Radius   float64 // mm; Cylinder, Sphere; Cone: the smaller
	Larger   float64 // mm; Cone: the larger radius
	Length   float64 // mm; Cylinder, Cone: along the axis; otherwise the longer side of a box about the face
	Width    float64 // mm; of a box about the face; Cylinder, Cone: 0
	Area     float64 // mm²
	Residual float64 // mm
	Sag      float64 // mm
	Text     string  // one line, such as "cylinder, radius 12.5 mm, 40 mm long, hollow"
}

// Report is a row for every face, in their order.
func (s *Solid) Report() []Row {
	rows := make([]Row, len(s.Faces))
	for i := range s.Faces {
		f := &s.Faces[i]
		r := Row{Face: i, Kind: f.Kind, Area: f.Area, Residual: f.Residual, Sag: f.Sag}
		switch f.Kind {
		case Plane:
			r.Length, r.Width = s.spread(i)
			r.Text = fmt.Sprintf("plane, %s x %s mm", figure(r.Length), figure(r.Width))
		case Cylinder, Sphere:
			r.Radius = f.Radius
			r.Text = fmt.Sprintf("%s, radius %s mm", f.Kind, figure(r.Radius))
			if f.Kind == Cylinder {
				r.Length = f.To - f.From
				r.Text += fmt.Sprintf(", %s mm long", figure(r.Length))
			}
		case Cone:
			r.Radius = f.Radius + f.Slope*f.From
			r.Larger = f.Radius + f.Slope*f.To
			r.Length = f.To - f.From
			r.Text = fmt.Sprintf("cone, radius %s to %s mm, %s mm long", figure(r.Radius), figure(r.Larger), figure(r.Length))
		default:
			r.Length, r.Width = s.spread(i)
			r.Text = "curved both ways"
			if f.Kind == Developable {
				r.Text = "curved one way"
			}
			r.Text += fmt.Sprintf(", about %s x %s mm", figure(r.Length), figure(r.Width))
		}
		if (f.Kind == Cylinder || f.Kind == Cone) && !f.Full {
			r.Text += ", part of the way round"
		}
		if f.Hollow {
			r.Text += ", hollow"
		}
		rows[i] = r
	}
	return rows
}

// figure writes mm to a hundredth, which is finer than anyone checks.
func figure(x float64) string {
	return strconv.FormatFloat(math.Round(x*100)/100+0, 'f', -1, 64)
}

// spread is the longer and the shorter side of a box about the face, laid
// along its longest edge, seen along its mean normal.
func (s *Solid) spread(face int) (length, width float64) {
	var normal, along geom.Vec3
	for _, t := range s.Faces[face].Triangles {
		normal = normal.Add(s.cross(t))
	}
	longest := -1.0
	for _, l := range s.Loops(face) {
		for i, v := range l.Vertices {
			e := s.Vertices[l.Vertices[(i+1)%len(l.Vertices)]].Sub(s.Vertices[v])
			// Of edges equally long but for rounding, the first counts.
			if n := e.Len(); n > longest*(1+1e-6) {
				longest, along = n, e
			}
		}
	}
	n := normal.Unit()
	if n == (geom.Vec3{}) {
		n = geom.V3(0, 0, 1)
	}
	x := offAxis(along, n).Unit()
	if x == (geom.Vec3{}) {
		x = geom.FrameFromZ(geom.Vec3{}, n).X
	}
	f := geom.FrameFromXZ(geom.Vec3{}, x, n)
	box := geom.EmptyBox2()
	for _, t := range s.Faces[face].Triangles {
		for _, v := range s.Triangles[t] {
			box = box.Add(f.Local(s.Vertices[v]).XY())
		}
	}
	d := box.Size()
	return max(d.X, d.Y), min(d.X, d.Y)
}
