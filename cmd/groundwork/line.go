package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"groundwork/internal/given"
	"groundwork/internal/line"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/solid"
	"groundwork/internal/unit"
	"groundwork/internal/work"
)

type lineCommand struct {
	Piece    string   `arg:"" help:"The piece file." type:"path"`
	Shop     string   `help:"The shop file." required:"" type:"path" placeholder:"FILE"`
	Vary     []string `help:"A parameter of the piece and the values that it takes: a range with a step, as in length=600mm..900mm/50mm, or a list, as in height=450mm,500mm. Give it once for every parameter." sep:"none" placeholder:"NAME=VALUES"`
	Species  string   `help:"Veneers of the shop that the whole piece is planned in, by name with commas between them, or all. Without it the piece keeps its own. Members and surfaces whose veneer the piece file names keep theirs." placeholder:"NAMES"`
	Filament string   `help:"Filaments of the shop that it is planned in, by name, or all. Without it the piece keeps its own." placeholder:"NAMES"`
	Out      string   `help:"Folder to write the table to, as a page, a workbook, CSV and data. It is written whole or not at all." required:"" type:"path" placeholder:"DIR"`
	Replace  bool     `help:"Put the new table in place of one that is already in the folder."`
	Strength bool     `help:"Work out how every variant bears the loads of its use and those in its file. Takes some seconds more for each."`
	Cache    string   `help:"Folder in which finished variants are kept, so that they need not be worked out again. Without it, one under your own cache folder." type:"path" placeholder:"DIR"`
	NoCache  bool     `help:"Work everything out afresh and keep nothing."`
	Beside   int      `help:"How many variants are in the making here at a time; 2 if you say nothing. More need more memory, and are seldom quicker. With --database 0 leaves all to others." default:"2" placeholder:"N"`
	databaseFlag
}

func (lineCommand) Help() string {
	return "Every combination of the values is planned, at most 2000. A variant that cannot be made stands in the table with the reason. Marks on veneer are not looked at: they belong to one size. Press Ctrl-C to end it sooner: finished variants are kept, and the same command goes on from there; the status is 3.\n\nFor example:  groundwork line tern-wall-shelf.yaml --shop shop.yaml --vary length=500mm..800mm/100mm --species ash,oak --out shelves"
}

// lineMemory is how many bytes of stages are kept for variants that share them.
const lineMemory = 256 << 20

func (c *lineCommand) Run(ctx context.Context, out *output) error {
	if c.Beside < 0 || c.Beside == 0 && c.Database == "" {
		return fmt.Errorf("--beside %d: at least one variant is in the making at a time", c.Beside)
	}
	if c.NoCache && c.Cache != "" {
		return errors.New("--cache and --no-cache do not go together; leave one out")
	}
	if err := line.Ready(c.Out, c.Replace); err != nil { // before the work, not after it
		return withReplace(err)
	}
	l, err := c.lay()
	if err != nil {
		return err
	}
	var kept *line.Kept
	if !c.NoCache {
		if kept, err = line.OpenKept(c.Cache); err != nil {
			return fmt.Errorf("%w; name another with --cache, or do without by --no-cache", err)
		}
	}
	k, err := solid.New(solid.Options{})
	if err != nil {
		return err
	}
	defer k.Close()
	queue, err := c.queue(ctx, out, time.Second, lonely(out))
	if err != nil {
		return err
	}
	defer queue.Close()
	r := variants{shared: shared{queue: queue, handlers: handlers(k), beside: c.Beside}}
	if c.Database == "" {
		r.large = line.Local{Worker: line.Worker{Kernel: k, Cache: plan.NewMemory(lineMemory)}, Beside: c.Beside}
	}
	t, err := l.Run(ctx, r, kept, c.progress(out))
	if out.terminal() {
		fmt.Fprint(out.Err, "\r\033[K")
	}
	var unfinished *line.UnfinishedError
	switch {
	case errors.As(err, &unfinished) && ctx.Err() != nil:
		left := fmt.Sprintf("%d of %d variants are ready", unfinished.Ended, unfinished.Total)
		if unfinished.Kept {
			left += fmt.Sprintf(" and kept in %s; the same command goes on from there", kept.Dir())
		}
		return interruptedError{left + "; no table was written"}
	case err != nil:
		return err
	}
	if t.NotKept != nil {
		fmt.Fprintf(out.Err, "Not every variant could be kept for the next time: %v\n", t.NotKept)
	}
	if err := t.Write(c.Out, c.Replace); err != nil {
		return withReplace(err)
	}
	showLine(out, t)
	fmt.Fprintf(out.Out, "The table is in %s\n", filepath.Join(c.Out, "table.html"))
	return nil
}

// variants does the tasks of a line by way of the queue. Solids of very many
// triangles are more than a queue takes: these are planned straight away by
// large, unless it is nil because others were to share in the work.
type variants struct {
	shared
	large line.Runner
}

func (v variants) Run(ctx context.Context, kind string, tasks []line.Task, done func(i int, result []byte, err error)) error {
	if v.large != nil && slices.ContainsFunc(tasks, func(t line.Task) bool { return len(t.Args) > work.MaxArgs }) {
		return v.large.Run(ctx, kind, tasks, done)
	}
	return v.shared.Run(ctx, kind, tasks, done)
}

// lay reads the files and lays the piece out over the axes.
func (c *lineCommand) lay() (*line.Line, error) {
	var axes []line.Axis
	for _, text := range c.Vary {
		a, err := line.ParseAxis(text)
		if err != nil {
			return nil, fmt.Errorf("--vary %w", err)
		}
		axes = append(axes, a)
	}
	for _, choice := range []struct {
		kind line.Kind
		flag string
		text string
	}{{line.Veneer, "species", c.Species}, {line.Filament, "filament", c.Filament}} {
		if choice.text == "" {
			continue
		}
		a, err := line.ParseChoice(choice.kind, choice.text)
		if err != nil {
			return nil, fmt.Errorf("--%s %w", choice.flag, err)
		}
		axes = append(axes, a)
	}
	if len(axes) == 0 {
		return nil, errors.New("nothing is varied; say what is, as in --vary length=600mm..900mm/50mm or --species all")
	}
	read := func(name string) (line.File, error) {
		data, err := given.ReadFile(name)
		return line.File{Name: filepath.Base(name), Data: data}, err
	}
	p, err := read(c.Piece)
	if err != nil {
		return nil, err
	}
	s, err := read(c.Shop)
	if err != nil {
		return nil, err
	}
	program, err := line.Program()
	if err != nil {
		return nil, err
	}
	doc, err := piece.ParseFile(c.Piece) // for how it opens the solids beside it
	if err != nil {
		return nil, err
	}
	return line.New(p, s, axes, line.Options{Strength: c.Strength}, doc.Open, program)
}

// progress tells how far it is, to who is watching.
func (c *lineCommand) progress(out *output) func(line.Progress) {
	if !out.terminal() {
		return nil
	}
	return func(p line.Progress) {
		fmt.Fprintf(out.Err, "\r\033[K[%d/%d] variants", p.Ended, p.Total)
		if p.Reused > 0 {
			fmt.Fprintf(out.Err, ", %d of them kept from earlier", p.Reused)
		}
	}
}

// showLine prints the table in short.
func showLine(out *output, t *line.Table) {
	l := t.Line
	const most = 40 // rows on the screen; the page has them all
	w := tabwriter.NewWriter(out.Out, 2, 0, 2, ' ', 0)
	fmt.Fprintln(w, "  variant\tby hand\tprinters\tfilament\tcost\t")
	cheapest := t.Cheapest()
	for i, v := range l.Variants {
		if i == most {
			break
		}
		r := t.Rows[i]
		if r.Figures == nil {
			fmt.Fprintf(w, "  %s\t%s: %s\n", v.Name, r.State, r.Gravest())
			continue
		}
		f := r.Figures
		var marks []string
		if i == cheapest {
			marks = append(marks, "cheapest")
		}
		if r.State != line.Made {
			marks = append(marks, string(r.State))
		}
		if r.Bears != nil && !r.Bears.Holds() {
			marks = append(marks, "does not bear its loads")
		}
		fmt.Fprintf(w, "  %s\t%s\t%s\t%s\t%s\t%s\n", v.Name, unit.FormatDuration(f.Hand), unit.FormatDuration(f.Print), unit.FormatMass(f.Filament),
			unit.FormatMoney(f.Cost, l.Currency), strings.Join(marks, ", "))
	}
	w.Flush()
	if n := len(l.Variants) - most; n > 0 {
		fmt.Fprintf(out.Out, "  and %d more\n", n)
	}
	fmt.Fprintf(out.Out, "%d variants", len(l.Variants))
	if t.Reused > 0 {
		fmt.Fprintf(out.Out, ", %d of them kept from earlier", t.Reused)
	}
	if n := len(l.Variants) - t.Count(line.Made); n > 0 {
		fmt.Fprintf(out.Out, "; %d cannot be made as they are", n)
	}
	fmt.Fprintln(out.Out, ".")
}
