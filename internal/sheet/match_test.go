package sheet

import (
	"fmt"
	"math"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/veneer"
)

// Leaves of a set lie side by side in order, a gap apart, and keep step along
// the grain; what fits no blank together is told.
func TestMatchedSets(t *testing.T) {
	set := func(n int, w, h, step float64) []veneer.Pattern {
		ps := []veneer.Pattern{leaf("other", 590, 40, 0), leaf("small", 100, 100, 0)}
		for i := range n {
			p := leaf(fmt.Sprintf("door/leaf-%d", i+1), w, h, 0)
			p.Set, p.SetOrder, p.Chart = "door", n-i, geom.V2(step*float64(i), h*float64(i)) // last first
			ps = append(ps, p)
		}
		return ps
	}
	for _, c := range []struct {
		name     string
		patterns []veneer.Pattern
		blanks   int
	}{
		{"four leaves", set(4, 300, 80, 0), 1},
		{"each a little further along", set(4, 300, 80, 12), 1},
		{"too many for one blank", set(6, 500, 100, 0), 2},
		{"each as large as a blank", set(2, 580, 380, 0), 2},
		{"end to end", set(2, 250, 100, 250), 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := plan(t, c.patterns, Options{})
			hold(t, r, c.patterns)
			told(t, r, testShop().Veneers[0])
			blanks := map[int]bool{}
			var last Placement
			n := len(c.patterns) - 2
			for k := range n { // in order of the set
				p := r.Placements[2+n-1-k]
				if k > 0 && last.Blank == p.Blank {
					b := r.Blanks[p.Blank]
					d := p.At.Sub(last.At).Rotate(-b.Grain)
					if turned := math.Abs(math.Remainder(p.Turn-b.Grain, 2*math.Pi)) > 1; turned {
						d = d.Scale(-1)
					}
					a, z := c.patterns[2+n-k], c.patterns[2+n-1-k]
					if want := geom.V2(z.Chart.X-a.Chart.X, a.Width+r.Gap); d.Sub(want).Len() > 3e-3 || p.Turn != last.Turn {
						t.Errorf("%s lies %v from the one before it, want %v", z.ID, d, want)
					}
				}
				last = p
				blanks[p.Blank] = true
			}
			if len(blanks) != c.blanks {
				t.Errorf("on %d blanks, want %d", len(blanks), c.blanks)
			}
			if parts := len(r.Findings); (parts == 1) != (c.blanks > 1) || parts == 1 && (r.Findings[0].Severity != finding.Note || r.Findings[0].Subject != "door") {
				t.Errorf("findings %v", r.Findings)
			}
		})
	}
}
