package kit_test

import (
	"slices"
	"strings"
	"testing"

	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/kit"
	"groundwork/internal/solid"
)

// What glue, iron and finish are tried on goes with the kit, and is weighed with it.
func TestTrials(t *testing.T) {
	in := given(t, "otter-stool")
	plain := made(t, in, kit.Options{Split: kit.Cores})
	block := &solid.Mesh{Volume: 90 * 40 * 20, Bounds: geom.Box3{Max: geom.V3(90, 40, 20)}}
	for i := range 8 {
		block.Vertices = append(block.Vertices, geom.V3(90*float64(i&1), 40*float64(i>>1&1), 20*float64(i>>2)))
	}
	in.Fixtures = &fixture.Result{Fixtures: []fixture.Fixture{
		{ID: "coupon/insert-M8", Kind: fixture.Coupon, Parts: []fixture.Part{{ID: "coupon/insert-M8/holes", Mesh: block, Filament: "abs", Quantity: 1}}},
		{ID: "coupon/holes", Kind: fixture.Coupon, Parts: []fixture.Part{{ID: "coupon/holes/holes", Mesh: block, Filament: "abs", Quantity: 1}}},
	}}
	for _, c := range []struct {
		split                     kit.Split
		plastic, offcuts, inserts int
		fixtures                  bool
	}{{kit.Ready, 0, 0, 0, false}, {kit.Cores, 1, 2, 2, true}, {kit.Leaves, 0, 2, 7, false}} {
		r := made(t, in, kit.Options{Split: c.split})
		var plastic, offcuts int
		for _, s := range r.Spares {
			if s.Why == "" || s.Quantity < 1 {
				t.Errorf("%s: %+v", c.split, s)
			}
			switch {
			case strings.HasPrefix(s.Item, "piece of ABS"):
				plastic++
			case strings.HasPrefix(s.Item, "offcut of "):
				offcuts++
			default:
				continue
			}
			if !says(r.Insert, s.Item) {
				t.Errorf("%s: the insert sheet lacks %s", c.split, s.Item)
			}
		}
		if got := r.SparesOf("M8 heat-set insert"); plastic != c.plastic || offcuts != c.offcuts || got != c.inserts {
			t.Errorf("%s: %d pieces of plastic, %d offcuts, %d inserts to spare; want %+v", c.split, plastic, offcuts, got, c)
		}
		small := slices.ContainsFunc(r.Things, func(x kit.Thing) bool { return x.ID == "fixtures" })
		if small != c.fixtures {
			t.Errorf("%s: the coupon of inserts is sent: %v", c.split, small)
		}
		if c.split != kit.Cores {
			continue
		}
		// 80 x 40 x 5 mm of ABS at 1.04 g/cm³ are 16.64 g; that of an M8 insert is the other difference.
		mass := func(r *kit.Result) (m, insert float64) {
			for _, x := range r.Things {
				if x.Kind == kit.Hardware {
					m = x.Mass
				}
			}
			for _, h := range r.Hardware {
				if h.Item == "M8 heat-set insert" {
					insert = h.Mass
				}
			}
			return m, insert
		}
		a, one := mass(plain)
		b, _ := mass(r)
		if d := b - a; d < one || d > one+5 { // and a box that may be a little larger
			t.Errorf("an insert more, of %g g, makes %g g more", one, d)
		}
		if plain.SparesOf("M8 heat-set insert") != 1 {
			t.Error("an insert for practice without anything to set it in")
		}
		if a < 16.6 {
			t.Errorf("hardware of %g g holds no piece of plastic", a)
		}
	}
}

// Leaves that wait for cores that the buyer prints come in a box of their own,
// later; those that wait for the seller's cores come with them, cut.
func TestVeneerFollows(t *testing.T) {
	in := given(t, "otter-stool")
	later := func(r *kit.Result) (n int) {
		for _, q := range r.Parcels {
			if q.Follows == "" {
				continue
			}
			n++
			if len(q.Things) != 1 || r.Things[q.Things[0]].Kind != kit.VeneerPack {
				t.Errorf("%s follows with %v", q.ID, q.Things)
			}
		}
		return n
	}
	if r := made(t, in, kit.Options{Split: kit.Leaves}); later(r) != 1 || !says(r.Insert, "The veneer follows") || len(r.Parcels) != 2 {
		t.Errorf("%d of %d parcels follow", later(r), len(r.Parcels))
	}
	r := made(t, in, kit.Options{Split: kit.Cores})
	if later(r) != 0 || !says(r.Insert, "every leaf was cut to what was measured") || !says(r.Insert, "true perimeter") {
		t.Errorf("cores: %d follow; %v", later(r), r.Insert)
	}
	if kit.Cores.Measurer() != "seller" || kit.Ready.Measurer() != "seller" || kit.Leaves.Measurer() != "buyer" {
		t.Error("who measures?")
	}
	// Nothing waits: one box.
	in.Patterns = slices.Clone(in.Patterns)
	for i := range in.Patterns {
		in.Patterns[i].Release = ""
	}
	if r := made(t, in, kit.Options{Split: kit.Leaves}); later(r) != 0 || len(r.Parcels) != 1 {
		t.Errorf("nothing waits, and %d follow", later(r))
	}
	// Things by their numbers, and what the rest of the mass is.
	for _, q := range r.Parcels {
		if !slices.IsSorted(q.Numbered()) || len(q.Numbered()) != len(q.Things) {
			t.Errorf("%v of %v", q.Numbered(), q.Things)
		}
	}
	if !says(r.Insert, "are the box, wrapping and filling") {
		t.Error("what box and filling weigh is not told")
	}
}
