// Package plan is the program: it takes a piece and a shop through every
// stage and hands back the whole plan. Read stages first, then Make.
package plan

import (
	"context"
	"errors"
	"sync"

	"groundwork/internal/bill"
	"groundwork/internal/check"
	"groundwork/internal/core"
	"groundwork/internal/digest"
	"groundwork/internal/finding"
	"groundwork/internal/fixture"
	"groundwork/internal/joint"
	"groundwork/internal/kit"
	"groundwork/internal/piece"
	"groundwork/internal/printing"
	"groundwork/internal/schedule"
	"groundwork/internal/seam"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/strength"
	"groundwork/internal/stress"
	"groundwork/internal/veneer"
)

// Options steer the stages. The zero value works.
type Options struct {
	Joint    joint.Options
	Veneer   veneer.Options
	Seam     seam.Options
	Core     core.Options
	Printing printing.Options
	Sheet    sheet.Options
	Fixture  fixture.Options
	Schedule schedule.Options // Coupons goes by Fixture.NoCoupons
	Kit      kit.Options
	Strength *StrengthOptions // nil: how it bears its loads is not worked out

	// Progress, if not nil, is called as each stage begins, with the number of
	// stages that have ended; and with "done" at the end. Calls follow one another.
	Progress func(stage string, done, total int)

	// Ready, if not nil, is called as each stage ends, with the plan so far: what
	// has not been worked out is nil. The plan may be kept and must not be changed.
	// After "patterns" all members, joints, coverings and patterns are known, with
	// what there is to say of them. Calls follow one another, and with those of
	// Progress; no stage begins during one, so that who draws what is known may
	// have the processors to itself first.
	Ready func(stage string, sofar *Plan)

	// Cache, if not nil, keeps results of stages for the next plan.
	Cache Cache
}

// Plan is everything that was worked out, one field per stage. It must not be
// changed.
type Plan struct {
	Piece           *piece.Piece
	Shop            *shop.Shop
	Joints          *joint.Result
	Layout          *veneer.Layout
	Patterns        []veneer.Pattern
	Seams           *seam.Result
	Cores           *core.Result
	Printing        *printing.Result
	Sheets          *sheet.Result
	Fixtures        *fixture.Result
	FixturePrinting *printing.Result // prints of Fixtures.Segments
	Bill            *bill.Bill
	Schedule        *schedule.Result
	Kit             *kit.Result
	Checks          *check.Result
	Strength        *strength.Result  // nil unless asked for
	Strained        []Strained        // by case, nil where it could not be solved; nil unless asked for
	Remedies        Remedies          // of what fails; nil unless asked for
	Findings        []finding.Finding // of all stages, gravest first

	outcome *Held // Strength, Remedies and what the stage found
	cases   []strength.Case
	field   *stress.Field `digest:"-"` // of the uncut piece, told apart by fieldOf; nil if it does not stand
	fieldOf digest.Sum
	options Options // without those that concern all stages
}

// stage is one step of a plan.
type stage struct {
	name  string
	after []string // stages whose results it needs

	// sees is what of the plan so far the stage goes by, and all that it is given.
	// What it works out is kept by the content of this.
	sees func(pl *Plan) Plan

	// run works on what the stage sees, and puts its results there.
	run func(ctx context.Context, k *solid.Kernel, pl *Plan) ([]finding.Finding, error)

	// gives hands on the results.
	gives func(from, to *Plan)
}

// stages is the program. Findings are told in this order; a stage begins as soon
// as those that it needs have ended.
var stages = []stage{
	{
		name: "joints",
		sees: forJoints,
		run: func(ctx context.Context, k *solid.Kernel, pl *Plan) (f []finding.Finding, err error) {
			if pl.Joints, err = joint.Place(ctx, k, pl.Piece, pl.Shop, pl.options.Joint); err == nil {
				f = append(joint.Loose(pl.Piece, pl.Joints.Contacts, pl.Joints.Rounds...), pl.Joints.Findings...)
			}
			return f, err
		},
		gives: func(from, to *Plan) { to.Joints = from.Joints },
	},
	{
		name: "veneer layout", after: []string{"joints"},
		sees: forLayout,
		run: func(ctx context.Context, k *solid.Kernel, pl *Plan) (f []finding.Finding, err error) {
			if pl.Layout, err = veneer.Lay(ctx, k, pl.Piece, pl.Joints.Contacts, pl.Joints.Rounds, pl.Shop, pl.options.Veneer); err == nil {
				f = pl.Layout.Findings
			}
			return f, err
		},
		gives: func(from, to *Plan) { to.Layout = from.Layout },
	},
	{
		name: "first checks", after: []string{"veneer layout"}, // of what the checks find again
		sees: forFirstChecks,
		run: func(_ context.Context, _ *solid.Kernel, pl *Plan) ([]finding.Finding, error) {
			return check.Early(check.Inputs{Piece: pl.Piece, Layout: pl.Layout, Joints: pl.Joints, Shop: pl.Shop}), nil
		},
		gives: func(from, to *Plan) {},
	},
	{
		name: "patterns", after: []string{"first checks"},
		sees: forPatterns,
		run: func(ctx context.Context, k *solid.Kernel, pl *Plan) (f []finding.Finding, err error) {
			pl.Patterns, f, err = veneer.Patterns(ctx, k, pl.Piece, pl.Layout, pl.Joints, pl.Shop, pl.options.Veneer)
			return f, err
		},
		gives: func(from, to *Plan) { to.Patterns = from.Patterns },
	},
	{
		name: "loads", after: []string{"patterns"}, // which it does not need, but the maker sooner
		sees: forLoads,
		run: func(ctx context.Context, k *solid.Kernel, pl *Plan) (f []finding.Finding, err error) {
			if pl.fieldOf, err = fieldOf(pl); err != nil {
				return nil, err
			}
			return pl.roughField(ctx, k, pl.options.Strength != nil)
		},
		gives: func(from, to *Plan) { to.cases, to.field, to.fieldOf = from.cases, from.field, from.fieldOf },
	},
	{
		name: "seams", after: []string{"loads"},
		sees: forSeams,
		run: func(ctx context.Context, k *solid.Kernel, pl *Plan) (f []finding.Finding, err error) {
			if pl.Seams, err = seam.Plan(ctx, k, seamInputs(pl), pl.options.Seam); err == nil {
				f = pl.Seams.Findings
			}
			return f, err
		},
		gives: func(from, to *Plan) { to.Seams = from.Seams },
	},
	{
		name: "cores", after: []string{"seams"},
		sees: forCores,
		run: func(ctx context.Context, k *solid.Kernel, pl *Plan) (f []finding.Finding, err error) {
			if pl.Cores, err = core.Build(ctx, k, coreInputs(pl), pl.options.Core); err == nil {
				f = pl.Cores.Findings
			}
			return f, err
		},
		gives: func(from, to *Plan) { to.Cores = from.Cores },
	},
	{
		name: "printing", after: []string{"cores"},
		sees: forPrinting,
		run: func(ctx context.Context, k *solid.Kernel, pl *Plan) (f []finding.Finding, err error) {
			if pl.Printing, err = printing.Plan(ctx, k, pl.Cores.Segments, pl.Shop, pl.filament, printingOptions(pl, pl.options.Printing)); err == nil {
				f = pl.Printing.Findings
			}
			return f, err
		},
		gives: func(from, to *Plan) { to.Printing = from.Printing },
	},
	{
		name: "sheets", after: []string{"patterns"},
		sees: forSheets,
		run: func(ctx context.Context, k *solid.Kernel, pl *Plan) (f []finding.Finding, err error) {
			if pl.Sheets, err = sheet.Plan(ctx, k, pl.Patterns, pl.Shop, pl.options.Sheet); err == nil {
				f = pl.Sheets.Findings
			}
			return f, err
		},
		gives: func(from, to *Plan) { to.Sheets = from.Sheets },
	},
	{
		name: "fixtures", after: []string{"cores"},
		sees: forFixtures,
		run: func(ctx context.Context, k *solid.Kernel, pl *Plan) (f []finding.Finding, err error) {
			if pl.Fixtures, err = fixture.Plan(ctx, k, fixtureInputs(pl), pl.options.Fixture); err == nil {
				f = pl.Fixtures.Findings
			}
			return f, err
		},
		gives: func(from, to *Plan) { to.Fixtures = from.Fixtures },
	},
	{
		name: "printing fixtures", after: []string{"fixtures"},
		sees: forFixturePrinting,
		run: func(ctx context.Context, k *solid.Kernel, pl *Plan) (f []finding.Finding, err error) {
			parts, filament := pl.Fixtures.Segments()
			if pl.FixturePrinting, err = printing.Plan(ctx, k, parts, pl.Shop, filament, fixturePrintingOptions(pl, pl.options.Printing)); err == nil {
				f = lighter(pl.FixturePrinting.Findings)
			}
			return f, err
		},
		gives: func(from, to *Plan) { to.FixturePrinting = from.FixturePrinting },
	},
	{
		name: "bill", after: []string{"printing", "sheets", "printing fixtures"},
		run: func(_ context.Context, _ *solid.Kernel, pl *Plan) ([]finding.Finding, error) {
			pl.Bill = bill.Make(billInputs(pl))
			return pl.Bill.Findings, nil
		},
		gives: func(from, to *Plan) { to.Bill = from.Bill },
	},
	{
		name: "schedule", after: []string{"bill"},
		sees: forSchedule,
		run: func(ctx context.Context, _ *solid.Kernel, pl *Plan) (f []finding.Finding, err error) {
			o := pl.options.Schedule
			o.Coupons = !pl.options.Fixture.NoCoupons
			if pl.Schedule, err = schedule.Make(ctx, scheduleInputs(pl), o); err == nil {
				f = pl.Schedule.Findings
			}
			return f, err
		},
		gives: func(from, to *Plan) { to.Schedule = from.Schedule },
	},
	{
		name: "kit", after: []string{"bill"},
		sees: forKit,
		run: func(ctx context.Context, _ *solid.Kernel, pl *Plan) (f []finding.Finding, err error) {
			if pl.Kit, err = kit.Make(ctx, kitInputs(pl), pl.options.Kit); err == nil {
				f = pl.Kit.Findings
			}
			return f, err
		},
		gives: func(from, to *Plan) { to.Kit = from.Kit },
	},
	{
		name: "strength", after: []string{"bill"},
		sees: forStrength,
		run: func(ctx context.Context, k *solid.Kernel, pl *Plan) ([]finding.Finding, error) {
			if pl.options.Strength == nil {
				return nil, nil
			}
			return pl.hold(ctx, k, *pl.options.Strength)
		},
		gives: func(from, to *Plan) {
			to.Strength, to.Strained, to.Remedies, to.outcome = from.Strength, from.Strained, from.Remedies, from.outcome
		},
	},
	{
		name: "checks", after: []string{"strength"},
		sees: forChecks,
		run: func(_ context.Context, _ *solid.Kernel, pl *Plan) ([]finding.Finding, error) {
			pl.Checks = check.Run(check.Inputs{
				Piece: pl.Piece, Layout: pl.Layout, Patterns: pl.Patterns, Joints: pl.Joints, Cores: pl.Cores,
				Printing: pl.Printing, Shop: pl.Shop, Extra: pl.Bill.VeneerMass + pl.Bill.HardwareMass, Lasting: pl.lasting(),
			})
			return pl.Checks.Findings, nil
		},
		gives: func(from, to *Plan) { to.Checks = from.Checks },
	},
}

// Make plans the whole job. User faults are Findings; the error is for what
// keeps later stages from running at all. It is that of the first stage that has
// one, and other stages are let end.
func Make(ctx context.Context, k *solid.Kernel, p *piece.Piece, s *shop.Shop, o Options) (*Plan, error) {
	m := &making{options: o, plan: Plan{Piece: p, Shop: s, options: o}, found: make([][]finding.Finding, len(stages)), ended: map[string]bool{}}
	m.plan.options.Progress, m.plan.options.Ready, m.plan.options.Cache = nil, nil, nil
	ended := map[string]chan struct{}{}
	for _, st := range stages {
		ended[st.name] = make(chan struct{})
	}
	errs := make([]error, len(stages))
	var all sync.WaitGroup
	for i, st := range stages {
		all.Go(func() {
			defer close(ended[st.name])
			for _, earlier := range st.after {
				<-ended[earlier]
			}
			errs[i] = m.step(ctx, k, i)
		})
	}
	all.Wait()
	for _, err := range errs {
		if err != nil && !errors.Is(err, errEarlier) {
			return nil, err
		}
	}
	if o.Progress != nil {
		o.Progress("done", len(stages), len(stages))
	}
	return m.sofar(), nil
}
