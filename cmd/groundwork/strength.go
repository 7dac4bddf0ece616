package main

import (
	"context"
	"errors"
	"fmt"
	"text/tabwriter"
	"time"

	"groundwork/examples"
	"groundwork/internal/given"
	"groundwork/internal/line"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/solid"
	"groundwork/internal/strength"
	"groundwork/internal/task"
	"groundwork/internal/work"
)

// strengthFlag asks a command for how the piece bears its loads.
type strengthFlag struct {
	Strength bool `help:"Work out how the piece bears the loads of its use and those in its file, and what would help where it does not. Takes some seconds more, or minutes where much has to be tried."`
}

func (f strengthFlag) options() *plan.StrengthOptions {
	if !f.Strength {
		return nil
	}
	return &plan.StrengthOptions{Remedies: true}
}

// showStrength prints how the piece bears each load.
func showStrength(out *output, p *plan.Plan) { showLoads(out, task.LoadsOf(p)) }

// showLoads prints how a piece bears each load; nothing if that was not asked
// for.
func showLoads(out *output, loads []task.Load) {
	if loads == nil {
		return
	}
	fmt.Fprintln(out.Out, "How it bears its loads (estimates by an elastic model; a margin of 1 is just enough):")
	w := tabwriter.NewWriter(out.Out, 2, 0, 2, ' ', 0)
	fmt.Fprintln(w, "  load\tgives way by\tleast margin\tof")
	for _, l := range loads {
		switch {
		case !l.Solved:
			fmt.Fprintf(w, "  %s\tnot solved\t\t\n", l.ID)
		case l.Of == "":
			fmt.Fprintf(w, "  %s\t%.2f mm\t\t\n", l.ID, l.Moved)
		default:
			fmt.Fprintf(w, "  %s\t%.2f mm at %s\t%s\t%s\n", l.ID, l.Moved, l.Body, margin(l.Margin, l.Judged), l.Of)
		}
	}
	w.Flush()
	fmt.Fprintln(out.Out)
}

func margin(m float64, judged bool) string {
	s := fmt.Sprintf("%.2f", m)
	if m >= strength.Ample {
		s = "ample"
	}
	if !judged {
		s += " (reported only)"
	}
	return s
}

// sharedStrength is where it is worked out how a piece bears its loads: by whoever
// works from the database, else here.
type sharedStrength struct {
	databaseFlag
	Beside int `help:"With --database: 1 lets this machine work out strength, too, which is what happens if you say nothing; 0 leaves it to others." default:"1" placeholder:"N"`
}

func (s sharedStrength) check() error {
	switch {
	case s.Beside < 0 || s.Beside > 1:
		return fmt.Errorf("--beside %d: the strength of a piece is one task; write 1, or 0 to leave it to others", s.Beside)
	case s.Beside == 0 && s.Database == "":
		return errors.New("--beside 0 leaves the work to others: say where they are with --database")
	}
	return nil
}

// have has a check done, by w where it is done here, and finds what was done
// before.
func (s sharedStrength) have(ctx context.Context, out *output, a task.Check, w task.Checker) ([]byte, error) {
	t, err := a.Task()
	if err != nil {
		return nil, err
	}
	if len(t.Args) > work.MaxArgs {
		if s.Database == "" {
			return w.Do(ctx, t.Args)
		}
		return nil, fmt.Errorf("the piece with its solids comes to %d MiB, and %d MiB is the most that can be sent to others; give simpler meshes, or leave out --database", len(t.Args)>>20, work.MaxArgs>>20)
	}
	queue, err := s.queue(ctx, out, time.Second, lonely(out))
	if err != nil {
		return nil, err
	}
	defer queue.Close()
	return shared{queue, map[string]work.Handler{task.CheckKind: w.Do}, s.Beside}.one(ctx, task.CheckKind, t)
}

// whole checks a piece with how it bears its loads. The files are read here first,
// so that what is wrong with them is told as always.
func (c *checkCommand) whole(ctx context.Context, out *output, marksFile string) (task.Checked, error) {
	fail := func(err error) (task.Checked, error) { return task.Checked{}, err }
	if err := c.sharedStrength.check(); err != nil {
		return fail(err)
	}
	a, names, err := carried(c.Piece, c.Shop, marksFile, c.Set)
	if err != nil {
		return fail(err)
	}
	var opened []*solid.Kernel
	kernel := func() (*solid.Kernel, error) {
		k, err := solid.New(solid.Options{})
		if err == nil {
			opened = append(opened, k)
		}
		return k, err
	}
	defer func() { // after the work has ended
		for _, k := range opened {
			k.Close()
		}
	}()
	result, err := c.have(ctx, out, a, task.Checker{Kernel: kernel, Progress: stages(out)})
	if out.terminal() {
		fmt.Fprint(out.Err, "\r\033[K")
	}
	if err != nil {
		return fail(err)
	}
	return task.ReadCheck(result, names)
}

// asked has a plan's strength worked out as that of a check of the same files,
// so that whichever of the two is second finds it.
func (s sharedStrength) asked(out *output, a task.Check) asking {
	return func(k *solid.Kernel, kept plan.Cache, parts func(done, total int, what string)) plan.Asker {
		return func(ctx context.Context) (*plan.Held, error) {
			result, err := s.have(ctx, out, a, task.Checker{Kernel: func() (*solid.Kernel, error) { return k, nil }, Cache: kept, Parts: parts})
			if err != nil {
				return nil, err
			}
			r, err := task.ReadCheck(result, nil)
			return r.Held, err
		}
	}
}

// asking is how strength is asked for by a plan with a kernel and kept stages.
type asking func(k *solid.Kernel, kept plan.Cache, parts func(done, total int, what string)) plan.Asker

// carried is all that the check depends on, and what its files are called here.
func carried(pieceFile, shopFile, marksFile string, set map[string]string) (task.Check, map[string]string, error) {
	fail := func(err error) (task.Check, map[string]string, error) { return task.Check{}, nil, err }
	a := task.Check{Set: set}
	names := map[string]string{task.PieceFile: pieceFile, task.ShopFile: shopFile, task.MarksFile: marksFile}
	var err error
	if a.Program, err = line.Program(); err != nil {
		return fail(err)
	}
	if shopFile == "" {
		names[task.ShopFile] = "shop.yaml" // as readShop calls it
		a.Shop, err = examples.Files.ReadFile("shop.yaml")
	} else {
		a.Shop, err = given.ReadFile(shopFile)
	}
	if err != nil {
		return fail(fmt.Errorf("reading the shop: %w", err))
	}
	if marksFile != "" {
		if a.Marks, err = given.ReadFile(marksFile); err != nil {
			return fail(fmt.Errorf("reading the marks: %w", err))
		}
	}
	if a.Piece, err = given.ReadFile(pieceFile); err != nil {
		return fail(fmt.Errorf("reading the piece: %w", err))
	}
	doc, err := piece.ParseFile(pieceFile)
	if err != nil {
		return fail(err)
	}
	p, _, err := doc.Resolve(set)
	switch {
	case err != nil && len(set) > 0:
		return fail(fmt.Errorf("with --set %s: %w", joined(set), err))
	case err != nil:
		return fail(err)
	}
	if a.Solids, err = line.Carry(doc, doc.Open); err != nil {
		return fail(err)
	}
	a.Name = p.Name
	return a, names, nil
}

// stages tells how far a plan is, to who is watching.
func stages(out *output) func(stage string, done, total int) {
	if !out.terminal() {
		return nil
	}
	return func(stage string, done, total int) {
		fmt.Fprintf(out.Err, "\r\033[K[%d/%d] %s", done, total, stage)
	}
}

// parts tells how far the strength stage of a plan is, to who is watching.
func parts(out *output) func(done, total int, what string) {
	if !out.terminal() {
		return nil
	}
	return func(done, total int, what string) {
		fmt.Fprintf(out.Err, "\r\033[K[strength] %s: %d of %d", what, done, total)
	}
}
