package joint

import (
	"fmt"
	"math"
)

// lack says what was too small, and by how much. It is what a position, a
// pattern or a whole joint fails by.
type lack struct {
	code string
	what string  // "wall round the insert in leg-1"
	have float64 // mm
	need float64 // mm
	in   string  // member that is too small there; "" for the contact
	note string  // replaces what, have and need when they say nothing useful

	crowd bool // a row of fasteners that stand too close, whatever there is beside them
	stage int  // how far the attempt got: what fails later says more about what is in the way
}

// Kinds of lack; they become the codes of findings.
const (
	tooSmall = "contact-too-small"
	tooThin  = "member-too-thin"
	noRoom   = "bores-meet"
	noPath   = "no-driver-path"
	noGoods  = "no-hardware"
)

func (l *lack) short() float64 { return l.need - l.have }

func (l *lack) String() string {
	if l.note != "" {
		return l.note
	}
	return fmt.Sprintf("%s is %s mm, needs %s mm", l.what, mm(max(0, l.have)), mm(l.need))
}

// enlarge says what to make larger, and by how much, "" where that does not help.
func (l *lack) enlarge() string {
	if l.note != "" && l.code != noGoods {
		return ""
	}
	by := func(x float64) string { return mm(math.Ceil(max(0.1, x)*10-1e-6)/10) + " mm" }
	switch {
	case l.code == tooSmall && l.crowd:
		return "make the contact longer by " + by(l.short())
	case l.code == tooSmall && l.in == "":
		return "make the contact larger by " + by(2*l.short()) // on both sides
	case l.code == tooSmall:
		return "make " + l.in + " wider there by " + by(2*l.short())
	case l.code == noGoods && l.note != "" && l.in != "":
		return "make " + l.in + " wider there by " + by(l.short())
	case l.code == tooThin && l.in != "":
		return "make " + l.in + " thicker there by " + by(l.short())
	}
	return ""
}

// greater is the lack that is further from fitting; the first of equals.
func greater(a, b *lack) *lack {
	if a == nil || b != nil && b.short() > a.short() {
		return b
	}
	return a
}

// lesser is the lack of the attempt that got further, and of those that got
// equally far the one nearer to fitting; the first of equals.
func lesser(a, b *lack) *lack {
	switch {
	case a == nil:
		return b
	case b == nil || a.stage > b.stage:
		return a
	case a.stage == b.stage && a.short() <= b.short():
		return a
	}
	return b
}

// at is the lack as one of an attempt that got as far as stage.
func (l *lack) at(stage int) *lack {
	if l == nil {
		return nil
	}
	c := *l
	c.stage = stage
	return &c
}
