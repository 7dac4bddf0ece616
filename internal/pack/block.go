package pack

import (
	"cmp"
	"math"
	"slices"
)

// xyz is a point or a size in whole micrometres. A coordinate is below 2^31: two
// kilometres.
type xyz [3]int32

// item is an Item in whole micrometres.
type item struct {
	size  xyz
	count int32
	turns Turns
	mass  float64
	bears float64 // +Inf for any, 0 for none
}

func micro(mm float64) int32 {
	// A size that is a whole number of micrometres but for rounding is that.
	um := mm * 1000
	if r := math.Round(um); math.Abs(um-r) < 1e-4 {
		return int32(r)
	}
	return int32(math.Ceil(um))
}

func microDown(mm float64) int32 {
	um := mm * 1000
	if r := math.Round(um); math.Abs(um-r) < 1e-4 {
		return int32(r)
	}
	return int32(math.Floor(um))
}

func volume(s xyz) float64 { return float64(s[0]) * float64(s[1]) * float64(s[2]) }

func turned(s xyz, t Turn) xyz {
	a := axes[t]
	return xyz{s[a[0]], s[a[1]], s[a[2]]}
}

// part is a grid of boxes alike in a block.
type part struct {
	item int32
	turn Turn
	each xyz // size of one as it lies
	at   xyz // from the block's corner
	n    xyz // how many along each axis
}

// need is how many of an item a block takes.
type need struct{ item, n int32 }

// block is boxes that stand so close that they are put down as one.
type block struct {
	size   xyz
	volume float64 // µm³ of boxes
	mass   float64
	n      int32
	worth  float64 // bounds the score from above
	needs  []need
	parts  []part
}

// A block of unlike boxes must fill this share of its outline. Araya, Guerrero
// and Nuñez (2017) take 0.98. Under boxes that must be supported it must be full.
const (
	blockFill  = 0.98
	maxBlocks  = 6000
	fewerBoxes = 0.2 // exponent by which a block of fewer boxes is preferred
)

// blocks lists what can be put down in one go: grids of boxes alike, then pairs
// of blocks side by side, behind one another or on one another.
func (s *search) makeBlocks() {
	type shape struct {
		size  xyz
		needs string
	}
	seen := map[shape]bool{}
	var all []block
	add := func(b block) bool {
		key := make([]byte, 0, 8*len(b.needs))
		for _, n := range b.needs {
			key = append(key, byte(n.item), byte(n.item>>8), byte(n.n), byte(n.n>>8))
		}
		k := shape{b.size, string(key)}
		if seen[k] {
			return false
		}
		seen[k] = true
		b.worth = b.volume * math.Pow(float64(b.n), -fewerBoxes)
		all = append(all, b)
		return true
	}
	for i, it := range s.items {
		shapes := map[xyz]bool{}
		before := len(all)
		for t := Turn(0); t < 6; t++ {
			each := turned(it.size, t)
			if !it.turns.Has(t) || shapes[each] {
				continue
			}
			shapes[each] = true
			s.grids(int32(i), it, t, each, func(b block) { add(b) })
		}
		all = all[:before+len(mostWorth(all[before:], max(60, 4*maxBlocks/len(s.items))))]
	}
	all = mostWorth(all, max(maxBlocks/2, len(s.items)*6))
	s.pairs(&all, add)
	slices.SortStableFunc(all, func(a, b block) int {
		return cmp.Or(cmp.Compare(b.worth, a.worth), slices.Compare(a.size[:], b.size[:]))
	})
	s.blocks = all
}

// mostWorth keeps the n blocks of most worth, in their place, and single boxes
// before all others, so that everything can be put down somehow.
func mostWorth(all []block, n int) []block {
	if len(all) <= n {
		return all
	}
	slices.SortStableFunc(all, func(a, b block) int {
		if (a.n == 1) != (b.n == 1) {
			if a.n == 1 {
				return -1
			}
			return 1
		}
		return cmp.Compare(b.worth, a.worth)
	})
	return all[:n]
}

// further is the number of boxes in a row that is tried after n, of at most most:
// every one up to 24, then about every eighth part more, and the most.
func further(n, most int32) int32 {
	switch {
	case n >= most:
		return most + 1
	case n < 24:
		return n + 1
	}
	return min(most, n+n/8)
}

// grids calls f with every grid of an item so turned.
func (s *search) grids(i int32, it item, t Turn, each xyz, f func(block)) {
	var most xyz
	for a := range most {
		most[a] = s.box[a] / each[a]
	}
	// A column of which the lowest box bears the others.
	if !math.IsInf(it.bears, 1) && it.mass > 0 {
		most[2] = min(most[2], 1+int32(min(it.bears/it.mass, 1e6)))
	} else if it.bears == 0 {
		most[2] = min(most[2], 1)
	}
	mx := min(most[0], it.count)
	for nx := int32(1); nx <= mx; nx = further(nx, mx) {
		my := min(most[1], it.count/nx)
		for ny := int32(1); ny <= my; ny = further(ny, my) {
			mz := min(most[2], it.count/(nx*ny))
			for nz := int32(1); nz <= mz; nz = further(nz, mz) {
				n := nx * ny * nz
				f(block{
					size:   xyz{nx * each[0], ny * each[1], nz * each[2]},
					volume: volume(each) * float64(n), mass: it.mass * float64(n), n: n,
					needs: []need{{i, n}},
					parts: []part{{item: i, turn: t, each: each, n: xyz{nx, ny, nz}}},
				})
			}
		}
	}
}

// alike is by how much the cross-sections of blocks that are joined may differ.
const alike = 1.05

// pairs joins blocks with cross-sections much alike until there are enough.
func (s *search) pairs(all *[]block, add func(block) bool) {
	fill := blockFill
	if s.support > 0 || s.loads {
		fill = 1
	}
	before := 0
	for round := 0; round < 2 && before < len(*all); round++ {
		n := len(*all)
		order := make([]int, n)
		for axis := range 3 {
			u, v := (axis+1)%3, (axis+2)%3
			for i := range order {
				order[i] = i
			}
			slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare((*all)[a].size[u], (*all)[b].size[u]) })
			for i, p := range order {
				a := (*all)[p]
				for _, q := range order[i:] {
					b := (*all)[q]
					if float64(b.size[u]) > alike*float64(a.size[u]) {
						break
					}
					if p < before && q < before || float64(max(a.size[v], b.size[v])) > alike*float64(min(a.size[v], b.size[v])) {
						continue
					}
					if j, ok := s.join(a, b, axis, fill); ok {
						add(j)
						if len(*all) >= maxBlocks {
							return
						}
					}
				}
			}
		}
		before = n
	}
}

// join is b beside a along axis.
func (s *search) join(a, b block, axis int, fill float64) (block, bool) {
	size := a.size
	for k := range size {
		if k == axis {
			size[k] += b.size[k]
		} else {
			size[k] = max(size[k], b.size[k])
		}
		if size[k] > s.box[k] {
			return block{}, false
		}
	}
	v := a.volume + b.volume
	if v < fill*volume(size)*(1-1e-12) {
		return block{}, false
	}
	if s.loads && axis == 2 {
		return block{}, false // what bears what is looked at when they are put down
	}
	if len(a.parts)+len(b.parts) > 6 {
		return block{}, false
	}
	var needs []need
	i, j := 0, 0
	for i < len(a.needs) || j < len(b.needs) {
		switch {
		case j == len(b.needs) || i < len(a.needs) && a.needs[i].item < b.needs[j].item:
			needs = append(needs, a.needs[i])
			i++
		case i == len(a.needs) || b.needs[j].item < a.needs[i].item:
			needs = append(needs, b.needs[j])
			j++
		default:
			needs = append(needs, need{a.needs[i].item, a.needs[i].n + b.needs[j].n})
			i, j = i+1, j+1
		}
	}
	for _, n := range needs {
		if n.n > s.items[n.item].count {
			return block{}, false
		}
	}
	out := block{size: size, volume: v, mass: a.mass + b.mass, n: a.n + b.n, needs: needs}
	out.parts = append(out.parts, a.parts...)
	for _, p := range b.parts {
		p.at[axis] += a.size[axis]
		out.parts = append(out.parts, p)
	}
	return out, true
}

// sums is, for every length up to that of the box along an axis, the longest row
// of items that goes into it.
type sums struct {
	unit int32
	best []int32
}

// of is the longest row that goes into length.
func (r sums) of(length int32) int32 { return r.best[length/r.unit] }

// maxCells is how finely rows are told apart if their sizes have no large
// common measure. Rows only guide the search.
const maxCells = 1024

func (s *search) makeSums(axis int) sums {
	g := int32(0)
	for _, it := range s.items {
		for t := Turn(0); t < 6; t++ {
			if it.turns.Has(t) {
				g = gcd(g, turned(it.size, t)[axis])
			}
		}
	}
	unit := max(g, (s.box[axis]+maxCells-1)/maxCells, 1)
	n := s.box[axis]/unit + 1
	reached := make([]bool, n)
	reached[0] = true
	used := make([]int32, n)
	for _, it := range s.items {
		var sizes []int32
		for t := Turn(0); t < 6; t++ {
			if it.turns.Has(t) {
				if d := (turned(it.size, t)[axis] + unit - 1) / unit; !slices.Contains(sizes, d) {
					sizes = append(sizes, d)
				}
			}
		}
		for l := range n {
			used[l] = math.MaxInt32
			if reached[l] {
				used[l] = 0
				continue
			}
			for _, d := range sizes {
				if l >= d && used[l-d] < it.count {
					used[l] = min(used[l], used[l-d]+1)
				}
			}
		}
		for l := range n {
			reached[l] = reached[l] || used[l] != math.MaxInt32
		}
	}
	best := make([]int32, n)
	for l := range n {
		if reached[l] {
			best[l] = l * unit
		} else {
			best[l] = best[l-1]
		}
	}
	return sums{unit, best}
}

func gcd(a, b int32) int32 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
