package elastic

import (
	"container/heap"
	"math"
	"slices"
)

// pattern is where a symmetric matrix of small blocks has numbers, and where its
// Cholesky factor L has them once blocks are eliminated in an order that keeps
// them few. Values lie in one slice, block by block, rows together; see
// pattern.add, factor and solve. A pattern does not change, and is shared by
// all factors of matrices alike.
type pattern struct {
	size  []int   // rows of each block
	first []int   // number of its first row, and the number of rows at the end
	order []int32 // the blocks as they are eliminated
	place []int32 // of each block in the order
	diag  []int   // by place: where its diagonal block is
	from  []int   // by place: its blocks below the diagonal begin here, and the end
	row   []int32 // of these: the place of the row, ascending
	col   []int32 // of these: the place of the column
	at    []int   // of these: where the block is
	left  [][]int // by place: which of these lie in its row
	len   int     // of the values
}

// newPattern orders blocks by least degree (Tinney and Walker 1967): what is
// joined to the fewest rows is eliminated first. next lists for each block those
// that it has numbers with.
func newPattern(size []int, next [][]int32) *pattern {
	n := len(size)
	p := &pattern{size: size, first: make([]int, n+1), place: make([]int32, n), diag: make([]int, n), from: make([]int, n+1), left: make([][]int, n)}
	adj := make([][]int32, n)
	for i, s := range size {
		p.first[i+1] = p.first[i] + s
		for _, j := range next[i] {
			if int(j) != i {
				adj[i] = append(adj[i], j)
				adj[j] = append(adj[j], int32(i))
			}
		}
	}
	degree := func(i int32) (d int) {
		for _, j := range adj[i] {
			d += size[j]
		}
		return d
	}
	q := make(queue, n)
	for i := range adj {
		slices.Sort(adj[i])
		adj[i] = slices.Compact(adj[i])
		q[i] = waiting{degree(int32(i)), int32(i)}
	}
	heap.Init(&q)
	done := make([]bool, n)
	for len(q) > 0 {
		w := heap.Pop(&q).(waiting)
		if done[w.block] || w.degree != degree(w.block) {
			continue // a later entry tells its degree
		}
		done[w.block] = true
		p.place[w.block] = int32(len(p.order))
		p.order = append(p.order, w.block)
		mine := adj[w.block]
		for _, u := range mine {
			adj[u] = united(adj[u], mine, u, w.block)
			heap.Push(&q, waiting{degree(u), u})
		}
	}
	for k, b := range p.order {
		below := adj[b]
		for i, u := range below {
			below[i] = p.place[u]
		}
		slices.Sort(below)
		p.diag[k] = p.len
		p.len += size[b] * size[b]
		p.from[k] = len(p.row)
		for _, r := range below {
			p.left[r] = append(p.left[r], len(p.row))
			p.row, p.col, p.at = append(p.row, r), append(p.col, int32(k)), append(p.at, p.len)
			p.len += size[p.order[r]] * size[b]
		}
	}
	p.from[n] = len(p.row)
	return p
}

// united merges two ascending lists without two of their members.
func united(a, b []int32, not, nor int32) []int32 {
	out := make([]int32, 0, len(a)+len(b))
	for len(a) > 0 || len(b) > 0 {
		var v int32
		switch {
		case len(b) == 0 || len(a) > 0 && a[0] < b[0]:
			v, a = a[0], a[1:]
		case len(a) == 0 || b[0] < a[0]:
			v, b = b[0], b[1:]
		default:
			v, a, b = a[0], a[1:], b[1:]
		}
		if v != not && v != nor {
			out = append(out, v)
		}
	}
	return out
}

// waiting is a block to be eliminated, and queue has the one with the least
// degree first.
type waiting struct {
	degree int
	block  int32
}

type queue []waiting

func (q queue) Len() int { return len(q) }
func (q queue) Less(i, j int) bool {
	return q[i].degree < q[j].degree || q[i].degree == q[j].degree && q[i].block < q[j].block
}
func (q queue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(x any)   { *q = append(*q, x.(waiting)) }
func (q *queue) Pop() any {
	last := (*q)[len(*q)-1]
	*q = (*q)[:len(*q)-1]
	return last
}

// rows of the matrix.
func (p *pattern) rows() int { return p.first[len(p.size)] }

// block is where the values of block i, j are; transposed says that they are
// those of j, i.
func (p *pattern) block(i, j int) (at int, transposed bool) {
	r, c := p.place[i], p.place[j]
	if r == c {
		return p.diag[r], false
	}
	if r < c {
		r, c, transposed = c, r, true
	}
	lo, hi := p.from[c], p.from[c+1]
	k, ok := slices.BinarySearch(p.row[lo:hi], r)
	if !ok {
		panic("elastic: a block outside the pattern")
	}
	return p.at[lo+k], transposed
}

// add adds a block, rows together, to block i, j of the matrix and, as its
// mirror image, to j, i: only one of the two is to be given.
func (p *pattern) add(v []float64, i, j int, block []float64) {
	at, transposed := p.block(i, j)
	si, sj := p.size[i], p.size[j]
	to := v[at : at+si*sj]
	if !transposed {
		for e, x := range block {
			to[e] += x
		}
		return
	}
	for r := range si {
		for c := range sj {
			to[c*si+r] += block[r*sj+c]
		}
	}
}

// drop makes rows lo to hi-1 of block i, and the columns too, those of the unit
// matrix.
func (p *pattern) drop(v []float64, i, lo, hi int) {
	k := p.place[i]
	s := p.size[i]
	d := v[p.diag[k] : p.diag[k]+s*s]
	for a := lo; a < hi; a++ {
		for b := range s {
			d[a*s+b], d[b*s+a] = 0, 0
		}
		d[a*s+a] = 1
	}
	for e := p.from[k]; e < p.from[k+1]; e++ { // below it: columns
		m := v[p.at[e] : p.at[e]+s*p.size[p.order[p.row[e]]]]
		for r := 0; r < len(m); r += s {
			clear(m[r+lo : r+hi])
		}
	}
	for _, e := range p.left[k] { // left of it: rows
		c := p.col[e]
		sc := p.size[p.order[c]]
		clear(v[p.at[e]+lo*sc : p.at[e]+hi*sc])
	}
}

// factor replaces the values by those of L, column by column from what lies left
// (its diagonal holds the inverses). False if the matrix is not definite.
func (p *pattern) factor(v []float64) bool {
	where := make([]int, len(p.size)) // of the blocks of this column, by place of the row
	for k := range p.order {
		s := p.size[p.order[k]]
		where[k] = p.diag[k]
		for e := p.from[k]; e < p.from[k+1]; e++ {
			where[p.row[e]] = p.at[e]
		}
		for _, e := range p.left[k] {
			c := p.col[e]
			sc := p.size[p.order[c]]
			b := v[p.at[e] : p.at[e]+s*sc]
			for f := e; f < p.from[c+1]; f++ {
				r := p.row[f]
				sr := p.size[p.order[r]]
				lessProduct(v[where[r]:where[r]+sr*s], v[p.at[f]:p.at[f]+sr*sc], b, sc)
			}
		}
		d := v[p.diag[k] : p.diag[k]+s*s]
		for i := range s {
			for j := range i + 1 {
				sum := d[i*s+j]
				for l := range j {
					sum -= d[i*s+l] * d[j*s+l]
				}
				if i > j {
					d[i*s+j] = sum * d[j*s+j]
					continue
				}
				if !(sum > 0) || math.IsInf(sum, 1) {
					return false
				}
				d[i*s+i] = 1 / math.Sqrt(sum)
			}
		}
		for e := p.from[k]; e < p.from[k+1]; e++ {
			m := v[p.at[e] : p.at[e]+s*p.size[p.order[p.row[e]]]]
			for ; len(m) > 0; m = m[s:] {
				for j := range s {
					sum := m[j]
					for l := range j {
						sum -= m[l] * d[j*s+l]
					}
					m[j] = sum * d[j*s+j]
				}
			}
		}
	}
	return true
}

// lessProduct takes a bᵀ from c; a and b have s columns.
func lessProduct(c, a, b []float64, s int) {
	if s == 0 {
		return
	}
	rows := len(b) / s
	if s == 6 {
		for len(a) >= 6 {
			a0, a1, a2, a3, a4, a5 := a[0], a[1], a[2], a[3], a[4], a[5]
			for j := range rows {
				r := b[6*j : 6*j+6 : 6*j+6]
				c[j] -= a0*r[0] + a1*r[1] + a2*r[2] + a3*r[3] + a4*r[4] + a5*r[5]
			}
			a, c = a[6:], c[rows:]
		}
		return
	}
	for len(a) >= s {
		for j := range rows {
			sum := 0.0
			for l, x := range b[j*s : (j+1)*s] {
				sum += a[l] * x
			}
			c[j] -= sum
		}
		a, c = a[s:], c[rows:]
	}
}

// solve replaces x by the solution with the factor in v.
func (p *pattern) solve(v, x []float64) {
	for k, b := range p.order {
		s := p.size[b]
		d, y := v[p.diag[k]:p.diag[k]+s*s], x[p.first[b]:p.first[b]+s]
		for i := range y {
			sum := y[i]
			for l := range i {
				sum -= d[i*s+l] * y[l]
			}
			y[i] = sum * d[i*s+i]
		}
		for e := p.from[k]; e < p.from[k+1]; e++ {
			r := p.order[p.row[e]]
			z := x[p.first[r]:p.first[r+1]]
			m := v[p.at[e] : p.at[e]+s*len(z)]
			if s == 6 {
				y0, y1, y2, y3, y4, y5 := y[0], y[1], y[2], y[3], y[4], y[5]
				for i := range z {
					w := m[6*i : 6*i+6 : 6*i+6]
					z[i] -= w[0]*y0 + w[1]*y1 + w[2]*y2 + w[3]*y3 + w[4]*y4 + w[5]*y5
				}
				continue
			}
			for i := range z {
				sum := 0.0
				for l, w := range m[i*s : (i+1)*s] {
					sum += w * y[l]
				}
				z[i] -= sum
			}
		}
	}
	for k := len(p.order) - 1; k >= 0; k-- {
		b := p.order[k]
		s := p.size[b]
		d, y := v[p.diag[k]:p.diag[k]+s*s], x[p.first[b]:p.first[b]+s]
		for e := p.from[k]; e < p.from[k+1]; e++ {
			r := p.order[p.row[e]]
			z := x[p.first[r]:p.first[r+1]]
			m := v[p.at[e] : p.at[e]+s*len(z)]
			for i, f := range z {
				for l, w := range m[i*s : (i+1)*s] {
					y[l] -= w * f
				}
			}
		}
		for i := s - 1; i >= 0; i-- {
			sum := y[i]
			for l := i + 1; l < s; l++ {
				sum -= d[l*s+i] * y[l]
			}
			y[i] = sum * d[i*s+i]
		}
	}
}
