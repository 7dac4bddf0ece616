package given

import (
	"reflect"
	"slices"
	"strings"
)

// Number is a number as written: "12", "1 1/2 in", "8 deg" or "= height / 2".
type Number struct {
	Place
	Text string
}

// Flag is true or false as written.
type Flag struct {
	Place
	Value bool
}

// Map is a mapping with free keys, in file order.
type Map[T any] struct {
	Place
	Keys   []Text
	Values []T
}

// Get is the value of a key.
func (m Map[T]) Get(key string) (T, bool) {
	for i, k := range m.Keys {
		if k.Value == key {
			return m.Values[i], true
		}
	}
	var none T
	return none, false
}

// Decode fills the map from a mapping.
func (m *Map[T]) Decode(n *Node, f *Faults) {
	if n.Kind != Mapping {
		f.Add(n.Place, "write names with a colon, each followed by its keys", "a mapping is wanted here, not %s", n.Kind)
		return
	}
	m.Place = n.Place
	for i, k := range n.Keys {
		var v T
		Decode(n.Items[i], &v, f)
		m.Keys = append(m.Keys, k)
		m.Values = append(m.Values, v)
	}
}

// decoder is a type that reads itself from a node.
type decoder interface{ Decode(*Node, *Faults) }

var (
	placeType   = reflect.TypeFor[Place]()
	decoderType = reflect.TypeFor[decoder]()
)

// Decode fills v, a pointer, from n: structs by their json tags, and the
// types of this package. A struct's Place field takes the node's place. The
// jsonschema tag is obeyed for required, enum=, minItems= and maxItems=.
func Decode(n *Node, v any, f *Faults) { decode(n, reflect.ValueOf(v).Elem(), "", f) }

func decode(n *Node, v reflect.Value, tag string, f *Faults) {
	if v.Kind() == reflect.Pointer {
		if n.Kind == Null {
			f.Add(n.Place, "give it a value or take the key out", "a value is missing here")
			return
		}
		v.Set(reflect.New(v.Type().Elem()))
		decode(n, v.Elem(), tag, f)
		return
	}
	if v.Addr().Type().Implements(decoderType) {
		v.Addr().Interface().(decoder).Decode(n, f)
		return
	}
	if n.Kind == Null {
		f.Add(n.Place, "give it a value or take the key out", "a value is missing here")
		return
	}
	switch x := v.Addr().Interface().(type) {
	case *Text:
		if n.Kind != Scalar {
			f.Add(n.Place, "write one word or sentence", "a text is wanted here, not %s", n.Kind)
			return
		}
		*x = Text{n.Place, n.Text}
		if allowed := tagValues(tag, "enum"); len(allowed) > 0 && !slices.Contains(allowed, n.Text) {
			f.Add(n.Place, Suggest(n.Text, allowed), "%q is not a word that is known here", clip(n.Text))
		}
	case *Number:
		if n.Kind != Scalar {
			f.Add(n.Place, "write one number, as in 19 mm", "a number is wanted here, not %s", n.Kind)
			return
		}
		*x = Number{n.Place, n.Text}
	case *Flag:
		switch {
		case n.Kind == Scalar && (n.Text == "true" || n.Text == "false"):
			*x = Flag{n.Place, n.Text == "true"}
		default:
			f.Add(n.Place, "write true or false", "true or false is wanted here")
		}
	default:
		switch v.Kind() {
		case reflect.Struct:
			decodeStruct(n, v, f)
		case reflect.Slice:
			decodeList(n, v, tag, f)
		default:
			panic("given: no way to decode " + v.Type().String())
		}
	}
}

func decodeList(n *Node, v reflect.Value, tag string, f *Faults) {
	if n.Kind != List {
		f.Add(n.Place, "write [ ] or dashes", "a list is wanted here, not %s", n.Kind)
		return
	}
	for _, bound := range []string{"minItems", "maxItems"} {
		for _, s := range tagValues(tag, bound) {
			if want := digits(s); bound == "minItems" && len(n.Items) < want || bound == "maxItems" && len(n.Items) > want {
				word := map[string]string{"minItems": "at least", "maxItems": "at most"}[bound]
				f.Add(n.Place, "count them again", "this list has %d entries; %s %d are wanted", len(n.Items), word, want)
				return
			}
		}
	}
	v.Set(reflect.MakeSlice(v.Type(), len(n.Items), len(n.Items)))
	for i, x := range n.Items {
		decode(x, v.Index(i), "", f)
	}
}

func digits(s string) int {
	n := 0
	for _, c := range s {
		n = 10*n + int(c-'0')
	}
	return n
}

func decodeStruct(n *Node, v reflect.Value, f *Faults) {
	if n.Kind != Mapping {
		f.Add(n.Place, "write keys, each with a colon and a value; known here: "+strings.Join(Keys(v.Type()), ", "), "a mapping is wanted here, not %s", n.Kind)
		return
	}
	fields := fieldsOf(v.Type())
	var mistyped []string // keys that unknown ones were probably meant to be
	for i, k := range n.Keys {
		j := slices.IndexFunc(fields, func(fd field) bool { return fd.key == k.Value })
		if j < 0 {
			f.Add(k.Place, Suggest(k.Value, Keys(v.Type())), "the key %q is not known here", clip(k.Value))
			mistyped = append(mistyped, Nearest(k.Value, Keys(v.Type())))
			continue
		}
		decode(n.Items[i], v.FieldByIndex(fields[j].index), fields[j].tag, f)
	}
	if p := v.FieldByName("Place"); p.IsValid() && p.Type() == placeType {
		p.Set(reflect.ValueOf(n.Place))
	}
	for _, fd := range fields {
		if fd.required && n.Get(fd.key) == nil && !slices.Contains(mistyped, fd.key) {
			f.Add(n.Place, "add "+fd.key+": "+fd.about, "the key %q is missing here", fd.key)
		}
	}
}

// field is a struct field as a key of a file.
type field struct {
	key, tag, about string
	index           []int
	required        bool
}

// fieldsOf lists the fields that have a key, those of embedded structs
// included, in the order of the type.
func fieldsOf(t reflect.Type) []field {
	var out []field
	for _, sf := range reflect.VisibleFields(t) {
		key, _, _ := strings.Cut(sf.Tag.Get("json"), ",")
		if key == "" || key == "-" {
			continue
		}
		tag := sf.Tag.Get("jsonschema")
		out = append(out, field{key, tag, sf.Tag.Get("jsonschema_description"), sf.Index, slices.Contains(strings.Split(tag, ","), "required")})
	}
	return out
}

// Keys lists the keys that a struct type takes, in its order.
func Keys(t reflect.Type) []string {
	var out []string
	for _, fd := range fieldsOf(t) {
		out = append(out, fd.key)
	}
	return out
}

// tagValues lists the values that a jsonschema tag gives to a name.
func tagValues(tag, name string) []string {
	var out []string
	for _, part := range strings.Split(tag, ",") {
		if v, ok := strings.CutPrefix(part, name+"="); ok {
			out = append(out, v)
		}
	}
	return out
}
