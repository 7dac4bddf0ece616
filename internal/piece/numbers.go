package piece

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"

	"groundwork/internal/given"
	"groundwork/internal/unit"
)

// quantity is a number that others may refer to by name.
type quantity struct {
	name   string // "height", "top.thickness"
	number given.Number
}

// outcome is what became of a number.
type outcome struct {
	value
	err  error
	busy bool // being worked out: meeting it again closes a ring
}

// reckoner works out the numbers of a document, each once, in whatever order
// they need one another.
type reckoner struct {
	faults *given.Faults
	named  map[string]*quantity
	owners []string                  // names of members as expressions spell them
	placed map[given.Place]*quantity // the same by where they are written
	done   map[*quantity]*outcome
	stack  []*quantity // those being worked out, outermost first
	failed int         // how often of had no value to give
}

// newReckoner lists what expressions may refer to: parameters, and the sizes of
// members: the keys of the shape, thickness, and at_x, at_y, at_z.
func newReckoner(d *Document, overrides map[string]string, f *given.Faults) *reckoner {
	ns := &reckoner{faults: f, named: map[string]*quantity{}, placed: map[given.Place]*quantity{}, done: map[*quantity]*outcome{}}
	add := func(name string, n given.Number) {
		// An alias makes two names for one written number, which has one value.
		q, ok := ns.placed[n.Place]
		if !ok || q.number.Text != n.Text {
			q = &quantity{name, n}
			ns.placed[n.Place] = q
		}
		ns.named[name] = q
	}
	for i, k := range d.Parameters.Keys {
		n := d.Parameters.Values[i].Value
		if text, ok := overrides[k.Value]; ok {
			n.Text = text
		}
		add(k.Value, n)
	}
	for i, k := range d.Members.Keys {
		m := d.Members.Values[i]
		owner := underscored(k.Value)
		ns.owners = append(ns.owners, owner)
		if m.Board != nil {
			addSizes(reflect.ValueOf(*m.Board), owner, add)
		}
		if m.Turning != nil {
			addSizes(reflect.ValueOf(*m.Turning), owner, add)
		}
		if m.Solid != nil {
			addSizes(reflect.ValueOf(*m.Solid), owner, add)
		}
		for j, axis := range []string{"x", "y", "z"} {
			n := given.Number{Place: k.Place, Text: "0"}
			if m.At != nil {
				n = m.At[j]
			}
			add(owner+".at_"+axis, n)
		}
	}
	return ns
}

// addSizes adds every number that stands under a key of v or of its shape.
func addSizes(v reflect.Value, owner string, add func(string, given.Number)) {
	for _, sf := range reflect.VisibleFields(v.Type()) {
		key, _, _ := strings.Cut(sf.Tag.Get("json"), ",")
		if key == "" || key == "-" {
			continue
		}
		switch x := v.FieldByIndex(sf.Index); {
		case sf.Type == reflect.TypeFor[given.Number]():
			if n := x.Interface().(given.Number); n.Written() {
				add(owner+"."+key, n)
			}
		case sf.Type.Kind() == reflect.Pointer && sf.Type.Elem().Kind() == reflect.Struct && !x.IsNil():
			addSizes(x.Elem(), owner, add)
		}
	}
}

// maxChain bounds how many names may lead to one another.
const maxChain = 200

// lookUp is the value of a name in an expression.
func (ns *reckoner) lookUp(name string) (value, error) {
	q, ok := ns.named[name]
	if !ok {
		return value{}, &advice{fmt.Sprintf("there is no %s here", name), given.Suggest(name, ns.near(name))}
	}
	return ns.workOut(q)
}

// near lists the names among which a mistaken one is sought.
func (ns *reckoner) near(name string) []string {
	owner, _, dotted := strings.Cut(name, ".")
	var out []string
	for _, n := range sortedKeys(ns.named) {
		o, _, d := strings.Cut(n, ".")
		if dotted && slices.Contains(ns.owners, owner) && o != owner || dotted != d {
			continue
		}
		out = append(out, n)
	}
	return out
}

func (ns *reckoner) workOut(q *quantity) (value, error) {
	if o, ok := ns.done[q]; ok {
		if o.busy {
			ns.ring(q)
			return value{}, errFailed
		}
		if o.err != nil {
			return value{}, errFailed // reported where it stands
		}
		return o.value, nil
	}
	o := &outcome{busy: true}
	ns.done[q] = o
	ns.stack = append(ns.stack, q)
	if len(ns.stack) > maxChain {
		ns.faults.Add(q.number.Place, "refer to the parameters directly", "more than %d names lead to one another", maxChain)
		o.err = errFailed
	} else {
		o.value, o.err = ns.read(q.number)
	}
	ns.stack = ns.stack[:len(ns.stack)-1]
	o.busy = false
	if o.err != nil {
		return value{}, errFailed
	}
	return o.value, nil
}

// ring notes a cycle, once, at the first of its members in the file.
func (ns *reckoner) ring(q *quantity) {
	i := slices.Index(ns.stack, q)
	ring := slices.Clone(ns.stack[i:])
	first := 0
	for j, x := range ring {
		if x.number.Line < ring[first].number.Line || x.number.Line == ring[first].number.Line && x.number.Column < ring[first].number.Column {
			first = j
		}
	}
	ring = append(ring[first:], ring[:first]...)
	var b strings.Builder
	for _, x := range ring {
		fmt.Fprintf(&b, "%s (line %d) needs ", x.name, x.number.Line)
	}
	b.WriteString(ring[0].name)
	ns.faults.Add(ring[0].number.Place, "give one of them a number of its own", "these expressions need one another in a ring: %s", b.String())
}

// read is the value of a number as written; faults are noted at its place.
func (ns *reckoner) read(n given.Number) (value, error) {
	text := strings.TrimSpace(n.Text)
	if strings.HasPrefix(text, "=") {
		tree, err := parseExpression(text[1:])
		var v value
		if err == nil {
			v, err = eval(tree, ns.lookUp)
		}
		if err == nil && v.kind == truth {
			err = fmt.Errorf("it yields a comparison, not a number")
		}
		if err == nil && (math.IsNaN(v.v) || math.IsInf(v.v, 0)) {
			err = fmt.Errorf("it yields no number (%v)", v.v)
		}
		if err == errFailed {
			return value{}, err
		}
		if err != nil {
			remedy := "mend the expression"
			if a := (*advice)(nil); errors.As(err, &a) {
				remedy = a.remedy
			}
			ns.faults.Add(n.Place, remedy, "the expression %q cannot be worked out: %s", text, err)
			return value{}, errFailed
		}
		return v, nil
	}
	v, kind, err := unit.Parse(text)
	if err != nil {
		ns.faults.Add(n.Place, "write a number, as in 19 mm, 1 1/2 in, 8 deg, 20 kg or = height / 2", "%s", err)
		return value{}, errFailed
	}
	switch kind {
	case unit.Plain:
		return value{v, Count}, nil
	case unit.Length:
		return value{v, Length}, nil
	case unit.Angle:
		return value{v, Angle}, nil
	case unit.Mass:
		return value{v, Mass}, nil
	case unit.Force:
		return value{v, Force}, nil
	}
	ns.faults.Add(n.Place, "use mm, cm, m, in, ft, deg, rad, kg, lb or N", "%q measures %s, which no number of a piece does", text, kind)
	return value{}, errFailed
}

// of is the value of a number anywhere in the document. A number that others
// may refer to is worked out under its name, so that it is read once.
func (ns *reckoner) of(n given.Number) (value, bool) {
	v, err := value{}, error(nil)
	if q := ns.placed[n.Place]; q != nil {
		v, err = ns.workOut(q)
	} else {
		v, err = ns.read(n)
	}
	if err != nil {
		ns.failed++
	}
	return v, err == nil
}
