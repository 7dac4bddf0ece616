package marks

import (
	"encoding/json"
	"errors"
	"os"
	"regexp"
	"strings"
	"testing"

	"groundwork/internal/given"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"pgregory.net/rapid"
)

const written = `# what I know of my veneer
groundwork: 1
reserved:
  - {sheet: walnut-1, at: [1 1/2 in, 500], size: [30 mm, 2 cm], what: knot}
  - {sheet: walnut-a-1, at: [0, -5], size: [10, 10]}
blanks:
  - veneer: walnut
    size: [600, 400]
    grain: y
    patterns:
      - {pattern: top/face, at: [5, 395], turn: -90 deg}
      - {pattern: leg-1/edge-2, at: [12.5, 5], turn: 90}
  - {veneer: walnut, sheet: walnut-1, at: [10, 20], size: [300, 200], rest: true}
photographs:
  - {sheet: walnut-1, file: walnut 1.JPG, corners: [[100, 3000], [900, 3010], [880, 50], [120, 40]]}
`

// canonical is what the above is written as; lengths by hand.
const canonical = `groundwork: 1

reserved:   # [across the grain, along it] on the sheet, from its show face
  - {sheet: walnut-1, at: [38.1, 500], size: [30, 20], what: knot}
  - {sheet: walnut-a-1, at: [0, -5], size: [10, 10], what: other}

blanks:     # as they lie on the bed, face up
  - veneer: walnut
    size: [600, 400]
    grain: y
    rest: false
    patterns:
      - {pattern: top/face, at: [5, 395], turn: -90 deg}
      - {pattern: leg-1/edge-2, at: [12.5, 5], turn: 90 deg}
  - veneer: walnut
    sheet: walnut-1
    at: [10, 20]
    size: [300, 200]
    rest: true

photographs: # corners in pixels: lower left, lower right, upper right, upper left
  - {sheet: walnut-1, file: "walnut 1.JPG", corners: [[100, 3000], [900, 3010], [880, 50], [120, 40]]}
`

var ignoreLines = cmp.Options{
	cmpopts.IgnoreFields(Reserved{}, "Line"), cmpopts.IgnoreFields(Blank{}, "Line"),
	cmpopts.IgnoreFields(Pattern{}, "Line"), cmpopts.IgnoreFields(Photograph{}, "Line"), cmpopts.EquateEmpty(),
}

func TestParse(t *testing.T) {
	f, err := Parse("a.marks.yaml", []byte(written))
	if err != nil {
		t.Fatal(err)
	}
	if got := string(Format(f)); got != canonical {
		t.Errorf("%s", cmp.Diff(canonical, got))
	}
	if f.Reserved[1].Line != 5 || f.Blanks[0].Line != 7 || f.Blanks[0].Patterns[1].Line != 12 || f.Photographs[0].Line != 15 {
		t.Errorf("lines of %+v", f)
	}
	again, err := Parse("a.marks.yaml", []byte(canonical))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(f, again, ignoreLines); d != "" {
		t.Error(d)
	}
	if f, err := Parse("a.marks.yaml", []byte("groundwork: 1\n")); err != nil || len(f.Reserved)+len(f.Blanks)+len(f.Photographs) > 0 {
		t.Errorf("%+v, %v", f, err)
	}
}

// Every fault has its line and what to do.
func TestFaults(t *testing.T) {
	const top = "groundwork: 1\n"
	corners := func(s string) string {
		return top + "photographs:\n  - {sheet: walnut-1, file: a.jpg, corners: " + s + "}\n"
	}
	for _, c := range []struct {
		name, text string
		line       int
		want       string
	}{
		{"nothing", "", 1, "the file is empty"},
		{"a list", "- 1", 1, "not a list"},
		{"no version", "reserved: []", 1, "version is missing"},
		{"another version", "groundwork: 2", 1, `"2" is not known`},
		{"an unknown key", top + "knots: []", 2, `"knots" is not known`},
		{"no sheet", top + "reserved:\n  - {at: [1, 1], size: [1, 1]}", 3, `"sheet" is missing`},
		{"a place of three", top + "reserved:\n  - {sheet: a, at: [1, 1, 1], size: [1, 1]}", 3, "3 entries"},
		{"a size of nothing", top + "reserved:\n  - {sheet: a, at: [1, 1], size: [0, 1]}", 3, "the first of the size of a reserved area is 0 mm"},
		{"a size as an angle", top + "reserved:\n  - {sheet: a, at: [1, 1], size: [4, 1 deg]}", 3, "is given as angle"},
		{"no number", top + "reserved:\n  - {sheet: a, at: [1, wide], size: [4, 1]}", 3, "is no number"},
		{"an expression", top + "reserved:\n  - {sheet: a, at: [1, = width], size: [4, 1]}", 3, "is no number"},
		{"another word", top + "reserved:\n  - {sheet: a, at: [1, 1], size: [4, 1], what: knott}", 3, `"knott" is not a word`},
		{"a sheet of no name", top + "reserved:\n  - {sheet: \"../a\", at: [1, 1], size: [4, 1]}", 3, "no ID of a sheet"},
		{"a sheet and no place", top + "blanks:\n  - {veneer: a, sheet: a-1, size: [50, 50], rest: true}", 3, "no place on it"},
		{"a place and no sheet", top + "blanks:\n  - {veneer: a, at: [1, 1], size: [50, 50], rest: true}", 3, "no sheet"},
		{"an empty blank", top + "blanks:\n  - {veneer: a, size: [50, 50]}", 3, "nothing can lie"},
		{"a turn in mm", top + "blanks:\n  - veneer: a\n    size: [50, 50]\n    patterns:\n      - {pattern: a, at: [1, 1], turn: 3 mm}", 6, "given as length"},
		{"two photographs of a sheet", top + "photographs:\n  - {sheet: a, file: a.jpg, corners: [[0, 9], [9, 9], [9, 0], [0, 0]]}\n  - {sheet: a, file: b.jpg, corners: [[0, 9], [9, 9], [9, 0], [0, 0]]}", 4, "a photograph already"},
		{"a photograph elsewhere", top + "photographs:\n  - {sheet: a, file: ../a.jpg, corners: [[0, 9], [9, 9], [9, 0], [0, 0]]}", 3, "no name of a photograph"},
		{"a photograph of another kind", top + "photographs:\n  - {sheet: a, file: a.svg, corners: [[0, 9], [9, 9], [9, 0], [0, 0]]}", 3, "no name of a photograph"},
		{"in a mirror", corners("[[9, 9], [0, 9], [0, 0], [9, 0]]"), 3, "seen from the front"},
		{"two corners exchanged", corners("[[0, 9], [9, 0], [9, 9], [0, 0]]"), 3, "seen from the front"},
		{"on a line", corners("[[0, 0], [9, 0], [18, 0], [27, 0]]"), 3, "seen from the front"},
		{"three corners", corners("[[0, 9], [9, 9], [9, 0]]"), 3, "3 entries"},
		{"a corner of one number", corners("[[0], [9, 9], [9, 0], [0, 0]]"), 3, "corner 1 has 1"},
		{"a corner in mm", corners("[[0, 9 mm], [9, 9], [9, 0], [0, 0]]"), 3, "given as length"},
	} {
		f, err := Parse("a.marks.yaml", []byte(c.text))
		var all Errors
		if !errors.As(err, &all) || len(f.Reserved)+len(f.Blanks)+len(f.Photographs) > 0 {
			t.Errorf("%s: %v, %+v", c.name, err, f)
			continue
		}
		if e := all[0]; e.Line != c.line || !strings.Contains(e.What, c.want) || e.Remedy == "" {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	// as seen in the camera upside down or from the side it is still the front
	for _, s := range []string{"[[9, 0], [0, 0], [0, 9], [9, 9]]", "[[0, 0], [0, 9], [9, 9], [9, 0]]"} {
		if _, err := Parse("a.marks.yaml", []byte(corners(s))); err != nil {
			t.Errorf("%s: %v", s, err)
		}
	}
}

// Example files and their faults are judged alike by the schema.
func TestSchema(t *testing.T) {
	text, err := Schema()
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(string(text)))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("marks.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("marks.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		text string
		ok   bool
	}{{written, true}, {canonical, true}, {chosen, true}, {"groundwork: 1\nmaking: {send: all}", false}, {"groundwork: 1\nknots: []", false}, {"groundwork: 1\nreserved:\n  - {sheet: a, at: [1], size: [1, 1]}", false}} {
		n := given.Read([]byte(x.text), &given.Faults{})
		if err := s.Validate(n.Value()); (err == nil) != x.ok {
			t.Errorf("%s\n%v", x.text, err)
		}
	}
}

// drawn are marks such as the page may send.
func drawn(t *rapid.T) File {
	name := func(what string) string {
		return rapid.StringMatching(`[a-z0-9][a-zA-Z0-9 ._/+-]{0,20}`).Draw(t, what)
	}
	place := func(what string) [2]float64 {
		return [2]float64{rid(rapid.Float64Range(-9999, 9999).Draw(t, what)), rid(rapid.Float64Range(-9999, 9999).Draw(t, what))}
	}
	size := func(what string) [2]float64 {
		return [2]float64{rapid.Float64Range(1, 5999).Draw(t, what), rapid.Float64Range(1, 5999).Draw(t, what)}
	}
	f := File{Groundwork: 1}
	for range rapid.IntRange(0, 4).Draw(t, "reserved") {
		f.Reserved = append(f.Reserved, Reserved{Sheet: name("sheet"), At: place("at"), Size: size("size"), What: rapid.SampledFrom([]string{Knot, Split, Stain, Other}).Draw(t, "what")})
	}
	for range rapid.IntRange(0, 4).Draw(t, "blanks") {
		b := Blank{Veneer: name("veneer"), Size: size("size"), Grain: rapid.SampledFrom([]string{"", AlongY}).Draw(t, "grain"), Rest: rapid.Bool().Draw(t, "rest")}
		if rapid.Bool().Draw(t, "fixed") {
			at := size("at")
			b.Sheet, b.At = name("sheet"), &at
		}
		for range rapid.IntRange(1, 4).Draw(t, "patterns") {
			b.Patterns = append(b.Patterns, Pattern{Pattern: name("pattern"), At: place("at"), Turn: tidy(rapid.Float64Range(-360, 360).Draw(t, "turn"))})
		}
		f.Blanks = append(f.Blanks, b)
	}
	if rapid.Bool().Draw(t, "photograph") {
		f.Photographs = append(f.Photographs, Photograph{Sheet: name("sheet"), File: name("file") + "x.png", Corners: [4][2]float64{{0, 100}, {rapid.Float64Range(1, 900).Draw(t, "x"), 100}, {100, 0}, {0, 0}}})
		f.Photographs[0].File = strings.ReplaceAll(f.Photographs[0].File, "/", "-")
	}
	f.Making, f.Book = drawnChoices(t)
	return f
}

// What is written is read back to the last digit, as text and as JSON.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := drawn(t)
		text := Format(f)
		got, err := Parse("a.marks.yaml", text)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if d := cmp.Diff(f, got, ignoreLines); d != "" {
			t.Fatalf("%s\n%s", d, text)
		}
		js, err := json.Marshal(f)
		if err != nil {
			t.Fatal(err)
		}
		got = File{}
		if err := json.Unmarshal(js, &got); err != nil {
			t.Fatalf("%v\n%s", err, js)
		}
		if d := cmp.Diff(f, got, ignoreLines); d != "" {
			t.Fatalf("%s\n%s", d, js)
		}
	})
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(written))
	f.Add([]byte(canonical))
	f.Add([]byte(chosen))
	f.Add([]byte("groundwork: 1\nreserved:\n  - {sheet: a, at: [1e-99, 1], size: [1, 1]}"))
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := Parse("fuzz.marks.yaml", data)
		if err != nil {
			var all Errors
			if !errors.As(err, &all) || len(all) == 0 {
				t.Fatalf("not Errors: %v", err)
			}
			for _, e := range all {
				if e.What == "" || e.Remedy == "" || e.Line < 1 || e.Column < 1 {
					t.Fatalf("incomplete: %+v", e)
				}
			}
			return
		}
		text := Format(m)
		again, err := Parse("fuzz.marks.yaml", text)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if d := cmp.Diff(m, again, ignoreLines); d != "" {
			t.Fatalf("%s\n%s", d, text)
		}
		if string(Format(again)) != string(text) {
			t.Fatal("not canonical")
		}
	})
}

// The documentation's example is a marks file, and its table has every finding
// about marks that there is.
func TestDocumentation(t *testing.T) {
	doc, err := os.ReadFile("../../docs/marks.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(doc), "```yaml\n")
	block, _, ok := strings.Cut(rest, "```")
	f, err := Parse("marks.md", []byte(block))
	if err != nil || !ok || len(f.Reserved) != 1 || len(f.Blanks) != 1 || len(f.Photographs) != 1 || f.Making.Start == "" || f.Book.Maker == "" {
		t.Errorf("%+v, %v", f, err)
	}
	src, err := os.ReadFile("../sheet/keep.go")
	if err != nil {
		t.Fatal(err)
	}
	code := regexp.MustCompile(`"((?:pin|pinned|kept|reserved|matched)-[a-z-]+)"`)
	told := map[string]bool{}
	for _, m := range code.FindAllStringSubmatch(string(src), -1) {
		told[m[1]] = true
		if !strings.Contains(string(doc), "*"+m[1]+"*") {
			t.Errorf("%s is not in docs/marks.md", m[1])
		}
	}
	for _, m := range regexp.MustCompile(`\*((?:pin|pinned|kept|reserved|matched)-[a-z-]+)\*`).FindAllStringSubmatch(string(doc), -1) {
		if !told[m[1]] {
			t.Errorf("%s of docs/marks.md is not told", m[1])
		}
	}
	if len(told) < 10 {
		t.Errorf("only %d codes found", len(told))
	}
}
