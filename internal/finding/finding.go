// Package finding holds what the maker must know: user faults and advice as
// data, never as prose printed on the way. Every stage returns findings; only
// the faces (command line, page, book) show them.
package finding

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Severity says what the maker must do about a finding.
type Severity int

const (
	Note    Severity = iota // worth knowing
	Warning                 // the piece can be made, but something may go wrong
	Stop                    // the piece cannot be made as described
)

var severities = [...]string{"note", "warning", "stop"}

func (s Severity) String() string {
	if s < Note || s > Stop {
		return fmt.Sprintf("severity(%d)", int(s))
	}
	return severities[s]
}

// MarshalText writes the severity as a word.
func (s Severity) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText reads the word written by MarshalText.
func (s *Severity) UnmarshalText(b []byte) error {
	i := slices.Index(severities[:], string(b))
	if i < 0 {
		return fmt.Errorf("finding: unknown severity %q (want note, warning or stop)", b)
	}
	*s = Severity(i)
	return nil
}

// Finding is one thing that the maker must know.
type Finding struct {
	Severity Severity
	Stage    string // package that found it: "joint", "veneer", …
	Code     string // stable, kebab-case name of the kind of finding: "bend-radius"
	Subject  string // what it is about, by ID: a member, joint, segment, pattern, or "piece"
	Message  string // what and why, one sentence, in the maker's words, with the numbers
	Remedy   string // what to do, imperative; several remedies separated by "; or "
	Source   string // standard, table or rule that it rests on; "common practice, no source"
	File     string // piece or shop file, when the place is known
	Line     int    // 1-based; 0 when unknown
	// Changes are what the remedy, or one of several, does to the files,
	// if it was worked out and can be written down as values: made together
	// they clear the finding. Empty where it takes the maker to decide.
	Changes []Change
}

// Change sets one value of a file.
type Change struct {
	Document string `json:"document"` // PieceFile or ShopFile
	Pointer  string `json:"pointer"`  // JSON Pointer (RFC 6901): "/parameters/height/value"
	Value    string `json:"value"`    // as it stands in the file: "600 mm"
}

// Documents that a Change may be to.
const (
	PieceFile = "piece"
	ShopFile  = "shop"
)

// Equal reports whether two findings tell the same.
func (f Finding) Equal(g Finding) bool {
	return f.Severity == g.Severity && f.Stage == g.Stage && f.Code == g.Code && f.Subject == g.Subject &&
		f.Message == g.Message && f.Remedy == g.Remedy && f.Source == g.Source &&
		f.File == g.File && f.Line == g.Line && slices.Equal(f.Changes, g.Changes)
}

// String is the finding on one line, for tests and logs.
func (f Finding) String() string {
	var b strings.Builder
	if f.File != "" {
		fmt.Fprintf(&b, "%s:%d: ", f.File, f.Line)
	}
	fmt.Fprintf(&b, "%s: %s: %s", f.Severity, f.Subject, f.Message)
	if f.Remedy != "" {
		fmt.Fprintf(&b, " Remedy: %s", f.Remedy)
	}
	return b.String()
}

// Sorted is fs in a fixed order: gravest first, then by stage, subject, code
// and message; repeats are dropped.
func Sorted(fs []Finding) []Finding {
	out := slices.Clone(fs)
	slices.SortStableFunc(out, func(a, b Finding) int {
		return cmp.Or(
			-cmp.Compare(a.Severity, b.Severity),
			cmp.Compare(a.Stage, b.Stage),
			cmp.Compare(a.Subject, b.Subject),
			cmp.Compare(a.Code, b.Code),
			cmp.Compare(a.Message, b.Message),
		)
	})
	return slices.CompactFunc(out, Finding.Equal)
}

// Worst is the gravest severity in fs, and false if there is none.
func Worst(fs []Finding) (Severity, bool) {
	if len(fs) == 0 {
		return Note, false
	}
	w := fs[0].Severity
	for _, f := range fs[1:] {
		w = max(w, f.Severity)
	}
	return w, true
}
