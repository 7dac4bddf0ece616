package plan

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"

	"groundwork/internal/elastic"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/strength"
	"groundwork/internal/stress"
	"groundwork/internal/veneer"
)

// structure is the piece as its strength is worked out: uncut before there are
// seams, and as it is printed afterwards.
func (pl *Plan) structure() stress.Inputs {
	in := stress.Inputs{
		Piece: pl.Piece, Cores: pl.Layout.Cores, Cuts: slices.Clone(pl.Layout.Cuts), Joints: pl.Joints,
		Bodies: seam.Bodies(pl.Layout.Cores, pl.Piece.PrintAsOne), Shop: pl.Shop,
		Floor: len(pl.Piece.Held) == 0, Held: pl.heldBy(),
	}
	for _, b := range pl.Joints.Bores() {
		in.Cuts = append(in.Cuts, b.Cut())
	}
	in.Filament = func(b int) shop.Filament { return pl.filamentOf(in.Bodies[b]) }
	in.Profile = func(b int) shop.Profile { return pl.printerOf(b).Profile }
	if pl.Seams != nil {
		in.Seams = pl.Seams.Seams
	}
	if pl.Printing == nil {
		return in
	}
	of := map[string]int{}
	for i, p := range pl.Printing.Prints {
		of[p.Segment] = i
	}
	grams := make([]float64, len(in.Bodies))
	var all float64
	for _, s := range pl.Seams.Segments {
		p := pl.Printing.Prints[of[s.ID]]
		in.Laid = append(in.Laid, stress.Laid{Segment: s.ID, Body: s.Body, Planes: s.Planes, Up: p.Pose.Z})
		grams[s.Body] += p.Grams
		all += p.Grams
	}
	// Veneer and hardware are taken to weigh on each body as plastic does.
	share := 1.0
	if all > 0 && pl.Bill != nil {
		share += (pl.Bill.VeneerMass + pl.Bill.HardwareMass) / all
	}
	in.Weight = func(b int) float64 { return grams[b] * share }
	return in
}

// printerOf is the printer of a body's first segment, or the shop's first
// before that is known.
func (pl *Plan) printerOf(body int) shop.Printer {
	if pl.Printing != nil {
		for i, s := range pl.Cores.Segments {
			if s.Body != body {
				continue
			}
			for _, p := range pl.Shop.Printers {
				if p.ID == pl.Printing.Prints[i].Printer {
					return p
				}
			}
		}
	}
	return pl.Shop.Printers[0]
}

// heldBy are the surfaces that the piece file says it is held by.
func (pl *Plan) heldBy() []stress.Held {
	var out []stress.Held
	for _, h := range pl.Piece.Held {
		for m, core := range pl.Layout.Cores {
			if core.ID != h.Member && core.Name != h.Member {
				continue
			}
			const chord = 0.1
			for i, s := range core.Surfaces(chord) {
				if s.Name == h.Surface {
					out = append(out, stress.Held{Member: m, Surface: i})
				}
			}
		}
	}
	return out
}

// roughField is how the uncut piece is strained, for the choice of seams and poses.
// A piece that cannot stand has none, which is a finding. Notes on the cases are
// for those who ask for verdicts; the others are told that there are none.
func (pl *Plan) roughField(ctx context.Context, k *solid.Kernel, asked bool) ([]finding.Finding, error) {
	var found []finding.Finding
	pl.cases, found = strength.Cases(pl.Piece, pl.Layout.Cores, pl.Joints, pl.Shop)
	if !asked {
		found = slices.DeleteFunc(found, func(f finding.Finding) bool { return f.Severity == finding.Note })
		found = append(found, finding.Finding{
			Severity: finding.Note, Stage: "strength", Code: "not-asked", Subject: "piece",
			Message: "How the piece bears its loads was not worked out; loads only helped to choose its seams and how segments are printed.",
			Remedy:  "Ask for it with --strength before you print.",
		})
	}
	in := pl.structure()
	if !stiff(in) {
		return found, nil
	}
	var err error
	pl.field, err = stress.Rough(ctx, k, in, plainCases(pl.cases))
	if err != nil {
		f, ok := loose(err)
		if !ok {
			return found, err
		}
		found = append(found, f)
	}
	return found, nil
}

// stiff reports whether the filament of every body is known: the printing
// stage tells of one that is not.
func stiff(in stress.Inputs) bool {
	for i := range in.Bodies {
		if in.Filament(i).Modulus <= 0 {
			return false
		}
	}
	return true
}

func plainCases(cases []strength.Case) []stress.Case {
	out := make([]stress.Case, len(cases))
	for i, c := range cases {
		out[i] = c.Case
	}
	return out
}

// loose is the finding for a piece that its joints and the floor do not hold.
func loose(err error) (finding.Finding, bool) {
	var m *elastic.Mechanism
	if !errors.As(err, &m) {
		return finding.Finding{}, false
	}
	return finding.Finding{
		Severity: finding.Warning, Stage: "stress", Code: "not-held", Subject: "piece",
		Message: fmt.Sprintf("Something is free to move, so its strength cannot be worked out: %v.", m),
		Remedy:  "Join the member to what it should rest on; or let its feet reach the floor, not all in a line; or name what holds the piece under held: in the piece file.",
		Source:  "statics",
	}, true
}

// hold is the strength stage: the piece is solved under every case on two sizes
// of bricks, judged, and what fails is put to the remedies.
func (pl *Plan) hold(ctx context.Context, k *solid.Kernel, o StrengthOptions) ([]finding.Finding, error) {
	in := pl.structure()
	if !stiff(in) {
		return nil, nil
	}
	of, err := pl.bearing(o)
	if err != nil {
		return nil, err
	}
	if o.Ask != nil {
		if ok, err := pl.ask(ctx, o.Ask, of); ok || err != nil {
			return pl.outcome.findings(), err
		}
	}
	found, err := pl.solved(ctx, k, in, o)
	if err == nil {
		pl.outcome = &Held{Of: of, Strength: pl.Strength, Remedies: pl.Remedies, Findings: found}
	}
	return found, err
}

// solved is the strength stage as it is worked out here.
func (pl *Plan) solved(ctx context.Context, k *solid.Kernel, in stress.Inputs, o StrengthOptions) ([]finding.Finding, error) {
	fine, err := solve(ctx, k, in, pl.cases, stress.Options{Cell: o.Cell, Creep: strength.Creep}, o.counter("load cases", len(pl.cases)))
	if err != nil {
		if f, ok := loose(err); ok {
			return []finding.Finding{f}, nil
		}
		return nil, err
	}
	// Where the larger bricks are too large to be solved, no errors are told.
	coarse, err := solve(ctx, k, in, pl.cases, stress.Options{Cell: coarser * fine.structure.Cell(), Creep: strength.Creep}, o.counter("load cases again on larger bricks", len(pl.cases)))
	if _, tips := loose(err); err != nil && !tips && !errors.Is(err, elastic.ErrNoConvergence) {
		return nil, fmt.Errorf("on larger bricks: %w", err)
	}
	var rough []strength.Solved
	if err == nil {
		rough = coarse.states
	}
	pl.Strength = strength.Judge(in, pl.cases, fine.states, rough)
	pl.Strained = fine.strained()
	found := slices.Clone(pl.Strength.Findings)
	if o.Remedies {
		if pl.Remedies, err = pl.remedies(ctx, k, in, fine.structure.Cell(), o.Progress); err != nil {
			return nil, err
		}
		for i, f := range found {
			if text := pl.Remedies.text(f); text != "" {
				found[i].Remedy = text
			}
		}
	}
	return found, nil
}

// coarser is how many times larger the bricks of the second, rougher solution
// are: it tells the error, and finds the way to remedies.
const coarser = 1.5

// StrengthOptions steer the strength stage.
type StrengthOptions struct {
	Cell     float64 // mm, size of bricks along boards; 0 chooses it from the thinnest board
	Remedies bool    // look for what would make failing verdicts pass

	// Ask, if not nil, is asked before anything is worked out here. Strained is then
	// what the answer has.
	Ask Asker

	// Progress is told how many load cases are solved, and for how many of the
	// kinds of verdicts that fail remedies have been looked for. Calls follow one
	// another, from several goroutines; they should be quick.
	Progress func(done, total int, what string) `digest:"-"` // only looks on
}

// counter counts the cases that are solved; nil if nobody is told.
func (o StrengthOptions) counter(what string, total int) func() {
	if o.Progress == nil {
		return nil
	}
	var mu sync.Mutex
	done := 0
	o.Progress(0, total, what)
	return func() {
		mu.Lock()
		defer mu.Unlock()
		done++
		o.Progress(done, total, what)
	}
}

// solution is a structure under every case; a state is nil where the case
// could not be solved.
type solution struct {
	structure *stress.Structure
	states    []strength.Solved
}

func solve(ctx context.Context, k *solid.Kernel, in stress.Inputs, cases []strength.Case, o stress.Options, solved func()) (*solution, error) {
	s, err := stress.Assemble(ctx, k, in, o)
	if err != nil {
		return nil, err
	}
	out := &solution{structure: s, states: make([]strength.Solved, len(cases))}
	states, errs := s.SolveAllTelling(ctx, plainCases(cases), solved)
	for i, c := range cases {
		err := errs[i]
		var m *elastic.Mechanism
		switch {
		case errors.As(err, &m), errors.Is(err, elastic.ErrNoConvergence): // it tips, or slides: strength.Judge says that nothing is known
		case err != nil:
			return nil, fmt.Errorf("case %s: %w", c.ID, err)
		default:
			out.states[i] = states[i]
		}
	}
	return out, nil
}

// Strained is what a viewer shows of a case: how far points move and how far
// the plastic there is strained.
type Strained interface {
	Surface(body int, points []geom.Vec3) (moved []geom.Vec3, mises []float64)
}

func (s *solution) strained() []Strained {
	out := make([]Strained, len(s.states))
	for i, st := range s.states {
		if v, ok := st.(Strained); ok {
			out[i] = v
		}
	}
	return out
}

// pull is the stress that seams go by; nil where none is known.
func (pl *Plan) pull() func(body int, at, normal geom.Vec3) float64 {
	if pl.field == nil {
		return nil
	}
	return pl.field.Pull
}

// glue is the tension that a glued seam may bear, MPa.
func (pl *Plan) glue(int) float64 { return strength.GluePeel }

// covered tells whether veneer hides a seam at a point of a body's surface: it
// does unless the point lies on a flat surface that stays bare.
func (pl *Plan) covered() func(body int, at geom.Vec3) bool {
	bodies := seam.Bodies(pl.Layout.Cores, pl.Piece.PrintAsOne)
	type bare struct {
		frame  geom.Frame // world
		region geom.Polygons
	}
	of := make([][]bare, len(bodies))
	const chord = 0.1 // mm
	for b, body := range bodies {
		for _, m := range body.Members {
			core := pl.Layout.Cores[m]
			for i, s := range core.Surfaces(chord) {
				if s.Kind == piece.Plane && pl.Layout.Coverings[m][i].State == veneer.Bare && len(s.Region) > 0 {
					of[b] = append(of[b], bare{surfaceFrame(s).In(core.Place), s.Region})
				}
			}
		}
	}
	const on = 0.05 // mm
	return func(body int, at geom.Vec3) bool {
		for _, s := range of[body] {
			if p := s.frame.Local(at); math.Abs(p.Z) < on && (s.region.Contains(p.XY()) || s.region.Distance(p.XY()) < on) {
				return false
			}
		}
		return true
	}
}

// lasting is the greatest stress that a filament bears for months, MPa; nil
// where the strength has not been worked out.
func (pl *Plan) lasting() func(filament string) float64 {
	if pl.Strength == nil {
		return nil
	}
	most := map[string]float64{}
	for _, body := range pl.Seams.Bodies {
		id := pl.filamentOf(body).ID
		for _, v := range pl.Strength.Verdicts {
			if v.Kind == "months" && v.Subject == body.ID {
				most[id] = max(most[id], v.Value)
			}
		}
	}
	return func(filament string) float64 { return most[filament] }
}
