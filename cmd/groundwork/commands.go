package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"time"

	"groundwork/examples"
	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/job"
	"groundwork/internal/marks"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/printing"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/task"
	"groundwork/internal/unit"
)

type planCommand struct {
	Piece      string            `arg:"" help:"The piece file." type:"path"`
	Shop       string            `help:"The shop file." required:"" type:"path" placeholder:"FILE"`
	Out        string            `help:"Folder to write the job to. It is written whole or not at all." required:"" type:"path" placeholder:"DIR"`
	Replace    bool              `help:"Put the new job in place of one that is already in the folder."`
	Set        map[string]string `help:"Give a parameter of the piece another value, as in --set height=600mm." placeholder:"NAME=VALUE"`
	FaceDown   bool              `help:"Draw cut sheets for veneer that lies face down on the laser bed (mirrored)."`
	Kerf       bool              `help:"Draw cut lines half a kerf outside, for a laser that does not allow for it itself."`
	NestRounds int               `help:"How many times nesting takes a layout up and lays it again; more is tighter and slower." placeholder:"N"`
	NestTime   time.Duration     `help:"How long to look for better layouts of veneer and print loads, as in 2m. The job then depends on the machine." placeholder:"TIME"`
	Inch       bool              `help:"Show lengths in inches, on the screen and in the bench book."`
	choiceFlags
	marksFlag
	strengthFlag
	sharedStrength
	stockFlag
}

func (planCommand) Help() string {
	return "With --strength and --database how the piece bears its loads is worked out by whoever works from the database, and found again if a check or a plan of the same files, by the same build of groundwork, had it before. The rest is done here."
}

// lasting is a clock of what share of a time has gone by since it was first
// asked; nil for no time.
func lasting(d time.Duration) func() float64 {
	if d <= 0 {
		return nil
	}
	start := sync.OnceValue(time.Now)
	return func() float64 { return float64(time.Since(start())) / float64(d) }
}

func (c *planCommand) Run(ctx context.Context, out *output) error {
	if c.NestTime < 0 || c.NestRounds < 0 {
		return errors.New("--nest-time and --nest-rounds must not be negative")
	}
	if err := job.Ready(c.Out, c.Replace); err != nil { // before the work, not after it
		return withReplace(err)
	}
	o := plan.Options{
		Core: core.Options{Labels: true, Solids: true},
		// Loads gain little from time, veneer is what is dear.
		Printing: printing.Options{Spent: lasting(c.NestTime / 5)},
		Sheet:    sheet.Options{FaceDown: c.FaceDown, Compensate: c.Kerf, Iterations: c.NestRounds, Spent: lasting(c.NestTime - c.NestTime/5)},
		Strength: c.options(),
	}
	m, err := c.settle(out, c.Piece, &o.Sheet)
	if err != nil {
		return err
	}
	write := job.Options{Replace: c.Replace, Sheet: sheet.Options{FaceDown: c.FaceDown, Compensate: c.Kerf}}
	if err := c.choose(m, c.Inch, &o, &write); err != nil {
		return err
	}
	s, err := readShop(c.Shop)
	if err != nil {
		return err
	}
	var ask asking
	if c.Strength {
		if err := c.sharedStrength.check(); err != nil {
			return err
		}
		a, _, err := carried(c.Piece, c.Shop, o.Sheet.Marks, c.Set)
		if err != nil {
			return err
		}
		ask = c.asked(out, a)
	}
	if s, err = c.overlay(ctx, out, s, nameOf(c.Out)); err != nil {
		return err
	}
	pl, k, err := makePlan(ctx, out, c.Piece, s, c.Set, o, ask)
	if err != nil {
		return err
	}
	defer k.Close()
	if len(pl.Strained) > 0 { // what comes from others has no states
		fmt.Fprintln(out.Err, "The strength that was asked for is that of another structure, which is a fault of the program; it was worked out again.")
	}
	showFindings(out, pl.Findings)
	if n := stops(pl.Findings); n > 0 {
		return alterError{n}
	}
	if err := job.Write(ctx, k, pl, c.Out, write); err != nil {
		return withReplace(err)
	}
	showStrength(out, pl)
	showTotals(out, pl, c.Inch)
	fmt.Fprintf(out.Out, "The job is in %s\n", c.Out)
	return c.reserve(ctx, out, pl, nameOf(c.Out))
}

// withReplace adds to an error about a job that is there already what to do.
func withReplace(err error) error {
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%w; add --replace to put the new job in its place", err)
	}
	return err
}

type checkCommand struct {
	Piece string            `arg:"" help:"The piece file." type:"path"`
	Shop  string            `help:"The shop file. Without it an ordinary shop is assumed." type:"path" placeholder:"FILE"`
	Set   map[string]string `help:"Give a parameter of the piece another value." placeholder:"NAME=VALUE"`
	marksFlag
	strengthFlag
	sharedStrength
}

func (checkCommand) Help() string {
	return "With --strength and --database the check is done by whoever works from the database, and one that was done before, by the same build of groundwork and of the same files, is shown at once. Without --strength it is quick, and done here."
}

func (c *checkCommand) Run(ctx context.Context, out *output) error {
	var o plan.Options
	if _, err := c.settle(out, c.Piece, &o.Sheet); err != nil {
		return err
	}
	s, err := readShop(c.Shop)
	if err != nil {
		return err
	}
	var r task.Checked
	if c.Strength {
		if r, err = c.whole(ctx, out, o.Sheet.Marks); err != nil {
			return err
		}
	} else {
		pl, k, err := makePlan(ctx, out, c.Piece, s, c.Set, o, nil)
		if err != nil {
			return err
		}
		defer k.Close()
		r = task.CheckedOf(pl)
	}
	showFindings(out, r.Findings)
	showLoads(out, r.Loads)
	if n := stops(r.Findings); n > 0 {
		return alterError{n}
	}
	fmt.Fprintf(out.Out, "%s can be made: %d members, %d segments, %d patterns.\n", r.Title, r.Members, r.Segments, r.Patterns)
	return nil
}

// makePlan reads the piece and works everything out. The caller closes the kernel.
// ask is how strength is had, if the options want it.
func makePlan(ctx context.Context, out *output, pieceFile string, s *shop.Shop, set map[string]string, o plan.Options, ask asking) (*plan.Plan, *solid.Kernel, error) {
	doc, err := piece.ParseFile(pieceFile)
	if err != nil {
		return nil, nil, err
	}
	p, found, err := doc.Resolve(set)
	if err != nil {
		if len(set) > 0 { // the fault may lie in what was given on the command line
			return nil, nil, fmt.Errorf("with --set %s: %w", joined(set), err)
		}
		return nil, nil, err
	}
	k, err := solid.New(solid.Options{})
	if err != nil {
		return nil, nil, err
	}
	if out.terminal() {
		o.Progress = func(stage string, done, total int) {
			fmt.Fprintf(out.Err, "\r\033[K[%d/%d] %s", done, total, stage)
			if done == total {
				fmt.Fprint(out.Err, "\r\033[K")
			}
		}
	}
	if o.Strength != nil {
		o.Cache = plan.NewMemory(lineMemory) // what comes before the strength is not made twice
		o.Strength.Ask = ask(k, o.Cache, parts(out))
	}
	pl, err := plan.Make(ctx, k, p, s, o)
	if err != nil {
		k.Close()
		return nil, nil, err
	}
	pl.Findings = finding.Sorted(append(pl.Findings, found...))
	return pl, k, nil
}

// joined is the parameters given on the command line, by name.
func joined(set map[string]string) string {
	var out []string
	for _, k := range slices.Sorted(maps.Keys(set)) {
		out = append(out, k+"="+set[k])
	}
	return strings.Join(out, ", ")
}

func stops(fs []finding.Finding) (n int) {
	for _, f := range fs {
		if f.Severity == finding.Stop {
			n++
		}
	}
	return n
}

// showFindings prints what the maker must know, gravest first. Findings that
// say the same of several parts are told once, of the first, with the names of
// the others.
func showFindings(out *output, fs []finding.Finding) {
	titles := map[finding.Severity]string{finding.Stop: "MUST CHANGE", finding.Warning: "WARNING", finding.Note: "NOTE"}
	told := make([]bool, len(fs))
	for i, f := range fs {
		if told[i] {
			continue
		}
		var also []string
		for j := i + 1; j < len(fs); j++ {
			g := fs[j]
			if !told[j] && g.Subject != f.Subject && g.Severity == f.Severity && g.Stage == f.Stage && g.Code == f.Code && g.Remedy == f.Remedy {
				told[j] = true
				also = append(also, g.Subject)
			}
		}
		where := f.Subject
		if f.File != "" && f.Line > 0 {
			where += fmt.Sprintf(" (%s:%d)", f.File, f.Line)
		}
		fmt.Fprintf(out.Out, "%s  %s\n", titles[f.Severity], where)
		wrapped(out, f.Message)
		if len(also) > 0 {
			wrapped(out, "Likewise: "+strings.Join(also, ", ")+".")
		}
		if f.Remedy != "" {
			wrapped(out, "Remedy: "+f.Remedy)
		}
		if f.Source != "" && f.Severity != finding.Note {
			wrapped(out, "Basis: "+f.Source)
		}
		fmt.Fprintln(out.Out)
	}
}

// wrapped prints a paragraph, indented and broken at 86 columns.
func wrapped(out *output, text string) {
	const width = 86
	line := "   "
	for _, w := range strings.Fields(text) {
		if len(line)+1+len(w) > width && strings.TrimSpace(line) != "" {
			fmt.Fprintln(out.Out, line)
			line = "   "
		}
		line += " " + w
	}
	fmt.Fprintln(out.Out, line)
}

// showTotals prints what the job takes, in a few lines.
func showTotals(out *output, p *plan.Plan, inch bool) {
	b := p.Bill
	dur := func(s float64) string { return unit.FormatDuration(s) }
	length := func(mm float64) string {
		if inch {
			return fmt.Sprintf("%.2f in", mm/25.4)
		}
		return fmt.Sprintf("%.0f mm", mm)
	}
	size := overall(p)
	over := "over the veneer"
	if p.Piece.Sizes == piece.CoreSize {
		over = "over the cores"
	}
	fmt.Fprintf(out.Out, "%s, %s wide, %s deep, %s high %s\n", p.Piece.Title, length(size.X), length(size.Y), length(size.Z), over)
	fmt.Fprintf(out.Out, "  Print    %d segments on %d loads, %s of filament, %s (%s to %s)\n", len(p.Cores.Segments), len(p.Printing.Loads),
		unit.FormatMass(b.FilamentGrams), dur(b.PrintSeconds), dur(b.PrintLow), dur(b.PrintHigh))
	fmt.Fprintf(out.Out, "  Veneer   %d patterns on %d blanks from %d sheet(s), laser %s\n", len(p.Patterns), len(p.Sheets.Blanks), len(p.Sheets.Sheets), dur(b.LaserSeconds))
	screws := 0
	for _, j := range p.Joints.Joints {
		screws += len(j.Screws)
	}
	fmt.Fprintf(out.Out, "  Joints   %d joints with %d screws, %d seams\n", len(p.Joints.Joints), screws, len(p.Seams.Seams))
	fmt.Fprintf(out.Out, "  Bench    about %s of your time; the piece weighs %s\n", dur(b.LabourSeconds), unit.FormatMass(p.Checks.Mass))
	fmt.Fprintf(out.Out, "  Done     %s\n", ending(p))
	fmt.Fprintf(out.Out, "  Money    %.2f %s\n", b.Cost, b.Currency)
	for _, q := range p.Kit.Parcels {
		fmt.Fprintf(out.Out, "  Kit      %s: %s x %s x %s, %s\n", q.ID, length(q.Outside.X), length(q.Outside.Y), length(q.Outside.Z), unit.FormatMass(q.Mass))
	}
}

// ending is when the calendar ends.
func ending(p *plan.Plan) string {
	r := p.Schedule
	switch {
	case len(r.Activities) == 0:
		return "never, in these hours"
	case !r.Finish.IsZero():
		return r.Finish.Format("on Monday 2 January 2006")
	}
	return fmt.Sprintf("on day %d", int(r.End/86400)+1)
}

// overall is the size of the piece as its file gives it.
func overall(p *plan.Plan) geom.Vec3 {
	box := geom.EmptyBox3()
	const chord = 0.1 // mm
	for _, m := range p.Piece.Members {
		for _, s := range m.Surfaces(chord) {
			for _, loop := range s.Region {
				for _, q := range loop {
					box = box.Add(m.Place.Point(s.Point(q)))
				}
			}
		}
	}
	return box.Size()
}

type newCommand struct {
	Name string `arg:"" optional:"" help:"Name of a piece in the library, or a name of your own for a copy of --from."`
	From string `help:"Piece of the library to copy under your own name." placeholder:"PIECE"`
	Dir  string `help:"Folder to write to." default:"." type:"path"`
}

func (c *newCommand) Run(out *output) error {
	names := examples.Pieces()
	if c.Name == "" {
		fmt.Fprintln(out.Out, "Pieces in the library:")
		for _, n := range names {
			fmt.Fprintf(out.Out, "  %-18s %s\n", n, examples.Title(n))
		}
		fmt.Fprintln(out.Out, "Copy one with:  groundwork new NAME")
		return nil
	}
	from := c.From
	if from == "" {
		from = c.Name
	}
	data, err := examples.Files.ReadFile(from + ".yaml")
	if err != nil || from == "shop" {
		return fmt.Errorf("the library has no piece %q; it has: %s", from, strings.Join(names, ", "))
	}
	if !piece.ValidName(c.Name) {
		return fmt.Errorf("%q cannot be a piece's name; use lower-case letters, digits and hyphens, as in my-side-table", c.Name)
	}
	if c.Name != from {
		data = []byte(strings.Replace(string(data), "name: "+from, "name: "+c.Name, 1))
	}
	if err := os.MkdirAll(c.Dir, 0o755); err != nil {
		return err
	}
	target := filepath.Join(c.Dir, c.Name+".yaml")
	if err := writeNew(target, data); err != nil {
		return err
	}
	fmt.Fprintf(out.Out, "Wrote %s\n", target)
	shopFile := filepath.Join(c.Dir, "shop.yaml")
	if _, err := os.Stat(shopFile); errors.Is(err, fs.ErrNotExist) {
		data, err := examples.Files.ReadFile("shop.yaml")
		if err != nil {
			return err
		}
		if err := writeNew(shopFile, data); err != nil {
			return err
		}
		fmt.Fprintf(out.Out, "Wrote %s: put your own printer, laser bed, veneer and prices in it\n", shopFile)
	}
	fmt.Fprintf(out.Out, "Next:  groundwork plan %s --shop %s --out %s\n", target, shopFile, filepath.Join(c.Dir, c.Name+"-job"))
	return nil
}

// writeNew writes a file that must not exist yet: work is never overwritten.
func writeNew(name string, data []byte) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s is there already; move it away or choose another name", name)
	}
	if err != nil {
		return err
	}
	if _, err := f.Write(data); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

type schemaCommand struct {
	File string `arg:"" enum:"piece,shop,marks,plan" help:"Which file: piece, shop, marks or plan."`
}

func (c *schemaCommand) Run(out *output) error {
	make := map[string]func() ([]byte, error){"piece": piece.Schema, "shop": shop.Schema, "marks": marks.Schema, "plan": job.Schema}[c.File]
	b, err := make()
	if err != nil {
		return err
	}
	_, err = out.Out.Write(b)
	return err
}

type versionCommand struct{}

func (versionCommand) Run(out *output) error {
	version := "development"
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" {
				version = s.Value[:min(12, len(s.Value))]
			}
			if s.Key == "vcs.time" {
				if t, err := time.Parse(time.RFC3339, s.Value); err == nil {
					version += " of " + t.Format("2006-01-02")
				}
			}
		}
	}
	fmt.Fprintf(out.Out, "groundwork %s, plan.json version %d\n", version, job.Version)
	return nil
}
