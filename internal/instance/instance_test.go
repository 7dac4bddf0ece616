package instance

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"groundwork/internal/nest"
)

const pair = `{"name": "pair", "strip_height": 10, "items": [
 {"id": 7, "demand": 4, "allowed_orientations": [0, 180],
  "shape": {"type": "simple_polygon", "data": [[0, 0], [10, 0], [0, 10]]}}]}`

func TestRead(t *testing.T) {
	in, err := Read([]byte(pair))
	if err != nil {
		t.Fatal(err)
	}
	if in.Name != "pair" || in.Scale != 100 || in.Height != 1000 || in.Copies != 4 || math.Abs(in.Area-4*50e4) > 1e-6 {
		t.Errorf("read %+v", in)
	}
	if it := in.Items[0]; it.ID != "7" || it.Quantity != 4 || len(it.Turns) != 2 || it.Turns[1] != math.Pi {
		t.Errorf("read %+v", it)
	}
}

// What may be left out or written otherwise.
func TestReadLiberties(t *testing.T) {
	change := func(pairs ...string) string { return strings.NewReplacer(pairs...).Replace(pair) }
	for _, c := range []struct {
		name, text string
		good       func(it nest.Item) bool
	}{
		{"no id: its place", change(`"id": 7, `, ""), func(it nest.Item) bool { return it.ID == "0" }},
		{"no type", change(`"type": "simple_polygon", `, ""), func(it nest.Item) bool { return it.Shape.Area() == 50e4 }},
		{"any rotation", change(`"allowed_orientations": [0, 180],`, ""), func(it nest.Item) bool {
			return len(it.Turns) == 24 && it.Turns[6] == math.Pi/2 && math.Abs(it.Turns[23]-2*math.Pi*23/24) < 1e-12
		}},
		{"any rotation, said as null", change(`[0, 180]`, "null"), func(it nest.Item) bool { return len(it.Turns) == 24 }},
		{"clockwise", change(`[10, 0], [0, 10]`, `[0, 10], [10, 0]`), func(it nest.Item) bool { return it.Shape.Area() == 50e4 }},
		{"holes either way round", change(`[0, 10]]}`, `[0, 10]], "holes": [[[1, 1], [2, 1], [1, 2]], [[4, 4], [4, 5], [5, 4]]]}`), func(it nest.Item) bool {
			return len(it.Shape) == 3 && math.Abs(it.Shape.Area()-49e4) < 1e-6
		}},
		{"other keys", change(`"demand": 4`, `"demand": 4, "colour": "red"`), func(it nest.Item) bool { return it.Quantity == 4 }},
	} {
		in, err := Read([]byte(c.text))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
		} else if !c.good(in.Items[0]) {
			t.Errorf("%s: read %+v", c.name, in.Items[0])
		}
	}
}

func TestReadRefuses(t *testing.T) {
	change := func(pairs ...string) string { return strings.NewReplacer(pairs...).Replace(pair) }
	for _, c := range []struct{ name, text, say string }{
		{"nothing", "", "line 1: it ends before the instance does"},
		{"cut off", pair[:len(pair)-20], "line 3: it ends before the instance does"},
		{"no JSON", "hello", "line 1: this is not JSON"},
		{"a comma too many", change(`"demand": 4,`, `"demand": 4,,`), "line 2: this is not JSON"},
		{"a list", "[]", "the whole cannot be a list; write a group in braces"},
		{"two", pair + "\n" + pair, "line 4: something follows"},
		{"no height", change(`"strip_height": 10, `, ""), "strip_height is missing"},
		{"height 0", change(`"strip_height": 10`, `"strip_height": 0`), "strip_height is 0; write"},
		{"height negative", change(`"strip_height": 10`, `"strip_height": -4`), "strip_height is -4; write"},
		{"height a text", change(`"strip_height": 10`, `"strip_height": "high"`), "line 1: strip_height cannot be a text; write a number"},
		{"no items", `{"strip_height": 5}`, "no items"},
		{"an item that is nothing", `{"strip_height": 5, "items": [null]}`, "item in place 1: demand is missing"},
		{"demand 0", change(`"demand": 4`, `"demand": 0`), "item in place 1 (id 7): demand is 0; write how many"},
		{"demand a fraction", change(`"demand": 4`, `"demand": 1.5`), "line 2: items.demand cannot be the number 1.5; write a whole number"},
		{"demand without end", change(`"demand": 4`, `"demand": 4000000`), "demand is 4000000"},
		{"no turn at all", change(`[0, 180]`, `[]`), "write [0] if it may not be turned"},
		{"a turn of null", change(`[0, 180]`, `[0, null]`), "no angle in degrees"},
		{"a turn too far", change(`[0, 180]`, `[0, 1e9]`), "no angle in degrees"},
		{"another type", change("simple_polygon", "circle"), `type "circle" cannot be read; write simple_polygon`},
		{"two vertices", change(`, [0, 10]]`, `]`), "its outline has 2 vertices; write at least three"},
		{"three numbers", change(`[10, 0]`, `[10, 0, 0]`), "vertex 2 of its outline is not two numbers"},
		{"one number", change(`[10, 0]`, `[10]`), "vertex 2 of its outline is not two numbers"},
		{"null for a number", change(`[10, 0]`, `[10, null]`), "vertex 2 of its outline is not two numbers"},
		{"too large a number", change(`[10, 0]`, `[1e999, 0]`), "cannot be the number 1e999"},
		{"far off", change(`[10, 0]`, `[1e9, 0]`), "too far from the origin for a strip so low; write numbers up to 900"},
		{"a hole of two vertices", change(`[0, 10]]}`, `[0, 10]], "holes": [[[1, 1], [2, 1]]]}`), "its hole 1 has 2 vertices"},
		{"an id twice", change("}]}", "},\n"+`{"id": 7, "demand": 1, "shape": {"data": [[0, 0], [1, 0], [0, 1]]}}]}`, "}}]}", "}},\n"+`{"id": 7, "demand": 1, "shape": {"data": [[0, 0], [1, 0], [0, 1]]}}]}`), "item in place 2 (id 7): its id is that of the item in place 1"},
	} {
		in, err := Read([]byte(c.text))
		if err == nil {
			t.Errorf("%s: read %+v", c.name, in)
		} else if !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: it says %q, not %q", c.name, err, c.say)
		}
	}
}

// All faults of a file are told, but no more than ten.
func TestReadTellsAllFaults(t *testing.T) {
	var list []string
	for range 30 {
		list = append(list, `{"demand": 0}`)
	}
	_, err := Read([]byte(`{"strip_height": 5, "items": [` + strings.Join(list[:3], ",") + `]}`))
	if err == nil || strings.Count(err.Error(), "demand is 0") != 3 {
		t.Errorf("of three faults it says %v", err)
	}
	_, err = Read([]byte(`{"strip_height": 5, "items": [` + strings.Join(list, ",") + `]}`))
	if err == nil || strings.Count(err.Error(), "demand is 0") != mostFaults {
		t.Errorf("of thirty faults it says %v", err)
	}
}

// The instances of the literature say themselves how many copies of what area
// they hold.
func TestReadPublished(t *testing.T) {
	names, err := filepath.Glob("../nest/testdata/classic/*.json")
	if err != nil || len(names) < 25 {
		t.Fatalf("%d instances, %v", len(names), err)
	}
	for _, name := range names {
		in, err := ReadFile(name)
		if err != nil {
			t.Error(err)
			continue
		}
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		var said struct {
			N    int     `json:"n_items"`
			Area float64 `json:"total_area"`
		}
		if err := json.Unmarshal(data, &said); err != nil {
			t.Fatal(err)
		}
		if area := in.Area / (in.Scale * in.Scale); in.Copies != said.N || math.Abs(area-said.Area) > 1e-9*said.Area {
			t.Errorf("%s: read %d copies of area %g, it says %d of %g", name, in.Copies, area, said.N, said.Area)
		}
		if in.Height <= 100-1e-9 || in.Height > 1000+1e-9 {
			t.Errorf("%s: height %g mm", name, in.Height)
		}
	}
}

func TestReadFileOfNothing(t *testing.T) {
	if _, err := ReadFile(filepath.Join(t.TempDir(), "none.json")); err == nil {
		t.Error("no error")
	}
	if _, err := ReadFile(t.TempDir()); err == nil {
		t.Error("a folder: no error")
	}
}

// Whatever is read, nest takes: no item twice, no length that is none.
func FuzzRead(f *testing.F) {
	f.Add([]byte(pair))
	f.Add([]byte(`{"strip_height": 1e-6, "items": [{"demand": 1, "shape": {"data": [[0,0],[1e-7,0],[0,-0]], "holes": [[[0,0],[0,0],[0,0]]]}}]}`))
	f.Add([]byte(`{"strip_height": 1e12, "items": [{"id": -3, "demand": 2, "allowed_orientations": [-3600], "shape": {"data": [[0,0],[1,0],[0,1]]}}]} `))
	f.Add([]byte(`{"items": [{"shape": {"data": [[]]}}, null], "strip_height": null}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		in, err := Read(data)
		if err != nil {
			if strings.TrimSpace(err.Error()) == "" {
				t.Error("refused without a word")
			}
			return
		}
		if in.Copies > 30 {
			return
		}
		l, bin, err := nest.Strip(context.Background(), in.Items, in.Height, nest.Options{Iterations: -1})
		if err != nil {
			t.Fatal(err)
		}
		if found := nest.Verify(in.Items, []nest.Bin{bin}, l, 0); len(found) > 0 {
			t.Fatal(found)
		}
	})
}
