package mesh

import (
	"fmt"
	"math"
	"strings"
)

// Unit is a unit of length as files name it. The empty Unit is unknown.
type Unit string

// The units that a file may be in; the six of the 3MF core specification.
const (
	Unknown    Unit = ""
	Micron     Unit = "um"
	Millimetre Unit = "mm"
	Centimetre Unit = "cm"
	Metre      Unit = "m"
	Inch       Unit = "in"
	Foot       Unit = "ft"
)

// MM is the unit's length in mm, and 0 for an unknown one. The inch is 25.4 mm
// exactly (international yard and pound agreement, 1959).
func (u Unit) MM() float64 {
	switch u {
	case Micron:
		return 0.001
	case Millimetre:
		return 1
	case Centimetre:
		return 10
	case Metre:
		return 1000
	case Inch:
		return 25.4
	case Foot:
		return 304.8
	}
	return 0
}

var unitWords = map[string]Unit{
	"um": Micron, "µm": Micron, "μm": Micron, "micron": Micron, "microns": Micron, "micrometre": Micron, "micrometer": Micron,
	"mm": Millimetre, "millimetre": Millimetre, "millimeter": Millimetre, "millimetres": Millimetre, "millimeters": Millimetre,
	"cm": Centimetre, "centimetre": Centimetre, "centimeter": Centimetre, "centimetres": Centimetre, "centimeters": Centimetre,
	"m": Metre, "metre": Metre, "meter": Metre, "metres": Metre, "meters": Metre,
	"in": Inch, "inch": Inch, "inches": Inch, `"`: Inch, "″": Inch,
	"ft": Foot, "foot": Foot, "feet": Foot, "'": Foot, "′": Foot,
}

// ParseUnit reads a unit as people write it: "mm", "Inches", "cm". Upper and
// lower case are one. What is not a unit of length, nothing included, is an
// error that lists the units.
func ParseUnit(s string) (Unit, error) {
	u, ok := unitWords[strings.ToLower(strings.TrimSpace(s))]
	if !ok {
		return Unknown, fmt.Errorf("%q is not a unit; it can be mm, cm, m, in, ft or um", clip(s))
	}
	return u, nil
}

// The largest dimension, in mm, of a piece of furniture or of one member of it:
// from a short rail to a tall case.
const (
	smallestPiece = 150
	largestPiece  = 3000
)

// guessOrder is the order in which units are preferred where several fit.
var guessOrder = []Unit{Millimetre, Metre, Centimetre, Inch, Foot, Micron}

// GuessUnit is the unit of a file that states none, guessed from the largest
// dimension of what it holds, in the file's own numbers. Our own rule: a piece
// of furniture, or one member of it, is from 150 mm to 3 m in its largest
// dimension, so the unit is the first of mm, m, cm, in, ft, um in which the
// number comes to that. The guess is sure if no other of these units fits:
//
//	0.15 to 0.49  m         15 to 118    cm (or in)
//	0.49 to 3     m (or ft) 118 to 150   cm, sure
//	3 to 5.9      ft, sure  150 to 300   mm (or cm)
//	5.9 to 9.8    in (or ft)  300 to 3000  mm, sure
//	9.8 to 15     in, sure  150,000 up   um, sure
//
// Where none fits the guess is the unit that comes nearest by ratio, never sure.
// A number that is not a positive length gives the unknown unit.
func GuessUnit(largest float64) (unit Unit, sure bool) {
	if !(largest > 0) || math.IsInf(largest, 0) {
		return Unknown, false
	}
	fits := 0
	nearest := math.Inf(1)
	for _, u := range guessOrder {
		mm := largest * u.MM()
		off := math.Max(smallestPiece/mm, mm/largestPiece) // at most 1 where it fits
		if off <= 1 {
			fits++
			off = 1 // all that fit are equally good; the order decides
		}
		if unit == Unknown || off < nearest {
			unit, nearest = u, off
		}
	}
	return unit, fits == 1
}
