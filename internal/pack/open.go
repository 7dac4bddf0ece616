package pack

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// Limits say which boxes there can be, measured outside. A limit of 0 is none.
type Limits struct {
	Wall    float64   // from the inside to the outside, at each of the six sides
	Size    geom.Vec3 // largest outside size: its greatest, middle and least edge, however the box is held
	Girthed float64   // longest edge and girth (twice the two others) together
	MaxMass float64   // g of what is in the box
	Height  float64   // largest outside size upright
}

// Within reports whether a box of that outside size is within the limits.
func (l Limits) Within(outside geom.Vec3) bool {
	const rounding = 1e-6
	e := []float64{outside.X, outside.Y, outside.Z}
	if l.Height > 0 && outside.Z > l.Height+rounding {
		return false
	}
	slices.Sort(e)
	for i, most := range sortedEdges(l.Size) {
		if most > 0 && e[i] > most+rounding {
			return false
		}
	}
	return l.Girthed <= 0 || e[2]+2*(e[0]+e[1]) <= l.Girthed+rounding
}

// sortedEdges are the limits on the least, middle and greatest edge: the greatest
// bounds the others too.
func sortedEdges(v geom.Vec3) [3]float64 {
	return [3]float64{v.Z, v.Y, v.X}
}

// outside is the size of a box with such an inside.
func (l Limits) outside(in geom.Vec3) geom.Vec3 {
	return geom.V3(in.X+2*l.Wall, in.Y+2*l.Wall, in.Z+2*l.Wall)
}

// Bases tried, and lengths of rows along one edge that they are made of.
const (
	maxRows  = 40
	maxBases = 600
)

// Smallest packs everything into the box of least outside volume that it finds
// within the limits; false if it finds none. Lengths and widths are those of rows of items;
// for each pair of them the height is brought down as far as it goes, first
// greedily, then for the best with the rest of the steps.
func Smallest(items []Item, lim Limits, o Options) (Layout, bool, error) {
	if err := check(items, o); err != nil {
		return Layout{}, false, err
	}
	if len(items) == 0 {
		return Layout{}, false, errors.New("pack: there is nothing to pack")
	}
	if !(lim.Wall >= 0) || lim.Size.X < 0 || lim.Size.Y < 0 || lim.Size.Z < 0 || !(lim.Girthed >= 0) || !(lim.MaxMass >= 0) || !(lim.Height >= 0) {
		return Layout{}, false, fmt.Errorf("pack: limits of %+v", lim)
	}
	var mass, total float64
	n := 0
	for _, it := range items {
		c := float64(it.count())
		mass += c * it.Mass
		total += c * it.Size.X * it.Size.Y * it.Size.Z
		n += it.count()
	}
	if lim.MaxMass > 0 && mass > lim.MaxMass {
		return Layout{}, false, nil
	}
	if o.Steps == 0 {
		o.Steps = defaultSteps
	}
	most := maxSide / 4
	for _, v := range []float64{lim.Size.X, lim.Girthed} {
		if v > 0 {
			most = min(most, v-2*lim.Wall)
		}
	}
	same := !slices.ContainsFunc(items, func(it Item) bool { // turning all of it turns the box
		return it.Turns != 0 && (it.Turns>>1^it.Turns)&0b010101 != 0
	})
	low := least(items, func(e geom.Vec3) float64 { return e.Z })
	long := least(items, func(e geom.Vec3) float64 { return e.X })
	if same { // x is the longer
		long = least(items, func(e geom.Vec3) float64 { return max(e.X, e.Y) })
	}
	xs := rows(items, 0, long, most)
	ys := rows(items, 1, least(items, func(e geom.Vec3) float64 { return e.Y }), most)
	type base struct{ x, y, bound float64 }
	var bases []base
	for _, x := range xs {
		for _, y := range ys {
			if same && y > x || !stands(items, x, y) {
				continue
			}
			h := max(low, total/(x*y))
			if out := lim.outside(geom.V3(x, y, h)); lim.Within(out) {
				bases = append(bases, base{x, y, out.X * out.Y * out.Z})
			}
		}
	}
	slices.SortStableFunc(bases, func(a, b base) int {
		return cmp.Or(cmp.Compare(a.bound, b.bound), cmp.Compare(a.x, b.x), cmp.Compare(a.y, b.y))
	})
	bases = bases[:min(len(bases), maxBases)]
	var best Layout
	least := math.Inf(1)
	found := false
	taken := 0
	// try brings the height over a base down with so many steps each time, while
	// no more than until are taken in all.
	try := func(b base, steps, until int) error {
		for b.bound < least && taken < until {
			h := lim.tallest(b.x, b.y, least, low, total)
			if h <= 0 {
				return nil
			}
			c := o
			c.Steps = min(steps, until-taken)
			l, err := Fill(items, Box{Size: geom.V3(b.x, b.y, h), MaxMass: lim.MaxMass}, c)
			if err != nil {
				return err
			}
			taken += l.Steps
			if !l.All() {
				return nil
			}
			l.Box.Size = l.reach()
			out := lim.outside(l.Box.Size)
			if v := out.X * out.Y * out.Z; v < least && lim.Within(out) {
				least, best, found = v, l, true
			} else {
				return nil
			}
		}
		return nil
	}
	if o.Support > 0 && o.Support < 1 {
		n *= 2 // Fill looks twice
	}
	for k, steps := range []int{n, 12 * n, 60 * n} {
		for _, b := range bases {
			if err := try(b, steps, o.Steps*(k+1)/3); err != nil {
				return Layout{}, false, err
			}
		}
	}
	if found {
		s := best.Box.Size
		best.Use = total / (s.X * s.Y * s.Z)
		best.Steps = taken
	}
	return best, found, nil
}

// tallest is the greatest inside height over a base for which the box stays
// within the limits and below a volume; 0 if that is too low.
func (l Limits) tallest(x, y, volume, low, total float64) float64 {
	out := l.outside(geom.V3(x, y, 0))
	h := maxSide / 4
	if !math.IsInf(volume, 1) {
		h = min(h, volume/(out.X*out.Y)-2*l.Wall-0.001)
	}
	least := max(low, total/(x*y))
	if h < least {
		return 0
	}
	if !l.Within(geom.V3(out.X, out.Y, least+2*l.Wall)) {
		return 0
	}
	if l.Within(geom.V3(out.X, out.Y, h+2*l.Wall)) {
		return h
	}
	lo, hi := least, h
	for hi-lo > 0.0005 {
		if mid := (lo + hi) / 2; l.Within(geom.V3(out.X, out.Y, mid+2*l.Wall)) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// reach is the size of the least box, from the corner, round all that is placed.
func (l Layout) reach() geom.Vec3 {
	var r geom.Vec3
	for _, p := range l.Placed {
		e := p.At.Add(p.Size)
		r = geom.V3(max(r.X, e.X), max(r.Y, e.Y), max(r.Z, e.Z))
	}
	return r
}

// edges along an axis that an item can have.
func (it Item) edges(axis int) []float64 {
	var out []float64
	for t := Turn(0); t < 6; t++ {
		if it.Turns.Has(t) {
			s := t.Of(it.Size)
			if e := [3]float64{s.X, s.Y, s.Z}[axis]; !slices.Contains(out, e) {
				out = append(out, e)
			}
		}
	}
	return out
}

// least is what some item needs of a measure however it is turned.
func least(items []Item, of func(geom.Vec3) float64) float64 {
	var most float64
	for _, it := range items {
		need := math.Inf(1)
		for t := Turn(0); t < 6; t++ {
			if it.Turns.Has(t) {
				need = min(need, of(t.Of(it.Size)))
			}
		}
		most = max(most, need)
	}
	return most
}

// stands reports whether every item by itself stands on a base in some turn.
func stands(items []Item, x, y float64) bool {
	const rounding = 0.001
	return !slices.ContainsFunc(items, func(it Item) bool {
		for t := Turn(0); t < 6; t++ {
			if e := t.Of(it.Size); it.Turns.Has(t) && e.X <= x+rounding && e.Y <= y+rounding {
				return false
			}
		}
		return true
	})
}

// rows are lengths of rows of up to four boxes along an axis, no shorter than
// need and no longer than most. Of more than maxRows those of one box are kept, and
// of the others half evenly among those up to half as long again as need, where
// small boxes are, and half among the longer.
func rows(items []Item, axis int, need, most float64) []float64 {
	var edges []int64
	for _, it := range items {
		for _, v := range it.edges(axis) {
			// In whole micrometres, as boxes are rounded, so that sums can be told apart.
			if e := int64(micro(v)); !slices.Contains(edges, e) {
				edges = append(edges, e)
			}
		}
	}
	least, limit := int64(micro(need)), int64(math.Floor(min(most, maxSide)*1000))
	seen := map[int64]bool{}
	var all []int64
	level := []int64{0}
	for range 4 {
		var next []int64
		for _, l := range level {
			for _, e := range edges {
				if s := l + e; s <= limit && !seen[s] {
					seen[s] = true
					next = append(next, s)
				}
			}
		}
		all = append(all, next...)
		if level = next; len(all) > 10000 || len(level) == 0 {
			break
		}
	}
	var short, more, out []int64
	for _, s := range all {
		switch {
		case s < least:
		case slices.Contains(edges, s):
			out = append(out, s)
		case s <= least+least/2:
			short = append(short, s)
		default:
			more = append(more, s)
		}
	}
	for _, part := range [][]int64{short, more} {
		slices.Sort(part)
		step := max(1, (len(part)+maxRows/2-1)/(maxRows/2))
		for i := 0; i < len(part); i += step {
			out = append(out, part[i])
		}
	}
	slices.Sort(out)
	mm := make([]float64, len(out))
	for i, s := range out {
		mm[i] = float64(s) / 1000
	}
	return mm
}
