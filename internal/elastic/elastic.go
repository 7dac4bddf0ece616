// Package elastic solves linear elasticity on regular lattices: bodies cut into
// bricks, each body in its own frame and with its own planes, joined by links
// (springs, screws, dowels, glued or merely touching faces) and held by fixed
// nodes and links to the ground.
//
// [Assemble] makes a [System] from a [Model] and tells what cannot be solved:
// a body or an assembly that is free to move is named. [System.Solve] takes one
// load case after another. How it is done, and how near it comes to handbook
// cases, is in docs/elastic.md.
//
// Lengths are mm, forces N, stresses MPa, masses g, accelerations mm/s².
package elastic

import (
	"errors"
	"fmt"
	"math"

	"groundwork/internal/geom"
)

// Ground is the body index of what does not move.
const Ground = -1

// MinFill is the fill below which a cell is taken for empty.
const MinFill = 0.01

// Material of a cell.
type Material struct {
	Name      string
	Stiffness Stiffness // in the body's axes; see Stiffness.Turned
	Density   float64   // g/mm³, >= 0
}

// Lattice cuts a body into bricks. Planes are the body's coordinates (mm) of
// the cells' faces along each axis, strictly increasing; they need not be
// evenly spaced, and should lie on the faces of the body and of its layers, see
// [Planes]. Cell (i, j, k) is number i + nx (j + ny k).
type Lattice struct {
	Planes   [3][]float64
	Fill     []float64 // how much of the cell is material, 0 to 1; stiffness and mass are in proportion
	Material []uint8   // index in Body.Materials; nil: all the first
}

// Size is the number of cells along each axis.
func (l Lattice) Size() [3]int {
	return [3]int{len(l.Planes[0]) - 1, len(l.Planes[1]) - 1, len(l.Planes[2]) - 1}
}

// Planes puts a plane on each mark (at least two, increasing) and as few evenly
// spaced ones as keep the gaps at or below step, between them.
func Planes(step float64, marks ...float64) []float64 {
	if len(marks) == 0 {
		return nil
	}
	out := []float64{marks[0]}
	for i := 1; i < len(marks); i++ {
		a, b := marks[i-1], marks[i]
		n := max(1, int(math.Ceil((b-a)/step-1e-9)))
		for j := 1; j < n; j++ {
			out = append(out, a+(b-a)*float64(j)/float64(n))
		}
		out = append(out, b)
	}
	return out
}

// Carve makes a lattice of the cells in which inside holds, asked at n × n × n
// points (n >= 1) evenly spread over each cell.
func Carve(planes [3][]float64, n int, inside func(geom.Vec3) bool) Lattice {
	l := Lattice{Planes: planes}
	size := l.Size()
	l.Fill = make([]float64, size[0]*size[1]*size[2])
	at := func(a, i, s int) float64 {
		p := planes[a]
		return p[i] + (p[i+1]-p[i])*(float64(s)+0.5)/float64(n)
	}
	for k := range size[2] {
		for j := range size[1] {
			for i := range size[0] {
				hits := 0
				for s := range n * n * n {
					if inside(geom.V3(at(0, i, s%n), at(1, j, s/n%n), at(2, k, s/(n*n)))) {
						hits++
					}
				}
				l.Fill[i+size[0]*(j+size[1]*k)] = float64(hits) / float64(n*n*n)
			}
		}
	}
	return l
}

// Whole is the lattice with nothing but its largest part that hangs together by
// cells' faces, and the volume (mm³) of what was dropped. Shapes carved at an
// edge can leave crumbs that nothing holds.
func (l Lattice) Whole() (Lattice, float64) {
	size := l.Size()
	labels, n := label(size, func(c int) bool { return l.Fill[c] >= MinFill })
	volume := make([]float64, n)
	for c, part := range labels {
		if part >= 0 {
			volume[part] += l.volume(c)
		}
	}
	best := int32(0)
	for p := range volume {
		if volume[p] > volume[best] {
			best = int32(p)
		}
	}
	out, dropped := l, 0.0
	out.Fill = make([]float64, len(l.Fill))
	for c, part := range labels {
		switch {
		case part == best:
			out.Fill[c] = l.Fill[c]
		case part >= 0:
			dropped += l.volume(c)
		}
	}
	return out, dropped
}

// volume of what fills a cell.
func (l Lattice) volume(c int) float64 {
	v, size := l.Fill[c], l.Size()
	for a := range 3 {
		i := c % size[a]
		c /= size[a]
		v *= l.Planes[a][i+1] - l.Planes[a][i]
	}
	return v
}

// Body is one member: a lattice and where it stands in the world. The frame's
// axes are unit vectors at right angles.
type Body struct {
	Name      string
	Frame     geom.Frame
	Lattice   Lattice
	Materials []Material
}

// Fixed gives the nodes of a body within Where (the body's coordinates, both
// ends included) the displacement Value (mm, along the body's axes) in the axes
// that are true.
type Fixed struct {
	Name  string
	Body  int
	Where geom.Box3
	Axes  [3]bool
	Value geom.Vec3
}

// Link is a spring between body A and body B, or the ground, at a point. Its
// axis runs from A to B. What B does more than A is its stretch.
type Link struct {
	Name    string
	A, B    int       // body, or Ground (B only)
	At      geom.Vec3 // world; on both bodies, or within a cell's breadth of them
	Axis    geom.Vec3 // world, from A to B
	Along   float64   // stiffness along the axis, N/mm, >= 0
	Across  float64   // stiffness across it, in every direction, N/mm, >= 0
	Preload float64   // tension (N) at no stretch, as of a screw done up; not with Contact
	Contact bool      // bears only pressure, and Across only while pressed
	Gap     float64   // Contact: how far apart the faces stand at rest, mm, >= 0
	Reach   float64   // how far along the axis from At it meets B, mm, as a screw from head to thread; then Across is 0
}

// Face is a rectangle in the world: its corner is the frame's origin, its sides
// lie along the frame's X and Y, and it faces Z.
type Face struct {
	Frame geom.Frame
	U, V  float64 // sides, mm
}

// points spreads points not more than step apart over the face.
func (f Face) points(step float64) (at []geom.Vec3, area float64) {
	nu, nv := max(1, int(math.Ceil(f.U/step-1e-9))), max(1, int(math.Ceil(f.V/step-1e-9)))
	for j := range nv {
		for i := range nu {
			at = append(at, f.Frame.Point(geom.V3(f.U*(float64(i)+0.5)/float64(nu), f.V*(float64(j)+0.5)/float64(nv), 0)))
		}
	}
	return at, f.U * f.V / float64(nu*nv)
}

// Links spreads a link over the face, at points not more than step (mm) apart.
// The link's stiffnesses and preload are for each mm² of the face; its axis is
// the face's normal. With Contact it is two faces that touch; with Along and
// Across it is a film of glue, E/t and G/t stiff.
func (f Face) Links(per Link, step float64) []Link {
	at, area := f.points(step)
	out := make([]Link, len(at))
	for i, p := range at {
		l := per
		l.At, l.Axis = p, f.Frame.Z
		l.Along, l.Across, l.Preload = per.Along*area, per.Across*area, per.Preload*area
		out[i] = l
	}
	return out
}

// Model is what is to be solved.
type Model struct {
	Bodies []Body
	Fixed  []Fixed
	Links  []Link
}

// PointLoad is a force (N, world) at a point (world) of a body, or within a
// cell's breadth of it.
type PointLoad struct {
	Body  int
	At    geom.Vec3
	Force geom.Vec3
}

// FaceLoad is a force (N, world) spread evenly over that part of the face which
// lies on the body.
type FaceLoad struct {
	Body  int
	Face  Face
	Force geom.Vec3
}

// Case is one set of loads.
type Case struct {
	Name    string
	Gravity geom.Vec3 // acceleration, mm/s², world
	Points  []PointLoad
	Faces   []FaceLoad
}

// Options of a solution; the zero value will do.
type Options struct {
	// Tolerance is the error of the displacements, in the norm of the energy,
	// as a part of the whole: 1e-7 if nought.
	Tolerance float64
	// MaxIterations of the inner solver: 500 if nought.
	MaxIterations int
	// MaxContact is how often contacts may be opened and closed: 60 if nought.
	MaxContact int
	// MaxMemory, in bytes: a model that needs more is refused before anything is
	// built. No limit if nought.
	MaxMemory int64
}

func (o Options) filled() Options {
	if o.Tolerance <= 0 {
		o.Tolerance = 1e-7
	}
	if o.MaxIterations <= 0 {
		o.MaxIterations = 500
	}
	if o.MaxContact <= 0 {
		o.MaxContact = 60
	}
	return o
}

// ErrEmpty: a body has no cell with anything in it.
var ErrEmpty = errors.New("no cell is filled")

// ErrCrumbs: a body falls into more parts than can be looked at.
var ErrCrumbs = errors.New("too many parts that do not hang together")

// ErrNoConvergence: the inner solver or the contacts did not settle.
var ErrNoConvergence = errors.New("did not settle")

// ErrTooLarge: the model needs more memory than allowed.
var ErrTooLarge = errors.New("too large")

func finite(vs ...float64) bool {
	for _, v := range vs {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

func finite3(vs ...geom.Vec3) bool {
	for _, v := range vs {
		if !finite(v.X, v.Y, v.Z) {
			return false
		}
	}
	return true
}

// check refuses what has no meaning.
func (b Body) check() error {
	f := b.Frame
	if !finite3(f.Origin, f.X, f.Y, f.Z) {
		return errors.New("its frame is not finite")
	}
	for _, d := range []float64{f.X.Dot(f.X) - 1, f.Y.Dot(f.Y) - 1, f.Z.Dot(f.Z) - 1, f.X.Dot(f.Y), f.Y.Dot(f.Z), f.Z.Dot(f.X)} {
		if math.Abs(d) > 1e-9 {
			return errors.New("its frame's axes are not unit vectors at right angles")
		}
	}
	cells := 1
	for a, p := range b.Lattice.Planes {
		if len(p) < 2 {
			return fmt.Errorf("its lattice has %d planes along axis %d, at least 2 are needed", len(p), a)
		}
		for i, v := range p {
			if !finite(v) || i > 0 && !(v > p[i-1]) {
				return fmt.Errorf("its planes along axis %d do not increase at %d", a, i)
			}
		}
		cells *= len(p) - 1
	}
	if len(b.Lattice.Fill) != cells {
		return fmt.Errorf("its lattice has %d cells, fill is given for %d", cells, len(b.Lattice.Fill))
	}
	if m := b.Lattice.Material; m != nil && len(m) != cells {
		return fmt.Errorf("its lattice has %d cells, material is given for %d", cells, len(m))
	}
	if len(b.Materials) == 0 {
		return errors.New("it has no material")
	}
	for i, m := range b.Materials {
		if err := m.Stiffness.check(); err != nil {
			return fmt.Errorf("material %d %q: %w", i, m.Name, err)
		}
		if !finite(m.Density) || m.Density < 0 {
			return fmt.Errorf("material %d %q: density %g", i, m.Name, m.Density)
		}
	}
	filled := false
	for i, v := range b.Lattice.Fill {
		if !(v >= 0 && v <= 1) {
			return fmt.Errorf("fill of cell %d is %g, not 0 to 1", i, v)
		}
		filled = filled || v >= MinFill
		if m := b.Lattice.Material; m != nil && int(m[i]) >= len(b.Materials) {
			return fmt.Errorf("cell %d has material %d of %d", i, m[i], len(b.Materials))
		}
	}
	if !filled {
		return ErrEmpty
	}
	return nil
}

func (m Model) check() error {
	if len(m.Bodies) == 0 {
		return errors.New("elastic: the model has no body")
	}
	for i, b := range m.Bodies {
		if err := b.check(); err != nil {
			return fmt.Errorf("elastic: body %d %q: %w", i, b.Name, err)
		}
	}
	for i, f := range m.Fixed {
		if f.Body < 0 || f.Body >= len(m.Bodies) {
			return fmt.Errorf("elastic: fixing %d %q: no body %d", i, f.Name, f.Body)
		}
		if !finite3(f.Value) || math.IsNaN(f.Where.Min.X+f.Where.Min.Y+f.Where.Min.Z+f.Where.Max.X+f.Where.Max.Y+f.Where.Max.Z) {
			return fmt.Errorf("elastic: fixing %d %q: not finite", i, f.Name)
		}
	}
	for i, l := range m.Links {
		switch {
		case l.A < 0 || l.A >= len(m.Bodies) || l.B < Ground || l.B >= len(m.Bodies):
			return fmt.Errorf("elastic: link %d %q: no body %d or %d", i, l.Name, l.A, l.B)
		case l.A == l.B:
			return fmt.Errorf("elastic: link %d %q: joins body %d to itself", i, l.Name, l.A)
		case !finite3(l.At, l.Axis) || !finite(l.Along, l.Across, l.Preload, l.Gap, l.Reach):
			return fmt.Errorf("elastic: link %d %q: not finite", i, l.Name)
		case math.Abs(l.Axis.Dot(l.Axis)-1) > 1e-9:
			return fmt.Errorf("elastic: link %d %q: its axis is not a unit vector", i, l.Name)
		case l.Along < 0 || l.Across < 0 || l.Gap < 0:
			return fmt.Errorf("elastic: link %d %q: a stiffness or the gap is below nought", i, l.Name)
		case !l.Contact && l.Gap != 0:
			return fmt.Errorf("elastic: link %d %q: only a contact has a gap", i, l.Name)
		case l.Reach != 0 && l.Across != 0:
			return fmt.Errorf("elastic: link %d %q: what bears across meets both bodies at one point", i, l.Name)
		case l.Contact && l.Preload != 0:
			return fmt.Errorf("elastic: link %d %q: a contact has no preload; let a screw beside it press", i, l.Name)
		case l.Contact && !(l.Along > 0):
			return fmt.Errorf("elastic: link %d %q: a contact needs a stiffness along its axis", i, l.Name)
		}
	}
	return nil
}
