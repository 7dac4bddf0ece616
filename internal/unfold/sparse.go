package unfold

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// system is a sparse symmetric positive definite system of equations, solved
// by Cholesky factorisation, L Lᵀ, with rows computed in turn.
//
// Reference: T. A. Davis, Direct Methods for Sparse Linear Systems, 2006,
// chapter 4 (elimination tree, reach of a row, up-looking factorisation).
//
// Unknowns are ordered by nested dissection: cut the graph in two by place,
// number the two halves first and the
// vertices between them last.
type system struct {
	n     int
	perm  []int32 // unknown to row
	start []int32 // of each row of the lower triangle
	col   []int32
	val   []float64
	diag  []int32 // slot of each row's diagonal

	parent []int32
	lstart []int32 // of each column of L
	lrow   []int32
	lval   []float64
	fill   []int32
	work   []float64
	mark   []int32
	stack  []int32
}

// newSystem has per unknowns for each vertex of a graph, numbered per*i + k;
// at places the vertices for the dissection.
func newSystem(per int, sides [][2]int32, at []geom.Vec3) *system {
	vertices := len(at)
	adj := make([][]int32, vertices)
	for _, s := range sides {
		adj[s[0]] = append(adj[s[0]], s[1])
		adj[s[1]] = append(adj[s[1]], s[0])
	}
	order := dissect(adj, at)
	rank := make([]int32, vertices)
	for i, v := range order {
		rank[v] = int32(i)
	}
	s := &system{n: vertices * per, perm: make([]int32, vertices*per)}
	for v := range vertices {
		for k := range per {
			s.perm[v*per+k] = rank[v]*int32(per) + int32(k)
		}
	}
	s.start = append(s.start, 0)
	for i, v := range order {
		var lower []int32
		for _, w := range adj[v] {
			if rank[w] < int32(i) {
				lower = append(lower, rank[w])
			}
		}
		slices.Sort(lower)
		lower = slices.Compact(lower)
		for k := range per {
			for _, r := range lower {
				for l := range per {
					s.col = append(s.col, r*int32(per)+int32(l))
				}
			}
			for l := range k + 1 {
				s.col = append(s.col, int32(i*per+l))
			}
			s.diag = append(s.diag, int32(len(s.col)-1))
			s.start = append(s.start, int32(len(s.col)))
		}
	}
	s.val = make([]float64, len(s.col))
	s.symbolic()
	return s
}

// dissect orders the vertices of a graph.
func dissect(adj [][]int32, at []geom.Vec3) []int32 {
	order := make([]int32, 0, len(adj))
	side := make([]int32, len(adj)) // the half a vertex is in, by a number that no other half has
	var halves int32
	var split func(vs []int32)
	split = func(vs []int32) {
		const small = 24
		if len(vs) <= small {
			order = append(order, vs...)
			return
		}
		box := geom.EmptyBox3()
		for _, v := range vs {
			box = box.Add(at[v])
		}
		key := longest(box)
		slices.SortFunc(vs, func(a, b int32) int { return cmp.Or(cmp.Compare(key(at[a]), key(at[b])), cmp.Compare(a, b)) })
		mid := len(vs) / 2
		halves += 2
		low, high := halves-1, halves
		for i, v := range vs {
			if side[v] = low; i >= mid {
				side[v] = high
			}
		}
		var a, between []int32
		for _, v := range vs[:mid] {
			if slices.ContainsFunc(adj[v], func(w int32) bool { return side[w] == high }) {
				between = append(between, v)
			} else {
				a = append(a, v)
			}
		}
		b := slices.Clone(vs[mid:])
		split(a)
		split(b)
		order = append(order, between...)
	}
	vs := make([]int32, len(adj))
	for i := range vs {
		vs[i] = int32(i)
	}
	split(vs)
	return order
}

// slot is where the coefficient of unknowns i and j is stored; their vertices
// must be joined by a side.
func (s *system) slot(i, j int32) int32 {
	r, c := s.perm[i], s.perm[j]
	if r < c {
		r, c = c, r
	}
	k, ok := slices.BinarySearch(s.col[s.start[r]:s.start[r+1]], c)
	if !ok {
		panic("unfold: no such coefficient")
	}
	return s.start[r] + int32(k)
}

func (s *system) add(i, j int32, x float64) { s.val[s.slot(i, j)] += x }
func (s *system) clear()                    { clear(s.val) }

// symbolic finds the elimination tree and the shape of L.
func (s *system) symbolic() {
	s.parent = make([]int32, s.n)
	root := make([]int32, s.n)
	for k := range int32(s.n) {
		s.parent[k], root[k] = -1, -1
		for _, i := range s.col[s.start[k]:s.start[k+1]] {
			for i != -1 && i < k {
				up := root[i]
				root[i] = k
				if up == -1 {
					s.parent[i] = k
				}
				i = up
			}
		}
	}
	s.mark = make([]int32, s.n)
	s.stack = make([]int32, s.n)
	for i := range s.mark {
		s.mark[i] = -1
	}
	count := make([]int32, s.n)
	for k := range int32(s.n) {
		count[k]++
		for _, i := range s.reach(k) {
			count[i]++
		}
	}
	s.lstart = make([]int32, s.n+1)
	for k, c := range count {
		s.lstart[k+1] = s.lstart[k] + c
	}
	s.lrow = make([]int32, s.lstart[s.n])
	s.lval = make([]float64, s.lstart[s.n])
	s.fill = make([]int32, s.n)
	s.work = make([]float64, s.n)
}

// reach lists the columns of L in which row k has a coefficient, in an order
// in which they can be eliminated. The next call overwrites it.
func (s *system) reach(k int32) []int32 {
	top := int32(s.n)
	s.mark[k] = k
	for _, i := range s.col[s.start[k]:s.start[k+1]] {
		n := int32(0)
		for ; s.mark[i] != k; i = s.parent[i] {
			s.stack[n] = i
			n++
			s.mark[i] = k
		}
		for n > 0 {
			n--
			top--
			s.stack[top] = s.stack[n]
		}
	}
	return s.stack[top:]
}

// factor computes L, every diagonal coefficient raised by the share bump of
// itself; false if the matrix is not positive definite.
func (s *system) factor(bump float64) bool {
	copy(s.fill, s.lstart)
	for i := range s.mark {
		s.mark[i] = -1
	}
	for k := range int32(s.n) {
		reach := s.reach(k)
		for p := s.start[k]; p < s.start[k+1]; p++ {
			s.work[s.col[p]] = s.val[p]
		}
		d := s.work[k] * (1 + bump)
		if s.val[s.diag[k]] == 0 {
			d = 1 // an unknown in no equation stays 0
		}
		s.work[k] = 0
		for _, i := range reach {
			l := s.work[i] / s.lval[s.lstart[i]]
			s.work[i] = 0
			rows := s.lrow[s.lstart[i]+1 : s.fill[i]]
			vals := s.lval[s.lstart[i]+1 : s.fill[i]]
			for p, r := range rows {
				s.work[r] -= vals[p] * l
			}
			d -= l * l
			s.lrow[s.fill[i]], s.lval[s.fill[i]] = k, l
			s.fill[i]++
		}
		if !(d > 0) {
			clear(s.work)
			return false
		}
		s.lrow[s.fill[k]], s.lval[s.fill[k]] = k, math.Sqrt(d)
		s.fill[k]++
	}
	return true
}

// solve replaces the right-hand side b by the solution.
func (s *system) solve(b []float64) {
	x := make([]float64, s.n)
	for i, v := range b {
		x[s.perm[i]] = v
	}
	for j := range s.n {
		x[j] /= s.lval[s.lstart[j]]
		for p := s.lstart[j] + 1; p < s.lstart[j+1]; p++ {
			x[s.lrow[p]] -= s.lval[p] * x[j]
		}
	}
	for j := s.n - 1; j >= 0; j-- {
		for p := s.lstart[j] + 1; p < s.lstart[j+1]; p++ {
			x[j] -= s.lval[p] * x[s.lrow[p]]
		}
		x[j] /= s.lval[s.lstart[j]]
	}
	for i := range b {
		b[i] = x[s.perm[i]]
	}
}
