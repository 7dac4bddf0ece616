package view

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
)

// Label is a number or a name beside a drawing, with a line to what it means. All
// in mm of paper.
type Label struct {
	Text   string
	Height float64   // of a capital
	Round  bool      // in a circle
	Target geom.Vec2 // where its line ends
}

// Width is an estimate of how wide the label is with what is round it; letters
// are taken to be 0.85 as wide as capitals are high, which words of a common
// sans-serif do not exceed.
func (l Label) Width() float64 {
	w := TextWidth(l.Text, l.Height)
	if l.Round {
		return max(w, 1.7*l.Height) + 0.9*l.Height // as large for one figure as for two
	}
	return w + l.Height
}

// tall is how high the label is with what is round it.
func (l Label) tall() float64 {
	if l.Round {
		return l.Width()
	}
	return 1.6 * l.Height
}

// TextWidth is an estimate of the width in mm of a text that is not in the
// package draw's own alphabet.
func TextWidth(s string, height float64) float64 { return 0.85 * height * float64(len([]rune(s))) }

// Placed is a label with its place.
type Placed struct {
	Label
	Box geom.Box2 // mm of paper
	End geom.Vec2 // where its line begins, on the side of Box that faces the drawing
}

// Labelled puts labels in two columns left and right of a box, no two over one
// another, so that no two of their lines meet. Targets must lie in the box, and
// in different places. The gap is between columns and box; columns may be higher
// than the box.
//
// Lines of the left half go left and those of the right half go right. In a
// column, heights follow those of the targets as nearly as labels leave room;
// then labels whose lines cross change places, which shortens the lines, so it
// ends (the shortest matching of points to places never crosses itself).
func Labelled(around geom.Box2, labels []Label, gap float64) ([]Placed, error) {
	for i, l := range labels {
		t := l.Target
		if s := t.X + t.Y + l.Height; math.IsNaN(s) || math.IsInf(s, 0) || l.Height <= 0 {
			return nil, fmt.Errorf("view: label %q is not finite or has no height", l.Text)
		}
		if t.X < around.Min.X || t.X > around.Max.X || t.Y < around.Min.Y || t.Y > around.Max.Y {
			return nil, fmt.Errorf("view: label %q means a point outside the drawing", l.Text)
		}
		for _, o := range labels[:i] {
			if o.Target.Dist(t) < 1e-6 {
				return nil, fmt.Errorf("view: labels %q and %q mean the same point", o.Text, l.Text)
			}
		}
	}
	order := make([]int, len(labels))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		a, b := labels[i].Target, labels[j].Target
		switch {
		case a.X != b.X:
			return sign(a.X - b.X)
		case a.Y != b.Y:
			return sign(a.Y - b.Y)
		}
		return i - j
	})
	// As many go left as lie there, but neither column is more than about two
	// thirds.
	left := 0
	for _, i := range order {
		if labels[i].Target.X < around.Center().X {
			left++
		}
	}
	n := len(labels)
	if n > 3 {
		left = max(n/3, min(left, n-n/3))
	}
	out := make([]Placed, n)
	for side, column := range [][]int{order[:left], order[left:]} {
		x, way := around.Min.X-gap, -1.0
		if side == 1 {
			x, way = around.Max.X+gap, 1
		}
		place(labels, column, around, x, way, out)
	}
	return out, nil
}

func sign(x float64) int {
	if x < 0 {
		return -1
	}
	return 1
}

// place puts one column.
func place(labels []Label, column []int, around geom.Box2, x, way float64, out []Placed) {
	if len(column) == 0 {
		return
	}
	var step float64
	for _, i := range column {
		step = max(step, labels[i].tall()*1.25)
	}
	var want []float64
	for _, i := range column {
		want = append(want, labels[i].Target.Y)
	}
	slices.Sort(want)
	heights := spread(want, step)
	// Heights of rank k; a shift of the whole column undoes lines that pass exactly
	// through another's end.
	var assigned []int
	for try := range 64 {
		shift := step * 0.0137 * float64((try+1)/2) * float64(1-2*(try%2))
		port := func(k int) geom.Vec2 { return geom.V2(x, heights[k]+shift) }
		assigned = slices.Clone(column)
		slices.SortStableFunc(assigned, func(i, j int) int {
			a, b := labels[i].Target, labels[j].Target
			if a.Y != b.Y {
				return sign(a.Y - b.Y)
			}
			return sign(way * (b.X - a.X))
		})
		if !untangle(labels, assigned, port) {
			continue
		}
		for k := range heights {
			heights[k] += shift
		}
		break
	}
	for k, i := range assigned {
		l := labels[i]
		end := geom.V2(x, heights[k])
		w, h := l.Width(), l.tall()
		box := geom.Box2{Min: geom.V2(x, end.Y-h/2), Max: geom.V2(x+w, end.Y+h/2)}
		if way < 0 {
			box = geom.Box2{Min: geom.V2(x-w, end.Y-h/2), Max: geom.V2(x, end.Y+h/2)}
		}
		out[i] = Placed{l, box, end}
	}
}

// spread is heights at least a step apart, in order, as near to those wanted as
// can be in the sum of squares (pool adjacent violators).
func spread(want []float64, step float64) []float64 {
	type pool struct {
		sum float64 // of the wants, less their ranks' steps
		n   int
	}
	var pools []pool
	for k, w := range want {
		pools = append(pools, pool{w - float64(k)*step, 1})
		for m := len(pools); m > 1 && pools[m-2].sum/float64(pools[m-2].n) > pools[m-1].sum/float64(pools[m-1].n); m = len(pools) {
			pools[m-2].sum += pools[m-1].sum
			pools[m-2].n += pools[m-1].n
			pools = pools[:m-1]
		}
	}
	var out []float64
	for _, p := range pools {
		for range p.n {
			out = append(out, p.sum/float64(p.n)+float64(len(out))*step)
		}
	}
	return out
}

// untangle swaps labels whose lines meet until none do; false if some still
// meet.
func untangle(labels []Label, assigned []int, port func(int) geom.Vec2) bool {
	for range 4 * len(assigned) * len(assigned) {
		met := false
		for a := range assigned {
			for b := range a {
				p, q := labels[assigned[a]].Target, labels[assigned[b]].Target
				if !geom.SegmentsMeet(p, port(a), q, port(b)) {
					continue
				}
				met = true
				if p.Dist(port(b))+q.Dist(port(a)) < p.Dist(port(a))+q.Dist(port(b))-1e-12 {
					assigned[a], assigned[b] = assigned[b], assigned[a]
				}
			}
		}
		if !met {
			return true
		}
	}
	return false
}

// Items are the label on paper: its line with a dot at the end, and its text.
func (p Placed) Items() []draw.Item {
	items := []draw.Item{
		draw.Line(p.End, p.Target),
		draw.Region{Area: geom.Polygons{disc(p.Target, 0.2*p.Height)}, Grey: 0},
	}
	c := p.Box.Center()
	if p.Round {
		items = append(items, draw.Circle{Center: c, Radius: p.Box.Size().X / 2})
	}
	return append(items, draw.Text{At: c.Sub(geom.V2(0, p.Height/2)), Height: p.Height, Anchor: draw.Middle, String: p.Text})
}

func disc(c geom.Vec2, r float64) geom.Polygon {
	var out geom.Polygon
	for i := range 16 {
		out = append(out, c.Add(geom.V2(r, 0).Rotate(float64(i)*math.Pi/8)))
	}
	return out
}

func ratio(w float64) string { return strconv.FormatFloat(w, 'g', 4, 64) }
