// Package sheet lays patterns out for cutting: which blanks are cut from which
// sheets of veneer, where every pattern lies on its blank, what is left over,
// and the cut sheets that a laser follows.
//
// Nesting works with the grain along X. A blank then goes on the laser bed
// either as it is or turned a quarter, whichever way it was chosen to fit;
// everything in a Result is in the blank's coordinates as it lies on the bed,
// seen from the show face: only the drawings of a job that is cut face down are
// mirrored, in the end. So are reserved areas, pins and clashes.
package sheet

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/nest"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/veneer"
)

// Blank is a rectangle of veneer that goes on the laser bed.
type Blank struct {
	ID      string // "blank-01"
	Veneer  string
	Size    geom.Vec2 // as it lies on the bed, mm
	Grain   float64   // angle of the grain from the bed's X, radians: 0 or a quarter turn
	Sheet   int       // index into Result.Sheets
	At      geom.Vec2 // lower left corner on the sheet, in the sheet's coordinates (Y along the grain)
	Used    float64   // mm² of patterns on it
	ByKnife bool      // longer than the bed: cut by knife, with only its fingered end lasered
	Fixed   bool      // Sheet and At must be kept: the maker wants it so, its patterns keep clear of reserved areas there, or it was laid for that offcut
}

// Sheet is one sheet of veneer as bought, or an offcut that the shop had, and
// what is left of it.
type Sheet struct {
	ID      string // "walnut-1"
	Veneer  string
	Size    geom.Vec2 // Y along the grain
	Offcuts []geom.Box2
	Kept    string  // ID of the shop's offcut that it is, "" for a sheet to be bought
	Price   float64 // money
	Margin  float64 // cut off all round before it is cut up, mm
	Cuts    []Cut   // in the order in which they are made

	Reserved []Reserved // on it: the shop's of an offcut, and those of Options
}

// Cut is a cut from edge to edge of a sheet, or of what earlier cuts left of it.
type Cut struct {
	N      int       // from 1
	Of     string    // "" for all of the sheet; "2a": what lies before cut 2, "2b": beyond it
	On     geom.Box2 // where that lies on the sheet
	Along  bool      // it runs along the grain; else across
	Where  float64   // from the left edge of what is cut, or from the lower one if it runs across, mm
	Before Yield
	Beyond Yield
}

// Yield is what a cut leaves on one side.
type Yield struct {
	Name string // "2a"
	Is   string // ID of a blank; "offcut", "waste" or "nothing"; "" for what is cut again
}

// Placement says where a pattern lies: its own coordinates turned by Turn,
// then moved by At, are the blank's.
type Placement struct {
	Pattern int // index into the patterns
	Blank   int
	At      geom.Vec2
	Turn    float64
}

// Result is what the stage hands on.
type Result struct {
	Sheets     []Sheet
	Blanks     []Blank
	Placements []Placement // in order of the patterns
	Laser      string      // laser bed that the blanks were sized for
	Gap        float64     // between patterns, mm
	Border     float64     // of every blank that stays empty, mm
	Reserved   []Reserved  // as in Options
	Findings   []finding.Finding
	bound      float64
	figure     map[string]string // shop.Veneer.Figure by veneer
}

// Bound is the area of sheet, mm², that the patterns take at the least: their
// own, over the share of a sheet that is within its margins; if the shop has
// offcuts, which have none, their own alone.
func (r *Result) Bound() float64 { return r.bound }

// Options are the rules for laying out. The zero value of a field means its
// default.
type Options struct {
	Gap        float64 // between patterns beside the kerf, mm, default 2 (common practice, no source)
	Iterations int     // nesting budget, default 40: more tightens the demo side table's blanks by less than 1 %
	// Lines is the budget of what follows, in nest's lines: default 30,000, a
	// negative number none. Spent, if not nil, takes its place: see nest.Options.
	Lines      int
	Spent      func() float64
	Seed       int64
	Compensate bool // draw outlines half a kerf outside, so that parts come out true
	FaceDown   bool // cut with the face on the bed: mirrors the sheet
	// RoundUp is the step to which a blank's sides are rounded up when it is cut
	// to what it carries, mm, default 5.
	RoundUp float64

	// Reserved are areas of sheets on which no pattern lies, and Keep blanks whose
	// patterns stay where they are; what cannot be done of them is a finding. Marks
	// is the file that they stand in, for findings.
	Reserved []Reserved
	Keep     []Keep
	Marks    string
	// From is a layout to begin with that may be given up: what comes out is no
	// worse than it. It is for searching on from a layout that was kept whole.
	From []Keep

	Watch Watch `digest:"-"` // observes only
}

func (o Options) withDefaults() Options {
	if o.Gap == 0 {
		o.Gap = 2
	}
	if o.Iterations == 0 {
		o.Iterations = 40
	}
	if o.Lines == 0 {
		o.Lines = 30_000
	}
	if o.RoundUp == 0 {
		o.RoundUp = 5
	}
	return o
}

// kind of blank by how it lies on the bed.
type kind struct {
	name   string
	turned bool      // the grain runs along the bed's Y
	size   geom.Vec2 // with the grain along X
	cost   float64   // mm² of sheet that it spoils
}

// kinds are the blanks that suit both the bed and the sheet: grain along the
// bed's X, grain along its Y, and the strip that is left beside the first when
// two of them do not fit across a sheet.
func kinds(l shop.Laser, v shop.Veneer) []kind {
	across, along := v.Sheet.X-2*v.EdgeMargin, v.Sheet.Y-2*v.EdgeMargin
	fit := func(x, y float64) geom.Vec2 { return geom.V2(min(x, along), min(y, across)) }
	// A blank is charged the length of sheet that it takes, over the sheet's whole
	// width; the strip beside it is then to be had for little.
	const left = 0.2
	out := []kind{
		{"along", false, fit(l.Bed.X, l.Bed.Y), 0},
		{"across", true, fit(l.Bed.Y, l.Bed.X), 0},
	}
	for i, k := range out {
		beside := math.Floor(across/k.size.Y + 1e-9)
		out[i].cost = k.size.X * across / max(1, beside)
	}
	if rest := across - l.Bed.Y; rest >= 60 && rest < l.Bed.Y {
		out = append(out, kind{"strip", false, fit(l.Bed.X, rest), left * l.Bed.X * rest})
	}
	return out
}

// shares are blanks with the grain along the bed's X of which two or three lie
// side by side on a sheet, and leave no strip.
func shares(l shop.Laser, v shop.Veneer) []kind {
	across, along := v.Sheet.X-2*v.EdgeMargin, v.Sheet.Y-2*v.EdgeMargin
	var out []kind
	for i, name := range []string{"half", "third"} {
		n := float64(i + 2)
		y := (across - (n-1)*v.BlankKerf) / n
		k := kind{name, false, geom.V2(min(l.Bed.X, along), min(l.Bed.Y, math.Floor(y/micron)*micron)), 0}
		k.cost = k.size.X * across / n
		out = append(out, k)
	}
	return out
}

// Plan cuts blanks from sheets and lays every pattern on one. With Options.Spent
// it first makes the layout that it makes without, and then looks for better
// ones until the time is over: it never ends with a worse one, however early
// that is.
func Plan(ctx context.Context, k *solid.Kernel, patterns []veneer.Pattern, s *shop.Shop, o Options) (*Result, error) {
	o = o.withDefaults()
	if len(s.Lasers) == 0 {
		return nil, fmt.Errorf("sheet: the shop has no laser bed")
	}
	laser := s.Lasers[0]
	res := &Result{Laser: laser.ID, Gap: o.Gap + laser.Kerf, Border: laser.Margin, Reserved: slices.Clone(o.Reserved), figure: map[string]string{}}
	places := make([]Placement, len(patterns))
	for i := range places {
		places[i] = Placement{Pattern: i, Blank: -1}
	}
	lots, err := lotsOf(patterns, s, o)
	if err != nil {
		return nil, err
	}
	for _, l := range lots {
		res.figure[l.v.ID] = l.v.Figure
	}
	res.Findings = arrange(lots, patterns, o)
	best := make([]*outcome, len(lots))
	tell := func() { // of all veneers together
		if o.Watch.Better == nil {
			return
		}
		var b Better
		var blanks float64
		for i, l := range lots {
			used, area, consumed := best[i].figures(patterns, l.v)
			b.Density, blanks = b.Density+used, blanks+area
			b.Consumed, b.Blanks = b.Consumed+consumed, b.Blanks+len(best[i].plans)
		}
		if blanks > 0 {
			b.Density /= blanks
		}
		o.Watch.Better(b)
	}
	for i, l := range lots {
		if best[i], err = l.lay(ctx); err != nil {
			return nil, fmt.Errorf("sheet: %s: %w", l.v.ID, err)
		}
	}
	if len(o.From) > 0 {
		from := o
		from.Keep = slices.Concat(o.Keep, o.From)
		others, err := lotsOf(patterns, s, from)
		if err != nil {
			return nil, err
		}
		arrange(others, patterns, from) // what is no longer so of it matters to nobody
		for i, l := range others {
			r, err := l.lay(ctx)
			if err != nil {
				return nil, fmt.Errorf("sheet: %s: %w", l.v.ID, err)
			}
			if !best[i].before(r) {
				best[i] = r
			}
		}
	}
	tell()
	for i, l := range lots {
		if o.Spent == nil {
			break
		}
		spent := nest.Within(o.Spent, float64(i)/float64(len(lots)), float64(i+1)/float64(len(lots)))
		err := l.search(ctx, spent, func(r *outcome) {
			if r != nil && r.before(best[i]) {
				best[i] = r
				tell()
			}
		})
		if err != nil {
			return nil, fmt.Errorf("sheet: %s: %w", l.v.ID, err)
		}
	}
	for i, l := range lots {
		v := l.v
		for _, u := range best[i].out {
			i := slices.IndexFunc(patterns, func(p veneer.Pattern) bool { return p.ID == u.Item })
			res.Findings = append(res.Findings, unfitting(u, patterns[i], laser, v))
		}
		best[i].emit(patterns, v, o, res, places)
		usable := (1 - 2*v.EdgeMargin/v.Sheet.X) * (1 - 2*v.EdgeMargin/v.Sheet.Y)
		if len(v.Offcuts) > 0 {
			usable = 1
		}
		for k, p := range patterns {
			if p.Veneer == v.ID && places[k].Blank >= 0 {
				res.bound += p.GrossArea / usable
			}
		}
	}
	res.Placements = places
	res.Findings = append(res.Findings, parted(patterns, res)...)
	res.Findings = append(res.Findings, unused(lots, res, o)...)
	res.Findings = finding.Sorted(res.Findings)
	return res, nil
}

// lotsOf are the patterns by veneer, with nothing pinned yet.
func lotsOf(patterns []veneer.Pattern, s *shop.Shop, o Options) (lots []*lot, err error) {
	laser := s.Lasers[0]
	for _, id := range veneersOf(patterns) {
		v, ok := s.Veneer(id)
		if !ok {
			return nil, fmt.Errorf("sheet: the shop has no veneer %q", id)
		}
		l := &lot{patterns: patterns, v: v, laser: laser, o: o, gap: o.Gap + laser.Kerf, pinned: map[int]bool{}, stock: aside(v, o)}
		l.marked = slices.ContainsFunc(l.stock, func(s numbered) bool { return s.known && len(s.Reserved) > 0 })
		lots = append(lots, l)
	}
	return lots, nil
}

func veneersOf(patterns []veneer.Pattern) []string {
	var out []string
	for _, p := range patterns {
		out = append(out, p.Veneer)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// aligned is a pattern's gross outline turned so that its grain runs along X.
func aligned(p veneer.Pattern) geom.Polygons {
	return p.Gross.Map(func(q geom.Vec2) geom.Vec2 { return q.Rotate(-p.Grain) })
}

// turns are the rotations that the grain allows.
func turns(v shop.Veneer) []float64 {
	if v.Figure == "directional" {
		return []float64{0}
	}
	return []float64{0, math.Pi}
}

// outcome is a layout of a lot, cut from sheets.
type outcome struct {
	*cutting
	out    []nest.Unplaced // what has no place, or only on a strip of its own
	rows   int
	outlay int     // in sheets, if the shop has offcuts
	spoils float64 // mm² of new sheet
}

// before reports whether a layout is better: less is left out, more matched sets
// are whole, fewer sheets are bought beside the marked ones, fewer at all if the
// shop has offcuts, less veneer is spoilt: new veneer a hundred times before that
// of offcuts.
func (r *outcome) before(q *outcome) bool {
	return q == nil || cmp.Or(cmp.Compare(len(r.out), len(q.out)), cmp.Compare(r.rows, q.rows), cmp.Compare(r.last, q.last), cmp.Compare(r.outlay, q.outlay), cmp.Compare(r.spoils, q.spoils-1e-6)) < 0
}

// lay lays out the patterns of one veneer. Which blanks they are best laid on,
// and whether tight blanks make for whole offcuts, shows only once the sheets are
// cut: several layouts are made, on blanks that are charged the length of sheet
// that they take and on others, on the shop's offcuts if it has any, and the one
// that spoils least veneer is kept, matched sets whole before that.
func (l *lot) lay(ctx context.Context) (*outcome, error) {
	tries := l.tries()
	results := make([]*outcome, len(tries))
	errs := make([]error, len(tries))
	var wait sync.WaitGroup
	for n := range tries {
		wait.Go(func() {
			results[n], errs[n] = tries[n].make(ctx, nest.Options{
				Gap: l.gap, Seed: l.o.Seed, Iterations: l.o.Iterations, Lines: tries[n].lines(),
			}, nil)
		})
	}
	wait.Wait()
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	var best *outcome
	for _, r := range results {
		if r != nil && r.before(best) {
			best = r
		}
	}
	return best, nil
}

// search looks for layouts until the time is over, one choice of blanks after
// the other, and hands on what it comes upon.
func (l *lot) search(ctx context.Context, spent func() float64, found func(*outcome)) error {
	tries := l.tries()
	for n := range tries {
		share := func(n int) float64 { return float64(n) / float64(len(tries)) }
		if spent() >= share(n+1) {
			continue
		}
		r, err := tries[n].make(ctx, nest.Options{
			Gap: l.gap, Seed: l.o.Seed, Iterations: l.o.Iterations, Spent: nest.Within(spent, share(n), share(n+1)),
		}, found)
		if err != nil {
			return err
		}
		found(r)
	}
	return nil
}

// try is a choice of what patterns are laid on: kinds of blanks of new sheets,
// and parts of offcuts.
type try struct {
	*lot
	kinds []kind
	cells []cell
}

// lines is the try's share of the budget of lines. Those on parts of offcuts have
// half as much as any of the others: more gained nothing on the four pieces.
func (l try) lines() int {
	n := l.choices()
	if len(l.cells) > 0 {
		n *= 2
	}
	return max(0, l.o.Lines/n)
}

// choices is how many tries there are without those on parts of offcuts: as
// many share a budget, so that offcuts do not make them worse.
func (l *lot) choices() int {
	if l.settled() {
		return 1
	}
	return 4
}

// tries are the choices that are laid out; one when all is pinned.
func (l *lot) tries() []try {
	ks := kinds(l.laser, l.v)
	narrow := shares(l.laser, l.v)
	all := slices.Concat(ks, narrow)
	plain := slices.Clone(all) // charged their own area
	for i := range plain {
		plain[i].cost = plain[i].size.X * plain[i].size.Y
	}
	tries := []try{{lot: l, kinds: ks}, {lot: l, kinds: []kind{ks[1], narrow[0]}}, {lot: l, kinds: all}, {lot: l, kinds: plain}}[:l.choices()]
	apart, ways := l.onOffcuts()
	for i, cells := range ways {
		tries = append(tries, try{apart, [][]kind{all, plain}[i], cells})
	}
	return tries
}

// settled reports whether every pattern is pinned.
func (l *lot) settled() bool {
	for i, p := range l.patterns {
		if p.Veneer == l.v.ID && !l.pinned[i] {
			return false
		}
	}
	return true
}

// make makes the layout; it is nil if there is none. on, if not nil, is also told
// what comes of layouts on the way.
func (l try) make(ctx context.Context, o nest.Options, on func(*outcome)) (*outcome, error) {
	var failed error
	var tell func([]*blankPlan, []nest.Unplaced)
	if on != nil {
		tell = func(plans []*blankPlan, out []nest.Unplaced) {
			r, err := l.cut(ctx, plans, out)
			if err != nil {
				failed = err
				return
			}
			on(r)
		}
	}
	plans, out, err := l.layOut(ctx, o, tell)
	if err = cmp.Or(err, failed); err != nil {
		return nil, err
	}
	return l.cut(ctx, plans, out)
}

// cut is the best way found to cut blanks from the sheets. Those on parts of
// offcuts are cut from there, or from wherever they can be. If several sheets are
// to be bought, it is also tried without offcuts: that there are some does not
// make for more sheets.
func (l try) cut(ctx context.Context, plans []*blankPlan, out []nest.Unplaced) (best *outcome, err error) {
	from := func(l *lot, plans []*blankPlan) error {
		take := func(c *cutting, err error) error {
			if c == nil || err != nil {
				return err
			}
			r := &outcome{c, slices.Concat(out, c.left(l.patterns)), rows(c.plans, l.patterns), c.outlay(l), c.Cost - c.Value}
			if r.before(best) {
				best = r
			}
			return nil
		}
		if err := take(l.cutSheets(ctx, plans, l.stock)); err != nil {
			return err
		}
		return take(l.over(ctx, plans))
	}
	switch {
	case len(l.cells) == 0:
		if err = from(l.lot, plans); err == nil && best.outlay > 1 {
			err = from(l.withoutOffcuts(), plans)
		}
	default:
		if l.cuttable(plans) { // else something of the marks is in the way
			err = from(l.lot, plans)
		}
		if loose := l.loosened(plans); err == nil && loose != nil && l.cuttable(loose) {
			err = from(l.lot, loose)
		}
	}
	return best, err
}

// layOut lays the patterns of one veneer on blanks of some kinds, largest blank
// first, and on those of the marks. What fits none of them but can be cut in
// several set-ups has a blank of its own; out is all that fits none. on, if not
// nil, is told the layouts that separation comes upon.
func (l try) layOut(ctx context.Context, no nest.Options, on func([]*blankPlan, []nest.Unplaced)) (plans []*blankPlan, out []nest.Unplaced, err error) {
	patterns, v, laser := l.patterns, l.v, l.laser
	var bins []nest.Bin
	for _, kd := range l.kinds {
		bins = append(bins, nest.Bin{ID: kd.name, Size: kd.size, Quantity: nest.Unlimited, Margin: laser.Margin, Cost: kd.cost})
	}
	for i, c := range l.cells {
		bins = append(bins, c.bin(cellID(i), laser.Margin))
	}
	var items []nest.Item
	index := map[string]int{}
	var own []*blankPlan // blanks being made, grain along X
	for i, p := range patterns {
		if p.Veneer != v.ID || l.pinned[i] {
			continue
		}
		shape := aligned(p)
		if p.KnifeCut {
			own = append(own, knifeBlank(i, shape, laser))
			continue
		}
		pr := 0
		if p.ShowFirst {
			pr = 1
		}
		items = append(items, nest.Item{ID: p.ID, Shape: shape, Turns: turns(v), Priority: pr})
		index[p.ID] = i
	}
	items = matched(items, patterns, index, bins, no.Gap)
	for i, k := range l.keeps {
		if k.rest {
			// What is pinned is an obstacle, not a pin: it lies where the maker has laid
			// it, which may be some micrometres short of the gap. The blank is filled before
			// others.
			b := nest.Bin{ID: keepID(i), Size: k.size, Margin: laser.Margin, Reserved: slices.Clone(k.reserved), Open: true}
			for _, p := range k.laid {
				b.Reserved = append(b.Reserved, p.Outline())
			}
			bins = append(bins, b)
		}
	}
	made := func(l2 *nest.Layout) ([]*blankPlan, []nest.Unplaced, error) {
		if vs := nest.Verify(items, bins, l2, no.Gap); len(vs) > 0 {
			return nil, nil, fmt.Errorf("a layout does not hold: %v", vs[0])
		}
		return l.blanks(index, own, l2)
	}
	if on != nil {
		no.Better = func(l2 *nest.Layout) {
			if p, out, err := made(l2); err == nil { // what does not hold is not told; the last one is an error
				on(p, out)
			}
		}
	}
	l2, err := nest.Pack(ctx, items, bins, no)
	if err != nil {
		return nil, nil, err
	}
	return made(l2)
}

// keepID names the bin of a blank of the marks, cellID that of a part of an offcut.
func keepID(i int) string { return fmt.Sprintf("kept %d", i) }
func cellID(i int) string { return fmt.Sprintf("cell %d", i) }

// blanks are the blanks of a layout, own among them, and those of the marks.
func (l try) blanks(index map[string]int, own []*blankPlan, made *nest.Layout) (plans []*blankPlan, out []nest.Unplaced, err error) {
	patterns, laser := l.patterns, l.laser
	out = slices.Clone(made.Unplaced)
	own = slices.Clone(own)
	for _, u := range made.Unplaced {
		i := index[u.Item]
		if _, ok := setUps(aligned(patterns[i]).Bounds().Size(), laser, l.v); ok {
			own = append(own, knifeBlank(i, aligned(patterns[i]), laser))
		}
	}
	keeps := make([]*blankPlan, len(l.keeps))
	for i, k := range l.keeps {
		b := k.blankPlan
		b.items = slices.Clone(b.items)
		keeps[i] = &b
		for _, it := range b.items { // still too long for the bed
			p := patterns[it.pattern]
			if _, ok := setUps(aligned(p).Bounds().Size(), laser, l.v); ok && !p.KnifeCut {
				out = append(out, nest.Unplaced{Item: p.ID, Count: 1, Reason: nest.TooLarge})
			}
		}
	}
	var on []*blankPlan // of the layout's bins
	for _, b := range made.Bins {
		if n := slices.IndexFunc(l.kinds, func(kd kind) bool { return kd.name == b.ID }); n >= 0 {
			p := &blankPlan{kind: l.kinds[n], size: l.kinds[n].size}
			plans, on = append(plans, p), append(on, p)
			continue
		}
		for i := range keeps {
			if keepID(i) == b.ID {
				on = append(on, keeps[i])
			}
		}
		for i, c := range l.cells {
			if cellID(i) == b.ID {
				p := &blankPlan{kind: c.kind, size: c.size, cell: &l.cells[i]}
				plans, on = append(plans, p), append(on, p)
			}
		}
	}
	for _, p := range made.Placements {
		b := on[p.Bin]
		b.items = append(b.items, placed{pattern: index[p.Item], at: p.At, turn: p.Turn})
	}
	for _, b := range plans {
		if b.cell != nil {
			b.trimOn(b.cell, l.lot)
		} else {
			b.trim(patterns, laser.Margin, l.o.RoundUp)
		}
	}
	var kept []*blankPlan
	for _, b := range keeps {
		slices.SortFunc(b.items, func(p, q placed) int { return cmp.Compare(p.pattern, q.pattern) })
		if len(b.items) > 0 {
			kept = append(kept, b)
		}
	}
	plans = slices.Concat(kept, plans, own)
	slices.SortStableFunc(plans, func(a, b *blankPlan) int {
		return cmp.Or(-cmp.Compare(a.size.X, b.size.X), -cmp.Compare(a.size.Y, b.size.Y))
	})
	return plans, out, nil
}

// unfitting says what becomes of a pattern that fits no blank.
func unfitting(u nest.Unplaced, p veneer.Pattern, laser shop.Laser, v shop.Veneer) finding.Finding {
	along := aligned(p).Bounds().Size()
	if n, ok := setUps(along, laser, v); ok {
		return finding.Finding{
			Severity: finding.Warning, Stage: "sheet", Code: "longer-than-bed", Subject: u.Item,
			Message: fmt.Sprintf("The pattern %s is %.0f mm long along the grain, longer than the laser bed (%.0f mm).", u.Item, along.X, laser.Bed.X),
			Remedy:  fmt.Sprintf("Rip a strip for it and cut it in %d set-ups, sliding the strip along a fence from one registration cross to the next; or cut it by knife over the printed pattern, oversize, and trim it after laying.", n),
			Source:  "common practice, no source",
		}
	}
	size := p.Gross.Bounds().Size()
	return finding.Finding{
		Severity: finding.Stop, Stage: "sheet", Code: "leaf-larger-than-blank", Subject: u.Item,
		Message: fmt.Sprintf("The pattern %s (%.0f x %.0f mm with its allowance) does not fit any blank of %s: %s.", u.Item, size.X, size.Y, v.ID, u.Detail),
		Remedy:  "Turn its grain; or let the surface be laid in several leaves; or use a larger laser bed or sheet.",
		Source:  "geometry",
	}
}

// setUps is in how many set-ups a pattern longer than the bed, but not wider,
// can be lasered from a strip of the sheet; false if it cannot.
func setUps(size geom.Vec2, l shop.Laser, v shop.Veneer) (n int, ok bool) {
	room := geom.V2(l.Bed.X-2*l.Margin, l.Bed.Y-2*l.Margin)
	across, along := v.Sheet.X-2*v.EdgeMargin, v.Sheet.Y-2*v.EdgeMargin
	if size.X <= room.X || size.Y > room.Y || size.X+2*l.Margin > along || size.Y+2*l.Margin > across {
		return 0, false
	}
	return int(math.Ceil(size.X / room.X)), true
}

type placed struct {
	pattern int
	at      geom.Vec2
	turn    float64    // after the grain was brought along X
	told    *geom.Vec2 // where it is pinned, as it lies on the bed: to the last digit
}

// blankPlan is a blank while it is worked out, with the grain along X.
type blankPlan struct {
	kind  kind
	size  geom.Vec2
	items []placed
	knife bool
	given bool   // of the marks: not trimmed
	fixed *place // where it is cut from; nil for wherever it is best
	cell  *cell  // that it is a part of; nil if it is of no offcut in particular
}

// knifeBlank is a strip for one pattern that is longer than the bed.
func knifeBlank(i int, shape geom.Polygons, laser shop.Laser) *blankPlan {
	b := shape.Bounds()
	m := geom.V2(laser.Margin, laser.Margin)
	return &blankPlan{
		kind: kind{name: "knife"}, size: b.Size().Add(m.Scale(2)), knife: true,
		items: []placed{{pattern: i, at: m.Sub(b.Min)}},
	}
}

// trim cuts a blank down to what it carries, since what is not cut off stays
// on the sheet.
func (b *blankPlan) trim(patterns []veneer.Pattern, margin, step float64) {
	box := geom.EmptyBox2()
	for _, it := range b.items {
		box = box.Union(b.outline(patterns, it).Bounds())
	}
	up := func(x, most float64) float64 { return min(most, math.Ceil(x/step)*step) }
	shift := geom.V2(margin, margin).Sub(box.Min)
	for i := range b.items {
		b.items[i].at = b.items[i].at.Add(shift)
	}
	size := box.Size().Add(geom.V2(2*margin, 2*margin))
	b.size = geom.V2(up(size.X, b.size.X), up(size.Y, b.size.Y))
}

func (b *blankPlan) outline(patterns []veneer.Pattern, it placed) geom.Polygons {
	return aligned(patterns[it.pattern]).Map(func(q geom.Vec2) geom.Vec2 { return q.Rotate(it.turn).Add(it.at) })
}

// emit adds the blank to the result in the coordinates in which it lies on
// the bed.
func (b *blankPlan) emit(patterns []veneer.Pattern, v shop.Veneer, sheet int, corner geom.Vec2, res *Result, places []Placement) {
	n := len(res.Blanks)
	out := Blank{
		ID: fmt.Sprintf("blank-%02d", n+1), Veneer: v.ID, Size: b.size, Sheet: sheet, At: corner, ByKnife: b.knife, Fixed: b.fixed != nil,
	}
	if b.kind.turned {
		out.Size, out.Grain = geom.V2(b.size.Y, b.size.X), math.Pi/2
	}
	for _, it := range b.items {
		p := patterns[it.pattern]
		turn, at := it.turn-p.Grain, it.at
		if b.kind.turned { // a quarter turn counter-clockwise about the blank's corner
			turn += math.Pi / 2
			at = geom.V2(b.size.Y-at.Y, at.X)
		}
		if it.told != nil {
			at = *it.told
		}
		places[it.pattern] = Placement{Pattern: it.pattern, Blank: n, At: at, Turn: math.Remainder(turn, 2*math.Pi)}
		out.Used += p.GrossArea
	}
	res.Blanks = append(res.Blanks, out)
}

// Outline is a placed pattern's gross outline in its blank's coordinates.
func (r *Result) Outline(patterns []veneer.Pattern, p Placement) geom.Polygons {
	return patterns[p.Pattern].Gross.Map(p.Point)
}

// Point carries a point from the pattern's coordinates to the blank's.
func (p Placement) Point(q geom.Vec2) geom.Vec2 { return q.Rotate(p.Turn).Add(p.At) }

// Areas are that of the sheets, and of offcuts of the shop's that are cut up,
// that of the patterns on them, and that of the offcuts worth keeping, mm².
func (r *Result) Areas() (bought, used, returned float64) {
	for _, s := range r.Sheets {
		bought += s.Size.X * s.Size.Y
		for _, o := range s.Offcuts {
			returned += o.Size().X * o.Size().Y
		}
	}
	for _, b := range r.Blanks {
		used += b.Used
	}
	return bought, used, returned
}
