package main

import (
	"context"
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

// sharedCheck is where a check with strength may be done.
type sharedCheck struct {
	databaseFlag
	Beside int `help:"With --database: 1 lets this machine work at it, too, which is what happens if you say nothing; 0 leaves it to others." default:"1" placeholder:"N"`
}

// elsewhere has the check done by whoever works from the database, and shows what
// was done before at once. The files are read here first, so that what is wrong
// with them is told as always.
func (c *checkCommand) elsewhere(ctx context.Context, out *output, marksFile string) (task.Checked, error) {
	fail := func(err error) (task.Checked, error) { return task.Checked{}, err }
	if c.Beside < 0 || c.Beside > 1 {
		return fail(fmt.Errorf("--beside %d: a check is one task; write 1, or 0 to leave it to others", c.Beside))
	}
	a, names, err := c.carried(marksFile)
	if err != nil {
		return fail(err)
	}
	t, err := a.Task()
	if err != nil {
		return fail(err)
	}
	if len(t.Args) > work.MaxArgs {
		return fail(fmt.Errorf("the piece with its solids comes to %d MiB, and %d MiB is the most that can be sent to others; give simpler meshes, or leave out --database", len(t.Args)>>20, work.MaxArgs>>20))
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
	queue, err := c.open(ctx, out, time.Second, lonely(out))
	if err != nil {
		return fail(err)
	}
	defer queue.Close()
	do := map[string]work.Handler{task.CheckKind: task.Checker{Kernel: kernel, Progress: stages(out)}.Do}
	var (
		result []byte
		fault  error
	)
	err = shared{queue, do, c.Beside}.Run(ctx, task.CheckKind, []line.Task{t}, func(_ int, r []byte, err error) { result, fault = r, err })
	if out.terminal() {
		fmt.Fprint(out.Err, "\r\033[K")
	}
	if err == nil {
		err = fault
	}
	if err != nil {
		return fail(err)
	}
	return task.ReadCheck(result, names)
}

// carried is all that the check depends on, and what its files are called here.
func (c *checkCommand) carried(marksFile string) (task.Check, map[string]string, error) {
	fail := func(err error) (task.Check, map[string]string, error) { return task.Check{}, nil, err }
	a := task.Check{Set: c.Set}
	names := map[string]string{task.PieceFile: c.Piece, task.ShopFile: c.Shop, task.MarksFile: marksFile}
	var err error
	if a.Program, err = line.Program(); err != nil {
		return fail(err)
	}
	if c.Shop == "" {
		names[task.ShopFile] = "shop.yaml" // as readShop calls it
		a.Shop, err = examples.Files.ReadFile("shop.yaml")
	} else {
		a.Shop, err = given.ReadFile(c.Shop)
	}
	if err != nil {
		return fail(fmt.Errorf("reading the shop: %w", err))
	}
	if marksFile != "" {
		if a.Marks, err = given.ReadFile(marksFile); err != nil {
			return fail(fmt.Errorf("reading the marks: %w", err))
		}
	}
	if a.Piece, err = given.ReadFile(c.Piece); err != nil {
		return fail(fmt.Errorf("reading the piece: %w", err))
	}
	doc, err := piece.ParseFile(c.Piece)
	if err != nil {
		return fail(err)
	}
	p, _, err := doc.Resolve(c.Set)
	switch {
	case err != nil && len(c.Set) > 0:
		return fail(fmt.Errorf("with --set %s: %w", joined(c.Set), err))
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
