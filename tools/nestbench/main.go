// Command nestbench measures how dense strips become, and how soon: it lays
// instances for a budget at several seeds, and writes what it saw as CSV, as a
// table and as a plot of density against seconds.
//
//	go run ./tools/nestbench -seconds 60 -seeds 0,1,2 -out out/nestbench internal/nest/testdata/classic
//	go run ./tools/nestbench -plot out/nestbench
//
// Its clock is the process's own processor time (getrusage: user and system)
// divided by the number of lanes that separation works in, 2. On an idle machine
// with two cores that is what a clock on the wall shows while separation runs;
// on a busy one it does not count the time that other work takes, so that
// figures can be compared. What only one lane does (the first layout, and
// waiting for the other lane) counts half. With -wall it is the clock on the
// wall. Every layout goes through nest.Verify; one that does not hold is told at
// once, is "no" in the summary, and makes the status 1.
//
// In the folder of -out:
//
//	curves.csv   instance, seed, seconds, density in per cent: a row for every better layout
//	summary.csv  instance, seed, seconds, density, lines looked along per second, verified
//	table.md     the densities by instance and seed
//	density.svg  the medians of the seeds, a curve for each instance
//
// -plot makes the last two again from the first two.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"groundwork/internal/instance"
	"groundwork/internal/nest"
)

// lanes is in how many goroutines separation works.
const lanes = 2

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:], os.Stdout); err != nil && !errors.Is(err, flag.ErrHelp) {
		fmt.Fprintln(os.Stderr, "nestbench:", err)
		os.Exit(1)
	}
}

// settings are the flags.
type settings struct {
	seconds    float64
	lines      int
	iterations int
	seeds      []int64
	out        string
	only       []string
	wall       bool
	files      []string
}

// errUnsound says that a layout did not hold.
var errUnsound = errors.New("a layout does not hold; see verified in summary.csv")

func run(ctx context.Context, args []string, say io.Writer) error {
	var s settings
	f := flag.NewFlagSet("nestbench", flag.ContinueOnError)
	f.Usage = func() {
		fmt.Fprintln(f.Output(), "usage: nestbench [flags] FOLDER or FILES of instances, or nestbench -plot FOLDER")
		f.PrintDefaults()
	}
	f.Float64Var(&s.seconds, "seconds", 10, "budget of a run: processor time over 2, or time by the clock with -wall")
	f.IntVar(&s.lines, "lines", 0, "budget of a run in place of seconds: `lines` looked along for places; repeatable")
	f.IntVar(&s.iterations, "iterations", 16, "`rounds` of the search over orders before separation; a negative number for none")
	seeds := f.String("seeds", "0", "`seeds`, with commas between them")
	f.StringVar(&s.out, "out", "out/nestbench", "`folder` for what is measured")
	only := f.String("only", "", "`names` of instances, with commas between them; of a folder only these")
	f.BoolVar(&s.wall, "wall", false, "go by the clock on the wall")
	plot := f.String("plot", "", "make table and plot again from the CSV files in this `folder`")
	if err := f.Parse(args); err != nil {
		return err
	}
	if *plot != "" {
		return draw(*plot)
	}
	for _, x := range strings.Split(*seeds, ",") {
		n, err := strconv.ParseInt(strings.TrimSpace(x), 10, 64)
		if err != nil {
			return fmt.Errorf("-seeds %s: %q is no whole number", *seeds, x)
		}
		s.seeds = append(s.seeds, n)
	}
	if *only != "" {
		s.only = strings.Split(*only, ",")
	}
	if !(s.seconds > 0) && s.lines <= 0 {
		return fmt.Errorf("-seconds %g: write more than 0", s.seconds)
	}
	var err error
	if s.files, err = instances(f.Args(), s.only); err != nil {
		return err
	}
	return bench(ctx, s, say)
}

// instances lists the files given, and those in the folders given, of the
// wanted names.
func instances(args, only []string) ([]string, error) {
	var out []string
	for _, a := range args {
		info, err := os.Stat(a)
		if err != nil {
			return nil, err
		}
		if !info.IsDir() {
			out = append(out, a)
			continue
		}
		names, err := filepath.Glob(filepath.Join(a, "*.json"))
		if err != nil {
			return nil, err
		}
		out = append(out, names...)
	}
	var kept []string
	for _, n := range out {
		if len(only) == 0 || slices.Contains(only, title(n)) {
			kept = append(kept, n)
		}
	}
	for _, o := range only {
		if !slices.ContainsFunc(kept, func(n string) bool { return title(n) == o }) {
			return nil, fmt.Errorf("-only: there is no instance %q", o)
		}
	}
	if len(kept) == 0 {
		return nil, errors.New("no instances; name a folder or files of them")
	}
	return kept, nil
}

// title is what an instance is called: its file's name.
func title(file string) string { return strings.TrimSuffix(filepath.Base(file), ".json") }

// bench runs every instance at every seed and writes what came of it, after
// each run: what is interrupted keeps the runs before.
func bench(ctx context.Context, s settings, say io.Writer) error {
	if err := os.MkdirAll(s.out, 0o755); err != nil {
		return err
	}
	var r results
	unsound := false
	for _, file := range s.files {
		in, err := instance.ReadFile(file)
		if err != nil {
			return err
		}
		for _, seed := range s.seeds {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			sum, points, err := s.one(ctx, title(file), in, seed)
			if err != nil {
				return fmt.Errorf("%s, seed %d: %w", file, seed, err)
			}
			if ctx.Err() != nil { // cut short: it would stand among whole runs
				return ctx.Err()
			}
			fmt.Fprintf(say, "%-10s seed %d  %7.2f s  %6.2f %%\n", sum.instance, seed, sum.seconds, sum.density)
			if !sum.verified {
				unsound = true
				fmt.Fprintf(say, "%s, seed %d: THE LAYOUT DOES NOT HOLD: %s\n", file, seed, sum.fault)
			}
			r.summary = append(r.summary, sum)
			r.points = append(r.points, points...)
			if err := r.write(s.out); err != nil {
				return err
			}
		}
	}
	if err := draw(s.out); err != nil {
		return err
	}
	if unsound {
		return errUnsound
	}
	return nil
}

// one lays an instance once.
func (s settings) one(ctx context.Context, name string, in *instance.Instance, seed int64) (summary, []point, error) {
	clock, err := s.clock()
	if err != nil {
		return summary{}, nil, err
	}
	var points []point
	best := 0.0
	o := nest.Options{Seed: seed, Iterations: s.iterations, Lines: s.lines}
	if s.lines <= 0 {
		o.Spent = func() float64 { return clock() / s.seconds }
	}
	o.Progress = func(_, _ int, density float64) {
		if density > best {
			best = density
			points = append(points, point{name, seed, clock(), 100 * density})
		}
	}
	l, bin, err := nest.Strip(ctx, in.Items, in.Height, o)
	if err != nil {
		return summary{}, nil, err
	}
	sum := summary{instance: name, seed: seed, seconds: clock(), verified: true}
	sum.lines = float64(l.Lines) / sum.seconds
	// What is claimed is measured anew: all copies are there, and their area over
	// that of the strip.
	sum.density = 100 * in.Area / (bin.Size.X * in.Height)
	if found := nest.Verify(in.Items, []nest.Bin{bin}, l, 0); len(found) > 0 {
		sum.verified, sum.fault = false, fmt.Sprintf("%s: %s", found[0].Subject, found[0].Message)
	} else if len(l.Unplaced) > 0 {
		sum.verified, sum.fault = false, fmt.Sprintf("item %s is left out: %s", l.Unplaced[0].Item, l.Unplaced[0].Detail)
	}
	if sum.verified && sum.density > 100*best+1e-9 {
		points = append(points, point{name, seed, sum.seconds, sum.density})
	}
	return sum, points, nil
}

// clock is a clock that begins now, in seconds.
func (s settings) clock() (func() float64, error) {
	if s.wall {
		start := time.Now()
		return func() float64 { return time.Since(start).Seconds() }, nil
	}
	start, err := processor()
	if err != nil {
		return nil, err
	}
	return func() float64 {
		now, err := processor()
		if err != nil {
			panic(err) // it answered a moment ago
		}
		return (now - start) / lanes
	}, nil
}

// processor is the processor time that this process has taken, s.
func processor() (float64, error) {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0, fmt.Errorf("reading the processor time: %w", err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano()).Seconds(), nil
}
