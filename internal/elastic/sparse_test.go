package elastic

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// What the sparse factor solves is what the matrix solves that was put together
// densely, whatever its blocks; and so with rows dropped.
func TestSparseFactorSolves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 14).Draw(t, "blocks")
		size := make([]int, n)
		for i := range size {
			size[i] = rapid.SampledFrom([]int{0, 1, 3, 6}).Draw(t, "size")
		}
		next := make([][]int32, n)
		for i := range n {
			for j := range i {
				if rapid.IntRange(0, 3).Draw(t, "joined") == 0 {
					next[i] = append(next[i], int32(j))
				}
			}
		}
		p := newPattern(size, next)
		rows := p.rows()
		if rows == 0 {
			return
		}
		full := mat.NewSymDense(rows, nil)
		v := make([]float64, p.len)
		number := rapid.Float64Range(-1, 1)
		for i := range n {
			for _, j := range next[i] {
				b := make([]float64, size[i]*size[j])
				for e := range b {
					b[e] = number.Draw(t, "value")
					full.SetSym(p.first[i]+e/size[j], p.first[j]+e%size[j], b[e])
				}
				if rapid.Bool().Draw(t, "as its image") {
					m := make([]float64, len(b))
					for e := range b {
						m[e%size[j]*size[i]+e/size[j]] = b[e]
					}
					p.add(v, int(j), i, m)
				} else {
					p.add(v, i, int(j), b)
				}
			}
			b := make([]float64, size[i]*size[i])
			for e := range b {
				if r, c := e/size[i], e%size[i]; r == c {
					b[e] = float64(rows) // more than the row's others together: definite
					full.SetSym(p.first[i]+r, p.first[i]+r, b[e])
				}
			}
			p.add(v, i, i, b)
		}
		if i := rapid.IntRange(0, n-1).Draw(t, "dropped"); size[i] > 1 {
			lo := rapid.IntRange(0, size[i]-1).Draw(t, "from")
			p.drop(v, i, lo, size[i])
			for r := p.first[i] + lo; r < p.first[i+1]; r++ {
				for c := range rows {
					full.SetSym(r, c, 0)
				}
				full.SetSym(r, r, 1)
			}
		}
		if !p.factor(v) {
			t.Fatal("not definite")
		}
		x := make([]float64, rows)
		for i := range x {
			x[i] = number.Draw(t, "x")
		}
		var b mat.VecDense
		b.MulVec(full, mat.NewVecDense(rows, x))
		p.solve(v, b.RawVector().Data)
		for i, want := range x {
			if got := b.AtVec(i); math.Abs(got-want) > 1e-11 {
				t.Fatalf("x[%d] = %g, not %g", i, got, want)
			}
		}
	})
}

// What is not definite is told.
func TestSparseFactorRefuses(t *testing.T) {
	p := newPattern([]int{1, 1}, [][]int32{nil, {0}})
	v := make([]float64, p.len)
	p.add(v, 0, 0, []float64{1})
	p.add(v, 1, 1, []float64{1})
	p.add(v, 1, 0, []float64{1.5})
	if p.factor(v) {
		t.Error("1 1.5; 1.5 1 is not definite")
	}
}

// The smoother's weights are the best of their degree: what bounds a V-cycle,
// the largest λp²/(1-p²) of the error's polynomial p on (0, 1], is 1/8 without
// them (3/4k(k+1); Lottes, Optimal polynomial smoothers for multigrid V-cycles,
// 2023) and grows when either is moved.
func TestSmootherWeights(t *testing.T) {
	bound := func(w [2]float64) (most float64) {
		for i := 1; i <= 2000; i++ {
			l := float64(i) / 2000
			first := 4.0 / 3
			second := first/5 + 12.0/5*(1-l*first)
			p := 1 - l*(w[0]*first+w[1]*second)
			most = max(most, l*p*p/(1-p*p))
		}
		return most
	}
	if b := bound([2]float64{1, 1}); math.Abs(b-1.0/8) > 1e-3 {
		t.Errorf("without weights the bound is %.4f", b)
	}
	best := bound(weights)
	for _, d := range [][2]float64{{0.01, 0}, {-0.01, 0}, {0, 0.01}, {0, -0.01}} {
		if b := bound([2]float64{weights[0] + d[0], weights[1] + d[1]}); b <= best {
			t.Errorf("moved by %v the bound is %.5f, less than %.5f", d, b, best)
		}
	}
}
