package view

import (
	"math"
	"slices"

	"groundwork/internal/geom"
)

// grid finds facets by where they are in the image: every square cell lists
// those whose boxes reach into it.
type grid struct {
	from  geom.Vec2
	cell  float64 // mm
	nx    int
	ny    int
	start []int32 // by cell, into items; one more at the end
	items []int32
	count int
}

func newGrid(facets []facet) grid {
	box := geom.EmptyBox2()
	for i := range facets {
		box = box.Union(facets[i].box)
	}
	g := grid{count: len(facets), nx: 1, ny: 1, cell: 1}
	if box.Empty() {
		g.start = []int32{0, 0}
		return g
	}
	size := box.Size()
	cells := float64(min(max(len(facets), 16), 1<<18))
	g.from = box.Min
	g.cell = max(math.Sqrt(size.X*size.Y/cells), max(size.X, size.Y)/1024, 1e-6)
	g.nx, g.ny = int(size.X/g.cell)+1, int(size.Y/g.cell)+1
	g.start = make([]int32, g.nx*g.ny+1)
	for i := range facets {
		g.cells(facets[i].box, func(c int) { g.start[c+1]++ })
	}
	for c := range g.nx * g.ny {
		g.start[c+1] += g.start[c]
	}
	g.items = make([]int32, g.start[g.nx*g.ny])
	fill := slices.Clone(g.start)
	for i := range facets {
		g.cells(facets[i].box, func(c int) {
			g.items[fill[c]] = int32(i)
			fill[c]++
		})
	}
	return g
}

func (g *grid) column(x float64) int {
	return int(max(0, min(float64(g.nx-1), math.Floor((x-g.from.X)/g.cell))))
}

func (g *grid) row(y float64) int {
	return int(max(0, min(float64(g.ny-1), math.Floor((y-g.from.Y)/g.cell))))
}

func (g *grid) cells(b geom.Box2, f func(int)) {
	for y := g.row(b.Min.Y); y <= g.row(b.Max.Y); y++ {
		for x := g.column(b.Min.X); x <= g.column(b.Max.X); x++ {
			f(y*g.nx + x)
		}
	}
}

// at are the facets that may hold a point.
func (g *grid) at(q geom.Vec2) []int32 {
	c := g.row(q.Y)*g.nx + g.column(q.X)
	return g.items[g.start[c]:g.start[c+1]]
}

// query is the memory of one who asks, to name every facet once.
type query struct {
	stamp []int32
	now   int32
	found []int32
}

func (g *grid) query() *query { return &query{stamp: make([]int32, g.count)} }

func (q *query) begin() {
	q.now++
	q.found = q.found[:0]
}

func (g *grid) gather(c int, q *query) {
	for _, i := range g.items[g.start[c]:g.start[c+1]] {
		if q.stamp[i] != q.now {
			q.stamp[i] = q.now
			q.found = append(q.found, i)
		}
	}
}

// along are the facets that may cover any of a line, valid until q is asked
// again.
func (g *grid) along(a, b geom.Vec2, q *query) []int32 {
	q.begin()
	if a.Y > b.Y {
		a, b = b, a
	}
	for y := g.row(a.Y); y <= g.row(b.Y); y++ {
		// The stretch of the line within this row, and a little more.
		p, r := a, b
		if d := b.Y - a.Y; d > 0 {
			lo, hi := g.from.Y+float64(y)*g.cell, g.from.Y+float64(y+1)*g.cell
			p = a.Lerp(b, max(0, min(1, (lo-a.Y)/d)))
			r = a.Lerp(b, max(0, min(1, (hi-a.Y)/d)))
		}
		slack := 1e-6 * g.cell
		for x := g.column(min(p.X, r.X) - slack); x <= g.column(max(p.X, r.X)+slack); x++ {
			g.gather(y*g.nx+x, q)
		}
	}
	return q.found
}

// in are the facets whose boxes may reach into a box.
func (g *grid) in(b geom.Box2, q *query) []int32 {
	q.begin()
	g.cells(b, func(c int) { g.gather(c, q) })
	return q.found
}
