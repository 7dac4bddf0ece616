// Command groundwork turns a piece file and a shop file into a job folder:
// print files, veneer cut sheets, fixtures, bench book, calendar, hardware list,
// costs, kit and findings. It keeps the shop's stock, too.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"

	"github.com/alecthomas/kong"
)

// Exit statuses.
const (
	planned     = 0 // the job folder, or what else was asked for, is there
	mustAlter   = 1 // the maker must change something first
	badInput    = 2 // the command or a file could not be understood
	interrupted = 3 // ended by the maker
)

// alterError ends a command whose piece cannot be made as it is.
type alterError struct{ stops int }

func (e alterError) Error() string {
	return fmt.Sprintf("%d thing(s) must be changed before this piece can be made", e.stops)
}

// interruptedError ends a command that the maker ended, and says what became of
// its work.
type interruptedError struct{ left string }

func (e interruptedError) Error() string { return "interrupted: " + e.left }

type commands struct {
	New    newCommand    `cmd:"" group:"A piece:" help:"Start a piece (and a shop) of your own from the library."`
	Import importCommand `cmd:"" group:"A piece:" help:"Make a piece file of solids that were drawn elsewhere: STL, OBJ, 3MF."`
	Check  checkCommand  `cmd:"" group:"A piece:" help:"Read a piece and say what would have to change, without writing anything."`
	Plan   planCommand   `cmd:"" group:"A piece:" help:"Work out the whole job and write the job folder."`
	Line   lineCommand   `cmd:"" group:"A piece:" help:"Plan a family of one piece over sizes and veneers, and compare hours, material and money."`
	Remake remakeCommand `cmd:"" group:"A piece:" help:"Make one segment or leaf again, alone, so that it fits the job that is under way."`
	Nest   nestCommand   `cmd:"" group:"A piece:" help:"Lay outlines of your own on a strip as short as can be."`
	Serve  serveCommand  `cmd:"" group:"A piece:" help:"Open a folder of pieces as a page in the browser."`

	Measure   measureCommand   `cmd:"" group:"The shop:" help:"Write what you measured on the coupons into the shop file."`
	Stock     stockCommand     `cmd:"" group:"The shop:" help:"What the shop has, what is reserved of it for which job, and what was used."`
	Calibrate calibrateCommand `cmd:"" group:"The shop:" help:"Hold what printers really took against the estimates, and plan by it from then on."`
	Backup    backupCommand    `cmd:"" group:"The shop:" help:"Copy the stock to a file, whole and checked, while others use it."`
	Restore   restoreCommand   `cmd:"" group:"The shop:" help:"Put a backup in the place of the stock; what is there is kept beside it."`
	Export    exportCommand    `cmd:"" group:"The shop:" help:"Write the stock out as tables and text, to be read by anything."`

	Worker  workerCommand  `cmd:"" group:"Other:" help:"Work for everybody who shares long work through a database."`
	Schema  schemaCommand  `cmd:"" group:"Other:" help:"Print the JSON Schema of a file: piece, shop, marks or plan."`
	Version versionCommand `cmd:"" group:"Other:" help:"Print the version."`
}

const description = `Groundwork plans furniture made as printed cores under real veneer.

You describe the piece in one file and your shop in another. It cuts the
members into segments that fit your printer, places screws, inserts and dowels,
draws every leaf and band of veneer, lays them on sheets, and writes a folder
with print files, cut sheets, fixtures, a bench book, a calendar, hardware,
hours and money, and how to pack it as a kit.

Start with:  groundwork new heron-side-table

Then:  groundwork plan heron-side-table.yaml --shop shop.yaml --out job`

func main() {
	os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
}

// run is main with everything it touches passed in, so that tests can call it.
func run(args []string, stdout, stderr *os.File) int {
	var c commands
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	context.AfterFunc(ctx, stop) // a second interrupt ends the program at once
	status, done := 0, false
	parser, err := kong.New(&c,
		kong.Name("groundwork"), kong.Description(description), kong.UsageOnError(),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, NoExpandSubcommands: true, WrapUpperBound: 90}),
		kong.Writers(stdout, stderr), kong.BindTo(ctx, (*context.Context)(nil)), kong.Bind(&output{stdout, stderr}),
		kong.Exit(func(s int) { status, done = s, true }),
	)
	if err != nil {
		fmt.Fprintln(stderr, "groundwork:", err)
		return badInput
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	k, err := parser.Parse(args)
	if done { // help was asked for and printed
		return status
	}
	if err != nil {
		fmt.Fprintf(stderr, "groundwork: %v\nTry \"groundwork --help\".\n", err)
		return badInput
	}
	switch err := k.Run(); {
	case err == nil:
		return planned
	case errors.As(err, new(alterError)):
		fmt.Fprintln(stderr, "\ngroundwork:", err)
		return mustAlter
	case errors.As(err, new(interruptedError)):
		fmt.Fprintln(stderr, "groundwork:", err)
		return interrupted
	case ctx.Err() != nil && errors.Is(err, context.Canceled):
		fmt.Fprintln(stderr, "groundwork: interrupted: nothing was written")
		return interrupted
	default:
		fmt.Fprintln(stderr, "groundwork:", err)
		return badInput
	}
}

// output is where a command writes: results to Out, talk to Err.
type output struct{ Out, Err *os.File }

// terminal reports whether somebody is watching.
func (o *output) terminal() bool {
	st, err := o.Err.Stat()
	return err == nil && st.Mode()&os.ModeCharDevice != 0
}
