// Package unit reads and writes the quantities of a workshop as people write
// them: "24 in", "1 1/2 in", "5 ft 3 in", "19 mm", "8 deg", "2.5 kg",
// "100 N", "1 h 30 min", "12.50 EUR". Inside the program a length is a float64
// in millimetres, an angle in radians, a mass in grams, a force in newtons, a
// time in seconds and money an amount in the shop's currency.
//
// Numbers are read as exact fractions and rounded once, so that 1 1/2 in is
// the float64 nearest to 38.1, whatever the spelling. One inch is exactly
// 25.4 mm (international yard and pound agreement, 1959; ISO 31-1 annex).
package unit

import (
	"fmt"
	"math"
	"math/big"
	"strings"
)

// Quantity is the kind of a number that was read.
type Quantity string

const (
	Plain  Quantity = "number" // no unit was written
	Length Quantity = "length" // mm
	Angle  Quantity = "angle"  // rad
	Mass   Quantity = "mass"   // g
	Force  Quantity = "force"  // N
	Time   Quantity = "time"   // s
)

// maxText is the longest text that is looked at; no quantity needs more.
const maxText = 100

// scale is how many base units one unit is, exactly; pi marks degrees, whose
// factor is π/180 and is applied in floating point.
type scale struct {
	quantity Quantity
	num, den int64
}

// units lists every spelling. Feet and inches may follow one another.
var units = map[string]scale{
	"um": {Length, 1, 1000}, "µm": {Length, 1, 1000}, "mm": {Length, 1, 1}, "cm": {Length, 10, 1}, "m": {Length, 1000, 1},
	"in": {Length, 127, 5}, "inch": {Length, 127, 5}, "inches": {Length, 127, 5}, `"`: {Length, 127, 5}, "″": {Length, 127, 5},
	"ft": {Length, 1524, 5}, "foot": {Length, 1524, 5}, "feet": {Length, 1524, 5}, "'": {Length, 1524, 5}, "′": {Length, 1524, 5},
	"deg": {Angle, 0, 1}, "degree": {Angle, 0, 1}, "degrees": {Angle, 0, 1}, "°": {Angle, 0, 1}, "rad": {Angle, 1, 1},
	"mg": {Mass, 1, 1000}, "g": {Mass, 1, 1}, "kg": {Mass, 1000, 1},
	"oz": {Mass, 45359237, 1600000}, "lb": {Mass, 45359237, 100000}, // international avoirdupois pound, 0.45359237 kg
	// Weights of 1 kg and 1 lb under the standard acceleration, 9.80665 m/s² (CGPM 1901), both exact.
	"N": {Force, 1, 1}, "kN": {Force, 1000, 1}, "kgf": {Force, 980665, 100000}, "lbf": {Force, 44482216152605, 10000000000000},
	"s": {Time, 1, 1}, "sec": {Time, 1, 1}, "min": {Time, 60, 1}, "h": {Time, 3600, 1}, "hr": {Time, 3600, 1}, "d": {Time, 86400, 1},
}

// Parse reads a number with or without a unit and says what it measures. The
// value is in the base unit of its quantity. Several parts of one quantity may
// follow one another, largest first: "5 ft 3 in", "1 h 20 min"; a sign stands
// in front of the whole. It is an error if the text is no quantity, carries an
// unknown unit, mixes quantities or is beyond ±1e12.
func Parse(text string) (value float64, q Quantity, err error) {
	r, degrees, q, err := parse(text)
	if err != nil {
		return 0, "", fmt.Errorf("cannot read %q: %w", clip(text), err)
	}
	value, _ = r.Float64()
	if degrees {
		value = Degrees(value)
	}
	return value, q, nil
}

// Degrees is an angle in degrees as radians.
func Degrees(d float64) float64 { return d * math.Pi / 180 }

func parse(text string) (sum *big.Rat, degrees bool, q Quantity, err error) {
	s := strings.TrimSpace(text)
	if len(s) > maxText {
		return nil, false, "", fmt.Errorf("it is longer than %d characters", maxText)
	}
	if s == "" {
		return nil, false, "", fmt.Errorf("it is empty")
	}
	negative := false
	if s[0] == '+' || s[0] == '-' {
		negative = s[0] == '-'
		s = strings.TrimLeft(s[1:], " ")
	}
	sum = new(big.Rat)
	q = Plain
	var last *big.Rat // the unit before, in base units
	for part := 0; s != ""; part++ {
		var v *big.Rat
		v, s, err = number(s)
		if err != nil {
			return nil, false, "", err
		}
		word := s[:unitLength(s)]
		s = strings.TrimLeft(s[len(word):], " ")
		if word == "" {
			if part > 0 || s != "" {
				return nil, false, "", fmt.Errorf("a unit is missing before %q", clip(s))
			}
			sum.Set(v)
			break
		}
		u, ok := units[word]
		if !ok {
			return nil, false, "", fmt.Errorf("%q is no unit that is known here", clip(word))
		}
		if part > 0 && u.quantity != q {
			return nil, false, "", fmt.Errorf("it mixes %s and %s", q, u.quantity)
		}
		q = u.quantity
		if u.num == 0 {
			degrees = true
			if part > 0 || s != "" {
				return nil, false, "", fmt.Errorf("an angle has one part only")
			}
			sum.Set(v)
			break
		}
		one := big.NewRat(u.num, u.den)
		if last != nil && one.Cmp(last) >= 0 {
			return nil, false, "", fmt.Errorf("larger units come first")
		}
		last = one
		sum.Add(sum, v.Mul(v, one))
	}
	if negative {
		sum.Neg(sum)
	}
	if f, _ := sum.Float64(); math.Abs(f) > 1e12 {
		return nil, false, "", fmt.Errorf("it is too large")
	}
	return sum, degrees, q, nil
}

// number reads "12", "1.5", ".5", "3/4", "1 3/4" or "1e-3" from the front of
// s and returns what follows it, without leading spaces.
func number(s string) (*big.Rat, string, error) {
	word, rest := decimal(s)
	if word == "" {
		return nil, "", fmt.Errorf("a number is wanted where %q stands", clip(s))
	}
	if strings.HasPrefix(rest, ",") {
		return nil, "", fmt.Errorf("a comma cannot stand in a number; write the decimal point as in 1.5")
	}
	v, ok := new(big.Rat).SetString(word)
	if !ok {
		return nil, "", fmt.Errorf("%q is no number", word)
	}
	if den, after, ok := over(rest); ok { // 3/4
		if !whole(word) {
			return nil, "", fmt.Errorf("a fraction has whole numbers above and below its line")
		}
		if den.Sign() == 0 {
			return nil, "", fmt.Errorf("a fraction cannot have 0 below its line")
		}
		return v.Quo(v, den), strings.TrimLeft(after, " "), nil
	}
	rest = strings.TrimLeft(rest, " ")
	if whole(word) { // 1 3/4
		if num, after := decimal(rest); whole(num) {
			if den, after, ok := over(after); ok {
				if den.Sign() == 0 {
					return nil, "", fmt.Errorf("a fraction cannot have 0 below its line")
				}
				n, _ := new(big.Rat).SetString(num)
				if n.Cmp(den) >= 0 {
					return nil, "", fmt.Errorf("the fraction after a whole number is less than one")
				}
				return v.Add(v, n.Quo(n, den)), strings.TrimLeft(after, " "), nil
			}
		}
	}
	return v, rest, nil
}

// decimal splits an unsigned decimal number off the front of s.
func decimal(s string) (word, rest string) {
	i, digits := 0, 0
	for i < len(s) && s[i] >= '0' && s[i] <= '9' {
		i, digits = i+1, digits+1
	}
	if i < len(s) && s[i] == '.' {
		j := i + 1
		for j < len(s) && s[j] >= '0' && s[j] <= '9' {
			j, digits = j+1, digits+1
		}
		i = j
	}
	if digits == 0 {
		return "", s
	}
	if i < len(s) && (s[i] == 'e' || s[i] == 'E') { // at most two digits, so that exact arithmetic stays small
		j := i + 1
		if j < len(s) && (s[j] == '+' || s[j] == '-') {
			j++
		}
		k := j
		for k < len(s) && k < j+2 && s[k] >= '0' && s[k] <= '9' {
			k++
		}
		if k > j {
			i = k
		}
	}
	return s[:i], s[i:]
}

// over reads the "/4" of a fraction.
func over(s string) (den *big.Rat, rest string, ok bool) {
	if !strings.HasPrefix(s, "/") {
		return nil, s, false
	}
	word, rest := decimal(s[1:])
	if !whole(word) {
		return nil, s, false
	}
	den, ok = new(big.Rat).SetString(word)
	return den, rest, ok
}

func whole(word string) bool {
	return word != "" && strings.Trim(word, "0123456789") == ""
}

// unitLength is how many bytes of s belong to a unit's name.
func unitLength(s string) int {
	if i := strings.IndexAny(s, " 0123456789.+-/"); i >= 0 {
		return i
	}
	return len(s)
}

func clip(s string) string {
	if len(s) > 40 {
		return s[:40] + "…"
	}
	return s
}

// ParseMoney reads an amount with or without an ISO 4217 currency code before
// or after it; currency is "" when none is written.
func ParseMoney(text string) (amount float64, currency string, err error) {
	s := strings.TrimSpace(text)
	isCode := func(w string) bool {
		return len(w) == 3 && strings.Trim(w, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") == ""
	}
	if len(s) > 3 {
		if head := s[:3]; isCode(head) {
			currency, s = head, strings.TrimSpace(s[3:])
		} else if tail := s[len(s)-3:]; isCode(tail) {
			currency, s = tail, strings.TrimSpace(s[:len(s)-3])
		}
	}
	v, q, err := Parse(s)
	if err != nil || q != Plain {
		return 0, "", fmt.Errorf("cannot read %q as money; write 12.50 or 12.50 EUR", clip(text))
	}
	return v, currency, nil
}
