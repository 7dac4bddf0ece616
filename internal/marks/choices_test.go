package marks

import (
	"encoding/json"
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

const chosen = `groundwork: 1

making:
  start: "2027-01-11"
  coupons: measured
  send: cores
  batches: [1, 12]

book:
  paper: letter
  maker: "Wren & Daughter"
  notes: "Keep it dry.\n\nOil it: twice a year."
  licence: "for your own use"
  templates: without
  inch: true
`

// What is chosen is read, and written in one form, whatever the order of keys
// and however the words stand between quotes.
func TestChoices(t *testing.T) {
	byHand := `groundwork: 1
book:
  inch: true
  templates: without
  maker: Wren & Daughter
  licence: for your own use
  paper: letter
  notes: |-
    Keep it dry.

    Oil it: twice a year.
making: {send: cores, batches: [1, 12], start: 2027-01-11, coupons: measured}
`
	want := File{
		Groundwork: 1, Making: Making{Start: "2027-01-11", Coupons: Measured, Send: Cores, Batches: []int{1, 12}},
		Book: Book{Paper: Letter, Maker: "Wren & Daughter", Notes: "Keep it dry.\n\nOil it: twice a year.", Licence: "for your own use", Templates: Without, Inch: true},
	}
	for _, text := range []string{byHand, chosen} {
		f, err := Parse("a.marks.yaml", []byte(text))
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if d := cmp.Diff(want, f, ignoreLines); d != "" {
			t.Error(d)
		}
	}
	b, err := json.Marshal(File{Groundwork: 1})
	if err != nil || strings.Contains(string(b), "making") || strings.Contains(string(b), "book") {
		t.Errorf("nothing chosen is %s, %v", b, err)
	}
	// A sheet of canonical text has nothing of what is not chosen.
	if got := string(Format(File{})); got != "groundwork: 1\n" {
		t.Errorf("%q", got)
	}
}

func TestFaultyChoices(t *testing.T) {
	many := "[" + strings.Repeat("1, ", 20) + "1]"
	for _, c := range []struct {
		name, text string
		line       int
		want       string
	}{
		{"a day that there is not", "making:\n  start: 2027-02-29", 3, "no day"},
		{"another way round", "making:\n  start: 11.1.2027", 3, "no day"},
		{"the day that stands for none", "making:\n  start: 0001-01-01", 3, "no day"},
		{"an empty day", "making:\n  start: \"\"", 3, "the day is empty"},
		{"no day at all", "making:\n  start:", 3, "a value is missing"},
		{"another word", "making:\n  send: everything", 3, "not a word"},
		{"coupons as a flag", "making: {coupons: false}", 2, "not a word"},
		{"half a kit", "making:\n  batches: [1, 2.5]", 3, "no number of kits"},
		{"no kits", "making:\n  batches: [0]", 3, "0 kits"},
		{"too many kits", "making:\n  batches: [10001]", 3, "10001 kits"},
		{"twice the same", "making:\n  batches: [5, 1, 5]", 3, "stands twice"},
		{"too many batches", "making:\n  batches: " + many, 3, "21 entries"},
		{"another paper", "book:\n  paper: a3", 3, "not a word"},
		{"a name of two lines", "book:\n  maker: \"a\\nb\"", 3, "no line of text"},
		{"a long name", "book:\n  maker: " + strings.Repeat("a", 201), 3, "201 bytes"},
		{"a long licence", "book:\n  licence: " + strings.Repeat("a", 201), 3, "the licence has 201 bytes"},
		{"a book of notes", "book:\n  notes: " + strings.Repeat("a", 100_001), 3, "100001 bytes"},
		{"a bell", "book:\n  notes: \"a\\x07b\"", 3, "no plain text"},
		{"an unknown key", "book:\n  author: a", 3, `"author" is not known`},
	} {
		_, err := Parse("a.marks.yaml", []byte("groundwork: 1\n"+c.text+"\n"))
		var all Errors
		if !errors.As(err, &all) {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if e := all[0]; e.Line != c.line || !strings.Contains(e.What, c.want) || e.Remedy == "" {
			t.Errorf("%s: line %d, %v", c.name, e.Line, err)
		}
	}
}

// The same rules without a file, as for what is given beside it.
func TestCheck(t *testing.T) {
	for _, m := range []Making{{Start: "2027-2-1"}, {Coupons: "none"}, {Send: "all"}, {Batches: []int{-1}}, {Batches: []int{3, 3}}, {Batches: make([]int, 21)}} {
		var u *Unfit
		if err := m.Check(); !errors.As(err, &u) || u.Key == "" || u.What == "" || u.Remedy == "" {
			t.Errorf("%+v: %v", m, err)
		}
	}
	for _, b := range []Book{{Paper: "a5"}, {Templates: "some"}, {Maker: "a\tb"}, {Licence: "\xff"}, {Notes: "\x00"}} {
		var u *Unfit
		if err := b.Check(); !errors.As(err, &u) || u.Key == "" || u.What == "" || u.Remedy == "" {
			t.Errorf("%+v: %v", b, err)
		}
	}
	if err := errors.Join(Making{}.Check(), Book{}.Check(), Making{Start: "2028-02-29", Batches: []int{10_000, 1}}.Check(), Book{Notes: strings.Repeat("é", 50_000)}.Check()); err != nil {
		t.Error(err)
	}
	if d, err := Day("2027-01-11"); err != nil || !d.Equal(time.Date(2027, 1, 11, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("%v, %v", d, err)
	}
	if d, err := Day(""); err != nil || !d.IsZero() {
		t.Errorf("%v, %v", d, err)
	}
}

// drawnChoices are choices such as the page may send.
func drawnChoices(t *rapid.T) (Making, Book) {
	one := func(what string, words ...string) string {
		return rapid.SampledFrom(append(words, "")).Draw(t, what)
	}
	lineOf := rapid.StringMatching(`[^\pC]{0,40}`)
	m := Making{Start: one("start", "2000-01-01", "2028-02-29"), Coupons: one("coupons", Printed, Measured), Send: one("send", Ready, Cores, Leaves)}
	m.Batches = rapid.SliceOfNDistinct(rapid.IntRange(1, MostKits), 0, 5, rapid.ID).Draw(t, "batches")
	return m, Book{
		Paper: one("paper", A4, Letter), Maker: lineOf.Draw(t, "maker"), Licence: lineOf.Draw(t, "licence"),
		Notes: rapid.StringMatching(`([^\pC]|\n|\r|\t){0,80}`).Draw(t, "notes"), Templates: one("templates", With, Without), Inch: rapid.Bool().Draw(t, "inch"),
	}
}

// The documentation tells every word that may be chosen.
func TestChoicesAreDocumented(t *testing.T) {
	doc, err := os.ReadFile("../../docs/marks.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range []string{"start", "coupons", "send", "batches", "paper", "maker", "notes", "licence", "templates", "inch", Measured, Ready, Cores, Leaves, Letter, Without} {
		if !strings.Contains(string(doc), "`"+w+"`") {
			t.Errorf("%s is not in docs/marks.md", w)
		}
	}
}
