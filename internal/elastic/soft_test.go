package elastic

import (
	"context"
	"math"
	"slices"
	"sync"
	"testing"

	"groundwork/internal/geom"
)

// A system softened is the system of softer materials and links: preloads,
// contacts, forces and stresses too.
func TestSoftened(t *testing.T) {
	const f = 0.3
	m, c := table(30)
	soft := m
	soft.Bodies, soft.Links = slices.Clone(m.Bodies), slices.Clone(m.Links)
	for i := range soft.Bodies {
		b := &soft.Bodies[i]
		b.Materials = slices.Clone(b.Materials)
		for j := range b.Materials {
			s := &b.Materials[j].Stiffness
			for r := range s {
				for q := range s[r] {
					s[r][q] *= f
				}
			}
		}
	}
	screw := -1
	for i := range soft.Links {
		l := &soft.Links[i]
		l.Along, l.Across = f*l.Along, f*l.Across
		if l.Preload > 0 {
			screw = i
		}
	}
	ctx := context.Background()
	hard, err := Assemble(ctx, m, Options{})
	if err != nil {
		t.Fatal(err)
	}
	plain, err := Assemble(ctx, soft, Options{})
	if err != nil {
		t.Fatal(err)
	}
	softened := hard.Softened(f)
	was := hard.model.Links[screw].Preload
	plain.Preload(screw, 2*was)
	softened.Preload(screw, 2*was)
	if hard.model.Links[screw].Preload != was {
		t.Error("the other system's preload has changed")
	}
	want, err := plain.Solve(ctx, c)
	if err != nil {
		t.Fatal(err)
	}
	got, err := softened.Solve(ctx, c)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "energy", got.Energy, want.Energy, 1e-5)
	for i := range m.Links {
		a, b := got.Link(i), want.Link(i)
		if a.Bears != b.Bears || math.Abs(a.Tension-b.Tension) > 1e-4*(1+math.Abs(b.Tension)) || a.Across.Dist(b.Across) > 1e-4*(1+b.Across.Len()) {
			t.Errorf("link %d: %+v, not %+v", i, a, b)
		}
	}
	for body := range m.Bodies {
		mises := func(s Tensor) float64 { return s.VonMises() }
		a, _ := got.Greatest(body, mises)
		b, at := want.Greatest(body, mises)
		near(t, "greatest stress", a, b, 1e-4)
		u, _ := got.Displacement(body, at)
		v, _ := want.Displacement(body, at)
		if u.Dist(v) > 1e-5*v.Len() {
			t.Errorf("body %d moves %v, not %v", body, u, v)
		}
		s, _ := got.Stress(body, at)
		w, _ := want.Stress(body, at)
		near(t, "stress", s.VonMises(), w.VonMises(), 1e-4)
	}
}

// Cases solved side by side come out as those solved one after another, to the
// last bit.
func TestSideBySide(t *testing.T) {
	m, c := table(30)
	ctx := context.Background()
	s, err := Assemble(ctx, m, Options{})
	if err != nil {
		t.Fatal(err)
	}
	cases := []Case{c, {Gravity: geom.V3(0, 0, -9810)}, {Gravity: geom.V3(500, 0, -9810)}, c}
	var alone [4]*Result
	for i := range cases {
		if alone[i], err = s.Solve(ctx, cases[i]); err != nil {
			t.Fatal(err)
		}
	}
	var beside [4]*Result
	var wg sync.WaitGroup
	for i := range cases {
		wg.Go(func() { beside[i], _ = s.Solve(ctx, cases[i]) })
	}
	wg.Wait()
	for i := range cases {
		if beside[i] == nil || !slices.Equal(beside[i].x, alone[i].x) {
			t.Errorf("case %d comes out otherwise", i)
		}
	}
}
