// Package given reads the two files that a maker gives, the piece and the
// shop: YAML whose every value remembers where it stands, so that a fault can
// be shown with its file, line and column, what is wrong and what to do.
//
// Read turns text into Nodes within firm limits. Decode fills Go structs from
// Nodes by their json tags; unknown keys, missing keys, wrong kinds and words
// outside an enum are collected, not returned one by one. Schema describes
// the same structs as JSON Schema, so the two cannot drift apart.
package given

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Place is where something stands in a file. Line and column count from 1;
// the zero Place means that it was not written.
type Place struct{ Line, Column int }

// Written reports whether the thing stands in the file at all.
func (p Place) Written() bool { return p.Line > 0 }

// Error is one fault in a given file.
type Error struct {
	File         string
	Line, Column int    // 1-based; 0 when the fault has no place in the file
	What         string // what is wrong and why, a sentence without its full stop
	Remedy       string // what to do, imperative; "" only when What says it
}

func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", e.Line, e.Column)
	}
	fmt.Fprintf(&b, ": %s", e.What)
	if e.Remedy != "" {
		fmt.Fprintf(&b, "; %s", e.Remedy)
	}
	return b.String()
}

// Errors is every fault found in a file, in the order of the file.
type Errors []*Error

func (es Errors) Error() string {
	lines := make([]string, len(es))
	for i, e := range es {
		lines[i] = e.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap lets errors.As find single faults.
func (es Errors) Unwrap() []error {
	out := make([]error, len(es))
	for i, e := range es {
		out[i] = e
	}
	return out
}

// maxErrors is how many faults are kept: more help nobody, and a hostile file
// could ask for millions.
const maxErrors = 200

// Faults collects the errors of one file.
type Faults struct {
	File string
	list Errors
}

// Add notes a fault at p. remedy is imperative.
func (f *Faults) Add(p Place, remedy, format string, args ...any) {
	if len(f.list) >= maxErrors {
		return
	}
	f.list = append(f.list, &Error{f.File, p.Line, p.Column, fmt.Sprintf(format, args...), remedy})
}

// Any reports whether a fault has been noted.
func (f *Faults) Any() bool { return len(f.list) > 0 }

// Len is the number of faults noted, for seeing whether a step added any.
func (f *Faults) Len() int { return len(f.list) }

// Err is nil, or every fault as Errors, sorted by place, without repeats.
func (f *Faults) Err() error {
	if len(f.list) == 0 {
		return nil
	}
	es := slices.Clone(f.list)
	slices.SortStableFunc(es, func(a, b *Error) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return slices.CompactFunc(es, func(a, b *Error) bool { return *a == *b })
}

// Nearest is the word of list most like word, or "" if none is like it:
// at most one edit for every three letters, and at most three.
func Nearest(word string, list []string) string {
	best, least := "", min(3, len(word)/3+1)+1
	for _, w := range list {
		if len(w) > 100 || len(word) > 100 {
			continue
		}
		if d := edits(strings.ToLower(word), strings.ToLower(w)); d < least && d < max(len(w), 2) {
			best, least = w, d
		}
	}
	return best
}

// Suggest is a remedy for a word that is not in list.
func Suggest(word string, list []string) string {
	if n := Nearest(word, list); n != "" {
		return fmt.Sprintf("did you mean %q?", n)
	}
	if len(list) == 0 {
		return "take it out"
	}
	if len(list) > 24 {
		list = append(slices.Clone(list[:24]), "…")
	}
	return "use one of: " + strings.Join(list, ", ")
}

// edits is the Levenshtein distance between a and b, where swapping two
// neighbouring letters counts once.
func edits(a, b string) int {
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		before, last, row = last, row, before
		row[0] = i
		for j := 1; j <= len(b); j++ {
			swap := 1
			if a[i-1] == b[j-1] {
				swap = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+swap)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
	}
	return row[len(b)]
}
