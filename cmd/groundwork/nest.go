package main

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"sync"
	"time"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
	"groundwork/internal/instance"
	"groundwork/internal/line"
	"groundwork/internal/nest"
	"groundwork/internal/task"
	"groundwork/internal/work"
)

type nestCommand struct {
	File       string        `arg:"" help:"The instance: a JSON file with strip_height and items, as in docs/nesting.md." type:"path"`
	Time       time.Duration `help:"How long to go on, as in 60s. The result then depends on the machine." placeholder:"TIME"`
	Iterations int           `help:"How long to go on without --time: how many lines are looked along for places. The result is then the same every time; 1000000 if you say nothing." default:"1000000" placeholder:"N"`
	Seed       int64         `help:"Another of many equally good searches." placeholder:"N"`
	Seeds      int           `help:"Search so many times, from this seed and those after it, and keep the shortest strip, of equals that of the lower seed; 1 if you say nothing. Each has the whole of --time or --iterations." default:"1" placeholder:"N"`
	Gap        float64       `help:"Least distance from outline to outline, in the file's own unit. The edges of the strip may be touched." placeholder:"LENGTH"`
	SVG        string        `help:"Write the layout as a drawing." type:"path" placeholder:"FILE"`
	JSON       string        `help:"Write the layout as data." type:"path" placeholder:"FILE"`
	Trace      string        `help:"Write how the density rose, as CSV: a line of seconds and density in per cent for every better layout; with several seeds, or others at work, for every search that ends with a better one." type:"path" placeholder:"FILE"`
	Beside     int           `help:"With --seeds or --database: how many searches go on here at a time; 1 if you say nothing, for each uses two processors. With --database 0 leaves all to others." default:"1" placeholder:"N"`
	databaseFlag
}

func (nestCommand) Help() string {
	return "It goes on until the time or the lines are used up. Press Ctrl-C to end it sooner: the best layout until then is checked, written and shown, and the status is 3.\n\nWith --database others work at the seeds, too: each goes to one machine, every layout that comes back is checked here, and a search that was made before is not made again. Which seed is kept does not depend on who was quicker. With --time what a search finds depends on the machine that made it."
}

// nested is a layout as data.
type nested struct {
	Name        string        `json:"name"`
	DensityPct  float64       `json:"density_pct"`
	Length      float64       `json:"length"`
	Gap         float64       `json:"gap"`
	Seconds     float64       `json:"seconds"`
	Seed        int64         `json:"seed"`
	Seeds       int           `json:"seeds,omitempty"` // how many searches this is the best of; left out for one
	Interrupted bool          `json:"interrupted"`     // it could have gone on
	Placements  []nestedPlace `json:"placements"`
}

type nestedPlace struct {
	Item     string  `json:"item"`
	X        float64 `json:"x"`
	Y        float64 `json:"y"`
	Rotation float64 `json:"rotation"` // degrees about the outline's own origin, before it is moved
}

// strip is the layout that a command has found.
type strip struct {
	layout      *nest.Layout
	bin         nest.Bin
	seed        int64
	seeds       int       // how many searches it is the best of
	densities   []float64 // of those, in the order of their seeds
	interrupted bool      // it could have gone on
}

func (c *nestCommand) Run(ctx context.Context, out *output) error {
	in, data, err := readInstance(c.File)
	if err != nil {
		return err
	}
	if !(c.Gap >= 0) || c.Gap*in.Scale > in.Height {
		return fmt.Errorf("--gap %g: write 0 or more, and no more than the strip is high, %g", c.Gap, in.Height/in.Scale)
	}
	if c.Time < 0 || c.Iterations < 0 {
		return fmt.Errorf("--time %v, --iterations %d: neither can be negative", c.Time, c.Iterations)
	}
	start := time.Now()
	trace := newTrace(start)
	var found strip
	switch {
	case c.Seeds < 1 || c.Seeds > mostSeeds || c.Seed > math.MaxInt64-int64(c.Seeds):
		return fmt.Errorf("--seeds %d: write 1 to %d, and no --seed close to the largest there is", c.Seeds, mostSeeds)
	case c.Seeds == 1 && c.Database == "":
		found, err = c.alone(ctx, out, in, start, trace)
	default:
		found, err = c.several(ctx, out, in, data, trace)
	}
	if err != nil {
		return err
	}
	l, bin := found.layout, found.bin
	if len(l.Unplaced) > 0 {
		if found.interrupted {
			return interruptedError{"before everything had been laid once; nothing was written"}
		}
		showFindings(out, l.Findings())
		return alterError{len(l.Unplaced)}
	}
	trace.add(l.Density)
	res := nested{
		Name: in.Name, DensityPct: 100 * l.Density, Length: bin.Size.X / in.Scale, Gap: c.Gap,
		Seconds: time.Since(start).Seconds(), Seed: found.seed, Interrupted: found.interrupted,
	}
	if found.seeds > 1 {
		res.Seeds = found.seeds
	}
	for _, p := range l.Placements {
		res.Placements = append(res.Placements, nestedPlace{p.Item, p.At.X / in.Scale, p.At.Y / in.Scale, p.Turn * 180 / math.Pi})
	}
	if c.JSON != "" {
		data, err := json.MarshalIndent(res, "", " ")
		if err != nil {
			return err
		}
		if err := writeWhole(c.JSON, append(data, '\n')); err != nil {
			return err
		}
	}
	if c.SVG != "" {
		var b bytes.Buffer
		if err := draw.WriteSVG(&b, layoutDrawing(in.Items, l, bin)); err != nil {
			return err
		}
		if err := writeWhole(c.SVG, b.Bytes()); err != nil {
			return err
		}
	}
	if c.Trace != "" {
		if err := writeWhole(c.Trace, trace.csv()); err != nil {
			return err
		}
	}
	fmt.Fprintf(out.Out, "%s: density %.2f %%, length %.6g, %d placed, %.1f s\n", in.Name, res.DensityPct, res.Length, len(res.Placements), res.Seconds)
	if c.Seeds > 1 {
		if found.seeds > 1 {
			fmt.Fprintf(out.Out, "Seed %d is the best of %d, which came to %.2f to %.2f %%.", found.seed, found.seeds, 100*slices.Min(found.densities), 100*slices.Max(found.densities))
		} else {
			fmt.Fprintf(out.Out, "Seed %d is the only one of %d that came to a layout.", found.seed, c.Seeds)
		}
		if c.Time > 0 {
			fmt.Fprint(out.Out, " They went by the clock: another time they may come to something else.")
		}
		fmt.Fprintln(out.Out)
	}
	if found.interrupted {
		return interruptedError{"this is the best layout until then"}
	}
	return nil
}

// mostSeeds is how many searches are made at a time at most, and mostGiven how
// many bytes their tasks come to: each has the instance with it.
const (
	mostSeeds = 1000
	mostGiven = 1 << 30
)

// readInstance is the instance in a file, and the file.
func readInstance(name string) (*instance.Instance, []byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, work.MaxArgs+1)) // which is more than Read takes
	if err != nil {
		return nil, nil, err
	}
	in, err := instance.Read(data)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", name, err)
	}
	return in, data, nil
}

// search is what is searched from a seed.
func (c *nestCommand) search(seed int64) task.Nest {
	// A few orders are enough to begin from.
	return task.Nest{Seed: seed, Gap: c.Gap, Iterations: 16, Lines: c.Iterations, Time: c.Time}
}

// alone searches once, here.
func (c *nestCommand) alone(ctx context.Context, out *output, in *instance.Instance, start time.Time, trace *trace) (strip, error) {
	o := c.search(c.Seed).Options(in.Scale)
	if c.Time > 0 {
		o.Spent = func() float64 { return float64(time.Since(start)) / float64(c.Time) }
	}
	watched := out.terminal()
	o.Progress = func(done, total int, density float64) {
		trace.add(density)
		if watched {
			fmt.Fprintf(out.Err, "\r\033[K%3d %%  %.2f %%", 100*done/max(total, 1), 100*density)
		}
	}
	l, bin, err := nest.Strip(ctx, in.Items, in.Height, o)
	if watched {
		fmt.Fprint(out.Err, "\r\033[K")
	}
	if err != nil {
		return strip{}, err
	}
	if found := nest.Verify(in.Items, []nest.Bin{bin}, l, o.Gap); len(found) > 0 {
		return strip{}, fmt.Errorf("the layout does not hold, which is a fault of this program: %v", found[0])
	}
	return strip{layout: l, bin: bin, seed: c.Seed, seeds: 1, densities: []float64{l.Density}, interrupted: l.Interrupted}, nil
}

// several searches from every seed, with whoever works from the database.
func (c *nestCommand) several(ctx context.Context, out *output, in *instance.Instance, data []byte, trace *trace) (strip, error) {
	if c.Beside < 0 || c.Beside == 0 && c.Database == "" {
		return strip{}, fmt.Errorf("--beside %d: at least one search goes on at a time", c.Beside)
	}
	tasks, err := c.tasks(in, data)
	if err != nil {
		return strip{}, err
	}
	var (
		mu   sync.Mutex
		left = map[int64][]byte{} // of searches here that were ended: what they had
	)
	search := task.Searcher{Left: func(seed int64, result []byte) {
		mu.Lock()
		defer mu.Unlock()
		left[seed] = result
	}}
	queue, err := c.queue(ctx, out, time.Second, lonely(out))
	if err != nil {
		return strip{}, err
	}
	defer queue.Close()
	t := tally{command: c, in: in, out: out, trace: trace, laid: make([]*strip, len(tasks))}
	t.watch()
	err = shared{queue, map[string]work.Handler{task.NestKind: search.Do}, c.Beside}.Run(ctx, task.NestKind, tasks, t.take)
	interrupted := err != nil && ctx.Err() != nil
	if interrupted {
		mu.Lock()
		defer mu.Unlock()
		for i := range tasks { // who searched here has stopped
			if result, ok := left[c.Seed+int64(i)]; ok && t.laid[i] == nil {
				t.take(i, result, nil)
			}
		}
	}
	if out.terminal() {
		fmt.Fprint(out.Err, "\r\033[K")
	}
	switch best := t.best(); {
	case err != nil && !interrupted:
		return strip{}, err
	case best == nil && interrupted:
		return strip{}, interruptedError{"before everything had been laid once; nothing was written"}
	case best == nil:
		return strip{}, t.fault
	default:
		best.interrupted = interrupted
		return *best, nil
	}
}

// tasks are the searches from every seed.
func (c *nestCommand) tasks(in *instance.Instance, data []byte) ([]line.Task, error) {
	program, err := line.Program()
	if err != nil {
		return nil, err
	}
	var out []line.Task
	for i := range int64(c.Seeds) {
		n := c.search(c.Seed + i)
		n.Program, n.Name, n.Instance = program, in.Name, data
		t, err := n.Task()
		if err != nil {
			return nil, err
		}
		if len(t.Args) > work.MaxArgs || len(t.Args)*c.Seeds > mostGiven {
			return nil, fmt.Errorf("the instance has %.1f MiB, and every search takes it along: %d MiB each and %d MiB for all are the most; draw it with fewer vertices, or take fewer seeds", float64(len(data))/(1<<20), work.MaxArgs>>20, mostGiven>>20)
		}
		out = append(out, t)
	}
	return out, nil
}

// tally keeps what searches came to.
type tally struct {
	command *nestCommand
	in      *instance.Instance
	out     *output
	trace   *trace
	laid    []*strip // by seed; nil where nothing has come yet, or nothing that holds
	ended   int
	fault   error // of the lowest seed that has one
	at      int   // of that
}

// take takes what a search came to, if it holds. One that does not, or failed, is
// told and left out.
func (t *tally) take(i int, result []byte, err error) {
	seed := t.command.Seed + int64(i)
	s := &strip{seed: seed}
	if err == nil {
		s.layout, s.bin, err = task.ReadNest(t.in, t.command.Gap*t.in.Scale, result)
	}
	t.ended++
	if err != nil {
		err = fmt.Errorf("seed %d: %w", seed, err)
		if t.fault == nil || i < t.at {
			t.fault, t.at = err, i
		}
		if len(t.laid) > 1 {
			fmt.Fprintf(t.out.Err, "Left out: %v\n", err)
		}
		return
	}
	t.laid[i] = s
	if len(s.layout.Unplaced) == 0 {
		t.trace.add(s.layout.Density)
	}
	t.watch()
}

// watch tells how far it is, to who is watching.
func (t *tally) watch() {
	if t.out.terminal() {
		fmt.Fprintf(t.out.Err, "\r\033[K[%d/%d] searches  %.2f %%", t.ended, len(t.laid), 100*t.trace.best)
	}
}

// best is the layout with the fewest copies left out, of those the shortest, of
// those that of the lowest seed; nil if there is none.
func (t *tally) best() *strip {
	missing := func(s *strip) (n int) {
		for _, u := range s.layout.Unplaced {
			n += u.Count
		}
		return n
	}
	var best *strip
	var densities []float64
	for _, s := range t.laid {
		if s == nil {
			continue
		}
		densities = append(densities, s.layout.Density)
		if best == nil || cmp.Or(cmp.Compare(missing(s), missing(best)), cmp.Compare(s.bin.Size.X, best.bin.Size.X)) < 0 {
			best = s
		}
	}
	if best != nil {
		best.seeds, best.densities = len(densities), densities
	}
	return best
}

// trace is how the density rose with the seconds since its start.
type trace struct {
	start time.Time
	best  float64
	text  bytes.Buffer
}

func newTrace(start time.Time) *trace {
	t := &trace{start: start}
	t.text.WriteString("seconds,density_pct\n")
	return t
}

// add notes a density if it is the best so far.
func (t *trace) add(density float64) {
	if density > t.best {
		t.best = density
		fmt.Fprintf(&t.text, "%.3f,%.4f\n", time.Since(t.start).Seconds(), 100*density)
	}
}

func (t *trace) csv() []byte { return t.text.Bytes() }

// layoutDrawing is the strip with what lies on it.
func layoutDrawing(items []nest.Item, l *nest.Layout, bin nest.Bin) draw.Sheet {
	shapes := map[string]geom.Polygons{}
	for _, it := range items {
		shapes[it.ID] = it.Shape
	}
	cut := draw.Layer{Name: "outlines", Operation: draw.Cut}
	for _, p := range l.Placements {
		cut.Items = append(cut.Items, draw.Outlines(p.Place(shapes[p.Item]))...)
	}
	frame := geom.Polygons{{{X: 0, Y: 0}, {X: bin.Size.X, Y: 0}, bin.Size, {X: 0, Y: bin.Size.Y}}}
	return draw.Sheet{Width: bin.Size.X, Height: bin.Size.Y, Layers: []draw.Layer{{Name: "strip", Operation: draw.Note, Items: draw.Outlines(frame)}, cut}}
}
