package given

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"pgregory.net/rapid"
)

func TestEdit(t *testing.T) {
	for _, tc := range []struct{ src, pointer, value, want string }{
		// Set: comments, layout and quotes stay.
		{"a: 1\n", "/a", "2", "a: 2\n"},
		{"a: 1", "/a", "2", "a: 2"},
		{"a:   540 mm   # high\nb: 2\n", "/a", "600 mm", "a:   600 mm   # high\nb: 2\n"},
		{"a: 'x'  # q\n", "/a", "it's", "a: 'it''s'  # q\n"},
		{"a: \"x\"\n", "/a", `say "hi"`, "a: \"say \\\"hi\\\"\"\n"},
		{"a: \"x \\\" y\" # z\n", "/a", "b", "a: \"b\" # z\n"},
		{"a: 'x '' y' # z\n", "/a", "b", "a: 'b' # z\n"},
		{"a: {b: 1, c: = x / 2}\n", "/a/c", "= max(x, y)", "a: {b: 1, c: \"= max(x, y)\"}\n"},
		{"a: {b: 1, c: = x / 2}\n", "/a/b", "= x", "a: {b: = x, c: = x / 2}\n"},
		{"a: [1, 2 mm, [3, 4]]\n", "/a/2/1", "5 mm", "a: [1, 2 mm, [3, 5 mm]]\n"},
		{"a:\n  - b: 1\n    c: 2\n  - b: 3\n", "/a/1/b", "4", "a:\n  - b: 1\n    c: 2\n  - b: 4\n"},
		{"a:\r\n  b: 1\r\n", "/a/b", "2", "a:\r\n  b: 2\r\n"},
		{"\"a\": {\"b\": 1}\n", "/a/b", "2", "\"a\": {\"b\": 2}\n"},
		{"a/b: {m~n: 1}\n", "/a~1b/m~0n", "2", "a/b: {m~n: 2}\n"},
		{"h: é, ü # ö\nä: ü1 # ö\n", "/ä", "2", "h: é, ü # ö\nä: 2 # ö\n"},
		{"a: null\nb: ~\n", "/b", "1", "a: null\nb: 1\n"},
		{"a:\nb: 1\n", "/a", "2", "a: 2\nb: 1\n"},
		{"a:   # later\nb: 1\n", "/a", "2", "a: 2   # later\nb: 1\n"},
		{"n: >\n  long\n  text\na: 1\n", "/a", "2", "n: >\n  long\n  text\na: 2\n"},
		{"# top\n---\na: 1\n", "/a", "2", "# top\n---\na: 2\n"},
		{"x: &k 5\ny: *k\nz: 1\n", "/z", "2", "x: &k 5\ny: *k\nz: 2\n"},
		// What cannot be plain is quoted.
		{"a: 1\n", "/a", "", "a: \"\"\n"},
		{"a: 1\n", "/a", "null", "a: \"null\"\n"},
		{"a: 1\n", "/a", "b: c", "a: \"b: c\"\n"},
		{"a: 1\n", "/a", "b #c", "a: \"b #c\"\n"},
		{"a: 1\n", "/a", "- b", "a: \"- b\"\n"},
		{"a: 1\n", "/a", "-5 mm", "a: -5 mm\n"},
		{"a: 1\n", "/a", "*b", "a: \"*b\"\n"},
		{"a: 1\n", "/a", "one\ntwo", "a: \"one\\ntwo\"\n"},
		{"a: 1\n", "/a", "25 %", "a: 25 %\n"},
		{"a: {b: 1}\n", "/a/b", "x, y", "a: {b: \"x, y\"}\n"},
		// Add the last key.
		{"a: {}\n", "/a/b", "1", "a: {b: 1}\n"},
		{"a: {x: 1}  # c\n", "/a/b", "1", "a: {x: 1, b: 1}  # c\n"},
		{"a: {x: 1, }\n", "/a/b", "1", "a: {x: 1, b: 1 }\n"},
		{"a: {\n  x: 1  # c\n}\n", "/a/b", "1", "a: {b: 1, \n  x: 1  # c\n}\n"},
		{"a: {x: {y: [1]}}\n", "/a/b", "1", "a: {x: {y: [1]}, b: 1}\n"},
		{"a: 1\nb: 2  # two\n", "/c", "3", "a: 1\nb: 2  # two\nc: 3\n"},
		{"a: 1\nb: 2", "/c", "3", "a: 1\nb: 2\nc: 3"},
		{"a: 1\r\nb:\r\n  - 2\r\n", "/c", "3", "a: 1\r\nc: 3\r\nb:\r\n  - 2\r\n"},
		{"a:\n  b:\n    c: 1\n", "/a/d", "2", "a:\n  d: 2\n  b:\n    c: 1\n"},
		{"a:\n  b: 1\n\n  # about c\n  c: 2\n\nd: 3\n", "/a/e", "4", "a:\n  b: 1\n\n  # about c\n  c: 2\n  e: 4\n\nd: 3\n"},
		{"- a: 1\n  b:\n    - x\n- c: 2\n", "/0/d", "3", "- a: 1\n  d: 3\n  b:\n    - x\n- c: 2\n"},
		{"- b:\n    - x\n", "/0/d", "3", "- d: 3\n  b:\n    - x\n"},
		{"n: |\n  text\n  more\n", "/a", "1", "a: 1\nn: |\n  text\n  more\n"},
		{"a: 'two\n  lines'\nb: 1\nc: \"more\n  lines\"\n", "/d", "1", "a: 'two\n  lines'\nb: 1\nd: 1\nc: \"more\n  lines\"\n"},
		{"a: {}\n", "/a/b c: d", "1", "a: {\"b c: d\": 1}\n"},
	} {
		got, err := Edit([]byte(tc.src), tc.pointer, tc.value)
		if err != nil || string(got) != tc.want {
			t.Errorf("%q %s = %q:\n%q, %v, want\n%q", tc.src, tc.pointer, tc.value, got, err, tc.want)
		}
	}
}

func TestEditRefuses(t *testing.T) {
	for _, tc := range []struct{ src, pointer, want string }{
		{"a: 1\n", "", "a pointer begins with /"},
		{"a: 1\n", "a", "a pointer begins with /"},
		{"a: 1\n", "/a~2", "~ is written ~0"},
		{"a: 1\n", "/b/c", "there is no /b in the file"},
		{"a: 1\n", "/a/b", "there is no /a/b in the file"},
		{"a:\nb: 1\n", "/a/b", "there is no /a/b in the file"},
		{"a: [1]\n", "/a/1", "has 1 entries"},
		{"a: [1]\n", "/a/-", "has 1 entries"},
		{"a: [1, 2]\n", "/a/01", "has 2 entries"},
		{"a: [1]\n", "/a", "a list or mapping"},
		{"a: {b: 1}\n", "/a", "a list or mapping"},
		{"a:\n  b: 1\n", "/a", "a list or mapping"},
		{"a: |\n  x\n", "/a", "several lines"},
		{"a: >\n  x\n", "/a", "several lines"},
		{"a: \"x\n  y\"\n", "/a", "on one line"},
		{"a: x\n  y\n", "/a", "on one line"},
		{"a: &k 1\nb: *k\n", "/a", "anchor"},
		{"a: &k 1\nb: *k\n", "/b", "anchor"},
		{"a: &k {c: 1}\nb: *k\n", "/a/c", "anchor"},
		{"a: &k {c: 1}\nb: *k\n", "/b/c", "anchor"},
		{"a: &k {c: 1}\nb: *k\n", "/b/d", "anchor"},
		{"a: [1\n", "/a", "f:"},
		{"a: 1\na: 2\n", "/a", "stands here twice"},
		{"", "/a", "the file is empty"},
		{"a: 1\n---\nb: 1\n", "/a", "second YAML document"},
	} {
		got, err := Edit([]byte(tc.src), tc.pointer, "9")
		if err == nil || tc.want != "f:" && !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%q %s: %q, %v, want %q", tc.src, tc.pointer, got, err, tc.want)
		}
		var ee *EditError
		var es Errors
		if !errors.As(err, &ee) && !errors.As(err, &es) {
			t.Errorf("%q %s: %T", tc.src, tc.pointer, err)
		}
	}
}

// outsideReader reads a value at a pointer by the YAML library's own decoding.
func outsideReader(t interface{ Fatalf(string, ...any) }, src []byte, pointer string) any {
	var v any
	if err := yaml.Unmarshal(src, &v); err != nil {
		t.Fatalf("%v in\n%s", err, src)
	}
	keys, _ := splitPointer(pointer)
	for _, k := range keys {
		switch x := v.(type) {
		case map[string]any:
			v = x[k]
		case []any:
			i, _ := index(k, len(x))
			v = x[i]
		}
	}
	return v
}

// checkEdit fails unless out is src but for the value at pointer.
func checkEdit(t interface{ Fatalf(string, ...any) }, src, out []byte, pointer, value string, added bool) {
	f := &Faults{}
	n := Read(out, f)
	if f.Any() {
		t.Fatalf("%s = %q: %v in\n%s", pointer, value, f.Err(), out)
	}
	if at := n.At(pointer); at == nil || at.Kind != Scalar || at.Text != value {
		t.Fatalf("%s = %q reads %v in\n%s", pointer, value, at, out)
	}
	// A text that another reader takes for a number or truth is written as one.
	if got, ok := outsideReader(t, out, pointer).(string); ok && got != value {
		t.Fatalf("%s = %q is %q to the library in\n%s", pointer, value, got, out)
	} else if !ok && strings.ContainsAny(value, " \n:#'\"") {
		t.Fatalf("%s = %q is no text to the library in\n%s", pointer, value, out)
	}
	// All lines but one are as they were, and that one's comment too.
	a, b := strings.Split(string(src), "\n"), strings.Split(string(out), "\n")
	first := 0
	for first < min(len(a), len(b)) && a[first] == b[first] {
		first++
	}
	a, b = a[first:], b[first:]
	for len(a) > 0 && len(b) > 0 && a[len(a)-1] == b[len(b)-1] {
		a, b = a[:len(a)-1], b[:len(b)-1]
	}
	switch {
	case len(a) == 0 && len(b) == 0: // the same value again
	case len(a) == 1 && len(b) == 1:
		if i := strings.LastIndex(a[0], "  #"); i >= 0 && !strings.HasSuffix(b[0], a[0][i:]) {
			t.Fatalf("%s = %q: the comment of %q became %q", pointer, value, a[0], b[0])
		}
	case added && len(b) <= 2 && len(a) <= 1:
	default:
		t.Fatalf("%s = %q changed %q to %q", pointer, value, a, b)
	}
}

// places lists the pointers of n's scalars and mappings.
func places(n *Node, keys []string, scalars, mappings *[]string) {
	switch n.Kind {
	case Scalar, Null:
		*scalars = append(*scalars, Pointer(keys...))
	case List:
		for i, x := range n.Items {
			places(x, append(slices.Clip(keys), fmt.Sprint(i)), scalars, mappings)
		}
	case Mapping:
		*mappings = append(*mappings, Pointer(keys...))
		for i, x := range n.Items {
			places(x, append(slices.Clip(keys), n.Keys[i].Value), scalars, mappings)
		}
	}
}

var hardValues = []string{"600 mm", "= height / 2", "= max(a, b)", "12", "-5", "true", "null", "~", "", "a: b", "x #y", "#x", "it's", `"`, `\`, "two\nlines", " x ", "- x", "-", "--- x", "&a", "*a", "!t", "%d", "@x", "`", "[1]", "{a: 1}", "é ü", "日本 mm", "x:", ":x", "a,b", "?", "<<", "1e3", "0x10", "tab\tin", "'", "|", ">", "yes", "1 1/2 in", "a\u00a0b", "\u200b", "2026-01-02"}

// Every value of the examples can be set to anything, one after the other.
func TestEditExamples(t *testing.T) {
	files, err := filepath.Glob("../../examples/*.yaml")
	if err != nil || len(files) < 5 {
		t.Fatal(files, err)
	}
	set, refused := 0, 0
	for _, name := range files {
		src, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		var scalars, mappings []string
		places(Read(src, &Faults{}), nil, &scalars, &mappings)
		for i, p := range scalars {
			value := hardValues[7*i%len(hardValues)]
			out, err := Edit(src, p, value)
			if err != nil {
				if !strings.Contains(err.Error(), "several lines") {
					t.Fatal(err)
				}
				refused++
				continue
			}
			set++
			checkEdit(t, src, out, p, value, false)
		}
		for i, p := range mappings {
			value := hardValues[i%len(hardValues)]
			out, err := Edit(src, p+"/brand-new", value)
			if err != nil {
				t.Fatal(err)
			}
			set++
			checkEdit(t, src, out, p+"/brand-new", value, true)
		}
	}
	t.Logf("%d values set, %d refused", set, refused)
	if refused > set/20 {
		t.Errorf("%d refused", refused)
	}
}

// document draws a YAML text of block and flow collections with comments.
func document(t *rapid.T) string {
	var b strings.Builder
	value := rapid.SampledFrom([]string{"1", "540 mm", "= a / 2", "'q'", `"d \" q"`, "word", "true", "é", "~", ""})
	comment := func() string {
		return rapid.SampledFrom([]string{"", "", "  # note", " # [x: {y"}).Draw(t, "comment")
	}
	var flow func(depth int) string
	flow = func(depth int) string {
		n := rapid.IntRange(0, 3).Draw(t, "n")
		var parts []string
		list := rapid.Bool().Draw(t, "list")
		for i := range n {
			v := "x"
			if depth > 0 && rapid.Bool().Draw(t, "nest") {
				v = flow(depth - 1)
			} else if v = value.Draw(t, "v"); v == "" {
				v = "e"
			}
			if !list {
				v = fmt.Sprintf("k%d: %s", i, v)
			}
			parts = append(parts, v)
		}
		gap := rapid.SampledFrom([]string{", ", ",  ", ",\n            "}).Draw(t, "gap")
		if list {
			return "[" + strings.Join(parts, gap) + "]"
		}
		return "{" + strings.Join(parts, gap) + "}"
	}
	var block func(indent string, depth int, first string)
	block = func(indent string, depth int, first string) {
		if rapid.Bool().Draw(t, "list") {
			for range rapid.IntRange(1, 3).Draw(t, "n") {
				b.WriteString(first + "- ")
				first = indent
				if depth > 0 && rapid.Bool().Draw(t, "nest") {
					block(indent+"  ", depth-1, "")
				} else {
					b.WriteString(value.Draw(t, "v") + comment() + "\n")
				}
			}
			return
		}
		for i := range rapid.IntRange(1, 4).Draw(t, "n") {
			fmt.Fprintf(&b, "%sk%d:", first, i)
			first = indent
			switch rapid.IntRange(0, 5).Draw(t, "what") {
			case 0:
				b.WriteString(" " + flow(2) + comment() + "\n")
			case 1:
				b.WriteString(" |\n" + indent + "  some\n" + indent + "  text\n")
			case 2:
				if depth > 0 {
					b.WriteString(comment() + "\n")
					block(indent+"  ", depth-1, indent+"  ")
					break
				}
				fallthrough
			default:
				b.WriteString(" " + value.Draw(t, "v") + comment() + "\n")
			}
			if rapid.IntRange(0, 4).Draw(t, "gap") == 0 {
				b.WriteString(indent + "# between\n\n")
			}
		}
	}
	block("", 3, "")
	out := b.String()
	if rapid.Bool().Draw(t, "crlf") {
		out = strings.ReplaceAll(out, "\n", "\r\n")
	}
	if rapid.Bool().Draw(t, "open") {
		out = strings.TrimRight(out, "\r\n")
	}
	return out
}

func TestEditGenerated(t *testing.T) {
	set, refused := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		src := []byte(document(t))
		f := &Faults{}
		n := Read(src, f)
		if n == nil || f.Any() {
			t.Skip("not a document") // the library reads some layouts differently
		}
		var scalars, mappings []string
		places(n, nil, &scalars, &mappings)
		value := rapid.SampledFrom(hardValues).Draw(t, "value")
		var p string
		added := len(mappings) > 0 && rapid.Bool().Draw(t, "add") || len(scalars) == 0
		switch {
		case added && len(mappings) == 0:
			t.Skip("nothing in it")
		case added:
			p = rapid.SampledFrom(mappings).Draw(t, "pointer") + "/new"
		default:
			p = rapid.SampledFrom(scalars).Draw(t, "pointer")
		}
		out, err := Edit(src, p, value)
		if err != nil {
			if !strings.Contains(err.Error(), "several lines") {
				refused++
				t.Logf("%v\n%s", err, src)
			}
			return
		}
		set++
		checkEdit(t, src, out, p, value, added)
	})
	t.Logf("%d values set, %d refused", set, refused)
	if refused > set/10 {
		t.Errorf("%d of %d refused", refused, refused+set)
	}
}

func FuzzEdit(f *testing.F) {
	for _, src := range []string{"a: {b: 1, c: [2, '3']} # x\nd:\n  - e: \"f\"\n", "a:\r\n  b: 1\r\n", "- a\n- b: |\n    c\n", "{a: 1,\n b: }"} {
		for _, p := range []string{"/a/b", "/a", "/0", "/1/b", "/d/0/e", "/new"} {
			f.Add(src, p, "540 mm")
		}
	}
	for _, h := range hardValues {
		f.Add("a: 1\n", "/a", h)
	}
	f.Fuzz(func(t *testing.T, src, pointer, value string) {
		if len(src) > 4000 {
			return // the reader's limits have their own tests
		}
		out, err := Edit([]byte(src), pointer, value)
		if err != nil {
			return
		}
		n := Read(out, &Faults{})
		if at := n.At(pointer); at == nil || at.Kind != Scalar || at.Text != value {
			t.Fatalf("%q %s = %q reads %+v in %q", src, pointer, value, at, out)
		}
	})
}
