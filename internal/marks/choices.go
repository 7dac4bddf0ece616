package marks

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Making is how the maker goes about the job, and what is sent. The zero Making
// is the usual way.
type Making struct {
	Start   string `json:"start,omitempty" maxLength:"10" doc:"Day on which work begins, such as 2027-01-11; absent: days are counted, from a Monday"`
	Coupons string `json:"coupons,omitempty" enum:"printed,measured" doc:"measured: this shop has measured its own, and none are printed"`
	Send    string `json:"send,omitempty" enum:"ready,cores,leaves" doc:"What is sent: finished parts, cores and cut veneer, or cut veneer and print files; absent: ready"`
	Batches []int  `json:"batches,omitempty" maxItems:"20" doc:"Numbers of kits made at a time that are priced; absent: 1, 5 and 20"`
}

// Book is what the bench book tells of its maker, and how it looks. The zero
// Book is the usual one.
type Book struct {
	Paper     string `json:"paper,omitempty" enum:"a4,letter" doc:"Of the book and the labels; absent: a4"`
	Maker     string `json:"maker,omitempty" maxLength:"200" doc:"Who made the piece; absent: the shop's name"`
	Notes     string `json:"notes,omitempty" maxLength:"100000" doc:"Words of the maker's own; paragraphs parted by line breaks"`
	Licence   string `json:"licence,omitempty" maxLength:"200" doc:"Under which the files may be used; absent: a line to write it on"`
	Templates string `json:"templates,omitempty" enum:"with,without" doc:"without leaves those at full size out of the book"`
	Inch      bool   `json:"inch,omitempty" doc:"Lengths in inches"`
}

// What Making and Book may say.
const (
	Printed  = "printed" // coupons are
	Measured = "measured"

	Ready  = "ready"
	Cores  = "cores"
	Leaves = "leaves"

	A4     = "a4"
	Letter = "letter"

	With    = "with" // templates
	Without = "without"
)

// Limits of choices.
const (
	MostBatches  = 20
	MostKits     = 10_000  // in one batch
	MostNotes    = 100_000 // bytes: some thirty pages
	longestWords = 200     // bytes of a maker's name and of a licence
)

// Unfit is one choice that cannot be followed.
type Unfit struct {
	Key    string // such as "start"
	What   string
	Remedy string
}

func (u *Unfit) Error() string { return u.What + "; " + u.Remedy }

// Day is a date of the calendar, the zero time for "". Its hours are the shop's
// own, wherever the program runs.
func Day(text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.DateOnly, text)
	const first, last = 2000, 2199
	if err != nil || t.Year() < first || t.Year() > last {
		return time.Time{}, &Unfit{"start", fmt.Sprintf("%q is no day from %d to %d", text, first, last), "write year, month and day as in 2027-01-11"}
	}
	return t, nil
}

// Check is the first of what is wrong with the choices, an *Unfit.
func (m Making) Check() error { return first(m.unfit()) }

// Check is the first of what is wrong with the choices, an *Unfit.
func (b Book) Check() error { return first(b.unfit()) }

func first(list []*Unfit) error {
	if len(list) == 0 {
		return nil
	}
	return list[0]
}

func (m Making) unfit() (out []*Unfit) {
	if _, err := Day(m.Start); err != nil {
		out = append(out, err.(*Unfit))
	}
	out = append(out, known("coupons", m.Coupons, Printed, Measured)...)
	out = append(out, known("send", m.Send, Ready, Cores, Leaves)...)
	if len(m.Batches) > MostBatches {
		out = append(out, &Unfit{"batches", fmt.Sprintf("these are %d batches", len(m.Batches)), fmt.Sprintf("give %d numbers at most", MostBatches)})
	}
	for i, n := range m.Batches {
		switch {
		case n < 1 || n > MostKits:
			out = append(out, &Unfit{"batches", fmt.Sprintf("a batch of %d kits cannot be priced", n), fmt.Sprintf("give numbers of kits from 1 to %d, as in 1, 5, 20", MostKits)})
		case slices.Contains(m.Batches[:i], n):
			out = append(out, &Unfit{"batches", fmt.Sprintf("the batch of %d stands twice", n), "give it once"})
		}
	}
	return out
}

func (b Book) unfit() (out []*Unfit) {
	out = append(out, known("paper", b.Paper, A4, Letter)...)
	out = append(out, known("templates", b.Templates, With, Without)...)
	line := func(key, text, what string) {
		switch {
		case len(text) > longestWords:
			out = append(out, &Unfit{key, fmt.Sprintf("%s has %d bytes, and the bench book takes %d", what, len(text), longestWords), "shorten it"})
		case strings.ContainsFunc(text, unicode.IsControl) || !utf8.ValidString(text):
			out = append(out, &Unfit{key, what + " is no line of text", "write it in one line"})
		}
	}
	line("maker", b.Maker, "the maker's name")
	line("licence", b.Licence, "the licence")
	odd := func(r rune) bool { return unicode.IsControl(r) && !strings.ContainsRune("\n\r\t", r) }
	switch {
	case len(b.Notes) > MostNotes:
		out = append(out, &Unfit{"notes", fmt.Sprintf("the notes have %d bytes, and the bench book takes %d", len(b.Notes), MostNotes), "shorten them"})
	case !utf8.ValidString(b.Notes) || strings.ContainsFunc(b.Notes, odd):
		out = append(out, &Unfit{"notes", "the notes are no plain text", "write them as text in UTF-8"})
	}
	return out
}

func known(key, word string, words ...string) []*Unfit {
	if word == "" || slices.Contains(words, word) {
		return nil
	}
	return []*Unfit{{key, fmt.Sprintf("%q is not a word that is known here", word), "write " + strings.Join(words, " or ")}}
}

// formatMaking writes choices but those that are not made.
func formatMaking(m Making) string {
	var b strings.Builder
	line(&b, "start", m.Start)
	line(&b, "coupons", m.Coupons)
	line(&b, "send", m.Send)
	if len(m.Batches) > 0 {
		var each []string
		for _, n := range m.Batches {
			each = append(each, strconv.Itoa(n))
		}
		fmt.Fprintf(&b, "  batches: [%s]\n", strings.Join(each, ", "))
	}
	return b.String()
}

func formatBook(k Book) string {
	var b strings.Builder
	line(&b, "paper", k.Paper)
	line(&b, "maker", k.Maker)
	line(&b, "notes", k.Notes)
	line(&b, "licence", k.Licence)
	line(&b, "templates", k.Templates)
	if k.Inch {
		b.WriteString("  inch: true\n")
	}
	return b.String()
}

func line(b *strings.Builder, key, text string) {
	if text != "" {
		fmt.Fprintf(b, "  %s: %s\n", key, word(text))
	}
}
