package seam

import (
	"context"
	"math"

	"groundwork/internal/geom"
)

// plain cuts a body by a uniform grid of boxes, along its own axes or the
// world's, whatever lies in the way of the planes: the fewest occupied boxes of
// all ways to lay the box and six places of the grid along each axis. It is
// what a plan is held against, and the plan where nothing is in the way and
// nothing better is found.
func (c *cutter) plain(ctx context.Context) (*node, int) {
	fewest := math.MaxInt32
	c.points = c.sampled()
	type grid struct {
		f  geom.Frame
		l  lay
		at geom.Vec3
		n  [3]int
	}
	var best []grid
	frames := []geom.Frame{c.frames[0]}
	if f := geom.World(); !aligned(f, frames[0]) {
		frames = append(frames, f)
	}
	pts := c.points
	for fi, f := range frames {
		lays := c.lays[0]
		if fi > 0 {
			lays = c.laysIn(f)
		}
		r := [3]interval{span(pts, f.X), span(pts, f.Y), span(pts, f.Z)}
		rows := newRows(pts, f, r)
		for _, l := range lays {
			if min(l[0], l[1], l[2]) < c.o.Sliver {
				continue
			}
			for o := range offsets * offsets * offsets {
				if ctx.Err() != nil {
					return nil, fewest
				}
				g := grid{f: f, l: l}
				total := 1
				var row [3][]uint8
				var at [3]float64
				for k, off := range [3]int{o % offsets, o / offsets % offsets, o / offsets / offsets} {
					at[k] = r[k].lo - l[k]*float64(off)/offsets
					g.n[k] = max(1, int(math.Ceil((r[k].hi-at[k])/l[k]-1e-9)))
					total *= g.n[k]
					row[k] = rows.of(k, l[k], off)
				}
				g.at = geom.V3(at[0], at[1], at[2])
				const most = 4096 // boxes; no body of furniture is so large
				if total > most {
					continue
				}
				n := c.occupied(row, f, l, g.at, g.n)
				switch {
				case n < fewest:
					fewest, best = n, append(best[:0], g)
				case n == fewest && len(best) < 4:
					best = append(best, g)
				}
			}
		}
	}
	// The count is by points; the tree is made of the body itself.
	var tree *node
	for _, g := range best {
		t := &node{cell: c.whole}
		for k, a := range [3]geom.Vec3{g.f.X, g.f.Y, g.f.Z} {
			o := [3]float64{g.at.X, g.at.Y, g.at.Z}[k]
			for i := 1; i < g.n[k]; i++ {
				t = c.cutAll(t, geom.Plane{Normal: a, D: o + g.l[k]*float64(i)})
			}
		}
		if grown, ok := c.grow(t, c.whole); ok && c.staggered(grown) && (tree == nil || grown.count() < tree.count()) {
			tree = grown
		}
	}
	if fewest == math.MaxInt32 {
		fewest = 0
	}
	return tree, fewest
}

func aligned(a, b geom.Frame) bool {
	for _, u := range []geom.Vec3{a.X, a.Y, a.Z} {
		if max(math.Abs(u.Dot(b.X)), math.Abs(u.Dot(b.Y)), math.Abs(u.Dot(b.Z))) < 1-1e-9 {
			return false
		}
	}
	return true
}

// offsets are the places of a grid along each axis that are tried.
const offsets = 6

// sampled are points spread over the surface of the body, about a twelfth of the
// smallest box apart.
func (c *cutter) sampled() []geom.Vec3 {
	least := math.Inf(1)
	for _, l := range c.lays[0] {
		least = min(least, l[0], l[1], l[2])
	}
	x := c.whole
	r := span(x.pts, c.axes[0])
	step := max(least/12, (r.hi-r.lo)/200)
	pts := append([]geom.Vec3(nil), x.v...)
	start := int32(0)
	for _, end := range x.end {
		p := x.idx[start:end]
		start = end
		a, b, d := x.v[p[0]], x.v[p[1]], x.v[p[2]]
		// Rows along the shortest side, from the corner across.
		for range 2 {
			if b.Dist(d) > a.Dist(b) || b.Dist(d) > d.Dist(a) {
				a, b, d = b, d, a
			}
		}
		n := math.Ceil(max(a.Dist(b), d.Dist(a)) / step)
		for i := 1.0; i <= n && n > 1; i++ {
			u, v := a.Lerp(b, i/n), a.Lerp(d, i/n)
			m := math.Ceil(u.Dist(v) / step)
			for j := 0.0; j <= m; j++ {
				pts = append(pts, u.Lerp(v, j/max(1, m)))
			}
		}
	}
	return pts
}

// rows say, for grids of different boxes and places, which row of boxes along an
// axis each point lies in.
type rows struct {
	d    [3][]float64 // distance of every point from the least along each axis
	made map[rowKey][]uint8
}

type rowKey struct {
	axis   int
	side   float64
	offset int
}

func newRows(pts []geom.Vec3, f geom.Frame, r [3]interval) *rows {
	w := &rows{made: map[rowKey][]uint8{}}
	for k, a := range []geom.Vec3{f.X, f.Y, f.Z} {
		w.d[k] = make([]float64, len(pts))
		for i, p := range pts {
			w.d[k][i] = p.Dot(a) - r[k].lo
		}
	}
	return w
}

func (w *rows) of(axis int, side float64, offset int) []uint8 {
	key := rowKey{axis, side, offset}
	if row, ok := w.made[key]; ok {
		return row
	}
	row := make([]uint8, len(w.d[axis]))
	for i, d := range w.d[axis] {
		// What just touches the next box is in this one.
		const hair = 1e-6
		row[i] = uint8(max(0, min(255, int(d/side+float64(offset)/offsets-hair))))
	}
	w.made[key] = row
	return row
}

// occupied counts the boxes of a grid that hold something of the body: a point
// of its surface, or where there is none, its inside.
func (c *cutter) occupied(row [3][]uint8, f geom.Frame, l lay, at geom.Vec3, n [3]int) int {
	full := make([]bool, n[0]*n[1]*n[2])
	x, y, z := row[0], row[1], row[2]
	for i := range x {
		full[(min(int(z[i]), n[2]-1)*n[1]+min(int(y[i]), n[1]-1))*n[0]+min(int(x[i]), n[0]-1)] = true
	}
	count := 0
	for q := range full {
		if full[q] {
			count++
			continue
		}
		i, j, k := q%n[0], q/n[0]%n[1], q/n[0]/n[1]
		mid := f.X.Scale(at.X + l[0]*(float64(i)+0.5)).Add(f.Y.Scale(at.Y + l[1]*(float64(j)+0.5))).Add(f.Z.Scale(at.Z + l[2]*(float64(k)+0.5)))
		if c.holds(mid) {
			count++
		}
	}
	return count
}
