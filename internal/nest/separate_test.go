package nest

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
)

// Separation makes verified layouts, denser than those it begins from, and the
// same ones every time.
func TestSeparation(t *testing.T) {
	for _, c := range []struct {
		name  string
		lines int
		least float64 // density in per cent that this budget must reach; no constructive layout does
	}{
		{"fu", 100_000, 85}, {"jakobs1", 60_000, 81}, {"albano", 100_000, 83}, {"shapes1", 60_000, 66}, {"swim", 60_000, 66},
	} {
		in, items := readInstance(t, c.name)
		var first *Layout
		for range 2 {
			l, bin, err := Strip(context.Background(), items, in.Height, Options{Iterations: stripBudget, Lines: c.lines})
			if err != nil {
				t.Fatal(err)
			}
			mustVerify(t, items, []Bin{bin}, l, 0)
			if len(l.Unplaced) > 0 {
				t.Fatalf("%s: %v", c.name, l.Findings())
			}
			if first == nil {
				first = l
				t.Logf("%-8s %6.2f %%", c.name, 100*l.Density)
				if 100*l.Density < c.least {
					t.Errorf("%s: density %.2f %%, want %.2f", c.name, 100*l.Density, c.least)
				}
				continue
			}
			for i, p := range l.Placements {
				if p != first.Placements[i] {
					t.Fatalf("%s: two runs differ at %v and %v", c.name, p, first.Placements[i])
				}
			}
		}
	}
}

// With a gap the parts keep it, and reserved areas stay empty.
func TestSeparationKeepsTheGap(t *testing.T) {
	in, items := readInstance(t, "albano")
	const gap = 30.0
	l, bin, err := Strip(context.Background(), items, in.Height, Options{Gap: gap, Lines: 30_000})
	if err != nil {
		t.Fatal(err)
	}
	mustVerify(t, items, []Bin{bin}, l, gap)
	if len(l.Unplaced) > 0 || l.Density < 0.6 {
		t.Errorf("density %.3f, %v", l.Density, l.Findings())
	}
}

// Depths on a line agree with the depth at a place: the best place on a line is
// charged, along that line, no less than in truth, and nothing where it is free.
func TestLinesAgreeWithPlaces(t *testing.T) {
	in, items := readInstance(t, "swim")
	p := &problem{}
	which := make([]int, len(items))
	for i := range which {
		which[i] = i
	}
	if err := p.take(items, which, []Bin{{ID: "strip", Size: v2(math.Inf(1), in.Height)}}, "", 0, &Layout{}); err != nil {
		t.Fatal(err)
	}
	at := make([]spot, len(p.parts))
	c := newCrowd(p, []pen{{w: 5e6, h: p.stocks[0].h}}, at)
	c.rng = rand.New(rand.NewPCG(1, 2))
	c.start()
	for i := range at { // anywhere
		f := c.forms[i]
		c.put(i, spot{x: math.Round(c.rng.Float64() * (5e6 - f.w)), y: math.Round(c.rng.Float64() * (p.stocks[0].h - f.h))})
	}
	total := c.total
	c.measure()
	if math.Abs(total-c.total) > 1e-6*total {
		t.Errorf("kept sum %g, measured %g", total, c.total)
	}
	free := 0
	for i := range 400 {
		part := i % len(at)
		f := c.forms[part]
		s := c.at[part]
		var charge float64
		if i%2 == 0 {
			s.x = math.Round(c.rng.Float64() * (5e6 - f.w))
			s.y, charge = c.line(part, 0, f, true, s.x)
		} else {
			s.y = math.Round(c.rng.Float64() * (p.stocks[0].h - f.h))
			s.x, charge = c.line(part, 0, f, false, s.y)
		}
		if s.x != math.Round(s.x) || s.y != math.Round(s.y) || s.x < 0 || s.y < 0 || s.x > 5e6-f.w || s.y > p.stocks[0].h-f.h {
			t.Fatalf("the line offers %v", s)
		}
		truth := c.charged(part, s, f, math.Inf(1))
		if truth > charge+1 {
			t.Errorf("at %v the line charges %.3f, the place %.3f", s, charge, truth)
		}
		if (charge == 0) != (truth == 0) {
			t.Errorf("at %v the line charges %g and the place %g", s, charge, truth)
		}
		if charge == 0 {
			free++
		}
	}
	t.Logf("%d of 400 lines had a free place", free)
}
