package pack

import (
	"fmt"
	"math"
	"math/big"
	"slices"

	"groundwork/internal/geom"
)

// Verify judges a layout: every box is an item turned as it may be, inside the
// box, clear of all others, borne by the share of its base that o asks for, with
// no more on it than it can bear, and the box is no heavier than allowed;
// and none is missing but those told. It shares no code with the search. Lengths
// are counted in whole micrometres, loads in exact fractions of which a billionth
// is let pass. The error tells what is wrong first.
//
// What lies on several boxes loads each by the area that it touches of it.
func Verify(l Layout, items []Item, o Options) error {
	whole := func(v float64) (int64, error) {
		n := math.Round(v * 1000)
		if math.Abs(v*1000-n) > 1e-3 {
			return 0, fmt.Errorf("%v mm is no whole number of micrometres", v)
		}
		return int64(n), nil
	}
	type body struct{ lo, hi [3]int64 }
	bodies := make([]body, len(l.Placed))
	room := [3]float64{l.Box.Size.X, l.Box.Size.Y, l.Box.Size.Z}
	count := make([]int, len(items))
	var mass float64
	for i, p := range l.Placed {
		if p.Item < 0 || p.Item >= len(items) {
			return fmt.Errorf("box %d is of item %d, which there is not", i, p.Item)
		}
		it := items[p.Item]
		count[p.Item]++
		mass += it.Mass
		if p.Turn > 5 || it.Turns != 0 && it.Turns&(1<<p.Turn) == 0 {
			return fmt.Errorf("box %d (%s) must not be turned so", i, it.ID)
		}
		// Turn 0 is xyz, 1 yxz, 2 xzy, 3 zxy, 4 yzx, 5 zyx.
		s := it.Size
		want := [6]geom.Vec3{
			{X: s.X, Y: s.Y, Z: s.Z}, {X: s.Y, Y: s.X, Z: s.Z}, {X: s.X, Y: s.Z, Z: s.Y},
			{X: s.Z, Y: s.X, Z: s.Y}, {X: s.Y, Y: s.Z, Z: s.X}, {X: s.Z, Y: s.Y, Z: s.X},
		}[p.Turn]
		at, size, asked := [3]float64{p.At.X, p.At.Y, p.At.Z}, [3]float64{p.Size.X, p.Size.Y, p.Size.Z}, [3]float64{want.X, want.Y, want.Z}
		for a := range 3 {
			lo, err := whole(at[a])
			if err != nil {
				return fmt.Errorf("box %d (%s): %w", i, it.ID, err)
			}
			d, err := whole(size[a])
			if err != nil {
				return fmt.Errorf("box %d (%s): %w", i, it.ID, err)
			}
			// 1e-4 µm is rounding of a size that is a whole number of µm.
			if low := asked[a]*1000 - 1e-4; float64(d) < low || float64(d) >= low+1+1e-3 {
				return fmt.Errorf("box %d (%s) is %d µm long along axis %d, and %v mm is asked", i, it.ID, d, a, asked[a])
			}
			if lo < 0 || float64(lo+d) > room[a]*1000+1e-4 {
				return fmt.Errorf("box %d (%s) reaches from %d to %d µm of %v mm along axis %d", i, it.ID, lo, lo+d, room[a], a)
			}
			bodies[i].lo[a], bodies[i].hi[a] = lo, lo+d
		}
	}
	if len(l.Left) != len(items) {
		return fmt.Errorf("what is left is told of %d items of %d", len(l.Left), len(items))
	}
	for k, it := range items {
		if want := max(it.Count, 1); count[k]+l.Left[k] != want || l.Left[k] < 0 {
			return fmt.Errorf("of item %d (%s) %d are packed and %d left, of %d", k, it.ID, count[k], l.Left[k], want)
		}
	}
	if m := l.Box.MaxMass; m > 0 && mass > m*(1+1e-12) {
		return fmt.Errorf("%v g are packed into a box for %v g", mass, m)
	}
	shared := func(a, b body, axis int) int64 { return min(a.hi[axis], b.hi[axis]) - max(a.lo[axis], b.lo[axis]) }
	for i, a := range bodies {
		for j, b := range bodies[:i] {
			if shared(a, b, 0) > 0 && shared(a, b, 1) > 0 && shared(a, b, 2) > 0 {
				return fmt.Errorf("boxes %d and %d are in one another", j, i)
			}
		}
	}
	touch := func(below, above body) int64 {
		if below.hi[2] != above.lo[2] {
			return 0
		}
		return max(shared(below, above, 0), 0) * max(shared(below, above, 1), 0)
	}
	on := make([]int64, len(bodies)) // area of each base that lies on tops
	for i, a := range bodies {
		for _, b := range bodies {
			on[i] += touch(b, a)
		}
		if a.lo[2] == 0 || o.Support == 0 {
			continue
		}
		base := (a.hi[0] - a.lo[0]) * (a.hi[1] - a.lo[1])
		if on[i] < base && float64(on[i]) < o.Support*float64(base) {
			return fmt.Errorf("box %d lies on %.3f of its base", i, float64(on[i])/float64(base))
		}
	}
	if !slices.ContainsFunc(items, func(it Item) bool { return it.Fragile || it.Bears > 0 }) {
		return nil
	}
	order := make([]int, len(bodies))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case bodies[a].lo[2] > bodies[b].lo[2]:
			return -1
		case bodies[a].lo[2] < bodies[b].lo[2]:
			return 1
		}
		return a - b
	})
	load := make([]*big.Rat, len(bodies))
	for i := range load {
		load[i] = new(big.Rat)
	}
	for _, i := range order {
		it := items[l.Placed[i].Item]
		switch {
		case it.Fragile && load[i].Sign() > 0:
			return fmt.Errorf("%s g lie on box %d (%s), which bears nothing", load[i].FloatString(1), i, it.ID)
		case it.Bears > 0 && load[i].Cmp(new(big.Rat).SetFloat64(it.Bears*(1+1e-9))) > 0:
			return fmt.Errorf("%s g lie on box %d (%s), which bears %v g", load[i].FloatString(1), i, it.ID, it.Bears)
		}
		if on[i] == 0 {
			continue
		}
		hands := new(big.Rat).Add(load[i], new(big.Rat).SetFloat64(it.Mass))
		for j := range bodies {
			if t := touch(bodies[j], bodies[i]); t > 0 {
				load[j].Add(load[j], new(big.Rat).Mul(hands, big.NewRat(t, on[i])))
			}
		}
	}
	for i, p := range l.Placed { // what weighs nothing may not lie on what is fragile either
		if !items[p.Item].Fragile {
			continue
		}
		for j := range bodies {
			if touch(bodies[i], bodies[j]) > 0 {
				return fmt.Errorf("box %d lies on box %d (%s), which bears nothing", j, i, items[p.Item].ID)
			}
		}
	}
	return nil
}
