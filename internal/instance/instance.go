// Package instance reads strip packing instances, the JSON files in which the
// problems of the nesting literature are handed round and in which anybody can
// write outlines of his own: a strip's height, and items with how often each is
// wanted, by how many degrees it may be turned, and its outline. docs/nesting.md
// describes the file.
package instance

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"

	"groundwork/internal/geom"
	"groundwork/internal/nest"
)

// Instance is a strip to be filled.
//
// Its numbers may be of any unit. Items and Height are scaled by a power of ten,
// so that whole numbers stay whole, to a strip above 100 mm and up to 1 m high:
// the micrometres that layouts are made of are then as fine for all. What is
// measured of a layout, divided by Scale, is in the file's unit again.
type Instance struct {
	Name   string
	Height float64 // mm, scaled
	Scale  float64 // mm a unit of the file
	Items  []nest.Item
	Area   float64 // of all copies, mm², scaled
	Copies int
}

// Limits of a file.
const (
	mostBytes    = 16 << 20
	mostCopies   = 100_000
	mostVertices = 20_000 // of one item
	mostTurns    = 720    // of one item
	mostFaults   = 10     // told at once
	mostReach    = 9e4    // mm, of a coordinate, scaled: nest takes 1.34e5 and outlines are turned
)

// freeTurns is how many turns stand for any rotation, evenly about the circle.
// With 24, quarters and eighths among them, an outline laid in the best of them
// is 7.5° off its best rotation at most.
const freeTurns = 24

// file is an instance as written. What else a file says (its source, the best
// known result) is let be.
type file struct {
	Name   string   `json:"name"`
	Height *float64 `json:"strip_height"`
	Items  []item   `json:"items"`
}

type item struct {
	ID     *int64      `json:"id"`
	Demand *int        `json:"demand"`
	Turns  *[]*float64 `json:"allowed_orientations"` // degrees
	Shape  struct {
		Type  string         `json:"type"`
		Data  [][]*float64   `json:"data"` // pointers, since null would pass for 0
		Holes [][][]*float64 `json:"holes"`
	} `json:"shape"`
}

// ReadFile reads an instance from a file.
func ReadFile(name string) (*Instance, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, mostBytes+1))
	if err != nil {
		return nil, err
	}
	in, err := Read(data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return in, nil
}

// Read reads an instance. The error tells every fault, up to ten, with the item
// and the vertex it is in and what to write instead. Whether outlines cross
// themselves, or fit the strip, is for nest to say.
func Read(data []byte) (*Instance, error) {
	if len(data) > mostBytes {
		return nil, fmt.Errorf("it is larger than %d MB; divide it", mostBytes>>20)
	}
	var f file
	d := json.NewDecoder(bytes.NewReader(data))
	if err := d.Decode(&f); err != nil {
		return nil, inLine(data, err)
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, fmt.Errorf("line %d: something follows the end of the instance; write one to a file", line(data, d.InputOffset()))
	}
	switch {
	case f.Height == nil:
		return nil, errors.New("strip_height is missing; write the height of the strip, in the unit of the outlines")
	case !(*f.Height >= 1e-6 && *f.Height <= 1e12):
		return nil, fmt.Errorf("strip_height is %g; write a number above 0, from 1e-6 to 1e12", *f.Height)
	case len(f.Items) == 0:
		return nil, errors.New("it has no items; write at least one")
	}
	in := &Instance{Name: f.Name, Scale: math.Pow(10, math.Floor(math.Log10(1000 / *f.Height)))}
	in.Height = *f.Height * in.Scale
	var faults []error
	seen := map[string]int{}
	for i, it := range f.Items {
		x, err := it.read(i, in.Scale)
		if err == nil {
			if first, twice := seen[x.ID]; twice {
				err = fmt.Errorf("its id is that of the item in place %d; give each its own, or raise the demand", first+1)
			}
			seen[x.ID] = i
		}
		if err == nil {
			if in.Copies += x.Quantity; in.Copies > mostCopies {
				return nil, fmt.Errorf("more than %d copies are wanted in all; divide the instance", mostCopies)
			}
			in.Area += x.Shape.Area() * float64(x.Quantity)
			in.Items = append(in.Items, x)
			continue
		}
		name := fmt.Sprintf("item in place %d", i+1)
		if it.ID != nil {
			name += fmt.Sprintf(" (id %d)", *it.ID)
		}
		if faults = append(faults, fmt.Errorf("%s: %w", name, err)); len(faults) == mostFaults {
			break
		}
	}
	if len(faults) > 0 {
		return nil, errors.Join(faults...)
	}
	return in, nil
}

// read is the item for nest. One without an id is known by its place.
func (it item) read(place int, scale float64) (nest.Item, error) {
	x := nest.Item{ID: fmt.Sprint(place)}
	fail := func(format string, a ...any) (nest.Item, error) { return nest.Item{}, fmt.Errorf(format, a...) }
	if it.ID != nil {
		x.ID = fmt.Sprint(*it.ID)
	}
	if it.Demand == nil {
		return fail("demand is missing; write how many copies are wanted")
	}
	if x.Quantity = *it.Demand; x.Quantity < 1 || x.Quantity > mostCopies {
		return fail("demand is %d; write how many copies are wanted, 1 to %d", x.Quantity, mostCopies)
	}
	switch {
	case it.Turns == nil:
		for i := range freeTurns {
			x.Turns = append(x.Turns, 2*math.Pi*float64(i)/freeTurns)
		}
	case len(*it.Turns) == 0:
		return fail("allowed_orientations is empty; write [0] if it may not be turned, or leave it out if it may be turned at will")
	case len(*it.Turns) > mostTurns:
		return fail("it has %d allowed_orientations; write at most %d, or leave them out if it may be turned at will", len(*it.Turns), mostTurns)
	default:
		for _, d := range *it.Turns {
			if d == nil || math.Abs(*d) > 3600 {
				return fail("one of its allowed_orientations is no angle in degrees; write 0 to 360")
			}
			x.Turns = append(x.Turns, *d*math.Pi/180)
		}
	}
	if t := it.Shape.Type; t != "simple_polygon" && t != "" {
		return fail("a shape of type %q cannot be read; write simple_polygon with the vertices in order, and holes beside data if it has any", t)
	}
	vertices := 0
	for n, loop := range append([][][]*float64{it.Shape.Data}, it.Shape.Holes...) {
		name := "its outline"
		if n > 0 {
			name = fmt.Sprintf("its hole %d", n)
		}
		if len(loop) < 3 {
			return fail("%s has %d vertices; write at least three, as in [[0, 0], [5, 0], [0, 5]]", name, len(loop))
		}
		if vertices += len(loop); vertices > mostVertices {
			return fail("it has more than %d vertices; draw it with fewer", mostVertices)
		}
		p := make(geom.Polygon, len(loop))
		for k, v := range loop {
			if len(v) != 2 || v[0] == nil || v[1] == nil {
				return fail("vertex %d of %s is not two numbers; write x and y, as in [5, 0]", k+1, name)
			}
			p[k] = geom.V2(*v[0], *v[1]).Scale(scale)
			if !(math.Abs(p[k].X) <= mostReach && math.Abs(p[k].Y) <= mostReach) {
				return fail("vertex %d of %s, (%g, %g), is too far from the origin for a strip so low; write numbers up to %g", k+1, name, *v[0], *v[1], mostReach/scale)
			}
		}
		// Either direction will do.
		if (p.Area() < 0) != (n > 0) {
			p = p.Reversed()
		}
		x.Shape = append(x.Shape, p)
	}
	return x, nil
}

// inLine says in which line of the data a fault of its JSON is, and what it is
// in words that do not need to know this program.
func inLine(data []byte, err error) error {
	var syntax *json.SyntaxError
	var kind *json.UnmarshalTypeError
	switch {
	case errors.As(err, &syntax):
		return fmt.Errorf("line %d: this is not JSON: %v", line(data, syntax.Offset), err)
	case errors.As(err, &kind):
		where := kind.Field
		if where == "" {
			where = "the whole"
		}
		return fmt.Errorf("line %d: %s cannot be %s; write %s", line(data, kind.Offset), where, article(kind.Value), wanted(kind))
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Errorf("line %d: it ends before the instance does; is the file whole?", line(data, int64(len(data))))
	}
	return err
}

func article(value string) string {
	switch value {
	case "array":
		return "a list"
	case "string":
		return "a text"
	case "object":
		return "a group in braces"
	case "bool":
		return "true or false"
	}
	return "the " + value // "number 1.5"
}

func wanted(e *json.UnmarshalTypeError) string {
	switch e.Type.Kind().String() {
	case "int", "int64":
		return "a whole number"
	case "float64":
		return "a number"
	case "slice":
		return "a list in brackets"
	case "struct":
		return "a group in braces"
	}
	return "a text"
}

// line is the line, from 1, that holds an offset.
func line(data []byte, offset int64) int {
	return 1 + bytes.Count(data[:min(int(offset), len(data))], []byte("\n"))
}
