package given

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// hostile lists files that are hard on a YAML reader, each near or beyond the
// limits, and what is said of them: "" where they are read. The comments give
// what they cost before there was a limit against them.
func hostile() []struct{ name, file, want string } {
	rep := strings.Repeat
	numbered := func(format string, n int) string {
		var b strings.Builder
		for i := range n {
			fmt.Fprintf(&b, format, i)
		}
		return b.String()
	}
	var stairs strings.Builder
	for i := range 300 {
		stairs.WriteString(rep(" ", i) + "a:\n")
	}
	const deep, keys, dashes = "more than 24 deep", "more than 12000 keys", "more than 20000 dashes"
	return []struct{ name, file, want string }{
		{"brackets", rep("[", 500000), deep},
		{"brackets closed", rep("[", 300000) + rep("]", 300000), deep},
		{"braces", rep("{a: ", 200000), deep},
		{"stairs", stairs.String(), deep},
		{"dashes on a line", rep("- ", 500000), "too many dashes or anchors stand on one line"},
		{"anchors on a line", rep("&a ", 300000), "too many dashes or anchors stand on one line"},
		{"dashes", rep("-\n", 500000), dashes}, // 87 s
		{"dashes at the limit", rep("-\n", 20000), ""},
		{"dashes in threes", rep("- - -\n", 6000), ""},
		{"entries", rep("- 1\n", 250000), dashes},
		{"keys", numbered("k%d: 1\n", 12001), keys},
		{"keys at the limit", numbered("k%d:\n", 11900), ""},
		{"keys in braces", "{" + numbered("k%d: 1, ", 11900) + "}", ""},
		{"keys without colons", "{" + rep("a,", 300000) + "}", "more than 12000 commas"}, // 47 s
		{"one key again and again", rep("a: 1\n", 11900), `"a" stands here twice`},
		{"list in brackets", "[" + rep("1,", 50000) + "1]", ""},
		{"commas", "[" + rep(",", 100000), "expected sequence element"},
		{"colons", rep(": ", 500000), keys},
		{"aliases", "a: &a 1\nb: [" + rep("*a,", 110000) + "1]", "aliases swell the file beyond 100000 values"},
		{"alias of itself", "a: &a [*a]\n", "the alias *a has no anchor before it"},
		{"chain of aliases", "k0: &k0 1\n" + numbered("k1%d: [*k0, *k0]\n", 3000), ""},
		{"open quote", `a: "` + rep("x", 500000), "could not find end character of double-quoted text"},
		{"quoted breaks", `a: "` + rep(`\n`, 400000) + `"`, ""},
		{"block of text", "a: |\n" + rep("  x\n", 200000), ""},
		{"folded text", "a: >\n" + rep("  x\n", 200000), ""},
		{"long line", "a: " + rep("x ", 400000), ""},
		{"comments", rep("#\n", 200000), "the file is empty"},
		{"returns", rep("\r", 500000), "the file is empty"},
		{"documents", rep("---\n", 100000), "the file is empty"},
		{"directives", rep("%\n", 100000), "unexpected directive"},
		{"question marks", rep("? ", 100000), `a key is marked with "?"`},
		{"tags", rep("! ", 100000), `a YAML tag`},
		{"merge key", "a: &a {b: 1}\nc:\n  <<: *a\n", "a YAML merge key"},
		{"list as key", "[a, b]: 1\n", ""},
	}
}

// TestHostileFiles: all of them end, without a panic, with a node or faults.
// A test that hangs is stopped by go test.
func TestHostileFiles(t *testing.T) {
	for _, tc := range hostile() {
		f := &Faults{File: "f"}
		n := Read([]byte(tc.file), f)
		switch {
		case tc.name == "list as key": // whatever is made of it, it is not silence
			if n == nil && !f.Any() {
				t.Errorf("%s: neither node nor fault", tc.name)
			}
		case tc.want == "" && (n == nil || f.Any()):
			t.Errorf("%s: %v", tc.name, f.Err())
		case tc.want != "" && (!f.Any() || !strings.Contains(f.Err().Error(), tc.want)):
			t.Errorf("%s: %v", tc.name, f.Err())
		}
	}
}

func TestReadFile(t *testing.T) {
	name := filepath.Join(t.TempDir(), "big.yaml")
	if err := os.WriteFile(name, make([]byte, 3*MaxBytes), 0o600); err != nil {
		t.Fatal(err)
	}
	data, err := ReadFile(name)
	if err != nil || len(data) != MaxBytes+1 {
		t.Errorf("%d bytes, %v", len(data), err)
	}
	if _, err := ReadFile(name + "x"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v", err)
	}
}

type fruit struct {
	Place  `json:"-"`
	Kind   Text     `json:"kind" jsonschema:"required,enum=apple,enum=pear" jsonschema_description:"Kind of fruit."`
	Weight Number   `json:"weight"`
	Ripe   *Flag    `json:"ripe"`
	Size   []Number `json:"size" jsonschema:"minItems=2,maxItems=2"`
}

type basket struct {
	Fruit Map[fruit] `json:"fruit" jsonschema:"required"`
	Notes [][]Text   `json:"notes"`
}

func TestDecode(t *testing.T) {
	f := &Faults{File: "f"}
	n := Read([]byte("fruit:\n  b: {kind: pear, weight: 1 1/2 lb, ripe: true}\n  a:\n    kind: apple\n    size: [1, 0x2]\nnotes: [[x, \"7\"], []]\n"), f)
	var got basket
	Decode(n, &got, f)
	if f.Any() {
		t.Fatal(f.Err())
	}
	want := basket{
		Fruit: Map[fruit]{Place{2, 3}, []Text{{Place{2, 3}, "b"}, {Place{3, 3}, "a"}}, []fruit{
			{Place: Place{2, 6}, Kind: Text{Place{2, 13}, "pear"}, Weight: Number{Place{2, 27}, "1 1/2 lb"}, Ripe: &Flag{Place{2, 43}, true}},
			{Place: Place{4, 5}, Kind: Text{Place{4, 11}, "apple"}, Size: []Number{{Place{5, 12}, "1"}, {Place{5, 15}, "0x2"}}},
		}},
		Notes: [][]Text{{{Place{6, 10}, "x"}, {Place{6, 13}, "7"}}, {}},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if v, ok := got.Fruit.Get("a"); !ok || v.Kind.Value != "apple" {
		t.Error("a is not found")
	}
	if _, ok := got.Fruit.Get("c"); ok {
		t.Error("c is found")
	}
}

func TestDecodeFaults(t *testing.T) {
	for _, tc := range []struct{ file, want string }{
		{"frut: {}\n", `f:1:1: the key "frut" is not known here; did you mean "fruit"?`},
		{"notes: []\n", `f:1:1: the key "fruit" is missing here; add fruit: `},
		{"fruit: 3\n", "f:1:8: a mapping is wanted here, not a value; write names with a colon, each followed by its keys"},
		{"fruit: {a: {weight: 3}}\n", `f:1:12: the key "kind" is missing here; add kind: Kind of fruit.`},
		{"fruit: {a: {kind: appel}}\n", `f:1:19: "appel" is not a word that is known here; did you mean "apple"?`},
		{"fruit: {a: {kind: fig}}\n", `f:1:19: "fig" is not a word that is known here; use one of: apple, pear`},
		{"fruit: {a: {kind: [apple]}}\n", "f:1:19: a text is wanted here, not a list; write one word or sentence"},
		{"fruit: {a: {kind: apple, weight: {}}}\n", "f:1:34: a number is wanted here, not a mapping; write one number, as in 19 mm"},
		{"fruit: {a: {kind: apple, ripe: yes}}\n", "f:1:32: true or false is wanted here; write true or false"},
		{"fruit: {a: {kind: apple, size: [1]}}\n", "f:1:32: this list has 1 entries; at least 2 are wanted; count them again"},
		{"fruit: {a: {kind: apple, size: [1, 2, 3]}}\n", "f:1:32: this list has 3 entries; at most 2 are wanted; count them again"},
		{"fruit: {a: {kind: apple, ripe: ~}}\n", "f:1:32: a value is missing here; give it a value or take the key out"},
		{"fruit: {}\nnotes: [x]\n", "f:2:9: a list is wanted here, not a value; write [ ] or dashes"},
		{"[]\n", "f:1:1: a mapping is wanted here, not a list; write keys, each with a colon and a value; known here: fruit, notes"},
	} {
		f := &Faults{File: "f"}
		n := Read([]byte(tc.file), f)
		var b basket
		Decode(n, &b, f)
		if f.Len() != 1 || f.Err().Error() != tc.want {
			t.Errorf("%q\n got %v\nwant %s", tc.file, f.Err(), tc.want)
		}
	}
}

func TestFaults(t *testing.T) {
	f := &Faults{File: "f"}
	if f.Err() != nil || f.Any() {
		t.Error("faults before any")
	}
	f.Add(Place{3, 1}, "", "c")
	f.Add(Place{1, 9}, "mend it", "b")
	f.Add(Place{1, 2}, "", "a")
	f.Add(Place{1, 2}, "", "a")
	f.Add(Place{}, "", "whole file")
	if got, want := f.Err().Error(), "f: whole file\nf:1:2: a\nf:1:9: b; mend it\nf:3:1: c"; got != want {
		t.Errorf("got %q", got)
	}
	var one *Error
	if !errors.As(f.Err(), &one) || one.What != "whole file" {
		t.Errorf("got %v", one)
	}
	for i := range 1000 {
		f.Add(Place{i, 1}, "", "more")
	}
	if f.Len() != maxErrors {
		t.Errorf("%d faults are kept", f.Len())
	}
}

func TestNearest(t *testing.T) {
	for _, tc := range []struct{ word, want string }{
		{"thickness", "thickness"}, {"thicknes", "thickness"}, {"tihckness", "thickness"}, {"Thickness", "thickness"}, {"thinckess", "thickness"},
		{"legn", "leg"}, {"lge", "leg"}, {"at", "at"}, {"zz", ""}, {"banana", ""}, {"", ""}, {strings.Repeat("x", 1000), ""},
	} {
		if got := Nearest(tc.word, []string{"leg", "thickness", "at", "width"}); got != tc.want {
			t.Errorf("%q: got %q, want %q", tc.word, got, tc.want)
		}
	}
}

// TestEdits: "ca" to "abc" is 3 in this restricted form of the distance, where
// swapped letters are not edited again; kitten to sitting is the usual example.
func TestEdits(t *testing.T) {
	for _, tc := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"", "abc", 3}, {"abc", "", 3}, {"kitten", "sitting", 3}, {"ab", "ba", 1}, {"ca", "abc", 3}, {"abcdef", "abdcef", 1}} {
		if got := edits(tc.a, tc.b); got != tc.want {
			t.Errorf("%q to %q: %d, want %d", tc.a, tc.b, got, tc.want)
		}
	}
}

func TestValue(t *testing.T) {
	f := &Faults{}
	n := Read([]byte("a: 1\nb: \"1\"\nc: true\nd: [1.5, -2e3, ~, x, 'false']\ne: {f: 1 mm}\ng: |\n  3\n"), f)
	if f.Any() {
		t.Fatal(f.Err())
	}
	want := map[string]any{
		"a": 1.0, "b": "1", "c": true, "d": []any{1.5, -2000.0, nil, "x", "false"}, "e": map[string]any{"f": "1 mm"}, "g": "3",
	}
	if diff := cmp.Diff(want, n.Value()); diff != "" {
		t.Error(diff)
	}
}

func FuzzRead(f *testing.F) {
	for _, tc := range hostile() {
		if len(tc.file) < 2000 {
			f.Add([]byte(tc.file))
		}
	}
	f.Add([]byte("fruit:\n  b: {kind: pear, weight: 1 1/2 lb, ripe: true}\n  a: &x\n    kind: apple\n    size: [1, 2]\nnotes: [[x, \"7\"], []]\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		faults := &Faults{File: "f"}
		n := Read(data, faults)
		if n == nil {
			if !faults.Any() {
				t.Fatal("neither node nor fault")
			}
			return
		}
		var b basket
		Decode(n, &b, faults)
		n.Value()
		for _, e := range faults.list {
			if e.Line < 1 || e.Column < 1 || e.What == "" || e.Remedy == "" {
				t.Fatalf("incomplete: %+v", e)
			}
		}
	})
}
