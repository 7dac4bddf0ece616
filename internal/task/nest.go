package task

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"groundwork/internal/geom"
	"groundwork/internal/instance"
	"groundwork/internal/line"
	"groundwork/internal/nest"
)

// NestKind is the kind of a search for the shortest strip from one seed.
const NestKind = "nest"

// Nest is what is searched, and how: the arguments of a task.
type Nest struct {
	Program    string          `json:"program"` // as of line.Program
	Seed       int64           `json:"seed"`
	Gap        float64         `json:"gap"`            // in the unit of the instance
	Iterations int             `json:"iterations"`     // as nest.Options has it
	Lines      int             `json:"lines"`          // as nest.Options has it
	Time       time.Duration   `json:"time,omitempty"` // in place of Lines, ns; the result then depends on the machine
	Name       string          `json:"name,omitempty"` // what it is called, for who watches
	Instance   json.RawMessage `json:"instance"`       // the whole file
}

// Task is the search as a task.
func (n Nest) Task() (line.Task, error) { return line.TaskOf(NestKind, n) }

// NestWords say what a task is: "shirts, seed 3"; "" if it cannot be read.
func NestWords(args []byte) string {
	var n struct {
		Name string
		Seed int64
	}
	if json.Unmarshal(args, &n) != nil {
		return ""
	}
	if n.Name == "" {
		n.Name = "outlines"
	}
	return fmt.Sprintf("%s, seed %d", n.Name, n.Seed)
}

// Options are those of a search, for instances of the given scale. Spent is left
// to who begins it.
func (n Nest) Options(scale float64) nest.Options {
	return nest.Options{Seed: n.Seed, Iterations: n.Iterations, Lines: n.Lines, Gap: n.Gap * scale}
}

// nested is the result of a search.
type nested struct {
	Fault      string          `json:"fault,omitempty"` // why there can be none
	Length     float64         `json:"length"`          // of the strip, mm, scaled
	Placements []placement     `json:"placements"`
	Unplaced   []nest.Unplaced `json:"unplaced,omitempty"`
}

type placement struct {
	Item string     `json:"item"`
	Copy int        `json:"copy"`
	Turn float64    `json:"turn"` // rad
	At   [2]float64 `json:"at"`   // mm, scaled
}

// Searcher does searches.
type Searcher struct {
	// Left, if not nil, gets what there is of a search that its context ends, as
	// a result would be; by several goroutines.
	Left func(seed int64, result []byte)
}

// Do searches: from a Nest to a result for ReadNest. What cannot be laid at all
// is told in the result; the error is for what may come out otherwise elsewhere.
func (s Searcher) Do(ctx context.Context, args []byte) ([]byte, error) {
	var n Nest
	if err := read(NestKind, args, &n, &n.Program); err != nil {
		return nil, err
	}
	in, err := instance.Read(n.Instance)
	if err != nil {
		return json.Marshal(nested{Fault: err.Error()})
	}
	o := n.Options(in.Scale)
	if n.Time > 0 {
		start := time.Now()
		o.Spent = func() float64 { return float64(time.Since(start)) / float64(n.Time) }
	}
	l, bin, err := nest.Strip(ctx, in.Items, in.Height, o)
	ended := ctx.Err()
	switch {
	case err != nil && ended != nil:
		return nil, ended
	case err != nil:
		return json.Marshal(nested{Fault: err.Error()})
	}
	out := nested{Length: bin.Size.X, Unplaced: l.Unplaced}
	for _, p := range l.Placements {
		out.Placements = append(out.Placements, placement{p.Item, p.Copy, p.Turn, [2]float64{p.At.X, p.At.Y}})
	}
	result, err := json.Marshal(out)
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s: %w", NestKind, err)
	case !l.Interrupted:
		return result, nil // whole, though the context may have ended meanwhile
	case s.Left != nil:
		s.Left(n.Seed, result)
	}
	if ended == nil {
		ended = context.Canceled
	}
	return nil, ended
}

// ReadNest reads what a search came to and verifies it against the instance and
// the gap, mm, scaled: a layout that comes from elsewhere is not taken on trust,
// nor is its density. An error is for a layout that does not hold, or for what
// cannot be laid.
func ReadNest(in *instance.Instance, gap float64, result []byte) (*nest.Layout, nest.Bin, error) {
	var r nested
	if err := json.Unmarshal(result, &r); err != nil {
		return nil, nest.Bin{}, fmt.Errorf("reading a layout: %w", err)
	}
	if r.Fault != "" {
		return nil, nest.Bin{}, fmt.Errorf("%s", r.Fault)
	}
	bin := nest.Bin{ID: "strip", Size: geom.V2(r.Length, in.Height), Cost: 1}
	l := &nest.Layout{Unplaced: r.Unplaced}
	for _, p := range r.Placements {
		l.Placements = append(l.Placements, nest.Placement{Item: p.Item, Copy: p.Copy, Turn: p.Turn, At: geom.V2(p.At[0], p.At[1])})
	}
	if len(l.Placements) > 0 {
		l.Bins = []nest.BinUse{{ID: bin.ID, Items: len(l.Placements)}}
	}
	if found := nest.Verify(in.Items, []nest.Bin{bin}, l, gap); len(found) > 0 {
		return nil, nest.Bin{}, fmt.Errorf("the layout does not hold, which is a fault of the program that made it: %v", found[0])
	}
	area := map[string]float64{}
	for _, it := range in.Items {
		area[it.ID] = it.Shape.Area()
	}
	total := 0.0
	for _, p := range l.Placements {
		total += area[p.Item]
	}
	l.Density = total / (bin.Size.X * bin.Size.Y)
	if len(l.Bins) > 0 {
		l.Bins[0].Area, l.Bins[0].Density = total, l.Density
	}
	return l, bin, nil
}
