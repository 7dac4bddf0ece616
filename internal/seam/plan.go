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
	Beam        int     // partitions that the search carries on side by side, default 4
	Simple      bool    // grids and boxes alone, which know nothing of stress and veneer: to hold the search against
	Planes      int     // planes looked at for one body, after which the search is brought to an end, default 3000
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
	count := func(v *int, d int) {
		if *v == 0 {
			*v = d
		}
	}
	count(&o.MaxSegments, 64)
	count(&o.Beam, 4)
	count(&o.Planes, 3000)
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

	// What follows may be left out. Functions are asked by several goroutines.

	// Stress is the normal stress in MPa at a point of a body across a plane with
	// a normal, both in world coordinates, the greatest of all load cases.
	Stress func(body int, at, normal geom.Vec3) float64
	// Strength is what a glued seam of a body bears, MPa.
	Strength func(body int) float64
	// Covered reports whether something is laid over a body at a point of its
	// surface, so that a seam there will not be seen.
	Covered func(body int, at geom.Vec3) bool
	// Rules are what the maker asks of seams, by members' names or IDs.
	Rules []piece.SeamRule
}

// Plan finds the seams of every body. Bodies that fit the printer whole get
// one segment and no seam. A body that no plan brings into the printer is a
// Stop finding and yields no segment.
func Plan(ctx context.Context, k *solid.Kernel, in Inputs, o Options) (*Result, error) {
	o = o.withDefaults()
	res := &Result{Bodies: Bodies(in.Cores, in.Groups)}
	n := len(res.Bodies)
	res.Counts = make([]Count, n)
	cutters := make([]*cutter, n)
	each := make([]Result, n)
	err := aside(n, func(i int) error {
		var err error
		cutters[i], err = prepare(ctx, k, in, o, i, res.Bodies[i])
		return wrap(err, res.Bodies[i])
	})
	if err != nil {
		return nil, err
	}
	// Bodies that are alike are cut alike; others know nothing of one another.
	groups, twins := alike(cutters)
	if err := aside(len(groups), func(g int) error {
		first := groups[g][0]
		return wrap(solve(ctx, cutters, groups[g], twins, res.Counts, &each[first]), res.Bodies[first])
	}); err != nil {
		return nil, err
	}
	if err := aside(n, func(i int) error {
		if cutters[i].root == nil || cutters[i].told {
			return nil
		}
		_, err := cutters[i].emit(ctx, cutters[i].root, &each[i])
		return wrap(err, res.Bodies[i])
	}); err != nil {
		return nil, err
	}
	for i := range each {
		res.Segments = append(res.Segments, each[i].Segments...)
		res.Seams = append(res.Seams, each[i].Seams...)
		res.Findings = append(append(res.Findings, cutters[i].findings...), each[i].Findings...)
	}
	res.Findings = finding.Sorted(res.Findings)
	return res, nil
}

func wrap(err error, b Body) error {
	if err != nil {
		return fmt.Errorf("seam: body %s: %w", b.ID, err)
	}
	return nil
}

// aside does n tasks, several side by side, and returns the first error in
// their order.
func aside(n int, task func(i int) error) error {
	errs := make([]error, n)
	var work sync.WaitGroup
	free := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i := range n {
		work.Go(func() {
			free <- struct{}{}
			defer func() { <-free }()
			errs[i] = task(i)
		})
	}
	work.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// prepare makes the cutter of a body.
func prepare(ctx context.Context, k *solid.Kernel, in Inputs, o Options, i int, b Body) (*cutter, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	parts, err := Parts(in.Cores, b, in.Cuts, o.Chord)
	if err != nil {
		return nil, err
	}
	meshes, err := k.Meshes(ctx, parts)
	if err != nil {
		return nil, err
	}
	return newCutter(k, in, o, i, b, parts, meshes), nil
}

// alike gathers bodies that are alike: groups of their numbers, each in order,
// and by body the way from the first of its group to it.
func alike(cutters []*cutter) (groups [][]int, twins []twin) {
	twins = make([]twin, len(cutters))
next:
	for i, d := range cutters {
		for g, group := range groups {
			if t, ok := twinOf(cutters[group[0]], d); ok {
				groups[g] = append(group, i)
				twins[i] = t
				continue next
			}
		}
		groups = append(groups, []int{i})
	}
	return groups, twins
}

// solve plans bodies that are alike: the first, with what is in the way in any
// of them, and the others by its planes carried over, where those hold there.
// Where they do not, or where bodies by themselves need fewer segments, each is
// planned by itself.
func solve(ctx context.Context, cutters []*cutter, group []int, twins []twin, counts []Count, res *Result) error {
	first := cutters[group[0]]
	if len(group) == 1 {
		return first.solveAlone(ctx, counts, res)
	}
	all := first.copied()
	added := false
	for _, i := range group[1:] {
		added = all.join(cutters[i], twins[i]) || added
	}
	plans, count, err := all.solve(ctx)
	if err != nil {
		return err
	}
	if len(plans) == 0 || len(all.asked.whole) > 0 && len(all.findings) > 0 {
		added = true // what is in the way in one may be what hinders all
	}
	if added && count.Segments != 1 && count.Segments > count.Least() {
		// They might do with fewer apart.
		for _, i := range group {
			c := cutters[i].copied()
			if alone, own, err := c.solve(ctx); err != nil {
				return err
			} else if len(alone) > 0 && (len(plans) == 0 || own.Segments < count.Segments) {
				plans = nil
				break
			}
		}
	}
	// The first plan that all can follow.
	for _, p := range plans {
		roots := make([]*node, len(group))
		ok := true
		for g, i := range group {
			c := cutters[i]
			c.adopt(all)
			t := p
			if g > 0 {
				t = twins[i].carried(p)
			}
			if roots[g], ok = c.grow(t, c.whole); !ok || roots[g].count() > count.Segments || !c.proved(roots[g]) {
				ok = false
				break
			}
		}
		if !ok {
			continue
		}
		var out Result
		short, err := first.emit(ctx, roots[0], &out)
		if err != nil {
			return err
		}
		if first.root != nil && short >= first.short {
			continue
		}
		*res = out
		first.told, first.short = true, short
		for g, i := range group {
			c := cutters[i]
			c.root = roots[g]
			c.findings = slices.Clone(c.findings)
			counts[i] = count
			counts[i].Like = group[0]
			if g > 0 {
				counts[i].Judged = 0
			}
		}
		if short == 0 {
			break
		}
	}
	if first.root != nil {
		first.findings = append(first.findings, all.findings...) // said once, of the first
		return nil
	}
	for _, i := range group {
		var out Result
		if i == group[0] {
			if err := cutters[i].solveAlone(ctx, counts, res); err != nil {
				return err
			}
			continue
		}
		if err := cutters[i].solveAlone(ctx, counts, &out); err != nil {
			return err
		}
		cutters[i].told = false // emitted again, in its own place
	}
	return nil
}

// solveAlone plans one body and emits it: of the plans that are equally good in
// the search, the first whose seams all have room for their dowels.
func (c *cutter) solveAlone(ctx context.Context, counts []Count, res *Result) error {
	plans, count, err := c.solve(ctx)
	if err != nil {
		return err
	}
	count.Like = c.index
	counts[c.index] = count
	for _, p := range plans {
		var out Result
		short, err := c.emit(ctx, p, &out)
		if err != nil {
			return err
		}
		if c.root != nil && short >= c.short {
			continue
		}
		*res = out
		c.root, c.told, c.short = p, true, short
		if short == 0 {
			break
		}
	}
	return nil
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
	solids []int        // which of the parts are the members themselves, by Body.Members; the others are pads
	axes   [3]geom.Vec3 // the body's own, longest extent first
	bores  []joint.Bore
	clears []veneer.Clear
	noCuts []noCut
	asked  asked

	whole    *cell
	normals  []geom.Vec3  // of the body's facets
	mirrors  []geom.Plane // in which the body is its own image
	normals0 []geom.Vec3  // directions that planes are square to
	frames   []geom.Frame // in which parts are measured; their origin is not used
	lays     [][]lay      // by frame
	limits   limits
	stress   func(at, normal geom.Vec3) float64
	covered  func(at geom.Vec3) bool
	strength float64 // MPa, 0 where it is not known
	peak     float64 // MPa, the greatest stress met across any plane
	dowel    float64 // mm, the thinnest in the shop; 0 for none
	bed      float64 // mm², the largest; 0 where it is not known

	judged      int          // planes looked at
	used        [3][]float64 // offsets of planes across each axis in the grid being tried
	seen        map[place]verdict
	made        map[*cell][]move
	points      []geom.Vec3 // spread over the body's surface
	sectionOnly bool        // look need not measure the halves
	dist        []float64   // scratch
	rim         []edge      // of the section last looked at
	findings    []finding.Finding

	root   *node // the plan
	short  int   // seams of it without room for their dowels
	told   bool  // it has been emitted
	tilted bool  // parts may lie in any pose
}

// place is a plane across one of the axes of a cell.
type place struct {
	x    *cell
	axis geom.Vec3
	at   float64
}

type verdict struct {
	cost float64
	ok   bool
}

func newCutter(k *solid.Kernel, in Inputs, o Options, index int, b Body, parts []solid.Shape, meshes []*solid.Mesh) *cutter {
	c := &cutter{k: k, in: in, o: o, index: index, body: b, parts: parts, meshes: meshes}
	at := 0
	for _, m := range b.Members {
		c.solids = append(c.solids, at)
		at++
		for _, cut := range in.Cuts {
			if cut.Member == m && cut.Add {
				at++
			}
		}
	}
	c.whole, c.normals = wholeCell(meshes)
	f := in.Cores[b.Members[0]].Place
	axes := []geom.Vec3{f.X, f.Y, f.Z}
	slices.SortStableFunc(axes, func(a, b geom.Vec3) int {
		la, lb := span(c.whole.pts, a), span(c.whole.pts, b)
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
	c.applyRules()
	c.limits = limitsOf(c.volumes())
	if in.Stress != nil {
		c.stress = func(at, n geom.Vec3) float64 { return in.Stress(index, at, n) }
	}
	if in.Strength != nil {
		c.strength = in.Strength(index)
	}
	if in.Covered != nil {
		c.covered = func(at geom.Vec3) bool { return in.Covered(index, at) }
	}
	for _, d := range in.Shop.Dowels {
		if c.dowel == 0 || d.Diameter < c.dowel {
			c.dowel = d.Diameter
		}
	}
	for _, p := range in.Shop.Printers {
		c.bed = max(c.bed, (p.Build.X-2*p.Brim)*(p.Build.Y-2*p.Brim))
	}
	return c
}

// copied is a cutter for the same body to try something with.
func (c *cutter) copied() *cutter {
	d := *c
	d.bores, d.clears, d.findings = slices.Clone(c.bores), slices.Clone(c.clears), slices.Clone(c.findings)
	d.noCuts = slices.Clone(c.noCuts)
	return &d
}

// adopt takes over from the cutter of a twin what its plan was made by.
func (c *cutter) adopt(o *cutter) {
	tilted := o.tilted
	c.begin(tilted)
	if len(o.noCuts) == 0 {
		c.noCuts = nil
	}
	c.mirrors, c.peak = nil, o.peak
	c.findMirrors()
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

// begin readies the cutter for parts that lie flat, or in any pose.
func (c *cutter) begin(tilted bool) {
	c.tilted = tilted
	if tilted {
		c.fits = c.in.Tilted(c.body)
	} else {
		c.fits = c.in.Fits(c.body)
	}
	c.whole.est = estimate{}
	c.seen, c.made = map[place]verdict{}, map[*cell][]move{}
}

// solve finds plans for the body, the best first, all with the same number of
// segments. None is found where nothing brings it into the printer, which is
// then a finding.
func (c *cutter) solve(ctx context.Context) ([]*node, Count, error) {
	var count Count
	count.Segments = 1
	plans, err := c.attempt(ctx, &count)
	if err == nil && len(plans) == 0 && len(c.noCuts) > 0 {
		// Without what the maker wants kept free of seams.
		c.noCuts = nil
		if plans, err = c.attempt(ctx, &count); len(plans) > 0 {
			c.unmet()
		}
	}
	if err != nil {
		return nil, count, err
	}
	count.Judged = c.judged
	count.Segments = 0
	if len(plans) == 0 {
		c.noPlan()
		return nil, count, nil
	}
	count.Segments = plans[0].count()
	count.Terms = c.printTerms(plans[0])
	return plans, count, nil
}

// attempt plans for parts that lie flat, and where there is no such plan for
// parts in any pose.
func (c *cutter) attempt(ctx context.Context, count *Count) ([]*node, error) {
	many := len(c.whole.pts) > manyFacets
	c.begin(false)
	if len(c.asked.pins) == 0 && c.prove(c.whole) {
		return []*node{{cell: c.whole}}, ctx.Err()
	}
	if !many || c.boxed(ctx) {
		if plans := c.plans(ctx, count); len(plans) > 0 {
			return plans, ctx.Err()
		}
	}
	if c.in.Tilted == nil || ctx.Err() != nil {
		return nil, ctx.Err()
	}
	c.begin(true)
	if many && len(c.asked.pins) == 0 && c.prove(c.whole) {
		return []*node{{cell: c.whole}}, ctx.Err()
	}
	return c.plans(ctx, count), ctx.Err()
}

// boxed reports whether cutting part by part alone brings the body into the
// printer: where that does not, a search among many corners is not worth its time.
func (c *cutter) boxed(ctx context.Context) bool {
	_, ok := c.boxes(ctx, c.whole)
	return ok
}

// plans are the finished plans with fewest segments, cheapest first.
func (c *cutter) plans(ctx context.Context, count *Count) []*node {
	c.setFrames()
	c.whole.est = estimate{}
	c.findMirrors()
	count.Bounds = c.bounds()
	c.findPeak()
	start := c.pinCuts()
	var all []*node
	take := func(t *node, ok bool) int {
		if !ok {
			return 0
		}
		if t, ok = c.grow(t, c.whole); !ok {
			return 0
		}
		all = append(all, t)
		return t.count()
	}
	if c.o.Simple {
		stress, covered := c.stress, c.covered
		c.stress, c.covered = nil, nil
		t, ok := c.simple(ctx, start)
		c.stress, c.covered = stress, covered
		if count.Simple = take(t, ok); count.Simple == 0 || !c.proved(all[0]) {
			return nil
		}
		return all
	}
	count.Simple = take(c.simple(ctx, start))
	most := 4 * c.o.MaxSegments
	if count.Simple > 0 {
		most = count.Simple
	}
	if least := count.Least(); most > max(2, least) && start.leaf() {
		t, n := c.plain(ctx)
		count.Plain = n
		if n := take(t, t != nil); n > 0 {
			most = min(most, n)
		}
		if t := c.terraces(ctx); t != nil {
			if n := take(t, true); n > 0 {
				most = min(most, n)
			}
		}
	}
	for _, t := range c.beam(ctx, start, most) {
		take(t, c.staggered(t))
	}
	return c.best(ctx, all)
}

// best are the plans with fewest segments, their planes slid to where they cost
// least, cheapest first.
func (c *cutter) best(ctx context.Context, all []*node) []*node {
	type priced struct {
		root  *node
		parts int
		cost  float64
	}
	price := func(t *node) priced { return priced{t, t.count(), math.Round(c.cost(t) * 1e9)} }
	order := func(a, b priced) int {
		return cmp.Or(cmp.Compare(a.parts, b.parts), cmp.Compare(a.cost, b.cost))
	}
	var plans []priced
	for _, t := range all {
		plans = append(plans, price(t))
	}
	slices.SortStableFunc(plans, order)
	const tried = 3 // plans that are worth sliding
	var out []priced
	for _, p := range plans {
		if len(out) == tried || len(out) > 0 && p.parts > out[0].parts {
			break
		}
		// The fitter's own word is asked of what is handed on.
		switch t := c.tighten(ctx, p.root, c.o.Planes/tried/2); {
		case c.proved(t):
			out = append(out, price(t))
		case c.proved(p.root):
			out = append(out, p)
		}
		if c.tilted && len(c.whole.pts) > manyCorners && len(out) > 0 {
			break // that takes long
		}
	}
	slices.SortStableFunc(out, order)
	var roots []*node
	for _, p := range out {
		if p.parts == out[0].parts {
			roots = append(roots, p.root)
		}
	}
	return roots
}

// proved reports whether the fitter takes every leaf of a tree.
func (c *cutter) proved(root *node) bool {
	var all []*node
	root.leaves(&all)
	return !slices.ContainsFunc(all, func(l *node) bool { return !c.prove(l.cell) })
}

// simple is the plan by grids, or part by part into boxes, which is quick and
// always there to fall back on.
func (c *cutter) simple(ctx context.Context, start *node) (*node, bool) {
	var all []*node
	start.leaves(&all)
	out := start
	for _, l := range all {
		t, ok := &node{cell: l.cell}, c.fit(l.cell)
		if !ok && len(c.whole.pts) <= manyFacets {
			t, ok = c.search(ctx, l.cell)
		}
		if !ok && (c.tilted || len(c.whole.pts) > manyFacets) {
			t, ok = c.boxes(ctx, l.cell)
		}
		if !ok {
			return nil, false
		}
		out = out.with(l, t)
	}
	return out, true
}

// findPeak is the greatest stress across any plane square to the body's axes.
func (c *cutter) findPeak() {
	if c.stress == nil {
		return
	}
	c.peak = 0
	const places = 16
	for _, a := range c.axes {
		r := span(c.whole.pts, a)
		for i := range places {
			s := c.look(c.whole, geom.Plane{Normal: a, D: r.lo + (r.hi-r.lo)*(float64(i)+0.5)/places})
			c.peak = max(c.peak, s.stress)
		}
	}
}

func (c *cutter) noPlan() {
	box := geom.EmptyBox3()
	for _, p := range c.whole.pts {
		box = box.Add(p)
	}
	s := box.Size()
	c.findings = append(c.findings, finding.Finding{
		Severity: finding.Stop, Stage: "seam", Code: "no-seams", Subject: c.body.ID,
		Message: fmt.Sprintf("No set of up to %d seams brings %s (%.0f x %.0f x %.0f mm over all) into the printer clear of its bores and veneer joints.",
			4*c.o.MaxSegments, c.body.ID, s.X, s.Y, s.Z),
		Remedy: "Use a printer with a larger volume; or move joints apart; or make the member as two members joined.",
		Source: "common practice, no source",
	})
}

// emit names the segments of a finished tree in order and makes its seams. short
// is how many of these lack room for their dowels.
func (c *cutter) emit(ctx context.Context, root *node, res *Result) (short int, err error) {
	var leaves []*node
	root.leaves(&leaves)
	if len(leaves) == 1 {
		l := leaves[0].cell
		if !c.prove(l) {
			return 0, fmt.Errorf("%s does not fit after the search said so", c.body.ID)
		}
		res.Segments = append(res.Segments, Segment{ID: c.body.ID, Body: c.index, Pose: l.est.pose, Fits: l.est.size})
		return 0, nil
	}
	name := map[*node]string{}
	for i, l := range leaves {
		id := c.body.ID + "." + letter(i)
		name[l] = id
		if !c.prove(l.cell) {
			return 0, fmt.Errorf("segment %s does not fit after the search said so", id)
		}
		res.Segments = append(res.Segments, Segment{ID: id, Body: c.index, Planes: l.cell.planes, Pose: l.cell.est.pose, Fits: l.cell.est.size})
	}
	var cuts []*node
	root.cuts(&cuts)
	var taken []joint.Bore
	seams := 0
	for _, n := range cuts {
		made, err := c.seamsAt(ctx, n, name, &seams, &taken, res)
		if err != nil {
			return 0, err
		}
		if t, ok := c.mirrored(n.plane, cuts); ok {
			for i := range made {
				made[i].Terms = append(slices.Clip(made[i].Terms), t)
			}
		}
		res.Seams = append(res.Seams, made...)
	}
	for _, f := range res.Findings {
		if f.Code == "few-dowels" {
			short++
		}
	}
	return short, nil
}

// letter is a, b, …, z, aa, ab, …
func letter(i int) string {
	if i < 26 {
		return string(rune('a' + i))
	}
	return letter(i/26-1) + string(rune('a'+i%26))
}
