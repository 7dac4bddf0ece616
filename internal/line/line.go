// Package line plans a line: one piece over a grid of sizes, veneers and
// filaments, and puts what every variant takes in one table.
//
// The flow is New (files and axes to variants, each with its task), Line.Run
// (tasks to rows, by whoever runs them: Runner) and Table's CSV, HTML, XLSX and
// Write. Work is what one variant comes to: Do is a pure function of a task's
// bytes, so any machine with the same build may do it, and a row that is kept
// (Kept) need not be worked out again.
package line

import (
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/unit"
)

// File is a given file: its name for findings and its bytes.
type File struct {
	Name string `json:"name"`
	Data []byte `json:"data"`
}

// Options steer what is worked out of every variant. The zero value works.
type Options struct {
	Strength bool `json:"strength,omitempty"` // how it bears its loads; remedies are not looked for
}

// Line is a piece over a grid. It must not be changed.
type Line struct {
	Title    string
	Piece    File
	Shop     File
	Currency string
	Axes     []Axis
	Options  Options
	Program  string // as of Program
	Variants []Variant
}

// Variant is one place in the grid.
type Variant struct {
	N      int      // from 1, the last axis fastest
	Values []string // by axis
	Name   string   // "length 600 mm, ash"
	Task   Task
}

// Task is work to be done: everything that its result depends on.
type Task struct {
	Key  string // lower-case hexadecimal, the same only for the same work by the same program
	Args []byte // for Do
}

// TaskKind is the kind of a line's tasks, for runners that do several.
const TaskKind = "line variant"

// New lays a piece out over axes: every parameter axis, then veneer, then
// filament, whatever the order in which the last two were given. open reads a
// file with solids that the piece names, and may be nil. program is what Program
// says.
//
// The error tells of faults that all variants have: of the files, or of the axes,
// then an *AxisError. What only some variants cannot be made by is told in their
// rows.
func New(pieceFile, shopFile File, axes []Axis, o Options, open func(name string) ([]byte, error), program string) (*Line, error) {
	doc, err := piece.Parse(pieceFile.Name, pieceFile.Data)
	if err != nil {
		return nil, err
	}
	doc.Open = open
	base, _, err := doc.Resolve(nil)
	if err != nil {
		return nil, err
	}
	s, err := shop.Parse(shopFile.Name, shopFile.Data)
	if err != nil {
		return nil, err
	}
	l := &Line{Title: base.Title, Piece: pieceFile, Shop: shopFile, Currency: s.Currency, Options: o, Program: program}
	if l.Axes, err = settle(axes, base, s); err != nil {
		return nil, err
	}
	solids, err := Carry(doc, open)
	if err != nil {
		return nil, err
	}
	n := 1
	for _, a := range l.Axes {
		n *= len(a.Values) // each at most MaxVariants, and checked at every step
		if n > MaxVariants {
			return nil, &AxisError{Axis: names(l.Axes), Why: fmt.Sprintf("together they make %s variants, and a line has at most %d", product(l.Axes), MaxVariants), Remedy: "take fewer values or larger steps"}
		}
	}
	total := 0
	for i := range n {
		v := Variant{N: i + 1, Values: make([]string, len(l.Axes))}
		for j, rest := len(l.Axes)-1, i; j >= 0; j-- {
			a := l.Axes[j]
			v.Values[j] = a.Values[rest%len(a.Values)]
			rest /= len(a.Values)
		}
		v.Name = l.name(v.Values)
		if v.Task, err = l.task(v.Values, solids); err != nil {
			return nil, err
		}
		if total += len(v.Task.Args); total > maxGiven {
			return nil, fmt.Errorf("%d variants with the solids of the piece come to more than %d MiB of tasks; take fewer variants, or simpler meshes", n, maxGiven>>20)
		}
		l.Variants = append(l.Variants, v)
	}
	return l, nil
}

// settle checks axes against the piece and the shop, and puts them in order.
func settle(axes []Axis, p *piece.Piece, s *shop.Shop) ([]Axis, error) {
	if len(axes) > maxAxes {
		return nil, &AxisError{Axis: names(axes), Why: fmt.Sprintf("these are %d axes, and %d are the most", len(axes), maxAxes), Remedy: "give what stays the same in the piece file"}
	}
	var out []Axis
	for _, kind := range []Kind{Parameter, Veneer, Filament} {
		for _, a := range axes {
			if a.Kind != kind {
				continue
			}
			if slices.ContainsFunc(out, func(b Axis) bool { return a.Kind == b.Kind && a.Name == b.Name }) {
				return nil, &AxisError{Axis: a.Name, Why: "it is varied twice", Remedy: "put all its values in one axis"}
			}
			var err error
			switch kind {
			case Parameter:
				err = a.fits(p)
			case Veneer:
				err = a.choose(ids(s.Veneers, func(v shop.Veneer) string { return v.ID }))
			case Filament:
				err = a.choose(ids(s.Filaments, func(f shop.Filament) string { return f.ID }))
			}
			if err != nil {
				return nil, err
			}
			out = append(out, a)
		}
	}
	return out, nil
}

// fits checks that an axis is over a parameter of the piece, in its kind of units.
func (a Axis) fits(p *piece.Piece) error {
	i := slices.IndexFunc(p.Parameters, func(q piece.Parameter) bool { return q.Name == a.Name })
	if i < 0 {
		known := ids(p.Parameters, func(q piece.Parameter) string { return q.Name })
		remedy := "give the piece parameters first"
		if len(known) > 0 {
			remedy = "it has: " + strings.Join(known, ", ")
		}
		return &AxisError{Axis: a.Name, Why: "the piece has no parameter of that name", Remedy: remedy}
	}
	kinds := map[piece.Quantity]unit.Quantity{piece.Length: unit.Length, piece.Angle: unit.Angle, piece.Mass: unit.Mass, piece.Force: unit.Force, piece.Count: unit.Plain}
	if want := kinds[p.Parameters[i].Kind]; want != a.quantity {
		remedy := "write its values as in the piece file"
		if want == unit.Length {
			remedy = "write its values with their unit, as in 600 mm"
		}
		return &AxisError{Axis: a.Name, Part: a.Values[0], Why: fmt.Sprintf("the parameter is %s, and this is %s", article(want), article(a.quantity)), Remedy: remedy}
	}
	return nil
}

// choose gives an axis over all of the shop its values, and checks those of others.
func (a *Axis) choose(ids []string) error {
	if len(a.Values) == 0 {
		a.Values = ids
	}
	if len(a.Values) == 0 {
		return &AxisError{Axis: a.Name, Why: fmt.Sprintf("the shop has no %s", a.Kind), Remedy: "put one into the shop file"}
	}
	return a.among(ids)
}

func ids[T any](list []T, id func(T) string) (out []string) {
	for _, v := range list {
		out = append(out, id(v))
	}
	return out
}

func names(axes []Axis) string {
	return strings.Join(ids(axes, func(a Axis) string { return a.Name }), ", ")
}

func product(axes []Axis) string {
	return strings.Join(ids(axes, func(a Axis) string { return fmt.Sprint(len(a.Values)) }), " × ")
}

// name is a variant in words.
func (l *Line) name(values []string) string {
	var out []string
	for j, a := range l.Axes {
		if a.Kind == Parameter {
			out = append(out, strings.ReplaceAll(a.Name, "_", " ")+" "+values[j])
		} else {
			out = append(out, values[j])
		}
	}
	if out == nil {
		return "as it is"
	}
	return strings.Join(out, ", ")
}

// args are a task's Args. Maps are written in the order of their keys.
type args struct {
	Program  string            `json:"program"`
	Piece    File              `json:"piece"`
	Shop     File              `json:"shop"`
	Solids   map[string][]byte `json:"solids,omitempty"`
	Set      map[string]string `json:"set,omitempty"`
	Veneer   string            `json:"veneer,omitempty"`
	Filament string            `json:"filament,omitempty"`
	Options  Options           `json:"options"`
}

func (l *Line) task(values []string, solids map[string][]byte) (Task, error) {
	a := args{Program: l.Program, Piece: l.Piece, Shop: l.Shop, Solids: solids, Options: l.Options, Set: map[string]string{}}
	for j, x := range l.Axes {
		switch x.Kind {
		case Parameter:
			a.Set[x.Name] = values[j]
		case Veneer:
			a.Veneer = values[j]
		case Filament:
			a.Filament = values[j]
		}
	}
	t, err := TaskOf(TaskKind, a)
	if err != nil {
		return Task{}, fmt.Errorf("line: %w", err)
	}
	return t, nil
}
