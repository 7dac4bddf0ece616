package seam

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/veneer"
)

// Fitter says whether something with these points prints in one go in some
// pose, and in which. The printing stage owns the answer.
type Fitter func(points []geom.Vec3) (pose geom.Frame, size geom.Vec3, ok bool)

// Options are the rules for seams. The zero value of a field means its
// default.
type Options struct {
	Chord       float64 // mm; chord error of the bodies looked at, default 0.05
	BoreClear   float64 // mm of plastic between a seam and a bore, default 5 (common practice, no source)
	Stagger     float64 // mm; planes across one axis in neighbouring parts line up or lie this far apart, so that every seam is wide enough for its dowels, default 50 (common practice, no source)
	Sliver      float64 // mm; no segment is thinner than this along a cut's normal, default 20 (common practice, no source)
	DowelWall   float64 // mm of plastic round a dowel bore, default 2.4: the wall that printed bosses need (J. Manuf. Mater. Process. 7(1) 42, 2023)
	DowelSpan   float64 // mm; longest distance between dowels of one seam, default 150 (dowels in wood: 75 to 300)
	MaxSegments int     // of one body cut by a grid, default 64; four times as many where it is cut part by part
}

func (o Options) withDefaults() Options {
	set := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	set(&o.Chord, 0.05)
	set(&o.BoreClear, 5)
	set(&o.Stagger, 50)
	set(&o.Sliver, 20)
	set(&o.DowelWall, 2.4)
	set(&o.DowelSpan, 150)
	if o.MaxSegments == 0 {
		o.MaxSegments = 64
	}
	return o
}

// Inputs are the earlier results that seams depend on.
type Inputs struct {
	Cores  []piece.Member // members as printed
	Groups [][]int        // members printed as one core
	Cuts   []piece.Cut    // pads and reliefs
	Bores  []joint.Bore
	Clears []veneer.Clear
	Shop   *shop.Shop
	Fits   func(b Body) Fitter // lying on a flat face, in what the body is printed in
	Tilted func(b Body) Fitter // in any pose, for bodies that no seams bring into a flat one; nil for none
}

// Plan finds the seams of every body. Bodies that fit the printer whole get
// one segment and no seam. A body that no grid of up to MaxSegments segments
// brings into the printer is a Stop finding and yields no segment.
func Plan(ctx context.Context, k *solid.Kernel, in Inputs, o Options) (*Result, error) {
	o = o.withDefaults()
	res := &Result{Bodies: Bodies(in.Cores, in.Groups)}
	// Bodies know nothing of one another: each is cut by itself, several side by
	// side, and the results are put together in order.
	each := make([]Result, len(res.Bodies))
	errs := make([]error, len(res.Bodies))
	var work sync.WaitGroup
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i, b := range res.Bodies {
		work.Go(func() {
			free <- struct{}{}
			defer func() { <-free }()
			if errs[i] = planBody(ctx, k, in, o, i, b, &each[i]); errs[i] != nil {
				errs[i] = fmt.Errorf("seam: body %s: %w", b.ID, errs[i])
			}
		})
	}
	work.Wait()
	for i := range each {
		if errs[i] != nil {
			return nil, errs[i]
		}
		res.Segments = append(res.Segments, each[i].Segments...)
		res.Seams = append(res.Seams, each[i].Seams...)
		res.Findings = append(res.Findings, each[i].Findings...)
	}
	res.Findings = finding.Sorted(res.Findings)
	return res, nil
}

func planBody(ctx context.Context, k *solid.Kernel, in Inputs, o Options, i int, b Body, res *Result) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	parts, err := Parts(in.Cores, b, in.Cuts, o.Chord)
	if err != nil {
		return err
	}
	meshes, err := k.Meshes(ctx, parts)
	if err != nil {
		return err
	}
	return newCutter(k, in, o, i, b, parts, meshes).run(ctx, res)
}

// Bodies lists what is printed: groups printed as one, then the other members,
// all in the order of their first member.
func Bodies(cores []piece.Member, groups [][]int) []Body {
	taken := make([]bool, len(cores))
	first := map[int][]int{}
	for _, g := range groups {
		g = slices.Sorted(slices.Values(g))
		first[g[0]] = g
		for _, m := range g {
			taken[m] = true
		}
	}
	var out []Body
	for i, m := range cores {
		if g, ok := first[i]; ok {
			id := m.ID
			for _, other := range g[1:] {
				id += "+" + cores[other].ID
			}
			out = append(out, Body{ID: id, Members: g})
		} else if !taken[i] {
			out = append(out, Body{ID: m.ID, Members: []int{i}})
		}
	}
	return out
}

// Parts lists the solids that together make a body before anything is taken
// away, in world coordinates: its members as printed, and their pads.
func Parts(cores []piece.Member, b Body, cuts []piece.Cut, chord float64) ([]solid.Shape, error) {
	var parts []solid.Shape
	for _, m := range b.Members {
		s, err := cores[m].Body(chord)
		if err != nil {
			return nil, err
		}
		parts = append(parts, s.At(cores[m].Place))
		for _, c := range cuts {
			if c.Member == m && c.Add {
				parts = append(parts, c.Shape)
			}
		}
	}
	return parts, nil
}

// cutter works on one body.
type cutter struct {
	k      *solid.Kernel
	in     Inputs
	o      Options
	fits   Fitter
	index  int
	body   Body
	parts  []solid.Shape
	meshes []*solid.Mesh
	points []geom.Vec3  // corners of all parts
	axes   [3]geom.Vec3 // directions that cuts are square to, longest extent first
	bores  []joint.Bore
	clears []veneer.Clear
	used   [3][]float64 // offsets of planes across each axis in the grid being tried
}

func newCutter(k *solid.Kernel, in Inputs, o Options, index int, b Body, parts []solid.Shape, meshes []*solid.Mesh) *cutter {
	c := &cutter{k: k, in: in, o: o, fits: in.Fits(b), index: index, body: b, parts: parts, meshes: meshes}
	for _, m := range meshes {
		c.points = append(c.points, m.Vertices...)
	}
	f := in.Cores[b.Members[0]].Place
	axes := []geom.Vec3{f.X, f.Y, f.Z}
	slices.SortStableFunc(axes, func(a, b geom.Vec3) int {
		la, lb := span(c.points, a), span(c.points, b)
		return -cmp.Compare(math.Round((la.hi-la.lo)*1e3), math.Round((lb.hi-lb.lo)*1e3))
	})
	c.axes = [3]geom.Vec3(axes)
	for _, bo := range in.Bores {
		if slices.Contains(b.Members, bo.Member) {
			c.bores = append(c.bores, bo)
		}
	}
	for _, cl := range in.Clears {
		if slices.Contains(b.Members, cl.Member) {
			c.clears = append(c.clears, cl)
		}
	}
	return c
}

type interval struct{ lo, hi float64 }

func span(pts []geom.Vec3, axis geom.Vec3) interval {
	r := interval{math.Inf(1), math.Inf(-1)}
	for _, p := range pts {
		d := axis.Dot(p)
		r.lo, r.hi = min(r.lo, d), max(r.hi, d)
	}
	return r
}

// cell is a part of the body during the search: a half-space list and the
// points of the body inside it.
type cell struct {
	planes []geom.Plane
	pts    []geom.Vec3
}

// clip is the part of the cell on the inner side of pl. Points on the cut are
// made where the mesh's edges cross it, so that extents stay exact.
func (c *cutter) clip(x cell, pl geom.Plane) cell {
	out := cell{planes: append(slices.Clone(x.planes), pl)}
	out.pts = c.inside(out.planes)
	return out
}

// inside lists the corners of the body's surface within all planes; those that
// planes make where they cross a facet may be listed more than once.
//
// Most facets lie wholly on one side of each plane, so that is asked first, by
// one bit a plane for every vertex.
func (c *cutter) inside(planes []geom.Plane) []geom.Vec3 {
	if len(planes) == 0 {
		return c.points
	}
	var out, poly, next []geom.Vec3
	var beyond []uint64 // by vertex: the planes it lies beyond
	for _, m := range c.meshes {
		beyond = slices.Grow(beyond[:0], len(m.Vertices))[:len(m.Vertices)]
		for i, v := range m.Vertices {
			beyond[i] = 0
			for j, pl := range planes {
				if pl.Distance(v) > 0 {
					beyond[i] |= 1 << min(j, 63)
				}
			}
			if beyond[i] == 0 {
				out = append(out, v)
			}
		}
		for _, t := range m.Triangles {
			a, b, d := beyond[t[0]], beyond[t[1]], beyond[t[2]]
			if a|b|d == 0 || a&b&d != 0 && len(planes) <= 63 {
				continue
			}
			poly = append(poly[:0], m.Vertices[t[0]], m.Vertices[t[1]], m.Vertices[t[2]])
			for _, pl := range planes {
				next = next[:0]
				for i, p := range poly {
					q := poly[(i+1)%len(poly)]
					dp, dq := pl.Distance(p), pl.Distance(q)
					if dp <= 0 {
						next = append(next, p)
					}
					if (dp < 0 && dq > 0) || (dp > 0 && dq < 0) {
						next = append(next, p.Lerp(q, dp/(dp-dq)))
					}
				}
				poly, next = next, poly
				if len(poly) == 0 {
					break
				}
			}
			out = append(out, poly...)
		}
	}
	return out
}

// run cuts the body and adds what it finds to res.
func (c *cutter) run(ctx context.Context, res *Result) error {
	whole := cell{pts: c.points}
	if pose, size, ok := c.fits(whole.pts); ok {
		res.Segments = append(res.Segments, Segment{ID: c.body.ID, Body: c.index, Pose: pose, Fits: size})
		return nil
	}
	var g *node
	ok := false
	many := len(c.points) > manyFacets
	if !many {
		g, ok = c.search(ctx, whole)
	}
	if !ok && c.in.Tilted != nil && ctx.Err() == nil {
		c.fits = c.in.Tilted(c.body)
		if !many {
			g, ok = c.search(ctx, whole)
		} else if pose, size, whole := c.fits(whole.pts); whole {
			res.Segments = append(res.Segments, Segment{ID: c.body.ID, Body: c.index, Pose: pose, Fits: size})
			return nil
		}
		if !ok {
			g, ok = c.boxes(ctx, whole)
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if !ok {
		box := geom.EmptyBox3()
		for _, p := range c.points {
			box = box.Add(p)
		}
		s := box.Size()
		res.Findings = append(res.Findings, finding.Finding{
			Severity: finding.Stop, Stage: "seam", Code: "no-seams", Subject: c.body.ID,
			Message: fmt.Sprintf("No set of up to %d seams brings %s (%.0f x %.0f x %.0f mm over all) into the printer clear of its bores and veneer joints.",
				4*c.o.MaxSegments, c.body.ID, s.X, s.Y, s.Z),
			Remedy: "Use a printer with a larger volume; or move joints apart; or make the member as two members joined.",
			Source: "common practice, no source",
		})
		return nil
	}
	return c.emit(ctx, g, res)
}

// emit names the segments of a finished tree in order and makes its seams.
func (c *cutter) emit(ctx context.Context, root *node, res *Result) error {
	var leaves []*node
	root.leaves(&leaves)
	name := map[*node]string{}
	for i, l := range leaves {
		id := c.body.ID + "." + letter(i)
		name[l] = id
		pose, size, ok := c.fits(l.cell.pts)
		if !ok {
			return fmt.Errorf("segment %s does not fit after the search said so", id)
		}
		res.Segments = append(res.Segments, Segment{ID: id, Body: c.index, Planes: l.cell.planes, Pose: pose, Fits: size})
	}
	var taken []joint.Bore
	seams := 0
	var walk func(n *node) error
	walk = func(n *node) error {
		if n.below == nil {
			return nil
		}
		made, err := c.seamsAt(ctx, n, name, &seams, &taken, res)
		if err != nil {
			return err
		}
		res.Seams = append(res.Seams, made...)
		if err := walk(n.below); err != nil {
			return err
		}
		return walk(n.above)
	}
	return walk(root)
}

// letter is a, b, …, z, aa, ab, …
func letter(i int) string {
	if i < 26 {
		return string(rune('a' + i))
	}
	return letter(i/26-1) + string(rune('a'+i%26))
}

// node is a cell that is kept whole (a leaf) or cut in two.
type node struct {
	cell         cell
	plane        geom.Plane // valid when cut
	below, above *node
	terms        []Term
}

func (n *node) leaves(out *[]*node) {
	if n.below == nil {
		*out = append(*out, n)
		return
	}
	n.below.leaves(out)
	n.above.leaves(out)
}
