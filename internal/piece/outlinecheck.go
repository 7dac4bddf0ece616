package piece

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

const (
	// checkChord is the chord error in mm at which outlines are flattened to
	// look for crossings. Two stretches of a curve that cross only within it
	// leave less than twice this much material, which nobody can make, so a
	// crossing of the flattened outline is always a true fault.
	checkChord = 0.01
	// minWeb is the least material in mm between two loops of a board.
	minWeb = minSize
	// maxPoints is how many points one board's flattened loops may have.
	maxPoints = 20000
)

// loopEdge is one edge of a flattened loop.
type loopEdge struct {
	a, b    geom.Vec2
	loop, i int
}

// flatLoop is the loop as points, without repeats of one point.
func flatLoop(p geom.Path) geom.Polygon {
	g := slices.Compact(p.Polygon(checkChord))
	for len(g) > 1 && g[0] == g[len(g)-1] {
		g = g[:len(g)-1]
	}
	return g
}

// checkLoops says what is wrong with a board's flattened loops, the outline
// first: which loop (0 the outline), and what. what is "" if all is well.
func checkLoops(loops []geom.Polygon) (loop int, what string) {
	var edges []loopEdge
	for k, g := range loops {
		if len(g) < 3 {
			return k, "it encloses nothing"
		}
		if len(edges)+len(g) > maxPoints {
			return k, fmt.Sprintf("it is too intricate: the board's curves need more than %d points", maxPoints)
		}
		for i, a := range g {
			b, c := g[(i+1)%len(g)], g[(i+2)%len(g)]
			if geom.Orient(a, b, c) == 0 && b.Sub(a).Dot(c.Sub(b)) < 0 {
				return k, fmt.Sprintf("it turns back on itself at (%s)", xy(b))
			}
			edges = append(edges, loopEdge{a, b, k, i})
		}
	}
	slices.SortStableFunc(edges, func(e, f loopEdge) int {
		return cmp.Compare(min(e.a.X, e.b.X), min(f.a.X, f.b.X))
	})
	close := math.Inf(1)
	closeLoop, closeAt := 0, geom.Vec2{}
	var open []loopEdge // edges that the sweep has reached and not left
	for _, e := range edges {
		left := min(e.a.X, e.b.X) - minWeb
		lo, hi := min(e.a.Y, e.b.Y)-minWeb, max(e.a.Y, e.b.Y)+minWeb
		kept := open[:0]
		for _, f := range open {
			if max(f.a.X, f.b.X) < left {
				continue
			}
			kept = append(kept, f)
			if max(f.a.Y, f.b.Y) < lo || min(f.a.Y, f.b.Y) > hi {
				continue
			}
			n := len(loops[e.loop])
			if e.loop == f.loop && ((e.i+1)%n == f.i || (f.i+1)%n == e.i) {
				continue
			}
			if geom.SegmentsMeet(e.a, e.b, f.a, f.b) {
				switch k := max(e.loop, f.loop); {
				case e.loop == f.loop:
					return k, fmt.Sprintf("it crosses or touches itself near (%s)", xy(e.a.Lerp(e.b, .5)))
				case min(e.loop, f.loop) == 0:
					return k, fmt.Sprintf("it leaves the board near (%s)", xy(e.a.Lerp(e.b, .5)))
				default:
					return k, fmt.Sprintf("it meets cut-out %d near (%s)", min(e.loop, f.loop), xy(e.a.Lerp(e.b, .5)))
				}
			}
			if e.loop != f.loop {
				d := min(geom.SegmentDistance(e.a, f.a, f.b), geom.SegmentDistance(e.b, f.a, f.b), geom.SegmentDistance(f.a, e.a, e.b), geom.SegmentDistance(f.b, e.a, e.b))
				if d < close {
					close, closeLoop, closeAt = d, max(e.loop, f.loop), e.a
				}
			}
		}
		open = append(kept, e)
	}
	for k := 1; k < len(loops); k++ {
		if !loops[0].Contains(loops[k][0]) {
			return k, "it lies outside the board"
		}
		for j := 1; j < k; j++ {
			if loops[j].Contains(loops[k][0]) || loops[k].Contains(loops[j][0]) {
				return k, fmt.Sprintf("it and cut-out %d lie inside one another", j)
			}
		}
	}
	if close < minWeb {
		return closeLoop, fmt.Sprintf("only %.2f mm are left between it and the next edge near (%s); at least %g mm are needed", close, xy(closeAt), minWeb)
	}
	return 0, ""
}

func xy(p geom.Vec2) string { return fmt.Sprintf("%.1f, %.1f", p.X, p.Y) }
