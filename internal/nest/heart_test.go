package nest

import (
	"cmp"
	"math"
	"slices"
	"testing"

	"groundwork/internal/geom"

	"pgregory.net/rapid"
)

// Wherever hearts keep two regions apart, the regions themselves do: skipping
// what hearts block never loses a place.
func TestHeartsBlockNoMore(t *testing.T) {
	blockedSome := 0
	rapid.Check(t, func(rt *rapid.T) {
		draw := func(name string) *form {
			s := latticePolygon(rt, name)
			if s == nil {
				s = geom.Polygons{{v2(0, 0), v2(3, 0), v2(3, 2), v2(0, 2)}}
			}
			k := rapid.SampledFrom([]float64{1, 7.3, 40}).Draw(rt, "scale")
			turn := rapid.SampledFrom([]float64{0, math.Pi / 2, 0.3, 2}).Draw(rt, "turn")
			grow := rapid.SampledFrom([]float64{0, 500, 1500.5}).Draw(rt, "grow")
			o, err := outlineOf(s.Map(func(p vec) vec { return p.Scale(k) }), turn)
			if err != nil {
				rt.Fatal(err)
			}
			f, err := newForm(o, turn, grow)
			if err != nil {
				rt.Fatal(err)
			}
			return f
		}
		a, b := draw("a"), draw("b")
		dx := math.Floor(rapid.Float64Range(-a.w, b.w).Draw(rt, "dx"))
		exact := blocked(a.cols, b.cols, dx, nil)
		slices.SortFunc(exact, func(s, u span) int { return cmp.Compare(s.lo, u.lo) })
		var joined []span
		for _, s := range exact {
			if n := len(joined); n > 0 && s.lo <= joined[n-1].hi {
				joined[n-1].hi = max(joined[n-1].hi, s.hi)
			} else {
				joined = append(joined, s)
			}
		}
		for _, s := range blocked(a.heart, b.heart, dx, nil) {
			blockedSome++
			if !slices.ContainsFunc(joined, func(u span) bool { return u.lo <= s.lo && s.hi <= u.hi }) {
				rt.Fatalf("hearts block %v, the regions only %v", s, joined)
			}
		}
	})
	if blockedSome == 0 {
		t.Error("no hearts met in any draw")
	}
}

// A disc and a long tapering leaf are nearly all heart, in few trapezoids.
func TestHeartsAreMost(t *testing.T) {
	var disc geom.Polygon
	for i := range 240 {
		a := 2 * math.Pi * float64(i) / 240
		disc = append(disc, v2(170*math.Cos(a), 230*math.Sin(a)))
	}
	for name, shape := range map[string]geom.Polygons{
		"oval":     {disc},
		"tapering": {{v2(0, 0), v2(500, 8), v2(500, 22), v2(0, 40)}},
		"bored":    {{v2(0, 0), v2(300, 0), v2(300, 60), v2(0, 60)}, {v2(100, 20), v2(100, 40), v2(120, 40), v2(120, 20)}},
	} {
		o, err := outlineOf(shape, 0)
		if err != nil {
			t.Fatal(err)
		}
		f, err := newForm(o, 0, 1000)
		if err != nil {
			t.Fatal(err)
		}
		area := func(ts []trap) (sum float64) {
			for _, h := range ts {
				d := h.x1 - h.x0
				sum += d*(h.t-h.b) + d*d*(h.st-h.sb)/2
			}
			return sum
		}
		part := area(f.heart) / area(f.cols)
		if part < 0.75 || part > 1 || len(f.heart) > 12 {
			t.Errorf("%s: %d trapezoids hold %.3f of the region's %d", name, len(f.heart), part, len(f.cols))
		}
	}
}
