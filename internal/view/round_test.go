package view_test

import (
	"math"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
	"groundwork/internal/view"

	"pgregory.net/rapid"
)

// From wherever it is seen, a ball's outline is one closed line, a circle, and
// nothing else is drawn.
func TestBall(t *testing.T) {
	const r, n = 30, 16
	profile, tags := []geom.Vec2{{X: 0, Y: -r}}, []solid.Tag{1}
	for i := 1; i < n; i++ {
		s, c := math.Sincos(math.Pi * (float64(i)/n - 0.5))
		profile, tags = append(profile, geom.V2(r*c, r*s)), append(tags, 1)
	}
	ball := view.Part{ID: "ball", Mesh: mesh(t, solid.Revolve(append(profile, geom.V2(0, r)), append(tags, 1), 32))}
	rapid.Check(t, func(rt *rapid.T) {
		// Sides of facets stray inward by up to r (1 - cos(π/32)) each way, 0.29 mm together.
		d := make3(t, []view.Part{ball}, nil, direction(rt), view.Options{Chord: 0.3})
		if len(d.Lines) != 1 {
			rt.Fatalf("%d lines", len(d.Lines))
		}
		l := d.Lines[0]
		if l.Class != view.Outline || l.Points[0] != l.Points[len(l.Points)-1] {
			rt.Errorf("%v from %v to %v", l.Class, l.Points[0], l.Points[len(l.Points)-1])
		}
		if got := l.Length() / (2 * math.Pi * r); got < 0.98 || got > 1.02 {
			rt.Errorf("%g of a circle's length", got)
		}
		if got := d.Regions[0].Area.Area() / (math.Pi * r * r); got < 0.97 || got > 1 {
			rt.Errorf("%g of a circle's area", got)
		}
	})
}

// A ring seen at a slant has lines only where its contour is.
func TestRing(t *testing.T) {
	var profile []geom.Vec2
	var tags []solid.Tag
	for i := range 24 {
		s, c := math.Sincos(2 * math.Pi * float64(i) / 24)
		profile, tags = append(profile, geom.V2(50+10*c, 10*s)), append(tags, 7)
	}
	ring := view.Part{ID: "ring", Mesh: mesh(t, solid.Revolve(profile, tags, 96))}
	rapid.Check(t, func(rt *rapid.T) {
		h := rapid.Float64Range(0.05, math.Pi/2).Draw(rt, "height")
		f := rapid.Float64Range(0, 2*math.Pi).Draw(rt, "round")
		dir := view.Direction{Toward: geom.V3(math.Cos(f)*math.Cos(h), math.Sin(f)*math.Cos(h), -math.Sin(h)), Up: geom.V3(0, 1, 1)}
		d := make3(t, []view.Part{ring}, nil, dir, view.Options{})
		var outer, all float64
		for _, l := range d.Lines {
			if l.Class != view.Outline {
				rt.Errorf("a %v of %g mm", l.Class, l.Length())
			}
			outer, all = max(outer, l.Length()), all+l.Length()
		}
		// The outer contour is the parallel at 10 mm from an ellipse of half axes 50
		// and 50 sin h: of the ellipse's length and 2π 10 more (Steiner).
		var ellipse float64
		at := func(i int) geom.Vec2 {
			s, c := math.Sincos(2 * math.Pi * float64(i) / 2000)
			return geom.V2(50*c, 50*math.Sin(h)*s)
		}
		for i := range 2000 {
			ellipse += at(i).Dist(at(i + 1))
		}
		if want := ellipse + 20*math.Pi; math.Abs(outer/want-1) > 0.02 {
			rt.Errorf("the outer contour is %g mm long, want %g", outer, want)
		}
		// The inner one lies 10 mm within, as long as the ellipse nowhere bends more
		// tightly: its least radius is 50 sin² h. Kinks of the facets' contour make it
		// a little longer, the more the tighter it bends.
		if want := 2 * ellipse; h > 0.8 && math.Abs(all/want-1) > 0.02 {
			rt.Errorf("both contours are %g mm long, want %g", all, want)
		}
	})
}
