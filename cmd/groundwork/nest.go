package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"time"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
	"groundwork/internal/nest"
)

type nestCommand struct {
	File       string        `arg:"" help:"The instance: a JSON file with strip_height and items, as in docs/nesting.md." type:"path"`
	Time       time.Duration `help:"How long to go on, as in 60s. The result then depends on the machine." placeholder:"TIME"`
	Iterations int           `help:"How long to go on without --time: how many lines are looked along for places. The result is then the same every time." default:"1000000" placeholder:"N"`
	Seed       int64         `help:"Another of many equally good searches."`
	SVG        string        `help:"Write the layout as a drawing." type:"path" placeholder:"FILE"`
	JSON       string        `help:"Write the layout as data." type:"path" placeholder:"FILE"`
}

// instance is a strip to be filled: a height, and outlines with how often each
// is wanted and by how many degrees it may be turned.
type instance struct {
	Name   string  `json:"name"`
	Height float64 `json:"strip_height"`
	Items  []struct {
		ID     int       `json:"id"`
		Demand int       `json:"demand"`
		Turns  []float64 `json:"allowed_orientations"`
		Shape  struct {
			Type string       `json:"type"`
			Data [][2]float64 `json:"data"`
		} `json:"shape"`
	} `json:"items"`
}

// nested is a layout as data.
type nested struct {
	Name       string        `json:"name"`
	DensityPct float64       `json:"density_pct"`
	Length     float64       `json:"length"`
	Seconds    float64       `json:"seconds"`
	Seed       int64         `json:"seed"`
	Placements []nestedPlace `json:"placements"`
}

type nestedPlace struct {
	Item     string  `json:"item"`
	X        float64 `json:"x"`
	Y        float64 `json:"y"`
	Rotation float64 `json:"rotation"` // degrees about the outline's own origin, before it is moved
}

func (c *nestCommand) Run(ctx context.Context, out *output) error {
	in, items, scale, err := readInstance(c.File)
	if err != nil {
		return err
	}
	o := nest.Options{Seed: c.Seed, Lines: c.Iterations}
	start := time.Now()
	if c.Time > 0 {
		o.Spent = func() float64 { return float64(time.Since(start)) / float64(c.Time) }
	}
	if out.terminal() {
		o.Progress = func(done, total int, density float64) {
			fmt.Fprintf(out.Err, "\r\033[K%3d %%  %.2f %%", 100*done/max(total, 1), 100*density)
		}
	}
	l, bin, err := nest.Strip(ctx, items, in.Height*scale, o)
	if out.terminal() {
		fmt.Fprint(out.Err, "\r\033[K")
	}
	if err != nil {
		return err
	}
	if found := nest.Verify(items, []nest.Bin{bin}, l, 0); len(found) > 0 {
		return fmt.Errorf("the layout does not hold, which is a fault of this program: %v", found[0])
	}
	if len(l.Unplaced) > 0 {
		showFindings(out, l.Findings())
		return alterError{len(l.Unplaced)}
	}
	res := nested{Name: in.Name, DensityPct: 100 * l.Density, Length: bin.Size.X / scale, Seconds: time.Since(start).Seconds(), Seed: c.Seed}
	for _, p := range l.Placements {
		res.Placements = append(res.Placements, nestedPlace{p.Item, p.At.X / scale, p.At.Y / scale, p.Turn * 180 / math.Pi})
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
		if err := draw.WriteSVG(&b, layoutDrawing(items, l, bin)); err != nil {
			return err
		}
		if err := writeWhole(c.SVG, b.Bytes()); err != nil {
			return err
		}
	}
	fmt.Fprintf(out.Out, "%s: density %.2f %%, length %.6g, %d placed, %.1f s\n", in.Name, res.DensityPct, res.Length, len(res.Placements), res.Seconds)
	return nil
}

// readInstance reads an instance. Numbers of any unit are brought to a strip a
// metre high, so that the micrometres that layouts are made of are as fine for
// all: the answer is divided by the scale again.
func readInstance(name string) (instance, []nest.Item, float64, error) {
	const most = 16 << 20 // bytes
	fail := func(err error) (instance, []nest.Item, float64, error) {
		return instance{}, nil, 0, fmt.Errorf("%s: %w", name, err)
	}
	info, err := os.Stat(name)
	if err != nil {
		return fail(err)
	}
	if info.Size() > most {
		return fail(fmt.Errorf("it is larger than %d MB", most>>20))
	}
	data, err := os.ReadFile(name)
	if err != nil {
		return fail(err)
	}
	var in instance
	if err := json.Unmarshal(data, &in); err != nil {
		return fail(err)
	}
	if !(in.Height > 0) || math.IsInf(in.Height, 0) {
		return fail(errors.New("strip_height must be a positive number"))
	}
	if len(in.Items) == 0 {
		return fail(errors.New("it has no items"))
	}
	// A power of ten, so that whole numbers stay whole.
	scale := math.Pow(10, math.Floor(math.Log10(1000/in.Height)))
	var items []nest.Item
	for _, it := range in.Items {
		if it.Shape.Type != "simple_polygon" && it.Shape.Type != "" {
			return fail(fmt.Errorf("item %d: a shape of type %q cannot be read; write simple_polygon", it.ID, it.Shape.Type))
		}
		if it.Demand < 1 {
			return fail(fmt.Errorf("item %d: demand is %d", it.ID, it.Demand))
		}
		x := nest.Item{ID: fmt.Sprint(it.ID), Quantity: it.Demand}
		var p geom.Polygon
		for _, v := range it.Shape.Data {
			p = append(p, geom.V2(v[0], v[1]).Scale(scale))
		}
		if p.Area() < 0 {
			p = p.Reversed()
		}
		x.Shape = geom.Polygons{p}
		for _, d := range it.Turns {
			x.Turns = append(x.Turns, d*math.Pi/180)
		}
		items = append(items, x)
	}
	return in, items, scale, nil
}

// layoutDrawing is the strip with what lies on it.
func layoutDrawing(items []nest.Item, l *nest.Layout, bin nest.Bin) draw.Sheet {
	cut := draw.Layer{Name: "outlines", Operation: draw.Cut}
	for _, p := range l.Placements {
		for _, it := range items {
			if it.ID == p.Item {
				cut.Items = append(cut.Items, draw.Outlines(p.Place(it.Shape))...)
			}
		}
	}
	frame := geom.Polygons{{{X: 0, Y: 0}, {X: bin.Size.X, Y: 0}, bin.Size, {X: 0, Y: bin.Size.Y}}}
	return draw.Sheet{Width: bin.Size.X, Height: bin.Size.Y, Layers: []draw.Layer{{Name: "strip", Operation: draw.Note, Items: draw.Outlines(frame)}, cut}}
}
