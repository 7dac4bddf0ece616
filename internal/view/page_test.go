package view_test

import (
	"context"
	"fmt"
	"math"
	"testing"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
	"groundwork/internal/solid"
	"groundwork/internal/unit"
	"groundwork/internal/view"

	"pgregory.net/rapid"
)

func TestLabelled(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		around := geom.Box2{Min: geom.V2(20, 30), Max: geom.V2(120, 90)}
		n := rapid.IntRange(0, 30).Draw(rt, "n")
		coarse := rapid.Bool().Draw(rt, "in line") // targets often in line with one another
		var labels []view.Label
		seen := map[geom.Vec2]bool{}
		for i := range n {
			q := geom.V2(rapid.Float64Range(20, 120).Draw(rt, "x"), rapid.Float64Range(30, 90).Draw(rt, "y"))
			if coarse {
				q = geom.V2(20+float64(rapid.IntRange(0, 10).Draw(rt, "i"))*10, 30+float64(rapid.IntRange(0, 6).Draw(rt, "j"))*10)
			}
			if seen[q] {
				continue
			}
			seen[q] = true
			labels = append(labels, view.Label{Text: fmt.Sprint(i), Height: 2 + float64(i%3), Round: i%2 == 0, Target: q})
		}
		placed, err := view.Labelled(around, labels, 8)
		if err != nil {
			rt.Fatal(err)
		}
		for i, p := range placed {
			if p.Label != labels[i] {
				rt.Errorf("label %d came back as %v", i, p.Label)
			}
			if p.Box.Overlaps(around) {
				rt.Errorf("%v lies over the drawing", p)
			}
			if p.End.X != p.Box.Min.X && p.End.X != p.Box.Max.X || p.End.Y < p.Box.Min.Y || p.End.Y > p.Box.Max.Y {
				rt.Errorf("the line of %v does not begin at it", p)
			}
			for j, o := range placed[:i] {
				if p.Box.Overlaps(o.Box) {
					rt.Errorf("labels %d and %d overlap", i, j)
				}
				if geom.SegmentsMeet(p.End, p.Target, o.End, o.Target) {
					rt.Errorf("lines of labels %d and %d meet", i, j)
				}
			}
		}
	})
}

func TestLabelledRefuses(t *testing.T) {
	around := geom.Box2{Max: geom.V2(10, 10)}
	for name, l := range map[string][]view.Label{
		"outside":      {{Text: "a", Height: 2, Target: geom.V2(11, 5)}},
		"no height":    {{Text: "a", Target: geom.V2(1, 5)}},
		"not a number": {{Text: "a", Height: 2, Target: geom.V2(math.NaN(), 5)}},
		"one place":    {{Text: "a", Height: 2, Target: geom.V2(1, 5)}, {Text: "b", Height: 2, Target: geom.V2(1, 5)}},
	} {
		if _, err := view.Labelled(around, l, 5); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestDimension(t *testing.T) {
	inches := func(mm float64) string { return unit.FormatLength(mm, unit.Inches16) }
	mm := func(v float64) string { return unit.FormatLength(v, unit.Metric) }
	for _, c := range []struct {
		name   string
		d      view.Dimension
		format func(float64) string
		text   string
		angle  float64      // degrees
		line   [2]geom.Vec2 // of the dimension line
	}{
		{"across, above", view.Dimension{A: geom.V2(10, 10), B: geom.V2(60, 20), Offset: 8}, mm, "50 mm", 0, [2]geom.Vec2{{X: 10, Y: 28}, {X: 60, Y: 28}}},
		{"across, below, from the right", view.Dimension{A: geom.V2(60, 20), B: geom.V2(10, 10), Offset: -8}, mm, "50 mm", 0, [2]geom.Vec2{{X: 10, Y: 2}, {X: 60, Y: 2}}},
		{"up, to the right", view.Dimension{A: geom.V2(10, 10), B: geom.V2(20, 60), Along: view.Vertical, Offset: 8}, mm, "50 mm", 90, [2]geom.Vec2{{X: 28, Y: 10}, {X: 28, Y: 60}}},
		{"aligned, 3-4-5", view.Dimension{A: geom.V2(0, 0), B: geom.V2(40, 30), Along: view.Aligned, Offset: 10}, mm, "50 mm", math.Atan2(3, 4) * 180 / math.Pi, [2]geom.Vec2{{X: -6, Y: 8}, {X: 34, Y: 38}}},
		{"aligned, from right to left", view.Dimension{A: geom.V2(40, 30), B: geom.V2(0, 0), Along: view.Aligned, Offset: -10}, mm, "50 mm", math.Atan2(3, 4) * 180 / math.Pi, [2]geom.Vec2{{X: 34, Y: 38}, {X: -6, Y: 8}}},
		{"to scale, in inches", view.Dimension{A: geom.V2(0, 0), B: geom.V2(50.8, 0), Offset: 5, Scale: 0.2}, inches, "10 in", 0, [2]geom.Vec2{{X: 0, Y: 5}, {X: 50.8, Y: 5}}},
		{"as told", view.Dimension{A: geom.V2(0, 0), B: geom.V2(50, 0), Offset: 5, Value: 38.1}, inches, "1 1/2 in", 0, [2]geom.Vec2{{X: 0, Y: 5}, {X: 50, Y: 5}}},
		// 2.5 mm figures, 4 of them, are wider than 4 mm: arrows outside, 7.5 mm of tail,
		// and the line runs on under the figures, 8.5 mm.
		{"narrow", view.Dimension{A: geom.V2(0, 0), B: geom.V2(4, 0), Offset: 5}, mm, "4 mm", 0, [2]geom.Vec2{{X: -7.5, Y: 5}, {X: 4 + 7.5 + 8.5, Y: 5}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			found := false
			var text draw.Text
			arrows := 0
			for _, it := range c.d.Items(c.format) {
				switch it := it.(type) {
				case draw.Text:
					text = it
				case draw.Region:
					arrows++
				case draw.Path:
					a, b := it.Vertices[0].Vec2, it.Vertices[1].Vec2
					found = found || a.Dist(c.line[0]) < 1e-9 && b.Dist(c.line[1]) < 1e-9
				}
			}
			if !found || arrows != 2 || text.String != c.text || math.Abs(text.Angle*180/math.Pi-c.angle) > 1e-9 {
				t.Errorf("line %v, %d arrows, text %v", found, arrows, text)
			}
			if d := geom.SegmentDistance(text.At, c.line[0], c.line[1]); math.Abs(d-0.4*2.5) > 1e-9 {
				t.Errorf("figures stand %g mm off the line", d)
			}
		})
	}
}

func TestCut(t *testing.T) {
	ctx, k := context.Background(), theKernel(t)
	p := view.Part{ID: "tube", Motion: geom.V3(100, 0, 0), Mesh: mesh(t, solid.Difference(solid.Box(box(0, 0, 0, 40, 40, 40), 1), solid.Box(box(10, -1, 10, 30, 41, 30), 2)))}
	plane := geom.PlaneAt(geom.V3(0, 20, 0), geom.V3(0, -1, 0)) // the front half goes
	cut, hatch, keep, err := view.Cut(ctx, k, p, plane, view.Hatching{Angle: math.Pi / 4, Spacing: 0.5})
	if err != nil || !keep {
		t.Fatal(keep, err)
	}
	d := make3(t, []view.Part{cut}, hatch, view.Front, view.Options{Hidden: true})
	// Lines every 0.5 mm fill the face's 1200 mm²; at the border as much is missed as
	// is too much, but for a line.
	near(t, "hatching", length(d, tally{"tube", view.Hatch, false})*0.5, 1200, 20)
	near(t, "hidden hatching", length(d, tally{"tube", view.Hatch, true}), 0, 1e-6)
	near(t, "the face's edges", length(d, tally{"tube", any, false})-length(d, tally{"tube", view.Hatch, false}), 160+80, 1e-3)
	near(t, "left", d.Bounds.Min.X, 100, 1e-4)
	for y, want := range map[float64]bool{-10: true, 50: false} { // it lies wholly behind, or before
		_, hatch, keep, err := view.Cut(ctx, k, p, geom.PlaneAt(geom.V3(0, y, 0), geom.V3(0, -1, 0)), view.Hatching{Spacing: 1})
		if err != nil || keep != want || len(hatch) > 0 {
			t.Errorf("plane at %g: kept %v with %d lines, %v", y, keep, len(hatch), err)
		}
	}
	if _, _, _, err := view.Cut(ctx, k, p, plane, view.Hatching{}); err == nil {
		t.Error("lines no distance apart are drawn")
	}
}

func TestDetail(t *testing.T) {
	d := make3(t, []view.Part{boxPart(t, "a", box(0, 0, 0, 40, 10, 40))}, nil, view.Front, view.Options{})
	c := d.Detail(geom.V2(0, 0), 10) // a corner
	near(t, "lines", length(c, tally{"a", any, false}), 20, 0.01)
	near(t, "area", c.Regions[0].Area.Area(), math.Pi*100/4, 0.1)
	if n := len(d.Detail(geom.V2(20, 20), 5).Lines); n != 0 {
		t.Errorf("%d lines where there are none", n)
	}
	if c.Bounds.Size() != geom.V2(20, 20) {
		t.Errorf("bounds %v", c.Bounds)
	}
}
