package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"time"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
	"groundwork/internal/instance"
	"groundwork/internal/nest"
)

type nestCommand struct {
	File       string        `arg:"" help:"The instance: a JSON file with strip_height and items, as in docs/nesting.md." type:"path"`
	Time       time.Duration `help:"How long to go on, as in 60s. The result then depends on the machine." placeholder:"TIME"`
	Iterations int           `help:"How long to go on without --time: how many lines are looked along for places. The result is then the same every time; 1000000 if you say nothing." default:"1000000" placeholder:"N"`
	Seed       int64         `help:"Another of many equally good searches." placeholder:"N"`
	Gap        float64       `help:"Least distance from outline to outline, in the file's own unit. The edges of the strip may be touched." placeholder:"LENGTH"`
	SVG        string        `help:"Write the layout as a drawing." type:"path" placeholder:"FILE"`
	JSON       string        `help:"Write the layout as data." type:"path" placeholder:"FILE"`
	Trace      string        `help:"Write how the density rose, as CSV: a line of seconds and density in per cent for every better layout." type:"path" placeholder:"FILE"`
}

func (nestCommand) Help() string {
	return "It goes on until the time or the lines are used up. Press Ctrl-C to end it sooner: the best layout until then is checked, written and shown, and the status is 3."
}

// nested is a layout as data.
type nested struct {
	Name        string        `json:"name"`
	DensityPct  float64       `json:"density_pct"`
	Length      float64       `json:"length"`
	Gap         float64       `json:"gap"`
	Seconds     float64       `json:"seconds"`
	Seed        int64         `json:"seed"`
	Interrupted bool          `json:"interrupted"` // it could have gone on
	Placements  []nestedPlace `json:"placements"`
}

type nestedPlace struct {
	Item     string  `json:"item"`
	X        float64 `json:"x"`
	Y        float64 `json:"y"`
	Rotation float64 `json:"rotation"` // degrees about the outline's own origin, before it is moved
}

func (c *nestCommand) Run(ctx context.Context, out *output) error {
	in, err := instance.ReadFile(c.File)
	if err != nil {
		return err
	}
	if !(c.Gap >= 0) || c.Gap*in.Scale > in.Height {
		return fmt.Errorf("--gap %g: write 0 or more, and no more than the strip is high, %g", c.Gap, in.Height/in.Scale)
	}
	if c.Time < 0 || c.Iterations < 0 {
		return fmt.Errorf("--time %v, --iterations %d: neither can be negative", c.Time, c.Iterations)
	}
	// A few orders are enough to begin from.
	o := nest.Options{Seed: c.Seed, Iterations: 16, Lines: c.Iterations, Gap: c.Gap * in.Scale}
	start := time.Now()
	if c.Time > 0 {
		o.Spent = func() float64 { return float64(time.Since(start)) / float64(c.Time) }
	}
	trace := newTrace(start)
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
		return err
	}
	if found := nest.Verify(in.Items, []nest.Bin{bin}, l, o.Gap); len(found) > 0 {
		return fmt.Errorf("the layout does not hold, which is a fault of this program: %v", found[0])
	}
	if len(l.Unplaced) > 0 {
		if l.Interrupted {
			return interruptedError{"before everything had been laid once; nothing was written"}
		}
		showFindings(out, l.Findings())
		return alterError{len(l.Unplaced)}
	}
	trace.add(l.Density)
	res := nested{
		Name: in.Name, DensityPct: 100 * l.Density, Length: bin.Size.X / in.Scale, Gap: c.Gap,
		Seconds: time.Since(start).Seconds(), Seed: c.Seed, Interrupted: l.Interrupted,
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
	if l.Interrupted {
		return interruptedError{"this is the best layout until then"}
	}
	return nil
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
