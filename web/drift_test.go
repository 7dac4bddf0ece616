package web_test

import (
	"encoding/json"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/api"
	"groundwork/internal/job"
)

// The page's types of plan.json have exactly the keys that the program writes.
func TestPlanTypes(t *testing.T) {
	keys := interfaces(t, "ui/src/lib/plan.ts", `(?ms)^export interface (\w+) \{\n(.*?)^\}`, `(?m)^  (\w+)\??:`)
	names := map[string]string{"Document": "PlanDoc", "Vec": "", "Change": ""} // Change is the interface's own
	seen := map[reflect.Type]bool{}
	var look func(reflect.Type)
	look = func(typ reflect.Type) {
		switch typ.Kind() {
		case reflect.Pointer, reflect.Slice, reflect.Array:
			look(typ.Elem())
			return
		case reflect.Struct:
		default:
			return
		}
		name, renamed := names[typ.Name()]
		if !renamed {
			name = typ.Name()
		}
		if seen[typ] || name == "" {
			return
		}
		seen[typ] = true
		var want []string
		for i := range typ.NumField() {
			f := typ.Field(i)
			key, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			want = append(want, key)
			look(f.Type)
		}
		same(t, name, keys[name], want)
	}
	look(reflect.TypeFor[job.Document]())
	if len(seen) < 20 {
		t.Errorf("only %d types were looked at", len(seen))
	}
}

// The page's types of the interface are made from its description as it is now:
// npm run types makes them anew.
func TestInterfaceTypes(t *testing.T) {
	keys := interfaces(t, "ui/src/lib/openapi.ts", `(?ms)^        (\w+): \{\n(.*?)^        \}`, `(?m)^            (\w+)\??:`)
	b, err := api.Description()
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Components struct {
			Schemas map[string]struct {
				Properties map[string]any
			}
		}
	}
	if err := json.Unmarshal(b, &doc); err != nil {
		t.Fatal(err)
	}
	if len(doc.Components.Schemas) < 20 {
		t.Fatalf("the description has only %d schemas", len(doc.Components.Schemas))
	}
	for name, schema := range doc.Components.Schemas {
		if len(schema.Properties) == 0 {
			continue // nothing to be told apart
		}
		var want []string
		for key := range schema.Properties {
			want = append(want, key)
		}
		same(t, name, keys[name], want)
	}
}

// interfaces reads the keys of every block of a TypeScript file.
func interfaces(t *testing.T, file, block, key string) map[string][]string {
	t.Helper()
	src, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]string{}
	for _, m := range regexp.MustCompile(block).FindAllSubmatch(src, -1) {
		for _, k := range regexp.MustCompile(key).FindAllSubmatch(m[2], -1) {
			out[string(m[1])] = append(out[string(m[1])], string(k[1]))
		}
	}
	return out
}

func same(t *testing.T, name string, got, want []string) {
	t.Helper()
	got, want = slices.Clone(got), slices.Clone(want)
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("%s: the page knows the keys\n\t%s\nthe program has\n\t%s", name, strings.Join(got, " "), strings.Join(want, " "))
	}
}
