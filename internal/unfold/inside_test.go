package unfold

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"groundwork/internal/geom"
)

// The sparse factorisation against a dense one of another library.
func TestSystemAgainstDense(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{1, 2, 7, 40, 120} {
		at := make([]geom.Vec3, n)
		var sides [][2]int32
		for i := range at {
			at[i] = geom.V3(r.Float64(), r.Float64(), r.Float64())
			for range min(i, 3) {
				sides = append(sides, [2]int32{int32(i), int32(r.IntN(i))})
			}
		}
		s := newSystem(2, sides, at)
		dense := mat.NewSymDense(2*n, nil)
		add := func(i, j int32, x float64) {
			s.add(i, j, x)
			dense.SetSym(int(i), int(j), dense.At(int(i), int(j))+x)
		}
		for _, e := range sides { // random positive semidefinite blocks
			g := [4]float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}
			u := [4]int32{2 * e[0], 2*e[0] + 1, 2 * e[1], 2*e[1] + 1}
			for a := range 4 {
				for b := range a + 1 {
					add(u[a], u[b], g[a]*g[b])
				}
			}
		}
		for i := range int32(2 * n) {
			add(i, i, 0.5)
		}
		b := make([]float64, 2*n)
		for i := range b {
			b[i] = r.NormFloat64()
		}
		var c mat.Cholesky
		if !c.Factorize(dense) {
			t.Fatal("not positive definite")
		}
		var want mat.VecDense
		if err := c.SolveVecTo(&want, mat.NewVecDense(2*n, append([]float64(nil), b...))); err != nil {
			t.Fatal(err)
		}
		if !s.factor(0) {
			t.Fatal("not factored")
		}
		s.solve(b)
		for i := range b {
			if math.Abs(b[i]-want.AtVec(i)) > 1e-9 {
				t.Fatalf("%d unknowns: x[%d] is %g, want %g", 2*n, i, b[i], want.AtVec(i))
			}
		}
		if s.add(0, 0, -100); s.factor(0) {
			t.Error("an indefinite matrix was factored")
		}
	}
}

func TestSVD(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 1000 {
		a, b, c, d := r.NormFloat64(), r.NormFloat64(), r.NormFloat64(), r.NormFloat64()
		u, v, s1, s2 := svd(a, b, c, d)
		ul, vl := u.Left(), v.Left()
		row := func(x, y float64) geom.Vec2 { return v.Scale(s1 * x).Add(vl.Scale(s2 * y)) }
		top, bottom := row(u.X, ul.X), row(u.Y, ul.Y)
		if top.Dist(geom.V2(a, b)) > 1e-12 || bottom.Dist(geom.V2(c, d)) > 1e-12 || s1 < math.Abs(s2) {
			t.Fatalf("[%g %g; %g %g] became %v %v", a, b, c, d, top, bottom)
		}
	}
}

// A relaxed layout has no less strained one beside it.
func TestRelaxedIsLeast(t *testing.T) {
	var v []geom.Vec3
	var tri [][3]int32
	const n = 12
	for i := range n + 1 {
		for j := range n + 1 {
			x, y := float64(i)-n/2, float64(j)-n/2
			v = append(v, geom.V3(x, y, 4*math.Exp(-(x*x+y*y)/16)))
			if i > 0 && j > 0 {
				k := int32(i*(n+1) + j)
				tri = append(tri, [3]int32{k - n - 2, k - 1, k}, [3]int32{k - n - 2, k, k - n - 1})
			}
		}
	}
	m, err := newMesh(v, tri)
	if err != nil {
		t.Fatal(err)
	}
	flat, err := m.layout()
	if err != nil {
		t.Fatal(err)
	}
	rs := m.rests()
	least := m.strain(rs, flat)
	r := rand.New(rand.NewPCG(5, 6))
	for _, by := range []float64{1e-3, 1e-4, 1e-5} {
		for range 200 {
			other := make([]geom.Vec2, len(flat))
			for i := range flat {
				other[i] = flat[i].Add(geom.V2(r.NormFloat64(), r.NormFloat64()).Scale(by))
			}
			if e := m.strain(rs, other); e < least {
				t.Fatalf("moved by %g the strain is %g below %g", by, least-e, least)
			}
			// One vertex alone, which tells a wrong gradient from a right one.
			copy(other, flat)
			i := r.IntN(len(other))
			other[i] = other[i].Add(geom.V2(r.NormFloat64(), r.NormFloat64()).Scale(by))
			if e := m.strain(rs, other); e < least*(1-1e-13) {
				t.Fatalf("vertex %d moved by %g: the strain is %g below %g", i, by, least-e, least)
			}
		}
	}
	// Started from a disk it comes to the same.
	flat, err = m.spread()
	if err != nil {
		t.Fatal(err)
	}
	if flat, err = m.relax(flat); err != nil {
		t.Fatal(err)
	}
	if e := m.strain(rs, flat); math.Abs(e/least-1) > 1e-9 {
		t.Errorf("from a disk %g, unrolled %g", e, least)
	}
}

// The trees find what a search of every triangle finds.
func TestTreeAgainstAll(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	p := func() geom.Vec3 { return geom.V3(r.Float64(), r.Float64(), r.Float64()) }
	const n = 300
	tr := newTree(n, func(int) (a, b, c geom.Vec3) {
		a = p()
		return a, a.Add(p().Scale(0.2)), a.Add(p().Scale(0.2))
	})
	for range 500 {
		q := p().Scale(1.4)
		best, least := int32(-1), math.Inf(1)
		for i := range int32(n) {
			d, w := tr.closest(i, q)
			at := mix(tr.corners[i][:], [3]int32{0, 1, 2}, w)
			if math.Abs(at.Dist(q)-math.Sqrt(d)) > 1e-12 || min(w[0], w[1], w[2]) < -1e-12 {
				t.Fatalf("triangle %d: weights %v, distance %g", i, w, math.Sqrt(d))
			}
			for range 20 { // no other point of it is nearer
				x, y := r.Float64(), r.Float64()
				if x+y > 1 {
					x, y = 1-x, 1-y
				}
				if mix(tr.corners[i][:], [3]int32{0, 1, 2}, [3]float64{1 - x - y, x, y}).Dist(q) < math.Sqrt(d)-1e-12 {
					t.Fatalf("triangle %d has a nearer point", i)
				}
			}
			if d < least {
				best, least = i, d
			}
		}
		if i, d, _ := tr.nearest(q); i != best || math.Abs(d-math.Sqrt(least)) > 1e-15 {
			t.Fatalf("found %d at %g, want %d at %g", i, d, best, math.Sqrt(least))
		}
		if found := tr.within(q, math.Sqrt(least)+1e-12); len(found) == 0 || found[0] != best {
			t.Fatalf("within: %v, want %d", found, best)
		}
	}
}

// A cut divides triangles along the plane and nothing else.
func TestSplit(t *testing.T) {
	v := []geom.Vec3{{}, {X: 4}, {X: 4, Y: 4}, {Y: 4}, {X: 2, Y: 2, Z: 1}}
	m, err := newMesh(v, [][3]int32{{0, 1, 4}, {1, 2, 4}, {2, 3, 4}, {3, 0, 4}})
	if err != nil {
		t.Fatal(err)
	}
	area := func(m *mesh) (sum float64) {
		for t := range m.tri {
			sum += m.facet(t).Len() / 2
		}
		return sum
	}
	for _, level := range []float64{-1, 0, 1, 2, 3, 3.5, 4} {
		f := make([]float64, len(m.v))
		for i, p := range m.v {
			f[i] = p.X - level
		}
		cut, g := m.split(f, 1e-9, nil)
		if err := cut.link(); err != nil {
			t.Fatal(err)
		}
		if math.Abs(area(cut)-area(m)) > 1e-12 {
			t.Errorf("cut at %g: area %g became %g", level, area(m), area(cut))
		}
		for i, p := range cut.v {
			if math.Abs(p.X-level-g[i]) > 1e-12 {
				t.Errorf("cut at %g: vertex at %v has the value %g", level, p, g[i])
			}
		}
		for _, c := range cut.tri {
			if lo, hi := min(g[c[0]], g[c[1]], g[c[2]]), max(g[c[0]], g[c[1]], g[c[2]]); lo < 0 && hi > 0 {
				t.Errorf("cut at %g: a triangle from %g to %g is left", level, lo, hi)
			}
		}
	}
}
