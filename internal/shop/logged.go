package shop

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"

	"groundwork/internal/given"
)

// Logged is what the log of print loads says of a printer's estimates with one
// filament: by how much loads really take more or less than is worked out.
type Logged struct {
	Filament string
	Time     Correction // s
	Grams    Correction // g
}

// Correction takes a figure that was worked out to what it comes out as. The
// zero value changes nothing.
type Correction struct {
	Times float64 // what the figure is multiplied by, 0 if nothing is known
	Plus  float64 // what is added for each load
	// Spread is the share of the corrected figure within which, either way, 95 of
	// 100 loads lie. It is 0 if that is not known.
	Spread   float64
	From, To float64 // figures, as worked out, of the loads that it rests on; 0 and 0 if that is not known
	Runs     int     // how many loads it rests on, 0 if that is not known
}

// Known reports whether there is anything to correct by.
func (c Correction) Known() bool { return c.Times > 0 }

// Of is the figure x corrected. Below From it is at least the share of x that it
// is at From, so that an offset below nothing never makes a load take none.
func (c Correction) Of(x float64) float64 {
	if !c.Known() {
		return x
	}
	y := c.Times*x + c.Plus
	if x < c.From {
		y = max(y, (c.Times+c.Plus/c.From)*x)
	}
	return y
}

// Within is the share either way within which 95 of 100 loads lie that were
// worked out at x; usual is what holds where nothing is known. A load that is
// smaller or larger than all in the log is not promised more than usual.
func (c Correction) Within(x, usual float64) float64 {
	switch {
	case !c.Known() || c.Spread == 0:
		return usual
	case x < c.From || c.To > 0 && x > c.To:
		return max(usual, c.Spread)
	}
	return c.Spread
}

// Logged is what the log says of the printer with a filament; what it says
// nothing of has corrections that change nothing.
func (p Printer) Logged(filament string) Logged {
	if l, ok := find(p.Log, func(l Logged) bool { return l.Filament == filament }); ok {
		return l
	}
	return Logged{Filament: filament}
}

// LoggedDoc is what print loads with one filament really took.
type LoggedDoc struct {
	given.Place `json:"-"`
	Time        *TimesDoc  `json:"time" jsonschema_description:"What loads take of time, beside what is worked out."`
	Grams       *WeighsDoc `json:"grams" jsonschema_description:"What loads take of filament, beside what is worked out."`
}

// TimesDoc corrects the time of a load.
type TimesDoc struct {
	given.Place `json:"-"`
	Times       given.Number `json:"times" jsonschema:"required" jsonschema_description:"What the time that is worked out is multiplied by, as in 1.08."`
	Plus        given.Number `json:"plus" jsonschema_description:"Time that is added for each load, as in 4 min; it may be negative; none when left out."`
	Spread      given.Number `json:"spread" jsonschema_description:"Share, either way, within which 95 of 100 loads lie; the printer's own spread when left out."`
	From        given.Number `json:"from" jsonschema_description:"Least time, as worked out, of the loads that this rests on. A shorter load is not promised less than the printer's own spread."`
	To          given.Number `json:"to" jsonschema_description:"Greatest time, as worked out, of the loads that this rests on. A longer load is not promised less than the printer's own spread."`
	Runs        given.Number `json:"runs" jsonschema_description:"How many loads this rests on."`
}

// WeighsDoc corrects the filament of a load.
type WeighsDoc struct {
	given.Place `json:"-"`
	Times       given.Number `json:"times" jsonschema:"required" jsonschema_description:"What the grams that are worked out are multiplied by, as in 1.03."`
	Plus        given.Number `json:"plus" jsonschema_description:"Grams that are added for each load, as in 3 g; it may be negative; none when left out."`
	From        given.Number `json:"from" jsonschema_description:"Least grams, as worked out, of the loads that this rests on."`
	Runs        given.Number `json:"runs" jsonschema_description:"How many loads this rests on."`
}

// most bounds a load: a thousand hours, a hundred kilograms.
const mostTime, mostGrams = 3.6e6, 1e5

func (r *reader) log(d given.Map[LoggedDoc], of string) []Logged {
	var out []Logged
	for i, k := range d.Keys {
		if !idForm.MatchString(k.Value) { // whether the shop has it is seen when all is read
			r.faults.Add(k.Place, "write the filament's id, as in abs", "%q%s is no id of a filament", k.Value, of)
			continue
		}
		l, with := Logged{Filament: k.Value}, of+" with "+k.Value
		if t := d.Values[i].Time; t != nil {
			l.Time = r.correction(t.Times, t.Plus, t.From, t.To, t.Runs, "time of a load"+with, times, mostTime)
			l.Time.Spread = r.number(t.Spread, "spread of a load's time"+with, shares, 0, span{0.001, 1})
		}
		if g := d.Values[i].Grams; g != nil {
			l.Grams = r.correction(g.Times, g.Plus, g.From, given.Number{}, g.Runs, "filament of a load"+with, masses, mostGrams)
		}
		out = append(out, l)
	}
	return out
}

func (r *reader) correction(times, plus, from, to, runs given.Number, what string, m measure, most float64) Correction {
	before := r.faults.Len()
	c := Correction{
		Times: r.number(times, "factor for the "+what, counts, 0, span{0.1, 10}),
		Plus:  r.number(plus, "what is added to the "+what, m, 0, span{-most, most}),
		From:  r.number(from, "least "+what, m, 0, span{0, most}),
		To:    r.number(to, "greatest "+what, m, 0, span{0, most}),
		Runs:  r.whole(runs, "number of loads behind the "+what, 0, span{0, 1e6}),
	}
	if !r.sound(before) {
		return c
	}
	if c.Times*c.From+c.Plus <= 0 && c.Plus < 0 {
		r.faults.Add(plus.Place, "give from: the smallest load that it rests on, of which something must be left; or leave plus out",
			"the %s would be nothing or less for a small load", what)
	}
	if to.Written() && c.To < c.From {
		r.faults.Add(to.Place, "exchange them", "the greatest %s is less than the least", what)
	}
	return c
}

// ApplyLog writes what the log says of a printer into a shop file: only values
// that differ are rewritten, every other byte stays, and so do the comments.
// Applied twice, it changes nothing more. why says what it rests on, as in "9
// loads". A correction that is not Known leaves what the file has.
func ApplyLog(shopText []byte, printer string, l Logged, why string) ([]byte, []Change, error) {
	doing := "entering what was logged of " + printer + " with " + l.Filament
	s, err := Parse("the shop file", shopText)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", doing, err)
	}
	i := slices.IndexFunc(s.Printers, func(p Printer) bool { return p.ID == printer })
	if i < 0 {
		return nil, nil, fmt.Errorf("%s: the shop has no printer %q", doing, printer)
	}
	if _, ok := s.Filament(l.Filament); !ok {
		return nil, nil, fmt.Errorf("%s: the shop has no filament %q", doing, l.Filament)
	}
	out := shopText
	var changes []Change
	for _, part := range []struct {
		key, unit, word string
		c               Correction
	}{{"time", " s", "time", l.Time}, {"grams", " g", "filament", l.Grams}} {
		if !part.c.Known() {
			continue
		}
		at := []string{"printers", strconv.Itoa(i), "log", l.Filament, part.key}
		next, some, err := part.c.write(out, at, part.unit, part.word+" of a load of "+l.Filament+" on "+printer, why)
		if err != nil {
			return nil, nil, fmt.Errorf("%s: %w", doing, err)
		}
		out, changes = next, append(changes, some...)
	}
	if len(changes) == 0 {
		return shopText, nil, nil
	}
	if _, err := Parse("the shop file", out); err != nil {
		return nil, nil, fmt.Errorf("%s: the shop would not be sound any more: %w", doing, err)
	}
	return out, changes, nil
}

// write puts a correction into the text, value by value where there is one
// already, else as a mapping in one line.
func (c Correction) write(text []byte, at []string, unit, key, why string) ([]byte, []Change, error) {
	parts := 1.0 // to a second
	if unit == " g" {
		parts = 10 // to a tenth of a gram
	}
	with := func(v float64) string { return strconv.FormatFloat(v/parts+0, 'f', -1, 64) + unit }
	plus, from, to := math.Round(c.Plus*parts), math.Floor(c.From*parts), math.Ceil(c.To*parts) // what it rests on stays within
	type value struct {
		key, text string
		usual     bool // what it is when it is left out
	}
	values := []value{
		{"times", strconv.FormatFloat(math.Round(c.Times*1e3)/1e3, 'f', -1, 64), false},
		{"plus", with(plus), plus == 0},
	}
	if unit == " s" { // of the filament nothing is promised
		// Rounded up: what is promised of few loads is not made out of rounding.
		values = append(values, value{"spread", strconv.FormatFloat(math.Ceil(min(1, max(0.001, c.Spread))*1e3-1e-6)/10, 'f', -1, 64) + " %", c.Spread == 0},
			value{"from", with(from), from == 0}, value{"to", with(to), to == 0})
	} else {
		values = append(values, value{"from", with(from), from == 0})
	}
	values = append(values, value{"runs", strconv.Itoa(c.Runs), c.Runs == 0})

	root := given.Read(text, &given.Faults{})
	if n := root.At(given.Pointer(at...)); n != nil && n.Kind == given.Mapping {
		var changes []Change
		for _, v := range values {
			change := Change{Pointer: given.Pointer(append(slices.Clone(at), v.key)...), Key: key + ", " + v.key, To: v.text, Why: why}
			if n := root.At(change.Pointer); n != nil {
				change.From = n.Text
			}
			if change.From == v.text || change.From == "" && v.usual {
				continue
			}
			next, err := given.Edit(text, change.Pointer, v.text)
			if err != nil {
				return nil, nil, err
			}
			text, changes = next, append(changes, change)
		}
		return text, changes, nil
	}
	flow := ""
	for _, v := range values {
		if v.usual {
			continue
		}
		if flow != "" {
			flow += ", "
		}
		flow += v.key + ": " + v.text
	}
	flow = "{" + flow + "}"
	change := Change{Pointer: given.Pointer(at...), Key: key, To: flow, Why: why}
	// Of what leads there, the first that is missing is written with all below it.
	for n := len(at); n > 2; n-- {
		parent := root.At(given.Pointer(at[:n-1]...))
		if parent != nil && parent.Kind != given.Null || n == 3 {
			out, err := editWhole(text, given.Pointer(at[:n]...), flow)
			return out, []Change{change}, err
		}
		flow = "{" + at[n-1] + ": " + flow + "}"
	}
	return nil, nil, errors.New(change.Pointer + " has no place in the file")
}

// editWhole sets what a JSON Pointer names to a list or mapping written in one
// line. Edit sets single values only, so a word that stands nowhere else holds
// the place.
func editWhole(text []byte, pointer, whole string) ([]byte, error) {
	mark := []byte("to-be-measured")
	for bytes.Contains(text, mark) {
		mark = append(mark, 'x')
	}
	out, err := given.Edit(text, pointer, string(mark))
	if err != nil {
		return nil, err
	}
	if bytes.Count(out, mark) != 1 {
		return nil, errors.New(pointer + " has no place in the file")
	}
	return bytes.Replace(out, mark, []byte(whole), 1), nil
}
