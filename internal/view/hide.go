package view

import (
	"cmp"
	"context"
	"math"
	"runtime"
	"slices"
	"sync"

	"groundwork/internal/geom"
)

// facet is a triangle that can hide, in the coordinates of the image.
type facet struct {
	part   int
	p      [3]geom.Vec3 // counter-clockwise in the image
	n      geom.Vec3    // unit, to the eye
	top    float64      // nearest to the eye
	bottom float64
	area   float64 // in the image, mm²
	box    geom.Box2
}

// hider finds what lies before what. It is not changed once it is made.
type hider struct {
	facets []facet
	ghost  []bool // by part
	count  []int  // of facets, by part
	grid   grid
}

// rim is how far, in mm, facets are taken to reach beyond their sides in the
// image, so that two that share a side leave no slit. Lines that run along the
// very border of what hides them are hidden: the border is drawn there.
const rim = 1e-6

func newHider(bodies []*body) *hider {
	h := &hider{}
	for i, b := range bodies {
		h.ghost, h.count = append(h.ghost, b.part.Ghost), append(h.count, 0)
		for k, t := range b.part.Mesh.Triangles {
			way := b.toward(int32(k))
			if way == 0 || b.thin[k] {
				continue
			}
			f := facet{part: i, p: [3]geom.Vec3{b.at[t[0]], b.at[t[1]], b.at[t[2]]}, n: b.normal[k]}
			if way < 0 {
				f.p[1], f.p[2], f.n = f.p[2], f.p[1], f.n.Neg()
			}
			f.top, f.bottom = max(f.p[0].Z, f.p[1].Z, f.p[2].Z), min(f.p[0].Z, f.p[1].Z, f.p[2].Z)
			f.area = geom.Polygon{f.p[0].XY(), f.p[1].XY(), f.p[2].XY()}.Area()
			f.box = geom.EmptyBox2().Add(f.p[0].XY()).Add(f.p[1].XY()).Add(f.p[2].XY()).Grow(rim)
			h.facets = append(h.facets, f)
			h.count[i]++
		}
	}
	h.grid = newGrid(h.facets)
	return h
}

// below is how far a point lies behind the facet's plane, mm along its normal.
func (f *facet) below(q geom.Vec3) float64 { return f.n.Dot(f.p[0].Sub(q)) }

// covers is the stretch of the line from a to b, 0..1, that lies within the
// facet in the image, grown by a margin in mm.
func (f *facet) covers(a, b geom.Vec2, margin float64) (lo, hi float64, ok bool) {
	lo, hi = 0, 1
	cut := func(da, db float64) bool { // what is not negative stays
		switch {
		case da < 0 && db < 0:
			return false
		case da < 0:
			lo = max(lo, da/(da-db))
		case db < 0:
			hi = min(hi, da/(da-db))
		}
		return lo < hi
	}
	for k := range 3 {
		p, q := f.p[k].XY(), f.p[(k+1)%3].XY()
		n := q.Sub(p).Left().Unit()
		if !cut(n.Dot(a.Sub(p))+margin, n.Dot(b.Sub(p))+margin) {
			return 0, 0, false
		}
	}
	// Without this a pointed corner would reach far beyond itself.
	m := f.box
	if !cut(a.X-m.Min.X, b.X-m.Min.X) || !cut(m.Max.X-a.X, m.Max.X-b.X) || !cut(a.Y-m.Min.Y, b.Y-m.Min.Y) || !cut(m.Max.Y-a.Y, m.Max.Y-b.Y) {
		return 0, 0, false
	}
	return lo, hi, true
}

// span is a stretch of a line, 0..1.
type span struct{ lo, hi float64 }

// where is the part of the stretch lo..hi in which a linear function, da at 0 and
// db at 1, exceeds a limit.
func where(lo, hi, da, db, limit float64) (span, bool) {
	u, v := da+(db-da)*lo-limit, da+(db-da)*hi-limit
	switch {
	case u <= 0 && v <= 0:
		return span{}, false
	case u <= 0:
		lo += (hi - lo) * u / (u - v)
	case v <= 0:
		hi = lo + (hi-lo)*u/(u-v)
	}
	return span{lo, hi}, lo < hi
}

// hidden reports whether a point lies behind anything.
func (h *hider) hidden(q geom.Vec3) bool {
	for _, i := range h.grid.at(q.XY()) {
		f := &h.facets[i]
		if f.top < q.Z || h.ghost[f.part] || f.below(q) <= Touch {
			continue
		}
		if f.holds(q.XY()) {
			return true
		}
	}
	return false
}

func (f *facet) holds(q geom.Vec2) bool {
	for k := range 3 {
		p, r := f.p[k].XY(), f.p[(k+1)%3].XY()
		if r.Sub(p).Left().Unit().Dot(q.Sub(p)) < -rim {
			return false
		}
	}
	return q.X >= f.box.Min.X && q.X <= f.box.Max.X && q.Y >= f.box.Min.Y && q.Y <= f.box.Max.Y
}

// piece is a stretch of an edge that is drawn alike all along.
type piece struct {
	edge   int
	span   span
	hidden bool
	class  Class
}

// beside is how far from a contour, mm in the image, what lies there is looked at.
const beside = 2 * Touch

// flush is how far, mm, two parts that are meant to touch may be from one
// plane for the line between them to be a seam.
const flush = 0.05

// brief is the length, mm, below which a stretch of a contour is not a seam by
// itself: near where a contour meets a face, it lies flush for as long.
const brief = 0.5

// cut divides an edge into pieces.
func (h *hider) cut(n int, e edge, o Options, q *query) []piece {
	length := e.a.XY().Dist(e.b.XY())
	near := min(o.Least/max(length, 1e-300), 0.5)
	var behind, touch []span
	a, b := e.a.XY(), e.b.XY()
	far := min(e.a.Z, e.b.Z)
	if e.within {
		behind = []span{{0, 1}}
	} else {
		for _, i := range h.grid.along(a, b, q) {
			f := &h.facets[i]
			if f.top <= far || h.ghost[f.part] && f.part != e.part {
				continue
			}
			da, db, limit := f.below(e.a), f.below(e.b), Touch
			if e.smooth && f.part == e.part {
				limit = o.Chord // its own facets stray from the true curve
			}
			if da <= limit && db <= limit {
				continue
			}
			lo, hi, ok := f.covers(a, b, rim)
			if !ok {
				continue
			}
			if s, ok := where(lo, hi, da, db, limit); ok {
				behind = append(behind, s)
			}
		}
	}
	behind = tidy(behind, near)
	if e.contour && !(len(behind) == 1 && behind[0] == (span{0, 1})) {
		off := e.out.Scale(beside)
		ea, eb := e.a.Add(geom.V3(off.X, off.Y, 0)), e.b.Add(geom.V3(off.X, off.Y, 0))
		for _, i := range h.grid.along(ea.XY(), eb.XY(), q) {
			f := &h.facets[i]
			if h.ghost[f.part] && f.part != e.part {
				continue
			}
			da, db := f.below(e.a), f.below(e.b)
			if min(math.Abs(da), math.Abs(db)) > flush && (da > 0) == (db > 0) {
				continue
			}
			lo, hi, ok := f.covers(ea.XY(), eb.XY(), 0)
			if !ok {
				continue
			}
			s, ok := where(lo, hi, da, db, -flush)
			if !ok {
				continue
			}
			if s, ok = where(s.lo, s.hi, -da, -db, -flush); ok {
				if e.smooth && f.part == e.part {
					behind = append(behind, s) // a kink of the facets' contour, where the surface has none
				} else {
					touch = append(touch, s)
				}
			}
		}
		behind = tidy(behind, near)
		touch = tidy(touch, min(brief/max(length, 1e-300), 0.5))
	}
	// Both lists are apart and in order.
	cuts := []float64{0, 1}
	for _, l := range [][]span{behind, touch} {
		for _, s := range l {
			cuts = append(cuts, s.lo, s.hi)
		}
	}
	slices.Sort(cuts)
	var out []piece
	for i := 1; i < len(cuts); i++ {
		if cuts[i] <= cuts[i-1] {
			continue
		}
		p := piece{edge: n, span: span{cuts[i-1], cuts[i]}, class: e.class}
		mid := (p.span.lo + p.span.hi) / 2
		p.hidden = within(behind, mid)
		if e.contour {
			p.class = Outline
			if within(touch, mid) {
				p.class = Seam
			}
		}
		if k := len(out) - 1; k >= 0 && out[k].hidden == p.hidden && (p.hidden || out[k].class == p.class || p.span.hi-p.span.lo < near) {
			out[k].span.hi = p.span.hi
			continue
		}
		out = append(out, p)
	}
	return out
}

func within(l []span, at float64) bool {
	return slices.ContainsFunc(l, func(s span) bool { return s.lo <= at && at <= s.hi })
}

// tidy joins spans that overlap, and leaves out gaps and then spans that are
// shorter than near.
func tidy(l []span, near float64) []span {
	if len(l) == 0 {
		return nil
	}
	slices.SortFunc(l, func(a, b span) int { return cmp.Or(cmp.Compare(a.lo, b.lo), cmp.Compare(a.hi, b.hi)) })
	out := l[:0]
	for _, s := range l {
		if k := len(out) - 1; k >= 0 && s.lo <= out[k].hi+near {
			out[k].hi = max(out[k].hi, s.hi)
			continue
		}
		out = append(out, s)
	}
	out = slices.DeleteFunc(out, func(s span) bool { return s.hi-s.lo < near })
	if n := len(out); n > 0 {
		if out[0].lo < near {
			out[0].lo = 0
		}
		if out[n-1].hi > 1-near {
			out[n-1].hi = 1
		}
	}
	return out
}

// lines cuts all edges, side by side, and joins the pieces.
func (h *hider) lines(ctx context.Context, edges []edge, parts []Part, o Options) ([]Line, error) {
	cut := make([][]piece, len(edges))
	workers := runtime.GOMAXPROCS(0)
	const block = 256
	var next int
	var mu sync.Mutex
	var wait sync.WaitGroup
	for range workers {
		wait.Go(func() {
			q := h.grid.query()
			for ctx.Err() == nil {
				mu.Lock()
				from := next
				next += block
				mu.Unlock()
				if from >= len(edges) {
					return
				}
				for i := from; i < min(from+block, len(edges)); i++ {
					cut[i] = h.cut(i, edges[i], o, q)
				}
			}
		})
	}
	wait.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	var all []piece
	for _, c := range cut {
		for _, p := range c {
			if !p.hidden || o.Hidden {
				all = append(all, p)
			}
		}
	}
	return joined(all, edges, parts), nil
}
