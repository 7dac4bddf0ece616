package piece

import (
	"errors"
	"fmt"
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// Body is the member as a solid in member coordinates. Facets carry the tags
// of Surfaces. Curved surfaces are replaced by facets whose vertices lie on
// them, so that no facet strays further than chord mm (0: solid.DefaultChord).
// A Solid is the mesh that was brought in, whatever the chord.
func (m Member) Body(chord float64) (solid.Shape, error) {
	if chord <= 0 {
		chord = solid.DefaultChord
	}
	var s solid.Shape
	var first solid.Tag
	switch {
	case m.Solid != nil:
		tags := make([]solid.Tag, len(m.Solid.Shape.Of))
		for i, f := range m.Solid.Shape.Of {
			tags[i] = solid.Tag(f)
		}
		s = solid.Foreign(m.Solid.Shape.Vertices, m.Solid.Shape.Triangles, tags)
		first = solid.Tag(len(m.Solid.Shape.Faces))
	case m.Board != nil:
		b := m.Board
		tag := solid.Tag(2)
		var loops []solid.Loop
		for _, o := range append([]Outline{b.Outline}, b.Cutouts...) {
			var l solid.Loop
			for _, q := range o.Path.Flatten(chord) {
				l.Points = append(l.Points, q.P)
				l.Tags = append(l.Tags, tag+solid.Tag(o.Run[q.Seg]))
			}
			loops = append(loops, l)
			tag += solid.Tag(o.Runs())
		}
		s, first = solid.Extrude(loops, 0, b.Thickness, 0, 1), tag
	case m.Turning != nil:
		t := m.Turning
		low, high := t.ends()
		sides := solid.Tag(t.Runs())
		profile := []geom.Vec2{{X: 0, Y: low.Y}}
		tags := []solid.Tag{sides}
		widest := 0.0
		for _, q := range t.Profile.Flatten(chord) {
			profile = append(profile, q.P)
			tags = append(tags, solid.Tag(t.Run[q.Seg]))
			widest = max(widest, q.P.X)
		}
		tags[len(tags)-1] = sides + 1
		profile = append(profile, geom.V2(0, high.Y))
		tags = append(tags, solid.NoTag)
		s, first = solid.Revolve(profile, tags, solid.Facets(widest, chord, false)), sides+2
	default:
		return solid.Shape{}, fmt.Errorf("member %s has no shape", m.ID)
	}
	for i, c := range m.EndCuts {
		s = s.Below(c.Plane, first+solid.Tag(i))
	}
	if err := s.Err(); err != nil {
		return solid.Shape{}, fmt.Errorf("making the body of %s: %w", m.ID, err)
	}
	return s, nil
}

// Volume is the member's volume in mm³ from closed forms: area times
// thickness, or π ∫ r² dz; of a Solid, that of its mesh. It is an error to ask for it when there are end
// cuts; ask the kernel then.
func (m Member) Volume() (float64, error) {
	if len(m.EndCuts) > 0 {
		return 0, fmt.Errorf("member %s has end cuts: its volume has no closed form here", m.ID)
	}
	switch {
	case m.Board != nil:
		var a float64
		for _, p := range m.Board.paths() {
			a += p.Area()
		}
		return a * m.Board.Thickness, nil
	case m.Turning != nil:
		var v float64
		for _, s := range m.Turning.Profile.Segs {
			v += segVolume(s)
		}
		return v, nil
	case m.Solid != nil:
		return m.Solid.Shape.Volume(), nil
	}
	return 0, errors.New("piece: member " + m.ID + " has no shape")
}

// segVolume is π ∫ r² dz along a profile segment; a frustum for a line.
func segVolume(s geom.Seg) float64 {
	if s.Kind == geom.Line {
		a, b := s.From(), s.To()
		return math.Pi / 3 * (b.Y - a.Y) * (a.X*a.X + a.X*b.X + b.X*b.X)
	}
	return math.Pi * quad(0, 1, 32, func(t float64) float64 {
		r := s.At(t).X
		return r * r * s.Deriv(t).Y
	})
}

// quad is the integral of f from a to b by five-point Gauss-Legendre
// quadrature in n equal steps. Source of the abscissae and weights: Abramowitz
// and Stegun, Handbook of Mathematical Functions, table 25.4.
func quad(a, b float64, n int, f func(float64) float64) float64 {
	x := [...]float64{0, 0.538469310105683091, 0.906179845938663993}
	w := [...]float64{0.568888888888888889, 0.478628670499366468, 0.236926885056189088}
	h := (b - a) / float64(2*n)
	var sum float64
	for i := range n {
		c := a + float64(2*i+1)*h
		sum += w[0] * f(c)
		for k := 1; k < 3; k++ {
			sum += w[k] * (f(c-h*x[k]) + f(c+h*x[k]))
		}
	}
	return sum * h
}
