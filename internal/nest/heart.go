package nest

import "math"

// hearts are few and simple trapezoids that lie inside a region cut into traps,
// by x0: where these share area, the regions do. Most abscissae that the finder
// tries are blocked from bottom to top by hearts alone, which costs a small part
// of comparing outlines with all their corners and arcs. What is left of the
// region outside its hearts is small, not nothing: hearts alone never prove that
// there is a place.
func hearts(traps []trap) []trap {
	const (
		filled = 0.85 // of the traps it stands for, by area
		worth  = 0.02 // of the whole region: below that it costs more than it blocks
		within = 1.0  // µm from the edge, so that rounding cannot carry it out
		joined = 1e-3 // µm between traps that continue one another
	)
	type group struct {
		trap
		area float64 // of the traps it stands for
		many bool
	}
	area := func(t trap) float64 {
		d := t.x1 - t.x0
		return d*(t.t-t.b) + d*d*(t.st-t.sb)/2
	}
	var all float64
	var groups []group
	for _, t := range traps {
		all += area(t)
		d := t.x1 - t.x0
		flat := trap{x0: t.x0, x1: t.x1, b: max(t.b, t.b+t.sb*d), t: min(t.t, t.t+t.st*d)}
		taken := false
		for i := len(groups) - 1; i >= 0 && !taken; i-- {
			g := &groups[i]
			if math.Abs(g.x1-t.x0) > joined {
				continue
			}
			both := trap{x0: g.x0, x1: t.x1, b: flat.b, t: flat.t}
			gd := g.x1 - g.x0
			both.b, both.t = max(both.b, g.b, g.b+g.sb*gd), min(both.t, g.t, g.t+g.st*gd)
			if sum := g.area + area(t); both.t > both.b && area(both) >= filled*sum {
				*g = group{both, sum, true}
				taken = true
			}
		}
		if !taken {
			groups = append(groups, group{trap: t, area: area(t)})
		}
	}
	var out []trap
	for _, g := range groups {
		if g.area < worth*all {
			continue
		}
		h := g.trap
		if d := h.x1 - h.x0; d > 2*within {
			h.x0, h.x1 = h.x0+within, h.x1-within
			h.b, h.t = h.b+h.sb*within+within, h.t+h.st*within-within
			// By a micrometre along y, however steep the side: offsets along y are what is compared.
			if d -= 2 * within; h.t > h.b && h.t+h.st*d > h.b+h.sb*d {
				out = append(out, h)
			}
		}
	}
	return out
}
