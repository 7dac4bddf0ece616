package plan

import (
	"context"
	"fmt"

	"groundwork/internal/core"
	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/printing"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// PrintSegments is the printing of some of the plan's segments by themselves, by
// the options of the plan: each lies as it does in the plan's own printing, if
// it goes to the same printer. Prints are in the order of chosen, which are
// indices into Cores.Segments; s has the printers that may be used.
func (pl *Plan) PrintSegments(ctx context.Context, k *solid.Kernel, chosen []int, s *shop.Shop) (*printing.Result, error) {
	segments := make([]core.Segment, len(chosen))
	for i, n := range chosen {
		segments[i] = pl.Cores.Segments[n]
	}
	o := printingOptions(pl, pl.options.Printing)
	o.Spent = nil // which is a clock, and packing a few parts takes no time
	if of := o.Mating; of != nil {
		o.Mating = func(i int) []geom.Plane { return of(chosen[i]) }
	}
	if of := o.Along; of != nil {
		o.Along = func(i int) geom.Vec3 { return of(chosen[i]) }
	}
	if of := o.Across; of != nil {
		o.Across = func(i int, up geom.Vec3) float64 { return of(chosen[i], up) }
	}
	if of := o.Down; of != nil {
		o.Down = func(i int) (geom.Vec3, bool) { return of(chosen[i]) }
	}
	r, err := printing.Plan(ctx, k, segments, s, func(i int) string { return pl.filament(chosen[i]) }, o)
	if err != nil {
		return nil, fmt.Errorf("plan: printing some segments: %w", err)
	}
	return r, nil
}

// PrintFixtures is the printing of other fixtures than those of the plan, or of
// some of them, by the options of the plan: Prints are those of f.Segments.
func (pl *Plan) PrintFixtures(ctx context.Context, k *solid.Kernel, f *fixture.Result, s *shop.Shop) (*printing.Result, error) {
	parts, filament := f.Segments()
	o := fixturePrintingOptions(&Plan{Fixtures: f}, pl.options.Printing)
	o.Spent = nil
	r, err := printing.Plan(ctx, k, parts, s, filament, o)
	if err != nil {
		return nil, fmt.Errorf("plan: printing some fixtures: %w", err)
	}
	return r, nil
}
