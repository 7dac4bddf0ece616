package given

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"

	"github.com/invopop/jsonschema"
)

// Schemer is a type that describes itself in a schema.
type Schemer interface{ Schema() *jsonschema.Schema }

// JSONSchemaAlias describes a Map as a mapping of free keys.
func (Map[T]) JSONSchemaAlias() any { return map[string]T{} }

// Schema is the JSON Schema (draft 2020-12) of the file that decodes into v,
// a struct, indented, ending in a newline. Descriptions come from the
// jsonschema_description tags.
func Schema(v any, title, about string) ([]byte, error) {
	r := jsonschema.Reflector{
		Anonymous:                  true,
		ExpandedStruct:             true,
		RequiredFromJSONSchemaTags: true,
		Namer: func(t reflect.Type) string {
			name, _, _ := strings.Cut(t.Name(), "[")
			return name
		},
		Mapper: func(t reflect.Type) *jsonschema.Schema {
			if t.Implements(reflect.TypeFor[Schemer]()) {
				return reflect.Zero(t).Interface().(Schemer).Schema()
			}
			return nil
		},
	}
	s := r.Reflect(v)
	s.Title, s.Description = title, about
	out, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("writing the schema of %T: %w", v, err)
	}
	return append(out, '\n'), nil
}

// Schema of a text.
func (Text) Schema() *jsonschema.Schema { return &jsonschema.Schema{Type: "string"} }

// Schema of a flag.
func (Flag) Schema() *jsonschema.Schema { return &jsonschema.Schema{Type: "boolean"} }

// Schema of a number: a bare one, one with a unit or a currency code, or an
// expression. The pattern only tells numbers from words; the reader says more exactly.
func (Number) Schema() *jsonschema.Schema {
	return &jsonschema.Schema{AnyOf: []*jsonschema.Schema{
		{Type: "number"},
		{Type: "string", Pattern: `^\s*(=|([A-Z]{3}\s*)?[-+]?\s*[0-9.])`},
	}}
}

// Value is the node as encoding/json would hold it, for validating a file
// against its schema: numbers and booleans that stand unquoted keep their
// type.
func (n *Node) Value() any {
	switch n.Kind {
	case Scalar:
		var v any
		if !n.Quoted && json.Unmarshal([]byte(n.Text), &v) == nil {
			switch v.(type) {
			case float64, bool:
				return v
			}
		}
		return n.Text
	case List:
		out := make([]any, len(n.Items))
		for i, x := range n.Items {
			out[i] = x.Value()
		}
		return out
	case Mapping:
		out := map[string]any{}
		for i, k := range n.Keys {
			out[k.Value] = n.Items[i].Value()
		}
		return out
	}
	return nil
}
