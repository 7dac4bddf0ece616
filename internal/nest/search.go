package nest

import (
	"cmp"
	"context"
	"math"
	"math/rand/v2"
	"slices"
)

// merit ranks builds: lower is better, and the fields count in their order.
type merit struct {
	left   []float64 // mm² not placed, by class of priority
	cost   float64   // of the bins
	plain  float64   // area of favoured parts that do not lie where the figure is best, mm²
	tail   float64   // least area of items on one of several bins, mm²: the next bin to be emptied
	reach  float64   // rectangle used on that bin, mm²: the rest is offcut
	askew  float64   // area of parts turned beside the turns given, mm²
	moment float64   // Σ area x (distance reached), a slope where the rest is level

	density float64 // not ranked: area placed over the area of the bins, of a strip over its length used
}

func (m merit) compare(n merit) int {
	return cmp.Or(slices.Compare(m.left, n.left), cmp.Compare(m.cost, n.cost), cmp.Compare(m.plain, n.plain), cmp.Compare(m.tail, n.tail), cmp.Compare(m.reach, n.reach), cmp.Compare(m.askew, n.askew), cmp.Compare(m.moment, n.moment))
}

// merit judges a finished build.
func (b *builder) merit() merit {
	m := merit{left: make([]float64, b.p.classes)}
	reach, area := make([]float64, len(b.trays)), make([]float64, len(b.trays))
	for i, st := range b.p.stocks[:b.p.pinned] {
		reach[i], area[i] = st.reach/micron*st.h/micron, st.weight
	}
	for i, c := range b.choices {
		p := b.p.parts[b.order[i]]
		sh := &b.p.shapes[p.shape]
		if c.tray < 0 {
			m.left[p.class] += sh.area
			continue
		}
		st := &b.p.stocks[c.stock]
		f := sh.forms[st.swap][c.form]
		right := (c.x + f.w) / micron
		reach[c.tray] = max(reach[c.tray], right*st.h/micron)
		area[c.tray] += sh.area
		m.moment += float64(sh.area * right)
		if p.favoured && !b.p.prime(p, c) {
			m.plain += sh.area
		}
		if c.form >= sh.main {
			m.askew += sh.area
		}
	}
	var placed, space float64
	opened := false
	for i, t := range b.trays {
		if a := b.p.stocks[t.stock].area; math.IsInf(a, 1) {
			space += reach[i]
		} else {
			space += a
		}
		m.cost += b.p.stocks[t.stock].cost
		placed += area[i]
		if i < b.p.pinned && len(b.trays) > b.p.pinned {
			continue // it cannot be emptied
		}
		if !opened || area[i] < m.tail {
			m.tail, m.reach = area[i], reach[i]
			opened = true
		}
	}
	if len(b.trays) < 2 {
		m.tail = 0
	}
	if space > 0 {
		m.density = placed / space
	}
	return m
}

// build is a finished build, kept.
type build struct {
	order   []int
	only    []int
	lean    float64
	keen    keenness
	choices []choice
	bounds  []bound
	merit   merit
}

func (b *builder) save(to *build) {
	to.order = append(to.order[:0], b.order...)
	to.only = append(to.only[:0], b.only...)
	to.choices = append(to.choices[:0], b.choices...)
	to.bounds = append(to.bounds[:0], b.bounds...)
	to.lean, to.keen, to.merit = b.lean, b.keen, b.merit()
}

func (b build) clone() build {
	b.order, b.only, b.choices, b.bounds = slices.Clone(b.order), slices.Clone(b.only), slices.Clone(b.choices), slices.Clone(b.bounds)
	return b
}

// load takes up a kept build from its first n steps.
func (b *builder) load(from *build, n int) {
	b.order = append(b.order[:0], from.order...)
	b.only = append(b.only[:0], from.only...)
	b.choices = append(b.choices[:0], from.choices...)
	b.bounds = append(b.bounds[:0], from.bounds...)
	b.lean, b.keen = from.lean, from.keen
	b.reset(n)
}

// slack is how much worse than the best, as a share, a layout may be and still
// be searched on from. Of 0, 0.3, 1 and 2 % this gave the best means on the
// classic instances.
const slack = 0.003

// orders are the rules by which parts are first sorted, largest first.
var orders = []func(s *shape) float64{
	func(s *shape) float64 { return s.long * s.short },
	func(s *shape) float64 { return s.long },
	func(s *shape) float64 { return s.area },
	func(s *shape) float64 { return s.short },
}

// search lays the parts by each rule, then improves the best order: it moves
// a part to another place in the order, or exchanges two, or ties a part to
// one of its turns or frees it again, lays anew from there on, and keeps the change unless the result is worse than the last
// one and than the best by more than slack (record-to-record travel, G. Dueck,
// 1993, J. Comput. Phys. 104, 86-92). tick is told the work done and says
// whether to go on. search returns false if the context ended; best is then
// the best complete build, or what the first one had placed.
func (p *problem) search(ctx context.Context, o Options, seed uint64, tick func(work int, best merit) bool) (best build, whole bool) {
	rng := rand.New(rand.NewPCG(uint64(o.Seed), seed))
	b := &builder{p: p, only: slices.Repeat([]int{-1}, len(p.parts))}
	charge := func(laid int) int { return 1 + (laid-1)/64 }
	more := true
	first := true
	keens := []keenness{careless}
	if p.figured {
		keens = []keenness{keen, eager, careless}
	}
	for k := range 2 * len(keens) {
		b.lean, b.keen = float64(1-k/len(keens)), keens[k%len(keens)]
		var tried [][]int
		for _, rule := range orders {
			if !more {
				return best, true
			}
			b.order = b.order[:0]
			for i := range p.parts {
				b.order = append(b.order, i)
			}
			slices.SortStableFunc(b.order, func(i, j int) int {
				x, y := p.parts[i], p.parts[j]
				if b.keen != careless && x.class == y.class && x.favoured != y.favoured {
					if x.favoured {
						return -1
					}
					return 1
				}
				return cmp.Or(cmp.Compare(x.class, y.class), -cmp.Compare(rule(&p.shapes[x.shape]), rule(&p.shapes[y.shape])), cmp.Compare(x.shape, y.shape))
			})
			if slices.ContainsFunc(tried, func(o []int) bool { return slices.Equal(o, b.order) }) {
				continue
			}
			tried = append(tried, slices.Clone(b.order))
			b.choices, b.bounds = b.choices[:0], b.bounds[:0]
			b.reset(0)
			if !b.run(ctx) {
				if first {
					for len(b.choices) < len(b.order) {
						b.choices = append(b.choices, choice{tray: -1})
					}
					b.save(&best)
				}
				return best, false
			}
			if m := b.merit(); first || m.compare(best.merit) < 0 {
				b.save(&best)
			}
			first = false
			more = tick(charge(len(b.order)), best.merit)
		}
	}
	current := best.clone()
	for more {
		i, j := p.pick(rng, current.order)
		var forms int
		if i < 0 || rng.IntN(3) == 0 {
			if k, n := p.pickTurn(rng, current.order); n > 1 {
				i, j, forms = k, k, n
			}
		}
		if i < 0 {
			return best, true
		}
		b.load(&current, i)
		switch {
		case forms > 0:
			b.only[b.order[i]] = rng.IntN(forms+1) - 1
		case rng.IntN(2) == 0:
			b.order[i], b.order[j] = b.order[j], b.order[i]
		default:
			v := b.order[j]
			copy(b.order[i+1:j+1], b.order[i:j])
			b.order[i] = v
		}
		if rng.IntN(16) == 0 {
			b.lean = float64(rng.IntN(3)) / 2
		}
		if len(keens) > 1 && rng.IntN(8) == 0 {
			b.keen = keens[rng.IntN(len(keens))]
		}
		if !b.run(ctx) {
			return best, false
		}
		m := b.merit()
		if m.compare(best.merit) < 0 {
			b.save(&best)
		}
		if m.compare(current.merit) <= 0 || m.within(best.merit, slack) {
			b.save(&current)
		}
		more = tick(charge(len(b.order)-i), best.merit)
	}
	return best, true
}

// within reports whether m places as much as n at the same cost, and is at
// most the given share worse in what comes next.
func (m merit) within(n merit, share float64) bool {
	return slices.Equal(m.left, n.left) && m.cost == n.cost && m.plain <= n.plain && m.askew <= n.askew && m.tail <= n.tail*(1+share) && (m.tail > 0 || m.reach <= n.reach*(1+share))
}

// pick chooses two steps i < j whose parts differ in shape but not in class.
// It gives up, with i = -1, after many misses.
func (p *problem) pick(rng *rand.Rand, order []int) (i, j int) {
	for range 200 {
		i, j = rng.IntN(len(order)), rng.IntN(len(order))
		if i > j {
			i, j = j, i
		}
		a, b := p.parts[order[i]], p.parts[order[j]]
		if a.shape != b.shape && a.class == b.class {
			return i, j
		}
	}
	return -1, -1
}

// pickTurn chooses a step whose part has several forms, and says how many. It
// gives up, with 0, after many misses.
func (p *problem) pickTurn(rng *rand.Rand, order []int) (i, forms int) {
	for range 200 {
		i = rng.IntN(len(order))
		if n := len(p.shapes[p.parts[order[i]].shape].forms[0]); n > 1 {
			return i, n
		}
	}
	return -1, 0
}
