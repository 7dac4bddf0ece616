package nest

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// This file removes overlap from a layout whose parts lie anywhere: the parts
// that overlap are moved, one after another, to where they overlap least, and
// overlaps that persist are charged more and more until they give way (guided
// local search: Voudouris and Tsang 1999; for nesting: Egeblad, Nielsen and
// Odgaard 2007, Umetani et al. 2009).
//
// How deep two parts overlap is the least way, up, down, left or right, by
// which one must be moved to be clear of the other. For a part on a given
// upright line, every other part bars an open interval of heights, with a
// closed form (blocked), so that the charge along the line is a sum of tents
// and the best height on it is found exactly, at the cost of about one test of
// overlap. The same holds along level lines. A move is a handful of such lines.

// spot is where a part lies: in which tray, at which turn, its lower left
// corner at (x, y).
type spot struct {
	tray, form int
	x, y       float64
}

// pen is a tray that parts are kept in: a bin, or the strip as long as it is
// at the moment.
type pen struct {
	w, h  float64 // µm
	swap  int
	fixed []placed // reserved areas
}

// crowd is a layout under separation. It holds scratch memory and belongs to
// one goroutine.
type crowd struct {
	p     *problem
	pens  []pen
	at    []spot  // by part
	forms []*form // by part: of its spot

	n      int
	depth  []float64 // n x n: how deep two parts overlap, 0 for not at all
	weight []float64 // n x n, from 1
	barred []float64 // by part: how deep it lies in reserved areas
	extra  []float64 // by part: weight of that
	total  float64   // Σ depth, each pair once, and barred

	rng    *rand.Rand
	work   int // lines looked along
	spans  []span
	events []event
	order  []int
	best   []candidate
}

// event is a place on a line where the charge changes: by a step, and in slope.
type event struct{ at, step, slope float64 }

// candidate is a spot and what lying there is charged.
type candidate struct {
	spot
	charge float64
}

// after is the order of events on a line: what ends somewhere does so before
// what begins there, since intervals are open.
func (e event) after(o event) bool { return e.at > o.at || e.at == o.at && e.step > o.step }

func newCrowd(p *problem, pens []pen, at []spot) *crowd {
	n := len(at)
	c := &crowd{
		p: p, pens: slices.Clone(pens), at: slices.Clone(at), forms: make([]*form, n), n: n,
		depth: make([]float64, n*n), weight: make([]float64, n*n),
		barred: make([]float64, n), extra: make([]float64, n),
	}
	return c
}

// start measures the layout afresh, with all weights 1.
func (c *crowd) start() {
	for i := range c.weight {
		c.weight[i] = 1
	}
	for i := range c.extra {
		c.extra[i] = 1
	}
	c.measure()
}

// measure fills in the depths of all pairs.
func (c *crowd) measure() {
	for i, s := range c.at {
		c.forms[i] = c.form(i, s)
	}
	c.total = 0
	for i := range c.n {
		c.barred[i] = c.bar(i, c.at[i], c.forms[i])
		c.total += c.barred[i]
		for j := range i {
			d := c.between(c.forms[i], c.at[i], c.forms[j], c.at[j])
			c.depth[i*c.n+j], c.depth[j*c.n+i] = d, d
			c.total += d
		}
	}
}

func (c *crowd) form(part int, s spot) *form {
	return c.p.shapes[c.p.parts[part].shape].forms[c.pens[s.tray].swap][s.form]
}

// between is how deep two placed forms overlap.
func (c *crowd) between(f *form, a spot, g *form, b spot) float64 {
	if a.tray != b.tray {
		return 0
	}
	return c.overlap(f, a.x, a.y, g, b.x, b.y)
}

// overlap is the least way clear, times the mean side of the two forms: that
// of large parts is dearer, so that they find their places first and small
// ones fill what is left (Gardeyn et al. 2025 weigh theirs so; over not doing
// it, 1.1 points of density on nine instances after 4 s).
func (c *crowd) overlap(f *form, x, y float64, g *form, gx, gy float64) float64 {
	r := f.grow + g.grow
	if x+f.w+r <= gx || gx+g.w+r <= x || y+f.h+r <= gy || gy+g.h+r <= y {
		return 0
	}
	up := c.inside(f.cols, g.cols, x-gx, y-gy)
	if up == 0 {
		return 0
	}
	across := c.inside(f.rows, g.rows, y-gy, x-gx)
	if across == 0 { // rounding: the two measures disagree about touching
		return 0
	}
	return (c.floor(f, g) + min(up, across)) * f.heft * g.heft
}

// How much an overlap is charged however shallow it is, as a share of the two
// forms' lesser sides: without it many shallow overlaps are as good as none, and
// the search ends in them. Of 0, 1, 2, 4 and 10 % this did best.
const floorShare = 0.02

// floor is that charge, µm.
func (c *crowd) floor(f, g *form) float64 {
	return floorShare * (min(f.w, f.h) + min(g.w, g.h))
}

// inside is how far the offset v lies within the intervals that bar it.
func (c *crowd) inside(a, b []trap, du, v float64) float64 {
	c.spans = joined(blocked(a, b, du, c.spans[:0]))
	for _, s := range c.spans {
		if s.lo < v && v < s.hi {
			return min(v-s.lo, s.hi-v)
		}
	}
	return 0
}

// joined are open intervals as the whole micrometres between them see them:
// widened to whole numbers, in order, and joined where they overlap.
func joined(s []span) []span {
	few := len(s) <= 24
	for i := range s {
		s[i].lo, s[i].hi = math.Floor(s[i].lo+hair), math.Ceil(s[i].hi-hair)
		for j := i; few && j > 0 && s[j-1].lo > s[j].lo; j-- {
			s[j-1], s[j] = s[j], s[j-1]
		}
	}
	if !few {
		slices.SortFunc(s, func(a, b span) int { return cmp.Compare(a.lo, b.lo) })
	}
	n := 0
	for _, x := range s {
		switch {
		case x.hi <= x.lo:
		case n > 0 && x.lo < s[n-1].hi:
			s[n-1].hi = max(s[n-1].hi, x.hi)
		default:
			s[n] = x
			n++
		}
	}
	return s[:n]
}

// bar is how deep a part lies in the reserved areas of its tray.
func (c *crowd) bar(part int, s spot, f *form) float64 {
	var sum float64
	for _, q := range c.pens[s.tray].fixed {
		sum += c.overlap(f, s.x, s.y, q.form, q.x, q.y)
	}
	return sum
}

// charged is what part i would be charged at a spot; it stops counting beyond
// limit.
func (c *crowd) charged(i int, s spot, f *form, limit float64) float64 {
	w := c.weight[i*c.n : (i+1)*c.n]
	var sum float64
	for j := range c.n {
		if j == i || c.at[j].tray != s.tray {
			continue
		}
		o := &c.at[j]
		g := c.forms[j]
		r := f.grow + g.grow
		if s.x+f.w+r <= o.x || o.x+g.w+r <= s.x || s.y+f.h+r <= o.y || o.y+g.h+r <= s.y {
			continue
		}
		if d := c.overlap(f, s.x, s.y, g, o.x, o.y); d > 0 {
			if sum += w[j] * d; sum >= limit {
				return sum
			}
		}
	}
	if len(c.pens[s.tray].fixed) > 0 {
		sum += c.extra[i] * c.bar(i, s, f)
	}
	return sum
}

// tents adds the intervals in c.spans, moved by off and charged w a micrometre,
// to the events.
func (c *crowd) tents(off, w, base, hi float64) {
	for _, s := range c.spans {
		a, b := s.lo+off, s.hi+off
		if b <= 0 || a >= hi {
			continue
		}
		s := w * base
		c.events = append(c.events, event{a, s, w}, event{(a + b) / 2, 0, -2 * w}, event{b, -s, w})
	}
}

// line looks along the upright line on which the corner of form f of part i has
// the abscissa at, or along the level line on which it has that ordinate, and
// offers the best place on it.
func (c *crowd) line(i, tray int, f *form, upright bool, at float64) (place, charge float64) {
	c.work++
	c.events = c.events[:0]
	p := &c.pens[tray]
	w := c.weight[i*c.n : (i+1)*c.n]
	traps, lo, hi, end := f.rows, at-f.grow, at+f.h+f.grow, p.w-f.w
	if upright {
		traps, hi, end = f.cols, at+f.w+f.grow, p.h-f.h
	}
	meet := func(g *form, x, y, weight float64) {
		across, size, along, other := y, g.h, x, g.rows
		if upright {
			across, size, along, other = x, g.w, y, g.cols
		}
		if across-g.grow >= hi || across+size+g.grow <= lo {
			return
		}
		c.spans = joined(blocked(traps, other, at-across, c.spans[:0]))
		c.tents(along, weight*f.heft*g.heft, c.floor(f, g), end)
	}
	for j := range c.n {
		if o := &c.at[j]; j != i && o.tray == tray {
			meet(c.forms[j], o.x, o.y, w[j])
		}
	}
	for k := range p.fixed {
		q := &p.fixed[k]
		meet(q.form, q.x, q.y, c.extra[i])
	}
	return c.lowpoint(end)
}

// lowpoint is the place between 0 and end where the charge given by the
// events is least; of equal ones, one at random. Minima lie where an interval
// ends, or at the ends of the line.
func (c *crowd) lowpoint(end float64) (at, charge float64) {
	ev := c.events
	if len(ev) == 0 {
		return math.Round(c.rng.Float64() * end), 0
	}
	if len(ev) <= 60 {
		for i := 1; i < len(ev); i++ {
			e := ev[i]
			j := i
			for ; j > 0 && ev[j-1].after(e); j-- {
				ev[j] = ev[j-1]
			}
			ev[j] = e
		}
	} else {
		slices.SortFunc(ev, func(a, b event) int {
			switch {
			case b.after(a):
				return -1
			case a.after(b):
				return 1
			}
			return 0
		})
	}
	// What rounding leaves of steps and slopes; every overlap is charged more.
	const nothing = 1e-4
	best, where, ties := math.Inf(1), 0.0, 0
	offer := func(x, v float64) {
		if v < nothing {
			v = 0
		}
		switch {
		case v < best-1e-9:
			best, where, ties = v, x, 1
		case v <= best+1e-9:
			if ties++; c.rng.IntN(ties) == 0 {
				where = x
			}
		}
	}
	// The charge is the sum of the steps so far, and of the slopes, each times
	// the way since.
	v, slope, last := 0.0, 0.0, ev[0].at
	from := false // 0 has been offered
	for _, e := range ev {
		if !from && e.at >= 0 {
			from = true
			if e.at > 0 {
				offer(0, max(0, v-slope*last))
			}
		}
		if e.at > end {
			break
		}
		v += slope * (e.at - last)
		last = e.at
		slope += e.slope
		switch {
		case e.step < 0:
			v += e.step
			if math.Abs(v) < nothing {
				v = 0
			}
			if e.at >= 0 {
				offer(e.at, v)
			}
		case e.step > 0:
			if e.at >= 0 {
				offer(e.at, v)
			}
			v += e.step
		}
	}
	if !from {
		offer(0, max(0, v-slope*last))
	}
	offer(end, max(0, v+slope*(end-last)))
	return where, best
}

// tries are the lines of a move and how many spots are then looked at closely.
const (
	linesFar  = 3 // anywhere
	linesNear = 3 // close to where the part lies
	closely   = 3
)

// move puts part i where it is charged least, of the spots that some lines
// offer, and reports whether that is elsewhere.
func (c *crowd) move(i int) bool {
	sh := &c.p.shapes[c.p.parts[i].shape]
	now := c.at[i]
	before := c.charged(i, now, c.forms[i], math.Inf(1))
	c.best = c.best[:0]
	look := func(tray, form int, upright bool, at float64) {
		f := sh.forms[c.pens[tray].swap][form]
		p := &c.pens[tray]
		if f.w > p.w || f.h > p.h {
			return
		}
		s := spot{tray: tray, form: form}
		var charge float64
		if upright {
			s.x = math.Round(max(0, min(p.w-f.w, at)))
			s.y, charge = c.line(i, tray, f, true, s.x)
		} else {
			s.y = math.Round(max(0, min(p.h-f.h, at)))
			s.x, charge = c.line(i, tray, f, false, s.y)
		}
		c.keep(candidate{s, charge})
	}
	// Along the lines it lies on, and close to them.
	look(now.tray, now.form, true, now.x)
	look(now.tray, now.form, false, now.y)
	f := c.forms[i]
	for k := range linesNear {
		if k%2 == 0 {
			look(now.tray, now.form, true, now.x+c.rng.NormFloat64()*f.w/4)
		} else {
			look(now.tray, now.form, false, now.y+c.rng.NormFloat64()*f.h/4)
		}
	}
	for k := range linesFar {
		tray := 0
		if len(c.pens) > 1 {
			tray = c.rng.IntN(len(c.pens))
		}
		p := &c.pens[tray]
		form := c.rng.IntN(len(sh.forms[p.swap]))
		f := sh.forms[p.swap][form]
		if k%2 == 0 {
			look(tray, form, true, c.rng.Float64()*(p.w-f.w))
		} else {
			look(tray, form, false, c.rng.Float64()*(p.h-f.h))
		}
	}
	best := candidate{now, before}
	for _, q := range c.best {
		if r := c.settled(i, q); r.charge < best.charge {
			best = r
		}
	}
	if best.spot == now {
		return false
	}
	c.put(i, best.spot)
	return true
}

// keep remembers the spots that are charged least by their lines.
func (c *crowd) keep(q candidate) {
	n := len(c.best)
	for _, o := range c.best {
		if o.spot == q.spot {
			return
		}
	}
	if n < closely {
		c.best = append(c.best, q)
	} else if q.charge >= c.best[n-1].charge {
		return
	} else {
		c.best[n-1] = q
	}
	for j := len(c.best) - 1; j > 0 && c.best[j-1].charge > c.best[j].charge; j-- {
		c.best[j-1], c.best[j] = c.best[j], c.best[j-1]
	}
}

// settled goes from a spot along upright and level lines in turn as long as
// the charge falls, and returns where that ends with what is charged there in
// truth: lines only know of the way out along themselves.
func (c *crowd) settled(i int, q candidate) candidate {
	f := c.form(i, q.spot)
	best := candidate{q.spot, c.charged(i, q.spot, f, math.Inf(1))}
	for k := 0; k < 8 && best.charge > 0; k++ {
		next := best.spot
		if k%2 == 0 {
			next.x, _ = c.line(i, next.tray, f, false, next.y)
		} else {
			next.y, _ = c.line(i, next.tray, f, true, next.x)
		}
		charge := c.charged(i, next, f, best.charge)
		if charge >= best.charge {
			if k > 0 {
				break
			}
			continue
		}
		best = candidate{next, charge}
	}
	return best
}

// put lays part i at a spot and measures its overlaps.
func (c *crowd) put(i int, s spot) {
	f := c.form(i, s)
	c.at[i], c.forms[i] = s, f
	for j := range c.n {
		if j == i {
			continue
		}
		d := c.between(f, s, c.forms[j], c.at[j])
		c.total += d - c.depth[i*c.n+j]
		c.depth[i*c.n+j], c.depth[j*c.n+i] = d, d
	}
	b := c.bar(i, s, f)
	c.total += b - c.barred[i]
	c.barred[i] = b
}

// troubled reports whether part i overlaps anything.
func (c *crowd) troubled(i int) bool {
	if c.barred[i] > 0 {
		return true
	}
	for _, d := range c.depth[i*c.n : (i+1)*c.n] {
		if d > 0 {
			return true
		}
	}
	return false
}

// pass moves every part that overlaps, in random order.
func (c *crowd) pass() {
	c.order = c.order[:0]
	for i := range c.n {
		if c.troubled(i) {
			c.order = append(c.order, i)
		}
	}
	c.rng.Shuffle(len(c.order), func(a, b int) { c.order[a], c.order[b] = c.order[b], c.order[a] })
	for _, i := range c.order {
		if c.troubled(i) {
			c.move(i)
		}
	}
}

// The least and the greatest factor by which the weight of an overlap grows,
// and that by which others sink (Gardeyn et al. 2025).
const least, most, ease = 1.2, 2.0, 0.95

// press raises the weights of what overlaps, most where it overlaps most, and
// lets those of what does not sink back to 1.
func (c *crowd) press() {
	deepest := 0.0
	for i := range c.n {
		deepest = max(deepest, c.barred[i])
		for j := range i {
			deepest = max(deepest, c.depth[i*c.n+j])
		}
	}
	if deepest == 0 {
		return
	}
	next := func(w, d float64) float64 {
		if d > 0 {
			return w * (least + (most-least)*d/deepest)
		}
		return max(1, w*ease)
	}
	for i := range c.n {
		c.extra[i] = next(c.extra[i], c.barred[i])
		for j := range i {
			w := next(c.weight[i*c.n+j], c.depth[i*c.n+j])
			c.weight[i*c.n+j], c.weight[j*c.n+i] = w, w
		}
	}
}

// clear reports whether nothing overlaps, measured afresh.
func (c *crowd) clear() bool {
	for i := range c.n {
		if c.troubled(i) {
			return false
		}
	}
	return true
}

// separate works until nothing overlaps, or no progress is made any more:
// strikes times in a row, patience passes long. It leaves the layout with the
// least overlap that it met. stop is asked between passes.
func (c *crowd) separate(strikes, patience int, stop func() bool) bool {
	best := slices.Clone(c.at)
	least := c.total
	for range strikes {
		for idle := 0; idle < patience; idle++ {
			if c.clear() {
				return true
			}
			c.pass()
			if c.clear() {
				return true
			}
			if c.total < least*0.999 {
				if c.total < 0.98*least {
					idle = 0
				}
				least = c.total
				copy(best, c.at)
			}
			c.press()
			if stop() {
				c.restore(best)
				return false
			}
		}
		c.restore(best)
	}
	return false
}

// restore takes up an earlier layout; the weights stay.
func (c *crowd) restore(at []spot) {
	copy(c.at, at)
	c.measure()
}
