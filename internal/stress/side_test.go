package stress

import (
	"context"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/shop"
)

// Where creep leaves the same of all, the system is softened; where it leaves a
// billionth more of one body, the crept model is assembled by itself. Both say
// the same of a table with screws and contacts.
func TestCreepOfOneFilamentAndOfTwo(t *testing.T) {
	in := example(t, "heron-side-table")
	const left = 0.4
	one := assembled(t, in, Options{Cell: 16, Creep: func(shop.Filament) float64 { return left }})
	was := in.Filament
	in.Filament = func(body int) shop.Filament {
		f := was(body)
		if body == 0 {
			f.ID = "another"
		}
		return f
	}
	two := assembled(t, in, Options{Cell: 16, Creep: func(f shop.Filament) float64 {
		if f.ID == "another" {
			return left * (1 + 1e-9)
		}
		return left
	}})
	for i, c := range tableCases(t, in) {
		if i == 0 {
			c.Sustained = true
		}
		if !c.Sustained {
			continue
		}
		a, b := solved(t, one, c), solved(t, two, c)
		at := geom.V3(0, 0, 540)
		top := member(t, in, "top")
		u, _ := a.Displacement(one.bodyOf[top], at)
		v, _ := b.Displacement(two.bodyOf[top], at)
		near(t, "middle down", u.Z, v.Z, 2e-3)
		for j, p := range b.Screws() {
			near(t, "pull of a screw", a.Screws()[j].Tension, p.Tension, 2e-3)
			near(t, "preload of a screw", a.Screws()[j].Preload, p.Preload, 2e-3)
		}
		for j := range in.Bodies {
			near(t, "stress in "+in.Bodies[j].ID, a.Body(j).Mises.Value, b.Body(j).Mises.Value, 1e-2)
		}
	}
}

// Side by side, cases come out as each by itself.
func TestSolveAll(t *testing.T) {
	in := example(t, "heron-side-table")
	s := assembled(t, in, Options{Cell: 16})
	cases := append(tableCases(t, in)[:3], Case{ID: "no such member", Loads: []Load{{Member: -1}}})
	states, errs := s.SolveAll(context.Background(), cases)
	for i, c := range cases[:3] {
		if errs[i] != nil {
			t.Fatal(errs[i])
		}
		for b := range in.Bodies {
			if got, want := states[i].Body(b), solved(t, s, c).Body(b); got != want {
				t.Errorf("%s: %+v, alone %+v", c.ID, got, want)
			}
		}
	}
	if errs[3] == nil || states[3] != nil {
		t.Error("a load on no member has a state")
	}
}
