// Package remedy finds what would make a verdict pass: more contours, denser
// core fill, another filament, a thicker board, another screw, a steel rod let
// in, a seam elsewhere. Nothing is claimed that was not solved again.
//
// A Ladder is one kind of change in steps that go further and further; Search
// climbs every ladder to the lowest step that passes.
package remedy

import (
	"context"
	"errors"
	"fmt"
	"math"

	"groundwork/internal/stress"
)

// Step is one change.
type Step struct {
	Text  string // what to do, imperative: "print top with 5 contours instead of 3"
	Apply func(context.Context, stress.Inputs) (stress.Inputs, error)
}

// Ladder is one kind of change, each step going further than the one before.
type Ladder struct {
	Kind  string // contours, fill, filament, thickness, screws, rod, seam
	Steps []Step
}

// ErrNotPossible is what a Step's Apply returns, wrapped, where it cannot be
// made; the step is passed over.
var ErrNotPossible = errors.New("cannot be made")

// Margin solves the structure anew and says by what margin the verdict then
// passes: limit over value, or value over limit for what should be large.
type Margin func(context.Context, stress.Inputs) (float64, error)

// Remedy is a step that makes the verdict pass.
type Remedy struct {
	Kind, Text string
	Margin     float64 // with it
}

// Result is what Search found.
type Result struct {
	Found []Remedy // in the order of the ladders, at most one of each
	Short []Remedy // the last step of ladders that do not reach far enough, with the margin they reach
}

// Search climbs every ladder to the lowest step with which the margin is at
// least 1. rough finds the place, at little cost, by its own margin in
// proportion: before is the verdict's margin as it stands, by full and by
// rough. full has the last word: each remedy's margin is its.
//
// Steps are taken to help more the further they go. So the last is looked at
// first: where that falls far short by rough, the ladder is told to be too short
// and full is not asked. Then rough halves its way up, and where full says that
// it does not suffice, the next steps are tried.
func Search(ctx context.Context, in stress.Inputs, ladders []Ladder, before float64, rough, full Margin) (Result, error) {
	var out Result
	base, err := rough(ctx, in)
	if errors.Is(err, ErrNotPossible) { // too rough for this piece
		rough = full
		base, err = before, nil
	}
	if err != nil {
		return out, fmt.Errorf("remedy: the piece as it stands: %w", err)
	}
	scale := 1.0
	if base > 0 && !math.IsInf(base, 1) {
		scale = before / base
	}
	for _, l := range ladders {
		best, ok, err := climb(ctx, in, l, scale, rough, full)
		if err != nil {
			return out, fmt.Errorf("remedy: %s: %w", l.Kind, err)
		}
		switch {
		case ok:
			out.Found = append(out.Found, best)
		case best.Text != "" && best.Margin > before*worthTelling:
			out.Short = append(out.Short, best)
		}
	}
	return out, nil
}

// worthTelling is how much a ladder must gain to be named though it falls
// short: together with another it may do.
const worthTelling = 1.05

func climb(ctx context.Context, in stress.Inputs, l Ladder, scale float64, rough, full Margin) (Remedy, bool, error) {
	at := func(i int, m Margin) (float64, bool, error) {
		changed, err := l.Steps[i].Apply(ctx, in)
		if errors.Is(err, ErrNotPossible) {
			return 0, false, nil
		}
		if err != nil {
			return 0, false, fmt.Errorf("%s: %w", l.Steps[i].Text, err)
		}
		v, err := m(ctx, changed)
		if errors.Is(err, ErrNotPossible) {
			return 0, false, nil
		}
		if err != nil {
			return 0, false, fmt.Errorf("%s: %w", l.Steps[i].Text, err)
		}
		return v, true, nil
	}
	const farShort = 0.7 // of what is needed, more than rough errs
	lo, hi := 0, len(l.Steps)
	for hi > 0 {
		v, possible, err := at(hi-1, rough)
		if err != nil {
			return Remedy{}, false, err
		}
		if !possible {
			hi--
			continue
		}
		if v*scale < farShort {
			return Remedy{Kind: l.Kind, Text: l.Steps[hi-1].Text, Margin: v * scale}, false, nil
		}
		break
	}
	for lo < hi {
		mid := (lo + hi) / 2
		v, possible, err := at(mid, rough)
		switch {
		case err != nil:
			return Remedy{}, false, err
		case possible && v*scale < 1:
			lo = mid + 1
		default: // one that cannot be made cannot be gone beyond
			hi = mid
		}
	}
	var last Remedy
	for i := min(lo, len(l.Steps)-1); i >= 0 && i < len(l.Steps); i++ {
		v, possible, err := at(i, full)
		if err != nil {
			return Remedy{}, false, err
		}
		if !possible {
			break
		}
		last = Remedy{Kind: l.Kind, Text: l.Steps[i].Text, Margin: v}
		if v >= 1 {
			return last, true, nil
		}
	}
	if last.Text == "" && lo > 0 { // the step looked for cannot be made: what the one below it reaches
		i := min(lo, len(l.Steps)) - 1
		if v, possible, err := at(i, full); err != nil {
			return Remedy{}, false, err
		} else if possible {
			last = Remedy{Kind: l.Kind, Text: l.Steps[i].Text, Margin: v}
		}
	}
	return last, false, nil
}
