//go:build long

package printing_test

import (
	"context"
	"math"
	"testing"

	"groundwork/examples"
	"groundwork/internal/plan"
	"groundwork/internal/printing"
)

var made = map[string]*plan.Plan{}

// example is the plan of a piece of the library, made once.
func example(t *testing.T, name string) *plan.Plan {
	t.Helper()
	if pl := made[name]; pl != nil {
		return pl
	}
	p, err := examples.Piece(name, nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := examples.Shop()
	if err != nil {
		t.Fatal(err)
	}
	pl, err := plan.Make(context.Background(), printing.Kernel(), p, s, plan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	made[name] = pl
	return pl
}

// The quick estimate against the full one, on every flat pose of every segment
// of the examples.
func TestQuickEstimateAgreesWithFull(t *testing.T) {
	for _, name := range examples.Pieces() {
		pl := example(t, name)
		var n, time2, timeMost, grams2, gramsMost, bias, gbias, chosen2, chosen float64
		var regret, most float64
		for i, seg := range pl.Cores.Segments {
			f, _ := pl.Shop.Filament(pl.Printing.Prints[i].Filament)
			cs, err := printing.Candidates(context.Background(), printing.Kernel(), seg, pl.Shop.Printers[0], f)
			if err != nil {
				t.Fatal(err)
			}
			if len(cs) == 0 {
				t.Logf("%s has no flat pose", seg.ID)
				continue
			}
			best, worth := 0, 0
			of := func(c printing.Candidate) float64 {
				return c.FullTime/60 + 3*c.FullGrams - c.QuickTime/60 - 3*c.QuickGrams + c.Cost
			}
			for j, c := range cs {
				dt, dg := c.QuickTime/c.FullTime-1, c.QuickGrams/c.FullGrams-1
				n++
				bias += dt
				gbias += dg
				time2 += dt * dt
				grams2 += dg * dg
				timeMost, gramsMost = max(timeMost, math.Abs(dt)), max(gramsMost, math.Abs(dg))
				if math.Abs(dt) > 0.2 || math.Abs(dg) > 0.15 {
					t.Logf("%s up %.2f high %.0f: %.0f s for %.0f, %.1f g for %.1f", seg.ID, c.Up, c.Height, c.QuickTime, c.FullTime, c.QuickGrams, c.FullGrams)
				}
				if of(c) < of(cs[best])-0.01 {
					best = j
				}
				if c.Cost < cs[worth].Cost-0.01 {
					worth = j
				}
				if c.Up.Dist(pl.Printing.Prints[i].Pose.Z) < 1e-6 {
					chosen++
					chosen2 += dt * dt
				}
			}
			if d := of(cs[worth]) - of(cs[best]); d > 0 {
				regret += d
				most = max(most, d)
			}
		}
		// What the docs say, with a little room.
		if r := math.Sqrt(time2 / n); r > 0.1 {
			t.Errorf("%s: time within %.3f", name, r)
		}
		if r := math.Sqrt(grams2 / n); r > 0.03 {
			t.Errorf("%s: grams within %.3f", name, r)
		}
		t.Logf("%s: %d segments, %.0f poses: time bias %.3f rms %.3f most %.3f (chosen rms %.3f), grams bias %.3f rms %.3f most %.3f; lost by quick choice %.2f min, most %.2f",
			name, len(pl.Cores.Segments), n, bias/n, math.Sqrt(time2/n), timeMost, math.Sqrt(chosen2/chosen), gbias/n, math.Sqrt(grams2/n), gramsMost, regret, most)
	}
}
