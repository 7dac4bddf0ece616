package solid

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/parallel"
)

// Join says how an offset goes round an outward corner.
type Join int

const (
	Round  Join = iota // an arc
	Miter              // the sides prolonged until they meet, within the miter limit
	Square             // a cut across the corner
)

// fillPositive makes a region of everything that loops wind round more often
// counter-clockwise than clockwise.
const fillPositive = 2

// Regions does many flat operations on one instance of the kernel; see
// Kernel.Regions. Regions go in with outer loops counter-clockwise and holes
// clockwise, and come out so, free of crossings: every loop begins at its
// lexicographically least point, and loops are in the order of their points.
// An empty region is nil. Points are moved by up to 1e-8 mm.
type Regions struct {
	in  *instance
	ctx context.Context
	err error
}

// Regions runs a task that does many flat operations, with one instance of
// the kernel from beginning to end. The first fault ends the work: operations
// after it return nil, and Regions returns it. The task must not ask the Kernel
// itself for work: with a single instance it would wait for itself.
func (k *Kernel) Regions(ctx context.Context, task func(*Regions) error) error {
	return k.with(ctx, func(in *instance) error {
		r := &Regions{in: in, ctx: ctx}
		err := task(r)
		if r.err != nil {
			return fmt.Errorf("solid: %w", r.err)
		}
		return err
	})
}

func (r *Regions) ok(doing string, regions ...geom.Polygons) bool {
	if r.err == nil {
		r.err = r.ctx.Err()
	}
	for i, ps := range regions {
		var area, length float64
		for _, p := range ps {
			area += p.Area()
			length += p.Perimeter()
		}
		switch {
		case r.err != nil:
		case !finite(area, length):
			r.err = fmt.Errorf("%s: region %d has a point that is not finite", doing, i)
		case area < -rounding*length:
			// It would count as empty, in silence.
			r.err = fmt.Errorf("%s: region %d runs clockwise, its area is %g mm²", doing, i, area)
		}
	}
	return r.err == nil
}

// rounding is how far, in mm, the kernel moves the points of a region.
const rounding = 1e-8

// done takes a cross section out of the kernel.
func (r *Regions) done(doing string, c ptr) geom.Polygons {
	out := r.in.takeSection(c)
	r.keep(doing)
	return out
}

func (r *Regions) keep(doing string) {
	if r.in.err != nil && r.err == nil {
		r.err = fmt.Errorf("%s: %w", doing, r.in.err)
	}
}

func size(regions ...geom.Polygons) (n int) {
	for _, ps := range regions {
		for _, p := range ps {
			n += len(p)
		}
	}
	return n
}

// Union is what the regions cover together.
func (r *Regions) Union(regions ...geom.Polygons) geom.Polygons {
	return r.batch("union", "_crossSectionUnionN", regions)
}

// Subtract is a without all of b.
func (r *Regions) Subtract(a geom.Polygons, b ...geom.Polygons) geom.Polygons {
	if len(a) == 0 {
		return nil
	}
	return r.batch("difference", "_crossSectionDifferenceN", append([]geom.Polygons{a}, b...))
}

// Intersect is what a and b have in common.
func (r *Regions) Intersect(a, b geom.Polygons) geom.Polygons {
	if len(a) == 0 || len(b) == 0 {
		return nil
	}
	return r.batch("intersection", "_crossSectionIntersectionN", []geom.Polygons{a, b})
}

func (r *Regions) batch(what, name string, regions []geom.Polygons) geom.Polygons {
	doing := fmt.Sprintf("%s of %d regions with %d points", what, len(regions), size(regions...))
	if !r.ok(doing, regions...) {
		return nil
	}
	in := r.in
	v := in.make("new Vector_crossSection")
	n := 0
	for _, ps := range regions {
		if len(ps) == 0 {
			continue
		}
		n++
		c := in.section(ps)
		in.call("Vector_crossSection.push_back", v, c)
		in.drop("CrossSection", c)
	}
	var out geom.Polygons
	if n > 0 {
		out = in.takeSection(in.make(name, v))
	}
	in.drop("Vector_crossSection", v)
	r.keep(doing)
	return out
}

// Offset grows the region by delta, or shrinks it if delta is negative, mm.
// Miter reaches at most miterLimit times delta from a corner (at least 2).
// chord is how far, in mm, the corners' arcs may stray from the true ones
// under Round; 0 means DefaultChord. Arcs are inscribed.
func (r *Regions) Offset(region geom.Polygons, delta float64, join Join, miterLimit, chord float64) geom.Polygons {
	doing := fmt.Sprintf("offset by %g mm of a region with %d points", delta, size(region))
	if !r.ok(doing, region) || len(region) == 0 {
		return nil
	}
	if !finite(delta, miterLimit, chord) || join < Round || join > Square {
		r.err = fmt.Errorf("%s: join %d, miter limit %g or chord %g is out of range", doing, join, miterLimit, chord)
		return nil
	}
	in := r.in
	kind := [...]uint64{Round: 1, Miter: 2, Square: 0}[join] // the kernel's numbers
	c := in.section(region)
	o := in.make("CrossSection._Offset", c, f64(delta), kind, f64(max(2, miterLimit)), f64(float64(Facets(math.Abs(delta), chord, false))))
	in.drop("CrossSection", c)
	return r.done(doing, o)
}

// Simplify leaves out points that lie within eps, mm, of the line between
// their neighbours, and specks smaller than that.
func (r *Regions) Simplify(region geom.Polygons, eps float64) geom.Polygons {
	doing := fmt.Sprintf("simplifying a region with %d points", size(region))
	if !r.ok(doing, region) || len(region) == 0 {
		return nil
	}
	if !finite(eps) || eps < 0 {
		r.err = fmt.Errorf("%s: the tolerance %g is out of range", doing, eps)
		return nil
	}
	c := r.in.section(region)
	s := r.in.make("CrossSection._Simplify", c, f64(eps))
	r.in.drop("CrossSection", c)
	return r.done(doing, s)
}

// Hull is the smallest convex region round the region.
func (r *Regions) Hull(region geom.Polygons) geom.Polygons {
	doing := fmt.Sprintf("hull of a region with %d points", size(region))
	if !r.ok(doing, region) || len(region) == 0 {
		return nil
	}
	c := r.in.section(region)
	h := r.in.make("CrossSection.hull", c)
	r.in.drop("CrossSection", c)
	return r.done(doing, h)
}

// Decompose divides the region into its separate parts, every outer loop with
// its holes, in the order of their outer loops.
func (r *Regions) Decompose(region geom.Polygons) []geom.Polygons {
	doing := fmt.Sprintf("dividing a region with %d points", size(region))
	if !r.ok(doing, region) || len(region) == 0 {
		return nil
	}
	in := r.in
	c := in.section(region)
	v := in.make("CrossSection._Decompose", c)
	var out []geom.Polygons
	for _, e := range in.elements("Vector_crossSection", v) {
		o := in.make("CrossSection._ToPolygons", e)
		out = append(out, canonical(in.readOutlines(o)))
		in.drop("Vector2_vec2", o)
	}
	in.drop("Vector_crossSection", v)
	in.drop("CrossSection", c)
	r.keep(doing)
	slices.SortFunc(out, func(a, b geom.Polygons) int { return slices.CompareFunc(a, b, compareLoops) })
	return out
}

// section brings a region into the kernel.
func (in *instance) section(ps geom.Polygons) ptr {
	o := in.outlines(ps)
	c := in.make("new CrossSection", o, fillPositive)
	in.drop("Vector2_vec2", o)
	return c
}

// takeSection reads a cross section and drops it.
func (in *instance) takeSection(c ptr) geom.Polygons {
	o := in.make("CrossSection._ToPolygons", c)
	in.drop("CrossSection", c)
	out := in.readOutlines(o)
	in.drop("Vector2_vec2", o)
	return canonical(out)
}

// takeOutlines reads the outlines that the kernel made of a solid, rid of
// crossings, and drops them.
func (in *instance) takeOutlines(o ptr) geom.Polygons {
	c := in.make("new CrossSection", o, fillPositive)
	in.drop("Vector2_vec2", o)
	return in.takeSection(c)
}

// canonical turns every loop so that its least point comes first, and sorts
// the loops.
func canonical(ps geom.Polygons) geom.Polygons {
	var out geom.Polygons
	for _, p := range ps {
		if len(p) < 3 {
			continue
		}
		least := 0
		for i, q := range p {
			p[i] = geom.V2(q.X+0, q.Y+0) // -0 is 0
			if comparePoints(p[i], p[least]) < 0 {
				least = i
			}
		}
		out = append(out, slices.Concat(p[least:], p[:least]))
	}
	slices.SortFunc(out, compareLoops)
	return out
}

func compareLoops(a, b geom.Polygon) int { return slices.CompareFunc(a, b, comparePoints) }

func comparePoints(a, b geom.Vec2) int {
	return compareVec3(geom.V3(a.X, a.Y, 0), geom.V3(b.X, b.Y, 0))
}

// one runs a single flat operation.
func (k *Kernel) one(ctx context.Context, do func(*Regions) geom.Polygons) (out geom.Polygons, err error) {
	err = k.Regions(ctx, func(r *Regions) error { out = do(r); return nil })
	if err != nil {
		return nil, err
	}
	return out, nil
}

// Union2 is Regions.Union by itself.
func (k *Kernel) Union2(ctx context.Context, regions ...geom.Polygons) (geom.Polygons, error) {
	return k.one(ctx, func(r *Regions) geom.Polygons { return r.Union(regions...) })
}

// Subtract2 is Regions.Subtract by itself.
func (k *Kernel) Subtract2(ctx context.Context, a geom.Polygons, b ...geom.Polygons) (geom.Polygons, error) {
	return k.one(ctx, func(r *Regions) geom.Polygons { return r.Subtract(a, b...) })
}

// Intersect2 is Regions.Intersect by itself.
func (k *Kernel) Intersect2(ctx context.Context, a, b geom.Polygons) (geom.Polygons, error) {
	return k.one(ctx, func(r *Regions) geom.Polygons { return r.Intersect(a, b) })
}

// Offset2 is Regions.Offset by itself.
func (k *Kernel) Offset2(ctx context.Context, ps geom.Polygons, delta float64, join Join, miterLimit, chord float64) (geom.Polygons, error) {
	return k.one(ctx, func(r *Regions) geom.Polygons { return r.Offset(ps, delta, join, miterLimit, chord) })
}

// Simplify2 is Regions.Simplify by itself.
func (k *Kernel) Simplify2(ctx context.Context, ps geom.Polygons, eps float64) (geom.Polygons, error) {
	return k.one(ctx, func(r *Regions) geom.Polygons { return r.Simplify(ps, eps) })
}

// Decompose2 is Regions.Decompose by itself.
func (k *Kernel) Decompose2(ctx context.Context, ps geom.Polygons) (out []geom.Polygons, err error) {
	err = k.Regions(ctx, func(r *Regions) error { out = r.Decompose(ps); return nil })
	if err != nil {
		return nil, err
	}
	return out, nil
}

// OffsetAll2 offsets many regions alike, side by side on the instances.
// Results are in the order of the regions.
func (k *Kernel) OffsetAll2(ctx context.Context, regions []geom.Polygons, delta float64, join Join, miterLimit, chord float64) ([]geom.Polygons, error) {
	out := make([]geom.Polygons, len(regions))
	lots := min(len(regions), cap(k.pool))
	errs := make([]error, lots)
	parallel.Each(lots, cap(k.pool), func(lot int) {
		errs[lot] = k.Regions(ctx, func(r *Regions) error {
			for i := lot; i < len(regions); i += lots {
				out[i] = r.Offset(regions[i], delta, join, miterLimit, chord)
			}
			return nil
		})
	})
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	return out, nil
}
