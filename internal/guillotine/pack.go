package guillotine

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
)

// Item is a rectangle to be cut, and how often.
type Item struct {
	ID string // unique among the items
	Size
	Quantity int   // copies; 0 means 1
	Turn     bool  // it may be turned by a quarter; not with a grain
	Held     *Held // where it is cut from, reserved areas or not; nil for anywhere
}

// Unlimited as a Stock's Quantity lets Pack take as many as it needs.
const Unlimited = -1

// Stock is a rectangle to cut from. Its edges have been seen to: all of it can
// be used.
type Stock struct {
	ID string // unique among the stock
	Size
	Quantity int     // how many there are; 0 means 1, Unlimited any number
	Cost     float64 // of one, from 0
	Rate     float64 // what its offcuts are worth for each unit of their area, from 0
	Reserved []Rect  // knots and cracks: no item and no offcut goes over them
}

// Rect is a rectangle on a sheet.
type Rect struct {
	At [2]int64 // lower left corner
	Size
}

// overlaps reports whether two rectangles share area.
func (r Rect) overlaps(s Rect) bool {
	return r.At[0] < s.At[0]+s.X && s.At[0] < r.At[0]+r.X && r.At[1] < s.At[1]+s.Y && s.At[1] < r.At[1]+r.Y
}

// Options steer Pack and Strip. The zero value works.
type Options struct {
	Kerf int64 // that every cut takes

	// Stages is 2 for sheets that are cut into strips, the strips into pieces, and
	// pieces only trimmed after that; 0 for as many as it takes.
	Stages int
	// First is the direction of the first of two stages; Whole leaves it open.
	First Direction

	// Least is the smallest offcut that is worth anything.
	Least Size
	// Power makes one large offcut worth more than two small ones: an offcut is
	// worth its area at the Rate of its stock, times its share of the sheet to the
	// power of Power - 1. 0 means 1: area alone.
	Power float64

	// Iterations is how often a layout is partly taken up and laid again. A layout
	// of more than 64 pieces counts for several. 0 means DefaultIterations, a
	// negative number none.
	Iterations int
	Seed       int64 // picks one of many equally deterministic searches
}

// DefaultIterations suits an answer that somebody waits for.
const DefaultIterations = 4000

// Sheet is a piece of stock that is cut up.
type Sheet struct {
	Stock   string   // ID
	Copy    int      // 0-based: which of them
	Cutting *Cutting // its pieces are indices into the items
	Offcuts []Rect   // worth keeping, largest first
	Cost    float64
}

// Placement says where a copy of an item lies.
type Placement struct {
	Item   string
	Copy   int // 0-based
	Sheet  int // index into Layout.Sheets
	Rect       // where
	Turned bool
}

// Reason says why copies of an item are not cut.
type Reason string

const (
	NoStock     Reason = "no-stock"    // there is nothing to cut from
	TooLarge    Reason = "too-large"   // it fits no stock
	NoRoom      Reason = "no-room"     // the stock is used up
	Interrupted Reason = "interrupted" // the context ended first
)

// Unplaced is copies of an item that are not cut.
type Unplaced struct {
	Item   string
	Count  int
	Reason Reason
}

// Layout is the answer of Pack.
type Layout struct {
	Sheets      []Sheet     // by stock, then copy
	Placements  []Placement // in order of the items and copies
	Unplaced    []Unplaced
	Cost        float64 // of the sheets
	Value       float64 // of their offcuts
	Interrupted bool    // the context ended before the budget: the best layout until then
}

// Pack cuts items from stock so that its cost less the value of the offcuts is
// little. It lays each where it spoils least of what is free, and then, over
// and over, takes some up and lays them again (Gardeyn, Wauters 2022, Eur. J.
// Oper. Res. 301, 70-84), keeping what is not worse than it was some time ago
// (late acceptance: Burke, Bykov 2017, Eur. J. Oper. Res. 258, 70-78).
func Pack(ctx context.Context, items []Item, stock []Stock, o Options) (*Layout, error) {
	if err := check(items, stock, o); err != nil {
		return nil, err
	}
	p := newProblem(items, stock, o)
	best, interrupted := p.search(ctx)
	l := p.layout(best)
	l.Interrupted = interrupted
	if interrupted {
		for i := range l.Unplaced {
			if l.Unplaced[i].Reason == NoRoom {
				l.Unplaced[i].Reason = Interrupted
			}
		}
	}
	return l, nil
}

const (
	mostCopies = 100_000
	mostLength = 1 << 30 // so that areas are numbers, and their sums
)

func check(items []Item, stock []Stock, o Options) error {
	var errs []error
	bad := func(format string, a ...any) { errs = append(errs, fmt.Errorf("guillotine: "+format, a...)) }
	size := func(what string, s Size) {
		if s.X <= 0 || s.Y <= 0 || s.X > mostLength || s.Y > mostLength {
			bad("%s is %d x %d", what, s.X, s.Y)
		}
	}
	seen := map[string]bool{}
	total := 0
	for _, it := range items {
		if seen[it.ID] {
			bad("item %q is given twice", it.ID)
		}
		seen[it.ID] = true
		size(fmt.Sprintf("item %q", it.ID), it.Size)
		if it.Quantity < 0 || it.Quantity > mostCopies {
			bad("item %q: quantity %d", it.ID, it.Quantity)
			continue
		}
		if total += max(1, it.Quantity); total > mostCopies {
			bad("more than %d copies", mostCopies)
			break
		}
	}
	clear(seen)
	number := func(v float64) bool { return v >= 0 && !math.IsInf(v, 0) }
	for _, s := range stock {
		if seen[s.ID] {
			bad("stock %q is given twice", s.ID)
		}
		seen[s.ID] = true
		size(fmt.Sprintf("stock %q", s.ID), s.Size)
		if s.Quantity < Unlimited {
			bad("stock %q: quantity %d", s.ID, s.Quantity)
		}
		if !number(s.Cost) || !number(s.Rate) {
			bad("stock %q costs %g, its offcuts %g", s.ID, s.Cost, s.Rate)
		}
		for _, k := range s.Reserved {
			size(fmt.Sprintf("a reserved area of stock %q", s.ID), k.Size)
			if max(k.At[0], -k.At[0], k.At[1], -k.At[1]) > mostLength {
				bad("a reserved area of stock %q lies at %d, %d", s.ID, k.At[0], k.At[1])
			}
		}
		if len(s.Reserved) > mostReserved {
			bad("stock %q has %d reserved areas, more than %d", s.ID, len(s.Reserved), mostReserved)
		}
	}
	if o.Kerf < 0 || o.Kerf > mostLength || o.Stages != 0 && o.Stages != 2 || o.First < Whole || o.First > Level ||
		o.Least.X < 0 || o.Least.Y < 0 || !number(o.Power) || o.Power != 0 && o.Power < 1 {
		bad("options %+v", o)
	}
	if len(errs) == 0 { // what follows relies on the rest
		errs = checkHeld(items, stock, o)
	}
	return errors.Join(errs...)
}

// node is a rectangle of a sheet while a layout is searched for: an item, or
// pieces side by side from its lower left corner, cut off one after the other.
// Those are full-width: all as high as the node if the cuts are upright. What
// is left at the end is free.
type node struct {
	Size
	cut  Direction // Whole: it is an item
	kind int       // of item
	kids []*node
}

func along(s Size, d Direction) int64 {
	if d == Upright {
		return s.X
	}
	return s.Y
}

func other(d Direction) Direction { return Upright + Level - d }

// sized is a size with one side given.
func sized(s Size, d Direction, l int64) Size {
	if d == Upright {
		return Size{l, s.Y}
	}
	return Size{s.X, l}
}

// free is the rectangle at the end of a node, and how far that can be cut into:
// 0 if the last cut leaves nothing.
func (n *node) free(kerf int64) Size {
	l := along(n.Size, n.cut)
	for _, k := range n.kids {
		l -= along(k.Size, n.cut) + kerf
	}
	return sized(n.Size, n.cut, max(0, l))
}

func (n *node) clone() *node {
	c := *n
	c.kids = make([]*node, len(n.kids), len(n.kids)+2)
	for i, k := range n.kids {
		c.kids[i] = k.clone()
	}
	return &c
}

// walk calls f for a node and all below it, with its depth: 1 for n.
func (n *node) walk(depth int, f func(n *node, depth int)) {
	f(n, depth)
	for _, k := range n.kids {
		k.walk(depth+1, f)
	}
}

// items counts the items in a node, by kind, into count.
func (n *node) items(count []int) {
	n.walk(1, func(n *node, _ int) {
		if n.cut == Whole {
			count[n.kind]++
		}
	})
}

// tidy takes nodes without items out, and puts what is cut the same way as the
// node around it into that.
func (n *node) tidy() {
	if n.cut == Whole {
		return
	}
	var kids []*node
	for _, k := range n.kids {
		k.tidy()
		switch {
		case k.cut == Whole:
			kids = append(kids, k)
		case len(k.kids) == 0:
		case len(k.kids) == 1 && k.kids[0].Size == k.Size:
			if g := k.kids[0]; g.cut == n.cut {
				kids = append(kids, g.kids...)
			} else {
				kids = append(kids, g)
			}
		default:
			kids = append(kids, k)
		}
	}
	n.kids = kids
}

// need is the least length that a node can have in a direction.
func (n *node) need(d Direction, kerf int64) int64 {
	if n.cut == Whole {
		return along(n.Size, d)
	}
	var sum, most int64
	for i, k := range n.kids {
		l := k.need(d, kerf)
		most = max(most, l)
		if sum += l; i > 0 {
			sum += kerf
		}
	}
	if n.cut == d {
		return sum
	}
	return most
}

// resize changes a node's length in a direction. What then does not fit is
// taken out.
func (n *node) resize(d Direction, l, kerf int64) {
	n.Size = sized(n.Size, d, l)
	var kids []*node
	if n.cut == d {
		sum := -kerf
		for _, k := range n.kids {
			sum += along(k.Size, d) + kerf
		}
		if sum > l {
			for _, k := range n.kids {
				if k.cut != Whole {
					k.resize(d, k.need(d, kerf), kerf)
				}
			}
		}
	}
	for _, k := range n.kids {
		switch {
		case n.cut != d: // as long as the node
			if k.cut == Whole {
				if along(k.Size, d) != l { // an item is not as long any more: it has a place of its own
					if along(k.Size, d) > l {
						continue
					}
					k = &node{Size: sized(k.Size, d, l), cut: d, kids: []*node{k}}
				}
			} else {
				k.resize(d, l, kerf)
			}
		default:
			if own := along(k.Size, d); own > l {
				if k.cut == Whole || l <= 0 {
					continue
				}
				k.resize(d, l, kerf)
			}
			l -= along(k.Size, d) + kerf
		}
		kids = append(kids, k)
	}
	n.kids = kids
}

// sheet is a piece of stock in use. It is not changed once it is shared.
type sheet struct {
	stock  int
	parts  int     // index of the way in which its reserved areas are cut out
	roots  []*node // of each of the parts
	value  float64 // of its offcuts
	guide  float64 // the same with small ones, to the second power: what the search feels
	pieces int
	spots  []spot
}

// spot is a node with room.
type spot struct {
	n     *node
	depth int // of the node: 1 is a sheet's first cuts
	empty bool
}

// state is a layout while it is searched for.
type state struct {
	sheets  []*sheet
	missing []int // by kind
	used    []int // by stock
	cost    float64
	value   float64
	score   float64 // what the search makes little
	left    int64   // area of what is missing
}

// kindHeld is the kind of an item that is held.
const kindHeld = -2

type problem struct {
	items []Item
	stock []Stock
	o     Options
	kinds []kind
	of    []int     // kind of each item, -1 for what fits no stock, kindHeld for what is held
	holds []bool    // by stock: whether items are held on it, so that it is open from the start
	ways  [][]parts // by stock: ways to cut its reserved areas out
	price float64   // charged for each unit of area that is missing
	short Size      // least side of any kind along x and along y, turned or not
	limit float64   // cost of stock that may not be exceeded
	rand  func(n int) int
}

// kind is items that are alike.
type kind struct {
	Size
	turn   bool
	copies int
}

func newProblem(items []Item, stock []Stock, o Options) *problem {
	p := &problem{items: items, stock: stock, o: o, limit: math.Inf(1)}
	if p.o.Power == 0 {
		p.o.Power = 1
	}
	if p.o.Stages == 0 {
		p.o.First = Whole
	}
	index := map[kind]int{}
	for _, it := range items {
		if it.Held != nil {
			p.of = append(p.of, kindHeld)
			continue
		}
		k := kind{Size: it.Size, turn: it.Turn && it.X != it.Y}
		if !slices.ContainsFunc(stock, func(s Stock) bool { return fits(it.Size, s.Size) || k.turn && fits(Size{it.Y, it.X}, s.Size) }) {
			p.of = append(p.of, -1)
			continue
		}
		i, ok := index[k]
		if !ok {
			i = len(p.kinds)
			index[k] = i
			p.kinds = append(p.kinds, k)
		}
		p.kinds[i].copies += max(1, it.Quantity)
		p.of = append(p.of, i)
	}
	for _, s := range stock {
		p.price = max(p.price, 2*s.Cost/float64(s.X*s.Y), 2*s.Rate)
		held := holding(items, s.ID)
		p.holds = append(p.holds, len(held) > 0)
		if len(held) > 0 {
			p.ways = append(p.ways, waysHolding(s, held, o.Kerf))
		} else {
			p.ways = append(p.ways, waysAround(s, o.Kerf))
		}
	}
	if p.price == 0 {
		p.price = 1
	}
	p.short = Size{math.MaxInt64, math.MaxInt64}
	for _, k := range p.kinds {
		p.short.X, p.short.Y = min(p.short.X, k.X), min(p.short.Y, k.Y)
		if k.turn {
			p.short.X, p.short.Y = min(p.short.X, k.Y), min(p.short.Y, k.X)
		}
	}
	return p
}

func fits(s, in Size) bool { return s.X <= in.X && s.Y <= in.Y }

// worth is what an offcut is worth.
func (p *problem) worth(s Stock, f Size) float64 {
	if f.X < max(1, p.o.Least.X) || f.Y < max(1, p.o.Least.Y) {
		return 0
	}
	a := float64(f.X * f.Y)
	v := s.Rate * a
	if p.o.Power != 1 {
		v *= math.Pow(a/float64(s.X*s.Y), p.o.Power-1)
	}
	return v
}

// measure works out what is kept about a sheet.
func (p *problem) measure(s *sheet) {
	st := p.stock[s.stock]
	whole := float64(st.X * st.Y)
	s.value, s.guide, s.pieces, s.spots = 0, 0, 0, s.spots[:0]
	for _, r := range s.roots {
		r.walk(1, func(n *node, depth int) {
			if n.cut == Whole {
				s.pieces++
				return
			}
			f := n.free(p.o.Kerf)
			if f.X == 0 || f.Y == 0 {
				return
			}
			s.value += p.worth(st, f)
			a := float64(f.X * f.Y)
			s.guide += a * a / whole
			if f.X >= p.short.X && f.Y >= p.short.Y {
				s.spots = append(s.spots, spot{n, depth, len(n.kids) == 0})
			}
		})
	}
}

// sum works out the state's figures from those of its sheets.
func (p *problem) sum(s *state) {
	s.cost, s.value, s.left = 0, 0, 0
	guide := 0.0
	for _, sh := range s.sheets {
		s.cost += p.stock[sh.stock].Cost
		s.value += sh.value
		guide += sh.guide
	}
	for k, n := range s.missing {
		s.left += int64(n) * p.kinds[k].X * p.kinds[k].Y
	}
	s.score = s.cost - s.value + p.price*(float64(s.left)-pull*guide)
}

// before reports whether s is better than t.
func (s *state) before(t *state) bool {
	if s.left != t.left {
		return s.left < t.left
	}
	a, b := s.cost-s.value, t.cost-t.value
	if math.Abs(a-b) > 1e-9*(1+math.Abs(b)) {
		return a < b
	}
	return s.score < t.score
}

// spread shares a layout's items and says where they lie.
func (p *problem) layout(s *state) *Layout {
	l := &Layout{}
	sheets := slices.Clone(s.sheets)
	slices.SortStableFunc(sheets, func(a, b *sheet) int { return cmp.Compare(a.stock, b.stock) })
	// Copies of alike items are given out in order of the items.
	next := make([][]int, len(p.kinds)) // items still wanted, by kind, first at the end
	for i := len(p.items) - 1; i >= 0; i-- {
		if k := p.of[i]; k >= 0 {
			for range max(1, p.items[i].Quantity) {
				next[k] = append(next[k], i)
			}
		}
	}
	copies := make([]int, len(p.items))
	taken := make([]int, len(p.stock))
	for si, sh := range sheets {
		st := p.stock[sh.stock]
		out := Sheet{Stock: st.ID, Copy: taken[sh.stock], Cost: st.Cost}
		taken[sh.stock]++
		w := p.ways[sh.stock][sh.parts]
		trees := make([]*Cutting, len(sh.roots))
		give := func(c *Cutting, kind int) {
			i := next[kind][len(next[kind])-1]
			next[kind] = next[kind][:len(next[kind])-1]
			c.Piece = i
			l.Placements = append(l.Placements, Placement{Item: p.items[i].ID, Copy: copies[i], Sheet: si,
				Rect: Rect{c.At, c.Size}, Turned: c.Size != p.items[i].Size})
			copies[i]++
		}
		leaves(w.cuts, func(c *Cutting) {
			if i := c.Piece; i >= 0 { // held
				l.Placements = append(l.Placements, Placement{Item: p.items[i].ID, Sheet: si, Rect: Rect{c.At, c.Size}})
				copies[i]++
			}
		})
		for k, r := range sh.roots {
			trees[k] = cutUp(r, w.rects[k].At, p.o.Kerf, give)
		}
		out.Cutting = w.join(trees)
		out.Cutting.waste(func(c *Cutting) {
			r := Rect{c.At, c.Size}
			if v := p.worth(st, c.Size); (v > 0 || st.Rate == 0 && p.useful(c.Size)) && !r.spoilt(st.Reserved) {
				out.Offcuts = append(out.Offcuts, r)
				l.Value += v
			}
		})
		slices.SortStableFunc(out.Offcuts, func(a, b Rect) int { return cmp.Compare(b.X*b.Y, a.X*a.Y) })
		l.Cost += st.Cost
		l.Sheets = append(l.Sheets, out)
	}
	order := map[string]int{}
	for i, it := range p.items {
		order[it.ID] = i
	}
	slices.SortFunc(l.Placements, func(a, b Placement) int { return cmp.Or(order[a.Item]-order[b.Item], a.Copy-b.Copy) })
	for i, it := range p.items {
		if n := max(1, it.Quantity) - copies[i]; n > 0 {
			u := Unplaced{it.ID, n, NoRoom}
			switch {
			case len(p.stock) == 0:
				u.Reason = NoStock
			case p.of[i] < 0:
				u.Reason = TooLarge
			}
			l.Unplaced = append(l.Unplaced, u)
		}
	}
	return l
}

func (p *problem) useful(f Size) bool {
	return f.X >= max(1, p.o.Least.X) && f.Y >= max(1, p.o.Least.Y)
}

func (r Rect) spoilt(by []Rect) bool {
	return slices.ContainsFunc(by, func(k Rect) bool { return r.overlaps(k) })
}

// cutUp turns a node into cuts, longest pieces first.
func cutUp(n *node, at [2]int64, kerf int64, give func(c *Cutting, kind int)) *Cutting {
	c := &Cutting{At: at, Size: n.Size, Piece: -1}
	if n.cut == Whole {
		give(c, n.kind)
		return c
	}
	kids := slices.Clone(n.kids)
	slices.SortStableFunc(kids, func(a, b *node) int {
		return cmp.Or(-cmp.Compare(along(a.Size, n.cut), along(b.Size, n.cut)), cmp.Compare(a.cut, b.cut), cmp.Compare(a.kind, b.kind))
	})
	axis := 0
	if n.cut == Level {
		axis = 1
	}
	top := &c
	for _, k := range kids {
		this := *top
		first := cutUp(k, this.At, kerf, give)
		if first.Size == this.Size {
			*top = first
			break
		}
		l := along(k.Size, n.cut)
		beyond := this.At
		beyond[axis] += l + kerf
		this.Cut, this.Where = n.cut, l
		this.Parts = [2]*Cutting{first, {At: beyond, Size: sized(this.Size, n.cut, max(0, along(this.Size, n.cut)-l-kerf)), Piece: -1}}
		top = &this.Parts[1]
	}
	return c
}

// waste calls f for every rectangle that is left over.
func (c *Cutting) waste(f func(*Cutting)) {
	if c.Cut == Whole {
		if c.Piece < 0 && c.Size.X > 0 && c.Size.Y > 0 {
			f(c)
		}
		return
	}
	c.Parts[0].waste(f)
	c.Parts[1].waste(f)
}
